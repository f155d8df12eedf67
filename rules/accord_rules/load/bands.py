"""The plausible band of each quantity of the catalogue: outside it, a unit or a digit has slipped.

Bands are wide on purpose: they refuse an apron of 6 kg/m², a metal panel 1 cm thick or a printable area 4 m wide, not
an uncommon piece. What a piece is made of bears on them, so some are told apart by family or kind. Plain numbers
(percent, years, ranks) have their bounds in their readers in ``catalogue``.

Sources: for conductivity, density and heat capacity the spans of handbook tables (CRC Handbook of Chemistry and
Physics; VDI Heat Atlas, part D), widened and from memory; all else is common practice, no source. They come with the
code, since a proposal that could move them would guard nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Fault, Many, Object, Quantity, Reader, Table, escape, readers_of
from accord_rules.orders.sheet import BESIDE_MAIN


@dataclass(frozen=True, slots=True)
class Band:
    """From ``least`` to ``most``, both included, as people write them; no ``least``: from nothing on."""

    most: str
    least: str = ""

    def bounds(self, dimension: units.Dimension) -> tuple[float, float]:
        """In the dimension's inside unit."""
        return _bounds(self.least, self.most, dimension.name)


@cache
def _bounds(least: str, most: str, name: str) -> tuple[float, float]:
    dimension = units.DIMENSIONS[name]
    return units.parse(dimension, least) if least else 0.0, units.parse(dimension, most)


def _from(least: str, most: str) -> Band:
    return Band(most, least)


# Platen surface temperatures and dwells at which anything is pressed, and heat that what is on a piece may bear.
_WINDOW = _from("80 °C", "260 °C")
_DWELL = _from("1 s", "30 min")
_BEARS = _from("40 °C", "300 °C")
# Across round ware, from a pen to a stockpot.
DIAMETER = _from("6 mm", "400 mm")

# Bodies that laws on cords count, and plasticisers by mass.
_CORDS = _from("500 mm", "2 m")
_PLASTICISERS = _from("0.01 %", "2 %")


def _of_pressings(holder: str) -> Mapping[str, Band]:
    return {
        f"{holder}.{name}.{field}": band
        for name in BESIDE_MAIN
        for field, band in (("temperature", _WINDOW), ("time", _DWELL))
    }


_TRANSFER: Mapping[str, Band] = MappingProxyType(
    {
        "temperature": _WINDOW,
        "time": _DWELL,
        "on.temperature": _WINDOW,
        "on.time": _DWELL,
        "on.aim_by_size.longer_side": _from("20 mm", "2 m"),
        "on.aim_by_size.time": _DWELL,
        "by_polyester.temperature": _WINDOW,
        "by_press.temperature": _WINDOW,
        "by_press.time": _DWELL,
        "on.by_press.temperature": _WINDOW,
        "on.by_press.time": _DWELL,
        "second_press": Band("1 min"),
        "thickness": _from("5 µm", "5 mm"),
        "finest_line": _from("0.05 mm", "10 mm"),
        "wash_limit": _from("20 °C", "95 °C"),
        "care.first_wash": _from("1 h", "168 h"),
        "reheat_limit": _from("80 °C", "260 °C"),
        "dose.at": _from("50 °C", "230 °C"),
        "dose.time": _from("1 s", "5 min"),
        "dose.halved_by": _from("3 K", "40 K"),
        "bounds.temperature": _WINDOW,
        "bounds.time": _DWELL,
        "unprinted.bounds.temperature": _WINDOW,
        "unprinted.bounds.time": _DWELL,
        "on.dwell_bounds": _DWELL,
        **_of_pressings("process"),
        "sheet.temperature": _WINDOW,
        "sheet.time": _DWELL,
        "sheet.on.temperature": _WINDOW,
        "sheet.on.time": _DWELL,
        "sheet.pre_press": Band("1 min"),
        "sheet.second_press": Band("1 min"),
        **_of_pressings("sheet.pressings"),
    }
)

# Kind of entry -> quantity, named by its fields -> band. A name covers all quantities below it.
BANDS: Mapping[str, Mapping[str, Band]] = MappingProxyType(
    {
        "fibres": {"harmful_from": _from("50 °C", "500 °C")},
        "substrates": {},
        "coatings": {"limit": _BEARS},
        "finishes": {"limit": _BEARS},
        "transfers": _TRANSFER,
        "products": _TRANSFER,
        "consumables": {
            "limit": _from("100 °C", "400 °C"),
            "thickness": _from("0.02 mm", "40 mm"),
            "conductivity": _from("0.02 W/(m K)", "2 W/(m K)"),
        },
        "press_types": {
            "loss": Band("30 K"),
            "spread": Band("30 K"),
            "dwell_extra": Band("30 min"),
            "dwell_extra_on": Band("30 min"),
            "display_most": _from("150 °C", "300 °C"),
            "platen": _from("40 mm", "2 m"),
            "edge_margin": _from("1 mm", "60 mm"),
            "opening": _from("5 mm", "600 mm"),
            "diameter_least": DIAMETER,
            "power": _from("100 W", "25 kW"),
            "handling": _from("2 s", "10 min"),
            "time_step": _from("0.1 s", "10 s"),
            "hand_force": _from("20 N", "1 kN"),
        },
        "blanks": {},
        "practice": {
            "temperature": _WINDOW,
            "time": _DWELL,
            "thickness": _from("0.05 mm", "40 mm"),
            "size": _from("5 mm", "2.5 m"),
            "pre_press": Band("2 min"),
            "second_press": Band("1 min"),
        },
        "markets": {
            "hood_cords.height_most": _CORDS,
            "hood_cord_ends.height_most": _CORDS,
            "waist_cords.height_most": _CORDS,
            "waist_cords.out_most": _from("20 mm", "300 mm"),
            "small_parts.across": _from("20 mm", "50 mm"),
            "magnets.flux_index_under": _from("10 kG²mm²", "200 kG²mm²"),
            "lead": _from("5 ppm", "1000 ppm"),
            "nickel.release_most": _from("0.05 µg/cm²/week", "2 µg/cm²/week"),
            "cadmium": _from("5 ppm", "1000 ppm"),
            "azo_dyes.most": _from("5 ppm", "300 ppm"),
            "cloth_metals.most": _from("0.1 ppm", "300 ppm"),
            "fluorine.most": _from("1 ppm", "1000 ppm"),
            "toy_phthalates.most": _PLASTICISERS,
            "skin_phthalates.most": _PLASTICISERS,
            "clothing_fire.plain_from": _from("40 g/m2", "300 g/m2"),
            "food_contact": _from("0.01 mg/l", "10 mg/l"),
            "plug_fuse.rating": _from("3 A", "16 A"),
            "plug_fuse.long_load_most": _from("2 A", "16 A"),
            "plug_fuse.voltage": _from("100 V", "250 V"),
        },
        "migration": {"fine": _WINDOW, "caution": _WINDOW, "most": _WINDOW},
        "advice": {},
        "not_covered": {},
    }
)


def _material(thickness: Band, limit: Band, conductivity: Band, density: Band, heat_capacity: Band) -> dict[str, Band]:
    return {
        "thickness": thickness,
        "diameter": DIAMETER,
        "limit": limit,
        "conductivity": conductivity,
        "density": density,
        "heat_capacity": heat_capacity,
    }


# Family of substrates -> what one of them may be. Wood, MDF and blocks of acrylic come 1 cm thick; metal does not.
# Foamed and fluted plastic, rubber and board are mostly air.
SUBSTRATE_BANDS: Mapping[str, Mapping[str, Band]] = MappingProxyType(
    {
        "cloth": _material(
            _from("0.05 mm", "40 mm"),
            _from("80 °C", "300 °C"),
            _from("0.02 W/(m K)", "0.3 W/(m K)"),
            _from("10 kg/m3", "1000 kg/m3"),
            _from("900 J/(kg K)", "2000 J/(kg K)"),
        ),
        "leather": _material(
            _from("0.2 mm", "6 mm"),
            _from("60 °C", "200 °C"),
            _from("0.05 W/(m K)", "0.4 W/(m K)"),
            _from("400 kg/m3", "1600 kg/m3"),
            _from("800 J/(kg K)", "2500 J/(kg K)"),
        ),
        "metal": _material(
            _from("0.1 mm", "6 mm"),
            _from("150 °C", "500 °C"),
            _from("10 W/(m K)", "420 W/(m K)"),
            _from("1700 kg/m3", "9000 kg/m3"),
            _from("350 J/(kg K)", "1050 J/(kg K)"),
        ),
        "wood": _material(
            _from("0.4 mm", "60 mm"),
            _from("120 °C", "260 °C"),
            _from("0.05 W/(m K)", "0.4 W/(m K)"),
            _from("150 kg/m3", "1300 kg/m3"),
            _from("1000 J/(kg K)", "2900 J/(kg K)"),
        ),
        "cork": _material(
            _from("0.8 mm", "30 mm"),
            _from("120 °C", "220 °C"),
            _from("0.03 W/(m K)", "0.1 W/(m K)"),
            _from("100 kg/m3", "600 kg/m3"),
            _from("1300 J/(kg K)", "2200 J/(kg K)"),
        ),
        "stone": _material(
            _from("2 mm", "40 mm"),
            _from("150 °C", "400 °C"),
            _from("0.5 W/(m K)", "8 W/(m K)"),
            _from("1800 kg/m3", "3200 kg/m3"),
            _from("600 J/(kg K)", "1200 J/(kg K)"),
        ),
        "ceramic": _material(
            _from("1.5 mm", "15 mm"),
            _from("150 °C", "600 °C"),
            _from("0.5 W/(m K)", "5 W/(m K)"),
            _from("1700 kg/m3", "2800 kg/m3"),
            _from("700 J/(kg K)", "1200 J/(kg K)"),
        ),
        "glass": _material(
            _from("1 mm", "20 mm"),
            _from("100 °C", "400 °C"),
            _from("0.7 W/(m K)", "1.5 W/(m K)"),
            _from("2200 kg/m3", "3000 kg/m3"),
            _from("600 J/(kg K)", "1000 J/(kg K)"),
        ),
        "plastic": _material(
            _from("0.1 mm", "25 mm"),
            _from("50 °C", "300 °C"),
            _from("0.03 W/(m K)", "0.6 W/(m K)"),
            _from("100 kg/m3", "2300 kg/m3"),
            _from("800 J/(kg K)", "2500 J/(kg K)"),
        ),
        "rubber": _material(
            _from("0.3 mm", "30 mm"),
            _from("60 °C", "300 °C"),
            _from("0.03 W/(m K)", "1.5 W/(m K)"),
            _from("50 kg/m3", "2500 kg/m3"),
            _from("900 J/(kg K)", "2300 J/(kg K)"),
        ),
        "paper": _material(
            _from("0.05 mm", "4 mm"),
            _from("120 °C", "250 °C"),
            _from("0.04 W/(m K)", "0.3 W/(m K)"),
            _from("100 kg/m3", "1500 kg/m3"),
            _from("1100 J/(kg K)", "1700 J/(kg K)"),
        ),
    }
)
# Family of a blank's substrate -> its mass per area; its thickness is bounded as its substrate's is.
MASS_BANDS: Mapping[str, Band] = MappingProxyType(
    {
        "cloth": _from("15 g/m2", "2500 g/m2"),
        "leather": _from("150 g/m2", "6000 g/m2"),
        "metal": _from("250 g/m2", "50000 g/m2"),
        "wood": _from("200 g/m2", "60000 g/m2"),
        "cork": _from("100 g/m2", "15000 g/m2"),
        "stone": _from("4000 g/m2", "90000 g/m2"),
        "ceramic": _from("3000 g/m2", "40000 g/m2"),
        "glass": _from("2000 g/m2", "60000 g/m2"),
        "plastic": _from("100 g/m2", "50000 g/m2"),
        "rubber": _from("100 g/m2", "60000 g/m2"),
        "paper": _from("50 g/m2", "4000 g/m2"),
    }
)
# Kind of blank -> a side of its printable areas.
AREA_BANDS: Mapping[str, Band] = MappingProxyType(
    {
        "garment": _from("10 mm", "1.2 m"),
        "headwear": _from("10 mm", "400 mm"),
        "bag": _from("10 mm", "1 m"),
        "homeware": _from("10 mm", "2.5 m"),
        "hard-good": _from("10 mm", "2 m"),
        "drinkware": _from("5 mm", "400 mm"),
        "paper-good": _from("10 mm", "1.2 m"),
        "accessory": _from("5 mm", "2 m"),
    }
)


def _bands_of(kind: str, kind_of_blank: str, family: str) -> Mapping[str, Band]:
    """The bands of one entry. ``family``: the substrate's, or that of the blank's substrate; of no matter elsewhere."""
    if kind == "substrates":
        return SUBSTRATE_BANDS[family]
    if kind == "blanks":
        thickness = SUBSTRATE_BANDS[family]["thickness"]
        return {
            "thickness": thickness,
            "diameter": DIAMETER,
            "mass_per_area": MASS_BANDS[family],
            "areas": AREA_BANDS[kind_of_blank],
        }
    return BANDS[kind]


def implausible(kind: str, entry: Any, family: str = "") -> Iterator[Fault]:
    """Which quantities of an entry lie outside their bands, each with its field, value and band.

    Raises KeyError for a quantity that has no band, which ``unbanded`` tells before.
    """
    bands = _bands_of(kind, entry.kind if kind == "blanks" else "", family)
    for pointer, name, dimension, value in _quantities(entry):
        band = bands[next((covering for covering in _covering(name) if covering in bands), name)]
        least, most = band.bounds(dimension)
        if not least <= value <= most:
            of = f" for {family}" if kind in ("substrates", "blanks") and not pointer.startswith("/areas") else ""
            span = f"from {band.least or 'nothing'} to {band.most}"
            yield Fault(pointer, f"{units.show(dimension, value)} is not plausible{of} ({span})", code="out-of-range")


def unbanded(kinds: Mapping[str, type]) -> tuple[str, ...]:
    """The fields of the catalogue's classes that hold quantities and have no band, whether or not an entry has them."""
    family, blanks = next(iter(SUBSTRATE_BANDS)), next(iter(AREA_BANDS))
    reasons = (
        f"catalogue.{cls.__name__}.{field} has no band (load/bands.py)"
        for kind, of in kinds.items()
        for cls, field, name in _quantity_fields(of)
        if _bands_of(kind, blanks, family).keys().isdisjoint(_covering(name))
    )
    return tuple(dict.fromkeys(reasons))


def _quantity_fields(cls: type, name: str = "") -> Iterator[tuple[type, str, str]]:
    """Class, field and name of each quantity that an entry of a class may have."""
    for field, (reader, _) in readers_of(cls).items():
        dotted = f"{name}.{field}" if name else field
        while isinstance(reader, Many | Table):
            reader = reader.item if isinstance(reader, Many) else reader.value
        if isinstance(reader, Quantity):
            yield cls, field, dotted
        elif isinstance(reader, Object):
            yield from _quantity_fields(reader.into, dotted)


def _covering(name: str) -> Iterator[str]:
    """The name, and those of the groups of fields that it stands in, nearest first."""
    parts = name.split(".")
    for count in range(len(parts), 0, -1):
        yield ".".join(parts[:count])


def _quantities(entry: Any, pointer: str = "", name: str = "") -> Iterator[tuple[str, str, units.Dimension, float]]:
    """Pointer, name, dimension and value of each quantity of an entry; keys of tables are no part of the name."""
    cls: type = type(entry)
    for field, reader in _measured(cls):
        if (value := getattr(entry, field)) is not None:
            dotted = f"{name}.{field}" if name else field
            yield from _quantities_read_by(reader, value, f"{pointer}/{field}", dotted)


@cache
def _measured(cls: type) -> tuple[tuple[str, Reader], ...]:
    """The fields of a class that may hold quantities, themselves or in what lies in them."""
    return tuple((field, reader) for field, (reader, _) in readers_of(cls).items() if _may_measure(reader))


def _may_measure(reader: Reader) -> bool:
    match reader:
        case Object(into=into):
            return bool(_measured(into))
        case Many(item=inner) | Table(value=inner):
            return _may_measure(inner)
    return isinstance(reader, Quantity)


def _quantities_read_by(
    reader: Reader, value: Any, pointer: str, name: str
) -> Iterator[tuple[str, str, units.Dimension, float]]:
    if value is None:
        return
    match reader:
        case Quantity(dimension=dimension):
            yield pointer, name, dimension, value
        case Object():
            yield from _quantities(value, pointer, name)
        case Many(item=item):
            for index, element in enumerate(value):
                yield from _quantities_read_by(item, element, f"{pointer}/{index}", name)
        case Table(value=item):
            for key, element in value.items():
                yield from _quantities_read_by(item, element, f"{pointer}/{escape(key)}", name)
