"""The best ways to do what an order wants, as the counter shows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accord_service.pages.counter.told import link_to, settings_said, sign_of

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class PlanTold:
    """One plan: where and with what, what to set, the steps, what to watch, and the link that takes it."""

    title: str
    verdict: str
    sign: str
    unsaid: str
    prints: tuple[tuple[str, tuple[tuple[str, str], ...], tuple[str, ...]], ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    reasons: tuple[str, ...]
    minutes: str
    href: str | None


def plans_told(recommendation: Document, prints: int) -> tuple[PlanTold, ...]:
    """An answer of POST /v1/recommend, best first."""
    return tuple(_plan(plan, prints) for plan in recommendation["plans"])


def _plan(plan: Document, prints: int) -> PlanTold:
    parts = []
    for index in plan["sequence"]:
        of = plan["decorations"][index]
        explained = of["explained"]
        titles = {
            explained[key]: explained[f"{key}_title"] for key in ("cover", "pad", "tape") if explained[f"{key}_title"]
        }
        done = tuple(stack["pressing"] for stack in of["stacks"])
        window = (
            (("Window", f"{explained['window']['least']} to {explained['window']['most']}"),)
            if explained["main"]
            else ()
        )
        said = settings_said(of["settings"], titles, done)
        rows = (*(_instead(row, explained) for row in said), *window)
        head = f"Print {index + 1}: {of['title']}" if prints > 1 else of["title"]
        parts.append((head, rows, tuple(step["text"] for step in of["steps"])))
    return PlanTold(
        title=f"{plan['decorations'][plan['sequence'][0]]['title']} on {plan['press_title']}",
        verdict=plan["verdict"],
        sign=sign_of(plan["verdict"]),
        unsaid=plan["unsaid"] or "",
        prints=tuple(parts),
        conditions=tuple(plan["conditions"]),
        cautions=tuple(plan["cautions"]),
        reasons=tuple(plan["reasons"]),
        minutes=f"{plan['estimate'].get('minutes_each', 0):.1f} min a piece",
        href=link_to(plan["order"]),
    )


def _instead(row: tuple[str, str], explained: Document) -> tuple[str, str]:
    """A setting with what a condition tells to set instead."""
    label, shown = row
    instead = explained[f"{label.lower()}_instead"] if label in ("Temperature", "Time") else None
    return row if instead is None else (label, f"{instead}, not {shown}: see what must be done")
