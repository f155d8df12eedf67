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
_FROM_PRODUCT = "It wants settings of its own; the verdict has its family's usual ones"
# What of settings is compared where a product wants others than the verdict has.
_COMPARED = ("temperature", "time", "pressure", "peel", "cover", "pad", "pre_press", "second_press")
# What is to be heeded, each told by a sign of its own.
HEED_KINDS = ("warns", "must", "unsaid", "sample")
CUT_HERE = "Cut here: for the customer"
_LAST_WORD = "Where the maker's sheet, local law or licensed practice differ, they decide."
_TOUCH, _PILE = "BARE SKIN BEARS IT AFTER", "IT MAY TOUCH OTHERS AFTER"
_DIGEST_LETTERS = 12
_SLIP_STEP = "Cut off the slip and give it with the goods."
_CARE = "care"
_SLIP_UNWORDED = "The book of then had no words of its own for the customer's slip: write it by the last steps."


@dataclass(frozen=True, slots=True)
class Dials:
    """What is set for one pressing. ``name`` is empty where there is one alone."""

    name: str
    display: str
    time: str
    more: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Heed:
    """What is to be heeded, a word before each sentence. ``kind``: one of ``HEED_KINDS``."""

    kind: str
    word: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stage:
    """Steps of one stage, each with its number through all prints."""

    name: str
    steps: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One print of the ticket, in the order of pressing. ``waits``: how long it stays hot, a label and a time each.
    ``heeds``: what is said of the whole order, with its first print.

    ``large``: the pressing whose settings stand large; ``others``: those beside it, in their order. ``stacks``: name
    and layers of each pressing. ``explained``: what the chart is drawn from; None where the main pressing is not done.
    """

    place: int
    name: str
    large: Dials
    others: tuple[Dials, ...]
    rows: tuple[Row, ...]
    waits: tuple[Row, ...]
    heeds: tuple[Heed, ...]
    stages: tuple[Stage, ...]
    stacks: tuple[tuple[str, tuple[Document, ...]], ...]
    explained: Document | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A whole ticket. ``heeds``: what is told with every print; ``slip``: the customer's sentences; ``signed``: who
    stands behind the verdict, and who has the last word, a sentence each.
    """

    shop: str
    reference: str | None
    piece: str
    press: str
    quantity: str
    parts: tuple[Part, ...]
    heeds: tuple[Heed, ...]
    slip: tuple[str, ...]
    slip_title: str
    verdict: str
    verdict_id: str
    revision: int
    signed: tuple[str, str]
    units: UnitPreferences

    @property
    def title(self) -> str:
        """What it is called where nothing else of it is seen."""
        return f"Job ticket{f' {self.reference}' if self.reference else ''}: {self.piece}"


def told_of(ticket: Document, revision: Document, answer: Document) -> Told:
    """A ticket that has a plan. ``revision``: who decided, as the API answers of the revision it was judged under;
    ``answer``: the recorded verdict."""
    plan = ticket["plan"]
    quantity = plan["order"].get("quantity")
    digest = ticket["digest"].removeprefix("sha256:")[:_DIGEST_LETTERS]
    return Told(
        shop=ticket["shop_name"],
        reference=ticket["reference"],
        piece=plan["piece_title"],
        press=plan["press_title"],
        quantity="" if quantity is None else f"{quantity}",
        parts=tuple(_parts(plan)),
        heeds=tuple(_heeds_of_ticket(ticket, answer)),
        slip=tuple(step["slip"] for planned in _in_order(plan) for step in planned["steps"] if step["slip"]),
        slip_title=f"How to look after your {_plain(plan['piece_title'])}",
        verdict=_verdict(ticket),
        verdict_id=ticket["verdict_id"],
        revision=ticket["revision"],
        signed=(
            f"Book revision {ticket['revision']}, digest {digest}; {_decided(revision)}.",
            f"Judged and recorded {when_words(ticket['recorded_at'])}. {_LAST_WORD}",
        ),
        units=UNIT_SYSTEMS[ticket["unit_system"]],
    )


def _verdict(ticket: Document) -> str:
    """The recorded verdict, which is that on the best press, and the one on this press where it is another."""
    here = ticket["plan"]["verdict"]
    return f"{ticket['verdict']}, on this press {here}" if here != ticket["verdict"] else str(here)


def _heeds_of_ticket(ticket: Document, answer: Document) -> Iterator[Heed]:
    """What is not as whoever reads it may think, with every print."""
    own = () if ticket["as_judged"] else (f"{_FROM_PRODUCT}: {'; '.join(_differences(ticket, answer))}.",)
    yield Heed("warns", "Changed since", tuple(_changed(ticket)))
    yield Heed("warns", "Not in the book of then", tuple(_missing(ticket["plan"])))
    yield Heed("warns", "From the product at hand", own)


def _differences(ticket: Document, answer: Document) -> Iterator[str]:
    """What is set here, and what the verdict has instead: "peel warm, not hot"."""
    judged = next(press for press in answer["presses"] if press["press"] == ticket["press"])
    for planned, then in zip(ticket["plan"]["decorations"], judged["settings"], strict=True):
        for name in _COMPARED:
            here, there = planned["settings"].get(name, "none"), then.get(name, "none")
            if here != there:
                yield f"{name.replace('_', '-')} {here}, not {there}"


def _heeds_of_order(plan: Document) -> Iterator[Heed]:
    """What the rules say of the order, with its first print."""
    unsaid = plan["unsaid"]
    taken = () if unsaid is None else (_capital(unsaid.removeprefix("Not said, and ")),)
    yield Heed("must", "Must be done", tuple(map(_capital, plan["conditions"])))
    yield Heed("warns", "Take care", tuple(map(_capital, plan["cautions"])))
    yield Heed("unsaid", "Not said", taken)
    yield Heed("sample", "Sample", tuple(_capital(sample["text"]) for sample in plan["samples"]))


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _plain(piece: str) -> str:
    """A piece without its colour and size: what a customer calls it."""
    return piece.partition(", ")[0]


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
        dials = tuple(_dials(planned))
        large = next((set_ for set_ in dials if set_.name in ("", pressing_words("main"))), dials[0])
        several = len(planned["stacks"]) > 1
        yield Part(
            place=place,
            name=print_words(plan, index),
            large=large,
            others=tuple(set_ for set_ in dials if set_ is not large),
            rows=(*large.more, *_pre_press(planned), *((label.upper(), text) for label, text in laid_in(explained))),
            waits=((_TOUCH, planned["touch_wait"]), (_PILE, planned["stack_wait"])),
            heeds=tuple(_heeds_of_order(plan)) if place == 1 else (),
            stages=stages,
            stacks=tuple(
                (pressing_words(stack["pressing"]).capitalize() if several else "", tuple(stack["layers"]))
                for stack in planned["stacks"]
            ),
            explained=explained if explained["main"] else None,
        )


def _dials(planned: Document) -> Iterator[Dials]:
    for rows in sections(planned):
        name = rows[0][0] if not rows[0][1] else ""
        set_ = dict(rows)
        if "DISPLAY" in set_:
            more = tuple(row for row in rows if row[1] and row[0] not in ("DISPLAY", "TIME"))
            yield Dials(name, set_["DISPLAY"], set_["TIME"], more)


def _pre_press(planned: Document) -> Iterator[Row]:
    for rows in sections(planned):
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


def _missing(plan: Document) -> Iterator[str]:
    """What books say since, where the one of the plan does not: a part of the ticket that stays empty."""
    care = [step for planned in plan["decorations"] for step in planned["steps"] if step["stage"] == _CARE]
    if care and not any(step["slip"] for step in care):
        yield _SLIP_UNWORDED


def _decided(revision: Document) -> str:
    """Who stands behind the book that it was judged by."""
    author, approvers = revision["author"], revision["approvers"]
    by = f"by {_who(author)}" if author is not None else f"from {revision['author_id']}"
    approved = f", approved by {' and '.join(map(_who, approvers))}" if approvers else ""
    return f"{by}{approved}, {when_words(revision['published_at'])}"


def _who(signatory: Document) -> str:
    return f"{signatory['holder'] or signatory['role']} ({signatory['shop_id']})"
