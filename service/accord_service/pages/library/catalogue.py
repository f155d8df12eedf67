"""The catalogue: transfers, blanks, fibres, press types and whatever else an order names."""

from __future__ import annotations

from flask import Response, make_response, redirect

from accord_rules.revision.catalogue import KINDS
from accord_rules.revision.search import title_of
from accord_service.api.v1.get_catalogue_entry import get_catalogue_entry
from accord_service.api.v1.get_catalogue_kind import get_catalogue_kind
from accord_service.pages.library.asking import all_entries, history_of, shown_or_led_on, sources_of
from accord_service.pages.library.rendering import as_of, rendered, suffix
from accord_service.pages.library.showing import fields_of, units_of
from accord_service.pages.library.words import (
    BESIDE_CATALOGUE,
    address_of,
    address_of_kind,
)
from accord_service.pages.visit import Visit, page


@page("/library/catalogue/<kind>")
def catalogue_kind(visit: Visit, kind: str) -> Response | str:
    """Every entry of one kind."""
    if kind in BESIDE_CATALOGUE:
        return make_response(redirect(address_of_kind(kind) + suffix(), 303))
    entries = all_entries(visit, get_catalogue_kind, path={"kind": kind})
    rows = sorted(
        ({**entry, "title": title_of(kind, entry["id"], entry["entry"])} for entry in entries),
        key=lambda row: row["title"].lower(),
    )
    return rendered(
        "library_kind.html",
        kind=kind,
        rows=rows,
    )


@page("/library/catalogue/<kind>/<name>")
def catalogue_entry(visit: Visit, kind: str, name: str) -> Response | str:
    """One entry, field by field."""
    if kind in BESIDE_CATALOGUE:
        return make_response(redirect(address_of(kind, name) + suffix(), 303))

    def show() -> str:
        told = visit.ask(get_catalogue_entry, path={"kind": kind, "name": name}, query=as_of()).document
        entry = told["entry"]
        return rendered(
            "library_entry.html",
            entry=entry,
            title=title_of(kind, name, entry),
            fields=fields_of(KINDS[kind], entry, units_of(visit)),
            outcomes=told.get("outcomes"),
            sources=sources_of(visit, entry.get("sources", ())),
            history=history_of(visit, kind, name),
            kind=kind,
            name=name,
        )

    return shown_or_led_on(visit, kind, name, show)
