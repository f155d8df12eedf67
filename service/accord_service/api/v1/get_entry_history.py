from __future__ import annotations

from itertools import islice

from accord_rules.governance.changes import CHANGEABLE
from accord_service.api.endpoint import Call, Example, endpoint
from accord_service.api.examples import first_of
from accord_service.api.governance_answers import EntryHistory, EntryRevision, RevisionLine
from accord_service.api.proposals import revision_lines
from accord_service.api.shop_answers import PlaceChange
from accord_service.api.versions import CHANGES_MOST
from accord_service.http.paging import PageQuery, next_address, number_in
from accord_service.http.problems import NotFound
from accord_service.http.writing import Answer
from accord_service.steps.history import CHANGED, EntryDifference
from accord_service.steps.versions import differences


@endpoint(
    "GET",
    "/v1/history/{kind}/{name}",
    operation_id="listEntryChanges",
    tag="Changes",
    answers=EntryHistory,
    query=PageQuery,
    parameters={"kind": "kind of entry", "name": "its name"},
    choices={"kind": tuple(CHANGEABLE)},
    examples=(Example("A rule", path=lambda book: {"kind": "rules", "name": first_of(book, "rules")}),),
)
def get_entry_history(call: Call) -> Answer:
    """List the revisions that changed an entry of the book, newest first: what changed, who decided it, and why.

    It tells of entries that are gone as well. A page may have fewer than were asked for, even none, and a next: so
    many revisions are looked at for one.
    """
    kind, name, head = call.path["kind"], call.path["name"], call.room.store.revisions.head()
    if kind not in CHANGEABLE:
        raise NotFound.in_book("kind", "kind of entry", kind, CHANGEABLE)
    newest = min(head.number, number_in(call.query) or head.number)
    past = call.room.changelog.past(kind, name, head, newest, call.query.limit)
    if not past.changes and not past.further and newest == head.number:
        raise NotFound.in_book("name", f"entry in {kind}, nor was there ever one,", name, call.book.documents[kind])
    address = f"/v1/history/{kind}/{name}"
    lines = revision_lines(call, [record for record, _ in past.changes])
    entries = tuple(_told(line, difference) for line, (_, difference) in zip(lines, past.changes, strict=True))
    following = next_address(address, str(past.further) if past.further else None, call.query)
    return Answer(EntryHistory(kind=kind, id=name, head=head.number, entries=entries, next=following).document())


def _told(line: RevisionLine, difference: EntryDifference) -> EntryRevision:
    places = tuple(differences(difference.before, difference.after)) if difference.what == CHANGED else ()
    first = tuple(
        PlaceChange(pointer=place.pointer, before=place.before, after=place.after)
        for place in islice(places, CHANGES_MOST)
    )
    return EntryRevision(line=line, what=difference.what, changes=first, changes_left_out=len(places) - len(first))
