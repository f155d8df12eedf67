from __future__ import annotations

from accord_rules.documents.files import entry_of
from accord_rules.revision.catalogue import KINDS
from accord_service.api.answers import CatalogueEntry
from accord_service.api.endpoint import REVALIDATED, Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.steps.outcomes import shown

WITH_OUTCOMES = ("transfers", "products")


@endpoint(
    "GET",
    "/v1/catalogue/{kind}/{name}",
    operation_id="readEntry",
    tag="Book",
    as_of=True,
    answers=CatalogueEntry,
    parameters={"kind": "kind of entry", "name": "name of the entry"},
    choices={"kind": tuple(KINDS)},
    examples=(Example("A blank", path=lambda book: {"kind": "blanks", "name": first_of(book, "blanks")}),),
)
def get_catalogue_entry(call: Call) -> Answer:
    """Give one entry whole, with its units and sources; a product with what it takes from its family.

    With a transfer or a product stands how reported pieces of its family came out, by substrate and type of press.
    """
    book, kind, name = call.book, call.path["kind"], call.path["name"]
    if kind not in KINDS:
        raise NotFound.in_book("kind", "kind of entry", kind, KINDS)
    if name not in book.documents[kind]:
        if readings := book.readings(kind, name):
            raise NotFound.other_word("entry", name, readings)
        raise NotFound.in_book("entry", f"entry in {kind}", name, {*book.documents[kind], *book.aliases[kind]})
    entry = entry_of(book.documents, kind, name)
    outcomes = shown(call.room.tally.counts, entry["family"]) if kind in WITH_OUTCOMES else None
    catalogue_entry = CatalogueEntry(book.revision, book.digest, kind=kind, id=name, entry=entry, outcomes=outcomes)
    # Reports come in whatever the revision, so an answer with them is not one for good.
    return Answer(catalogue_entry.document(), headers={} if outcomes is None else {"Cache-Control": REVALIDATED})
