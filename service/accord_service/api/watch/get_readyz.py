from __future__ import annotations

from flask import Response

from accord_service.endpoint import dump
from accord_service.room import room


def get_readyz() -> Response:
    """The book is loaded and the authority's own test is green; 503 with the reason when it is not."""
    here = room()
    document = {
        "status": "not ready" if here.failed else "ready",
        "checks": {
            "book": {"ok": True, "revision": here.settings.revision, "digest": here.settings.digest},
            "self_test": {"ok": not here.failed, "detail": here.failed},
        },
    }
    status = 503 if here.failed else 200
    headers = {"Cache-Control": "no-store"}
    return Response(dump(document), status=status, mimetype="application/json", headers=headers)
