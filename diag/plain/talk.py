"""Saying and asking: lines folded to the width, numbered choices, forms field by field."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from diag.ask.form import Field, Form, Value
from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError
from diag.figures import number_in
from diag.say import present
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
    """One person at the line dialogue: what is said and asked, and where the call in work stands."""

    def __init__(self, desk: Desk, read: Read, write: Write, units: str) -> None:
        self.desk, self._read, self.write, self.units = desk, read, write, units
        self.call: CallDesk = None  # type: ignore[assignment]
        self.before: dict[str, float] = {}
        """Chances before the last step, to say what moved."""
        self.taken: str | None = None
        """The check taken instead of the first offer."""
        self.form: bool | None = None
        """Whether a look is asked as one question; None: on site."""
        self.not_known: set[str] = set()
        self.passed = ""
        """What was worth doing and was passed over."""
        self.details: dict[str, Any] = {}
        """What is said beside the next answer."""
        self.heard = 0
        """Lines that were typed so far."""

    def record(self, change: Callable[[CallDesk], object]) -> None:
        """Record something as one act and say what was recorded. Raises DiagError."""
        self.before = {r.cause: r.probability for r in self.call.think().judgement.ranking}
        start = len(self.call.events)
        with self.call.act():
            change(self.call)
        words = present.act_words(self.call, (e.id for e in self.call.events[start:]))
        if words:
            self.say(f"Recorded: {words.rstrip('.')}. undo takes it back.")

    def say(self, text: str = "", indent: str = "") -> None:
        """Write text folded to the width."""
        self.write(wrap(text, WIDTH, indent) if text else "")

    def ask(self, prompt: str) -> str:
        """Read one line. Raises EOFError at the end of the input."""
        said = self._read(f"{prompt} > ")
        self.heard += 1
        return clean(said).strip()

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
            numbers = [number_in(n, len(choices)) for n in self.ask(f"{prompt}, nothing: as marked").replace(
                ",", " ").split()]
            if None not in numbers:
                return [i - 1 for i, mark in enumerate(marks, 1) if mark != (i in numbers)]
            self.say(f"Type numbers from 1 to {len(choices)}, or nothing.")

    # --- forms ------------------------------------------------------------------------------------

    def fill(self, form: Form, **known: Value) -> bool:
        """Ask a form field by field, then record it; False when it was not taken.

        `known`: fields that were said already. Nothing typed keeps what stands in brackets.
        """
        self.say(f"{form.title}. Nothing typed keeps what stands in brackets; {REST} keeps all the rest.")
        values: dict[str, Value] = {f.name: known.get(f.name, f.value) for f in form.fields}
        for name in [f.name for f in form.fields if f.name not in known]:
            field = next(f for f in form.fields if f.name == name)
            if not self._field(field, values):
                break
            if field.kind == "ticks" and form.again is not None:
                form = self._anew(form, form.again(values), upto=name)
        try:
            self.record(lambda call: form.record(call, values))
        except DiagError as error:
            self.say(f"Not taken: {error}")
            return False
        return True

    def _anew(self, form: Form, anew: Form, upto: str) -> Form:
        """Say what stands otherwise before a field, now that it is ticked; return the form anew."""
        said = {f.name: f.value for f in form.fields}
        for field in anew.fields[: [f.name for f in anew.fields].index(upto)]:
            if field.kind == "note" and field.value != said.get(field.name):
                self.say(str(field.value), "  ")
        return anew

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
            low = said.lower()
            near = [key for key, text in field.choices if low in (key, text.lower())] or [
                key for key, text in field.choices if text.lower().startswith(low)]
            return None if len(near) != 1 else (near[0],) if field.kind == "ticks" else near[0]
        keys = tuple(dict.fromkeys(field.choices[n - 1][0] for n in numbers if n is not None))
        return keys if field.kind == "ticks" else keys[0] if len(keys) == 1 else None


class Part:
    """A part of the dialogue; it speaks through the talk it belongs to."""

    def __init__(self, talk: Talk) -> None:
        self.talk = talk
        self.desk, self.say, self.ask = talk.desk, talk.say, talk.ask
        self.number_of, self.fill, self.write = talk.number_of, talk.fill, talk.write

    @property
    def call(self) -> CallDesk:
        """The call in work."""
        return self.talk.call
