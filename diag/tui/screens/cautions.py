"""All cautions of a step in full; only what was on the screen to its end can be noted as read to somebody."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from diag.call.desk import CallDesk
from diag.knowledge.vocabulary import Caution
from diag.say import present
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK
from diag.tui.work import Work

STYLES = {"DANGER": "bold reverse $error", "WARNING": "bold $error", "CAUTION": "bold $warning"}


class CautionsScreen(Page[None]):
    """Cautions, worst first."""

    TITLE_TEXT = "Cautions"
    DO_FIRST = "read to the end; PgDn scrolls."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("read", "Read to the end, understood", "Note that all of this was read, once its end was here.", "ctrl+s",
            shown=True, first=True),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work, cautions: Sequence[Caution], check: str | None) -> None:
        super().__init__(work)
        self.work: Work = work
        self._cautions, self._check = cautions, check

    def body(self) -> Iterable[Widget]:
        rows: list[list[Part]] = []
        for caution in self._cautions:
            word, _, rest = present.caution_line(caution, frozenset()).partition(":")
            rows += [[(word, STYLES.get(caution.word, "bold")), ":" + rest], [""]]
        rows.append(["That is all. The operator's manual and the seed label have the last word."])
        with VerticalScroll(id="page"):
            yield Static(lines(rows), id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()

    @property
    def at_end(self) -> bool:
        """True when the last line is on the screen, or the page is on its way there."""
        page = self.query_one("#page", VerticalScroll)
        return max(page.scroll_offset.y, page.scroll_target_y) >= page.max_scroll_y

    def action_read(self) -> None:
        if not self.at_end:
            self.tell("Its end was not on the screen yet: PgDn.")
            return

        def note(call: CallDesk) -> None:
            for caution in self._cautions:
                if caution.word != "DANGER":  # that word is typed, at its own question
                    call.acknowledge(caution.id, self._check, "key")

        wrong = self.work.do(note)
        if wrong:
            self.tell(wrong, "bad")
        else:
            self.dismiss(None)
