"""``accord audit``: whether everything that is kept is what the record of who changed what says, and that as it was
sealed; and the key that seals it."""

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
from accord_service.cli.answerers import ServiceCall, put_to, service_named
from accord_service.cli.failure import Failure
from accord_service.run.config import SEAL_KEY_FILE, Config, ConfigError, store_url
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

WHOLE, BROKEN = 0, 1
TIMEOUT_S = 10.0
WHO = "accord audit"
# What a service tells of an entry beside what is sealed.
_NOT_SEALED = ("actor", "subject")

_of_store = click.option("--store", "store", help="Look into this store itself, without a service.")
_seal_key = click.option(
    "--seal-key",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    envvar=SEAL_KEY_FILE,
    show_envvar=True,
    help="File of the key that seals the audit; its public half is enough to check. If left out, the one in the data"
    " folder (ACCORD_DATA), where there is one.",
)


@click.group()
def audit() -> None:
    """The audit: every write, each sealed to the one before, and the head of them with a key."""


@audit.command(epilog="Example: accord audit check")
@_of_store
@_seal_key
@click.option("--anchor", "anchors", multiple=True, metavar="LINE", help="A line of `accord audit head` that was kept.")
@service_named
@click.pass_context
def check(
    context: click.Context,
    store: str | None,
    seal_key: Path | None,
    anchors: tuple[str, ...],
    url: str | None,
    token: str | None,
    allow_insecure: bool,
) -> None:
    """Check that all that is kept is what the audit says, and the audit as it was sealed.

    A service is asked for its account, and its entries are read and checked here as well, so that its word is not all
    there is: with --seal-key by the key in that file. With --store the same is done on the store itself. Both give the
    same account.

    Exits with 0 if all is whole, 1 if it is not, 2 if nobody answered.
    """
    kept = [_anchor(line) for line in anchors]
    if store:
        lines, is_whole = _in_store(store, seal_key, kept)
    else:
        with put_to(url, token, allow_insecure) as put:
            lines, is_whole = _from_service(put, seal_key, anchors)
    for line in lines:
        click.echo(line)
    context.exit(WHOLE if is_whole else BROKEN)


@audit.command(epilog="Example: accord audit head >anchor")
@_of_store
@service_named
def head(store: str | None, url: str | None, token: str | None, allow_insecure: bool) -> None:
    """Show where the audit ends, as one line: an anchor.

    Keep one now and then, in a book of your own: `accord audit check --anchor` says at any later time whether it is
    still in the chain. A store that was set back as a whole shows in nothing else.
    """
    if store:
        with _opened(store, None) as opened:
            line = opened.audit.head().text()
    else:
        with put_to(url, token, allow_insecure) as put:
            line = put(lambda client: client.governance.audit_head())["anchor"] or ""
    if not line:
        raise Failure("There is nothing yet that was sealed.")
    click.echo(line)


@audit.command(epilog="Example: accord audit adopt --data .data/demo")
@click.option(
    "--store", "store", help="The store. Services may be running on it that have the key in use; none with another."
)
@click.option(
    "--data",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="In place of --store: the data folder of a service that has stopped, whose store came along.",
)
@_seal_key
@click.option("--as-it-is", is_flag=True, help="Also where it is not whole: nothing is known of what was done to it.")
def adopt(store: str | None, data: Path | None, seal_key: Path | None, as_it_is: bool) -> None:
    """Seal everything in a store anew, with the key in use.

    After a change of keys this makes the old private key dispensable. A store that was set back, or lost its last
    writes, is taken as it is now: services on it that wrote nothing for that reason go on by themselves. With
    --as-it-is that is done with a store whose key is lost, or that was tampered with; each later check says so.
    """
    if (store is None) == (data is None):
        raise click.UsageError("Name one of --store and --data.")
    own = nullcontext(store) if data is None else _came_along(data)
    with own as url, _opened(str(url), seal_key or (data / "seal-key.pem" if data else None)) as opened:
        account = opened.check()
        if not account.is_whole and not as_it_is:
            raise Failure("\n".join([*account.lines(), "With --as-it-is it is sealed all the same."]))
        _refuse_beside_another_key(opened)
        count = opened.adoption.adopt(who=WHO)
    sealed = "is sealed as it is" if count == 1 else "are sealed as they are"
    click.echo(f"{counted(count, 'document')} {sealed}.")


@audit.command(epilog="Example: accord audit new-key seal-key.pem")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--old",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The file in use until now: its keys are taken along, so that what they sealed still counts.",
)
def new_key(file: Path, old: Path | None) -> None:
    """Make a key that seals audits, in a new FILE that only you can read.

    All services on one store need the same file. Keep a copy where the store's copies are not.
    """
    try:
        seals = Seals.write_new(file, b"" if old is None else old.read_bytes())
    except FileExistsError:
        raise Failure(f"{file} is there already.") from None
    except (OSError, StoreError) as error:
        raise Failure(_sentence(error)) from None
    click.echo(f"Key {seals.key_id}, public half {seals.public_key(seals.key_id)}.")


@audit.command(epilog="Example: accord audit public-keys seal-key.pem")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def public_keys(file: Path) -> None:
    """Show the public halves of a key file, as a key file of its own: enough for whoever only checks."""
    try:
        click.echo(Seals.read(file).public_pem().decode(), nl=False)
    except StoreError as error:
        raise Failure(_sentence(error)) from None


def _anchor(line: str) -> ChainHead:
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


def _in_store(store: str, seal_key: Path | None, anchors: Sequence[ChainHead]) -> tuple[Sequence[str], bool]:
    with _opened(store, seal_key) as opened:
        account = opened.check(anchors)
    return account.lines(), account.is_whole


def _from_service(put: ServiceCall, seal_key: Path | None, anchors: Sequence[str]) -> tuple[Sequence[str], bool]:
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
    end = ChainHead(head["seq"], head["hash"]) if head["anchor"] is None else _anchor(head["anchor"])
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
