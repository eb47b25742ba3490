"""The rows of the desk: the question with its answers in the middle, and what stands beside it on a wide screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from diag.ask.answers import answer_form
from diag.ask.turn import Turn
from diag.record.times import clock
from diag.say import explaining, present
from diag.say.follows import Lead, behind, in_common
from diag.text import rows_words, wrap
from diag.tui.safe import Part, fit
from diag.tui.work import Work

Rows = list[list[Part]]
PAD = "    "
MARGIN = 4
SHORT_BAR = 6
"""Cells of a bar beside a name."""
CHANCE = 8
"""Cells of a chance in words, with the blank before it."""
HEAD = 8
"""Columns before the words of an answer."""


@dataclass(frozen=True)
class Room:
    """What is free for the question: columns and lines, and whether the right column stands beside it."""

    width: int
    height: int
    beside: bool


def details_words(work: Work) -> list[str]:
    """Return what is said beside the answer, in words."""
    told = []
    if "rows" in work.details:
        told.append(rows_words(work.details["rows"]))
    if "observer" in work.details:
        told.append(work.call.engine.knowledge.observers[work.details["observer"]].label)
    if "happened" in work.details:
        told.append(f"at {clock(datetime.fromisoformat(work.details['happened']), work.call.desk.clock())}")
    return told


def question_rows(
    turn: Turn, work: Work, room: Room, picked: tuple[str, ...], leads: Mapping[str, Lead]
) -> Rows:
    """Return the question, its answers with what follows from each, and the small print, with air around."""
    said, width = turn.asks, room.width
    if work.call.state.channel == "phone" and turn.kind in ("check", "form", "say", "place", "axis", "need"):
        said = f'"{said}"'
    style = "bold $error" if turn.kind in ("danger", "stop") else "bold $bright"
    asked: Rows = [[PAD, (line, style)] for line in wrap(said, min(68, width - 2 * MARGIN)).splitlines()]
    asked += _quiet(turn.hint, width) if turn.kind == "form" else []
    answers = _answers(turn, work, width, picked, leads=leads)
    small = _small(turn, work, room)
    free = room.height - len(asked) - len(answers) - len(small)
    top, gap = (min(12, free // 3), 1) if free >= 5 else (1, 1) if free >= 3 else (0, 1) if free >= 2 else (0, 0)
    end = 1 if free - top - 2 * gap >= 1 else 0
    then = _quiet(f"after any answer, {common}", width) if (common := in_common(leads)) else _blank(end)
    return [*_blank(top), *asked, *_blank(gap), *answers, *(_blank(gap) if small else []), *small, *then]


def _blank(n: int) -> Rows:
    return [[""] for _ in range(n)]


def _answers(
    turn: Turn, work: Work, width: int, picked: tuple[str, ...], leads: Mapping[str, Lead]
) -> Rows:
    if work.trial is not None and turn.kind in ("check", "form"):
        return [[PAD, "Any answer and Enter does this check: the machine answers."]]
    rows: Rows = []
    group = ""
    groups = {f"{n.check}/{n.outcome}": n.group for n in turn.form}
    bodies = {c.key: wrap(c.words, max(20, width - HEAD - 2)).splitlines() or [""] for c in turn.choices}
    longest = max((len(body[-1]) for body in bodies.values()), default=0)
    told = behind(leads, width - HEAD - longest - 6)
    for number, choice in enumerate(turn.choices, 1):
        if turn.form and groups[choice.key] != group:
            group = groups[choice.key]
            rows += [[PAD, (line, "underline $quiet")] for line in wrap(group, width - 8).splitlines()]
        here = choice.key in picked
        mark = "x" if here and turn.form else ">" if here else " "
        head = f"  {mark} {number:>2}  "
        body = bodies[choice.key]
        rows.append([(head, "bold $accent"), (body[0], "bold reverse" if here else "")])
        rows += [[" " * len(head), (line, "bold reverse" if here else "")] for line in body[1:]]
        if choice.key in told:
            rows[-1] += [" " * (longest - len(body[-1]) + 2), ("→ " + told[choice.key], "$quiet")]
    if turn.kind == "check":
        also = "  ? not sure   x can't be done here"
        if turn.check is not None and turn.check.measured:
            form = answer_form(turn.check, work.office.units)
            rows += _quiet(f"or figures: {form}", width)
        rows.append([PAD[:2], (also + "   or say it in words", "$quiet")])
    elif turn.kind in ("axis", "need"):
        rows.append([PAD, ("? not known", "$quiet")])
    elif turn.kind == "form":
        rows.append([PAD[:2], ("  ? not sure   x can't be done here", "$quiet")])
    elif turn.hint:
        rows.append([PAD, (turn.hint, "$quiet")])
    return rows


def _small(turn: Turn, work: Work, room: Room) -> Rows:
    rows: Rows = []
    for what, words in turn.beside:
        rows += _quiet(f"{what}: {words}", room.width, "$warning" if what == "changes evidence" else "$quiet")
    if work.call.state.channel == "site" and turn.kind == "check" and not room.beside:
        for step in turn.steps:
            rows += _quiet(step, room.width)
    return rows


def _quiet(text: str, width: int, style: str = "$quiet") -> Rows:
    return [[PAD, (line, style)] for line in wrap(text, max(30, width - 6)).splitlines()]


def causes_rows(work: Work, most: int, width: int) -> Rows:
    """Return the causes under the question: short bars with words, and what stands behind them."""
    rows: Rows = []
    shown = present.cause_lines(work.call, work.before, most)
    room = max(20, width - SHORT_BAR - 17)
    for c in shown:
        style = "bold" if c.belief == "likely" else ""
        first, *more = wrap(c.label, room).splitlines()
        rows.append([(f" {c.sign} ", "bold $accent"), (first.ljust(room), style), " ",
                     (present.bar(c.share, SHORT_BAR), "$accent"), f" {c.chance}"])
        rows += [["   ", (line, style)] for line in more]
    rest = present.rest_line(work.call, len(shown))
    if rest:
        rows.append([("   " + fit(rest, width - 8), "$quiet"), ("  F4", "$quiet")])
    return rows


def _causes_beside(work: Work, most: int, width: int) -> Rows:
    """Return the causes for the right column: each name whole, its bar with words at its end."""
    rows: Rows = []
    shown = present.cause_lines(work.call, work.before, most)
    for c in shown:
        style = "bold" if c.belief == "likely" else ""
        named = wrap(c.label, width - 3).splitlines()
        for i, line in enumerate(named):
            rows.append([(f" {c.sign} " if i == 0 else "   ", "bold $accent"), (line, style)])
        drawn = present.bar(c.share, SHORT_BAR).rstrip()
        room = width - 3 - len(named[-1]) - len(drawn) - CHANCE
        if room < 1:
            rows.append(["   "])
            room = width - 3 - len(drawn) - CHANCE
        rows[-1] += [" " * room, (drawn, "$accent"), f" {c.chance}".ljust(CHANCE)]
    if rest := present.rest_line(work.call, len(shown)):
        rows += [["   ", (line, "$quiet")] for line in wrap(rest, width - 5).splitlines()]
    return rows


def side_rows(turn: Turn, work: Work, width: int, height: int) -> Rows:
    """Return the right column: causes, what must be seen, how the check is done, why, readings, what was recorded."""
    parts: list[tuple[str, Rows]] = []
    if work.trial is None and turn.kind not in ("closed", "proved", "stop"):
        parts.append(("Causes", _causes_beside(work, 5 if height > 30 else 3, width)))
    over = work.trial is not None or turn.kind in ("closed", "proved")
    seen = [] if over else present.warnings(work.call)
    if seen:
        parts.append(("Mind this", _wrapped(seen, width, "! ")))
    if turn.steps and turn.kind in ("check", "form", "say", "danger", "need"):
        parts.append(("How it is done", _wrapped(turn.steps, width)))
    if turn.offer is not None and turn.check is not None and work.trial is None:
        why = [text for part, text in present.check_lines(work.call, turn.check, turn.offer) if part == "why"]
        parts.append(("Why", _wrapped(why, width)))
    charts = explaining.last_charts(work.call, width)
    parts += [(title, [[line] for line in drawn]) for title, drawn in charts]
    told = [text for _, text in present.trail_lines(work.call)]
    rows: Rows = []
    for title, body in parts:
        if rows:
            rows.append([""])
        rows += [[(title, "bold $secondary")], *body]
    left = height - len(rows) - 3
    if told and left > 2:
        rows += [[""], [("Recorded", "bold $secondary")], *_cut(told[-left:], width)]
    return rows


def _cut(texts: Iterable[str], width: int) -> Rows:
    return [[fit(text, width)] for text in texts]


def _wrapped(texts: Iterable[str], width: int, mark: str = "") -> Rows:
    rows: Rows = []
    for text in texts:
        for i, line in enumerate(wrap(text, width - 2).splitlines()):
            rows.append([(mark if i == 0 else " " * len(mark)), line])
    return rows
