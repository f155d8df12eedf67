"""Verdicts and rules for a tired reader: the answer first, then why, then what to do."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from math import floor
from operator import itemgetter
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from accord_rules.documents import units
from accord_rules.documents.counted import counted
from accord_rules.documents.reading import Fault
from accord_rules.revision.rule import last_word
from accord_rules.revision.step import ALWAYS, PRINT
from accord_service.cli.codes import UNREAD
from accord_service.cli.columns import say_table
from accord_service.cli.orders import Refused
from accord_service.cli.output import Output, few
from accord_service.cli.told import Document, RestsOn, RulePage, RuleRow, Sourcing, StepPage, StepRow
from accord_service.steps.readable import amount

if TYPE_CHECKING:
    from accord_rules.revision.sourcing import SourcedRow

_STYLES: Mapping[str, Mapping[str, Any]] = MappingProxyType(
    {
        "blocks": {"fg": "red", "bold": True},
        "rejected": {"fg": "red", "bold": True},
        UNREAD: {"fg": "red", "bold": True},
        "requires": {"fg": "yellow", "bold": True},
        "conditional": {"fg": "yellow", "bold": True},
        "undetermined": {"fg": "magenta", "bold": True},
        "cautions": {"fg": "cyan", "bold": True},
        "accepted": {"fg": "green", "bold": True},
        "notes": {"bold": True},
        "heading": {"bold": True},
    }
)
_NOISE = 1e-6  # what turning a temperature may be off; bounds are rounded down
_SUMMARY = MappingProxyType(
    {
        "accepted": "It can be done.",
        "conditional": "It can be done if the conditions below are met.",
        "undetermined": "It cannot be said until the questions below are answered.",
        "rejected": "It must not be done like this.",
    }
)
_UNKNOWN = "This command does not know that word: ask a newer one, and do not press this until then."
_GOES: Mapping[str, str] = MappingProxyType({"cover": "under", "pad": "with", "tape": "with"})
_LEVEL_COLUMN = 13
_MOST_ALLOWED = 24
_PRESSES_TOLD_MOST = 2
_MAIN = "main"


def style_of(word: str) -> Mapping[str, Any]:
    """How a verdict's or level's word looks; one that is not known here as what stands against the order."""
    return _STYLES.get(word, _STYLES["blocks"])


# -- verdicts ------------------------------------------------------------------------------------------------------


def show_verdict(output: Output, file: str, verdict: Document, decorations: int, *, why: bool = False) -> None:
    """One verdict; ``decorations`` is how many the order has. ``why`` tells all presses that will not do, and all that
    was assumed with its reason; what could hurt somebody is told in any case, and first."""
    output.blank()
    _headline(output, verdict["verdict"], file, verdict["reference"])
    output.say(_SUMMARY.get(verdict["verdict"], _UNKNOWN) + _judged_on(verdict), lead="  ")
    say_unsaid(output, verdict["unsaid"])
    _not_there(output, verdict, None if why else _PRESSES_TOLD_MOST)
    # The list of conditions says what to do; under each finding it would be said twice.
    listed = verdict["verdict"] == "conditional"
    for finding, places in _alike(verdict["findings"]):
        shown = not (listed and finding["level"] == "requires")
        _finding(output, finding, _where(places, decorations), fix=shown)
    if listed:
        say_list(output, "Conditions to be met", verdict["conditions"], mark="[ ]")
    say_samples(output, verdict["samples"])
    say_questions(output, verdict["needs"])
    _chosen(output, verdict)
    _remedies(output, verdict)
    say_assumed(output, verdict["assumed"], why=why)


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
    _headline(output, UNREAD, file, None)
    output.say(f"{refused.title}{f': {refused.detail}' if refused.detail else ''}.", lead="  ")
    for fault in refused.faults:
        _fault(output, fault)


def show_refusal_brief(output: Output, file: str, refused: Refused) -> None:
    first = f": {refused.faults[0].pointer or 'the document'} {refused.faults[0].sentence}" if refused.faults else ""
    detail = f": {refused.detail}" if refused.detail else ""
    _one_line(output, UNREAD, f"{file}: {refused.title}{detail}{first}")


def _headline(output: Output, word: str, file: str, reference: str | None) -> None:
    output.say(f"{file}{f'  ({reference})' if reference else ''}", lead=f"{word.upper()}  ", lead_style=style_of(word))


def _one_line(output: Output, word: str, text: str) -> None:
    """Never wrapped: one line a file is what scripts and eyes that run down the left edge rely on."""
    wide = Output(10_000, output.encoding)
    wide.say(text, lead=f"{word:<13}", lead_style=style_of(word))


def _judged_on(verdict: Document) -> str:
    held = " The service answers from the last good book it holds." if verdict["basis"] == "held" else ""
    text = f" Judged for {_judged(verdict)['press_title']}"
    if verdict["verdict"] != "rejected":
        others = [judgement for judgement in verdict["presses"] if judgement["press"] != verdict["judged_on"]]
        can = [judgement["press_title"] for judgement in others if judgement["settings"] is not None]
        cannot = sorted(judgement["press_title"] for judgement in others if judgement["blocked_by"])
        text += f"; {few(can, 4)} would do as well" if can else ""
        text += f"; {few(cannot, 4)} would not" if cannot else ""
    return text + f". Book revision {verdict['revision']}." + held


def say_unsaid(output: Output, unsaid: str | None) -> None:
    """What was taken to hold and could hurt somebody, before anything that rests on it."""
    if unsaid is not None:
        output.say(unsaid, lead="  ")


def say_samples(output: Output, samples: Iterable[Document]) -> None:
    """The shop's own samples that stand for a test: what is pressed otherwise than they were has none."""
    for sample in samples:
        output.say(sample["text"], lead="  ")


def _not_there(output: Output, verdict: Document, most: int | None) -> None:
    """Why the other presses will not do, where this one will; ``most``: of so many, None for all."""
    if verdict["verdict"] == "rejected":
        return
    blocked = [judgement for judgement in verdict["presses"] if judgement["because"] is not None]
    for judgement in blocked[:most]:
        output.say(f"Not on {judgement['press']}: {judgement['because']}", lead="  - ")
    if left := blocked[len(blocked[:most]) :]:
        output.say(f"Nor on {len(left)} {'press' if len(left) == 1 else 'presses'} more (--why).", lead="  - ")


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
    style = style_of(level)
    output.say(f"{finding['title']}{where}", lead=f"  {level.upper()}", indent=_LEVEL_COLUMN, lead_style=style)
    output.say(finding["because"], indent=_LEVEL_COLUMN)
    if fix and finding["fix"]:
        output.say(finding["fix"], lead=" " * _LEVEL_COLUMN + "Do: ")
    house = ", your shop's own" if finding["layer"] == "house" else ""
    output.say(f"[rule {finding['rule']}{house}]", indent=_LEVEL_COLUMN)


def say_heading(output: Output, text: str) -> None:
    """A heading over what follows, with space above it."""
    output.blank()
    output.say("", lead=f"  {text}", lead_style=_STYLES["heading"])


def say_list(output: Output, heading: str, lines: Iterable[str], mark: str = "-") -> None:
    """A heading with a list under it; nothing where the list is empty."""
    items = list(lines)
    if not items:
        return
    say_heading(output, heading)
    for line in items:
        output.say(line, lead=f"    {mark} ")


def say_questions(output: Output, needs: Sequence[Document]) -> None:
    """What to ask, and where an order says it; nothing where nothing is asked."""
    if not needs:
        return
    say_heading(output, "Questions to answer")
    for need in needs:
        output.say(need["question"], lead="    ? ")
        none = " An empty list, [], says that there is nothing." if need["type"] == "list" else ""
        output.say(f"Say it in {need['pointer']}." + _one_of(need["allowed"]) + none, indent=6)


def _one_of(allowed: Sequence[str | bool]) -> str:
    words = [word if isinstance(word, str) else str(word).lower() for word in allowed]
    return f" One of: {few(words, _MOST_ALLOWED)}." if words else ""


def _chosen(output: Output, verdict: Document) -> None:
    """The settings, with the press they are for: on another one the same numbers can ruin the piece."""
    on = _judged(verdict)
    settings, sequence = on["settings"], on["sequence"]
    if settings is None:
        return
    say_heading(output, f"Settings on {on['press_title']}")
    several = len(settings) > 1
    for index in sequence:
        lead = f"    decoration {index + 1}: " if several else "    "
        output.say(settings_line(settings[index], on["titles"], on["pressings"][index]), lead=lead)
    if several:
        output.say(f"Press in this order: {_order_of(sequence)}.", lead="    ")


def _judged(verdict: Document) -> Document:
    """What the verdict says of the press that it is about."""
    return next(judgement for judgement in verdict["presses"] if judgement["press"] == verdict["judged_on"])


def settings_line(settings: Document, titles: Mapping[str, str], done: Sequence[str] = (_MAIN,)) -> str:
    """Settings in one sentence; what is not used is left out. ``titles``: how people say what they name.

    ``done``: the pressings that are done. Where main is not, the pressing in its place is told with what it takes over.
    """
    if _MAIN not in done:
        return ", ".join(f"{name} only: {settings_line(_in_place_of_main(settings, name), titles)}" for name in done)
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
    named = ((word, settings.get(part, "none")) for part, word in _GOES.items())
    parts += [f"{word} {titles.get(name, name)}" for word, name in named if name != "none"]
    for part, words in (("pre_press", "pre-press"), ("second_press", "second press")):
        if settings.get(part, "0 s") != "0 s":
            parts.append(f"{words} {settings[part]}")
    for name, pressing in settings.get("pressings", {}).items():
        values = (pressing.get("temperature"), pressing.get("time"))
        if any(values) and pressing.get("time") != "0 s":
            parts.append(f"{name} {' '.join(value for value in values if value)}")
    return ", ".join(parts)


def _in_place_of_main(settings: Document, name: str) -> Document:
    """Settings with those of another pressing laid over the main one's; what it leaves out is as in that."""
    rest = {part: value for part, value in settings.items() if part not in ("pressings", "second_press")}
    return {**rest, **settings["pressings"][name]}


def _order_of(sequence: Sequence[int]) -> str:
    return ", then ".join(f"decoration {index + 1}" for index in sequence)


def _remedies(output: Output, verdict: Document) -> None:
    remedies = verdict["remedies"]
    say_list(
        output, "What would work instead", (f"{remedy['text']} Then it is {remedy['verdict']}." for remedy in remedies)
    )
    if not verdict["remedies_complete"]:
        output.blank()
        more = "more remedies" if remedies else "a remedy"
        output.say(f"There are more changes than could be tried: there may well be {more}.", lead="  ")


def say_assumed(output: Output, assumed: Sequence[Document], *, why: bool) -> None:
    """What was taken to hold, with the reasons where ``why`` is asked; else only how much, since what of it could hurt
    somebody is told above everything."""
    if not assumed:
        return
    if not why:
        rest = sum(not assumption["could_hurt"] for assumption in assumed)
        if rest:
            output.blank()
            things = "thing was" if rest == 1 else "things were"
            output.say(f"{rest} other {things} not said and taken as usual; --why tells them.", lead="  ")
        return
    say_heading(output, "Not said, so taken as (first what could hurt somebody)")
    rows = (
        (_named(of["pointer"]), of["shown"], of["why"]) for of in sorted(assumed, key=lambda of: not of["could_hurt"])
    )
    say_table(output, ("what", "taken as", "why"), rows)


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


# -- the shop ------------------------------------------------------------------------------------------------------


def show_shop(output: Output, status: Document) -> None:
    """What is told of a shop's presses and samples once, and not with every order."""
    findings = status["findings"]
    if not findings:
        output.say("There is nothing to tell of these presses.")
    for title, told in groupby(findings, key=itemgetter("title")):
        output.blank()
        output.say(title, lead="  ", lead_style=_STYLES["notes"])
        for finding in told:
            output.say(finding["because"], lead="    - ")
    for press in status["calibration"]:
        stale = "; measure it again" if press["stale"] else ""
        curve = "; ".join(
            f"{point['display']} shown is {point['surface']}, ± {point['spread']}" for point in press["curve"]
        )
        output.blank()
        output.say(f"{curve}{stale}.", lead=f"  Probe readings of {press['press']}: ")
        for doubt in press["doubts"]:
            output.say(doubt, lead="    - ")
    for doubt in status.get("house_doubts", ()):
        output.blank()
        output.say(doubt["because"], lead=f"  House limit {doubt['limit']}: ")
    _show_waiting(output, status["readings_waiting"])
    for sample in status["samples"]:
        output.blank()
        output.say(" ".join(filter(None, (sample["text"], sample["why_not"]))), lead="  ")


def _show_waiting(output: Output, readings: Sequence[Document] | None) -> None:
    """What counts for nothing until the owner looks at it must not be overlooked."""
    if not readings:
        if readings is None:
            output.blank()
            output.say("Whether probe readings wait for the owner cannot be said while the store is away.", lead="  ")
        return
    output.blank()
    many = len(readings) > 1
    output.say(
        f"{counted(len(readings), 'probe reading')} {'wait' if many else 'waits'} for the owner and"
        f" count{'' if many else 's'} for nothing until confirmed:",
        lead="  ",
        lead_style=_STYLES["cautions"],
    )
    for reading in readings:
        output.say(reading_line(reading), lead="    - ")
        for note in reading_notes(reading):
            output.say(note, lead="      ")


def reading_notes(reading: Document) -> Iterator[str]:
    """What is unlikely about a probe reading, and which others count no more once it does."""
    yield from reading["doubts"]
    gone = [*filter(None, [reading["replaces"]]), *reading["contradicts"]]
    if gone:
        yield f"Once it counts, {' and '.join(gone)} {'counts' if len(gone) == 1 else 'count'} no more."


def reading_line(reading: Document) -> str:
    """One probe reading in a line: press, id, what was read, when, by whom, and who let it count."""
    by, owner = ((reading[name] or {}).get("holder") for name in ("entered_by", "confirmed_by"))
    spots = ", ".join(reading["surface"])
    called = f" ({', '.join(reading['press_names'])})" if reading["press_names"] else ""
    said = f"{reading['press_id']}{called} {reading['reading_id']}: {reading['display']} shown, {spots} read"
    taken = f" on {reading['taken_on']}" if reading["taken_on"] else ""
    return f"{said}{taken}{f' by {by}' if by else ''}{f', confirmed by {owner}' if owner else ''}"


# -- rules ---------------------------------------------------------------------------------------------------------


def show_rule(output: Output, shown: RulePage, *, edges: bool) -> None:
    """A rule, what it compares with, and what it rests on; ``edges`` tells the examples given as bare facts too."""
    rule = shown.rule
    level = rule["level"]
    output.say(rule["title"], lead=f"{level.upper()}  ", lead_style=style_of(level))
    output.say(f"Rule {shown.id}, topic {rule['topic']}, about the {rule['about']}. Book revision {shown.revision}.")
    fix = " ".join(filter(None, (rule["fix"], last_word([rule.get("defers_to", "")]))))
    for heading, text in (("Why", rule["because"]), ("What to do", fix)):
        say_heading(output, heading)
        output.say(_filled(text, shown.rests_on.limits), lead="    ")
    say_heading(output, "When")
    output.say(" ".join(rule["when"].replace("\\\n", " ").split()), lead="    ")
    _limits(output, shown.rests_on)
    _market_rows(output, shown.market_rows)
    say_sources(output, shown.rests_on.sources)
    if rule.get("step"):
        say_heading(output, "Step of the plan")
        output.say(f"{rule['step']}; accord step {rule['step']} tells it.", lead="    ")
    if rule.get("instead_of"):
        say_heading(output, "Speaks instead of")
        output.say(f"{', '.join(rule['instead_of'])}, where both hold.", lead="    ")
    for heading, key in (("Finds something in", "fires"), ("Stays silent in", "silent")):
        _examples(output, heading, rule[key], edges=edges)


def show_rules(output: Output, lines: Sequence[RuleRow]) -> None:
    """A list of rules, by topic."""
    for topic in sorted({line.topic for line in lines}):
        say_heading(output, topic)
        of_topic = [line for line in lines if line.topic == topic]
        widest = max(len(line.id) for line in of_topic)
        for line in of_topic:
            output.say(line.title, lead=f"    {line.level:<9} {line.id:<{widest}}  ")
    output.blank()
    output.say(f"{counted(len(lines), 'rule')}; accord rule ID tells one whole." if lines else "No rules.")


def show_step(output: Output, shown: StepPage, *, edges: bool) -> None:
    """A step, what it compares with, what it rests on, and which rules ask for it; ``edges`` as for a rule."""
    step = shown.step
    output.say(
        _filled(step["text"], shown.rests_on.limits), lead=f"{step['stage'].upper()}  ", lead_style=style_of("heading")
    )
    output.say(f"Step {shown.id}. Book revision {shown.revision}.")
    if step.get("instead_of"):
        output.say(f"It takes the place of {step['instead_of']}.")
    if step.get("why"):
        say_heading(output, "Why")
        output.say(step["why"], lead="    ")
    say_heading(output, "When")
    when = step.get("when", ALWAYS)
    output.say("in every plan" if when == ALWAYS else " ".join(when.replace("\\\n", " ").split()), lead="    ")
    if step.get("when_open") == PRINT:
        output.say("also while it is not known", lead="    ")
    if shown.rules:
        say_list(output, "Rules that ask for it", shown.rules)
    _limits(output, shown.rests_on)
    say_sources(output, shown.rests_on.sources)
    for heading, key in (("In the plan of", "fires"), ("Not in the plan of", "silent")):
        if step.get(key):
            _examples(output, heading, step[key], edges=edges)


def show_steps(output: Output, lines: Sequence[StepRow]) -> None:
    """A list of steps, by stage."""
    for stage, rows in groupby(lines, key=lambda line: line.stage):
        of_stage = list(rows)
        say_heading(output, stage)
        widest = max(len(line.id) for line in of_stage)
        for line in of_stage:
            output.say(_filled(line.text, {}), lead=f"    {line.id:<{widest}}  ")
    output.blank()
    output.say(f"{counted(len(lines), 'step')}; accord step ID tells one whole." if lines else "No steps.")


def show_migration(output: Output, cells: Sequence[Document]) -> None:
    """The table of dye migration: a line a cell, by dye, in both units, since nobody's press is known here."""
    output.say(
        "Surface of the hottest spot, 15 s: fine to / caution to / a test of 48 h or a blocker to; above, refused. "
        "By dye, then by share of polyester (rich, middle, lean) and by shade of the cloth."
    )
    for dye, of_dye in groupby(cells, key=lambda cell: cell["dye"]):
        say_heading(output, dye)
        for cell in of_dye:
            bounds_c = [units.parse(units.TEMPERATURE, cell[level]) for level in ("fine", "caution", "most")]
            levels = " = ".join(
                " / ".join(f"{floor(unit.outside(bound_c) + _NOISE)}" for bound_c in bounds_c) + f" {unit.symbol}"
                for unit in units.TEMPERATURE.units[:2]
            )
            sources = f"[{cell['seen']}: {', '.join(cell['sources'])}]"
            output.say(f"{levels}  {sources}", lead=f"    {cell['share']:<7} {cell['shade']:<7} ")


def show_left_out(output: Output, entries: Iterable[Document]) -> None:
    """What the book leaves out on purpose, why, and what to do."""
    entries = tuple(entries)
    if entries:
        say_heading(output, "Not covered, because")
    for entry in entries:
        output.say(f"{entry['title']}. {entry['because']} {entry['instead']}", lead="    ", indent=6)


def _filled(sentence: str, limits: Mapping[str, Document]) -> str:
    """A sentence of the book with the limits filled in; what depends on the order is named in brackets."""

    def value(match: re.Match[str]) -> str:
        if match.group(1) and match.group(2) in limits:
            return amount(limits[match.group(2)])
        return f"<{match.group(2).replace('.', ' ').replace('_', ' ')}>"

    return re.sub(r"\{(limit\()?([a-z0-9_.]+)\)?\}", value, sentence)


def _limits(output: Output, rests_on: RestsOn) -> None:
    if not rests_on.limits:
        return
    say_heading(output, "Limits")
    for name, limit in rests_on.limits.items():
        safety = " A safety limit: loosening it takes two stewards." if limit["safety"] else ""
        output.say(
            f"{limit['title']}: {amount(limit)}. A shop may only make it {limit['stricter']}.{safety}", lead="    - "
        )
        output.say(f"[{name}; {_words(rests_on.kinds[name])}: {', '.join(limit['sources'])}]", indent=6)
        if limit.get("note"):
            output.say(limit["note"], indent=6)


def _market_rows(output: Output, rows: Sequence[SourcedRow]) -> None:
    """The law of each market that a rule speaks of: a line a row."""
    if not rows:
        return
    say_heading(output, "Law")
    for row in rows:
        matter = row.matter.replace("_", " ")
        output.say(f"{matter} in the market {row.market} [{_words(row.kind)}: {', '.join(row.sources)}]", lead="    - ")


def say_sources(output: Output, sources: Mapping[str, Document]) -> None:
    """What something rests on: each source with how far it can be trusted."""
    say_heading(output, "Rests on")
    for name, source in sources.items():
        output.say(f"{_words(source['kind'])}: {source['title']} [{name}]", lead="    - ")
        output.say(source["text"], indent=6)


def _words(kind: str) -> str:
    """A kind of source as people say it."""
    return kind.replace("-", " ")


def show_sourcing(output: Output, shown: Sourcing) -> None:
    """What the book's numbers rest on: a line a room, then the safety limits, the worst-sourced first."""
    rooms = {name: [counts.get(kind, 0) for kind in shown.kinds] for name, counts in shown.rooms.items()}
    rooms["all"] = [sum(column) for column in zip(*rooms.values(), strict=True)]
    output.say("Share of numbers by what they rest on; of several sources the weakest counts.")
    output.blank()
    table = Output(10_000, output.encoding)
    heads = [_words(kind).rpartition(" ") for kind in shown.kinds]
    table.say("".join(f"{first:>10}" for first, _, _ in heads), lead=" " * 22)
    table.say("".join(f"{last:>10}" for last in ("numbers", *(last for _, _, last in heads))), lead=" " * 12)
    for name, counts in rooms.items():
        total = sum(counts)
        shares = "".join(f"{f'{count / max(total, 1):.0%}':>10}" for count in counts)
        table.say(f"{total:>10}{shares}", lead=f"{name.replace('_', ' '):<12}")
    say_heading(output, "Safety limits, the worst-sourced first")
    for limit in shown.safety_limits:
        output.say(f"{limit.title}: {limit.value}", lead=f"    {_words(limit.kind):<16} ")
        output.say(f"[{limit.id}: {', '.join(limit.sources)}]", indent=21)


def _examples(output: Output, heading: str, examples: Sequence[Document], *, edges: bool) -> None:
    orders = [example for example in examples if "facts" not in example]
    bare = [example for example in examples if "facts" in example]
    lines = list(map(_example, [*orders, *bare] if edges else orders))
    if bare and not edges:
        lines.append(f"{len(bare)} {'case' if len(bare) == 1 else 'cases'} at the edges of the limits (--edges)")
    say_list(output, heading, lines)


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
