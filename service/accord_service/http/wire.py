"""marshmallow schemas made from the readers of ``accord_rules``: the one place where the two meet.

What a field may hold is said once, by the reader in its dataclass (``accord_rules.documents.reading``). Here each
dataclass becomes a schema that loads into it. Which fields there are, and which must be, is the schema's to see to;
what is in them the readers', which are the one parser. Nothing is said a second time.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from functools import cache
from typing import Any, TypeVar

from marshmallow import RAISE, Schema, ValidationError, fields, missing, post_load

from accord_rules.documents.answers import Free, Nullable
from accord_rules.documents.reading import (
    DocumentError,
    Either,
    Fault,
    Flag,
    Many,
    Object,
    Reader,
    Table,
    Whole,
    built,
    escape,
    members_of,
    read,
    readers_of,
    unescape,
)

T = TypeVar("T")
_WHOLE = re.compile(r"-?[0-9]{1,10}")


class Said(str):
    """An error message that carries the fault it tells of."""

    __slots__ = ("fault",)
    fault: Fault

    def __new__(cls, fault: Fault) -> Said:
        message = super().__new__(cls, fault.message)
        message.fault = fault
        return message

    def __deepcopy__(self, memo: Any) -> Said:
        """Itself, as strings are: whoever copies a schema copies its messages."""
        return self


class Read(fields.Field[Any]):
    """A field whose value its reader reads, however deep it is; null is a value like any other.

    In a query string, where everything is text, ``in_query`` takes whole numbers, flags and lists for what they say.
    """

    def __init__(self, reader: Reader, *, in_query: bool = False, **more: Any) -> None:
        super().__init__(**more)
        self.reader = reader
        self.in_query = in_query

    def _validate_missing(self, value: Any) -> None:
        if value is missing and self.required:
            raise ValidationError(Said(Fault("", "is required", code="required")))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        faults: list[Fault] = []
        read = self.reader.read(_of_text(self.reader, value) if self.in_query else value, "", faults)
        if faults and self.in_query:
            faults = [_of_parameter(self.reader, fault, value) for fault in faults]
        if faults:
            raise ValidationError([_nested(fault) for fault in faults])
        return read


def _of_text(reader: Reader, value: Any) -> Any:
    """What a text of a query string says to a reader that wants no text; lists stand with commas."""
    if isinstance(reader, Many) and isinstance(value, str):
        return value.split(",")
    if isinstance(reader, Whole) and isinstance(value, str) and _WHOLE.fullmatch(value):
        return int(value)
    return {"true": True, "false": False}.get(value, value) if isinstance(reader, Flag) else value


def _of_parameter(reader: Reader, fault: Fault, value: Any) -> Fault:
    """A fault as one of a whole query parameter, whose text is all that there is to refuse."""
    if isinstance(reader, Flag):
        return Fault("", "must be true or false", fault.allowed, code="not-allowed", refused=str(value))
    return dataclasses.replace(fault, pointer="")


def _nested(fault: Fault) -> Any:
    """A fault as marshmallow's tree has it: its message under the steps of its pointer."""
    tree: Any = Said(fault)
    for step in reversed(fault.pointer.split("/")[1:]):
        tree = {unescape(step): tree}
    return tree


@cache
def schema_of(cls: Any, *, in_query: bool = False) -> Schema:
    """The schema of a dataclass with readers: it refuses unknown fields by name and loads into ``cls``."""
    members: dict[str, Any] = {
        member.name: Read(member.reader, in_query=in_query, required=member.required, metadata={"about": member.about})
        for member in members_of(cls)
    }
    members["Meta"] = type("Meta", (), {"unknown": RAISE})
    unknown = Fault("", "is not a known field", tuple(readers_of(cls)), code="unknown-field")
    members["error_messages"] = {"unknown": Said(unknown)}
    members["make"] = post_load(lambda self, values, **kwargs: built(cls, values))
    members["__doc__"] = cls.__doc__
    schema: type[Schema] = type(cls.__name__, (Schema,), members)
    return schema()


def load(cls: type[T], document: Mapping[str, Any], *, in_query: bool = False) -> T:
    """Read ``document`` into ``cls`` as its schema does. Raises DocumentError with every fault found."""
    if not in_query:
        # The readers alone take what the schema takes, in half the time; what is wrong with a document it words.
        with suppress(DocumentError):
            return read(cls, document)
    try:
        # mypy takes a class of unknown metaclass for unhashable.
        loaded: T = schema_of(cls, in_query=in_query).load(document)  # type: ignore[arg-type]
        return loaded
    except ValidationError as error:
        raise DocumentError(sorted(faults_in(error.messages), key=_place)) from None


def faults_in(messages: Any, pointer: str = "", key: str = "") -> Iterator[Fault]:
    """marshmallow's tree of messages as a flat list of faults; ``key`` is the last step of ``pointer``."""
    if isinstance(messages, dict):
        for step, below in messages.items():
            yield from faults_in(below, f"{pointer}/{escape(step)}", str(step))
    elif isinstance(messages, list):
        for message in messages:
            yield from faults_in(message, pointer, key)
    else:
        fault = dataclasses.replace(messages.fault, pointer=pointer)
        # marshmallow has one message for all unknown fields of an object.
        yield dataclasses.replace(fault, refused=key) if fault.code == "unknown-field" else fault


def _place(fault: Fault) -> list[tuple[int, str]]:
    """Sort key: marshmallow's order of unknown fields changes from run to run, answers must not."""
    tokens = fault.pointer.split("/")
    return [(int(token), "") if token.isdecimal() and len(token) < 9 else (-1, token) for token in tokens]


def about(cls: type) -> str:
    """What a class says of itself, as one plain line."""
    return " ".join((cls.__doc__ or "").replace("``", '"').split())


def dataclasses_in(cls: type) -> Iterator[type]:
    """``cls`` and every dataclass nested in it, the inner ones first."""
    seen: dict[type, None] = {}
    _gather(Object(cls), seen)
    yield from seen


def named_once(classes: Iterable[type]) -> tuple[type, ...]:
    """These classes, each once. Raises ValueError where two have one name, under which only one can be described."""
    by_name: dict[str, type] = {}
    for cls in classes:
        first = by_name.setdefault(cls.__name__, cls)
        if first is not cls:
            raise ValueError(f"two shapes have the name {cls.__name__}, of {first.__module__} and of {cls.__module__}")
    return tuple(by_name.values())


def _gather(reader: Reader, seen: dict[type, None]) -> None:
    match reader:
        case Object(into) if into not in seen:
            for inner, _ in readers_of(into).values():
                _gather(inner, seen)
            seen[into] = None
        case Many(item=inner) | Table(value=inner) | Nullable(inner=inner):
            _gather(inner, seen)
        case Free(kinds=kinds):
            for kind in kinds:
                _gather(Object(kind), seen)
        case Either(first=first, second=second):
            _gather(first, seen)
            _gather(second, seen)
