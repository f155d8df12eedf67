"""What the endpoints about revisions and proposals share: what they are asked, and how refusals become problems."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from accord_rules.documents.files import BookError
from accord_rules.documents.reading import Fault, Many, Object, Text, Whole, given, optional
from accord_rules.governance.changes import (
    CHANGES_MOST,
    ChangeError,
    EntryChange,
    changes_document,
    faults_in,
    read_changes,
)
from accord_rules.governance.effect import RECORDED, Budget
from accord_rules.governance.proposal import Approval, Base, GovernanceError
from accord_rules.infer.engine import EngineError
from accord_service.api.endpoint import Asked
from accord_service.api.governance_answers import Digests, RevisionLine, ShownApproval, ShownProposal
from accord_service.http.problems import (
    BadQuery,
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
from accord_service.steps.proposals import Kept, Step, Steps
from accord_service.steps.shops import Caller
from accord_service.store import RevisionRecord

REASON_MOST = 2000
SEES_ALL = ("steward", "admin")
PROPOSAL = MappingProxyType({"proposal": "id of the proposal"})
REVISION = MappingProxyType({"number": "number of the revision"})

_PROBLEMS: Mapping[str, type[Problem]] = MappingProxyType(
    {
        "not-the-author": NotYours,
        "not-a-steward": NotYours,
        "own-proposal": NotYours,
        "own-shop": NotYours,
        "base-moved": BaseMoved,
        "digests-differ": DigestsDiffer,
        "wrong-state": StepsOutOfOrder,
        "approved-twice": StepsOutOfOrder,
        "approvals-missing": StepsOutOfOrder,
        "effect-missing": StepsOutOfOrder,
        "reason-missing": FaultyDocument,
        "nothing-changed": FaultyDocument,
    }
)


@dataclass(frozen=True, slots=True)
class Edited:
    """A proposal's changes, why, and on what evidence."""

    changes: tuple[EntryChange, ...] = given(Many(Object(EntryChange), CHANGES_MOST, 1), "what is to be different")
    reason: str = given(Text(REASON_MOST, lines=True), "why")
    evidence: str = given(Text(REASON_MOST, lines=True), "on what evidence")


@dataclass(frozen=True, slots=True)
class Proposed(Edited):
    """A change of the book that is asked for. ``base`` is the head, as GET /v1/revisions says it."""

    base: Base = given(Object(Base), "the revision it starts from", kw_only=True)


@dataclass(frozen=True, slots=True)
class Reason:
    """Why."""

    reason: str = given(Text(REASON_MOST, lines=True), "why")


@dataclass(frozen=True, slots=True)
class CursorQuery:
    """Which page of a list, newest first."""

    cursor: str | None = optional(Text(400), about="from the address of the page; the first page when left out")
    limit: int = optional(Whole(1, 100), 20, about="entries a page; 20 when left out")


def next_address(address: str, cursor: str | None, query: CursorQuery, **filters: str | None) -> str | None:
    """Where the next page is; None on the last."""
    if cursor is None:
        return None
    kept = {name: value for name, value in filters.items() if value is not None}
    return f"{address}?{urlencode({**kept, 'cursor': cursor, 'limit': query.limit})}"


@contextmanager
def bad_cursor() -> Iterator[None]:
    """The store's refusal of a cursor that no page gave, as a problem."""
    try:
        yield
    except ValueError as error:
        raise BadQuery(faults=[Fault("/cursor", f"is {error}")]) from None


def number_in(text: str) -> int:
    """A revision's number in an address. Raises NotFound."""
    if not (text.isascii() and text.isdecimal() and 1 <= len(text) <= 9 and not text.startswith("0")):
        raise NotFound(f"There is no revision {text!r}: revisions are numbered from 1.")
    return int(text)


def read_book_changes(changes: tuple[EntryChange, ...]) -> tuple[EntryChange, ...]:
    """The changes as the rules take them. Raises DocumentError for an entry that is changed twice."""
    return read_changes(changes_document(changes))


def steps_of(asked: Asked) -> Steps:
    most, caller = asked.room.config.replay_most, asked.caller
    return Steps(
        store=asked.room.store,
        held=asked.book,
        who=caller.key_id,
        role=caller.role,
        shop=caller.shop_id,
        budget=Budget(most, most),
    )


def taken(asked: Asked, step: Callable[[Steps], Step], status: int = 200) -> Prepared:
    """A step as a write that passed its checks; what forbids it is raised as a problem. ``status``: once it is done."""
    with refusals(asked.body.changes if isinstance(asked.body, Edited) else ()):
        made = step(steps_of(asked))

    def commit(remember: Remember) -> Answer:
        return answer(made.commit(lambda kept: remember(answer(kept, status))), status)

    return Prepared(answer(made.preview), commit)


def answer(kept: Kept, status: int = 200) -> Answer:
    return Answer(shown_proposal(kept).document(), status, version=kept.version)


def shown_proposal(kept: Kept) -> ShownProposal:
    """What is told of a proposal; the effect has an address of its own, and whose shop a key is of is not told."""
    proposal, digests = kept.proposal, kept.proposal.digests
    return ShownProposal(
        id=proposal.id,
        base=proposal.base,
        changes=proposal.changes,
        reason=proposal.reason,
        evidence=proposal.evidence,
        author=proposal.author,
        state=proposal.state,
        approvals=tuple(map(_shown_approval, proposal.approvals, proposal.lapses)),
        shown=proposal.shown,
        ended_because=proposal.ended_because,
        digests=Digests(proposal.change_digest, proposal.base.digest, None if digests is None else digests[2]),
        approvals_needed=proposal.approvals_needed,
        approvals_valid=len(proposal.valid_approvals),
        version=kept.version,
        created_at=instant(kept.created_at),
        changed_at=instant(kept.changed_at),
    )


def _shown_approval(approval: Approval, lapse: str | None) -> ShownApproval:
    return ShownApproval(
        who=approval.who,
        role=approval.role,
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
        raise FaultyDocument(faults=[Fault("/changes", f"the rules can't be used: {error}")]) from None


def revision_line(found: RevisionRecord) -> RevisionLine:
    """A revision without its book."""
    return RevisionLine(
        number=found.number,
        digest=found.digest,
        author=found.author,
        approvers=found.approvers,
        reason=found.reason,
        proposal=found.proposal,
        at=instant(found.at),
    )


def effect_for(caller: Caller, id_: str, replay_digest: str, effect: Mapping[str, Any]) -> dict[str, Any]:
    """An effect as one caller may see it: other shops' recorded orders are for stewards and admins alone."""
    sees_all = caller.role in SEES_ALL

    def seen(flips: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [each for each in flips if sees_all or each["source"] != RECORDED or each["shop"] == caller.shop_id]

    shown = {name: seen(value) if name in ("counts", "flips", "witnesses") else value for name, value in effect.items()}
    left_out = len(shown["flips"]) < len(effect["flips"])
    return {"proposal": id_, "replay_digest": replay_digest, **shown, "others_left_out": left_out}
