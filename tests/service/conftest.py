"""Two invented shops with a key for each role, and an application that serves them from the shipped book."""

from __future__ import annotations

import copy
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.servers import QUAY_SIDE
from werkzeug.test import TestResponse

from accord_service.app import create_app
from accord_service.store import Store

MILL_LOFT = """
id = "mill-loft"
name = "The Mill Loft"
market = "eu"
unit_system = "metric"
standing = []
[[presses]]
id = "big-swing"
type = "swing-away"
[stock]
products = []
consumables = []
"""
KEYS = [
    ("quay-side", "storefront"),
    ("quay-side", "counter"),
    ("quay-side", "operator"),
    ("quay-side", "owner"),
    ("quay-side", "steward"),
    ("quay-side", "admin"),
    ("mill-loft", "counter"),
    ("mill-loft", "owner"),
    ("collective", "admin"),
]
PATIENCE_S = 60.0
ORDER: dict[str, Any] = {
    "reference": "QS-7",
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [
        {
            "transfer": "dye-sublimation",
            "placement": "front",
            "size": {"width": "8 in", "height": "8 in"},
            "settings": {"temperature": "392 °F", "time": "50 s"},
        }
    ],
    "quantity": 12,
}


@pytest.fixture(scope="session")
def collective(open_collective: Any) -> Any:
    """The two shops in a store of their own; tests that change something open another."""
    return open_collective([QUAY_SIDE, MILL_LOFT], KEYS)


@pytest.fixture(scope="session")
def tokens(collective: Any) -> dict[tuple[str, str], str]:
    """(shop, role) to the bearer token of its key."""
    return dict(collective.tokens)


@pytest.fixture(scope="session")
def app(collective: Any) -> Iterator[Flask]:
    app = create_app(collective.config)
    yield app
    app.extensions["accord"].close()


@pytest.fixture
def fresh(open_collective: Any) -> Any:
    """The same two shops in a store that the test alone may change."""
    return open_collective([QUAY_SIDE, MILL_LOFT], KEYS)


@pytest.fixture(scope="session")
def serve() -> Iterator[Callable[[Any], Flask]]:
    """Makes applications, as so many workers, and closes them."""
    apps: list[Flask] = []

    def make(collective: Any) -> Flask:
        apps.append(create_app(collective.config))
        return apps[-1]

    yield make
    for app in apps:
        app.extensions["accord"].close()


@dataclass(frozen=True)
class Changing:
    """Two workers on a store that a module's tests may change, each leaving what others count on."""

    collective: Any
    first: FlaskClient
    second: FlaskClient

    def headers(self, shop: str, role: str) -> dict[str, str]:
        return dict(self.collective.headers(shop, role))


@pytest.fixture(scope="module")
def changing(open_collective: Any, serve: Callable[[Any], Flask]) -> Changing:
    collective = open_collective([QUAY_SIDE, MILL_LOFT], KEYS)
    return Changing(collective, serve(collective).test_client(), serve(collective).test_client())


@pytest.fixture
def store(changing: Changing) -> Iterator[Store]:
    """The store of a module's two workers, behind their backs."""
    opened = Store.at(changing.collective.server.url, timeout_s=5.0)
    yield opened
    opened.close()


def ok(answer: TestResponse) -> Any:
    """What was answered, which is no problem."""
    assert answer.status_code in (200, 201), answer.text
    return answer.json


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def key(collective: Any) -> dict[str, str]:
    """The headers of the quay-side shop's counter."""
    return dict(collective.headers("quay-side", "counter"))


@pytest.fixture
def order() -> dict[str, Any]:
    """An order that can be judged; the test's own copy."""
    return copy.deepcopy(ORDER)


@pytest.fixture
def wait_for(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Waits until something holds; fails if it does not within ``seconds``.

    A promise of seconds can be held to account only where nothing else runs (``alone``); elsewhere patience is longer.
    """
    alone = request.node.get_closest_marker("alone") is not None

    def wait(holds: Callable[[], bool], *, seconds: float) -> None:
        patience_s = seconds if alone else max(seconds, PATIENCE_S)
        until = time.monotonic() + patience_s
        while not holds():
            assert time.monotonic() < until, f"it did not hold within {patience_s:g} s"
            time.sleep(0.02)

    return wait


@pytest.fixture
def signed_in(collective: Any, client: FlaskClient) -> Callable[..., FlaskClient]:
    """Signs a client in at the pages, as the holder of a key of a shop."""

    def sign_in(shop: str = "quay-side", role: str = "counter") -> FlaskClient:
        answer = client.post("/sign-in", data={"key": collective.tokens[shop, role]})
        assert answer.status_code == 303, answer.text
        return client

    return sign_in
