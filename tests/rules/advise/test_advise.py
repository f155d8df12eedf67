"""What is advised: steps, ranking, what was ruled out, the order of pressings, remedies and estimates.

The steps and their order are common practice of press operators; no published source. Estimates are arithmetic.
"""

from __future__ import annotations

import copy
import random
from dataclasses import replace
from typing import Any

import pytest
import random_orders
from cases import Document, order_document, sentence, shop_of, stand_in_order

from accord_rules.authority import Authority
from accord_rules.derive.case import Case
from accord_rules.derive.chosen import Sequenced
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve
from accord_rules.verdict import Plan, Remedy, Verdict
from accord_rules.weigh.choice import choose
from accord_rules.weigh.sequence import find_sequence

WORKABLE = ("accepted", "conditional")
PRESSES = [
    {"id": "bench", "type": "swing-away", "power": "1800 W"},
    {"id": "hand", "type": "hand-held", "power": "1400 W"},
    {"id": "mug", "type": "mug-press"},
]


@pytest.fixture(scope="module")
def shop(book: Book) -> Shop:
    return shop_of(book, presses=PRESSES)


def plans(authority: Authority, shop: Shop, document: Document) -> tuple[Plan, ...]:
    return authority.recommend(read(Order, document), shop).plans


def size(width_mm: int, height_mm: int) -> Document:
    return {"width": f"{width_mm} mm", "height": f"{height_mm} mm"}


# -- steps -----------------------------------------------------------------------------------------------------------


def test_steps_of_a_panel_go_as_an_operator_does_them(authority: Authority, shop: Shop) -> None:
    document = {
        "item": {"blank": "metal-panel-200x300"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": size(200, 300)}],
        "press": "bench",
    }
    (plan,) = plans(authority, shop, document)
    steps = plan.decorations[0].steps
    assert stand_in_order(
        steps,
        "goods-against-ticket",
        "print-mirrored",
        "protective-film-off",
        "set-press",
        "piece-on-print",
        "tape-paper-to-back",
        "cover",
        "press-main",
        "gloves-on",
        "straight-off-paper",
        "flat-hard",
    )
    assert "95 s at medium pressure" in sentence(steps, "press-main"), "95 s for a longer side of 300 mm"
    assert not any("Pre-press" in step.text or "first wash" in step.text for step in steps)
    assert plan.press_title.endswith("“bench”")
    assert [(layer.what, layer.face) for layer in plan.decorations[0].stacks[-1].layers] == [
        ("heated platen", ""),
        ("silicone-coated release paper", ""),
        ("coated aluminium panel, 200 x 300 mm, white gloss", "coated face down"),
        ("sublimation paper, fast drying", "printed side up"),
        ("its paper carrier", ""),
        ("uncoated paper", ""),
        ("lower platen", ""),
    ]


def test_steps_of_a_tee_by_hand(authority: Authority, shop: Shop) -> None:
    document = {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "film-soft-matte", "placement": "front", "size": size(200, 150)}],
        "press": "hand",
    }
    (plan,) = plans(authority, shop, document)
    steps = plan.decorations[0].steps
    (peel,) = (step.id for step in steps if step.id.startswith("peel-"))
    assert stand_in_order(
        steps,
        "goods-against-ticket",
        "reads-right-through-carrier",
        "set-press",
        "firm-table",
        "lay-out",
        "pre-press-bare",
        "adhesive-down",
        "press-by-hand",
        "into-stand",
        peel,
        "press-unplugged",
        "wash",
    )
    # 12 s on a bench press and 7 s more by hand.
    assert "19 s at light hand pressure, still and flat, never sliding" in sentence(steps, "press-by-hand")
    assert "first wash after 24 h" in sentence(steps, "wash")
    assert {"gloves-on", "protective-film-off", "press-main"}.isdisjoint(step.id for step in steps)


def test_steps_of_a_mug(authority: Authority, shop: Shop) -> None:
    document = {
        "item": {"blank": "mug-coated-325"},
        "decorations": [{"transfer": "dye-sublimation", "size": size(150, 80)}],
    }
    (plan,) = plans(authority, shop, document)
    assert plan.press == "mug", "no other press of the shop is curved"
    steps = plan.decorations[0].steps
    assert stand_in_order(
        steps,
        "goods-against-ticket",
        "print-mirrored",
        "set-press",
        "wrap-print",
        "tape-round",
        "press-wrap",
        "gloves-on",
        "unwrap",
        "upright",
        "wash-by-hand",
    )
    assert "loose-parts-off" not in {step.id for step in steps}, "a mug has no lid"
    assert "150 mm x 80 mm, tightly round the piece, printed side inwards" in sentence(steps, "wrap-print")


def test_a_print_in_parts_says_how_many_times(authority: Authority, shop: Shop) -> None:
    document = order_document(authority.book, decoration={"transfer": "film-soft-matte", "size": size(300, 250)})
    (plan,) = plans(authority, shop, document | {"press": "hand"})
    step = sentence(plan.decorations[0].steps, "press-in-fields")
    assert step.startswith("Press 4 fields side by side with 10 mm overlap")


def test_a_second_press_comes_after_the_peel(authority: Authority, shop: Shop) -> None:
    wanting = [n for n in shop.stock.products if authority.book.catalogue["products"][n].second_press > 0]
    assert wanting
    planned = [
        plan.decorations[0].steps
        for name in wanting
        for plan in plans(authority, shop, order_document(authority.book, decoration={"transfer": name}))
    ]
    assert planned
    for steps in planned:
        peel = [step.id for step in steps if step.id in ("peel-hot", "peel-warm", "peel-cold")]
        (press,) = (step.id for step in steps if step.id in ("press-main", "press-by-hand"))
        (again,) = (step.id for step in steps if step.id in ("press-again", "press-from-reverse"))
        assert stand_in_order(steps, press, *peel, again), steps
        assert not any("none is at hand" in step.text for step in steps), "the example shop has sheets"


# -- ranking and what was ruled out ----------------------------------------------------------------------------------

OPEN: Document = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"placement": "front", "size": size(200, 150)}]}


def mark(book: Book, plan: Plan, wish: str) -> int:
    return int(getattr(book.catalogue["products"][plan.decorations[0].transfer], wish))


@pytest.mark.parametrize("wish", ["durability", "hand", "cost"])
def test_what_is_preferred_comes_first(wish: str, authority: Authority, shop: Shop) -> None:
    book = authority.book
    ranked = plans(authority, shop, OPEN | {"prefer": [wish]})
    usual = plans(authority, shop, OPEN)
    assert [plan.rank for plan in ranked] == list(range(1, len(ranked) + 1))
    average = sum(mark(book, plan, wish) for plan in usual) / len(usual)
    assert mark(book, ranked[0], wish) >= average
    assert ranked[0].reasons[0] == f"{wish} {mark(book, ranked[0], wish):.1f} of 5"
    # Half a mark is what a caution costs: among plans with as many, the wish alone decides.
    best = [p for p in ranked if (len(p.cautions), p.verdict) == (len(ranked[0].cautions), ranked[0].verdict)]
    marks = [mark(book, plan, wish) for plan in best if "holds" in " ".join(plan.reasons)]
    assert marks == sorted(marks, reverse=True)


def test_wishes_change_the_order(authority: Authority, shop: Shop) -> None:
    first = {
        wish: plans(authority, shop, OPEN | {"prefer": [wish]})[0].decorations[0].transfer
        for wish in ("durability", "hand", "cost", "speed")
    }
    assert len(set(first.values())) > 1, first


def test_ruled_out_names_each_press_and_transfer_once_with_what_blocks(authority: Authority, shop: Shop) -> None:
    recommendation = authority.recommend(read(Order, OPEN), shop)
    named = [(out.press, name) for out in recommendation.ruled_out for name in out.transfers]
    assert len(named) == len(set(named))
    assert {press for press, _ in named} <= {None, *(press.id for press in shop.presses)}
    groups = [(out.press, frozenset(f.rule for f in out.findings)) for out in recommendation.ruled_out]
    assert len(groups) == len(set(groups)), "one entry a press and set of findings"
    for out in recommendation.ruled_out:
        assert out.findings
        assert {finding.level for finding in out.findings} == {"blocks"}
    anyhow = {name for press, name in named if press is None}
    assert "sub-paper-fast-dry" in anyhow, "dye does not bond to cotton, whatever the press"
    on_mug = {name for press, name in named if press == "mug"}
    assert anyhow.isdisjoint(on_mug), "what no press can help is not told press by press"
    assert anyhow | on_mug == set(shop.stock.products), "curved for flat"
    planned = {(plan.press, plan.decorations[0].transfer) for plan in recommendation.plans}
    assert not planned & set(named)
    assert anyhow.isdisjoint(transfer for _, transfer in planned)


@pytest.mark.parametrize("blank", ["tee-heavy-white", "hardboard-coaster", "polyester-sequin-cushion"])
def test_whatever_the_press_is_true_of_each(blank: str, authority: Authority, shop: Shop) -> None:
    """What is ruled out without a press is rejected on every one, by those rules among others."""
    placement = "face" if blank == "hardboard-coaster" else "front"
    document = {"item": {"blank": blank}, "decorations": [{"placement": placement, "size": size(80, 80)}]}
    anyhow = [out for out in authority.recommend(read(Order, document), shop).ruled_out if out.press is None]
    assert anyhow
    for out in anyhow:
        rules = {finding.rule for finding in out.findings}
        for transfer in out.transfers:
            filled = {**document, "decorations": [{**document["decorations"][0], "transfer": transfer}]}
            for press in shop.presses:
                verdict = authority.validate(read(Order, filled | {"press": press.id}), shop)
                assert verdict.verdict == "rejected"
                assert rules <= {finding.rule for finding in verdict.findings if finding.level == "blocks"}


def test_it_is_said_whether_everything_was_weighed(authority: Authority, shop: Shop) -> None:
    """Three open decorations multiply beyond what is weighed; one does not, nor three of which two are named."""
    stock = tuple(authority.book.catalogue["products"])
    wide = replace(shop, stock=replace(shop.stock, products=stock), presses=shop.presses[:1])
    places = ("front", "back", "sleeve")
    decorations: list[Document] = [{"placement": place, "size": size(60, 60)} for place in places]
    document = {"item": {"blank": "tee-heavy-white"}, "decorations": decorations[:1]}
    assert authority.recommend(read(Order, document), wide).complete
    cut = authority.recommend(read(Order, document | {"decorations": decorations}), wide)
    assert not cut.complete
    assert cut.document()["complete"] is False
    named = [decorations[0], *(decoration | {"transfer": "film-soft-matte"} for decoration in decorations[1:])]
    assert authority.recommend(read(Order, document | {"decorations": named}), wide).complete


def test_what_is_about_the_press_counts_once_for_all_decorations(authority: Authority, shop: Shop) -> None:
    """Two prints on one press: what is said of the press is one finding, and counts as one in the ranking."""
    decorations = [
        {"placement": placement, "transfer": "film-soft-matte", "size": size(60, 60)} for placement in ("front", "back")
    ]
    uneven = {"type": "swing-away", "calibration": [{"display": "150 °C", "surface": ["159 °C", "141 °C"]}]}
    document = {"item": {"blank": "tee-heavy-white"}, "decorations": decorations, "press": uneven}
    order = read(Order, document)
    weighed, findings = authority.judge(order, shop), authority.validate(order, shop).findings
    of_press = [fired for fired in weighed.fired if fired.rule.about == "press"]
    assert {fired.case.index for fired in of_press} == {0, 1}, "both pressings were asked"
    for level in ("blocks", "requires", "cautions", "notes"):
        assert weighed.count(level) == sum(finding.level == level for finding in findings)


# -- estimates -------------------------------------------------------------------------------------------------------


def test_an_estimate_by_hand(authority: Authority, shop: Shop) -> None:
    """A panel that fills the platen, 400 mm on its longer side: the dwell lies 2/3 of the way from 95 s (300 mm) to
    125 s (450 mm), 115 s. With 22 s handling that is 137 s, 2.28 min; eight pieces take 1096 s, 0.30 h, and at 1800 W
    0.55 kWh."""
    document = {
        "item": {"blank": "metal-panel-300x400"},
        "decorations": [{"transfer": "dye-sublimation", "placement": "face", "size": size(300, 400)}],
        "press": "bench",
        "quantity": 8,
    }
    (plan,) = plans(authority, shop, document)
    wanted = {"minutes_each": 2.28, "hours_total": 0.3, "kwh_total_at_most": 0.55}
    assert {name: plan.estimate[name] for name in wanted} == wanted


def test_an_estimate_counts_parts_and_pre_press(authority: Authority, shop: Shop) -> None:
    book = authority.book
    document = order_document(book, decoration={"transfer": "film-soft-matte", "size": size(300, 250)})
    (plan,) = plans(authority, shop, document | {"press": "hand", "quantity": 6})
    handling_s = book.catalogue["press_types"]["hand-held"].handling
    each_s = 4 * (19 + 4 + handling_s)  # four parts: 19 s dwell, 4 s pre-press
    assert plan.estimate["minutes_each"] == pytest.approx(each_s / 60, abs=0.005)
    assert plan.estimate["hours_total"] == pytest.approx(6 * each_s / 3600, abs=0.005)
    assert plan.estimate["kwh_total_at_most"] == pytest.approx(6 * each_s / 3600 * 1.4, abs=0.005)


# -- the order of pressings ------------------------------------------------------------------------------------------


def sequence_of(book: Book, *decorations: Document, **item: Any) -> Sequenced:
    document = order_document(book, item=item)
    document["decorations"] = list(decorations)
    shop = shop_of(book)
    order = resolve(read(Order, document), book, shop)
    whole = Case(book, shop, order)
    cases = [whole.decoration_case(index) for index in range(len(decorations))]
    on = shop.presses[0]
    sequence, _ = find_sequence([case.pressing_case(on, choose(case.pressing_case(on))) for case in cases])
    return sequence


def deco(transfer: str, placement: str, **more: Any) -> Document:
    return {"transfer": transfer, "placement": placement, "size": size(100, 100)} | more


def test_what_lies_under_is_pressed_before_what_lies_over(book: Book) -> None:
    stacked = (deco("cut-film", "front", over=2), deco("cut-film", "leg"), deco("cut-film", "front"))
    assert sequence_of(book, *stacked).order == (1, 2, 0)


def test_what_does_not_bear_heat_is_pressed_last(book: Book) -> None:
    """Raised film bears 130 °C once applied; dye is pressed at about 190 °C, and cloth lets heat through."""
    raised, dye = deco("raised-film", "front"), deco("dye-sublimation", "back")
    assert sequence_of(book, raised, dye, fibres={"PES": 100}).order == (1, 0)
    assert sequence_of(book, dye, raised, fibres={"PES": 100}).order == (0, 1)
    apart = sequence_of(book, deco("raised-film", "sleeve"), dye, fibres={"PES": 100})
    assert apart.order == (0, 1), "a sleeve is not under the platen"


def test_a_ring_is_found_and_told(book: Book) -> None:
    """Raised film and foil bear 130 °C each, and each is pressed hotter."""
    sequence = sequence_of(book, deco("raised-film", "front"), deco("foil-gold-screen", "back"))
    assert sequence.order == ()
    assert sequence.clash.count("would harm") == 2
    assert sequence.clash.count("bears 130 °C once applied") == 2
    for transfer in map(book.transfer, ("raised-film", "foil-gold-screen")):
        assert transfer is not None
        title = transfer.title
        assert title[0].lower() + title[1:] in sequence.clash


def test_a_ring_of_one_under_the_other(book: Book) -> None:
    """What must lie under would be harmed by what lies over: under first, yet after."""
    sequence = sequence_of(
        book, deco("foil-over-adhesive", "front"), deco("dye-sublimation", "front", over=0), fibres={"PES": 100}
    )
    assert sequence.order == ()
    assert " lies on " in sequence.clash
    assert "would harm" in sequence.clash


def test_the_time_of_a_sequence_is_the_sum(book: Book) -> None:
    front = sequence_of(book, deco("cut-film", "front"))
    two = sequence_of(book, deco("cut-film", "front"), deco("cut-film", "back"))
    assert front.total_s is not None
    assert two.total_s == pytest.approx(2 * front.total_s)


def test_cooler_settings_can_break_a_ring(authority: Authority, book: Book) -> None:
    """Where the preferred settings harm each other, the least heat allowed is tried before giving up."""
    document = order_document(book, item={"fibres": {"CO": 100}})
    document["decorations"] = [deco("film-soft-matte", "front"), deco("flock-plush", "back")]
    limits = [book.transfer(name).reheat_limit for name in ("film-soft-matte", "flock-plush")]  # type: ignore[union-attr]
    verdict = authority.validate(read(Order, document), shop_of(book))
    assert limits == [165.0, 165.0]
    assert verdict.on.sequence, [finding.because for finding in verdict.findings]


def test_fewer_plans_are_the_best_of_all(authority: Authority, book: Book) -> None:
    shop = shop_of(book)
    every = authority.recommend(read(Order, OPEN), shop).plans
    assert len(every) > 3
    assert authority.recommend(read(Order, OPEN), shop, most=3).plans == every[:3]


# -- remedies --------------------------------------------------------------------------------------------------------


def remedied(document: Document, remedy: Remedy) -> Document:
    """The order as a shop's own tool would change it: each pointer set, or taken out where the change says null."""
    changed = copy.deepcopy(document)
    for change in remedy.changes:
        *path, last = change.pointer.split("/")[1:]
        place: Any = changed
        for step in path:
            place = place[int(step)] if isinstance(place, list) else place.setdefault(step, {})
        if change.after is None:
            place.pop(last, None)
        else:
            place[last] = change.after
    return changed


def kind_of(remedy: Remedy) -> str:
    """What it changes: the last words of its pointers, settings told as one."""
    words = {"settings" if "/settings" in c.pointer else c.pointer.rsplit("/", 1)[1] for c in remedy.changes}
    return "+".join(sorted(words))


def test_a_dial_is_turned_before_anything_is_bought(authority: Authority, shop: Shop) -> None:
    document = order_document(
        authority.book, decoration={"transfer": "film-soft-matte", "settings": {"temperature": "215 °C"}}
    )
    verdict = authority.validate(read(Order, document), shop)
    assert verdict.verdict == "rejected"
    first = verdict.remedies[0]
    assert {kind_of(first)} == {"settings"}
    again = authority.validate(read(Order, remedied(document, first)), shop)
    assert again.verdict == first.verdict in WORKABLE


def test_dye_on_cotton_is_sent_to_a_transfer_that_holds(authority: Authority, shop: Shop) -> None:
    document = order_document(authority.book, decoration={"transfer": "dye-sublimation"})
    verdict = authority.validate(read(Order, document), shop)
    assert verdict.verdict == "rejected"
    first = verdict.remedies[0]
    (transfer,) = [change.after for change in first.changes if change.pointer == "/decorations/0/transfer"]
    assert transfer in shop.stock.products
    assert authority.book.catalogue["products"][transfer].principle != "dye-vapour"


def rejected(book: Book, authority: Authority, count: int) -> list[tuple[Document, Shop, Verdict]]:
    rng = random.Random("remedies")
    refused: list[tuple[Document, Shop, Verdict]] = []
    while len(refused) < count:
        document = random_orders.order(rng, book, odd=0.2, decorations=2)
        shop = read(Shop, random_orders.shop(rng, book))
        verdict = authority.validate(read(Order, document), shop)
        if verdict.remedies:
            refused.append((document, shop, verdict))
    return refused


def test_every_remedy_works_as_it_says_and_the_cheapest_comes_first(book: Book, authority: Authority) -> None:
    seen = set()
    for document, shop, verdict in rejected(book, authority, 15):
        assert verdict.verdict == "rejected"
        assert len(verdict.remedies) <= 5
        costs = [remedy.cost for remedy in verdict.remedies]
        assert costs == sorted(costs)
        for remedy in verdict.remedies:
            seen.add(kind_of(remedy))
            again = authority.validate(read(Order, remedied(document, remedy)), shop)
            assert again.verdict == remedy.verdict in WORKABLE, (document, remedy)
            assert remedy.text.endswith(".")
    assert len(seen) >= 3, "too few kinds of remedy to mean anything"
