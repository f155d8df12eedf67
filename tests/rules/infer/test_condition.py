"""The grammar: what it takes, what it refuses and why, branches, and conditions that can never hold."""

from __future__ import annotations

import pickle
import random

import pytest
from tests.rules.infer.generate import random_book

from accord_rules.documents import units
from accord_rules.revision.condition import (
    MOST_BRANCHES,
    Compare,
    Condition,
    ConditionError,
    Vocabulary,
    comparisons,
    contradiction,
    negated,
    parse,
)
from accord_rules.revision.facts import BOOL, DATA, TEXT, FactType, Kind, number, one_of, set_of

FACTS: dict[str, FactType] = {
    "item.textile": BOOL,
    "item.coated": BOOL,
    "item.polyester_share": number(units.PERCENT),
    "item.cotton_share": number(units.PERCENT),
    "item.name": TEXT,
    "item.layers": DATA,
    "item.substrate": one_of(("knit", "woven", "metal")),
    "item.base": one_of(("metal", "wood")),
    "item.ground": one_of(("light", "dark")),
    "item.features": set_of(("zip", "seam", "collar")),
    "order.quantity": number(units.COUNT),
    "press.ratio": number(units.RATIO),
    "item.lightness": number(units.LIGHTNESS),
    "press.temperature_c": number(units.TEMPERATURE),
    "press.dwell_s": number(units.TIME),
    "press.rise_k": number(units.TEMPERATURE_DIFFERENCE),
    "transfer.name": one_of("transfers|products"),
    "quantity": number(units.COUNT),
}
LIMITS = {
    "dye.polyester_least": units.PERCENT,
    "heat.most": units.TEMPERATURE,
    "heat.least": units.TEMPERATURE,
    "time.most": units.TIME,
}
VALUES = {"dye.polyester_least": 50.0, "heat.most": 200.0, "heat.least": 180.0, "time.most": 60.0}
VOCABULARY = Vocabulary(
    FACTS, LIMITS, {"transfers": frozenset({"dye", "film"}), "products": frozenset({"film-42", "dye-7"})}
)


def read(text: str) -> Condition:
    return parse(text, VOCABULARY)


def branches(text: str) -> list[list[str]]:
    return [[str(atom) for atom in branch] for branch in read(text).branches]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("item.textile", [["item.textile"]]),
        ("not item.textile", [["not item.textile"]]),
        ("not not item.textile", [["item.textile"]]),
        ("quantity > 3", [["quantity > 3"]]),
        ("item.polyester_share < 50.5", [["item.polyester_share < 50.5"]]),
        ("50 > item.polyester_share", [["item.polyester_share < 50"]]),
        ("20 <= item.polyester_share < 50", [["item.polyester_share >= 20", "item.polyester_share < 50"]]),
        (
            "limit('heat.least') <= press.temperature_c <= limit('heat.most')",
            [["press.temperature_c >= limit('heat.least')", "press.temperature_c <= limit('heat.most')"]],
        ),
        ("item.polyester_share > item.cotton_share", [["item.polyester_share > item.cotton_share"]]),
        ("item.substrate == 'knit'", [["item.substrate == 'knit'"]]),
        ("'knit' != item.substrate", [["item.substrate != 'knit'"]]),
        ("item.substrate == item.base", [["item.substrate == item.base"]]),
        ("item.substrate in ('knit', 'woven')", [["item.substrate in ('knit', 'woven')"]]),
        ("item.substrate not in ['knit']", [["item.substrate not in ('knit',)"]]),
        ("'zip' in item.features", [["'zip' in item.features"]]),
        ("not 'zip' in item.features", [["'zip' not in item.features"]]),
        (
            "transfer.name == 'film-42' or transfer.name == 'dye'",
            [["transfer.name == 'film-42'"], ["transfer.name == 'dye'"]],
        ),
        # De Morgan, and distribution of and over or.
        ("not (item.textile and quantity < 3)", [["not item.textile"], ["quantity >= 3"]]),
        (
            "item.textile and (item.coated or quantity == 1)",
            [["item.textile", "item.coated"], ["item.textile", "quantity == 1"]],
        ),
        ("not (item.substrate in ('knit',) or quantity == 1)", [["item.substrate not in ('knit',)", "quantity != 1"]]),
        # Nothing is simplified away but repetition.
        ("item.textile or not item.textile", [["item.textile"], ["not item.textile"]]),
        ("item.textile and item.textile", [["item.textile"]]),
        ("item.textile\n    and item.coated", [["item.textile", "item.coated"]]),
        ("press.ratio >= 1.5 and item.lightness < 40", [["press.ratio >= 1.5", "item.lightness < 40"]]),
    ],
)
def test_takes(text: str, expected: list[list[str]]) -> None:
    assert branches(text) == expected


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "a condition is a text"),
        ("   ", "a condition is a text"),
        ("item.textile and", "cannot be read"),
        ("item.textile = True", "cannot be read"),
        ("item.textile; item.coated", "cannot be read"),
        ("item.textile # always", "'#' has no place"),
        ("item.substrate == 'kni\\x74'", "has no place"),
        ("іtem.textile", "has no place"),  # a Cyrillic first letter
        ("item.textile\0", "has no place"),
        ("(" * 300 + "item.textile" + ")" * 300, "cannot be read"),
        ("not " * 30 + "item.textile", "nested deeper than 20"),
        ("item.textile and " * 125 + "item.coated", "characters are too many"),
        ("item.textil", "did you mean item.textile"),
        ("item.substrate == knit", "a word is written 'knit'"),
        ("item.name == 'shirt'", "item.name is text"),
        ("item.layers", "item.layers is data"),
        ("item.textile == True", "by itself"),
        ("item.textile is True", "by itself"),
        ("item.textile == item.coated", "by itself"),
        ("item.substrate", "not true or false by itself"),
        ("item.polyester_share", "not true or false by itself"),
        ("'zip'", "not something that holds"),
        ("1", "not something that holds"),
        ("True", "not something that holds"),
        ("None", "not something that holds"),
        ("limit('heat.most')", "it is compared with a fact"),
        ("limit('heat.most') < limit('heat.least')", "says nothing about the order"),
        ("1 < 2", "says nothing about the order"),
        ("press.temperature_c > limit('heat.mots')", "did you mean heat.most"),
        ("press.temperature_c > limit(heat.most)", "the only call is limit"),
        ("press.temperature_c > limit('heat.most', 2)", "the only call is limit"),
        ("press.temperature_c > limit(name='heat.most')", "the only call is limit"),
        ("press.temperature_c > limits('heat.most')", "the only call is limit"),
        ("press.temperature_c > 200", "200 has no unit"),
        ("press.rise_k > 5", "has no unit"),
        (
            "press.temperature_c > limit('time.most')",
            "press.temperature_c is a temperature, limit('time.most') is a time",
        ),
        ("press.rise_k > limit('heat.most')", "is a temperature difference"),
        ("press.temperature_c > press.rise_k", "is a temperature difference"),
        ("item.polyester_share > quantity", "is a count"),
        ("quantity > 'many'", "'many' is a word"),
        ("quantity == item.substrate", "item.substrate is a word"),
        ("item.polyester_share < 2000", "is no percent"),
        ("item.lightness < 101", "is no lightness"),
        ("quantity < -1", "no arithmetic"),
        ("quantity < 1 + 1", "no arithmetic"),
        ("quantity + 1 < 2", "no arithmetic"),
        ("quantity < 1e999", "means nothing"),
        ("quantity < 1" + "0" * 400, "means nothing"),
        ("quantity < 1j", "cannot be compared"),
        ("quantity is 1", "use == or !="),
        ("item.substrate < 'knit'", "have no order"),
        ("item.substrate == 3", "cannot be compared with 3"),
        ("item.substrate == 'nkit'", "did you mean knit"),
        ("item.substrate == 'qqq'", "knit, metal, woven"),
        ("item.substrate == item.ground", "no word in common"),
        ("item.features == 'zip'", "write 'word' in item.features"),
        ("'zop' in item.features", "did you mean zip"),
        ("item.substrate in ('knit')", "write fact in ('word', 'word')"),
        ("item.substrate in {'knit'}", "write fact in ('word', 'word')"),
        ("item.substrate in ()", "empty"),
        ("item.substrate in ('knit', 'knit')", "listed twice"),
        ("item.substrate in ('knit', 3)", "only words in quotes"),
        ("item.substrate in ('knit', item.base)", "only words in quotes"),
        ("item.substrate in ('knit' 'woven',)", "not a word of"),
        ("item.features in ('zip',)", "only one-of facts"),
        ("quantity in (1, 2)", "only one-of facts"),
        ("'knit' in item.substrate", "only be 'in' a set-of fact"),
        ("item.base in item.features", "write fact in"),
        ("'zip' in item.features in item.features", "cannot be part of a chain"),
        ("item.textile if item.coated else item.coated", "not something that holds"),
        ("(lambda: item.textile)()", "not something that holds"),
        ("__import__('os').system('true')", "not something that holds"),
        ("item.features[0] == 'zip'", "cannot be compared"),
        ("item.textile.__class__", "is not a fact"),
        ("f'{item.name}' == 'x'", "cannot be compared"),
        ("[item.textile for item in (1,)]", "not something that holds"),
        ("(x := item.textile)", "not something that holds"),
        ("limit('heat.most').real < press.temperature_c", "not the name of a fact"),
    ],
)
def test_refuses(text: str, reason: str) -> None:
    with pytest.raises(ConditionError) as caught:
        read(text)
    assert reason in str(caught.value)


def test_refuses_more_branches_than_it_can_bear_before_building_them() -> None:
    pair = "(item.textile or item.coated)"
    assert len(read(" and ".join(["(quantity == 1 or item.coated)", *[pair] * 5])).branches) <= MOST_BRANCHES
    with pytest.raises(ConditionError, match="128 ways to hold"):
        read(" and ".join([pair] * 7))
    # 2 ** 60 branches: refused by counting.
    with pytest.raises(ConditionError, match="too many"):
        read(" and ".join([pair] * 60))


def test_says_which_facts_and_limits_it_needs() -> None:
    condition = read(
        "item.textile and item.polyester_share < limit('dye.polyester_least') or item.substrate == item.base"
    )
    assert condition.facts == {"item.textile", "item.polyester_share", "item.substrate", "item.base"}
    assert condition.limits == {"dye.polyester_least"}


def test_comparisons_are_the_numeric_ones_with_negation_pushed_inwards() -> None:
    condition = read("not (quantity < 3 and item.substrate == 'knit') or quantity >= 3 or quantity == 7")
    assert [str(term) for term in comparisons(condition)] == ["quantity >= 3", "quantity == 7"]
    assert all(isinstance(term, Compare) and term.left.kind is Kind.NUMBER for term in comparisons(condition))


@pytest.mark.parametrize(
    "text",
    [
        "item.polyester_share < 30 and item.polyester_share > 50",
        "item.polyester_share < 30 and item.polyester_share >= 30",
        "item.polyester_share <= 30 and item.polyester_share < 30 and item.polyester_share >= 30",
        "item.polyester_share >= 30 and item.polyester_share > 30 and item.polyester_share <= 30",
        "item.polyester_share == 30 and item.polyester_share != 30",
        "item.polyester_share == 30 and item.polyester_share == 31",
        "item.polyester_share < 0",
        "item.polyester_share > 1000",
        "item.lightness > 100",
        "item.polyester_share <= 0 and item.polyester_share != 0",
        "item.polyester_share < limit('dye.polyester_least') and item.polyester_share > 50",
        "press.temperature_c > limit('heat.most') and press.temperature_c < limit('heat.least')",
        "item.textile and not item.textile",
        "item.substrate == 'knit' and item.substrate == 'woven'",
        "item.substrate == 'knit' and item.substrate != 'knit'",
        "item.substrate == 'knit' and item.substrate in ('woven', 'metal')",
        "item.ground != 'light' and item.ground != 'dark'",
        "item.substrate not in ('knit', 'woven', 'metal')",
        "'zip' in item.features and 'zip' not in item.features",
        "quantity < quantity",
        "quantity != quantity",
        "item.substrate != item.substrate",
        "item.polyester_share < item.cotton_share and item.polyester_share > item.cotton_share",
        "item.polyester_share < item.cotton_share and item.cotton_share < item.polyester_share",
        "item.substrate == item.base and item.substrate != item.base",
        "(quantity < 1 and quantity > 2) or (item.textile and not item.textile)",
        "item.coated and (quantity < 1 and quantity > 2)",
        "not (item.textile or not item.textile)",
    ],
)
def test_sees_what_can_never_hold(text: str) -> None:
    reason = contradiction(read(text), VALUES)
    assert reason is not None
    assert reason.startswith("it can never hold: ")
    assert "cannot be true" in reason


@pytest.mark.parametrize(
    "text",
    [
        "item.polyester_share <= 30 and item.polyester_share >= 30",
        "item.polyester_share < 30 or item.polyester_share > 50",
        "item.polyester_share <= 0",
        "press.temperature_c <= limit('heat.most') and press.temperature_c >= limit('heat.least')",
        "item.polyester_share < limit('dye.polyester_least') and item.polyester_share > 49",
        "item.textile or not item.textile",
        "item.substrate != 'knit' and item.substrate in ('knit', 'metal')",
        "item.ground != 'light'",
        "'zip' in item.features and 'seam' not in item.features",
        "quantity <= quantity",
        "item.substrate == item.base",
        "item.polyester_share <= item.cotton_share and item.polyester_share >= item.cotton_share",
        "(quantity < 1 and quantity > 2) or item.textile",
    ],
)
def test_lets_pass_what_can_hold(text: str) -> None:
    assert contradiction(read(text), VALUES) is None


def test_a_limits_value_decides_whether_a_condition_can_hold() -> None:
    condition = read("press.temperature_c > limit('heat.most') and press.temperature_c < limit('heat.least')")
    assert contradiction(condition, {"heat.most": 170.0, "heat.least": 180.0}) is None
    reason = contradiction(condition, {"heat.most": 200.0, "heat.least": 180.0})
    assert reason is not None
    assert "limit('heat.most'), which is 200 °C" in reason
    with pytest.raises(KeyError):
        contradiction(condition, {})


def test_an_open_bound_is_open() -> None:
    """A dwell of 0 s is refused at the edge (units.TIME leaves its least out), so nothing is below the least limit."""
    assert contradiction(read("press.dwell_s <= limit('time.most')"), {"time.most": 0.0}) is not None
    assert contradiction(read("press.dwell_s <= limit('time.most')"), {"time.most": 1.0}) is None


def test_negation_undoes_itself_and_printing_reads_back() -> None:
    """Over random conditions: not not a is a, and an atom's text is the grammar again."""
    rng, atoms = random.Random(5), 0
    for _ in range(20):
        book = random_book(rng)
        for condition in book.rules.values():
            for atom in (atom for branch in condition.branches for atom in branch):
                assert negated(negated(atom)) == atom
                assert parse(str(atom), book.vocabulary).branches == ((atom,),)
                atoms += 1
    assert atoms > 1000


def test_conditions_survive_pickling() -> None:
    condition = read("item.textile and item.polyester_share < limit('dye.polyester_least')")
    assert pickle.loads(pickle.dumps(condition)) == condition
