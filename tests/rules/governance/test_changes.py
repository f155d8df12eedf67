"""Change sets: read strictly, applied without touching what they are laid on, and taken back exactly."""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from typing import Any

import pytest

from accord_rules.documents.files import BookError
from accord_rules.documents.reading import DocumentError
from accord_rules.governance.changes import (
    ABSENT,
    CHANGEABLE,
    ChangeError,
    EntryChange,
    apply,
    change_digest,
    changes_document,
    check,
    difference,
    entry_digest,
    read_changes,
)
from accord_rules.governance.refusals import faults_in
from accord_rules.revision.book import Book

Changed = Callable[..., EntryChange]


def test_a_change_set_reads_back_as_it_was_written(changed: Changed) -> None:
    changes = (changed("limits", "order.shift", note="Eight hours."), EntryChange("rules", "dye-on-nylon", None))
    assert read_changes(changes_document(changes)) == changes


@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        ({}, "/changes"),
        ([{"kind": "limits", "id": "x"}], "/changes/0/value"),
        ([{"kind": "sizes", "id": "x", "value": None}], "/changes/0/kind"),
        ([{"kind": "limits", "id": "x", "value": 5}], "/changes/0/value"),
        ([{"kind": "limits", "id": "x", "value": {"a": None}}], "/changes/0/value/a"),
        ([{"kind": "limits", "id": "x", "value": {"a/b": [float("nan")]}}], "/changes/0/value/a~1b/0"),
        ([{"kind": "limits", "id": "x", "value": {"a": "\ud800"}}], "/changes/0/value/a"),
        ([{"kind": "limits", "id": "x", "value": None, "why": "?"}], "/changes/0/why"),
        ([{"kind": "limits", "id": "x", "value": None}] * 2, "/changes/1"),
    ],
)
def test_what_is_no_change_set_is_refused_with_its_place(document: Any, pointer: str) -> None:
    with pytest.raises(DocumentError) as refused:
        read_changes(document)
    assert pointer in {fault.pointer for fault in refused.value.faults}


def test_an_entry_too_deep_or_too_long_is_refused() -> None:
    deep: dict[str, Any] = {}
    for _ in range(20):
        deep = {"a": deep}
    for value in (deep, {"a": "x" * 70_000}):
        with pytest.raises(DocumentError):
            read_changes([{"kind": "limits", "id": "x", "value": value}])


def test_applying_leaves_the_given_documents_alone(book: Book, changed: Changed) -> None:
    before = copy.deepcopy({kind: dict(entries) for kind, entries in book.documents.items()})
    change = changed("limits", "order.shift", note="Eight hours.")
    result = apply(book.documents, [change])
    assert result["limits"]["order.shift"]["note"] == "Eight hours."
    result["limits"]["order.shift"]["note"] = "changed later"
    assert change.value is not None
    assert change.value["note"] == "Eight hours."
    assert book.documents == before


def test_a_change_made_against_another_state_of_the_entry_is_refused(book: Book) -> None:
    stale = EntryChange("limits", "order.shift", {"value": 1}, "sha256:0")
    gone = EntryChange("limits", "order.no-such", None)
    known = EntryChange("limits", "order.shift", {"value": 1}, ABSENT)
    with pytest.raises(ChangeError) as refused:
        apply(book.documents, [stale, gone, known])
    assert [fault.pointer for fault in refused.value.faults] == [
        "/changes/0/before",
        "/changes/1/id",
        "/changes/2/before",
    ]


def test_a_difference_makes_the_one_of_the_other_and_back(book: Book) -> None:
    """Law: apply(a, difference(a, b)) == b, for random changes of entries of every kind."""
    rng = random.Random(20261125)
    for _ in range(25):
        changes = []
        for kind in rng.sample(CHANGEABLE, 3):
            name = rng.choice([*book.documents[kind], "entirely-new"])
            new = name == "entirely-new"
            value = None if not new and rng.random() < 0.4 else {"n": rng.random(), "list": [rng.randint(0, 9), "x"]}
            changes.append(EntryChange(kind, name, value))
        changed_documents = apply(book.documents, changes)
        there, back = difference(book.documents, changed_documents), difference(changed_documents, book.documents)
        assert apply(book.documents, there) == changed_documents
        assert apply(changed_documents, back) == book.documents
        assert {(c.kind, c.id) for c in there} == {(c.kind, c.id) for c in changes}
        assert difference(changed_documents, changed_documents) == ()


@pytest.mark.parametrize(("one", "other"), [(1, 1.0), (1, True), (0.0, -0.0), ([1], [1.0]), ({"a": 0}, {"a": False})])
def test_a_difference_is_what_the_digest_tells_apart(one: Any, other: Any, book: Book) -> None:
    """Python holds each pair to be equal; their canonical forms (RFC 8259 has them as other texts) are not."""
    name = next(iter(book.documents["sources"]))

    def with_note(value: Any) -> dict[str, Any]:
        sources = {**book.documents["sources"], name: {**book.documents["sources"][name], "note": value}}
        return {**book.documents, "sources": sources}

    assert one == other
    (change,) = difference(with_note(one), with_note(other))
    assert (change.kind, change.id) == ("sources", name)
    assert difference(with_note(one), with_note(copy.deepcopy(one))) == ()


def test_what_comes_with_the_code_is_no_difference_a_proposal_can_make(book: Book) -> None:
    with_example = {**book.documents, "base_example": {"order": {}, "shop": {}}}
    with pytest.raises(ChangeError, match="base_example"):
        difference(book.documents, with_example)


def test_the_digest_is_of_what_is_done_whatever_its_order(changed: Changed) -> None:
    first, second = changed("limits", "order.shift", note="Eight hours."), EntryChange("rules", "dye-on-nylon", None)
    unmarked = EntryChange(first.kind, first.id, first.value)
    assert change_digest([first, second]) == change_digest([second, unmarked])
    assert change_digest([first]) != change_digest([first, second])
    assert change_digest([first]) != change_digest([changed("limits", "order.shift", note="Nine hours.")])


def test_a_changed_book_is_loaded_as_its_revision(book: Book, changed: Changed) -> None:
    settings = check(book.documents, [changed("limits", "order.shift", note="Eight hours.")], 7)
    assert settings.revision == 7
    assert settings.limits["order.shift"].note == "Eight hours."
    assert settings.digest != book.digest


def test_a_change_that_makes_no_book_is_refused_with_the_loaders_reasons(book: Book, changed: Changed) -> None:
    with pytest.raises(BookError, match=r"limits: order\.shift: /stricter"):
        check(book.documents, [changed("limits", "order.shift", stricter="sideways")])
    with pytest.raises(BookError, match="there is no 'ptfe-sheet' in consumables"):
        check(book.documents, [EntryChange("consumables", "ptfe-sheet", None)])
    with pytest.raises(BookError, match="base_example"):
        check(book.documents, [EntryChange("substrates", "woven", None)])
    # The rule's examples stand on the old value: they have to be moved in the same change set.
    with pytest.raises(BookError, match=r"dye-on-too-little-polyester\.toml: /fires"):
        check(book.documents, [changed("limits", "dye.polyester_share_least", value=35)])


def test_what_is_wrong_in_a_changed_entry_is_told_at_its_place_in_the_changes(book: Book, changed: Changed) -> None:
    rule = "dye-on-nylon"
    changes = [
        changed("limits", "order.shift", stricter="sideways"),
        changed("rules", rule, when="item.textil", because="It is {item.nylon_shar}."),
        EntryChange("consumables", "heat-tape", None),
    ]
    with pytest.raises(BookError) as refused:
        check(book.documents, [changes[0]])
    assert [fault.pointer for fault in faults_in(changes, refused.value)] == ["/changes/0/value/stricter"]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes[1:])
    messages = {fault.pointer: fault.message_with_hints for fault in faults_in(changes, refused.value)}
    assert "did you mean item.textile" in messages["/changes/1/value/when"]
    assert "did you mean item.nylon_share" in messages["/changes/1/value/because"]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes[2:])
    # The word tape can mean it.
    assert [fault.pointer for fault in faults_in(changes[2:], refused.value)] == ["/changes/0"]
    assert [fault.pointer for fault in faults_in(changes, refused.value)] == ["/changes/2"]


def test_what_the_quiet_shop_stocks_can_be_withdrawn(book: Book) -> None:
    """The shop that examples start from comes with the code: it does without what the book has no more."""
    assert "film-blocker-white" in book.example_shop.stock.products
    changed = check(book.documents, [EntryChange("products", "film-blocker-white", None)])
    assert "film-blocker-white" not in changed.example_shop.stock.products
    assert changed.example_shop.stock.consumables == book.example_shop.stock.consumables


def test_the_quiet_shop_as_shipped_stocks_what_the_shipped_book_has(book: Book) -> None:
    assert book.example_shop_document["stock"] == book.documents["base_example"]["shop"]["stock"]


@pytest.mark.parametrize(
    ("kind", "name", "told"),
    [
        pytest.param(
            "products",
            "film-hot-peel-fast",
            "the product film-hot-peel-fast can't be withdrawn alone, since 1 entry of the book needs it: rule"
            " transfer-withdrawn (example 1 where it does not, example 2 where it does not). Change or withdraw"
            " those in the same proposal, which takes a copy of the book's files and the command accord propose",
            id="examples name it",
        ),
        pytest.param(
            "press_types",
            "draw",
            "the type of press draw can't be withdrawn alone, since 4 entries of the book need it: rule"
            " draw-press-jerks-carrier; step drawer-out; step press-drawer; ambiguous word heat-press. Change",
            id="conditions name it",
        ),
        pytest.param("press_types", "clamshell", "; and 6", id="more than are named"),
        pytest.param(
            "substrates",
            "woven",
            "the substrate woven can't be withdrawn by a proposal: the plain order that all rules are tried on uses it,"
            " and that comes with the program, so that only a new version of the program can do without it",
            id="the quiet order is of it",
        ),
        pytest.param(
            "markets",
            "elsewhere",
            "the market elsewhere can't be withdrawn: it is the market of whoever sells where the book has none",
            id="always needed",
        ),
    ],
)
def test_what_still_needs_a_withdrawn_entry_is_one_sentence(kind: str, name: str, told: str, book: Book) -> None:
    changes = [EntryChange(kind, name, None)]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    (fault,) = faults_in(changes, refused.value)
    assert (fault.pointer, fault.code) == ("/changes/0", "breaks-book")
    assert told in fault.message
    assert ".toml" not in fault.message
    assert "base_example" not in fault.message


def test_an_example_that_a_changed_limit_breaks_is_told_in_words(book: Book, changed: Changed) -> None:
    changes = [changed("limits", "dye.polyester_share_least", value=35)]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    messages = [fault.message for fault in faults_in(changes, refused.value)]
    assert messages
    assert all(message.startswith(("rule ", "step ")) for message in messages)
    assert any(", example 1 where it applies: " in message for message in messages)
    assert not [message for message in messages if "/fires" in message or "/silent" in message]


def test_a_limit_that_is_needed_is_missed_at_the_change_that_takes_it_out(book: Book, changed: Changed) -> None:
    changes = [
        changed("limits", "order.shift", note="Eight hours."),
        EntryChange("limits", "dye.nylon_share_from", None),
    ]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    refusals = faults_in(changes, refused.value)
    assert {fault.pointer for fault in refusals} == {"/changes/1"}
    assert not [fault for fault in refusals if ".toml" in fault.message]


def test_a_misspelt_name_in_a_rule_has_its_code_and_the_nearest_names(book: Book, changed: Changed) -> None:
    changes = [changed("rules", "dye-on-nylon", when="item.textil", because="It is {item.nylon_shar}.")]
    with pytest.raises(BookError) as refused:
        check(book.documents, changes)
    misspelt = [(fault.pointer, fault.code, fault.nearest[0]) for fault in faults_in(changes, refused.value)]
    assert misspelt == [
        ("/changes/0/value/when", "not-in-book", "item.textile"),
        ("/changes/0/value/because", "not-in-book", "item.nylon_share"),
    ]


@pytest.mark.parametrize("value", [None, {"dimension": "time"}])
def test_a_limit_that_facts_are_worked_out_with_stays(value: Any, book: Book) -> None:
    with pytest.raises(ChangeError, match=r"migration\.margin"):
        check(book.documents, [EntryChange("limits", "migration.margin", value)])


def test_before_is_the_digest_of_the_entry(book: Book) -> None:
    assert entry_digest(book.documents, "limits", "order.shift").startswith("sha256:")
    assert entry_digest(book.documents, "limits", "order.no-such") == ABSENT
