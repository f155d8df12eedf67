"""How the book's documents are shown: numbers in the shop's units, sentences with their numbers, entries by field."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup, escape

from accord_rules.documents import units
from accord_rules.documents.reading import Choice, Flag, Many, Name, Object, Quantity, Reader, Table, members_of
from accord_rules.documents.units import METRIC, UnitError, UnitPreferences
from accord_rules.verdict import LEVELS
from accord_service.pages.library.words import LEVEL_WORDS, address_of, spoken
from accord_service.pages.visit import Visit
from accord_service.steps.readable import plain_number

Document = Mapping[str, Any]
# Told apart from the rest of an entry, or said by its heading.
_TOLD_ELSEWHERE = frozenset({"title", "sources", "sources_of", "note", "aliases"})


@dataclass(frozen=True, slots=True)
class Link:
    """A word that leads to an entry; ``address`` is empty where it leads nowhere."""

    words: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of an entry: its text, links or inner fields, whichever it has. ``sources``: its own."""

    words: str
    about: str = ""
    text: str = ""
    as_written: str = ""
    links: tuple[Link, ...] = ()
    fields: tuple[Field, ...] = ()
    sources: tuple[Link, ...] = ()


def units_of(visit: Visit) -> UnitPreferences:
    """The units that the visitor's shop reads; metric for keys of no shop."""
    return METRIC if visit.caller.shop is None else visit.caller.shop.shop.units


def quantity(dimension: units.Dimension, written: Any, preferences: UnitPreferences) -> str:
    """A quantity as the book writes it, in the units that are preferred; what can't be read stays as it is."""
    try:
        if isinstance(written, str):
            return units.show(dimension, units.parse(dimension, written), preferences)
        return f"{plain_number(written)} {dimension.symbol}".rstrip()
    except UnitError:
        return str(written)


def limit_value(entry: Document, preferences: UnitPreferences, value: Any = None) -> str:
    """The value of a limit, or another one for it, in the units that are preferred."""
    return quantity(units.DIMENSIONS[entry["dimension"]], entry["value"] if value is None else value, preferences)


def limit_step(entry: Document, preferences: UnitPreferences) -> str:
    """The smallest change of a limit that matters, in the units that are preferred."""
    dimension, written = units.DIMENSIONS[entry["dimension"]], entry["step"]
    if not isinstance(written, str):
        return limit_value(entry, preferences, written)
    return units.show(units.of_steps(dimension), units.parse(dimension, written), preferences)


def sentence(text: str, limits: Mapping[str, str], suffix: str = "") -> Markup:
    """A sentence of the book with its limits' values filled in; what depends on the order is told in words.

    ``limits``: id to value; ``suffix``: what addresses of entries end with.
    """

    def filled(match: re.Match[str]) -> str:
        is_limit, name = match[1], match[2]
        if is_limit and name in limits:
            address = address_of("limits", name) + suffix
            return Markup('<a class="value" href="{}">{}</a>').format(address, limits[name])
        return Markup('<span class="slot" title="{}">{}</span>').format(name, fact_words(name))

    return Markup(re.sub(r"\{(limit\()?([a-z0-9_.]+)\)?\}", filled, str(escape(text))))


def fact_words(name: str) -> str:
    """A fact's name in words, without the group before it and the unit or form behind it."""
    return spoken(re.sub(r"_(words|shown|title|c|k|s|mm|kpa|a|d|g_m2)$", "", name.rpartition(".")[2]))


def fields_of(cls: type, entry: Document, preferences: UnitPreferences) -> tuple[Field, ...]:
    """An entry's fields, in the order in which the book declares them."""
    own = entry.get("sources_of", {})
    return tuple(
        _field(
            member.reader,
            entry[member.name],
            preferences,
            words=spoken(member.name),
            about=member.about,
            sources=_links("sources", own.get(member.name, ())),
        )
        for member in members_of(cls)
        if member.name in entry and member.name not in _TOLD_ELSEWHERE
    )


def _field(reader: Reader, value: Any, preferences: UnitPreferences, **named: Any) -> Field:
    match reader:
        case Quantity(dimension=dimension):
            return Field(text=quantity(dimension, value, preferences), as_written=str(value), **named)
        case Choice(words=words) if words == LEVELS:
            return Field(text=LEVEL_WORDS[value][0].lower(), **named)
        case Flag():
            return Field(text="yes" if value else "no", **named)
        case Object(into=into):
            return Field(fields=fields_of(into, value, preferences) + _sources_field(value), **named)
        case Many(item=Name(name_of=kinds)) if kinds:
            return Field(links=_links(kinds, value), text="" if value else "none", **named)
        case Name(name_of=kinds) if kinds:
            return Field(links=_links(kinds, (value,)), **named)
        case Many(item=Object(into=into)):
            numbered = enumerate((fields_of(into, item, preferences) for item in value), 1)
            return Field(fields=tuple(Field(words=str(number), fields=inner) for number, inner in numbered), **named)
        case Many(item=item):
            told = [_field(item, member, preferences, words="").text for member in value]
            return Field(text=_several(told), **named)
        case Table(key=key, value=inner_reader):
            return Field(
                fields=tuple(
                    _field(inner_reader, inner, preferences, words=_key(key, name)) for name, inner in value.items()
                ),
                **named,
            )
    return Field(text=_text(value), **named)


def _sources_field(value: Document) -> tuple[Field, ...]:
    """What an inner table rests on, where it says so itself."""
    named = value.get("sources", ())
    return (Field(words="rests on", links=_links("sources", named)),) if named else ()


def _key(reader: Reader, name: str) -> str:
    return name if isinstance(reader, Name) and reader.name_of == "fibres" else spoken(name)


def _several(told: Sequence[str]) -> str:
    """Sentences run on; words are listed."""
    return " ".join(told) if any(text.endswith((".", "?")) for text in told) else ", ".join(told) or "none"


def _text(value: Any) -> str:
    if isinstance(value, float | int) and not isinstance(value, bool):
        return plain_number(value)
    return str(value) if " " in str(value) else spoken(str(value))


def _links(kinds: str, names: Sequence[str]) -> tuple[Link, ...]:
    """Ids of one kind, or of several between bars, as links; "none" is a word of the book for nothing."""
    kind = kinds.split("|")[0]
    return tuple(Link(spoken(name), "" if name == "none" else address_of(kind, name)) for name in names)


# -- examples ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shown:
    """An example of a rule or step: an order, as what is different from the quiet one, or bare facts."""

    note: str
    parts: tuple[tuple[str, str], ...]
    is_order: bool


def example(entry: Document) -> Shown:
    """An example as people read it."""
    facts = entry.get("facts")
    if facts is not None:
        return Shown(entry.get("note", ""), tuple((name, _plain(value)) for name, value in facts.items()), False)
    parts = tuple((spoken(name), _plain(value)) for name, value in entry.items() if name != "note")
    return Shown(entry.get("note", ""), parts, True)


def _plain(value: Any) -> str:
    """A value of an example in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{spoken(str(name))} {_inner(inner)}" for name, inner in value.items()) or "nothing"
    if isinstance(value, list):
        return ", ".join(map(_inner, value)) or "nothing"
    if isinstance(value, float | int):
        return plain_number(value)
    return value or "left out"


def _inner(value: Any) -> str:
    told = _plain(value)
    return f"({told})" if isinstance(value, Mapping) else told
