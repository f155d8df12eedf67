"""What people type, as a document has it: one reading for the cells of tables and the fields of pages.

``value`` reads one text by the reader of its place. A list has commas, semicolons, bars or lines between its parts, an
empty one is "nothing"; least and most are "150 °C to 160 °C". Names, colours and days stay as they were typed: whoever
answers knows the shop's own names and says what is allowed. A quantity stays the text that it is, with its unit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Choice, Either, Flag, Many, Number, OneOrSpan, Quantity, Reader, Table, Whole
from accord_rules.documents.spelling import as_word

NOTHING = "nothing"
TO = " to "
# Of one text: longer is nothing that somebody typed, and would take long to read.
CHARACTERS_MOST = 1000

_YES = frozenset({"yes", "y", "true", "x", "✓", "✔", "1", "ja", "oui", "si", "sí"})
_NO = frozenset({"no", "n", "false", "0", "nein", "non", "-", "–"})
# 1,000 is a thousand to some and one to others; 1.000 pieces as well, and is no whole number here.
_THOUSANDS = re.compile(r"[-+]?[0-9]{1,3}(?:,[0-9]{3})+")
_WHOLE = re.compile(r"[-+]?[0-9]{1,15}(?:[.,]0{1,2})?")
_DECIMAL = re.compile(r"[-+]?[0-9]{1,15}(?:[.,][0-9]{1,15})?")
NUMBER = r"[-+−]?(?:\d+(?:\s+\d+/\d+|-\d+/\d+|/\d+)?(?:[.,]\d+)*|[.,]\d+|\d*\s*[¼½¾⅛⅜⅝⅞])"
BARE = re.compile(NUMBER)
# Of a name, figures right behind letters are its own where no share begins there: PA66.
_FIGURES_OF_NAME = r"(?<=[^\W\d_])\d{1,2}(?!\w|\s*%)"
_SHARE = re.compile(rf"(\d+(?:[.,]\d+)?)\s*%?\s*([^\W\d_](?:{_FIGURES_OF_NAME}|[^\d%/,;+&|])*)")
_SHARE_BEHIND = re.compile(r"([^\W\d_][^\d%/,;+&|]*?)\s*:?\s*(\d+(?:[.,]\d+)?)\s*%?")
_SHARES_FIRST = re.compile(r"((?:\d+(?:[.,]\d+)?\s*%?\s*/\s*)+\d+(?:[.,]\d+)?)\s*%?\s+(.+)")
_BETWEEN_SHARES = re.compile(r"[\s/,;+&|.]*")
_SHARES_MOST = 200
_BETWEEN_PARTS = re.compile(r"[,;|\n]")
# As sheets print it: 270-290, or 10–15. A fraction of an inch, 1-1/2, is none.
_SPAN = re.compile(r"(\d+(?:[.,]\d+)?)\s*[-–]\s*(\d+(?:[.,]\d+)?)(?:\s*([^\d\s/.,-].*))?")
# A word for two fibres is no fibre of which a piece could be made whole.
_ONE_FIBRE = re.compile(r"(?!poly-?cotton|(?:tri|poly)?-?blend|mix)[^\W\d_]+", re.IGNORECASE)
# What people say for a word that a choice has. Common practice, no source.
_SAID: Mapping[str, str] = MappingProxyType({"heavy": "firm"})
_AND = re.compile(r"^\s*and\b|\band\s*$|[\s.]+$")


class TypedError(ValueError):
    """What was typed can't be read: a sentence's end, after the name of what it was typed for."""


def value(reader: Reader, text: str) -> Any:
    """What a text says where ``reader`` reads, in the shape of a document. Raises TypedError."""
    match reader:
        case Flag():
            return flag(text)
        case Whole() | Number():
            return number(text, whole=isinstance(reader, Whole))
        case Table():
            return shares(text)
        case OneOrSpan():
            least, is_span, most = span(text).partition(TO)
            return {"least": least, "most": most} if is_span else text
        case Choice(words=words) | Either(first=Choice(words=words)):
            return word(text, words)
        case Many(item=item):
            return [] if text == NOTHING else [value(item, part) for part in parts(text)]
        case _:
            return text


def dimension_of(reader: Reader | None) -> units.Dimension | None:
    """What kind of quantity is said there; None where it is none."""
    match reader:
        case Quantity(dimension=dimension) | OneOrSpan(one=Quantity(dimension=dimension)):
            return dimension
        case Either(second=Quantity(dimension=dimension)):
            return dimension
        case _:
            return None


def parts(text: str) -> tuple[str, ...]:
    """What a text lists."""
    return tuple(stripped for part in _BETWEEN_PARTS.split(text) if (stripped := part.strip()))


def span(text: str) -> str:
    """A range as sheets print it, with its unit at both ends: "270-290 °F" is "270 °F to 290 °F"; other texts stay."""
    match = _SPAN.fullmatch(text)
    return TO.join(" ".join(filter(None, (end, match[3]))) for end in match.group(1, 2)) if match else text


def of_each_end(reader: Reader, text: str, change: Callable[[str], str]) -> str:
    """A quantity with each of its ends changed: of least and most where ``reader`` takes them, else the one."""
    return TO.join(map(change, span(text).split(TO))) if isinstance(reader, OneOrSpan) else change(text)


def flag(text: str) -> bool:
    """Yes or no, in the words that people use. Raises TypedError."""
    word = text.casefold()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise TypedError(f"has to be yes or no, not “{text}”")


def number(text: str, *, whole: bool) -> int | float:
    """A number, with a decimal point or comma; an int wherever it is whole. Raises TypedError."""
    if _THOUSANDS.fullmatch(text):
        raise TypedError(f"has to be a number without a mark between its thousands, not “{text}”")
    if not (_WHOLE if whole else _DECIMAL).fullmatch(text):
        raise TypedError(f"has to be a {'whole ' if whole else ''}number, not “{text}”")
    read = float(text.replace(",", "."))
    return int(read) if read.is_integer() else read


def word(text: str, words: Collection[str]) -> str:
    """The one of these words that was typed or meant, whatever its case and spaces; the text itself where none was."""
    typed = as_word(text)
    return next((one for one in (typed, _SAID.get(typed, typed)) if one in words), text)


def shares(text: str) -> dict[str, int | float]:
    """Percent by fibre: "50 % cotton 50 % polyester", "CO 95, EL 5", "60/40 CO/PES".

    A fibre alone is all of it. Raises TypedError.
    """
    # The patterns look back and forth, so a long text would take them long.
    text = " ".join(text.split())
    if len(text) > _SHARES_MOST:
        raise TypedError(f"has to say the percent of each fibre in no more than {_SHARES_MOST} characters")
    if _ONE_FIBRE.fullmatch(text):
        return {text: 100}
    pairs = _numbers_first(text) or _pairs(text)
    names = [name for name, _ in pairs]
    if not pairs or len(set(names)) != len(names):
        raise TypedError(f"has to say the percent of each fibre, as “60 % cotton 40 % polyester”, not “{text}”")
    return {name: number(share, whole=False) for name, share in pairs}


def _numbers_first(text: str) -> list[tuple[str, str]]:
    match = _SHARES_FIRST.fullmatch(text)
    if match is None:
        return []
    parts = [share.strip(" %") for share in match.group(1).split("/")]
    names = [name.strip() for name in re.split(r"[/,;+&-]", match.group(2))]
    return list(zip(names, parts, strict=True)) if len(names) == len(parts) and all(names) else []


def _pairs(text: str) -> list[tuple[str, str]]:
    starts_with_number = text[0].isdecimal()
    shape = _SHARE if starts_with_number else _SHARE_BEHIND
    if _BETWEEN_SHARES.fullmatch(shape.sub(" ", text)) is None:
        return []
    order = (1, 0) if starts_with_number else (0, 1)
    found = [match.groups() for match in shape.finditer(text)]
    return [(_AND.sub("", groups[order[0]]).strip(), groups[order[1]]) for groups in found]
