"""The first start: the shipped book becomes revision 1, and an admin's key lies in a file for this user alone."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from accord_rules.revision.book import Book
from accord_service.run.config import SEAL_KEY_FILE
from accord_service.serving import first_start
from accord_service.store import (
    ChainHead,
    EmbeddedServer,
    KeyRecord,
    Seals,
    Store,
    StoreAway,
    StoreBroken,
    WriteRefused,
)
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


def test_an_admins_key_that_lies_there_is_told_and_not_doubled(
    server: EmbeddedServer, store: Store, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A container that restarts asks for it at each start."""
    made = first_start.furnish(server.url, tmp_path, new_admin="Vesna Holt")
    assert made is not None
    for holder in ("Vesna Holt", "vesna  holt"):
        assert first_start.furnish(server.url, tmp_path, new_admin=holder) is None
        assert f"is in {made.resolve()} already" in caplog.text
        caplog.clear()
    assert len(admins(store)) == 1
    assert first_start.furnish(server.url, tmp_path, new_admin="Orla Fenn") is not None, "somebody else's"
    (key,) = [key for key in admins(store) if key.holder == "Vesna Holt"]
    store.keys.revoke(key.id, who="t")
    second = first_start.furnish(server.url, tmp_path, new_admin="Vesna Holt")
    assert second is not None, "hers opens nothing any more"
    second.unlink()
    assert first_start.furnish(server.url, tmp_path, new_admin="Vesna Holt") is not None, "she lost it"


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


# -- the seal ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def no_key_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """As where the seal key lies in the data folder."""
    monkeypatch.delenv(SEAL_KEY_FILE)


def sealed_with(server: EmbeddedServer, file: Path) -> Store:
    return Store.at(server.url, timeout_s=5.0, seals=Seals.read(file))


@pytest.mark.usefixtures("no_key_named")
def test_the_first_start_makes_the_key_that_later_ones_use(server: EmbeddedServer, tmp_path: Path) -> None:
    first_start.furnish(server.url, tmp_path)
    file = tmp_path / "seal-key.pem"
    content = file.read_bytes()
    assert file.stat().st_mode & 0o777 == 0o600
    assert first_start.furnish(server.url, tmp_path) is None
    assert file.read_bytes() == content
    with closing(sealed_with(server, file)) as store:
        assert store.check().is_whole


@pytest.mark.usefixtures("no_key_named")
def test_several_first_starts_on_one_folder_share_one_key(server: EmbeddedServer, tmp_path: Path) -> None:
    with ThreadPoolExecutor(4) as pool:
        files = list(pool.map(lambda number: first_start.furnish(server.url, tmp_path), range(4)))
    assert len([file for file in files if file is not None]) == 1
    with closing(sealed_with(server, tmp_path / "seal-key.pem")) as store:
        assert store.check().is_whole


@pytest.mark.usefixtures("no_key_named")
def test_a_service_with_another_key_does_not_start(server: EmbeddedServer, tmp_path: Path) -> None:
    first_start.furnish(server.url, tmp_path / "one")
    with pytest.raises(StoreBroken, match="All services on one store need the same key"):
        first_start.furnish(server.url, tmp_path / "other")


def test_a_key_file_that_is_named_and_missing_is_not_made(
    server: EmbeddedServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may be a secret that was not mounted."""
    monkeypatch.setenv(SEAL_KEY_FILE, str(tmp_path / "nowhere"))
    with pytest.raises(StoreBroken, match="No such file") as caught:
        first_start.furnish(server.url, tmp_path)
    assert str(tmp_path) not in str(caught.value)


def unseal(server: EmbeddedServer) -> None:
    """The head and the documents as they were before there were seals; the entries are not looked at here."""
    raw = connect(server.url, timeout_s=5.0)
    head = ChainHead.read(raw.get("{accord}:audit-head"))
    raw.set("{accord}:audit-head", f"{head.seq} {head.hash}")
    for name in raw.keys("{accord}:*"):
        if raw.type(name) == b"hash":
            raw.hdel(name, "m")
    raw.close()


@pytest.mark.usefixtures("no_key_named")
def test_a_store_of_before_seals_is_adopted_once(server: EmbeddedServer, tmp_path: Path) -> None:
    first_start.furnish(server.url, tmp_path)
    unseal(server)
    (tmp_path / "seal-key.pem").unlink()
    first_start.furnish(server.url, tmp_path)
    with closing(sealed_with(server, tmp_path / "seal-key.pem")) as store:
        account = store.check()
        assert (account.faults, account.adopted_seq is not None) == ((), True)
        before = store.audit.head()
    first_start.furnish(server.url, tmp_path)
    with closing(sealed_with(server, tmp_path / "seal-key.pem")) as store:
        assert store.audit.head() == before


@pytest.mark.usefixtures("no_key_named")
def test_a_store_that_lost_its_seal_is_not_adopted_by_itself(
    server: EmbeddedServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else whoever has the store would only have to take the seal off and wait for a start."""
    monkeypatch.setattr(first_start, "ADOPTION_S", 0.1)
    first_start.furnish(server.url, tmp_path)
    unseal(server)
    with pytest.raises(StoreBroken, match=r"not sealed.*accord audit adopt"):
        first_start.furnish(server.url, tmp_path)


def test_a_store_that_was_emptied_is_not_begun_anew_as_if_nothing_were(
    server: EmbeddedServer, store: Store, tmp_path: Path
) -> None:
    """A service had looked at it, and kept how far its audit went; what is there now has to be adopted."""
    first_start.furnish(server.url, tmp_path)
    anchor = tmp_path / "audit-anchor"
    anchor.write_text(store.audit.head().text())
    raw = connect(server.url, timeout_s=5.0)
    raw.flushall()
    with pytest.raises(StoreBroken, match=r"the audit is gone.*accord audit adopt.*another store, remove audit-anchor"):
        first_start.furnish(server.url, tmp_path)
    assert raw.dbsize() == 0
    raw.close()
    with closing(Store.at(server.url, timeout_s=5.0)) as operator:
        operator.adoption.adopt(who="t")
    first_start.furnish(server.url, tmp_path)
    assert store.revisions.head().number == 1
