"""Two invented shops with a key for each role, and an application that serves them from the shipped book."""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

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
Post = Callable[..., TestResponse]


def keys_toml() -> str:
    return "\n".join(
        f'[[key]]\nshop = "{shop}"\nrole = "{role}"\nid = "{shop}-{role}"\n'
        f'sha256 = "{hashlib.sha256(token.encode()).hexdigest()}"'
        for (shop, role), token in TOKENS.items()
    )


def write_shops(folder: Path, keys: str | None = None, **shops: str) -> Path:
    """Write shop files (name to text; underscores become hyphens) and the key file."""
    (folder / "shops").mkdir(parents=True)
    for name, text in (shops or {"quay_side": QUAY_SIDE, "mill_loft": MILL_LOFT}).items():
        (folder / "shops" / f"{name.replace('_', '-')}.toml").write_text(text, encoding="utf-8")
    (folder / "keys.toml").write_text(keys_toml() if keys is None else keys, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_shops(tmp_path_factory.mktemp("collective") / "data")


@pytest.fixture(scope="session")
def app(folder: Path) -> Flask:
    return create_app(Config(shops_folder=folder))


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture
def key() -> dict[str, str]:
    """The headers of the quay-side shop's counter."""
    return bearer("quay-counter-token")


def bearer(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture
def order() -> dict[str, Any]:
    """An order that can be judged; the test's own copy."""
    return copy.deepcopy(ORDER)
