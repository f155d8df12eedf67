"""Bytes to a JSON document, strictly: what two readers could take in two ways is refused, with its place.

RFC 8259 leaves double keys, huge numbers and lone surrogates to the reader; here each of them is an error, since a
storefront and the press must never read the same order differently.
"""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.reading import Fault, escape

DEEPEST = 32
# Beyond 2^53 a reader that holds numbers as doubles (JavaScript does) gets another number than was sent.
LARGEST_WHOLE = 2**53
_LONGEST_WHOLE = len(str(LARGEST_WHOLE)) + 1

_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]++|\\.)*+"?|[\[\]{}]', re.DOTALL)
_SURROGATE = re.compile("[\ud800-\udfff]")
_REPLACEMENT = "\N{REPLACEMENT CHARACTER}"


class JsonError(ValueError):
    """The bytes are not one acceptable JSON object; ``faults`` says where and why."""

    def __init__(self, *faults: Fault) -> None:
        self.faults = faults
        super().__init__("; ".join(map(str, faults)))


@dataclass(frozen=True, slots=True)
class _Unfit:
    """Stands in the document where a value can't be taken, until its pointer is known."""

    message: str


@dataclass(frozen=True, slots=True)
class _Doubled:
    """Stands for an object that names ``keys`` more than once."""

    keys: tuple[str, ...]
    members: dict[str, Any]


def read(body: bytes) -> dict[str, Any]:
    """The JSON object in ``body``. Raises JsonError with a pointer, or a line and column, for everything else."""
    text = _text(body)
    _refuse_deep(text)
    reader = _Reader()
    try:
        document = json.loads(
            text,
            object_pairs_hook=reader.members,
            parse_int=reader.whole,
            parse_float=reader.number,
            parse_constant=reader.constant,
        )
    except json.JSONDecodeError as error:
        raise JsonError(_malformed(f"{error.msg} at line {error.lineno}, column {error.colno}")) from None
    if reader.unfit or "\\u" in text:
        _refuse_unfit(document)
    if not isinstance(document, dict):
        raise JsonError(_malformed("the top level must be an object"))
    return document


def _text(body: bytes) -> str:
    if not body.strip():
        raise JsonError(_malformed("the body is empty; a JSON object is needed"))
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise JsonError(_malformed(f"byte {error.start} is not UTF-8")) from None


def _refuse_deep(text: str) -> None:
    """Count brackets before parsing: the parser recurses, so depth must be known to be harmless first."""
    depth = 0
    for match in _STRING_OR_BRACKET.finditer(text):
        if match.group() in "[{":
            depth += 1
            if depth > DEEPEST:
                line, column = _place(text, match.start())
                raise JsonError(_malformed(f"nested deeper than {DEEPEST} levels at line {line}, column {column}"))
        elif match.group() in "]}":
            depth -= 1


def _place(text: str, position: int) -> tuple[int, int]:
    return text.count("\n", 0, position) + 1, position - text.rfind("\n", 0, position)


class _Reader:
    """The parser's hooks. They don't know where they are in the document, so they leave marks to be found later."""

    def __init__(self) -> None:
        self.unfit = False

    def members(self, pairs: list[tuple[str, Any]]) -> dict[str, Any] | _Doubled:
        members = dict(pairs)
        if len(members) == len(pairs):
            return members
        self.unfit = True
        times = Counter(name for name, _ in pairs)
        return _Doubled(tuple(name for name in members if times[name] > 1), members)

    def whole(self, digits: str) -> int | _Unfit:
        if len(digits) <= _LONGEST_WHOLE and abs(int(digits)) <= LARGEST_WHOLE:
            return int(digits)
        return self._mark(f"the whole number is beyond {LARGEST_WHOLE}, where readers disagree about it")

    def number(self, digits: str) -> float | _Unfit:
        value = float(digits)
        return value if math.isfinite(value) else self._mark("the number is too large to be held")

    def constant(self, word: str) -> _Unfit:
        return self._mark(f"{word} is not a JSON value")

    def _mark(self, message: str) -> _Unfit:
        self.unfit = True
        return _Unfit(message)


def _refuse_unfit(document: Any) -> None:
    faults = tuple(_unfit_in(document, ""))
    if faults:
        raise JsonError(*faults)


def _unfit_in(value: Any, pointer: str) -> Iterator[Fault]:
    match value:
        case _Unfit(message):
            yield _malformed(message, pointer)
        case _Doubled(keys, members):
            yield from (_malformed("the key is given more than once", _below(pointer, key)) for key in keys)
            yield from _unfit_in(members, pointer)
        case dict():
            for key, inner in value.items():
                if _SURROGATE.search(key):
                    yield _malformed("the key holds half a surrogate pair, which is no character", _below(pointer, key))
                yield from _unfit_in(inner, _below(pointer, key))
        case list():
            for index, inner in enumerate(value):
                yield from _unfit_in(inner, f"{pointer}/{index}")
        case str() if _SURROGATE.search(value):
            yield _malformed("the string holds half a surrogate pair, which is no character", pointer)


def _below(pointer: str, key: str) -> str:
    """The pointer of a member; half a surrogate pair could not be written out in the answer."""
    return f"{pointer}/{_SURROGATE.sub(_REPLACEMENT, escape(key))}"


def _malformed(message: str, pointer: str = "") -> Fault:
    return Fault(pointer, message, code="malformed")
