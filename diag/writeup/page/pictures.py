"""Drawings for the PDF: rows side by side, the same measurement before and after, and spacings by class.

Shades of one slate tone that also print in grey; every bar carries its value in figures.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from diag.measure.spacing import CLASS_LIMITS
from diag.writeup.story.measured import FIRST_AGAIN
from diag.writeup.story.model import Pair, Story, Value

FONT = "Write"
DARK, LIGHT, LINE = (0.24, 0.29, 0.36), (0.66, 0.71, 0.77), (0.55, 0.55, 0.55)
EDGES = tuple(i / 4 for i in range(15))
MOST_BARS = 24
"""Groups in one drawing; a wider machine gets several."""
BY_ROW = "by row"
_ROW = re.compile(r"row (\d+)\b")


@dataclass(frozen=True)
class Bars:
    """Groups of bars: one group per place, one bar per series."""

    title: str
    groups: tuple[str, ...]
    series: tuple[tuple[str, tuple[float | None, ...], tuple[str, ...]], ...]
    """(name, values, texts)."""
    axis: str = ""
    """What the groups are."""


def pictures(story: Story) -> Iterator[Bars]:
    """Yield the drawings a story gives: before and after, row maps, spacings."""
    yield from _pairs(story.pairs)
    drawn = {p.check for p in story.pairs}
    for test in story.tests:
        rows = [v for v in test.values if _ROW.match(v.where) and v.number is not None]
        if len({v.where for v in rows}) >= 3 and test.check not in drawn and not test.pieces:
            drawn.add(test.check)
            yield from _row_maps(test.asks, rows)
        if test.spacings and test.target:
            yield histogram(f"{test.asks}, {test.where or 'all rows'} ({test.when})", test.spacings, test.target)


def _pairs(pairs: Sequence[Pair]) -> Iterator[Bars]:
    by_what: dict[str, list[Pair]] = {}
    for pair in pairs:
        if pair.before.number is not None and pair.after.number is not None:
            by_what.setdefault(pair.what, []).append(pair)
    for what, every in by_what.items():
        for start in range(0, len(every), MOST_BARS):
            members = every[start : start + MOST_BARS]
            yield Bars(
                f"{what}: before and after", tuple(_short(p.where) or "all" for p in members),
                (("before", tuple(p.before.number for p in members), tuple(p.before.text for p in members)),
                 ("after", tuple(p.after.number for p in members), tuple(p.after.text for p in members))),
                BY_ROW if any(_ROW.match(p.where) for p in members) else "",
            )


def _short(where: str) -> str:
    found = _ROW.match(where)
    if where == FIRST_AGAIN:
        return "again"
    return where.replace(f"row {found[1]}", found[1], 1) if found else where


def _row_maps(asks: str, rows: Sequence[Value]) -> Iterator[Bars]:
    for start in range(0, len(rows), MOST_BARS):
        shown = rows[start : start + MOST_BARS]
        values, texts = tuple(v.number for v in shown), tuple(v.text for v in shown)
        yield Bars(f"{asks}, by row", tuple(_short(v.where) for v in shown), (("reading", values, texts),), BY_ROW)


def histogram(title: str, spacings: Sequence[float], target: float) -> Bars:
    """Return how many spacings fall in each quarter of the target spacing; the last class holds all wider ones."""
    counts = [0] * len(EDGES)
    for s in spacings:
        counts[max(0, sum(s > e * target * (1 + 1e-9) for e in EDGES) - 1)] += 1
    names = tuple(f"{e:g}" for e in EDGES)
    low, high = CLASS_LIMITS[0], CLASS_LIMITS[1]
    told = f"{title}: {len(spacings)} spacings by multiples of the target (close up to {low:g}, gap above {high:g})"
    return Bars(told, names, (("spacings", tuple(map(float, counts)), tuple(str(c) if c else "" for c in counts)),),
                "lower limit of the class, times the target")


# --- drawing --------------------------------------------------------------------------------------------------


def draw(bars: Bars, width: float, height: float = 120.0) -> Any:
    """Return a reportlab drawing of at most `width` points."""
    from reportlab.graphics.shapes import Drawing, Line, String

    drawing = Drawing(width, height)
    floor, top = 26.0, height - 20.0
    highest = max((v for _, values, _ in bars.series for v in values if v is not None), default=0.0) or 1.0
    step = (width - 8.0) / max(1, len(bars.groups))
    drawing.add(Line(4, floor, width - 4, floor, strokeColor=_colour(LINE), strokeWidth=0.5))
    for g, name in enumerate(bars.groups):
        left = 4.0 + g * step
        for s, (_, values, texts) in enumerate(bars.series):
            _bar(drawing, left, step, s, len(bars.series), values[g], texts[g], floor, top, highest)
        size = min(7.0, 1.7 * step / max(1, len(name)))
        drawing.add(String(left + step / 2, floor - 9, name, fontName=FONT, fontSize=size, textAnchor="middle"))
    _legend(drawing, bars, 4.0)
    return drawing


def _bar(drawing: Any, left: float, step: float, s: int, of: int, value: float | None, text: str, floor: float,
         top: float, highest: float) -> None:
    from reportlab.graphics.shapes import Rect, String

    if value is None:
        return
    wide = step * 0.8 / of
    at = left + step * 0.1 + s * wide
    tall = max(0.0, value) / highest * (top - floor)
    shade = DARK if of == 1 or s == 1 else LIGHT
    look = {"fillColor": _colour(shade), "strokeColor": _colour(DARK), "strokeWidth": 0.3}
    drawing.add(Rect(at, floor, wide * 0.92, tall, **look))
    told = text.partition(" ")[0]
    size = min(6.5, 1.7 * wide / max(1, len(told)))
    drawing.add(String(at + wide * 0.46, floor + tall + 2, told, fontName=FONT, fontSize=size, textAnchor="middle"))


def _legend(drawing: Any, bars: Bars, left: float) -> None:
    from reportlab.graphics.shapes import Rect, String

    units = {t.partition(" ")[2] for _, _, texts in bars.series for t in texts}
    unit = units.pop() if len(units) == 1 else ""
    said = "; ".join(t for t in (unit if unit.startswith("of ") else unit and f"in {unit}", bars.axis) if t)
    if len(bars.series) == 1:
        drawing.add(String(left, 4, said, fontName=FONT, fontSize=7))
        return
    at = left
    for (name, _, _), shade in zip(bars.series, (LIGHT, DARK), strict=False):
        drawing.add(Rect(at, 4, 7, 7, fillColor=_colour(shade), strokeColor=_colour(DARK), strokeWidth=0.3))
        drawing.add(String(at + 10, 4, name, fontName=FONT, fontSize=7))
        at += 52
    drawing.add(String(at, 4, said, fontName=FONT, fontSize=7))


def _colour(rgb: tuple[float, float, float]) -> Any:
    from reportlab.lib.colors import Color

    return Color(*rgb)
