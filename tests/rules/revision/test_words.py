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
    "cut vinyl": "cut-film",
    "dye": "dye-sublimation",
    "sub": "dye-sublimation",
    "DTF transfers": "powder-film",
    "Cut film: polyurethane": "cut-film",  # its title, but for the punctuation
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


@pytest.mark.parametrize(("word", "offered"), [("dtff", "dtf"), ("rhinestons", "rhinestones"), ("vynil", "vinyl")])
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


# What decorators' talk comes to: the kind of entry, the word, and the entries that it can mean.
TALK = [
    *(("transfers", word, (name,)) for word, name in TRANSFERS.items()),
    ("transfers", "powder film", ("powder-film",)),
    ("transfers", "iron-on vinyl", ("cut-film",)),
    ("transfers", "hot-fix stones", ("hot-fix-stones",)),
    ("transfers", "tagless label", ("tagless-label",)),
    ("transfers", "glow HTV", ("glow-film",)),
    ("transfers", "appliqué", ("twill-applique",)),
    (
        "transfers",
        "heat-transfer paper",
        ("inkjet-paper-light", "inkjet-paper-dark", "toner-paper-one-step", "toner-paper-two-step"),
    ),
    ("transfers", "plastisol transfer", ("plastisol-hot-split", "plastisol-cold-peel", "plastisol-athletic")),
    (
        "transfers",
        "patch",
        (
            *("heat-seal-patch", "leatherette-patch", "leather-patch", "printed-patch"),
            *("chenille-patch", "mending-patch", "tpu-emblem"),
        ),
    ),
    ("press_types", "drawer", ("draw",)),
    ("press_types", "slide-out", ("draw",)),
    ("press_types", "slide-out press", ("draw",)),
    ("press_types", "auto-open clamshell", ("clamshell-automatic",)),
    ("press_types", "convection oven", ("mug-oven-wrap",)),
    ("press_types", "hat press", ("cap-press",)),
    ("press_types", "heat press", ("clamshell", "swing-away", "draw")),
    ("press_types", "oven", ("tile-oven-wrap", "mug-oven-wrap")),
    ("consumables", "pressing pillow", ("foam-pillow",)),
    ("consumables", "parchment paper", ("silicone-paper",)),
    ("consumables", "tape", ("heat-tape", "polyester-tape", "glass-cloth-tape")),
    ("blanks", "neck gaiter", ("neck-tube-white",)),
    ("blanks", "mousepad", ("mouse-pad-white",)),
    (
        "blanks",
        "beanie",
        ("beanie-acrylic-black", "beanie-wool-green", "beanie-cotton-grey", "beanie-polyester-white"),
    ),
    ("blanks", "mouse pad", ("mouse-pad-white",)),
    ("blanks", "puzzle", ("puzzle-board-120",)),
    ("blanks", "HEAVY COTTON TEE - WHITE", ("tee-heavy-white",)),  # the titles of entries, in any writing
    ("blanks", "tile-coated ceramic", ()),
    ("transfers", "foil gold", ("foil-gold",)),
    ("blanks", "pyjamas", ("pyjamas-satin-white", "pyjamas-kids-blue")),
    ("blanks", "ceramic tile", ("tile-coated-108", "tile-coated-150", "tile-uncoated-150")),
    ("transfers", "iron on", ("cut-film", "inkjet-paper-light", "inkjet-paper-dark", "heat-seal-patch")),
    (
        "transfers",
        "screen print",
        ("plastisol-hot-split", "plastisol-cold-peel", "plastisol-athletic", "water-based-transfer"),
    ),
    ("substrates", "t-shirt", ("knit",)),
    ("substrates", "faux leather", ("leatherette-pu", "leatherette-pvc")),
    ("substrates", "aluminum", ("aluminium-sheet",)),
]


@pytest.mark.parametrize(("kind", "word", "names"), TALK)
def test_what_decorators_say_has_its_readings(kind: str, word: str, names: tuple[str, ...], book: Book) -> None:
    """The carrier or backing sheet alone of such talk is nothing that an order names: it is a part of a transfer."""
    assert book.readings("transfers|products" if kind == "transfers" else kind, word) == names
    for name in names:
        assert name in {**book.catalogue[kind], **book.catalogue["products"]}


@pytest.mark.parametrize(
    ("words", "first"),
    [
        (("t-shirt", "T shirt", "tee", "cotton tee", "white t-shirt", "tees"), "tee-heavy-white"),
        (("black t-shirt",), "tee-heavy-black"),
        (("sweatshirt",), "sweatshirt-cotton-grey"),
        (("hoody", "hoodie"), "hoodie-cotton-black"),
        (("polo", "polo shirt"), "polo-cotton-navy"),
        (("coaster",), "hardboard-coaster"),
        (("coffee mug",), "mug-coated-325"),
        (("baseball cap",), "cap-cotton-black"),
        (("water bottle",), "bottle-aluminium-500"),
    ],
)
def test_of_what_a_counter_hand_says_the_most_ordinary_piece_comes_first(
    words: tuple[str, ...], first: str, book: Book
) -> None:
    for word in words:
        readings = book.readings("blanks", word)
        assert len(readings) > 1, word
        assert readings[0] == first, word


@pytest.mark.parametrize(
    ("spelling", "code"),
    [
        ("PBT", "PES"), ("PTT", "PES"), ("elastane", "EL"), ("Spandex", "EL"), ("polyamide", "PA"), ("nylon", "PA"),
        ("viscose", "CV"), ("poly", "PES"), ("rayon", "CV"), ("bamboo", "CV"), ("Organic-Cotton", "CO"),
        ("nylon-6", "PA6"),
    ],
)  # fmt: skip
def test_fibres_by_the_words_of_labels(spelling: str, code: str, book: Book) -> None:
    """Regulation (EU) 1007/2011 annex I and 16 CFR 303.7 name polyamide/nylon, elastane/spandex, viscose/rayon."""
    assert resolved(book, item={"fibres": {spelling: 100}}).item.fibres == {code: 100}


@pytest.mark.parametrize("kind", ["transfers", "press_types", "fibres", "substrates", "consumables"])
def test_each_entry_has_another_word(kind: str, book: Book) -> None:
    assert [name for name, entry in book.catalogue[kind].items() if not entry.aliases] == []


def test_a_word_with_several_readings_is_refused_with_all(book: Book) -> None:
    assert book.ambiguous_words
    for word, ambiguous in book.ambiguous_words.items():
        for kind, readings in ambiguous.readings.items():
            parts: dict[str, Any] = {
                "transfers": {"decoration": {"transfer": word}},
                "press_types": {"press": {"type": word}},
                "consumables": {"decoration": {"settings": {"cover": word}}},
                "substrates": {"item": {"substrate": word}},
                "blanks": {"item": {"blank": word, "substrate": ""}},
            }[kind]
            with pytest.raises(DocumentError) as refused:
                resolved(book, **parts)
            (fault,) = refused.value.faults
            assert (fault.code, fault.allowed) == ("ambiguous", readings)
            assert all(reading in fault.message for reading in readings)
            assert len(fault.sentence.split()) <= 35


@pytest.mark.parametrize(
    ("parts", "offered"),
    [
        ({"decoration": {"transfer": "heat seal thingy"}}, "heat-seal-patch"),
        ({"decoration": {"transfer": "gold leaf"}}, "foil-gold"),
        ({"item": {"fibres": {"cottonish stuff": 100}}}, "cotton"),
        ({"item": {"blank": "zip hoody", "substrate": ""}}, "hoodie-zip-navy"),
        ({"item": {"substrate": "knitted wool"}}, "knit"),
        ({"press": {"type": "small iron press"}}, "mini-iron-press"),
        ({"item": {"coating": "poly"}}, "polyester-clear"),
    ],
)
def test_a_word_that_is_none_is_answered_with_the_nearest(parts: dict[str, Any], offered: str, book: Book) -> None:
    with pytest.raises(DocumentError) as refused:
        resolved(book, **parts)
    (fault,) = refused.value.faults
    assert fault.code == "not-in-book"
    assert offered in fault.nearest[:5]
    assert fault.nearest[0] in fault.message_with_hints


@pytest.mark.parametrize(
    ("word", "changes", "says"),
    [
        ("Patch", {"readings": {"transfers": ["heat-seal-patch", "cut-film"]}}, "write it so"),
        ("dtf", {"readings": {"transfers": ["powder-film", "cut-film"]}}, "is powder-film alone"),
        ("draw", {"readings": {"press_types": ["clamshell", "swing-away"]}}, "is draw alone"),
        ("emblem", {"readings": {"transfers": ["heat-seal-patch", "no-such"]}}, "no 'no-such' in transfers"),
    ],
)
def test_a_list_of_readings_that_cannot_be_is_refused(word: str, changes: Any, says: str, book: Book) -> None:
    documents = copy.deepcopy({of: dict(entries) for of, entries in book.documents.items()})
    documents["ambiguous_words"][word] = {"why": "to see", **changes}
    with pytest.raises(BookError, match=f"ambiguous_words.toml: .*{says}"):
        from_documents(documents)
