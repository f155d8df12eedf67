"""One header: the field that its words name, which print it is of, and the unit that it puts to bare numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches

from accord_rules.documents.reading import Number, Object, Table, Whole
from accord_rules.documents.units import DIMENSIONS, Dimension, Unit
from accord_rules.orders.order import PRINTS_MOST
from accord_service.tables.fields import OrderField, field_at
from accord_service.tables.words import AMBIGUOUS, plain, words

# Below it too many words are a letter apart that mean something else (file and film, case and care).
_SHORTEST_WITH_A_SLIP = 5
# Of difflib's ratio (1: the same): from here on a longer header is taken for a known word with a slip of the hand.
_ALIKE, _ALIKE_FROM = 0.85, 8
# No header that somebody would read is longer, and to look for words like it would take long.
_LONGEST = 80
_BRACKETED = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]*?)\s*[)\]]\s*")
_UNIT_SIGN = re.compile(r"[°º\"″”²/%]")
_BEFORE_A_DEGREE = re.compile(r"(?<=\w)(?=[°º″”\"])")
_ORDINAL = re.compile(r"#?(\d{1,2})(?:st|nd|rd|th|\.)?")
_NUMBERED = re.compile(r"([^\W\d_]{2,})(\d{1,2})")
_OF_A_PRINT = ("print", "decoration", "design", "logo", "transfer")
_UNIT_TOKENS_MOST = 3
_COUNTED_SHOWN = ("pieces", "years", "percent")
_COUNTED = frozenset({*_COUNTED_SHOWN, "pcs", "pc", "ea", "each", "units", "yrs", "y", "%", "number", "no", "count"})


@dataclass(frozen=True, slots=True)
class Header:
    """What a header says: ``number`` is the print's, from 1; ``unit`` is what bare numbers below it are in."""

    field: OrderField
    number: int = 1
    unit: Unit | None = None

    @property
    def paths(self) -> tuple[str, ...]:
        return self.field.paths_of(self.number)


class Question(ValueError):
    """A header that may be meant for a field and can't be taken for it without asking.

    ``option``: what the command line can say to that, a sentence; ``allowed``: what it can be called.
    """

    def __init__(self, sentence: str, option: str = "", allowed: tuple[str, ...] = ()) -> None:
        self.option, self.allowed = option, allowed
        super().__init__(sentence)


def read_header(text: str) -> Header | None:
    """The header of a column; None where it speaks of something that no order has. Raises Question."""
    if len(text) > _LONGEST:
        return None
    base, bracketed = _without_bracket(text)
    found = next(_readings(base), None)
    if found is None:
        _ask_if_near(text, base)
        return None
    header, unit = found
    if bracketed and header.field.dimension is None:
        _check_counted(text, bracketed, header.field)
    elif bracketed and not _is_of_a_size(header.field, bracketed):
        assert header.field.dimension is not None
        in_brackets = _unit(header.field.dimension, bracketed)
        if in_brackets is None or (unit is not None and unit != in_brackets):
            raise Question(_no_unit(text, bracketed, header.field.dimension))
        unit = in_brackets
    if unit is None and header.field.dimension is not None:
        unit = header.field.dimension.unit(plain(base))  # "gsm" is both
    if header.number > 1 and not header.field.is_of_a_print:
        raise Question(
            f"“{text}” has a number, and an order has one piece only: only prints are numbered (“transfer 2”)."
        )
    if header.number > PRINTS_MOST:
        raise Question(f"“{text}”: an order has {PRINTS_MOST} prints at most.")
    return Header(header.field, header.number, unit)


def _check_counted(text: str, bracketed: str, field: OrderField) -> None:
    """Raises Question where a number is counted in something else than orders count it in, such as dozens or months."""
    is_number = isinstance(field.reader, Whole | Number | Table) or (
        field.span is not None and "age" in field.span.least
    )
    if is_number and plain(bracketed) not in _COUNTED:
        raise Question(
            f"“{text}”: “{bracketed}” is not what orders count in ({', '.join(_COUNTED_SHOWN)}), and a number would be"
            " read as it stands."
        )


def _is_of_a_size(field: OrderField, bracketed: str) -> bool:
    """Whether the brackets say no more than which way round a size is read."""
    return isinstance(field.reader, Object) and plain(bracketed) in ("w x h", "width x height", "w × h")


def _unit(dimension: Dimension, spelling: str) -> Unit | None:
    """The unit, also where it stands for both sides of a size: cm x cm."""
    units = {dimension.unit(part) for part in re.split(r"\s*[x×]\s*", spelling)}
    return units.pop() if len(units) == 1 else None


def _without_bracket(text: str) -> tuple[str, str]:
    match = _BRACKETED.fullmatch(text.strip())
    return (match.group(1), match.group(2)) if match and match.group(1) else (text.strip(), "")


def _readings(base: str) -> Iterator[tuple[Header, Unit | None]]:
    """The header read whole first, then with its last words as the unit."""
    if not _UNIT_SIGN.search(base) and (header := _named(base)) is not None:
        yield header, None
    tokens = _BEFORE_A_DEGREE.sub(" ", re.sub(r"[_\s]+", " ", base)).replace("-", " ").split(" ")
    for count in range(min(_UNIT_TOKENS_MOST, len(tokens) - 1), 0, -1):
        head, spelling = tokens[:-count], " ".join(tokens[-count:])
        header = _named(" ".join(head)) or _named(" ".join(head[:-1] if head[-1].lower() == "in" else head))
        if header is None or header.field.dimension is None:
            continue
        if (unit := header.field.dimension.unit(spelling)) is not None:
            yield header, unit


def _named(text: str) -> Header | None:
    """The field of a dotted path or of plain words, with the print's number."""
    path = text.strip()
    if "." in path and (at := field_at(path) or field_at(path.lower())) is not None:
        return Header(*at)
    if (field := _field(plain(text))) is not None:
        return Header(field)
    number, rest = _number_in(text)
    if (field := _field(rest)) is not None:
        return Header(field, number)
    of_print = (_field(name) for name in _without_print(rest))
    return next((Header(field, number) for field in of_print if field is not None and field.is_of_a_print), None)


def _field(name: str) -> OrderField | None:
    """The field of plain words, in the plural as well."""
    known = words()
    if name in AMBIGUOUS:
        return None
    return known.get(name) or (known.get(name[:-1]) if name.endswith("s") else None)


def _number_in(text: str) -> tuple[int, str]:
    """The one number among the words, 1 where there is none, and the words without it."""
    tokens = [part for token in re.sub(r"[_\s-]+", " ", text).split() for part in _parted(token)]
    numbers = [match for match in map(_ORDINAL.fullmatch, tokens) if match and int(match.group(1)) > 0]
    if len(numbers) != 1:
        return 1, plain(text)
    rest = [token for token in tokens if not _ORDINAL.fullmatch(token)]
    return int(numbers[0].group(1)), plain(" ".join(rest))


def _parted(token: str) -> tuple[str, ...]:
    match = _NUMBERED.fullmatch(token)
    return match.groups() if match else (token,)


def _without_print(text: str) -> Iterator[str]:
    """The words without "print" before or behind them."""
    first, _, rest = text.partition(" ")
    if first in _OF_A_PRINT and rest:
        yield rest
    rest, _, last = text.rpartition(" ")
    if last in _OF_A_PRINT and rest:
        yield rest.removesuffix(" of")


def _ask_if_near(text: str, base: str) -> None:
    name = plain(base)
    _, unnumbered = _number_in(base)
    if unnumbered in AMBIGUOUS:
        names = AMBIGUOUS[unnumbered]
        raise Question(f"“{text}” can be {_or(names)}: call it that.", allowed=names)
    head, _, last = name.rpartition(" ")
    has_unit = any(dimension.unit(last) for dimension in DIMENSIONS.values()) if last else False
    for tried in dict.fromkeys((name, unnumbered, *([head] if has_unit else []))):
        near = _near(tried)
        if near is not None:
            option = f'--column "{text}={near}" says so, --column "{text}=" leaves it out.'
            raise Question(f"Is “{text}” meant for “{near}”?", option, (near,))


def _near(name: str) -> str | None:
    """The known word that is a slip of the hand away; None where none is."""
    if len(name) < _SHORTEST_WITH_A_SLIP:
        return None
    slips = (word for word in words() if len(word) >= _SHORTEST_WITH_A_SLIP and _is_a_slip(name, word))
    close = get_close_matches(name, words(), 1, _ALIKE) if len(name) >= _ALIKE_FROM else []
    return next(slips, close[0] if close else None)


def _is_a_slip(name: str, word: str) -> bool:
    """Whether one letter is left out, too many, another, or changed places with the next."""
    start = next((i for i, (one, other) in enumerate(zip(name, word, strict=False)) if one != other), None)
    if start is None:
        return abs(len(name) - len(word)) == 1
    rest, wanted = name[start:], word[start:]
    swapped = rest[1::-1] + rest[2:] if len(rest) > 1 else rest
    return wanted in (swapped, rest[1:]) or wanted[1:] in (rest, rest[1:])


def _or(choices: tuple[str, ...]) -> str:
    *rest, last = (f"“{choice}”" for choice in choices)
    return f"{', '.join(rest)} or {last}" if rest else last


def _no_unit(text: str, spelling: str, dimension: Dimension) -> str:
    symbols = ", ".join(unit.symbol for unit in dimension.units)
    return f"“{text}”: “{spelling}” is no unit of {dimension.name.replace('_', ' ')} here; those are {symbols}."


def unit_in(text: str, dimension: Dimension) -> Unit | None:
    """The unit in brackets at a header's end, or its last word; None where that is none."""
    base, bracketed = _without_bracket(text)
    return dimension.unit(bracketed or base.replace("_", " ").split(" ")[-1])
