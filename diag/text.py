"""Text from people and files: cleaned once, at the door."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable

_KEPT = {"\n", "\t"}
_DROPPED = {"Cc", "Cf", "Cs"}


def clean(text: str, *, limit: int | None = None) -> str:
    """Return text without control bytes, direction marks and lone surrogates (tab and newline stay).

    Such characters could drive the terminal or reorder what is read. `limit` cuts to that many
    characters and marks the cut, so nothing vanishes silently.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = "".join(c for c in text if c in _KEPT or unicodedata.category(c) not in _DROPPED)
    kept = unicodedata.normalize("NFC", kept)
    if limit is not None and len(kept) > limit:
        return kept[: max(0, limit - 12)] + " [cut short]"
    return kept


def printable(text: str) -> str:
    """Return text in which what could drive a terminal or reorder what is read shows as an escape, as JSON has it."""
    if text.replace("\n", "").replace("\t", "").isprintable():
        return text
    return "".join(c if c in _KEPT or unicodedata.category(c) not in _DROPPED else _escape(c) for c in text)


def _escape(c: str) -> str:
    units = c.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2))


def one_line(text: str, *, limit: int | None = None) -> str:
    """Return cleaned text with all white space folded to single spaces."""
    return " ".join(clean(text, limit=limit).split())


def wrap(text: str, width: int, indent: str = "") -> str:
    """Return text folded to `width` columns, paragraphs kept."""
    parts = clean(text).split("\n")
    return "\n".join(
        textwrap.fill(p, width, initial_indent=indent, subsequent_indent=indent) if p.strip() else ""
        for p in parts
    )


def number(value: float, digits: int = 3) -> str:
    """Return a number with `digits` significant digits and no needless zeros or exponent."""
    if value == 0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{value:.0f}" if abs(value) >= 1 else f"{value:.6f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def count(n: int, one: str, many: str | None = None) -> str:
    """Return "1 row" or "3 rows"."""
    return f"{n} {one if n == 1 else (many or one + 's')}"


def row_runs(rows: Iterable[int]) -> str:
    """Return rows as one types them: "3, 7-9"; two neighbours stay apart."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    return ", ".join(f"{r[0]}-{r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs)


def rows_words(rows: Iterable[int] | str | None) -> str:
    """Return rows as they are named in a sentence: "row 7", "rows 3, 7-9", "all rows", "" for none told."""
    if rows is None:
        return ""
    if isinstance(rows, str):
        return f"{rows} rows"
    told = row_runs(rows)
    return f"row {told}" if told.isdigit() else f"rows {told}"
