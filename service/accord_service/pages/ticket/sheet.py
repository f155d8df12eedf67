"""A ticket laid out on sheets to print: one for each print, and more where its steps do not fit on one.

Everything is laid out on a sheet 210 mm high and scaled to the paper, so that Letter has the same sheet as A5, larger
and a little wider. What is read at arm's length stands on top in the largest letters that fit; the steps get what room
is left, in letters as large as it allows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby

import segno

from accord_service.api.plan_words import pressing_words
from accord_service.pages.ticket.chart import chart_scene, window_words
from accord_service.pages.ticket.scene import (
    ASCENT,
    DASHED,
    DESCENT,
    INK,
    LINE,
    SOFT,
    Arrow,
    Line,
    Mark,
    Rect,
    Scene,
    Text,
    width_of,
    words_of,
    wrapped,
)
from accord_service.pages.ticket.stack import stack_scene, stack_words
from accord_service.pages.ticket.told import CUT_HERE, PAPERS, Dials, Document, Part, Stage, Told, with_times

HEIGHT = 210.0
_MARGIN, _GUTTER = 6.0, 4.0
# Sizes of letters that steps may have, the largest first, mm; the least is 5.1 pt on A5, 6.8 pt on Letter.
_STEPS = tuple(2.9 - 0.05 * number for number in range(23))
_HEAD = 2.3
_MAIN = pressing_words("main").capitalize()
_CODE_MM = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Style:
    """How much room the upper part of a sheet takes: sizes of letters in mm, settings beside each other, whether every
    stack is drawn or the main one alone, with the others in words, and whether the window is drawn, or told in words
    with the steps beside the stack."""

    largest: float
    drawn: float
    heeded: float
    setting: float
    columns: int
    all_stacks: bool
    window: bool = True


# The first with which everything fits on one sheet is taken, else the last.
_STYLES = (
    _Style(largest=14.0, drawn=1.9, heeded=2.0, setting=2.7, columns=4, all_stacks=True),
    _Style(largest=14.0, drawn=1.9, heeded=2.0, setting=2.6, columns=4, all_stacks=False),
    _Style(largest=11.0, drawn=1.75, heeded=2.0, setting=2.3, columns=5, all_stacks=False),
    _Style(largest=11.0, drawn=1.75, heeded=1.8, setting=2.3, columns=5, all_stacks=False, window=False),
)


@dataclass(frozen=True, slots=True)
class Block:
    """Some marks from an upper left corner, and how high they are, mm."""

    height: float
    marks: tuple[Mark, ...] = ()

    def at(self, x: float, y: float) -> tuple[Mark, ...]:
        return Scene(0.0, self.height, self.marks).at(x, y)


_NOTHING = Block(0.0)


def sheets(told: Told, paper: str) -> tuple[Scene, ...]:
    """The sheets of a ticket on a paper of ``PAPERS``, in order; each says which it is of how many."""
    wide, high = PAPERS[paper]
    width = wide / high * HEIGHT
    laid_out = [scene for part in told.parts for scene in _part_sheets(told, part, width)]
    if len(laid_out) == 1:
        return tuple(laid_out)
    return tuple(
        _numbered(scene, f"Sheet {number} of {len(laid_out)}") for number, scene in enumerate(laid_out, start=1)
    )


def _numbered(scene: Scene, page: str) -> Scene:
    """With which sheet it is, at the end of its first line."""
    base = _MARGIN + _HEAD * ASCENT
    label = Text(x=scene.width - _MARGIN, y=base, text=page, size=_HEAD, bold=True, anchor="end")
    return replace(scene, marks=(*scene.marks, label))


def _part_sheets(told: Told, part: Part, width: float) -> Iterator[Scene]:
    """The sheets of one print: the first has everything, further ones only steps that had no room."""
    room = width - 2 * _MARGIN
    foot = [_footer(told, room), *([_slip(told, room)] if part.place == len(told.parts) and told.slip else [])]
    for style in _STYLES:
        head = [*_top(told, part, room, style), *_warnings(told, part, room, style)]
        if style.window:
            head.append(_drawings(told, part, room, style))
            beside = _NOTHING
        else:
            head += _window_in_words(told, part, room, style)
            beside = _drawn_stack(part, room, style)
        steps, rest = _fitting(part.stages, room, _free(head, foot), beside)
        if not rest:
            break
    yield _sheet(told, [*head, steps], foot, width)
    while rest:
        head, foot = [_running_head(told, room)], [_footer(told, room)]
        steps, rest = _two_columns(rest, room, _free(head, foot))
        yield _sheet(told, [*head, steps], foot, width)


def _free(head: Iterable[Block], foot: Iterable[Block]) -> float:
    """The height that is left between them."""
    return HEIGHT - 2 * _MARGIN - sum(block.height for block in (*head, *foot))


def _sheet(told: Told, head: Iterable[Block], foot: Sequence[Block], width: float) -> Scene:
    """Blocks from the top down, and those of the foot at the bottom."""
    marks: list[Mark] = []
    y = _MARGIN
    for block in head:
        marks += block.at(_MARGIN, y)
        y += block.height
    y = HEIGHT - _MARGIN - sum(block.height for block in foot)
    for block in foot:
        marks += block.at(_MARGIN, y)
        y += block.height
    return Scene(width, HEIGHT, tuple(marks), told.title)


# -- the top -----------------------------------------------------------------------------------------------------------


def _top(told: Told, part: Part, room: float, style: _Style) -> Iterator[Block]:
    """What it is about, beside the verdict's id as a code; then what is set, as large as there is room."""
    beside = room - _CODE_MM - 3.0
    piece = f"{told.quantity} x {told.piece}" if told.quantity else told.piece
    several = f"Print {part.place} of {len(told.parts)}: " if len(told.parts) > 1 else ""
    about = _below(
        _running_head(told, beside),
        _lines(piece[:1].upper() + piece[1:], 3.4, beside, bold=True),
        _lines(f"{several}{part.name}", 2.6, beside),
        Block(1.6, (_rule(beside, 0.8),)),
        _lines(told.press[:1].upper() + told.press[1:], 4.2, beside, bold=True),
    )
    code = code_scene(told.verdict_id, _CODE_MM).at(room - _CODE_MM, _HEAD * LINE)
    yield Block(max(about.height, _HEAD * LINE + _CODE_MM), (*about.marks, *code))
    yield _large(part.large, room, style.largest)
    yield from (_other(dials, room) for dials in part.others)
    yield _grid((*part.rows, *part.waits), room, style)


def _below(*blocks: Block) -> Block:
    """Blocks one below the other."""
    marks: list[Mark] = []
    y = 0.0
    for block in blocks:
        marks += block.at(0.0, y)
        y += block.height
    return Block(y, tuple(marks))


def _running_head(told: Told, room: float) -> Block:
    """Whose ticket it is; the end of the line is left for which sheet it is."""
    what = " · ".join(filter(None, ("Job ticket", told.shop, told.reference)))
    line = wrapped(what, _HEAD, room - 20.0)[0]
    return Block(_HEAD * LINE + 0.6, (Text(x=0.0, y=_HEAD * ASCENT, text=line, size=_HEAD, ink=SOFT),))


def _large(dials: Dials, room: float, most: float) -> Block:
    """Display and dwell, as large as both fit beside each other."""
    label, gap = 2.3, 8.0
    figures = width_of(dials.display, 1.0, bold=True) + width_of(dials.time, 1.0, bold=True)
    size = min(most, (room - gap) / figures)
    base = label * LINE + size * ASCENT
    beside = width_of(dials.display, size, bold=True) + gap
    name = f"{dials.name}: " if dials.name else ""
    marks = (
        Text(x=0.0, y=label * ASCENT, text=f"{name}DISPLAY", size=label, ink=SOFT),
        Text(x=beside, y=label * ASCENT, text=f"{name}DWELL", size=label, ink=SOFT),
        Text(x=0.0, y=base, text=dials.display, size=size, bold=True),
        Text(x=beside, y=base, text=dials.time, size=size, bold=True),
    )
    return Block(base + size * DESCENT, marks)


def _other(dials: Dials, room: float) -> Block:
    """A pressing beside the main one, in a line."""
    more = ", ".join(f"{label.lower()} {text.lower()}" for label, text in dials.more)
    runs = [(f"{dials.name}: {dials.display}, {dials.time}", True), (f"; {more}", False)]
    return _run_lines([run for run in runs if run[0] != "; "], 3.4, room)


def _grid(rows: Sequence[tuple[str, str]], room: float, style: _Style) -> Block:
    """Label over text, several beside each other."""
    columns, size = style.columns, style.setting
    wide = (room - (columns - 1) * 3.0) / columns
    label = 1.75
    marks: list[Mark] = []
    y = 0.8
    for start in range(0, len(rows), columns):
        most = 0
        for place, (name, text) in enumerate(rows[start : start + columns]):
            x = place * (wide + 3.0)
            lines = wrapped(text, size, wide, bold=True)
            marks.append(Text(x=x, y=y + label * ASCENT, text=name, size=label, ink=SOFT))
            for number, line in enumerate(lines):
                base = y + label * LINE + size * (ASCENT + number * LINE)
                marks.append(Text(x=x, y=base, text=line, size=size, bold=True))
            most = max(most, len(lines))
        y += label * LINE + most * size * LINE + 0.8
    return Block(y, tuple(marks))


# -- what to heed ------------------------------------------------------------------------------------------------------


def _warnings(told: Told, part: Part, room: float, style: _Style) -> Iterator[Block]:
    """Each kind with a sign and a word, so that no colour is needed to tell them."""
    for heed in (*told.heeds, *part.heeds):
        for sentence in heed.sentences:
            yield _warning(heed.word.upper(), sentence, room, style.heeded, warns=heed.kind == "warns")


def _warning(word: str, sentence: str, room: float, size: float, *, warns: bool) -> Block:
    left = 4.2
    text = _run_lines([(f"{word}: ", True), (sentence, False)], size, room - left)
    middle = 0.5 + size * LINE / 2
    sign: tuple[Mark, ...] = (
        (Arrow(x=1.5, y=middle, size=2.9, points="up", fill="heat"), *_exclamation(1.5, middle))
        if warns
        else (Rect(x=0.5, y=middle - 1.0, width=2.0, height=2.0, stroke=0.3),)
    )
    return Block(text.height + 0.7, (*sign, *text.at(left, 0.5)))


def _exclamation(x: float, y: float) -> tuple[Mark, ...]:
    """The mark in a triangle that warns."""
    return (
        Line(x1=x, y1=y - 0.35, x2=x, y2=y + 0.4, ink="paper", stroke=0.35),
        Line(x1=x, y1=y + 0.65, x2=x, y2=y + 0.95, ink="paper", stroke=0.35),
    )


# -- drawings ----------------------------------------------------------------------------------------------------------


def _drawings(told: Told, part: Part, room: float, style: _Style) -> Block:
    """Stacks on the left, the window on the right; without a window the stacks beside each other."""
    wide = (room - _GUTTER) / 2
    drawn = part.stacks if style.all_stacks else (_main_stack(part),)
    scenes = [stack_scene(layers, wide, style.drawn, name) for name, layers in drawn]
    if part.explained is None:
        columns = (scenes[::2], scenes[1::2])
    else:
        columns = (scenes, [chart_scene(part.explained, told.units, wide, 0.0, style.drawn)])
    marks: list[Mark] = []
    height = 0.0
    for place, column in enumerate(columns):
        y = 1.5
        for scene in column:
            marks += scene.at(place * (wide + _GUTTER), y)
            y += scene.height + 1.2
        height = max(height, y)
    return _below(Block(height, tuple(marks)), *_stacks_in_words(part, drawn, room, style), Block(0.6))


def _main_stack(part: Part) -> tuple[str, tuple[Document, ...]]:
    return next((stack for stack in part.stacks if stack[0] in ("", _MAIN)), part.stacks[0])


def _stacks_in_words(part: Part, drawn: Sequence[object], room: float, style: _Style) -> Iterator[Block]:
    """Those that are not drawn."""
    for stack in part.stacks:
        if stack not in drawn:
            yield _run_lines([(f"{stack[0]}: ", True), (stack_words(stack[1]), False)], style.drawn, room)


def _window_in_words(told: Told, part: Part, room: float, style: _Style) -> Iterator[Block]:
    """What the drawings say beside the main stack."""
    yield Block(0.8)
    if part.explained is not None:
        words = window_words(part.explained, told.units)
        yield _run_lines([("Window: ", True), (words, False)], style.drawn, room)
    yield from _stacks_in_words(part, (_main_stack(part),), room, style)
    yield Block(1.2)


def _drawn_stack(part: Part, room: float, style: _Style) -> Block:
    """The main stack alone, a column wide."""
    name, layers = _main_stack(part)
    scene = stack_scene(layers, (room - _GUTTER) / 2, style.drawn, name)
    return Block(scene.height + 1.2, scene.marks)


# -- steps -------------------------------------------------------------------------------------------------------------


def _fitting(stages: Sequence[Stage], room: float, free: float, beside: Block) -> tuple[Block, tuple[Block, ...]]:
    """All steps in letters as large as fit, or in the smallest with those that then have no room."""
    least, most = 0, len(_STEPS) - 1  # the largest that fits lies between, where any does
    while least < most:
        middle = (least + most) // 2
        _, rest = _two_columns(tuple(_step_blocks(stages, room, _STEPS[middle])), room, free, beside)
        least, most = (middle + 1, most) if rest else (least, middle)
    return _two_columns(tuple(_step_blocks(stages, room, _STEPS[most])), room, free, beside)


def _two_columns(
    blocks: Sequence[Block], room: float, free: float, beside: Block = _NOTHING
) -> tuple[Block, tuple[Block, ...]]:
    """As many blocks as fit into two columns, as even as they can be, and those that have no room; the first column
    begins with ``beside``."""
    total = beside.height + sum(block.height for block in blocks)
    height = min(free, max(beside.height, total / 2))
    while True:
        columns, rest = _filled(blocks, height, beside.height)
        if not rest or height >= free:
            break
        height = min(free, height + 0.5)
    marks: list[Mark] = [*beside.marks]
    for place, column in enumerate(columns):
        y = 0.0 if place else beside.height
        for block in column:
            marks += block.at(place * (room + _GUTTER) / 2, y)
            y += block.height
    return Block(max(0.0, height), tuple(marks)), tuple(rest)


def _filled(blocks: Sequence[Block], height: float, taken: float) -> tuple[list[list[Block]], list[Block]]:
    """Two columns of that height, of which the first has so much taken, and what has no room."""
    columns: list[list[Block]] = [[], []]
    rest = list(blocks)
    for column, used in zip(columns, (taken, 0.0), strict=True):
        while rest and used + rest[0].height <= height + 1e-9:
            used += rest[0].height
            column.append(rest.pop(0))
    return columns, rest


def _step_blocks(stages: Sequence[Stage], room: float, size: float) -> Iterator[Block]:
    """One a step; the first of a stage begins with its name."""
    wide, indent = (room - _GUTTER) / 2, size * 1.9
    for stage in stages:
        for place, (number, text) in enumerate(stage.steps):
            name = [(f"{stage.name.upper()}: ", True)] if place == 0 else []
            said = _run_lines([*name, *with_times(text)], size, wide - indent)
            base = 0.15 + size * ASCENT
            marks = Text(x=indent - size * 0.4, y=base, text=f"{number}", size=size, bold=True, anchor="end")
            yield Block(0.15 + said.height, (marks, *said.at(indent, 0.15)))


# -- the foot ----------------------------------------------------------------------------------------------------------


def _footer(told: Told, room: float) -> Block:
    """The verdict's id, and who stands behind it."""
    size = 1.9
    return _below(
        Block(1.4, (_rule(room, 0.8),)),
        _lines(f"Verdict {told.verdict}: {told.verdict_id}", size, room, bold=True),
        *(_lines(sentence, size, room) for sentence in told.signed),
        Block(0.6),
    )


@lru_cache(maxsize=64)
def code_scene(text: str, size: float) -> Scene:
    """A text as a QR code (ISO/IEC 18004), quiet zone included, ``size`` mm wide and high."""
    rows = [list(row) for row in segno.make(text, error="m", micro=False).matrix_iter(border=4)]
    module = size / len(rows)
    marks: list[Mark] = [Rect(x=0.0, y=0.0, width=size, height=size, fill="paper", edge=None)]
    for y, row in enumerate(rows):
        start = None
        for x, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                # A hair wider, so that no light shows between two rows.
                wide, high = (x - start) * module + 0.01, module + 0.01
                marks.append(Rect(x=start * module, y=y * module, width=wide, height=high, fill="ink", edge=None))
                start = None
    return Scene(size, size, tuple(marks), f"QR code: {text}")


def _slip(told: Told, room: float) -> Block:
    """What is cut off for the customer: nothing of the shop's own but its name."""
    size = 2.4
    cut_width = width_of(CUT_HERE, 1.9)
    shop = told.shop
    marks = (
        Text(x=0.0, y=2.6, text=CUT_HERE, size=1.9, ink=SOFT),
        Line(x1=cut_width + 1.5, y1=2.0, x2=room, y2=2.0, style=DASHED, ink=SOFT, stroke=0.3),
        Text(x=room, y=4.2 + 2.9 * ASCENT, text=shop, size=2.1, anchor="end"),
    )
    said = _below(
        Block(4.2),
        _lines(told.slip_title, 2.9, room - width_of(shop, 2.1) - 4.0, bold=True),
        *(_lines(sentence, size, room) for sentence in told.slip),
    )
    return Block(said.height, (*marks, *said.marks))


# -- texts -------------------------------------------------------------------------------------------------------------


def _rule(room: float, y: float) -> Line:
    return Line(x1=0.0, y1=y, x2=room, y2=y, ink=INK, stroke=0.3)


def _lines(text: str, size: float, room: float, *, bold: bool = False) -> Block:
    lines = wrapped(text, size, room, bold=bold)
    marks = (
        Text(x=0.0, y=size * (ASCENT + number * LINE), text=line, size=size, bold=bold)
        for number, line in enumerate(lines)
    )
    return Block(size * LINE * len(lines), tuple(marks))


def _run_lines(runs: Iterable[tuple[str, bool]], size: float, room: float) -> Block:
    """Text of which some is bold, in lines: what is alike and stands beside each other on a line is one text."""
    lines: list[list[tuple[str, bool]]] = [[]]
    used, space = 0.0, width_of(" ", size)
    for word, bold, glued in _words(runs):
        gap = 0.0 if glued or not lines[-1] else space
        wide = width_of(word, size, bold=bold)
        if lines[-1] and used + gap + wide > room:
            lines.append([])
            used, gap = 0.0, 0.0
        lines[-1].append((f" {word}" if gap else word, bold))
        used += gap + wide
    marks: list[Mark] = []
    for number, line in enumerate(lines):
        x = 0.0
        for bold, alike in groupby(line, key=lambda piece: piece[1]):
            said = "".join(word for word, _ in alike)
            x += space * (len(said) - len(said.lstrip()))
            said = said.lstrip()
            marks.append(Text(x=x, y=size * (ASCENT + number * LINE), text=said, size=size, bold=bold))
            x += width_of(said, size, bold=bold)
    return Block(size * LINE * len(lines), tuple(marks))


def _words(runs: Iterable[tuple[str, bool]]) -> Iterator[tuple[str, bool, bool]]:
    """Words with whether they are bold, and whether they are glued to the word before."""
    spaced = True
    for text, bold in runs:
        for place, word in enumerate(words_of(text.strip())):
            yield word, bold, not spaced and place == 0 and not text[:1].isspace()
        spaced = text[-1:].isspace()
