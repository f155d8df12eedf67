"""Engine and judge side by side: the judge's answer stands, and every difference is counted and logged."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from tests.rules.infer.planted import contradicting

from accord_rules.documents import units
from accord_rules.infer.engine import Engine, EngineError
from accord_rules.infer.inference import Counts, Inference
from accord_rules.revision.condition import Condition, Vocabulary, parse
from accord_rules.revision.facts import BOOL, FactType, number

FACTS: dict[str, FactType] = {"a": BOOL, "b": BOOL, "x": number(units.PERCENT)}
VOCABULARY = Vocabulary(FACTS, {"least": units.PERCENT})
LIMITS = {"least": 50.0}
TEXTS = {"share-low": "x < limit('least')", "both": "a and b", "not-a": "not a"}
RULES: dict[str, Condition] = {rule: parse(text, VOCABULARY) for rule, text in TEXTS.items()}


def test_says_what_fires_and_what_is_open() -> None:
    with Inference(RULES, FACTS) as inference:
        inferred = inference.infer({"x": 10.0, "a": True}, LIMITS)
        assert inferred.fired == ("share-low",)
        assert dict(inferred.unknown) == {"both": frozenset({"b"})}
        assert inference.counts == Counts(questions=1, engine_errors=0, disagreements=0)


class FaultyEngine(Engine):
    """An engine that answers wrongly when a is false, and fails when b is false."""

    def decide(self, facts: Mapping[str, Any], limits: Mapping[str, float]) -> tuple[str, ...]:
        right = super().decide(facts, limits)
        if facts.get("b") is False:
            raise EngineError("error code: 303")
        return (*right, "both") if facts.get("a") is False else right


@pytest.fixture
def faulty() -> Inference:
    inference = Inference(RULES, FACTS, 2)
    inference._engine.close()
    inference._engine = FaultyEngine(RULES, FACTS, 2)
    return inference


def test_a_wrong_engine_is_overruled_counted_and_logged(faulty: Inference, caplog: pytest.LogCaptureFixture) -> None:
    with faulty, caplog.at_level(logging.WARNING, "accord_rules.infer"):
        assert faulty.infer({"x": 60.0, "a": True, "b": True}, LIMITS).fired == ("both",)
        assert not caplog.records
        assert faulty.infer({"x": 60.0, "a": False}, LIMITS).fired == ("not-a",)
    assert [record.getMessage() for record in caplog.records] == [
        "engine and judge disagree on the shared rules about rules, about both; the judge answered"
    ]
    assert faulty.counts == Counts(questions=2, engine_errors=0, disagreements=1)


def test_a_wrong_answer_is_forgotten_and_does_not_come_back() -> None:
    """What the engine remembers by record is right again as soon as its networks are."""
    facts = {"x": 10.0, "a": True, "b": True}
    with Inference(RULES, FACTS, 1, answers_most=100) as inference:
        with contradicting(inference._engine, "both"):
            assert inference.infer(facts, LIMITS).fired == ("share-low", "both")
            assert inference.infer(facts, LIMITS).fired == ("share-low", "both")
        assert inference.counts == Counts(questions=2, engine_errors=0, disagreements=2)
        assert inference.infer(facts, LIMITS).fired == ("share-low", "both")
        assert inference.counts == Counts(questions=3, engine_errors=0, disagreements=2)


def test_only_what_both_said_passes_for_agreed(faulty: Inference) -> None:
    with faulty:
        assert faulty.infer({"x": 60.0, "a": True}, LIMITS).agreed
        assert not faulty.infer({"x": 60.0, "a": False}, LIMITS).agreed, "the engine was wrong"
        assert not faulty.infer({"x": 60.0, "b": False}, LIMITS).agreed, "the engine failed"


def test_facts_that_no_record_can_be_written_of_cost_no_answer() -> None:
    """A number that is a list: the engine can neither answer nor be told what to forget."""
    with Inference(RULES, FACTS, 1) as inference:
        assert inference.infer({"a": False, "x": float("nan"), "b": [1]}, LIMITS).fired == ("not-a",)
        assert inference.counts == Counts(questions=1, engine_errors=1, disagreements=0)


def test_a_failing_engine_is_replaced_counted_and_logged(faulty: Inference, caplog: pytest.LogCaptureFixture) -> None:
    with faulty, caplog.at_level(logging.WARNING, "accord_rules.infer"):
        assert faulty.infer({"x": 40.0, "a": False, "b": False}, LIMITS).fired == ("share-low", "not-a")
    assert [record.getMessage() for record in caplog.records] == [
        "the engine failed on the shared rules about rules (error code: 303); the judge answered: share-low, not-a"
    ]
    assert faulty.counts == Counts(questions=1, engine_errors=1, disagreements=0)


def test_an_engine_closed_under_it_costs_no_answer(caplog: pytest.LogCaptureFixture) -> None:
    inference = Inference(RULES, FACTS)
    inference.close()
    with caplog.at_level(logging.WARNING, "accord_rules.infer"):
        assert inference.infer({"x": 10.0}, LIMITS).fired == ("share-low",)
    assert "the engine is closed" in caplog.text
    assert inference.counts.engine_errors == 1


def test_a_missing_limit_is_a_defect_not_an_engine_error() -> None:
    with Inference(RULES, FACTS) as inference, pytest.raises(KeyError):
        inference.infer({"x": 10.0}, {})


def test_counts_every_question_of_every_thread(faulty: Inference, caplog: pytest.LogCaptureFixture) -> None:
    def ask() -> None:
        for turn in range(300):
            faulty.infer({"x": 1.0, "a": bool(turn % 2)}, LIMITS)

    with faulty, caplog.at_level(logging.ERROR, "accord_rules.infer"):
        threads = [threading.Thread(target=ask) for _ in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert faulty.counts == Counts(questions=1800, engine_errors=0, disagreements=900)


def resident_bytes() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def soak(questions: int) -> tuple[int, int]:
    """Resident bytes after warming up and after ``questions`` more, with firing, silent and failing ones among them."""
    odd: list[dict[str, Any]] = [
        {"x": 10.0, "a": True, "b": True},
        {"x": 90.0, "a": True, "b": False},
        {},
        {"a": False, "x": 1e-07},
    ]
    with Inference(RULES, FACTS, 2) as inference:
        for turn in range(5000):
            inference.infer(odd[turn % 4], LIMITS)
        before = resident_bytes()
        for turn in range(questions):
            inference.infer(odd[turn % 4], LIMITS)
        after = resident_bytes()
        assert inference.counts == Counts(questions=questions + 5000)
    return before, after


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="resident memory is read from /proc")
def test_memory_stays_flat_over_many_questions() -> None:
    before, after = soak(int(os.environ.get("ACCORD_SOAK", "50000")))
    assert after - before < 5_000_000


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="resident memory is read from /proc")
def test_memory_stays_flat_over_many_reloads() -> None:
    """Closing gives back what the C side took: some 12 KB a rule and slot, else 300 reloads would show."""
    rules = {f"{rule}-{place}": condition for place in range(20) for rule, condition in RULES.items()}

    def reload() -> None:
        with Inference(rules, FACTS, 2) as inference:
            inference.infer({"x": 10.0}, LIMITS)

    for _ in range(50):
        reload()
    before = resident_bytes()
    for _ in range(300):
        reload()
    assert resident_bytes() - before < 5_000_000


def test_memory_stays_flat_over_many_failures() -> None:
    """A failing question starts its session afresh; that too must give everything back."""
    with Engine(RULES, FACTS, 1) as engine:
        network = engine._networks[0]

        class Places(dict[str, int]):
            def __getitem__(self, key: str) -> int:
                raise TypeError(key)

        network._place, places = Places(), network._place
        before = 0
        for turn in range(3000):
            if turn == 500:
                before = resident_bytes()
            with pytest.raises(EngineError):
                engine.decide({"x": 10.0}, LIMITS)
        network._place = places
        assert resident_bytes() - before < 5_000_000
        assert engine.decide({"x": 10.0}, LIMITS) == ("share-low",)
