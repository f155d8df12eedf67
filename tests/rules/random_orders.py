"""Random orders over a book: everything an order may say, each thing often left out. Seeded, so repeatable."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

from accord_rules.orders import order as words
from accord_rules.orders import sheet as sheets
from accord_rules.orders.shop import STANDING
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import pressings_of

COLOURS = ("#FFFFFF", "#F4F4F0", "white", "ivory", "#D3D3D3", "#808080", "navy", "black", "red", "#36454F", "#FFFF00")
TEMPERATURES_C = (60, 110, 130, 149, 150, 151, 160, 165, 175, 180, 189, 190, 191, 199, 200, 205, 210, 225, 261, 300)
TIMES_S = (1, 4, 8, 12, 15, 20, 31, 45, 60, 70, 120, 180, 400)


def maybe(rng: random.Random, value: Any, chance: float = 0.5) -> dict[str, Any]:
    """``value`` with the given chance, else nothing."""
    return value if rng.random() < chance else {}


def some(rng: random.Random, words_: Sequence[str], most: int = 2) -> list[str]:
    return sorted(rng.sample(list(words_), rng.randint(0, min(most, len(words_)))))


def quantity(rng: random.Random, values_c: Sequence[float], unit: str) -> str:
    return f"{rng.choice(values_c)} {unit}"


def fibres(rng: random.Random, book: Book) -> dict[str, float]:
    # By name where the code alone is ambiguous.
    spelt = [f.name if code in book.ambiguous_fibres else code for code, f in book.catalogue["fibres"].items()]
    codes = rng.sample(["CO", "PES", "EL", *spelt], 3)
    kind = rng.random()
    first, second, third = codes
    if kind < 0.4 or first == second:
        return {first: 100}
    share = rng.choice([2, 3, 5, 10, 11, 15, 35, 50, 51, 65, 85, 86])
    if kind < 0.9 or third in (first, second):
        return {first: 100 - share, second: share}
    return {first: 100 - share - 1, second: share, third: 1}


def item(rng: random.Random, book: Book, odd: float) -> dict[str, Any]:
    named = maybe(rng, {"blank": rng.choice(list(book.catalogue["blanks"]))}, 1 - 0.4 * odd)
    chance = 0.15 * odd if named else 0.7
    described = {
        "substrate": rng.choice(list(book.catalogue["substrates"])),
        "fibres": fibres(rng, book),
        "colour": rng.choice(COLOURS),
        "coating": rng.choice(list(book.catalogue["coatings"])),
        "finishes": some(rng, list(book.catalogue["finishes"])),
        "dye": rng.choice(words.DYES),
        "mass_per_area": quantity(rng, (60, 88, 89, 140, 180, 320), "g/m2"),
        "thickness": quantity(rng, (0.3, 0.6, 3, 8, 25), "mm"),
        "care": {"iron": rng.randint(0, 3)} | maybe(rng, {"edition": rng.choice([2005, 2012, 2023])}),
        "features": some(rng, words.FEATURES),
    }
    parts = {key: value for key, value in described.items() if rng.random() < chance}
    extra = {"already": some(rng, list(book.catalogue["transfers"])), "preparation": some(rng, words.PREPARATIONS)}
    return named | parts | {key: value for key, value in extra.items() if rng.random() < 0.2 * odd}


def artwork(rng: random.Random) -> dict[str, Any]:
    full = {
        "colours": rng.choice([1, 2, 4, 100]),
        "white": rng.random() < 0.3,
        "gradient": rng.random() < 0.3,
        "finest_line": quantity(rng, (0.2, 0.5, 1, 2, 3), "mm"),
        "small_pieces": rng.random() < 0.3,
        "mirrored": rng.random() < 0.8,
        "palette": [rng.choice(COLOURS) for _ in range(rng.randint(1, 3))],
        "printed_by": rng.choice(words.PRINTERS),
    }
    return {key: value for key, value in full.items() if rng.random() < 0.4}


def settings(rng: random.Random, book: Book) -> dict[str, Any]:
    covers = [*book.catalogue["consumables"], "none"]
    full = {
        "temperature": quantity(rng, TEMPERATURES_C, "°C"),
        "read_at": rng.choice(sheets.READ_AT),
        "time": quantity(rng, TIMES_S, "s"),
        "pressure": rng.choice([*sheets.PRESSURES, "40 psi", "275 kPa"]),
        "peel": rng.choice(sheets.PEELS),
        "cover": rng.choice(covers),
        "pad": rng.choice(covers),
        "tape": rng.choice(covers),
        "pre_press": quantity(rng, (0, 2, 4), "s"),
        "second_press": quantity(rng, (0, 5), "s"),
    }
    return {key: value for key, value in full.items() if rng.random() < 0.4}


def sheet(rng: random.Random) -> dict[str, Any]:
    """A maker's sheet that can be read, be it sensible or not."""
    low, short = rng.choice((120, 130, 150, 160, 175, 190, 200)), rng.choice((5, 8, 12, 20, 45, 61))
    full = {
        "temperature": rng.choice((f"{low} °C", {"least": f"{low} °C", "most": f"{low + rng.choice((3, 12))} °C"})),
        "time": rng.choice((f"{short} s", {"least": f"{short} s", "most": f"{short + rng.choice((1, 7))} s"})),
        "pressure": rng.choice(sheets.PRESSURES),
        "peel": [rng.choice(sheets.PEELS)],
        "second_press": quantity(rng, (0, 5), "s"),
    }
    return {key: value for key, value in full.items() if rng.random() < 0.5} or {"time": "10 s"}


def pressings(rng: random.Random, book: Book, transfer: str) -> dict[str, Any]:
    """Settings of the pressings beside the main one that the transfer may take; a second press is said elsewhere."""
    entry = book.transfer(transfer)
    names = pressings_of(entry) if entry is not None else ()
    full = {"temperature": quantity(rng, TEMPERATURES_C, "°C"), "peel": rng.choice(sheets.PEELS)}
    times = {"time": quantity(rng, (0, 3, 12, 90), "s")}
    return {
        name: maybe(rng, full) | ({} if name in ("reverse", "again") else maybe(rng, times))
        for name in names
        if rng.random() < 0.3
    }


def decoration(rng: random.Random, book: Book, index: int, *, open_settings: bool, odd: float) -> dict[str, Any]:
    names = [*book.catalogue["products"], *book.catalogue["transfers"]]
    document = maybe(rng, {"transfer": rng.choice(names)}, 0.95)
    document |= maybe(rng, {"placement": rng.choice(words.PLACEMENTS)}, 0.5 * odd)
    size = {"width": quantity(rng, (20, 90, 200, 300, 600), "mm"), "height": quantity(rng, (20, 90, 300, 500), "mm")}
    document |= maybe(rng, {"size": size}, 0.6) | maybe(rng, {"artwork": artwork(rng)}, 0.6 * odd)
    if not open_settings:
        document |= maybe(rng, {"settings": settings(rng, book)}, 0.5)
    if "transfer" in document:
        document |= maybe(rng, {"sheet": sheet(rng)}, 0.15)
        beside = pressings(rng, book, document["transfer"])
        if beside and not open_settings:
            document["settings"] = document.get("settings", {}) | {"pressings": beside}
    document |= maybe(rng, {"rim_distance": quantity(rng, (0, 5, 19, 20, 30), "mm")}, 0.1)
    return document | (maybe(rng, {"over": rng.randrange(index)}, 0.3) if index else {})


def press(rng: random.Random, book: Book) -> dict[str, Any]:
    parts: dict[str, Any] = {"type": rng.choice(list(book.catalogue["press_types"]))}
    parts |= maybe(rng, {"platen": {"width": "380 mm", "height": "380 mm"}}, 0.4)
    readings = [
        {"display": f"{x} °C", "surface": [f"{x - rng.randint(-2, 12)} °C" for _ in range(3)]} for x in (120, 160, 200)
    ]
    parts |= maybe(rng, {"calibration": readings}, 0.3) | maybe(rng, {"opening": quantity(rng, (5, 40), "mm")}, 0.2)
    parts |= maybe(rng, {"display_most": quantity(rng, (140, 180, 210, 230), "°C")}, 0.2)
    cylinder = {"bore": "100 mm", "line_least": "100 kPa", "line_most": "600 kPa"}
    parts |= maybe(rng, {"cylinder": cylinder}, 0.2) | maybe(rng, {"power": quantity(rng, (800, 1800, 3000), "W")}, 0.3)
    circuit = {"rating": f"{rng.choice([13, 15, 16, 20])} A", "voltage": f"{rng.choice([120, 230])} V"}
    return parts | maybe(rng, {"circuit": circuit}, 0.4) | maybe(rng, {"voltage": f"{rng.choice([120, 230])} V"}, 0.4)


def order(
    rng: random.Random, book: Book, *, open_settings: bool = False, decorations: int = 3, odd: float = 1.0
) -> dict[str, Any]:
    """One order document. ``open_settings`` leaves all settings out; ``odd`` below 1 makes it more like everyday."""
    count = rng.choice([1, 1, 1, *range(1, decorations + 1)])
    document: dict[str, Any] = {
        "item": item(rng, book, odd),
        "decorations": [decoration(rng, book, i, open_settings=open_settings, odd=odd) for i in range(count)],
    }
    use = {"age_from": rng.choice([0, 2, 3, 6, 12, 13, 18]), "kinds": some(rng, words.USES)}
    use |= maybe(rng, {"market": rng.choice(list(book.catalogue["markets"]))})
    use |= maybe(rng, {"size_from": rng.choice(["newborn", "2T", "6X", "7", "122 cm"])}, 0.2)
    use |= maybe(rng, {"size_to": rng.choice(["7", "14", "14X", "182 cm"])}, 0.1)
    use |= maybe(rng, {"cut": rng.choice(words.CUTS)}, 0.2)
    use |= maybe(rng, {"worn_over": rng.random() < 0.5}, 0.2)
    document |= maybe(rng, {"use": use}, 0.4 * odd) | maybe(rng, {"press": press(rng, book)}, 0.7 * odd)
    document |= maybe(rng, {"quantity": rng.choice([1, 24, 500])}, 0.5)
    document |= maybe(rng, {"due_in": quantity(rng, (1, 4, 48), "h")}, 0.2)
    return document | maybe(rng, {"evidence": some(rng, words.EVIDENCE, 3)}, 0.3)


def shop(rng: random.Random, book: Book) -> dict[str, Any]:
    """One shop document with a few presses and a random part of everything in stock."""
    products, sheets = list(book.catalogue["products"]), list(book.catalogue["consumables"])
    return {
        "id": "random",
        "name": "Random",
        "market": rng.choice(list(book.catalogue["markets"])),
        "unit_system": rng.choice(["metric", "us-customary"]),
        "standing": some(rng, STANDING, 5),
        "presses": [{"id": f"press-{i}"} | press(rng, book) for i in range(rng.randint(1, 4))],
        "stock": {
            "products": sorted(rng.sample(products, rng.randint(1, 12))),
            "consumables": sorted(rng.sample(sheets, rng.randint(0, len(sheets)))),
        },
    }
