"""Everything a request can get wrong: refused with its status, its place and what would do, never with a 500."""

from __future__ import annotations

import copy
import json
import re
from dataclasses import dataclass
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.documents.reading import CODES
from accord_rules.load.loader import load_book
from accord_rules.orders import sheet as sheets

JSON = {"Content-Type": "application/json"}
ORDER: dict[str, Any] = {
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "front", "size": {"width": "8 in", "height": "8 in"}}],
    "quantity": 12,
}


def changed(pointer: str, value: Any) -> bytes:
    """The sound order with one value set."""
    document = copy.deepcopy(ORDER)
    *path, last = pointer.strip("/").split("/")
    place: Any = document
    for token in path:
        place = place[int(token)] if isinstance(place, list) else place.setdefault(token, {})
    place[last] = value
    return json.dumps(document).encode()


def raw(pointer: str, text: str) -> bytes:
    """The sound order with one value written as ``text``, which need not be JSON."""
    return changed(pointer, "@here@").replace(b'"@here@"', text.encode())


@dataclass(frozen=True)
class Bad:
    note: str
    body: bytes
    status: int
    slug: str
    pointer: str = ""
    allowed: list[str] | None = None


SETTINGS = "/decorations/0/settings"
MALFORMED = [
    Bad("empty body", b"", 400, "malformed-json"),
    Bad("not JSON", b"item=tee", 400, "malformed-json"),
    Bad("cut short", b'{"item": {"blank": "tee', 400, "malformed-json"),
    Bad("a list at the top", b"[]", 400, "malformed-json"),
    Bad("null at the top", b"null", 400, "malformed-json"),
    Bad("not UTF-8", b'{"reference": "\xe9"}', 400, "malformed-json"),
    Bad("NaN", raw("/item/care/iron", "NaN"), 400, "malformed-json", "/item/care/iron"),
    Bad("Infinity", raw("/quantity", "Infinity"), 400, "malformed-json", "/quantity"),
    Bad("an exponent beyond all floats", raw("/use/age_to", "1e999"), 400, "malformed-json", "/use/age_to"),
    Bad("a number beyond 2^53", raw("/quantity", "9007199254740993"), 400, "malformed-json", "/quantity"),
    Bad("a number of 5000 digits", raw("/quantity", "9" * 5000), 400, "malformed-json", "/quantity"),
    Bad("a key twice", raw("/use", '{"age_to": 3, "age_to": 30}'), 400, "malformed-json", "/use/age_to"),
    Bad("half a surrogate pair", raw("/reference", '"\\ud83d"'), 400, "malformed-json", "/reference"),
    Bad("nested 100,000 deep", raw("/item", "[" * 100_000 + "]" * 100_000), 400, "malformed-json"),
    Bad("nested 100,000 deep, never closed", b'{"a":' * 100_000, 413, "body-too-large"),
    Bad("10 MB", changed("/reference", "x" * 10_000_000), 413, "body-too-large"),
]
FAULTY = [
    Bad("an unknown field", changed("/colour", "red"), 422, "faulty-document", "/colour",
        ["item", "decorations", "reference", "use", "press", "quantity", "due_in", "pressed_on", "evidence",
         "prefer"]),
    Bad("an unknown field inside", changed(f"{SETTINGS}/temp", "200 °C"), 422, "faulty-document", f"{SETTINGS}/temp",
        ["temperature", "read_at", "time", "pressure", "peel", "cover", "pad", "tape", "pre_press", "second_press",
         "pressings"]),
    Bad("a field missing", b'{"item": {}}', 422, "faulty-document", "/decorations", []),
    Bad("no decorations", changed("/decorations", []), 422, "faulty-document", "/decorations", []),
    Bad("a number without unit", changed(f"{SETTINGS}/temperature", 180), 422, "faulty-document",
        f"{SETTINGS}/temperature", ["180 °C", "180 °F", "180 K"]),
    Bad("a text without unit", changed(f"{SETTINGS}/temperature", "180"), 422, "faulty-document",
        f"{SETTINGS}/temperature", ["180 °C", "180 °F", "180 K"]),
    Bad("another dimension's unit", changed(f"{SETTINGS}/temperature", "70 s"), 422, "faulty-document",
        f"{SETTINGS}/temperature", ["70 °C", "70 °F", "70 K"]),
    Bad("below absolute zero", changed(f"{SETTINGS}/temperature", "-300 °C"), 422, "faulty-document",
        f"{SETTINGS}/temperature", []),
    Bad("no time at all", changed(f"{SETTINGS}/time", "0 s"), 422, "faulty-document", f"{SETTINGS}/time", []),
    Bad("a month of pressing", changed(f"{SETTINGS}/time", "900 h"), 422, "faulty-document", f"{SETTINGS}/time",
        ["900 s", "900 min"]),
    Bad("°F written as °C", changed(f"{SETTINGS}/temperature", "320 °C"), 422, "faulty-document",
        f"{SETTINGS}/temperature", ["320 °F"]),
    Bad("a comma that may part thousands", changed("/decorations/0/size/width", "1,500 mm"), 422, "faulty-document",
        "/decorations/0/size/width", ["1500 mm", "1.5 mm"]),
    Bad("a fraction without its unit", changed("/decorations/0/size/width", "5 7/8"), 422, "faulty-document",
        "/decorations/0/size/width",
        ["5.875 mm", "5.875 cm", "5.875 m", "5.875 in", "5.875 µm", "5.875 ft", "5.875 yd"]),
    Bad("a negative width", changed("/decorations/0/size/width", "-3 in"), 422, "faulty-document",
        "/decorations/0/size/width", []),
    Bad("an exponent in a quantity", changed(f"{SETTINGS}/temperature", "2e2 °C"), 422, "faulty-document",
        f"{SETTINGS}/temperature", []),
    Bad("NaN as a quantity", changed(f"{SETTINGS}/temperature", "NaN °C"), 422, "faulty-document",
        f"{SETTINGS}/temperature", []),
    Bad("digits of another script", changed(f"{SETTINGS}/temperature", "٢٠٠ °C"), 422, "faulty-document",
        f"{SETTINGS}/temperature", []),
    Bad("true for a number", changed("/quantity", True), 422, "faulty-document", "/quantity", []),
    Bad("1 for true", changed("/decorations/0/artwork/white", 1), 422, "faulty-document",
        "/decorations/0/artwork/white", ["true", "false"]),
    Bad('"200" for a number', changed("/quantity", "200"), 422, "faulty-document", "/quantity", []),
    Bad("3.7 for a whole number", changed("/quantity", 3.7), 422, "faulty-document", "/quantity", []),
    Bad("3.0 for a whole number", changed("/quantity", 3.0), 422, "faulty-document", "/quantity", []),
    Bad("3e0 for a whole number", raw("/quantity", "3e0"), 422, "faulty-document", "/quantity", []),
    Bad("none of it", changed("/quantity", 0), 422, "faulty-document", "/quantity", []),
    Bad("2^53 of it", changed("/quantity", 2**53), 422, "faulty-document", "/quantity", []),
    Bad("null", changed("/item/coating", None), 422, "faulty-document", "/item/coating", []),
    Bad("a list for an object", changed("/item", []), 422, "faulty-document", "/item", []),
    Bad("an object for a list", changed("/decorations", {}), 422, "faulty-document", "/decorations", []),
    Bad("a word that is none", changed(f"{SETTINGS}/peel", "lukewarm"), 422, "faulty-document", f"{SETTINGS}/peel",
        list(sheets.PEELS)),
    Bad("the same thing twice", changed("/item/features", ["zip", "zip"]), 422, "faulty-document", "/item/features",
        []),
    Bad("too many decorations", changed("/decorations", [{}] * 13), 422, "faulty-document", "/decorations", []),
    Bad("a control character", changed("/reference", "a\x00b"), 422, "faulty-document", "/reference", []),
    Bad("a share over 100 %", changed("/item/fibres", {"PES": 101}), 422, "faulty-document", "/item/fibres/PES", []),
    Bad("a press of nobody", changed("/press", "no-such-press"), 422, "faulty-document", "/press", ["bench-38"]),
    Bad("fibres that sum to 90", changed("/item/fibres", {"PES": 50, "CO": 40}), 422, "faulty-document",
        "/item/fibres"),
    Bad("a blank that is not in the book", changed("/item/blank", "no-such-blank"), 422, "faulty-document",
        "/item/blank"),
    Bad("a key with a slash", changed("/item", {"a/b~c": 1}), 422, "faulty-document", "/item/a~1b~0c"),
    Bad("a key named like marshmallow's own", changed("/_schema", 1), 422, "faulty-document", "/_schema"),
]  # fmt: skip


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend"])
@pytest.mark.parametrize("bad", MALFORMED + FAULTY, ids=lambda bad: bad.note)
def test_refused_with_place_and_what_would_do(client: FlaskClient, key: dict[str, str], path: str, bad: Bad) -> None:
    answer = client.post(path, data=bad.body, headers=key | JSON)
    assert answer.status_code == bad.status
    assert answer.mimetype == "application/problem+json"
    assert answer.json["type"] == f"/problems/{bad.slug}"
    assert answer.json["status"] == bad.status
    assert answer.json["request_id"] == answer.headers["X-Request-Id"]
    if bad.status == 413:
        assert "262144 bytes" in answer.json["detail"]
        return
    assert [error["pointer"] for error in answer.json["errors"]] == [bad.pointer]
    (error,) = answer.json["errors"]
    assert re.fullmatch(r".*[^.?][.?]", error["message"], re.DOTALL), "one full stop or question mark"
    assert (error["in"], error["name"]) == ("body", None)
    assert error["code"] in CODES
    if bad.allowed is not None:
        assert sorted(error["allowed"]) == sorted(bad.allowed), "the order is another test's"


def test_the_sound_order_itself_is_answered(client: FlaskClient, key: dict[str, str]) -> None:
    """Without this, every case above could be refused for a reason of its own."""
    assert client.post("/v1/validate", data=json.dumps(ORDER), headers=key | JSON).status_code == 200


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend", "/v1/records"])
def test_names_are_looked_up_although_the_shape_is_faulty(client: FlaskClient, key: dict[str, str], path: str) -> None:
    """Whoever mends one fault is not told of the next one then."""
    body = {
        "press": "bench-83",
        "item": {"blank": "tee-heavy-whit", "colour": "whte", "fibres": {"PSE": "all"}},
        "decorations": [{"transfer": "cut-flm", "placement": "frnt", "artwork": {"palette": ["nvy"]}}, 3],
        "colour": "red",
    }
    errors = client.post(path, json=body, headers=key).json["errors"]
    first = {error["pointer"]: (error["code"], *error["allowed"][:1]) for error in errors}
    of_fibre = [error["code"] for error in errors if error["pointer"] == "/item/fibres/PSE"]
    assert sorted(of_fibre) == ["not-in-book", "wrong-type"]
    del first["/item/fibres/PSE"]
    assert len(errors) == len(first) + 2
    assert first.pop("/colour")[0] == "unknown-field"
    assert first == {
        "/press": ("not-in-shop", "bench-38"),
        "/item/blank": ("not-in-book", "tee-heavy-white"),
        "/item/colour": ("bad-format", "white"),
        "/decorations/0/transfer": ("not-in-book", "cut-film"),
        "/decorations/0/placement": ("not-allowed", "front"),
        "/decorations/0/artwork/palette/0": ("bad-format", "navy"),
        "/decorations/1": ("wrong-type",),
    }


def test_of_fibres_only_those_are_offered_that_mean_one_thing(client: FlaskClient, key: dict[str, str]) -> None:
    body = {"item": {"fibres": {"PSE": 100}}, "decorations": [{}]}
    (error,) = client.post("/v1/validate", json=body, headers=key).json["errors"]
    assert "pes" in error["allowed"][:5]
    ambiguous = {name.lower() for name in load_book().ambiguous_fibres}
    assert ambiguous
    assert not ambiguous & set(error["allowed"])


def test_names_that_are_not_in_the_book_come_with_those_that_are(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.post("/v1/validate", data=changed("/item/coating", "no-such-coating"), headers=key | JSON)
    assert answer.status_code == 422
    (error,) = answer.json["errors"]
    assert error["pointer"] == "/item/coating"
    assert "none" in error["allowed"]


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (changed("/colour", "red"), "unknown-field"),
        (b'{"item": {}}', "required"),
        (changed("/decorations", {}), "wrong-type"),
        (changed("/item", []), "wrong-type"),
        (changed("/quantity", "3"), "wrong-type"),
        (changed(f"{SETTINGS}/temperature", 180), "wrong-type"),
        (changed(f"{SETTINGS}/temperature", "180"), "bad-format"),
        (changed(f"{SETTINGS}/temperature", "-300 °C"), "out-of-range"),
        (changed("/quantity", 0), "out-of-range"),
        (changed("/decorations", []), "out-of-range"),
        (changed("/item/fibres", {"PES": 50, "CO": 40}), "out-of-range"),
        (changed("/item/colour", "no colour"), "bad-format"),
        (changed(f"{SETTINGS}/peel", "lukewarm"), "not-allowed"),
        (changed("/item/blank", "no-such-blank"), "not-in-book"),
        (changed("/press", "no-such-press"), "not-in-shop"),
        (changed("/item/features", ["zip", "zip"]), "given-twice"),
        (changed("/item/fibres", {"AC": 100}), "ambiguous"),
        (changed("/use", {"age_from": 9, "age_to": 3}), "contradiction"),
        (raw("/quantity", "NaN"), "malformed"),
    ],
)
def test_each_fault_has_a_code_that_stays(client: FlaskClient, key: dict[str, str], body: bytes, code: str) -> None:
    """A choice of this project's, which programs may rely on: a word here is never changed, only added to."""
    errors = client.post("/v1/validate", data=body, headers=key | JSON).json["errors"]
    assert code in [error["code"] for error in errors]


@pytest.mark.parametrize(
    ("pointer", "value", "nearest"),
    [
        ("/qantity", 3, "quantity"),
        (f"{SETTINGS}/temp", "200 °C", "temperature"),
        (f"{SETTINGS}/peel", "warmm", "warm"),
        ("/item/blank", "cushion-polyester-whit", "cushion-polyester-white"),
        ("/press", "bench-83", "bench-38"),
        ("/item/fibres/polyestre", 50, "polyester"),
    ],
)
def test_the_nearest_of_what_is_allowed_stands_first(
    client: FlaskClient, key: dict[str, str], pointer: str, value: Any, nearest: str
) -> None:
    errors = client.post("/v1/validate", data=changed(pointer, value), headers=key | JSON).json["errors"]
    (error,) = [error for error in errors if error["pointer"] == pointer]
    assert error["allowed"][0] == nearest


def test_what_is_left_out_of_a_long_list_is_counted(client: FlaskClient, key: dict[str, str]) -> None:
    kinds = client.get("/v1/catalogue", headers=key).json["entries"]
    (blanks,) = [listed["count"] for listed in kinds if listed["kind"] == "blanks"]
    words = sum(len(blank.aliases) for blank in load_book().catalogue["blanks"].values())
    body = changed("/item/blank", "no-such-blank")
    (error,) = client.post("/v1/validate", data=body, headers=key | JSON).json["errors"]
    assert len(error["allowed"]) == 20
    assert error["allowed_left_out"] == blanks + words - 20


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json; charset=latin-1"},
        {"Content-Type": "application/problem+json"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
    ],
)
def test_other_media_types_are_refused(client: FlaskClient, key: dict[str, str], headers: dict[str, str]) -> None:
    answer = client.post("/v1/validate", data=json.dumps(ORDER), headers=key | headers)
    assert answer.status_code == 415
    assert answer.json["type"] == "/problems/wrong-media-type"


@pytest.mark.parametrize(
    "media", ["application/json", "application/json; charset=utf-8", "Application/JSON;charset=UTF-8"]
)
def test_json_by_any_spelling_is_taken(client: FlaskClient, key: dict[str, str], media: str) -> None:
    answer = client.post("/v1/validate", data=json.dumps(ORDER), headers=key | {"Content-Type": media})
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("GET", "/v1/validate", {"OPTIONS", "POST"}),
        ("DELETE", "/v1/recommend", {"OPTIONS", "POST"}),
        ("POST", "/v1/rules", {"GET", "HEAD", "OPTIONS"}),
        ("DELETE", "/v1/shop", {"GET", "HEAD", "OPTIONS", "PUT"}),
        ("PATCH", "/healthz", {"GET", "HEAD", "OPTIONS"}),
        ("BREW", "/v1/rules", {"GET", "HEAD", "OPTIONS"}),
    ],
)
def test_other_methods_are_refused_with_those_allowed(
    client: FlaskClient, key: dict[str, str], method: str, path: str, allowed: set[str]
) -> None:
    answer = client.open(path, method=method, headers=key)
    assert answer.status_code == 405
    assert answer.json["type"] == "/problems/wrong-method"
    assert set(answer.headers["Allow"].split(", ")) == allowed


@pytest.mark.parametrize("path", ["/v1/nothing", "/v1/shop/", "/v1//shop", "/v2/validate", "/v1/rules/a/b"])
def test_other_addresses_are_not_found(client: FlaskClient, key: dict[str, str], path: str) -> None:
    answer = client.open(path=path, headers=key)
    assert answer.status_code == 404
    assert answer.json["type"] == "/problems/not-found"


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ("limit=0", "limit"),
        ("limit=many", "limit"),
        ("limit=1.0", "limit"),
        ("limit=", "limit"),
        ("limit=1&limit=2", "limit"),
        ("cursor=", "cursor"),
        ("level=severe", "level"),
        ("topic=no-such-topic", "topic"),
        ("offset=3", "offset"),
    ],
)
def test_faulty_queries_are_refused(client: FlaskClient, key: dict[str, str], query: str, name: str) -> None:
    answer = client.get(f"/v1/rules?{query}", headers=key)
    assert answer.status_code == 400
    assert answer.json["type"] == "/problems/bad-query"
    (error,) = answer.json["errors"]
    assert (error["in"], error["name"], error["pointer"]) == ("query", name, None)


@pytest.mark.parametrize(
    ("address", "name", "code", "message", "first"),
    [
        ("/v1/recommend?include=curv", "include", "not-allowed", "'curv' is not one of the allowed words.", "curve"),
        ("/v1/records?validate_only=1", "validate_only", "not-allowed", "must be true or false.", "true"),
    ],
)
def test_a_fault_within_a_parameter_bears_its_name(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], address: str, name: str, code: str, message: str,
    first: str,
) -> None:  # fmt: skip
    """A query has no places within a parameter, and nothing but text."""
    answer = client.post(address, json=order, headers=key)
    assert answer.status_code == 400
    (error,) = answer.json["errors"]
    assert (error["name"], error["code"], error["message"], error["allowed"][0]) == (name, code, message, first)


def test_a_query_where_none_is_known_is_refused(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.get("/v1/shop?shop=mill-loft", headers=key)
    assert answer.status_code == 400


def test_a_thousand_faults_are_counted_but_not_all_told(client: FlaskClient, key: dict[str, str]) -> None:
    body = json.dumps({f"field-{number}": 1 for number in range(998)}).encode()
    answer = client.post("/v1/validate", data=body, headers=key | JSON)
    assert answer.status_code == 422
    assert len(answer.json["errors"]) == 50
    assert answer.json["errors_left_out"] == 950  # 998 unknown, and item and decorations missing
    assert answer.json["detail"].startswith("1000 faults")


def test_the_limit_is_exact(client: FlaskClient, key: dict[str, str]) -> None:
    body = json.dumps(ORDER).encode()
    for size, status in ((262144, 200), (262145, 413)):
        answer = client.post("/v1/validate", data=body.ljust(size), headers=key | JSON)
        assert answer.status_code == status


def test_long_keys_are_not_sent_back_whole(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.post("/v1/validate", data=json.dumps({"k" * 200_000: 1}), headers=key | JSON)
    assert answer.status_code == 422
    assert len(answer.data) < 5_000
