"""A picture as SVG, for the web form: colours come from the page, so that light and dark both read."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from diag.text import one_line
from diag.writeup.page.drawing import Picture, Shape


def svg(picture: Picture) -> str:
    """Return a picture as an SVG element with its title and the same in words for those who cannot see it."""
    inner = "".join(_element(s, picture.height) for s in picture.shapes)
    title, says = escape(one_line(picture.title)), escape(one_line(picture.says))
    return (f'<svg role="img" viewBox="0 0 {picture.width:g} {picture.height:g}" xmlns="http://www.w3.org/2000/svg">'
            f"<title>{title}</title><desc>{says}</desc>{inner}</svg>")


def _element(shape: Shape, height: float) -> str:
    return "".join(_parts(shape, height))


def _parts(s: Shape, height: float) -> Iterator[str]:
    x, y = s.x, height - s.y
    if s.kind in ("line", "dash"):
        yield f'<line class="{s.kind}" x1="{x:.2f}" y1="{y:.2f}" x2="{s.x2:.2f}" y2="{height - s.y2:.2f}"/>'
    elif s.kind in ("band", "gap"):
        yield (f'<rect class="{s.kind}" x="{x:.2f}" y="{y - s.y2:.2f}" '
               f'width="{max(0.0, s.x2):.2f}" height="{s.y2:.2f}"/>')
    elif s.kind == "words":
        anchor = ("start", "middle", "end")[int(s.x2)]
        yield (f'<text x="{x:.2f}" y="{y:.2f}" font-size="{s.size:.2f}" text-anchor="{anchor}">'
               f"{escape(one_line(s.text))}</text>")
    elif s.kind in ("dot", "ring"):
        yield f'<circle class="{s.kind}" cx="{x:.2f}" cy="{y:.2f}" r="2.4"/>'
    elif s.kind == "square":
        yield f'<rect class="ring" x="{x - 2.3:.2f}" y="{y - 2.3:.2f}" width="4.6" height="4.6"/>'
    else:
        yield f'<path class="ring" d="M{x:.2f} {y - 3:.2f}l3 5.4h-6z"/>'
