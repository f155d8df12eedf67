"""The columns of a table: which field of an order each holds, which are not read, and what is missing or unclear."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType

from accord_rules.documents.units import Unit
from accord_service.tables.headers import Header, Question, read_header, unit_in
from accord_service.tables.words import plain

COLUMNS_MOST = 500
_PIECE = ("item.blank", "item.substrate", "item.kind")
_TRANSFER = ".transfer"
LEFT_OUT = ""


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


NO_OWN_WORDS = OwnWords(MappingProxyType({}))


def key_of(header: str) -> str:
    """A header as own words have it."""
    return plain(header) or header.strip()


@dataclass(frozen=True, slots=True)
class ColumnFault:
    """What is not clear about a column, in a sentence.

    ``title`` is its header; ``code``: one of ``reading.CODES``; ``option``: what the command line can say to it;
    ``allowed``: what it can be called.
    """

    letter: str
    title: str
    sentence: str
    option: str = ""
    allowed: tuple[str, ...] = ()
    code: str = "ambiguous"


class ColumnsNotClear(ValueError):
    """Columns that can't be read as they stand; ``faults`` has every one that is not clear."""

    def __init__(self, sentence: str, faults: Sequence[ColumnFault] = ()) -> None:
        self.faults = tuple(faults)
        super().__init__(sentence)


class NoKnownHeader(ColumnsNotClear):
    """Of all columns none has a header that is known: perhaps this is not the row with the headers."""


def mapped(titles: Sequence[str], own: OwnWords = NO_OWN_WORDS) -> Columns:
    """The columns of a header row. Raises ColumnsNotClear with every question there is."""
    if len(titles) > COLUMNS_MOST:
        raise ColumnsNotClear(f"it has {len(titles)} columns; {COLUMNS_MOST} are read at most")
    read: list[Column] = []
    unread: list[tuple[int, str]] = []
    faults: list[ColumnFault] = []
    for index, title in enumerate(titles):
        try:
            header = _header(title, own) if title else None
        except Question as question:
            faults.append(ColumnFault(letter_of(index), title, str(question), question.option, question.allowed))
            continue
        if header is None:
            unread.append((index, title))
        else:
            read.append(Column(index, title, header))
    faults += _doubled(read)
    if faults:
        raise ColumnsNotClear("the columns are not clear", faults)
    if not read:
        known = ", ".join(f"“{title}”" for title in titles[:6] if title)
        raise NoKnownHeader(f"no column has a known header ({known})")
    return Columns(tuple(read), tuple(unread), len(titles))


def _header(title: str, own: OwnWords) -> Header | None:
    target = own.meant.get(key_of(title))
    if target is None:
        return read_header(title)
    if target == LEFT_OUT:
        return None
    header = read_header(target)
    if header is None or header.unit is not None or header.field.dimension is None:
        return header
    return replace(header, unit=unit_in(title, header.field.dimension))


def _doubled(read: Sequence[Column]) -> Iterable[ColumnFault]:
    for one, other in combinations(read, 2):
        for path in one.header.paths:
            for also in other.header.paths:
                if path == also or path.startswith(f"{also}.") or also.startswith(f"{path}."):
                    said = f"{one.shown} and {other.shown} both say {min(path, also)}: leave one out"
                    yield ColumnFault("", other.title, said, f'(--column "{other.title}=").', code="given-twice")


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
