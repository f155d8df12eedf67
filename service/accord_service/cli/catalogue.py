"""``accord catalogue``: what the book knows, kind by kind."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import click

from accord_rules.documents.spelling import as_word
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.columns import say_table
from accord_service.cli.helping import examples
from accord_service.cli.output import Output
from accord_service.cli.told import Answerer, Document, Unknown, no_such
from accord_service.steps.readable import leaves


@click.command(epilog=examples("accord catalogue blanks", "accord catalogue blanks tee-heavy-white"))
@click.argument("kind", metavar="[KIND", required=False)
@click.argument("name", metavar="[NAME]]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the kinds or entries as a JSON list, one as an object.")
@answered
def catalogue(kind: str | None, name: str | None, as_json: bool, **who: Any) -> None:
    """List the kinds of entry in the book, the entries of a KIND, or tell the one of a NAME whole."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        if kind is None:
            rows = accord.kinds()
            if as_json:
                _print(output, [asdict(row) for row in rows])
            else:
                say_table(
                    output, ("kind", "entries", "what it is"), ((r.kind, str(r.count), r.description) for r in rows)
                )
            return
        kind = _kind(accord, kind)
        if name is None:
            entries = accord.entries(kind)
            if as_json:
                _print(output, [{"id": id_, "entry": entry} for id_, entry in entries.items()])
            else:
                _list(output, kind, entries)
            return
        said, (name, entry) = name, _entry(accord, kind, name)
    if as_json:
        _print(output, {"kind": kind, "id": name, "entry": entry})
    else:
        if name != said:
            output.say(f"“{said}” is a word for {name}.")
            output.blank()
        output.say(_title(entry), lead=f"{name}  ", lead_style={"bold": True}, indent=4)
        output.blank()
        say_table(output, ("field", "value"), leaves(entry))


def _kind(accord: Answerer, kind: str) -> str:
    known = [row.kind for row in accord.kinds()]
    spelt = kind.replace("-", "_")
    if spelt not in known:
        raise no_such(f"The book has no kind of entry {kind!r}.", spelt, known, "accord catalogue")
    return spelt


def _entry(accord: Answerer, kind: str, name: str) -> tuple[str, Document]:
    """The entry of a name, or the one that another word stands for, with its own name. Raises Failure."""
    try:
        return name, accord.entry(kind, name)
    except Unknown as error:
        entries = accord.entries(kind)
        word = as_word(name)
        named = [(id_, entry) for id_, entry in entries.items() if word in map(as_word, entry.get("aliases", ()))]
        if len(named) == 1:
            return named[0]
        raise no_such(str(error), name, entries, f"accord catalogue {kind}") from None


def _list(output: Output, kind: str, entries: Mapping[str, Document]) -> None:
    say_table(output, ("name", "what it is"), ((id_, _title(entry)) for id_, entry in entries.items()))
    output.blank()
    output.say(f"{len(entries)} {kind.replace('_', ' ')}; accord catalogue {kind} NAME tells one whole.")


def _title(entry: Document) -> str:
    """What an entry calls itself, in the field that its kind has for that."""
    return next((str(entry[key]) for key in ("title", "name", "text", "note") if entry.get(key)), "")


def _print(output: Output, document: Any) -> None:
    click.echo(json.dumps(document, ensure_ascii=not output.is_utf, indent=2))
