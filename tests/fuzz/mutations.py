"""Inputs made of inputs: documents changed where documents can be, and made smaller while they still fail."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Sequence
from typing import Any

# What a field may be given that it was not made for.
ODD: tuple[Any, ...] = (
    None, True, 0, -1, -0.0, 0.5, 1e308, 5e-324, 2**53, "", " ", "0", "none", "\u202e", "e\u0301", "\u200b", "İ",
    "\x7f", "../../x", "a/b~c", "%s{0}", "9" * 300, "x" * 3000, "=1+1", "180 °C", "20 s", "1 in", [], {}, [[]],
    {"": {}},
)  # fmt: skip
# Bytes that quantities and conditions are made of.
TOKENS = (
    " and ", " or ", "not ", "(", ")", "<", "<=", "==", "!=", " in ", "limit('", "')", "'", '"', ",", ".", "/", ":",
    "-", "+", "°C", "°F", " in", " s", " min", "h", "µ", "½", "⅞", "'", "\\", "#", "\x00", "1", "0", "9999999999", "e9",
    "NaN",
)  # fmt: skip


def mutated(data: bytes, rng: random.Random, pool: Sequence[bytes], *, is_json: bool) -> bytes:
    """``data`` with one to four changes; ``pool``: inputs to take parts of."""
    changed = data
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        changed = _document(changed, rng, pool) if is_json else _text(changed, rng, pool)
    return changed


def _document(data: bytes, rng: random.Random, pool: Sequence[bytes]) -> bytes:
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return _text(data, rng, pool)
    places = list(_places(document))
    if not places:
        return rng.choice(pool)
    holder, key = rng.choice(places)
    match rng.randrange(6):
        case 0:
            del holder[key]
        case 1:
            holder[key] = rng.choice(ODD)
        case 2:
            holder[key] = _part(rng, pool)
        case 3:
            holder[key] = [holder[key]] * rng.choice((1, 2, 13, 300))
        case 4:
            other, name = rng.choice(places)
            holder[key] = json.loads(json.dumps(other[name])) if name in _keys(other) else None
        case _:
            holder[key] = _nudged(holder[key], rng)
    return json.dumps(document, ensure_ascii=rng.random() < 0.5).encode("utf-8", "surrogatepass")


def _keys(holder: Any) -> Any:
    return holder if isinstance(holder, dict) else range(len(holder))


def _nudged(value: Any, rng: random.Random) -> Any:
    match value:
        case bool():
            return not value
        case int() | float():
            return rng.choice((-value, value + 1, value * 1000, value / 7, value * 1e300))
        case str():
            return _text(value.encode("utf-8", "surrogatepass"), rng, ()).decode("utf-8", "replace")
        case dict():
            return {**value, rng.choice((*value, "surprise", "\u202e", "")): rng.choice(ODD)}
        case list():
            return value[::-1]
    return rng.choice(ODD)


def _places(document: Any) -> Iterator[tuple[Any, Any]]:
    """Every (holder, key) in a document."""
    if not isinstance(document, dict | list):
        return
    members = document.items() if isinstance(document, dict) else enumerate(document)
    for key, value in list(members):
        yield document, key
        if isinstance(value, dict | list):
            yield from _places(value)


def _part(rng: random.Random, pool: Sequence[bytes]) -> Any:
    """Some part of another input."""
    other = json.loads(rng.choice(pool))
    holder, key = rng.choice(list(_places(other)) or [({"": other}, "")])
    return holder[key]


def _text(data: bytes, rng: random.Random, pool: Sequence[bytes]) -> bytes:
    at, to = sorted((rng.randint(0, len(data)), rng.randint(0, len(data))))
    match rng.randrange(5):
        case 0:
            return data[:at] + data[min(to, at + 8) :]
        case 1:
            return data[:at] + rng.choice(TOKENS).encode() + data[at:]
        case 2:
            return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        case 3:
            return data[:to] + data[at:]
    other = rng.choice(pool) if pool else data
    return data[:at] + other[rng.randint(0, len(other)) :]


def shrunk(data: bytes, fails: Callable[[bytes], bool], *, is_json: bool) -> bytes:
    """The smallest input that is found to fail as ``data`` does, taking away part after part."""
    smaller = True
    while smaller:
        smaller = next((less for less in _less(data, is_json) if len(less) < len(data) and fails(less)), None)
        data = smaller or data
    return data


def _less(data: bytes, is_json: bool) -> Iterator[bytes]:
    if is_json:
        try:
            document = json.loads(data)
        except (ValueError, RecursionError):
            document = None
        for place in range(len(list(_places(document)))):
            copy = json.loads(data)
            holder, key = list(_places(copy))[place]
            del holder[key]
            yield json.dumps(copy).encode()
    for width in (len(data) // 2, len(data) // 4, 8, 1):
        for at in range(0, len(data) if width else 0, width or 1):
            yield data[:at] + data[at + width :]
