"""The dialogue from the first line to the last: choosing or taking a call, then turn after turn."""

from __future__ import annotations

from diag.ask.intake import fact_text, read_words, search_symptoms
from diag.ask.taking import SITUATION, Taking, faults, take
from diag.call.desk import Desk
from diag.figures import number_in
from diag.hear.complaint import MOST_REASONED, Match
from diag.hear.facts import FactFound
from diag.plain.asking import Asking
from diag.plain.talk import LeaveError, Read, Write
from diag.plain.words import HELP
from diag.record.graph import find_call_id
from diag.say import present
from diag.store.listing import listed

SETTINGS = "screens"
"""Name under which the store keeps what the user chose, on the screens or here."""


def run_plain(
    desk: Desk, *, call: str | None = None, units: str | None = None, read: Read | None = None, write: Write = print
) -> int:
    """Run the dialogue until the user leaves or the input ends; return the exit code."""
    dialogue = Dialogue(desk, read or _input, write, units or _kept(desk).get("units", "us"))
    try:
        dialogue.start(call)
    except (LeaveError, EOFError):
        write("Left as it is; everything said so far is kept.")
    return 0


def _input(prompt: str) -> str:
    return input(prompt)


def _kept(desk: Desk) -> dict[str, str]:
    kept = desk.store.get_setting(SETTINGS, {}) if desk.store else {}
    return kept if isinstance(kept, dict) else {}


class Dialogue(Asking):
    """One person at the line dialogue."""

    def __init__(self, desk: Desk, read: Read, write: Write, units: str) -> None:
        super().__init__(desk, read, write, units)
        self._commands = {
            "?": self._help, "help": self._help, "why": self.why, "causes": self.causes, "how": self.how,
            "not": self.why_not, "rules": self.rules, "trail": self.trail, "charts": self.charts, "show": self.show,
            "what": self.what, "list": self.list_checks, "take": self.take, "tell": self.tell, "aloud": self.aloud,
            "details": self.details, "back": self.back, "again": self.again, "change": self.change, "drop": self.drop,
            "move": self.move, "rows": self.rows, "machine": self.machine, "situation": self.situation,
            "without": self.without, "stock": self.stock,
            "complaint": self._complaint, "phone": self.phone, "site": self.site, "note": self.note,
            "before": self.before, "swap": self.swap, "changed": self.changed, "wait": self.wait, "photo": self.photo,
            "homework": self.homework, "sheet": self.sheet, "catch-up": self.catch_up, "card": self.card,
            "repair": self.repair, "for-now": self.interim, "proof": self.proof, "plan": self.plan,
            "decide": self.decide, "file": self.from_file, "follow-up": self.follow_up,
            "write": self.write_up, "missing": self.missing, "give": self.give, "load": self.load,
            "close": self.close, "healthy": self.healthy, "settings": self._settings, "quit": self._quit,
        }

    def start(self, call: str | None) -> None:
        """Open a call or take a new one, then work on it."""
        if call:
            self._open(call)
        else:
            self._choose_call()
        while True:
            if self.call.state.closed:
                self._closed()
            else:
                self.turn()

    def _open(self, call: str) -> None:
        store = self.desk.store
        self.call = self.desk.open_call(find_call_id(call, store.call_ids() if store else []))
        self.say(present.header(self.call))

    def _choose_call(self) -> None:
        store, knowledge = self.desk.store, self.desk.engine.knowledge
        labels = {k: c.label for k, c in knowledge.causes.items()} | {k: s.label for k, s in knowledge.symptoms.items()}
        calls = store.calls(50) if store else []
        found = [c for c in listed(calls, self.desk.clock(), labels) if c.state != "closed"]
        if found:
            self.say("Open calls, due first:")
        for i, c in enumerate(found, 1):
            self.say(f"  {i} {c.who}  {'DUE: ' if c.state == 'due' else ''}{c.told}  {c.about}")
        usual = _kept(self.desk).get("channel", "phone")
        self.say("p = new call by phone, s = new call on site, m = from a message, f W = find a call")
        said = self.ask(f"Number of a call, or p, s, m, f [{usual[:1]}]")
        number = number_in(said, len(found))
        if number is not None:
            self._open(found[number - 1].call)
        elif said.lower().startswith("f ") and store:
            self._find(said[2:])
        else:
            kind = (said or usual).lower()
            self._intake("site" if kind.startswith("s") else "phone", message=kind.startswith("m"))

    def _find(self, words: str) -> None:
        store = self.desk.store
        found = listed(store.calls(20, words), self.desk.clock(), {}) if store else []
        if not found:
            self.say("No call fits.")
            self._choose_call()
            return
        chosen = self.number_of("number", [f"{c.who}  {c.told}" for c in found], empty="none")
        if chosen is None:
            self._choose_call()
        else:
            self._open(found[chosen].call)

    # --- taking a call ----------------------------------------------------------------------------

    def _intake(self, channel: str, *, message: bool = False) -> None:
        if channel == "phone" and not message:
            self.say("First: is anybody driving or moving? Then stop, or call back.")
        spoke = (self.ask("Who spoke, and for whom") or "not said") if message else ""
        words = self.ask("What do they say, in their own words")
        match = read_words(self.desk.engine.knowledge, words)
        for danger in match.danger:
            self.say(f"FIRST: {danger.value} ({danger.said}). Put that right before anything else.")
        accepted = self._symptoms(match)
        facts = self._facts(match)
        typed = {"call_back": self.ask("When to call back [not said]")} if message else {}
        taking = Taking(channel, words, accepted, match.said_not, facts, typed, relayed=spoke)
        taking = self._mend_taking(taking)
        self.call = take(self.desk, taking)
        self.say("Type ? at any question for what else you can do.")

    def _mend_taking(self, taking: Taking) -> Taking:
        """Ask again for what does not fit, until the call can be opened."""
        from dataclasses import replace

        while wrong := faults(self.desk.engine.knowledge, taking, self.desk.clock()):
            name, text = next(iter(wrong.items()))
            self.say(text)
            if name in (*SITUATION, "call_back"):
                taking = replace(taking, typed={**taking.typed, name: self.ask(name.replace("_", " "))})
            else:
                taking = replace(taking, words=self.ask("What do they say, in their own words"))
        return taking

    def _symptoms(self, match: Match) -> tuple[tuple[str, str], ...]:
        """Show what it sounds like, with what is taken over as it stands; else offer the whole list."""
        knowledge = self.desk.engine.knowledge
        if match.none:
            self.say(f"That sounds like {match.none}.")
        near = [p for p in match.proposals[:MOST_REASONED] if not match.none or p.ticked]
        labels = [f"{knowledge.symptoms[p.symptom].label}{': ' if p.reason else ''}{p.reason}" for p in near]
        places = self.marked("numbers to turn over", labels, [p.ticked for p in near]) if near else []
        if places:
            return tuple((near[i].symptom, "matched") for i in places)
        self.say("Pick from the list by number, or nothing.")
        ids = search_symptoms(knowledge, "", most=1000)
        chosen = self.number_of("number", [knowledge.symptoms[s].label for s in ids])
        return () if chosen is None else ((ids[chosen], "chosen"),)

    def _facts(self, match: Match) -> tuple[FactFound, ...]:
        """Show what was told, with what is taken over as it stands."""
        if not match.facts:
            return ()
        self.say("Told:")
        labels = [fact_text(self.desk.engine.knowledge, f) for f in match.facts]
        places = self.marked("numbers to turn over", labels, [f.ticked for f in match.facts])
        return tuple(match.facts[i] for i in places)

    def _complaint(self, rest: str) -> None:
        words = rest or self.ask("What do they say, in their own words")
        if words:
            match = read_words(self.desk.engine.knowledge, words)
            self.call.set_complaint(words, self._symptoms(match), match.said_not)

    # --- the rest ---------------------------------------------------------------------------------

    def _closed(self) -> None:
        closed = self.call.state.closed
        self.say(f"Closed: {closed.result.replace('_', ' ') if closed else ''}.")
        said = self.ask("reopen, follow-up, write, missing, trail or quit")
        if said == "reopen":
            self.call.record("reopened", {})
        elif not self.command(said):
            self.say("Type reopen, follow-up, write, missing, trail or quit.")

    def _settings(self, rest: str) -> None:
        chosen = self.number_of("Units", ["inches, inH2O, mph, seeds/ac", "cm, kPa, km/h, seeds/ha"], empty=self.units)
        self.units = self.units if chosen is None else ("us", "metric")[chosen]
        channel = self.number_of("New calls", ["by phone", "on site"], empty="as before")
        if self.desk.store is not None:
            kept = {**_kept(self.desk), "units": self.units}
            if channel is not None:
                kept["channel"] = ("phone", "site")[channel]
            self.desk.store.set_setting(SETTINGS, kept)

    def _help(self, rest: str) -> None:
        self._write(HELP)

    def _quit(self, rest: str) -> None:
        raise LeaveError
