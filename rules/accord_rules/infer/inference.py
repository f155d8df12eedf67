"""Asks engine and judge the same question; where the engine errs or disagrees, the judge's answer stands."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from types import TracebackType

from accord_rules.infer.compiled import Facts, Limits
from accord_rules.infer.engine import Engine, EngineError
from accord_rules.infer.judge import Judge, Judgement
from accord_rules.infer.ledger import DISAGREEMENT, ENGINE_ERROR, FACTS, UNNAMED, Ledger, Network, doubt
from accord_rules.revision.condition import Condition
from accord_rules.revision.facts import FactType

# Most orders of a day fall into some hundreds of classes that the rules can tell apart.
ANSWERS_MOST = 2048


@dataclass(frozen=True, slots=True)
class Inferred:
    """``fired``: rules that hold, in rule order. ``unknown``: for each open rule the facts that can still matter.

    ``agreed``: whether the engine said the same; else this is the judge's word alone, and not to be remembered.
    """

    fired: tuple[str, ...]
    unknown: Mapping[str, frozenset[str]]
    agreed: bool = True


@dataclass(frozen=True, slots=True)
class Counts:
    """Questions asked since the start, and how many the judge had to settle, by why."""

    questions: int = 0
    engine_errors: int = 0
    disagreements: int = 0


class Inference:
    """The rules, ready to be asked. Safe to share between threads; close it when it is no longer used."""

    def __init__(
        self,
        rules: Mapping[str, Condition],
        facts: Mapping[str, FactType],
        slots: int = 4,
        answers_most: int = ANSWERS_MOST,
        *,
        network: Network = UNNAMED,
        ledger: Ledger | None = None,
    ) -> None:
        """``answers_most``: how many answers of the engine are remembered; the judge judges every question anew.

        ``network`` names its networks, ``ledger`` keeps what becomes of the questions when this is closed. Raises
        EngineError where the engine cannot load the rules safely; ``engine.try_out`` tells beforehand.
        """
        self._rules = rules
        self._network = network
        self._ledger = ledger or Ledger()
        self._judge = Judge(rules)
        self._engine = Engine(rules, facts, slots, answers_most, network=network, ledger=self._ledger)
        self._counting = threading.Lock()
        self._questions = self._engine_errors = self._disagreements = 0

    @property
    def counts(self) -> Counts:
        """Questions, engine errors and disagreements so far; safe from any thread."""
        with self._counting:
            return Counts(self._questions, self._engine_errors, self._disagreements)

    def judge(self, facts: Facts, limits: Limits) -> Judgement:
        """What the judge alone says: for what is only tried, and told to nobody."""
        return self._judge.judge(facts, limits)

    def infer(self, facts: Facts, limits: Limits) -> Inferred:
        """What holds and what is open. ``limits`` in inside units; KeyError where one is missing."""
        judged = self._judge.judge(facts, limits)
        error: EngineError | None = None
        inferred: tuple[str, ...] = ()
        try:
            inferred = self._engine.decide(facts, limits)
        except EngineError as raised:
            error = raised
        differs = error is None and inferred != judged.fired
        with self._counting:
            self._questions += 1
            self._engine_errors += error is not None
            self._disagreements += differs
        if error is None and not differs:
            return Inferred(judged.fired, judged.unknown)
        self._overrule((facts, limits), inferred, judged, error)
        return Inferred(judged.fired, judged.unknown, agreed=False)

    def _overrule(
        self, question: tuple[Facts, Limits], inferred: tuple[str, ...], judged: Judgement, error: EngineError | None
    ) -> None:
        """Forget what the engine said, and enter that the judge had to settle the question."""
        records, accounts = self._engine.forget(*question), self._engine.accounts
        if error is None:
            networks = self._engine.holding({*inferred} ^ {*judged.fired})
        else:
            # Where none was reached, none of them answered.
            networks = (error.network,) if error.network else tuple(accounts)
        self._ledger.enter(
            doubt(
                DISAGREEMENT if error is None else ENGINE_ERROR,
                self._network,
                self._rules,
                question,
                networks=networks,
                inferred=inferred,
                judged=judged.fired,
                records=records,
                reason="" if error is None else str(error),
            ),
            {accounts[name] for name in networks},
        )

    def remembered(self) -> None:
        """Count that an agreed answer to equal facts was given again, without asking."""
        for account in self._engine.accounts.values():
            account.add(FACTS)

    def close(self) -> None:
        """Wait for the questions being answered and free the engine; later questions are the judge's alone."""
        self._engine.close()

    def __enter__(self) -> Inference:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
