"""What all screens have: the line that says which call this is, a body, a line for messages, the keys."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar, Generic, ParamSpec, TypeVar, cast

from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from diag.tui.act import Act, key_name
from diag.tui.safe import Part, fit, say

if TYPE_CHECKING:
    from diag.tui.host import Host
    from diag.tui.work import Work

T = TypeVar("T")
P = ParamSpec("P")
LEAST_WIDTH, LEAST_HEIGHT = 60, 18


def shorter(text: str, width: int) -> str:
    """Return the parts of a top line that fit whole: the first and the last stay longest."""
    parts = text.split(" · ")
    while len(parts) > 2 and len(" · ".join(parts)) > width:
        del parts[1]
    return " · ".join(parts)


class Page(Screen[T], Generic[T]):
    """One screen. Below 60 by 18 it says so instead of showing half of itself."""

    ACTS: ClassVar[tuple[Act, ...]] = ()
    HORIZONTAL_BREAKPOINTS = [(0, "-slim"), (LEAST_WIDTH, "-narrow"), (104, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-flat"), (LEAST_HEIGHT, "-low"), (32, "-high")]  # noqa: RUF012
    TITLE_TEXT: str = ""
    DO_FIRST: ClassVar[str] = "read it; Esc goes back."
    """What the help begins with: what is done on this screen, in a sentence or two."""

    def __init__(self, work: Work | None = None) -> None:
        super().__init__()
        self.work = work
        self._focused_last: Widget | None = None

    @property
    def diag(self) -> Host:
        """The application, as screens see it."""
        return cast("Host", self.app)

    def action_back(self) -> None:
        """Go back to the screen before, with nothing chosen."""
        self.dismiss(None)

    def later(self, seconds: float, do: Callable[[], object]) -> None:
        """Do something after a pause; at once where the pause is nought."""
        if seconds:
            self.set_timer(seconds, do)
        else:
            self.call_later(do)

    def from_thread(self, show: Callable[P, object], *args: P.args, **named: P.kwargs) -> None:
        """Have a thread's result shown, unless the screen was left meanwhile."""
        self.app.call_from_thread(lambda: show(*args, **named) if self.is_running and self.is_attached else None)

    def after_typing(self, do: Callable[[], object]) -> None:
        """Do something once the field that has the focus has taken every key typed before."""

        def then() -> None:
            do()  # what it gives back is not waited for: a screen cannot wait for its own end

        (self.focused or self).call_later(then)

    def compose(self) -> ComposeResult:
        yield Static(id="bar")
        with Vertical(id="body"):
            yield from self.body()
        yield Static(id="status")
        yield Static(id="keys")
        yield Static(say(f"This window is too small: at least {LEAST_WIDTH} columns and {LEAST_HEIGHT} lines, please."),
                     id="too-small")

    def _keys(self) -> Content:
        """Return the few keys that stand in the bottom line now."""
        moment = self.moment()
        acts = self.diag.acts(self)
        shown = [a for name in moment for a in acts if a.action == name] if moment else [a for a in acts if a.shown]
        parts: list[Part] = []
        for act in shown:
            parts += [(f" {key_name(act.key)}", "bold $accent"), f" {act.name} "]
        return say(*parts)

    def moment(self) -> tuple[str, ...]:
        """The acts for the bottom line in its order; () for those that always stand there."""
        return ()

    def keys(self) -> None:
        """Draw the bottom line again."""
        self._line("#keys", self._keys())

    def body(self) -> Iterable[Widget]:
        """Yield the widgets between the top line and the message line."""
        return ()

    def on_mount(self) -> None:
        self.show_bar()
        self.keys()
        self.tell("")

    def show_bar(self) -> None:
        """Draw the top line: which call, or which screen."""
        text = self.TITLE_TEXT
        if self.work is not None:
            from diag.say.present import header

            text = " · ".join(p for p in (self.TITLE_TEXT, header(self.work.call)) if p)
        text = " · ".join(p for p in (text, self.diag.waits) if p)
        self._line("#bar", self._bar(text, max(20, self.app.size.width - 2)))

    def _line(self, name: str, content: Content) -> None:
        """Draw a line that is always one line high, if it says something else."""
        box = self.query_one(name, Static)
        if box.content != content:
            box.update(content, layout=False)

    def _bar(self, text: str, width: int) -> Content:
        """Return the top line: what this is, and at its end how far the call has come."""
        stage = self.stage()
        if not stage:
            return say(fit(shorter(text, width), width))
        from diag.ask.turn import STAGES

        room = width - len("  ".join(STAGES)) - 2
        if room < 12:
            return say(fit(text, width))
        parts: list[Part] = [fit(shorter(text, room), room).ljust(room), "  "]
        for i, name in enumerate(STAGES):
            here = name == stage
            parts += ["  " if i else "", (name.upper() if here else name, "bold $accent" if here else "$quiet")]
        return say(*parts)

    def stage(self) -> str:
        """Return how far the call has come, "" where no call is shown."""
        return ""

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        self._focused_last = event.widget

    def on_resize(self) -> None:
        self.show_bar()
        self.call_after_refresh(self._focus_again)

    def _focus_again(self) -> None:
        """Give the focus back to the field that lost it while the window was too small."""
        if self.focused is None and self._focused_last is not None and self._focused_last.is_attached:
            self._focused_last.focus()

    def tell(self, text: str, kind: str = "") -> None:
        """Show a message until the next one; kind "bad" is marked by its word and colour."""
        status, told = self.query_one("#status", Static), say(("Not done: " if kind == "bad" else "") + text)
        status.set_class(kind == "bad", "bad")
        if status.content != told:
            status.update(told)
        status.display = bool(text)

    def busy(self) -> None:
        """Say in the top line that something takes a moment."""
        bar = self.query_one("#bar", Static)
        bar.update(say(fit("judging ... | " + str(bar.content), max(20, self.app.size.width - 2))))

    def show_call(self) -> None:
        """Draw what the call says now; called when it was judged anew or comes to the front."""

    def on_screen_resume(self) -> None:
        self.show_bar()
        if self.work is not None:
            self.show_call()
