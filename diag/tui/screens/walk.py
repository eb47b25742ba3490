"""Several checks at once: homework as a message, a field sheet, and typing it all back in one form."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual import on, work
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static

from diag.ask.form import Field, Form, Values, text_of
from diag.ask.homework import answers_form, batch, message, sheet
from diag.ask.search import search_checks
from diag.errors import DiagError
from diag.files import write_new
from diag.record.times import parse_when
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.page import Page
from diag.tui.screens.search import TO_LIST, FindScreen
from diag.tui.screens.text import BACK
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lists import PickList, Tick, Ticks
from diag.tui.work import Work
from diag.tui.working import guarded


class WalkScreen(Page[None]):
    """Checks to be done on one walk: ticked, shown as a message or a sheet, answered in one form."""

    HOMEWORK, SHEET = "Homework", "Field sheet"
    DO_FIRST = "tick what goes along; Esc goes back."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act(
            "answers",
            "Type the answers",
            "The ticked checks as one form, in this order.",
            "ctrl+s",
            shown=True,
            first=True,
        ),
        Act("save", "Save as text", "Save what is shown as a text file.", "ctrl+o", shown=True),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work, kind: str) -> None:
        super().__init__(call)
        self.work: Work = call
        self.kind = kind
        self.TITLE_TEXT = kind
        self._checks: list[str] = []

    def body(self) -> Iterable[Widget]:
        yield Ticks(id="walk")
        yield LineField(id="until", placeholder="Call back: e.g. 10:40, in 40 min")
        with VerticalScroll(id="told"):
            yield Static(id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#until").display = self.kind == self.HOMEWORK
        self.query_one("#told").border_title = say("To send" if self.kind == self.HOMEWORK else "To take along")
        self._choose()

    @work(thread=True, exclusive=True, group="walk", description="walk", exit_on_error=False)
    def _choose(self) -> None:
        """Choose the checks off the screen's thread."""
        with guarded(self, "Choosing the checks"):
            call = self.work.call
            found = batch(call) if self.kind == self.HOMEWORK else [o.check for o in call.offers()]
            self.from_thread(self._chosen, found)

    def _chosen(self, found: list[str]) -> None:
        questions = self.work.call.engine.knowledge.questions
        self._checks = found
        self.query_one("#walk", Ticks).show([Tick(k, questions[k].asks, "x") for k in found])
        self.query_one("#walk").focus()
        if not found:
            self.tell("No check that the grower can do alone is worth the walk now.")
        self._draw()

    def ticked(self) -> list[str]:
        """Return the ticked checks in order."""
        held = self.query_one("#walk", Ticks).ticked()
        return [k for k in self._checks if k in held]

    @on(Ticks.Changed)
    @on(Input.Changed)
    def _draw(self) -> None:
        self.query_one("#text", Static).update(say(self.text()))

    def text(self) -> str:
        """Return what is to be sent or taken along."""
        call = self.work.call
        if self.kind == self.SHEET:
            return sheet(call, self.ticked())
        try:
            until = parse_when(self.query_one("#until", LineField).value, call.desk.clock(), "call back")
        except DiagError:
            until = None
        return message(call, self.ticked(), until, self.diag.now())

    def action_answers(self) -> None:
        call = self.work.call
        if not self.ticked():
            self.tell("Tick at least one check.")
            return
        if self.kind == self.HOMEWORK:
            wrong = self._wait_for_caller()
            if wrong:
                self.tell(wrong, "bad")
                return
        self.app.push_screen(FormScreen(self.work, answers_form(call, self.ticked(), self.diag.units, self.kind)))

    def _wait_for_caller(self) -> str:
        """Note once that the caller is walking, when a time to call back is typed."""
        text = self.query_one("#until", LineField).value
        if not text.strip() or self.work.call.state.waiting is not None:
            return ""
        try:
            until = parse_when(text, self.work.call.desk.clock(), "call back")
        except DiagError as error:
            return str(error)
        body = {"for": "caller", "until": until}
        return self.work.do(lambda call: call.record("waiting", body, {"text": self.text()[:2000]}))

    def action_save(self) -> None:
        text = self.text()
        self.app.push_screen(FormScreen(None, save_form(text, f"{self.kind.lower().replace(' ', '_')}.txt")))


def save_form(text: str, name: str) -> Form:
    """Return the form that saves text as a file; an existing file is not written over."""

    def record(call: object, values: Values) -> None:
        write_new(text_of(values, "file"), text, "File")

    return Form("save", "Save as text", (Field("file", "File", value=str(Path.home() / name)),), record, done="Save")


class CatchUpScreen(FindScreen[None]):
    """Pick the checks that were done, in the order they were done; then one form for all of them."""

    TITLE_TEXT = "Catch up"
    DO_FIRST = "type a word of what was done and take its line; one after the other, in your own order."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("answers", "Type the answers", "What was picked, as one form.", "ctrl+s", shown=True, first=True),
        Act("drop", "Take off", "Take the last one off again.", "ctrl+z", shown=True, first=True),
        TO_LIST, BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work) -> None:
        super().__init__(work)
        self.work: Work = work
        self._picked: list[str] = []

    def body(self) -> Iterable[Widget]:
        yield LineField(id="search", placeholder="Words of a check that was done")
        yield Static(id="head")
        yield PickList(id="found", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#search").focus()
        self._draw()

    @on(Input.Changed, "#search")
    def _draw(self) -> None:
        questions = self.work.call.engine.knowledge.questions
        picked = [f"{i}. {questions[k].asks}" for i, k in enumerate(self._picked, 1)]
        self.query_one("#head", Static).update(say("\n".join(picked) or "Nothing picked yet. Repairs and changes have "
                                                   "forms of their own, with their own times (F9)."))
        text = self.query_one("#search", LineField).value
        found = search_checks(self.work.call.engine.knowledge, text) if text.strip() else []
        rows: list[tuple[str | None, Content | str]] = [(k, questions[k].asks) for k in found if k not in self._picked]
        self.query_one("#found", PickList).fill(rows)

    @on(OptionList.OptionSelected)
    def _take(self) -> None:
        picked = self.query_one("#found", PickList).picked
        if picked:
            self._picked.append(picked)
            self.query_one("#search", LineField).value = ""
            self.query_one("#search").focus()
            self._draw()

    def action_drop(self) -> None:
        if self._picked:
            self._picked.pop()
            self._draw()

    def action_answers(self) -> None:
        if not self._picked:
            self.tell("Pick at least one check.")
            return
        form = answers_form(self.work.call, self._picked, self.diag.units, "Catch up")
        self.app.push_screen(FormScreen(self.work, form), self._done)

    def _done(self, recorded: bool | None) -> None:
        if recorded:
            self.dismiss(None)
