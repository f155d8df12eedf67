"""The service says of the demo's day what the rules say of it when they are asked directly."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from flask.testing import FlaskClient
from tests.conftest import Collective, OpenCollective

from accord_rules.verdict import LEVELS
from accord_service.app import create_app
from demo import expected

SHOPS = {file.stem: file.read_text(encoding="utf-8") for file in sorted((expected.DEMO / "shops").glob("*.toml"))}


@pytest.fixture(scope="module")
def collective(open_collective: OpenCollective) -> Collective:
    return open_collective(SHOPS.values(), [(shop, "counter") for shop in SHOPS])


@pytest.fixture(scope="module")
def client(collective: Collective) -> Iterator[FlaskClient]:
    app = create_app(collective.config)
    yield app.test_client()
    app.extensions["accord"].close()


@pytest.mark.parametrize("shop", SHOPS)
def test_service_answers_as_expected(shop: str, client: FlaskClient, collective: Collective) -> None:
    of_shop = {name: wanted for name, wanted in expected.read_expected().items() if wanted["shop"] == shop}
    assert of_shop
    answers = {}
    for name in of_shop:
        body = (expected.DEMO / "orders" / f"{name}.json").read_bytes()
        response = client.post(
            "/v1/validate", data=body, content_type="application/json", headers=collective.headers(shop, "counter")
        )
        assert response.status_code == 200, (name, response.get_data(as_text=True))
        document = response.get_json()
        answers[name] = {"verdict": document["verdict"]} | expected.rules_by_level(document, expected.read_order(name))
    assert answers == {
        name: {key: value for key, value in wanted.items() if key in ("verdict", *LEVELS)}
        for name, wanted in of_shop.items()
    }
