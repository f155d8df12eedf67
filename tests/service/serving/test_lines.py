"""Orders line by line against the real server: answers come while lines are still sent, and no client holds it up.

Chunks are those of RFC 9112 section 7.1; what a client may do with a connection is its section 9.
"""

from __future__ import annotations

import json
import select
import signal
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.service.servers import PATIENCE_S, QUAY_SIDE, Client, Running, chunked, request, serving

from accord_service.serving.passage import HELD_MOST, ClientGone, ClientTooSlow, Passage
from accord_service.worker.admission import LINES_MOST_A_KEY

PATH = "/v1/validate/batch"
NDJSON = "Content-Type: application/x-ndjson"
MILL_LOFT = QUAY_SIDE.replace("quay-side", "mill-loft")
SLOW_S = 3


@pytest.fixture(scope="module")
def collective(open_collective: Any) -> Any:
    opened = open_collective([QUAY_SIDE, MILL_LOFT], [("quay-side", "counter"), ("mill-loft", "counter")])
    opened.server.stop()
    return opened


@pytest.fixture(scope="module")
def service(collective: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The real service in one worker, so that there is no other to answer instead."""
    settings = {"ACCORD_DATA": str(collective.data), "ACCORD_WORKERS": "1", "ACCORD_LINES_SECONDS": str(SLOW_S)}
    with serving(tmp_path_factory.mktemp("service"), **settings) as running:
        yield running


@pytest.fixture(scope="module")
def keys(collective: Any) -> dict[str, str]:
    """Each shop's header."""
    return {
        shop: f"Authorization: {collective.headers(shop, 'counter')['Authorization']}"
        for shop in ("quay-side", "mill-loft")
    }


class Lines:
    """One request, sent and read line by line."""

    def __init__(self, service: Running, key: str) -> None:
        self.client = Client(service.port)
        self.client.send(request("POST", PATH, key, NDJSON, "Transfer-Encoding: chunked"))
        self.reader = self.client.sock.makefile("rb")
        self._body = b""

    def send(self, *documents: Any) -> None:
        self.client.send(chunked(*(json.dumps(document).encode() + b"\n" for document in documents)))

    def end(self) -> None:
        self.client.send(chunked(b""))

    def status(self) -> int:
        """Once the header has come."""
        status = int(self.reader.readline().split()[1])
        while self.reader.readline() not in (b"\r\n", b""):
            pass
        return status

    def line(self) -> Any:
        """The next line, as soon as it is whole; None at the end."""
        while b"\n" not in self._body:
            size = int(self.reader.readline() or b"0", 16)
            if size == 0:
                return None
            self._body += self.reader.read(size)
            self.reader.readline()
        line, _, self._body = self._body.partition(b"\n")
        return json.loads(line)

    def close(self) -> None:
        self.reader.close()
        self.client.__exit__(None, None, None)


def test_a_line_is_answered_before_the_next_one_is_sent(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    lines = Lines(service, keys["quay-side"])
    for number in range(1, 6):
        lines.send({**order, "quantity": number})
        if number == 1:
            assert lines.status() == 200
        assert lines.line()["line"] == number
    lines.end()
    assert lines.line()["complete"] is True
    assert lines.line() is None
    lines.reader.readline()
    assert lines.reader.read() == b"", "the connection ends with it"
    lines.close()


def test_who_sends_all_before_reading_gets_all_of_it(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    """Most HTTP clients do. As much as is held of a body gets through, whatever the size of its answers."""
    text = json.dumps(order).encode() + b"\n"
    many = HELD_MOST // len(text)
    with service.client() as client:
        client.send(request("POST", PATH, keys["quay-side"], NDJSON, body=text * many))
        answer = client.rest()
    assert answer.startswith(b"HTTP/1.1 200 ")
    assert len(answer) > 2 * HELD_MOST, "more than is held of an answer"
    assert f'"answered":{many},"failed":0,"complete":true'.encode() in answer[-200:]


def resident_bytes(process: int) -> int:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0]) * 1024


def test_neither_body_nor_answer_is_held_whole(service: Running, keys: dict[str, str], order: dict[str, Any]) -> None:
    """Twice what is held of a body, and some 20 times that of answers: a worker that held them would show it."""
    (worker,) = {line["pid"] for line in service.lines() if line["message"] == "answered"}
    text = json.dumps(order).encode() + b"\n"
    many = 2 * HELD_MOST // len(text)
    lines = Lines(service, keys["quay-side"])
    before = resident_bytes(worker)

    def pour() -> None:
        for start in range(0, many, 100):
            lines.client.send(chunked(text * min(100, many - start)))
        lines.end()

    pouring = threading.Thread(target=pour)
    pouring.start()
    assert lines.status() == 200
    most, taken, line = 0, 0, lines.line()
    while "end" not in line:
        taken += 1
        if taken % 500 == 0:
            most = max(most, resident_bytes(worker))
        line = lines.line()
    pouring.join(PATIENCE_S)
    assert (line["answered"], line["complete"]) == (many, True)
    assert 0 < most < before + 10 * HELD_MOST
    lines.close()


def test_a_line_of_ten_megabytes_is_its_own_problem_and_held_by_nobody(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    """413 is RFC 9110 section 15.5.14. Four times as long a line takes no more memory, so none of them is held."""
    lines = Lines(service, keys["quay-side"])
    lines.send(order)
    assert lines.status() == 200
    assert lines.line()["status"] == 200
    (worker,) = {line["pid"] for line in service.lines() if line["message"] == "answered"}

    def send_vast(pieces: int) -> int:
        """The most that the worker held meanwhile, bytes."""
        most = 0
        for number in range(pieces):
            lines.client.send(chunked(b"x" * 65536))
            if number % 8 == 0:
                most = max(most, resident_bytes(worker))
        lines.client.send(chunked(b"\n"))
        return most

    ten = send_vast(160)
    assert (lines.line()["status"], send_vast(640) < ten + 4 * HELD_MOST) == (413, True)
    lines.send(order)
    assert [(line["line"], line["status"]) for line in (lines.line(), lines.line())] == [(3, 413), (4, 200)]
    lines.end()
    assert lines.line()["complete"] is True
    lines.close()


def test_others_are_answered_beside_it(service: Running, keys: dict[str, str], order: dict[str, Any]) -> None:
    lines = Lines(service, keys["quay-side"])
    lines.send(order)
    assert lines.status() == 200
    body = json.dumps(order).encode()
    beside = service.ask(
        request("POST", "/v1/validate", keys["quay-side"], "Content-Type: application/json", body=body)
    )
    assert beside.status == 200, "the other is still under way"
    lines.end()
    lines.close()


def test_a_key_has_so_many_places_and_gets_them_back(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    """Whichever is one too many is told at once; the others are silent until they send something."""
    held = [Lines(service, keys["quay-side"]) for _ in range(LINES_MOST_A_KEY + 1)]
    told, _, _ = select.select([lines.client.sock for lines in held], [], [], PATIENCE_S)
    (over,) = (lines for lines in held if lines.client.sock in told)
    assert over.status() == 503
    for lines in held:
        lines.close()
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        again = Lines(service, keys["quay-side"])
        again.send(order)
        again.end()
        if again.status() == 200:
            break
        again.close()
        time.sleep(0.05)
    assert again.line()["line"] == 1
    assert again.line()["complete"] is True
    again.close()


def test_a_client_that_lets_wait_is_given_up_and_the_next_gets_its_turn(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    silent = Lines(service, keys["quay-side"])
    silent.send(order)
    assert silent.status() == 200
    assert silent.line()["line"] == 1
    behind = Lines(service, keys["mill-loft"])
    behind.send(order)
    behind.end()
    assert behind.status() == 200
    assert behind.line()["line"] == 1
    assert silent.line() is None, "it was cut off, without its last line"
    silent.close()
    behind.close()


@pytest.mark.parametrize("body", [b"zz\r\n{}\r\n0\r\n\r\n", b"5\r\n{}\r\n\r\n0\r\n\r\n"])
def test_chunks_that_are_none_end_it_without_a_last_line(service: Running, keys: dict[str, str], body: bytes) -> None:
    lines = Lines(service, keys["quay-side"])
    lines.client.send(body)
    lines.client.sock.shutdown(socket.SHUT_WR)
    answer = lines.client.rest()
    assert b'"end"' not in answer
    # Before anything of it was sent there is an answer to what could not be read; afterwards it just ends.
    assert answer.startswith(b"HTTP/1.1 400 ") is (b"zz" in body)
    lines.close()


@pytest.mark.parametrize("body", [b"zz\r\nx", b""])
def test_a_table_whose_header_never_comes_is_told_so(service: Running, keys: dict[str, str], body: bytes) -> None:
    table = "Content-Type: text/csv"
    with service.client() as client:
        client.send(request("POST", PATH, keys["quay-side"], table, "Transfer-Encoding: chunked") + body)
        answer = client.rest()
    assert answer.startswith(b"HTTP/1.1 400 " if body else b"HTTP/1.1 408 ")
    assert b"application/problem+json" in answer


def test_a_body_that_ends_too_early_has_no_last_line(
    service: Running, keys: dict[str, str], order: dict[str, Any]
) -> None:
    body = json.dumps(order).encode() + b"\n"
    with service.client() as client:
        client.send(request("POST", PATH, keys["quay-side"], NDJSON, f"Content-Length: {len(body) + 10}") + body)
        client.sock.shutdown(socket.SHUT_WR)
        answer = client.rest()
    assert b'"line":1' in answer
    assert b'"end"' not in answer


def test_a_service_that_stops_says_where_to_go_on(open_collective: Any, tmp_path: Path, order: dict[str, Any]) -> None:
    opened = open_collective([QUAY_SIDE], [("quay-side", "counter")])
    opened.server.stop()
    key = f"Authorization: {opened.headers('quay-side', 'counter')['Authorization']}"
    with serving(tmp_path, ACCORD_DATA=str(opened.data), ACCORD_WORKERS="1") as running:
        lines = Lines(running, key)
        lines.send(order)
        assert lines.status() == 200
        number, line = 1, lines.line()
        running.process.send_signal(signal.SIGTERM)
        while "end" not in line:
            time.sleep(0.05)
            lines.send(order)
            number += 1
            line = lines.line()
        lines.close()
    assert (line["complete"], line["next_line"], line["answered"]) == (False, number, number - 1)


def test_the_side_that_is_ahead_waits_and_no_longer_than_it_may() -> None:
    woken: list[int] = []
    passage = Passage(lambda: woken.append(1), lambda size: 0.05 + size * 0.001, held_most=4)
    pieces = iter(passage)
    passage.take(b"abcd")
    assert not passage.takes_body
    assert next(pieces) == b"abcd"
    assert passage.takes_body
    assert woken
    passage.sendall(b"12345")
    with pytest.raises(ClientTooSlow):
        passage.sendall(b"6")
    passage.send(lambda data: 3)
    assert passage.rest() == b"45"
    passage.give_up()
    with pytest.raises(ClientGone):
        passage.sendall(b"7")
