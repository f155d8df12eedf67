from __future__ import annotations

from flask import Response

from accord_rules.authority import code_digest
from accord_service.api.answers import ALWAYS, FEATURES, ApiIndex, IndexedOperation
from accord_service.api.endpoint import dump, tagged
from accord_service.api.room import Room, room
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.writing import Answer
from accord_service.run.version import VERSION

API_VERSION = "1"
PATH = "/v1"
OPERATION_ID = "readIndex"
LINKS = {"self": PATH, "description": "/v1/openapi.json", "documentation": "/docs", "problems": "/problems"}


def get_index() -> Response:
    """Say which version of the API this is, what it can do, and where everything is.

    Needs no key: whoever is about to ask has to find the way first, and the description is open as well.
    """
    answer = Answer(index(room()).document())
    return tagged(Response(dump(answer.document), mimetype="application/json"), answer)


def index(room: Room) -> ApiIndex:
    """What one application answers with."""
    return ApiIndex(
        api_version=API_VERSION,
        code_version=VERSION,
        code_digest=code_digest(),
        features=FEATURES if room.config.cors_origins else ALWAYS,
        links=LINKS,
        operations=tuple(
            IndexedOperation(endpoint.operation_id, endpoint.method, endpoint.path) for endpoint in ENDPOINTS
        ),
    )
