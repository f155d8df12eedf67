"""Settings as an order document writes them, which is what an answer offers to put back, and as sentences say them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.derive.chosen import Chosen, ChosenPressing
from accord_rules.derive.process import WORDS
from accord_rules.documents import units
from accord_rules.documents.writing import quantity
from accord_rules.orders.order import NONE
from accord_rules.orders.sheet import SECOND
from accord_rules.revision.book import Book
from accord_rules.revision.sentences import in_a_sentence

_FIELD_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "temperature": "the temperature",
        "time": "the dwell",
        "pressure": "the pressure",
        "peel": "the peel",
        "cover": "the cover sheet",
        "pad": "the pad",
        "tape": "the tape",
        "pre_press": "the pre-press",
        "second_press": "the second press",
    }
)


def order_settings(chosen: Chosen, preferences: units.UnitPreferences) -> dict[str, Any]:
    """Complete settings as an order document writes them."""
    document: dict[str, Any] = {}
    if chosen.display_c is not None:
        document |= {"temperature": quantity(units.TEMPERATURE, chosen.display_c, preferences), "read_at": "display"}
    if chosen.time_s is not None:
        document["time"] = quantity(units.TIME, chosen.time_s, preferences)
    if isinstance(chosen.pressure, str):
        document["pressure"] = chosen.pressure
    elif chosen.pressure is not None:
        document["pressure"] = quantity(units.PRESSURE, chosen.pressure, preferences)
    if chosen.peel is not None:
        document["peel"] = chosen.peel
    document |= {part: getattr(chosen, part) or NONE for part in ("cover", "pad", "tape")}
    document["pre_press"] = quantity(units.TIME, chosen.pre_press_s, preferences)
    document["second_press"] = quantity(units.TIME, chosen.second_press_s, preferences)
    pressings = {pressing.name: _pressing(pressing, preferences) for pressing in chosen.pressings}
    return document | ({"pressings": pressings} if pressings else {})


def _pressing(pressing: ChosenPressing, preferences: units.UnitPreferences) -> dict[str, Any]:
    """One beside the main pressing; what is as in the main one, and the time of a second press, stand there."""
    document: dict[str, Any] = {}
    if pressing.display_c is not None:
        document["temperature"] = quantity(units.TEMPERATURE, pressing.display_c, preferences)
    if pressing.name not in SECOND:
        document["time"] = quantity(units.TIME, pressing.time_s, preferences)
    if pressing.pressure is not None:
        document["pressure"] = pressing.pressure
    return document | {"peel": pressing.peel, "cover": pressing.cover or NONE}


def setting_words(name: str, value: Any, book: Book) -> Iterator[tuple[str, str]]:
    """What is set, and to what, of one field of such a document: a pair for each pressing beside the main one."""
    if name == "pressings":
        for pressing, fields in value.items():
            yield WORDS[pressing], ", ".join(_clauses(fields, book))
    else:
        yield _FIELD_WORDS[name], _shown(name, value, book)


def _clauses(pressing: Mapping[str, str], book: Book) -> Iterator[str]:
    yield from (_shown(name, pressing[name], book) for name in ("temperature", "time") if name in pressing)
    if "pressure" in pressing:
        yield f"{pressing['pressure']} pressure"
    if pressing["peel"] != NONE:
        yield f"peeled {pressing['peel']}"
    yield "with no cover sheet" if pressing["cover"] == NONE else f"under {_shown('cover', pressing['cover'], book)}"


def _shown(name: str, value: str, book: Book) -> str:
    if name == "temperature":
        return f"{value} on the display"
    if name in ("cover", "pad", "tape") and value != NONE:
        return in_a_sentence(book.catalogue["consumables"][value].title)
    return value
