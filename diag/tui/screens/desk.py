"""The desk: one question in the middle, its answers, one line to type in; what was recorded last, and the causes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from diag.ask.elsewhere import Fitting
from diag.ask.reply import Reply
from diag.ask.turn import Turn
from diag.ask.turn import turn as turn_of
from diag.tui.act import Act, bindings
from diag.tui.screens import doings
from diag.tui.screens.asking import AskingScreen
from diag.tui.screens.text import MenuScreen
from diag.tui.work import Work


class DeskScreen(AskingScreen):
    """One call in work."""

    ACTS: ClassVar[tuple[Act, ...]] = doings.ACTS
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work) -> None:
        super().__init__(call)
        self._failure_told = False
        self.doings = doings.Doings(self)

    def show_call(self) -> None:
        """Draw what is asked after a fresh judgement."""
        if self.work.failed:
            self._failure_told = True
            self.tell(f"Judging failed: {self.work.failed} What was recorded stands. Ctrl+P, Judge again.", "bad")
            return
        if not self.work.ready:
            return
        if self._failure_told:
            self._failure_told = False
            self.tell("")
        self.ask(turn_of(self.work.call, self.work.taken, form=self.work.form, not_known=self.work.not_known,
                         passed=self.work.passed))
        self.doings.go_on()

    def moment(self) -> tuple[str, ...]:
        """The acts that stand in the bottom line now."""
        kind = self.turn.kind if self.turn else ""
        return doings.MOMENT.get(kind, doings.MOMENT["check"])

    def take_act(self, turn: Turn, found: Reply) -> None:
        if found.act == "readings":
            self._sort_in(found.fits_at)
            return
        self.work.drafts.pop(self.draft_key, None)
        self.line.value = ""
        self.take_keys()
        self.picked = None
        if found.act == "not_known" and turn.need is not None:
            self.work.not_known.add(turn.need.name)
            self.work.taken = found.then
            self.show_call()
        else:
            self.action_do(found.act, turn.cause)

    def _sort_in(self, fits: Sequence[Fitting]) -> None:
        """Ask which reading figures belong to; the line keeps them until one is taken."""
        self.take_keys()
        key = self.draft_key

        def then(picked: str | None) -> None:
            if picked:
                wrong = self.work.do(fits[int(picked)].record)
                if not wrong:
                    self.work.drafts.pop(key, None)
                    self.line.value = ""
                self.tell(wrong, "bad")

        rows = [(str(i), fit.line) for i, fit in enumerate(fits)]
        self.app.push_screen(MenuScreen(self.work, "Which reading is that?", rows), then)

    # --- acts -------------------------------------------------------------------------------------

    def action_do(self, name: str, cause: str | None = None) -> None:
        """Carry out one of the doings; `cause`: the one that was chosen with it."""
        self.doings.do(name, cause)

    def action_other(self, place: int) -> None:
        """Take another of the offers."""
        self.doings.other(place)
