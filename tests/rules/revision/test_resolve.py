"""Names, fibres, colours and presses of an order against the book; what the book cannot read is refused with pointers.

Which fibre codes are ambiguous: ISO 2076 against the codes of Romance-language labels; the rest is this project's own.
"""

from __future__ import annotations

from typing import Any

import pytest
import webcolors
from cases import order_document, shop_of

from accord_rules.documents.reading import DocumentError, Fault, read
from accord_rules.orders.order import Order
from accord_rules.revision.book import Book
from accord_rules.revision.names import resolve


def resolved(book: Book, **parts: Any) -> Order:
    return resolve(read(Order, order_document(book, **parts)), book, shop_of(book))


def faults(book: Book, **parts: Any) -> dict[str, Fault]:
    with pytest.raises(DocumentError) as refused:
        resolved(book, **parts)
    return {fault.pointer: fault for fault in refused.value.faults}


# -- names -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pointer", "parts", "among", "near"),
    [
        ("/item/blank", {"item": {"blank": "tee-heavy-whit"}}, "blanks", "tee-heavy-white"),
        ("/item/substrate", {"item": {"substrate": "wooven"}}, "substrates", "woven"),
        ("/item/coating", {"item": {"coating": "polyester"}}, "coatings", "polyester-clear"),
        ("/item/finishes/0", {"item": {"finishes": ["ptfe"]}}, "finishes", "ptfe-membrane"),
        ("/item/already/0", {"item": {"already": ["film-cut"]}}, "transfers", "cut-film"),
        ("/decorations/0/transfer", {"decoration": {"transfer": "cut-flim"}}, "transfers or products", "cut-film"),
        ("/press/type", {"press": {"type": "clamm"}}, "press types", "clamshell"),
        (
            "/decorations/0/settings/cover",
            {"decoration": {"settings": {"cover": "ptfe-sheat"}}},
            "consumables",
            "ptfe-sheet",
        ),
    ],
)
def test_an_unknown_name_is_refused_with_near_ones(
    pointer: str, parts: dict[str, Any], among: str, near: str, book: Book
) -> None:
    (fault,) = faults(book, **parts).values()
    assert fault.pointer == pointer
    assert f"among the {among} of the book" in fault.message
    assert near in fault.allowed


@pytest.mark.parametrize("part", ["cover", "pad", "tape"])
def test_a_sheet_may_be_left_out_on_purpose(part: str, book: Book) -> None:
    settings = resolved(book, decoration={"settings": {part: "none"}}).decorations[0].settings
    assert getattr(settings, part) == "none"


def test_none_is_no_name_elsewhere(book: Book) -> None:
    assert set(faults(book, decoration={"transfer": "none"})) == {"/decorations/0/transfer"}


# -- fibres ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spelling", "code"),
    [
        ("CO", "CO"),
        ("co", "CO"),
        ("Cotton", "CO"),
        (" cotton ", "CO"),
        ("polyester", "PES"),
        ("Elastane", "EL"),
        ("spandex", "EL"),
        ("nylon", "PA"),
        ("wool", "WO"),
    ],
)
def test_fibres_are_known_by_code_and_name_in_any_case(spelling: str, code: str, book: Book) -> None:
    assert resolved(book, item={"fibres": {spelling: 100}}).item.fibres == {code: 100.0}


def test_fibres_come_in_one_order(book: Book) -> None:
    fibres = resolved(book, item={"fibres": {"polyester": 35, "CO": 65}}).item.fibres
    assert fibres is not None
    assert list(fibres) == ["CO", "PES"]


@pytest.mark.parametrize("spelling", ["AC", "ac", "LY", "PE", "PC", "olefin", "Microfibre"])
def test_an_ambiguous_fibre_is_refused_with_every_reading(spelling: str, book: Book) -> None:
    (fault,) = faults(book, item={"fibres": {spelling: 100}}).values()
    assert fault.pointer == f"/item/fibres/{spelling}"
    assert len(fault.allowed) >= 2
    assert all(name in fault.message for name in fault.allowed)
    # Each reading can be given as an answer.
    for name in fault.allowed:
        assert resolved(book, item={"fibres": {name: 100}}).item.fibres is not None


def test_an_unknown_fibre_is_refused_with_near_ones(book: Book) -> None:
    (fault,) = faults(book, item={"fibres": {"coton/lin": 100}}).values()
    assert fault.pointer == "/item/fibres/coton~1lin"
    assert "is no fibre of the book" in fault.message
    assert fault.allowed


def test_a_fibre_said_twice_is_refused(book: Book) -> None:
    (fault,) = faults(book, item={"fibres": {"CO": 50, "cotton": 50}}).values()
    assert (fault.pointer, fault.message) == ("/item/fibres/cotton", "'cotton' names CO a second time")


@pytest.mark.parametrize(("share", "taken"), [(99, True), (100, True), (98.9, False), (100.0, True)])
def test_fibres_sum_to_a_hundred_within_one(share: float, taken: bool, book: Book) -> None:
    if taken:
        assert resolved(book, item={"fibres": {"CO": share}}).item.fibres == {"CO": share}
    else:
        (fault,) = faults(book, item={"fibres": {"CO": share}}).values()
        assert (fault.pointer, fault.message) == ("/item/fibres", "sums to 98.9 %; must be 100 ± 1")


def test_fibres_that_sum_to_more_are_refused(book: Book) -> None:
    assert resolved(book, item={"fibres": {"CO": 50, "PES": 51}}).item.fibres is not None
    assert set(faults(book, item={"fibres": {"CO": 51, "PES": 51}})) == {"/item/fibres"}


# -- colours ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("colour", ["#F4F4F0", "#fff", "navy", "Navy", "NAVY", "rebeccapurple"])
def test_colours_are_hex_or_css_names_in_any_case(colour: str, book: Book) -> None:
    """CSS Color Module: names are matched without regard to case."""
    assert resolved(book, item={"colour": colour}).item.colour == colour


@pytest.mark.parametrize("colour", ["F4F4F0", "#F4F4F", "#GGGGGG", "#1234", "rgb(1,2,3)", "bluish", " navy"])
def test_other_colours_are_refused(colour: str, book: Book) -> None:
    refused = faults(book, item={"colour": colour}, decoration={"artwork": {"palette": ["black", colour]}})
    assert set(refused) == {"/item/colour", "/decorations/0/artwork/palette/1"}
    fault = refused["/item/colour"]
    assert "#F4F4F0" in fault.message
    assert set(fault.allowed) == {
        *webcolors.names(webcolors.CSS3),
        "rebeccapurple",
    }  # the one of CSS Color 4


# -- decorations, ages, presses --------------------------------------------------------------------------------------


def over(*below: int | None) -> dict[str, Any]:
    return {"decorations": [{"transfer": "cut-film"} | ({} if b is None else {"over": b}) for b in below]}


@pytest.mark.parametrize(
    ("below", "wrong"),
    [
        ((0,), {0: "a decoration cannot lie on itself"}),
        ((1, 0), {0: "cannot lie on itself", 1: "cannot lie on itself"}),
        ((1, 2, 0), {0: "cannot lie on itself", 1: "cannot lie on itself", 2: "cannot lie on itself"}),
        ((None, 2), {1: "there is no decoration 2 in this order"}),
    ],
)
def test_a_decoration_lies_on_another_and_never_on_itself(
    below: tuple[int | None, ...], wrong: dict[int, str], book: Book
) -> None:
    refused = faults(book, **over(*below))
    assert set(refused) == {f"/decorations/{index}/over" for index in wrong}
    assert all(why in refused[f"/decorations/{index}/over"].message for index, why in wrong.items())


def test_one_that_leads_into_a_ring_is_refused_too(book: Book) -> None:
    assert set(faults(book, **over(1, 2, 1))) == {f"/decorations/{index}/over" for index in range(3)}


def test_a_stack_of_three_is_no_ring(book: Book) -> None:
    assert [d.over for d in resolved(book, **over(1, 2, None)).decorations] == [1, 2, None]


def test_ages_go_up(book: Book) -> None:
    refused = faults(book, use={"age_from": 6, "age_to": 3})
    assert (set(refused), refused["/use/age_to"].message) == ({"/use/age_to"}, "must not be below age_from, 6")
    assert resolved(book, use={"age_from": 6, "age_to": 6}).use is not None


def test_a_press_the_shop_does_not_have(book: Book) -> None:
    (fault,) = faults(book, press="attic").values()
    assert (fault.pointer, fault.allowed) == ("/press", ("bench",))


def readings(*pairs: tuple[int, int]) -> dict[str, Any]:
    return {
        "type": "clamshell",
        "calibration": [{"display": f"{shown} °C", "surface": [f"{measured} °C"]} for shown, measured in pairs],
    }


@pytest.mark.parametrize(
    ("pairs", "why"),
    [
        (((150, 148), (150, 149)), "two readings at one display setting"),
        (((150, 148), (180, 148)), "does not rise with the display"),
        (((150, 148), (180, 140)), "does not rise with the display"),
        (((180, 140), (150, 148)), "does not rise with the display"),  # whatever the order they were taken in
    ],
)
def test_readings_that_make_no_curve(pairs: tuple[tuple[int, int], ...], why: str, book: Book) -> None:
    (fault,) = faults(book, press=readings(*pairs)).values()
    assert fault.pointer == "/press/calibration"
    assert why in fault.message


def test_readings_in_any_order_make_a_curve(book: Book) -> None:
    assert resolved(book, press=readings((180, 176), (150, 148), (200, 199))).press is not None


def test_every_fault_is_told_at_once(book: Book) -> None:
    refused = faults(
        book,
        item={"fibres": {"AC": 40}, "colour": "bluish", "coating": "tar"},
        use={"age_from": 6, "age_to": 3},
        press="attic",
    )
    assert set(refused) == {
        "/item/fibres/AC",
        "/item/fibres",
        "/item/colour",
        "/item/coating",
        "/use/age_to",
        "/press",
    }
