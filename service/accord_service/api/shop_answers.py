"""The shapes of what is said about one shop's own: its status, readings of its presses, and the versions of before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import (
    INSTANT_OR_NULL,
    INTEGER,
    STRING,
    STRING_OR_NULL,
    STRINGS,
    Anything,
    Free,
    Nullable,
    listed,
)
from accord_rules.documents.reading import Choice, Flag, Object, required
from accord_rules.documents.units import UnitPreferences
from accord_rules.documents.writing import Documented
from accord_rules.governance.house import HouseDoubt, HouseRules
from accord_rules.orders.shop import Shop
from accord_rules.verdict import Finding
from accord_service.api.answers import Document, Signatory, next_page, time
from accord_service.http.roles import ROLES
from accord_service.steps.calibration import PressCalibration
from accord_service.steps.samples import SampleToldOf

# -- probe readings ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PressReading(Documented):
    """One probe reading of a press: one that counts, or one that waits for the owner."""

    reading_id: str = required(STRING, "its id; the same reading of the same press has the same")
    press_id: str = required(STRING, "the press")
    press_names: tuple[str, ...] = required(STRINGS, "what the shop calls the press, by names of its document")
    display: str = required(STRING, "the display's setting then")
    surface: tuple[str, ...] = required(STRINGS, "what was read on the platen, spot by spot")
    taken_on: str | None = required(STRING_OR_NULL, "the day it was read; null where that was not said")
    instrument: str | None = required(STRING_OR_NULL, "what it was read with; null where that was not said")
    counts: bool = required(Flag(), "whether the rules go by it; if not, it waits for the owner to confirm it")
    doubts: tuple[str, ...] = required(STRINGS, "why it is unlikely, a sentence each; empty where it is not")
    despite: tuple[str, ...] = required(STRINGS, "the doubts that whoever entered it set aside, by their words")
    replaces: str | None = required(
        STRING_OR_NULL, "id of the counting reading at the same setting, whose place it would take; null for none"
    )
    contradicts: tuple[str, ...] = required(
        STRINGS, "ids of the counting readings that it contradicts, and that count no more once it does"
    )
    entered_at: str | None = required(
        INSTANT_OR_NULL, "when it was entered, UTC; null for one that came with the shop's document"
    )
    entered_by: Signatory | None = required(
        Nullable(Object(Signatory)), "who entered it; null for one that came with the shop's document"
    )
    confirmed_at: str | None = required(
        INSTANT_OR_NULL, "when an owner let it count, UTC; null where it waits, and for one that nobody had to confirm"
    )
    confirmed_by: Signatory | None = required(
        Nullable(Object(Signatory)), "who let it count; null where it waits, and where nobody had to"
    )


@dataclass(frozen=True, slots=True)
class PressReadings(Documented):
    """A page of the probe readings of a press."""

    entries: tuple[PressReading, ...] = required(listed(Object(PressReading)), "sorted by id")
    next: str | None = next_page()


# -- status ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Units(Documented):
    """The units answers are written in."""

    temperature: str = required(STRING, "symbol")
    length: str = required(STRING, "symbol")
    pressure: str = required(STRING, "symbol")
    area_density: str = required(STRING, "symbol")

    @classmethod
    def of(cls, units: UnitPreferences) -> Units:
        return cls(units.temperature, units.length, units.pressure, units.area_density)


@dataclass(frozen=True, slots=True)
class HouseVersion(Documented):
    """Which version of its house rules a shop is at."""

    version: int = required(INTEGER, "grows with each change; 0 if there never were any")
    changed_at: str | None = required(INSTANT_OR_NULL, "when they were last changed, UTC; null if there never were any")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopStatus(Documented):
    """What is computed of the caller's own shop, and for whom; the shop itself is at /v1/shop."""

    shop_id: str = required(STRING, "the shop")
    version: int = required(INTEGER, "grows with each change to the shop")
    changed_at: str = time("when it was last changed")
    units: Units = required(Object(Units), "the units it reads answers in")
    calibration: tuple[PressCalibration, ...] = required(
        listed(Object(PressCalibration)), "the presses that were measured"
    )
    findings: tuple[Finding, ...] = required(
        listed(Object(Finding)), "what is told of its presses once, and not with every order; each place is in the shop"
    )
    samples: tuple[SampleToldOf, ...] = required(
        listed(Object(SampleToldOf)),
        "its samples on record, and whether orders can lean on them; the last pressed first",
    )
    readings_waiting: tuple[PressReading, ...] | None = required(
        Nullable(listed(Object(PressReading))),
        "probe readings that count for nothing until the owner confirms them, the longest waiting first; null while the"
        " store is away",
    )
    house_rules: HouseVersion = required(Object(HouseVersion), "its house rules, which are at /v1/shop/house-rules")
    house_doubts: tuple[HouseDoubt, ...] = required(
        listed(Object(HouseDoubt)),
        "limits of them that lie so far from the book's that a digit or a unit may have slipped",
    )
    role: str = required(Choice(ROLES), "the role of the key used")
    key_id: str = required(STRING, "the id of the key used")
    holder: str | None = required(STRING_OR_NULL, "whose key it is; null where it was issued before keys named anybody")


# -- versions ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionLine(Documented):
    """One version of a document, without the document."""

    version: int = required(INTEGER, "its number, from 1 without gaps")
    changed_at: str = time("when it was written")
    changed_by_id: str | None = required(
        STRING_OR_NULL,
        "who wrote it: the id of a key, or the part of the program; null where that was not kept then",
    )
    changed_by: Signatory | None = required(
        Nullable(Object(Signatory)), "who that is; null for a part of the program, and where it was not kept"
    )


@dataclass(frozen=True, slots=True)
class Versions(Documented):
    """A page of the versions that are kept of a document."""

    entries: tuple[VersionLine, ...] = required(listed(Object(VersionLine)), "newest first")
    next: str | None = next_page()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceChange(Documented):
    """One place where two versions differ."""

    pointer: str = required(
        STRING, "JSON Pointer (RFC 6901) to the place: in this version; in the one before where it is gone"
    )
    before: Any = required(Nullable(Anything()), "what stood there; null where nothing did")
    after: Any = required(Nullable(Anything()), "what stands there; null where nothing does")


def _version_changes() -> Any:
    return required(
        Nullable(listed(Object(PlaceChange))), "where it differs from the one before; null where that is not kept"
    )


def _changes_left_out() -> Any:
    return required(INTEGER, "how many more there are")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopVersion(Documented):
    """One version of a shop's document."""

    line: VersionLine = required(Object(VersionLine), "the version", spread=True)
    shop: Document = required(Free((Shop,)), "the shop as it was")
    changes: tuple[PlaceChange, ...] | None = _version_changes()
    changes_left_out: int = _changes_left_out()


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRulesVersion(Documented):
    """One version of a shop's house rules."""

    line: VersionLine = required(Object(VersionLine), "the version", spread=True)
    house_rules: Document = required(Free((HouseRules,)), "the house rules as they were")
    changes: tuple[PlaceChange, ...] | None = _version_changes()
    changes_left_out: int = _changes_left_out()
