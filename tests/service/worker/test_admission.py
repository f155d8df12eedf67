"""Heavy questions and their places, in process; what the server does with them: ``serving/test_heavy.py``."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.shop import Shop
from accord_service.api import examples
from accord_service.store import Store
from accord_service.worker import admission
from accord_service.worker.admission import HandedOn, asker, is_heavy, public_most, reserving, shop_of

QUESTIONS = ("/v1/recommend", "/v1/envelope")


def prints(order: dict[str, Any], count: int) -> dict[str, Any]:
    return order | {"decorations": order["decorations"] * count}


@pytest.mark.parametrize("path", QUESTIONS)
def test_a_heavy_question_without_a_place_is_told_when_to_come_back(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], path: str
) -> None:
    with reserving(lambda key, lane: False):
        answer = client.post(path, json=order, headers=key)
    assert (answer.status_code, answer.json["type"]) == (503, "/problems/too-many-heavy-questions")
    assert int(answer.headers["Retry-After"]) > 0


@pytest.mark.parametrize("path", QUESTIONS)
def test_one_with_a_place_goes_there_unanswered_under_its_key(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], path: str
) -> None:
    reserved: list[str] = []
    with reserving(lambda key, lane: reserved.append(key) or True), pytest.raises(HandedOn) as handed:
        client.post(path, json=order, headers=key)
    assert reserved == [handed.value.key]
    assert shop_of(handed.value.key) == "quay-side"
    with reserving(None):
        assert client.post(path, json=order, headers=key).status_code == 200


@pytest.mark.parametrize("path", ["/docs", "/v1/openapi.json"])
def test_the_description_is_made_once_and_elsewhere(changing: Any, path: str) -> None:
    """It takes a second or two, and whoever asks needs no key: all who do share the places of one."""
    client = changing.first
    client.application.extensions["accord"].described_as.clear()
    reserved: list[str] = []
    with reserving(lambda key, lane: reserved.append(key) or True), pytest.raises(HandedOn):
        client.get(path)
    assert len(reserved) == 1
    assert shop_of(reserved[0]) != "collective"
    with reserving(lambda key, lane: False):
        refused = client.get(path)
    assert (refused.status_code, refused.json["type"]) == (503, "/problems/too-many-heavy-questions")
    with reserving(None):
        made = client.get(path)
    with reserving(lambda key, lane: False):
        again = client.get(path)
        assert (again.status_code, again.data) == (200, made.data), "these bytes are there"
        unchanged = client.get(path, headers={"If-None-Match": made.headers["ETag"]})
    assert (unchanged.status_code, unchanged.data) == (304, b"")


@pytest.mark.parametrize(
    ("path", "heavy"),
    [("/v1/revisions/1", False), ("/v1/revisions/1?documents=true", True), ("/v1/sourcing", True)],
)
def test_a_read_that_takes_long_has_a_place_among_those(changing: Any, path: str, heavy: bool) -> None:
    headers = changing.headers("quay-side", "counter")
    with reserving(lambda key, lane: False):
        assert changing.first.get(path, headers=headers).status_code == (503 if heavy else 200)


def test_writes_that_load_a_book_go_to_a_lane_of_their_own(changing: Any) -> None:
    """Drafts and house rules: they hold up no quick answer, and no recommendation either."""
    lanes: list[str] = []
    headers, client = changing.headers("quay-side", "owner"), changing.first
    base = client.get("/v1/revisions", headers=headers).json["entries"][0]
    source = {"title": "New", "kind": "from-memory", "text": "Remembered.", "speaks_of": ["press"]}
    draft = {
        "base": {"revision": base["revision"], "digest": base["digest"]},
        "changes": [{"kind": "sources", "id": "remembered", "value": source}],
        "reason": "Missing.",
        "evidence": "None.",
    }
    etag = client.get("/v1/shop/house-rules", headers=headers).headers["ETag"]
    asks = [
        lambda: client.post("/v1/proposals", json=draft, headers=headers),
        lambda: client.put("/v1/shop/house-rules", json={}, headers=headers | {"If-Match": etag}),
        lambda: client.post("/v1/revisions/1/revert", json={"reason": "Back."}, headers=headers),
    ]
    for ask in asks:
        with reserving(lambda key, lane: lanes.append(lane) or True), pytest.raises(HandedOn):
            ask()
    assert lanes == [admission.BOOKS] * 3
    assert client.get("/v1/proposals", headers=headers).json["entries"] == [], (
        "nothing is written where it is handed on"
    )


def test_the_collectives_keys_share_nothing() -> None:
    assert shop_of(asker("quay-side", "key_a")) == shop_of(asker("quay-side", "key_b"))
    assert shop_of(asker("collective", "key_a")) != shop_of(asker("collective", "key_b"))


def test_all_storefronts_of_a_shop_have_two_places_together() -> None:
    """Their keys are public: with many of them nobody takes more of the shop's places, or of the house's, than this."""
    pages = {asker("quay-side", key, "storefront") for key in ("key_a", "key_b")}
    assert {public_most(page) for page in pages} == {2}
    assert len(pages) == 1
    assert shop_of(pages.pop()) == shop_of(asker("quay-side", "key_c", "counter"))
    assert public_most(asker("quay-side", "key_c", "counter")) is None


def test_an_order_recorded_in_the_lane_is_recorded_once_and_counted_once(
    changing: Any, store: Store, order: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is written where it is handed on; asked again it is heavy, since it is judged three times over."""
    monkeypatch.setattr(admission, "HEAVY_FROM", 2)  # the shop has one press
    headers, client = changing.headers("quay-side", "counter"), changing.first
    several = prints(order, 2) | {"reference": "two fronts"}

    def recorded() -> int:
        return len(store.records.page("quay-side", "two fronts").items)

    def left() -> int:
        return int(client.get("/v1/shop", headers=headers).headers["RateLimit"].split("r=")[1].split(";")[0])

    before = left()
    with reserving(lambda key, lane: True), pytest.raises(HandedOn):
        client.post("/v1/records", json=several, headers=headers)
    assert recorded() == 0
    with reserving(None):
        answer = client.post("/v1/records", json=several, headers=headers)
    assert (answer.status_code, recorded()) == (201, 1)
    assert before - left() == 2, "the order once, and the look"
    replay = f"/v1/records/{answer.json['record_id']}/replay"
    with reserving(lambda key, lane: True), pytest.raises(HandedOn):
        client.get(replay, headers=headers)
    with reserving(None):
        assert client.get(replay, headers=headers).json["same"]


def test_what_is_refused_or_plain_takes_no_place(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    with reserving(lambda key, lane: pytest.fail("no place is needed")):
        assert client.post("/v1/validate", json=order, headers=key).status_code == 200
        assert client.post("/v1/recommend", json=order).status_code == 401
        assert client.post("/v1/recommend", json={"item": 7}, headers=key).status_code == 422
        assert client.get("/v1/rules", headers=key).status_code == 200


def test_an_order_is_heavy_by_its_prints_and_the_shops_presses(order: dict[str, Any]) -> None:
    shop = {**examples.SHOP}
    press = shop["presses"][0]

    def heavy(count: int, presses: int) -> bool:
        several = [{**press, "id": f"press-{number}"} for number in range(presses)]
        return is_heavy(read(Order, prints(order, count)), read(Shop, {**shop, "presses": several}))

    assert not heavy(1, 40), "a single print is never heavy"
    assert [heavy(4, 4), heavy(5, 4), heavy(12, 1), heavy(12, 2)] == [False, True, False, True]
