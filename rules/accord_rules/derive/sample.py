"""Samples that the shop has on record: which one this pressing repeats, and what it says for it or against it.

A sample that came out well has shown that the piece bore the heat and that the print held, so it stands for a pressing
that is neither hotter nor longer, nor so much cooler or shorter that the hold is another question. One that came out
badly speaks against a pressing that would do the same again. Of those that speak, the last one pressed counts.

It is no more than an order's own sample test, and less: rules that block read ``order.evidence`` alone. The one
on dwells far beyond what is usual reads ``sample.recorded``: a record tells how long was pressed, an order's word not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from accord_rules.derive.item import substrate as substrate_of
from accord_rules.derive.press import Calibration, on_print_kpa
from accord_rules.derive.transfer import Needed
from accord_rules.documents import units
from accord_rules.documents.colour import read_colour
from accord_rules.orders.order import NO_LABEL, Care, Cylinder
from accord_rules.orders.sheet import Sheet
from accord_rules.orders.shop import Sample, SamplePiece
from accord_rules.revision.catalogue import Blank, Transfer
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
    read,
    source,
)

ORDER, DECORATION, PRESSING = Scope.ORDER, Scope.DECORATION, Scope.PRESSING
_OPEN = ("set.open",)
OWN_SAMPLE = "sample-test"  # the evidence by which an order says that it has its own
LEANING = ("sample.held", "sample.rested")  # what rules ask that such evidence, or a sample on record, may lift
# What more heat would have cured, and what it did: the first is likely again when pressed no harder, the second no
# milder. Of the rest nobody knows, so that they speak of the same settings alone.
LET_GO = frozenset({"did-not-bond", "peeled"})
HARMED = frozenset({"blistered", "damaged-item", "ghosted", "marked-item", "migrated", "scorched", "warped"})
_CHECKED = 1e-6  # what turning a temperature to and fro may be off


# -- the piece -------------------------------------------------------------------------------------------------------


def _completed(piece: SamplePiece, blank: Blank | None) -> SamplePiece:
    """The piece with what its blank says of it; bare and plain where neither says a coating or a finish."""
    colour = piece.colour if piece.colour is not None or blank is None else blank.colour
    shown = None if colour is None else read_colour(colour)

    def known(field: str) -> Any:
        said = getattr(piece, field)
        return said if said is not None or blank is None else getattr(blank, field)

    return replace(
        piece,
        substrate=substrate_of(piece.substrate, blank),
        fibres=piece.fibres or (blank.fibres if blank is not None else None) or {},
        colour=None if shown is None else shown.hex,
        coating=known("coating") or "none",
        finishes=tuple(sorted(known("finishes") or ())),
        **{field: known(field) for field in ("dye", "mass_per_area", "thickness", "diameter", "care")},
    )


def _measured(piece: SamplePiece) -> tuple[float | None, ...]:
    return piece.mass_per_area, piece.thickness, piece.diameter


def _unmeasured(piece: SamplePiece) -> SamplePiece:
    return replace(piece, mass_per_area=None, thickness=None, diameter=None, care=None)


def same_piece(one: SamplePiece, other: SamplePiece, off_most: float) -> bool:
    """Whether two completed pieces are one: the same blank or description. What is measured may be off by a share where
    both say it; a care label may be left out by the order, ``other``."""
    if _unmeasured(one) != _unmeasured(other):
        return False
    label: str | Care | None = other.care
    return label in (None, NO_LABEL, one.care) and all(
        a is None or b is None or abs(a - b) <= a * off_most
        for a, b in zip(_measured(one), _measured(other), strict=True)
    )


@fact("sample.of_piece", DATA, ORDER)
def of_piece(
    samples: tuple[Sample, ...] = source("shop/samples"),
    name: str | None = source("/item/blank"),
    substrate: str | None = source("/item/substrate"),
    fibres: Mapping[str, float] | None = source("/item/fibres"),
    colour: str | None = source("/item/colour"),
    coating: str | None = source("/item/coating"),
    finishes: tuple[str, ...] | None = source("/item/finishes"),
    dye: str | None = source("/item/dye"),
    mass_per_area: float | None = source("/item/mass_per_area"),
    thickness: float | None = source("/item/thickness"),
    diameter: float | None = source("/item/diameter"),
    care: str | Care | None = source("/item/care"),
    already: tuple[str, ...] | None = source("/item/already"),
    blanks: Mapping[str, Blank] = entries("blanks"),
    off_most: float = limit("sample.measure_off_most"),
) -> tuple[Sample, ...]:
    """The shop's samples that were pressed on such a piece; none on one that carries a print already, where a sample
    lay on bare cloth."""
    if not samples or already:
        return ()
    said = SamplePiece(
        name,
        substrate,
        fibres or {},
        colour,
        coating,
        finishes,
        dye,
        mass_per_area,
        thickness,
        diameter,
        care,
    )
    piece = _completed(said, _blank(name, blanks))
    return tuple(
        sample
        for sample in samples
        if sample.piece.blank == name
        and same_piece(_completed(sample.piece, _blank(sample.piece.blank, blanks)), piece, off_most / 100)
    )


def _blank(name: str | None, blanks: Mapping[str, Blank]) -> Blank | None:
    return None if name is None else blanks.get(name)


@fact("sample.of_print", DATA, DECORATION)
def of_print(
    of_such_a_piece: tuple[Sample, ...] = read("sample.of_piece"),
    transfer: str | None = source("/decorations/{i}/transfer"),
    own_sheet: Sheet | None = source("/decorations/{i}/sheet"),
    families: Mapping[str, Transfer] = entries("transfers"),
    products: Mapping[str, Transfer] = entries("products"),
    stocked: tuple[str, ...] = source("shop/stock/products"),
    over: bool = read("layer.over"),
    under_another: bool = read("layer.under_another"),
) -> tuple[Sample, ...]:
    """Of these, those with this transfer: under the name that the order gives it, or where that is a family, of the one
    product that the shop stocks of it. A family with a sheet of the order's own is a roll that nobody has sampled, and
    layers hold otherwise than one print."""
    if over or under_another or (own_sheet is not None and transfer in families):
        return ()
    of_family = [name for name in stocked if products[name].family == transfer]
    named = {transfer, *(of_family if len(of_family) == 1 else ())}
    return tuple(sample for sample in of_such_a_piece if sample.transfer in named)


@fact("sample.of_press", DATA, PRESSING)
def of_press(
    with_transfer: tuple[Sample, ...] = read("sample.of_print"), press_id: str = source("press/id")
) -> tuple[Sample, ...]:
    """Of these, those pressed on this press."""
    return tuple(sample for sample in with_transfer if sample.press == press_id)


def surface_then_c(sample: Sample, curve: Calibration) -> float:
    """The surface that a sample was pressed at, by what is known of its press now."""
    return sample.temperature if sample.read_at == "surface" else curve.surface_c(sample.temperature)


# -- the settings ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Beside:
    """A pressing beside a sample: how much hotter, how many times as long, whether pressed and peeled alike."""

    hotter_k: float
    times_as_long: float
    pressed_alike: bool
    peeled_alike: bool


@dataclass(frozen=True, slots=True)
class Tolerances:
    """How far a pressing may lie off a sample and still repeat it."""

    hotter_k: float
    cooler_k: float
    longer: float
    shorter: float

    def no_harsher(self, beside: _Beside) -> bool:
        return beside.hotter_k <= self.hotter_k + _CHECKED and beside.times_as_long <= 1 + self.longer + _CHECKED

    def no_gentler(self, beside: _Beside) -> bool:
        return beside.hotter_k >= -self.cooler_k - _CHECKED and beside.times_as_long >= 1 - self.shorter - _CHECKED

    def repeats(self, beside: _Beside) -> bool:
        """Whether what the sample showed, of hold and harm, holds for the pressing."""
        return self.no_harsher(beside) and self.no_gentler(beside) and beside.pressed_alike and beside.peeled_alike

    def fails_again(self, beside: _Beside, failures: tuple[str, ...]) -> bool:
        """Whether what went wrong with the sample is likely here."""
        if not LET_GO.isdisjoint(failures) and beside.pressed_alike and beside.peeled_alike and self.no_harsher(beside):
            return True
        if not HARMED.isdisjoint(failures) and self.no_gentler(beside):
            return True
        return self.repeats(beside)


@fact("sample.tolerances", DATA, PRESSING)
def tolerances(
    hotter_k: float = limit("sample.hotter_most"),
    cooler_most_k: float = limit("sample.cooler_most"),
    longer: float = limit("sample.longer_most"),
    shorter: float = limit("sample.shorter_most"),
    spread_k: float = source("chosen/spread_k", absent=0.0),
) -> Tolerances:
    """How far this pressing may lie off a sample. Cooler by no more than this press is off from spot to spot, for the
    sample's own print had such spots and held."""
    return Tolerances(hotter_k, min(cooler_most_k, spread_k), longer / 100, shorter / 100)


@fact("sample.usual_otherwise", DATA, PRESSING)
def usual_otherwise(
    outside: bool | None = maybe("process.is_outside"),
    pre_press_s: float = source("chosen/pre_press_s", absent=0.0),
    usual_s: float | None = maybe("sheet.pre_press_s"),
    cloth_most_s: float = limit("prepress.cloth_most"),
) -> bool:
    """Whether what a sample does not record is as usual: the pre-press, and the pressings beside the main one."""
    return outside is False and pre_press_s <= max(usual_s or 0.0, cloth_most_s)


@fact("sample.beside", DATA, PRESSING)
def beside(
    samples: tuple[Sample, ...] | None = maybe("sample.of_press"),
    surface_c: float | None = source("chosen/surface_c", absent=None),
    time_s: float | None = source("chosen/time_s", absent=None),
    pressure: str | float | None = source("chosen/pressure", absent=None),
    pressure_kpa: float | None = source("chosen/pressure_kpa", absent=None),
    peel: str | None = source("chosen/peel", absent=None),
    curve: Callable[[], Calibration] = later("press.calibration"),
    bands_kpa: Callable[[], Mapping[str, tuple[float, float]]] = later("press.bands_kpa"),
    contact_m2: Callable[[], float | None] = later("fit.contact_m2"),
    cylinder: Cylinder | None = source("press/cylinder"),
    needed: Callable[[], Needed | None] = later("transfer.needed"),
) -> tuple[tuple[Sample, _Beside], ...]:
    """The samples that were pressed on such a piece with this transfer on this press, and how this pressing differs."""
    if not samples or surface_c is None or time_s is None:
        return ()

    def kpa(said: str | float) -> tuple[float, float]:
        """The pressure on the print that a sample's word or gauge reading comes to, from least to most."""
        if isinstance(said, str):
            return bands_kpa()[said]
        area = contact_m2()
        if cylinder is None or area is None:
            return (0.0, 0.0)
        there = on_print_kpa(cylinder, said, area)
        return next((band for band in bands_kpa().values() if band[0] <= there <= band[1]), (there, there))

    def pressed_alike(said: str | float) -> bool:
        if said == pressure:
            return True
        least, most = kpa(said)
        return pressure_kpa is not None and least <= pressure_kpa <= most

    def peeled_alike(said: str | None) -> bool:
        usual = needed()
        return peel == said if said is not None else usual is not None and peel in usual.peel

    def of(sample: Sample) -> _Beside:
        return _Beside(
            surface_c - surface_then_c(sample, curve()),
            time_s / sample.time,
            pressed_alike(sample.pressure),
            peeled_alike(sample.peel),
        )

    return tuple((sample, of(sample)) for sample in samples)


# -- how old it is ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Age:
    """By what a sample is still good: the lot and the day of the order, as far as it says them, and the days it may be
    old."""

    lot: str | None
    pressed_on: str | None
    most_days: float

    def doubt(self, sample: Sample) -> tuple[bool, str]:
        """Whether a sample still stands for the order, and in words why that is not sure; empty where it is."""
        of = f"Your sample “{sample.id}” of {day(sample.pressed_on)}"
        if self.lot is not None and sample.lot is not None:
            alike = self.lot == sample.lot
            return alike, "" if alike else f"{of} was pressed on lot {sample.lot}, and this is lot {self.lot}"
        if self.pressed_on is None:
            return True, f"{of} is counted, but neither its lot and this one nor the day of pressing are known"
        days = (date.fromisoformat(self.pressed_on) - date.fromisoformat(sample.pressed_on)).days
        if days <= self.most_days:
            return True, ""
        return (
            False,
            f"{of} is {days} days old; where no lot shows that nothing changed, {self.most_days:g} are the most",
        )


@fact("sample.age", DATA, ORDER)
def age(
    lot: str | None = source("/item/lot"),
    pressed_on: str | None = source("/pressed_on"),
    most_days: float = limit("sample.age_most"),
) -> Age:
    """By what a sample on record is still good for this order."""
    return Age(lot, pressed_on, most_days)


@fact("sample.repeated", DATA, PRESSING)
def repeated(
    samples: tuple[tuple[Sample, _Beside], ...] = read("sample.beside"),
    within: Callable[[], Tolerances] = later("sample.tolerances"),
    usual: Callable[[], bool] = later("sample.usual_otherwise"),
    textile: bool | None = maybe("item.textile"),
    load_share: float | None = maybe("fit.gang_dwell_share"),
    washes_least: float = limit("sample.washes_least"),
) -> tuple[Sample, ...]:
    """The samples that this pressing repeats, the last one pressed last, and of one day's a bad one.

    On cloth a good one has been washed, or it has shown nothing of how the print holds. A sample is one piece: several
    at once draw the platen down, so that for their hold the same dwell is a shorter one.
    """

    def in_its_load(beside: _Beside) -> _Beside:
        return replace(beside, times_as_long=beside.times_as_long / (1 + (load_share or 0.0) / 100))

    def tells(sample: Sample, beside: _Beside) -> bool:
        if sample.failures:
            return within().fails_again(beside, sample.failures)
        washed = textile is False or sample.washes >= washes_least
        return washed and usual() and within().repeats(beside) and within().no_gentler(in_its_load(beside))

    speaking = [sample for sample, beside in samples if tells(sample, beside)]
    return tuple(sorted(speaking, key=lambda sample: (sample.pressed_on, bool(sample.failures))))


@fact("sample.telling", DATA, PRESSING)
def telling(
    speaking: tuple[Sample, ...] = read("sample.repeated"), still: Age = read("sample.age")
) -> tuple[Sample, ...]:
    """The sample that tells how this pressing comes out, if any does: the last that still stands. A bad one always
    does."""
    return tuple(sample for sample in speaking if sample.failures or still.doubt(sample)[0])[-1:]


@fact("sample.doubt_words", TEXT, PRESSING)
def doubt_words(
    speaking: tuple[Sample, ...] | None = maybe("sample.repeated"),
    telling: tuple[Sample, ...] | None = maybe("sample.telling"),
    still: Age = read("sample.age"),
) -> str:
    """Why the last good sample of such a pressing does not stand, or may not; empty where that is sure."""
    last = (speaking or ())[-1:]
    if not last or last[0].failures or (telling and telling[0].failures):
        return ""
    return still.doubt(telling[0] if telling else last[0])[1]


@fact("sample.doubted", BOOL, PRESSING)
def doubted(words: str = read("sample.doubt_words")) -> bool:
    """Whether the last good sample of such a pressing is too old or of another lot, or that is not known."""
    return bool(words)


# -- what it says ----------------------------------------------------------------------------------------------------


@fact("sample.good", DATA, PRESSING)
def good(told: tuple[Sample, ...] = read("sample.telling")) -> Sample | None:
    """The sample on record that speaks for this pressing."""
    return next((sample for sample in told if not sample.failures), None)


@fact("sample.recorded", BOOL, PRESSING)
def recorded(on_record: Sample | None = maybe("sample.good")) -> bool:
    """Whether a sample that the shop has on record, pressed at these very settings, came out well."""
    return on_record is not None


@fact("sample.held", BOOL, PRESSING)
def held(
    on_record: Sample | None = maybe("sample.good"), papers: tuple[str, ...] | None = maybe("order.evidence")
) -> bool | None:
    """Whether a sample was pressed so and came out well: the order's own, or one that the shop has on record."""
    if on_record is not None:
        return True
    return None if papers is None else OWN_SAMPLE in papers


@fact("sample.rested", BOOL, PRESSING)
def rested(
    on_record: Sample | None = maybe("sample.good"),
    papers: tuple[str, ...] | None = maybe("order.evidence"),
    lightest_l: float | None = maybe("art.lightest_laid"),
    least_s: float = limit("sample.rest_least"),
) -> bool | None:
    """Whether such a sample was looked at late enough to show dye that rises, and its print was as light as this."""
    if on_record is not None and on_record.looked_at_after >= least_s and on_record.palette is not None:
        shown = [colour.lightness for colour in map(read_colour, on_record.palette) if colour is not None]
        if lightest_l is not None and shown and max(shown) >= lightest_l:
            return True
    return None if papers is None else OWN_SAMPLE in papers


@fact("sample.failed", BOOL, PRESSING)
def failed(told: tuple[Sample, ...] | None = maybe("sample.telling")) -> bool:
    """Whether the shop's last sample of such a pressing came out badly."""
    return any(sample.failures for sample in told or ())


@fact("sample.words", TEXT, PRESSING)
def words(
    told: tuple[Sample, ...] | None = maybe("sample.telling"),
    preferences: units.UnitPreferences = source("shop/units"),
) -> str:
    """The sample that tells of this pressing, in words: its name, its day, how it was pressed and looked at."""
    return in_words(told[0], preferences) if told else ""


def in_words(sample: Sample, preferences: units.UnitPreferences) -> str:
    """A sample as people say it."""
    pressed = units.show(units.TEMPERATURE, sample.temperature, preferences)
    at = "" if sample.read_at == "display" else " at the surface"
    after = units.show(units.TIME, sample.looked_at_after, preferences)
    washed = {0: "", 1: " and a wash"}.get(sample.washes, f" and {sample.washes} washes")
    return (
        f"sample “{sample.id}” of {day(sample.pressed_on)} ({pressed}{at} for"
        f" {units.show(units.TIME, sample.time, preferences)}, looked at after {after}{washed} by {sample.by})"
    )


def day(iso: str) -> str:
    """A day as people say it: "2 March 2026"."""
    pressed_on = date.fromisoformat(iso)
    return f"{pressed_on.day} {_MONTHS[pressed_on.month - 1]} {pressed_on.year}"


_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@fact("sample.failure_words", TEXT, PRESSING)
def failure_words(told: tuple[Sample, ...] | None = maybe("sample.telling")) -> str:
    """What went wrong with it, in words."""
    failures = told[0].failures if told else ()
    return ", ".join(FAILURE_WORDS[failure] for failure in failures)


FAILURE_WORDS: Mapping[str, str] = {
    "blistered": "it blistered",
    "colour-off": "its colours were off",
    "colour-faded": "its colours faded",
    "cracked": "it cracked",
    "damaged-item": "the piece was damaged",
    "did-not-bond": "it did not bond",
    "ghosted": "it ghosted",
    "marked-item": "the press left marks",
    "migrated": "dye rose into it",
    "peeled": "it peeled",
    "scorched": "the piece was scorched",
    "warped": "the piece warped",
    "other": "it came out badly",
}
