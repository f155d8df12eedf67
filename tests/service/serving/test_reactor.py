"""The reactor's bounds, on connections of this process: how many clients, how many bytes, and who is given up."""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from gunicorn.config import Config

from accord_service.serving.connection import ClientConnection
from accord_service.serving.exchange import Exchange
from accord_service.serving.limits import ClientLimits
from accord_service.serving.reactor import Reactor

CONNECTIONS = 4
HELD = 10_000
BODY_LIMIT = 8_000
WHOLE = b"GET / HTTP/1.1\r\nHost: press.example\r\n\r\n"


class Listener:
    """Gives the far ends of the clients made by ``connect``; nothing listens, so there is no address."""

    def __init__(self) -> None:
        self._arrived: list[socket.socket] = []

    def connect(self) -> socket.socket:
        near, far = socket.socketpair()
        near.settimeout(10)
        self._arrived.append(far)
        return near

    def accept(self) -> tuple[socket.socket, str]:
        if not self._arrived:
            raise BlockingIOError(11, "nobody")
        return self._arrived.pop(0), ""

    def getsockname(self) -> str:
        return ""


class Loop:
    """A reactor that is turned by hand. Requests that it hands over wait in ``requests`` for their answer."""

    def __init__(self, parse: Any = None) -> None:
        self.requests: list[ClientConnection] = []
        self._later: list[Any] = []
        self._selector = selectors.DefaultSelector()
        self._listener = Listener()
        self._clients: list[socket.socket] = []
        limits = ClientLimits(
            body_limit=BODY_LIMIT,
            header_s=1000.0,
            transfer_s=1000.0,
            transfer_rate=1000.0,
            keep_alive_s=1000.0,
            connections=CONNECTIONS,
            held=HELD,
        )
        self.reactor = Reactor(
            self._selector, limits, parse or _parsed, self.requests.append, lambda *step: self._later.append(step)
        )

    def client(self, sent: bytes = b"") -> socket.socket:
        client = self._listener.connect()
        self._clients.append(client)
        self.reactor.accept(self._listener)
        client.sendall(sent)
        self.turn()
        return client

    def turn(self) -> None:
        """Until nothing more happens by itself."""
        while True:
            events = self._selector.select(0)
            steps, self._later = self._later, []
            for key, _ in events:
                key.data(key.fileobj)
            for step, *arguments in steps:
                step(*arguments)
            if not events and not steps:
                return

    def close(self) -> None:
        self.reactor.close()
        self._selector.close()
        for client in self._clients:
            client.close()


def _parsed(header: bytes, connection: ClientConnection) -> Exchange:
    return Exchange(Config(), header, connection.client, connection.server, BODY_LIMIT)


@pytest.fixture
def loop() -> Iterator[Loop]:
    running = Loop()
    yield running
    running.close()


def is_closed(client: socket.socket) -> bool:
    client.setblocking(False)
    try:
        return client.recv(1) == b""
    except ConnectionResetError:
        return True
    except BlockingIOError:
        return False


def test_a_full_house_gives_up_whoever_has_kept_it_waiting_longest(loop: Loop) -> None:
    busy = loop.client(WHOLE)
    slow = [loop.client(b"GET / HTTP") for _ in range(5)]
    assert [is_closed(client) for client in slow] == [True, True, True, False, False]
    assert not is_closed(busy)
    assert len(loop.reactor) == CONNECTIONS - 1
    loop.reactor.answer(loop.requests[0], b"HTTP/1.1 200 OK\r\n\r\n", True)
    assert busy.recv(100).startswith(b"HTTP/1.1 200")


def test_a_house_full_of_requests_being_answered_lets_the_next_one_wait(loop: Loop) -> None:
    clients = [loop.client(WHOLE) for _ in range(CONNECTIONS)]
    assert not loop.reactor.has_room
    assert len(loop.requests) == CONNECTIONS
    assert not any(is_closed(client) for client in clients)


def test_too_many_bytes_give_up_whoever_has_held_them_longest(loop: Loop) -> None:
    start = b"POST / HTTP/1.1\r\nHost: press.example\r\nContent-Length: 8000\r\n\r\n"
    idle = loop.client()
    first = loop.client(start + b"x" * 5000)
    second = loop.client(start + b"x" * 5000)
    assert is_closed(first)
    assert not is_closed(second)
    assert not is_closed(idle)
    second.setblocking(True)
    second.sendall(b"x" * 3000)
    loop.turn()
    assert len(loop.requests) == 1


def test_bytes_of_requests_being_answered_count_until_their_answer_is_taken(loop: Loop) -> None:
    whole = b"POST / HTTP/1.1\r\nHost: press.example\r\nContent-Length: 6000\r\n\r\n" + b"x" * 6000
    loop.client(whole)
    refused = loop.client(whole)
    assert is_closed(refused)
    loop.reactor.answer(loop.requests[0], b"HTTP/1.1 200 OK\r\n\r\n", True)
    loop.client(whole)
    assert len(loop.requests) == 2


def test_a_step_that_fails_costs_its_own_connection_only() -> None:
    failures = iter([RuntimeError("a fault of ours")])

    def parse(header: bytes, connection: ClientConnection) -> Exchange:
        for failure in failures:
            raise failure
        return _parsed(header, connection)

    loop = Loop(parse)
    try:
        assert is_closed(loop.client(WHOLE))
        loop.client(WHOLE)
        assert len(loop.requests) == 1
    finally:
        loop.close()


def test_a_request_that_came_at_the_end_of_an_idle_time_is_read_and_not_thrown_away(loop: Loop) -> None:
    clients = [loop.client(), loop.client()]
    clients[0].sendall(WHOLE)  # after the last look at what came
    for connection in loop.reactor._connections:
        connection.deadline_s = 0.0
    loop.reactor.sweep()
    assert [len(loop.requests), len(loop.reactor)] == [1, 1]
    assert is_closed(clients[1])
