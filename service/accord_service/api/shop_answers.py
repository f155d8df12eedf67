"""The shapes of what is said about one shop's own: the versions of its document and of its house rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from accord_rules.documents.answers import INTEGER, STRING, STRING_OR_NULL, Anything, Free, Nullable, listed
from accord_rules.documents.reading import Object, required
from accord_rules.documents.writing import Documented
from accord_rules.governance.house import HouseRules
from accord_rules.orders.shop import Shop
from accord_service.api.answers import Document, Signatory, next_page, time

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
