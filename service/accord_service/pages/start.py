from __future__ import annotations

from flask import render_template

from accord_service.room import room


def start() -> str:
    """The start page: what this is, whether it is ready, and where to go."""
    here = room()
    counts = {kind: len(entries) for kind, entries in here.settings.catalogue.items()}
    return render_template("start.html", settings=here.settings, failed=here.failed, counts=counts)
