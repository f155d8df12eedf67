"""The description, asked for by many at once before it was made."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

from flask import Flask

READERS = 6


def test_its_first_readers_all_get_it(fresh: Any, serve: Callable[[Any], Flask]) -> None:
    """Two that were made at once mixed up the names of their schemas, and a page was 500."""
    app, together = serve(fresh), Barrier(READERS)

    def read(_: int) -> tuple[int, str]:
        together.wait()
        answer = app.test_client().get("/v1/openapi.json")
        return answer.status_code, answer.text

    with ThreadPoolExecutor(READERS) as pool:
        answers = set(pool.map(read, range(READERS)))
    assert [status for status, _ in answers] == [200]
