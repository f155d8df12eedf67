"""Proposals between the rules and the store: each step reads the newest state, lets the rules decide, and writes whole.

Nothing here knows HTTP. What goes wrong comes out as the rules' errors (GovernanceError, ChangeError, BookError), the
engine's (EngineError, of rules that are tried) or the store's (Conflict, StoreAway, StoreBroken).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from accord_rules.documents.canonical import digest
from accord_rules.documents.files import Documents
from accord_rules.documents.reading import DocumentError, Fault
from accord_rules.governance import proposal as rules
from accord_rules.governance.changes import EntryChange, apply, check
from accord_rules.governance.proposal import (
    Approval,
    Base,
    GovernanceError,
    KnownKey,
    Proposal,
    read_proposal,
)
from accord_rules.revision.book import Book
from accord_service.steps.runs import CANCELLED, WORKING, EffectRun
from accord_service.store import (
    Conflict,
    Event,
    NotThere,
    ProposalRecord,
    RevisionHead,
    RevisionRecord,
    Store,
    Transaction,
)
from accord_service.worker.edition import loaded
from accord_service.worker.trials import trier

LISTED_AT_ONCE = 100

# The id of a proposal that the store has not numbered yet.
NEW = "new"


class Overtaken(Conflict):
    """A conflict that can say, in a sentence, who or what came first."""

    def __init__(self, sentence: str, conflict: Conflict) -> None:
        super().__init__(conflict.key, conflict.expected, conflict.actual)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class StoredProposal:
    """A proposal as it is kept. ``run``: how the working out of its effect stands, None where nobody asked for that
    since it was last edited; ``version`` is its ETag's; times in seconds since 1970 (UTC)."""

    proposal: Proposal
    run: EffectRun | None
    version: int
    created_at: float
    changed_at: float

    @classmethod
    def of(cls, record: ProposalRecord) -> StoredProposal:
        """As it was written; it may stand otherwise by now, see ``standing``."""
        proposal = read_proposal({"id": record.id, **record.document["proposal"]})
        run = EffectRun.read(record.document.get("run"))
        return cls(proposal, run, record.version, record.created_at, record.changed_at)

    def as_of(self, head: RevisionHead, keys: Mapping[str, KnownKey]) -> StoredProposal:
        """As it stands before a head: void where the book has moved on from its base, and with what is known of the
        keys of its author and approvers."""
        proposal = rules.moved(rules.with_keys(self.proposal, keys, self.created_at), base_of(head))
        return replace(self, proposal=proposal, run=None if self.run is None else self.run.beside(proposal))


Also = Callable[[StoredProposal], Transaction]


def stored_document(proposal: Proposal, run: EffectRun | None = None) -> dict[str, object]:
    """What the store keeps: the proposal without the id that the store gives it, and how its effect's run stands."""
    written = {name: value for name, value in proposal.document().items() if name != "id"}
    return {"proposal": written, "run": None if run is None else run.document()}


@dataclass(frozen=True, slots=True)
class KeptEffect:
    """What is kept of an effect that was worked out: ``tried_by`` says who tried the changed book, and saw it pass
    (``worker.trials.trier``)."""

    effect: Mapping[str, Any]
    replay_digest: str
    tried_by: str

    @classmethod
    def of(cls, store: Store, proposal: Proposal) -> KeptEffect | None:
        """The one that the proposal shows; None where it shows none."""
        kept = None if proposal.shown is None else store.effects.get(proposal.id)
        if kept is None or proposal.shown is None or kept["replay_digest"] != proposal.shown.replay_digest:
            return None
        return cls(**kept)

    def document(self) -> dict[str, object]:
        """Plain JSON, as it is kept."""
        return {"effect": self.effect, "replay_digest": self.replay_digest, "tried_by": self.tried_by}


# -- reading ----------------------------------------------------------------------------------------------------------


def get(store: Store, id_: str) -> StoredProposal:
    """One proposal, as it stands now. Raises NotThere."""
    record = store.proposals.get(id_)
    if record is None:
        raise NotThere(f"There is no proposal {id_!r}.")
    (stored,) = standing(store, [StoredProposal.of(record)])
    return stored


def standing(store: Store, proposals: Iterable[StoredProposal]) -> list[StoredProposal]:
    """Proposals as they stand before the present head and with the keys as they are."""
    proposals = list(proposals)
    head = store.revisions.head()
    held_by = [
        (stored.proposal.author, *(approval.who for approval in stored.proposal.approvals)) for stored in proposals
    ]
    keys = known_keys(store, itertools.chain.from_iterable(held_by))
    return [stored.as_of(head, keys) for stored in proposals]


def known_keys(store: Store, ids: Iterable[str]) -> dict[str, KnownKey]:
    """What the rules are told of keys. One that waits is no key yet."""
    return {
        id_: KnownKey(record.shop, record.role, record.holder, record.holds_since, record.revoked_at is not None)
        for id_, record in store.keys.get_all(ids).items()
        if not record.waits
    }


def listed(store: Store, state: str | None = None) -> Iterator[ProposalRecord]:
    """Every proposal as it was written, newest first; of one state if that is wished."""
    cursor = None
    while True:
        page = store.proposals.list(state, cursor, LISTED_AT_ONCE)
        yield from page.items
        if page.next is None:
            return
        cursor = page.next


def revision(store: Store, number: int) -> RevisionRecord:
    """One revision, whole. Raises NotThere."""
    record = store.revisions.revision(number)
    if record is None:
        raise NotThere(f"There is no revision {number}.")
    return record


# -- the steps of a proposal's life -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Step:
    """A step that passed every check: what it comes to, and the write, to which ``also`` may add its own; None where
    it is as wished already."""

    preview: StoredProposal
    commit: Callable[[Also], StoredProposal] | None


@dataclass(frozen=True, slots=True)
class Publication:
    """The step that makes a revision; ``head`` is that one."""

    preview: StoredProposal
    commit: Callable[[Also], StoredProposal]
    head: RevisionHead


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """The steps that one caller takes (``who``: the id of its key; what is known of it is read anew each time).

    ``held`` is the book that the worker has loaded, ``now_s`` the time in seconds since 1970 (UTC).
    """

    store: Store
    held: Book
    who: str
    role: str
    now_s: float

    @property
    def _own_key(self) -> KnownKey | None:
        return known_keys(self.store, (self.who,)).get(self.who)

    def draft(self, base: Base, changes: Sequence[EntryChange], reason: str, evidence: str) -> Step:
        """Make one. Raises GovernanceError (base-moved), ChangeError, BookError with the loader's reasons."""
        check(self._base(base).documents, changes, base.revision + 1)
        return self._created(rules.draft(NEW, base, changes, reason, evidence, self.who, self._own_key))

    def revert(self, number: int, reason: str) -> Step:
        """A draft that takes the head back to what revision ``number`` says. Raises as ``draft`` does."""
        head = self.store.revisions.head()
        old, new = revision(self.store, number).documents, self._base(base_of(head)).documents
        proposal = rules.revert(NEW, old, new, base_of(head), reason, self.who, self._own_key)
        check(new, proposal.changes, head.number + 1)
        return self._created(proposal)

    def edit(
        self, id_: str, version: int, base: Base, changes: Sequence[EntryChange], reason: str, evidence: str
    ) -> Step:
        """The author's edit of the version they saw: a draft again, approvals gone. Its base stays what it is.

        Raises Conflict, DocumentError for another base, ChangeError, BookError.
        """
        stored = self._standing(id_)
        if base != stored.proposal.base:
            own = stored.proposal.base
            message = f"must stay revision {own.revision} ({own.digest}): for another, propose the change anew"
            raise DocumentError([Fault("/base", message, code="not-allowed")])
        if stored.version != version:
            raise Conflict(id_, version, stored.version)
        edited = rules.edit(stored.proposal, self.who, changes, reason, evidence)
        check(self._base(edited.base).documents, changes, edited.base.revision + 1)
        return self._replaced(stored, edited, None, Event.PROPOSAL_EDITED)

    def open_(self, id_: str) -> Step:
        """Have its effect worked out, upon which it is put to the stewards; for one that is open already, anew.

        Whatever forbids it is said now. One whose effect is being worked out is left to that.
        """
        stored = self._standing(id_)
        rules.work_out(stored.proposal, self.who, self.role)
        if stored.run is not None and stored.run.state == WORKING:
            return Step(stored, None)
        run = EffectRun.started(self.who, self.now_s)
        event = Event.PROPOSAL_EFFECT_STARTED
        return self._replaced(stored, stored.proposal, run, event, self.store.effects.starting(run.of(id_)))

    def cancel(self, id_: str) -> Step:
        """Stop the working out of its effect. Raises GovernanceError (wrong-state) where there is none under way."""
        stored = self._standing(id_)
        rules.work_out(stored.proposal, self.who, self.role)
        if stored.run is None or stored.run.state != WORKING:
            raise GovernanceError("wrong-state", f"Proposal {id_} has no effect that is being worked out.")
        who = "its author" if self.who == stored.proposal.author else "a steward"
        run = stored.run.ended(CANCELLED, self.now_s, f"It was stopped by {who}.")
        return self._replaced(stored, stored.proposal, run, Event.PROPOSAL_EFFECT_ENDED)

    def approve(self, id_: str, change_digest: str, base_digest: str, replay_digest: str) -> Step:
        """One steward's yes to exactly these three digests, once the effect that one of them is of is worked out."""
        stored = self._standing(id_)
        _effect_is_known(stored)
        approval = Approval(
            who=self.who,
            role=self.role,
            change_digest=change_digest,
            base_digest=base_digest,
            replay_digest=replay_digest,
        )
        approval = rules.of_key(approval, self._own_key, stored.created_at)
        approved = rules.approve(stored.proposal, approval)
        return self._replaced(stored, approved, stored.run, Event.PROPOSAL_APPROVED)

    def decline(self, id_: str, reason: str) -> Step:
        """A steward's no."""
        stored = self._standing(id_)
        declined = rules.decline(stored.proposal, self.who, self.role, reason)
        return self._replaced(stored, declined, stored.run, Event.PROPOSAL_DECLINED)

    def withdraw(self, id_: str, reason: str) -> Step:
        """The author's taking back."""
        stored = self._standing(id_)
        withdrawn = rules.withdraw(stored.proposal, self.who, reason)
        return self._replaced(stored, withdrawn, stored.run, Event.PROPOSAL_WITHDRAWN)

    def publish(self, id_: str) -> Publication:
        """Make it the next revision, in one commit with closing it.

        Nothing is tried here: the changed book was when its effect was worked out, by a program that is relied on only
        if it is this one. Raises GovernanceError. The commit raises Conflict if somebody published, touched the
        proposal, or revoked an approver's key in between.
        """
        stored = self._standing(id_)
        if stored.proposal.state == "draft":
            _effect_is_known(stored)
        head = self.store.revisions.head()
        published = rules.publish(stored.proposal, base_of(head))
        kept = KeptEffect.of(self.store, published)
        documents = apply(self.documents(stored.proposal.base), published.changes)
        made = RevisionHead(head.number + 1, digest(documents))
        if kept is None or kept.tried_by != trier() or kept.effect["new"] != made.digest:
            raise GovernanceError(
                "effect-of-another-program",
                f"The book of proposal {id_} was last tried by another version of the program: open it once more"
                f" ({_opens(id_)}), so that this one tries it.",
            )
        passed = kept.tried_by

        def commit(also: Also) -> StoredProposal:
            document = stored_document(published, stored.run)
            approvers = [approval.who for approval in published.valid_approvals]
            record, closing = self.store.proposals.replacing(id_, stored.version, document, state=published.state)
            closing += self.store.keys.holding(approvers)
            closed = StoredProposal.of(record)
            self.store.revisions.publish(
                head,
                documents,
                author=published.author,
                approvers=approvers,
                reason=published.reason,
                proposal=id_,
                tried_by=passed,
                also=lambda _: closing + also(closed),
            )
            return closed

        def commit_or_say(also: Also) -> StoredProposal:
            try:
                return commit(also)
            except Conflict as conflict:
                raise Overtaken(self._first(stored, head), conflict) from None

        return Publication(replace(stored, proposal=published), commit_or_say, made)

    def _first(self, stored: StoredProposal, head: RevisionHead) -> str:
        """What came before a publication, in a sentence."""
        now = self.store.revisions.head()
        if now != head:
            return f"Revision {now.number} was published first."
        if get(self.store, stored.proposal.id).version != stored.version:
            return f"Proposal {stored.proposal.id} was changed in the same moment."
        return f"The key of an approval of proposal {stored.proposal.id} was revoked in the same moment."

    def _standing(self, id_: str) -> StoredProposal:
        """The proposal as it is now. Raises GovernanceError (base-moved) for one that the head has left behind."""
        stored = get(self.store, id_)
        if stored.proposal.state == "void":
            raise GovernanceError("base-moved", str(stored.proposal.ended_because))
        return stored

    def _base(self, base: Base) -> Book:
        """The book a proposal starts from, which has to be the head. Raises GovernanceError (base-moved)."""
        head = self.store.revisions.head()
        rules.on_head(base, base_of(head))
        return self.held if self._is_held(base) else loaded(revision(self.store, head.number))

    def documents(self, base: Base) -> Documents:
        """The book of a base, whatever the head is. Raises NotThere."""
        return self.held.documents if self._is_held(base) else revision(self.store, base.revision).documents

    def _is_held(self, base: Base) -> bool:
        return (self.held.revision, self.held.digest) == (base.revision, base.digest)

    def _created(self, proposal: Proposal) -> Step:
        def commit(also: Also) -> StoredProposal:
            record = self.store.proposals.create(
                stored_document(proposal),
                author=proposal.author,
                state=proposal.state,
                also=lambda stored: also(StoredProposal.of(stored)),
            )
            return StoredProposal.of(record)

        return Step(StoredProposal(proposal, None, 0, 0.0, 0.0), commit)

    def _replaced(
        self,
        stored: StoredProposal,
        proposal: Proposal,
        run: EffectRun | None,
        event: Event,
        more: Transaction | None = None,
    ) -> Step:
        def commit(also: Also) -> StoredProposal:
            record = self.store.proposals.replace(
                proposal.id,
                stored.version,
                stored_document(proposal, run),
                state=proposal.state,
                event=event,
                who=self.who,
                also=lambda stored_anew: (more or Transaction()) + also(StoredProposal.of(stored_anew)),
            )
            return StoredProposal.of(record)

        return Step(replace(stored, proposal=proposal, run=run), commit)


def _effect_is_known(stored: StoredProposal) -> None:
    """Nobody can say yes to what is not known yet. One that is worked out anew may come out otherwise; where that
    failed or was stopped, what was known before stands. Raises GovernanceError (effect-missing)."""
    proposal, run = stored.proposal, stored.run
    if proposal.state not in rules.LIVE:
        return
    if run is not None and run.state == WORKING:
        raise GovernanceError(
            "effect-missing",
            f"The effect of proposal {proposal.id} is being worked out: it can be approved once that is done"
            f" (GET /v1/proposals/{proposal.id}/effect says how far it is).",
        )
    if proposal.shown is None and run is not None and run.because is not None:
        raise GovernanceError(
            "effect-missing",
            f"The effect of proposal {proposal.id} is not known: {run.because.rstrip('.')}. Open it once more"
            f" ({_opens(proposal.id)}) when that is mended.",
        )
    if proposal.shown is None:
        raise GovernanceError(
            "effect-missing",
            f"Proposal {proposal.id} has not been opened, so its effect is not known: its author or a steward opens it"
            f" ({_opens(proposal.id)}), and it can be approved once the effect is worked out.",
        )


def _opens(id_: str) -> str:
    return f"POST /v1/proposals/{id_}/open"


def write_down_states(store: Store, who: str) -> None:
    """Write down which live proposals a new head has left behind, or a revoked key leaves short of approvals, so that
    lists by state hold.

    Reading works that out by itself, so one that changes meanwhile, or a store that goes away, does no harm.
    """
    live = [StoredProposal.of(record) for state in rules.LIVE for record in listed(store, state)]
    for stored, after in zip(live, standing(store, live), strict=True):
        state = after.proposal.state
        if state != stored.proposal.state:
            document = stored_document(after.proposal, after.run)
            event = Event.PROPOSAL_VOIDED if state == "void" else Event.PROPOSAL_REOPENED
            try:
                store.proposals.replace(stored.proposal.id, stored.version, document, state=state, event=event, who=who)
            except Conflict:
                continue


def base_of(head: RevisionHead) -> Base:
    """The head, as what a proposal starts from."""
    return Base(head.number, head.digest)
