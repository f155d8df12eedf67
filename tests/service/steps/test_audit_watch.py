"""The look at what answers hang on, behind them: what is tampered with shows at /readyz and in the metrics."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.conftest import ok

from accord_service.steps import audit_watch
from accord_service.steps.audit_watch import ANCHOR, AuditWatch
from accord_service.store import Store
from accord_service.store.connection import connect

SOUND = {"ok": True, "since": None, "detail": ""}


@pytest.fixture
def raw(fresh: Any) -> Iterator[Any]:
    opened = connect(fresh.server.url, timeout_s=5.0)
    yield opened
    opened.close()


@pytest.fixture
def own_store(fresh: Any) -> Iterator[Store]:
    opened = Store.at(fresh.server.url, timeout_s=5.0)
    yield opened
    opened.close()


@pytest.fixture
def watch(own_store: Store, tmp_path: Path) -> Iterator[Callable[[], AuditWatch]]:
    """Makes watches, as so many workers, one after the other, on the same data folder."""
    made: list[AuditWatch] = []

    def make() -> AuditWatch:
        made.append(AuditWatch(own_store, tmp_path / ANCHOR, lambda: 1000.5))
        return made[-1]

    yield make
    for each in made:
        each.close()


def plant_key(raw: Any) -> None:
    (known, *_) = raw.keys("{accord}:key:*")
    raw.hset("{accord}:key:key_aaaaaaaaaaaaaaaa", mapping=raw.hgetall(known))
    raw.zadd("{accord}:keys", {"key_aaaaaaaaaaaaaaaa": 1})


def test_a_planted_key_shows_until_it_is_gone(
    fresh: Any,
    serve: Callable[[Any], Flask],
    raw: Any,
    monkeypatch: pytest.MonkeyPatch,
    wait_for: Callable[..., None],
) -> None:
    monkeypatch.setattr(audit_watch, "EVERY_S", 0.05)
    client = serve(fresh).test_client()

    def told() -> Any:
        return client.get("/readyz").json

    assert (told()["status"], told()["checks"]["audit"]) == ("ready", SOUND)
    plant_key(raw)
    wait_for(lambda: told()["status"] == "degraded", seconds=5.0)
    answer = client.get("/readyz")
    assert answer.status_code == 200, "degraded is not down"
    audit = answer.json["checks"]["audit"]
    assert (audit["ok"], audit["detail"]) == (False, "document-unknown: accord audit check says where")
    assert "key_aaaaaaaaaaaaaaaa" not in answer.text, "anybody may read it"
    assert 'accord_degraded{part="audit"} 1.0' in client.get("/metrics").text
    raw.delete("{accord}:key:key_aaaaaaaaaaaaaaaa")
    wait_for(lambda: told()["checks"]["audit"] == SOUND, seconds=5.0)
    assert 'accord_degraded{part="audit"} 0.0' in client.get("/metrics").text


@pytest.mark.parametrize("kind", ["key", "shop", "house"])
def test_what_answers_hang_on_is_looked_at(
    own_store: Store, raw: Any, watch: Callable[[], AuditWatch], kind: str
) -> None:
    own_store.shops.replace_house("quay-side", 0, {}, who="t")
    watching = watch()
    assert (watching.look().faults, watching.unfaithful) == ((), None)
    name = min(raw.keys(f"{{accord}}:{kind}:*"))
    raw.hset(name, "d", json.dumps(json.loads(raw.hget(name, "d")) | {"more": 1}))
    watching.look()
    assert watching.unfaithful is not None
    assert (watching.unfaithful.since_s, watching.unfaithful.codes) == (1000.5, ("document-altered",))


def test_a_store_set_back_is_noticed_by_whoever_saw_it_before(
    own_store: Store, raw: Any, watch: Callable[[], AuditWatch]
) -> None:
    """By a worker that goes on, for as long as it lives, and by one that starts later on the same data folder."""
    seeing = watch()
    seeing.look()
    copied = {name: raw.dump(name) for name in raw.keys("{accord}*")}
    own_store.shops.create("third", {}, who="t")
    seeing.look()
    assert seeing.unfaithful is None
    raw.flushall()
    for name, value in copied.items():
        raw.restore(name, 0, value)
    for _ in range(2):
        seeing.look()
        assert seeing.unfaithful is not None
        assert "went-back" in seeing.unfaithful.codes
    later = watch()
    later.look()
    assert later.unfaithful is not None
    assert later.unfaithful.codes == ("anchor-missing",)


def test_whose_key_it_is_stands_in_the_shops_status(client: FlaskClient, collective: Any) -> None:
    told = ok(client.get("/v1/shop/status", headers=collective.headers("quay-side", "counter")))
    assert (told["shop_id"], told["role"], told["holder"]) == ("quay-side", "counter", "The counter of quay-side")


def test_an_owner_reads_the_head_and_no_check(client: FlaskClient, collective: Any) -> None:
    owner = collective.headers("quay-side", "owner")
    head = ok(client.get("/v1/audit/head", headers=owner))
    assert head["anchor"].split(" ")[1:5] == [str(head["seq"]), head["hash"], head["written_at"], head["seal_key_id"]]
    assert client.get("/v1/audit/check", headers=owner).status_code == 403
