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
SIZE = {"width": "8 in", "height": "6 in"}


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


def planned_of(authority: Authority, order: Order) -> dict[str, Any]:
    plan = authority.recommend(order, shop_named("kiln-corner")).document()["plans"][0]
    planned: dict[str, Any] = plan["decorations"][0]
    return planned


def test_the_dial_says_what_the_condition_asks_and_what_that_replaces_apart(authority: Authority) -> None:
    planned = planned_of(authority, panel("70 s"))
    dials = dict(row for rows in sections(planned) for row in rows)
    assert dials["TIME"] == "105 s"
    assert dials["INSTEAD OF"] == "70 s as ordered: see what must be done"
    assert planned["explained"]["time_instead_s"] == 105.0
    assert planned["explained"]["time_window"]["least_s"] == 105.0
    as_usual = dict(row for rows in sections(planned_of(authority, panel("105 s"))) for row in rows)
    assert as_usual["TIME"] == "105 s"
    assert "INSTEAD OF" not in as_usual


def test_every_step_says_the_dwell_that_is_dialled(authority: Authority) -> None:
    texts = {step["id"]: step["text"] for step in planned_of(authority, panel("70 s"))["steps"]}
    assert "105 s" in texts["set-press"]
    assert not [text for text in texts.values() if "70 s" in text]


def test_steps_and_dial_say_the_temperature_that_a_condition_asks(authority: Authority) -> None:
    print_ = {"transfer": "cut-film", "placement": "front", "size": SIZE, "settings": {"temperature": "340 °F"}}
    order = read(Order, {"item": {"blank": "tee-light-white"}, "press": "bench", "decorations": [print_]})
    planned = authority.recommend(order, shop_named("harbour-lane")).document()["plans"][0]["decorations"][0]
    explained = planned["explained"]
    assert explained["temperature_instead"] not in (None, explained["temperature"])
    dials = dict(row for rows in sections(planned) for row in rows)
    assert dials["DISPLAY"] == explained["temperature_instead"]
    texts = {step["id"]: step["text"] for step in planned["steps"]}
    assert explained["temperature_instead"] in texts["set-press"]
    assert not [text for text in texts.values() if explained["temperature"] in text]


def test_the_zip_is_told_before_the_area(authority: Authority) -> None:
    size = {"width": "9 in", "height": "9 in"}
    print_ = {"transfer": "cut-film", "placement": "front", "size": size}
    order = read(Order, {"item": {"blank": "hoodie-zip-navy"}, "quantity": 12, "decorations": [print_]})
    verdict = authority.validate(order, shop_named("harbour-lane"))
    assert "zip" in verdict.conditions[0]
    assert any("area" in condition for condition in verdict.conditions[1:])
