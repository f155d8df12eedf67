"""The counter's form: which fields of an order stand where, how they are called, and what may stand in them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from accord_rules.documents import typed, units
from accord_rules.documents.reading import Choice, Date, Either, Fault, Flag, Many, Name, Number, Reader, Whole
from accord_rules.orders.order import PRINTER_WORDS
from accord_rules.orders.shop import Shop
from accord_rules.revision.book import Book
from accord_service.pages.counter.query import (
    TypedOrder,
    name_of,
    place,
    pointer_of,
)
from accord_service.tables.fields import PRINTS

_PRINT = f"{PRINTS}.*."
# Of a dimension, the units that stand beside a number; the shop's own comes first.
UNITS_BESIDE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "length": ("in", "mm", "cm"),
        "temperature": ("°F", "°C"),
        "time": ("s", "min", "h"),
        "pressure": ("psi", "kPa", "bar"),
        "area_density": ("oz/yd²", "g/m²"),
        "power": ("W", "kW"),
        "current": ("A",),
        "voltage": ("V",),
    }
)
# Words and names that are picked from a list that is searched as one types: the kinds they are of.
_SEARCHED = ("blanks", "transfers|products")
# Lists whose words are ticked; the others are written, with commas.
_TICKED = frozenset({"item.finishes", "item.features", "item.preparation", "use.kinds", "evidence"})

Words = dict[str, tuple[str, str]]


def _spots(prefix: str, **fields: str | tuple[str, str]) -> Words:
    """Path to label and hint; two underscores stand for the dot of a path."""
    return {
        prefix + name.replace("__", "."): (label, "") if isinstance(label, str) else label
        for name, label in fields.items()
    }


PIECE = _spots("item.", blank=("Piece", "a blank of the book, or your own name for it"))
DESCRIBED = _spots(
    "item.",
    kind="Kind of piece",
    substrate="Made of",
    fibres=("Fibres", "as the label says: 65 % PES, 35 % CO"),
    colour=("Colour under the print", "navy, or #1A1A40"),
    coating="Coating",
    dye="Dyed with",
    mass_per_area="Weight of the cloth",
    thickness="Thickness",
    diameter="Width across, of round ware",
    care=("Care label", "only if it has none"),
    care__iron="Dots of the iron on it",
    care__edition=("Edition of ISO 3758", "a year"),
    lot="Lot on the carton",
    already=("Decorated already with", "transfers, with commas"),
    finishes="Finishes of the cloth",
    features="On or in the piece",
    preparation="Done to it before",
)
PRINT = _spots(
    _PRINT,
    transfer=("Transfer", "a family, a product, or your own name for it"),
    size__width="Width of the print",
    size__height="Height of the print",
    placement="Where on the piece",
)
ARTWORK = _spots(
    f"{_PRINT}artwork.",
    colours="How many colours",
    palette=("The colours", "with commas: navy, #1A1A40"),
    white="White areas in it",
    light="A light colour in it",
    gradient="A photograph or gradients",
    finest_line="Finest line",
    small_pieces="Small loose pieces (dots, thin serifs)",
    mirrored="Printed as a mirror image",
    printed_by="Printed or cut by",
) | _spots(_PRINT, over="Lies on", rim_distance="From the drinking rim")
SETTINGS = _spots(
    f"{_PRINT}settings.",
    temperature="Temperature",
    read_at="Read at",
    time="Time",
    pressure=("Pressure", "light, medium, firm, or the gauge"),
    peel="Peel",
    cover="Cover",
    pad="Pad",
    tape="Tape",
    pre_press="Pre-press",
    second_press="Second press",
)
SHEET = _spots(
    f"{_PRINT}sheet.",
    temperature=("Temperature", "one, or 300 °F to 320 °F"),
    read_at="Read at",
    press="Written for",
    time=("Time", "one, or 10 s to 15 s"),
    pressure="Pressure",
    peel=("Peel", "hot, warm, cold; several with commas"),
    cover=("Covers", "with commas; nothing for none needed"),
    pad=("Pads", "with commas; nothing for none needed"),
    pre_press="Pre-press",
    second_press="Second press",
    edition="Edition of the sheet",
)
USE = {"quantity": ("Pieces", "")} | _spots("use.", age_from="Youngest user, years", age_to="Oldest user, years")
USE_KINDS = _spots("use.", kinds="What it is for")
USE_MORE = _spots(
    "use.",
    market="Sold in",
    size_from=("Smallest size", "of children's garments: 122 cm, 7"),
    size_to="Largest size",
    cut="Nightwear: cut",
    worn_over="Worn over other clothes",
)
PRESS: Words = {"press": ("Press", ""), "reference": ("Your reference", "")}
DESCRIBED_PRESS = _spots(
    "press.",
    type="Type of press",
    platen__width="Platen, width",
    platen__height="Platen, height",
    display_most="Highest display setting",
    opening="Opening",
    power="Power",
    voltage="Voltage",
    circuit__rating="Circuit",
    circuit__voltage="Circuit, voltage",
    circuit__other_load="Else on the circuit",
    circuit__three_phase="Three phases",
    circuit__fuse="Fuse of the plug",
    cylinder__bore="Cylinder, bore",
    cylinder__count="Cylinders",
    cylinder__line_least="Line pressure, least",
    cylinder__line_most="Line pressure, most",
)
JOB_MORE: Words = {
    "due_in": ("Due in", ""),
    "pressed_on": ("Pressed on", "the day, if not today"),
    "evidence": ("Tests and declarations at hand", ""),
    "prefer": ("Matters most", "durability, hand, speed, cost: with commas"),
}
_GROUPS = (
    PIECE,
    DESCRIBED,
    PRINT,
    ARTWORK,
    SETTINGS,
    SHEET,
    USE,
    USE_KINDS,
    USE_MORE,
    PRESS,
    DESCRIBED_PRESS,
    JOB_MORE,
)
_WORDS: Words = {path: words for group in _GROUPS for path, words in group.items()}


@dataclass(frozen=True, slots=True)
class Option:
    """One of the values that may stand in a field."""

    value: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of the form. ``control``: text, number, date, search, choice or ticks. ``text``: what stands in it.

    ``unit``, of ``units``: the one beside its number; empty where the text has its own. ``chosen``: of ticks.
    """

    name: str
    label: str
    hint: str
    control: str
    text: str = ""
    chosen: frozenset[str] = frozenset()
    options: tuple[Option, ...] = ()
    units: tuple[str, ...] = ()
    unit: str = ""
    list_id: str = ""
    faults: tuple[Fault, ...] = ()

    @property
    def is_said(self) -> bool:
        return bool(self.text or self.chosen or self.faults)


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together; ``is_open``: something in it is said."""

    fields: tuple[Field, ...]

    @property
    def is_open(self) -> bool:
        return any(field.is_said for field in self.fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintForm:
    """The fields of one print; ``number`` counts from 1, ``index`` from 0."""

    index: int
    open: Group
    artwork: Group
    settings: Group
    sheet: Group

    @property
    def number(self) -> int:
        return self.index + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """The whole form. ``also``: what is said and has no field of its own."""

    piece: Group
    described: Group
    prints: tuple[PrintForm, ...]
    use: Group
    use_kinds: Group
    use_more: Group
    press: Group
    described_press: Group
    job_more: Group
    also: Group


def form_of(order: TypedOrder, faults: Sequence[Fault], book: Book, shop: Shop) -> Form:
    """The form with the order in it, and each fault at its field."""
    maker = _Maker(order, faults, book, shop)
    prints = tuple(
        PrintForm(
            index=index,
            open=maker.group(PRINT, index),
            artwork=maker.group(ARTWORK, index),
            settings=maker.group(SETTINGS, index),
            sheet=maker.group(SHEET, index),
        )
        for index in range(order.print_count)
    )
    return Form(
        piece=maker.group(PIECE),
        described=maker.group(DESCRIBED),
        prints=prints,
        use=maker.group(USE),
        use_kinds=maker.group(USE_KINDS),
        use_more=maker.group(USE_MORE),
        press=maker.group(PRESS),
        described_press=maker.group(DESCRIBED_PRESS),
        job_more=maker.group(JOB_MORE),
        also=maker.also(),
    )


def lists_of(book: Book, shop: Shop) -> Mapping[str, tuple[Option, ...]]:
    """What is offered while somebody types a name, by the kind that it is of."""
    return {kinds.partition("|")[0]: _options_of(kinds, book, shop) for kinds in _SEARCHED}


def _options_of(kinds: str, book: Book, shop: Shop) -> tuple[Option, ...]:
    """The shop's own names, what it stocks, then the rest of the book."""
    of_kinds = kinds.split("|")
    own = getattr(shop.names, of_kinds[0], {})
    titles = {name: str(entry.title) for kind in of_kinds for name, entry in book.catalogue[kind].items()}
    stocked = {*shop.stock.products, *shop.stock.consumables}
    names = sorted(titles, key=lambda name: name not in stocked)
    listed = [Option(word, f"{titles.get(name, name)}: your own name") for word, name in own.items()]
    return (*listed, *(Option(name, titles[name] + (", in stock" if name in stocked else "")) for name in names))


def fields_named(names: Sequence[str], order: TypedOrder, book: Book, shop: Shop) -> tuple[Field, ...]:
    """Fields by their names, with what the order says in them."""
    maker = _Maker(order, (), book, shop)
    return tuple(maker.field(name, label_of(pointer_of(name), order.print_count), _hint(name)) for name in names)


def label_of(pointer: str, prints: int = 1) -> str:
    """What a place in an order is called in the form; with its print where there are several."""
    name = name_of(pointer) or pointer.strip("/").replace("/", ".")
    path = _path(name)
    label = _WORDS.get(path, (_words(path.rpartition(".")[2]), ""))[0]
    match = re.match(rf"{PRINTS}\.(\d+)", name)
    if match is not None and label == "*":
        label = "Print"
    of = " of the sheet" if ".sheet." in name else ""
    return f"{label}{of}, print {int(match[1]) + 1}" if match is not None and prints > 1 else label + of


def _hint(name: str) -> str:
    return _WORDS.get(_path(name), ("", ""))[1]


def _path(name: str) -> str:
    return re.sub(rf"^{PRINTS}\.\d+", f"{PRINTS}.*", name)


def place_of(pointer: str, prints: int) -> str:
    """Which part of the order is spoken of, in words; empty for the whole of it or its only print."""
    match = re.match(rf"/{PRINTS}/(\d+)", pointer)
    return "" if match is None or prints < 2 else f"print {int(match[1]) + 1}"


def _words(word: str) -> str:
    text = word.replace("-", " ").replace("_", " ")
    return text[:1].upper() + text[1:]


class _Maker:
    """Makes the fields of an order."""

    def __init__(self, order: TypedOrder, faults: Sequence[Fault], book: Book, shop: Shop) -> None:
        self._texts: dict[str, list[str]] = {}
        for name, text in order.pairs:
            self._texts.setdefault(name, []).append(text)
        self._faults: dict[str, list[Fault]] = {}
        for fault in faults:
            self._faults.setdefault(name_of(fault.pointer), []).append(fault)
        self._book, self._shop = book, shop
        self._prints = order.print_count
        self._shown = {PRINTS}
        # Several fields of each print choose from the same list.
        self._lists: dict[str, tuple[Option, ...]] = {}

    def group(self, group: Words, index: int = 0) -> Group:
        return Group(tuple(self.field(path.replace("*", str(index)), *words) for path, words in group.items()))

    def also(self) -> Group:
        """What is said and was not shown yet, in fields called by their places."""
        names = dict.fromkeys((*self._texts, *filter(None, self._faults)))
        left = [name for name in names if name not in self._shown and place(name) is not None]
        return Group(tuple(self.field(name, name.replace(".", " › "), "") for name in left))

    def options_of(self, kinds: str) -> tuple[Option, ...]:
        if kinds not in self._lists:
            self._lists[kinds] = _options_of(kinds, self._book, self._shop)
        return self._lists[kinds]

    def field(self, name: str, label: str, hint: str) -> Field:
        self._shown.add(name)
        reader, texts = place(name), tuple(self._texts.get(name, ()))
        assert reader is not None, name
        common: dict[str, Any] = {"name": name, "label": label, "hint": hint}
        common["faults"] = tuple(self._faults.get(name, ()))
        dimension = typed.dimension_of(reader)
        if dimension is not None:
            return Field(**common, **self._quantity(dimension, reader, texts))
        if name in _TICKED:
            words = {option.value: option for option in self._ticks(reader)}
            chosen = tuple(dict.fromkeys(part for text in texts for part in typed.parts(text)))
            # In the order in which they were said: a list comes back as it was.
            said = [words.get(word, Option(word, word)) for word in chosen]
            told = frozenset(chosen)
            rest = [option for word, option in words.items() if word not in told]
            return Field(**common, control="ticks", chosen=told, options=(*said, *rest))
        if kinds := self._searched(reader):
            return Field(**common, control="search", text=texts[-1] if texts else "", list_id=f"list-{kinds}")
        options = tuple(self._options(name, reader))
        text = ", ".join(texts)
        if options:
            known = {option.value for option in options}
            options += tuple(Option(word, word) for word in texts if word not in known)
            return Field(**common, control="choice", text=text, options=options)
        return Field(**common, control=_control(reader), text=text)

    def _quantity(self, dimension: units.Dimension, reader: Reader, texts: Sequence[str]) -> dict[str, Any]:
        own = self._shop.units.unit(dimension).symbol
        beside = UNITS_BESIDE[dimension.name]
        symbols = tuple(sorted(beside, key=lambda symbol: symbol != own))
        text, unit = _apart(texts[-1], symbols) if texts else ("", symbols[0])
        list_id = "list-pressures" if isinstance(reader, Either) else ""
        return {"control": "text", "text": text, "units": symbols, "unit": unit, "list_id": list_id}

    @staticmethod
    def _searched(reader: Reader) -> str:
        return reader.name_of.partition("|")[0] if isinstance(reader, Name) and reader.name_of in _SEARCHED else ""

    def _ticks(self, reader: Reader) -> Iterator[Option]:
        assert isinstance(reader, Many)
        if isinstance(reader.item, Choice):
            yield from (Option(word, _words(word)) for word in reader.item.words)
        else:
            yield from self.options_of(reader.item.name_of or "")
        yield Option(typed.NOTHING, "Nothing of this")

    def _options(self, name: str, reader: Reader) -> Iterable[Option]:
        match reader:
            case _ if name == "press":
                return self._presses()
            case _ if name.endswith(".over"):
                return (Option(str(index), f"Print {index + 1}") for index in range(self._prints))
            case _ if name == "item.care":
                return (Option("none", "It has none"),)
            case _ if name == "item.care.iron":
                dots = ("Do not iron", "One dot", "Two dots", "Three dots")
                return (Option(str(count), label) for count, label in enumerate(dots))
            case Flag():
                return (Option("yes", "Yes"), Option("no", "No"))
            case Choice(words=words):
                return (Option(word, PRINTER_WORDS.get(word, _words(word))) for word in words)
            case Name(name_of=str(kinds)) if kinds in (
                "substrates",
                "coatings",
                "consumables",
                "markets",
                "press_types",
            ):
                none = (Option("none", "None"),) if kinds == "consumables" else ()
                return (*none, *self.options_of(kinds))
            case _:
                return ()

    def _presses(self) -> Iterator[Option]:
        for press in self._shop.presses:
            kind = self._book.catalogue["press_types"].get(press.type)
            yield Option(press.id, f"{press.id} ({kind.title if kind is not None else press.type})")
        yield from (
            Option(word, f"{word}: your own name for {name}") for word, name in self._shop.names.presses.items()
        )


def _control(reader: Reader) -> str:
    match reader:
        case Whole():
            return "whole"
        case Number():
            return "number"
        case Date():
            return "date"
        case _:
            return "text"


def _apart(text: str, symbols: Sequence[str]) -> tuple[str, str]:
    """A number and the unit beside it, if it is written so; else the text with its own unit, or with none."""
    number, _, unit = text.rpartition(" ")
    return (number, unit) if unit in symbols and typed.BARE.fullmatch(number) else (text, "")
