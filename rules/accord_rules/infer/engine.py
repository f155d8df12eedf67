"""The engine: the rules as a durable-rules network. The only file that knows durable-rules.

durable-rules 2.0.28 is used through its C functions and within a narrow subset, since its documented way crashes in
ordinary use (a session in which nothing fired is freed from uninitialised memory) and freezes or answers wrongly
outside the subset. What keeps us inside:

- **Nothing from outside reaches it.** Each fact's value is put into one of a few classes that some rule can tell
  apart, and the record the engine reads is joined from pieces made when the rules are compiled. So there are no
  odd floats, huge integers, quotes or nulls, and names are ours, checked for hash collisions.
- **Words and plain numbers** are compared by the engine: a number as its rank among the literals it is compared
  with, which keeps every comparison exactly as it was. A comparison with a limit or with another fact, and
  membership, enters as true or false, so limits are not in the network and one network serves every shop.
- **Unknown facts are not sent**, and no test is true of what was not sent.
- **Sessions are made once** and warmed by firing a rule in them; each question asserts one fact and retracts it. So an
  answer hangs on the record alone, and may be remembered by it, until somebody says that it was wrong (``forget``).
- **Networks are kept small enough**: the engine walks with a stack of 64 places for all pending matches together,
  so the deepest possible stack is bounded when the rules are compiled, and rules are split over several networks
  where it could overflow.

Threads may share an engine: each question takes a slot of its own. After a fork both sides may go on, provided no
question was being answered when the process forked (a preloading server forks before it serves). Close an engine
that is no longer used, since the C side is freed by nothing else.
"""

from __future__ import annotations

import itertools
import json
import operator
import os
import pickle
import signal
import subprocess
import sys
import threading
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue
from types import MappingProxyType, TracebackType
from typing import Any

import durable_rules_engine as durable

from accord_rules.infer.compiled import Facts, Limits
from accord_rules.infer.judge import Judge
from accord_rules.infer.ledger import HOUSE, RECORD, UNNAMED, WALK, Account, Ledger, Network
from accord_rules.revision.condition import (
    NEGATED,
    Atom,
    Compare,
    Condition,
    Contains,
    FactName,
    LimitName,
    Truth,
    Within,
    facts_of,
)
from accord_rules.revision.facts import FactType

# The engine's own limits are 64, 511, 255 and 256; what is left over is for its own entries.
MOST_PENDING = 60
MOST_CHILDREN = 400
MOST_ATTRIBUTES = 240
MOST_IDENTICAL = 250
MOST_RULES = 1000
# So many words of one fact are kept with their text; a book has fewer.
MOST_WORDS = 1000
# So many values of a number are kept with their text, for each of so many shops' limits.
MOST_VALUES, MOST_LIMITS = 400, 8
# A slot is held for some ten microseconds: waiting this long means it was lost.
WAIT_S = 5.0
RESERVED = ("id", "sid", "k_", "warm_", "$s", "$forward", "$i")


class EngineError(RuntimeError):
    """The engine could not answer; the judge can. ``network``: which one failed; empty where none was reached."""

    def __init__(self, reason: str, network: str = "") -> None:
        super().__init__(reason)
        self.network = network


# --- what the engine compares: attributes and tests on them ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _WordOf:
    """An enum fact's word; every word that no rule names is one class, sent as ``other``."""

    fact: str
    words: tuple[str, ...]
    other: str


@dataclass(frozen=True, slots=True)
class _RankOf:
    """A number fact's rank among the literals: 0 below the first, 1 equal to it, 2 between first and second ..."""

    fact: str
    literals: tuple[float, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Attribute:
    """One property of the record: what it says (an atom: whether it holds) and its value for each class."""

    name: str
    subject: _WordOf | _RankOf | Atom
    values: tuple[str | int | bool, ...]

    def pieces(self, sent: frozenset[int]) -> tuple[str, ...]:
        """The text that each class adds to the record: none where no test would be true of it."""
        return tuple(
            f"{json.dumps(self.name)}:{json.dumps(value)}," if place in sent else ""
            for place, value in enumerate(self.values)
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Test:
    """One condition of an engine rule, and the classes of its attribute for which it is true."""

    attribute: _Attribute
    sign: str
    value: str | int | bool
    holds: frozenset[int]

    def rule_part(self) -> dict[str, Any]:
        pair = {self.attribute.name: self.value}
        return pair if self.sign == "==" else {_SIGNS[self.sign]: pair}


COMPARE: Mapping[str, Callable[[Any, Any], Any]] = MappingProxyType(
    {
        "==": operator.eq,
        "!=": operator.ne,
        "<": operator.lt,
        "<=": operator.le,
        ">": operator.gt,
        ">=": operator.ge,
    }
)
_SIGNS: Mapping[str, str] = MappingProxyType({"!=": "$neq", "<": "$lt", "<=": "$lte", ">": "$gt", ">=": "$gte"})


def fnv(name: str) -> int:
    """32-bit FNV-1a over signed bytes: all that the engine keeps of a property's name."""
    value = 2166136261
    for byte in name.encode():
        value = ((value ^ (byte if byte < 128 else byte | 0xFFFFFF00)) * 16777619) & 0xFFFFFFFF
    return value


def property_names(reserved: Iterable[str] = RESERVED) -> Iterator[str]:
    """Short property names for ever, none with the hash of another or of a reserved one."""
    taken = {fnv(name) for name in reserved}
    for place in itertools.count():
        name = f"a{place}"
        if fnv(name) not in taken:
            taken.add(fnv(name))
            yield name


# Every sign is one of these or the opposite of one, so that a comparison and its opposite share an attribute.
_BASE = ("<", "<=", "==")


class _Compiler:
    """Gives every atom of the rules its test; equal atoms share one."""

    def __init__(self, atoms: Collection[Atom]) -> None:
        literals: dict[str, set[float]] = {}
        words: dict[str, set[str]] = {}
        for atom in atoms:
            match atom:
                case Compare(FactName(name=fact), _, float(number)):
                    literals.setdefault(fact, set()).add(number)
                case Compare(FactName(name=fact), _, str(word)):
                    words.setdefault(fact, set()).add(word)
        self._literals = {fact: tuple(sorted(values)) for fact, values in literals.items()}
        self._words = {fact: tuple(sorted(values)) for fact, values in words.items()}
        self._names = property_names()
        self._attributes: dict[_WordOf | _RankOf | Atom, _Attribute] = {}
        self.tests = {atom: self._compile(atom) for atom in atoms}

    def _compile(self, atom: Atom) -> _Test:
        match atom:
            case Compare(FactName(name=fact), sign, str(word)):
                words = self._words[fact]
                any_other = next(name for name in ("~" * n for n in itertools.count(1)) if name not in words)
                return self._test(_WordOf(fact, words, any_other), (*words, any_other), sign, word)
            case Compare(FactName(name=fact), sign, float(number)):
                literals = self._literals[fact]
                rank = 2 * literals.index(number) + 1
                return self._test(_RankOf(fact, literals), tuple(range(2 * len(literals) + 1)), sign, rank)
            case Compare(left, sign, right):
                base = sign if sign in _BASE else NEGATED[sign]
                return self._test(Compare(left, base, right), (False, True), "==", base == sign)
            case Truth(fact, wanted):
                return self._test(Truth(fact), (False, True), "==", wanted)
            case Within(fact, words, inside):
                return self._test(Within(fact, tuple(sorted(words))), (False, True), "==", inside)
            case Contains(fact, word, inside):
                return self._test(Contains(fact, word), (False, True), "==", inside)

    def _test(
        self,
        subject: _WordOf | _RankOf | Atom,
        values: tuple[str | int | bool, ...],
        sign: str,
        value: str | int | bool,
    ) -> _Test:
        attribute = self._attributes.get(subject)
        if attribute is None:
            attribute = self._attributes[subject] = _Attribute(next(self._names), subject, values)
        compare = COMPARE[sign]
        return _Test(attribute, sign, value, frozenset(n for n, item in enumerate(values) if compare(item, value)))


# --- keeping networks within what the engine can bear ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Rule:
    """One branch of a rule: all its tests must hold. ``place`` is the rule's place in the book's order."""

    place: int
    tests: tuple[_Test, ...]


def compile_rules(rules: Mapping[str, Condition]) -> tuple[_Rule, ...]:
    """Every branch of every rule, its tests in one order throughout, so that branches share their beginnings."""
    branches = [(place, branch) for place, condition in enumerate(rules.values()) for branch in condition.branches]
    uses = Counter(atom for _, branch in branches for atom in branch)
    tests = _Compiler(uses).tests
    # Words first: they tell apart best, and only one of them can hold. Then what most rules ask.
    order = sorted(uses, key=lambda atom: (not _is_word(tests[atom]), -uses[atom], str(atom)))
    rank = {id(tests[atom]): place for place, atom in enumerate(order)}
    compiled = [
        _Rule(place, tuple(sorted((tests[atom] for atom in branch), key=lambda test: rank[id(test)])))
        for place, branch in branches
    ]
    return tuple(sorted(compiled, key=lambda rule: [rank[id(test)] for test in rule.tests]))


def _is_word(test: _Test) -> bool:
    return test.sign == "==" and isinstance(test.attribute.subject, _WordOf)


@dataclass(slots=True, eq=False)
class _Prefix:
    """The tests that follow one beginning, as the engine will share them."""

    children: dict[_Test, _Prefix] = field(default_factory=dict)
    rules: int = 0
    pending: int = 0

    def measure(self) -> None:
        """Bound the matches that can wait on the engine's stack while it walks from here, whatever the record.

        All children that hold go on the stack together; the walk then goes on from the last, over the others.
        """
        if self.children:
            together = sum(most_together(tests) for tests in _by_attribute(self.children).values())
            self.pending = together - 1 + max(1, *(child.pending for child in self.children.values()))


def _by_attribute(tests: Iterable[_Test]) -> dict[_Attribute, list[_Test]]:
    grouped: dict[_Attribute, list[_Test]] = {}
    for test in tests:
        grouped.setdefault(test.attribute, []).append(test)
    return grouped


def most_together(tests: Iterable[_Test]) -> int:
    """How many of these tests on one attribute can be true of one value."""
    return max(Counter(place for test in tests for place in test.holds).values(), default=0)


def _tree(rules: Iterable[_Rule]) -> list[_Prefix]:
    """All nodes, parents before children, measured."""
    nodes = [_Prefix()]
    for rule in rules:
        node = nodes[0]
        for test in rule.tests:
            if test not in node.children:
                node.children[test] = _Prefix()
                nodes.append(node.children[test])
            node = node.children[test]
        node.rules += 1
    for node in reversed(nodes):
        node.measure()
    return nodes


def too_much(rules: Sequence[_Rule]) -> str | None:
    """Why one network cannot hold these rules, or None."""
    nodes = _tree(rules)
    measures = (
        ("rules", len(rules), MOST_RULES),
        ("facts and comparisons", len({test.attribute for rule in rules for test in rule.tests}), MOST_ATTRIBUTES),
        ("tests after the same beginning", max(len(node.children) for node in nodes), MOST_CHILDREN),
        ("rules with the same condition", max(node.rules for node in nodes), MOST_IDENTICAL),
        ("tests that may hold at once", nodes[0].pending, MOST_PENDING),
    )
    return next((f"{count} {what} (most is {most})" for what, count, most in measures if count > most), None)


def split(rules: Sequence[_Rule]) -> list[Sequence[_Rule]]:
    """The fewest equal runs of rules that one network each can hold; neighbours share their beginnings."""
    for rule in rules:
        reason = too_much([rule])
        if reason:
            raise EngineError(f"a rule cannot be loaded: {reason}")
    for count in range(1, len(rules) + 1):
        size = -(-len(rules) // count)
        runs = [rules[start : start + size] for start in range(0, len(rules), size)]
        if not any(too_much(run) for run in runs):
            return runs
    return []


# --- the record of one question ----------------------------------------------------------------------------------


class _Pieces(dict[Any, str]):
    """A fact's text in the record by its value; a word that no rule names has the text of all such words."""

    def __init__(self, fact: str, pieces: Mapping[Any, str], other: str | None) -> None:
        super().__init__(pieces)
        self._fact = fact
        self._other = other

    def __missing__(self, value: Any) -> str:
        if self._other is None or not isinstance(value, str):
            raise EngineError(f"{self._fact} has a value of the wrong type: {type(value).__name__}")
        if len(self) < MOST_WORDS:
            self[value] = self._other
        return self._other


_Subject = _WordOf | _RankOf | Atom
# The texts of sets by what is in them.
_Told = dict[Collection[Any], str]
# Facts with the texts of the values they have had.
_Written = list[tuple[str, dict[Any, str]]]
# What a fact is compared with here: the comparison, with what, and the text where it is false and where it is true.
_Worked = tuple[Callable[[Any, Any], Any], str, str, str]


class _Record:
    """Writes the facts that a network's rules ask about as the engine reads them, from ready-made pieces."""

    def __init__(self, rules: Iterable[_Rule]) -> None:
        grouped = _by_attribute(dict.fromkeys(test for rule in rules for test in rule.tests))
        sent = [
            (attribute.subject, attribute.pieces(frozenset().union(*(test.holds for test in tests))))
            for attribute, tests in grouped.items()
        ]
        valued = _valued(sent)
        self._valued = tuple(fact for fact, _ in valued)
        self._texts = tuple(pieces for _, pieces in valued)
        self._ranked = {number[0]: number for number in _ranked(sent)}
        self._pairs: list[tuple[str, Callable[[Any, Any], Any], str, str, str]] = []
        contained: dict[str, list[tuple[str, str, str]]] = {}
        for subject, pieces in sent:
            match subject:
                case Compare(FactName(name=left), sign, FactName(name=right)):
                    self._pairs.append((left, COMPARE[sign], right, pieces[0], pieces[1]))
                case Contains(FactName(name=fact), word, _):
                    contained.setdefault(fact, []).append((word, pieces[0], pieces[1]))
        self._contained = tuple((fact, tuple(words), _Told()) for fact, words in contained.items())
        self._written: dict[int, tuple[Limits, _Written]] = {}

    def write(self, facts: Facts, limits: Limits) -> str:
        """The record without its braces; empty where no test of the network can hold. ``limits`` must never change."""
        value_of = facts.get
        parts = list(map(operator.getitem, self._texts, map(value_of, self._valued)))
        for fact, written in self._written_under(limits):
            value = value_of(fact)
            if value is None:
                continue
            text = written.get(value)
            if text is None:
                if len(written) >= MOST_VALUES:
                    written.clear()
                text = written[value] = self._text(fact, value, limits)
            parts.append(text)
        for left, compare, right, no, yes in self._pairs:
            number, bound = value_of(left), value_of(right)
            if number is not None and bound is not None and number == number and bound == bound:
                parts.append(yes if compare(number, bound) else no)
        for fact, words, told in self._contained:
            value = value_of(fact)
            if value is None:
                continue
            said = value if type(value) is frozenset else tuple(value)
            text = told.get(said)
            if text is None:
                if len(told) >= MOST_VALUES:
                    told.clear()
                text = told[said] = "".join([yes if word in said else no for word, no, yes in words])
            parts.append(text)
        return "".join(parts)

    def _written_under(self, limits: Limits) -> _Written:
        """The texts of numbers by their values, which hang on the limits and on nothing else."""
        texts = self._written.get(id(limits))
        if texts is None:
            if len(self._written) >= MOST_LIMITS:
                self._written.clear()
            # The limits stay here, so that no others can come to have their id.
            texts = self._written[id(limits)] = (limits, [(fact, {}) for fact in self._ranked])
        return texts[1]

    def _text(self, fact: str, value: Any, limits: Limits) -> str:
        # NaN is unequal to itself, and not known.
        if value != value:
            return ""
        _, literals, count, pieces, worked = self._ranked[fact]
        text = ""
        if count:
            place = bisect_left(literals, value)
            text = pieces[2 * place + (place < count and literals[place] == value)]
        return text + "".join([yes if compare(value, limits[limit]) else no for compare, limit, no, yes in worked])


def _valued(sent: Sequence[tuple[_Subject, tuple[str, ...]]]) -> list[tuple[str, _Pieces]]:
    """Facts of which every value's text can be made now: true/false facts and enums."""
    named: dict[str, set[str]] = {}
    of_fact: dict[str, list[tuple[_WordOf | Within, tuple[str, ...]]]] = {}
    flags: dict[str, _Pieces] = {}
    for subject, pieces in sent:
        match subject:
            case _WordOf(fact, words, _) | Within(FactName(name=fact), words, _):
                named.setdefault(fact, set()).update(words)
                of_fact.setdefault(fact, []).append((subject, pieces))
            case Truth(FactName(name=fact), _):
                flags[fact] = _Pieces(fact, {None: "", False: pieces[0], True: pieces[1]}, None)
    enums = {
        fact: _Pieces(fact, {None: "", **{word: _of_word(word, told) for word in words}}, _of_word(None, told))
        for fact, words in named.items()
        for told in [of_fact[fact]]
    }
    return [*enums.items(), *flags.items()]


def _of_word(word: str | None, told: Sequence[tuple[_WordOf | Within, tuple[str, ...]]]) -> str:
    """Everything the record says of an enum fact with this word; None: a word that no rule names. ``told``: all that
    is sent of the fact."""
    text = ""
    for subject, pieces in told:
        match subject:
            case _WordOf(_, words, _):
                text += pieces[words.index(word) if word in words else -1]
            case Within(_, words, _):
                text += pieces[word in words]
    return text


_Ranked = tuple[str, tuple[float, ...], int, tuple[str, ...], tuple[_Worked, ...]]


def _ranked(sent: Sequence[tuple[_Subject, tuple[str, ...]]]) -> list[_Ranked]:
    """Number facts: their literals with the text for each rank, and their comparisons with limits."""
    literals: dict[str, tuple[tuple[float, ...], tuple[str, ...]]] = {}
    worked: dict[str, list[_Worked]] = {}
    for subject, pieces in sent:
        match subject:
            case _RankOf(fact, values):
                literals[fact] = (values, pieces)
            case Compare(FactName(name=fact), sign, LimitName(name=limit)):
                worked.setdefault(fact, []).append((COMPARE[sign], limit, pieces[0], pieces[1]))
    ranked = []
    for fact in dict.fromkeys((*literals, *worked)):
        values, pieces = literals.get(fact, ((), ()))
        ranked.append((fact, values, len(values), pieces, tuple(worked.get(fact, ()))))
    return ranked


# --- the network and the engine ----------------------------------------------------------------------------------

# What the engine says of a record: some rule's tests hold, or none does.
_TAKEN, _MATCHED_BY_NONE = 0, 1
# In place of a free slot's number, once there are none any more.
_CLOSED = -1


@dataclass(frozen=True, slots=True)
class _Slot:
    """A session of a network: its state's offset, the end of its record, and what retracts it."""

    sid: str
    offset: int
    tail: str
    key: str


class _Network:
    """One durable-rules ruleset with its warmed sessions. Its answer to a record hangs on nothing but the record."""

    def __init__(self, name: str, rules: Sequence[_Rule], slots: int, account: Account) -> None:
        self.name = name
        self.account = account
        self.places = frozenset(rule.place for rule in rules)
        self.record = _Record(rules)
        self._place = {str(number): rule.place for number, rule in enumerate(rules)}
        definition: dict[str, Any] = {
            str(number): {"all": [{"m": {"$and": [{"k_": "o"}, *(test.rule_part() for test in rule.tests)]}}]}
            for number, rule in enumerate(rules)
        }
        definition["warm"] = {"all": [{"m": {"warm_": 1}}]}
        try:
            self._handle = durable.create_ruleset("accord", json.dumps(definition))
            self._slots = [self._warmed(f"w{number}") for number in range(slots)]
        except durable.error as error:
            raise EngineError(f"the rules cannot be compiled: {error}") from error

    def _warmed(self, sid: str) -> _Slot:
        """A session in which a rule has fired once: only then is all of its memory initialised."""
        _, offset = durable.assert_fact(self._handle, f'{{"sid":"{sid}","id":"w","warm_":1}}')
        action = durable.start_action_for_state(self._handle, offset)
        while action:
            action = durable.complete_and_start_action(self._handle, offset)
        return _Slot(sid, offset, f'"k_":"o","sid":"{sid}","id":"o"}}', f'{{"sid":"{sid}","id":"o"}}')

    def fire(self, number: int, facts: Facts, limits: Limits) -> frozenset[int]:
        """The places of the rules that hold; the slot must be the caller's alone."""
        body = self.record.write(facts, limits)
        if not body:
            self.account.add(RECORD)
            return frozenset()
        fired = self._ask(number, body)
        self.account.add(WALK)
        return fired

    def _ask(self, number: int, body: str) -> frozenset[int]:
        slot, handle, place = self._slots[number], self._handle, self._place
        fired = set()
        try:
            code, _ = durable.assert_fact(handle, f"{{{body}{slot.tail}")
            if code == _TAKEN:
                offset, proceed = slot.offset, durable.complete_and_start_action
                started = durable.start_action_for_state(handle, offset)
                message = started and started[1]
                while message:
                    # {"17":{"m":{...}}}: the rule's name is all that is wanted of it.
                    fired.add(place[message[2 : message.index('"', 2)]])
                    message = proceed(handle, offset)
            elif code != _MATCHED_BY_NONE:
                raise EngineError(f"the record was not taken (code {code})")
            durable.retract_fact(handle, slot.key)
        except BaseException:
            # An action that was started and never completed would answer every later question: start afresh.
            durable.delete_state(handle, slot.sid)
            self._slots[number] = self._warmed(slot.sid)
            raise
        return frozenset(fired)

    def close(self) -> None:
        for slot in self._slots:
            durable.delete_state(self._handle, slot.sid)
        durable.delete_ruleset(self._handle)


class Engine:
    """All rules in durable-rules networks. Raises EngineError where they cannot be loaded safely."""

    def __init__(
        self,
        rules: Mapping[str, Condition],
        facts: Mapping[str, FactType],
        slots: int = 4,
        answers_most: int = 0,
        *,
        network: Network = UNNAMED,
        ledger: Ledger | None = None,
    ) -> None:
        """``answers_most``: so many records, some 1 kB each, are remembered with their answers.

        ``network`` names the networks (with a number each, where it takes several), which count in ``ledger``.
        """
        if slots < 1:
            raise ValueError("an engine needs at least one slot")
        _check_facts(rules, facts)
        self._rules = tuple(rules)
        compiled = compile_rules(rules)
        runs = split(compiled)
        names = [f"{network.name}-{place}" if len(runs) > 1 else network.name for place in range(1, len(runs) + 1)]
        counted = ledger or Ledger()
        # How many networks a shop's rules take is the shop's business: they are counted together.
        accounts = [
            counted.account(network if network.layer == HOUSE else network._replace(name=name)) for name in names
        ]
        self._networks = tuple(
            _Network(name, run, slots, account) for name, run, account in zip(names, runs, accounts, strict=True)
        )
        # What all of them read, written once, tells whether they were asked before.
        self._record = _Record(compiled)
        self._answers_most = answers_most
        self._answers: dict[str, tuple[str, ...]] = {}
        self._count = slots
        self._closing = threading.Lock()
        self._closed = False
        self._free: SimpleQueue[int] = SimpleQueue()
        for number in range(slots):
            self._free.put(number)

    @property
    def networks(self) -> int:
        """How many networks the rules were split over."""
        return len(self._networks)

    @property
    def accounts(self) -> Mapping[str, Account]:
        """Each network's name, and where it is counted."""
        return {network.name: network.account for network in self._networks}

    def holding(self, rules: Iterable[str]) -> tuple[str, ...]:
        """The names of the networks that hold any of these rules, or a branch of one."""
        places = {self._rules.index(rule) for rule in rules}
        return tuple(network.name for network in self._networks if places & network.places)

    def forget(self, facts: Facts, limits: Limits) -> Mapping[str, str]:
        """Remember no answer to this question: the next time, the networks walk anew.

        Returns the records that they read, by the networks' names; empty where they can't be written.
        """
        try:
            self._answers.pop(self._record.write(facts, limits), None)
            return {network.name: network.record.write(facts, limits) for network in self._networks}
        except (EngineError, TypeError):
            return {network.name: "" for network in self._networks}

    def decide(self, facts: Facts, limits: Limits) -> tuple[str, ...]:
        """The rules that definitely hold, in rule order. ``limits`` in inside units.

        Raises EngineError where the engine cannot answer, and KeyError for a missing limit.
        """
        if self._closed:
            raise EngineError("the engine is closed")
        if not self._answers_most:
            return self._walk(facts, limits)
        try:
            body = self._record.write(facts, limits)
        except TypeError as error:
            raise EngineError(f"no answer: {error}") from error
        fired = self._answers.get(body)
        if fired is not None:
            for network in self._networks:
                network.account.add(RECORD)
            return fired
        fired = self._walk(facts, limits)
        if len(self._answers) >= self._answers_most:
            self._answers.clear()
        self._answers[body] = fired
        return fired

    def _walk(self, facts: Facts, limits: Limits) -> tuple[str, ...]:
        number: int | None = None
        network: _Network | None = None
        fired: set[int] = set()
        try:
            number = self._free.get(timeout=WAIT_S)
            if number == _CLOSED:
                raise EngineError("the engine is closed")
            for network in self._networks:
                fired |= network.fire(number, facts, limits)
        except Empty:
            raise EngineError(f"no slot came free in {WAIT_S:g} s") from None
        except EngineError as error:
            error.network = "" if network is None else network.name
            raise
        except (durable.error, TypeError, MemoryError) as error:
            raise EngineError(f"no answer: {error}", "" if network is None else network.name) from error
        else:
            rules = self._rules
            return tuple([rules[place] for place in sorted(fired)])
        finally:
            # The sign of a closed engine is put back too, so that nobody who waits is left waiting.
            if number is not None:
                self._free.put(number)

    def close(self) -> None:
        """Wait for the questions being answered, then free everything. May be called again.

        Raises EngineError where a question does not end; its memory then stays taken.
        """
        with self._closing:
            if self._closed:
                return
            self._closed = True
            for _ in range(self._count):
                self._take_back()
            for network in self._networks:
                network.close()
            self._free.put(_CLOSED)

    def _take_back(self) -> None:
        try:
            self._free.get(timeout=WAIT_S)
        except Empty:
            raise EngineError(f"a question did not end within {WAIT_S:g} s") from None

    def __enter__(self) -> Engine:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _check_facts(rules: Mapping[str, Condition], facts: Mapping[str, FactType]) -> None:
    for rule, condition in rules.items():
        for fact in (fact for branch in condition.branches for atom in branch for fact in facts_of(atom)):
            declared = facts.get(fact.name)
            if declared is None or (declared.kind, declared.dimension) != (fact.kind, fact.dimension):
                raise EngineError(f"rule {rule} was read with another declaration of {fact}")


# --- trying rules out where a crash costs nothing ----------------------------------------------------------------

Sample = tuple[Facts, Limits]
# Its limit is on seconds of its own work, since beside other work a process gets few of a core's; the kernel ends it.
_CHILD = """
import importlib, resource, sys
room, name = sys.argv[1].split(":")
seconds = int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))
getattr(importlib.import_module(room), name)()
"""
_WAITED_MOST = 6  # times as long as it may work: one that waits for ever uses none of its seconds


def try_out(
    rules: Mapping[str, Condition],
    facts: Mapping[str, FactType],
    samples: Sequence[Sample],
    seconds: int,
    trial: str = "accord_rules.infer.engine:trial",
) -> None:
    """Load the rules and answer the samples in a process of its own; the judge must give the same answers.

    Raises EngineError with the reason: a crash, no end within ``seconds`` of work (six times that by the clock), rules
    that cannot be loaded, or a disagreement. ``trial`` names the function that the process runs.
    """
    named = {name for condition in rules.values() for name in condition.facts}
    sent = [
        ({name: value for name, value in values.items() if name in named}, dict(limits)) for values, limits in samples
    ]
    paths = os.pathsep.join(path for path in sys.path if path)
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-c", _CHILD, trial, str(seconds)],
            input=pickle.dumps((dict(rules), dict(facts), sent)),
            capture_output=True,
            timeout=seconds * _WAITED_MOST,
            env={**os.environ, "PYTHONPATH": paths},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise EngineError(f"trial: no end within {seconds * _WAITED_MOST} s") from None
    if done.returncode == -signal.SIGXCPU:
        raise EngineError(f"trial: no end within {seconds} s of work")
    if done.returncode:
        lines = done.stderr.decode(errors="replace").strip().splitlines()
        raise EngineError(f"trial: the process {_ending(done.returncode)}{': ' + lines[-1] if lines else ''}")
    reason = json.loads(done.stdout)["reason"]
    if reason:
        raise EngineError(f"trial: {reason}")


def _ending(code: int) -> str:
    return f"ended with code {code}" if code > 0 else f"was ended by {signal.Signals(-code).name}"


def trial(judge: Callable[[Mapping[str, Condition]], Judge] = Judge) -> None:
    """What the trial process runs: rules and samples on standard input, the reason against them on standard output."""
    rules, facts, samples = pickle.load(sys.stdin.buffer)
    try:
        reason = _disagreement(rules, facts, samples, judge(rules))
    except EngineError as error:
        reason = str(error)
    json.dump({"reason": reason}, sys.stdout)


def _disagreement(
    rules: Mapping[str, Condition], facts: Mapping[str, FactType], samples: Sequence[Sample], judge: Judge
) -> str | None:
    with Engine(rules, facts, 1) as engine:
        for number, (values, limits) in enumerate(samples):
            inferred, judged = engine.decide(values, limits), judge.judge(values, limits).fired
            if inferred != judged:
                apart = ", ".join(sorted(set(inferred) ^ set(judged)))
                return f"engine and judge disagree on sample {number} about {apart}"
    return None
