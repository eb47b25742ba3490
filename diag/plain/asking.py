"""Asking: one turn of the desk by the same turns and replies as on the screens; the question comes first."""

from __future__ import annotations

from collections.abc import Callable

from diag.ask.answers import answer_form
from diag.ask.reply import reply
from diag.ask.turn import Turn, said_already, turn, worth_doing
from diag.plain.talk import Part
from diag.reason.cautions import THEN
from diag.say import present

_OR = "A number of the list, or words; ? not sure, x can't be done here."
EMPTY = {
    "danger": "Type the word DANGER, in capitals, or x: can't be done here.",
    "say": "A number of the list; x: can't be done here.",
    "check": _OR, "form": _OR, "axis": "A number of the list, or words; ? not known.",
    "need": "A value, or ? not known.",
}
"""What is said where nothing was typed, by what is asked."""
LONG = 14
"""Answers from which on the question is said once more below them."""
Commands = Callable[[str, Turn], bool]
"""Carries out a word at the prompt; False when it is none."""
ACTS = {
    "repair": "repair", "interim": "for-now", "hand_over": "card", "waiting": "wait", "load": "load", "proof": "proof",
    "writeup": "write", "close": "close", "follow_up": "follow-up", "reopen": "reopen",
    "change": "changed",
}
"""What an answer of an act-turn carries out, as a word of the dialogue."""
OF_CAUSE = ("repair", "interim")
"""Those that are about the cause that is worth mending."""


class Asking(Part):
    """One question at a time."""

    def turn(self, command: Commands) -> None:
        """Ask what is asked now and take one line."""
        talk = self.talk
        asked = turn(self.call, talk.taken, form=talk.form, not_known=talk.not_known, passed=talk.passed)
        self._page(asked)
        said = self.ask(self._prompt(asked))
        if said and not self._is_reading(asked, said) and command(said, asked):
            return
        found = reply(self.call, asked, said, details=talk.details, units=talk.units)
        if found.act == "not_known" and asked.need is not None:
            talk.not_known.add(asked.need.name)
        elif found.act == "readings":
            self.say("Which reading is that?")
            chosen = self.number_of("number", [fit.line for fit in found.fits_at], empty="none of them")
            if chosen is not None:
                talk.record(found.fits_at[chosen].record)
        elif found.act:
            self._act(found.act, asked, command)
        elif found.record is not None:
            for line in found.told if asked.check is not None and asked.check.measured else ():
                self.say(line, "  ")
            talk.taken = asked.key
            talk.record(found.record)
            talk.taken = found.then
            if asked.kind in ("check", "form"):
                talk.details = {}
        else:
            for line in found.told or (EMPTY.get(asked.kind, "A number of the list, or words."),):
                self.say(line)
            talk.taken = asked.key

    def _is_reading(self, asked: Turn, said: str) -> bool:
        """Tell whether "rows 6-8: 18.2 11 18" is meant, which is no word of the help."""
        measured = asked.kind == "check" and asked.check is not None and asked.check.measured
        return measured and said.lower().startswith("rows ") and reply(self.call, asked, said).fits

    def _act(self, act: str, asked: Turn, command: Commands) -> None:
        if act in ("ask_on", "measure"):
            self.talk.passed = worth_doing(self.call)
        elif act == "channel":
            command("site" if self.call.state.channel == "phone" else "phone", asked)
        elif act == "search":
            self.say("take WORDS takes any check; list WORDS searches.")
        else:
            due, changes = worth_doing(self.call), len(self.call.state.not_put_back)
            command(f"{ACTS[act]} {asked.cause}" if asked.cause and act in OF_CAUSE else ACTS[act], asked)
            if act == "change" and len(self.call.state.not_put_back) > changes:
                self.talk.passed = due  # it was tried: what came of it is asked next

    def _page(self, asked: Turn) -> None:
        """Say the question first, then its answers, then what stands beside it."""
        self.say()
        first = "Say first: " if self.call.state.channel == "phone" else "First: "
        then = asked.asks.startswith(THEN)
        head = {"say": "" if then else first, "danger": "DANGER: ", "stop": "STOP: "}.get(asked.kind, "")
        self.say(head + asked.asks)
        group = ""
        groups = {f"{n.check}/{n.outcome}": n.group for n in asked.form}
        for i, choice in enumerate(asked.choices, 1):
            if asked.form and groups[choice.key] != group:
                group = groups[choice.key]
                self.say(group, "  ")
            self.say(f"  {i} {choice.words}")
        if len(asked.choices) > LONG:  # the question went off the screen
            self.say(head + asked.asks)
        about = asked.check if asked.kind in ("check", "form", "need") else None
        if about is not None and (held := said_already(self.call, about)):
            self.say("Said: " + held, "  ")
        if asked.kind in ("check", "form") and asked.check is not None:
            from diag.writeup.completeness import only_now

            if now := only_now(self.call, asked.check.id):
                self.say(f"Before you touch it: {now}", "  ")
        for what, words in asked.beside:
            self.say(f"{what}: {words}", "  ")
        if self.call.state.channel == "site" and asked.kind in ("check", "form"):
            for step in asked.steps:
                self.say(step, "  ")
        if asked.kind in ("check", "form", "act", "nothing"):
            for line in present.warnings(self.call):
                self.say("! " + line)
            top = present.cause_lines(self.call, self.talk.before, most=3)
            self.say("Now: " + "; ".join(f"{c.label} ({c.chance})" for c in top))

    def _prompt(self, asked: Turn) -> str:
        if asked.kind == "check" and asked.check is not None and asked.check.measured:
            return f"a number of the list, or {answer_form(asked.check, self.talk.units)}"
        return asked.hint or {"need": "value, or ?", "axis": "number, or ?"}.get(asked.kind, "number or words")
