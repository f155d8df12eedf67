"""A proposal's life: every step that is refused, and one from draft to publication and back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from accord_rules.documents.reading import DocumentError
from accord_rules.governance.changes import EntryChange, apply, check
from accord_rules.governance.effect import effect
from accord_rules.governance.proposal import (
    Approval,
    Base,
    GovernanceError,
    KnownKey,
    Proposal,
    ShownEffect,
    approve,
    decline,
    draft,
    edit,
    moved,
    of_key,
    open_,
    publish,
    read_proposal,
    revert,
    same_holder,
    show,
    with_keys,
    withdraw,
)
from accord_rules.revision.book import Book

Changed = Callable[..., EntryChange]
BASE = Base(12, "sha256:base")
SHOWN = ShownEffect("sha256:replay")
UNSAFE = ShownEffect("sha256:replay", ("Safety limit x goes from 1 to 2; lower is stricter.",))
CHANGES = (EntryChange("rules", "dye-on-nylon", None),)
SHOPS = {"ann": "north", "abe": "north", "bob": "south", "ben": "south", "cleo": "east", "sue": "west"}
# "sue" is another key of Ann's, of another shop and with her name spelt otherwise.
HOLDERS = {"ann": "Ann Reyes", "abe": "Abe Stone", "bob": "Bob Reed", "ben": "Ben Wynn", "cleo": "Cleo Marsh",
           "sue": "  ANN  reyes "}  # fmt: skip
DRAFTED_AT, BEFORE, AFTER = 1000.0, 1000.0, 1000.5


def drafted() -> Proposal:
    return draft("pr_1", BASE, CHANGES, "It blocks what works.", "Forty pieces washed.", "ann", keys()["ann"])


def opened(shown: ShownEffect = SHOWN) -> Proposal:
    return open_(show(drafted(), shown))


def yes(proposal: Proposal, who: str, role: str = "steward", **fields: str) -> Approval:
    assert proposal.digests is not None
    bound = dict(zip(("change_digest", "base_digest", "replay_digest"), proposal.digests, strict=True))
    return Approval(who=who, role=role, **(bound | fields), shop=SHOPS[who], holder=HOLDERS[who])


def keys(*revoked: str) -> dict[str, KnownKey]:
    return {
        who: KnownKey(shop, "owner" if who == "ann" else "steward", HOLDERS[who], BEFORE, who in revoked)
        for who, shop in SHOPS.items()
    }


def refused(kind: str, step: Callable[..., Any], *args: Any) -> str:
    with pytest.raises(GovernanceError) as error:
        step(*args)
    assert error.value.kind == kind
    return str(error.value)


def test_one_steward_is_enough_where_nothing_is_loosened() -> None:
    proposal = approve(opened(), yes(opened(), "bob"))
    assert proposal.state == "approved"
    assert publish(proposal, BASE).state == "published"


def test_it_has_to_say_why() -> None:
    refused("reason-missing", draft, "pr_1", BASE, CHANGES, " ", "evidence", "ann")
    refused("reason-missing", draft, "pr_1", BASE, CHANGES, "reason", "", "ann")


def test_it_is_opened_only_with_changes_and_their_effect() -> None:
    refused("effect-missing", open_, drafted())
    refused("nothing-changed", open_, show(edit(drafted(), "ann", ()), SHOWN))
    refused("wrong-state", open_, opened())


def test_nobody_approves_their_own() -> None:
    assert "another steward" in refused("own-proposal", approve, opened(), yes(opened(), "ann"))


def test_no_shop_approves_its_own() -> None:
    """Author and approver may be one person with two keys; a shop does not take a change through alone."""
    assert "a steward of another shop" in refused("own-shop", approve, opened(), yes(opened(), "abe"))
    unknown = replace(yes(opened(), "bob"), shop=None)
    refused("own-shop", approve, opened(), unknown)


def test_nobody_approves_their_own_with_a_key_of_another_shop() -> None:
    """Two keys, two shops, one person: told by the name, however it is spelt."""
    assert "another person" in refused("own-holder", approve, opened(), yes(opened(), "sue"))
    forged = replace(opened(), approvals=(yes(opened(), "sue"),), state="approved")
    assert forged.lapses == ("Its holder is the author.",)
    refused("approvals-missing", publish, forged, BASE)


def test_one_person_with_keys_of_two_shops_is_not_two_stewards() -> None:
    proposal = approve(opened(UNSAFE), yes(opened(UNSAFE), "bob"))
    twin = replace(yes(proposal, "cleo"), holder="bob reed")
    refused("approved-twice", approve, proposal, twin)
    forged = replace(proposal, approvals=(*proposal.approvals, twin), state="approved")
    assert forged.lapses == (None, "Its holder has approved already with another key.")
    refused("approvals-missing", publish, forged, BASE)


def test_a_key_that_names_nobody_approves_nothing_and_its_drafts_neither() -> None:
    """Keys from before keys named a holder: nobody can tell who else it is, which counts against it."""
    refused("holder-unknown", approve, opened(), replace(yes(opened(), "bob"), holder=None))
    nameless = {**keys(), "ann": replace(keys()["ann"], holder=None)}
    old = with_keys(opened(), nameless, DRAFTED_AT)
    assert "propose it anew" in refused("holder-unknown", approve, old, yes(old, "bob"))
    approved = with_keys(approve(opened(), yes(opened(), "bob")), nameless, DRAFTED_AT)
    assert (approved.state, approved.lapses) == ("open", ("The author's key names no holder.",))


def test_a_key_made_after_the_draft_does_not_approve_it() -> None:
    late = {**keys(), "bob": replace(keys()["bob"], holds_since=AFTER)}
    seen = with_keys(opened(), late, DRAFTED_AT)
    approval = of_key(yes(seen, "bob"), late["bob"], DRAFTED_AT)
    assert "from before" in refused("key-too-new", approve, seen, approval)
    stored = with_keys(approve(opened(), yes(opened(), "bob")), late, DRAFTED_AT)
    assert stored.lapses == ("Its key holds only since after the draft.",)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("Ann Reyes", "ann reyes", True), ("Ann Reyes", " Ann\u00a0 Reyes", True), ("Zoe\u0308", "Zo\u00eb", True),
     ("Ann\u200b Rey\u202ees", "Ann Reyes", True),
     ("Stra\u00dfe", "STRASSE", True), ("Ann", "Anna", False), ("Ann", None, False), (None, None, False)],
)  # fmt: skip
def test_one_name_is_one_person_however_it_is_written(one: str | None, other: str | None, same: bool) -> None:
    """Unicode 15, section 3.13: a caseless match under compatibility normalisation."""
    assert same_holder(one, other) is same


def test_what_the_program_drafts_is_no_shops() -> None:
    own = draft("pr_1", BASE, CHANGES, "Twelve failed.", "Reports.", "outcomes")
    own = open_(show(own, SHOWN))
    for who in ("abe", "bob"):
        assert approve(own, yes(own, who)).state == "approved"


def test_two_stewards_of_one_shop_are_not_two() -> None:
    proposal = approve(opened(UNSAFE), yes(opened(UNSAFE), "bob"))
    refusal = refused("approved-twice", approve, proposal, yes(proposal, "ben"))
    assert "Bob Reed of south has approved this already" in refusal
    assert "another shop" in refusal
    forged = replace(proposal, approvals=(yes(proposal, "bob"), yes(proposal, "ben")), state="approved")
    assert [approval.who for approval in forged.valid_approvals] == ["bob"]
    refused("approvals-missing", publish, forged, BASE)


def test_an_approval_lapses_with_its_key() -> None:
    proposal = approve(opened(), yes(opened(), "bob"))
    assert with_keys(proposal, keys(), DRAFTED_AT) == proposal
    lapsed = with_keys(proposal, keys("bob"), DRAFTED_AT)
    assert (lapsed.state, lapsed.valid_approvals, lapsed.lapses) == ("open", (), ("Its key was revoked.",))
    refusal = refused("approvals-missing", publish, lapsed, BASE)
    assert "0 of the 1" in refusal
    assert "The approval of Bob Reed of south does not count. Its key was revoked." in refusal
    assert approve(lapsed, yes(lapsed, "ben")).state == "approved", "its shop may approve with a key that holds"


def test_what_is_published_keeps_the_approvals_it_had() -> None:
    published = publish(approve(opened(), yes(opened(), "bob")), BASE)
    assert with_keys(published, keys("bob"), DRAFTED_AT).lapses == (None,)


def test_shops_are_told_by_the_keys_whatever_was_written() -> None:
    """Approvals written before shops were, or moved by hand."""
    proposal = approve(opened(), yes(opened(), "bob"))
    moved_by_hand = replace(proposal, author_shop="west", approvals=(replace(yes(proposal, "abe"), shop="west"),))
    known = with_keys(moved_by_hand, keys(), DRAFTED_AT)
    assert known.author_shop == "north"
    assert known.lapses == ("Its key is of the same shop as the author's.",)
    assert with_keys(proposal, {}, DRAFTED_AT).lapses == ("Its key is not known, or waits for a second admin.",)


def test_approving_anew_leaves_one_approval() -> None:
    """A stale approval goes when its steward approves what the proposal is now."""
    proposal = show(approve(opened(), yes(opened(), "bob")), ShownEffect("sha256:another"))
    assert "its replay is sha256:replay" in (proposal.lapses[0] or "")
    again = approve(proposal, yes(proposal, "bob"))
    assert [(approval.who, approval.replay_digest) for approval in again.approvals] == [("bob", "sha256:another")]
    assert again.lapses == (None,)


@pytest.mark.parametrize("role", ["counter", "operator", "owner", "admin"])
def test_only_stewards_approve_and_decline(role: str) -> None:
    refused("not-a-steward", approve, opened(), yes(opened(), "bob", role))
    refused("not-a-steward", decline, opened(), "bob", role, "No.")


@pytest.mark.parametrize("digest", ["change_digest", "base_digest", "replay_digest"])
def test_an_approval_of_something_else_is_refused(digest: str) -> None:
    name = {"change_digest": "changes", "base_digest": "base", "replay_digest": "replay"}[digest]
    assert f"its {name} is sha256:other" in refused(
        "digests-differ", approve, opened(), yes(opened(), "bob", **{digest: "sha256:other"})
    )


def test_a_draft_cannot_be_approved_or_published() -> None:
    refused("wrong-state", approve, show(drafted(), SHOWN), yes(show(drafted(), SHOWN), "bob"))
    refused("approvals-missing", publish, show(drafted(), SHOWN), BASE)


def test_loosening_safety_takes_two_different_stewards() -> None:
    proposal = approve(opened(UNSAFE), yes(opened(UNSAFE), "bob"))
    assert proposal.state == "open"
    assert "1 of the 2" in refused("approvals-missing", publish, proposal, BASE)
    refused("approved-twice", approve, proposal, yes(proposal, "bob"))
    proposal = approve(proposal, yes(proposal, "cleo"))
    assert proposal.state == "approved"
    assert publish(proposal, BASE).state == "published"


def test_an_edit_drops_approvals_and_the_effect() -> None:
    proposal = approve(opened(), yes(opened(), "bob"))
    edited = edit(proposal, "ann", (EntryChange("rules", "dye-on-acetate", None),))
    assert (edited.state, edited.approvals, edited.shown) == ("draft", (), None)
    assert edited.reason == proposal.reason
    refused("not-the-author", edit, proposal, "bob", CHANGES)
    refused("approvals-missing", publish, open_(show(edited, SHOWN)), BASE)


def test_another_effect_leaves_approvals_without_force() -> None:
    proposal = approve(opened(), yes(opened(), "bob"))
    again = show(proposal, ShownEffect("sha256:another"))
    assert (again.state, again.valid_approvals) == ("open", ())
    refused("approvals-missing", publish, again, BASE)
    assert approve(again, yes(again, "bob")).state == "approved"
    assert show(proposal, SHOWN) == proposal


def test_a_forged_approval_in_the_record_does_not_count() -> None:
    """Whatever was stored, only approvals of other stewards with the right digests are counted."""
    proposal = opened()
    forged = (yes(proposal, "ann"), yes(proposal, "bob", "owner"), yes(proposal, "cleo", change_digest="sha256:other"))
    refused("approvals-missing", publish, replace(proposal, approvals=forged, state="approved"), BASE)


@pytest.mark.parametrize("head", [Base(13, "sha256:next"), Base(12, "sha256:other"), Base(13, "sha256:base")])
def test_a_moved_base_voids_it(head: Base) -> None:
    proposal = approve(opened(), yes(opened(), "bob"))
    assert "propose the change again" in refused("base-moved", publish, proposal, head)
    void = moved(proposal, head)
    assert void.state == "void"
    assert "revision 12" in (void.ended_because or "")
    refused("wrong-state", publish, void, BASE)
    assert moved(proposal, BASE) is proposal


def test_who_made_it_withdraws_it_and_another_steward_declines_it() -> None:
    assert "withdraw it instead" in refused("own-proposal", decline, opened(), "ann", "steward", "No.")
    assert "Only its author, Ann Reyes of north" in refused("not-the-author", withdraw, opened(), "bob", "No.")


def test_declining_and_withdrawing_need_a_reason_and_are_final() -> None:
    refused("reason-missing", decline, opened(), "bob", "steward", "  ")
    refused("reason-missing", withdraw, opened(), "ann", "  ")
    declined = decline(opened(), "bob", "steward", "The wash test is missing.")
    withdrawn = withdraw(drafted(), "ann", "A mistake.")
    assert (declined.state, declined.ended_because) == ("declined", "The wash test is missing.")
    assert (withdrawn.state, withdrawn.ended_because) == ("withdrawn", "A mistake.")
    for ended in (declined, withdrawn):
        for step in (open_, lambda p: edit(p, "ann", ()), lambda p: show(p, SHOWN), lambda p: publish(p, BASE)):
            refused("wrong-state", step, ended)
        refused("wrong-state", decline, ended, "bob", "steward", "No.")
        refused("wrong-state", withdraw, ended, "ann", "No.")
        assert moved(ended, Base(13, "sha256:next")) is ended


def test_a_proposal_reads_back_as_it_was_written() -> None:
    for proposal in (
        drafted(),
        approve(opened(UNSAFE), yes(opened(UNSAFE), "bob")),
        withdraw(drafted(), "ann", "No."),
    ):
        assert read_proposal(proposal.document()) == proposal
    with pytest.raises(DocumentError):
        read_proposal(drafted().document() | {"state": "loved"})


def test_one_from_draft_to_publication_and_back(book: Book, changed: Changed) -> None:
    """The limit from which an order needs a first piece is lowered, found wanting, and taken back."""
    name = "order.first_piece_quantity_from"
    head = Base(book.revision, book.digest)
    changes = (changed("limits", name, note="Half of it was enough in the spring."),)
    new = check(book.documents, changes, head.revision + 1)
    shown = effect(book, new, [], 40)
    proposal = draft("pr_1", head, changes, "The note was missing.", "Talked over in spring.", "ann")
    proposal = open_(show(proposal, ShownEffect(shown.replay_digest, shown.loosens_safety)))
    proposal = approve(proposal, yes(proposal, "bob"))
    assert publish(proposal, head).state == "published"

    # A second one on the same base has lost.
    rebased = moved(opened(), Base(new.revision, new.digest))
    assert rebased.state == "void"

    # Taken back by a new proposal that needs its own approval.
    now = Base(new.revision, new.digest)
    back = revert("pr_2", book.documents, new.documents, now, "It misled.", "bob")
    assert (back.state, back.base) == ("draft", now)
    assert apply(new.documents, back.changes) == book.documents
    restored = check(new.documents, back.changes, now.revision + 1)
    assert restored.digest == book.digest
    refused("nothing-changed", revert, "pr_3", book.documents, restored.documents, now, "Again.", "bob")
