"""The desk's first page: what needs attention, and the ways to everything else of the shop."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from flask import Response

from accord_rules.documents.counted import counted
from accord_service.api.v1.get_house_rules import get_house_rules
from accord_service.api.v1.get_shop import get_shop
from accord_service.api.v1.put_shop import put_shop
from accord_service.http.problems import Problem
from accord_service.pages.shop.asking import status_of, titles
from accord_service.pages.shop.rooms import shown
from accord_service.pages.visit import Visit, page

Document = Mapping[str, Any]
# The findings that ask for something; notes stand with their press.
PRESSING_LEVELS = ("blocks", "requires", "cautions")


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One thing that needs attention: what, why, what to do, and where."""

    title: str
    because: str
    fix: str
    address: str
    link: str


@page("/shop")
def shop_desk(visit: Visit) -> Response:
    """What needs attention first, then the presses and the way to the rest."""
    shop = visit.ask(get_shop).document
    status, refused = status_of(visit)
    calibration = {line["press"]: line for line in status["calibration"]} if status is not None else {}
    return shown(
        "desk",
        shop=shop,
        status=status,
        matters=tuple(_matters(shop, status, refused, {*titles(visit, "products"), *titles(visit, "consumables")})),
        calibration=calibration,
        types=titles(visit, "press_types"),
        names=press_names(shop),
        get_house_rules=get_house_rules,
        put_shop=put_shop,
        own_names=sum(map(len, shop.get("names", {}).values())),
    )


def press_names(shop: Document) -> dict[str, tuple[str, ...]]:
    """What the shop calls each of its presses, by the press's id."""
    words = shop.get("names", {}).get("presses", {})
    return {press["id"]: tuple(word for word, id_ in words.items() if id_ == press["id"]) for press in shop["presses"]}


def press_findings(status: Document | None, shop: Document, press_id: str) -> list[Document]:
    """What is told of one press whatever is pressed on it."""
    if status is None:
        return []
    place = next(index for index, press in enumerate(shop["presses"]) if press["id"] == press_id)
    return [finding for finding in status["findings"] if finding["pointer"] == f"/presses/{place}"]


def _matters(
    shop: Document, status: Document | None, refused: Problem | None, in_book: Collection[str]
) -> Iterator[Matter]:
    """``in_book``: the products and consumables that the book has."""
    if refused is not None:
        yield Matter(
            title=refused.title,
            because=refused.detail,
            fix="Until this is mended the shop's orders can't be judged.",
            address="/shop/house",
            link="House rules",
        )
    if status is None:
        return
    yield from _waiting(status["readings_waiting"] or (), {press["id"] for press in shop["presses"]})
    for press in shop["presses"]:
        for finding in press_findings(status, shop, press["id"]):
            if finding["level"] in PRESSING_LEVELS:
                yield Matter(
                    title=f"{press['id']}: {finding['title']}",
                    because=finding["because"],
                    fix=finding["fix"],
                    address=f"/shop/presses/{press['id']}",
                    link=f"Press {press['id']}",
                )
    for line in status["calibration"]:
        yield from _of_readings(line)
    for doubt in status["house_doubts"]:
        yield Matter(
            title=f"House rules: {doubt['limit']} lies far from the book's",
            because=doubt["because"],
            fix="Look at the value, and give it back to the book where it is not meant.",
            address=f"/shop/house/limits/{doubt['limit']}",
            link="The limit",
        )
    yield from _gone(shop["stock"], in_book)


def _gone(stock: Document, in_book: Collection[str]) -> Iterator[Matter]:
    gone = [name for name in (*stock["products"], *stock["consumables"]) if name not in in_book]
    if gone:
        names, have = ", ".join(name.replace("-", " ") for name in gone), "has" if len(gone) == 1 else "have"
        yield Matter(
            title=f"In stock, and no more in the book: {names}",
            because=f"{names[0].upper()}{names[1:]} {have} been taken out of the book since: no order is done with it.",
            fix="See in the library why, take it out of the stock, and stop using what is left.",
            address="/shop/stock",
            link="Stock",
        )


def _waiting(readings: Sequence[Document], press_ids: set[str]) -> Iterator[Matter]:
    """One matter a press; one a reading where its press is gone, since its page is gone with it."""
    for press_id, of_press in groupby(sorted(readings, key=lambda one: one["press_id"]), lambda one: one["press_id"]):
        waiting = list(of_press)
        if press_id in press_ids:
            count = len(waiting)
            yield Matter(
                title=f"{press_id}: {counted(count, 'reading waits', 'readings wait')} to be confirmed",
                because=" ".join(map(_read_by, waiting)),
                fix="Look at what waits beside what counts, then let the owner confirm it or take it back.",
                address=f"/shop/presses/{press_id}#readings",
                link=f"Readings of {press_id}",
            )
        else:
            yield from (_orphaned(reading) for reading in waiting)


def _read_by(reading: Document) -> str:
    who = (reading["entered_by"] or {}).get("holder") or "Somebody"
    return f"{who} read {', '.join(reading['surface'])} at a display of {reading['display']}."


def _orphaned(reading: Document) -> Matter:
    press_id = reading["press_id"]
    return Matter(
        title=f"{press_id}: a reading waits, and the press is gone",
        because=_read_by(reading),
        fix="Take it back.",
        address=f"/shop/presses/{press_id}/readings/{reading['reading_id']}/back",
        link="Take it back",
    )


def _of_readings(line: Document) -> Iterator[Matter]:
    press_id, address = line["press"], f"/shop/presses/{line['press']}#readings"
    if line["doubts"]:
        yield Matter(
            title=f"{press_id}: {counted(len(line['doubts']), 'doubt')} about its readings",
            because=line["doubts"][0],
            fix="Read it again with a contact probe in steady heat. If it is so, the rules reckon with it.",
            address=address,
            link=f"Readings of {press_id}",
        )
    if line["age_days"] is None:
        yield Matter(
            title=f"{press_id}: nobody wrote down when it was read",
            because="Readings without a day can't be told to be old.",
            fix="Read it again, and give the day.",
            address=address,
            link=f"Readings of {press_id}",
        )
