"""No slip in a rule's condition may pass its own examples: every mutant of every condition is told apart by one.

``accord_rules.load.mutants`` makes the mutants; here each is asked by the judge, which shares nothing with the quick
count that the loader makes.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from generate import Case, random_book_cases, random_facts
from tests.tiers import of_this_run

from accord_rules.documents import units
from accord_rules.documents.files import BookError
from accord_rules.governance.changes import ABSENT, EntryChange, check
from accord_rules.governance.house import HouseError, check_house, read_house
from accord_rules.infer.compiled import holds
from accord_rules.load.examples import example_facts, step
from accord_rules.load.mutants import Mutant, Slip, mutants, survivors, telling_facts
from accord_rules.revision.book import Book
from accord_rules.revision.condition import Condition, Vocabulary, parse
from accord_rules.revision.facts import BOOL, number, one_of, set_of
from accord_rules.revision.rule import Rule
from accord_rules.revision.step import Step

COUNTED = of_this_run(300, 300, 600)  # mutants of random conditions

VOCABULARY = Vocabulary(
    {
        "hot": BOOL,
        "wet": BOOL,
        "cloth": one_of(("knit", "woven", "felt")),
        "marks": set_of(("zip", "seam")),
        "layers": number(units.COUNT),
        "least": number(units.TEMPERATURE),
        "heat": number(units.TEMPERATURE),
    },
    {"most": units.TEMPERATURE},
)
LIMITS, STEPS = {"most": 150.0}, {"most": 5.0}


def condition(text: str) -> Condition:
    return parse(text, VOCABULARY)


def conditional(book: Book) -> list[Rule | Step]:
    """All that has a condition and examples."""
    return [*book.rules.values(), *(step for step in book.steps.values() if not step.always)]


def steps_of(rule: Rule | Step, book: Book) -> dict[str, float]:
    return {name: step(book, name) for name in rule.condition.limits}


def examples_of(rule: Rule | Step, book: Book) -> list[Mapping[str, Any]]:
    return [example_facts(rule, example, book) for example in (*rule.fires, *rule.silent)]


def asked_one_by_one(rule: Rule | Step, book: Book) -> Iterator[tuple[Mutant, bool]]:
    """Each mutant, and whether some example tells it from the condition, by the judge."""
    tree, limits = rule.condition.tree, book.limit_values
    answered = [(facts, holds(tree, facts, limits)) for facts in examples_of(rule, book)]
    for mutant in mutants(tree, limits, steps_of(rule, book)):
        yield mutant, any(holds(mutant.tree, facts, limits) is not answer for facts, answer in answered)


def test_no_mutant_of_any_rule_or_step_survives_its_examples(book: Book) -> None:
    slips: Counter[Slip] = Counter()
    surviving, equal = [], 0
    for rule in conditional(book):
        for mutant, killed in asked_one_by_one(rule, book):
            slips[mutant.slip] += 1
            if killed:
                continue
            if telling_facts(rule.condition.tree, mutant.tree, examples_of(rule, book), book.limit_values) is None:
                equal += 1
            else:
                surviving.append(f"{rule.id}: {mutant.slip.value}: {mutant.clause} {mutant.word}")
    total = slips.total()
    print(f"mutants of conditions: {len(surviving)} of {total} survive; {equal} proved equal to their condition")
    assert surviving == []
    # Every kind of slip was made, and not a handful: 296 rules have about eleven each.
    assert set(slips) == set(Slip)
    assert total > 10 * len(book.rules)


def test_the_shipped_conditions_hold_no_clause_that_never_decides(book: Book) -> None:
    """None of the proofs of equality is needed for the shipped book; a clause that could go is left out instead."""
    equal = [
        (rule.id, str(mutant.clause))
        for rule in conditional(book)
        for mutant in mutants(rule.condition.tree, book.limit_values, steps_of(rule, book))
        if mutant.slip in (Slip.DROPPED, Slip.WORD)
        and telling_facts(rule.condition.tree, mutant.tree, (), book.limit_values) is None
    ]
    assert len(book.rules) > 250
    assert equal == []


# Condition -> its mutants, written down by hand.
BY_HAND = {
    "hot": ["not hot"],
    "not hot": ["not not hot"],
    "hot and wet": ["not hot and wet", "hot and not wet", "wet", "hot", "hot or wet"],
    "not (hot or wet)": [
        "hot or wet", "not (hot and wet)", "not hot", "not wet", "not (not hot or wet)", "not (hot or not wet)",
    ],
    "cloth in ('knit', 'felt')": ["cloth not in ('knit', 'felt')", "cloth in ('felt',)", "cloth in ('knit',)"],
    "cloth not in ('knit', 'felt')": ["cloth in ('knit', 'felt')", "cloth not in ('felt',)", "cloth not in ('knit',)"],
    "'zip' in marks": ["'zip' not in marks"],
    "cloth == 'knit'": ["cloth != 'knit'"],
    "layers > 1": ["layers <= 1", "layers >= 1", "layers > 0", "layers > 2"],
    "layers == 3": ["layers != 3", "layers == 2", "layers == 4"],
    "heat < limit('most')": ["heat >= limit('most')", "heat <= limit('most')", "heat < 145.0", "heat < 155.0"],
    "heat >= least": ["heat < least", "heat > least"],
}  # fmt: skip


@pytest.mark.parametrize("text", BY_HAND)
def test_the_mutants_are_those_written_down_by_hand(text: str) -> None:
    shown = [
        str(mutant.tree).replace("not (not hot)", "not not hot")
        for mutant in mutants(condition(text).tree, LIMITS, STEPS)
    ]
    assert sorted(shown) == sorted(_as_shown(mutant_text) for mutant_text in BY_HAND[text])


def _as_shown(text: str) -> str:
    return text.replace("145.0", "145").replace("155.0", "155")


# Condition and a mutant of it that nothing could tell from it -> why.
EQUAL = {
    ("hot or wet or hot", "hot or wet"): "said twice",
    ("layers >= 0", "layers > -1"): "a count is never below 0",
    ("cloth in ('knit', 'woven', 'felt')", "cloth in ('knit', 'felt') or cloth == 'woven'"): "all its words",
    ("cloth == 'knit' and cloth != 'felt'", "cloth == 'knit'"): "one word shuts out the other",
    ("heat > limit('most') and hot or heat <= limit('most') and hot", "hot"): "either side of a limit",
    ("heat >= least and least >= heat", "heat == least"): "neither above the other",
}  # fmt: skip
UNEQUAL = {
    ("hot and wet", "hot or wet"): None,
    ("layers > 1", "layers >= 1"): None,
    ("heat > limit('most')", "heat >= limit('most')"): None,
    ("cloth in ('knit', 'felt')", "cloth == 'knit'"): None,
    ("heat >= least", "heat > least"): None,
    ("'zip' in marks and 'seam' not in marks", "'zip' in marks"): None,
}


@pytest.mark.parametrize(("text", "equal"), EQUAL)
def test_what_no_facts_can_tell_apart_is_proved_equal(text: str, equal: str) -> None:
    # A bound below the dimension's is no condition, so that one is written as the comparison it stands for.
    right = condition("layers >= 0" if equal == "layers > -1" else equal).tree
    assert telling_facts(condition(text).tree, right, (), LIMITS) is None


@pytest.mark.parametrize(("text", "unequal"), UNEQUAL)
def test_what_facts_can_tell_apart_is_told_by_such_facts(text: str, unequal: str) -> None:
    left, right = condition(text).tree, condition(unequal).tree
    facts = telling_facts(left, right, (), LIMITS)
    assert facts is not None
    assert {holds(left, facts, LIMITS), holds(right, facts, LIMITS)} == {True, False}


def test_the_facts_proposed_are_near_those_tried() -> None:
    cases = [{"hot": True, "wet": True, "cloth": "felt", "layers": 7.0}]
    tree = condition("hot and wet and cloth == 'felt' and layers > 3").tree
    dropped = condition("hot and cloth == 'felt' and layers > 3").tree
    assert telling_facts(tree, dropped, cases, LIMITS) == cases[0] | {"wet": False}


def test_over_random_conditions_the_quick_count_is_the_judges_and_proofs_hold() -> None:
    rng = random.Random(41)
    counted = distinguished = proved = 0
    for case in random_book_cases(rng, facts_each=1, most_rules=5):
        steps = dict.fromkeys(case.book.limits, 1.0)
        for rule in case.book.rules.values():
            examples = [random_facts(rng, case.book, case.limits, 0.1) for _ in range(5)]
            mutants_ = list(mutants(rule.tree, case.limits, steps))
            answers = [holds(rule.tree, facts, case.limits) for facts in examples]
            alike = [m for m in mutants_ if [holds(m.tree, facts, case.limits) for facts in examples] == answers]
            assert list(survivors(rule.tree, examples, case.limits, steps)) == alike
            counted += len(mutants_)
            for mutant in alike[:3]:
                facts = telling_facts(rule.tree, mutant.tree, (), case.limits)
                if facts is not None:
                    distinguished += 1
                    assert holds(rule.tree, facts, case.limits) is not holds(mutant.tree, facts, case.limits)
                    continue
                proved += 1
                for facts in _possible_facts(rng, case, 50):
                    assert holds(rule.tree, facts, case.limits) is holds(mutant.tree, facts, case.limits)
        if counted > COUNTED:
            break
    assert distinguished > 10
    assert proved > 2


def _possible_facts(rng: random.Random, case: Case, count: int) -> Iterator[Mapping[str, Any]]:
    """Known facts with words of their domains and numbers within their dimensions' bounds."""
    for _ in range(count):
        facts = random_facts(rng, case.book, case.limits, 0.0, odd=False)
        for name, type_ in case.book.vocabulary.facts.items():
            if type_.dimension is not None:
                facts[name] = min(max(facts[name], type_.dimension.least), type_.dimension.most)
                if type_.dimension.least_open and facts[name] == type_.dimension.least:
                    facts[name] = 0.001
        yield facts


# -- the loader asks for the deciding example -------------------------------------------------------------------------

RULE: dict[str, Any] = {
    "level": "cautions",
    "title": "A fleece with a zip",
    "about": "item",
    "when": "item.substrate in ('fleece', 'softshell') and 'zip' in item.features",
    "because": "{item.title} has a zip.",
    "fix": "Keep the print off it.",
    "sources": ["common-practice"],
    "fires": [
        {"item": {"substrate": "fleece", "fibres": {"PES": 100}, "features": ["zip"]}},
        {"item": {"substrate": "softshell", "fibres": {"PES": 100}, "features": ["zip"]}},
    ],
    "silent": [
        {"item": {"substrate": "fleece", "fibres": {"PES": 100}}},
        {"item": {"features": ["zip"]}},
    ],
}
# What is left out of its examples -> what the refusal says.
LEFT_OUT = {
    ("fires", 1): "no example where item.substrate is 'softshell' and decides: add an order to [[fires]], "
    """or: facts = { "item.features" = ["zip"], "item.substrate" = "softshell" }""",
    ("silent", 0): "no example where 'zip' in item.features is false and decides: add an order to [[silent]], "
    """or: facts = { "item.features" = [], "item.substrate" = "fleece" }""",
    ("silent", 1): "no example where item.substrate in ('fleece', 'softshell') is false and decides: add an order",
}  # fmt: skip


def without(kind: str, index: int) -> dict[str, Any]:
    return RULE | {kind: [example for place, example in enumerate(RULE[kind]) if place != index]}


def small_book(book: Book) -> dict[str, Any]:
    """Without rules, since trying them all takes time."""
    return {**book.documents, "rules": {}}


def test_a_rule_whose_examples_decide_is_taken(book: Book) -> None:
    change = EntryChange("rules", "fleece-zip", RULE | {"topic": "press"}, ABSENT)
    assert "fleece-zip" in check(small_book(book), (change,)).rules
    assert "house.fleece-zip" in check_house(book, read_house({"rules": {"house.fleece-zip": RULE}})).rules


@pytest.mark.parametrize(("kind", "index"), LEFT_OUT)
def test_a_proposed_rule_is_refused_with_the_example_that_is_missing(kind: str, index: int, book: Book) -> None:
    change = EntryChange("rules", "fleece-zip", without(kind, index) | {"topic": "press"}, ABSENT)
    with pytest.raises(BookError) as refused:
        check(small_book(book), (change,))
    wanted = f"rules/press/fleece-zip.toml: /when: {LEFT_OUT[kind, index]}"
    assert [reason for reason in refused.value.reasons if reason.startswith(wanted)], refused.value.reasons


@pytest.mark.parametrize(("kind", "index"), LEFT_OUT)
def test_a_house_rule_is_refused_with_the_example_that_is_missing(kind: str, index: int, book: Book) -> None:
    with pytest.raises(HouseError) as refused:
        check_house(book, read_house({"rules": {"house.fleece-zip": without(kind, index)}}))
    messages = [
        refusal.message for refusal in refused.value.refusals if refusal.pointer == "/rules/house.fleece-zip/when"
    ]
    assert [message for message in messages if message.startswith(f"{LEFT_OUT[kind, index]}")], refused.value.refusals
