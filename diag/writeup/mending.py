"""Forms that mend what a write-up lacks, and that save it: the same on every front end."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from diag import figures
from diag.ask.form import Field, Form, Values, need, text_of
from diag.ask.forms_mend import interim_form
from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.files import typed_path
from diag.knowledge.story_terms import Detail
from diag.text import number, one_line
from diag.writeup.completeness import Missing, at_risk, missing
from diag.writeup.decide import Given, decide, decision_text
from diag.writeup.load_list import load_list, wants_parts
from diag.writeup.page.audience import AUDIENCES, CLAIM, SERVICE
from diag.writeup.page.formats import FORMATS
from diag.writeup.saving import afterwards, do_afterwards, form_of, ordered, save
from diag.writeup.stock import mark_stock, stock_of
from diag.writeup.story.details import give, leave_out

READERS: Mapping[str, str] = {SERVICE: "for the house", "customer": "for the customer", CLAIM: "for a claim"}
MOST_PARTS = 8
"""Parts of the load list that are asked about."""


MEND: Mapping[str, str] = {
    "repair": "record a repair", "interim": "go on for now (a way, not a repair)",
    "proof": "proof: verdict on a repair",
    "change": "a setting or part was changed", "swap": "swapped between rows", "close": "close the call",
    "reopen": "open the call again", "follow_up": "follow-up after a repair",
    "plan": "how to prove it: row, seeds, minutes", "decide": "keep planting, go slower or stop",
    "stock": "parts: here, elsewhere, due, none",
}
AFTER_REPAIR = ("proof", "follow_up")
WHEN_CLOSED = ("reopen", "follow_up", "plan")


@dataclass(frozen=True)
class Doable:
    """One thing to do about mending, proving and closing; `why_not`: what stands in its way now, "" for nothing."""

    name: str
    words: str
    why_not: str = ""


def doable(call: CallDesk) -> tuple[Doable, ...]:
    """Return what can be done now about mending, proving and closing, and why the rest cannot."""
    return tuple(Doable(name, words, _why_not(call, name)) for name, words in MEND.items())


def _why_not(call: CallDesk, name: str) -> str:
    if call.state.closed and name not in WHEN_CLOSED:
        return "the call is closed"
    if name in AFTER_REPAIR and not any(r.kind == "repair" for r in call.state.repairs):
        return "no repair is recorded yet"
    if name == "reopen" and not call.state.closed:
        return "the call is open"
    if name == "interim" and interim_form(call) is None:
        return "none is known against the leading causes"
    if name == "plan":
        return _no_plan(call)
    if name == "stock" and not wants_parts(call):
        return "no part is on the load list"
    return ""


def _no_plan(call: CallDesk) -> str:
    from diag.writeup.proof_plan import proof_plan

    try:
        proof_plan(call)
    except UsageError as error:
        return error.what[:1].lower() + error.what[1:].rstrip(".")
    return ""


def missing_line(m: Missing) -> str:
    """Return one thing that is missing on one line: must or should, what, and when it is lost."""
    lost = ", too late: give the reason" if m.lost and not m.reason else ""
    return f"{m.severity}: {m.needs}: {m.asks} ({number(m.minutes)} min{lost})"


def missing_form(call: CallDesk, m: Missing) -> Form:
    """Return the form that mends one thing: its details, or the reason why it is left out."""
    details = call.engine.knowledge.details
    known = [details[name] for name in m.details if name in details]
    fields = [Field("told", "Missing", "note", value=f"{m.what}. {m.asks}")]
    fields += [_field(d) for d in known]
    fields.append(Field("reason", "Left out because", "lines", "Only when it can't be had; the reason is printed."))

    def record(call: CallDesk, values: Values) -> None:
        given = [(d.name, text_of(values, d.name)) for d in known if text_of(values, d.name)]
        reason = text_of(values, "reason")
        need(given or reason, "Left out because", "Fill one field in, or say why it is left out.")
        for name, text in given:
            give(call, name, text)
        if reason:
            leave_out(call, m.rule, reason)

    return Form("missing", m.needs, tuple(fields), record)


def _field(detail: Detail) -> Field:
    if detail.takes == "choice":
        return Field(detail.name, detail.label, "pick", choices=tuple(detail.choices.items()))
    hints = {"date": "e.g. 2026-05-14 or 14.05.2026", "amount": "with its unit, e.g. 410 ac, 1.4 h", "words": ""}
    return Field(detail.name, detail.label, "lines" if detail.takes == "words" else "line", hints[detail.takes])


def save_form(call: CallDesk, audience: str = SERVICE, said: Callable[[str], None] | None = None) -> Form:
    """Return the form that saves the write-up as a file; `said` is told where it was written."""
    name = f"writeup_{call.call}.pdf"
    can = afterwards()
    endings = ", ".join(f"{e} {f.name}" for e, f in FORMATS.items())

    def record(call: CallDesk, values: Values) -> None:
        from diag.writeup.cli import record_judgement

        path = typed_path(need(text_of(values, "file"), "File"), "File")
        form_of(path, "File")
        record_judgement(call)
        order = ordered(call, text_of(values, "reader") or audience, personal=text_of(values, "personal") != "no",
                        paper=text_of(values, "paper") or "letter")
        save(path, order, replace=text_of(values, "there") == "replace")
        if said is not None:
            said(f"Written: {path.resolve()}")
        if text_of(values, "afterwards"):
            do_afterwards(text_of(values, "afterwards"), path)

    return Form("save_writeup", "Save the write-up", (
        Field("reader", "Reader", "pick", value=audience, choices=tuple((a, READERS[a]) for a in AUDIENCES)),
        Field("file", "File", hint=f"The ending says the form: {endings}", value=str(Path.home() / name)),
        Field("there", "If it exists", "pick", value="keep",
              choices=(("keep", "leave it, write nothing"), ("replace", "replace it"))),
        Field("paper", "Paper", "pick", value="letter", choices=(("letter", "letter"), ("a4", "A4"))),
        Field("personal", "Names and words", "pick", value="yes",
              choices=(("yes", "with names, places and the caller's words"), ("no", "without anything personal"))),
        Field("afterwards", "Afterwards", "pick", choices=tuple(can.items())),
    ), record, done="Save")


def decide_form(call: CallDesk, show: Callable[[str], None]) -> Form:
    """Return the form of what the user knows about going on or stopping; `show` gets the answer as text."""
    hints = {
        "skips": "e.g. 3 percent; empty: as measured", "doubles": "e.g. 2 percent; empty: as measured",
        "crop_yield": "bushels an acre, e.g. 180", "price": "money for a bushel, e.g. 4.5",
        "acres_left": "acres, e.g. 90", "hours_left": "hours until it must roll or stop, e.g. 6",
        "hours_to_mend": "hours, e.g. 2", "delay_per_hour": "bushels that an hour's delay costs",
        "slower": "e.g. 5 mph",
    }
    labels = {
        "skips": "Skips", "doubles": "Doubles", "crop_yield": "Yield", "price": "Price", "acres_left": "Acres left",
        "hours_left": "Hours left", "hours_to_mend": "Hours to mend", "delay_per_hour": "Delay", "slower": "Slower",
    }

    def record(call: CallDesk, values: Values) -> None:
        given = {name: _known(name, text_of(values, name), labels[name]) for name in labels}
        show(decision_text(decide(call, Given(**given))))

    fields = tuple(Field(name, labels[name], hint=hints[name]) for name in labels)
    return Form("decide", "Keep planting, go slower or stop", fields, record, done="Show")


def _known(name: str, text: str, label: str) -> float | None:
    if not text:
        return None
    if name in ("skips", "doubles"):
        return figures.measured(text, "percent", default_unit="percent").si()
    if name == "slower":
        return figures.measured(text, "speed").si()
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e9:
        raise UsageError(f'"{one_line(text, limit=30)}" is no number.', label, "Type a number without a unit.")
    return value


def with_losses(form: Form, call: CallDesk) -> Form:
    """Return the form of a repair or a close with what can't be had any more once it is recorded, first."""
    found = at_risk(call) if form.name == "repair" else missing(call, SERVICE, "before_leaving")
    if not found or call.state.channel != "site":
        return form
    them = "it" if len(found) == 1 else "each"
    told = Field("lost", "Only now", "note",
                 value=f"{'; '.join(m.needs for m in found)}. The write-up asks for {them}.")
    anew = form.again
    again = None if anew is None else lambda values: with_losses(anew(values), call)
    return replace(form, fields=(told, *form.fields), again=again)


def stock_form(call: CallDesk) -> Form | None:
    """Return the form that says where the parts of the load list are; None when none is wanted."""
    kept, parts = stock_of(call), call.engine.knowledge.parts
    wanted = [e.name for e in load_list(call).entries if e.kind == "part"][:MOST_PARTS]
    if not wanted:
        return None
    fields = tuple(Field(p, parts[p].label, hint="here, elsewhere, due 2026-05-14 or none", value=kept.get(p, ""))
                   for p in wanted)

    def record(call: CallDesk, values: Values) -> None:
        for part in wanted:
            where = text_of(values, part)
            if where and where != kept.get(part, ""):
                mark_stock(call, part, where)

    return Form("stock", "Parts: where they are", fields, record)
