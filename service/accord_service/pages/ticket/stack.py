"""The stack of one pressing, to scale: from the heated platen down, named, with which face where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from accord_service.api.plan_words import face_points
from accord_service.pages.ticket.labels import Label, column, needed_mm
from accord_service.pages.ticket.scene import (
    ASCENT,
    DASHED,
    DESCENT,
    HEAT,
    INK,
    LINE,
    SMALLEST,
    SOFT,
    SOLID,
    Arrow,
    Mark,
    Rect,
    Scene,
    Text,
    wrapped,
)

Document = Mapping[str, Any]
LEAST_MM = 0.9  # what is thinner, or of unknown thickness, is drawn this high
_PLATEN_MM, _BETWEEN_MM = 2.6, 0.5
_SCALES = (50, 20, 10, 5, 2, 1, 0.5, 0.2)  # drawn mm a mm
_DRAWN_MOST_MM = 22.0
_ARROWS_MM, _LABELS_FROM = 3.2, 0.36
_CAPTION = 0.86  # of the size of its letters


def thickness_words(layer: Document) -> str:
    """How thick a layer is; empty where that is not known, or it has none of its own."""
    thickness = layer["thickness_mm"]
    return f"{thickness:g} mm" if thickness else ""


def layer_words(layer: Document) -> str:
    """How a layer lies and how thick it is: "printed side down, 0.1 mm"; empty where there is nothing to say."""
    return ", ".join(filter(None, (layer["face"], thickness_words(layer))))


def stack_words(layers: Sequence[Document]) -> str:
    """A stack in a sentence."""
    told = "; ".join(", ".join(filter(None, (layer["what"], layer_words(layer)))) for layer in layers)
    return f"from the heat down {told}."


def stack_scene(layers: Sequence[Document], width: float, size: float, name: str = "") -> Scene:
    """The drawing, ``width`` mm wide, with letters of ``size`` mm; as high as it has to be."""
    left, right = _ARROWS_MM, width * _LABELS_FROM
    room = width - right - 4.0
    labels_mm = needed_mm([_label(layer, 0.0, size, room) for layer in layers])
    scale = _scale(layers, max(_DRAWN_MOST_MM, labels_mm))
    heights = [_drawn_mm(layer, scale) for layer in layers]
    drawn_mm = sum(heights) + _BETWEEN_MM * (len(layers) - 1)
    head = size * (LINE + 0.4)
    body_mm = max(drawn_mm, labels_mm)
    marks: list[Mark] = [Text(x=0.0, y=size * ASCENT, text=name or "From the heat down", size=size, ink=SOFT)]
    labels: list[Label] = []
    arrows = 0
    y = head + (body_mm - drawn_mm) / 2
    for layer, height in zip(layers, heights, strict=True):
        marks.append(_band(layer, height, scale, left, right - left, y))
        points = face_points(layer["face"])
        if points:  # in turns in two columns, so that those of thin layers stay apart
            marks.append(Arrow(x=0.8 + 1.6 * (arrows % 2), y=y + height / 2, size=1.5, points=points))
            arrows += 1
        labels.append(_label(layer, y + height / 2, size, room))
        y += height + _BETWEEN_MM
    marks += column(labels, tie=right, left=width - room, top=head, bottom=head + body_mm)
    foot = head + body_mm + size * 0.5
    small = max(SMALLEST, size * _CAPTION)
    caption = wrapped(_caption(layers, scale), small, width)
    for number, line in enumerate(caption):
        marks.append(Text(x=0.0, y=foot + small * (ASCENT + number * LINE), text=line, size=small, ink=SOFT))
    height = foot + small * ((len(caption) - 1) * LINE + ASCENT + DESCENT)
    return Scene(width, height, tuple(marks), f"{name or 'Stack'}: {stack_words(layers)}")


def _label(layer: Document, at: float, size: float, room: float) -> Label:
    first = wrapped(layer["what"], size, room, bold=True)
    words = layer_words(layer)
    rest = wrapped(words, size, room) if words else ()
    return Label(at, first, rest, size)


def _is_thin(layer: Document, scale: float) -> bool:
    return layer["kind"] != "platen" and (layer["thickness_mm"] or 0.0) * scale < LEAST_MM


def _drawn_mm(layer: Document, scale: float) -> float:
    if layer["kind"] == "platen":
        return _PLATEN_MM
    return max(LEAST_MM, (layer["thickness_mm"] or 0.0) * scale)


def _scale(layers: Sequence[Document], most_mm: float) -> float:
    """The largest scale at which all of it is no higher than that; the smallest where none is."""
    between = _BETWEEN_MM * (len(layers) - 1)
    return next(
        (scale for scale in _SCALES if sum(_drawn_mm(layer, scale) for layer in layers) + between <= most_mm),
        _SCALES[-1],
    )


def _band(layer: Document, height: float, scale: float, left: float, width: float, y: float) -> Rect:
    return Rect(
        x=left,
        y=y,
        width=width,
        height=height,
        fill=layer["kind"],
        edge=DASHED if _is_thin(layer, scale) else SOLID,
        ink=HEAT if layer["kind"] == "platen" else INK,
        stroke=0.15,
    )


def _caption(layers: Sequence[Document], scale: float) -> str:
    """What is to scale and what is not."""
    ratio = f"{scale:g} : 1" if scale >= 1 else f"1 : {1 / scale:g}"
    thin = any(_is_thin(layer, scale) for layer in layers)
    exact = any(layer["kind"] != "platen" and not _is_thin(layer, scale) for layer in layers)
    drawn = f"Thickness {ratio}, platens not to scale" if exact else "Not to scale"
    dashed = f"; dashed: drawn {LEAST_MM:g} mm high, but thinner or not known" if thin else ""
    return f"{drawn}{dashed}."
