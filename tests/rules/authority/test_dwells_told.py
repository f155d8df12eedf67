"""Dwells as hands set them, what is too long for any sample, and which condition is told first. Common practice, no
source: nobody sets tenths of a second, and board scorches long before six minutes."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_service.api.plan_words import sections

SHOPS = Path(__file__).parents[3] / "demo" / "shops"


def shop_named(name: str) -> Shop:
    return read(Shop, tomllib.loads((SHOPS / f"{name}.toml").read_text()))


def panel(dwell: str) -> Order:
    return of("metal-panel-200x300", "dye-sublimation", dwell)


def of(blank: str, transfer: str, dwell: str, **more: Any) -> Order:
    settings = {"temperature": "392 °F", "time": dwell}
    decoration = {"transfer": transfer, "placement": "face", "settings": settings}
    return read(Order, {"item": {"blank": blank}, "press": "draw", "quantity": 12, "decorations": [decoration], **more})


def rules_of(authority: Authority, order: Order) -> dict[str, str]:
    verdict = authority.validate(order, shop_named("kiln-corner"))
    return {finding.rule: f"{finding.level}: {finding.because} {finding.fix}" for finding in verdict.findings}


@pytest.mark.parametrize(("dwell", "is_short"), [("70 s", True), ("95 s", True), ("100 s", False), ("104 s", False)])
def test_a_dwell_is_told_and_compared_as_hands_set_it(authority: Authority, dwell: str, is_short: bool) -> None:
    said = rules_of(authority, panel(dwell)).get("dwell-short-for-size", "")
    assert bool(said) is is_short
    if is_short:
        assert "Press for 105 s" in said
        assert "2 lie under the press at once" in said


@pytest.mark.parametrize("dwell", ["6 min", "7 min"])
def test_six_minutes_on_a_coaster_are_refused_whatever_the_order_says_of_a_sample(
    authority: Authority, dwell: str
) -> None:
    order = of("hardboard-coaster", "sub-paper-hard-goods", dwell, evidence=["sample-test"])
    assert authority.validate(order, shop_named("kiln-corner")).verdict == "rejected"
    assert rules_of(authority, order)["dwell-far-beyond-practice"].startswith("blocks")


def test_the_dial_and_the_step_say_what_the_condition_asks(authority: Authority) -> None:
    plan = authority.recommend(panel("70 s"), shop_named("kiln-corner")).document()["plans"][0]
    planned = plan["decorations"][0]
    dials = dict(row for rows in sections(planned) for row in rows)
    assert dials["TIME"] == "105 s, not 70 s"
    assert planned["explained"]["time_window"]["least_s"] == 105.0
    assert any("105 s, not 70 s" in step["text"] for step in planned["steps"])


def test_the_zip_is_told_before_the_area(authority: Authority) -> None:
    size = {"width": "9 in", "height": "9 in"}
    print_ = {"transfer": "cut-film", "placement": "front", "size": size}
    order = read(Order, {"item": {"blank": "hoodie-zip-navy"}, "quantity": 12, "decorations": [print_]})
    verdict = authority.validate(order, shop_named("harbour-lane"))
    assert "zip" in verdict.conditions[0]
    assert any("area" in condition for condition in verdict.conditions[1:])
