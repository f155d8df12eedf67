"""Entries of the book changed by forms: what a form says, what it leaves alone, and what the API refuses of it.

What is expected is how the book writes its entries (rules/accord_rules/book/README.md): this project's own design.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.api.test_proposals import KEYS, SHOP
from tests.service.pages.forms import hidden_fields

from accord_rules.documents.files import shipped
from accord_rules.revision.catalogue import KINDS
from accord_service.app import create_app
from accord_service.pages.desk.book_draft import FORMS
from accord_service.pages.desk.entry_form import entry_of, groups_of, values_of
from accord_service.pages.forms import Form

FAST = "/desk/draft/products/film-hot-peel-fast"
WHY = {"reason": "The maker's new sheet says so.", "evidence": "Sheet of March, seen by two of us."}


@pytest.fixture(scope="module")
def town(open_collective: Any) -> Any:
    return open_collective([SHOP.format(id="one"), SHOP.format(id="two")], KEYS)


@pytest.fixture(scope="module")
def service(town: Any) -> Iterator[Flask]:
    app = create_app(town.config)
    yield app
    app.extensions["accord"].close()


@pytest.fixture(scope="module")
def steward(service: Flask, town: Any) -> FlaskClient:
    client = service.test_client()
    client.post("/sign-in", data={"key": town.tokens["one", "steward"]})
    return client


def values(page: str) -> dict[str, str]:
    """What stands in the fields of a page, by their names."""
    inputs = re.findall(r'<input id="[^"]+" name="([^"]+)" type="text" value="([^"]*)"', page)
    areas = re.findall(r'<textarea id="[^"]+" name="([^"]+)"[^>]*>\n([^<]*)</textarea>', page)
    chosen = re.findall(r'<select id="[^"]+" name="([^"]+)".*?</select>', page, re.DOTALL)
    picked = {
        name: (re.findall(r'value="([^"]*)" selected', body) or [""])[0]
        for name, body in zip(chosen, re.findall(r"<select(.*?)</select>", page, re.DOTALL), strict=True)
    }
    return {name: html.unescape(value) for name, value in [*inputs, *areas]} | picked


def send(client: FlaskClient, address: str, **typed: str) -> Any:
    """The page's form with what stands in it, but for what is typed; ``__`` in a field's name stands for ``/``."""
    page = client.get(address).text
    changed = {name.replace("__", "/"): value for name, value in typed.items()}
    return client.post(address, data=hidden_fields(page, address) | values(page) | changed)


def change(service: Flask, town: Any, answer: Any) -> dict[str, Any]:
    """The one change of the proposal that was drafted."""
    assert answer.status_code == 303, re.findall(r'<div class="refused".*?</div>', answer.text, re.DOTALL)
    id_ = answer.location.rpartition("/")[2]
    told = service.test_client().get(f"/v1/proposals/{id_}", headers=town.headers("one", "steward")).json
    (only,) = told["changes"]
    return dict(only)


@pytest.mark.parametrize("kind", FORMS)
def test_a_form_that_nothing_was_typed_into_says_what_the_book_says(kind: str) -> None:
    """Of every entry of every kind that has a form."""
    documents = shipped()
    for name, entry in documents[kind].items():
        form = Form.of(values_of(groups_of(KINDS[kind], entry, entry), entry))
        assert entry_of(form, KINDS[kind], entry) == entry, name


def test_a_products_settings_title_and_aliases_are_changed_and_the_rest_stays(
    steward: FlaskClient, service: Flask, town: Any
) -> None:
    before = shipped()["products"]["film-hot-peel-fast"]
    drafted = send(
        steward,
        FAST,
        title="Cut film, very fast hot peel",
        aliases="fast film, quick roll",
        sheet__temperature__aim="157 °C",
        sheet__pressure__least="medium",
        sheet__pressure__aim="firm",
        sheet__pressure__most="firm",
        **WHY,
    )
    made = change(service, town, drafted)
    sheet = before["sheet"] | {
        "temperature": before["sheet"]["temperature"] | {"aim": "157 °C"},
        "pressure": {"least": "medium", "aim": "firm", "most": "firm"},
    }
    expected = before | {
        "title": "Cut film, very fast hot peel",
        "aliases": ["fast film", "quick roll"],
        "sheet": sheet,
    }
    assert (made["kind"], made["id"], made["value"]) == ("products", "film-hot-peel-fast", expected)
    page = html.unescape(steward.get(drafted.location).text)
    assert "<del>155 °C</del>" in page
    assert "<ins>157 °C</ins>" in page


def test_a_product_is_withdrawn(steward: FlaskClient, service: Flask, town: Any) -> None:
    film = "film-blocker-white"
    made = change(service, town, send(steward, f"/desk/draft/products/{film}", do="withdraw", **WHY))
    assert (made["kind"], made["id"], made["value"]) == ("products", film, None)


def test_a_product_that_an_examples_shop_stocks_is_not_withdrawn_before_the_example(steward: FlaskClient) -> None:
    drafted = send(steward, "/desk/draft/products/film-cold-peel-gloss", do="withdraw", **WHY)
    assert drafted.status_code == 422
    (refusal,) = re.findall(r'<div class="refused".*?</div>', drafted.text, re.DOTALL)
    assert "the product film-cold-peel-gloss can&#39;t be withdrawn" in refusal.replace("The", "the")
    assert "peel-differs-in-stock" in refusal


def test_what_words_can_mean_goes_without_a_withdrawn_entry(steward: FlaskClient, service: Flask, town: Any) -> None:
    """No form says what a word can mean: a tape is withdrawn together with that."""
    drafted = send(steward, "/desk/draft/consumables/glass-cloth-tape", do="withdraw", **WHY)
    assert drafted.status_code == 303, html.unescape(drafted.text)
    id_ = drafted.location.rpartition("/")[2]
    changes = service.test_client().get(f"/v1/proposals/{id_}", headers=town.headers("one", "steward")).json["changes"]
    assert {(change["kind"], change["id"]) for change in changes} == {
        ("consumables", "glass-cloth-tape"),
        ("ambiguous_words", "tape"),
    }
    (word,) = (change["value"] for change in changes if change["kind"] == "ambiguous_words")
    before = shipped()["ambiguous_words"]["tape"]
    left = [name for name in before["readings"]["consumables"] if name != "glass-cloth-tape"]
    assert word == before | {"readings": {"consumables": left}}


def test_blanks_that_may_do_instead_go_without_a_withdrawn_one(steward: FlaskClient, service: Flask, town: Any) -> None:
    before = shipped()["blanks"]
    drafted = send(steward, "/desk/draft/blanks/apron-twill-black", do="withdraw", **WHY)
    assert drafted.status_code == 303, html.unescape(drafted.text)
    id_ = drafted.location.rpartition("/")[2]
    changes = service.test_client().get(f"/v1/proposals/{id_}", headers=town.headers("one", "steward")).json["changes"]
    blanks = {change["id"]: change["value"] for change in changes if change["kind"] == "blanks"}
    assert blanks.pop("apron-twill-black") is None
    assert blanks
    for name, entry in blanks.items():
        left = [other for other in before[name]["alternatives"] if other != "apron-twill-black"]
        assert entry == before[name] | {"alternatives": left}


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/desk/draft/press_types/swing-away", "only a new version of the program can do without it"),
        ("/desk/draft/markets/au", "The market au can't be withdrawn alone, since 2 entries of the book need it"),
        ("/desk/draft/consumables/heat-tape", "The consumable heat-tape can't be withdrawn alone, since"),
    ],
)
def test_a_withdrawal_is_refused_in_a_stewards_words(steward: FlaskClient, address: str, told: str) -> None:
    refused = send(steward, address, do="withdraw", **WHY)
    assert refused.status_code == 422
    page = html.unescape(refused.text)
    assert told in page
    assert not re.search(r"changes 0|base_example|/fires|there is no '", page)


def test_a_row_of_a_market_is_changed(steward: FlaskClient, service: Flask, town: Any) -> None:
    before = shipped()["markets"]["us"]
    drafted = send(steward, "/desk/draft/markets/us", waist_cords__out_most="70 mm", toys__age_under="14", **WHY)
    made = change(service, town, drafted)
    rows = {
        "waist_cords": before["waist_cords"] | {"out_most": "70 mm"},
        "toys": before["toys"] | {"age_under": 14},
    }
    assert made["value"] == before | rows


def test_what_cannot_be_is_said_beside_its_field_and_nothing_typed_is_lost(steward: FlaskClient) -> None:
    refused = send(steward, FAST, sheet__temperature__least="hot", reason=WHY["reason"], evidence="")
    assert refused.status_code == 422
    typed = values(refused.text)
    assert (typed["sheet/temperature/least"], typed["reason"]) == ("hot", WHY["reason"])
    assert 'id="fault-evidence"' in refused.text


def test_a_form_without_a_change_drafts_nothing(steward: FlaskClient) -> None:
    refused = send(steward, FAST, **WHY)
    assert refused.status_code == 422
    assert "Nothing is changed yet" in refused.text


def test_what_the_book_has_not_is_told_in_words(steward: FlaskClient) -> None:
    gone = steward.get("/desk/draft/products/film-of-yesterday")
    assert gone.status_code == 404
    assert "The present book has no product film-of-yesterday" in gone.text
    assert steward.get("/desk/draft/rules").status_code == 404


def test_each_kind_is_listed_with_a_way_to_each_entry(steward: FlaskClient) -> None:
    for kind in FORMS:
        page = steward.get(f"/desk/draft/{kind}").text
        first = next(iter(shipped()[kind]))
        assert f'href="/desk/draft/{kind}/{first}"' in page


def test_what_was_left_empty_is_said_so_and_a_limits_broken_examples_without_their_facts(steward: FlaskClient) -> None:
    limit = "/desk/draft?limit=dye.polyester_share_least"
    fields = hidden_fields(steward.get(limit).text, "/desk/draft")
    empty = steward.post("/desk/draft", data=fields | {"value": "35", "reason": "", "evidence": "Seen."})
    assert "This has to be filled in." in empty.text
    broken = steward.post("/desk/draft", data=fields | {"value": "35", **WHY})
    assert broken.status_code == 422
    page = html.unescape(broken.text)
    told = (
        "Rule dye-on-too-little-polyester, example 1 where it applies: with the change it stays silent there. Change"
        " the example in the same proposal, with accord propose."
    )
    assert told in page
    assert not re.search(r"does not hold|/changes/0|item\.nylon_share = ", page)
