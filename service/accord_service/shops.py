"""Who asks: shops and their keys. The shop comes from the key alone, never from the request's content.

``Shops`` is the seam: the service asks it and nothing else. ``FileShops`` keeps shops and keys in a folder.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol, TypeVar

from accord_rules.reading import Choice, DocumentError, LeafError, Many, Name, Object, Reader, given, read
from accord_rules.shop import Shop

T = TypeVar("T")
ROLES = ("counter", "operator", "owner", "steward", "admin")


@dataclass(frozen=True, slots=True)
class Caller:
    """Whoever holds a key. ``document`` is the shop as it was written, with its own units."""

    shop: Shop
    document: Mapping[str, Any]
    role: str
    key_id: str


class Shops(Protocol):
    """Where shops and keys are kept."""

    def by_key(self, token: str) -> Caller | None:
        """The holder of a bearer token; None if no such key is known."""

    def shops(self) -> Iterator[Shop]:
        """Every shop."""


class ShopsError(ValueError):
    """Shops or keys that can't be used; one line a fault, each with its file."""


class Sha256(Reader):
    """A SHA-256 sum in lower-case hexadecimal."""

    def leaf(self, value: Any) -> bytes:
        if not isinstance(value, str) or not re.fullmatch("[0-9a-f]{64}", value):
            raise LeafError("must be a SHA-256 sum: 64 characters of 0-9 and a-f")
        return bytes.fromhex(value)

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[0-9a-f]{64}$"}


@dataclass(frozen=True, slots=True)
class Key:
    """One key: whose it is, what it may do, and the sum of the token (the token itself is kept nowhere)."""

    shop: str = given(Name())
    role: str = given(Choice(ROLES))
    id: str = given(Name())
    sha256: bytes = given(Sha256())


@dataclass(frozen=True, slots=True)
class KeyFile:
    """``keys.toml``: a table ``[[key]]`` a key."""

    key: tuple[Key, ...] = given(Many(Object(Key), 1000, 1))


class FileShops:
    """Shops from ``<folder>/shops/*.toml`` and keys from ``<folder>/keys.toml``, read once.

    Raises ShopsError naming every file and field at fault.
    """

    def __init__(self, folder: Path) -> None:
        faults: list[str] = []
        shops = dict(_shops_in(folder / "shops", faults))
        keys = _keys_in(folder / "keys.toml", faults)
        faults += [
            f"keys.toml: key {key.id!r} is for shop {key.shop!r}, which has no file"
            for key in keys
            if key.shop not in shops
        ]
        faults += _doubles("key id", [key.id for key in keys]) + _doubles("sha256", [key.sha256.hex() for key in keys])
        if faults:
            raise ShopsError("\n".join(faults))
        self._shops = MappingProxyType(shops)
        self._callers = tuple((key.sha256, Caller(*shops[key.shop], key.role, key.id)) for key in keys)

    def by_key(self, token: str) -> Caller | None:
        """Compares with every key in constant time, so that the time taken says nothing about any of them."""
        asked = hashlib.sha256(token.encode("utf-8", "surrogateescape")).digest()
        found = None
        for known, caller in self._callers:
            if hmac.compare_digest(asked, known):
                found = caller
        return found

    def shops(self) -> Iterator[Shop]:
        return (shop for shop, _ in self._shops.values())


def _shops_in(folder: Path, faults: list[str]) -> Iterator[tuple[str, tuple[Shop, Mapping[str, Any]]]]:
    files = sorted(folder.glob("*.toml"))
    if not files:
        faults.append(f"{folder}: holds no shop (*.toml)")
    for file in files:
        document = _toml(file, faults)
        shop = None if document is None else _read(Shop, document, file, faults)
        if document is None or shop is None:
            continue
        if shop.id != file.stem:
            faults.append(f"{file.name}: id is {shop.id!r}; file name and id must be the same")
        yield shop.id, (shop, MappingProxyType(document))


def _keys_in(file: Path, faults: list[str]) -> tuple[Key, ...]:
    document = _toml(file, faults)
    keys = None if document is None else _read(KeyFile, document, file, faults)
    return () if keys is None else keys.key


def _toml(file: Path, faults: list[str]) -> dict[str, Any] | None:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        faults.append(f"{file.name}: {error}")
        return None


def _read(cls: type[T], document: Mapping[str, Any], file: Path, faults: list[str]) -> T | None:
    try:
        return read(cls, document)
    except DocumentError as error:
        faults += [f"{file.name}: {fault}" for fault in error.faults]
        return None


def _doubles(what: str, values: list[str]) -> list[str]:
    return [
        f"keys.toml: {what} {value!r} is given more than once"
        for value in sorted(set(values))
        if values.count(value) > 1
    ]
