"""The one door on which text goes to widgets: cleaned, and never read as markup.

Static, OptionList and titles take Content; nothing here is an f-string of markup.
"""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content

from diag.text import clean

Part = str | tuple[str, str]
"""Text, or (text, style)."""


def say(*parts: Part) -> Content:
    """Return parts as one piece of content; text is shown as it stands, control bytes left out."""
    told = [clean(p) if isinstance(p, str) else (clean(p[0]), p[1]) for p in parts]
    return Content.assemble(*told)


def lines(rows: Iterable[Iterable[Part]]) -> Content:
    """Return several lines of parts as one piece of content."""
    joined: list[Part] = []
    for i, row in enumerate(rows):
        if i:
            joined.append("\n")
        joined.extend(row)
    return say(*joined)


def folded(content: Content, width: int, most: int = 0) -> Content:
    """Return content folded to so many columns, for where its lines are counted before it is drawn.

    `most`: lines at the most, 0 for all; what is left out is marked.
    """
    wrapped = content.wrap(max(20, width))
    if most and len(wrapped) > most:
        wrapped = [*wrapped[: most - 1], wrapped[most - 1].rstrip() + say(" ..")]
    return Content("\n").join(wrapped)


LEAST_ASKED = 12
"""Columns that a question keeps beside its answer."""


def fit(text: str, width: int) -> str:
    """Return text on one line in so many columns, its end marked when something is left out."""
    from rich.cells import cell_len, set_cell_size

    told = " ".join(clean(text).split())
    if cell_len(told) <= width:
        return told
    return set_cell_size(told, max(0, width - 2)).rstrip() + ".."


def fit_echo(text: str, width: int) -> str:
    """Return "question: answer" on one line in so many columns; what is left out is of the question, if it can be.

    A question that is cut keeps no more than its heading, so that no half of it reads as the answer.
    """
    told = " ".join(clean(text).split())
    asked, colon, answer = told.rpartition(": ")
    room = width - len(answer) - 2
    if len(told) <= width:
        return told
    if asked.count('"') % 2:  # the colon stands in what was said
        return fit(told, width)
    if room < LEAST_ASKED:  # of both the beginning
        return fit(fit(asked, max(LEAST_ASKED, width // 3)) + colon + answer, width)
    return fit(asked.partition(": ")[0] + " .." if ": " in asked else asked, room) + colon + answer
