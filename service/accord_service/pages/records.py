"""Orders that the shop recorded: the latest, one with the answer it was given, and how its pieces came out."""

from __future__ import annotations

from collections.abc import Mapping

from flask import Response, make_response, redirect, render_template, request

from accord_rules.documents import typed
from accord_rules.orders.shop import FAILURES
from accord_service.api.governance_answers import RESULTS
from accord_service.api.room import room
from accord_service.api.v1.get_record import get_record
from accord_service.api.v1.get_record_outcomes import get_record_outcomes
from accord_service.api.v1.get_records import get_records
from accord_service.api.v1.post_record_outcomes import post_record_outcomes
from accord_service.http.problems import FaultyDocument, Problem
from accord_service.pages.counter.query import NotInAQueryError, pairs_of, read_order
from accord_service.pages.counter.told import address_of, sign_of, told
from accord_service.pages.visit import Page, Visit, page

_REPORTED = ("result", "failure", "washes", "decoration", "note")
_NUMBERS = ("washes", "decoration")


@page("/records")
def records(visit: Visit) -> str:
    """The latest, or those of one reference."""
    query = {name: text for name in ("reference", "cursor") if (text := request.args.get(name, "").strip())}
    listed = visit.ask(get_records, query=query).document
    # The API's own address of the next page, as this page's.
    following = None if listed["next"] is None else "/records" + listed["next"].removeprefix("/v1/records")
    return render_template(
        "records/list.html",
        records=listed["entries"],
        following=following,
        reference=query.get("reference", ""),
        sign_of=sign_of,
    )


@page("/records/<record_id>")
def record(visit: Visit, record_id: str) -> str:
    """One record: the order, and the answer that it was given."""
    return _drawn(visit, record_id)


@page("/records/<record_id>/outcomes", methods=("POST",))
def record_outcomes(visit: Visit, record_id: str) -> Response:
    """How one pressed piece came out; a report that can't be taken is shown again as it was written."""
    sent = {name: text for name in _REPORTED if (text := request.form.get(name, "").strip())}
    document = {name: _said(name, text) for name, text in sent.items()}
    try:
        visit.ask(post_record_outcomes, path={"record_id": record_id}, document=document)
    except Problem as problem:
        return make_response(_drawn(visit, record_id, sent, problem), problem.status)
    return make_response(redirect(f"/records/{record_id}#outcomes", 303))


def _said(name: str, text: str) -> int | str:
    """A report's field as the API takes it; a number that can't be read stays as typed, and is refused at its field."""
    if name not in _NUMBERS:
        return text
    try:
        return int(typed.number(text, whole=True))
    except typed.TypedError:
        return text


def _drawn(visit: Visit, record_id: str, sent: Mapping[str, str] | None = None, refused: Problem | None = None) -> str:
    path = {"record_id": record_id}
    kept = visit.ask(get_record, path=path).document
    outcomes = visit.ask(get_record_outcomes, path=path).document["entries"]
    shop = visit.caller.shop
    assert shop is not None, "get_record is refused to a key without a shop"
    order = kept["order"] | ({} if kept["reference"] is None else {"reference": kept["reference"]})
    try:
        pairs = pairs_of(order)
    except NotInAQueryError:  # recorded by a program; the answer stands without the way back to the counter
        pairs = ()
    prints = len(order["decorations"])
    shown = told(kept["answer"], read_order(pairs), visit.snapshot.book, shop.at(visit.snapshot.book, room().today))
    faults = refused.faults if isinstance(refused, FaultyDocument) else ()
    return render_template(
        "records/record.html",
        record=kept,
        # What an old answer rests on is what the book said then.
        under=f"?revision={kept['answer']['revision']}",
        told=shown,
        again=address_of(pairs) if pairs else None,
        outcomes=outcomes,
        prints=prints,
        sent=sent or {},
        refused=refused,
        faults={fault.pointer.strip("/"): fault for fault in faults},
        results=RESULTS,
        failures=FAILURES,
        may_report=visit.may(post_record_outcomes) and kept["verdict"] != "rejected",
    )


RECORD_PAGES: tuple[Page, ...] = (records, record, record_outcomes)
