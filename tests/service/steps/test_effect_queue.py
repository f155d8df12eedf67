"""That effects wait and nobody works on them is told to whoever watches the service."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.effect_workers import work_out
from tests.service.servers import environment

from accord_service.steps import effect_queue
from accord_service.store import Store

SOURCE = {"title": "Another", "kind": "from-memory", "text": "What is remembered.", "speaks_of": ["press"]}


@pytest.fixture
def own_store(fresh: Any) -> Iterator[Store]:
    opened = Store.at(fresh.server.url, timeout_s=5.0)
    yield opened
    opened.close()


@pytest.fixture
def client(fresh: Any, serve: Callable[[Any], Flask], monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
    monkeypatch.setattr(effect_queue, "LOOKED_AT_S", 0.0)
    return serve(fresh).test_client()


def opened(client: FlaskClient, headers: dict[str, str]) -> str:
    """The address of a proposal whose effect was asked for."""
    base = client.get("/v1/revisions/1", headers=headers).json
    body = {"changes": [{"kind": "sources", "id": "one-more", "value": SOURCE}], "reason": "Missing.", "evidence": "-"}
    draft = client.post(
        "/v1/proposals", json=body | {"base": {"revision": 1, "digest": base["digest"]}}, headers=headers
    )
    address = f"/v1/proposals/{draft.json['proposal_id']}"
    assert client.post(f"{address}/open", headers=headers).status_code == 202
    return address


def told(client: FlaskClient) -> tuple[str, Any]:
    answer = client.get("/readyz")
    assert answer.status_code == 200, "degraded is not down"
    return answer.json["status"], answer.json["checks"]["effects"]


def gauges(client: FlaskClient) -> dict[str, float]:
    lines = [line.rpartition(" ") for line in client.get("/metrics").text.splitlines() if not line.startswith("#")]
    named = ("accord_effects_waiting", "accord_effect_processes", 'accord_degraded{part="effects"}')
    return {name: float(value) for name, _, value in lines if name in named}


def test_effects_that_wait_for_nobody_are_told_and_no_others(
    client: FlaskClient, fresh: Any, own_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = {"ok": True, "waiting": 0, "processes": 0, "detail": ""}
    assert told(client) == ("ready", sound)
    owner = fresh.headers("quay-side", "owner")
    address = opened(client, owner)
    assert told(client) == ("ready", sound | {"waiting": 1}), "whoever works on it may be starting"
    monkeypatch.setattr(effect_queue, "PATIENCE_S", 0.0)
    status, effects = told(client)
    assert (status, effects["ok"], effects["waiting"], effects["processes"]) == ("degraded", False, 1, 0)
    assert effects["detail"].startswith("1 effect of a proposal waits to be worked out, since ")
    assert "no process works on effects: start accord work" in effects["detail"]
    assert gauges(client) == {
        "accord_effects_waiting": 1,
        "accord_effect_processes": 0,
        'accord_degraded{part="effects"}': 1,
    }
    own_store.effects.be_present("one")
    own_store.effects.be_present("two")
    own_store.effects.be_present("two")
    assert told(client) == ("ready", sound | {"waiting": 1, "processes": 2})
    own_store.effects.leave("one")
    own_store.effects.leave("two")
    assert told(client)[0] == "degraded"
    cancelled = client.post(f"{address}/effect/cancel", headers=owner)
    assert cancelled.status_code == 200, cancelled.text
    assert len(own_store.effects.runs()) == 1, "nobody has taken it away yet"
    assert told(client) == ("ready", sound)


def test_whoever_works_an_effect_out_is_present(
    client: FlaskClient, fresh: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(effect_queue, "PATIENCE_S", 0.0)
    opened(client, fresh.headers("quay-side", "owner"))
    work_out(fresh.server.url)
    assert told(client)[1] == {"ok": True, "waiting": 0, "processes": 1, "detail": ""}


def test_a_process_that_has_nothing_to_do_is_present_and_leaves_when_it_ends(
    fresh: Any, own_store: Store, wait_for: Callable[..., None]
) -> None:
    words = [sys.executable, "-c", "from accord_service.cli.main import main; main(prog_name='accord')", "work"]
    env = environment(fresh.data, ACCORD_DATA=str(fresh.data))
    with subprocess.Popen([*words, "--store", fresh.server.url], env=env) as process:
        wait_for(lambda: own_store.effects.queue()[2] == 1, seconds=10.0)
        os.kill(process.pid, signal.SIGTERM)
        assert process.wait(60) == 0
    assert own_store.effects.queue()[2] == 0
