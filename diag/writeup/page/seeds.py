"""Seeds as they lay, before and after a repair, to scale: dots along one ruler, gaps as boxes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate

from diag.measure.spacing import CLASS_LIMITS
from diag.text import count, number
from diag.units import UNITS
from diag.writeup.page.drawing import WIDTH, Picture, Shape
from diag.writeup.story.model import MadeTest, Story

MOST_SEEDS = 60
"""Seeds of one strip; a longer run shows its first ones and says so."""


def seed_strip(story: Story) -> Picture | None:
    """Return the seeds before and after the repair (or as found alone) along one scale; None where none were dug."""
    dug = [t for t in story.tests
           if len(t.spacings) >= 5 and t.target and not t.pieces and t.when in ("before", "after")]
    if not dug:
        return None
    after = next((t for t in reversed(dug) if t.when == "after"), None)
    same = [t for t in dug if t.when == "before"
            and (after is None or (t.check, t.where) == (after.check, after.where))]
    shown = [*same[-1:], *([after] if after else [])] or dug[-1:]
    cut = [_cut(t) for t in shown]
    longest = max(sum(c) for c in cut)
    scale = (WIDTH - 66) / longest
    height = 18.0 + 24.0 * len(shown)
    shapes: list[Shape] = []
    says = []
    for i, (test, gaps) in enumerate(zip(shown, cut, strict=True)):
        base = height - 10 - 24 * i
        name = "after" if test is after else "before"
        shapes.append(Shape("words", 0, base - 2.5, text=name))
        shapes += _seeds(gaps, test.target or 1.0, scale, base)
        close, wide = _faults(gaps, test.target or 1.0)
        rest = f", the first {len(gaps)} of {len(test.spacings)} spaces" if len(gaps) < len(test.spacings) else ""
        says.append(f"{name}: {len(gaps)} spaces shown, {count(wide, 'gap')} and "
                    f"{count(close, 'close pair')}{rest}")
    taped = any(shown[0].reading.endswith(u) for u in (" mm", " cm", " m"))
    metric = story.record.units == "metric" if story.record.units else taped
    shapes += _ruler(longest, scale, "m" if metric else "ft")
    key = "dot: seed, box: gap over 1.5 targets, triangle: closer than half"
    what = f"{shown[-1].asks}, {shown[-1].where or 'all rows'}: the seeds as they lay, to scale ({key})"
    return Picture(what, "; ".join(says), WIDTH, height, shapes=tuple(shapes))


def _cut(test: MadeTest) -> tuple[float, ...]:
    return test.spacings[:MOST_SEEDS]


def _faults(gaps: Sequence[float], target: float) -> tuple[int, int]:
    low, high = CLASS_LIMITS[0] * target, CLASS_LIMITS[1] * target
    return sum(g <= low * (1 + 1e-9) for g in gaps), sum(g > high * (1 + 1e-9) for g in gaps)


def _seeds(gaps: Sequence[float], target: float, scale: float, base: float) -> Iterator[Shape]:
    places = [0.0, *accumulate(gaps)]
    for start, gap in zip(places, gaps, strict=False):
        if gap > CLASS_LIMITS[1] * target * (1 + 1e-9):
            yield Shape("gap", 60 + start * scale + 2.5, base - 5, x2=gap * scale - 5, y2=10)
    yield Shape("line", 60, base - 7, x2=60 + places[-1] * scale, y2=base - 7)
    for i, place in enumerate(places):
        close = i > 0 and gaps[i - 1] <= CLASS_LIMITS[0] * target * (1 + 1e-9)
        yield Shape("triangle" if close else "dot", 60 + place * scale, base)


def _ruler(longest: float, scale: float, unit: str) -> Iterator[Shape]:
    one = UNITS[unit].factor
    step = next(n for n in (0.5, 1, 2, 5, 10, 20, 50, 100, 1000) if n * one * 12 >= longest)
    for i in range(int(longest / (step * one) + 1e-9) + 1):
        at = 60 + i * step * one * scale
        yield Shape("line", at, y=10, x2=at, y2=13)
        yield Shape("words", at, 2, 1, text=f"{number(i * step)} {unit}")
