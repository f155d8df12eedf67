"""The demo collective's service, really served, for the pages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from demo import run


@dataclass(frozen=True, slots=True)
class Served:
    """A running service's address, and the keys of a shop's counter, owner and operator for it."""

    url: str
    key: str
    owner: str
    operator: str


@pytest.fixture(scope="session")
def served() -> Iterator[Served]:
    """A service that runs for the session, as ``make demo`` starts it, with one worker and none on effects."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ACCORD_WORKERS", "1")
        patch.setenv("ACCORD_JOB_PROCESSES", "0")
        with run.service() as (url, keys):
            owner, operator = (
                (keys / f"harbour-lane-{role}").read_text(encoding="ascii").strip() for role in ("owner", "operator")
            )
            yield Served(url, run.token("harbour-lane", keys), owner, operator)
