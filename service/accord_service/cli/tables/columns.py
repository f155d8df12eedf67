"""The columns of a table: which field of an order each holds, which are not read, and what is missing or unclear."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

from accord_rules.documents.spelling import nearest
from accord_rules.documents.units import Unit
from accord_service.cli.failure import Failure
from accord_service.cli.tables.headers import Header, Question, read_header, unit_in
from accord_service.cli.tables.words import plain

COLUMNS_MOST = 500
_PIECE = ("item.blank", "item.substrate", "item.kind")
_TRANSFER = ".transfer"
_LEFT_OUT = ""


@dataclass(frozen=True, slots=True)
class Column:
    """One column that is read. ``index`` counts from 0, ``title`` is its header as the file has it."""

    index: int
    title: str
    header: Header

    @property
    def letter(self) -> str:
        """As a spreadsheet names it."""
        return letter_of(self.index)

    @property
    def shown(self) -> str:
        """As people are told of it."""
        return f"{self.letter} “{self.title}”"

    @property
    def unit(self) -> Unit | None:
        """What a number without a unit is in; None where nothing says it."""
        return self.header.unit


@dataclass(frozen=True, slots=True)
class Columns:
    """A table's columns: those that are read, and the others with their headers."""

    read: tuple[Column, ...]
    unread: tuple[tuple[int, str], ...]
    width: int

    def at(self, pointer: str) -> Column | None:
        """The column that filled a place of the order, or the nearest thing around it; None where none did."""
        path = pointer.strip("/").replace("/", ".")
        for column in self.read:
            if any(path == own or path.startswith(f"{own}.") for own in column.header.paths):
                return column
        return next((c for c in self.read for own in c.header.paths if path and own.startswith(f"{path}.")), None)


def letter_of(index: int) -> str:
    """The letters of a column, from 0: A, B, ... Z, AA."""
    letters = ""
    index += 1
    while index:
        index, place = divmod(index - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters


@dataclass(frozen=True, slots=True)
class OwnWords:
    """What a shop calls its columns: a header, as ``plain`` leaves it, to the word or path that it stands for.

    An empty one leaves the column out. ``told``: headers that were named for this very file: each has to be there.
    """

    meant: Mapping[str, str]
    told: tuple[str, ...] = ()


def own_words(file: Path | None, told: Sequence[str]) -> OwnWords:
    """From a TOML file with ``[columns]`` and "HEADER=FIELD" options, which come before the file. Raises Failure."""
    meant = dict(_in_file(file)) if file else {}
    headers = []
    for option in told:
        header, equals, target = option.rpartition("=")
        if not equals or not header.strip():
            raise Failure(f'--column "{option}": write it as "HEADER=FIELD", as in "Artikelnummer=item.blank".')
        headers.append(header.strip())
        meant[_key(header)] = _checked(target.strip(), f'--column "{option}"')
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
        yield _key(header), _checked(target.strip(), f"{file}: “{header}”")


def _checked(target: str, where: str) -> str:
    if target != _LEFT_OUT:
        try:
            known = read_header(target) is not None
        except Question as question:
            raise Failure(f"{where}: {question}") from None
        if not known:
            raise Failure(f"{where}: there is no field “{target}”; docs/spreadsheet.md lists the words for each.")
    return target


def _key(header: str) -> str:
    return plain(header) or header.strip()


def mapped(titles: Sequence[str], own: OwnWords, where: str) -> Columns:
    """The columns of a header row. Raises Failure with every question there is, each in a line."""
    if len(titles) > COLUMNS_MOST:
        raise Failure(f"{where}: it has {len(titles)} columns; {COLUMNS_MOST} are read at most.")
    read: list[Column] = []
    unread: list[tuple[int, str]] = []
    questions = list(_not_there(titles, own))
    for index, title in enumerate(titles):
        try:
            header = _header(title, own) if title else None
        except Question as question:
            questions.append(f"{letter_of(index)}: {question}")
            continue
        if header is None:
            unread.append((index, title))
        else:
            read.append(Column(index, title, header))
    questions += _doubled(read)
    if not read and not questions:
        known = ", ".join(f"“{title}”" for title in titles[:6] if title)
        raise Failure(
            f"{where}: no column has a known header ({known}). Is this the row with the headers? --header-row N says"
            ' which row is; --column "HEADER=FIELD" says what a header stands for.'
        )
    if questions:
        raise Failure(f"{where}: the columns are not clear.\n" + "\n".join(f"  {question}" for question in questions))
    return Columns(tuple(read), tuple(unread), len(titles))


def _header(title: str, own: OwnWords) -> Header | None:
    target = own.meant.get(_key(title))
    if target is None:
        return read_header(title)
    if target == _LEFT_OUT:
        return None
    header = read_header(target)
    if header is None or header.unit is not None or header.field.dimension is None:
        return header
    return replace(header, unit=unit_in(title, header.field.dimension))


def _not_there(titles: Sequence[str], own: OwnWords) -> Iterable[str]:
    keys = {_key(title) for title in titles if title}
    for header in own.told:
        if _key(header) not in keys:
            near = nearest(header, [title for title in titles if title])
            hint = f" Did you mean “{near[0]}”?" if near else ""
            yield f'--column "{header}=...": the file has no such header.{hint}'


def _doubled(read: Sequence[Column]) -> Iterable[str]:
    for one, other in combinations(read, 2):
        for path in one.header.paths:
            for also in other.header.paths:
                if path == also or path.startswith(f"{also}.") or also.startswith(f"{path}."):
                    said = f"{one.shown} and {other.shown} both say {min(path, also)}"
                    yield f'{said}: leave one out (--column "{other.title}=").'


def missing(columns: Columns) -> tuple[str, ...]:
    """What no order can be judged without and no column holds, a plain sentence each."""
    paths = [path for column in columns.read for path in column.header.paths]
    sentences = []
    if not any(path in _PIECE for path in paths):
        sentences.append(
            "No column says what the piece is: there has to be one for the blank (blank, item, garment or sku)"
            " or for what it is made of (substrate, material or fabric)."
        )
    if not any(path.endswith(_TRANSFER) for path in paths):
        sentences.append(
            "No column says how it is decorated: there has to be one for the transfer (transfer, method or print)."
        )
    return tuple(sentences)
