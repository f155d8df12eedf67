"""Shops: each one's document (as ``accord_rules.orders.shop.Shop`` reads it) and its house rules, versioned apart.

Whatever changes who may ask, and for which shop, also moves the ``directory`` on by one, in the same commit: workers
see by that one number that what they hold in memory is old.

Each version is kept beside the newest as well, with who wrote it, ``VERSIONS_MOST`` of each.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import (
    ABSENT,
    AddToIndex,
    Committer,
    Delete,
    Put,
    Transaction,
    Versioned,
    nothing_else,
)
from accord_service.store.connection import Connection
from accord_service.store.errors import NotThere
from accord_service.store.index import Page

DIRECTORY_MOVES = Put(names.DIRECTORY, {})
VERSIONS_MOST = 100


@dataclass(frozen=True, slots=True)
class ShopRecord:
    """``document``: presses, stock, standing and units. ``changed_at``: seconds since 1970 (UTC)."""

    id: str
    version: int
    document: Mapping[str, Any]
    changed_at: float


@dataclass(frozen=True, slots=True)
class HouseRecord:
    """A shop's house rules; version 0 and an empty document if it never wrote any."""

    shop: str
    version: int
    document: Mapping[str, Any]
    changed_at: float


@dataclass(frozen=True, slots=True)
class BundlePull:
    """The bundle that a shop pulled last. ``pulled_at``: seconds since 1970 (UTC); ``expires_on``: a day (UTC), as
    RFC 3339 has it."""

    pulled_at: float
    revision: int
    expires_on: str


@dataclass(frozen=True, slots=True)
class VersionRecord:
    """One version of a shop, or of its house rules. ``changed_by``: the id of a key, or a part of the program; None
    where it was written before versions were kept."""

    version: int
    document: Mapping[str, Any]
    changed_at: float
    changed_by: str | None


class ShopStore:
    """Creates, finds and replaces shops and their house rules."""

    def __init__(self, committer: Committer, connection: Connection) -> None:
        self._committer = committer
        self._connection = connection

    def create(
        self,
        id_: str,
        document: Mapping[str, Any],
        *,
        who: str,
        also: Callable[[ShopRecord], Transaction] = nothing_else,
    ) -> ShopRecord:
        """Raises Conflict if there is a shop of this id."""
        return self._put(id_, ABSENT, document, UnsealedEntry(who, Event.SHOP_CREATED, id_), also)

    def replace(
        self,
        id_: str,
        version: int,
        document: Mapping[str, Any],
        *,
        who: str,
        event: Event = Event.SHOP_REPLACED,
        subject_id: str | None = None,
        also: Callable[[ShopRecord], Transaction] = nothing_else,
    ) -> ShopRecord:
        """The next version. Raises Conflict if ``version`` is not the newest any more (0 there: no such shop).

        ``event`` and ``subject_id``: what the audit says was done, to what of the shop; the whole where left out.
        """
        if version == ABSENT:
            raise NotThere("version 0 is no version of a shop")
        return self._put(id_, version, document, UnsealedEntry(who, event, subject_id or id_), also)

    def _put(
        self,
        id_: str,
        version: int,
        document: Mapping[str, Any],
        entry: UnsealedEntry,
        also: Callable[[ShopRecord], Transaction],
    ) -> ShopRecord:
        record = ShopRecord(id_, version + 1, document, self._committer.clock())
        own = Transaction(
            {_shop(id_): version},
            (
                Put(_shop(id_), {"document": document, "changed_at": record.changed_at}),
                AddToIndex(names.SHOPS, id_, 0),
                DIRECTORY_MOVES,
            ),
        )
        own += self._keeping(_shop(id_), record, entry.actor_id)
        self._committer.apply(own + also(record), entry)
        return record

    def get(self, id_: str) -> ShopRecord | None:
        """The shop of this id; None where there is none."""
        return _shop_record(id_, self._committer.get(_shop(id_)))

    def list(self) -> tuple[ShopRecord, ...]:
        """Every shop, by id."""
        ids = [member.decode() for member in self._connection.ask("ZRANGE", names.SHOPS, 0, -1)]
        documents = self._committer.get_all([_shop(id_) for id_ in ids])
        records = (_shop_record(id_, versioned) for id_, versioned in zip(ids, documents, strict=True))
        return tuple(record for record in records if record is not None)

    def note_pull(self, id_: str, pull: BundlePull) -> None:
        """Note which bundle a shop pulled.

        This goes by the commit and its audit: it is nobody's act, and nothing rests on it but a look at old bundles.
        """
        self._connection.ask("HSET", names.BUNDLES_PULLED, id_, json.dumps(asdict(pull)))

    def pulls(self, ids: Sequence[str]) -> dict[str, BundlePull]:
        """The bundles that these shops pulled last, without those that pulled none, or of whom nothing readable is
        noted."""
        noted = self._connection.ask("HMGET", names.BUNDLES_PULLED, *ids) if ids else ()
        pulls = {id_: _pull(text) for id_, text in zip(ids, noted, strict=True)}
        return {id_: pull for id_, pull in pulls.items() if pull is not None}

    def house(self, shop: str) -> HouseRecord:
        """The shop's house rules."""
        return _house_record(shop, self._committer.get(_house(shop)))

    def houses(self) -> tuple[HouseRecord, ...]:
        """Every shop's house rules, by shop; also of those that wrote none."""
        ids = [member.decode() for member in self._connection.ask("ZRANGE", names.SHOPS, 0, -1)]
        documents = self._committer.get_all([_house(id_) for id_ in ids])
        return tuple(_house_record(id_, versioned) for id_, versioned in zip(ids, documents, strict=True))

    def replace_house(
        self,
        shop: str,
        version: int,
        document: Mapping[str, Any],
        *,
        who: str,
        also: Callable[[HouseRecord], Transaction] = nothing_else,
    ) -> HouseRecord:
        """The next version; 0 for a shop that wrote none. Raises Conflict if it moved, NotThere without the shop."""
        if self.get(shop) is None:
            raise NotThere(f"there is no shop {shop!r}")
        record = HouseRecord(shop, version + 1, document, self._committer.clock())
        own = Transaction(
            {_house(shop): version},
            (Put(_house(shop), {"document": document, "changed_at": record.changed_at}), DIRECTORY_MOVES),
        )
        own += self._keeping(_house(shop), record, who)
        self._committer.apply(own + also(record), UnsealedEntry(who, Event.HOUSE_RULES_REPLACED, shop))
        return record

    # -- versions ------------------------------------------------------------------------------------------------------

    def version(self, shop: str, version: int) -> VersionRecord | None:
        """A version of the shop; None where it is not kept (any more)."""
        return self._version(_shop(shop), version)

    def house_version(self, shop: str, version: int) -> VersionRecord | None:
        """A version of its house rules; None where it is not kept (any more)."""
        return self._version(_house(shop), version)

    def versions(self, shop: str, before: int | None = None, limit: int = VERSIONS_MOST) -> Page[VersionRecord]:
        """The versions of the shop that are kept, newest first, those below ``before``."""
        return self._versions(_shop(shop), before, limit)

    def house_versions(self, shop: str, before: int | None = None, limit: int = VERSIONS_MOST) -> Page[VersionRecord]:
        """The versions of its house rules that are kept, newest first, those below ``before``."""
        return self._versions(_house(shop), before, limit)

    def _keeping(self, of: str, record: ShopRecord | HouseRecord, who: str) -> Transaction:
        """Keeps a version that is being written, and the one before where nobody has; drops the oldest."""
        kept = [_kept(of, record.version, record.document, record.changed_at, who)]
        before, its_version = self._committer.get_all([of, _version_key(of, record.version - 1)])
        if before is not None and before.version == record.version - 1 and its_version is None:
            kept.append(_kept(of, before.version, before.document["document"], before.document["changed_at"], None))
        dropped = record.version - VERSIONS_MOST
        return Transaction({}, (*kept, *([Delete(_version_key(of, dropped))] if dropped > 0 else [])))

    def _version(self, of: str, version: int) -> VersionRecord | None:
        now, kept = self._committer.get_all([of, _version_key(of, version)])
        return _version_record(version, now, kept)

    def _versions(self, of: str, before: int | None, limit: int) -> Page[VersionRecord]:
        now = self._committer.get(of)
        newest = ABSENT if now is None else now.version
        last = newest if before is None else min(before - 1, newest)
        first = max(last - limit + 1, newest - VERSIONS_MOST + 1, 1)
        numbers = range(last, first - 1, -1)
        documents = self._committer.get_all([_version_key(of, number) for number in numbers])
        records = (_version_record(number, now, kept) for number, kept in zip(numbers, documents, strict=True))
        present = tuple(record for record in records if record is not None)
        following = str(first) if present and first > max(newest - VERSIONS_MOST + 1, 1) else None
        return Page(present, following)


def _version_key(of: str, version: int) -> str:
    """Where a version is kept of what is at ``of``."""
    return f"{of}:version:{version}"


def _kept(of: str, version: int, document: Mapping[str, Any], changed_at: float, who: str | None) -> Put:
    return Put(_version_key(of, version), {"document": document, "changed_at": changed_at, "changed_by": who})


def _version_record(version: int, now: Versioned | None, kept: Versioned | None) -> VersionRecord | None:
    """A version as it is kept; as it stands now where it is the newest, and was written before versions were kept."""
    if kept is not None:
        return VersionRecord(version, **kept.document)
    if now is not None and now.version == version:
        return VersionRecord(version, changed_by=None, **now.document)
    return None


def _pull(text: bytes | None) -> BundlePull | None:
    if text is None:
        return None
    try:
        return BundlePull(**json.loads(text))
    except (ValueError, TypeError):
        return None


def _shop(id_: str) -> str:
    return names.name("shop", id_)


def _house(shop: str) -> str:
    return names.name("house", shop)


def _shop_record(id_: str, versioned: Versioned | None) -> ShopRecord | None:
    return None if versioned is None else ShopRecord(id=id_, version=versioned.version, **versioned.document)


def _house_record(shop: str, versioned: Versioned | None) -> HouseRecord:
    return (
        HouseRecord(shop, ABSENT, {}, 0.0)
        if versioned is None
        else HouseRecord(shop, versioned.version, **versioned.document)
    )
