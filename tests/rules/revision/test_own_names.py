"""A shop's own words for things of the book: what they may stand for is this project's choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from cases import order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.reading import DocumentError, Fault, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import NO_OWN_NAMES, OwnNames, Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import fitting_names, own_name_faults, resolve, unknown_in

NAMES = {
    "blanks": {"TS-100-W": "tee-heavy-white"},
    "transfers": {"Roll 7": "film-soft-matte", "patch": "patch-embroidered", "any film": "cut-film"},
    "consumables": {"the white sheet": "ptfe-sheet"},
    "press_types": {"old red": "clamshell"},
    "presses": {"by the window": "bench"},
}


def naming(book: Book, **names: Any) -> Shop:
    return replace(shop_of(book), names=read(OwnNames, names or NAMES))


def resolved(book: Book, shop: Shop, **parts: Any) -> Order:
    return resolve(read(Order, order_document(book, **parts)), book, shop)


def fault(book: Book, shop: Shop, **parts: Any) -> Fault:
    with pytest.raises(DocumentError) as refused:
        resolved(book, shop, **parts)
    (only,) = refused.value.faults
    return only


@pytest.mark.parametrize("word", ["TS-100-W", "ts 100 w", " ts_100-W "])
def test_an_article_number_stands_for_a_blank(word: str, book: Book) -> None:
    assert resolved(book, naming(book), item={"blank": word, "substrate": ""}).item.blank == "tee-heavy-white"


def test_own_words_stand_wherever_the_books_names_may(book: Book) -> None:
    shop = naming(book)
    settings = {"cover": "the white sheet"}
    order = resolved(book, shop, item={"already": ["roll 7"]}, decoration={"transfer": "ROLL-7", "settings": settings})
    (decoration,) = order.decorations
    assert decoration.settings is not None
    assert (decoration.transfer, decoration.settings.cover) == ("film-soft-matte", "ptfe-sheet")
    # What lies on a piece already is told by family.
    assert order.item.already == (book.catalogue["products"]["film-soft-matte"].family,)
    assert resolved(book, shop, press="By the Window").press == "bench"
    described = resolved(book, shop, press={"type": "old red"}).press
    assert described is not None
    assert not isinstance(described, str)
    assert described.type == "clamshell"


def test_an_order_in_own_words_has_the_answer_of_the_books(authority: Authority, book: Book) -> None:
    shop = naming(book)
    own, named = (
        authority.validate(read(Order, order_document(book, decoration={"transfer": transfer}, press=press)), shop)
        for transfer, press in (("roll 7", "by the window"), ("film-soft-matte", "bench"))
    )
    assert own == named
    assert own == authority.validate(
        read(Order, order_document(book, decoration={"transfer": "film-soft-matte"}, press="bench")),
        replace(shop, names=NO_OWN_NAMES),
    ), "names turn no answer"


def test_the_same_word_is_another_thing_in_another_shop(authority: Authority, book: Book) -> None:
    order = read(Order, order_document(book, decoration={"transfer": "roll 7"}))
    here, there = (naming(book, transfers={"roll 7": name}) for name in ("film-soft-matte", "powder-film-hot-peel"))
    answers = [authority.validate(order, shop).id for shop in (here, there, here)]
    assert answers[0] == answers[2] != answers[1]
    with pytest.raises(DocumentError):
        authority.validate(order, shop_of(book))


def test_a_shop_settles_what_people_use_for_several_things(book: Book) -> None:
    assert fault(book, shop_of(book), decoration={"transfer": "patch"}).code == "ambiguous"
    assert resolved(book, naming(book), decoration={"transfer": "patch"}).decorations[0].transfer == "patch-embroidered"


def test_what_the_book_has_since_then_is_another_reading(book: Book) -> None:
    """Names that were clear when they were written, under a book that has one of them now."""
    shop = naming(book, transfers={"dtf": "film-soft-matte", "film-stretch-sport": "film-soft-matte"})
    for word, name in (("dtf", "powder-film"), ("film-stretch-sport", "film-stretch-sport")):
        refused = fault(book, shop, decoration={"transfer": word})
        assert (refused.code, set(refused.allowed)) == ("ambiguous", {"film-soft-matte", name})


def test_a_mistyped_own_word_is_offered(book: Book) -> None:
    shop = naming(book)
    refused = fault(book, shop, item={"blank": "TS-100-V", "substrate": ""})
    assert (refused.code, refused.nearest[0]) == ("not-in-book", "TS-100-W")
    elsewhere = fault(book, shop, press="by the windo")
    assert (elsewhere.code, elsewhere.nearest[0]) == ("not-in-shop", "by the window")


def test_a_faulty_order_is_read_in_the_shops_words_as_well(book: Book) -> None:
    document = order_document(book, decoration={"transfer": "roll 7"}, press="by the window") | {"quantity": 0}
    assert unknown_in(document, book, naming(book)) == []
    assert {f.pointer for f in unknown_in(document, book, shop_of(book))} == {"/decorations/0/transfer", "/press"}


@pytest.mark.parametrize(
    ("names", "pointer", "code"),
    [
        ({"blanks": {"tee-heavy-white": "tee-heavy-black"}}, "/names/blanks/tee-heavy-white", "ambiguous"),
        ({"blanks": {"Tee Heavy White": "tee-heavy-white"}}, "/names/blanks/Tee Heavy White", "ambiguous"),
        ({"transfers": {"DTF": "film-soft-matte"}}, "/names/transfers/DTF", "ambiguous"),
        ({"transfers": {"cut-film": "film-soft-matte"}}, "/names/transfers/cut-film", "ambiguous"),
        ({"transfers": {"film-soft-matte": "cut-film"}}, "/names/transfers/film-soft-matte", "ambiguous"),
        ({"blanks": {"vinyl": "tee-heavy-white"}}, "/names/blanks/vinyl", "ambiguous"),
        ({"consumables": {"drawer press": "ptfe-sheet"}}, "/names/consumables/drawer press", "ambiguous"),
        ({"consumables": {"none": "ptfe-sheet"}}, "/names/consumables/none", "ambiguous"),
        ({"presses": {"Bench": "bench"}}, "/names/presses/Bench", "ambiguous"),
        ({"presses": {"window": "benhc"}}, "/names/presses/window", "not-in-shop"),
        ({"blanks": {"A/1": "tee-heavy-white", "a/1": "tee-heavy-black"}}, "/names/blanks/a~11", "ambiguous"),
        ({"blanks": {"A 1": "tee-heavy-white", "a-1": "tee-heavy-white"}}, "/names/blanks/a-1", "given-twice"),
    ],
)
def test_names_that_hide_or_mean_two_things_are_refused(
    names: Mapping[str, Any], pointer: str, code: str, book: Book
) -> None:
    (refused,) = own_name_faults(naming(book, **names), book)
    assert (refused.pointer, refused.code) == (pointer, code)


def test_names_that_are_clear_have_no_fault(book: Book) -> None:
    assert list(own_name_faults(naming(book), book)) == []


def test_a_word_for_several_things_of_its_kind_may_still_be_settled(book: Book) -> None:
    for names in (
        {"blanks": {"mug": "mug-coated-325", "t-shirt": "tee-heavy-white"}},
        {"presses": {"drawer": "bench"}},
    ):
        assert list(own_name_faults(naming(book, **names), book)) == []


def test_names_of_what_is_gone_are_left_out(book: Book) -> None:
    shop = naming(book, blanks={"A": "tee-heavy-white", "B": "no-such-blank"}, presses={"w": "bench", "x": "gone"})
    assert fitting_names(shop, book) == read(OwnNames, {"blanks": {"A": "tee-heavy-white"}, "presses": {"w": "bench"}})
