"""The maker's sheet in force for a transfer, what it says here, and what physics leaves.

The order's own sheet beats the shop's, and that (for the product, then for its family) the book's. What a sheet leaves
out is the product's in the book, else the family's practice.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from accord_rules.derive.transfer import NO_PRESS_AIMS, Needed, OfStock, practice_of, sheet_of
from accord_rules.documents import units
from accord_rules.orders.order import NONE
from accord_rules.orders.sheet import SECOND, Sheet, TemperatureSpan, TimeSpan, pressings_said
from accord_rules.revision.catalogue import (
    DwellExtra,
    MainPressing,
    PressType,
    PressureWindow,
    TemperatureWindow,
    TimeWindow,
    Transfer,
    dwell_bounds_of,
    second_press_of,
)
from accord_rules.revision.facts import (
    BOOL,
    DATA,
    TEXT,
    Scope,
    entries,
    fact,
    later,
    limit,
    maybe,
    number,
    one_of,
    read,
    source,
)
from accord_rules.revision.sentences import in_a_sentence

DECORATION, PRESSING = Scope.DECORATION, Scope.PRESSING
BY = ("none", "book", "shop", "order")


class InForce(NamedTuple):
    """The sheet of order or shop that counts (an empty one where there is none), and the product's in the book.

    ``by``: whose it is. ``own``: what the product's own says of the main pressing here; the other beats it.
    ``stocked``: whether ``sheet`` is of what the shop has of a family that the order names.
    """

    by: str
    sheet: Sheet
    own: MainPressing
    own_edition: str | None
    stocked: bool = False

    @property
    def left_to_own(self) -> tuple[str, ...]:
        """The settings that the product's own sheet decides."""
        return tuple(
            name
            for name in Needed._fields
            if getattr(self.own, name, None) is not None and getattr(self.sheet, name, None) is None
        )

    @property
    def says(self) -> frozenset[str]:
        """The settings that either of them decides."""
        said = (name for name in Needed._fields if getattr(self.sheet, name, None) is not None)
        return frozenset((*said, *self.left_to_own))


_NOTHING = Sheet()


@fact("sheet.in_force", DATA, DECORATION, blamed=("transfer.family",))
def in_force(
    entry: Transfer = read("transfer.entry"),
    name: str | None = source("/decorations/{i}/transfer"),
    ordered: Sheet | None = source("/decorations/{i}/sheet"),
    stocked: Mapping[str, Sheet] = source("shop/stock/sheets"),
    substrate: str | None = maybe("item.substrate"),
    goods: str | None = maybe("item.family"),
    dyed_over: bool | None = maybe("layer.dyed_over"),
    into: Transfer | None = maybe("ground.film"),
    of_stock: OfStock | None = maybe("transfer.of_stock"),
) -> InForce:
    """The maker's sheet that counts here, and whose it is. Of a film whose dye is a print of its own, only what it says
    of the film's pressing counts; what a product of dye has of its own is meant for cloth, not for such a film.

    Of a family, what all that the shop has of it wants counts as its own, and the shop's sheet for that as its sheet:
    hot where its film is peeled warm spoils it.
    """
    product = entry.sheet if into is None else None
    own = MainPressing() if into is not None else sheet_of(entry, substrate or "", goods or "")
    edition = None if product is None else product.edition
    counted = of_stock if into is None and ordered is None else None
    if counted is not None:
        own, edition = counted.said, counted.edition
    of_name = stocked.get(name or "") or stocked.get(entry.family)
    in_stock = counted.sheet if of_name is None and counted is not None else of_name
    for by, sheet in (("order", ordered), ("shop", in_stock)):
        if sheet is not None:
            said = _of_film(sheet) if dyed_over and entry.unprinted is not None else sheet
            return InForce(by, said, own, edition, stocked=by == "shop" and of_name is None)
    by_book = product is not None or (counted is not None and counted.said != MainPressing())
    return InForce("book" if by_book else "none", _NOTHING, own, edition)


def _of_film(sheet: Sheet) -> Sheet:
    """What a sheet says of the film alone: its tack."""
    tack = sheet.pressings.tack if sheet.pressings is not None else None
    film = Sheet(read_at=sheet.read_at, press=sheet.press, edition=sheet.edition)
    if tack is None:
        return film
    return replace(
        film,
        temperature=tack.temperature,
        time=tack.time,
        pressure=tack.pressure,
        peel=None if tack.peel is None else (tack.peel,),
        cover=None if tack.cover is None else (() if tack.cover == NONE else (tack.cover,)),
    )


@fact("sheet.by", one_of(BY), DECORATION)
def by(sheet: InForce = read("sheet.in_force")) -> str:
    """Whose sheet counts: the order's, the shop's, the book's of this product; none where only practice does."""
    return sheet.by


def _says(name: str, about: str) -> None:
    def says(sheet: InForce = read("sheet.in_force")) -> bool:
        return name in sheet.says

    fact(f"sheet.{name}_said", BOOL, DECORATION, about=f"Whether a maker's sheet says {about}.")(says)


_says("temperature", "how hot")
_says("time", "how long")
_says("peel", "how the carrier comes off")


# -- what it comes to here -------------------------------------------------------------------------------------------


class Reading(NamedTuple):
    """How a sheet's display temperatures and dwells are turned to a bench press's surface and dwell."""

    loss_k: float
    spread_k: float
    dwell_extra_s: float
    single_off: float

    def surfaces_c(self, span: TemperatureSpan) -> tuple[float, float]:
        """Its ends as a bench press's surface has them."""
        return span.least - self.loss_k, span.most - self.loss_k

    def dwells_s(self, span: TimeSpan) -> tuple[float, float]:
        """Its ends on a bench press."""
        return max(1.0, span.least - self.dwell_extra_s), max(1.0, span.most - self.dwell_extra_s)

    def window(self, span: TemperatureSpan) -> TemperatureWindow:
        """Surface temperatures of whoever follows it, on presses that are off as presses are."""
        low, high = self.surfaces_c(span)
        return TemperatureWindow(low - self.spread_k, (low + high) / 2, high + self.spread_k)

    def dwell(self, span: TimeSpan) -> TimeWindow:
        least, most = self.dwells_s(span)
        off = self.single_off if span.least == span.most else 0.0
        return TimeWindow(round(least * (1 - off), 6), (least + most) / 2, round(most * (1 + off), 6))


@fact("sheet.reading", DATA, DECORATION)
def reading(
    in_force: InForce = read("sheet.in_force"),
    types: Mapping[str, PressType] = entries("press_types"),
    bench_loss_k: float = limit("sheet.bench_loss"),
    bench_spread_k: float = limit("sheet.bench_spread"),
    single_off: float = limit("sheet.single_time_off"),
) -> Reading:
    """How the sheet's figures are read: at a bench press's display, unless it names another press or the surface."""
    sheet = in_force.sheet
    written_for = types.get(sheet.press or "")
    loss_k = written_for.loss if written_for else bench_loss_k
    return Reading(
        0.0 if sheet.read_at == "surface" else loss_k,
        written_for.spread if written_for else bench_spread_k,
        written_for.dwell_extra.aim if written_for else 0.0,
        single_off / 100,
    )


@fact("sheet.press_fits", BOOL, DECORATION)
def press_fits(
    in_force: InForce = read("sheet.in_force"),
    types: Mapping[str, PressType] = entries("press_types"),
    shape: Callable[[], str | None] = later("item.shape"),
    goods: Callable[[], str | None] = later("item.family"),
) -> bool | None:
    """Whether the press that the sheet is written for, if it names one, takes such pieces."""
    written_for = types.get(in_force.sheet.press or "")
    if written_for is None:
        return True
    needed, family = shape(), goods()
    return None if needed is None or family is None else needed == written_for.shape and family in written_for.takes


@fact("sheet.press_title", TEXT, DECORATION)
def press_title(
    in_force: InForce = read("sheet.in_force"), types: Mapping[str, PressType] = entries("press_types")
) -> str:
    """The press that the sheet is written for, in words."""
    return in_a_sentence(types[in_force.sheet.press].title) if in_force.sheet.press else "a bench press"


@fact("transfer.needed", DATA, DECORATION, blamed=("transfer.family",))
def needed(
    entry: Transfer = read("transfer.entry"),
    substrate: str = read("item.substrate"),
    goods: str | None = maybe("item.family"),
    polyester: float | None = maybe("item.cloth_polyester"),
    in_force: InForce = read("sheet.in_force"),
    reading: Reading = read("sheet.reading"),
    into: Transfer | None = maybe("ground.film"),
) -> Needed:
    """Windows, peel, cover and pad for this transfer on this substrate, as the sheet has them, else as is usual; dye
    that goes into a film is pressed as the film wants it."""
    sheet = in_force.sheet
    usual = practice_of(
        entry if into is None else into,
        substrate,
        goods or "",
        polyester,
        said=in_force.own if into is None else None,
    )
    changes: dict[str, Any] = {
        name: getattr(sheet, name) for name in ("peel", "cover", "pad") if getattr(sheet, name) is not None
    }
    if entry.backing and not sheet.cover:  # it lies bare under the platen, whatever a sheet says
        changes.pop("cover", None)
    if sheet.temperature is not None:
        changes["temperature"] = reading.window(sheet.temperature)
    if sheet.time is not None:
        changes |= {"time": reading.dwell(sheet.time), "aim_by_size": ()}
    if sheet.temperature is not None or sheet.time is not None:
        changes["by_press"] = NO_PRESS_AIMS
    if sheet.pressure is not None:
        changes["pressure"] = PressureWindow(sheet.pressure, sheet.pressure, sheet.pressure)
    return usual._replace(**changes)


@fact("transfer.second_press_s", number(units.TIME), DECORATION, blamed=("transfer.family",))
def second_press_s(
    entry: Transfer = read("transfer.entry"),
    in_force: InForce = read("sheet.in_force"),
    reading: Reading = read("sheet.reading"),
    once: bool | None = maybe("item.pressed_once"),
) -> float:
    """The second press it wants here, from the reverse or again; 0 s for none. Where the piece is pressed once, only a
    sheet asks for it."""
    sheet = in_force.sheet
    if sheet.second_press is not None:
        return sheet.second_press
    for name in pressings_said(sheet.pressings):
        time = getattr(sheet.pressings, name).time
        if name in SECOND and time is not None:
            return reading.dwell(time).aim
    own = None if entry.sheet is None else entry.sheet.second_press
    return 0.0 if once and own is None else second_press_of(entry)


@fact("transfer.needs_second_press", BOOL, DECORATION)
def needs_second_press(second_s: float = read("transfer.second_press_s")) -> bool:
    """Whether it wants a second press."""
    return second_s > 0


# -- in words --------------------------------------------------------------------------------------------------------


@fact("sheet.words", TEXT, DECORATION)
def words(
    in_force: InForce = read("sheet.in_force"),
    needed: Needed = read("transfer.needed"),
    title: str | None = maybe("transfer.title"),
    of_stock: OfStock | None = maybe("transfer.of_stock"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """The sheet and its numbers: "your sheet: 160 °C, 20 s, hot"; the product's own too, where it decides the rest.

    Of a family that is meant by what the shop has of it, that is named.
    """
    of = title if of_stock is None else f"what you stock, {of_stock.title}"
    own = _named(f"the sheet of {of}", in_force.own_edition, _own_figures(in_force.left_to_own, needed, preferences))
    if in_force.by not in ("order", "shop"):
        return own
    whose = "your sheet" if in_force.by == "order" else f"the shop's sheet for {of if in_force.stocked else title}"
    first = _named(whose, in_force.sheet.edition, _figures(in_force.sheet, preferences))
    return f"{first}; {own}" if in_force.left_to_own else first


def _named(whose: str, edition: str | None, figures: Iterator[str]) -> str:
    dated = f" ({edition})" if edition else ""
    return f"{whose}{dated}: {', '.join(figures) or 'nothing on this'}"


def _figures(sheet: Sheet, preferences: units.UnitPreferences) -> Iterator[str]:
    if sheet.temperature is not None:
        at = " at the surface" if sheet.read_at == "surface" else ""
        yield span_words(units.TEMPERATURE, sheet.temperature, preferences) + at
    if sheet.time is not None:
        yield span_words(units.TIME, sheet.time, preferences)
    if sheet.pressure is not None:
        yield sheet.pressure
    if sheet.peel is not None:
        yield _peels(sheet.peel)


def _own_figures(names: Collection[str], needed: Needed, preferences: units.UnitPreferences) -> Iterator[str]:
    """What the book's sheet of the product decides; its windows are those that are needed then."""
    if "temperature" in names:
        yield span_words(units.TEMPERATURE, needed.temperature, preferences) + " at the surface"
    if "time" in names:
        yield span_words(units.TIME, needed.time, preferences)
    if "pressure" in names:
        yield " to ".join(dict.fromkeys((needed.pressure.least, needed.pressure.most)))
    if "peel" in names:
        yield _peels(needed.peel)


def _peels(peel: tuple[str, ...]) -> str:
    return " or ".join(peel).replace("none", "nothing to peel")


def span_words(dimension: units.Dimension, span: Any, preferences: units.UnitPreferences) -> str:
    """From ``span.least`` to ``span.most``, or the one figure that they are."""
    least, most = (units.show(dimension, end, preferences) for end in (span.least, span.most))
    return least if least == most else f"{least} to {most}"


# -- what physics leaves ---------------------------------------------------------------------------------------------


@fact("bounds.dwell", DATA, DECORATION)
def dwell_bounds(
    entry: Transfer = read("transfer.entry"),
    substrate: str = read("item.substrate"),
    goods: str | None = maybe("item.family"),
) -> TimeSpan:
    """What physics leaves of the dwell on a bench press, on this substrate."""
    return dwell_bounds_of(entry, substrate, goods or "")


@fact("bounds.least_c", number(units.TEMPERATURE), DECORATION)
def bounds_least_c(entry: Transfer = read("transfer.entry")) -> float:
    """The surface temperature below which the transfer can't work."""
    return entry.bounds.temperature.least


@fact("bounds.most_c", number(units.TEMPERATURE), DECORATION)
def bounds_most_c(entry: Transfer = read("transfer.entry")) -> float:
    """The surface temperature above which the transfer is spoilt."""
    return entry.bounds.temperature.most


@fact("bounds.cold", TEXT, DECORATION)
def bounds_cold(entry: Transfer = read("transfer.entry")) -> str:
    """What becomes of it below its bounds, as a clause."""
    return entry.bounds.cold


@fact("bounds.hot", TEXT, DECORATION)
def bounds_hot(entry: Transfer = read("transfer.entry")) -> str:
    """What becomes of it above its bounds, as a clause."""
    return entry.bounds.hot


@fact("bounds.time_low_s", number(units.TIME), PRESSING)
def bounds_time_low_s(bounds: TimeSpan = read("bounds.dwell"), extra: DwellExtra = read("press.dwell_extra")) -> float:
    """The dwell below which it can't work, with what this type of press adds."""
    return bounds.least + extra.least


@fact("bounds.time_high_s", number(units.TIME), PRESSING)
def bounds_time_high_s(bounds: TimeSpan = read("bounds.dwell"), extra: DwellExtra = read("press.dwell_extra")) -> float:
    """The dwell above which it is spoilt, with what this type of press adds."""
    return bounds.most + extra.most


@fact("sheet.against_bounds", DATA, DECORATION)
def against_bounds(
    in_force: InForce = read("sheet.in_force"),
    reading: Reading = read("sheet.reading"),
    entry: Transfer = read("transfer.entry"),
    dwell: TimeSpan = read("bounds.dwell"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> tuple[str, ...]:
    """What of the sheet lies where physics forbids it, a clause with numbers each."""
    sheet, bounds, harms = in_force.sheet, entry.bounds, (entry.bounds.cold, entry.bounds.hot)
    clauses: list[str] = []
    if sheet.temperature is not None:
        surfaces_c = reading.surfaces_c(sheet.temperature)
        clauses += _beyond(units.TEMPERATURE, surfaces_c, bounds.temperature, harms, preferences)
    if sheet.time is not None:
        clauses += _beyond(units.TIME, reading.dwells_s(sheet.time), dwell, harms, preferences)
    if sheet.peel == ("none",) and entry.carrier != "none":
        clauses.append(f"it says that nothing is peeled, and the {entry.carrier} that carries the print would stay on")
    return tuple(clauses)


def _beyond(
    dimension: units.Dimension,
    ends: tuple[float, float],
    bounds: TemperatureSpan | TimeSpan,
    harms: tuple[str, str],
    preferences: units.UnitPreferences,
) -> Iterator[str]:
    (low, high), at = ends, " at the surface" if dimension is units.TEMPERATURE else " on a bench press"

    def shown(value: float) -> str:
        return units.show(dimension, value, preferences)

    if low < bounds.least:
        yield f"it comes to {shown(low)}{at}, and below {shown(bounds.least)} {harms[0]}"
    if high > bounds.most:
        yield f"it comes to {shown(high)}{at}, and above {shown(bounds.most)} {harms[1]}"


@fact("sheet.beyond_bounds", BOOL, DECORATION)
def beyond_bounds(clauses: tuple[str, ...] = read("sheet.against_bounds")) -> bool:
    """Whether the sheet of order or shop says what physics forbids."""
    return bool(clauses)


@fact("sheet.beyond_words", TEXT, DECORATION)
def beyond_words(clauses: tuple[str, ...] = read("sheet.against_bounds")) -> str:
    """What of it physics forbids, with the numbers."""
    return "; ".join(clauses)
