"""An application with one invented shop, and its description."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask

from accord_service.api.endpoint import Endpoint
from accord_service.app import create_app
from accord_service.http.roles import ROLES

SHOP = """
id = "ferry-yard"
name = "Ferry Yard Print"
market = "uk"
unit_system = "metric"
standing = []
[[presses]]
id = "bench"
type = "clamshell"
[[presses]]
id = "right"
type = "hand-held"
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet"]
"""


@pytest.fixture(scope="session")
def collective(open_collective: Any) -> Any:
    return open_collective([SHOP], [("ferry-yard", role) for role in ROLES])


@pytest.fixture(scope="session")
def app(collective: Any) -> Iterator[Flask]:
    app = create_app(collective.config)
    yield app
    app.extensions["accord"].close()


@pytest.fixture(scope="session")
def key(collective: Any) -> dict[str, str]:
    return dict(collective.headers("ferry-yard", "steward"))


@pytest.fixture(scope="session")
def key_for(collective: Any) -> Callable[[Endpoint], dict[str, str]]:
    """The headers of somebody who may ask an endpoint."""
    return lambda endpoint: dict(collective.headers("ferry-yard", endpoint.roles[-1]))


@pytest.fixture(scope="session")
def description(app: Flask) -> Any:
    answer = app.test_client().get("/v1/openapi.json")
    assert answer.status_code == 200, answer.text
    return answer.json
