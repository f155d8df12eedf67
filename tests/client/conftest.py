"""A real service on a free port of this machine, and a web server that misbehaves as told."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from tests.served import serving

from accord_client import Client

SHOP = """
id = "harbour-lane"
name = "Harbour Lane Prints"
market = "eu"
unit_system = "metric"
standing = ["extraction", "heat-gloves", "trained-operators"]
[[presses]]
id = "bench"
type = "swing-away"
platen = { width = "400 mm", height = "500 mm" }
[stock]
products = ["sub-paper-fast-dry"]
consumables = ["ptfe-sheet", "silicone-paper", "plain-paper", "heat-tape"]
"""


@pytest.fixture(scope="session")
def collective(open_collective: Any) -> Any:
    """The shop in a store of its own."""
    own = [("harbour-lane", role) for role in ("counter", "operator", "owner", "steward")]
    return open_collective([SHOP], [*own, ("collective", "admin")])


@pytest.fixture(scope="session")
def service(collective: Any) -> Iterator[str]:
    """The address of a running service."""
    with serving(collective.config) as url:
        yield url


@pytest.fixture
def token(collective: Any) -> str:
    return str(collective.tokens["harbour-lane", "counter"])


@pytest.fixture
def accord(service: str, token: str) -> Iterator[Client]:
    with Client(service, token) as client:
        yield client


@pytest.fixture
def possible() -> dict[str, Any]:
    """Sublimation on a polyester cushion: the trade's plainest job."""
    return {
        "reference": "HL-7",
        "item": {"blank": "cushion-polyester-white"},
        "decorations": [
            {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "200 mm", "height": "200 mm"}}
        ],
        "press": "bench",
    }


@pytest.fixture
def hopeless(possible: dict[str, Any]) -> dict[str, Any]:
    """The same on plain cotton, which sublimation dye does not take to."""
    return possible | {"item": {"blank": "tee-heavy-white"}}


Step = Callable[[BaseHTTPRequestHandler], None]


@dataclass(frozen=True)
class Seen:
    """One request as it arrived."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Faulty:
    """A web server that answers each request with the next of its steps, and with the last one from then on."""

    url: str = ""
    steps: list[Step] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    closing: threading.Event = field(default_factory=threading.Event)

    def will(self, *steps: Step) -> None:
        self.steps = list(steps)

    def take(self, handler: BaseHTTPRequestHandler) -> None:
        body = handler.rfile.read(int(handler.headers.get("Content-Length", 0)))
        self.seen.append(Seen(handler.command, handler.path, dict(handler.headers.items()), body))
        (self.steps.pop(0) if len(self.steps) > 1 else self.steps[0])(handler)

    @staticmethod
    def answer(status: int, document: Any, media: str = "application/json", **headers: str) -> Step:
        """Answer with a document as JSON, or with bytes as they are; ``Retry_After`` becomes Retry-After."""
        body = document if isinstance(document, bytes) else json.dumps(document).encode()

        def step(handler: BaseHTTPRequestHandler) -> None:
            handler.send_response(status)
            handler.send_header("Content-Type", media)
            handler.send_header("Content-Length", str(len(body)))
            for name, value in headers.items():
                handler.send_header(name.replace("_", "-"), value)
            handler.end_headers()
            handler.wfile.write(body)

        return step

    @staticmethod
    def hang_up(handler: BaseHTTPRequestHandler) -> None:
        """Close without a word."""
        handler.close_connection = True

    @staticmethod
    def half_an_answer(handler: BaseHTTPRequestHandler) -> None:
        """Promise a hundred bytes, send ten and close."""
        Faulty.begin_an_answer(handler)
        handler.close_connection = True

    @staticmethod
    def begin_an_answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Content-Length", "100")
        handler.end_headers()
        handler.wfile.write(b'{"id": "vd')

    def stay_silent(self, handler: BaseHTTPRequestHandler) -> None:
        """Never answer."""
        self.closing.wait(10)
        handler.close_connection = True

    def stop_halfway(self, handler: BaseHTTPRequestHandler) -> None:
        """Begin an answer and never go on."""
        self.begin_an_answer(handler)
        self.stay_silent(handler)

    @staticmethod
    def no_http(handler: BaseHTTPRequestHandler) -> None:
        """Speak something that is not HTTP."""
        handler.wfile.write(b"220 ready\r\n")
        handler.close_connection = True


@pytest.fixture
def faulty() -> Iterator[Faulty]:
    behaviour = Faulty()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            behaviour.take(self)

        do_POST = do_GET

        def log_message(self, format: str, *args: Any) -> None:
            """Say nothing: the tests look at what was seen."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    behaviour.url = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield behaviour
    behaviour.closing.set()
    server.shutdown()
    thread.join()
    server.server_close()
