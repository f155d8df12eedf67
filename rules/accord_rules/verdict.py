"""What is answered: verdicts and settlements, as frozen dataclasses with the documents made from them.

A document is plain JSON data in a fixed order of keys, so that the same answer always has the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LEVELS = ("blocks", "requires", "cautions", "notes")
VERDICTS = ("accepted", "conditional", "undetermined", "rejected")
WORKABLE = ("accepted", "conditional")  # the verdicts under which it can be done


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
    """The press the verdict speaks of, and how the shop's others fared when the order named none.

    ``can`` are the presses on which the whole order can be done, ``cannot`` those on which something blocks it.
    """

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
    """Changes that turn a rejected order into one that can be done; judged before they are shown.

    ``cost`` is what they cost whoever ordered, by the table in ``advise.costs``.
    """

    changes: tuple[Change, ...]
    verdict: str
    text: str
    cost: float

    def document(self) -> dict[str, Any]:
        return {
            "changes": [each.document() for each in self.changes],
            "verdict": self.verdict,
            "text": self.text,
            "cost": self.cost,
        }


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
    settings: tuple[Mapping[str, Any], ...]  # one a decoration, as an order document writes them; only if workable
    sequence: tuple[int, ...]  # only if workable
    remedies: tuple[Remedy, ...]
    remedies_complete: bool  # whether all changes were tried; if not, that no more are offered proves nothing
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
            "remedies_complete": self.remedies_complete,
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
    """A press and transfers that will not do, and the findings that say why; no press where none can help."""

    press: str | None
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
    """The answer to a recommend request: plans best first, and what was ruled out and why.

    ``complete``: whether every combination of transfers and presses was weighed. If not, more ways may exist, and that
    there is no plan proves nothing. ``ruled_out_left_out``: how many entries of ``ruled_out`` more there are.
    """

    basis: Basis
    plans: tuple[Plan, ...]
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None

    def document(self) -> dict[str, Any]:
        return {
            "revision": self.basis.revision,
            "digest": self.basis.digest,
            "house_digest": self.basis.house_digest,
            "basis": self.basis.basis,
            "plans": [each.document() for each in self.plans],
            "ruled_out": [each.document() for each in self.ruled_out],
            "ruled_out_left_out": self.ruled_out_left_out,
            "needs": [each.document() for each in self.needs],
            "complete": self.complete,
            "reference": self.reference,
        }


@dataclass(frozen=True, slots=True)
class AllowedRange:
    """From least to most, as an order writes them; what blocks a step below and a step above, by rule."""

    least: str
    most: str
    below: tuple[str, ...]
    above: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        return {"least": self.least, "most": self.most, "below": list(self.below), "above": list(self.above)}


@dataclass(frozen=True, slots=True)
class AllowedGround:
    """Neutral greys from the darkest to the lightest that will do: CIELAB lightness and sRGB."""

    least: float
    most: float
    least_colour: str
    most_colour: str

    def document(self) -> dict[str, Any]:
        return {
            "least": round(self.least, 2),
            "most": round(self.most, 2),
            "least_colour": self.least_colour,
            "most_colour": self.most_colour,
        }


@dataclass(frozen=True, slots=True)
class AllowedDecoration:
    """What is allowed for one decoration on one press with one transfer; None for what the order says already.

    ``temperature`` is on the display, ``gauge`` the line pressure of a press with cylinders, ``size`` the largest ones.
    """

    transfer: str
    temperature: tuple[AllowedRange, ...] | None
    time: tuple[AllowedRange, ...] | None
    pressure: tuple[str, ...] | None
    gauge: tuple[AllowedRange, ...] | None
    peel: tuple[str, ...] | None
    cover: tuple[str, ...] | None
    pad: tuple[str, ...] | None
    tape: tuple[str, ...] | None
    size: tuple[Mapping[str, str], ...] | None

    def document(self) -> dict[str, Any]:
        def ranges(found: tuple[AllowedRange, ...] | None) -> list[dict[str, Any]] | None:
            return None if found is None else [each.document() for each in found]

        def listed(found: tuple[Any, ...] | None) -> list[Any] | None:
            return None if found is None else list(found)

        return {
            "transfer": self.transfer,
            "temperature": ranges(self.temperature),
            "time": ranges(self.time),
            "pressure": listed(self.pressure),
            "gauge": ranges(self.gauge),
            "peel": listed(self.peel),
            "cover": listed(self.cover),
            "pad": listed(self.pad),
            "tape": listed(self.tape),
            "size": None if self.size is None else [dict(each) for each in self.size],
        }


@dataclass(frozen=True, slots=True)
class AllowedOn:
    """What is allowed on one press, decoration by decoration."""

    press: str
    decorations: tuple[AllowedDecoration, ...]

    def document(self) -> dict[str, Any]:
        return {"press": self.press, "decorations": [each.document() for each in self.decorations]}


@dataclass(frozen=True, slots=True)
class Envelope:
    """What is still allowed for what an order leaves open. ``transfers``: by decoration, those that may do;
    ``complete`` as in a ``Settlement``, and whether every press that can do it has its ranges in ``on``."""

    basis: Basis
    presses: tuple[str, ...]
    transfers: tuple[tuple[str, ...], ...]
    on: tuple[AllowedOn, ...]
    ground: tuple[AllowedGround, ...] | None
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None

    def document(self) -> dict[str, Any]:
        return {
            "revision": self.basis.revision,
            "digest": self.basis.digest,
            "house_digest": self.basis.house_digest,
            "basis": self.basis.basis,
            "presses": list(self.presses),
            "transfers": [list(each) for each in self.transfers],
            "on": [each.document() for each in self.on],
            "ground": None if self.ground is None else [each.document() for each in self.ground],
            "ruled_out": [each.document() for each in self.ruled_out],
            "ruled_out_left_out": self.ruled_out_left_out,
            "needs": [each.document() for each in self.needs],
            "complete": self.complete,
            "reference": self.reference,
        }
