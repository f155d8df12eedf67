"""What the book answers beside settings, and what it says that it leaves out. Our own choice; no outside source."""

from __future__ import annotations

import re

import pytest
from cases import order_document, shop_of

from accord_rules.documents.reading import DocumentError, read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

WORDS_MOST = 35
# The matters that decorators asked about and no setting answers, as the words that they would look for.
MATTERS = {
    "washing",
    "laundry",
    "dryer",
    "dry clean",
    "press again",
    "remove print",
    "press marks",
    "dtg",
    "heat-set",
    "damp dtf",
    "household-iron",
    "jig",
    "size run",
    "2t",
    "swimwear",
    "tapered tumbler",
    "bird",
}


def test_every_matter_has_an_answer(book: Book) -> None:
    words = {
        word for name, entry in book.catalogue["advice"].items() for word in (name.replace("-", " "), *entry.aliases)
    }
    assert sorted(MATTERS - words - set(book.catalogue["advice"])) == []


def test_answers_are_sentences_of_at_most_35_words(book: Book) -> None:
    said = [sentence for entry in book.catalogue["advice"].values() for sentence in entry.answer]
    said += [part for entry in book.catalogue["not_covered"].values() for part in (entry.because, entry.instead)]
    assert len(said) > 80
    for sentence in said:
        assert len(sentence.split()) <= WORDS_MOST, sentence
        assert re.fullmatch(r"[A-Z\d].*[.?]", sentence), sentence
        assert ". " not in sentence, sentence


def test_temperatures_of_answers_stand_in_both_units(book: Book) -> None:
    """(°F - 32) / 1.8, to a whole degree."""
    checked = 0
    for entry in book.catalogue["advice"].values():
        for celsius, fahrenheit in re.findall(r"([\d-]+) °C(?: \(([\d-]+) °F\))?", " ".join(entry.answer)):
            assert [round(int(c) * 1.8 + 32) for c in celsius.split("-")] == [int(f) for f in fahrenheit.split("-")]
            checked += 1
    assert checked >= 5


@pytest.mark.parametrize(
    ("field", "word"),
    [
        ("item", "straw hat"),
        ("item", "climbing rope"),
        ("decoration", "UV DTF"),
        ("decoration", "rubber patch"),
        ("decoration", "discharge"),
        ("press", "calender"),
        ("press", "Football press"),
    ],
)
def test_an_order_for_what_is_left_out_is_told_why_and_what_to_do(field: str, word: str, book: Book) -> None:
    named = {"item": {"substrate": word}, "decoration": {"transfer": word}, "press": {"type": word}}
    order = read(Order, order_document(book, **{field: named[field]}))
    with pytest.raises(DocumentError) as refused:
        resolve(order, book, shop_of(book))
    (fault,) = refused.value.faults
    assert fault.code == "not-in-book"
    assert fault.message.startswith("the book leaves out ")
    assert fault.nearest


def test_what_is_left_out_is_no_word_for_what_is_there(book: Book) -> None:
    left_out = set(book.aliases["not_covered"]) | set(book.catalogue["not_covered"])
    for kinds in ("substrates", "transfers|products", "press_types", "blanks", "consumables"):
        clashing = {word: book.readings(kinds, word) for word in left_out if book.readings(kinds, word)}
        assert clashing == {}, kinds
