"""``accord names``: what the own shop calls things of the book."""

from __future__ import annotations

from collections.abc import Mapping

import click

from accord_rules.documents.spelling import as_word
from accord_service.cli.answerers import ServiceCall, administered
from accord_service.cli.columns import say_table
from accord_service.cli.failure import Failure
from accord_service.cli.helping import Grouped, examples
from accord_service.cli.output import Output
from accord_service.cli.own import JSON, VALIDATE_ONLY, alter_shop, print_json, show_altered
from accord_service.cli.told import Document, no_such

# What may be named, with the kinds of the book that it may stand for; presses are the shop's own.
_KINDS: Mapping[str, tuple[str, ...]] = {
    "presses": (),
    "blanks": ("blanks",),
    "transfers": ("transfers", "products"),
    "consumables": ("consumables",),
    "press_types": ("press_types",),
}
_OF = click.option("--of", "of", type=click.Choice(tuple(_KINDS)), help="What is meant, where it could be several.")


@click.group(cls=Grouped)
def names() -> None:
    """Your shop's own article numbers and words, which its orders may say (owner)."""


@names.command("list", epilog="Example: accord names list")
@JSON
@administered
def list_(put: ServiceCall, as_json: bool) -> None:
    """List the shop's own names with what they stand for."""
    output = Output.of_terminal()
    own = put(lambda client: client.shop()).document.get("names", {})
    if as_json:
        print_json(output, own)
        return
    rows = [(word, name, of.replace("_", " ")) for of, words in own.items() for word, name in words.items()]
    say_table(output, ("name", "stands for", "of"), rows, none="The shop has no names of its own.")


@names.command(
    "add", epilog=examples("accord names add TS-100-W tee-heavy-white", 'accord names add "the little one" hand')
)
@click.argument("word")
@click.argument("name")
@_OF
@VALIDATE_ONLY
@JSON
@administered
def add(put: ServiceCall, word: str, name: str, of: str | None, validate_only: bool, as_json: bool) -> None:
    """Let WORD stand for NAME, a name of the book or one of the shop's presses."""
    found = _meant(put, name, of)

    def alter(shop: Document) -> Document:
        own = shop.get("names", {})
        return {**shop, "names": {**own, found: {**own.get(found, {}), word: name}}}

    show_altered(*alter_shop(put, alter, validate_only=validate_only), validate_only=validate_only, as_json=as_json)


@names.command("remove", epilog="Example: accord names remove TS-100-W")
@click.argument("word")
@_OF
@VALIDATE_ONLY
@JSON
@administered
def remove(put: ServiceCall, word: str, of: str | None, validate_only: bool, as_json: bool) -> None:
    """Let WORD stand for nothing any more."""

    def alter(shop: Document) -> Document:
        own = shop.get("names", {})
        there = {
            kind: [w for w in words if as_word(w) == as_word(word)] for kind, words in own.items() if of in (None, kind)
        }
        held = [kind for kind, words in there.items() if words]
        if not held:
            every = [w for words in own.values() for w in words]
            if not every:
                raise Failure("The shop has no names of its own.")
            raise no_such(f"The shop has no name {word!r} of its own.", word, every, "accord names list")
        if len(held) > 1:
            raise Failure(f"{word!r} stands for several things: say --of {' or --of '.join(held)}.")
        (kind,) = held
        rest = {w: name for w, name in own[kind].items() if w not in there[kind]}
        left = {**own, kind: rest} if rest else {k: words for k, words in own.items() if k != kind}
        return {**shop, "names": left} if left else {key: value for key, value in shop.items() if key != "names"}

    show_altered(*alter_shop(put, alter, validate_only=validate_only), validate_only=validate_only, as_json=as_json)


def _meant(put: ServiceCall, name: str, of: str | None) -> str:
    """What a name is one of. Raises Failure where it is none, or of several."""
    known = {
        kind: (
            [press["id"] for press in put(lambda client: client.shop()).document["presses"]]
            if kind == "presses"
            else [line for of_book in of_kinds for line in _ids(put, of_book)]
        )
        for kind, of_kinds in _KINDS.items()
        if of in (None, kind)
    }
    found = [kind for kind, ids in known.items() if name in ids]
    if len(found) > 1:
        raise Failure(f"{name!r} could be several things: say --of {' or --of '.join(found)}.")
    if not found:
        every = [id_ for ids in known.values() for id_ in ids]
        raise no_such(f"There is no {name!r} in the book, nor among your presses.", name, every, "accord words")
    return found[0]


def _ids(put: ServiceCall, kind: str) -> list[str]:
    return put(lambda client: [line.id for line in client.catalogue(kind)])
