"""What is answered: verdicts and settlements, as frozen dataclasses with the documents made from them.

A document is plain JSON data in a fixed order of keys, so that the same answer always has the same bytes.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LEVELS = ("blocks", "requires", "cautions", "notes")
VERDICTS = ("accepted", "conditional", "undetermined", "rejected")


def canonical(document: Any) -> bytes:
    """The one byte string of a document: sorted keys, no spaces, UTF-8. Digests are taken over it."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def digest(document: Any) -> str:
    return "sha256:" + hashlib.sha256(canonical(document)).hexdigest()


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's say about one part of the order. ``observed`` and ``limit`` are in the shop's units."""

    rule: str
    level: str
    about: str
    title: str
    because: str
    fix: str
    observed: Mapping[str, Any]
    limit: Mapping[str, str]
    sources: tuple[str, ...]
    layer: str = "shared"

    def document(self) -> dict[str, Any]:
        return {
            "rule": self.rule,
            "level": self.level,
            "about": self.about,
            "title": self.title,
            "because": self.because,
            "fix": self.fix,
            "observed": dict(self.observed),
            "limit": dict(self.limit),
            "sources": list(self.sources),
            "layer": self.layer,
        }


@dataclass(frozen=True, slots=True)
class Need:
    """Something the order does not say that could change the verdict."""

    pointer: str
    question: str
    allowed: tuple[str, ...]
    decides: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        return {
            "pointer": self.pointer,
            "question": self.question,
            "allowed": list(self.allowed),
            "decides": list(self.decides),
        }


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something the order does not say, what was taken to hold, and which rules it could turn."""

    pointer: str
    value: str
    why: str
    decides: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        return {"pointer": self.pointer, "value": self.value, "why": self.why, "decides": list(self.decides)}


@dataclass(frozen=True, slots=True)
class PressJudged:
    """The press the verdict speaks of, and how the shop's others fared when the order named none."""

    judged_on: str
    can: tuple[str, ...]
    cannot: Mapping[str, tuple[str, ...]]  # press -> ids of the rules that block

    def document(self) -> dict[str, Any]:
        return {
            "judged_on": self.judged_on,
            "can": list(self.can),
            "cannot": {press: list(rules) for press, rules in self.cannot.items()},
        }


@dataclass(frozen=True, slots=True)
class Change:
    """One field of the order, from what it says to what would work. Values as an order document writes them."""

    pointer: str
    before: Any
    after: Any

    def document(self) -> dict[str, Any]:
        return {"pointer": self.pointer, "from": self.before, "to": self.after}


@dataclass(frozen=True, slots=True)
class Remedy:
    """Changes that turn a rejected order into one that can be done; validated before it is shown."""

    changes: tuple[Change, ...]
    verdict: str
    text: str

    def document(self) -> dict[str, Any]:
        return {"changes": [c.document() for c in self.changes], "verdict": self.verdict, "text": self.text}


@dataclass(frozen=True, slots=True)
class Basis:
    """What an answer rests on: revision and digests; ``basis`` is live or held."""

    revision: int
    digest: str
    house_digest: str
    basis: str = "live"


@dataclass(frozen=True, slots=True)
class Verdict:
    id: str
    verdict: str
    basis: Basis
    findings: tuple[Finding, ...]
    conditions: tuple[str, ...]
    needs: tuple[Need, ...]
    assumed: tuple[Assumption, ...]
    press: PressJudged | None
    settings: tuple[Mapping[str, Any], ...]  # one an decoration, as an order document writes them
    sequence: tuple[int, ...]
    remedies: tuple[Remedy, ...]
    reference: str | None

    def document(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "verdict": self.verdict,
            "revision": self.basis.revision,
            "digest": self.basis.digest,
            "house_digest": self.basis.house_digest,
            "basis": self.basis.basis,
            "findings": [each.document() for each in self.findings],
            "conditions": list(self.conditions),
            "needs": [each.document() for each in self.needs],
            "assumed": [each.document() for each in self.assumed],
            "press": self.press.document() if self.press else None,
            "settings": [dict(each) for each in self.settings],
            "sequence": list(self.sequence),
            "remedies": [each.document() for each in self.remedies],
            "reference": self.reference,
        }


@dataclass(frozen=True, slots=True)
class PlannedDecoration:
    """One decoration of a plan: transfer, settings with windows and what binds them, and the steps to take."""

    transfer: str
    family: str
    settings: Mapping[str, Any]
    order_settings: Mapping[str, Any]  # the same, as an order document writes them
    steps: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        return {
            "transfer": self.transfer,
            "family": self.family,
            "settings": dict(self.settings),
            "order_settings": dict(self.order_settings),
            "steps": list(self.steps),
        }


@dataclass(frozen=True, slots=True)
class Plan:
    rank: int
    press: str
    decorations: tuple[PlannedDecoration, ...]
    sequence: tuple[int, ...]
    stack: tuple[str, ...]
    cautions: tuple[str, ...]
    conditions: tuple[str, ...]
    reasons: tuple[str, ...]
    estimate: Mapping[str, float]
    verdict: str
    id: str

    def document(self) -> dict[str, Any]:
        return {
            "rank": self.rank,
            "press": self.press,
            "decorations": [each.document() for each in self.decorations],
            "sequence": list(self.sequence),
            "stack": list(self.stack),
            "cautions": list(self.cautions),
            "conditions": list(self.conditions),
            "reasons": list(self.reasons),
            "estimate": dict(self.estimate),
            "verdict": self.verdict,
            "id": self.id,
        }


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A press and transfers that will not do, and the findings that say why."""

    press: str
    transfers: tuple[str, ...]
    findings: tuple[Finding, ...]

    def document(self) -> dict[str, Any]:
        return {
            "press": self.press,
            "transfers": list(self.transfers),
            "findings": [each.document() for each in self.findings],
        }


@dataclass(frozen=True, slots=True)
class Settlement:
    """The answer to a recommend request: plans best first, and what was ruled out and why."""

    basis: Basis
    plans: tuple[Plan, ...]
    ruled_out: tuple[RuledOut, ...]
    needs: tuple[Need, ...]
    reference: str | None

    def document(self) -> dict[str, Any]:
        return {
            "revision": self.basis.revision,
            "digest": self.basis.digest,
            "house_digest": self.basis.house_digest,
            "basis": self.basis.basis,
            "plans": [each.document() for each in self.plans],
            "ruled_out": [each.document() for each in self.ruled_out],
            "needs": [each.document() for each in self.needs],
            "reference": self.reference,
        }
