"""The counter: what is typed comes back as the order that it is, and what is shown is what the API answers."""

from __future__ import annotations

import gzip
import html
import json
import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.pages.forms import controls, hidden_fields
from tests.tiers import of_this_run
from werkzeug.datastructures import MultiDict

from accord_service.pages.counter.query import Pairs, pairs_of, read_order
from accord_service.pages.counter.told import settings_said

DEMO = Path(__file__).parents[3] / "demo"
STEP = of_this_run(12, 5, 1)  # one of so many orders goes through the form
SHOPS = ("harbour-lane", "kiln-corner", "mill-steps", "quay-yard", "harbour-lane-stall")
Order = dict[str, Any]
RULED_OUT: Order = {
    "item": {"blank": "TS-100-W"},
    "decorations": [
        {"transfer": "sub-paper-fast-dry", "placement": "front", "size": {"width": "8 in", "height": "8 in"}}
    ],
}
WORKABLE: Order = {
    "reference": "HL-2001",
    "item": {"blank": "TS-100-W"},
    "decorations": [{"transfer": "roll 7", "placement": "front", "size": {"width": "8 in", "height": "8 in"}}],
    "press": "the little one",
    "quantity": 2,
}


@dataclass(frozen=True)
class Day:
    """The demo's shops in one service: a signed-in browser of each one's counter, and its key for the API."""

    app: Flask
    clients: dict[str, FlaskClient]
    headers: dict[str, dict[str, str]]

    def page(self, order: Order | Pairs, shop: str = "harbour-lane", path: str = "/counter", more: str = "") -> str:
        pairs = pairs_of(order) if isinstance(order, dict) else order
        answer = self.clients[shop].get(f"{path}?{urlencode(pairs)}{more}")
        assert answer.status_code == 200, answer.text
        return answer.text

    def verdict(self, order: Order, shop: str = "harbour-lane") -> Any:
        answer = self.app.test_client().post("/v1/validate", json=order, headers=self.headers[shop])
        assert answer.status_code == 200, answer.text
        return answer.json


@pytest.fixture(scope="module")
def day(open_collective: Any, serve: Callable[[Any], Flask]) -> Day:
    shops = [(DEMO / "shops" / f"{shop}.toml").read_text(encoding="utf-8") for shop in SHOPS]
    collective = open_collective(shops, [(shop, "counter") for shop in SHOPS])
    app = serve(collective)
    clients = {shop: app.test_client() for shop in SHOPS}
    for shop, client in clients.items():
        client.post("/sign-in", data={"key": collective.tokens[shop, "counter"]})
    return Day(app, clients, {shop: collective.headers(shop, "counter") for shop in SHOPS})


def demo_orders() -> Iterator[tuple[str, Order, str]]:
    """Name, order and shop of each order of the day."""
    expected = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
    for name, wanted in expected.items():
        yield name, json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")), wanted["shop"]


def word_of(page: str) -> str:
    (word,) = re.findall(r'data-word="(\w+)"', page)
    return str(word)


def line_of(page: str) -> str:
    (line,) = re.findall(r'<p class="line [^>]*>(.*?)</p>', page, re.DOTALL)
    return " ".join(html.unescape(re.sub("<[^>]+>", "", line)).split())


def links_of(page: str, kind: str = "answer") -> list[tuple[str, str]]:
    """Address and words of each link of a kind."""
    found = re.findall(rf'<a class="{kind}"[^>]*href="([^"]+)">(.*?)</a>', page, re.DOTALL)
    return [(html.unescape(address), html.unescape(re.sub("<[^>]+>", "", words))) for address, words in found]


def order_at(address: str) -> Order:
    return read_order(parse_qsl(urlsplit(address).query)).document


def test_orders_of_the_demo_go_through_the_form_and_are_answered_as_the_api_answers_them(day: Day) -> None:
    """The order in the address, the form as a browser sends it back, and the address that leads to: one order."""
    told = []
    for name, order, shop in islice(demo_orders(), None, None, STEP):
        page = day.page(order, shop)
        sent = controls(page, "order")
        assert read_order(pair for pair in sent if not pair[0].startswith("form_")).document == order, name
        told.append((name, word_of(page), day.verdict(order, shop)["verdict"]))
    assert [one for one in told if one[1] != one[2]] == []
    assert {word for _, word, _ in told} == {"accepted", "conditional", "undetermined", "rejected"}


def test_what_has_no_field_of_its_own_stands_in_the_form_too(day: Day) -> None:
    """A described press with readings, a sheet with several pressings: said by a program, and not lost by the form."""
    press = {"type": "clamshell", "calibration": [{"display": "380 °F", "surface": ["371 °F", "374 °F"]}]}
    tack = {"tack": {"temperature": {"least": "300 °F", "most": "310 °F"}, "time": "3 s"}}
    order = WORKABLE | {
        "press": press,
        "decorations": [WORKABLE["decorations"][0] | {"sheet": {"peel": ["hot"], "pressings": tack}}],
    }
    sent = controls(day.page(order), "order")
    assert read_order(pair for pair in sent if not pair[0].startswith("form_")).document == order


def test_sent_without_a_script_the_form_leads_to_the_orders_address(day: Day) -> None:
    page = day.page(WORKABLE)
    answer = day.clients["harbour-lane"].post("/counter", data=MultiDict(controls(page, "order")))
    assert answer.status_code == 303
    assert answer.location.endswith("#verdict")
    assert order_at(answer.location) == WORKABLE
    assert "form_" not in answer.location


def test_prints_are_added_and_taken_away(day: Day) -> None:
    sent = controls(day.page(WORKABLE), "order")
    client = day.clients["harbour-lane"]
    added = client.post("/counter", data=MultiDict([*sent, ("add-print", "1")])).location
    assert order_at(added)["decorations"] == [*WORKABLE["decorations"], {}]
    page = client.get(added).text
    assert 'id="f-decorations.1.transfer"' in page
    sent = controls(page, "order")
    taken = client.post("/counter", data=MultiDict([*sent, ("remove-print", "0")])).location
    assert order_at(taken)["decorations"] == [{}]


def test_the_part_for_the_script_says_what_the_page_says(day: Day) -> None:
    page, part = day.page(RULED_OUT), day.page(RULED_OUT, path="/counter/verdict")
    assert "<form id" not in part
    assert line_of(part) == line_of(page)
    assert line_of(part).startswith("✗ Must not be done like this: Dye does not take")


def test_the_page_comes_in_one_flight_with_one_sheet_and_a_script_that_waits(day: Day) -> None:
    """A new connection sends ten segments before it waits for a round trip (RFC 6928; 1,460 bytes each on Ethernet).
    What stands in the way of the first picture is one style sheet; names to choose from come afterwards."""
    client = day.clients["harbour-lane"]
    answer = client.get("/counter", headers={"Accept-Encoding": "gzip"})
    head = sum(len(f"{name}: {value}\r\n") for name, value in answer.headers)
    assert len(answer.data) + head < 10 * 1460
    page = gzip.decompress(answer.data).decode()
    assert len(re.findall(r'<link rel="stylesheet"', page)) == 1
    assert re.findall(r"<script[^>]*>", page) == re.findall(r'<script src="[^"]+" defer>', page)
    assert re.findall(r'<datalist id="([^"]+)"', page) == ["list-pressures"]
    assert set(re.findall(r' list="([^"]+)"', page)) == {"list-blanks", "list-transfers", "list-pressures"}


def test_the_names_to_choose_from_are_the_shops_own_and_then_the_books(day: Day) -> None:
    lists = day.clients["harbour-lane"].get("/counter/lists").text
    assert re.findall(r'<datalist id="([^"]+)"', lists) == ["list-blanks", "list-transfers"]
    own, stocked, other = (lists.index(f'value="{name}"') for name in ("roll 7", "film-soft-matte", "cut-film"))
    assert own < stocked < other


def test_nothing_is_asked_before_something_is_said(day: Day) -> None:
    assert word_of(day.page(())) == "empty"
    assert word_of(day.page((("quantity", "3"),))) == "empty"


def test_reasons_of_a_record_lead_to_what_the_book_said_then(day: Day) -> None:
    client, headers = day.clients["harbour-lane"], day.headers["harbour-lane"]
    record: Any = client.post("/v1/records", json=RULED_OUT, headers=headers).json
    page = client.get(f"/records/{record['record_id']}").text
    links = re.findall(r'href="(/library/(?:rules|limits)/[^"?]+)([^"]*)"', page)
    assert {under for _, under in links} == {f"?revision={record['answer']['revision']}"}
    assert client.get("".join(links[0])).status_code == 200


def test_reasons_have_their_numbers_and_a_link_to_the_rule(day: Day) -> None:
    page, verdict = html.unescape(day.page(RULED_OUT)), day.verdict(RULED_OUT)
    for finding in verdict["findings"]:
        assert finding["because"] in page
        assert f'href="/library/rules/{finding["rule"]}"' in page
        for limit, value in finding["limit"].items():
            assert f'<a href="/library/limits/{limit}">{value}</a>' in page
    for address in set(re.findall(r'href="(/library/[^"]+)"', page)):
        assert day.clients["harbour-lane"].get(address).status_code == 200, address


def test_a_remedy_is_one_click_and_comes_out_as_it_says(day: Day) -> None:
    tried = 0
    for name, order, shop in demo_orders():
        verdict = day.verdict(order, shop) if name[:2] == "08" else {"remedies": ()}
        if not verdict["remedies"]:
            continue
        links = {words: address for address, words in links_of(day.page(order, shop))}
        for remedy in verdict["remedies"]:
            page = day.clients[shop].get(links[remedy["text"]]).text
            assert word_of(page) == remedy["verdict"], (name, remedy)
            tried += 1
    assert tried > 10


def test_questions_are_answered_by_a_click_or_in_a_field(day: Day) -> None:
    """Of each undetermined order of the day: every question has a way to answer it, and no answer is misread."""
    tried = 0
    for name, order, shop in demo_orders():
        if not "069" <= name[:3] <= "078":
            continue
        page = day.page(order, shop)
        needs = day.verdict(order, shop)["needs"]
        assert [need["question"] for need in needs if html.escape(need["question"]) not in page] == [], "as asked"
        blocks = re.findall(
            r'<div class="question">(.*?)</div>\s*(?=<div class="question">|</section>)', page, re.DOTALL
        )
        assert len(blocks) == len(needs)
        assert "[]" not in line_of(page)
        for block in blocks:
            assert "[]" not in block
            answers = links_of(block)
            assert answers or '<form class="reply"' in block
            for address, _ in answers:
                assert word_of(day.clients[shop].get(address).text) != "unread", address
                tried += 1
    assert tried > 10


def test_a_question_is_answered_in_its_field(day: Day) -> None:
    order = {"item": {"substrate": "woven", "colour": "white"}, "decorations": RULED_OUT["decorations"]}
    page = day.page(order)
    (form,) = re.findall(r'<form class="reply".*?</form>', page, re.DOTALL)
    hidden = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form)
    assert read_order((*hidden, ("item.fibres", "100 % PES"))).document == order | {
        "item": order["item"] | {"fibres": {"PES": 100}}
    }
    assert 'id="q-item.fibres"' in form


def test_what_could_hurt_stands_first_and_is_said_with_a_click(day: Day) -> None:
    page, verdict = day.page(WORKABLE), day.verdict(WORKABLE)
    dangerous = [one for one in verdict["assumed"] if one["could_hurt"]]
    assert dangerous
    part = page[page.index('class="unsaid"') : page.index("On the press")]
    said = links_of(part)
    assert len(said) == len(dangerous)
    for address, _ in said:
        left = [one for one in day.verdict(order_at(address))["assumed"] if one["could_hurt"]]
        assert len(left) < len(dangerous)


def test_settings_stand_there_as_the_press_shows_them(day: Day) -> None:
    page, verdict = html.unescape(day.page(WORKABLE)), day.verdict(WORKABLE)
    (settings,) = next(press["settings"] for press in verdict["presses"])
    assert f"<dd>{settings['temperature']} on the display</dd>" in page
    assert f"<dd>{settings['time']}</dd>" in page
    assert f"<dd>{settings['pressure']}</dd>" in page


def test_a_pressing_in_place_of_the_main_one_has_all_that_it_takes() -> None:
    """A print that another covers is only tacked: its own time and peel, the rest as the main pressing has it."""
    settings = {
        "temperature": "320 °F",
        "read_at": "display",
        "time": "17 s",
        "cover": "none",
        "second_press": "5 s",
        "pressings": {"tack": {"time": "3 s", "peel": "hot"}},
    }
    assert settings_said(settings, {}, ("tack",)) == (
        ("Tack pressing: temperature", "320 °F on the display"),
        ("Tack pressing: time", "3 s"),
        ("Tack pressing: peel", "hot"),
    )
    assert settings_said(settings, {}, ("tack", "main")) == (
        ("Temperature", "320 °F on the display"),
        ("Time", "17 s"),
        ("Second press", "5 s"),
        ("Tack pressing: time", "3 s"),
        ("Tack pressing: peel", "hot"),
    )


@pytest.mark.parametrize(
    ("pairs", "field", "says", "offers"),
    [
        ((("item.blank", "tee-heavy-wite"),), "item.blank", "there is no 'tee-heavy-wite'", "Heavy cotton tee, white"),
        (
            (("decorations.0.size.height", "8 in"), ("decorations.0.size.width", "8")),
            "decorations.0.size.width",
            "8 has no unit",
            "8 in",
        ),
        ((("press", "bensh"),), "press", "'bensh' is not one of the shop's presses", "bench"),
        ((("decorations.0.placement", "font"),), "decorations.0.placement", "is not one of the allowed", "front"),
        ((("use.age_from", "old"),), "use.age_from", "has to be a number", None),
        ((("item.fibres", "50 % PES, 20 % CO"),), "item.fibres", "sums to 70 %", None),
        ((("item.fibres", "90 % PES, 10 % nylone"),), "item.fibres", "'nylone' is no fibre of the book", None),
    ],
)
def test_what_cannot_be_read_is_told_beside_its_field(
    day: Day, pairs: Pairs, field: str, says: str, offers: str | None
) -> None:
    order = pairs_of({"item": {"blank": "TS-100-W"}, "decorations": [{"transfer": "roll 7"}]})
    said = tuple(pair for pair in order if pair[0] not in dict(pairs)) + pairs
    page = html.unescape(day.page(said))
    assert word_of(page) == "unread"
    control = re.search(rf'<(?:input|select|fieldset)[^>]*id="f-{re.escape(field)}"[^>]*>', page)
    assert control is not None
    assert 'aria-invalid="true"' in control[0]
    (fault,) = re.findall(rf'id="f-{re.escape(field)}-fault">(.*?)</span>\s*(?:</div>|</fieldset>)', page, re.DOTALL)
    assert says in fault
    assert set(said) <= {*controls(page, "order")} | {(name, text) for name, text in said if ".size." in name}
    if offers is not None:
        address = next(address for address, words in links_of(page) if words == offers)
        assert word_of(day.clients["harbour-lane"].get(address).text) != "unread"


def test_the_answer_tells_a_fault_once(day: Day) -> None:
    """The line tells the first; the list has its field and what may stand there, and the sentences of the others."""
    said = (("item.blank", "TS-100-W"), ("decorations.0.transfer", "roll 7"), ("decorations.0.size.width", "8"))
    page = day.page((*said, ("decorations.0.size.height", "tall")))
    answer = page[page.index('<div id="answer"') :]
    seen = re.sub(r"<[^>]+>", "", re.sub(r"<span[^>]* hidden>.*?</span>", "", answer, flags=re.DOTALL))
    line = line_of(page)
    assert line.startswith("✎ Cannot be read yet: Height of the print: cannot be read as length")
    assert line.endswith(" (and 1 field more)")
    told = " ".join(html.unescape(seen).split())
    assert told.count("cannot be read as length") == 1
    assert told.count("8 has no unit") == 1
    assert '<a href="#f-decorations.0.size.height">Height of the print</a>' in answer
    assert {"8 mm", "8 in"} <= {words for _, words in links_of(answer)}, "what may stand there is offered"


def test_a_word_for_several_things_offers_each_by_its_title(day: Day) -> None:
    pairs = pairs_of({"item": {"blank": "aluminium panel"}, "decorations": [{"transfer": "sublimation"}]})
    page = day.page(pairs, "kiln-corner")
    assert line_of(page) == "✎ Cannot be read yet: Piece: “aluminium panel” can mean several things: say which."
    offered = links_of(page)
    assert len(offered) == 7
    assert "Coated aluminium panel, 200 x 300 mm, white gloss" in [words for _, words in offered]
    for address, _ in offered:
        assert word_of(day.clients["kiln-corner"].get(address).text) != "unread", address


def test_presses_that_will_not_do_are_folded_away_where_another_will(day: Day) -> None:
    size = {"width": "3.5 in", "height": "3.5 in"}
    order = {"item": {"blank": "hardboard-coaster"}, "decorations": [{"transfer": "sublimation", "size": size}]}
    verdict, page = day.verdict(order, "kiln-corner"), html.unescape(day.page(order, "kiln-corner"))
    reasons = [press["because"] for press in verdict["presses"] if press["verdict"] == "rejected"]
    assert len(reasons) == 3
    folded = page[page.index("Not on these presses (3)") :]
    assert [because for because in reasons if because not in folded] == []
    assert [because for because in reasons if because in page.removesuffix(folded)] == []


def test_what_is_assumed_is_said_once(day: Day) -> None:
    page = html.unescape(re.sub("<[^>]+>", " ", day.page(WORKABLE)))
    assert "none none unless said" not in " ".join(page.split())
    assert "What it is for: none unless said" in page


def test_a_link_with_a_field_that_no_order_has_is_not_judged(day: Day) -> None:
    page = day.page((("item.blank", "TS-100-W"), ("item.blnk", "x")))
    assert word_of(page) == "unread"
    assert "item.blnk is no field of an order" in line_of(page)


def test_what_is_still_allowed_stands_at_the_fields(day: Day) -> None:
    page = html.unescape(day.page(WORKABLE, more="&show=ranges"))
    envelope = day.app.test_client().post("/v1/envelope", json=WORKABLE, headers=day.headers["harbour-lane"]).json
    assert envelope is not None
    (on,) = envelope["on"]
    least, most = (on["decorations"][0]["temperature"][0][end] for end in ("least", "most"))
    assert f'id="f-decorations.0.settings.temperature-range">allowed: {least} to {most}' in page
    part = html.unescape(day.page(WORKABLE, path="/counter/ranges"))
    assert f'data-range="decorations.0.settings.temperature">{least} to {most}' in part


def test_a_plan_is_taken_with_a_click(day: Day) -> None:
    order = {"item": WORKABLE["item"], "decorations": [{"size": {"width": "8 in", "height": "8 in"}}]}
    page = day.page(order, path="/counter/plans")
    links = links_of(page)
    assert 1 <= len(links) <= 3
    for address, words in links:
        assert words.startswith("Take this way")
        assert word_of(day.clients["harbour-lane"].get(address).text) in ("accepted", "conditional")


def test_an_order_is_recorded_once_with_one_click(day: Day) -> None:
    client = day.clients["harbour-lane"]
    page = day.page(WORKABLE)
    form = re.search(r'<form method="post" action="/counter/record">.*?</form>', page, re.DOTALL)
    assert form is not None
    sent = MultiDict(
        (name, html.unescape(value))
        for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form[0])
    )
    recorded = client.post("/counter/record", data=sent)
    assert recorded.status_code == 303
    assert client.post("/counter/record", data=sent).location == recorded.location
    assert client.post("/counter/record", data={"item.blank": "TS-100-W"}).status_code == 403
    kept: Any = client.get("/v1" + recorded.location, headers=day.headers["harbour-lane"]).json
    assert kept["order"] | {"reference": kept["reference"]} == WORKABLE
    assert kept["answer"]["id"] == day.verdict(WORKABLE)["id"]
    shown = client.get(recorded.location)
    assert "HL-2001" in shown.text
    assert f'href="{recorded.location}/ticket"' in shown.text
    assert recorded.location in client.get("/records?reference=HL-2001").text
    assert "No record has this reference" in client.get("/records?reference=HL").text


def test_a_piece_of_a_record_is_reported(day: Day) -> None:
    client = day.clients["harbour-lane"]
    press = {"press": "bench", "quantity": 1, "reference": "HL-2002"}
    order = WORKABLE | press
    made: Any = client.post("/v1/records", json=order, headers=day.headers["harbour-lane"]).json
    path = f"/records/{made['record_id']}"
    page = client.get(path).text
    hidden = hidden_fields(page, f"{path}/outcomes")
    faulty = client.post(f"{path}/outcomes", data=hidden | {"result": "failed", "note": "cold <corner>"})
    assert faulty.status_code == 422
    assert 'aria-describedby="failure-fault"' in faulty.text
    assert "cold &lt;corner&gt;</textarea>" in faulty.text
    hidden = hidden_fields(faulty.text, f"{path}/outcomes")
    good = client.post(f"{path}/outcomes", data=hidden | {"result": "failed", "failure": "peeled", "washes": "3"})
    assert good.status_code == 303
    page = client.get(good.location).text
    assert "failed: peeled" in page
    assert "after 3 washes" in page
    hidden = hidden_fields(page, f"{path}/outcomes")
    again = client.post(f"{path}/outcomes", data=hidden | {"result": "good"})
    assert again.status_code == 409
    assert 'role="alert"' in again.text


def test_a_key_without_a_shop_is_told_so(app: Flask, collective: Any) -> None:
    client = app.test_client()
    client.post("/sign-in", data={"key": collective.tokens["collective", "admin"]})
    answer = client.get("/counter")
    assert answer.status_code == 403
    assert "belongs to no shop" in answer.text


def test_what_is_typed_is_text_and_nothing_else(day: Day) -> None:
    page = day.page((("item.blank", '"><script>alert(1)</script>'), ("reference", "<b>7</b>")))
    assert "<script>alert" not in page
    assert "<b>7" not in page


def test_a_press_with_a_condition_of_its_own_is_none_of_the_best_presss(day: Day) -> None:
    """The headline goes in no circle: nothing has to be done but to take the press that it names."""
    settings = {"temperature": "310 °F", "time": "15 s", "pressure": "medium"}
    order = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "cut-film", "settings": settings}]}
    verdict = day.verdict(order)
    assert (verdict["verdict"], verdict["judged_on"]) == ("conditional", "bench")
    titles = {press["press"]: press["press_title"] for press in verdict["presses"]}
    page = day.page(order)
    line = line_of(page)
    assert line.startswith(f"! Can be done on {titles['bench']}, but not so on every press")
    assert [title for press, title in titles.items() if press != "bench" and title in line] == []
    (address,) = [address for address, words in links_of(page) if words == f"Take this press: {titles['hand']}"]
    on_hand = day.clients["harbour-lane"].get(address).text
    condition = day.verdict(order | {"press": "hand"})["conditions"][0]
    assert line_of(on_hand).startswith(f"! Can be done on {titles['hand']}, if this is done: {condition}")
