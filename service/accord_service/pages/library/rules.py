"""Rules and steps: when each speaks, what it says, why, what it rests on, and orders that show it."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from flask import Response, request

from accord_rules.revision.rule import last_word
from accord_rules.verdict import LEVELS, STAGES
from accord_service.api.v1.get_rule import get_rule
from accord_service.api.v1.get_rules import get_rules
from accord_service.api.v1.get_step import get_step
from accord_service.api.v1.get_steps import get_steps
from accord_service.pages.library.asking import (
    all_entries,
    history_of,
    numbers_of,
    shown_or_led_on,
    sources_of,
)
from accord_service.pages.library.rendering import as_of, rendered, suffix
from accord_service.pages.library.showing import Document, example, sentence
from accord_service.pages.library.words import (
    LEVEL_WORDS,
    STAGE_WORDS,
    spoken,
)
from accord_service.pages.visit import Visit, page


@page("/library/rules")
def library_rules(visit: Visit) -> str:
    """Every rule, by topic; those of one level if wished."""
    level = request.args.get("level", "")
    rules = [rule for rule in all_entries(visit, get_rules) if not level or rule["level"] == level]
    topics = {topic: list(of) for topic, of in groupby(sorted(rules, key=_topic), key=_topic)}
    return rendered(
        "library_rules.html",
        topics=topics,
        count=len(rules),
        level=level,
        levels=LEVELS,
    )


def _topic(rule: Document) -> str:
    return str(rule["topic"])


@page("/library/rules/<name>")
def library_rule(visit: Visit, name: str) -> Response | str:
    """One rule."""

    def show() -> str:
        told = visit.ask(get_rule, path={"name": name}, query=as_of()).document
        entry = told["entry"]
        return rendered(
            "library_rule.html",
            rule=told,
            entry=entry,
            level=LEVEL_WORDS[told["level"]],
            last_word=last_word([entry.get("defers_to", "")]),
            **_of_both(visit, "rules", told, ("because", "fix")),
        )

    return shown_or_led_on(visit, "rules", name, show)


@page("/library/steps")
def library_steps(visit: Visit) -> str:
    """Every step that plans may have, in a plan's order."""
    steps = sorted(all_entries(visit, get_steps), key=_place)
    stages = {stage: list(of) for stage, of in groupby(steps, key=lambda step: step["stage"])}
    return rendered(
        "library_steps.html",
        stages=stages,
        count=len(steps),
        sentence=sentence,
    )


def _place(step: Document) -> tuple[int, int, str]:
    return STAGES.index(step["stage"]), step["rank"], step["id"]


@page("/library/steps/<name>")
def library_step(visit: Visit, name: str) -> Response | str:
    """One step."""

    def show() -> str:
        told = visit.ask(get_step, path={"name": name}, query=as_of()).document
        return rendered(
            "library_step.html",
            step=told,
            entry=told["entry"],
            stage=STAGE_WORDS.get(told["stage"], spoken(told["stage"])),
            **_of_both(visit, "steps", told, ("text",)),
        )

    return shown_or_led_on(visit, "steps", name, show)


def _of_both(visit: Visit, kind: str, told: Document, sentences: tuple[str, ...]) -> dict[str, Any]:
    """What the pages of a rule and of a step show alike."""
    entry = told["entry"]
    numbers = numbers_of(visit, told["limits"])
    values = {number.id: number.own or number.value for number in numbers}
    shown = {word: [example(written) for written in entry.get(word, ())] for word in ("fires", "silent")}
    return {
        "kind": kind,
        "name": told["id"],
        "said": {word: sentence(entry[word], values, suffix()) for word in sentences},
        "condition": " ".join(entry.get("when", "").replace("\\\n", " ").split()),
        "numbers": numbers,
        "values": values,
        "sources": sources_of(visit, told["sources"]),
        "orders": {word: [one for one in examples if one.is_order] for word, examples in shown.items()},
        "edges": {word: [one for one in examples if not one.is_order] for word, examples in shown.items()},
        "history": history_of(visit, kind, told["id"]),
    }
