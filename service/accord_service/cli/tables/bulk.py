"""Files of orders through, from the first row to the last: asked, answered, written, counted, and gone on with."""

from __future__ import annotations

import contextlib
import shlex
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import click

from accord_rules.documents.counted import counted
from accord_service.cli.codes import DONE, UNASKED, code_of, worst
from accord_service.cli.failure import Failure
from accord_service.cli.output import MOST_WIDTH, Output
from accord_service.cli.tables.asking import Sum, results
from accord_service.cli.tables.look import show_columns
from accord_service.cli.tables.progress import Progress
from accord_service.cli.tables.results import APPENDED, TABLE, Writer, sum_lines, writer_of
from accord_service.cli.tables.sources import How, Source, Table, sheet_of, source_of, unread_lines
from accord_service.cli.told import Answerer


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is to be done with the files: how results are written and where to, and where to go on.

    ``from_row``: of the first file; None for a run that begins, and not one that goes on with another.
    """

    output: str
    to: Path | None
    every: bool
    from_row: int | None
    revision: int | None


def look_at(files: Sequence[str], how: How) -> int:
    """Show how each table is read, and ask nobody. UNASKED where one could not be put as it is."""
    output = Output.of_terminal()
    codes = [DONE]
    for place, file in enumerate(files):
        if place:
            output.blank()
        with contextlib.closing(Table(sheet_of(Path(file), how), how)) as table:
            codes.append(DONE if show_columns(output, table) else UNASKED)
    return worst(*codes)


def validate_files(accord: Answerer, files: Sequence[str], how: How, wanted: Wanted) -> int:
    """Ask of every order and write what came of it; the exit code. Raises Failure with how to go on."""
    with contextlib.ExitStack() as opened:
        sources: list[Source] = []
        for file in files:
            sources.append(opened.enter_context(contextlib.closing(source_of(file, how))))
        for source in sources:
            if isinstance(source, Table):
                source.check()
        sums = _answered(accord, sources, files, wanted)
    if wanted.output != TABLE or wanted.to is not None:
        for line in sum_lines(sums):
            click.echo(line, err=True)
    return worst(*map(code_of, sums.words))


def _answered(accord: Answerer, sources: Sequence[Source], files: Sequence[str], wanted: Wanted) -> Sum:
    """Every row asked and written, and the sum of what came of them."""
    sums = Sum(revision=wanted.revision)
    with _destination(files, wanted) as (stream, output, headed):
        writer = writer_of(wanted.output, stream, output, every=wanted.every, headed=headed)
        if wanted.output == TABLE:
            _introduce(output, accord, sources)
        try:
            for place in range(len(sources)):
                _through(accord, sources[place:], writer, stream, sums, wanted, is_first=place == 0)
            sums.is_whole = True
        finally:
            sums.empty = sum(source.empty for source in sources)
            writer.end(sums)
    return sums


def _through(
    accord: Answerer,
    left: Sequence[Source],
    writer: Writer,
    stream: IO[str],
    sums: Sum,
    wanted: Wanted,
    *,
    is_first: bool,
) -> None:
    """The first of the files that are left, from its first row to its last."""
    progress = Progress.of_terminal()
    source = left[0]
    row = (wanted.from_row or 1) if is_first else 1
    try:
        for result in results(accord, source, row, sums.revision):
            progress.clear()
            writer.write(result)
            stream.flush()  # what was answered is there, whatever becomes of this process
            sums.add(result)
            row = result.row + 1
            progress.show(sums.rows, source.share_done())
    except Failure as failure:
        raise Failure(f"{failure.message}\n{_how_to_go_on(left, row, sums, wanted)}") from None
    except KeyboardInterrupt:
        raise Failure(f"Stopped.\n{_how_to_go_on(left, row, sums, wanted)}") from None
    finally:
        progress.clear()


def _how_to_go_on(left: Sequence[Source], row: int, sums: Sum, wanted: Wanted) -> str:
    """Which rows are answered, and what to type for the others, so that none is left out or asked twice."""
    source = left[0]
    if row == 1 and not sums.rows and wanted.from_row is None:
        return f"No row of {source.file} was answered."
    told = (
        f"Of {source.file} everything before row {row} is answered"
        if row > 1
        else f"Before {source.file} all is answered"
    )
    same = "the same options"
    if wanted.to is not None and wanted.output not in APPENDED:
        same += f", another --to since {wanted.output} can't be gone on with,"
    files = " ".join(shlex.quote(of.file) for of in left)
    revision = f" --revision {sums.revision}" if sums.revision is not None else ""
    return f"{told}, and kept. Go on with {same} and\n  accord validate {files} --from-row {row}{revision}"


@contextlib.contextmanager
def _destination(files: Sequence[str], wanted: Wanted) -> Iterator[tuple[IO[str], Output, bool]]:
    """Where results go: the stream, how text is set on it, and whether a CSV begins there."""
    if wanted.to is None:
        yield sys.stdout, Output.of_terminal(), True
        return
    goes_on = wanted.from_row is not None and wanted.to.exists()
    if any(wanted.to.exists() and Path(file).exists() and wanted.to.samefile(file) for file in files):
        raise click.UsageError(f"--to {wanted.to} is the file that is read.")
    if goes_on and wanted.output not in APPENDED:
        raise click.UsageError(
            f"--to {wanted.to} is there already, and {wanted.output} can't be gone on with: name another file."
        )
    # A spreadsheet program takes a CSV without the mark for another encoding.
    encoding = "utf-8-sig" if wanted.output == "csv" and not goes_on else "utf-8"
    newline = "" if wanted.output == "csv" else None
    try:
        with contextlib.ExitStack() as opened:
            mode = "a" if goes_on else "w"
            stream = opened.enter_context(wanted.to.open(mode, encoding=encoding, newline=newline))
            if wanted.output == TABLE:
                opened.enter_context(contextlib.redirect_stdout(stream))
            yield stream, Output(MOST_WIDTH, "utf-8"), not goes_on
    except OSError as error:
        raise Failure(f"{wanted.to}: {error.strerror or error}.") from None


def _introduce(output: Output, accord: Answerer, sources: Sequence[Source]) -> None:
    output.say(accord.introduction)
    for source in sources:
        if not isinstance(source, Table):
            continue
        others = getattr(source.of, "others", ())
        more = f" Other sheets: {', '.join(f'“{name}”' for name in others)} (--sheet)." if others else ""
        output.say(
            " ".join(
                [f"{source.where}: read {counted(len(source.columns.read), 'column')}.", *unread_lines(source.columns)]
            )
            + more
        )
