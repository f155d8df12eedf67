"""``accord words``: what the book calls what people say."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import click

from accord_rules.documents.spelling import as_word, singulars
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.failure import Failure
from accord_service.cli.output import Output
from accord_service.cli.show import say_heading, show_left_out
from accord_service.cli.told import Document, WordRow, no_such


@click.command(epilog="Example: accord words dtf")
@click.argument("word", metavar="[WORD]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print kind, id, title and words of each as a JSON list.")
@answered
def words(word: str | None, as_json: bool, **who: Any) -> None:
    """Tell what the book calls WORD, or list everything that orders name with the other words for it.

    An order may use any of the words; where WORD is none of them, those that it is a part of are listed.
    """
    output = Output.of_terminal()
    with answerer(**who) as accord:
        rows, left_out = accord.words(), accord.entries("not_covered")
    if word is not None:
        rows = _called(word, rows, left_out)
    if as_json:
        click.echo(json.dumps([asdict(row) for row in rows], ensure_ascii=not output.is_utf, indent=2))
    else:
        _show(output, rows)
        if word is None:
            show_left_out(output, left_out.values())


def _called(word: str, rows: Sequence[WordRow], left_out: Mapping[str, Document]) -> list[WordRow]:
    """The rows of a word, or of words that it is a part of. Raises Failure where there are none: with why the book
    leaves it out, else with the nearest."""
    wanted = as_word(word)
    singular = singulars(wanted)
    spellings = {id(row): [as_word(spelling) for spelling in (row.id, *row.words)] for row in rows}
    called = [row for row in rows if wanted in spellings[id(row)]]
    called = called or [row for row in rows if not {*singular}.isdisjoint(spellings[id(row)])]
    called = called or [row for row in rows if any(wanted in spelling for spelling in spellings[id(row)])]
    if not called:
        for id_, entry in left_out.items():
            if wanted in (id_, *map(as_word, entry.get("aliases", ()))):
                raise Failure(f"Not covered: {entry['title']}. {entry['because']} {entry['instead']}")
        known = {spelling for of_row in spellings.values() for spelling in of_row}
        raise no_such(f"The book has no word {word!r}.", wanted, known, "accord words")
    return called


def _show(output: Output, rows: Sequence[WordRow]) -> None:
    for kind in dict.fromkeys(row.kind for row in rows):
        say_heading(output, kind.replace("_", " "))
        for row in rows:
            if row.kind == kind:
                others = [word for word in row.words if word != row.title]
                also = f": {', '.join(others)}" if others else ""
                output.say(f"{row.title}{also}", lead=f"    {row.id}  ", indent=6)
