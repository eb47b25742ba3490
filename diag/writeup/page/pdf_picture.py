"""Pictures of a write-up drawn in a PDF."""

from __future__ import annotations

from typing import Any

from diag.text import one_line
from diag.writeup.page.drawing import Picture, Shape
from diag.writeup.page.pdf_sheet import DARK, FONT, GREY, PALE, colour


def draw(picture: Picture, width: float) -> Any:
    """Return a reportlab drawing of a picture, scaled to `width` points."""
    from reportlab.graphics.shapes import Drawing, Group

    scale = width / picture.width
    drawing = Drawing(width, picture.height * scale)
    inner = Group(*(_shape(s) for s in picture.shapes))
    inner.scale(scale, scale)
    drawing.add(inner)
    return drawing


def _shape(s: Shape) -> Any:
    from reportlab.graphics.shapes import Circle, Line, Polygon, Rect, String

    ink, pale = colour(DARK), colour(GREY)
    outline = {"fillColor": None, "strokeColor": ink, "strokeWidth": 0.9}
    if s.kind in ("line", "dash"):
        return Line(s.x, s.y, s.x2, s.y2, strokeColor=ink if s.kind == "line" else pale, strokeWidth=0.5)
    if s.kind == "band":
        return Rect(s.x, s.y, max(0.0, s.x2), s.y2, fillColor=colour(PALE), strokeColor=None)
    if s.kind == "gap":
        look = {**outline, "strokeWidth": 0.6, "strokeDashArray": [2, 1.5]}
        return Rect(s.x, s.y, max(0.0, s.x2), s.y2, **look)
    if s.kind == "words":
        anchor = ("start", "middle", "end")[int(s.x2)]
        return String(s.x, s.y, one_line(s.text), fontName=FONT, fontSize=s.size, textAnchor=anchor, fillColor=ink)
    if s.kind == "dot":
        return Circle(s.x, s.y, 2.2, fillColor=ink, strokeColor=None)
    if s.kind == "ring":
        return Circle(s.x, s.y, 2.2, **outline)
    if s.kind == "square":
        return Rect(s.x - 2.2, s.y - 2.2, 4.4, 4.4, **outline)
    return Polygon([s.x, s.y + 3, s.x + 3, s.y - 2.4, s.x - 3, s.y - 2.4], **outline)
