"""A scene as SVG: presentation attributes alone, since the pages' Content-Security-Policy admits no styles in markup.

Each text is held to the width that it was placed by (``textLength``), whatever font the browser has.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from markupsafe import Markup

from accord_service.pages.ticket.scene import DASHED, DOTTED, Arrow, Dot, Line, Mark, Rect, Scene, Text

INKS: Mapping[str, str] = MappingProxyType({"ink": "#20272b", "soft": "#4d575d", "heat": "#a8321a", "paper": "#ffffff"})
FILLS: Mapping[str, str] = MappingProxyType(
    {
        **INKS,
        "none": "none",
        "platen": "#c9ced1",
        "sheet": "#f3ead2",
        "pad": "#cfe0d6",
        "carrier": "#dfe6ee",
        "print": "#a8321a",
        "piece": "#8fa7b5",
        "allowed": "#9cc3a8",
        "wide": "#e4efe7",
    }
)
FONTS = "Helvetica, Arial, 'Liberation Sans', Arimo, sans-serif"
_DASHES: Mapping[str, str] = MappingProxyType({DASHED: "1.2 0.8", DOTTED: "0.3 0.7"})


def svg(scene: Scene, *, name: str, hidden: bool = False) -> Markup:
    """The drawing, to stand in a page. ``name``: an id for its title; ``hidden``: from whoever has it read aloud, where
    the page says the same in words."""
    told = Markup('aria-hidden="true"') if hidden else Markup('role="img" aria-labelledby="{}"').format(name)
    head = Markup('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" font-family="{}" {}>').format(
        _n(scene.width), _n(scene.height), FONTS, told
    )
    title = Markup("") if hidden else Markup('<title id="{}">{}</title>').format(name, scene.title)
    return head + title + Markup("").join(_written(scene.marks)) + Markup("</svg>")


def _written(marks: tuple[Mark, ...]) -> Iterator[Markup]:
    for mark in marks:
        match mark:
            case Rect():
                yield _rect(mark)
            case Line():
                yield Markup('<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}"{}/>').format(
                    *map(_n, (mark.x1, mark.y1, mark.x2, mark.y2)), INKS[mark.ink], _n(mark.stroke), _dash(mark.style)
                )
            case Dot():
                yield Markup('<circle cx="{}" cy="{}" r="{}" fill="{}"/>').format(
                    *map(_n, (mark.x, mark.y, mark.radius)), FILLS[mark.fill]
                )
            case Arrow():
                points = " ".join(f"{_n(x)},{_n(y)}" for x, y in mark.corners)
                yield Markup('<polygon points="{}" fill="{}"/>').format(points, FILLS[mark.fill])
            case Text():
                yield _text(mark)


def _rect(rect: Rect) -> Markup:
    edge = (
        Markup("")
        if rect.edge is None
        else Markup(' stroke="{}" stroke-width="{}"{}').format(INKS[rect.ink], _n(rect.stroke), _dash(rect.edge))
    )
    return Markup('<rect x="{}" y="{}" width="{}" height="{}" fill="{}"{}/>').format(
        *map(_n, (rect.x, rect.y, rect.width, rect.height)), FILLS[rect.fill], edge
    )


def _text(text: Text) -> Markup:
    weight = Markup(' font-weight="700"') if text.bold else Markup("")
    return Markup(
        '<text x="{}" y="{}" font-size="{}" fill="{}" textLength="{}" lengthAdjust="spacingAndGlyphs"{}>{}</text>'
    ).format(_n(text.left), _n(text.y), _n(text.size), INKS[text.ink], _n(text.width), weight, text.text)


def _dash(style: str) -> Markup:
    dashes = _DASHES.get(style)
    return Markup("") if dashes is None else Markup(' stroke-dasharray="{}"').format(dashes)


def _n(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")
