"""What is kept of questions that the judge had to settle: counts by network, a log that can be replayed."""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from tests.rules.infer.planted import contradicting

from accord_rules.documents import units
from accord_rules.infer import engine as engine_module
from accord_rules.infer.engine import Engine, EngineError
from accord_rules.infer.inference import Inference
from accord_rules.infer.ledger import (
    DISAGREEMENT,
    ENGINE_ERROR,
    FACTS,
    HOUSE,
    LOG_EVERY_S,
    MOST_CHARACTERS_OF_RULES,
    RECORD,
    SHARED,
    WALK,
    Ledger,
    Network,
)
from accord_rules.infer.replay import replay
from accord_rules.revision.condition import Condition, Vocabulary, parse
from accord_rules.revision.facts import BOOL, FactType, number, one_of, set_of

TYPES: dict[str, FactType] = {
    "a": BOOL,
    "b": BOOL,
    "x": number(units.PERCENT),
    "t": number(units.TEMPERATURE),
    "kind": one_of(("paper", "film")),
    "parts": set_of(("zip", "seam")),
}
VOCABULARY = Vocabulary(TYPES, {"share.least": units.PERCENT, "heat.most": units.TEMPERATURE})
LIMITS = {"share.least": 50.0, "heat.most": 200.0}
RULES = {
    "share-low": "x < limit('share.least') and kind == 'film'",
    "hot": "t > limit('heat.most')",
    "zip": "'zip' in parts",
    "both": "a and b",
}
QUESTION: dict[str, Any] = {"a": True, "b": None, "x": 10.0, "t": math.inf, "kind": "film", "parts": ("zip",)}
ANSWER = ("share-low", "hot", "zip")


def rules(texts: Mapping[str, str] = RULES) -> dict[str, Condition]:
    return {name: parse(text, VOCABULARY) for name, text in texts.items()}


class Clock:
    def __init__(self) -> None:
        self.now_s = 1_000_000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def ledger(clock: Clock) -> Ledger:
    return Ledger(clock)


@pytest.fixture
def inference(ledger: Ledger) -> Iterator[Inference]:
    with Inference(rules(), TYPES, 1, network=Network(SHARED, "order"), ledger=ledger) as network:
        yield network


@pytest.fixture
def log(caplog: pytest.LogCaptureFixture) -> pytest.LogCaptureFixture:
    caplog.set_level(logging.WARNING, "accord_rules.infer")
    return caplog


# --- the event reproduces itself ----------------------------------------------------------------------------------


class SilentAboutZips(Engine):
    """An engine that never finds a zip."""

    def decide(self, facts: Mapping[str, Any], limits: Mapping[str, float]) -> tuple[str, ...]:
        return tuple(rule for rule in super().decide(facts, limits) if rule != "zip")


class Failing(Engine):
    def decide(self, facts: Mapping[str, Any], limits: Mapping[str, float]) -> tuple[str, ...]:
        raise EngineError("error code: 303")


def details(record: logging.LogRecord) -> dict[str, Any]:
    """What the service's log writes beside the message, once it was written and read again."""
    written: dict[str, Any] = json.loads(json.dumps(record.details, allow_nan=False))  # type: ignore[attr-defined]
    return written


def pasted(record: logging.LogRecord) -> dict[str, Any]:
    doubt: dict[str, Any] = details(record)["doubt"]
    return doubt


def test_a_logged_disagreement_can_be_put_again(inference: Inference, log: pytest.LogCaptureFixture) -> None:
    with contradicting(inference._engine, "zip"):
        assert inference.infer(QUESTION, LIMITS).fired == ANSWER
    (record,) = log.records
    assert (
        record.getMessage()
        == "engine and judge disagree on the shared rules about order, about zip; the judge answered"
    )
    doubt = pasted(record)
    written = inference._engine._networks[0].record.write(QUESTION, LIMITS)
    assert doubt == {
        "kind": "disagreement",
        "layer": "shared",
        "about": "order",
        "networks": ["order"],
        "apart": ["zip"],
        "inferred": ["share-low", "hot"],
        "judged": ["share-low", "hot", "zip"],
        "reason": "",
        "records": {"order": written},
        "rules": RULES,
        "rules_digest": doubt["rules_digest"],
        "facts": {"a": True, "x": 10.0, "t": "inf", "kind": "film", "parts": ["zip"]},
        "limits": LIMITS,
    }
    assert len(written) > 20
    again = replay(doubt, VOCABULARY)
    assert (again.inferred, again.judged, again.differs) == (ANSWER, ANSWER, False), "the networks are right by now"
    assert again.records == doubt["records"], "the very text that the network was asked"
    wrong = replay(doubt, VOCABULARY, engine=SilentAboutZips)
    assert (wrong.inferred, wrong.judged, wrong.differs) == (("share-low", "hot"), ANSWER, True)


def test_a_logged_failure_can_be_put_again(ledger: Ledger, log: pytest.LogCaptureFixture) -> None:
    with Inference(rules(), TYPES, 1, network=Network(SHARED, "order"), ledger=ledger) as inference:
        inference._engine.close()
        assert inference.infer(QUESTION, LIMITS).fired == ANSWER
    doubt = pasted(log.records[0])
    assert (doubt["kind"], doubt["reason"], doubt["inferred"]) == ("engine-error", "the engine is closed", [])
    assert doubt["apart"] == []
    assert replay(doubt, VOCABULARY).inferred == ANSWER
    failed = replay(doubt, VOCABULARY, engine=Failing)
    assert (failed.inferred, failed.reason, failed.differs) == (None, "error code: 303", True)


def test_long_rules_are_left_to_the_book(ledger: Ledger, log: pytest.LogCaptureFixture) -> None:
    """The line names those apart, and a sum by which the others are known again."""
    texts = RULES | {f"rule-{place}": f"a and b and x < {place / 4}" for place in range(1, 390)}
    assert sum(map(len, texts.values())) > MOST_CHARACTERS_OF_RULES
    with Inference(rules(texts), TYPES, 1, ledger=ledger) as inference, contradicting(inference._engine, "zip"):
        inference.infer(QUESTION, LIMITS)
    doubt = pasted(log.records[0])
    assert doubt["rules"] == {"zip": RULES["zip"]}
    assert len(json.dumps(doubt)) < 16_384
    again = replay(doubt, VOCABULARY, rules(texts))
    assert {name: again.records[name] for name in doubt["networks"]} == doubt["records"]
    for others in (None, rules(), rules(texts | {"zip": "'seam' in parts"})):
        with pytest.raises(ValueError, match="not the ones that were asked"):
            replay(doubt, VOCABULARY, others)


# --- what is counted ----------------------------------------------------------------------------------------------


def test_walks_are_told_from_remembered_answers(inference: Inference, ledger: Ledger) -> None:
    network = Network(SHARED, "order")
    for _ in range(3):
        inference.infer(QUESTION, LIMITS)
    inference.infer({**QUESTION, "x": 11.0}, LIMITS)
    inference.infer({**QUESTION, "x": 60.0}, LIMITS)
    inference.infer({}, LIMITS)
    inference.remembered()
    counts = ledger.counts[network]
    assert (counts[WALK], counts[RECORD], counts[FACTS]) == (2, 4, 1), "11 % is no other record, 60 % is; {} is none"


def test_only_the_network_that_holds_the_rule_is_doubted(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "MOST_PENDING", 2)
    with Inference(rules(), TYPES, 1, network=Network(SHARED, "order"), ledger=ledger) as inference:
        names = list(inference._engine.accounts)
        assert names == ["order-1", "order-2"]
        (concerned,) = inference._engine.holding(["zip"])
        with contradicting(inference._engine, "zip"):
            inference.infer(QUESTION, LIMITS)
    counted = {network.name: counts[DISAGREEMENT] for network, counts in ledger.counts.items()}
    assert counted == {name: int(name == concerned) for name in names}


def test_only_the_network_that_fails_is_doubted(
    ledger: Ledger, log: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine_module, "MOST_PENDING", 2)
    with Inference(rules(), TYPES, 1, network=Network(SHARED, "order"), ledger=ledger) as inference:

        def fail(number: int, body: str) -> frozenset[int]:
            raise EngineError("the record was not taken (code 2)")

        monkeypatch.setattr(inference._engine._networks[1], "_ask", fail)
        assert inference.infer(QUESTION, LIMITS).fired == ANSWER
    assert {network.name: counts[ENGINE_ERROR] for network, counts in ledger.counts.items()} == {
        "order-1": 0,
        "order-2": 1,
    }
    assert list(pasted(log.records[0])["records"]) == ["order-2"]


def test_house_networks_are_counted_together_and_tell_no_names(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever two shops' rules are called and however many networks they take; and when their networks are gone."""
    monkeypatch.setattr(engine_module, "MOST_PENDING", 2)
    network = Network(HOUSE, "order")
    for name in ("house.zip-of-quay", "house.zip-of-mill"):
        texts = {name: RULES["zip"], "house.hot": RULES["hot"], "house.both": RULES["both"]}
        with Inference(rules(texts), TYPES, 1, network=network, ledger=ledger) as inference:
            assert inference._engine.networks == 2
            with contradicting(inference._engine, name):
                inference.infer(QUESTION, LIMITS)
    assert set(ledger.counts) == {network}
    assert ledger.counts[network][DISAGREEMENT] == 2


def test_in_doubt_since_the_first_time_and_for_good(inference: Inference, ledger: Ledger, clock: Clock) -> None:
    inference.infer(QUESTION, LIMITS)
    assert ledger.since_s is None
    with contradicting(inference._engine, "zip"):
        inference.infer(QUESTION, LIMITS)
        clock.now_s += 10
        inference.infer(QUESTION, LIMITS)
    clock.now_s += 1e6
    inference.infer(QUESTION, LIMITS)
    assert ledger.since_s == 1_000_000.0


# --- what is logged -----------------------------------------------------------------------------------------------


def test_the_log_has_one_line_a_network_and_minute_and_says_how_many_it_left_out(
    inference: Inference, ledger: Ledger, clock: Clock, log: pytest.LogCaptureFixture
) -> None:
    house = Inference(rules(), TYPES, 1, network=Network(HOUSE, "order"), ledger=ledger)
    with house, contradicting(inference._engine, "zip"), contradicting(house._engine, "zip"):
        for _ in range(50):
            inference.infer(QUESTION, LIMITS)
            clock.now_s += 1
        house.infer(QUESTION, LIMITS)
        assert [(details(record)["doubt"]["layer"], details(record)["not_logged"]) for record in log.records] == [
            ("shared", 0),
            ("house", 0),
        ]
        clock.now_s = 1_000_000.0 + LOG_EVERY_S
        inference.infer(QUESTION, LIMITS)
        inference.infer(QUESTION, LIMITS)
    assert details(log.records[-1])["not_logged"] == 49
    assert log.records[-1].getMessage().endswith("(49 more since the last such line)")
    assert len(log.records) == 3
    assert ledger.counts[Network(SHARED, "order")][DISAGREEMENT] == 52, "the counts have all"


def test_a_clock_that_is_put_back_silences_nothing(
    inference: Inference, clock: Clock, log: pytest.LogCaptureFixture
) -> None:
    with contradicting(inference._engine, "zip"):
        inference.infer(QUESTION, LIMITS)
        clock.now_s -= 3600
        inference.infer(QUESTION, LIMITS)
    assert len(log.records) == 2
