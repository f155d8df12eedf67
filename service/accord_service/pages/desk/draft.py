"""Drafting the change that stewards make most: another value for one limit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response, make_response, redirect, request

from accord_rules.documents import typed, units
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_limits import get_limits
from accord_service.api.v1.post_proposals import post_proposals
from accord_service.http.problems import NotFound, Problem
from accord_service.http.roles import MAY
from accord_service.pages.desk.words import Document, page_of
from accord_service.pages.forms import sentence_of
from accord_service.pages.numbers import whole
from accord_service.pages.visit import Visit, page
from accord_service.steps.readable import amount, with_units

_TYPED = ("value", "reason", "evidence")


@page("/desk/draft", methods=("GET", "POST"), roles=MAY["post_proposals"])
def desk_draft(visit: Visit) -> Response | str:
    """Choose a limit, say its new value and why, and it is a draft."""
    name = request.values.get("limit", "").strip()
    if not name:
        return _choosing(visit)
    try:
        told = visit.ask(get_limit, path={"name": name}).document
    except NotFound as problem:
        return make_response(_choosing(visit, name, problem), 404)
    if request.method == "GET":
        return _filling_in(told, {"value": amount(told["entry"])})
    typed = {field: request.form.get(field, "").strip() for field in _TYPED}
    try:
        made = visit.ask(post_proposals, document=_proposed(name, told["entry"], typed))
    except Problem as problem:
        return make_response(_filling_in(told, typed, problem), problem.status)
    return make_response(redirect(f"/desk/proposals/{made.document['proposal_id']}", 303))


def _proposed(name: str, entry: Document, typed: Mapping[str, str]) -> Document:
    """What is asked for, on the revision that the form was made from."""
    revision = request.form.get("revision", "")
    number = whole(revision)
    return {
        "base": {
            "revision": revision if number is None else number,
            "digest": request.form.get("digest", ""),
        },
        "changes": [{"kind": "limits", "id": name, "value": {**entry, "value": _in_book(entry, typed["value"])}}],
        "reason": typed["reason"],
        "evidence": typed["evidence"],
    }


def _in_book(entry: Document, text: str) -> Any:
    """A value as the book writes it: a plain number where the dimension has no unit to be mistaken, else as typed.

    What is no value stays as it was typed; the API says what is wrong with it.
    """
    if isinstance(entry["value"], str):
        return text
    symbol = units.DIMENSIONS[entry["dimension"]].symbol
    try:
        return typed.number((text.removesuffix(symbol) if symbol else text).strip(), whole=False)
    except typed.TypedError:
        return text


def _choosing(visit: Visit, name: str = "", problem: Problem | None = None) -> str:
    return page_of("draft_choice.html", limits=visit.entries(get_limits), name=name, problem=problem, amount=amount)


def _filling_in(told: Document, typed: Mapping[str, str], problem: Problem | None = None) -> str:
    faults = {} if problem is None else _by_field(problem)
    return page_of(
        "draft.html",
        limit=told,
        shown=with_units("limits", told["entry"]),
        typed=typed,
        problem=problem,
        faults=faults,
    )


def _by_field(problem: Problem) -> Mapping[str, str]:
    """Each fault beside the field that it is about; the rest under an empty name."""
    faults: dict[str, str] = {}
    for fault in problem.faults:
        last = fault.pointer.rpartition("/")[2]
        field = last if last in _TYPED else ""
        sentence = sentence_of(fault)
        faults[field] = f"{faults[field]} {sentence}" if field in faults else sentence
    return faults
