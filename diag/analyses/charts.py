"""Text charts in plain ASCII, drawn to a given width."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.measure.spacing import CLASS_LIMITS

_EDGES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.5)
_NAMES = {0: "close", 2: "single", 6: "gap"}


def bar(share: float, width: int) -> str:
    """Return a bar of `share` (0 to 1) of the width, at least one mark for anything above zero."""
    length = round(max(0.0, min(1.0, share)) * width)
    return "#" * (max(1, length) if share > 0 else 0)


def histogram(spacings: Sequence[float], target: float, width: int = 72) -> str:
    """Return how many spacings fall in each class of target multiples, class limits drawn as lines."""
    counts = [0] * len(_EDGES)
    for s in spacings:
        counts[sum(s > edge * target * (1 + 1e-9) for edge in _EDGES[1:])] += 1
    most = max(counts) or 1
    room = max(10, width - 24)
    lines = ["times target    count"]
    for i, (low, n) in enumerate(zip(_EDGES, counts, strict=True)):
        if low in CLASS_LIMITS[:2]:
            lines.append(f"{'-' * 8}{low:4.1f} {'-' * (room + 11)}"[:width])
        high = f"to {_EDGES[i + 1]:4.2f}" if i + 1 < len(_EDGES) else "and up "
        name = _NAMES.get(i, "")
        lines.append(f"{low:4.2f} {high} {n:6d} {name:6s} {bar(n / most, room - 5)}".rstrip())
    return "\n".join(lines)


def rows(values: Mapping[int, float], texts: Mapping[int, str], marks: Mapping[int, str],
         width: int = 72) -> str:
    """Return one bar per row from zero, with the value as text and a mark beside rows that stand out."""
    most = max((abs(v) for v in values.values()), default=0.0) or 1.0
    name = max((len(t) for t in texts.values()), default=1)
    room = max(10, width - name - 18)
    lines = []
    for row, v in sorted(values.items()):
        drawn = bar(abs(v) / most, room)
        lines.append(f"row {row:3d}  {texts.get(row, ''):>{name}s} {drawn:{room}s} {marks.get(row, '')}".rstrip())
    return "\n".join(lines)


def holes(occupancy: Sequence[float], width: int = 72) -> str:
    """Return how well each hole of the disc is filled, hole 1 being that of the first seed."""
    per_line = max(5, (width - 10) // 2 // 5 * 5)
    lines = ["# filled  + mostly  - half  . empty  2 doubles"]
    for start in range(0, len(occupancy), per_line):
        part = occupancy[start:start + per_line]
        lines.append(f"hole {start + 1:3d}  " + " ".join(_filled(o) for o in part))
    return "\n".join(lines)


def _filled(occupancy: float) -> str:
    for limit, mark in ((0.2, "."), (0.6, "-"), (0.9, "+"), (1.4, "#")):
        if occupancy < limit:
            return mark
    return "2"


def log(times: Sequence[float], values: Sequence[float], texts: Sequence[str], width: int = 72,
        most_lines: int = 30) -> str:
    """Return a log as one bar per reading (every k-th of a long one), from its lowest to its highest."""
    step = -(-len(values) // most_lines)
    low, high = min(values), max(values)
    name = max(len(t) for t in texts)
    room = max(10, width - name - 13)
    lines = [f"bars run from {texts[values.index(low)]} (lowest) to {texts[values.index(high)]} (highest)"]
    for i in range(0, len(values), step):
        share = (values[i] - low) / (high - low) if high > low else 0.5
        lines.append(f"{times[i]:8.0f} s  {texts[i]:>{name}s} {bar(share, room)}".rstrip())
    return "\n".join(lines)
