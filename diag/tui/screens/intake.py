"""Taking a call: what they say, with live matches; rows; what changed; the rest while they walk."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, OptionList, TextArea
from textual.worker import get_current_worker

from diag.ask.intake import Marks, fact_text, read_words
from diag.ask.profiles import Draft, machine_body, note_fitted
from diag.ask.taking import Taking, faults, take
from diag.errors import DiagError
from diag.figures import MOST_ROWS, number_in
from diag.hear.complaint import Match
from diag.record.rows import parse_rows
from diag.tui.act import Act, bindings
from diag.tui.screens.machine import MachineScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import MenuScreen
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.form import Row
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import PickList, Tick, Ticks
from diag.tui.widgets.rowstrip import RowStrip
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge

KINDS = {"phone": "New call by phone", "site": "New call on site", "message": "New call from a message"}
MATCH_AFTER = 0.15
"""Seconds of quiet before the words are matched."""
MOST_MATCHES = 6
FILLED = ("rows", "machine_rows", "crop", "target", "speed", "since", "rhythm", "seed_lot_code")
"""Fields that a fact told in the words can fill."""


class IntakeScreen(Page[None]):
    """One page; nothing but a complaint is needed to go on."""

    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("go", "To the desk", "Record what is here and ask the first check.", "ctrl+s", shown=True, first=True),
        Act("machine", "Machine", "Pick, copy, make or change a machine profile.", "f5", shown=True),
        Act("symptoms", "All symptoms", "The whole list of symptoms, by search.", "f3"),
        Act("leave", "Leave", "Back to the calls without recording anything.", "escape"),
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, kind: str) -> None:
        super().__init__()
        self.kind = kind
        self.channel = "site" if kind == "site" else "phone"
        self._match: Match | None = None
        self._asked = 0
        self._warned = False
        self._more: tuple[str, ...] = ()
        """Symptoms taken from the list."""
        self._draft = Draft()
        self._symptom_marks, self._fact_marks = Marks(), Marks()

    def body(self) -> Iterable[Widget]:
        with VerticalScroll(id="page", can_focus=False):
            yield Ticks(id="first")
            if self.kind == "message":
                yield Row("spoke", "Who spoke", LineField(id="spoke", placeholder="name, and for whom"))
                yield Row("call_back", "Call back", LineField(id="call_back", placeholder="e.g. 10:40, tomorrow 7:00"))
            yield Row("words", "Their words", LinesField(id="words", placeholder="What do they say?"))
            yield Row("matches", "Sounds like", Ticks(id="matches"))
            yield Row("facts", "Told already", Ticks(id="facts"))
            yield Row("rows", "Rows in trouble", LineField(id="rows", placeholder="e.g. 7 or 3, 7-9 or all"))
            yield RowStrip(id="strip")
            yield Row("changes", "Changed before", Ticks(id="changes"))
            yield Row("customer", "Customer", LineField(id="customer"))
            yield Row("phone", "Phone", LineField(id="phone"))
            yield Row("place", "Farm or place", LineField(id="place"))
            yield Row("machine", "Machine", LineField(id="machine", placeholder="nickname; F5 picks a profile"))
            yield Row("machine_rows", "Rows it has", LineField(id="machine_rows"))
            yield Row("crop", "Crop", LineField(id="crop"))
            yield Row("seed_lot_code", "Seed lot", LineField(id="seed_lot_code"))
            yield Row("target", "Target", LineField(id="target", placeholder="e.g. 32000/ac or 6.5 in"))
            yield Row("speed", "Speed", LineField(id="speed", placeholder="e.g. 5 mph"))
            yield Row("since", "Since when", LineField(id="since"))
            yield Row("rhythm", "Rhythm", LineField(id="rhythm", placeholder="e.g. every 40th seed, only uphill"))
            yield Row("flags", "Take care", Ticks(id="flags"))
            yield PickList(id="done", numbered=False)

    def on_mount(self) -> None:
        self.TITLE_TEXT = KINDS[self.kind]
        super().on_mount()
        self.query_one("#done", PickList).fill([("go", "Go to the desk (Ctrl+S)")])
        self.query_one("#strip", RowStrip).show(0, None)
        self._row("matches").display = self._row("facts").display = False
        self.query_one("#words").focus()
        self.show_call()

    def show_call(self) -> None:
        """Fill the lists as soon as the knowledge is read."""
        knowledge = self._knowledge
        if knowledge is None:
            self.tell("Reading the knowledge; type on, matches come in a second.")
            return
        self.tell("")
        first, flags, changes = (self.query_one(f"#{n}", Ticks) for n in ("first", "flags", "changes"))
        if not flags.ticks and knowledge.flags:
            named = list(knowledge.flags.values())
            self.query_one("#first").display = self.channel == "phone"
            first.show([Tick(named[0].name, f"First: {named[0].asks or named[0].label}")])
            flags.show([Tick(f.name, f.label) for f in named[1:]])
        if not changes.ticks:
            changes.show([Tick(c.name, c.label) for c in knowledge.changes.values()])
        self._try_out()

    @property
    def _knowledge(self) -> Knowledge | None:
        return self.diag.engine.knowledge if self.diag.engine else None

    def _row(self, name: str) -> Row:
        return next(r for r in self.query(Row) if r.key == name)

    # --- matching ---------------------------------------------------------------------------------

    @on(TextArea.Changed, "#words")
    def _typed(self) -> None:
        self._asked += 1
        number = self._asked
        self.set_timer(MATCH_AFTER, lambda: self._try_out() if number == self._asked else None)

    @on(LinesField.Submitted, "#words")
    def _words_done(self) -> None:
        self.focus_next()

    def _try_out(self) -> None:
        if self._knowledge is not None:
            self._find(self._knowledge, self.query_one("#words", LinesField).text, self._asked)

    @work(thread=True, exclusive=True, group="match", description="match", exit_on_error=False)
    def _find(self, knowledge: Knowledge, words: str, number: int) -> None:
        """Match the words; an older result is dropped."""
        with guarded(self, "Matching the words"):
            found = read_words(knowledge, words)
            if not get_current_worker().is_cancelled and number == self._asked:
                self.app.call_from_thread(self._show_match, knowledge, words, found)

    def _show_match(self, knowledge: Knowledge, words: str, found: Match) -> None:
        self._match = found
        matches, facts = self.query_one("#matches", Ticks), self.query_one("#facts", Ticks)
        kept = self._symptom_marks.marked((*matches.ticked(), *self._more), found.ticked)
        told = self._fact_marks.marked(facts.ticked(), (f.said + f.kind for f in found.facts if f.ticked))
        self._more = ()
        ticks = []
        for p in found.proposals[:0 if found.none else MOST_MATCHES]:
            thought = " (thought, not seen)" if p.believed else ""
            why = p.reason
            ticks.append(Tick(p.symptom, f"{knowledge.symptoms[p.symptom].label}{thought}: {why}"))
        shown = {t.key for t in ticks}
        ticks += [Tick(s, knowledge.symptoms[s].label) for s in sorted(kept - shown)]
        matches.show([Tick(t.key, t.label, "x" if t.key in kept else "") for t in ticks])
        names = [fact_text(knowledge, f) for f in found.facts]
        facts.show([Tick(f.said + f.kind, n, "x" if f.said + f.kind in told else "")
                    for f, n in zip(found.facts, names, strict=True)])
        self._row("matches").display = bool(ticks)
        self._row("facts").display = bool(facts.ticks)
        row = self._row("words")
        if found.danger:
            row.wrong(f"FIRST: {found.danger[0].value}. Put that right before anything else.")
        elif found.none and words.strip():
            row.wrong(f"That sounds like {found.none}. F3 shows the whole list.")
        else:
            row.wrong("")

    @on(Ticks.Changed, "#facts")
    def _facts_ticked(self) -> None:
        """Show ticked facts in the fields they belong to, where nothing was typed."""
        ticked = set(self.query_one("#facts", Ticks).ticked())
        for fact in self._match.facts if self._match else ():
            if fact.said + fact.kind in ticked:
                for offer in fact.offers:
                    name = "machine_rows" if (offer.slot, offer.name) == ("machine", "rows") else offer.name
                    if offer.slot in ("situation", "machine") and name in FILLED:
                        field = self.query_one(f"#{name}", LineField)
                        field.value = field.value or offer.value

    # --- rows -------------------------------------------------------------------------------------

    def _count(self) -> int | None:
        text = self.query_one("#machine_rows", LineField).value.strip()
        return number_in(text, MOST_ROWS)

    @on(Input.Changed, "#rows")
    @on(Input.Changed, "#machine_rows")
    def _rows_typed(self) -> None:
        strip, count = self.query_one("#strip", RowStrip), self._count()
        try:
            text = self.query_one("#rows", LineField).value
            rows = parse_rows(text, count) if text.strip() else None
            self._row("rows").wrong("")
        except DiagError as error:
            rows = None
            self._row("rows").wrong(f"{error.what} {error.remedy}")
        if not strip.has_focus:
            strip.show(count or 0, rows)

    @on(RowStrip.Changed)
    def _rows_marked(self, event: RowStrip.Changed) -> None:
        self.query_one("#rows", LineField).value = event.text

    # --- machine, symptoms ------------------------------------------------------------------------

    def action_machine(self) -> None:
        self.app.push_screen(MachineScreen(), self._use)

    def _use(self, draft: Draft | None) -> None:
        if draft is not None:
            self._draft = draft
            self.query_one("#machine", LineField).value = draft.personal.get("label", "")
            self.query_one("#machine_rows", LineField).value = str(draft.body.get("rows", "") or "")
            self._row("machine").wrong("")
            self.query_one("#crop").focus()

    def action_symptoms(self) -> None:
        knowledge = self._knowledge
        if knowledge is None:
            self.tell("The knowledge is still being read: once more in a second.")
            return
        rows = [(s.id, s.label) for s in knowledge.symptoms.values()]
        self.app.push_screen(MenuScreen(None, "All symptoms", rows), self._add_symptom)

    def _add_symptom(self, picked: str | None) -> None:
        if picked:
            self._more = (picked,)
            self._try_out()
            self.query_one("#matches").focus()

    def action_leave(self) -> None:
        self.dismiss(None)

    # --- going on ---------------------------------------------------------------------------------

    @on(Input.Submitted)
    def _next(self) -> None:
        self.focus_next()

    @on(OptionList.OptionSelected)
    def _picked(self, event: OptionList.OptionSelected) -> None:
        if event.option_list.id == "done":
            self.action_go()
        else:
            self.focus_next()

    def taking(self) -> Taking:
        """Return what is typed and ticked."""
        match = self._match
        ticked = set(self.query_one("#facts", Ticks).ticked())
        names = ("rows", "crop", "seed_lot_code", "target", "speed", "since", "rhythm", "customer", "phone", "place")
        count = self._count()
        proposed = {p.symptom for p in match.proposals} if match else set()
        accepted = self.query_one("#matches", Ticks).ticked()
        label = self.query_one("#machine", LineField).value.strip()
        message = self.kind == "message"
        typed = {n: self.query_one(f"#{n}", LineField).value for n in (*names, *(("call_back",) if message else ()))}
        machine = {**machine_body(self._draft), **({"rows": count} if count else {})}
        return Taking(
            channel=self.channel,
            words=self.query_one("#words", LinesField).text,
            accepted=tuple((s, "matched" if s in proposed else "chosen") for s in accepted),
            denied=match.said_not if match else (),
            facts=tuple(f for f in (match.facts if match else ()) if f.said + f.kind in ticked),
            typed=typed,
            changes=self.query_one("#changes", Ticks).ticked(),
            flags=self.query_one("#first", Ticks).ticked() + self.query_one("#flags", Ticks).ticked(),
            machine=machine,
            whose={**self._draft.personal, **({"label": label} if label else {})},
            relayed=(self.query_one("#spoke", LineField).value.strip() or "not said") if message else "",
        )

    def action_go(self) -> None:
        """Record everything and go to the desk."""
        desk = self.diag.desk
        if desk is None:
            self.tell(self.diag.trouble or "The knowledge is still being read: once more in a second.", "bad")
            return
        taking = self.taking()
        wrong = faults(desk.engine.knowledge, taking, self.diag.now())
        for row in self.query(Row):
            row.wrong(wrong.get(row.key, ""))
        if wrong:
            name = next(iter(wrong))
            self.query_one(f"#{name}").focus()
            self.tell(f"{name.replace('_', ' ')}: {wrong[name]}", "bad")
            return
        if not taking.accepted and self.query_one("#matches", Ticks).ticks and not self._warned:
            self._warned = True
            self.query_one("#matches").focus()
            self.tell("Nothing is ticked of what it sounds like: tick by number, or Ctrl+S once more to go on without.")
            return
        try:
            call = take(desk, taking)
            note_fitted(call, self._draft)
        except DiagError as error:
            self.tell(str(error), "bad")
            return
        self.dismiss(None)
        self.diag.start_work(call)
