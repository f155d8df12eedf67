"""Sizes of children's garments as labels have them, and whom each fits: the one table.

Common practice, no source: figures in years fit that age (sizes "7" to "16" of the United States, Canada and
Australia), "T" is cut for toddlers, "X" for the tall of that age. Sizes of body height go by EN 13402-3, 6 cm a step,
from memory; the age beside each is the youngest it is sold for. Sizes of months and of noughts (Australia) are for
babies. Letters mean youth sizes with a Y before them; without one they fit grown-ups too and say nothing of age.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from types import MappingProxyType
from typing import Any

from accord_rules.documents.reading import LeafError, Reader, kind_of


@dataclass(frozen=True, slots=True)
class GarmentSize:
    """Whom a size fits: ages in years, from and (not included) under; body height, mm, where the label says it."""

    label: str
    age_from: float
    age_under: float
    height_mm: float | None = None

    @property
    def age_to(self) -> float:
        """The oldest it fits, in years as people say their age."""
        return max(self.age_from, ceil(self.age_under) - 1.0)


def _months(least: int, most: int) -> tuple[float, float]:
    return round(least / 12, 6), round(most / 12, 6)


_BABY: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "newborn": _months(0, 1),
        "0000": _months(0, 3),
        "000": _months(3, 6),
        "00": _months(6, 9),
        "0": _months(9, 12),
        "3M": _months(0, 3),
        "6M": _months(3, 6),
        "9M": _months(6, 9),
        "12M": _months(9, 12),
        "18M": _months(12, 18),
        "24M": _months(18, 24),
    }
)
_YEARS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        **{f"{year}T": (float(year), year + 1.0) for year in range(2, 6)},
        **{str(year): (float(year), year + 1.0) for year in range(1, 17)},
        **{f"{year}X": (float(year), year + 1.0) for year in (6, 7, 14)},
    }
)
_YOUTH: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"YXS": (4.0, 6.0), "YS": (6.0, 9.0), "YM": (9.0, 12.0), "YL": (12.0, 15.0), "YXL": (15.0, 18.0)}
)
# Body height, cm -> the ages that a garment of it is sold for.
_HEIGHTS: Mapping[int, tuple[float, float]] = MappingProxyType(
    {
        50: _months(0, 1),
        56: _months(0, 2),
        62: _months(2, 4),
        68: _months(4, 6),
        74: _months(6, 9),
        80: _months(9, 12),
        86: _months(12, 18),
        92: _months(18, 24),
        98: (2.0, 3.0),
        104: (3.0, 4.0),
        110: (4.0, 5.0),
        116: (5.0, 6.0),
        122: (6.0, 7.0),
        128: (7.0, 8.0),
        134: (8.0, 9.0),
        140: (9.0, 10.0),
        146: (10.0, 11.0),
        152: (11.0, 12.0),
        158: (12.0, 13.0),
        164: (13.0, 14.0),
        170: (14.0, 15.0),
        176: (15.0, 16.0),
        182: (16.0, 18.0),
    }
)
SIZES: Mapping[str, GarmentSize] = MappingProxyType(
    {
        **{label: GarmentSize(label, *ages) for table in (_BABY, _YEARS, _YOUTH) for label, ages in table.items()},
        **{f"{cm} cm": GarmentSize(f"{cm} cm", *ages, height_mm=10.0 * cm) for cm, ages in _HEIGHTS.items()},
    }
)
# Letters of grown-ups' sizes, which no ages go by.
GROWN_UPS = frozenset({"XXS", "XS", "S", "M", "L", "XL", "XXL", "2XL", "XXXL", "3XL", "4XL", "5XL"})
_HEIGHT = re.compile(r"([0-9]{2,3}) ?CM")
_BY_WORD: Mapping[str, str] = MappingProxyType({label.upper(): label for label in SIZES})


class GarmentSizeText(Reader):
    """A size of children's garments as its label has it, in the table's spelling."""

    kind = "word"

    def leaf(self, value: Any) -> str:
        """The label in the table's spelling; case, and a space before cm, make no difference."""
        if not isinstance(value, str):
            raise LeafError(f"must be a string, not {kind_of(value)}", code="wrong-type")
        if not 1 <= len(value) <= 12:
            raise LeafError(f"must have 1 to 12 characters, has {len(value)}", code="out-of-range")
        word = value.strip().upper()
        if tall := _HEIGHT.fullmatch(word):
            word = f"{tall.group(1)} CM"
        if word in GROWN_UPS:
            raise LeafError(
                f"{value!r} fits grown-ups as well as children and says no age: leave it out and say the youngest "
                f"user's age",
                tuple(label for label in _YOUTH if label == f"Y{word}"),
                code="not-allowed",
                refused=value,
            )
        if word not in _BY_WORD:
            height = f"{word} cm"
            raise LeafError(
                f"{value!r} is no size of children's garments",
                tuple(SIZES),
                code="not-allowed",
                refused=height if height in SIZES else value,
            )
        return _BY_WORD[word]

    def json_schema(self) -> dict[str, Any]:
        """Any short text: the labels it takes are described."""
        described = "a size of children's garments, in any case: " + ", ".join(SIZES)
        return {"type": "string", "minLength": 1, "maxLength": 12, "description": described, "examples": ["6X"]}


def size_named(label: str | None) -> GarmentSize | None:
    """The size of a label in the table's spelling; None for none."""
    return None if label is None else SIZES[label]
