"""Scenes as the pages of a PDF: the same bytes for the same scenes, with texts that can be selected.

The letters are Helvetica's, one of the fonts that every reader of PDF has: nothing is embedded. What is written has to
be in the letters that it has (``letters.in_plain_letters``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
from types import MappingProxyType
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from accord_service.pages.ticket.scene import DASHED, DOTTED, Arrow, Dot, Line, Mark, Rect, Scene, Text
from accord_service.pages.ticket.svg import FILLS, INKS

_DASHES: Mapping[str, tuple[float, ...]] = MappingProxyType({DASHED: (1.2, 0.8), DOTTED: (0.3, 0.7)})


def pdf(scenes: Sequence[Scene], size_mm: tuple[float, float], *, title: str, subject: str) -> bytes:
    """One page a scene, each as large as the paper allows."""
    out = BytesIO()
    # Without the time of day and with an id that follows from what is in it.
    canvas = Canvas(out, pagesize=(size_mm[0] * mm, size_mm[1] * mm), invariant=1, lang="en-GB", pageCompression=1)
    canvas.setTitle(title)
    canvas.setSubject(subject)
    canvas.setAuthor("")
    canvas.setCreator("Platen Accord")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for scene in scenes:
        scale = min(size_mm[0] / scene.width, size_mm[1] / scene.height) * mm
        canvas.saveState()
        canvas.translate(0, size_mm[1] * mm)
        canvas.scale(scale, -scale)  # from the upper left down, as scenes are
        for mark in scene.marks:
            _draw(canvas, mark)
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Any, mark: Mark) -> None:
    match mark:
        case Rect():
            if mark.edge is not None:
                _pen(canvas, mark.ink, mark.stroke, mark.edge)
            filled = mark.fill != "none"
            if filled:
                canvas.setFillColor(HexColor(FILLS[mark.fill]))
            canvas.rect(mark.x, mark.y, mark.width, mark.height, stroke=int(mark.edge is not None), fill=int(filled))
        case Line():
            _pen(canvas, mark.ink, mark.stroke, mark.style)
            canvas.line(mark.x1, mark.y1, mark.x2, mark.y2)
        case Dot():
            canvas.setFillColor(HexColor(FILLS[mark.fill]))
            canvas.circle(mark.x, mark.y, mark.radius, stroke=0, fill=1)
        case Arrow():
            path = canvas.beginPath()
            first, *others = mark.corners
            path.moveTo(*first)
            for corner in others:
                path.lineTo(*corner)
            path.close()
            canvas.setFillColor(HexColor(FILLS[mark.fill]))
            canvas.drawPath(path, stroke=0, fill=1)
        case Text():
            _write(canvas, mark)


def _pen(canvas: Any, ink: str, stroke: float, style: str) -> None:
    canvas.setStrokeColor(HexColor(INKS[ink]))
    canvas.setLineWidth(stroke)
    canvas.setDash(list(_DASHES.get(style, ())))


def _write(canvas: Any, text: Text) -> None:
    """Letters stand upright again on a canvas that is upside down."""
    written = canvas.beginText()
    written.setTextTransform(1, 0, 0, -1, text.left, text.y)
    written.setFont("Helvetica-Bold" if text.bold else "Helvetica", text.size)
    written.setFillColor(HexColor(INKS[text.ink]))
    written.textOut(text.text)
    canvas.drawText(written)
