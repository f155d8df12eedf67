"""Sentences with facts and limits in braces, ``{item.polyester_share}`` and ``{limit(x)}``, in the shop's units."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from accord_rules.documents import units
from accord_rules.documents.reading import LeafError
from accord_rules.revision.facts import FactType, Kind

_FIELD = re.compile(r"\{(limit\()?([a-z0-9_]+(?:\.[a-z0-9_]+)*)\)?\}")
_UNSAID = "not said"


class SentenceError(LeafError):
    """A sentence that names something that is not declared, or has a brace too many."""


class FactValues(Protocol):
    """Facts by name: a mapping, or a case that works them out."""

    def get(self, name: str, /) -> Any: ...


@dataclass(frozen=True, slots=True)
class Sentence:
    """A parsed sentence: the names it uses and the text between them."""

    text: str
    facts: tuple[str, ...]
    limits: tuple[str, ...]

    def write(
        self,
        facts: FactValues,
        types: Mapping[str, FactType],
        limits: Mapping[str, tuple[units.Dimension, float]],
        preferences: units.UnitPreferences,
    ) -> str:
        """Fill in the values."""

        def value(match: re.Match[str]) -> str:
            shown = plain(match)
            begins = match.start() == 0 or self.text[: match.start()].endswith((". ", "? ", "! "))
            return shown[:1].upper() + shown[1:] if begins else shown

        def plain(match: re.Match[str]) -> str:
            if match.group(1):
                dimension, number = limits[match.group(2)]
                return _shown(dimension, number, preferences)
            return write_value(types[match.group(2)], facts.get(match.group(2)), preferences)

        return _FIELD.sub(value, self.text)


def in_a_sentence(title: str) -> str:
    """A title as it stands inside a sentence: "Ceramic tile" becomes "ceramic tile", "PVC film" stays."""
    return title[:1].lower() + title[1:] if title[1:2].islower() or title[1:2] == " " else title


# The least lightness of each word: a choice of this project, by what rules about grounds tell apart.
_GROUNDS = ((90.0, "near white"), (75.0, "light"), (50.0, "mid-tone"), (25.0, "dark"), (0.0, "near black"))


def _shown(dimension: units.Dimension, number: float, preferences: units.UnitPreferences) -> str:
    """A number in the shop's unit; lightness, which has none that people know, with the scale it is on."""
    if dimension is units.LIGHTNESS:
        return f"{units.show(dimension, number, preferences).removesuffix(units.LIGHTNESS.symbol).rstrip()} of 100"
    return units.show(dimension, number, preferences)


def _ground(lightness: float) -> str:
    """How light a colour is to the eye."""
    return next(word for least, word in _GROUNDS if lightness >= least)


def write_value(type_: FactType, value: Any, preferences: units.UnitPreferences) -> str:
    """One fact's value as a person reads it."""
    if value is None:
        return _UNSAID
    if type_.kind is Kind.NUMBER and type_.dimension is not None:
        shown = _shown(type_.dimension, value, preferences)
        return f"{shown} ({_ground(value)})" if type_.dimension is units.LIGHTNESS else shown
    if type_.kind is Kind.BOOL:
        return "yes" if value else "no"
    if type_.kind is Kind.SET:
        return ", ".join(sorted(value)) or "none"
    return str(value)


def read_sentence(text: str, types: Mapping[str, FactType], limits: Mapping[str, Any]) -> Sentence:
    """Parse; SentenceError names what is unknown, or a brace that is neither a fact nor a limit."""
    facts: list[str] = []
    named_limits: list[str] = []
    for match in _FIELD.finditer(text):
        is_limit, name = match.group(1) is not None, match.group(2)
        if is_limit != match.group(0).endswith(")}"):
            raise SentenceError(f"{match.group(0)} is neither a fact nor limit(...)")
        if is_limit and name not in limits:
            raise SentenceError(f"limit {name} is not in the book", sorted(limits), code="not-in-book", refused=name)
        if not is_limit and (name not in types or types[name].kind is Kind.DATA):
            nameable = sorted(name for name, type_ in types.items() if type_.kind is not Kind.DATA)
            message = f"{name} is not a fact that sentences may name"
            raise SentenceError(message, nameable, code="not-in-book", refused=name)
        (named_limits if is_limit else facts).append(name)
    stray = re.search(r"[{}]", _FIELD.sub(lambda match: " " * len(match.group()), text))
    if stray:
        raise SentenceError(f"has a stray brace: {text[stray.start() :][:40]!r}")
    return Sentence(text, tuple(dict.fromkeys(facts)), tuple(dict.fromkeys(named_limits)))
