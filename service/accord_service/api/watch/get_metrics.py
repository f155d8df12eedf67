from __future__ import annotations

from flask import Response

from accord_service.api.room import room
from accord_service.run.metrics import AUDIT, EFFECTS, MEDIA_TYPE, WRITES


def get_metrics() -> Response:
    """Counters in the Prometheus text format, summed over the workers."""
    room().metrics.mirror_ledger(room().ledger)
    room().metrics.tell_degraded(WRITES, degraded=bool(room().writes_refused()))
    room().metrics.tell_degraded(AUDIT, degraded=room().audit_watch.unfaithful is not None)
    effects = room().effect_queue.current()
    room().metrics.tell_effects(waiting=effects.waiting, processes=effects.processes)
    room().metrics.tell_degraded(EFFECTS, degraded=bool(effects.stands_still))
    return Response(room().metrics.written(), content_type=MEDIA_TYPE, headers={"Cache-Control": "no-store"})
