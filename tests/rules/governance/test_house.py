"""House rules: what is taken, what is refused and with which witness, and how verdicts come out under them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import pytest

from accord_rules.advise.remedies import Remedied
from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.canonical import canonical
from accord_rules.documents.reading import DocumentError, read
from accord_rules.documents.writing import written
from accord_rules.governance import edges
from accord_rules.governance.house import (
    HouseAuthority,
    HouseError,
    Refusal,
    apply_house,
    check_house,
    far_limits,
    read_house,
)
from accord_rules.load.examples import example_order
from accord_rules.load.loader import amount
from accord_rules.orders.order import Order, Settings
from accord_rules.orders.sheet import Sheet
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import VERDICTS

POLY = "dye.polyester_share_least"
# That it is refused does not hang on a witness being there, which is looked for longest where limits drive least.
BY_CI, BY_NIGHT = pytest.mark.long, pytest.mark.nightly
NO_SILK = {
    "level": "blocks",
    "title": "We do not print on silk",
    "about": "item",
    "when": "item.protein_share > 0",
    "because": "The cloth has {item.protein_share} silk or wool, which this shop does not press.",
    "fix": "Take a blank of cotton or polyester.",
    "sources": ["common-practice"],
    "fires": [{"item": {"fibres": {"SE": 100}}}, {"facts": {"item.protein_share": 1}}],
    "silent": [{"item": {"fibres": {"CO": 100}}}, {"facts": {"item.protein_share": 0}}],
}


def dye(share: int, **fields: Any) -> dict[str, Any]:
    """A dye print on white cloth with so much polyester, everything else as quiet as can be."""
    return {
        "item": {"substrate": "knit", "fibres": {"PES": share, "CO": 100 - share}, "colour": "#FFFFFF"},
        "decoration": {"transfer": "dye-sublimation"},
    } | fields


@pytest.fixture(scope="module")
def house_of(authority: Authority) -> Iterator[Callable[[dict[str, Any]], HouseAuthority]]:
    houses: list[HouseAuthority] = []

    def make(document: dict[str, Any]) -> HouseAuthority:
        house = read_house(document)
        check_house(authority.book, house)
        houses.append(HouseAuthority(authority, house))
        return houses[-1]

    yield make
    for house in houses:
        house.close()


def refused(book: Book, document: dict[str, Any], shop: Shop | None = None) -> dict[str, Refusal]:
    with pytest.raises(HouseError) as error:
        check_house(book, read_house(document), shop)
    return {refusal.pointer: refusal for refusal in error.value.refusals}


# -- reading ----------------------------------------------------------------------------------------------------------


def test_house_rules_read_back_as_they_were_written() -> None:
    document = {"limits": {POLY: 70.0}, "rules": {"house.no-silk": NO_SILK}, "without": {"products": ["flock-plush"]}}
    house = read_house(document)
    assert read_house(house.document()) == house
    assert house.digest == read_house(house.document()).digest != read_house({}).digest


@pytest.mark.parametrize(
    ("document", "pointer"),
    [
        ({"limit": {}}, "/limit"),
        ({"limits": {POLY: None}}, f"/limits/{POLY}"),
        ({"rules": {"no-silk": NO_SILK}}, "/rules/no-silk"),
        ({"rules": {"house.": NO_SILK}}, "/rules/house."),
        ({"rules": {"house.no-silk": "no"}}, "/rules/house.no-silk"),
        ({"without": {"presses": []}}, "/without/presses"),
    ],
)
def test_what_are_no_house_rules_is_refused_with_its_place(document: dict[str, Any], pointer: str) -> None:
    with pytest.raises(DocumentError) as error:
        read_house(document)
    assert pointer in {fault.pointer for fault in error.value.faults}


def _rule(**changes: Any) -> dict[str, Any]:
    return {"rules": {"house.no-silk": {key: value for key, value in {**NO_SILK, **changes}.items() if value != ""}}}


SILK = "/rules/house.no-silk"


@pytest.mark.parametrize(
    ("document", "pointer", "code", "first"),
    [
        ({"limits": {"dye.polyester_share_leas": 60}}, "/limits/dye.polyester_share_leas", "not-in-book", POLY),
        ({"limits": {POLY: "60 °C"}}, f"/limits/{POLY}", "wrong-type", None),
        ({"limits": {"people.touch_hold_most": 40}}, "/limits/people.touch_hold_most", "wrong-type", "40 °C"),
        ({"limits": {"people.touch_hold_most": "40 °D"}}, "/limits/people.touch_hold_most", "bad-format", "40 °C"),
        ({"limits": {POLY: 2000.0}}, f"/limits/{POLY}", "out-of-range", None),
        ({"without": {"products": ["flock-plsh"]}}, "/without/products/0", "not-in-book", "flock-plush"),
        (_rule(because=""), f"{SILK}/because", "required", None),
        (_rule(when=3), f"{SILK}/when", "wrong-type", None),
        (_rule(whn="item.textile"), f"{SILK}/whn", "unknown-field", "when"),
        (_rule(level="block"), f"{SILK}/level", "not-allowed", "blocks"),
        (_rule(when="item.textil"), f"{SILK}/when", "not-in-book", "item.textile"),
        (_rule(when="item.substrate == 'nkit'"), f"{SILK}/when", "not-allowed", "knit"),
        (_rule(because="Nylon at {item.nylon_shre}."), f"{SILK}/because", "not-in-book", "item.nylon_share"),
        (_rule(fix="Stay below {limit(dye.polyester_share_leas)}."), f"{SILK}/fix", "not-in-book", POLY),
        (_rule(instead_of=["no-temperature-fits"]), f"{SILK}/instead_of", "contradiction", None),
        (_rule(sources=["common-practise"]), f"{SILK}/sources/0", "not-in-book", "common-practice"),
        (_rule(fires=[{"itm": {}}]), f"{SILK}/fires/0/itm", "unknown-field", "item"),
        (_rule(fires=[{"item": {"blank": "tee-heavy-whit"}}]), f"{SILK}/fires/0/item/blank", "not-in-book", None),
    ],
)
def test_what_loosens_nothing_is_refused_for_what_it_is(
    book: Book, document: dict[str, Any], pointer: str, code: str, first: str | None
) -> None:
    """As orders and proposals are: the code says what is wrong, and what is allowed starts with the nearest."""
    fault = refused(book, document)[pointer].fault
    assert fault.code == code
    if first is not None:
        assert fault.nearest[0] == first


# -- refusals ---------------------------------------------------------------------------------------------------------


def test_loosening_is_refused_with_an_order_that_would_slip_through(book: Book) -> None:
    refusal = refused(book, {"limits": {POLY: 35}})[f"/limits/{POLY}"]
    assert "35 % is looser than the book's 50 %" in refusal.message
    assert (refusal.fault.code, refusal.fault.allowed) == ("loosens", ())
    assert refusal.witness is not None
    assert refusal.witness.shared_verdict == "rejected"
    assert VERDICTS.index(refusal.witness.house_verdict) < VERDICTS.index("rejected")
    order = read(Order, refusal.witness.order)
    share = (order.item.fibres or {})["PES"]
    assert 35 <= share < 50, "between the limit asked for and the book's"
    assert refusal.witness.document()["lost"]


def test_the_witness_is_real(book: Book, authority: Authority) -> None:
    """Sent as it is, the order is judged under the shared book as the witness says."""
    refusal = refused(book, {"limits": {POLY: 35}})[f"/limits/{POLY}"]
    assert refusal.witness is not None
    _, shop = example_order({}, book)
    verdict = authority.validate(read(Order, refusal.witness.order), shop)
    assert verdict.verdict == refusal.witness.shared_verdict
    assert set(refusal.witness.lost) <= {finding.rule for finding in verdict.findings}


def test_loosening_a_safety_limit_is_refused_with_its_witness(book: Book) -> None:
    refusal = refused(book, {"limits": {"children.age_most": 5}})["/limits/children.age_most"]
    assert "may only be made higher" in refusal.message
    assert refusal.witness is not None
    assert refusal.witness.lost


def test_a_move_that_cuts_both_ways_is_refused(book: Book) -> None:
    refusal = refused(book, {"limits": {"dye.ground_lightness_tinted": 90}})["/limits/dye.ground_lightness_tinted"]
    assert "some orders' verdicts stricter and others' looser" in refusal.message
    assert refusal.witness is not None
    assert VERDICTS.index(refusal.witness.house_verdict) < VERDICTS.index(refusal.witness.shared_verdict)


@pytest.mark.parametrize(
    ("limit", "looser"),
    [
        ("heat.short_trial", "25 K"),  # what the heat estimate makes of temperature, dwell and stack together
        pytest.param("heat.sag_caution", "13 K", marks=BY_NIGHT),
        pytest.param("order.shift", "12 h", marks=BY_NIGHT),  # quantity times the time of each piece
        ("press.parts_most", 9.0),  # how often a platen is set down, which the size decides
        pytest.param("press.spread_most", "13 K", marks=BY_NIGHT),
        pytest.param("electric.voltage_off_most", 15.0, marks=BY_CI),
        pytest.param("care.iron_2_2023", "165 °C", marks=BY_NIGHT),  # a label of that edition
        pytest.param("pressure.light_most", "12.1 kPa", marks=BY_NIGHT),  # a gauge's reading
        pytest.param("order.contrast_least", 1.0, marks=BY_CI),
    ],
)
def test_limits_that_no_field_drives_by_itself_have_a_witness_too(limit: str, looser: str | float, book: Book) -> None:
    refusal = refused(book, {"limits": {limit: looser}})[f"/limits/{limit}"]
    assert refusal.witness is not None
    assert refusal.witness.lost
    _, shop = example_order({}, book)
    order = read(Order, refusal.witness.order)
    value = amount(book.limit_dimension(limit), looser)
    moved = replace(book, limit_values=MappingProxyType({**book.limit_values, limit: value}))
    rules = []
    for settings in (book, moved):
        judging = Authority(settings, 1)
        rules.append({fired.rule.id for fired in judging.judge(order, shop).fired})
        judging.close()
    assert set(refusal.witness.lost) == rules[0] - rules[1]


def test_a_limit_that_no_order_shows_is_not_loosened_either(book: Book) -> None:
    """How old probe readings may be turns what is told of a shop, and no order."""
    limit = "press.calibration_age_most"
    refusal = refused(book, {"limits": {limit: 500.0}})[f"/limits/{limit}"]
    assert "may only be made lower" in refusal.message
    assert refusal.witness is None


def test_a_witness_can_be_shown_at_the_shops_own_presses(book: Book) -> None:
    _, shop = example_order({"shop": {"id": "own", "name": "Own"}}, book)
    refusal = refused(book, {"limits": {POLY: 35}}, shop)[f"/limits/{POLY}"]
    assert refusal.witness is not None
    assert "press" not in refusal.witness.order, "whichever of its presses will do"


def test_what_the_book_does_not_have_is_refused(book: Book) -> None:
    refusals = refused(
        book,
        {
            "limits": {"no.such": 5, "order.shift": 5, "migration.margin": "140 psi"},
            "without": {"products": ["no-such"], "consumables": ["no-such"]},
            "rules": {"house.x": NO_SILK | {"sources": ["no-such"]}},
        },
    )
    assert set(refusals) == {
        "/limits/no.such",
        "/limits/order.shift",
        "/limits/migration.margin",
        "/without/products/0",
        "/without/consumables/0",
        "/rules/house.x/sources/0",
    }


@pytest.mark.parametrize(
    ("change", "pointer", "message"),
    [
        ({"level": "forbids"}, "/rules/house.x/level", "not one of the allowed words"),
        ({"when": "item.silk"}, "/rules/house.x/when", "not a fact"),
        ({"when": "item.protein_share > 50 and item.protein_share < 40"}, "/rules/house.x/when", "can never hold"),
        ({"because": "{item.silk}"}, "/rules/house.x/because", "not a fact"),
        ({"when": "item.protein_share > 5"}, "/rules/house.x", "does not hold"),
        ({"silent": [{"item": {"fibres": {"CO": 100}}}]}, "/rules/house.x", "is true and decides"),
    ],
)
def test_an_added_rule_has_to_load_with_its_examples(
    change: dict[str, Any], pointer: str, message: str, book: Book
) -> None:
    if "silent" in change:
        change = change | {
            "when": "item.protein_share > limit('people.technical_share_from')",
            "fires": NO_SILK["fires"][:1],
        }
    refusals = refused(book, {"rules": {"house.x": NO_SILK | change}})
    assert any(place.startswith(pointer) and message in refusal.message for place, refusal in refusals.items()), (
        refusals
    )


# -- verdicts under them ----------------------------------------------------------------------------------------------


def test_a_moved_limit_finds_more_and_says_whose_it_is(
    book: Book, authority: Authority, house_of: Callable[[dict[str, Any]], HouseAuthority]
) -> None:
    house = house_of({"limits": {POLY: 70}})
    order, shop = example_order(dye(68), book)
    shared, own = authority.validate(order, shop), house.validate(order, shop)
    assert shared.verdict in ("accepted", "conditional")
    assert own.verdict == "rejected"
    blocking = [finding for finding in own.findings if finding.level == "blocks"]
    assert [finding.layer for finding in blocking] == ["house"]
    assert blocking[0].limit[POLY] == "70 %"
    assert {finding.layer for finding in shared.findings} <= {"shared"}
    assert own.id != shared.id
    assert own.basis.house_digest != shared.basis.house_digest
    assert own.basis.digest == shared.basis.digest, "the revision is the same"


def test_an_added_rule_finds_more(book: Book, house_of: Callable[[dict[str, Any]], HouseAuthority]) -> None:
    house = house_of({"rules": {"house.no-silk": NO_SILK}})
    order, shop = example_order({"item": {"fibres": {"SE": 100}}}, book)
    verdict = house.validate(order, shop)
    assert verdict.verdict == "rejected"
    assert [(finding.rule, finding.layer) for finding in verdict.findings if finding.level == "blocks"] == [
        ("house.no-silk", "house")
    ]


def test_no_house_rules_say_the_same(
    authority: Authority,
    house_of: Callable[[dict[str, Any]], HouseAuthority],
    random_questions: Callable[..., list[tuple[Order, Shop]]],
) -> None:
    house = house_of({})
    for order, shop in random_questions(15, "nothing"):
        shared, own = authority.validate(order, shop).document(), house.validate(order, shop).document()
        for key in ("id", "house_digest"):
            assert shared.pop(key) != own.pop(key)
        assert canonical(shared) == canonical(own)


def test_what_is_not_stocked_is_neither_planned_nor_offered(
    book: Book, authority: Authority, house_of: Callable[[dict[str, Any]], HouseAuthority]
) -> None:
    _, shop = example_order({}, book)
    request = read(
        Order, {"item": {"substrate": "knit", "fibres": {"CO": 100}, "colour": "white"}, "decorations": [{}]}
    )
    used = {d.transfer for plan in authority.recommend(request, shop).plans for d in plan.decorations}
    assert used
    house = house_of({"without": {"products": sorted(used)}})
    plans = house.recommend(request, shop).plans
    assert plans
    assert not used & {d.transfer for plan in plans for d in plan.decorations}
    rejected, _ = example_order(dye(1), book)
    offered = {
        change.after
        for remedy in house.validate(rejected, shop).remedies
        for change in remedy.changes
        if change.pointer.endswith("/transfer")
    }
    assert offered
    assert not offered & used


def test_closing_a_house_leaves_the_shared_rules_open(book: Book, authority: Authority) -> None:
    house = HouseAuthority(authority, read_house({"rules": {"house.no-silk": NO_SILK}}))
    order, shop = example_order({}, book)
    house.validate(order, shop)
    house.close()
    before = authority.counts.engine_errors
    authority.validate(order, shop)
    assert authority.counts.engine_errors == before


@pytest.mark.parametrize("sheet", [{"second_press": "40 s"}, {"pressings": {"again": {"time": "40 s"}}}])
@pytest.mark.parametrize("of_shop", [False, True])
def test_a_house_limit_on_the_second_press_binds_whatever_a_sheet_says(
    sheet: dict[str, Any],
    of_shop: bool,
    authority: Authority,
    house_of: Callable[[dict[str, Any]], HouseAuthority],
    book: Book,
) -> None:
    """House rules are only ever stricter: the shared limit gives way to a sheet, a shop's own does not."""
    order, shop = example_order({"decoration": {"transfer": "powder-film"}}, book)
    decoration = replace(order.decorations[0], sheet=None if of_shop else read(Sheet, sheet))
    if of_shop:
        shop = replace(shop, stock=replace(shop.stock, sheets=MappingProxyType({"powder-film": read(Sheet, sheet)})))
    open_ = replace(order, decorations=(decoration,))
    house = house_of({"limits": {"process.second_press_most": "20 s"}})
    seconds = {
        name: who.recommend(open_, shop).plans[0].decorations[0].explained.second_press_s
        for name, who in (("shared", authority), ("house", house))
    }
    assert seconds == {"shared": 40.0, "house": 20.0}
    said = replace(open_, decorations=(replace(decoration, settings=read(Settings, {"second_press": "40 s"})),))
    assert "pressing-outside-window" not in {finding.rule for finding in authority.validate(said, shop).findings}
    (finding,) = (one for one in house.validate(said, shop).findings if one.rule == "pressing-outside-window")
    assert (finding.level, finding.layer) == ("requires", "house")
    assert "is set to 40 s" in finding.because
    assert "20 s is usual" in finding.because


def test_a_later_book_that_is_stricter_prevails(book: Book) -> None:
    """A limit the shop once made stricter is the book's where the book has overtaken it."""
    house = read_house({"limits": {POLY: 40}})
    assert apply_house(book, house).limit_values[POLY] == book.limit_values[POLY] == 50
    assert apply_house(book, read_house({"limits": {POLY: 60}})).limit_values[POLY] == 60


# -- laws -------------------------------------------------------------------------------------------------------------

STRICT = {
    "limits": {
        POLY: 75,
        "migration.margin": "10 K",
        "care.iron_2_2023": "130 °C",
        "children.age_most": 16,
        "order.print_side_most": "250 mm",
        "fibres.counted_from": 1,
    },
    "rules": {"house.no-silk": NO_SILK},
    "without": {"products": ["cut-film-soft", "flock-plush"], "consumables": ["ptfe-sheet"]},
}


@pytest.fixture(scope="module")
def strict(book: Book, house_of: Callable[[dict[str, Any]], HouseAuthority]) -> HouseAuthority:
    products = [product for product in STRICT["without"]["products"] if product in book.catalogue["products"]]
    return house_of(STRICT | {"without": {"products": products, "consumables": ["ptfe-sheet"]}})


@dataclass(frozen=True)
class TwoVerdicts:
    """What the shared book and the house say of an order. ``loosened``: whether the shared verdict is the firmer."""

    order: Order
    shop: Shop
    shared: str
    own: str
    loosened: bool


@pytest.fixture(scope="module")
def both_say(authority: Authority, strict: HouseAuthority) -> Callable[[Order, Shop], TwoVerdicts]:
    def judge(order: Order, shop: Shop) -> TwoVerdicts:
        shared, own = authority.judge(order, shop), strict.judge(order, shop)
        return TwoVerdicts(order, shop, shared.verdict, own.verdict, shared.firmer_than(own))

    return judge


@pytest.fixture(scope="module")
def on_examples(book: Book, both_say: Callable[[Order, Shop], TwoVerdicts]) -> list[TwoVerdicts]:
    """Of every rule's examples."""
    return [both_say(order, shop) for _, order, shop in edges.of_examples(book)]


def test_no_verdict_under_house_rules_is_more_permissive(
    book: Book,
    strict: HouseAuthority,
    both_say: Callable[[Order, Shop], TwoVerdicts],
    on_examples: list[TwoVerdicts],
    random_questions: Callable[..., list[tuple[Order, Shop]]],
    laws: int,
) -> None:
    """Law, on random orders with open and with given settings, on every rule's examples, and at the moved limits."""
    questions = [
        question
        for open_settings in (True, False)
        for question in random_questions(laws // 2, f"house {open_settings}", open_settings=open_settings, odd=0.1)
    ]
    for name in strict.book.moved:
        questions += list(edges.around_limit(book, name, strict.book.limit_values[name]))[:30]
    turned = 0
    for said in (*on_examples, *(both_say(*question) for question in questions)):
        assert not said.loosened, f"ACCORD_SEED: {written(said.order)}"
        turned += said.own != said.shared
    assert turned > 20, "too few verdicts turned to mean anything"


def test_what_turns_a_verdict_is_said_to_be_the_houses(
    on_examples: list[TwoVerdicts], strict: HouseAuthority, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Looking for what would help takes most of the time, and turns no finding.
    monkeypatch.setattr(HouseAuthority, "_remedies", lambda self, judged, shop: Remedied())
    turned = 0
    for said in on_examples:
        if said.own in ("rejected", "conditional") and said.own != said.shared:
            level = "blocks" if said.own == "rejected" else "requires"
            findings = strict.validate(said.order, said.shop).findings
            assert any((finding.layer, finding.level) == ("house", level) for finding in findings), written(said.order)
            turned += 1
    assert turned > 2, "too few verdicts turned to mean anything"


def test_every_plan_under_house_rules_validates_under_them(
    strict: HouseAuthority, random_questions: Callable[..., list[tuple[Order, Shop]]], laws: int
) -> None:
    plans = 0
    for order, shop in random_questions(laws // 3, "house plans", open_settings=True, decorations=1, odd=0.0):
        document = written(replace(order, decorations=(replace(order.decorations[0], transfer=None, sheet=None),)))
        for plan in strict.recommend(read(Order, document), shop).document()["plans"]:
            verdict = strict.validate(read(Order, plan["order"]), shop)
            assert (verdict.verdict, verdict.id) == (plan["verdict"], plan["verdict_id"])
            assert verdict.verdict in ("accepted", "conditional")
            plans += 1
    assert plans > laws / 12, "too few plans to mean anything"


def test_the_engine_and_the_judge_agree_under_house_rules(strict: HouseAuthority, authority: Authority) -> None:
    assert (strict.counts.disagreements, strict.counts.engine_errors) == (0, 0)
    assert authority.counts.disagreements == 0


def test_the_shared_verdict_stands_where_it_is_firmer(book: Book, authority: Authority) -> None:
    """Seen with a shared book that is made the stricter one: its verdict stands, with its findings and its numbers."""
    order, shop = example_order(dye(68), book)
    values = MappingProxyType({**book.limit_values, POLY: 70.0})
    stricter = Authority(replace(book, limit_values=values), 1)
    house = HouseAuthority(authority, read_house({}))
    try:
        assert house.validate(order, shop).verdict != "rejected"
        house.shared = stricter
        verdict = house.validate(order, shop)
        assert verdict.verdict == "rejected"
        blocking = [finding for finding in verdict.findings if finding.level == "blocks"]
        assert [(finding.layer, finding.limit[POLY]) for finding in blocking] == [("shared", "70 %")]
    finally:
        house.close()
        stricter.close()


@pytest.mark.parametrize(
    ("limit", "value", "told"),
    [
        ("press.spread_most", "0.8 K", "is at 0.8 K, the book's at 8 K, 10 times as much."),
        ("press.spread_most", "1.6 K", None),
        ("press.spread_most", "80 K", None),  # looser, which is refused anyway
        ("press.spread_most", "0 K", ", which leaves nothing."),
        ("people.touch_hold_most", "4.3 °C", "is at 4.3 °C, the book's at 43 °C, 10 times as much."),
        ("people.touch_hold_most", "-10 °C", "is at -10 °C, the book's at 43 °C."),
        ("people.touch_hold_most", "40 °C", None),
        ("dye.polyester_share_least", 100.0, None),
        ("people.gone", 1.0, None),
    ],
)
def test_a_limit_far_from_the_books_is_told(limit: str, value: str | float, told: str | None, book: Book) -> None:
    """Five times the book's, or 50 K from it: this project's own choice."""
    doubts = far_limits({limit: value}, book, units.METRIC)
    assert [doubt.limit for doubt in doubts] == ([] if told is None else [limit])
    assert all(told is not None and told in doubt.because for doubt in doubts)
