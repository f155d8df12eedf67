"""Bundles: what a shop may answer by itself from one is what the service answers, and nothing else is taken for one.

Ed25519 is RFC 8032's, held against its own test vectors where the key is made (tests/store/test_seals.py).
"""

from __future__ import annotations

import base64
import copy
import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st

from accord_rules.documents.canonical import canonical
from accord_service.http.problems import ShopDoesNotFit
from accord_service.steps import bundles
from accord_service.steps.bundles import PURPOSE, REFUSED, Bundle, BundleRefused, check, key_of, opened
from accord_service.store import Seals

DEMO = Path(__file__).parents[3] / "demo"


def today() -> date:
    """Asked anew each time: it may have been yesterday when the tests were collected."""
    return datetime.now(UTC).date()


@pytest.fixture(scope="module")
def town(open_collective: Any, serve: Callable[[Any], Any]) -> tuple[FlaskClient, Any]:
    """The demo's shops, one with house rules, behind a real application."""
    shops = [file.read_text(encoding="utf-8") for file in sorted((DEMO / "shops").glob("*.toml"))]
    keys = [(shop, role) for shop in ("harbour-lane", "mill-steps", "kiln-corner") for role in ("counter", "owner")]
    collective = open_collective(shops, keys)
    client = serve(collective).test_client()
    headers = collective.headers("mill-steps", "owner")
    etag = client.get("/v1/shop/house-rules", headers=headers).headers["ETag"]
    house = {"limits": {"press.parts_most": 2}, "rules": {}, "without": {"products": [], "consumables": []}}
    put = client.put("/v1/shop/house-rules", json=house, headers={**headers, "If-Match": etag})
    assert put.status_code == 200, put.text
    return client, collective


@pytest.fixture(scope="module")
def pulled(town: tuple[FlaskClient, Any]) -> bytes:
    client, collective = town
    answer = client.get("/v1/bundle", headers=collective.headers("mill-steps", "counter"))
    assert answer.status_code == 200, answer.text
    return answer.data


def resigned(data: bytes, **changed: Any) -> bytes:
    """The same content with parts changed, signed by the key that signed it never."""
    content = {**json.loads(json.loads(data)["content"]), **changed}
    private = Ed25519PrivateKey.generate()
    seals = Seals.from_pem(private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    text = canonical(content).decode()
    return json.dumps(
        {
            "accord_bundle": 1,
            "seal_key_id": seals.key_id,
            "public_key": seals.public_key(seals.key_id),
            "signature": seals.sign(PURPOSE, text.encode()),
            "content": text,
        }
    ).encode()


def why_not(ask: Callable[[], Any]) -> str:
    with pytest.raises(BundleRefused) as refused:
        ask()
    assert str(refused.value).startswith("The bundle can't be used: ")
    assert refused.value.why in REFUSED
    return refused.value.why


@pytest.mark.parametrize("shop", ["harbour-lane", "mill-steps", "kiln-corner"])
def test_it_answers_as_the_service_does(town: tuple[FlaskClient, Any], shop: str) -> None:
    """Every tenth order of the demo's day, of a shop with house rules as well: the same bytes but for the basis."""
    client, collective = town
    headers = collective.headers(shop, "counter")
    data = client.get("/v1/bundle", headers=headers).data
    judged = 0
    with opened(check(data, key_of(data), shop, today()), today()) as bundled:
        for file in sorted((DEMO / "orders").glob("*.json"))[::10]:
            order = json.loads(file.read_text(encoding="utf-8"))
            live = client.post("/v1/validate", json=order, headers=headers)
            if live.status_code == 422:
                continue
            answer = bundled.validate(order)
            assert answer["basis"] == "bundle"
            assert json.dumps({**answer, "basis": "live"}) == json.dumps(live.json), file.name
            judged += 1
        open_order = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"placement": "front"}]}
        live = client.post("/v1/recommend", json=open_order, headers=headers)
        assert {**bundled.recommend(open_order), "basis": "live"} == live.json
    assert judged > 10


def test_it_is_the_same_all_day_and_told_unchanged(town: tuple[FlaskClient, Any], pulled: bytes) -> None:
    client, collective = town
    headers = collective.headers("mill-steps", "counter")
    again = client.get("/v1/bundle", headers=headers)
    assert again.data == pulled
    unchanged = client.get("/v1/bundle", headers={**headers, "If-None-Match": again.headers["ETag"]})
    assert (unchanged.status_code, unchanged.data) == (304, b"")


def test_the_key_is_that_of_the_audit(town: tuple[FlaskClient, Any], pulled: bytes) -> None:
    client, collective = town
    head = client.get("/v1/audit/head", headers=collective.headers("mill-steps", "counter")).json
    assert (head["seal_key_id"], head["public_key"]) == (json.loads(pulled)["seal_key_id"], key_of(pulled))


def tried(data: bytes, key: str) -> tuple[Bundle | None, str]:
    try:
        return check(data, key, "mill-steps", today()), ""
    except BundleRefused as refused:
        return None, refused.why


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_byte_that_is_not_as_it_was_signed_makes_it_none(pulled: bytes, data: st.DataObject) -> None:
    """A flipped bit anywhere, or a part cut off."""
    key = key_of(pulled)
    place = data.draw(st.integers(0, len(pulled) - 1))
    if data.draw(st.booleans()):
        broken = pulled[:place]
    else:
        broken = bytearray(pulled)
        broken[place] ^= 1 << data.draw(st.integers(0, 7))
    bundle, why = tried(bytes(broken), key)
    if bundle is None:
        assert why in ("unreadable", "unsigned", "another-key", "altered")
        return
    # What is beside the content says nothing by itself: the name of the key, and how the JSON is written.
    whole = check(pulled, key, "mill-steps", today())
    assert (bundle.number, bundle.documents, bundle.vectors) == (whole.number, whole.documents, whole.vectors)


def test_what_is_refused(pulled: bytes) -> None:
    key, own = key_of(pulled), "mill-steps"
    signed = json.loads(pulled)
    assert why_not(lambda: check(b"", key, own, today())) == "unreadable"
    assert why_not(lambda: check(b'{"accord_bundle": 1}', key, own, today())) == "unreadable"
    assert why_not(lambda: check(b"[]", key, own, today())) == "unreadable"
    stripped = json.dumps({**signed, "signature": ""}).encode()
    assert why_not(lambda: check(stripped, key, own, today())) == "unsigned"
    forged = resigned(pulled)
    assert why_not(lambda: check(forged, key, own, today())) == "another-key"
    # One that says it were of the pinned key.
    passed_off = json.dumps({**json.loads(forged), "public_key": key}).encode()
    assert why_not(lambda: check(passed_off, key, own, today())) == "altered"
    assert why_not(lambda: check(pulled, key, "kiln-corner", today())) == "another-shop"
    assert check(pulled, key, "", today()).shop.record.id == own


def test_its_days(pulled: bytes) -> None:
    key = key_of(pulled)
    content = json.loads(json.loads(pulled)["content"])
    last = date.fromisoformat(content["expires_on"])
    assert (last - date.fromisoformat(content["made_on"])).days == 14
    assert check(pulled, key, "", last).age_days(last) == 14
    assert why_not(lambda: check(pulled, key, "", last + timedelta(days=1))) == "expired"
    made_on = date.fromisoformat(content["made_on"])
    assert check(pulled, key, "", made_on - timedelta(days=1)).age_days(made_on - timedelta(days=1)) == 0
    assert why_not(lambda: check(pulled, key, "", made_on - timedelta(days=2))) == "to-come"


@pytest.mark.parametrize("part", ["revision", "shop_version", "house_rules_version"])
def test_one_that_is_older_in_anything_is_refused(pulled: bytes, part: str) -> None:
    held = check(pulled, key_of(pulled), "", today()).number
    assert check(pulled, key_of(pulled), "", today(), held), "the same is not older"
    older = resigned(pulled, **{part: json.loads(json.loads(pulled)["content"])[part] - 1})
    assert why_not(lambda: check(older, key_of(older), "", today(), held)) == "older"


def test_it_has_to_give_the_answers_that_the_service_gave(pulled: bytes) -> None:
    content = json.loads(json.loads(pulled)["content"])
    assert len(content["vectors"]) == 6
    for index in range(6):
        vectors = copy.deepcopy(content["vectors"])
        vectors[index]["answer"]["assumed"] = []
        other = resigned(pulled, vectors=vectors)
        assert why_not(lambda other=other: opened(check(other, key_of(other), "", today()), today())) == "fails"
    book = copy.deepcopy(content["book"])
    del book["sources"]
    other = resigned(pulled, book=book)
    assert why_not(lambda: opened(check(other, key_of(other), "", today()), today())) == "fails"


def test_another_version_of_the_program_is_refused(pulled: bytes) -> None:
    bundle = check(pulled, key_of(pulled), "", today())
    with mock.patch.object(bundles, "code_digest", return_value="sha256:other"):
        assert why_not(lambda: opened(bundle, today())) == "another-code"


def test_the_age_of_readings_counts_on(pulled: bytes) -> None:
    """What the service would say of a press's readings on a later day, the bundle says too."""
    bundle = check(pulled, key_of(pulled), "", today())
    later = today() + timedelta(days=14)
    try:
        expected = bundle.shop.at(opened(bundle, today()).authority.book, later)
    except ShopDoesNotFit:
        pytest.fail("the shop fits")
    with opened(bundle, later) as bundled:
        assert bundled.shop == expected


def test_a_purpose_is_no_other(pulled: bytes) -> None:
    """An anchor of the audit, signed with the same key, is no bundle's signature (domain separation)."""
    seals = Seals.from_pem(_private())
    text = b"accord-audit-1 1"
    assert seals.sign("accord-audit-1", b"1") != seals.sign(PURPOSE, b"1")
    with pytest.raises(ValueError, match="not of this key"):
        Seals.verify(seals.public_key(seals.key_id), PURPOSE, text, seals.sign("other", text))
    for wrong in ("", "AA", "é", base64.urlsafe_b64encode(b"x" * 64).decode()):
        with pytest.raises(ValueError, match="not of this key"):
            Seals.verify(seals.public_key(seals.key_id), PURPOSE, text, wrong)


def _private() -> bytes:
    return Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
