from __future__ import annotations

from accord_service.api.answers import LimitEntry
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.api.sourced import numbers_sourced
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer


@endpoint(
    "GET",
    "/v1/limits/{name}",
    operation_id="readLimit",
    tag="Book",
    as_of=True,
    answers=LimitEntry,
    parameters={"name": "name of the limit"},
    examples=(Example("A limit", path=lambda book: {"name": first_of(book, "limits")}),),
)
def get_limit(call: Call) -> Answer:
    """Give one limit: its value, which way is stricter, where it comes from and which rules and steps use it."""
    book, name = call.book, call.path["name"]
    if name not in book.documents["limits"]:
        raise NotFound.in_book("limit", "limit", name, book.documents["limits"])
    limit_entry = LimitEntry(
        book.revision,
        book.digest,
        id=name,
        entry=book.documents["limits"][name],
        kind=numbers_sourced(book, (name,))[0].kind,
        rules=tuple(sorted(rule.id for rule in book.rules.values() if name in rule.limits)),
        steps=tuple(sorted(step.id for step in book.steps.values() if name in step.limits)),
    )
    return Answer(limit_entry.document())
