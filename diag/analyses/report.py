"""An analysis as text for a terminal of 80 columns and as JSON."""

from __future__ import annotations

from typing import Any

from diag.analyses import context as ctx
from diag.analyses.model import PURE, Analysed, Analysis, Context, Result, ResultSpec
from diag.analyses.saying import percent, said
from diag.measure.counting import wilson
from diag.text import count, wrap
from diag.units import QUANTITIES

WIDTH = 80
NOUNS = {"spacings": "spacing", "count": "seed", "counts": "seed"}
"""What more of is needed, by the first kind of answer an analysis takes."""


def shown(spec: ResultSpec, result: Result, context: Context) -> str:
    """Return a result's value in the units the user reads."""
    if isinstance(result.value, str):
        return result.value.replace("_", " ")
    if spec.quantity in PURE:
        return percent(result.value, 3)
    if spec.quantity == "flag":
        return "yes" if result.value else "no"
    if spec.quantity == "reading":
        known = str(context.get("quantity", ""))
        return said(result.value, known, context) if known in QUANTITIES else f"{result.value:.4g}"
    return said(result.value, spec.quantity, context)


def _sure(spec: ResultSpec, result: Result, context: Context) -> str:
    """Return how sure a result is: a 95 % band, "" for words and exact figures."""
    if isinstance(result.value, str):
        open_words = sorted((result.chances or {}).items(), key=lambda item: (-item[1], item[0]))[:3]
        return ", ".join(f"{w.replace('_', ' ')} {percent(c)}" for w, c in open_words)
    if result.k is not None and result.n and 0 <= result.k <= result.n:
        low, high = wilson(result.k, result.n)
        return f"{percent(low).removesuffix(' %')} to {percent(high)}  ({result.k} of {result.n})"
    if result.error and spec.quantity == "share":
        low, high = (min(1.0, max(0.0, result.value + 1.96 * e)) for e in (-result.error, result.error))
        return f"{percent(low).removesuffix(' %')} to {percent(high)}"
    if result.error:
        half = Result(result.name, 1.96 * result.error)
        return f"+-{shown(spec, half, context)}" if spec.quantity not in ("temperature",) else ""
    return ""


def table(analysis: Analysis, done: Analysed, context: Context, names: tuple[str, ...] | None = None) -> str:
    """Return lines of result, value and how sure, for all results or the named ones."""
    lines = []
    for name, spec in analysis.results.items():
        result = done.results.get(name)
        if result is not None and (names is None or name in names):
            line = f"  {name.replace('_', ' '):24s}{shown(spec, result, context):>16s}"
            lines.append(f"{line}   {_sure(spec, result, context)}".rstrip())
    return "\n".join(lines)


def text(analysis: Analysis, done: Analysed, context: Context, *, main: tuple[str, ...] = (),
         detail: bool = False, charts: bool = True, width: int = WIDTH) -> str:
    """Return verdict, how many more, the main figures, notes and charts; all figures with `detail`."""
    parts = [wrap(done.words, width)]
    if done.needed:
        what = NOUNS.get(analysis.takes[0], "reading")
        more = f"{count(done.needed, f'more {what} is', f'more {what}s are')} needed to "
        parts[0] += "\n" + wrap(more + ("be sure." if done.enough else "tell."), width)
    figures = table(analysis, done, context, None if detail or not main else main)
    parts.append(figures)
    if charts:
        parts += done.charts(width - 2)
    parts += [note(n, width) for n in done.notes]
    return "\n\n".join(p for p in parts if p)


def note(said_: str, width: int = WIDTH) -> str:
    """Return a note as a hanging paragraph."""
    return "- " + wrap(said_, width - 2).replace("\n", "\n  ")


def as_json(analysis: Analysis, done: Analysed, context: Context) -> dict[str, Any]:
    """Return the outcome as JSON-ready data; values are SI with their unit, `shown` is for reading."""
    return {
        "analysis": analysis.name,
        "words": done.words,
        "enough": done.enough,
        "needed": done.needed,
        "reason": done.reason,
        "notes": list(done.notes),
        "units": ctx.units(context),
        "results": {name: _result_json(analysis.results[name], r, context) for name, r in done.results.items()},
    }


def _result_json(spec: ResultSpec, result: Result, context: Context) -> dict[str, Any]:
    data: dict[str, Any] = {"value": result.value, "quantity": spec.quantity, "unit": spec.unit,
                            "shown": shown(spec, result, context)}
    for name in ("error", "k", "n", "chances"):
        if getattr(result, name) is not None:
            data[name] = getattr(result, name)
    return data
