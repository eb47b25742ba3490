"""Driving the screens in tests: a fixed clock and chance, waiting until all is still, the screen as text."""

from __future__ import annotations

import asyncio
import hashlib
import os
from collections.abc import Awaitable, Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from textual import _wait, events
from textual.pilot import Pilot
from textual.worker import WorkerCancelled

from diag.call.desk import CallDesk, Desk
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.tui.app import DiagApp
from diag.tui.screens import asking, hearing
from diag.tui.widgets.line import AnswerLine
from diag.tui.widgets.lists import PickList

SMALL, LARGE = (80, 24), (120, 40)
NOW = datetime(2026, 5, 4, 6, 40, tzinfo=UTC)
HERE = Path(__file__).parent
TURNS = 300
"""So often it is looked whether all is still before that is called a failure."""
Body = Callable[[DiagApp, Pilot[int]], Awaitable[None]]

_wait.SLEEP_GRANULARITY, _wait.SLEEP_IDLE = 0.002, 0.001
"""The pilot looks ten times as often whether all is idle."""
hearing.MATCH_AFTER = asking.PREVIEW_AFTER = asking.MISTAKE_AFTER = 0.0
"""No waiting for a pause in typing."""


class Chance:
    """Bytes that look random and are the same each time."""

    def __init__(self) -> None:
        self._n = 0

    def __call__(self, size: int) -> bytes:
        self._n += 1
        return hashlib.sha256(str(self._n).encode()).digest()[:size]


def make_app(engine: Engine, place: Path, **more: object) -> DiagApp:
    """Return the application over a store file, with a fixed clock."""
    chance = Chance()
    options = {"clock": lambda: NOW, "random": chance, **more}
    return DiagApp(lambda: open_store(place, random=chance), lambda: engine, **options)  # type: ignore[arg-type]


def drive(app: DiagApp, body: Body, size: tuple[int, int] = SMALL) -> None:
    """Run the application without a terminal and do `body` with it."""

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await still(pilot)
            await body(app, pilot)

    asyncio.run(run())


async def still(pilot: Pilot[int]) -> None:
    """Wait until nothing is under way: no worker, no judging, no message, no question that is not drawn."""
    app = pilot.app
    assert isinstance(app, DiagApp)
    await pilot.pause()
    for _ in range(TURNS):
        if not _busy(app) or app._exception is not None:
            return
        with suppress(WorkerCancelled):  # a newer preview put an older one aside
            await app.workers.wait_for_complete()
        for work in app.works.values():
            if work.judging is not None:
                await asyncio.wait([asyncio.wrap_future(work.judging)])
        await pilot.pause()
    raise AssertionError(f"never still: {app.screen}, {[w for w in app.workers if not w.is_finished]}")


def _busy(app: DiagApp) -> bool:
    judging = any(not w.ready and not w.failed and w.judging is not None for w in app.works.values())
    started = bool(app.trouble) or (app.engine is not None and app.store is not None)
    return judging or not started or any(not w.is_finished for w in app.workers) or _undrawn(app)


def _undrawn(app: DiagApp) -> bool:
    """Tell whether the desk on the screen waits for its question to be drawn."""
    page = app.screen
    if not isinstance(page, asking.AskingScreen) or page.work.failed or page.turn is None:
        return False
    return page.query_one(AnswerLine).waiting and page.work.ready


async def press(pilot: Pilot[int], *keys: str) -> None:
    """Press keys one after the other, waiting after each until nothing is under way."""
    for key in keys:
        await pilot.press(key)
        await still(pilot)


async def type_in(pilot: Pilot[int], text: str) -> None:
    """Put text into the field that has the focus, as pasted."""
    pilot.app.post_message(events.Paste(text))
    await still(pilot)


def menu_keys(app: DiagApp, name: str) -> tuple[str, ...]:
    """Return the keys that take a line of the menu on the screen."""
    keys = [key for key in app.screen.query_one("#menu", PickList).keys if key]
    return (*str(1 + keys.index(name)), "enter")


async def mend(app: DiagApp, pilot: Pilot[int], name: str) -> None:
    """Take a line of F9."""
    await press(pilot, "f9")
    await press(pilot, *menu_keys(app, name))


def screen_text(app: DiagApp) -> str:
    """Return what the screen shows, line by line."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips).rstrip() + "\n"


def words(app: DiagApp) -> str:
    """Return what the screen shows with all line breaks folded away."""
    return " ".join(screen_text(app).split())


async def resize(pilot: Pilot[int], size: tuple[int, int]) -> None:
    """Make the window another size and wait until all is drawn anew."""
    await pilot.resize_terminal(*size)
    page = pilot.app.screen
    for _ in range(TURNS):
        if page.size == size and page._compositor.size == size and not page._layout_required:
            break
        await pilot.pause()
    await still(pilot)
    await pilot.pause()


async def same_screen(app: DiagApp, pilot: Pilot[int], name: str) -> None:
    """Compare the screen at 80x24 and 120x40 with tests/screens/NAME_WxH.txt.

    DIAG_TEST_REDRAW=1 writes the files anew.
    """
    for size in (SMALL, LARGE, SMALL):
        await resize(pilot, size)
        path = HERE / f"{name}_{size[0]}x{size[1]}.txt"
        shown = screen_text(app)
        if os.environ.get("DIAG_TEST_REDRAW"):
            path.write_text(shown, encoding="utf-8", newline="\n")
        assert path.read_text(encoding="utf-8") == shown, f"{path.name} differs; look at it, then redraw"


async def put_on_desk(app: DiagApp, pilot: Pilot[int], channel: str = "site", rows: int | None = 8) -> CallDesk:
    """Open a call with a complaint and put it on the desk."""
    desk = app.desk
    assert isinstance(desk, Desk)
    call = desk.new_call(channel, customer="Alder Flat")
    call.set_machine({"rows": rows} if rows else {}, label="north planter")
    call.set_situation({"rows": [7], "flags": []})
    first = next(iter(desk.engine.knowledge.symptoms))
    call.set_complaint("row 7 is thin", [(first, "chosen")])
    app.start_work(call)
    await still(pilot)
    return call
