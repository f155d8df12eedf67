"""The client against a web server that misbehaves: what is tried again, what is not, and what is never believed."""

from __future__ import annotations

import ast
import socket
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest

import accord_client
from accord_client import (
    AccordError,
    BadAnswer,
    Client,
    ConnectionFailed,
    EffectNotDone,
    InvalidOrder,
    ProblemError,
    ServiceFault,
    TimedOut,
    TooManyRequests,
    UnsafeAddress,
)
from accord_client.retry import LONGEST_WAIT_S

ORDER = {"item": {"blank": "tee-heavy-white"}, "decorations": [{}]}
VERDICT: dict[str, Any] = {
    "id": "vd_1",
    "verdict": "accepted",
    "revision": 1,
    "digest": "sha256:0",
    "house_digest": "sha256:1",
    "basis": "live",
    "findings": [],
    "conditions": [],
    "samples": [],
    "needs": [],
    "assumed": [],
    "judged_on": "bench",
    "presses": [
        {
            "press": "bench",
            "press_title": "clamshell press “bench”",
            "verdict": "accepted",
            "settings": [{}],
            "titles": {},
            "pressings": [["main"]],
            "sequence": [0],
            "blocked_by": [],
        }
    ],
    "remedies": [],
    "remedies_complete": True,
    "reference": None,
}
PROBLEM = "application/problem+json"


class Waits(list[float]):
    """Keeps how long was waited, without waiting."""

    def __call__(self, seconds: float) -> None:
        self.append(seconds)


@pytest.fixture
def waits() -> Waits:
    return Waits()


def client(faulty: Any, waits: Waits, silence_s: float = 20.0, **more: Any) -> Client:
    """One that waits for an answer for as long as a busy machine may take, unless told how long."""
    return Client(faulty.url, "token", timeout=(20.0, silence_s), sleep=waits, **more)


def test_busy_then_answered_waits_as_asked(faulty: Any, waits: Waits) -> None:
    faulty.will(faulty.answer(503, {"title": "busy"}, PROBLEM, Retry_After="7"), faulty.answer(200, VERDICT))
    with client(faulty, waits) as accord:
        assert accord.validate(ORDER).workable
    assert waits == [7.0]
    assert [request.body for request in faulty.seen] == [faulty.seen[0].body] * 2


def test_a_write_that_is_still_under_way_is_asked_for_again(faulty: Any, waits: Waits) -> None:
    """409 with Retry-After: the first try, whose connection was lost, goes on; with the same key it is done once."""
    faulty.will(
        faulty.answer(409, {"title": "under way"}, PROBLEM, Retry_After="1"), faulty.answer(202, {"proposal_id": "p1"})
    )
    with client(faulty, waits) as accord:
        assert accord.governance.open("p1") == {"proposal_id": "p1"}
    assert waits == [1.0]
    first, second = (request.headers["Idempotency-Key"] for request in faulty.seen)
    assert first == second


def test_retry_after_may_be_a_date(faulty: Any, waits: Waits) -> None:
    then = format_datetime(datetime.now(UTC) + timedelta(seconds=12), usegmt=True)
    faulty.will(faulty.answer(429, {}, PROBLEM, Retry_After=then), faulty.answer(200, VERDICT))
    with client(faulty, waits) as accord:
        accord.validate(ORDER)
    assert len(waits) == 1
    assert 9 < waits[0] <= 12


@pytest.mark.parametrize("header", ["soon", "-1", "١٢"])
def test_a_retry_after_that_says_nothing_is_as_none(faulty: Any, waits: Waits, header: str) -> None:
    encoded = header.encode().decode("latin-1")
    faulty.will(faulty.answer(503, {}, PROBLEM, Retry_After=encoded), faulty.answer(200, VERDICT))
    with client(faulty, waits) as accord:
        accord.validate(ORDER)
    assert len(waits) == 1
    assert waits[0] < 1


def test_waits_are_jittered(faulty: Any, waits: Waits) -> None:
    """Many shops whose service comes back must not all ask in the same instant: each wait is half to whole of its
    own, drawn anew. That forty draws lie within a quarter of that has a chance below 1 in 10 ** 20."""
    faulty.will(faulty.answer(503, {"status": 503}, PROBLEM))
    with client(faulty, waits, retries=1) as accord:
        for _ in range(40):
            with pytest.raises(ProblemError):
                accord.kinds()
    assert len(waits) == 40
    assert min(waits) >= 0.125
    assert max(waits) <= 0.25
    assert len(set(waits)) > 1
    assert max(waits) - min(waits) > 0.03125


def test_a_wait_beyond_the_bound_is_the_callers_to_take(faulty: Any, waits: Waits) -> None:
    faulty.will(faulty.answer(429, {"title": "too often"}, PROBLEM, Retry_After=str(int(LONGEST_WAIT_S) + 1)))
    with client(faulty, waits) as accord, pytest.raises(TooManyRequests) as refused:
        accord.validate(ORDER)
    assert refused.value.retry_after_s == LONGEST_WAIT_S + 1
    assert waits == []
    assert len(faulty.seen) == 1


@pytest.mark.parametrize("status", [429, 502, 503, 504])
def test_tries_are_bounded_and_grow_apart(faulty: Any, waits: Waits, status: int) -> None:
    faulty.will(faulty.answer(status, b"<html>gateway</html>", "text/html"))
    with client(faulty, waits, retries=3) as accord, pytest.raises(ProblemError) as refused:
        accord.validate(ORDER)
    assert refused.value.status == status
    assert len(faulty.seen) == 4
    assert len(waits) == 3
    assert waits[0] < waits[2]


@pytest.mark.parametrize(
    ("status", "kind"), [(400, InvalidOrder), (413, InvalidOrder), (500, ServiceFault), (409, ProblemError)]
)
def test_other_refusals_are_not_tried_again(faulty: Any, waits: Waits, status: int, kind: type[ProblemError]) -> None:
    faulty.will(faulty.answer(status, {"title": "no", "detail": "because"}, PROBLEM))
    with client(faulty, waits) as accord, pytest.raises(kind, match=f"{status}: because"):
        accord.validate(ORDER)
    assert len(faulty.seen) == 1


@pytest.mark.parametrize("fault", ["hang_up", "half_an_answer"])
def test_lost_connections_are_tried_again(faulty: Any, waits: Waits, fault: str) -> None:
    faulty.will(getattr(faulty, fault), faulty.answer(200, VERDICT))
    with client(faulty, waits) as accord:
        assert accord.validate(ORDER).workable
    assert len(faulty.seen) == 2
    assert len(waits) == 1


@pytest.mark.parametrize("fault", ["hang_up", "half_an_answer", "no_http"])
def test_connections_lost_for_good_are_told(faulty: Any, waits: Waits, fault: str) -> None:
    faulty.will(getattr(faulty, fault))
    with client(faulty, waits) as accord, pytest.raises(ConnectionFailed, match=faulty.url):
        accord.validate(ORDER)
    assert len(faulty.seen) == 3


@pytest.mark.parametrize("fault", ["stay_silent", "stop_halfway"])
def test_a_silent_service_is_not_asked_again(faulty: Any, waits: Waits, fault: str) -> None:
    faulty.will(getattr(faulty, fault))
    with client(faulty, waits, silence_s=0.3) as accord, pytest.raises(TimedOut, match=r"within 0\.3 s"):
        accord.validate(ORDER)
    assert len(faulty.seen) == 1
    assert waits == []


def effect(state: str, **more: Any) -> dict[str, Any]:
    return {"proposal_id": "p1", "state": state, "orders": 885, "ended_because": None} | more


def test_an_effect_is_waited_for_with_its_progress(faulty: Any, waits: Waits) -> None:
    steps = [effect("working", replayed=done) for done in (0, 400)] + [effect("done", replayed=885)]
    faulty.will(*(faulty.answer(200, step) for step in steps))
    seen: list[Any] = []
    with client(faulty, waits) as accord:
        assert accord.governance.wait_for_effect("p1", progress=seen.append) == steps[-1]
    assert seen == steps
    assert waits == pytest.approx([0.2, 0.3]), "it is asked more and more rarely"


@pytest.mark.parametrize("state", ["failed", "cancelled", "void", "a state of a later service"])
def test_an_effect_that_ends_otherwise_is_told_with_its_reason(faulty: Any, waits: Waits, state: str) -> None:
    faulty.will(faulty.answer(200, effect(state, ended_because="The book moved on.")))
    with client(faulty, waits) as accord, pytest.raises(EffectNotDone, match="The book moved on") as told:
        accord.governance.wait_for_effect("p1")
    assert told.value.effect["state"] == state


def test_patience_with_an_effect_ends(faulty: Any, waits: Waits) -> None:
    faulty.will(*(faulty.answer(200, effect("working")) for _ in range(4)))
    with client(faulty, waits) as accord, pytest.raises(TimedOut, match="within 1 s"):
        accord.governance.wait_for_effect("p1", patience_s=1.0)
    assert sum(waits) >= 1.0


def test_nobody_there(waits: Waits) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound but not listening: nobody else can be there
        accord = Client(f"http://127.0.0.1:{taken.getsockname()[1]}", "token", sleep=waits)
        with accord, pytest.raises(ConnectionFailed, match="refused"):
            accord.validate(ORDER)
    assert len(waits) == 2


@pytest.mark.parametrize(
    ("body", "media"),
    [
        (b"<html>hello</html>", "text/html"),
        (b"{", "application/json"),
        (b'{"id": NaN}', "application/json"),
        (b"\xff\xfe", "application/json"),
        (b"[]", "application/json"),
        (b"[" * 100_000, "application/json"),
        (b"{}", "application/json"),
        (VERDICT | {"verdict": 7}, "application/json"),
        (VERDICT | {"findings": [{"rule": "x"}]}, "application/json"),
        (VERDICT | {"conditions": [1]}, "application/json"),
        (VERDICT | {"revision": True}, "application/json"),
        (VERDICT, "text/plain"),
    ],
)
def test_garbage_is_never_a_verdict(faulty: Any, waits: Waits, body: Any, media: str) -> None:
    faulty.will(faulty.answer(200, body, media))
    with client(faulty, waits) as accord, pytest.raises(BadAnswer):
        accord.validate(ORDER)
    assert len(faulty.seen) == 1


@pytest.mark.parametrize(
    ("part", "problem"),
    [
        ({"revision": "7"}, "the verdict has no revision as promised"),
        ({"remedies_complete": None}, "the verdict has no remedies_complete as promised"),
        ({"needs": {}}, "the verdict has no needs as promised"),
        ({"needs": ["what?"]}, "a need is not an object"),
        ({"remedies": [{"changes": [], "verdict": "accepted", "text": "", "cost": "7"}]}, "a remedy has no cost"),
        (
            {"presses": [{**VERDICT["presses"][0], "sequence": [True]}]},
            "a press's verdict has no sequence as promised",
        ),
    ],
)
def test_what_is_not_as_promised_is_named(faulty: Any, waits: Waits, part: dict[str, Any], problem: str) -> None:
    faulty.will(faulty.answer(200, VERDICT | part))
    with client(faulty, waits) as accord, pytest.raises(BadAnswer, match=f"^{problem}"):
        accord.validate(ORDER)


def test_fields_added_later_are_kept(faulty: Any, waits: Waits) -> None:
    faulty.will(faulty.answer(200, VERDICT | {"weather": "fine"}))
    with client(faulty, waits) as accord:
        assert accord.validate(ORDER).document["weather"] == "fine"


def test_a_service_that_is_not_ready_says_so(faulty: Any, waits: Waits) -> None:
    faulty.will(faulty.answer(503, {"status": "not ready", "checks": {}}))
    with client(faulty, waits) as accord:
        assert accord.health().ready is False
    assert waits == []


def test_a_gateway_is_not_the_services_health(faulty: Any, waits: Waits) -> None:
    faulty.will(faulty.answer(503, b"down", "text/html"))
    with client(faulty, waits) as accord, pytest.raises(ServiceFault):
        accord.health()


@pytest.mark.parametrize(
    "following", ["https://elsewhere.example/v1/rules", "//elsewhere.example/v1/rules", 7, "/v1/rules"]
)
def test_the_next_page_is_on_the_same_service_and_another_one(faulty: Any, waits: Waits, following: Any) -> None:
    faulty.will(faulty.answer(200, {"entries": [], "next": following}))
    with client(faulty, waits) as accord, pytest.raises(BadAnswer, match="next page"):
        list(accord.rules())
    assert len(faulty.seen) == 1


def test_a_read_follows_to_another_page_of_the_service_only(faulty: Any, waits: Waits) -> None:
    entry = {"id": "new", "entry": {}}
    faulty.will(faulty.answer(301, {}, Location="/v1/limits/new"), faulty.answer(200, entry))
    with client(faulty, waits) as accord:
        assert accord.limit("old").id == "new"
    assert [request.path for request in faulty.seen] == ["/v1/limits/old", "/v1/limits/new"]


@pytest.mark.parametrize("place", ["https://elsewhere.example/", "http://127.0.0.1:9/", "//elsewhere.example/", ""])
def test_the_token_is_never_sent_on(faulty: Any, waits: Waits, place: str) -> None:
    faulty.will(faulty.answer(307, {}, Location=place))
    with client(faulty, waits) as accord:
        with pytest.raises(BadAnswer, match="points on"):
            accord.limit("old")
        with pytest.raises(BadAnswer, match="points on"):
            accord.validate(ORDER)


def test_what_is_sent(faulty: Any, waits: Waits, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # An entry for the host in ~/.netrc would replace the header if the session did not carry the token as its auth.
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 127.0.0.1 login someone password else\n", encoding="ascii")
    netrc.chmod(0o600)
    monkeypatch.setenv("NETRC", str(netrc))
    faulty.will(faulty.answer(200, VERDICT))
    with Client(faulty.url + "/behind/a/gateway/", "the-token", sleep=waits) as accord:
        accord.validate(ORDER | {"reference": "Grün"})
    (seen,) = faulty.seen
    assert (seen.method, seen.path) == ("POST", "/behind/a/gateway/v1/validate")
    assert seen.headers["Authorization"] == "Bearer the-token"
    assert seen.headers["Content-Type"] == "application/json"
    assert seen.headers["User-Agent"].startswith("platen-accord-client/")
    assert "Grün".encode() in seen.body


@pytest.mark.parametrize("host", ["accord.example", "192.0.2.7", "127.0.0.1.accord.example", "[2001:db8::1]"])
def test_the_token_does_not_go_abroad_in_the_clear(host: str) -> None:
    with pytest.raises(UnsafeAddress, match="another machine"):
        Client(f"http://{host}", "token")
    Client(f"http://{host}", "token", allow_insecure=True).close()
    Client(f"https://{host}", "token").close()


@pytest.mark.parametrize("host", ["localhost:8080", "127.0.0.1", "127.8.9.1:1", "[::1]:8080"])
def test_this_machine_may_be_asked_in_the_clear(host: str) -> None:
    Client(f"http://{host}/", "token").close()


@pytest.mark.parametrize(
    "url", ["", "accord.example", "ftp://accord.example", "https://", "https://a:b@c", "https://a?b"]
)
def test_addresses_that_are_none(url: str) -> None:
    with pytest.raises(ValueError, match="address"):
        Client(url, "token")


@pytest.mark.parametrize("token", ["", "two words", "line\nbreak", "naïve"])
def test_tokens_that_no_header_can_carry(token: str) -> None:
    with pytest.raises(ValueError, match="token must be") as refused:
        Client("https://accord.example", token)
    assert token == "" or token not in str(refused.value)


def test_the_token_is_not_shown() -> None:
    with Client("https://accord.example", "very-secret") as accord:
        assert "very-secret" not in repr(accord)


def test_one_tree_of_exceptions_as_drawn() -> None:
    named = [getattr(accord_client, name) for name in accord_client.__all__]
    raised = [member for member in named if isinstance(member, type) and issubclass(member, Exception)]
    assert AccordError in raised
    assert all(issubclass(error, AccordError) for error in raised)
    drawn = accord_client.exceptions.__doc__ or ""
    assert all(error.__name__ in drawn for error in raised)


def test_no_server_code_is_imported() -> None:
    files = list(Path(accord_client.__file__).parent.glob("*.py"))
    assert files
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            named = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            named += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not {module.partition(".")[0] for module in named} & {"accord_rules", "accord_service", "flask"}


# -- a later service ---------------------------------------------------------------------------------------------------

FINDING = {"rule": "r", "level": "notes", "pointer": "", "presses": None, "title": "t", "because": "b", "fix": "",
           "limit": {}, "sources": [], "layer": "shared"}  # fmt: skip


@pytest.mark.parametrize("word", ["accepted-by-night", "ACCEPTED", ""])
def test_an_unknown_verdict_is_not_workable(faulty: Any, waits: Waits, word: str) -> None:
    faulty.will(faulty.answer(200, VERDICT | {"verdict": word}))
    with client(faulty, waits) as accord:
        verdict = accord.validate(ORDER)
    assert (verdict.verdict, verdict.workable) == (word, False)


def test_an_unknown_level_blocks(faulty: Any, waits: Waits) -> None:
    levels = ["blocks", "forbids", "requires", "cautions", "notes"]
    findings = [FINDING | {"level": level} for level in levels]
    faulty.will(faulty.answer(200, VERDICT | {"findings": findings}))
    with client(faulty, waits) as accord:
        verdict = accord.validate(ORDER)
    assert [finding.level for finding in verdict.at("blocks")] == ["blocks", "forbids"]
    assert [finding.blocks for finding in verdict.findings] == [True, True, False, False, False]
    assert [finding.level for finding in verdict.at("notes")] == ["notes"]


@pytest.mark.parametrize(
    "ask",
    [
        lambda accord: accord.validate(ORDER),
        lambda accord: accord.index(),
        lambda accord: accord.shop(),
        lambda accord: accord.governance.record(ORDER),
    ],
    ids=["validate", "index", "shop", "record"],
)
def test_what_will_go_is_warned_of_where_it_is_asked(faulty: Any, waits: Waits, ask: Callable[[Client], Any]) -> None:
    """RFC 9745: the header Deprecation. A warning at any line but the caller's is one that Python hides by default."""
    faulty.will(faulty.answer(200, VERDICT, Deprecation="@1798761600", Sunset="Fri, 31 Dec 2027 23:59:59 GMT"))
    with (
        client(faulty, waits) as accord,
        pytest.warns(DeprecationWarning, match="will go: Fri, 31 Dec 2027") as warnings_,
    ):
        ask(accord)
    assert [warning.filename for warning in warnings_] == [__file__]
