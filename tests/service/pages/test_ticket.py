"""The job ticket of recorded orders: page and PDF say the same, which is what the API answers."""

from __future__ import annotations

import html
import json
import re
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from pypdf import PdfReader

from accord_service.store import Store

DEMO = Path(__file__).parents[3] / "demo"
SHOPS = ("harbour-lane", "kiln-corner", "mill-steps", "quay-yard")
NEWS_S = 0.6  # a worker asks for news each half second
# Display in °C and dwell in s as a decorator would set them, whatever the press: common practice, no source. A display
# stands 0 to 15 K above the surface.
KNOWN = (
    ("009-team-tees-dye", "kiln-corner", (190.0, 215.0), (35.0, 70.0), "hot"),
    ("013-panel-300x400-draw", "kiln-corner", (190.0, 215.0), (60.0, 180.0), "hot"),
    ("016-tile-single", "kiln-corner", (190.0, 215.0), (240.0, 720.0), "hot"),
    ("001-club-tees-white-cotton", "harbour-lane", (145.0, 180.0), (10.0, 30.0), ""),
    ("022-festival-tees-powder", "mill-steps", (140.0, 170.0), (8.0, 20.0), ""),
)


@dataclass(frozen=True)
class Counter:
    """Shops of the demo in a service of their own: a signed-in browser of each one's counter, and its key."""

    app: Flask
    clients: dict[str, FlaskClient]
    headers: dict[str, dict[str, str]]
    store: str

    def record(self, shop: str, order: dict[str, Any]) -> str:
        answer = self.app.test_client().post("/v1/records", json=order, headers=self.headers[shop])
        assert answer.status_code == 201, answer.text
        return str(answer.json["record_id"])

    def ticket(self, shop: str, record_id: str, query: str = "") -> Any:
        path = f"/v1/records/{record_id}/ticket{query}"
        return self.app.test_client().get(path, headers=self.headers[shop]).json

    def page(self, shop: str, record_id: str, query: str = "") -> str:
        answer = self.clients[shop].get(f"/records/{record_id}/ticket{query}")
        assert answer.status_code == 200, answer.text
        return answer.text

    def pdf(self, shop: str, record_id: str, query: str = "") -> PdfReader:
        answer = self.clients[shop].get(f"/records/{record_id}/ticket.pdf{query}")
        assert (answer.status_code, answer.mimetype) == (200, "application/pdf"), answer.text
        return PdfReader(BytesIO(answer.data))


@pytest.fixture(scope="module")
def counter(open_collective: Any, serve: Callable[[Any], Flask]) -> Counter:
    shops = [(DEMO / "shops" / f"{shop}.toml").read_text(encoding="utf-8") for shop in SHOPS]
    collective = open_collective(shops, [(shop, "counter") for shop in SHOPS])
    app = serve(collective)
    clients = {shop: app.test_client() for shop in SHOPS}
    for shop, client in clients.items():
        client.post("/sign-in", data={"key": collective.tokens[shop, "counter"]})
    headers = {shop: collective.headers(shop, "counter") for shop in SHOPS}
    return Counter(app, clients, headers, collective.server.url)


def order_of(name: str) -> dict[str, Any]:
    return dict(json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8")))


def said_by(page: str) -> str:
    """What a page says to who sees it, its sheets for printers left out."""
    screen = page.partition('<div class="sheets')[0]
    return " ".join(html.unescape(re.sub(r"<svg.*?</svg>|<[^>]+>", " ", screen, flags=re.DOTALL)).split())


def plain(text: str) -> str:
    return "".join(text.split())


@pytest.mark.parametrize(("name", "shop", "display_c", "dwell_s", "peel"), KNOWN)
def test_a_known_order_has_the_trades_settings_and_both_say_the_same(
    counter: Counter,
    name: str,
    shop: str,
    display_c: tuple[float, float],
    dwell_s: tuple[float, float],
    peel: str,
) -> None:
    record_id = counter.record(shop, order_of(name))
    ticket = counter.ticket(shop, record_id)
    plan = ticket["plan"]
    page = said_by(counter.page(shop, record_id))
    read = counter.pdf(shop, record_id)
    printed = plain(" ".join(sheet.extract_text() for sheet in read.pages))
    for planned in plan["decorations"]:
        explained = planned["explained"]
        assert display_c[0] <= explained["temperature_c"] <= display_c[1]
        assert dwell_s[0] <= explained["time_s"] <= dwell_s[1]
        assert not peel or explained["peel"] == peel
        told = [explained["temperature"], planned["touch_wait"], planned["title"]]
        told += [step["text"] for step in planned["steps"] if step["slip"] is None]
        told += [step["slip"] for step in planned["steps"] if step["slip"] is not None]
        told += [layer["what"] for stack in planned["stacks"] for layer in stack["layers"]]
        # Of a sentence on paper the lines of another column may stand between: its words are there.
        for sentence in told:
            assert plain(sentence) in plain(page), sentence
            assert all(plain(word) in printed for word in sentence.split()), sentence
        assert plain(f"{explained['temperature']}") in printed
    for sentence in (*plan["cautions"], *plan["conditions"], ticket["verdict_id"], ticket["digest"][7:19]):
        assert sentence in page
        assert all(plain(word) in printed for word in sentence.split()), sentence


def test_the_largest_letters_say_what_is_dialled_and_what_it_replaces_stands_small(counter: Counter) -> None:
    """Where a condition tells another dwell than is set, that dwell stands alone: common practice, no source."""
    print_ = {"transfer": "dye-sublimation", "placement": "face", "settings": {"temperature": "392 °F", "time": "70 s"}}
    order = {"item": {"blank": "metal-panel-200x300"}, "press": "draw", "quantity": 12, "decorations": [print_]}
    record_id = counter.record("kiln-corner", order)
    page = counter.page("kiln-corner", record_id)
    (large,) = re.findall(r'<dl class="large">(.*?)</dl>', page, flags=re.DOTALL)
    assert re.findall(r"<dd>(.*?)</dd>", large) == ["392 °F", "105 s"]
    assert "<dt>instead of</dt><dd>70 s as ordered: see what must be done</dd>" in page
    sizes: list[tuple[float, str]] = []
    sheet = counter.pdf("kiln-corner", record_id).pages[0]
    sheet.extract_text(visitor_text=lambda text, cm, tm, font, size: sizes.append((abs(size * tm[3]), text.strip())))
    most = max(size for size, text in sizes if text)
    assert {text for size, text in sizes if text and size == most} == {"392 °F", "105 s"}
    assert [size < most / 3 for size, text in sizes if text.startswith("70 s as ordered")] == [True]
    assert not [text for text in said_by(page).partition(" Steps ")[2].split(". ") if "70 s" in text]


def test_what_was_rejected_has_no_ticket_but_a_way_back(counter: Counter) -> None:
    record_id = counter.record("kiln-corner", order_of("079-cotton-tee-dye"))
    page = said_by(counter.page("kiln-corner", record_id))
    assert "There is no ticket for this order" in page
    assert "Rejected." in page
    assert counter.ticket("kiln-corner", record_id)["why"] in page
    (back,) = re.findall(r'href="(/counter\?[^"]+)"', counter.page("kiln-corner", record_id))
    there = counter.clients["kiln-corner"].get(html.unescape(back))
    assert there.status_code == 200
    assert order_of("079-cotton-tee-dye")["reference"] in there.text
    led = counter.clients["kiln-corner"].get(f"/records/{record_id}/ticket.pdf")
    assert (led.status_code, led.location) == (303, f"/records/{record_id}/ticket")


def test_what_is_not_known_yet_says_what_to_ask(counter: Counter) -> None:
    record_id = counter.record("kiln-corner", order_of("072-customers-own-mug"))
    page = said_by(counter.page("kiln-corner", record_id))
    ticket = counter.ticket("kiln-corner", record_id)
    assert ticket["verdict"] == "undetermined"
    assert "Undetermined." in page
    assert ticket["why"] in page


def test_other_presses_that_can_are_offered(counter: Counter) -> None:
    record_id = counter.record("kiln-corner", order_of("016-tile-single"))
    ticket = counter.ticket("kiln-corner", record_id)
    page = counter.page("kiln-corner", record_id)
    others = [press for press in ticket["presses"] if press["press"] != ticket["press"]]
    assert others
    for press in others:
        assert f'href="?press={press["press"]}">{html.escape(press["press_title"])}' in page
        other = said_by(counter.page("kiln-corner", record_id, f"?press={press['press']}"))
        plan = counter.ticket("kiln-corner", record_id, f"?press={press['press']}")["plan"]
        assert plan["press"] == press["press"]
        assert press["press_title"] in other
        assert plan["decorations"][0]["explained"]["temperature"] in other
    for path in ("ticket", "ticket.pdf"):
        refused = counter.clients["kiln-corner"].get(f"/records/{record_id}/{path}?press=nowhere")
        assert refused.status_code == 400
        assert all(press["press"] in refused.text for press in ticket["presses"])


@pytest.mark.parametrize(("shop", "own"), [("kiln-corner", "letter"), ("mill-steps", "a5")])
def test_the_paper_is_the_shops_unless_another_is_chosen(counter: Counter, shop: str, own: str) -> None:
    """ISO 216: A5 is 148 by 210 mm. ANSI/ASME Y14.1: Letter is 8.5 by 11 in. A point is 1/72 in."""
    order = order_of("009-team-tees-dye") | {"press": {"type": "swing-away"}}
    record_id = counter.record(shop, order)
    sizes = {"a5": (148 / 25.4 * 72, 210 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}
    for query, paper in (("", own), ("?paper=a5", "a5"), ("?paper=letter", "letter")):
        sheet = counter.pdf(shop, record_id, query).pages[0]
        assert tuple(map(float, sheet.mediabox[2:])) == pytest.approx(sizes[paper], abs=0.01)
        assert f'<div class="sheets {paper}">' in counter.page(shop, record_id, query)
    assert counter.clients[shop].get(f"/records/{record_id}/ticket?paper=a0").status_code == 400


def test_several_prints_stand_in_their_order_on_sheets_of_their_own(counter: Counter) -> None:
    record_id = counter.record("harbour-lane", order_of("043-two-prints-front-and-sleeve"))
    plan = counter.ticket("harbour-lane", record_id)["plan"]
    sheets = [sheet.extract_text() for sheet in counter.pdf("harbour-lane", record_id).pages]
    page = said_by(counter.page("harbour-lane", record_id))
    assert len(sheets) == len(plan["sequence"]) == 2
    for place, index in enumerate(plan["sequence"], start=1):
        placement = plan["order"]["decorations"][index]["placement"]
        assert f"Print {place} of 2" in sheets[place - 1]
        assert f"Sheet {place} of 2" in sheets[place - 1].splitlines()
        assert placement in sheets[place - 1]
        assert f"Print {place} of 2: " in page
    assert "Cut here" not in sheets[0]
    assert "Cut here" in sheets[1]


def test_the_customers_slip_says_nothing_of_the_shops_own(counter: Counter) -> None:
    """No press, setting, verdict or reference below the line that is cut."""
    record_id = counter.record("kiln-corner", order_of("009-team-tees-dye"))
    plan = counter.ticket("kiln-corner", record_id)["plan"]
    slip = " ".join(counter.pdf("kiln-corner", record_id).pages[0].extract_text().split("Cut here")[1].split())
    assert slip.startswith(": for the customer")
    sentences = [step["slip"] for planned in plan["decorations"] for step in planned["steps"] if step["slip"]]
    assert all(sentence in slip for sentence in sentences)
    assert "Kiln Corner Gifts" in slip
    left_out = (plan["press_title"], plan["decorations"][0]["explained"]["temperature"], "vd_", "KC-1009", "slip")
    assert [word for word in left_out if word in slip] == []


def test_another_shop_has_no_ticket_of_it(counter: Counter) -> None:
    record_id = counter.record("kiln-corner", order_of("009-team-tees-dye"))
    for path in ("ticket", "ticket.pdf"):
        assert counter.clients["mill-steps"].get(f"/records/{record_id}/{path}").status_code == 404


def test_a_program_that_describes_its_press_gets_that_press(counter: Counter) -> None:
    order = order_of("009-team-tees-dye") | {"press": {"type": "clamshell"}}
    record_id = counter.record("kiln-corner", order)
    ticket = counter.ticket("kiln-corner", record_id)
    assert ticket["plan"]["order"]["press"]["type"] == "clamshell"
    assert ticket["plan"]["press_title"] in said_by(counter.page("kiln-corner", record_id))


def test_the_window_in_words_has_whole_degrees(counter: Counter) -> None:
    record_id = counter.record("kiln-corner", order_of("009-team-tees-dye"))
    page = said_by(counter.page("kiln-corner", record_id))
    assert re.search(r"The surface is \d+ °[CF] then", page)


def test_a_family_is_judged_and_printed_with_the_peel_of_what_the_shop_has_of_it(counter: Counter) -> None:
    """The family's usual peel is hot; what the shop has of it is peeled warm by its sheet."""
    record_id = counter.record("harbour-lane", order_of("312-running-club-dtf-black-polyester"))
    ticket = counter.ticket("harbour-lane", record_id)
    assert ticket["as_judged"]
    assert ticket["plan"]["decorations"][0]["explained"]["peel"] == "warm"
    page = said_by(counter.page("harbour-lane", record_id))
    assert "From the product at hand" not in page
    assert "Changed since" not in page


# A family of which this shop has three products: one is peeled warm, one cold, and none hot, as is the family's way.
NAME_ON_CHEST = {
    "item": {"blank": "hoodie-zip-navy"},
    "decorations": [
        {
            "transfer": "powder-film",
            "placement": "left-chest",
            "size": {"width": "80 mm", "height": "80 mm"},
            "artwork": {"palette": ["#F0F0F0"]},
        }
    ],
    "quantity": 6,
}


def test_settings_that_were_judged_are_the_tickets_though_the_product_would_rather_have_others(
    counter: Counter,
) -> None:
    """148 °C, 13 s and a cold peel were ordered and judged of the family; the product at hand aims elsewhere and bears
    them."""
    judged = {"temperature": "148 °C", "time": "13 s", "peel": "cold"}
    unsaid = NAME_ON_CHEST["decorations"][0] | {"transfer": "powder-film-declared"}
    own = counter.ticket("mill-steps", counter.record("mill-steps", NAME_ON_CHEST | {"decorations": [unsaid]}))
    aims = own["plan"]["decorations"][0]["settings"]
    assert {name: aims[name] for name in judged} != judged
    order = NAME_ON_CHEST | {"decorations": [NAME_ON_CHEST["decorations"][0] | {"settings": judged}]}
    record_id = counter.record("mill-steps", order)
    ticket = counter.ticket("mill-steps", record_id)
    planned = ticket["plan"]["decorations"][0]
    assert (ticket["as_judged"], planned["transfer"]) == (True, "powder-film-declared")
    assert {name: planned["settings"][name] for name in judged} == judged
    page = said_by(counter.page("mill-steps", record_id))
    assert "display 148 °C dwell 13 s" in page
    assert "peel COLD" in page
    assert "From the product at hand" not in page


def test_settings_that_the_product_does_not_bear_are_told_beside_its_own(counter: Counter) -> None:
    """Judged of the family with its usual hot peel, which no product of it that the shop has admits."""
    record_id = counter.record("mill-steps", NAME_ON_CHEST)
    ticket = counter.ticket("mill-steps", record_id)
    assert (ticket["as_judged"], ticket["plan"]["decorations"][0]["explained"]["peel"]) == (False, "warm")
    sentence = (
        "From the product at hand: It wants settings of its own; the verdict has its family's usual ones:"
        " peel warm, not hot."
    )
    assert sentence in said_by(counter.page("mill-steps", record_id))


def test_the_answer_the_counter_and_the_ticket_say_that_a_print_takes_several_pressings(counter: Counter) -> None:
    """A print of 600 x 300 mm takes three closings of one press and six of another, which is the more doubtful one."""
    order = {
        "item": {"substrate": "woven", "fibres": {"CO": 100}, "colour": "white", "kind": "homeware"},
        "decorations": [
            {"transfer": "film-soft-matte", "placement": "face", "size": {"width": "600 mm", "height": "300 mm"}}
        ],
    }
    record_id = counter.record("harbour-lane", order)
    answer = counter.app.test_client().post("/v1/validate", json=order, headers=counter.headers["harbour-lane"]).json
    (finding,) = (found for found in answer["findings"] if found["rule"] == "print-pressed-in-parts")
    assert "It takes 3 pressings" in finding["because"]
    page = counter.page("harbour-lane", record_id)
    assert counter.ticket("harbour-lane", record_id)["plan"]["cautions"] == [f"{finding['because']} {finding['fix']}"]
    assert f"Take care: {finding['because']}" in said_by(page)
    (back,) = re.findall(r'href="(/counter\?[^"]+)"', page)
    assert finding["because"] in html.unescape(counter.clients["harbour-lane"].get(html.unescape(back)).text)
    other = said_by(counter.page("harbour-lane", record_id, "?press=hand"))
    assert "takes 6 pressings" in other
    verdicts = {press["press"]: press["verdict"] for press in answer["presses"]}
    assert verdicts == {"bench": "accepted", "hand": "conditional"}
    assert "Verdict accepted, on this press conditional" in other
    assert "Verdict accepted vd_" in said_by(page)


@pytest.mark.long
def test_a_verdict_of_a_book_from_before_slips_has_its_ticket_and_says_what_is_missing(counter: Counter) -> None:
    """Until care had a slip of its own, a step said it all: "Write on the slip: no iron on the print."."""
    with closing(Store.at(counter.store, timeout_s=5.0)) as store:
        head = store.revisions.head()
        assert head is not None
        revision = store.revisions.revision(head.number)
        assert revision is not None
        record_id = counter.record("kiln-corner", order_of("009-team-tees-dye"))
        worded = counter.ticket("kiln-corner", record_id)["plan"]["decorations"][0]
        steps = {name: before_slips(step) for name, step in revision.documents["steps"].items()}
        earlier = {**revision.documents, "steps": steps}
        before = store.revisions.publish(head, earlier, author="test", approvers=(), reason="", proposal=None)
        now = {"author": "test", "approvers": (), "reason": "", "proposal": None, "tried_by": revision.tried_by}
        store.revisions.publish(before.head, revision.documents, **now)
        kept = store.records.get("kiln-corner", record_id)
        assert kept is not None
        draft = store.records.draft(
            "kiln-corner", question=kept.question, answer=kept.answer, revision=before.number, reference="KC-0001"
        )
        old_id = store.records.create(draft, who="test").record_id
    time.sleep(NEWS_S)
    ticket = counter.ticket("kiln-corner", old_id)
    planned = ticket["plan"]["decorations"][0]
    assert (ticket["revision"], ticket["why"], ticket["as_judged"]) == (before.number, "", True)
    judged = next(press for press in kept.answer["presses"] if press["press"] == ticket["press"])
    assert [planned["settings"]] == judged["settings"]
    care = [step for step in worded["steps"] if step["slip"]]
    assert care
    assert [step for step in planned["steps"] if step["slip"]] == []
    for step in care:
        assert step["text"] in [told["text"] for told in planned["steps"]]
    sentence = "The book of then had no words of its own for the customer's slip: write it by the last steps."
    page = said_by(counter.page("kiln-corner", old_id))
    assert f"Not in the book of then: {sentence}" in page
    assert all(plain(step["text"]) in plain(page) for step in care)
    assert "the customer's slip </h2>" not in page
    printed = " ".join(counter.pdf("kiln-corner", old_id).pages[0].extract_text().split())
    assert f"NOT IN THE BOOK OF THEN: {sentence}" in printed
    assert "Cut here" not in printed


def before_slips(step: dict[str, Any]) -> dict[str, Any]:
    """A step as books had it that knew no slip: its whole sentence in one."""
    said = step.get("slip")
    whole = step["text"] if said is None else step["text"].replace("{slip}", said[:1].lower() + said[1:])
    return {**{name: value for name, value in step.items() if name != "slip"}, "text": whole}


def test_a_book_that_moved_on_is_told_and_changes_nothing(counter: Counter) -> None:
    """Last in this module: the book goes on to another revision."""
    record_id = counter.record("kiln-corner", order_of("009-team-tees-dye"))
    before = counter.ticket("kiln-corner", record_id)["plan"]
    with closing(Store.at(counter.store, timeout_s=5.0)) as store:
        head = store.revisions.head()
        assert head is not None
        revision = store.revisions.revision(head.number)
        assert revision is not None
        documents = {kind: dict(entries) for kind, entries in revision.documents.items()}
        limit = "order.first_piece_quantity_from"
        documents["limits"][limit] = {**documents["limits"][limit], "value": 20}
        store.revisions.publish(head, documents, author="test", approvers=(), reason="", proposal=None)
    time.sleep(NEWS_S)
    ticket = counter.ticket("kiln-corner", record_id)
    assert ticket["changed"] == ["book"]
    assert ticket["plan"] == before
    sentence = f"Judged under revision {head.number}; the book is at {head.number + 1}."
    assert f"Changed since: {sentence}" in said_by(counter.page("kiln-corner", record_id))
    printed = " ".join(counter.pdf("kiln-corner", record_id).pages[0].extract_text().split())
    assert f"CHANGED SINCE: {sentence}" in printed
