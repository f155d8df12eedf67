"""The JavaScript client: against a real service, with the Python client as what its answers are held to, and against a
web server that misbehaves. How a request is retried and what is believed is agreed in ``clients/python``."""

from __future__ import annotations

import json
import re
import socket
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest
from tests.client.javascript.conftest import CLIENT, HERE, ask, call, node
from tests.client.test_faults import ORDER, PROBLEM, VERDICT
from tests.served import serving
from tests.tiers import of_this_run

from accord_client import AccordError, Client
from accord_client import exceptions as in_python
from accord_rules.load.loader import load_book

pytestmark = pytest.mark.needs("node")
DEMO = Path(__file__).parents[3] / "demo"
EXPECTED = tomllib.loads((DEMO / "expected.toml").read_text(encoding="utf-8"))
SAMPLE = sorted(file.stem for file in (DEMO / "orders").glob("*.json"))[::17][:20]
SUBLIMATED = {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}
# What the Python client's tests hold of a verdict, and what they leave out since it may be null.
WHOLE = VERDICT | {"unsaid": None, "house_digest": "", "basis": "live"}
WHOLE["presses"] = [{**VERDICT["presses"][0], "because": None}]


def test_what_needs_no_service() -> None:
    assert re.search(r"^# pass [1-9]", node("--test", str(HERE / "accord.test.mjs")), re.MULTILINE)


# -- the same answers as in Python ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Street:
    """The demo collective, served."""

    url: str
    tokens: Mapping[tuple[str, str], str]

    def token(self, name: str) -> str:
        return self.tokens[EXPECTED[name]["shop"], "counter"]


@pytest.fixture(scope="module")
def street(open_collective: Any) -> Iterator[Street]:
    shops = {file.stem: file.read_text(encoding="utf-8") for file in (DEMO / "shops").glob("*.toml")}
    collective = open_collective(shops.values(), [(shop, "counter") for shop in shops])
    with serving(collective.config) as url:
        yield Street(url, collective.tokens)


def document(name: str) -> Any:
    return json.loads((DEMO / "orders" / f"{name}.json").read_text(encoding="utf-8"))


def test_the_demos_orders_are_answered_as_in_python(street: Street) -> None:
    assert len(SAMPLE) == 20
    verdicts = set()
    for name in SAMPLE:
        order, token = document(name), street.token(name)
        (outcome,) = ask(street.url, token, call("validate", order, {"include": ["observed"]})).outcomes
        with Client(street.url, token) as accord:
            expected = accord.validate(order, include=("observed",))
        assert outcome["value"] == expected.document, name
        assert outcome["workable"] == expected.workable, name
        verdicts.add(expected.verdict)
    assert verdicts >= {"conditional", "rejected"}, "the sample is of more than one kind"


def test_plans_and_envelopes_are_those_of_python(street: Street) -> None:
    for name in SAMPLE[:4]:
        order, token = document(name), street.token(name)
        asked = ask(street.url, token, call("recommend", order, {"plans": 2}), call("envelope", order))
        with Client(street.url, token) as accord:
            expected = [accord.recommend(order, plans=2).document, accord.envelope(order).document]
        # What is worked out under a limit of time may be left out on a busy machine, and says so.
        for outcome, wanted in zip(asked.outcomes, expected, strict=True):
            assert outcome["value"] == wanted, name


PRINTABLE = ("settings", "pressings", "sequence")


def printable(value: Any, under: str = "") -> Iterator[str]:
    """Where an answer has something to print as settings; remedies say what to change, not how to press."""
    if isinstance(value, dict):
        for name, inner in value.items():
            at = f"{under}/{name}"
            if name in PRINTABLE and inner is not None:
                yield at
            yield from printable(inner, at)
    if isinstance(value, list):
        for place, inner in enumerate(value):
            yield from printable(inner, f"{under}/{place}")


def test_a_rejected_order_carries_nothing_to_print_as_settings(street: Street) -> None:
    """Orders of the demo that are rejected, by night every one, in one stream a shop. That none has settings is held
    over all of them without a client (``rules/laws/test_answers.py``)."""
    rejected = [name for name, wanted in EXPECTED.items() if wanted["verdict"] == "rejected"]
    assert len(rejected) > 100
    rejected = rejected[:: of_this_run(18, 6, 1)]
    for shop in sorted({EXPECTED[name]["shop"] for name in rejected}):
        orders = [document(name) for name in rejected if EXPECTED[name]["shop"] == shop]
        answers = ask(street.url, street.tokens[shop, "counter"], call("validateAll", orders)).value
        assert [answer["line"] for answer in answers] == list(range(1, len(orders) + 1))
        verdicts = [answer["verdict"] for answer in answers if answer["verdict"]["verdict"] == "rejected"]
        assert verdicts
        assert [at for verdict in verdicts for at in printable({**verdict, "remedies": []})] == []


# -- a real service ----------------------------------------------------------------------------------------------------


def test_many_orders_are_each_answered_or_refused(
    service: str, token: str, possible: dict[str, Any], hopeless: dict[str, Any]
) -> None:
    orders = [possible, {**possible, "surprise": 1}, hopeless]
    answers = ask(service, token, call("validateAll", orders)).value
    with Client(service, token) as accord:
        expected = list(accord.validate_all(orders))
    assert [answer["line"] for answer in answers] == [1, 2, 3]
    assert [answer["order"] for answer in answers] == orders
    assert [a["verdict"] for a in answers] == [e.verdict and e.verdict.document for e in expected]
    refused = answers[1]["problem"]
    assert (refused["name"], refused["status"]) == ("InvalidOrder", 422)
    assert refused["errors"][0]["pointer"] == "/surprise"


def test_what_is_json_and_no_order_is_refused_in_its_place(service: str, token: str, possible: dict[str, Any]) -> None:
    """By both clients alike: a word, a number or a list among the orders ends nothing."""
    orders = ["tee", "", 7, [possible], [], None, True, possible]
    answers = ask(service, token, call("validateAll", orders)).value
    with Client(service, token) as accord:
        expected = list(accord.validate_all(orders))
    assert [answer["order"] for answer in answers] == orders == [answer.order for answer in expected]
    assert [answer["problem"] and answer["problem"]["status"] for answer in answers] == [400] * 7 + [None]
    for answer, theirs in zip(answers[:-1], expected[:-1], strict=True):
        assert theirs.problem is not None
        assert answer["problem"]["name"] == type(theirs.problem).__name__ == "InvalidOrder"
        assert [error["message"] for error in answer["problem"]["errors"]] == [f.message for f in theirs.problem.errors]
    assert answers[-1]["verdict"] == (expected[-1].verdict and expected[-1].verdict.document)
    alone = ask(service, token, call("validate", "tee")).error
    assert (alone["name"], alone["status"]) == ("InvalidOrder", 400)


def test_more_than_a_slice_holds_is_asked_in_slices(service: str, token: str, possible: dict[str, Any]) -> None:
    orders = [{**possible, "reference": f"{n}-{'x' * 70}"} for n in range(1100)]
    assert sum(len(json.dumps(order)) for order in orders) > 256 * 1024
    answers = ask(service, token, call("validateAll", orders)).value
    assert [answer["verdict"]["reference"] for answer in answers] == [order["reference"] for order in orders]
    assert [answer["line"] for answer in answers] == list(range(1, 1101))


def test_an_order_of_ten_megabytes_is_refused_in_its_place(service: str, token: str, possible: dict[str, Any]) -> None:
    orders = [possible, {**possible, "reference": "x" * 10_000_000}, possible]
    answers = ask(service, token, call("validateAll", orders)).value
    assert [answer["problem"] and answer["problem"]["status"] for answer in answers] == [None, 413, None]
    assert answers[2]["verdict"] == answers[0]["verdict"]


def test_lists_come_whole_and_once(service: str, token: str) -> None:
    documents = load_book().documents
    rules, limits, blanks, few = ask(
        service, token, call("rules"), call("limits"), call("catalogue", "blanks"), call("rules", take=3)
    ).outcomes
    assert len(documents["rules"]) > 50, "more than a page"
    assert [rule["id"] for rule in rules["value"]] == sorted(documents["rules"])
    assert [limit["id"] for limit in limits["value"]] == sorted(documents["limits"])
    assert [blank["id"] for blank in blanks["value"]] == sorted(documents["blanks"])
    assert few["value"] == rules["value"][:3]


def test_single_reads(service: str, token: str) -> None:
    calls = [
        call("rule", "dye-on-natural-fibre"),
        call("entry", "blanks", "tee-heavy-white"),
        call("limit", "press.parts_most"),
        call("shop"),
        call("shopStatus"),
        call("index"),
        call("health"),
        call("rules", {"level": "blocks"}),
        call("kinds"),
    ]
    rule, entry, limit, shop, status, index, health, blocking, kinds = (
        outcome["value"] for outcome in ask(service, token, *calls).outcomes
    )
    assert (rule["id"], rule["level"]) == ("dye-on-natural-fibre", "blocks")
    assert entry["entry"]["fibres"] == {"CO": 100}
    assert limit["id"] == "press.parts_most"
    assert (shop["document"]["id"], bool(shop["etag"])) == ("harbour-lane", True)
    assert status["role"] == "counter"
    assert index["api_version"] == "1"
    assert (health["ready"], health["status"]) == (True, health["document"]["status"])
    assert {line["level"] for line in blocking} == {"blocks"}
    assert {"blanks", "transfers"} <= {kind["kind"] for kind in kinds}


def test_a_record_is_made_once_and_its_outcome_reported(service: str, token: str, possible: dict[str, Any]) -> None:
    once = {"idempotencyKey": "job-HL-7-js"}
    tried, first, again = ask(
        service,
        token,
        call("record", possible, {"validateOnly": True}),
        call("record", possible, once),
        call("record", possible, once),
    ).outcomes
    assert tried["value"]["record_id"] is None
    assert first["value"]["record_id"] == again["value"]["record_id"]
    with Client(service, token) as accord:
        kept = accord.governance.read_record(first["value"]["record_id"])
        assert kept["order"] | {"reference": kept["reference"]} == possible
        report = ask(service, token, call("reportOutcome", first["value"]["record_id"], {"result": "good"})).value
        assert accord.governance.outcome(report["record_id"], report["outcome_id"])["result"] == "good"


def test_refusals_are_the_errors_of_the_python_client(service: str, token: str, possible: dict[str, Any]) -> None:
    bare = {**possible, "decorations": [{**SUBLIMATED, "settings": {"temperature": 180}}]}
    invalid, missing, level, nobody = ask(
        service,
        token,
        call("validate", bare),
        call("rule", "ü?x=1#y"),
        call("rules", {"level": "forbids"}),
        call("rule", ".."),
    ).outcomes
    assert (invalid["error"]["name"], invalid["error"]["status"]) == ("InvalidOrder", 422)
    (fault,) = invalid["error"]["errors"]
    assert (fault["pointer"], fault["code"]) == ("/decorations/0/settings/temperature", "wrong-type")
    assert "180 °F" in fault["allowed"]
    assert invalid["error"]["requestId"]
    assert missing["error"]["name"] == "NotFound"
    assert (level["error"]["name"], level["error"]["errors"][0]["name"]) == ("ProblemError", "level")
    assert (nobody["error"]["name"], nobody["error"]["accord"]) == ("TypeError", False)
    stranger = ask(service, "nobodys-token", call("shop")).error
    assert (stranger["name"], stranger["status"]) == ("NotAuthorised", 401)
    assert "nobodys-token" not in json.dumps(stranger)


def test_the_tree_of_errors_is_the_python_clients() -> None:
    """But for what only Python's client does: the effects of proposals, and answers from a bundle."""
    of_python_alone = ("EffectNotDone", "OtherToken")
    script = (
        f"const all = await import({json.dumps((CLIENT / 'accord.js').as_uri())});"
        "const kinds = Object.entries(all).filter(([, kind]) => kind.prototype instanceof Error);"
        "const tree = kinds.map(([name, kind]) => [name, Object.getPrototypeOf(kind).prototype.name]);"
        "console.log(JSON.stringify(Object.fromEntries(tree)));"
    )
    tree = json.loads(node("--input-type=module", "--eval", script))
    kinds = [kind for kind in vars(in_python).values() if isinstance(kind, type) and issubclass(kind, AccordError)]
    expected = {kind.__name__: kind.__mro__[1].__name__ for kind in kinds if kind.__name__ not in of_python_alone}
    assert tree == expected | {"AccordError": "Error"}


# -- one that misbehaves -----------------------------------------------------------------------------------------------


def test_busy_then_answered_waits_as_asked(faulty: Any) -> None:
    faulty.will(faulty.answer(503, {"title": "busy"}, PROBLEM, Retry_After="7"), faulty.answer(200, WHOLE))
    asked = ask(faulty.url, "token", call("validate", ORDER))
    assert (asked.value["verdict"], asked.waits) == ("accepted", [7])
    assert [request.body for request in faulty.seen] == [faulty.seen[0].body] * 2


def test_a_write_that_is_still_under_way_is_asked_for_again(faulty: Any) -> None:
    faulty.will(faulty.answer(409, {}, PROBLEM, Retry_After="1"), faulty.answer(201, {"record_id": "rec_1"}))
    assert ask(faulty.url, "token", call("record", ORDER)).waits == [1]
    first, second = (request.headers["Idempotency-Key"] for request in faulty.seen)
    assert first == second != ""


def test_retry_after_may_be_a_date(faulty: Any) -> None:
    then = format_datetime(datetime.now(UTC) + timedelta(seconds=12), usegmt=True)
    faulty.will(faulty.answer(429, {}, PROBLEM, Retry_After=then), faulty.answer(200, WHOLE))
    (waited,) = ask(faulty.url, "token", call("validate", ORDER)).waits
    assert 8 < waited <= 12


@pytest.mark.parametrize("header", ["soon", "-1", "1.5", "2"])
def test_a_retry_after_that_says_nothing_is_as_none(faulty: Any, header: str) -> None:
    faulty.will(faulty.answer(503, {}, PROBLEM, Retry_After=header), faulty.answer(200, WHOLE))
    (waited,) = ask(faulty.url, "token", call("validate", ORDER)).waits
    assert waited == 2 if header == "2" else 0.125 <= waited <= 0.25


def test_waits_are_jittered(faulty: Any) -> None:
    """As in the Python client's test: forty draws within a quarter of their range have a chance below 1 in 10 ** 20."""
    faulty.will(faulty.answer(503, {"status": 503}, PROBLEM))
    waits = ask(faulty.url, "token", *[call("shop")] * 40, retries=1).waits
    assert len(waits) == 40
    assert 0.125 <= min(waits) <= max(waits) <= 0.25
    assert max(waits) - min(waits) > 0.03125


def test_a_wait_beyond_the_bound_is_the_callers_to_take(faulty: Any) -> None:
    faulty.will(faulty.answer(429, {"title": "too often"}, PROBLEM, Retry_After="21"))
    asked = ask(faulty.url, "token", call("validate", ORDER))
    assert (asked.error["name"], asked.error["retryAfterS"], asked.waits) == ("TooManyRequests", 21, [])
    assert len(faulty.seen) == 1


@pytest.mark.parametrize(
    ("status", "name"), [(429, "TooManyRequests"), (502, "ServiceFault"), (503, "ServiceFault"), (504, "ServiceFault")]
)
def test_tries_are_bounded_and_grow_apart(faulty: Any, status: int, name: str) -> None:
    faulty.will(faulty.answer(status, b"<html>gateway</html>", "text/html"))
    asked = ask(faulty.url, "token", call("validate", ORDER), retries=3)
    assert (asked.error["name"], asked.error["status"], len(faulty.seen)) == (name, status, 4)
    assert asked.waits[0] < asked.waits[2]


@pytest.mark.parametrize(
    ("status", "name"),
    [
        (400, "InvalidOrder"),
        (413, "InvalidOrder"),
        (500, "ServiceFault"),
        (409, "ProblemError"),
        (403, "NotAuthorised"),
    ],
)
def test_other_refusals_are_not_tried_again(faulty: Any, status: int, name: str) -> None:
    faulty.will(faulty.answer(status, {"title": "no", "detail": "because"}, PROBLEM))
    error = ask(faulty.url, "token", call("validate", ORDER)).error
    assert (error["name"], error["message"], len(faulty.seen)) == (name, f"{status}: because", 1)


@pytest.mark.parametrize("fault", ["hang_up", "half_an_answer"])
def test_lost_connections_are_tried_again(faulty: Any, fault: str) -> None:
    faulty.will(getattr(faulty, fault), faulty.answer(200, WHOLE))
    asked = ask(faulty.url, "token", call("validate", ORDER))
    assert (asked.value["verdict"], len(faulty.seen), len(asked.waits)) == ("accepted", 2, 1)


@pytest.mark.parametrize("fault", ["hang_up", "half_an_answer"])
def test_connections_lost_for_good_are_told(faulty: Any, fault: str) -> None:
    faulty.will(getattr(faulty, fault))
    error = ask(faulty.url, "tell-nobody", call("validate", ORDER)).error
    assert (error["name"], len(faulty.seen)) == ("ConnectionFailed", 3)
    assert faulty.url in error["message"]
    assert "tell-nobody" not in json.dumps(error)


def test_what_speaks_no_http_is_no_answer(faulty: Any) -> None:
    faulty.will(faulty.no_http)
    assert ask(faulty.url, "token", call("validate", ORDER)).error["name"] == "BadAnswer"


@pytest.mark.parametrize("fault", ["stay_silent", "stop_halfway"])
def test_a_silent_service_is_not_asked_again(faulty: Any, fault: str) -> None:
    faulty.will(getattr(faulty, fault))
    asked = ask(faulty.url, "token", call("validate", ORDER), silenceS=0.3)
    assert (asked.error["name"], len(faulty.seen), asked.waits) == ("TimedOut", 1, [])
    assert "within 0.3 s" in asked.error["message"]


def test_nobody_there() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound but not listening: nobody else can be there
        asked = ask(f"http://127.0.0.1:{taken.getsockname()[1]}", "token", call("validate", ORDER))
    assert (asked.error["name"], len(asked.waits)) == ("ConnectionFailed", 2)
    assert "REFUSED" in asked.error["message"]


@pytest.mark.parametrize(
    ("body", "media"),
    [
        (b"<html>hello</html>", "text/html"),
        (b"{", "application/json"),
        (b'{"id": NaN}', "application/json"),
        (b"\xff\xfe", "application/json"),
        (json.dumps(WHOLE).encode().replace(b"vd_1", b"vd_\xff"), "application/json"),
        (b"[]", "application/json"),
        (b'{"id":' + b"[" * 100_000 + b"]" * 100_000 + b"}", "application/json"),
        (b"{}", "application/json"),
        (WHOLE | {"verdict": 7}, "application/json"),
        (WHOLE | {"findings": [{"rule": "x"}]}, "application/json"),
        (WHOLE | {"conditions": [1]}, "application/json"),
        (WHOLE | {"presses": [7]}, "application/json"),
        (WHOLE | {"revision": True}, "application/json"),
        (WHOLE, "text/plain"),
    ],
)
def test_garbage_is_never_a_verdict(faulty: Any, body: Any, media: str) -> None:
    faulty.will(faulty.answer(200, body, media))
    assert ask(faulty.url, "token", call("validate", ORDER)).error["name"] == "BadAnswer"
    assert len(faulty.seen) == 1


def test_fields_added_later_are_kept(faulty: Any) -> None:
    faulty.will(faulty.answer(200, WHOLE | {"weather": "fine"}))
    assert ask(faulty.url, "token", call("validate", ORDER)).value["weather"] == "fine"


def test_a_service_that_is_not_ready_says_so(faulty: Any) -> None:
    faulty.will(faulty.answer(503, {"status": "not ready", "checks": {}}))
    asked = ask(faulty.url, "token", call("health"))
    assert (asked.value["ready"], asked.waits) == (False, [])


@pytest.mark.parametrize("following", ["https://elsewhere.example/v1/rules", "//elsewhere.example/", 7, "/v1/rules"])
def test_the_next_page_is_on_the_same_service_and_another_one(faulty: Any, following: Any) -> None:
    faulty.will(faulty.answer(200, {"entries": [], "next": following}))
    error = ask(faulty.url, "token", call("rules")).error
    assert (error["name"], len(faulty.seen)) == ("BadAnswer", 1)
    assert "next page" in error["message"]


def test_a_read_follows_to_another_page_of_the_service_only(faulty: Any) -> None:
    faulty.will(faulty.answer(301, {}, Location="/v1/limits/new"), faulty.answer(200, {"id": "new", "entry": {}}))
    assert ask(faulty.url, "token", call("limit", "old")).value["id"] == "new"
    assert [request.path for request in faulty.seen] == ["/v1/limits/old", "/v1/limits/new"]


@pytest.mark.parametrize("place", ["https://elsewhere.example/", "http://127.0.0.1:9/", "//elsewhere.example/", ""])
def test_the_token_is_never_sent_on(faulty: Any, place: str) -> None:
    faulty.will(faulty.answer(307, {}, Location=place))
    for outcome in ask(faulty.url, "token", call("limit", "old"), call("validate", ORDER)).outcomes:
        assert outcome["error"]["name"] == "BadAnswer"
        assert "points on" in outcome["error"]["message"]


def test_what_is_sent(faulty: Any) -> None:
    faulty.will(faulty.answer(200, WHOLE))
    ask(f"{faulty.url}/behind/a/gateway/", "the-token", call("validate", ORDER | {"reference": "Grün"}))
    (seen,) = faulty.seen
    assert (seen.method, seen.path) == ("POST", "/behind/a/gateway/v1/validate")
    headers = {name.lower(): value for name, value in seen.headers.items()}
    assert headers["authorization"] == "Bearer the-token"
    assert headers["content-type"] == "application/json"
    assert headers["user-agent"].startswith("platen-accord-client-js/")
    assert json.loads(seen.body) == ORDER | {"reference": "Grün"}


# -- lines that break off ----------------------------------------------------------------------------------------------

LINES = "application/x-ndjson"


def lines(*numbers: int, end: dict[str, Any] | None = None) -> bytes:
    given = [{"line": number, "status": 200, "reference": None, "answer": WHOLE} for number in numbers]
    return b"".join(json.dumps(line).encode() + b"\n" for line in [*given, *([end] if end else [])])


def turn(next_line: int | None, revision: int = 7) -> dict[str, Any]:
    return {"end": True, "revision": revision, "next_line": next_line}


def test_a_turn_or_a_connection_that_ended_is_gone_on_with(faulty: Any) -> None:
    faulty.will(
        faulty.answer(200, lines(1, 2, end=turn(3)), LINES),
        faulty.answer(200, lines(3), LINES),
        faulty.hang_up,
        faulty.answer(200, lines(4, 5, 6, end=turn(None)), LINES),
    )
    asked = ask(faulty.url, "token", call("validateAll", [{"n": n} for n in range(6)]))
    assert [(answer["line"], answer["order"]["n"]) for answer in asked.value] == [(n + 1, n) for n in range(6)]
    # Of the revision that the last line told of, and then of that of the answers (1), as in the Python client's test.
    assert [request.path.partition("?")[2] for request in faulty.seen] == [
        "first_line=1",
        "first_line=3&revision=7",
        "first_line=4&revision=1",
        "first_line=4&revision=1",
    ]
    assert [request.body.count(b"\n") for request in faulty.seen] == [6, 4, 3, 3]


@pytest.mark.parametrize(
    ("body", "name", "tries"),
    [
        (lines(), "ConnectionFailed", 3),
        (lines(end=turn(1)), "ConnectionFailed", 3),
        (lines(2), "BadAnswer", 1),
        (b"7\n", "BadAnswer", 1),
        (b"\xff\n", "BadAnswer", 1),
        (b'{"line": 1, "status": 200, "answer": null}\n', "BadAnswer", 1),
        (b'{"line": 1, "answer": {}}\n', "BadAnswer", 1),
    ],
)
def test_what_answers_no_line_is_taken_for_none(faulty: Any, body: bytes, name: str, tries: int) -> None:
    faulty.will(faulty.answer(200, body, LINES))
    assert ask(faulty.url, "token", call("validateAll", [{}])).error["name"] == name
    assert len(faulty.seen) == tries


def test_who_has_answers_goes_on_from_there(faulty: Any) -> None:
    faulty.will(faulty.answer(200, lines(5, end=turn(None)), LINES))
    asked = ask(faulty.url, "token", call("validateAll", [{}], {"firstLine": 5, "revision": 3}))
    assert [answer["line"] for answer in asked.value] == [5]
    assert faulty.seen[0].path == "/v1/validate/batch?first_line=5&revision=3"


def test_a_refused_stream_is_an_error(faulty: Any) -> None:
    faulty.will(faulty.answer(403, {"title": "no"}, PROBLEM))
    assert ask(faulty.url, "token", call("validateAll", [{}])).error["name"] == "NotAuthorised"


def test_no_orders_ask_nothing() -> None:
    assert ask("http://127.0.0.1:1", "token", call("validateAll", [])).value == []
