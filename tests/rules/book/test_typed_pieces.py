"""What people type for a piece at a counter that is no name of the book: the blanks that are meant are offered first.

Phrases and blanks were written down before they were looked for; words of the trade, from memory, no source.
"""

from __future__ import annotations

import pytest

from accord_rules.documents.reading import DocumentError, Fault, read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

OFFERED = 3

# Of the blanks on the right, one at least is among the first offered.
PHRASES = {
    "white cotton t-shirt": ("tee-heavy-white", "tee-light-white"),
    "aluminum panel 8x12": ("metal-panel-200x300", "metal-panel-200x300-brushed", "metal-panel-200x300-two-sided"),
    "cotton hoodie": ("hoodie-cotton-black",),
    "black cotton hoodie": ("hoodie-cotton-black",),
    "white polyester shirt": ("tee-sport-white",),
    "white polyester t-shirts": ("tee-sport-white",),
    "navy zip hoodie": ("hoodie-zip-navy",),
    "kids white cotton tee": ("tee-kids-white",),
    "long sleeve white tshirt": ("tee-long-sleeve-white",),
    "50/50 black t-shirt": ("tee-50-50-black",),
    "canvas tote bags": ("tote-canvas-black", "tote-cotton-natural"),
    "white coffee mugs 11oz": ("mug-coated-325",),
    "slate coasters": ("slate-coaster-uncoated",),
    "cork coasters": ("coaster-cork",),
    "trucker hat black": ("cap-trucker-black",),
    "white polyester pillow cover": ("cushion-polyester-white",),
    "fleece blanket white": ("blanket-fleece-white",),
    "steel tumblers white": ("tumbler-steel-white",),
    "nylon windbreaker blue": ("windbreaker-nylon-royal",),
    "white baby onesie": ("bodysuit-baby-white",),
    "polyester polo white": ("polo-polyester-white",),
    "black leggings nylon": ("leggings-black",),
}
# A plural is read as its singular is: what can mean several things is asked, what means one is that.
PLURALS = {"coasters": "coaster", "hoodies": "hoodie", "mugs": "mug", "beanies": "beanie", "tote bags": "tote-bag"}


def fault_of(typed: str, book: Book, shop: Shop) -> Fault:
    with pytest.raises(DocumentError) as refused:
        resolve(read(Order, {"item": {"blank": typed}, "decorations": [{}]}), book, shop)
    (fault,) = refused.value.faults
    return fault


@pytest.mark.parametrize("typed", PHRASES)
def test_the_blanks_that_are_meant_are_offered_first(typed: str, book: Book) -> None:
    fault = fault_of(typed, book, book.example_shop)
    assert fault.code == "not-in-book"
    assert set(fault.nearest[:OFFERED]) & set(PHRASES[typed]), fault.nearest[:OFFERED]
    assert fault.nearest[0] in fault.message_with_hints
    assert set(fault.nearest) == set(fault.allowed)


@pytest.mark.parametrize("typed", PLURALS)
def test_a_plural_of_a_word_for_several_things_is_asked_as_the_word_is(typed: str, book: Book) -> None:
    assert fault_of(typed, book, book.example_shop).code == "ambiguous"
    assert book.readings("blanks", typed) == book.readings("blanks", PLURALS[typed])
    assert len(book.readings("blanks", typed)) > 1


@pytest.mark.parametrize(
    ("typed", "kinds", "means"),
    [
        ("espresso cups", "blanks", ("mug-espresso-coated",)),
        ("sequin cushions", "blanks", ("polyester-sequin-cushion",)),
        # No plural, though it ends so; and of what nothing is called, nothing.
        ("glass", "blanks", ()),
        ("xqzzvs", "blanks", ()),
    ],
)
def test_a_plural_means_what_its_singular_does(typed: str, kinds: str, means: tuple[str, ...], book: Book) -> None:
    assert book.readings(kinds, typed) == means


def test_what_is_spelt_nearly_like_a_blank_is_still_offered_first(book: Book) -> None:
    assert fault_of("tee-hevy-white", book, book.example_shop).nearest[0] == "tee-heavy-white"
