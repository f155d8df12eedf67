"""Shops: each one's document (as ``accord_rules.orders.shop.Shop`` reads it) and its house rules, versioned apart.

Whatever changes who may ask, and for which shop, also moves the ``directory`` on by one, in the same commit: workers
see by that one number that what they hold in memory is old.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from accord_service.store import names
from accord_service.store.audit import Event, UnsealedEntry
from accord_service.store.commit import ABSENT, AddToIndex, Committer, Put, Transaction, Versioned, nothing_else
from accord_service.store.connection import Connection
from accord_service.store.errors import NotThere

DIRECTORY_MOVES = Put(names.DIRECTORY, {})


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
        return self._put(id_, ABSENT, document, Event.SHOP_CREATED, who, also)

    def replace(
        self,
        id_: str,
        version: int,
        document: Mapping[str, Any],
        *,
        who: str,
        also: Callable[[ShopRecord], Transaction] = nothing_else,
    ) -> ShopRecord:
        """The next version. Raises Conflict if ``version`` is not the newest any more (0 there: no such shop)."""
        if version == ABSENT:
            raise NotThere("version 0 is no version of a shop")
        return self._put(id_, version, document, Event.SHOP_REPLACED, who, also)

    def _put(
        self,
        id_: str,
        version: int,
        document: Mapping[str, Any],
        event: Event,
        who: str,
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
        self._committer.apply(own + also(record), UnsealedEntry(who, event, id_))
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
        self._committer.apply(own + also(record), UnsealedEntry(who, Event.HOUSE_RULES_REPLACED, shop))
        return record


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
