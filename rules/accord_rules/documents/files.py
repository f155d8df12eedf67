"""The book as plain documents: ``{kind: {id: table}}``, exactly what the TOML files say. Digests are taken over it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

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
    "sources",
    "ambiguous_fibres",
    "base_example",
)


class BookError(ValueError):
    """A book that cannot be used: every reason, each with file and entry."""

    def __init__(self, reasons: list[str]) -> None:
        self.reasons = tuple(reasons)
        super().__init__("\n".join(reasons))


def shipped() -> Documents:
    """The book that comes with this package."""
    return read_folder(files("accord_rules").joinpath("book"))


def read_folder(folder: Traversable) -> Documents:
    """Read every file of a book folder. Raises BookError naming files that are no TOML or are missing."""
    reasons: list[str] = []
    documents: dict[str, dict[str, Any]] = {}
    for kind in SINGLE_FILES:
        documents[kind] = _read(folder.joinpath(f"{kind}.toml"), f"{kind}.toml", reasons)
    documents["limits"] = _merged(folder.joinpath("limits"), reasons)
    documents["rules"] = _rules(folder.joinpath("rules"), reasons)
    if reasons:
        raise BookError(reasons)
    return documents


def _read(file: Traversable, name: str, reasons: list[str]) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        reasons.append(f"{name}: is missing")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        reasons.append(f"{name}: is not TOML: {error}")
    return {}


def _sorted(folder: Traversable) -> list[Traversable]:
    return sorted(folder.iterdir(), key=lambda path: path.name) if folder.is_dir() else []


def _merged(folder: Traversable, reasons: list[str]) -> dict[str, Any]:
    merged: dict[str, Any] = {}
    for file in _sorted(folder):
        for name, table in _read(file, f"limits/{file.name}", reasons).items():
            if name in merged:
                reasons.append(f"limits/{file.name}: {name}: is in another file too")
            merged[name] = table
    return merged


def _rules(folder: Traversable, reasons: list[str]) -> dict[str, Any]:
    rules: dict[str, Any] = {}
    for topic in _sorted(folder):
        for file in _sorted(topic):
            name, path = file.name.removesuffix(".toml"), f"rules/{topic.name}/{file.name}"
            if name in rules:
                reasons.append(f"{path}: there is a rule of this name in another topic")
            rules[name] = _read(file, path, reasons) | {"topic": topic.name}
    return rules


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
        return merge(entry_of(documents, "transfers", table["family"]), table)
    return {"family": name, **table} if kind == "transfers" else table
