from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response

from accord_rules.documents.counted import counted
from accord_rules.infer.ledger import DISAGREEMENT, DOUBTS, ENGINE_ERROR, Network
from accord_service.api.endpoint import dump
from accord_service.api.room import room
from accord_service.run.times import instant
from accord_service.steps.audit_watch import Unfaithful
from accord_service.steps.effect_queue import EffectQueue


def get_readyz() -> Response:
    """The book is loaded, the authority's own test is green, the store answers; 503 when no order can be judged.

    "degraded" is not down: answers go on from what is held in memory, the store answers and takes no writes (it is
    full, or a replica, or its audit may not be written on), the judge had to settle what the engine failed at or got
    wrong, the store is not what the audit says, or nobody works on effects that wait. The third stays so until the
    worker starts anew, since no time and no right answer to another question shows that what made the engine wrong is
    over. A store that was set back stays so until that is undone or adopted.
    """
    state = room().state()
    book: dict[str, Any] = {"ok": state.head is not None}
    if state.head is not None:
        book |= {"revision": state.head.number, "digest": state.head.digest}
    document = {
        "status": state.status,
        "checks": {
            "book": book,
            "self_test": {"ok": state.head is not None and not state.failed, "detail": state.failed},
            "store": {"ok": not state.store, "detail": state.store},
            "writes": {"ok": not state.writes, "detail": _of_writes(state.writes)},
            "engine": _engine(state.engine_since_s, room().ledger.counts),
            "audit": _audit(state.audit),
            "effects": _effects(state.effects),
        },
    }
    status = 503 if state.status == "not ready" else 200
    headers = {"Cache-Control": "no-store"}
    return Response(dump(document), status=status, mimetype="application/json", headers=headers)


def _of_writes(why: str) -> str:
    """What does not work while nothing can be written, in a sentence."""
    return f"{why}: orders are judged; records, reports, changes, keys and rates are not kept." if why else ""


def _engine(since_s: float | None, counts: Mapping[Network, Mapping[str, int]]) -> dict[str, Any]:
    """Whether durable-rules decides, with this worker's doubts by network; shops and house rules are not named."""
    if since_s is None:
        return {"ok": True, "since": None, "detail": ""}
    doubted = "; ".join(
        f"{network.layer} {network.name}: {counted(count[DISAGREEMENT], 'disagreement')},"
        f" {counted(count[ENGINE_ERROR], 'engine failure')}"
        for network, count in sorted(counts.items())
        if any(count[kind] for kind in DOUBTS)
    )
    detail = f"{doubted}. The judge settled each; the log has the question. This stays until the worker starts anew."
    return {"ok": False, "since": instant(since_s), "detail": detail}


def _effects(queue: EffectQueue) -> dict[str, Any]:
    """Whether somebody works on the effects that wait; which proposals those are is nobody's business here."""
    still = queue.stands_still
    return {"ok": not still, "waiting": queue.waiting, "processes": queue.processes, "detail": still and f"{still}."}


def _audit(unfaithful: Unfaithful | None) -> dict[str, Any]:
    """Whether keys, shops, house rules and the head are what the audit says, as of the last look."""
    if unfaithful is None:
        return {"ok": True, "since": None, "detail": ""}
    return {"ok": False, "since": instant(unfaithful.since_s), "detail": unfaithful.detail}
