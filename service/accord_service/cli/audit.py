"""``accord audit``: whether everything that is kept is what the record of who changed what says, and that as it was
sealed; and the key that seals it."""

from __future__ import annotations

from pathlib import Path

import click

from accord_service.cli.answerers import put_to, service_named
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped
from accord_service.run.config import SEAL_KEY_FILE

WHOLE, BROKEN = 0, 1

_of_store = click.option("--store", "store", help="Look into this store itself, without a service.")
_seal_key = click.option(
    "--seal-key",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    envvar=SEAL_KEY_FILE,
    show_envvar=True,
    help="File of the key that seals the audit; its public half is enough to check. If left out, the one in the data"
    " folder (ACCORD_DATA), where there is one.",
)


@click.group(cls=Grouped)
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
    from accord_service.cli import auditing

    kept = [auditing.anchor_in(line) for line in anchors]
    if store:
        lines, is_whole = auditing.checked_in_store(store, seal_key, kept)
    else:
        with put_to(url, token, allow_insecure) as put:
            lines, is_whole = auditing.checked_by_service(put, seal_key, anchors)
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
        from accord_service.cli import auditing

        line = auditing.head_in_store(store)
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
    from accord_service.cli import auditing

    click.echo(auditing.adopt(store, data, seal_key, as_it_is=as_it_is))


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
    from accord_service.cli import auditing

    click.echo(auditing.new_key(file, old))


@audit.command(epilog="Example: accord audit public-keys seal-key.pem")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def public_keys(file: Path) -> None:
    """Show the public halves of a key file, as a key file of its own: enough for whoever only checks."""
    from accord_service.cli import auditing

    click.echo(auditing.public_keys(file), nl=False)
