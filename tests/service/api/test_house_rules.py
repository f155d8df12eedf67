"""House rules: a shop may be stricter, never looser; what would loosen is refused with an order that shows it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from accord_rules.revision.book import Book


def put(changing: Any, rules: dict[str, Any], **more: Any) -> Any:
    owner = changing.headers("quay-side", "owner")
    etag = changing.first.get("/v1/shop/house-rules", headers=owner).headers["ETag"]
    return changing.first.put("/v1/shop/house-rules", json=rules, headers=owner | {"If-Match": etag}, **more)


def test_without_any_there_is_version_0(changing: Any) -> None:
    answer = changing.first.get("/v1/shop/house-rules", headers=changing.headers("mill-loft", "counter"))
    nothing = {"limits": {}, "rules": {}, "without": {"products": [], "consumables": []}}
    assert answer.json == nothing
    status = changing.first.get("/v1/shop/status", headers=changing.headers("mill-loft", "counter")).json
    assert status["house_rules"] == {"version": 0, "changed_at": None}


def test_a_stricter_limit_is_answered_by_every_worker_at_once(changing: Any, order: dict[str, Any], book: Book) -> None:
    """The quay's press has no probe readings: its spread is its type's usual one."""
    spread = book.catalogue["press_types"]["swing-away"].spread
    assert spread <= book.limit_values["press.spread_most"]
    counter = changing.headers("quay-side", "counter")
    plain = changing.first.post("/v1/validate", json=order, headers=counter).json
    assert "platen-heats-unevenly" not in {finding["rule"] for finding in plain["findings"]}
    done = put(changing, {"limits": {"press.spread_most": f"{spread - 1} K"}})
    assert done.status_code == 200, done.text
    # The answer to the PUT is the promise: the very next order is judged by the new rules, on either worker.
    for client in (changing.second, changing.first):
        findings = client.post("/v1/validate", json=order, headers=counter).json["findings"]
        assert ("platen-heats-unevenly", "house") in {(finding["rule"], finding["layer"]) for finding in findings}
    strict = changing.first.post("/v1/validate", json=order, headers=counter).json
    assert strict["house_digest"] != plain["house_digest"]
    assert strict["id"] != plain["id"]
    assert put(changing, {}).status_code == 200
    for client in (changing.second, changing.first):
        assert client.post("/v1/validate", json=order, headers=counter).json == plain


def test_a_repetition_is_answered_when_the_rules_are_in_force_too(
    changing: Any, book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The connection may have ended while the first answer was waited for."""
    watch = changing.first.application.extensions["accord"].store.watch
    waits: list[int] = []
    monkeypatch.setattr(watch, "settle", lambda: waits.append(1))
    owner = changing.headers("quay-side", "owner")
    tag = changing.first.get("/v1/shop/house-rules", headers=owner).headers["ETag"]
    stricter = {"limits": {"press.spread_most": f"{book.limit_values['press.spread_most'] - 1} K"}}
    once = owner | {"If-Match": tag, "Idempotency-Key": "stricter"}
    for waited in (1, 2):
        done = changing.first.put("/v1/shop/house-rules", json=stricter, headers=once)
        assert (done.status_code, len(waits)) == (200, waited), done.text
    assert done.headers["Idempotency-Replayed"] == "true"
    assert put(changing, stricter, query_string={"validate_only": "true"}).status_code == 200
    assert len(waits) == 2, "nothing was written"
    assert put(changing, {}).status_code == 200


def test_a_looser_limit_is_refused_with_its_witness(changing: Any, book: Book) -> None:
    name = next(n for n, limit in book.limits.items() if limit.safety and limit.dimension == "percent")
    now = book.limit_values[name]
    looser = now + 5 if book.limits[name].stricter == "lower" else now - 5
    refused = put(changing, {"limits": {name: looser}})
    assert (refused.status_code, refused.json["type"]) == (422, "/problems/house-rules-refused")
    (refusal,) = refused.json["refusals"]
    assert refusal["pointer"] == refused.json["errors"][0]["pointer"] == f"/limits/{name}"
    assert "looser" in refusal["message"]
    witness = refusal["witness"]
    assert witness["order"]["decorations"]
    assert witness["lost"] or witness["shared_verdict"] != witness["house_verdict"]
    trial = put(changing, {"limits": {name: looser}}, query_string={"validate_only": "true"})
    assert trial.json["refusals"] == refused.json["refusals"]


RULE = {
    "level": "requires",
    "title": "Kids' tees get a second look",
    "about": "item",
    "when": "item.textile",
    "because": "This shop looks at every piece of cloth twice.",
    "fix": "Have a colleague look at it.",
    "sources": ["project-choice"],
    "fires": [{"note": "a tee", "item": {"blank": "tee-heavy-white"}}],
    "silent": [{"facts": {"item.textile": False}}],
}


def test_a_rule_of_its_own_finds_more_and_is_marked(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    done = put(changing, {"rules": {"house.second-look": RULE}})
    assert done.status_code == 200, done.text
    counter = changing.headers("quay-side", "counter")

    def is_found() -> bool:
        answer = changing.first.post("/v1/validate", json=order, headers=counter).json
        return ("house.second-look", "house") in {(finding["rule"], finding["layer"]) for finding in answer["findings"]}

    wait_for(is_found, seconds=2.0)
    mill = changing.first.post("/v1/validate", json=order, headers=changing.headers("mill-loft", "counter")).json
    assert "house.second-look" not in {finding["rule"] for finding in mill["findings"]}


@pytest.mark.parametrize(
    ("rules", "pointer"),
    [
        ({"limits": {"no.such-limit": 1}}, "/limits/no.such-limit"),
        ({"limits": {"press.spread_most": 5}}, "/limits/press.spread_most"),
        ({"rules": {"second-look": RULE}}, "/rules/second-look"),
        ({"rules": {"house.x": RULE | {"when": "no.such_fact"}}}, "/rules/house.x/when"),
        (
            {"rules": {"house.x": RULE | {"fires": [{"facts": {"item.textil": False}}]}}},
            "/rules/house.x/fires/0/facts/item.textil",
        ),
        ({"rules": {"house.x": RULE | {"fix": "Mind {item.textil}."}}}, "/rules/house.x/fix"),
        ({"rules": {"house.x": RULE | {"sources": ["common-practise"]}}}, "/rules/house.x/sources/0"),
        ({"rules": {"house.x": "text"}}, "/rules/house.x"),
        ({"without": {"products": ["no-such-product"]}}, "/without/products/0"),
        ({"surprise": 1}, "/surprise"),
    ],
)
def test_what_does_not_fit_the_book_is_refused_with_its_place(
    changing: Any, rules: dict[str, Any], pointer: str
) -> None:
    refused = put(changing, rules)
    assert refused.status_code == 422, refused.text
    assert pointer in {error["pointer"] for error in refused.json["errors"]}


def test_products_left_out_are_not_recommended(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    counter = changing.headers("quay-side", "counter")
    wish = order | {"decorations": [{"placement": "front", "size": {"width": "8 in", "height": "8 in"}}]}
    assert put(changing, {}).status_code == 200
    wait_for(lambda: bool(changing.first.post("/v1/recommend", json=wish, headers=counter).json["plans"]), seconds=2.0)
    assert put(changing, {"without": {"products": ["sub-paper-fast-dry"]}}).status_code == 200
    wait_for(lambda: not changing.first.post("/v1/recommend", json=wish, headers=counter).json["plans"], seconds=2.0)


def findings_counted(changing: Any) -> dict[tuple[str, str, str], float]:
    """(layer, rule, level) to how often, as anybody without a key reads it."""
    samples = re.findall(
        r'^accord_findings_total\{layer="(.*?)",level="(.*?)",rule="(.*?)"\} ([\d.e+]+)$',
        changing.first.get("/metrics").text,
        re.MULTILINE,
    )
    return {(layer, rule, level): float(count) for layer, level, rule, count in samples}


def test_the_counters_that_anybody_reads_do_not_name_house_rules(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    counter = changing.headers("quay-side", "counter")
    own = {f"house.secret-recipe-{number}": RULE for number in range(3)}
    assert put(changing, {"rules": own, "limits": {"press.spread_most": "2 K"}}).status_code == 200

    def layers() -> dict[str, str]:
        findings = changing.first.post("/v1/validate", json=order, headers=counter).json["findings"]
        return {finding["rule"]: finding["layer"] for finding in findings}

    wait_for(lambda: own.keys() <= layers().keys(), seconds=2.0)
    before, marked, after = findings_counted(changing), layers(), findings_counted(changing)
    assert marked["platen-heats-unevenly"] == "house", "the book's rule, by the shop's limit"
    house = {place: count - before.get(place, 0) for place, count in after.items() if place[0] == "house"}
    assert sum(house.values()) == list(marked.values()).count("house")
    assert {rule for _, rule, _ in house} == {""}
    assert "secret-recipe" not in changing.first.get("/metrics").text
    shared = {name for name, layer in marked.items() if layer == "shared"}
    assert shared, "the order has a finding of the book's own"
    assert shared <= {rule for layer, rule, _ in after if layer == "shared"}
    assert put(changing, {}).status_code == 200
