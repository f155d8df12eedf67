"""Asking every rule about an order: what fires, what is open, and what the two come to."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import islice
from operator import itemgetter
from typing import Any, NamedTuple

from accord_rules.derive import FACT_TYPES
from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Chosen, Sequenced
from accord_rules.derive.graph import GRAPH
from accord_rules.derive.sample import LEANING, OWN_SAMPLE
from accord_rules.derive.shared import Cause, KeptFacts
from accord_rules.documents import units
from accord_rules.documents.reading import Choice, Either, Flag, Name, Reader, reader_at
from accord_rules.documents.writing import written_for
from accord_rules.infer.inference import ANSWERS_MOST, Counts, Inference, Inferred
from accord_rules.infer.judge import Judgement
from accord_rules.infer.ledger import HOUSE, SHARED, Ledger, Network
from accord_rules.orders.order import Order, Press, Size
from accord_rules.orders.shop import Sample, Shop
from accord_rules.revision.book import ORDER_SENSE, PEOPLE, Book
from accord_rules.revision.condition import Condition
from accord_rules.revision.facts import Ask, Assume, FactType, Scope
from accord_rules.revision.rule import SHOP, Rule, last_word
from accord_rules.revision.sentences import write_value
from accord_rules.verdict import LEVELS, VERDICTS, Assumption, Finding, Need, SampleLeanedOn
from accord_rules.weigh.choice import Turning, alternatives, as_sampled, choose, hottest_and_longest
from accord_rules.weigh.sequence import find_sequence

# Facts that a different choice of settings can change: the rest of a blocked pressing is hopeless whatever is set. The
# order of pressings is held; what it takes is not.
_HELD = tuple(f"sequence/{field}" for field in (*Sequenced._fields, "earlier") if field != "total_s")
_TURNS_WITH_DISPLAY = GRAPH.downstream(("chosen/display_c",), _HELD)
_TURNS_WITH_HEAT = _TURNS_WITH_DISPLAY | GRAPH.downstream(("chosen/surface_c", "chosen/spread_k"), _HELD)
_TURNS_WITH_TIME = GRAPH.downstream(("chosen/time_s",), _HELD)
_TURNS_WITH_SETTINGS = _TURNS_WITH_HEAT | _TURNS_WITH_TIME
# The same, and what hangs on a press's own readings and spread.
_TURNS_WITH_PRESS = _TURNS_WITH_SETTINGS | GRAPH.downstream(("press.calibration",), _HELD)
_ENDS_WITH_MORE = frozenset(fact.name for fact in GRAPH.facts.values() if fact.warmed)
# What the heat room says of them, beyond what more heat for longer is known to end.
_ESTIMATED = _TURNS_WITH_SETTINGS & GRAPH.downstream(("heat.lay", "touch.wait_s"), _HELD) - _ENDS_WITH_MORE

# A press with one transfer on one piece is one question: a recommend asks some hundred and puts its plans back, which
# asks many of them again. Each takes some 2 kB, and what is kept the collector walks through.
_ANSWERED_MOST = 1024

_TAKEN = {fact.missing.pointer: fact.missing.taken for fact in GRAPH.facts.values() if isinstance(fact.missing, Assume)}
_PIECE = "/item"
# Rules of these levels can turn a verdict.
_DECIDING = ("blocks", "requires")
_WATCHED = "watched-"

# Weighings that a question may take to find its ways, or to find remedies, after which it answers with what it has.
# One print that may be any of the book's transfers takes some 2,000 on the 40 presses a shop may have, so that it is
# weighed whole; 8,000 take a core about a second (measured). What is being weighed when they are used up is finished.
WEIGHINGS_MOST = 8000
# Processor time of its thread after which a question is given no more leave to weigh, whatever was counted. It stands
# for what weighings do not count, and lies three times over what they come to, since the same order should get the
# same bytes on a slow machine and a busy one.
CPU_MOST_S = 3.0


class WorkUsedUp(Exception):
    """A question has had the weighings that there are for it."""


# Samples whose settings are tried, the last ones pressed: a shop may have hundreds of one piece.
_SAMPLES_TRIED_MOST = 8


class Fired(NamedTuple):
    """A rule that holds, and the case it holds for."""

    rule: Rule
    case: Case

    @property
    def pointer(self) -> str:
        return self.rule.pointer(self.case.index)


class Open(NamedTuple):
    """A rule that may hold, and the unknown facts that can still decide it."""

    rule: Rule
    case: Case
    facts: frozenset[str]

    @property
    def pointer(self) -> str:
        return self.rule.pointer(self.case.index)


class Doubt(NamedTuple):
    """Something that the order says in two ways, which come to two verdicts."""

    pointer: str
    question: str
    rules: tuple[str, ...]


@dataclass(frozen=True)
class Weighed:
    """What the rules say about one scope of an order, or, added up, about all of it."""

    fired: tuple[Fired, ...] = ()
    open: tuple[Open, ...] = ()
    doubts: tuple[Doubt, ...] = ()

    def __add__(self, other: Weighed) -> Weighed:
        return Weighed(self.fired + other.fired, self.open + other.open, self.doubts + other.doubts)

    def at(self, level: str) -> tuple[Fired, ...]:
        return tuple(fired for fired in self.fired if fired.rule.level == level)

    @cached_property
    def verdict(self) -> str:
        """Two verdicts by what the order says twice: undetermined. Any block: rejected; else anything open that could
        block: undetermined; else any must: conditional."""
        if self.doubts:
            return "undetermined"
        if self.at("blocks"):
            return "rejected"
        if any(open_.rule.level == "blocks" for open_ in self.open):
            return "undetermined"
        return "conditional" if self.at("requires") else "accepted"

    def firmer_than(self, other: Weighed) -> bool:
        """Whether the verdict is worse for the order than the other's."""
        return VERDICTS.index(self.verdict) > VERDICTS.index(other.verdict)

    @cached_property
    def badness(self) -> tuple[int, int, int, int]:
        """For choosing the better of two: verdict first, then how many findings of each level."""
        blocks, requires, cautions = map(self.count, LEVELS[:3])
        return (VERDICTS.index(self.verdict), blocks, requires, cautions)

    def count(self, level: str) -> int:
        """How many findings of a level, each rule and place counted once."""
        return len({(fired.rule.id, fired.pointer) for fired in self.at(level)})


@dataclass(frozen=True, slots=True)
class OnPress:
    """An order on one press: its pressings with their settings, the order of pressings, and what the rules say."""

    press: Press
    cases: tuple[Case, ...]
    sequence: Sequenced
    weighed: Weighed


@dataclass(frozen=True, slots=True)
class Remembered:
    """What pressings on one press came to, for many orders that share the cases of most of their decorations."""

    alone: dict[Hashable, tuple[Case, Weighed]] = field(default_factory=dict)
    pressed: dict[tuple[Case, Chosen | None, Sequenced], tuple[Case, Weighed]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class _Section:
    """The rules of one scope that are asked together: the enforced ones, or the watched ones.

    ``inferences``: whoever has them compiled; of those, ``own`` are no other scales'.
    """

    rules: Mapping[str, Rule]
    names: tuple[str, ...]
    values: Callable[[Case], tuple[Any, ...]]
    inferences: tuple[Inference, ...]
    own: tuple[Inference, ...]


class Scales:
    """The rules of one revision, ready to be asked. Safe to share between threads; close when no longer used.

    With ``shared``, whose rules must all be in ``book``, only the rules beyond those are compiled; the shared ones
    are asked where they are, with the limits of ``book``, and stay open when this is closed. ``ledger`` keeps what
    becomes of the questions; it is that of ``shared`` where there is one.
    """

    def __init__(
        self,
        book: Book,
        slots: int = 4,
        shared: Scales | None = None,
        answers_most: int = ANSWERS_MOST,
        ledger: Ledger | None = None,
    ) -> None:
        self.book = book
        self.ledger: Ledger = shared.ledger if shared is not None else ledger or Ledger()
        # What is looked up for each question goes by the scope's rank: its own hash takes longer than the looking up.
        self._enforced, self._watching = (
            tuple(self._section(_about(scope, enforced), shared, slots, answers_most) for scope in Scope)
            for enforced in (True, False)
        )
        self._of_shop = self._section(SHOP, shared, slots, answers_most)
        self._weighings = threading.local()  # each question is answered by one thread
        # One for all scales that share rules, so that there are no more of them for many shops.
        self._kept: KeptFacts = shared._kept if shared is not None else KeptFacts()
        self._whose = object()
        # Rules see nothing but facts and limits, so that equal facts have had their answer.
        self._answered: dict[tuple[_Section, tuple[Any, ...]], tuple[Inferred, ...]] = {}
        self._judged: dict[tuple[_Section, tuple[Any, ...]], tuple[Judgement, ...]] = {}

    def _sections(self) -> Mapping[str, _Section]:
        of_scopes = ((True, self._enforced), (False, self._watching))
        named = {_about(scope, on): sections[scope.rank] for on, sections in of_scopes for scope in Scope}
        return named | {SHOP: self._of_shop}

    def _section(self, about: str, shared: Scales | None, slots: int, answers_most: int) -> _Section:
        rules = _rules_about(self.book, about)
        names = _facts_named(rules.values())
        theirs: tuple[Inference, ...] = ()
        known: Mapping[str, Rule] = {}
        if shared is not None:
            theirs = shared._sections()[about].inferences
            known = shared.book.rules
        conditions = {name: rule.condition for name, rule in rules.items() if name not in known}
        network = Network(SHARED if shared is None else HOUSE, about)
        own: tuple[Inference, ...] = ()
        if conditions or (shared is None and not about.startswith(_WATCHED)):
            own = (Inference(conditions, FACT_TYPES, slots, answers_most, network=network, ledger=self.ledger),)
        return _Section(rules, names, _values_of(names), (*theirs, *own), own)

    def _own(self) -> tuple[Inference, ...]:
        return tuple(own for section in self._sections().values() for own in section.own)

    @property
    def counts(self) -> Counts:
        every = [inference.counts for inference in self._own()]
        return Counts(
            sum(counts.questions for counts in every),
            sum(counts.engine_errors for counts in every),
            sum(counts.disagreements for counts in every),
        )

    def close(self) -> None:
        for inference in self._own():
            inference.close()

    # -- asking ----------------------------------------------------------------------------------------------------

    @property
    def weighings(self) -> int:
        """How often this thread has weighed."""
        return int(getattr(self._weighings, "count", 0))

    def allowance(self, most: int = WEIGHINGS_MOST) -> Callable[[], bool]:
        """Says whether this thread may weigh on: not once it has weighed ``most`` times from now, or computed for
        ``CPU_MOST_S``."""
        until = self.weighings + most
        until_s = time.thread_time() + CPU_MOST_S
        return lambda: self.weighings < until and time.thread_time() < until_s

    def case(self, shop: Shop, order: Order) -> Case:
        """The question that an order is at a shop, with what is known of the piece from earlier ones."""
        return Case(self.book, shop, order, kept=self._kept.of(self._whose, shop, order))

    def weigh(self, case: Case) -> Weighed:
        """Ask the rules of the case's own scope: of engine and judge, or, while something is tried, of the judge."""
        self._weighings.count = self.weighings + 1
        return self._weigh(case)

    def _weigh(self, case: Case) -> Weighed:
        section, tries = self._enforced[case.scope.rank], getattr(self._weighings, "tries", False)
        asked: Sequence[Inferred | Judgement] = (self._judge if tries else self._infer)(section, case)
        first, *others = (_weighed(section, case, inferred) for inferred in asked)
        return sum(others, first)

    @contextmanager
    def trying(self) -> Iterator[None]:
        """While the block runs this thread's cases are weighed by the judge alone. Whatever comes of that has to be
        weighed by both before it is told."""
        before = getattr(self._weighings, "tries", False)
        self._weighings.tries = True
        try:
            yield
        finally:
            self._weighings.tries = before

    def confirm(self, cases: Iterable[Case]) -> None:
        """Put to engine and judge what was weighed by the judge alone, whose word it stays."""
        for case in cases:
            self._infer(self._enforced[case.scope.rank], case)

    def weigh_press(self, case: Case) -> Weighed:
        """Ask the rules that are told once per shop, and never with an order, of the case's press."""
        first, *others = (_weighed(self._of_shop, case, inferred) for inferred in self._infer(self._of_shop, case))
        return sum(others, first)

    def _infer(self, section: _Section, case: Case) -> tuple[Inferred, ...]:
        """What engine and judge say of the section's rules about a case."""
        return self._infer_from(section, section.values(case))

    def _infer_from(self, section: _Section, values: tuple[Any, ...]) -> tuple[Inferred, ...]:
        """The same for these values of their facts; the one way in which any rule is asked."""
        question = (section, values)
        inferred = self._answered.get(question)
        if inferred is not None:
            for inference in section.inferences:
                inference.remembered()
            return inferred
        facts, limits = dict(zip(section.names, values, strict=True)), self.book.limit_values
        inferred = tuple(inference.infer(facts, limits) for inference in section.inferences)
        # Where the judge had to settle it, the next one who asks must not pass for agreed.
        if all(answer.agreed for answer in inferred):
            if len(self._answered) >= _ANSWERED_MOST:
                self._answered.clear()
            self._answered[question] = inferred
        return inferred

    def _judge(self, section: _Section, case: Case) -> tuple[Judgement, ...]:
        """What the judge alone says of the section's rules about a case."""
        question = (section, section.values(case))
        judged = self._judged.get(question)
        if judged is None:
            facts, limits = dict(zip(section.names, question[1], strict=True)), self.book.limit_values
            if len(self._judged) >= _ANSWERED_MOST:
                self._judged.clear()
            judged = tuple(inference.judge(facts, limits) for inference in section.inferences)
            self._judged[question] = judged
        return judged

    def watched(self) -> tuple[str, ...]:
        """The rules that are watched: asked for the count, and never part of a verdict."""
        return tuple(name for section in self._watching for name in section.rules)

    def watch(self, cases: Iterable[Case]) -> frozenset[str]:
        """The watched rules that hold for any of the cases."""
        watching = ((section, case) for case in cases if (section := self._watching[case.scope.rank]).rules)
        return frozenset(
            name for section, case in watching for inferred in self._infer(section, case) for name in inferred.fired
        )

    def on_press(self, decorations: Sequence[Case], press: Press, known: Remembered | None = None) -> OnPress:
        """All decorations of an order on one press, with the best allowed settings for what is left open.

        ``known`` is read and added to: keep one a press.
        """
        known = known or Remembered()
        for decoration in decorations:
            if decoration.likeness not in known.alone:
                known.alone[decoration.likeness] = self._alone(decoration, press)
        alone = [known.alone[decoration.likeness] for decoration in decorations]
        if len(alone) == 1:
            # Alone is how it was weighed already, and one print harms no other.
            case, weighed = alone[0]
            return OnPress(press, (case,), case.sequence or Sequenced((0,)), weighed)
        sequence, settings = find_sequence([case for case, _ in alone])
        pressed = []
        for pressing in (
            (decoration, chosen, sequence) for decoration, chosen in zip(decorations, settings, strict=True)
        ):
            if pressing not in known.pressed:
                case = pressing[0].pressing_case(press, *pressing[1:])
                known.pressed[pressing] = (case, self.weigh(case))
            pressed.append(known.pressed[pressing])
        weighed = sum((weighed for _, weighed in pressed), Weighed())
        return OnPress(press, tuple(case for case, _ in pressed), sequence, weighed)

    def _alone(self, decoration: Case, press: Press) -> tuple[Case, Weighed]:
        """One decoration as if it were the only one, with the preferred settings, or those of a sample on record
        where they want one, or the first others that no rule blocks; the preferred ones if there are none."""
        case = decoration.pressing_chosen(press, choose)
        first, weighed = case.chosen, self.weigh(case)
        if first is not None and first.surface_c is not None and _wanting_a_sample(weighed):
            for chosen in islice(as_sampled(case, first), _SAMPLES_TRIED_MOST):
                sampled = decoration.pressing_alone(press, chosen)
                of_sampled = self.weigh(sampled)
                if _better_sampled(of_sampled, weighed):
                    return sampled, of_sampled
        if first is None or first.surface_c is None or not _turns_with_settings(weighed.at("blocks")):
            return case, weighed
        return self._other_settings(decoration, press, case, first, weighed.at("blocks")) or (case, weighed)

    def _other_settings(
        self, decoration: Case, press: Press, case: Case, first: Chosen, blocks: tuple[Fired, ...]
    ) -> tuple[Case, Weighed] | None:
        """The first settings beside the preferred ones that no rule blocks: found by the judge, weighed by both."""
        if any(_turns_with_nothing_open(block, decoration) for block in blocks):
            return None
        with self.trying():
            found = self._unblocked(decoration, press, case, first, blocks)
        return None if found is None else (found, self._weigh(found))  # counted when it was tried

    def _unblocked(
        self, decoration: Case, press: Press, case: Case, first: Chosen, blocks: tuple[Fired, ...]
    ) -> Case | None:
        """The pressing with those settings.

        Only what the blocking rules speak of is varied; where that meets a block that speaks of the other, both are.
        """
        if all(map(_ends_with_more, blocks)):
            for chosen in hottest_and_longest(case, first):
                most = decoration.pressing_alone(press, chosen)
                weighed = self.weigh(most)
                if not weighed.at("blocks"):
                    return most
            if any(map(_ends_with_more, weighed.at("blocks"))):
                return None
        varied: Turning | None = None
        met = frozenset().union(*(block.rule.condition.facts for block in blocks))
        while varied != (turning := _turning(met)):
            varied = turning
            for chosen in alternatives(case, first, varied):
                turned = decoration.pressing_alone(press, chosen)
                weighed = self.weigh(turned)
                if not weighed.at("blocks"):
                    return turned
                met = met.union(*(block.rule.condition.facts for block in weighed.at("blocks")))
        return None

    # -- what it leans on ------------------------------------------------------------------------------------------

    def leaned_on(self, cases: Iterable[Case]) -> tuple[SampleLeanedOn, ...]:
        """The shop's samples that keep rules silent on these pressings."""
        return tuple(leaned for case in cases if (leaned := self._leaned_on(case)) is not None)

    def _leaned_on(self, case: Case) -> SampleLeanedOn | None:
        sample: Sample | None = case["sample.good"]
        if sample is None or OWN_SAMPLE in (case["order.evidence"] or ()):
            return None
        section = self._enforced[case.scope.rank]
        without = tuple(
            False if name in LEANING else value for name, value in zip(section.names, section.values(case), strict=True)
        )
        there = _fired_ids(self._infer(section, case))
        lifts = tuple(sorted(_fired_ids(self._infer_from(section, without)) - there))
        if not lifts:
            return None
        text = f"It leans on {case['sample.words']}."
        return SampleLeanedOn(sample.id, sample.pressed_on, f"/decorations/{case.index}", text, lifts)

    # -- what is missing -------------------------------------------------------------------------------------------

    def assumptions(self, cases: Iterable[Case], bare: Iterable[Case]) -> tuple[Assumption, ...]:
        """What was assumed and could turn the verdict: deciding rules that are open when nothing is assumed. First what
        could hurt somebody.

        ``bare`` are the same cases with nothing assumed.
        """
        assumed: dict[str, tuple[Case, Cause, set[str]]] = {}
        for case, plain in zip(cases, bare, strict=True):
            section = self._enforced[case.scope.rank]
            open_ = (item for inferred in self._infer(section, plain) for item in inferred.unknown.items())
            causes: dict[str, list[tuple[str, Cause]]] = {}
            for rule, facts in open_:
                if section.rules[rule].level not in _DECIDING:
                    continue
                for name in sorted(facts):
                    if name not in causes:
                        # Where nothing could be assumed the thing stays unknown.
                        causes[name] = [
                            (pointer, cause)
                            for pointer, cause in plain.causes(name).items()
                            if isinstance(cause.missing, Assume) and case.assumes(cause)
                        ]
                    for pointer, cause in causes[name]:
                        assumed.setdefault(pointer, (case, cause, set()))[2].add(rule)
        told = [
            _assumption(
                pointer,
                cause.fact.type,
                *case.assumed(cause),
                case.shop.unit_system,
                self._could_hurt(cause, rules),
            )
            for pointer, (case, cause, rules) in sorted(assumed.items())
        ]
        return tuple(sorted(told, key=lambda assumption: not assumption.could_hurt))

    def _could_hurt(self, cause: Cause, rules: Iterable[str]) -> bool:
        strict = isinstance(cause.missing, Assume) and cause.missing.strict
        return not strict and any(self.book.keeps_people_safe(self.book.rules[rule]) for rule in rules)


def unsaid(assumed: Iterable[Assumption]) -> str | None:
    """What was taken to hold and could hurt somebody if it does not, in words; None for nothing."""
    hurtful = sorted((a for a in assumed if a.could_hurt), key=lambda a: a.pointer, reverse=True)  # first its use
    clauses = dict.fromkeys(map(_taken, hurtful))
    return f"Not said, and taken to hold: {', '.join(clauses)}. Ask where in doubt." if clauses else None


def _taken(assumption: Assumption) -> str:
    clause = _TAKEN[re.sub(r"/[0-9]+", "/{i}", assumption.pointer)]
    field = assumption.pointer.rsplit("/", 1)[-1].replace("_", " ")  # as people say it
    return clause.replace("{shown}", assumption.shown) if clause else f"{field} {assumption.shown}"


# Orders leave the same few things unsaid; each some 300 bytes.
@lru_cache(maxsize=1024)
def _assumption(pointer: str, type_: FactType, value: Any, why: str, unit_system: str, could_hurt: bool) -> Assumption:
    document = written_for(reader_at(Order, pointer), value)
    shown = _shown(type_, value, units.UNIT_SYSTEMS[unit_system])
    return Assumption(pointer=pointer, value=document, shown=shown, why=why, could_hurt=could_hurt)


def _shown(type_: FactType, value: Any, preferences: units.UnitPreferences) -> str:
    """What was assumed, as a person reads it."""
    if isinstance(value, Size):
        return " x ".join(units.show(units.LENGTH, side, preferences) for side in (value.width, value.height))
    return write_value(type_, value, preferences)


def _about(scope: Scope, enforced: bool) -> str:
    """What networks call the rules of a scope that are asked together."""
    return scope.value if enforced else _WATCHED + scope.value


def _rules_about(book: Book, about: str) -> dict[str, Rule]:
    """The rules that are asked together under this name."""
    return {
        name: rule
        for name, rule in book.rules.items()
        if (SHOP if rule.about == SHOP and rule.enforced else _about(rule.scope, rule.enforced)) == about
    }


def conditions(book: Book, about: str) -> dict[str, Condition]:
    """The conditions that are asked together under this name (``infer.ledger.Doubt.about``), for a replay.

    ``book``: the revision whose shared rules they are. Raises KeyError for a name that is none.
    """
    if about not in {SHOP, *(_about(scope, enforced) for scope in Scope for enforced in (True, False))}:
        raise KeyError(about)
    return {name: rule.condition for name, rule in _rules_about(book, about).items()}


def _weighed(section: _Section, case: Case, inferred: Inferred | Judgement) -> Weighed:
    rules = section.rules
    return Weighed(
        tuple(Fired(rules[name], case) for name in inferred.fired),
        tuple(Open(rules[name], case, facts) for name, facts in inferred.unknown.items()),
    )


def _fired_ids(inferred: Iterable[Inferred]) -> frozenset[str]:
    return frozenset(name for answer in inferred for name in answer.fired)


def _facts_named(rules: Iterable[Rule]) -> tuple[str, ...]:
    return tuple(sorted({fact for rule in rules for fact in rule.condition.facts}))


def _values_of(names: tuple[str, ...]) -> Callable[[Case], tuple[Any, ...]]:
    """The values of these facts; quicker than one by one."""
    if len(names) < 2:
        return lambda case: tuple(case[name] for name in names)
    values = itemgetter(*names)
    return lambda case: values(case.known)


def _wanting_a_sample(weighed: Weighed) -> int:
    """How many findings a sample that held would lift."""
    return sum(not fired.rule.condition.facts.isdisjoint(LEANING) for fired in weighed.fired)


def _better_sampled(of_sampled: Weighed, weighed: Weighed) -> bool:
    """Whether the settings of a sample on record come to less than the preferred ones."""
    return (of_sampled.badness, _wanting_a_sample(of_sampled)) < (weighed.badness, _wanting_a_sample(weighed))


def _ends_with_more(fired: Fired) -> bool:
    """Whether nothing but more heat for longer could lift a block."""
    return fired.rule.condition.facts & _TURNS_WITH_SETTINGS <= _ENDS_WITH_MORE


def _turns_with_nothing_open(block: Fired, decoration: Case) -> bool:
    """Whether a block turns with none of the settings that the order leaves open, so that none of them lifts it."""
    said = decoration.decoration.settings
    if said is None:
        return False
    by_heat = _TURNS_WITH_HEAT if said.temperature is None else frozenset()
    by_time = _TURNS_WITH_TIME if said.time is None else frozenset()
    return block.rule.condition.facts.isdisjoint(by_heat | by_time)


def _turning(facts: frozenset[str]) -> Turning:
    """What of the settings these facts turn with."""
    plain = facts - _ESTIMATED
    return Turning(
        heat=not plain.isdisjoint(_TURNS_WITH_HEAT),
        time=not plain.isdisjoint(_TURNS_WITH_TIME),
        display=not plain.isdisjoint(_TURNS_WITH_DISPLAY),
        estimated=not facts.isdisjoint(_ESTIMATED),
    )


def turns_on(press_blocks: Sequence[Fired]) -> bool:
    """Whether all that blocks on a press hangs on the settings or on how it heats. That the piece does not belong on
    such a press at all is another matter."""
    return bool(press_blocks) and all(block.rule.condition.facts & _TURNS_WITH_PRESS for block in press_blocks)


def _turns_with_settings(blocks: Sequence[Fired]) -> bool:
    """Whether different settings could lift every block there is."""
    return bool(blocks) and all(block.rule.condition.facts & _TURNS_WITH_SETTINGS for block in blocks)


# -- from what fires to what is said --------------------------------------------------------------------------------


def findings(fired: Iterable[Fired], book: Book, *, observed: bool = False) -> tuple[Finding, ...]:
    """One finding a rule and place, firmest first, without those that another of them includes; the order is the same
    whoever asks. ``observed``: with what was found. Who has the last word is told by ``with_last_word``."""
    unique: dict[tuple[str, str], Fired] = {}
    for match in fired:
        unique.setdefault((match.rule.id, match.pointer), match)
    told = (worded(match, book, observed=observed) for match in _told_once(tuple(unique.values())))
    return in_order(told, book.rules)


def with_last_word(told: Sequence[Finding], rules: Mapping[str, Rule]) -> tuple[Finding, ...]:
    """The findings of one answer, the first that defers to somebody with the sentence that says who decides: once, for
    all of them."""
    whom = {name for finding in told if (name := rules[finding.rule].defers_to) is not None}
    first = next((finding for finding in told if rules[finding.rule].defers_to is not None), None)
    said = last_word(whom)
    return tuple(
        replace(finding, fix=f"{finding.fix} {said}".lstrip()) if finding is first else finding for finding in told
    )


def _told_once(fired: Sequence[Fired]) -> Iterator[Fired]:
    """Those of which no other one says as much of the same place, or of the part of the order that it lies in."""
    speaking = [(name, match.pointer) for match in fired for name in match.rule.instead_of]
    for match in fired:
        if not any(name == match.rule.id and _one_lies_in_the_other(match.pointer, place) for name, place in speaking):
            yield match


def _one_lies_in_the_other(one: str, other: str) -> bool:
    """Whether two places are of one thing; every print lies on the piece."""
    if _PIECE in (one, other):
        return True
    return f"{one}/".startswith(f"{other}/") or f"{other}/".startswith(f"{one}/")


def _place(finding: Finding, rules: Mapping[str, Rule]) -> tuple[int, int, str, str]:
    """Where a finding stands among others: firmest first, then the gravest, then by place and rule."""
    return LEVELS.index(finding.level), _gravity(rules[finding.rule]), finding.pointer, finding.rule


def _gravity(rule: Rule) -> int:
    """What may harm people comes first, then what spoils print or piece, then what papers or a measure would settle."""
    return 0 if rule.topic == PEOPLE else 2 if rule.topic == ORDER_SENSE else 1


def in_order(unordered: Iterable[Finding], rules: Mapping[str, Rule]) -> tuple[Finding, ...]:
    """Findings of these rules in the order they are said."""
    return tuple(sorted(unordered, key=lambda finding: _place(finding, rules)))


def worded(fired: Fired, book: Book, *, observed: bool = False) -> Finding:
    """A fired rule as a sentence with its numbers, in the shop's units."""
    rule, case = fired.rule, fired.case
    preferences = case.shop.units
    limits = {name: (book.limit_dimension(name), book.limit_values[name]) for name in rule.limits}
    shown = sorted(rule.condition.facts) if observed else ()
    return Finding(
        rule=rule.id,
        level=rule.level,
        pointer=fired.pointer,
        title=rule.title,
        because=rule.because.write(case, FACT_TYPES, limits, preferences),
        fix=rule.fix.write(case, FACT_TYPES, limits, preferences),
        observed={name: write_value(FACT_TYPES[name], case[name], preferences) for name in shown} or None,
        limit={name: units.show(dimension, value, preferences) for name, (dimension, value) in limits.items()},
        sources=rule.sources,
        layer=rule.layer if book.moved.isdisjoint(rule.limits) else "house",
    )


def needs(weighed: Weighed, book: Book) -> tuple[Need, ...]:
    """What to ask, if anything unsaid could change the verdict: what could block, else what could add a must.

    An undetermined verdict always asks: where no answer in the order decides, it says so and whom to ask instead.
    """
    level = {"undetermined": "blocks", "accepted": "requires"}.get(weighed.verdict)
    questions = {doubt.pointer: (doubt.question, set(doubt.rules)) for doubt in weighed.doubts}
    open_ = [undecided for undecided in weighed.open if undecided.rule.level == level]
    for undecided in open_:
        for name in sorted(undecided.facts):
            for pointer, cause in undecided.case.causes(name).items():
                if isinstance(ask := cause.missing, Ask) and (level == "blocks" or not ask.of_blocks):
                    questions.setdefault(pointer, (ask.question, set()))[1].add(undecided.rule.id)
    if level == "blocks" and not questions:
        for undecided in open_:
            question = _UNANSWERABLE.format(title=undecided.rule.title)
            questions.setdefault(undecided.pointer, (question, set()))[1].add(undecided.rule.id)
    return tuple(
        Need(
            pointer,
            (reader := reader_at(Order, pointer)).kind,
            _allowed_values(reader, book),
            question,
            tuple(sorted(rules)),
        )
        for pointer, (question, rules) in sorted(questions.items(), key=lambda item: (-len(item[1][1]), item[0]))
    )


_UNANSWERABLE = (
    'Does "{title}" hold here? Nothing that an order can say decides it: ask whoever keeps this rule, who may have to'
    " say in it for which pieces it is meant."
)


def _allowed_values(reader: Reader, book: Book) -> tuple[str | bool, ...]:
    """What ``reader`` takes, where that is few enough to list: of kinds of entry that may stand there, the first."""
    match reader:
        case Either(first=first):
            return _allowed_values(first, book)
        case Choice(words=words):
            return words
        case Flag():
            return (True, False)
        case Name(name_of=str(kinds)):
            return tuple(sorted(book.catalogue[kinds.split("|")[0]]))
    return ()
