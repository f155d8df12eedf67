"""Orders on presses that were probed at one setting and are used at another, with the verdicts written beforehand.

That a probe reading tells little of a platen at another heat is common practice, no source; 15 K is the book's choice.
A bench press's usual spread, 5 K, is the book's too.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from cases import Document, order_document, pressing, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop

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


# -- one reading a long way off, with the verdicts a practitioner gave -------------------------------------------------

DEMO_SHOP = Path(__file__).parents[3] / "demo" / "shops" / "harbour-lane.toml"
FAR: Document = {"display": "305 °F", "surface": ["265 °F", "262 °F", "260 °F", "264 °F", "263 °F"]}
PVC: Document = {"blank": "tee-heavy-black", "transfer": "film-pvc-economy", "placement": "front"}
SPORT: Document = {"blank": "tee-sport-white", "transfer": "sub-paper-fast-dry", "placement": "front"}
SEQUINS: Document = {"blank": "polyester-sequin-cushion", "transfer": "sub-paper-fast-dry", "placement": "face"}


def at_bench(authority: Authority, parts: Document, settings: Document | None, *readings: Document) -> Any:
    document = tomllib.loads(DEMO_SHOP.read_text(encoding="utf-8"))
    (bench,) = (press for press in document["presses"] if press["id"] == "bench")
    bench["calibration"] = list(readings)
    decoration = {name: parts[name] for name in ("transfer", "placement")}
    decoration |= {"size": {"width": "6 in", "height": "6 in"}} | ({"settings": settings} if settings else {})
    order = {"item": {"blank": parts["blank"]}, "decorations": [decoration], "press": "bench"}
    return authority.validate(read(Order, order), read(Shop, document))


@pytest.mark.parametrize(
    ("parts", "settings", "verdict", "rule"),
    [
        # 380 °F is above the 374 °F that PVC's fumes are kept below, and nobody knows that the surface stays cooler.
        pytest.param(
            PVC, {"temperature": "380 °F", "time": "15 s"}, "rejected", "pvc-near-fume-point", id="fumes of PVC"
        ),
        pytest.param(SPORT, None, "conditional", WINDOW, id="dye where nobody probed"),
        pytest.param(
            SEQUINS, {"temperature": "425 °F", "time": "60 s"}, "rejected", "ceiling-kept-by-far-reading", id="sequins"
        ),
        pytest.param(
            SEQUINS,
            {"temperature": "435 °F", "time": "60 s"},
            "rejected",
            "ceiling-kept-by-far-reading",
            id="sequins hotter",
        ),
    ],
)
def test_a_reading_a_long_way_off_lifts_no_ceiling(
    parts: Document, settings: Document | None, verdict: str, rule: str, authority: Authority
) -> None:
    answer = at_bench(authority, parts, settings, FAR)
    assert answer.verdict == verdict
    assert rule in {finding.rule for finding in answer.findings}
    assert "platen-heats-unevenly" not in {finding.rule for finding in answer.findings}, "its spots lie 5 °F apart"
    if settings is not None:
        assert at_bench(authority, parts, settings).verdict == "rejected", "as without the reading"


def test_where_the_display_was_off_a_probe_near_the_setting_is_asked_for(authority: Authority) -> None:
    answer = at_bench(authority, SPORT, None, FAR)
    (finding,) = (finding for finding in answer.findings if finding.rule == WINDOW)
    assert "its nearest probe reading, at a display of 305 °F and 124 °F away, lay 42 °F below that" in (
        finding.because
    )
    assert "Measure the surface at this setting" in finding.fix


def test_a_reading_near_the_setting_counts_for_it(authority: Authority) -> None:
    """The same press, probed at 380 °F too: its surface is known to be at 338 °F there, well below the fumes."""
    near = {"display": "380 °F", "surface": ["340 °F", "337 °F", "335 °F", "339 °F", "338 °F"]}
    answer = at_bench(authority, PVC, {"temperature": "380 °F", "time": "15 s"}, FAR, near)
    assert "pvc-near-fume-point" not in {finding.rule for finding in answer.findings}
    assert answer.verdict == "accepted"


@pytest.mark.parametrize(
    ("type_", "surface_c", "far_k"),
    [
        ("clamshell", 147, 5.0),  # as usual for its type: 3 K below, give or take 5
        ("clamshell", 145, 5.0),
        ("clamshell", 144, 6.0),
        ("clamshell", 127, 23.0),
        ("clamshell", 159, 9.0),  # above the display: as cold as that again
        ("hand-held", 139, 7.0),  # 11 K below is usual for it, give or take 7
        ("hand-held", 130, 16.0),  # its hottest spot usually is 4 K below the display
    ],
)
def test_far_from_readings_the_surface_may_come_to_what_the_display_says(
    type_: str, surface_c: int, far_k: float, authority: Authority
) -> None:
    press = probed((150, (surface_c,))) | {"type": type_}
    curve = pressing(authority.book, press=press)["press.calibration"]
    assert [curve.spread_k(display_c) for display_c in (134.9, 135.0, 165.0, 165.1, 200.0)] == pytest.approx(
        [far_k, 2.0, 2.0, far_k, far_k]
    )
    assert curve.unevenness_k(200.0) == authority.book.catalogue["press_types"][type_].spread


def test_what_was_read_at_the_surface_is_no_display_s_to_doubt(authority: Authority) -> None:
    for read_at, blocked in (("display", True), ("surface", False)):
        settings = {"temperature": "425 °F" if read_at == "display" else "383 °F", "time": "60 s", "read_at": read_at}
        rules = {finding.rule for finding in at_bench(authority, SEQUINS, settings, FAR).findings}
        assert ("ceiling-kept-by-far-reading" in rules) == blocked
