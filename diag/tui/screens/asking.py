"""A question on the screen: what is asked, how a typed answer is understood, what it would lead to."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, ClassVar

from textual import on, work
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widget import Widget
from textual.widgets import Input, Static
from textual.worker import get_current_worker

from diag.ask.reply import NOTHING, Reply, reply
from diag.ask.turn import Turn, said_already, stage_of
from diag.call.desk import CallDesk
from diag.errors import StoreError
from diag.say import present
from diag.say.follows import Lead, follows
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, fit, fit_echo, folded, lines, say
from diag.tui.screens.page import Page
from diag.tui.widgets.line import HINT, AnswerLine
from diag.tui.widgets.question import Room, Rows, causes_rows, details_words, question_rows, side_rows
from diag.tui.work import Work
from diag.tui.working import guarded

Change = Callable[[CallDesk], object]
Trial = Callable[[str], str]

PAGES = (
    Act("page(-1)", "Page up", "Scroll the question up.", "pageup", first=True),
    Act("page(1)", "Page down", "Scroll the question down.", "pagedown", first=True),
)
HINTS = {"danger": "the word DANGER, or x; Enter", "say": "1 or 2; Enter", "need": "a value, or ?; Enter records"}
"""What stands in the empty line where it takes something else."""
PREVIEW_AFTER = 0.12
"""Seconds of quiet before a typed line is worked out."""
FIXED = ("last",)
"""Parts that have their height, whatever they say."""
RETRY_AFTER = 3.0
"""Seconds after which an answer that the store did not take is tried again."""
AGAIN = " It is tried again by itself; typing lets go of it."
MISTAKE_AFTER = 0.6
"""Seconds of quiet more before it is told what was not understood."""
CAUSES = {"-low": 3, "-high": 5}
"""Most causes shown under the question, by the height of the window."""
READ_BACK = {"-low": 3, "-high": 6}
"""Most lines of what is read back, by the height of the window."""


class Area(Vertical):
    """A part of the desk that is drawn to its own size."""

    class Resized(Message):
        """It has another size."""

    def on_resize(self) -> None:
        self.post_message(self.Resized())


class AskingScreen(Page[None]):
    """One question of a call in work."""

    DO_FIRST = (
        "answer the question in the middle. Type the number of an answer, or its words, or figures; below the line "
        "stands what was understood; Enter records it, and nothing is recorded without Enter. Wrong? Ctrl+Z takes the "
        "last act back, whole. ? is not sure, x can't be done here."
    )
    ACTS: ClassVar[tuple[Act, ...]] = PAGES
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work) -> None:
        super().__init__(call)
        self.work: Work = call
        self.turn: Turn | None = None
        """What is asked now."""
        self.reply: Reply = NOTHING
        """What the line would do."""
        self.picked: str | None = None
        """The answer under the arrow."""
        self._follows: dict[str, Lead] = {}
        """What each answer would lead to, once that is known of all."""
        self._tried = 0
        self._touched = 0
        """How often something was typed or chosen."""
        self._height = 0
        """Lines of the question that are seen at once."""
        self._drawn: dict[str, Content] = {}

    def body(self) -> Iterable[Widget]:
        with Horizontal(id="columns"):
            with Area(id="left"):
                yield Static(id="say")
                with VerticalScroll(id="ask", can_focus=False):
                    yield Static(id="question")
                with Horizontal(id="entry"):
                    yield Static(say((" > ", "bold $accent")), id="prompt")
                    yield AnswerLine(id="line")
                yield Static(id="back")
                yield Static(id="causes")
            with Area(id="right"):
                yield Static(id="side")
        yield Static(id="last")

    def on_mount(self) -> None:
        super().on_mount()
        self.line.focus()
        if self.work.ready:
            self.show_call()
        else:
            self._put("question", say("\n\n    Judging the call ..."))
            self.work.judge()

    @property
    def line(self) -> AnswerLine:
        """The line answers are typed in."""
        return self.query_one("#line", AnswerLine)

    def stage(self) -> str:
        return stage_of(self.work.call) if self.turn is None else self.turn.stage

    # --- drawing ----------------------------------------------------------------------------------

    def ask(self, turn: Turn) -> None:
        """Put a question on the screen; the line takes keys once it is drawn."""
        fresh = self.turn is None or _same(self.turn) != _same(turn) or self.line.waiting
        self.turn = turn
        if fresh:
            self.line.wait()
            self.picked, self.reply, self._follows = None, NOTHING, {}
            self.line.value = self.work.drafts.get(self.draft_key, "")
            self.query_one("#ask", VerticalScroll).scroll_home(animate=False)
        self.show_bar()
        self.draw()
        self.keys()
        if fresh:
            self.call_after_refresh(self._on_screen)

    def take_keys(self) -> None:
        """The line takes keys from now on, and says which."""
        self.line.drawn(HINTS.get(self.turn.kind if self.turn else "", HINT))

    def _on_screen(self) -> None:
        self.take_keys()
        self._try_out(self.line.value)
        if self.turn is not None and self.turn.kind == "check" and self.work.trial is None:
            self._lead_on(self.turn)

    @property
    def draft_key(self) -> str:
        """The name under which the half-typed line is kept."""
        turn = self.turn
        name = turn.need.name if turn and turn.need else turn.axis if turn and turn.axis else turn.key if turn else ""
        return f"answer:{turn.kind}:{name}" if turn else ""

    def draw(self) -> None:
        """Draw everything that changed."""
        turn = self.turn
        if turn is None or not self.work.ready or not self.query_one("#left").size.width:  # not laid out yet
            return
        beside = bool(self.query_one("#right").display)
        back = folded(self._read_back(), self.query_one("#left").size.width - 5, READ_BACK[self._tall])
        question = self._fitted(turn, beside, back.plain.count("\n") + 2)
        more = len(question) > self._height and not back.plain
        self._put("question", lines(question))
        self._put("back", say(("PgDn", "bold $accent"), (" more below", "$quiet")) if more else back)
        self._put("last", self._last())
        if beside:
            side = self.query_one("#right").size
            self._put("side", lines(side_rows(turn, self.work, max(30, side.width - 3), max(20, side.height))))

    @property
    def _tall(self) -> str:
        return "-high" if self.has_class("-high") else "-low"

    def _fitted(self, turn: Turn, beside: bool, below: int) -> Rows:
        """Draw what stands above and under the question, and return the question; causes make way for a long one."""
        left, safety = self.query_one("#left").size, self._safety(turn)
        picked = self.reply.picked or tuple(filter(None, (self.picked,)))
        for most in range(CAUSES[self._tall], 0, -1):
            causes = self._causes(most)
            used = sum(text.plain.count("\n") + 2 for text in (safety, causes) if text.plain)
            height = left.height - used - below
            question = question_rows(turn, self.work, Room(max(30, left.width - 4), height, beside), picked=picked,
                                     leads=self._follows)
            if len(question) <= height:
                break
        self._put("say", safety)
        self._put("causes", causes)
        self._height = max(3, height)
        self.query_one("#ask").styles.max_height = self._height
        return question

    def _put(self, name: str, content: Content) -> None:
        """Update a part only when it says something else."""
        before = self._drawn.get(name)
        if before == content:
            return
        self._drawn[name] = content
        box = self.query_one(f"#{name}", Static)
        as_high = before is not None and before.plain.count("\n") == content.plain.count("\n")  # lines are folded here
        box.update(content, layout=not (name in FIXED or as_high))
        if name in ("say", "causes"):
            box.display = bool(content.plain)

    def _safety(self, turn: Turn) -> Content:
        """Return the line above the question: what was said and holds, or that something is said first."""
        call = self.work.call
        if turn.kind == "danger":
            return say(("DANGER", "bold reverse $error"), ("  stands alone: read it, then type it", "$error"))
        if turn.kind == "say":
            told = "SAY FIRST" if call.state.channel == "phone" else "FIRST"
            return say((told, "bold $warning"), ("   F7 all cautions in full", "$quiet"))
        if turn.kind not in ("check", "form", "need") or turn.check is None:
            return say("")
        from diag.writeup.completeness import only_now

        held = said_already(call, turn.check)
        width = self.query_one("#left").size.width - 2
        shown: list[tuple[str, str]] = []
        if now := only_now(call, turn.check.id):
            shown += [("before you touch it: ", "bold $warning"), (now, "$warning")]
        if held:
            shown += [("\n" if shown else "", ""), ("said: ", "bold $warning"),
                      (fit(held, 2 * width - 20), "$warning"), ("   F7", "$quiet")]
        return folded(say(*shown), width)

    def _read_back(self) -> Content:
        if self.line.waiting:
            return say("")
        if self.reply.told:
            mark, style = ("= ", "$success") if self.reply.fits else ("? ", "$error")
            return say((mark, f"bold {style}"), ("\n  ".join(self.reply.told[:3]), style))
        details = details_words(self.work)
        return say(("for this answer: " + ", ".join(details), "$accent") if details else "")

    def _causes(self, most: int) -> Content:
        if self.work.trial is not None or (self.turn is not None and self.turn.kind in ("closed", "proved", "stop")):
            return say("")
        if self.query_one("#right").display:
            return say("")
        width = max(40, self.query_one("#left").size.width - 2)
        seen = present.warnings(self.work.call)
        more = f"   (and {len(seen) - 1} more)" if len(seen) > 1 else ""
        head: list[list[Part]] = [[("! ", "bold $warning"), (fit(seen[0], width - 24), "$warning"),
                                   (more + "   F4", "$quiet")]] if seen else []
        return lines([*head, *causes_rows(self.work, most, width)])

    def _last(self) -> Content:
        width = max(30, self.app.size.width - 2)
        if not self.work.echo:
            return say("")
        undo = self.work.can_undo and self.work.trial is None
        before = not undo and self.work.trial is None and len(self.work.call.state.trail) > 1
        also = "   Ctrl+Z takes it back" if undo else "   stays; Ctrl+Z: the act before" if before else ""
        return say(("last: ", "bold"), fit_echo(self.work.echo, width - 6 - len(also)), (also, "$quiet"))

    @on(Area.Resized)
    def _resized(self) -> None:
        self.draw()

    # --- what follows from each answer --------------------------------------------------------------

    @work(thread=True, exclusive=True, group="follows", description="follows", exit_on_error=False)
    def _lead_on(self, turn: Turn) -> None:
        """Work out what each answer would lead to, one after the other; what came too late is dropped."""
        with guarded(self, "Looking ahead"):
            worker, call = get_current_worker(), self.work.call
            seen, leads = len(call.events), {}
            for choice in turn.choices:
                if worker.is_cancelled or len(call.events) != seen or turn is not self.turn or turn.check is None:
                    return
                leads[choice.key] = follows(call, turn.check.id, choice.key)
            self.from_thread(self._led, turn, leads)

    def _led(self, turn: Turn, leads: dict[str, Lead]) -> None:
        if turn is self.turn:
            self._follows = leads
            self.draw()

    # --- typing -----------------------------------------------------------------------------------

    @on(Input.Changed, "#line")
    def _typed(self, event: Input.Changed) -> None:
        if self.line.waiting:
            return
        self.work.drafts[self.draft_key] = event.value
        self.picked = None
        self._touched += 1
        self._tried += 1
        number = self._tried
        self.later(PREVIEW_AFTER, lambda: self._try_out(event.value) if number == self._tried else None)

    def _try_out(self, text: str) -> None:
        """Read back what the line means; figures off the screen's thread."""
        turn = self.turn
        if turn is None:
            return
        if turn.check is not None and turn.check.measured and turn.kind == "check":
            self._tried += 1
            self._work_out(turn, text, self._tried)
        else:
            self._understood(turn, self._reply(text))

    @work(thread=True, exclusive=True, group="preview", description="preview", exit_on_error=False)
    def _work_out(self, turn: Turn, text: str, number: int) -> None:
        with guarded(self, "Working out the reading"):
            found = self._reply(text, turn)
            if not get_current_worker().is_cancelled and number == self._tried:
                self.from_thread(self._understood, turn, found)

    def _reply(self, text: str, turn: Turn | None = None) -> Reply:
        asked = turn or self.turn
        assert asked is not None
        return reply(self.work.call, asked, text, picked=self.picked, details=self.beside(),
                     units=self.diag.units, change=self.change)

    def beside(self) -> dict[str, Any]:
        """What is said beside the answer: rows, observer, when."""
        return self.work.details

    change: str | None = None
    """The earlier answer (event) that is changed; None for a new one."""

    def _understood(self, turn: Turn, found: Reply) -> None:
        """Show what was understood; what was not is told after a pause: a word half typed is no mistake."""
        if turn is not self.turn or self.line.waiting:
            return
        if found.fits or not found.told:
            self._tell_reply(turn, found, self._touched)
            return
        touched = self._touched
        self._tell_reply(turn, replace(found, told=()), touched)
        self.later(MISTAKE_AFTER, lambda: self._tell_reply(turn, found, touched))

    def _tell_reply(self, turn: Turn, found: Reply, touched: int) -> None:
        if turn is self.turn and not self.line.waiting and touched == self._touched:
            self.reply = found
            self.draw()

    @on(AnswerLine.Choose)
    def _choose(self, event: AnswerLine.Choose) -> None:
        turn = self.turn
        if turn is None or not turn.choices or self.line.value.strip():
            return
        keys = [c.key for c in turn.choices]
        self._touched += 1
        at = keys.index(self.picked) + event.step if self.picked in keys else (0 if event.step > 0 else -1)
        self.picked = keys[at % len(keys)]
        self._understood(turn, self._reply(""))

    @on(AnswerLine.Early)
    def _early(self) -> None:
        self.tell("Pressed before the question stood here: not taken.")

    # --- Enter --------------------------------------------------------------------------------------

    @on(Input.Submitted, "#line")
    def _enter(self, event: Input.Submitted) -> None:
        """Do what the line means; nothing where nothing was chosen or typed."""
        turn = self.turn
        if turn is None or not self.work.ready:
            return
        self._touched += 1
        found = self._reply(event.value)
        self.reply = found
        if not found.fits:
            self.take_keys()
            self.tell("" if found.told else "Choose an answer by its number or an arrow, or type it; Enter records.")
            self.draw()
            return
        self.tell("")
        if found.act:
            self.take_act(turn, found)
        elif found.record is not None:
            self._record(turn, found.record, found.then)

    def _record(self, turn: Turn, record: Change, then: str | None) -> None:
        trial = self.work.trial
        if trial is not None and turn.kind in ("check", "form"):
            key = turn.key or (turn.check.id if turn.check else "")
            record = _simulated(trial, key)
        key, was = self.draft_key, len(self.work.call.events)
        self.line.wait()
        wrong = self.work.attempt(record)
        if wrong is not None:
            self.take_keys()
            again = isinstance(wrong, StoreError) and len(self.work.call.events) == was
            self.tell(f"{wrong}{AGAIN if again else ''}", "bad")
            if again:
                number = self._touched
                self.later(RETRY_AFTER, lambda: self._once_more(turn, record, then, number))
            return
        self.tell("")
        self.work.drafts.pop(key, None)
        if turn.kind in ("check", "form"):
            self.work.details = {}
        self.work.taken = then
        self.recorded()
        if self.work.ready:
            self.show_call()

    def _once_more(self, turn: Turn, record: Change, then: str | None, number: int) -> None:
        """Try again what the store did not take, unless something else was typed, chosen or asked meanwhile."""
        if turn is self.turn and number == self._touched and self.is_current and not self.line.waiting:
            self._record(turn, record, then)

    def recorded(self) -> None:
        """Something was recorded."""

    def take_act(self, turn: Turn, found: Reply) -> None:
        """An act was chosen in place of an answer; a question by itself offers none."""

    def action_page(self, step: int) -> None:
        """Scroll the question, where it is long."""
        box = self.query_one("#ask", VerticalScroll)
        (box.scroll_page_up if step < 0 else box.scroll_page_down)(animate=False)


def _same(turn: Turn) -> tuple[object, ...]:
    return (turn.kind, turn.asks, turn.choices, turn.key, turn.axis, turn.need)


def _simulated(trial: Trial, key: str) -> Change:
    def record(call: CallDesk) -> None:
        trial(key)

    return record

