"""The gunicorn worker: its main thread is the reactor's, its other threads answer whole requests.

It leans on gunicorn's ThreadWorker for ``handle_request`` (what is between a parsed request and a framed answer), for
``method_queue`` (a thread's way back to the main thread) and for signals; the loop and everything about sockets are
its own. That is why pyproject.toml pins gunicorn to one major version.
"""

from __future__ import annotations

import logging
import selectors
import sys
import time
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from gunicorn import http
from gunicorn.workers.gthread import ThreadWorker

from accord_service.run.config import Config
from accord_service.run.log import DETAILS
from accord_service.serving.connection import ClientConnection
from accord_service.serving.exchange import AnswerBuffer, BrokenBody, Exchange
from accord_service.serving.fair_lane import FairLane
from accord_service.serving.lane import Lane
from accord_service.serving.limits import ClientLimits
from accord_service.serving.passage import ClientGone, Passage
from accord_service.serving.reactor import Reactor
from accord_service.serving.refusals import refusal
from accord_service.worker.admission import (
    LANES,
    LINES,
    LINES_MOST_A_KEY,
    LINES_MOST_A_SHOP,
    TURN_S,
    HandedOn,
    public_most,
    reserving,
    shop_of,
)

logger = logging.getLogger(__name__)

_TURN_S = 0.25  # a deadline may be missed by this much
# With Python's 5 ms, the reactor would wait that long for each thread that computes before it may read or send.
_SWITCH_S = 0.001
# Answered by a thread of their own, so that they answer while all others are busy.
WATCHED_PATHS = frozenset({"/healthz", "/readyz", "/metrics"})
# Neither their bodies nor their answers are ever held whole.
LINE_BY_LINE = frozenset({("POST", "/v1/validate/batch")})


class WholeRequestWorker(ThreadWorker):  # type: ignore[misc]  # gunicorn has no types
    """Clients never occupy a thread, however slowly they send or read."""

    @classmethod
    def check_config(cls, cfg: Any, log: Any) -> None:
        """Raises RuntimeError, in one sentence, for a setting that this worker can't serve."""
        refused = {
            "certfile or keyfile (TLS)": cfg.is_ssl,
            "http_protocols with h2": "h2" in cfg.http_protocols,
            f"protocol {cfg.protocol}": cfg.protocol != "http",
            f"proxy_protocol {cfg.proxy_protocol}": cfg.proxy_protocol != "off",
        }
        names = [name for name, is_set in refused.items() if is_set]
        if names:
            raise RuntimeError(
                f"gunicorn's {', '.join(names)} can't be served here; put a proxy in front that speaks plain HTTP/1.1"
            )

    def init_process(self) -> None:
        """gunicorn's step after the fork: the lanes first, then the application."""
        sys.setswitchinterval(_SWITCH_S)
        config = Config.from_env()
        self._common = Lane("answer", self.cfg.threads, self._answer)
        self._watch = Lane("watch", 1, self._answer)
        # One thread each: beside them the others still get most of the processor.
        self._heavy: Mapping[str, FairLane[ClientConnection]] = {
            lane: FairLane(
                lane,
                1,
                self._answer_heavy,
                most=config.heavy_most,
                most_a_key=LINES_MOST_A_KEY if lane == LINES else config.heavy_most_a_key,
                most_a_shop=LINES_MOST_A_SHOP if lane == LINES else config.heavy_most_a_shop,
                shop_of=shop_of,
                fewer_of=public_most,
            )
            for lane in LANES
        }
        super().init_process()

    def run(self) -> None:
        """Serve until told to stop, then finish what was accepted."""
        limits = ClientLimits.of(Config.from_env(), self.cfg.keepalive, self.worker_connections)
        self._body_limit = limits.body_limit
        self._passing_most_s = limits.passing_most_s
        self._reactor = Reactor(self.poller, limits, self._parse, self._hand_over, self.method_queue.defer)
        self.poller.register(self.method_queue.fileno(), selectors.EVENT_READ, self.method_queue.run_callbacks)
        while self.alive and self.is_parent_alive():
            self.set_accept_enabled(self._reactor.has_room)
            self._turn()
        self._reactor.stop()
        self._stop_accepting()
        end_s = time.monotonic() + self.cfg.graceful_timeout
        while len(self._reactor) and time.monotonic() < end_s:
            self._turn()
        self._reactor.close()
        self.poller.close()

    def accept(self, listener: Any) -> None:
        """Take a connection from a listener that has one."""
        self._reactor.accept(listener)

    def _turn(self) -> None:
        self.notify()
        self.wait_for_and_dispatch_events(_TURN_S)
        self._reactor.sweep()

    def _stop_accepting(self) -> None:
        """Take what the kernel has accepted for us, which would be reset otherwise; later ones are refused at once."""
        self.alive = False
        self.set_accept_enabled(False)
        for listener in self.sockets:
            listener.setblocking(False)
            while self._reactor.accept(listener):
                pass
            listener.close()

    def _parse(self, header: bytes, connection: ClientConnection) -> Exchange | bytes:
        try:
            exchange = Exchange(self.cfg, header, connection.client, connection.server, self._body_limit)
            if (exchange.request.method, exchange.request.path) in LINE_BY_LINE:
                wake = partial(self.method_queue.defer, self._reactor.pass_on, connection)
                exchange.pass_through(Passage(wake, self._passing_most_s))
            return exchange
        except (http.errors.NoMoreData, StopIteration):
            return self._refusal(None, connection, http.errors.InvalidRequestLine("the header is not whole"))
        except Exception as error:
            return self._refusal(None, connection, error)

    def handle_error(self, req: Any, client: Any, addr: Any, exc: BaseException) -> None:
        """gunicorn's own answer to what it can't parse, and to what failed outside the application: its status and
        log, and a problem document instead of its page."""
        own = AnswerBuffer()
        super().handle_error(req, own, addr, exc)
        client.sendall(refusal(own.content(), exc))

    def _refusal(self, request: Any, connection: ClientConnection, error: BaseException) -> bytes:
        answer = AnswerBuffer()
        self.handle_error(request, answer, connection.client, error)
        return answer.content()

    def _hand_over(self, connection: ClientConnection) -> None:
        assert connection.exchange is not None
        lane = self._watch if connection.exchange.request.path in WATCHED_PATHS else self._common
        lane.put(connection)

    def _answer(self, connection: ClientConnection) -> None:
        """In a lane's thread: bytes in, bytes out."""
        assert connection.exchange is not None
        try:
            with reserving(lambda key, lane: self._heavy[lane].reserve(key)):
                self._finish(connection, connection.exchange.decode_body)
        except HandedOn as handed:
            self._heavy[handed.lane].put(handed.key, connection)

    def _answer_heavy(self, connection: ClientConnection) -> None:
        """The same in the thread of a lane for heavy requests, for one that was handed on."""
        assert connection.exchange is not None
        with reserving(None, self._has_to_end):
            self._finish(connection, connection.exchange.begin_anew)

    def _has_to_end(self, for_s: float) -> bool:
        """Of a request that is answered line by line: this worker ends, or others wait and it had its turn."""
        return not self.alive or (for_s >= TURN_S and self._heavy[LINES].has_waiting)

    def _finish(self, connection: ClientConnection, begin: Callable[[], None]) -> None:
        """Answer the request, which ``begin`` puts before the application. Raises HandedOn for one that goes on."""
        content, keeps = b"", False
        try:
            content, keeps = self._answered(connection, begin)
        except HandedOn:
            raise
        except BaseException:
            self.method_queue.defer(self._reactor.answer, connection, content, keeps)
            raise
        self.method_queue.defer(self._reactor.answer, connection, content, keeps)

    def _answered(self, connection: ClientConnection, begin: Callable[[], None]) -> tuple[bytes, bool]:
        exchange = connection.exchange
        assert exchange is not None
        try:
            begin()
            keeps = bool(self.handle_request(exchange.request, exchange))
            return exchange.answer(), keeps
        except (Exception, SystemExit) as error:
            if exchange.passage is not None and (exchange.passage.has_begun or isinstance(error, ClientGone)):
                # Some of it may be sent: an answer without its last line says by itself that it broke off.
                details = {"why": str(error) or type(error).__name__}
                logger.info("an answer line by line broke off", extra={DETAILS: details})
                return exchange.answer(), False
            # Nothing of an answer that broke off was sent, so that there can be a whole one instead.
            cause = error.__cause__ if isinstance(error, BrokenBody) and error.__cause__ is not None else error
            return self._refusal(exchange.request, connection, cause), False
