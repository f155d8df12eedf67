"""A service over HTTP as whoever answers, and what it refuses as the command's own failures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

import accord_client
from accord_rules.documents.reading import Fault
from accord_rules.revision.sourcing import SourcedRow
from accord_service.cli.away import WhileAway
from accord_service.cli.failure import Failure
from accord_service.cli.orders import Refused
from accord_service.cli.sorting import by_words, in_order
from accord_service.cli.told import (
    FAULTY,
    NAMED_KINDS,
    NO_FACT,
    NO_LIMIT,
    Document,
    KindRow,
    LimitPage,
    RestsOn,
    RulePage,
    RuleRow,
    SafetyLimit,
    Sourcing,
    StepPage,
    StepRow,
    Unknown,
    WordRow,
    word_row,
)

T = TypeVar("T")


class Service:
    """A service that is asked over HTTP, and ``while_away`` where it can't be reached."""

    def __init__(self, client: accord_client.Client, url: str, while_away: WhileAway) -> None:
        self._client = client
        self._while_away = while_away
        self.introduction = f"Answers from {url}."

    def validate(self, order: Document) -> Document:
        return answer_of(lambda: self._client.validate(order)).document

    def validate_all(self, orders: Iterable[Document], revision: int | None) -> Iterator[Document | Refused]:
        if self._while_away.has_answered:  # and goes on: who asks by turns would mix both, and wait at each turn
            yield from self._while_away.validate_all(orders)
            return
        answers = self._client.validate_all(orders, revision=revision)
        try:
            while (answered := answer_of(lambda: next(answers, None))) is not None:
                yield _refused(answered.problem) if answered.verdict is None else answered.verdict.document
        except Refused as refused:  # the whole question, such as for a revision that is no more
            reasons = "; ".join(fault.sentence for fault in refused.faults) or refused.detail
            raise Failure(f"The service refused: {refused.title}: {reasons}") from None

    def recommend(self, order: Document, *, curve: bool = False) -> Document:
        return answer_of(lambda: self._client.recommend(order, include=("curve",) if curve else ())).document

    def rule(self, name: str) -> RulePage:
        return answer_of(lambda: self._rule_page(name))

    def _rule_page(self, name: str) -> RulePage:
        try:
            rule = self._client.rule(name)
        except (accord_client.NotFound, ValueError):
            raise Unknown(f"The book has no rule {name!r}.") from None
        rows = [SourcedRow(row.market, row.matter, row.kind, row.sources) for row in rule.market_rows]
        return RulePage(rule.id, rule.document["revision"], rule.entry, self._rests_on(rule), rows)

    def _rests_on(self, entry: accord_client.Rule | accord_client.Step) -> RestsOn:
        """The limits and the sources that a rule or step names."""
        limits = [self._client.limit(limit) for limit in entry.limits]
        return RestsOn(
            {limit.id: limit.entry for limit in limits},
            {limit.id: limit.document["kind"] for limit in limits},
            {source: self._client.source(source).entry for source in entry.sources},
        )

    def rules(self, topic: str | None, level: str | None) -> list[RuleRow]:
        lines = answer_of(lambda: list(self._client.rules(topic, level)))
        return [RuleRow(line.id, line.topic, line.level, line.title) for line in lines]

    def step(self, name: str) -> StepPage:
        return answer_of(lambda: self._step_page(name))

    def _step_page(self, name: str) -> StepPage:
        try:
            step = self._client.step(name)
        except (accord_client.NotFound, ValueError):
            raise Unknown(f"The book has no step {name!r}.") from None
        return StepPage(step.id, step.document["revision"], step.entry, self._rests_on(step), step.rules)

    def steps(self, stage: str | None) -> list[StepRow]:
        lines = answer_of(lambda: list(self._client.steps(stage)))
        return in_order(StepRow(line.id, line.stage, line.rank, line.text) for line in lines)

    def migration(self) -> list[Document]:
        return by_words(answer_of(lambda: [line.entry for line in self._client.catalogue("migration")]))

    def sourcing(self) -> Sourcing:
        told = answer_of(self._client.sourcing)
        limits = [SafetyLimit(n.limit, n.title, n.value, n.kind, n.sources) for n in told.safety_limits]
        return Sourcing(told.kinds, {room.id: room.counts for room in told.rooms}, limits)

    def fact(self, name: str) -> Document:
        return answer_of(lambda: self._fact(name))

    def _fact(self, name: str) -> Document:
        try:
            return self._client.fact(name).document
        except (accord_client.NotFound, ValueError):
            raise Unknown(NO_FACT.format(name)) from None

    def facts(self) -> list[Document]:
        return [fact.document for fact in answer_of(lambda: list(self._client.facts()))]

    def words(self) -> list[WordRow]:
        client = self._client
        return answer_of(
            lambda: [word_row(kind, entry.id, entry.entry) for kind in NAMED_KINDS for entry in client.catalogue(kind)]
        )

    def entries(self, kind: str) -> dict[str, Document]:
        return answer_of(lambda: {line.id: line.entry for line in self._client.catalogue(kind)})

    def kinds(self) -> list[KindRow]:
        return [KindRow(row.kind, row.description, row.count) for row in answer_of(self._client.kinds)]

    def entry(self, kind: str, name: str) -> Document:
        return answer_of(lambda: self._found(lambda: self._client.entry(kind, name).entry, f"{kind} has no {name!r}."))

    def limits(self) -> dict[str, Document]:
        return answer_of(lambda: {line.id: line.entry for line in self._client.limits()})

    def limit(self, name: str) -> LimitPage:
        return answer_of(lambda: self._found(lambda: self._limit_page(name), NO_LIMIT.format(name)))

    def _limit_page(self, name: str) -> LimitPage:
        told = self._client.limit(name)
        of = told.document
        sources = {source: self._client.source(source).entry for source in told.entry["sources"]}
        return LimitPage(told.id, of["revision"], told.entry, of["kind"], of["rules"], of["steps"], sources)

    def envelope(self, order: Document) -> Document:
        return answer_of(lambda: self._client.envelope(order)).document

    @staticmethod
    def _found(ask: Callable[[], T], why: str) -> T:
        """The answer. Raises Unknown, saying ``why``, where there is nothing of the name."""
        try:
            return ask()
        except (accord_client.NotFound, ValueError):
            raise Unknown(why) from None


def _refused(problem: accord_client.ProblemError | None) -> Refused:
    """A problem that an order was answered with."""
    errors = problem.errors if problem is not None else ()
    faults = tuple(Fault(fault.place, fault.message, fault.allowed, code=fault.code) for fault in errors)
    title = problem.title if problem is not None else ""
    return Refused(title or FAULTY, faults, "" if faults else str(problem))


def answer_of(ask: Callable[[], T]) -> T:
    """The answer, with the client's exceptions as this command's own."""
    try:
        return ask()
    except accord_client.InvalidOrder as error:
        raise _refused(error) from None
    except accord_client.NotAuthorised as error:
        # Known, but not for this (403): the detail says which role it needs, and which this key has.
        why = "This key may not do that" if error.status == 403 else "The service does not take this key"
        raise Failure(f"{why} ({error}).") from None
    except accord_client.ProblemError as error:
        request_id = f" Request id {error.request_id}." if error.request_id else ""
        faults_told = "".join(f"\n  {fault}" for fault in error.errors)
        raise Failure(f"The service refused: {str(error).removesuffix('.')}.{request_id}{faults_told}") from None
    except accord_client.AccordError as error:
        raise Failure(f"No answer: {error}.") from None
