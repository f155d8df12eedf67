"""The engine: its answers, the hazards its wrapper must survive, how rules are split, and trials.

The hazards are those found by running durable-rules 2.0.28 and reading its C source.
"""

from __future__ import annotations

import math
import os
import random
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from typing import Any

import pytest
from tests.rules.infer.generate import ODD_NUMBERS, random_book, random_facts

from accord_rules.documents import units
from accord_rules.infer import engine as engine_module
from accord_rules.infer.engine import (
    Engine,
    EngineError,
    compile_rules,
    fnv,
    property_names,
    split,
    too_much,
    try_out,
)
from accord_rules.infer.judge import Judge
from accord_rules.revision.condition import Condition, Vocabulary, parse
from accord_rules.revision.facts import BOOL, FactType, number, one_of, set_of

FLAGS = tuple(f"item.b{place}" for place in range(400))
FACTS: dict[str, FactType] = {
    "x": number(units.PERCENT),
    "y": number(units.PERCENT),
    "t": number(units.TEMPERATURE),
    "kind": one_of(("paper", "film", 'a"b', "foil")),
    "other": one_of(("film", "vinyl")),
    "parts": set_of(("zip", "seam")),
    **dict.fromkeys(FLAGS, BOOL),
}
VOCABULARY = Vocabulary(FACTS, {"heat.most": units.TEMPERATURE})
LIMITS = {"heat.most": 200.0}


def rules_of(*texts: str) -> dict[str, Condition]:
    return {f"rule-{place}": parse(text, VOCABULARY) for place, text in enumerate(texts)}


def decide(texts: tuple[str, ...], facts: Mapping[str, Any]) -> tuple[str, ...]:
    with Engine(rules_of(*texts), FACTS, 1) as engine:
        return engine.decide(facts, LIMITS)


# --- answers -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "facts", "expected"),
    [
        ("item.b1", {"item.b1": True}, True),
        ("item.b1", {"item.b1": False}, False),
        ("item.b1", {}, False),
        ("not item.b1", {"item.b1": False}, True),
        ("not item.b1", {}, False),
        ("not item.b1", {"item.b1": None}, False),
        ("x < 50", {"x": 50}, False),
        ("x != 50", {"x": 49}, True),
        ("x != 50", {}, False),
        ("x != 50", {"x": math.nan}, False),
        ("not x < 50", {"x": math.nan}, False),
        ("10 <= x <= 20", {"x": 20.0}, True),
        ("t > limit('heat.most')", {"t": 200.0}, False),
        ("t > limit('heat.most')", {"t": math.nextafter(200.0, 300)}, True),
        ("not t > limit('heat.most')", {}, False),
        ("x < y", {"x": 1, "y": 2}, True),
        ("not x < y", {"x": 1}, False),
        ("kind == 'film'", {"kind": "film"}, True),
        ("kind == 'a\"b'", {"kind": 'a"b'}, True),
        ("kind != 'film'", {"kind": "foil"}, True),
        ("kind != 'film'", {}, False),
        ("kind != 'film'", {"kind": "a word that came later"}, True),
        ("kind == other", {"kind": "film", "other": "film"}, True),
        ("kind in ('film', 'foil')", {"kind": "foil"}, True),
        ("kind not in ('film', 'foil')", {"kind": "paper"}, True),
        ("kind not in ('film', 'foil')", {}, False),
        ("'zip' in parts", {"parts": ("zip",)}, True),
        ("'zip' not in parts", {"parts": frozenset()}, True),
        ("'zip' not in parts", {}, False),
    ],
)
def test_answers(text: str, facts: dict[str, Any], expected: bool) -> None:
    assert (decide((text,), facts) == ("rule-0",)) is expected


def test_answers_in_rule_order_and_once_however_many_branches_hold() -> None:
    texts = ("item.b3", "item.b1 or item.b2 or item.b3", "item.b0", "item.b2")
    everything = dict.fromkeys(FLAGS, True)
    assert decide(texts, everything) == ("rule-0", "rule-1", "rule-2", "rule-3")
    assert decide(texts, {"item.b2": True}) == ("rule-1", "rule-3")


def test_has_no_rules_to_fire_when_there_are_none() -> None:
    with Engine({}, FACTS) as engine:
        assert engine.decide({"x": 1}, {}) == ()


def test_one_engine_serves_every_shops_limits() -> None:
    with Engine(rules_of("t > limit('heat.most')"), FACTS, 1) as engine:
        assert engine.decide({"t": 195.0}, {"heat.most": 200.0}) == ()
        assert engine.decide({"t": 195.0}, {"heat.most": 190.0}) == ("rule-0",)


def test_a_missing_limit_is_a_defect_and_costs_no_slot() -> None:
    with Engine(rules_of("t > limit('heat.most')"), FACTS, 1) as engine:
        for _ in range(3):
            with pytest.raises(KeyError):
                engine.decide({"t": 195.0}, {})
        assert engine.decide({"t": 201.0}, LIMITS) == ("rule-0",)


# --- hazards -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [*ODD_NUMBERS, math.nan])
def test_odd_numbers_are_compared_as_python_compares_them(value: float) -> None:
    """Exponents, infinities and integers beyond 2**53 in a record are errors or wrong answers for the engine itself."""
    texts = (
        "x < 1",
        "x <= 0",
        "x == 0",
        "x != 0",
        "x > 0",
        "x >= 1",
        "x > 1000",
        "x == 1",
        "x < 0.0001",
        "x > y",
        "t < limit('heat.most')",
    )
    facts = {"x": value, "y": 0.5, "t": value}
    assert decide(texts, facts) == Judge(rules_of(*texts)).judge(facts, LIMITS).fired


@pytest.mark.parametrize(
    "word",
    [
        "",
        '"',
        "\\",
        '","sid":"w1',
        "\0",
        "\n",
        "{}",
        "\u20ac\U0001f525",
        "\ud800",
        "x" * 100_000,
        "id",
        "sid",
        "~",
        "~~",
    ],
)
def test_odd_words_are_compared_as_python_compares_them(word: str) -> None:
    texts = (
        "kind == 'film'",
        "kind != 'film'",
        "kind in ('film', 'foil')",
        "kind not in ('film', 'foil')",
        "kind != other",
    )
    facts = {"kind": word, "other": "film"}
    assert decide(texts, facts) == Judge(rules_of(*texts)).judge(facts, LIMITS).fired


@pytest.mark.parametrize(
    "facts", [{"x": "50"}, {"item.b0": "yes"}, {"item.b0": 2}, {"kind": 3}, {"kind": ["film"]}, {"parts": 5}]
)
def test_values_of_the_wrong_type_are_errors_and_cost_no_slot(facts: dict[str, Any]) -> None:
    with Engine(rules_of("x < 50", "item.b0", "kind == 'film'", "'zip' in parts"), FACTS, 1) as engine:
        for _ in range(3):
            with pytest.raises(EngineError):
                engine.decide(facts, LIMITS)
        assert engine.decide({"x": 1}, LIMITS) == ("rule-0",)


IN_A_PROCESS = """
import sys
from tests.rules.infer.test_engine import FACTS, LIMITS, rules_of
from accord_rules.infer.engine import Engine
with Engine(rules_of("item.b0", "x < 50"), FACTS, 4) as engine:
    for _ in range(8):
        assert engine.decide({"item.b0": False, "x": 60}, LIMITS) == ()
    assert engine.decide({"item.b0": True}, LIMITS) == ("rule-0",)
"""


def in_a_process(code: str) -> subprocess.CompletedProcess[bytes]:
    paths = os.pathsep.join(path for path in sys.path if path)
    return subprocess.run(
        [sys.executable, "-X", "faulthandler", "-c", code],
        env={**os.environ, "PYTHONPATH": paths, "MALLOC_PERTURB_": "165"},
        capture_output=True,
        timeout=60,
        check=False,
    )


def test_a_fresh_process_survives_that_nothing_fires_first() -> None:
    """Used in the documented way the engine frees uninitialised memory here; MALLOC_PERTURB_ would make that fatal."""
    done = in_a_process(IN_A_PROCESS)
    assert done.returncode == 0, done.stderr.decode()


def test_thousands_of_answers_stay_right() -> None:
    rng = random.Random(3)
    book = random_book(rng, 30)
    judge = Judge(book.rules)
    samples = [random_facts(rng, book, book.limits, 0.2) for _ in range(50)]
    expected = [judge.judge(facts, book.limits).fired for facts in samples]
    with Engine(book.rules, book.vocabulary.facts, 1) as engine:
        for turn in range(5000):
            assert engine.decide(samples[turn % 50], book.limits) == expected[turn % 50]


def test_threads_share_an_engine() -> None:
    """More threads than slots, each checking its own answers."""
    rng = random.Random(4)
    book = random_book(rng, 30)
    judge = Judge(book.rules)
    samples = [random_facts(rng, book, book.limits, 0.2) for _ in range(40)]
    expected = [judge.judge(facts, book.limits).fired for facts in samples]
    wrong: list[object] = []
    done = [0] * 12

    def ask(engine: Engine, place: int) -> None:
        for turn in range(400):
            sample = (turn * 7 + place) % 40
            try:
                answer: object = engine.decide(samples[sample], book.limits)
            except EngineError as error:
                answer = error
            if answer != expected[sample]:
                wrong.append(answer)
            done[place] += 1

    with Engine(book.rules, book.vocabulary.facts, 3) as engine:
        threads = [threading.Thread(target=ask, args=(engine, place)) for place in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not wrong
    assert done == [400] * 12


def test_closing_waits_for_questions_and_turns_later_ones_away() -> None:
    rules, facts = rules_of("item.b0", "x < 50"), {"item.b0": True, "x": 1}
    engine = Engine(rules, FACTS, 2)
    answers: set[object] = set()
    started = threading.Barrier(9)

    def ask() -> None:
        started.wait()
        while True:
            try:
                answers.add(engine.decide(facts, LIMITS))
            except EngineError as error:
                answers.add(str(error))
                return

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    started.wait()
    engine.close()
    for thread in threads:
        thread.join(timeout=20)
    assert not any(thread.is_alive() for thread in threads)
    assert answers <= {("rule-0", "rule-1"), "the engine is closed"}
    engine.close()
    with pytest.raises(EngineError, match="closed"):
        engine.decide(facts, LIMITS)


def test_an_engine_that_is_closing_turns_questions_away_at_once() -> None:
    engine = Engine(rules_of("item.b0"), FACTS, 1)
    session = engine._free.get()
    closing = threading.Thread(target=engine.close)
    closing.start()
    while not engine._closed:
        closing.join(timeout=0.001)
    start = time.monotonic()
    with pytest.raises(EngineError, match="the engine is closed"):
        engine.decide({"item.b0": True}, LIMITS)
    assert time.monotonic() - start < engine_module.WAIT_S / 2
    engine._free.put(session)
    closing.join(timeout=engine_module.WAIT_S)
    assert not closing.is_alive()


def test_a_question_that_never_ends_is_not_waited_for_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "WAIT_S", 0.05)
    engine = Engine(rules_of("item.b0"), FACTS, 1)
    engine._free.get()
    with pytest.raises(EngineError, match=r"did not end within 0\.05 s"):
        engine.close()


def test_both_sides_of_a_fork_go_on() -> None:
    """As under a preloading server: load, fork, answer on both sides, load again in the child."""
    code = """
import os
from tests.rules.infer.test_engine import FACTS, LIMITS, rules_of
from accord_rules.infer.engine import Engine
engine = Engine(rules_of("item.b0", "x < 50"), FACTS, 2)
def work():
    for turn in range(500):
        want = ("rule-0",) if turn % 2 else ("rule-1",)
        assert engine.decide({"item.b0": bool(turn % 2), "x": 60 if turn % 2 else 1}, LIMITS) == want
children = []
for _ in range(3):
    child = os.fork()
    if not child:
        work()
        engine.close()
        with Engine(rules_of("x > 5"), FACTS, 1) as again:
            assert again.decide({"x": 6}, LIMITS) == ("rule-0",)
        os._exit(0)
    children.append(child)
work()
assert all(os.waitpid(child, 0)[1] == 0 for child in children)
"""
    done = in_a_process(code)
    assert done.returncode == 0, done.stderr.decode()


class Interrupted(BaseException):
    pass


class Places(dict[str, int]):
    """Stands for a signal that arrives while the engine's answers are read."""

    def __getitem__(self, key: str) -> int:
        raise Interrupted


def test_an_interrupted_question_leaves_no_trace() -> None:
    """An action that was started and not completed would answer all later questions in its session."""
    rules = rules_of("item.b0", "item.b1", "x < 50")
    facts = [{"item.b0": True, "item.b1": True, "x": 1}, {"item.b1": True, "x": 60}, {"x": 2}]

    with Engine(rules, FACTS, 1) as engine:
        network = engine._networks[0]
        for _ in range(5):
            network._place, places = Places(), network._place
            with pytest.raises(Interrupted):
                engine.decide(facts[0], LIMITS)
            network._place = places
            assert engine.decide(facts[1], LIMITS) == ("rule-1",)
            assert engine.decide(facts[2], LIMITS) == ("rule-2",)


def test_does_not_wait_for_ever_for_a_slot(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "WAIT_S", 0.05)
    with Engine(rules_of("item.b0"), FACTS, 1) as engine:
        engine._free.get()
        with pytest.raises(EngineError, match=r"no slot came free in 0.05 s"):
            engine.decide({"item.b0": True}, LIMITS)
        engine._free.put(0)
        assert engine.decide({"item.b0": True}, LIMITS) == ("rule-0",)


# --- how rules are split -------------------------------------------------------------------------------------------


def all_on(names: tuple[str, ...] = FLAGS, **more: Any) -> dict[str, Any]:
    return {**dict.fromkeys(names, True), **more}


def test_splits_what_could_overflow_the_engines_stack() -> None:
    """More than 64 tests that hold at once are error 303 in one network."""
    texts = tuple(FLAGS[:150])
    with Engine(rules_of(*texts), FACTS, 2) as engine:
        assert engine.networks == 3
        assert engine.decide(all_on(), LIMITS) == tuple(f"rule-{place}" for place in range(150))
        assert engine.decide({FLAGS[149]: True}, LIMITS) == ("rule-149",)


def test_the_stack_is_shared_by_all_depths(monkeypatch: pytest.MonkeyPatch) -> None:
    """40 tests at the start and 40 after one of them overflow together, though neither does alone: splitting is
    needed, and without it the engine does fail, cleanly, and goes on.
    """
    texts = (*FLAGS[:40], *(f"kind == 'film' and {name}" for name in FLAGS[50:90]))
    facts = all_on(kind="film")
    expected = tuple(f"rule-{place}" for place in range(80))
    with Engine(rules_of(*texts), FACTS, 1) as engine:
        assert engine.networks == 2
        assert engine.decide(facts, LIMITS) == expected
    monkeypatch.setattr(engine_module, "MOST_PENDING", 1000)
    with Engine(rules_of(*texts), FACTS, 1) as engine:
        assert engine.networks == 1
        # The order in which the record lists its facts decides how deep the walk gets.
        record = engine._networks[0].record
        record._valued, record._texts = record._valued[::-1], record._texts[::-1]
        for _ in range(3):
            with pytest.raises(EngineError, match="303"):
                engine.decide(facts, LIMITS)
            assert engine.decide({"item.b3": True}, LIMITS) == ("rule-3",)


def test_tests_that_exclude_each_other_count_once() -> None:
    """Of one word, one flag both ways, and one number's ranges, only so many can hold at once."""
    words = Vocabulary({"w": one_of(tuple(f"w{place}" for place in range(300)))})
    rules = {f"r{place}": parse(f"w == 'w{place}'", words) for place in range(300)}
    compiled = compile_rules(rules)
    assert too_much(compiled) is None
    with Engine(rules, words.facts, 1) as engine:
        assert engine.networks == 1
        assert engine.decide({"w": "w299"}, {}) == ("r299",)
    both = rules_of(*FLAGS[:60], *(f"not {name}" for name in FLAGS[:60]))
    assert len(split(compile_rules(both))) == 1


def test_a_comparison_and_its_opposite_exclude_each_other() -> None:
    temperatures = {f"t{place}": number(units.TEMPERATURE) for place in range(45)}
    vocabulary = Vocabulary(temperatures, {"heat.most": units.TEMPERATURE})
    texts = [f"{name} {sign} limit('heat.most')" for name in temperatures for sign in ("<", ">=")]
    with Engine({text: parse(text, vocabulary) for text in texts}, temperatures, 1) as engine:
        assert engine.networks == 1
        assert engine.decide({"t7": 200.0}, LIMITS) == ("t7 >= limit('heat.most')",)


def test_only_what_some_test_is_true_of_is_sent() -> None:
    rules = rules_of("item.b0", "not item.b1", "x < 50", "kind == 'film'", "t > limit('heat.most')", "'zip' in parts")
    with Engine(rules, FACTS, 1) as engine:
        write = engine._networks[0].record.write
        nothing = {"item.b0": False, "item.b1": True, "x": 50, "kind": "foil", "t": 200.0, "parts": (), "y": 1}
        assert write(nothing, LIMITS) == ""
        assert write({**nothing, "item.b0": True, "x": 49}, LIMITS).count(":") == 2


def test_unequal_words_all_hold_at_once() -> None:
    words = Vocabulary({"w": one_of(tuple(f"w{place}" for place in range(100)))})
    rules = {f"r{place}": parse(f"w != 'w{place}'", words) for place in range(100)}
    with Engine(rules, words.facts, 1) as engine:
        assert engine.networks == 2
        assert engine.decide({"w": "w5"}, {}) == tuple(f"r{place}" for place in range(100) if place != 5)


def test_splits_more_children_than_the_engine_can_hold() -> None:
    """512 tests after one beginning make the engine loop for ever."""
    words = Vocabulary({"w": one_of(tuple(f"w{place}" for place in range(900)))})
    rules = {f"r{place}": parse(f"w == 'w{place}'", words) for place in range(900)}
    with Engine(rules, words.facts, 1) as engine:
        assert engine.networks == 3
        assert engine.decide({"w": "w899"}, {}) == ("r899",)


def test_splits_more_equal_conditions_than_the_engine_can_hold() -> None:
    """More than 256 rules with one condition are error 108 in one network."""
    with Engine(rules_of(*(["item.b0"] * 600)), FACTS, 1) as engine:
        assert engine.networks == 3
        assert len(engine.decide({"item.b0": True}, LIMITS)) == 600


def test_refuses_a_rule_that_no_network_can_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "MOST_ATTRIBUTES", 3)
    with pytest.raises(EngineError, match=r"cannot be loaded: 4 facts and comparisons \(most is 3\)"):
        Engine(rules_of("item.b0", " and ".join(FLAGS[:4])), FACTS)


def test_a_long_condition_within_the_grammar_loads() -> None:
    text = " and ".join(FLAGS[:130])
    assert decide((text,), all_on()) == ("rule-0",)
    assert decide((text,), all_on(FLAGS[:129])) == ()


def test_random_books_of_many_rules_stay_within_the_bound() -> None:
    rng = random.Random(8)
    for _ in range(5):
        book = random_book(rng, 200)
        runs = split(compile_rules(book.rules))
        assert sum(map(len, runs)) == len(compile_rules(book.rules)), "a rule was lost"
        assert [too_much(run) for run in runs] == [None] * len(runs)


def test_refuses_rules_read_with_other_facts() -> None:
    with pytest.raises(EngineError, match="another declaration of x"):
        Engine(rules_of("x < 50"), {**FACTS, "x": number(units.COUNT)})
    with pytest.raises(EngineError, match=r"another declaration of item\.b0"):
        Engine(rules_of("item.b0"), {"x": FACTS["x"]})
    with pytest.raises(ValueError, match="at least one slot"):
        Engine(rules_of("item.b0"), FACTS, 0)


def test_property_names_never_share_a_hash() -> None:
    """'liquid' and 'costarring' are one property to the engine: known 32-bit FNV-1a collision."""
    assert fnv("liquid") == fnv("costarring")
    assert fnv("") == 2166136261  # the offset basis, from the FNV specification
    assert fnv("a") == 0xE40C292C  # test vector from the same
    names = property_names(("liquid",))
    first = [next(names) for _ in range(5000)]
    assert len({fnv(name) for name in first}) == 5000


def test_a_name_whose_hash_is_taken_is_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "fnv", lambda name: len(name))
    names = property_names(("id",))
    assert [next(names), next(names)] == ["a10", "a100"]


# --- trials --------------------------------------------------------------------------------------------------------

SAMPLES: list[tuple[dict[str, Any], dict[str, float]]] = [
    ({"item.b0": True}, LIMITS),
    ({"x": 1.0, "unpicklable": lambda: 0}, LIMITS),
]


@pytest.fixture
def rules() -> dict[str, Condition]:
    return rules_of("item.b0", "not x < 50", "t > limit('heat.most')")


def test_a_good_book_passes_its_trial(rules: dict[str, Condition]) -> None:
    try_out(rules, FACTS, SAMPLES, 30)


@pytest.mark.parametrize(
    ("fault", "seconds", "reason"),
    [
        ("crash", 30, "was ended by SIGSEGV"),
        ("hang", 1, "no end within 1 s"),
        ("toil", 1, "no end within 1 s of work"),
        ("fail", 30, "ended with code 1: RuntimeError: out of paper"),
        ("wrong", 30, "disagree on sample 0 about rule-1, rule-2"),
        ("missing", 30, "ended with code 1: AttributeError"),
    ],
)
def test_a_trial_notices(
    rules: dict[str, Condition], fault: str, seconds: int, reason: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Beside other work a process that toils gets its second late; one that hangs never does.
    monkeypatch.setattr(engine_module, "_WAITED_MOST", 60 if fault == "toil" else 1)
    with pytest.raises(EngineError) as caught:
        try_out(rules, FACTS, SAMPLES, seconds, trial=f"tests.rules.infer.faults:{fault}")
    assert reason in str(caught.value)


def test_a_trial_reports_rules_that_cannot_be_loaded(rules: dict[str, Condition]) -> None:
    with pytest.raises(EngineError, match="trial: rule rule-1 was read with another declaration of x"):
        try_out(rules, {**FACTS, "x": number(units.COUNT)}, SAMPLES, 30)


# --- what is remembered -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pending", "networks"), [(60, 1), (6, 3)])
def test_an_engine_that_remembers_answers_as_one_that_asks(
    pending: int, networks: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Random facts over a random book, each asked twice, with room for a tenth of the records; values that no rule
    tells apart share an answer, in one network or in several."""
    monkeypatch.setattr(engine_module, "MOST_PENDING", pending)
    rng = random.Random(11)
    book = random_book(rng)
    samples = [random_facts(rng, book, book.limits, 0.2) for _ in range(200)] * 2
    with (
        Engine(book.rules, book.vocabulary.facts, 1) as asking,
        Engine(book.rules, book.vocabulary.facts, 1, answers_most=20) as remembering,
    ):
        assert remembering.networks >= networks
        for facts in samples:
            assert remembering.decide(facts, book.limits) == asking.decide(facts, book.limits)
        assert 0 < len(remembering._answers) <= 20
        assert not asking._answers


def test_a_moved_limit_is_another_record() -> None:
    """Limits are not in the network, so that what is remembered must not hang on their names."""
    rules = rules_of("t > limit('heat.most')")
    with Engine(rules, FACTS, 1, answers_most=10) as engine:
        fact, limit = {"t": 150.0}, "heat.most"
        assert engine.decide(fact, {**LIMITS, limit: 140.0}) == ("rule-0",)
        assert engine.decide(fact, {**LIMITS, limit: 160.0}) == ()
        assert engine.decide(fact, {**LIMITS, limit: 140.0}) == ("rule-0",)


def test_an_interrupted_question_is_not_remembered() -> None:
    with Engine(rules_of("item.b0"), FACTS, 1, answers_most=10) as engine:
        network = engine._networks[0]
        network._place, places = Places(), network._place
        with pytest.raises(Interrupted):
            engine.decide({"item.b0": True}, LIMITS)
        network._place = places
        assert engine.decide({"item.b0": True}, LIMITS) == ("rule-0",)
