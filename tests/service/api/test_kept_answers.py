"""An order asked once more gets the answer that was kept, with its own reference, as long as nothing else changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from unittest import mock

import pytest
from flask.testing import FlaskClient
from tests.service.conftest import ok

from accord_rules.authority import Authority
from accord_service.api.room import Room
from accord_service.worker.kept import Counted, KeptAnswer, KeptAnswers

HOUSE_RULES = {
    "rules": {
        "house.second-look": {
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
    opened: Room = changing.first.application.extensions["accord"]
    with opened.taken() as snapshot:
        snapshot.edition.kept = KeptAnswers()  # what other tests asked is none of this one's
    return opened


@pytest.fixture
def client(changing: Any, room: Room) -> FlaskClient:
    client: FlaskClient = changing.first
    return client


@pytest.fixture
def key(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


@contextmanager
def judgements() -> Iterator[list[None]]:
    """One entry for each time that an order is judged while the block runs."""
    judged: list[None] = []
    original = Authority.validated

    def noted(self: Authority, *args: Any, **more: Any) -> Any:
        judged.append(None)
        return original(self, *args, **more)

    with mock.patch.object(Authority, "validated", noted):
        yield judged


def test_the_same_order_is_judged_once(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    with judgements() as judged:
        first, second = (client.post("/v1/validate", json=order, headers=key) for _ in range(2))
    assert len(judged) == 1
    assert first.data == second.data
    assert first.headers["Accord-Basis"] == second.headers["Accord-Basis"] == "live"
    assert first.headers["Cache-Control"] == second.headers["Cache-Control"] == "no-store"


def test_each_job_gets_its_own_reference_and_nobody_elses(
    client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any]
) -> None:
    secret, other = 'Mrs "Ännchen" O\\Brien', "QS-8"
    with judgements() as judged:
        first = client.post("/v1/validate", json=order | {"reference": secret}, headers=key)
        second = client.post("/v1/validate", json=order | {"reference": other}, headers=key)
    assert len(judged) == 1
    assert (first.json["reference"], second.json["reference"]) == (secret, other)
    assert first.json | {"reference": other} == second.json
    with room.taken() as snapshot:
        kept = repr(snapshot.edition.kept._answers)
    assert "nnchen" not in kept
    assert "QS-8" not in kept


def test_an_order_without_a_reference_gets_none(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    ok(client.post("/v1/validate", json=order, headers=key))
    del order["reference"]
    answers = [client.post("/v1/validate", json=order, headers=key) for _ in range(2)]
    assert answers[0].json["reference"] is None
    assert answers[0].data == answers[1].data


def test_a_reference_that_is_none_is_refused_whatever_is_kept(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    ok(client.post("/v1/validate", json=order, headers=key))
    for reference in ("x" * 81, 7):
        assert client.post("/v1/validate", json=order | {"reference": reference}, headers=key).status_code == 422


def test_what_differs_is_judged_anew(
    changing: Any, client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    ok(client.post("/v1/validate", json=order, headers=key))
    with judgements() as judged:
        ok(client.post("/v1/validate", json=order | {"quantity": 77}, headers=key))
        assert len(judged) == 1
        told = ok(client.post("/v1/validate?include=observed", json=order, headers=key))
        assert len(judged) == 2
        assert all("observed" in finding for finding in told["findings"])
        order["decorations"][0]["size"]["width"] = "7 in"
        ok(client.post("/v1/validate", json=order, headers=key))
        ok(client.post("/v1/validate", json=order, headers=changing.headers("mill-loft", "counter")))
        assert len(judged) == 4, "another shop's answer is another"


def test_a_changed_shop_and_changed_house_rules_are_judged_anew(
    changing: Any, client: FlaskClient, key: dict[str, str], order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    owner = changing.headers("quay-side", "owner")
    ok(client.post("/v1/validate", json=order, headers=key))
    shop = client.get("/v1/shop", headers=owner)
    changed = shop.json | {"name": "Quay side, upstairs"}
    assert changed != shop.json
    ok(client.put("/v1/shop", json=changed, headers=owner | {"If-Match": shop.headers["ETag"]}))
    with judgements() as judged:
        # A worker hears of a shop's change a moment after it was made.
        wait_for(lambda: bool(ok(client.post("/v1/validate", json=order, headers=key)) and judged), seconds=10)
    house = client.get("/v1/shop/house-rules", headers=owner)
    ok(client.put("/v1/shop/house-rules", json=HOUSE_RULES, headers=owner | {"If-Match": house.headers["ETag"]}))
    with judgements() as judged:
        told = ok(client.post("/v1/validate", json=order, headers=key))
    assert len(judged) == 1
    assert "house.second-look" in {finding["rule"] for finding in told["findings"]}


def test_every_answer_is_counted(client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any]) -> None:
    def counts() -> list[float]:
        lines = room.metrics.written().decode().splitlines()
        named = ("accord_verdicts_total", "accord_findings_total", "accord_requests_total")
        return [sum(float(line.split()[-1]) for line in lines if line.startswith(name)) for name in named]

    ok(client.post("/v1/validate", json=order, headers=key))
    once = counts()
    ok(client.post("/v1/validate", json=order, headers=key))
    twice = counts()
    ok(client.post("/v1/validate", json=order, headers=key))
    assert [b - a for a, b in zip(once, twice, strict=True)] == [b - a for a, b in zip(twice, counts(), strict=True)]
    assert twice[0] == once[0] + 1


def test_nothing_is_kept_once_the_engine_is_in_doubt(
    client: FlaskClient, room: Room, key: dict[str, str], order: dict[str, Any]
) -> None:
    ok(client.post("/v1/validate", json=order, headers=key))
    with mock.patch.object(type(room.ledger), "since_s", 1.0), judgements() as judged:
        ok(client.post("/v1/validate", json=order, headers=key))
        ok(client.post("/v1/validate", json=order, headers=key))
    assert len(judged) == 2


def test_no_more_is_kept_than_there_is_room_for() -> None:
    counted = Counted("accepted", "vd_1", (), frozenset())
    answer = KeptAnswer(b"x" * 1000, b"y" * 1000, counted)
    answers = KeptAnswers(most_bytes=10 * 3500)
    for number in range(1000):
        answers.keep(number, answer)
        answers.keep(number, replace(answer))
        assert answers.get(0) is not None or number >= 10
        if number < 10:
            assert answers.get(0) is answer
    assert sum(answers.get(number) is not None for number in range(1000)) == 10
