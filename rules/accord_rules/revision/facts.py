"""The vocabulary of facts: what rules may talk about, each declared once, beside the function that works it out.

A fact has a name (``item.polyester_share``), a type, a scope, what holds when the order leaves it out (it is asked for,
a *need*; or assumed, a stated value that the answer lists; or it simply follows from other facts), and what it reads.
What it reads are the parameters of its function, so that a test needs nothing but values:

    @fact("window.exists", BOOL, PRESSING)
    def exists(low_c: float = read("window.low_c"), high_c: float = read("window.high_c")) -> bool:
        \"\"\"Whether any surface temperature is allowed at all.\"\"\"
        return high_c >= low_c

``derive.graph`` checks the declarations and says what follows from them. Nothing follows from how a name is spelt.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from accord_rules.documents import units

Function = TypeVar("Function", bound=Callable[..., Any])


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


# -- what a fact reads -----------------------------------------------------------------------------------------------


class Of(Enum):
    """What a read is of."""

    FACT = "fact"
    SOURCE = "source"  # a field of order, shop, press, settings or sequence: derive.sources
    LIMIT = "limit"  # a limit of the book
    ENTRIES = "entries"  # all entries of one kind in the book


class How(Enum):
    """What an unknown comes to, and when the read is made."""

    KNOWN = "known"  # unknown in, unknown out: the function never sees None
    MAYBE = "maybe"  # the function sees None
    LATER = "later"  # the function is given a call, and makes the read where it needs it


@dataclass(frozen=True, slots=True)
class Read:
    """One parameter of a fact's function: what it is given. ``names`` are several for limits alone.

    ``absent`` is what a source of settings or sequence is while there are none; without one the fact is unknown then.
    """

    of: Of
    names: tuple[str, ...]
    how: How = How.KNOWN
    absent: Any = ...


def read(fact_name: str) -> Any:
    """The value of a fact; the fact that reads it is unknown while it is."""
    return Read(Of.FACT, (fact_name,))


def maybe(fact_name: str) -> Any:
    """The value of a fact, or None while it is unknown."""
    return Read(Of.FACT, (fact_name,), How.MAYBE)


def later(fact_name: str) -> Any:
    """A call that gives the value of a fact: for what is dear, or decides only sometimes."""
    return Read(Of.FACT, (fact_name,), How.LATER)


def source(name: str, **absent: Any) -> Any:
    """A field by its name in ``derive.sources``; None where it is not said."""
    return Read(Of.SOURCE, (name,), How.MAYBE, **absent)


def limit(name: str) -> Any:
    """The value of a limit of the book."""
    return Read(Of.LIMIT, (name,))


def limits(*names: str) -> Any:
    """The values of several limits by their names, where the fact picks one."""
    return Read(Of.LIMIT, names)


def entries(kind: str) -> Any:
    """All entries of one kind in the book, by name."""
    return Read(Of.ENTRIES, (kind,))


# -- what holds when nobody says it ----------------------------------------------------------------------------------


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

    A value, and a reason, that hang on what else is said are functions with reads as parameters, as a fact has. If the
    value's answers None, nothing sensible can be assumed of this piece, and ``question`` is asked. ``taken`` says as a
    clause what is taken to hold, ``{shown}`` being the value, for a reader whom it could hurt if it does not.
    ``strict``: the value is the one that the rules are strictest with, so that to assume it hurts nobody.
    """

    pointer: str
    value: Any
    why: str | Callable[..., str]
    question: str = ""
    taken: str = ""
    strict: bool = False


# -- declaring -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact as declared.

    ``blamed``: facts that say why this one is unknown although it does not hang on them. ``warmed``: more heat for
    longer makes it false, if anything does. ``place``: file and line of its function.
    """

    name: str
    type: FactType
    scope: Scope
    about: str
    missing: Ask | Assume | None
    function: Callable[..., Any]
    reads: Mapping[str, Read]  # by parameter
    blamed: tuple[str, ...]
    warmed: bool
    place: str

    @property
    def rank(self) -> int:
        return self.scope.rank


@dataclass(frozen=True, slots=True)
class Register:
    """Facts as they are declared, and what is wrong with how they are."""

    facts: dict[str, Fact] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def fact(
        self,
        name: str,
        type_: FactType,
        scope: Scope,
        missing: Ask | Assume | None = None,
        *,
        blamed: tuple[str, ...] = (),
        warmed: bool = False,
        about: str = "",
    ) -> Callable[[Function], Function]:
        """Declare a fact: the decorated function's parameters are what it reads; it answers None for unknown.

        ``about``: its description, where one function's making serves several facts; else the docstring is.
        """

        def declare(function: Function) -> Function:
            described = " ".join((about or function.__doc__ or "").split())
            place = place_of(function)
            where = f"{place}: fact {name}"
            if not described:
                self.faults.append(f"{where}: has no docstring")
            if name in self.facts:
                self.faults.append(f"{where}: is declared at {self.facts[name].place} already")
            self.faults.extend(f"{where}: {why}" for why in _unsaid(function))
            for assuming in assuming_of(missing):
                self.faults.extend(f"{place_of(assuming)}: fact {name}: {why}" for why in _unsaid(assuming))
            reads = reads_of(function)
            self.facts[name] = Fact(
                name=name,
                type=type_,
                scope=scope,
                about=described,
                missing=missing,
                function=function,
                reads=reads,
                blamed=blamed,
                warmed=warmed,
                place=place,
            )
            return function

        return declare


def reads_of(function: Callable[..., Any]) -> Mapping[str, Read]:
    """What a function's parameters say that it reads, by parameter."""
    defaults = {name: parameter.default for name, parameter in inspect.signature(function).parameters.items()}
    return MappingProxyType({name: default for name, default in defaults.items() if isinstance(default, Read)})


def _unsaid(function: Callable[..., Any]) -> list[str]:
    """The parameters of a function that do not say what they read."""
    reads = reads_of(function)
    names = [name for name in inspect.signature(function).parameters if name not in reads]
    return [f"parameter {name} does not say what it reads" for name in names]


def assuming_of(missing: Ask | Assume | None) -> tuple[Callable[..., Any], ...]:
    """The functions that say what is assumed for an unsaid fact, and why."""
    return tuple(filter(callable, (missing.value, missing.why))) if isinstance(missing, Assume) else ()


def place_of(function: Callable[..., Any]) -> str:
    """File and line of a function, as from the package: "derive/window.py:57"."""
    code = function.__code__
    path = Path(code.co_filename)
    root = Path(__file__).parents[1]
    return f"{path.relative_to(root).as_posix() if path.is_relative_to(root) else path.name}:{code.co_firstlineno}"


SHIPPED = Register()
fact = SHIPPED.fact


def declared() -> Mapping[str, Fact]:
    """All facts by name. Importing ``accord_rules.derive`` declares them."""
    return MappingProxyType(SHIPPED.facts)
