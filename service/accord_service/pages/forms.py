"""Forms of the desk: what was typed, what of it goes into a document, and which fault belongs beside which field.

A field of a form has the JSON Pointer of what it says in the document as its name, so that a fault of the document
finds its field by itself.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from flask import request
from werkzeug.datastructures import MultiDict

from accord_rules.documents import typed, units
from accord_rules.documents.reading import Fault, unescape
from accord_service.http.problems import KeyUsedBefore, Problem
from accord_service.steps.readable import in_words, leaves

_NONE: Mapping[str, Any] = MappingProxyType({})
# What the form was made from: its ETag, and the piece itself, by which what changed meanwhile can be told.
ETAG, SEEN = "etag", "seen"
_NUMBER_AND_UNIT = re.compile(rf"(?P<number>{typed.NUMBER})\s*(?P<unit>\S.*)")
# What readers say of what was left empty.
_EMPTY = re.compile(r"is required|must have 1 to \d+ (?:characters|entries), has 0")
# The unit of a difference, by the scale that it is said in.
_DIFFERENCES: Mapping[str, str] = MappingProxyType({"°C": "K", "°F": "Δ°F", "K": "K"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A form as it is shown: ``values`` by the field's name, ``faults`` beside fields, ``told`` above all of them.

    ``doubts``: faults that whoever typed it may set aside, by their word.
    """

    values: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: _NONE)
    faults: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: _NONE)
    told: tuple[str, ...] = ()
    doubts: Mapping[str, str] = field(default_factory=lambda: _NONE)
    status: int = 200

    @classmethod
    def of(cls, values: Mapping[str, str | Iterable[str]]) -> Form:
        """A form that nobody has typed into yet."""
        whole = {name: (said,) if isinstance(said, str) else tuple(said) for name, said in values.items()}
        return cls(values=MappingProxyType(whole))

    @classmethod
    def sent(cls) -> Form:
        """The form of this request, as it was typed."""
        sent: MultiDict[str, str] = request.form
        return cls(values=MappingProxyType({name: tuple(values) for name, values in sent.lists()}))

    def value(self, name: str) -> str:
        """What a field says; empty for nothing."""
        return next(iter(self.values.get(name, ())), "")

    def text(self, name: str) -> str:
        """The same without the spaces around it."""
        return self.value(name).strip()

    def has(self, name: str, word: str) -> bool:
        """Whether a word is chosen."""
        return word in self.values.get(name, ())

    def fault(self, name: str) -> tuple[str, ...]:
        """What is wrong with a field, a sentence each."""
        return self.faults.get(name, ())

    def refused(
        self,
        problem: Problem,
        fields: Iterable[str],
        moved: Callable[[str], str] = str,
        faults: tuple[Fault, ...] | None = None,
    ) -> Form:
        """The same with what a problem says, each fault beside its field where it has one.

        ``moved``: the field, or a place in it, for a pointer of the document that was sent. ``faults``: the problem's,
        told in the form's own words.
        """
        known = tuple(fields)
        faults = problem.faults if faults is None else faults
        beside: dict[str, list[str]] = {}
        told, doubts = [], {}
        for fault in faults:
            if fault.code == "unlikely" and fault.allowed:
                doubts[fault.allowed[0]] = _doubt(fault)
                continue
            pointer = moved(fault.pointer)
            place = field_of(pointer, known)
            if place is None:
                told.append(_placed(fault, pointer))
            else:
                beside.setdefault(place, []).append(sentence_of(fault))
        return replace(
            self,
            faults=MappingProxyType({name: tuple(sentences) for name, sentences in beside.items()}),
            told=tuple(told) if faults else (_whole(problem),),
            doubts=MappingProxyType(doubts),
            status=problem.status,
        )

    def wrong(self, name: str, sentence: str) -> Form:
        """The same with one fault beside a field."""
        return replace(self, faults=MappingProxyType({**self.faults, name: (sentence,)}), status=422)


def field_of(pointer: str, fields: tuple[str, ...]) -> str | None:
    """The field that says what stands at a pointer, or holds it, or begins what stands there; None for none."""
    if pointer in fields:
        return pointer
    around = [name for name in fields if pointer.startswith(f"{name}/")]
    inside = [name for name in fields if pointer and name.startswith(f"{pointer}/")]
    return max(around, key=len) if around else next(iter(inside), None)


def _whole(problem: Problem) -> str:
    """A problem that no field is to blame for."""
    if isinstance(problem, KeyUsedBefore):
        return "This form was sent before, with something else in it. Look at it once more, and send it again."
    return problem.detail


def sentence_of(fault: Fault) -> str:
    """A fault as a sentence beside its field, in the words of who fills in forms."""
    if _EMPTY.fullmatch(fault.message):
        return "This has to be filled in."
    sentence = fault.message_with_hints.replace("must be a string with a date", "must be a date")
    return f"{sentence[:1].upper()}{sentence[1:]}".rstrip(".?") + ("?" if sentence.endswith("?") else ".")


def _placed(fault: Fault, pointer: str) -> str:
    """What no field of the form says is told with its place, as the form has it."""
    place = " ".join(unescape(step) for step in pointer.strip("/").split("/"))
    return f"{place}: {fault.message_with_hints}" if place else sentence_of(fault)


def _doubt(fault: Fault) -> str:
    """The doubt alone, without what a program would have to send to set it aside."""
    return fault.message.partition("; if it was read so")[0].rstrip(".") + "."


def with_unit(text: str, unit: str) -> str:
    """A quantity as documents have it: a bare number is in the unit that stands beside its field."""
    return f"{text} {unit}" if unit and typed.BARE.fullmatch(text) else text


def as_difference(text: str) -> str:
    """A difference of temperatures as documents have it: people write 9 °F for what is no point of the scale."""
    said = None if len(text) > units.MOST_CHARACTERS else _NUMBER_AND_UNIT.fullmatch(text.strip())
    scale = None if said is None else units.TEMPERATURE.unit(said["unit"])
    return text if said is None or scale is None else f"{said['number']} {_DIFFERENCES[scale.symbol]}"


def without_unit(value: Any, unit: str) -> str:
    """A quantity as its field shows it: the number alone where the unit stands beside it."""
    text = "" if value is None else str(value)
    number = text.removesuffix(f" {unit}") if unit else text
    return number if typed.BARE.fullmatch(number) else text


# -- nested documents --------------------------------------------------------------------------------------------------


def at(document: Any, pointer: str) -> Any:
    """What stands at a pointer; None for nothing."""
    for step in pointer.strip("/").split("/"):
        if not isinstance(document, Mapping) or step not in document:
            return None
        document = document[step]
    return document


def nested(said: Mapping[str, Any]) -> dict[str, Any]:
    """A document of what stands at each pointer."""
    document: dict[str, Any] = {}
    for pointer, value in said.items():
        *steps, last = pointer.strip("/").split("/")
        inner = document
        for step in steps:
            inner = inner.setdefault(step, {})
        inner[last] = value
    return document


# -- what changed meanwhile --------------------------------------------------------------------------------------------


def seen_text(piece: Any) -> str:
    """A piece of a document as its form brings it back."""
    return json.dumps(piece, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def seen_in(form: Form) -> Any:
    """What the form was made from; None where that can't be read."""
    try:
        return json.loads(form.value(SEEN))
    except (ValueError, RecursionError):
        return None


@dataclass(frozen=True, slots=True)
class Moved:
    """One place of a document that somebody else changed; empty for nothing."""

    place: str
    before: str
    after: str


def moved_since(before: Any, after: Any) -> tuple[Moved, ...]:
    """Where two versions of a piece differ, in words."""
    earlier, later = dict(leaves(before)), dict(leaves(after))
    return tuple(
        Moved(in_words(place), earlier.get(place, ""), later.get(place, ""))
        for place in {**earlier, **later}
        if earlier.get(place) != later.get(place)
    )
