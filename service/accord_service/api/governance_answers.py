"""The shapes of what is said about revisions, proposals, verdict records, outcomes and the audit."""

from __future__ import annotations

from marshmallow import fields

from accord_rules.governance.changes import CHANGEABLE
from accord_rules.governance.proposal import STATES
from accord_rules.verdict import VERDICTS
from accord_service.api.answers import (
    FindingAnswer,
    Shape,
    VerdictAnswer,
    flag,
    several,
    table,
    text,
    texts,
    whole,
    word,
)
from accord_service.store import Event

WAYS = ("stricter", "looser", "equal", "mixed")
SOURCES = ("recorded", "edge")
REPLAYED_VERDICTS = (*VERDICTS, "unreadable")
RESULTS = ("good", "failed")


def time(about: str) -> fields.String:
    return text(f"{about}, UTC")


def text_or_null(about: str) -> fields.String:
    return text(f"{about}; may be null", allow_none=True)


def next_page() -> fields.String:
    return text("address of the next page; null on the last", allow_none=True)


# -- revisions --------------------------------------------------------------------------------------------------------


class RevisionLineAnswer(Shape):
    """One revision of the book, without the book."""

    number = whole("its number, from 1 without gaps")
    digest = text("SHA-256 of the book's canonical JSON")
    author_id = text("who proposed it: the id of a key, or the part of the program")
    approver_ids = texts("ids of the keys that approved it")
    reason = text("why")
    proposal_id = text_or_null("the proposal it came from")
    published_at = time("when it was published")


class RevisionsAnswer(Shape):
    """A page of the revisions, newest first."""

    head = whole("the number of the revision that holds")
    entries = several(RevisionLineAnswer, "newest first")
    next = next_page()


class RevisionAnswer(RevisionLineAnswer):
    """One revision of the book; the whole of it where that was asked for."""

    documents = fields.Dict(
        keys=fields.String(), metadata={"description": "the book by kind and entry; only with documents=true"}
    )


class BookChangeShownAnswer(Shape):
    """One entry of the book that is set, or taken out."""

    kind = word("the kind of entry", CHANGEABLE)
    id = text("its name")
    value = fields.Dict(
        required=True, allow_none=True, metadata={"description": "the entry as the book writes it; null: taken out"}
    )
    before = fields.String(metadata={"description": 'digest of the entry as it was, "none" where there was none'})


class RevisionChangesAnswer(Shape):
    """What one revision changed of the one before."""

    number = whole("the revision")
    digest = text("its digest")
    changes = several(BookChangeShownAnswer, "every entry that differs; empty for the first")


# -- proposals --------------------------------------------------------------------------------------------------------


class BaseShownAnswer(Shape):
    """The revision a proposal starts from."""

    revision = whole("its number")
    digest = text("its digest")


class ApprovalShownAnswer(Shape):
    """Who approved, and exactly what."""

    key_id = text("the id of the key")
    role = text("its role then")
    change_digest = text("digest of the changes approved")
    base_digest = text("digest of the base")
    replay_digest = text("digest of the effect that was seen")
    lapsed = text_or_null("why it does not count any more")


class DigestsAnswer(Shape):
    """What an approval has to repeat. They are the proposal's own as it is now."""

    change_digest = text("digest of the changes")
    base_digest = text("digest of the base")
    replay_digest = text_or_null("digest of the effect; null before it was opened")


class ShownEffectAnswer(Shape):
    """What the effect came to, as far as approvals need it."""

    replay_digest = text("digest of the effect")
    loosens_safety = texts("why two stewards are needed; empty where one will do")


class ProposalAnswer(Shape):
    """A change of the book that somebody asks for."""

    id = text("its id")
    state = word("where it is in its life; void: the head has moved on from its base", STATES)
    base = fields.Nested(BaseShownAnswer, required=True)
    changes = several(BookChangeShownAnswer, "what it asks to be different")
    reason = text("why")
    evidence = text("on what evidence")
    author_id = text("who made it: the id of a key, or the part of the program")
    approvals = several(ApprovalShownAnswer, "approvals given, those that lapsed too")
    shown = fields.Nested(ShownEffectAnswer, required=True, allow_none=True)
    ended_because = text_or_null("why it was declined, withdrawn or became void")
    digests = fields.Nested(DigestsAnswer, required=True)
    approvals_needed = whole("2, of two shops, where it loosens what keeps people safe, else 1")
    approvals_valid = whole("how many count")
    version = whole("its version; the ETag names it too")
    created_at = time("when it was made")
    changed_at = time("when it last changed")


class ProposalsAnswer(Shape):
    """A page of proposals, newest first."""

    entries = several(ProposalAnswer, "newest first")
    next = next_page()


class PublishedAnswer(Shape):
    """What a publication came to."""

    revision = whole("the number of the new revision")
    digest = text("its digest")
    proposal = fields.Nested(ProposalAnswer, required=True)


class EntryNameAnswer(Shape):
    """An entry of the book."""

    kind = word("the kind of entry", CHANGEABLE)
    id = text("its name")


class DecisionAnswer(Shape):
    """What a change does as a whole."""

    kind = word("which way", WAYS)
    decided = word("exactly: from the rules' conditions; by replay: on the orders tried", ("exactly", "by replay"))
    holds_for = text("for which orders that holds")
    because = texts("why, in sentences")


class FlipCountAnswer(Shape):
    """How many orders of a shop one rule turns one way."""

    source = word("recorded: asked by a shop; edge: made at the edge of a threshold", SOURCES)
    shop = text("the shop")
    rule = text("the rule")
    direction = word("which way", ("stricter", "looser"))
    orders = whole("orders it says something else about")
    verdicts = whole("those of them whose verdict differs")


class FlipAnswer(Shape):
    """One order that one rule says something else about."""

    source = word("recorded or edge", SOURCES)
    shop = text("the shop")
    order = text("the verdict's id, or the name of the edge case")
    rule = text("the rule")
    direction = word("which way", ("stricter", "looser"))
    before = word("verdict under the base", REPLAYED_VERDICTS)
    after = word("verdict with the changes", REPLAYED_VERDICTS)


class FlipWitnessAnswer(FlipAnswer):
    """An order that shows a flip: it can be sent as it is."""

    asked = table("the order")


class ReplayedCountAnswer(Shape):
    """How many orders were judged under both."""

    recorded = whole("recorded orders")
    recorded_left_out = whole("recorded orders left out for their number; 1 may stand for more")
    edges = whole("orders at edges")
    edges_left_out = whole("1 where there were more")


class EffectAnswer(Shape):
    """What a proposal would do, order by order. Approvals bind to its digest."""

    proposal_id = text("the proposal")
    replay_digest = text("digest of this effect")
    old = text("digest of the base")
    new = text("digest of the book with the changes")
    code = text("digest of the code that judged")
    changes = several(EntryNameAnswer, "what is changed")
    decision = fields.Nested(DecisionAnswer, required=True)
    loosens_safety = texts("each safety limit or rule that is loosened")
    counts = several(FlipCountAnswer, "flips by shop, rule and direction")
    flips = several(FlipAnswer, "every flip")
    witnesses = several(FlipWitnessAnswer, "one order for each rule and direction")
    watched = table("watched rule to the recorded orders it holds for", fields.Integer(strict=True))
    replayed = fields.Nested(ReplayedCountAnswer, required=True)
    others_left_out = flag("whether flips of other shops' recorded orders are left out, as for all but stewards")


# -- verdict records --------------------------------------------------------------------------------------------------


class VerdictRecordAnswer(Shape):
    """A verdict as it was given, and the order it was given on."""

    id = text("the verdict's id")
    recorded_at = time("when it was recorded")
    expires_at = text_or_null("when it goes, UTC; null: kept for good")
    code = text("digest of the code that judged")
    reference = text_or_null('the shop\'s own; "masked" once masked')
    order = table("the order, without its reference")
    verdict = fields.Nested(VerdictAnswer, required=True)


class DifferenceAnswer(Shape):
    """What made a difference; null where that can't be told any more."""

    code = flag("the version of the service", allow_none=True)
    book = flag("the revision of the book", allow_none=True)
    house = flag("the shop's presses, stock, units or house rules", allow_none=True)


class ReplayAnswer(Shape):
    """A recorded order asked again, and how the answer differs."""

    id = text("the recorded verdict")
    recorded_revision = whole("the revision it was given under")
    revision = whole("the revision it is asked again under")
    then = word("the verdict as it was", REPLAYED_VERDICTS)
    now = word("the verdict as it is", REPLAYED_VERDICTS)
    same = flag("whether the answer says the same of the order, to the word")
    made_a_difference = fields.Nested(DifferenceAnswer, required=True)
    why = text("why there is no answer now; empty where there is one")
    appeared = several(FindingAnswer, "findings that were not there")
    gone = several(FindingAnswer, "findings that are not there any more")
    changed = several(FindingAnswer, "findings that say something else, as they are now")
    verdict = fields.Nested(VerdictAnswer, required=True, allow_none=True)


# -- outcomes ---------------------------------------------------------------------------------------------------------


class OutcomeReportAnswer(Shape):
    """How one pressed piece came out."""

    id = text("the report's id")
    verdict = text("the verdict it was pressed under")
    decoration = whole("which decoration of the order")
    result = word("how it came out", RESULTS)
    failure = fields.String(
        required=True, allow_none=True, metadata={"description": "what failed; null for a good piece"}
    )
    washes = fields.Integer(
        required=True, allow_none=True, strict=True, metadata={"description": "after how many washes; null: not said"}
    )
    note = text_or_null("the shop's own words")
    transfer = text("the transfer family it counts for")
    substrate = text("the substrate it counts for")
    press_type = text("the type of press it counts for")
    at = time("when it was reported")


class OutcomesAnswer(Shape):
    """The reports on one verdict."""

    entries = several(OutcomeReportAnswer, "oldest first")


class OutcomeAddedAnswer(Shape):
    """A report, and the proposal it drafted if it made the outcomes poor."""

    outcome = fields.Nested(OutcomeReportAnswer, required=True)
    drafted = text_or_null("the id of the drafted proposal")


# -- audit ------------------------------------------------------------------------------------------------------------


class AuditEntryAnswer(Shape):
    """One write to the store, sealed to the one before."""

    seq = whole("its number, from 1 without gaps")
    written_at = time("when, as it was sealed")
    actor_id = text("the id of the key, or the part of the program, that did it")
    event = word("what was done", tuple(Event))
    subject_id = text_or_null("to what, by its id or number; null: to several")
    written = table("name of a document to the SHA-256 of what it got; null: taken away", fields.Raw(allow_none=True))
    previous = text("the hash before")
    hash = text("SHA-256 of this entry's canonical JSON without the hash")


class AuditHeadAnswer(Shape):
    """Where the audit ends."""

    seq = whole("how many entries there are")
    hash = text("the hash of the last")


class AuditAnswer(Shape):
    """A page of the audit, oldest first."""

    head = fields.Nested(AuditHeadAnswer, required=True)
    entries = several(AuditEntryAnswer, "oldest first")
    next = next_page()
