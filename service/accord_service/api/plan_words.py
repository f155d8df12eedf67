"""How people say what a plan has: the words of stages and pressings, and what is set for each pressing.

The card of the command and the job ticket of the pages have them from here.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from accord_rules.documents import units

Document = Mapping[str, Any]
Row = tuple[str, str]

# What the hands are at in each stage of a plan; a stage that is not here stands as the answer has it.
STAGE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "check": "Check first",
        "dress": "Make ready",
        "dry": "Clean and dry",
        "place": "Lay on",
        "fix": "Fix",
        "cover": "Cover",
        "press": "Press",
        "lift": "Open",
        "peel": "Peel",
        "again": "Press again",
        "cool": "Let cool",
        "finish": "Look it over, and finish",
        "care": "Give with the goods",
    }
)
# The pressings of a print in the order they come; sheets are married before the piece is on the press.
PRESSING_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "marry": "MARRY SHEETS",
        "adhesive": "ADHESIVE",
        "tack": "TACK",
        "main": "PRESS",
        "reverse": "FROM THE BACK",
        "again": "ONCE MORE",
    }
)
# A press in the hand does not open: it is lifted.
_LIFTED_BY, _LIFT = "into-stand", "Lift"
# A shrink sleeve stays on until the piece is cold, and takes the paper along whatever else the print would bear.
_PEELED_IN_SLEEVE, _IN_SLEEVE = "cut-shrink-sleeve", "COLD, WITH THE SLEEVE"
_BEFORE_PIECE = "marry"


def stage_words(stage: str, step_ids: Collection[str]) -> str:
    """A stage as people say it, by the steps it has."""
    return _LIFT if _LIFTED_BY in step_ids else STAGE_WORDS.get(stage, stage)


def pressing_words(name: str) -> str:
    """A pressing that is not known here stands as the answer has it: left out, the card would be wrong."""
    return PRESSING_WORDS.get(name, name.upper())


def print_words(plan: Document, index: int) -> str:
    """A print by what it is, how large, and where: "cut film, soft matte, 8 in x 6 in, front"."""
    planned = plan["decorations"][index]
    placement = plan["order"]["decorations"][index].get("placement", "")
    return ", ".join(filter(None, (planned["title"], planned["size_shown"], placement.replace("-", " "))))


def sections(planned: Document) -> Iterator[list[Row]]:
    """What is set for each pressing of a print, in the order in which they come; a piece is dried before anything lies
    on it.

    Label and text a row; where there are several pressings, each begins with its name and no text.
    """
    explained = planned["explained"]
    in_sleeve = any(step["id"] == _PEELED_IN_SLEEVE for step in planned["steps"])
    closings = {pressing["name"]: pressing for pressing in explained["pressings"]}
    if explained["main"]:
        closings["main"] = explained
    named = [*closings] != ["main"]
    for name in dict.fromkeys((*PRESSING_WORDS, *closings)):
        if name in closings:
            yield [*([(pressing_words(name), "")] if named else []), *_dials(closings[name], name, in_sleeve=in_sleeve)]
        if name == _BEFORE_PIECE and explained["pre_press_s"]:
            yield [("PRE-PRESS", f"{dwell_words(explained['pre_press_s'])}, without the print")]


def _dials(set_: Document, name: str, *, in_sleeve: bool) -> list[Row]:
    """What is set for a pressing; that nothing is peeled is told of the main one alone."""
    peel = _IN_SLEEVE if in_sleeve else set_["peel"] or "none"
    return [
        ("DISPLAY", set_.get("temperature_instead") or set_["temperature"]),
        ("TIME", set_.get("time_instead") or dwell_words(set_["time_s"])),
        *_replaced(set_),
        ("PRESSURE", _pressure(set_["pressure_shown"])),
        *([("PEEL", peel.upper())] if peel != "none" or name == "main" else []),
    ]


def _replaced(set_: Document) -> Iterator[Row]:
    """What the order says where a condition tells another figure: small, so that nobody dials it."""
    ordered = {"temperature": set_["temperature"], "time": dwell_words(set_["time_s"])}
    replaced = [shown for name, shown in ordered.items() if set_.get(f"{name}_instead")]
    if replaced:
        yield "INSTEAD OF", f"{' and '.join(replaced)} as ordered: see what must be done"


def _pressure(shown: str) -> str:
    """A word stands large; what a gauge shows stays as its unit is written."""
    if re.search(r"\d", shown):
        return shown
    return shown.removesuffix(" pressure").replace(" hand", ", by hand").upper()


def laid_in(explained: Document) -> Iterator[Row]:
    """Cover, pad and tape, as far as there are any."""
    for part in ("cover", "pad", "tape"):
        if explained[f"{part}_title"]:
            yield part.capitalize(), explained[f"{part}_title"]


def face_points(face: str) -> str:
    """Which way the face of a layer looks: down is away from the heat, as inwards is on what is wrapped; empty for what
    has no faces."""
    way = face.rpartition(" ")[2]
    return "down" if way in ("down", "inwards") else "up" if way in ("up", "outwards") else ""


def dwell_words(seconds: float) -> str:
    """A time as a timer is set."""
    return units.show(units.TIME, seconds)
