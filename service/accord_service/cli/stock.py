"""``accord stock``: what the own shop keeps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import click

from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, VALIDATE_ONLY, alter_shop, print_json, show_altered
from accord_service.cli.told import Document, no_such

_SHELVES = ("products", "consumables")
_NAMES = click.argument("names", metavar="NAME...", nargs=-1, required=True)


@click.group(cls=Grouped)
def stock() -> None:
    """The products, sheets, pads and tapes that your shop keeps (owner)."""


@stock.command("list", epilog="Example: accord stock list")
@JSON
@administered
def list_(put: ServiceCall, as_json: bool) -> None:
    """List what the shop keeps, and what of it is out of use."""
    output = Output.of_terminal()
    kept = put(lambda client: client.shop()).document["stock"]
    if as_json:
        print_json(output, kept)
        return
    titles = _titles(put)
    rows = list(stock_rows(kept, titles))
    say_table(output, ("name", "kind", "what it is", "note"), rows, none="The shop keeps nothing.")


@stock.command("add", epilog="Example: accord stock add film-soft-matte heat-tape")
@_NAMES
@VALIDATE_ONLY
@JSON
@administered
def add(put: ServiceCall, names: tuple[str, ...], validate_only: bool, as_json: bool) -> None:
    """Put products and consumables of the book into the shop's stock."""
    shelves = {name: _shelf(name, _titles(put)) for name in names}

    def alter(shop: Document) -> Document:
        kept = {shelf: [*shop["stock"][shelf]] for shelf in _SHELVES}
        for name, shelf in shelves.items():
            if name not in kept[shelf]:
                kept[shelf].append(name)
        return {**shop, "stock": {**shop["stock"], **kept}}

    show_altered(*alter_shop(put, alter, validate_only=validate_only), validate_only=validate_only, as_json=as_json)


@stock.command("remove", epilog="Example: accord stock remove film-soft-matte")
@_NAMES
@VALIDATE_ONLY
@JSON
@administered
def remove(put: ServiceCall, names: tuple[str, ...], validate_only: bool, as_json: bool) -> None:
    """Take products and consumables out of the shop's stock."""

    def alter(shop: Document) -> Document:
        there = [name for shelf in _SHELVES for name in shop["stock"][shelf]]
        for name in names:
            if name not in there:
                raise (
                    no_such(f"The shop does not keep {name!r}.", name, there, "accord stock list")
                    if there
                    else Failure("The shop keeps nothing.")
                )
        kept = {shelf: [name for name in shop["stock"][shelf] if name not in names] for shelf in _SHELVES}
        return {**shop, "stock": {**shop["stock"], **kept}}

    show_altered(*alter_shop(put, alter, validate_only=validate_only), validate_only=validate_only, as_json=as_json)


def stock_rows(kept: Document, titles: Mapping[str, Mapping[str, str]]) -> Iterator[tuple[str, str, str, str]]:
    """Each thing kept, or out of use: its name, its kind, what it is, and whether it is in use."""
    gone = kept.get("withdrawn", [])
    for shelf in _SHELVES:
        for name in dict.fromkeys((*kept[shelf], *(name for name in gone if name in titles[shelf]))):
            notes = ["out of use"] if name in gone else []
            notes += ["with the maker's sheet"] if name in kept.get("sheets", {}) else []
            yield name, shelf.removesuffix("s"), titles[shelf].get(name, ""), ", ".join(notes)


def _titles(put: ServiceCall) -> Mapping[str, Mapping[str, str]]:
    """By shelf, each name of the book with what it is."""
    return put(
        lambda client: {
            shelf: {line.id: str(line.entry.get("title", "")) for line in client.catalogue(shelf)} for shelf in _SHELVES
        }
    )


def _shelf(name: str, titles: Mapping[str, Mapping[str, str]]) -> str:
    for shelf, of_shelf in titles.items():
        if name in of_shelf:
            return shelf
    known = [known for of_shelf in titles.values() for known in of_shelf]
    raise no_such(f"The book has no product or consumable {name!r}.", name, known, "accord words")
