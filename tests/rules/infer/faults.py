"""Trial processes that go wrong, to show that a trial notices. Run by ``engine.try_out`` in a process of its own."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Mapping
from typing import Any

from accord_rules.infer import engine
from accord_rules.infer.judge import Judge, Judgement


def crash() -> None:
    """The process dies as from a memory fault in C."""
    os.kill(os.getpid(), signal.SIGSEGV)


def hang() -> None:
    time.sleep(60)


def toil() -> None:
    while True:
        pass


def fail() -> None:
    raise RuntimeError("out of paper")


class WrongJudge(Judge):
    """Takes an unknown for a yes: the mistake that the engine's handling of missing facts must not share."""

    def judge(self, facts: Mapping[str, Any], limits: Mapping[str, float]) -> Judgement:
        right = super().judge(facts, limits)
        return Judgement((*right.fired, *right.unknown), right.unknown)


def wrong() -> None:
    engine.trial(judge=WrongJudge)
