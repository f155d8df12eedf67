"""Plain documents (JSON, TOML) to frozen dataclasses, strictly, with every fault named by its JSON Pointer.

Each dataclass field carries one :class:`Reader` in its metadata. That reader is the one home of what the field
may hold: orders, shops and the book are read by it here, answers are written by it (``documents.writing``), and the
service makes its marshmallow schemas and the OpenAPI document from the same readers. The readers that only answers
need are in ``documents.answers``.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from types import MappingProxyType
from typing import Any, ClassVar, TypeVar

from accord_rules.documents import spelling, units

T = TypeVar("T")
# Control characters, halves of surrogate pairs, and what lets a text read otherwise than it is: characters that nobody
# sees, line ends of no keyboard, and those that turn the direction of what follows. Marks that right-to-left writing
# needs (U+200C to U+200F, U+061C) are text.
_UNSEEN = r"\x7f-\x9f\u00ad\u180e\u200b\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\U000e0000-\U000e007f\ud800-\udfff"
_FOREIGN, _FOREIGN_IN_LINES = re.compile(rf"[\x00-\x1f{_UNSEEN}]"), re.compile(rf"[\x00-\x09\x0b-\x1f{_UNSEEN}]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_INSTANT = re.compile(_DATE.pattern + r"T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?(?:Z|[+-][0-9]{2}:[0-9]{2})")
_TOLD_MOST = 16
_NEAREST_TOLD = 5
_MEANT_TOLD = 3
NAME_PATTERN = r"^[a-z0-9]+(?:[-.][a-z0-9]+)*$"


# What can be wrong, for programs: the word stays while a message may be put better. More words may come.
CODES: Mapping[str, str] = MappingProxyType(
    {
        "required": "it has to be given and is not",
        "unknown-field": "there is no field or parameter of this name",
        "wrong-type": "it is of another JSON type",
        "bad-format": "it can't be read as what it has to be: a quantity, a date, a colour, an ETag",
        "out-of-range": "a number, a length or a count lies outside its bounds",
        "not-allowed": "it is none of the words that may stand here",
        "not-in-book": "this revision of the book has no entry of this name",
        "not-in-shop": "the shop has nothing of this name",
        "given-twice": "it is given, or named, more than once",
        "ambiguous": "it can mean more than one thing",
        "contradiction": "it does not go with something else that is said",
        "malformed": "it is not JSON, or not JSON that every reader reads alike",
        "breaks-book": "the book would not hold with it",
        "unlikely": "it can be, but is so far from what is usual that it has to be said on purpose",
        "too-dear": "questions would take too long to answer with it",
        "loosens": "a house rule may only be stricter than the book",
    }
)
ALLOWED_MOST = 20


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a document: where (JSON Pointer), what, and what would be allowed.

    ``code`` is one of CODES; ``refused`` the word that stood there, by which ``nearest`` puts what is allowed in order.
    ``meant``: of what is allowed, what it says in other words, the likeliest first; nearer than what is spelt like it.
    """

    pointer: str
    message: str
    allowed: tuple[str, ...] = ()
    code: str = dataclasses.field(kw_only=True)
    refused: str = dataclasses.field(default="", kw_only=True)
    meant: tuple[str, ...] = dataclasses.field(default=(), kw_only=True)

    def __str__(self) -> str:
        return f"{self.pointer or '/'}: {self.message_with_hints}"

    @property
    def message_with_hints(self) -> str:
        """The message with the nearest words, and as many of the allowed ones as fit a line."""
        near = self.meant[:_MEANT_TOLD] or (spelling.nearest(self.refused, self.allowed) if self.refused else ())
        hints = [f"did you mean {', '.join(near)}?"] if near else []
        if self.refused and not near and len(self.allowed) > _TOLD_MOST:
            near = self.nearest[:_NEAREST_TOLD]
            hints = [f"the nearest are {', '.join(near)}"]
        listed = ", ".join(self.allowed) in self.message
        if self.allowed and not listed and not (near and len(self.allowed) > _TOLD_MOST):
            more = f" and {len(self.allowed) - _TOLD_MOST} more" if len(self.allowed) > _TOLD_MOST else ""
            hints.append(f"allowed: {', '.join(self.allowed[:_TOLD_MOST])}{more}")
        return f"{self.message} ({' '.join(hints)})" if hints else self.message

    @property
    def sentence(self) -> str:
        """The message with one full stop, or its question mark."""
        return self.message if self.message.endswith("?") else f"{self.message.rstrip('. ')}."

    @property
    def nearest(self) -> tuple[str, ...]:
        """What is allowed, those first that are most like what was refused."""
        if not self.refused:
            return self.allowed
        close = spelling.nearest(self.refused, self.allowed, ALLOWED_MOST)
        return tuple(dict.fromkeys((*self.meant, *close, *spelling.ordered(self.refused, self.allowed))))

    def document(self) -> dict[str, Any]:
        """As problems and the command write it."""
        nearest = self.nearest
        return {
            "pointer": self.pointer,
            "code": self.code,
            "message": self.sentence,
            "allowed": list(nearest[:ALLOWED_MOST]),
            "allowed_left_out": len(nearest[ALLOWED_MOST:]),
        }


class DocumentError(ValueError):
    """A document with at least one fault."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        # Only where somebody reads it: looking for the nearest words of many faults takes long.
        return "; ".join(map(str, self.faults))


class LeafError(ValueError):
    """Raised by what reads one value: what a Fault says, but for the place."""

    def __init__(
        self, message: str, allowed: Iterable[str] = (), *, code: str = "bad-format", refused: str = ""
    ) -> None:
        self.message = message
        self.allowed = tuple(allowed)
        self.code = code
        self.refused = refused
        super().__init__(message)

    def __str__(self) -> str:
        return self.at("").message_with_hints

    def at(self, pointer: str) -> Fault:
        return Fault(pointer, self.message, self.allowed, code=self.code, refused=self.refused)


class Reader:
    """Reads one value. ``name_of`` is set where the value names an entry of the book (checked later, per revision)."""

    name_of: str | None = None
    kind: ClassVar[str]  # what it reads, in one word, for whoever has to ask for it

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        try:
            return self.leaf(value)
        except LeafError as error:
            faults.append(error.at(pointer))
            return None

    def leaf(self, value: Any) -> Any:
        raise NotImplementedError

    def json_schema(self) -> dict[str, Any]:
        raise NotImplementedError


def kind_of(value: Any) -> str:
    """The JSON name of a value's type, for messages."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, (int, float)):
        return "a number"
    if isinstance(value, str):
        return "a string"
    return "a list" if isinstance(value, list) else "an object"


@dataclass(frozen=True)
class Text(Reader):
    """A string of 1 to ``most`` characters, all of them text (``no_text``); ``lines`` admits line breaks."""

    kind = "text"
    most: int = 200
    example: str = ""
    lines: bool = False

    def leaf(self, value: Any) -> str:
        if not isinstance(value, str):
            raise LeafError(f"must be a string, not {kind_of(value)}", code="wrong-type")
        if not 1 <= len(value) <= self.most:
            raise LeafError(f"must have 1 to {self.most} characters, has {len(value)}", code="out-of-range")
        if (message := no_text(value, lines=self.lines)) is not None:
            raise LeafError(message, code="bad-format")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "minLength": 1, "maxLength": self.most} | _example(self.example)


def no_text(value: str, *, lines: bool = False) -> str | None:
    """Why a string is no text that everybody sees as it is; None where it is. ``lines``: it may have line breaks."""
    foreign = (_FOREIGN_IN_LINES if lines else _FOREIGN).search(value)
    if foreign is None:
        return None
    return (
        f"must not contain U+{ord(foreign.group()):04X}: no control characters, nothing that nobody sees or that turns"
        " the direction of reading, nor half a surrogate pair"
    )


@dataclass(frozen=True)
class Name(Text):
    """The name of something in the book or of one of the shop's things."""

    kind = "name"
    most: int = 80
    name_of: str | None = None

    def json_schema(self) -> dict[str, Any]:
        where = f"a name from /v1/catalogue/{self.name_of}" if self.name_of else "a name"
        return Text.json_schema(self) | {"description": where}


@dataclass(frozen=True)
class ColourText(Text):
    """A colour as sRGB hex or CSS name; stays the text it is, which ``documents.colour`` reads."""

    kind = "colour"


@dataclass(frozen=True)
class Date(Reader):
    """A day of the calendar as ISO 8601 writes it; stays the text it is."""

    kind = "date"

    def leaf(self, value: Any) -> str:
        if not isinstance(value, str) or not _DATE.fullmatch(value):
            raise LeafError('must be a string with a date, such as "2026-03-31"', code="bad-format")
        try:
            date.fromisoformat(value)
        except ValueError:
            raise LeafError(f"{value!r} is no day of the calendar", code="bad-format") from None
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "format": "date", "description": "a date", "examples": ["2026-03-31"]}


@dataclass(frozen=True)
class Instant(Reader):
    """A point in time as RFC 3339 writes it, with its offset from UTC; becomes seconds since 1970 (UTC)."""

    def leaf(self, value: Any) -> float:
        if not isinstance(value, str) or not _INSTANT.fullmatch(value):
            code = "bad-format" if isinstance(value, str) else "wrong-type"
            raise LeafError('must be a string with a point in time, such as "2027-03-31T18:00:00Z"', code=code)
        try:
            return datetime.fromisoformat(value).timestamp()
        except ValueError:
            raise LeafError(f"{value!r} is no point in time", code="bad-format") from None

    def json_schema(self) -> dict[str, Any]:
        about = "a point in time (RFC 3339)"
        return {"type": "string", "format": "date-time", "description": about, "examples": ["2027-03-31T18:00:00Z"]}


@dataclass(frozen=True)
class Choice(Reader):
    """One of a fixed set of words."""

    kind = "word"
    words: tuple[str, ...]

    def leaf(self, value: Any) -> str:
        if not isinstance(value, str):
            shown = f"must be one of the allowed words, not {kind_of(value)}"
            raise LeafError(shown, self.words, code="wrong-type")
        if value not in self.words:
            shown = f"{value!r:.100} is not one of the allowed words"
            raise LeafError(shown, self.words, code="not-allowed", refused=value)
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.words)}


@dataclass(frozen=True)
class Flag(Reader):
    """true or false."""

    kind = "flag"

    def leaf(self, value: Any) -> bool:
        if not isinstance(value, bool):
            raise LeafError(f"must be true or false, not {kind_of(value)}", ("true", "false"), code="wrong-type")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Whole(Reader):
    """A whole number within bounds; 3.0 and "3" are refused."""

    kind = "whole-number"
    least: int
    most: int

    def leaf(self, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            shown = f"must be a whole number from {self.least} to {self.most}, not {_shown(value)}"
            raise LeafError(shown, code="wrong-type")
        if not self.least <= value <= self.most:
            raise LeafError(f"must be from {self.least} to {self.most}", code="out-of-range")
        return value

    def json_schema(self) -> dict[str, Any]:
        return {"type": "integer", "minimum": self.least, "maximum": self.most}


@dataclass(frozen=True)
class Number(Reader):
    """A plain number within bounds (percent, lightness, count); never a string."""

    kind = "number"
    least: float
    most: float

    def leaf(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            shown = f"must be a number from {self.least:g} to {self.most:g}, not {_shown(value)}"
            raise LeafError(shown, code="wrong-type")
        if not math.isfinite(value) or not self.least <= value <= self.most:
            raise LeafError(f"must be from {self.least:g} to {self.most:g}", code="out-of-range")
        return float(value)

    def json_schema(self) -> dict[str, Any]:
        return {"type": "number", "minimum": self.least, "maximum": self.most}


@dataclass(frozen=True)
class Quantity(Reader):
    """A string with a unit, read into the dimension's inside unit; ``zero``, ``most``, ``hours`` as in units.Field."""

    kind = "quantity"
    dimension: units.Dimension
    zero: bool = False
    most: float | None = None
    hours: bool = False

    @property
    def field(self) -> units.Field:
        return units.Field(most=self.most, zero=self.zero, hours=self.hours)

    def leaf(self, value: Any) -> float:
        try:
            return units.parse(self.dimension, value, self.field)
        except units.UnitError as error:
            message = str(error)
            if not isinstance(value, str):
                symbols, example = ", ".join(unit.symbol for unit in self.dimension.units), self.dimension.example
                message = f"must be a string with a unit ({symbols}), such as {example!r}, not {kind_of(value)}"
            # In the order of units: no reading is nearer for being spelt alike.
            raise LeafError(message, units.with_each(self.dimension, value, self.field), code=error.code) from None

    def json_schema(self) -> dict[str, Any]:
        symbols = ", ".join(unit.symbol for unit in self.dimension.units)
        most = "" if self.most is None else f"; at most {self.most:g} {self.dimension.symbol}"
        return {
            "type": "string",
            "maxLength": units.MOST_CHARACTERS,
            "pattern": units.PATTERN,
            "description": f"{self.dimension.name.replace('_', ' ')} with its unit ({symbols}){most}",
            "examples": [self.dimension.example, *self.dimension.also],
        }


@dataclass(frozen=True)
class Many(Reader):
    """A list of up to ``most`` values read by ``item``; None is no bound, for answers."""

    kind = "list"
    item: Reader
    most: int | None = 40
    least: int = 0
    distinct: bool = False

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, list):
            faults.append(Fault(pointer, f"must be a list, not {kind_of(value)}", code="wrong-type"))
            return None
        if _is_out_of(self, len(value)):
            faults.append(_size_fault(self, pointer, len(value)))
            return None
        read = tuple(self.item.read(element, f"{pointer}/{index}", faults) for index, element in enumerate(value))
        if self.distinct and len({repr(element) for element in value}) != len(value):
            faults.append(Fault(pointer, "must not name the same thing twice", code="given-twice"))
        return read

    def json_schema(self) -> dict[str, Any]:
        schema = {"type": "array", "items": self.item.json_schema(), **_bounds(self, "minItems", "maxItems")}
        return schema | ({"uniqueItems": True} if self.distinct else {})


@dataclass(frozen=True)
class Table(Reader):
    """An object with free keys (``key`` reads them) and values of one kind."""

    kind = "table"
    key: Reader
    value: Reader
    most: int | None = 40
    least: int = 1

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            faults.append(Fault(pointer, f"must be an object, not {kind_of(value)}", code="wrong-type"))
            return None
        if _is_out_of(self, len(value)):
            faults.append(_size_fault(self, pointer, len(value)))
            return None
        return MappingProxyType(
            {
                self.key.read(key, f"{pointer}/{escape(key)}", faults): self.value.read(
                    element, f"{pointer}/{escape(key)}", faults
                )
                for key, element in value.items()
            }
        )

    def json_schema(self) -> dict[str, Any]:
        return {
            "type": "object",
            "additionalProperties": self.value.json_schema(),
            **_bounds(self, "minProperties", "maxProperties"),
        }


def _is_out_of(reader: Many | Table, size: int) -> bool:
    return size < reader.least or (reader.most is not None and size > reader.most)


def _size_fault(reader: Many | Table, pointer: str, size: int) -> Fault:
    return Fault(pointer, f"must have {reader.least} to {reader.most} entries, has {size}", code="out-of-range")


def _bounds(reader: Many | Table, least: str, most: str) -> dict[str, int]:
    return {} if reader.most is None else {least: reader.least, most: reader.most}


@dataclass(frozen=True)
class Either(Reader):
    """One of two readers, chosen by whether ``first_if`` holds for the raw value.

    ``also`` lists what ``first`` would allow, for the refusals of ``second``.
    """

    first_if: Callable[[Any], bool]
    first: Reader
    second: Reader
    also: tuple[str, ...] = ()

    @property
    def kind(self) -> str:  # type: ignore[override]
        return self.first.kind

    def chosen(self, value: Any) -> Reader:
        return self.first if self.first_if(value) else self.second

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        before = len(faults)
        part = self.chosen(value).read(value, pointer, faults)
        faults[before:] = [self.widened(fault) for fault in faults[before:]]
        return part

    def widened(self, fault: Fault) -> Fault:
        """A refusal that names what the other reader would allow as well."""
        if not fault.allowed and fault.code != "bad-format":
            return fault
        return dataclasses.replace(fault, allowed=(*self.also, *fault.allowed))

    def json_schema(self) -> dict[str, Any]:
        return {"oneOf": [self.first.json_schema(), self.second.json_schema()]}


@dataclass(frozen=True)
class Object(Reader):
    """A nested object, read into the dataclass ``into``."""

    kind = "object"
    into: type

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            faults.append(Fault(pointer, f"must be an object, not {kind_of(value)}", code="wrong-type"))
            return None
        readers = readers_of(self.into)
        for unknown in (key for key in value if key not in readers):
            place, names = f"{pointer}/{escape(unknown)}", tuple(readers)
            faults.append(Fault(place, "is not a known field", names, code="unknown-field", refused=unknown))
        before = len(faults)
        read = {}
        for name, (reader, is_required) in readers.items():
            if name in value:
                read[name] = reader.read(value[name], f"{pointer}/{name}", faults)
            elif is_required:
                faults.append(Fault(f"{pointer}/{name}", "is required", code="required"))
        return built(self.into, read) if len(faults) == before else None

    def json_schema(self) -> dict[str, Any]:
        return {"$ref": f"#/components/schemas/{self.into.__name__}"}


@dataclass(frozen=True)
class OneOrSpan(Object):
    """One quantity, or its least and most: read into a span, whose ends are then the same."""

    one: Quantity

    @property
    def dimension(self) -> units.Dimension:
        return self.one.dimension

    def read(self, value: Any, pointer: str, faults: list[Fault]) -> Any:
        if not isinstance(value, dict):
            before = len(faults)
            quantity = self.one.read(value, pointer, faults)
            return self.into(quantity, quantity) if len(faults) == before else None
        span = super().read(value, pointer, faults)
        if span is not None and span.least > span.most:
            shown = f"{value['least']} is above most, {value['most']}"
            faults.append(Fault(f"{pointer}/least", shown, code="contradiction"))
        return span

    def json_schema(self) -> dict[str, Any]:
        return {"oneOf": [self.one.json_schema(), super().json_schema()]}


def unopened(why: str) -> dict[str, Any]:
    """The JSON Schema of an object whose fields are not described there, and ``why`` not."""
    # Without additionalProperties some generators take it for an object that has no fields.
    return {"type": "object", "additionalProperties": {}, "description": f"not opened here: {why}"}


def required(reader: Reader, about: str = "", *, name: str = "", spread: bool = False, **more: Any) -> Any:
    """A dataclass field that a document must have, read by ``reader``; ``about`` says what it holds.

    A default is for those who make it in Python alone. ``name`` is its name in documents where Python has another use
    for the word. ``spread``: the object's own fields stand in its place in documents.
    """
    metadata = {"reader": reader, "required": True, "about": about, "name": name, "spread": spread}
    return dataclasses.field(metadata=metadata, **more)


def optional(reader: Reader, default: Any = None, about: str = "") -> Any:
    """A dataclass field that a document may leave out; an immutable mapping may be its default."""
    metadata = {"reader": reader, "required": False, "about": about}
    if isinstance(default, Mapping):
        # A read-only mapping has no hash before Python 3.12; whatever holds one still has.
        return dataclasses.field(default_factory=lambda: default, metadata=metadata, hash=False)
    return dataclasses.field(default=default, metadata=metadata)


@dataclass(frozen=True, slots=True)
class Member:
    """One field as documents have it; ``path`` leads to its value, through the object that is spread, if one is.

    ``default`` is ``dataclasses.MISSING`` where there is none, or where it is made anew each time.
    """

    name: str
    path: tuple[str, ...]
    reader: Reader
    required: bool
    default: Any
    about: str


@cache
def members_of(cls: type) -> tuple[Member, ...]:
    """Every field of ``cls`` that documents may give, in the order in which they are written."""
    members: list[Member] = []
    for f in dataclasses.fields(cls):
        reader = f.metadata.get("reader")
        if isinstance(reader, Object) and f.metadata.get("spread"):
            inside = members_of(reader.into)
            members += [dataclasses.replace(member, path=(f.name, *member.path)) for member in inside]
        elif reader is not None:
            is_required, about = f.metadata["required"], f.metadata["about"]
            members.append(
                Member(
                    name=_name_of(f),
                    path=(f.name,),
                    reader=reader,
                    required=is_required,
                    default=f.default,
                    about=about,
                )
            )
    return tuple(members)


def _name_of(field: dataclasses.Field[Any]) -> str:
    return field.metadata.get("name") or field.name


@cache
def readers_of(cls: type) -> Mapping[str, tuple[Reader, bool]]:
    """Field name to (reader, required), for every field of ``cls`` that documents may give."""
    return MappingProxyType({member.name: (member.reader, member.required) for member in members_of(cls)})


def reader_at(cls: type, pointer: str) -> Reader:
    """What reads the place in documents of ``cls`` that a JSON Pointer names. Raises LookupError if there is none."""
    reader: Reader = Object(cls)
    for step in pointer.split("/")[1:]:
        match reader:
            case Object(into=into):
                reader = readers_of(into)[step][0]
            case Many(item=inner) | Table(value=inner):
                reader = inner
            case _:
                raise LookupError(f"nothing lies below {reader.kind} at {pointer}")
    return reader


def built(cls: type[T], values: Mapping[str, Any]) -> T:
    """``cls`` of the values of its fields, each under its name in documents."""
    return cls(**_arguments(cls, values))


def _arguments(cls: type, values: Mapping[str, Any]) -> Mapping[str, Any]:
    if _is_plain(cls):
        return values
    arguments: dict[str, Any] = {}
    for f in dataclasses.fields(cls):
        name = _name_of(f)
        if f.metadata.get("spread"):
            part = f.metadata["reader"].into
            inside = {member.name: values[member.name] for member in members_of(part) if member.name in values}
            arguments[f.name] = built(part, inside)
        elif name in values:
            arguments[f.name] = values[name]
    return arguments


@cache
def _is_plain(cls: type) -> bool:
    """Whether every field has one name, here and in documents."""
    return all(member.path == (member.name,) for member in members_of(cls))


def read(cls: type[T], document: Any) -> T:
    """Read ``document`` into ``cls``. Raises DocumentError with every fault found."""
    faults: list[Fault] = []
    result = Object(cls).read(document, "", faults)
    if faults:
        raise DocumentError(faults)
    return result  # type: ignore[no-any-return]


def unknown_name(pointer: str, name: Any, kind: str, names: Iterable[str]) -> Fault:
    """A name that stands for nothing in the book."""
    return Fault(pointer, f"there is no {name!r} in {kind}", tuple(names), refused=str(name), code="not-in-book")


def names_in(value: Any, pointer: str = "") -> Iterable[tuple[str, str, str]]:
    """Every (pointer, kind of entry, name) by which ``value`` refers to the book."""
    if not dataclasses.is_dataclass(value) or isinstance(value, type):
        return
    for name, reader in _naming(type(value)):
        yield from _names_read_by(reader, getattr(value, name), f"{pointer}/{name}")


@cache
def _naming(cls: type) -> tuple[tuple[str, Reader], ...]:
    """The fields of a dataclass that may name entries of the book, themselves or by what lies in them."""
    return tuple((name, reader) for name, (reader, _) in readers_of(cls).items() if _may_name(reader))


def _may_name(reader: Reader) -> bool:
    match reader:
        case Object(into=into):
            return bool(_naming(into))
        case Many(item=inner):
            return _may_name(inner)
        case Table(key=of_key, value=inner):
            return _may_name(of_key) or _may_name(inner)
        case Either(first=first, second=second):
            return _may_name(first) or _may_name(second)
        case _:
            return reader.name_of is not None


def _names_read_by(reader: Reader, value: Any, pointer: str) -> Iterable[tuple[str, str, str]]:
    if value is None:
        return
    if isinstance(reader, Many):
        for index, element in enumerate(value):
            yield from _names_read_by(reader.item, element, f"{pointer}/{index}")
    elif isinstance(reader, Table):
        for key, element in value.items():
            yield from _names_read_by(reader.key, key, f"{pointer}/{escape(key)}")
            yield from _names_read_by(reader.value, element, f"{pointer}/{escape(key)}")
    elif dataclasses.is_dataclass(value):
        yield from names_in(value, pointer)
    elif isinstance(value, str):
        named = reader.second if isinstance(reader, Either) and reader.first.name_of is None else reader
        named = named.first if isinstance(named, Either) else named
        if named.name_of is not None:
            yield pointer, named.name_of, value


def renamed(value: Any, name_for: Callable[[str, str], str]) -> Any:
    """A dataclass with every name by which it refers to the book replaced by ``name_for(kind of entry, name)``."""
    cls: type = type(value)
    changes = {
        name: new
        for name, reader in _naming(cls)
        if (new := _renamed_by(reader, getattr(value, name), name_for)) != getattr(value, name)
    }
    return dataclasses.replace(value, **changes) if changes else value


def _renamed_by(reader: Reader, value: Any, name_for: Callable[[str, str], str]) -> Any:
    if isinstance(reader, Many) and value is not None:
        return tuple(_renamed_by(reader.item, element, name_for) for element in value)
    if dataclasses.is_dataclass(value):
        return renamed(value, name_for)
    kinds = next((kinds for _, kinds, _ in _names_read_by(reader, value, "")), None) if isinstance(value, str) else None
    return value if kinds is None else name_for(kinds, value)


def leaves_in(reader: Reader, value: Any, pointer: str = "") -> Iterable[tuple[str, Reader, Any]]:
    """Every (pointer, reader, value) in a document that holds no others and that its reader takes, whatever else not.

    ``value`` is what ``reader`` reads; keys of tables stand at the place of their values.
    """
    match reader:
        case Either():
            yield from leaves_in(reader.chosen(value), value, pointer)
        case Object(into=into) if isinstance(value, dict):
            for name, (inner, _) in readers_of(into).items():
                if name in value:
                    yield from leaves_in(inner, value[name], f"{pointer}/{name}")
        case Many(item=inner) if isinstance(value, list) and not _is_out_of(reader, len(value)):
            for index, element in enumerate(value):
                yield from leaves_in(inner, element, f"{pointer}/{index}")
        case Table(key=of_key, value=inner) if isinstance(value, dict) and not _is_out_of(reader, len(value)):
            for key, element in value.items():
                yield from leaves_in(of_key, key, f"{pointer}/{escape(key)}")
                yield from leaves_in(inner, element, f"{pointer}/{escape(key)}")
        case Object() | Many() | Table():
            pass  # of another type, which is told
        case _:
            faults: list[Fault] = []
            reader.read(value, pointer, faults)
            if not faults:
                yield pointer, reader, value


def escape(key: str) -> str:
    """A key as one JSON Pointer token (RFC 6901)."""
    token = str(key)
    return token.replace("~", "~0").replace("/", "~1") if "~" in token or "/" in token else token


def unescape(token: str) -> str:
    """The key that a JSON Pointer token stands for (RFC 6901)."""
    return token.replace("~1", "/").replace("~0", "~")


def _shown(value: Any) -> str:
    return f"{value!r:.40}" if isinstance(value, (int, float, str)) and not isinstance(value, bool) else kind_of(value)


def _example(example: str) -> dict[str, Any]:
    return {"examples": [example]} if example else {}
