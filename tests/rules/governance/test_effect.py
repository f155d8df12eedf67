"""The effect of a change: flips by shop, rule and direction, their witnesses, and how the change is classed."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import read
from accord_rules.governance.changes import EntryChange, check
from accord_rules.governance.comparison import RecordedOrder
from accord_rules.governance.effect import (
    EVERY_ORDER,
    SAID_SETTINGS,
    TRIED,
    Effect,
    EntryName,
    effect,
    loosens_safety,
)
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.markets import HIGHER_IS_STRICTER
from accord_rules.verdict import VERDICTS

Changed = Callable[..., EntryChange]
FEW = 120


@pytest.fixture(scope="module")
def effect_of(book: Book, recorded: list[RecordedOrder]) -> Callable[..., Effect]:
    """The effect of changes of the book on the recorded orders."""

    def of_changes(*changes: EntryChange, orders: Sequence[RecordedOrder] = recorded, edges_most: int = FEW) -> Effect:
        return effect(book, check(book.documents, changes, 2), orders, edges_most)

    return of_changes


def with_limit(book: Book, changed: Changed, name: str, value: Any) -> Book:
    """The book with a limit's entry and value changed, the examples that stand on the old one left as they are."""
    change = changed("limits", name, value=value)
    assert change.value is not None
    documents = {**book.documents, "limits": {**book.documents["limits"], name: dict(change.value)}}
    number = float(value) if not isinstance(value, str) else float(value.split()[0])
    limits = {**book.limits, name: replace(book.limits[name], value=value)}
    values = MappingProxyType({**book.limit_values, name: number})
    return replace(book, revision=2, documents=documents, limits=MappingProxyType(limits), limit_values=values)


def test_no_change_has_no_effect(book: Book, recorded: list[RecordedOrder]) -> None:
    outcome = effect(book, book, recorded, 40)
    assert (outcome.decision.kind, outcome.decision.exact, outcome.flips, outcome.changes) == ("equal", True, (), ())


def test_a_stricter_limit_is_stricter_exactly(book: Book, changed: Changed, recorded: list[RecordedOrder]) -> None:
    moved = effect(book, with_limit(book, changed, "dye.polyester_share_least", 60), recorded, FEW)
    assert (moved.decision.kind, moved.decision.exact, moved.decision.holds_for) == ("stricter", True, EVERY_ORDER)
    assert any("goes from 50 % to 60 %" in reason for reason in moved.decision.because)
    turned = [flip for flip in moved.flips if flip.before != flip.after]
    assert turned
    assert all(VERDICTS.index(flip.after) > VERDICTS.index(flip.before) for flip in turned)
    assert not moved.loosens_safety


def test_the_same_limit_back_is_looser_exactly(book: Book, changed: Changed, recorded: list[RecordedOrder]) -> None:
    stricter = with_limit(book, changed, "dye.polyester_share_least", 60)
    looser = effect(stricter, book, recorded, FEW)
    assert (looser.decision.kind, looser.decision.exact) == ("looser", True)
    turned = [flip for flip in looser.flips if flip.before != flip.after]
    assert turned
    assert all(VERDICTS.index(flip.after) < VERDICTS.index(flip.before) for flip in turned)


def test_every_rule_and_direction_that_flips_has_a_witness_that_shows_it(
    book: Book, changed: Changed, recorded: list[RecordedOrder]
) -> None:
    new = with_limit(book, changed, "dye.polyester_share_least", 60)
    shown = effect(book, new, recorded, FEW)
    assert {(w.flip.rule, w.flip.direction) for w in shown.witnesses} == {(f.rule, f.direction) for f in shown.flips}
    before, after = Authority(book, 1), Authority(new, 1)
    _, shop = example_order({}, book)
    try:
        for witness in shown.witnesses:
            if witness.flip.source == "edge":
                order = read(Order, dict(witness.document_of_order))
                assert before.judge(order, shop).verdict == witness.flip.before
                assert after.judge(order, shop).verdict == witness.flip.after
                for authority, said in ((before, witness.said_before), (after, witness.said_after)):
                    told = [f.because for f in authority.validate(order, shop).findings if f.rule == witness.flip.rule]
                    assert said in told if told else True  # of a rejected order not all is told
                shares = order.item.fibres or {}
                assert 49 <= shares.get("PES", 0) <= 61
    finally:
        before.close()
        after.close()
    assert any(witness.flip.source == "edge" for witness in shown.witnesses)
    assert any(witness.said_before != witness.said_after for witness in shown.witnesses)


def test_a_limit_that_facts_are_worked_out_with_is_decided_by_replay(
    book: Book, changed: Changed, recorded: list[RecordedOrder]
) -> None:
    replayed = effect(book, with_limit(book, changed, "children.age_most", 10), recorded, FEW)
    assert (replayed.decision.kind, replayed.decision.exact, replayed.decision.holds_for) == ("looser", False, TRIED)
    assert replayed.decision.document()["decided"] == "by replay"
    assert replayed.loosens_safety == ("Safety limit children.age_most goes from 12 to 10; higher is stricter.",)


def test_a_limit_that_cuts_both_ways_is_mixed(book: Book, changed: Changed, recorded: list[RecordedOrder]) -> None:
    mixed = effect(book, with_limit(book, changed, "dye.ground_lightness_tinted", 80), recorded, FEW)
    assert (mixed.decision.kind, mixed.decision.exact) == ("mixed", False)
    ways = {
        VERDICTS.index(flip.after) > VERDICTS.index(flip.before) for flip in mixed.flips if flip.before != flip.after
    }
    assert ways == {True, False}


def test_two_limits_moved_in_opposite_directions_are_by_replay(
    book: Book, changed: Changed, recorded: list[RecordedOrder]
) -> None:
    new = with_limit(
        with_limit(book, changed, "dye.polyester_share_least", 60), changed, "order.print_side_most", "2500 mm"
    )
    replayed = effect(book, new, recorded, FEW)
    assert not replayed.decision.exact


def test_a_note_changes_nothing(changed: Changed, effect_of: Callable[..., Effect]) -> None:
    unchanged = effect_of(changed("limits", "order.shift", note="Eight hours."), edges_most=40)
    assert (unchanged.decision.kind, unchanged.decision.exact, unchanged.flips) == ("equal", True, ())
    assert unchanged.changes == (EntryName("limits", "order.shift"),)


def test_a_rule_taken_out_is_looser_exactly(effect_of: Callable[..., Effect]) -> None:
    looser = effect_of(EntryChange("rules", "dye-on-nylon", None))
    assert (looser.decision.kind, looser.decision.exact, looser.decision.holds_for) == ("looser", True, EVERY_ORDER)
    assert {(flip.rule, flip.direction) for flip in looser.flips if flip.source == "edge"} == {
        ("dye-on-nylon", "looser")
    }


def test_a_rule_about_settings_is_exact_for_orders_that_say_theirs(book: Book, changed: Changed) -> None:
    name = next(
        r.id
        for r in book.rules.values()
        if r.scope.value == "pressing" and r.level == "blocks" and r.topic == "settings"
    )
    weaker = effect(book, check(book.documents, [changed("rules", name, level="requires")], 2), [], 120)
    assert weaker.decision.kind in ("looser", "mixed")
    assert weaker.decision.holds_for in (SAID_SETTINGS, TRIED)


def test_a_new_condition_is_decided_by_replay(book: Book, changed: Changed, effect_of: Callable[..., Effect]) -> None:
    rule = book.documents["rules"]["dye-on-nylon"]
    replayed = effect_of(
        changed("rules", "dye-on-nylon", when=f"({rule['when']}) and transfer.principle != 'stud'"),
        edges_most=120,
    )
    assert (replayed.decision.kind, replayed.decision.exact) == ("equal", False), "a dye is no stud"
    assert "only orders show" in replayed.decision.because[0]


def test_a_watched_rule_flips_nothing_and_is_counted(book: Book) -> None:
    watched = dict(book.documents["rules"]["dye-on-nylon"]) | {"status": "watch"}
    change = EntryChange("rules", "watched-nylon", watched)
    order, shop = example_order(book.rules["dye-on-nylon"].fires[0], book)
    orders = [RecordedOrder.of("rec_1", "one", shop, order)]
    counted = effect(book, check(book.documents, [change], 2), orders, 60)
    assert (counted.decision.kind, counted.decision.exact, counted.flips) == ("equal", True, ())
    assert counted.watched == {"watched-nylon": 1}


def test_an_order_the_new_book_cannot_read_becomes_stricter(book: Book, effect_of: Callable[..., Effect]) -> None:
    blanks = [
        n for n in book.catalogue["blanks"] if not any(n in b.alternatives for b in book.catalogue["blanks"].values())
    ]
    naming = [*book.documents["rules"].values(), *book.documents["ambiguous_words"].values()]
    used = json.dumps([dict(r) for r in naming], default=str)
    name = next(blank for blank in blanks if f'"{blank}"' not in used)
    _, shop = example_order({}, book)
    order = read(Order, {"item": {"blank": name}, "decorations": [{"transfer": "cut-film"}]})
    unreadable = effect_of(
        EntryChange("blanks", name, None), orders=[RecordedOrder.of("rec_1", "one", shop, order)], edges_most=0
    )
    assert [(flip.rule, flip.direction, flip.after) for flip in unreadable.flips if flip.rule == "(book)"] == [
        ("(book)", "stricter", "unreadable")
    ]
    assert unreadable.decision.kind == "stricter"
    assert not unreadable.decision.exact


@pytest.mark.long
def test_the_same_replay_has_the_same_digest_in_any_order(
    book: Book, changed: Changed, recorded: list[RecordedOrder]
) -> None:
    new = with_limit(book, changed, "order.print_side_most", "300 mm")
    forwards, backwards = (effect(book, new, orders, 60) for orders in (recorded, recorded[::-1]))
    assert canonical(forwards.document()) == canonical(backwards.document())
    assert forwards.replay_digest == backwards.replay_digest
    assert (forwards.replayed.recorded, forwards.replayed.recorded_left_out) == (30, 0)
    assert {flip.shop_id for flip in forwards.flips if flip.source == "recorded"} <= {"shop-0", "shop-1", "shop-2"}
    assert effect(book, new, recorded[:5], 60).replay_digest != forwards.replay_digest


def test_recorded_orders_are_shown_without_their_reference(book: Book, changed: Changed) -> None:
    order, shop = example_order(
        {"item": {"fibres": {"PES": 55, "CO": 45}}, "decoration": {"transfer": "dye-sublimation"}}, book
    )
    named = replace(order, reference="HL-1043")
    new = with_limit(book, changed, "dye.polyester_share_least", 60)
    shown = effect(book, new, [RecordedOrder.of("rec_1", "one", shop, named)], 0)
    assert shown.witnesses
    assert "HL-1043" not in json.dumps(shown.document())


# -- what takes two stewards ------------------------------------------------------------------------------------------


def test_a_safety_limit_made_looser_takes_two_stewards(book: Book, changed: Changed) -> None:
    for value, expected in ((10, 1), (14, 0), (12, 0)):
        assert len(loosens_safety(book, with_limit(book, changed, "children.age_most", value))) == expected


def test_any_other_limit_takes_one(book: Book, changed: Changed) -> None:
    assert not loosens_safety(book, with_limit(book, changed, "dye.polyester_share_least", 20))


@pytest.mark.parametrize(
    ("keys", "reason"),
    [
        ({"safety": False}, "no longer a safety limit"),
        ({"stricter": "lower"}, "means something else"),
    ],
)
def test_a_safety_limit_cannot_be_made_an_ordinary_one_by_one_steward(
    keys: dict[str, Any], reason: str, book: Book
) -> None:
    limits = {**book.limits, "children.age_most": replace(book.limits["children.age_most"], **keys)}
    loosened = loosens_safety(book, replace(book, limits=limits))
    assert len(loosened) == 1
    assert reason in loosened[0]


def with_market(book: Book, name: str, matter: str, **fields: Any) -> Book:
    """The book with fields of a market's row changed, as read and in its document; without fields the row is out."""
    market, document = book.catalogue["markets"][name], dict(book.documents["markets"][name])
    row = replace(getattr(market, matter), **fields) if fields else None
    document[matter] = document[matter] | fields
    markets = {**book.catalogue["markets"], name: replace(market, **{matter: row})}
    documents = {**book.documents, "markets": {**book.documents["markets"], name: document}}
    return replace(book, catalogue={**book.catalogue, "markets": markets}, documents=documents)


@pytest.mark.parametrize(
    ("name", "matter", "looser", "stricter"),
    [
        ("us", "continuous_load", {"share_most": 90.0}, {"share_most": 70.0}),
        ("us", "clothing_fire", {"plain_from": 80.0}, {"plain_from": 100.0}),
        ("us", "hood_cords", {"age_under": 12.0}, {"age_under": 14.0}),
        ("us", "toy_phthalates", {"most": 2000.0}, {"together": True}),
        ("us", "lead", {"lifted_by": ("lead-test", "maker-consent")}, {"blank_most": 90.0}),
        ("us", "nightwear", {"fitted_level": "notes"}, {"fitted_level": "blocks"}),
        ("eu", "hood_cords", {"height_most": None}, {"height_most": 1400.0}),
        ("eu", "toy_phthalates", {"together": False}, {"most": 500.0}),
        ("eu", "skin_phthalates", {"level": "cautions"}, {"level": "blocks"}),
        ("uk", "skin_phthalates", {"age_under": 3.0}, {"note": "said anew"}),
        ("uk", "plug_fuse", {"voltage": 250.0}, {"rating": 10.0}),
        ("uk", "nickel", {}, {"release_most": 0.2}),
    ],
)
def test_a_row_of_a_market_made_looser_takes_two_stewards(
    name: str, matter: str, looser: dict[str, Any], stricter: dict[str, Any], book: Book
) -> None:
    (why,) = loosens_safety(book, with_market(book, name, matter, **looser))
    assert f"In market {name}" in why
    assert matter in why
    assert not loosens_safety(book, with_market(book, name, matter, **stricter))


def test_of_every_number_of_a_row_it_is_known_which_way_is_stricter(book: Book) -> None:
    """All but a voltage, which turns current into power: either way is in doubt."""
    numbers = {
        field
        for market in book.catalogue["markets"].values()
        for _, row in market.rows
        for field in type(row).__dataclass_fields__
        if isinstance(getattr(row, field), int | float)
    }
    assert numbers == {*HIGHER_IS_STRICTER, "voltage"}


def test_a_market_taken_out_takes_two_stewards(book: Book) -> None:
    markets = {name: market for name, market in book.catalogue["markets"].items() if name != "ca"}
    (why,) = loosens_safety(book, replace(book, catalogue={**book.catalogue, "markets": markets}))
    assert why == "Market ca is taken out."


def safety_rule(book: Book) -> str:
    return next(r.id for r in book.rules.values() if r.topic == "people" and r.level == "blocks")


@pytest.mark.parametrize(
    ("keys", "reason"),
    [
        (None, "is taken out"),
        ({"status": "watch"}, "is only watched"),
        ({"level": "cautions"}, "goes from blocks to cautions"),
        ({"level": "requires"}, "goes from blocks to requires"),
    ],
)
def test_a_safety_rule_made_weaker_takes_two_stewards(keys: dict[str, Any] | None, reason: str, book: Book) -> None:
    name = safety_rule(book)
    rules = {rule_id: rule for rule_id, rule in book.rules.items() if rule_id != name or keys is not None}
    if keys is not None:
        rules[name] = replace(book.rules[name], **keys)
    loosened = loosens_safety(book, replace(book, rules=rules))
    assert len(loosened) == 1
    assert reason in loosened[0]


def test_a_safety_rule_that_finds_more_takes_one_and_one_that_may_find_less_two(book: Book) -> None:
    from accord_rules.load.loader import read_rule

    name = safety_rule(book)
    table = book.documents["rules"][name]
    for when, expected in ((f"({table['when']}) or item.brittle", 0), (f"({table['when']}) and item.brittle", 1)):
        rule = read_rule(name, dict(table) | {"when": when}, book.vocabulary, book.sources, book.steps)
        assert len(loosens_safety(book, replace(book, rules={**book.rules, name: rule}))) == expected
