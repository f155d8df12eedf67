"""What is said of a piece is true of it: of its use, of what it is tried by, of its back and its rim, and whose peel it
is. Common practice, no source: hardboard does not stretch, the back of a sequin cover is plain, and a print nearly as
high as a mug's wall cannot be 25 mm below its rim."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.verdict import Verdict

SHOPS = Path(__file__).parents[3] / "demo" / "shops"
DYE = "dye-sublimation"


def verdict_on(authority: Authority, shop: str, blank: str, transfer: str, **more: Any) -> Verdict:
    return authority.validate(order_of(blank, transfer, **more), shop_named(shop))


def order_of(blank: str, transfer: str, *, quantity: int = 1, **of_print: Any) -> Order:
    return read(
        Order,
        {"item": {"blank": blank}, "quantity": quantity, "decorations": [{"transfer": transfer, **of_print}]},
    )


def shop_named(name: str) -> Shop:
    return read(Shop, tomllib.loads((SHOPS / f"{name}.toml").read_text()))


def test_a_plain_piece_is_taken_for_no_protective_wear(authority: Authority) -> None:
    unsaid = verdict_on(authority, "harbour-lane", "tee-heavy-white", "cut-film").unsaid or ""
    assert "it is no protective wear" in unsaid
    assert "nobody" not in unsaid


@pytest.mark.parametrize(
    ("shop", "blank", "transfer", "tried_by"),
    [
        ("harbour-lane", "tee-heavy-white", "cut-film", "stretch it or wash it"),
        ("kiln-corner", "hardboard-panel-200x300", DYE, "run a fingernail along the edges"),
        ("kiln-corner", "metal-panel-200x200", DYE, "run a fingernail along the edges"),
        ("kiln-corner", "mug-coated-325", DYE, "run a fingernail along the edges"),
    ],
)
def test_only_cloth_is_stretched(authority: Authority, shop: str, blank: str, transfer: str, tried_by: str) -> None:
    findings = verdict_on(authority, shop, blank, transfer, quantity=200).findings
    (fix,) = (finding.fix for finding in findings if finding.rule == "press-one-piece-first")
    assert tried_by in fix
    assert ("stretch" in fix) is ("stretch" in tried_by)


@pytest.mark.parametrize(("placement", "has_sequins"), [("face", True), ("reverse", False), ("back", False)])
def test_sequins_are_brushed_where_there_are_any(authority: Authority, placement: str, has_sequins: bool) -> None:
    order = order_of("polyester-sequin-cushion", DYE, placement=placement, size={"width": "6 in", "height": "6 in"})
    steps = authority.recommend(order, shop_named("kiln-corner")).plans[0].decorations[0].steps
    brushed = {"brush-sequins", "brush-sequins-again", "sequins-back"}
    assert brushed & {step.id for step in steps} == (brushed if has_sequins else set())


@pytest.mark.parametrize(
    ("height", "most", "is_assumed"),
    [
        ("3.5 in", "1 mm", False),
        ("3.2 in", "8 mm", False),
        ("2.7 in", "", False),
        ("2 in", "", True),
        (None, "0 mm", False),
    ],
)
def test_a_print_as_high_as_the_wall_is_not_taken_to_be_far_below_the_rim(
    authority: Authority, height: str | None, most: str, is_assumed: bool
) -> None:
    """The printable wall of the mug is 90 mm high; 20 mm stay free of the rim."""
    size = {} if height is None else {"size": {"width": "7.5 in", "height": height}}
    shop = replace(shop_named("kiln-corner"), unit_system="metric")
    verdict = authority.validate(order_of("mug-coated-325", DYE, placement="all-round", **size), shop)
    told = [finding.because for finding in verdict.findings if finding.rule == "high-print-near-rim"]
    assert bool(told) is bool(most)
    assert all(f"leaves at most {most} of the printable wall" in because for because in told)
    assumed = [one for one in verdict.assumed if one.pointer == "/decorations/0/rim_distance"]
    assert bool(assumed) is is_assumed


@pytest.mark.parametrize(("distance", "rules"), [("1 in", set()), ("0.3 in", {"print-near-drinking-rim"})])
def test_what_the_order_says_of_the_rim_stands(authority: Authority, distance: str, rules: set[str]) -> None:
    size = {"width": "7.5 in", "height": "3.2 in"}
    more = {"placement": "all-round", "size": size, "rim_distance": distance}
    findings = verdict_on(authority, "kiln-corner", "mug-coated-325", DYE, **more).findings
    assert {finding.rule for finding in findings if "rim" in finding.rule.split("-")} == rules


@pytest.mark.parametrize(
    ("transfer", "more", "is_told"),
    [
        ("cut-film", {}, True),
        ("film-soft-matte", {}, False),
        ("film-cold-peel-gloss", {}, False),
        ("cut-film", {"settings": {"peel": "cold"}}, False),
        ("cut-film", {"sheet": {"peel": ["cold"]}}, False),
    ],
)
def test_where_the_shop_has_films_of_several_peels_it_is_said_whose_peel_is_meant(
    authority: Authority, transfer: str, more: dict[str, Any], is_told: bool
) -> None:
    verdict = verdict_on(authority, "mill-steps", "tee-heavy-white", transfer, placement="front", **more)
    said = [f"{f.because} {f.fix}" for f in verdict.findings if f.rule == "peel-differs-in-stock"]
    assert bool(said) is is_told
    if is_told:
        assert "peel hot is usual, but the shop also has cut film, gloss, cold peel (cold)" in said[0]
