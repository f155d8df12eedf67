"""Two invented shops with a key for each role, and an application that serves them from the shipped book."""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_service.app import create_app
from accord_service.config import Config

QUAY_SIDE = """
id = "quay-side"
name = "Quay Side Shirts"
market = "us"
unit_system = "us-customary"
standing = ["trained-operators"]
[[presses]]
id = "bench-38"
type = "swing-away"
platen = { width = "15 in", height = "15 in" }
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet", "plain-paper"]
"""
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
TOKENS = {
    ("quay-side", "counter"): "quay-counter-token",
    ("quay-side", "operator"): "quay-operator-token",
    ("quay-side", "owner"): "quay-owner-token",
    ("quay-side", "steward"): "quay-steward-token",
    ("quay-side", "admin"): "quay-admin-token",
    ("mill-loft", "counter"): "mill-counter-token",
}
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
def tokens() -> dict[tuple[str, str], str]:
    """(shop, role) to the bearer token of its key."""
    return dict(TOKENS)


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The two shops and their keys as files; tests that change them change a copy."""
    folder = tmp_path_factory.mktemp("collective")
    (folder / "shops").mkdir()
    for name, text in (("quay-side", QUAY_SIDE), ("mill-loft", MILL_LOFT)):
        (folder / "shops" / f"{name}.toml").write_text(text, encoding="utf-8")
    (folder / "keys.toml").write_text("\n".join(map(_key, TOKENS)), encoding="utf-8")
    return folder


def _key(holder: tuple[str, str]) -> str:
    shop, role = holder
    sha256 = hashlib.sha256(TOKENS[holder].encode()).hexdigest()
    return f'[[key]]\nshop = "{shop}"\nrole = "{role}"\nid = "{shop}-{role}"\nsha256 = "{sha256}"'


@pytest.fixture(scope="session")
def app(folder: Path) -> Iterator[Flask]:
    app = create_app(Config(shops_folder=folder))
    yield app
    app.extensions["accord"].authority.close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def key() -> dict[str, str]:
    """The headers of the quay-side shop's counter."""
    return {"Authorization": "Bearer quay-counter-token"}


@pytest.fixture
def order() -> dict[str, Any]:
    """An order that can be judged; the test's own copy."""
    return copy.deepcopy(ORDER)
