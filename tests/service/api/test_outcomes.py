"""Outcomes: reported on a record, counted, shown beside the transfer, felt in the ranking, drafting a proposal.

Source of the intervals: the binomial model with a uniform prior; Beta(1, 2) by hand, others by ``governance.outcomes``.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from flask.testing import FlaskClient
from tests.service.conftest import ok
from tests.service.effect_workers import work_out

from accord_rules.orders.shop import FAILURES
from accord_rules.revision.book import Book
from accord_service.steps.outcomes import AUTHOR, Tally, propose_if_poor
from accord_service.store import Cell, Store

CELL = Cell("dye-sublimation", "woven", "swing-away")


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    first_client: FlaskClient = changing.first
    return first_client


@pytest.fixture
def quay(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


@pytest.fixture
def address(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> str:
    """Where outcomes of a recorded order go."""
    return recorded(client, order, quay)


def recorded(client: FlaskClient, order: dict[str, Any], headers: dict[str, str]) -> str:
    """Record an order; where its outcomes go."""
    answer = client.post("/v1/records", json=order, headers=headers)
    assert answer.status_code == 201, answer.text
    return f"{answer.headers['Location']}/outcomes"


def reported(store: Store, cell: Cell, failure: str | None, pieces: int = 1, shop: str = "quay-side") -> None:
    """Report so many pieces of one order straight to the store."""
    record = store.records.draft(shop, question={}, answer={}, revision=1)
    for _ in range(pieces):
        store.outcomes.add(record, {}, decoration=0, quantity=pieces, cell=cell, failure=failure, who="test")


def count(store: Store, cell: Cell) -> tuple[int, int]:
    counted = next((counted for counted in store.outcomes.counts() if counted.cell == cell), None)
    return (0, 0) if counted is None else (counted.good, counted.failed)


def test_a_report_is_kept_and_counted(client: FlaskClient, quay: dict[str, str], address: str, store: Store) -> None:
    good, failed = count(store, CELL)
    answer = client.post(
        address, json={"result": "failed", "failure": "colour-faded", "washes": 6, "note": "Pale."}, headers=quay
    )
    assert answer.status_code == 201
    outcome = answer.json
    assert (outcome["transfer"], outcome["substrate"], outcome["press_type"]) == (
        CELL.transfer, CELL.substrate, CELL.press_type,
    )  # fmt: skip
    assert (outcome["failure"], outcome["washes"], outcome["decoration"]) == ("colour-faded", 6, 0)
    ok(client.post(address, json={"result": "good"}, headers=quay))
    listed = ok(client.get(address, headers=quay))["entries"]
    assert listed[1] == outcome
    assert [outcome["result"] for outcome in listed] == ["good", "failed"]
    assert answer.headers["Location"] == f"{address}/{outcome['outcome_id']}"
    assert ok(client.get(answer.headers["Location"], headers=quay)) == outcome
    assert client.get(f"{address}/o3", headers=quay).status_code == 404
    paged = ok(client.get(f"{address}?limit=1", headers=quay))
    assert paged["entries"] == listed[:1]
    assert ok(client.get(paged["next"], headers=quay)) == {"entries": listed[1:], "next": None}
    assert count(store, CELL) == (good + 1, failed + 1)


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"result": "so-so"}, "/result"),
        ({}, "/result"),
        ({"result": "failed"}, "/failure"),
        ({"result": "good", "failure": "peeled"}, "/failure"),
        ({"result": "failed", "failure": "sang"}, "/failure"),
        ({"result": "good", "washes": -1}, "/washes"),
        ({"result": "good", "decoration": 1}, "/decoration"),
        ({"result": "good", "customer": "x"}, "/customer"),
    ],
)
def test_a_faulty_report_counts_nothing(
    client: FlaskClient, quay: dict[str, str], address: str, store: Store, body: dict[str, Any], pointer: str
) -> None:
    before = store.audit.head()
    answer = client.post(address, json=body, headers=quay)
    assert answer.status_code == 422
    assert pointer in [error["pointer"] for error in answer.json["errors"]]
    assert store.audit.head() == before


def test_a_report_on_one_of_several_decorations_says_which(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    order["decorations"].append({"transfer": "cut-film", "placement": "back"})
    address = recorded(client, order, quay)
    assert client.post(address, json={"result": "good"}, headers=quay).status_code == 422
    outcome = ok(client.post(address, json={"result": "good", "decoration": 1}, headers=quay))
    assert (outcome["transfer"], outcome["decoration"]) == ("cut-film", 1)


def test_a_report_needs_to_know_what_was_pressed(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    del order["decorations"][0]["transfer"]
    answer = client.post(recorded(client, order, quay), json={"result": "good"}, headers=quay)
    assert answer.status_code == 422
    assert "leaves transfer" in answer.json["detail"]


def test_the_same_report_sent_twice_counts_once(
    client: FlaskClient, quay: dict[str, str], address: str, store: Store
) -> None:
    before = count(store, CELL)
    headers = quay | {"Idempotency-Key": "report-1"}
    once, again = (client.post(address, json={"result": "good"}, headers=headers) for _ in range(2))
    assert once.json == again.json
    assert count(store, CELL) == (before[0] + 1, before[1])


def test_validate_only_counts_nothing(client: FlaskClient, quay: dict[str, str], address: str, store: Store) -> None:
    before = store.audit.head()
    shown = client.post(f"{address}?validate_only=true", json={"result": "good"}, headers=quay)
    assert (shown.status_code, shown.json["transfer"], shown.json["outcome_id"]) == (200, CELL.transfer, None)
    assert store.audit.head() == before


FAILED = {"result": "failed", "failure": "peeled"}


def test_no_more_pieces_are_reported_than_were_pressed(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any], store: Store
) -> None:
    """One key reported sixty failures on twelve pieces: that drafted a proposal against a good transfer."""
    operator = changing.headers("quay-side", "operator")
    order["item"], order["quantity"] = {"substrate": "knit", "fibres": {"PES": 100}, "colour": "white"}, 3
    order["decorations"] = [order["decorations"][0] | {"placement": place} for place in ("front", "back")]
    address, before = recorded(client, order, quay), count(store, Cell("dye-sublimation", "knit", "swing-away"))
    answers = [
        client.post(address, json=FAILED | {"decoration": 0}, headers=headers) for headers in (quay, operator, quay)
    ]
    assert [answer.status_code for answer in answers] == [201, 201, 201]
    head = store.audit.head()
    for way in ("", "?validate_only=true"):
        refused = client.post(address + way, json={"result": "good", "decoration": 0}, headers=operator)
        assert (refused.status_code, refused.json.get("type")) == (409, "/problems/all-pieces-reported")
        (fault,) = refused.json["errors"]
        assert fault["pointer"] == "/decoration"
        assert fault["message"] == "the order is for 3 pieces, and 3 are reported for this decoration."
    assert store.audit.head() == head
    assert client.post(address, json={"result": "good", "decoration": 1}, headers=quay).status_code == 201
    good, failed = before
    assert count(store, Cell("dye-sublimation", "knit", "swing-away")) == (good + 1, failed + 3)


def test_an_order_without_a_quantity_is_one_piece(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    del order["quantity"]
    address = recorded(client, order, quay)
    assert client.post(address, json={"result": "good"}, headers=quay).status_code == 201
    refused = client.post(address, json={"result": "good"}, headers=quay)
    assert refused.status_code == 409
    assert "the order is for 1 piece, and 1 is reported" in refused.json["detail"]


def test_the_last_piece_reported_twice_at_once_is_answered_as_done(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any]
) -> None:
    """Sent again with its Idempotency-Key, while the first is under way, it is not one too many."""
    address = recorded(client, order | {"quantity": 2}, quay)
    ok(client.post(address, json={"result": "good"}, headers=quay))

    def ask(number: int) -> Any:
        worker = (changing.first, changing.second)[number % 2].application.test_client()
        return worker.post(address, json={"result": "good"}, headers=quay | {"Idempotency-Key": "the-last"})

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(ask, range(8)))
    done = [answer for answer in answers if answer.status_code == 201]
    assert {answer.json["type"] for answer in answers if answer not in done} <= {"/problems/still-under-way"}
    assert len({answer.json["outcome_id"] for answer in [*done, ask(0)]}) == 1
    assert len(ok(client.get(address, headers=quay))["entries"]) == 2


def test_a_piece_of_a_rejected_order_is_not_counted(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    """Failures of what the book refuses anyway drafted a proposal against a good transfer."""
    order["item"] = {"blank": "tee-heavy-white"}
    address, before = recorded(client, order, quay), store.outcomes.counts()
    head = store.audit.head()
    for body in (FAILED, {"result": "good"}):
        for way in ("", "?validate_only=true"):
            refused = client.post(address + way, json=body, headers=quay)
            assert (refused.status_code, refused.json.get("type")) == (409, "/problems/record-rejected")
            assert "is rejected: " in refused.json["detail"]
    assert (store.audit.head(), store.outcomes.counts()) == (head, before)
    assert ok(client.get(address, headers=quay))["entries"] == []


def test_two_keys_of_a_shop_with_the_same_idempotency_key_report_two_pieces(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any]
) -> None:
    """The word is one caller's own: what another made up must not swallow this one's report."""
    address = recorded(client, order | {"quantity": 5}, quay)
    answers = [
        client.post(address, json={"result": "good"}, headers=headers | {"Idempotency-Key": "piece-1"})
        for headers in (quay, changing.headers("quay-side", "operator"))
    ]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert len({answer.json["outcome_id"] for answer in answers}) == 2


def test_a_counter_with_sixty_failures_of_twelve_pieces_is_stopped_at_twelve(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    """And what it filed is one shop's word on one verdict, so it drafts nothing."""
    order["item"], order["quantity"] = {"substrate": "fleece", "fibres": {"PES": 100}, "colour": "white"}, 12
    address = recorded(client, order, quay)
    answers = [client.post(address, json=FAILED, headers=quay) for _ in range(60)]
    assert [answer.status_code for answer in answers] == [201] * 12 + [409] * 48
    assert {answer.json["drafted_proposal_id"] for answer in answers[:12]} == {None}
    assert count(store, Cell("dye-sublimation", "fleece", "swing-away")) == (0, 12)


def test_a_report_is_withdrawn_by_who_made_it_alone_and_the_counts_follow(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any], store: Store
) -> None:
    address, before = recorded(client, order | {"quantity": 2}, quay), count(store, CELL)
    reports = [ok(client.post(address, json=body, headers=quay)) for body in (FAILED, {"result": "good"})]
    assert reports[0]["reported_by"] == {
        "shop_id": "quay-side",
        "holder": "The counter of quay-side",
        "role": "counter",
    }
    place, head = f"{address}/o1/withdraw", store.audit.head()
    for role in ("operator", "owner", "admin"):
        refused = client.post(place, headers=changing.headers("quay-side", role))
        assert (refused.status_code, refused.json.get("type")) == (403, "/problems/not-yours")
        assert refused.json["detail"] == "The counter of quay-side reported this: nobody else can withdraw it."
    assert client.post(place, headers=changing.headers("mill-loft", "owner")).status_code == 404
    assert client.post(f"{address}/o9/withdraw", headers=quay).status_code == 404
    tried = ok(client.post(f"{place}?validate_only=true", headers=quay))
    assert (tried["withdrawn_at"] is not None, store.audit.head()) == (True, head)
    assert count(store, CELL) == (before[0] + 1, before[1] + 1)
    withdrawn = ok(client.post(place, headers=quay))
    assert withdrawn == reports[0] | {"withdrawn_at": withdrawn["withdrawn_at"]}
    assert ok(client.post(place, headers=quay)) == withdrawn, "once is enough"
    assert ok(client.get(address, headers=quay))["entries"] == [reports[1], withdrawn]
    assert count(store, CELL) == (before[0] + 1, before[1])
    again = ok(client.post(address, json=FAILED, headers=quay))
    assert again["outcome_id"] == "o3", "the piece is there to be reported, and no id is given twice"
    assert client.post(address, json=FAILED, headers=quay).status_code == 409


def test_who_got_a_new_key_still_withdraws_their_own(
    client: FlaskClient, quay: dict[str, str], address: str, store: Store
) -> None:
    ok(client.post(address, json=FAILED, headers=quay))
    token = store.keys.issue("quay-side", "operator", holder="the Counter of quay-side", who="test").token
    assert ok(client.post(f"{address}/o1/withdraw", headers={"Authorization": f"Bearer {token}"}))["withdrawn_at"]


def test_nobody_reports_on_another_shops_record(client: FlaskClient, changing: Any, address: str) -> None:
    stranger = changing.headers("mill-loft", "owner")
    assert client.post(address, json={"result": "good"}, headers=stranger).status_code == 404


# -- shown and felt ----------------------------------------------------------------------------------------------------


def test_the_catalogue_shows_counts_and_intervals(
    client: FlaskClient, quay: dict[str, str], store: Store, changing: Any
) -> None:
    cell = Cell("flock-film", "felt", "clamshell")
    reported(store, cell, "peeled")
    changing.first.application.extensions["accord"].tally = Tally(store, read_anew_s=0.0)

    def shown() -> Any:
        return ok(client.get("/v1/catalogue/transfers/flock-film", headers=quay))["outcomes"]

    (counts,) = shown()
    # Beta(1, 2) lies below x with 1 - (1 - x)^2: 5 % of it below 1 - sqrt(0.95), 95 % below 1 - sqrt(0.05).
    assert counts == {
        "substrate": "felt",
        "press_type": "clamshell",
        "good": 0,
        "failed": 1,
        "low": round(1 - 0.95**0.5, 4),
        "likely": 0.0,
        "high": round(1 - 0.05**0.5, 4),
        "credibility": 0.9,
        "failures": {"peeled": 1},
        "shops": 1,
        "orders": 1,
        "poor": False,
    }
    (listed,) = (
        cell for cell in ok(client.get("/v1/outcomes", headers=quay))["entries"] if cell["substrate"] == "felt"
    )
    titles = {"transfer": "Flock film", "substrate": "Felt or nonwoven", "press_type": "Clamshell press"}
    assert listed == {"transfer": "flock-film", "titles": titles, **counts}
    assert listed not in ok(client.get("/v1/outcomes?poor=true", headers=quay))["entries"]
    assert "outcomes" not in ok(client.get("/v1/catalogue/fibres/CO", headers=quay))


def test_outcomes_move_plans_and_hide_none(
    client: FlaskClient, quay: dict[str, str], store: Store, changing: Any
) -> None:
    """Twelve failures of the first plan's family on this material and type of press."""
    room = changing.first.application.extensions["accord"]
    described = {
        "item": {"substrate": "knit", "fibres": {"PES": 100}, "colour": "white", "coating": "none"},
        "decorations": [{"placement": "front", "size": {"width": "6 in", "height": "6 in"}}],
    }
    room.tally = Tally(store, read_anew_s=1e9)
    before = ok(client.post("/v1/recommend", json=described, headers=quay))["plans"]
    family = before[0]["decorations"][0]["family"]
    reported(store, Cell(family, "knit", "swing-away"), "peeled", pieces=12)
    room.tally = Tally(store, read_anew_s=0.0)
    after = ok(client.post("/v1/recommend", json=described, headers=quay))["plans"]
    assert {plan["verdict_id"] for plan in after} == {plan["verdict_id"] for plan in before}
    plan = next(plan for plan in after if plan["verdict_id"] == before[0]["verdict_id"])
    assert any("reported pieces came out good" in reason for reason in plan["reasons"])


def test_counts_are_held_while_the_store_is_away(fresh: Any) -> None:
    store = Store.at(fresh.server.url, timeout_s=5.0)
    reported(store, CELL, None)
    tally = Tally(store, read_anew_s=0.0)
    before = tally.counts
    assert [counted.good for counted in before] == [1]
    fresh.server.stop()
    assert tally.counts == before
    assert tally.experiences[CELL.transfer, CELL.substrate, CELL.press_type].good == 1
    store.close()


# -- poor ones ---------------------------------------------------------------------------------------------------------


def test_poor_outcomes_draft_one_proposal_and_no_more(
    client: FlaskClient, changing: Any, order: dict[str, Any], store: Store
) -> None:
    mill, cell = changing.headers("mill-loft", "owner"), Cell("cut-film", "knit", "swing-away")
    order["item"] = {"substrate": "knit", "fibres": {"CO": 100}, "colour": "white", "coating": "none"}
    order["decorations"], order["quantity"] = [{"transfer": "cut-film", "placement": "front"}], 23
    for _ in range(2):
        reported(store, cell, "peeled", pieces=2, shop="quay-side")
    address = recorded(client, order, mill)
    answers = [
        ok(client.post(address, json={"result": "failed", "failure": "peeled"}, headers=mill)) for _ in range(23)
    ]
    drafted = [answer["drafted_proposal_id"] for answer in answers]
    assert drafted[:15] == [None] * 15, "twenty pieces are needed, with the other shop's four"
    assert len([id_ for id_ in drafted if id_ is not None]) == 1
    listed = [entry for page in pages(client, address, mill) for entry in page]
    assert [entry["drafted_proposal_id"] for entry in reversed(listed)] == drafted, "read again, reports say it too"
    assert ok(client.get(f"{address}/o16", headers=mill)) == answers[15]
    shown = ok(client.get(f"/v1/proposals/{drafted[15]}/status", headers=mill))
    assert (shown["author_id"], shown["state"]) == (AUTHOR, "draft")
    draft = ok(client.get(f"/v1/proposals/{drafted[15]}", headers=mill))
    rule = next(change for change in draft["changes"] if change["kind"] == "rules")
    assert rule["value"]["status"] == "watch", "it is put to the stewards, not applied"
    assert "20 of 20 pieces failed" in draft["reason"]
    assert "only watched: it is counted" in draft["reason"], "what that is stands where it is met"
    for told in (
        "mill-loft reported 0 good and 16 failed, of 1 recorded",
        "quay-side reported 0 good and 4 failed, of 2",
    ):
        assert told in draft["evidence"]
    assert count(store, cell) == (0, 27)
    operator, steward = changing.headers("quay-side", "operator"), changing.headers("quay-side", "steward")
    assert client.post(f"/v1/proposals/{drafted[15]}/open", headers=operator).status_code == 403, "it is nobody's own"
    assert client.post(f"/v1/proposals/{drafted[15]}/open", headers=steward).status_code == 202
    work_out(changing.collective.server.url)
    opened = ok(client.get(f"/v1/proposals/{drafted[15]}/status", headers=operator))
    assert (opened["state"], opened["author"]) == ("open", None), "the program drafted it"
    because = ok(client.get(f"/v1/proposals/{drafted[15]}/effect", headers=operator))["effect"]["decision"]["because"]
    assert any("is only watched" in line and "enforced, it would find something in" in line for line in because)


def test_one_shops_reports_alone_draft_nothing(fresh: Any, book: Book) -> None:
    """However many pieces and orders; another shop whose pieces came out good lends it no word."""
    store = Store.at(fresh.server.url, timeout_s=5.0)
    for _ in range(5):
        reported(store, CELL, "peeled", pieces=12, shop="quay-side")
    assert propose_if_poor(store, book, CELL, "test") is None
    for _ in range(3):
        reported(store, CELL, None, shop="mill-loft")
    assert propose_if_poor(store, book, CELL, "test") is None
    assert store.proposals.list().items == ()
    reported(store, CELL, "cracked", pieces=2, shop="mill-loft")
    assert propose_if_poor(store, book, CELL, "test") is not None
    store.close()


def test_two_shops_with_one_order_each_are_too_few(fresh: Any, book: Book) -> None:
    store = Store.at(fresh.server.url, timeout_s=5.0)
    for shop in ("quay-side", "mill-loft"):
        reported(store, CELL, "peeled", pieces=30, shop=shop)
    assert propose_if_poor(store, book, CELL, "test") is None
    reported(store, CELL, "peeled", shop="mill-loft")
    assert propose_if_poor(store, book, CELL, "test") is not None
    store.close()


def pages(client: FlaskClient, address: str, headers: dict[str, str]) -> Iterator[list[Any]]:
    following: str | None = address
    while following is not None:
        page = ok(client.get(following, headers=headers))
        yield page["entries"]
        following = page["next"]


def test_a_report_under_a_key_names_its_proposal_when_read_though_not_when_repeated(
    client: FlaskClient, changing: Any, order: dict[str, Any], store: Store
) -> None:
    """The answer of a repetition was kept with the report, before there was a proposal."""
    mill = changing.headers("mill-loft", "owner")
    order["item"] = {"substrate": "knit", "fibres": {"CO": 100}, "colour": "white", "coating": "none"}
    order["decorations"], order["quantity"] = [{"transfer": "glitter-film", "placement": "front"}], 20
    for _ in range(2):
        reported(store, Cell("glitter-film", "knit", "swing-away"), "peeled", pieces=2, shop="quay-side")
    address = recorded(client, order, mill)
    failed = {"result": "failed", "failure": "peeled"}
    for _ in range(15):
        ok(client.post(address, json=failed, headers=mill))
    once = mill | {"Idempotency-Key": "the-twentieth"}
    first, again = (ok(client.post(address, json=failed, headers=once)) for _ in range(2))
    assert first["drafted_proposal_id"] is not None
    assert again == {**first, "drafted_proposal_id": None}
    assert ok(client.get(f"{address}/o16", headers=mill)) == first


def test_two_workers_draft_once(fresh: Any, book: Book) -> None:
    store = Store.at(fresh.server.url, timeout_s=5.0)
    for shop in ("quay-side", "mill-loft", "mill-loft"):
        reported(store, CELL, "peeled", pieces=10, shop=shop)
    with ThreadPoolExecutor(4) as pool:
        ids = list(pool.map(lambda _: propose_if_poor(store, book, CELL, "test"), range(4)))
    assert len([id_ for id_ in ids if id_ is not None]) == 1
    assert len(store.proposals.list().items) == 1
    store.close()


def test_good_outcomes_draft_nothing(fresh: Any, book: Book) -> None:
    store = Store.at(fresh.server.url, timeout_s=5.0)
    for shop in ("quay-side", "mill-loft", "mill-loft"):
        reported(store, CELL, FAILURES[0], pieces=1, shop=shop)
        reported(store, CELL, None, pieces=9, shop=shop)
    assert propose_if_poor(store, book, CELL, "test") is None
    store.close()
