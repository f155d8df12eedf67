"""Many orders through the client: the answers of a real service, and one that breaks off wherever it likes."""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Iterator, Mapping
from typing import Any

import pytest

from accord_client import (
    BadAnswer,
    Client,
    ConnectionFailed,
    InvalidOrder,
    NotAuthorised,
    NotJson,
    OtherToken,
    ServiceFault,
    TimedOut,
)
from accord_client.lines import SLICE_BYTES, AnsweredOrder, answered
from accord_client.offline import StandIn
from accord_client.retry import Retry
from accord_rules.documents.reading import DocumentError, Fault


def test_each_order_gets_the_answer_that_it_gets_alone(
    accord: Client, possible: dict[str, Any], hopeless: dict[str, Any]
) -> None:
    orders = [possible, {**possible, "surprise": 1}, hopeless, {**possible, "press": "in the cellar"}]
    answers = list(accord.validate_all(orders))
    assert [answer.line for answer in answers] == [1, 2, 3, 4]
    assert [answer.order for answer in answers] == orders
    for answer in (answers[0], answers[2]):
        assert answer.verdict is not None
        assert answer.verdict.document == accord.validate(answer.order).document
        assert answer.problem is None
    for answer in (answers[1], answers[3]):
        assert answer.verdict is None
        with pytest.raises(InvalidOrder) as alone:
            accord.validate(answer.order)
        assert isinstance(answer.problem, InvalidOrder)
        assert answer.problem.errors == alone.value.errors


@pytest.mark.long
def test_more_orders_than_a_slice_holds_are_taken_as_they_are_needed(accord: Client, possible: dict[str, Any]) -> None:
    taken = []

    def endless() -> Iterator[dict[str, Any]]:
        number = 0
        while True:
            number += 1
            taken.append(number)
            yield {**possible, "reference": f"{number}-{'x' * 70}"}

    answers = accord.validate_all(endless())
    of_slice = SLICE_BYTES // len(json.dumps({**possible, "reference": "1" * 73}))
    for expected in range(1, 2 * of_slice):
        answer = next(answers)
        assert answer.line == expected
        assert answer.verdict is not None
        assert answer.verdict.reference == f"{expected}-{'x' * 70}"
        assert len(taken) < expected + 2 * of_slice
    answers.close()


def test_no_orders_ask_nothing() -> None:
    assert list(Client("http://127.0.0.1:1", "t").validate_all([])) == []


def test_a_key_that_is_not_known_is_told_once(service: str, possible: dict[str, Any]) -> None:
    with Client(service, "accord_unknown") as stranger, pytest.raises(NotAuthorised):
        list(stranger.validate_all([possible, possible]))


def gather(into: list[AnsweredOrder], answers: Iterator[AnsweredOrder]) -> None:
    for answer in answers:
        into.append(answer)


class Played:
    """A service that answers with what is given: for each request its lines, and an exception to end them with."""

    def __init__(self, verdict: Mapping[str, Any], *answers: tuple[int, Any]) -> None:
        self._verdict, self._answers = verdict, list(answers)
        self.asked: list[tuple[int, int, int | None]] = []
        self.under_way = 0

    def __call__(self, body: bytes, first_line: int, revision: int | None) -> Generator[Mapping[str, Any], None, None]:
        self.asked.append((first_line, body.count(b"\n"), revision))
        self.under_way += 1
        try:
            yield from self._lines(body.count(b"\n"), first_line)
        finally:
            self.under_way -= 1

    def _lines(self, sent: int, first_line: int) -> Iterator[Mapping[str, Any]]:
        given, end = self._answers.pop(0)
        for number in range(first_line, first_line + given):
            yield {"line": number, "status": 200, "reference": None, "answer": self._verdict}
        if isinstance(end, Exception):
            raise end
        if end is not None:
            yield {"end": True, "revision": end, "next_line": first_line + given if given < sent else None}


@pytest.fixture(scope="module")
def verdict(service: str, collective: Any) -> Mapping[str, Any]:
    order = {"item": {"blank": "tee-heavy-white"}, "decorations": [{"transfer": "cut-film"}]}
    with Client(service, str(collective.tokens["harbour-lane", "counter"])) as accord:
        return accord.validate(order).document


def play(played: Played, orders: int, retries: int = 2) -> list[AnsweredOrder]:
    retry = Retry(retries, lambda seconds: None)
    return list(answered([{"n": n} for n in range(orders)], played, lambda o: json.dumps(o).encode(), retry, 1, None))


def test_a_turn_or_a_connection_that_ended_is_gone_on_with(verdict: Mapping[str, Any]) -> None:
    played = Played(verdict, (2, 7), (1, ConnectionFailed("gone")), (0, ConnectionFailed("still")), (1, None), (2, 7))
    answers = play(played, 6)
    assert [answer.line for answer in answers] == [1, 2, 3, 4, 5, 6]
    assert [answer.order["n"] for answer in answers] == list(range(6))
    revision = verdict["revision"]
    assert played.asked == [(1, 6, None), (3, 4, 7), (4, 3, revision), (4, 3, revision), (5, 2, revision)]


def test_a_connection_that_fails_for_good_loses_no_answer(verdict: Mapping[str, Any]) -> None:
    gone = ConnectionFailed("gone")
    played = Played(verdict, (2, gone), (0, gone), (0, gone), (0, gone))
    got: list[AnsweredOrder] = []
    orders = [{"n": n} for n in range(4)]
    answers = answered(orders, played, lambda o: json.dumps(o).encode(), Retry(2, lambda s: None), 1, None)
    with pytest.raises(ConnectionFailed):
        gather(got, answers)
    assert [answer.line for answer in got] == [1, 2]


class Held:
    """Who answers while the service is away, from a book of one revision, for one token; the order 3 can't be read."""

    def __init__(self, verdict: Mapping[str, Any], revision: int | None) -> None:
        self._verdict, self._revision = verdict, revision

    @property
    def revision(self) -> int:
        if self._revision is None:
            raise LookupError("no bundle was pulled")
        return self._revision

    def answers_for(self, token: str) -> bool:
        return token == TOKEN

    def validate(self, order: Mapping[str, Any], *, observed: bool = False) -> Mapping[str, Any]:
        if order["n"] == 3:
            raise DocumentError((Fault("/n", "must not be 3", code="out-of-range"),))
        return {**self._verdict, "basis": "bundle"}

    def recommend(self, order: Mapping[str, Any], **how: Any) -> Mapping[str, Any]:
        return {"plans": []}

    def envelope(self, order: Mapping[str, Any]) -> Mapping[str, Any]:
        return {"on": []}


TOKEN = "accord_of_whom_it_is"
AWAY = (ConnectionFailed("gone"), TimedOut("silent"), ServiceFault(503, {"title": "away"}))


@pytest.mark.parametrize("end", AWAY)
def test_what_a_service_left_is_answered_while_it_is_away(verdict: Mapping[str, Any], end: Exception) -> None:
    played = Played(verdict, (2, end), (0, end), (0, end), (0, end))
    orders = [{"n": n} for n in range(6)]
    held = StandIn(Held(verdict, verdict["revision"]), TOKEN)
    answers = list(answered(orders, played, lambda o: json.dumps(o).encode(), Retry(2, lambda s: None), 1, None, held))
    assert [(answer.line, answer.order["n"]) for answer in answers] == [(n + 1, n) for n in range(6)]
    said = [answer.verdict.document["basis"] if answer.verdict else answer.problem for answer in answers]
    assert said[:3] + said[4:] == [verdict["basis"]] * 2 + ["bundle"] * 3
    assert isinstance(said[3], InvalidOrder)
    assert said[3].errors[0].pointer == "/n"


@pytest.mark.parametrize(
    ("end", "revision", "sentence"),
    [
        (ConnectionFailed("gone"), 9, "the bundle here is of revision 9"),  # answers of two revisions do not add up
        (ConnectionFailed("gone"), None, "gone"),
        (ServiceFault(500, {"title": "a fault of its own"}), 1, "a fault of its own"),
    ],
)
def test_nobody_goes_on_where_that_would_be_another_answer(
    verdict: Mapping[str, Any], end: Exception, revision: int | None, sentence: str
) -> None:
    played = Played(verdict, (2, end), (0, end), (0, end), (0, end))
    got: list[AnsweredOrder] = []
    orders = [{"n": n} for n in range(4)]
    held = StandIn(Held(verdict, revision), TOKEN)
    answers = answered(orders, played, lambda o: json.dumps(o).encode(), Retry(2, lambda s: None), 1, None, held)
    with pytest.raises(type(end), match=sentence):
        gather(got, answers)
    assert [answer.line for answer in got] == [1, 2]


@pytest.mark.parametrize(
    "ask",
    [
        lambda client: client.validate({"n": 1}),
        lambda client: client.recommend({"n": 1}),
        lambda client: client.envelope({"n": 1}),
        lambda client: list(client.validate_all([{"n": 1}])),
    ],
)
def test_a_bundle_of_another_token_answers_nothing(
    verdict: Mapping[str, Any], ask: Callable[[Client], object], caplog: pytest.LogCaptureFixture
) -> None:
    held = Held(verdict, verdict["revision"])
    nowhere = "http://127.0.0.1:1"
    with Client(nowhere, "accord_of_another", retries=0, offline=held) as client, pytest.raises(OtherToken) as refused:
        ask(client)
    assert "was pulled with another key" in str(refused.value)
    assert "pull it with this one" in str(refused.value)
    assert "answered from a bundle" not in caplog.text
    with Client(nowhere, TOKEN, retries=0, offline=held) as client:
        assert client.validate({"n": 1}).basis == "bundle"


@pytest.mark.parametrize(
    "line",
    [
        {"line": 2, "status": 200, "answer": {}},
        {"status": 200, "answer": {}},
        {"line": 1, "answer": {}},
        {"line": 1, "status": 200, "answer": None},
    ],
)
def test_answers_to_other_lines_are_taken_for_none(line: dict[str, Any]) -> None:
    def send(body: bytes, first_line: int, revision: int | None) -> Generator[Mapping[str, Any], None, None]:
        yield line

    with pytest.raises(BadAnswer):
        list(answered([{}], send, lambda order: b"{}", Retry(0, lambda seconds: None), 1, None))


# -- orders that can't be taken, or are too much -----------------------------------------------------------------------


class Torn(Exception):
    """What a caller's own reader of orders ends with."""


def torn(orders: list[dict[str, Any]], end: Any) -> Iterator[dict[str, Any]]:
    yield from orders
    if isinstance(end, Exception):
        raise end
    yield end


@pytest.mark.parametrize("make_end", [lambda: Torn("the disk is gone"), lambda: {"n": float("nan")}])
@pytest.mark.parametrize("before", [0, 1, 3])
def test_orders_that_break_off_are_answered_so_far_and_the_place_is_told(
    verdict: Mapping[str, Any], make_end: Callable[[], Any], before: int
) -> None:
    """Whoever reads orders from a file wants to mend it and go on; so the error is theirs, and behind the answers."""
    played, end = Played(verdict, (before, 7)), make_end()
    orders = torn([{"n": n} for n in range(before)], end)
    got: list[AnsweredOrder] = []

    def encode(order: Mapping[str, Any]) -> bytes:
        if order["n"] != order["n"]:
            raise NotJson("NaN")
        return b"{}"

    with pytest.raises((Torn, NotJson)) as raised:
        gather(got, answered(orders, played, encode, Retry(2, lambda seconds: None), 5, None))
    assert raised.value is end or isinstance(raised.value, NotJson)
    assert [answer.line for answer in got] == list(range(5, 5 + before))
    assert [sent for _, sent, _ in played.asked] == [before] * bool(before)
    (note,) = raised.value.__notes__
    revision = f", revision={verdict['revision']}" if before else ""
    assert f"first_line={5 + before}{revision})" in note
    assert note.startswith({0: "No order was", 1: "Line 5 was", 3: "Lines 5 to 7 were"}[before])
    assert played.under_way == 0, "its connection is given back"


def test_whoever_mends_the_orders_goes_on_from_there(accord: Client, possible: dict[str, Any]) -> None:
    got: list[AnsweredOrder] = []
    error = Torn("row 3")
    with pytest.raises(Torn) as raised:
        gather(got, accord.validate_all(torn([possible, possible], error)))
    assert raised.value is error
    last = got[-1]
    rest = list(accord.validate_all([possible], first_line=last.line + 1, revision=last.revision))
    assert [(answer.line, answer.verdict) for answer in rest] == [(3, got[0].verdict)]


@pytest.mark.parametrize("taken", [0, 1])
def test_whoever_takes_no_more_answers_gives_the_connection_back(verdict: Mapping[str, Any], taken: int) -> None:
    played = Played(verdict, (2, 7))
    answers = answered([{"n": 0}, {"n": 1}], played, lambda order: b"{}", Retry(0, lambda seconds: None), 1, None)
    for _ in range(taken):
        next(answers)
    assert played.under_way == taken
    assert isinstance(answers, Generator)
    answers.close()
    assert played.under_way == 0


def test_a_connection_that_fails_for_good_says_where_to_go_on(verdict: Mapping[str, Any]) -> None:
    gone = ConnectionFailed("gone")
    with pytest.raises(ConnectionFailed) as raised:
        play(Played(verdict, (2, gone), (0, gone)), 4, retries=0)
    assert f"first_line=3, revision={verdict['revision']})" in raised.value.__notes__[0]


def test_an_order_of_ten_megabytes_is_refused_in_its_place(accord: Client, possible: dict[str, Any]) -> None:
    """413 is RFC 9110 section 15.5.14; that the others are answered is the promise of ``validate_all``."""
    vast = {**possible, "reference": "x" * 10_000_000}
    before, refused, behind = accord.validate_all([possible, vast, possible])
    assert isinstance(refused.problem, InvalidOrder)
    assert (refused.line, refused.problem.status) == (2, 413)
    assert "over 262144 bytes" in str(refused.problem)
    assert before.verdict is not None
    assert behind.verdict == before.verdict
