from __future__ import annotations

from flask import render_template

from accord_service.api.room import room


def start() -> str:
    """The start page: what this is, whether it is ready, and where to go."""
    state = room().state()
    if state.head is None:
        return render_template("start.html", book=None, failed=state.store, counts={}, held="")
    with room().taken() as snapshot:
        book = snapshot.book
        counts = {_words(kind): len(entries) for kind, entries in book.catalogue.items()}
        return render_template(
            "start.html", book=book, failed=snapshot.edition.failed, counts=counts, held=snapshot.why
        )


def _words(kind: str) -> str:
    """A kind of entry as several of them are called."""
    called = {
        "practice": "practice points",
        "migration": "cells of dye migration",
        "advice": "questions answered",
        "not_covered": "things left out",
    }
    return called.get(kind, kind.replace("_", " "))
