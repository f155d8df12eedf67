"""A moving book: all workers follow within two seconds, no answer mixes two revisions, old ones stay answerable."""

from __future__ import annotations

import copy
import json
import logging
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask

from accord_rules.authority import Authority
from accord_rules.documents.files import shipped
from accord_rules.infer.engine import EngineError
from accord_service.store import RevisionHead, Store
from accord_service.worker import edition
from accord_service.worker.trials import trier

LIMIT = "press.spread_most"
BREATH_S = 0.01


def publish(collective: Any, change: Callable[[dict[str, Any]], None], *, tried: bool = True) -> RevisionHead:
    """A next revision straight into the store, as an approved proposal would make it: with who tried it. ``tried``
    false: as one that nobody tried, so that the workers have to."""
    store = Store.at(collective.server.url, timeout_s=5.0)
    try:
        documents = copy.deepcopy(dict(shipped()))
        change(documents)
        people = {"author": "a", "approvers": ["b"], "reason": "test", "proposal": None}
        by = trier() if tried else ""
        return store.revisions.publish(store.revisions.head(), documents, **people, tried_by=by).head
    finally:
        store.close()


def spread(value: str) -> Callable[[dict[str, Any]], None]:
    return lambda documents: documents["limits"][LIMIT].update(value=value)


@pytest.mark.alone
@pytest.mark.one_core
def test_every_worker_answers_from_a_new_head_within_two_seconds(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    key = changing.headers("quay-side", "counter")
    before = changing.first.post("/v1/validate", json=order, headers=key).json
    head = publish(changing.collective, spread("9 K"))
    for client in (changing.first, changing.second):
        wait_for(
            lambda client=client: client.get(f"/v1/limits/{LIMIT}", headers=key).json["revision"] == head.number,
            seconds=2.0,
        )
        answer = client.post("/v1/validate", json=order, headers=key).json
        assert (answer["revision"], answer["digest"]) == (head.number, head.digest)
        assert client.get(f"/v1/limits/{LIMIT}", headers=key).json["entry"]["value"] == "9 K"
        assert client.get("/readyz").json["checks"]["book"]["revision"] == head.number
        assert f"Revision {head.number}," in client.get("/").text
    assert before["revision"] == 1


def test_old_questions_have_their_old_answers(changing: Any, order: dict[str, Any]) -> None:
    key = changing.headers("quay-side", "counter")
    first = changing.first.post("/v1/validate?revision=1", json=order, headers=key)
    assert first.json["revision"] == 1
    assert changing.second.post("/v1/validate?revision=1", json=order, headers=key).data == first.data
    assert changing.first.post("/v1/recommend?revision=1", json=order, headers=key).json["revision"] == 1
    lists = ("/v1/limits", "/v1/rules", "/v1/facts", "/v1/sources", "/v1/catalogue", "/v1/catalogue/blanks")
    entries = (f"/v1/limits/{LIMIT}", "/v1/catalogue/blanks/tee-heavy-white", "/v1/rules/platen-heats-unevenly",
               "/v1/facts/item.textile")  # fmt: skip
    for path in (*lists, *entries):
        answer = changing.first.get(path, query_string={"revision": 1}, headers=key)
        assert (path, answer.status_code, answer.json["revision"]) == (path, 200, 1)
    assert changing.first.get(f"/v1/limits/{LIMIT}?revision=1", headers=key).json["entry"]["value"] == "8 K"
    page = changing.first.get("/v1/rules?limit=1&revision=1", headers=key).json
    assert "revision=1" in page["next"]


@pytest.mark.parametrize(
    ("kind", "follow"),
    [("limits", "the link"), *((kind, "another worker") for kind in ("limits", "sources", "catalogue/blanks"))],
)
def test_a_list_read_while_the_book_moves_is_that_of_its_first_page(
    fresh: Any, serve: Callable[[Any], Flask], wait_for: Callable[..., None], kind: str, follow: str
) -> None:
    """Else an entry that comes or goes behind the cursor would be there and missing in one list."""
    table = kind.rpartition("/")[2]
    key, client = fresh.headers("quay-side", "counter"), serve(fresh).test_client()
    other = client if follow == "the link" else serve(fresh).test_client()
    first = client.get(f"/v1/{kind}?limit=9", headers=key).json
    before = sorted(shipped()[table])
    added = f"{before[-1]}-and-one-more"

    def change(documents: dict[str, Any]) -> None:
        entry = documents[table][before[-1]]
        documents[table][added] = {name: value for name, value in entry.items() if name != "aliases"}  # words mean one

    head = publish(fresh, change)
    for worker in (client, other):
        wait_for(
            lambda worker=worker: worker.get("/v1/catalogue", headers=key).json["revision"] == head.number, seconds=4.0
        )
    pages = [first]
    while pages[-1]["next"] is not None:
        pages.append(other.get(pages[-1]["next"], headers=key).json)
    assert {page["revision"] for page in pages} == {first["revision"]}
    assert [entry["id"] for page in pages for entry in page["entries"]] == before
    anew = client.get(f"/v1/{kind}/{added}", headers=key)
    assert (anew.status_code, anew.json["revision"]) == (200, head.number)


@pytest.mark.parametrize(("revision", "status"), [("999", 404), ("0", 400), ("-1", 400), ("x", 400), ("1.0", 400)])
def test_a_revision_that_is_none_is_refused(changing: Any, order: dict[str, Any], revision: str, status: int) -> None:
    key = changing.headers("quay-side", "counter")
    assert changing.first.get(f"/v1/rules?revision={revision}", headers=key).status_code == status
    assert changing.first.post(f"/v1/validate?revision={revision}", json=order, headers=key).status_code == status


def test_a_head_that_can_not_be_loaded_leaves_the_last_good_one_answering(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], wait_for: Callable[..., None],
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    client, key = serve(fresh).test_client(), fresh.headers("quay-side", "counter")

    def misspelt(documents: dict[str, Any]) -> None:
        documents["rules"]["platen-heats-unevenly"]["when"] = "no.such_fact"

    with caplog.at_level(logging.ERROR):
        publish(
            fresh,
            lambda documents: documents["rules"]["platen-heats-unevenly"].update(when="no.such_fact"),
            tried=False,
        )
        wait_for(lambda: client.get("/readyz").json["status"] == "degraded", seconds=4.0)
    ready = client.get("/readyz")
    assert ready.status_code == 200
    assert "revision 2 can't be loaded" in ready.json["checks"]["store"]["detail"]
    assert "no.such_fact" in ready.json["checks"]["store"]["detail"]
    answer = client.post("/v1/validate", json=order, headers=key)
    assert (answer.json["revision"], answer.json["basis"]) == (1, "held")
    assert answer.headers["Accord-Basis"].startswith("held; age=")
    head = publish(fresh, spread("9 K"))
    wait_for(lambda: client.get("/readyz").json["status"] == "ready", seconds=4.0)
    assert client.post("/v1/validate", json=order, headers=key).json["revision"] == head.number == 3


def test_rules_that_would_crash_the_engine_are_tried_elsewhere_first(
    fresh: Any, serve: Callable[[Any], Flask], wait_for: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = serve(fresh).test_client()

    def crash(*arguments: Any) -> None:
        raise EngineError("trial: the process was ended by SIGSEGV")

    monkeypatch.setattr(edition, "try_out", crash)

    def reworded(documents: dict[str, Any]) -> None:
        rule = documents["rules"]["platen-heats-unevenly"]
        rule["when"] = f"({rule['when']})"

    publish(fresh, reworded, tried=False)
    wait_for(lambda: "SIGSEGV" in client.get("/readyz").json["checks"]["store"]["detail"], seconds=4.0)
    assert client.get("/readyz").json["status"] == "degraded"


def test_a_head_whose_self_test_is_red_is_not_taken(
    fresh: Any, serve: Callable[[Any], Flask], wait_for: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = serve(fresh).test_client()

    def fail(self: Authority, one_in: int) -> None:
        raise RuntimeError("rule x is silent")

    monkeypatch.setattr(Authority, "self_test", fail)
    publish(fresh, spread("9 K"), tried=False)
    wait_for(lambda: "rule x is silent" in client.get("/readyz").json["checks"]["store"]["detail"], seconds=4.0)
    assert client.get("/readyz").json["checks"]["book"]["revision"] == 1


@pytest.mark.long
def test_no_answer_mixes_two_revisions_while_the_book_moves(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any]
) -> None:
    """Threads ask while revisions go by; each answer has to be, byte for byte, that of the one revision it names."""
    app, key = serve(fresh), fresh.headers("quay-side", "counter")
    first = app.test_client().post("/v1/validate", json=order, headers=key).json
    rule = first["findings"][0]["rule"]
    answers: dict[int, set[bytes]] = {}
    problems: list[str] = []
    stop, lock = threading.Event(), threading.Lock()

    def ask() -> None:
        client = app.test_client()
        # A breath between two questions: the next revision is loaded by the same interpreter.
        while not stop.wait(BREATH_S):
            answer = client.post("/v1/validate", json=order, headers=key)
            with lock:
                if answer.status_code != 200 or answer.json["basis"] != "live":
                    problems.append(answer.text)
                else:
                    answers.setdefault(answer.json["revision"], set()).add(answer.data)

    threads = [threading.Thread(target=ask) for _ in range(3)]
    for thread in threads:
        thread.start()
    client, until = app.test_client(), time.monotonic() + 60
    try:
        for number in (2, 3, 4):
            head = publish(fresh, lambda documents, n=number: documents["rules"][rule].update(title=f"Title {n}"))
            while client.get("/v1/catalogue", headers=key).json["revision"] != head.number:
                assert time.monotonic() < until
                time.sleep(BREATH_S)
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    assert problems == []
    assert {revision: len(bodies) for revision, bodies in answers.items()} == {1: 1, 2: 1, 3: 1, 4: 1}
    titles = {
        revision: {finding["title"] for finding in json.loads(*bodies)["findings"] if finding["rule"] == rule}
        for revision, bodies in answers.items()
    }
    assert titles == {1: {first["findings"][0]["title"]}, 2: {"Title 2"}, 3: {"Title 3"}, 4: {"Title 4"}}


def test_a_shop_whose_house_rules_the_book_outgrew_is_told_not_loosened(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    client, owner = serve(fresh).test_client(), fresh.headers("quay-side", "owner")
    etag = client.get("/v1/shop/house-rules", headers=owner).headers["ETag"]
    done = client.put("/v1/shop/house-rules", json={"limits": {LIMIT: "6 K"}}, headers=owner | {"If-Match": etag})
    assert done.status_code == 200

    def drop(documents: dict[str, Any]) -> None:
        del documents["rules"]["platen-heats-unevenly"]
        del documents["limits"][LIMIT]

    publish(fresh, drop)
    wait_for(lambda: client.post("/v1/validate", json=order, headers=owner).status_code == 409, seconds=4.0)
    refused = client.post("/v1/validate", json=order, headers=owner)
    assert refused.json["type"] == "/problems/house-rules-do-not-fit"
    assert LIMIT in refused.json["detail"]
    mill = fresh.headers("mill-loft", "counter")
    assert client.post("/v1/validate", json=order, headers=mill).status_code == 200
    assert client.post("/v1/validate?revision=1", json=order, headers=owner).json["revision"] == 1


def test_what_the_book_no_longer_has_is_left_out_of_a_shop(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    client, key = serve(fresh).test_client(), fresh.headers("quay-side", "counter")

    def drop(documents: dict[str, Any]) -> None:
        del documents["consumables"]["plain-paper"]

    try:
        publish(fresh, drop)
    finally:
        wait_for(lambda: client.get("/readyz").json["checks"]["book"]["revision"] == 2
                 or client.get("/readyz").json["status"] == "degraded", seconds=4.0)  # fmt: skip
    assert client.post("/v1/validate", json=order, headers=key).status_code == 200
