"""Answers as frozen dataclasses. Each keeps the ``document`` it was read from, whole.

Reading is strict about what is promised and lenient about what may be added later: unknown fields stay in ``document``,
and a word that this client does not know counts as the worst. An order whose verdict is none of the four words is not
workable, a finding whose level is none of the four blocks.
Quantities meant for people are strings with units, in the shop's own units.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from accord_client.exceptions import BadAnswer

T = TypeVar("T")
Document = Mapping[str, Any]
_WORKABLE = ("accepted", "conditional")
_PASSABLE = ("requires", "cautions", "notes")


class _Pick:
    """Takes typed fields out of a document. Raises BadAnswer naming what is missing or of another type."""

    def __init__(self, document: Any, what: str) -> None:
        if not isinstance(document, dict):
            raise BadAnswer(f"{what} is not an object")
        self.document: dict[str, Any] = document
        self._what = what

    def _typed(self, name: str, kind: type[T]) -> T:
        value = self.document.get(name)
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise BadAnswer(f"{self._what} has no {name} as promised")
        return value

    def text(self, name: str) -> str:
        return self._typed(name, str)

    def whole(self, name: str) -> int:
        return self._typed(name, int)

    def number(self, name: str) -> float:
        value = self.document.get(name)
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else self._typed(name, float)

    def flag(self, name: str) -> bool:
        return self._typed(name, bool)

    def table(self, name: str) -> dict[str, Any]:
        return self._typed(name, dict)

    def texts(self, name: str) -> tuple[str, ...]:
        return self._all(name, str)

    def wholes(self, name: str) -> tuple[int, ...]:
        return self._all(name, int)

    def tables(self, name: str) -> tuple[dict[str, Any], ...]:
        return self._all(name, dict)

    def several(self, name: str, read: Callable[[Any], T]) -> tuple[T, ...]:
        return tuple(read(each) for each in self._typed(name, list))

    def text_or_none(self, name: str) -> str | None:
        return None if self.document.get(name) is None else self.text(name)

    def texts_or_none(self, name: str) -> tuple[str, ...] | None:
        return None if self.document.get(name) is None else self.texts(name)

    def wholes_or_none(self, name: str) -> tuple[int, ...] | None:
        return None if self.document.get(name) is None else self.wholes(name)

    def table_or_none(self, name: str) -> dict[str, Any] | None:
        return None if self.document.get(name) is None else self.table(name)

    def tables_or_none(self, name: str) -> tuple[dict[str, Any], ...] | None:
        return None if self.document.get(name) is None else self.tables(name)

    def values(self, name: str) -> tuple[Any, ...]:
        return tuple(self._typed(name, list))

    def _all(self, name: str, kind: type[T]) -> tuple[T, ...]:
        values = self._typed(name, list)
        if not all(isinstance(each, kind) for each in values):
            raise BadAnswer(f"{self._what} has no {name} as promised")
        return tuple(values)


def _kept() -> Any:
    """The field for the whole document: equal answers have equal documents, so it is what is compared last."""
    return field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's say about one part of the order. ``level``: blocks, requires, cautions or notes; others may come.

    ``presses``: those it holds on; None for all that were judged. ``observed``: None unless asked for.
    """

    rule: str
    level: str
    pointer: str
    presses: tuple[str, ...] | None
    title: str
    because: str
    fix: str
    observed: Document | None
    limit: Document
    sources: tuple[str, ...]
    layer: str
    document: Document = _kept()

    @property
    def blocks(self) -> bool:
        """Whether it stands against the order; so does a level that this client does not know."""
        return self.level not in _PASSABLE

    @classmethod
    def read(cls, document: Any) -> Finding:
        pick = _Pick(document, "a finding")
        return cls(
            pick.text("rule"),
            pick.text("level"),
            pick.text("pointer"),
            pick.texts_or_none("presses"),
            pick.text("title"),
            pick.text("because"),
            pick.text("fix"),
            pick.table_or_none("observed"),
            pick.table("limit"),
            pick.texts("sources"),
            pick.text("layer"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Need:
    """Something the order does not say that could change the verdict, and the question to ask.

    ``type``: what an order takes at the pointer (flag, number, quantity, word, name, list ...); ``allowed`` lists
    values it takes there, where they can be listed.
    """

    pointer: str
    type: str
    allowed: tuple[Any, ...]
    question: str
    decides: tuple[str, ...]
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Need:
        pick = _Pick(document, "a need")
        return cls(
            pick.text("pointer"),
            pick.text("type"),
            pick.values("allowed"),
            pick.text("question"),
            pick.texts("decides"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something the order does not say, and what was taken to hold: ``value`` as an order says it at the pointer,
    ``shown`` as people read it. ``could_hurt``: whether a rule that keeps people safe hangs on it.
    """

    pointer: str
    value: Any
    shown: str
    why: str
    could_hurt: bool
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Assumption:
        pick = _Pick(document, "an assumption")
        return cls(
            pick.text("pointer"),
            pick.document.get("value"),
            pick.text("shown"),
            pick.text("why"),
            pick.flag("could_hurt"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Change:
    """One field of the order, from what it says to what would work; ``before`` is the service's ``from``, a
    keyword of Python; ``to`` None means leave it out."""

    pointer: str
    before: Any
    to: Any
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Change:
        pick = _Pick(document, "a change")
        return cls(pick.text("pointer"), pick.document.get("from"), pick.document.get("to"), pick.document)


@dataclass(frozen=True, slots=True)
class Remedy:
    """Changes with which the order can be done."""

    changes: tuple[Change, ...]
    verdict: str
    text: str
    cost: float
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Remedy:
        pick = _Pick(document, "a remedy")
        return cls(
            pick.several("changes", Change.read),
            pick.text("verdict"),
            pick.text("text"),
            pick.number("cost"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class PressVerdict:
    """The verdict on the whole order on one press. ``settings`` holds one table a decoration, as an order writes them;
    it and ``sequence`` are None unless the order is workable there. ``blocked_by``: ids of rules.
    """

    press: str
    verdict: str
    settings: tuple[Document, ...] | None
    sequence: tuple[int, ...] | None
    blocked_by: tuple[str, ...]
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> PressVerdict:
        pick = _Pick(document, "a press's verdict")
        return cls(
            pick.text("press"),
            pick.text("verdict"),
            pick.tables_or_none("settings"),
            pick.wholes_or_none("sequence"),
            pick.texts("blocked_by"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer to an order. ``judged_on`` is the press that findings and conditions speak of, ``presses`` what comes
    of the order on each. ``remedies_complete``: whether all changes were tried; if not, that there is no remedy proves
    nothing.
    """

    id: str
    verdict: str
    revision: int
    digest: str
    judged_on: str
    presses: tuple[PressVerdict, ...]
    findings: tuple[Finding, ...]
    conditions: tuple[str, ...]
    needs: tuple[Need, ...]
    assumed: tuple[Assumption, ...]
    remedies: tuple[Remedy, ...]
    remedies_complete: bool
    reference: str | None
    document: Document = _kept()

    @property
    def workable(self) -> bool:
        """Accepted, or accepted if the conditions are met; no for a word that this client does not know."""
        return self.verdict in _WORKABLE

    @property
    def on(self) -> PressVerdict:
        """What comes of it on the press that the verdict speaks of. Raises BadAnswer."""
        for each in self.presses:
            if each.press == self.judged_on:
                return each
        raise BadAnswer(f"the verdict was judged on {self.judged_on!r}, of which it says nothing")

    def at(self, level: str) -> tuple[Finding, ...]:
        """The findings of one level; "blocks" has those of levels that this client does not know as well."""
        return tuple(each for each in self.findings if each.level == level or (level == "blocks" and each.blocks))

    @classmethod
    def read(cls, document: Any) -> Verdict:
        pick = _Pick(document, "the verdict")
        return cls(
            pick.text("id"),
            pick.text("verdict"),
            pick.whole("revision"),
            pick.text("digest"),
            pick.text("judged_on"),
            pick.several("presses", PressVerdict.read),
            pick.several("findings", Finding.read),
            pick.texts("conditions"),
            pick.several("needs", Need.read),
            pick.several("assumed", Assumption.read),
            pick.several("remedies", Remedy.read),
            pick.flag("remedies_complete"),
            pick.text_or_none("reference"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class PlannedDecoration:
    """One decoration of a plan. ``settings`` is what an order writes, ``explained`` tells people windows and why."""

    transfer: str
    family: str
    settings: Document
    explained: Document
    steps: tuple[str, ...]
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> PlannedDecoration:
        pick = _Pick(document, "a planned decoration")
        return cls(
            pick.text("transfer"),
            pick.text("family"),
            pick.table("settings"),
            pick.table("explained"),
            pick.texts("steps"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Plan:
    """One way to do the order; rank 1 is best. ``order`` is the order as this plan does it, ready to be sent."""

    rank: int
    press: str
    order: Document
    decorations: tuple[PlannedDecoration, ...]
    sequence: tuple[int, ...]
    cautions: tuple[str, ...]
    conditions: tuple[str, ...]
    reasons: tuple[str, ...]
    estimate: Document
    verdict: str
    verdict_id: str
    document: Document = _kept()

    @property
    def workable(self) -> bool:
        """As a verdict's; a plan always was when it was given."""
        return self.verdict in _WORKABLE

    @classmethod
    def read(cls, document: Any) -> Plan:
        pick = _Pick(document, "a plan")
        return cls(
            pick.whole("rank"),
            pick.text("press"),
            pick.table("order"),
            pick.several("decorations", PlannedDecoration.read),
            pick.wholes("sequence"),
            pick.texts("cautions"),
            pick.texts("conditions"),
            pick.texts("reasons"),
            pick.table("estimate"),
            pick.text("verdict"),
            pick.text("verdict_id"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A press and the transfers that will not do on it, and why; no press where none can help."""

    press: str | None
    transfers: tuple[str, ...]
    findings: tuple[Finding, ...]
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> RuledOut:
        pick = _Pick(document, "what was ruled out")
        return cls(
            pick.text_or_none("press"),
            pick.texts("transfers"),
            pick.several("findings", Finding.read),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Recommendation:
    """How the order can be done, best way first; ``plans`` is empty when nothing will do.

    ``complete``: whether every combination of transfers and presses was weighed; if not, no plan proves nothing.
    ``ruled_out_left_out``: how many entries of ``ruled_out`` more there are.
    """

    revision: int
    digest: str
    plans: tuple[Plan, ...]
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Recommendation:
        pick = _Pick(document, "the recommendation")
        return cls(
            pick.whole("revision"),
            pick.text("digest"),
            pick.several("plans", Plan.read),
            pick.several("ruled_out", RuledOut.read),
            pick.whole("ruled_out_left_out"),
            pick.several("needs", Need.read),
            pick.flag("complete"),
            pick.text_or_none("reference"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Envelope:
    """What is still allowed for what an order leaves open.

    ``transfers`` lists a decoration's possible ones, ``on`` a table a press with its decorations' ranges; ``complete``
    is as in a ``Recommendation``.
    """

    revision: int
    digest: str
    presses: tuple[str, ...]
    transfers: tuple[tuple[str, ...], ...]
    on: tuple[Document, ...]
    ground: tuple[Document, ...] | None
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Envelope:
        pick = _Pick(document, "the envelope")
        return cls(
            pick.whole("revision"),
            pick.text("digest"),
            pick.texts("presses"),
            pick.several("transfers", _texts),
            pick.tables("on"),
            None if pick.document.get("ground") is None else pick.tables("ground"),
            pick.several("ruled_out", RuledOut.read),
            pick.whole("ruled_out_left_out"),
            pick.several("needs", Need.read),
            pick.flag("complete"),
            pick.text_or_none("reference"),
            pick.document,
        )


def _texts(values: Any) -> tuple[str, ...]:
    return _Pick({"names": values}, "a list of names").texts("names")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of entry in the catalogue."""

    kind: str
    description: str
    count: int
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Kind:
        pick = _Pick(document, "a kind of entry")
        return cls(pick.text("kind"), pick.text("description"), pick.whole("count"), pick.document)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the book (a blank, a transfer, a limit, a source ...), with units as the book writes them."""

    id: str
    entry: Document
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Entry:
        pick = _Pick(document, "an entry")
        return cls(pick.text("id"), pick.table("entry"), pick.document)


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One rule in a list."""

    id: str
    topic: str
    level: str
    title: str
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> RuleLine:
        pick = _Pick(document, "a rule")
        return cls(pick.text("id"), pick.text("topic"), pick.text("level"), pick.text("title"), pick.document)


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule; ``entry`` is what the book writes, with examples that fire and that stay silent."""

    id: str
    topic: str
    level: str
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    entry: Document
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Rule:
        pick = _Pick(document, "a rule")
        return cls(
            pick.text("id"),
            pick.text("topic"),
            pick.text("level"),
            pick.texts("limits"),
            pick.texts("sources"),
            pick.table("entry"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact that rules may speak of.

    ``type`` and ``scope`` are words of the service, ``words`` those that the fact may be, or hold. ``measure`` is None
    where it is no number. ``reads`` has the facts, inputs, limits and kinds that it is worked out from, ``read_by``
    the facts, choices and rules that look at it; ``unsaid`` what holds where an order leaves it out.
    """

    id: str
    type: str
    scope: str
    description: str
    measure: Document | None
    words: tuple[str, ...]
    reads: Document
    read_by: Document
    unsaid: Document | None
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Fact:
        pick = _Pick(document, "a fact")
        return cls(
            pick.text("id"),
            pick.text("type"),
            pick.text("scope"),
            pick.text("description"),
            pick.table_or_none("measure"),
            pick.texts("words"),
            pick.table("reads"),
            pick.table("read_by"),
            pick.table_or_none("unsaid"),
            pick.document,
        )


@dataclass(frozen=True, slots=True)
class Editable:
    """A document that can be sent back, changed, with the ``etag`` it has now; it is refused (412) if that is old.

    ``etag`` is empty where nothing was written (``validate_only``).
    """

    document: Document
    etag: str


@dataclass(frozen=True, slots=True)
class ShopStatus:
    """What is computed of the shop the token belongs to, the units it reads, and what the token may do."""

    shop_id: str
    units: Document
    calibration: tuple[Document, ...]
    role: str
    key_id: str
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> ShopStatus:
        pick = _Pick(document, "the shop's status")
        return cls(
            shop_id=pick.text("shop_id"),
            units=pick.table("units"),
            calibration=pick.tables("calibration"),
            role=pick.text("role"),
            key_id=pick.text("key_id"),
            document=pick.document,
        )


@dataclass(frozen=True, slots=True)
class Health:
    """Whether the service may be relied on now, if only for answers; ``document`` says what was checked."""

    ready: bool
    document: Document = _kept()

    @classmethod
    def read(cls, document: Any) -> Health:
        pick = _Pick(document, "the service's health")
        return cls(pick.text("status") in ("ready", "degraded"), pick.document)
