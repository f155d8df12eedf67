"""The pages of a job ticket: the ticket as a page that prints as its sheets, and the sheets as PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from flask import Response, make_response, redirect, render_template, request, url_for

from accord_rules.documents.reading import Fault
from accord_rules.documents.units import TEMPERATURE, show
from accord_service.api.v1.get_record import get_record
from accord_service.api.v1.get_record_ticket import get_record_ticket
from accord_service.api.v1.get_revision import get_revision
from accord_service.http.problems import BadQuery
from accord_service.pages.counter.query import NotInAQueryError, pairs_of
from accord_service.pages.counter.told import address_of
from accord_service.pages.ticket.chart import chart_scene
from accord_service.pages.ticket.letters import in_plain_letters
from accord_service.pages.ticket.pdf import pdf
from accord_service.pages.ticket.sheet import code_scene, sheets
from accord_service.pages.ticket.stack import layer_words, stack_scene
from accord_service.pages.ticket.svg import svg
from accord_service.pages.ticket.told import PAPERS, Told, paper_of, told_of, with_times
from accord_service.pages.visit import Page, Visit, page

# The drawings on the page: as wide and with letters as large as they can be read on a phone, mm.
_WIDE, _LETTERS, _CODE = 80.0, 3.0, 30.0


@page("/records/<record_id>/ticket")
def ticket(visit: Visit, record_id: str) -> str:
    """The ticket of a recorded order, on the best press or the one that is chosen; why there is none, where there is
    none."""
    document, record = _asked(visit, record_id), _record(visit, record_id)
    paper = _paper(document)
    if document["plan"] is None:
        return render_template("ticket/none.html", ticket=document, again=_again(record))
    told = _told(visit, document, record)
    return render_template(
        "ticket/ticket.html",
        ticket=document,
        told=told,
        paper=paper,
        papers=PAPERS,
        again=_again(record),
        sheets=[svg(scene, name=f"sheet-{number}", hidden=True) for number, scene in enumerate(sheets(told, paper))],
        code=svg(code_scene(told.verdict_id, _CODE), name="code"),
        stack_drawing=lambda layers, title, name: svg(stack_scene(layers, _WIDE, _LETTERS, title), name=name),
        chart_drawing=lambda set_, name: svg(chart_scene(set_, told.units, _WIDE, 0.0, _LETTERS), name=name),
        layer_words=layer_words,
        whole_degrees=lambda value_c: show(TEMPERATURE, value_c, told.units),
        with_times=with_times,
    )


@page("/records/<record_id>/ticket.pdf")
def ticket_pdf(visit: Visit, record_id: str) -> Response:
    """The same sheets as a file; an order that has no ticket leads to the page that says why."""
    document = _asked(visit, record_id)
    paper = _paper(document)
    if document["plan"] is None:
        return make_response(redirect(url_for("page_ticket", record_id=record_id), 303))
    told = _told(visit, document, _record(visit, record_id))
    subject = f"{told.press}; verdict {told.verdict_id}, book revision {told.revision}"
    content = pdf(sheets(in_plain_letters(told), paper), PAPERS[paper], title=told.title, subject=subject)
    response = Response(content, mimetype="application/pdf")
    name = re.sub("[^A-Za-z0-9._-]+", "-", document["reference"] or record_id)
    response.headers["Content-Disposition"] = f'inline; filename="ticket-{name}.pdf"'
    return response


def _asked(visit: Visit, record_id: str) -> Mapping[str, Any]:
    query = {"press": request.args["press"]} if request.args.get("press") else {}
    return visit.ask(get_record_ticket, path={"record_id": record_id}, query=query).document


def _paper(document: Mapping[str, Any]) -> str:
    """The paper that is chosen, else the shop's. Raises BadQuery for one that there is not."""
    chosen = request.args.get("paper") or paper_of(document["unit_system"])
    if chosen not in PAPERS:
        message = "is no paper that tickets are laid out for"
        raise BadQuery(faults=[Fault("/paper", message, tuple(PAPERS), code="not-allowed", refused=chosen)])
    return chosen


def _record(visit: Visit, record_id: str) -> Mapping[str, Any]:
    return visit.ask(get_record, path={"record_id": record_id}).document


def _told(visit: Visit, document: Mapping[str, Any], record: Mapping[str, Any]) -> Told:
    revision = visit.ask(get_revision, path={"revision": f"{document['revision']}"})
    return told_of(document, revision.document, record["answer"])


def _again(record: Mapping[str, Any]) -> str | None:
    """The counter with the order in it; None where a program recorded what the counter has no fields for."""
    order = record["order"] | ({} if record["reference"] is None else {"reference": record["reference"]})
    try:
        return address_of(pairs_of(order))
    except NotInAQueryError:
        return None


TICKET_PAGES: tuple[Page, ...] = (ticket, ticket_pdf)
