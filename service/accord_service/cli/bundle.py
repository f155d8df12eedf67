"""``accord bundle``: the signed file by which a shop's orders are judged without a line."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING

import click

from accord_service.cli.answerers import key_named, put_to, service_named
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped
from accord_service.cli.output import Output
from accord_service.cli.told import Document
from accord_service.run.config import BUNDLE_FOLDER

if TYPE_CHECKING:
    import accord_client

_FOLDER = click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    envvar=BUNDLE_FOLDER,
    show_envvar=True,
    help="Where it is kept; a folder of yours when left out.",
)


@click.group(cls=Grouped)
def bundle() -> None:
    """Pull and show what your shop's orders are judged by while there is no line."""


@bundle.command("pull", epilog="Example: accord bundle pull")
@_FOLDER
@click.option("--key", default="", help="The public key that signs it, to be pinned in place of one that is pinned.")
@service_named
def pull(url: str | None, token: str | None, allow_insecure: bool, folder: Path | None, key: str) -> None:
    """Pull the bundle, check it, and keep it for `--local` and for when the service can't be reached.

    It answers for your key, and for others of your shop that pulled it: for each until the one that it pulled last
    expires. The first one's signing key is pinned: compare it with what `accord audit head` says, or with another shop.
    A key that the service does not take (revoked, say) is answered from what it pulled no more.
    """
    # The rules and what they rest on, which take most of a second to import.
    from accord_service import offline
    from accord_service.steps.bundles import BundleRefused

    output, day = Output.of_terminal(), offline.today()
    kept_in = folder or offline.usual_folder()
    with put_to(url, token, allow_insecure) as put:

        def ask(etag: str) -> tuple[bytes, str] | None:
            return put(lambda client: client.bundle(etag))

        try:
            status = put(lambda client: _known(client, lambda: offline.forget(kept_in, token or "")))
            pulled = offline.pull(kept_in, ask, token or "", status["shop_id"], day, key)
        except BundleRefused as refused:
            raise Failure(str(refused)) from None
        except OSError as error:
            raise Failure(f"The bundle can't be kept: {error}.") from None
    news = "" if pulled.is_new else " Nothing has changed since the last one."
    output.say(offline.told(offline.Holding(offline.FRESH, pulled.bundle, pulled.key), day) + news)
    if pulled.pinned:
        output.say(f"Pinned the key that signed it: {pulled.key}. No other is taken from now on.")


def _known(client: accord_client.Client, forget: Callable[[], bool]) -> Document:
    """The status of the key's shop; ``forget`` is called where the service does not take the key."""
    from accord_client import NotAuthorised

    try:
        return client.shop_status().document
    except NotAuthorised as error:
        if error.status == HTTPStatus.UNAUTHORIZED and forget():
            click.echo("What this key pulled to this machine answers it no more.", err=True)
        raise


@bundle.command("show", epilog="Example: accord bundle show")
@_FOLDER
@key_named
@click.option("--json", "as_json", is_flag=True, help="For scripts.")
@click.pass_context
def show(context: click.Context, folder: Path | None, token: str | None, as_json: bool) -> None:
    """Say which bundle is kept on this machine, and whether your key may be answered from it (else exit code 1)."""
    from accord_service import offline

    day = offline.today()
    holding = offline.held(folder or offline.usual_folder(), day, token)
    if as_json:
        click.echo(offline.as_document(holding))
    else:
        output = Output.of_terminal()
        output.say(offline.told(holding, day))
        if holding.state == offline.STALE:
            output.say("It was not pulled for a day or more: accord bundle pull, once there is a line.")
        if holding.key:
            output.say(f"Signed with the key {holding.key}.")
    context.exit(0 if holding.bundle is not None else 1)
