from __future__ import annotations

from accord_service.api.answers import SourceEntry
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/sources/{name}",
    operation_id="readSource",
    tag="Book",
    as_of=True,
    answers=SourceEntry,
    parameters={"name": "name of the source"},
    examples=(Example("A source", path=lambda book: {"name": first_of(book, "sources")}),),
)
def get_source(call: Call) -> Answer:
    """Give one source, how far it can be trusted, and the rules and limits that rest on it."""
    book, name = call.book, call.path["name"]
    if name not in book.documents["sources"]:
        raise NotFound.in_book("source", "source", name, book.documents["sources"])
    source_entry = SourceEntry(
        book.revision,
        book.digest,
        id=name,
        entry=book.documents["sources"][name],
        rules=tuple(sorted(id_ for id_, rule in book.rules.items() if name in rule.sources)),
        steps=tuple(sorted(id_ for id_, step in book.steps.items() if name in step.sources)),
        limits=tuple(sorted(id_ for id_, limit in book.limits.items() if name in limit.sources)),
    )
    return Answer(source_entry.document())
