"""Orders line by line: each line gets what it would have got by itself, whatever the lines around it are.

The form of lines is that of newline-delimited JSON: LF or CR LF ends a line, empty ones count for nothing (from
memory).
"""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.test import TestResponse

from accord_rules.authority import Authority
from accord_service.api.lines import Turn, pieces
from accord_service.worker import admission
from accord_service.worker.lending import Lent

PATH, NDJSON = "/v1/validate/batch", "application/x-ndjson"


@pytest.fixture
def key(changing: Any) -> dict[str, str]:
    return dict(changing.headers("quay-side", "counter"))


@pytest.fixture
def client(changing: Any) -> FlaskClient:
    client: FlaskClient = changing.first
    return client


def send(client: FlaskClient, key: dict[str, str], *lines: Any, query: str = "", **more: Any) -> TestResponse:
    """Lines that are no text are written as JSON."""
    body = "\n".join(line if isinstance(line, str) else json.dumps(line) for line in lines)
    return client.post(PATH + query, data=body, headers=key, **{"content_type": NDJSON, **more})


def told(answer: TestResponse) -> tuple[list[Any], Any]:
    """The lines of an answer, and its last one."""
    assert answer.status_code == 200, answer.text
    assert answer.mimetype == NDJSON
    assert answer.text.endswith("\n")
    *lines, end = map(json.loads, answer.text.splitlines())
    assert end["end"] is True
    return lines, end


def test_each_line_is_answered_as_the_order_by_itself(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    orders = [order, {**order, "reference": "QS-8", "quantity": 3}, {"item": {}, "decorations": [{}]}, order]
    lines, end = told(send(client, key, *orders))
    for number, (line, sent) in enumerate(zip(lines, orders, strict=True), start=1):
        alone = client.post("/v1/validate", json=sent, headers=key)
        assert line == {
            "line": number,
            "status": 200,
            "reference": sent.get("reference"),
            "answer": alone.json,
        }
    assert end == {
        "end": True,
        "revision": 1,
        "lines": 4,
        "answered": 4,
        "failed": 0,
        "complete": True,
        "next_line": None,
    }


def test_what_is_wrong_with_a_line_is_said_in_its_place_and_the_others_are_answered(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    wrong = [
        '{"item"',
        '{"reference": "twice", "reference": "twice"}',
        "[]",
        json.dumps({**order, "reference": "R", "colour": "blue"}),
        json.dumps({**order, "press": "the one in the cellar"}),
        '{"reference": "\\ud800"}',
        json.dumps({**order, "reference": "x" * 300_000}),
    ]
    lines, end = told(send(client, key, order, *wrong, order))
    assert [line["status"] for line in lines] == [200, 400, 400, 400, 422, 422, 400, 413, 200]
    assert (end["answered"], end["failed"], end["lines"], end["complete"]) == (2, 7, 9, True)
    for line, sent in zip(lines[1:-1], wrong, strict=True):
        alone = client.post("/v1/validate", data=sent, content_type="application/json", headers=key).json
        problem = line["problem"]
        assert (problem["type"], problem["errors"]) == (alone["type"], alone["errors"])
        assert "answer" not in line
    assert lines[4]["reference"] == "R"
    assert lines[4]["problem"]["errors"][0]["pointer"] == "/colour"


def test_line_ends_and_empty_lines(client: FlaskClient, key: dict[str, str], order: dict[str, Any]) -> None:
    text = json.dumps(order)
    for body in (f"{text}\r\n{text}\r\n", f"\n{text}\n\n\n{text}", f"{text}\n   \t\n{text}\n\n"):
        lines, end = told(send(client, key, body))
        numbers = [number for number, line in enumerate(body.split("\n"), start=1) if line.strip()]
        assert [line["line"] for line in lines] == numbers
        assert end["lines"] == 2
    lines, end = told(send(client, key))
    assert (lines, end["lines"], end["complete"]) == ([], 0, True)


@given(
    st.lists(st.binary(max_size=40).filter(lambda line: b"\n" not in line), max_size=12),
    st.lists(st.integers(1, 30), max_size=20),
    st.integers(1, 30),
)
def test_lines_are_the_same_however_they_come(parts: list[bytes], cuts: list[int], most: int) -> None:
    """Against a plain split of the whole."""
    body = b"\n".join(parts)

    class Dribble(io.BytesIO):
        sizes = iter(cuts)

        def read1(self, size: int | None = -1, /) -> bytes:
            return super().read(next(self.sizes, 7))

    expected = [None if len(line) > most else line for line in body.split(b"\n")]
    assert list(pieces(Dribble(body), most, Turn())) == expected


def test_lines_have_the_number_that_the_caller_gives_them(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    lines, _ = told(send(client, key, order, "nothing", query="?first_line=501"))
    assert [line["line"] for line in lines] == [501, 502]
    assert send(client, key, order, query="?first_line=0").status_code == 400


def test_all_lines_are_of_one_revision_and_an_older_one_can_be_asked_for(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any]
) -> None:
    _, end = told(send(client, key, order, query="?revision=1"))
    assert end["revision"] == 1
    assert send(client, key, order, query="?revision=7").status_code == 404


def test_who_may_not_ask_is_told_once(client: FlaskClient, changing: Any, order: dict[str, Any]) -> None:
    assert send(client, {}, order).status_code == 401
    assert send(client, changing.headers("collective", "admin"), order).json["type"] == "/problems/no-shop"
    wrong = send(client, changing.headers("quay-side", "counter"), order, content_type="application/json")
    assert wrong.status_code == 415
    assert NDJSON in wrong.json["detail"]


def test_a_turn_that_ends_says_where_to_go_on(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gone on with in other requests, every line is answered once, and as if it had been one."""
    orders = [{**order, "reference": f"QS-{number}", "quantity": number} for number in range(1, 8)]
    whole, _ = told(send(client, key, *orders))
    pieces, next_line = [], 1
    while next_line is not None:
        turn = iter([False, False, True])
        monkeypatch.setattr("accord_service.api.lines.has_to_end", lambda for_s, turn=turn: next(turn))
        lines, end = told(send(client, key, *orders[next_line - 1 :], query=f"?first_line={next_line}"))
        assert end["complete"] is (end["next_line"] is None)
        pieces += lines
        next_line = end["next_line"]
    assert pieces == whole


def test_a_turn_ends_at_its_latest_without_a_server_that_says_so() -> None:
    assert not admission.has_to_end(admission.TURN_MOST_S - 1)
    assert admission.has_to_end(admission.TURN_MOST_S)


def test_what_fails_inside_fails_for_its_line_alone(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    validated = Authority.validated

    def fail_at_five(self: Authority, asked: Any, *rest: Any, **more: Any) -> Any:
        if asked.quantity == 555:
            raise RuntimeError("a slip")
        return validated(self, asked, *rest, **more)

    monkeypatch.setattr(Authority, "validated", fail_at_five)
    lines, end = told(
        send(client, key, {**order, "quantity": 554}, {**order, "quantity": 555}, {**order, "quantity": 556})
    )
    assert [line["status"] for line in lines] == [200, 500, 200]
    assert lines[1]["problem"]["type"] == "/problems/internal-error"
    assert "slip" not in json.dumps(lines[1])
    assert (end["answered"], end["failed"]) == (2, 1)


def test_nothing_is_held_once_it_is_answered(
    client: FlaskClient, key: dict[str, str], order: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a line takes of the edition is given back with the line, and the edition itself at the end, or when the
    caller goes away in between."""
    held: list[int] = [0]

    def spy(name: str, change: int) -> None:
        original = getattr(Lent, name)

        def counted(self: Lent[Any]) -> Any:
            given = original(self)
            held[0] += change
            most[0] = max(most[0], held[0])
            return given

        monkeypatch.setattr(Lent, name, counted)

    most: list[int] = [0]
    spy("take", 1)
    spy("give_back", -1)
    few = [{**order, "quantity": number} for number in range(601, 603)]
    told(send(client, key, *few))
    of_few = most[0]
    told(send(client, key, *few, *({**order, "quantity": number} for number in range(603, 625))))
    assert most[0] == of_few, "no more with more lines"
    body = "\n".join([json.dumps(order)] * 20)
    cut = client.post(PATH, data=body, headers=key, content_type=NDJSON, buffered=False)
    next(iter(cut.response))
    assert held[0]
    cut.close()
    assert held[0] == 0
