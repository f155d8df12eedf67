"""The press: what its surface really reaches, what fits under it, how hard it presses, what it draws."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor, pi

from accord_rules.derive.artwork import size_words
from accord_rules.derive.case import Case
from accord_rules.documents import units
from accord_rules.orders.order import CalibrationReading, Size
from accord_rules.revision.catalogue import CLOSINGS, HEATED, METERING, SHAPES
from accord_rules.revision.facts import BOOL, DATA, TEXT, Ask, Scope, fact, number, one_of
from accord_rules.revision.sentences import in_a_sentence

PRESSING = Scope.PRESSING


@dataclass(frozen=True, slots=True)
class Calibration:
    """Surface temperature by display setting: points (display °C, mean surface °C, spread ± K), sorted by display.

    Between points it is linear; beyond the ends the offset and the spread of the end point hold.
    """

    points: tuple[tuple[float, float, float], ...]
    measured: bool

    def surface_c(self, display_c: float) -> float:
        return display_c + self._at(display_c, 1)

    def spread_k(self, display_c: float) -> float:
        return self._at(display_c, 2)

    def display_c(self, surface_c: float) -> float:
        """The display setting for a mean surface temperature: the inverse (readings rise with the display)."""
        first, last = self.points[0], self.points[-1]
        if surface_c <= first[1]:
            return round(surface_c - first[1] + first[0], 6)
        for (x0, y0, _), (x1, y1, _) in zip(self.points, self.points[1:], strict=False):
            if surface_c <= y1:
                return round(x0 + (x1 - x0) * (surface_c - y0) / (y1 - y0), 6)
        return round(surface_c - last[1] + last[0], 6)

    def _at(self, display_c: float, column: int) -> float:
        """Interpolated offset (column 1) or spread (column 2)."""
        values = [(x, (y - x) if column == 1 else spread) for x, y, spread in self.points]
        if display_c <= values[0][0]:
            return values[0][1]
        for (x0, v0), (x1, v1) in itertools.pairwise(values):
            if display_c <= x1:
                return v0 + (v1 - v0) * (display_c - x0) / (x1 - x0)
        return values[-1][1]


@fact("press.calibration", DATA, PRESSING)
def calibration(case: Case) -> Calibration:
    """From the shop's probe readings, else the press type's usual loss and spread."""
    press, usual = case.press, case.press_type
    if not press.calibration:
        return Calibration(((0.0, -usual.loss, usual.spread),), measured=False)
    return fitted(press.calibration, case.limit("press.probe_error"))


def fitted(readings: Iterable[CalibrationReading], probe_error_k: float) -> Calibration:
    """The curve through probe readings; no spread counts as smaller than what the probe itself may be off."""
    points = []
    for reading in sorted(readings, key=lambda each: each.display):
        mean = sum(reading.surface) / len(reading.surface)
        spread = max(abs(each - mean) for each in reading.surface)
        points.append((reading.display, mean, max(spread, probe_error_k)))
    return Calibration(tuple(points), measured=True)


@fact("press.type", one_of("press_types"), PRESSING)
def type_(case: Case) -> str:
    """The type of press."""
    return case.press.type


@fact("press.title", TEXT, PRESSING)
def title(case: Case) -> str:
    """The press in words: its name at the shop and its type."""
    kind = in_a_sentence(case.press_type.title)
    if case.press.id == "described":
        return f"the {kind}"
    return case.press.id if case.press.id.replace("-", " ") in kind.replace("-", " ") else f"{case.press.id} ({kind})"


@fact("press.shape", one_of(SHAPES), PRESSING)
def shape(case: Case) -> str:
    """The shape of its platen."""
    return case.press_type.shape


@fact("press.heated", one_of(HEATED), PRESSING)
def heated(case: Case) -> str:
    """From which side it heats."""
    return case.press_type.heated


@fact("press.closing", one_of(CLOSINGS), PRESSING)
def closing(case: Case) -> str:
    """How it closes: by hand, hinged, parallel ..."""
    return case.press_type.closing


@fact("press.hand_held", BOOL, PRESSING)
def hand_held(case: Case) -> bool:
    """Whether it is held by hand."""
    return case.press_type.closing == "hand"


@fact("press.metering", one_of(METERING), PRESSING)
def metering(case: Case) -> str:
    """How its pressure is known: by hand, a knob without a scale, or a gauge."""
    return "gauge" if case.press.cylinder is not None else case.press_type.metering


@fact("press.calibrated", BOOL, PRESSING)
def calibrated(case: Case) -> bool:
    """Whether the shop has measured its surface with a probe."""
    return bool(case["press.calibration"].measured)


@fact("press.calibration_age_d", number(units.COUNT), PRESSING)
def calibration_age_d(case: Case) -> float:
    """Days since the oldest of its probe readings; 0 where there are none, or nobody said when."""
    return case.press.calibration_age or 0.0


@fact("press.display_most_c", number(units.TEMPERATURE), PRESSING)
def display_most_c(case: Case) -> float:
    """The highest display setting."""
    return case.press.display_most if case.press.display_most is not None else case.press_type.display_most


@fact("press.spread_k", number(units.TEMPERATURE_DIFFERENCE), PRESSING)
def spread_k(case: Case) -> float:
    """How far its surface may lie off its mean, plus or minus, at the highest setting's end of the curve."""
    return float(case["press.calibration"].spread_k(case["press.display_most_c"]))


@fact("press.reach_c", number(units.TEMPERATURE), PRESSING)
def reach_c(case: Case) -> float:
    """The mean surface temperature at the highest setting."""
    return float(round(case["press.calibration"].surface_c(case["press.display_most_c"]), 6))


@fact("press.reach_sure_c", number(units.TEMPERATURE), PRESSING)
def reach_sure_c(case: Case) -> float:
    """The surface temperature it reaches for sure at the highest setting, spread taken off."""
    return float(round(case["press.reach_c"] - case["press.spread_k"], 6))


@fact("press.platen", DATA, PRESSING)
def platen(case: Case) -> Size:
    """Platen width and height."""
    return case.press.platen or case.press_type.platen


@fact("press.opening_mm", number(units.LENGTH), PRESSING)
def opening_mm(case: Case) -> float:
    """How far it opens."""
    return case.press.opening if case.press.opening is not None else case.press_type.opening


@fact("fit.shape_ok", BOOL, PRESSING)
def shape_ok(case: Case) -> bool | None:
    """Whether its platen has the shape the piece needs."""
    needed = case["item.shape"]
    return None if needed is None else needed == case.press_type.shape


@fact("press.diameter_least_mm", number(units.LENGTH), PRESSING)
def diameter_least_mm(case: Case) -> float:
    """The slimmest round ware its wrap closes on; 0 mm for presses without a wrap."""
    return case.press_type.diameter_least or 0.0


@fact("press.takes_words", TEXT, PRESSING)
def takes_words(case: Case) -> str:
    """What it is made for, in words: "ceramic, glass or stone"."""
    *first, last = case.press_type.takes or ("anything of its shape",)
    return f"{', '.join(first)} or {last}" if first else last


@fact("fit.made_for", BOOL, PRESSING)
def made_for(case: Case) -> bool | None:
    """Whether its type takes goods of this family: a platen takes whatever has its shape, ovens and wraps do not."""
    takes, goods = case.press_type.takes, case["item.family"]
    return True if not takes else None if goods is None else goods in takes


@fact("press.usable", DATA, PRESSING)
def usable(case: Case) -> Size:
    """The part of the platen that heats evenly: inside the edge margin."""
    found, margin = case["press.platen"], case.press_type.edge_margin
    return Size(max(found.width - 2 * margin, 1.0), max(found.height - 2 * margin, 1.0))


@fact("fit.usable_words", TEXT, PRESSING)
def usable_words(case: Case) -> str:
    """The evenly heated part of the platen in words."""
    found = case["press.usable"]
    return size_words(case, found.width, found.height)


@fact("fit.pressings", number(units.COUNT), PRESSING)
def pressings(case: Case) -> float | None:
    """How many times the platen has to be set down to cover the print, the print turned if that helps."""
    print_size, room = case["place.size"], case["press.usable"]
    if print_size is None:
        return None
    overlap = case.limit("press.tile_overlap")
    ways = ((print_size.width, print_size.height), (print_size.height, print_size.width))
    return float(
        min(_tiles(width, room.width, overlap) * _tiles(height, room.height, overlap) for width, height in ways)
    )


def _tiles(length_mm: float, room_mm: float, overlap_mm: float) -> int:
    if length_mm <= room_mm:
        return 1
    return 1 + ceil((length_mm - room_mm) / max(room_mm - overlap_mm, 1.0) - 1e-9)


@fact("fit.one_piece", BOOL, PRESSING)
def one_piece(case: Case) -> bool | None:
    """Whether the whole print fits under the evenly heated part of the platen at once."""
    count = case["fit.pressings"]
    return None if count is None else count == 1


@fact("fit.pieces_per_pressing", number(units.COUNT), PRESSING)
def pieces_per_pressing(case: Case) -> float | None:
    """How many pieces are pressed at once: small stiff ones side by side inside the edge margin, else one.

    One at a time: soft goods; pieces whose outline is not known; brittle ones under a platen, since the thickest would
    bear it all; and wherever the pressure hangs on how much lies under the platen (a cylinder, a hand), since a setting
    for six would crush the one that is left over.
    """
    whole, rigid, piece = case["fit.one_piece"], case["item.rigid"], case["place.area"]
    if whole is None or rigid is None:
        return None
    shares = case.press.cylinder is None and case.press_type.hand_force is None
    alike = rigid and (not case["item.brittle"] or case.press_type.closing == "enclosed")
    alike = alike and case["item.shape"] == case.press_type.shape == "flat"
    if not (whole and alike and shares) or piece is None:
        return 1.0
    room, gap = case["press.usable"], case.limit("press.piece_gap")
    ways = ((piece.width, piece.height), (piece.height, piece.width))
    return float(max(1, *(_beside(room.width, w, gap) * _beside(room.height, h, gap) for w, h in ways)))


def _beside(room_mm: float, piece_mm: float, gap_mm: float) -> int:
    """How many fit in a row, a gap between each two."""
    return floor((room_mm + gap_mm) / (piece_mm + gap_mm) + 1e-9)


@fact("fit.stack_mm", number(units.LENGTH), PRESSING)
def stack_mm(case: Case) -> float | None:
    """How thick the stack is: piece, carrier and print, cover sheet and pad."""
    piece, needed = case["item.thickness_mm"], case["transfer.needed"]
    if piece is None or needed is None or case.transfer is None:
        return None
    sheets = [names[0] for names in (needed.cover, needed.pad) if names]
    extra = sum(case.entry("consumables", name).thickness for name in sheets)
    layers = 2 if case["item.textile"] and case["item.kind"] in ("garment", "bag") else 1
    return float(round(piece * layers + case.transfer.thickness + extra, 6))


@fact("fit.contact_m2", DATA, PRESSING)
def contact_m2(case: Case) -> float | None:
    """The area the platen bears on: a stiff piece smaller than the platen bears it all on itself."""
    found, print_size = case["press.platen"], case["place.size"]
    if print_size is None or case["item.rigid"] is None:
        return None
    if not case["item.rigid"]:
        return float(found.width * found.height * 1e-6)
    piece = case["place.area"] or print_size
    return float(min(found.width, piece.width) * min(found.height, piece.height) * 1e-6)


@fact("fit.pressure_most_kpa", number(units.PRESSURE), PRESSING)
def pressure_most_kpa(case: Case) -> float | None:
    """The most pressure on the print: from line pressure, bore and contact area, from the hand's force, or usual."""
    contact, usual = case["fit.contact_m2"], case.press_type
    if contact is None:
        return None
    cylinder = case.press.cylinder
    if cylinder is not None:
        return float(round(_force_n(case, cylinder.line_most) / contact / 1000, 6))
    if usual.hand_force is not None:
        return float(round(usual.hand_force / contact / 1000, 6))
    return case.limit(f"pressure.{usual.pressure_most}_most")


def _force_n(case: Case, line_kpa: float) -> float:
    """F = p x A: what the cylinders bring to bear at a line pressure."""
    cylinder = case.press.cylinder
    if cylinder is None:
        raise ValueError("only a press with a cylinder has a line pressure")
    return line_kpa * 1000 * pi / 4 * (cylinder.bore / 1000) ** 2 * cylinder.count


def pressure_on_print_kpa(case: Case, line_kpa: float) -> float | None:
    """Pressure on the print for a gauge reading; None without a cylinder's bore or a contact area."""
    contact = case["fit.contact_m2"]
    if case.press.cylinder is None or contact is None:
        return None
    return float(round(_force_n(case, line_kpa) / contact / 1000, 6))


def line_pressure_kpa(case: Case, print_kpa: float) -> float | None:
    """The gauge reading for a pressure on the print, held within what the line gives."""
    cylinder, contact = case.press.cylinder, case["fit.contact_m2"]
    if cylinder is None or contact is None:
        return None
    line = print_kpa * contact / (pi / 4 * (cylinder.bore / 1000) ** 2 * cylinder.count)
    return float(min(max(line, cylinder.line_least), cylinder.line_most))


@fact("press.circuit_given", BOOL, PRESSING)
def circuit_given(case: Case) -> bool:
    """Whether the shop has said which circuit the press runs on."""
    return case.press.circuit is not None


_CIRCUIT = Ask(
    "/press",
    "Which circuit does the press run on? Have the shop record its rating and voltage, and the press's nameplate"
    " voltage, or describe the press with them.",
    of_blocks=True,
)


@fact("press.circuit_share", number(units.PERCENT), PRESSING, _CIRCUIT)
def circuit_share(case: Case) -> float | None:
    """How much of the circuit's rating the press and what else runs on it draw, percent."""
    circuit = case.press.circuit
    if circuit is None:
        return None
    power = case.press.power if case.press.power is not None else case.press_type.power
    return round(100 * (power + circuit.other_load) / (circuit.rating * circuit.voltage), 6)


@fact("press.circuit_words", TEXT, PRESSING)
def circuit_words(case: Case) -> str:
    """The circuit in words: "15 A at 120 V"."""
    circuit = case.press.circuit
    if circuit is None:
        return ""
    return f"{case.show(units.CURRENT, circuit.rating)} at {case.show(units.VOLTAGE, circuit.voltage)}"


@fact("press.mains_share", number(units.PERCENT), PRESSING, _CIRCUIT)
def mains_share(case: Case) -> float | None:
    """The circuit's voltage as percent of the nameplate's."""
    circuit, nameplate = case.press.circuit, case.press.voltage
    if circuit is None or nameplate is None:
        return None
    return round(100 * circuit.voltage / nameplate, 6)


@fact("press.voltage_mismatch", BOOL, PRESSING)
def voltage_mismatch(case: Case) -> bool:
    """Whether its nameplate voltage differs from the circuit's by more than mains varies."""
    share = case["press.mains_share"]
    return share is not None and abs(share - 100) > case.limit("electric.voltage_off_most")


@fact("press.voltage_words", TEXT, PRESSING)
def voltage_words(case: Case) -> str:
    """The nameplate voltage in words."""
    return "" if case.press.voltage is None else case.show(units.VOLTAGE, case.press.voltage)
