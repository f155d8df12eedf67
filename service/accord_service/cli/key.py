"""``accord key``: keys, for an admin, or for an owner those of the own shop."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, print_json
from accord_service.cli.told import Document
from accord_service.http.roles import COLLECTIVE, ROLES

_COLUMNS = ("key", "opens", "holder", "used", "state")


@click.group(cls=Grouped)
def key() -> None:
    """Keys. Needs an admin's key, or an owner's for the keys of their shop."""


@key.command(epilog="Example: accord key issue mill-steps counter --holder Ivo")
@click.argument("shop")
@click.argument("role", type=click.Choice(ROLES))
@click.option("--holder", metavar="NAME", required=True, help="Whose it is, by the name the collective knows them by.")
@click.option("--expires-at", metavar="TIME", help='When it ends by itself, such as "2027-03-31T18:00:00Z".')
@click.option(
    "--origin", "origins", metavar="ORIGIN", multiple=True, help="Of pages that a storefront's key is for; repeatable."
)
@administered
def issue(
    put: ServiceCall, shop: str, role: str, holder: str, expires_at: str | None, origins: tuple[str, ...]
) -> None:
    """Issue a key of ROLE for SHOP. The token, shown this once, is all that goes to standard output."""
    issued = put(
        lambda client: client.administration.issue_key(
            shop, role, holder=holder, expires_at=expires_at, origins=origins
        )
    )
    if issued["token"] is None:
        raise Failure(
            f"Key {issued['key_id']} was issued, but its token was lost on the way: revoke it, issue another."
        )
    click.echo(
        f"Key {issued['key_id']}, {issued['role']} of {issued['shop_id']}. Its token is shown this once:", err=True
    )
    click.echo(issued["token"])
    if issued["waits"]:
        click.echo(f"It opens nothing until another admin confirms it: accord key confirm {issued['key_id']}", err=True)


@key.command("list", epilog="Example: accord key list --shop mill-steps")
@click.option("--shop", help=f"Only this shop's keys; {COLLECTIVE} for those that belong to none.")
@JSON
@administered
def list_(put: ServiceCall, shop: str | None, as_json: bool) -> None:
    """List keys: their role and shop, who holds each, the day when it was used last, and whether it works.

    A token tells its key: accord_k7qz3n5w2xab4cde_... is of key_k7qz3n5w2xab4cde.
    """
    output = Output.of_terminal()
    keys = put(lambda client: list(client.administration.keys(shop)))
    if as_json:
        print_json(output, keys)
        return
    now = datetime.now(UTC).isoformat()
    say_table(output, _COLUMNS, [_row(key, now) for key in keys], none="There is no key.")


def _row(key: Document, now: str) -> tuple[str, ...]:
    opens = f"{key['role']} of {key['shop_id']}"
    return key["key_id"], opens, key["holder"] or "-", _day(key["last_used_at"]), _state(key, now)


def _day(time: str | None) -> str:
    return "-" if time is None else time[:10]


def _state(key: Document, now: str) -> str:
    """Whether a key works, and until when; ``now`` in UTC, as ISO 8601."""
    if key["revoked_at"] is not None:
        return f"revoked {_day(key['revoked_at'])}"
    if key["waits"]:
        return "waits for a second admin"
    if key["expires_at"] is None:
        return "works"
    return f"{'works until' if now < key['expires_at'] else 'ended'} {_day(key['expires_at'])}"


@key.command(epilog="Example: accord key show key_k7qz3n5w2xab4cde")
@click.argument("id")
@JSON
@administered
def show(put: ServiceCall, id: str, as_json: bool) -> None:
    """Show one key, a line a field."""
    output = Output.of_terminal()
    document = put(lambda client: client.administration.key(id))
    if as_json:
        print_json(output, document)
        return
    say_table(output, ("field", "value"), [(name, _shown(value)) for name, value in document.items()])


@key.command(epilog="Example: accord key confirm key_k7qz3n5w2xab4cde")
@click.argument("id")
@administered
def confirm(put: ServiceCall, id: str) -> None:
    """Confirm the steward's or admin's key that another admin issued."""
    confirmed = put(lambda client: client.administration.confirm_key(id))
    whose = f"{confirmed['role']} of {confirmed['shop_id']}, held by {confirmed['holder']}"
    click.echo(f"Confirmed: {confirmed['key_id']}, {whose}.")


@key.command(epilog="Example: accord key revoke key_k7qz3n5w2xab4cde")
@click.argument("id")
@administered
def revoke(put: ServiceCall, id: str) -> None:
    """Revoke a key, for good."""
    revoked = put(lambda client: client.administration.revoke_key(id))
    click.echo(f"Revoked: {revoked['key_id']}, {revoked['role']} of {revoked['shop_id']}.")


def _shown(value: Any) -> str:
    """A field of a key; people by name, role and shop, lists by their words."""
    if isinstance(value, list):
        return ", ".join(value) or "-"
    if isinstance(value, Mapping):
        return f"{value['holder'] or '-'}, {value['role']} of {value['shop_id']}"
    return str(value or "-")
