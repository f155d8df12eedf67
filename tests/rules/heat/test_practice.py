"""Plans and the heat estimate against the book's practice points; each point names its sources in the book."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tests.rules.heat.practice_table import (
    NEAR_K,
    NEAR_SHARE,
    SHORT_K,
    planned,
    pressed_at_point,
    residuals_k,
    rows,
)

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError, shipped
from accord_rules.load.loader import from_documents, load_book
from accord_rules.revision.book import Book

POINTS = load_book().catalogue["practice"]
# What sheets say of certain products is reproduced with that sheet alone.
USUAL = [name for name, point in POINTS.items() if not point.own_sheet]
# Points that no plan reproduces yet, and why. One that does by now has to leave the list.
OPEN = {
    "mouse-pad-dye": "foam rubber decomposes from 205 °C, and the plan stays away from that by the press's spread",
    "performance-tee-dye": "the family's aim on cloth is 10 K below what suppliers set",
    "polyester-apron-dye": "the family's aim on cloth is 10 K below what suppliers set",
    "polyester-tote-dye": "the family's aim on cloth is 10 K below what suppliers set",
    "polyester-tee-dye-by-hand": "practice keeps the bench's display and dwell here, the plan adds for the press",
    "polyester-tee-powder-film": "cooler because dye migrates, which the family's one window does not know",
    "tri-blend-tee-powder-film": "cooler because dye migrates, which the family's one window does not know",
}


def test_points_are_many_and_of_every_kind() -> None:
    """This project's own aim; there is no outside source."""
    assert len(POINTS) >= 60
    assert {"hand-held", "clamshell", "swing-away", "pneumatic-single", "mug-press", "cap-press", "mug-oven-wrap"} <= {
        point.press for point in POINTS.values()
    }
    assert len({point.blank for point in POINTS.values()}) >= 30
    assert len({point.transfer for point in POINTS.values()}) >= 25


@pytest.mark.parametrize("name", USUAL)
def test_plans_reproduce_practice(name: str, authority: Authority) -> None:
    plan = planned(POINTS[name], authority)
    near = plan is not None and plan.near
    wrong = f"{plan} lies more than {NEAR_K} K or {NEAR_SHARE:.0%} of the dwell outside the point"
    if name in OPEN:
        assert not near, f"{name} is reproduced now: take it off OPEN"
    else:
        assert near, wrong


@pytest.mark.parametrize("name", POINTS)
def test_the_estimate_blocks_nothing_that_is_known_to_work(name: str, book: Book) -> None:
    assert pressed_at_point(POINTS[name], book)["heat.surely_cold"] in (False, None)


def test_doses_explain_more_points_than_thresholds_do(book: Book) -> None:
    """A point whose print likely stays short of what it needs is not explained."""
    of_points = [residuals_k(pressed_at_point(point, book)) for point in POINTS.values()]
    known = [residuals for residuals in of_points if residuals is not None]
    assert len(known) > 60
    by_dose, by_threshold = (sum(pair[column] < -SHORT_K for pair in known) for column in (0, 1))
    assert by_dose <= 3
    assert by_threshold >= 4 * by_dose
    assert min(by_dose_k for by_dose_k, _ in known) > -12.0


def test_the_table_has_a_row_for_each_point(authority: Authority) -> None:
    table = "\n".join(rows(authority))
    assert all(f"{name} " in table for name in POINTS)
    assert "Against its dose: " in table


@pytest.mark.parametrize(
    ("press", "estimated"), [("mug-oven-wrap", False), ("tile-oven-wrap", False), ("mug-press", True)]
)
def test_ovens_have_no_estimate(press: str, estimated: bool, book: Book) -> None:
    point = POINTS["tile-150-dye" if press == "tile-oven-wrap" else "mug-dye"]
    assert pressed_at_point(replace(point, press=press), book)["heat.estimated"] is estimated


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"transfer": "cut-flim"}, "/transfer: there is no 'cut-flim' in transfers|products"),
        ({"press": "oven"}, "/press: there is no 'oven' in press_types"),
        ({"substrate": "knit"}, "/blank: takes either a blank or a substrate"),
        ({"blank": None}, "/blank: takes either a blank or a substrate"),
        ({"temperature": ["150"]}, "/temperature/0: "),
        ({"temperature": []}, "/temperature: "),
        ({"temperature": ["320 °C"]}, "/temperature/0: 320 °C is not plausible"),
        ({"time": ["15 s", "10 s"]}, "/time: the least comes first, then the most"),
        ({"read_at": "air"}, "/read_at: "),
        ({"sources": ["hearsay"]}, "/sources/0: there is no 'hearsay' in sources"),
        ({"warmth": "much"}, "/warmth: "),
    ],
)
def test_a_wrong_point_is_refused_with_file_entry_and_field(change: dict[str, Any], reason: str) -> None:
    """What must be refused is this project's own decision; there is no outside source."""
    documents = {kind: dict(entries) for kind, entries in shipped().items()}
    rule = "print-stays-cold"
    point = {**documents["practice"]["cotton-tee-cut-film"], **change}
    documents["practice"]["cotton-tee-cut-film"] = {name: value for name, value in point.items() if value is not None}
    documents["rules"] = {rule: documents["rules"][rule]}
    with pytest.raises(BookError) as refused:
        from_documents(documents)
    start = f"practice.toml: cotton-tee-cut-film: {reason}"
    assert [why[: len(start)] for why in refused.value.reasons] == [start]
