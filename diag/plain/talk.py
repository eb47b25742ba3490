"""Saying and asking: lines folded to the width, numbered choices, forms field by field."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from diag.ask.form import Field, Form, Value
from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError
from diag.figures import number_in
from diag.text import clean, wrap

Read = Callable[[str], str]
Write = Callable[[str], None]
Command = Callable[[str], None]
WIDTH = 78
REST = "."
"""Typed at a field of a form: this and all that follow stay as they are."""


class LeaveError(Exception):
    """The user leaves the call as it is."""


class Talk:
    """One person at the line dialogue."""

    def __init__(self, desk: Desk, read: Read, write: Write, units: str) -> None:
        self.desk, self._read, self._write, self.units = desk, read, write, units
        self.call: CallDesk = None  # type: ignore[assignment]
        self._before: dict[str, float] = {}
        self._taken: str | None = None

    def say(self, text: str = "", indent: str = "") -> None:
        """Write text folded to the width."""
        self._write(wrap(text, WIDTH, indent) if text else "")

    def ask(self, prompt: str) -> str:
        """Read one line. Raises EOFError at the end of the input."""
        return clean(self._read(f"{prompt} > ")).strip()

    def number_of(self, prompt: str, choices: Sequence[str], *, empty: str = "") -> int | None:
        """Ask for one of a numbered list; None when left empty."""
        for i, text in enumerate(choices, 1):
            self.say(f"  {i} {text}")
        while True:
            said = self.ask(prompt + (f" [{empty}]" if empty else ""))
            if not said:
                return None
            number = number_in(said, len(choices))
            if number is not None:
                return number - 1
            self.say(f"Type a number from 1 to {len(choices)}, or nothing.")

    def marked(self, prompt: str, choices: Sequence[str], marks: Sequence[bool]) -> list[int]:
        """Show a numbered list with what is marked; numbers typed turn marks over. Return the places marked."""
        for i, (text, mark) in enumerate(zip(choices, marks, strict=True), 1):
            self.say(f"  [{'x' if mark else ' '}] {i} {text}")
        while True:
            said = self.ask(f"{prompt}, nothing: as marked").replace(",", " ").split()
            if all(n.isdigit() and 1 <= int(n) <= len(choices) for n in said):
                turned = {int(n) - 1 for n in said}
                return [i for i, mark in enumerate(marks) if mark != (i in turned)]
            self.say(f"Type numbers from 1 to {len(choices)}, or nothing.")

    # --- forms ------------------------------------------------------------------------------------

    def fill(self, form: Form, **known: Value) -> bool:
        """Ask a form field by field, then record it; False when it was not taken.

        `known`: fields that were said already. Nothing typed keeps what stands in brackets.
        """
        self.say(f"{form.title}. Nothing typed keeps what stands in brackets; {REST} keeps all the rest.")
        values: dict[str, Value] = {f.name: known.get(f.name, f.value) for f in form.fields}
        asked = [f for f in form.fields if f.name not in known]
        for field in asked:
            if not self._field(field, values):
                break
        try:
            form.record(self.call, values)
        except DiagError as error:
            self.say(f"Not taken: {error}")
            return False
        return True

    def _field(self, field: Field, values: dict[str, Value]) -> bool:
        """Ask one field; False when all the rest stays as it is."""
        if field.kind == "note":
            for line in str(field.value).splitlines():
                self.say(line, "  ")
            return True
        if field.hint:
            self.say(field.hint, "  ")
        for i, (_, words) in enumerate(field.choices, 1):
            self.say(f"  {i} {words}")
        while True:
            said = self.ask(f"{field.label} [{self._held(field)}]")
            if said in ("", REST):
                return said == ""
            value = self._chosen(field, said) if field.choices else said
            if value is not None:
                values[field.name] = value
                return True
            several = ", several, or -" if field.kind == "ticks" else ""
            self.say(f"Type a number from 1 to {len(field.choices)}{several}.")

    def _held(self, field: Field) -> str:
        if not field.choices:
            return str(field.value).replace("\n", "; ") or "nothing"
        held = field.value if isinstance(field.value, tuple) else (field.value,)
        numbers = [str(i) for i, (key, _) in enumerate(field.choices, 1) if key in held]
        return " ".join(numbers) or "nothing"

    def _chosen(self, field: Field, said: str) -> Value | None:
        if field.kind == "ticks" and said == "-":
            return ()
        numbers = [number_in(w, len(field.choices)) for w in said.replace(",", " ").split()]
        if None in numbers:
            near = [key for key, text in field.choices if text.lower().startswith(said.lower()) or key == said]
            return None if len(near) != 1 else (near[0],) if field.kind == "ticks" else near[0]
        keys = tuple(dict.fromkeys(field.choices[n - 1][0] for n in numbers if n))
        return keys if field.kind == "ticks" else keys[0] if len(keys) == 1 else None


def without(form: Form, *names: str) -> Form:
    """Return a form without some of its fields."""
    return replace(form, fields=tuple(f for f in form.fields if f.name not in names))
