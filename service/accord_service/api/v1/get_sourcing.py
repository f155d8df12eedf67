from __future__ import annotations

from accord_rules.revision.catalogue import SOURCE_KINDS
from accord_rules.revision.sourcing import rooms_of, safety_limits_of
from accord_service.api.answers import SourcedRoom, Sourcing
from accord_service.api.endpoint import Call, always, endpoint
from accord_service.api.sourced import number_of
from accord_service.http.writing import Answer


@endpoint("GET", "/v1/sourcing", operation_id="readSourcing", tag="Book", as_of=True, answers=Sourcing, heavy=always)
def get_sourcing(call: Call) -> Answer:
    """Count the book's numbers by what they rest on, room by room, and list its safety limits, worst-sourced first.

    A number is as good as the weakest source it names; of a market's row it also counts how far the row was seen.
    """
    book = call.book
    sourcing = Sourcing(
        book.revision,
        book.digest,
        kinds=SOURCE_KINDS,
        rooms=tuple(SourcedRoom(room.id, room.total, room.counts) for room in rooms_of(book.documents, book.sources)),
        safety_limits=tuple(number_of(book, limit) for limit in safety_limits_of(book.limits, book.sources)),
    )
    return Answer(sourcing.document())
