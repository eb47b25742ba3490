"""One parser per kind of answer: from what is typed to what is recorded.

choice      a number of the list, the outcome's id or its words
yes_no      y, yes, n, no
several     asked as a form of ticks, each item an answer of its own
number      18.5 inH2O
numbers     by row "7: 18.5, 8: 18, 9: -" or "from 5: 18.5 18 - 17.5 inH2O"; by point "31 33 29"
spacings    6.5 7 6.25 12.5 in        positions   0 6.5 13.25 26 in
count       17 of 20, 17/20 or 17     counts      slow 3/100, normal 9/100
log         every 10 s: 18 18.2 17.9 inH2O, or 0 18, 10 18.2, ... inH2O
text        anything
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from diag.call.readings import AGAIN
from diag.errors import UnitError, UsageError
from diag.knowledge.model import Check
from diag.record.rows import check_rows
from diag.text import clean, one_line
from diag.units import QUANTITIES, UNITS, Measured, check_possible, find_unit, parse

Body = dict[str, Any]

_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?(?:\s+\d+/\d+)?|[-+]?[.,]\d+")
_COUNT = re.compile(r"(\d+)\s*(?:/|of|out of)\s*(\d+)", re.IGNORECASE)
_FROM = re.compile(r"^\s*(?:from|start|starting)?\s*(?:row|at row|at)?\s*(\d+)\s*(down|back)?\s*:\s*(.*)$", re.I | re.S)
_EVERY = re.compile(r"^\s*every\s+(\d+(?:[.,]\d+)?)\s*([a-z]+)\s*:\s*(.*)$", re.IGNORECASE | re.DOTALL)
_LABELLED = re.compile(r"([A-Za-z_][\w ]*?)\s*:?\s*(\d+)(?:\s*(?:/|of|out of)\s*(\d+))?(?=[\s,;]|$)")
_DASH = {"-", "--", "x", "?"}
CALLED = {"good", "close", "gap"}
"""Labels of spacings called out one by one."""
MOST_TYPED = 100_000


def unit_hint(check: Check, system: str = "us") -> str:
    """Return the unit expected when none is typed ("" when there is none)."""
    quantity = QUANTITIES.get(check.takes.quantity or "")
    if quantity is None:
        return ""
    return quantity.us if system == "us" else quantity.metric


def parse_answer(check: Check, text: str, *, unit: str | None = None, rows: int | None = None) -> Body:
    """Return the reading or outcome to record. Raises UnitError or UsageError with place and remedy.

    `unit`: the unit of the gauge or tape, used where none is typed. `rows`: rows of the machine.
    """
    said = clean(text).strip()
    if len(said) > MOST_TYPED:
        raise UsageError("That is too long for one answer.", check.asks, "Give it as a file: `diag measure`.")
    if not said:
        raise UsageError("Nothing was typed.", check.asks, "Answer, or say not sure.")
    kind = check.takes.kind
    if kind in ("choice", "yes_no"):
        return {"outcome": choose(check, said)}
    parser = {
        "number": _number, "numbers": _numbers, "spacings": _series, "positions": _series, "count": _count,
        "counts": _counts, "log": _log,
    }.get(kind)
    if parser is None:
        return {"said": said}
    try:
        return parser(check, said, unit, rows)
    except (UnitError, UsageError) as error:
        raise type(error)(error.what, error.where or check.asks, error.remedy) from None


def choose(check: Check, said: str) -> str:
    """Return the outcome meant by a number, an id or words."""
    names = list(check.outcomes)
    tidy = one_line(said).lower()
    if check.takes.kind == "yes_no":
        word = {"y": "yes", "yes": "yes", "1": "yes", "n": "no", "no": "no", "2": "no"}.get(tidy)
        if word:
            return word
    if tidy.isdigit() and 1 <= int(tidy) <= len(names):
        return names[int(tidy) - 1]
    exact = [n for n in names if tidy in (n, n.replace("_", " "), check.outcomes[n].says.lower())]
    near = exact or [n for n in names if n.startswith(tidy.replace(" ", "_"))]
    near = near or [n for n in names if check.outcomes[n].says.lower().startswith(tidy)]
    if len(near) == 1:
        return near[0]
    listed = "; ".join(f"{i} {check.outcomes[n].says}" for i, n in enumerate(names, 1))
    raise UsageError(f"{said[:40]!r} is not one of the answers.", check.asks, f"Type a number: {listed}.")


def _quantity(check: Check) -> str:
    return check.takes.quantity or "count"


def _number(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    measured = parse(said, _quantity(check), default_unit=unit)
    check_possible(measured, _quantity(check))
    return {"value": measured.as_json()}


def _split_unit(said: str, check: Check, unit: str | None) -> tuple[str, str]:
    """Return (text without a unit at its end, unit name). Raises UnitError when no unit is known."""
    quantity = _quantity(check)
    match = re.search(r"([A-Za-z\"'%][A-Za-z0-9/%\"' ]*)$", said)
    if match:
        found = find_unit(match.group(1).strip())
        wanted = QUANTITIES[quantity]
        if found.quantity != wanted.dimension:
            raise UnitError(
                f"{found.name} is a unit of {found.quantity}; {wanted.label} is wanted, in {wanted.us}.", "",
                f"Give it in {wanted.us} or {wanted.metric}.",
            )
        return said[: match.start()].rstrip(" ,;"), found.name
    if unit:
        return said, unit
    if QUANTITIES[quantity].dimension in ("count",) or quantity == "count":
        return said, QUANTITIES[quantity].us
    wanted = QUANTITIES[quantity]
    raise UnitError("No unit was given.", "", f"Write it once at the end: {wanted.us} or {wanted.metric}.")


def _plain(token: str, unit: str, quantity: str) -> Measured:
    measured = parse(f"{token} {UNITS[unit].label or unit}", quantity) if unit else parse(token, quantity)
    check_possible(measured, quantity)
    return measured


def _tokens(said: str) -> list[str]:
    """Split a list of values; with semicolons or blanks between them a comma is a decimal comma."""
    parts = re.split(r"[;\n\t]+", said) if re.search(r"[;\n\t]", said) else re.split(r",\s+|\s+", said)
    if len(parts) == 1 and said.count(",") > 1:
        parts = said.split(",")
    flat = [t for p in parts for t in (p.split() if re.search(r"[;\n\t]", said) else [p])]
    return [t.strip(" ,") for t in flat if t.strip(" ,")]


def _numbers(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    said, unit_name = _split_unit(said, check, unit)
    quantity = _quantity(check)
    values: dict[str, Any] = {}
    if check.takes.per == "row":
        pairs = _row_pairs(said, rows)
    elif check.takes.labels and ":" in said:
        pairs = _label_pairs(said, check)
    elif check.takes.labels:
        pairs = _in_order(said, check)
    else:
        pairs = [(str(i), t) for i, t in enumerate(_tokens(said), 1)]
    for key, token in pairs:
        if token not in _DASH:
            values[key] = _plain(token, unit_name, quantity).as_json()
    least = check.takes.least or 1
    if len(values) < least:
        raise UsageError(f"{len(values)} values; at least {least} are needed.", check.asks, "Read the others too.")
    return {"values": values}


def _row_pairs(said: str, rows: int | None) -> list[tuple[str, str]]:
    pairs = re.findall(r"(\d+|again)\s*:\s*([^\s,;]+)", said)
    start = _FROM.match(said)
    if start and len(pairs) <= 1:
        row, step = int(start.group(1)), -1 if start.group(2) else 1
        pairs = [(str(row + step * i), t) for i, t in enumerate(_tokens(start.group(3)))]
    elif not pairs:
        pairs = [(str(i), t) for i, t in enumerate(_tokens(said), 1)]
    numbers = [int(k) for k, _ in pairs if k != AGAIN]
    if len(set(numbers)) != len(numbers):
        remedy = "Give each row once; the first row read again is `again: 18`."
        raise UsageError("A row stands there twice.", "", remedy)
    check_rows(tuple(sorted(numbers)), rows)
    return pairs


def _in_order(said: str, check: Check) -> list[tuple[str, str]]:
    tokens, labels = _tokens(said), check.takes.labels
    if len(tokens) != len(labels):
        wanted = ", ".join(label.replace("_", " ") for label in labels)
        remedy = f"Give one each, in this order: {wanted}."
        raise UsageError(f"{len(tokens)} values for {len(labels)} places.", "", remedy)
    return list(zip(labels, tokens, strict=True))


def _label_pairs(said: str, check: Check) -> list[tuple[str, str]]:
    found = re.findall(r"([A-Za-z_][\w ]*?)\s*:\s*([^\s,;]+)", said)
    pairs = [(name.strip().replace(" ", "_"), token) for name, token in found]
    unknown = [n for n, _ in pairs if n not in check.takes.labels]
    if unknown:
        raise UsageError(f"{unknown[0]!r} is not asked for.", "", f"Give: {', '.join(check.takes.labels)}.")
    return pairs


def _series(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    kind = check.takes.kind
    said, unit_name = _split_unit(said, check, unit)
    tokens = _tokens(said)
    values = [_plain(t, unit_name, check.takes.quantity or "spacing").value for t in tokens]
    if kind == "positions":
        for i, (a, b) in enumerate(pairwise(values), 2):
            if float(b) <= float(a):
                raise UsageError(
                    f"Position {i} ({b}) is not beyond the one before ({a}).", "", "Read the tape on from there again."
                )
    least = check.takes.least or 2
    if len(values) < least:
        raise UsageError(f"{len(values)} values; at least {least} are needed.", check.asks, "Go on along the row.")
    return {kind: {"unit": unit_name, "values": values}}


def _count(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    match = _COUNT.fullmatch(said.strip())
    if match:
        return {"value": {"count": int(match.group(1)), "of": int(match.group(2))}}
    if said.strip().isdigit():
        return {"value": int(said)}
    raise UsageError(f"{said[:40]!r} is not a count.", check.asks, 'Write "17 of 20" or "17".')


def _counts(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    values: dict[str, Any] = _tally(check, said)
    if values:
        return {"values": values}
    for label, number, of in _LABELLED.findall(said):
        key = label.strip().replace(" ", "_")
        values[key] = {"count": int(number), "of": int(of)} if of else int(number)
    if not values and len(check.takes.labels) > 1:
        found = _COUNT.findall(said)
        values = {k: {"count": int(c), "of": int(n)} for k, (c, n) in zip(check.takes.labels, found, strict=False)}
    missing = [label for label in check.takes.labels if label not in values]
    if missing or not values:
        example = ", ".join(f"{label.replace('_', ' ')} 3/100" for label in check.takes.labels)
        raise UsageError(f"Missing: {', '.join(missing).replace('_', ' ')}.", check.asks, f"Write {example}.")
    return {"values": values}


def _tally(check: Check, said: str) -> dict[str, Any]:
    """Return spacings called out by one key each ("ggcg lggg"), {} when it is something else."""
    from diag.analyses.dictation import tally_of
    from diag.errors import MeasureError

    if set(check.takes.labels) != CALLED or any(c.isdigit() for c in said):
        return {}
    try:
        counts = tally_of(said).counts()
    except MeasureError as error:
        raise UsageError(error.what, error.where, error.remedy) from None
    return {label: {"count": k, "of": n} for label, (k, n) in counts.items()}


def _log(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    said, unit_name = _split_unit(said, check, unit)
    every = _EVERY.match(said)
    if every:
        step, time_unit = float(every.group(1).replace(",", ".")), find_unit(every.group(2)).name
        tokens = _tokens(every.group(3))
        points = [[f"{step * i:g}", _plain(t, unit_name, _quantity(check)).value] for i, t in enumerate(tokens)]
    else:
        time_unit = "s"
        pairs = re.findall(rf"({_NUMBER.pattern})\s+({_NUMBER.pattern})", said)
        points = [[t.replace(",", "."), _plain(v, unit_name, _quantity(check)).value] for t, v in pairs]
    if len(points) < 3:
        raise UsageError("A log needs at least three readings.", check.asks, "Write every 10 s: 18 18.2 17.9 inH2O.")
    return {"log": {"time_unit": time_unit, "unit": unit_name, "points": points}}


def _numbers_form(check: Check, unit: str) -> str:
    if check.takes.per == "row":
        return f"from 1: 18.5 18 - 17.5 {unit}"
    if check.takes.labels:
        named = ", ".join(label.replace("_", " ") for label in check.takes.labels)
        return f"{named}, in this order, e.g. 18.5 17 {unit}"
    return f"31 33 29 {unit}"


def answer_form(check: Check, system: str = "us") -> str:
    """Return one line: how to type the answer."""
    unit = unit_hint(check, system)
    forms: Mapping[str, str] = {
        "choice": "a number of the list", "yes_no": "y or n", "several": 'numbers of what applies, or "none of them"',
        "number": f"a number with unit, e.g. 18.5 {unit}",
        "numbers": _numbers_form(check, unit),
        "spacings": f"6.5 7 6.25 {unit}", "positions": f"0 6.5 13.25 {unit}", "count": "17 of 20",
        "counts": "one key each: g good, c close, l gap" if set(check.takes.labels) == CALLED
        else ", ".join(f"{label.replace('_', ' ')} 3/100" for label in check.takes.labels),
        "log": f"every 10 s: 18 18.2 17.9 {unit}", "text": "anything",
    }
    return forms[check.takes.kind]
