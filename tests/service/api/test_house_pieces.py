"""House rules piece by piece: one rule, one limit; each with an ETag of its own, all of them one version together."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from tests.service.conftest import ok

WHOLE = "/v1/shop/house-rules"
RULE = {
    "level": "requires",
    "title": "Cloth is looked at twice",
    "about": "item",
    "when": "item.textile",
    "because": "This shop looks at every piece of cloth twice.",
    "fix": "Have a colleague look at it.",
    "sources": ["project-choice"],
    "fires": [{"note": "a tee", "item": {"blank": "tee-heavy-white"}}],
    "silent": [{"facts": {"item.textile": False}}],
}
# It blocks every heat and dwell that a hand would not hold, so every one of them would be tried on every press.
_WARM, _LONG = "people.touch_hold_most + 1 step", "prepress.time_least"
DEAR = RULE | {
    "level": "blocks",
    "about": "settings",
    "when": "set.surface_c > limit('people.touch_hold_most') and set.time_s >= limit('prepress.time_least')",
    "fires": [{}, {"facts": {"set.surface_c": _WARM, "set.time_s": _LONG}}],
    "silent": [
        {"facts": {"set.surface_c": "people.touch_hold_most", "set.time_s": _LONG}},
        {"facts": {"set.surface_c": _WARM, "set.time_s": f"{_LONG} - 1 step"}},
    ],
}
STRICTER, STRICTEST, LOOSER = "185 °C", "184 °C", "195 °C"  # of fumes.pvc_most, which the book has at 190 °C


@pytest.fixture
def owner(changing: Any) -> dict[str, str]:
    """The owner's headers, of a shop without house rules."""
    headers = dict(changing.headers("quay-side", "owner"))
    tag = changing.first.get(WHOLE, headers=headers).headers["ETag"]
    ok(changing.first.put(WHOLE, json={}, headers=headers | {"If-Match": tag}))
    return headers


def rule(id_: str, **changed: Any) -> dict[str, Any]:
    return {"id": id_, "rule": RULE | changed}


def version(changing: Any, owner: dict[str, str]) -> int:
    number: int = changing.first.get("/v1/shop/status", headers=owner).json["house_rules"]["version"]
    return number


def replaced(changing: Any, path: str, body: Any, owner: dict[str, str], **more: Any) -> Any:
    tag = changing.first.get(path, headers=owner).headers["ETag"]
    return changing.first.put(path, json=body, headers=owner | {"If-Match": tag}, **more)


def test_a_rule_is_added_replaced_and_removed_and_the_rest_stays(changing: Any, owner: dict[str, str]) -> None:
    assert replaced(changing, f"{WHOLE}/limits/press.parts_most", {"id": "press.parts_most", "value": 2}, owner)
    before = version(changing, owner)
    made = changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner)
    assert (made.status_code, made.headers["Location"]) == (201, f"{WHOLE}/rules/house.twice")
    read = changing.second.get(made.headers["Location"], headers=owner)
    assert read.json == rule("house.twice") == made.json
    assert read.headers["ETag"] == made.headers["ETag"]
    wish = rule("house.twice", title="Cloth is looked at thrice")
    done = changing.first.put(
        f"{WHOLE}/rules/house.twice", json=wish, headers=owner | {"If-Match": read.headers["ETag"]}
    )
    assert (done.status_code, done.json) == (200, wish)
    whole = changing.second.get(WHOLE, headers=owner)
    assert whole.json["rules"] == {"house.twice": wish["rule"]}
    assert whole.json["limits"] == {"press.parts_most": 2}
    stale = changing.first.delete(f"{WHOLE}/rules/house.twice", headers=owner | {"If-Match": read.headers["ETag"]})
    assert (stale.status_code, stale.json["type"]) == (412, "/problems/changed-meanwhile")
    assert changing.first.delete(f"{WHOLE}/rules/house.twice", headers=owner).status_code == 428
    trial = changing.first.delete(
        f"{WHOLE}/rules/house.twice?validate_only=true", headers=owner | {"If-Match": done.headers["ETag"]}
    )
    assert ok(trial)["rules"] == {}
    assert changing.first.get(f"{WHOLE}/rules/house.twice", headers=owner).status_code == 200
    gone = changing.first.delete(f"{WHOLE}/rules/house.twice", headers=owner | {"If-Match": done.headers["ETag"]})
    left = changing.second.get(WHOLE, headers=owner)
    assert (ok(gone), gone.headers["ETag"]) == (left.json, left.headers["ETag"])
    assert (left.json["rules"], left.json["limits"]) == ({}, {"press.parts_most": 2})
    assert changing.first.get(f"{WHOLE}/rules/house.twice", headers=owner).status_code == 404
    assert version(changing, owner) == before + 3


def test_a_rule_of_that_name_is_not_added_twice(changing: Any, owner: dict[str, str]) -> None:
    assert changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner).status_code == 201
    again = changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner)
    assert (again.status_code, again.json["type"]) == (409, "/problems/already-there")
    assert "PUT" in again.json["detail"]


def test_rules_added_at_once_are_all_kept(changing: Any, owner: dict[str, str]) -> None:
    """Nobody who adds is in the way of who adds another."""

    def added(number: int) -> int:
        client = (changing.first, changing.second)[number % 2].application.test_client()
        return int(client.post(f"{WHOLE}/rules", json=rule(f"house.n{number}"), headers=owner).status_code)

    with ThreadPoolExecutor(3) as pool:
        assert list(pool.map(added, range(3))) == [201, 201, 201]
    assert set(changing.first.get(WHOLE, headers=owner).json["rules"]) == {"house.n0", "house.n1", "house.n2"}


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        (rule("house.x", when="no.such_fact"), "/rule/when"),
        (rule("house.x", sources=["common-practise"]), "/rule/sources/0"),
        (rule("x"), "/id"),
        ({"id": "house.x"}, "/rule"),
        (rule("house.x") | {"surprise": 1}, "/surprise"),
    ],
)
def test_what_is_no_rule_is_refused_with_its_place_in_what_was_sent(
    changing: Any, owner: dict[str, str], body: Any, pointer: str
) -> None:
    refused = changing.first.post(f"{WHOLE}/rules", json=body, headers=owner)
    assert refused.status_code == 422, refused.text
    assert pointer in {error["pointer"] for error in refused.json["errors"]}
    assert changing.first.get(WHOLE, headers=owner).json["rules"] == {}


def test_a_rule_that_makes_questions_dear_is_refused_with_the_figures(changing: Any, owner: dict[str, str]) -> None:
    """Whole or as a piece."""
    dear = rule("house.never", **DEAR)
    whole = {"rules": {dear["id"]: dear["rule"]}}
    for answer, pointer in (
        (changing.first.post(f"{WHOLE}/rules", json=dear, headers=owner), "/rule"),
        (replaced(changing, WHOLE, whole, owner), "/rules/house.never"),
        (replaced(changing, WHOLE, whole, owner, query_string={"validate_only": "true"}), "/rules/house.never"),
    ):
        assert answer.status_code == 422, answer.text
        (error,) = answer.json["errors"]
        assert (error["pointer"], error["code"]) == (pointer, "too-dear")
        assert "12 prints on 40 presses" in error["message"]
        assert "weighings" in error["message"]
    assert changing.first.get(WHOLE, headers=owner).json["rules"] == {}


def test_a_body_names_the_piece_of_its_address(changing: Any, owner: dict[str, str]) -> None:
    ok(changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner))
    for path, body in (
        (f"{WHOLE}/rules/house.twice", rule("house.thrice")),
        (f"{WHOLE}/limits/fumes.pvc_most", {"id": "press.parts_most", "value": 2}),
    ):
        refused = replaced(changing, path, body, owner)
        assert (refused.status_code, [error["pointer"] for error in refused.json["errors"]]) == (422, ["/id"])


def test_a_limit_is_made_stricter_and_given_back(changing: Any, owner: dict[str, str]) -> None:
    path = f"{WHOLE}/limits/fumes.pvc_most"
    assert ok(changing.first.get(path, headers=owner)) == {"id": "fumes.pvc_most", "value": None}
    wish = {"id": "fumes.pvc_most", "value": STRICTER}
    assert ok(replaced(changing, path, wish, owner)) == wish
    assert changing.second.get(WHOLE, headers=owner).json["limits"] == {"fumes.pvc_most": STRICTER}
    assert ok(replaced(changing, path, {"id": "fumes.pvc_most", "value": None}, owner))["value"] is None
    assert changing.second.get(WHOLE, headers=owner).json["limits"] == {}
    assert changing.first.get(f"{WHOLE}/limits/no.such-limit", headers=owner).status_code == 404


def test_a_looser_limit_is_refused_with_a_witness(changing: Any, owner: dict[str, str]) -> None:
    refused = replaced(changing, f"{WHOLE}/limits/fumes.pvc_most", {"id": "fumes.pvc_most", "value": LOOSER}, owner)
    assert (refused.status_code, refused.json["type"]) == (422, "/problems/house-rules-refused")
    (refusal,) = refused.json["refusals"]
    assert (refusal["pointer"], refusal["witness"] is None) == ("/value", False)


def test_what_keeps_the_rest_from_staying_is_told_as_the_rest(changing: Any, owner: dict[str, str], store: Any) -> None:
    """As after a revision that has a limit no more: the piece that is written is sound."""
    record = store.shops.house("quay-side")
    store.shops.replace_house("quay-side", record.version, {"limits": {"gone.limit": 3}}, who="test")
    refused = changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner)
    assert refused.status_code == 422, refused.text
    assert [error["pointer"] for error in refused.json["errors"]] == [""]
    assert "/limits/gone.limit" in refused.json["errors"][0]["message"]
    path = f"{WHOLE}/limits/gone.limit"
    assert ok(replaced(changing, path, {"id": "gone.limit", "value": None}, owner))["value"] is None
    assert changing.first.get(path, headers=owner).status_code == 404
    assert changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner).status_code == 201


def test_a_piece_may_be_overtaken_by_the_whole(changing: Any, owner: dict[str, str]) -> None:
    """A writer of the whole with what was seen before a piece was written is refused, and the other way round."""
    ok(changing.first.post(f"{WHOLE}/rules", json=rule("house.twice"), headers=owner))
    whole, piece = (changing.first.get(path, headers=owner) for path in (WHOLE, f"{WHOLE}/rules/house.twice"))
    wish = rule("house.twice", title="Cloth is looked at thrice")
    ok(changing.first.put(f"{WHOLE}/rules/house.twice", json=wish, headers=owner | {"If-Match": piece.headers["ETag"]}))
    stale = changing.first.put(WHOLE, json=whole.json, headers=owner | {"If-Match": whole.headers["ETag"]})
    assert stale.status_code == 412
    ok(replaced(changing, WHOLE, whole.json, owner))
    again = changing.first.put(
        f"{WHOLE}/rules/house.twice", json=wish, headers=owner | {"If-Match": piece.headers["ETag"]}
    )
    assert ok(again) == wish, "the whole put back the very piece that was seen"


# -- versions ----------------------------------------------------------------------------------------------------------


def test_versions_of_house_rules_say_who_when_and_what_changed(changing: Any, owner: dict[str, str]) -> None:
    path = f"{WHOLE}/limits/fumes.pvc_most"
    for value in (STRICTER, STRICTEST):
        ok(replaced(changing, path, {"id": "fumes.pvc_most", "value": value}, owner))
    newest = version(changing, owner)
    listed = ok(changing.second.get(f"{WHOLE}/versions?limit=2", headers=owner))
    assert [entry["version"] for entry in listed["entries"]] == [newest, newest - 1]
    key_id = changing.first.get("/v1/shop/status", headers=owner).json["key_id"]
    for entry in listed["entries"]:
        assert entry["changed_by_id"] == key_id
        assert (entry["changed_by"]["shop_id"], entry["changed_by"]["role"]) == ("quay-side", "owner")
    one = ok(changing.second.get(f"{WHOLE}/versions/{newest}", headers=owner))
    assert one["changes"] == [{"pointer": "/limits/fumes.pvc_most", "before": STRICTER, "after": STRICTEST}]
    assert one["house_rules"] == changing.first.get(WHOLE, headers=owner).json
    old = ok(changing.second.get(f"{WHOLE}/versions/{newest - 1}", headers=owner))
    assert old["house_rules"]["limits"] == {"fumes.pvc_most": STRICTER}
    first = ok(changing.second.get(f"{WHOLE}/versions/1", headers=owner))
    assert (first["changes"], first["changes_left_out"]) == ([], 0)
    pages, address = [], f"{WHOLE}/versions?limit=1"
    while address:
        page = ok(changing.first.get(address, headers=owner))
        pages += [entry["version"] for entry in page["entries"]]
        address = page["next"]
    assert pages == list(range(newest, 0, -1))
    for nowhere in ("0", str(newest + 1), "x"):
        assert changing.first.get(f"{WHOLE}/versions/{nowhere}", headers=owner).status_code == 404


def test_versions_of_the_shop_tell_presses_apart_by_their_ids(changing: Any, owner: dict[str, str]) -> None:
    shop = changing.first.get("/v1/shop", headers=owner).json
    more = [{"id": "new-one", "type": "clamshell"}, *shop["presses"]]
    ok(replaced(changing, "/v1/shop", shop | {"presses": more}, owner))
    newest = changing.first.get("/v1/shop/status", headers=owner).json["version"]
    one = ok(changing.second.get(f"/v1/shop/versions/{newest}", headers=owner))
    assert one["changes"] == [{"pointer": "/presses/0", "before": None, "after": more[0]}]
    assert one["shop"]["presses"] == more
    before = ok(changing.second.get(f"/v1/shop/versions/{newest - 1}", headers=owner))
    assert before["shop"] == shop
    counter = changing.headers("mill-loft", "counter")
    assert [entry["version"] for entry in ok(changing.first.get("/v1/shop/versions", headers=counter))["entries"]] == [
        1
    ], "each shop reads its own"
