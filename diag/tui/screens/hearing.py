"""A call that is being taken: what they say, what is made of it, the card, and its first question."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from textual import on, work
from textual.worker import get_current_worker

from diag.ask.form import Form
from diag.ask.profiles import Draft, machine_body
from diag.ask.taking import Taking, faults
from diag.hear.complaint import MOST_REASONED
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.machine import MachineScreen
from diag.tui.screens.page import Page
from diag.tui.widgets.heard import Chip, HeardPanel
from diag.tui.widgets.lines import WordsField
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.hear.complaint import Match
    from diag.knowledge.base import Knowledge

KINDS = {"phone": "by phone", "site": "on site", "message": "from a message (voice-mail, text)"}
MATCH_AFTER = 0.15
"""Seconds of quiet before the words are matched."""
READING = "The knowledge is still being read; what it sounds like stands here in a moment."
FRESH = "new"
"""The name under which the half-taken call keeps its drafts."""


class HearingScreen(Page[None]):
    """What they say, and what was heard; the screen that holds it draws the rest."""

    def __init__(self) -> None:
        super().__init__()
        self.kind = ""
        self._match: Match | None = None
        self._asked = 0
        self.parked = False
        """True when the half-taken call was left for the list."""
        self._warned = False
        self._more: tuple[str, ...] = ()
        """Symptoms taken from the whole list."""
        self.card: dict[str, str] = {}
        """What the card holds."""
        self.profile = Draft()
        self._said: dict[str, bool] = {}
        """What a person took or dropped, by chip."""

    @property
    def words(self) -> WordsField:
        """What they say."""
        return self.query_one("#words", WordsField)

    @property
    def heard(self) -> HeardPanel:
        """What was made of it."""
        return self.query_one("#heard", HeardPanel)

    @property
    def hearing(self) -> bool:
        """True while a call is being taken."""
        return bool(self.words.text.strip()) and not self.parked

    def face(self) -> None:
        """Show what stands now: what was heard, or what else the screen shows."""

    def heard_more(self) -> None:
        """Have the words matched once typing pauses."""
        self._asked += 1
        number = self._asked
        self.later(MATCH_AFTER, lambda: self.try_out() if number == self._asked else None)

    def first_question(self) -> None:
        """Put the question that is asked before all others beside the words."""
        knowledge = self.knowledge
        if knowledge is not None and knowledge.flags and self.heard.driving is None:
            flag = next(iter(knowledge.flags.values()))
            self.heard.driving = Chip(flag.name, flag.label, False, flag.asks or flag.label)

    def new_call(self) -> str:
        """Return what is being taken: by what way, whose, which machine."""
        kind = self.kind or self.diag.chosen.get("channel", "phone")
        machine = self.profile.personal.get("label", "") or self.card.get("label", "")
        return " · ".join(p for p in (f"New call {KINDS[kind]}", self.card.get("customer", ""), machine) if p)

    # --- hearing ----------------------------------------------------------------------------------

    @property
    def knowledge(self) -> Knowledge | None:
        """The knowledge, as soon as it is read."""
        return self.diag.engine.knowledge if self.diag.engine else None

    def try_out(self) -> None:
        """Match the words as they stand."""
        knowledge = self.knowledge
        if knowledge is not None and self.words.text.strip():
            self._find(knowledge, self.words.text, self._asked)

    @work(thread=True, exclusive=True, group="match", description="match", exit_on_error=False)
    def _find(self, knowledge: Knowledge, words: str, number: int) -> None:
        """Match the words; an older result is dropped."""
        from diag.ask.intake import read_words

        with guarded(self, "Matching the words"):
            found = read_words(knowledge, words)
            if not get_current_worker().is_cancelled and number == self._asked:
                self.from_thread(self._show_match, knowledge, found)

    def _show_match(self, knowledge: Knowledge, found: Match) -> None:
        from diag.ask.intake import fact_words

        self._match = found
        candidates = [
            Chip(p.symptom, knowledge.symptoms[p.symptom].label, self._said.get(p.symptom, p.ticked),
                 ("thought, not seen: " if p.believed else "") + p.reason, said=p.symptom in self._said)
            for p in found.proposals[:MOST_REASONED] if p.ticked or not found.none
        ]
        candidates += [Chip(s, knowledge.symptoms[s].label, self._said.get(s, True), "taken from the list", said=True)
                       for s in self._more if s not in {c.key for c in candidates}]
        candidates.sort(key=lambda c: c.key not in self._more)
        facts = [Chip(f.said + f.kind, fact_words(knowledge, f), self._said.get(f.said + f.kind, f.ticked))
                 for f in found.facts]
        danger = f"FIRST: {found.danger[0].value}. Put that right before anything else." if found.danger else ""
        said = danger or f"That sounds like {found.none}. F3 shows the whole list; or go on without."
        self.heard.show(candidates, facts, said if danger or (found.none and not self._more) else "")

    @on(HeardPanel.Changed)
    def _chips(self, event: HeardPanel.Changed) -> None:
        self.tell(event.told)
        for chip in (*self.heard.candidates, *self.heard.facts):
            if chip.said or chip.key in self._said or chip.taken != self._before(chip.key):
                self._said[chip.key] = chip.taken

    def _before(self, key: str) -> bool:
        match = self._match
        if match is None:
            return False
        return key in match.ticked or any(f.said + f.kind == key and f.ticked for f in match.facts)

    @on(WordsField.Submitted, "#words")
    def _words_done(self) -> None:
        if self.hearing:
            self.heard.focus()

    @on(HeardPanel.Words)
    def _to_words(self) -> None:
        self.words.focus()

    # --- the card ---------------------------------------------------------------------------------

    def action_card(self) -> None:
        """What is known before the first question; all of it may stay empty."""
        from diag.ask.taking import card_form

        def keep(values: Mapping[str, str]) -> None:
            self.card = dict(values)
            for name, text in values.items():
                self.diag.drafts.save(FRESH, f"card:{name}", text)

        kind = self.kind or self.diag.chosen.get("channel", "phone")
        form: Form = card_form(self.card, keep, message=kind == "message")
        self.app.push_screen(FormScreen(None, form), lambda _: self.face())

    def action_machine(self) -> None:
        self.app.push_screen(MachineScreen(), self._use)

    def _use(self, draft: Draft | None) -> None:
        if draft is not None:
            self.profile = draft
            self.face()

    def action_channel(self) -> None:
        """The next of: by phone, on site, from a message."""
        names = list(KINDS)
        now = self.kind or self.diag.chosen.get("channel", "phone")
        self.kind = names[(names.index(now) + 1) % len(names)]
        self.diag.drafts.save(FRESH, "kind", self.kind)
        self.face()

    # --- going on ---------------------------------------------------------------------------------

    def taking(self) -> Taking:
        """Return what was heard and not dropped."""
        match, kind = self._match, self.kind or self.diag.chosen.get("channel", "phone")
        proposed = {p.symptom for p in match.proposals} if match else set()
        taken = {c.key for c in self.heard.facts if c.taken}
        driving = self.heard.driving
        rows = self.card.get("machine_rows", "")
        label = self.card.get("label", "")
        return Taking(
            channel="site" if kind == "site" else "phone",
            words=self.words.text,
            accepted=tuple((c.key, "matched" if c.key in proposed else "chosen")
                           for c in self.heard.candidates if c.taken),
            denied=match.said_not if match else (),
            facts=tuple(f for f in (match.facts if match else ()) if f.said + f.kind in taken),
            typed={k: v for k, v in self.card.items() if k not in ("machine_rows", "label")},
            flags=(driving.key,) if driving is not None and driving.taken else (),
            machine={**machine_body(self.profile), **({"rows": int(rows)} if rows.isdigit() else {})},
            whose={**self.profile.personal, **({"label": label} if label else {})},
            relayed=(self.card.get("spoke", "") or "not said") if kind == "message" else "",
        )

    @on(HeardPanel.Go)
    def action_go(self) -> None:
        self.after_typing(self._go)

    def _go(self) -> None:
        """Open the call and go to its first question."""
        knowledge = self.knowledge
        if not self.hearing:
            self.tell("Type what they say first.")
            return
        if knowledge is None:
            self.tell(self.diag.trouble or READING, "bad" if self.diag.trouble else "")
            return
        taking = self.taking()
        wrong = faults(knowledge, taking, self.diag.now())
        if wrong:
            name, text = next(iter(wrong.items()))
            self.tell(f"{name.replace('_', ' ')}: {text} (F5 opens the card)", "bad")
            return
        if not taking.accepted and self.heard.candidates and not self._warned:
            self._warned = True
            self.heard.focus()
            self.tell("Nothing is taken of what it sounds like: a digit takes it, Enter once more goes on without.")
            return
        told = self.diag.take_call(taking, self.profile)
        if told:
            self.tell(told, "bad")
            return
        self._clear()

    def _clear(self) -> None:
        older = self.diag.drafts.load(FRESH).get("older", "")
        self.diag.drafts.drop(FRESH)
        self.diag.drafts.save(FRESH, "older", older)
        self.words.text = ""
        self.card, self.profile, self._said, self._more = {}, Draft(), {}, ()
        self._match, self._warned, self.kind = None, False, ""
        self.heard.driving = None
        self.heard.show((), ())
        self.first_question()

    def add_symptom(self, picked: str | None) -> None:
        """Take a symptom of the whole list, "" or None for none."""
        if picked:
            self._more = (*self._more, picked)
            self._said[picked] = True
            self.try_out()
            self.heard.focus()

