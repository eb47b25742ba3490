"""Asking: one turn of the desk, with its cautions first, and what the answer was taken as."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.ask.answers import answer_form, take_answer, understood
from diag.ask.needs import give
from diag.ask.turn import Turn, turn
from diag.call.looks import record_form
from diag.errors import DiagError, UsageError
from diag.figures import number_in
from diag.knowledge.model import Check
from diag.plain.doing import Doing
from diag.plain.talk import Command
from diag.say import present

CHOOSES_ANEW = ("back", "again", "change", "drop", "repair", "proof")
"""Words after which the question that stood there is not asked once more: what is worth asking has changed."""


class Asking(Doing):
    """One question at a time."""

    _commands: Mapping[str, Command]

    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self._form_wanted: bool | None = None
        self._in_words = False
        self._not_known: set[str] = set()
        self._details: dict[str, Any] = {}

    def turn(self) -> None:
        """Say what must be seen, then ask what is asked now."""
        for line in present.warnings(self.call):
            self.say("! " + line)
        top = present.cause_lines(self.call, self._before, most=3)
        told = [f"{c.belief} {c.label} ({' '.join((c.percent, c.change)).strip()})" for c in top]
        self.say("Now: " + "; ".join(told))
        asked = turn(self.call, self._taken, form=self._form_wanted, not_known=self._not_known)
        taken, self._taken = self._taken, None
        if asked.advice:
            self.say(f"Worth doing now: {asked.advice}")
        asks = {"axis": self._ask_axis, "flags": self._ask_flags,
                "caution": self._ask_gate, "need": self._ask_need, "form": self._ask_form,
                "check": self._ask_check, "nothing": self._ask_nothing, "stop": self._ask_nothing}
        self.say()
        asks[asked.kind](asked, taken)

    def _page(self, asked: Turn) -> None:
        self.say(asked.title + ":")
        for _, text in asked.cautions:
            self.say(text)
        if asked.held:
            self.say(f"Holds: {asked.held}")
        for part, text in asked.lines:
            self.say(f"{part}: {text}", "  ")

    def _ask_nothing(self, asked: Turn, taken: str | None) -> None:
        self._page(asked)
        said = self.ask("what next")
        if said and not self.command(said, asked, taken):
            self.say("Not understood. Type ? for help.")

    def _ask_gate(self, asked: Turn, taken: str | None) -> None:
        for _, text in asked.cautions:
            self.say(text)
        danger = any(c.word == "DANGER" for c in asked.gates)
        said = self.ask("type DANGER to go on" if danger else "understood? y")
        if said.upper() == "DANGER" if danger else said.lower() in ("y", "yes"):
            for caution, _ in asked.cautions:
                self.call.acknowledge(caution.id, asked.check.id if asked.check else None, "typed" if danger else "key")
            self._taken = asked.key
        elif said.lower() in ("n", "no", "x", ""):
            self.say("Then not that. Another check, or site.")
            self.refuse(asked, "cannot_here")
        elif not self.command(said, asked, taken):
            self._taken = asked.key

    def _ask_axis(self, asked: Turn, taken: str | None) -> None:
        axis = self.desk.engine.knowledge.axes[asked.axis or ""]
        self.say(f"Needed for the next check: {axis.asks}")
        choices = [v.label + (f" ({v.tell_by})" if v.tell_by else "") for v in axis.values]
        chosen = self.number_of("number", choices, empty="not known")
        value = "unknown" if chosen is None else axis.values[chosen].name
        if axis.name == "crop" and chosen is not None:
            self.call.set_situation({"crop": value})
        else:
            self.call.set_machine({"axes": {axis.name: value}})
        self._taken = asked.key

    def _ask_flags(self, asked: Turn, taken: str | None) -> None:
        self._page(asked)
        flags = list(self.desk.engine.knowledge.flags.values())
        for i, flag in enumerate(flags, 1):
            self.say(f"  {i} {flag.label}")
        self._taken = asked.key
        said = self.ask("numbers of what is so [none]")
        numbers = [number_in(n, len(flags)) for n in said.replace(",", " ").split()]
        if None not in numbers:
            self.call.set_situation({"flags": list(dict.fromkeys(flags[n - 1].name for n in numbers if n))})
        elif not self.command(said, asked, taken):
            self.say(f"Type numbers from 1 to {len(flags)}, or nothing.")

    def _ask_need(self, asked: Turn, taken: str | None) -> None:
        need = asked.need
        assert need is not None
        self._taken = asked.key
        said = self.ask(f"Needed to judge the reading: {need.asks} [nothing = not known]")
        if not said:
            self._not_known.add(need.name)
            return
        try:
            give(self.call, need, said)
        except DiagError as error:
            if not self.command(said, asked, taken):
                self.say(f"Not taken: {error}")

    def _ask_form(self, asked: Turn, taken: str | None) -> None:
        self._page(asked)
        group = ""
        for i, line in enumerate(asked.form, 1):
            if line.group != group:
                group = line.group
                self.say(group, "  ")
            self.say(f"    {i} {line.label}")
        said = self.ask('numbers of what is wrong; "-" at the end: all the rest looked at and fine')
        if self.command(said, asked, taken):
            return
        try:
            ticked, fine = _ticked(asked, said)
            self._remember()
            record_form(self.call, ticked, fine, self._details)
            self._details = {}
        except DiagError as error:
            self.say(f"Not taken: {error}")
            self._taken = asked.key

    def _ask_check(self, asked: Turn, taken: str | None) -> None:
        check = asked.check
        assert check is not None
        self._page(asked)
        words = self._in_words or not check.measured
        for i, (_, text) in enumerate(present.outcome_choices(check), 1):
            if words:
                self.say(f"  {i} {text}")
        form = "a number of the list" if self._in_words else answer_form(check, self.units)
        said = self.ask(form + (", or words" if check.measured and not self._in_words else ""))
        if not self._is_reading(check, said) and self.command(said, asked, taken):
            return
        if self._in_words:
            self._in_words = False
            said = _words_answer(check, said)
        self.record_answer(check, said)

    # --- recording --------------------------------------------------------------------------------

    def _remember(self) -> None:
        self._before = {r.cause: r.probability for r in self.call.think().judgement.ranking}

    def record_answer(self, check: Check, said: str) -> None:
        """Record a typed answer and say what came of it."""
        self._remember()
        try:
            body = {"outcome": said} if said in check.outcomes and check.measured else self._parsed(check, said)
            self.call.answer(check.id, **body, **self._details)
        except DiagError as error:
            self.say(f"Not taken: {error}")
            self._taken = check.id
            return
        self._details = {}
        told = understood(body)
        if told:
            self.say(f"Read as: {told}")
        seen = self.call.seen(self.call.events[-1].id)
        if seen and seen.evaluated.analysed:
            self.say(seen.evaluated.analysed.words)
            for note in seen.evaluated.analysed.notes:
                self.say(note, "  ")
        if seen and not seen.evaluated.outcome and seen.evaluated.reason:
            self.say(f"No verdict yet: {seen.evaluated.reason}")

    def _is_reading(self, check: Check, said: str) -> bool:
        """Tell whether "rows 6-8: 18.2 11 18" is meant, which is no word of the help."""
        if not check.measured or not said.lower().startswith("rows "):
            return False
        try:
            return bool(self._parsed(check, said))
        except DiagError:
            return False

    def _parsed(self, check: Check, said: str) -> dict[str, Any]:
        return take_answer(self.call, check, said, self.units)

    def answer_to(self, check: Check) -> dict[str, Any] | None:
        """Ask for the answer to a check; None when it was left."""
        for i, (_, words) in enumerate(present.outcome_choices(check), 1):
            if not check.measured:
                self.say(f"  {i} {words}")
        said = self.ask(answer_form(check, self.units))
        if not said:
            return None
        return {"status": "unsure"} if said == "n" and check.takes.kind != "yes_no" else self._parsed(check, said)

    def refuse(self, asked: Turn, status: str) -> None:
        """Record that what is asked gave nothing: unsure, or cannot_here."""
        keys = list(dict.fromkeys(line.check for line in asked.form)) or ([asked.check.id] if asked.check else [])
        for key in keys:
            self.call.answer(key, status=status)

    # --- commands ---------------------------------------------------------------------------------

    def command(self, said: str, asked: Turn | None = None, taken: str | None = None) -> bool:
        """Carry out a word at the prompt; False when it is none."""
        word, _, rest = said.partition(" ")
        word = word.lower()
        if asked is not None and asked.check is not None and self._about_check(said.lower(), asked):
            return True
        action = self._commands.get(word)
        if action is None:
            return False
        kept = self._taken = taken
        try:
            action(rest.strip())
        except DiagError as error:
            self.say(f"Not done: {error}")
        if asked is not None and word not in CHOOSES_ANEW and self._taken == kept:
            self._taken = asked.key if self._still_open(asked) else None
        return True

    def _about_check(self, said: str, asked: Turn) -> bool:
        """Carry out a word that is about the check asked; False when it is none."""
        yes_no = asked.kind == "check" and asked.check is not None and asked.check.takes.kind == "yes_no"
        if said in ("not sure", "unsure", "don't know") or (said == "n" and not yes_no):
            self.refuse(asked, "unsure")
        elif said == "x":
            self.refuse(asked, "cannot_here")
        elif said in ("o2", "o3") and len(asked.others) >= int(said[1]) - 1:
            self._taken = asked.others[int(said[1]) - 2]
        elif said == "words" and asked.check is not None and asked.check.measured:
            self._in_words, self._taken = True, asked.key
        elif said == "form" and (asked.mates or asked.form):
            self._form_wanted, self._taken = asked.kind != "form", asked.key
        else:
            return False
        return True

    def _still_open(self, asked: Turn) -> bool:
        state = self.call.state
        return not any(a.check == asked.key and a.epoch == state.epoch for a in state.answers)


def _words_answer(check: Check, said: str) -> str:
    names = list(check.outcomes)
    number = number_in(said, len(names))
    return said if number is None else names[number - 1]


def _ticked(asked: Turn, said: str) -> tuple[dict[str, str], dict[str, str]]:
    """Return what is wrong and what is fine, by check. Raises UsageError."""
    text = said.strip().lower()
    rest_fine = text.endswith("-") or text in ("none", "none of them", "f")
    text = "" if text in ("none", "none of them", "f") else text.rstrip("-")
    ticked: dict[str, str] = {}
    for word in text.replace(",", " ").split():
        number = number_in(word, len(asked.form))
        if number is None:
            raise UsageError(f"{word[:20]!r} is not in the list.", asked.title,
                             f"Type numbers from 1 to {len(asked.form)}.")
        line = asked.form[number - 1]
        ticked[line.check] = line.outcome
    fine = {n.check: n.fine for n in asked.form if n.fine is not None and n.check not in ticked} if rest_fine else {}
    if not ticked and not fine:
        raise UsageError("Nothing was chosen.", asked.title, 'Type numbers, or "-": all looked at and fine.')
    return ticked, fine
