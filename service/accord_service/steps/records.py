"""Records: what is kept of an order and the answer to it, and what a replay of it says years later.

A record holds all that the answer was made from but the code and the book: the order, the shop and its house rules. So
a replay changes one of three things at a time - the code, the book, the house - and says which made a difference.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from accord_rules.authority import Authority, code_digest
from accord_rules.documents.reading import DocumentError, read
from accord_rules.documents.writing import written
from accord_rules.governance.house import HouseAuthority, HouseError, read_house
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_service.store import OrderRecord, Store, StoreError

logger = logging.getLogger(__name__)
Document = Mapping[str, Any]
PRUNED_EVERY_S = 3600.0
PRUNING = "pruning"
# What says on which state of things an answer rests, and nothing about the order.
_BASIS = ("id", "revision", "digest", "house_digest", "basis", "reference")


def question_document(order: Document, shop: Shop, house: Document) -> dict[str, Any]:
    """What is kept of a question: the order as it was sent, without the reference, which can be deleted."""
    return {
        "order": {name: value for name, value in order.items() if name != "reference"},
        "shop": written(shop),
        "house": dict(house),
        "code": code_digest(),
    }


# -- replay ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Replayed:
    """An answer given anew. ``document`` is None where it could not be, and ``why`` says why."""

    document: Document | None
    why: str = ""

    @property
    def substance(self) -> Any:
        """What the answer says about the order; equal where nothing made a difference."""
        if self.document is None:
            return self.why
        return {name: value for name, value in self.document.items() if name not in _BASIS}

    @property
    def verdict(self) -> str:
        """The answer's verdict; "unreadable" where there is none."""
        return "unreadable" if self.document is None else str(self.document["verdict"])


@dataclass(frozen=True, slots=True)
class Replay:
    """The answer as it was given, and as it is now. Each difference is None where it can't be told."""

    then: Replayed
    now: Replayed
    code: bool | None
    book: bool | None
    house: bool | None

    def document(self) -> dict[str, Any]:
        """Plain JSON, as the service answers it."""
        then, now = _findings(self.then), _findings(self.now)
        return {
            "then": self.then.verdict,
            "now": self.now.verdict,
            "same": self.then.substance == self.now.substance,
            "made_a_difference": {"code": self.code, "book": self.book, "house": self.house},
            "why": self.now.why,
            "appeared": [finding for place, finding in now.items() if place not in then],
            "gone": [finding for place, finding in then.items() if place not in now],
            "changed": [finding for place, finding in now.items() if place in then and then[place] != finding],
            "answer": self.now.document,
        }


def _findings(replayed: Replayed) -> dict[tuple[str, str], Document]:
    document = replayed.document or {"findings": []}
    return {(finding["rule"], finding["pointer"]): finding for finding in document["findings"]}


@dataclass(frozen=True, slots=True)
class Present:
    """What a replay compares with: a revision's authority without house rules, and the shop and its house rules now."""

    shared: Authority
    shop: Shop
    house: Document


def replay(record: OrderRecord, book_then: Authority | None, present: Present) -> Replay:
    """Ask again: as it was then, with the other book, and with the shop and house rules of now as well.

    ``book_then`` is the authority over the record's revision; None where this code can't load that any more.
    """
    then, question = Replayed(record.answer), record.question
    try:
        order, shop = read(Order, question["order"]), read(Shop, question["shop"])
    except DocumentError as error:
        return Replay(then, Replayed(None, f"The order can't be read by this version: {error}"), True, None, None)
    as_then = None if book_then is None else _answer(book_then, question["house"], order, shop)
    other_book = _answer(present.shared, question["house"], order, shop)
    now = _answer(present.shared, present.house, order, present.shop)
    return Replay(
        then,
        now,
        True if as_then is None else as_then.substance != then.substance,
        None if as_then is None else other_book.substance != as_then.substance,
        now.substance != other_book.substance,
    )


def _answer(shared: Authority, house: Document, order: Order, shop: Shop) -> Replayed:
    try:
        with under(shared, house) as authority:
            return Replayed(authority.validate(order, shop).document())
    except DocumentError as error:
        return Replayed(None, f"The book can't read the order: {error}")
    except HouseError as error:
        return Replayed(None, f"The house rules do not fit the book: {error}")


@contextmanager
def under(shared: Authority, house: Document) -> Iterator[Authority]:
    """The authority under house rules that may not be the shop's present ones."""
    if not house:
        yield shared
        return
    own = HouseAuthority(shared, read_house(house))
    try:
        yield own
    finally:
        own.close()


# -- housekeeping ------------------------------------------------------------------------------------------------------


class Pruning:
    """Takes records that came to the end of their time out of the indexes, once in a while, as others are written."""

    def __init__(
        self, store: Store, every_s: float = PRUNED_EVERY_S, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._store = store
        self._every_s = every_s
        self._monotonic = monotonic
        self._next_s = 0.0

    def now_and_then(self) -> None:
        """Whoever comes first after ``every_s`` does it; the index holds until the next time if the store refuses."""
        now = self._monotonic()
        if now < self._next_s:
            return
        self._next_s = now + self._every_s
        try:
            self._store.records.prune(who=PRUNING)
        except StoreError as error:
            logger.warning("expired records stay in the index for now: %s", error)
