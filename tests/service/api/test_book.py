"""The book over HTTP: catalogue, limits, sources, rules; pages, filters and ETags."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.derive import FACTS
from accord_rules.documents.reading import read
from accord_rules.load.loader import load_book
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS, Transfer
from accord_service.http.paging import cursor_after


@pytest.fixture(scope="module")
def settings() -> Book:
    return load_book()


def every_entry(client: FlaskClient, key: dict[str, str], address: str) -> list[dict[str, Any]]:
    """Follow ``next`` to the last page."""
    entries: list[dict[str, Any]] = []
    while address:
        page = client.get(address, headers=key).json
        entries += page["entries"]
        address = page["next"]
    return entries


def test_the_catalogue_lists_every_kind_with_its_count(
    client: FlaskClient, key: dict[str, str], settings: Book
) -> None:
    answer = client.get("/v1/catalogue", headers=key).json
    assert {kind["kind"]: kind["count"] for kind in answer["entries"]} == {k: len(settings.catalogue[k]) for k in KINDS}
    assert answer["digest"] == settings.digest
    carrying = sum(product.sheet is not None for product in settings.catalogue["products"].values())
    with_sheet = {kind["kind"]: kind["with_sheet"] for kind in answer["entries"]}
    assert with_sheet == {**dict.fromkeys(KINDS), "products": carrying}


@pytest.mark.parametrize("kind", KINDS)
def test_pages_of_any_size_give_every_entry_once(
    client: FlaskClient, key: dict[str, str], settings: Book, kind: str
) -> None:
    ids = [entry["id"] for entry in every_entry(client, key, f"/v1/catalogue/{kind}?limit=7")]
    assert ids == sorted(settings.catalogue[kind])


@pytest.mark.parametrize("address", ["limits", "sources", "rules", "steps", "facts"])
def test_other_lists_are_paged_alike(client: FlaskClient, key: dict[str, str], settings: Book, address: str) -> None:
    ids = [entry["id"] for entry in every_entry(client, key, f"/v1/{address}?limit=3")]
    assert ids == sorted(FACTS if address == "facts" else getattr(settings, address))


def test_a_page_may_begin_after_a_name_that_is_gone(client: FlaskClient, key: dict[str, str]) -> None:
    cursor = cursor_after("/v1/catalogue/coatings", "a-gone-name")
    page = client.get(f"/v1/catalogue/coatings?cursor={cursor}", headers=key).json
    ids = [entry["id"] for entry in page["entries"]]
    everything = [entry["id"] for entry in client.get("/v1/catalogue/coatings", headers=key).json["entries"]]
    assert ids == [id_ for id_ in everything if id_ > "a-gone-name"]


@pytest.mark.parametrize("kind", KINDS)
def test_an_entry_reads_back_as_the_rules_hold_it(
    client: FlaskClient, key: dict[str, str], settings: Book, kind: str
) -> None:
    name = max(settings.catalogue[kind])
    answer = client.get(f"/v1/catalogue/{kind}/{name}", headers=key).json
    assert read(KINDS[kind], answer["entry"]) == settings.catalogue[kind][name]


def test_a_product_is_shown_with_what_it_takes_from_its_family(
    client: FlaskClient, key: dict[str, str], settings: Book
) -> None:
    name = "sub-paper-fast-dry"
    assert "principle" not in settings.documents["products"][name]
    entry = client.get(f"/v1/catalogue/products/{name}", headers=key).json["entry"]
    assert read(Transfer, entry).principle == "dye-vapour"


@pytest.mark.parametrize(
    "path",
    [
        "/v1/catalogue/spoons",
        "/v1/catalogue/limits",
        "/v1/catalogue/rules/x",
        "/v1/catalogue/blanks/no-such-blank",
        "/v1/limits/no-such-limit",
        "/v1/sources/no-such-source",
        "/v1/rules/no-such-rule",
        "/v1/rules/..%2f..%2fetc",
        "/v1/rules/%00",
        "/v1/steps/no-such-step",
        "/v1/facts/item.no_such_fact",
        "/v1/facts/%00",
    ],
)
def test_names_that_are_not_in_the_book_are_not_found(client: FlaskClient, key: dict[str, str], path: str) -> None:
    answer = client.get(path, headers=key)
    assert answer.status_code == 404
    assert answer.json["type"] == "/problems/not-found"


def test_a_word_for_an_entry_is_answered_with_its_name(client: FlaskClient, key: dict[str, str]) -> None:
    for path, names in (
        ("transfers/dtf", ["powder-film"]),
        ("press_types/Heat Press", ["clamshell", "swing-away", "draw"]),
        ("blanks/neck gaiter", ["neck-tube-white"]),
    ):
        answer = client.get(f"/v1/catalogue/{path}", headers=key)
        assert answer.status_code == 404
        (error,) = answer.json["errors"]
        assert error["allowed"] == names
        assert all(name in answer.json["detail"] for name in names)


def test_entries_are_shown_with_their_other_words(client: FlaskClient, key: dict[str, str]) -> None:
    assert "dtf" in client.get("/v1/catalogue/transfers/powder-film", headers=key).json["entry"]["aliases"]
    listed = client.get("/v1/catalogue/press_types?limit=200", headers=key).json["entries"]
    (draw,) = [line["entry"] for line in listed if line["id"] == "draw"]
    assert "drawer" in draw["aliases"]


def test_a_limit_names_the_rules_that_use_it(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    """By the rules as their files have them: ``limit('name')`` in conditions, ``limit(name)`` in sentences."""
    texts = {
        id_: " ".join((rule["when"], rule["because"], rule["fix"])).replace("'", "")
        for id_, rule in settings.documents["rules"].items()
    }
    limits = {name: client.get(f"/v1/limits/{name}", headers=key).json for name in settings.limits}
    assert {name: answer["entry"] for name, answer in limits.items()} == settings.documents["limits"]
    used = {name: {id_ for id_, text in texts.items() if f"limit({name})" in text} for name in limits}
    assert {name: set(answer["rules"]) for name, answer in limits.items()} == used
    assert "dye-paler-on-blend" in used["dye.polyester_share_full"]


def test_a_source_names_what_rests_on_it(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    answer = client.get("/v1/sources/common-practice", headers=key).json
    assert answer["entry"]["kind"] == "common-practice"
    for kind in ("rules", "limits"):
        entries = settings.documents[kind].items()
        resting = sorted(name for name, entry in entries if "common-practice" in entry["sources"])
        assert resting
        assert answer[kind] == resting


def test_rules_are_filtered_by_topic_and_level(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    chosen = min(settings.rules.values(), key=lambda rule: rule.id)
    address = f"/v1/rules?topic={chosen.topic}&level={chosen.level}&limit=1"
    ids = {rule["id"] for rule in every_entry(client, key, address)}
    wanted = {r.id for r in settings.rules.values() if (r.topic, r.level) == (chosen.topic, chosen.level)}
    assert ids == wanted != set(settings.rules)


def test_a_rule_is_told_whole(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    shown_rules = {name: client.get(f"/v1/rules/{name}", headers=key).json for name in settings.rules}
    documents = settings.documents["rules"]
    assert documents, "the book has rules"
    for part in ("when", "fires", "silent"):
        shown = {name: answer["entry"][part] for name, answer in shown_rules.items()}
        assert shown == {name: document[part] for name, document in documents.items()}, part
    assert {name: answer["sources"] for name, answer in shown_rules.items()} == {
        name: document["sources"] for name, document in documents.items()
    }


def test_a_rule_says_what_its_numbers_rest_on(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    told = {name: client.get(f"/v1/rules/{name}", headers=key).json for name in settings.rules}
    for name, answer in told.items():
        assert [number["limit"] for number in answer["numbers"]] == answer["limits"], name
        rows = answer["market_rows"]
        named = {*answer["sources"], *(source for part in (*answer["numbers"], *rows) for source in part["sources"])}
        assert answer["source_kinds"] == {source: settings.sources[source].kind for source in named}, name
    (birds,) = (n for n in told["birds-near-hot-ptfe"]["numbers"] if n["limit"] == "people.ptfe_birds_from")
    assert (birds["value"], birds["kind"], birds["sources"]) == ("180 °C", "choice", ["ptfe-fumes", "project-choice"])
    assert client.get("/v1/limits/people.ptfe_birds_from", headers=key).json["kind"] == "choice"
    us = [row for row in told["cord-in-childs-hood"]["market_rows"] if row["market"] == "us"]
    assert us == [{"market": "us", "matter": "hood_cords", "kind": "published", "sources": ["drawstrings-us"]}]


def test_the_sourcing_is_told_room_by_room(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    answer = client.get("/v1/sourcing", headers=key).json
    assert {room["id"] for room in answer["rooms"]} <= {*settings.catalogue, "limits"}
    assert {"transfers", "markets", "limits"} <= {room["id"] for room in answer["rooms"]}
    for room in answer["rooms"]:
        assert sum(room["counts"].values()) == room["total"]
        assert [*room["counts"]] == answer["kinds"]
    limits = answer["safety_limits"]
    assert {limit["limit"] for limit in limits} == {n for n, limit in settings.limits.items() if limit.safety}
    assert [limits[0]["kind"], limits[-1]["kind"]] == ["choice", "published"]


def test_a_step_is_told_whole(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    told = {name: client.get(f"/v1/steps/{name}", headers=key).json for name in settings.steps}
    assert {name: answer["entry"] for name, answer in told.items()} == settings.documents["steps"]
    rules = settings.documents["rules"]
    asking = {name: sorted(id_ for id_, rule in rules.items() if rule.get("step") == name) for name in told}
    assert {name: answer["rules"] for name, answer in told.items()} == asking
    assert "protective-film-on" in asking["protective-film-off"]
    assert told["weed-and-trim"]["limits"] == ["plan.trim_margin"]
    limit = client.get("/v1/limits/plan.trim_margin", headers=key).json
    assert (limit["rules"], limit["steps"]) == ([], ["weed-and-trim"])


def test_steps_are_filtered_by_stage(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    listed = every_entry(client, key, "/v1/steps?stage=peel&limit=2")
    assert {entry["id"] for entry in listed} == {s.id for s in settings.steps.values() if s.stage == "peel"}
    assert {entry["stage"] for entry in listed} == {"peel"}


def test_a_fact_names_what_it_reads_and_who_reads_it(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    """Both ways the same; and the rules by their files, which name facts in conditions and in braces."""
    facts = {fact["id"]: fact for fact in every_entry(client, key, "/v1/facts?limit=200")}
    pairs = {(reader, name) for name, fact in facts.items() for reader in fact["read_by"]["facts"]}
    assert pairs == {(name, read_) for name, fact in facts.items() for read_ in fact["reads"]["facts"]}
    assert ("item.repellent", "item.finishes") in pairs
    texts = {
        id_: set(re.findall(r"[a-z]+\.[a-z0-9_]+", re.sub(r"limit\([^)]*\)", "", f"{rule['when']} {braced(rule)}")))
        for id_, rule in settings.documents["rules"].items()
    }
    listed = {name: [rule["id"] for rule in fact["read_by"]["rules"]] for name, fact in facts.items()}
    assert listed == {name: sorted(id_ for id_, names in texts.items() if name in names) for name in facts}
    levels = {rule["id"]: rule["level"] for fact in facts.values() for rule in fact["read_by"]["rules"]}
    assert levels == {id_: settings.rules[id_].level for id_ in levels}


def braced(rule: dict[str, Any]) -> str:
    """What a rule's sentences have in braces."""
    return " ".join(re.findall(r"\{[^}]*\}", f"{rule['because']} {rule['fix']}"))


def test_a_fact_is_told_alone_as_in_the_list(client: FlaskClient, key: dict[str, str], settings: Book) -> None:
    listed = every_entry(client, key, "/v1/facts?limit=200")
    alone = [client.get(f"/v1/facts/{fact['id']}", headers=key).json for fact in listed]
    about_the_book = {"revision": settings.revision, "digest": settings.digest}
    assert alone == [about_the_book | fact for fact in listed]


@pytest.mark.parametrize(
    ("wrong", "near"),
    [
        ("facts/item.textil", "item.textile"),
        ("catalogue/fibre", "fibres"),
        ("steps/pres-main", "press-main"),
        ("limits/press.spread_mos", "press.spread_most"),
    ],
)
def test_a_wrong_name_brings_the_nearest(client: FlaskClient, key: dict[str, str], wrong: str, near: str) -> None:
    answer = client.get(f"/v1/{wrong}", headers=key)
    assert answer.status_code == 404
    assert f"did you mean {near}" in answer.json["detail"]


READS = ["/v1/catalogue", "/v1/catalogue/fibres", "/v1/catalogue/fibres/PES", "/v1/limits", "/v1/sources", "/v1/rules",
         "/v1/sourcing",
         "/v1/steps", "/v1/steps/press-main", "/v1/facts", "/v1/facts/item.textile", "/v1/shop",
         "/v1/openapi.json"]  # fmt: skip


@pytest.mark.parametrize("path", READS)
def test_reads_carry_a_strong_etag_and_are_not_sent_twice(client: FlaskClient, key: dict[str, str], path: str) -> None:
    first = client.get(path, headers=key)
    etag = first.headers["ETag"]
    assert etag.startswith('"')  # RFC 9110 section 8.8.3: no W/, so strong
    again = client.get(path, headers=key | {"If-None-Match": etag})
    assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", etag)
    assert client.get(path, headers=key | {"If-None-Match": '"other"'}).data == first.data


def test_different_answers_have_different_etags(client: FlaskClient, key: dict[str, str]) -> None:
    assert len({client.get(path, headers=key).headers["ETag"] for path in READS}) == len(READS)


def test_a_head_request_gives_the_same_headers_and_no_body(client: FlaskClient, key: dict[str, str]) -> None:
    whole, head = client.get("/v1/rules", headers=key), client.head("/v1/rules", headers=key)
    assert head.data == b""
    assert head.headers["ETag"] == whole.headers["ETag"]
