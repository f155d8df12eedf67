"""A page of the library from its template, with the words that all of them use."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from flask import render_template, request

from accord_service.pages.library import words


def as_of() -> dict[str, str]:
    """The revision that the visitor asks for, as a query: none for the one that holds."""
    revision = request.args.get("revision")
    return {} if not revision else {"revision": revision}


def suffix() -> str:
    """What addresses of entries end with, so that a visitor stays in the revision that was asked for."""
    return f"?{urlencode(as_of())}" if as_of() else ""


def rendered(template: str, **values: Any) -> str:
    """A template of the library."""
    return render_template(
        template,
        address_of=words.address_of,
        address_of_kind=words.address_of_kind,
        called=words.called,
        several=words.several,
        spoken=words.spoken,
        level_words=words.LEVEL_WORDS,
        source_words=words.SOURCE_WORDS,
        stage_words=words.STAGE_WORDS,
        what_words=words.WHAT_WORDS,
        as_of=as_of(),
        suffix=suffix(),
        **values,
    )
