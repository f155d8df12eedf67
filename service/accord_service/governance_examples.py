"""Requests and answers about changes, records and outcomes, as the documentation shows them.

They are written down here, unlike those about orders: asking for them on the spot would write.
"""

from __future__ import annotations

from typing import Any

from accord_service.times import instant

_THEN_S = 1_764_000_000.0
_BASE = {"revision": 12, "digest": "sha256:" + "0b" * 32}
_CHANGES = [
    {
        "kind": "limits",
        "id": "dye.polyester_share_least",
        "value": {
            "title": "Least polyester for sublimation dye on cloth",
            "dimension": "percent",
            "value": 70,
            "step": 1,
            "stricter": "higher",
            "safety": False,
            "sources": ["common-practice"],
        },
    }
]
EDITED: dict[str, Any] = {
    "changes": _CHANGES,
    "reason": "Prints on blends under 70 % polyester came back pale after a few washes.",
    "evidence": "Eleven reports from two shops since spring.",
}
PROPOSED: dict[str, Any] = {"base": _BASE, **EDITED}
_DIGESTS = {
    "change_digest": "sha256:" + "1c" * 32,
    "base_digest": _BASE["digest"],
    "replay_digest": "sha256:" + "2d" * 32,
}
_APPROVAL = {"who": "steward-two", "role": "steward", **_DIGESTS}

PROPOSAL: dict[str, Any] = {
    "id": "p1",
    "base": _BASE,
    "changes": _CHANGES,
    "reason": EDITED["reason"],
    "evidence": EDITED["evidence"],
    "author": "steward-one",
    "state": "draft",
    "approvals": [],
    "shown": None,
    "ended_because": None,
    "digests": {**_DIGESTS, "replay_digest": None},
    "approvals_needed": 1,
    "approvals_valid": 0,
    "version": 1,
    "created_at": instant(_THEN_S),
    "changed_at": instant(_THEN_S),
}
OPENED: dict[str, Any] = {
    **PROPOSAL,
    "state": "open",
    "shown": {"replay_digest": _DIGESTS["replay_digest"], "loosens_safety": []},
    "digests": _DIGESTS,
    "version": 2,
}
APPROVED: dict[str, Any] = {
    **OPENED,
    "state": "approved",
    "approvals": [_APPROVAL],
    "approvals_valid": 1,
    "version": 3,
}
REJECTED: dict[str, Any] = {
    **OPENED,
    "state": "rejected",
    "ended_because": "The pale prints were pressed ten kelvin too cold; see the reports.",
    "version": 3,
}
PUBLISHED: dict[str, Any] = {
    "revision": 13,
    "digest": "sha256:" + "3e" * 32,
    "proposal": {**APPROVED, "state": "published", "version": 4},
}
EFFECT: dict[str, Any] = {
    "proposal": "p1",
    "replay_digest": _DIGESTS["replay_digest"],
    "old": _BASE["digest"],
    "new": PUBLISHED["digest"],
    "code": "sha256:" + "4f" * 32,
    "changes": [{"kind": "limits", "id": "dye.polyester_share_least"}],
    "decision": {
        "kind": "stricter",
        "decided": "exactly",
        "holds_for": "every order",
        "because": [
            "dye.polyester_share_least goes from 65 % to 70 %, which its entry calls stricter; by the rules that"
            " compare with it no verdict can become looser."
        ],
    },
    "loosens_safety": [],
    "counts": [
        {
            "source": "recorded",
            "shop": "harbour-lane",
            "rule": "dye-on-too-little-polyester",
            "direction": "stricter",
            "orders": 1,
            "verdicts": 1,
        }
    ],
    "flips": [
        {
            "source": "recorded",
            "shop": "harbour-lane",
            "order": "vd_" + "5a" * 20,
            "rule": "dye-on-too-little-polyester",
            "direction": "stricter",
            "before": "conditional",
            "after": "rejected",
        }
    ],
    "witnesses": [
        {
            "source": "recorded",
            "shop": "harbour-lane",
            "order": "vd_" + "5a" * 20,
            "rule": "dye-on-too-little-polyester",
            "direction": "stricter",
            "before": "conditional",
            "after": "rejected",
            "asked": {
                "item": {"substrate": "knit", "fibres": {"PES": 66, "CO": 34}},
                "decorations": [{"transfer": "dye-sublimation"}],
            },
        }
    ],
    "watched": {},
    "replayed": {"recorded": 140, "recorded_left_out": 0, "edges": 745, "edges_left_out": 0},
    "others_left_out": False,
}
AUDIT: dict[str, Any] = {
    "head": {"seq": 812, "hash": "6b" * 32},
    "entries": [
        {
            "seq": 1,
            "at": _THEN_S,
            "who": "first start",
            "what": "revision.first",
            "about": "1",
            "written": {"{accord}:revision:1": "7c" * 32, "{accord}:head": "8d" * 32},
            "previous": "0" * 64,
            "hash": "9e" * 32,
        }
    ],
    "next": "/v1/audit?after=1&limit=1",
}

_VERDICT_ID = "vd_" + "5a" * 20
_ORDER: dict[str, Any] = {
    "item": {"blank": "cushion-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
    "press": "bench",
}
_VERDICT: dict[str, Any] = {
    "id": _VERDICT_ID,
    "verdict": "accepted",
    "revision": _BASE["revision"],
    "digest": _BASE["digest"],
    "house_digest": "sha256:" + "af" * 32,
    "basis": "live",
    "findings": [],
    "conditions": [],
    "needs": [],
    "assumed": [],
    "press": {"judged_on": "bench", "can": ["bench"], "cannot": {}},
    "settings": [{"temperature": "200 °C", "read_at": "display", "time": "50 s", "pressure": "medium"}],
    "sequence": [0],
    "remedies": [],
    "remedies_complete": True,
    "reference": "HL-1043",
}
RECORD: dict[str, Any] = {
    "id": _VERDICT_ID,
    "recorded_at": instant(_THEN_S),
    "expires_at": instant(_THEN_S + 730 * 86_400),
    "code": EFFECT["code"],
    "reference": "HL-1043",
    "order": _ORDER,
    "verdict": _VERDICT,
}
MASKED_RECORD: dict[str, Any] = {**RECORD, "reference": "masked", "verdict": {**_VERDICT, "reference": "masked"}}
REPLAY: dict[str, Any] = {
    "id": _VERDICT_ID,
    "recorded_revision": _BASE["revision"],
    "revision": PUBLISHED["revision"],
    "then": "accepted",
    "now": "accepted",
    "same": True,
    "made_a_difference": {"code": False, "book": False, "house": False},
    "why": "",
    "appeared": [],
    "gone": [],
    "changed": [],
    "verdict": {**_VERDICT, "revision": PUBLISHED["revision"], "digest": PUBLISHED["digest"], "reference": None},
}
OUTCOME_ASKED: dict[str, Any] = {"result": "failed", "failure": "peeled", "washes": 6}
OUTCOME: dict[str, Any] = {
    "id": "0f1e2d3c4b5a6978",
    "verdict": _VERDICT_ID,
    "decoration": 0,
    "result": "failed",
    "failure": "peeled",
    "washes": 6,
    "note": None,
    "transfer": "dye-sublimation",
    "substrate": "woven",
    "press_type": "swing-away",
    "at": instant(_THEN_S),
}
