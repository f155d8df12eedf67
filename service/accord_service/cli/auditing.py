"""What ``accord audit`` does: a store or a service's account of itself checked, adopted, and the key files.

Apart from the commands, since the store and what it rests on take half a second to import.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from functools import partial
from pathlib import Path
from typing import Any

import click

from accord_client import Client
from accord_rules.documents.counted import counted
from accord_service.cli.answerers import ServiceCall
from accord_service.cli.failure import Failure
from accord_service.run.config import Config, ConfigError, store_url
from accord_service.store import (
    ChainHead,
    EmbeddedServer,
    SealedEntry,
    Seals,
    Store,
    StoreBroken,
    StoreError,
    broken_at,
)

TIMEOUT_S = 10.0
WHO = "accord audit"
# What a service tells of an entry beside what is sealed.
_NOT_SEALED = ("actor", "subject")


def adopt(store: str | None, data: Path | None, seal_key: Path | None, *, as_it_is: bool) -> str:
    """Seal everything in a store anew, or in the one of a data folder; a sentence that says so. Raises Failure."""
    own = nullcontext(store) if data is None else _came_along(data)
    with own as url, _opened(str(url), seal_key or (data / "seal-key.pem" if data else None)) as opened:
        account = opened.check()
        if not account.is_whole and not as_it_is:
            raise Failure("\n".join([*account.lines(), "With --as-it-is it is sealed all the same."]))
        _refuse_beside_another_key(opened)
        count = opened.adoption.adopt(who=WHO)
    sealed = "is sealed as it is" if count == 1 else "are sealed as they are"
    return f"{counted(count, 'document')} {sealed}."


def new_key(file: Path, old: Path | None) -> str:
    """Write a new key file that keeps the keys of ``old``; a sentence that names the key. Raises Failure."""
    try:
        seals = Seals.write_new(file, b"" if old is None else old.read_bytes())
    except FileExistsError:
        raise Failure(f"{file} is there already.") from None
    except (OSError, StoreError) as error:
        raise Failure(_sentence(error)) from None
    return f"Key {seals.key_id}, public half {seals.public_key(seals.key_id)}."


def public_keys(file: Path) -> str:
    """The public halves of a key file, PEM. Raises Failure."""
    try:
        return Seals.read(file).public_pem().decode()
    except StoreError as error:
        raise Failure(_sentence(error)) from None


def head_in_store(store: str) -> str:
    """The line of where the audit of a store ends; empty before anything was sealed. Raises Failure."""
    with _opened(store, None) as opened:
        return opened.audit.head().text()


def anchor_in(line: str) -> ChainHead:
    """The head that a kept line says. Raises BadParameter."""
    try:
        return ChainHead.from_line(line)
    except ValueError as error:
        raise click.BadParameter(f"{error}.", param_hint="--anchor") from None


def _refuse_beside_another_key(store: Store) -> None:
    """A service that goes on with another key could read nothing any more that was sealed anew, and write nothing."""
    try:
        others = store.others()
    except StoreBroken as error:  # a user of the store who may not list its clients
        click.echo(f"Whether services with another key are running on it can't be seen: {error}.", err=True)
        return
    if others:
        lines = [
            f"  {f'key {other.key_id}' if other.key_id else 'an older version'}: {', '.join(other.addresses)}"
            for other in others
        ]
        mine = f"Stop them first, or start them anew with this key ({store.seals.key_id}). Nothing was sealed."
        raise Failure("\n".join(["Services with another key are connected to this store:", *lines, mine]))


@contextmanager
def _came_along(data: Path) -> Iterator[str]:
    """The store in a data folder, running, while no service has it."""
    try:
        server = EmbeddedServer.start(data / "store")
    except StoreError as error:
        raise Failure(_sentence(error)) from None
    try:
        yield server.url
    finally:
        server.stop()


@contextmanager
def _opened(store: str, seal_key: Path | None) -> Iterator[Store]:
    try:
        file = seal_key or Config.from_env().seal_key_file
        seals = Seals.read(file) if file.exists() else Seals.none()
        opened = Store.at(store_url(os.environ | {"ACCORD_STORE_URL": store}), timeout_s=TIMEOUT_S, seals=seals)
        try:
            yield opened
        finally:
            opened.close()
    except (StoreError, ConfigError) as error:
        raise Failure(_sentence(error)) from None


def checked_in_store(store: str, seal_key: Path | None, anchors: Sequence[ChainHead]) -> tuple[Sequence[str], bool]:
    """What is to be said of a store, and whether all is whole. Raises Failure."""
    with _opened(store, seal_key) as opened:
        account = opened.check(anchors)
    return account.lines(), account.is_whole


def checked_by_service(put: ServiceCall, seal_key: Path | None, anchors: Sequence[str]) -> tuple[Sequence[str], bool]:
    """The same as a service accounts for itself, and of its entries as they are read here. Raises Failure."""
    accounts = [put(partial(_checked, anchor=line)) for line in anchors or (None,)]
    lines = dict.fromkeys(line for account in accounts for line in account["lines"])
    whole = all(account["whole"] for account in accounts)
    try:
        head = put(lambda client: client.governance.audit_head())
        entries = put(lambda client: [_sealed(document) for document in client.governance.audit()])
    except Failure as failure:  # where the audit is in pieces, a service has an account of that, and no list
        told = " ".join(failure.message.split())
        return (*lines, f"Read here: the entries could not be read. {told}"), False
    read, is_right = _read_here(entries, head, seal_key)
    return (*lines, read), whole and is_right


def _checked(client: Client, *, anchor: str | None) -> Mapping[str, Any]:
    return client.governance.check_audit(anchor)


def _read_here(entries: Sequence[SealedEntry], head: Mapping[str, Any], seal_key: Path | None) -> tuple[str, bool]:
    """What the entries come to that a service told, whatever it says of them itself."""
    end = ChainHead(head["seq"], head["hash"]) if head["anchor"] is None else anchor_in(head["anchor"])
    adopting = [at for at, entry in enumerate(entries) if entry.adopts]
    sure = entries[adopting[-1] :] if adopting else entries
    begun = ChainHead(sure[0].seq - 1, sure[0].previous) if adopting else ChainHead()
    broken = broken_at(sure, end, begun)
    if broken is not None:
        return f"Read here: entry {broken} is not as it was written, or is missing.", False
    if seal_key is not None:
        try:
            fault = Seals.read(seal_key).fault_of(end)
        except StoreError as error:
            raise Failure(_sentence(error)) from None
        if fault:
            return "Read here: the head is not sealed with a key of the file.", False
    follow = "the one entry is" if len(entries) == 1 else f"all {len(entries)} entries follow each other up to"
    return f"Read here: {follow} the head.", True


def _sealed(document: Mapping[str, Any]) -> SealedEntry:
    try:
        return SealedEntry(**{name: value for name, value in document.items() if name not in _NOT_SEALED})
    except TypeError as error:
        raise Failure(f"The service lists what is no audit entry: {error}.") from None


def _sentence(error: Exception) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"
