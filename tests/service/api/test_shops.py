"""Shops: added and replaced by an admin, the own one by its owner; what its probe readings come to."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from flask.testing import FlaskClient

from accord_rules.documents.reading import read
from accord_rules.orders.order import Press
from accord_service.api.v1 import ENDPOINTS
from accord_service.http.paging import cursor_after
from accord_service.steps.shops import age_days, told_age_days

FERRY = tomllib.loads("""
id = "ferry-yard"
name = "Ferry Yard Print"
market = "uk"
unit_system = "metric"
standing = []
[[presses]]
id = "left"
type = "clamshell"
[[presses.calibration]]
display = "180 °C"
surface = ["178 °C", "170 °C", "176 °C"]
[[presses.calibration]]
display = "150 °C"
surface = ["149 °C", "145 °C", "147 °C"]
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet"]
""")

SAMPLE: dict[str, Any] = {
    "id": "vest-dye",
    "piece": {"blank": "rash-vest-white"},
    "transfer": "sub-paper-fast-dry",
    "press": "left",
    "temperature": "200 °C",
    "time": "45 s",
    "pressure": "medium",
    "pressed_on": "2026-02-16",
    "looked_at_after": "48 h",
    "washes": 3,
    "failures": [],
    "by": "the owner",
}
TODAY = datetime.now(UTC).date().isoformat()


@pytest.fixture
def ferry() -> dict[str, Any]:
    """A shop that is not there yet; the test's own copy."""
    return copy.deepcopy(FERRY)


def with_transfer(order: dict[str, Any], transfer: str) -> dict[str, Any]:
    """The order with its first decoration in another transfer."""
    first, *rest = order["decorations"]
    return order | {"decorations": [first | {"transfer": transfer}, *rest]}


def put_own(changing: Any, shop: dict[str, Any], etag: str, **more: Any) -> Any:
    headers = changing.headers("quay-side", "owner") | {"If-Match": etag}
    return changing.first.put("/v1/shop", json=shop, headers=headers, **more)


def own(changing: Any, role: str = "owner", client: FlaskClient | None = None) -> Any:
    return (client or changing.first).get("/v1/shop", headers=changing.headers("quay-side", role))


def status(changing: Any) -> Any:
    return changing.first.get("/v1/shop/status", headers=changing.headers("quay-side", "owner")).json


def test_a_shop_is_added_read_replaced_and_listed(changing: Any, ferry: dict[str, Any]) -> None:
    client, admin = changing.first, changing.headers("collective", "admin")
    added = client.post("/v1/shops", json=ferry, headers=admin)
    assert (added.status_code, added.json) == (201, ferry)
    read_back = changing.second.get(added.headers["Location"], headers=admin)
    assert read_back.json == added.json
    assert read_back.headers["ETag"] == added.headers["ETag"]
    ferry["name"] = "Ferry Yard"
    replaced = client.put("/v1/shops/ferry-yard", json=ferry, headers=admin | {"If-Match": added.headers["ETag"]})
    assert (replaced.status_code, replaced.json) == (200, ferry)
    listed = client.get("/v1/shops?limit=1", headers=admin).json
    (line,) = listed["entries"]
    assert datetime.fromisoformat(line.pop("changed_at")).utcoffset() == timedelta(0)
    assert line == {"id": "ferry-yard", "name": "Ferry Yard", "version": 2, "bundle": None}
    assert listed["next"] == f"/v1/shops?cursor={cursor_after('/v1/shops', 'ferry-yard')}&limit=1"


@pytest.mark.parametrize(
    ("spoil", "pointer"),
    [
        (lambda shop: shop.update(id="Ferry Yard"), "/id"),
        (lambda shop: shop.update(id="collective"), "/id"),
        (lambda shop: shop.update(market="moon"), "/market"),
        (lambda shop: shop.update(surprise=1), "/surprise"),
        (lambda shop: shop["presses"].append({"id": "left", "type": "clamshell"}), "/presses/1/id"),
        (lambda shop: shop["presses"][0].update(type="mangle"), "/presses/0/type"),
        (lambda shop: shop["presses"][0].update(calibration_age=3), "/presses/0/calibration_age"),
        (lambda shop: shop["presses"][0]["calibration"][0].update(taken_on="2099-01-01"),
         "/presses/0/calibration/0/taken_on"),
        (lambda shop: shop["presses"][0]["calibration"][0].update(taken_on="2025-02-30"),
         "/presses/0/calibration/0/taken_on"),
        (lambda shop: shop["presses"][0]["calibration"][1].update(display="180 °C"), "/presses/0/calibration"),
        (lambda shop: shop["stock"]["products"].append("no-such-product"), "/stock/products/1"),
        (lambda shop: shop["stock"].update(withdrawn=["ptfe-sheet", "no-such-thing"]), "/stock/withdrawn/1"),
        (lambda shop: shop.update(names={"blanks": {"TS-1": "no-such-blank"}}), "/names/blanks/TS-1"),
        (lambda shop: shop.update(names={"transfers": {"cut film": "film-soft-matte"}}), "/names/transfers/cut film"),
        (lambda shop: shop.update(names={"presses": {"window": "right"}}), "/names/presses/window"),
        (lambda shop: shop.update(names={"spoons": {}}), "/names/spoons"),
        (lambda shop: shop.update(samples=[SAMPLE, SAMPLE]), "/samples/1/id"),
        (lambda shop: shop.update(samples=[SAMPLE | {"press": "right"}]), "/samples/0/press"),
        (lambda shop: shop.update(samples=[SAMPLE | {"id": "tee/navy"}]), "/samples/0/id"),
        (lambda shop: shop.update(samples=[SAMPLE | {"id": ".."}]), "/samples/0/id"),
        (lambda shop: shop.update(samples=[SAMPLE | {"transfer": "no-such-paper"}]), "/samples/0/transfer"),
        (lambda shop: shop.update(samples=[SAMPLE | {"piece": {"blank": "no-such-vest"}}]), "/samples/0/piece/blank"),
        (lambda shop: shop.update(samples=[SAMPLE | {"piece": {"colour": "red"}}]), "/samples/0/piece"),
        (lambda shop: shop.update(samples=[SAMPLE | {"piece": {"substrate": "knit", "fibres": {"polyester": 100}}}]),
         "/samples/0/piece/fibres/polyester"),
        (lambda shop: shop.update(samples=[SAMPLE | {"piece": {"substrate": "knit", "fibres": {"PES": 90}}}]),
         "/samples/0/piece/fibres"),
        (lambda shop: shop.update(samples=[SAMPLE | {"piece": {"blank": "rash-vest-white", "colour": "reddish"}}]),
         "/samples/0/piece/colour"),
        (lambda shop: shop.update(samples=[SAMPLE | {"palette": ["#12"]}]), "/samples/0/palette/0"),
        (lambda shop: shop.update(samples=[SAMPLE | {"temperature": "200"}]), "/samples/0/temperature"),
        (lambda shop: shop.update(samples=[SAMPLE | {"failures": ["sad"]}]), "/samples/0/failures/0"),
        (lambda shop: shop.update(samples=[SAMPLE | {"pressed_on": "2099-01-01"}]), "/samples/0/pressed_on"),
        (lambda shop: shop.update(samples=[SAMPLE | {"pressed_on": TODAY, "looked_at_after": "720 h"}]),
         "/samples/0/looked_at_after"),
        (lambda shop: shop.update(samples=[SAMPLE | {"id": f"s{i}"} for i in range(201)]), "/samples"),
    ],
)  # fmt: skip
def test_what_is_no_shop_of_this_book_is_refused_with_its_place(
    changing: Any, ferry: dict[str, Any], spoil: Callable[[dict[str, Any]], None], pointer: str
) -> None:
    ferry["id"] = "ferry-quay"
    spoil(ferry)
    for address in ("/v1/shops?validate_only=true", "/v1/shops"):
        refused = changing.first.post(address, json=ferry, headers=changing.headers("collective", "admin"))
        assert refused.status_code == 422
        assert [error["pointer"] for error in refused.json["errors"]] == [pointer]


NO_IDS = [
    "../x",
    "a/b",
    "\u202ebench",
    "be\u200bnch",
    "Bench",
    "the bench",
    "-bench",
    "bench-",
    "..",
    "b" * 81,
    "\u0435ast",
]


@pytest.mark.parametrize("id_", NO_IDS)
@pytest.mark.parametrize("place", ["/id", "/presses/0/id"])
def test_shop_and_press_have_ids_of_one_alphabet(changing: Any, ferry: dict[str, Any], id_: str, place: str) -> None:
    """They stand in addresses, in messages and in the audit: RFC 3986 section 2.3 has what needs no quoting there."""
    (ferry if place == "/id" else ferry["presses"][0])["id"] = id_
    refused = changing.first.post("/v1/shops", json=ferry, headers=changing.headers("collective", "admin"))
    assert refused.status_code == 422, refused.text
    (error,) = refused.json["errors"]
    assert (error["pointer"], error["code"]) == (place, "out-of-range" if len(id_) > 80 else "bad-format")


@pytest.mark.parametrize("id_", ["%E2%80%AEbench", "be%E2%80%8Bnch", "the%20bench", "-bench", "..", "b" * 81])
@pytest.mark.parametrize(
    ("address", "name", "role"),
    [
        ("/v1/shop/presses/{}", "press_id", "owner"),
        ("/v1/shop/presses/{}/readings", "press_id", "owner"),
        ("/v1/shop/presses/bench/readings/{}", "reading_id", "owner"),
        ("/v1/shop/house-rules/rules/{}", "rule_id", "owner"),
        ("/v1/shop/house-rules/limits/{}", "limit_id", "owner"),
        ("/v1/proposals/{}", "proposal_id", "owner"),
        ("/v1/records/{}", "record_id", "owner"),
        ("/v1/keys/{}", "key_id", "owner"),
        ("/v1/shops/{}", "shop_id", "admin"),
    ],
)
def test_what_is_no_id_is_refused_alike_wherever_it_stands(
    changing: Any, id_: str, address: str, name: str, role: str
) -> None:
    refused = changing.first.get(address.format(id_), headers=changing.headers("quay-side", role))
    assert (refused.status_code, refused.json["type"]) == (404, "/problems/not-found")
    assert [(error["in"], error["name"], error["code"]) for error in refused.json["errors"]] == [
        ("path", name, "bad-format")
    ]
    assert refused.json["detail"].startswith(f"{name}: is no id: ids are 1 to 80 of the letters")


def test_orders_lean_on_the_samples_that_their_shop_has_put_on_record(
    changing: Any, wait_for: Callable[..., None]
) -> None:
    before = own(changing)
    press = before.json["presses"][0]["id"]
    good = SAMPLE | {"press": press}
    samples = [
        good,
        good | {"id": "unwashed", "washes": 0},
        good | {"id": "scorched", "failures": ["scorched"], "transfer": "dye-sublimation"},
    ]
    order = {
        "item": SAMPLE["piece"],
        "decorations": [
            {
                "transfer": SAMPLE["transfer"],
                "placement": "front",
                "size": {"width": "200 mm", "height": "200 mm"},
                "settings": {name: SAMPLE[name] for name in ("temperature", "time", "pressure")},
            }
        ],
        "press": press,
    }

    def answer(shop: str) -> Any:
        body = order if shop == "quay-side" else {**order, "press": None}
        headers = changing.headers(shop, "counter")
        return changing.first.post("/v1/validate", json={k: v for k, v in body.items() if v}, headers=headers).json

    def wanted(answered: Any) -> bool:
        return "elastane-needs-sample" in {finding["rule"] for finding in answered["findings"]}

    first = answer("quay-side")
    assert wanted(first)
    assert first["samples"] == []
    assert put_own(changing, {**before.json, "samples": samples}, before.headers["ETag"]).status_code == 200
    assert own(changing).json["samples"] == samples
    wait_for(lambda: not wanted(answer("quay-side")), seconds=5)
    (leaned,) = answer("quay-side")["samples"]
    assert (leaned["id"], leaned["pressed_on"], leaned["lifts"]) == (
        "vest-dye",
        "2026-02-16",
        ["elastane-needs-sample"],
    )
    assert answer("mill-loft")["samples"] == [], "they are this shop's alone"
    told = {sample["id"]: sample for sample in status(changing)["samples"]}
    assert {id_: sample["counts"] for id_, sample in told.items()} == {
        "vest-dye": True,
        "unwashed": False,
        "scorched": True,
    }
    assert "not washed" in told["unwashed"]["why_not"]
    assert "it came out well" in told["vest-dye"]["text"]
    assert "the piece was scorched" in told["scorched"]["text"]
    assert put_own(changing, before.json, own(changing).headers["ETag"]).status_code == 200


def test_what_an_owner_withdraws_is_refused_by_name(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    before = own(changing)
    shop = before.json
    (product,) = shop["stock"]["products"]
    order["decorations"][0]["transfer"] = product
    shop["stock"]["withdrawn"] = [product, "plain-paper"]
    assert put_own(changing, shop, before.headers["ETag"]).status_code == 200
    assert own(changing).json["stock"] == shop["stock"]

    def is_refused() -> bool:
        answer = changing.first.post("/v1/validate", json=order, headers=changing.headers("quay-side", "counter")).json
        return "transfer-withdrawn" in {
            finding["rule"] for finding in answer["findings"] if finding["level"] == "blocks"
        }

    wait_for(is_refused, seconds=5)


def test_orders_may_say_what_their_shop_calls_things_and_no_other_shops_orders(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    before = own(changing)
    named = changing.headers("quay-side", "counter")
    product = before.json["stock"]["products"][0]
    in_book = changing.first.post("/v1/validate", json=with_transfer(order, product), headers=named).json
    shop = before.json | {"names": {"transfers": {"Roll 7": product}}}
    assert put_own(changing, shop, before.headers["ETag"]).status_code == 200
    assert own(changing).json["names"] == {"transfers": {"Roll 7": product}}
    in_own_words = with_transfer(order, "roll-7") | {"reference": "QS-7"}

    def is_read() -> bool:
        answer = changing.first.post("/v1/validate", json=in_own_words, headers=named)
        return answer.status_code == 200 and answer.json["id"] == in_book["id"] and answer.json["reference"] == "QS-7"

    wait_for(is_read, seconds=5)
    planned = changing.first.post("/v1/recommend", json=in_own_words, headers=named).json
    assert "Roll 7" not in str(planned)
    assert "roll-7" not in str(planned)
    # Names belong to the shop that wrote them.
    elsewhere = changing.first.post("/v1/validate", json=in_own_words, headers=changing.headers("mill-loft", "counter"))
    assert elsewhere.status_code == 422
    assert "/decorations/0/transfer" in [error["pointer"] for error in elsewhere.json["errors"]]


def test_products_and_consumables_may_be_taken_out_of_use(changing: Any, ferry: dict[str, Any]) -> None:
    ferry["id"] = "ferry-quay"
    ferry["stock"]["withdrawn"] = ["sub-paper-fast-dry", "ptfe-sheet"]
    headers = changing.headers("collective", "admin")
    preview = changing.first.post("/v1/shops?validate_only=true", json=ferry, headers=headers)
    assert preview.status_code == 200, preview.text
    assert preview.json["stock"]["withdrawn"] == ["sub-paper-fast-dry", "ptfe-sheet"]


def test_an_owner_replaces_the_own_shop_and_every_worker_answers_from_it(
    changing: Any, order: dict[str, Any], wait_for: Callable[..., None]
) -> None:
    before = own(changing)
    shop = before.json | {"presses": [{"id": "new-press", "type": "clamshell"}]}
    preview = put_own(changing, shop, before.headers["ETag"], query_string={"validate_only": "true"})
    assert (preview.status_code, preview.json) == (200, shop)
    assert own(changing).headers["ETag"] == before.headers["ETag"], "only asked"
    done = put_own(changing, shop, before.headers["ETag"])
    assert (done.status_code, done.json) == (200, shop)
    assert own(changing, client=changing.second).headers["ETag"] == done.headers["ETag"], "reads are fresh at once"
    counter = changing.headers("quay-side", "counter")
    for client in (changing.first, changing.second):
        wait_for(
            lambda client=client: client.post("/v1/validate", json=order | {"press": "new-press"}, headers=counter)
            .status_code == 200,
            seconds=2.0,
        )  # fmt: skip
    stale = put_own(changing, shop, before.headers["ETag"])
    assert (stale.status_code, stale.json["type"]) == (412, "/problems/changed-meanwhile")


def test_an_owner_can_not_make_another_shop_of_it(changing: Any) -> None:
    before = own(changing)
    renamed = put_own(changing, before.json | {"id": "mill-loft"}, before.headers["ETag"])
    assert (renamed.status_code, renamed.json["errors"][0]["pointer"]) == (422, "/id")


@pytest.mark.parametrize(
    ("header", "status"),
    [
        (None, 428),
        ("*", 200),
        ("{now}", 200),
        ('"zzz", {now}', 200),
        (',"zzz" , ,{now},', 200),
        ("W/{now}", 412),
        ('"zzz"', 412),
        ('"zzz", W/"b"', 412),
        ('""', 412),
        ('"1"', 412),
        ('"{version}"', 412),
        ('"{version}-deadbeef"', 412),
        ("", 400),
        ("1", 400),
        ('"a" "b"', 400),
        ("*, {now}", 400),
        ('w/"a"', 400),
        ('"a', 400),
        ('"a b"', 400),
    ],
)
def test_a_replacement_names_what_it_replaces(changing: Any, header: str | None, status: int) -> None:
    """RFC 9110 section 13.1.1: whole tags, strong comparison (so no W/), a list, or *; section 8.8.3 says what a tag
    is. RFC 6585 section 3: 428."""
    now = own(changing)
    shop, version = now.json, now.headers["ETag"].strip('"').partition("-")[0]
    header = None if header is None else header.replace("{now}", now.headers["ETag"]).replace("{version}", version)
    headers = changing.headers("quay-side", "owner") | ({} if header is None else {"If-Match": header})
    for address in ("/v1/shop", "/v1/shop?validate_only=true"):
        answer = changing.first.put(address, json=shop, headers=headers)
        assert answer.status_code == status, answer.text
        if status in (400, 428):
            (error,) = answer.json["errors"]
            assert (error["in"], error["name"], error["pointer"]) == ("header", "If-Match", None)
            assert error["code"] == ("bad-format" if status == 400 else "required")


def test_of_two_owners_writing_at_once_one_is_told(changing: Any) -> None:
    before = own(changing)
    answers = [put_own(changing, before.json | {"name": name}, before.headers["ETag"]) for name in "AB"]
    assert [answer.status_code for answer in answers] == [200, 412]
    assert own(changing).json["name"] == "A"


def test_probe_readings_come_to_a_curve_a_spread_and_a_coldest_spot(changing: Any, ferry: dict[str, Any]) -> None:
    """Computed by hand: at 180 °C the mean of 178, 170 and 176 is 174.67, the furthest spot 4.67 off it."""
    before = own(changing)
    shop = before.json | {"unit_system": "metric", "presses": ferry["presses"]}
    for reading, day in zip(shop["presses"][0]["calibration"], ("2025-01-10", "2024-12-31"), strict=True):
        reading["taken_on"] = day
    done = put_own(changing, shop, before.headers["ETag"])
    assert done.status_code == 200, done.text
    (press,) = status(changing)["calibration"]
    assert press["press"] == "left"
    assert [point["display"] for point in press["curve"]] == ["150 °C", "180 °C"]
    assert press["curve"][1] == {"display": "180 °C", "surface": "175 °C", "spread": "5 K"}
    assert press["coldest"] == {"spot": 2, "display": "180 °C", "surface": "170 °C", "below_mean": "5 K"}
    assert press["elsewhere"].startswith(
        "Not checked: a display below 135 °C and above 195 °C, further than 15 K from "
    )
    assert press["age_days"] == (datetime.now(UTC).date() - date(2024, 12, 31)).days
    assert press["stale"]


def test_old_readings_are_told_once_of_the_press(changing: Any) -> None:
    """At once, as the version that the answer names has them."""
    before = own(changing)
    reading = {"display": "400 °F", "surface": ["396 °F", "395 °F"]}

    def rules() -> set[str]:
        return {finding["rule"] for finding in status(changing)["findings"] if finding["pointer"] == "/presses/0"}

    etag, today = before.headers["ETag"], datetime.now(UTC).date()
    for days, stale in ((0, False), (389, False), (390, True), (3000, True)):
        taken = (today - timedelta(days=days)).isoformat()
        press = {"id": "bench", "type": "swing-away", "calibration": [{**reading, "taken_on": taken}]}
        etag = put_own(changing, before.json | {"presses": [press]}, etag).headers["ETag"]
        assert ("calibration-stale" in rules()) is stale


def test_ages_are_told_in_steps_so_that_verdict_ids_last() -> None:
    reading = {"display": "180 °C", "surface": ["178 °C"], "taken_on": "2026-01-01"}
    older = {"display": "150 °C", "surface": ["149 °C"], "taken_on": "2025-12-02"}
    press = read(Press, {"id": "a", "type": "clamshell", "calibration": [reading, older]})
    ages = [(age_days(press, day), told_age_days(press, day)) for day in map(date.fromisoformat, (
        "2025-12-01", "2025-12-02", "2025-12-31", "2026-01-01", "2026-01-30", "2026-01-31", "2026-12-27"))]  # fmt: skip
    assert ages == [(0, 0), (0, 0), (29, 0), (30, 30), (59, 30), (60, 60), (390, 390)]
    del reading["taken_on"]
    undated = read(Press, {"id": "a", "type": "clamshell", "calibration": [reading]})
    assert told_age_days(undated, date(2026, 1, 1)) is None


def test_what_was_written_of_shop_press_and_key_holds_everywhere_when_the_answer_comes(
    changing: Any, order: dict[str, Any]
) -> None:
    """The next question may come to a worker that saw the old state a moment ago."""
    counter, owner = changing.headers("quay-side", "counter"), changing.headers("quay-side", "owner")

    def blanks() -> Any:
        """As the other worker judges it, whose directory is of this moment."""
        return changing.second.post("/v1/validate", json=order | {"press": "the-new-one"}, headers=counter).status_code

    shop = changing.first.get("/v1/shop", headers=owner)
    assert blanks() == 422
    more = shop.json | {"presses": [*shop.json["presses"], {"id": "the-new-one", "type": "swing-away"}]}
    done = changing.first.put("/v1/shop", json=more, headers=owner | {"If-Match": shop.headers["ETag"]})
    assert (done.status_code, blanks()) == (200, 200), done.text

    wanted = {"shop_id": "quay-side", "role": "counter", "holder": "Somebody Else"}
    issued = changing.first.post("/v1/keys", json=wanted, headers=owner).json
    key = {"Authorization": f"Bearer {issued['token']}"}
    assert changing.second.get("/v1/shop", headers=key).status_code == 200
    assert changing.second.get("/v1/shop", headers=key).status_code == 200, "known by now"
    revoked = changing.first.delete(f"/v1/keys/{issued['key_id']}", headers=owner)
    assert revoked.status_code == 200, revoked.text
    assert changing.second.get("/v1/shop", headers=key).status_code == 401

    back = changing.first.put("/v1/shop", json=shop.json, headers=owner | {"If-Match": done.headers["ETag"]})
    assert (back.status_code, blanks()) == (200, 422)


def test_every_write_that_orders_or_keys_are_judged_by_settles() -> None:
    settling = {endpoint.name for endpoint in ENDPOINTS if endpoint.settles is not None}
    assert settling == {
        *("put_shop", "put_shop_press", "put_shop_entry", "delete_key"),
        *("post_press_readings", "post_press_reading_confirm", "delete_press_reading"),
        *("put_house_rules", "post_house_rules", "put_house_rule", "delete_house_rule", "put_house_limit"),
        "post_proposal_publish",
    }
