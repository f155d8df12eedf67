"""The look at what answers hang on, behind them: what is tampered with shows at /readyz and in the metrics."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient
from tests.service.conftest import ok

from accord_service.cli.main import main
from accord_service.steps import audit_watch
from accord_service.steps.audit_watch import AuditWatch
from accord_service.store import ChainHead, Seals, Store
from accord_service.store.connection import connect
from accord_service.store.seals import new_key

ANCHOR = "audit-anchor"
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


def copied(raw: Any) -> dict[bytes, bytes]:
    return {name: raw.dump(name) for name in raw.keys("{accord}*")}


def set_back(raw: Any, kept: dict[bytes, bytes]) -> None:
    raw.flushall()
    for name, value in kept.items():
        raw.restore(name, 0, value)


def test_a_store_set_back_is_noticed_by_whoever_saw_it_before(
    own_store: Store, raw: Any, watch: Callable[[], AuditWatch]
) -> None:
    """By a worker that goes on, for as long as it lives, and by one that starts later on the same data folder."""
    seeing = watch()
    seeing.look()
    kept = copied(raw)
    own_store.shops.create("third", {}, who="t")
    seeing.look_at_head()
    lost = own_store.audit.head()
    assert seeing.unfaithful is None
    set_back(raw, kept)
    for _ in range(2):
        seeing.look()
        assert seeing.unfaithful is not None
        assert seeing.unfaithful.codes == ("went-back",)
        assert f"ends with entry {lost.seq - 1}, and had entry {lost.seq} of " in seeing.unfaithful.detail
    own_store.newest.start_from(ChainHead())
    assert seeing.unfaithful is None, "a process that knows nothing of it"
    later = watch()
    later.look()
    assert later.unfaithful is not None
    assert later.unfaithful.codes == ("went-back",)


def test_the_last_seconds_taken_back_stop_writes_until_somebody_adopts(
    fresh: Any,
    serve: Callable[[Any], Flask],
    raw: Any,
    monkeypatch: pytest.MonkeyPatch,
    wait_for: Callable[..., None],
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Documents, chain and head together, by whoever has the store: what is there is whole, and was true a moment ago.
    So does a promotion of a replica that lacked them. The second of two workers wrote nothing and only saw the head."""
    monkeypatch.setattr(audit_watch, "HEAD_EVERY_S", 0.05)
    workers = [serve(fresh) for _ in range(2)]
    wrote, saw = [worker.test_client() for worker in workers]
    owner, admin = fresh.headers("quay-side", "owner"), fresh.headers("collective", "admin")
    rooms = [worker.extensions["accord"] for worker in workers]

    def issue(client: FlaskClient) -> int:
        body = {"shop_id": "quay-side", "role": "counter", "holder": "One more"}
        return int(client.post("/v1/keys", json=body, headers=admin).status_code)

    kept = copied(raw)
    assert issue(wrote) == 201
    lost = rooms[0].store.newest.head
    wait_for(lambda: saw.get("/readyz").json and rooms[1].store.newest.head == lost, seconds=5.0)
    assert ChainHead.from_line((fresh.config.anchor_file).read_text()) == lost
    set_back(raw, kept)
    head = raw.get("{accord}:audit-head")
    for client in (wrote, saw):
        with caplog.at_level("ERROR", logger="accord_service"):
            assert (issue(client), raw.get("{accord}:audit-head")) == (503, head)
        told = client.get("/readyz")
        assert (told.status_code, told.json["status"]) == (200, "degraded")
        metrics = client.get("/metrics").text
        for part in ("audit", "writes"):
            assert told.json["checks"][part]["ok"] is False
            sentence = f"the store was set back: the audit ends with entry {lost.seq - 1}, and had entry {lost.seq} of"
            assert sentence in told.json["checks"][part]["detail"]
            assert f'accord_degraded{{part="{part}"}} 1.0' in metrics
        assert client.get("/v1/shop", headers=owner).status_code == 200, "answers go on"
    assert "the store was set back" in caplog.text
    adopted = CliRunner().invoke(main, ["audit", "adopt", "--store", fresh.server.url])
    assert adopted.exit_code == 0, adopted.output
    for client in (wrote, saw):
        wait_for(lambda client=client: client.get("/readyz").json["status"] == "ready", seconds=5.0)
        assert issue(client) == 201
    wait_for(lambda: saw.get("/readyz").json and _kept_seq(fresh) == rooms[1].store.newest.head.seq, seconds=5.0)


def new_key_file(folder: Path) -> Path:
    file = folder / "new.pem"
    file.write_bytes(new_key())
    return file


def test_adopting_with_another_key_is_refused_while_services_have_theirs(
    fresh: Any, serve: Callable[[Any], Flask], raw: Any, tmp_path: Path
) -> None:
    """They could not read what was sealed anew, nor write."""
    service = serve(fresh)
    client, room = service.test_client(), service.extensions["accord"]
    head, words = raw.get("{accord}:audit-head"), ["audit", "adopt", "--store", fresh.server.url, "--as-it-is"]
    words += ["--seal-key", str(new_key_file(tmp_path))]
    refused = CliRunner().invoke(main, words)
    assert refused.exit_code != 0
    for part in ("Services with another key are connected", f"key {room.store.seals.key_id}: ", "Stop them first"):
        assert part in refused.output
    assert raw.get("{accord}:audit-head") == head
    assert client.get("/readyz").json["status"] == "ready"
    room.close()
    adopted = CliRunner().invoke(main, words)
    assert adopted.exit_code == 0, adopted.output


def test_adopting_with_the_same_key_is_followed_by_a_running_service(
    fresh: Any, serve: Callable[[Any], Flask], monkeypatch: pytest.MonkeyPatch, wait_for: Callable[..., None]
) -> None:
    monkeypatch.setattr(audit_watch, "HEAD_EVERY_S", 0.05)
    client = serve(fresh).test_client()
    body = {"shop_id": "quay-side", "role": "counter", "holder": "One more"}
    for _ in range(2):
        issued = client.post("/v1/keys", json=body, headers=fresh.headers("collective", "admin"))
        assert issued.status_code == 201, issued.text
        adopted = CliRunner().invoke(main, ["audit", "adopt", "--store", fresh.server.url])
        assert adopted.exit_code == 0, adopted.output
    wait_for(lambda: client.get("/readyz").json["status"] == "ready", seconds=5.0)


def test_a_look_between_two_pages_of_an_adoption_is_repeated_when_the_chain_went_on(
    own_store: Store, watch: Callable[[], AuditWatch], monkeypatch: pytest.MonkeyPatch, wait_for: Callable[..., None]
) -> None:
    """What it found is as it was at that moment: nothing was sealed yet. It is not told for the rest of a minute."""
    monkeypatch.setattr(audit_watch, "HEAD_EVERY_S", 0.05)
    monkeypatch.setattr(audit_watch, "EVERY_S", 10_000.0)
    watching = watch()
    watching.now_and_then()
    assert watching._looking is not None
    watching._looking.join()
    looked: list[tuple[str, ...]] = []

    def look_between(keys: Any, who: str, page: str) -> None:
        seal_page(keys, who, page)
        if page == "1":
            watching.look()
            looked.append(watching.unfaithful.codes if watching.unfaithful else ())

    seal_page = own_store.adoption._seal_page
    monkeypatch.setattr(own_store.adoption, "_seal_page", look_between)
    own_store.adoption.adopt(who="t")
    assert looked == [("document-unknown",)]

    def mended() -> bool:
        watching.now_and_then()
        return watching.unfaithful is None

    wait_for(mended, seconds=5.0)


def test_writes_are_not_said_to_be_taken_where_another_key_sealed_the_audit(
    fresh: Any, serve: Callable[[Any], Flask], wait_for: Callable[..., None]
) -> None:
    client = serve(fresh).test_client()
    assert client.get("/readyz").json["checks"]["writes"] == {"ok": True, "detail": ""}
    with closing(Store.at(fresh.server.url, timeout_s=5.0, seals=Seals.from_pem(new_key()))) as other:
        other.adoption.adopt(who="t")
    wait_for(lambda: not client.get("/readyz").json["checks"]["writes"]["ok"], seconds=5.0)
    detail = client.get("/readyz").json["checks"]["writes"]["detail"]
    assert detail.startswith(
        "the head of the audit is sealed with a key that is not in the seal key's file; nothing is"
    )
    assert 'accord_degraded{part="writes"} 1.0' in client.get("/metrics").text


def _kept_seq(fresh: Any) -> int:
    return ChainHead.from_line((fresh.config.anchor_file).read_text()).seq


def test_the_head_stands_in_the_log_to_be_looked_for_later(
    own_store: Store, watch: Callable[[], AuditWatch], caplog: pytest.LogCaptureFixture
) -> None:
    watching = watch()
    with caplog.at_level("INFO", logger="accord_service"):
        watching.look()
        watching.look()
    (line,) = [record.details["anchor"] for record in caplog.records if record.message == "the audit's head"]  # type: ignore[attr-defined]
    assert ChainHead.from_line(line) == own_store.audit.head()


def test_an_anchor_of_a_key_that_is_lost_counts_until_the_store_is_adopted(
    fresh: Any, raw: Any, tmp_path: Path, own_store: Store
) -> None:
    anchor = tmp_path / ANCHOR
    anchor.write_text(own_store.audit.head().text())
    with closing(Store.at(fresh.server.url, timeout_s=5.0, seals=Seals.from_pem(new_key()))) as other:
        watching = AuditWatch(other, anchor)
        assert "anchor-forged" in {fault.code for fault in watching.look().faults}
        other.adoption.adopt(who="t")
        assert watching.look().faults == ()
        assert ChainHead.from_line(anchor.read_text()) == other.audit.head()
        watching.close()


def test_whose_key_it_is_stands_in_the_shops_status(client: FlaskClient, collective: Any) -> None:
    told = ok(client.get("/v1/shop/status", headers=collective.headers("quay-side", "counter")))
    assert (told["shop_id"], told["role"], told["holder"]) == ("quay-side", "counter", "The counter of quay-side")


def test_an_owner_reads_the_head_and_no_check(client: FlaskClient, collective: Any) -> None:
    owner = collective.headers("quay-side", "owner")
    head = ok(client.get("/v1/audit/head", headers=owner))
    assert head["anchor"].split(" ")[1:5] == [str(head["seq"]), head["hash"], head["written_at"], head["seal_key_id"]]
    assert client.get("/v1/audit/check", headers=owner).status_code == 403
