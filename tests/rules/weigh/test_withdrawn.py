"""What a shop has taken out of use is refused by name and never offered. What that means is this project's choice."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from cases import Document, order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import read
from accord_rules.governance.house import HouseAuthority, read_house
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop

FILM, SHEET = "film-soft-matte", "ptfe-sheet"
OPEN: Document = {
    "item": {"blank": "tee-heavy-white"},
    "decorations": [{"placement": "front", "size": {"width": "80 mm", "height": "80 mm"}}],
}


@pytest.fixture(params=["house rules", "stock list"])
def judging(request: pytest.FixtureRequest, authority: Authority) -> Iterator[tuple[Authority, Shop]]:
    """An authority and a shop that has withdrawn a film and a sheet it still has, by either of the two ways."""
    if request.param == "stock list":
        yield authority, shop_of(authority.book, stock={"withdrawn": [FILM, SHEET]})
        return
    house = HouseAuthority(authority, read_house({"without": {"products": [FILM], "consumables": [SHEET]}}))
    yield house, shop_of(authority.book)
    house.close()


def test_a_withdrawn_product_is_refused_with_its_name_and_why(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    assert FILM in shop.stock.products, "a roll still lies there"
    document = order_document(authority.book, decoration={"transfer": FILM})
    verdict = authority.validate(read(Order, document), shop)
    blocks = [finding for finding in verdict.findings if finding.level == "blocks"]
    assert (verdict.verdict, [finding.rule for finding in blocks]) == ("rejected", ["transfer-withdrawn"])
    title = authority.book.catalogue["products"][FILM].title
    assert blocks[0].because.startswith(f"{title} is withdrawn: the shop's stock list or house rules")
    assert "transfer-not-stocked" not in {finding.rule for finding in verdict.findings}, "said once"


def test_a_withdrawn_sheet_is_refused_where_the_order_sets_it(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    decoration = {"transfer": "film-hot-peel-fast", "settings": {"cover": SHEET}}
    document = order_document(authority.book, decoration=decoration)
    verdict = authority.validate(read(Order, document), shop)
    (finding,) = (finding for finding in verdict.findings if finding.level == "blocks")
    assert (verdict.verdict, finding.rule) == ("rejected", "sheet-withdrawn")
    assert "PTFE-coated glass-cloth sheet" in finding.because


def test_what_is_in_use_stays_as_it_was(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    document = order_document(
        authority.book, decoration={"transfer": "film-stretch-sport", "settings": {"cover": "silicone-paper"}}
    )
    assert authority.validate(read(Order, document), shop).verdict == "accepted"


def test_nothing_withdrawn_is_recommended(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    recommendation = authority.recommend(read(Order, OPEN), shop)
    assert recommendation.plans
    settings = [decoration.settings for plan in recommendation.plans for decoration in plan.decorations]
    assert FILM not in {decoration.transfer for plan in recommendation.plans for decoration in plan.decorations}
    assert SHEET not in {setting[part] for setting in settings for part in ("cover", "pad", "tape")}


def test_another_sheet_takes_the_place_of_a_withdrawn_one(authority: Authority) -> None:
    """Over a print from before lies a non-stick sheet: the thinner of two, and the other one where that is withdrawn.

    Were it still taken, the order would be refused for a sheet that nobody asked for.
    """
    book = authority.book
    order = read(Order, order_document(book, item={"already": ["cut-film"]}))
    house = HouseAuthority(authority, read_house({"without": {"consumables": ["silicone-paper"]}}))
    try:
        verdicts = {
            "all in use": authority.validate(order, shop_of(book)),
            "stock list": authority.validate(order, shop_of(book, stock={"withdrawn": ["silicone-paper"]})),
            "house rules": house.validate(order, shop_of(book)),
        }
    finally:
        house.close()
    covers = {
        way: (verdict.verdict, [setting["cover"] for setting in verdict.on.settings or ()])
        for way, verdict in verdicts.items()
    }
    assert covers == {
        "all in use": ("accepted", ["silicone-paper"]),
        "stock list": ("accepted", [SHEET]),
        "house rules": ("accepted", [SHEET]),
    }


def test_a_withdrawn_product_asked_for_by_name_has_no_plan(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    (decoration,) = OPEN["decorations"]
    named = OPEN | {"decorations": [decoration | {"transfer": FILM}]}
    recommendation = authority.recommend(read(Order, named), shop)
    assert not recommendation.plans
    (out,) = recommendation.ruled_out
    assert (out.press, out.transfers) == (None, (FILM,))
    assert [finding.rule for finding in out.findings] == ["transfer-withdrawn"]


def test_remedies_offer_nothing_withdrawn(judging: tuple[Authority, Shop]) -> None:
    authority, shop = judging
    document = order_document(authority.book, decoration={"transfer": FILM})
    remedies = authority.validate(read(Order, document), shop).remedies
    assert remedies
    assert FILM not in {change.after for remedy in remedies for change in remedy.changes}


def test_a_shop_that_withdraws_nothing_is_itself(authority: Authority) -> None:
    shop = shop_of(authority.book)
    assert shop.in_use() is shop
    assert FILM in shop.stock.products


@pytest.mark.parametrize(("others", "verdict"), [((), "rejected"), (("film-hot-peel-fast",), "accepted")])
def test_a_family_of_which_nothing_is_in_use_is_withdrawn(
    others: tuple[str, ...], verdict: str, authority: Authority
) -> None:
    """The family's name is no way round the shop's word."""
    book = authority.book
    shop = shop_of(book, stock={"products": [FILM, *others], "withdrawn": [FILM]})
    document = order_document(book, decoration={"transfer": book.catalogue["products"][FILM].family})
    answer = authority.validate(read(Order, document), shop)
    assert answer.verdict == verdict
    assert [finding.rule for finding in answer.findings if finding.level == "blocks"] == ["transfer-withdrawn"] * (
        not others
    )
