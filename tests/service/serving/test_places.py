"""However a request ends that had a place among those that take long, the place is given back, by the real server.

A request is ended in one way, as often as its key has places; each time the next one has to find a place again. What a
client may do with its connection is RFC 9112 section 9.
"""

from __future__ import annotations

import json
import socket
import struct
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from tests.service.servers import PATIENCE_S, Answer, Client, Running, chunked, request, serving

from accord_rules.revision.book import Book
from accord_service.worker.admission import LINES_MOST_A_KEY

BATCH, RECOMMEND, PROPOSALS = "/v1/validate/batch", "/v1/recommend", "/v1/proposals"
PLACES = LINES_MOST_A_KEY  # of the other lanes as well, by the setting below
SLOW_S = 1
NDJSON, TABLE, JSON = (f"Content-Type: {media}" for media in ("application/x-ndjson", "text/csv", "application/json"))
CHUNKED = "Transfer-Encoding: chunked"
# The service, and what fails around it as a header says: before the answer, in its middle, or by ending the thread.
FAILING = """
from accord_service.app import create_app


def app():
    service = create_app()

    def failing(environ, start_response):
        answer = service(environ, start_response)  # goes on elsewhere by an exception: what follows is in the lane
        how = environ.get("HTTP_FAILS")
        if how == "midway":
            return broken(answer)
        if how is not None:
            answer.close()
            raise SystemExit(1) if how == "exit" else MemoryError("no room for the answer")
        return answer

    return failing


def broken(answer):
    try:
        for part in answer:
            yield part
            raise RuntimeError("nothing behind the first part")
    finally:
        answer.close()
"""


@dataclass(frozen=True)
class Asker:
    """Who asks: the server, a key's header, and an order that is read."""

    server: Running
    key: str
    order: bytes

    def ask(self, path: str, body: bytes, *headers: str) -> Answer:
        return self.server.ask(request("POST", path, self.key, *(headers or (JSON,)), body=body))

    def begin(self, *headers: str) -> Client:
        client = self.server.client()
        client.send(request("POST", BATCH, self.key, NDJSON, CHUNKED, *headers))
        return client

    def told(self, path: str, body: bytes, *headers: str) -> bytes:
        """All that is answered, until the connection ends."""
        with self.server.client() as client:
            client.send(request("POST", path, self.key, "Connection: close", *headers, body=body))
            return client.rest()


def reset(client: Client) -> None:
    """Go at once, without reading what is there (a RST segment: SO_LINGER of zero seconds)."""
    client.sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    client.__exit__(None, None, None)


def lines_answered(asker: Asker) -> None:
    assert b'"complete":true' in asker.told(BATCH, asker.order + b"\n", NDJSON)


def lines_with_a_problem(asker: Asker) -> None:
    assert b'"failed":1,"complete":true' in asker.told(BATCH, b"{}\n", NDJSON)


def lines_refused(asker: Asker) -> None:
    """What is refused was read in the lane: the header of a table."""
    assert asker.told(BATCH, b"Blanks,Balnk\n1,2\n", TABLE).startswith(b"HTTP/1.1 400 ")


def lines_ill_framed(asker: Asker) -> None:
    with asker.begin() as client:
        client.send(b"zz\r\n")
        assert client.rest().startswith(b"HTTP/1.1 400 ")


def gone_in_the_upload(asker: Asker) -> None:
    client = asker.begin()
    client.send(chunked(asker.order + b"\n")[:-20])
    reset(client)


def gone_between_lines(asker: Asker) -> None:
    client = asker.begin()
    client.send(chunked(asker.order + b"\n"))
    assert client.answer().status == 200
    reset(client)


def gone_in_the_answer(asker: Asker) -> None:
    """While lines are answered that nobody takes."""
    client = Client(asker.server.port, receive_buffer=4096)
    client.send(request("POST", BATCH, asker.key, NDJSON, CHUNKED) + chunked((asker.order + b"\n") * 200))
    assert client.sock.recv(16)
    reset(client)


def too_slow(asker: Asker) -> None:
    """A client that sends nothing for longer than it may."""
    with asker.begin() as client:
        client.send(chunked(asker.order + b"\n"))
        assert b'"end"' not in client.rest()


def lines_failed_before(asker: Asker) -> None:
    assert asker.told(BATCH, asker.order + b"\n", NDJSON, "Fails: before").startswith(b"HTTP/1.1 500 ")


def lines_failed_midway(asker: Asker) -> None:
    answer = asker.told(BATCH, (asker.order + b"\n") * 2, NDJSON, "Fails: midway")
    assert b'"line":1,' in answer
    assert b'"end"' not in answer


def lines_ended_the_thread(asker: Asker) -> None:
    assert asker.told(BATCH, asker.order + b"\n", NDJSON, "Fails: exit").startswith(b"HTTP/1.1 500 ")


def question_answered(asker: Asker) -> None:
    assert asker.ask(RECOMMEND, asker.order).status == 200


def question_out_of_budget(asker: Asker) -> None:
    """Twelve prints of which nothing is said: more than is tried for one answer."""
    dozen = json.dumps({"item": {"blank": "tee-heavy-white"}, "decorations": [{"placement": "front"}] * 12}).encode()
    answer = asker.ask(RECOMMEND, dozen)
    assert (answer.status, answer.document["complete"]) == (200, False)


def question_gone(asker: Asker) -> None:
    with asker.server.client() as client:
        client.send(request("POST", RECOMMEND, asker.key, JSON, body=asker.order))
        reset(client)


def question_failed(asker: Asker) -> None:
    assert asker.ask(RECOMMEND, asker.order, JSON, "Fails: before").status == 500


def question_ended_the_thread(asker: Asker) -> None:
    assert asker.ask(RECOMMEND, asker.order, JSON, "Fails: exit").status == 500


DRAFT = json.dumps(
    {
        "base": {"revision": 1, "digest": "0" * 64},
        "changes": [
            {
                "kind": "sources",
                "id": "remembered",
                "value": {"title": "New", "kind": "from-memory", "text": "Remembered.", "speaks_of": ["press"]},
            }
        ],
        "reason": "Missing.",
        "evidence": "None.",
    }
).encode()


def write_refused(asker: Asker) -> None:
    """That a draft is on no revision there is, is found out in the lane of those that load a book."""
    assert asker.ask(PROPOSALS, DRAFT).document["type"] == "/problems/base-moved"


def write_failed(asker: Asker) -> None:
    assert asker.ask(PROPOSALS, DRAFT, JSON, "Fails: before").status == 500


@pytest.fixture(scope="module")
def collective(open_collective: Any, book: Book) -> Any:
    """A shop with so many presses, and everything in stock, that a large order is more than is tried."""
    presses = "".join(
        f'[[presses]]\nid = "press-{type_}"\ntype = "{type_}"\n' for type_ in list(book.catalogue["press_types"])[:4]
    )
    stocked = f"[stock]\nproducts = {list(book.catalogue['products'])}\nconsumables = []\n"
    shop = f'id = "all-in"\nname = "All In"\nmarket = "eu"\nunit_system = "metric"\nstanding = []\n{presses}{stocked}'
    return open_collective([shop], [("all-in", "owner")])


@pytest.fixture(scope="module")
def asker(collective: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Asker]:
    folder = tmp_path_factory.mktemp("service")
    (folder / "failing.py").write_text(FAILING, encoding="utf-8")
    settings = {
        "ACCORD_DATA": str(collective.data),
        "ACCORD_STORE_URL": collective.server.url,
        "ACCORD_WORKERS": "1",
        "ACCORD_LINES_SECONDS": str(SLOW_S),
        "ACCORD_HEAVY_MOST_A_KEY": str(PLACES),
    }
    key = f"Authorization: {collective.headers('all-in', 'owner')['Authorization']}"
    order = {
        "item": {"blank": "tote-polyester-white"},
        "decorations": [
            {"transfer": "dye-sublimation", "placement": "front", "size": {"width": "8 in", "height": "8 in"}}
        ],
    }
    with serving(folder, "failing:app()", **settings) as running:
        yield Asker(running, key, json.dumps(order).encode())


def until_admitted(asker: Asker, again: Callable[[Asker], None]) -> None:
    """The next one gets a place: at once, or as soon as the one before it is really at its end."""
    end_s = time.monotonic() + PATIENCE_S
    while True:
        try:
            again(asker)
        except AssertionError:
            if time.monotonic() > end_s:
                raise
            time.sleep(0.05)
        else:
            return


ENDS = {
    lines_answered: (
        lines_answered,
        lines_with_a_problem,
        lines_refused,
        lines_ill_framed,
        gone_in_the_upload,
        gone_between_lines,
        gone_in_the_answer,
        too_slow,
        lines_failed_before,
        lines_failed_midway,
        lines_ended_the_thread,
    ),
    question_answered: (
        question_answered,
        question_out_of_budget,
        question_gone,
        question_failed,
        question_ended_the_thread,
    ),
    write_refused: (write_refused, write_failed),
}


@pytest.mark.parametrize(
    ("end", "again"), [(end, again) for again, ends in ENDS.items() for end in ends], ids=lambda step: step.__name__
)
def test_a_place_is_given_back_however_it_ends(
    asker: Asker, end: Callable[[Asker], None], again: Callable[[Asker], None]
) -> None:
    for _ in range(PLACES):
        end(asker)
        until_admitted(asker, again)


def test_places_are_given_back_while_the_store_is_away(asker: Asker, collective: Any) -> None:
    """The last of this file: the store stays away. What is held is answered, a write is refused for the store alone."""
    collective.server.stop()
    for _ in range(PLACES + 1):
        until_admitted(asker, lines_answered)
        until_admitted(asker, question_answered)
        refused = asker.ask(PROPOSALS, DRAFT)
        assert (refused.status, refused.document["type"]) == (503, "/problems/store-unavailable")
