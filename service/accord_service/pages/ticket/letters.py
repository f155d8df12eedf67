"""Letters that a PDF's own fonts have, those of western Europe, and what becomes of others.

A letter with a mark that they lack stands plain ("Lódz" for "Łódź"); a word in other letters has no plain form, and
rather than be mangled it stands as "[...]". The ticket says so, and the page has them all.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from accord_rules.documents.units import UnitPreferences
from accord_service.pages.ticket.told import Heed, Told

_ENCODING = "cp1252"
LEFT_OUT = "[...]"
_LEFT_OUT_TWICE = re.compile(rf"{re.escape(LEFT_OUT)}(?:\s+{re.escape(LEFT_OUT)})+")
# Letters that do not come apart into a plain one and a mark.
_PLAIN: Mapping[int, str] = MappingProxyType(
    str.maketrans({"ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i", "ħ": "h", "−": "-", "\u2011": "-", "\u202f": " "})
)
_SAID = (
    "This file has the letters of western Europe alone: names in others stand plain, or as [...] where they have no"
    " plain form. Printed from the page they stand as they are."
)


def in_plain_letters(told: Told) -> Told:
    """A ticket in the letters that a PDF has; where names had to give way, it says so."""
    plain: Told = _respelled(told)
    names = (told.shop, told.reference or "", told.press, told.piece)
    if not any(letter.isalpha() and not _has(letter) for name in names for letter in name):
        return plain
    return replace(plain, heeds=(*plain.heeds, Heed("unsaid", "Letters", (_SAID,))))


def printable(text: str) -> str:
    """The text in letters that can be printed: marks fall away where they have to, words in others are left out."""
    if _has(text):
        return text
    words = re.split(r"(\s+)", text.translate(_PLAIN))
    return _LEFT_OUT_TWICE.sub(LEFT_OUT, "".join(map(_word, words)))


def _word(word: str) -> str:
    letters = [_letter(letter) for letter in word]
    return LEFT_OUT if None in letters else "".join(filter(None, letters))


def _letter(letter: str) -> str | None:
    """A letter as it can be printed; None where it has no plain form."""
    if _has(letter):
        return letter
    plain = "".join(part for part in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(part))
    return plain if _has(plain) else None


@lru_cache(maxsize=4_000)
def _has(text: str) -> bool:
    """Whether a PDF's fonts have all of it."""
    try:
        text.encode(_ENCODING)
    except UnicodeEncodeError:
        return False
    return True


def _respelled(thing: Any) -> Any:
    """The same, each text in it in plain letters."""
    if isinstance(thing, str):
        return printable(thing)
    if isinstance(thing, tuple | list):
        return type(thing)(map(_respelled, thing))
    if isinstance(thing, Mapping):
        return {name: _respelled(value) for name, value in thing.items()}
    if is_dataclass(thing) and not isinstance(thing, type | UnitPreferences):
        return replace(thing, **{field.name: _respelled(getattr(thing, field.name)) for field in fields(thing)})
    return thing
