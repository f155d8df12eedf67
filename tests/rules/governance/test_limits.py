"""What moving a limit can do, decided from the rules alone, against brute force over what the rules can see."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

import pytest

from accord_rules.authority import Authority
from accord_rules.derive.graph import GRAPH
from accord_rules.documents.reading import read
from accord_rules.documents.writing import written
from accord_rules.governance import edges
from accord_rules.governance.limits import (
    EQUAL,
    LOOSER,
    MIXED,
    OPPOSITE,
    STRICTER,
    derived_with,
    direction,
    direction_of,
    move,
    settles_before_settings,
)
from accord_rules.load.examples import step
from accord_rules.load.loader import read_rule
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book


def tables(book: Book, **rules: tuple[str, str]) -> Book:
    """The book with only these rules: (level, condition)."""
    rules_ = {}
    base = dict(book.documents["rules"]["dye-on-nylon"])
    for name, (level, when) in rules.items():
        rules_[name] = read_rule(name, base | {"level": level, "when": when}, book.vocabulary, book.sources, book.steps)
    return replace(book, rules=MappingProxyType(rules_))


class Noting(dict[str, float]):
    """Limits that note which of them are read by name."""

    def __init__(self, values: Mapping[str, float]) -> None:
        super().__init__(values)
        self.read: set[str] = set()

    def __getitem__(self, name: str) -> float:
        self.read.add(name)
        return super().__getitem__(name)


POLY, FULL = "dye.polyester_share_least", "dye.polyester_share_full"
BELOW = f"item.textile and item.polyester_share < limit('{POLY}')"
ABOVE = f"item.textile and item.polyester_share >= limit('{POLY}')"


@pytest.mark.parametrize(
    ("rules", "raised"),
    [
        ({"a": ("blocks", BELOW)}, STRICTER),
        ({"a": ("blocks", ABOVE)}, LOOSER),
        ({"a": ("blocks", BELOW), "b": ("requires", ABOVE)}, STRICTER),  # the band's must becomes a block
        ({"a": ("requires", BELOW), "b": ("blocks", ABOVE)}, LOOSER),
        ({"a": ("blocks", BELOW), "b": ("blocks", ABOVE)}, EQUAL),
        ({"a": ("blocks", BELOW + " and item.brittle"), "b": ("requires", ABOVE)}, MIXED),
        # The must is taken over by two blocks together, each for some of the orders; a block would not be.
        (
            {
                "a": ("blocks", BELOW + " and item.brittle"),
                "b": ("blocks", BELOW + " and not item.brittle"),
                "c": ("requires", ABOVE),
            },
            STRICTER,
        ),
        (
            {
                "a": ("blocks", BELOW + " and item.brittle"),
                "b": ("blocks", BELOW + " and not item.brittle"),
                "c": ("blocks", ABOVE),
            },
            LOOSER,
        ),
        ({"a": ("blocks", f"item.polyester_share == limit('{POLY}')")}, MIXED),
        ({"a": ("blocks", f"item.polyester_share < limit('{FULL}')")}, EQUAL),
        ({"a": ("cautions", BELOW)}, STRICTER),
        ({"a": ("blocks", BELOW), "b": ("notes", ABOVE + " and item.brittle")}, STRICTER),
    ],
)
def test_moves_are_classed_by_what_the_rules_compare(
    rules: dict[str, tuple[str, str]], raised: str, book: Book
) -> None:
    settings = tables(book, **rules)
    assert move(settings, POLY, settings.limit_values[POLY] + 5).overall == raised
    assert move(settings, POLY, settings.limit_values[POLY] - 5).overall == OPPOSITE[raised]
    assert move(settings, POLY, settings.limit_values[POLY]).overall == EQUAL


def test_watched_rules_do_not_count(book: Book) -> None:
    settings = tables(book, a=("blocks", BELOW), b=("blocks", ABOVE + " and item.brittle"))
    assert move(settings, POLY, 60).verdicts == STRICTER
    watched = replace(settings.rules["a"], status="watch")
    assert move(replace(settings, rules={**settings.rules, "a": watched}), POLY, 60).verdicts == LOOSER


@pytest.mark.long
def test_most_of_the_book_can_be_decided(book: Book) -> None:
    """Every limit moved the way its entry calls stricter: most are exactly that, and none is the opposite.

    Of all that rules or facts weigh, nearly half are weighed by conditions alone: each of those is decided, and all
    but six are stricter. With the others facts are worked out, so that no condition tells which way they turn.
    """
    decided: dict[str, list[str]] = {}
    for name, limit in book.limits.items():
        aside = step(book, name) * (1 if limit.stricter == "higher" else -1)
        kind = move(book, name, book.limit_values[name] + aside).overall
        decided.setdefault(str(kind), []).append(name)
        back = move(book, name, book.limit_values[name] - aside).overall
        assert back == (None if kind is None else OPPOSITE[kind])
        assert direction(book, name, book.limit_values[name] + aside) == STRICTER
    assert LOOSER not in decided, decided[LOOSER]
    weighed = GRAPH.limits.union(*(rule.limits for rule in book.rules.values()))
    assert {kind for kind, names in decided.items() if not weighed.issuperset(names)} <= {EQUAL, "None"}
    compared = {limit for limit in weighed if not derived_with(limit)}
    assert len(compared) >= 80, "a limit that facts are worked out with from now on is decided no more"
    assert {kind: set(names) & compared for kind, names in decided.items() if kind != STRICTER} == {
        "None": set(),
        EQUAL: {"people.touch_brief_most", "people.touch_hold_most"},
        # Compared with from both sides: what one rule finds more, its neighbour finds less.
        MIXED: {
            "dye.ground_lightness_tinted",
            "dye.natural_share_main",
            "dye.polyester_share_full",
            "film.elastane_little",
        },
    }
    assert len(decided[MIXED]) < len(weighed) / 10


def test_limits_that_facts_are_worked_out_with_are_known_from_what_they_declare(book: Book) -> None:
    """Read alone, read as one of several, and not at all; and whatever is read while an order is judged."""
    assert derived_with("migration.margin")
    assert derived_with("pressure.medium_least")
    assert derived_with("care.iron_2_2023")
    assert not derived_with(POLY)
    noting = Noting(book.limit_values)
    for _, order, shop in list(edges.of_examples(book))[::4]:
        for fact in ("item.fibre_limit_c", "set.surface_c", "set.pressure_kpa", "press.reach_c", "transfer.migrates"):
            with contextlib.suppress(KeyError):
                edges.fact_of(replace(book, limit_values=noting), order, shop, fact)
    assert noting.read
    assert all(derived_with(name) for name in noting.read), noting.read


def test_no_order_goes_against_an_exact_decision(
    book: Book, random_questions: Callable[..., list[tuple[Order, Shop]]], laws: int
) -> None:
    """Law: where a move is exactly stricter, no order's verdict becomes more permissive: neither random ones nor those
    at the edges. Orders with open settings only where the rules are settled before settings are chosen."""
    shared = Authority(book, 1)
    questions = random_questions(max(laws // 10, 10), "moves", decorations=2)
    turned = 0
    try:
        for name in list(book.limits)[::6]:
            limit = book.limits[name]
            value = book.limit_values[name] + 4 * step(book, name) * (1 if limit.stricter == "higher" else -1)
            dimension = book.limit_dimension(name)
            if move(book, name, value).verdicts != STRICTER or not dimension.least <= value <= dimension.most:
                continue
            moved = replace(book, limit_values=MappingProxyType({**book.limit_values, name: value}))
            moved_authority = Authority(moved, 1, shared.scales)
            at_edges = list(edges.around_limit(book, name, value))[:30]
            for order, shop in (*questions, *at_edges) if settles_before_settings(book, name) else ():
                before, after = shared.judge(order, shop), moved_authority.judge(order, shop)
                assert not before.firmer_than(after), (name, written(order))
                turned += before.verdict != after.verdict
            moved_authority.close()
    finally:
        shared.close()
    assert turned > 5, "too few verdicts turned to mean anything"


def test_orders_at_an_edge_lie_on_both_sides_of_it(book: Book) -> None:
    """For facts that an order field drives: each value asked for is reached."""
    for name, fact in (
        (POLY, "item.polyester_share"),
        ("dye.ground_lightness_least", "item.ground_lightness"),
        ("order.print_side_most", "place.width_mm"),
        ("order.first_piece_quantity_from", "order.quantity"),
    ):
        now, near = book.limit_values[name], step(book, name)
        distances = {
            round(value - now, 1)
            for order, shop in edges.around_limit(book, name, now)
            if (value := edges.fact_of(book, order, shop, fact)) is not None
        }
        assert min(distances) < 0 < max(distances), (name, distances)
        assert any(abs(distance) <= near for distance in distances)


def test_orders_at_edges_can_be_sent_as_documents(book: Book) -> None:
    orders = [order for order, _ in edges.around_limit(book, POLY, 70)]
    assert orders
    assert [read(Order, written(order)) for order in orders] == orders


def test_orders_are_written_as_they_are_read(random_questions: Callable[..., list[tuple[Order, Shop]]]) -> None:
    for order, shop in random_questions(60, "written"):
        assert read(Order, written(order)) == order
        assert read(Shop, written(shop)) == shop


_WARM = {"dimension": "temperature", "value": "180 °C", "stricter": "lower"}
_SHARE = {"dimension": "percent", "value": 20, "stricter": "higher"}


@pytest.mark.parametrize(
    ("old", "new", "way"),
    [
        (_WARM, _WARM | {"value": "170 °C"}, STRICTER),
        (_WARM, _WARM | {"value": "360 °F"}, LOOSER),  # 182.2 °C
        (_WARM, _WARM | {"value": "356 °F"}, EQUAL),  # (356 - 32) * 5 / 9
        (_SHARE, _SHARE | {"value": 20.5}, STRICTER),
        (_SHARE, _SHARE | {"value": 15}, LOOSER),
        (_SHARE, _SHARE | {"note": "Looked at again."}, EQUAL),
        (_SHARE, _SHARE | {"dimension": "count"}, None),
        (_WARM, _WARM | {"value": 180}, None),
        (_SHARE, {"dimension": "percent"}, None),
    ],
)
def test_which_way_an_entry_goes_follows_from_what_the_book_declares_stricter(
    old: Mapping[str, object], new: Mapping[str, object], way: str | None
) -> None:
    assert direction_of(old, new) == way
