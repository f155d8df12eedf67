"""What every room's tests share: the shipped book, loaded once, and an authority over it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from accord_rules.authority import Authority
from accord_rules.settings import Settings, load_book


@pytest.fixture(scope="session")
def book() -> Settings:
    return load_book()


@pytest.fixture(scope="session")
def authority(book: Settings) -> Iterator[Authority]:
    made = Authority(book)
    yield made
    made.close()
