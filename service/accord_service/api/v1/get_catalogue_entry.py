from __future__ import annotations

from accord_rules.catalogue import KINDS
from accord_service.answers import CatalogueEntryAnswer
from accord_service.book import entry_of
from accord_service.endpoint import Answer, Asked, Example, endpoint
from accord_service.examples import first_of
from accord_service.problems import NotFound


@endpoint(
    "GET",
    "/v1/catalogue/{kind}/{entry}",
    tag="Book",
    answers=CatalogueEntryAnswer,
    parameters={"kind": "kind of entry: " + ", ".join(KINDS), "entry": "name of the entry"},
    statuses=(404,),
    examples=(Example("A blank", path=lambda room: {"kind": "blanks", "entry": first_of(room, "blanks")}),),
)
def get_catalogue_entry(asked: Asked) -> Answer:
    """Give one entry whole, with its units and sources; a product with what it takes from its family."""
    settings, kind, name = asked.room.settings, asked.path["kind"], asked.path["entry"]
    if kind not in KINDS or name not in settings.documents[kind]:
        raise NotFound(f"The book has no entry {name!r} of the kind {kind!r}.")
    return Answer(
        {
            "revision": settings.revision,
            "digest": settings.digest,
            "kind": kind,
            "id": name,
            "entry": entry_of(settings, kind, name),
        }
    )
