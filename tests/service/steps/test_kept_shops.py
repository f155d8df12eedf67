"""What a shop keeps of before may stay when something else is changed. No outside source."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from accord_rules.documents.reading import read
from accord_rules.orders.shop import Sample, Shop
from accord_rules.revision.book import Book
from accord_service.steps.shops import faults_of

DAY = date(2026, 3, 2)
SAMPLE: dict[str, Any] = {
    "id": "tee/navy",
    "piece": {"blank": "tee-heavy-white"},
    "transfer": "film-soft-matte",
    "press": "bench",
    "temperature": "150 °C",
    "time": "15 s",
    "pressure": "medium",
    "pressed_on": "2026-02-16",
    "looked_at_after": "48 h",
    "washes": 3,
    "failures": [],
    "by": "the owner",
}


def test_a_kept_samples_id_hinders_no_other_change_and_a_new_one_is_refused(book: Book) -> None:
    """Ids with a slash were taken once; they stand in addresses, where a slash leads elsewhere."""
    sample = read(Sample, SAMPLE)
    before: Shop = replace(book.example_shop, samples=(sample,))
    renamed = replace(before, name="Another name")
    assert faults_of(book, renamed, DAY, before) == []
    added = replace(renamed, samples=(sample, replace(sample, id="tee/white")))
    assert [fault.pointer for fault in faults_of(book, added, DAY, before)] == ["/samples/1/id"]
    assert [fault.pointer for fault in faults_of(book, renamed, DAY)] == ["/samples/0/id"]
