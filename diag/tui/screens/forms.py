"""A form of the call, drawn: the same forms the line dialogue asks field by field."""

from __future__ import annotations

from collections.abc import Callable, Iterable, MutableMapping
from typing import ClassVar

from textual import on
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static, TextArea

from diag.ask.form import Field, Form, Value
from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.cautions import CautionsScreen
from diag.tui.screens.page import Page
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.form import Row
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import PickList, Tick, Ticks
from diag.tui.work import Work


def ticks_of(field: Field) -> list[Tick]:
    """Return the lines of a field to pick from or to tick."""
    held = field.value if isinstance(field.value, tuple) else (field.value,)
    only = field.name if field.kind == "pick" else ""
    return [Tick(key, label, "x" if key in held else "", only=only) for key, label in field.choices]


HINT_ROOM = 56
"""Columns of a hint that are seen inside a field of the narrowest window."""


def _inside(field: Field) -> str:
    """Return the hint where it fits into the field."""
    return "" if len(field.hint) > HINT_ROOM else field.hint


def _beneath(field: Field) -> str:
    """Return the hint where it stands under the field: of a list, or one that is too long."""
    return field.hint if field.choices or (field.kind != "note" and not _inside(field)) else ""


class FormFields(VerticalScroll, can_focus=False, inherit_bindings=False):
    """The fields: they scroll with the focus alone, so that no key moves it out of sight."""


class FormScreen(Page[bool]):
    """One form; Ctrl+S records it, Esc leaves it (what was typed is kept for the next time)."""

    DO_FIRST = (
        "fill in what you know and leave the rest empty; Tab goes to the next field. In a list a number goes to a "
        "line, Space ticks it. Ctrl+S records; Esc leaves, and what was typed is kept."
    )
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("done", "Record", "Record the form.", "ctrl+s", shown=True, first=True),
        Act("cautions", "Cautions", "All cautions of this in full.", "f7"),
        Act("back", "Back", "Back without recording; what was typed is kept.", "escape", shown=True),
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work | None, form: Form, then: Callable[[], None] | None = None) -> None:
        super().__init__(work)
        self.form, self._then = form, then
        self._drafts: MutableMapping[str, str] = work.drafts if work is not None else {}
        self.TITLE_TEXT = form.title
        self._wrong = False
        """True while it is told what does not fit."""

    def body(self) -> Iterable[Widget]:
        with FormFields(id="page"):
            for field in self.form.fields:
                yield Row(field.name, field.label, self._widget(field), _beneath(field))
            yield PickList(id="done", numbered=False)

    def _widget(self, field: Field) -> Widget:
        kept = self._drafts.get(self._key(field.name))
        if field.kind == "note":
            return Static(say(str(field.value)), classes="note")
        if field.kind in ("pick", "ticks"):
            return Ticks(classes="held")
        text = kept if kept is not None else str(field.value)
        made = LinesField if field.kind == "lines" else LineField
        return made(text, placeholder=_inside(field))

    def _key(self, name: str) -> str:
        return f"form:{self.form.name}:{name}"

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#done", PickList).fill([("go", f"{self.form.done} (Ctrl+S)")], keep="go")
        for row, field in zip(self.query(Row), self.form.fields, strict=True):
            if isinstance(row.field, Ticks):
                row.field.show(ticks_of(field))
                row.field.can_focus = bool(field.choices)
                row.field.highlighted = next((i for i, t in enumerate(row.field.ticks) if t.state), 0)
            row.display = field.kind != "note" or bool(field.value)
        first = next((r.field for r in self.query(Row) if r.field.can_focus), None)
        if first is not None:
            first.focus()

    def moment(self) -> tuple[str, ...]:
        return ("done", "cautions", "back", "help") if self.form.cautions else ()

    @on(Ticks.Changed)
    def _renew(self) -> None:
        """Show the texts of the form for what is ticked now."""
        self._right_now()
        if self.form.again is None:
            return
        self.form = self.form.again(self.values())
        fields = {f.name: f for f in self.form.fields}
        for row in self.query(Row):
            field = fields[row.key]
            if field.kind == "note":
                row.query_one(".note", Static).update(say(str(field.value)))
                row.display = bool(field.value)
            elif isinstance(row.field, LineField):
                row.field.placeholder = _inside(field)
                row.hinted(_beneath(field))
        self.keys()

    def action_cautions(self) -> None:
        if self.work is None or not self.form.cautions:
            self.tell("No caution belongs to this.")
            return
        self.app.push_screen(CautionsScreen(self.work, self.form.cautions, None))

    def values(self) -> dict[str, Value]:
        """Return what is filled in."""
        found: dict[str, Value] = {}
        for row, field in zip(self.query(Row), self.form.fields, strict=True):
            if isinstance(row.field, Ticks):
                ticked = row.field.ticked()
                found[field.name] = ticked if field.kind == "ticks" else (ticked[0] if ticked else "")
            elif isinstance(row.field, LinesField):
                found[field.name] = row.field.text
            elif isinstance(row.field, LineField):
                found[field.name] = row.field.value
        return found

    @on(Input.Submitted)
    @on(LinesField.Submitted)
    def _next(self) -> None:
        self.focus_next()

    @on(OptionList.OptionSelected)
    def _picked(self, event: OptionList.OptionSelected) -> None:
        if event.option_list.id == "done":
            self._done()
            return
        if isinstance(event.option_list, Ticks):
            event.option_list.choose()
        self.focus_next()

    def _right_now(self) -> None:
        """Take away what was wrong: the form is another one since."""
        if self._wrong:
            self._wrong = False
            self.tell("")
            for row in self.query(Row):
                row.wrong("")

    @on(Input.Changed)
    @on(TextArea.Changed)
    def _keep_drafts(self) -> None:
        """Keep what is typed, against the end of the program."""
        self._right_now()
        for row in self.query(Row):
            if isinstance(row.field, LinesField | LineField):
                text = row.field.text if isinstance(row.field, LinesField) else row.field.value
                first = next(f.value for f in self.form.fields if f.name == row.key)
                if text != first or self._key(row.key) in self._drafts:
                    self._drafts[self._key(row.key)] = text

    def action_done(self) -> None:
        self.after_typing(self._done)

    def _done(self) -> None:
        """Record; what does not fit is told beside its field."""
        values = self.values()
        for row in self.query(Row):
            row.wrong("")
        wrong = self._attempt(values)
        if wrong is None:
            for field in self.form.fields:
                self._drafts.pop(self._key(field.name), None)
            self.dismiss(True)
            if self._then is not None:
                self._then()
            return
        self._wrong = True
        self.tell(str(wrong), "bad")
        for row in self.query(Row):
            if wrong.where and row.label.casefold() == wrong.where.casefold():
                row.wrong(f"{wrong.what} {wrong.remedy}")
                row.field.focus()

    def _attempt(self, values: dict[str, Value]) -> DiagError | None:
        if self.work is not None:
            return self.work.attempt(lambda call: self.form.record(call, values))
        try:
            self.form.record(None, values)
        except DiagError as error:
            return error
        return None

    def action_back(self) -> None:
        self.after_typing(lambda: self.dismiss(False))
