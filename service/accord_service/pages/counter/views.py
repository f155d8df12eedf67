"""The counter: an order is typed, its verdict stands beside it, and one click records it.

The address of the page is the order (``query``), so it is the link to share. Without JavaScript the form is sent by
its button, as POST since a form's empty fields would make an address too long, and leads to that address. With it
``/counter/verdict`` is asked while somebody types, and what takes longer (ranges, plans) after that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Response, make_response, redirect, render_template, request

from accord_rules.documents.reading import Fault
from accord_rules.orders.shop import Shop
from accord_service.api.request import timed
from accord_service.api.room import room
from accord_service.api.v1.post_envelope import post_envelope
from accord_service.api.v1.post_recommend import post_recommend
from accord_service.api.v1.post_records import post_records
from accord_service.api.v1.post_validate import post_validate
from accord_service.http.problems import FaultyDocument, NoShop, Problem
from accord_service.pages.counter.fields import form_of, lists_of
from accord_service.pages.counter.plans import plans_told
from accord_service.pages.counter.query import Pairs, TypedOrder, read_order, without_print
from accord_service.pages.counter.ranges import ranges_told
from accord_service.pages.counter.told import (
    Told,
    address_of,
    canonical,
    misread,
    nothing_told,
    told,
)
from accord_service.pages.visit import FORM_FIELDS, Visit, page
from accord_service.tables.fields import PRINTS

# What the form sends beside the order.
_ADD, _REMOVE, _SHOW = "add-print", "remove-print", "show"
# The service reads request lines of up to 4,094 bytes.
ADDRESS_MOST = 3800
_NO_ORDER = frozenset({_ADD, _REMOVE, _SHOW, *FORM_FIELDS})
RANGES, PLANS = "ranges", "plans"
_PLANS_MOST = "3"


@page("/counter", methods=("GET", "POST"))
def counter(visit: Visit) -> Response | str:
    """The form, and what the answer is to what stands in it."""
    if request.method == "POST":
        address = _sent()
        if len(address) > ADDRESS_MOST:  # it could be asked for by no request
            return _drawn(visit, read_order(_order_pairs(request.form)), "")
        return make_response(redirect(address, 303))
    return _drawn(visit, read_order(_order_pairs(request.args)), request.args.get(_SHOW, ""))


@page("/counter/verdict")
def counter_verdict(visit: Visit) -> str:
    """The part of the page that answers, for its script."""
    order = read_order(_order_pairs(request.args))
    answer = _answered(visit, order)[0]
    with timed("draw"):
        return render_template(
            "counter/verdict.html", told=answer, hidden=canonical(order), may_record=visit.may(post_records)
        )


@page("/counter/lists")
def counter_lists(visit: Visit) -> str:
    """The names that are offered while somebody types, for the script of the page: they are most of its bytes, and
    nobody needs them to begin."""
    return render_template("counter/lists.html", lists=lists_of(visit.snapshot.book, _shop(visit)))


@page("/counter/ranges")
def counter_ranges(visit: Visit) -> str:
    """The part with what is still allowed, for the script of the page."""
    return render_template("counter/ranges.html", **_ranges(visit, read_order(_order_pairs(request.args))))


@page("/counter/plans")
def counter_plans(visit: Visit) -> str:
    """The part with the best ways, for the script of the page."""
    return render_template("counter/plans.html", **_plans(visit, read_order(_order_pairs(request.args))))


@page("/counter/record", methods=("POST",))
def counter_record(visit: Visit) -> Response | str:
    """Record the order; what can't be recorded is shown with all that was typed."""
    order = read_order(_order_pairs(request.form))
    if order.faults:
        return _drawn(visit, order, "")
    try:
        record = visit.ask(post_records, document=order.document).document
    except Problem as problem:
        return make_response(_drawn(visit, order, "", refused=problem), problem.status)
    return make_response(redirect(f"/records/{record['record_id']}", 303))


def _order_pairs(values: Any) -> Pairs:
    return tuple((name, text) for name, text in values.items(multi=True) if name not in _NO_ORDER)


def _sent() -> str:
    """The address that the form's fields are; with one print more, or less, where its button was used."""
    order = read_order(_order_pairs(request.form))
    add, remove = request.form.get(_ADD), request.form.get(_REMOVE, "")
    if add is not None:
        pairs = tuple(pair for pair in order.pairs if pair[0] != PRINTS)
        return f"{address_of((*pairs, (PRINTS, str(order.print_count + 1))))}#f-{PRINTS}.{order.print_count}.transfer"
    if remove.isdecimal() and len(remove) < 3:
        return f"{address_of(without_print(order.pairs, int(remove), order.print_count))}#prints"
    return f"{address_of(canonical(order))}#verdict"


def _answered(visit: Visit, order: TypedOrder) -> tuple[Told, Sequence[Fault]]:
    """What is told of the order, and what of it can't be read."""
    if order.is_empty:
        return nothing_told(order), ()
    if order.faults:
        return misread(order, order.faults, visit.snapshot.book), order.faults
    try:
        with timed("answer"):
            verdict = visit.ask(post_validate, document=order.document).document
    except FaultyDocument as problem:
        return misread(order, problem.faults, visit.snapshot.book), problem.faults
    return told(verdict, order, visit.snapshot.book, _shop(visit)), ()


def _drawn(visit: Visit, order: TypedOrder, show: str, refused: Problem | None = None) -> str:
    """The whole page. ``show``: the part that is asked for as well; with a script it comes by itself."""
    shop = _shop(visit)
    answer, faults = _answered(visit, order)
    parts: dict[str, Any] = {}
    if not faults and not order.is_empty:
        parts |= _ranges(visit, order) if show == RANGES and answer.is_workable else {}
        parts |= _plans(visit, order) if show == PLANS else {}
    with timed("draw"):
        return render_template(
            "counter/page.html",
            form=form_of(order, faults, visit.snapshot.book, shop),
            order=order,
            told=answer,
            hidden=canonical(order),
            may_record=visit.may(post_records),
            refused=refused,
            show=show,
            **parts,
        )


def _ranges(visit: Visit, order: TypedOrder) -> dict[str, Any]:
    envelope = visit.ask(post_envelope, document=order.document).document
    on = ranges_told(envelope, order.print_count)
    at_fields: dict[str, list[str]] = {}
    for press in on:
        for row in press.rows:
            at_fields.setdefault(row.field, []).append(f"{press.press}: {row.text}" if len(on) > 1 else row.text)
    return {"ranges": on, "at_fields": at_fields, "ranges_complete": envelope["complete"]}


def _plans(visit: Visit, order: TypedOrder) -> dict[str, Any]:
    recommendation = visit.ask(post_recommend, query={"plans": _PLANS_MOST}, document=order.document).document
    ruled_out = [
        (
            ", ".join(out["titles"][:3]) + (" …" if len(out["titles"]) > 3 else ""),
            out["press"],
            out["findings"][0]["because"],
        )
        for out in recommendation["ruled_out"][:5]
        if out["findings"]
    ]
    return {
        "plans": plans_told(recommendation, order.print_count),
        "plans_complete": recommendation["complete"],
        "ruled_out": ruled_out,
    }


def _shop(visit: Visit) -> Shop:
    """The person's shop, as the book knows it. Raises NoShop, ShopDoesNotFit."""
    known = visit.caller.shop
    if known is None:
        raise NoShop(
            f"This {visit.caller.role}'s key belongs to no shop: sign in with a key of the shop that is meant."
        )
    return known.at(visit.snapshot.book, room().today)
