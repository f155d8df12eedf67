"""What the endpoints about revisions and proposals share: what they are asked, and how refusals become problems."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from accord_rules.documents.files import BookError, Documents
from accord_rules.documents.reading import Fault, Many, Object, Text, required
from accord_rules.documents.writing import Documented
from accord_rules.governance.changes import (
    CHANGES_MOST,
    ChangeError,
    EntryChange,
    changes_document,
    read_changes,
)
from accord_rules.governance.comparison import RECORDED
from accord_rules.governance.limits import direction_of
from accord_rules.governance.proposal import LIVE, Approval, Base, GovernanceError, KnownKey, Proposal
from accord_rules.governance.refusals import faults_in
from accord_rules.infer.engine import EngineError
from accord_service.api.answers import Signatory
from accord_service.api.endpoint import Call
from accord_service.api.governance_answers import (
    Digests,
    ProposalStatus,
    RevisionLine,
    ShownApproval,
    ShownChange,
    ShownProposal,
)
from accord_service.http.problems import (
    BaseMoved,
    DigestsDiffer,
    FaultyDocument,
    NotFound,
    NotYours,
    Problem,
    StepsOutOfOrder,
)
from accord_service.http.writing import Answer, Prepared, Remember
from accord_service.run.times import instant
from accord_service.steps.effects import SoFar, so_far
from accord_service.steps.proposals import KeptEffect, Step, Steps, StoredProposal, known_keys
from accord_service.steps.runs import DONE, WORKING
from accord_service.steps.shops import Caller
from accord_service.store import RevisionRecord, number_of

REASON_MOST = 2000
NOTHING_YET = SoFar(None, 0, None, ())
SEES_ALL = ("steward", "admin")
PROPOSAL = MappingProxyType({"proposal_id": "id of the proposal"})
REVISION = MappingProxyType({"revision": "number of the revision"})

_PROBLEMS: Mapping[str, type[Problem]] = MappingProxyType(
    {
        "not-the-author": NotYours,
        "not-a-steward": NotYours,
        "own-proposal": NotYours,
        "own-shop": NotYours,
        "own-holder": NotYours,
        "holder-unknown": NotYours,
        "key-too-new": NotYours,
        "base-moved": BaseMoved,
        "digests-differ": DigestsDiffer,
        "wrong-state": StepsOutOfOrder,
        "approved-twice": StepsOutOfOrder,
        "approvals-missing": StepsOutOfOrder,
        "effect-missing": StepsOutOfOrder,
        "effect-of-another-program": StepsOutOfOrder,
        "reason-missing": FaultyDocument,
        "nothing-changed": FaultyDocument,
    }
)


@dataclass(frozen=True, slots=True)
class Proposed(Documented):
    """A change of the book that is asked for, why, and on what evidence; its base is the head when it is made."""

    base: Base = required(Object(Base), "the revision it starts from")
    changes: tuple[EntryChange, ...] = required(Many(Object(EntryChange), CHANGES_MOST, 1), "what is to be different")
    reason: str = required(Text(REASON_MOST, lines=True), "why")
    evidence: str = required(Text(REASON_MOST, lines=True), "on what evidence")


@dataclass(frozen=True, slots=True)
class Reason:
    """Why."""

    reason: str = required(Text(REASON_MOST, lines=True), "why")


def revision_in(call: Call) -> int:
    """The number of the revision that the address names. Raises NotFound."""
    text = call.path["revision"]
    number = number_of(text)
    if number is None:
        raise NotFound(f"There is no revision {text!r}: revisions are numbered from 1.")
    return number


def read_book_changes(changes: tuple[EntryChange, ...]) -> tuple[EntryChange, ...]:
    """The changes as the rules take them. Raises DocumentError for an entry that is changed twice."""
    return read_changes(changes_document(changes))


def steps_of(call: Call) -> Steps:
    caller = call.caller
    return Steps(store=call.room.store, held=call.book, who=caller.key_id, role=caller.role, now_s=call.room.now_s)


def taken(call: Call, step: Callable[[Steps], Step], answer: Callable[[StoredProposal], Answer]) -> Prepared:
    """A step as a write that passed its checks; what forbids it is raised as a problem."""
    with refusals(call.body.changes if isinstance(call.body, Proposed) else ()):
        step_taken = step(steps_of(call))

    write = step_taken.commit
    if write is None:
        return Prepared(answer(step_taken.preview), None)

    def commit(remember: Remember) -> Answer:
        return answer(write(lambda stored: remember(answer(stored))))

    return Prepared(answer(step_taken.preview), commit)


def draft(stored: StoredProposal) -> Answer:
    """What its author writes, which can be sent back."""
    proposal = stored.proposal
    written = Proposed(proposal.base, proposal.changes, proposal.reason, proposal.evidence)
    return Answer(written.document(), version=stored.version)


def status(stored: StoredProposal) -> Answer:
    """What became of it."""
    return Answer(proposal_status(stored).document())


def drafted(stored: StoredProposal) -> Answer:
    """A proposal that was made, with its status, and where it is."""
    return Answer(shown_proposal(stored).document(), 201, {"Location": f"/v1/proposals/{stored.proposal.id}"})


def shown_proposal(stored: StoredProposal) -> ShownProposal:
    """All that is told of a proposal."""
    proposal = stored.proposal
    return ShownProposal(
        status=proposal_status(stored),
        base=proposal.base,
        changes=proposal.changes,
        reason=proposal.reason,
        evidence=proposal.evidence,
    )


def proposal_status(stored: StoredProposal) -> ProposalStatus:
    """What became of a proposal; the effect has an address of its own."""
    proposal, digests, is_made = stored.proposal, stored.proposal.digests, stored.version > 0
    return ProposalStatus(
        proposal_id=proposal.id if is_made else None,
        author_id=proposal.author,
        author=_author(proposal),
        state=proposal.state,
        approvals=tuple(map(_shown_approval, proposal.approvals, proposal.lapses)),
        shown=proposal.shown,
        ended_because=proposal.ended_because,
        digests=Digests(proposal.change_digest, proposal.base.digest, None if digests is None else digests[2]),
        approvals_needed=proposal.approvals_needed,
        approvals_valid=len(proposal.valid_approvals),
        version=stored.version if is_made else None,
        created_at=instant(stored.created_at) if is_made else None,
        changed_at=instant(stored.changed_at) if is_made else None,
    )


def _author(proposal: Proposal) -> Signatory | None:
    if proposal.author_shop is None or proposal.author_role is None:
        return None
    return Signatory(proposal.author_shop, proposal.author_holder, proposal.author_role)


def _shown_approval(approval: Approval, lapse: str | None) -> ShownApproval:
    return ShownApproval(
        key_id=approval.who,
        by=None if approval.shop is None else Signatory(approval.shop, approval.holder, approval.role),
        change_digest=approval.change_digest,
        base_digest=approval.base_digest,
        replay_digest=approval.replay_digest,
        lapsed=lapse,
    )


@contextmanager
def refusals(changes: Iterable[EntryChange] = ()) -> Iterator[None]:
    """What the rules refuse, as problems. ``changes``: those of the body."""
    try:
        yield
    except GovernanceError as error:
        raise _PROBLEMS[error.kind](str(error)) from None
    except ChangeError as error:
        raise FaultyDocument(faults=error.faults) from None
    except BookError as error:
        raise FaultyDocument(faults=faults_in(changes, error)) from None
    except EngineError as error:
        fault = Fault("/changes", f"the rules can't be used: {error}", code="breaks-book")
        raise FaultyDocument(faults=[fault]) from None


def shown_changes(changes: Iterable[EntryChange], before: Documents) -> tuple[ShownChange, ...]:
    """Changes beside what is there ``before`` them, by kind and id."""
    return tuple(map(shown_change, changes, (before[change.kind].get(change.id) for change in changes)))


def shown_change(change: EntryChange, was: Mapping[str, Any] | None) -> ShownChange:
    """One change beside what was there; ``was``: the entry before, None where there was none."""
    if change.kind != "limits" or was is None or change.value is None:
        return ShownChange(change, was, None)
    return ShownChange(change, was, direction_of(was, change.value))


def revision_lines(call: Call, records: Sequence[RevisionRecord]) -> tuple[RevisionLine, ...]:
    """Revisions without their books, with whose keys stand behind them."""
    ids = (id_ for record in records for id_ in (record.author, *record.approvers))
    keys = known_keys(call.room.store, ids)
    return tuple(_revision_line(record, keys) for record in records)


def _signatory(key: KnownKey | None) -> Signatory | None:
    return None if key is None else Signatory(key.shop, key.holder, key.role)


def _revision_line(record: RevisionRecord, keys: Mapping[str, KnownKey]) -> RevisionLine:
    return RevisionLine(
        revision=record.number,
        digest=record.digest,
        author_id=record.author,
        author=_signatory(keys.get(record.author)),
        approver_ids=record.approvers,
        approvers=tuple(
            Signatory(key.shop, key.holder, key.role) for id_ in record.approvers if (key := keys.get(id_))
        ),
        reason=record.reason,
        proposal_id=record.proposal,
        published_at=instant(record.at),
    )


def effect_of(call: Call, stored: StoredProposal) -> Answer:
    """The effect of a proposal as the caller may see it, and how far its working out has come.

    Other shops' recorded orders are for stewards and admins alone. Raises NotFound where nobody asked for it yet.
    """
    proposal, run = stored.proposal, stored.run
    if run is None:
        opens = f"its author or a steward opens it with POST /v1/proposals/{proposal.id}/open"
        raise NotFound(f"Proposal {proposal.id} has not been opened yet, so nothing shows its effect: {opens}.")
    kept = KeptEffect.of(call.room.store, proposal)
    progress = so_far(call.room.store, stored) if run.state == WORKING and stored.version else NOTHING_YET
    effect = None if kept is None else _seen(call.caller, kept.effect)
    counts = [count.document() for count in progress.counts] if effect is None else effect["counts"]
    replayed = progress.replayed if run.orders is None else run.orders
    return Answer(
        {
            "proposal_id": proposal.id,
            "state": run.state,
            "orders": progress.orders if run.orders is None else run.orders,
            "replayed": replayed,
            "time_left_s": None if progress.left_s is None else round(progress.left_s),
            "started_at": instant(run.started_at),
            "started_by_id": run.started_by,
            "ended_at": None if run.ended_at is None else instant(run.ended_at),
            "ended_because": run.because,
            "recorded_since": _recorded_since(call, stored),
            "counts": [count for count in counts if _may_see(call.caller, count)],
            "replay_digest": None if kept is None else kept.replay_digest,
            "effect": effect,
            "others_left_out": call.caller.role not in SEES_ALL
            and not all(_may_see(call.caller, count) for count in (counts if kept is None else kept.effect["counts"])),
        }
    )


def _recorded_since(call: Call, stored: StoredProposal) -> int | None:
    """How many orders were recorded since the effect was asked for; None where nobody decides on it (any more, or
    yet)."""
    if stored.run is None or stored.run.state != DONE or stored.proposal.state not in LIVE:
        return None
    return call.room.store.records.count_since(stored.run.started_at)


def working(call: Call) -> Callable[[StoredProposal], Answer]:
    """The same for one that was just asked for: where to look how far it is."""

    def answer(stored: StoredProposal) -> Answer:
        effect = effect_of(call, stored)
        return replace(effect, status=202, headers={"Location": f"/v1/proposals/{stored.proposal.id}/effect"})

    return answer


def _seen(caller: Caller, effect: Mapping[str, Any]) -> dict[str, Any]:
    """An effect without what is not the caller's to see."""

    def seen(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [entry for entry in entries if _may_see(caller, entry)]

    return {name: seen(value) if name in ("counts", "flips", "witnesses") else value for name, value in effect.items()}


def _may_see(caller: Caller, entry: Mapping[str, Any]) -> bool:
    return caller.role in SEES_ALL or entry["source"] != RECORDED or entry["shop_id"] == caller.shop_id
