"""Values from what was typed: one, a list, by row or by name. Two readings that are as good are both given."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import chain, pairwise

from diag.errors import AmbiguousError, DiagError, UnitError, UsageError
from diag.figures.asked import AGAIN, Asked, PlacedValue, Understood, check_row
from diag.figures.marks import all_split, comma_pairs, pieces, spaced
from diag.figures.numbers import fraction, settled
from diag.figures.places import FROM_WORDS, ROW_WORDS, Placed, RowRun, groups, named
from diag.figures.scan import MOST_TYPED, Scanner, Token, not_understood
from diag.text import one_line
from diag.unit_table import QUANTITIES, UNITS, Quantity, Unit
from diag.units import Measured, check_possible, find_unit, quantity_named, wrong_dimension

_PLAIN = re.compile(r"[0-9]{1,12}(?:\.(?:[0-9]{1,2}|[0-9]{4,12}))?")
_THOUSANDS = ("rate", "count", "seeds_per_mass")


def measured(text: str, quantity: str, *, default_unit: str | None = None) -> Measured:
    """Return what was typed as one value of `quantity`; `default_unit` is used when no unit is typed.

    Takes "18,5 inH2O", "32k/ac", "32,000 seeds/ac", "6 1/2 in", "5 ft 3 1/2 in", 17' 5". One comma before
    exactly three figures may be a thousands mark or a decimal comma: the reading that is usual for the
    quantity is taken, and where both are usual the text is refused. Raises UnitError: no number, no unit
    anywhere, another dimension (both units named), an impossible size (with what was likely meant).
    """
    return next(iter(read(text, Asked(quantity, default_unit)).sure().values.values()))


def read(text: str, asked: Asked, most: int = MOST_TYPED) -> Understood:
    """Return what was typed, as it is understood; `Read.sure` refuses what has two meanings.

    Takes numbers in every form, the unit before, after, on each or once for all, "-" or "x" for not read; by row
    "6: 18.2 7: 11", "6 18.2, 7 11", "row 6 18.2, row 7 11", "from 6: 18.2 11 18" (also "down"), lines of a table;
    by name "left 14 right 20" or in the order asked. Raises UnitError or UsageError with the remedy.
    """
    want = quantity_named(asked.quantity)
    scanner = Scanner(text, asked.labels, thousands=want.dimension in _THOUSANDS, counted=want.dimension == "count",
                      most=most)
    entries = scanner.entries()
    if not any(e.kind == "value" for e in entries):
        if not scanner.text.strip():
            raise UnitError(f"No {want.label} was given.", remedy=f"Type a number, such as {_example(want)}.")
        raise UnitError(f'"{one_line(text, limit=40)}" does not begin with a number.',
                        remedy=f"Type a number and a unit, such as {_example(want)}.")
    return _settled(_Reader(scanner.text, asked, want), entries)


def _example(want: Quantity) -> str:
    number = {"seeds/ac": "32000", "inH2O": "18.5", "in": "6.5", "mph": "5", "rpm": "40"}.get(want.us, "12")
    return f"{number} {want.us}".strip()


# ------------------------------------------------------------------------- what the marks may mean


def _settled(reader: _Reader, entries: list[Token]) -> Understood:
    """Return the one reading that can be, with a second one beside it where it is as good."""
    plain = list(chain.from_iterable(pieces(entries)))
    error: DiagError | None = None
    try:
        found = reader.readings(plain)
    except AmbiguousError:
        raise
    except DiagError as wrong:
        error, found = wrong, []
    pairs = comma_pairs(entries)
    if pairs is not None:
        found += reader.tried(pairs)
    if not found or not found[0].usual:
        found += [r for r in reader.tried(spaced(plain)) if error or r.usual]
    if not found and isinstance(error, UsageError):
        found = reader.tried(all_split(plain))
    if not found:
        assert error is not None
        raise error
    return replace(found[0], other=next((r for r in found[1:] if r.values != found[0].values), None))


# ---------------------------------------------------------------------------------- what is asked


class _Reader:
    """Reads entries as what is asked: gives a place to each value, then number and unit."""

    def __init__(self, text: str, asked: Asked, want: Quantity) -> None:
        self._text, self._asked, self._want = text, asked, want
        alike = (q for q in QUANTITIES.values() if q.dimension == want.dimension)
        self._usual = tuple(alike) if asked.loose else (want,)

    def tried(self, entries: Sequence[Token] | None) -> list[Understood]:
        """Return the readings of entries, none where they cannot be read."""
        try:
            return self.readings(entries) if entries else []
        except DiagError:
            return []

    def readings(self, entries: Sequence[Token]) -> list[Understood]:
        """Return the reading, or both where two are as good. Raises DiagError when there is none."""
        entries = _without_lead(self._feet(entries))
        places: dict[str, Callable[[Sequence[Token]], list[Placed]]] = {
            "one": self._one, "list": self._list, "labels": self._labels, "rows": self._rows}
        tried = places[self._asked.kind](entries)
        found: list[Understood] = []
        for i, placed in enumerate(tried):
            try:
                found.append(self._read(placed, entries))
            except DiagError:
                if i == len(tried) - 1 and not found:
                    raise
        return found

    def _read(self, placed: Placed, entries: Sequence[Token]) -> Understood:
        asked = self._asked
        values = [e for _, e in placed if e.kind == "value"]
        if len(values) < asked.least:
            told = f"{len(values)} value{'s' * (len(values) != 1)}; at least {asked.least} are needed."
            raise UsageError(told, "", "Read the others too.")
        for place, _ in placed if asked.kind == "rows" else ():
            if place != AGAIN:
                check_row(int(place), asked.rows)
        unit, assumed = self._unit(values, [e for e in entries if e.kind == "unit"])
        items = []
        for place, entry in placed:
            try:
                value = self._value(entry, unit) if entry.kind == "value" else None
                items.append(PlacedValue(place, value, entry.line))
            except UnitError as error:
                raise error.at(f"{asked.where}:{entry.line}" if asked.where else "") from None
        return Understood(asked, tuple(items), assumed)

    # --- places -----------------------------------------------------------------------------------

    def _one(self, entries: Sequence[Token]) -> list[Placed]:
        placed = self._in_order(entries)
        if len(placed) != 1 or placed[0][1].kind == "none":
            raise UnitError("This is more than one number.", remedy="Give one number and its unit.")
        return [placed]

    def _list(self, entries: Sequence[Token]) -> list[Placed]:
        for entry in entries:
            if entry.figures == "0" and entry.part:
                raise AmbiguousError(f'"{entry.text}" may be one value or two.', "",
                                     f"Write 0; {entry.part} or a decimal.")
        return [self._in_order(entries)]

    def _in_order(self, entries: Sequence[Token]) -> Placed:
        placed: Placed = []
        before: Token | None = None
        for entry in entries:
            if entry.kind in ("value", "none"):
                placed.append((str(len(placed) + 1), entry))
            elif entry.kind == "dash" and before is not None and before.kind == "value":
                raise UnitError("This is more than one number.", remedy="Give one number and its unit.")
            elif entry.kind not in ("unit", "break"):
                raise not_understood(self._text, entry, before)
            before = entry
        return placed

    def _labels(self, entries: Sequence[Token]) -> list[Placed]:
        labels = self._asked.labels
        if not any(e.kind in ("label", "is") for e in entries):
            placed = self._in_order(entries)
            if len(placed) != len(labels):
                wanted = ", ".join(label.replace("_", " ") for label in labels)
                raise UsageError(f"{len(placed)} values for {len(labels)} places.", "",
                                 f"Give one each, in this order: {wanted}.")
            return [[(label, e) for label, (_, e) in zip(labels, placed, strict=True)]]
        return [list(named(self._text, entries, labels))]

    def _rows(self, entries: Sequence[Token]) -> list[Placed]:
        at = next((i for i, e in enumerate(entries) if e.kind == "word" and e.text.casefold() == AGAIN), None)
        if at is not None:
            last = [e for e in entries[at + 1 :] if e.kind != "is"]
            end = [(AGAIN, e) for _, e in self._in_order(last)]
            if len(end) != 1:
                raise UsageError("After again one value is wanted, the first row's.", "", "Write again: 18 at the end.")
            return [placed + end for placed in self._rows(entries[:at])]
        words = {e.text.casefold() for e in entries if e.kind == "word"}
        if any(e.kind == "is" for e in entries) or not words.isdisjoint((*ROW_WORDS, *FROM_WORDS)):
            return [RowRun(self._text, entries).placed()]
        flat = self._in_order(entries)
        firsts = [e.bare for _, e in flat[::2]]
        rows = [r for r in firsts if r is not None and 1 <= r <= (self._asked.rows or r)]
        grouped = groups(entries)
        in_twos = len(grouped) > 1 and {len(g) for g in grouped} == {2}  # set apart, the bad row may come first
        in_order = len(set(rows)) == len(rows) if in_twos else all(a < b for a, b in pairwise(rows))
        if len(flat) % 2 or len(rows) < len(firsts) or not in_order:
            return [flat]
        pairs = [(str(r), e) for r, (_, e) in zip(rows, flat[1::2], strict=True)]
        if len(pairs) == 1 and self._asked.least == len(flat):  # else the row in front would be read as a value
            a, b = (e.text for _, e in flat)
            raise AmbiguousError(f'"{a} {b}" may be a row and its value, or two values.', "",
                                 f"Write row {a}: {b}, and another row beside it, or 1: {a}, 2: {b}.")
        units = [e.unit is not None for _, e in flat[1::2]]
        return [pairs] if in_twos or (len(pairs) > 1 and all(units)) else [flat, pairs]

    # --- units and numbers ------------------------------------------------------------------------

    def _feet(self, entries: Sequence[Token]) -> list[Token]:
        """Join feet and the inches behind them; "6 ft 7" alone may be one length or two and is refused in a list."""
        if self._want.dimension != "length" or not any(e.unit and e.unit.name == "ft" for e in entries):
            return list(entries)
        made: list[Token] = []
        for entry in entries:
            feet = made[-2] if len(made) > 1 and made[-1].kind in self._joints else made[-1] if made else None
            if entry.kind == "value" and feet is not None and _whole_feet(feet) and self._are_inches(entry, made[-1]):
                del made[-1 if made[-1] is feet else -2 :]
                inches = _number(entry, (QUANTITIES["spacing"],), UNITS["in"])
                if inches >= 12:
                    raise UnitError(f'"{one_line(self._text[feet.start : entry.end], limit=40)}" has 12 inches or more '
                                    "beside the feet.", "",
                                    "Give the whole length in inches, or carry 12 inches over as a foot.")
                made.append(replace(entry, start=feet.start, figures=f"{int(feet.figures) * 12 + inches:f}", part="",
                                    unit=UNITS["in"], negative=feet.negative))
            else:
                made.append(entry)
        return made

    @property
    def _joints(self) -> tuple[str, ...]:
        return ("dash", "break") if self._asked.kind == "one" else ("dash",)

    def _are_inches(self, entry: Token, before: Token) -> bool:
        if entry.unit is not None or self._asked.kind == "one":
            return entry.unit is None or entry.unit.name == "in"
        if before.kind == "value" and entry.bare is not None and entry.bare < 12:
            raise AmbiguousError(f'"{before.text} {entry.text}" may be one length or two.', "",
                                 f"Write {before.text} {entry.text} in, or {before.text}, {entry.text} ft.")
        return False

    def _unit(self, values: Sequence[Token], alone: Sequence[Token]) -> tuple[Unit | None, bool]:
        """Return the unit of the values that have none, and whether it was assumed."""
        units = {e.unit.name: e.unit for e in (*values, *alone) if e.unit is not None}
        if len(units) == 1:
            return next(iter(units.values())), False
        bare = [e for e in values if e.unit is None]
        if units and bare:
            raise UnitError(f"{bare[0].text} has no unit, and {' and '.join(units)} stand beside it.", "",
                            "Write the unit on each value.")
        if self._asked.unit is not None:
            return find_unit(self._asked.unit), not units
        return (UNITS["count"] if self._want.dimension == "count" else None), False

    def _value(self, entry: Token, unit: Unit | None) -> Measured:
        want, unit = self._want, entry.unit or unit
        if unit is not None and unit.name == "in" and want.us == "inH2O":  # of a vacuum people say inches
            unit = UNITS[want.us]
        if unit is None:
            raise UnitError(f"The {want.label} has no unit.",
                            remedy=f"Add the unit printed on the gauge, such as {want.us} or {want.metric}.")
        if unit.quantity != want.dimension:
            raise wrong_dimension(unit, want)
        if re.match("0[0-9]", entry.figures):
            raise UnitError(f'"{entry.figures[:20]}" begins with a zero.', remedy="Write 5.2, not 05.2.")
        number = entry.figures if _is_plain(entry) else f"{_number(entry, self._usual, unit):f}"
        found = Measured(f"-{number}" if entry.negative else number, unit.name)
        if not self._asked.loose:
            check_possible(found, want.name)
        return found


def _is_plain(entry: Token) -> bool:
    return not entry.part and entry.times == 1 and _PLAIN.fullmatch(entry.figures) is not None


def _number(entry: Token, wanted: Sequence[Quantity], unit: Unit) -> Decimal:
    """Return the number of a value as an exact decimal, without its sign."""
    number = Decimal(settled(entry.figures, wanted, unit, entry.times)) if entry.figures else Decimal(0)
    number += fraction(entry.part) if entry.part else 0
    return number if entry.times == 1 else Decimal(f"{(number * entry.times).normalize():f}")


def _whole_feet(entry: Token) -> bool:
    return (entry.kind == "value" and entry.unit is not None and entry.unit.name == "ft" and not entry.part
            and entry.figures.isdigit())


def _without_lead(entries: Sequence[Token]) -> list[Token]:
    """Drop the colon behind a unit that stands before its values: "inH2O: 18 17"."""
    return [e for i, e in enumerate(entries) if not (e.kind == "is" and i and entries[i - 1].kind == "unit")]


# --------------------------------------------------------------------------- without a quantity


def by_row(text: str, rows: int | None = None) -> Understood:
    """Return values by row of whatever their unit measures. Raises UnitError or UsageError."""
    unit = next((e.unit for e in Scanner(text).entries() if e.unit), None)
    if unit is None:
        raise UnitError("These values have no unit.", remedy="Write it once at the end: 6 18.2, 7 11 inH2O.")
    return read(text, Asked(unit.quantity, kind="rows", rows=rows)).sure()


def setting(text: str) -> Measured | None:
    """Return a setting that is one number with a known unit, None for anything else ("notch 3").

    The unit tells the dimension; a comma before three figures is settled by all quantities measured in it.
    Raises AmbiguousError where two readings are as good.
    """
    try:
        scans = (Scanner(text, thousands=k, counted=True).entries() for k in (True, False))
        unit = next((e.unit for entries in scans for e in entries if e.unit), None)
        return read(text, Asked(unit.quantity, loose=True)).sure().values["1"] if unit else None
    except AmbiguousError:
        raise
    except DiagError:
        return None
