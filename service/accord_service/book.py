"""Entries of the book as they are shown: what was written, with what a product takes from its family."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from accord_rules.documents import merge
from accord_rules.reading import names_in
from accord_rules.settings import Settings
from accord_rules.shop import Shop


def entry_of(settings: Settings, kind: str, name: str) -> Mapping[str, Any]:
    """One entry of the catalogue, whole: a product says only where it differs from its family."""
    written = settings.documents[kind][name]
    if kind == "products":
        family = written["family"]
        return merge(entry_of(settings, "transfers", family), written)
    return {"family": name, **written} if kind == "transfers" else written


def unknown_names(settings: Settings, shop: Shop) -> Iterator[str]:
    """Everything a shop names that the book does not have, a line each."""
    for pointer, kind, name in names_in(shop):
        if name not in settings.catalogue[kind]:
            yield f"shop {shop.id}: {pointer}: there is no {name!r} in {kind}"
