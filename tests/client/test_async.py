"""The client in an event loop: the same answers and exceptions, beside each other, and nothing lost by cancelling."""

from __future__ import annotations

import asyncio
import inspect
import threading
from collections.abc import Awaitable, Callable, Iterator
from typing import Any

import pytest

from accord_client import AsyncClient, Client, InvalidOrder, NotAuthorised

CALL_S = 30.0  # of a test that hangs; nothing here takes long


def run(work: Callable[[AsyncClient], Awaitable[Any]], url: str, token: str, **options: Any) -> Any:
    async def whole() -> Any:
        async with AsyncClient(url, token, **options) as accord:
            return await asyncio.wait_for(work(accord), CALL_S)

    return asyncio.run(whole())


def test_it_answers_and_raises_as_the_client_does(
    service: str, token: str, accord: Client, possible: dict[str, Any], hopeless: dict[str, Any]
) -> None:
    async def asked(client: AsyncClient) -> Any:
        with pytest.raises(InvalidOrder):
            await client.validate({"item": 1})
        verdicts = await asyncio.gather(client.validate(possible), client.validate(hopeless, include=("observed",)))
        lines = [line async for line in client.validate_all([possible, {"item": 1}, hopeless], first_line=7)]
        plans, envelope = await client.recommend(possible, plans=1), await client.envelope(possible)
        return verdicts, lines, plans, envelope, await client.ask(lambda asker: asker.shop_status())

    verdicts, lines, plans, envelope, status = run(asked, service, token)
    assert verdicts == [accord.validate(possible), accord.validate(hopeless, include=("observed",))]
    expected = list(accord.validate_all([possible, {"item": 1}, hopeless], first_line=7))
    assert [(line.line, line.verdict, type(line.problem)) for line in lines] == [
        (line.line, line.verdict, type(line.problem)) for line in expected
    ]
    assert (plans, envelope) == (accord.recommend(possible, plans=1), accord.envelope(possible))
    assert status == accord.shop_status()

    async def unknown(client: AsyncClient) -> None:
        async for _ in client.validate_all([possible]):
            pass

    with pytest.raises(NotAuthorised):
        run(unknown, service, "accord_unknown")


def test_questions_go_beside_each_other_and_no_client_is_of_two_threads() -> None:
    together = threading.Barrier(3)
    users: dict[int, set[int]] = {}

    def question(client: Client) -> None:
        users.setdefault(id(client), set()).add(threading.get_ident())
        together.wait(CALL_S)  # ends only if three are under way at once

    async def asked(client: AsyncClient) -> None:
        await asyncio.gather(*(client.ask(question) for _ in range(6)))

    run(asked, "https://accord.example", "token", connections=3)
    assert len(users) == 3


def test_who_is_cancelled_leaves_the_client_to_the_question_under_way() -> None:
    going, may_end = threading.Event(), threading.Event()
    under_way = [0, 0]

    def slow(client: Client) -> None:
        under_way[0] += 1
        under_way[1] = max(under_way)
        going.set()
        may_end.wait(CALL_S)
        under_way[0] -= 1

    async def asked(client: AsyncClient) -> str:
        first = asyncio.create_task(client.ask(slow))
        await asyncio.to_thread(going.wait, CALL_S)
        first.cancel()
        with pytest.raises(asyncio.CancelledError):
            await first
        second = asyncio.create_task(client.ask(lambda asker: "answered"))
        await asyncio.sleep(0)
        assert not second.done()
        may_end.set()
        return await second

    assert run(asked, "https://accord.example", "token", connections=1) == "answered"
    assert under_way == [0, 1]


def test_orders_that_break_off_are_answered_so_far_and_the_error_is_the_callers_own(
    service: str, token: str, possible: dict[str, Any]
) -> None:
    error = OSError("the disk is gone")

    def torn() -> Iterator[dict[str, Any]]:
        yield possible
        yield {**possible, "reference": "x" * 10_000_000}
        raise error

    async def asked(client: AsyncClient) -> list[Any]:
        got: list[Any] = []

        async def gather() -> None:
            async for answer in client.validate_all(torn()):
                got.append(answer)

        with pytest.raises(OSError, match="the disk is gone") as raised:
            await gather()
        assert raised.value is error
        rest = [line async for line in client.validate_all([possible], first_line=3, revision=got[0].revision)]
        return got + rest

    answers = run(asked, service, token)
    assert [answer.line for answer in answers] == [1, 2, 3]
    assert [answer.problem and answer.problem.status for answer in answers] == [None, 413, None]
    assert f"first_line=3, revision={answers[0].revision})" in error.__notes__[0]


def test_its_calls_have_the_clients_names() -> None:
    own = {name for name, of in inspect.getmembers(AsyncClient, inspect.isfunction) if not name.startswith("_")}
    assert own - {"ask"} <= {name for name, _ in inspect.getmembers(Client)}
