"""Asks engine and judge the same question; where the engine errs or disagrees, the judge's answer stands."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from types import TracebackType

from accord_rules.facts import FactType
from accord_rules.infer.compiled import Facts, Limits
from accord_rules.infer.condition import Condition
from accord_rules.infer.engine import Engine, EngineError
from accord_rules.infer.judge import Judge

# Most orders of a day fall into some hundreds of classes that the rules can tell apart.
KEPT = 2048

_log = logging.getLogger("accord_rules.infer")


@dataclass(frozen=True, slots=True)
class Inferred:
    """``fired``: rules that hold, in rule order. ``unknown``: for each open rule the facts that can still matter."""

    fired: tuple[str, ...]
    unknown: Mapping[str, frozenset[str]]


@dataclass(frozen=True, slots=True)
class Counts:
    """Questions asked since the start, and how many the judge had to settle, by why."""

    questions: int = 0
    engine_errors: int = 0
    disagreements: int = 0


class Inference:
    """The rules, ready to be asked. Safe to share between threads; close it when it is no longer used."""

    def __init__(
        self, rules: Mapping[str, Condition], facts: Mapping[str, FactType], slots: int = 4, kept: int = KEPT
    ) -> None:
        """``kept``: how many answers of the engine are remembered; the judge judges every question anew.

        Raises EngineError where the engine cannot load the rules safely; ``engine.try_out`` tells beforehand.
        """
        self._judge = Judge(rules)
        self._engine = Engine(rules, facts, slots, kept)
        self._counting = threading.Lock()
        self._questions = self._engine_errors = self._disagreements = 0

    @property
    def counts(self) -> Counts:
        with self._counting:
            return Counts(self._questions, self._engine_errors, self._disagreements)

    def infer(self, facts: Facts, limits: Limits) -> Inferred:
        """What holds and what is open. ``limits`` in inside units; KeyError where one is missing."""
        judged = self._judge.judge(facts, limits)
        errors = disagreements = 0
        try:
            inferred = self._engine.decide(facts, limits)
        except EngineError as error:
            errors = 1
            _log.warning("the engine failed (%s); the judge answered: %s", error, ", ".join(judged.fired))
        else:
            if inferred != judged.fired:
                disagreements = 1
                apart = ", ".join(sorted(set(inferred) ^ set(judged.fired)))
                _log.warning("engine and judge disagree about %s; the judge answered", apart)
        with self._counting:
            self._questions += 1
            self._engine_errors += errors
            self._disagreements += disagreements
        return Inferred(judged.fired, judged.unknown)

    def close(self) -> None:
        """Wait for the questions being answered and free the engine; later questions are the judge's alone."""
        self._engine.close()

    def __enter__(self) -> Inference:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
