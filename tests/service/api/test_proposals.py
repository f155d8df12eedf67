"""Proposals from draft to publication over a real store, and everything that must keep one out of the book.

Source of what is expected: the collective's own agreement on how its book changes (a choice of this project); ETags and
preconditions as in RFC 9110 section 13.
"""

from __future__ import annotations

import copy
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.effect_workers import FEW_EDGES, work_out
from tests.tiers import of_this_run
from werkzeug.test import TestResponse

from accord_rules.infer.engine import EngineError
from accord_rules.revision.book import Book
from accord_service.app import create_app
from accord_service.steps import proposals
from accord_service.steps.proposals import Overtaken, Steps
from accord_service.store import Store, Transaction
from accord_service.worker import edition

# The share of polyester from which a dye print is not called paler; no example of the book stands close above it.
LIMIT, RULE = "dye.polyester_share_full", "dye-paler-on-blend"
SHOP = """
id = "{id}"
name = "{id}"
market = "us"
unit_system = "metric"
standing = ["trained-operators"]
[[presses]]
id = "bench"
type = "swing-away"
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet", "plain-paper"]
"""
KEYS = [
    ("one", "counter"),
    ("one", "operator"),
    ("one", "owner"),
    ("one", "steward"),
    ("two", "steward"),
    ("two", "counter"),
    ("collective", "steward"),
    ("collective", "admin"),
    ("one", "admin"),
]
ASKED: dict[str, Any] = {
    "reference": "private",
    "item": {"substrate": "knit", "fibres": {"PES": 88, "CO": 12}, "colour": "white", "coating": "none"},
    "decorations": [
        {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}
    ],
    "press": "bench",
}


@pytest.fixture(scope="module")
def town(open_collective: Any) -> Any:
    return open_collective([SHOP.format(id="one"), SHOP.format(id="two")], KEYS)


@pytest.fixture(scope="module")
def served(town: Any) -> Iterator[Flask]:
    app = create_app(town.config)
    yield app
    app.extensions["accord"].close()


@pytest.fixture
def workers(town: Any) -> Iterator[list[Flask]]:
    """Two more workers of the same service."""
    apps = [create_app(town.config) for _ in range(2)]
    yield apps
    for app in apps:
        app.extensions["accord"].close()


class Desk:
    """Somebody with a key at the service."""

    def __init__(self, client: FlaskClient, headers: dict[str, str]) -> None:
        self.client, self.headers = client, headers

    def get(self, address: str) -> Any:
        answer = self.client.get(address, headers=self.headers)
        assert answer.status_code == 200, answer.text
        return answer.json

    def ask(self, method: str, address: str, body: Any = None, **headers: str) -> TestResponse:
        return self.client.open(address, method=method, json=body, headers=self.headers | headers)

    def post(self, address: str, body: Any = None, **headers: str) -> Any:
        answer = self.ask("POST", address, body, **headers)
        assert answer.status_code in (200, 201, 202), answer.text
        return answer.json


Desks = Callable[[str, str], Desk]


@pytest.fixture
def desk(town: Any, served: Flask) -> Desks:
    return lambda shop, role: Desk(served.test_client(), town.headers(shop, role))


def head(desk: Desk) -> dict[str, Any]:
    number = desk.get("/v1/revisions?limit=1")["head"]
    revision = desk.get(f"/v1/revisions/{number}")
    return {"revision": revision["revision"], "digest": revision["digest"]}


def moved(desk: Desk, limit: str = LIMIT, by: float = 1) -> list[dict[str, Any]]:
    entry = copy.deepcopy(desk.get(f"/v1/limits/{limit}")["entry"])
    entry["value"] = entry["value"] + by
    return [{"kind": "limits", "id": limit, "value": entry}]


def proposed(desk: Desk, changes: list[dict[str, Any]] | None = None, **more: Any) -> dict[str, Any]:
    return {
        "base": head(desk),
        "changes": moved(desk) if changes is None else changes,
        "reason": "Pale after a few washes.",
        "evidence": "Eleven reports.",
        **more,
    }


def drafted(desk: Desk, changes: list[dict[str, Any]] | None = None) -> Any:
    return desk.post("/v1/proposals", proposed(desk, changes))


def opened(desk: Desk, changes: list[dict[str, Any]] | None = None) -> Any:
    return put_to_the_stewards(desk, drafted(desk, changes))


def put_to_the_stewards(desk: Desk, proposal: Any) -> Any:
    """The proposal's status once its effect is worked out."""
    own = f"/v1/proposals/{proposal['proposal_id']}"
    desk.post(f"{own}/open")
    effect = worked_out(desk, proposal)
    assert effect["state"] == "done", effect["ended_because"]
    return status(desk, proposal)


def worked_out(desk: Desk, proposal: Any) -> Any:
    """The effect of a proposal that was opened, once it has ended."""
    work_out(desk.client.application.extensions["accord"].config.store_url)
    return desk.get(f"/v1/proposals/{proposal['proposal_id']}/effect")


def approve(desk: Desk, proposal: Any) -> TestResponse:
    return desk.ask("POST", f"/v1/proposals/{proposal['proposal_id']}/approve", proposal["digests"])


def publish(desk: Desk, proposal: Any) -> TestResponse:
    return desk.ask("POST", f"/v1/proposals/{proposal['proposal_id']}/publish")


def status(desk: Desk, proposal: Any) -> Any:
    return desk.get(f"/v1/proposals/{proposal['proposal_id']}/status")


def refused(answer: TestResponse, status: int, slug: str) -> str:
    assert (answer.status_code, answer.json.get("type")) == (status, f"/problems/{slug}"), answer.text
    return str(answer.json["detail"])


# -- the whole way ----------------------------------------------------------------------------------------------------


def test_a_proposal_becomes_the_book(desk: Desks) -> None:
    author, steward, counter = desk("one", "owner"), desk("two", "steward"), desk("one", "counter")
    before = head(author)
    value = author.get(f"/v1/limits/{LIMIT}")["entry"]["value"]
    draft = drafted(author)
    assert (draft["state"], draft["approvals_needed"], draft["shown"]) == ("draft", 1, None)
    shown = put_to_the_stewards(author, draft)
    assert shown["state"] == "open"
    told = steward.get(f"/v1/proposals/{draft['proposal_id']}/effect")
    assert told["replay_digest"] == shown["digests"]["replay_digest"]
    assert (told["orders"], told["replayed"], told["time_left_s"]) == (FEW_EDGES, FEW_EDGES, None)
    effect = told["effect"]
    assert effect["decision"]["kind"] == "mixed", "receptive-film-not-needed finds fewer, the other rule more"
    assert effect["replayed"] == {"recorded": 0, "recorded_left_out": 0, "edges": FEW_EDGES, "edges_left_out": 1}
    assert any(flip["rule"] == RULE for flip in effect["flips"])
    approved = approve(steward, status(steward, draft))
    assert approved.json["state"] == "approved"
    published = publish(steward, draft).json
    assert published["revision"] == before["revision"] + 1
    assert published["proposal"]["state"] == "published"
    now = counter.get(f"/v1/revisions/{published['revision']}")
    assert now["digest"] == published["digest"]
    assert (now["author_id"], len(now["approver_ids"]), now["proposal_id"]) == (
        draft["author_id"],
        1,
        draft["proposal_id"],
    )
    people = (
        {"shop_id": "one", "holder": "The owner of one", "role": "owner"},
        [{"shop_id": "two", "holder": "The steward of two", "role": "steward"}],
    )
    shown = published["proposal"]
    assert (shown["author"], [approval["by"] for approval in shown["approvals"]]) == people
    for line in (now, counter.get("/v1/revisions?limit=1")["entries"][0]):
        assert (line["author"], line["approvers"]) == people
    changes = counter.get(f"/v1/revisions/{published['revision']}/changes")["changes"]
    assert [(change["kind"], change["id"]) for change in changes] == [("limits", LIMIT)]
    time.sleep(0.6)  # a worker asks for the head each half second
    assert counter.get(f"/v1/limits/{LIMIT}")["entry"]["value"] == value + 1
    assert counter.get(f"/v1/limits/{LIMIT}?revision={before['revision']}")["entry"]["value"] == value


def test_a_revision_is_whole(desk: Desks) -> None:
    counter = desk("one", "counter")
    with_book = counter.get("/v1/revisions/1?documents=true")
    assert with_book["documents"]["limits"][LIMIT]
    assert "documents" not in counter.get("/v1/revisions/1")
    assert counter.get("/v1/revisions/1/changes")["changes"] == []


@pytest.mark.parametrize("number", ["0", "99999", "01", "x", "-1"])
def test_there_is_no_such_revision(desk: Desks, number: str) -> None:
    for address in (f"/v1/revisions/{number}", f"/v1/revisions/{number}/changes"):
        refused(desk("one", "counter").ask("GET", address), 404, "not-found")


def test_revisions_are_listed_newest_first_page_by_page(desk: Desks) -> None:
    counter = desk("one", "counter")
    newest = counter.get("/v1/revisions")["head"]
    numbers, address = [], "/v1/revisions?limit=1"
    while address:
        page = counter.get(address)
        numbers += [revision["revision"] for revision in page["entries"]]
        address = page["next"]
    assert numbers == list(range(newest, 0, -1))


def test_proposals_are_listed_by_state(desk: Desks) -> None:
    author = desk("one", "owner")
    draft = drafted(author)
    listed = author.get("/v1/proposals?state=draft&limit=1")
    assert listed["entries"][0] == status(author, draft) | author.get(f"/v1/proposals/{draft['proposal_id']}") == draft
    assert draft["proposal_id"] not in [
        proposal["proposal_id"] for proposal in author.get("/v1/proposals?state=open")["entries"]
    ]
    refused(author.ask("GET", "/v1/proposals?state=old"), 400, "bad-query")
    refused(author.ask("GET", "/v1/proposals?cursor=nonsense"), 400, "bad-query")


# -- drafting ---------------------------------------------------------------------------------------------------------


def test_what_breaks_the_book_is_refused_with_the_loaders_reasons(desk: Desks) -> None:
    author = desk("one", "owner")
    changes = [{"kind": "limits", "id": LIMIT, "value": None}]
    answer = author.ask("POST", "/v1/proposals", proposed(author, changes))
    refused(answer, 422, "faulty-document")
    assert any(RULE in error["message"] for error in answer.json["errors"])


def test_an_example_that_no_longer_holds_breaks_the_book(desk: Desks) -> None:
    """A rule's examples stand around its limits: far enough off, they turn."""
    author = desk("one", "owner")
    answer = author.ask("POST", "/v1/proposals", proposed(author, moved(author, by=-30)))
    refused(answer, 422, "faulty-document")
    assert any(error["message"].startswith(f"rule {RULE}, when: it can never hold") for error in answer.json["errors"])
    assert {error["pointer"] for error in answer.json["errors"]} == {"/changes/0"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"changes": []}, "/changes"),
        ({"reason": ""}, "/reason"),
        ({"evidence": None}, "/evidence"),
        ({"base": 1}, "/base"),
        ({"colour": "red"}, "/colour"),
        ({"changes": [{"kind": "moods", "id": "x", "value": None}]}, "/changes/0/kind"),
        ({"changes": [{"kind": "limits", "id": "x", "value": {"a": None}}]}, "/changes/0/value/a"),
    ],
)
def test_a_faulty_proposal_is_told_where(desk: Desks, change: dict[str, Any], pointer: str) -> None:
    author = desk("one", "owner")
    answer = author.ask("POST", "/v1/proposals", proposed(author) | change)
    refused(answer, 422, "faulty-document")
    assert pointer in [error["pointer"] for error in answer.json["errors"]]


@pytest.mark.parametrize(
    ("kind", "id", "keys", "pointer", "nearest"),
    [
        ("limits", LIMIT, {"dimension": "percnt"}, "/changes/1/value/dimension", "percent"),
        ("rules", RULE, {"when": "item.textil"}, "/changes/1/value/when", "item.textile"),
        ("rules", RULE, {"fix": "Mind {item.textil}."}, "/changes/1/value/fix", "item.textile"),
        ("rules", RULE, {"sources": ["common-practise"]}, "/changes/1/value/sources/0", "common-practice"),
        ("rules", RULE, {"becaus": "It is."}, "/changes/1/value/becaus", "because"),
        ("rules", RULE, {"level": "block"}, "/changes/1/value/level", "blocks"),
    ],
)
def test_a_slip_in_an_entry_is_told_at_its_field_with_the_nearest_right_word(
    desk: Desks, book: Book, kind: str, id: str, keys: dict[str, Any], pointer: str, nearest: str
) -> None:
    author = desk("one", "owner")
    entry = {"kind": kind, "id": id, "value": {**book.documents[kind][id], **keys}}
    unchanged = {"kind": "sources", "id": "common-practice", "value": book.documents["sources"]["common-practice"]}
    answer = author.ask("POST", "/v1/proposals?validate_only=true", proposed(author, [unchanged, entry]))
    refused(answer, 422, "faulty-document")
    errors = {error["pointer"]: error for error in answer.json["errors"]}
    assert pointer in errors, errors
    assert nearest in errors[pointer]["allowed"] or f"did you mean {nearest}" in errors[pointer]["message"]


def test_one_entry_is_changed_once(desk: Desks) -> None:
    author = desk("one", "owner")
    answer = author.ask("POST", "/v1/proposals", proposed(author, moved(author) + moved(author)))
    refused(answer, 422, "faulty-document")
    assert "second time" in answer.json["errors"][0]["message"]


def test_a_base_that_is_not_the_head_is_refused(desk: Desks) -> None:
    author = desk("one", "owner")
    stale = {**head(author), "digest": "sha256:" + "0" * 64}
    refusal = refused(author.ask("POST", "/v1/proposals", proposed(author, base=stale)), 409, "base-moved")
    assert stale["digest"] in refusal


def test_validate_only_goes_the_same_way_and_keeps_nothing(desk: Desks) -> None:
    author = desk("one", "owner")
    before = [proposal["proposal_id"] for proposal in author.get("/v1/proposals?limit=200")["entries"]]
    shown = author.ask("POST", "/v1/proposals?validate_only=true", proposed(author))
    assert (shown.status_code, shown.json["proposal_id"], shown.json["version"]) == (200, None, None)
    broken = proposed(author, [{"kind": "limits", "id": LIMIT, "value": None}])
    refused(author.ask("POST", "/v1/proposals?validate_only=true", broken), 422, "faulty-document")
    assert [proposal["proposal_id"] for proposal in author.get("/v1/proposals?limit=200")["entries"]] == before
    draft = drafted(author)
    for step in ("open", "decline", "withdraw", "publish"):
        desk("two", "steward").ask(
            "POST", f"/v1/proposals/{draft['proposal_id']}/{step}?validate_only=true", {"reason": "x"}
        )
    assert status(author, draft)["version"] == 1


def test_the_same_draft_sent_twice_is_made_once(desk: Desks) -> None:
    author, body = desk("one", "owner"), None
    body = proposed(author)
    once, again = (author.ask("POST", "/v1/proposals", body, **{"Idempotency-Key": "draft-1"}) for _ in range(2))
    assert (once.status_code, once.json) == (again.status_code, again.json)
    assert again.headers["Idempotency-Replayed"] == "true"


# -- editing ----------------------------------------------------------------------------------------------------------


def edit(desk: Desk, proposal: Any, etag: str | None, **more: Any) -> TestResponse:
    now = desk.get(f"/v1/proposals/{proposal['proposal_id']}")
    body = now | {"changes": moved(desk, by=2), "reason": f"Better so than {now['reason']}"} | more
    return desk.ask("PUT", f"/v1/proposals/{proposal['proposal_id']}", body, **({"If-Match": etag} if etag else {}))


def etag_of(desk: Desk, proposal: Any) -> str:
    return str(desk.ask("GET", f"/v1/proposals/{proposal['proposal_id']}").headers["ETag"])


def test_an_edit_names_the_version_it_saw(desk: Desks) -> None:
    author = desk("one", "owner")
    draft = drafted(author)
    first = etag_of(author, draft)
    refused(edit(author, draft, None), 428, "if-match-needed")
    edited = edit(author, draft, first)
    assert edited.json == author.get(f"/v1/proposals/{draft['proposal_id']}")
    assert (edited.headers["ETag"], status(author, draft)["version"]) == (etag_of(author, draft), 2)
    refused(edit(author, draft, first), 412, "changed-meanwhile")
    assert edit(author, draft, etag_of(author, draft)).status_code == 200


def test_two_stewards_who_use_one_word_are_both_heard(desk: Desks) -> None:
    """An Idempotency-Key is its caller's: the second approval is not taken for a repetition of the first."""
    seen, word = opened(desk("one", "owner")), {"Idempotency-Key": "yes"}
    address = f"/v1/proposals/{seen['proposal_id']}/approve"
    answers = [desk(shop, "steward").ask("POST", address, seen["digests"], **word) for shop in ("two", "collective")]
    assert [len(answer.json["approvals"]) for answer in answers] == [1, 2]


def test_only_the_author_edits(desk: Desks) -> None:
    draft = drafted(desk("one", "owner"))
    stranger = desk("two", "steward")
    refused(edit(stranger, draft, etag_of(stranger, draft)), 403, "not-yours")


def test_an_edit_after_approval_voids_it(desk: Desks) -> None:
    author, steward = desk("one", "owner"), desk("two", "steward")
    seen = opened(author)
    assert approve(steward, seen).json["state"] == "approved"
    assert edit(author, seen, etag_of(author, seen)).status_code == 200
    edited = status(author, seen)
    assert (edited["state"], edited["approvals_valid"], edited["shown"]) == ("draft", 0, None)
    refused(publish(steward, seen), 409, "steps-out-of-order")
    again = put_to_the_stewards(author, seen)
    refusal = refused(approve(steward, seen), 409, "digests-differ")
    assert "changes" in refusal
    assert approve(steward, again).status_code == 200


# -- approving, declining, withdrawing --------------------------------------------------------------------------------


def test_nobody_approves_their_own(desk: Desks) -> None:
    author = desk("one", "steward")
    seen = opened(author)
    refused(approve(author, seen), 403, "not-yours")
    assert approve(desk("two", "steward"), seen).status_code == 200


def test_a_draft_is_neither_approved_nor_published(desk: Desks) -> None:
    draft = drafted(desk("one", "owner"))
    steward = desk("two", "steward")
    digests = {name: value or "sha256:none" for name, value in draft["digests"].items()}
    own = f"/v1/proposals/{draft['proposal_id']}"
    refusal = refused(steward.ask("POST", f"{own}/approve", digests), 409, "steps-out-of-order")
    assert f"POST {own}/open" in refusal, "which is how it gets on"
    assert f"POST {own}/open" in refused(publish(steward, draft), 409, "steps-out-of-order")
    assert f"POST {own}/open" in refused(steward.ask("GET", f"{own}/effect"), 404, "not-found")
    steward.post(f"{own}/open")
    refusal = refused(steward.ask("POST", f"{own}/approve", digests), 409, "steps-out-of-order")
    assert refusal.startswith(f"The effect of proposal {draft['proposal_id']} is being worked out")
    steward.post(f"{own}/effect/cancel")
    refusal = refused(steward.ask("POST", f"{own}/approve", digests), 409, "steps-out-of-order")
    assert "It was stopped by a steward. Open it once more" in refusal


def test_nobody_approves_while_the_effect_is_worked_out_anew(desk: Desks) -> None:
    """It may come to something else; where that was stopped, what was known before stands."""
    steward = desk("two", "steward")
    seen = opened(desk("one", "owner"))
    own = f"/v1/proposals/{seen['proposal_id']}"
    steward.post(f"{own}/open")
    assert "is being worked out" in refused(approve(steward, seen), 409, "steps-out-of-order")
    steward.post(f"{own}/effect/cancel")
    assert approve(steward, seen).status_code == 200


def test_publication_needs_the_approval(desk: Desks) -> None:
    steward = desk("two", "steward")
    refusal = refused(publish(steward, opened(desk("one", "owner"))), 409, "steps-out-of-order")
    assert "0 of the 1 approvals" in refusal


def test_an_effect_whose_rules_fail_their_trial_is_none(desk: Desks, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waits is told why; it is not tried for ever, and stays a draft that can be opened again."""
    author, before = desk("one", "owner"), head(desk("one", "owner"))
    rule = copy.deepcopy(author.get(f"/v1/rules/{RULE}")["entry"])
    rule["when"] = f"({rule['when']})"
    draft = drafted(author, [{"kind": "rules", "id": RULE, "value": rule}])

    def crash(*arguments: Any) -> None:
        raise EngineError("trial: the process was ended by SIGSEGV")

    own = f"/v1/proposals/{draft['proposal_id']}"
    with monkeypatch.context() as patch:
        patch.setattr(edition, "try_out", crash)
        author.post(f"{own}/open")
        failed = worked_out(author, draft)
    assert failed["state"] == "failed"
    assert failed["ended_because"] == "The changed book cannot be used: trial: the process was ended by SIGSEGV"
    assert (failed["effect"], failed["replay_digest"], status(author, draft)["state"]) == (None, None, "draft")
    refused(publish(desk("two", "steward"), draft), 409, "steps-out-of-order")
    assert put_to_the_stewards(author, draft)["state"] == "open"
    assert head(author) == before


def test_a_rule_that_makes_questions_dear_has_no_effect_to_be_shown(desk: Desks) -> None:
    """It blocks every heat and dwell; the figures are those that a shop's own rule is refused with."""
    warm, long = "people.touch_hold_most + 1 step", "prepress.time_least"
    rule = {
        "level": "blocks",
        "title": "Nothing that is set will do",
        "about": "settings",
        "topic": "handling",
        "when": "set.surface_c > limit('people.touch_hold_most') and set.time_s >= limit('prepress.time_least')",
        "because": "Nobody should press anything.",
        "fix": "Press nothing.",
        "sources": ["project-choice"],
        "fires": [{}, {"facts": {"set.surface_c": warm, "set.time_s": long}}],
        "silent": [
            {"facts": {"set.surface_c": "people.touch_hold_most", "set.time_s": long}},
            {"facts": {"set.surface_c": warm, "set.time_s": f"{long} - 1 step"}},
        ],
    }
    author = desk("one", "owner")
    draft = drafted(author, [{"kind": "rules", "id": "nothing-will-do", "value": rule}])
    author.post(f"/v1/proposals/{draft['proposal_id']}/open")
    failed = worked_out(author, draft)
    assert failed["state"] == "failed"
    assert "an order of 12 prints on 40 presses may take" in failed["ended_because"]


def test_nobody_approves_twice(desk: Desks) -> None:
    steward, seen = desk("two", "steward"), opened(desk("one", "owner"))
    assert approve(steward, seen).status_code == 200
    refused(approve(steward, seen), 409, "steps-out-of-order")


@pytest.fixture
def store(town: Any) -> Iterator[Store]:
    opened = Store.at(town.server.url, timeout_s=5.0)
    yield opened
    opened.close()


@pytest.fixture
def another(town: Any, served: Flask, store: Store) -> Callable[[str], tuple[str, Desk]]:
    """One more steward's key of a shop, which a test may revoke: its id, and who holds it."""

    def issue(shop: str) -> tuple[str, Desk]:
        issued = store.keys.issue(shop, "steward", holder=f"Another of {shop}", who="test")
        return issued.record.id, Desk(served.test_client(), {"Authorization": f"Bearer {issued.token}"})

    return issue


Another = Callable[[str], tuple[str, Desk]]


def test_a_shop_does_not_approve_its_own(desk: Desks) -> None:
    """The author's shop has a steward's key as well: that is still one shop."""
    seen = opened(desk("one", "owner"))
    refusal = refused(approve(desk("one", "steward"), seen), 403, "not-yours")
    assert "a steward of another shop has to approve it" in refusal
    assert approve(desk("two", "steward"), seen).json["state"] == "approved"


def test_the_collectives_keys_count_as_one_shops(desk: Desks) -> None:
    """One desk hands them out, so two of them may well be in one hand."""
    seen = opened(desk("collective", "admin"))
    refused(approve(desk("collective", "steward"), seen), 403, "not-yours")
    assert approve(desk("one", "steward"), seen).json["state"] == "approved"


def test_an_admin_alone_changes_nothing(desk: Desks, served: Flask) -> None:
    """Drafts, issues itself a steward's key of another shop in a name of its choice, approves, publishes."""
    admin, second = desk("collective", "admin"), desk("one", "admin")

    def key(holder: str, role: str = "steward") -> tuple[str, Desk]:
        body = {"shop_id": "two", "role": role, "holder": holder}
        issued = admin.post("/v1/keys", body)
        assert issued["waits"]
        return issued["key_id"], Desk(served.test_client(), {"Authorization": f"Bearer {issued['token']}"})

    before = head(admin)
    own_id, own = key("Somebody Else")
    seen = opened(admin)
    for step in (lambda: approve(own, seen), lambda: publish(own, seen), lambda: own.ask("GET", "/v1/rules")):
        assert "has to confirm it" in refused(step(), 401, "not-authenticated")
    _, twin = key("A Second Admin", "admin")
    refused(twin.ask("POST", f"/v1/keys/{own_id}/confirm"), 401, "not-authenticated")
    refusal = refused(admin.ask("POST", f"/v1/keys/{own_id}/confirm"), 403, "not-yours")
    assert refusal == "The admin of collective issued it: another admin has to confirm it."
    refused(publish(desk("two", "steward"), seen), 409, "steps-out-of-order")
    confirmed = second.post(f"/v1/keys/{own_id}/confirm")
    assert (confirmed["waits"], own.ask("GET", "/v1/rules").status_code) == (False, 200)
    refused(second.ask("POST", f"/v1/keys/{own_id}/confirm"), 409, "already-there")
    refusal = refused(approve(own, seen), 403, "not-yours")
    assert refusal.startswith("The key of Somebody Else of two holds only since after this was drafted")
    refused(publish(own, seen), 409, "steps-out-of-order")
    assert head(admin) == before
    assert approve(own, opened(admin)).json["state"] == "approved", "what is drafted from now on it approves"


def test_nobody_confirms_a_key_for_themselves(desk: Desks) -> None:
    admin, second = desk("collective", "admin"), desk("one", "admin")
    issued = admin.post("/v1/keys", {"shop_id": "two", "role": "steward", "holder": "the ADMIN of one"})
    refused(second.ask("POST", f"/v1/keys/{issued['key_id']}/confirm"), 403, "not-yours")
    assert admin.ask("DELETE", f"/v1/keys/{issued['key_id']}").status_code == 200
    refused(second.ask("POST", f"/v1/keys/{issued['key_id']}/confirm"), 409, "already-there")


def test_an_owners_and_a_counters_keys_wait_for_nobody(desk: Desks) -> None:
    for role in ("counter", "operator", "owner"):
        issued = desk("one", "owner").post("/v1/keys", {"shop_id": "one", "role": role, "holder": "Ada Reyes"})
        assert (issued["waits"], issued["confirmed_by"]) == (False, None)


def test_a_second_key_of_one_person_is_not_a_second_person(desk: Desks, store: Store, served: Flask) -> None:
    """The owner of one shop holds another's steward's key as well; two shops' stewards' keys are in one hand."""

    def key(shop: str, holder: str) -> Desk:
        issued = store.keys.issue(shop, "steward", holder=holder, who="test")
        return Desk(served.test_client(), {"Authorization": f"Bearer {issued.token}"})

    twin, first, again = key("two", "the OWNER of one"), key("two", "Ada Reyes"), key("collective", "ada reyes")
    seen = opened(desk("one", "owner"))
    assert "made this proposal with another key" in refused(approve(twin, seen), 403, "not-yours")
    assert approve(first, seen).json["state"] == "approved"
    refusal = refused(approve(again, seen), 409, "steps-out-of-order")
    assert refusal == "ada reyes of collective has approved this already: another steward is needed."


def test_two_stewards_of_one_shop_do_not_loosen_what_keeps_people_safe(
    desk: Desks, another: Another, book: Book
) -> None:
    first, (_, partner) = desk("two", "steward"), another("two")
    seen = opened(desk("one", "owner"), moved(desk("one", "owner"), *safety_limit(book)))
    assert approve(first, seen).json["approvals_valid"] == 1
    refusal = refused(approve(partner, seen), 409, "steps-out-of-order")
    assert "a steward of another shop than two is needed" in refusal
    refused(publish(first, seen), 409, "steps-out-of-order")


def test_the_approval_of_a_revoked_key_lapses(desk: Desks, another: Another) -> None:
    author, admin, (id_, leaver) = desk("one", "owner"), desk("collective", "admin"), another("two")
    seen = opened(author)
    address = f"/v1/proposals/{seen['proposal_id']}/status"
    assert [approval["lapsed"] for approval in approve(leaver, seen).json["approvals"]] == [None]
    assert admin.ask("DELETE", f"/v1/keys/{id_}").status_code == 200
    shown = author.get(address)
    assert (shown["state"], shown["approvals_valid"]) == ("open", 0)
    assert [(approval["key_id"], approval["lapsed"]) for approval in shown["approvals"]] == [
        (id_, "Its key was revoked.")
    ]
    for state, there in (("open", True), ("approved", False)):
        listed = [
            proposal["proposal_id"] for proposal in author.get(f"/v1/proposals?state={state}&limit=200")["entries"]
        ]
        assert (seen["proposal_id"] in listed) is there, state
    refusal = refused(publish(desk("two", "steward"), seen), 409, "steps-out-of-order")
    assert "The approval of Another of two of two does not count. Its key was revoked." in refusal
    assert id_ not in refusal
    assert approve(desk("two", "steward"), seen).json["state"] == "approved"
    published = publish(desk("two", "steward"), seen).json
    assert len(author.get(f"/v1/revisions/{published['revision']}")["approver_ids"]) == 1


def test_what_was_published_stays_approved(desk: Desks, another: Another) -> None:
    author, (id_, leaver) = desk("one", "owner"), another("two")
    seen = opened(author)
    assert approve(leaver, seen).status_code == 200
    assert publish(desk("two", "steward"), seen).status_code == 200
    assert desk("collective", "admin").ask("DELETE", f"/v1/keys/{id_}").status_code == 200
    shown = status(author, seen)
    assert (shown["state"], [approval["lapsed"] for approval in shown["approvals"]]) == ("published", [None])


def test_a_key_revoked_while_its_proposal_is_published_keeps_it_out(
    desk: Desks, another: Another, store: Store, served: Flask
) -> None:
    """Between the checks and the commit, and between what the commit rests on and the commit itself."""
    steward, before = desk("two", "steward"), head(desk("one", "owner"))
    room = served.extensions["accord"]
    with room.taken() as snapshot:
        steps = Steps(store=store, held=snapshot.book, who="publisher", role="steward", now_s=time.time())
        for late in (False, True):
            id_, leaver = another("two")
            seen = opened(desk("one", "owner"))
            assert approve(leaver, seen).status_code == 200
            publication = steps.publish(seen["proposal_id"])

            def revoke(_: object, id_: str = id_) -> Transaction:
                store.keys.revoke(id_, who="test")
                return Transaction()

            if not late:
                revoke(None)
            with pytest.raises(Overtaken) as overtaken:
                publication.commit(revoke)
            assert "revoked in the same moment" in overtaken.value.sentence
            assert status(steward, seen)["state"] == "open"
    assert head(desk("one", "owner")) == before


def safety_limit(book: Book) -> tuple[str, float]:
    """A safety limit with a plain number, and one step towards the looser side."""
    for name, limit in book.limits.items():
        if limit.safety and isinstance(limit.value, float):
            step = float(limit.step)
            return name, -step if limit.stricter == "higher" else step
    raise AssertionError("the book has no safety limit with a plain number")


def test_loosening_what_keeps_people_safe_needs_two_stewards(desk: Desks, book: Book) -> None:
    author = desk("one", "owner")
    name, by = safety_limit(book)
    seen = opened(author, moved(author, name, by))
    assert seen["approvals_needed"] == 2
    assert name in seen["shown"]["loosens_safety"][0]
    first, second = desk("two", "steward"), desk("collective", "steward")
    assert approve(first, seen).json["state"] == "open"
    refusal = refused(publish(first, seen), 409, "steps-out-of-order")
    assert "1 of the 2 approvals" in refusal
    assert approve(second, seen).json["state"] == "approved"
    assert publish(second, seen).status_code == 200


def test_declining_has_a_reason_and_ends_it(desk: Desks) -> None:
    author, steward = desk("one", "owner"), desk("two", "steward")
    seen = opened(author)
    refused(steward.ask("POST", f"/v1/proposals/{seen['proposal_id']}/decline", {"reason": ""}), 422, "faulty-document")
    ended = steward.post(f"/v1/proposals/{seen['proposal_id']}/decline", {"reason": "Too strict for felt."})
    assert (ended["state"], ended["ended_because"]) == ("declined", "Too strict for felt.")
    refused(approve(steward, seen), 409, "steps-out-of-order")
    refused(edit(author, seen, etag_of(author, seen)), 409, "steps-out-of-order")


def test_authors_withdraw_and_others_do_not(desk: Desks) -> None:
    author, partner = desk("one", "owner"), desk("one", "operator")
    seen = drafted(author)
    refused(partner.ask("POST", f"/v1/proposals/{seen['proposal_id']}/withdraw", {"reason": "No."}), 403, "not-yours")
    assert (
        author.post(f"/v1/proposals/{seen['proposal_id']}/withdraw", {"reason": "A mistake."})["state"] == "withdrawn"
    )
    assert (
        next(proposal["proposal_id"] for proposal in author.get("/v1/proposals?state=withdrawn")["entries"])
        == seen["proposal_id"]
    )


def test_who_may_not_is_refused(desk: Desks) -> None:
    author = desk("one", "owner")
    seen = opened(author)
    for shop, role in (("one", "counter"), ("one", "operator"), ("one", "owner"), ("collective", "admin")):
        refused(approve(desk(shop, role), seen), 403, "role-not-allowed")
        refused(publish(desk(shop, role), seen), 403, "role-not-allowed")
    refused(desk("one", "counter").ask("POST", "/v1/proposals", proposed(author)), 403, "role-not-allowed")


# -- effect -----------------------------------------------------------------------------------------------------------


def test_recorded_orders_are_replayed_and_seen_by_those_who_may(desk: Desks) -> None:
    for shop in ("one", "two"):
        desk(shop, "counter").post("/v1/records", ASKED)
    author, steward = desk("one", "owner"), desk("two", "steward")
    seen = opened(author, moved(author, by=8))
    everything = steward.get(f"/v1/proposals/{seen['proposal_id']}/effect")
    assert everything["effect"]["replayed"]["recorded"] >= 2
    recorded = [flip for flip in everything["effect"]["flips"] if flip["source"] == "recorded"]
    assert {flip["shop_id"] for flip in recorded} == {"one", "two"}
    assert {flip["rule"] for flip in recorded} >= {RULE}
    assert "private" not in str(everything)
    own = author.get(f"/v1/proposals/{seen['proposal_id']}/effect")
    assert own["others_left_out"]
    for rows in (own["counts"], own["effect"]["counts"], own["effect"]["flips"]):
        assert {row["shop_id"] for row in rows if row["source"] == "recorded"} == {"one"}
    assert not everything["others_left_out"]


def test_what_was_recorded_since_an_effect_was_asked_for_is_counted(desk: Desks) -> None:
    author, steward = desk("one", "owner"), desk("two", "steward")
    seen = opened(author)
    own = f"/v1/proposals/{seen['proposal_id']}/effect"
    assert steward.get(own)["recorded_since"] == 0
    for shop in ("one", "two"):
        desk(shop, "counter").post("/v1/records", ASKED)
    assert steward.get(own)["recorded_since"] == 2
    put_to_the_stewards(author, seen)
    assert steward.get(own)["recorded_since"] == 0, "worked out anew, it is of all"
    steward.post(f"/v1/proposals/{seen['proposal_id']}/decline", {"reason": "Nobody needs it."})
    assert steward.get(own)["recorded_since"] is None, "nobody decides on it any more"


def test_a_draft_has_no_effect_yet(desk: Desks) -> None:
    draft = drafted(desk("one", "owner"))
    refused(desk("two", "steward").ask("GET", f"/v1/proposals/{draft['proposal_id']}/effect"), 404, "not-found")


def test_opening_is_answered_at_once_and_says_where_to_look(desk: Desks) -> None:
    author = desk("one", "owner")
    draft = drafted(author)
    own = f"/v1/proposals/{draft['proposal_id']}"
    previewed = author.ask("POST", f"{own}/open?validate_only=true")
    assert (previewed.status_code, previewed.json["state"], "Location" in previewed.headers) == (200, "working", False)
    refused(author.ask("GET", f"{own}/effect"), 404, "not-found")
    once, again = (author.ask("POST", f"{own}/open", **{"Idempotency-Key": "open-1"}) for _ in range(2))
    assert (once.status_code, once.headers["Location"], once.json["state"]) == (202, f"{own}/effect", "working")
    assert (again.status_code, again.json, again.headers["Idempotency-Replayed"]) == (202, once.json, "true")
    assert (once.json["effect"], once.json["orders"], once.json["time_left_s"]) == (None, None, None)
    assert author.get(f"{own}/effect") == once.json, "nobody is at it yet"
    assert worked_out(author, draft)["state"] == "done"
    assert status(author, draft)["state"] == "open"


def test_only_its_author_and_stewards_have_an_effect_worked_out(desk: Desks) -> None:
    """It is dear, so not everybody who may propose may ask for that of what others propose."""
    draft = drafted(desk("one", "owner"))
    own = f"/v1/proposals/{draft['proposal_id']}"
    for shop, role in (("one", "operator"), ("one", "admin"), ("collective", "admin")):
        for step in ("open", "effect/cancel"):
            refusal = refused(desk(shop, role).ask("POST", f"{own}/{step}"), 403, "not-yours")
            assert "Only its author, The owner of one of one, or a steward" in refusal
    assert put_to_the_stewards(desk("two", "steward"), draft)["state"] == "open"


# -- moved bases and races --------------------------------------------------------------------------------------------


def approved(desk: Desks, changes: list[dict[str, Any]] | None = None) -> Any:
    seen = opened(desk("one", "owner"), changes)
    assert approve(desk("two", "steward"), seen).status_code == 200
    return seen


def test_a_moved_base_voids_what_was_approved(desk: Desks) -> None:
    steward = desk("two", "steward")
    winner, loser = approved(desk), approved(desk)
    draft = drafted(desk("one", "owner"))
    assert publish(steward, winner).status_code == 200
    for proposal in (loser, draft):
        assert status(steward, proposal)["state"] == "void"
    refusal = refused(publish(steward, loser), 409, "base-moved")
    assert "moved on" in refusal
    refused(approve(steward, loser), 409, "base-moved")
    refused(desk("one", "owner").ask("POST", f"/v1/proposals/{draft['proposal_id']}/open"), 409, "base-moved")
    listed = {entry["proposal_id"] for entry in steward.get("/v1/proposals?state=void&limit=200")["entries"]}
    assert {loser["proposal_id"], draft["proposal_id"]} <= listed
    assert loser["proposal_id"] not in {
        entry["proposal_id"] for entry in steward.get("/v1/proposals?state=approved")["entries"]
    }


@pytest.mark.long
def test_of_two_stewards_publishing_at_once_exactly_one_wins(desk: Desks, workers: list[Flask], town: Any) -> None:
    stewards = [("one", "steward"), ("two", "steward")]
    before = head(desk("one", "owner"))["revision"]
    for round_ in range(of_this_run(1, 2, 2)):
        proposals = [approved(desk, moved(desk("one", "owner"), by=1 + n)) for n in range(2)]
        barrier, answers = threading.Barrier(2), [None, None]

        def run(n: int, proposals: Any = proposals, barrier: Any = barrier, answers: Any = answers) -> None:
            own = Desk(workers[n].test_client(), town.headers(*stewards[n]))
            barrier.wait()
            answers[n] = publish(own, proposals[n])

        threads = [threading.Thread(target=run, args=(n,)) for n in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        statuses = sorted(answer.status_code for answer in answers if answer is not None)
        assert statuses == [200, 409], (round_, [a.text for a in answers if a is not None])
        loser = next(a for a in answers if a is not None and a.status_code == 409)
        assert loser.json["type"] in ("/problems/somebody-was-faster", "/problems/base-moved")
        assert head(desk("one", "owner"))["revision"] == before + round_ + 1


@pytest.mark.alone
@pytest.mark.one_core
def test_every_worker_answers_from_a_new_head_within_two_seconds(desk: Desks, workers: list[Flask], town: Any) -> None:
    others = [Desk(app.test_client(), town.headers("one", "counter")) for app in workers]
    address = f"/v1/limits/{LIMIT}"
    before = [counter.get(address)["revision"] for counter in others]
    seen = approved(desk)
    published = publish(desk("two", "steward"), seen).json["revision"]
    began_s = time.monotonic()
    taken_s = [_moves_on(counter, address, published, began_s) for counter in others]
    assert set(before) == {published - 1}
    # Each worker is a process with a core of its own; here they take turns, so the second waits for the first.
    assert taken_s[0] < 2.0
    assert taken_s[1] - taken_s[0] < 2.0


def _moves_on(worker: Desk, address: str, revision: int, began_s: float) -> float:
    """The seconds until the worker answers from a revision."""
    while worker.get(address)["revision"] != revision:
        assert time.monotonic() - began_s < 10, "the worker still answers from the old head"
        time.sleep(0.02)
    return time.monotonic() - began_s


# -- reverting --------------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_reverting_is_a_proposal_like_any_other(desk: Desks) -> None:
    author, steward = desk("one", "owner"), desk("two", "steward")
    assert publish(steward, approved(desk)).status_code == 200
    reversion = author.post("/v1/revisions/1/revert", {"reason": "Back to what came with the program."})
    assert (reversion["state"], reversion["reason"]) == ("draft", "Back to what came with the program.")
    seen = put_to_the_stewards(author, reversion)
    for shop in ("two", "collective")[: seen["approvals_needed"]]:
        assert approve(desk(shop, "steward"), seen).status_code == 200
    published = publish(steward, seen).json
    first = author.get("/v1/revisions/1")
    assert published["digest"] == first["digest"]
    repeated = author.ask("POST", "/v1/revisions/1/revert", {"reason": "Once more."})
    refused(repeated, 422, "faulty-document")
    refused(author.ask("POST", "/v1/revisions/9999/revert", {"reason": "x"}), 404, "not-found")


def test_a_book_that_another_program_tried_is_opened_once_more(desk: Desks, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a revision says of who tried it, workers rely on; an engine may have been replaced since."""
    author, steward = desk("one", "owner"), desk("two", "steward")
    seen = opened(author)
    assert approve(steward, seen).status_code == 200
    with monkeypatch.context() as patch:
        patch.setattr(proposals, "trier", lambda: "sha256:of another engine")
        refusal = refused(publish(steward, seen), 409, "steps-out-of-order")
    assert "tried by another version of the program: open it once more" in refusal
    again = put_to_the_stewards(author, seen)
    assert (again["state"], again["digests"]) == ("approved", seen["digests"]), "the same effect needs no other yes"
    assert publish(steward, seen).status_code == 200
