"""A condition as people read it: a line for each thing that has to hold, and what joins them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents.answers import INTEGER, STRING, STRING_OR_NULL, STRINGS
from accord_rules.documents.reading import Choice, required
from accord_rules.documents.writing import Documented
from accord_rules.revision.condition import (
    NEGATED,
    And,
    Compare,
    Contains,
    FactName,
    LimitName,
    Node,
    Not,
    Or,
    Truth,
    Within,
)
from accord_rules.revision.facts import declared
from accord_rules.revision.sentences import in_a_sentence

ALL, ANY, FACT = "all", "any", "fact"
# What facts are about, by the beginning of their names.
SUBJECTS: Mapping[str, str] = MappingProxyType(
    {
        "art": "artwork",
        "bounds": "what physics leaves",
        "fit": "piece on press",
        "ground": "what lies under the print",
        "heat": "estimated heat",
        "item": "piece",
        "job": "job",
        "layer": "layers",
        "market": "market",
        "migration": "dye migration",
        "order": "order",
        "place": "place of the print",
        "press": "press",
        "process": "other pressings",
        "sample": "sample",
        "sequence": "order of pressings",
        "set": "settings",
        "sheet": "maker's sheet",
        "shop": "shop",
        "transfer": "transfer",
        "use": "use",
        "window": "window",
    }
)
_SIGNS: Mapping[str, str] = MappingProxyType(
    {"==": "", "!=": "not ", "<": "less than ", "<=": "at most ", ">": "more than ", ">=": "at least "}
)
_NOTHING = "none"
_PART_LEAST = 3  # words


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionLine(Documented):
    """One line of a condition: a fact with what it has to be, or what joins the deeper lines that follow it."""

    depth: int = required(INTEGER, "how deep it lies; what a joining line joins lies one deeper")
    says: str = required(
        Choice((ALL, ANY, FACT)), "fact, or of the deeper lines that follow: all have to hold, or any one of them"
    )
    about: str = required(STRING, "what the fact belongs to, such as piece or press; empty for a joining line")
    fact: str = required(STRING, "what the fact is, in a few words; empty for a joining line")
    value: str = required(STRING, "what it has to be; without its number where limit or other stand for that")
    limit: str | None = required(STRING_OR_NULL, "id of the limit whose value goes behind it; may be null")
    other: str | None = required(STRING_OR_NULL, "what the other fact is that it is compared with; may be null")
    facts: tuple[str, ...] = required(STRINGS, "ids of the facts")


def lines_of(tree: Node, catalogue: Mapping[str, Mapping[str, Any]]) -> tuple[ConditionLine, ...]:
    """A condition line by line; ids of the catalogue's entries are told by their titles."""
    return tuple(_lines(tree, 0, True, catalogue))


def _lines(node: Node, depth: int, wanted: bool, catalogue: Mapping[str, Mapping[str, Any]]) -> Iterator[ConditionLine]:
    match node:
        case Not(part=part):
            yield from _lines(part, depth, not wanted, catalogue)
        case And() | Or():
            parts = tuple(_joined(node))
            # What is not all is any one not, and the other way round (De Morgan's laws hold for Kleene's logic).
            says = ALL if isinstance(node, And) is wanted else ANY
            if parts:
                yield ConditionLine(
                    depth=depth, says=says, about="", fact="", value="", limit=None, other=None, facts=()
                )
            for part in parts:
                yield from _lines(part, depth + 1, wanted, catalogue)
        case Truth(fact=fact, wanted=own):
            yield _line(depth, fact, "yes" if own is wanted else "no")
        case Compare(left=left, op=op, right=right):
            yield _comparison(depth, left, op if wanted else NEGATED[op], right, catalogue)
        case Within(fact=fact, words=words, inside=inside):
            told = _listed([_title(fact, word, catalogue) for word in words])
            yield _line(depth, fact, told if inside is wanted else f"none of {told}")
        case Contains(fact=fact, word=word, inside=inside):
            told = _title(fact, word, catalogue)
            yield _line(depth, fact, f"{told} among them" if inside is wanted else f"no {told} among them")


def _joined(node: And | Or) -> Iterator[Node]:
    """The parts of a node, and of those of its kind within it, such as the two sides of ``20 <= share < 50``."""
    for part in node.parts:
        if isinstance(part, type(node)):
            yield from _joined(part)
        else:
            yield part


def _comparison(
    depth: int, left: FactName, op: str, right: FactName | LimitName | float | str, catalogue: Mapping[str, Any]
) -> ConditionLine:
    sign = _SIGNS[op]
    match right:
        case LimitName(name=name):
            return _line(depth, left, sign.strip() or "exactly", limit=name)
        case FactName():
            other = f"{_subject(right.name)}: {_short(right.name)}"
            return _line(depth, left, sign.strip() or "the same as", other=other, facts=(right.name,))
        case str():
            return _line(depth, left, f"{sign}{_title(left, right, catalogue)}")
    symbol = left.dimension.symbol if left.dimension is not None else ""
    return _line(depth, left, f"{sign}{right:g} {symbol}".rstrip())


def _line(
    depth: int,
    fact: FactName,
    value: str,
    *,
    limit: str | None = None,
    other: str | None = None,
    facts: tuple[str, ...] = (),
) -> ConditionLine:
    return ConditionLine(
        depth=depth,
        says=FACT,
        about=_subject(fact.name),
        fact=_short(fact.name),
        value=value,
        limit=limit,
        other=other,
        facts=(fact.name, *facts),
    )


def _title(fact: FactName, word: str, catalogue: Mapping[str, Mapping[str, Any]]) -> str:
    """What people call a word of a fact."""
    domain = declared()[fact.name].type.domain
    for kind in domain.split("|") if isinstance(domain, str) else ():
        entry = catalogue.get(kind, {}).get(word)
        if entry is not None:
            return in_a_sentence(str(getattr(entry, "title", None) or getattr(entry, "name", word)))
    return "nothing" if word == _NOTHING else word.replace("-", " ")


def _subject(name: str) -> str:
    beginning = name.partition(".")[0]
    return SUBJECTS.get(beginning, beginning)


def _short(name: str) -> str:
    """What a fact is, in the first clause of its description."""
    about = declared()[name].about
    asks = about.startswith("Whether ")
    clause = re.split(r"[.:;] |[.:;]$| \(", about.removeprefix("Whether "))[0]
    if asks:
        return clause
    return in_a_sentence(_first_part(clause))


def _first_part(clause: str) -> str:
    """A clause up to its first comma that does not part a list of words."""
    parts = clause.split(", ")
    for count in range(1, len(parts)):
        if len(parts[count - 1].split()) >= _PART_LEAST:
            return ", ".join(parts[:count])
    return clause


def _listed(words: Sequence[str]) -> str:
    *rest, last = words
    return f"{', '.join(rest)} or {last}" if rest else last
