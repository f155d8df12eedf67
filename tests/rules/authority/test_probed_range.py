"""Orders on presses that were probed at one setting and are used at another, with the verdicts written beforehand.

That a probe reading tells little of a platen at another heat is common practice, no source; 15 K is the book's choice.
A bench press's usual spread, 5 K, is the book's too.
"""

from __future__ import annotations

import pytest
from cases import Document, order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order

# Plain film on acrylic knit leaves a window of a few kelvin around a display of 150 °C; its sample is at hand.
ACRYLIC: Document = {"item": {"substrate": "knit", "fibres": {"PAN": 100}}, "evidence": ["sample-test"]}
# Dye on polyester needs 175 °C at the surface.
DYE: Document = {"item": {"fibres": {"PES": 100}}, "decoration": {"transfer": "dye-sublimation"}}
WINDOW, MEASURED = "window-narrower-than-spread", "window-lost-in-measured-spread"
REACH = "press-may-not-reach-temperature"


def probed(*readings: tuple[int, tuple[int, ...]], **fields: str) -> Document:
    calibration = [
        {"display": f"{display} °C", "surface": [f"{spot} °C" for spot in surface]} for display, surface in readings
    ]
    return {"type": "swing-away", "calibration": calibration, **fields}


@pytest.mark.parametrize(
    ("order", "press", "expected"),
    [
        pytest.param(ACRYLIC, probed(), {WINDOW: "requires"}, id="never probed"),
        pytest.param(ACRYLIC, probed((150, (147, 148, 146))), {}, id="even where it is pressed"),
        pytest.param(ACRYLIC, probed((200, (197, 198, 196))), {WINDOW: "requires"}, id="even where it is not pressed"),
        pytest.param(ACRYLIC, probed((150, (147, 122, 147))), {MEASURED: "blocks"}, id="uneven where it is pressed"),
        pytest.param(ACRYLIC, probed((200, (197, 172, 197))), {WINDOW: "requires"}, id="uneven elsewhere"),
        pytest.param(
            ACRYLIC, probed((200, (197, 172, 197)), (150, (147, 148, 146))), {}, id="uneven elsewhere, even here"
        ),
        # Its surface reaches 179 °C, which leaves 4 K: enough for 2 K either way, and not for 5.
        pytest.param(DYE, probed((175, (172,)), display_most="182 °C"), {}, id="probed near the top"),
        pytest.param(
            DYE,
            probed((150, (147,)), display_most="182 °C"),
            {REACH: "requires", WINDOW: "requires"},
            id="probed far from it",
        ),
        pytest.param(
            DYE,
            probed((175, (172, 164, 172, 172)), display_most="182 °C"),
            {MEASURED: "blocks"},
            id="a cold spot there",
        ),
    ],
)
def test_a_probe_reading_counts_near_its_setting(
    order: Document, press: Document, expected: dict[str, str], authority: Authority
) -> None:
    document = order_document(authority.book, **order, press=press)
    verdict = authority.validate(read(Order, document), shop_of(authority.book))
    about = {finding.rule: finding.level for finding in verdict.findings}
    assert {rule: level for rule, level in about.items() if rule in (WINDOW, MEASURED, REACH)} == expected


def test_a_reading_that_is_too_far_off_is_named_with_its_numbers(authority: Authority) -> None:
    """150 °C is 30 K, in °F 54, from the highest setting of 180 °C."""
    press = probed((150, (147,)), display_most="180 °C")
    for system, numbers in (
        (
            "metric",
            "5 K, as is usual for its type: its nearest probe reading was taken at a display of 150 °C, 30 K away",
        ),
        (
            "us-customary",
            "9 °F, as is usual for its type: its nearest probe reading was taken at a display of 302 °F, 54 °F away",
        ),
    ):
        document = order_document(authority.book, **DYE, press=press)
        verdict = authority.validate(read(Order, document), shop_of(authority.book, unit_system=system))
        (finding,) = (finding for finding in verdict.findings if finding.rule == REACH)
        assert numbers in finding.because
