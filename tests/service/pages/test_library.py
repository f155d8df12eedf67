"""The library's pages: what the API answers, in the visitor's units and under their shop's house rules."""

from __future__ import annotations

import copy
import html
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from accord_rules.documents.files import shipped
from accord_rules.revision.book import Book
from accord_rules.revision.catalogue import KINDS
from accord_rules.revision.facts import declared
from accord_rules.verdict import LEVELS
from accord_service.pages.library.words import FACT_GROUPS, KIND_WORDS, LEVEL_WORDS, SOURCE_WORDS, STAGE_WORDS
from accord_service.store import Store
from accord_service.worker.trials import trier

RULE, LIMIT = "dye-on-natural-fibre", "people.touch_hold_most"
EVERY = 25  # of a kind's entries, one in so many is asked for
LISTS = ["/library", *(f"/library/{kind}" for kind in ("rules", "limits", "steps", "sources", "facts"))]
LISTS += [f"/library/catalogue/{kind}" for kind in KINDS]


@pytest.fixture
def counter(signed_in: Callable[..., FlaskClient]) -> FlaskClient:
    """The quay-side shop's counter, who reads °F, at the library."""
    return signed_in()


def text_of(page: str) -> str:
    """A page's text as it is read."""
    return " ".join(html.unescape(re.sub("<[^>]+>", " ", page)).split())


@pytest.mark.parametrize("address", LISTS)
def test_every_list_leads_to_its_entries(counter: FlaskClient, address: str) -> None:
    page = counter.get(address)
    assert page.status_code == 200
    assert not re.search(r"<script>|<style|style=|onclick=", page.text), "the policy would not run them"
    entries = [link for link in re.findall(r'<a href="(/library/[^"#?]+)"', page.text) if link not in LISTS]
    assert entries or address == "/library"
    for link in entries[::EVERY]:
        assert counter.get(link).status_code == 200, link


def test_every_kind_level_stage_and_kind_of_source_has_its_words(book: Book) -> None:
    assert {*KINDS} <= set(KIND_WORDS)
    assert set(LEVELS) == set(LEVEL_WORDS)
    assert {source.kind for source in book.sources.values()} <= set(SOURCE_WORDS)
    assert {step.stage for step in book.steps.values()} <= set(STAGE_WORDS)


def test_every_fact_is_listed_once_under_words_that_people_understand(counter: FlaskClient) -> None:
    topics = [topic for _, of in FACT_GROUPS for topic in of]
    assert sorted(topics) == sorted({name.partition(".")[0] for name in declared()})
    page = counter.get("/library/facts").text
    listed = re.findall(r'<a href="/library/facts/([^"]+)"', page)
    assert sorted(listed) == sorted(declared())
    assert page.index("<h2>What is ordered</h2>") < page.index("<h3>The piece ") < page.index("item.natural_share")
    assert "<h3>The law where it is sold " in page


def test_a_rule_says_what_why_and_on_what_it_rests(counter: FlaskClient) -> None:
    page = counter.get(f"/library/rules/{RULE}")
    told = text_of(page.text)
    for part in (
        "Dye does not take on natural and regenerated fibres",
        "Refuses",
        "with polyester share of it, where at least 50 % is needed",
        "percent of polyester : less than 50 %",
        "Common practice of heat-press decorators common practice, no source",
        "plain cotton",
        "fibres (CO 100)",
        "this book's own choice",
        "Added in revision 1",
    ):
        assert part in told, part
    assert "item.polyester_share < limit('dye.polyester_share_least')" in told, "the grammar stands beside it"
    assert re.findall(r'<a href="/library/rules/([^"]+)">', page.text), "rules that read the same facts"


def test_numbers_are_in_the_visitors_units(counter: FlaskClient, signed_in: Callable[..., FlaskClient]) -> None:
    told = text_of(counter.get(f"/library/limits/{LIMIT}").text)
    assert "109 °F" in told
    assert "Smallest change that matters 2 °F" in told, "1 °C more is 1.8 °F more, in whole degrees"
    metric = text_of(signed_in("mill-loft").get(f"/library/limits/{LIMIT}").text)
    assert "43 °C" in metric
    assert "°F" not in metric


def test_a_shop_sees_where_it_is_stricter(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    client, owner = serve(fresh).test_client(), fresh.headers("quay-side", "owner")
    read = client.get(f"/v1/shop/house-rules/limits/{LIMIT}", headers=owner)
    written = client.put(
        f"/v1/shop/house-rules/limits/{LIMIT}",
        json={"id": LIMIT, "value": "40 °C"},
        headers={**owner, "If-Match": read.headers["ETag"]},
    )
    assert written.status_code == 200, written.text
    client.post("/sign-in", data={"key": fresh.tokens["quay-side", "counter"]})
    told = text_of(client.get(f"/library/limits/{LIMIT}").text)
    assert "104 °F Your shop's own. The book's is 109 °F." in told


def test_another_word_for_an_entry_leads_to_it(counter: FlaskClient) -> None:
    led = counter.get("/library/catalogue/transfers/dtf")
    assert (led.status_code, led.location) == (303, "/library/catalogue/transfers/powder-film")
    assert counter.get("/library/catalogue/rules/x").location == "/library/rules/x"
    assert counter.get("/library/rules/dye-on-natural-fiber").status_code == 404


def test_how_pieces_came_out_stands_with_a_transfer_alone(counter: FlaskClient) -> None:
    assert "Nobody has reported pieces yet" in counter.get("/library/catalogue/transfers/powder-film").text
    assert "How it came out" not in counter.get("/library/catalogue/fibres/CO").text


# -- search ------------------------------------------------------------------------------------------------------------


def hits(page: str) -> list[str]:
    return re.findall(r'<li><a href="(/library/[^"]+)">', page)


def test_search_finds_by_peoples_words_without_javascript(counter: FlaskClient) -> None:
    page = counter.get("/library/search?q=dtf+peel").text
    assert hits(page)[0] == "/library/catalogue/transfers/powder-film"
    assert 'value="dtf peel"' in page
    part = counter.get("/library/search?q=dtf+peel&part=results").text
    assert hits(part) == hits(page)
    assert "<html" not in part
    assert {hit.split("/")[2] for hit in hits(counter.get("/library/search?q=nylon&kind=rules").text)} == {"rules"}


def test_search_says_what_it_did_not_know(counter: FlaskClient) -> None:
    assert "no word “sublmation”: this is for sublimation" in text_of(counter.get("/library/search?q=sublmation").text)
    assert "Nothing in the book is about “xqzzv”" in text_of(counter.get("/library/search?q=xqzzv").text)
    odd = counter.get("/library/search", query_string={"q": "<b>'\"&", "kind": "no-such"})
    assert odd.status_code == 200
    assert "<b>" not in odd.text
    assert 'role="alert"' in odd.text
    assert counter.get("/library/search").status_code == 200
    assert counter.get("/library/search", query_string={"q": "x" * 5000}).status_code == 200


# -- revisions ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def later(changing: Any) -> Iterator[FlaskClient]:
    """The counter of a service whose book has a limit changed, a rule taken out and another added since revision 1."""
    store = Store.at(changing.collective.server.url, timeout_s=5.0)
    documents = copy.deepcopy(dict(shipped()))

    def publish(reason: str) -> None:
        people = {"author": "a", "approvers": ["b"], "reason": reason, "proposal": None}
        store.revisions.publish(store.revisions.head(), documents, **people, tried_by=trier())

    documents["limits"][LIMIT]["value"] = "42 °C"
    publish("Hands say so.")
    documents["rules"]["dye-on-wool-again"] = documents["rules"].pop("dye-over-primer")
    publish("The primer is made no more.")
    store.close()
    client: FlaskClient = changing.first
    client.post("/sign-in", data={"key": changing.collective.tokens["quay-side", "counter"]})
    return client


def test_a_limit_tells_what_each_revision_changed_and_why(later: FlaskClient) -> None:
    told = text_of(later.get(f"/library/limits/{LIMIT}").text)
    assert re.search(r"Changed in revision 2 , \d{4}-\d\d-\d\d : Hands say so. by a", told)
    assert "value 43 °C → is now 42 °C" in told
    assert "Added in revision 1" in told


def test_an_old_revision_is_shown_as_it_was_and_stays_there(later: FlaskClient) -> None:
    page = later.get(f"/library/limits/{LIMIT}?revision=1").text
    assert "This is revision 1 of the book" in page
    assert "109 °F" in page
    assert "/library/limits?revision=1" in page
    assert later.get("/library/rules/dye-over-primer?revision=2").status_code == 200
    assert later.get(f"/library/limits/{LIMIT}?revision=99").status_code == 404


def test_an_entry_that_is_gone_leads_on(later: FlaskClient) -> None:
    page = later.get("/library/rules/dye-over-primer")
    assert page.status_code == 410
    told = text_of(page.text)
    assert "Revision 3 took it out: The primer is made no more." in told
    assert "/library/rules/dye-over-primer?revision=2" in page.text
    assert "/library/rules/dye-on-wool-again" in page.text


def test_an_entry_that_an_old_revision_lacks_says_when_it_came_or_went(later: FlaskClient) -> None:
    gone = later.get("/library/rules/dye-over-primer?revision=3")
    assert gone.status_code == 410
    assert "is in this revision no more Revision 3 took it out" in text_of(gone.text)
    assert "/library/rules/dye-on-wool-again?revision=3" in gone.text
    early = later.get("/library/rules/dye-on-wool-again?revision=2")
    assert early.status_code == 404
    assert "is not in this revision yet Revision 3 brought it: The primer is made no more." in text_of(early.text)
    assert 'href="/library/rules/dye-on-wool-again?revision=3"' in early.text
    never = later.get("/library/rules/no-such-rule?revision=2")
    assert never.status_code == 404
    assert "revision yet" not in never.text
    assert later.get("/library/rules/dye-over-primer?revision=99").status_code == 404


# What leads out of an old revision on purpose, or has no revisions: the way to the newest, and other rooms' pages.
OUT_OF_LIBRARY = re.compile(r'href="(/library[^"#]*)')


@pytest.mark.parametrize(
    "address",
    [
        "",
        "/rules",
        "/rules/dye-on-natural-fibre",
        "/rules/dye-over-primer",
        f"/limits/{LIMIT}",
        "/steps",
        "/steps/press-oven",
        "/catalogue/transfers",
        "/catalogue/transfers/powder-film",
        "/sources",
        "/facts",
        "/facts/item.natural_share",
        "/search?q=nylon",
    ],
)
def test_every_link_of_an_old_revision_stays_in_it(later: FlaskClient, address: str) -> None:
    """But those of the history, each to its revision, and the one in the banner, which leads to the newest."""
    joint = "&amp;" if "?" in address else "?"
    page = later.get(f"/library{address}{joint}revision=2".replace("&amp;", "&"))
    assert page.status_code == 200
    main, _, _ = page.text.partition('<section id="history">')
    body = main.partition('<div class="library">')[2]
    banner = f'<a href="/library{address.partition("?")[0]}">'
    assert body.count(banner) == 1
    links = OUT_OF_LIBRARY.findall(body.replace(banner, ""))
    assert links
    assert [link for link in links if "revision=2" not in link] == []


def test_changes_after_an_old_revision_are_told_as_later(later: FlaskClient) -> None:
    told = text_of(later.get(f"/library/limits/{LIMIT}?revision=1").text)
    assert "Changed later, in revision 2" in told
    assert "Added in revision 1" in told
