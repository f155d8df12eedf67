"""The first start: the shipped book becomes revision 1, and an admin's key lies in a file for this user alone."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from accord_rules.revision.book import Book
from accord_service.serving import first_start
from accord_service.store import EmbeddedServer, KeyRecord, Store, StoreAway, WriteRefused
from accord_service.store.connection import connect


@pytest.fixture
def server(tmp_path: Path) -> Iterator[EmbeddedServer]:
    running = EmbeddedServer.start(tmp_path / "store")
    yield running
    running.stop()


@pytest.fixture
def store(server: EmbeddedServer) -> Iterator[Store]:
    opened = Store.at(server.url, timeout_s=5.0)
    yield opened
    opened.close()


def admins(store: Store) -> list[KeyRecord]:
    return [key for key in store.keys.list() if key.role == "admin"]


def test_an_empty_store_gets_the_book_and_one_admin(
    server: EmbeddedServer, store: Store, tmp_path: Path, book: Book
) -> None:
    file = first_start.furnish(server.url, tmp_path)
    assert file == tmp_path / "keys" / "admin"
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700
    key = store.keys.by_token(file.read_text(encoding="ascii").strip())
    assert key is not None
    assert (key.shop, key.role) == ("collective", "admin")
    assert (store.revisions.head().number, store.revisions.head().digest) == (1, book.digest)


def test_later_starts_change_nothing(server: EmbeddedServer, store: Store, tmp_path: Path) -> None:
    first_start.furnish(server.url, tmp_path)
    before = store.audit.head()
    assert first_start.furnish(server.url, tmp_path) is None
    assert store.audit.head() == before


def test_several_first_starts_at_once_make_one_book_and_one_admin(
    server: EmbeddedServer, store: Store, tmp_path: Path
) -> None:
    with ThreadPoolExecutor(4) as pool:
        files = list(pool.map(lambda number: first_start.furnish(server.url, tmp_path / str(number)), range(4)))
    assert len([file for file in files if file is not None]) == 1
    assert len(admins(store)) == 1
    assert store.revisions.head().number == 1


def test_a_lost_key_is_made_up_for_and_the_old_file_stays(server: EmbeddedServer, store: Store, tmp_path: Path) -> None:
    first = first_start.furnish(server.url, tmp_path)
    second = first_start.furnish(server.url, tmp_path, new_admin="Vesna Holt")
    assert first is not None
    assert second is not None
    assert first != second
    assert len({file.read_text(encoding="ascii") for file in (first, second)}) == 2
    assert len(admins(store)) == 2


def test_a_key_that_can_not_be_written_is_not_made(server: EmbeddedServer, store: Store, tmp_path: Path) -> None:
    (tmp_path / "keys").write_text("a file where the folder should be", encoding="ascii")
    with pytest.raises(OSError, match="keys"):
        first_start.furnish(server.url, tmp_path)
    assert admins(store) == []


def test_a_store_that_stays_away_is_not_waited_for_forever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(first_start, "WAIT_S", 0.3)
    with pytest.raises(StoreAway):
        first_start.furnish(f"unix://{tmp_path / 'nobody'}", tmp_path)


def test_a_first_start_waits_for_a_store_that_takes_no_writes_yet(
    server: EmbeddedServer, store: Store, tmp_path: Path
) -> None:
    """As a primary does until its replica has come."""
    raw = connect(server.url)
    raw.config_set("min-replicas-to-write", 1)
    with pytest.raises(WriteRefused):
        store.shops.create("s", {}, who="t")
    with ThreadPoolExecutor(1) as pool:
        starting = pool.submit(first_start.furnish, server.url, tmp_path)
        with pytest.raises(TimeoutError):
            starting.result(timeout=first_start.PAUSE_S)
        assert admins(store) == []
        raw.config_set("min-replicas-to-write", 0)
        assert starting.result(timeout=60) == tmp_path / "keys" / "admin"
    assert len(admins(store)) == 1
    raw.close()
