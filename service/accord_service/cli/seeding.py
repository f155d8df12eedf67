"""Shops and keys of a folder put into a store."""

from __future__ import annotations

import os
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click

from accord_rules.documents.counted import counted
from accord_rules.documents.files import BookError
from accord_rules.documents.reading import Choice, DocumentError, Many, Name, Object, optional, read, required
from accord_rules.infer.engine import EngineError
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_service.cli.failure import Failure
from accord_service.http.holders import Holder
from accord_service.http.origins import ORIGINS, origins_faults
from accord_service.http.roles import ROLES
from accord_service.run.config import Config, ConfigError
from accord_service.run.times import newest_day
from accord_service.serving import first_start
from accord_service.steps.shops import faults_of
from accord_service.store import Seals, Store, StoreError
from accord_service.worker.edition import loaded

T = TypeVar("T")
WHO = "seed"


@dataclass(frozen=True, slots=True)
class WantedKey:
    """A key that is to be issued."""

    shop: str = required(Name())
    role: str = required(Choice(ROLES))
    holder: str = required(Holder())
    origins: tuple[str, ...] = optional(ORIGINS, ())


@dataclass(frozen=True, slots=True)
class KeyFile:
    """``keys.toml``: a table ``[[key]]`` a key."""

    key: tuple[WantedKey, ...] = required(Many(Object(WantedKey), 1000, 1))


def seed_store(folder: Path, data: Path, store: str) -> None:
    """Put what ``folder`` has into the store of ``data``, or the one at the address ``store``. Raises Failure."""
    try:
        env = os.environ | {"ACCORD_STORE_URL": store, "ACCORD_DATA": str(data)}
        with _open(Config.from_env(env)) as opened:
            _seed(opened, folder, data / "keys")
    except (BookError, ConfigError, EngineError, StoreError, OSError) as error:
        raise Failure(f"The store cannot be seeded: {error}") from None


@contextmanager
def _open(config: Config) -> Iterator[Store]:
    server = first_start.own_store(config)
    try:
        url = config.store_url if server is None else server.url
        first_start.furnish(url, config.data)
        # A patient one: nobody waits for its answers.
        store = Store.at(url, timeout_s=5.0, seals=Seals.read(config.seal_key_file))
        try:
            yield store
        finally:
            store.close()
    finally:
        if server is not None:
            server.stop()


def _seed(store: Store, folder: Path, keys: Path) -> None:
    head = store.revisions.revision(store.revisions.head().number)
    assert head is not None
    book = loaded(head)
    shops = dict(_shop_in(file, book) for file in sorted((folder / "shops").glob("*.toml")))
    wanted = _read(KeyFile, folder / "keys.toml", _toml(folder / "keys.toml")).key
    for place, key in enumerate(wanted):
        if faults := origins_faults(key.role, key.origins, f"/key/{place}/origins"):
            raise Failure("\n".join(f"{folder / 'keys.toml'}: {fault}" for fault in faults))
    there = {shop.id for shop in store.shops.list()}
    strays = sorted({key.shop for key in wanted} - set(shops) - there)
    if strays:
        raise Failure(f"{folder / 'keys.toml'}: there is no shop {strays[0]!r}")
    for name, document in shops.items():
        if name not in there:
            store.shops.create(name, document, who=WHO)
    issued = {(key.shop, key.role) for key in store.keys.list() if key.revoked_at is None}
    for key in wanted:
        if (key.shop, key.role) not in issued:
            _issue(store, keys, key)
    click.echo(f"{counted(len(set(shops) - there), 'shop')} added; the keys are in {keys.resolve()}")


def _issue(store: Store, keys: Path, key: WantedKey) -> None:
    file = f"{key.shop}-{key.role}"
    first_start.write_key(
        keys,
        file,
        lambda: store.keys.issue(key.shop, key.role, holder=key.holder, who=WHO, origins=key.origins),
    )


def _shop_in(file: Path, book: Book) -> tuple[str, dict[str, Any]]:
    document = _toml(file)
    shop = _read(Shop, file, document)
    faults = [str(fault) for fault in faults_of(book, shop, newest_day(time.time()))]
    if shop.id != file.stem:
        faults.append(f"/id: is {shop.id!r}; file name and id must be the same")
    if faults:
        raise Failure("\n".join(f"{file}: {fault}" for fault in faults))
    return shop.id, document


def _toml(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None


def _read(cls: type[T], file: Path, document: dict[str, Any]) -> T:
    try:
        return read(cls, document)
    except DocumentError as error:
        raise Failure("\n".join(f"{file}: {fault}" for fault in error.faults)) from None
