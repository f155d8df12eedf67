"""marshmallow schemas made from the readers of ``accord_rules``: the one place where the two meet.

What a field may hold is said once, by the reader in its dataclass (``accord_rules.documents.reading``). Here each
reader becomes a marshmallow field, each dataclass a schema that loads into it; nothing is said a second time.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, TypeVar

from marshmallow import RAISE, Schema, ValidationError, fields, missing, post_load

from accord_rules.documents.reading import (
    DocumentError,
    Either,
    Fault,
    Flag,
    LeafError,
    Many,
    Object,
    Reader,
    Table,
    Whole,
    escape,
    kind_of,
    readers_of,
)

T = TypeVar("T")
_WHOLE = re.compile(r"-?[0-9]{1,10}")


class Said(str):
    """An error message that carries the allowed values beside its text."""

    __slots__ = ("allowed",)
    allowed: tuple[str, ...]

    def __new__(cls, message: str, allowed: tuple[str, ...] = ()) -> Said:
        said = super().__new__(cls, message)
        said.allowed = allowed
        return said


class _Strict(fields.Field[Any]):
    """A field made from ``reader``. null is a value like any other: the reader says what it thinks of it."""

    reader: Reader

    def _validate_missing(self, value: Any) -> None:
        if value is missing and self.required:
            raise ValidationError(Said("is required"))


class Leaf(_Strict):
    """A single value, read by the reader's ``leaf``."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        try:
            return self.reader.leaf(value)
        except LeafError as error:
            raise ValidationError(Said(str(error), error.allowed)) from None


class Fork(_Strict):
    """One of two fields, chosen by the raw value."""

    reader: Either
    first: _Strict
    second: _Strict

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        chosen = self.first if self.reader.first_if(value) else self.second
        if not isinstance(chosen, Leaf):
            return chosen.deserialize(value, attr, data)
        try:
            return chosen.reader.leaf(value)
        except LeafError as error:
            also = self.reader.also if error.allowed else ()
            raise ValidationError(Said(str(error), (*also, *error.allowed))) from None


class ListOf(_Strict):
    """A list; what is wrong with its length hides what is wrong inside it."""

    reader: Many
    inner: _Strict

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, list):
            raise ValidationError(Said(f"must be a list, not {kind_of(value)}"))
        _refuse_size(self.reader, len(value))
        errors: list[Any] = []
        read = tuple(_collect(self.inner, each, index, errors) for index, each in enumerate(value))
        if self.reader.distinct and len({repr(each) for each in value}) != len(value):
            errors.append(Said("must not name the same thing twice"))
        if errors:
            raise ValidationError(errors)
        return read


class TableOf(_Strict):
    """An object with free keys; a bad key and a bad value are both told at the key's place."""

    reader: Table
    key: _Strict
    value: _Strict

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, dict):
            raise ValidationError(Said(f"must be an object, not {kind_of(value)}"))
        _refuse_size(self.reader, len(value))
        errors: list[Any] = []
        read = {
            _collect(self.key, key, key, errors): _collect(self.value, each, key, errors) for key, each in value.items()
        }
        if errors:
            raise ValidationError(errors)
        return MappingProxyType(read)


class Inside(_Strict):
    """A nested object, loaded by the schema of its dataclass."""

    reader: Object

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, dict):
            raise ValidationError(Said(f"must be an object, not {kind_of(value)}"))
        return schema_of(self.reader.into)().load(value)


class QueryWhole(Leaf):
    """A whole number in a query string, where everything is text."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        number = int(value) if isinstance(value, str) and _WHOLE.fullmatch(value) else value
        return super()._deserialize(number, attr, data, **kwargs)


class QueryFlag(Leaf):
    """true or false in a query string, where everything is text."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        flag = {"true": True, "false": False}.get(value, value) if isinstance(value, str) else value
        return super()._deserialize(flag, attr, data, **kwargs)


class AsRead(_Strict):
    """Whatever else looks into a whole value: its faults are told at the places it names."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        faults: list[Fault] = []
        read = self.reader.read(value, "", faults)
        if faults:
            raise ValidationError([_nested(fault) for fault in faults])
        return read


def _nested(fault: Fault) -> Any:
    """A fault as marshmallow's tree has it: its message under the steps of its pointer."""
    tree: Any = Said(fault.message, fault.allowed)
    for step in reversed(fault.pointer.split("/")[1:]):
        tree = {step.replace("~1", "/").replace("~0", "~"): tree}
    return tree


def _refuse_size(reader: Many | Table, size: int) -> None:
    if not reader.least <= size <= reader.most:
        raise ValidationError(Said(f"must have {reader.least} to {reader.most} entries, has {size}"))


def _collect(field: _Strict, value: Any, key: Any, errors: list[Any]) -> Any:
    """Load one value of a list or table; its errors are added to ``errors`` under ``key``."""
    try:
        return field.deserialize(value)
    except ValidationError as error:
        errors.append({key: error.messages})
        return None


def field_of(reader: Reader, *, required: bool = False, about: str = "", in_query: bool = False) -> _Strict:
    """The marshmallow field of one reader."""
    kind = _FIELDS.get(type(reader)) or (Leaf if type(reader).read is Reader.read else AsRead)
    if in_query:
        kind = {Whole: QueryWhole, Flag: QueryFlag}.get(type(reader), kind)
    field = kind(required=required, allow_none=False, metadata={"about": about})
    field.reader = reader
    if isinstance(field, Fork) and isinstance(reader, Either):
        field.first, field.second = field_of(reader.first), field_of(reader.second)
    elif isinstance(field, ListOf) and isinstance(reader, Many):
        field.inner = field_of(reader.item)
    elif isinstance(field, TableOf) and isinstance(reader, Table):
        field.key, field.value = field_of(reader.key), field_of(reader.value)
    return field


_FIELDS: Mapping[type[Reader], type[_Strict]] = MappingProxyType(
    {Either: Fork, Many: ListOf, Table: TableOf, Object: Inside}
)


@cache
def schema_of(cls: Any, *, in_query: bool = False) -> type[Schema]:
    """The schema of a dataclass with readers: it refuses unknown fields by name and loads into ``cls``."""
    readers = readers_of(cls)
    abouts = {f.name: f.metadata.get("about", "") for f in dataclasses.fields(cls)}

    def make(self: Schema, data: dict[str, Any], **kwargs: Any) -> Any:
        return cls(**data)

    members: dict[str, Any] = {
        name: field_of(reader, required=required, about=abouts[name], in_query=in_query)
        for name, (reader, required) in readers.items()
    }
    members["Meta"] = type("Meta", (), {"unknown": RAISE})
    members["error_messages"] = {"unknown": Said("is not a known field", tuple(readers))}
    members["make"] = post_load(make)
    members["__doc__"] = cls.__doc__
    return type(cls.__name__, (Schema,), members)


def load(cls: type[T], document: Mapping[str, Any], *, in_query: bool = False) -> T:
    """Read ``document`` into ``cls`` through its schema. Raises DocumentError with every fault found."""
    try:
        # mypy takes a class of unknown metaclass for unhashable.
        loaded: T = schema_of(cls, in_query=in_query)().load(document)  # type: ignore[arg-type]
        return loaded
    except ValidationError as error:
        raise DocumentError(sorted(faults_in(error.messages), key=_place)) from None


def faults_in(messages: Any, pointer: str = "") -> Iterator[Fault]:
    """marshmallow's tree of messages as a flat list of faults."""
    if isinstance(messages, dict):
        for key, below in messages.items():
            yield from faults_in(below, f"{pointer}/{escape(key)}")
    elif isinstance(messages, list):
        for each in messages:
            yield from faults_in(each, pointer)
    else:
        yield Fault(pointer, str(messages), getattr(messages, "allowed", ()))


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


def _gather(reader: Reader, seen: dict[type, None]) -> None:
    match reader:
        case Object(into) if into not in seen:
            for inner, _ in readers_of(into).values():
                _gather(inner, seen)
            seen[into] = None
        case Many(item):
            _gather(item, seen)
        case Table(_, value):
            _gather(value, seen)
        case Either(_, first, second):
            _gather(first, seen)
            _gather(second, seen)
