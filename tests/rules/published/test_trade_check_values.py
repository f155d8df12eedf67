"""The trade's check values: settings that decorators with a hand-held and a bench press are known to get right.

Common practice, no source: every figure of this file. Displays as they are set, °F, and dwells, s:

- a coated metal panel by hand, 392 °F, about 70 s (1 to 3 min by size), glossy side down on a mirrored print;
- a coated hardboard coaster by hand, 392 °F, 70 s;
- a glitter or sequin cushion of polyester by hand, 385 °F, 70 s;
- cut film on a cotton shirt, 305 °F for 10 to 15 s with a bench press, which becomes 325 °F for 20 s by hand.

They are checks of the book and of its plans, and stand nowhere else: the demo and the documents have examples of their
own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Plan, PlannedStep, Verdict

WORKABLE = ("accepted", "conditional")


@dataclass(frozen=True)
class Check:
    """One job of the trade, its display in °F, its dwells in s, the usual one first.

    ``off_k`` and ``off_s``: how far a plan may differ, K and s. ``side_mm``: of the print; 90 mm fits under a hand-held
    platen whatever the piece.
    """

    blank: str
    transfer: str
    placement: str
    press_type: str
    display_f: float
    dwells_s: tuple[float, ...]
    off_k: float
    off_s: float
    settings: Mapping[str, str]
    side_mm: float = 90.0

    @property
    def display_c(self) -> float:
        return (self.display_f - 32) / 1.8


# 5 °F (3 K) is one step of most displays, and the trade's own figures for one job lie that far apart. A plan keeps to
# the trade's dwell to 5 s, the step of most timers; the panel's is 10 s longer, since the book takes 70 s as a bench
# press's and adds 7 s by hand.
_STEP_K = 3.0
UNDER_SHEET = {"cover": "ptfe-sheet", "tape": "heat-tape"}
PANEL = Check(
    "metal-panel-100x150", "dye-sublimation", "face", "hand-held", 392, (70, 60, 180), _STEP_K, 10, UNDER_SHEET
)
COASTER = Check("hardboard-coaster", "dye-sublimation", "face", "hand-held", 392, (70,), _STEP_K, 5, UNDER_SHEET)
CUSHION = Check("polyester-sequin-cushion", "dye-sublimation", "face", "hand-held", 385, (70,), _STEP_K, 5, UNDER_SHEET)
SHIRT = Check("polo-cotton-navy", "cut-film", "left-chest", "hand-held", 325, (20,), _STEP_K, 3, {"pressure": "light"})
SHIRT_ON_BENCH = Check("polo-cotton-navy", "cut-film", "left-chest", "clamshell", 305, (12, 10, 15), _STEP_K, 3, {})
CHECKS = {
    "panel": PANEL,
    "coaster": COASTER,
    "cushion": CUSHION,
    "shirt by hand": SHIRT,
    "shirt on the bench": SHIRT_ON_BENCH,
    "tee by hand": replace(SHIRT, blank="tee-heavy-white", placement="front"),
    "tee on the bench": replace(SHIRT_ON_BENCH, blank="tee-heavy-white", placement="front"),
}
DYED = {name: check for name, check in CHECKS.items() if check.transfer == "dye-sublimation"}


def shop_of(check: Check, book: Book, standing: Sequence[str] = ("extraction", "heat-gloves")) -> Shop:
    """The example shop, setting °F, with everything in stock and this one press."""
    stock = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    own = {"stock": stock, "presses": [{"id": "it", "type": check.press_type}], "unit_system": "us-customary"}
    return read(Shop, {**book.documents["base_example"]["shop"], **own, "standing": list(standing)})


def document(check: Check, **settings: Any) -> dict[str, Any]:
    """The job as an order: a square print in a colour that shows."""
    decoration = {
        "transfer": check.transfer,
        "placement": check.placement,
        "size": {"width": f"{check.side_mm} mm", "height": f"{check.side_mm} mm"},
        "artwork": {"colours": 1, "mirrored": True, "palette": ["#C02020"]},
        "settings": {**check.settings, **settings},
    }
    return {"item": {"blank": check.blank}, "decorations": [decoration], "press": "it"}


def validated(check: Check, dwell_s: float, authority: Authority, **changes: Any) -> Verdict:
    job = document(check, temperature=f"{check.display_f} °F", time=f"{dwell_s} s")
    job["item"] |= changes.pop("item", {})
    job["decorations"][0] |= changes
    return authority.validate(read(Order, job), shop_of(check, authority.book))


def blocking(verdict: Verdict) -> list[str]:
    return [finding.rule for finding in verdict.findings if finding.level == "blocks"]


def best_plan(check: Check, authority: Authority) -> Plan:
    recommendation = authority.recommend(read(Order, document(check)), shop_of(check, authority.book))
    assert recommendation.plans, recommendation.ruled_out
    return recommendation.plans[0]


# The ways for paper and piece to come to lie face to face.
LAID = ("paper-down-on-cloth", "paper-down-on-face", "piece-on-print")


def place_of(steps: tuple[PlannedStep, ...], *names: str) -> int:
    """Where in a plan the step stands that has one of these names; the test fails if there is none."""
    places = [place for place, step in enumerate(steps) if step.id in names]
    assert places, f"no step of {names}: {steps}"
    return places[0]


# -- the settings ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("check", "dwell_s"),
    [pytest.param(check, dwell, id=f"{name}, {dwell} s") for name, check in CHECKS.items() for dwell in check.dwells_s],
)
def test_check_values_are_workable(check: Check, dwell_s: float, authority: Authority) -> None:
    """Common practice, no source."""
    verdict = validated(check, dwell_s, authority)
    assert verdict.verdict in WORKABLE, [f"{finding.rule}: {finding.because}" for finding in verdict.findings]


@pytest.mark.parametrize("check", CHECKS.values(), ids=CHECKS)
def test_plans_keep_to_the_check_values(check: Check, authority: Authority) -> None:
    """Common practice, no source; how far a plan may be off, and why, is said above."""
    planned = best_plan(check, authority).decorations[0]
    window, dwells = planned.explained.window, planned.explained.time_window
    assert window.least_c <= check.display_c <= window.most_c
    assert all(dwells.least_s <= dwell <= dwells.most_s for dwell in check.dwells_s)
    display_c = units.parse(units.TEMPERATURE, planned.settings["temperature"])
    dwell_s = units.parse(units.TIME, planned.settings["time"])
    assert display_c == pytest.approx(check.display_c, abs=check.off_k)
    assert dwell_s == pytest.approx(check.dwells_s[0], abs=check.off_s)


def test_larger_panels_take_longer(authority: Authority) -> None:
    """Common practice, no source: 1 to 3 min by size."""
    dwells_s = []
    for blank, side_mm in ("metal-panel-100x150", 90), ("metal-panel-200x200", 190):
        plan = best_plan(replace(PANEL, blank=blank, side_mm=side_mm), authority)
        dwells_s.append(units.parse(units.TIME, plan.decorations[0].settings["time"]))
    assert 60 <= dwells_s[0] < dwells_s[1] <= 180


def test_a_hand_held_press_is_set_higher_and_longer_than_a_bench_press(authority: Authority) -> None:
    """Common practice, no source: cut film some 20 °F more by hand (10 to 30 °F), and 5 to 10 s longer."""
    by_hand, on_bench = (best_plan(job, authority).decorations[0].explained for job in (SHIRT, SHIRT_ON_BENCH))
    more_k = by_hand.window.least_c - on_bench.window.least_c
    assert 10 / 1.8 <= more_k <= 30 / 1.8
    assert 5 <= by_hand.time_window.most_s - on_bench.time_window.most_s <= 10


def test_bench_settings_do_not_do_by_hand(authority: Authority) -> None:
    """Common practice, no source: at 305 °F on its display a hand-held press leaves the film too cold; a sheet or a
    sample may say otherwise."""
    verdict = validated(replace(SHIRT, display_f=305), 12, authority)
    assert verdict.verdict == "conditional"
    # The shop has every film there is, and not all are peeled alike.
    rules = {finding.rule for finding in verdict.findings}
    assert rules == {"temperature-outside-practice", "peel-differs-in-stock"}


# -- what is done with the hands ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("check", DYED.values(), ids=DYED)
def test_dyed_pieces_are_mirrored_taped_and_covered(check: Check, authority: Authority) -> None:
    """Common practice, no source: a mirrored print, taped, face to face, under a non-stick sheet."""
    steps = best_plan(check, authority).decorations[0].steps
    mirrored, laid = place_of(steps, "print-mirrored"), place_of(steps, *LAID)
    taped, covered = place_of(steps, "tape-paper-to-back", "tape-carrier"), place_of(steps, "cover")
    assert "PTFE-coated" in steps[covered].text
    pressed = place_of(steps, "press-by-hand", "press-main")
    peeled = place_of(steps, "peel-hot", "peel-hot-in-gloves", "straight-off-paper")
    assert mirrored < laid < taped < covered < pressed < peeled


@pytest.mark.parametrize("check", [PANEL, COASTER], ids=["panel", "coaster"])
def test_hot_hard_pieces_are_lifted_with_gloves(check: Check, authority: Authority) -> None:
    """Common practice, no source."""
    steps = best_plan(check, authority).decorations[0].steps
    assert "coated face" in steps[place_of(steps, *LAID)].text
    assert place_of(steps, "press-by-hand", "press-main") < place_of(steps, "gloves-on")
    bare_hands = shop_of(check, authority.book, standing=["extraction"])
    verdict = authority.validate(read(Order, document(check)), bare_hands)
    assert any("gloves" in condition for condition in verdict.conditions)


def test_panels_lose_their_protective_film_first(authority: Authority) -> None:
    """Common practice, no source."""
    steps = best_plan(PANEL, authority).decorations[0].steps
    assert place_of(steps, "protective-film-off") < place_of(steps, *LAID)
    still_on = validated(PANEL, 70, authority)
    assert still_on.verdict == "conditional"
    assert any("film" in condition for condition in still_on.conditions)
    assert validated(PANEL, 70, authority, item={"preparation": ["protective-film-off"]}).verdict == "accepted"


def test_a_print_that_is_not_mirrored_is_refused(authority: Authority) -> None:
    """Common practice, no source."""
    verdict = validated(COASTER, 70, authority, artwork={"colours": 1, "mirrored": False})
    assert blocking(verdict) == ["not-mirrored"]


@pytest.mark.parametrize(("part", "rule"), [("tape", "tape-missing"), ("cover", "cover-missing")])
def test_going_without_tape_or_sheet_is_told(part: str, rule: str, authority: Authority) -> None:
    """Common practice, no source."""
    job = replace(COASTER, settings={**UNDER_SHEET, part: "none"})
    assert rule in {finding.rule for finding in validated(job, 70, authority).findings}
    assert rule not in {finding.rule for finding in validated(COASTER, 70, authority).findings}


@pytest.mark.parametrize("check", [SHIRT, SHIRT_ON_BENCH], ids=["by hand", "on the bench"])
def test_shirts_keep_their_collar_off_and_are_peeled_after(check: Check, authority: Authority) -> None:
    """Common practice, no source: collar off the heated area, carrier peeled after the press; by hand a light one."""
    steps = best_plan(check, authority).decorations[0].steps
    kept_off, pressed = place_of(steps, "lay-out"), place_of(steps, "press-by-hand", "press-main")
    assert "collar" in steps[kept_off].text
    assert "off the heated area" in steps[kept_off].text
    assert kept_off < pressed < place_of(steps, "peel-hot", "peel-warm", "peel-cold")
    if check is SHIRT:
        assert "light hand pressure" in steps[pressed].text
