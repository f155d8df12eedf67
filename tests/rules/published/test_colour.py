"""CIELAB and contrast against a reference library, printed tables and the formulas' own anchors."""

from __future__ import annotations

import math
import random
import warnings

import pytest
import webcolors

from accord_rules.documents.colour import contrast, hue_difference, names, read_colour, signals

with warnings.catch_warnings():
    # colour-science warns about its optional plotting dependencies when it is imported.
    warnings.simplefilter("ignore")
    import colour as reference

# sRGB (IEC 61966-2-1) to CIELAB (CIE 15, D65): computed with colour-science and scikit-image, rounded.
TABLE = [
    ("#FFFFFF", 100.00, 0.00, 0.00, 1.0000),
    ("#000000", 0.00, 0.00, 0.00, 0.0000),
    ("#808080", 53.59, 0.00, 0.00, 0.2159),
    ("#C0C0C0", 77.70, 0.00, 0.00, 0.5271),
    ("#F5F5DC", 95.95, -4.19, 12.05, 0.8988),
    ("#FF0000", 53.24, 80.10, 67.21, 0.2126),
    ("#00FF00", 87.74, -86.18, 83.18, 0.7152),
    ("#0000FF", 32.30, 79.19, -107.86, 0.0722),
    ("#000080", 12.97, 47.51, -64.70, 0.0156),
    ("#36454F", 28.39, -3.25, -7.96, 0.0561),
]


@pytest.mark.parametrize(("code", "lightness", "a", "b", "luminance"), TABLE)
def test_lab_is_the_tables(code: str, lightness: float, a: float, b: float, luminance: float) -> None:
    colour = read_colour(code)
    assert colour is not None
    assert colour.lightness == pytest.approx(lightness, abs=0.02)
    assert (colour.a, colour.b) == pytest.approx((a, b), abs=0.05)  # saturated blue varies most with matrix rounding
    assert colour.luminance == pytest.approx(luminance, abs=1e-4)


def test_lab_is_colour_sciences() -> None:
    """colour-science 0.4, sRGB with its own D65: 0.021 is what 500 random colours came to at most."""
    rng = random.Random(7)
    for _ in range(200):
        rgb = [rng.randrange(256) for _ in range(3)]
        colour = read_colour("#{:02X}{:02X}{:02X}".format(*rgb))
        assert colour is not None
        xyz = reference.sRGB_to_XYZ([channel / 255 for channel in rgb])
        lab = reference.XYZ_to_Lab(xyz, reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
        assert (colour.lightness, colour.a, colour.b) == pytest.approx(tuple(lab), abs=0.03)


@pytest.mark.parametrize(
    ("code", "on_white", "on_black"),
    [("#777777", 4.48, 4.69), ("#767676", 4.54, 4.62), ("#FFFF00", 1.07, 19.56), ("#000080", 16.01, 1.31)],
)
def test_contrast_is_wcag_2(code: str, on_white: float, on_black: float) -> None:
    """W3C WCAG 2.1, relative luminance and contrast ratio; #767676 is the lightest grey that reaches 4.5 on white."""
    colour, white, black = (read_colour(name) for name in (code, "white", "black"))
    assert colour is not None
    assert white is not None
    assert black is not None
    assert contrast(colour, white) == pytest.approx(on_white, abs=0.01)
    assert contrast(black, colour) == pytest.approx(on_black, abs=0.01)


def test_named_colours_are_csss() -> None:
    """CSS Color Module Level 4, as the webcolors package has it (CSS3's 147 and rebeccapurple)."""
    ours = names()
    for name in webcolors.names("css3"):
        assert ours[name] == webcolors.name_to_hex(name).upper()
    assert ours["rebeccapurple"] == "#663399"
    assert len(ours) == len(webcolors.names("css3")) + 1


@pytest.mark.parametrize("text", ["#12345", "#GGGGGG", "notacolour", "", "rgb(1,2,3)", "#1234567"])
def test_what_is_no_colour_is_none(text: str) -> None:
    assert read_colour(text) is None


def test_short_hex_doubles_each_digit() -> None:
    assert read_colour("#1af") == read_colour("#11AAFF")


# EN ISO 20471:2013, table 2, from memory: fluorescent yellow and orange-red.
YELLOW = [(0.387, 0.610), (0.356, 0.494), (0.398, 0.452), (0.460, 0.540)]
ORANGE_RED = [(0.610, 0.390), (0.535, 0.375), (0.570, 0.340), (0.655, 0.344)]


def crossings(point: tuple[float, float], corners: list[tuple[float, float]]) -> int:
    """How many edges a ray to the right of a point crosses: odd inside. Another way than the one that is tested."""
    x, y = point
    edges = zip(corners, [*corners[1:], corners[0]], strict=True)
    return sum(1 for (ax, ay), (bx, by) in edges if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay))


def distance(point: tuple[float, float], corners: list[tuple[float, float]]) -> float:
    """From a point to the outline, along which points lie densely."""
    edges = zip(corners, [*corners[1:], corners[0]], strict=True)
    return min(
        math.hypot(point[0] - ax - step / 50 * (bx - ax), point[1] - ay - step / 50 * (by - ay))
        for (ax, ay), (bx, by) in edges
        for step in range(51)
    )


def test_the_colours_of_high_visibility_are_those_of_the_standard() -> None:
    """Chromaticities by colour-science, each of 16³ colours of sRGB: what the standard has is one; what is one lies in
    the standard's figure, or beside it on the side where screens show orange-red."""
    steps, seen = range(0, 256, 17), 0
    for code in (f"#{r:02X}{g:02X}{b:02X}" for r in steps for g in steps for b in steps if r + g + b):
        colour = read_colour(code)
        assert colour is not None
        linear = reference.cctf_decoding([int(code[i : i + 2], 16) / 255 for i in (1, 3, 5)], "sRGB")
        x, y = reference.XYZ_to_xy(reference.models.RGB_COLOURSPACE_sRGB.matrix_RGB_to_XYZ @ linear)
        yellow = crossings((x, y), YELLOW) % 2 == 1 and colour.luminance >= 0.70
        orange_red = crossings((x, y), ORANGE_RED) % 2 == 1
        seen += signals(colour)
        if yellow or (orange_red and colour.luminance >= 0.23):
            assert signals(colour), code
        elif signals(colour):
            assert distance((x, y), ORANGE_RED) < 0.035, code
            assert y > 0.34, code
    assert 20 < seen < 200, "a few colours, not half of them"


@pytest.mark.parametrize(
    ("said", "signal"),
    [
        *[(said, True) for said in ("#D9F21B", "#CCFF00", "yellow", "orangered", "#FF6700", "#FF7900", "#F26A1B")],
        *[(said, False) for said in ("gold", "#F2C500", "darkorange", "orange", "tomato", "coral", "red", "navy")],
        *[(said, False) for said in ("yellowgreen", "chocolate", "#B3202C", "khaki")],
    ],
)
def test_what_people_call_yellow_orange_and_red(said: str, signal: bool) -> None:
    """Common practice, no source: gold, dark orange and red tees are daily work, neon ones are looked at twice."""
    colour = read_colour(said)
    assert colour is not None
    assert signals(colour) is signal


@pytest.mark.parametrize(
    ("one", "other"), [("red", "yellow"), ("navy", "#1F2A44"), ("red", "magenta"), ("blue", "green")]
)
def test_hues_are_apart_by_the_angle_between_them(one: str, other: str) -> None:
    """By definition: the angle between two vectors, here from their product and lengths."""
    first, second = read_colour(one), read_colour(other)
    assert first is not None
    assert second is not None
    cosine = (first.a * second.a + first.b * second.b) / (first.chroma * second.chroma)
    assert hue_difference(first, second) == pytest.approx(math.degrees(math.acos(cosine)), abs=1e-6)
