"""An application with one invented shop, and its description."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask

from accord_service.app import create_app
from accord_service.config import Config

SHOP = """
id = "ferry-yard"
name = "Ferry Yard Print"
market = "uk"
unit_system = "metric"
standing = []
[[presses]]
id = "left"
type = "clamshell"
[[presses]]
id = "right"
type = "hand-held"
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet"]
"""
TOKEN = "ferry-token"


@pytest.fixture(scope="session")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Flask]:
    folder = tmp_path_factory.mktemp("collective")
    (folder / "shops").mkdir()
    (folder / "shops" / "ferry-yard.toml").write_text(SHOP, encoding="utf-8")
    sha256 = hashlib.sha256(TOKEN.encode()).hexdigest()
    key = f'[[key]]\nshop = "ferry-yard"\nrole = "steward"\nid = "desk"\nsha256 = "{sha256}"\n'
    (folder / "keys.toml").write_text(key, encoding="utf-8")
    app = create_app(Config(shops_folder=folder, log_level="WARNING"))
    yield app
    app.extensions["accord"].authority.close()


@pytest.fixture(scope="session")
def key() -> dict[str, str]:
    return {"Authorization": f"Bearer {TOKEN}"}


@pytest.fixture(scope="session")
def description(app: Flask) -> Any:
    answer = app.test_client().get("/v1/openapi.json")
    assert answer.status_code == 200, answer.text
    return answer.json
