"""Pictures of a write-up as lines, boxes, marks and words; the printed forms and the web form draw the same ones.

Two pictures are enough: the readings that show the case, row by row, place by place or hole by hole, and the seeds as
they lay before and after, to scale. Each has one scale; marks differ by their form, so that a black-and-white print
can be read.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from diag.measure.spacing import estimated_target
from diag.text import count, number
from diag.writeup.page.sentences import chance_text, places_words, span_text, unit_of
from diag.writeup.story.model import MadeTest, Story, Value

WIDTH = 500.0
"""Points; a printed page shows a picture in its full width."""
SMALL = 7.0
_ROW = re.compile(r"row (\d+)\Z")
FORMS = {"as found": "ring", "exchanged": "triangle", "mended": "dot", "old part back": "square"}
"""Series -> form of its mark."""
MOST_PLACES = 54
LEAST_PLACES = 3
"""Places of one round that show more than counts before and after a step."""
MOST_TURNS = 12
"""Disc turns of one fold; a longer run shows its first ones and says so."""
Height = Callable[[float], float]
"""From a value in SI to its place in the picture."""


@dataclass(frozen=True)
class Shape:
    """One thing drawn, y upwards from the foot of the picture. Points."""

    kind: str
    """line | dash | ring | dot | square | triangle | gap | band | words."""
    x: float
    y: float
    x2: float = 0.0
    """End of a line; width of a band or a gap; 0 for words that begin at x, 1 centred, 2 that end there."""
    y2: float = 0.0
    text: str = ""
    size: float = SMALL


@dataclass(frozen=True)
class Picture:
    """A drawing with its caption; `says` tells the same in words, for those who cannot see it."""

    title: str
    says: str
    width: float
    height: float
    shapes: tuple[Shape, ...]


# --- the readings that show the case --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Series:
    """One round of readings: its name and a value for each place."""

    name: str
    values: dict[str, Value]
    moved: frozenset[str] = frozenset()
    """Places that held a piece of another row."""


def case_picture(story: Story) -> Picture | None:
    """Return the one picture that shows the case; None where nothing was measured that one could show.

    Where spacings repeat with one hole of the disc they show it best; else the check with most rounds over the places,
    unless all that it read was as usual; else counts before and after a step.
    """
    for test in story.tests:
        if test.holes and test.when == "before" and not test.pieces:
            return _fold_picture(test)
    best: tuple[int, int, str, list[Series]] | None = None
    for check in dict.fromkeys(t.check for t in story.tests if t.values and not t.usual):
        series = _series(story, check)
        places = _places(series)
        counted = any(" of " in v.text for s in series for v in s.values.values())
        units = {unit_of(v.text) for s in series for v in s.values.values()}
        if len(places) < (LEAST_PLACES if all(_ROW.match(p) for p in places) else 2) or counted or len(units) != 1:
            continue
        rank = (len(series), len(places), check, series)
        if best is None or rank[:2] > best[:2]:
            best = rank
    few = best is None or (best[0] == 1 and best[1] < LEAST_PLACES)
    step = _step_picture(story) if few else None
    if best is None or step:
        return step
    asks = next(t.asks for t in story.tests if t.check == best[2])
    return _plot(asks, best[3])


def _fold_picture(test: MadeTest) -> Picture:
    """Return the seeds of a run turn below turn, each under the hole that carried it."""
    from diag.measure.folding import fold
    from diag.measure.passes import own_pitch

    folded = fold(test.spacings, own_pitch(test.spacings, test.target or estimated_target(test.spacings)), test.holes)
    turns = min(MOST_TURNS, len(folded.passed))
    left, foot, line = 34.0, 30.0, 11.0
    height, across = foot + line * turns + 12, (WIDTH - 38) / test.holes
    shapes = [Shape("words", 0, height - 8, text="turn")]
    step = 5 if test.holes <= 60 else 10
    for hole in (1, *range(step, test.holes + 1, step)):
        middle = left + (hole - 0.5) * across
        shapes += [Shape("dash", middle, foot - 2, x2=middle, y2=height - 12),
                   Shape("words", middle, foot - 10, 1, text=str(hole))]
    for turn in range(turns):
        base = foot + line * (turns - 1 - turn) + 5
        shapes.append(Shape("words", left - 6, base - 2.5, 2, text=str(turn + 1)))
        for hole in range(test.holes):
            middle, fell = left + (hole + 0.5) * across, int(folded.count[turn, hole])
            if fell:
                off = max(-0.5, min(0.5, float(folded.off[turn, hole])))
                shapes.append(Shape("triangle" if fell > 1 else "dot", middle + off * across, base))
            elif folded.passed[turn, hole]:
                shapes.append(Shape("gap", middle - 0.35 * across, base - 4, x2=0.7 * across, y2=8))
    shapes.append(Shape("words", WIDTH - 4, 4.5, 2, text="hole of the disc, counted from the first seed"))
    shapes += [Shape("dot", left + 3, 7), Shape("words", left + 10, 4.5, text="seed"),
               Shape("gap", left + 40, y=3, x2=7, y2=8), Shape("words", left + 52, 4.5, text="no seed"),
               Shape("triangle", left + 95, 7), Shape("words", left + 102, 4.5, text="two or more")]
    seeds, came = folded.seeds[test.hole - 1], folded.passes[test.hole - 1]
    shift = round(folded.shift(test.hole - 1), 1)
    late = f", {number(abs(shift))} of a spacing {'late' if shift > 0 else 'early'}" if shift else ""
    others = f"{count(sum(folded.seeds) - seeds, 'seed')} in {count(sum(folded.passes) - came, 'pass', 'passes')}"
    says = (f"hole {test.hole} of {test.holes}: {count(seeds, 'seed')} in {count(came, 'pass', 'passes')}{late}; "
            f"all other holes: {others}")
    if turns < len(folded.passed):
        says += f"; the first {turns} of {len(folded.passed)} turns are drawn"
    return Picture(f"{test.asks}, {test.where or 'all rows'}, folded by hole of the disc", says, WIDTH, height,
                   shapes=tuple(shapes))


def _step_picture(story: Story) -> Picture | None:
    """Return counts before and after one changed setting, in percent along one scale; None where none were made."""
    for test in story.tests:
        shares = {v.where.rpartition(", ")[2]: v for v in test.values if " of " in v.text and v.number is not None}
        kinds = [p.removesuffix(" before") for p in shares if p.endswith(" before") and
                 f"{p.removesuffix('before')}after" in shares]
        if kinds:
            return _shares(test, kinds, shares)
    return None


def _shares(test: MadeTest, kinds: Sequence[str], shares: Mapping[str, Value]) -> Picture:
    left, height = 70.0, 34.0 + 18.0 * len(kinds)
    _, high, step = _scale(0.0, 100 * max(v.number or 0.0 for v in shares.values()))
    scale = (WIDTH - left - 10) / high
    shapes, says = [], []
    for i in range(int(high / step) + 1):
        shapes.append(Shape("dash", left + i * step * scale, y=22, x2=left + i * step * scale, y2=height - 4))
        shapes.append(Shape("words", left + i * step * scale, 13, 1, text=f"{number(i * step)} %"))
    for i, kind in enumerate(kinds):
        base = height - 14 - 18 * i
        shapes.append(Shape("words", 0, base - 2.5, text=kind))
        for form, when in (("ring", "before"), ("dot", "after")):
            value = shares[f"{kind} {when}"]
            shapes.append(Shape(form, left + 100 * (value.number or 0.0) * scale, base))
        counts = [shares[f"{kind} {when}"].text for when in ("before", "after")]
        says.append(f"{kind}: {counts[0]} before the step, {counts[1]} after ({_chance(*counts)})")
    shapes += [Shape("ring", left + 3, 4), Shape("words", left + 10, 1.5, text="before the step"),
               Shape("dot", left + 103, 4), Shape("words", left + 110, 1.5, text="after it")]
    return Picture(test.asks, "; ".join(says), WIDTH, height, shapes=tuple(shapes))


def _chance(before: str, after: str) -> str:
    """Return how likely two counts are so unlike by accident: "p < 0.001" of "24 of 300" and "4 of 300"."""
    from diag.measure.counting import fisher

    (bad, n), (still, again) = ([int(part) for part in text.split(" of ")] for text in (before, after))
    return chance_text(fisher(bad, n, still, again))


def _series(story: Story, check: str) -> list[Series]:
    """Return the rounds of one check: as found, with a piece exchanged, mended, with the old part back."""
    found: dict[str, Series] = {}
    names = {"before": "as found", "after": "mended", "back": "old part back"}
    for test in story.tests:
        if test.check != check or test.when not in names:
            continue
        name = "exchanged" if test.pieces else names[test.when]
        values = {v.where: v for v in test.values if v.number is not None and _is_place(v, test)}
        if values:
            found[name] = Series(name, values, frozenset(f"row {row}" for row in test.moved_rows))
    return [found[n] for n in FORMS if n in found]


def _is_place(value: Value, test: MadeTest) -> bool:
    return bool(_ROW.match(value.where)) if test.by_row else value.where not in ("", test.where)


def _places(series: Sequence[Series]) -> list[str]:
    places = dict.fromkeys(p for s in series for p in s.values)
    if all(_ROW.match(p) for p in places):
        return sorted(places, key=lambda p: int(p.rpartition(" ")[2]))[:MOST_PLACES]
    return list(places)[:MOST_PLACES]


def _plot(asks: str, series: list[Series]) -> Picture:
    height, left, foot, top = 94.0, 34.0, 28.0, 78.0
    places = _places(series)
    shown = [v.number for s in series for p, v in s.values.items() if p in places and v.number is not None]
    unit = unit_of(next(iter(series[0].values.values())).text)
    factor = _factor(series)
    low, high, step = _scale(min(shown) / factor, max(shown) / factor)
    across = (WIDTH - left - 8) / len(places)

    def y(value: float) -> float:
        return foot + (value / factor - low) / (high - low) * (top - foot)

    shapes = list(_frame(left, foot, y, (low, high, step), factor=factor))
    shapes += _bands(series, places, left, y)
    rows = all(_ROW.match(p) for p in places)
    for i, place in enumerate(places):
        middle = left + (i + 0.5) * across
        label = place.rpartition(" ")[2] if rows else place.rpartition(", ")[2]
        size = min(SMALL, 1.8 * across / max(1, len(label)))
        shapes.append(Shape("words", middle, foot - 9, 1, text=label, size=size))
        for s, one in enumerate(series):
            if place in one.values:
                offset = (s - (len(series) - 1) / 2) * min(7.0, across / (len(series) + 1))
                shapes.append(Shape(FORMS[one.name], middle + offset, y(one.values[place].number or 0.0)))
    shapes.append(Shape("words", 0, top + 8, text=unit))
    shapes += _legend(series, left, "row, from the left" if rows else "")
    return Picture(f"{asks}, {'by row' if rows else 'by place'}", _in_words(series), WIDTH, height,
                   shapes=tuple(shapes))


def _factor(series: Sequence[Series]) -> float:
    """Return SI per unit as written, from the largest value of all."""
    best = max((v for s in series for v in s.values.values()), key=lambda v: abs(v.number or 0.0))
    written = re.match(r"-?[\d.]+", best.text)
    return (best.number or 1.0) / float(written[0]) if written and float(written[0]) else 1.0


def _scale(low: float, high: float) -> tuple[float, float, float]:
    """Return the ends of a scale and its step: from zero, so that a difference looks as large as it is."""
    low, high = min(0.0, low), max(0.0, high)
    raw = max(high - low, 1e-9) / 4
    step = next(m * 10.0 ** e for e in range(-6, 9) for m in (1, 2, 5) if m * 10.0 ** e >= raw)
    return step * math.floor(low / step), step * max(1, math.ceil(high / step - 1e-9)), step


def _frame(left: float, foot: float, y: Height, scale: tuple[float, float, float], factor: float) -> Iterator[Shape]:
    low, high, step = scale
    yield Shape("line", left, foot, x2=WIDTH - 4, y2=foot)
    value = low
    while value <= high + 1e-9:
        at = y(value * factor)
        yield Shape("dash", left, at, x2=WIDTH - 4, y2=at)
        yield Shape("words", left - 4, at - 2.5, 2, text=number(value))
        value += step


def _bands(series: Sequence[Series], places: Sequence[str], left: float, y: Height) -> Iterator[Shape]:
    """Yield one band: all readings of the other rows, from the lowest to the highest."""
    good = [v.number for s in series if s.name != "exchanged" for p, v in s.values.items()
            if v.control and v.number is not None and p in places]
    if len(good) >= 3:
        low, high = y(min(good)), y(max(good))
        yield Shape("band", left, low - 1, x2=WIDTH - 4 - left, y2=high - low + 2)


def _legend(series: Sequence[Series], left: float, axis: str) -> Iterator[Shape]:
    at = left
    for one in series:
        yield Shape(FORMS[one.name], at + 3, 7)
        yield Shape("words", at + 10, 4.5, text=one.name)
        at += 24 + 4.2 * len(one.name)
    if any(v.control for s in series for v in s.values.values()):
        yield Shape("band", at, y=3.5, x2=12, y2=7)
        yield Shape("words", at + 16, 4.5, text="other rows")
        at += 66
    if axis:
        yield Shape("words", WIDTH - 4, 4.5, 2, text=axis)


def _in_words(series: Sequence[Series]) -> str:
    """Return the rounds in words: what the rows in trouble read in each, and the other rows."""
    told = []
    for one in series:
        bad = _told({p: v for p, v in one.values.items() if p in one.moved or not v.control}, one.moved)
        good = [v for p, v in one.values.items() if v.control and p not in one.moved and v.number is not None]
        beside = [f"other rows at {span_text(good)}"] if good else []
        told.append(f"{one.name}: {', '.join(bad + beside)}")
    return "; ".join(told)


def _told(values: Mapping[str, Value], moved: frozenset[str]) -> list[str]:
    """Return readings in words: one by one where a piece moved or they are few, else from the lowest to the highest."""
    if len(values) < 3 or moved:
        return [f"{place} at {value.text}" for place, value in values.items()]
    return [f"{places_words(list(values))} at {span_text(list(values.values()))}"]
