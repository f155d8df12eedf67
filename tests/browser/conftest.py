"""The demo collective's service, really served, for the pages."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from demo import run


@dataclass(frozen=True, slots=True)
class Served:
    """A running service's address, the keys of a shop's counter, owner and operator for it, and where all keys are."""

    url: str
    key: str
    owner: str
    operator: str
    keys: Path

    def key_of(self, name: str) -> str:
        """The key of a shop and role, such as mill-steps-steward."""
        return (self.keys / name).read_text(encoding="ascii").strip()


@pytest.fixture(scope="session")
def served() -> Iterator[Served]:
    """A service that runs for the session, as ``make demo`` starts it, with one worker and none on effects."""
    with serving(job_processes=0) as served_:
        yield served_


@contextmanager
def serving(*, job_processes: int) -> Iterator[Served]:
    """The demo collective's service with one worker, and so many processes that work on effects."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ACCORD_WORKERS", "1")
        patch.setenv("ACCORD_JOB_PROCESSES", str(job_processes))
        with run.service() as (url, keys):
            owner, operator = (
                (keys / f"harbour-lane-{role}").read_text(encoding="ascii").strip() for role in ("owner", "operator")
            )
            yield Served(url, run.token("harbour-lane", keys), owner, operator, keys)
