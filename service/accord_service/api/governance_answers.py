"""The shapes of what is said about revisions, proposals, records, outcomes and the audit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import (
    INSTANT_OR_NULL,
    INTEGER,
    STRING,
    STRING_OR_NULL,
    STRINGS,
    Free,
    Nullable,
    listed,
    mapped,
)
from accord_rules.documents.reading import Choice, Flag, Object, optional, required
from accord_rules.documents.units import UNIT_SYSTEMS
from accord_rules.documents.writing import Documented
from accord_rules.governance.changes import EntryChange
from accord_rules.governance.comparison import FlipCount
from accord_rules.governance.effect import Effect
from accord_rules.governance.limits import EQUAL, LOOSER, STRICTER
from accord_rules.governance.proposal import Base, ShownEffect
from accord_rules.governance.words import STATES
from accord_rules.orders.order import Order
from accord_rules.verdict import VERDICTS, Finding, Plan, Verdict
from accord_service.api.answers import Document, Signatory, next_page, time
from accord_service.api.shop_answers import PlaceChange
from accord_service.steps.history import WHAT
from accord_service.steps.outcomes import TransferOutcomes
from accord_service.steps.runs import EFFECT_STATES
from accord_service.steps.tickets import CHANGEABLE
from accord_service.store import FAULTS, Event

REPLAYED_VERDICTS = (*VERDICTS, "unreadable")
RESULTS = ("good", "failed")


def _changes(about: str) -> Any:
    return required(listed(Object(EntryChange)), about)


# -- revisions --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisionLine(Documented):
    """One revision of the book, without the book."""

    revision: int = required(INTEGER, "its number, from 1 without gaps")
    digest: str = required(STRING, "SHA-256 of the book's canonical JSON")
    author_id: str = required(STRING, "who proposed it: the id of a key, or the part of the program")
    author: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null for a part of the program")
    approver_ids: tuple[str, ...] = required(STRINGS, "ids of the keys that approved it")
    approvers: tuple[Signatory, ...] = required(listed(Object(Signatory)), "who they are")
    reason: str = required(STRING, "why")
    proposal_id: str | None = required(STRING_OR_NULL, "the proposal it came from; may be null")
    published_at: str = time("when it was published")


@dataclass(frozen=True, slots=True)
class Revisions(Documented):
    """A page of the revisions, newest first."""

    head: int = required(INTEGER, "the number of the revision that holds")
    entries: tuple[RevisionLine, ...] = required(listed(Object(RevisionLine)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class Revision(Documented):
    """One revision of the book; the whole of it where that was asked for."""

    line: RevisionLine = required(Object(RevisionLine), "the revision", spread=True)
    documents: Document | None = optional(
        Free(why="entries are shown by the reads of the book"),
        about="the book by kind and entry; only with documents=true",
    )


@dataclass(frozen=True, slots=True)
class ShownChange(Documented):
    """One entry that differs, beside what it was."""

    change: EntryChange = required(Object(EntryChange), "the change", spread=True)
    was: Document | None = required(
        Nullable(Free(why="an entry as the book writes it; reads of the book show each kind")),
        "the entry before; null where there was none",
    )
    direction: str | None = required(
        Nullable(Choice((STRICTER, LOOSER, EQUAL))),
        "which way a limit's value goes, by what the book declares stricter; null for what is no limit's value",
    )


@dataclass(frozen=True, slots=True)
class RevisionChanges(Documented):
    """What one revision changed of the one before."""

    revision: int = required(INTEGER, "the revision")
    digest: str = required(STRING, "its digest")
    changes: tuple[ShownChange, ...] = required(
        listed(Object(ShownChange)), "every entry that differs; empty for the first"
    )


@dataclass(frozen=True, slots=True)
class ProposalChanges(Documented):
    """What a proposal changes of its base."""

    proposal_id: str = required(STRING, "the proposal")
    base: Base = required(Object(Base), "the revision it starts from")
    changes: tuple[ShownChange, ...] = required(
        listed(Object(ShownChange)), "what it asks to be different, in the order of the proposal"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryRevision(Documented):
    """A revision that changed an entry of the book."""

    line: RevisionLine = required(Object(RevisionLine), "the revision", spread=True)
    what: str = required(Choice(WHAT), "what it did: the entry was added, changed or removed")
    changes: tuple[PlaceChange, ...] = required(
        listed(Object(PlaceChange)), "where the entry differs from before; empty unless it was changed"
    )
    changes_left_out: int = required(INTEGER, "how many places more differ")


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryHistory(Documented):
    """A page of the revisions that changed one entry, newest first."""

    kind: str = required(STRING, "its kind")
    id: str = required(STRING, "its name")
    head: int = required(INTEGER, "the number of the revision that holds")
    entries: tuple[EntryRevision, ...] = required(listed(Object(EntryRevision)), "newest first")
    next: str | None = next_page()


# -- proposals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownApproval(Documented):
    """Who approved, and exactly what."""

    key_id: str = required(STRING, "the id of the key")
    by: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null where nobody knows the key")
    change_digest: str = required(STRING, "digest of the changes approved")
    base_digest: str = required(STRING, "digest of the base")
    replay_digest: str = required(STRING, "digest of the effect that was seen")
    lapsed: str | None = required(STRING_OR_NULL, "why it does not count; may be null")


@dataclass(frozen=True, slots=True)
class Digests(Documented):
    """What an approval has to repeat. They are the proposal's own as it is now."""

    change_digest: str = required(STRING, "digest of the changes")
    base_digest: str = required(STRING, "digest of the base")
    replay_digest: str | None = required(STRING_OR_NULL, "digest of the effect; null before it was opened")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalStatus(Documented):
    """What became of a change of the book that somebody asks for; what it asks for stands without /status."""

    proposal_id: str | None = required(STRING_OR_NULL, "its id; null when only asked (validate_only)")
    author_id: str = required(STRING, "who made it: the id of a key, or the part of the program")
    author: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null for a part of the program")
    state: str = required(Choice(STATES), "where it is in its life; void: the head has moved on from its base")
    approvals: tuple[ShownApproval, ...] = required(
        listed(Object(ShownApproval)), "approvals given, those that lapsed too"
    )
    shown: ShownEffect | None = required(
        Nullable(Object(ShownEffect)), "what its effect came to; null before it was opened"
    )
    ended_because: str | None = required(STRING_OR_NULL, "why it was declined, withdrawn or became void; may be null")
    digests: Digests = required(Object(Digests), "what an approval has to repeat")
    approvals_needed: int = required(
        INTEGER, "2, of two people and shops, where it loosens what keeps people safe, else 1"
    )
    approvals_valid: int = required(INTEGER, "how many count")
    version: int | None = required(Nullable(INTEGER), "grows with each step; null while it is not made")
    created_at: str | None = required(INSTANT_OR_NULL, "when it was made, UTC")
    changed_at: str | None = required(INSTANT_OR_NULL, "when it last changed, UTC")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownProposal(Documented):
    """A change of the book that somebody asks for, and what became of it."""

    status: ProposalStatus = required(Object(ProposalStatus), "what became of it", spread=True)
    base: Base = required(Object(Base), "the revision it starts from")
    changes: tuple[EntryChange, ...] = _changes("what it asks to be different")
    reason: str = required(STRING, "why")
    evidence: str = required(STRING, "on what evidence")


@dataclass(frozen=True, slots=True)
class Proposals(Documented):
    """A page of proposals, newest first."""

    entries: tuple[ShownProposal, ...] = required(listed(Object(ShownProposal)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class Published(Documented):
    """What a publication came to."""

    revision: int | None = required(
        Nullable(INTEGER), "the number of the new revision; null when only asked (validate_only)"
    )
    digest: str = required(STRING, "its digest")
    proposal: ProposalStatus = required(Object(ProposalStatus), "the proposal, published")


@dataclass(frozen=True, slots=True)
class ProposalEffect(Documented):
    """What a proposal would do, order by order, and how far the working out of that has come.

    Approvals bind to the digest of the effect. While that of an open proposal is worked out anew, the one it shows
    stands here still.
    """

    proposal_id: str = required(STRING, "the proposal")
    state: str = required(
        Choice(EFFECT_STATES),
        "working, or how it ended: done, failed, cancelled by somebody or with the proposal, void: the head moved on",
    )
    orders: int | None = required(Nullable(INTEGER), "how many orders there are to be judged; null until that is known")
    replayed: int = required(INTEGER, "how many of them were judged")
    time_left_s: int | None = required(
        Nullable(INTEGER), "how long it will take at the rate so far; null until that is known, and once it has ended"
    )
    started_at: str = time("when it was asked for")
    started_by_id: str = required(STRING, "who asked for it: the id of a key")
    ended_at: str | None = required(INSTANT_OR_NULL, "when it ended, UTC; null while it is worked out")
    ended_because: str | None = required(STRING_OR_NULL, "why it ended otherwise than done; null where it did not")
    recorded_since: int | None = required(
        Nullable(INTEGER),
        "how many orders were recorded since it was asked for, which it says nothing of; null for one that is not"
        " done, and once the proposal was decided on",
    )
    counts: tuple[FlipCount, ...] = required(listed(Object(FlipCount)), "flips so far, by shop, rule and direction")
    replay_digest: str | None = required(STRING_OR_NULL, "digest of the effect; null before it was worked out")
    effect: Effect | None = required(Nullable(Object(Effect)), "the effect; null before it was worked out")
    others_left_out: bool = required(
        Flag(), "whether flips of other shops' recorded orders are left out, as for all but stewards and admins"
    )


# -- records ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordLine(Documented):
    """A recorded order, without the order and the answer."""

    record_id: str | None = required(STRING_OR_NULL, "rec_ and a random word; null before it is kept (validate_only)")
    recorded_at: str = time("when it was recorded")
    expires_at: str | None = required(INSTANT_OR_NULL, "when it goes, UTC; null: kept for good")
    reference: str | None = required(
        STRING_OR_NULL, "the shop's own word for the order; null where it had none, or it was deleted"
    )
    verdict_id: str = required(STRING, "the answer's id: the same for equal orders under the same book")
    verdict: str = required(Choice(VERDICTS), "whether the order can be done")
    revision: int = required(INTEGER, "the revision of the book it was judged under")


@dataclass(frozen=True, slots=True)
class Records(Documented):
    """A page of the shop's records, newest first."""

    entries: tuple[RecordLine, ...] = required(listed(Object(RecordLine)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class Record(Documented):
    """An order as it was recorded, and the answer as it was given."""

    line: RecordLine = required(Object(RecordLine), "the record", spread=True)
    code: str = required(STRING, "digest of the code that judged")
    order: Document = required(Free((Order,)), "the order, without its reference")
    answer: Document = required(Free((Verdict,)), "the answer, as it was given")


@dataclass(frozen=True, slots=True)
class Difference(Documented):
    """What made a difference; null where that can't be told any more."""

    code: bool | None = required(Nullable(Flag()), "the version of the service")
    book: bool | None = required(Nullable(Flag()), "the revision of the book")
    house: bool | None = required(Nullable(Flag()), "the shop's presses, stock, units or house rules")


def _findings(about: str) -> Any:
    return required(listed(Free((Finding,))), about)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayedRecord(Documented):
    """A recorded order asked again, and how the answer differs."""

    record_id: str = required(STRING, "the record")
    recorded_revision: int = required(INTEGER, "the revision it was judged under")
    revision: int = required(INTEGER, "the revision it is asked again under")
    then: str = required(Choice(REPLAYED_VERDICTS), "the verdict as it was")
    now: str = required(Choice(REPLAYED_VERDICTS), "the verdict as it is")
    same: bool = required(Flag(), "whether the answer says the same of the order, to the word")
    made_a_difference: Difference = required(Object(Difference), "what made the answer another")
    why: str = required(STRING, "why there is no answer now; empty where there is one")
    appeared: tuple[Document, ...] = _findings("findings that were not there")
    gone: tuple[Document, ...] = _findings("findings that are not there any more")
    changed: tuple[Document, ...] = _findings("findings that say something else, as they are now")
    answer: Document | None = required(Nullable(Free((Verdict,))), "the answer of now; null where there is none")


@dataclass(frozen=True, slots=True)
class TicketPress(Documented):
    """A press that can do a recorded order."""

    press: str = required(STRING, "the press")
    press_title: str = required(STRING, "the same, as people say it: its type, and its name at the shop")


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordTicket(Documented):
    """What a recorded order is pressed by: the plan as it was judged, or why there is none."""

    line: RecordLine = required(Object(RecordLine), "the record", spread=True)
    digest: str = required(STRING, "SHA-256 of the canonical JSON of the book it was judged under")
    shop_name: str = required(STRING, "what the shop calls itself")
    unit_system: str = required(Choice(tuple(UNIT_SYSTEMS)), "the units that the shop reads, and the plan is in")
    book_revision: int = required(INTEGER, "the revision of the book that holds now")
    changed: tuple[str, ...] = required(
        listed(Choice(CHANGEABLE)),
        "what is no more as it was when the order was judged: the book, the shop's house rules, its presses, stock or"
        " readings, the version of the service",
    )
    presses: tuple[TicketPress, ...] = required(
        listed(Object(TicketPress)), "the presses that can do it, of which press names one"
    )
    press: str | None = required(STRING_OR_NULL, "the press that the plan is for; null where none can do it")
    plan: Plan | None = required(Nullable(Object(Plan)), "the plan; null where there is none")
    why: str = required(STRING, "why there is no plan, in a sentence; empty where there is one")
    as_judged: bool = required(
        Flag(),
        "whether the plan has the settings of the verdict; no where these were a family's and the product at hand wants"
        " others",
    )


# -- outcomes ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeReport(Documented):
    """How one pressed piece came out."""

    outcome_id: str | None = required(
        STRING_OR_NULL, "o1, o2 ... in the order reported on this record; null before it is kept (validate_only)"
    )
    record_id: str = required(STRING, "the record of the order it was pressed for")
    decoration: int = required(INTEGER, "which decoration of the order")
    result: str = required(Choice(RESULTS), "how it came out")
    failure: str | None = required(STRING_OR_NULL, "what failed; null for a good piece")
    washes: int | None = required(Nullable(INTEGER), "after how many washes; null: not said")
    note: str | None = required(STRING_OR_NULL, "the shop's own words; may be null")
    transfer: str = required(STRING, "the transfer family it counts for")
    substrate: str = required(STRING, "the substrate it counts for")
    press_type: str = required(STRING, "the type of press it counts for")
    reported_at: str = time("when it was reported")
    reported_by: Signatory | None = required(
        Nullable(Object(Signatory)), "who reported it, and may withdraw it; null where that was not kept"
    )
    withdrawn_at: str | None = required(INSTANT_OR_NULL, "when it was withdrawn, UTC; null while it counts")
    drafted_proposal_id: str | None = required(
        STRING_OR_NULL, "the proposal that this report drafted; null where it made no outcomes poor"
    )


@dataclass(frozen=True, slots=True)
class Outcomes(Documented):
    """A page of the reports on one record, newest first."""

    entries: tuple[OutcomeReport, ...] = required(listed(Object(OutcomeReport)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class OutcomeCounts(Documented):
    """A page of how reported pieces came out."""

    entries: tuple[TransferOutcomes, ...] = required(
        listed(Object(TransferOutcomes)), "by transfer, substrate and type of press"
    )
    next: str | None = next_page()


# -- audit ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry(Documented):
    """One write to the store, sealed to the one before. What is sealed is all but actor and subject, and without those
    that are null of versions, ends and seal_key_id."""

    seq: int = required(INTEGER, "its number, from 1 without gaps")
    written_at: str = time("when, as it was sealed")
    actor_id: str = required(STRING, "the id of the key, or the part of the program, that did it")
    actor: Signatory | None = required(Nullable(Object(Signatory)), "who that is; null for a part of the program")
    event: str = required(Choice(tuple(Event)), "what was done")
    subject_id: str | None = required(STRING_OR_NULL, "to what, by its id or number; null: to several")
    subject: Signatory | None = required(Nullable(Object(Signatory)), "whose key that is; null for what is no key")
    written: Mapping[str, Any] = required(
        mapped(STRING_OR_NULL), "name of a document to the SHA-256 of what it got; null: taken away"
    )
    versions: Mapping[str, Any] | None = required(
        Nullable(mapped(INTEGER)), "its name to the version it has since, where that was known; null before seals"
    )
    ends: Mapping[str, Any] | None = required(
        Nullable(mapped(STRING)), "its name to when it ends by itself, UTC, where it does; null before seals"
    )
    seal_key_id: str | None = required(STRING_OR_NULL, "the key that sealed the head with it; null before seals")
    previous: str = required(STRING, "the hash before")
    hash: str = required(STRING, "SHA-256 of the canonical JSON of what is sealed, without the hash")


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditHead(Documented):
    """Where the audit ends."""

    seq: int = required(INTEGER, "how many entries there are")
    hash: str = required(STRING, "the hash of the last")
    written_at: str | None = required(INSTANT_OR_NULL, "when that was written, UTC; null where it was not sealed")
    seal_key_id: str | None = required(STRING_OR_NULL, "the key that sealed it; null where none did")
    public_key: str | None = required(
        STRING_OR_NULL, "that key's public half, Ed25519 as base64url; null where the service does not know it"
    )
    anchor: str | None = required(
        STRING_OR_NULL, "all this with the signature, as one line to be kept; null where it was not sealed"
    )


@dataclass(frozen=True, slots=True)
class Audit(Documented):
    """A page of the audit, oldest first."""

    head: AuditHead = required(Object(AuditHead), "where it ends")
    entries: tuple[AuditEntry, ...] = required(listed(Object(AuditEntry)), "oldest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class NewsItem(Documented):
    """Something that happened."""

    seq: int = required(INTEGER, "its number in the audit")
    at: str = time("when it was done")
    event: str = required(Choice(tuple(Event)), "what was done, for programs; more may come")
    subject_id: str | None = required(STRING_OR_NULL, "of what it was done to; null where that is more than one")
    by: Signatory | None = required(Nullable(Object(Signatory)), "whose key did it; null for a part of the program")
    text: str = required(STRING, "the same, in a sentence")


@dataclass(frozen=True, slots=True, kw_only=True)
class News(Documented):
    """What happened, oldest first."""

    items: tuple[NewsItem, ...] = required(listed(Object(NewsItem)), "what concerns the key that asks")
    seq: int = required(INTEGER, "up to where the audit was looked through: ask since this the next time")
    more: bool = required(Flag(), "whether more happened since: ask again at once")
    proposals_waiting: tuple[str, ...] = required(
        STRINGS, "to stewards: the proposals that stewards can decide on now, but for those of the key that asks"
    )


@dataclass(frozen=True, slots=True)
class AuditFault(Documented):
    """One thing that is not as the audit says, or one that is wrong with the audit."""

    code: str = required(Choice(tuple(FAULTS)), "what is wrong")
    name: str | None = required(STRING_OR_NULL, "with which document; null for what is wrong with the chain")
    seq: int | None = required(Nullable(INTEGER), "with which entry; null where it is not one")
    sentence: str = required(STRING, "the same for people")


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditAccount(Documented):
    """What a check of the whole store came to."""

    whole: bool = required(Flag(), "whether nothing is wrong")
    lines: tuple[str, ...] = required(STRINGS, "the account for people, line by line")
    head: AuditHead = required(Object(AuditHead), "where the audit ended when it was checked")
    documents: int = required(INTEGER, "how many documents there have to be")
    adopted_seq: int | None = required(
        Nullable(INTEGER), "the entry that adopted the store, before which nothing is sure; null where none did"
    )
    faults: tuple[AuditFault, ...] = required(listed(Object(AuditFault)), "what is wrong")
    faults_left_out: int = required(INTEGER, "how many more there are")
    seals_checked: bool = required(Flag(), "whether the documents' own seals were checked, which takes the private key")
