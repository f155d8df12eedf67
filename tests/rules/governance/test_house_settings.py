"""A shop's own rules on what settings turn: where settings that they let pass exist, they are found."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from tests.rules.cases import house_rule, order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.governance.house import HouseAuthority, read_house
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book

WORKABLE = ("accepted", "conditional")
SEEN_BEFORE = {"item": {"fibres": {"CO": 100}, "already": ["cut-film"]}}
# A platen that stays 7.5 K below its display, so that round surface temperatures are no round display settings.
MEASURED = {"type": "clamshell", "calibration": [{"display": "180 °C", "surface": ["172.5 °C"]}]}
DYED = {"item": {"fibres": {"PES": 100}}, "decoration": {"transfer": "dye-sublimation"}, "press": MEASURED}


@contextmanager
def house(shared: Authority, *conditions: str) -> Iterator[HouseAuthority]:
    rules = {f"house.rule-{number}": house_rule(when) for number, when in enumerate(conditions)}
    authority = HouseAuthority(shared, read_house({"rules": rules}))
    try:
        yield authority
    finally:
        authority.close()


@pytest.mark.parametrize(
    ("conditions", "parts"),
    [
        # The print on the far side is to get hot enough to be set anew: a longer dwell does it.
        (("heat.back_likely_c < limit('care.iron_1_older')",), SEEN_BEFORE),
        (("heat.interface_likely_c > limit('heat.delicate_needed_below')",), SEEN_BEFORE),
        (("heat.interface_late_c < limit('care.iron_1_2023')",), SEEN_BEFORE),
        (("heat.interface_likely_c < limit('heat.marks_above')",), SEEN_BEFORE),
        # Two rules leave a few degrees of the display between them.
        (
            (
                "set.display_c <= limit('care.iron_3_older')",
                "set.display_c >= limit('heat.cotton_yellows_above')",
            ),
            DYED,
        ),
    ],
)
def test_settings_that_the_house_lets_pass_are_found(
    conditions: tuple[str, ...], parts: dict[str, Any], book: Book, authority: Authority
) -> None:
    shop, document = shop_of(book), order_document(book, **parts)
    with house(authority, *conditions) as strict:
        verdict = strict.validate(read(Order, document), shop)
        assert verdict.verdict in WORKABLE
        plan = strict.recommend(read(Order, document), shop).document()["plans"][0]
        assert strict.validate(read(Order, plan["order"]), shop).verdict in WORKABLE
