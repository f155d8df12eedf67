"""The fifty plans of demo/plans, read strictly, and what another plan leaves out of one of them."""

from __future__ import annotations

import itertools
import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from accord_rules.documents.reading import read
from accord_rules.orders.order import Order
from accord_rules.orders.sheet import PEELS, PRESSURES
from accord_rules.verdict import STAGES
from accord_rules.verdict import Plan as RecommendedPlan

PLANS = Path(__file__).resolve().parent / "plans"
PRESSINGS = ("marry", "adhesive", "tack", "main", "reverse", "again")
# The steps of the book that say a pressing beside the main one, whole.
PRESSED_BY: Mapping[str, tuple[str, ...]] = {
    "marry": ("marry-sheets",),
    "adhesive": ("adhesive-first",),
    "tack": ("film-first", "tack"),
    "reverse": ("press-from-reverse",),
}
ONCE = ("title", "shop", "press", "source")
# By hand and in ovens nothing is metered.
FIRMNESS = (*PRESSURES, "lean", "wrap", "clamp")
# How far a setting may lie from the writer's: sheets of one family differ by as much. By unit; other units are exact.
TOLERANCE: Mapping[str, float] = {"°C": 5, "°F": 9}
DWELL = 0.35  # of the writer's time
STEM = 4  # letters of a word that count, so that "weed" says "weeded"
# What the writer's words may be called as well.
SAME: Mapping[str, tuple[str, ...]] = {
    "adhesive down": ("adhesive side down", "carrier up"),
    "count": ("quantity",),
    "gently": ("slowly",),
    "no iron": ("iron the inside only",),  # none on the print
    "glue down": ("glue side down", "adhesive side down"),
    "no cover": ("nothing over it",),
    "no second pressing": ("not press it again",),
    "non-stick sheet": ("silicone-coated release paper", "PTFE-coated"),
    "off the edge": ("off the heated area",),
    "off the platen": ("off the heated area",),
    "pad": ("pillow",),
    "plain paper": ("uncoated paper",),
    "print down": ("ink side down", "printed side down"),
    "print face down": ("printed side down", "print face up on the table"),
}

_PRESSING = re.compile(rf"({'|'.join(PRESSINGS)})(?: (\d))? +(\d+ °[CF]), (\d+ s), (\w+), (\w+)")
_MARKED = re.compile(r"\*([^*]+)\*")
_WORD = re.compile(r"\w+")
_MINUTES = re.compile(r"\b(\d+) min (\d+) s\b")
_FORBIDDEN = re.compile(r"no ", re.IGNORECASE)
_REFUSAL = re.compile(r"\b(?:no|not|never|nothing|nor|without)\b", re.IGNORECASE)
_QUANTITY = re.compile(r"(\d+(?:\.\d+)?) ?(°C|°F|s|min|h|mm|in)\b")


class PlanError(ValueError):
    """A plan that can't be read; the message names file and line."""


@dataclass(frozen=True, slots=True)
class Act:
    """What hands do, and the ids of the book's steps that do it (any one of them)."""

    stage: str
    does: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Setting:
    """One closing of the press: its name with the decoration's index, display, time, pressure word, peel."""

    pressing: str
    decoration: int | None
    display: str
    time: str
    pressure: str
    peel: str


@dataclass(frozen=True, slots=True)
class Step:
    """One thing the hands do, with what any plan has to say of it."""

    stage: str
    act: str
    text: str
    essentials: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """The steps of one pressing, or (without setting and stack) those done once for the job."""

    setting: Setting | None
    stack: tuple[str, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan as it was written."""

    title: str
    shop: str
    press: str
    source: str
    unsure: tuple[str, ...]
    settings: tuple[Setting, ...]
    parts: tuple[Part, ...]

    @property
    def steps(self) -> tuple[Step, ...]:
        """All steps, in the order of the hands."""
        return tuple(step for part in self.parts for step in part.steps)


@dataclass(frozen=True, slots=True)
class PrintedStep:
    """A step of the plan that is compared: the id of the book's step, its stage and its sentence."""

    id: str
    stage: str
    text: str


def read_acts() -> Mapping[str, Act]:
    """Every act by its name. Raises PlanError where a stage is unknown or a name stands in two stages."""
    acts: dict[str, Act] = {}
    for stage, table in tomllib.loads((PLANS / "acts.toml").read_text(encoding="utf-8")).items():
        for name, act in table.items():
            if stage not in STAGES or name in acts:
                raise PlanError(f"acts.toml: {stage}.{name} stands in an unknown stage or twice")
            acts[name] = Act(stage, act["does"], tuple(act["steps"]))
    return acts


def names() -> tuple[str, ...]:
    """The plans' names, in their order."""
    return tuple(sorted(file.stem for file in PLANS.glob("*.txt")))


def read_order(name: str) -> Order:
    """The order beside the plan."""
    return read(Order, json.loads((PLANS / f"{name}.json").read_text(encoding="utf-8")))


def read_plan(name: str, acts: Mapping[str, Act]) -> Plan:
    """The plan of that name. Raises PlanError."""
    return parse_plan((PLANS / f"{name}.txt").read_text(encoding="utf-8"), acts, name)


def parse_plan(text: str, acts: Mapping[str, Act], name: str) -> Plan:
    """A plan from its text; ``name`` is for messages. Raises PlanError."""
    head, _, body = text.partition("\n\n")
    once, unsure, settings = _head(head, name)
    parts = tuple(_parts(body, settings, acts, name))
    _check_again(parts, settings, name)
    return Plan(**once, unsure=unsure, settings=settings, parts=parts)


def _head(head: str, name: str) -> tuple[dict[str, str], tuple[str, ...], tuple[Setting, ...]]:
    once: dict[str, str] = {}
    unsure, settings = [], []
    for line in head.splitlines():
        key, _, value = line.partition(" ")
        if key in PRESSINGS:
            settings.append(_setting(line, name))
        elif key == "unsure":
            unsure.append(value.strip())
        elif key in ONCE and key not in once and value.strip():
            once[key] = value.strip()
        else:
            raise PlanError(f"{name}: {line!r} is empty, stands twice or begins with none of {', '.join(ONCE)}")
    if lacking := [key for key in ONCE if key not in once]:
        raise PlanError(f"{name}: the head lacks {', '.join(lacking)}")
    labels = [(setting.pressing, setting.decoration) for setting in settings]
    if len(set(labels)) != len(labels) or not any(pressing == "main" for pressing, _ in labels):
        raise PlanError(f"{name}: the head says a pressing twice or has no main one")
    return once, tuple(unsure), tuple(settings)


def _setting(line: str, name: str) -> Setting:
    parsed = _PRESSING.fullmatch(line)
    if parsed is None or parsed[5] not in FIRMNESS or parsed[6] not in PEELS:
        raise PlanError(f"{name}: {line!r} is not a pressing's display, time, pressure and peel")
    pressing, decoration, display, time, pressure, peel = parsed.groups()
    return Setting(
        pressing=pressing,
        decoration=None if decoration is None else int(decoration),
        display=display,
        time=time,
        pressure=pressure,
        peel=peel,
    )


def _parts(body: str, settings: Sequence[Setting], acts: Mapping[str, Act], name: str) -> Iterator[Part]:
    first, *later = re.split(r"^-- (.+)\n", body, flags=re.MULTILINE)
    labels, texts = later[::2], later[1::2]
    own = [setting for setting in settings if setting.pressing != "again"]
    if labels != [_label(setting) for setting in own]:
        raise PlanError(f"{name}: the parts are {labels}, the head's pressings {[_label(setting) for setting in own]}")
    yield _part(first, None, acts, name)
    for setting, text in zip(own, texts, strict=True):
        yield _part(text, setting, acts, f"{name}, {_label(setting)}")


def _label(setting: Setting) -> str:
    return setting.pressing if setting.decoration is None else f"{setting.pressing} {setting.decoration}"


def _part(text: str, setting: Setting | None, acts: Mapping[str, Act], name: str) -> Part:
    stacks = [line.partition(" ")[2] for line in text.splitlines() if line.startswith("stack ")]
    layers = tuple(layer.strip() for layer in "|".join(stacks).split("|")) if stacks else ()
    if len(stacks) != (setting is not None) or (stacks and (len(layers) < 4 or not all(layers))):
        raise PlanError(f"{name}: a pressing has one stack of at least four layers, the job's own steps have none")
    steps = tuple(_step(line, acts, name) for line in text.splitlines() if not line.startswith("stack "))
    for before, after in itertools.pairwise(steps):
        if STAGES.index(before.stage) > STAGES.index(after.stage):
            raise PlanError(f"{name}: {after.stage} {after.act} comes after {before.stage} {before.act}")
    return Part(setting, layers, steps)


def _step(line: str, acts: Mapping[str, Act], name: str) -> Step:
    stage, act, text = [*line.split(maxsplit=2), "", "", ""][:3]
    if act not in acts or acts[act].stage != stage:
        raise PlanError(f"{name}: acts.toml has no {stage} {act}")
    essentials = tuple(_MARKED.findall(text))
    if not essentials or text.count("*") % 2:
        raise PlanError(f"{name}: {stage} {act} marks nothing as essential, or a mark is left open")
    return Step(stage, act, text.replace("*", ""), essentials)


def _check_again(parts: Iterable[Part], settings: Iterable[Setting], name: str) -> None:
    again = sum(step.act == "press-again" for part in parts for step in part.steps)
    if again != sum(setting.pressing == "again" for setting in settings):
        raise PlanError(f"{name}: the head and the steps differ about the second pressing")


def printed(plan: RecommendedPlan) -> tuple[PrintedStep, ...]:
    """The steps of a recommended plan, in the order in which its prints are pressed."""
    return tuple(
        PrintedStep(step.id, step.stage, step.text) for index in plan.sequence for step in plan.decorations[index].steps
    )


def read_reviewed() -> Mapping[str, Mapping[str, str]]:
    """The differences that were read and stand: plan, the difference's own words, why."""
    return tomllib.loads((PLANS / "reviewed.toml").read_text(encoding="utf-8"))


def differences(parts: Sequence[Part], printed: Sequence[PrintedStep], acts: Mapping[str, Act]) -> tuple[str, ...]:
    """What ``printed`` leaves out of the written ``parts``: acts, their order, essentials. One sentence each.

    Acts that no step of the book is named for yet are left out, and a pressing beside the main one is held to one
    sentence. Several printed steps may do one act between them. Within a stage the order is free, and what is done
    once for the job may be printed with the print it is for. Numbers may differ as TOLERANCE and DWELL say.
    """
    sentences: list[str] = []
    once = next((index for index, step in enumerate(printed) if step.stage == "press"), len(printed))
    start = 0
    for part in parts:
        if part.setting is not None and part.setting.pressing in PRESSED_BY:
            sentences += _pressing_differences(part.setting, part.stack, printed)
            continue
        for stage, group in itertools.groupby(part.steps, key=lambda step: step.stage):
            reached = start
            for step in group:
                wanted = acts[step.act].steps
                if not wanted:
                    continue
                done = [index for index, printed_step in enumerate(printed) if printed_step.id in wanted]
                ahead = [index for index in done if index >= start]
                if not done:
                    sentences.append(f"{stage} {step.act} is missing: {step.text}")
                    continue
                if not ahead:
                    sentences.append(f"{stage} {step.act} comes too early: {printed[done[-1]].text}")
                reached = max([reached, *(index for index in ahead[:1] if part.setting is not None or index < once)])
                text = " ".join(printed[index].text for index in done)
                sentences += [
                    f"{stage} {step.act} lacks {word!r}: {text}" for word in step.essentials if not says(text, word)
                ]
            start = reached
    return tuple(sentences)


def _pressing_differences(setting: Setting, stack: Sequence[str], printed: Sequence[PrintedStep]) -> tuple[str, ...]:
    """What is left out of a pressing beside the main one: all of it, its display, or its time."""
    texts = [step.text for step in printed if step.id in PRESSED_BY[setting.pressing]]
    if not texts:
        return (f"pressing {_label(setting)} is missing: {' | '.join(stack)}",)
    text = " ".join(texts)
    return tuple(
        f"pressing {_label(setting)} lacks {word!r}: {text}"
        for word in (setting.display, setting.time)
        if not says(text, word)
    )


def says(text: str, essential: str) -> bool:
    """Whether a text says what is essential: each of its quantities, near enough, or else each of its words' stems."""
    quantities = _QUANTITY.findall(essential)
    if quantities:
        stated = _QUANTITY.findall(_MINUTES.sub(_in_seconds, text))
        return all(any(_near(wanted, quantity) for quantity in stated) for wanted in quantities)
    called = (essential, *SAME.get(essential.casefold(), ()))
    return any(_forbids(text, name) if _FORBIDDEN.match(name) else _names(text, name) for name in called)


def _names(text: str, name: str) -> bool:
    return all(re.search(rf"\b{word[:STEM]}", text, re.IGNORECASE) for word in _WORD.findall(name))


def _forbids(text: str, name: str) -> bool:
    """Whether the text keeps that away, for instance "no water": a part of a sentence says no before it names it."""
    forbidden = _FORBIDDEN.sub("", name)
    parts = re.split(r"[.:;]", text)
    return any(no and _names(part[no.end() :], forbidden) for part in parts for no in [_REFUSAL.search(part)])


def _in_seconds(minutes: re.Match[str]) -> str:
    return f"{int(minutes[1]) * 60 + int(minutes[2])} s"


def _near(wanted: tuple[str, str], printed: tuple[str, str]) -> bool:
    seconds = {"s": 1, "min": 60}
    (wanted_number, wanted_unit), (number, unit) = wanted, printed
    if wanted_unit in seconds and unit in seconds:
        wanted_s, other_s = float(wanted_number) * seconds[wanted_unit], float(number) * seconds[unit]
        return abs(wanted_s - other_s) <= DWELL * wanted_s
    return wanted_unit == unit and abs(float(wanted_number) - float(number)) <= TOLERANCE.get(unit, 0)
