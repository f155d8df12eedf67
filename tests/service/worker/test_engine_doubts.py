"""An engine that is wrong costs no verdict, and whoever runs the service is told: the log, /readyz and /metrics."""

from __future__ import annotations

import copy
import json
import logging
import os
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.rules.infer.planted import wrong_about

from accord_rules.documents.files import shipped
from accord_rules.infer.replay import replay
from accord_rules.revision.book import Book
from accord_rules.weigh.scales import conditions
from accord_service.api.room import Room
from accord_service.run import log
from accord_service.run.times import instant
from accord_service.store import Store
from accord_service.worker import edition
from accord_service.worker.kept import KeptAnswers

SHARED_RULE = "platen-heats-unevenly"
HOUSE_RULE = "house.second-look-at-the-quay"
HOUSE_RULES = {
    "rules": {
        HOUSE_RULE: {
            "level": "requires",
            "title": "Cloth gets a second look",
            "about": "item",
            "when": "item.textile",
            "because": "This shop looks at every piece of cloth twice.",
            "fix": "Have a colleague look at it.",
            "sources": ["project-choice"],
            "fires": [{"note": "a tee", "item": {"blank": "tee-heavy-white"}}],
            "silent": [{"facts": {"item.textile": False}}],
        }
    }
}


@pytest.fixture
def room(changing: Any) -> Room:
    """That of the first worker, in which faults are planted; the other is never in doubt."""
    opened: Room = changing.first.application.extensions["accord"]
    opened.ledger._logged.clear()  # what another test logged just now is none of this one's
    return opened


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    client: FlaskClient = changing.first
    return client


@pytest.fixture
def key(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


@contextmanager
def wrong(room: Room, rule: str, shop: str = "quay-side") -> Iterator[None]:
    """The engine that the worker asks about a rule for the shop is wrong about it."""
    with room.taken() as snapshot:
        authority = snapshot.authority_for(snapshot.directory.shops[shop])
        snapshot.edition.kept = KeptAnswers()  # so that the engine is asked
        with wrong_about(authority.scales, rule):
            yield


def readings(client: FlaskClient, family: str) -> dict[str, float]:
    """The series of a family of counters: its labels, and how far it is."""
    samples = re.findall(
        rf"^({family}(?:_total)?(?:{{[^}}]*}})?) ([0-9.e+]+)$", client.get("/metrics").text, re.MULTILINE
    )
    return {series: float(value) for series, value in samples}


def doubts(client: FlaskClient) -> Counter[str]:
    return Counter({series: int(count) for series, count in readings(client, "accord_engine_doubts").items()})


def test_without_doubt_nothing_is_degraded(changing: Any, key: dict[str, str], order: dict[str, Any]) -> None:
    client = changing.second
    assert client.post("/v1/validate", json=order, headers=key).status_code == 200
    ready = client.get("/readyz").json
    assert (ready["status"], ready["checks"]["engine"]) == ("ready", {"ok": True, "since": None, "detail": ""})
    assert readings(client, "accord_degraded") == {
        'accord_degraded{part="engine"}': 0,
        'accord_degraded{part="audit"}': 0,
        'accord_degraded{part="writes"}': 0,
        'accord_degraded{part="effects"}': 0,
    }
    assert readings(client, "accord_degraded_since_timestamp_seconds") == {}
    assert set(readings(client, "accord_engine_doubts").values()) == {0}


def test_a_wrong_engine_costs_no_verdict_and_is_told(
    client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any], book: Book,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    right = client.post("/v1/validate", json=order, headers=key)
    before = doubts(client)
    with caplog.at_level(logging.WARNING, "accord_rules"), wrong(room, SHARED_RULE):
        for _ in range(3):
            assert client.post("/v1/validate", json=order, headers=key).data == right.data
        answer = client.get("/readyz")
    assert answer.status_code == 200, "degraded is not down"
    assert answer.json["status"] == "degraded"
    engine = answer.json["checks"]["engine"]
    assert engine["ok"] is False
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", engine["since"])
    assert re.search(r"shared pressing-\d: [1-9]\d* disagreements, 0 engine failures", engine["detail"])
    assert answer.json["checks"]["store"]["ok"], "the other parts are told apart"
    ((series, count),) = (doubts(client) - before).items()
    assert re.search(r'kind="disagreement",layer="shared",network="pressing-\d"', series)
    assert count >= 3, "an answer that was overruled is not remembered, so each repeat counts"
    assert readings(client, "accord_degraded") == {
        'accord_degraded{part="engine"}': 1,
        'accord_degraded{part="audit"}': 0,
        'accord_degraded{part="writes"}': 0,
        'accord_degraded{part="effects"}': 0,
    }
    ((_, since_s),) = readings(client, "accord_degraded_since_timestamp_seconds").items()
    assert instant(since_s) == engine["since"]
    assert since_s <= room.now_s
    # The log has one line, which reproduces the question.
    (record,) = [record for record in caplog.records if record.name == "accord_rules.infer"]
    line = json.loads(log.JsonLines().format(record))
    assert line["doubt"]["apart"] == [SHARED_RULE]
    again = replay(line["doubt"], book.vocabulary, conditions(book, line["doubt"]["about"]))
    assert not again.differs, "networks made anew are right"
    assert list(again.judged) == line["doubt"]["judged"]


def test_it_stays_degraded_until_the_worker_starts_anew(
    changing: Any, client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any],
    serve: Callable[[Any], Flask],
) -> None:  # fmt: skip
    with wrong(room, SHARED_RULE):
        client.post("/v1/validate", json=order, headers=key)
    counted = doubts(client)
    for _ in range(3):
        client.post("/v1/validate", json=order, headers=key)
    assert client.get("/readyz").json["status"] == "degraded"
    assert doubts(client) == counted, "the networks are right again, and nothing wrong was remembered"
    assert serve(changing.collective).test_client().get("/readyz").json["status"] == "ready"


def test_doubts_about_house_rules_are_counted_and_no_house_is_named(
    changing: Any, client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any],
    wait_for: Callable[..., None],
) -> None:  # fmt: skip
    owner = changing.headers("quay-side", "owner")
    etag = client.get("/v1/shop/house-rules", headers=owner).headers["ETag"]

    def put(rules: dict[str, Any], etag: str) -> str:
        done = client.put("/v1/shop/house-rules", json=rules, headers=owner | {"If-Match": etag})
        assert done.status_code == 200, done.text
        return str(done.headers["ETag"])

    def rules_found() -> set[str]:
        return {finding["rule"] for finding in client.post("/v1/validate", json=order, headers=key).json["findings"]}

    before = doubts(client)
    etag = put(HOUSE_RULES, etag)
    wait_for(lambda: HOUSE_RULE in rules_found(), seconds=3.0)
    with wrong(room, HOUSE_RULE):
        assert HOUSE_RULE in rules_found()
    ready = client.get("/readyz")
    assert (ready.status_code, ready.json["status"]) == (200, "degraded")
    assert "house order: " in ready.json["checks"]["engine"]["detail"]
    counted = doubts(client)
    (series,) = counted - before
    assert 'kind="disagreement",layer="house",network="order"' in series
    # Dropped, as the networks of shops that were idle are.
    put({}, etag)
    wait_for(lambda: HOUSE_RULE not in rules_found(), seconds=3.0)
    room._held.edition.resource._houses.clear()  # type: ignore[union-attr]
    assert doubts(client) == counted
    metrics = "\n".join(line for line in client.get("/metrics").text.splitlines() if line.startswith("accord_engine"))
    assert 'layer="house"' in metrics
    for text in (metrics, client.get("/readyz").text):
        assert "second-look" not in text
        assert "quay" not in text


def test_doubts_of_retired_editions_stay_counted(
    changing: Any, client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any],
    wait_for: Callable[..., None],
) -> None:  # fmt: skip
    with wrong(room, SHARED_RULE):
        client.post("/v1/validate", json=order, headers=key)
    counted = doubts(client)
    assert counted.total() > 0
    store = Store.at(changing.collective.server.url, timeout_s=5.0)
    try:
        documents = copy.deepcopy(dict(shipped()))
        documents["limits"]["press.spread_most"]["value"] = "9 K"
        last = store.revisions.head()
        published = store.revisions.publish(last, documents, author="a", approvers=["b"], reason="test", proposal=None)
    finally:
        store.close()
    wait_for(lambda: client.get("/readyz").json["checks"]["book"]["revision"] == published.head.number, seconds=10.0)
    client.post("/v1/validate", json=order, headers=key)
    assert doubts(client) == counted
    assert client.get("/readyz").json["status"] == "degraded"


def test_walks_are_told_from_remembered_answers(changing: Any, key: dict[str, str], order: dict[str, Any]) -> None:
    client = changing.second

    def count(by: str) -> float:
        series = f'accord_engine_answers_total{{by="{by}",layer="shared",network="decoration-1"}}'
        return readings(client, "accord_engine_answers")[series]

    assert client.post("/v1/validate", json=order, headers=key).status_code == 200
    walks, facts = count("walk"), count("facts")
    assert walks >= 1
    # Another answer to the same question: the very same would be given again without any.
    assert client.post("/v1/validate?include=observed", json=order, headers=key).status_code == 200
    assert count("walk") == walks, "it was asked before"
    assert count("facts") > facts


def test_watched_rules_are_tried_before_the_engine_is_asked_about_them(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A network of watched rules can crash a worker like any other."""
    taken: list[Mapping[str, Any]] = []
    monkeypatch.setattr(edition, "try_out", lambda rules, *others: taken.append(rules))
    watched = replace(book.rules[SHARED_RULE], status="watch")
    edition.try_rules(replace(book, rules=MappingProxyType({**book.rules, SHARED_RULE: watched})))
    edition.try_rules(replace(book, rules=MappingProxyType({SHARED_RULE: watched})), vetted=book)
    assert [set(rules) for rules in taken] == [set(book.rules)], "and not again once they were"


WORKER = """
import os, sys
from accord_rules.infer.ledger import DISAGREEMENT, SHARED, WALK, Ledger, Network
from accord_service.run.metrics import Metrics

metrics, ledger = Metrics(), Ledger(lambda: float(sys.argv[2]))
account = ledger.account(Network(SHARED, "order"))
account.add(WALK)
if sys.argv[1] == "wrong":
    account.add(DISAGREEMENT)
    ledger._since_s = float(sys.argv[2])
metrics.mirror_ledger(ledger)
metrics.mirror_ledger(ledger)
if sys.argv[1] == "read":
    if len(sys.argv) > 3:
        from prometheus_client.multiprocess import mark_process_dead
        mark_process_dead(int(sys.argv[3]))
    print(metrics.written().decode())
else:
    print(os.getpid())
"""


@pytest.mark.long
def test_counts_of_workers_add_up_and_only_living_ones_are_degraded(tmp_path: Path) -> None:
    def run(*arguments: str) -> str:
        environment = os.environ | {"PROMETHEUS_MULTIPROC_DIR": str(tmp_path), "PYTHONPATH": os.pathsep.join(sys.path)}
        command = [sys.executable, "-c", WORKER, *arguments]
        return subprocess.run(command, env=environment, capture_output=True, check=True, text=True).stdout

    run("right", "0")
    pid = run("wrong", "1000.5").strip()
    together = run("read", "0")
    assert 'accord_engine_answers_total{by="walk",layer="shared",network="order"} 3.0' in together
    assert 'accord_engine_doubts_total{kind="disagreement",layer="shared",network="order"} 1.0' in together
    assert 'accord_degraded{part="engine"} 1.0' in together
    assert 'accord_degraded_since_timestamp_seconds{part="engine"} 1000.5' in together
    after = run("read", "0", pid)
    assert 'accord_engine_doubts_total{kind="disagreement",layer="shared",network="order"} 1.0' in after
    assert 'accord_degraded{part="engine"} 0.0' in after
    assert "1000.5" not in after
