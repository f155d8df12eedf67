"""The vocabulary of facts: what rules may talk about, each declared once, beside the function that works it out.

A fact has a name (``item.polyester_share``), a type, a scope, and what holds when the order leaves it out: it is
asked for (a *need*), assumed (a stated value, listed in the answer), or simply follows from other facts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units


class Scope(Enum):
    """What has to be settled before a fact can be worked out; each scope sees the facts of those before it."""

    ORDER = "order"  # the item, its use, the shop
    DECORATION = "decoration"  # one decoration with its transfer
    PRESSING = "pressing"  # one decoration on one press with settings

    def __init__(self, _word: str) -> None:
        self.rank = len(type(self).__members__)  # 0 for the widest


class Kind(Enum):
    BOOL = "true/false"
    NUMBER = "number"
    ENUM = "one of"
    SET = "set of"
    TEXT = "text"  # for sentences only; conditions may not compare it
    DATA = "data"  # for other facts only; neither conditions nor sentences see it


@dataclass(frozen=True, slots=True)
class FactType:
    """``dimension`` for numbers; ``domain`` for enums and sets: allowed words, or the book's kind of entry."""

    kind: Kind
    dimension: units.Dimension | None = None
    domain: tuple[str, ...] | str = ()


BOOL = FactType(Kind.BOOL)
TEXT = FactType(Kind.TEXT)
DATA = FactType(Kind.DATA)


def number(dimension: units.Dimension) -> FactType:
    return FactType(Kind.NUMBER, dimension)


def one_of(domain: tuple[str, ...] | str) -> FactType:
    return FactType(Kind.ENUM, None, domain)


def set_of(domain: tuple[str, ...] | str) -> FactType:
    return FactType(Kind.SET, None, domain)


@dataclass(frozen=True, slots=True)
class Ask:
    """The order must say it if it can decide: where (``{i}`` is the decoration's index), and the question.

    ``of_blocks``: asked only where a block hangs on it, since no usual rule needs it said.
    """

    pointer: str
    question: str
    of_blocks: bool = False


@dataclass(frozen=True, slots=True)
class Assume:
    """What holds when the order does not say: the value, and why that is the sensible reading.

    A callable value is given the case. If it answers None, nothing sensible can be assumed of this piece, and
    ``question`` is asked. A callable ``why`` is given the case too, where the reason hangs on what else is said.
    """

    pointer: str
    value: Any
    why: str | Callable[[Any], str]
    question: str = ""

    def holds(self, case: Any) -> Any:
        """What is assumed; None where nothing can be."""
        return self.value(case) if callable(self.value) else self.value

    def reason(self, case: Any) -> str:
        return self.why if isinstance(self.why, str) else self.why(case)


@dataclass(frozen=True, slots=True)
class Fact:
    name: str
    type: FactType
    scope: Scope
    about: str
    compute: Callable[[Any], Any]
    missing: Ask | Assume | None
    rank: int  # its scope's, at hand because it is read with every fact
    of_press: bool  # of a press, whatever is pressed on it
    settled: bool  # of a decoration on a press, whatever the settings


# Parts of the pressing scope that look at neither settings nor sequence, and one that looks at the press alone.
_SETTLED = ("fit", "window")
_OF_PRESS = "press"


_declared: dict[str, Fact] = {}


def fact(
    name: str, type_: FactType, scope: Scope, missing: Ask | Assume | None = None
) -> Callable[[Callable[[Any], Any]], Callable[[Any], Any]]:
    """Declare a fact: the decorated function takes a ``derive.case.Case`` and answers the value, None if unknown."""

    def declare(compute: Callable[[Any], Any]) -> Callable[[Any], Any]:
        if name in _declared:
            raise ValueError(f"fact {name} is declared twice")
        about = " ".join((compute.__doc__ or "").split())
        if not about:
            raise ValueError(f"fact {name} has no docstring")
        part = name.split(".")[0] if scope is Scope.PRESSING else ""
        _declared[name] = Fact(
            name, type_, scope, about, compute, missing, scope.rank, part == _OF_PRESS, part in _SETTLED
        )
        return compute

    return declare


def declared() -> Mapping[str, Fact]:
    """All facts by name. Importing ``accord_rules.derive`` declares them."""
    return MappingProxyType(_declared)
