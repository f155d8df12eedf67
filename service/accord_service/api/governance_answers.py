"""The shapes of what is said about revisions, proposals, verdict records, outcomes and the audit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import (
    INTEGER,
    STRING,
    STRING_OR_NULL,
    STRINGS,
    Anything,
    Figure,
    Free,
    Nullable,
    listed,
    mapped,
)
from accord_rules.documents.reading import Choice, Flag, Object, given, optional
from accord_rules.documents.writing import Documented
from accord_rules.governance.changes import EntryChange
from accord_rules.governance.effect import Effect
from accord_rules.governance.proposal import STATES, Base, ShownEffect
from accord_rules.verdict import VERDICTS, Finding, Verdict
from accord_service.api.answers import Document, next_page, time

REPLAYED_VERDICTS = (*VERDICTS, "unreadable")
RESULTS = ("good", "failed")


def _changes(about: str) -> Any:
    return given(listed(Object(EntryChange)), about)


# -- revisions --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisionLine(Documented):
    """One revision of the book, without the book."""

    number: int = given(INTEGER, "its number, from 1 without gaps")
    digest: str = given(STRING, "SHA-256 of the book's canonical JSON")
    author: str = given(STRING, "who proposed it: the id of a key, or what made the first")
    approvers: tuple[str, ...] = given(STRINGS, "ids of the keys that approved it")
    reason: str = given(STRING, "why")
    proposal: str | None = given(STRING_OR_NULL, "the proposal it came from; may be null")
    at: str = time("when it was published")


@dataclass(frozen=True, slots=True)
class Revisions(Documented):
    """A page of the revisions, newest first."""

    head: int = given(INTEGER, "the number of the revision that holds")
    entries: tuple[RevisionLine, ...] = given(listed(Object(RevisionLine)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class Revision(Documented):
    """One revision of the book; the whole of it where that was asked for."""

    line: RevisionLine = given(Object(RevisionLine), "the revision", spread=True)
    documents: Document | None = optional(Free(), about="the book by kind and entry; only with documents=true")


@dataclass(frozen=True, slots=True)
class RevisionChanges(Documented):
    """What one revision changed of the one before."""

    number: int = given(INTEGER, "the revision")
    digest: str = given(STRING, "its digest")
    changes: tuple[EntryChange, ...] = _changes("every entry that differs; empty for the first")


# -- proposals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownApproval(Documented):
    """Who approved, and exactly what."""

    who: str = given(STRING, "the id of the key")
    role: str = given(STRING, "its role then")
    change_digest: str = given(STRING, "digest of the changes approved")
    base_digest: str = given(STRING, "digest of the base")
    replay_digest: str = given(STRING, "digest of the effect that was seen")
    lapsed: str | None = given(STRING_OR_NULL, "why it does not count any more; may be null")


@dataclass(frozen=True, slots=True)
class Digests(Documented):
    """What an approval has to repeat. They are the proposal's own as it is now."""

    change_digest: str = given(STRING, "digest of the changes")
    base_digest: str = given(STRING, "digest of the base")
    replay_digest: str | None = given(STRING_OR_NULL, "digest of the effect; null before it was opened")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownProposal(Documented):
    """A change of the book that somebody asks for."""

    id: str = given(STRING, "its id")
    base: Base = given(Object(Base), "the revision it starts from")
    changes: tuple[EntryChange, ...] = _changes("what it asks to be different")
    reason: str = given(STRING, "why")
    evidence: str = given(STRING, "on what evidence")
    author: str = given(STRING, "the id of the key that made it")
    state: str = given(Choice(STATES), "where it is in its life; void: the head has moved on from its base")
    approvals: tuple[ShownApproval, ...] = given(
        listed(Object(ShownApproval)), "approvals given, those that lapsed too"
    )
    shown: ShownEffect | None = given(
        Nullable(Object(ShownEffect)), "what its effect came to; null before it was opened"
    )
    ended_because: str | None = given(STRING_OR_NULL, "why it was rejected or became void; may be null")
    digests: Digests = given(Object(Digests), "what an approval has to repeat")
    approvals_needed: int = given(INTEGER, "2, of two shops, where it loosens what keeps people safe, else 1")
    approvals_valid: int = given(INTEGER, "how many count")
    version: int = given(INTEGER, "its version; the ETag names it too")
    created_at: str = time("when it was made")
    changed_at: str = time("when it last changed")


@dataclass(frozen=True, slots=True)
class Proposals(Documented):
    """A page of proposals, newest first."""

    entries: tuple[ShownProposal, ...] = given(listed(Object(ShownProposal)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True)
class Published(Documented):
    """What a publication came to."""

    revision: int = given(INTEGER, "the number of the new revision")
    digest: str = given(STRING, "its digest")
    proposal: ShownProposal = given(Object(ShownProposal), "the proposal, published")


@dataclass(frozen=True, slots=True)
class ProposalEffect(Documented):
    """What a proposal would do, order by order. Approvals bind to its digest."""

    proposal: str = given(STRING, "the proposal")
    replay_digest: str = given(STRING, "digest of this effect")
    effect: Effect = given(Object(Effect), "the effect", spread=True)
    others_left_out: bool = given(
        Flag(), "whether flips of other shops' recorded orders are left out, as for all but stewards"
    )


# -- verdict records --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedVerdict(Documented):
    """A verdict as it was given, and the order it was given on."""

    id: str = given(STRING, "the verdict's id")
    recorded_at: str = time("when it was recorded")
    expires_at: str | None = given(STRING_OR_NULL, "when it goes, UTC; null: kept for good")
    code: str = given(STRING, "digest of the code that judged")
    reference: str | None = given(STRING_OR_NULL, 'the shop\'s own; "masked" once masked; may be null')
    order: Document = given(Free(), "the order, without its reference")
    verdict: Document = given(Free((Verdict,)), "the answer, as it was given")


@dataclass(frozen=True, slots=True)
class Difference(Documented):
    """What made a difference; null where that can't be told any more."""

    code: bool | None = given(Nullable(Flag()), "the version of the service")
    book: bool | None = given(Nullable(Flag()), "the revision of the book")
    house: bool | None = given(Nullable(Flag()), "the shop's presses, stock, units or house rules")


def _findings(about: str) -> Any:
    return given(listed(Free((Finding,))), about)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayedVerdict(Documented):
    """A recorded order asked again, and how the answer differs."""

    id: str = given(STRING, "the recorded verdict")
    recorded_revision: int = given(INTEGER, "the revision it was given under")
    revision: int = given(INTEGER, "the revision it is asked again under")
    then: str = given(Choice(REPLAYED_VERDICTS), "the verdict as it was")
    now: str = given(Choice(REPLAYED_VERDICTS), "the verdict as it is")
    same: bool = given(Flag(), "whether the answer says the same of the order, to the word")
    made_a_difference: Difference = given(Object(Difference), "what made the answer another")
    why: str = given(STRING, "why there is no answer now; empty where there is one")
    appeared: tuple[Document, ...] = _findings("findings that were not there")
    gone: tuple[Document, ...] = _findings("findings that are not there any more")
    changed: tuple[Document, ...] = _findings("findings that say something else, as they are now")
    verdict: Document | None = given(Nullable(Free((Verdict,))), "the answer of now; null where there is none")


# -- outcomes ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeReport(Documented):
    """How one pressed piece came out."""

    id: str = given(STRING, "the report's id")
    verdict: str = given(STRING, "the verdict it was pressed under")
    decoration: int = given(INTEGER, "which decoration of the order")
    result: str = given(Choice(RESULTS), "how it came out")
    failure: str | None = given(STRING_OR_NULL, "what failed; null for a good piece")
    washes: int | None = given(Nullable(INTEGER), "after how many washes; null: not said")
    note: str | None = given(STRING_OR_NULL, "the shop's own words; may be null")
    transfer: str = given(STRING, "the transfer family it counts for")
    substrate: str = given(STRING, "the substrate it counts for")
    press_type: str = given(STRING, "the type of press it counts for")
    at: str = time("when it was reported")


@dataclass(frozen=True, slots=True)
class Outcomes(Documented):
    """The reports on one verdict."""

    entries: tuple[OutcomeReport, ...] = given(listed(Object(OutcomeReport)), "oldest first")


@dataclass(frozen=True, slots=True)
class OutcomeAdded(Documented):
    """A report, and the proposal it drafted if it made the outcomes poor."""

    outcome: OutcomeReport = given(Object(OutcomeReport), "the report")
    drafted: str | None = given(STRING_OR_NULL, "the id of the drafted proposal; may be null")


# -- audit ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry(Documented):
    """One write to the store, sealed to the one before."""

    seq: int = given(INTEGER, "its number, from 1 without gaps")
    at: float = given(Figure(), "when, in seconds since 1970 (UTC), as it was sealed")
    who: str = given(STRING, "the id of the key, or the command")
    what: str = given(STRING, "what was done")
    about: str = given(STRING, "to what")
    written: Mapping[str, Any] = given(
        mapped(Anything()), "key of the store to the SHA-256 of what it got; null: taken away"
    )
    previous: str = given(STRING, "the hash before")
    hash: str = given(STRING, "SHA-256 of this entry's canonical JSON without the hash")


@dataclass(frozen=True, slots=True)
class AuditHead(Documented):
    """Where the audit ends."""

    seq: int = given(INTEGER, "how many entries there are")
    hash: str = given(STRING, "the hash of the last")


@dataclass(frozen=True, slots=True)
class Audit(Documented):
    """A page of the audit, oldest first."""

    head: AuditHead = given(Object(AuditHead), "where it ends")
    entries: tuple[AuditEntry, ...] = given(listed(Object(AuditEntry)), "oldest first")
    next: str | None = next_page()
