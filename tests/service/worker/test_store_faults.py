"""The store goes away under a live service: answers go on at once, writes are refused, nothing is lost, and it heals.

A third of a second is what the collective allows for an answer while the store is away.
"""

from __future__ import annotations

import json
import os
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_service.app import create_app
from accord_service.run.config import Config
from accord_service.store import Store

pytestmark = [pytest.mark.alone, pytest.mark.one_core]

AT_ONCE_S = 0.3


@contextmanager
def frozen(collective: Any) -> Iterator[None]:
    """The store's process stopped for as long as the block runs: it takes connections and never answers."""
    pid = collective.server.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


def timed(ask: Callable[[], Any]) -> tuple[Any, float]:
    started_s = time.monotonic()
    return ask(), time.monotonic() - started_s


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    return changing.first


@pytest.fixture
def counter(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


def healthy(client: FlaskClient) -> bool:
    return client.get("/readyz").json["status"] == "ready"


def test_held_answers_come_at_once_and_say_so(
    changing: Any, client: FlaskClient, counter: dict[str, str], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    live = client.post("/v1/validate", json=order, headers=counter)
    assert (live.json["basis"], live.headers["Accord-Basis"]) == ("live", "live")
    with frozen(changing.collective):
        until, answers = time.monotonic() + 3.5, []
        while time.monotonic() < until:
            answer, took_s = timed(lambda: client.post("/v1/validate", json=order, headers=counter))
            assert answer.status_code == 200
            assert took_s < AT_ONCE_S
            if answer.json["basis"] == "held":
                answers.append(answer)
            time.sleep(0.05)
        assert answers
        assert {k: v for k, v in answers[-1].json.items() if k != "basis"} == {
            k: v for k, v in live.json.items() if k != "basis"
        }
        basis, _, age = answers[-1].headers["Accord-Basis"].partition("; age=")
        assert basis == "held"
        assert 1 <= int(age) <= 4
        for path in ("/v1/rules", "/v1/catalogue", "/v1/shop"):
            answer, took_s = timed(lambda path=path: client.get(path, headers=counter))
            assert (path, answer.status_code, took_s < AT_ONCE_S) == (path, 200, True)
        recommended = client.post("/v1/recommend", json=order, headers=counter)
        assert (recommended.status_code, recommended.json["basis"]) == (200, "held")
    wait_for(lambda: healthy(client), seconds=3.0)
    assert client.post("/v1/validate", json=order, headers=counter).data == live.data


def test_degraded_is_not_down(changing: Any, client: FlaskClient, wait_for: Callable[..., None]) -> None:
    assert client.get("/docs").status_code == 200
    with frozen(changing.collective):
        wait_for(lambda: client.get("/readyz").json["status"] == "degraded", seconds=3.0)
        ready = client.get("/readyz")
        assert ready.status_code == 200
        assert ready.json["checks"]["book"]["ok"]
        assert not ready.json["checks"]["store"]["ok"]
        detail = ready.json["checks"]["store"]["detail"]
        assert "does not answer" in detail
        assert "/" not in detail, "where the store is concerns nobody who asks"
        assert client.get("/healthz").status_code == 200
        assert "held in memory" in client.get("/").text
        assert client.get("/docs").status_code == 200
    wait_for(lambda: healthy(client), seconds=3.0)


def test_writes_are_refused_at_once_and_done_when_sent_again(
    changing: Any, client: FlaskClient, wait_for: Callable[..., None]
) -> None:
    owner = changing.headers("quay-side", "owner")
    shop = client.get("/v1/shop", headers=owner)
    sent = owner | {"If-Match": shop.headers["ETag"], "Idempotency-Key": "while-away"}
    body = shop.json | {"name": "Quay Side after the Flood"}
    with frozen(changing.collective):
        for _ in range(3):
            refused, took_s = timed(lambda: client.put("/v1/shop", json=body, headers=sent))
            assert (refused.status_code, refused.json["type"]) == (503, "/problems/store-unavailable")
            assert refused.headers["Retry-After"] == "1"
            assert took_s < AT_ONCE_S
        assert (
            client.post(
                "/v1/keys", json={"shop_id": "quay-side", "role": "counter", "holder": "Ada Reyes"}, headers=owner
            ).status_code
            == 503
        )
        assert client.get("/v1/keys", headers=owner).status_code == 503
    wait_for(lambda: healthy(client), seconds=3.0)
    # As a client does: again after the second that Retry-After asks for.
    wait_for(lambda: client.put("/v1/shop?validate_only=true", json=body, headers=sent).status_code == 200, seconds=3.0)
    done = client.put("/v1/shop", json=body, headers=sent)
    assert done.status_code == 200, done.text
    assert changing.second.get("/v1/shop", headers=owner).json["name"] == "Quay Side after the Flood"


def test_a_key_nobody_knows_is_refused_while_the_store_is_away(
    changing: Any, client: FlaskClient, wait_for: Callable[..., None]
) -> None:
    stranger = {"Authorization": f"Bearer {'a' * 16}.{'A' * 43}"}
    with frozen(changing.collective):
        wait_for(lambda: client.get("/readyz").json["status"] == "degraded", seconds=3.0)
        answer, took_s = timed(lambda: client.get("/v1/rules", headers=stranger))
        assert answer.status_code == 401
        assert took_s < AT_ONCE_S
    wait_for(lambda: healthy(client), seconds=3.0)


def test_nothing_acknowledged_is_lost_when_the_store_is_killed(
    changing: Any, client: FlaskClient, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    """kill -9 of the store amid writes: its owner starts it again; every acknowledged key is there, answers went on."""
    owner, counter = changing.headers("mill-loft", "owner"), changing.headers("quay-side", "counter")
    acknowledged: list[str] = []
    refused: list[int] = []
    stop = threading.Event()

    def write() -> None:
        with client.application.test_client() as own:
            while not stop.is_set():
                answer = own.post(
                    "/v1/keys", json={"shop_id": "mill-loft", "role": "counter", "holder": "Ada Reyes"}, headers=owner
                )
                if answer.status_code == 201:
                    acknowledged.append(answer.json["key_id"])
                else:
                    refused.append(answer.status_code)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(2):
            before = len(acknowledged)
            wait_for(lambda before=before: len(acknowledged) > before + 3, seconds=10.0)
            pid = changing.collective.server.pid
            os.kill(pid, signal.SIGKILL)
            answer, _ = timed(lambda: client.post("/v1/validate", json=order, headers=counter))
            assert answer.status_code == 200
            wait_for(lambda pid=pid: changing.collective.server.pid not in (None, pid), seconds=10.0)
        before = len(acknowledged)
        wait_for(lambda: len(acknowledged) > before, seconds=10.0)
    finally:
        stop.set()
        writer.join()
    assert set(refused) <= {503}
    wait_for(lambda: healthy(client), seconds=5.0)
    store = Store.at(changing.collective.server.url, timeout_s=5.0)
    assert set(acknowledged) <= {key_.id for key_ in store.keys.list("mill-loft")}
    assert store.audit.verify() is None
    assert store.check().faults == ()
    store.close()


def test_a_store_that_takes_no_writes_is_told(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    """Full, or a replica: it goes on reading, so nothing else would show it until somebody's write is refused."""
    from redis import Redis

    client, counter = serve(fresh).test_client(), fresh.headers("quay-side", "counter")
    ready = client.get("/readyz").json
    assert (ready["status"], ready["checks"]["writes"]) == ("ready", {"ok": True, "detail": ""})
    with Redis(unix_socket_path=str(fresh.server.socket_path)) as raw:
        raw.config_set("maxmemory", "1kb")
        wait_for(lambda: client.get("/readyz").json["status"] == "degraded", seconds=3.0)
        told = client.get("/readyz")
        assert told.status_code == 200, "orders are judged"
        assert told.json["checks"]["store"]["ok"]
        writes = told.json["checks"]["writes"]
        assert not writes["ok"]
        assert "takes no writes" in writes["detail"]
        assert "records" in writes["detail"]
        answer = client.post("/v1/validate", json=order, headers=counter)
        assert (answer.status_code, answer.json["basis"]) == (200, "live")
        refused = client.post("/v1/records", json=order, headers=counter)
        assert refused.status_code == 503
        assert refused.json["detail"] == "The store takes no writes now: its memory is full."
        for text in (refused.text, told.text):
            assert not re.search("OOM|maxmemory|command|script", text), "the store's own words are for the log"
        raw.config_set("maxmemory", "0")
    wait_for(lambda: healthy(client), seconds=3.0)
    assert client.get("/readyz").json["checks"]["writes"]["ok"]


def test_a_worker_that_starts_without_the_store_waits_for_it(
    fresh: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    with frozen(fresh):
        app: Flask = create_app(Config(store_url=fresh.server.url, data=fresh.data, log_level="ERROR"))
        client, counter = app.test_client(), fresh.headers("quay-side", "counter")
        ready = client.get("/readyz")
        assert (ready.status_code, ready.json["status"]) == (503, "not ready")
        answer, took_s = timed(lambda: client.post("/v1/validate", json=order, headers=counter))
        assert (answer.status_code, answer.json["type"]) == (503, "/problems/not-ready")
        assert took_s < AT_ONCE_S
        assert "Not ready" in client.get("/").text
    wait_for(lambda: healthy(client), seconds=10.0)
    assert client.post("/v1/validate", json=order, headers=counter).json["basis"] == "live"
    app.extensions["accord"].close()


def test_an_emptied_store_leaves_the_answers_standing(
    fresh: Any, serve: Callable[[Any], Flask], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    """Somebody flushed a shared Redis: the book in memory goes on, and says that it is held."""
    from redis import Redis

    client, counter = serve(fresh).test_client(), fresh.headers("quay-side", "counter")

    def ask() -> Any:
        answer = client.post("/v1/validate", json=order, headers=counter)
        assert answer.status_code == 200, answer.text
        return answer.json

    with Redis(unix_socket_path=str(fresh.server.socket_path)) as raw:
        raw.flushall()
    wait_for(lambda: ask()["basis"] == "held", seconds=3.0)
    assert client.get("/readyz").json["status"] == "degraded"
    assert "no revision" in json.dumps(client.get("/readyz").json["checks"]["store"])
