"""The book as plain documents: ``{kind: {id: table}}``, exactly what the TOML files say. Digests are taken over it."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import MappingProxyType
from typing import Any

from accord_rules.documents.reading import Fault, escape

Documents = Mapping[str, Mapping[str, Any]]

SINGLE_FILES = (
    "fibres",
    "substrates",
    "coatings",
    "finishes",
    "transfers",
    "products",
    "consumables",
    "press_types",
    "blanks",
    "practice",
    "migration",
    "advice",
    "not_covered",
    "sources",
    "ambiguous_fibres",
    "ambiguous_words",
    "base_example",
)
# Kinds with one entry a file.
ONE_A_FILE = ("markets",)
# The same by folders, and the field of an entry that its folder says.
FOLDERS: Mapping[str, str] = MappingProxyType({"rules": "topic", "steps": "stage"})
# All that a book's documents have, by kind.
DOCUMENT_KINDS = frozenset({*SINGLE_FILES, *ONE_A_FILE, *FOLDERS, "limits"})
# What TOML and canonical JSON say alike.
_PLAIN = frozenset({str, int, bool})


@dataclass(frozen=True, slots=True)
class EntryFault:
    """One thing wrong with a book: its file, the entry (empty where the file is the entry), and the fault in that.

    ``kind`` and ``id`` name the entry in the documents; both are empty for what is wrong with a file as such.
    """

    file: str
    entry: str
    fault: Fault
    kind: str = ""
    id: str = ""

    def __str__(self) -> str:
        place = (part for part in (self.file, self.entry, self.fault.pointer) if part)
        return ": ".join((*place, self.fault.message_with_hints))


# What is wrong with a book: in a file or entry, or with something that comes with the program, in a sentence.
Reason = EntryFault | str


class BookError(ValueError):
    """A book that cannot be used: every reason. ``faults`` are those that lie in its files or entries."""

    def __init__(self, reasons: Iterable[Reason]) -> None:
        every_reason = tuple(reasons)
        self.reasons = tuple(map(str, every_reason))
        self.faults = tuple(reason for reason in every_reason if isinstance(reason, EntryFault))
        super().__init__("\n".join(self.reasons))


def fault_in(kind: str, name: str, fault: Fault, topic: str = "?") -> EntryFault:
    """A fault of an entry of the documents. ``topic``: a rule's, or the stage of a step."""
    if kind in FOLDERS:
        return EntryFault(f"{kind}/{topic}/{name}.toml", "", fault, kind, name)
    if kind in ONE_A_FILE:
        return EntryFault(f"{kind}/{name}.toml", "", fault, kind, name)
    return EntryFault("limits" if kind == "limits" else f"{kind}.toml", name, fault, kind, name)


def shipped() -> Documents:
    """The book that comes with this package."""
    return read_folder(shipped_folder())


def shipped_folder() -> Traversable:
    return files("accord_rules").joinpath("book")


def read_folder(folder: Traversable) -> Documents:
    """Read every file of a book folder. Raises BookError naming files that cannot be read, are missing or stray."""
    reasons: list[EntryFault] = list(_stray(folder))
    documents: dict[str, dict[str, Any]] = {}
    for kind in SINGLE_FILES:
        documents[kind] = _read(folder.joinpath(f"{kind}.toml"), f"{kind}.toml", reasons)
        for name, table in documents[kind].items():
            reasons += [fault_in(kind, name, fault) for fault in _no_plain_value(table)]
    documents["limits"] = _merged(folder.joinpath("limits"), reasons)
    for kind in ONE_A_FILE:
        documents[kind] = _by_file(folder, kind, reasons)
    for kind, field in FOLDERS.items():
        documents[kind] = _by_folder(folder, kind, field, reasons)
    if reasons:
        raise BookError(reasons)
    return documents


def in_limit_files(folder: Traversable, error: BookError) -> BookError:
    """The same faults, with the file of limits that each lies in: the documents hold all limits in one table."""
    unread: list[EntryFault] = []
    homes = {
        name: f"limits/{file.name}"
        for file in _sorted(folder.joinpath("limits"))
        for name in _read(file, file.name, unread)
    }
    placed = {str(fault): replace(fault, file=homes[fault.id]) for fault in error.faults if fault.kind == "limits"}
    return BookError(placed.get(reason, reason) for reason in error.reasons)


def _stray(folder: Traversable) -> Iterator[EntryFault]:
    """Files that nobody would read, in places where an author may think that somebody does."""
    files = tuple(f"{kind}.toml" for kind in (*SINGLE_FILES, "css_colours"))
    for file in _sorted(folder):
        if file.is_file() and file.name.endswith(".toml") and file.name not in files:
            yield EntryFault(
                file.name, "", Fault("", "is no file of a book", files, refused=file.name, code="not-allowed")
            )
    for kind, field in FOLDERS.items():
        for file in _sorted(folder.joinpath(kind)):
            if file.is_file():
                why = f"{kind} lie in {kind}/<{field}>/<id>.toml"
                yield EntryFault(f"{kind}/{file.name}", "", Fault("", why, code="bad-format"))
    by_folder = (f"{kind}/{inside.name}" for kind in FOLDERS for inside in _sorted(folder.joinpath(kind)))
    for place in ("limits", *ONE_A_FILE, *by_folder):
        for file in _sorted(folder.joinpath(place)):
            if not file.name.endswith(".toml"):
                yield EntryFault(f"{place}/{file.name}", "", Fault("", "its name must end in .toml", code="bad-format"))


def _read(file: Traversable, name: str, reasons: list[EntryFault]) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        why = "is missing"
    except OSError as error:
        why = f"cannot be read: {error.strerror}"
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        why = f"is not TOML: {error}"
    except RecursionError:
        why = "is not TOML: nested too deeply"
    reasons.append(EntryFault(name, "", Fault("", why, code="breaks-book")))
    return {}


def _no_plain_value(value: Any, pointer: str = "") -> Iterator[Fault]:
    """What TOML can say and canonical JSON can't."""
    # Nearly all that is read are words and whole numbers: no place is made out for those, nor anything asked of them.
    if isinstance(value, Mapping):
        for key, element in value.items():
            if element.__class__ not in _PLAIN:
                yield from _no_plain_value(element, f"{pointer}/{escape(key)}")
    elif isinstance(value, list):
        for index, element in enumerate(value):
            if element.__class__ not in _PLAIN:
                yield from _no_plain_value(element, f"{pointer}/{index}")
    elif isinstance(value, date | datetime | time):
        yield Fault(pointer, f"must be a string: put {value} in quotes", code="wrong-type")
    elif isinstance(value, float) and not math.isfinite(value):
        yield Fault(pointer, "must be a finite number", code="out-of-range")


def _sorted(folder: Traversable) -> list[Traversable]:
    """What lies in a folder, by name, without hidden files."""
    inside = folder.iterdir() if folder.is_dir() else ()
    return sorted((file for file in inside if not file.name.startswith(".")), key=lambda file: file.name)


def _merged(folder: Traversable, reasons: list[EntryFault]) -> dict[str, Any]:
    merged: dict[str, Any] = {}
    if not folder.is_dir():
        reasons.append(EntryFault("limits", "", Fault("", "is missing", code="required")))
    for file in _sorted(folder):
        path = f"limits/{file.name}"
        for name, table in _read(file, path, reasons).items():
            faults = list(_no_plain_value(table))
            if name in merged:
                faults.append(Fault("", "is in another file too", code="given-twice"))
            reasons += [EntryFault(path, name, fault) for fault in faults]
            merged[name] = table
    return merged


def _by_file(folder: Traversable, kind: str, reasons: list[EntryFault]) -> dict[str, Any]:
    """The entries of ``<kind>/<id>.toml``."""
    tables: dict[str, Any] = {}
    if not folder.joinpath(kind).is_dir():
        reasons.append(EntryFault(kind, "", Fault("", "is missing", code="required")))
    for file in _sorted(folder.joinpath(kind)):
        name, path = file.name.removesuffix(".toml"), f"{kind}/{file.name}"
        tables[name] = _read(file, path, reasons)
        reasons += [EntryFault(path, "", fault, kind, name) for fault in _no_plain_value(tables[name])]
    return tables


def _by_folder(folder: Traversable, kind: str, field: str, reasons: list[EntryFault]) -> dict[str, Any]:
    """The entries of ``<kind>/<what the field says>/<id>.toml``."""
    tables: dict[str, Any] = {}
    if not folder.joinpath(kind).is_dir():
        reasons.append(EntryFault(kind, "", Fault("", "is missing", code="required")))
    for inside in _sorted(folder.joinpath(kind)):
        for file in _sorted(inside):
            name, path = file.name.removesuffix(".toml"), f"{kind}/{inside.name}/{file.name}"
            table = _read(file, path, reasons)
            faults = list(_no_plain_value(table))
            if name in tables:
                why = f"there is a {kind.removesuffix('s')} of this name in another {field}"
                faults.append(Fault("", why, code="given-twice"))
            if table.get(field, inside.name) != inside.name:
                faults.append(Fault(f"/{field}", f"the folder says it: {inside.name}", code="contradiction"))
            reasons += [EntryFault(path, "", fault) for fault in faults]
            tables[name] = table | {field: inside.name}
    return tables


def merge(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """``over`` laid on ``base``, table by table; "" takes a key out; ``fibres`` is replaced whole."""
    merged = dict(base)
    for key, value in over.items():
        if value == "":
            merged.pop(key, None)
        elif isinstance(value, Mapping) and isinstance(merged.get(key), Mapping) and key != "fibres":
            merged[key] = merge(merged[key], value)
        else:
            merged[key] = value
    return merged


def entry_of(documents: Documents, kind: str, name: str) -> Mapping[str, Any]:
    """One entry of the book, whole: a product says only where it differs from its family.

    Raises KeyError where the book has no such entry, or a product no family.
    """
    table: Mapping[str, Any] = documents[kind][name]
    if kind == "products":
        family = entry_of(documents, "transfers", table["family"])
        # Other words for a family mean the family, not each of its products; the temperature of a product's sheet holds
        # whatever the blend and the press.
        sheet = table.get("sheet")
        own = isinstance(sheet, Mapping) and "temperature" in sheet
        left = {"aliases", *(("by_polyester", "by_press") if own else ())}
        return merge({key: value for key, value in family.items() if key not in left}, table)
    return {"family": name, **table} if kind == "transfers" else table
