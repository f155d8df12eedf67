"""``accord seed``: shops and keys from files into a store, before the service runs."""

from __future__ import annotations

from pathlib import Path

import click

from accord_service.run.config import DATA


@click.command(epilog="Example: accord seed demo --data .data/demo")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    envvar="ACCORD_DATA",
    show_envvar=True,
    default=DATA,
    show_default=True,
    help="Folder for the store that comes along, and for the keys.",
)
@click.option("--store", envvar="ACCORD_STORE_URL", show_envvar=True, default="", help="Address of another store.")
def seed(folder: Path, data: Path, store: str) -> None:
    """Put the shops of FOLDER/shops/*.toml into a store and issue the keys that FOLDER/keys.toml asks for.

    Each token is written into a file of its own under DATA/keys, named after shop and role, that only you can read.
    What is there already stays as it is.
    """
    from accord_service.cli.seeding import seed_store

    seed_store(folder, data, store)
