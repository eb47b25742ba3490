"""What is not a call in work: settings, demonstration calls, practice on an invented fault."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from diag.ask.form import Field, Form, Values, choices, text_of
from diag.errors import DiagError, StoreError
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import MenuScreen
from diag.tui.theme import THEMES

if TYPE_CHECKING:
    from diag.call.desk import CallDesk
    from diag.tui.app import DiagApp

UNITS = choices({"us": "inches, inH2O, mph, seeds/ac", "metric": "cm, kPa, km/h, seeds/ha"})
CHANNELS = choices({"phone": "by phone", "site": "on site"})
BUSY = "The knowledge is still being read: once more in a second."


def settings(app: DiagApp) -> None:
    """Open the settings; they are kept for the next time."""

    def record(call: CallDesk | None, values: Values) -> None:
        wrong = app.choose(**{n: t for n in ("theme", "units", "channel") if (t := text_of(values, n))})
        if wrong:
            raise StoreError(wrong, "", "They hold until you leave.")

    form = Form("settings", "Settings", (
        Field("theme", "Colours", "pick", "", app.theme, tuple((t.name, t.name) for t in THEMES)),
        Field("units", "Units", "pick", "Typed values keep the unit they were given.", app.units, UNITS),
        Field("channel", "New calls", "pick", "", app.chosen.get("channel", "phone"), CHANNELS),
    ), record, "Keep")
    app.push_screen(FormScreen(None, form))


def demonstrations(app: DiagApp) -> None:
    """List the demonstration calls; one is opened as it stands, nothing of it is kept."""
    if app.desk is None:
        _say(app, app.trouble or BUSY)
        return
    from diag.knowledge.load import data_folder
    from diag.record.transcript import read_transcript

    try:
        files = sorted(data_folder("transcripts_demo").glob("*.yaml"))
    except DiagError:
        files = []
    rows: list[tuple[str | None, str]] = []
    for path in files:
        try:
            rows.append((str(path), read_transcript(path).title))
        except DiagError as error:
            rows.append((None, f"{path.name}: {error}"))
    if not rows:
        _say(app, "There are no demonstration calls here.")
        return
    app.push_screen(MenuScreen(None, "Demonstration calls, all invented", rows), lambda p: _open(app, p))


def _open(app: DiagApp, picked: str | None) -> None:
    desk = app.desk
    if not picked or desk is None:
        return
    from diag.record.transcript import read_transcript

    try:
        told = read_transcript(Path(picked))
        app.start_work(desk.replayed(told.events[0].call, told.events, told.sealed))
    except DiagError as error:
        _say(app, str(error))


def practice(app: DiagApp) -> None:
    """Begin a practice: the trainee chooses the checks, the simulated machine answers."""
    desk = app.desk
    if desk is None:
        _say(app, app.trouble or BUSY)
        return
    from diag.tui.screens.practice import begin

    begin(app, desk)


def _say(app: DiagApp, text: str) -> None:
    if isinstance(app.screen, Page):
        app.screen.tell(text)
