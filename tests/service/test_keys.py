"""Keys and shops: the shop comes from the key alone; files that can't be used stop the start, every fault named."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.order import Order
from accord_service.answers import VerdictAnswer
from accord_service.app import create_app
from accord_service.config import Config
from accord_service.endpoint import Answer, Asked, endpoint
from accord_service.shops import ROLES, FileShops, ShopsError

KEYED = ["/v1/catalogue", "/v1/catalogue/blanks", "/v1/catalogue/blanks/tee-heavy-white", "/v1/limits", "/v1/limits/x",
         "/v1/sources", "/v1/sources/x", "/v1/rules", "/v1/rules/x", "/v1/shop"]  # fmt: skip
OPEN = ["/", "/docs", "/healthz", "/readyz", "/metrics", "/problems", "/problems/not-found", "/v1/openapi.json"]


@pytest.mark.parametrize("path", KEYED)
def test_reads_need_a_key(client: FlaskClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 401
    assert answer.json["type"] == "/problems/not-authenticated"
    assert answer.headers["WWW-Authenticate"] == 'Bearer realm="platen-accord"'


@pytest.mark.parametrize("path", ["/v1/validate", "/v1/recommend"])
def test_questions_need_a_key_before_anything_is_read(client: FlaskClient, path: str) -> None:
    assert client.post(path, data=b"{", content_type="text/plain").status_code == 401


@pytest.mark.parametrize("path", OPEN)
def test_open_addresses_need_none(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 200


@pytest.mark.parametrize(
    "header",
    ["Bearer wrong", "Bearer quay-counter-toke", "Bearer quay-counter-token2", "Bearer QUAY-COUNTER-TOKEN", "Bearer é",
     "Bearer " + hashlib.sha256(b"quay-counter-token").hexdigest()],
)  # fmt: skip
def test_unknown_keys_are_refused(client: FlaskClient, header: str) -> None:
    answer = client.get("/v1/shop", headers={"Authorization": header})
    assert answer.status_code == 401
    assert 'error="invalid_token"' in answer.headers["WWW-Authenticate"]  # RFC 6750 section 3.1


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer ", "Basic cXVheQ==", "quay-counter-token"])
def test_other_credentials_are_no_key(client: FlaskClient, header: str) -> None:
    answer = client.get("/v1/shop", headers={"Authorization": header})
    assert answer.status_code == 401
    assert "error=" not in answer.headers["WWW-Authenticate"]


def test_the_scheme_may_be_spelt_in_any_case(client: FlaskClient) -> None:
    """RFC 9110 section 11.1."""
    assert client.get("/v1/shop", headers={"Authorization": "bearer quay-counter-token"}).status_code == 200


def test_a_key_shows_its_own_shop(client: FlaskClient, tokens: dict[tuple[str, str], str]) -> None:
    for (shop, role), token in tokens.items():
        answer = client.get("/v1/shop", headers={"Authorization": f"Bearer {token}"}).json
        assert (answer["shop"]["id"], answer["role"], answer["key"]) == (shop, role, f"{shop}-{role}")


def test_the_shop_is_shown_in_its_own_units(client: FlaskClient, key: dict[str, str]) -> None:
    answer = client.get("/v1/shop", headers=key).json
    assert answer["units"] == {"temperature": "°F", "length": "in", "pressure": "psi", "area_density": "oz/yd²"}
    assert answer["shop"]["presses"][0]["platen"] == {"width": "15 in", "height": "15 in"}


def test_a_role_that_may_not_is_told_which_may(folder: Path) -> None:
    @endpoint("POST", "/v1/test-owners", tag="Test", takes=Order, answers=VerdictAnswer, roles=("owner", "admin"))
    def post_test_owners(asked: Asked) -> Answer:
        """Only for this test."""
        return Answer({"role": asked.caller.role})

    app = create_app(Config(shops_folder=folder))
    app.add_url_rule(post_test_owners.rule, post_test_owners.name, post_test_owners.view, methods=["POST"])
    body: dict[str, Any] = {"item": {}, "decorations": [{}]}
    allowed = {}
    for role in ROLES:
        key = {"Authorization": f"Bearer quay-{role}-token"}
        answer = app.test_client().post("/v1/test-owners", json=body, headers=key)
        allowed[role] = answer.status_code
    assert allowed == {"counter": 403, "operator": 403, "owner": 200, "steward": 403, "admin": 200}
    refused = app.test_client().post(
        "/v1/test-owners", json=body, headers={"Authorization": "Bearer quay-counter-token"}
    )
    assert refused.json["type"] == "/problems/role-not-allowed"
    assert "owner, admin" in refused.json["detail"]


def test_files_give_callers_by_token(folder: Path) -> None:
    shops = FileShops(folder)
    caller = shops.by_key("mill-counter-token")
    assert caller is not None
    assert (caller.shop.name, caller.role) == ("The Mill Loft", "counter")
    assert shops.by_key("") is None
    assert sorted(shop.id for shop in shops.shops()) == ["mill-loft", "quay-side"]


def test_tokens_are_not_kept(folder: Path, tokens: dict[tuple[str, str], str]) -> None:
    shops = FileShops(folder)
    kept = repr([getattr(shops, name) for name in vars(shops)])
    assert not [token for token in tokens.values() if token in kept]


@pytest.mark.parametrize(
    ("file", "before", "after", "said"),
    [
        ("shops/quay-side.toml", 'market = "us"', 'market = "mars"', "quay-side.toml: /market"),
        ("shops/quay-side.toml", 'width = "15 in"', 'width = "15"', "quay-side.toml: /presses/0/platen/width"),
        ("shops/quay-side.toml", 'name = "', 'surprise = 1\nname = "', "quay-side.toml: /surprise"),
        ("shops/quay-side.toml", 'name = "', 'id = "again"\nname = "', "quay-side.toml: Cannot overwrite a value"),
        ("shops/quay-side.toml", 'id = "quay-side"', 'id = "quay-lane"', "file name and id must be the same"),
        ("keys.toml", 'shop = "mill-loft"', 'shop = "no-such-shop"', "is for shop 'no-such-shop', which has no file"),
        ("keys.toml", 'role = "owner"', 'role = "boss"', "keys.toml: /key/2/role"),
        ("keys.toml", 'sha256 = "', 'sha256 = "xx', "keys.toml: /key/0/sha256"),
        ("keys.toml", 'id = "quay-side-owner"', 'id = "quay-side-admin"', "key id 'quay-side-admin' is given more"),
        ("keys.toml", "[[key]]", "[[keys]]", "keys.toml: /key: is required"),
    ],
)
def test_faulty_files_are_refused_by_name(
    folder: Path, tmp_path: Path, file: str, before: str, after: str, said: str
) -> None:
    with pytest.raises(ShopsError) as caught:
        FileShops(edited(folder, tmp_path, file, before, after))
    assert said in str(caught.value)


def edited(folder: Path, tmp_path: Path, file: str, before: str, after: str) -> Path:
    """A copy of the folder with one text replaced in one file."""
    copied = shutil.copytree(folder, tmp_path / "edited")
    text = (copied / file).read_text(encoding="utf-8")
    assert before in text
    (copied / file).write_text(text.replace(before, after), encoding="utf-8")
    return copied


def test_a_folder_without_shops_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ShopsError, match="holds no shop"):
        FileShops(tmp_path)


def test_a_shop_with_what_the_book_does_not_have_stops_the_start(folder: Path, tmp_path: Path) -> None:
    stocked = edited(folder, tmp_path, "shops/quay-side.toml", "sub-paper-fast-dry", "no-such-product")
    with pytest.raises(ShopsError, match="quay-side: /stock/products/0: there is no 'no-such-product' in products"):
        create_app(Config(shops_folder=stocked))
