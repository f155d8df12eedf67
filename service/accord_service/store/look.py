"""Documents as they are kept, with the chain as it is at the same moment; and the names there are."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files

from accord_service.store import names
from accord_service.store.connection import Connection
from accord_service.store.kinds import KINDS, place_of
from accord_service.store.seals import ChainHead

_SCRIPT = files("accord_service.store").joinpath("look.lua").read_text(encoding="utf-8")
_SCRIPT_SHA1 = hashlib.sha1(_SCRIPT.encode(), usedforsecurity=False).hexdigest()  # the server's own name for it
ENOUGH_BYTES = 2 * 1024 * 1024  # of documents in one answer, before the last; a book is about 1 MB
PAGE = 200


@dataclass(frozen=True, slots=True)
class Kept:
    """One document as it is kept. ``type`` as Redis calls it, "none" where there is nothing; of what is no hash nothing
    else is told. ``lives_ms``: milliseconds until it ends, negative: never. ``is_listed``: whether its index leads to
    it; True for a kind that has none."""

    key: str
    type: str
    version: int
    sha256: str
    seal: bytes
    lives_ms: int
    is_listed: bool


@dataclass(frozen=True, slots=True)
class Look:
    """What one look saw: the chain's head as text, the number of its entries, and documents."""

    head_text: bytes
    length: int
    documents: tuple[Kept, ...] = ()

    @property
    def head(self) -> ChainHead:
        """Raises StoreBroken where it can't be read."""
        return ChainHead.read(self.head_text)


def look(connection: Connection, keys: Sequence[str] = ()) -> Look:
    """The documents of ``keys``, from the first, as many as fit one answer: at least one, if there is any."""
    places = [_listed_in(key) for key in keys]
    indexes = list(dict.fromkeys(index for index, _ in places if index))
    at = {index: 3 + len(keys) + number for number, index in enumerate(indexes)}
    listings = [word for index, member in places for word in (str(at.get(index, 0)), member)]
    answer = connection.run(
        _SCRIPT,
        _SCRIPT_SHA1,
        (names.AUDIT, names.AUDIT_HEAD, *keys, *indexes),
        (str(len(keys)), str(ENOUGH_BYTES), *listings),
    )
    documents = tuple(_kept(key, fields) for key, fields in zip(keys, answer[2:], strict=False))
    return Look(answer[0], int(answer[1]), documents)


def looks(connection: Connection, keys: Sequence[str]) -> Iterator[Look]:
    """Looks at all of ``keys``, in their order."""
    while keys:
        seen = look(connection, keys[:PAGE])
        yield seen
        keys = keys[len(seen.documents) :]


def all_names(connection: Connection) -> Iterator[tuple[bytes, ...]]:
    """Every name of ours, in pages; one may come twice, and one that comes or goes meanwhile may be missing."""
    cursor = 0
    while True:
        cursor, page = connection.ask("SCAN", cursor, "MATCH", f"{names.PREFIX}*", "COUNT", PAGE)
        if page:
            yield tuple(page)
        if not cursor:
            return


def _listed_in(key: str) -> tuple[str, str]:
    kind, parts = place_of(key)
    known = KINDS.get(kind)
    return known.listed_in(parts) if known is not None and known.listed_in is not None and parts else ("", "")


def _kept(key: str, fields: Sequence[bytes]) -> Kept:
    type_, version, text, seal, lives_ms, listed = fields
    return Kept(
        key=key,
        type=type_.decode(),
        version=int(version) if version.isdigit() else 0,
        sha256=hashlib.sha256(text).hexdigest(),
        seal=seal,
        lives_ms=int(lives_ms),
        is_listed=bool(listed),
    )
