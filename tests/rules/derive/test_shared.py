"""What is known of pieces is kept for those asked about last, and for so many of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from accord_rules.derive.case import Case
from accord_rules.derive.shared import KeptFacts
from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.weigh.choice import choose

ORDER = read(Order, {"item": {"blank": "tee-heavy-white"}, "decorations": [{}]})


@pytest.fixture(scope="module")
def shop(book: Book) -> Shop:
    return read(Shop, book.documents["base_example"]["shop"])


def of_grams(grams: int) -> Order:
    return replace(ORDER, item=replace(ORDER.item, mass_per_area=float(grams)))


def test_the_same_piece_is_found_again_whatever_else_is_ordered(shop: Shop) -> None:
    kept = KeptFacts()
    root = kept.of("book", shop, ORDER)
    assert kept.of("book", shop, replace(ORDER, quantity=40, due_in=60.0, reference="A-1")) is root


def test_another_piece_shop_or_book_is_another(shop: Shop) -> None:
    kept = KeptFacts()
    roots = [
        kept.of("book", shop, ORDER),
        kept.of("another", shop, ORDER),
        kept.of("book", replace(shop, name="Another"), ORDER),
        kept.of("book", shop, of_grams(200)),
        kept.of("book", shop, replace(ORDER, evidence=("sample-test",))),
        *(
            kept.of("book", shop, replace(ORDER, item=replace(ORDER.item, fibres=dict(told))))
            for told in ((("CO", 50.0), ("PES", 50.0)), (("PES", 50.0), ("CO", 50.0)))
        ),
    ]
    assert len(set(map(id, roots))) == len(roots)


def test_pieces_asked_about_longest_ago_are_forgotten_first(shop: Shop) -> None:
    kept = KeptFacts(most=3)
    first, second = kept.of("book", shop, of_grams(1)), kept.of("book", shop, of_grams(2))
    assert kept.of("book", shop, of_grams(1)) is first
    kept.of("book", shop, of_grams(3))
    kept.of("book", shop, of_grams(4))
    assert kept.of("book", shop, of_grams(1)) is first
    assert kept.of("book", shop, of_grams(2)) is not second


def test_a_piece_with_more_layers_than_may_be_is_begun_anew(shop: Shop) -> None:
    kept = KeptFacts(most=10)
    root = kept.of("book", shop, ORDER)
    for part in range(20):
        root.of(part)
    begun_anew = kept.of("book", shop, ORDER)
    assert begun_anew is not root
    assert begun_anew.tree.count == 1


def test_ten_thousand_pieces_leave_no_more_than_may_be(shop: Shop) -> None:
    kept = KeptFacts(most=50)
    roots = [kept.of("book", shop, of_grams(grams)) for grams in range(1, 10_001)]
    held = [root for grams, root in enumerate(roots[-60:], 9_941) if kept.of("book", shop, of_grams(grams)) is root]
    assert len(held) <= 50


def test_what_hangs_on_the_order_of_pressings_is_known_of_the_same_piece_in_another_quantity(
    shop: Shop, book: Book
) -> None:
    kept, dyed = KeptFacts(), replace(ORDER, decorations=(replace(ORDER.decorations[0], transfer="dye-sublimation"),))

    def pressing(order: Order) -> Case:
        case = Case(book, shop, order, kept=kept.of("book", shop, order))
        return case.decoration_case(0).pressing_chosen(shop.presses[0], choose)

    of_one = pressing(dyed)
    told = {name: of_one[name] for name in ("process.outside", "migration.levels", "job.first")}
    of_forty = pressing(replace(dyed, quantity=40))
    assert {name: of_forty.known.get(name, "not known yet") for name in told} == told
    assert "order.total_s" not in of_forty.known
