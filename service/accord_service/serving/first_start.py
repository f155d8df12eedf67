"""The store before the workers: started if it comes along, waited for if not, and given its first book and key."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from accord_rules.documents.files import Documents, shipped
from accord_rules.load.loader import from_documents
from accord_service.http.roles import COLLECTIVE
from accord_service.run.config import Config
from accord_service.store import Conflict, EmbeddedServer, KeyRecord, NewKey, NotThere, Store, StoreAway, Transaction
from accord_service.worker import trials
from accord_service.worker.edition import tried_by, try_rules

WHO = "first start"
FIRST_HOLDER = "Whoever started the service first"  # nobody has said a name yet
WAIT_S = 30.0
PAUSE_S = 0.25
PATIENT_S = 5.0


def own_store(config: Config) -> EmbeddedServer | None:
    """The store that comes along, started; None where the configuration names another. Raises StoreError."""
    return None if config.store_url else EmbeddedServer.start(config.data / "store")


def furnish(url: str, data: Path, *, new_admin: str = "") -> Path | None:
    """Wait for the store; give an empty one the book of this program and an admin's key.

    ``new_admin``: the holder of one more admin's key. Gives the file that the key was written to, None where there was
    one already and no other is wanted.
    Raises BookError, EngineError, StoreError (StoreAway if it stays away for ``WAIT_S``), OSError.
    """
    store = Store.at(url, timeout_s=PATIENT_S)  # nobody waits for its answers
    try:
        _patiently(store.ping)
        _patiently(lambda: _first_book(store))
        if not new_admin and store.keys.list():
            return None
        _patiently(store.confirm)  # a key whose writing is left open is one that nobody has
        if not new_admin:
            return _first_admin(store, data / "keys")
        return write_key(
            data / "keys", "admin", lambda: store.keys.issue(COLLECTIVE, "admin", holder=new_admin, who=WHO)
        )
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
