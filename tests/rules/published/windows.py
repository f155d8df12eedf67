"""The table of windows: what is left of temperature, dwell and pressure for each product, substrate and type of press.

``windows.txt`` beside this file is the reviewed table; ``test_windows.py`` holds the code and the book to it. Where a
change is meant to move windows, write it anew and read the difference line by line before it goes in::

    python tests/rules/published/windows.py --write

Pieces are plain: cotton cloth (polyester for a dye print), bare, or coated as the shop's usual blanks of that family
are where dye needs a coating; a print of 200 x 150 mm; nothing on the piece from before. Presses are the type's usual,
uncalibrated. Only presses of the piece's shape are listed.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from accord_rules.derive.case import Case
from accord_rules.load.examples import example_order
from accord_rules.load.loader import load_book
from accord_rules.orders.order import Item, Order, Press
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import Substrate, Transfer

TABLE = Path(__file__).with_name("windows.txt")
HEAD = """\
# What is left of surface temperature, dwell and pressure on the print, by product, substrate and type of press.
# Reviewed by people and changed only on purpose: tests/rules/published/windows.py says how.
# Products with equal windows stand together, and so do substrates. What holds on most presses comes first, then the
# presses on which it differs.
"""
_COATING_FOR_DYE = {
    "metal": "polyester-white-gloss",
    "wood": "polyester-white-gloss",
    "cork": "polyester-clear",
    "plastic": "polyester-white-gloss",
    "stone": "dye-receptive",
    "ceramic": "dye-receptive",
    "glass": "dye-receptive",
}


@dataclass(frozen=True)
class Left:
    """What is left, lowest and highest: °C at the platen's surface, s, kPa on the print. Low above high: nothing is."""

    surface: tuple[float, float]
    dwell: tuple[float, float]
    pressure: tuple[float, float]


# (product, substrate) -> type of press -> what is left
Windows = Mapping[tuple[str, str], Mapping[str, Left]]


def plain_order(book: Book, product: str, substrate: str) -> Order:
    """A plain piece of the substrate with the product on it."""
    base, _ = example_order({}, book)
    entry: Substrate = book.catalogue["substrates"][substrate]
    transfer: Transfer = book.catalogue["products"][product]
    dye, cloth = transfer.principle == "dye-vapour", entry.family == "cloth"
    item = Item(
        substrate=substrate,
        fibres={"PES" if dye else "CO": 100.0} if cloth and not entry.fibres else None,
        colour="#FFFFFF",
        coating=_COATING_FOR_DYE.get(entry.family, "none") if dye else "none",
        finishes=(),
        dye="undyed",
        features=(),
        already=(),
        preparation=(),
    )
    decoration = replace(base.decorations[0], transfer=product, placement="front" if cloth else "face")
    return replace(base, item=item, decorations=(decoration,))


def windows(book: Book) -> Windows:
    """What is left for every product on every substrate that it suits."""
    _, shop = example_order({}, book)
    left: dict[tuple[str, str], Mapping[str, Left]] = {}
    for product, transfer in book.catalogue["products"].items():
        for substrate, entry in book.catalogue["substrates"].items():
            if entry.family in transfer.suits:
                case = Case(book, shop, plain_order(book, product, substrate)).decoration_case(0)
                presses = ((name, case.pressing_case(Press(name))) for name in sorted(book.catalogue["press_types"]))
                left[product, substrate] = {name: _left(on) for name, on in presses if on["fit.shape_ok"]}
    return left


def _left(case: Case) -> Left:
    return Left(
        (case["window.low_c"], case["window.high_c"]),
        (case["window.time_low_s"], case["window.time_high_s"]),
        (case["transfer.pressure_least_kpa"], min(case["transfer.pressure_most_kpa"], case["fit.pressure_most_kpa"])),
    )


def table(windows_: Windows) -> str:
    """The table as text, entries with equal windows together."""
    parts = [
        HEAD,
        _section("Surface temperature of the platen, °C", windows_, lambda left: left.surface),
        _section("Dwell, s", windows_, lambda left: left.dwell),
        _section("Pressure on the print, kPa", windows_, lambda left: left.pressure),
        "\n## Presses whose shape fits\n",
    ]
    fitting: dict[str, set[str]] = defaultdict(set)
    for (_, substrate), on_presses in windows_.items():
        fitting[", ".join(on_presses)].add(substrate)
    parts += [f"\n{presses}\n  on {', '.join(sorted(fitting[presses]))}\n" for presses in sorted(fitting)]
    return "".join(parts)


def _section(title: str, windows_: Windows, quantity: Callable[[Left], tuple[float, float]]) -> str:
    alike: dict[tuple[str, str], list[str]] = defaultdict(list)
    for (product, substrate), on_presses in windows_.items():
        alike[product, _ends({press: quantity(left) for press, left in on_presses.items()})].append(substrate)
    together: dict[tuple[str, str], list[str]] = defaultdict(list)
    for (product, ends), substrates in alike.items():
        together[ends, ", ".join(sorted(substrates))].append(product)
    blocks = sorted((sorted(products), substrates, ends) for (ends, substrates), products in together.items())
    lines = (f"\n{ends}\n  {', '.join(products)}\n  on {substrates}\n" for products, substrates, ends in blocks)
    return f"\n## {title}\n" + "".join(lines)


def _ends(on_presses: Mapping[str, tuple[float, float]]) -> str:
    """Lowest and highest on most presses, then the presses on which they differ."""
    presses: dict[str, list[str]] = defaultdict(list)
    for press, (low, high) in on_presses.items():
        presses[f"{low:g}-{high:.4g}" if low <= high else f"none ({low:g} > {high:.4g})"].append(press)
    usual, *others = sorted(presses.items(), key=lambda ends: (-len(ends[1]), ends[0]))
    return "; ".join([usual[0], *(f"{ends} on {', '.join(names)}" for ends, names in others)])


def main(arguments: Iterable[str] | None = None) -> None:
    """Write the table anew, or say whether it would change."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--write", action="store_true", help="write windows.txt anew")
    written = table(windows(load_book()))
    if parser.parse_args(arguments).write:
        TABLE.write_text(written, encoding="utf-8")
    else:
        same = TABLE.read_text(encoding="utf-8") == written
        print("windows.txt is as the code has it" if same else "windows.txt would change: --write, then git diff")


if __name__ == "__main__":
    main()
