"""Names in an order to entries of the book: fibres to codes, colours and names checked, presses found."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from types import MappingProxyType
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
from accord_rules.documents.spelling import as_word, nearest
from accord_rules.orders.order import NONE, Decoration, Item, Order, Press
from accord_rules.orders.sheet import pressing_faults, sheet_faults
from accord_rules.orders.shop import OwnNames, Sample, Shop
from accord_rules.orders.sizes import SIZES, size_named
from accord_rules.revision.catalogue import pressings_of

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

AnyOrder = TypeVar("AnyOrder", bound=Order)
SUM_TOLERANCE = 1.0
# Of a name that is no name: how much of it is searched for, and how many blanks are offered for it.
_SEARCHED_MOST, _MEANT_MOST = 80, 20
_COLOURS = "write an sRGB hex such as #F4F4F0, or a CSS colour name"


def resolve(order: AnyOrder, book: Book, shop: Shop) -> AnyOrder:
    """The order in the book's names, with its fibres as ISO 2076 codes.

    Words that people use, and those of the shop, stand no more in it. Raises DocumentError naming every field that
    cannot be read.
    """
    words = Words(book, shop)
    order = renamed(order, words.name_for)
    if isinstance(order.press, str):
        order = replace(order, press=words.press(order.press))
    faults = [*_unknown_names(names_in(order), words), *_colour_faults(_colours(order))]
    faults += [*_decorations(order), *_sheets(order, book), *_ages(order), *_press_faults(order, words)]
    fibres, fibre_faults = resolve_fibres(order.item.fibres, book)
    faults += fibre_faults
    if faults:
        raise DocumentError(faults)
    decorations = tuple(_as_the_book_says(decoration, order.item, book) for decoration in order.decorations)
    return replace(order, item=replace(order.item, fibres=fibres), decorations=decorations)


def _as_the_book_says(decoration: Decoration, item: Item, book: Book) -> Decoration:
    """The front of a cap is its crown; that of a towel, a cushion or another flat piece without one, its face."""
    blank = book.catalogue["blanks"].get(item.blank or "")
    if decoration.placement != "front" or (blank is not None and "front" in blank.areas):
        return decoration
    substrate = book.catalogue["substrates"].get(item.substrate or (blank.substrate if blank is not None else ""))
    if substrate is not None and substrate.curved and substrate.family == "cloth":
        return replace(decoration, placement="crown")
    return replace(decoration, placement="face") if blank is not None and "face" in blank.areas else decoration


def unknown_in(document: Mapping[str, Any], book: Book, shop: Shop) -> list[Fault]:
    """What the book and the shop can't read of an order's document that is faulty: of as much as its readers take."""
    leaves = tuple(leaves_in(Object(Order), document))
    named = [(pointer, reader.name_of, value) for pointer, reader, value in leaves if reader.name_of is not None]
    words = Words(book, shop)
    faults = _unknown_names(named, words)
    faults += _colour_faults((pointer, value) for pointer, reader, value in leaves if isinstance(reader, ColourText))
    at = {pointer: value for pointer, _, value in leaves}
    if isinstance(press := at.get("/press"), str):
        faults += _unknown_press(words.press(press), words)
    # Shares are numbers, so the texts there are the fibres.
    fibres = [value for pointer, _, value in leaves if pointer.startswith("/item/fibres/") and isinstance(value, str)]
    return faults + _fibre_codes(fibres, book)[1]


class Words:
    """What names and words of an order stand for: the book's own, those that people use, and the shop's."""

    def __init__(self, book: Book, shop: Shop) -> None:
        self.book = book
        self.shop = shop
        self._own = shop.names.by_word()

    def readings(self, kinds: str, name: str) -> tuple[str, ...]:
        """The entries that a word can stand for, in the shop and in the book; one where it is clear.

        What people use for several things, a shop may use for one of them. What the book has under this name since the
        shop chose it is another reading, never a better one.
        """
        in_book, own = self.book.readings(kinds, name), self._own_reading(kinds, name)
        if own is None or in_book == (own,):
            return in_book
        return (own, *in_book) if len(in_book) == 1 else (own,)

    def _own_reading(self, kinds: str, name: str) -> str | None:
        of_kinds = kinds.split("|")
        field = "transfers" if {"transfers", "products"} & {*of_kinds} else kinds
        own = self._own.get(field, {}).get(as_word(name))
        if own is not None and of_kinds == ["transfers"] and own in self.book.catalogue["products"]:
            return str(self.book.catalogue["products"][own].family)
        return own if own is not None and any(own in self.book.catalogue[kind] for kind in of_kinds) else None

    def name_for(self, kinds: str, name: str) -> str:
        """The book's name for a word; the word itself where it is none, or could be several."""
        readings = self.readings(kinds, name)
        return readings[0] if len(readings) == 1 else name

    def press(self, name: str) -> str:
        """The id of the shop's press that it calls so; the word itself where it is none."""
        return name if self.shop.press(name) is not None else self._own["presses"].get(as_word(name), name)

    def meant(self, name: str) -> tuple[str, ...]:
        """The blanks that a text in people's words may be about, the likeliest first: the shop's own names that are
        spelt like it, then what a search of the library finds. The offer of several, never the choice of one."""
        found = self.book.index.find(name[:_SEARCHED_MOST], ("blanks",), _MEANT_MOST)
        return (*nearest(name, self.shop.names.blanks), *(hit.id for hit in found.hits))

    def known(self, kinds: str) -> list[str]:
        """Every name and word that may stand for an entry of a kind."""
        of_kinds = kinds.split("|")
        names = [entry for kind in of_kinds for entry in self.book.catalogue[kind]]
        aliases = [word for kind in of_kinds for word in self.book.aliases[kind]]
        own = [word for kind in of_kinds for word in getattr(self.shop.names, kind, ())]
        return sorted({*names, *aliases, *own})


def _unknown_names(named: Iterable[tuple[str, str, str]], words: Words) -> list[Fault]:
    faults = []
    for pointer, kinds, name in named:
        readings = words.readings(kinds, name)
        if len(readings) == 1 or (kinds == "consumables" and name == NONE):
            continue
        if readings:
            message = f"{name!r} can mean {' or '.join(readings)}: say which"
            faults.append(Fault(pointer, message, readings, code="ambiguous"))
            continue
        title = kinds.replace("|", " or ").replace("_", " ")
        message = words.book.left_out(name) or f"there is no {name!r} among the {title} of the book"
        meant = words.meant(name) if kinds == "blanks" else ()
        faults.append(Fault(pointer, message, tuple(words.known(kinds)), code="not-in-book", refused=name, meant=meant))
    return faults


# Fields of a shop's names, and the kinds of entry that stand where they do.
_PLACES: Mapping[str, str] = MappingProxyType(
    {
        "blanks": "blanks",
        "transfers": "transfers|products",
        "consumables": "consumables",
        "press_types": "press_types",
    }
)


def own_name_faults(shop: Shop, book: Book) -> Iterator[Fault]:
    """A shop's own names that hide one of the book's or of its presses, that mean two things, or a press it has not.

    Names of the book that stand for nothing are told with all others of the shop.
    """
    for field, table in _named_tables(shop):
        seen: dict[str, str] = {}
        for own, name in table.items():
            pointer, word = f"/names/{field}/{escape(own)}", as_word(own)
            hidden = _hidden(field, own, book, shop)
            if hidden is not None:
                message = f"{own!r} stands for {hidden} already: choose another word"
                yield Fault(pointer, message, code="ambiguous")
            elif seen.get(word, name) != name:
                readings = (seen[word], name)
                yield Fault(pointer, f"{own!r} can mean {' or '.join(readings)}", readings, code="ambiguous")
            elif word in seen:
                yield Fault(pointer, f"{own!r} is there in another spelling", code="given-twice")
            seen.setdefault(word, name)
            if field == "presses" and shop.press(name) is None:
                ids = tuple(press.id for press in shop.presses)
                message = f"{name!r} is not one of the shop's presses"
                yield Fault(pointer, message, ids, code="not-in-shop", refused=name)


def _named_tables(shop: Shop) -> Iterator[tuple[str, Mapping[str, str]]]:
    return ((f.name, getattr(shop.names, f.name)) for f in fields(shop.names))


def _hidden(field: str, own: str, book: Book, shop: Shop) -> str | None:
    """What an order's word stands for before the shop says anything of it; None where that is nothing, or open."""
    if field == "presses":
        return next((press.id for press in shop.presses if as_word(press.id) == as_word(own)), None)
    if field == "consumables" and as_word(own) == NONE:
        return "nothing at all"
    # A word of another kind as well: "vinyl" on a list of tees would be read as film by whoever has the book's words.
    of_kinds = (_PLACES[field], *(kinds for other, kinds in _PLACES.items() if other != field))
    clear = (readings[0] for kinds in of_kinds if len(readings := book.readings(kinds, own)) == 1)
    # What people use for several things of its own kind, a shop may use for one of them.
    return next(clear, None) if len(book.readings(_PLACES[field], own)) < 2 else None


def fitting_names(shop: Shop, book: Book) -> OwnNames:
    """The shop's names without those of what the book, or the shop, has not (any more, or not yet)."""

    def known(field: str, name: str) -> bool:
        if field == "presses":
            return shop.press(name) is not None
        return any(name in book.catalogue[kind] for kind in _PLACES[field].split("|"))

    return OwnNames(
        **{
            field: MappingProxyType({own: name for own, name in table.items() if known(field, name)})
            for field, table in _named_tables(shop)
        }
    )


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


def sample_faults(shop: Shop, book: Book) -> Iterator[Fault]:
    """Samples of a shop that nobody could find again: of no piece, pressed on no press of the shop, named twice.

    Names of the book that stand for nothing are told with all others of the shop.
    """
    seen: set[str] = set()
    for index, sample in enumerate(shop.samples):
        pointer, piece = f"/samples/{index}", sample.piece
        if sample.id in seen:
            yield Fault(f"{pointer}/id", f"another sample is called {sample.id!r} already", code="given-twice")
        seen.add(sample.id)
        if shop.press(sample.press) is None:
            ids = tuple(press.id for press in shop.presses)
            message = f"{sample.press!r} is not one of the shop's presses"
            yield Fault(f"{pointer}/press", message, ids, code="not-in-shop", refused=sample.press)
        if piece.blank is None and piece.substrate is None:
            message = "name a blank, or say the substrate: a sample is of one piece"
            yield Fault(f"{pointer}/piece", message, ("blank", "substrate"), code="required")
        if piece.fibres:
            yield from _sum_fault(piece.fibres, f"{pointer}/piece/fibres")
        colours = [(f"{pointer}/palette/{i}", colour) for i, colour in enumerate(sample.palette or ())]
        yield from _colour_faults([(f"{pointer}/piece/colour", piece.colour), *colours] if piece.colour else colours)


def fitting_samples(shop: Shop, book: Book) -> tuple[Sample, ...]:
    """The shop's samples without those of what the book, or the shop, has not (any more, or not yet)."""

    def fits(sample: Sample) -> bool:
        in_book = all(
            any(name in book.catalogue[kind] for kind in kinds.split("|")) for _, kinds, name in names_in(sample)
        )
        return in_book and shop.press(sample.press) is not None

    return tuple(filter(fits, shop.samples))


def _process(book: Book, name: str | None) -> tuple[str, ...] | None:
    transfer = book.transfer(name)
    return None if transfer is None else pressings_of(transfer)


def _ages(order: Order) -> list[Fault]:
    """Oldest below youngest, largest below smallest. Ages and sizes that disagree are no fault: the stricter stands."""
    use, faults = order.use, []
    if use is None:
        return []
    if use.age_from is not None and use.age_to is not None and use.age_from > use.age_to:
        faults.append(Fault("/use/age_to", f"must not be below age_from, {use.age_from:g}", code="contradiction"))
    smallest, largest = size_named(use.size_from), size_named(use.size_to)
    if smallest is not None and largest is not None and smallest.age_from > largest.age_from:
        allowed = tuple(size.label for size in SIZES.values() if size.age_from >= smallest.age_from)
        message = f"must not be below size_from, {smallest.label}"
        faults.append(Fault("/use/size_to", message, allowed, code="contradiction", refused=largest.label))
    return faults


def _press_faults(order: Order, words: Words) -> list[Fault]:
    if isinstance(order.press, str):
        return _unknown_press(order.press, words)
    return calibration_faults(order.press, "/press") if order.press is not None else []


def _unknown_press(id_: str, words: Words) -> list[Fault]:
    shop = words.shop
    if shop.press(id_) is not None:
        return []
    presses = (*(press.id for press in shop.presses), *shop.names.presses)
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
    faults += _sum_fault(fibres, "/item/fibres")
    return {code: fibres[codes[code]] for code in sorted(codes)}, faults


def _sum_fault(fibres: Mapping[str, float], pointer: str) -> list[Fault]:
    total = sum(fibres.values())
    if abs(total - 100) <= SUM_TOLERANCE:
        return []
    return [Fault(pointer, f"sums to {total:g} %; must be 100 ± {SUM_TOLERANCE:g}", code="out-of-range")]


def _fibre_codes(fibres: Iterable[str], book: Book) -> tuple[Mapping[str, str], list[Fault]]:
    """Code to how it was spelt, and what can't be read."""
    faults: list[Fault] = []
    spellings: dict[str, str] = {}
    for spelling in fibres:
        pointer = f"/item/fibres/{escape(spelling)}"
        ambiguous = book.ambiguous_fibres.get(spelling.strip().upper())
        code = book.fibre_names.get(spelling.strip().lower()) or book.fibre_words.get(as_word(spelling))
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
