"""sRGB to CIELAB (D65) and WCAG contrast: how light a ground is, and whether a print shows on it.

Constants: IEC 61966-2-1 (sRGB) and CIE 15 (CIELAB), as tabled in the book's source ``srgb-cielab``;
contrast as in ``contrast-wcag``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from math import atan2, degrees, hypot
from types import MappingProxyType

_HEX = re.compile(r"#(?:[0-9A-Fa-f]{3}){1,2}")
_TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
_WHITE_D65 = (0.95047, 1.0, 1.08883)
_KNEE = 6 / 29
_COLOURS_MOST = 1024  # some 0.5 kB each


@dataclass(frozen=True, slots=True)
class Colour:
    """An sRGB colour with its CIELAB coordinates (D65) and relative luminance (0..1)."""

    hex: str
    lightness: float
    a: float
    b: float
    luminance: float

    @property
    def chroma(self) -> float:
        return hypot(self.a, self.b)


@cache
def names() -> Mapping[str, str]:
    """CSS colour name to sRGB hex."""
    text = files("accord_rules").joinpath("book/css_colours.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))


def read_colour(text: str) -> Colour | None:
    """A colour from "#F4F4F0", "#FFF" or a CSS name; None if it is neither.

    Colours are kept by their six digits: what a caller wrote, or made up, leaves nothing behind.
    """
    code = text if text.startswith("#") else names().get(text.lower())
    if code is None or not _HEX.fullmatch(code):
        return None
    digits = code[1:] if len(code) == 7 else "".join(2 * digit for digit in code[1:])
    return _of_digits(digits.upper())


@lru_cache(maxsize=_COLOURS_MOST)
def _of_digits(digits: str) -> Colour:
    red, green, blue = (_linear(int(digits[i : i + 2], 16) / 255) for i in (0, 2, 4))
    x, y, z = (row[0] * red + row[1] * green + row[2] * blue for row in _TO_XYZ)
    fx, fy, fz = (_cube_root(value / white) for value, white in zip((x, y, z), _WHITE_D65, strict=True))
    return Colour("#" + digits, 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz), y)


def _linear(code: float) -> float:
    return code / 12.92 if code <= 0.04045 else float(((code + 0.055) / 1.055) ** 2.4)


def _cube_root(t: float) -> float:
    return float(t ** (1 / 3)) if t > _KNEE**3 else t / (3 * _KNEE**2) + 4 / 29


def plain_name(said: str) -> str:
    """What an order says of a colour, as people say it: its CSS name, where there is one for a code."""
    return next((name for name, code in names().items() if code.lower() == said.lower()), said.lower())


def hue_difference(first: Colour, second: Colour) -> float:
    """By how much the CIELAB hues of two colours differ, degrees, 0 to 180."""
    apart = abs(degrees(atan2(first.b, first.a) - atan2(second.b, second.a))) % 360
    return min(apart, 360 - apart)


# Chromaticities that high-visibility background cloth has under D65, EN ISO 20471:2013, table 2, from memory, with the
# least relative luminance. Screens show fluorescent orange-red darker and yellower than it is, and orders write what
# screens show: there the figure is wider on the side of yellow, and the luminance is that of the book's orange blanks
# in place of the standard's 0.40: a choice.
_HIGH_VISIBILITY = (
    (((0.387, 0.610), (0.356, 0.494), (0.398, 0.452), (0.460, 0.540)), 0.70),
    (((0.655, 0.344), (0.570, 0.340), (0.525, 0.375), (0.535, 0.405), (0.600, 0.405)), 0.23),
)


def signals(colour: Colour) -> bool:
    """Whether a colour is one of those that high-visibility cloth has: fluorescent yellow or orange-red."""
    point = _chromaticity(colour)
    return any(colour.luminance >= least and _lies_within(point, corners) for corners, least in _HIGH_VISIBILITY)


def _chromaticity(colour: Colour) -> tuple[float, float]:
    linear = [_linear(int(colour.hex[i : i + 2], 16) / 255) for i in (1, 3, 5)]
    xyz = [sum(part * light for part, light in zip(row, linear, strict=True)) for row in _TO_XYZ]
    total = sum(xyz) or 1.0
    return xyz[0] / total, xyz[1] / total


def _lies_within(point: tuple[float, float], corners: tuple[tuple[float, float], ...]) -> bool:
    """Whether a point lies in a convex figure, on one side of all its edges."""
    x, y = point
    edges = zip(corners, (*corners[1:], corners[0]), strict=True)
    sides = [(bx - ax) * (y - ay) - (by - ay) * (x - ax) for (ax, ay), (bx, by) in edges]
    return all(side >= 0 for side in sides) or all(side <= 0 for side in sides)


def contrast(first: Colour, second: Colour) -> float:
    """WCAG 2 contrast ratio, 1 to 21."""
    lighter, darker = sorted((first.luminance, second.luminance), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
