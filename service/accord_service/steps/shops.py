"""Who asks: shops and their keys, as a worker holds them. The shop comes from the key alone, never from the request."""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from types import MappingProxyType

from accord_rules.documents.reading import NAME_PATTERN, DocumentError, Fault, names_in, read
from accord_rules.orders.order import Press
from accord_rules.orders.shop import Sample, Shop
from accord_rules.revision.book import Book
from accord_rules.revision.markets import ELSEWHERE
from accord_rules.revision.names import (
    calibration_faults,
    fitting_names,
    fitting_samples,
    own_name_faults,
    sample_faults,
    stock_faults,
)
from accord_service.http.problems import FaultyDocument, ShopDoesNotFit
from accord_service.http.roles import COLLECTIVE
from accord_service.store import HouseRecord, KeyRecord, KeyRing, ShopRecord, Store

AGE_STEP_DAYS = 30


def read_kept(record: ShopRecord) -> Shop | None:
    """A shop as it is kept; None where another version of the service wrote what this one can't read."""
    with suppress(DocumentError):
        return read(Shop, record.document)
    return None


@dataclass(frozen=True)
class KnownShop:
    """One shop's records. ``record.document`` is the shop as it was written, with its own units."""

    record: ShopRecord
    house: HouseRecord

    @cached_property
    def shop(self) -> Shop:
        """Raises ShopDoesNotFit where another version of the service wrote what this one can't read."""
        try:
            return read(Shop, self.record.document)
        except DocumentError as error:
            raise ShopDoesNotFit(f"The shop's document can't be read: {error}") from None

    def at(self, book: Book, today: date) -> Shop:
        """The shop as one revision of the book knows it, on a day. Raises ShopDoesNotFit without a press left.

        What the book does not have (any more, or not yet) the shop can't use: it is left out.
        """
        shop, catalogue = self.shop, book.catalogue
        presses = tuple(press for press in shop.presses if press.type in catalogue["press_types"])
        if not presses:
            raise ShopDoesNotFit(f"Revision {book.revision} of the book has none of the shop's types of press.")
        stock = replace(
            shop.stock,
            products=tuple(name for name in shop.stock.products if name in catalogue["products"]),
            consumables=tuple(name for name in shop.stock.consumables if name in catalogue["consumables"]),
            withdrawn=tuple(
                name
                for name in shop.stock.withdrawn
                if name in catalogue["products"] or name in catalogue["consumables"]
            ),
        )
        market = shop.market if shop.market in catalogue["markets"] else ELSEWHERE
        fitting = replace(shop, market=market, presses=presses, stock=stock)
        names, samples = fitting_names(fitting, book), fitting_samples(fitting, book)
        return aged(replace(fitting, names=names, samples=samples), today)


def aged(shop: Shop, today: date) -> Shop:
    """The shop with the age of each press's oldest reading, which the rules, having no clock, can't know."""
    ages = [told_age_days(press, today) for press in shop.presses]
    presses = (
        press if age is None else replace(press, calibration_age=float(age))
        for press, age in zip(shop.presses, ages, strict=True)
    )
    return replace(shop, presses=tuple(presses))


def age_days(press: Press, today: date) -> int | None:
    """Days since the oldest reading was taken; None where no reading says when."""
    taken = [date.fromisoformat(reading.taken_on) for reading in press.calibration if reading.taken_on is not None]
    return max(0, (today - min(taken)).days) if taken else None


def told_age_days(press: Press, today: date) -> int | None:
    """The same as the rules are told it: in whole steps of ``AGE_STEP_DAYS``.

    The age is part of what a verdict's id is taken over, so answers and their ids stay the same for a step, not a day.
    """
    age = age_days(press, today)
    return None if age is None else age // AGE_STEP_DAYS * AGE_STEP_DAYS


def refuse_faults(book: Book, shop: Shop, id_: str, newest_day: date, before: Shop | None = None) -> None:
    """Refuse what keeps a document from being this shop under this book. Raises FaultyDocument with every fault.

    ``newest_day``: the last that has begun anywhere (``run.times.newest_day``). ``before``: the shop as it is kept.
    What it names that the book has no more may stay, and so may samples by ids that were once taken: a change of
    something else is no time to be told."""
    faults = [] if shop.id == id_ else [Fault("/id", f"must be {id_!r}", (id_,), code="not-allowed")]
    faults += faults_of(book, shop, newest_day, before)
    if faults:
        raise FaultyDocument(faults=faults)


def refuse_press_faults(book: Book, press: Press, id_: str, newest_day: date, before: Shop | None = None) -> None:
    """Refuse what keeps a document from being this press under this book. Raises FaultyDocument with every fault.

    ``before``: the shop as it is kept, as for ``refuse_faults``."""
    faults = [] if press.id == id_ else [Fault("/id", f"must be {id_!r}", (id_,), code="not-allowed")]
    faults += [*_unknown_names(book, press, before), *_press_faults(press, "", newest_day)]
    if faults:
        raise FaultyDocument(faults=faults)


def faults_of(book: Book, shop: Shop, newest_day: date, before: Shop | None = None) -> list[Fault]:
    """What the book has against a shop, beyond what its readers refuse. ``before``: as for ``refuse_faults``."""
    faults = [*_unknown_names(book, shop, before), *stock_faults(shop, book), *own_name_faults(shop, book)]
    faults += [*id_faults(shop.id, "/id"), *sample_faults(shop, book)]
    samples_kept = set() if before is None else {sample.id for sample in before.samples}
    for index, sample in enumerate(shop.samples):
        faults += _sample_still_to_come(sample, f"/samples/{index}", newest_day)
        if sample.id not in samples_kept:
            faults += id_faults(sample.id, f"/samples/{index}/id")
    for index, press in enumerate(shop.presses):
        faults += _press_faults(press, f"/presses/{index}", newest_day)
        if press.id in [earlier.id for earlier in shop.presses[:index]]:
            message = f"another press is called {press.id!r} already"
            faults.append(Fault(f"/presses/{index}/id", message, code="given-twice"))
    return faults


def _unknown_names(book: Book, shop_or_press: Shop | Press, before: Shop | None) -> list[Fault]:
    kept = set() if before is None else {(kinds, name) for _, kinds, name in names_in(before)}
    faults = []
    for pointer, kinds, name in names_in(shop_or_press):
        names = sorted(entry for kind in kinds.split("|") for entry in book.catalogue[kind])
        if name not in names and (kinds, name) not in kept:
            message = f"there is no {name!r} in {kinds.replace('|', ' or ')}"
            faults.append(Fault(pointer, message, tuple(names), code="not-in-book", refused=name))
    return faults


def id_faults(id_: str, pointer: str) -> list[Fault]:
    """What keeps a name that people give from being an id: it stands in addresses, in messages and in the audit."""
    if id_ == COLLECTIVE:
        return [Fault(pointer, f"must not be {COLLECTIVE!r}, which keys of no shop are for", code="not-allowed")]
    if re.fullmatch(NAME_PATTERN, id_):
        return []
    return [Fault(pointer, "must be lower-case words or numbers joined by hyphens", code="bad-format")]


def _press_faults(press: Press, pointer: str, newest_day: date) -> list[Fault]:
    faults = [*id_faults(press.id, f"{pointer}/id"), *calibration_faults(press, pointer)]
    if press.calibration_age is not None:
        message = "follows from taken_on of the readings: leave it out"
        faults.append(Fault(f"{pointer}/calibration_age", message, code="contradiction"))
    return faults + [
        Fault(f"{pointer}/calibration/{index}/taken_on", "is still to come", code="out-of-range")
        for index, reading in enumerate(press.calibration)
        if reading.taken_on is not None and date.fromisoformat(reading.taken_on) > newest_day
    ]


def _sample_still_to_come(sample: Sample, pointer: str, newest_day: date) -> list[Fault]:
    """A sample that cannot have been pressed, or looked at, yet."""
    pressed_on = date.fromisoformat(sample.pressed_on)
    if pressed_on > newest_day:
        return [Fault(f"{pointer}/pressed_on", "is still to come", code="out-of-range")]
    if pressed_on + timedelta(seconds=sample.looked_at_after) > newest_day:
        return [Fault(f"{pointer}/looked_at_after", "is still to come: put it on record then", code="out-of-range")]
    return []


@dataclass(frozen=True, slots=True)
class Caller:
    """Whoever holds a key. ``shop`` is None for a key that belongs to no shop.

    ``holder`` is None for a key that names none. ``expires_at``: seconds since 1970 (UTC); whoever has a clock looks at
    it. ``waits``: it opens nothing until a second admin confirms it. ``origins``: a storefront's, whose pages may ask.
    """

    key_id: str
    role: str
    shop_id: str
    shop: KnownShop | None
    holder: str | None = None
    expires_at: float | None = None
    waits: bool = False
    origins: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Directory:
    """Shops, house rules and keys; ``number`` is the store's count of changes to them, ``origins`` those of all
    storefronts."""

    number: int
    shops: Mapping[str, KnownShop]
    ring: KeyRing
    origins: frozenset[str]

    @classmethod
    def load(cls, store: Store, number: int) -> Directory:
        """Keys first: a shop is there before its keys are. Raises StoreAway."""
        ring = KeyRing(store.keys.list())
        records = store.shops.list()
        houses = {house.shop: house for house in store.shops.houses()}
        shops = {record.id: KnownShop(record, houses.get(record.id, no_house(record.id))) for record in records}
        return cls(number, MappingProxyType(shops), ring, ring.origins())

    def caller(self, token: str) -> Caller | None:
        """The holder of a token; None if it is unknown or revoked."""
        key = self.ring.by_token(token)
        return None if key is None else self.caller_of(key)

    def caller_of(self, key: KeyRecord) -> Caller:
        """Whoever holds a key."""
        return Caller(
            key_id=key.id,
            role=key.role,
            shop_id=key.shop,
            shop=self.shops.get(key.shop),
            holder=key.holder,
            expires_at=key.expires_at,
            waits=key.waits,
            origins=key.origins,
        )


def no_house(shop: str) -> HouseRecord:
    """The house rules of a shop that wrote none."""
    return HouseRecord(shop, 0, {}, 0.0)
