"""``accord validate``: the verdict on orders, one a file or any number of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from accord_service.cli.answerers import answered, answerer
from accord_service.cli.codes import DONE, UNASKED, code_of, worst
from accord_service.cli.orders import Refused, read_order
from accord_service.cli.output import Output
from accord_service.cli.show import show_brief, show_refusal, show_refusal_brief, show_verdict
from accord_service.cli.tables.bulk import Wanted, look_at, validate_files
from accord_service.cli.tables.own_columns import own_words
from accord_service.cli.tables.results import FORMATS, TABLE
from accord_service.cli.tables.sources import How, is_many, is_table
from accord_service.cli.told import Answerer, Document

_FILE = click.Path(dir_okay=False, path_type=Path)
_OF_TABLES = ("column", "columns_file", "columns_only", "encoding", "sheet", "header_row")


@click.command(
    epilog="Example: accord validate demo/orders/009-team-tees-dye.json --shipped\n\n"
    "Exits with 0 if every order is accepted or conditional, 1 if one is rejected, 2 if one could not be read or"
    " nobody answered, 3 if none is rejected and one is undetermined. Of several, 2 counts before 1, 1 before 3."
)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="Of single orders: the raw answers as a JSON list, one a file.")
@click.option("--brief", is_flag=True, help="Of single orders: one line a file.")
@click.option("--why", is_flag=True, help="Of single orders: all that was assumed, and all presses that won't do.")
@click.option("--output", "output_as", type=click.Choice(FORMATS), help="Results row by row; table when left out.")
@click.option("--to", type=_FILE, help="Write the results into this file.")
@click.option("--all", "every", is_flag=True, help="In a table, accepted rows too, with their settings.")
@click.option("--columns-only", is_flag=True, help="Show how the columns are read and the first order; ask nobody.")
@click.option("--column", multiple=True, metavar="HEADER=FIELD", help='What a header means: "Breite=width (mm)".')
@click.option("--columns", "columns_file", type=_FILE, help="A TOML file with such lines under [columns].")
@click.option("--header-row", type=click.IntRange(1), help="The row with the headers; the first that is not empty.")
@click.option("--sheet", help="Of a workbook: the sheet; the first that is shown when left out.")
@click.option("--encoding", help="Of a CSV file that is not UTF-8, such as cp1252.")
@click.option("--from-row", type=click.IntRange(1), help="Go on from this row, of the first file.")
@click.option("--revision", type=click.IntRange(1), help="The book's revision to answer from, when going on.")
@answered
@click.pass_context
def validate(
    context: click.Context, /, files: tuple[str, ...], as_json: bool, brief: bool, why: bool, **options: Any
) -> None:
    """Say of orders whether they can be done.

    FILE is an order (.json, or "-" for standard input), a list of orders (.json, .ndjson, .jsonl), or a table with an
    order a row (.csv, .tsv, .xlsx). A table's columns are known by the words counters use, such as order no, blank,
    transfer, width (in); docs/spreadsheet.md lists them.
    """
    if as_json and brief:
        raise click.UsageError("--json and --brief are two ways to print: choose one.")
    bulk = {name: options.pop(name) for name in (*_OF_TABLES, "output_as", "to", "every", "from_row", "revision")}
    is_bulk = bulk["output_as"] is not None or any(map(is_many, files))
    _check_use(files, bulk, is_bulk=is_bulk, raw=as_json or brief or why)
    if is_bulk:
        context.exit(_in_bulk(files, bulk, options))
    context.exit(_one_by_one(files, as_json, brief, why, options))


def _check_use(files: tuple[str, ...], bulk: dict[str, Any], *, is_bulk: bool, raw: bool) -> None:
    """Raises UsageError for options that say nothing about these files."""
    if raw and is_bulk:
        raise click.UsageError("--json, --brief and --why are for single orders: --output json or table prints rows.")
    if any(bulk[name] for name in _OF_TABLES) and not all(map(is_table, files)):
        raise click.UsageError(
            "--columns-only, --column, --columns, --header-row, --sheet and --encoding go with tables."
        )
    if not is_bulk and (bulk["to"] or bulk["every"] or bulk["from_row"] or bulk["revision"]):
        raise click.UsageError(
            "--to, --all, --from-row and --revision go with rows: with --output, or files of many orders."
        )


def _in_bulk(files: tuple[str, ...], bulk: dict[str, Any], who: dict[str, Any]) -> int:
    how = How(own_words(bulk["columns_file"], bulk["column"]), bulk["encoding"], bulk["sheet"], bulk["header_row"])
    if bulk["columns_only"]:
        return look_at(files, how)
    wanted = Wanted(bulk["output_as"] or TABLE, bulk["to"], bulk["every"], bulk["from_row"], bulk["revision"])
    with answerer(**who) as accord:
        return validate_files(accord, files, how, wanted)


def _one_by_one(files: tuple[str, ...], as_json: bool, brief: bool, why: bool, who: dict[str, Any]) -> int:
    """Each file an order, each verdict whole."""
    output = Output.of_terminal()
    answers: list[Document] = []
    codes = [DONE]
    with answerer(**who) as accord:
        if not (as_json or brief):
            output.say(accord.introduction)
        try:
            for file in files:
                answer, decorations = _answer(accord, file)
                codes.append(UNASKED if isinstance(answer, Refused) else code_of(answer["verdict"]))
                answers.append(answer.document() if isinstance(answer, Refused) else answer)
                if not as_json:
                    _show(output, file, answer, decorations, brief, why)
        finally:  # what was answered before the service went away is not lost
            if as_json:
                click.echo(json.dumps(answers, ensure_ascii=not output.is_utf, indent=2))
    return worst(*codes)


def _answer(accord: Answerer, file: str) -> tuple[Document | Refused, int]:
    """The answer, and how many decorations the order has; 0 where it could not be judged."""
    try:
        order = read_order(file).document
        return accord.validate(order), len(order["decorations"])
    except Refused as refused:
        return refused, 0


def _show(output: Output, file: str, answer: Document | Refused, decorations: int, brief: bool, why: bool) -> None:
    if isinstance(answer, Refused):
        (show_refusal_brief if brief else show_refusal)(output, file, answer)
    elif brief:
        show_brief(output, file, answer)
    else:
        show_verdict(output, file, answer, decorations, why=why)
