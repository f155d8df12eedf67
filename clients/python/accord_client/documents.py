"""Answers as frozen dataclasses. Each keeps the ``document`` it was read from, whole.

Reading is strict about what is promised and lenient about what may be added later: unknown fields stay in ``document``,
and a word that this client does not know counts as the worst. An order whose verdict is none of the four words is not
workable, a finding whose level is none of the four blocks.
Quantities meant for people are strings with units, in the shop's own units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from types import NoneType, UnionType
from typing import Any, ClassVar, Self, get_args, get_origin, get_type_hints

from accord_client.exceptions import BadAnswer

Document = Mapping[str, Any]
_WORKABLE = ("accepted", "conditional")
_PASSABLE = ("requires", "cautions", "notes")


@dataclass(frozen=True, slots=True)
class _Answer:
    """An object of an answer, and the ``document`` it was read from. Its other fields are what the service promises."""

    _what: ClassVar[str]
    document: Document = field(repr=False, compare=False)

    @classmethod
    def read(cls, document: Any) -> Self:
        """Raises BadAnswer naming what is missing or of another type."""
        if not isinstance(document, dict):
            raise BadAnswer(f"{cls._what} is not an object")
        values = {}
        for promised, name, hint in cls._promises():
            try:
                values[promised] = _typed(document.get(name), hint)
            except TypeError as error:
                raise BadAnswer(f"{cls._what} has no {name} as promised") from error
        return cls(document=document, **values)

    @classmethod
    @cache
    def _promises(cls) -> tuple[tuple[str, str, Any], ...]:
        """Each field but the document: its name, its name in the document, its type."""
        hints = get_type_hints(cls)
        return tuple(
            (promised.name, promised.metadata.get("name", promised.name), hints[promised.name])
            for promised in fields(cls)
            if promised.name != "document"
        )


def _typed(value: Any, hint: Any) -> Any:
    """The value as a field of this type holds it. Raises TypeError; an answer inside raises its own BadAnswer."""
    arguments = get_args(hint)
    if hint is Any:
        return value
    if NoneType in arguments:
        (some,) = (argument for argument in arguments if argument is not NoneType)
        return None if value is None else _typed(value, some)
    if get_origin(hint) is tuple:
        return tuple(_typed(item, arguments[0]) for item in _plain(value, list))
    if isinstance(hint, type) and issubclass(hint, _Answer):
        return hint.read(value)
    if hint is float:
        return float(_plain(value, int | float))
    return _plain(value, dict if hint == Document else hint)


def _plain(value: Any, kind: type | UnionType) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise TypeError(f"{value!r:.80} is no {kind}")
    return value


@dataclass(frozen=True, slots=True)
class Finding(_Answer):
    """One rule's say about one part of the order. ``level``: blocks, requires, cautions or notes; others may come.

    ``presses``: those it holds on; None for all that were judged. ``observed``: None unless asked for.
    """

    _what = "a finding"
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

    @property
    def blocks(self) -> bool:
        """Whether it stands against the order; so does a level that this client does not know."""
        return self.level not in _PASSABLE


@dataclass(frozen=True, slots=True)
class Need(_Answer):
    """Something the order does not say that could change the verdict, and the question to ask.

    ``type``: what an order takes at the pointer (flag, number, quantity, word, name, list ...); ``allowed`` lists
    values it takes there, where they can be listed.
    """

    _what = "a need"
    pointer: str
    type: str
    allowed: tuple[Any, ...]
    question: str
    decides: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assumption(_Answer):
    """Something the order does not say, and what was taken to hold: ``value`` as an order says it at the pointer,
    ``shown`` as people read it. ``could_hurt``: whether a rule that keeps people safe hangs on it.
    """

    _what = "an assumption"
    pointer: str
    value: Any
    shown: str
    why: str
    could_hurt: bool


@dataclass(frozen=True, slots=True)
class Change(_Answer):
    """One field of the order, from what it says to what would work; ``before`` is the service's ``from``, a
    keyword of Python; ``to`` None means leave it out."""

    _what = "a change"
    pointer: str
    before: Any = field(metadata={"name": "from"})
    to: Any


@dataclass(frozen=True, slots=True)
class Remedy(_Answer):
    """Changes with which the order can be done."""

    _what = "a remedy"
    changes: tuple[Change, ...]
    verdict: str
    text: str
    cost: float


@dataclass(frozen=True, slots=True)
class PressVerdict(_Answer):
    """The verdict on the whole order on one press. ``settings`` holds one table a decoration, as an order writes them,
    ``pressings`` which are done for each, in the order they come: without main, what the settings say of it is not
    pressed. They and ``sequence`` are None unless the order is workable there. ``press_title`` is as people say it,
    ``titles`` how they say the covers, pads and tapes that the settings name. ``blocked_by``: ids of rules;
    ``because``: what the first of them says, or None.
    """

    _what = "a press's verdict"
    press: str
    press_title: str
    verdict: str
    settings: tuple[Document, ...] | None
    pressings: tuple[tuple[str, ...], ...] | None
    titles: Document
    sequence: tuple[int, ...] | None
    blocked_by: tuple[str, ...]
    because: str | None


@dataclass(frozen=True, slots=True)
class SampleLeanedOn(_Answer):
    """A sample on the shop's record that stands for the order's own. ``pointer``: the decoration that repeats it;
    ``lifts``: the rules that would find something without it; ``text``: the sample in a sentence.
    """

    _what = "a sample leaned on"
    id: str
    pressed_on: str
    pointer: str
    text: str
    lifts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict(_Answer):
    """The answer to an order. ``unsaid``: what was taken to hold and could hurt somebody if it does not, as a sentence
    to be read first, or None. ``judged_on`` is the press that findings and conditions speak of, ``presses`` what comes
    of the order on each. ``basis`` is what it rests on: live, held (the service's store is away) or bundle (a signed
    file, without a service). ``remedies_complete``: whether all changes were tried; if not, that there is no remedy
    proves nothing.
    """

    _what = "the verdict"
    id: str
    verdict: str
    unsaid: str | None
    revision: int
    digest: str
    house_digest: str
    basis: str
    judged_on: str
    presses: tuple[PressVerdict, ...]
    findings: tuple[Finding, ...]
    conditions: tuple[str, ...]
    samples: tuple[SampleLeanedOn, ...]
    needs: tuple[Need, ...]
    assumed: tuple[Assumption, ...]
    remedies: tuple[Remedy, ...]
    remedies_complete: bool
    reference: str | None

    @property
    def workable(self) -> bool:
        """Accepted, or accepted if the conditions are met; no for a word that this client does not know."""
        return self.verdict in _WORKABLE

    @property
    def on(self) -> PressVerdict:
        """What comes of it on the press that the verdict speaks of. Raises BadAnswer."""
        for on_press in self.presses:
            if on_press.press == self.judged_on:
                return on_press
        raise BadAnswer(f"the verdict was judged on {self.judged_on!r}, of which it says nothing")

    def at(self, level: str) -> tuple[Finding, ...]:
        """The findings of one level; "blocks" has those of levels that this client does not know as well."""
        return tuple(
            finding for finding in self.findings if finding.level == level or (level == "blocks" and finding.blocks)
        )


@dataclass(frozen=True, slots=True)
class PlannedStep(_Answer):
    """One thing the hands do.

    ``stage``: check, dress, dry, place, fix, cover, press, lift, peel, again, cool, finish or care, in this order;
    others may come. ``slip``: what the customer's slip says of it; None for what is no aftercare.
    """

    _what = "a step of a plan"
    id: str
    stage: str
    text: str
    slip: str | None


@dataclass(frozen=True, slots=True)
class StackLayer(_Answer):
    """One layer of what lies between the platens; ``face`` says how it lies, empty where it has no faces.

    ``kind``: platen, sheet, pad, carrier, print or piece; others may come. ``thickness_mm`` of one ply, None for
    platens and where the book does not know.
    """

    _what = "a layer of a stack"
    kind: str
    what: str
    face: str
    thickness_mm: float | None


@dataclass(frozen=True, slots=True)
class PressingStack(_Answer):
    """What lies between the platens in one pressing, from the heated platen down.

    ``pressing``: marry, adhesive, tack, main, reverse or again; others may come.
    """

    _what = "the stack of a pressing"
    pressing: str
    layers: tuple[StackLayer, ...]


@dataclass(frozen=True, slots=True)
class PlannedDecoration(_Answer):
    """One decoration of a plan. ``settings`` is what an order writes, ``explained`` tells people windows and why;
    ``stacks`` has one for each pressing that is done, in the order they come. ``title`` is the transfer as people say
    it, ``touch_wait`` how long until bare skin bears the piece, ``stack_wait`` until the next one may lie on it.
    """

    _what = "a planned decoration"
    transfer: str
    title: str
    size_shown: str | None
    family: str
    settings: Document
    explained: Document
    stacks: tuple[PressingStack, ...]
    steps: tuple[PlannedStep, ...]
    touch_wait: str
    stack_wait: str


@dataclass(frozen=True, slots=True)
class Plan(_Answer):
    """One way to do the order; rank 1 is best. ``order`` is the order as this plan does it, ready to be sent.
    ``unsaid``: what it takes to hold and could hurt somebody if it does not, as a sentence to be read first, or None.

    ``press_title`` and ``piece_title`` are as people say them; ``first_wash`` is how long until the first wash, None
    for what is not washed.
    """

    _what = "a plan"
    rank: int
    unsaid: str | None
    press: str
    press_title: str
    piece_title: str
    order: Document
    decorations: tuple[PlannedDecoration, ...]
    sequence: tuple[int, ...]
    cautions: tuple[str, ...]
    conditions: tuple[str, ...]
    samples: tuple[SampleLeanedOn, ...]
    reasons: tuple[str, ...]
    estimate: Document
    first_wash: str | None
    verdict: str
    verdict_id: str

    @property
    def workable(self) -> bool:
        """As a verdict's; a plan always was when it was given."""
        return self.verdict in _WORKABLE


@dataclass(frozen=True, slots=True)
class RuledOut(_Answer):
    """A press and the transfers that will not do on it, and why; no press where none can help.

    ``titles`` are the transfers as people say them.
    """

    _what = "what was ruled out"
    press: str | None
    transfers: tuple[str, ...]
    titles: tuple[str, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Recommendation(_Answer):
    """How the order can be done, best way first; ``plans`` is empty when nothing will do.

    ``complete``: whether every combination of transfers and presses was weighed; if not, no plan proves nothing.
    ``ruled_out_left_out``: how many entries of ``ruled_out`` more there are.
    """

    _what = "the recommendation"
    revision: int
    digest: str
    house_digest: str
    basis: str
    plans: tuple[Plan, ...]
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None


@dataclass(frozen=True, slots=True)
class Envelope(_Answer):
    """What is still allowed for what an order leaves open.

    ``transfers`` lists a decoration's possible ones, ``on`` a table a press with its decorations' ranges; ``complete``
    is as in a ``Recommendation``.
    """

    _what = "the envelope"
    revision: int
    digest: str
    house_digest: str
    basis: str
    presses: tuple[str, ...]
    transfers: tuple[tuple[str, ...], ...]
    on: tuple[Document, ...]
    ground: tuple[Document, ...] | None
    ruled_out: tuple[RuledOut, ...]
    ruled_out_left_out: int
    needs: tuple[Need, ...]
    complete: bool
    reference: str | None


@dataclass(frozen=True, slots=True)
class Kind(_Answer):
    """One kind of entry in the catalogue."""

    _what = "a kind of entry"
    kind: str
    description: str
    count: int
    with_sheet: int | None


@dataclass(frozen=True, slots=True)
class Entry(_Answer):
    """One entry of the book (a blank, a transfer, a limit, a source ...), with units as the book writes them."""

    _what = "an entry"
    id: str
    entry: Document


@dataclass(frozen=True, slots=True)
class SourcedRoom(_Answer):
    """One room of the book: how many numbers it has, and how many of them rest on each kind of source."""

    _what = "a room of the book"
    id: str
    total: int
    counts: Document


@dataclass(frozen=True, slots=True)
class SourcedNumber(_Answer):
    """One limit, and what ``kind`` of source it rests on: the weakest of those it names."""

    _what = "a sourced number"
    limit: str
    title: str
    value: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SourcedMarketRow(_Answer):
    """One row of a market, and what ``kind`` of source it rests on."""

    _what = "a row of a market"
    market: str
    matter: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sourcing(_Answer):
    """How well the book is sourced: ``kinds`` best first, ``safety_limits`` the worst-sourced first."""

    _what = "the sourcing"
    revision: int
    digest: str
    kinds: tuple[str, ...]
    rooms: tuple[SourcedRoom, ...]
    safety_limits: tuple[SourcedNumber, ...]


@dataclass(frozen=True, slots=True)
class RuleLine(_Answer):
    """One rule in a list."""

    _what = "a rule"
    id: str
    topic: str
    level: str
    title: str


@dataclass(frozen=True, slots=True)
class Rule(_Answer):
    """One rule; ``entry`` is what the book writes, with examples that fire and that stay silent.

    ``numbers`` are its limits and ``market_rows`` the law it speaks of, each with the kind of source it rests on;
    ``source_kinds`` has the kind of each source that is named. ``in_words`` is its condition as people read it, line by
    line; ``related`` are rules that read the same facts.
    """

    _what = "a rule"
    id: str
    topic: str
    level: str
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    numbers: tuple[SourcedNumber, ...]
    market_rows: tuple[SourcedMarketRow, ...]
    source_kinds: Document
    in_words: tuple[Document, ...]
    related: tuple[Document, ...]
    entry: Document


@dataclass(frozen=True, slots=True)
class StepLine(_Answer):
    """One step in a list; what stands in braces in its ``text`` is filled in by a plan."""

    _what = "a step"
    id: str
    stage: str
    rank: int
    text: str


@dataclass(frozen=True, slots=True)
class Step(_Answer):
    """One step that plans may have; ``rules`` ask for it, ``in_words`` is its condition line by line, ``entry`` what
    the book writes."""

    _what = "a step"
    id: str
    stage: str
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    rules: tuple[str, ...]
    in_words: tuple[Document, ...]
    entry: Document


@dataclass(frozen=True, slots=True)
class SearchHit(_Answer):
    """One entry of the book that was found: its ``kind``, its id, what people call it, and how it begins.

    ``level`` is a rule's; None for all else.
    """

    _what = "what was found"
    kind: str
    id: str
    title: str
    level: str | None
    excerpt: str


@dataclass(frozen=True, slots=True)
class SearchResults(_Answer):
    """What was found for some words, the best first; ``total`` have some of them.

    ``instead`` has, for each word that the book does not know, the one that was looked for.
    """

    _what = "the results of a search"
    query: str
    total: int
    instead: tuple[Document, ...]
    entries: tuple[SearchHit, ...]


@dataclass(frozen=True, slots=True)
class Fact(_Answer):
    """One fact that rules may speak of.

    ``type`` and ``scope`` are words of the service, ``words`` those that the fact may be, or hold. ``measure`` is None
    where it is no number. ``reads`` has the facts, inputs, limits and kinds that it is worked out from, ``read_by``
    the facts, choices, rules and steps that look at it; ``unsaid`` what holds where an order leaves it out.
    """

    _what = "a fact"
    id: str
    type: str
    scope: str
    description: str
    measure: Document | None
    words: tuple[str, ...]
    reads: Document
    read_by: Document
    unsaid: Document | None


@dataclass(frozen=True, slots=True)
class Editable:
    """A document that can be sent back, changed, with the ``etag`` it has now; it is refused (412) if that is old.

    ``etag`` is empty where nothing was written (``validate_only``).
    """

    document: Document
    etag: str


@dataclass(frozen=True, slots=True)
class ShopStatus(_Answer):
    """What is computed of the shop the token belongs to, the units it reads, and what the token may do.

    ``samples``: its samples on record, each with whether orders can lean on it (``counts``) and if not, why.
    ``readings_waiting``: probe readings that count for nothing until the owner confirms them; None where the service
    cannot say now. ``house_doubts``: limits of its house rules so far from the book's that a digit may have slipped.
    """

    _what = "the shop's status"
    shop_id: str
    units: Document
    calibration: tuple[Document, ...]
    findings: tuple[Document, ...]
    samples: tuple[Document, ...]
    readings_waiting: tuple[Document, ...] | None
    house_doubts: tuple[Document, ...]
    role: str
    key_id: str


@dataclass(frozen=True, slots=True)
class Health(_Answer):
    """Whether the service may be relied on now, if only for answers; ``document`` says what was checked."""

    _what = "the service's health"
    status: str

    @property
    def ready(self) -> bool:
        """Degraded is not down."""
        return self.status in ("ready", "degraded")
