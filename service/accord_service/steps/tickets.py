"""Job tickets: the plan of a recorded order as it was judged, on one of the presses that can do it.

A ticket is worked out, not kept: the record has the order, the shop and the answer, and from these and the book of then
the plan follows, with the press and the settings of the answer pinned.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from accord_rules.authority import Authority, code_digest
from accord_rules.documents.reading import DocumentError, read
from accord_rules.documents.writing import written
from accord_rules.governance.house import HouseError, read_house
from accord_rules.orders.order import Order, Press, Settings
from accord_rules.orders.shop import Shop
from accord_rules.verdict import WORKABLE, Plan
from accord_service.steps.records import under
from accord_service.store import OrderRecord

Document = Mapping[str, Any]
# What may have changed since an order was recorded.
CHANGEABLE = ("book", "house", "shop", "code")
_NO_WAY = "With these settings no way is found now on this press: the product at hand may want others. Ask anew."


@dataclass(frozen=True, slots=True)
class Ticket:
    """The plan to press by; None where there is none, and ``why`` says why in a sentence.

    ``as_judged``: whether it has the very settings of the answer.
    """

    plan: Plan | None
    why: str = ""
    as_judged: bool = False


def able(record: OrderRecord) -> tuple[Document, ...]:
    """What was judged on each press that the order can be done on; none unless the order as a whole can be."""
    if record.answer["verdict"] not in WORKABLE:
        return ()
    return tuple(press for press in record.answer["presses"] if press["settings"] is not None)


def ticket(record: OrderRecord, book_then: Authority | None, press: str) -> Ticket:
    """The plan on one of the presses of ``able``.

    ``book_then`` is the authority over the record's revision; None where this code can't load that any more.
    """
    judged = next(judged for judged in able(record) if judged["press"] == press)
    if book_then is None:
        return Ticket(None, f"Revision {record.revision} was written for another version of this service.")
    try:
        order, shop = read(Order, record.question["order"]), read(Shop, record.question["shop"])
        with under(book_then, record.question["house"]) as authority:
            for as_judged in (True, False):
                plans = authority.recommend(pinned(order, judged, settings=as_judged), shop, most=1).plans
                if plans:
                    return Ticket(plans[0], as_judged=as_judged)
    except DocumentError as error:
        return Ticket(None, f"This version of the service can't read the order: {error}")
    except HouseError as error:
        return Ticket(None, f"The house rules of then do not fit the book: {error}")
    return Ticket(None, _NO_WAY)


def pinned(order: Order, judged: Document, *, settings: bool = True) -> Order:
    """The order with a press and, where wished, settings as they were judged; a press that it describes itself stays as
    it is described.

    Where an order names a family, the answer has the family's usual settings, and the product that the shop has of it
    may want others: then the plan has those, and the ticket says so.
    """
    decorations = order.decorations
    if settings:
        pairs = zip(decorations, judged["settings"], strict=True)
        decorations = tuple(replace(decoration, settings=read(Settings, set_)) for decoration, set_ in pairs)
    press = order.press if isinstance(order.press, Press) else judged["press"]
    return replace(order, press=press, decorations=decorations, prefer=None)


def why_none(answer: Document) -> str:
    """Why an order that can't be done, or is not known to be, has no ticket."""
    if answer["verdict"] == "undetermined":
        questions = (need["question"] for need in answer["needs"])
        return f"It is not known yet whether it can be done: {next(questions, 'something unsaid could still stop it.')}"
    blocks = (finding["because"] for finding in answer["findings"] if finding["level"] == "blocks")
    return next(blocks, "It was rejected.")


def changed(record: OrderRecord, digest: str, house: Document, shop: Shop) -> Iterator[str]:
    """What of ``CHANGEABLE`` is no more as it was; ``digest``, ``house`` and ``shop`` are those of now."""
    question = record.question
    now_and_then = (
        (digest, record.answer["digest"]),
        (_house_words(house), _house_words(question["house"])),
        (written(shop), question["shop"]),
        (code_digest(), question["code"]),
    )
    for name, (now, then) in zip(CHANGEABLE, now_and_then, strict=True):
        if now != then:
            yield name


def _house_words(document: Document) -> Document:
    """House rules with nothing left unsaid: none yet is as none any more. As they stand, where they can't be read."""
    try:
        return written(read_house(document))
    except DocumentError:
        return document
