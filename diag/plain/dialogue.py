"""The dialogue from the first line to the last: choosing or taking a call, then turn after turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from diag.arguments import asked
from diag.ask.intake import fact_text, read_words
from diag.ask.search import search_symptoms
from diag.ask.taking import SITUATION, Taking, faults, take
from diag.ask.turn import Turn
from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError, own_fault
from diag.figures import number_in
from diag.hear.complaint import MOST_REASONED, Match
from diag.hear.fact import FactFound
from diag.plain.asking import Asking
from diag.plain.doing import Doing
from diag.plain.looking import Looking
from diag.plain.talk import LeaveError, Read, Talk, Write
from diag.plain.words import Command, help_text
from diag.record.graph import find_call_id
from diag.say import present
from diag.store.listing import listed

SETTINGS = "screens"
"""Name under which the store keeps what the user chose, on the screens or here."""


def run_plain(
    desk: Desk, *, call: str | None = None, units: str | None = None, read: Read | None = None, write: Write = print
) -> int:
    """Run the dialogue until the user leaves or the input ends; return the exit code."""
    dialogue = Dialogue(desk, read or asked, write, units or _kept(desk).get("units", "us"))
    try:
        dialogue.start(call)
    except (LeaveError, EOFError):
        write("Left as it is; everything said so far is kept.")
    if desk.store is not None and (waits := desk.store.waits):
        write(f"{waits[:1].upper()}{waits[1:]}.")
    return 0


def _kept(desk: Desk) -> dict[str, str]:
    kept = desk.store.get_setting(SETTINGS, {}) if desk.store else {}
    return kept if isinstance(kept, dict) else {}


class Dialogue:
    """One person at the line dialogue."""

    def __init__(self, desk: Desk, read: Read, write: Write, units: str) -> None:
        self.talk = Talk(desk, read, write, units)
        self.desk, self.say, self.ask, self.number_of = desk, self.talk.say, self.talk.ask, self.talk.number_of
        self.looking = Looking(self.talk)
        self.doing = Doing(self.talk, self.looking)
        self.asking = Asking(self.talk)
        self.words = {w.name: w for w in self._words()}

    @property
    def call(self) -> CallDesk:
        """The call in work."""
        return self.talk.call

    def _words(self) -> tuple[Command, ...]:
        def of(name: str, takes: str, tells: str, do: Callable[[str], None]) -> Command:
            return Command(name, takes, tells, lambda rest, asked: do(rest))

        see, do = self.looking, self.doing
        return (
            of("?", "", "after a question: not sure; help says all this", lambda rest: self._help()),
            of("help", "", "this", lambda rest: self._help()),
            of("undo", "", "take the last act back, whole", do.undo),
            of("redo", "", "do again what was taken back", do.redo),
            of("why", "", "why this check, its steps, what it costs", see.why),
            Command("caution", "", "all cautions of this step in full", self._cautions),
            of("emergency", "", "somebody is hurt or in danger: what to do now", self._emergency),
            Command("other", "[2|3]", "take the second or third offer", self._other),
            Command("form", "", "all checks of one look at once, or one by one", self._form),
            of("list", "WORDS", "search checks and results by words", see.list_checks),
            of("take", "WORDS", "take any check", do.take),
            of("tell", "WORDS", "tell a result nobody asked for; it is read back", do.tell),
            of("details", "", "rows, who, when of the next answer", do.details),
            of("aloud", "", "figures read aloud one by one", do.aloud),
            of("file", "FILE", "readings from a CSV file", do.from_file),
            of("causes", "", "ranked causes", see.causes),
            of("how", "WORDS", "what speaks for and against a cause", see.how),
            of("not", "WORDS", "why not that cause", see.why_not),
            of("rules", "", "what was concluded, and from what", see.rules),
            of("what", "WORDS", "try the answers of a check without recording", see.what),
            of("charts", "", "the readings drawn", see.charts),
            of("show", "ID", "the knowledge behind an id", see.show),
            of("trail", "", "what was recorded, numbered", see.trail),
            of("change", "N", "answer number N of the trail anew", do.change),
            of("drop", "N", "take number N back", do.drop),
            of("move", "N CALL", "move an answer to another call", do.move),
            of("rows", "ROWS", "the rows in trouble", do.rows),
            of("machine", "", "pick or fill in the machine", do.machine),
            of("situation", "", "crop, lot, target, speed, what changed", do.situation),
            of("without", "", "tools that are not at hand", do.without),
            of("complaint", "WORDS", "more of what they say", self._complaint),
            of("phone", "", "go on by phone", do.phone),
            of("site", "", "go on at the machine", do.site),
            of("note", "TEXT", "write a note", do.note),
            of("before", "WHAT", "done before the call", do.before),
            of("swap", "PIECE A B", "piece of row A now sits in row B", do.swap),
            of("changed", "WHAT", "a setting changed, for a test or for good", do.changed),
            of("wait", "FOR", "park the call: waiting for what", do.wait),
            of("photo", "FILE", "a photo and what it shows", do.photo),
            of("homework", "", "up to three checks for one walk", do.homework),
            of("sheet", "FILE", "a field sheet, printed or saved", do.sheet),
            of("catch-up", "", "what was done, typed afterwards", do.catch_up),
            of("card", "FILE", "the hand-over card, printed or saved", do.card),
            of("repair", "WORDS", "record a repair", do.repair),
            of("for-now", "WORDS", "a way to go on for now", do.interim),
            of("proof", "", "verdict on a repair", do.proof),
            of("plan", "", "how to prove the last repair", do.plan),
            of("decide", "", "keep planting, go slower or stop", do.decide),
            of("close", "", "close the call", do.close),
            of("reopen", "", "open a closed call again", self._reopen),
            of("follow-up", "", "after the call-back", do.follow_up),
            of("write", "", "the write-up", do.write_up),
            of("copy", "", "copy the short write-up, for pasting", do.copy),
            of("missing", "", "what the write-up lacks", do.missing),
            of("give", "DETAIL TEXT", "a detail for the write-up", do.give),
            of("load", "", "what to load on the truck", do.load),
            of("stock", "", "where the parts are", do.stock),
            of("healthy", "", "keep the readings as reference", do.healthy),
            of("settings", "", "units, channel", self._settings),
            of("quit", "", "leave it as it is; nothing is lost", self._quit),
        )

    def start(self, call: str | None) -> None:
        """Open a call or take a new one, then work on it turn by turn, each under one guard."""
        if call:
            self._open(call)
        else:
            while not self._begun():
                pass
        while True:
            heard = self.talk.heard
            try:
                self.asking.turn(self.command)
            except (LeaveError, EOFError):
                raise
            except Exception as error:
                told = error if isinstance(error, DiagError) else own_fault(error)
                self.say(f"Not taken: {told}")
                if self.talk.heard == heard:  # it would fail again and again
                    raise told from None

    def _begun(self) -> bool:
        """Choose or take a call; False where that failed and is to be tried again."""
        try:
            self._choose_call()
        except DiagError as error:
            self.say(f"Not done: {error}")
            if self.ask("Enter tries again, quit leaves").lower() in ("q", "quit"):
                raise LeaveError from None
            return False
        return True

    def command(self, said: str, asked: Turn | None = None) -> bool:
        """Carry out a word at the prompt; False when it is none ("?" alone is an answer)."""
        name, _, rest = said.partition(" ")
        word = self.words.get(name.lower())
        answers = asked is not None and asked.records and said == "?"
        if word is None or answers or said.lower() == "not sure":
            return False
        kept, mended = self.talk.taken, 0 if asked is None else self._mended()
        try:
            word.do(rest.strip(), asked)
        except DiagError as error:
            self.say(f"Not done: {error}")
        if asked is not None and self.talk.taken == kept and name not in ("undo", "redo", "change", "drop"):
            go_on = asked.records and self._still_open(asked) and self._mended() == mended
            self.talk.taken = asked.key if go_on else None
        return True

    def _mended(self) -> int:
        """Return how many repairs and verdicts there are: after one of them something else comes next."""
        return len(self.call.state.repairs) + len(self.call.state.proofs)

    def _still_open(self, asked: Turn) -> bool:
        state = self.call.state
        return not any(a.check == asked.key and a.epoch == state.epoch for a in state.answers)

    def _open(self, call: str) -> None:
        store = self.desk.store
        self.talk.call = self.desk.open_call(find_call_id(call, store.call_ids() if store else []))
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
        spoke = (self.ask("Who spoke, and for whom") or "not said") if message else ""
        knowledge = self.desk.engine.knowledge
        words = self.ask("What do they say, in their own words")
        match = read_words(knowledge, words)
        for danger in match.danger:
            self.say(f"FIRST: {danger.value} ({danger.said}). Put that right before anything else.")
        accepted = self._symptoms(match)
        facts = self._facts(match)
        typed = {"call_back": self.ask("When to call back [not said]")} if message else {}
        taking = Taking(channel, words, accepted, match.said_not, facts=facts, typed=typed, relayed=spoke)
        self.talk.call = take(self.desk, self._mend_taking(taking))
        self.say("help says what else you can type at any question.")

    def _mend_taking(self, taking: Taking) -> Taking:
        """Ask again for what does not fit, until the call can be opened."""
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
        places = self.talk.marked("numbers to turn over", labels, [p.ticked for p in near]) if near else []
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
        return tuple(match.facts[i] for i in self.talk.marked("numbers to turn over", labels,
                                                              [f.ticked for f in match.facts]))

    def _complaint(self, rest: str) -> None:
        words = rest or self.ask("What do they say, in their own words")
        if words:
            match = read_words(self.desk.engine.knowledge, words)
            accepted = self._symptoms(match)
            self.talk.record(lambda call: call.set_complaint(words, accepted, match.said_not))

    # --- the rest ---------------------------------------------------------------------------------

    def _cautions(self, rest: str, asked: Turn | None) -> None:
        for caution in asked.cautions if asked else ():
            self.say(present.caution_line(caution, frozenset()))

    def _emergency(self, rest: str) -> None:
        knowledge = self.desk.engine.knowledge
        found = [c for c in knowledge.cautions.values() if c.stops and c.flags]
        self.say("Machine off, key out, people away. Call the emergency number first; the planter can wait.")
        told = [f"{knowledge.flags[c.flags[0]].label}: {c.text}" for c in found]
        chosen = self.number_of("what happened", told, empty="it was nothing") if told else None
        if chosen is not None:
            held = [*self.call.state.situation.flags, found[chosen].flags[0]]
            self.talk.record(lambda call: call.set_situation({"flags": list(dict.fromkeys(held))}))

    def _other(self, rest: str, asked: Turn | None) -> None:
        place = (number_in(rest, 3) or 2) - 2
        if asked is None or not 0 <= place < len(asked.others):
            self.say("There is no such offer now.")
        else:
            self.talk.taken = asked.others[place]

    def _form(self, rest: str, asked: Turn | None) -> None:
        if asked is None or not (asked.mates or asked.form):
            self.say("This check stands for itself.")
        else:
            self.talk.form = asked.kind != "form"

    def _reopen(self, rest: str) -> None:
        self.talk.record(lambda call: call.record("reopened", {}))

    def _settings(self, rest: str) -> None:
        units = self.talk.units
        chosen = self.number_of("Units", ["inches, inH2O, mph, seeds/ac", "cm, kPa, km/h, seeds/ha"], empty=units)
        self.talk.units = units if chosen is None else ("us", "metric")[chosen]
        channel = self.number_of("New calls", ["by phone", "on site"], empty="as before")
        if self.desk.store is not None:
            kept = {**_kept(self.desk), "units": self.talk.units}
            if channel is not None:
                kept["channel"] = ("phone", "site")[channel]
            self.desk.store.set_setting(SETTINGS, kept)

    def _help(self) -> None:
        self.talk.write(help_text(tuple(self.words.values())))

    def _quit(self, rest: str) -> None:
        raise LeaveError
