"""POST /v1/validate and /v1/recommend: the answer's shape, its bytes, and whose shop it is for."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.verdict import VERDICTS


def test_an_order_gets_its_verdict(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    answer = client.post("/v1/validate", json=order, headers=key)
    assert answer.status_code == 200
    assert answer.mimetype == "application/json"
    assert answer.json["verdict"] in VERDICTS
    assert answer.json["id"].startswith("vd_")
    assert answer.json["reference"] == "QS-7"
    assert answer.json["revision"] == 1
    assert answer.json["digest"].startswith("sha256:")


def test_sublimation_on_plain_cotton_is_rejected_and_that_is_a_200(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    """Disperse dye does not take on cellulose: common practice, and the dye's chemistry."""
    order["item"] = {"blank": "tee-heavy-white", "fibres": {"CO": 100}}
    answer = client.post("/v1/validate", json=order, headers=key)
    assert answer.status_code == 200
    assert answer.json["verdict"] == "rejected"
    assert any(finding["level"] == "blocks" for finding in answer.json["findings"])


def test_the_same_question_gives_the_same_bytes(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    """Whatever the spelling: order of keys, spaces, another unit for the same quantity."""
    reordered = {name: order[name] for name in reversed(order)}
    reordered["decorations"] = [order["decorations"][0] | {"settings": {"time": "50 s", "temperature": "200 °C"}}]
    first = client.post("/v1/validate", json=order, headers=key)
    second = client.post(
        "/v1/validate", data=json.dumps(reordered, indent=3), content_type="application/json", headers=key
    )
    assert first.data == second.data


@pytest.mark.parametrize("role", ["counter", "operator", "owner", "steward", "admin"])
@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend"])
def test_every_role_may_ask(client: FlaskClient, collective: Any, order: dict[str, Any], path: str, role: str) -> None:
    assert client.post(path, json=order, headers=collective.headers("quay-side", role)).status_code == 200


def test_the_press_is_looked_for_in_the_callers_shop_alone(
    client: FlaskClient, collective: Any, key: dict[str, str], order: dict[str, Any]
) -> None:
    order["press"] = "big-swing"
    others = collective.headers("mill-loft", "counter")
    assert client.post("/v1/validate", json=order, headers=others).status_code == 200
    refused = client.post("/v1/validate", json=order, headers=key)
    assert refused.status_code == 422
    assert "big-swing" not in refused.json["errors"][0]["allowed"]


def test_a_recommendation_gives_plans(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    del order["decorations"][0]["settings"]
    answer = client.post("/v1/recommend", json=order | {"prefer": ["durability", "cost"]}, headers=key)
    assert answer.status_code == 200
    assert answer.json["reference"] == "QS-7"
    assert answer.json["plans"][0]["rank"] == 1
    assert {plan["verdict"] for plan in answer.json["plans"]} <= {"accepted", "conditional"}


def test_preferences_are_taken_and_turn_no_verdict(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    plain, wished = (
        client.post("/v1/validate", json=order | wishes, headers=key) for wishes in ({}, {"prefer": ["cost"]})
    )
    assert plain.status_code == wished.status_code == 200
    assert plain.data == wished.data
    odd = client.post("/v1/validate", json=order | {"prefer": ["beauty"]}, headers=key)
    assert (odd.status_code, odd.json["errors"][0]["pointer"]) == (422, "/prefer/0")


def test_what_was_observed_and_what_it_takes_to_draw_are_told_on_request(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    bare, full = (
        client.post(f"/v1/validate{query}", json=order, headers=key).json["findings"]
        for query in ("", "?include=observed")
    )
    assert [finding.pop("observed") != {} for finding in full] == [True] * len(full) != []
    assert bare == full
    del order["decorations"][0]["settings"]
    answers = [
        client.post(f"/v1/recommend{query}", json=order, headers=key).json["plans"]
        for query in ("", "?plans=1&include=curve,observed")
    ]
    curves = [["curve" in plan["decorations"][0]["explained"]["heat"] for plan in plans] for plans in answers]
    assert (set(curves[0]), curves[1]) == ({False}, [True])


@pytest.mark.parametrize(
    "query", ["include=colour", "include=curve,curve", "include=", "plans=0", "plans=11", "plans=x"]
)
def test_what_cannot_be_included_is_refused_by_name(
    query: str, client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    refused = client.post(f"/v1/recommend?{query}", json=order, headers=key)
    assert refused.status_code == 400
    (fault,) = refused.json["errors"]
    assert query.split("=")[0] in str(fault)


def test_verdicts_and_findings_are_counted(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    verdict = client.post("/v1/validate", json=order, headers=key).json["verdict"]
    before = counter(client, f'accord_verdicts_total{{verdict="{verdict}"}}')
    client.post("/v1/validate", json=order, headers=key)
    assert counter(client, f'accord_verdicts_total{{verdict="{verdict}"}}') == before + 1
    series = 'accord_engine_doubts_total{kind="disagreement",layer="shared",network="order"}'
    assert counter(client, series) == 0


def counter(client: FlaskClient, series: str) -> float:
    lines = client.get("/metrics").text.splitlines()
    return next(float(line.rpartition(" ")[2]) for line in lines if line.startswith(series))
