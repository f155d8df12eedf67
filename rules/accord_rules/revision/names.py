"""Names in an order to entries of the book: fibres to codes, colours and names checked, presses found."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from accord_rules.documents.colour import names, read_colour
from accord_rules.documents.reading import (
    ColourText,
    DocumentError,
    Fault,
    Object,
    escape,
    leaves_in,
    names_in,
    renamed,
)
from accord_rules.documents.spelling import as_word
from accord_rules.orders.order import NONE, Decoration, Item, Order, Press
from accord_rules.orders.sheet import pressing_faults, sheet_faults
from accord_rules.orders.shop import Shop
from accord_rules.revision.catalogue import pressings_of

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

AnyOrder = TypeVar("AnyOrder", bound=Order)
SUM_TOLERANCE = 1.0
_COLOURS = "write an sRGB hex such as #F4F4F0, or a CSS colour name"


def resolve(order: AnyOrder, book: Book, shop: Shop) -> AnyOrder:
    """The order with its fibres as ISO 2076 codes. Raises DocumentError naming every field the book cannot read."""
    order = renamed(order, partial(_name_for, book))
    faults = [*_unknown_names(names_in(order), book), *_colour_faults(_colours(order))]
    faults += [*_decorations(order), *_sheets(order, book), *_ages(order), *_press_faults(order, shop)]
    fibres, fibre_faults = resolve_fibres(order.item.fibres, book)
    faults += fibre_faults
    if faults:
        raise DocumentError(faults)
    decorations = tuple(_on_the_crown(decoration, order.item, book) for decoration in order.decorations)
    return replace(order, item=replace(order.item, fibres=fibres), decorations=decorations)


def _on_the_crown(decoration: Decoration, item: Item, book: Book) -> Decoration:
    """The front of a cap is its crown."""
    blank = book.catalogue["blanks"].get(item.blank or "")
    substrate = book.catalogue["substrates"].get(item.substrate or (blank.substrate if blank is not None else ""))
    cap = substrate is not None and substrate.curved and substrate.family == "cloth"
    if decoration.placement != "front" or not cap or (blank is not None and "front" in blank.areas):
        return decoration
    return replace(decoration, placement="crown")


def unknown_in(document: Mapping[str, Any], book: Book, shop: Shop) -> list[Fault]:
    """What the book and the shop can't read of an order's document that is faulty: of as much as its readers take."""
    leaves = tuple(leaves_in(Object(Order), document))
    named = [(pointer, reader.name_of, value) for pointer, reader, value in leaves if reader.name_of is not None]
    faults = _unknown_names(named, book)
    faults += _colour_faults((pointer, value) for pointer, reader, value in leaves if isinstance(reader, ColourText))
    at = {pointer: value for pointer, _, value in leaves}
    if isinstance(press := at.get("/press"), str):
        faults += _unknown_press(press, shop)
    # Shares are numbers, so the texts there are the fibres.
    fibres = [value for pointer, _, value in leaves if pointer.startswith("/item/fibres/") and isinstance(value, str)]
    return faults + _fibre_codes(fibres, book)[1]


def _name_for(book: Book, kinds: str, name: str) -> str:
    """The book's name for a word that people use; the word itself where it is none."""
    word = as_word(name)
    for kind in kinds.split("|"):
        if word in book.catalogue[kind]:
            return word
        if word in book.aliases[kind]:
            return book.aliases[kind][word]
    return name


def _unknown_names(named: Iterable[tuple[str, str, str]], book: Book) -> list[Fault]:
    faults = []
    for pointer, kinds, name in named:
        of_kinds = kinds.split("|")
        if _name_for(book, kinds, name) != name or (kinds == "consumables" and name == NONE):
            continue
        if any(name in book.catalogue[kind] for kind in of_kinds):
            continue
        names = [entry for kind in of_kinds for entry in book.catalogue[kind]]
        title = kinds.replace("|", " or ").replace("_", " ")
        words = [word for kind in of_kinds for word in book.aliases[kind]]
        message, allowed = f"there is no {name!r} among the {title} of the book", tuple(sorted([*names, *words]))
        faults.append(Fault(pointer, message, allowed, code="not-in-book", refused=name))
    return faults


def _colours(order: Order) -> Iterator[tuple[str, str]]:
    """Every colour of the order, with its place."""
    if order.item.colour is not None:
        yield "/item/colour", order.item.colour
    for index, decoration in enumerate(order.decorations):
        palette = decoration.artwork.palette if decoration.artwork is not None else None
        yield from ((f"/decorations/{index}/artwork/palette/{i}", colour) for i, colour in enumerate(palette or ()))


def _colour_faults(colours: Iterable[tuple[str, str]]) -> list[Fault]:
    return [
        Fault(pointer, f"{colour!r} is no colour: {_COLOURS}", tuple(names()), code="bad-format", refused=colour)
        for pointer, colour in colours
        if read_colour(colour) is None
    ]


def _decorations(order: Order) -> list[Fault]:
    """A decoration lies on another one of the same order, and never, even by way of others, on itself."""
    faults = []
    for index, decoration in enumerate(order.decorations):
        pointer, seen, below = f"/decorations/{index}/over", {index}, decoration.over
        while below is not None:
            if below >= len(order.decorations):
                allowed = tuple(str(i) for i in range(len(order.decorations)) if i != index)
                message = f"there is no decoration {below} in this order"
                faults.append(Fault(pointer, message, allowed, code="out-of-range"))
                break
            if below in seen:
                faults.append(Fault(pointer, "a decoration cannot lie on itself", code="contradiction"))
                break
            seen.add(below)
            below = order.decorations[below].over
    return faults


def _sheets(order: Order, book: Book) -> Iterator[Fault]:
    """Sheets that contradict themselves, or are of no transfer, and pressings that a transfer has not."""
    for index, decoration in enumerate(order.decorations):
        pointer, process = f"/decorations/{index}", _process(book, decoration.transfer)
        if decoration.sheet is not None:
            if decoration.transfer is None:
                yield Fault(f"{pointer}/transfer", "is required: a sheet is that of one transfer", code="required")
            yield from sheet_faults(decoration.sheet, f"{pointer}/sheet", process)
        if decoration.settings is not None:
            yield from pressing_faults(decoration.settings, f"{pointer}/settings", process)


def stock_faults(shop: Shop, book: Book) -> Iterator[Fault]:
    """Sheets of a shop's stock that contradict themselves or their transfer."""
    for name, sheet in shop.stock.sheets.items():
        yield from sheet_faults(sheet, f"/stock/sheets/{escape(name)}", _process(book, name))


def _process(book: Book, name: str | None) -> tuple[str, ...] | None:
    transfer = book.transfer(name)
    return None if transfer is None else pressings_of(transfer)


def _ages(order: Order) -> list[Fault]:
    use = order.use
    if use is None or use.age_from is None or use.age_to is None or use.age_from <= use.age_to:
        return []
    return [Fault("/use/age_to", f"must not be below age_from, {use.age_from:g}", code="contradiction")]


def _press_faults(order: Order, shop: Shop) -> list[Fault]:
    if isinstance(order.press, str):
        return _unknown_press(order.press, shop)
    return calibration_faults(order.press, "/press") if order.press is not None else []


def _unknown_press(id_: str, shop: Shop) -> list[Fault]:
    if shop.press(id_) is not None:
        return []
    presses = tuple(press.id for press in shop.presses)
    return [Fault("/press", f"{id_!r} is not one of the shop's presses", presses, code="not-in-shop", refused=id_)]


def calibration_faults(press: Press, pointer: str) -> list[Fault]:
    """Readings that make no curve: two at one display setting, or a surface that cools as the display rises."""
    readings = sorted(press.calibration, key=lambda reading: reading.display)
    means = [sum(reading.surface) / len(reading.surface) for reading in readings]
    if len({reading.display for reading in readings}) != len(readings):
        return [Fault(f"{pointer}/calibration", "has two readings at one display setting", code="given-twice")]
    if any(later <= earlier for earlier, later in itertools.pairwise(means)):
        return [
            Fault(f"{pointer}/calibration", "has a surface that does not rise with the display", code="contradiction")
        ]
    return []


def resolve_fibres(fibres: Mapping[str, float] | None, book: Book) -> tuple[Mapping[str, float] | None, list[Fault]]:
    """Codes, names and aliases to codes; ambiguous ones refused with both readings; the sum checked."""
    if fibres is None:
        return None, []
    codes, faults = _fibre_codes(fibres, book)
    total = sum(fibres.values())
    if abs(total - 100) > SUM_TOLERANCE:
        message = f"sums to {total:g} %; must be 100 ± {SUM_TOLERANCE:g}"
        faults.append(Fault("/item/fibres", message, code="out-of-range"))
    return {code: fibres[codes[code]] for code in sorted(codes)}, faults


def _fibre_codes(fibres: Iterable[str], book: Book) -> tuple[Mapping[str, str], list[Fault]]:
    """Code to how it was spelt, and what can't be read."""
    faults: list[Fault] = []
    spellings: dict[str, str] = {}
    for spelling in fibres:
        pointer = f"/item/fibres/{escape(spelling)}"
        ambiguous = book.ambiguous_fibres.get(spelling.strip().upper())
        code = book.fibre_names.get(spelling.strip().lower())
        if ambiguous is not None:
            readings = tuple(book.catalogue["fibres"][reading].name for reading in ambiguous.readings)
            message = f"{spelling!r} can mean {' or '.join(readings)}: say which"
            faults.append(Fault(pointer, message, readings, code="ambiguous"))
        elif code is None:
            message = f"{spelling!r} is no fibre of the book"
            allowed = tuple(sorted(name for name in book.fibre_names if name.upper() not in book.ambiguous_fibres))
            faults.append(Fault(pointer, message, allowed, code="not-in-book", refused=spelling.lower()))
        elif code in spellings:
            faults.append(Fault(pointer, f"{spelling!r} names {code} a second time", code="given-twice"))
        else:
            spellings[code] = spelling
    return spellings, faults
