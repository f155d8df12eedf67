"""Every page for people against every role and without a sign-in."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.pages.forms import hidden_fields

from accord_service.http.roles import STOREFRONT
from accord_service.pages.visit import PEOPLE

# What the collective agreed on: who may (+) and who may not (-). "nobody" is whoever is not signed in; a storefront's
# key signs nobody in (``test_sign_in``).
AGREED = """
                                            nobody   counter  operator owner    steward  admin
GET    /sign-in                             +        +        +        +        +        +
POST   /sign-in                             +        +        +        +        +        +
POST   /sign-out                            -        +        +        +        +        +
GET    /sessions                            -        +        +        +        +        +
POST   /sessions/{session_id}/end           -        +        +        +        +        +
GET    /library                             -        +        +        +        +        +
GET    /library/search                      -        +        +        +        +        +
GET    /library/rules                       -        +        +        +        +        +
GET    /library/rules/{name}                -        +        +        +        +        +
GET    /library/limits                      -        +        +        +        +        +
GET    /library/limits/{name}               -        +        +        +        +        +
GET    /library/steps                       -        +        +        +        +        +
GET    /library/steps/{name}                -        +        +        +        +        +
GET    /library/catalogue/{kind}            -        +        +        +        +        +
GET    /library/catalogue/{kind}/{name}     -        +        +        +        +        +
GET    /library/sources                     -        +        +        +        +        +
GET    /library/sources/{name}              -        +        +        +        +        +
GET    /library/facts                       -        +        +        +        +        +
GET    /library/facts/{name}                -        +        +        +        +        +
GET    /desk                                -        +        +        +        +        +
POST   /desk/seen                           -        +        +        +        +        +
GET    /desk/proposals                      -        +        +        +        +        +
GET    /desk/proposals/{proposal_id}        -        +        +        +        +        +
GET    /desk/proposals/{proposal_id}/status -        +        +        +        +        +
POST   /desk/proposals/{proposal_id}/{step} -        +        +        +        +        +
GET    /desk/draft                          -        -        +        +        +        +
POST   /desk/draft                          -        -        +        +        +        +
GET    /desk/draft/{kind}                   -        -        +        +        +        +
GET    /desk/draft/{kind}/{name}            -        -        +        +        +        +
POST   /desk/draft/{kind}/{name}            -        -        +        +        +        +
GET    /desk/revisions                      -        +        +        +        +        +
GET    /desk/revisions/{revision}           -        +        +        +        +        +
POST   /desk/revisions/{revision}/revert    -        +        +        +        +        +
GET    /desk/audit                          -        -        -        -        +        +
POST   /desk/audit                          -        -        -        -        +        +
GET    /desk/outcomes                       -        +        +        +        +        +
GET    /desk/shops                          -        -        -        -        +        +
GET    /counter                             -        +        +        +        +        +
POST   /counter                             -        +        +        +        +        +
GET    /counter/lists                       -        +        +        +        +        +
GET    /counter/verdict                     -        +        +        +        +        +
GET    /counter/ranges                      -        +        +        +        +        +
GET    /counter/plans                       -        +        +        +        +        +
POST   /counter/record                      -        +        +        +        +        +
GET    /records                             -        +        +        +        +        +
GET    /records/{record_id}                 -        +        +        +        +        +
GET    /records/{record_id}/ticket          -        +        +        +        +        +
GET    /records/{record_id}/ticket.pdf      -        +        +        +        +        +
POST   /records/{record_id}/outcomes        -        +        +        +        +        +
GET    /shop                                                          -        +        +        +        +        +
GET    /shop/presses/{press_id}                                       -        +        +        +        +        +
POST   /shop/presses/{press_id}                                       -        -        +        +        -        -
POST   /shop/presses/{press_id}/readings/{reading_id}/confirm         -        -        -        +        -        -
GET    /shop/presses/{press_id}/readings/{reading_id}/back            -        -        +        +        -        -
POST   /shop/presses/{press_id}/readings/{reading_id}/back            -        -        +        +        -        -
GET    /shop/presses/{press_id}/edit                                  -        -        -        +        -        -
POST   /shop/presses/{press_id}/edit                                  -        -        -        +        -        -
GET    /shop/presses/{press_id}/strips                                -        +        +        +        +        +
POST   /shop/presses/{press_id}/strips                                -        -        -        +        -        -
GET    /shop/add-press                                               -        -        -        +        -        -
POST   /shop/add-press                                               -        -        -        +        -        -
GET    /shop/stock                                                    -        +        +        +        +        +
POST   /shop/stock                                                    -        -        -        +        -        -
GET    /shop/stock/sheets                                             -        +        +        +        +        +
GET    /shop/stock/sheets/{name}                                      -        +        +        +        +        +
POST   /shop/stock/sheets/{name}                                      -        -        -        +        -        -
GET    /shop/stock/samples/add                                        -        -        -        +        -        -
POST   /shop/stock/samples/add                                        -        -        -        +        -        -
GET    /shop/stock/samples/{sample_id}/remove                         -        -        -        +        -        -
POST   /shop/stock/samples/{sample_id}/remove                         -        -        -        +        -        -
GET    /shop/names                                                    -        +        +        +        +        +
POST   /shop/names                                                    -        -        -        +        -        -
GET    /shop/house                                                    -        +        +        +        -        -
GET    /shop/house/limits/{limit_id}                                  -        +        +        +        -        -
POST   /shop/house/limits/{limit_id}                                  -        -        -        +        -        -
GET    /shop/house/add                                                -        -        -        +        -        -
POST   /shop/house/add                                                -        -        -        +        -        -
GET    /shop/house/rules/{rule_id}                                    -        +        +        +        -        -
POST   /shop/house/rules/{rule_id}                                    -        -        -        +        -        -
GET    /shop/house/rules/{rule_id}/remove                             -        -        -        +        -        -
POST   /shop/house/rules/{rule_id}/remove                             -        -        -        +        -        -
GET    /shop/house/facts                                              -        +        +        +        -        -
GET    /shop/house/versions                                           -        +        +        +        -        -
GET    /shop/house/versions/{version}                                 -        +        +        +        -        -
GET    /shop/keys                                                     -        -        -        +        -        -
POST   /shop/keys                                                     -        -        -        +        -        -
GET    /shop/keys/{key_id}/revoke                                     -        -        -        +        -        -
POST   /shop/keys/{key_id}/revoke                                     -        -        -        +        -        -
"""


def _agreed() -> dict[tuple[str, str], dict[str, bool]]:
    """(method, path) to role to whether it may."""
    header, *rows = AGREED.strip("\n").splitlines()
    holders = header.split()
    assert holders == ["nobody", *PEOPLE]
    agreed: dict[tuple[str, str], dict[str, bool]] = {}
    for method, path, *marks in map(str.split, rows):
        assert len(marks) == len(holders), path
        assert set(marks) <= {"+", "-"}, path
        assert (method, path) not in agreed, path
        agreed[method, path] = dict(zip(holders, (mark == "+" for mark in marks), strict=True))
    return agreed


MAY = _agreed()


def test_the_agreement_covers_every_page_and_no_other(app: Flask) -> None:
    """A new page fails until it was agreed who may see it; an agreement on a page that is gone fails too."""
    pages = {
        (method, re.sub("<(?:.*?:)?(.*?)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
        if rule.endpoint.startswith("page_")
    }
    assert sorted(pages - set(MAY)) == [], "agree who may use it, and add a row to AGREED"
    assert sorted(set(MAY) - pages) == [], "there is no such page any more: take its row out of AGREED"


@pytest.fixture(scope="module", params=["nobody", *PEOPLE])
def holder(request: pytest.FixtureRequest, app: Flask, collective: Any) -> tuple[str, FlaskClient]:
    """Who asks, in a browser of their own."""
    client = app.test_client()
    if request.param != "nobody":
        client.post("/sign-in", data={"key": collective.tokens["quay-side", request.param]})
    return request.param, client


@pytest.mark.parametrize(("method", "path"), MAY)
def test_every_page_against_every_role(
    holder: tuple[str, FlaskClient], collective: Any, method: str, path: str
) -> None:
    """With nothing in it that could be done. Signing out ends the session, so it signs in anew first."""
    role, client = holder
    sent = {}
    if role != "nobody":
        if path == "/sign-out":
            client.post("/sign-in", data={"key": collective.tokens["quay-side", role]})
        sent = hidden_fields(client.get("/sessions").text, "/sign-out")
    answer = client.open(re.sub("{.*?}", "nothing-of-this-name", path), method=method, data=sent)
    if MAY[method, path][role]:
        assert answer.status_code in (200, 303, 400, 401, 404, 412, 422), answer.text
        assert not (answer.status_code == 303 and answer.location.startswith("/sign-in"))
    elif role == "nobody":
        assert (answer.status_code, answer.location.partition("?")[0]) == (303, "/sign-in")
    else:
        assert answer.status_code == 403
        assert "This page is for" in answer.text
    if path == "/sign-out" and role != "nobody":
        client.post("/sign-in", data={"key": collective.tokens["quay-side", role]})


def test_a_storefront_is_no_person() -> None:
    assert STOREFRONT not in PEOPLE
