"""The tickets of the demo's orders, as the pages lay them out.

    python tests/service/pages/drawn.py

counts those that need a second sheet for the steps of a print, on every press that can do each order, and says how
small their smallest letters are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from accord_rules.authority import Authority
from accord_rules.documents.writing import written
from accord_rules.load.loader import load_book
from accord_service.pages.ticket.sheet import HEIGHT, sheets
from accord_service.pages.ticket.told import PAPERS, Told, told_of
from accord_service.steps.tickets import Ticket, able, ticket
from accord_service.store import OrderRecord
from demo import expected as day

REVISION = {
    "author": {"shop_id": "mill-steps", "holder": "Ines Marlow", "role": "steward"},
    "author_id": "key_1",
    "approvers": [{"shop_id": "quay-yard", "holder": None, "role": "steward"}],
    "published_at": "2026-11-02T09:30:00.000Z",
}


@dataclass(frozen=True, slots=True)
class Drawn:
    """The ticket of one order, and the plan it is of."""

    name: str
    told: Told
    plan: dict[str, Any]
    as_judged: bool


def drawn_tickets(authority: Authority, step: int = 1, *, every_press: bool = False) -> Iterator[Drawn]:
    """The tickets of every ``step``-th order of the demo, on the press that it is judged on or each that can do it."""
    shops = day.read_shops()
    for name, expectation in list(day.read_expected().items())[::step]:
        order, shop = day.read_order(name), shops[expectation["shop"]]
        document = json.loads((day.DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8"))
        answer = authority.validate(order, shop).document()
        record = OrderRecord(
            record_id="rec_1",
            shop_id=shop.id,
            version=1,
            question={
                "order": {key: value for key, value in document.items() if key != "reference"},
                "shop": written(shop),
                "house": {},
            },
            answer=answer,
            revision=1,
            reference=order.reference,
            recorded_at=0.0,
            expires_at=None,
        )
        for judged in able(record):
            if every_press or judged["press"] == answer["judged_on"]:
                yield drawn(name, record, shop, ticket(record, authority, judged["press"]))


def drawn(name: str, record: OrderRecord, shop: Any, of_record: Ticket) -> Drawn:
    assert of_record.plan is not None, (name, of_record.why)
    plan = of_record.plan.document()
    document = {
        "plan": plan,
        "press": plan["press"],
        "shop_name": shop.name,
        "unit_system": shop.unit_system,
        "reference": record.reference,
        "verdict": record.answer["verdict"],
        "verdict_id": record.answer["id"],
        "digest": record.answer["digest"],
        "revision": 3,
        "book_revision": 5,
        "changed": ["book", "shop"],
        "as_judged": of_record.as_judged,
        "recorded_at": "2026-11-30T10:00:00.000Z",
    }
    return Drawn(name, told_of(document, REVISION, record.answer), plan, of_record.as_judged)


def smallest_pt(of: Drawn, paper: str) -> float:
    """The smallest letters on a ticket's sheets, in points of 1/72 inch as they are printed."""
    mm = min(text.size for scene in sheets(of.told, paper) for text in scene.texts)
    return mm * PAPERS[paper][1] / HEIGHT / 25.4 * 72


def main() -> None:
    authority = Authority(load_book())
    try:
        tickets = list(drawn_tickets(authority, every_press=True))
    finally:
        authority.close()
    for paper in PAPERS:
        more = sum(len(sheets(of.told, paper)) > len(of.told.parts) for of in tickets)
        smallest = min(smallest_pt(of, paper) for of in tickets)
        print(f"{paper}: {more} of {len(tickets)} tickets need a second sheet; smallest letters {smallest:.1f} pt")


if __name__ == "__main__":
    main()
