"""Search over everything: take any check, tell a fact nobody asked for, look a cause or symptom up."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import ClassVar

from textual import on
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList

from diag.ask.search import search_answers, search_causes, search_checks, search_symptoms
from diag.say.present import answer_words
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page, T
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

HEADS: Mapping[str, str] = {
    "take": "Take a check", "tell": "Told without being asked: it is read back first", "cause": "Look up a cause",
    "symptom": "Add a symptom",
}
WORDS_OF: Mapping[str, str] = {
    "take": "a check", "tell": "a result they told", "cause": "a cause", "symptom": "a symptom",
}
Found = tuple[str, str, str]
"""(take | tell | cause | symptom, id, outcome)"""
TO_LIST = Act("to_list", "To what was found", "Go from the words to the lines found.", "down")


class FindScreen(Page[T]):
    """Words, and under them the lines they find: Enter and Down go there."""

    @on(Input.Submitted)
    def action_to_list(self) -> None:
        """Go from the words to the first line found."""
        found = self.query_one("#found", PickList)
        found.focus()
        found.action_first()


class SearchScreen(FindScreen[Found | None]):
    """Type words; Down and Enter take a line."""

    TITLE_TEXT = "Search"
    DO_FIRST = "type a word of what you look for; Enter goes to what was found, Enter on a line takes it."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("back", "Back", "Back to the desk.", "escape", shown=True),
        TO_LIST,
    )
    BINDINGS = bindings(ACTS)

    def __init__(
        self, work: Work, kinds: tuple[str, ...] = ("tell", "take", "symptom", "cause"), text: str = ""
    ) -> None:
        super().__init__(work)
        self.work: Work = work
        self._kinds, self._text = kinds, text

    def body(self) -> Iterable[Widget]:
        words = "Words of " + ", ".join(WORDS_OF[k] for k in WORDS_OF if k in self._kinds)
        yield LineField(self._text, placeholder=" or ".join(words.rsplit(", ", 1)), id="search")
        yield PickList(id="found", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#search").focus()
        self._find(self._text)

    @on(Input.Changed, "#search")
    def _typed(self, event: Input.Changed) -> None:
        self._find(event.value)

    def _find(self, text: str) -> None:
        knowledge = self.work.call.engine.knowledge
        rows: list[tuple[str | None, Content | str]] = []
        if not text.strip():
            if "take" in self._kinds and self.work.ready and self.work.trial is None:
                offers = [o.check for o in self.work.call.offers()]
                rows += self._group("Offered now", [(f"take|{k}|", knowledge.questions[k].asks) for k in offers])
        else:
            asked, causes = knowledge.questions, knowledge.causes
            finds: Mapping[str, Callable[[], list[tuple[str, str]]]] = {
                "take": lambda: [(f"take|{k}|", asked[k].asks) for k in search_checks(knowledge, text, 8)],
                "tell": lambda: [(f"tell|{c}|{o}", answer_words(asked[c], o))
                                 for c, o in search_answers(knowledge, text, 8)],
                "cause": lambda: [(f"cause|{c}|", causes[c].label) for c in search_causes(knowledge, text, 8)],
                "symptom": lambda: [
                    (f"symptom|{s}|", knowledge.symptoms[s].label) for s in search_symptoms(knowledge, text, 8)],
            }
            for kind, head in HEADS.items():
                if kind in self._kinds:
                    rows += self._group(head, finds[kind]())
        if not rows:
            rows.append((None, "Nothing holds all these words." if text.strip() else "Type a word."))
        self.query_one("#found", PickList).fill(rows)

    def _group(self, head: str, rows: list[tuple[str, str]]) -> list[tuple[str | None, Content | str]]:
        return [(None, say((head, "bold"))), *rows] if rows else []

    @on(OptionList.OptionSelected)
    def _picked(self) -> None:
        picked = self.query_one("#found", PickList).picked
        if picked:
            kind, key, outcome = picked.split("|")
            self.dismiss((kind, key, outcome))
