"""The steward's desk: a change of the book taken through by forms, and what is refused told beside its button.

What is expected is the collective's own agreement on how its book changes (a choice of this project); the numbers of a
share's interval are quantiles of the beta distribution, of scipy (tests/rules/governance/test_outcomes.py).
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.api.test_proposals import ASKED, KEYS, LIMIT, RULE, SHOP
from tests.service.effect_workers import FEW_EDGES, work_out
from tests.service.pages.forms import hidden_fields
from werkzeug.test import TestResponse

from accord_rules.documents.counted import counted
from accord_service.app import create_app
from accord_service.pages.desk.changes import readable


@pytest.fixture(scope="module")
def town(open_collective: Any) -> Any:
    return open_collective([SHOP.format(id="one"), SHOP.format(id="two")], KEYS)


@pytest.fixture(scope="module")
def service(town: Any) -> Iterator[Flask]:
    app = create_app(town.config)
    yield app
    app.extensions["accord"].close()


class Person:
    """Somebody signed in, in a browser of their own."""

    def __init__(self, service: Flask, token: str) -> None:
        self.client: FlaskClient = service.test_client()
        assert self.client.post("/sign-in", data={"key": token}).status_code == 303

    def read(self, address: str, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, answer.text
        return html.unescape(answer.text)

    def send(self, page: str, action: str, **typed: str) -> TestResponse:
        """The form that goes to ``action``, as the page has it, with what was typed."""
        shown = self.client.get(page).text
        return self.client.post(action, data=hidden_fields(shown, action) | typed)


@pytest.fixture(scope="module")
def people(town: Any, service: Flask) -> dict[str, Person]:
    return {f"{shop}-{role}": Person(service, town.tokens[shop, role]) for shop, role in KEYS}


def drafted(person: Person, value: str = "90 %", reason: str = "Prints at 88 % came back pale.") -> str:
    """The address of a proposal that this person drafted by the form."""
    address = f"/desk/draft?limit={LIMIT}"
    made = person.send(address, "/desk/draft", value=value, reason=reason, evidence="Eleven reports since spring.")
    assert made.status_code == 303, made.text
    return str(made.location)


def test_a_limit_is_changed_by_forms_alone(
    people: dict[str, Person], town: Any, service: Flask, wait_for: Callable[..., None]
) -> None:
    owner, own, other = people["one-owner"], people["one-steward"], people["two-steward"]
    recorded = service.test_client().post("/v1/records", json=ASKED, headers=town.headers("one", "counter"))
    assert recorded.status_code == 201
    address = drafted(owner)
    id_ = address.rpartition("/")[2]
    page = other.read(address)
    assert "<del>85 %</del>" in page
    assert "<ins>90 %</ins>" in page
    assert "▲ stricter" in page
    assert "has not been opened, so its effect is not known" in page
    assert f'action="{address}/withdraw"' not in page, "only the author withdraws"

    assert owner.send(address, f"{address}/open").status_code == 303
    status = owner.client.get(f"{address}/status")
    assert status.json["working"] is True
    again = owner.client.get(f"{address}/status", headers={"If-None-Match": status.headers["ETag"]})
    assert again.status_code == 304
    assert "desk.js" in owner.read(address)
    work_out(town.server.url, edges_most=FEW_EDGES)
    moved = owner.client.get(f"{address}/status", headers={"If-None-Match": status.headers["ETag"]})
    assert (moved.status_code, moved.json["working"]) == (200, False)

    page = other.read(address)
    assert "The book becomes mixed" not in page
    of_shops = [
        service.test_client().get("/v1/records", headers=town.headers(shop, "counter")).json for shop in ("one", "two")
    ]
    count = sum(len(told["entries"]) for told in of_shops)
    assert f"Tried: {counted(count, 'recorded order')} and" in page
    assert re.search(rf"one</td>.*{RULE}.*stricter", page), "the flip of shop one's order"
    assert "polyester is below 90 %: the print comes out" in page, "the sentence with the changes"
    assert "The rule says nothing." in page, "and before"
    assert "recorded since" not in page
    later = service.test_client().post("/v1/records", json=ASKED, headers=town.headers("one", "counter"))
    assert later.status_code == 201
    assert "▲ 1 order was recorded since this effect was asked for, and it says nothing of it" in other.read(address)
    assert "of no other shop than the author" in own.read(address), "the API's own sentence"
    assert "You may approve or decline it." in other.read("/desk")
    assert "You may approve or decline it." not in own.read("/desk")

    approve = f"{address}/approve"
    stale = other.send(address, approve, replay_digest="sha256:of-something-else")
    assert stale.status_code == 409
    assert "The approval is of something else" in html.unescape(stale.text)
    assert other.send(address, approve).status_code == 303
    published = own.send(address, f"{address}/publish")
    assert (published.status_code, published.location) == (303, "/desk/revisions/2")
    page = own.read("/desk/revisions/2")
    assert "<ins>90 %</ins>" in page
    assert "the present one" in page
    assert f"/desk/proposals/{id_}" in page

    def holds_everywhere() -> bool:
        told = other.client.get(f"/v1/limits/{LIMIT}", headers=town.headers("one", "counter")).json
        return bool(told["entry"]["value"] == 90)

    wait_for(holds_everywhere, seconds=5.0)

    back = other.send("/desk/revisions/2", "/desk/revisions/1/revert", reason="It was the paper.")
    page = other.read(back.location)
    assert "<del>90 %</del>" in page
    assert "▼ looser" in page


def test_a_decline_needs_its_reason_and_ends_it(people: dict[str, Person]) -> None:
    author, steward = people["one-operator"], people["two-steward"]
    address = drafted(author)
    refused = steward.send(address, f"{address}/decline", reason=" ")
    assert refused.status_code == 422
    assert 'aria-invalid="true"' in refused.text
    too_long = "That was the paper. " * 200
    refused = steward.send(address, f"{address}/decline", reason=too_long)
    assert refused.status_code == 422
    assert too_long.strip() in html.unescape(refused.text), "what was typed is not lost"
    assert steward.send(address, f"{address}/decline", reason="That was the paper.").status_code == 303
    page = author.read(address)
    assert "That was the paper." in page
    assert "What you can do" not in page
    late = steward.client.post(
        f"{address}/approve", data=hidden_fields(steward.client.get("/sessions").text, "/sign-out")
    )
    assert late.status_code in (409, 422)


def test_a_value_that_is_none_is_refused_beside_its_field(people: dict[str, Person]) -> None:
    steward = people["two-steward"]
    page = f"/desk/draft?limit={LIMIT}"
    refused = steward.send(page, "/desk/draft", value="a lot", reason="<b>why</b>", evidence="None yet.")
    assert refused.status_code == 422
    assert re.search(r'id="value"[^>]*aria-invalid="true" aria-describedby="fault-value"', refused.text)
    assert "&lt;b&gt;why&lt;/b&gt;" in refused.text
    unchanged = steward.send(page, "/desk/draft", value="85", reason="Why.", evidence="", digest="sha256:another")
    assert unchanged.status_code in (409, 422)
    assert steward.client.get("/desk/draft?limit=no.such.limit").status_code == 404
    assert steward.read("/desk/draft").count("<option value=") > 100


def test_whoever_may_not_is_shown_no_button(people: dict[str, Person], service: Flask, town: Any) -> None:
    address = drafted(people["two-steward"])
    page = people["one-counter"].read(address)
    assert "What you can do" not in page
    assert "Its effect is for operators" in page or "Nobody has had its effect worked out yet." in page
    assert 'href="/desk/audit"' not in page
    assert f'action="{address}/approve"' not in people["collective-admin"].read(address)
    people["two-steward"].send(address, f"{address}/withdraw", reason="Tried out.")


def test_the_audit_is_read_from_its_end_and_checked_on_request(people: dict[str, Person]) -> None:
    steward = people["two-steward"]
    numbers = [int(number) for number in re.findall(r'data-label="No\."[^>]*>(\d+)<', steward.read("/desk/audit"))]
    assert numbers == sorted(numbers, reverse=True)
    keys = steward.read("/desk/audit?event=key.issued")
    first_start = 1  # the first admin's
    assert keys.count('<td data-label="What">key: issued</td>') == len(KEYS) + first_start
    assert '<td data-label="What">shop: created</td>' not in keys
    checked = steward.send("/desk/audit", "/desk/audit", anchor="")
    assert "✓ Nothing is wrong." in checked.text
    wrong = steward.send("/desk/audit", "/desk/audit", anchor="no anchor")
    assert wrong.status_code == 400
    assert 'value="no anchor"' in wrong.text


def test_a_bundle_is_noted_with_its_revision_and_age(people: dict[str, Person], service: Flask, town: Any) -> None:
    steward = people["two-steward"]
    client = service.test_client()
    assert "No pull is noted" in steward.read("/desk/shops")
    assert client.get("/v1/bundle", headers=town.headers("two", "counter")).status_code == 200
    service.extensions["accord"].bundle_pulls._writer.submit(lambda: None).result()
    shops = client.get("/v1/shops", headers=town.headers("two", "steward")).json["entries"]
    pulls = {shop["id"]: shop["bundle"] for shop in shops}
    assert pulls["one"] is None
    head = client.get("/v1/revisions", headers=town.headers("two", "steward")).json["head"]
    assert pulls["two"]["revision"] == head
    page = steward.read("/desk/shops")
    assert "0 minutes ago" in page
    assert "it is of the present book" in page


def test_outcomes_are_told_with_how_sure_one_can_be(people: dict[str, Person], service: Flask, town: Any) -> None:
    """One good piece of one: Beta(2, 1), of which 5 % lie below the square root of 0.05, 22 %, and above that of 0.95,
    97 % (its distribution function is the square)."""
    client, headers = service.test_client(), town.headers("one", "counter")
    record = client.post("/v1/records", json=ASKED, headers=headers).json["record_id"]
    assert client.post(f"/v1/records/{record}/outcomes", json={"result": "good"}, headers=headers).status_code == 201
    tally = service.extensions["accord"].tally
    tally._read_s = None
    page = people["two-steward"].read("/desk/outcomes")
    assert "between 22\u00a0% and 97\u00a0% would come out good (90\u00a0% sure)" in page
    assert "Poor." not in page


def test_news_that_were_seen_are_told_no_more(people: dict[str, Person]) -> None:
    steward, address = people["two-steward"], drafted(people["one-operator"])
    assert steward.send(address, f"{address}/decline", reason="To be news.").status_code == 303
    assert f"Proposal {address.rpartition('/')[2]} is declined." in steward.read("/desk")
    assert steward.send("/desk", "/desk/seen").status_code == 303
    assert "Nothing new." in steward.read("/desk")


def test_of_a_text_the_words_are_told_that_differ() -> None:
    old = {"because": "Press at 180 °C for 20 s.", "sources": ["one"], "level": "notes"}
    new = {"because": "Press at 170 °C for 20 s.", "sources": ["one", "two"], "level": "requires"}
    (change,) = readable([{"kind": "rules", "id": "r", "was": old, "value": new, "direction": None}])
    because, sources, level = change.places
    assert [part.text for part in because.before if part.kind == "other"] == ["180 "]
    assert "".join(part.text for part in because.after) == new["because"]
    assert [part.text for part in sources.after] == ["two"]
    assert ([part.text for part in level.before], [part.text for part in level.after]) == (["notes"], ["requires"])
