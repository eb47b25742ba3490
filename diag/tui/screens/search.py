"""Search over everything: take any check, tell a fact nobody asked for, look a cause or symptom up."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList

from diag.ask.intake import search_answers, search_causes, search_checks, search_symptoms
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

Found = tuple[str, str, str]
"""(take | tell | cause | symptom, id, outcome)"""


class SearchScreen(Page[Found | None]):
    """Type words; Down and Enter take a line."""

    TITLE_TEXT = "Search"
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("back", "Back", "Back to the desk.", "escape", shown=True),
        Act("to_list", "To what was found", "Go from the words to the lines found.", "down"),
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work, kinds: tuple[str, ...] = ("tell", "take", "symptom", "cause")) -> None:
        super().__init__(work)
        self.work: Work = work
        self._kinds = kinds

    def body(self) -> Iterable[Widget]:
        yield LineField(placeholder="Words of a check, of a result they told, of a cause or a symptom", id="search")
        yield PickList(id="found", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#search").focus()
        self._find("")

    @on(Input.Changed, "#search")
    def _typed(self, event: Input.Changed) -> None:
        self._find(event.value)

    def _find(self, text: str) -> None:
        knowledge = self.work.call.engine.knowledge
        rows: list[tuple[str | None, Content | str]] = []
        if text.strip():
            if "tell" in self._kinds:
                tells = search_answers(knowledge, text, 8)
                rows += self._group("Told without being asked", [
                    (f"tell|{c}|{o}", f"{knowledge.questions[c].asks}: {knowledge.questions[c].outcomes[o].says}")
                    for c, o in tells
                ])
            if "take" in self._kinds:
                checks = search_checks(knowledge, text)
                rows += self._group("Take a check", [(f"take|{c}|", knowledge.questions[c].asks) for c in checks])
            if "symptom" in self._kinds:
                symptoms = search_symptoms(knowledge, text, 8)
                rows += self._group("Add a symptom", [(f"symptom|{s}|", knowledge.symptoms[s].label) for s in symptoms])
            if "cause" in self._kinds:
                causes = search_causes(knowledge, text, 8)
                rows += self._group("Look up a cause", [(f"cause|{c}|", knowledge.causes[c].label) for c in causes])
        elif "take" in self._kinds and self.work.ready:
            offers = self.work.call.offers()
            rows += self._group(
                "Offered now", [(f"take|{o.check}|", knowledge.questions[o.check].asks) for o in offers]
            )
        if not rows:
            rows.append((None, "Nothing holds all these words." if text.strip() else "Type a word."))
        first = next((key for key, _ in rows if key is not None), None)
        self.query_one("#found", PickList).fill(rows, keep=first)

    def _group(self, head: str, rows: list[tuple[str, str]]) -> list[tuple[str | None, Content | str]]:
        return [(None, say((head, "bold"))), *rows] if rows else []

    @on(Input.Submitted)
    def _to_list(self) -> None:
        self.query_one("#found").focus()

    def action_to_list(self) -> None:
        """Go from the words to what was found."""
        self.query_one("#found").focus()

    @on(OptionList.OptionSelected)
    def _picked(self) -> None:
        picked = self.query_one("#found", PickList).picked
        if picked:
            kind, key, outcome = picked.split("|")
            self.dismiss((kind, key, outcome))

    def action_back(self) -> None:
        self.dismiss(None)
