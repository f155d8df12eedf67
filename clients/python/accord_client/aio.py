"""The client's questions for programs with an event loop: asked in threads, so that the loop goes on meanwhile.

There is one core, ``Client``; what it asks, again or not, and what it raises, is the same here.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType
from typing import Any, Self, TypeVar

from accord_client.client import Client
from accord_client.documents import Envelope, Recommendation, Verdict
from accord_client.lines import AnsweredOrder

T = TypeVar("T")


class AsyncClient:
    """Asks one service on behalf of one shop, ``connections`` questions at a time; others wait for their turn.

    ``options`` are those of ``Client``. Who is cancelled waits no longer, and the question that is under way goes to
    its end unheard. ``ask`` puts whatever a ``Client`` can be asked, writes too.
    """

    def __init__(self, base_url: str, token: str, *, connections: int = 4, **options: Any) -> None:
        self._make: Callable[[], Client] = lambda: Client(base_url, token, **options)
        self._clients = [self._make() for _ in range(connections)]
        self._threads = ThreadPoolExecutor(connections, thread_name_prefix="accord-client")
        self._free: asyncio.LifoQueue[Client] = asyncio.LifoQueue()
        for client in self._clients:
            self._free.put_nowait(client)

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        """Close the connections, once what is under way came to its end."""
        await asyncio.to_thread(self._threads.shutdown)
        for client in self._clients:
            client.close()

    async def ask(self, question: Callable[[Client], T]) -> T:
        """What the question gives, put to a client of a thread's own: ``ask(lambda client: client.rule("..."))``.

        Raises what it raises.
        """
        client = await self._free.get()
        loop = asyncio.get_running_loop()

        def give_back(done: Future[T]) -> None:
            with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile, and nobody asks any more
                loop.call_soon_threadsafe(self._free.put_nowait, client)

        asked = self._threads.submit(question, client)
        # Of the thread, not of whoever waits: one who is cancelled leaves the client to the question under way.
        asked.add_done_callback(give_back)
        return await asyncio.wrap_future(asked)

    async def validate(self, order: Mapping[str, Any], **how: Any) -> Verdict:
        """As ``Client.validate``."""
        return await self.ask(lambda client: client.validate(order, **how))

    async def recommend(self, order: Mapping[str, Any], **how: Any) -> Recommendation:
        """As ``Client.recommend``."""
        return await self.ask(lambda client: client.recommend(order, **how))

    async def envelope(self, order: Mapping[str, Any]) -> Envelope:
        """As ``Client.envelope``."""
        return await self.ask(lambda client: client.envelope(order))

    async def validate_all(self, orders: Iterable[Mapping[str, Any]], **how: Any) -> AsyncIterator[AnsweredOrder]:
        """As ``Client.validate_all``, on a connection of its own; ``orders`` are taken in a thread."""
        client = self._make()
        answers = client.validate_all(orders, **how)
        thread = ThreadPoolExecutor(1, thread_name_prefix="accord-client-lines")
        try:
            while (answer := await asyncio.wrap_future(thread.submit(next, answers, None))) is not None:
                yield answer
        finally:
            thread.submit(client.close)  # behind an answer that nobody waits for any more
            thread.shutdown(wait=False)
