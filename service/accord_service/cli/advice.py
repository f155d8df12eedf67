"""``accord advice``: what people ask that is no setting, and what the book leaves out."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

import click

from accord_rules.documents.spelling import as_word, stems
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.output import Output
from accord_service.cli.show import say_heading, show_left_out
from accord_service.cli.told import Document, no_such

Entries = Mapping[str, Document]


@click.command(epilog="Example: accord advice dryer")
@click.argument("word", metavar="[WORD]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print both as one JSON object, by kind and id.")
@answered
def advice(word: str | None, as_json: bool, **who: Any) -> None:
    """Answer what WORD is about, or list every question with its answer, and what the book does not cover and why."""
    output = Output.of_terminal()
    with answerer(**who) as accord:
        told: dict[str, Entries] = {kind: accord.entries(kind) for kind in ("advice", "not_covered")}
    if word is not None:
        told = _about(word, told)
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=not output.is_utf, indent=2))
        return
    for entry in told["advice"].values():
        say_heading(output, entry["title"])
        output.say(" ".join(entry["answer"]), indent=4)
        output.say(f"[{', '.join(entry['sources'])}]", indent=4)
    show_left_out(output, told["not_covered"].values())


def _about(word: str, told: Mapping[str, Entries]) -> dict[str, Entries]:
    """The entries of that name or word, else those that have all of its words, in whatever form. Raises Failure with
    the nearest."""
    wanted = as_word(word)
    spelt = {(kind, id_): _spellings(id_, entry) for kind, entries in told.items() for id_, entry in entries.items()}
    found = {key for key, spellings in spelt.items() if wanted in spellings}
    words = stems(wanted)
    found = found or {
        key for key, spellings in spelt.items() if any(words <= stems(spelling) for spelling in spellings)
    }
    if not found:
        known = {spelling for spellings in spelt.values() for spelling in spellings}
        raise no_such(f"The book has no advice on {word!r}.", wanted, known, "accord advice")
    return {kind: {id_: entry for id_, entry in of.items() if (kind, id_) in found} for kind, of in told.items()}


def _spellings(id_: str, entry: Document) -> Iterable[str]:
    return [as_word(spelling) for spelling in (id_, entry["title"].rstrip("?"), *entry.get("aliases", ()))]
