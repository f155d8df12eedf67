from __future__ import annotations

from typing import Any

from flask import Response

from accord_service.endpoint import dump
from accord_service.room import room


def get_readyz() -> Response:
    """The book is loaded, the authority's own test is green, the store answers; 503 when no order can be judged.

    "degraded": answers go on from what is held in memory, writes do not. That is not down.
    """
    state = room().state()
    book: dict[str, Any] = {"ok": state.head is not None}
    if state.head is not None:
        book |= {"revision": state.head.number, "digest": state.head.digest}
    document = {
        "status": state.status,
        "checks": {
            "book": book,
            "self_test": {"ok": state.head is not None and not state.failed, "detail": state.failed},
            "store": {"ok": not state.store, "detail": state.store},
        },
    }
    status = 503 if state.status == "not ready" else 200
    headers = {"Cache-Control": "no-store"}
    return Response(dump(document), status=status, mimetype="application/json", headers=headers)
