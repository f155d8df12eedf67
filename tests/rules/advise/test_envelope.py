"""Envelopes: a value inside validates, a step outside does not. Where the edges lie is told by the book's numbers."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import pytest
import random_orders

from accord_rules.advise import plans
from accord_rules.advise.ranges import allowed, inward
from accord_rules.authority import Authority
from accord_rules.documents import units
from accord_rules.documents.files import merge
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.weigh.scales import Scales

Document = dict[str, Any]
WORKABLE = ("accepted", "conditional")
STEP = {"temperature": (units.TEMPERATURE, 1.0), "time": (units.TIME, 1.0), "gauge": (units.PRESSURE, 1.0)}


def ask(authority: Authority, shop: Shop, document: Document) -> Document:
    return authority.envelope(read(Order, document), shop).document()


def does(authority: Authority, shop: Shop, document: Document) -> bool:
    return authority.judge(read(Order, document), shop).verdict in WORKABLE


def with_setting(order: Document, index: int, **settings: Any) -> Document:
    decorations = list(order["decorations"])
    decorations[index] = merge(decorations[index], {"settings": settings})
    return order | {"decorations": decorations}


def pinned(order: Document, on: Document) -> Document:
    """The order on that press, with the transfers its ranges are for."""
    press = order["press"] if isinstance(order.get("press"), dict) else on["press"]
    named = [
        decoration | {"transfer": allowed_["transfer"]}
        for decoration, allowed_ in zip(order["decorations"], on["decorations"], strict=True)
    ]
    return order | {"press": press, "decorations": named}


def written(dimension: units.Dimension, value: float) -> str:
    return f"{value:.6f} {dimension.symbol}"


def check_ranges(
    authority: Authority, shop: Shop, order: Document, index: int, name: str, ranges: list[Document], rng: random.Random
) -> int:
    """Inside passes, at both ends and between; a step outside any range does not, and the rules named stop it."""
    dimension, step = STEP[name]
    field = "pressure" if name == "gauge" else name
    unit = shop.units.unit(dimension)
    step = unit.inside(step) - unit.inside(0.0)
    read_ = [(units.parse(dimension, ends["least"]), units.parse(dimension, ends["most"])) for ends in ranges]
    for ends, (low, high) in zip(ranges, read_, strict=True):
        assert low <= high
        for value in (low, high, *(rng.uniform(low, high) for _ in range(3))):
            assert does(authority, shop, with_setting(order, index, **{field: written(dimension, value)})), (
                name,
                value,
            )
        for value, stopped in ((low - step, ends["below"]), (high + step, ends["above"])):
            if not dimension.least < value < dimension.most or any(a <= value <= b for a, b in read_):
                continue
            if name == "gauge" and not line_least_kpa(order, shop) <= value <= line_most_kpa(order, shop):
                continue  # the line, not a rule, ends it
            order_beyond = with_setting(order, index, **{field: written(dimension, value)})
            weighed = authority.judge(read(Order, order_beyond), shop)
            assert weighed.verdict not in WORKABLE, (name, value, order)
            if weighed.verdict == "rejected":
                assert stopped == sorted({fired.rule.id for fired in weighed.at("blocks")})
    return len(ranges)


def cylinder_of(order: Document, shop: Shop) -> Any:
    named = order["press"]
    press = read(Order, order).press if isinstance(named, dict) else shop.press(named)
    return press.cylinder


def line_least_kpa(order: Document, shop: Shop) -> float:
    return float(cylinder_of(order, shop).line_least)


def line_most_kpa(order: Document, shop: Shop) -> float:
    return float(cylinder_of(order, shop).line_most)


def check_words(authority: Authority, shop: Shop, order: Document, index: int, name: str, words: list[str]) -> None:
    every = {
        "peel": ["hot", "warm", "cold", "none"],
        "pressure": ["light", "medium", "firm"],
    }.get(name) or [
        "none",
        *(s for s in shop.stock.consumables if authority.book.catalogue["consumables"][s].kind == name),
    ]
    assert words == [word for word in every if does(authority, shop, with_setting(order, index, **{name: word}))]


def check_sizes(
    authority: Authority, shop: Shop, order: Document, index: int, sizes: list[Document], rng: random.Random
) -> None:
    unit = shop.units.unit(units.LENGTH)
    step, most = (
        unit.inside(1 / 16 if unit.factor > 10 else 1.0),
        authority.book.limit_values["order.print_side_most"],
    )
    read_ = [(units.parse(units.LENGTH, most["width"]), units.parse(units.LENGTH, most["height"])) for most in sizes]

    def fits(width: float, height: float) -> bool:
        decorations = list(order["decorations"])
        size = {"width": written(units.LENGTH, width), "height": written(units.LENGTH, height)}
        decorations[index] = decorations[index] | {"size": size}
        return does(authority, shop, order | {"decorations": decorations})

    for width, height in read_:
        assert fits(width, height)
        assert fits(rng.uniform(5, width), rng.uniform(5, height))
        for wide, high in ((width + step, height), (width, height + step)):
            inside = any(wide <= w and high <= h for w, h in read_)
            assert inside or max(wide, high) > most or not fits(wide, high), (order, width, height)


def check(authority: Authority, shop: Shop, order: Document, rng: random.Random) -> int:
    """Every law of one envelope; how many ranges there were."""
    envelope, checked = ask(authority, shop, order), 0
    assert [on["press"] for on in envelope["on"]] == envelope["presses"]
    for on in envelope["on"]:
        pinned_order = pinned(order, on)
        assert does(authority, shop, pinned_order)
        for index, decoration in enumerate(on["decorations"]):
            assert decoration["transfer"] in envelope["transfers"][index]
            for name in STEP:
                if decoration[name] is not None:
                    checked += check_ranges(authority, shop, pinned_order, index, name, decoration[name], rng)
            for name in ("pressure", "peel", "cover", "pad", "tape"):
                if decoration[name] is not None:
                    check_words(authority, shop, pinned_order, index, name, decoration[name])
            if decoration["size"] is not None:
                check_sizes(authority, shop, pinned_order, index, decoration["size"], rng)
    return checked


def test_inside_passes_and_a_step_outside_does_not(book: Book, authority: Authority) -> None:
    rng = random.Random("envelopes")
    ranges = 0
    while ranges < 40:
        order = random_orders.order(rng, book, open_settings=True, decorations=2, odd=0.15)
        shop = random_orders.shop(rng, book)
        shop["presses"] = shop["presses"][:2]
        ranges += check(authority, read(Shop, shop), order, rng)


def test_what_the_order_says_is_no_longer_open(authority: Authority, book: Book) -> None:
    settings = {"temperature": "155 °C", "time": "15 s", "pressure": "medium", "peel": "hot", "cover": "ptfe-sheet"}
    order, shop = cotton(book, settings=settings, size={"width": "100 mm", "height": "100 mm"})
    (on,) = ask(authority, shop, order)["on"]
    (decoration,) = on["decorations"]
    closed = ("temperature", "time", "pressure", "peel", "cover", "size", "gauge")
    assert [decoration[name] for name in closed] == [None] * len(closed)
    assert decoration["pad"] is not None


def cotton(book: Book, **decoration: Any) -> tuple[Document, Shop]:
    base = book.documents["base_example"]
    order = {
        "item": {"blank": "tee-heavy-white"},
        "decorations": [{"transfer": "film-soft-matte", "placement": "front"} | decoration],
        "press": {"type": "clamshell"},
    }
    return order, read(Shop, base["shop"])


def test_the_edges_are_the_books_numbers(authority: Authority, book: Book) -> None:
    """Clamshell: display 3 K above the surface. Film: what physics leaves, since a sample lifts what is usual.

    Front 350 x 400 mm, which cloth takes 3.2 mm a side more than: 356.4 x 406.4 mm, in whole millimetres."""
    film, clamshell = book.catalogue["products"]["film-soft-matte"], book.catalogue["press_types"]["clamshell"]
    order, shop = cotton(book)
    (on,) = ask(authority, shop, order)["on"]
    (decoration,) = on["decorations"]
    (heat,), (dwell,), (size,) = decoration["temperature"], decoration["time"], decoration["size"]
    assert units.parse(units.TEMPERATURE, heat["least"]) == film.bounds.temperature.least + clamshell.loss
    assert units.parse(units.TEMPERATURE, heat["most"]) == film.bounds.temperature.most + clamshell.loss
    assert (heat["below"], heat["above"]) == (["cooler-than-bounds"], ["hotter-than-bounds"])
    assert (dwell["least"], dwell["most"]) == (f"{film.bounds.time.least:g} s", f"{2 * film.time.most:g} s")
    # A dwell that short keeps the print cold as well.
    assert dwell["below"] == ["print-stays-cold", "shorter-than-bounds"]
    assert dwell["above"] == ["dwell-far-beyond-practice"]
    assert size == {"width": "356 mm", "width_mm": 356.0, "height": "406 mm", "height_mm": 406.0}
    assert decoration["peel"] == [peel for peel in ("hot", "warm", "cold") if peel in film.sheet.peel]


def test_open_transfers_and_presses_are_those_that_can(authority: Authority, book: Book) -> None:
    """Dye does not take on cotton, and a shirt does not go round a mug."""
    order, _ = cotton(book)
    del order["decorations"][0]["transfer"], order["press"]
    shop = read(
        Shop,
        merge(
            dict(book.documents["base_example"]["shop"]),
            {
                "presses": [{"id": "bench", "type": "clamshell"}, {"id": "mug", "type": "mug-press"}],
                "stock": {"products": ["film-soft-matte", "sub-paper-tacky", "flock-plush"], "consumables": []},
            },
        ),
    )
    envelope = ask(authority, shop, order)
    assert envelope["presses"] == ["bench"]
    assert set(envelope["transfers"][0]) == {"film-soft-matte", "flock-plush"}
    assert {out["press"] for out in envelope["ruled_out"]} == {None, "mug"}


def test_many_decorations_get_ranges_on_the_best_presses_alone(authority: Authority, book: Book) -> None:
    """Five prints on one shirt at five presses: all five are named, ranges are given for two."""
    order, shop = cotton(book)
    places = ("front", "back", "left-chest", "sleeve", "front")
    size = {"width": "60 mm", "height": "60 mm"}
    order["decorations"] = [order["decorations"][0] | {"placement": place, "size": size} for place in places]
    del order["press"]
    presses = [{"id": f"press-{i}", "type": "clamshell"} for i in range(5)]
    stock = {"products": ["film-soft-matte"], "consumables": []}
    shop = read(Shop, merge(dict(book.documents["base_example"]["shop"]), {"presses": presses, "stock": stock}))
    envelope = ask(authority, shop, order)
    assert envelope["presses"] == [press["id"] for press in presses]
    assert [on["press"] for on in envelope["on"]] == ["press-0", "press-1"]
    assert envelope["complete"] is False, "three presses that can do it have no ranges"
    check_ranges(
        authority,
        shop,
        pinned(order, envelope["on"][0]),
        4,
        "temperature",
        envelope["on"][0]["decorations"][4]["temperature"],
        random.Random(5),
    )


def test_open_decorations_do_not_multiply_without_end(authority: Authority, book: Book) -> None:
    """Eight prints of any transfer on one press: the best few of each are combined, and a way is found."""
    everything = {"products": list(book.catalogue["products"]), "consumables": []}
    shop = read(
        Shop,
        merge(
            dict(book.documents["base_example"]["shop"]),
            {"presses": [{"id": "bench", "type": "clamshell"}], "stock": everything},
        ),
    )
    size = {"width": "50 mm", "height": "50 mm"}
    places = ("front", "back", "left-chest", "sleeve")
    decorations = [{"placement": places[i % 4], "size": size} for i in range(8)]
    document = {"item": {"blank": "tee-heavy-white"}, "decorations": decorations}
    search = plans.search(authority.scales, read(Order, document), shop)
    assert search.possible
    assert len(search.possible) + len(search.others) <= plans.COMBINATIONS_MOST


# The cushion and the mug of the working day (demo/orders), with sizes that leave no more than settings open.
EVERYDAY = {
    "polyester-sequin-cushion": ("sub-paper-fast-dry", "front", "7 in", "7 in"),
    "mug-coated-325": ("sub-paper-hard-goods", "all-round", "7.5 in", "3.2 in"),
}
KILN = {"draw": "draw", "mug": "mug-press"}


def everyday(blank: str) -> Document:
    transfer, placement, width, height = EVERYDAY[blank]
    size = {"width": width, "height": height}
    return {"item": {"blank": blank}, "decorations": [{"transfer": transfer, "placement": placement, "size": size}]}


@pytest.fixture(scope="module")
def kiln(book: Book) -> Shop:
    """A shop with a flat press and one for mugs."""
    document = book.documents["base_example"]["shop"]
    stock = {**document["stock"], "products": [transfer for transfer, *_ in EVERYDAY.values()]}
    presses = [{"id": name, "type": type_} for name, type_ in KILN.items()]
    return read(Shop, {**document, "stock": stock, "presses": presses})


@pytest.mark.parametrize("blank", EVERYDAY)
def test_what_is_only_tried_is_put_to_the_judge_alone(blank: str, book: Book, kiln: Shop) -> None:
    """Most settings are tried on the way to the ends of ranges; the ends and what stops them are put to both."""
    fresh = Authority(book)
    try:
        questions = fresh.counts.questions
        envelope = ask(fresh, kiln, everyday(blank))
        (on,) = envelope["on"]
        assert on["decorations"][0]["temperature"]
        asked_of_both = fresh.counts.questions - questions
        assert 0 < asked_of_both < fresh.scales.weighings / 4
    finally:
        fresh.close()


@pytest.mark.parametrize("blank", EVERYDAY)
def test_no_setting_is_tried_that_the_press_cannot_show(
    blank: str, book: Book, kiln: Shop, authority: Authority, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step beyond the highest display setting shows that a range ends there; what lies above is nobody's to set."""
    tried: list[float] = []
    on_press = Scales.on_press

    def noted(self: Scales, decorations: Any, press: Any, *known: Any) -> Any:
        for case in decorations:
            if (said := case.decoration.settings) is not None and said.temperature is not None:
                tried.append(said.temperature)
        return on_press(self, decorations, press, *known)

    monkeypatch.setattr(Scales, "on_press", noted)
    (on,) = ask(authority, kiln, everyday(blank))["on"]
    most = next(press for press in kiln.presses if press.id == on["press"]).display_most
    highest = most if most is not None else book.catalogue["press_types"][KILN[on["press"]]].display_most
    assert len(tried) > 20
    assert max(tried) <= highest + 1 + 1e-9


@pytest.mark.parametrize(("blank", "most"), [("polyester-sequin-cushion", 230), ("mug-coated-325", 285)])
def test_an_everyday_envelope_takes_no_more_weighings_than_it_did(
    blank: str, most: int, kiln: Shop, authority: Authority
) -> None:
    """Measured: 213 and 271; 135 and 145 while no rule ended what dwell a sample may lift."""
    before = authority.scales.weighings
    ask(authority, kiln, everyday(blank))
    assert authority.scales.weighings - before <= most


def test_ground_ends_where_the_limit_is(authority: Authority, book: Book) -> None:
    """Dye print on polyester of unknown colour: light enough greys will do, one code darker will not."""
    base = book.documents["base_example"]
    order = {
        "item": {"substrate": "knit", "fibres": {"PES": 100}},
        "decorations": [{"transfer": "dye-sublimation", "artwork": {"colours": 4, "gradient": True}}],
        "press": {"type": "clamshell"},
    }
    shop = read(Shop, base["shop"])
    envelope = ask(authority, shop, order)
    assert "/item/colour" in {need["pointer"] for need in envelope["needs"]}
    (ground,) = envelope["ground"]
    code = int(ground["least_colour"][1:3], 16)
    assert ground["most_colour"] == "#FFFFFF"
    for grey, passes in ((code, True), (code - 1, False), ((code + 255) // 2, True)):
        coloured = order | {"item": order["item"] | {"colour": "#" + f"{grey:02X}" * 3}}
        assert does(authority, shop, coloured) is passes
    assert ground["least"] == pytest.approx(book.limit_values["dye.ground_lightness_tinted"], abs=0.5)


# -- finding edges ---------------------------------------------------------------------------------------------------


def test_edges_at_marks_are_exact_and_others_fine() -> None:
    """[2, 5] with both ends in, (7, 9.123456) with neither: marks at 2, 5, 7 and 8 only."""

    def holds(x: float) -> bool:
        return 2 <= x <= 5 or 7 < x < 9.123456

    (first, second) = allowed(holds, [0, 2, 5, 7, 8, 20], 0.001)
    assert first == (2, 5)
    assert second == (pytest.approx(7, abs=0.0011), pytest.approx(9.123456, abs=0.001))
    assert all(map(holds, (*first, *second))), "ends are inside"


def test_nothing_and_everything() -> None:
    assert allowed(lambda x: False, [0, 1], 0.1) == []
    assert allowed(lambda x: True, [0, 1], 0.1) == [(0, 1)]


def test_drawn_in_to_whole_steps() -> None:
    fahrenheit = units.UNIT_SYSTEMS["us-customary"].unit(units.TEMPERATURE)

    def ends(low: float, high: float) -> Iterator[float]:
        return (
            round(fahrenheit.outside(end), 6) for end in inward(low, high, 1.0, fahrenheit.inside, fahrenheit.outside)
        )

    assert list(ends(145.0, 168.0)) == [293.0, 334.0], "145 °C is 293 °F, 168 °C is 334.4 °F"
    assert list(ends(145.1, 145.2)) == pytest.approx([293.18, 293.36]), "no whole degree in it: left as it is"
