"""What the heat estimate does to verdicts and plans, on a thin shirt, a coaster and a tile on three presses."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import pytest
from pressed_pieces import COASTER, PIECES, PRESSES, SHIRT, SIZE, TILE, asking, shop_of

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.verdict import Finding
from accord_rules.weigh.scales import findings

TOPIC = {"print-stays-cold", "print-likely-too-cold", "print-may-stay-cool", "platen-dips", "print-behind-softens"}


def heat_findings(authority: Authority, piece: Mapping[str, Any], press: str, **settings: str) -> dict[str, Finding]:
    order = read(Order, asking(piece, press, **settings))
    fired = authority.judge(order, shop_of(authority.book, press)).fired
    return {finding.rule: finding for finding in findings(fired, authority.book) if finding.rule in TOPIC}


TENTHS = 0.1  # two figures that are each rounded to a tenth may be that much apart


def planned(
    authority: Authority, piece: Mapping[str, Any], press: str, unit_system: str = "metric"
) -> Mapping[str, Any]:
    """The best plan's settings for the one decoration."""
    shop = shop_of(authority.book, press, unit_system=unit_system)
    plans = authority.recommend(read(Order, asking(piece, press)), shop).document()["plans"]
    assert plans
    explained: Mapping[str, Any] = plans[0]["decorations"][0]["explained"]
    return explained


@pytest.mark.parametrize(
    ("piece", "press", "settings", "rule"),
    [
        # Common practice, no source: these are pressed every day.
        (SHIRT, "clamshell", {"temperature": "152 °C", "time": "12 s"}, None),
        (SHIRT, "hand-held", {"temperature": "163 °C", "time": "20 s"}, None),
        (COASTER, "clamshell", {"temperature": "195 °C", "time": "70 s"}, None),
        (COASTER, "hand-held", {"temperature": "200 °C", "time": "70 s"}, None),
        (TILE, "clamshell", {"temperature": "200 °C", "time": "6 min"}, None),
        (TILE, "pneumatic-single", {"temperature": "200 °C", "time": "6 min"}, None),
        (COASTER, "hand-held", {"temperature": "190 °C", "time": "60 s"}, "print-may-stay-cool"),
        # Half a minute under a tile that lies face down does nothing.
        (TILE, "clamshell", {"temperature": "200 °C", "time": "30 s"}, "print-stays-cold"),
        (TILE, "pneumatic-single", {"temperature": "200 °C", "time": "30 s"}, "print-stays-cold"),
        (TILE, "hand-held", {"temperature": "200 °C", "time": "30 s"}, "print-stays-cold"),
        (TILE, "clamshell", {"temperature": "200 °C", "time": "65 s"}, "print-likely-too-cold"),
    ],
)
def test_a_dwell_against_the_estimate(
    piece: Mapping[str, Any], press: str, settings: dict[str, str], rule: str | None, authority: Authority
) -> None:
    findings = heat_findings(authority, piece, press, **settings)
    assert set(findings) == ({rule} if rule else set())
    for finding in findings.values():
        assert "estimate" in finding.because + finding.title
        assert "enough after" in finding.because or "has had that after" in finding.because


def test_levels_only_the_kindest_bound_blocks(book: Book) -> None:
    levels = {name: rule.level for name, rule in book.rules.items() if rule.topic == "heat-estimate"}
    assert set(levels) == TOPIC
    assert [name for name, level in levels.items() if level == "blocks"] == ["print-stays-cold"]
    assert all("heat-estimate" in book.rules[name].sources for name in TOPIC)


@pytest.mark.parametrize("press", PRESSES)
@pytest.mark.parametrize("piece", PIECES)
def test_a_plan_gives_the_print_what_it_needs(piece: str, press: str, authority: Authority) -> None:
    settings = planned(authority, PIECES[piece], press)
    estimate = settings["heat"]
    soon, likely, late = estimate["interface_c"]
    assert late < likely < soon
    assert not {"print-stays-cold", "print-likely-too-cold", "print-may-stay-cool"} & set(
        heat_findings(authority, PIECES[piece], press)
    )
    least_s, most_s = settings["time_window"]["least_s"], settings["time_window"]["most_s"]
    assert least_s <= estimate["dwell_s"] <= most_s
    low_c, high_c = settings["surface_window"]["least_c"], settings["surface_window"]["most_c"]
    hottest_c = settings["surface_c"] + settings["spread_k"] + TENTHS
    if high_c - low_c >= 2 * settings["spread_k"]:  # else the window is too narrow, which another rule says
        assert hottest_c <= high_c + 2 * TENTHS
    assert soon <= hottest_c, "nothing gets hotter than the hottest spot of the platen"
    assert estimate["touch_wait_s"] > 0
    assert "estimate" in estimate["text"]


def test_the_dwell_is_practice_whatever_the_estimate_says(authority: Authority) -> None:
    """Another thickness moves the estimate and no setting; a hand-held press gets what its type adds."""

    def of(thickness: str, press: str) -> Mapping[str, Any]:
        piece = COASTER | {"item": COASTER["item"] | {"thickness": thickness}}
        heat: Mapping[str, Any] = planned(authority, piece, press)["heat"]
        return heat

    thin, thick = of("2 mm", "hand-held"), of("4 mm", "hand-held")
    assert thin["dwell_s"] == thick["dwell_s"] > of("2 mm", "clamshell")["dwell_s"]
    assert thin["reach_s"][1] < thick["reach_s"][1]


def test_what_the_order_says_is_kept(authority: Authority) -> None:
    document = asking(COASTER, "hand-held", time="70 s")
    plans = authority.recommend(read(Order, document), shop_of(authority.book, "hand-held")).plans
    assert {plan.decorations[0].explained.time for plan in plans} == {"70 s"}
    # With the dwell given, the temperature is what is left to turn.
    free = planned(authority, COASTER, "hand-held")["surface_c"]
    assert plans[0].decorations[0].explained.surface_c >= free


def test_a_wait_before_touching_is_in_the_rule_and_the_steps(authority: Authority) -> None:
    shop = shop_of(authority.book, "clamshell")
    verdict = authority.validate(read(Order, asking(TILE, "clamshell")), shop)
    (stays_hot,) = (finding for finding in verdict.findings if finding.rule == "hard-goods-stay-hot")
    assert " min until bare skin bears a 10 s touch" in stays_hot.because
    assert "ISO 13732-1 and IEC 62368-1, taken partly from memory" in stays_hot.because
    plan = authority.recommend(read(Order, asking(TILE, "clamshell")), shop).plans[0]
    cooling = [step.text for step in plan.decorations[0].steps if step.stage == "cool"]
    assert any(" min until it may be touched" in text for text in cooling)


def test_a_print_behind_a_thin_shirt_softens_and_behind_a_thick_one_does_not(authority: Authority) -> None:
    """No outside source: the direction is plain, the amount is the estimate's."""

    def softens(thickness: str) -> bool:
        item = SHIRT["item"] | {"thickness": thickness}
        back = {"transfer": "cut-film-low-temperature", "placement": "back", "size": SIZE, "settings": {"time": "15 s"}}
        front = back | {"placement": "front"}
        order = {"item": item, "decorations": [back, front], "press": "clamshell"}
        verdict = authority.validate(read(Order, order), shop_of(authority.book, "clamshell"))
        assert verdict.on.sequence == (0, 1)
        return any(finding.rule == "print-behind-softens" for finding in verdict.findings)

    assert softens("0.15 mm")
    assert not softens("2 mm")


def test_the_hand_held_offset(authority: Authority) -> None:
    """Common practice, no source: about 20 °F more and 5-10 s longer than on a bench press.

    rules/accord_rules/heat/README.md explains why it comes out at 15 °F.
    """
    hand, bench = (planned(authority, SHIRT, press, "us-customary") for press in ("hand-held", "clamshell"))
    shown = [units.parse(units.TEMPERATURE, plan["temperature"]) for plan in (hand, bench)]
    more_f = (shown[0] - shown[1]) * 1.8
    assert more_f == pytest.approx(15.0, abs=0.1)
    assert 5 <= hand["heat"]["dwell_s"] - bench["heat"]["dwell_s"] <= 10
    # What counts is the adhesive: it ends where the bench press brings it.
    assert hand["heat"]["interface_c"][1] == pytest.approx(bench["heat"]["interface_c"][1], abs=0.5)


def test_the_readme_prints_the_offset_as_the_plan_gives_it(authority: Authority) -> None:
    film = {"transfer": "cut-film-low-temperature", "placement": "front", "size": SIZE}
    tee = {"item": {"blank": "tee-light-white"}, "decorations": [film]}
    readme = (files("accord_rules") / "heat" / "README.md").read_text(encoding="utf-8")
    for title, press in (("by hand", "hand-held"), ("on the bench", "clamshell")):
        settings = planned(authority, tee, press, "us-customary")
        row = (title, settings["temperature"], f"{settings['surface_c']:.1f} °C", settings["time"])
        assert f"| {' | '.join(row)} | {settings['heat']['interface_c'][1]:.1f} °C |" in readme
