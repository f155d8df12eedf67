"""What is answered: verdicts, recommendations and envelopes, as frozen dataclasses whose fields carry their readers.

The readers are the one home of each shape: the document (``documents.writing``), the service's schemas and the OpenAPI
document are made from them. A document has its keys in the order in which the fields are declared here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import (
    INTEGER,
    STRING,
    STRING_OR_NULL,
    STRINGS,
    Anything,
    Figure,
    Free,
    Nullable,
    listed,
    mapped,
)
from accord_rules.documents.reading import Choice, Flag, Object, optional, required
from accord_rules.documents.writing import Documented
from accord_rules.orders.order import Order, Settings
from accord_rules.orders.sheet import BESIDE_MAIN, LIES, PRESSINGS

LEVELS = ("blocks", "requires", "cautions", "notes")
VERDICTS = ("accepted", "conditional", "undetermined", "rejected")
WORKABLE = ("accepted", "conditional")  # the verdicts under which it can be done
# The stages of a plan, in the order in which the hands come to them: a first piece is judged cold.
STAGES = (
    "check",
    "dress",
    "dry",
    "place",
    "fix",
    "cover",
    "press",
    "lift",
    "peel",
    "again",
    "cool",
    "finish",
    "care",
)
LAYERS = ("shared", "house")
# What lies between the platens, and these: a sheet keeps things apart, a pad gives way, the print is what stays.
LAYER_KINDS = ("platen", "sheet", "pad", "carrier", "print", "piece")
# Of a recommendation.
PLANS_MOST = 10
BASES = ("live", "held", "bundle")

_LEVEL, _VERDICT = Choice(LEVELS), Choice(VERDICTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Documented):
    """One rule's say about one part of the order."""

    rule: str = required(STRING, "id of the rule; /v1/rules/{name} tells more")
    level: str = required(_LEVEL, "how much it matters")
    pointer: str = required(STRING, "JSON Pointer into the order")
    presses: tuple[str, ...] | None = required(
        Nullable(STRINGS), "the presses it holds on; null for all that were judged", default=None
    )
    title: str = required(STRING, "the rule in a few words")
    because: str = required(STRING, "why, with the numbers")
    fix: str = required(STRING, "what to do about it; may be empty")
    observed: Mapping[str, str] | None = optional(
        mapped(STRING), about="what was found, as people read it; with include=observed"
    )
    limit: Mapping[str, str] = required(mapped(STRING), "what it was held against, in the shop's units")
    sources: tuple[str, ...] = required(STRINGS, "ids of sources; /v1/sources/{name} tells more")
    layer: str = required(Choice(LAYERS), "shared: the collective's rule; house: the shop's own")


@dataclass(frozen=True, slots=True)
class Need(Documented):
    """Something the order does not say that could change the verdict."""

    pointer: str = required(STRING, "JSON Pointer to the field to add")
    type: str = required(
        STRING,
        "what an order takes there: flag, number, whole-number, quantity, word, name, colour, list, table or object; an"
        " empty list says that there is nothing of what is asked, an object stands where no one field answers it",
    )
    allowed: tuple[Any, ...] = required(
        listed(Anything()), "values that an order takes there, where they can be listed; of transfers the families"
    )
    question: str = required(STRING, "the question to ask")
    decides: tuple[str, ...] = required(STRINGS, "ids of the rules that hang on it")


@dataclass(frozen=True, slots=True)
class Assumption(Documented):
    """Something the order does not say, and what was taken to hold."""

    pointer: str = required(STRING, "JSON Pointer to the field that would say it")
    value: Any = required(Anything(), "what was assumed, as an order says it there: said, it gives the same verdict")
    shown: str = required(STRING, "the same, as people read it")
    why: str = required(STRING, "why that is the sensible reading")
    could_hurt: bool = required(Flag(), "whether a rule that keeps people safe hangs on it")


@dataclass(frozen=True, slots=True)
class SampleLeanedOn(Documented):
    """A sample of the shop's that stands for the order's own, and what would be found without it."""

    id: str = required(STRING, "the shop's own name for it")
    pressed_on: str = required(STRING, "the day it was pressed")
    pointer: str = required(STRING, "JSON Pointer to the decoration that repeats it")
    text: str = required(STRING, "the same in a sentence, with how it was pressed and looked at")
    lifts: tuple[str, ...] = required(STRINGS, "ids of the rules that would find something without it")


def _samples() -> Any:
    return required(listed(Object(SampleLeanedOn)), "the shop's samples on record that it leans on")


@dataclass(frozen=True, slots=True, kw_only=True)
class PressVerdict(Documented):
    """The verdict on the whole order on one press. Nothing can be printed from it that may not be pressed."""

    press: str = required(STRING, "the press")
    press_title: str = required(STRING, "the same, as people say it: its type, and its name at the shop")
    verdict: str = required(_VERDICT, "the verdict, were it done on this press")
    settings: tuple[Mapping[str, Any], ...] | None = required(
        Nullable(listed(Free((Settings,)))),
        "per decoration, as an order writes them; null unless the verdict is accepted or conditional",
    )
    titles: Mapping[str, str] = required(
        mapped(STRING), "the covers, pads and tapes that the settings name, to how people say them"
    )
    pressings: tuple[tuple[str, ...], ...] | None = required(
        Nullable(listed(listed(Choice(PRESSINGS)))),
        "per decoration, the pressings that are done, in the order they come; where main is none of them, what the"
        " settings say of it is not pressed, but what their own pressings say; null where the settings are",
    )
    sequence: tuple[int, ...] | None = required(
        Nullable(listed(INTEGER)), "decorations in order of pressing; null where the settings are"
    )
    blocked_by: tuple[str, ...] = required(STRINGS, "ids of the rules that block the order on it")
    because: str | None = required(
        STRING_OR_NULL, "why not, with the numbers: what the first of them says; null for none"
    )


@dataclass(frozen=True, slots=True)
class FieldChange(Documented):
    """One field of the order, from what it says to what would work. Values as an order document writes them."""

    pointer: str = required(STRING, "JSON Pointer into the order")
    before: Any = required(Nullable(Anything()), "null where it is not said", name="from")
    after: Any = required(Nullable(Anything()), "null to leave it out", name="to")


@dataclass(frozen=True, slots=True)
class Remedy(Documented):
    """Changes that make the order one that can be done; judged before they are shown."""

    changes: tuple[FieldChange, ...] = required(listed(Object(FieldChange)), "what to change")
    verdict: str = required(_VERDICT, "the verdict with the changes made")
    text: str = required(STRING, "the changes, in a sentence")
    cost: float = required(
        Figure(),
        "what the changes cost whoever ordered: 1 turns a dial, 9 takes another blank; a choice of the book",
    )


@dataclass(frozen=True, slots=True)
class BookState(Documented):
    """The revision of the book that an answer rests on."""

    revision: int = required(INTEGER, "revision of the book")
    digest: str = required(STRING, "SHA-256 of the book's canonical JSON")


@dataclass(frozen=True, slots=True)
class Basis(BookState):
    """All that an answer rests on."""

    house_digest: str = required(STRING, "SHA-256 of the shop's house rules")
    basis: str = required(
        Choice(BASES),
        "live: the book as it is; held: the last good book in memory; bundle: a signed file, without the service",
    )


def _basis() -> Any:
    return required(Object(Basis), "what the answer rests on", spread=True)


def _unsaid() -> Any:
    return required(
        STRING_OR_NULL, "what was taken to hold and could hurt somebody if it does not, as a sentence; null for nothing"
    )


def _reference() -> Any:
    return required(STRING_OR_NULL, "the shop's own, echoed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict(Documented):
    """The verdict on an order."""

    id: str = required(STRING, "content address of the code, the book, the house rules and the order")
    verdict: str = required(
        _VERDICT,
        "the answer; where settings are given, no press is, and they would do on some presses and not on others,"
        " conditional at best, and the first condition says which",
    )
    unsaid: str | None = _unsaid()
    basis: Basis = _basis()
    judged_on: str = required(
        STRING, "the press that findings, conditions, needs and assumptions speak of: the best one"
    )
    presses: tuple[PressVerdict, ...] = required(
        listed(Object(PressVerdict)), "the press that the order names or describes, or each of the shop's"
    )
    findings: tuple[Finding, ...] = required(listed(Object(Finding)), "what the rules found, gravest first")
    conditions: tuple[str, ...] = required(STRINGS, "what must be done for the verdict to hold")
    samples: tuple[SampleLeanedOn, ...] = _samples()
    needs: tuple[Need, ...] = required(listed(Object(Need)), "what to ask before the verdict is known")
    assumed: tuple[Assumption, ...] = required(
        listed(Object(Assumption)),
        "what was taken to hold because the order does not say; first what could hurt somebody",
    )
    remedies: tuple[Remedy, ...] = required(
        listed(Object(Remedy)), "changes that would make it work; none of them takes back what the order says"
    )
    remedies_complete: bool = required(
        Flag(), "whether all the changes there are were tried; if not, that no remedy is offered proves nothing"
    )
    reference: str | None = _reference()

    @property
    def on(self) -> PressVerdict:
        """What was judged on the press that the verdict speaks of."""
        return next(press for press in self.presses if press.press == self.judged_on)


# Where a quantity is given twice, the string is what an order takes, and the number beside it the same to a tenth.


@dataclass(frozen=True, slots=True)
class TemperatureRange(Documented):
    """Temperatures from least to most."""

    least: str = required(STRING, "as an order writes it")
    least_c: float = required(Figure(1), "the same in °C")
    most: str = required(STRING, "as an order writes it")
    most_c: float = required(Figure(1), "the same in °C")


@dataclass(frozen=True, slots=True)
class TimeRange(Documented):
    """Times from least to most."""

    least: str = required(STRING, "as an order writes it")
    least_s: float = required(Figure(1), "the same in s")
    most: str = required(STRING, "as an order writes it")
    most_s: float = required(Figure(1), "the same in s")


@dataclass(frozen=True, slots=True)
class PressureRange(Documented):
    """Pressures from least to most."""

    least: str = required(STRING, "as an order writes it")
    least_kpa: float = required(Figure(1), "the same in kPa")
    most: str = required(STRING, "as an order writes it")
    most_kpa: float = required(Figure(1), "the same in kPa")


@dataclass(frozen=True, slots=True)
class Window(TemperatureRange):
    """Display settings that hold over the press's spread, or all allowed ones where none does; what sets each end.

    What an order says itself may lie outside and still be allowed: then parts of the platen may miss their window.
    """

    bound_by: tuple[str, ...] = required(STRINGS, "what sets the least, and what the most")
    because: tuple[str, ...] = required(STRINGS, "the same two, in words, with the surface's numbers")


@dataclass(frozen=True, slots=True)
class Ceiling(Documented):
    """One bound from above on the temperature of the platen's surface."""

    what: str = required(STRING, "what sets it: substrate, fibre, coating, transfer, dye-migration, press ...")
    most: str = required(STRING, "what the display shows there at the middle of the platen, as an order writes it")
    most_c: float = required(Figure(1), "the same in °C")
    because: str = required(STRING, "the same in words, with the surface's number")


@dataclass(frozen=True, slots=True)
class HeatCurve(Documented):
    """How hot the print gets, and when: three curves over the same times."""

    times_s: tuple[float, ...] = required(listed(Figure(1)), "from the platen's coming down on, s")
    soon_c: tuple[float, ...] = required(listed(Figure(1)), "if everything helps, °C")
    likely_c: tuple[float, ...] = required(listed(Figure(1)), "as it likely is, °C")
    late_c: tuple[float, ...] = required(listed(Figure(1)), "if nothing helps, °C")


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatEstimate(Documented):
    """When the print has had what it needs, by estimate. Three figures are the soonest, the likely and the latest."""

    need_c: float = required(Figure(1), "the heat at which the transfer takes where it meets the piece, °C")
    hold_s: float = required(Figure(1), "how long it takes at that heat, s; hotter takes less, cooler more")
    dwell_s: float = required(Figure(1), "the dwell, s")
    interface_c: tuple[float, ...] = required(listed(Figure(1)), "what it has reached by the end of the dwell, °C")
    reach_s: tuple[float | None, ...] = required(
        listed(Nullable(Figure(1))), "when it has had enough, s; null where that is not within 15 min"
    )
    sag_k: float = required(Figure(1), "by how much the platen cools as it comes down, K")
    face_down: bool = required(Flag(), "whether the print lies below the piece")
    damp: bool = required(Flag(), "whether the piece holds moisture that has to be driven out")
    touch_wait_s: float | None = required(
        Nullable(Figure(1)), "until bare skin bears the piece, s; null where that takes many minutes"
    )
    text: str = required(STRING, "the estimate in words")
    curve: HeatCurve | None = optional(Object(HeatCurve), about="to draw it; with include=curve")


@dataclass(frozen=True, slots=True, kw_only=True)
class PressingHeat(Documented):
    """How hot the print gets in a pressing beside the main one, by estimate."""

    interface_c: tuple[float, ...] | None = required(
        Nullable(listed(Figure(1))),
        "what it has reached by the end, °C: at most, likely, at least; null where there is no estimate",
    )
    text: str = required(STRING, "the same in words, or why there is none")


@dataclass(frozen=True, slots=True, kw_only=True)
class PressingWindows(Documented):
    """A pressing beside the main one, and what is usual for it; outside, a sheet or a sample has to say so."""

    name: str = required(Choice(BESIDE_MAIN), "which")
    temperature_window: TemperatureRange | None = required(
        Nullable(Object(TemperatureRange)), "display settings; null where it has the main pressing's"
    )
    time_window: TimeRange = required(Object(TimeRange), "how long")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainedPressing(PressingWindows):
    """One pressing beside the main one, as it is done."""

    lies: str = required(Choice(LIES), "which way up the piece, or the sheets, lie")
    temperature: str = required(STRING, "for the display")
    temperature_c: float = required(Figure(1), "the same in °C")
    time: str = required(STRING, "how long")
    time_s: float = required(Figure(1), "the same in s")
    pressure_shown: str = required(STRING, "as people read it")
    peel: str = required(STRING, "how warm it is when what carries or covers it comes off; none for nothing")
    cover: str = required(STRING, "what lies between platen and print; none for nothing")
    heat: PressingHeat = required(Object(PressingHeat), "how hot the print gets in it, or why that is not said")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExplainedSettings(Documented):
    """Settings with the windows they lie in and what sets those."""

    temperature: str = required(STRING, "for the display")
    temperature_c: float = required(Figure(1), "the same in °C")
    temperature_instead: str | None = required(
        STRING_OR_NULL, "what a condition tells to set for the display instead; null where none does"
    )
    temperature_instead_c: float | None = required(Nullable(Figure(1)), "the same in °C")
    window: Window = required(Object(Window), "display settings that will do")
    surface: str = required(STRING, "what the platen's surface has at what is dialled")
    surface_c: float = required(Figure(1), "the same in °C")
    surface_window: TemperatureRange = required(
        Object(TemperatureRange), "what the surface may have, its spread included"
    )
    spread_k: float = required(Figure(1), "by how much the surface may be off to either side, K")
    widest_window: TemperatureRange = required(
        Object(TemperatureRange),
        "the surface's window as the display shows it, to the degree, the spread left out of account",
    )
    spots: TemperatureRange = required(
        Object(TemperatureRange), "what the display would show for the coldest and the hottest spot of the platen"
    )
    ceilings: tuple[Ceiling, ...] = required(
        listed(Object(Ceiling)), "everything that bounds the surface from above, the lowest first"
    )
    time: str = required(STRING, "the dwell")
    time_s: float = required(Figure(1), "the same in s")
    time_instead: str | None = required(
        STRING_OR_NULL, "what a condition tells to set for the dwell instead; null where none does"
    )
    time_instead_s: float | None = required(Nullable(Figure(1)), "the same in s")
    time_window: TimeRange = required(Object(TimeRange), "dwells that will do, as the conditions have it")
    pressure: str | None = required(STRING_OR_NULL, "a word, or what the gauge shows")
    pressure_shown: str = required(STRING, "the same, as people read it")
    on_print_kpa: float | None = required(
        Nullable(Figure(1)), "what that comes to on the print, kPa; null where it is not known"
    )
    on_print_shown: str | None = required(STRING_OR_NULL, "the same, as people read it")
    peel: str | None = required(STRING_OR_NULL, "how warm the carrier is when it is peeled off")
    cover: str = required(STRING, "what lies between platen and print; none for nothing")
    cover_title: str | None = required(STRING_OR_NULL, "the same, as people say it; null for nothing")
    pad: str = required(STRING, "what lies under the piece; none for nothing")
    pad_title: str | None = required(STRING_OR_NULL, "the same, as people say it; null for nothing")
    tape: str = required(STRING, "what holds the carrier in place; none for nothing")
    tape_title: str | None = required(STRING_OR_NULL, "the same, as people say it; null for nothing")
    pre_press: str = required(STRING, "pressed empty before; 0 s for none")
    pre_press_s: float = required(Figure(1), "the same in s")
    second_press: str = required(STRING, "pressed again after the peel; 0 s for none")
    second_press_s: float = required(Figure(1), "the same in s")
    pressings: tuple[ExplainedPressing, ...] = required(
        listed(Object(ExplainedPressing)), "those beside the main one, in the order they come"
    )
    main: bool = required(Flag(), "whether the main pressing is done for this print; no where one on top brings it")
    heat: HeatEstimate | None = required(
        Nullable(Object(HeatEstimate)), "of the main pressing; null where there is no estimate"
    )


@dataclass(frozen=True, slots=True)
class PlannedStep(Documented):
    """One thing the hands do."""

    id: str = required(STRING, "id of the step; /v1/steps/{name} tells more")
    stage: str = required(Choice(STAGES), "its stage; stages come in this order")
    text: str = required(STRING, "what to do, with the numbers")
    slip: str | None = required(
        STRING_OR_NULL, "what the customer's slip says of it, in a sentence; null for what is no aftercare"
    )


@dataclass(frozen=True, slots=True)
class StackLayer(Documented):
    """One layer of what lies between the platens."""

    kind: str = required(Choice(LAYER_KINDS), "what kind of thing it is")

    what: str = required(STRING, "what lies there")
    face: str = required(STRING, "how it lies: print side down, printable face up ...; empty where it has no faces")
    thickness_mm: float | None = required(
        Nullable(Figure(3)),
        "how thick one ply of it is, mm: 0 for dye, which has none of its own; null for platens, and where the book"
        " does not know",
    )


@dataclass(frozen=True, slots=True)
class PressingStack(Documented):
    """What lies between the platens in one pressing."""

    pressing: str = required(Choice(PRESSINGS), "the pressing")
    layers: tuple[StackLayer, ...] = required(
        listed(Object(StackLayer)), "what lies on what, from the heated platen down"
    )


@dataclass(frozen=True, slots=True)
class PlannedDecoration(Documented):
    """One decoration of a plan."""

    transfer: str = required(STRING, "the transfer to use")
    title: str = required(STRING, "the same, as people say it")
    size_shown: str | None = required(STRING_OR_NULL, "the print's size, as people read it")
    family: str = required(STRING, "its family")
    settings: Mapping[str, Any] = required(Free((Settings,)), "settings, as an order writes them")
    explained: ExplainedSettings = required(Object(ExplainedSettings), "the same for people, with windows and reasons")
    stacks: tuple[PressingStack, ...] = required(
        listed(Object(PressingStack)), "what lies on what, one for each pressing that is done, in the order they come"
    )
    steps: tuple[PlannedStep, ...] = required(listed(Object(PlannedStep)), "what to do, in order")
    touch_wait: str = required(STRING, "how long until bare skin bears the piece, as people read it")
    stack_wait: str = required(STRING, "how long until the next piece may lie on it, as people read it")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan(Documented):
    """One way to do it. Its order validates as it stands, as accepted or conditional."""

    rank: int = required(INTEGER, "1 is best")
    unsaid: str | None = _unsaid()
    press: str = required(STRING, "the press to use")
    press_title: str = required(STRING, "the same, as people say it: its type, and its name at the shop")
    piece_title: str = required(STRING, "the piece, as people say it")
    order: Mapping[str, Any] = required(
        Free((Order,)), "the order as this plan does it, whole; what was wished left out"
    )
    decorations: tuple[PlannedDecoration, ...] = required(listed(Object(PlannedDecoration)), "per decoration")
    sequence: tuple[int, ...] = required(listed(INTEGER), "decorations in order of pressing")
    cautions: tuple[str, ...] = required(STRINGS, "what to watch")
    conditions: tuple[str, ...] = required(STRINGS, "what must be done for the plan to hold")
    samples: tuple[SampleLeanedOn, ...] = _samples()
    reasons: tuple[str, ...] = required(STRINGS, "why it is ranked so")
    estimate: Mapping[str, float] = required(
        mapped(Figure()),
        "minutes each; hours, loads of the press and, at full power all the time, kWh in total; heating up not counted",
    )
    first_wash: str | None = required(
        STRING_OR_NULL, "how long until the first wash, as people read it; null for what is not washed"
    )
    verdict: str = required(_VERDICT, "the verdict of this plan")
    verdict_id: str = required(STRING, "the id of that verdict")


@dataclass(frozen=True, slots=True)
class RuledOut(Documented):
    """A press and transfers that will not do, and why."""

    press: str | None = required(STRING_OR_NULL, "the press; null where the transfers will not do whatever the press")
    transfers: tuple[str, ...] = required(STRINGS, "the transfers")
    titles: tuple[str, ...] = required(STRINGS, "the same, as people say them")
    findings: tuple[Finding, ...] = required(listed(Object(Finding)), "what blocks them")


def _ruled_out() -> Any:
    return required(listed(Object(RuledOut)), "what will not do, and why")


def _left_out() -> Any:
    return required(INTEGER, "how many entries of ruled_out more there are than are given")


_COMPLETE = (
    "whether every combination of transfers and presses was weighed; of many open decorations only the best transfers"
    " are combined, and to find no way then proves nothing"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation(Documented):
    """Plans, best first, and what was ruled out."""

    basis: Basis = _basis()
    plans: tuple[Plan, ...] = required(
        listed(Object(Plan)), "best first, as many as were asked for; empty if nothing that was weighed will do"
    )
    ruled_out: tuple[RuledOut, ...] = _ruled_out()
    ruled_out_left_out: int = _left_out()
    needs: tuple[Need, ...] = required(listed(Object(Need)), "what to ask before more can be said")
    complete: bool = required(Flag(), _COMPLETE)
    reference: str | None = _reference()


def _stopped(side: str) -> Any:
    return required(STRINGS, f"ids of the rules that stop a step {side}; empty where the press, not a rule, ends it")


@dataclass(frozen=True, slots=True)
class AllowedTemperatures(TemperatureRange):
    """Temperatures that are allowed, in whole steps of the shop's unit where one lies inside."""

    below: tuple[str, ...] = _stopped("below")
    above: tuple[str, ...] = _stopped("above")


@dataclass(frozen=True, slots=True)
class AllowedTimes(TimeRange):
    """Times that are allowed, in whole seconds where one lies inside."""

    below: tuple[str, ...] = _stopped("below")
    above: tuple[str, ...] = _stopped("above")


@dataclass(frozen=True, slots=True)
class AllowedPressures(PressureRange):
    """Pressures that are allowed, in whole steps of the shop's unit where one lies inside."""

    below: tuple[str, ...] = _stopped("below")
    above: tuple[str, ...] = _stopped("above")


@dataclass(frozen=True, slots=True)
class AllowedSize(Documented):
    """A largest size: any print no larger both ways will do."""

    width: str = required(STRING, "as an order writes it")
    width_mm: float = required(Figure(1), "the same in mm")
    height: str = required(STRING, "as an order writes it")
    height_mm: float = required(Figure(1), "the same in mm")


@dataclass(frozen=True, slots=True)
class AllowedGround(Documented):
    """Neutral greys that will do as ground, from the darkest to the lightest."""

    least: float = required(Figure(2), "CIELAB lightness of the darkest")
    most: float = required(Figure(2), "CIELAB lightness of the lightest")
    least_colour: str = required(STRING, "the darkest in sRGB")
    most_colour: str = required(STRING, "the lightest in sRGB")


def _open_range(shape: type, about: str) -> Any:
    return required(Nullable(listed(Object(shape))), f"{about}; null where the order says it")


def _open_choice(about: str) -> Any:
    return required(Nullable(STRINGS), f"{about}; null where the order says it")


@dataclass(frozen=True, slots=True, kw_only=True)
class AllowedDecoration(Documented):
    """What is allowed for one decoration on one press with one transfer."""

    transfer: str = required(STRING, "the transfer the ranges are for")
    temperature: tuple[AllowedTemperatures, ...] | None = _open_range(AllowedTemperatures, "display settings")
    time: tuple[AllowedTimes, ...] | None = _open_range(AllowedTimes, "dwells")
    pressure: tuple[str, ...] | None = _open_choice("pressures in the trade's words")
    gauge: tuple[AllowedPressures, ...] | None = required(
        Nullable(listed(Object(AllowedPressures))),
        "line pressures on the gauge; null without cylinders or where the order says it",
    )
    peel: tuple[str, ...] | None = _open_choice("peels")
    cover: tuple[str, ...] | None = _open_choice("cover sheets of the shop, or none")
    pad: tuple[str, ...] | None = _open_choice("pads of the shop, or none")
    tape: tuple[str, ...] | None = _open_choice("tapes of the shop, or none")
    pressings: tuple[PressingWindows, ...] = required(
        listed(Object(PressingWindows)), "those beside the main one, in the order they come"
    )
    size: tuple[AllowedSize, ...] | None = required(
        Nullable(listed(Object(AllowedSize))),
        "the largest sizes, looked for up to the largest print the book knows; null where the order says it",
    )


@dataclass(frozen=True, slots=True)
class AllowedOn(Documented):
    """What is allowed on one press."""

    press: str = required(STRING, "the press")
    decorations: tuple[AllowedDecoration, ...] = required(listed(Object(AllowedDecoration)), "per decoration")


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope(Documented):
    """What is still allowed for what an order leaves open."""

    basis: Basis = _basis()
    presses: tuple[str, ...] = required(STRINGS, "presses that can do it")
    transfers: tuple[tuple[str, ...], ...] = required(listed(STRINGS), "per decoration, those that will do")
    on: tuple[AllowedOn, ...] = required(
        listed(Object(AllowedOn)),
        "per press, with the transfers that are best there; the best presses alone where decorations are many",
    )
    ground: tuple[AllowedGround, ...] | None = required(
        Nullable(listed(Object(AllowedGround))),
        "grounds that will do; null where the colour is known, a transfer is open, or, with complete false, they were"
        " not worked out",
    )
    ruled_out: tuple[RuledOut, ...] = _ruled_out()
    ruled_out_left_out: int = _left_out()
    needs: tuple[Need, ...] = required(listed(Object(Need)), "what to ask before more can be said")
    complete: bool = required(
        Flag(), _COMPLETE + "; false too where some press that can do it, or the ground, has no ranges here"
    )
    reference: str | None = _reference()
