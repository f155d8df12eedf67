"""Words that people use for what the book has under another name.

Which word means what is common practice, no source.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest
from cases import order_document, shop_of

from accord_rules.authority import Authority
from accord_rules.documents.files import BookError
from accord_rules.documents.reading import DocumentError, read
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve

TRANSFERS = {
    "DTF": "powder-film",
    "HTV": "cut-film",
    "vinyl": "cut-film",
    "Flex": "cut-film",
    "flock": "flock-film",
    "puff": "raised-film",
    "glitter": "glitter-film",
    "printable HTV": "printable-film",
    "print and cut": "printable-film",
    "sublimation HTV": "dye-receptive-film",
    "sub-block": "blocker-film",
    "anti-migration": "blocker-film",
    "rhinestones": "hot-fix-stones",
    "tackle twill": "twill-applique",
    "neck label": "tagless-label",
    "heat-transfer paper light": "inkjet-paper-light",
    "heat_transfer_paper_dark": "inkjet-paper-dark",
    "Cut Film": "cut-film",
}


def resolved(book: Book, **parts: Any) -> Order:
    return resolve(read(Order, order_document(book, **parts)), book, shop_of(book))


@pytest.mark.parametrize(("word", "name"), TRANSFERS.items())
def test_a_word_for_a_transfer_is_read_as_its_name(word: str, name: str, book: Book) -> None:
    assert resolved(book, decoration={"transfer": word}).decorations[0].transfer == name
    assert resolved(book, item={"already": [word]}).item.already == (name,)


@pytest.mark.parametrize(
    ("word", "name"),
    [
        ("drawer press", "draw"),
        ("slide-out press", "draw"),
        ("auto-open clamshell", "clamshell-automatic"),
        ("convection oven", "mug-oven-wrap"),
    ],
)
def test_a_word_for_a_press_is_read_as_its_type(word: str, name: str, book: Book) -> None:
    press = resolved(book, press={"type": word}).press
    assert press is not None
    assert not isinstance(press, str)
    assert press.type == name


def test_words_for_sheets_blanks_and_fibres(book: Book) -> None:
    settings = (
        resolved(book, decoration={"settings": {"pad": "pressing pillow", "cover": "none"}}).decorations[0].settings
    )
    assert settings is not None
    assert (settings.pad, settings.cover) == ("foam-pillow", "none")
    assert resolved(book, item={"blank": "Neck Gaiter", "substrate": ""}).item.blank == "neck-tube-white"
    fibres = {"PBT": 40, "spandex": 10, "nylon": 10, "bamboo": 40}
    assert resolved(book, item={"fibres": fibres}).item.fibres == {"CV": 40, "EL": 10, "PA": 10, "PES": 40}
    assert resolved(book, item={"fibres": {"PTT": 60, "rayon": 40}}).item.fibres == {"CV": 40, "PES": 60}


def test_an_order_in_other_words_is_the_same_order(authority: Authority, book: Book) -> None:
    shop = shop_of(book, stock={"products": list(book.catalogue["products"])})
    said, named = (
        authority.validate(read(Order, order_document(book, decoration={"transfer": word})), shop)
        for word in ("dtf", "powder-film")
    )
    assert said.id == named.id


@pytest.mark.parametrize(("word", "offered"), [("dtff", "dtf"), ("rhinestone", "rhinestones"), ("vynil", "vinyl")])
def test_a_word_mistyped_is_offered(word: str, offered: str, book: Book) -> None:
    with pytest.raises(DocumentError) as refused:
        resolved(book, decoration={"transfer": word})
    (fault,) = refused.value.faults
    assert fault.pointer == "/decorations/0/transfer"
    assert offered in fault.nearest


def test_a_product_has_not_its_familys_words(book: Book) -> None:
    assert book.catalogue["transfers"]["cut-film"].aliases
    assert book.catalogue["products"]["film-soft-matte"].aliases == ()


@pytest.mark.parametrize(
    ("kind", "name", "words", "other"),
    [
        ("transfers", "stretch-film", ["HTV"], "cut-film"),
        ("products", "film-soft-matte", ["dtf"], "powder-film"),
        ("press_types", "draw", ["clamshell"], "clamshell"),
    ],
)
def test_a_word_for_two_things_is_refused(kind: str, name: str, words: list[str], other: str, book: Book) -> None:
    documents = copy.deepcopy({of: dict(entries) for of, entries in book.documents.items()})
    documents[kind][name]["aliases"] = words
    with pytest.raises(BookError, match=f"{kind}.toml: .*means {other} too"):
        from_documents(documents)
