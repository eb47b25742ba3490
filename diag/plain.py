"""The conversation line by line: for a pipe, a screen reader, a dumb terminal, or by choice.

Every answer is recorded at once. At every question a word does more: `?` lists them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from diag.call import present
from diag.call.answers import answer_form, choose_items, parse_answer
from diag.call.desk import CallDesk, Desk
from diag.call.healthy import keep_healthy
from diag.call.intake import (
    accept_facts,
    fact_text,
    read_words,
    search_causes,
    search_checks,
    search_symptoms,
    situation_field,
)
from diag.call.needs import give, missing
from diag.call.record import find_call_id, show_call_id
from diag.call.rows import to_stored
from diag.errors import DiagError, UsageError
from diag.knowledge.model import Check
from diag.reason.next_check import Offer
from diag.text import clean, one_line, wrap

Read = Callable[[str], str]
Write = Callable[[str], None]
WIDTH = 78

HELP = """At any question:
  an answer, as the line before it says        n        not sure
  x        can't be done here                  why      why this check
  2, 3     take the second or third offer      list W   search checks by words
  take W   take any check                      words    answer a reading in words
  causes   ranked causes                       how W    what speaks for and against a cause
  not W    why not that cause                  rules    which rules fired
  trail    what was recorded                   back     undo          again  redo
  change N answer number N of the trail anew   what W   try an outcome without recording it
  rows, machine, situation, complaint          fill in or change
  phone, site   go on by phone or on site      note T   write a note
  before T      done before the call           swap P A B   piece P of row A now sits in row B
  changed N     a setting changed for a test   wait F   waiting for caller, part, technician, weather, proof
  repair W      record a repair                for-now W    record an interim measure
  proof         verdict on the last repair     write    the write-up
  healthy       keep readings as reference     photo F  a picture, by its file
  load          what to load on the truck      close    close the call
  list, ?       help                           quit     leave it as it is (nothing is lost)"""


class _LeaveError(Exception):
    """The user leaves the call as it is."""


def run_plain(
    desk: Desk, *, call: str | None = None, units: str | None = None, read: Read | None = None, write: Write = print
) -> int:
    """Run the dialogue until the user leaves or the input ends; return the exit code."""
    dialogue = Dialogue(desk, read or _input, write, units or "us")
    try:
        dialogue.start(call)
    except (_LeaveError, EOFError):
        write("Left as it is; everything said so far is kept.")
    return 0


def _input(prompt: str) -> str:
    return input(prompt)


class Dialogue:
    """One person at the line dialogue."""

    def __init__(self, desk: Desk, read: Read, write: Write, units: str) -> None:
        self.desk, self._read, self._write, self.units = desk, read, write, units
        self.call: CallDesk = None  # type: ignore[assignment]
        self._before: dict[str, float] = {}
        self._taken: str | None = None
        self._commands: dict[str, Callable[[str], None]] = {
            "?": self._help, "help": self._help, "why": self._why, "causes": self._causes, "how": self._how,
            "not": self._not, "rules": self._rules, "trail": self._trail, "back": self._back, "again": self._again,
            "change": self._change, "what": self._what, "rows": self._rows, "machine": self._machine,
            "situation": self._situation, "complaint": self._complaint, "phone": self._phone, "site": self._site,
            "note": self._note, "before": self._done_before, "swap": self._swap, "changed": self._changed,
            "wait": self._wait, "repair": self._repair, "for-now": self._interim, "proof": self._proof,
            "write": self._write_up, "load": self._load, "close": self._close, "list": self._list,
            "take": self._take, "quit": self._quit, "photo": self._photo, "healthy": self._healthy,
        }  # fmt: skip

    # --- talking ----------------------------------------------------------------------------------

    def say(self, text: str = "", indent: str = "") -> None:
        """Write text folded to the width."""
        self._write(wrap(text, WIDTH, indent) if text else "")

    def ask(self, prompt: str) -> str:
        """Read one line. Raises EOFError at the end of the input."""
        return clean(self._read(f"{prompt} > ")).strip()

    def _number_of(self, prompt: str, choices: list[str], *, empty: str = "") -> int | None:
        """Ask for one of a numbered list; None when left empty."""
        for i, text in enumerate(choices, 1):
            self.say(f"  {i} {text}")
        while True:
            said = self.ask(prompt + (f" [{empty}]" if empty else ""))
            if not said:
                return None
            if said.isdigit() and 1 <= int(said) <= len(choices):
                return int(said) - 1
            self.say(f"Type a number from 1 to {len(choices)}, or nothing.")

    # --- start ------------------------------------------------------------------------------------

    def start(self, call: str | None) -> None:
        """Open a call or take a new one, then work on it."""
        if call:
            self._open(call)
        else:
            self._choose_call()
        self._work()

    def _open(self, call: str) -> None:
        store = self.desk.store
        ids = [*(store.call_ids() if store else ())]
        self.call = self.desk.open_call(find_call_id(call, ids))
        self.say(present.header(self.call))

    def _choose_call(self) -> None:
        store = self.desk.store
        waiting = [c for c in store.calls(9) if c.status != "closed"] if store else []
        if waiting:
            self.say("Open calls:")
            for i, c in enumerate(waiting, 1):
                parts = [show_call_id(c.call), c.customer or "", c.place or "", c.machine or ""]
                self.say(f"  {i} {'  '.join(p for p in parts if p)}")
        said = self.ask("Number of a call, or p = new call by phone, s = new call on site")
        if said.isdigit() and 1 <= int(said) <= len(waiting):
            self._open(waiting[int(said) - 1].call)
            return
        self._intake("site" if said.lower().startswith("s") else "phone")

    def _intake(self, channel: str) -> None:
        self.call = self.desk.new_call(channel)
        if channel == "phone":
            self.say("First: is anybody driving or moving? Then stop, or call back.")
        self._complaint("")
        self.say("Type ? at any question for what else you can do.")

    # --- the desk ---------------------------------------------------------------------------------

    def _work(self) -> None:
        while True:
            if self.call.state.closed:
                self.say(f"Closed: {self.call.state.closed.result.replace('_', ' ')}.")
                said = self.ask("reopen, write, trail or quit")
                if said == "reopen":
                    self.call.record("reopened", {})
                elif not self._command(said):
                    self.say("Type reopen, write, trail or quit.")
                continue
            self._turn()

    def _turn(self) -> None:
        thought = self.call.think()
        for line in present.warnings(self.call):
            self.say("! " + line)
        top = present.cause_lines(self.call, self._before, most=3)
        told = [f"{c.belief} {c.label} ({' '.join((c.percent, c.change)).strip()})" for c in top]
        self.say("Now: " + "; ".join(told))
        plan, action = thought.judgement.plan, thought.judgement.action
        if action != "check":
            self._advise(action)
        offers = plan.offers
        taken, self._taken = self._taken, None
        if taken is None and not offers:
            self.say("No check is left that can be done here. Type repair, site, close, or take and a word.")
            self._command_or_complain(self.ask("what next"))
            return
        offer = next((o for o in offers if o.check == taken), None) if taken else offers[0]
        self._ask_check(self.desk.engine.knowledge.questions[taken or offers[0].check], offer, offers)

    def _advise(self, action: str) -> None:
        judgement = self.call.think().judgement
        text = f"Worth doing now: {present.ACTIONS[action]}"
        if judgement.plan.repair and action == "repair":
            cause = self.desk.engine.knowledge.causes[judgement.plan.repair]
            text += f": {cause.repair.do} (about {cause.repair.minutes:g} min)"
        self.say(text + ".")

    def _ask_check(self, check: Check, offer: Offer | None, offers: Iterable[Offer]) -> None:
        if offer and offer.axes_to_ask:
            self._ask_axis(offer.axes_to_ask[0])
            return
        self.say()
        if not self._cautions(check):
            return
        whole = present.whole_check(self.desk.engine.knowledge, check.id)
        self._ask_needs(check)
        for part, text in present.check_lines(self.call, whole, offer):
            self.say(f"{part}: {text}", "  ")
        for i, other in enumerate(list(offers)[1:3], 2):
            self.say(f"or {i}: {self.desk.engine.knowledge.questions[other.check].asks}", "  ")
        for i, (_, words) in enumerate(present.outcome_choices(whole), 1):
            if not whole.measured:
                self.say(f"  {i} {words}")
        said = self.ask(answer_form(whole, self.units) + (", or words" if whole.measured else ""))
        others = [o.check for o in offers]
        if said in ("2", "3") and not check.outcomes and len(others) >= int(said):
            self._taken = others[int(said) - 1]
        elif said in ("o2", "o3") and len(others) >= int(said[1]):
            self._taken = others[int(said[1]) - 1]
        elif not self._command(said, check, offer):
            self._answer(check, said)

    def _cautions(self, check: Check) -> bool:
        """Say the cautions first; warnings and worse are acknowledged once. False when refused."""
        known = self.call.state.acknowledged
        for caution in present.cautions_now(self.call, check):
            self.say(present.caution_line(caution, known))
            if caution.id not in known and caution.word in ("DANGER", "WARNING"):
                typed = caution.word == "DANGER"
                said = self.ask("type DANGER to go on" if typed else "understood? y")
                if (typed and said.upper() != "DANGER") or (not typed and said.lower() not in ("y", "yes")):
                    self.say("Then not that. Another check, or site.")
                    self.call.answer(check.id, status="cannot_here")
                    return False
                self.call.acknowledge(caution.id, check.id, "typed" if typed else "key")
        return True

    def _ask_needs(self, check: Check) -> None:
        for need in missing(self.call, check):
            said = self.ask(f"Needed to judge the reading: {need.asks} [nothing = not known]")
            if said:
                try:
                    give(self.call, need, said)
                except DiagError as error:
                    self.say(f"Not taken: {error}")

    def _ask_axis(self, axis: str) -> None:
        entry = self.desk.engine.knowledge.axes[axis]
        self.say(f"Needed for the next check: {entry.asks}")
        choices = [f"{v.label}" + (f" ({v.tell_by})" if v.tell_by else "") for v in entry.values]
        chosen = self._number_of("number", choices, empty="not known")
        if chosen is None:
            # asked and not known: the share of such machines stands, the check is left out here
            offer = self.call.think().judgement.plan.offers[0]
            self.call.answer(offer.check, status="cannot_here")
            return
        value = entry.values[chosen].name
        if axis == "crop":
            self.call.set_situation({"crop": value})
        else:
            self.call.set_machine({"axes": {axis: value}})

    def _answer(self, check: Check, said: str) -> None:
        self._before = {r.cause: r.probability for r in self.call.think().judgement.ranking}
        try:
            whole = present.whole_check(self.desk.engine.knowledge, check.id)
            if whole.takes.kind == "several":
                for item, outcome in choose_items(whole, said).items():
                    self.call.answer(f"{whole.id}.{item}", outcome=outcome)
                return
            body = parse_answer(check, said, rows=self.call.state.machine.rows, unit=None)
            self.call.answer(check.id, **body)
        except DiagError as error:
            self.say(f"Not taken: {error}")
            self._taken = check.id
            return
        seen = self.call.seen(self.call.events[-1].id)
        if seen and seen.evaluated.analysed:
            self.say(seen.evaluated.analysed.words)
            for note in seen.evaluated.analysed.notes:
                self.say(note, "  ")
        if seen and not seen.evaluated.outcome and seen.evaluated.reason:
            self.say(f"No verdict yet: {seen.evaluated.reason}")

    # --- commands ---------------------------------------------------------------------------------

    def _command(self, said: str, check: Check | None = None, offer: Offer | None = None) -> bool:
        """Carry out a word at the prompt; False when it is none."""
        word, _, rest = said.partition(" ")
        word = word.lower()
        if check is not None and word in ("n", "x") and not rest and not (check.takes.kind == "yes_no" and word == "n"):
            self.call.answer(check.id, status="unsure" if word == "n" else "cannot_here")
            return True
        if check is not None and said.lower() in ("not sure", "unsure", "don't know"):
            self.call.answer(check.id, status="unsure")
            return True
        if check is not None and word == "words" and check.measured:
            chosen = self._number_of("number", [w for _, w in present.outcome_choices(check)])
            if chosen is not None:
                self.call.answer(check.id, outcome=present.outcome_choices(check)[chosen][0])
            return True
        action = self._commands.get(word)
        if action is None or (check is not None and rest and word == "not" and rest == "sure"):
            return False
        try:
            action(rest.strip())
        except DiagError as error:
            self.say(f"Not done: {error}")
        if check is not None and self._taken is None and word not in ("back", "again", "change"):
            self._taken = check.id if self._still_open(check.id) else None
        return True

    def _still_open(self, check: str) -> bool:
        return not any(a.check == check and a.epoch == self.call.state.epoch for a in self.call.state.answers)

    def _command_or_complain(self, said: str) -> None:
        if said and not self._command(said):
            self.say("Not understood. Type ? for help.")

    def _help(self, rest: str) -> None:
        self._write(HELP)

    def _quit(self, rest: str) -> None:
        raise _LeaveError

    def _why(self, rest: str) -> None:
        judgement = self.call.think().judgement
        if judgement.plan.offers:
            offer = judgement.plan.offers[0]
            check = self.desk.engine.knowledge.questions[offer.check]
            self.say(f"{check.asks}: {dict(present.check_lines(self.call, check, offer)).get('why', check.asks)}")
            self.say(f"It gives {offer.bits_per_minute:.3f} bit a minute and saves {offer.saves_minutes:g} min.")

    def _causes(self, rest: str) -> None:
        for c in present.cause_lines(self.call, self._before, most=20):
            self.say(f"{c.sign} {c.belief:<9} {c.percent:>10} {c.change:<4} {c.label} {c.note}")
        self.say(present.rest_line(self.call))

    def _pick_cause(self, rest: str) -> str | None:
        knowledge = self.desk.engine.knowledge
        if not rest:
            ranking = self.call.think().judgement.ranking
            return ranking[0].cause if ranking else None
        found = search_causes(knowledge, rest)
        if not found:
            self.say(f"No cause fits {rest!r}.")
            return None
        if len(found) == 1:
            return found[0]
        chosen = self._number_of("number", [knowledge.causes[c].label for c in found])
        return None if chosen is None else found[chosen]

    def _how(self, rest: str) -> None:
        cause = self._pick_cause(rest)
        for line in present.how_lines(self.call, cause) if cause else ():
            self.say(line)

    def _not(self, rest: str) -> None:
        cause = self._pick_cause(rest)
        if cause:
            self.say(present.why_not_line(self.call, cause))

    def _rules(self, rest: str) -> None:
        for line in present.rule_lines(self.call):
            self.say(line)

    def _trail(self, rest: str) -> None:
        for _, line in present.trail_lines(self.call):
            self.say(line)

    def _back(self, rest: str) -> None:
        self.say("Taken back." if self.call.undo() else "There is nothing to take back.")

    def _again(self, rest: str) -> None:
        self.say("Done again." if self.call.redo() else "There is nothing to do again.")

    def _change(self, rest: str) -> None:
        answers = {step.number: step for step in self.call.state.trail if step.live and step.kind == "answer"}
        if not rest.isdigit() or int(rest) not in answers:
            raise UsageError("Name an answer of the trail by its number.", "change", "See `trail`.")
        step = answers[int(rest)]
        check = self.desk.engine.knowledge.questions[step.body["check"]]
        for i, (_, words) in enumerate(present.outcome_choices(check), 1):
            self.say(f"  {i} {words}")
        said = self.ask(answer_form(check, self.units))
        if said:
            rows = self.call.state.machine.rows
            body = {"status": "unsure"} if said == "n" else parse_answer(check, said, rows=rows)
            self.call.change_answer(step.event, **body)

    def _list(self, rest: str) -> None:
        knowledge = self.desk.engine.knowledge
        for key in search_checks(knowledge, rest):
            self.say(f"  {key}: {knowledge.questions[key].asks}")

    def _take(self, rest: str) -> None:
        knowledge = self.desk.engine.knowledge
        found = [rest] if rest in knowledge.questions else search_checks(knowledge, rest)
        if not found:
            raise UsageError(f"No check fits {rest!r}.", "take", "Try one word of it.")
        chosen = 0 if len(found) == 1 else self._number_of("number", [knowledge.questions[k].asks for k in found])
        self._taken = None if chosen is None else found[chosen]

    def _what(self, rest: str) -> None:
        offers = self.call.offers()
        if not offers:
            return
        check = self.desk.engine.knowledge.questions[offers[0].check]
        for outcome, words in present.outcome_choices(check):
            ranking = self.call.what_if(check.id, outcome).ranking[:3]
            told = ", ".join(f"{self.desk.engine.knowledge.causes[r.cause].label} {r.probability:.0%}" for r in ranking)
            self.say(f"if {words}: {told}", "  ")

    # --- the call's data --------------------------------------------------------------------------

    def _complaint(self, rest: str) -> None:
        words = rest or self.ask("What do they say, in their own words")
        knowledge = self.desk.engine.knowledge
        if not words:
            return
        match = read_words(knowledge, words)
        accepted: list[tuple[str, str]] = []
        if match.verdict == "no_planter":
            self.say("That does not sound like a planter complaint.")
        for proposal in match.proposals[:6]:
            label = knowledge.symptoms[proposal.symptom].label
            thought = ", but that is what they think, not what they saw" if proposal.believed else ""
            said = self.ask(f"{label}? ({'; '.join(proposal.reasons)[:150]}{thought}) y/n")
            if said.lower() in ("y", "yes"):
                accepted.append((proposal.symptom, "matched"))
        if not accepted:
            self.say("Pick from the list by number, or nothing.")
            ids = search_symptoms(knowledge, "")
            chosen = self._number_of("number", [knowledge.symptoms[s].label for s in ids])
            if chosen is not None:
                accepted.append((ids[chosen], "chosen"))
        self.call.set_complaint(words, accepted, match.said_not)
        told = [(f, self.ask(f"Take as told: {fact_text(knowledge, f)}? y/n")) for f in match.facts]
        accept_facts(self.call, [f for f, said in told if said.lower().startswith("y")])

    def _rows(self, rest: str) -> None:
        said = rest or self.ask("Rows in trouble (7 or 3, 7-9 or all)")
        if said:
            self.call.set_situation(situation_field(self.call, "rows", said))

    def _situation(self, rest: str) -> None:
        body: dict[str, Any] = {}
        for name, prompt in (
            ("crop", "Crop"), ("target", "Target rate or spacing, with unit"), ("speed", "Speed, with unit"),
            ("since", "Since when"), ("seed_lot_code", "Seed lot code"), ("rows", "Rows in trouble"),
        ):  # fmt: skip
            said = self.ask(f"{prompt} [nothing = leave]")
            if said:
                body.update(situation_field(self.call, name, said))
        if body:
            self.call.set_situation(body)

    def _machine(self, rest: str) -> None:
        knowledge = self.desk.engine.knowledge
        personal: dict[str, str] = {}
        for field, prompt in (("label", "Machine (nickname)"), ("owner", "Whose"), ("serial", "Serial number")):
            said = self.ask(f"{prompt} [nothing = leave]")
            if said:
                personal[field] = said
        axes = {}
        for axis in knowledge.axes.values():
            if axis.name == "crop":
                continue
            self.say(axis.asks)
            chosen = self._number_of("number", [v.label for v in axis.values], empty="not known")
            if chosen is not None:
                axes[axis.name] = axis.values[chosen].name
        body: dict[str, Any] = {"axes": axes} if axes else {}
        for field in ("rows", "holes"):
            said = self.ask(f"Number of {field} [nothing = leave]")
            if said.isdigit():
                body[field] = int(said)
        said = self.ask("Row width, with unit [nothing = leave]")
        if said:
            from diag.units import parse

            body["row_width"] = parse(said, "row_width").as_json()  # type: ignore[assignment]
        self.call.set_machine(body, **personal)

    def _phone(self, rest: str) -> None:
        self.call.switch_channel("phone")

    def _site(self, rest: str) -> None:
        self.call.switch_channel("site")
        self.say("On site. What has changed since the call? (before ... records it)")

    def _note(self, rest: str) -> None:
        text = rest or self.ask("Note")
        if text:
            self.call.record("note", {}, {"text": text})

    def _photo(self, rest: str) -> None:
        import hashlib
        from pathlib import Path

        path = Path(rest or self.ask("File of the photo"))
        if not path.is_file():
            raise UsageError("No such file.", str(path), "Name the picture's file.")
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        self.call.record("photo", {"sha256": digest}, {"file_name": path.name, "text": self.ask("What it shows")})

    def _done_before(self, rest: str) -> None:
        what = one_line(rest or self.ask("What was done"), limit=100)
        if what:
            words = {"b": "better", "w": "worse", "n": "no_change"}
            effect = words.get(self.ask("better, worse, no change?")[:1].lower(), "unknown")
            self.call.record("done_before", {"what": what, "effect": effect, "told_by": "caller"})

    def _swap(self, rest: str) -> None:
        parts = rest.split()
        if len(parts) != 3:
            raise UsageError("Say which piece went from where to where.", "swap", "swap meter 5 6")
        places = [int(p) if p.isdigit() else "spare" for p in parts[1:]]
        self.call.record("swap", {"piece": parts[0].lower(), "from_row": places[0], "to_row": places[1]})

    def _changed(self, rest: str) -> None:
        name = one_line(rest or self.ask("Which setting"), limit=100)
        before, after = self.ask("Value before"), self.ask("Value now")
        body = {"setting": name, "before": one_line(before, limit=100) or None, "after": one_line(after, limit=100)}
        temporary = self.ask("Only for a test? y/n").lower().startswith("y")
        self.call.record("change", {**body, "temporary": temporary})

    def _wait(self, rest: str) -> None:
        words = ("caller", "part", "technician", "weather", "proof", "none")
        word = rest.split()[0] if rest else "caller"
        if word not in words:
            raise UsageError(f"{word!r} is nothing to wait for.", "wait", f"One of {', '.join(words)}.")
        until = self.ask("Until when (2026-05-04T10:40:00Z) [nothing = not said]")
        self.call.record("waiting", {"for": word, "until": until or None})
        self.say("Parked. quit leaves it; open it again by its number.")

    # --- repair, proof, write-up ------------------------------------------------------------------

    def _repair(self, rest: str) -> None:
        cause = self._pick_cause(rest)
        if cause is None:
            return
        entry = self.desk.engine.knowledge.causes[cause]
        self.say(f"{entry.label}: {entry.repair.do}")
        if self.ask("Record as done? y/n").lower().startswith("y"):
            minutes = self.ask("Minutes it took [nothing = not timed]")
            words = self.ask("What was done, in words [nothing = as above]") or entry.repair.do
            done_by = "grower" if self.call.state.channel == "phone" else "technician"
            rows = self.call.state.situation.rows
            self.call.repair([cause], words=words, minutes=int(minutes) if minutes.isdigit() else None, done_by=done_by,
                             rows=None if rows is None else to_stored(rows))  # fmt: skip

    def _interim(self, rest: str) -> None:
        cause = self._pick_cause(rest)
        interim = self.desk.engine.knowledge.causes[cause].interim if cause else None
        if cause is None or interim is None:
            self.say("No way to go on for now is known for that cause.")
            return
        self.say(f"{interim.do} You lose: {interim.loses} Watch: {interim.watch} It ends: {interim.ends}")
        if self.ask("Record as a way to go on for now? y/n").lower().startswith("y"):
            self.call.repair([cause], words=interim.do, kind="interim")

    def _proof(self, rest: str) -> None:
        state = self.call.state
        repairs = [r for r in state.repairs if r.kind == "repair"]
        if not repairs:
            raise UsageError("No repair is recorded yet.", "proof", "Record one with `repair`.")
        after = [a for a in state.answers if a.epoch > repairs[-1].epoch]
        for a in after:
            check = self.desk.engine.knowledge.questions.get(a.check)
            self.say(f"  {check.asks if check else a.check}: {present.reading_text(a, check)}")
        if not after:
            self.say("Nothing was measured since the repair: measure again first, by the same method.")
        words = {"a": "accepted", "n": "not_accepted", "y": "not_yet"}
        said = self.ask("a = accepted, n = not accepted, y = not yet")[:1].lower()
        if said in words:
            self.call.proof(repairs[-1].event, words[said], [a.event for a in after])

    def _healthy(self, rest: str) -> None:
        keep_healthy(self.call)
        self.say("Kept with the machine: later readings are compared with these first.")

    def _write_up(self, rest: str) -> None:
        from diag.writeup.render import render_text
        from diag.writeup.story import tell

        self._write(render_text(tell(self.call), width=WIDTH))

    def _load(self, rest: str) -> None:
        from diag.writeup.load_list import load_list, load_text

        self._write(load_text(load_list(self.call)))

    def _close(self, rest: str) -> None:
        from diag.call.kinds import RESULTS

        for change in self.call.state.not_put_back:
            said = self.ask(f"Not put back: {change.name}. k = keep, p = put back, t = tell the caller")
            if said.startswith("p"):
                before = change.before if change.before is not None else "as before"
                self.call.record("change", {"setting": change.name, "after": before, "settles": change.events[-1]})
        chosen = self._number_of("How did it end", [r.replace("_", " ") for r in RESULTS])
        if chosen is not None:
            self.call.close(RESULTS[chosen], self.ask("Words for the file [nothing]"))
