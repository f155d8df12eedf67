"""Entries of the book as they are shown: what was written, with what a product takes from its family."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from accord_rules.documents.files import merge
from accord_rules.revision.book import Book


def entry_of(book: Book, kind: str, name: str) -> Mapping[str, Any]:
    """One entry of the catalogue, whole: a product says only where it differs from its family."""
    written = book.documents[kind][name]
    if kind == "products":
        family = written["family"]
        return merge(entry_of(book, "transfers", family), written)
    return {"family": name, **written} if kind == "transfers" else written
