"""Answers to orders given once more, as long as nothing that they hang on has changed.

An answer hangs on the book, the shop as it is that day, its house rules and the order, and on nothing else: the same
question gets the same bytes, whoever asks. What is kept holds no order (a question is known by a digest of it) and no
reference of the shop's own: that is put in anew, since it may lead to a person and may be deleted.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from typing import NamedTuple

MOST_BYTES = 8 * 1024 * 1024
# What an answer takes beside its bytes: its key, and what is counted of it.
_BESIDE_BYTES = 1500


class CountedFinding(NamedTuple):
    """What is counted of a finding."""

    layer: str
    rule: str
    level: str


@dataclass(frozen=True, slots=True)
class Counted:
    """What is counted and logged of an answer, each time that it is given. ``watched``: the watched rules that hold."""

    verdict: str
    verdict_id: str
    findings: tuple[CountedFinding, ...]
    watched: frozenset[str]


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """An answer's bytes before and after the reference."""

    before: bytes
    after: bytes
    counted: Counted


class KeptAnswers:
    """The answers given last, up to so many bytes of them. Safe to share between threads."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._bytes = 0
        self._answers: OrderedDict[Hashable, KeptAnswer] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, question: Hashable) -> KeptAnswer | None:
        """What was kept of it, if it still is."""
        with self._lock:
            answer = self._answers.get(question)
            if answer is not None:
                self._answers.move_to_end(question)
            return answer

    def keep(self, question: Hashable, answer: KeptAnswer) -> None:
        """Keep it, and let those go that were asked for longest ago."""
        with self._lock:
            if question in self._answers:
                return
            self._answers[question] = answer
            self._bytes += _bytes_of(answer)
            while self._bytes > self._most_bytes:
                _, gone = self._answers.popitem(last=False)
                self._bytes -= _bytes_of(gone)


def _bytes_of(answer: KeptAnswer) -> int:
    return len(answer.before) + len(answer.after) + _BESIDE_BYTES
