"""The audit's chain: whatever is altered, removed or slipped in is found, at the right place."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest

from accord_service.store import Store

AUDIT, HEAD = "{accord}:audit", "{accord}:audit-head"


@pytest.fixture
def chain(store: Store) -> Store:
    """Six entries."""
    for number in range(6):
        store.shops.create(f"s{number}", {"n": number}, who="somebody")
    return store


def _entry(raw: Any, seq: int) -> dict[str, Any]:
    return dict(json.loads(raw.lindex(AUDIT, seq - 1)))


def _canonical(document: object) -> bytes:
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _resealed(entry: dict[str, Any]) -> bytes:
    """With a right hash of its own, as a careful forger would make."""
    unsealed = {key: value for key, value in entry.items() if key != "hash"}
    return _canonical({**unsealed, "hash": hashlib.sha256(_canonical(unsealed)).hexdigest()})


def test_an_entry_says_who_what_and_what_was_written(chain: Store, clock: Any) -> None:
    entry = chain.audit.entries(after=2, limit=1)[0]
    assert (entry.seq, entry.actor_id, entry.event, entry.subject_id) == (3, "somebody", "shop.created", "s2")
    canonical = _canonical({"changed_at": clock(), "document": {"n": 2}})
    assert entry.written["shop:s2"] == hashlib.sha256(canonical).hexdigest()
    assert entry.hash == chain.audit.entries(after=3, limit=1)[0].previous


def test_an_untouched_chain_holds(chain: Store) -> None:
    assert chain.audit.head().seq == 6
    assert chain.audit.verify() is None


def test_an_empty_chain_holds(store: Store) -> None:
    assert store.audit.verify() is None


def test_a_chain_of_several_pages(chain: Store, monkeypatch: pytest.MonkeyPatch, raw: Any) -> None:
    monkeypatch.setattr("accord_service.store.audit.PAGE", 2)
    assert chain.audit.verify() is None
    raw.lset(AUDIT, 4, _canonical({**_entry(raw, 5), "actor_id": "else"}))
    assert chain.audit.verify() == 5


def _alter(raw: Any) -> None:
    raw.lset(AUDIT, 3, _canonical({**_entry(raw, 4), "actor_id": "somebody else"}))


def _alter_and_reseal(raw: Any) -> None:
    raw.lset(AUDIT, 3, _resealed({**_entry(raw, 4), "actor_id": "somebody else"}))


def _alter_last_and_reseal(raw: Any) -> None:
    raw.lset(AUDIT, 5, _resealed({**_entry(raw, 6), "actor_id": "somebody else"}))


def _remove(raw: Any) -> None:
    raw.lrem(AUDIT, 1, raw.lindex(AUDIT, 3))


def _cut_short(raw: Any) -> None:
    raw.ltrim(AUDIT, 0, 3)


def _slip_in(raw: Any) -> None:
    raw.linsert(AUDIT, "BEFORE", raw.lindex(AUDIT, 3), _resealed({**_entry(raw, 4), "actor_id": "x"}))


def _add_behind(raw: Any) -> None:
    last = _entry(raw, 6)
    raw.rpush(AUDIT, _resealed({**last, "seq": 7, "previous": last["hash"]}))


def _swap(raw: Any) -> None:
    third, fourth = raw.lindex(AUDIT, 2), raw.lindex(AUDIT, 3)
    raw.lset(AUDIT, 2, fourth)
    raw.lset(AUDIT, 3, third)


def _garble(raw: Any) -> None:
    raw.lset(AUDIT, 3, b"\xff{")


def _other_json(raw: Any) -> None:
    raw.lset(AUDIT, 3, b"[1]")


@pytest.mark.parametrize(
    ("tamper", "broken"),
    [
        (_alter, 4),
        (_alter_and_reseal, 5),  # the entry is right in itself; the one behind it no longer follows it
        (_alter_last_and_reseal, 6),
        (_remove, 4),
        (_cut_short, 5),
        (_slip_in, 5),
        (_add_behind, 7),
        (_swap, 3),
        (_garble, 4),
        (_other_json, 4),
    ],
)
def test_tampering_is_found_where_it_was_done(
    chain: Store, raw: Any, tamper: Callable[[Any], None], broken: int
) -> None:
    tamper(raw)
    assert chain.audit.verify() == broken


def test_a_head_set_back_is_found(chain: Store, raw: Any) -> None:
    raw.set(HEAD, f"4 {_entry(raw, 4)['hash']}")
    assert chain.audit.verify() == 5
