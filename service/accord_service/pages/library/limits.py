"""Limits, the numbers that rules compare with, and facts, the words that rules are written in."""

from __future__ import annotations

from itertools import groupby

from flask import Response

from accord_service.api.v1.get_fact import get_fact
from accord_service.api.v1.get_facts import get_facts
from accord_service.api.v1.get_limit import get_limit
from accord_service.api.v1.get_limits import get_limits
from accord_service.pages.library.asking import (
    all_entries,
    history_of,
    numbers_of,
    own_limits,
    shown_or_led_on,
    sources_of,
)
from accord_service.pages.library.rendering import as_of, rendered
from accord_service.pages.library.showing import Document, limit_step, limit_value, units_of
from accord_service.pages.library.words import FACT_GROUPS, SCOPE_WORDS
from accord_service.pages.visit import Visit, page


@page("/library/limits")
def library_limits(visit: Visit) -> str:
    """Every limit with its value in the visitor's units, by what it is about."""
    own, preferences = own_limits(visit), units_of(visit)
    rows = [
        {
            **limit,
            "value": limit_value(limit["entry"], preferences),
            "own": limit_value(limit["entry"], preferences, own[limit["id"]]) if limit["id"] in own else "",
        }
        for limit in all_entries(visit, get_limits)
    ]
    topics = {topic: list(of) for topic, of in groupby(rows, key=_topic)}
    return rendered(
        "library_limits.html",
        topics=topics,
        count=len(rows),
    )


def _topic(entry: Document) -> str:
    return str(entry["id"]).partition(".")[0]


@page("/library/limits/<name>")
def library_limit(visit: Visit, name: str) -> Response | str:
    """One limit."""

    def show() -> str:
        told = visit.ask(get_limit, path={"name": name}, query=as_of()).document
        (number,) = numbers_of(visit, (name,))
        return rendered(
            "library_limit.html",
            limit=told,
            entry=told["entry"],
            number=number,
            step=limit_step(told["entry"], units_of(visit)),
            sources=sources_of(visit, told["entry"]["sources"]),
            history=history_of(visit, "limits", name),
            kind="limits",
            name=name,
        )

    return shown_or_led_on(visit, "limits", name, show)


@page("/library/facts")
def library_facts(visit: Visit) -> str:
    """Every fact that rules may speak of."""
    facts = all_entries(visit, get_facts)
    topics = {topic: list(of) for topic, of in groupby(facts, key=_topic)}
    groups = [
        (heading, [(words, topics[topic]) for topic, words in of.items() if topic in topics])
        for heading, of in FACT_GROUPS
    ]
    return rendered(
        "library_facts.html",
        groups=groups,
        count=len(facts),
    )


@page("/library/facts/<name>")
def library_fact(visit: Visit, name: str) -> str:
    """One fact."""
    told = visit.ask(get_fact, path={"name": name}, query=as_of()).document
    return rendered(
        "library_fact.html",
        fact=told,
        scope_words=SCOPE_WORDS,
    )
