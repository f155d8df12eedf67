"""What differs over many orders, added up part by part: the same whoever judged which, in whichever order."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from accord_rules.documents.canonical import canonical
from accord_rules.governance.changes import EntryChange, check
from accord_rules.governance.comparison import (
    LISTED_MOST,
    RECORDED,
    Comparison,
    Differences,
    EdgeOrder,
    OrderDifference,
    RecordedOrder,
)
from accord_rules.governance.effect import compared, concluded, edge_orders, effect
from accord_rules.load.examples import example_order
from accord_rules.revision.book import Book

SEED = 20261130
EDGES = 60


@pytest.fixture(scope="module")
def new(book: Book, changed: Callable[..., EntryChange]) -> Book:
    """A limit that turns verdicts, and a watched rule that is only counted."""
    watched = dict(book.documents["rules"]["dye-on-nylon"]) | {"status": "watch"}
    changes = [changed("limits", "dye.polyester_share_full", value=86), EntryChange("rules", "watched-nylon", watched)]
    return check(book.documents, changes, 2)


@pytest.fixture(scope="module")
def comparison(book: Book, new: Book) -> Iterator[Comparison]:
    opened = compared(book, new)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def turned(book: Book) -> list[RecordedOrder]:
    """Orders that the changes turn, each recorded several times by several shops."""
    order, shop = example_order(
        {"item": {"fibres": {"PES": 85.5, "CO": 14.5}}, "decoration": {"transfer": "dye-sublimation"}}, book
    )
    return [
        RecordedOrder.of(f"rec_t{n:03}", f"shop-{n % 3}", shop, replace(order, quantity=1 + n % 4)) for n in range(90)
    ]


def in_parts(
    comparison: Comparison, recorded: list[RecordedOrder], edges: tuple[EdgeOrder, ...], rng: random.Random
) -> Differences:
    """Judged in parts of odd sizes, each written and read as the store keeps it, added in any order."""
    tasks: list[RecordedOrder | EdgeOrder] = [*recorded, *edges]
    rng.shuffle(tasks)
    parts = []
    while tasks:
        size = rng.randrange(1, 40)
        part, tasks = tasks[:size], tasks[size:]
        own = Differences()
        for task in part:
            if isinstance(task, EdgeOrder):
                comparison.add_edge(task, own)
            else:
                comparison.add_recorded(task, own)
        parts.append(own)
    rng.shuffle(parts)
    total = comparison.differences()
    for own in parts:
        total = Differences.read(json.loads(canonical(total.document())))
        total.add(Differences.read(json.loads(canonical(own.document()))))
    return total


@pytest.mark.long
def test_the_effect_is_the_same_bytes_however_the_orders_are_divided(
    book: Book, new: Book, comparison: Comparison, recorded: list[RecordedOrder], turned: list[RecordedOrder]
) -> None:
    orders = [*recorded, *turned]
    edges, left_out = edge_orders(book, new, EDGES)
    in_one_go = effect(book, new, orders, EDGES)
    assert in_one_go.flips_left_out > 0, "more flips than are listed, or the choice of those is not tried"
    assert {flip.shop_id for flip in in_one_go.flips if flip.source == RECORDED} == {"shop-0", "shop-1", "shop-2"}
    for round_ in range(5):
        total = in_parts(comparison, orders, edges, random.Random(f"{SEED} {round_}"))
        divided = concluded(book, new, total, left_out)
        assert canonical(divided.document()) == canonical(in_one_go.document())
        assert divided.replay_digest == in_one_go.replay_digest


def test_all_flips_are_counted_and_the_most_telling_listed(comparison: Comparison, turned: list[RecordedOrder]) -> None:
    differences = Differences()
    for record in turned:
        comparison.add_recorded(record, differences)
    by_row = {(count.shop_id, count.rule, count.direction): count for count in differences.counts}
    assert by_row
    for (shop, rule, way), count in by_row.items():
        assert count.orders == 30
        own = [f for f in differences.flips if (f.shop_id, f.rule, f.direction) == (shop, rule, way)]
        assert [flip.record_id for flip in own] == sorted(r.id for r in turned if r.shop_id == shop)[:LISTED_MOST]
    assert differences.left_out == sum(count.orders - LISTED_MOST for count in by_row.values())


def test_those_whose_verdict_differs_are_listed_before_all_others() -> None:
    """One flip that turns a verdict, met after more than are listed that do not."""
    differences = Differences()
    for number in range(LISTED_MOST + 5):
        quiet = OrderDifference({}, "accepted", "accepted", (("rule", "stricter"),), (), frozenset())
        differences.add_order(RECORDED, "one", f"rec_{number:03}", quiet)
    turning = OrderDifference({}, "accepted", "rejected", (("rule", "stricter"),), (), frozenset())
    differences.add_order(RECORDED, "one", "rec_zzz", turning)
    assert "rec_zzz" in [flip.record_id for flip in differences.flips]
    assert [witness.flip.record_id for witness in differences.witnesses] == ["rec_zzz"]
    (count,) = differences.counts
    assert (count.orders, count.verdicts, differences.turned) == (LISTED_MOST + 6, 1, {"stricter": 1})


def test_an_order_that_this_version_cannot_read_is_counted(comparison: Comparison) -> None:
    differences = Differences()
    comparison.add_recorded(RecordedOrder("rec_1", "one", {}, {"of": "long ago"}), differences)
    assert (differences.recorded, differences.unread, differences.flips) == (0, 1, ())


def test_the_same_order_recorded_again_is_judged_once(
    comparison: Comparison, turned: list[RecordedOrder], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Four different orders, of ninety; each record counts all the same."""
    judged: list[object] = []
    difference = Comparison._difference

    def counted(self: Comparison, *arguments: object, **keywords: object) -> OrderDifference:
        judged.append(arguments)
        return difference(self, *arguments, **keywords)  # type: ignore[arg-type]

    monkeypatch.setattr(Comparison, "_difference", counted)
    comparison._known.clear()
    differences = Differences()
    for record in turned:
        comparison.add_recorded(record, differences)
    assert (len(judged), differences.recorded) == (4, 90)
