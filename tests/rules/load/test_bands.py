"""Every quantity of the catalogue has a plausible band: on its ends it loads, beyond them it is refused by name.

What is plausible is this project's own decision; ``accord_rules.load.bands`` says from where.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import pytest

from accord_rules.documents import units
from accord_rules.documents.files import BookError, merge, shipped
from accord_rules.documents.reading import (
    Many,
    Object,
    Quantity,
    Reader,
    Table,
    Text,
    optional,
    read,
    readers_of,
    required,
)
from accord_rules.governance.changes import EntryChange, check, entry_digest
from accord_rules.load import bands
from accord_rules.load.bands import (
    AREA_BANDS,
    BANDS,
    DIAMETER,
    MASS_BANDS,
    SUBSTRATE_BANDS,
    Band,
    implausible,
    unbanded,
)
from accord_rules.load.loader import from_documents
from accord_rules.orders.order import PIECE_KINDS
from accord_rules.orders.sheet import BESIDE_MAIN
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS, SUBSTRATE_FAMILIES

Path = tuple[str, ...]


def quantity_fields(cls: type) -> Iterator[tuple[Path, units.Dimension]]:
    """The quantities of a class as its readers declare them; "*" for the key of a table or the place in a list."""
    for name, (reader, _) in readers_of(cls).items():
        for path, dimension in _read_by(reader):
            yield (name, *path), dimension


def _read_by(reader: Reader) -> Iterator[tuple[Path, units.Dimension]]:
    match reader:
        case Quantity(dimension=dimension):
            yield (), dimension
        case Object(into=into):
            yield from quantity_fields(into)
        case Table(value=item) | Many(item=item):
            yield from ((("*", *path), dimension) for path, dimension in _read_by(item))


def band_cases() -> Iterator[tuple[str, str, Path, units.Dimension, Band]]:
    """Kind, family or kind of blank, path, dimension and the band that is meant for it."""
    for kind, cls in KINDS.items():
        for path, dimension in quantity_fields(cls):
            named = tuple(part for part in path if part != "*")
            if kind == "substrates":
                yield from ((kind, f, path, dimension, SUBSTRATE_BANDS[f][named[0]]) for f in SUBSTRATE_FAMILIES)
            elif kind == "blanks" and named[0] == "areas":
                yield from ((kind, of, path, dimension, AREA_BANDS[of]) for of in PIECE_KINDS)
            elif kind == "blanks":
                bands = {
                    ("mass_per_area",): MASS_BANDS,
                    ("thickness",): {family: of["thickness"] for family, of in SUBSTRATE_BANDS.items()},
                    ("diameter",): dict.fromkeys(SUBSTRATE_FAMILIES, DIAMETER),
                }[named]
                yield from ((kind, family, path, dimension, bands[family]) for family in SUBSTRATE_FAMILIES)
            else:
                near = [BANDS[kind].get(".".join(named[:count])) for count in range(len(named), 0, -1)]
                yield kind, "", path, dimension, next(band for band in near if band is not None)


CASES = tuple(band_cases())


def test_there_is_a_case_for_every_quantity() -> None:
    assert {case[0] for case in CASES} == set(KINDS) - {"advice", "not_covered"}, "words hold no quantities"
    # Counted by hand in catalogue.py; pressures of transfers are words, ages and percents plain numbers.
    of_kinds = {kind: len({case[2] for case in CASES if case[0] == kind}) for kind in KINDS}
    assert of_kinds == {
        "fibres": 1,
        "substrates": 6,
        "coatings": 1,
        "finishes": 1,
        "transfers": 114,  # 84 of them in bounds, the five pressings of a process, and a sheet
        "products": 114,
        "consumables": 3,
        "press_types": 18,
        "blanks": 5,
        "practice": 7,
        "markets": 22,
        "migration": 3,
        "advice": 0,
        "not_covered": 0,
    }


@pytest.fixture(scope="module")
def documents() -> dict[str, dict[str, Any]]:
    return copy.deepcopy({kind: dict(entries) for kind, entries in shipped().items()})


def table_of(documents: dict[str, dict[str, Any]], kind: str, family: str) -> tuple[dict[str, Any], str]:
    """A shipped entry's table, made whole and of the family or kind that is asked for; and its family."""
    if kind in ("transfers", "products"):
        timed = {"on": {"metal": {"by_press": {"hand-held": {"time": "70 s"}}}}}
        table = merge({"family": "dye-sublimation"}, merge(documents["transfers"]["dye-sublimation"], timed))
        return table | {"reheat_limit": "150 °C"} | _process_and_sheet(), ""
    if kind == "blanks":
        table = documents[kind]["tee-heavy-white"] | {"kind": family if family in PIECE_KINDS else "garment"}
        return table | {"thickness": "3 mm", "mass_per_area": "5000 g/m2"}, family if family in MASS_BANDS else "cloth"
    if kind == "markets":  # no one market has every row
        return {row: table for market in documents[kind].values() for row, table in market.items()}, ""
    if kind == "substrates":
        return documents[kind]["knit"] | {"family": family}, family
    name = {
        "press_types": "mug-oven-wrap",
        "coatings": "pvc",
        "finishes": "ptfe-membrane",
        "practice": "panel-200-dye",
    }.get(kind)
    return dict(documents[kind][name or next(iter(documents[kind]))]), ""


def _process_and_sheet() -> dict[str, Any]:
    heat, dwell = "150 °C", "10 s"
    window = {
        "temperature": dict.fromkeys(("least", "aim", "most"), heat),
        "time": dict.fromkeys(("least", "aim", "most"), dwell),
    }
    process = {name: {"sources": ["common-practice"]} | copy.deepcopy(window) for name in BESIDE_MAIN}
    span = {"temperature": {"least": heat, "most": heat}, "time": {"least": dwell, "most": dwell}}
    bounds = copy.deepcopy(span) | {"cold": "it stays", "hot": "it goes", "sources": ["common-practice"]}
    film = {"carrier": "film", "bounds": bounds}
    on = {"leather": copy.deepcopy(window)}
    sheet = {"sources": ["common-practice"], "pressings": copy.deepcopy(process), "on": on} | copy.deepcopy(window)
    return {"process": process, "unprinted": film, "sheet": sheet}


def put(table: dict[str, Any], path: Path, value: str) -> str:
    """Write one quantity into a table, at the first key or place where the path leaves it open; its pointer."""
    place: Any = table
    taken: list[Any] = []
    for step in path[:-1]:
        key = step
        if step == "*":
            key = 0 if isinstance(place, list) else _first(place, path[path.index("*", len(taken)) + 1])
        taken.append(key)
        place = place[key]
    last = 0 if path[-1] == "*" else path[-1]
    place[last] = value
    return "/" + "/".join(str(step) for step in (*taken, last))


def _first(place: dict[str, Any], wanted: str) -> str:
    """The first variant, press type or area that has the field."""
    return next(key for key, field in place.items() if wanted in field)


@pytest.mark.parametrize(
    ("kind", "family", "path", "dimension", "band"), CASES, ids=[f"{c[0]}-{c[1]}-{'.'.join(c[2])}" for c in CASES]
)
def test_on_its_ends_a_quantity_is_taken_and_beyond_them_refused(
    kind: str, family: str, path: Path, dimension: units.Dimension, band: Band, documents: dict[str, dict[str, Any]]
) -> None:
    ends = {"most": units.parse(dimension, band.most)} | (
        {"least": units.parse(dimension, band.least)} if band.least else {}
    )
    for end, value in ends.items():
        beyond = value + (1 if end == "most" else -1) * (abs(value) * 0.01 or 1)
        for amount, refused in ((value, False), (beyond, True)):
            whole, of = table_of(documents, kind, family)
            table = copy.deepcopy(whole)
            pointer = put(table, path, f"{amount:.6f} {dimension.symbol}")
            faults = [
                fault.message for fault in implausible(kind, read(KINDS[kind], table), of) if fault.pointer == pointer
            ]
            assert bool(faults) is refused, (amount, faults)
            if refused:
                assert units.show(dimension, amount) in faults[0]
                assert band.most in faults[0]


SLIPS = {
    "an apron of 6 kg/m²": ("blanks", "apron-twill-black", ("mass_per_area",), "6000 g/m2", "15 g/m2 to 2500 g/m2"),
    "a metal panel 1 cm thick": ("blanks", "metal-panel-200x300", ("thickness",), "1 cm", "0.1 mm to 6 mm"),
    "an area of 400 cm": ("blanks", "tee-heavy-white", ("areas", "front", "width"), "400 cm", "10 mm to 1.2 m"),
    "a film 1 cm thick": ("transfers", "cut-film", ("thickness",), "1 cm", "5 µm to 5 mm"),
    "a product that is pressed for 1 h": ("products", "film-soft-matte", ("sheet", "time"), "1 h", "1 s to 30 min"),
    "a press of 100 kW": ("press_types", "clamshell", ("power",), "100 kW", "100 W to 25 kW"),
    "aluminium that conducts like cloth": (
        "substrates",
        "aluminium-sheet",
        ("conductivity",),
        "0.16 W/(m K)",
        "10 W/(m K) to 420 W/(m K)",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_the_loader_and_proposals_refuse_a_slip_of_the_unit(slip: str, documents: dict[str, dict[str, Any]]) -> None:
    kind, name, path, value, band = SLIPS[slip]
    changed = {**documents, "rules": {}, kind: copy.deepcopy(documents[kind])}
    window = {"least": "1 s", "aim": value, "most": value}
    put(changed[kind][name], path, window if path[-1] == "time" else value)
    with pytest.raises(BookError) as refused:
        from_documents(changed)
    # A family's products take its values over, so that they are told too.
    assert refused.value.reasons[0].startswith(f"{kind}.toml: {name}: /{'/'.join(path)}")
    # What is pressed for an hour is beyond what physics leaves as well.
    slips = [reason for reason in refused.value.reasons if "reaches beyond the bounds" not in reason]
    assert slips
    assert all("is not plausible" in reason and band in reason for reason in slips)

    change = EntryChange(kind, name, changed[kind][name], entry_digest(documents, kind, name))
    with pytest.raises(BookError) as refused:
        check({**documents, "rules": {}}, (change,))
    assert any("is not plausible" in reason and band in reason for reason in refused.value.reasons)


def test_uncommon_but_real_pieces_load(documents: dict[str, dict[str, Any]]) -> None:
    """Wood, MDF and blocks of acrylic come 1 cm thick and more, where a metal panel does not."""
    blanks = copy.deepcopy(documents["blanks"])
    for name in ("mdf-sign-coated", "block-timber-oak", "keyring-acrylic-clear"):
        blanks[name]["thickness"] = "1 cm"
    loaded = from_documents({**documents, "rules": {}, "blanks": blanks})
    assert loaded.catalogue["blanks"]["mdf-sign-coated"].thickness == 10.0


def test_every_shipped_entry_is_plausible(book: Book) -> None:
    substrates, blanks = book.catalogue["substrates"], book.catalogue["blanks"]
    checked = [
        (kind, name, list(implausible(kind, entry, getattr(entry, "family", ""))))
        for kind, entries in book.catalogue.items()
        if kind != "blanks"
        for name, entry in entries.items()
    ]
    checked += [
        ("blanks", n, list(implausible("blanks", e, substrates[e.substrate].family))) for n, e in blanks.items()
    ]
    assert len(checked) > 300
    assert [entry for entry in checked if entry[2]] == []


@dataclass(frozen=True)
class Part:
    """A part with a quantity that has no band."""

    depth: float = required(Quantity(units.LENGTH))


@dataclass(frozen=True)
class Brim:
    """An entry with a field that nobody gave a band, in itself and in a table of its parts."""

    brim: float | None = optional(Quantity(units.LENGTH))
    parts: Mapping[str, Part] = optional(Table(Text(40), Object(Part)), MappingProxyType({}))


def test_a_field_without_a_band_is_told_whether_used_or_not(
    documents: dict[str, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert unbanded(KINDS) == ()
    unbanded_fields = (
        "catalogue.Brim.brim has no band (load/bands.py)",
        "catalogue.Part.depth has no band (load/bands.py)",
    )
    for kind in ("blanks", "substrates", "consumables"):
        assert unbanded({kind: Brim}) == unbanded_fields
    monkeypatch.setattr(bands, "BANDS", {**BANDS, "coatings": {}})
    with pytest.raises(BookError) as refused:
        from_documents({**documents, "rules": {}})
    assert "catalogue.Coating.limit has no band (load/bands.py)" in refused.value.reasons
