"""Holding facts to the types they declare, over what they answer for the examples of a book."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from accord_rules.derive.case import Case, FactError
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.sources import ARRANGED, CHOICE
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Fact, Kind

# The facts that the search for settings and for the order of pressings looks at.
_FOUND_FROM = tuple(
    sorted(GRAPH.facts.keys() & {*ARRANGED, *(name for reads in CHOICE.values() for name in reads), "job.total_s"})
)


class WrongAnswerError(RuntimeError):
    """Facts whose answers are of another type than they declare: nothing can be asked, or found, from them."""


class Answers:
    """Looks at every answer that was worked out for a case, and sees to it that each fact is met at least once.

    A fact that no case has made known so far is worked out for the next one: few are left after the first cases, so
    that trying a book takes hardly longer.
    """

    def __init__(self, book: Book) -> None:
        self._vocabulary = book.vocabulary
        self._typed = {name: fact for name, fact in GRAPH.facts.items() if fact.type.kind is not Kind.DATA}
        self._unmet = set(self._typed)
        # By fact and class: the answers True and 1.0 are equal, and not of one type.
        self._right: dict[str, dict[type, set[Any]]] = {name: {} for name in self._typed}
        self._wrong: dict[str, str] = {}

    @property
    def faults(self) -> tuple[str, ...]:
        """One a fact, with its file and line."""
        return tuple(self._wrong.values())

    def look_at(self, case: Case) -> None:
        """Raises FactError where a fact's function fails."""
        for name in sorted(self._unmet):
            if self._typed[name].rank <= case.scope.rank and case[name] is not None:
                self._unmet.discard(name)
        self._hold_all(case.known)

    def fails(self, error: FactError) -> None:
        """Take down that a fact's function fails, unless it is another fact's answer that makes it fail."""
        self._hold_all(error.known)
        if GRAPH.upstream[error.fact.name].isdisjoint(self._wrong):
            self._wrong.setdefault(error.fact.name, str(error))

    def look_before_choice(self, case: Case) -> None:
        """Look at what settings and the order of pressings are found from: the search would fail of it, and name no
        fact. Raises FactError, WrongAnswerError."""
        case.facts(_FOUND_FROM)
        self._hold_all(case.known)
        self.refuse_wrong(case.known)

    def refuse_wrong(self, names: Iterable[str]) -> None:
        """Raises WrongAnswerError where one of these facts has answered wrongly."""
        wrong = [self._wrong[name] for name in sorted(names) if name in self._wrong]
        if wrong:
            raise WrongAnswerError("; ".join(wrong))

    def _hold_all(self, known: Mapping[str, Any]) -> None:
        for name, value in tuple(known.items()):
            if value is None or (right := self._right.get(name)) is None:
                continue
            seen = right.get(value.__class__)
            if seen is None or value not in seen:
                self._hold(self._typed[name], value)

    def _hold(self, fact: Fact, value: Any) -> None:
        if self._is_of(fact, value):
            if not isinstance(value, tuple):
                self._right[fact.name].setdefault(value.__class__, set()).add(value)
        else:
            self._wrong.setdefault(
                fact.name, f"{fact.place}: fact {fact.name}: answers {value!r}, which is not {fact.type.kind.value}"
            )

    def _is_of(self, fact: Fact, value: Any) -> bool:
        match fact.type.kind:
            case Kind.BOOL:
                return isinstance(value, bool)
            case Kind.NUMBER:
                return isinstance(value, (int, float)) and not isinstance(value, bool) and value == value
            case Kind.TEXT:
                return isinstance(value, str)
            case Kind.ENUM:
                return isinstance(value, str) and value in self._vocabulary.words(fact.type)
            case Kind.SET:
                words = self._vocabulary.words(fact.type)
                return isinstance(value, tuple) and all(isinstance(word, str) and word in words for word in value)
        return True
