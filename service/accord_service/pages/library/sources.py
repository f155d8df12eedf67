"""What the book's numbers rest on, and how well."""

from __future__ import annotations

from itertools import groupby

from flask import Response

from accord_rules.revision.catalogue import SOURCE_KINDS, SUBJECTS
from accord_service.api.v1.get_source import get_source
from accord_service.api.v1.get_sources import get_sources
from accord_service.pages.library.asking import all_entries, history_of, shown_or_led_on
from accord_service.pages.library.rendering import as_of, rendered
from accord_service.pages.library.showing import Document
from accord_service.pages.visit import Visit, page


@page("/library/sources")
def library_sources(visit: Visit) -> str:
    """Every source, the best kind first."""
    sources = sorted(all_entries(visit, get_sources), key=_rank)
    kinds = {kind: list(of) for kind, of in groupby(sources, key=lambda source: source["entry"]["kind"])}
    return rendered(
        "library_sources.html",
        kinds=kinds,
        count=len(sources),
    )


def _rank(source: Document) -> tuple[int, str]:
    return SOURCE_KINDS.index(source["entry"]["kind"]), source["entry"]["title"].lower()


@page("/library/sources/<name>")
def library_source(visit: Visit, name: str) -> Response | str:
    """One source, and what rests on it."""

    def show() -> str:
        told = visit.ask(get_source, path={"name": name}, query=as_of()).document
        return rendered(
            "library_source.html",
            source=told,
            entry=told["entry"],
            subjects=SUBJECTS,
            history=history_of(visit, "sources", name),
            kind="sources",
            name=name,
        )

    return shown_or_led_on(visit, "sources", name, show)
