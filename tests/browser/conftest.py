"""The demo collective's service, really served, for the pages."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo"


@dataclass(frozen=True, slots=True)
class Served:
    """A running service's address, and a shop's key for it."""

    url: str
    key: str


@pytest.fixture(scope="session")
def served() -> Iterator[Served]:
    """A service that runs for the session, as ``make demo`` starts it."""
    spec = importlib.util.spec_from_file_location("demo_run", DEMO / "run.py")
    assert spec is not None
    assert spec.loader is not None
    run = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(run)
    with run.service() as (url, keys):
        yield Served(url, run.token("harbour-lane", keys))
