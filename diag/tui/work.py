"""A call in work on the screens: records through its desk, has it judged on the desk's thread, keeps drafts."""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from typing import TYPE_CHECKING, Any

from diag.errors import DiagError
from diag.tui.messages import BeliefReady, JudgeFailed

if TYPE_CHECKING:
    from diag.call.desk import CallDesk, Thought
    from diag.tui.app import DiagApp

SLOW = 0.4
"""Seconds after which the screen says that the call is being judged."""
LOG = logging.getLogger(__name__)


class Work:
    """One call in work. Half-typed text stays in `drafts`, by field, until it is recorded."""

    def __init__(self, app: DiagApp, call: CallDesk) -> None:
        self.app, self.call = app, call
        self.drafts: dict[str, str] = {}
        self.details: dict[str, Any] = {}
        """What is said beside the next answer: rows, observer, happened."""
        self.form: bool | None = None
        """Whether checks of one look are asked as one form; None: as a form on site, one by one by phone."""
        self.not_known: set[str] = set()
        """What readings need and nobody knew; asked once."""
        self.before: dict[str, float] = {}
        """Chances before the last step, to show what moved."""
        self.taken: str | None = None
        """The check taken instead of the first offer."""
        self.ready = False
        """True when the judgement belongs to what is recorded."""
        self.failed = ""
        """Why the last judging failed, "" when it did not."""

    def do(self, change: Callable[[CallDesk], object]) -> str:
        """Record something; return "" or what was wrong. What was recorded before an error stands."""
        wrong = self.attempt(change)
        return "" if wrong is None else str(wrong)

    def attempt(self, change: Callable[[CallDesk], object]) -> DiagError | None:
        """Record something; return None or the error, and have the call judged when anything was recorded."""
        was = len(self.call.events)
        chances = {r.cause: r.probability for r in self.call.think().judgement.ranking} if self.ready else self.before
        wrong = None
        try:
            change(self.call)
        except DiagError as error:
            wrong = error
        if len(self.call.events) != was:
            self.before = chances
            self.judge()
        return wrong

    def judge(self) -> None:
        """Have the call judged as it is now."""
        self.ready, self.failed = False, ""
        self.app.set_timer(SLOW, lambda: None if self.ready or self.failed else self.app.tell_busy(self))
        self.call.think_later().add_done_callback(self._done)

    def _done(self, future: Future[Thought]) -> None:
        """Tell the application; runs on the desk's thread."""
        try:
            self.app.post_message(BeliefReady(self, future.result()))
        except CancelledError:
            return
        except Exception as error:
            LOG.exception("judging failed")
            self.app.post_message(JudgeFailed(self, error))

    def take(self, thought: Thought) -> bool:
        """Take a judgement; False when the call has moved on since."""
        if not self.call.accept(thought):
            return False
        self.ready, self.failed = True, ""
        return True
