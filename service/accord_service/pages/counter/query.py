"""An order as the query of the counter's address, and back: what somebody typed, as the document that the API takes.

A name is the JSON Pointer of its place with dots (``decorations.0.size.width``); what is not said is not there.

    item.blank=tee-heavy-white&item.fibres=65 % PES, 35 % CO&decorations.0.size.width=8 in&item.features=nothing

A list is said with commas or by the name given again, an empty one as "nothing", a flag as yes or no, least and most as
"150 °C to 160 °C". ``decorations`` counts the prints where the last one says nothing. In a form a quantity's unit may
stand beside its number, under the name with ``.unit`` behind: a number alone has no unit, here as everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accord_rules.documents import typed, units
from accord_rules.documents.reading import (
    Choice,
    Either,
    Fault,
    Many,
    Object,
    OneOrSpan,
    Reader,
    Table,
    escape,
    members_of,
    readers_of,
    unescape,
)
from accord_rules.orders.order import PRINTS_MOST, Order
from accord_service.pages.numbers import whole
from accord_service.tables.fields import PRINTS

UNIT = ".unit"
Pairs = tuple[tuple[str, str], ...]
Document = dict[str, Any]
_OVER = re.compile(rf"{PRINTS}\.\d+\.over")
_OF_PRINT = re.compile(rf"{PRINTS}\.(\d{{1,2}})(\..+)")
# Of the texts of one list: more is no order that somebody typed, and would take long to read.
TEXTS_MOST = 100


class NotInAQueryError(ValueError):
    """An order that says something in a way that no query has."""


@dataclass(frozen=True, slots=True)
class TypedOrder:
    """An order as somebody typed it. ``document``: as the API takes it; ``pairs``: name and text of each field, without
    what is empty, units behind their numbers. ``faults``: what can't be read and so is not in the document, or is no
    field of an order."""

    document: Document
    pairs: Pairs
    print_count: int
    faults: tuple[Fault, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether nothing is said of the piece, nor of any print."""
        return not self.faults and not self.document["item"] and not any(self.document[PRINTS])


# -- what was typed -> the order --------------------------------------------------------------------------------------


def read_order(pairs: Iterable[tuple[str, str]]) -> TypedOrder:
    """Read what was typed, name and text of each field, as an order."""
    said = _said(pairs)
    counted = said.pop(PRINTS, ["1"])[-1]
    faults: list[Fault] = []
    root: dict[str, Any] = {}
    for name, texts in said.items():
        reader, pointer = place(name), "/" + name.replace(".", "/")
        if reader is None:
            faults.append(Fault("", f"{name:.80} is no field of an order", code="unknown-field"))
            continue
        before = len(faults)
        if len(texts) > TEXTS_MOST or any(len(text) > typed.CHARACTERS_MOST for text in texts):
            message = f"is more than {TEXTS_MOST} texts, or one of over {typed.CHARACTERS_MOST} characters"
            faults.append(Fault(pointer, message, code="out-of-range"))
            continue
        value = _value(reader, texts, pointer, faults)
        if len(faults) == before and not _put(root, name.split("."), value):
            holder = "/press" if name.startswith("press") else pointer
            faults.append(Fault(holder, "is named and described: say one of the two", code="contradiction"))
    prints = max(_count(counted), 1 + max(map(int, root.get(PRINTS, {"0": None})), default=0))
    document = {key: _listed(value) for key, value in root.items()} | {"item": root.get("item", {})}
    document[PRINTS] = [_listed(root.get(PRINTS, {}).get(str(index), {})) for index in range(prints)]
    pairs = tuple((name, text) for name, texts in said.items() for text in texts)
    return TypedOrder(document, pairs + _count_pair(pairs, prints), prints, tuple(faults))


def place(name: str) -> Reader | None:
    """What reads the value that a query gives under this name; None where an order has no such place."""
    reader = _reader_at(name)
    return None if reader is None or _holds_others(reader) else reader


def names_at(pointer: str) -> tuple[str, ...]:
    """The names under which a query says what lies at a pointer: one, or those of the parts of an object."""
    name = ".".join(pointer.split("/")[1:])
    reader = _reader_at(name)
    if not isinstance(reader, Object) or not _holds_others(reader):
        return (name,) if reader is not None else ()
    parts = (f"{name}.{member.name}" for member in members_of(reader.into))
    return tuple(part for part in parts if place(part) is not None)


def _reader_at(name: str) -> Reader | None:
    reader: Reader | None = Object(Order)
    for step in name.split("."):
        reader = None if reader is None else _step(reader, step)
    return reader


def _said(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Name to its texts, as first said; without what is empty, units behind numbers that have none."""
    said: dict[str, list[str]] = {}
    for name, text in pairs:
        if stripped := text.strip():
            said.setdefault(name, []).append(stripped)
    with_units = {}
    for name, texts in said.items():
        if name.endswith(UNIT) and typed.dimension_of(place(name.removesuffix(UNIT))) is not None:
            continue
        reader, unit = place(name), said.get(name + UNIT, [""])[-1]
        is_quantity = typed.dimension_of(reader) is not None
        with_units[name] = [_with_unit(reader, text, unit) for text in texts] if is_quantity else texts
    return with_units


def _with_unit(reader: Reader | None, text: str, unit: str) -> str:
    """A quantity with the unit that stands beside its number, where it has none of its own."""
    assert reader is not None

    def add_unit(end: str) -> str:
        return f"{end} {unit}" if unit and typed.BARE.fullmatch(end) else end

    return typed.of_each_end(reader, text, add_unit)


def _count(text: str) -> int:
    return min(int(text), PRINTS_MOST) if re.fullmatch(r"\d{1,3}", text) else 1


def _count_pair(pairs: Pairs, prints: int) -> Pairs:
    """How many prints there are, where the last one's pairs do not say so."""
    last = f"{PRINTS}.{prints - 1}."
    is_said = prints == 1 or any(name.startswith(last) for name, _ in pairs)
    return () if is_said else ((PRINTS, str(prints)),)


def _step(reader: Reader, step: str) -> Reader | None:
    match reader:
        case OneOrSpan():
            return None
        case Object(into=into):
            return readers_of(into).get(step, (None,))[0]
        case Either(second=Object(into=into)):
            return readers_of(into).get(step, (None,))[0]
        case Many(item=Object() as item, most=most):
            is_index = re.fullmatch(r"0|[1-9]\d?", step) and (most is None or int(step) < most)
            return item if is_index else None
        case _:
            return None


def _holds_others(reader: Reader) -> bool:
    """Whether it is said by what lies in it alone."""
    match reader:
        case OneOrSpan():
            return False
        case Object() | Many(item=Object()):
            return True
        case _:
            return False


def _put(root: dict[str, Any], steps: Sequence[str], value: Any) -> bool:
    """Put a value into nested objects, lists as objects by index. False where another stands in its way."""
    holder: Any = root
    for step in steps[:-1]:
        holder = holder.setdefault(step, {})
        if not isinstance(holder, dict):
            return False
    if steps[-1] in holder:
        return False
    holder[steps[-1]] = value
    return True


def _listed(value: Any) -> Any:
    """The same with lists for what goes by index. No field of an order is called by a number."""
    if not isinstance(value, dict):
        return value
    if value and all(key.isdecimal() for key in value):
        return [_listed(value.get(str(index), {})) for index in range(1 + max(map(int, value)))]
    return {key: _listed(inner) for key, inner in value.items()}


def _value(reader: Reader, texts: Sequence[str], pointer: str, faults: list[Fault]) -> Any:
    """What the texts under a name say: of a list together, else the last."""
    try:
        if isinstance(reader, Many):
            return typed.value(reader, ", ".join(texts))
        if len(texts) > 1:
            faults.append(Fault(pointer, "is given more than once", code="given-twice"))
        return typed.value(reader, texts[-1])
    except typed.TypedError as error:
        faults.append(Fault(pointer, str(error), code="bad-format"))
        return None


# -- the order -> a query ---------------------------------------------------------------------------------------------


def pairs_of(document: Mapping[str, Any]) -> Pairs:
    """An order's document as names and texts, in the order in which an order's fields are declared.

    Raises NotInAQueryError for one that they would not give back.
    """
    pairs = tuple(_pairs(Object(Order), document, ""))
    prints = len(document.get(PRINTS, ()))
    pairs += _count_pair(pairs, prints)
    if read_order(pairs).document != _without_idle(document):
        raise NotInAQueryError("the order says something in a way that no address has")
    return pairs


def _pairs(reader: Reader, value: Any, name: str) -> Iterator[tuple[str, str]]:
    match reader:
        case OneOrSpan() if isinstance(value, Mapping):
            yield name, typed.TO.join(str(value[end]) for end in ("least", "most") if end in value)
        case Object(into=into) | Either(second=Object(into=into)) if isinstance(value, Mapping):
            for member in members_of(into):
                if member.name in value:
                    yield from _pairs(
                        member.reader, value[member.name], f"{name}.{member.name}" if name else member.name
                    )
        case Many(item=Object() as item):
            for index, inner in enumerate(value):
                yield from _pairs(item, inner, f"{name}.{index}")
        case Many(item=item):
            if not isinstance(item, Choice):
                yield name, ", ".join(map(_text, value)) or typed.NOTHING
            else:
                yield from ((name, _text(word)) for word in value or (typed.NOTHING,))
        case Table():
            yield name, ", ".join(f"{_text(share)} % {key}" for key, share in value.items())
        case _:
            yield name, _text(value)


def _text(value: Any) -> str:
    match value:
        case bool():
            return "yes" if value else "no"
        case float():
            return units.shortest(value)
        case _:
            return str(value)


def _without_idle(value: Any) -> Any:
    """The same without objects that say nothing; a print may say nothing."""
    if isinstance(value, Mapping):
        parts = {key: _without_idle(inner) for key, inner in value.items()}
        return {key: part for key, part in parts.items() if part != {} or key == "item"}
    return [_without_idle(inner) for inner in value] if isinstance(value, list) else value


# -- one thing said otherwise -----------------------------------------------------------------------------------------


def changed(document: Mapping[str, Any], pointer: str, value: Any) -> Document:
    """The order with another value at a pointer, as needs, assumptions and remedies name them; None: left out."""
    *path, last = map(unescape, pointer.split("/")[1:])
    whole: Document = _changed(document, path, last, value)
    return whole


def _changed(holder: Any, path: Sequence[str], last: str, value: Any) -> Any:
    put: Callable[[Any], Any] = lambda inner: _changed(inner, path[1:], last, value)  # noqa: E731
    key = path[0] if path else last
    if isinstance(holder, Sequence) and not isinstance(holder, str):
        index = int(key)
        middle = [put(holder[index])] if path else [] if value is None else [value]
        return [*holder[:index], *middle, *holder[index + 1 :]]
    of = dict(holder) if isinstance(holder, Mapping) else {}
    if path:
        return of | {key: put(of.get(key))}
    return {name: inner for name, inner in of.items() if name != key} | ({} if value is None else {key: value})


def with_text(pairs: Pairs, name: str, text: str) -> Pairs:
    """The query with another text under a name."""
    kept = tuple(pair for pair in pairs if pair[0] != name)
    return (*kept, (name, text))


def without_print(pairs: Pairs, index: int, prints: int) -> Pairs:
    """The query without one print: those behind it move up, and what lay on it lies on none."""
    kept = []
    for name, text in pairs:
        if name == PRINTS:
            continue
        match = _OF_PRINT.fullmatch(name)
        number = -1 if match is None else int(match[1])
        if match is None or number < index:
            new_name = name
        elif number == index:
            continue
        else:
            new_name = f"{PRINTS}.{number - 1}{match[2]}"
        if _OVER.fullmatch(name) and (over := whole(text)) is not None and over >= index:
            if over == index:
                continue
            text = str(over - 1)
        kept.append((new_name, text))
    left = max(prints - 1, 1)
    return (*kept, *_count_pair(tuple(kept), left))


def pointer_of(name: str) -> str:
    """A query's name as the JSON Pointer that it is."""
    return "/" + "/".join(escape(step) for step in name.split("."))


def name_of(pointer: str) -> str:
    """The name under which a query says what lies at a pointer, or lies nearest above it; empty where none does."""
    steps = pointer.split("/")[1:]
    for length in range(len(steps), 0, -1):
        name = ".".join(steps[:length])
        if place(name) is not None:
            return name
    return ""
