"""Noting when keys were used: behind the answers, and never in silence where it fails."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from accord_service.steps.key_uses import TRY_AGAIN_S, KeyUses
from accord_service.store import USED_EVERY_S, Store, StoreAway

BEGINNING_S = 1_750_000_000.0


class Keys:
    """What the store is asked to note; ``fault`` is what it answers with."""

    def __init__(self, fault: Exception | None = None) -> None:
        self.fault = fault
        self.noted: list[tuple[str, float]] = []

    def used(self, id_: str, at: float) -> None:
        self.noted.append((id_, at))
        if self.fault is not None:
            raise self.fault


def uses_of(keys: Keys) -> KeyUses:
    return KeyUses(cast(Store, SimpleNamespace(keys=keys)))


def test_a_key_is_noted_once_in_its_time() -> None:
    keys = Keys()
    uses = uses_of(keys)
    for after_s in (0.0, 1.0, USED_EVERY_S - 1.0, USED_EVERY_S):
        uses.note("key_a", BEGINNING_S + after_s)
    uses.note("key_b", BEGINNING_S)
    uses.close()
    assert keys.noted == [("key_a", BEGINNING_S), ("key_a", BEGINNING_S + USED_EVERY_S), ("key_b", BEGINNING_S)]


@pytest.mark.parametrize(
    ("fault", "words"),
    [(StoreAway("no answer"), "the use of a key could not be noted"), (RuntimeError("odd"), "RuntimeError: odd")],
)
def test_what_keeps_a_use_from_being_noted_is_logged(fault: Any, words: str, caplog: pytest.LogCaptureFixture) -> None:
    uses = uses_of(Keys(fault))
    uses.note("key_a", BEGINNING_S)
    uses.close()
    assert words in caplog.text


def test_a_use_that_the_store_did_not_take_is_noted_soon_after() -> None:
    keys = Keys(StoreAway("no answer"))
    uses = uses_of(keys)
    uses.note("key_a", BEGINNING_S)
    uses._writer.submit(int).result()
    uses.note("key_a", BEGINNING_S + TRY_AGAIN_S - 1.0)
    uses.note("key_a", BEGINNING_S + TRY_AGAIN_S)
    uses.close()
    assert [at for _, at in keys.noted] == [BEGINNING_S, BEGINNING_S + TRY_AGAIN_S]
