from __future__ import annotations

from flask import Response

from accord_service.api.endpoint import dump


def get_healthz() -> Response:
    """The process is alive and answers."""
    return Response(dump({"status": "alive"}), mimetype="application/json", headers={"Cache-Control": "no-store"})
