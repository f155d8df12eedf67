"""Addresses, and a store behind a real Sentinel."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from redis.exceptions import RedisError

from accord_service.store import Conflict, Store, StoreAway, StoreBroken
from accord_service.store.connection import SentinelAddress, connect, sentinel_address

Until = Callable[[Callable[[], bool]], float]
RunRedis = Callable[..., subprocess.Popen[bytes]]


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
    os.kill(master.pid, signal.SIGKILL)
    until(lambda: answers(lambda: store.shops.create("t", {}, who="t")))
    assert [shop.id for shop in store.shops.list()] == ["s", "t"]
    assert store.audit.verify() is None
    for client in (replica, sentinel, store):
        client.close()
