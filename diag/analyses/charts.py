"""Pictures of readings in plain text, drawn to a given width."""

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


def rows(texts: Mapping[int, str], marks: Mapping[int, str], sections: Mapping[str, Sequence[int]],
         width: int = 72) -> str:
    """Return the rows as they stand on the machine, wing by wing, each with its value under it; odd rows by name.

    `marks`: what is odd of a row; `sections`: rows by wing or section, {} where none are known.
    """
    short = {row: text.split()[0] for row, text in texts.items()}
    cell = 3 + max((len(t) for t in [*short.values(), *map(str, texts)]), default=1)
    wings = {name: [r for r in of if r in texts] for name, of in sections.items()}
    left = [r for r in texts if not any(r in of for of in wings.values())]
    lines = []
    longest = max(1, *map(len, [*wings.values(), left]))
    least = 1 + max((len(t) for t in [*short.values(), *(f"[{r}]" for r in marks)]), default=1)
    if least <= width // longest < cell:  # closer, where a wing then stands on one line
        cell = width // longest
    for name, of in [*wings.items(), *([("other rows" if wings else "", left)] if left else [])]:
        lines += [name] if name and of else []
        per_line = max(1, width // cell)
        for at in range(0, len(of), per_line):
            part = sorted(of)[at:at + per_line]
            lines.append("".join((f"[{r}]" if r in marks else f"{r} ").rjust(cell) for r in part).rstrip())
            lines.append("".join(f"{short[r]} ".rjust(cell) for r in part).rstrip())
    lines += [f"row {r}: {texts[r]}, {marks[r]}" for r in sorted(marks) if r in texts]
    return "\n".join(lines)


def strip(spacings: Sequence[float], target: float, width: int = 72) -> str:
    """Return a row of seeds to scale from above, four columns to a target spacing, gaps and pairs named beneath."""
    close, gap = CLASS_LIMITS[:2]
    seeds: list[list[str]] = [[]]
    under: list[list[str]] = [[]]

    def put(line: str, below: str) -> None:
        if len(seeds[-1]) + len(line) > width:
            seeds.append([])
            under.append([])
        seeds[-1] += line
        under[-1] += below.ljust(len(line))[:len(line)]

    put("o", "")
    for s in spacings:
        cells = min(max(1, round(s / target * 4)), width - 1)
        times = s / target
        put("-" * (cells - 1) + "o" if times > gap else " " * (cells - 1) + "o",
            " gap" if times > gap else "2".rjust(cells) if times <= close else "")
    lines = [f"{'o seed  --- gap  2 beneath: too close':{width}.{width}}".rstrip()]
    for above, below in zip(seeds, under, strict=True):
        lines += ["".join(above)] + (["".join(below).rstrip()] if "".join(below).strip() else [])
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
        height: int = 7) -> str:
    """Return a log as dots over time: each reading where its value stands between the highest and the lowest.

    `times` in s. Readings that fall on the same place are one dot.
    """
    low, high = min(values), max(values)
    first, last = min(times), max(times)
    height = height if high > low else 1
    names = [texts[values.index(high)], *[""] * (height - 2), *[texts[values.index(low)]][: height - 1]]
    margin = max(map(len, names))
    room = max(10, width - margin - 1)
    lines = [[" "] * room for _ in range(height)]
    for time, value in zip(times, values, strict=True):
        across = round((time - first) / (last - first) * (room - 1)) if last > first else 0
        lines[round((high - value) / (high - low) * (height - 1)) if high > low else 0][across] = "o"
    drawn = [f"{name:>{margin}} {''.join(line)}".rstrip() for name, line in zip(names, lines, strict=True)]
    begin, end = f"{first:g} s", f"{last:g} s" if last > first else ""
    return "\n".join([*drawn, f"{'':{margin}} {begin}{end.rjust(max(1, room - len(begin)))}".rstrip()])
