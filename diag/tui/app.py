"""The terminal interface: one small application; screens do the showing, the call desk all recording and judging."""

from __future__ import annotations

import argparse
import gc
import logging
import os
from collections.abc import Callable, Iterable, Mapping, MutableMapping
from contextlib import suppress
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, cast

from rich.text import Text
from textual import on, work
from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.command import CommandPalette
from textual.screen import Screen
from textual.scrollbar import ScrollBar, ScrollBarRender

from diag.errors import DiagError
from diag.store.drafts import Drafts, place_beside
from diag.tui.act import Act, bindings, key_name
from diag.tui.messages import EngineReady, Exchanged, StartFailed, StoreReady
from diag.tui.screens.page import Page
from diag.tui.screens.start import StartScreen
from diag.tui.theme import DARK, NO_COLOR, THEMES
from diag.tui.work import JudgeFailed, JudgementReady, Work

if TYPE_CHECKING:
    from diag.ask.profiles import Draft
    from diag.ask.taking import Taking
    from diag.call.desk import CallDesk, Desk
    from diag.reason.judge import Engine
    from diag.store.open import Store

LOG = logging.getLogger(__name__)
KEEP_EVERY = 1.0
"""Seconds between two writings of what is half typed."""
READING = "The knowledge is still being read; then this is done."
SETTINGS = "screens"
"""Name under which the store keeps what the user chose."""


class PlainBar(ScrollBarRender):
    """A scroll bar of whole cells, which every console can show."""

    VERTICAL_BARS: ClassVar[list[str]] = [" "]
    HORIZONTAL_BARS: ClassVar[list[str]] = [" "]


class DiagApp(App[int]):
    """The terminal interface."""

    CSS_PATH = "screens.tcss"
    TITLE = "diag"
    ENABLE_COMMAND_PALETTE = True
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("help", "Help", "What can be done here, with the keys.", "f1", shown=True),
        Act("calls", "Calls", "Back to the list of calls; this one is kept as it is, half-typed text too.", "f2"),
        Act("emergency", "EMERGENCY", "Somebody is hurt or in danger: what to do now. It stops the diagnosis.", "f12"),
        Act("command_palette", "All commands", "Everything that can be done here, by its words.", "ctrl+p", first=True),
        Act("theme", "Other colours", "Next of: evening, daylight, full sun, no colour."),
        Act("quit", "Quit", "Leave; nothing is lost.", "ctrl+q", first=True),
    )
    BINDINGS: ClassVar[list[Any]] = [*bindings(ACTS), Binding("ctrl+c", "copy_or_tell", show=False)]

    def __init__(
        self, open_store: Callable[[], Store], make_engine: Callable[[], Engine], *, units: str | None = None,
        no_color: bool = False, clock: Callable[[], datetime] | None = None,
        random: Callable[[int], bytes] | None = None, log: Path | None = None,
    ) -> None:
        super().__init__()
        self._open_store, self._make_engine = open_store, make_engine
        self._clock, self._random, self._log_file = clock, random, log
        self._units, self._no_color = units, no_color
        self.store: Store | None = None
        self.engine: Engine | None = None
        self.drafts = Drafts()
        self.trouble = ""
        self.waits = ""
        """Why the store or the knowledge cannot be used, "" when they can."""
        self.works: dict[str, Work] = {}
        """Calls in work, by id."""
        self.chosen: dict[str, str] = {}
        self._once_read: Callable[[], object] | None = None
        """What was asked for while store and knowledge were being read."""
        ScrollBar.renderer = PlainBar
        for theme in THEMES:
            self.register_theme(theme)

    # --- starting ---------------------------------------------------------------------------------

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our own variables, before a theme of ours is on."""
        return {name: DARK.variables[name] for name in ("bright", "quiet")}

    def on_mount(self) -> None:
        self.theme = NO_COLOR.name if self._no_color else THEMES[0].name
        self.push_screen(StartScreen())
        self.call_after_refresh(self._begin)

    @work(thread=True, exit_on_error=False, group="start", description="start")
    def _begin(self) -> None:
        """Open the store, then build the engine, while the first screen already shows."""
        what = "store"
        try:
            self.post_message(StoreReady(self._open_store()))
            what = "knowledge"
            engine = self._make_engine()
            self.post_message(EngineReady(engine))
            _warm(engine)
        except Exception as error:
            LOG.exception("start failed")
            self.post_message(StartFailed(what, error))

    @on(StoreReady)
    def _store_ready(self, message: StoreReady) -> None:
        self.store = message.store
        kept = self.drafts
        self.drafts = Drafts(place_beside(message.store.place))
        for call in kept.calls():  # what was typed while the store was being opened
            _beside_older(self.drafts.of(call), kept.load(call))
        self.set_interval(KEEP_EVERY, self.keep_drafts)
        self.store.watch(self._news)
        self._exchanged()
        self._recall()
        self._refresh()

    def _news(self) -> None:
        """Have the screens told; runs on the store's thread."""
        self.post_message(Exchanged())

    @on(Exchanged)
    def _exchanged(self) -> None:
        """Show what waits to be sent, and the calls as they are now."""
        with suppress(DiagError):
            self.waits = self.store.waits if self.store is not None else ""
        for screen in self.screen_stack:
            if isinstance(screen, StartScreen):
                screen.show_calls()
            if isinstance(screen, Page):
                screen.show_bar()

    @on(EngineReady)
    def _engine_ready(self, message: EngineReady) -> None:
        self.engine = message.engine
        self._refresh()

    @on(StartFailed)
    def _start_failed(self, message: StartFailed) -> None:
        self.trouble = f"The {message.what} cannot be used: {message.error}"
        self._refresh()
        if isinstance(self.screen, Page):
            self.screen.tell(self.trouble, "bad")

    def _refresh(self) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, StartScreen):
                screen.start_ready()
            elif isinstance(screen, Page):
                screen.show_call()
        do = self._once_read
        if do is not None and self.desk is not None:
            self._once_read = None
            if isinstance(self.screen, StartScreen) and not self.screen.hearing:  # else something else was begun
                self.screen.tell("")
                do()

    def once_read(self, do: Callable[[], object]) -> None:
        """Have something done as soon as store and knowledge are read, and say so."""
        if isinstance(self.screen, Page):
            self.screen.tell(self.trouble or READING, "bad" if self.trouble else "")
        self._once_read = None if self.trouble else do

    @work(thread=True, exclusive=True, group="drafts", description="drafts", exit_on_error=False)
    def keep_drafts(self) -> None:
        """Write what is half typed, off the screen's thread."""
        self.drafts.flush()

    def _recall(self) -> None:
        """Take up what the user chose last time; the command line goes first."""
        if self.store is None:
            return
        try:
            kept = self.store.get_setting(SETTINGS, {})
        except DiagError as error:
            LOG.warning("settings not read: %s", error)
            return
        self.chosen = {k: v for k, v in kept.items() if isinstance(v, str)} if isinstance(kept, Mapping) else {}
        named = {t.name for t in THEMES}
        if not self._no_color and self.chosen.get("theme") in named:
            self.theme = self.chosen["theme"]

    def choose(self, **chosen: str) -> str:
        """Keep what the user chose; return "" or what was wrong."""
        self.chosen.update(chosen)
        if "theme" in chosen:
            self.theme = chosen["theme"]
        try:
            if self.store is not None:
                self.store.set_setting(SETTINGS, self.chosen)
        except DiagError as error:
            return str(error)
        return ""

    # --- what screens need ------------------------------------------------------------------------

    @property
    def office(self) -> DiagApp:
        """The application, as a call in work needs it."""
        return self

    @property
    def units(self) -> str:
        """The units values are shown in: us or metric."""
        return self._units or self.chosen.get("units", "us")

    def now(self) -> datetime:
        """Return the time here, in the zone of this machine."""
        return self._clock() if self._clock else datetime.now().astimezone()

    def labels(self) -> Mapping[str, str]:
        """Return words for ids of causes and symptoms, as soon as the knowledge is read."""
        if self.engine is None:
            return {}
        knowledge = self.engine.knowledge
        found = {k: c.label for k, c in knowledge.causes.items()}
        return found | {k: s.label for k, s in knowledge.symptoms.items()}

    @property
    def desk(self) -> Desk | None:
        """The desk, as soon as store and engine are there."""
        if self.engine is None or self.store is None:
            return None
        from diag.call.desk import Desk

        return Desk(self.engine, self.store, self.store.desk_id(), self.now, random=self._random or os.urandom)

    # --- calls ------------------------------------------------------------------------------------

    def take_call(self, taking: Taking, fitted: Draft | None = None) -> str:
        """Open a call with what was heard and put it on the desk; return "" or what was wrong."""
        from diag.ask.profiles import note_fitted
        from diag.ask.taking import take

        try:
            desk = self.desk
            if desk is None:
                return self.trouble or "the calls are still being opened."
            call = take(desk, taking)
            if fitted is not None:
                note_fitted(call, fitted)
        except DiagError as error:
            return str(error)
        self.start_work(call)
        return ""

    def open_call(self, call: str) -> str:
        """Open a stored call; return "" or what was wrong."""
        if call in self.works:
            self.show_work(self.works[call])
            return ""
        try:
            desk = self.desk
            if desk is None:
                self.once_read(lambda: self.open_call(call))
                return ""
            self.start_work(desk.open_call(call))
        except DiagError as error:
            return str(error)
        return ""

    def start_work(self, call: CallDesk) -> Work:
        """Put a call on the desk."""
        work = Work(self, call, self.drafts.of(call.call) if call.desk.store is not None else None)
        self.works[call.call] = work
        self.show_work(work)
        return work

    def show_work(self, work: Work) -> None:
        """Show the desk of a call; the list of calls lies beneath."""
        from diag.tui.screens.desk import DeskScreen

        self.action_calls()
        self.push_screen(DeskScreen(work))

    def run_named(self, name: str) -> None:
        """Open what is not a call: settings, demonstration calls, practice."""
        from diag.tui.screens import others

        page = self.screen
        if not isinstance(page, Page):
            return
        try:
            others.NAMED[name](page)
        except DiagError as error:
            page.tell(str(error), "bad")

    @on(JudgementReady)
    def _judged(self, message: JudgementReady) -> None:
        if message.work.take(message.thought):
            self._tell_work(message.work)
        if self.store is not None and self.store.shared:
            self._exchanged()

    @on(JudgeFailed)
    def _judge_failed(self, message: JudgeFailed) -> None:
        message.work.failed = f"{type(message.error).__name__}: {message.error}."
        self._tell_work(message.work)

    def _tell_work(self, work: Work) -> None:
        for screen in self.screen_stack:
            if isinstance(screen, Page) and screen.work is work:
                screen.show_call()

    def tell_busy(self, work: Work) -> None:
        """Say that a call is still being judged; the next drawing takes the words away."""
        for screen in self.screen_stack:
            if isinstance(screen, Page) and screen.work is work:
                screen.busy()

    # --- acts -------------------------------------------------------------------------------------

    def acts(self, screen: Screen[Any]) -> list[Act]:
        """Return all that can be done on a screen, its own acts first."""
        own = list(screen.ACTS) if isinstance(screen, Page) else []
        taken = {a.key for a in own if a.key}
        return [*own, *(a for a in self.ACTS if not a.key or a.key not in taken)]

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        for act in self.acts(screen):
            if act.action == "command_palette":
                continue
            key = f" ({key_name(act.key)})" if act.key else ""
            target = self if act in self.ACTS else screen
            yield SystemCommand(act.name + key, act.tells, _runs(self, target, act.action))

    def action_command_palette(self) -> None:
        if not CommandPalette.is_open(cast(App[object], self)):
            self.push_screen(CommandPalette(id="--command-palette", placeholder="Type a word of what you want"))

    def action_help(self) -> None:
        from diag.tui.screens.help import HelpScreen

        page = self.screen
        if isinstance(page, Page) and not isinstance(page, HelpScreen):
            self.push_screen(HelpScreen(self.acts(page), page.DO_FIRST))

    def action_emergency(self) -> None:
        """Show what to do now; the diagnosis of the call on the screen stops."""
        from diag.tui.screens.emergency import EmergencyScreen

        if not isinstance(self.screen, EmergencyScreen):
            work = self.screen.work if isinstance(self.screen, Page) else None
            self.push_screen(EmergencyScreen(work))

    def action_calls(self) -> None:
        while len(self.screen_stack) > 2 and not isinstance(self.screen, StartScreen):
            self.pop_screen()

    def action_theme(self) -> None:
        names = [t.name for t in THEMES]
        at = names.index(self.theme) if self.theme in names else -1
        self.choose(theme=names[(at + 1) % len(names)])

    def action_copy_or_tell(self) -> None:
        if isinstance(self.screen, Page):
            self.screen.tell("Ctrl+Q leaves the program. Marked text in a field is copied by Ctrl+C.")

    async def action_quit(self) -> None:
        self.drafts.flush()
        for one in self.works.values():
            one.call.shut()
        self.exit(0)

    # --- ending badly -----------------------------------------------------------------------------

    def _fatal_error(self) -> None:
        """Close quietly after a fault of ours: the trace goes to the log, without values of variables."""
        LOG.exception("the program failed")
        told = "diag: The program failed. What was recorded is kept."
        told += f" The log tells more:\n{self._log_file}" if self._log_file else ""
        self._exit_renderables.append(Text(told, no_wrap=True, overflow="ignore"))
        self._close_messages_no_wait()


def _beside_older(held: MutableMapping[str, str], typed: Mapping[str, str]) -> None:
    """Take typed text up; words of a call that was half taken before are put by, not written over."""
    before = held.get("words", "")
    if typed.get("words") and before and before != typed["words"]:
        held["older"] = "\n".join(filter(None, (held.get("older", ""), before)))
    held.update(typed)


def _warm(engine: Engine) -> None:
    """Judge an empty call once: what is worked out at the first judgement is then there."""
    from diag.call.desk import Desk

    Desk(engine).new_call("phone").think()
    import_module("diag.writeup.mending")  # F9 needs it, and much comes with it
    gc.freeze()  # what is read once is not looked through again: that took a fifth of a second now and then


def _runs(app: DiagApp, target: Any, action: str) -> Callable[[], None]:
    async def run() -> None:
        await app.run_action(action, default_namespace=target)

    def start() -> None:
        app.call_later(run)

    return start


def run_app(options: argparse.Namespace, open_store: Callable[[], Store], make_engine: Callable[[], Engine]) -> int:
    """Run the terminal interface until the user leaves; return the exit code."""
    from diag.tui.crash import log_to_file

    no_color = getattr(options, "no_color", False) or bool(os.environ.get("NO_COLOR"))
    app = DiagApp(
        open_store, make_engine, units=getattr(options, "units", None), no_color=no_color, log=log_to_file()
    )
    app.run(mouse=not getattr(options, "no_mouse", False))
    return app.return_code or 0
