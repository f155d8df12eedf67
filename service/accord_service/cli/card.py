"""A recommendation: the best plan as a card to be pinned above the press, then what an office wants to know of it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from types import MappingProxyType

from accord_service.api.plan_words import (
    Row,
    dwell_words,
    face_points,
    laid_in,
    pressing_words,
    print_words,
    sections,
    stage_words,
)
from accord_service.cli.output import Output, few
from accord_service.cli.show import say_heading, say_list, say_questions, say_samples, say_unsaid, style_of
from accord_service.cli.told import Document
from accord_service.steps.readable import plain_number

_LABEL_COLUMN = 14
_BAR = 9
_FACE_MARKS: Mapping[str, str] = MappingProxyType({"down": "▼", "up": "▲", "": "─"})


def show_recommendation(
    output: Output, file: str, recommendation: Document, most_plans: int, nearest: str | None = None
) -> None:
    """The best plans as cards, each with what an office wants; then the further plans and what was ruled out.

    ``nearest``: where there is no plan, the nearest change with which there would be one.
    """
    plans = recommendation["plans"]
    for plan in plans[:most_plans]:
        _card(output, plan, recommendation["reference"])
        _office(output, plan)
    _ways(output, file, recommendation)
    if nearest is not None:
        say_heading(output, "The nearest way")
        output.say(nearest, indent=4)
    _further(output, plans[most_plans:])
    say_questions(output, recommendation["needs"])
    show_ruled_out(output, recommendation, plans)


# -- the card --------------------------------------------------------------------------------------------------------


def _card(output: Output, plan: Document, reference: str | None) -> None:
    decorations = [plan["decorations"][index] for index in plan["sequence"]]
    prints = [print_words(plan, index) for index in plan["sequence"]]
    _head(output, plan, prints, reference)
    say_unsaid(output, plan["unsaid"])
    start = 1
    for place, decoration in enumerate(decorations):
        if len(decorations) > 1:
            output.blank()
            output.say(prints[place], lead=f"PRINT {place + 1} OF {len(decorations)}  ", lead_style=style_of("heading"))
        output.blank()
        _box(output, sections(decoration))
        _laid_in(output, decoration["explained"])
        _stacks(output, decoration["stacks"])
        start = _steps(output, decoration["steps"], start)
    say_list(output, "Take care", plan["cautions"])
    say_list(output, "Must be done", plan["conditions"], mark="[ ]")
    say_samples(output, plan["samples"])
    say_list(output, "Waiting times", _waits(plan, decorations))


def _head(output: Output, plan: Document, prints: Sequence[str], reference: str | None) -> None:
    output.blank()
    output.say("", lead=plan["piece_title"][:1].upper() + plan["piece_title"][1:], lead_style=style_of("heading"))
    several = len(prints) > 1
    rows = [(f"Print {place}" if several else "Print", words) for place, words in enumerate(prints, start=1)]
    rows.append(("Press", plan["press_title"]))
    rows += [("Quantity", f"{plan['order']['quantity']}")] if "quantity" in plan["order"] else []
    rows += [("Reference", reference)] if reference else []
    _rows(output, rows)
    if plan["conditions"]:
        output.say(
            "all that must be done, below, is done.",
            lead="  ONLY IF       ",
            lead_style=style_of("conditional"),
        )


def _rows(output: Output, rows: Iterable[Row]) -> None:
    for label, text in rows:
        output.say(text, lead=f"  {label}", indent=2 + _LABEL_COLUMN)


def _box(output: Output, sections: Iterable[list[Row]]) -> None:
    """Settings large: one a line, with space around, in a frame that is as wide as they are."""
    room = output.width - _LABEL_COLUMN - 8
    drawn = [["", *(line for row in rows for line in (*_boxed(output, row, room), ""))] for rows in sections]
    width = max(len(line) for lines in drawn for line in lines) + 3
    edge = "─" * width
    for place, lines in enumerate(drawn):
        output.draw(f"  ├{edge}┤" if place else f"  ┌{edge}┐")
        for line in lines:
            output.draw(f"  │   {line:<{width - 3}}│", style_of("heading"))
    output.draw(f"  └{edge}┘")


def _boxed(output: Output, row: Row, room: int) -> Iterator[str]:
    label, text = row
    for number, line in enumerate(textwrap.wrap(output.fit(text), room) or [""]):
        yield f"{'' if number else label:<{_LABEL_COLUMN}}{line}   "


def _laid_in(output: Output, explained: Document) -> None:
    rows = tuple(laid_in(explained))
    if rows:
        output.blank()
    _rows(output, rows)


def _stacks(output: Output, stacks: Sequence[Document]) -> None:
    """One a pressing; where there is only one, it needs no name."""
    for stack in stacks:
        named = "" if len(stacks) == 1 else f" ({pressing_words(stack['pressing']).lower()})"
        say_heading(output, f"Stack{named}, from the heat down")
        _stack(output, stack["layers"])


def _stack(output: Output, layers: Sequence[Document]) -> None:
    """One layer a line, as they lie on each other: platens thick, an arrow the way a face looks."""
    for place, layer in enumerate(layers):
        platen = place == 0 or (place == len(layers) - 1 and not layer["face"])
        bar = "█" * _BAR if platen else _FACE_MARKS[face_points(layer["face"])].center(_BAR, "─")
        output.say(f"{layer['what']}{layer['face'] and ', '}{layer['face']}", lead=f"    {bar}  ")


def _steps(output: Output, steps: Sequence[Document], start: int) -> int:
    """The steps, by stage, numbered from ``start`` on through all prints; the next number."""
    for stage, of_stage in groupby(steps, key=lambda step: step["stage"]):
        told = list(of_stage)
        say_heading(output, stage_words(stage, {step["id"] for step in told}))
        for number, step in enumerate(told, start=start):
            output.say(step["text"], lead=f"    {number:>2}. ")
            start = number + 1
    return start


def _waits(plan: Document, decorations: Sequence[Document]) -> Iterator[str]:
    for what, wait in (("bare skin bears it", "touch_wait"), ("it may be stacked", "stack_wait")):
        waits = [decoration[wait] for decoration in decorations]
        which = [f" after print {place}" if len({*waits}) > 1 else "" for place in range(1, len(waits) + 1)]
        yield from dict.fromkeys(f"Until {what}{after}: {shown}." for after, shown in zip(which, waits, strict=True))
    if plan["first_wash"] is not None:
        yield f"Until the first wash: {plan['first_wash']}."


# -- what an office wants ----------------------------------------------------------------------------------------------


def _office(output: Output, plan: Document) -> None:
    output.blank()
    output.draw("─" * output.width)
    output.say(plan["verdict"], lead=f"PLAN {plan['rank']}  ", lead_style=style_of(plan["verdict"]))
    several = len(plan["decorations"]) > 1
    for place, index in enumerate(plan["sequence"], start=1):
        say_heading(output, f"What will do for print {place}" if several else "What will do")
        _rows(output, _ranges(plan["decorations"][index]["explained"]))
    say_heading(output, "Why this one")
    output.say("; ".join(plan["reasons"]) + ".", lead="    ")
    output.say(_estimate(plan["estimate"]), lead="    ")


def _ranges(explained: Document) -> Iterator[Row]:
    """Label and text of what may be turned, and of the heat that is reached; a print only tacked has its tack alone."""
    if explained["main"]:
        yield from _main_ranges(explained)
    for pressing in explained["pressings"]:
        yield pressing_words(pressing["name"]).lower(), _pressing_range(pressing)
        yield "", pressing["heat"]["text"]
    if explained["main"] and explained["heat"] is not None:
        yield "heat", explained["heat"]["text"]


def _main_ranges(explained: Document) -> Iterator[Row]:
    window, dwells = explained["window"], explained["time_window"]
    inside = window["least_c"] <= explained["temperature_c"] <= window["most_c"]
    yield "temperature", f"{explained['temperature']} on the display; {_room(window['least'], window['most'], inside)}"
    # The ends above are the display's; what sets them is a limit of the surface, which differs from it.
    yield from (("", f"surface: {reason}") for reason in dict.fromkeys(window["because"]))
    dwell, least, most = map(dwell_words, (explained["time_s"], dwells["least_s"], dwells["most_s"]))
    inside = dwells["least_s"] <= explained["time_s"] <= dwells["most_s"]
    yield "time", f"{dwell}; {_room(least, most, inside)}"
    on_print = explained["on_print_shown"]
    yield "pressure", explained["pressure_shown"] + (f" (about {on_print} on the print)" if on_print else "")


def _room(least: str, most: str, inside: bool) -> str:
    """How far a setting may be turned; one that the order says itself may lie outside."""
    ends = least if least == most else f"{least} to {most}"
    if not inside:
        return f"as the order says, where {ends} would be surer"
    return "nothing else will do" if least == most else f"anything from {ends} will do"


def _pressing_range(pressing: Document) -> str:
    window, dwells = pressing["temperature_window"], pressing["time_window"]
    least, most = dwell_words(dwells["least_s"]), dwell_words(dwells["most_s"])
    ends = "" if window is None else f"{window['least']} to {window['most']}, "
    return f"{pressing['temperature']}, {dwell_words(pressing['time_s'])}; usual are {ends}{least} to {most}"


def _estimate(estimate: Document) -> str:
    parts = [f"about {dwell_words(round(estimate['minutes_each'] * 60))} a piece"]
    hours = estimate.get("hours_total")
    if hours is not None:
        parts.append(f"{dwell_words(max(60, round(hours * 60) * 60))} in all")
    if estimate.get("kwh_total_at_most") is not None:
        parts.append(f"at most {plain_number(estimate['kwh_total_at_most'])} kWh")
    return f"Takes {', '.join(parts)}."


def _ways(output: Output, file: str, recommendation: Document) -> None:
    """How many ways there are to do what was put, and whether that is all there are."""
    plans, complete = recommendation["plans"], recommendation["complete"]
    word = "accepted" if plans else "undetermined" if recommendation["needs"] or not complete else "rejected"
    none = "No way" if complete else "No way found so far"
    ways = f"{len(plans)} {'way' if len(plans) == 1 else 'ways'}" if plans else none
    reference = recommendation["reference"]
    output.blank()
    output.say(
        f"to do {file}{f'  ({reference})' if reference else ''}, by book revision {recommendation['revision']}.",
        lead=f"{ways} ",
        lead_style=style_of(word),
    )
    if not complete:
        output.say(
            "There are more combinations of transfers and presses than can be weighed: of each decoration only the best"
            " transfers were combined, and other ways may well exist. Name the press, or one or two of the transfers,"
            " to have the rest weighed whole."
        )


def _further(output: Output, plans: Sequence[Document]) -> None:
    if not plans:
        return
    say_heading(output, "Further ways (--plans shows more of them whole)")
    for (used, word, settings), alike in groupby(plans, key=_way):
        same = list(alike)
        ranks = f"{same[0]['rank']}-{same[-1]['rank']}" if len(same) > 1 else f"{same[0]['rank']}"
        presses = few([plan["press_title"] for plan in same], 4, "; ")
        output.say(f"{used} on {presses}: {word}; {settings}", lead=f"    {ranks:>5}. ")


def _way(plan: Document) -> tuple[str, str, str]:
    """What a plan does, whatever the press: transfers, verdict, and the settings that matter most."""
    used = " + ".join(decoration["title"] for decoration in plan["decorations"])
    settings = " / ".join(
        f"{explained['temperature']} on the display, {dwell_words(explained['time_s'])}, {explained['pressure_shown']}"
        for explained in (decoration["explained"] for decoration in plan["decorations"])
    )
    return used, plan["verdict"], settings


def show_ruled_out(output: Output, answer: Document, plans: Sequence[Document] = ()) -> None:
    """What will not do, of a recommendation or an envelope, and how many more there are."""
    _ruled_out(output, answer["ruled_out"], plans)
    if answer["ruled_out_left_out"]:
        output.say(f"And {answer['ruled_out_left_out']} more that will not do.", lead="    ")


def _ruled_out(output: Output, ruled_out: Sequence[Document], plans: Sequence[Document]) -> None:
    """Grouped by the rule that stands in the way; a press and transfer stand under each rule that blocks them.

    Why is told only where there is no plan: then it is the answer.
    """
    if not ruled_out:
        return
    say_heading(output, "Ruled out")
    presses_weighed = {way["press"] for way in (*ruled_out, *plans)} - {None}
    by_rule: dict[str, list[Document]] = {}
    findings: dict[str, Document] = {}
    for way in ruled_out:
        for finding in way["findings"]:
            by_rule.setdefault(finding["rule"], []).append(way)
            findings.setdefault(finding["rule"], finding)
    for rule, groups in sorted(by_rule.items(), key=lambda item: (-_pairs(item[1]), item[0])):
        finding = findings[rule]
        output.say(f"{finding['title']} [rule {rule}]", lead="    - ")
        if not plans:
            output.say(finding["because"], indent=6)
            if finding["fix"]:
                output.say(finding["fix"], lead="      Do: ")
        transfers = list(dict.fromkeys(title for group in groups for title in group["titles"]))
        presses = list(dict.fromkeys(group["press"] for group in groups))
        output.say(few(transfers, 4, "; "), lead="      with ")
        if None in presses:
            output.say("whatever the press", indent=6)
        else:
            output.say(
                "every press" if presses_weighed <= {*presses} else few([f"“{press}”" for press in presses], 4),
                lead="      on ",
            )


def _pairs(groups: Sequence[Document]) -> int:
    return sum(len(group["transfers"]) for group in groups)
