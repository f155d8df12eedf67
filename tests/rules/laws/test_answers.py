"""Laws of what an answer carries: settings only where they may be pressed, presses that can, something to ask.

The orders are random over the shipped book, and the demo's. No source: these are promises of this project.
"""

from __future__ import annotations

import itertools
import json
import random
from collections import Counter
from typing import Any

import pytest
from tests.rules.laws.questions import ORDERS, SEED, WORKABLE, Document, Question, demo_questions, with_answer
from tests.rules.laws.questions import questions as random_questions
from tests.tiers import of_this_run

from accord_rules.advise.remedies import Remedied
from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.documents.reading import read
from accord_rules.governance.house import HouseAuthority, read_house
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import PRESSURES
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Recommendation, Verdict
from accord_rules.weigh import scales
from accord_rules.weigh.scales import Scales, Weighed

# Twice as many by night: laws/test_brute_force.py looks for what there is no plan for among other settings, every day.
WITH_PLANS = of_this_run(1, 1, 2) * ORDERS


@pytest.fixture(scope="module")
def questions(book: Book) -> list[Question]:
    everyday = random_questions(book, 2 * ORDERS, "everyday", odd=0.15, decorations=2, open_settings=True)
    return [*demo_questions(), *everyday, *random_questions(book, ORDERS, "odd", odd=1.0)]


@pytest.fixture(scope="module")
def answered(questions: list[Question], without_remedies: Authority) -> list[tuple[Document, Shop, Verdict]]:
    judged = [(order, shop, without_remedies.validate(read(Order, order), shop)) for order, shop in questions]
    assert {verdict.verdict for _, _, verdict in judged} == {"accepted", "conditional", "undetermined", "rejected"}
    return judged


# -- settings and presses --------------------------------------------------------------------------------------------


def test_there_are_settings_only_where_they_may_be_pressed(answered: list[tuple[Document, Shop, Verdict]]) -> None:
    judged = [(on_press, len(order["decorations"])) for order, _, verdict in answered for on_press in verdict.presses]
    stopped = [on_press for on_press, _ in judged if on_press.verdict not in WORKABLE]
    assert stopped
    assert all((on_press.settings, on_press.sequence) == (None, None) for on_press in stopped)
    assert {bool(on_press.blocked_by) for on_press in stopped if on_press.verdict == "rejected"} == {True}
    free = [(on_press, decorations) for on_press, decorations in judged if on_press.verdict in WORKABLE]
    assert {(len(on_press.settings or ()), len(on_press.sequence or ())) == (of, of) for on_press, of in free} == {True}
    assert {on_press.blocked_by for on_press, _ in free} == {()}


def test_each_press_says_what_it_would_say_if_it_were_named(
    answered: list[tuple[Document, Shop, Verdict]], authority: Authority
) -> None:
    seen: Counter[str] = Counter()
    for order, shop, verdict in answered:
        assert verdict.on.verdict == verdict.verdict
        if "press" in order:
            assert [on_press.press for on_press in verdict.presses] == [verdict.judged_on]
            assert {finding.presses for finding in verdict.findings} <= {None}
            continue
        assert [on_press.press for on_press in verdict.presses] == [press.id for press in shop.presses]
        for on_press in itertools.islice(verdict.presses, 4):
            alone = authority.judge(read(Order, order | {"press": on_press.press}), shop)
            assert alone.verdict == on_press.verdict, (order, on_press.press)
            assert set(on_press.blocked_by) == {fired.rule.id for fired in alone.at("blocks")}
            fired_alone = {(fired.rule.id, fired.pointer) for fired in alone.fired}
            for finding in verdict.findings:
                there = finding.presses is None or on_press.press in finding.presses
                assert there == ((finding.rule, finding.pointer) in fired_alone), (order, on_press.press)
                seen["all" if finding.presses is None else "there" if there else "elsewhere"] += 1
            seen[on_press.verdict] += 1
    assert min(seen[word] for word in (*WORKABLE, "rejected", "undetermined", "all", "there", "elsewhere")) > 10, seen


def test_a_press_that_the_shared_book_stops_cannot_under_house_rules_either(
    questions: list[Question], authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(HouseAuthority, "_remedies", lambda self, judged, shop: Remedied())
    house = HouseAuthority(authority, read_house({"without": {"consumables": ["ptfe-sheet", "silicone-paper"]}}))
    compared = 0
    try:
        for order, shop in questions[:160]:
            judged = house.validate(read(Order, order), shop)
            assert all(finding.presses is None or judged.judged_on in finding.presses for finding in judged.findings)
            for on_press in judged.presses if "press" not in order else ():
                if on_press.verdict not in WORKABLE:
                    continue
                pinned = read(Order, order | {"press": on_press.press})
                assert authority.judge(pinned, shop).verdict in WORKABLE
                assert house.judge(pinned, shop).verdict in WORKABLE
                compared += 1
    finally:
        house.close()
    assert compared > 20


# -- something to ask ------------------------------------------------------------------------------------------------

# What a counter hand may answer to each thing that is asked for.
ANSWERS: dict[str, list[Any]] = {
    "substrate": ["knit", "woven", "aluminium-sheet"],
    "fibres": [{"PES": 100}, {"CO": 100}],
    "coating": ["none", "polyester-white-gloss"],
    "finishes": [[], ["water-repellent"]],
    "colour": ["white", "black"],
    "diameter": ["75 mm", "120 mm"],
    "palette": [["black"], ["white", "red"]],
    "transfer": ["cut-film", "dye-sublimation"],
    "pressure": list(PRESSURES),
    "care": [{"iron": 3}, {"iron": 1}],
    "iron": [3, 1],
    "dye": ["disperse", "none"],
    "due_in": ["48 h"],
    "features": [[], ["zip", "seam"]],
    "kinds": [[], ["sportswear"], ["protective"]],
    "placement": ["front", "face", "reverse"],
    "age_from": [2, 6, 30],
}


def test_an_undetermined_order_asks_what_decides_it(
    book: Book, authority: Authority, without_remedies: Authority
) -> None:
    """Whatever is answered, round after round, it comes to a verdict."""
    rng, open_ = random.Random(SEED), 0
    questions_ = [
        *demo_questions(),
        *random_questions(book, 6 * ORDERS, "open", odd=0.3, decorations=2),
        *random_questions(book, 2 * ORDERS, "open and odd", odd=1.0),
    ]
    for order, shop in questions_:
        if authority.judge(read(Order, order), shop).verdict != "undetermined":
            continue
        open_ += 1
        for _ in range(6):
            verdict = without_remedies.validate(read(Order, order), shop)
            if verdict.verdict != "undetermined":
                break
            assert verdict.needs, f"ACCORD_SEED={SEED}: {json.dumps(order)}"
            for need in verdict.needs:
                order = with_answer(order, need.pointer, rng.choice(ANSWERS[need.pointer.rsplit("/", 1)[-1]]))
        assert verdict.verdict != "undetermined", f"ACCORD_SEED={SEED}: {json.dumps(order)}"
    assert open_ > 15, "too few open orders to mean anything"


def test_a_gauge_reading_without_a_cylinder_is_asked_for_in_words(authority: Authority, book: Book) -> None:
    """40 psi says nothing on a press whose cylinder nobody recorded: how firm that is has to be asked."""
    order = {
        "item": {"blank": "scarf-silk-ivory"},
        "decorations": [
            {
                "transfer": "inkjet-dark-stretch",
                "placement": "back",
                "size": {"width": "20 mm", "height": "90 mm"},
                "settings": {"read_at": "display", "pressure": "40 psi", "pad": "foam-pillow", "second_press": "0 s"},
            }
        ],
        "press": {"type": "clamshell-automatic", "platen": {"width": "380 mm", "height": "380 mm"}},
    }
    shop = read(Shop, book.documents["base_example"]["shop"])
    verdict = authority.validate(read(Order, order), shop)
    assert verdict.verdict == "undetermined"
    assert [need.pointer for need in verdict.needs] == ["/decorations/0/settings/pressure"]
    assert verdict.needs[0].allowed == PRESSURES
    settled = with_answer(order, verdict.needs[0].pointer, "medium")
    assert authority.judge(read(Order, settled), shop).verdict != "undetermined"


HOUSE_RULE: Document = {
    "level": "blocks",
    "title": "Nothing that is due soon",
    "about": "order",
    "because": "Too soon.",
    "fix": "Ask for more time.",
    "sources": ["common-practice"],
    "fires": [{}],
    "silent": [{}],
}


@pytest.mark.parametrize(
    ("when", "about", "pointer"),
    [
        ("order.due_s < limit('prepress.time_least')", "order", "/due_in"),
        ("press.circuit_share > limit('electric.circuit_share_near')", "press", "/press"),
        ("press.mains_share > limit('electric.circuit_full')", "press", "/press"),
        # Nothing that the order could say: this print lies on no other.
        ("not layer.under_may", "decoration", "/decorations/0"),
    ],
)
def test_a_house_rule_that_is_open_asks_too(
    when: str, about: str, pointer: str, authority: Authority, book: Book
) -> None:
    rule = HOUSE_RULE | {"when": when, "about": about}
    house = HouseAuthority(authority, read_house({"rules": {"house.open": rule}}))
    try:
        base = book.documents["base_example"]
        bare = {"item": base["order"]["item"], "decorations": [{"transfer": "cut-film"}]}
        presses = [
            {key: value for key, value in press.items() if key != "circuit"} for press in base["shop"]["presses"]
        ]
        shop = read(Shop, base["shop"] | {"presses": presses})
        verdict = house.validate(read(Order, bare), shop)
        assert verdict.verdict == "undetermined"
        assert [(need.pointer, need.decides) for need in verdict.needs] == [(pointer, ("house.open",))]
        assert authority.validate(read(Order, bare), shop).needs == (), "only a block asks for it"
    finally:
        house.close()


# -- plans, and that there is none -----------------------------------------------------------------------------------


def opened(order: Document, rng: random.Random) -> Document:
    """The order with its press and some of its transfers left open; a sheet is that of a transfer, and goes with it."""
    decorations = [
        {k: v for k, v in decoration.items() if k != "transfer" or rng.random() < 0.3}
        for decoration in order["decorations"]
    ]
    decorations = [d if "transfer" in d else {k: v for k, v in d.items() if k != "sheet"} for d in decorations]
    return {key: value for key, value in order.items() if key != "press"} | {"decorations": decorations}


def test_a_plan_validates_and_where_there_is_none_no_combination_does(book: Book, authority: Authority) -> None:
    rng, plans, none = random.Random(SEED), 0, 0
    for document, shop in random_questions(book, WITH_PLANS, "plans", odd=0.15, decorations=2, open_settings=True):
        order = opened(document, rng)
        recommendation = authority.recommend(read(Order, order), shop)
        for plan in recommendation.plans[:3]:
            done = authority.judge(read(Order, dict(plan.order)), shop)
            assert done.verdict in WORKABLE, f"ACCORD_SEED={SEED}: {json.dumps(order)}"
            plans += 1
        if recommendation.plans or not recommendation.complete:
            continue
        none += 1
        for names in itertools.product(*(fillings(decoration, shop, book) for decoration in order["decorations"])):
            filled = [
                decoration | {"transfer": name} for decoration, name in zip(order["decorations"], names, strict=True)
            ]
            for press in shop.presses:
                filled_order = read(Order, order | {"decorations": filled, "press": press.id})
                verdict = authority.judge(filled_order, shop).verdict
                assert verdict not in WORKABLE, f"ACCORD_SEED={SEED}: {json.dumps(order)}"
    assert plans > 0.21 * WITH_PLANS
    assert none > WITH_PLANS / 20


def fillings(decoration: Document, shop: Shop, book: Book) -> list[str]:
    """What the decoration names, the stocked products of the family it names, or all that is stocked."""
    named = decoration.get("transfer")
    stocked = [
        product for product in shop.stock.products if named in (None, book.catalogue["products"][product].family)
    ]
    return stocked if stocked and named not in book.catalogue["products"] else [named]


# -- bounds ----------------------------------------------------------------------------------------------------------


def large_shop(book: Book, presses: int) -> Shop:
    """So many presses, each with readings of its own, and all of the book in stock."""
    flat = [name for name, press_type in book.catalogue["press_types"].items() if press_type.shape == "flat"]
    return read(
        Shop,
        dict(book.documents["base_example"]["shop"])
        | {
            "presses": [
                {
                    "id": f"p{i}",
                    "type": flat[i % len(flat)],
                    "calibration": [
                        {"display": f"{x} °C", "surface": [f"{x - i % 9 - spot} °C" for spot in range(3)]}
                        for x in (120, 160, 200)
                    ],
                }
                for i in range(presses)
            ],
            "stock": {kind: sorted(book.catalogue[kind]) for kind in ("products", "consumables")},
        },
    )


def many_prints(count: int) -> Document:
    """Open prints, no two alike."""
    prints = [{"size": {"width": f"{40 + 3 * i} mm", "height": f"{50 + 2 * i} mm"}} for i in range(count)]
    return {"item": {"blank": "tee-heavy-white"}, "quantity": 24, "decorations": prints}


@pytest.fixture(autouse=True)
def weighings_alone_end_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seconds of a core come to less on a machine that has much to do, and would end it sooner there."""
    monkeypatch.setattr(scales, "CPU_MOST_S", 600.0)


@pytest.fixture
def weighings(monkeypatch: pytest.MonkeyPatch) -> list[Case]:
    """Every case that is weighed from now on."""
    seen: list[Case] = []
    weigh = Scales.weigh

    def counting(self: Scales, case: Case) -> Weighed:
        seen.append(case)
        return weigh(self, case)

    monkeypatch.setattr(Scales, "weigh", counting)
    return seen


# What a recommend may weigh to find its ways, and the ten plans put back: measured as 6,200 and 8,100 of these.
RECOMMEND_MOST = 12_000


@pytest.mark.parametrize("prints", [2, 12])
def test_a_recommend_over_forty_presses_is_bounded_and_says_so(
    prints: int, book: Book, authority: Authority, weighings: list[Case]
) -> None:
    """28,000 weighings and an answer of some megabytes where nothing ended it."""
    recommendation = authority.recommend(read(Order, many_prints(prints)), large_shop(book, 40))
    assert recommendation.plans, "the bound leaves enough to find a way"
    assert recommendation.complete is False
    assert len(weighings) < RECOMMEND_MOST
    assert len(recommendation.ruled_out) <= 100
    assert len(json.dumps(recommendation.document())) < 600_000


# What an envelope may weigh, and what may come on top: judging each way found in full, and what is being weighed when
# the budget ends. 25,200 without an end, for the twelve named prints.
ENVELOPE_MOST = 12_000


@pytest.mark.parametrize("named", [True, False])
def test_an_envelope_of_a_dozen_prints_is_bounded_and_says_so(
    named: bool, book: Book, authority: Authority, weighings: list[Case]
) -> None:
    document = many_prints(12)
    if named:
        for decoration in document["decorations"]:
            decoration["transfer"] = "cut-film"
    envelope = authority.envelope(read(Order, document), large_shop(book, 4))
    assert envelope.complete is False
    assert len(weighings) < ENVELOPE_MOST


def test_seconds_of_a_core_end_an_answer_too(book: Book, authority: Authority, monkeypatch: pytest.MonkeyPatch) -> None:
    """For what weighings do not count."""
    order, shop = read(Order, many_prints(1)), large_shop(book, 4)
    assert authority.recommend(order, shop).complete
    monkeypatch.setattr(scales, "CPU_MOST_S", 0.0)
    assert not authority.recommend(order, shop).complete


def test_one_print_that_may_be_anything_is_weighed_whole_at_the_largest_shop(book: Book, authority: Authority) -> None:
    recommendation = authority.recommend(read(Order, many_prints(1)), large_shop(book, 40))
    assert recommendation.complete
    assert recommendation.plans


def test_reasons_left_out_are_counted(book: Book, authority: Authority, monkeypatch: pytest.MonkeyPatch) -> None:
    order, shop = read(Order, many_prints(2)), large_shop(book, 4)
    whole = authority.recommend(order, shop)
    assert len(whole.ruled_out) > 5
    assert whole.ruled_out_left_out == 0
    monkeypatch.setattr("accord_rules.advise.plans.RULED_OUT_MOST", 5)
    cut = authority.recommend(order, shop)
    assert cut.ruled_out == whole.ruled_out[:5]
    assert cut.ruled_out_left_out == len(whole.ruled_out) - 5


@pytest.fixture(scope="module")
def recommended(book: Book, authority: Authority) -> list[tuple[tuple[Order, Shop], Recommendation]]:
    """Questions, each with the answer that nothing ended."""
    questions = [
        (read(Order, opened(document, random.Random(SEED))), shop)
        for document, shop in random_questions(book, ORDERS, "ended", odd=0.15, decorations=2, open_settings=True)
    ]
    return [(question, authority.recommend(*question)) for question in questions]


@pytest.mark.parametrize("most", [0, 3, 8])
def test_an_answer_that_was_ended_never_says_that_there_is_no_way(
    most: int,
    recommended: list[tuple[tuple[Order, Shop], Recommendation]],
    authority: Authority,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whatever the weighings left: no plan and complete only where there is none in full either."""
    allowance = Scales.allowance
    questions, whole = zip(*recommended, strict=True)
    monkeypatch.setattr(Scales, "allowance", lambda self, _most=0: allowance(self, most))
    cut = [authority.recommend(*question) for question in questions]
    lost = [(before, after) for before, after in zip(whole, cut, strict=True) if before.plans and not after.plans]
    assert {after.complete for _, after in lost} <= {False}
    assert lost, "a bound that takes nothing away shows nothing"
    envelopes = [authority.envelope(*question) for question in questions]
    assert {
        envelope.complete
        for envelope, before in zip(envelopes, whole, strict=True)
        if before.plans and not envelope.presses
    } <= {False}
