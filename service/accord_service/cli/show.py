"""Verdicts, recommendations and rules for a tired reader: the answer first, then why, then what to do."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units
from accord_rules.documents.reading import Fault
from accord_rules.revision.step import ALWAYS, PRINT
from accord_service.cli.answerers import Document, RulePage, RuleRow, StepPage, StepRow
from accord_service.cli.orders import Refused
from accord_service.cli.output import Output, few

_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "blocks": {"fg": "red", "bold": True},
        "rejected": {"fg": "red", "bold": True},
        "refused": {"fg": "red", "bold": True},
        "requires": {"fg": "yellow", "bold": True},
        "conditional": {"fg": "yellow", "bold": True},
        "undetermined": {"fg": "magenta", "bold": True},
        "cautions": {"fg": "cyan", "bold": True},
        "accepted": {"fg": "green", "bold": True},
        "notes": {"bold": True},
        "heading": {"bold": True},
    }
)
_SUMMARY = MappingProxyType(
    {
        "accepted": "It can be done.",
        "conditional": "It can be done if the conditions below are met.",
        "undetermined": "It cannot be said until the questions below are answered.",
        "rejected": "It must not be done like this.",
    }
)
_UNKNOWN = "This command does not know that word: ask a newer one, and do not press this until then."
_LEVEL_COLUMN = 13
_LABEL_COLUMN = 16
_MOST_ALLOWED = 24
_MAIN_SETTINGS = ("temperature", "read_at", "time", "pressure")


def _style(word: str) -> Mapping[str, Any]:
    """How a verdict's or level's word looks; one that is not known here as what stands against the order."""
    return _STYLES.get(word, _STYLES["blocks"])


# -- verdicts ------------------------------------------------------------------------------------------------------


def show_verdict(output: Output, file: str, verdict: Document, decorations: int) -> None:
    """One verdict, whole; ``decorations`` is how many the order has."""
    output.blank()
    _headline(output, verdict["verdict"], file, verdict["reference"])
    output.say(_SUMMARY.get(verdict["verdict"], _UNKNOWN) + _judged_on(verdict), lead="  ")
    # The list of conditions says what to do; under each finding it would be said twice.
    listed = verdict["verdict"] == "conditional"
    for finding, places in _alike(verdict["findings"]):
        shown = not (listed and finding["level"] == "requires")
        _finding(output, finding, _where(places, decorations), fix=shown)
    if listed:
        _bullets(output, "Conditions to be met", verdict["conditions"], mark="[ ]")
    _needs(output, verdict["needs"])
    _chosen(output, verdict)
    _remedies(output, verdict)
    _assumed(output, verdict["assumed"])


def show_brief(output: Output, file: str, verdict: Document) -> None:
    """One verdict in one line: the gravest finding, or the first question."""
    rest = [finding["title"] for finding in verdict["findings"] if finding["level"] not in ("cautions", "notes")]
    if verdict["verdict"] == "undetermined":
        rest = [need["question"] for need in verdict["needs"]] or rest
    more = f": {rest[0]}" + (f" (and {len(rest) - 1} more)" if len(rest) > 1 else "") if rest else ""
    _one_line(output, verdict["verdict"], f"{file}{more}")


def show_refusal(output: Output, file: str, refused: Refused) -> None:
    """Why an order could not be judged."""
    output.blank()
    _headline(output, "refused", file, None)
    output.say(f"{refused.title}{f': {refused.detail}' if refused.detail else ''}.", lead="  ")
    for fault in refused.faults:
        _fault(output, fault)


def show_refusal_brief(output: Output, file: str, refused: Refused) -> None:
    first = f": {refused.faults[0].pointer or 'the document'} {refused.faults[0].sentence}" if refused.faults else ""
    detail = f": {refused.detail}" if refused.detail else ""
    _one_line(output, "refused", f"{file}: {refused.title}{detail}{first}")


def _headline(output: Output, word: str, file: str, reference: str | None) -> None:
    output.say(f"{file}{f'  ({reference})' if reference else ''}", lead=f"{word.upper()}  ", lead_style=_style(word))


def _one_line(output: Output, word: str, text: str) -> None:
    """Never wrapped: one line a file is what scripts and eyes that run down the left edge rely on."""
    wide = Output(10_000, output.encoding)
    wide.say(text, lead=f"{word:<13}", lead_style=_style(word))


def _judged_on(verdict: Document) -> str:
    held = " The service answers from the last good book it holds." if verdict["basis"] == "held" else ""
    text = f" Judged for the press {verdict['judged_on']}"
    if verdict["verdict"] != "rejected":
        others = [judgement for judgement in verdict["presses"] if judgement["press"] != verdict["judged_on"]]
        can = [judgement["press"] for judgement in others if judgement["settings"] is not None]
        cannot = sorted(judgement["press"] for judgement in others if judgement["blocked_by"])
        text += f"; {few(can, 4)} would do as well" if can else ""
        text += f"; {few(cannot, 4)} would not" if cannot else ""
    return text + f". Book revision {verdict['revision']}." + held


def _alike(findings: Sequence[Document]) -> list[tuple[Document, list[str]]]:
    """Each finding once, with every place of the order that it was found at."""
    alike: dict[tuple[str, str], tuple[Document, list[str]]] = {}
    for finding in findings:
        _, places = alike.setdefault((finding["rule"], finding["because"]), (finding, []))
        places.append(finding["pointer"])
    return list(alike.values())


def _where(pointers: Sequence[str], decorations: int) -> str:
    """Which decorations are meant, where there are several."""
    matches = (re.match(r"/decorations/(\d+)", pointer) for pointer in pointers)
    numbers = sorted({int(match.group(1)) + 1 for match in matches if match})
    if decorations < 2 or not numbers:
        return ""
    *rest, last = map(str, numbers)
    return f" (decorations {', '.join(rest)} and {last})" if rest else f" (decoration {last})"


def _finding(output: Output, finding: Document, where: str, *, fix: bool) -> None:
    output.blank()
    level = finding["level"]
    style = _style(level)
    output.say(f"{finding['title']}{where}", lead=f"  {level.upper()}", indent=_LEVEL_COLUMN, lead_style=style)
    output.say(finding["because"], indent=_LEVEL_COLUMN)
    if fix and finding["fix"]:
        output.say(finding["fix"], lead=" " * _LEVEL_COLUMN + "Do: ")
    house = ", your shop's own" if finding["layer"] == "house" else ""
    output.say(f"[rule {finding['rule']}{house}]", indent=_LEVEL_COLUMN)


def _heading(output: Output, text: str) -> None:
    output.blank()
    output.say("", lead=f"  {text}", lead_style=_STYLES["heading"])


def _bullets(output: Output, heading: str, lines: Iterable[str], mark: str = "-") -> None:
    items = list(lines)
    if not items:
        return
    _heading(output, heading)
    for line in items:
        output.say(line, lead=f"    {mark} ")


def _needs(output: Output, needs: Sequence[Document]) -> None:
    if not needs:
        return
    _heading(output, "Questions to answer")
    for need in needs:
        output.say(need["question"], lead="    ? ")
        output.say(f"Say it in {need['pointer']}." + _one_of(need["allowed"]), indent=6)


def _one_of(allowed: Sequence[str | bool]) -> str:
    words = [word if isinstance(word, str) else str(word).lower() for word in allowed]
    return f" One of: {few(words, _MOST_ALLOWED)}." if words else ""


def _chosen(output: Output, verdict: Document) -> None:
    """The settings, with the press they are for: on another one the same numbers can ruin the piece."""
    on = next(judgement for judgement in verdict["presses"] if judgement["press"] == verdict["judged_on"])
    settings, sequence = on["settings"], on["sequence"]
    if settings is None:
        return
    _heading(output, f"Settings on {on['press']}")
    several = len(settings) > 1
    for index in sequence:
        lead = f"    decoration {index + 1}: " if several else "    "
        output.say(settings_line(settings[index]), lead=lead)
    if several:
        output.say(f"Press in this order: {_order_of(sequence)}.", lead="    ")


def settings_line(settings: Document) -> str:
    """Settings as an order writes them, in one sentence; what is not used is left out."""
    parts = []
    if "temperature" in settings:
        where = "on the display" if settings.get("read_at", "display") == "display" else "at the surface"
        parts.append(f"{settings['temperature']} {where}")
    if "time" in settings:
        parts.append(settings["time"])
    if "pressure" in settings:
        word = settings["pressure"] in ("light", "medium", "firm")
        parts.append(f"{settings['pressure']} pressure" if word else f"{settings['pressure']} on the gauge")
    if settings.get("peel", "none") != "none":
        parts.append(f"peel {settings['peel']}")
    parts += [f"{part} {settings[part]}" for part in ("cover", "pad", "tape") if settings.get(part, "none") != "none"]
    for part, words in (("pre_press", "pre-press"), ("second_press", "second press")):
        if settings.get(part, "0 s") != "0 s":
            parts.append(f"{words} {settings[part]}")
    for name, pressing in settings.get("pressings", {}).items():
        values = (pressing.get("temperature"), pressing.get("time"))
        if any(values) and pressing.get("time") != "0 s":
            parts.append(f"{name} {' '.join(value for value in values if value)}")
    return ", ".join(parts)


def _order_of(sequence: Sequence[int]) -> str:
    return ", then ".join(f"decoration {index + 1}" for index in sequence)


def _remedies(output: Output, verdict: Document) -> None:
    remedies = verdict["remedies"]
    _bullets(
        output, "What would work instead", (f"{remedy['text']} Then it is {remedy['verdict']}." for remedy in remedies)
    )
    if not verdict["remedies_complete"]:
        output.blank()
        more = "other" if remedies else "any"
        output.say(f"There are more changes than could be tried: {more} remedies may well exist.", lead="  ")


def _assumed(output: Output, assumed: Sequence[Document]) -> None:
    """Only what was taken to hold: the reasons are in the raw document."""
    if not assumed:
        return
    _heading(output, "Not said, so taken as")
    output.say(
        "; ".join(f"{_named(assumption['pointer'])}: {assumption['shown']}" for assumption in assumed) + ".",
        lead="    ",
    )


def _named(pointer: str) -> str:
    """A pointer as a person says it: /decorations/0/artwork/finest_line is "artwork finest line"."""
    steps = [step.replace("_", " ") for step in pointer.split("/") if step]
    if steps[:1] == ["decorations"] and len(steps) > 2:
        number = int(steps[1]) + 1
        return " ".join(steps[2:]) + (f" of decoration {number}" if number > 1 else "")
    return " ".join(steps) or "the order"


def _fault(output: Output, fault: Fault) -> None:
    output.say(fault.pointer or "the document", indent=4)
    output.say(fault.sentence, indent=6)
    if not all(word in fault.message for word in fault.allowed):
        output.say(f"Allowed: {few(list(fault.nearest), _MOST_ALLOWED)}.", indent=6)


# -- recommendations ---------------------------------------------------------------------------------------------------


def show_recommendation(output: Output, file: str, recommendation: Document, most_plans: int) -> None:
    """The plans, best first, then what was ruled out."""
    plans = recommendation["plans"]
    complete = recommendation["complete"]
    word = "accepted" if plans else "undetermined" if recommendation["needs"] or not complete else "rejected"
    output.blank()
    reference = recommendation["reference"]
    none = "No way" if complete else "No way found so far"
    ways = f"{len(plans)} {'way' if len(plans) == 1 else 'ways'}" if plans else none
    output.say(
        f"to do {file}{f'  ({reference})' if reference else ''}, by book revision {recommendation['revision']}.",
        lead=f"{ways} ",
        lead_style=_style(word),
    )
    if not complete:
        output.say(
            "There are more combinations of transfers and presses than can be weighed: of each decoration only the best"
            " transfers were combined, and other ways may well exist. Name the press, or one or two of the transfers,"
            " to have the rest weighed whole."
        )
    for plan in plans[:most_plans]:
        _plan(output, plan)
    _further(output, plans[most_plans:])
    _needs(output, recommendation["needs"])
    _ruled_out(output, recommendation["ruled_out"], plans)
    if recommendation["ruled_out_left_out"]:
        output.say(f"And {recommendation['ruled_out_left_out']} more that will not do.", lead="    ")


def _plan(output: Output, plan: Document) -> None:
    output.blank()
    used = " + ".join(decoration["transfer"] for decoration in plan["decorations"])
    output.say(
        f"{used} on {plan['press']}: {plan['verdict']}",
        lead=f"PLAN {plan['rank']}  ",
        lead_style=_style(plan["verdict"]),
    )
    several = len(plan["decorations"]) > 1
    if several:
        output.say(f"Press in this order: {_order_of(plan['sequence'])}.", lead="  ")
    for index in plan["sequence"]:
        decoration = plan["decorations"][index]
        which = f" of decoration {index + 1}, {decoration['transfer']}" if several else ""
        _heading(output, f"Settings{which}, on {plan['press']}")
        _settings_table(output, decoration["explained"])
        _heading(output, "Stack, from the heat down")
        _stack(output, decoration["stack"])
        _heading(output, "Steps")
        for number, step in enumerate(decoration["steps"], start=1):
            output.say(step["text"], lead=f"    {number:>2}. ")
    _bullets(output, "Conditions to be met", plan["conditions"])
    _bullets(output, "Take care", plan["cautions"])
    _heading(output, "Why this one")
    output.say("; ".join(plan["reasons"]) + ".", lead="    ")
    output.say(_estimate(plan["estimate"]), lead="    ")


def _stack(output: Output, layers: Sequence[Document]) -> None:
    """One layer a line, as they lie on each other; what is hot or bears the rest is drawn thicker."""
    for place, layer in enumerate(layers):
        mark = "=" if place in (0, len(layers) - 1) else "-"
        output.say(f"{layer['what']}{layer['face'] and ', '}{layer['face']}", lead=f"    {3 * mark} ")


def _settings_table(output: Output, explained: Document) -> None:
    for label, text in _setting_rows(explained):
        output.say(text, lead=f"    {label}", indent=4 + _LABEL_COLUMN)


def _setting_rows(explained: Document) -> Iterator[tuple[str, str]]:
    """Label and text of each setting; what is not used has no row."""
    window, dwells = explained["window"], explained["time_window"]
    ends = f"{window['least']} to {window['most']}"
    inside = window["least_c"] <= explained["temperature_c"] <= window["most_c"]
    room = f"anything from {ends} will do" if inside else f"as the order says, where {ends} would be surer"
    yield "temperature", f"{explained['temperature']} on the display; {room}"
    # The ends above are the display's; what sets them is a limit of the surface, which differs from it.
    yield from (("", f"surface: {reason}") for reason in dict.fromkeys(window["because"]))
    dwell, least, most = map(_dwell, (explained["time_s"], dwells["least_s"], dwells["most_s"]))
    yield "time", f"{dwell}; anything from {least} to {most} will do"
    on_print = explained["on_print_shown"]
    yield "pressure", explained["pressure_shown"] + (f" (about {on_print} on the print)" if on_print else "")
    for name in ("peel", "cover", "pad", "tape", "pre_press", "second_press"):
        if explained[name] not in ("none", "0 s", None):
            yield name.replace("_", "-"), explained[name]
    for pressing in explained["pressings"]:
        peel = "" if pressing["peel"] == "none" else f", peel {pressing['peel']}"
        yield pressing["name"], f"{pressing['temperature']}, {pressing['time']}, {pressing['pressure_shown']}{peel}"
    if explained["heat"] is not None:
        yield "heat", explained["heat"]["text"]


def _dwell(seconds: float) -> str:
    return units.show(units.TIME, seconds)


def _estimate(estimate: Document) -> str:
    parts = [f"about {units.show(units.TIME, round(estimate['minutes_each'] * 60))} a piece"]
    hours = estimate.get("hours_total")
    if hours is not None:
        parts.append(f"{units.show(units.TIME, max(60, round(hours * 60) * 60))} in all")
    if estimate.get("kwh_total_at_most") is not None:
        parts.append(f"at most {estimate['kwh_total_at_most']:g} kWh")
    return f"Takes {', '.join(parts)}."


def _further(output: Output, plans: Sequence[Document]) -> None:
    if not plans:
        return
    _heading(output, "Further ways (--plans shows more of them whole)")
    for (used, word, settings), alike in groupby(plans, key=_way):
        same = list(alike)
        ranks = f"{same[0]['rank']}-{same[-1]['rank']}" if len(same) > 1 else f"{same[0]['rank']}"
        presses = few([plan["press"] for plan in same], 4)
        output.say(f"{used} on {presses}: {word}; {settings}", lead=f"    {ranks:>5}. ")


def _way(plan: Document) -> tuple[str, str, str]:
    """What a plan does, whatever the press: transfers, verdict, and the settings that matter most."""
    used = " + ".join(decoration["transfer"] for decoration in plan["decorations"])
    settings = " / ".join(
        settings_line({name: value for name, value in decoration["settings"].items() if name in _MAIN_SETTINGS})
        for decoration in plan["decorations"]
    )
    return used, plan["verdict"], settings


def _ruled_out(output: Output, ruled_out: Sequence[Document], plans: Sequence[Document]) -> None:
    """Grouped by the rule that stands in the way; a press and transfer stand under each rule that blocks them.

    Why is told only where there is no plan: then it is the answer.
    """
    if not ruled_out:
        return
    _heading(output, "Ruled out")
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
        transfers = list(dict.fromkeys(name for group in groups for name in group["transfers"]))
        presses = list(dict.fromkeys(group["press"] for group in groups))
        output.say(few(transfers, 4), lead="      with ")
        if None in presses:
            output.say("whatever the press", indent=6)
        else:
            output.say("every press" if presses_weighed <= {*presses} else few(presses, 4), lead="      on ")


def _pairs(groups: Sequence[Document]) -> int:
    return sum(len(group["transfers"]) for group in groups)


# -- rules ---------------------------------------------------------------------------------------------------------


def show_rule(output: Output, shown: RulePage, *, edges: bool) -> None:
    """A rule, what it compares with, and what it rests on; ``edges`` tells the examples given as bare facts too."""
    rule = shown.rule
    level = rule["level"]
    output.say(rule["title"], lead=f"{level.upper()}  ", lead_style=_style(level))
    output.say(f"Rule {shown.id}, topic {rule['topic']}, about the {rule['about']}. Book revision {shown.revision}.")
    for heading, text in (("Why", rule["because"]), ("What to do", rule["fix"])):
        _heading(output, heading)
        output.say(_filled(text, shown.limits), lead="    ")
    _heading(output, "When")
    output.say(" ".join(rule["when"].replace("\\\n", " ").split()), lead="    ")
    _limits(output, shown.limits)
    _sources(output, shown.sources)
    if rule.get("step"):
        _heading(output, "Step of the plan")
        output.say(f"{rule['step']}; accord step {rule['step']} tells it.", lead="    ")
    for heading, key in (("Finds something in", "fires"), ("Stays silent in", "silent")):
        _examples(output, heading, rule[key], edges=edges)


def show_rules(output: Output, lines: Sequence[RuleRow]) -> None:
    """A list of rules, by topic."""
    for topic in sorted({line.topic for line in lines}):
        _heading(output, topic)
        of_topic = [line for line in lines if line.topic == topic]
        widest = max(len(line.id) for line in of_topic)
        for line in of_topic:
            output.say(line.title, lead=f"    {line.level:<9} {line.id:<{widest}}  ")
    output.blank()
    output.say(f"{len(lines)} rules; accord rule ID tells one whole." if lines else "No rules.")


def show_step(output: Output, shown: StepPage, *, edges: bool) -> None:
    """A step, what it compares with, what it rests on, and which rules ask for it; ``edges`` as for a rule."""
    step = shown.step
    output.say(_filled(step["text"], shown.limits), lead=f"{step['stage'].upper()}  ", lead_style=_style("heading"))
    output.say(f"Step {shown.id}. Book revision {shown.revision}.")
    if step.get("instead_of"):
        output.say(f"It takes the place of {step['instead_of']}.")
    if step.get("why"):
        _heading(output, "Why")
        output.say(step["why"], lead="    ")
    _heading(output, "When")
    when = step.get("when", ALWAYS)
    output.say("in every plan" if when == ALWAYS else " ".join(when.replace("\\\n", " ").split()), lead="    ")
    if step.get("when_open") == PRINT:
        output.say("also while it is not known", lead="    ")
    if shown.rules:
        _bullets(output, "Rules that ask for it", shown.rules)
    _limits(output, shown.limits)
    _sources(output, shown.sources)
    for heading, key in (("In the plan of", "fires"), ("Not in the plan of", "silent")):
        if step.get(key):
            _examples(output, heading, step[key], edges=edges)


def show_steps(output: Output, lines: Sequence[StepRow]) -> None:
    """A list of steps, by stage."""
    for stage, rows in groupby(lines, key=lambda line: line.stage):
        of_stage = list(rows)
        _heading(output, stage)
        widest = max(len(line.id) for line in of_stage)
        for line in of_stage:
            output.say(_filled(line.text, {}), lead=f"    {line.id:<{widest}}  ")
    output.blank()
    output.say(f"{len(lines)} steps; accord step ID tells one whole." if lines else "No steps.")


def _filled(sentence: str, limits: Mapping[str, Document]) -> str:
    """A sentence of the book with the limits filled in; what depends on the order is named in brackets."""

    def value(match: re.Match[str]) -> str:
        if match.group(1) and match.group(2) in limits:
            return _amount(limits[match.group(2)])
        return f"<{match.group(2).replace('.', ' ').replace('_', ' ')}>"

    return re.sub(r"\{(limit\()?([a-z0-9_.]+)\)?\}", value, sentence)


def _amount(limit: Document, key: str = "value") -> str:
    """A limit's value with its unit, which the book leaves out only where the dimension is a plain number."""
    value = limit[key]
    if isinstance(value, str):
        return value
    return f"{value:g} {units.DIMENSIONS[limit['dimension']].symbol}".rstrip()


def _limits(output: Output, limits: Mapping[str, Document]) -> None:
    if not limits:
        return
    _heading(output, "Limits")
    for name, limit in limits.items():
        safety = " A safety limit: loosening it takes two stewards." if limit["safety"] else ""
        output.say(
            f"{limit['title']}: {_amount(limit)}. A shop may only make it {limit['stricter']}.{safety}", lead="    - "
        )
        output.say(f"[{name}; {', '.join(limit['sources'])}]", indent=6)
        if limit.get("note"):
            output.say(limit["note"], indent=6)


def _sources(output: Output, sources: Mapping[str, Document]) -> None:
    _heading(output, "Rests on")
    for name, source in sources.items():
        output.say(f"{source['kind'].replace('-', ' ')}: {source['title']} [{name}]", lead="    - ")
        output.say(source["text"], indent=6)


def _examples(output: Output, heading: str, examples: Sequence[Document], *, edges: bool) -> None:
    orders = [example for example in examples if "facts" not in example]
    bare = [example for example in examples if "facts" in example]
    lines = list(map(_example, [*orders, *bare] if edges else orders))
    if bare and not edges:
        lines.append(f"{len(bare)} {'case' if len(bare) == 1 else 'cases'} at the edges of the limits (--edges)")
    _bullets(output, heading, lines)


def _example(example: Document) -> str:
    """An example in a line: its note, then what differs from the quiet order of the book."""
    differences = ", ".join(_flat({key: value for key, value in example.items() if key not in ("note", "facts")}, ""))
    facts = ", ".join(f"{name} = {_written(value)}" for name, value in example.get("facts", {}).items())
    body = differences or facts or "the quiet order as it is"
    return f"{example['note']}: {body}" if "note" in example else body


def _flat(value: Any, name: str) -> list[str]:
    """A nested table as "decoration transfer cut-film", a list of them."""
    if isinstance(value, Mapping):
        return [
            line for key, element in value.items() for line in _flat(element, f"{name} {key.replace('_', ' ')}".strip())
        ]
    if isinstance(value, list) and any(isinstance(element, Mapping) for element in value):
        return [line for i, element in enumerate(value, start=1) for line in _flat(element, f"{name} {i}")]
    return [f"{name} {_written(value)}"]


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " + ".join(map(_written, value)) or "none"
    return "left out" if value == "" else str(value)
