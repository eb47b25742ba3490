"""One call through the screens and through the line dialogue: the same events, word for word."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from screens.driving import NOW, Chance, drive, make_app, mend, press, still, type_in
from textual.pilot import Pilot

from diag.call.desk import CallDesk, Desk
from diag.plain import Dialogue
from diag.plain.talk import LeaveError
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.tui.app import DiagApp
from diag.tui.widgets.form import Row
from diag.tui.widgets.lists import Ticks

LINES = (
    "s", "it is thin", "2",  # on site, their words, the second of what it sounds like
    "take plain", "blue",
    "take open_one", "", "y", "1 -",  # nothing special here, the sentence, then one thing wrong and the rest fine
    "take row_gauge", "from 1: 18 18 17",
    "take how_many", "?",  # not sure
    "undo",
    "note [red] frank",
    "change 3", "red",
    "repair alpha", "", "", "", "", "", "25", ".",
    "take plain", "ok",
    "proof", "", "1", ".",
    "close", "mended", "", ".",
)


def told(call: CallDesk) -> list[tuple[Any, ...]]:
    """Return what was recorded, without ids, times and salts; references by place."""
    place = {e.id: i for i, e in enumerate(call.events)}
    personal = call.personal

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {plain(k): plain(v) for k, v in value.items()}
        if isinstance(value, list):
            return [plain(v) for v in value]
        return f"event {place[value]}" if value in place else value

    return [(e.kind, e.by, plain(dict(e.body)), personal.get(e.id, {})) for e in call.events]


def by_lines(engine: Engine, place: Path) -> CallDesk:
    """Drive the line dialogue."""
    store = open_store(place, random=Chance())
    feed: Iterator[str] = iter(LINES)
    desk = Desk(engine, store, store.desk_id(), lambda: NOW, Chance())
    written: list[str] = []

    def read(prompt: str) -> str:
        written.append(prompt)
        try:
            return next(feed)
        except StopIteration:
            raise EOFError from None

    dialogue = Dialogue(desk, read, written.append, "us")
    with contextlib.suppress(EOFError, LeaveError):
        dialogue.start(None)
    assert not [w for w in written if w.startswith("Not ") and not w.startswith("Not shown yet")], written
    return dialogue.call


def by_screens(engine: Engine, place: Path) -> CallDesk:
    """Drive the screens."""
    calls: list[CallDesk] = []

    async def take(app: DiagApp, pilot: Pilot[int], check: str) -> None:
        (work,) = app.works.values()
        work.taken = check
        app.screen.show_call()  # type: ignore[attr-defined]
        await still(pilot)

    async def put(app: DiagApp, pilot: Pilot[int], name: str, value: str) -> None:
        field = next(r.field for r in app.screen.query(Row) if r.key == name)
        field.focus()
        await pilot.pause()
        if isinstance(field, Ticks):
            await press(pilot, value)
        else:
            field.value = value  # type: ignore[attr-defined]

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "f8")
        await type_in(pilot, "it is thin")
        await press(pilot, "enter", "2", "enter")
        (work,) = app.works.values()
        calls.append(work.call)
        await take(app, pilot, "plain")
        await press(pilot, "2", "enter")
        await take(app, pilot, "open_one")
        await press(pilot, "enter", "1", "enter", "1", "space", "minus", "enter")
        await take(app, pilot, "row_gauge")
        await type_in(pilot, "from 1: 18 18 17")
        await press(pilot, "enter")
        await take(app, pilot, "how_many")
        await press(pilot, "question_mark", "enter", "ctrl+z", "ctrl+n")
        app.screen.query_one("LinesField").text = "[red] frank"  # type: ignore[attr-defined]
        await press(pilot, "ctrl+s", "f6", "home", "down", "down", "enter", "1", "enter", "1", "enter", "escape")
        await mend(app, pilot, "repair")
        await put(app, pilot, "causes", "1")
        await put(app, pilot, "minutes", "25")
        await press(pilot, "ctrl+s")
        await take(app, pilot, "plain")
        await press(pilot, "3", "enter")
        await mend(app, pilot, "proof")
        await put(app, pilot, "verdict", "1")
        await press(pilot, "ctrl+s")
        await mend(app, pilot, "close")
        await put(app, pilot, "result", "1")
        await press(pilot, "ctrl+s")

    drive(make_app(engine, place), body)
    return calls[0]


def test_the_same_call_gives_the_same_events(little: Engine, tmp_path: Path) -> None:
    """Words, answers, a form, a reading, undo, a note, a change, a repair, its proof and the end."""
    lines, screens = by_lines(little, tmp_path / "lines.db"), by_screens(little, tmp_path / "screens.db")

    assert told(lines) == told(screens)
    assert lines.think().judgement.ranking == screens.think().judgement.ranking
