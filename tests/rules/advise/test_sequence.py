"""The order of pressings, compared with every sequence there is on small problems, and by hand on the book.

That a later pressing must not heat an earlier print above what it bears is common practice; no published source.
"""

from __future__ import annotations

import random
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise, permutations
from math import inf
from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.files import merge
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Verdict
from accord_rules.weigh.sequence import Arrangement, Print, arrange, conflicts


def problem(rng: random.Random, count: int) -> list[Print]:
    """Decorations with few distinct temperatures, so that ties and rings are common."""
    prints = []
    for index in range(count):
        hot = float(rng.choice([130, 140, 150, 160, 190]))
        least = hot - rng.choice([0, 0, 5, 12, 25])
        heats = frozenset(under for under in range(count) if under != index and rng.random() < 0.7)
        over = rng.choice([None, None, None, *range(index)])
        prints.append(Print(hot, least, rng.choice([120.0, 132.0, 148.0, 165.0, inf]), heats, over))
    return prints


def levels_of(prints: Sequence[Print], order: Sequence[int]) -> tuple[float, ...] | None:
    """The hottest that each may be pressed in this order, by trying; None if the order cannot be."""
    levels = [0.0] * len(prints)
    for place, index in enumerate(order):
        mine, before = prints[index], order[:place]
        if mine.over is not None and mine.over not in before:
            return None
        level = min([mine.hot_c, *(prints[earlier].bears_c for earlier in before if earlier in mine.heats)])
        if level < min(mine.hot_c, mine.least_c):
            return None
        levels[index] = level
    return tuple(levels)


def every_way(prints: Sequence[Print]) -> list[tuple[float, ...]]:
    ways = (levels_of(prints, order) for order in permutations(range(len(prints))))
    return [levels for levels in ways if levels is not None]


def lowered(prints: Sequence[Print], levels: Sequence[float]) -> dict[int, float]:
    pairs = enumerate(zip(prints, levels, strict=True))
    return {index: print_.hot_c - level for index, (print_, level) in pairs if level < print_.hot_c}


def holds(prints: Sequence[Print], arrangement: Arrangement) -> bool:
    fixed = [replace(print_, hot_c=hot, least_c=hot) for print_, hot in zip(prints, arrangement.hot_c, strict=True)]
    return levels_of(fixed, arrangement.order) is not None


@pytest.mark.parametrize("seed", range(150))
def test_an_order_is_found_where_trying_all_finds_one_and_lowers_as_little(seed: int) -> None:
    prints = problem(random.Random(seed), 2 + seed % 5)
    arrangement, ways = arrange(prints), every_way(prints)
    assert (arrangement is not None) == bool(ways)
    if arrangement is None:
        return
    assert sorted(arrangement.order) == list(range(len(prints)))
    assert holds(prints, arrangement)
    mine = lowered(prints, arrangement.hot_c)
    every = [lowered(prints, levels) for levels in ways]
    assert max(mine.values(), default=0) == min(max(sinks.values(), default=0) for sinks in every)
    most = max(mine.values(), default=0)
    for sinks in every:
        if max(sinks.values(), default=0) <= most:
            assert not sinks.keys() < mine.keys(), "one is lowered that need not be"


@pytest.mark.parametrize("seed", range(150))
def test_conflicts_are_the_smallest_sets_without_an_order(seed: int) -> None:
    prints = problem(random.Random(f"conflicts {seed}"), 2 + seed % 5)

    def part(members: Sequence[int]) -> list[Print]:
        place = {index: at for at, index in enumerate(members)}
        return [
            replace(
                prints[index],
                heats=frozenset(place[under] for under in prints[index].heats if under in place),
                over=place.get(prints[index].over) if prints[index].over is not None else None,
            )
            for index in members
        ]

    hopeless = [
        set(m) for n in range(1, len(prints) + 1) for m in combinations(range(len(prints)), n) if not every_way(part(m))
    ]
    smallest = [members for members in hopeless if len(members) == len(hopeless[0])]
    assert [set(ring) for ring in sorted(conflicts(prints), key=sorted)] == sorted(smallest, key=sorted)


def test_the_drawn_problems_are_of_both_sorts() -> None:
    drawn = [problem(random.Random(seed), 2 + seed % 5) for seed in range(150)]
    ways = [arrange(prints) for prints in drawn]
    assert 20 < sum(way is None for way in ways) < 130
    assert sum(way is not None and any(lowered(p, way.hot_c)) for p, way in zip(drawn, ways, strict=True)) > 10


def test_without_harm_the_order_is_the_orders_own() -> None:
    assert arrange([Print(150, 150)] * 4) == Arrangement((0, 1, 2, 3), (150, 150, 150, 150))


def test_only_what_must_be_is_lowered() -> None:
    """Two that bear 150 °C, wished at 160 and 155: the second pressed last needs 5 K less, the first 10 K."""
    both = frozenset({0, 1})
    prints = [Print(160, 140, 150, both - {0}), Print(155, 140, 150, both - {1}), Print(200, 140, inf)]
    assert arrange(prints) == Arrangement((0, 1, 2), (160, 150, 200))


def test_a_ring_of_three_is_named_whole_and_in_its_order() -> None:
    """Each bears less than the next one needs, and heats only that one."""
    prints = [Print(160, 160, 150, frozenset({(index + 1) % 3})) for index in range(3)]
    (ring,) = conflicts(prints)
    assert set(ring) == {0, 1, 2}
    for later, earlier in pairwise((*ring, ring[0])):
        assert later in prints[earlier].heats


def test_a_print_that_all_others_harm_does_not_make_the_search_for_rings_walk_every_way() -> None:
    """Eleven that harm each other, and a first one that all of them harm and that harms none: ways from the first lead
    through all of the others, 10 million of them, and none leads back. All rings are of two: 11 x 10 / 2 pairs."""
    others = frozenset(range(1, 12))
    prints = [Print(160, 160, 150), *(Print(160, 160, 150, others - {index} | {0}) for index in others)]
    assert conflicts(prints) == tuple(combinations(range(1, 12), 2))


def test_twelve_decorations_take_no_time() -> None:
    """The worst kind: every one heats every other, all must be weighed against each other. Under 5 ms of computing."""
    rng = random.Random("twelve")
    slowest = 0.0
    for _ in range(20):
        prints = [
            Print(150.0 + 7 * rng.random(), 120.0, 130 + 25 * rng.random(), frozenset(range(12)) - {index})
            for index in range(12)
        ]
        start = time.process_time()
        arrange(prints)
        conflicts(prints)
        slowest = max(slowest, time.process_time() - start)
    assert slowest < 0.05, "ten times the 5 ms it is to take, for slow machines"


# -- on the book -----------------------------------------------------------------------------------------------------


def order_of(book: Book, *decorations: dict[str, Any], **item: Any) -> tuple[Order, Shop]:
    base = book.documents["base_example"]
    sized = [{"size": {"width": "80 mm", "height": "80 mm"}} | decoration for decoration in decorations]
    document = base["order"] | {"decorations": sized, "item": merge(base["order"]["item"], item)}
    return read(Order, document), read(Shop, base["shop"])


def settings_of(verdict: Verdict) -> tuple[Mapping[str, Any], ...]:
    assert verdict.on.settings, "it can be done"
    return verdict.on.settings


def test_settings_are_lowered_only_where_an_order_needs_it(authority: Authority, book: Book) -> None:
    """Foil and two-step toner on one front: toner bears 120 °C, foil 130 °C; toner goes last, cooler than it is wished
    (142 °C), and foil keeps its 146 °C. Numbers: the book's transfers."""
    foil, toner = {"transfer": "foil-over-adhesive"}, {"transfer": "toner-paper-two-step"}
    for decorations in ((foil, toner), (toner, foil)):
        order, shop = order_of(book, *decorations)
        verdict = authority.validate(order, shop)
        places = [str(decoration["transfer"]) for decoration in decorations]
        assert [places[index] for index in verdict.on.sequence or ()] == ["foil-over-adhesive", "toner-paper-two-step"]
        alone = {
            name: settings_of(authority.validate(*order_of(book, {"transfer": name})))[0]["temperature"]
            for name in places
        }
        now = {name: settings["temperature"] for name, settings in zip(places, settings_of(verdict), strict=True)}
        assert now["foil-over-adhesive"] == alone["foil-over-adhesive"]
        assert now["toner-paper-two-step"] != alone["toner-paper-two-step"]


def test_a_said_temperature_is_not_lowered(authority: Authority, book: Book) -> None:
    foil = {"transfer": "foil-over-adhesive"}
    toner = {"transfer": "toner-paper-two-step", "settings": {"temperature": "142 °C"}}
    order, shop = order_of(book, foil, toner)
    verdict = authority.validate(order, shop)
    assert "no-order-of-pressings" in {finding.rule for finding in verdict.findings}


def test_a_clash_names_the_decorations_and_no_others(authority: Authority, book: Book) -> None:
    """Of three, the foil and the one-step toner clash; the sleeve's film has no part in it."""
    order, shop = order_of(
        book,
        {"transfer": "cut-film", "placement": "sleeve"},
        {"transfer": "foil-gold-screen", "placement": "front"},
        {"transfer": "toner-paper-one-step", "placement": "back"},
    )
    (clash,) = (
        finding for finding in authority.validate(order, shop).findings if finding.rule == "no-order-of-pressings"
    )
    assert "decoration 2 (" in clash.because
    assert "decoration 3 (" in clash.because
    assert "decoration 1 (" not in clash.because


def test_what_is_ruled_out_tells_its_own_clash(authority: Authority, book: Book) -> None:
    """Two combinations that clash differently stand apart, each with its own sentence."""
    order, shop = order_of(book, {}, {"transfer": "toner-light-one-step"})
    first = replace(order.decorations[0], transfer=None)
    repeated = replace(order, decorations=(first, order.decorations[1]))
    stocked = replace(
        shop, stock=replace(shop.stock, products=("foil-gold", "raised-standard", "toner-light-one-step"))
    )
    clashes = [
        (out.transfers, finding.because)
        for out in authority.recommend(repeated, stocked).ruled_out
        for finding in out.findings
        if finding.rule == "no-order-of-pressings"
    ]
    assert len(clashes) >= 2
    for transfers, because in clashes:
        titles = {book.catalogue["products"][name].title.lower() for names in transfers for name in names.split(" + ")}
        assert all(title in because.lower() for title in titles)


def test_decorations_from_before_keep_every_pressing_below_what_they_bear(authority: Authority, book: Book) -> None:
    """A piece that carries film (165 °C) is pressed no hotter at its hottest spot."""
    order, shop = order_of(book, {"transfer": "pigment-release-paper"}, {"transfer": "cut-film"}, already=["cut-film"])
    verdict = authority.validate(order, shop)
    assert "no-temperature-fits" in {finding.rule for finding in verdict.findings}, (
        "178 °C is the least for pigment release"
    )
    order, shop = order_of(book, {"transfer": "cut-film"}, {"transfer": "powder-film"}, already=["cut-film-pvc"])
    for settings in settings_of(authority.validate(order, shop)):
        assert float(settings["temperature"].split()[0]) <= 170
