"""A proposal's life, as pure functions: each takes a proposal and answers the next, or raises GovernanceError.

    draft -> open -> approved -> published
    any of the first three -> declined by a steward, withdrawn by its author, or void where the base moved

An edit drops the approvals and goes back to draft. An approval says what it approves by three digests: of the changes,
of the base, and of the replay that showed their effect; it counts only while all three are the proposal's own, and
while the key it was given with holds. Author and approvers are different people of different shops, so that neither a
person with several keys nor a shop takes a change through alone. People are told apart by the holders that their keys
name, so a key that names none approves nothing, and what it drafted nobody can approve. A key that holds only since
after the draft might have been made for it, so it does not approve it. The keys that belong to no shop are handed out
by one desk, so they count together as one shop; what the program itself drafts is nobody's and no shop's. Holders,
shops and revocations are the service's to know: ``with_keys`` brings them in.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from accord_rules.documents.counted import counted
from accord_rules.documents.files import Documents
from accord_rules.documents.reading import Choice, Flag, Many, Object, Text, Whole, optional, read, required
from accord_rules.documents.writing import Documented
from accord_rules.governance.changes import (
    CHANGES_MOST,
    EntryChange,
    change_digest,
    difference,
    read_changes,
)
from accord_rules.governance.words import STATES

LIVE = ("draft", "open", "approved")
STEWARD = "steward"
_WORDS = Text(2000, lines=True)


class GovernanceError(Exception):
    """A step that is not allowed. ``kind`` is fixed and short; the message is for people.

    Kinds: wrong-state, not-the-author, not-a-steward, own-proposal, own-shop, own-holder, holder-unknown, key-too-new,
    approved-twice, digests-differ, base-moved, approvals-missing, reason-missing, nothing-changed, effect-missing,
    effect-of-another-program.
    """

    def __init__(self, kind: str, message: str) -> None:
        self.kind = kind
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Base(Documented):
    """The revision a proposal starts from."""

    revision: int = required(Whole(1, 1_000_000_000), "its number")
    digest: str = required(Text(80), "its digest")


@dataclass(frozen=True, slots=True)
class ShownEffect(Documented):
    """What a proposal's replay came to, as far as approvals need it: its digest, and why two stewards are needed."""

    replay_digest: str = required(Text(80), "digest of the effect")
    loosens_safety: tuple[str, ...] = required(
        Many(Text(400), 200), "why two stewards are needed; empty where one will do", default=()
    )


@dataclass(frozen=True, slots=True)
class KnownKey:
    """What is known of a key: the shop it belongs to ("collective" for none), its role, whose it is (None where it was
    issued before keys named a holder), since when it holds (seconds since 1970, UTC), and whether it was revoked."""

    shop: str
    role: str
    holder: str | None
    holds_since: float
    revoked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval(Documented):
    """Who approved, in which role, exactly what, and for which shop; ``shop`` is None where nobody knows the key,
    ``holder`` where it names none."""

    who: str = required(Text(80), about="the id of the key")
    role: str = required(Text(20), about="its role then")
    change_digest: str = required(Text(80), about="digest of the changes approved")
    base_digest: str = required(Text(80), about="digest of the base")
    replay_digest: str = required(Text(80), about="digest of the effect that was seen")
    shop: str | None = optional(Text(80), about="the shop of the key; left out where nobody knows the key")
    holder: str | None = optional(Text(80), about="whose key it is; left out where it names nobody")
    too_new: bool = optional(Flag(), False, about="whether the key holds only since after the draft")
    revoked: bool = optional(Flag(), False, about="whether the key was revoked since")

    @property
    def digests(self) -> tuple[str, str, str]:
        """(changes, base, replay): what was approved."""
        return (self.change_digest, self.base_digest, self.replay_digest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal(Documented):
    """A change set against a base, with reason and evidence. ``ended_because`` says why it was declined, withdrawn or
    void.

    ``author_shop`` is None for what the program itself drafted; ``author_holder`` for that, and for a key without one.
    """

    id: str = required(Text(80), about="its id")
    base: Base = required(Object(Base), about="the revision it starts from")
    changes: tuple[EntryChange, ...] = required(
        Many(Object(EntryChange), CHANGES_MOST), about="what it asks to be different"
    )
    reason: str = required(_WORDS, about="why")
    evidence: str = required(_WORDS, about="on what evidence")
    author: str = required(Text(80), about="the id of the key that made it")
    state: str = optional(Choice(STATES), "draft", about="where it is in its life")
    shown: ShownEffect | None = optional(Object(ShownEffect), about="what its effect came to")
    approvals: tuple[Approval, ...] = optional(Many(Object(Approval), 50), (), about="approvals given")
    ended_because: str | None = optional(_WORDS, about="why it was declined, withdrawn or became void")
    author_shop: str | None = optional(
        Text(80), about="the shop of the author's key; left out for what the program itself drafted"
    )
    author_holder: str | None = optional(Text(80), about="whose key the author's is; left out where it names nobody")
    author_role: str | None = optional(Text(20), about="the role of the author's key")

    @property
    def change_digest(self) -> str:
        """SHA-256 of the changes, whatever their order."""
        return change_digest(self.changes)

    @property
    def digests(self) -> tuple[str, str, str] | None:
        """(changes, base, replay): what an approval binds to; None before the effect was shown."""
        return None if self.shown is None else (self.change_digest, self.base.digest, self.shown.replay_digest)

    @property
    def approvals_needed(self) -> int:
        """Two where a safety limit, a row of a market or a safety rule is loosened, else one."""
        return 2 if self.shown is not None and self.shown.loosens_safety else 1

    @property
    def lapses(self) -> tuple[str | None, ...]:
        """For each approval why it does not count, or counts no more; None where it does."""
        reasons: list[str | None] = []
        counted: list[Approval] = []
        for approval in self.approvals:
            reason = self._lapse(approval)
            if reason is None and any(earlier.shop == approval.shop for earlier in counted):
                reason = "Another key of the same shop has approved already."
            if reason is None and any(same_holder(earlier.holder, approval.holder) for earlier in counted):
                reason = "Its holder has approved already with another key."
            reasons.append(reason)
            counted += [approval] if reason is None else []
        return tuple(reasons)

    def _lapse(self, approval: Approval) -> str | None:
        if approval.role != STEWARD or approval.who == self.author:
            return "It is not another steward's."
        dependence = _dependence(self, approval)
        if dependence is not None:
            return dependence.lapse
        if approval.revoked:
            return "Its key was revoked."
        if approval.digests != self.digests:
            return f"It is of something else: {_differing(self, approval)}."
        return None

    @property
    def valid_approvals(self) -> tuple[Approval, ...]:
        """Those of different stewards of different shops, none the author's, whose keys hold and that bind to what it
        is now."""
        return tuple(approval for approval, lapse in zip(self.approvals, self.lapses, strict=True) if lapse is None)


@dataclass(frozen=True, slots=True)
class _Dependence:
    """Why an approval is not by somebody who stands apart from the author: the kind of refusal, what is said when it
    is refused, and what is said of one that is there."""

    kind: str
    refusal: str
    lapse: str


def _dependence(proposal: Proposal, approval: Approval) -> _Dependence | None:
    """None where the approver stands apart. What is not known counts against it."""
    who = named(approval.holder, approval.shop)
    if approval.shop is None:
        return _Dependence("own-shop", "Your key is not known.", "Its key is not known, or waits for a second admin.")
    if approval.shop == proposal.author_shop:
        return _Dependence(
            "own-shop",
            f"{who} is of no other shop than the author: a steward of another shop has to approve it.",
            "Its key is of the same shop as the author's.",
        )
    if approval.holder is None:
        return _Dependence(
            "holder-unknown",
            "Your key was issued before keys named their holder: have an admin issue one in your name.",
            "Its key names no holder.",
        )
    if proposal.author_shop is not None and proposal.author_holder is None:
        return _Dependence(
            "holder-unknown",
            "The author's key names no holder, so nobody can tell who that is: propose it anew with one that does.",
            "The author's key names no holder.",
        )
    if same_holder(approval.holder, proposal.author_holder):
        return _Dependence(
            "own-holder",
            f"{who} made this proposal with another key: another person has to approve it.",
            "Its holder is the author.",
        )
    if approval.too_new:
        return _Dependence(
            "key-too-new",
            f"The key of {who} holds only since after this was drafted: a steward from before has to approve it.",
            "Its key holds only since after the draft.",
        )
    return None


def same_holder(one: str | None, other: str | None) -> bool:
    """Whether two holders' names are one: whatever their case, their spaces, how their letters are encoded, and what
    stands between them unseen."""
    return one is not None and other is not None and _plain(one) == _plain(other)


def _plain(name: str) -> str:
    """Compatible letters made one (Unicode NFKC), before and after folding the case, as Unicode section 3.13 has it;
    without format characters (Cf), which nobody sees."""
    seen = "".join(letter for letter in name if unicodedata.category(letter) != "Cf")
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", seen).casefold())
    return " ".join(folded.split())


def named(holder: str | None, shop: str | None) -> str:
    """Somebody in a sentence: by name and shop."""
    return f"{holder or 'a key without a holder'} of {shop or 'no known shop'}"


def read_proposal(document: Any) -> Proposal:
    """A proposal from its document. Raises reading.DocumentError."""
    return read(Proposal, document)


def draft(
    proposal_id: str,
    base: Base,
    changes: Iterable[EntryChange],
    reason: str,
    evidence: str,
    author: str,
    author_key: KnownKey | None = None,
) -> Proposal:
    """A new proposal. ``author_key``: what is known of the author's key, None for what the program drafts.

    Raises GovernanceError (reason-missing).
    """
    _said(reason, "A proposal needs a reason.")
    _said(evidence, "A proposal needs its evidence.")
    return Proposal(
        id=proposal_id,
        base=base,
        changes=tuple(changes),
        reason=reason,
        evidence=evidence,
        author=author,
        **_of_author(author_key),
    )


def _of_author(key: KnownKey | None) -> dict[str, Any]:
    return {} if key is None else {"author_shop": key.shop, "author_holder": key.holder, "author_role": key.role}


def with_keys(proposal: Proposal, keys: Mapping[str, KnownKey], drafted_at: float) -> Proposal:
    """The proposal with what is known of its author's and approvers' keys by now, and open again where that leaves it
    short of approvals. What has ended keeps the approvals it had then. ``drafted_at``: seconds since 1970 (UTC).
    """
    completed = replace(proposal, **_of_author(keys.get(proposal.author)))
    if proposal.state not in LIVE:
        return completed
    approvals = tuple(of_key(approval, keys.get(approval.who), drafted_at) for approval in proposal.approvals)
    return _counted(replace(completed, approvals=approvals))


def of_key(approval: Approval, key: KnownKey | None, drafted_at: float) -> Approval:
    """The approval with what is known of its key."""
    if key is None:
        return replace(approval, shop=None, holder=None)
    too_new = key.holds_since > drafted_at
    return replace(approval, shop=key.shop, holder=key.holder, revoked=key.revoked, too_new=too_new)


def edit(
    proposal: Proposal, who: str, changes: Iterable[EntryChange], reason: str | None = None, evidence: str | None = None
) -> Proposal:
    """The author's edit: back to a draft, with no approvals and no effect shown.

    Raises GovernanceError (wrong-state, not-the-author, reason-missing).
    """
    _live(proposal)
    if who != proposal.author:
        raise GovernanceError("not-the-author", f"Only its author, {_author(proposal)}, can edit it.")
    reason = proposal.reason if reason is None else reason
    evidence = proposal.evidence if evidence is None else evidence
    edited = draft(proposal.id, proposal.base, changes, reason, evidence, proposal.author)
    own = {name: getattr(proposal, name) for name in ("author_shop", "author_holder", "author_role")}
    return replace(edited, **own)


def show(proposal: Proposal, shown: ShownEffect) -> Proposal:
    """The proposal with the effect its replay came to. A different effect leaves earlier approvals without force.

    Raises GovernanceError (wrong-state).
    """
    _live(proposal)
    return _counted(replace(proposal, shown=shown))


def work_out(proposal: Proposal, who: str, role: str) -> None:
    """Whether somebody may have its effect worked out, or may stop that: its author and stewards, since it is dear.

    Raises GovernanceError (wrong-state, nothing-changed, not-the-author).
    """
    _live(proposal)
    if who != proposal.author and role != STEWARD:
        raise GovernanceError(
            "not-the-author",
            f"Only its author, {_author(proposal)}, or a steward can have its effect worked out, or stop that.",
        )
    _changes_something(proposal)


def open_(proposal: Proposal) -> Proposal:
    """Put it to the stewards. Raises GovernanceError (wrong-state, nothing-changed, effect-missing)."""
    _in_state(proposal, "draft")
    _changes_something(proposal)
    if proposal.shown is None:
        raise GovernanceError("effect-missing", f"Proposal {proposal.id} has not shown its effect yet.")
    return replace(proposal, state="open")


def approve(proposal: Proposal, approval: Approval) -> Proposal:
    """One steward's yes to exactly these digests.

    Raises GovernanceError (wrong-state, not-a-steward, own-proposal, own-shop, own-holder, holder-unknown, key-too-new,
    digests-differ, approved-twice).
    """
    _in_state(proposal, "open", "approved")
    who = named(approval.holder, approval.shop)
    if approval.role != STEWARD:
        raise GovernanceError("not-a-steward", f"{who} is {approval.role}: only a steward can approve.")
    if approval.who == proposal.author:
        raise GovernanceError("own-proposal", f"{who} made this proposal: another steward has to approve it.")
    dependence = _dependence(proposal, approval)
    if dependence is not None:
        raise GovernanceError(dependence.kind, dependence.refusal)
    if approval.digests != proposal.digests:
        raise GovernanceError("digests-differ", f"The approval is of something else: {_differing(proposal, approval)}.")
    for earlier in proposal.valid_approvals:
        if earlier.who == approval.who or same_holder(earlier.holder, approval.holder):
            raise GovernanceError("approved-twice", f"{who} has approved this already: another steward is needed.")
        if earlier.shop == approval.shop:
            raise GovernanceError(
                "approved-twice",
                f"{named(earlier.holder, earlier.shop)} has approved this already: a steward of another shop than"
                f" {approval.shop} is needed.",
            )
    others = tuple(earlier for earlier in proposal.approvals if earlier.who != approval.who)
    return _counted(replace(proposal, approvals=(*others, approval)))


def decline(proposal: Proposal, who: str, role: str, reason: str) -> Proposal:
    """A steward's no to somebody else's proposal, with its reason.

    Raises GovernanceError (wrong-state, not-a-steward, own-proposal, reason-missing).
    """
    _live(proposal)
    if role != STEWARD:
        raise GovernanceError("not-a-steward", f"Your key is {role}: only a steward can decline.")
    if who == proposal.author:
        raise GovernanceError("own-proposal", "You made this proposal: withdraw it instead.")
    _said(reason, "Declining needs its reason.")
    return replace(proposal, state="declined", ended_because=reason)


def withdraw(proposal: Proposal, who: str, reason: str) -> Proposal:
    """The author's taking back, with its reason.

    Raises GovernanceError (wrong-state, not-the-author, reason-missing).
    """
    _live(proposal)
    if who != proposal.author:
        raise GovernanceError("not-the-author", f"Only its author, {_author(proposal)}, can withdraw it.")
    _said(reason, "Withdrawing needs its reason.")
    return replace(proposal, state="withdrawn", ended_because=reason)


def on_head(base: Base, head: Base) -> None:
    """Whether what starts from ``base`` still starts from the head. Raises GovernanceError (base-moved)."""
    if base != head:
        raise GovernanceError(
            "base-moved",
            f"The book moved on: this starts from revision {base.revision} ({base.digest}), the head is"
            f" {head.revision} ({head.digest}) now: propose the change again.",
        )


def moved(proposal: Proposal, head: Base) -> Proposal:
    """The proposal before a new head: void where its base is another. Ended ones stay as they are."""
    if proposal.state not in LIVE:
        return proposal
    try:
        on_head(proposal.base, head)
    except GovernanceError as error:
        return replace(proposal, state="void", ended_because=str(error))
    return proposal


def publish(proposal: Proposal, head: Base) -> Proposal:
    """The proposal as published, if nothing stands against it; the store still compares and sets the head.

    Raises GovernanceError (wrong-state, base-moved, approvals-missing).
    """
    _live(proposal)
    on_head(proposal.base, head)
    lacking = proposal.approvals_needed - len(proposal.valid_approvals)
    if proposal.state == "draft" or lacking > 0:
        raise GovernanceError("approvals-missing", _lacking(proposal))
    return replace(proposal, state="published")


def revert(
    proposal_id: str,
    old: Documents,
    new: Documents,
    base: Base,
    reason: str,
    author: str,
    author_key: KnownKey | None = None,
) -> Proposal:
    """A new draft that takes ``new`` (the head, ``base``) back to ``old``.

    Raises GovernanceError (nothing-changed, reason-missing), changes.ChangeError.
    """
    changes = difference(new, old)
    if not changes:
        raise GovernanceError("nothing-changed", "The two revisions say the same: there is nothing to take back.")
    entries = counted(len(changes), "entry", "entries")
    evidence = f"Takes back what makes {base.digest} differ from an earlier revision: {entries}."
    return draft(proposal_id, base, changes, reason, evidence, author, author_key)


def _author(proposal: Proposal) -> str:
    """The author in a sentence."""
    return proposal.author if proposal.author_shop is None else named(proposal.author_holder, proposal.author_shop)


def _counted(proposal: Proposal) -> Proposal:
    """Open or approved, as its valid approvals make it; drafts stay drafts."""
    if proposal.state == "draft":
        return proposal
    enough = len(proposal.valid_approvals) >= proposal.approvals_needed
    return replace(proposal, state="approved" if enough else "open")


def _live(proposal: Proposal) -> None:
    _in_state(proposal, *LIVE)


def _in_state(proposal: Proposal, *states: str) -> None:
    if proposal.state not in states:
        raise GovernanceError("wrong-state", f"Proposal {proposal.id} is {proposal.state}, not {' or '.join(states)}.")


def _changes_something(proposal: Proposal) -> None:
    if not proposal.changes:
        raise GovernanceError("nothing-changed", f"Proposal {proposal.id} changes nothing: say what it should change.")


def _said(text: str, message: str) -> None:
    if not text.strip():
        raise GovernanceError("reason-missing", message)


def _differing(proposal: Proposal, approval: Approval) -> str:
    own = proposal.digests or (proposal.change_digest, proposal.base.digest, "no replay")
    parts = zip(("changes", "base", "replay"), own, approval.digests, strict=True)
    return ", ".join(f"its {name} is {theirs}, the proposal's {mine}" for name, mine, theirs in parts if mine != theirs)


def _lacking(proposal: Proposal) -> str:
    needed, there = proposal.approvals_needed, len(proposal.valid_approvals)
    shops = "two other shops" if needed > 1 else "another shop"
    stewards = f"approvals by stewards of {shops} that it needs"
    why = "; it loosens what keeps people safe" if needed > 1 else ""
    lapsed = [
        f" The approval of {named(approval.holder, approval.shop)} does not count. {lapse}"
        for approval, lapse in zip(proposal.approvals, proposal.lapses, strict=True)
        if lapse is not None
    ]
    return f"Proposal {proposal.id} has {there} of the {needed} {stewards}{why}.{''.join(lapsed)}"


__all__ = [
    "LIVE",
    "Approval",
    "Base",
    "GovernanceError",
    "KnownKey",
    "Proposal",
    "ShownEffect",
    "approve",
    "decline",
    "draft",
    "edit",
    "moved",
    "named",
    "of_key",
    "on_head",
    "open_",
    "publish",
    "read_changes",
    "read_proposal",
    "revert",
    "same_holder",
    "show",
    "with_keys",
    "withdraw",
    "work_out",
]
