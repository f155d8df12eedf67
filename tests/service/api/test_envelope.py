"""POST /v1/envelope: the answer's shape, and that what it allows validates through the same door."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient


@pytest.fixture
def open_order(order: dict[str, Any]) -> dict[str, Any]:
    for decoration in order["decorations"]:
        decoration.pop("settings", None)
        decoration.pop("size", None)
    return order


def test_an_envelope_gives_ranges_by_press(
    client: FlaskClient, key: dict[str, str], open_order: dict[str, Any]
) -> None:
    answer = client.post("/v1/envelope", json=open_order, headers=key)
    assert answer.status_code == 200
    envelope = answer.json
    assert envelope["reference"] == "QS-7"
    assert envelope["presses"]
    assert [on["press"] for on in envelope["on"]] == envelope["presses"]
    for on in envelope["on"]:
        (decoration,) = on["decorations"]
        assert decoration["transfer"] in envelope["transfers"][0]
        for name in ("temperature", "time", "size"):
            assert decoration[name]


def test_both_ends_validate(client: FlaskClient, key: dict[str, str], open_order: dict[str, Any]) -> None:
    envelope = client.post("/v1/envelope", json=open_order, headers=key).json
    press, (decoration,) = envelope["on"][0]["press"], envelope["on"][0]["decorations"]
    for name in ("temperature", "time"):
        for end in ("least", "most"):
            settings = {"settings": {name: decoration[name][0][end]}, "transfer": decoration["transfer"]}
            filled = open_order | {"press": press, "decorations": [open_order["decorations"][0] | settings]}
            verdict = client.post("/v1/validate", json=filled, headers=key).json
            assert verdict["verdict"] in ("accepted", "conditional")


def test_the_same_question_gives_the_same_bytes(
    client: FlaskClient, key: dict[str, str], open_order: dict[str, Any]
) -> None:
    first, second = (client.post("/v1/envelope", json=open_order, headers=key).data for _ in range(2))
    assert first == second


def test_nothing_allowed_is_a_200_that_says_why(
    client: FlaskClient, key: dict[str, str], open_order: dict[str, Any]
) -> None:
    open_order["item"] = {"blank": "tee-heavy-white"}
    for decoration in open_order["decorations"]:
        decoration["transfer"] = "dye-sublimation"
    answer = client.post("/v1/envelope", json=open_order, headers=key)
    assert answer.status_code == 200
    assert answer.json["presses"] == answer.json["on"] == []
    assert "dye-on-natural-fibre" in {f["rule"] for out in answer.json["ruled_out"] for f in out["findings"]}
