"""The shops, and how old the bundle is that each would go on with while there is no line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from flask import request

from accord_rules.documents.counted import counted
from accord_service.api.v1.get_shops import get_shops
from accord_service.pages.desk.audit import KEEPERS
from accord_service.pages.desk.words import Document, days_until, following, page_of
from accord_service.pages.visit import Visit, page

# So many days before it ends, a bundle is worth a word.
ENDS_SOON_DAYS = 3


@dataclass(frozen=True, slots=True)
class ShopBundle:
    """A shop and its bundle; ``wants`` says what is wrong with it, empty where nothing is."""

    id: str
    name: str
    bundle: Document | None
    wants: str


def bundles_of(visit: Visit, told: Document) -> Iterator[ShopBundle]:
    """The shops of an answer of listShops."""
    head = visit.snapshot.edition.head.number
    for shop in told["entries"]:
        yield ShopBundle(shop["id"], shop["name"], shop["bundle"], _wants(shop["bundle"], head))


def _wants(bundle: Document | None, head: int) -> str:
    if bundle is None:
        return "No pull is noted: without a line nothing answers there."
    left, behind = days_until(bundle["expires_on"]), head - bundle["revision"]
    if left < 0:
        return "It has ended: without a line nothing answers there."
    old = f"{counted(behind, 'revision')} behind" if behind > 0 else ""
    day = "today" if left == 0 else f"in {counted(left, 'day')}"
    ends = f"ends {day}" if left <= ENDS_SOON_DAYS else ""
    said = "; ".join(filter(None, (old, ends)))
    return f"{said[:1].upper()}{said[1:]}." if said else ""


@page("/desk/shops", roles=KEEPERS)
def desk_shops(visit: Visit) -> str:
    """Every shop with the bundle that it pulled last."""
    cursor = request.args.get("cursor")
    told = visit.ask(get_shops, query={"limit": "100"} | ({"cursor": cursor} if cursor else {})).document
    return page_of("shops.html", shops=tuple(bundles_of(visit, told)), following=following(told, "/desk/shops"))
