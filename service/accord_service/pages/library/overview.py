"""The way into the library: its kinds, and the search."""

from __future__ import annotations

from flask import request

from accord_rules.revision.search import KINDS as SEARCHED
from accord_service.api.v1.get_catalogue import get_catalogue
from accord_service.api.v1.get_limits import get_limits
from accord_service.api.v1.get_rules import get_rules
from accord_service.api.v1.get_search import WORDS_MOST, get_search
from accord_service.api.v1.get_sources import get_sources
from accord_service.api.v1.get_steps import get_steps
from accord_service.http.problems import BadQuery
from accord_service.pages.library.asking import all_entries
from accord_service.pages.library.rendering import as_of, rendered
from accord_service.pages.library.words import GROUPS, KIND_WORDS, about
from accord_service.pages.visit import Visit, page

_LISTS = {"rules": get_rules, "limits": get_limits, "steps": get_steps, "sources": get_sources}
_HITS_MOST = "30"


@page("/library")
def library(visit: Visit) -> str:
    """Every kind of entry with how many there are, below the search."""
    told = visit.ask(get_catalogue, query=as_of()).document
    counts = {kind["kind"]: kind["count"] for kind in told["entries"]}
    counts |= {kind: len(all_entries(visit, asked)) for kind, asked in _LISTS.items()}
    return rendered(
        "library.html",
        groups=GROUPS,
        counts=counts,
        about=about,
        revision=told["revision"],
    )


@page("/library/search")
def library_search(visit: Visit) -> str:
    """What a few words are about, best first. With ``part=results`` the list alone, for while somebody types."""
    typed, kind = " ".join(request.args.get("q", "").split())[:WORDS_MOST], request.args.get("kind", "")
    query = {"limit": _HITS_MOST, **as_of(), **({"kind": kind} if kind else {})}
    refused, found = "", None
    if typed:
        try:
            found = visit.ask(get_search, query={**query, "q": typed}).document
        except BadQuery as problem:
            refused = problem.detail
    template = "library_results.html" if request.args.get("part") == "results" else "library_search.html"
    return rendered(
        template,
        typed=typed,
        only=kind,
        found=found,
        refused=refused,
        searched=[searched for searched in KIND_WORDS if searched in SEARCHED],
    )
