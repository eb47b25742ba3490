"""What was asked and measured: tests with their readings, and the same measurement before and after."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from diag.analyses.catalogue import Analysed, results_of
from diag.call.bearing import AGAINST, FOR
from diag.call.by_row import is_row, si_of
from diag.call.case_of import Seen
from diag.call.desk import CallDesk
from diag.call.readings import context
from diag.call.shown import Bench, has_value
from diag.figures import AGAIN, READINGS
from diag.figures.rows import row_of
from diag.knowledge.model import Check
from diag.record.kinds import Answer, Repaired
from diag.text import number, rows_words
from diag.units import QUANTITIES, UNITS, Measured, System, show, value_words
from diag.writeup.story.model import MadeTest, Pair, Value

FIRST_AGAIN = "first row read again"
MOST_ALIKE = 3
"""Values of rows told each with its rows; more stand row by row."""


def setting_text(value: Any, units: System | None = None) -> str:
    """Return a stored reading or setting in words: "18.5 inH2O", "3 of 20", "loose"."""
    told, other = value_words(value), _converted(value, units) if isinstance(value, Mapping) else ""
    return f"{told} ({other})" if other else told


def _label(unit: str) -> str:
    return UNITS[unit].label if unit in UNITS else unit


def _converted(value: Mapping[str, str], units: System | None) -> str:
    """Return the same value in the reader's units, "" where it is already in them or cannot be told."""
    if units is None or value.get("unit") not in UNITS:
        return ""
    measured = Measured(value["value"], value["unit"])
    named = [q for q in QUANTITIES.values() if q.dimension == measured.quantity]
    if not named or any(value["unit"] == (q.us if units == "us" else q.metric) for q in named):
        return ""
    quantity = next((q for q in named if value["unit"] in (q.us, q.metric)), named[0])
    return show(measured.si(), quantity.name, units)


def reading_text(body: Mapping[str, Any], check: Check | None, units: System | None = None) -> str:
    """Return what an answer's body holds, in words and with units."""
    if body.get("status") == "unsure":
        return "not sure"
    if body.get("status") == "cannot_here":
        return "could not be done there"
    outcome = body.get("outcome")
    if outcome is not None:
        return check.outcomes[outcome].says if check and outcome in check.outcomes else str(outcome)
    if body.get("value") is not None:
        return setting_text(body["value"], units)
    if body.get("values") is not None:
        return _list_text(body["values"], check, units)
    for name in ("spacings", "positions"):
        if body.get(name):
            figures, unit = body[name]["values"], _label(body[name]["unit"])
            if not figures:
                return f"no {name}"
            low, high = min(figures, key=float), max(figures, key=float)
            ends = [_converted({"value": end, "unit": body[name]["unit"]}, units) for end in (low, high)]
            other = f" ({ends[0]} to {ends[1]})" if all(ends) else ""
            return f"{len(figures)} {name}, {low} to {high} {unit}{other}"
    if body.get("log"):
        log = body["log"]
        read, unit = [v for _, v in log["points"]], _label(log["unit"])
        span = f"{log['points'][0][0]} to {log['points'][-1][0]} {_label(log['time_unit'])}" if read else "no time"
        low, high = (min(read, key=float), max(read, key=float)) if read else ("", "")
        return f"{len(read)} readings over {span}, {low} to {high} {unit}"
    return "noted"


def series_text(body: Mapping[str, Any]) -> str:
    """Return a series in full, as it was typed; "" for an answer that holds none."""
    for name in ("spacings", "positions"):
        if body.get(name):
            return f"{', '.join(body[name]['values'])} {_label(body[name]['unit'])}"
    if body.get("log"):
        log = body["log"]
        points = ", ".join(f"{t} {_label(log['time_unit'])}: {v}" for t, v in log["points"])
        return f"{points} {_label(log['unit'])}"
    return ""


def _list_text(values: Mapping[str, Any], check: Check | None, units: System | None) -> str:
    """Return values by place, rows that read alike together: "rows 4-6: 20 inH2O; row 7: 12 inH2O".

    Rows of more than three values stand in their order: "row 1: 18.1, 2: 18.0, 3: 17.9, 4: 13.2 inH2O".
    """
    alike: dict[str, list[int]] = {}
    single: dict[int, str] = {}
    for key in _ordered(values, check):
        text = setting_text(values[key], units)
        if " " not in key and is_row(key, check):
            alike.setdefault(text, []).append(row_of(key) or 0)
        else:
            single[len(single)] = f"{where_text(key, check)}: {text}"
    rows = [f"{rows_words(tuple(numbers))}: {text}" for text, numbers in sorted(alike.items(), key=lambda x: x[1])]
    units_said = {text.partition(" ")[2] for text in alike}
    if len(rows) > MOST_ALIKE and len(units_said) == 1:
        by_row = sorted((row, text.partition(" ")[0]) for text, numbers in alike.items() for row in numbers)
        rows = [f"row {', '.join(f'{row}: {figure}' for row, figure in by_row)} {units_said.pop()}"]
    return "; ".join([*rows, *single.values()])


def _ordered(values: Mapping[str, Any], check: Check | None) -> list[str]:
    """Return keys in the order asked for: rows by number, labels as the check lists them, the repeat last."""
    asked = {label: i for i, label in enumerate(check.takes.labels)} if check else {}

    def place(key: str) -> tuple[int, int, str]:
        if key == AGAIN:
            return 2, 0, key
        row = row_of(key)
        return (0, row, key) if row else (1, asked.get(key, len(asked)), key)

    return sorted(values, key=place)


def where_text(key: str, check: Check | None) -> str:
    """Return the place a value was taken at: "row 7", "first row read again", "cold", "no. 3" of a list of points."""
    if key == AGAIN:
        return FIRST_AGAIN
    if row_of(key) and " " not in key and not is_row(key, check):
        return f"no. {key}"
    head, _, rest = key.partition(" ")
    return f"row {head} {rest}".rstrip() if is_row(key, check) else key.replace("_", " ")


def body_of(answer: Answer) -> dict[str, Any]:
    """Return the parts of an answer that hold its reading."""
    return {n: getattr(answer, n) for n in ("status", "outcome", *READINGS)}


class Measurements:
    """All tests of a call."""

    def __init__(self, call: CallDesk, bench: Bench, units: System | None = None) -> None:
        self.call, self.units, self.knowledge = call, units, call.engine.knowledge
        self.state = call.state
        self.outcomes, self.changed, self._old_back = bench.outcomes, bench.changed, bench.old_back
        self.by_cause = bench.by_cause()
        self.reversing = {e for cause in self.by_cause for e in bench.reversal(cause)}
        mended = {r for done in self.state.repairs if isinstance(done.rows, tuple) for r in done.rows}
        self._trouble = self.state.situation.rows if self.state.situation.rows is not None else tuple(sorted(mended))
        """Rows in trouble; where nobody named them, those that were mended."""
        self._proving = bench.proving

    def tests(self) -> tuple[MadeTest, ...]:
        """Return every live answer to a known check, in the order in which they happened."""
        seen = self.call.think().read.seen
        order = {event: i for i, event in enumerate(self.state.timeline)}
        return tuple(self._test(s) for s in sorted(seen.values(), key=lambda s: order[s.answer.event]))

    def _test(self, seen: Seen) -> MadeTest:
        answer, check = seen.answer, self.knowledge.questions[seen.answer.check]
        observer = self.knowledge.observers.get(answer.observer)
        outcome = self.outcomes.get(answer.event)
        says = check.outcomes[outcome].says if outcome else ""
        bearing = {c: t for c, tests in self.by_cause.items() for t in tests if t.event == answer.event}
        series = seen.evaluated.analysed if has_value(answer) else None
        asks, reading = self._words(answer, check)
        holes, hole = self._standing_out(series)
        return MadeTest(
            event=answer.event, number=answer.number, check=answer.check, asks=asks,
            where=rows_words(answer.rows), reading=reading,
            series=series_text(body_of(answer)), says="" if answer.outcome is not None else says,
            why_not="" if outcome or answer.status != "given" else seen.evaluated.reason,
            who=observer.label if observer else answer.observer,
            firm=observer is not None and observer.weight != "caller", deciding=check.deciding,
            valued=has_value(answer), usual=outcome is not None and check.outcomes[outcome].normal,
            reverses=answer.event in self.reversing,
            pieces=_pieces_text(answer), when=self._when(answer), on=answer.happened or answer.at,
            values=tuple(self._values(answer, check, series)),
            spacings=_spacings(answer), target=self._target(answer, check), by_row=check.takes.per == "row",
            moved_rows=tuple(sorted({row for sat in answer.pieces.values() for row in sat})),
            holes=holes, hole=hole,
            supports=tuple(c for c, t in bearing.items() if t.ratio >= FOR),
            against=tuple(c for c, t in bearing.items() if t.ratio <= AGAINST),
        )

    def _words(self, answer: Answer, check: Check) -> tuple[str, str]:
        """Return what was asked and what was answered; an item of a list under the heading of its list."""
        reading = reading_text(body_of(answer), check, self.units)
        whole = self.knowledge.checks.get(answer.check.partition(".")[0])
        if "." not in answer.check or whole is None:
            return check.asks.rstrip("."), reading
        item = check.asks.rstrip(".")
        return whole.asks.rstrip("."), item if answer.outcome == "yes" else f"{item}: {reading}"

    def _target(self, answer: Answer, check: Check) -> float | None:
        if answer.spacings is None and answer.positions is None:
            return None
        target = context(self.knowledge, check, self.state).get("target_spacing")
        return target if isinstance(target, float) else None

    def _standing_out(self, analysed: Analysed | None) -> tuple[int, int]:
        """Return (holes of the disc, the hole with which the spacings repeat), (0, 0) where none stands out."""
        pattern = analysed.results.get("pattern") if analysed else None
        if analysed is None or pattern is None or pattern.value != "one_hole":
            return 0, 0
        return self.state.machine.holes or 0, round(analysed.number("hole"))

    def _when(self, answer: Answer) -> str:
        if not any(answer.epoch > r.epoch for r in self._repairs_of(answer)):
            return "before"
        if self._old_back(answer):
            return "back"
        return "step" if self.changed.get(answer.event) else "after"

    def _repairs_of(self, answer: Answer) -> list[Repaired]:
        """Return the repairs of the rows that an answer speaks of; a good row is read before or after any of them."""
        proving = self._proving
        trouble = self.state.situation.rows
        bad = proving.mended() | set(trouble if isinstance(trouble, tuple) else ())
        own = proving.covers(answer) & bad
        return [r for r in proving.repairs if not own or not proving.rows(r) or own & proving.rows(r)]

    # --- figures ----------------------------------------------------------------------------------

    def _values(self, answer: Answer, check: Check, analysed: Analysed | None) -> Iterator[Value]:
        if answer.values is not None:
            for key in _ordered(answer.values, check):
                yield self._one(answer, check, answer.values[key], self._place(answer, check, key), key=key)
        elif answer.value is not None:
            yield self._one(answer, check, answer.value, rows_words(answer.rows), key="")
        elif analysed is not None:
            yield from self._computed(answer, check, analysed)

    def _place(self, answer: Answer, check: Check, key: str) -> str:
        """Return where a value belongs: its own row, else the rows of the whole answer with its label."""
        place = where_text(key, check)
        rows = "" if is_row(key, check) or key == AGAIN else rows_words(answer.rows)
        return f"{rows}, {place}" if rows else place

    def _one(self, answer: Answer, check: Check, value: Any, where: str, key: str) -> Value:
        row = key.partition(" ")[0]
        rows = {int(row)} if is_row(key, check) else set(answer.rows if isinstance(answer.rows, tuple) else ())
        trouble = self._trouble
        control = isinstance(trouble, tuple) and bool(trouble) and bool(rows) and not rows & set(trouble)
        return Value(answer.event, answer.check, check.asks.rstrip("."), where, text=setting_text(value, self.units),
                     number=si_of(value), control=control, unit=_si_unit(value))

    def _computed(self, answer: Answer, check: Check, analysed: Analysed) -> Iterator[Value]:
        """Yield the computed results that the check's outcomes are judged by."""
        specs = results_of(check.compute)
        judged = dict.fromkeys(
            leaf.result for o in check.outcomes.values() if o.when for leaf in o.when.leaves() if leaf.result
        )
        for name in judged:
            result = analysed.results.get(name)
            if result is None or isinstance(result.value, str) or specs[name].quantity == "flag":
                continue
            quantity = check.takes.quantity or "" if specs[name].quantity == "reading" else specs[name].quantity
            text = result_text(result.value, specs[name].quantity, check.takes.quantity, self.units or "us")
            what = f"{check.asks.rstrip('.')}: {specs[name].meaning}"
            yield Value(answer.event, answer.check, what, rows_words(answer.rows), text=text, number=result.value,
                        control=False, unit=QUANTITIES[quantity].si if quantity in QUANTITIES else "1")


def result_text(value: float, quantity: str, own: str | None, units: System) -> str:
    """Return a computed result with its unit; shares in percent."""
    quantity = own or "ratio" if quantity == "reading" else quantity
    if quantity == "share":
        return f"{number(value * 100)} %"
    if quantity in QUANTITIES:
        return show(value, quantity, units)
    return number(value)


def _si_unit(value: Any) -> str:
    """Return the SI unit of a stored value, "1" for counts and plain numbers."""
    unit = UNITS.get(value["unit"]) if isinstance(value, Mapping) and "unit" in value else None
    return QUANTITIES[unit.quantity].si if unit and unit.quantity in QUANTITIES else "1"


def _spacings(answer: Answer) -> tuple[float, ...]:
    if answer.spacings is not None:
        series = answer.spacings
        return tuple(Measured(v, series["unit"]).si() for v in series["values"])
    if answer.positions is not None:
        places = [Measured(v, answer.positions["unit"]).si() for v in answer.positions["values"]]
        return tuple(round(b - a, 9) for a, b in pairwise(places))
    return ()


def _pieces_text(answer: Answer) -> str:
    told = []
    for piece, sat in answer.pieces.items():
        for row, home in sat.items():
            came = "from the shelf" if home == "spare" else f"from row {home}"
            told.append(f"row {row} with the {piece.replace('_', ' ')} {came}")
    return "; ".join(told)


def pairs_of(tests: Sequence[MadeTest]) -> tuple[Pair, ...]:
    """Return each figure measured before and after at the same place by the same check: the last of each."""
    first = {(v.check, v.what, v.where): v for v in _plain(tests, "before")}
    last = {(v.check, v.what, v.where): v for v in _plain(tests, "after")}
    return tuple(Pair(v.check, v.what, v.where, first[k], after=v) for k, v in last.items() if k in first)


def _plain(tests: Iterable[MadeTest], when: str) -> Iterator[Value]:
    for test in tests:
        if test.when == when and not test.pieces:
            yield from test.values
