"""What somebody tried on the pages who wanted to stop them or to get past them: each find with what it does now.

A pattern that looks back and forth in a long text held a worker for half a minute; what is too long is not read now.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.pages.forms import hidden_fields

from accord_rules.documents import typed
from accord_service.pages import visit
from accord_service.pages.counter.query import read_order
from accord_service.pages.numbers import whole
from accord_service.pages.visit import COOKIE
from accord_service.store import StoreAway
from accord_service.store.sessions import SessionStore

SignIn = Callable[..., FlaskClient]
LONG = "9" * 4400


@pytest.mark.parametrize("text", ["a" + " " * 3900 + "b", "1" * 3900, "a" * 3900, "a" + "\u00a0" * 900 + "b"])
def test_a_long_text_of_shares_is_not_searched(text: str) -> None:
    with pytest.raises(typed.TypedError):
        typed.shares(text)


def test_long_texts_and_lists_are_refused_and_shown(signed_in: SignIn) -> None:
    for name, text in (("evidence", "a" + " " * 20_000 + "b"), ("item.fibres", "a" * (typed.CHARACTERS_MOST + 1))):
        order = read_order([("item.blank", "tee-heavy-white"), (name, text)])
        assert [fault.code for fault in order.faults] == ["out-of-range"]
    many = read_order([("item.finishes", f"finish-{number}") for number in range(200)])
    assert [fault.code for fault in many.faults] == ["out-of-range"]
    page = signed_in().get("/counter", query_string={"item.fibres": "a" + "+" * 3000 + "b"})
    assert page.status_code == 200
    assert "is more than 100 texts, or one of over 1000 characters" in page.text


def test_an_order_that_no_address_holds_is_shown_at_once(signed_in: SignIn) -> None:
    client = signed_in()
    sent = {f"decorations.{number}.artwork.palette": "#102030, " * 100 for number in range(8)}
    sent |= hidden_fields(client.get("/counter").text, "/counter")
    page = client.post("/counter", data=sent)
    assert page.status_code == 200
    assert "#102030" in page.text


@pytest.mark.parametrize("to", ["//[x", "http://[", "/\u2028"])
def test_addresses_to_go_on_to_may_be_anything(client: FlaskClient, to: str) -> None:
    assert client.get("/sign-in", query_string={"to": to}).status_code == 200


def test_an_origin_may_be_anything(client: FlaskClient) -> None:
    assert client.post("/sign-in", data={"key": "x"}, headers={"Origin": "http://[evil"}).status_code == 403


@pytest.mark.parametrize("text", [LONG, "²", "1_0", "٣", "-1", ""])
def test_what_is_no_whole_number_is_none(text: str) -> None:
    assert whole(text) is None


def test_odd_numbers_break_no_page(signed_in: SignIn) -> None:
    steward = signed_in(role="steward")
    session = steward.get_cookie(COOKIE)
    assert session is not None
    cookies = {"HTTP_COOKIE": f"{COOKIE}={session.value}; accord-news-seen={LONG}"}
    assert steward.get("/desk", environ_overrides=cookies).status_code == 200
    word = hidden_fields(steward.get("/sessions").text, "/sign-out")
    drafted = {"limit": "fumes.pvc_most", "value": "1_0", "revision": LONG, "reason": "r", "evidence": "e"}
    assert steward.post("/desk/draft", data=drafted | word).status_code in (200, 409, 422)


@pytest.mark.parametrize(
    "examples",
    ["a" + ".a" * 60_000 + "=1", "a=" + "[" * 5000, "a=" + LONG, "a=1979-05-27", "a=nan", "x" * 30_000],
)
def test_examples_of_a_rule_that_are_no_examples_are_refused(signed_in: SignIn, examples: str) -> None:
    owner = signed_in(role="owner")
    sent = hidden_fields(owner.get("/sessions").text, "/sign-out")
    told = owner.post("/shop/house/add", data=sent | {"id": "house.x", "examples": examples})
    assert told.status_code in (200, 422)
    assert "The examples are no TOML" in told.text


def test_what_a_form_was_made_from_may_be_anything(signed_in: SignIn) -> None:
    owner = signed_in(role="owner")
    sent = hidden_fields(owner.get("/sessions").text, "/sign-out")
    assert owner.post("/shop/names", data=sent | {"seen": "[" * 60_000}).status_code < 500


def test_an_ended_session_is_no_session_while_the_store_is_away(
    app: Flask, signed_in: SignIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = signed_in("mill-loft", "owner")
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    other = app.test_client()
    other.set_cookie(COOKIE, cookie.value)
    assert other.get("/sessions").status_code == 200
    client.post("/sign-out", data=hidden_fields(client.get("/sessions").text, "/sign-out"))
    kept = signed_in("mill-loft", "owner")
    sign_out = hidden_fields(kept.get("/sessions").text, "/sign-out")

    def away(*_: Any) -> None:
        raise StoreAway("it was stopped")

    monkeypatch.setattr(SessionStore, "by_token", away)
    monkeypatch.setattr(SessionStore, "end", away)
    assert other.get("/library").status_code == 303, "it was ended"
    assert kept.get("/library").status_code == 200, "answers go on"
    monkeypatch.setattr(visit, "BELIEVED_S", -1.0)
    assert kept.get("/library").status_code == 303, "none is believed for ever"
    monkeypatch.setattr(visit, "BELIEVED_S", 60.0)
    assert kept.post("/sign-out", data=sign_out).status_code == 303
    assert kept.get_cookie(COOKIE) is None


def test_the_word_of_a_form_is_another_each_time(signed_in: SignIn) -> None:
    """So that the length of packed pages tells nothing of it."""
    client = signed_in()
    words = [hidden_fields(client.get("/sessions").text, "/sign-out")["form_word"] for _ in range(2)]
    assert words[0] != words[1]
    for word in ("", "zz", words[0][:-2], words[0][:-2] + ("00" if words[0][-2:] != "00" else "11")):
        assert client.post("/sign-out", data={"form_word": word}).status_code == 403
    assert client.post("/sign-out", data={"form_word": words[0]}).status_code == 303
