"""Signing in at the pages: what a session opens, for how long, and who can end it or use it."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.pages.forms import hidden_fields
from tests.tokens import key_id_of

from accord_service.pages.visit import COOKIE, local_address
from accord_service.store.sessions import SESSIONS_MOST

TLS = {"wsgi.url_scheme": "https"}


def test_whoever_is_not_signed_in_is_led_there_and_back(client: FlaskClient, collective: Any) -> None:
    led = client.get("/sessions?a=1&b=2")
    assert led.status_code == 303
    assert led.location == "/sign-in?to=/sessions?a%3D1%26b%3D2"
    page = client.get(led.location)
    assert page.status_code == 200
    sent = {"key": f" {collective.tokens['quay-side', 'counter']}\n", **hidden_fields(page.text, "/sign-in")}
    back = client.post("/sign-in", data=sent)
    assert (back.status_code, back.location) == (303, "/sessions?a=1&b=2")
    there = client.get(back.location)
    assert there.status_code == 200
    assert "this browser" in there.text
    assert there.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("to", ["//elsewhere.example", "https://elsewhere.example/", "/\\elsewhere.example", "", None])
def test_nobody_is_led_elsewhere(to: str | None) -> None:
    assert local_address(to) == "/counter"


def test_the_cookie_is_for_this_service_alone(client: FlaskClient, collective: Any) -> None:
    sent = {"key": collective.tokens["quay-side", "counter"]}
    plain = client.post("/sign-in", data=sent).headers["Set-Cookie"]
    for part in ("HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=43200"):
        assert part in plain
    assert "Secure" not in plain
    assert "Secure" in client.post("/sign-in", data=sent, environ_overrides=TLS).headers["Set-Cookie"]
    assert collective.tokens["quay-side", "counter"] not in plain


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("", "Type or paste your key"),
        ("accord_nonsense", "This key is not known"),
        (("quay-side", "storefront"), "pages of a web shop"),
    ],
)
def test_a_key_that_opens_no_page_is_refused_in_a_sentence(
    client: FlaskClient, collective: Any, key: str | tuple[str, str], told: str
) -> None:
    token = key if isinstance(key, str) else collective.tokens[key]
    refused = client.post("/sign-in", data={"key": token})
    assert refused.status_code == 401
    assert told in html.unescape(refused.text)
    assert "Set-Cookie" not in refused.headers


def test_the_api_takes_no_session(signed_in: Callable[..., FlaskClient], order: dict[str, Any]) -> None:
    """So another site's page can make the browser do nothing there."""
    assert signed_in().post("/v1/validate", json=order).status_code == 401


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
    ],
)
def test_a_form_that_another_site_sends_is_refused(
    signed_in: Callable[..., FlaskClient], collective: Any, headers: dict[str, str]
) -> None:
    client = signed_in()
    sent = hidden_fields(client.get("/sessions").text, "/sign-out")
    assert client.post("/sign-out", data=sent, headers=headers).status_code == 403
    key = {"key": collective.tokens["quay-side", "counter"]}
    assert client.post("/sign-in", data=key, headers=headers).status_code == 403
    assert client.get("/sessions").status_code == 200


def test_a_form_without_the_word_of_this_session_is_refused(
    app: Flask, signed_in: Callable[..., FlaskClient], collective: Any
) -> None:
    client = signed_in()
    other = app.test_client()
    other.post("/sign-in", data={"key": collective.tokens["quay-side", "owner"]})
    others_word = hidden_fields(other.get("/sessions").text, "/sign-out")
    for sent in ({}, {"form_word": "made up"}, others_word):
        refused = client.post("/sign-out", data=sent)
        assert refused.status_code == 403
        assert "This form did not come from a page of this service" in refused.text
    assert client.get("/sessions").status_code == 200


def test_signing_out_ends_the_session_for_good(signed_in: Callable[..., FlaskClient]) -> None:
    client = signed_in()
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    out = client.post("/sign-out", data=hidden_fields(client.get("/sessions").text, "/sign-out"))
    assert (out.status_code, out.location) == (303, "/")
    assert client.get_cookie(COOKIE) is None
    client.set_cookie(COOKIE, cookie.value)
    assert client.get("/sessions").status_code == 303


def test_whoever_is_signed_in_is_led_on(signed_in: Callable[..., FlaskClient]) -> None:
    led = signed_in().get("/sign-in?to=/sessions")
    assert (led.status_code, led.location) == (303, "/sessions")


def test_another_browser_is_signed_out_from_the_list(
    app: Flask, signed_in: Callable[..., FlaskClient], collective: Any
) -> None:
    client, other = signed_in("mill-loft"), app.test_client()
    agent = {"User-Agent": "Another <b>browser</b>"}
    other.post("/sign-in", data={"key": collective.tokens["mill-loft", "counter"]}, headers=agent)
    page = client.get("/sessions").text
    assert "Another &lt;b&gt;browser&lt;/b&gt;" in page
    addresses = re.findall(r'action="(/sessions/[^"]+/end)"', page)
    mine = [address for address in addresses if other.get("/sessions").status_code == 200]
    for address in mine:
        assert client.post(address, data=hidden_fields(page, address)).status_code == 303
    assert other.get("/sessions").status_code == 303
    assert client.get("/sessions").status_code == 200


def test_nobody_ends_the_session_of_another_key(
    app: Flask, signed_in: Callable[..., FlaskClient], collective: Any
) -> None:
    client, owner = signed_in(), app.test_client()
    owner.post("/sign-in", data={"key": collective.tokens["quay-side", "owner"]})
    (session, *_) = app.extensions["accord"].store.sessions.of_key(key_id_of(collective.tokens["quay-side", "owner"]))
    sent = hidden_fields(client.get("/sessions").text, "/sign-out")
    assert client.post(f"/sessions/{session.id}/end", data=sent).status_code == 404
    assert owner.get("/sessions").status_code == 200


def test_a_revoked_key_ends_its_sessions(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    client = serve(fresh).test_client()
    client.post("/sign-in", data={"key": fresh.tokens["quay-side", "counter"]})
    assert client.get("/sessions").status_code == 200
    admin = fresh.headers("collective", "admin")
    client.delete(f"/v1/keys/{key_id_of(fresh.tokens['quay-side', 'counter'])}", headers=admin)
    assert client.get("/sessions").status_code == 303


def test_what_was_put_into_the_store_past_the_service_is_no_session(
    app: Flask, signed_in: Callable[..., FlaskClient], collective: Any
) -> None:
    """Another key's id in a session that is there, and a session that is copied under another token's name."""
    client = signed_in()
    room = app.extensions["accord"]
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    session = room.store.sessions.by_token(cookie.value)
    connection, name = room.store._connection, f"{{accord}}:session:{session.id}"
    written = connection.ask("GET", name)
    own, admins = (
        key_id_of(collective.tokens["quay-side", "counter"]),
        key_id_of(collective.tokens["collective", "admin"]),
    )
    connection.ask("SET", name, written.replace(own.encode(), admins.encode()))
    assert client.get("/sessions").status_code == 303
    connection.ask("SET", name, written)
    assert client.get("/sessions").status_code == 200


def test_a_key_has_so_many_sessions_and_no_more(app: Flask, collective: Any) -> None:
    sessions, key = app.extensions["accord"].store.sessions, key_id_of(collective.tokens["mill-loft", "owner"])
    begun = [sessions.begin(key, f"browser {number}") for number in range(SESSIONS_MOST + 2)]
    held = sessions.of_key(key)
    assert len(held) == SESSIONS_MOST
    assert sessions.by_token(begun[-1][1]) is not None
    assert sum(sessions.by_token(token) is not None for _, token in begun) == SESSIONS_MOST
