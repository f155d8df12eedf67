"""Records: one for each job, kept before it is answered, found by its shop alone, and asked again years later.

Source of what is expected: this project's own contract; there is no outside one.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.conftest import ok

from accord_rules import authority as rules_authority
from accord_service.serving import first_start
from accord_service.steps import records
from accord_service.steps.audit_watch import AuditWatch
from accord_service.store import EmbeddedServer, Store
from accord_service.store.connection import connect

NEWS_S = 0.6  # a worker asks for news each half second
FIRST_PIECE, RULE = "order.first_piece_quantity_from", "press-one-piece-first"
# What may be asked of the store without changing it: every other command counts as a write.
READS = frozenset(
    [
        "get",
        "hget",
        "hmget",
        "mget",
        "lrange",
        "llen",
        "zrange",
        "zrevrange",
        "zrevrank",
        "zscore",
        "zmscore",
        "zcard",
        "zcount",
        "ping",
        "hello",
        "auth",
        "select",
        "client|setinfo",
    ]
)


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    first_client: FlaskClient = changing.first
    return first_client


@pytest.fixture
def quay(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "owner"))


def record(client: FlaskClient, headers: dict[str, str], order: dict[str, Any]) -> Any:
    """An order, recorded."""
    answer = client.post("/v1/records", json=order, headers=headers)
    assert answer.status_code == 201, answer.text
    return answer.json


def kept_in(raw: Any) -> dict[bytes, str]:
    """Every key of the store, and the sum of what it holds; but for how often whose key asked within a minute, which is
    not of the order and begins anew with each minute."""
    keys = [key for key in raw.keys("*") if b":rate:" not in key]
    return {key: hashlib.sha256(raw.dump(key) or b"").hexdigest() for key in keys}


# -- one record for each job -------------------------------------------------------------------------------------------


def test_two_orders_that_differ_in_reference_alone_are_two_records(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    """They shared one, and the second job could not be found, nor its pieces reported."""
    jobs = {name: record(client, quay, order | {"reference": name, "quantity": 1}) for name in ("law-1", "law-2")}
    assert len({job["record_id"] for job in jobs.values()}) == 2
    assert len({job["verdict_id"] for job in jobs.values()}) == 1, "the verdict's id is of its content, as before"
    for name, job in jobs.items():
        (entry,) = ok(client.get("/v1/records", query_string={"reference": name}, headers=quay))["entries"]
        assert entry["record_id"] == job["record_id"]
        outcomes = f"/v1/records/{job['record_id']}/outcomes"
        outcome = ok(client.post(outcomes, json={"result": "good", "note": name}, headers=quay))
        assert ok(client.get(outcomes, headers=quay))["entries"] == [outcome]


def test_equal_orders_are_two_records(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    assert record(client, quay, order)["record_id"] != record(client, quay, order)["record_id"]


def test_an_idempotency_key_repeats_the_first(
    client: FlaskClient, changing: Any, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    once = quay | {"Idempotency-Key": "job-7"}
    first = client.post("/v1/records", json=order, headers=once)
    before = store.audit.head()
    again = changing.second.post("/v1/records", json=order, headers=once)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.data == first.data
    assert again.headers["Location"] == first.headers["Location"]
    assert store.audit.head() == before
    reused = client.post("/v1/records", json=order | {"quantity": 13}, headers=once)
    assert (reused.status_code, reused.json["type"]) == (422, "/problems/key-used-before")


def test_sent_eight_times_at_once_with_one_key_is_one_record(
    client: FlaskClient, changing: Any, quay: dict[str, str], order: dict[str, Any]
) -> None:
    order["reference"], once = "QS-at-once", quay | {"Idempotency-Key": "at-once"}

    def send(number: int) -> Any:
        worker = (changing.first, changing.second)[number % 2].application.test_client()
        return worker.post("/v1/records", json=order, headers=once)

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(send, range(8)))
    done = [answer for answer in answers if answer.status_code == 201]
    assert {answer.json["type"] for answer in answers if answer not in done} <= {"/problems/still-under-way"}
    (line,) = ok(client.get("/v1/records?reference=QS-at-once", headers=quay))["entries"]
    assert {answer.json["record_id"] for answer in [*done, send(0)]} == {line["record_id"]}


def test_what_was_made_is_where_it_says(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    verdict = ok(client.post("/v1/validate", json=order, headers=quay))
    created = client.post("/v1/records", json=order, headers=quay)
    assert created.headers["Location"] == f"/v1/records/{created.json['record_id']}"
    assert created.json["record_id"].startswith("rec_")
    read_back = client.get(created.headers["Location"], headers=quay)
    assert read_back.json == created.json
    assert read_back.json["answer"] == verdict
    assert (read_back.json["verdict_id"], read_back.json["verdict"]) == (verdict["id"], verdict["verdict"])
    assert read_back.json["order"] == {name: value for name, value in order.items() if name != "reference"}
    assert read_back.json["reference"] == order["reference"]
    assert read_back.json["revision"] == verdict["revision"]
    assert read_back.json["code"] == rules_authority.code_digest()


def test_a_rejected_order_is_recorded_as_well(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    order["item"] = {"blank": "tee-heavy-white"}
    assert record(client, quay, order)["verdict"] == "rejected"


def test_validate_only_records_nothing(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    before = store.audit.head()
    shown = client.post("/v1/records?validate_only=true", json=order, headers=quay)
    assert (shown.status_code, shown.json["record_id"]) == (200, None)
    assert "Location" not in shown.headers
    assert store.audit.head() == before


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend", "/v1/envelope"])
def test_asking_never_writes(
    client: FlaskClient,
    quay: dict[str, str],
    order: dict[str, Any],
    changing: Any,
    path: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every key of the store is the same before and after, and no command was sent that could have changed one.

    When the shop's key was used last is not of the order; it was used a moment ago. Nor is what a worker looks at each
    two seconds, whoever asks (``steps/audit_watch.py``).
    """
    monkeypatch.setattr(AuditWatch, "now_and_then", lambda watch: None)
    for looking in (thread for thread in threading.enumerate() if thread.name == "audit-watch"):
        looking.join()
    ok(client.get("/v1/shop", headers=quay))
    raw = connect(changing.collective.server.url, timeout_s=5.0)
    hopeless = order | {"item": {"blank": "tee-heavy-white"}}
    try:
        before = kept_in(raw)
        raw.config_resetstat()
        for body in (order, hopeless, order | {"reference": "another"}, {"item": {}}):
            for headers in (quay, quay | {"Idempotency-Key": "word"}):
                client.post(path, json=body, headers=headers)
        refused = client.post(f"{path}?record=true", json=order, headers=quay)
        commands = {name.removeprefix("cmdstat_") for name in raw.info("commandstats")}
        assert kept_in(raw) == before
        assert commands - READS - {"config|resetstat", "info"} == set()
        assert (refused.status_code, refused.json["type"]) == (400, "/problems/bad-query")
        raw.config_resetstat()
        record(client, quay, order)
        assert kept_in(raw) != before, "what is looked at does see a write"
        assert {name.removeprefix("cmdstat_") for name in raw.info("commandstats")} - READS > {"hset", "zadd"}
    finally:
        raw.close()


# -- found again -------------------------------------------------------------------------------------------------------


def test_records_are_listed_newest_first_in_pages(client: FlaskClient, changing: Any, order: dict[str, Any]) -> None:
    mill = changing.headers("mill-loft", "counter")
    jobs = [record(client, mill, order | {"reference": name}) for name in ("a b&c", "ü/2", "a b&c", "a b&c")]
    wanted = [job["record_id"] for job in reversed(jobs)]

    def listed(query: str) -> list[list[str]]:
        pages, following = [], f"/v1/records?{query}"
        while following is not None:
            page = ok(client.get(following, headers=mill))
            pages.append([entry["record_id"] for entry in page["entries"]])
            following = page["next"]
        return pages

    assert listed("") == [wanted]
    assert listed("limit=3") == [wanted[:3], wanted[3:]]
    assert listed("limit=2&reference=a+b%26c") == [[wanted[0], wanted[1]], [wanted[3]]]
    assert listed("reference=%C3%BC/2") == [[wanted[2]]]
    assert listed("reference=a") == [[]]
    whole = jobs[-1]
    (line,) = ok(client.get("/v1/records?limit=1", headers=mill))["entries"]
    assert line == {name: value for name, value in whole.items() if name not in ("order", "answer", "code")}


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ("limit=0", "limit"),
        ("limit=201", "limit"),
        ("cursor=made-up", "cursor"),
        ("reference=" + "x" * 81, "reference"),
        ("page=2", "page"),
    ],
)
def test_a_faulty_query_is_refused_by_name(client: FlaskClient, quay: dict[str, str], query: str, name: str) -> None:
    refused = client.get(f"/v1/records?{query}", headers=quay)
    assert (refused.status_code, refused.json["type"]) == (400, "/problems/bad-query")
    assert [(fault["in"], fault["name"]) for fault in refused.json["errors"]] == [("query", name)]


def test_another_shops_record_does_not_exist(
    client: FlaskClient, quay: dict[str, str], changing: Any, order: dict[str, Any]
) -> None:
    own = record(client, quay, order | {"reference": "QS-own"})
    address = f"/v1/records/{own['record_id']}"
    ok(client.post(f"{address}/outcomes", json={"result": "good"}, headers=quay))
    admin = changing.headers("collective", "admin")
    for path in ("", "/replay", "/outcomes", "/outcomes/o1"):
        answer = client.get(address + path, headers=admin)
        assert (answer.status_code, answer.json["type"]) == (403, "/problems/no-shop")
    for holder in (("mill-loft", "counter"), ("mill-loft", "owner")):
        stranger = changing.headers(*holder)
        for path in ("", "/replay", "/outcomes", "/outcomes/o1"):
            answer = client.get(address + path, headers=stranger)
            assert (answer.status_code, answer.json["type"]) == (404, "/problems/not-found")
    mill = changing.headers("mill-loft", "owner")
    assert client.delete(f"{address}/reference", headers=mill).status_code == 404
    assert ok(client.get("/v1/records?reference=QS-own", headers=mill))["entries"] == []
    assert client.get("/v1/records", headers=admin).status_code == 403


def test_it_is_kept_as_long_as_configured(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    stored = store.records.get("quay-side", record(client, quay, order)["record_id"])
    assert stored is not None
    assert stored.expires_at is not None
    assert stored.expires_at - stored.recorded_at == 730 * 86_400


def test_deleting_takes_the_reference_and_nothing_else(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    before = record(client, quay, order | {"reference": "QS-secret"})
    address = f"/v1/records/{before['record_id']}"
    previewed = ok(client.delete(f"{address}/reference?validate_only=true", headers=quay))
    assert ok(client.get(address, headers=quay)) == before
    deleted = ok(client.delete(f"{address}/reference", headers=quay))
    after = ok(client.get(address, headers=quay))
    assert after == deleted == previewed
    assert after == {**before, "reference": None, "answer": {**before["answer"], "reference": None}}
    assert ok(client.get("/v1/records?reference=QS-secret", headers=quay))["entries"] == []
    assert ok(client.delete(f"{address}/reference", headers=quay)) == after, "there is nothing left to take"


# -- replay ------------------------------------------------------------------------------------------------------------


def replayed(client: FlaskClient, headers: dict[str, str], record_id: str, query: str = "") -> Any:
    return ok(client.get(f"/v1/records/{record_id}/replay{query}", headers=headers))


def test_nothing_changed_is_the_same_to_the_word(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    recorded = record(client, quay, order)
    replay = replayed(client, quay, recorded["record_id"])
    assert replay["same"]
    assert replay["made_a_difference"] == {"code": False, "book": False, "house": False}
    assert replay["answer"]["id"] == recorded["verdict_id"]
    assert replay["appeared"] == replay["gone"] == replay["changed"] == []


def test_house_rules_made_the_difference(client: FlaskClient, quay: dict[str, str], order: dict[str, Any]) -> None:
    """The house presses one piece ahead of 20 already, the book of 24."""
    order["quantity"] = 22
    shared = record(client, quay, order)["record_id"]
    set_house(client, quay, {"limits": {FIRST_PIECE: 20}})
    housed = record(client, quay, order)["record_id"]
    assert replayed(client, quay, housed)["same"]
    replay = replayed(client, quay, shared)
    assert replay["made_a_difference"] == {"code": False, "book": False, "house": True}
    assert [finding["rule"] for finding in replay["appeared"]] == [RULE]
    set_house(client, quay, {})
    replay = replayed(client, quay, housed)
    assert replay["made_a_difference"] == {"code": False, "book": False, "house": True}
    assert [finding["rule"] for finding in replay["gone"]] == [RULE]
    assert replayed(client, quay, shared)["same"]


# -- tickets -----------------------------------------------------------------------------------------------------------


def ticket(client: FlaskClient, headers: dict[str, str], record_id: str, query: str = "") -> Any:
    return ok(client.get(f"/v1/records/{record_id}/ticket{query}", headers=headers))


def test_a_ticket_is_the_recommended_plan_with_the_verdicts_settings(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    recorded = record(client, quay, order)
    answer = recorded["answer"]
    can = [press for press in answer["presses"] if press["settings"] is not None]
    assert can
    for judged in can:
        told = ticket(client, quay, recorded["record_id"], f"?press={judged['press']}")
        assert [press["press"] for press in told["presses"]] == [press["press"] for press in can]
        assert told["changed"] == []
        plan = told["plan"]
        assert (plan["press"], told["why"], told["as_judged"]) == (judged["press"], "", True)
        assert [decoration["settings"] for decoration in plan["decorations"]] == judged["settings"]
        pinned = plan["order"] | {"press": judged["press"]}
        recommended = ok(client.post("/v1/recommend", json=pinned, headers=quay))["plans"][0]
        # Reasons count what pieces came to until now, and ids the house's versions, which other tests here add to.
        own = {name: plan[name] for name in ("order", "reasons", "verdict_id")}
        assert plan == recommended | own
    best = ticket(client, quay, recorded["record_id"])
    assert best["press"] == answer["judged_on"]


def test_a_press_that_cannot_do_it_has_no_ticket(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    recorded = record(client, quay, order)
    refused = client.get(f"/v1/records/{recorded['record_id']}/ticket?press=nowhere", headers=quay)
    assert refused.status_code == 400
    (fault,) = refused.get_json()["errors"]
    assert (fault["name"], fault["code"]) == ("press", "not-allowed")
    assert recorded["answer"]["judged_on"] in fault["allowed"]


def test_what_was_rejected_or_is_not_known_has_no_plan(client: FlaskClient, quay: dict[str, str]) -> None:
    cotton = {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
    }
    recorded = record(client, quay, cotton)
    assert recorded["verdict"] == "rejected"
    told = ticket(client, quay, recorded["record_id"])
    assert (told["plan"], told["press"], told["presses"]) == (None, None, [])
    assert told["why"] in {finding["because"] for finding in recorded["answer"]["findings"]}
    unsaid = record(client, quay, {**cotton, "item": {"substrate": "knit"}})
    assert unsaid["verdict"] == "undetermined"
    told = ticket(client, quay, unsaid["record_id"])
    assert told["plan"] is None
    assert unsaid["answer"]["needs"][0]["question"] in told["why"]


def test_a_ticket_says_what_changed_since_and_stays_as_it_was(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any]
) -> None:
    recorded = record(client, quay, order)
    before = ticket(client, quay, recorded["record_id"])
    set_house(client, quay, {"limits": {FIRST_PIECE: 20}})
    after = ticket(client, quay, recorded["record_id"])
    assert after["changed"] == ["house"]
    assert after["plan"] == before["plan"]
    set_house(client, quay, {})
    assert ticket(client, quay, recorded["record_id"]) == before


def set_house(client: FlaskClient, headers: dict[str, str], rules: dict[str, Any]) -> None:
    seen = client.get("/v1/shop/house-rules", headers=headers)
    ok(client.put("/v1/shop/house-rules", json=rules, headers=headers | {"If-Match": seen.headers["ETag"]}))
    time.sleep(NEWS_S)


def test_another_book_made_the_difference(
    client: FlaskClient, quay: dict[str, str], store: Store, order: dict[str, Any]
) -> None:
    order["quantity"] = 23
    recorded = record(client, quay, order)
    assert RULE not in {finding["rule"] for finding in recorded["answer"]["findings"]}
    head = store.revisions.head()
    revision = store.revisions.revision(head.number)
    assert revision is not None
    documents = {kind: dict(entries) for kind, entries in revision.documents.items()}
    documents["limits"][FIRST_PIECE] = {**documents["limits"][FIRST_PIECE], "value": 20}
    new = store.revisions.publish(head, documents, author="test", approvers=(), reason="", proposal=None)
    time.sleep(NEWS_S)
    replay = replayed(client, quay, recorded["record_id"])
    assert (replay["recorded_revision"], replay["revision"]) == (head.number, new.number)
    assert replay["made_a_difference"] == {"code": False, "book": True, "house": False}
    assert {finding["rule"] for finding in replay["appeared"]} == {RULE}
    back = replayed(client, quay, recorded["record_id"], f"?revision={head.number}")
    assert back["same"]
    assert client.get(f"/v1/records/{recorded['record_id']}/replay?revision=999", headers=quay).status_code == 404


def test_other_code_made_the_difference(
    client: FlaskClient, quay: dict[str, str], order: dict[str, Any], store: Store
) -> None:
    """A verdict as an older version might have worded it: its first condition reads otherwise."""
    order["quantity"] = 13
    verdict = ok(client.post("/v1/validate", json=order, headers=quay))
    shop = ok(client.get("/v1/shop", headers=quay))
    question = {"order": {n: v for n, v in order.items() if n != "reference"}, "shop": shop,
             "house": {}, "code": "sha256:older"}  # fmt: skip
    older = {**verdict, "conditions": ["As it was said then.", *verdict["conditions"]]}

    def record_of(question: dict[str, Any]) -> str:
        draft = store.records.draft("quay-side", question=question, answer=older, revision=verdict["revision"])
        return store.records.create(draft, who="test").record_id

    replay = replayed(client, quay, record_of(question), f"?revision={verdict['revision']}")
    assert replay["made_a_difference"] == {"code": True, "book": False, "house": False}
    odd = replayed(client, quay, record_of({**question, "order": {**question["order"], "mood": "good"}}))
    assert (odd["now"], odd["answer"]) == ("unreadable", None)
    assert "mood" in odd["why"]
    assert odd["made_a_difference"] == {"code": True, "book": None, "house": None}


# -- store away --------------------------------------------------------------------------------------------------------


def test_while_the_store_is_away_a_record_is_refused_and_a_verdict_is_not(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any]
) -> None:
    app = serve(fresh)
    key = fresh.headers("quay-side", "counter")
    client = app.test_client()
    verdict = ok(client.post("/v1/validate", json=order, headers=key))
    server: EmbeddedServer = fresh.server
    server.stop()
    refused = client.post("/v1/records", json=order, headers=key)
    assert (refused.status_code, refused.json["type"]) == (503, "/problems/store-unavailable")
    assert "answer" not in refused.json
    answer = ok(client.post("/v1/validate", json=order, headers=key))
    assert answer == {**verdict, "basis": answer["basis"]}


# -- retention ---------------------------------------------------------------------------------------------------------


def test_expired_records_leave_the_index_now_and_then(changing: Any) -> None:
    url, ticks, now_s = changing.collective.server.url, [0.0], [1_750_000_000.0]
    store, raw = Store.at(url, timeout_s=5.0, clock=lambda: now_s[0]), connect(url, timeout_s=5.0)
    try:
        draft = store.records.draft("s", question={}, answer={}, revision=1, retain_days=1)
        member = f"s/{store.records.create(draft, who='test').record_id}"
        pruning = records.Pruning(store, every_s=10.0, monotonic=lambda: ticks[0])
        pruning.now_and_then()
        raw.delete(f"{{accord}}:record:s:{draft.record_id}")  # what the server does itself when the day is over
        now_s[0] += 2 * 86_400
        pruning.now_and_then()
        assert raw.zscore("{accord}:records", member) is not None, "ten seconds are not over"
        ticks[0] = 10.0
        pruning.now_and_then()
        assert raw.zscore("{accord}:records", member) is None
    finally:
        store.close()
        raw.close()


def test_a_store_with_records_of_before_serves_on(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], tmp_path: Any
) -> None:
    """Verdict records, as they were kept until records had ids of their own, are not read: they end in their time."""
    raw = connect(fresh.server.url, timeout_s=5.0)
    old = "{accord}:verdict:quay-side:vd_old"
    try:
        raw.hset(old, mapping={"v": 1, "d": '{"order":{},"verdict":{},"revision":1,"reference":"QS-7","at":1.0}'})
        raw.expire(old, 86_400)
        raw.zadd("{accord}:verdicts", {"quay-side/vd_old": 1.0})
        raw.zadd("{accord}:verdicts-expiry", {"quay-side/vd_old": 2.0})
        before = kept_in(raw)
        assert first_start.furnish(fresh.server.url, tmp_path) is None
        assert kept_in(raw) == before
        key = fresh.headers("quay-side", "counter")
        client = serve(fresh).test_client()
        assert ok(client.get("/v1/records?reference=QS-7", headers=key))["entries"] == []
        assert client.get("/v1/records/vd_old", headers=key).status_code == 404
        recorded = record(client, key, order)
        assert ok(client.get("/v1/records", headers=key))["entries"][0]["record_id"] == recorded["record_id"]
        with closing(Store.at(fresh.server.url, timeout_s=5.0)) as store:
            assert store.audit.verify() is None
            assert store.records.prune(who="test") == 0
    finally:
        raw.close()
