"""The owner's desk: what needs attention, readings, a press's data, stock, sheets, names, house rules and keys.

Whatever is refused keeps what was typed; whatever changed meanwhile is told, and not undone unseen.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from tests.service.pages.forms import hidden_fields
from tests.service.servers import QUAY_SIDE
from tests.tokens import key_id_of
from werkzeug.test import TestResponse

from accord_service.store import Store

PRESS = "/shop/presses/bench-38"
# A second shop, whose press lies far below its display, as an owner would have written it.
ANNEX = """
id = "quay-annex"
name = "Quay Annex"
market = "eu"
unit_system = "metric"
standing = []
[[presses]]
id = "cold-one"
type = "swing-away"
platen = { width = "380 mm", height = "380 mm" }
[[presses.calibration]]
display = "150 °C"
surface = ["120 °C", "121 °C"]
[[presses.calibration]]
display = "180 °C"
surface = ["176 °C", "177 °C"]
taken_on = "2020-01-31"
[stock]
products = ["film-soft-matte"]
consumables = ["ptfe-sheet"]
withdrawn = ["felt-pad"]
"""


@dataclass(frozen=True)
class Desk:
    """A shop's people in browsers of their own; what one test leaves, another counts on only where it says so."""

    app: Flask
    collective: Any

    def as_(self, role: str, shop: str = "quay-side") -> FlaskClient:
        client = self.app.test_client()
        client.post("/sign-in", data={"key": self.collective.tokens[shop, role]})
        return client

    def shop(self, shop: str = "quay-side") -> Any:
        client, headers = self.app.test_client(), self.collective.headers(shop, "owner")
        return client.get("/v1/shop", headers=headers).json

    def status(self, shop: str = "quay-side") -> Any:
        client, headers = self.app.test_client(), self.collective.headers(shop, "owner")
        return client.get("/v1/shop/status", headers=headers).json

    def house(self, shop: str = "quay-side") -> Any:
        client, headers = self.app.test_client(), self.collective.headers(shop, "owner")
        return client.get("/v1/shop/house-rules", headers=headers).json


@pytest.fixture(scope="module")
def desk(open_collective: Any, serve: Callable[[Any], Flask]) -> Desk:
    roles = ("counter", "operator", "owner", "steward")
    keys = [(shop, role) for shop in ("quay-side", "quay-annex") for role in roles]
    collective = open_collective([QUAY_SIDE, ANNEX], keys)
    return Desk(serve(collective), collective)


@pytest.fixture
def owner(desk: Desk) -> FlaskClient:
    return desk.as_("owner")


@pytest.fixture
def behind(desk: Desk) -> Iterator[Store]:
    """The store, behind the service's back."""
    store = Store.at(desk.collective.server.url, timeout_s=5.0)
    yield store
    store.close()


def send(client: FlaskClient, page: str, action: str = "", **typed: Any) -> TestResponse:
    """The page's form to ``action``, filled in; ``_`` in a field's name stands for ``/``."""
    action = action or page
    fields = {name.replace("__", "/"): value for name, value in typed.items()}
    return client.post(action, data={**hidden_fields(client.get(page).text, action), **fields})


def text(answer: TestResponse) -> str:
    """What a page says, without its marks."""
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", answer.text)))


def typed(answer: TestResponse) -> dict[str, str]:
    """What stands in the text fields of a page."""
    fields = re.findall(r'<input id="[^"]+" name="([^"]+)" type="[^"]+" value="([^"]*)"', answer.text)
    return {name: html.unescape(value) for name, value in fields}


def fault(answer: TestResponse, field: str) -> str:
    """The fault beside a field, which the field says that it has."""
    id_ = "fault-" + field.replace("/", "-")
    assert re.search(rf'<(?:input|select|textarea)[^>]+id="{field}"[^>]*aria-invalid="true"[^>]*{id_}', answer.text)
    found = re.search(rf'<p id="{id_}"[^>]*>(.*?)</p>', answer.text)
    assert found is not None
    return html.unescape(re.sub("<[^>]+>", "", found[1])).removeprefix("▲ ")


# -- what needs attention ----------------------------------------------------------------------------------------------


def test_a_press_without_readings_comes_first(desk: Desk) -> None:
    page = text(desk.as_("counter").get("/shop"))
    assert "Needs attention" in page
    assert page.index("The display of this press has not been checked") < page.index("Presses bench-38")


def test_old_undated_and_doubtful_readings_need_attention(desk: Desk) -> None:
    """What stands there is what the status of the API tells."""
    client = desk.as_("owner", "quay-annex")
    page = text(client.get("/shop"))
    status = desk.app.test_client().get("/v1/shop/status", headers=desk.collective.headers("quay-annex", "owner")).json
    (line,) = status["calibration"]
    assert line["stale"]
    # It was 29.5 K below its display at 150 °C, and 3.5 K at 180 °C, shown in whole kelvins; that is told once.
    assert "cold-one: 2 doubts about its readings" in page
    assert len(line["doubts"]) == 2
    assert line["doubts"][0] in page
    assert "The surface lies 4 K below the display, but was read 30 K below it at 150 °C" in line["doubts"][1]
    assert "too old" in page
    for finding in status["findings"]:
        assert (finding["because"] in page) == (finding["level"] != "notes")


def test_stock_that_the_book_has_no_more_is_told_and_stops_no_other_change(
    desk: Desk, behind: Store, wait_for: Callable[..., None]
) -> None:
    """As after a proposal that withdrew a product: the shop says nothing wrong, and goes on with its own affairs."""
    shop = "quay-annex"
    before = behind.shops.get(shop)
    assert before is not None
    stock = before.document["stock"]
    products = [*stock["products"], "film-since-gone"]
    document = {**before.document, "stock": {**stock, "products": products}}
    behind.shops.replace(shop, before.version, document, who="test")
    client = desk.as_("owner", shop)
    try:
        wait_for(lambda: "no more in the book: film since gone" in text(client.get("/shop")), seconds=5)
        assert send(client, "/shop/names", word="the old one", meant="presses/cold-one").status_code == 303
        now = desk.shop(shop)
        assert now["stock"]["products"] == products
        headers = desk.collective.headers(shop, "owner")
        api = desk.app.test_client()
        tag = api.get("/v1/shop", headers=headers).headers["ETag"]
        more = now | {"stock": {**stock, "products": [*products, "film-never-there"]}}
        refused = api.put("/v1/shop", json=more, headers=headers | {"If-Match": tag})
        assert [error["pointer"] for error in refused.json["errors"]] == [f"/stock/products/{len(products)}"]
    finally:
        now_kept = behind.shops.get(shop)
        assert now_kept is not None
        behind.shops.replace(shop, now_kept.version, before.document, who="test")


def test_house_rules_that_no_longer_fit_come_first_of_all(
    desk: Desk, behind: Store, wait_for: Callable[..., None]
) -> None:
    shop = "quay-annex"
    house = behind.shops.house(shop)
    behind.shops.replace_house(shop, house.version, {"limits": {"people.gone": "1 s"}}, who="test")
    try:
        client = desk.as_("owner", shop)
        wait_for(lambda: "people.gone" in client.get("/shop").text, seconds=5)
        page = client.get("/shop")
        assert page.status_code == 200
        first = re.search(r'<ol class="matters">(.*?)</li>', page.text, re.DOTALL)
        assert first is not None
        assert "people.gone" in first[1]
        assert 'href="/shop/house"' in first[1]
        assert "The book has no such limit any more" in text(client.get("/shop/house"))
        gone = "/shop/house/limits/people.gone"
        page = client.get(gone)
        assert page.status_code == 200
        assert "The book has no limit people.gone any more" in text(page)
        assert "Your shop has it at 1 s" in text(page)
        assert "An owner of the shop can give it back" in text(desk.as_("counter", shop).get(gone))
        assert send(client, gone, do="back").status_code == 303
        assert desk.house(shop)["limits"] == {}
        assert client.get(gone).status_code == 404
    finally:
        last = behind.shops.house(shop)
        if last.document != house.document:
            behind.shops.replace_house(shop, last.version, house.document, who="test")


def test_whoever_belongs_to_no_shop_is_told_so(app: Flask, collective: Any) -> None:
    client = app.test_client()
    client.post("/sign-in", data={"key": collective.tokens["collective", "admin"]})
    answer = client.get("/shop")
    assert answer.status_code == 403
    assert "belongs to no shop" in text(answer)


# -- readings ----------------------------------------------------------------------------------------------------------

READ = {"display": "356", "surface__0": "350", "surface__3": "351", "taken_on": "2026-01-05"}


def test_an_operators_reading_waits_until_the_owner_confirms_it(desk: Desk, owner: FlaskClient) -> None:
    entered = send(desk.as_("operator"), PRESS, do="enter", **READ)
    assert entered.status_code == 303, text(entered)
    page = owner.get(PRESS)
    assert "waits for the owner" in text(page)
    assert 'class="point waits"' in page.text
    assert '<polyline class="mean"' not in page.text
    assert "bench-38: 1 reading waits to be confirmed" in text(owner.get("/shop"))
    (confirm,) = re.findall(r'action="(/shop/presses/bench-38/readings/[^"]+/confirm)"', page.text)
    done = owner.post(confirm, data=hidden_fields(page.text, confirm))
    assert done.status_code == 303
    after = owner.get(done.location)
    assert "Confirmed: the reading at 356 °F counts" in text(after)
    assert '<polyline class="mean"' in after.text
    assert 'class="point waits"' not in after.text
    again = owner.post(confirm, data=hidden_fields(page.text, confirm) | {"form_once": "0" * 32})
    assert again.status_code == 409
    assert "counts already" in text(again)
    back = confirm.replace("/confirm", "/back")
    assert "It counts now" in text(owner.get(back))
    assert send(owner, back).status_code == 303
    assert "calibration" not in desk.shop()["presses"][0] or desk.shop()["presses"][0]["calibration"] == []


def test_the_page_of_a_press_draws_spots_of_one_reading_on_one_line_and_says_what_is_not_checked(desk: Desk) -> None:
    """By hand: 15 K round 150 and 180 °C leave no gap between them; the display ends at 225 °C."""
    page = desk.as_("owner", "quay-annex").get("/shop/presses/cold-one")
    points = re.findall(
        r'class="point counts"><title>display (\d+), spot \d: \d+ °C</title><circle cx="([\d.]+)"', page.text
    )
    assert [display for display, _ in points] == ["150", "150", "180", "180"]
    assert len(set(points)) == 2, "all spots of a reading at its setting of the display"
    assert re.findall(r'class="stem"><title>([^<]+)</title>', page.text) == ["2 spots of one reading"] * 2
    assert "Not checked: a display below 135 °C and above 195 °C, further than 15 K from every reading." in text(page)


def test_the_page_of_a_press_says_in_plain_words_when_it_was_read(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    for days, said in (
        (0, "The oldest reading with a date was taken today."),
        (1, "The oldest reading with a date is 1 day old."),
        (31, "The oldest reading with a date is 31 days old."),
    ):
        monkeypatch.setattr("accord_service.steps.calibration.age_days", lambda press, today, days=days: days)
        assert said in text(desk.as_("owner", "quay-annex").get("/shop/presses/cold-one"))


def test_an_unlikely_reading_is_taken_once_its_doubt_is_set_aside(desk: Desk, owner: FlaskClient) -> None:
    far = {"display": "356", "surface__0": "300", "surface__1": "301", "taken_on": "2026-01-05"}
    refused = send(owner, PRESS, do="enter", **far)
    assert refused.status_code == 422
    assert "The surface lies" in text(refused)
    assert "far-below-display in despite" not in text(refused), "said for programs"
    assert 'name="despite" value="far-below-display"' in refused.text
    assert typed(refused).items() >= {"display": "356", "surface/0": "300", "surface/1": "301"}.items()
    checked = send(owner, PRESS, do="check", despite="far-below-display", **far)
    assert checked.status_code == 200
    assert "It can be entered: it would count at once" in text(checked)
    assert re.search(r'value="far-below-display" checked', checked.text), "what was set aside stays set aside"
    assert "calibration" not in desk.shop()["presses"][0] or desk.shop()["presses"][0]["calibration"] == []
    taken = send(owner, PRESS, do="enter", despite="far-below-display", **far)
    assert taken.status_code == 303
    page = owner.get(taken.location)
    assert "Set aside by whoever read it: far below the display" in text(page)
    (back,) = re.findall(r'href="(/shop/presses/bench-38/readings/[^"]+/back)"', page.text)
    assert send(owner, back).status_code == 303


@pytest.mark.parametrize(
    ("wrong", "field", "told"),
    [
        ({"display": "hot"}, "display", "temperature"),
        ({"display": ""}, "display", "temperature"),
        ({"display": "2000"}, "display", ""),
        ({"surface__3": "three"}, "surface/3", "temperature"),
        ({"taken_on": "2999-01-01"}, "taken_on", "still to come"),
        ({"taken_on": ""}, "taken_on", "date"),
    ],
)
def test_a_fault_of_a_reading_stands_beside_its_field(
    owner: FlaskClient, wrong: dict[str, str], field: str, told: str
) -> None:
    """A spot that is left out between others moves no fault to another spot."""
    sent = READ | wrong
    refused = send(owner, PRESS, do="enter", **sent)
    assert refused.status_code == 422
    assert told in fault(refused, field)
    shown = typed(refused)
    assert {name.replace("__", "/"): value for name, value in sent.items()}.items() <= shown.items()


def test_no_spot_at_all_is_a_fault_of_the_first(owner: FlaskClient) -> None:
    refused = send(owner, PRESS, do="enter", **READ | {"surface__0": "", "surface__3": ""})
    assert fault(refused, "surface/0")


def test_who_may_not_is_offered_nothing(desk: Desk) -> None:
    client = desk.as_("counter", "quay-annex")
    for address in ("/shop/presses/cold-one", "/shop/stock", "/shop/names", "/shop/house"):
        page = client.get(address)
        assert page.status_code == 200
        forms = re.findall(r'<form[^>]*method="post"[^>]*action="([^"]+)"', page.text)
        assert [form for form in forms if form.startswith("/shop")] == []
        assert "Take back" not in text(page)
        assert "Save" not in text(page)
    operator = text(desk.as_("operator", "quay-annex").get("/shop/presses/cold-one"))
    assert "It waits until the owner confirms it" in operator
    assert "Take back" not in operator, "what counts is the owner's to take back"


def test_the_plot_shows_spots_curve_and_spread(desk: Desk) -> None:
    """Two settings read: the line of means goes through 120.5 and 176.5 °C, by the API's own curve."""
    page = desk.as_("counter", "quay-annex").get("/shop/presses/cold-one").text
    drawing = re.search(r'<figure class="plot">(.*?)</figure>', page, re.DOTALL)
    assert drawing is not None
    assert drawing[1].count('<g class="point counts"><title>') == 4
    line = re.search(r'<polyline class="mean" points="([^"]+)"', drawing[1])
    assert line is not None
    (x1, y1), (x2, y2) = (map(float, point.split(",")) for point in line[1].split())
    assert x1 < x2
    assert y1 > y2, "the surface rises with the display"
    assert "2 readings count." in drawing[1]


# -- the press's data --------------------------------------------------------------------------------------------------


def test_a_presss_data_is_changed_and_its_readings_stay(desk: Desk) -> None:
    client = desk.as_("owner", "quay-annex")
    before = desk.shop("quay-annex")["presses"][0]
    address = "/shop/presses/cold-one/edit"
    values = typed(client.get(address))
    assert values["platen/width"] == before["platen"]["width"].removesuffix(" mm")
    done = client.post(
        address,
        data=hidden_fields(client.get(address).text, address)
        | values
        | {
            "type": "swing-away",
            "power": "1600",
            "circuit/rating": "16",
            "circuit/voltage": "230",
            "plates/0/width": "120",
            "plates/0/height": "300",
        },
    )
    assert done.status_code == 303, text(done)
    after = desk.shop("quay-annex")["presses"][0]
    assert after["power"] == "1600 W"
    assert after["circuit"] == {"rating": "16 A", "voltage": "230 V"}
    assert after["plates"] == [{"width": "120 mm", "height": "300 mm"}]
    assert after["calibration"] == before["calibration"]
    assert after["platen"] == before["platen"]


def test_faults_of_a_press_stand_beside_their_fields(desk: Desk) -> None:
    client = desk.as_("owner", "quay-annex")
    address = "/shop/presses/cold-one/edit"
    sent = {"type": "swing-away", "platen__width": "wide", "platen__height": "380", "circuit__rating": "16"}
    refused = send(client, address, **sent)
    assert refused.status_code == 422
    assert fault(refused, "platen/width")
    assert "has to be filled in" in fault(refused, "circuit/voltage")
    assert typed(refused)["platen/width"] == "wide"


def test_what_somebody_else_changed_of_a_press_is_told_and_nothing_typed_is_lost(desk: Desk) -> None:
    client, other = desk.as_("owner", "quay-annex"), desk.as_("owner", "quay-annex")
    address = "/shop/presses/cold-one/edit"
    seen = client.get(address)
    assert send(other, address, type="swing-away", platen__width="400", platen__height="380").status_code == 303
    mine = hidden_fields(seen.text, address) | {"type": "swing-away", "platen/width": "381", "platen/height": "381"}
    refused = client.post(address, data=mine)
    assert refused.status_code == 412
    assert re.search("platen › width .*400 mm", text(refused))
    assert typed(refused)["platen/width"] == "381"
    assert desk.shop("quay-annex")["presses"][0]["platen"]["width"] == "400 mm"
    again = hidden_fields(refused.text, address) | {"type": "swing-away", "platen/width": "381", "platen/height": "381"}
    assert client.post(address, data=again).status_code == 303
    assert desk.shop("quay-annex")["presses"][0]["platen"]["width"] == "381 mm"


def test_a_press_is_added(desk: Desk) -> None:
    client, address = desk.as_("owner", "quay-annex"), "/shop/add-press"
    refused = send(client, address, id="Back Room", type="", platen__width="15 in", platen__height="tall")
    assert refused.status_code == 422
    assert fault(refused, "platen/height")
    assert typed(refused).items() >= {"id": "Back Room", "platen/width": "15 in"}.items()
    sent = {"type": "clamshell", "platen__width": "15 in", "platen__height": "380"}
    assert "lower-case" in fault(send(client, address, id="Back Room", **sent), "id")
    assert "already" in fault(send(client, address, id="cold-one", **sent), "id")
    done = send(client, address, id="back-room", **sent)
    assert (done.status_code, done.location) == (303, "/shop/presses/back-room")
    assert "No readings yet" in text(client.get(done.location))
    press = {"id": "back-room", "type": "clamshell", "platen": {"width": "15 in", "height": "380 mm"}}
    assert press in desk.shop("quay-annex")["presses"]


# -- stock and sheets --------------------------------------------------------------------------------------------------


def test_stock_is_switched_and_what_is_out_of_use_said(desk: Desk, owner: FlaskClient) -> None:
    kept = ["sub-paper-fast-dry", "film-soft-matte", "ptfe-sheet", "plain-paper"]
    done = send(owner, "/shop/stock", kept=kept, withdrawn=["felt-pad"])
    assert done.status_code == 303, text(done)
    stock = desk.shop()["stock"]
    assert stock["products"] == ["sub-paper-fast-dry", "film-soft-matte"]
    assert stock["consumables"] == ["ptfe-sheet", "plain-paper"]
    assert stock["withdrawn"] == ["felt-pad"]


def test_a_change_elsewhere_in_the_shop_is_no_hindrance_and_is_kept(desk: Desk) -> None:
    client, other = desk.as_("owner", "quay-annex"), desk.as_("owner", "quay-annex")
    mine = hidden_fields(client.get("/shop/stock").text, "/shop/stock")
    added = send(other, "/shop/names", word="the cold one", meant="presses/cold-one")
    assert added.status_code == 303, text(added)
    done = client.post("/shop/stock", data=mine | {"kept": ["film-soft-matte", "ptfe-sheet", "heat-tape"]})
    assert done.status_code == 303
    shop = desk.shop("quay-annex")
    assert shop["stock"]["consumables"] == ["ptfe-sheet", "heat-tape"]
    assert shop["names"] == {"presses": {"the cold one": "cold-one"}}
    assert send(other, "/shop/names", remove="presses/the cold one").status_code == 303


def test_stock_that_somebody_else_changed_is_not_undone_unseen(desk: Desk) -> None:
    client, other = desk.as_("owner", "quay-annex"), desk.as_("owner", "quay-annex")
    seen = client.get("/shop/stock")
    before = desk.shop("quay-annex")["stock"]
    assert send(other, "/shop/stock", kept=["flock-plush", "ptfe-sheet"]).status_code == 303
    refused = client.post(
        "/shop/stock", data=hidden_fields(seen.text, "/shop/stock") | {"kept": ["glitter-coarse", "ptfe-sheet"]}
    )
    assert refused.status_code == 412
    assert "Somebody changed this while you typed" in text(refused)
    assert "flock-plush" in text(refused)
    assert re.search(r'name="kept" value="glitter-coarse"[^>]* checked', refused.text)
    assert desk.shop("quay-annex")["stock"]["products"] == ["flock-plush"] != before["products"]


def test_what_the_book_does_not_have_any_more_is_marked(desk: Desk, behind: Store) -> None:
    record = behind.shops.get("quay-side")
    assert record is not None
    stock = record.document["stock"]
    changed = {**record.document, "stock": {**stock, "products": [*stock["products"], "film-of-old"]}}
    behind.shops.replace("quay-side", record.version, changed, who="test")
    owner = desk.as_("owner")
    page = text(owner.get("/shop/stock"))
    assert "film-of-old ▲ The book does not have it any more" in page
    assert send(owner, "/shop/stock", kept=["sub-paper-fast-dry", "ptfe-sheet", "film-of-old"]).status_code == 303
    assert send(owner, "/shop/stock", kept=["sub-paper-fast-dry", "ptfe-sheet"]).status_code == 303


def test_a_sheet_is_written_read_in_words_and_taken_away(desk: Desk, owner: FlaskClient) -> None:
    address = "/shop/stock/sheets/sub-paper-fast-dry"
    done = send(
        owner,
        address,
        temperature__least="390",
        temperature__most="400",
        read_at="surface",
        time__least="45",
        pressure="medium",
        peel=["hot"],
        pre_press="3",
        edition="2025-03",
    )
    assert done.status_code == 303, text(done)
    sheet = {
        "temperature": {"least": "390 °F", "most": "400 °F"},
        "read_at": "surface",
        "time": "45 s",
        "pressure": "medium",
        "peel": ["hot"],
        "pre_press": "3 s",
        "edition": "2025-03",
    }
    assert desk.shop()["stock"]["sheets"] == {"sub-paper-fast-dry": sheet}
    words = "390 °F to 400 °F on the platen's surface for 45 s, medium pressure, peeled hot, edition 2025-03"
    assert words in text(owner.get("/shop/stock"))
    assert typed(owner.get(address)).items() >= {"temperature/least": "390", "time/least": "45"}.items()
    assert send(owner, address, do="remove").status_code == 303
    assert "sheets" not in desk.shop()["stock"]


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"temperature__least": "warm"}, "temperature/least"),
        ({"temperature__most": "400"}, "temperature/least"),
        ({"time__least": "-4"}, "time/least"),
        ({"time__least": "45", "read_at": "surface"}, "read_at"),
        ({"time__least": "45", "press": "mangle"}, "press"),
    ],
)
def test_a_fault_of_a_sheet_stands_beside_its_field(owner: FlaskClient, said: dict[str, str], field: str) -> None:
    refused = send(owner, "/shop/stock/sheets/sub-paper-fast-dry", edition="of May", **said)
    assert refused.status_code == 422
    assert fault(refused, field)
    assert typed(refused)["edition"] == "of May"


def test_a_sheet_of_nothing_in_the_book_is_no_page(owner: FlaskClient) -> None:
    assert owner.get("/shop/stock/sheets/nothing-such").status_code == 404


# -- names -------------------------------------------------------------------------------------------------------------


def test_names_are_added_and_taken_away(desk: Desk, owner: FlaskClient) -> None:
    added = send(owner, "/shop/names", word="roll 7", meant="transfers/film-soft-matte")
    assert added.status_code == 303
    assert desk.shop()["names"] == {"transfers": {"roll 7": "film-soft-matte"}}
    assert "“roll 7” stands for Cut film, soft matte" in text(owner.get("/shop/names"))
    assert send(owner, "/shop/names", remove="transfers/roll 7").status_code == 303
    assert "names" not in desk.shop()


@pytest.mark.parametrize(
    ("said", "field", "told"),
    [
        ({"word": "tee-heavy-white", "meant": "blanks/tee-heavy-white"}, "word", "stands for tee-heavy-white already"),
        ({"word": "bench-38", "meant": "presses/bench-38"}, "word", "stands for bench-38 already"),
        ({"word": "", "meant": "presses/bench-38"}, "word", "Type the word"),
        ({"word": "a" * 61, "meant": "presses/bench-38"}, "word", "60 characters"),
        ({"word": "the big one", "meant": ""}, "meant", "Choose what it stands for"),
    ],
)
def test_a_name_that_cannot_be_is_refused_in_words(
    desk: Desk, owner: FlaskClient, said: dict[str, str], field: str, told: str
) -> None:
    """What the book, or the shop, calls so already is nobody's to call otherwise."""
    refused = send(owner, "/shop/names", **said)
    assert refused.status_code == 422
    assert told in fault(refused, field)
    assert typed(refused)["word"] == said["word"]
    assert not said["meant"] or f'value="{said["meant"]}" selected' in refused.text
    assert "names" not in desk.shop()


# -- house rules -------------------------------------------------------------------------------------------------------

SHARE = "/shop/house/limits/dye.polyester_share_least"


@pytest.mark.parametrize("do", ["check", "save"])
def test_what_would_loosen_a_limit_is_refused_with_the_order_that_would_slip_through(
    desk: Desk, owner: FlaskClient, do: str
) -> None:
    """The witness is the API's: 40 % polyester, which the book refuses for dye."""
    refused = send(owner, SHARE, value="40", do=do)
    assert refused.status_code == (422 if do == "save" else 200), "a check is answered, whatever comes of it"
    page = text(refused)
    assert "40 % is looser than the book's 50 %" in page
    assert "This order would slip through:" in page
    assert re.search("40 % polyester, white, .*undyed.*; Dye sublimation print on the front", page)
    assert re.search("By the collective's book ✗ rejected", page)
    assert re.search("By your value ! conditional", page)
    assert "dye-on-too-little-polyester" in page
    (address,) = re.findall(r'href="(/counter\?[^"]+)"', refused.text)
    assert "dye-on-too-little-polyester" in owner.get(html.unescape(address)).text, "the book's rule stands there"
    assert typed(refused)["value"] == "40"
    assert desk.house()["limits"] == {}


def test_a_limit_far_from_the_books_is_asked_about_and_told(desk: Desk, owner: FlaskClient) -> None:
    """The book lets a platen be 8 K off its mean: 0.8 K is a digit that slipped, and no platen is that even."""
    address = "/shop/house/limits/press.spread_most"
    assert "10 times as much" in text(send(owner, address, value="0.8 K", do="check"))
    asked = send(owner, address, value="0.8 K", do="save")
    assert asked.status_code == 422
    assert "ordinary work is refused by it" in text(asked)
    assert 'name="despite" value="far-from-book"' in asked.text
    assert typed(asked)["value"] == "0.8 K"
    assert desk.house()["limits"] == {}
    assert send(owner, address, value="0.8 K", do="save", despite="far-from-book").status_code == 303
    assert desk.house()["limits"] == {"press.spread_most": "0.8 K"}
    (doubt,) = desk.status()["house_doubts"]
    assert doubt["limit"] == "press.spread_most"
    assert "10 times as much" in doubt["because"]
    assert "House rules: press.spread_most lies far from the book's" in text(owner.get("/shop"))
    assert send(owner, address, do="back").status_code == 303
    assert desk.status()["house_doubts"] == []


def test_a_limit_is_tightened_and_given_back(desk: Desk, owner: FlaskClient) -> None:
    checked = send(owner, SHARE, value="60", do="check")
    assert "60 % can be taken: it loosens nothing" in text(checked)
    assert desk.house()["limits"] == {}
    assert send(owner, SHARE, value="60", do="save").status_code == 303
    assert desk.house()["limits"] == {"dye.polyester_share_least": 60}
    assert re.search("book 50 % · yours 60 %", text(owner.get("/shop/house")))
    assert send(owner, SHARE, do="back").status_code == 303
    assert desk.house()["limits"] == {}
    versions = owner.get("/shop/house/versions")
    assert "by The owner of quay-side" in text(versions)
    (newest, *_) = re.findall(r'href="(/shop/house/versions/[0-9]+)"', versions.text)
    page = text(owner.get(newest))
    assert "limits dye.polyester_share_least before 60 % then nothing" in page


@pytest.mark.parametrize(
    ("limit", "value"),
    [
        ("dye.polyester_share_least", "many"),
        ("dye.polyester_share_least", ""),
        ("people.touch_hold_most", ""),
        ("people.touch_hold_most", "40 furlongs"),
    ],
)
def test_no_value_at_all_is_a_fault_of_the_field(owner: FlaskClient, limit: str, value: str) -> None:
    refused = send(owner, f"/shop/house/limits/{limit}", value=value, do="save")
    assert refused.status_code == 422
    assert typed(refused)["value"] == value
    assert "Refused" in text(refused) or fault(refused, "value")


def test_a_limit_in_the_shops_own_unit(desk: Desk, owner: FlaskClient) -> None:
    """43 °C is 109.4 °F; a bare number is in the shop's unit, which stands beside the field.

    The smallest step, 1 °C more, is 1.8 °F more (a difference has no offset), shown as 2 °F and not as 34 °F.
    """
    address = "/shop/house/limits/people.touch_hold_most"
    page = owner.get(address)
    assert "43 °C (109 °F)" in text(page)
    assert "is looser than the book's 43 °C" in text(send(owner, address, value="110 °F", do="check"))
    assert "Smallest step that matters 2 °F" in text(page)
    assert "104 °F can be taken" in text(send(owner, address, value="104", do="check"))


def test_a_difference_is_typed_and_shown_in_the_shops_unit_and_has_no_offset(
    desk: Desk, owner: FlaskClient, behind: Store
) -> None:
    """8 K are 14.4 °F, shown as 14 °F; 9 °F are 5 K. A temperature of 9 °F would be -12.8 °C."""
    address = "/shop/house/limits/press.spread_most"
    page = text(owner.get(address))
    assert "8 K (14 °F)" in page
    assert "Your shop's own value (°F)" in page
    assert "9 °F can be taken" in text(send(owner, address, value="9", do="check"))
    for said in ("9", "9 °F", "9F", "5 K"):
        assert send(owner, address, value=said, do="save").status_code == 303
        assert desk.house()["limits"] == {"press.spread_most": "9 Δ°F"}, "said the same way again nothing is written"
    assert typed(owner.get(address))["value"] == "9"
    version = behind.shops.house("quay-side").version
    assert "limits press.spread_most before nothing then 9 °F" in text(owner.get(f"/shop/house/versions/{version}"))
    assert send(owner, address, do="back").status_code == 303
    assert desk.house()["limits"] == {}


def test_a_limit_that_was_written_in_another_unit_is_shown_in_the_shops(owner: FlaskClient, behind: Store) -> None:
    """40 °C are 104 °F, and 4 mm are 4/25.4 in; both as somebody wrote them by the command."""
    house = behind.shops.house("quay-side")
    own = {"limits": {"press.hinged_thickness_most": "4 mm", "people.touch_hold_most": "40 °C"}}
    behind.shops.replace_house("quay-side", house.version, own, who="test")
    try:
        assert typed(owner.get("/shop/house/limits/people.touch_hold_most"))["value"] == "104"
        inches = typed(owner.get("/shop/house/limits/press.hinged_thickness_most"))["value"]
        assert float(inches) == pytest.approx(4 / 25.4, rel=1e-5)
        assert send(owner, "/shop/house/limits/press.hinged_thickness_most", value=inches, do="save").status_code == 303
        assert behind.shops.house("quay-side").document["limits"] == own["limits"], "what was not changed stays"
    finally:
        last = behind.shops.house("quay-side")
        behind.shops.replace_house("quay-side", last.version, house.document, who="test")


RULE = {
    "id": "house.look-twice",
    "rule__level": "requires",
    "rule__about": "item",
    "rule__status": "enforced",
    "rule__title": "Cloth is looked at twice",
    "rule__when": "item.textile",
    "rule__because": "This shop looks at every piece of cloth twice.",
    "rule__fix": "Have a colleague look at it.",
    "rule__sources": "project-choice",
    "examples": '[[fires]]\nitem = { blank = "tee-heavy-white" }\n[[silent]]\nfacts = { "item.textile" = false }\n',
}


@pytest.mark.parametrize(
    ("wrong", "field", "told"),
    [
        ({"id": "look-twice"}, "id", "house."),
        ({"rule__title": ""}, "rule/title", "has to be filled in"),
        ({"rule__when": "item.textil"}, "rule/when", "item.textile"),
        ({"rule__sources": "hearsay"}, "rule/sources", "hearsay"),
        ({"examples": "[[fires]]\nitem = }\n[[silent]]"}, "examples", "line 2"),
        ({"examples": RULE["examples"].replace("false", "true")}, "examples", "Line 3, silent 1"),
        ({"examples": '[[fires]]\nitem = { blank = "tee-heavy-white" }\n'}, "examples", "has to be filled in"),
    ],
)
def test_a_fault_of_a_rule_stands_beside_its_line(
    desk: Desk, owner: FlaskClient, wrong: dict[str, str], field: str, told: str
) -> None:
    refused = send(owner, "/shop/house/add", do="save", **RULE | wrong)
    assert refused.status_code == 422, text(refused)
    assert told in fault(refused, field)
    assert html.unescape(refused.text).count((RULE | wrong)["rule__because"]) == 1
    assert (RULE | wrong)["examples"].strip() in html.unescape(refused.text)
    assert desk.house()["rules"] == {}


def test_a_rule_is_tried_added_changed_and_taken_out(desk: Desk, owner: FlaskClient) -> None:
    tried = send(owner, "/shop/house/add", do="check", **RULE)
    assert "It holds on its examples" in text(tried), text(tried)
    assert desk.house()["rules"] == {}
    assert send(owner, "/shop/house/add", do="save", **RULE).status_code == 303
    assert send(owner, "/shop/house/add", do="save", **RULE).status_code == 409
    address = "/shop/house/rules/house.look-twice"
    assert "Cloth is looked at twice" in text(desk.as_("counter").get(address))
    seen = owner.get(address)
    assert "item.textile" in seen.text
    done = send(owner, address, do="save", **RULE | {"rule__title": "Cloth is looked at by two"})
    assert done.status_code == 303, text(done)
    late = {name.replace("__", "/"): value for name, value in RULE.items()}
    refused = owner.post(address, data=hidden_fields(seen.text, address) | late | {"do": "save"})
    assert refused.status_code == 412
    assert "Cloth is looked at by two" in text(refused)
    assert "Cloth is looked at twice" in refused.text
    remove = f"{address}/remove"
    assert "Take out this rule?" in text(owner.get(remove))
    stale = hidden_fields(owner.get(remove).text, remove) | {"etag": '"of-before"'}
    assert owner.post(remove, data=stale).status_code == 412
    assert send(owner, remove).status_code == 303
    assert desk.house()["rules"] == {}


def test_facts_are_found_by_their_words(owner: FlaskClient) -> None:
    page = text(owner.get("/shop/house/facts?find=share polyester"))
    assert "item.polyester_share" in page
    assert "0 facts" in text(owner.get("/shop/house/facts?find=zzz"))


# -- keys --------------------------------------------------------------------------------------------------------------


def test_a_key_is_issued_shown_once_and_revoked(desk: Desk, owner: FlaskClient) -> None:
    refused = send(owner, "/shop/keys", holder="", role="operator")
    assert refused.status_code == 422
    assert fault(refused, "holder")
    assert 'value="operator" selected' in refused.text
    sent = hidden_fields(owner.get("/shop/keys").text, "/shop/keys") | {"holder": "Nia Calder", "role": "operator"}
    issued = owner.post("/shop/keys", data=sent)
    assert issued.status_code == 200
    (token,) = re.findall(r'<code class="token">(accord_[^<]+)</code>', issued.text)
    assert issued.headers["Cache-Control"] == "no-store"
    assert token not in owner.post("/shop/keys", data=sent).text, "a token is shown once"
    client = desk.app.test_client()
    assert client.post("/sign-in", data={"key": token}).status_code == 303
    assert client.get("/shop").status_code == 200
    revoke = f"/shop/keys/{key_id_of(token)}/revoke"
    assert "Nia Calder" in text(owner.get(revoke))
    assert send(owner, revoke).status_code == 303
    assert client.get("/shop").status_code == 303
    assert "Revoked" in text(owner.get("/shop/keys"))


def test_a_stewards_key_is_not_the_owners_to_revoke(desk: Desk, owner: FlaskClient) -> None:
    revoke = f"/shop/keys/{key_id_of(desk.collective.tokens['quay-side', 'steward'])}/revoke"
    assert f'href="{revoke}"' not in owner.get("/shop/keys").text
    refused = send(owner, revoke)
    assert refused.status_code == 403
    assert "admin" in text(refused)


def test_a_reading_whose_press_is_gone_can_be_taken_back(desk: Desk, owner: FlaskClient, behind: Store) -> None:
    """Its press has no page any more; what waits is told at the desk, and led back from there."""
    assert send(desk.as_("operator"), PRESS, do="enter", **READ).status_code == 303
    record = behind.shops.get("quay-side")
    assert record is not None
    (press,) = record.document["presses"]
    renamed = {**record.document, "presses": [{**press, "id": "bench-39"}]}
    gone = behind.shops.replace("quay-side", record.version, renamed, who="test")
    try:
        page = owner.get("/shop")
        assert "bench-38: a reading waits, and the press is gone" in text(page)
        (back,) = re.findall(r'href="(/shop/presses/bench-38/readings/[^"]+/back)"', page.text)
        assert "It waits, and is gone then" in text(owner.get(back))
        done = send(owner, back)
        assert (done.status_code, done.location) == (303, "/shop")
        assert "the press is gone" not in text(owner.get("/shop"))
    finally:
        behind.shops.replace("quay-side", gone.version, record.document, who="test")


def test_a_form_that_is_sent_twice_finds_its_work_done(desk: Desk, owner: FlaskClient) -> None:
    """A double click, and the way back to a form whose write is done, with something else typed into it."""
    sent = hidden_fields(owner.get("/shop/names").text, "/shop/names") | {"word": "twice", "meant": "presses/bench-38"}
    assert [owner.post("/shop/names", data=sent).status_code for _ in range(2)] == [303, 303]
    assert send(owner, "/shop/names", remove="presses/twice").status_code == 303
    limit = hidden_fields(owner.get(SHARE).text, SHARE) | {"value": "61", "do": "save"}
    assert [owner.post(SHARE, data=limit).status_code for _ in range(2)] == [303, 303]
    assert send(owner, SHARE, do="back").status_code == 303
    read = {name.replace("__", "/"): value for name, value in READ.items()}
    reading = hidden_fields(owner.get(PRESS).text, PRESS) | read | {"do": "enter"}
    entered = [owner.post(PRESS, data=reading) for _ in range(2)]
    assert [answer.status_code for answer in entered] == [303, 303]
    assert entered[0].location == entered[1].location
    other = owner.post(PRESS, data=reading | {"display": "360"})
    assert other.status_code == 422
    assert "This form was sent before, with something else in it" in text(other)
    assert typed(other)["display"] == "360"
    (back,) = re.findall(r'href="(/shop/presses/bench-38/readings/[^"]+/back)"', owner.get(PRESS).text)
    again = hidden_fields(owner.get(back).text, back)
    assert [owner.post(back, data=again).status_code for _ in range(2)] == [303, 303]


# -- strips, samples, further pressings --------------------------------------------------------------------------------

STRIPS = f"{PRESS}/strips"


def test_what_a_strip_read_is_added_and_taken_away(desk: Desk, owner: FlaskClient) -> None:
    before = desk.shop()["presses"][0].get("strips", [])
    typed_ = {"display": "350", "time": "15", "read": "280", "substrate": "woven", "cover": "ptfe-sheet"}
    assert send(owner, STRIPS, **typed_).status_code == 303
    strips = desk.shop()["presses"][0]["strips"]
    added = {"display": "350 °F", "time": "15 s", "read": "280 °F", "substrate": "woven", "cover": "ptfe-sheet"}
    assert strips == [*before, added]
    assert "280 °F on " in text(owner.get(STRIPS))
    assert ", 15 s after the press came down, at a display of 350 °F" in text(owner.get(STRIPS))
    removed = send(owner, STRIPS, remove=str(len(before)))
    assert removed.status_code == 303
    assert desk.shop()["presses"][0].get("strips", []) == before


def test_a_strip_that_cannot_be_is_told_beside_its_field(desk: Desk, owner: FlaskClient) -> None:
    refused = send(owner, STRIPS, display="350", time="15", read="warm", substrate="woven")
    assert refused.status_code == 422
    assert fault(refused, "read")
    assert typed(refused)["display"] == "350"
    assert "strips" not in desk.shop()["presses"][0]


@pytest.mark.parametrize(
    ("strip", "word", "told"),
    [
        # °C typed at a shop that reads °F: 150 °C are 302 °F.
        ({"display": "350", "time": "15", "read": "150"}, "strip-too-cold", "The strip read 150 °F, but such a piece"),
        ({"display": "350", "time": "15", "read": "410"}, "strip-too-hot", "The strip read 410 °F, but such a piece"),
        ({"display": "180", "time": "15", "read": "150"}, "colder-than-pressing", "if 180 °C was read, type the unit"),
        ({"display": "480", "time": "15", "read": "400"}, "beyond-display", "display ends at 4"),
    ],
)
def test_an_unlikely_strip_is_added_only_with_its_doubt_set_aside(
    strip: dict[str, str], word: str, told: str, desk: Desk, owner: FlaskClient
) -> None:
    """What such a piece comes to whatever its contacts conduct is worked out with the book's numbers of conduction."""
    before = desk.shop()["presses"][0].get("strips", [])
    refused = send(owner, STRIPS, substrate="woven", **strip)
    assert refused.status_code == 422
    assert told in text(refused)
    assert f'id="despite-{word}"' in refused.text
    assert typed(refused)["read"] == strip["read"]
    assert desk.shop()["presses"][0].get("strips", []) == before
    words = re.findall(r'name="despite" value="([^"]+)"', refused.text)
    again = hidden_fields(refused.text, STRIPS) | strip | {"substrate": "woven", "despite": words}
    assert owner.post(STRIPS, data=again).status_code == 303
    assert len(desk.shop()["presses"][0]["strips"]) == len(before) + 1
    assert told in text(owner.get(STRIPS)), "it is told beside the strip as long as it counts"
    assert send(owner, STRIPS, remove=str(len(before))).status_code == 303


def test_a_strips_form_that_is_sent_twice_adds_one(desk: Desk, owner: FlaskClient) -> None:
    form = hidden_fields(owner.get(STRIPS).text, STRIPS) | {
        "display": "340",
        "time": "12",
        "read": "270",
        "substrate": "knit",
    }
    assert [owner.post(STRIPS, data=form).status_code for _ in range(2)] == [303, 303]
    assert len(desk.shop()["presses"][0]["strips"]) == 1
    assert send(owner, STRIPS, remove="0").status_code == 303


SAMPLE = {
    "id": "tee-white-paper",
    "transfer": "sub-paper-fast-dry",
    "press": "bench-38",
    "piece__substrate": "knit",
    "piece__fibres": "100 % PES",
    "piece__colour": "white",
    "piece__care__iron": "2",
    "temperature": "390",
    "time": "45",
    "pressure": "medium",
    "pressed_on": "2025-03-02",
    "looked_at_after": "24",
    "washes": "5",
    "by": "Ana",
    "palette": "navy, #C03020",
}


def test_a_sample_is_put_on_record_and_taken_off(desk: Desk, owner: FlaskClient) -> None:
    added = send(owner, "/shop/stock/samples/add", **SAMPLE)
    assert added.status_code == 303, text(added)
    assert desk.shop()["samples"] == [
        {
            "id": "tee-white-paper",
            "piece": {"substrate": "knit", "fibres": {"PES": 100}, "colour": "white", "care": {"iron": 2}},
            "transfer": "sub-paper-fast-dry",
            "press": "bench-38",
            "temperature": "390 °F",
            "time": "45 s",
            "pressure": "medium",
            "pressed_on": "2025-03-02",
            "looked_at_after": "24 h",
            "failures": [],
            "by": "Ana",
            "washes": 5,
            "palette": ["navy", "#C03020"],
        }
    ]
    stock = text(owner.get("/shop/stock"))
    assert "it came out well" in stock
    assert "tee-white-paper" in stock
    remove = "/shop/stock/samples/tee-white-paper/remove"
    assert "Take tee-white-paper off record?" in text(owner.get(remove))
    assert send(owner, remove).status_code == 303
    assert "samples" not in desk.shop()
    assert owner.get(remove).status_code == 404


def test_what_is_wrong_with_a_sample_is_told_beside_its_field(desk: Desk, owner: FlaskClient) -> None:
    wrong = SAMPLE | {"temperature": "warm", "press": "", "piece__substrate": "", "washes": "often"}
    refused = send(owner, "/shop/stock/samples/add", **wrong)
    assert refused.status_code == 422
    assert fault(refused, "temperature")
    assert fault(refused, "press")
    assert fault(refused, "washes")
    assert typed(refused)["piece/fibres"] == "100 % PES"
    fibres = send(owner, "/shop/stock/samples/add", **SAMPLE | {"piece__fibres": "some of this, some of that"})
    assert "percent of each fibre" in fault(fibres, "piece/fibres")
    assert "samples" not in desk.shop()


def test_further_pressings_of_a_sheet_are_typed_and_kept(desk: Desk, owner: FlaskClient) -> None:
    sheet = "/shop/stock/sheets/film-soft-matte"
    typed_ = {
        "temperature__least": "305",
        "time__least": "12",
        "pressings__again__time__least": "5",
        "pressings__again__time__most": "8",
        "pressings__again__pressure": "light",
        "pressings__again__cover": "ptfe-sheet",
    }
    assert send(owner, sheet, **typed_).status_code == 303
    again = {"time": {"least": "5 s", "most": "8 s"}, "pressure": "light", "cover": "ptfe-sheet"}
    written = desk.shop()["stock"]["sheets"]["film-soft-matte"]
    assert written == {"temperature": "305 °F", "time": "12 s", "pressings": {"again": again}}
    shown = typed(owner.get(sheet))
    assert (shown["pressings/again/time/least"], shown["pressings/again/time/most"]) == ("5", "8")
    refused = send(owner, sheet, **typed_ | {"pressings__marry__time__least": "5"})
    assert refused.status_code == 422
    assert 'id="fault-pressings-marry' in refused.text
    assert send(owner, sheet, do="remove").status_code == 303
    assert "sheets" not in desk.shop()["stock"]
