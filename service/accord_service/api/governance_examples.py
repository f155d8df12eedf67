"""Requests and answers about changes, records and outcomes, as the documentation shows them.

They are written down here, unlike those about orders: asking for them on the spot would write. What a proposal rests on
comes from the book of now, so that the requests do what they say when they are sent as they stand.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from accord_rules.governance.changes import EntryChange, change_digest
from accord_rules.governance.limits import direction_of
from accord_rules.revision.book import Book
from accord_service.run.times import instant

_THEN_S = 1_764_000_000.0
_LIMIT = "dye.polyester_share_full"
_REASON = "Prints on blends a little below the limit came back pale after a few washes."
_EVIDENCE = "Eleven reports from two shops since spring."
_DIGESTS_SEEN = {"replay_digest": "sha256:" + "2d" * 32}
_CODE = "sha256:" + "4f" * 32


def _base(book: Book) -> dict[str, Any]:
    return {"revision": book.revision, "digest": book.digest}


def _changes(book: Book, by: int) -> list[dict[str, Any]]:
    """A limit of the book moved; where the book has that no more, a note to another."""
    limits = book.documents["limits"]
    name = _LIMIT if _LIMIT in limits else min(limits)
    moved = {"value": limits[name]["value"] + by} if name == _LIMIT else {"note": "Looked at again this spring."}
    return [{"kind": "limits", "id": name, "value": {**limits[name], **moved}}]


def edited(book: Book) -> dict[str, Any]:
    """What an author changes their proposal to."""
    return {**proposed(book), "changes": _changes(book, 2)}


def proposed(book: Book) -> dict[str, Any]:
    """A proposal as its author writes it."""
    return {"base": _base(book), "changes": _changes(book, 1), "reason": _REASON, "evidence": _EVIDENCE}


def drafted(book: Book) -> dict[str, Any]:
    """The proposal's status after it was made."""
    changes = tuple(EntryChange(change["kind"], change["id"], change["value"]) for change in proposed(book)["changes"])
    digests = {"change_digest": change_digest(changes), "base_digest": book.digest, "replay_digest": None}
    return {
        "proposal_id": "p1",
        "author_id": "key_k7qz3n5w2xab4cde",
        "author": {"shop_id": "harbour-lane", "holder": "Orla Fenn", "role": "owner"},
        "state": "draft",
        "approvals": [],
        "shown": None,
        "ended_because": None,
        "digests": digests,
        "approvals_needed": 1,
        "approvals_valid": 0,
        "version": 1,
        "created_at": instant(_THEN_S),
        "changed_at": instant(_THEN_S),
    }


def created(book: Book) -> dict[str, Any]:
    """The proposal as it was made, with its status."""
    return {**drafted(book), **proposed(book)}


def changed(book: Book) -> dict[str, Any]:
    """What the proposal changes, beside what the book has."""
    (change,) = proposed(book)["changes"]
    was = book.documents["limits"][change["id"]]
    way = direction_of(was, change["value"])
    return {"proposal_id": "p1", "base": _base(book), "changes": [{**change, "was": was, "direction": way}]}


def opened(book: Book) -> dict[str, Any]:
    """The proposal before the stewards."""
    draft = drafted(book)
    return {
        **draft,
        "state": "open",
        "shown": {**_DIGESTS_SEEN, "loosens_safety": []},
        "digests": {**draft["digests"], **_DIGESTS_SEEN},
        "version": 2,
    }


def approved(book: Book) -> dict[str, Any]:
    """The proposal after a steward's yes."""
    seen = opened(book)
    steward = {"shop_id": "mill-steps", "holder": "Tomas Reddy", "role": "steward"}
    approval = {"key_id": "key_m2lw6y4t7ofh3rsa", "by": steward, **seen["digests"], "lapsed": None}
    return {**seen, "state": "approved", "approvals": [approval], "approvals_valid": 1, "version": 3}


DECLINE: Mapping[str, Any] = {"reason": "The pale prints were pressed ten kelvin too cold; see the reports."}
WITHDRAWAL: Mapping[str, Any] = {"reason": "Those reports were of another paper."}


def declined(book: Book) -> dict[str, Any]:
    """The proposal after a steward's no."""
    return {**opened(book), "state": "declined", "ended_because": DECLINE["reason"], "version": 3}


def withdrawn(book: Book) -> dict[str, Any]:
    """The proposal after its author took it back."""
    return {**opened(book), "state": "withdrawn", "ended_because": WITHDRAWAL["reason"], "version": 3}


def published(book: Book) -> dict[str, Any]:
    """The next revision, and the proposal that made it."""
    return {
        "revision": book.revision + 1,
        "digest": "sha256:" + "3e" * 32,
        "proposal": {**approved(book), "state": "published", "version": 4},
    }


REVERSION: Mapping[str, Any] = {"reason": "The film peels again since the dwell was shortened."}


def reverted(book: Book) -> dict[str, Any]:
    """A proposal that takes something back."""
    evidence = f"Takes back what makes {book.digest} differ from an earlier revision: 1 entries."
    return {**created(book), "reason": REVERSION["reason"], "evidence": evidence}


_FLIP: Mapping[str, Any] = {
    "source": "recorded",
    "shop_id": "harbour-lane",
    "record_id": "rec_" + "5a" * 16,
    "edge": None,
    "rule": "dye-paler-on-blend",
    "direction": "stricter",
    "before": "accepted",
    "after": "accepted",
}


def being_worked_out(book: Book) -> dict[str, Any]:
    """The effect when somebody has just asked for it."""
    return {
        "proposal_id": "p1",
        "state": "working",
        "orders": None,
        "replayed": 0,
        "time_left_s": None,
        "started_at": instant(_THEN_S),
        "started_by_id": drafted(book)["author_id"],
        "ended_at": None,
        "ended_because": None,
        "recorded_since": None,
        "counts": [],
        "replay_digest": None,
        "effect": None,
        "others_left_out": False,
    }


def stopped(book: Book) -> dict[str, Any]:
    """The effect after somebody stopped it."""
    because = "It was stopped by its author."
    return {
        **being_worked_out(book),
        "state": "cancelled",
        "ended_at": instant(_THEN_S + 4),
        "ended_because": because,
    }


def effect(book: Book) -> dict[str, Any]:
    """The effect once it is worked out."""
    worked_out = _effect(book)
    return {
        **being_worked_out(book),
        "state": "done",
        "orders": 885,
        "replayed": 885,
        "ended_at": instant(_THEN_S + 9),
        "recorded_since": 12,
        "counts": worked_out["counts"],
        **_DIGESTS_SEEN,
        "effect": worked_out,
    }


def _effect(book: Book) -> dict[str, Any]:
    return {
        "old": book.digest,
        "new": published(book)["digest"],
        "code": _CODE,
        "changes": [{"kind": "limits", "id": _LIMIT}],
        "decision": {
            "kind": "mixed",
            "decided": "by replay",
            "holds_for": "the orders that were tried",
            "because": [
                f"{_LIMIT} goes from 85 % to 86 %; rules that compare with it find more orders on one side and fewer"
                " on the other.",
                "Seen on 140 recorded orders and 745 at edges (885 in all).",
            ],
        },
        "loosens_safety": [],
        "counts": [
            {
                "source": "recorded",
                "shop_id": "harbour-lane",
                "rule": "dye-paler-on-blend",
                "direction": "stricter",
                "orders": 1,
                "verdicts": 0,
            }
        ],
        "flips": [_FLIP],
        "flips_left_out": 0,
        "witnesses": [
            {
                **_FLIP,
                "asked": {
                    "item": {"substrate": "knit", "fibres": {"PES": 85, "CO": 15}},
                    "decorations": [{"transfer": "dye-sublimation"}],
                },
                "said_after": "85 % polyester is below 86 %: the print comes out at about 85 % of its strength, a"
                " little softer after the first wash.",
            }
        ],
        "steps": [{"step": "cut-out-close", "comes": 3, "goes": 0, "reworded": 0}],
        "watched": {},
        "replayed": {"recorded": 140, "recorded_left_out": 0, "edges": 745, "edges_left_out": 0},
    }


_SEAL_KEY_ID = "1f" * 8
AUDIT_HEAD: dict[str, Any] = {
    "seq": 812,
    "hash": "6b" * 32,
    "written_at": instant(_THEN_S),
    "seal_key_id": _SEAL_KEY_ID,
    "public_key": "w" * 43,
    "anchor": f"accord-audit-1 812 {'6b' * 32} {instant(_THEN_S)} {_SEAL_KEY_ID} {'S' * 86}",
}
AUDIT: dict[str, Any] = {
    "head": AUDIT_HEAD,
    "entries": [
        {
            "seq": 1,
            "written_at": instant(_THEN_S),
            "actor_id": "first start",
            "actor": None,
            "event": "revision.published",
            "subject_id": "1",
            "subject": None,
            "written": {"revision:1": "7c" * 32, "head": "8d" * 32},
            "versions": {"revision:1": 1, "head": 1},
            "ends": {},
            "seal_key_id": _SEAL_KEY_ID,
            "previous": "0" * 64,
            "hash": "9e" * 32,
        }
    ],
    "next": "/v1/audit?cursor=1&limit=1",
}
NEWS: dict[str, Any] = {
    "items": [
        {
            "seq": 813,
            "at": instant(_THEN_S),
            "event": "revision.published",
            "subject_id": "12",
            "by": {"shop_id": "quay-yard", "holder": "Orla Fenn", "role": "steward"},
            "text": "Revision 12 of the book is published.",
        }
    ],
    "seq": 813,
    "more": False,
    "proposals_waiting": [],
}
AUDIT_ACCOUNT: dict[str, Any] = {
    "whole": True,
    "lines": ["Whole: 812 entries, 460 documents."],
    "head": AUDIT_HEAD,
    "documents": 460,
    "adopted_seq": None,
    "faults": [],
    "faults_left_out": 0,
    "seals_checked": True,
}

_ORDER: dict[str, Any] = {
    "item": {"blank": "tote-polyester-white"},
    "decorations": [{"transfer": "dye-sublimation", "placement": "front"}],
    "press": "bench",
}
_VERDICT: dict[str, Any] = {
    "id": "vd_" + "5a" * 20,
    "verdict": "accepted",
    "unsaid": None,
    "revision": 12,
    "digest": "sha256:" + "0b" * 32,
    "house_digest": "sha256:" + "af" * 32,
    "basis": "live",
    "judged_on": "bench",
    "presses": [
        {
            "press": "bench",
            "press_title": "swing-away press “bench”",
            "verdict": "accepted",
            "settings": [{"temperature": "200 °C", "read_at": "display", "time": "50 s", "pressure": "medium"}],
            "pressings": [["main"]],
            "titles": {},
            "sequence": [0],
            "blocked_by": [],
            "because": None,
        }
    ],
    "findings": [],
    "conditions": [],
    "samples": [],
    "needs": [],
    "assumed": [],
    "remedies": [],
    "remedies_complete": True,
    "reference": "HL-1043",
}
RECORDED_ORDER: dict[str, Any] = {"reference": "HL-1043", **_ORDER}
_RECORD_LINE: dict[str, Any] = {
    "record_id": "rec_" + "5a" * 16,
    "recorded_at": instant(_THEN_S),
    "expires_at": instant(_THEN_S + 730 * 86_400),
    "reference": "HL-1043",
    "verdict_id": _VERDICT["id"],
    "verdict": _VERDICT["verdict"],
    "revision": 12,
}
RECORDS: dict[str, Any] = {"entries": [_RECORD_LINE], "next": None}
RECORD: dict[str, Any] = {**_RECORD_LINE, "code": _CODE, "order": _ORDER, "answer": _VERDICT}
RECORD_WITHOUT_REFERENCE: dict[str, Any] = {**RECORD, "reference": None, "answer": {**_VERDICT, "reference": None}}
REPLAY: dict[str, Any] = {
    "record_id": RECORD["record_id"],
    "recorded_revision": 12,
    "revision": 13,
    "then": "accepted",
    "now": "accepted",
    "same": True,
    "made_a_difference": {"code": False, "book": False, "house": False},
    "why": "",
    "appeared": [],
    "gone": [],
    "changed": [],
    "answer": {**_VERDICT, "revision": 13, "digest": "sha256:" + "3e" * 32, "reference": None},
}
# A plan is as long as POST /v1/recommend shows it, so the one that is shown here has none.
TICKET: dict[str, Any] = {
    **_RECORD_LINE,
    "verdict": "rejected",
    "digest": _VERDICT["digest"],
    "shop_name": "Harbour Lane Prints",
    "unit_system": "us-customary",
    "book_revision": 13,
    "changed": ["book"],
    "presses": [],
    "press": None,
    "plan": None,
    "why": "100 % cotton takes no dye: the print washes out.",
    "as_judged": False,
}
OUTCOME_ASKED: dict[str, Any] = {"result": "failed", "failure": "peeled", "washes": 6}
OUTCOME: dict[str, Any] = {
    "outcome_id": "o1",
    "record_id": RECORD["record_id"],
    "decoration": 0,
    "result": "failed",
    "failure": "peeled",
    "washes": 6,
    "note": None,
    "transfer": "dye-sublimation",
    "substrate": "woven",
    "press_type": "swing-away",
    "reported_at": instant(_THEN_S),
    "reported_by": {"shop_id": "harbour-lane", "holder": "Wren Ashdown", "role": "counter"},
    "withdrawn_at": None,
    "drafted_proposal_id": None,
}
OUTCOME_WITHDRAWN: dict[str, Any] = {**OUTCOME, "withdrawn_at": instant(_THEN_S + 3600)}
OUTCOME_COUNTS: dict[str, Any] = {
    "entries": [
        {
            "transfer": "dye-sublimation",
            "titles": {
                "transfer": "Dye sublimation print",
                "substrate": "Single-jersey or interlock knit",
                "press_type": "Swing-away press",
            },
            "substrate": "knit",
            "press_type": "swing-away",
            "good": 11,
            "failed": 11,
            "low": 0.3355,
            "likely": 0.5,
            "high": 0.6645,
            "credibility": 0.9,
            "failures": {"peeled": 11},
            "shops": 2,
            "orders": 3,
            "poor": True,
        }
    ],
    "next": None,
}
