"""The one owner of all clients' sockets in a worker.

It runs in the worker's main thread, driven by a selector, and nothing in it waits: whatever takes longer than a client
may take is ended by ``sweep``. Requests leave it whole through ``hand_over`` and answers come back through ``answer``,
in the same thread, so that nothing here needs a lock.
"""

from __future__ import annotations

import errno
import logging
import selectors
import socket
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from typing import Any

from accord_service.http.problems import HeaderTooLarge, RequestTooSlow
from accord_service.serving.connection import ClientConnection, Phase
from accord_service.serving.cutoffs import Cutoffs
from accord_service.serving.exchange import Exchange
from accord_service.serving.framing import header_end
from accord_service.serving.limits import ClientLimits
from accord_service.serving.passage import Passage

logger = logging.getLogger(__name__)
_READ_BYTES = 64 * 1024
_CONTINUE = b"HTTP/1.1 100 Continue\r\n\r\n"
_NOTHING_TO_ACCEPT = (errno.EAGAIN, errno.EWOULDBLOCK, errno.ECONNABORTED, errno.EINTR)

# Parses a header; where gunicorn refuses it, the whole answer that says so.
Parse = Callable[[bytes, ClientConnection], Exchange | bytes]


class Reactor:
    """``soon(step, *arguments)`` calls a step in a later turn of the loop."""

    def __init__(
        self,
        selector: selectors.BaseSelector,
        limits: ClientLimits,
        parse: Parse,
        hand_over: Callable[[ClientConnection], None],
        soon: Callable[..., None],
    ) -> None:
        self._selector, self._limits = selector, limits
        self._parse, self._hand_over, self._soon = parse, hand_over, soon
        self._cutoffs = Cutoffs()
        self._connections: set[ClientConnection] = set()
        self._held = 0
        self._is_stopping = False

    def __len__(self) -> int:
        return len(self._connections)

    @property
    def has_room(self) -> bool:
        """Whether one more connection may be taken."""
        return len(self._connections) < self._limits.connections

    # -- accepting -----------------------------------------------------------------------------------------------------

    def accept(self, listener: Any) -> bool:
        """Take one connection from ``listener``; False where there was none."""
        try:
            sock, client = listener.accept()
        except OSError as error:
            if error.errno not in _NOTHING_TO_ACCEPT:  # no file descriptor is left
                self._shed(self._waiting(), str(error))
            return False
        sock.setblocking(False)
        connection = ClientConnection(sock, client, listener.getsockname())
        connection.enter(Phase.READING, self._limits.header_s)
        self._connections.add(connection)
        self._watch(connection, selectors.EVENT_READ)
        if self._is_stopping:  # the last ones, and no reason to give up others
            connection.end_within(self._limits.linger_s)
        elif not self.has_room:
            self._shed([waiting for waiting in self._waiting() if waiting is not connection], "too many connections")
        return True

    def _waiting(self) -> list[ClientConnection]:
        return [connection for connection in self._connections if connection.depends_on_client]

    def _shed(self, waiting: Sequence[ClientConnection], why: str) -> None:
        """Give up the client that we have waited for longest. Honest ones are quick, so it rarely is one of them."""
        if waiting:
            self._cutoffs.tell("full", detail=why)
            self._drop(min(waiting, key=lambda connection: connection.since_s))

    # -- reading -------------------------------------------------------------------------------------------------------

    def _read(self, connection: ClientConnection) -> None:
        try:
            data = connection.sock.recv(_READ_BYTES)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._drop(connection)
        elif connection.phase is Phase.READING:
            if connection.is_idle:
                connection.enter(Phase.READING, self._limits.header_s)
            connection.received += data
            self._count(connection)
            self._advance(connection)

    def _advance(self, connection: ClientConnection) -> None:
        """Hand the request over if all of it is there."""
        if connection not in self._connections or connection.phase is not Phase.READING:
            return
        exchange = connection.exchange or self._begin(connection)
        if exchange is None:
            return
        if exchange.passage is not None:
            self._begin_passing(connection, exchange.passage, exchange.expects_continue)
            return
        end = exchange.framing.end(connection.received)
        if end is None:
            if exchange.expects_continue:
                exchange.expects_continue = False
                self._say_continue(connection)
            return
        exchange.give_body(bytes(connection.received[:end]))
        del connection.received[:end]
        self._watch(connection, 0)
        connection.enter(Phase.ANSWERING)
        self._hand_over(connection)

    def _begin(self, connection: ClientConnection) -> Exchange | None:
        """The request whose header is there now; None while it is not, or where it is refused."""
        received = connection.received
        end = header_end(received, connection.searched)
        connection.searched = len(received)
        if end is None and len(received) > self._limits.header_limit:
            problem = HeaderTooLarge(f"The header is over {self._limits.header_limit} bytes.")
            self._send(connection, self._cutoffs.answer("header too large", problem), keeps=False)
        if end is None or connection.phase is not Phase.READING:
            return None
        header = bytes(received[:end])
        del received[:end]
        parsed = self._parse(header, connection)
        if isinstance(parsed, bytes):
            self._send(connection, parsed, keeps=False)
            return None
        connection.exchange = parsed
        connection.enter(Phase.READING, self._limits.transfer_most_s(parsed.framing.most_bytes))
        return parsed

    def _say_continue(self, connection: ClientConnection) -> None:
        try:
            connection.sock.send(_CONTINUE)
        except BlockingIOError:
            pass  # a client must not wait for it without end (RFC 9110 section 10.1.1)
        except OSError:
            self._drop(connection)

    # -- passing through -----------------------------------------------------------------------------------------------

    def _begin_passing(self, connection: ClientConnection, passage: Passage, expects_continue: bool) -> None:
        """Hand the request over at once; its body comes while it is answered."""
        if expects_continue:
            self._say_continue(connection)
        if connection.received:
            passage.take(bytes(connection.received))
            connection.received.clear()
        self._watch(connection, 0)  # by the steps of this phase from here on
        connection.enter(Phase.PASSING)
        self._watch_passing(connection, passage)
        self._hand_over(connection)

    def pass_on(self, connection: ClientConnection) -> None:
        """The thread that answers has taken of the body, or has more to send."""
        self._guard(self._pass, connection)

    def _pass(self, connection: ClientConnection) -> None:
        passage = connection.passage
        if passage is None or connection.phase is not Phase.PASSING:
            return
        try:
            if passage.has_answer:
                with suppress(BlockingIOError):
                    passage.send(connection.sock.send)
            if passage.takes_body:
                with suppress(BlockingIOError):
                    passage.take(connection.sock.recv(_READ_BYTES))
        except OSError:
            self._drop(connection)
        else:
            self._watch_passing(connection, passage)

    def _watch_passing(self, connection: ClientConnection, passage: Passage) -> None:
        reads = selectors.EVENT_READ if passage.takes_body else 0
        writes = selectors.EVENT_WRITE if passage.has_answer else 0
        self._watch(connection, reads | writes)

    # -- sending -------------------------------------------------------------------------------------------------------

    def answer(self, connection: ClientConnection, content: bytes, keeps: bool) -> None:
        """The whole answer to a request that was handed over."""
        self._guard(partial(self._send, content=content, keeps=keeps), connection)

    def _send(self, connection: ClientConnection, content: bytes, keeps: bool) -> None:
        if connection.phase is Phase.PASSING:
            self._watch(connection, 0)
        connection.exchange, connection.searched = None, 0
        connection.unsent, connection.keeps = memoryview(content), keeps
        connection.enter(Phase.SENDING, self._limits.transfer_most_s(len(content)))
        self._flush(connection)

    def _flush(self, connection: ClientConnection) -> None:
        try:
            if connection.unsent:
                connection.unsent = connection.unsent[connection.sock.send(connection.unsent) :]
        except BlockingIOError:
            pass
        except OSError:
            self._drop(connection)
            return
        if connection.unsent:
            self._watch(connection, selectors.EVENT_WRITE)
        elif connection.keeps:
            self._await_next(connection)
        else:
            self._linger(connection)

    def _await_next(self, connection: ClientConnection) -> None:
        connection.unsent = memoryview(b"")
        if connection.received:  # sent ahead (RFC 9112 section 9.3.2); in a later turn, so that others get theirs
            connection.enter(Phase.READING, self._limits.header_s)
            self._soon(self._guard, self._advance, connection)
        else:
            connection.enter(Phase.READING, self._limits.keep_alive_s)
            if self._is_stopping:
                connection.end_within(self._limits.linger_s)
        self._watch(connection, selectors.EVENT_READ)

    def _linger(self, connection: ClientConnection) -> None:
        """Announce the end, but read on for a while: closing with bytes unread would reset the connection, and the
        client could lose the answer (RFC 9112 section 9.6)."""
        connection.received.clear()
        connection.enter(Phase.LINGERING, self._limits.linger_s)
        try:
            connection.sock.shutdown(socket.SHUT_WR)
        except OSError:
            self._drop(connection)
        else:
            self._watch(connection, selectors.EVENT_READ)

    # -- deadlines and the end -----------------------------------------------------------------------------------------

    def sweep(self) -> None:
        """End what is past its deadline."""
        now_s = time.monotonic()
        for connection in [connection for connection in self._connections if connection.deadline_s < now_s]:
            self._guard(self._expire, connection)

    def _expire(self, connection: ClientConnection) -> None:
        if connection.is_idle:
            self._read(connection)  # a request that came since the last look must not be thrown away with the rest
            if connection not in self._connections or not connection.is_idle:
                return
        if connection.phase is Phase.READING and not connection.is_idle:
            part = "header" if connection.exchange is None else "body"
            allowed_s = connection.deadline_s - connection.since_s
            problem = RequestTooSlow(f"The {part} did not arrive within {allowed_s:.3g} s.")
            self._send(connection, self._cutoffs.answer(f"late {part}", problem), keeps=False)
            return
        if connection.phase is Phase.SENDING:
            self._cutoffs.tell("slow reader", unsent=len(connection.unsent))
        self._drop(connection)

    def stop(self) -> None:
        """Idle connections get a short while more, for a request that may be under way."""
        self._is_stopping = True
        for connection in self._connections:
            if connection.is_idle:
                connection.end_within(self._limits.linger_s)

    def close(self) -> None:
        """Drop every connection at once."""
        for connection in list(self._connections):
            self._drop(connection)

    def _drop(self, connection: ClientConnection) -> None:
        if connection in self._connections:
            self._connections.remove(connection)
            if connection.passage is not None:
                connection.passage.give_up()
            self._watch(connection, 0)
            self._held -= connection.held
            connection.sock.close()

    # -- the selector and the bytes held -------------------------------------------------------------------------------

    def _watch(self, connection: ClientConnection, events: int) -> None:
        if events == connection.watched:
            return
        if connection.watched:
            self._selector.unregister(connection.sock)
        if events:
            by_events = self._read if events == selectors.EVENT_READ else self._flush
            step = self._pass if connection.phase is Phase.PASSING else by_events
            self._selector.register(connection.sock, events, lambda _sock: self._guard(step, connection))
        connection.watched = events

    def _guard(self, step: Callable[[ClientConnection], None], connection: ClientConnection) -> None:
        """One connection's trouble must not end the loop. A connection given up meanwhile has no more steps."""
        if connection not in self._connections:
            return
        try:
            step(connection)
            self._count(connection)
        except Exception:
            logger.exception("a connection failed")
            self._drop(connection)

    def _count(self, connection: ClientConnection) -> None:
        """Bring the count of bytes up to date, and keep it in bounds: by giving up ``connection`` itself if need be."""
        if connection not in self._connections:
            return
        size = connection.size
        self._held += size - connection.held
        connection.held = size
        while self._held > self._limits.held and (
            waiting := [connection for connection in self._waiting() if connection.held]
        ):
            self._shed(waiting, "too many bytes")
