"""Names in an order to entries of the book: fibres to codes, colours and names checked, presses found."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from accord_rules.documents.colour import read_colour
from accord_rules.documents.reading import DocumentError, Fault, escape, names_in
from accord_rules.orders.order import Order, Press
from accord_rules.orders.shop import Shop

if TYPE_CHECKING:
    from accord_rules.revision.book import Book

AnyOrder = TypeVar("AnyOrder", bound=Order)
DELIBERATELY_NONE = "none"  # a cover, pad or tape that is left out on purpose
SUM_TOLERANCE = 1.0
_COLOURS = ("an sRGB hex such as #F4F4F0", "a CSS colour name such as navy")


def resolve(order: AnyOrder, book: Book, shop: Shop) -> AnyOrder:
    """The order with its fibres as ISO 2076 codes. Raises DocumentError naming every field the book cannot read."""
    faults = [*_unknown_names(order, book), *_colours(order), *_decorations(order), *_ages(order)]
    faults += _press_faults(order, shop)
    fibres, fibre_faults = resolve_fibres(order.item.fibres, book)
    faults += fibre_faults
    if faults:
        raise DocumentError(faults)
    return replace(order, item=replace(order.item, fibres=fibres))


def _unknown_names(order: Order, book: Book) -> list[Fault]:
    faults = []
    for pointer, kinds, name in names_in(order):
        names = [entry for kind in kinds.split("|") for entry in book.catalogue[kind]]
        if name in names or (kinds == "consumables" and name == DELIBERATELY_NONE):
            continue
        title = kinds.replace("|", " or ").replace("_", " ")
        message, allowed = f"there is no {name!r} among the {title} of the book", tuple(sorted(names))
        faults.append(Fault(pointer, message, allowed, code="not-in-book", refused=name))
    return faults


def _colours(order: Order) -> list[Fault]:
    colours = [("/item/colour", order.item.colour)]
    for index, decoration in enumerate(order.decorations):
        palette = decoration.artwork.palette if decoration.artwork is not None else None
        colours += [(f"/decorations/{index}/artwork/palette/{i}", colour) for i, colour in enumerate(palette or ())]
    return [
        Fault(pointer, f"{colour!r} is no colour", _COLOURS, code="bad-format")
        for pointer, colour in colours
        if colour is not None and read_colour(colour) is None
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


def _ages(order: Order) -> list[Fault]:
    use = order.use
    if use is None or use.age_from is None or use.age_to is None or use.age_from <= use.age_to:
        return []
    return [Fault("/use/age_to", f"must not be below age_from, {use.age_from:g}", code="contradiction")]


def _press_faults(order: Order, shop: Shop) -> list[Fault]:
    if isinstance(order.press, str) and shop.press(order.press) is None:
        presses = tuple(press.id for press in shop.presses)
        message = f"{order.press!r} is not one of the shop's presses"
        return [Fault("/press", message, presses, code="not-in-shop", refused=order.press)]
    return calibration_faults(order.press, "/press") if isinstance(order.press, Press) else []


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
    faults, shares = [], {}
    for spelling, share in fibres.items():
        pointer = f"/item/fibres/{escape(spelling)}"
        ambiguous = book.ambiguous_fibres.get(spelling.strip().upper())
        code = book.fibre_names.get(spelling.strip().lower())
        if ambiguous is not None:
            readings = tuple(book.catalogue["fibres"][reading].name for reading in ambiguous.readings)
            message = f"{spelling!r} can mean {' or '.join(readings)}: say which"
            faults.append(Fault(pointer, message, readings, code="ambiguous"))
        elif code is None:
            message, allowed = f"{spelling!r} is no fibre of the book", tuple(sorted(book.fibre_names))
            faults.append(Fault(pointer, message, allowed, code="not-in-book", refused=spelling.lower()))
        elif code in shares:
            faults.append(Fault(pointer, f"{spelling!r} names {code} a second time", code="given-twice"))
        else:
            shares[code] = share
    total = sum(fibres.values())
    if abs(total - 100) > SUM_TOLERANCE:
        message = f"sums to {total:g} %; must be 100 ± {SUM_TOLERANCE:g}"
        faults.append(Fault("/item/fibres", message, code="out-of-range"))
    return dict(sorted(shares.items())), faults
