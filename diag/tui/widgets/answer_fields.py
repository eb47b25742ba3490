"""The fields an answer is typed or picked in: one at a time, fitting what is asked; half-typed text is kept."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Static

from diag.ask.answers import answer_form
from diag.ask.preview import Preview
from diag.record.rows import show_rows
from diag.record.times import clock
from diag.tui.safe import say
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import PickList, Tick, Ticks
from diag.units import QUANTITIES

if TYPE_CHECKING:
    from diag.ask.turn import Turn
    from diag.call.desk import CallDesk
    from diag.tui.work import Work

ENDS = {
    "closed": {"reopen": "Open the call again", "follow_up": "Follow-up", "writeup": "Write-up"},
    "stop": {"situation": "It is over: change the situation", "mend": "Repair, proof, close"},
    "nothing": {"mend": "Repair, proof, close", "channel": "Go on on site, or by phone", "search": "Take any check"},
}
"""What can be done where nothing is asked: act -> words."""
LONG = ("spacings", "positions", "numbers", "log", "text")
VERDICT = 2
"""Lines kept free for the verdict that forms below a reading."""
NOT_KNOWN, DO_IT = "not known", "do it"


def unit_words(quantity: str) -> str:
    """Return the units a value may be given in, in words."""
    known = QUANTITIES.get(quantity)
    if known is None or known.dimension == "count":
        return ""
    return f", in {' or '.join(dict.fromkeys((known.us, known.metric)))}"


def details_words(work: Work) -> list[str]:
    """Return what is said beside the answer, in words."""
    told = []
    if "rows" in work.details:
        told.append("all rows" if work.details["rows"] == "all" else f"row {show_rows(work.details['rows'])}")
    if "observer" in work.details:
        told.append(work.call.engine.knowledge.observers[work.details["observer"]].label)
    if "happened" in work.details:
        told.append(f"at {clock(datetime.fromisoformat(work.details['happened']), work.app.now())}")
    return told


class AnswerFields(Vertical):
    """Holds one field at a time; what is half typed is kept with the call."""

    class Grown(Message):
        """It may need more room, or less."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._work: Work | None = None
        self._turn: Turn | None = None
        self._tried = 0
        self._waiting = False
        self.change: str | None = None
        """The earlier answer (event id) that is changed, None for a new answer."""
        self.in_words = False
        """True when a reading is answered by its result in words, without figures."""
        self.practice: Callable[[str], str] | None = None
        """Does a check on the simulated machine of a practice; None in a real call."""

    def compose(self) -> ComposeResult:
        yield Static(id="answer-hint")
        yield PickList(id="pick")
        yield Ticks(id="ticks", fine=True)
        yield LineField(id="line")
        yield LinesField(id="lines")
        yield Static(id="preview")

    # --- showing ----------------------------------------------------------------------------------

    def show(self, work: Work, turn: Turn) -> None:
        """Show the field for what is asked now."""
        focused = self.has_focus_within
        same = self._turn is not None and (self._turn.kind, self._turn.check, self._turn.axis) == (
            turn.kind, turn.check, turn.axis
        )
        self._work, self._turn, self._waiting = work, turn, False
        self.border_title = say(" | ".join(["Answer", *details_words(work)]))
        self._hint("")
        self._preview(None)
        shows: dict[str, Callable[[Turn], str]] = {
            "closed": self._show_end, "nothing": self._show_end, "stop": self._show_end,
            "flags": self._show_flags, "caution": self._show_gate,
            "axis": self._show_axis, "need": self._show_need, "form": self._show_form, "check": self._show_check,
        }
        name = shows[turn.kind](turn) if turn.kind in shows else ""
        for field in ("pick", "ticks", "line", "lines"):
            self.query_one(f"#{field}").display = field == name
        if name and (focused or not same or self.screen.focused is None):
            self.query_one(f"#{name}").focus()

    def fill_in(self, text: str) -> None:
        """Put text into the field that shows: figures that were read aloud, or taken from a file."""
        self._keep(text)
        lines, line = self.query_one("#lines", LinesField), self.query_one("#line", LineField)
        if lines.display:
            lines.text = text
            lines.focus()
        elif line.display:
            line.value = text
            line.focus()

    def natural(self) -> int:
        """Return how many lines it would take, its title among them."""
        used = 1 + sum(w.size.height for w in (self.query_one("#answer-hint"), self.query_one("#preview")) if w.display)
        for name in ("pick", "ticks"):
            field = self.query_one(f"#{name}", PickList)
            if field.display:
                return used + field.virtual_size.height
        lines = self.query_one("#lines", LinesField)
        typed = max(2, min(5, lines.wrapped_document.height)) if lines.display else 1
        measured = self._turn is not None and self._turn.kind == "check"
        return used + typed + (VERDICT if measured and not self.query_one("#preview").display else 0)

    def limit(self, height: int) -> None:
        """Take so many lines, the title among them; lists scroll inside."""
        self.styles.height = self.styles.max_height = height
        used = 1 + sum(w.size.height for w in (self.query_one("#answer-hint"), self.query_one("#preview")) if w.display)
        for name in ("pick", "ticks", "lines"):
            self.query_one(f"#{name}").styles.max_height = max(2, height - used)

    def _hint(self, text: str) -> None:
        hint = self.query_one("#answer-hint", Static)
        hint.display = bool(text)
        hint.update(say(text))

    def _show_end(self, turn: Turn) -> str:
        rows: list[tuple[str | None, Content | str]] = [*ENDS[turn.kind].items()]
        self.query_one("#pick", PickList).fill(rows)
        return "pick"

    def _show_gate(self, turn: Turn) -> str:
        phone = self._call.state.channel == "phone"
        if any(c.word == "DANGER" for c in turn.gates):
            self._hint(
                "Type DANGER when it was "
                + ("read to the caller and he said yes." if phone else "read and understood.")
            )
            line = self.query_one("#line", LineField)
            line.value = ""
            return "line"
        yes = "Read to the caller, he said yes" if phone else "Read and understood"
        self.query_one("#pick", PickList).fill([("yes", yes), ("no", "Not that: it can't be done here")], keep="yes")
        return "pick"

    def _show_axis(self, turn: Turn) -> str:
        axis = self._call.engine.knowledge.axes[turn.axis or ""]
        rows: list[tuple[str | None, Content | str]] = [
            (v.name, v.label + (f" ({v.tell_by})" if v.tell_by else "")) for v in axis.values
        ]
        self.query_one("#pick", PickList).fill([*rows, (NOT_KNOWN, NOT_KNOWN)])
        return "pick"

    def _show_flags(self, turn: Turn) -> str:
        held = self._call.state.situation.flags
        flags = self._call.engine.knowledge.flags.values()
        self._hint("Space ticks, Enter goes on.")
        self.query_one("#ticks", Ticks).show([Tick(f.name, f.label, "x" if f.name in held else "") for f in flags])
        return "ticks"

    def _show_need(self, turn: Turn) -> str:
        need = turn.need
        assert need is not None
        self._hint(f"Needed once, to judge the reading: {need.asks}{unit_words(need.quantity)}. F7: not known.")
        line = self.query_one("#line", LineField)
        line.value = self._draft()
        return "line"

    def _show_form(self, turn: Turn) -> str:
        self._hint("Tick what is wrong. F: all the rest looked at and fine. Left open: not looked at. Enter records.")
        kept = dict(p.split("=", 1) for p in self._draft().split("|") if "=" in p)
        ticks = self.query_one("#ticks", Ticks)
        ticks.show([
            Tick(f"{n.check}/{n.outcome}", n.label, kept.get(f"{n.check}/{n.outcome}", ""), n.group, n.check,
                 n.fine is not None)
            for n in turn.form
        ])
        return "ticks"

    def _show_check(self, turn: Turn) -> str:
        check = turn.check
        assert check is not None
        if self.practice is not None:
            self.query_one("#pick", PickList).fill([(DO_IT, "Do this check: the machine answers")], keep=DO_IT)
            return "pick"
        if check.takes.kind in ("choice", "yes_no") or self.in_words:
            rows: list[tuple[str | None, Content | str]] = [(name, o.says) for name, o in check.outcomes.items()]
            self.query_one("#pick", PickList).fill(rows, keep=self._draft() or None)
            return "pick"
        self._hint("Type: " + answer_form(check, self._work.app.units if self._work else "us"))
        if check.takes.kind in LONG:
            lines = self.query_one("#lines", LinesField)
            lines.text = self._draft()
            lines.move_cursor(lines.document.end)
        else:
            line = self.query_one("#line", LineField)
            line.value = self._draft()
        self._try_out(self._draft())
        return "lines" if check.takes.kind in LONG else "line"

    def _try_out(self, text: str) -> None:
        """Work out what a half-typed reading would mean."""
        raise NotImplementedError

    # --- what is half typed -----------------------------------------------------------------------

    @property
    def _call(self) -> CallDesk:
        assert self._work is not None
        return self._work.call

    def _key(self) -> str:
        turn = self._turn
        if turn is None:
            return ""
        name = turn.need.name if turn.need else turn.check.id if turn.check else ""
        return f"answer:{turn.kind}:{name}"

    def _draft(self) -> str:
        return self._work.drafts.get(self._key(), "") if self._work else ""

    def _keep(self, text: str) -> None:
        if self._work is not None and self._turn is not None and not self._waiting:
            self._work.drafts[self._key()] = text

    def _preview(self, found: Preview | None) -> None:
        shown = self.query_one("#preview", Static)
        shown.display = bool(found and found.lines)
        if found:
            shown.set_class(not found.fits, "bad")
            shown.update(say("\n".join(found.lines)))
        self.post_message(self.Grown())
