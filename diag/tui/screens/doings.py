"""What can be done at the desk beside answering: forms, screens above the desk, undo. The desk holds one of these."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from diag.ask import forms_call, forms_mend
from diag.ask.form import Form
from diag.ask.fromfile import can_come_from_file
from diag.ask.homework import card, short_card
from diag.ask.profiles import Draft, of_call, use_profile
from diag.ask.turn import worth_doing
from diag.call.desk import CallDesk
from diag.call.healthy import keep_healthy
from diag.errors import DiagError
from diag.knowledge.model import Check
from diag.say import present
from diag.say.explaining import entry_text, told
from diag.tui.act import Act
from diag.tui.safe import say
from diag.tui.screens.aloud import AloudScreen, can_be_read_aloud
from diag.tui.screens.asking import PAGES, AskingScreen
from diag.tui.screens.cautions import CautionsScreen
from diag.tui.screens.change import ToldScreen, TrailScreen
from diag.tui.screens.explain import ExplainScreen
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.machine import MachineScreen
from diag.tui.screens.search import Found, SearchScreen
from diag.tui.screens.text import MenuScreen, TextScreen
from diag.tui.screens.walk import CatchUpScreen, WalkScreen
from diag.tui.screens.writeup import WriteUpScreen

FORMS: Mapping[str, Callable[[CallDesk], Form | None]] = {
    "note": forms_call.note_form, "waiting": forms_call.waiting_form, "situation": forms_call.situation_form,
    "tools": forms_call.tools_form, "done_before": forms_call.done_before_form, "change": forms_call.change_form,
    "swap": forms_call.swap_form, "photo": forms_call.photo_form, "repair": forms_mend.repair_form,
    "interim": forms_mend.interim_form, "proof": forms_mend.proof_form, "close": forms_mend.close_form,
    "follow_up": forms_mend.follow_up_form, "arrival": forms_call.arrival_form,
}
OF_CAUSE: Mapping[str, Callable[[CallDesk, str], Form | None]] = {
    "repair": lambda call, cause: forms_mend.repair_form(call, (cause,)), "interim": forms_mend.interim_form,
    "change": forms_call.change_form,
}
"""Forms about one cause, where it was chosen before."""
NO_FORM = {"interim": "No way to go on for now is known against the leading causes."}
BUSY = "The call is being judged; then this is done."
FAILED = "Judging failed. Ctrl+P, Judge again."
AT_ONCE = frozenset({"undo", "redo", "retry", "search", "trail", "cautions"})
"""Acts that need no judgement; the others wait for it."""

ACTS: tuple[Act, ...] = (
    Act("do('search')", "Find", "Take any check, tell what was not asked, look a cause up.", "f3"),
    Act("do('explain')", "Why", "Why this check, its steps, each belief, what an answer would do.", "f4"),
    Act("do('situation')", "Card", "Machine, crop, rows, lot, target, speed: what this call holds.", "f5"),
    Act("do('trail')", "Change", "Change or take back anything recorded.", "f6"),
    Act("do('cautions')", "Cautions", "All cautions in full; read to the end, they can be noted as read to him.", "f7"),
    Act("do('channel')", "Phone, site ..", "Go on on site, or by phone again.", "f8"),
    Act("do('mend')", "Mend, prove, close", "A repair, a way to go on, the proof; close the call.", "f9"),
    Act("do('writeup')", "Write-up", "The write-up as it stands, and what is missing.", "f10"),
    Act("do('undo')", "Undo", "Take back the last act, whole.", "ctrl+z", first=True),
    Act("do('redo')", "Redo", "Do again what was taken back.", "ctrl+y", first=True),
    Act("other(0)", "Second offer", "Take the second offer instead.", "ctrl+t"),
    Act("other(1)", "Third offer", "Take the third offer instead.", "ctrl+g"),
    Act("do('form')", "All of one look", "Checks with the same thing open as one question, or one by one.", "ctrl+o"),
    Act("do('details')", "Rows, who, when", "For the next answer: which rows, who saw it, when it was.", "ctrl+r"),
    Act("do('aloud')", "Read aloud", "Take figures read aloud one by one, each read back.", "ctrl+l"),
    Act("do('note')", "Note", "Write a note, for the house.", "ctrl+n"),
    *PAGES,
    Act("do('from_file')", "From a file", "Spacings, positions or a value per row from a CSV file."),
    Act("do('homework')", "Homework", "Up to three checks for one walk, as a short message."),
    Act("do('waiting')", "Wait", "Park the call: what is waited for, until when."),
    Act("do('machine')", "Machine", "The machine of this call: pick, copy, make or change a profile."),
    Act("do('tools')", "Not at hand", "Tools that are missing here: their checks are left out."),
    Act("do('done_before')", "Done before the call", "What was done before: order, values, effect, old part."),
    Act("do('change')", "A setting was changed", "A setting or part changed for a test or for good."),
    Act("do('swap')", "Swapped between rows", "A piece that two rows exchanged."),
    Act("do('photo')", "Photo", "Note a photo: its file and what it shows."),
    Act("do('sheet')", "Field sheet", "One page with checks, cautions and blanks, to take along."),
    Act("do('catch_up')", "Catch up", "What was done, typed in your own order, without a question after each line."),
    Act("do('hand_over')", "Hand over", "The one-page card of this call, and a version for a text message."),
    Act("do('follow_up')", "Follow-up", "What came of the call-back after the repair."),
    Act("do('healthy')", "Keep as healthy", "Keep the readings with the machine as what is healthy there."),
    Act("do('retry')", "Judge again", "Have the call judged again, after a failure."),
)
MOMENT: Mapping[str, tuple[str, ...]] = {
    "check": ("do('search')", "do('explain')", "do('mend')", "calls", "help"),
    "say": ("do('cautions')", "do('search')", "calls", "help"),
    "danger": ("do('cautions')", "do('search')", "calls", "help"),
    "act": ("do('explain')", "do('mend')", "do('writeup')", "calls", "help"),
    "proved": ("do('writeup')", "do('mend')", "calls", "help"),
    "closed": ("do('writeup')", "calls", "help"),
}
"""The acts that stand in the bottom line, by what is asked."""


class Doings:
    """Carries out the acts of one desk by their names."""

    def __init__(self, desk: AskingScreen) -> None:
        self.desk = desk
        self.work = desk.work
        self._next: tuple[str, str | None] | None = None
        """What was asked for while the call was being judged."""
        self._special: Mapping[str, Callable[[], None]] = {
            name: getattr(self, f"_{name}") for name in (
                "search", "explain", "trail", "cautions", "channel", "mend", "writeup", "undo", "redo", "form",
                "details", "aloud", "from_file", "homework", "sheet", "catch_up", "hand_over", "healthy", "retry",
                "machine", "plan", "decide", "stock", "reopen", "ask_on", "measure", "load",
            )
        }

    def do(self, name: str, cause: str | None = None) -> None:
        """Carry out an act, as soon as the call is judged; `cause`: the one that was chosen with it."""
        if not self.work.ready and name not in AT_ONCE:
            self._next = None if self.work.failed else (name, cause)
            self.desk.tell(FAILED if self.work.failed else BUSY)
            return
        special = self._special.get(name)
        if special is not None:
            special()
        else:
            self._open(name, cause)

    def go_on(self) -> None:
        """Carry out what was asked for while the call was being judged."""
        waiting, self._next = self._next, None
        if waiting is not None and self.desk.is_current:
            self.desk.tell("")
            self.do(*waiting)

    # --- screens and forms above the desk -----------------------------------------------------------

    def _tell(self, wrong: str, done: str = "") -> None:
        self.desk.tell(wrong or done, "bad" if wrong else "")

    def _push(self, screen: Any, then: Callable[[Any], None] | None = None) -> None:
        self.desk.app.push_screen(screen, then)

    def fill(self, form: Form | None, nothing: str = "", then: Callable[[Any], None] | None = None) -> None:
        """Open a form, or say why there is none; `then` takes whether it was recorded."""
        if form is None:
            self.desk.tell(nothing)
        else:
            self._push(FormScreen(self.work, form), then)

    def _try_form(
        self, make: Callable[[CallDesk], Form | None], nothing: str = "", then: Callable[[Any], None] | None = None
    ) -> None:
        try:
            self.fill(make(self.work.call), nothing, then)
        except DiagError as error:
            self.desk.tell(str(error))

    def _open(self, name: str, cause: str | None = None) -> None:
        """Open a form by its name; a repair and a close say what can only be had now."""

        def make(call: CallDesk) -> Form | None:
            return OF_CAUSE[name](call, cause) if cause and name in OF_CAUSE else FORMS[name](call)

        if name in ("repair", "close"):
            from diag.writeup.mending import with_losses

            self._try_form(lambda call: with_losses(form, call) if (form := make(call)) else None)
        else:
            due = worth_doing(self.work.call) if name == "change" and cause else ""
            self._try_form(make, NO_FORM.get(name, ""), lambda recorded: self._tried(due) if recorded and due else None)

    def _tried(self, due: str) -> None:
        """What was worth trying was tried: what came of it is asked next."""
        self.work.passed = due

    def _machine(self) -> None:
        self._push(MachineScreen(self.work, of_call(self.work.call)), self._use)

    def _use(self, draft: Draft | None) -> None:
        if draft is not None:
            self._tell(self.work.do(lambda call: use_profile(call, draft)))

    def _homework(self) -> None:
        self._walk(WalkScreen.HOMEWORK)

    def _sheet(self) -> None:
        self._walk(WalkScreen.SHEET)

    def _walk(self, kind: str) -> None:
        self._push(WalkScreen(self.work, kind))

    def _catch_up(self) -> None:
        self._push(CatchUpScreen(self.work))

    def _hand_over(self) -> None:
        text = "\n".join(["As a text message:", short_card(self.work.call), "", card(self.work.call)])
        self._push(TextScreen(self.work, "Hand over", text))

    def _cautions(self) -> None:
        turn = self.desk.turn
        if turn is None or not turn.cautions:
            self.desk.tell("No caution belongs to this question.")
            return
        self._push(CautionsScreen(self.work, turn.cautions, turn.check.id if turn.check else None))

    # --- answers by other ways ------------------------------------------------------------------------

    def _asked(self) -> Check | None:
        turn = self.desk.turn
        return turn.check if turn is not None and turn.kind == "check" else None

    def _aloud(self) -> None:
        check = self._asked()
        if check is None or not can_be_read_aloud(check):
            self.desk.tell("Reading aloud is for values per row and for tape positions.")
            return
        self._push(AloudScreen(self.work, check), self._read)

    def _from_file(self) -> None:
        check = self._asked()
        if check is None or not can_come_from_file(check):
            self.desk.tell("Spacings, positions and values per row can come from a file.")
            return
        self.fill(forms_call.file_form(check, self.work.details.get("rows"), self._read))

    def _read(self, text: str | None) -> None:
        if text:
            self.work.drafts[self.desk.draft_key] = text
            self.desk.line.value = text

    def _details(self) -> None:
        self.fill(forms_call.details_form(self.work.call, self._detail))

    def _detail(self, told_beside: dict[str, Any]) -> None:
        self.work.details = told_beside

    def _form(self) -> None:
        turn = self.desk.turn
        if turn is None or not (turn.mates or turn.form):
            self.desk.tell("This check stands for itself.")
            return
        self.work.form = turn.kind != "form"
        self.desk.show_call()

    # --- looking --------------------------------------------------------------------------------------

    def _explain(self) -> None:
        turn = self.desk.turn
        self._push(ExplainScreen(self.work, turn.key if turn else None))

    def _trail(self) -> None:
        self._push(TrailScreen(self.work))

    def _search(self) -> None:
        self._push(SearchScreen(self.work), self.found)

    def found(self, found: Found | None) -> None:
        """Do with what was found what it is for: take the check, tell the result, add the symptom, show the cause."""
        if found is None:
            return
        kind, key, outcome = found
        if kind == "take":
            self.take(key)
        elif kind == "tell":
            self._push(ToldScreen(self.work, key, outcome))
        elif kind == "symptom":
            self._tell(self.work.do(lambda call: call.set_complaint("", [(key, "chosen")])))
        elif self.work.ready:
            text = "\n\n".join([told(self.work.call, f"cause:{key}"), entry_text(self.work.call, "causes", key)])
            self._push(TextScreen(self.work, "Cause", text))

    def _writeup(self) -> None:
        self._push(WriteUpScreen(self.work), lambda check: self.take(check) if check else None)

    def _load(self) -> None:
        self._push(WriteUpScreen(self.work, load=True))

    # --- going on ---------------------------------------------------------------------------------------

    def take(self, check: str) -> None:
        """Ask this check now, if it fits the machine."""
        if self.work.ready and not present.applies(self.work.call, check):
            asks = self.work.call.engine.knowledge.questions[check].asks
            self.desk.tell(f"{asks}: that does not apply to this machine. F5 shows what is known of it.")
            return
        self.work.taken = check
        self.desk.show_call()

    def other(self, place: int) -> None:
        """Take another of the offers."""
        turn = self.desk.turn
        if turn is not None and len(turn.others) > place:
            self.take(turn.others[place])
        else:
            self.desk.tell("There is no such offer now.")

    def _ask_on(self) -> None:
        self.work.passed = worth_doing(self.work.call)
        offers = self.work.call.offers()
        if offers:
            self.take(offers[0].check)
        else:
            self.desk.show_call()

    def _measure(self) -> None:
        self._ask_on()

    def _channel(self) -> None:
        if self.work.call.state.channel == "phone":
            self._try_form(forms_call.arrival_form)
        else:
            self._push(MenuScreen(self.work, "Go on by phone", [("phone", "yes, from now on by phone")]), self._phone)

    def _phone(self, picked: str | None) -> None:
        if picked:
            self._tell(self.work.do(lambda call: call.switch_channel("phone")))

    def _mend(self) -> None:
        from diag.writeup.mending import doable

        told = {d.name: d for d in doable(self.work.call)}
        rows = [(d.name, say(d.words, (f"   not now: {d.why_not}", "$quiet")) if d.why_not else d.words)
                for d in told.values()]  # each keeps its number, whatever can be done now

        def then(picked: str | None) -> None:
            if picked and told[picked].why_not:
                self.desk.tell(f"Not now: {told[picked].why_not}.")
            elif picked:
                self.do(picked)

        self._push(MenuScreen(self.work, "Mend, prove, close", rows), then)

    def _reopen(self) -> None:
        self._tell(self.work.do(lambda call: call.record("reopened", {})))

    def _plan(self) -> None:
        from diag.writeup.proof_plan import plan_text, proof_plan

        try:
            self._push(TextScreen(self.work, "Proof", plan_text(proof_plan(self.work.call))))
        except DiagError as error:
            self.desk.tell(str(error))

    def _decide(self) -> None:
        from diag.writeup.mending import decide_form

        def show(text: str) -> None:
            self.desk.app.call_later(self._push, TextScreen(self.work, "Keep planting or stop", text))

        self._try_form(lambda call: decide_form(call, show))

    def _stock(self) -> None:
        from diag.writeup.mending import stock_form

        self._try_form(stock_form, "No part is on the load list.")

    def _healthy(self) -> None:
        self._tell(self.work.do(keep_healthy), "Kept with the machine: later readings are compared with these first.")

    def _undo(self) -> None:
        self.desk.tell(self.work.undo())

    def _redo(self) -> None:
        self.desk.tell(self.work.redo())

    def _retry(self) -> None:
        self.work.judge()
