"""What a typed line means for the question asked: read back while one types, recorded by Enter.

One place for every front end. A number takes an answer of the list; words find it; figures are read where
the check is measured, in the unit of the settings where none is typed; "?" is not sure, "x" can't be done here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from diag.ask.answers import answer_form, take_answer
from diag.ask.choosing import NUMBERS, chosen, numbered, perhaps, yes_or_no
from diag.ask.elsewhere import Fitting, fitting
from diag.ask.form import rows_of
from diag.ask.needs import give, need_words
from diag.ask.preview import verdict_of
from diag.ask.turn import NOT_KNOWN, Turn
from diag.call.desk import CallDesk
from diag.call.looks import record_form
from diag.errors import DiagError, UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.text import clean, one_line, rows_words

CANNOT = "x"
DANGER = "DANGER"
_NOT_KNOWN = re.compile(
    r"\?|(?:i am |i'm |he is |he's |is )?(?:not sure|unsure|not certain)|no (?:idea|clue)|(?:not known|unknown)|"
    r"(?:(?:i |he |we |they |she )?(?:don'?t know|do not know|doesn'?t know|does not know|can'?t say|cannot say)|"
    r"nobody knows)(?: it| that)?")
"""Words for not being sure, at any question."""
_ROWS = re.compile(r"(?:rows?|all|but|and|to|through|[0-9 ,-])+")
"""What can only be row numbers."""


@dataclass(frozen=True)
class Reply:
    """What a line would do. It does nothing where neither `record` nor `act` is given."""

    told: tuple[str, ...] = ()
    """What was understood, or what is wrong and the remedy."""
    picked: tuple[str, ...] = ()
    """Keys of the choices it means."""
    record: Callable[[CallDesk], object] | None = None
    act: str = ""
    """Name of an act of the front end; "not_known" drops a need that was asked for in vain."""
    then: str | None = None
    """The check to be asked next."""
    fits_at: tuple[Fitting, ...] = ()
    """With the act "readings": the readings that figures may belong to."""

    @property
    def fits(self) -> bool:
        """True when Enter does something."""
        return self.record is not None or bool(self.act)


NOTHING = Reply()


def reply(
    call: CallDesk, turn: Turn, text: str, *, picked: str | None = None, details: Mapping[str, Any] | None = None,
    units: str = "us", change: str | None = None,
) -> Reply:
    """Return what a line means for a question.

    `picked`: the choice under the arrow, used where nothing is typed; `details`: rows, observer, happened of the
    answer; `change`: the earlier answer (event) that it takes the place of.
    """
    said = clean(text).strip()
    if not said and picked is not None:
        said = str(1 + next(i for i, c in enumerate(turn.choices) if c.key == picked))
    asked = _Asked(call, turn, said, dict(details or {}), units=units, change=change)
    return _READERS[turn.kind](asked)


@dataclass(frozen=True)
class _Asked:
    call: CallDesk
    turn: Turn
    said: str
    details: dict[str, Any]
    units: str
    change: str | None

    @property
    def check(self) -> Check:
        assert self.turn.check is not None
        return self.turn.check

    @property
    def knowledge(self) -> Knowledge:
        return self.call.engine.knowledge

    def give(self, call: CallDesk, **answer: Any) -> None:
        """Record an answer, or change the earlier one."""
        if self.change is not None:
            call.change_answer(self.change, **answer, **self.details)
        else:
            call.answer(self.check.id, **answer, **self.details)


# --- the kinds of questions -----------------------------------------------------------------------


def _act(asked: _Asked) -> Reply:
    found = _chosen(asked)
    if len(found) == 1:
        return Reply((_words_of(asked, found[0]),), (found[0],), act=found[0])
    return _not_one(asked, found)


def _practice(asked: _Asked) -> Reply:
    found = _chosen(asked)
    if asked.said and len(found) != 1:
        return Reply((f"Enter looks for checks with: {one_line(asked.said, limit=40)}",), (), act="search")
    return _act(asked)


def _stop(asked: _Asked) -> Reply:
    found = _chosen(asked)
    if len(found) != 1:
        return _not_one(asked, found)
    stops = {f for c in asked.turn.cautions for f in c.flags}
    left = [f for f in asked.call.state.situation.flags if f not in stops]
    return Reply((_words_of(asked, found[0]),), tuple(found), lambda call: call.set_situation({"flags": left}))


def _place(asked: _Asked) -> Reply:
    flags = asked.call.engine.knowledge.flags
    held = list(asked.call.state.situation.flags)
    low = asked.said.lower()
    if low in ("", "none", "no", "nothing", "n", "0"):
        return Reply(("nothing special",), (), lambda call: call.set_situation({"flags": held}), then=asked.turn.key)
    found = numbered(asked.turn, asked.said) if NUMBERS.fullmatch(low) else [
        f.name for f in flags.values()
        if any(w in low for w in filter(None, (f.short, f.label))) or f.name in low.split()
    ]
    if not found:
        return Reply((f"Not understood: {one_line(asked.said, limit=40)}. Numbers or words of the line; Enter on an "
                      "empty line: nothing special.",))
    told = ", ".join(flags[f].label for f in found)
    now = list(dict.fromkeys([*held, *found]))
    return Reply((told,), tuple(found), lambda call: call.set_situation({"flags": now}), then=asked.turn.key)


def _say(asked: _Asked) -> Reply:
    yes = asked.said.lower() in ("1", "y", "yes", "said")
    if not asked.said:
        return NOTHING
    if yes:
        return Reply((asked.turn.choices[0].words,), ("yes",), lambda call: _acknowledge(call, asked.turn, "key"),
                     then=asked.turn.key)
    if asked.said.lower() in ("2", "n", "no", CANNOT):
        return _refused(asked, "cannot_here", "no")
    return Reply(("1 or y: " + asked.turn.choices[0].words + ". 2 or x: " + asked.turn.choices[1].words + ".",))


def _danger(asked: _Asked) -> Reply:
    if asked.said == DANGER:
        return Reply(("Enter goes on.",), (), lambda call: _acknowledge(call, asked.turn, "typed"), then=asked.turn.key)
    if asked.said.lower() == CANNOT:
        return _refused(asked, "cannot_here")
    return Reply(("Type the word DANGER, in capitals, or x: can't be done here.",)) if asked.said else NOTHING


def _acknowledge(call: CallDesk, turn: Turn, how: str) -> None:
    for sentence in turn.sentences:
        call.acknowledge(sentence, turn.check.id if turn.check else None, how)


def _axis(asked: _Asked) -> Reply:
    axis, turn = asked.turn.axis or "", asked.turn
    found = [NOT_KNOWN] if _NOT_KNOWN.fullmatch(asked.said.lower()) else _chosen(asked)
    if len(found) != 1:
        return _not_one(asked, found, "?: not known.")
    value = found[0]

    def record(call: CallDesk) -> None:
        if axis == "crop" and value != NOT_KNOWN:
            call.set_situation({"crop": value})
        else:
            call.set_machine({"axes": {axis: value}})

    told = "not known" if value == NOT_KNOWN else _words_of(asked, value)
    return Reply((told,), (value,), record, then=turn.key)


def _need(asked: _Asked) -> Reply:
    need = asked.turn.need
    assert need is not None
    if _NOT_KNOWN.fullmatch(asked.said.lower()):
        if need.computes:
            return replace(_refused(asked, "unsure"), told=("not known: it cannot be worked out, and is not asked",))
        return Reply(("not known",), act="not_known", then=asked.turn.key)
    if not asked.said:
        return NOTHING
    try:
        told = need_words(asked.call, need, asked.said, asked.units)
    except DiagError as error:
        return Reply((f"{error.what} {error.remedy}".strip(),))
    return Reply((told,), (), lambda call: give(call, need, asked.said, asked.units), then=asked.turn.key)


def _form(asked: _Asked) -> Reply:
    turn, low = asked.turn, asked.said.lower()
    unsure = _NOT_KNOWN.fullmatch(low)
    if unsure or low == CANNOT:
        return _refused(asked, "unsure" if unsure else "cannot_here")
    if not low:
        return NOTHING
    rest = low.endswith("-") or low in ("none", "fine", "all fine", "none of them")
    body = "" if low in ("none", "fine", "all fine", "none of them") else low.rstrip("-").strip(" ,")
    inner = _Asked(asked.call, turn, body, asked.details, units=asked.units, change=None)
    found = (numbered(inner.turn, inner.said) if NUMBERS.fullmatch(body) else _chosen(inner)) if body else []
    if body and not found:
        return _not_one(inner, [])
    if len(found) > 1 and not NUMBERS.fullmatch(body):
        return _not_one(inner, found)
    lines = {f"{n.check}/{n.outcome}": n for n in turn.form}
    ticked = {lines[k].check: lines[k].outcome for k in found}
    fine = {n.check: n.fine for n in turn.form if n.fine is not None and n.check not in ticked} if rest else {}
    told = [", ".join(lines[k].label for k in found)] if found else []
    told += ["all the rest looked at and fine" if found else "all looked at and fine"] if rest else []
    if not rest:
        told.append("the rest not looked at; a dash at the end says that it is fine")
    return Reply(("; ".join(told),), tuple(found),
                 lambda call: record_form(call, ticked, fine, asked.details) if ticked or fine else None)


def _check(asked: _Asked) -> Reply:
    said, check = asked.said, asked.check
    low = said.lower()
    if not said:
        return NOTHING
    if low in (CANNOT, "can't", "can't do that", "can't be done") or _NOT_KNOWN.fullmatch(low):
        return _refused(asked, "unsure" if _NOT_KNOWN.fullmatch(low) else "cannot_here")
    if check.opening and check.reads == "rows" and (rows := _rows(asked)) is not None:
        return rows
    found = yes_or_no(asked.knowledge, check, low) or _chosen(asked)
    if len(found) == 1:
        told: tuple[str, ...] = (check.outcomes[found[0]].says,)
        if check.takes.kind == "count" and low.isdigit():
            told += (f"Line {low} of the list, not a count of {low}.",)
        return Reply(told, tuple(found), lambda call: asked.give(call, outcome=found[0]))
    if check.measured and (any(c.isdigit() for c in said) or not found):
        return _figures(asked)
    if check.takes.kind == "text":
        return Reply((said,), (), lambda call: asked.give(call, said=said))
    return _not_one(asked, found, "?: not sure.")


def _rows(asked: _Asked) -> Reply | None:
    """Return the reply to rows named where the question is which: they are the call's, and answer it; else None."""
    line_of_list = re.fullmatch(r"\d{1,3}", asked.said)
    if line_of_list or asked.change is not None or asked.call.state.opened.practice:
        return None
    try:
        rows = rows_of(asked.call, asked.said)
    except UsageError as error:
        return Reply((f"{error.what} {error.remedy}".strip(),)) if _ROWS.fullmatch(asked.said.lower()) else None
    if rows is None:
        return None
    return Reply((f"in trouble: {rows_words(rows)}",), (), lambda call: call.set_situation({"rows": rows}))


def _figures(asked: _Asked) -> Reply:
    check, call = asked.check, asked.call
    try:
        body = take_answer(call, check, asked.said, asked.units)
    except DiagError as error:
        return Reply((f"{error.what} {error.remedy}".strip(),))
    if check.takes.kind == "count" and isinstance(body["value"], int) and not _takes_a_number(check):
        return Reply((f"{asked.said} of how many? Type both: {asked.said} of 200.",))
    told = verdict_of(call.engine.knowledge, call.state, check, body)
    return Reply(told, (), lambda call: asked.give(call, **body))


def _takes_a_number(check: Check) -> bool:
    """Tell whether a count without its total means something: seeds caught in so many turns."""
    from diag.analyses.catalogue import CATALOGUE

    return any("number" in CATALOGUE[name].takes for name in check.compute)


def _refused(asked: _Asked, status: str, picked: str = "") -> Reply:
    """Return the reply that the check was asked and gave nothing; before a repair, that it is not done now."""
    turn = asked.turn
    if turn.check is None:
        return Reply(("not so: not mended now, asked on",), (picked,) if picked else (), act="ask_on")
    keys = list(dict.fromkeys(n.check for n in turn.form)) or [turn.key or asked.check.id]

    def record(call: CallDesk) -> None:
        if asked.change is not None:
            asked.give(call, status=status)
            return
        for key in keys:
            call.answer(key, status=status, **asked.details)

    told = "not sure: it moves nothing" if status == "unsure" else "can't be done here: it is not asked again"
    return Reply((told,), (picked,) if picked else (), record)


_READERS: Mapping[str, Callable[[_Asked], Reply]] = {
    "check": _check, "form": _form, "axis": _axis, "need": _need, "place": _place, "say": _say, "danger": _danger,
    "act": _act, "practice": _practice, "proved": _act, "closed": _act, "nothing": _act, "stop": _stop,
}


# --- words for what was understood --------------------------------------------------------------------


def _chosen(asked: _Asked) -> list[str]:
    return chosen(asked.knowledge, asked.turn, asked.said)


def _words_of(asked: _Asked, key: str) -> str:
    return next((c.words for c in asked.turn.choices if c.key == key), key)


def _not_one(asked: _Asked, found: list[str], also: str = "") -> Reply:
    """Return what to say where words fit no answer, or several."""
    if not asked.said:
        return NOTHING
    if found:
        told = "; ".join(f"{i} {c.words}" for i, c in enumerate(asked.turn.choices, 1) if c.key in found)
        return Reply((f"Which one: {told}?",), tuple(found))
    measured = asked.turn.kind == "check" and asked.check.measured
    if re.search(r"\d", asked.said) and not measured and asked.turn.records and asked.change is None:
        fits = _elsewhere(asked)
        if fits is not None:
            return fits
        also = "Figures that are no answer here: with their unit, such as 18 inH2O, they go to their reading."
    form = f"figures ({answer_form(asked.check, asked.units)}), " if measured else ""
    said = one_line(asked.said, limit=40)
    if guess := perhaps(asked.knowledge, asked.turn, asked.said):
        told = " or ".join(f"{i} {c.words}" for i, c in enumerate(asked.turn.choices, 1) if c.key in guess)
        return Reply((f"Not sure what that means. Perhaps {told}? Its number takes it.",))
    return Reply((f"Not understood: {said}. A number of the list, {form}or its words. {also}".strip(),))


def _elsewhere(asked: _Asked) -> Reply | None:
    """Return the reply to figures where none are asked for: they go to the reading they fit; None where none fits."""
    if asked.call.state.opened.practice:  # the machine answers
        return None
    found = tuple(fitting(asked.call, asked.turn, asked.said, asked.units, details=asked.details))
    if not found:
        return None
    first = found[0]
    if len(found) == 1:
        return Reply((f"goes to: {first.where}", *(first.means or (first.read,))), (), first.record)
    where = "; ".join(fit.where for fit in found[:2]) + (" ..." if found[2:] else "")
    return Reply((f"figures for another reading; Enter asks for which: {where}",), (), act="readings", fits_at=found)
