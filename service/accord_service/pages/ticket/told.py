"""What stands on a ticket, in words: from the API's answers, once for the page, the sheets to print and the PDF.

Nothing is worked out here but how it is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from types import MappingProxyType
from typing import Any

from accord_rules.documents.units import UNIT_SYSTEMS, UnitPreferences
from accord_service.api.plan_words import Row, laid_in, pressing_words, print_words, sections, stage_words

Document = Mapping[str, Any]
# The paper that a shop has by its units.
PAPERS: Mapping[str, tuple[float, float]] = MappingProxyType({"a5": (148.0, 210.0), "letter": (215.9, 279.4)})
_TIMES = re.compile(r"(\d[\d.,]* (?:s|min|h)\b(?: \d+ s\b)?)")
_CHANGED: Mapping[str, str] = MappingProxyType(
    {
        "house": "The shop's house rules have changed since.",
        "shop": "The shop's presses, stock or readings have changed since.",
        "code": "The service has changed since.",
    }
)
_FROM_PRODUCT = "These settings are its own: the recorded answer has its family's usual ones, which do not suit it."
_SLIP_STEP = "Cut off the slip and give it with the goods."


@dataclass(frozen=True, slots=True)
class Dials:
    """What is set for one pressing. ``name`` is empty where there is one alone."""

    name: str
    display: str
    time: str
    more: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Stage:
    """Steps of one stage, each with its number through all prints."""

    name: str
    steps: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One print of the ticket, in the order of pressing.

    ``large``: the pressing whose settings stand large; ``others``: those beside it, in their order. ``stacks``: name
    and layers of each pressing. ``explained``: what the chart is drawn from; None where the main pressing is not done.
    """

    place: int
    name: str
    large: Dials
    others: tuple[Dials, ...]
    rows: tuple[Row, ...]
    touch: str
    pile: str
    stages: tuple[Stage, ...]
    stacks: tuple[tuple[str, tuple[Document, ...]], ...]
    explained: Document | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A whole ticket. ``changed``: what is no more as it was, a sentence each; ``slip``: the customer's sentences.

    ``from_product``: that the settings are not those of the answer, where it is so.
    """

    shop: str
    reference: str | None
    piece: str
    press: str
    quantity: str
    parts: tuple[Part, ...]
    unsaid: str | None
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    samples: tuple[str, ...]
    slip: tuple[str, ...]
    changed: tuple[str, ...]
    from_product: tuple[str, ...]
    verdict: str
    verdict_id: str
    revision: int
    digest: str
    recorded: str
    decided: str
    units: UnitPreferences

    @property
    def title(self) -> str:
        """What it is called where nothing else of it is seen."""
        return f"Job ticket{f' {self.reference}' if self.reference else ''}: {self.piece}"


def told_of(ticket: Document, revision: Document) -> Told:
    """A ticket that has a plan. ``revision``: who decided, as the API answers of the revision it was judged under."""
    plan = ticket["plan"]
    quantity = plan["order"].get("quantity")
    return Told(
        shop=ticket["shop_name"],
        reference=ticket["reference"],
        piece=plan["piece_title"],
        press=plan["press_title"],
        quantity="" if quantity is None else f"{quantity}",
        parts=tuple(_parts(plan)),
        unsaid=plan["unsaid"],
        conditions=tuple(plan["conditions"]),
        cautions=tuple(plan["cautions"]),
        samples=tuple(sample["text"] for sample in plan["samples"]),
        slip=tuple(step["slip"] for planned in _in_order(plan) for step in planned["steps"] if step["slip"]),
        changed=tuple(_changed(ticket)),
        from_product=() if ticket["as_judged"] else (_FROM_PRODUCT,),
        verdict=ticket["verdict"],
        verdict_id=ticket["verdict_id"],
        revision=ticket["revision"],
        digest=ticket["digest"].removeprefix("sha256:")[:12],
        recorded=when_words(ticket["recorded_at"]),
        decided=_decided(revision),
        units=UNIT_SYSTEMS[ticket["unit_system"]],
    )


def paper_of(unit_system: str) -> str:
    """The paper that a shop prints on."""
    return "letter" if unit_system == "us-customary" else "a5"


def when_words(instant: str) -> str:
    """A time of the API's as people read it."""
    return f"{instant[:10]} {instant[11:16]} UTC"


def with_times(text: str) -> tuple[tuple[str, bool], ...]:
    """A sentence in pieces, each with whether it is a time, which stands out."""
    pieces = enumerate(_TIMES.split(text))
    return tuple((piece, place % 2 == 1) for place, piece in pieces if piece)


def _in_order(plan: Document) -> list[Document]:
    return [plan["decorations"][index] for index in plan["sequence"]]


def _parts(plan: Document) -> Iterator[Part]:
    start = 1
    for place, (index, planned) in enumerate(zip(plan["sequence"], _in_order(plan), strict=True), start=1):
        explained = planned["explained"]
        stages = tuple(_stages(planned["steps"], start))
        start += sum(len(stage.steps) for stage in stages)
        dials = tuple(_dials(explained))
        large = next((set_ for set_ in dials if set_.name in ("", pressing_words("main"))), dials[0])
        several = len(planned["stacks"]) > 1
        yield Part(
            place=place,
            name=print_words(plan, index),
            large=large,
            others=tuple(set_ for set_ in dials if set_ is not large),
            rows=(*large.more, *_pre_press(explained), *((label.upper(), text) for label, text in laid_in(explained))),
            touch=planned["touch_wait"],
            pile=planned["stack_wait"],
            stages=stages,
            stacks=tuple(
                (pressing_words(stack["pressing"]).capitalize() if several else "", tuple(stack["layers"]))
                for stack in planned["stacks"]
            ),
            explained=explained if explained["main"] else None,
        )


def _dials(explained: Document) -> Iterator[Dials]:
    for rows in sections(explained):
        name = rows[0][0] if not rows[0][1] else ""
        set_ = dict(rows)
        if "DISPLAY" in set_:
            more = tuple(row for row in rows if row[1] and row[0] not in ("DISPLAY", "TIME"))
            yield Dials(name, set_["DISPLAY"], set_["TIME"], more)


def _pre_press(explained: Document) -> Iterator[Row]:
    for rows in sections(explained):
        yield from (row for row in rows if row[0] == "PRE-PRESS")


def _stages(steps: list[Document], start: int) -> Iterator[Stage]:
    """Stages with their steps numbered on; what goes on the slip is one step, since the slip itself says it."""
    number = start
    for stage, of_stage in groupby(steps, key=lambda step: str(step["stage"])):
        told = list(of_stage)
        texts = list(dict.fromkeys(_SLIP_STEP if step["slip"] else step["text"] for step in told))
        yield Stage(
            stage_words(stage, {step["id"] for step in told}),
            tuple(enumerate(texts, start=number)),
        )
        number += len(texts)


def _changed(ticket: Document) -> Iterator[str]:
    if "book" in ticket["changed"]:
        yield f"Judged under revision {ticket['revision']}; the book is at {ticket['book_revision']}."
    yield from (sentence for name, sentence in _CHANGED.items() if name in ticket["changed"])


def _decided(revision: Document) -> str:
    """Who stands behind the book that it was judged by."""
    author, approvers = revision["author"], revision["approvers"]
    by = f"by {_who(author)}" if author is not None else f"from {revision['author_id']}"
    approved = f", approved by {' and '.join(map(_who, approvers))}" if approvers else ""
    return f"{by}{approved}, {when_words(revision['published_at'])}"


def _who(signatory: Document) -> str:
    return f"{signatory['holder'] or signatory['role']} ({signatory['shop_id']})"
