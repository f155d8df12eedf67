"""What an operator does, in the order in which the hands do it: the steps of the book that this pressing calls for."""

from __future__ import annotations

from functools import lru_cache

from accord_rules.advise.instead import with_settings_told
from accord_rules.derive import FACT_TYPES
from accord_rules.derive.case import Case
from accord_rules.infer.judge import Judge
from accord_rules.revision.facts import Scope
from accord_rules.revision.sentences import Sentence
from accord_rules.revision.step import Step
from accord_rules.verdict import PlannedStep
from accord_rules.weigh.scales import Weighed


def steps(case: Case, weighed: Weighed) -> tuple[PlannedStep, ...]:
    """The steps of one pressing, with their numbers in the shop's units.

    They say what is dialled: where a condition tells another figure than is set, that one. ``weighed`` is what the
    rules say of the whole order: a step that a finding names stands in the plan whatever its own condition says.
    """
    book, demanded = case.book, _demanded(case, weighed)
    case = with_settings_told(case, weighed)
    every = tuple(book.steps.values())
    judge, names = _judged(every)
    judgement = judge.judge(case.facts(names), book.limit_values)
    held = {
        step.id
        for step in every
        if (step.always or step.id in judgement.fired or (step.printed_open and step.id in judgement.unknown))
        and _tellable(step, case)
    }
    replaced = {book.steps[name].instead_of for name in held}
    return tuple(
        PlannedStep(
            step.id,
            step.stage,
            _written(step.text, case),
            None if step.slip is None else _written(step.slip, case),
        )
        for step in every
        if step.id in demanded or (step.id in held and step.id not in replaced)
    )


@lru_cache(maxsize=16)
def _judged(steps: tuple[Step, ...]) -> tuple[Judge, tuple[str, ...]]:
    """The judge of the steps that have conditions, and the facts that those name."""
    conditions = {step.id: step.condition for step in steps if not step.always}
    return Judge(conditions), tuple(sorted({name for condition in conditions.values() for name in condition.facts}))


def _demanded(case: Case, weighed: Weighed) -> frozenset[str]:
    """The steps that findings name: those about this decoration, and with the first one those about the order."""
    return frozenset(
        fired.rule.step
        for fired in weighed.fired
        if fired.rule.step is not None
        and (case["job.first"] if fired.case.scope is Scope.ORDER else fired.case.index == case.index)
    )


def _tellable(step: Step, case: Case) -> bool:
    """Whether there is something to say for all that its sentence names: one with a gap in it helps nobody."""
    return all(case[name] not in (None, "") for name in step.text.facts)


def _written(sentence: Sentence, case: Case) -> str:
    book = case.book
    limits = {name: (book.limit_dimension(name), book.limit_values[name]) for name in sentence.limits}
    return sentence.write(case, FACT_TYPES, limits, case.shop.units)
