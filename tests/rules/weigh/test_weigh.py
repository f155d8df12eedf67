"""How rules are asked: engine and judge on every question, and what fires and is open to a verdict."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from dataclasses import replace
from types import MappingProxyType

import pytest
from cases import decoration_case, pressing, shop_of, whole_case
from tests.rules.infer.planted import wrong_about

from accord_rules.authority import Authority, SelfTestError
from accord_rules.derive.case import Case
from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import read
from accord_rules.governance.house import HouseAuthority, read_house
from accord_rules.infer.ledger import DISAGREEMENT, FACTS, HOUSE, RECORD, SHARED, WALK, Ledger, Network
from accord_rules.infer.replay import replay
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.facts import Assume, Scope
from accord_rules.revision.rule import Rule
from accord_rules.weigh.scales import Fired, Open, Scales, Weighed, conditions


@pytest.fixture
def ledger() -> Ledger:
    return Ledger()


@pytest.fixture
def scales(book: Book, ledger: Ledger) -> Iterator[Scales]:
    opened = Scales(book, 1, ledger=ledger)
    yield opened
    opened.close()


def of_level(book: Book, level: str) -> Rule:
    return next(rule for rule in book.rules.values() if rule.level == level and rule.scope is Scope.ORDER)


# --- from rules to a verdict --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fired", "open_", "verdict"),
    [
        ((), (), "accepted"),
        ((), ("notes", "cautions"), "accepted"),
        ((), ("requires",), "accepted"),
        (("requires",), ("requires",), "conditional"),
        (("cautions", "notes"), ("requires", "cautions"), "accepted"),
        (("requires",), ("blocks",), "undetermined"),
        ((), ("blocks", "requires"), "undetermined"),
        (("blocks",), ("blocks", "requires"), "rejected"),
    ],
)
def test_only_what_could_block_leaves_a_verdict_open(
    book: Book, fired: tuple[str, ...], open_: tuple[str, ...], verdict: str
) -> None:
    """Section 4 of the design: any block rejects, else any open need that could block leaves it undetermined."""
    case = whole_case(book)
    weighed = Weighed(
        tuple(Fired(of_level(book, level), case) for level in fired),
        tuple(Open(of_level(book, level), case, frozenset({"item.textile"})) for level in open_),
    )
    assert weighed.verdict == verdict


# --- engine and judge ---------------------------------------------------------------------------------------------


def test_an_overruled_answer_is_not_given_again_as_if_both_had_agreed(book: Book, scales: Scales) -> None:
    """Equal facts have had their answer, unless the judge had to settle it."""
    rule = next(iter(scales._enforced[Scope.ORDER.rank].rules))
    right = [fired.rule.id for fired in scales.weigh(whole_case(book)).fired]
    with wrong_about(scales, rule):
        for times in (1, 2, 3):
            assert [fired.rule.id for fired in scales.weigh(whole_case(book)).fired] == right
            assert scales.counts.disagreements == times
    scales.weigh(whole_case(book))
    assert scales.counts.disagreements == 3, "nothing wrong was remembered"
    questions = scales.counts.questions
    scales.weigh(whole_case(book))
    assert scales.counts.questions == questions, "what both said is"


def test_walks_records_and_facts_are_told_apart(book: Book, scales: Scales, ledger: Ledger) -> None:
    for width in ("100 mm", "100 mm", "101 mm"):
        scales.weigh(decoration_case(book, decoration={"size": {"width": width, "height": "100 mm"}}))
    names = [name for layer, name in ledger.counts if name.startswith("decoration")]
    assert len(names) > 1, "the shipped rules about a decoration take several networks"
    for name in names:
        counts = ledger.counts[Network(SHARED, name)]
        assert (counts[WALK], counts[RECORD], counts[FACTS]) == (1, 1, 1)


def test_a_replay_finds_the_rules_of_every_network_in_the_book(book: Book, scales: Scales) -> None:
    for scope in Scope:
        assert set(conditions(book, scope.value)) == set(scales._enforced[scope.rank].rules)
        assert conditions(book, f"watched-{scope.value}") == {}
    with pytest.raises(KeyError):
        conditions(book, "nothing-we-know")


def test_a_doubt_about_the_shipped_book_can_be_put_again(
    book: Book, scales: Scales, caplog: pytest.LogCaptureFixture
) -> None:
    case = pressing(book)
    rule = next(iter(scales._enforced[Scope.PRESSING.rank].rules))
    with caplog.at_level(logging.WARNING, "accord_rules.infer"), wrong_about(scales, rule):
        judged = [fired.rule.id for fired in scales.weigh(case).fired]
    line = json.dumps(caplog.records[-1].details, allow_nan=False)  # type: ignore[attr-defined]
    assert len(line) < 16_384, "longer lines are cut by some who collect them"
    doubt = json.loads(line)["doubt"]
    assert doubt["apart"] == [rule]
    again = replay(doubt, book.vocabulary, conditions(book, doubt["about"]))
    assert (again.differs, list(again.judged)) == (False, judged)
    assert {name: again.records[name] for name in doubt["networks"]} == doubt["records"]


HOUSE_RULE = "house.no-silk-at-the-quay"
HOUSE_RULES = {
    "rules": {
        HOUSE_RULE: {
            "level": "blocks",
            "title": "We do not print on silk",
            "about": "item",
            "when": "item.protein_share > 0",
            "because": "The cloth has {item.protein_share} silk or wool, which this shop does not press.",
            "fix": "Take a blank of cotton or polyester.",
            "sources": ["common-practice"],
            "fires": [{"item": {"fibres": {"SE": 100}}}],
            "silent": [{"item": {"fibres": {"CO": 100}}}],
        }
    }
}


def test_doubts_about_house_rules_are_counted_beyond_their_networks(book: Book, ledger: Ledger) -> None:
    """A worker drops the networks of shops that were idle; shared and house rules are told apart, shops are not."""
    shared = Authority(book, 1, ledger=ledger)
    own = HouseAuthority(shared, read_house(HOUSE_RULES), 1)
    try:
        # What the rule holds for: of a piece without silk its network is told nothing, so that it is not asked.
        order, shop = example_order({"item": {"fibres": {"SE": 100}}}, book)
        right = canonical(own.validate(order, shop).document())
        with wrong_about(own.scales, HOUSE_RULE):
            assert canonical(own.validate(order, shop).document()) == right
    finally:
        own.close()
        shared.close()
    doubted = {network: counts[DISAGREEMENT] for network, counts in ledger.counts.items() if counts[DISAGREEMENT]}
    assert list(doubted) == [Network(HOUSE, "order")]
    assert doubted[Network(HOUSE, "order")] >= 1
    assert ledger.since_s is not None
    assert {network.layer for network in ledger.counts} == {SHARED, HOUSE}


# --- watched rules and assumptions --------------------------------------------------------------------------------

WATCHED = "dye-on-nylon"


@pytest.fixture
def watching(book: Book, ledger: Ledger) -> Iterator[Authority]:
    """An authority over the book with one rule watched."""
    rules = book.rules | {WATCHED: replace(book.rules[WATCHED], status="watch")}
    authority = Authority(replace(book, rules=MappingProxyType(rules)), 1, ledger=ledger)
    yield authority
    authority.close()


def test_watched_rules_are_asked_of_both(book: Book, watching: Authority, ledger: Ledger) -> None:
    order, shop = example_order(book.rules[WATCHED].fires[0], book)
    assert watching.watch(order, shop) == {WATCHED}
    (network,) = (network for network in ledger.counts if network.name.startswith("watched-"))
    assert ledger.counts[network][WALK] == 1
    with wrong_about(watching.scales, WATCHED):
        assert watching.watch(order, shop) == {WATCHED}, "the judge's answer stands"
    assert ledger.counts[network][DISAGREEMENT] == 1


def test_a_house_asks_the_shared_watched_rules_where_they_are(watching: Authority) -> None:
    own = HouseAuthority(watching, read_house(HOUSE_RULES), 1)
    try:
        (theirs,) = {inference for section in watching.scales._watching for inference in section.inferences}
        assert {inference for section in own.scales._watching for inference in section.inferences} == {theirs}
        assert theirs not in own.scales._own()
    finally:
        own.close()


def test_assumptions_are_asked_of_both(book: Book) -> None:
    """A rule that is open with nothing assumed: the engine must not say that it holds, and is noticed if it does."""
    authority = Authority(book, 1)
    try:
        case = decoration_case(book)
        right = authority.scales.assumptions([case], [bare_of(case)])
        rule = next(
            open_rule.rule.id
            for open_rule in authority.scales.weigh(bare_of(case)).open
            if open_rule.rule.level == "blocks"
        )
        assert authority.counts.disagreements == 0
        with wrong_about(authority.scales, rule):
            assumed = authority.scales.assumptions([case], [bare_of(case)])
        assert assumed == right != (), "the judge says what is open"
        assert authority.counts.disagreements == 1
    finally:
        authority.close()


@pytest.fixture(scope="module")
def little_said(book: Book) -> list[Case]:
    """The cases of an order that says little."""
    document = {"item": {"substrate": "knit", "fibres": {"CO": 100}}, "decorations": [{"transfer": "cut-film"}]}
    whole = Case(book, shop_of(book), read(Order, document))
    decoration = whole.decoration_case(0)
    return [whole, decoration, decoration.pressing_case(whole.shop.presses[0])]


def test_only_rules_that_can_turn_a_verdict_make_an_assumption_worth_telling(
    little_said: list[Case], scales: Scales
) -> None:
    """Rules that only caution are open as well, and could turn nothing."""
    opened = [(case, open_rule) for case in little_said for open_rule in scales.weigh(bare_of(case)).open]
    assert {open_rule.rule.level for _, open_rule in opened} >= {"blocks", "requires", "cautions"}, (
        "other levels are open too"
    )
    deciding = {
        pointer
        for case, open_rule in opened
        if open_rule.rule.level in ("blocks", "requires")
        for fact in open_rule.facts
        for pointer, cause in open_rule.case.causes(fact).items()
        if isinstance(cause.missing, Assume) and case.assumed(cause)[0] is not None
    }
    assert deciding
    assumed = scales.assumptions(little_said, map(bare_of, little_said))
    hurting = {assumption.pointer for assumption in assumed if assumption.could_hurt}
    assert set() < hurting < deciding
    first, then = sorted(hurting), sorted(deciding - hurting)
    assert [assumption.pointer for assumption in assumed] == first + then, "first what could hurt; one entry a pointer"


def test_an_assumption_says_whether_it_could_hurt_somebody(little_said: list[Case], scales: Scales) -> None:
    """What it is used for turns rules about people; how fine a line is spoils no more than a piece. Our own choice."""
    hurting = {
        assumption.pointer: assumption.could_hurt
        for assumption in scales.assumptions(little_said, map(bare_of, little_said))
    }
    assert hurting["/use/kinds"] is True
    assert hurting["/decorations/0/artwork/finest_line"] is False
    assert hurting["/evidence"] is False, "to take it that no test is on record is the strictest reading"


def bare_of(case: Case) -> Case:
    """The same case with nothing assumed."""
    whole = Case(case.book, case.shop, case.order, assume=False)
    if case.scope is Scope.ORDER:
        return whole
    decoration = whole.decoration_case(case.index)
    return (
        decoration
        if case.scope is Scope.DECORATION
        else decoration.pressing_case(case.press, case.chosen, case.sequence)
    )


# --- the self-test ------------------------------------------------------------------------------------------------


def test_the_self_test_sees_an_engine_that_the_judge_has_to_correct(book: Book) -> None:
    """Every verdict is right, since the judge's answer stands, and still the test must not pass."""
    authority = Authority(book, 1)
    try:
        authority.self_test()
        for scope in Scope:
            rule = next(rule.id for rule in book.rules.values() if rule.scope is scope)
            with (
                wrong_about(authority.scales, rule),
                pytest.raises(SelfTestError, match=r"[1-9][0-9]* disagreements, 0 fail"),
            ):
                authority.self_test()
        authority.self_test()
    finally:
        authority.close()


def test_the_self_test_sees_an_engine_that_fails(book: Book) -> None:
    authority = Authority(book, 1)
    try:
        for inference in authority.scales._own():
            inference._engine.close()
        with pytest.raises(SelfTestError, match=r"0 disagreements, [1-9][0-9]* failures"):
            authority.self_test()
    finally:
        authority.close()


def test_the_self_test_asks_watched_rules_too(watching: Authority) -> None:
    watching.self_test()
    with wrong_about(watching.scales, WATCHED), pytest.raises(SelfTestError, match=r"[1-9][0-9]* disagreements"):
        watching.self_test()


# --- other settings -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "settings", [{"time": "2 s"}, {"time": "200 s"}, {"temperature": "250 °F"}, {"temperature": "440 °F"}]
)
def test_what_is_typed_and_blocks_is_not_looked_around(
    settings: dict[str, str], book: Book, scales: Scales, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No dwell helps a temperature that a rule refuses whatever the dwell; looking shows that, and need not be done."""
    order = {
        "item": {"blank": "polyester-sequin-cushion"},
        "decorations": [{"transfer": "sub-paper-fast-dry", "placement": "front", "settings": settings}],
    }
    shop = shop_of(book)
    whole = scales.case(shop, read(Order, order))
    decoration = whole.decoration_case(0)
    looked: list[Fired] = []
    unblocked = Scales._unblocked

    def noted(self: Scales, *question: object) -> Case | None:
        looked.extend(question[-1])  # type: ignore[arg-type]
        return unblocked(self, *question)  # type: ignore[arg-type]

    monkeypatch.setattr(Scales, "_unblocked", noted)
    on_press = scales.on_press([decoration], shop.presses[0])
    (case,) = on_press.cases
    blocks = on_press.weighed.at("blocks")
    assert blocks
    assert looked == []
    assert case.chosen is not None
    assert unblocked(scales, decoration, shop.presses[0], case, case.chosen, blocks) is None
