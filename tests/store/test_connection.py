"""Addresses, and a store behind a real Sentinel."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from redis._parsers.base import BaseParser
from redis.exceptions import RedisError

from accord_service.store import Conflict, NotReplicated, Store, StoreAway, StoreBroken, WriteRefused
from accord_service.store.connection import SentinelAddress, connect, replicas_asked_for, sentinel_address, translated

Until = Callable[[Callable[[], bool]], float]
RunRedis = Callable[..., subprocess.Popen[bytes]]


# As Redis 7 and Valkey 8 say it (shared objects of their src/server.c), and what is told instead.
SAID = [
    ("OOM command not allowed when used memory > 'maxmemory'.", WriteRefused, "memory is full"),
    ("MISCONF Errors writing to the AOF file: No space left on device", WriteRefused, "disk is full"),
    ("READONLY You can't write against a read only replica.", WriteRefused, "a copy of another"),
    ("NOREPLICAS Not enough good replicas to write.", WriteRefused, "are not there"),
    ("MASTERDOWN Link with MASTER is down and replica-serve-stale-data is set to 'no'.", StoreAway, "not there"),
    ("CLUSTERDOWN The cluster is down", StoreAway, "a part of it is not there"),
    ("TRYAGAIN Multiple keys request during rehashing of slot", StoreAway, "being moved"),
    ("BUSY Redis is busy running a script. You can only call SCRIPT KILL or SHUTDOWN NOSAVE.", StoreAway, "busy"),
]


@pytest.mark.parametrize(("said", "error", "told"), SAID, ids=[said.partition(" ")[0] for said, _, _ in SAID])
def test_what_the_store_says_is_for_the_log_and_one_plain_sentence_for_people(
    said: str, error: type[StoreAway], told: str, caplog: pytest.LogCaptureFixture
) -> None:
    def ask() -> None:
        raise BaseParser.parse_error(said)  # as the library makes an exception of it

    with caplog.at_level(logging.WARNING), pytest.raises(StoreAway) as raised:
        translated(ask)
    assert type(raised.value) is error
    assert told in str(raised.value)
    code, _, words = said.partition(" ")
    assert code not in str(raised.value)
    assert words not in str(raised.value)
    assert words in caplog.text


@pytest.mark.parametrize(
    ("url", "read"),
    [
        ("redis+sentinel://a:1/s", SentinelAddress((("a", 1),), "s", 0, None, None)),
        (
            "redis+sentinel://a,b:2,c/s?db=3",
            SentinelAddress((("a", 26379), ("b", 2), ("c", 26379)), "s", 3, None, None),
        ),
        ("redis+sentinel://:p%40w@a/s", SentinelAddress((("a", 26379),), "s", 0, None, "p@w")),
        ("redis+sentinel://u:p@a/my%20s", SentinelAddress((("a", 26379),), "my s", 0, "u", "p")),
        ("redis+sentinel://[::1]:5,[fe80::2]/s", SentinelAddress((("::1", 5), ("fe80::2", 26379)), "s", 0, None, None)),
    ],
)
def test_sentinel_addresses(url: str, read: SentinelAddress) -> None:
    assert sentinel_address(url) == read


@pytest.mark.parametrize(
    "url",
    [
        "redis+sentinel://a:1",
        "redis+sentinel://a:1/",
        "redis+sentinel://a:1/s/t",
        "redis+sentinel:///s",
        "redis+sentinel://a:x/s",
        "redis+sentinel://a:/s",
        "redis+sentinel://a:0/s",
        "redis+sentinel://a:65536/s",
        "redis+sentinel://a,,b/s",
        "redis+sentinel://[::1/s",
        "redis+sentinel://[::1]5/s",
        "redis+sentinel://a/s?db=-1",
        "http://a",
        "valkey://a",
        "",
        "redis://a:port/0",
    ],
)
def test_addresses_that_cannot_be_used(url: str) -> None:
    with pytest.raises(StoreBroken):
        connect(url)


def test_a_refused_address_does_not_repeat_its_password() -> None:
    for url in ("http://u:hush@a", "redis+sentinel://u:hush@a:x/s", "redis://u:hush@a:port/0"):
        with pytest.raises(StoreBroken) as caught:
            connect(url)
        assert "hush" not in str(caught.value)


@pytest.mark.long
def test_a_store_behind_sentinel_survives_the_loss_of_its_master(
    run_redis: RunRedis, free_port: Callable[[], int], tmp_path: Path, until: Until
) -> None:
    master_port, replica_port, sentinel_port = free_port(), free_port(), free_port()
    for name in ("master", "replica"):
        (tmp_path / name).mkdir()
    master = run_redis("--port", str(master_port), "--dir", str(tmp_path / "master"), "--repl-diskless-sync-delay", "0")
    replica_of = ("--replicaof", "127.0.0.1", str(master_port))
    run_redis("--port", str(replica_port), "--dir", str(tmp_path / "replica"), *replica_of)
    config = tmp_path / "sentinel.conf"
    config.write_text(
        f"port {sentinel_port}\n"
        f"sentinel monitor collective 127.0.0.1 {master_port} 1\n"
        "sentinel down-after-milliseconds collective 400\n"
        "sentinel failover-timeout collective 3000\n"
    )
    run_redis(str(config), "--sentinel")
    replica = connect(f"redis://127.0.0.1:{replica_port}")
    sentinel: Any = connect(f"redis://127.0.0.1:{sentinel_port}")
    store = Store.at(f"redis+sentinel://127.0.0.1:{sentinel_port}/collective")

    def answers(ask: Callable[[], object]) -> bool:
        try:
            return bool(ask())
        except Conflict:
            return True  # an earlier try was done, only not acknowledged
        except (StoreAway, RedisError):
            return False

    until(lambda: answers(lambda: store.shops.list() == ()))
    store.shops.create("s", {}, who="t")
    until(lambda: answers(lambda: replica.get("{accord}:audit-head")))
    until(lambda: answers(lambda: sentinel.execute_command("SENTINEL", "REPLICAS", "collective")))
    idle = Store.at(f"redis+sentinel://127.0.0.1:{sentinel_port}/collective")
    idle.revisions.first({}, author="t", reason="")
    before = idle.watch.current().directory
    knowing = Store.at(f"redis+sentinel://127.0.0.1:{sentinel_port}/collective")
    knowing.newest.look()
    until(lambda: replica.get("{accord}:audit-head") == idle.audit.head().text().encode())
    os.kill(master.pid, signal.SIGSTOP)
    until(lambda: answers(lambda: store.shops.create("t", {}, who="t")))
    os.kill(master.pid, signal.SIGCONT)
    raw: Any = connect(f"redis://127.0.0.1:{master_port}")
    assert raw.hget("{accord}:directory", "v") == str(before).encode(), "the replaced one answers as if nothing were"
    knowing.newest.remember(store.audit.head())
    knowing.newest.look()
    assert knowing.newest.loss is None, "one that was replaced lacks what is known, and is no store set back"
    seen = idle.watch.current()
    assert seen.live
    assert seen.directory > before, "what was seen was seen by the primary that was replaced"
    assert [shop.id for shop in store.shops.list()] == ["s", "t"]
    assert store.audit.verify() is None
    for client in (replica, sentinel, store, idle, knowing, raw):
        client.close()


@pytest.mark.parametrize(
    ("url", "read"),
    [
        ("redis://a:1/0", ("redis://a:1/0", 0)),
        ("redis://a:1/0?replicas=2", ("redis://a:1/0", 2)),
        ("redis+sentinel://a/s?db=3&replicas=1", ("redis+sentinel://a/s?db=3", 1)),
        ("redis+sentinel://a/s?replicas=1&db=3", ("redis+sentinel://a/s?db=3", 1)),
        ("unix:///path", ("unix:///path", 0)),
    ],
)
def test_an_address_says_how_many_replicas_must_have_a_write(url: str, read: tuple[str, int]) -> None:
    assert replicas_asked_for(url) == read


@pytest.mark.parametrize("query", ["replicas=", "replicas=-1", "replicas=one", "replicas=1&replicas=2", "replicas=1.5"])
def test_replicas_that_are_no_number_are_refused(query: str) -> None:
    with pytest.raises(StoreBroken, match="must be one whole number"):
        Store.at(f"redis://a/0?{query}")


def test_a_write_counts_once_the_replica_has_it(
    run_redis: RunRedis, free_port: Callable[[], int], tmp_path: Path, until: Until
) -> None:
    ports = {name: free_port() for name in ("primary", "replica")}
    for name in ports:
        (tmp_path / name).mkdir()
    run_redis("--port", str(ports["primary"]), "--dir", str(tmp_path / "primary"), "--repl-diskless-sync-delay", "0")
    words = ("--port", str(ports["replica"]), "--dir", str(tmp_path / "replica"))
    replica = run_redis(*words, "--replicaof", "127.0.0.1", str(ports["primary"]))
    primary_url = f"redis://127.0.0.1:{ports['primary']}/0"
    on_replica: Any = connect(f"redis://127.0.0.1:{ports['replica']}/0")
    lax, store = Store.at(primary_url), Store.at(f"{primary_url}?replicas=1")

    def is_followed() -> bool:
        try:
            return bool(on_replica.info("replication")["master_link_status"] == "up")
        except RedisError:
            return False

    until(is_followed)
    until(lambda: _confirms(store))
    store.shops.create("there", {}, who="t")
    assert on_replica.hget("{accord}:shop:there", "v") == b"1", "acknowledged before the replica had it"
    assert on_replica.get("{accord}:audit-head") == store.audit.head().text().encode()
    os.kill(replica.pid, signal.SIGSTOP)
    try:
        with pytest.raises(NotReplicated, match="0 of the 1 replicas that must have it; ask again"):
            store.shops.create("open", {}, who="t")
        assert [shop.id for shop in store.shops.list()] == ["open", "there"], "reads go on, and the primary has it"
        with pytest.raises(NotReplicated):
            store.confirm()
        lax.shops.create("lax", {}, who="t")
        lax.confirm()
    finally:
        os.kill(replica.pid, signal.SIGCONT)
    until(lambda: _confirms(store))
    assert on_replica.hget("{accord}:shop:open", "v") == b"1"
    for client in (on_replica, lax, store):
        client.close()


def _confirms(store: Store) -> bool:
    try:
        store.confirm()
    except StoreAway:
        return False
    return True
