"""What goes into an analysis and what comes out of it: plain values, all SI, no limits and no causes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from diag.units import QUANTITIES

Sections = Mapping[str, tuple[int, ...]]
"""Rows of each wing, hose or circuit."""
ByRow = Mapping[int, float]
ContextValue = float | str | Sections | ByRow
Context = Mapping[str, ContextValue]
"""Settings and machine figures an analysis may use; names and units stand in `diag.analyses.context`."""

FRACTION = "fraction"
PURE = ("share", "ratio")


@dataclass(frozen=True)
class Reading:
    """Raw values of one answer, SI.

    `kind`: answer kind. `numbers`: values in the order taken. `rows`: row of each number (may repeat: several
    depths in one row, the first row read again at the end of a walk). `labels`: name of each number taken
    at a named point. `times`: seconds, for a log. `k`, `n`: k of n. `counts`: label -> (k, n).
    """

    kind: str
    numbers: tuple[float, ...] = ()
    rows: tuple[int, ...] = ()
    times: tuple[float, ...] = ()
    k: int | None = None
    n: int | None = None
    counts: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    labels: tuple[str, ...] = ()

    def at(self, label: str) -> float | None:
        """The number taken at a named point, None where it was not taken."""
        return self.numbers[self.labels.index(label)] if label in self.labels else None


@dataclass(frozen=True)
class ResultSpec:
    """One named result of an analysis.

    `quantity`: a name of QUANTITIES, or "share" (0 to 1), "ratio", "word", "flag" (1 or 0), or "reading" (the
    quantity of the check's own answer). `unit`: unit of the value, always SI. `words`: all values of a word.
    """

    name: str
    quantity: str
    unit: str
    meaning: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Result:
    """One computed result.

    `error`: standard error, same SI unit. `k`, `n`: for a share counted as k of n. `chances`: for a word
    that the uncertainty of the readings leaves open, the weight of each word (together 1).
    """

    name: str
    value: float | str
    error: float | None = None
    k: int | None = None
    n: int | None = None
    chances: Mapping[str, float] | None = None


Charts = Callable[[int], tuple[str, ...]]


def no_charts(width: int) -> tuple[str, ...]:
    """No chart belongs to this analysis."""
    return ()


@dataclass(frozen=True)
class Analysed:
    """The outcome of an analysis.

    `enough`: whether the readings can carry a verdict; `needed`: how many more it would take (None: not
    known, or none); `reason`: why they are too few, "" when enough. `words`: one sentence for the desk.
    `notes`: warnings that belong to the figures. `charts(width)`: text charts, drawn when asked for.
    """

    results: Mapping[str, Result]
    enough: bool
    needed: int | None
    reason: str
    words: str
    notes: tuple[str, ...] = ()
    charts: Charts = field(default=no_charts, compare=False, repr=False)

    def number(self, name: str) -> float:
        """The value of a numeric result."""
        value = self.results[name].value
        if isinstance(value, str):
            raise TypeError(f"{name} is a word")
        return value

    def word(self, name: str) -> str:
        """The value of a word result."""
        return str(self.results[name].value)


Run = Callable[[Reading, Context], Analysed]


@dataclass(frozen=True)
class Analysis:
    """One analysis of the catalogue.

    `takes`: answer kinds it accepts. `needs`: context names it cannot do without. `uses`: context names that
    sharpen it. `results`: by name; a result may be absent from a run when the context did not allow it.
    """

    name: str
    title: str
    takes: tuple[str, ...]
    results: Mapping[str, ResultSpec]
    run: Run
    needs: tuple[str, ...] = ()
    uses: tuple[str, ...] = ()


CATALOGUE: dict[str, Analysis] = {}
"""Every analysis by name, filled by the functions that carry `analysis`."""

ROW_PATTERN = ("even", "one_low", "some_low", "one_high", "some_high", "section_low", "all_low", "all_high")
"""What the values of all rows look like together."""


def gives(name: str, quantity: str, meaning: str, *words: str) -> ResultSpec:
    """Return what a result is; its unit follows from the quantity."""
    unit = FRACTION if quantity in PURE else QUANTITIES[quantity].si if quantity in QUANTITIES else ""
    return ResultSpec(name, quantity, unit, meaning, words=words)


def analysis(name: str, title: str, *, takes: str, results: Sequence[ResultSpec], needs: str = "",
             uses: str = "") -> Callable[[Run], Run]:
    """Put a function into the catalogue under this name; kinds and context names are separated by spaces."""

    def keep(run: Run) -> Run:
        CATALOGUE[name] = Analysis(name, title, tuple(takes.split()), {r.name: r for r in results}, run=run,
                                   needs=tuple(needs.split()), uses=tuple(uses.split()))
        return run

    return keep
