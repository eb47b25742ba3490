"""Building results and saying figures in the user's units, for the runs of the catalogue."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from diag.analyses import context as ctx
from diag.analyses.model import Analysed, Context, Result, no_charts
from diag.measure.counting import share_error, wilson
from diag.units import show


def value(name: str, number: float, error: float | None = None) -> Result:
    """Return a numeric result with its standard error (SI)."""
    return Result(name, float(number), abs(float(error)) if error else None)


def share(name: str, k: int, n: int) -> Result:
    """Return a share counted as k of n; an empty count gives 0 without weight."""
    return Result(name, k / n, share_error(k, n), k, n=n) if n > 0 else Result(name, 0.0)


def word(name: str, said: str, chances: dict[str, float] | None = None) -> Result:
    """Return a word result."""
    return Result(name, said, chances=chances)


def analysed(results: Iterable[Result], words: str, *, notes: Iterable[str] = (), needed: int | None = None,
             reason: str = "", charts: Callable[[int], tuple[str, ...]] = no_charts) -> Analysed:
    """Return an outcome that is enough unless a reason says why it is not."""
    kept = {r.name: r for r in results}
    return Analysed(kept, not reason, needed, reason, words=words, notes=tuple(n for n in notes if n), charts=charts)


def too_few(reason: str, needed: int | None = None) -> Analysed:
    """Return an outcome without results: too few readings to say anything."""
    return Analysed({}, False, needed, reason, words=f"Too few to tell: {reason}")


def percent(number: float, digits: int = 2) -> str:
    """Return a share as percent with so many significant figures: 0.125 -> "13 %"."""
    return "under 0.01 %" if 0 < number < 1e-4 else show(number, "percent", "us", digits)


def band(k: int, n: int) -> str:
    """Return the 95 % band of k of n in words: "5.5 to 26 %"."""
    low, high = wilson(k, n)
    return f"{percent(low).removesuffix(' %')} to {percent(high)}"


def said(number: float, quantity: str, context: Context, digits: int = 3) -> str:
    """Return an SI value in the units the user reads."""
    return show(number, quantity, ctx.units(context), digits)


def plus_minus(number: float, error: float, quantity: str, context: Context) -> str:
    """Return a value with its 95 % half-width, the unit once: "31,000 +-2600 seeds/ac"."""
    half = said(1.96 * error, quantity, context, 2).split(" ")[0]
    figure, _, unit = said(number, quantity, context).partition(" ")
    return f"{figure} +-{half} {unit}".rstrip()
