"""The store before the workers: started if it comes along, waited for if not, given its seal, first book and key."""

from __future__ import annotations

import logging
import os
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from accord_rules.documents.files import Documents, shipped
from accord_rules.governance.proposal import same_holder
from accord_rules.load.loader import from_documents
from accord_service.http.roles import COLLECTIVE
from accord_service.run.config import SEAL_KEY_FILE, Config
from accord_service.store import (
    SEAL_FAULTS,
    ChainHead,
    Conflict,
    EmbeddedServer,
    KeyRecord,
    NewKey,
    NotThere,
    Seals,
    SetBack,
    Store,
    StoreAway,
    StoreBroken,
    Transaction,
)
from accord_service.worker import trials
from accord_service.worker.edition import tried_by, try_rules

logger = logging.getLogger("accord_service.start")

WHO = "first start"
FIRST_HOLDER = "Whoever started the service first"  # nobody has said a name yet
WAIT_S = 30.0
PAUSE_S = 0.25
PATIENT_S = 5.0
ADOPTION_S = 10.0


def own_store(config: Config) -> EmbeddedServer | None:
    """The store that comes along, started; None where the configuration names another. Raises StoreError."""
    return None if config.store_url else EmbeddedServer.start(config.data / "store")


def furnish(url: str, data: Path, *, new_admin: str = "") -> Path | None:
    """Wait for the store; give an empty one the book of this program and an admin's key.

    The key that seals the audit is made where the environment names none and the data folder has none. ``new_admin``:
    the holder of one more admin's key; one that lies in the data folder for them is not doubled, since whatever starts
    a service anew asks for it anew. Gives the file that the key was written to, None where none was made.
    Raises BookError, ConfigError, EngineError, StoreError (StoreAway if it stays away for ``WAIT_S``), OSError.
    """
    config = replace(Config.from_env(), data=data)
    seals, made = (Seals.read(config.seal_key), False) if config.seal_key else Seals.made_at(config.seal_key_file)
    store = Store.at(url, timeout_s=PATIENT_S, seals=seals)  # nobody waits for its answers
    # A store that was emptied behind a service that had one is not begun anew as if nothing were.
    store.newest.remember(ChainHead.kept_in(config.anchor_file))
    try:
        _patiently(store.ping)
        _patiently(lambda: _sealed(store, made))
        _patiently(lambda: _first_book(store))
        if not new_admin and store.keys.list():
            return None
        _patiently(store.confirm)  # a key whose writing is left open is one that nobody has
        if not new_admin:
            return _first_admin(store, data / "keys")
        if (lying := _lying_there(store, data / "keys", new_admin)) is not None:
            logger.warning("the admin's key of %s is in %s already, and no other was made", new_admin, lying.resolve())
            return None
        return write_key(
            data / "keys", "admin", lambda: store.keys.issue(COLLECTIVE, "admin", holder=new_admin, who=WHO)
        )
    except SetBack as error:
        file = config.anchor_file.name
        raise StoreBroken(f"{error}; where the data folder was of another store, remove {file}") from None
    finally:
        store.close()


def _patiently(step: Callable[[], None]) -> None:
    """``step()``, tried again while the store is away, or takes no writes since its replica is not there yet."""
    until = time.monotonic() + WAIT_S
    while True:
        try:
            return step()
        except StoreAway:
            if time.monotonic() > until:
                raise
            time.sleep(PAUSE_S)


def _sealed(store: Store, made: bool) -> None:
    """See that the audit's end was sealed with our key. A store of before there were seals is adopted as it is, by
    whoever has just made the key: once there is one, an audit without a seal was tampered with. Raises StoreBroken."""
    until = time.monotonic() + ADOPTION_S
    while fault := store.seals.fault_of(store.audit.head()):
        if fault == "unsealed" and made:
            count = store.adoption.adopt(who=WHO)
            logger.warning(
                "this store was written before audits were sealed: %d documents are sealed as they are now, and of what"
                " was done to them before nothing is known",
                count,
            )
        elif fault != "unsealed" or time.monotonic() > until:
            raise StoreBroken(
                f"{SEAL_FAULTS[fault]}. All services on one store need the same key: name its file in {SEAL_KEY_FILE}."
                " A store whose key is lost, or that is older than seals, is taken as it is by accord audit adopt."
            )
        else:
            time.sleep(PAUSE_S)  # another service that starts now may be about to adopt it


def _first_book(store: Store) -> None:
    """This program's book, checked, into a store that has none."""
    try:
        store.revisions.head()
    except NotThere:
        documents = shipped()
        reason = "The book that comes with the program."
        store.revisions.first(documents, author=WHO, reason=reason, tried_by=_tried_by(documents))


def _tried_by(documents: Documents) -> str:
    """``trier`` where they pass every trial, or passed them on this machine before. Raises BookError, EngineError."""
    if trials.passed(trials.WHOLE, documents):
        return trials.trier()
    book = from_documents(documents)
    try_rules(book)
    trier = tried_by(book)
    if trier:
        trials.remember(trials.WHOLE, documents)
    return trier


def _first_admin(store: Store, folder: Path) -> Path | None:
    """One key, also where several services start at once on one empty store."""

    def once(record: KeyRecord) -> Transaction:
        return store.idempotency.remembering(COLLECTIVE, WHO, WHO, record.id)

    try:
        return write_key(folder, "admin", lambda: _first_key(store, once))
    except Conflict:
        return None


def _first_key(store: Store, once: Callable[[KeyRecord], Transaction]) -> NewKey:
    return store.keys.issue(COLLECTIVE, "admin", holder=FIRST_HOLDER, who=WHO, also=once)


def _lying_there(store: Store, folder: Path, holder: str) -> Path | None:
    """The file with an admin's key of this holder that still opens; whoever lost theirs has none there, or a revoked
    one."""
    for file in sorted(folder.glob("admin*")):
        key = store.keys.by_token(file.read_text(encoding="ascii", errors="replace").strip())
        expired = key is not None and key.expires_at is not None and key.expires_at <= time.time()
        if key is not None and not expired and key.role == "admin" and same_holder(key.holder, holder):
            return file
    return None


def write_key(folder: Path, name: str, issue: Callable[[], NewKey]) -> Path:
    """Issue a key and write its token into a file that only this user can read; gives the file.

    The file is opened before the key is made, since a token that can't be written is lost. One that is there already
    stays as it is.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle, opened = tempfile.mkstemp(dir=folder, prefix=f".{name}-")
    try:
        with os.fdopen(handle, "w", encoding="ascii") as out:
            key = issue()
            out.write(key.token + "\n")
    except BaseException:
        os.unlink(opened)
        raise
    file = folder / name
    if file.exists():
        file = folder / f"{name}-{key.record.id}"
    os.rename(opened, file)
    return file
