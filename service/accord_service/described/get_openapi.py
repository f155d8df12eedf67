from __future__ import annotations

from flask import Response

from accord_service.api.endpoint import dump, tagged
from accord_service.api.room import room
from accord_service.described.openapi import kept
from accord_service.http.writing import Answer


def get_openapi() -> Response:
    """The description of this API (OpenAPI 3.1). It needs no key."""
    content = kept(room(), "document", dump)
    return tagged(Response(content, mimetype="application/json"), Answer({}))
