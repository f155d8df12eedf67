"""The judge: Kleene's three values, which unknown facts can still matter, and independence from the branches."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from tests.rules.infer.generate import Book, random_book, random_facts

from accord_rules.documents import units
from accord_rules.infer.compiled import holds
from accord_rules.infer.judge import Judge
from accord_rules.revision.condition import (
    And,
    Compare,
    Condition,
    Contains,
    FactName,
    LimitName,
    Not,
    Truth,
    Vocabulary,
    Within,
    parse,
)
from accord_rules.revision.facts import BOOL, Kind, number, one_of, set_of

VOCABULARY = Vocabulary(
    {
        "a": BOOL,
        "b": BOOL,
        "c": BOOL,
        "x": number(units.PERCENT),
        "y": number(units.PERCENT),
        "kind": one_of(("paper", "film", "foil")),
        "other": one_of(("film", "vinyl")),
        "parts": set_of(("zip", "seam")),
    },
    {"least": units.PERCENT},
)
LIMITS = {"least": 50.0}


def read(text: str) -> Condition:
    return parse(text, VOCABULARY)


def truth_of(text: str, **facts: Any) -> bool | None:
    return holds(read(text).tree, facts, LIMITS)


def open_facts(text: str, **facts: Any) -> set[str] | None:
    """The facts that can still matter; None where the rule is settled."""
    unknown = Judge({"rule": read(text)}).judge(facts, LIMITS).unknown
    return set(unknown["rule"]) if unknown else None


T, F, U = True, False, None
# S. C. Kleene, "Introduction to Metamathematics", 1952, section 64: the strong tables, written out from memory.
KLEENE_AND = {(T, T): T, (T, F): F, (T, U): U, (F, T): F, (F, F): F, (F, U): F, (U, T): U, (U, F): F, (U, U): U}
KLEENE_OR = {(T, T): T, (T, F): T, (T, U): T, (F, T): T, (F, F): F, (F, U): U, (U, T): T, (U, F): U, (U, U): U}


@pytest.mark.parametrize(("left", "right"), list(KLEENE_AND))
def test_follows_kleenes_tables(left: bool | None, right: bool | None) -> None:
    assert truth_of("a and b", a=left, b=right) is KLEENE_AND[left, right]
    assert truth_of("a or b", a=left, b=right) is KLEENE_OR[left, right]
    assert truth_of("not a", a=left) is (None if left is None else not left)
    # Through the longer forms as well.
    for third in (T, F, U):
        assert truth_of("a and b and c", a=left, b=right, c=third) is KLEENE_AND[KLEENE_AND[left, right], third]
        assert truth_of("a or b or c", a=left, b=right, c=third) is KLEENE_OR[KLEENE_OR[left, right], third]


@pytest.mark.parametrize(
    ("text", "facts", "expected"),
    [
        ("x < 50", {"x": 49.9}, True),
        ("x < 50", {"x": 50}, False),
        ("x <= 50", {"x": 50}, True),
        ("x == 50", {"x": 50.0}, True),
        ("x != 50", {"x": 50.0}, False),
        ("x >= limit('least')", {"x": 50.0}, True),
        ("x > limit('least')", {"x": 50.0}, False),
        ("x > y", {"x": 2, "y": 1}, True),
        ("x > y", {"x": 2}, None),
        ("x > y", {"y": 2}, None),
        ("10 <= x < 20", {"x": 20}, False),
        ("kind == 'film'", {"kind": "film"}, True),
        ("kind != 'film'", {"kind": "paper"}, True),
        ("kind == other", {"kind": "film", "other": "film"}, True),
        ("kind != other", {"kind": "film", "other": "film"}, False),
        ("kind in ('film', 'foil')", {"kind": "foil"}, True),
        ("kind not in ('film', 'foil')", {"kind": "foil"}, False),
        ("kind not in ('film', 'foil')", {"kind": None}, None),
        ("'zip' in parts", {"parts": ("zip",)}, True),
        ("'zip' in parts", {"parts": frozenset()}, False),
        ("'zip' not in parts", {"parts": ["seam"]}, True),
        ("'zip' in parts", {}, None),
        ("not x < 50", {"x": math.nan}, None),
        ("x != 50", {"x": math.nan}, None),
        ("x > y", {"x": math.nan, "y": 1}, None),
        ("a or not a", {}, None),
    ],
)
def test_atoms(text: str, facts: dict[str, Any], expected: bool | None) -> None:
    assert truth_of(text, **facts) is expected


def test_answers_in_plain_truth_values_whatever_kind_of_number_comes() -> None:
    """Derivations use numpy, whose comparisons answer numpy's own truth values."""
    for value in (np.float64(60.0), np.int64(60), 60):
        assert truth_of("x > 50", x=value) is True
        assert truth_of("not x > 50 and a", x=value, a=None) is False
        assert open_facts("x < y and a", x=value, a=True) == {"y"}
    assert truth_of("not a", a=np.True_) is False


def test_fires_in_rule_order() -> None:
    judge = Judge({"z": read("a"), "m": read("b"), "a": read("c"), "q": read("a and c")})
    assert judge.judge({"a": True, "b": False, "c": True}, LIMITS).fired == ("z", "a", "q")


def test_a_missing_limit_is_a_defect() -> None:
    with pytest.raises(KeyError):
        holds(read("x < limit('least')").tree, {"x": 1.0}, {})


@pytest.mark.parametrize(
    ("text", "facts", "expected"),
    [
        ("a and b", {}, {"a", "b"}),
        ("a and b", {"a": True}, {"b"}),
        ("a and b", {"a": False}, None),
        ("a or b", {"a": True}, None),
        ("a or b", {"a": False}, {"b"}),
        ("(a and b) or (not a and c)", {"a": True}, {"b"}),
        ("(a and b) or (not a and c)", {"a": False}, {"c"}),
        ("(a and b) or (not a and c)", {}, {"a", "b", "c"}),
        # What is already decided by a value does not ask for the rest.
        ("x < 50 and kind == 'film' and a", {"kind": "paper"}, None),
        # Absorption: if b alone decides, asking for c through "b and c" helps nobody.
        ("b or (b and c)", {}, {"b"}),
        # Nothing an order could say makes these true, so nothing is asked.
        ("b and a and not a", {}, None),
        ("a and x < 30 and x > 60", {}, None),
        ("x < limit('least') and x > 60", {}, None),
        ("x < 0 and a", {}, None),
        ("a and kind not in ('paper', 'film', 'foil')", {}, None),
        ("kind == 'film' and kind == 'foil'", {}, None),
        ("kind != 'paper' and kind != 'film' and kind != 'foil'", {}, None),
        ("x < y and x > 90", {"y": 80.0}, None),
        ("x < y and x > 70", {"y": 80.0}, {"x"}),
        ("y > x and x > 90", {"y": 80.0}, None),
        ("x < y and y > 30", {"x": 1000.0}, None),
        ("kind == other", {"kind": "paper"}, None),
        ("kind == other", {"kind": "film"}, {"other"}),
        ("x < x", {}, None),
        ("x < y", {}, {"x", "y"}),
        ("x < y", {"x": math.nan, "y": 1.0}, {"x"}),
        ("(x < 30 and x > 60) or c", {}, {"c"}),
    ],
)
def test_says_which_unknown_facts_can_still_matter(text: str, facts: dict[str, Any], expected: set[str] | None) -> None:
    assert open_facts(text, **facts) == expected


def test_settled_rules_are_not_open() -> None:
    judgement = Judge({"one": read("a"), "two": read("b"), "three": read("c")}).judge({"a": True, "b": False}, LIMITS)
    assert judgement.fired == ("one",)
    assert dict(judgement.unknown) == {"three": frozenset({"c"})}


# --- against Python itself ----------------------------------------------------------------------------------------


def as_python(text: str, facts: Mapping[str, Any], limits: Mapping[str, float]) -> bool:
    """The text run as Python over nested namespaces: the grammar is a subset of Python, so this is its meaning."""
    root: dict[str, Any] = {}
    for name, value in facts.items():
        place, *path = name.split(".")
        if not path:
            root[place] = value
            continue
        space = root.setdefault(place, SimpleNamespace())
        for step in path[:-1]:
            if not hasattr(space, step):
                setattr(space, step, SimpleNamespace())
            space = getattr(space, step)
        setattr(space, path[-1], value)
    return bool(eval(text, {"__builtins__": {}, "limit": limits.__getitem__, **root}))


def test_agrees_with_python_where_everything_is_known() -> None:
    rng = random.Random(11)
    fired = checked = 0
    for _ in range(40):
        book = random_book(rng)
        judge = Judge(book.rules)
        for _ in range(10):
            facts = random_facts(rng, book, book.limits, missing=0.0)
            judgement = judge.judge(facts, book.limits)
            expected = [rule for rule, condition in book.rules.items() if as_python(condition.text, facts, book.limits)]
            assert list(judgement.fired) == expected
            assert not judgement.unknown
            fired, checked = fired + len(expected), checked + len(book.rules)
    assert 0.1 < fired / checked < 0.9


def completions(rng: random.Random, book: Book, facts: Mapping[str, Any], decided: Mapping[str, Any]) -> dict[str, Any]:
    """The facts with every unknown one filled in at random, but for those that are kept."""
    fresh = random_facts(rng, book, book.limits, missing=0.0, odd=False)
    known = {name: value for name, value in facts.items() if value is not None and value == value}
    return {**fresh, **known, **decided}


def in_bounds(book: Book, facts: Mapping[str, Any]) -> bool:
    """Whether every number is one that its dimension allows; orders with others are refused at the edge."""
    for name, type_ in book.vocabulary.facts.items():
        if type_.kind is Kind.NUMBER:
            dimension = type_.dimension
            assert dimension is not None
            low = facts[name] > dimension.least if dimension.least_open else facts[name] >= dimension.least
            if not (low and facts[name] <= dimension.most):
                return False
    return True


def test_what_is_unknown_does_not_turn_what_is_said() -> None:
    """A true or false stays so whatever the unknown facts turn out to be; and an open rule is settled by the facts
    that are named as able to matter: whatever else is unknown makes no difference.
    """
    rng = random.Random(12)
    settled = opened = 0
    for _ in range(60):
        book = random_book(rng, most_rules=15)
        judge = Judge(book.rules)
        for _ in range(5):
            facts = random_facts(rng, book, book.limits, missing=0.4, odd=False)
            judgement = judge.judge(facts, book.limits)
            for rule, condition in book.rules.items():
                matter = judgement.unknown.get(rule, frozenset())
                completed = completions(rng, book, facts, {})
                decided = {name: completed[name] for name in matter}
                outcomes = {
                    as_python(condition.text, filled, book.limits)
                    for filled in (completions(rng, book, facts, decided) for _ in range(6))
                    if in_bounds(book, filled)
                }
                assert len(outcomes) <= 1, (condition.text, facts, matter)
                if outcomes and not matter:
                    assert outcomes == {rule in judgement.fired}, (condition.text, facts)
                settled, opened = settled + (not matter), opened + bool(matter)
    assert settled > 200
    assert opened > 200


def test_every_fact_that_is_named_can_matter_in_small_conditions() -> None:
    """Over all completions of true/false conditions without repetition, each named fact does turn the outcome."""
    turning = 0
    for text in ("a and b", "a or b", "a and (b or c)", "not a or (b and not c)", "not (a and b) and c"):
        condition = read(text)
        for values in itertools.product((True, False, None), repeat=3):
            facts = dict(zip("abc", values, strict=True))
            named = Judge({"rule": condition}).judge(facts, LIMITS).unknown.get("rule", frozenset())
            for name in named:
                others = [unknown for unknown in "abc" if facts[unknown] is None and unknown != name]
                assert any(
                    as_python(text, {**facts, **dict(zip(others, filled, strict=True)), name: True}, LIMITS)
                    != as_python(text, {**facts, **dict(zip(others, filled, strict=True)), name: False}, LIMITS)
                    for filled in itertools.product((True, False), repeat=len(others))
                ), (text, facts, name)
                turning += 1
    assert turning > 50, "too few facts named to mean anything"


# --- conditions as code ---------------------------------------------------------------------------------------------

HOSTILE = ('x" or True or "', "'] or [1", "f0", "c0", "\\n raise SystemExit", "true.append(0)", "{x}", "limits")


def test_no_text_of_a_book_is_run(capsys: pytest.CaptureFixture[str]) -> None:
    """Names and words that would be code if they were pasted in are compared as what they are."""
    kind, flag = FactName("__import__('os')", Kind.ENUM, None, frozenset(HOSTILE)), FactName(HOSTILE[0], Kind.BOOL)
    parts = FactName("print('ran')", Kind.SET, None, frozenset(HOSTILE))
    limit = LimitName("') or exit('", units.PERCENT)
    share = FactName("0 or 1", Kind.NUMBER, units.PERCENT)
    for word in HOSTILE:
        tree = And((Compare(kind, "==", word), Contains(parts, word), Not(Within(kind, ("paper",))), Truth(flag)))
        facts = {kind.name: word, parts.name: frozenset({word}), flag.name: True}
        assert holds(tree, facts, {}) is True
        assert holds(tree, facts | {kind.name: "paper"}, {}) is False
        assert holds(tree, facts | {parts.name: None}, {}) is None
    assert holds(Compare(share, "<", limit), {share.name: 3.0}, {limit.name: 4.0}) is True
    assert holds(Compare(share, "<", limit), {share.name: 5.0}, {limit.name: 4.0}) is False
    assert capsys.readouterr().out == ""


def test_a_fact_a_word_and_a_limit_of_one_name_stay_apart() -> None:
    """They are numbered by kind as well as by name; a set of one word is not that word."""
    film, share = FactName("film", Kind.ENUM, None, frozenset({"film"})), FactName("share", Kind.NUMBER, units.PERCENT)
    parts = FactName("parts", Kind.SET, None, frozenset({"film"}))
    tree = And(
        (
            Compare(film, "==", "film"),
            Within(film, ("film",)),
            Contains(parts, "film"),
            Compare(share, "<", LimitName("share", units.PERCENT)),
        )
    )
    facts = {"film": "film", "parts": {"film"}, "share": 3.0}
    assert holds(tree, facts, {"share": 4.0}) is True
    assert holds(tree, facts, {"share": 2.0}) is False
    assert holds(tree, facts | {"film": "paper"}, {"share": 4.0}) is False
    assert holds(tree, facts | {"parts": set()}, {"share": 4.0}) is False
