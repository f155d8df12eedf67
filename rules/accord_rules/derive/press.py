"""The press: what its surface really reaches, what fits under it, how hard it presses, what it draws."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from math import ceil, floor, inf, pi

from accord_rules.derive.artwork import size_words
from accord_rules.derive.transfer import Needed, interpolate
from accord_rules.documents import units
from accord_rules.orders.order import CalibrationReading, Circuit, Cylinder, Size
from accord_rules.orders.sheet import PRESSURES
from accord_rules.revision.catalogue import (
    CLOSINGS,
    HEATED,
    METERING,
    SHAPES,
    SUBSTRATE_FAMILIES,
    Consumable,
    DwellExtra,
    PressType,
    Transfer,
)
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Ask,
    Scope,
    entries,
    fact,
    later,
    limit,
    limits,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

PRESSING = Scope.PRESSING
_ROUNDING_K = 1e-6  # what turning a display setting to and fro may be off


@fact("press.entry", DATA, PRESSING)
def entry(name: str = source("press/type"), types: Mapping[str, PressType] = entries("press_types")) -> PressType:
    """What the book knows of this type of press."""
    return types[name]


@fact("press.dwell_extra", DATA, PRESSING)
def dwell_extra(usual: PressType = read("press.entry"), substrate: str | None = maybe("item.substrate")) -> DwellExtra:
    """What this type of press adds to a bench press's dwell on such a piece."""
    return usual.dwell_extra_on.get(substrate or "", usual.dwell_extra)


# -- its surface -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Calibration:
    """Surface temperature by display setting: points (display °C, mean surface °C, spread ± K), sorted by display.

    Between points it is linear; beyond the ends the offset and the spread of the end point hold. Further than
    ``near_k`` on the display from every reading a probe told nothing of the spread, nor whether the display is as far
    off there: the widest counts, that of the points, ``usual_spread_k``, the type's, or what reaches to the display.
    """

    points: tuple[tuple[float, float, float], ...]
    measured: bool
    usual_spread_k: float = 0.0
    usual_loss_k: float = 0.0
    near_k: float = inf

    def surface_c(self, display_c: float) -> float:
        return display_c + interpolate([(x, y - x) for x, y, _ in self.points], display_c)

    def spread_k(self, display_c: float) -> float:
        """How far a spot may lie off the curve: unevenness, and how far the whole surface may."""
        if not self.measured or self.probed_near(display_c):
            return self.unevenness_k(display_c)
        return max(self.unevenness_k(display_c), self._to_display_k(display_c))

    def unevenness_k(self, display_c: float) -> float:
        """How far a spot may lie off the mean."""
        spread_k = self._of_points_k(display_c)
        return spread_k if self.probed_near(display_c) else max(spread_k, self.usual_spread_k)

    def _to_display_k(self, display_c: float) -> float:
        """How far the surface may lie off the curve where the readings' offset is only carried to: as far as what the
        display says, or as near to that as the hottest spot of such a press unprobed is taken to come."""
        below_k = round(display_c - self.surface_c(display_c), 6)
        return below_k - max(0.0, self.usual_loss_k - self.usual_spread_k) if below_k > 0 else -below_k

    def _of_points_k(self, display_c: float) -> float:
        return interpolate([(x, spread) for x, _, spread in self.points], display_c)

    def probed_near(self, display_c: float) -> bool:
        """Whether a probe reading was taken near this setting."""
        return self.measured and abs(display_c - self.nearest_c(display_c)) <= self.near_k + _ROUNDING_K

    def nearest_c(self, display_c: float) -> float:
        """The display setting of the point nearest to this one."""
        return min((x for x, _, _ in self.points), key=lambda x: abs(x - display_c))

    @property
    def near_ends_c(self) -> tuple[float, ...]:
        """The display settings where what the readings tell of the spread ends."""
        if not self.measured or self.near_k == inf:
            return ()
        return tuple(x + side * self.near_k for x, _, _ in self.points for side in (-1, 1))

    def spread_source(self, display_c: float, preferences: units.UnitPreferences) -> str:
        """Whose the spread at this setting is, as a clause."""
        if self.probed_near(display_c):
            return "as its own probe readings have it"
        usual = "as is usual for its type"
        if not self.measured:
            return usual

        def shown(kelvin: float) -> str:
            return units.show(units.TEMPERATURE_DIFFERENCE, round(abs(kelvin), 6), preferences)

        nearest_c = self.nearest_c(display_c)
        off_k = nearest_c - self.surface_c(nearest_c)
        where = f"at a display of {units.show(units.TEMPERATURE, nearest_c, preferences)}"
        away = shown(display_c - nearest_c)
        if self._to_display_k(display_c) > self.unevenness_k(display_c):
            side = "below" if off_k > 0 else "above"
            return f"since its nearest probe reading, {where} and {away} away, lay {shown(off_k)} {side} that"
        where = f"{where}, {away} away"
        if self._of_points_k(display_c) > self.usual_spread_k:
            return f"as its nearest probe reading had it, taken {where}"
        return f"{usual}: its nearest probe reading was taken {where}"

    def display_c(self, surface_c: float) -> float:
        """The display setting for a mean surface temperature: the inverse (readings rise with the display)."""
        first, last = self.points[0], self.points[-1]
        if surface_c <= first[1]:
            return round(surface_c - first[1] + first[0], 6)
        for (x0, y0, _), (x1, y1, _) in itertools.pairwise(self.points):
            if surface_c <= y1:
                return round(x0 + (x1 - x0) * (surface_c - y0) / (y1 - y0), 6)
        return round(surface_c - last[1] + last[0], 6)


@fact("press.calibration", DATA, PRESSING)
def calibration(
    readings: tuple[CalibrationReading, ...] = source("press/calibration"),
    usual: PressType = read("press.entry"),
    probe_error_k: float = limit("press.probe_error"),
    near_k: float = limit("press.reading_near"),
) -> Calibration:
    """From the shop's probe readings, else the press type's usual loss and spread; the spread is the type's too, or
    reaches to the display, where no reading is near."""
    if not readings:
        return Calibration(((0.0, -usual.loss, usual.spread),), measured=False)
    return replace(fitted(readings, probe_error_k), usual_spread_k=usual.spread, usual_loss_k=usual.loss, near_k=near_k)


def fitted(readings: Iterable[CalibrationReading], probe_error_k: float) -> Calibration:
    """The curve through probe readings; no spread counts as smaller than what the probe itself may be off."""
    points = []
    for reading in sorted(readings, key=lambda reading: reading.display):
        mean = sum(reading.surface) / len(reading.surface)
        spread = max(abs(spot - mean) for spot in reading.surface)
        points.append((reading.display, mean, max(spread, probe_error_k)))
    return Calibration(tuple(points), measured=True)


@fact("press.calibrated", BOOL, PRESSING)
def calibrated(curve: Calibration = read("press.calibration")) -> bool:
    """Whether the shop has measured its surface with a probe."""
    return curve.measured


@fact("press.calibration_age_d", number(units.COUNT), PRESSING)
def calibration_age_d(age_d: float | None = source("press/calibration_age")) -> float:
    """Days since the oldest of its probe readings; 0 where there are none, or nobody said when."""
    return age_d or 0.0


@fact("press.display_most_c", number(units.TEMPERATURE), PRESSING)
def display_most_c(own: float | None = source("press/display_most"), usual: PressType = read("press.entry")) -> float:
    """The highest display setting."""
    return usual.display_most if own is None else own


@fact("press.spread_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def spread_k(
    curve: Calibration = read("press.calibration"), display_most_c: float = read("press.display_most_c")
) -> float:
    """How far its surface may lie off the curve, plus or minus, at the highest setting's end of it."""
    return float(curve.spread_k(display_most_c))


@fact("press.unevenness_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def unevenness_k(
    curve: Calibration = read("press.calibration"), display_most_c: float = read("press.display_most_c")
) -> float:
    """How far a spot may lie off the mean, plus or minus, at the highest setting, wherever that mean lies."""
    return float(curve.unevenness_k(display_most_c))


@fact("press.top_probed", BOOL, PRESSING)
def top_probed(
    curve: Calibration = read("press.calibration"), display_most_c: float = read("press.display_most_c")
) -> bool:
    """Whether a probe reading was taken near its highest setting."""
    return curve.probed_near(display_most_c)


@fact("press.spread_source", TEXT, PRESSING)
def spread_source(
    curve: Calibration = read("press.calibration"),
    display_most_c: float = read("press.display_most_c"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """Whose its spread at the highest setting is, as a clause: its readings', or its type's as none was taken near."""
    return curve.spread_source(display_most_c, preferences)


@fact("press.reach_c", number(units.TEMPERATURE), PRESSING)
def reach_c(
    curve: Calibration = read("press.calibration"), display_most_c: float = read("press.display_most_c")
) -> float:
    """The mean surface temperature at the highest setting."""
    return float(round(curve.surface_c(display_most_c), 6))


@fact("press.reach_sure_c", number(units.TEMPERATURE), PRESSING)
def reach_sure_c(reach_c: float = read("press.reach_c"), spread_k: float = read("press.spread_k")) -> float:
    """The surface temperature it reaches for sure at the highest setting, spread taken off."""
    return float(round(reach_c - spread_k, 6))


# -- what sort of press ----------------------------------------------------------------------------------------------


@fact("press.type", one_of("press_types"), PRESSING)
def type_(name: str = source("press/type")) -> str:
    """The type of press."""
    return name


def press_in_words(press_id: str, usual: PressType) -> str:
    """A press as people say it, by its id and type."""
    kind = in_a_sentence(usual.title)
    return f"the {kind}" if press_id == "described" else f"{kind} “{press_id}”"


@fact("press.title", TEXT, PRESSING)
def title(press_id: str = source("press/id"), usual: PressType = read("press.entry")) -> str:
    """The press in words: its type, and its name at the shop."""
    return press_in_words(press_id, usual)


@fact("press.shape", one_of(SHAPES), PRESSING)
def shape(usual: PressType = read("press.entry")) -> str:
    """The shape of its platen."""
    return usual.shape


@fact("press.heated", one_of(HEATED), PRESSING)
def heated(usual: PressType = read("press.entry")) -> str:
    """From which side it heats."""
    return usual.heated


@fact("press.closing", one_of(CLOSINGS), PRESSING)
def closing(usual: PressType = read("press.entry")) -> str:
    """How it closes: by hand, hinged, parallel ..."""
    return usual.closing


@fact("press.hand_held", BOOL, PRESSING)
def hand_held(usual: PressType = read("press.entry")) -> bool:
    """Whether it is held by hand."""
    return usual.closing == "hand"


@fact("press.metering", one_of(METERING), PRESSING)
def metering(cylinder: Cylinder | None = source("press/cylinder"), usual: PressType = read("press.entry")) -> str:
    """How its pressure is known: by hand, a knob without a scale, or a gauge."""
    return "gauge" if cylinder is not None else usual.metering


@fact("press.platen", DATA, PRESSING)
def platen(own: Size | None = source("press/platen"), usual: PressType = read("press.entry")) -> Size:
    """Platen width and height."""
    return own or usual.platen


@fact("press.opening_mm", number(units.LENGTH), PRESSING)
def opening_mm(own: float | None = source("press/opening"), usual: PressType = read("press.entry")) -> float:
    """How far it opens."""
    return usual.opening if own is None else own


@fact("press.diameter_least_mm", number(units.LENGTH), PRESSING)
def diameter_least_mm(usual: PressType = read("press.entry")) -> float:
    """The slimmest round ware its wrap closes on; 0 mm for presses without a wrap."""
    return usual.diameter_least or 0.0


@fact("press.takes_words", TEXT, PRESSING)
def takes_words(usual: PressType = read("press.entry")) -> str:
    """What it takes, in words: "ceramic, glass or stone"."""
    *first, last = usual.takes
    return f"{', '.join(first)} or {last}" if first else last


@fact("press.usable", DATA, PRESSING)
def usable(platen: Size = read("press.platen"), usual: PressType = read("press.entry")) -> Size:
    """The part of the platen that heats evenly: inside the edge margin."""
    margin = usual.edge_margin
    return Size(max(platen.width - 2 * margin, 1.0), max(platen.height - 2 * margin, 1.0))


# -- what fits under it ----------------------------------------------------------------------------------------------


@fact("fit.shape_ok", BOOL, PRESSING)
def shape_ok(needed: str = read("item.shape"), usual: PressType = read("press.entry")) -> bool:
    """Whether its platen has the shape the piece needs."""
    return needed == usual.shape


@fact("fit.made_for", BOOL, PRESSING)
def made_for(goods: str | None = maybe("item.family"), usual: PressType = read("press.entry")) -> bool | None:
    """Whether its type takes goods of this family: an oven only what is clamped or wrapped for it."""
    if goods is None:
        return True if set(usual.takes) == set(SUBSTRATE_FAMILIES) else None
    return goods in usual.takes


@fact("fit.plate", DATA, PRESSING)
def plate(
    plates: tuple[Size, ...] = source("press/plates"),
    print_size: Size = read("place.size"),
    whole: bool = read("fit.one_piece"),
    usual: PressType = read("press.entry"),
    margin: float = limit("press.piece_gap"),
) -> Size | None:
    """Of the lower plates that the press can be fitted with, the smallest that holds the whole print with a margin."""

    def holds(size: Size) -> bool:
        return size.width >= print_size.width + 2 * margin and size.height >= print_size.height + 2 * margin

    fitting = [size for size in plates if holds(size)] if whole and usual.shape == "flat" else []
    return min(fitting, key=lambda size: size.width * size.height, default=None)


@fact("fit.plate_words", TEXT, PRESSING)
def plate_words(
    fitted: Size | None = maybe("fit.plate"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """The lower plate to fit, in words; empty where the press stays as it is."""
    return "" if fitted is None else f"the plate of {size_words(fitted, preferences)}"


@fact("fit.usable_words", TEXT, PRESSING)
def usable_words(usable: Size = read("press.usable"), preferences: units.UnitPreferences = source("shop/units")) -> str:
    """The evenly heated part of the platen in words."""
    return size_words(usable, preferences)


@fact("fit.pressings", number(units.COUNT), PRESSING)
def pressings(
    print_size: Size = read("place.size"),
    room: Size = read("press.usable"),
    overlap: float = limit("press.tile_overlap"),
) -> float:
    """How many times the platen has to be set down to cover the print, the print turned if that helps."""
    ways = ((print_size.width, print_size.height), (print_size.height, print_size.width))
    return float(
        min(_tiles(width, room.width, overlap) * _tiles(height, room.height, overlap) for width, height in ways)
    )


def _tiles(length_mm: float, room_mm: float, overlap_mm: float) -> int:
    if length_mm <= room_mm:
        return 1
    return 1 + ceil((length_mm - room_mm) / max(room_mm - overlap_mm, 1.0) - 1e-9)


@fact("fit.overlap_words", TEXT, PRESSING)
def overlap_words(
    overlap_mm: float = limit("press.tile_overlap"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """By how much such settings of the platen overlap, in words."""
    return units.show(units.LENGTH, overlap_mm, preferences)


@fact("fit.gap_words", TEXT, PRESSING)
def gap_words(
    gap_mm: float = limit("press.piece_gap"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """How far apart pieces that are pressed at once lie, in words."""
    return units.show(units.LENGTH, gap_mm, preferences)


@fact("fit.one_piece", BOOL, PRESSING)
def one_piece(count: float = read("fit.pressings")) -> bool:
    """Whether the whole print fits under the evenly heated part of the platen at once."""
    return count == 1


@fact("fit.pieces_per_pressing", number(units.COUNT), PRESSING)
def pieces_per_pressing(
    whole: bool = read("fit.one_piece"),
    rigid: bool = read("item.rigid"),
    brittle: bool | None = maybe("item.brittle"),
    shape: str | None = maybe("item.shape"),
    piece: Size | None = maybe("place.area"),
    piece_open: bool = read("place.area_open"),
    room: Size = read("press.usable"),
    usual: PressType = read("press.entry"),
    cylinder: Cylinder | None = source("press/cylinder"),
    gap: float = limit("press.piece_gap"),
) -> float | None:
    """How many pieces are pressed at once: small stiff ones side by side inside the edge margin, else one.

    One at a time: soft goods; pieces whose outline is not known; brittle ones under a platen, since the thickest would
    bear it all; and wherever the pressure hangs on how much lies under the platen (a cylinder, a hand), since a setting
    for six would crush the one that is left over.
    """
    shares = cylinder is None and usual.hand_force is None
    alike = rigid and (not brittle or usual.closing == "enclosed")
    alike = alike and shape == usual.shape == "flat"
    if whole and alike and shares and piece_open:
        return None
    if not (whole and alike and shares) or piece is None:
        return 1.0
    ways = ((piece.width, piece.height), (piece.height, piece.width))
    return float(max(1, *(_beside(room.width, w, gap) * _beside(room.height, h, gap) for w, h in ways)))


@fact("fit.at_once", number(units.COUNT), PRESSING)
def at_once(most: float = read("fit.pieces_per_pressing"), quantity: float = read("order.quantity")) -> float:
    """How many pieces lie under the platen in a full load of this order."""
    return min(most, quantity)


@fact("fit.gang_dwell_share", number(units.PERCENT), PRESSING)
def gang_dwell_share(
    count: float | None = maybe("fit.at_once"),
    piece: Size | None = maybe("place.area"),
    room: Size = read("press.usable"),
    whole_load: float = limit("press.gang_dwell_share"),
) -> float:
    """By how much pieces pressed at once prolong the dwell: their cold mass draws the platen down, a full load most."""
    if count is None or count < 2 or piece is None:
        return 0.0
    return round(whole_load * min(1.0, count * piece.width * piece.height / (room.width * room.height)), 6)


@fact("fit.jig_words", TEXT, PRESSING)
def jig_words(
    count: float | None = maybe("fit.at_once"),
    piece: Size | None = maybe("place.area"),
    gap: str = read("fit.gap_words"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """What holds pieces that are pressed at once, in words; empty for one at a time."""
    if count is None or count < 2 or piece is None:
        return ""
    return f"a frame of card or board thinner than the pieces, with {count:.0f} openings of their size {gap} apart"


def _beside(room_mm: float, piece_mm: float, gap_mm: float) -> int:
    """How many fit in a row, a gap between each two."""
    return floor((room_mm + gap_mm) / (piece_mm + gap_mm) + 1e-9)


@fact("fit.stack_mm", number(units.LENGTH), PRESSING)
def stack_mm(
    piece_mm: float = read("item.thickness_mm"),
    needed: Needed = read("transfer.needed"),
    transfer: Transfer = read("transfer.entry"),
    cloth: bool | None = maybe("item.textile"),
    kind: str | None = maybe("item.kind"),
    consumables: Mapping[str, Consumable] = entries("consumables"),
) -> float:
    """How thick the stack is: piece, carrier and print, cover sheet and pad."""
    sheets = [names[0] for names in (needed.cover, needed.pad) if names]
    extra = sum(consumables[name].thickness for name in sheets)
    layers = 2 if cloth and kind in ("garment", "bag") else 1
    return float(round(piece_mm * layers + transfer.thickness + extra, 6))


# -- how hard it presses ---------------------------------------------------------------------------------------------


@fact("fit.contact_m2", DATA, PRESSING)
def contact_m2(
    heated: Size = read("press.platen"),
    fitted: Size | None = maybe("fit.plate"),
    print_size: Size = read("place.size"),
    rigid: Callable[[], bool | None] = later("item.rigid"),
    area: Callable[[], Size | None] = later("place.area"),
    area_open: Callable[[], bool] = later("place.area_open"),
) -> float | None:
    """The area the platen bears on: that of the lower plate where it is fitted with one; a stiff piece smaller than it
    bears it all on itself."""
    platen = fitted or heated
    stiff = rigid()
    if stiff is None:
        return None
    if not stiff:
        return float(platen.width * platen.height * 1e-6)
    if area_open():
        return None
    piece = area() or print_size
    return float(min(platen.width, piece.width) * min(platen.height, piece.height) * 1e-6)


@fact("press.bands_kpa", DATA, PRESSING)
def bands_kpa(
    bands: Mapping[str, float] = limits(
        "pressure.light_least",
        "pressure.light_most",
        "pressure.medium_least",
        "pressure.medium_most",
        "pressure.firm_least",
        "pressure.firm_most",
    ),
) -> Mapping[str, tuple[float, float]]:
    """The trade's words for pressure, softest first, with the least and the most that each means."""
    return {word: (bands[f"pressure.{word}_least"], bands[f"pressure.{word}_most"]) for word in PRESSURES}


@fact("fit.pressure_most_kpa", number(units.PRESSURE), PRESSING)
def pressure_most_kpa(
    contact_m2: float = read("fit.contact_m2"),
    usual: PressType = read("press.entry"),
    cylinder: Cylinder | None = source("press/cylinder"),
    bands_kpa: Mapping[str, tuple[float, float]] = read("press.bands_kpa"),
) -> float:
    """The most pressure on the print: from line pressure, bore and contact area, from the hand's force, or usual."""
    if cylinder is not None:
        return on_print_kpa(cylinder, cylinder.line_most, contact_m2)
    if usual.hand_force is not None:
        return float(round(usual.hand_force / contact_m2 / 1000, 6))
    return bands_kpa[usual.pressure_most][1]


def on_print_kpa(cylinder: Cylinder, line_kpa: float, contact_m2: float) -> float:
    """Pressure on the print for a gauge reading: F = p x A over the area it bears on."""
    force_n = line_kpa * 1000 * pi / 4 * (cylinder.bore / 1000) ** 2 * cylinder.count
    return float(round(force_n / contact_m2 / 1000, 6))


def line_kpa(cylinder: Cylinder, print_kpa: float, contact_m2: float) -> float:
    """The gauge reading for a pressure on the print, held within what the line gives."""
    line = print_kpa * contact_m2 / (pi / 4 * (cylinder.bore / 1000) ** 2 * cylinder.count)
    return float(min(max(line, cylinder.line_least), cylinder.line_most))


# -- what it draws ---------------------------------------------------------------------------------------------------


@fact("press.circuit_given", BOOL, PRESSING)
def circuit_given(circuit: Circuit | None = source("press/circuit")) -> bool:
    """Whether the shop has said which circuit the press runs on."""
    return circuit is not None


_CIRCUIT = Ask(
    "/press",
    "Which circuit does the press run on? Have the shop record its rating and voltage, and the press's nameplate"
    " voltage, or describe the press with them.",
    of_blocks=True,
)


@fact("press.circuit_share", number(units.PERCENT), PRESSING, _CIRCUIT)
def circuit_share(
    circuit: Circuit | None = source("press/circuit"),
    own_w: float | None = source("press/power"),
    usual: PressType = read("press.entry"),
) -> float | None:
    """How much of the circuit's rating the press and what else runs on it draw, percent."""
    if circuit is None:
        return None
    power = own_w if own_w is not None else usual.power
    return round(100 * (power + circuit.other_load) / (circuit.rating * circuit.watts_per_ampere), 6)


@fact("press.circuit_words", TEXT, PRESSING)
def circuit_words(
    circuit: Circuit | None = source("press/circuit"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """The circuit in words: "15 A at 120 V", "16 A at 400 V, three-phase"."""
    if circuit is None:
        return ""
    rating = units.show(units.CURRENT, circuit.rating, preferences)
    phases = ", three-phase" if circuit.three_phase else ""
    return f"{rating} at {units.show(units.VOLTAGE, circuit.voltage, preferences)}{phases}"


@fact("press.mains_share", number(units.PERCENT), PRESSING, _CIRCUIT)
def mains_share(
    circuit: Circuit | None = source("press/circuit"), nameplate_v: float | None = source("press/voltage")
) -> float | None:
    """The circuit's voltage as percent of the nameplate's."""
    if circuit is None or nameplate_v is None:
        return None
    return round(100 * circuit.voltage / nameplate_v, 6)


@fact("press.voltage_mismatch", BOOL, PRESSING)
def voltage_mismatch(
    share: float | None = maybe("press.mains_share"), off_most: float = limit("electric.voltage_off_most")
) -> bool:
    """Whether its nameplate voltage differs from the circuit's by more than mains varies."""
    return share is not None and abs(share - 100) > off_most


@fact("press.voltage_words", TEXT, PRESSING)
def voltage_words(
    nameplate_v: float | None = source("press/voltage"), preferences: units.UnitPreferences = source("shop/units")
) -> str:
    """The nameplate voltage in words."""
    return "" if nameplate_v is None else units.show(units.VOLTAGE, nameplate_v, preferences)
