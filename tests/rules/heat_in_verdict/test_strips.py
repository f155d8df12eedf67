"""A press's own contact from strip readings.

The readings are synthetic: made with this project's own solver at a contact that is known, so that they show that the
fit recovers it, and not that the model is right. There is no outside source.
"""

from __future__ import annotations

from typing import Any

import pytest
from pressed_pieces import COASTER, asking, shop_of

from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents.reading import DocumentError, read
from accord_rules.heat import Interface, Sheet, solve, stack_for, time_grid
from accord_rules.heat.build import start_for
from accord_rules.heat.materials import FIRM_CONTACT, HAND_CONTACT
from accord_rules.load.examples import pressing_cases
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

ON = (
    ("hardboard", None, 20),
    ("hardboard", "ptfe-sheet", 40),
    ("knit", None, 5),
    ("knit", "silicone-paper", 10),
    ("aluminium-sheet", "ptfe-sheet", 15),
)
DISPLAY_C = 190.0
# As a probe would read the platen: three kelvin below the display, all over.
PROBED = {"calibration": [{"display": f"{display} °C", "surface": [f"{display - 3} °C"] * 5} for display in (150, 200)]}


def synthetic(
    book: Book, type_: str, conductance: float, off_k: tuple[float, ...] = (0.0,) * len(ON)
) -> dict[str, Any]:
    """A press as a shop writes it, with strip readings of a stack whose every contact is known, each off by so much."""
    catalogue, strips = book.catalogue, []
    press = catalogue["press_types"][type_]
    contact = Interface(conductance, conductance, conductance)
    for (name, cover, time_s), off in zip(ON, off_k, strict=True):
        sheet = None if cover is None else Sheet(cover, catalogue["consumables"][cover])
        substrate = catalogue["substrates"][name]
        stack = stack_for(substrate, None, press, DISPLAY_C - 3, cover=sheet, contact=contact)
        history = solve(stack, start_for(press, stack), time_grid(float(time_s)))
        reading = {"display": f"{DISPLAY_C} °C", "time": f"{time_s} s", "substrate": name}
        reading["read"] = f"{history.interface_c[-1] + off:.1f} °C"
        strips.append(reading | ({} if cover is None else {"cover": cover}))
    return {"type": type_, **PROBED, "strips": strips}


def on(book: Book, press: dict[str, Any]) -> Case:
    """The coaster on the press, at 200 °C for 60 s."""
    shop = shop_of(book, press["type"])
    document = asking(COASTER, press["type"], temperature="200 °C", time="60 s") | {"press": press}
    order = resolve(read(Order, document), book, shop)
    assert order.press is not None
    assert not isinstance(order.press, str)
    return pressing_cases(Case(book, shop, order), order.press)[0]


@pytest.mark.parametrize(
    ("type_", "conductance"), [("clamshell", 800.0), ("clamshell", 1800.0), ("hand-held", 400.0), ("hand-held", 900.0)]
)
@pytest.mark.parametrize("off_k", [(0.0,) * 5, (2.0, -2.0, 2.0, -2.0, 1.0)], ids=["exact", "two kelvin off"])
def test_a_known_contact_is_recovered(type_: str, conductance: float, off_k: tuple[float, ...], book: Book) -> None:
    contact = on(book, synthetic(book, type_, conductance, off_k))["press.contact"]
    assert contact.low_w_m2k < conductance < contact.high_w_m2k
    assert contact.likely_w_m2k == pytest.approx(conductance, rel=0.1 if off_k[0] == 0 else 0.25)
    usual = HAND_CONTACT if type_ == "hand-held" else FIRM_CONTACT
    assert contact.high_w_m2k / contact.low_w_m2k < 0.6 * usual.high_w_m2k / usual.low_w_m2k


def test_the_estimate_narrows(book: Book) -> None:
    press = synthetic(book, "clamshell", 800.0)
    narrow, wide = on(book, press), on(book, press | {"strips": []})
    spans = [case["heat.reach_late_s"] - case["heat.reach_soon_s"] for case in (narrow, wide)]
    assert spans[0] < 0.7 * spans[1]
    assert narrow["heat.reach_likely_s"] > wide["heat.reach_likely_s"], "a looser contact than usual takes longer"


def test_what_readings_leave_open_stays_open(book: Book) -> None:
    """A strip that was read when all had long been warm says nothing of how it got there."""
    press = synthetic(book, "clamshell", 800.0)
    late = {"display": "190 °C", "time": "10 min", "substrate": "aluminium-sheet", "read": "186.9 °C"}
    contact = on(book, press | {"strips": [late]})["press.contact"]
    assert contact.high_w_m2k / contact.low_w_m2k > 0.7 * FIRM_CONTACT.high_w_m2k / FIRM_CONTACT.low_w_m2k


def test_readings_that_disagree_widen_the_range(book: Book) -> None:
    agreeing, disagreeing = (
        on(book, synthetic(book, "clamshell", 800.0, off_k))["press.contact"]
        for off_k in ((0.0,) * 5, (15.0, -15.0, 15.0, -15.0, 15.0))
    )
    assert disagreeing.high_w_m2k / disagreeing.low_w_m2k > 1.5 * agreeing.high_w_m2k / agreeing.low_w_m2k


def test_an_unprobed_platen_is_known_less_well(book: Book) -> None:
    probed = synthetic(book, "clamshell", 800.0)
    bare = {name: value for name, value in probed.items() if name != "calibration"}
    known, guessed = (on(book, press)["press.contact"] for press in (probed, bare))
    assert guessed.high_w_m2k / guessed.low_w_m2k > known.high_w_m2k / known.low_w_m2k


def test_an_oven_has_no_contact(book: Book) -> None:
    press = synthetic(book, "clamshell", 800.0) | {"type": "tile-oven-wrap"}
    assert on(book, press)["press.contact"] is None


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"read": "180"}, "/press/strips/0/read"),
        ({"time": None}, "/press/strips/0/time"),
        ({"colour": "red"}, "/press/strips/0/colour"),
    ],
)
def test_a_reading_that_cannot_be_read_is_refused_by_field(
    change: dict[str, Any], pointer: str, authority: Authority
) -> None:
    press = synthetic(authority.book, "clamshell", 800.0)
    spoilt = {name: value for name, value in (press["strips"][0] | change).items() if value is not None}
    document = asking(COASTER, "clamshell") | {"press": press | {"strips": [spoilt]}}
    with pytest.raises(DocumentError) as refused:
        read(Order, document)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]
