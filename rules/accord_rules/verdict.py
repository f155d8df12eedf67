"""What is answered: verdicts, settlements and envelopes, as frozen dataclasses whose fields carry their readers.

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
from accord_rules.documents.reading import Choice, Flag, Object, given
from accord_rules.documents.writing import Documented

LEVELS = ("blocks", "requires", "cautions", "notes")
VERDICTS = ("accepted", "conditional", "undetermined", "rejected")
WORKABLE = ("accepted", "conditional")  # the verdicts under which it can be done
LAYERS = ("shared", "house")
BASES = ("live", "held")

_LEVEL, _VERDICT = Choice(LEVELS), Choice(VERDICTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Documented):
    """One rule's say about one part of the order."""

    rule: str = given(STRING, "id of the rule; /v1/rules/{rule} tells more")
    level: str = given(_LEVEL, "how much it matters")
    about: str = given(STRING, "JSON Pointer into the order")
    title: str = given(STRING, "the rule in a few words")
    because: str = given(STRING, "why, with the numbers")
    fix: str = given(STRING, "what to do about it; may be empty")
    observed: Mapping[str, Any] = given(Free(), "what was found, in the shop's units")
    limit: Mapping[str, str] = given(mapped(STRING), "what it was held against, in the shop's units")
    sources: tuple[str, ...] = given(STRINGS, "ids of sources; /v1/sources/{source} tells more")
    layer: str = given(Choice(LAYERS), "shared: the collective's rule; house: the shop's own")


@dataclass(frozen=True, slots=True)
class Need(Documented):
    """Something the order does not say that could change the verdict."""

    pointer: str = given(STRING, "JSON Pointer to the field to add")
    question: str = given(STRING, "the question to ask")
    allowed: tuple[str, ...] = given(STRINGS, "possible answers, where they are a list")
    decides: tuple[str, ...] = given(STRINGS, "ids of the rules that hang on it")


@dataclass(frozen=True, slots=True)
class Assumption(Documented):
    """Something the order does not say, and what was taken to hold."""

    pointer: str = given(STRING, "JSON Pointer to the field that would say it")
    value: str = given(STRING, "what was assumed")
    why: str = given(STRING, "why that is the sensible reading")
    decides: tuple[str, ...] = given(STRINGS, "ids of the rules it could turn")


@dataclass(frozen=True, slots=True)
class PressJudged(Documented):
    """The press the verdict speaks of, and how the shop's others fared when the order named none."""

    judged_on: str = given(STRING, "the press")
    can: tuple[str, ...] = given(
        STRINGS,
        "presses on which the whole order can be done; where it is still open on a press, that press is not here",
    )
    cannot: Mapping[str, tuple[str, ...]] = given(
        mapped(STRINGS), "press to the ids of the rules that block the order on it"
    )


@dataclass(frozen=True, slots=True)
class FieldChange(Documented):
    """One field of the order, from what it says to what would work. Values as an order document writes them."""

    pointer: str = given(STRING, "JSON Pointer into the order")
    before: Any = given(Nullable(Anything()), "null where it is not said", name="from")
    after: Any = given(Nullable(Anything()), "null to leave it out", name="to")


@dataclass(frozen=True, slots=True)
class Remedy(Documented):
    """Changes that make the order one that can be done; judged before they are shown."""

    changes: tuple[FieldChange, ...] = given(listed(Object(FieldChange)), "what to change")
    verdict: str = given(_VERDICT, "the verdict with the changes made")
    text: str = given(STRING, "the changes, in a sentence")
    cost: float = given(
        Figure(),
        "what the changes cost whoever ordered: 1 turns a dial, 9 takes another blank; a choice of the book",
    )


@dataclass(frozen=True, slots=True)
class BookState(Documented):
    """The revision of the book that an answer rests on."""

    revision: int = given(INTEGER, "revision of the book")
    digest: str = given(STRING, "SHA-256 of the book's canonical JSON")


@dataclass(frozen=True, slots=True)
class Basis(BookState):
    """All that an answer rests on."""

    house_digest: str = given(STRING, "SHA-256 of the shop's house rules")
    basis: str = given(Choice(BASES), "live: the book as it is; held: the last good book in memory")


def _basis() -> Any:
    return given(Object(Basis), "what the answer rests on", spread=True)


def _reference() -> Any:
    return given(STRING_OR_NULL, "the shop's own, echoed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict(Documented):
    """The verdict on an order."""

    id: str = given(STRING, "content address of the code, the book, the house rules and the order")
    verdict: str = given(_VERDICT, "the answer")
    basis: Basis = _basis()
    findings: tuple[Finding, ...] = given(listed(Object(Finding)), "what the rules found, gravest first")
    conditions: tuple[str, ...] = given(STRINGS, "what must be done for the verdict to hold")
    needs: tuple[Need, ...] = given(listed(Object(Need)), "what to ask to settle the verdict")
    assumed: tuple[Assumption, ...] = given(
        listed(Object(Assumption)), "what was taken to hold because the order does not say"
    )
    press: PressJudged | None = given(Nullable(Object(PressJudged)), "the press it speaks of, and the shop's others")
    settings: tuple[Mapping[str, Any], ...] = given(
        listed(Free()),
        "per decoration, as an order writes them; empty unless the verdict is accepted or conditional, so that nothing"
        " is printed that may not be pressed",
    )
    sequence: tuple[int, ...] = given(listed(INTEGER), "decorations in order of pressing; empty where the settings are")
    remedies: tuple[Remedy, ...] = given(
        listed(Object(Remedy)), "changes that would make it work; none of them takes back what the order says"
    )
    remedies_complete: bool = given(
        Flag(), "whether all the changes there are were tried; if not, that no remedy is offered proves nothing"
    )
    reference: str | None = _reference()


@dataclass(frozen=True, slots=True)
class PlannedDecoration(Documented):
    """One decoration of a plan."""

    transfer: str = given(STRING, "the transfer to use")
    family: str = given(STRING, "its family")
    settings: Mapping[str, Any] = given(Free(), "settings with their windows and what binds them")
    order_settings: Mapping[str, Any] = given(Free(), "the same, as an order writes them")
    steps: tuple[str, ...] = given(STRINGS, "what to do, in order")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan(Documented):
    """One way to do it. Put back as an order it validates as accepted or conditional."""

    rank: int = given(INTEGER, "1 is best")
    press: str = given(STRING, "the press to use")
    decorations: tuple[PlannedDecoration, ...] = given(listed(Object(PlannedDecoration)), "per decoration")
    sequence: tuple[int, ...] = given(listed(INTEGER), "decorations in order of pressing")
    stack: tuple[str, ...] = given(STRINGS, "what lies on what, from the platen down")
    cautions: tuple[str, ...] = given(STRINGS, "what to watch")
    conditions: tuple[str, ...] = given(STRINGS, "what must be done for the plan to hold")
    reasons: tuple[str, ...] = given(STRINGS, "why it is ranked so")
    estimate: Mapping[str, float] = given(
        mapped(Figure()),
        "minutes each; hours, loads of the press and, at full power all the time, kWh in total; heating up not counted",
    )
    verdict: str = given(_VERDICT, "the verdict of this plan")
    id: str = given(STRING, "the id of that verdict")


@dataclass(frozen=True, slots=True)
class RuledOut(Documented):
    """A press and transfers that will not do, and why."""

    press: str | None = given(STRING_OR_NULL, "the press; null where the transfers will not do whatever the press")
    transfers: tuple[str, ...] = given(STRINGS, "the transfers")
    findings: tuple[Finding, ...] = given(listed(Object(Finding)), "what blocks them")


def _ruled_out() -> Any:
    return given(listed(Object(RuledOut)), "what will not do, and why")


def _left_out() -> Any:
    return given(INTEGER, "how many entries of ruled_out more there are than are given")


_COMPLETE = (
    "whether every combination of transfers and presses was weighed; of many open decorations only the best transfers"
    " are combined, and to find no way then proves nothing"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settlement(Documented):
    """Plans, best first, and what was ruled out."""

    basis: Basis = _basis()
    plans: tuple[Plan, ...] = given(
        listed(Object(Plan)), "best first, ten at most; empty if nothing that was weighed will do"
    )
    ruled_out: tuple[RuledOut, ...] = _ruled_out()
    ruled_out_left_out: int = _left_out()
    needs: tuple[Need, ...] = given(listed(Object(Need)), "what to ask to settle it")
    complete: bool = given(Flag(), _COMPLETE)
    reference: str | None = _reference()


@dataclass(frozen=True, slots=True)
class AllowedRange(Documented):
    """From least to most, as an order writes them."""

    least: str = given(STRING, "the least allowed, in whole steps of the shop's unit where one lies inside")
    most: str = given(STRING, "the most allowed")
    below: tuple[str, ...] = given(
        STRINGS, "ids of the rules that stop a step below; empty where the press, not a rule, ends it"
    )
    above: tuple[str, ...] = given(
        STRINGS, "ids of the rules that stop a step above; empty where the press, not a rule, ends it"
    )


@dataclass(frozen=True, slots=True)
class AllowedSize(Documented):
    """A largest size: any print no larger both ways will do."""

    width: str = given(STRING, "as an order writes it")
    height: str = given(STRING, "as an order writes it")


@dataclass(frozen=True, slots=True)
class AllowedGround(Documented):
    """Neutral greys that will do as ground, from the darkest to the lightest."""

    least: float = given(Figure(2), "CIELAB lightness of the darkest")
    most: float = given(Figure(2), "CIELAB lightness of the lightest")
    least_colour: str = given(STRING, "the darkest in sRGB")
    most_colour: str = given(STRING, "the lightest in sRGB")


def _open_range(about: str) -> Any:
    return given(Nullable(listed(Object(AllowedRange))), f"{about}; null where the order says it")


def _open_choice(about: str) -> Any:
    return given(Nullable(STRINGS), f"{about}; null where the order says it")


@dataclass(frozen=True, slots=True, kw_only=True)
class AllowedDecoration(Documented):
    """What is allowed for one decoration on one press with one transfer."""

    transfer: str = given(STRING, "the transfer the ranges are for")
    temperature: tuple[AllowedRange, ...] | None = _open_range("display settings")
    time: tuple[AllowedRange, ...] | None = _open_range("dwells")
    pressure: tuple[str, ...] | None = _open_choice("pressures in the trade's words")
    gauge: tuple[AllowedRange, ...] | None = given(
        Nullable(listed(Object(AllowedRange))),
        "line pressures on the gauge; null without cylinders or where the order says it",
    )
    peel: tuple[str, ...] | None = _open_choice("peels")
    cover: tuple[str, ...] | None = _open_choice("cover sheets of the shop, or none")
    pad: tuple[str, ...] | None = _open_choice("pads of the shop, or none")
    tape: tuple[str, ...] | None = _open_choice("tapes of the shop, or none")
    size: tuple[AllowedSize, ...] | None = given(
        Nullable(listed(Object(AllowedSize))),
        "the largest sizes, looked for up to the largest print the book knows; null where the order says it",
    )


@dataclass(frozen=True, slots=True)
class AllowedOn(Documented):
    """What is allowed on one press."""

    press: str = given(STRING, "the press")
    decorations: tuple[AllowedDecoration, ...] = given(listed(Object(AllowedDecoration)), "per decoration")


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope(Documented):
    """What is still allowed for what an order leaves open."""

    basis: Basis = _basis()
    presses: tuple[str, ...] = given(STRINGS, "presses that can do it")
    transfers: tuple[tuple[str, ...], ...] = given(listed(STRINGS), "per decoration, those that will do")
    on: tuple[AllowedOn, ...] = given(
        listed(Object(AllowedOn)),
        "per press, with the transfers that are best there; the best presses alone where decorations are many",
    )
    ground: tuple[AllowedGround, ...] | None = given(
        Nullable(listed(Object(AllowedGround))),
        "grounds that will do; null where the colour is known or a transfer is open",
    )
    ruled_out: tuple[RuledOut, ...] = _ruled_out()
    ruled_out_left_out: int = _left_out()
    needs: tuple[Need, ...] = given(listed(Object(Need)), "what to ask before more can be said")
    complete: bool = given(Flag(), _COMPLETE + "; false too where some press that can do it has no ranges here")
    reference: str | None = _reference()
