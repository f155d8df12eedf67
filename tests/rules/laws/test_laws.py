"""Laws that hold for every order: plans validate, answers repeat, needs decide. Brute force has a file of its own.

The orders are random over the shipped book; see ``questions``.
"""

from __future__ import annotations

import json
import random
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from tests.rules.laws.questions import ORDERS, SEED, WORKABLE, opened, questions

from accord_rules.advise.plans import search
from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import read
from accord_rules.documents.writing import written
from accord_rules.load.examples import example_order
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.verdict import PLANS_MOST, Verdict
from accord_rules.weigh.scales import Weighed


def bare(order: dict[str, Any]) -> dict[str, Any]:
    """What a plan leaves as it was asked: all but press, transfers and settings."""
    decorations = [
        {k: v for k, v in decoration.items() if k not in ("transfer", "settings")}
        for decoration in order["decorations"]
    ]
    return {name: value for name, value in order.items() if name != "press"} | {"decorations": decorations}


def test_every_plan_validates_as_it_says(book: Book, authority: Authority) -> None:
    rng = random.Random(SEED)
    plans = 0
    for order, shop in questions(book, ORDERS, "plans", open_settings=True, decorations=2, odd=0.1):
        document = opened(order, rng)
        recommendation = authority.recommend(read(Order, document), shop).document()["plans"]
        searched = search(authority.scales, resolve(read(Order, document), book, shop), shop).possible
        assert len(recommendation) == min(len(searched), PLANS_MOST), "a way that was found did not hold when put back"
        for plan in recommendation:
            verdict = authority.validate(read(Order, plan["order"]), shop)
            assert verdict.verdict in WORKABLE, f"ACCORD_SEED={SEED}: {json.dumps(plan['order'])}"
            assert (verdict.verdict, verdict.id) == (plan["verdict"], plan["verdict_id"])
            assert verdict.on.settings == tuple(decoration["settings"] for decoration in plan["decorations"])
            assert bare(plan["order"]) == bare(written(resolve(read(Order, document), book, shop), shop.units))
            plans += 1
    assert plans > ORDERS / 4, "too few plans to mean anything"


def test_a_combination_comes_to_what_it_does_by_itself(book: Book, authority: Authority) -> None:
    """A search weighs each decoration once for all of its combinations; asked afresh, each comes to the same."""
    rng, compared, several = random.Random(SEED), 0, 0
    scales = authority.scales
    for order, shop in questions(book, 3 * ORDERS, "alone", open_settings=True, decorations=3, odd=0.1):
        ways = search(scales, resolve(read(Order, opened(order, rng)), book, shop), shop)
        candidates = [*ways.possible, *ways.others]
        for candidate in rng.sample(candidates, min(6, len(candidates))):
            whole = Case(book, shop, candidate.order)
            decorations = [whole.decoration_case(index) for index in range(len(candidate.order.decorations))]
            general = sum(map(scales.weigh, decorations), scales.weigh(whole))
            fresh = scales.on_press(decorations, candidate.on_press.press)
            assert fresh.sequence == candidate.on_press.sequence
            assert [case.chosen for case in fresh.cases] == [case.chosen for case in candidate.on_press.cases]
            assert short(general + fresh.weighed) == short(candidate.weighed), (
                f"ACCORD_SEED={SEED}: {json.dumps(order)}"
            )
            compared += 1
            several += len(decorations) > 1
    assert several > ORDERS / 4, f"only {several} of {compared} had several decorations"


def short(weighed: Weighed) -> list[tuple[str, int, tuple[str, ...]]]:
    fired = [(fired.rule.id, fired.case.index, ()) for fired in weighed.fired]
    return sorted(
        fired
        + [(open_rule.rule.id, open_rule.case.index, tuple(sorted(open_rule.facts))) for open_rule in weighed.open]
    )


def test_the_same_question_has_the_same_bytes_whoever_asks(book: Book, authority: Authority) -> None:
    asked_orders = questions(book, 30, "bytes")

    def answers(of: Authority) -> list[bytes]:
        return [canonical(of.validate(read(Order, order), shop).document()) for order, shop in asked_orders]

    another = Authority(book)
    try:
        first = answers(authority)
        assert answers(another) == first
        with ThreadPoolExecutor(4) as pool:
            assert all(answer == first for answer in pool.map(lambda _: answers(authority), range(4)))
    finally:
        another.close()


def test_an_id_stands_for_its_question(book: Book, authority: Authority) -> None:
    """Equal meanings share an id, whatever the spelling and the shop's reference; different ones do not."""
    (order, shop), *_ = questions(book, 1, "ids", open_settings=True)
    base = order | {"decorations": [{"transfer": "cut-film", "size": {"width": "254 mm", "height": "100 mm"}}]}
    respelt = base | {"decorations": [{"transfer": "cut-film", "size": {"width": "10 in", "height": "10 cm"}}]}
    larger = base | {"decorations": [{"transfer": "cut-film", "size": {"width": "255 mm", "height": "100 mm"}}]}

    def id_of(document: dict[str, Any]) -> str:
        return authority.validate(read(Order, document), shop).id

    assert id_of(base) == id_of(respelt) == id_of(base | {"reference": "HL-7"})
    assert id_of(base) != id_of(larger)


@pytest.fixture(scope="module")
def answered(book: Book, without_remedies: Authority) -> list[tuple[dict[str, Any], Shop, Verdict]]:
    asked_orders = questions(book, ORDERS * 4, "needs")
    return [(order, shop, without_remedies.validate(read(Order, order), shop)) for order, shop in asked_orders]


def test_undetermined_means_something_is_asked(
    answered: list[tuple[dict[str, Any], Shop, Verdict]], book: Book
) -> None:
    for _, _, verdict in answered:
        assert (verdict.verdict == "undetermined") <= bool(verdict.needs)
        if verdict.verdict in ("rejected", "conditional"):
            assert not verdict.needs, "nothing unsaid can change it"
        for need in verdict.needs:
            assert need.question.endswith(("?", ".")), need
            assert need.decides
            assert all(rule in book.rules for rule in need.decides)
    assert any(verdict.verdict == "undetermined" for _, _, verdict in answered)


OPEN: dict[str, tuple[dict[str, Any], list[Any]]] = {
    # field: the piece without it, and answers that settle it one way and the other
    "fibres": ({"substrate": "knit", "colour": "white"}, [{"PES": 100}, {"CO": 100}]),
    "substrate": ({"fibres": {"PES": 100}, "colour": "white", "coating": "none"}, ["knit", "silicone-sheet"]),
    "coating": ({"substrate": "aluminium-sheet", "colour": "white"}, ["polyester-white-gloss", "none"]),
    "colour": ({"substrate": "knit", "fibres": {"PES": 100}}, ["white", "black"]),
}


@pytest.mark.parametrize("field", OPEN)
def test_an_answer_to_what_is_asked_decides_it(field: str, book: Book, authority: Authority) -> None:
    item, answers = OPEN[field]
    order = {"item": item, "decorations": [{"transfer": "dye-sublimation"}], "press": "bench"}
    shop = example_order({}, book)[1]
    open_verdict = authority.validate(read(Order, order), shop)
    assert open_verdict.verdict == "undetermined"
    assert f"/item/{field}" in {need.pointer for need in open_verdict.needs}
    settled = [authority.validate(read(Order, order | {"item": item | {field: answer}}), shop) for answer in answers]
    assert all(f"/item/{field}" not in {need.pointer for need in verdict.needs} for verdict in settled)
    assert settled[0].verdict in WORKABLE
    assert settled[1].verdict == "rejected"
