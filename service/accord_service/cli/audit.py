"""``accord audit``: whether the record of who changed what is as it was written."""

from __future__ import annotations

import click

from accord_service.cli.answerers import put_to, service_named
from accord_service.cli.failure import Failure
from accord_service.store import ChainHead, SealedEntry, Store, StoreError, broken_at

WHOLE, BROKEN = 0, 1
TIMEOUT_S = 10.0


@click.group()
def audit() -> None:
    """The audit: every write, each sealed to the one before."""


@audit.command()
@click.option("--store", "store_url", help="Look into this store instead: every document against the audit as well.")
@service_named
@click.pass_context
def verify(
    context: click.Context, store_url: str | None, url: str | None, token: str | None, allow_insecure: bool
) -> None:
    """Check every seal, here and not where the audit is kept.

    Exits with 0 if the chain is whole, 1 if it is not, 2 if nobody answered. A head's number and hash, kept elsewhere
    now and then, show later whether everything after some point was forged.
    """
    report, is_whole = _in_store(store_url) if store_url else _from_service(url, token, allow_insecure)
    click.echo(report)
    context.exit(WHOLE if is_whole else BROKEN)


def _in_store(url: str) -> tuple[str, bool]:
    try:
        store = Store.at(url, timeout_s=TIMEOUT_S)
        try:
            head, broken = store.audit.head(), store.audit.verify()
            altered = store.audit.altered() if broken is None else ()
        finally:
            store.close()
    except StoreError as error:
        raise Failure(f"{str(error)[:1].upper()}{str(error)[1:]}.") from None
    if altered:
        changed = "\n".join(f"  {key}" for key in altered)
        return f"The chain is whole, but these are not what it says was written last:\n{changed}", False
    return _report(head.seq, head.hash, broken), broken is None


def _from_service(url: str | None, token: str | None, allow_insecure: bool) -> tuple[str, bool]:
    with put_to(url, token, allow_insecure) as put:
        head = put(lambda client: client.governance.audit_head())
        documents = put(lambda client: list(client.governance.audit()))
    try:
        entries = [SealedEntry(**document) for document in documents]
    except TypeError as error:
        raise Failure(f"The service lists what is no audit entry: {error}.") from None
    broken = broken_at(entries, ChainHead(head["seq"], head["hash"]))
    last = entries[-1] if entries else None
    return _report(last.seq if last else 0, last.hash if last else "", broken), broken is None


def _report(count: int, hash_: str, broken: int | None) -> str:
    if broken is not None:
        return f"Broken: entry {broken} is not as it was written, or is missing."
    return f"Whole: {count} entries, the last with the hash {hash_}."
