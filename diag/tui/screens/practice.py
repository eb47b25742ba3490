"""Practice: the desk as ever, but the simulated machine answers, and the trainee names the cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.screen import Screen

from diag.ask.reply import Reply
from diag.ask.turn import Turn
from diag.say import present
from diag.tui.act import Act, bindings
from diag.tui.screens.desk import DeskScreen
from diag.tui.screens.page import Page
from diag.tui.screens.search import SearchScreen
from diag.tui.screens.text import MenuScreen, TextScreen
from diag.tui.work import Work
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.call.desk import Desk
    from diag.trial.practice import Practice, Verdict


def begin(page: Page[Any], desk: Desk) -> None:
    """Draw an invented fault and put the practice on the desk."""
    from diag.trial.practice import Practice

    practice = Practice(desk, int.from_bytes(desk.random(3), "big"))
    made = Work(page.diag.office, practice.call)
    made.form = False
    made.trial = practice.take
    page.diag.works[practice.call.call] = made
    page.app.push_screen(PracticeScreen(made, practice))


KEPT = ("do('search')", "do('trail')", "do('cautions')", "page(-1)", "page(1)")
"""What can be done in a practice of what can be done at the desk."""


class PracticeScreen(DeskScreen, inherit_bindings=False):
    """The trainee chooses what he looks at; what the desk would do or believe is shown only when asked for."""

    DO_FIRST = (
        "choose what you would look at, by a word of it; the machine answers. When you know what is wrong, F9 names it."
    )
    ACTS: ClassVar[tuple[Act, ...]] = (
        *(a for a in DeskScreen.ACTS if a.action in KEPT),
        Act("another", "Another check", "Leave this check and choose another.", "escape"),
        Act("name", "Name the cause", "End the practice: name what is wrong.", "f9", shown=True),
        Act("give_up", "Give up", "End the practice: show what was wrong."),
    )
    BINDINGS = [*Screen.BINDINGS, *bindings(ACTS)]  # noqa: RUF012

    def __init__(self, work: Work, practice: Practice) -> None:
        super().__init__(work)
        self._practice = practice
        self._chosen: Mapping[str, Callable[[str], None]] = {
            "search": self._search, "offers": self._offers, "believed": self._believed,
            "name": lambda _: self.action_name(), "give_up": lambda _: self.action_give_up(),
        }

    def moment(self) -> tuple[str, ...]:
        return ("do('search')", *(("another",) if self.work.taken else ()), "name", "calls", "help")

    def action_do(self, name: str, cause: str | None = None) -> None:
        """Do as at the desk, but look for nothing but checks."""
        if name == "search":
            self._search("")
        else:
            super().action_do(name, cause)

    def take_act(self, turn: Turn, found: Reply) -> None:
        words = "" if found.picked else self.line.value
        if found.act not in self._chosen:
            super().take_act(turn, found)
            return
        self.line.value = ""
        self.take_keys()
        self.picked = None
        self._chosen[found.act](words)

    def _search(self, words: str) -> None:
        self.app.push_screen(SearchScreen(self.work, ("take",), words), self.doings.found)

    def _offers(self, words: str) -> None:
        asked = self.work.call.engine.knowledge.questions
        rows = [(o.check, asked[o.check].asks) for o in self.work.call.offers()]
        self.app.push_screen(MenuScreen(self.work, "What the desk would ask now", rows), self._take)

    def _take(self, check: str | None) -> None:
        if check:
            self.doings.take(check)

    def _believed(self, words: str) -> None:
        told = [f"{present.bar(c.share)} {c.chance:<12} {c.label}" for c in present.cause_lines(self.work.call)]
        text = "\n".join([*told, "", present.rest_line(self.work.call, len(told))])
        self.app.push_screen(TextScreen(self.work, "What can be it so far", text))

    def action_another(self) -> None:
        """Leave the check that was chosen."""
        self.work.taken = None
        self.show_call()

    def action_name(self) -> None:
        self.app.push_screen(SearchScreen(self.work, ("cause",)), self._named)

    def _named(self, found: tuple[str, str, str] | None) -> None:
        if found is not None:
            self.tell("Working out how the tool itself would have done ...")
            self._end(found[1])

    def action_give_up(self) -> None:
        self._end(None)

    @work(thread=True, exclusive=True, group="practice", description="practice", exit_on_error=False)
    def _end(self, cause: str | None) -> None:
        """Name the cause off the screen's thread: the tool plays the same fault."""
        with guarded(self, "Ending the practice"):
            self.from_thread(self._ended, self._practice.name(cause))

    def _ended(self, verdict: Verdict) -> None:
        causes = self.work.call.engine.knowledge.causes
        truth = " and ".join(causes[c].label for c in verdict.truth)
        text = "\n".join([
            ("Right: " if verdict.right else "It was: ") + truth + ".",
            *(f"{causes[c].mechanism} Mend: {causes[c].repair.do}" for c in verdict.truth), "",
            f"You:      {verdict.checks} checks, {verdict.minutes:.0f} min.",
            f"The tool: {verdict.tool_checks} checks, {verdict.tool_minutes:.0f} min.",
        ])
        self.app.push_screen(TextScreen(self.work, "Practice", text), lambda _: self.app.pop_screen())
