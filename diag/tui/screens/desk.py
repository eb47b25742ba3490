"""The desk: the next check and its answer, the ranked causes, what was recorded so far."""

from __future__ import annotations

from collections.abc import Iterable

from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.ask.turn import turn as turn_of
from diag.say import present
from diag.tui.act import bindings
from diag.tui.safe import Part, lines, say
from diag.tui.screens.change import TrailScreen
from diag.tui.screens.desk_acts import DeskActs
from diag.tui.widgets.answer import AnswerBox
from diag.tui.widgets.lists import PickList

CAUTION_STYLES = {"DANGER": "bold reverse $error", "WARNING": "bold $error", "CAUTION": "bold $warning"}


LEAST_ANSWER = 7
"""Lines the answer always has, its title among them."""


class DeskScreen(DeskActs):
    """One call in work."""

    BINDINGS = bindings(DeskActs.ACTS)

    def body(self) -> Iterable[Widget]:
        yield Static(id="warnings")
        with Horizontal(id="columns"):
            with Vertical(id="left"):
                with VerticalScroll(id="check", can_focus=False):
                    yield Static(id="check-text")
                yield AnswerBox(id="answer")
            with Vertical(id="right"):
                yield PickList(id="causes", numbered=False)
                yield PickList(id="trail", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#causes").border_title = say("Causes")
        self.query_one("#trail").border_title = say("Recorded")
        self.query_one("#check").border_title = say("Next check")
        if self.work.ready:
            self.show_call()
        else:
            self.query_one("#check-text", Static).update(say("Judging the call ..."))
            self.work.judge()

    # --- drawing ----------------------------------------------------------------------------------

    def show_call(self) -> None:
        """Draw the check, the causes and the trail of a fresh judgement."""
        self.show_bar()
        if self.work.failed:
            self._failure_told = True
            self.tell(f"Judging failed: {self.work.failed} What was recorded stands. Ctrl+P, Judge again.", "bad")
            return
        if not self.work.ready:
            return
        if self._failure_told:
            self._failure_told = False
            self.tell("")
        self._show_warnings()
        self._show_causes()
        self._show_trail()
        self._show_check()

    def _show_warnings(self) -> None:
        told = present.warnings(self.work.call)
        wide = self.has_class("-high")
        shown = told if wide else told[:1]
        rows: list[list[Part]] = [[("! ", "bold $warning"), text] for text in shown]
        if len(told) > len(shown):
            rows[-1].append((f"  (+{len(told) - len(shown)} more: F4)", "bold"))
        box = self.query_one("#warnings", Static)
        box.display = bool(rows)
        box.update(lines(rows))

    def _show_causes(self) -> None:
        found = present.cause_lines(self.work.call, self.work.before)
        rows: list[tuple[str | None, Content | str]] = []
        for c in found:
            style = "bold" if c.belief == "likely" else ""
            told = f"{c.sign} {c.belief:<9} {c.percent:>5} {c.change:<4} "
            rows.append((c.cause, say((told, style), (c.label, style))))
        rows.append((None, say(present.rest_line(self.work.call))))
        self.query_one("#causes", PickList).fill(rows)

    def _show_trail(self) -> None:
        trail = present.trail_lines(self.work.call)
        box = self.query_one("#trail", PickList)
        box.fill([(event, text) for event, text in trail])
        if trail:
            box.highlighted = len(trail) - 1

    def _show_check(self) -> None:
        call, work = self.work.call, self.work
        turn = turn_of(call, work.taken, form=work.form, not_known=work.not_known)
        self._turn = turn
        box, answer = self.query_one("#check", VerticalScroll), self.query_one("#answer", AnswerBox)
        box.border_title = say(turn.title)
        rows: list[list[Part]] = []
        if turn.advice:
            rows.append([("Worth doing now: ", "bold"), turn.advice])
        for caution, text in turn.cautions:
            word, _, rest = text.partition(":")
            rows.append([(word, CAUTION_STYLES.get(caution.word, "bold")), ":" + rest])
        if turn.held:
            rows.append([("holds: ", "bold"), turn.held])
        for part, text in turn.lines:
            rows.append([(f"{part}: ", "bold"), text])
        self.query_one("#check-text", Static).update(lines(rows))
        box.scroll_home(animate=False)
        answer.show(self.work, turn)
        self.call_after_refresh(self._share)

    def _share(self) -> None:
        """Put the answer right below the check; where both are long, each keeps a usable part."""
        room = self.query_one("#left").size.height
        check, answer = self.query_one("#check"), self.query_one("#answer", AnswerBox)
        wanted = self.query_one("#check-text").size.height + 1
        kept = min(answer.natural(), max(LEAST_ANSWER, room // 2, room - wanted))
        height = max(3, min(wanted, room - kept))
        check.styles.height = height
        answer.limit(max(3, room - height))

    def on_resize(self) -> None:
        super().on_resize()
        self.call_after_refresh(self._share)

    # --- doing ------------------------------------------------------------------------------------

    def on_answer_box_recorded(self, message: AnswerBox.Recorded) -> None:
        """An answer, an acknowledgement or a refusal was recorded, or was not taken."""
        if message.wrong:
            self.tell(message.wrong, "bad")
        else:
            self.tell("")
            self.work.taken = message.then
            self.query_one("#answer", AnswerBox).in_words = False
            if self.work.ready or self.work.failed:
                self.show_call()

    def on_answer_fields_grown(self) -> None:
        self.call_after_refresh(self._share)

    def on_answer_box_chosen(self, message: AnswerBox.Chosen) -> None:
        """Nothing is asked; what was chosen instead is done."""
        if message.act in ("reopen", "follow_up"):
            self._mend(message.act)
        elif message.act == "situation":
            self.action_open(message.act)
        else:
            getattr(self, f"action_{message.act}")()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        picked = event.option_list.picked if isinstance(event.option_list, PickList) else None
        if event.option_list.id == "causes" and picked:
            self._explain(f"cause:{picked}")
        elif event.option_list.id == "trail":
            self.app.push_screen(TrailScreen(self.work, picked))
