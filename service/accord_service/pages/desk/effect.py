"""The effect of a proposal as the desk shows it: flips by shop and rule, and examples with their sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from accord_rules.documents.counted import counted
from accord_service.pages.desk.changes import library_address
from accord_service.pages.desk.words import Document, decision, progress
from accord_service.steps.readable import in_words, leaves, recorded_since

_BOOK = "(book)"
ROWS_MOST = 60


@dataclass(frozen=True, slots=True)
class FlipRow:
    """Orders of a shop that a rule says something else about."""

    shop_id: str
    rule: str
    address: str | None
    direction: str
    orders: int
    verdicts: int


@dataclass(frozen=True, slots=True)
class ExampleOrder:
    """An order that a rule says something else about: what it is, the verdicts, and the sentences before and after,
    None for nothing said."""

    rule: str
    address: str | None
    direction: str
    whose: str
    order: tuple[tuple[str, str], ...]
    before: str
    after: str
    said_before: str | None
    said_after: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectView:
    """An effect, or how far it is. ``recorded`` and ``edges`` are rows of flips; ``tried`` says on what it rests,
    ``since`` what was recorded later, empty for nothing."""

    working: bool
    progress: str
    decision: str
    because: Sequence[str]
    tried: str
    since: str
    loosens_safety: Sequence[str]
    recorded: tuple[FlipRow, ...]
    recorded_left_out: int
    edges: tuple[FlipRow, ...]
    edges_left_out: int
    examples: tuple[ExampleOrder, ...]
    steps: Sequence[Document]
    watched: Sequence[tuple[str, int]]
    others_left_out: bool


def effect_view(told: Document) -> EffectView:
    """The answer of readProposalEffect."""
    effect = told["effect"] or {}
    recorded, edges = (tuple(_rows(told["counts"], source)) for source in ("recorded", "edge"))
    return EffectView(
        working=told["state"] == "working",
        progress=progress(told),
        decision=decision(effect) if effect else "",
        because=effect["decision"]["because"] if effect else (),
        tried=_tried(effect) if effect else "",
        since=recorded_since(told),
        loosens_safety=effect.get("loosens_safety", ()),
        recorded=recorded[:ROWS_MOST],
        recorded_left_out=len(recorded[ROWS_MOST:]),
        edges=edges[:ROWS_MOST],
        edges_left_out=len(edges[ROWS_MOST:]),
        examples=tuple(map(_example, effect.get("witnesses", ()))),
        steps=effect.get("steps", ()),
        watched=tuple(effect.get("watched", {}).items()),
        others_left_out=told["others_left_out"],
    )


def _tried(effect: Document) -> str:
    replayed = effect["replayed"]
    left_out = replayed["recorded_left_out"]
    unread = f"; {counted(left_out, 'recorded order')} could not be read any more" if left_out else ""
    recorded = counted(replayed["recorded"], "recorded order")
    return f"Tried: {recorded} and {counted(replayed['edges'], 'order')} made at the edges of limits{unread}."


def _rows(counts: Sequence[Document], source: str) -> Iterator[FlipRow]:
    """Those that turn most verdicts first."""
    ranked = sorted(
        (count for count in counts if count["source"] == source),
        key=lambda count: (-count["verdicts"], -count["orders"], count["shop_id"], count["rule"], count["direction"]),
    )
    for count in ranked:
        rule, address = _rule(count["rule"])
        yield FlipRow(count["shop_id"], rule, address, count["direction"], count["orders"], count["verdicts"])


def _rule(rule: str) -> tuple[str, str | None]:
    return ("the book as a whole", None) if rule == _BOOK else (rule, library_address("rules", rule))


def _example(witness: Document) -> ExampleOrder:
    rule, address = _rule(witness["rule"])
    recorded = witness["source"] == "recorded"
    whose = f"an order that {witness['shop_id']} recorded" if recorded else "an order made at an edge"
    order = tuple((in_words(place), text) for place, text in leaves(witness["asked"]))
    return ExampleOrder(
        rule,
        address,
        witness["direction"],
        whose,
        order,
        witness["before"],
        witness["after"],
        witness.get("said_before"),
        witness.get("said_after"),
    )
