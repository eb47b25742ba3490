"""Doing: everything beside the answers that is recorded: forms, changes, hand-over, homework, write-up."""

from __future__ import annotations

from typing import Any

from diag.ask import aloud, forms_call, forms_mend, homework, profiles
from diag.ask.answers import take_answer
from diag.ask.correcting import answer_of, can_be_withdrawn, change_turn, move_answer, told_turn
from diag.ask.form import Form
from diag.ask.fromfile import can_come_from_file
from diag.ask.intake import situation_field
from diag.ask.reply import reply
from diag.ask.search import search_answers
from diag.ask.turn import Turn
from diag.call.healthy import keep_healthy
from diag.errors import DiagError, UsageError
from diag.figures import number_in
from diag.files import write_new
from diag.knowledge.model import Check
from diag.plain.looking import Looking
from diag.plain.talk import WIDTH, Part, Talk
from diag.record.graph import find_call_id
from diag.say import present


class Doing(Part):
    """Words that record something."""

    def __init__(self, talk: Talk, looking: Looking) -> None:
        super().__init__(talk)
        self._looking = looking

    # --- the call's data --------------------------------------------------------------------------

    def rows(self, rest: str) -> None:
        """rows [ROWS]: the rows in trouble."""
        said = rest or self.ask("Rows in trouble (7 or 3, 7-9 or all)")
        if said:
            self.talk.record(lambda call: call.set_situation(situation_field(call, "rows", said)))

    def situation(self, rest: str) -> None:
        """situation: crop, lot, target, speed, what changed, what to take care of."""
        self.fill(forms_call.situation_form(self.call))

    def without(self, rest: str) -> None:
        """without: tools that are not at hand; their checks are left out."""
        self.fill(forms_call.tools_form(self.call))

    def machine(self, rest: str) -> None:
        """machine: pick a kept profile, or fill one in; it is kept for the next call."""
        store, knowledge = self.desk.store, self.desk.engine.knowledge
        kept = store.profiles() if store else []
        now = self.desk.clock()
        drafts = [profiles.Draft(p.body, p.personal) for p in kept]
        if drafts:
            lines = [profiles.profile_line(d, now) for d in drafts]
            chosen = self.number_of("Use a kept profile", lines, empty="another")
            if chosen is not None:
                self.talk.record(lambda call: profiles.use_profile(call, drafts[chosen]))
                return
        made: list[profiles.Draft] = []
        form = profiles.profile_form(knowledge, profiles.of_call(self.call), now.date().isoformat(),
                                     lambda body, personal: made.append(profiles.Draft(body, personal)))
        if self.fill(form):
            self.talk.record(lambda call: profiles.use_profile(call, made[0]))
            if store is not None and made[0].personal.get("label"):
                store.save_profile(made[0].body, made[0].personal)

    def before(self, rest: str) -> None:
        """before [WHAT]: something done before the call."""
        self._form(forms_call.done_before_form(self.call), what=rest)

    def _form(self, form: Form, **known: str) -> None:
        self.fill(form, **{k: v for k, v in known.items() if v})

    def changed(self, rest: str) -> None:
        """changed [WHAT]: a setting or part changed, for a test or for good."""
        self._form(forms_call.change_form(self.call), setting=rest)

    def swap(self, rest: str) -> None:
        """swap PIECE ROW ROW: two rows exchanged a piece."""
        parts = rest.split()
        if parts and len(parts) != 3:
            raise UsageError("Say which piece went from where to where.", "swap", "swap meter 5 6")
        form = forms_call.swap_form(self.call)
        self._form(form, **dict(zip(("piece", "from_row", "to_row"), parts, strict=False)))

    def note(self, rest: str) -> None:
        """note [TEXT]: a note for the house."""
        self._form(forms_call.note_form(self.call), text=rest)

    def photo(self, rest: str) -> None:
        """photo [FILE]: a photo's file and what it shows."""
        self._form(forms_call.photo_form(self.call), file=rest)

    def wait(self, rest: str) -> None:
        """wait [FOR]: park the call."""
        if rest and rest not in forms_call.WAITING:
            known = ", ".join(forms_call.WAITING)
            raise UsageError(f"{rest!r} is nothing to wait for.", "wait", f"One of {known}.")
        if self.fill(forms_call.waiting_form(self.call), **({"for": rest} if rest else {})):
            self.say("Parked. quit leaves it; open it again by its number.")

    def phone(self, rest: str) -> None:
        """phone: go on by phone."""
        self.talk.record(lambda call: call.switch_channel("phone"))

    def site(self, rest: str) -> None:
        """site: go on at the machine; what changed since the call is asked first."""
        self.fill(forms_call.arrival_form(self.call))

    def details(self, rest: str) -> None:
        """details: rows, who saw it and when, for the next answer."""
        self.fill(forms_call.details_form(self.call, self.talk.details.update))

    # --- answers beside the question --------------------------------------------------------------

    def tell(self, rest: str) -> None:
        """tell WORDS: a result nobody asked for, by words of it."""
        knowledge = self.desk.engine.knowledge
        found = search_answers(knowledge, rest)
        if not found:
            raise UsageError(f"No result holds {rest!r}.", "tell", "Try one word of it.")
        told = [present.answer_words(knowledge.questions[c], o) for c, o in found]
        chosen = 0 if len(found) == 1 else self.number_of("number", told)
        if chosen is not None:
            observer = {"observer": "caller"} if self.call.state.channel == "phone" else {}
            self._agree(told_turn(self.call, *found[chosen]), details=observer)

    def _agree(self, asked: Turn, **more: Any) -> None:
        """Ask a turn until it is answered or left; record it."""
        self.say(asked.asks)
        for what, words in asked.beside:
            self.say(f"{what}: {words}", "  ")
        for i, choice in enumerate(asked.choices, 1):
            self.say(f"  {i} {choice.words}")
        while said := self.ask("a number, or words [nothing = leave it]"):
            found = reply(self.call, asked, said, units=self.talk.units, **more)
            if found.record is not None:
                self.talk.record(found.record)
                return
            self.say(found.told[0] if found.told else "A number of the list.")

    def take(self, rest: str) -> None:
        """take WORDS: take any check."""
        key = self._looking.pick_check(rest)
        if key is not None and not present.applies(self.call, key):
            asks = self.desk.engine.knowledge.questions[key].asks
            raise UsageError(f"{asks}: that does not apply to this machine.", "take", "machine tells what it is.")
        self.talk.taken = key

    def undo(self, rest: str) -> None:
        """undo: take the last act back, whole."""
        before = dict(present.step_texts(self.call))
        events = self.call.undo()
        told = "; ".join(before[e] for e in reversed(events) if e in before)
        self.say(f"Taken back: {told}." if events else "There is nothing to take back.")

    def redo(self, rest: str) -> None:
        """redo: do again what was taken back."""
        events = self.call.redo()
        self.say(f"Done again: {present.act_words(self.call, events)}." if events else "There is nothing to do again.")

    def _step(self, rest: str, word: str) -> str:
        steps = {step.number: step.event for step in self.call.state.trail if step.live}
        number = number_in(rest.split()[0], 1_000_000) if rest else None
        if number not in steps:
            raise UsageError("Name a step of the trail by its number.", word, "See `trail`.")
        return steps[number]

    def change(self, rest: str) -> None:
        """change N: another answer in place of number N of the trail."""
        event = self._step(rest, "change")
        asked = change_turn(self.call, event)
        if asked is None:
            raise UsageError("That is no answer, or its check is no longer known.", "change", "Take it back: drop N.")
        self._agree(asked, change=event)

    def drop(self, rest: str) -> None:
        """drop N: take number N of the trail back."""
        event = self._step(rest, "drop")
        if not can_be_withdrawn(self.call, event):
            raise UsageError("This stands; it can't be taken back.", "drop", "See `trail`.")
        words = dict(present.step_texts(self.call)).get(event, "the step")
        self.talk.record(lambda call: call.withdraw(event))
        self.say(f"Taken back: {words}.")

    def move(self, rest: str) -> None:
        """move N CALL: an answer typed into the wrong call goes to the right one."""
        event = self._step(rest, "move")
        store = self.desk.store
        other = rest.partition(" ")[2].strip()
        if answer_of(self.call, event) is None or store is None or not other:
            raise UsageError("Only an answer can be moved, to another stored call.", "move", "move 7 K7Q2M")
        move_answer(self.call, self.desk.open_call(find_call_id(other, store.call_ids())), event)
        self.say("Moved; both calls note it.")

    def aloud(self, rest: str) -> None:
        """aloud: figures read aloud one by one, each read back."""
        key = self._looking.now()
        check = self.desk.engine.knowledge.questions[key] if key else None
        if check is None or not aloud.can_be_read_aloud(check):
            raise UsageError("Reading aloud is for values per row and for tape positions.", "aloud", "Type the answer.")
        read = aloud.begin(check, 1, self.call.state.machine.rows)
        while not read.done:
            said = self.ask(f"{read.prompt} (nothing = done, back = one back)")
            if not said:
                break
            try:
                read = aloud.back(read) if said == "back" else aloud.take(read, said)
            except DiagError as error:
                self.say(f"Not taken: {error}")
                continue
            self.say(aloud.read_back_last(read), "  ")
        if read.read:
            self.say(f"Read: {aloud.text(read)}")
            self.record_answer(check, aloud.text(read))

    def record_answer(self, check: Check, said: str) -> None:
        """Record figures as the answer to a check."""
        body = take_answer(self.call, check, said, self.talk.units)
        self.talk.record(lambda call: call.answer(check.id, **body, **self.talk.details))

    def from_file(self, rest: str) -> None:
        """file PATH: readings from a CSV file."""
        key = self._looking.now()
        check = self.desk.engine.knowledge.questions[key] if key else None
        if check is None or not can_come_from_file(check):
            what = "Spacings, positions and values per row can come from a file."
            raise UsageError(what, "file", "Take such a check.")
        read: list[str] = []
        form = forms_call.file_form(check, self.talk.details.get("rows"), read.append)
        if self.fill(form, **({"file": rest} if rest else {})):
            self.say(f"Read: {read[0]}")
            self.record_answer(check, read[0])

    # --- several at once --------------------------------------------------------------------------

    def homework(self, rest: str) -> None:
        """homework: up to three checks for one walk, as a message; then their answers in one form."""
        checks = homework.batch(self.call)
        if not checks:
            self.say("No check that the grower can do alone is worth the walk now.")
            return
        self.write(homework.message(self.call, checks))
        if self.ask("Type the answers now? y/n").lower().startswith("y"):
            self.fill(homework.answers_form(self.call, checks, self.talk.units, "Homework"))

    def sheet(self, rest: str) -> None:
        """sheet [FILE]: a field sheet of the checks offered, printed or saved as text."""
        text = homework.sheet(self.call, [o.check for o in self.call.offers()], WIDTH)
        self._print_or_save(text, rest)

    def _print_or_save(self, text: str, rest: str) -> None:
        if not rest:
            self.write(text)
            return
        write_new(rest, text, "file")
        self.say(f"Saved: {rest}")

    def catch_up(self, rest: str) -> None:
        """catch-up: type in what was done, in your own order, without a question after each line."""
        picked: list[str] = []
        while said := self.ask("Words of a check that was done [nothing = that was all]"):
            try:
                key = self._looking.pick_check(said)
            except DiagError as error:
                self.say(str(error))
                continue
            if key and key not in picked:
                picked.append(key)
        if picked:
            self.fill(homework.answers_form(self.call, picked, self.talk.units, "Catch up"))

    def card(self, rest: str) -> None:
        """card [FILE]: the hand-over card, and a version for a text message."""
        self._print_or_save("\n".join([homework.short_card(self.call), "", homework.card(self.call, WIDTH)]), rest)

    # --- mending ----------------------------------------------------------------------------------

    def repair(self, rest: str) -> None:
        """repair [WORDS]: record a repair."""
        from diag.writeup.mending import with_losses

        picked = self._looking.causes_of(rest) if rest else ()
        cause = self._looking.pick_cause(rest) if picked else ""
        if cause is not None:
            form = with_losses(forms_mend.repair_form(self.call, (cause,) if cause else ()), self.call)
            self._form(form, words="" if picked else rest)  # words of no cause tell what was done

    def interim(self, rest: str) -> None:
        """for-now [WORDS]: a way to go on for now."""
        form = forms_mend.interim_form(self.call, self._looking.pick_cause(rest) if rest else None)
        if form is None:
            self.say("No way to go on for now is known against the leading causes.")
        else:
            self.fill(form)

    def proof(self, rest: str) -> None:
        """proof: the verdict on a repair."""
        self.fill(forms_mend.proof_form(self.call))

    def plan(self, rest: str) -> None:
        """plan: how to prove the last repair: row, seeds, minutes, how far it has come."""
        from diag.writeup.proof_plan import plan_text, proof_plan

        self.write(plan_text(proof_plan(self.call), WIDTH))

    def decide(self, rest: str) -> None:
        """decide: keep planting, go slower or stop."""
        from diag.writeup.mending import decide_form

        self.fill(decide_form(self.call, self.write))

    def follow_up(self, rest: str) -> None:
        """follow-up: what came of the call-back."""
        self.fill(forms_mend.follow_up_form(self.call))

    def close(self, rest: str) -> None:
        """close: end the call."""
        from diag.writeup.mending import with_losses

        self.fill(with_losses(forms_mend.close_form(self.call), self.call))

    def healthy(self, rest: str) -> None:
        """healthy: keep the readings with the machine as what is healthy there."""
        self.talk.record(keep_healthy)
        self.say("Kept with the machine: later readings are compared with these first.")

    def write_up(self, rest: str) -> None:
        """write: the write-up."""
        from diag.writeup.page.render import render_text
        from diag.writeup.saving import ordered

        order = ordered(self.call)
        self.write(render_text(order.story, WIDTH, order.audience, order.ready))

    def copy(self, rest: str) -> None:
        """copy: the short form of the write-up, to paste into a form's field; printed where nothing can copy."""
        from diag.writeup.saving import clipboard, ordered, short_text

        text, copies = short_text(ordered(self.call)), clipboard()
        if copies is None:
            self.write(text)
            return
        copies(text)
        self.say("Copied: the short form.")

    def missing(self, rest: str) -> None:
        """missing: what the write-up still lacks, and the question that mends it."""
        from diag.writeup.completeness import missing, missing_text

        self.write(missing_text(missing(self.call), WIDTH))

    def give(self, rest: str) -> None:
        """give DETAIL TEXT: a detail for the write-up."""
        from diag.writeup.story.details import give

        name, _, text = rest.partition(" ")
        give(self.call, name, text)

    def stock(self, rest: str) -> None:
        """stock: where the parts of the load list are."""
        from diag.writeup.mending import stock_form

        form = stock_form(self.call)
        if form is None:
            self.say("No part is on the load list.")
        else:
            self.fill(form)

    def load(self, rest: str) -> None:
        """load: what to load on the truck."""
        from diag.writeup.load_list import load_list
        from diag.writeup.load_page import load_text

        self.write(load_text(load_list(self.call)))
