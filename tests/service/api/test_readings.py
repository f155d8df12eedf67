"""Probe readings one by one: what cannot be is refused, what is unlikely has to be said on purpose, and what an
operator enters counts for nothing until the owner confirms it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from tests.service.conftest import ok

from accord_service.app import create_app
from accord_service.cli.show import reading_line, reading_notes

WHERE = "/v1/shop/presses/bench/readings"


def day(days_ago: int = 0) -> str:
    return (datetime.now(UTC) - timedelta(days=days_ago)).date().isoformat()


def reading(display: str = "180 °C", *surface: str, **more: Any) -> dict[str, Any]:
    return {"display": display, "surface": list(surface or ("177 °C", "176 °C")), "taken_on": day(), **more}


class Bench:
    """The quay's people at their press, through two workers."""

    def __init__(self, changing: Any) -> None:
        self._changing = changing

    def ask(self, method: str, path: str, role: str = "owner", body: Any = None, shop: str = "quay-side") -> Any:
        headers = self._changing.headers(shop, role)
        return self._changing.first.open(path, method=method, json=body, headers=headers)

    def enter(self, body: dict[str, Any], role: str = "operator", query: str = "") -> Any:
        return self.ask("POST", WHERE + query, role, body)

    def calibration(self) -> Any:
        """As the other worker reads it."""
        headers = self._changing.headers("quay-side", "counter")
        press = self._changing.second.get("/v1/shop/presses/bench", headers=headers)
        return press.json.get("calibration", [])

    def waiting(self) -> Any:
        headers = self._changing.headers("quay-side", "counter")
        return self._changing.second.get("/v1/shop/status", headers=headers).json["readings_waiting"]


@pytest.fixture
def bench(changing: Any, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """With nothing read yet, and nothing waiting. Readings are read from the store, so that no worker has to settle."""
    monkeypatch.setattr(changing.first.application.extensions["accord"].store.watch, "settle", lambda: None)
    bench = Bench(changing)
    owner = changing.headers("quay-side", "owner")
    for one in bench.waiting():
        ok(bench.ask("DELETE", f"/v1/shop/presses/{one['press_id']}/readings/{one['reading_id']}"))
    shop = changing.first.get("/v1/shop", headers=owner)
    unnamed = {name: value for name, value in shop.json.items() if name != "names"}
    presses = [{"id": "bench", "type": "swing-away"}, {"id": "left", "type": "swing-away"}]
    ok(
        changing.first.put(
            "/v1/shop", json=unnamed | {"presses": presses}, headers=owner | {"If-Match": shop.headers["ETag"]}
        )
    )
    return bench


def test_the_owners_reading_counts_at_once(bench: Bench) -> None:
    made = bench.enter(reading(), "owner")
    assert made.status_code == 201, made.text
    assert (made.json["counts"], made.json["doubts"], made.json["replaces"]) == (True, [], None)
    assert bench.ask("GET", made.headers["Location"], "counter").json == made.json
    assert bench.calibration() == [reading()]
    assert bench.waiting() == []


def test_an_operators_reading_waits_until_the_owner_confirms_it(bench: Bench) -> None:
    made = bench.enter(reading())
    assert made.status_code == 201, made.text
    assert (made.json["counts"], made.json["entered_by"]["role"]) == (False, "operator")
    assert bench.calibration() == [], "it counts for nothing"
    assert bench.waiting() == [made.json], "and is not forgotten"
    confirm = f"{made.headers['Location']}/confirm"
    assert bench.ask("POST", confirm, "operator").status_code == 403
    assert ok(bench.ask("POST", f"{confirm}?validate_only=true"))["counts"] is True
    assert bench.calibration() == []
    done = ok(bench.ask("POST", confirm))
    assert (done["counts"], done["reading_id"]) == (True, made.json["reading_id"])
    assert (bench.calibration(), bench.waiting()) == ([reading()], [])
    again = bench.ask("POST", confirm)
    assert (again.status_code, again.json["type"]) == (409, "/problems/already-there")


def test_a_confirmed_reading_tells_who_read_it_and_who_confirmed_it(bench: Bench) -> None:
    """Whoever doubts it later has to know whom to ask."""
    read = ok(bench.enter(reading("180 °C", "120 °C", despite=["far-below-display"])))
    confirmed = ok(bench.ask("POST", f"{WHERE}/{read['reading_id']}/confirm"))
    (again,) = ok(bench.ask("GET", WHERE, "counter"))["entries"]
    assert again == confirmed
    assert (again["entered_by"], again["entered_at"]) == (read["entered_by"], read["entered_at"])
    assert (again["entered_by"]["role"], again["entered_by"]["shop_id"]) == ("operator", "quay-side")
    assert (again["confirmed_by"]["role"], again["confirmed_by"]["shop_id"]) == ("owner", "quay-side")
    assert again["confirmed_at"] >= again["entered_at"]
    assert again["despite"] == ["far-below-display"]
    owners = ok(bench.enter(reading("150 °C", "147 °C", despite=["contradicts-others"]), "owner"))
    told = [owners["entered_by"]["role"], owners["confirmed_by"], owners["confirmed_at"]]
    assert told == ["owner", None, None], "nobody had to"
    gone = ok(bench.ask("DELETE", f"{WHERE}/{owners['reading_id']}"))
    assert gone["entered_by"] == owners["entered_by"]


def test_a_reading_of_the_shops_document_tells_nobody(bench: Bench, changing: Any) -> None:
    owner = changing.headers("quay-side", "owner")
    press = changing.first.get("/v1/shop/presses/bench", headers=owner)
    put = press.json | {"calibration": [reading()]}
    ok(changing.first.put("/v1/shop/presses/bench", json=put, headers=owner | {"If-Match": press.headers["ETag"]}))
    (one,) = ok(bench.ask("GET", WHERE))["entries"]
    assert [one[name] for name in ("entered_at", "entered_by", "confirmed_at", "confirmed_by")] == [None] * 4


def test_whoever_takes_the_order_enters_no_reading(bench: Bench) -> None:
    assert bench.enter(reading(), "counter").status_code == 403


def test_a_reading_at_the_same_setting_takes_the_older_ones_place(bench: Bench) -> None:
    """In whichever unit it was read."""
    older = ok(bench.enter(reading("180 °C", "176 °C"), "owner"))
    ok(bench.enter(reading("150 °C", "148 °C"), "owner"))
    newer = ok(bench.enter(reading("356 °F", "352 °F")))
    assert newer["replaces"] == older["reading_id"]
    ok(bench.ask("POST", f"{WHERE}/{newer['reading_id']}/confirm"))
    assert [one["surface"] for one in bench.calibration()] == [["148 °C"], ["352 °F"]]


@pytest.mark.parametrize("role", ["operator", "owner"])
@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        (reading(taken_on=day(-3)), "/taken_on", "out-of-range"),
        (reading("230 °C", "226 °C"), "/display", "contradiction"),
        (reading("180 °C", "120 °C"), "/surface", "unlikely"),
        (reading("180 °C", "200 °C"), "/surface", "unlikely"),
        (reading(instrument="infrared"), "/instrument", "unlikely"),
        (reading(taken_on=day(700)), "/taken_on", "unlikely"),
        (reading(instrument="thumb"), "/instrument", "not-allowed"),
        ({"display": "180 °C", "surface": ["177 °C"]}, "/taken_on", "required"),
        (reading(despite=["far-below-display", "wishful"]), "/despite/1", "not-allowed"),
    ],
)
def test_what_is_no_reading_is_refused_with_its_place(
    bench: Bench, role: str, body: dict[str, Any], pointer: str, code: str
) -> None:
    refused = bench.enter(body, role)
    assert refused.status_code == 422, refused.text
    assert [(error["pointer"], error["code"]) for error in refused.json["errors"]] == [(pointer, code)]
    assert (bench.calibration(), bench.waiting()) == ([], [])


def test_a_doubt_is_set_aside_by_its_name_and_told_all_the_same(bench: Bench) -> None:
    refused = bench.enter(reading("180 °C", "120 °C"))
    (error,) = refused.json["errors"]
    assert error["allowed"] == ["far-below-display"]
    assert "108 °F below the display" in error["message"]
    made = ok(bench.enter(reading("180 °C", "120 °C", despite=["far-below-display"])))
    assert "108 °F below the display" in made["doubts"][0]
    assert bench.waiting()[0]["doubts"] == made["doubts"]
    ok(bench.ask("POST", f"{WHERE}/{made['reading_id']}/confirm"))
    assert "despite" not in bench.calibration()[0]
    (told,) = ok(bench.ask("GET", "/v1/shop/status"))["calibration"]
    assert [sentence.partition(":")[0] for sentence in told["doubts"]] == ["At 356 °F"]


def test_a_display_in_the_wrong_unit_is_asked_about(bench: Bench) -> None:
    """180 at a shop that reads °F is 82 °C: nothing is pressed so cold, and the surface goes with it."""
    refused = bench.enter(reading("180 °F", "176 °F"))
    (error,) = refused.json["errors"]
    assert (error["pointer"], error["code"], error["allowed"]) == ("/display", "unlikely", ["colder-than-pressing"])
    assert "if 180 °C was read, type the unit with it" in error["message"]
    made = ok(bench.enter(reading("180 °F", "176 °F", despite=["colder-than-pressing"])))
    assert "180 °F is colder than anything is pressed at" in made["doubts"][0]
    hot = bench.enter(reading("240 °C", "237 °C"))
    (error,) = hot.json["errors"]
    assert (error["pointer"], error["code"]) == ("/display", "contradiction")
    assert "display ends at 437 °F" in error["message"], "in the shop's unit"


def test_a_reading_that_contradicts_others_is_taken_on_purpose_and_they_count_no_more(bench: Bench) -> None:
    """A true reading may be a surprise: the one of before was wrong, or the press was mended since."""
    older = [ok(bench.enter(reading(f"{c} °C", f"{c - 3} °C"), "owner")) for c in (150, 180, 190)]
    surprising = reading("200 °C", "180 °C")
    refused = bench.enter(surprising)
    (error,) = [error for error in refused.json["errors"] if error["allowed"] == ["contradicts-others"]]
    assert (error["pointer"], error["code"]) == ("/surface", "unlikely")
    assert "356 °F at a display of 392 °F does not go with 369 °F at a display of 374 °F" in error["message"]
    doubts = [error["allowed"][0] for error in refused.json["errors"]]
    waits = ok(bench.enter(surprising | {"despite": doubts}))
    assert waits["contradicts"] == [older[2]["reading_id"]]
    assert (len(waits["doubts"]), waits["despite"]) == (len(doubts), doubts)
    assert bench.waiting() == [waits], "the owner sees what it would do"
    assert [*reading_notes(waits)][-1] == f"Once it counts, {older[2]['reading_id']} counts no more."
    assert len(bench.calibration()) == 3, "and until then it does nothing"
    confirmed = ok(bench.ask("POST", f"{WHERE}/{waits['reading_id']}/confirm"))
    assert (confirmed["counts"], confirmed["despite"]) == (True, doubts)
    assert [one["display"] for one in bench.calibration()] == ["150 °C", "180 °C", "200 °C"]


def test_offsets_that_go_ill_together_are_asked_about_and_both_count(bench: Bench) -> None:
    """A quarter of the 50 K between the displays, and twice 2 K of the probe, are 16.5 K; they differ by 20."""
    ok(bench.enter(reading("150 °C", "127 °C", despite=["far-below-display"]), "owner"))
    second = reading("200 °C", "197 °C")
    refused = bench.enter(second, "owner")
    (error,) = refused.json["errors"]
    assert (refused.status_code, error["allowed"]) == (422, ["contradicts-others"])
    assert "5 °F below the display, but was read 41 °F below it at 302 °F" in error["message"]
    taken = ok(bench.enter(second | {"despite": ["contradicts-others"]}, "owner"))
    assert (taken["counts"], taken["contradicts"]) == (True, [])
    assert [one["display"] for one in bench.calibration()] == ["150 °C", "200 °C"]


def test_what_contradicts_since_it_was_entered_is_not_confirmed_unsaid(bench: Bench) -> None:
    waits = ok(bench.enter(reading("190 °C", "187 °C")))
    ok(bench.enter(reading("180 °C", "187 °C"), "owner"))
    late = bench.ask("POST", f"{WHERE}/{waits['reading_id']}/confirm")
    assert (late.status_code, late.json["errors"][0]["allowed"]) == (422, ["contradicts-others"])
    assert [one["reading_id"] for one in bench.waiting()] == [waits["reading_id"]]


@pytest.mark.parametrize(
    ("utc", "day", "status"),
    [
        ("2026-03-02T09:59:59", "2026-03-03", 422),
        ("2026-03-02T10:00:00", "2026-03-03", 201),
        ("2026-03-02T23:59:59", "2026-03-03", 201),
        ("2026-03-02T23:59:59", "2026-03-04", 422),
    ],
)
def test_a_day_is_taken_once_it_has_begun_anywhere(changing: Any, utc: str, day: str, status: int) -> None:
    """The first clocks to strike are at UTC+14 (IANA time zone database: Pacific/Kiritimati)."""
    now_s = datetime.fromisoformat(utc).replace(tzinfo=UTC).timestamp()
    first = datetime.fromtimestamp(now_s, ZoneInfo("Pacific/Kiritimati")).date()
    assert (date.fromisoformat(day) <= first) == (status == 201)
    app = create_app(changing.collective.config, lambda: now_s)
    headers, body = changing.headers("quay-side", "operator"), reading("199 °C", "200 °C", taken_on=day)
    entered = app.test_client().post(f"{WHERE}?validate_only=true", json=body, headers=headers)
    app.extensions["accord"].close()
    assert entered.status_code == (200 if status == 201 else status), entered.text


def test_a_reading_says_what_the_shop_calls_its_press(bench: Bench, changing: Any) -> None:
    owner = changing.headers("quay-side", "owner")
    shop = changing.first.get("/v1/shop", headers=owner)
    named = shop.json | {"names": {"presses": {"the old one": "bench", "by the door": "bench", "new": "left"}}}
    ok(changing.first.put("/v1/shop", json=named, headers=owner | {"If-Match": shop.headers["ETag"]}))
    waits = ok(bench.enter(reading()))
    assert waits["press_names"] == ["by the door", "the old one"]
    assert bench.waiting() == [waits]
    assert "bench (by the door, the old one) rd_" in reading_line(waits)
    ok(bench.ask("POST", f"{WHERE}/{waits['reading_id']}/confirm"))
    (counts,) = ok(bench.ask("GET", WHERE, "counter"))["entries"]
    assert counts["press_names"] == waits["press_names"]
    assert ", confirmed by " in reading_line(counts)


def test_the_same_reading_is_not_entered_twice(bench: Bench) -> None:
    ok(bench.enter(reading()))
    for role in ("operator", "owner"):
        again = bench.enter(reading(), role)
        assert (again.status_code, again.json["type"]) == (409, "/problems/already-there")
        assert "waits" in again.json["detail"]


def test_no_more_wait_than_may_count(bench: Bench) -> None:
    for number in range(12):
        ok(bench.enter(reading(f"{150 + number} °C", f"{147 + number} °C")))
    assert bench.enter(reading("170 °C", "167 °C")).status_code == 422
    assert len(bench.waiting()) == 12


def test_a_reading_is_taken_back(bench: Bench, changing: Any) -> None:
    counts, waits = ok(bench.enter(reading("150 °C", "147 °C"), "owner")), ok(bench.enter(reading()))
    for one in (counts, waits):
        assert bench.ask("DELETE", f"{WHERE}/{one['reading_id']}", "counter").status_code == 403
    assert bench.ask("DELETE", f"{WHERE}/{counts['reading_id']}", "operator").json["type"] == "/problems/not-yours"
    ok(bench.ask("DELETE", f"{WHERE}/{waits['reading_id']}", "operator"))
    assert bench.waiting() == []
    gone = ok(bench.ask("DELETE", f"{WHERE}/{counts['reading_id']}"))
    assert gone["counts"] is False
    assert bench.calibration() == []
    assert bench.ask("DELETE", f"{WHERE}/{counts['reading_id']}").status_code == 404
    newest = ok(bench.ask("GET", "/v1/shop/versions?limit=1"))["entries"][0]["version"]
    before = ok(bench.ask("GET", f"/v1/shop/versions/{newest - 1}"))["shop"]
    assert before["presses"][0]["calibration"] == [reading("150 °C", "147 °C")], "it stays to be read"


def test_one_operator_does_not_take_back_anothers(bench: Bench, changing: Any) -> None:
    made = ok(bench.enter(reading()))
    wanted = {"shop_id": "quay-side", "role": "operator", "holder": "Somebody Else"}
    other = {"Authorization": f"Bearer {ok(bench.ask('POST', '/v1/keys', body=wanted))['token']}"}
    refused = changing.first.delete(f"{WHERE}/{made['reading_id']}", headers=other)
    assert (refused.status_code, refused.json["type"]) == (403, "/problems/not-yours")
    assert [one["reading_id"] for one in bench.waiting()] == [made["reading_id"]]


def test_what_waits_outlives_its_press_and_can_be_taken_back(bench: Bench, changing: Any) -> None:
    made = ok(bench.enter(reading()))
    owner = changing.headers("quay-side", "owner")
    shop = changing.first.get("/v1/shop", headers=owner)
    without = shop.json | {"presses": [press for press in shop.json["presses"] if press["id"] != "bench"]}
    ok(changing.first.put("/v1/shop", json=without, headers=owner | {"If-Match": shop.headers["ETag"]}))
    assert [one["reading_id"] for one in bench.waiting()] == [made["reading_id"]]
    assert bench.ask("POST", f"{WHERE}/{made['reading_id']}/confirm").status_code == 404
    ok(bench.ask("DELETE", f"{WHERE}/{made['reading_id']}"))
    assert bench.waiting() == []


def test_readings_are_listed_whether_they_count_or_wait(bench: Bench) -> None:
    made = [ok(bench.enter(reading("150 °C", "147 °C"), "owner")), ok(bench.enter(reading()))]
    listed = ok(bench.ask("GET", WHERE, "counter"))["entries"]
    assert {one["reading_id"]: one["counts"] for one in listed} == {
        made[0]["reading_id"]: True,
        made[1]["reading_id"]: False,
    }
    nothing = ok(bench.ask("GET", "/v1/shop/presses/left/readings", "counter"))
    assert nothing == {"entries": [], "next": None}
    assert bench.ask("GET", "/v1/shop/presses/big-swing/readings", "owner", shop="mill-loft").json["entries"] == []
    assert bench.ask("GET", WHERE, "owner", shop="mill-loft").status_code == 404, "another shop's press is none"


def test_the_audit_names_what_was_done_to_which_reading(bench: Bench) -> None:
    made = ok(bench.enter(reading()))
    ok(bench.ask("POST", f"{WHERE}/{made['reading_id']}/confirm"))
    ok(bench.ask("DELETE", f"{WHERE}/{made['reading_id']}"))
    entries: list[Any] = []
    address = "/v1/audit?limit=200"
    while address:
        page = ok(bench.ask("GET", address, "admin"))
        entries, address = [*entries, *page["entries"]], page["next"]
    subject = f"quay-side/bench/{made['reading_id']}"
    of_it = [entry for entry in entries if entry["subject_id"] == subject]
    told = [entry["event"] for entry in sorted(of_it, key=lambda entry: entry["seq"])]
    assert told[-3:] == ["reading.entered", "reading.confirmed", "reading.withdrawn"]
