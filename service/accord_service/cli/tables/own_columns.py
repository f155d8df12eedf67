"""What the command line says of a table's columns, and what it is told of those that are not clear."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path

from accord_rules.documents.spelling import nearest
from accord_service.cli.failure import Failure
from accord_service.tables.columns import (
    LEFT_OUT,
    Columns,
    ColumnsNotClear,
    NoKnownHeader,
    OwnWords,
    key_of,
    mapped,
)
from accord_service.tables.headers import Question, read_header


def own_words(file: Path | None, told: Sequence[str]) -> OwnWords:
    """From a TOML file with ``[columns]`` and "HEADER=FIELD" options, which come before the file. Raises Failure."""
    meant = dict(_in_file(file)) if file else {}
    headers = []
    for option in told:
        header, equals, target = option.rpartition("=")
        if not equals or not header.strip():
            raise Failure(f'--column "{option}": write it as "HEADER=FIELD", as in "Artikelnummer=item.blank".')
        headers.append(header.strip())
        meant[key_of(header)] = _checked(target.strip(), f'--column "{option}"')
    return OwnWords(meant, tuple(headers))


def _in_file(file: Path) -> Iterable[tuple[str, str]]:
    try:
        document = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Failure(f"{file}: {error}") from None
    columns = document.get("columns")
    if not isinstance(columns, dict) or set(document) != {"columns"}:
        raise Failure(f'{file}: it has to be a table [columns] of lines such as "Artikelnummer" = "item.blank".')
    for header, target in columns.items():
        if not isinstance(target, str):
            raise Failure(f"{file}: “{header}” has to be a string: a word or a path, empty to leave the column out.")
        yield key_of(header), _checked(target.strip(), f"{file}: “{header}”")


def _checked(target: str, where: str) -> str:
    if target != LEFT_OUT:
        try:
            known = read_header(target) is not None
        except Question as question:
            raise Failure(f"{where}: {question}{f' {question.option}' if question.option else ''}") from None
        if not known:
            raise Failure(f"{where}: there is no field “{target}”; docs/spreadsheet.md lists the words for each.")
    return target


def columns_of(titles: Sequence[str], own: OwnWords, where: str) -> Columns:
    """The columns of a header row. Raises Failure with every question there is, each in a line."""
    questions = [*_not_there(titles, own)]
    try:
        columns = mapped(titles, own)
    except NoKnownHeader as unknown:
        if not questions:
            raise Failure(
                f"{where}: {unknown}. Is this the row with the headers? --header-row N says which row is; --column"
                ' "HEADER=FIELD" says what a header stands for.'
            ) from None
    except ColumnsNotClear as unclear:
        if not unclear.faults:
            raise Failure(f"{where}: {unclear}.") from None
        for fault in unclear.faults:
            lead = f"{fault.letter}: " if fault.letter else ""
            questions.append(lead + " ".join(filter(None, (fault.sentence, fault.option))))
    else:
        if not questions:
            return columns
    raise Failure(f"{where}: the columns are not clear.\n" + "\n".join(f"  {question}" for question in questions))


def _not_there(titles: Sequence[str], own: OwnWords) -> Iterable[str]:
    keys = {key_of(title) for title in titles if title}
    for header in own.told:
        if key_of(header) not in keys:
            near = nearest(header, [title for title in titles if title])
            hint = f" Did you mean “{near[0]}”?" if near else ""
            yield f'--column "{header}=...": the file has no such header.{hint}'
