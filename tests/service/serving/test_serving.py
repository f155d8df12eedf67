"""How the worker serves HTTP/1.1 when nobody is slow: RFC 9110 and 9112, through real sockets."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.service.servers import (
    CONFIG,
    PATIENCE_S,
    STOP_S,
    Answer,
    Client,
    Running,
    chunked,
    environment,
    request,
    serving_lab,
)

from accord_service.serving.newcomers import turn_away, turn_away_when_stopping

BODY_LIMIT = 4096


@pytest.fixture(scope="module")
def lab_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lab")


@pytest.fixture(scope="module")
def lab(lab_folder: Path) -> Iterator[Running]:
    with serving_lab(lab_folder, ACCORD_BODY_LIMIT=str(BODY_LIMIT), ACCORD_HEADER_SECONDS="20") as running:
        yield running


def test_requests_sent_ahead_are_answered_in_order(lab: Running) -> None:
    """RFC 9112 section 9.3.2."""
    bodies = [b"first", b"", b"the third one"]
    sent_ahead = [request("POST", "/echo", body=body) for body in bodies]
    sent_ahead.append(request("POST", "/echo", "Transfer-Encoding: chunked") + chunked(b"in ", b"chunks", b""))
    with lab.client() as client:
        client.send(b"".join(sent_ahead))
        assert [client.answer().body for _ in sent_ahead] == [*bodies, b"in chunks"]
        client.send(request("GET", "/healthz"))
        assert client.answer().body == b"ok"


def test_a_request_in_pieces_is_read_whole(lab: Running) -> None:
    whole = request("POST", "/echo", "Transfer-Encoding: chunked") + chunked(b"piece", b"meal") + b"0\r\nX-A: b\r\n\r\n"
    with lab.client() as client:
        client.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        for at in range(len(whole)):
            client.send(whole[at : at + 1])
        assert client.answer().body == b"piecemeal"
        client.send(request("GET", "/healthz", "Connection: close"))
        answer = client.answer()
        assert (answer.body, answer.ends_connection, client.rest()) == (b"ok", True, b"")


def test_an_old_client_gets_its_answer_and_the_end(lab: Running) -> None:
    with lab.client() as client:
        client.send(b"GET /healthz HTTP/1.0\r\n\r\n")
        assert client.rest().endswith(b"\r\n\r\nok")


def test_a_body_that_waits_for_leave_gets_it_once(lab: Running) -> None:
    """RFC 9110 section 10.1.1. An answer without it may come where the body is not wanted."""
    with lab.client() as client:
        client.send(request("POST", "/echo", "Expect: 100-continue", "Content-Length: 5"))
        assert client.answer().status == 100
        client.send(b"hello")
        assert (client.answer().body, client.is_silent()) == (b"hello", True)
        client.send(request("POST", "/echo", "Expect: 100-continue", body=b"at once"))
        assert client.answer().body == b"at once"
        client.send(request("POST", "/echo", "Expect: 100-continue", f"Content-Length: {BODY_LIMIT + 1}"))
        assert client.answer().ends_connection


DOUBTFUL = {
    "both length and chunks": request("POST", "/echo", "Content-Length: 5", "Transfer-Encoding: chunked")
    + chunked(b""),
    "two lengths": request("POST", "/echo", "Content-Length: 2", "Content-Length: 2") + b"ab",
    "two lengths that differ": request("POST", "/echo", "Content-Length: 2", "Content-Length: 40") + b"ab",
    "a list of lengths": request("POST", "/echo", "Content-Length: 2, 40") + b"ab",
    "a length of other digits": request("POST", "/echo", "Content-Length: \u0662") + b"ab",
    "chunks behind a space": request("POST", "/echo", "Content-Length: 2", "Transfer-Encoding : chunked") + b"ab",
    "chunks behind a tab": request("POST", "/echo", "Content-Length: 2", "Transfer-Encoding\t: chunked") + b"ab",
    "a header with a NUL": request("GET", "/healthz", "X-A: b\x00c"),
    "a length with a sign": request("POST", "/echo", "Content-Length: +2") + b"ab",
    "chunked twice": request("POST", "/echo", "Transfer-Encoding: chunked, chunked") + chunked(b""),
    "chunked in two lines": request("POST", "/echo", "Transfer-Encoding: chunked", "Transfer-Encoding: chunked")
    + chunked(b""),
    "a coding around the chunks": request("POST", "/echo", "Transfer-Encoding: chunked, gzip") + chunked(b""),
    "a coding without chunks": request("POST", "/echo", "Transfer-Encoding: gzip") + b"ab",
    "both length and coded chunks": request("POST", "/echo", "Content-Length: 5", "Transfer-Encoding: gzip, chunked")
    + chunked(b""),
    "coded chunks in HTTP/1.0": b"POST /echo HTTP/1.0\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n",
    "chunked in HTTP/1.0": b"POST /echo HTTP/1.0\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "a chunk size of no digits": request("POST", "/echo", "Transfer-Encoding: chunked") + b"zz\r\nab\r\n0\r\n\r\n",
    "a chunk size with a prefix": request("POST", "/echo", "Transfer-Encoding: chunked") + b"0x2\r\nab\r\n0\r\n\r\n",
    "a chunk size with a sign": request("POST", "/echo", "Transfer-Encoding: chunked") + b"+2\r\nab\r\n0\r\n\r\n",
    "a chunk longer than it says": request("POST", "/echo", "Transfer-Encoding: chunked") + b"2\r\nabcd\r\n0\r\n\r\n",
    "a bad chunk extension": request("POST", "/echo", "Transfer-Encoding: chunked") + b"2;@=\x01\r\nab\r\n0\r\n\r\n",
    "a chunk size line without end": request("POST", "/echo", "Transfer-Encoding: chunked") + b"0" * 9000,
    "a length as trailer": request("POST", "/echo", "Transfer-Encoding: chunked") + b"0\r\nContent-Length: 1\r\n\r\n",
    "a folded header": b"GET /healthz HTTP/1.1\r\nHost: press.example\r\nX-A: b\r\n c\r\n\r\n",
    "line feeds alone": b"GET /healthz HTTP/1.1\nHost: press.example\n\n",
    "a line feed alone": b"GET /healthz HTTP/1.1\r\nHost: press.example\n\n",
    "a space before the colon": request("GET", "/healthz", "X-A : b"),
    "no request at all": b"\r\n\r\n",
}


@pytest.mark.parametrize("doubt", DOUBTFUL)
def test_doubtful_framing_is_refused_and_what_follows_is_never_taken_for_a_request(lab: Running, doubt: str) -> None:
    """RFC 9112 sections 2.2, 5.1, 5.2, 6.1, 6.3 and 7.1."""
    with lab.client() as client:
        client.send(DOUBTFUL[doubt] + request("GET", "/healthz"))
        answer = client.answer()
        assert (answer.status, answer.ends_connection, client.rest()) == (400, True, b"")
        assert_problem(answer, "/problems/unreadable-request")


def test_no_header_moves_where_the_application_is(lab: Running) -> None:
    """The bare name is gunicorn's own for a proxy to set; here it is dropped as any other with an underscore."""
    with lab.client() as client:
        for mount in ("/healthz", "/nowhere"):
            client.send(request("GET", "/healthz", f"SCRIPT_NAME: {mount}"))
            assert client.answer().status == 200


def test_a_header_without_end_is_refused(lab: Running) -> None:
    with lab.client() as client:
        client.send(b"GET /healthz HTTP/1.1\r\n" + b"X-A: bcdefgh\r\n" * 3000)
        answer = client.answer()
        assert (answer.status, answer.ends_connection, client.rest()) == (431, True, b"")
        assert_problem(answer, "/problems/header-too-large")


def assert_problem(answer: Answer, type_: str) -> None:
    """RFC 9457 section 3: its media type, and members that say what the status line says."""
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    problem = answer.document
    assert (problem["type"], problem["status"]) == (type_, answer.status)
    assert problem["title"]
    assert problem["detail"]
    assert problem["request_id"] == answer.headers["x-request-id"]


# What comes, the status (RFC 9110 section 15, RFC 9112 section 3) and the type of problem.
UNREADABLE = {
    "no request line": (b"hello\r\n\r\n", 400, "/problems/unreadable-request"),
    "no target": (b"GET  HTTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "a target with a control character": (b"GET /a\x01 HTTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "a method that is none": (b"G=T / HTTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "bytes that are no text": (b"\xff\xfe / HTTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "a TLS greeting": (b"\x16\x03\x01\x02\x00\x01\r\n\r\n", 400, "/problems/unreadable-request"),
    "another protocol": (b"GET / FTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "a later version": (b"GET / HTTP/2.0\r\nHost: press.example\r\n\r\n", 505, "/problems/version-not-served"),
    "an earlier version": (b"GET / HTTP/0.9\r\nHost: press.example\r\n\r\n", 505, "/problems/version-not-served"),
    "a header without a name": (b"GET / HTTP/1.1\r\n: b\r\n\r\n", 400, "/problems/unreadable-request"),
    "a header without a colon": (b"GET / HTTP/1.1\r\nX-A\r\n\r\n", 400, "/problems/unreadable-request"),
    "a null in a header": (b"GET / HTTP/1.1\r\nX-A: b\x00c\r\n\r\n", 400, "/problems/unreadable-request"),
    "no host": (b"GET /healthz HTTP/1.1\r\n\r\n", 400, "/problems/unreadable-request"),
    "two hosts": (request("GET", "/healthz", "Host: press.example"), 400, "/problems/unreadable-request"),
    **{
        f"the host {host}": (
            f"GET /healthz HTTP/1.1\r\nHost: {host}\r\n\r\n".encode(),
            400,
            "/problems/unreadable-request",
        )
        for host in ("press example", "press/example", "a@press.example", "[::1", "press.example:80a", "%zz", "a,b c")
    },
    "a long target": (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n\r\n", 414, "/problems/address-too-long"),
    "a long header": (request("GET", "/", "X-A: " + "b" * 9000), 431, "/problems/header-too-large"),
    "many headers": (request("GET", "/", *["X-A: b"] * 200), 431, "/problems/header-too-large"),
    "an expectation nobody has": (request("GET", "/", "Expect: 200-ok"), 417, "/problems/expectation-refused"),
    "a coding nobody has": (
        request("POST", "/echo", "Transfer-Encoding: br, chunked"),
        501,
        "/problems/coding-not-understood",
    ),
}


@pytest.mark.parametrize(
    "host", ["press.example", "press.example:8080", "192.0.2.7", "[2001:db8::7]:80", "", "a:", "a_b"]
)
def test_a_host_is_a_name_or_an_address(lab: Running, host: str) -> None:
    """RFC 9110 section 7.2, RFC 3986 section 3.2.2: a name may be empty, or have an underscore in it."""
    with lab.client() as client:
        client.send(f"GET /healthz HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
        assert client.answer().status == 200


def test_before_hosts_had_names_none_was_said(lab: Running) -> None:
    """RFC 9112 section 3.2 asks it of HTTP/1.1."""
    with lab.client() as client:
        client.send(b"GET /healthz HTTP/1.0\r\n\r\n")
        assert client.answer().status == 200


@pytest.mark.parametrize("coding", ["gzip", "x-gzip", "deflate", "compress", "identity", "br", "chunked;level=9"])
@pytest.mark.parametrize("lines", ["{}, chunked", "{}\r\nTransfer-Encoding: chunked"])
def test_a_body_in_a_coding_that_nobody_undoes_is_not_taken(lab: Running, coding: str, lines: str) -> None:
    """RFC 9112 section 6.1: a transfer coding that is not understood is answered with 501; what chunks hold would be
    taken for the body itself. identity is a coding no more (RFC 9112 section 7, RFC 7230 appendix A.2)."""
    with lab.client() as client:
        client.send(request("POST", "/echo", f"Transfer-Encoding: {lines.format(coding)}") + chunked(b"piece"))
        client.send(request("GET", "/healthz"))
        answer = client.answer()
        assert (answer.status, answer.ends_connection, client.rest()) == (501, True, b"")
        assert_problem(answer, "/problems/coding-not-understood")


@pytest.mark.parametrize("what", UNREADABLE)
def test_what_no_application_sees_is_refused_with_a_problem_document(lab: Running, what: str) -> None:
    sent, status, type_ = UNREADABLE[what]
    with lab.client() as client:
        client.send(sent)
        answer = client.answer()
        assert (answer.status, answer.ends_connection, client.rest()) == (status, True, b"")
        assert_problem(answer, type_)
        assert b"<html" not in answer.body


def test_busy_threads_leave_the_watch_answered(lab: Running, lab_folder: Path, wait_for: Callable[..., None]) -> None:
    with ExitStack() as stack:
        busy = [stack.enter_context(lab.client()) for _ in range(3)]
        for client in busy:
            client.send(request("GET", "/wait"))
        wait_for(partial(_has_letters, lab_folder / "waits", 2), seconds=PATIENCE_S)
        assert lab.ask(request("GET", "/healthz")).body == b"ok"
        assert all(client.is_silent() for client in busy)
        (lab_folder / "gate").touch()
        assert [client.answer().body for client in busy] == [b"waited"] * 3


def test_an_answer_that_breaks_off_becomes_a_whole_500(lab: Running) -> None:
    with lab.client() as client:
        client.send(request("GET", "/broken"))
        answer = client.answer()
        assert (answer.status, answer.ends_connection, client.rest()) == (500, True, b"")
        assert b"first part" not in answer.body
        assert_problem(answer, "/problems/internal-error")


class Askers:
    """Clients that ask without a pause until told to stop; half of them on a new connection each time.

    ``lost``: requests of an accepted connection without a whole answer. A connection that is refused was never
    accepted; a kept one that was announced to end is made anew.
    """

    def __init__(self, port: int, count: int) -> None:
        self.answered, self.lost = 0, list[str]()
        self._port, self._stopped, self._lock = port, threading.Event(), threading.Lock()
        self._threads = [threading.Thread(target=self._ask_on, args=(number % 2 == 0,)) for number in range(count)]

    def __enter__(self) -> Askers:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stopped.set()
        for thread in self._threads:
            thread.join()

    def _ask_on(self, keeps: bool) -> None:
        while not self._stopped.is_set():
            try:
                client = Client(self._port)
            except OSError:
                self._stopped.wait(0.01)
                continue
            with client:
                while not self._stopped.is_set() and self._ask(client) and keeps:
                    pass

    def _ask(self, client: Client) -> bool:
        """Whether the connection stays."""
        try:
            client.send(request("POST", "/echo", body=b"honest"))
            answer = client.answer()
        except OSError as error:
            with self._lock:
                self.lost.append(repr(error))
            return False
        with self._lock:
            self.answered += 1
            if answer.body != b"honest":
                self.lost.append(repr(answer))
        return not answer.ends_connection


@pytest.mark.long
def test_a_stop_under_load_loses_no_accepted_request(tmp_path: Path, wait_for: Callable[..., None]) -> None:
    with serving_lab(tmp_path, ACCORD_WORKERS="2") as running, Askers(running.port, 4) as askers:
        wait_for(lambda: askers.answered > 100, seconds=PATIENCE_S)
        running.process.send_signal(signal.SIGTERM)
        assert running.process.wait(STOP_S) == 0
    assert askers.lost == []


SLOW_START = """
import os, pathlib, time

pathlib.Path(os.environ["LAB_GATE"]).with_name("loading").touch()
while not pathlib.Path(os.environ["LAB_GATE"]).exists():
    time.sleep(0.01)


def app(environ, start_response):
    start_response("200 OK", [("Content-Length", "2")])
    return [b"ok"]
"""


@pytest.mark.long
def test_nobody_is_let_in_before_a_worker_is_ready(tmp_path: Path, wait_for: Callable[..., None]) -> None:
    """Whoever were, would wait for the book to be loaded, though another service may be there to answer."""
    (tmp_path / "slow_start.py").write_text(SLOW_START, encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = int(probe.getsockname()[1])
    words = [sys.executable, "-m", "gunicorn", "-c", CONFIG, "--bind", f"127.0.0.1:{port}", "slow_start:app"]
    env = environment(tmp_path, LAB_GATE=str(tmp_path / "gate"), ACCORD_WORKERS="2")
    with subprocess.Popen(words, env=env, cwd=tmp_path, stderr=subprocess.DEVNULL) as starting:
        try:
            wait_for((tmp_path / "loading").exists, seconds=PATIENCE_S)
            assert _is_refused(port)
            (tmp_path / "gate").touch()
            wait_for(lambda: not _is_refused(port), seconds=PATIENCE_S)
            with Client(port) as client:
                client.send(request("GET", "/"))
                assert client.answer().body == b"ok"
        finally:
            starting.send_signal(signal.SIGTERM)
            assert starting.wait(STOP_S) == 0


def test_newcomers_are_turned_away_and_those_before_them_are_not() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener, socket.create_connection(listener.getsockname()) as early:
        early.sendall(b"early")
        turn_away(listener)
        with pytest.raises(TimeoutError):
            socket.create_connection(listener.getsockname(), timeout=0.2)
        accepted, _ = listener.accept()
        with accepted:
            assert accepted.recv(5) == b"early"
            listener.setblocking(False)
            with pytest.raises(BlockingIOError):
                listener.accept()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux is asked to turn newcomers away")
def test_a_stop_goes_on_where_the_kernel_turns_nobody_away(caplog: pytest.LogCaptureFixture) -> None:
    stops: list[bool] = []
    closed = socket.create_server(("127.0.0.1", 0))
    closed.close()  # refuses the filter, as sandboxes do
    master = SimpleNamespace(LISTENERS=[SimpleNamespace(sock=closed)], stop=stops.append)
    turn_away_when_stopping(master)
    master.stop(False)
    assert stops == [False]
    assert "newcomers are not turned away" in caplog.text


def test_a_stop_waits_for_what_is_being_answered_and_for_kept_connections(
    tmp_path: Path, wait_for: Callable[..., None]
) -> None:
    with serving_lab(tmp_path) as running, running.client() as busy, running.client() as idle:
        idle.send(request("GET", "/healthz"))
        assert idle.answer().status == 200
        busy.send(request("GET", "/wait"))
        wait_for((tmp_path / "waits").exists, seconds=PATIENCE_S)
        running.process.send_signal(signal.SIGTERM)
        wait_for(lambda: _is_refused(running.port), seconds=PATIENCE_S)
        idle.send(request("GET", "/healthz"))
        answer = idle.answer()
        assert (answer.body, answer.ends_connection, idle.rest()) == (b"ok", True, b"")
        (tmp_path / "gate").touch()
        assert busy.answer().body == b"waited"
        assert running.process.wait(STOP_S) == 0


def test_a_stop_takes_what_the_kernel_accepted_for_a_full_house(tmp_path: Path, wait_for: Callable[..., None]) -> None:
    """Those connections are made: unless the worker takes them, they are reset when it ends."""
    with serving_lab(tmp_path, "--worker-connections", "3") as running, ExitStack() as stack:
        busy = []
        for in_threads in (1, 2, 2):
            busy.append(stack.enter_context(running.client()))
            busy[-1].send(request("GET", "/wait"))
            wait_for(partial(_has_letters, tmp_path / "waits", in_threads), seconds=PATIENCE_S)
        outside = [stack.enter_context(running.client()) for _ in range(2)]
        for client in outside:
            client.send(request("GET", "/healthz"))
        running.process.send_signal(signal.SIGTERM)
        assert [client.answer().body for client in outside] == [b"ok"] * 2
        (tmp_path / "gate").touch()
        assert [client.answer().body for client in busy] == [b"waited"] * 3


def _has_letters(file: Path, count: int) -> bool:
    return file.exists() and len(file.read_text()) == count


def _is_refused(port: int) -> bool:
    try:
        Client(port).__exit__(None, None, None)
    except ConnectionRefusedError:
        return True
    return False


def test_replacing_workers_loses_no_request(tmp_path: Path, wait_for: Callable[..., None]) -> None:
    with (
        serving_lab(tmp_path, ACCORD_WORKERS="2", ACCORD_WORKER_REQUESTS="60") as running,
        Askers(running.port, 4) as askers,
    ):
        restarts = "Autorestarting worker after current request."
        wait_for(
            lambda: sum(line["message"] == restarts for line in running.lines()) >= 4 and askers.answered > 400,
            seconds=STOP_S,
        )
        running.process.send_signal(signal.SIGHUP)
        at = askers.answered
        wait_for(lambda: askers.answered > at + 200, seconds=STOP_S)
    assert askers.lost == []


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--certfile", "cert.pem", "--keyfile", "key.pem"], "certfile or keyfile (TLS)"),
        (["--proxy-protocol", "v1"], "proxy_protocol v1"),
        (["--protocol", "uwsgi"], "protocol uwsgi"),
    ],
)
def test_settings_that_cannot_be_served_are_refused_in_one_sentence(
    tmp_path: Path, arguments: list[str], named: str
) -> None:
    for name in ("cert.pem", "key.pem"):
        (tmp_path / name).touch()
    ended = subprocess.run(
        [sys.executable, "-m", "gunicorn", "-c", CONFIG, "--bind", "127.0.0.1:0", *arguments],
        env=environment(tmp_path),
        cwd=tmp_path,
        capture_output=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert ended.returncode != 0
    errors = [line for line in ended.stderr.decode().splitlines() if line.startswith("Error: ")]
    assert errors == [
        f"Error: the service cannot start: gunicorn's {named} can't be served here;"
        " put a proxy in front that speaks plain HTTP/1.1"
    ]
    assert b"Traceback" not in ended.stderr
    assert not (tmp_path / "data").exists()
