"""How often a key may ask. Time is a number here; the store counts over all workers."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_service.store import StoreAway
from accord_service.worker.rates import WINDOW_S, Rates, Standing

START_S = 1_750_000_040.0  # a third of a minute into its window
# RFC 9651 structured fields as draft-ietf-httpapi-ratelimit-headers has them: a quoted name and whole numbers.
POLICY = re.compile(r'"key";q=([0-9]+);w=([0-9]+)')
LEFT = re.compile(r'"key";r=([0-9]+);t=([0-9]+)')


class Counting:
    """A store that counts, and how often it was asked."""

    def __init__(self) -> None:
        self.counts: Counter[tuple[str, int]] = Counter()
        self.questions = 0
        self.away = False

    def take(self, key_id: str, window: int, count: int, lives_s: int) -> int:
        self.questions += 1
        if self.away:
            raise StoreAway("the store does not answer")
        assert lives_s >= WINDOW_S
        self.counts[key_id, window] += count
        return self.counts[key_id, window]


def rates(store: Counting, **limits: int) -> Rates:
    return Rates(store, limits)  # type: ignore[arg-type]  # of a store it is all that is asked for


def passed(worker: Rates, times: int, key: str = "k", role: str = "counter", at_s: float = START_S) -> list[Standing]:
    return [standing for _ in range(times) if not (standing := worker.spend(key, role, at_s)).over]


@pytest.mark.parametrize("limit", [1, 7, 100, 150, 1234])
def test_exactly_as_many_pass_as_may_whatever_is_taken_at_once(limit: int) -> None:
    worker = rates(Counting(), counter=limit)
    standings = [worker.spend("k", "counter", START_S) for _ in range(limit + 5)]
    assert [standing.over for standing in standings] == [False] * limit + [True] * 5
    assert standings[-1].remaining == 0
    assert {standing.limit for standing in standings} == {limit}


def test_what_is_left_is_told_and_falls_to_nothing() -> None:
    remaining = [standing.remaining for standing in passed(rates(Counting(), counter=300), 300)]
    assert remaining == list(range(299, -1, -1))


def test_two_workers_share_one_limit_but_for_what_each_has_taken() -> None:
    store = Counting()
    first, second = rates(store, counter=1000), rates(store, counter=1000)
    through = sum(len(passed(worker, 1)) for _ in range(1500) for worker in (first, second))
    assert through == 1000
    third = rates(store, counter=1000)
    assert not passed(third, 1)


def test_keys_and_windows_are_counted_apart_and_roles_have_limits_of_their_own() -> None:
    worker = rates(Counting(), counter=5, admin=2)
    assert len(passed(worker, 9)) == 5
    assert len(passed(worker, 9, key="another")) == 5
    assert len(passed(worker, 9, key="third", role="admin")) == 2
    standing = worker.spend("k", "counter", START_S)
    assert (standing.over, standing.reset_s) == (True, 40)
    assert len(passed(worker, 9, at_s=START_S + standing.reset_s)) == 5, "when it said so"


def test_the_store_is_asked_once_in_a_hundred_and_not_at_all_beyond_the_limit() -> None:
    store = Counting()
    worker = rates(store, counter=10_000)
    passed(worker, 10_000)
    assert store.questions == 100
    passed(worker, 1000)
    assert store.questions == 100


def test_while_the_store_is_away_nothing_is_refused() -> None:
    store = Counting()
    worker = rates(store, counter=10)
    store.away = True
    assert len(passed(worker, 50)) == 50
    store.away = False
    assert len(passed(worker, 50)) == 10


def test_all_keys_of_a_shop_together_may_ask_as_often_as_three() -> None:
    store = Counting()
    first, second = rates(store, counter=10, admin=4), rates(store, counter=10, admin=4)

    def through(key: str, shop: str, worker: Rates = first) -> list[Standing]:
        standings = [worker.spend(key, "counter", START_S, shop_id=shop) for _ in range(12)]
        return [standing for standing in standings if not standing.over]

    assert [len(through(f"k{number}", "a")) for number in range(5)] == [10, 10, 10, 0, 0]
    refused = first.spend("k9", "counter", START_S, shop_id="a")
    assert (refused.over, refused.of, refused.limit) == (True, "shop", 30)
    assert refused.headers["RateLimit-Policy"] == f'"shop";q=30;w={WINDOW_S}'
    assert len(through("k10", "a", second)) == 0, "over all workers"
    assert len(through("k11", "b")) == 10, "another shop has its own"
    assert len(passed(first, 12, key="k12")) == 10, "and the collective's keys none together"


def test_the_key_is_told_of_unless_its_shop_has_less_left() -> None:
    worker = rates(Counting(), counter=10)
    told = [worker.spend("one", "counter", START_S, shop_id="a") for _ in range(10)]
    assert {standing.of for standing in told} == {"key"}
    told += [worker.spend(key, "counter", START_S, shop_id="a") for key in ("two", "three") for _ in range(9)]
    last = worker.spend("four", "counter", START_S, shop_id="a")
    assert (last.over, last.of, last.remaining) == (False, "shop", 1)


def test_only_the_keys_of_one_window_are_remembered() -> None:
    worker = rates(Counting(), counter=10)
    for number in range(500):
        worker.spend(f"key {number}", "counter", START_S)
    worker.spend("k", "counter", START_S + WINDOW_S)
    assert list(worker._blocks) == ["k"]


def test_looking_spends_nothing() -> None:
    worker = rates(Counting(), counter=1)
    for _ in range(5):
        assert not worker.spend("k", "counter", START_S, count=0).over
    assert not worker.spend("k", "counter", START_S).over


def test_answers_to_a_key_say_what_it_has_left(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    answers = [client.get("/v1/rules", headers=key), client.post("/v1/validate", json=order, headers=key)]
    for answer in answers:
        policy, left = (
            pattern.fullmatch(answer.headers[name])
            for name, pattern in (("RateLimit-Policy", POLICY), ("RateLimit", LEFT))
        )
        assert policy is not None
        assert left is not None
        assert int(policy[2]) == WINDOW_S
        assert 0 <= int(left[1]) < int(policy[1])
        assert 1 <= int(left[2]) <= WINDOW_S
    assert "RateLimit" not in client.get("/v1").headers
    assert "RateLimit" not in client.get("/v1/rules", headers={"Authorization": "Bearer nobody"}).headers


def test_a_key_that_asked_too_often_is_told_when_to_come_back_and_no_other_key(changing: Any, monkeypatch: Any) -> None:
    app = changing.first.application
    worn_out, other = changing.headers("quay-side", "counter"), changing.headers("mill-loft", "counter")
    monkeypatch.setattr(app.extensions["accord"], "rates", rates(Counting(), counter=2))
    statuses = [changing.first.get("/v1/rules", headers=worn_out).status_code for _ in range(3)]
    assert statuses == [200, 200, 429]
    refused = changing.first.get("/v1/rules", headers=worn_out)
    assert refused.json["type"] == "/problems/too-many-requests"
    left = LEFT.fullmatch(refused.headers["RateLimit"])
    assert left is not None
    assert (left[1], left[2]) == ("0", refused.headers["Retry-After"])
    assert changing.first.get("/v1/rules", headers=other).status_code == 200
    assert changing.first.get("/readyz").status_code == 200


def test_the_store_counts_over_workers(changing: Any, store: Any) -> None:
    assert [store.rates.take("tried", 1, count, 60) for count in (3, 4)] == [3, 7]
    assert store.rates.take("tried", 2, 1, 60) == 1
    assert 0 < store._connection.ask("TTL", "{accord}:rate:tried:1") <= 60
