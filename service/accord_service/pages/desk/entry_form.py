"""A form for one entry of the book, made from the readers that the book itself is read with.

Each plain value has a field of its own, named by where it stands in the entry; inner objects are groups of fields.
What a field cannot say (tables by substrate, lists of objects) stays as it is.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents import typed
from accord_rules.documents.reading import (
    Choice,
    Flag,
    Many,
    Number,
    Object,
    OneOrSpan,
    Quantity,
    Reader,
    Text,
    Whole,
    members_of,
)
from accord_service.pages.forms import Form, at
from accord_service.steps.readable import in_words, plain_number

Document = Mapping[str, Any]
LINE, LINES, CHOICE = "line", "lines", "choice"
_YES_NO: Mapping[str, bool] = MappingProxyType({"yes": True, "no": False})
# Longer texts get a field of several lines.
_LINE_MOST, _WORD_MOST = 120, 80
# Where a product says how it is pressed, and nowhere else.
_SHEET = ("sheet", "sheet/temperature", "sheet/time", "sheet/pressure")


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryField:
    """One plain value: ``kind`` is how it is typed, ``words`` what may be chosen, ``usual`` what holds where it is
    empty."""

    name: str
    label: str
    about: str
    kind: str
    words: tuple[str, ...] = ()
    usual: str = ""

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Each word with how people read it."""
        return tuple((word, word.replace("-", " ")) for word in self.words)


@dataclass(frozen=True, slots=True)
class Group:
    """The fields of one object of an entry; of the entry itself under an empty name.

    ``said``: whether any of them has a value. ``leads``: whether it is what people look for first.
    """

    name: str
    label: str
    about: str
    fields: tuple[EntryField, ...]
    said: bool
    leads: bool


def groups_of(cls: type, entry: Document, whole: Document) -> tuple[Group, ...]:
    """The groups of an entry's form. ``whole``: the entry with what it takes from its family."""
    return tuple(_groups(cls, entry, whole, "", ""))


def _groups(cls: type, entry: Document, whole: Document, place: str, about: str) -> Iterator[Group]:
    fields, inner = [], []
    for member in members_of(cls):
        name = f"{place}/{member.name}".lstrip("/")
        if (into := _object_of(member.reader)) is not None:
            inner.append((into, name, member.about))
        elif (kind := _kind(member.reader)) is not None:
            usual = "" if at(entry, name) is not None or at(whole, name) is None else _text(at(whole, name))
            words = tuple(_words(member.reader))
            fields.append(
                EntryField(
                    name=name,
                    label=member.name.replace("_", " ").capitalize(),
                    about=member.about,
                    kind=kind,
                    words=words,
                    usual=usual,
                )
            )
    if fields:
        said = any(at(entry, field.name) is not None for field in fields)
        label = in_words(place.replace("/", ".")).capitalize() if place else ""
        yield Group(place, label, about, tuple(fields), said, leads=said or ("family" in entry and place in _SHEET))
    for into, name, of_it in inner:
        yield from _groups(into, entry, whole, name, of_it)


def _object_of(reader: Reader) -> type | None:
    """The class of an object whose fields are told apart; None for any other reader."""
    return reader.into if isinstance(reader, Object) and not isinstance(reader, OneOrSpan) else None


def _kind(reader: Reader) -> str | None:
    """How a value of this reader is typed; None where no field can say it."""
    match reader:
        case Choice() | Flag():
            return CHOICE
        case Many(item=Text(most=most)) if most > _WORD_MOST:
            return None  # sentences have commas of their own
        case Many(item=Choice() | Text() | Quantity() | Number() | Whole()):
            return LINE
        case Text(most=most) if most > _LINE_MOST:
            return LINES
        case Text() | Quantity() | Number() | Whole():
            return LINE
    return None


def _words(reader: Reader) -> Sequence[str]:
    match reader:
        case Choice(words=words):
            return words
        case Flag():
            return tuple(_YES_NO)
    return ()


def values_of(groups: Sequence[Group], entry: Document) -> dict[str, str]:
    """What stands in each field."""
    names = [field.name for group in groups for field in group.fields]
    return {name: _text(at(entry, name)) for name in names if at(entry, name) is not None}


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_text, value)) or _EMPTY_LIST
    return plain_number(value) if isinstance(value, int | float) else " ".join(str(value).split())


# An empty list says something that an empty field does not.
_EMPTY_LIST = "none"


def entry_of(form: Form, cls: type, entry: Document) -> dict[str, Any]:
    """The entry with what the form says: an empty field takes its value out, an object of nothing goes with it.

    What was not changed stays as it is written; what cannot be read as its reader wants it stays as it was typed, and
    the API says what is wrong with it.
    """
    altered = copy.deepcopy(dict(entry))
    for member in members_of(cls):
        _alter(form, member.reader, altered, member.name, member.name)
    return altered


def _alter(form: Form, reader: Reader, of: dict[str, Any], key: str, name: str) -> None:
    if (into := _object_of(reader)) is not None:
        inner = dict(of.get(key, {}))
        for member in members_of(into):
            _alter(form, member.reader, inner, member.name, f"{name}/{member.name}")
        if inner:
            of[key] = inner
        else:
            of.pop(key, None)
    elif _kind(reader) is not None and name in form.values:
        text = form.text(name)
        if text == ("" if key not in of else _text(of[key])):
            return
        if text:
            of[key] = _value(reader, text)
        else:
            of.pop(key, None)


def _value(reader: Reader, text: str) -> Any:
    try:
        match reader:
            case Flag():
                return _YES_NO.get(text, text)
            case Whole():
                return typed.number(text, whole=True)
            case Number():
                return typed.number(text, whole=False)
            case Many(item=item):
                parts = [] if text == _EMPTY_LIST else [part.strip() for part in text.split(",") if part.strip()]
                return [_value(item, part) for part in parts]
    except typed.TypedError:
        return text
    return text
