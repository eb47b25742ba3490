"""What the marks between figures may mean: a list without blanks, decimal commas, blanks that group thousands."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from diag.figures.numbers import is_number
from diag.figures.scan import Token

_THREES = re.compile("[1-9][0-9]{0,2}(?:'[0-9]{3})*")


def pieces(entries: Sequence[Token]) -> Iterator[Iterator[Token]]:
    """Yield entries; figures that are no number are cut at their commas, before a colon at the last one."""
    for i, entry in enumerate(entries):
        before_colon = i + 1 < len(entries) and entries[i + 1].kind == "is"
        if "," in entry.figures and before_colon:
            yield _split(entry, entry.figures.rpartition(",")[::2])
        elif "," in entry.figures and not is_number(entry.figures):
            yield _split(entry, entry.figures.split(","))
        else:
            yield iter((entry,))


def _split(entry: Token, parts: Sequence[str]) -> Iterator[Token]:
    """Yield one value of a list written without blanks for each part; the last keeps fraction and unit."""
    at = entry.start
    for i, part in enumerate(parts):
        last = i == len(parts) - 1
        if i:
            yield Token("break", ",", at, at + 1)
            at += 1
        yield (replace(entry, figures=part, start=at, text=part + entry.text[len(entry.figures):], negative=False)
               if last else Token("value", part, at, at + len(part), figures=part, negative=entry.negative and i == 0))
        at += len(part)


def comma_pairs(entries: Sequence[Token]) -> list[Token] | None:
    """Return "6,1,5,8" as 6.1 and 5.8, the other reading of such a list; None where there is none."""
    made: list[Token] = []
    for entry in entries:
        parts = entry.figures.split(",")
        if len(parts) > 1 and not is_number(entry.figures):
            if len(parts) % 2 or not all(p.isdigit() for p in parts):
                return None
            made += _split(entry, [",".join(two) for two in zip(parts[::2], parts[1::2], strict=True)])
        else:
            made.append(entry)
    return made if len(made) > len(entries) else None


def spaced(entries: Sequence[Token]) -> list[Token] | None:
    """Return "32 000" as one number, wherever three figures follow up to three after a blank; None without any."""
    made: list[Token] = []
    for entry in entries:
        last = made[-1] if made else None
        goes_on = (last is not None and last.unit is None and last.kind == "value" and not (last.part or last.negative)
                   and _THREES.fullmatch(last.figures)
                   and re.match(r"[0-9]{3}(?![0-9])", entry.figures))
        if last is not None and goes_on:
            made[-1] = replace(entry, figures=f"{last.figures}'{entry.figures}", start=last.start)
        else:
            made.append(entry)
    return made if len(made) < len(entries) else None


def all_split(entries: Sequence[Token]) -> list[Token] | None:
    """Return the entries with every comma between values, None without any comma inside figures."""
    if not any("," in e.figures for e in entries):
        return None
    return [p for e in entries for p in (_split(e, e.figures.split(",")) if "," in e.figures else (e,))]
