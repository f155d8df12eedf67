"""Clients that send or read slowly, against the real server: nobody else waits for them, and they are cut off.

More of them than the server has threads; what each must get is RFC 9110 section 15.5.9 (408) and RFC 9112 section 9.6.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from tests.service.servers import (
    BIG_BYTES,
    PATIENCE_S,
    QUAY_SIDE,
    Client,
    Running,
    chunked,
    request,
    serving,
    serving_lab,
)

SLOW, IDLE = 12, 300
THREADS = 4


@pytest.fixture(scope="module")
def collective(open_collective: Any) -> Any:
    """A shop with a key in a data folder, whose store the server then starts by itself."""
    opened = open_collective([QUAY_SIDE], [("quay-side", "counter")])
    opened.server.stop()
    return opened


@pytest.fixture(scope="module")
def service(collective: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """The real service in one worker, so that there is no other to answer instead."""
    settings = {
        "ACCORD_DATA": str(collective.data),
        "ACCORD_WORKERS": "1",
        "ACCORD_THREADS": str(THREADS),
        "ACCORD_HEADER_SECONDS": "4",
        "ACCORD_TRANSFER_SECONDS": "4",
        "ACCORD_TRANSFER_RATE": str(16 * 1024 * 1024),
    }
    with serving(tmp_path_factory.mktemp("service"), **settings) as running:
        yield running


@pytest.fixture(scope="module")
def authorization(collective: Any) -> str:
    return f"Authorization: {collective.headers('quay-side', 'counter')['Authorization']}"


@pytest.fixture
def validate(service: Running, authorization: str, order: dict[str, Any]) -> Callable[[], int]:
    """Asks one honest question; the status."""
    body = json.dumps(order).encode()
    whole = request("POST", "/v1/validate", authorization, "Content-Type: application/json", body=body)
    return lambda: service.ask(whole).status


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with serving_lab(tmp_path_factory.mktemp("lab")) as running:
        yield running


HALVES = {
    "header": b"POST /v1/validate HTTP/1.1\r\nHost: press.example\r\nX-Half: ",
    "body with a length": request("POST", "/v1/validate", "Content-Length: 500") + b'{"item": ',
    "body in chunks": request("POST", "/v1/validate", "Transfer-Encoding: chunked")
    + chunked(b'{"item": ')
    + b"20\r\n{",
}


@pytest.mark.parametrize("half", HALVES)
def test_half_a_request_keeps_nobody_waiting_and_ends_with_408(
    service: Running, validate: Callable[[], int], half: str
) -> None:
    with ExitStack() as stack:
        slow = [stack.enter_context(service.client()) for _ in range(SLOW)]
        for client in slow:
            client.send(HALVES[half])
        assert service.ask(request("GET", "/healthz")).status == 200
        assert [validate() for _ in range(5)] == [200] * 5
        assert all(client.is_silent() for client in slow)
        answers = [(client.answer(), client.rest()) for client in slow]
    assert [(answer.status, answer.ends_connection, rest) for answer, rest in answers] == [(408, True, b"")] * SLOW
    assert {answer.headers["content-type"] for answer, _ in answers} == {"application/problem+json"}
    assert {answer.document["type"] for answer, _ in answers} == {"/problems/request-too-slow"}
    part = half.split()[0]
    assert all(answer.document["detail"].startswith(f"The {part} did not arrive within 4") for answer, _ in answers)
    counted = service.ask(request("GET", "/metrics")).body.decode()
    assert f'accord_cutoffs_total{{why="late {part}"}}' in counted
    ids = {answer.document["request_id"] for answer, _ in answers}
    assert len(ids) == SLOW
    assert ids == ids & {line.get("request_id") for line in service.lines()}


def test_hundreds_of_idle_connections_keep_nobody_waiting(service: Running, validate: Callable[[], int]) -> None:
    with ExitStack() as stack:
        for _ in range(IDLE):
            stack.enter_context(service.client())
        assert service.ask(request("GET", "/healthz")).status == 200
        assert [validate() for _ in range(3)] == [200] * 3


def test_a_connection_that_says_nothing_is_closed_without_an_answer(service: Running) -> None:
    with service.client() as client:
        assert client.rest() == b""


def test_an_endless_body_is_refused_while_it_is_sent_and_the_refusal_arrives(
    service: Running, authorization: str
) -> None:
    """No reset in between (RFC 9112 section 9.6), or the client could not read why."""
    headers = (authorization, "Content-Type: application/json")
    endless = request("POST", "/v1/validate", *headers, "Transfer-Encoding: chunked")
    long = request("POST", "/v1/validate", *headers, f"Content-Length: {10**12}")
    for start, piece in ((endless, chunked(b" " * 4096)), (long, b" " * 4096)):
        with service.client() as client:
            client.send(start)
            for _ in range(500):
                client.send(piece)
            answer = client.answer()
            assert (answer.status, answer.ends_connection, client.rest()) == (413, True, b"")
            assert answer.document["type"] == "/problems/body-too-large"


TRICKLES = {
    "header": b"GET /healthz HTTP/1.1\r\nX-Trickle: ",
    "body in endless chunks": request("POST", "/echo", "Transfer-Encoding: chunked"),
}


@pytest.mark.parametrize("trickle", TRICKLES)
def test_a_byte_now_and_then_wins_no_time(lab: Running, trickle: str) -> None:
    drop = b"1\r\nx\r\n" if "chunks" in trickle else b"x"
    with ExitStack() as stack:
        slow = [stack.enter_context(lab.client()) for _ in range(SLOW)]
        for client in slow:
            client.send(TRICKLES[trickle])
        stopped = threading.Event()
        trickling = threading.Thread(target=_trickle, args=(slow, drop, stopped))
        trickling.start()
        try:
            assert lab.ask(request("POST", "/echo", body=b"honest")).body == b"honest"
            answers = [client.answer() for client in slow]
        finally:
            stopped.set()
            trickling.join()
    assert [answer.status for answer in answers] == [408] * SLOW


def _trickle(clients: list[Client], drop: bytes, stopped: threading.Event) -> None:
    while not stopped.wait(0.1):
        for client in clients:
            try:
                client.send(drop)
            except OSError:
                continue  # cut off by now


def test_whoever_does_not_read_keeps_nobody_waiting_and_is_dropped(lab: Running, wait_for: Callable[..., None]) -> None:
    with ExitStack() as stack:
        slow = [stack.enter_context(Client(lab.port, receive_buffer=4096)) for _ in range(6)]
        for client in slow:
            client.send(request("GET", "/big"))
        assert lab.ask(request("GET", "/healthz")).status == 200
        assert lab.ask(request("POST", "/echo", body=b"honest")).body == b"honest"
        wait_for(lambda: _count(lab, "slow reader") == len(slow), seconds=PATIENCE_S)
        for client in slow:
            assert len(_all_that_comes(client)) < BIG_BYTES
    with lab.client() as reader:
        reader.send(request("GET", "/big"))
        assert reader.answer().body == b"x" * BIG_BYTES


def _count(running: Running, why: str) -> int:
    return sum(line["message"] == "cut off" and line["why"] == why for line in running.lines())


def _all_that_comes(client: Client) -> bytes:
    """A dropped reader may well be reset: the rest of its answer is thrown away."""
    came = b""
    try:
        while data := client.sock.recv(1 << 20):
            came += data
    except ConnectionResetError:
        pass
    return came
