"""A steward who moves a limit a tenth to its stricter side should not have to rewrite examples of rules: by night.

Examples given on the limit move along with it ("heat.seam_tape_most + 1 step"), facts and whole orders alike; where
a number stands within a tenth of a limit the change is refused, with the example named, until the proposal has another.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from accord_rules.documents.files import BookError
from accord_rules.governance.changes import ChangeError, EntryChange, check
from accord_rules.revision.book import Book

TENTH = 0.1
# Limits whose next tenth is no limit of the trade's, each with why. May only become fewer.
REFUSED = {
    "children.age_most": "above 13 it meets the laws that count whoever is under 14 (toys and nightwear in the EU), and"
    " the rules between the two ages speak of nobody any more",
    "electric.circuit_full": "it is all of what a circuit is rated for, which is 100 % by the meaning of the word",
    "ground.white_lightness_least": "a tenth above 93 is more than 100, which is white itself",
    "wash.work_least": "no transfer of the book bears more than a wash of 60 °C: all would be cautioned about",
}


def tightened(value: Any, stricter: str) -> Any:
    """A limit's value, a number or a quantity, a tenth stricter."""
    by = 1 + TENTH if stricter == "higher" else 1 - TENTH
    if isinstance(value, int | float):
        return round(value * by, 6)
    number, unit = re.fullmatch(r"([-0-9.]+)(\s*.+)", value).groups()  # type: ignore[union-attr]
    return f"{round(float(number) * by, 6)}{unit}"


@pytest.mark.nightly
def test_a_limit_can_be_moved_a_tenth_to_its_stricter_side(book: Book) -> None:
    refused, tried = {}, 0
    for name, entry in book.documents["limits"].items():
        if entry["stricter"] not in ("higher", "lower"):
            continue
        change = EntryChange("limits", name, {**entry, "value": tightened(entry["value"], entry["stricter"])})
        tried += 1
        try:
            check(book.documents, [change])
        except (BookError, ChangeError) as error:
            refused[name] = str(error)
    assert tried >= 100
    assert refused.keys() <= REFUSED.keys(), {name: refused[name] for name in refused.keys() - REFUSED.keys()}
    assert REFUSED.keys() <= refused.keys(), "these can be moved now: take them out of REFUSED"
