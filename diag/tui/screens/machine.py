"""Machine profiles: pick one for the call, copy, make or change one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from textual import on
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList

from diag.ask.profiles import Draft, profile_form, profile_line
from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK, MenuScreen
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

if TYPE_CHECKING:
    from diag.store.open import Profile

NEW, HERE = "new", "here"


class MachineScreen(Page[Draft | None]):
    """Profiles; Enter uses one, or changes the machine of this call."""

    TITLE_TEXT = "Machine"
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("edit", "Change", "Change the profile under the cursor.", "e", shown=True),
        Act("copy", "Copy", "Make a new profile from the one under the cursor.", "c", shown=True),
        Act("delete", "Delete", "Delete the profile under the cursor, with owner and serial number."),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work | None = None, draft: Draft | None = None) -> None:
        super().__init__(work)
        self._draft = draft
        """The machine of the call, where there is one."""
        self._found: dict[str, Profile] = {}
        self._waiting: tuple[Draft, str | None] | None = None
        """What was picked while the knowledge was being read."""

    def show_call(self) -> None:
        waiting, self._waiting = self._waiting, None
        if waiting is not None:
            self.tell("")
            self._fill(*waiting)

    def body(self) -> Iterable[Widget]:
        yield PickList(id="menu")

    def on_mount(self) -> None:
        super().on_mount()
        self.show_profiles()
        self.query_one("#menu").focus()

    def show_profiles(self) -> None:
        """Draw the list."""
        store = self.diag.store
        try:
            self._found = {p.id: p for p in (store.profiles() if store else ())}
        except DiagError as error:
            self.tell(str(error), "bad")
        rows: list[tuple[str | None, Content | str]] = [(NEW, "New profile")]
        if self._draft is not None and self._draft.body:
            rows.append((HERE, "The machine of this call: look through and change"))
        rows.append((None, say(("Kept profiles: Enter uses one", "bold"))))
        rows += [(k, profile_line(Draft(p.body, p.personal), self.diag.now())) for k, p in self._found.items()]
        if not self._found:
            rows.append((None, "None is kept yet."))
        self.query_one("#menu", PickList).fill(rows)

    @on(OptionList.OptionSelected)
    def _picked(self) -> None:
        picked = self.query_one("#menu", PickList).picked
        if picked == NEW:
            self._fill(Draft(), None)
        elif picked == HERE and self._draft is not None:
            self._fill(self._draft, None)
        elif picked in self._found:
            profile = self._found[picked]
            self.dismiss(Draft(profile.body, profile.personal))

    def _fill(self, draft: Draft, key: str | None) -> None:
        engine = self.diag.engine
        if engine is None:
            self._waiting = None if self.diag.trouble else (draft, key)
            self.tell(self.diag.trouble or "The knowledge is still being read; then this opens.")
            return

        def save(body: Mapping[str, Any], personal: Mapping[str, str]) -> None:
            if self.diag.store is not None:
                self.diag.store.save_profile(body, personal, key)
            self._draft = Draft(body, personal)

        form = profile_form(engine.knowledge, draft, self.diag.now().date().isoformat(), save)
        self.app.push_screen(FormScreen(None, form), lambda kept: self._kept(bool(kept), key))

    def _kept(self, kept: bool, key: str | None) -> None:
        if not kept or self._draft is None:
            return
        if key is None:
            self.dismiss(self._draft)
        else:
            self.show_profiles()

    def _under(self) -> tuple[str, Draft] | None:
        picked = self.query_one("#menu", PickList).picked
        if picked not in self._found:
            self.tell("Put the cursor on a kept profile first.")
            return None
        assert picked is not None
        return picked, Draft(self._found[picked].body, self._found[picked].personal)

    def action_edit(self) -> None:
        here = self._under()
        if here:
            self._fill(here[1], here[0])

    def action_copy(self) -> None:
        here = self._under()
        if here:
            named = here[1].personal.get("label", "")
            self._fill(Draft(here[1].body, {"label": f"{named} (copy)".strip()}), None)

    def action_delete(self) -> None:
        here = self._under()
        if here:
            rows = [("no", "No, keep it"), ("yes", f"Yes, delete: {profile_line(here[1], self.diag.now())}")]
            self.app.push_screen(MenuScreen(None, "Delete this profile?", rows), lambda k: self._delete(k, here[0]))

    def _delete(self, answer: str | None, key: str) -> None:
        if answer == "yes" and self.diag.store is not None:
            try:
                self.diag.store.delete_profile(key)
            except DiagError as error:
                self.tell(str(error), "bad")
        self.show_profiles()
