"""``accord facts``: the words that rules are written in, and one of them whole."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import Any

import click

from accord_rules.documents.counted import counted
from accord_rules.verdict import LEVELS
from accord_service.cli.answerers import answered, answerer
from accord_service.cli.output import Output
from accord_service.cli.told import Document, Unknown, no_such

_SCOPES: Mapping[str, str] = MappingProxyType(
    {
        "order": "the order: the piece, its use, the shop",
        "decoration": "a decoration with its transfer",
        "pressing": "a pressing: a decoration on a press with settings",
    }
)
# What stands for a type in a table; for a number its unit does.
_SHORT: Mapping[str, str] = MappingProxyType(
    {"true/false": "yes/no", "number": "number", "one of": "word", "set of": "words", "text": "text"}
)
_LEGEND = (
    'A unit, or "number": compared with a limit, a number or a fact. yes/no: stands by itself. word, words:'
    " compared with words. text: in sentences only."
)
_DATA = "data"
_WRITTEN: Mapping[str, str] = MappingProxyType(
    {
        "true/false": "yes or no; conditions write it by itself, or not and the fact",
        "one of": "one word; conditions write fact == 'word' or fact in ('word', 'word')",
        "set of": "a set of words; conditions write 'word' in fact",
        "text": "text; in sentences only, in braces",
        _DATA: "data; for other facts only, rules cannot speak of it",
    }
)
_TYPE_COLUMN = 7
_LABEL_COLUMN = 15
_BOLD: Mapping[str, Any] = MappingProxyType({"bold": True})


@click.command(epilog="Example: accord facts item.polyester_share")
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the fact as a JSON object, or the facts as a JSON list.")
@answered
def facts(name: str | None, as_json: bool, **who: Any) -> None:
    """List the facts that rules may speak of, or tell one whole: what it is, where it comes from, who looks at it.

    NAME is a fact, such as item.polyester_share, or a group of them, such as item.
    """
    output = Output.of_terminal()
    fact: Document | None = None
    entries: Sequence[Document] = ()
    with answerer(**who) as accord:
        if name is None:
            entries = accord.facts()
        else:
            try:
                fact = accord.fact(name)
            except Unknown as error:
                entries = _group(name, accord.facts(), str(error))
    if as_json:
        click.echo(json.dumps(fact or entries, ensure_ascii=not output.is_utf, indent=2))
    elif fact is None:
        _show_facts(output, entries)
    else:
        _show_fact(output, fact)


def _group(name: str, entries: Sequence[Document], why: str) -> list[Document]:
    """The facts of a group. Raises Failure with the nearest names where there is none."""
    group = [entry for entry in entries if entry["id"].startswith(name.rstrip(".") + ".")]
    if not group:
        raise no_such(why, name, (entry["id"] for entry in entries), "accord facts")
    return group


def _show_facts(output: Output, entries: Sequence[Document]) -> None:
    """A table by scope and group; what rules cannot speak of is named below it."""
    widest = max(len(entry["id"]) for entry in entries)
    for scope, heading in _SCOPES.items():
        of_scope = [entry for entry in entries if entry["scope"] == scope]
        if not of_scope:
            continue
        output.blank()
        output.say("", lead=f"Of {heading}", lead_style=_BOLD)
        named = [entry for entry in of_scope if entry["type"] != _DATA]
        for _, group in groupby(named, key=lambda entry: entry["id"].split(".")[0]):
            output.blank()
            for entry in group:
                output.say(
                    entry["description"], lead=f"  {entry['id']:<{widest}} {output.fit(_short(entry)):<{_TYPE_COLUMN}}"
                )
        data = [entry["id"] for entry in of_scope if entry["type"] == _DATA]
        if data:
            output.blank()
            output.say(", ".join(data), lead="  For other facts only: ", indent=4)
    output.blank()
    output.say(_LEGEND)
    output.say(f"{counted(len(entries), 'fact')}; accord facts NAME tells one whole.")


def _short(fact: Document) -> str:
    return (fact["measure"] or {}).get("unit") or _SHORT.get(str(fact["type"]), str(fact["type"]))


def _show_fact(output: Output, fact: Document) -> None:
    output.say(fact["description"], lead=f"{fact['id']}  ", lead_style=_BOLD, indent=_LABEL_COLUMN)
    for rows in (_what_it_is(fact), _if_unsaid(fact), _what_it_reads(fact["reads"]), _who_reads_it(fact)):
        output.blank()
        for label, text in rows:
            output.say(text, lead=f"  {label}", indent=_LABEL_COLUMN)
    output.blank()
    output.say(f"Book revision {fact['revision']}. A shop's own rules are not listed here.")


def _what_it_is(fact: Document) -> Iterator[tuple[str, str]]:
    yield "Type", _type(fact)
    yield "Of", _SCOPES.get(fact["scope"], fact["scope"])
    if fact["words"]:
        yield "Words", ", ".join(fact["words"])
    if fact["kinds"]:
        yield "", f"ids of the book's {' and '.join(_spaced(kind) for kind in fact['kinds'])}"


def _type(fact: Document) -> str:
    measure = fact["measure"]
    if measure is None:
        return _WRITTEN.get(fact["type"], fact["type"])
    inside = f" in {measure['unit']}" if measure["unit"] else ""
    written = "a plain number" if measure["plain"] else "limit('...') or another fact, never a bare number"
    example = measure["example"] if measure["plain"] else f'"{measure["example"]}"'
    return f"{_spaced(measure['dimension'])}{inside}; compared with {written}; examples write {example}"


def _if_unsaid(fact: Document) -> Iterator[tuple[str, str]]:
    unsaid: Document | None = fact["unsaid"]
    if unsaid is None:
        of_order = any(name.startswith("/") for name in fact["reads"]["inputs"])
        unasked = "; where that leaves it unknown, it stays unknown, and nobody is asked" if of_order else ""
        yield "If unsaid", f"follows from what it reads{unasked}"
        return
    yield "If unsaid", f"at {unsaid['pointer']}:"
    if unsaid["shown"]:
        yield "  assumed", unsaid["shown"]
    if unsaid["why"]:
        yield "  reason", unsaid["why"]
    if unsaid["question"]:
        yield "  asked", f"{'where nothing can be assumed: ' if unsaid['why'] else ''}{unsaid['question']}"


def _what_it_reads(reads: Document) -> Iterator[tuple[str, str]]:
    labels = {"facts": "Reads", "inputs": "  inputs", "limits": "  limits", "kinds": "  catalogue"}
    yield from _listed(labels, reads)


def _who_reads_it(fact: Document) -> Iterator[tuple[str, str]]:
    read_by = fact["read_by"]
    yield from _listed({"facts": "Read by", "choices": "  to choose"}, read_by)
    if not read_by["rules"]:
        yield "  rules", "none of the book"
    for level in LEVELS:
        ids = [rule["id"] for rule in read_by["rules"] if rule["level"] == level]
        if ids:
            yield f"  {level}", ", ".join(ids)
    if read_by["steps"]:
        yield "  steps", ", ".join(read_by["steps"])


def _listed(labels: Mapping[str, str], names: Document) -> Iterator[tuple[str, str]]:
    """A row for each list, the first one also where it is empty, since the others stand below it."""
    for number, (key, label) in enumerate(labels.items()):
        if names[key] or number == 0:
            yield label, ", ".join(names[key]) or "no other fact"


def _spaced(word: str) -> str:
    return word.replace("_", " ")
