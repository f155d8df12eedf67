"""Time, loads and energy of a job, by hand. What the dwell is comes from the plan itself; the rest is arithmetic."""

from __future__ import annotations

from typing import Any

import pytest

from accord_rules.authority import Authority
from accord_rules.documents.files import merge
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.verdict import Plan

COASTER = {"item": {"blank": "hardboard-coaster"}, "decorations": [{"transfer": "dye-sublimation"}], "press": "bench"}


def shop_with(book: Book, **press: Any) -> Shop:
    bench = {"id": "bench", "type": "swing-away", "power": "1800 W"} | press
    everything = {"products": list(book.catalogue["products"]), "consumables": list(book.catalogue["consumables"])}
    return read(Shop, merge(dict(book.documents["base_example"]["shop"]), {"presses": [bench], "stock": everything}))


def plan_of(authority: Authority, shop: Shop, document: dict[str, Any]) -> Plan:
    return authority.recommend(read(Order, document), shop).plans[0]


def shut_s(plan: Plan) -> float:
    """How long the platen is shut for one pressing."""
    settings = plan.decorations[0].settings
    return sum(float(settings[name].removesuffix(" s")) for name in ("time", "pre_press", "second_press"))


@pytest.mark.parametrize(
    ("width", "height", "at_once"),
    [
        # 95 mm coasters 10 mm apart; the margin all round is 10 mm.
        (340, 340, 9),  # 320 usable: (320 + 10) / 105 = 3.14 both ways
        (225, 120, 2),  # 205 x 100: two fit exactly, 95 + 10 + 95 = 200
        (120, 225, 2),  # the other way round
        (219, 120, 1),  # 199: one millimetre short of two
        (330, 430, 12),  # 310 x 410: 3.05 by 4
    ],
)
def test_small_stiff_pieces_share_a_pressing(
    width: int, height: int, at_once: int, authority: Authority, book: Book
) -> None:
    assert book.catalogue["press_types"]["swing-away"].edge_margin == 10.0
    assert book.limit_values["press.piece_gap"] == 10.0
    shop = shop_with(book, platen={"width": f"{width} mm", "height": f"{height} mm"})
    plan = plan_of(authority, shop, COASTER | {"quantity": 25})
    loads = -(-25 // at_once)
    handling = book.catalogue["press_types"]["swing-away"].handling
    total = loads * shut_s(plan) + 25 * handling
    assert plan.estimate["loads_total"] == loads
    assert plan.estimate["hours_total"] == round(total / 3600, 2)
    assert plan.estimate["minutes_each"] == round(total / 25 / 60, 2)
    # Rounded to hundredths; where it lies half way, as these sums may, up or down.
    assert plan.estimate["kwh_total_at_most"] == pytest.approx(total / 3600 * 1.8, abs=0.005 + 1e-9)
    side_by_side = [step.text for step in plan.decorations[0].steps if step.id == "gang"]
    assert side_by_side == (
        []
        if at_once == 1
        else [
            f"Lay up to {at_once} pieces at once into a frame of card or board thinner than the pieces, with {at_once}"
            " openings of their size 10 mm apart, well inside the edge of the platen."
        ]
    )


def test_oblong_pieces_are_turned_if_more_fit(authority: Authority, book: Book) -> None:
    """Bookmarks of 30 x 120 mm on 320 x 120 usable: upright (320 + 10) / 40 = 8 in one row; lying only 2 by 3."""
    shop = shop_with(book, platen={"width": "340 mm", "height": "140 mm"})
    document = COASTER | {"item": {"blank": "bookmark-aluminium"}, "quantity": 16}
    assert plan_of(authority, shop, document).estimate["loads_total"] == 2


@pytest.mark.parametrize(
    ("blank", "press", "why"),
    [
        ("tee-sport-white", {}, "soft goods are threaded on one at a time"),
        ("tile-coated-108", {}, "tiles differ in thickness"),
        (
            "hardboard-coaster",
            {
                "type": "pneumatic-single",
                "cylinder": {"bore": "80 mm", "line_least": "100 kPa", "line_most": "600 kPa"},
            },
            "the gauge is set for one",
        ),
        ("hardboard-coaster", {"type": "hand-held"}, "a hand leans on one"),
    ],
)
def test_one_at_a_time(blank: str, press: dict[str, Any], why: str, authority: Authority, book: Book) -> None:
    shop = shop_with(book, **press)
    decoration = {"transfer": "dye-sublimation", "size": {"width": "60 mm", "height": "60 mm"}}
    recommendation = authority.recommend(
        read(Order, {"item": {"blank": blank}, "decorations": [decoration], "quantity": 6}), shop
    )
    assert recommendation.plans, [finding.because for out in recommendation.ruled_out for finding in out.findings]
    assert recommendation.plans[0].estimate["loads_total"] == 6, why


def test_several_decorations_add_up(authority: Authority, book: Book) -> None:
    shop = shop_with(book)
    size = {"width": "80 mm", "height": "80 mm"}
    front, back = ({"transfer": "film-soft-matte", "placement": place, "size": size} for place in ("front", "back"))
    item = {"item": {"blank": "tee-heavy-white"}, "quantity": 12, "press": "bench"}
    alone = plan_of(authority, shop, item | {"decorations": [front]}).estimate
    both = plan_of(authority, shop, item | {"decorations": [front, back]}).estimate
    assert both["loads_total"] == 24
    assert both["minutes_each"] == pytest.approx(2 * alone["minutes_each"], abs=0.011)
