"""Between the thread that answers a request line by line and the reactor, which owns the client's socket.

Neither the body nor the answer is ever held whole: where one side is behind, the other waits. A client that lets the
thread wait longer than it may is given up, as everywhere (``serving.limits``).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

# Of the body and of the answer, as bytes held. A client that sends all before it reads anything gets through with as
# much as is held of the body, however long its answer is.
HELD_MOST = 1024 * 1024
_SEND_BYTES = 64 * 1024


class ClientGone(OSError):
    """Nobody is there to read the answer."""


class ClientTooSlow(ClientGone, TimeoutError):
    """The client was waited for longer than it may take."""


class Passage:
    """``wake()`` has the reactor look at it again, from any thread. ``most_s(size)``: how many seconds in all may be
    spent waiting for a client that sent and took ``size`` bytes.
    """

    def __init__(self, wake: Callable[[], None], most_s: Callable[[int], float], held_most: int = HELD_MOST) -> None:
        self._wake, self._most_s, self._held_most = wake, most_s, held_most
        self._changed = threading.Condition()
        self._body, self._answer = bytearray(), bytearray()
        self._has_ended = self._is_given_up = False
        self._has_begun = False
        self._passed, self._waited_s = 0, 0.0

    # -- the reactor's side: nothing waits -----------------------------------------------------------------------------

    @property
    def size(self) -> int:
        """Bytes held."""
        return len(self._body) + len(self._answer)

    @property
    def takes_body(self) -> bool:
        """Whether there is room for more of the body, and more may come."""
        return not self._has_ended and len(self._body) < self._held_most

    @property
    def has_answer(self) -> bool:
        """Whether there is something to send."""
        return bool(self._answer)

    @property
    def has_begun(self) -> bool:
        """Whether there is something of an answer, sent or still to be sent: then it can't be another one any more."""
        return self._has_begun

    def take(self, data: bytes) -> None:
        """More of the body; none where nothing more will come."""
        with self._changed:
            self._has_ended |= not data
            self._body += data
            self._passed += len(data)
            self._changed.notify_all()

    def send(self, send: Callable[[bytes], int]) -> None:
        """Send what there is of the answer, as far as ``send`` takes it. Raises what that raises."""
        with self._changed:
            sent = send(bytes(self._answer[:_SEND_BYTES]))
            del self._answer[:sent]
            self._passed += sent
            self._changed.notify_all()

    def rest(self) -> bytes:
        """What is left to send once the thread is done; afterwards there is nothing."""
        with self._changed:
            rest = bytes(self._answer)
            self._answer.clear()
            return rest

    def give_up(self) -> None:
        """The connection is no more: whoever waits is told so."""
        with self._changed:
            self._is_given_up = self._has_ended = True
            self._changed.notify_all()

    # -- the thread's side ---------------------------------------------------------------------------------------------

    def __iter__(self) -> Iterator[bytes]:
        """The body's pieces as they come. Raises ClientGone, ClientTooSlow."""
        while piece := self._piece():
            yield piece

    def _piece(self) -> bytes:
        with self._changed:
            self._wait(lambda: bool(self._body) or self._has_ended)
            was_full = len(self._body) >= self._held_most
            piece = bytes(self._body)
            self._body.clear()
        if was_full:
            self._wake()
        return piece

    def sendall(self, data: bytes) -> None:
        """More of the answer. Raises ClientGone, ClientTooSlow."""
        with self._changed:
            self._wait(lambda: len(self._answer) < self._held_most)
            self._has_begun = True
            was_empty = not self._answer
            self._answer += data
        if was_empty:
            self._wake()

    def _wait(self, is_done: Callable[[], bool]) -> None:
        """Under the lock, until then."""
        begun_s = time.monotonic()
        left_s = self._most_s(self._passed) - self._waited_s
        in_time = self._changed.wait_for(lambda: self._is_given_up or is_done(), max(0.0, left_s))
        self._waited_s += time.monotonic() - begun_s
        if self._is_given_up:
            raise ClientGone("the client has gone")
        if not in_time:
            raise ClientTooSlow(f"the client let {self._waited_s:.3g} s pass")

    # -- what gunicorn does with a socket ------------------------------------------------------------------------------

    def gettimeout(self) -> float:
        """As of a socket that does not block."""
        return 0.0

    def shutdown(self, how: int) -> None:
        """gunicorn closes the connection of an answer that broke off; here the reactor does."""
        raise OSError("the reactor has the socket")

    def close(self) -> None:
        """Nothing to close."""
