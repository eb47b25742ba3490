"""A call in work on the screens: records through its desk, has it judged on the desk's thread, keeps drafts."""

from __future__ import annotations

import logging
from collections.abc import Callable, MutableMapping
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from textual.message import Message

from diag.errors import DiagError
from diag.say import present

if TYPE_CHECKING:
    from diag.call.desk import CallDesk, Thought
    from diag.reason.judgement import Judgement

SLOW = 0.4
"""Seconds after which the screen says that the call is being judged."""
LOG = logging.getLogger(__name__)


class Office(Protocol):
    """What a call in work needs of the application."""

    @property
    def units(self) -> str:
        """The units values are shown in."""

    def post_message(self, message: Message) -> bool:
        """Tell the application, from any thread."""

    def set_timer(self, delay: float, callback: Callable[[], None]) -> Any:
        """Call back after so many seconds."""

    def tell_busy(self, work: Work) -> None:
        """Say that a call is still being judged."""


class Work:
    """One call in work. Half-typed text stays in `drafts`, by field, until it is recorded."""

    def __init__(self, office: Office, call: CallDesk, drafts: MutableMapping[str, str] | None = None) -> None:
        self.office, self.call = office, call
        self.drafts: MutableMapping[str, str] = {} if drafts is None else drafts
        self.details: dict[str, Any] = {}
        """What is said beside the next answer: rows, observer, happened."""
        self.form: bool | None = None
        """Whether checks of one look are asked as one form; None: as a form on site, one by one by phone."""
        self.not_known: set[str] = set()
        """What readings need and nobody knew; asked once."""
        self.passed = ""
        """What was worth doing and was passed over to ask on."""
        self.before: dict[str, float] = {}
        """Chances before the last step, to show what moved."""
        self.ready = False
        """True when the judgement belongs to what is recorded."""
        self.failed = ""
        """Why the last judging failed, "" when it did not."""
        self.judging: Future[Thought] | None = None
        """The judging that is under way."""
        self.acted: tuple[str, ...] = ()
        """The events of the last act."""
        self.echo = ""
        """The last act in words."""
        self.can_undo = False
        """True when the last act can be taken back."""
        self.trial: Callable[[str], str] | None = None
        """Does a check on the simulated machine of a practice; None in a real call."""

    @property
    def taken(self) -> str | None:
        """The check taken instead of the first offer; it survives the end of the program."""
        key = self.drafts.get("taken", "")
        return key if key in self.call.engine.knowledge.questions else None

    @taken.setter
    def taken(self, key: str | None) -> None:
        if key:
            self.drafts["taken"] = key
        else:
            self.drafts.pop("taken", None)

    def do(self, change: Callable[[CallDesk], object]) -> str:
        """Record something as one act; return "" or what was wrong. What was recorded before an error stands."""
        wrong = self.attempt(change)
        return "" if wrong is None else str(wrong)

    def attempt(self, change: Callable[[CallDesk], object]) -> DiagError | None:
        """Record something as one act; return None or the error, and have the call judged when anything was."""
        was = len(self.call.events)
        chances = {r.cause: r.probability for r in self.call.think().judgement.ranking} if self.ready else self.before
        wrong = None
        try:
            with self.call.act():
                change(self.call)
        except DiagError as error:
            wrong = error
        if len(self.call.events) != was:
            self.acted = tuple(e.id for e in self.call.events[was:])
            self.before = chances
            if any(e.kind in ("repair", "proof") for e in self.call.events[was:]):
                self.taken = None  # measuring again comes next, then the end
            self.judge()
        return wrong

    def undo(self) -> str:
        """Take the last act back, whole; return what came of it."""
        return self._back("undo", "Taken back: ", "There is nothing to take back.")

    def redo(self) -> str:
        """Do again what was taken back; return what came of it."""
        return self._back("redo", "Done again: ", "There is nothing to do again.")

    def _back(self, name: str, head: str, nothing: str) -> str:
        told: list[str] = []

        def step(call: CallDesk) -> None:
            before = dict(present.step_texts(call)) if name == "undo" and self.ready else {}
            events = getattr(call, name)()
            if events:
                words = [before[e] for e in events if e in before] or [present.act_words(call, events)]
                told.append("; ".join(reversed(words)) or "the last step")

        wrong = self.attempt(step)
        return str(wrong) if wrong is not None else head + told[0] if told else nothing

    def judge(self) -> None:
        """Have the call judged as it is now."""
        self.ready, self.failed = False, ""
        self.office.set_timer(SLOW, lambda: None if self.ready or self.failed else self.office.tell_busy(self))
        self.judging = self.call.think_later()
        self.judging.add_done_callback(self._done)

    def _done(self, future: Future[Thought]) -> None:
        """Tell the application; runs on the desk's thread."""
        try:
            self.office.post_message(JudgementReady(self, future.result()))
        except CancelledError:
            return
        except Exception as error:
            LOG.exception("judging failed")
            self.office.post_message(JudgeFailed(self, error))

    def take(self, thought: Thought) -> bool:
        """Take a judgement; False when the call has moved on since."""
        if not self.call.accept(thought):
            return False
        self.ready, self.failed = True, ""
        self.echo, self.can_undo = present.last_act(self.call, self.acted)
        return True

    @property
    def judgement(self) -> Judgement:
        """The judgement of the call as it is now."""
        return self.call.think().judgement


@dataclass
class JudgementReady(Message):
    """A judgement came from the desk's thread; it may be stale."""

    work: Work
    thought: Thought


@dataclass
class JudgeFailed(Message):
    """Judging raised an error; what was recorded stands."""

    work: Work
    error: BaseException
