"""What is not a call in work: settings, demonstration calls, practice on an invented fault."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.ask.form import Field, Form, Values, choices, text_of
from diag.errors import DiagError, StoreError
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import MenuScreen
from diag.tui.theme import THEMES

if TYPE_CHECKING:
    from diag.call.desk import CallDesk

UNITS = choices({"us": "inches, inH2O, mph, seeds/ac", "metric": "cm, kPa, km/h, seeds/ha"})
CHANNELS = choices({"phone": "by phone", "site": "on site"})


def settings(page: Page[Any]) -> None:
    """Open the settings; they are kept for the next time."""
    host = page.diag

    def record(call: CallDesk | None, values: Values) -> None:
        wrong = host.choose(**{n: t for n in ("theme", "units", "channel") if (t := text_of(values, n))})
        if wrong:
            raise StoreError(wrong, "", "They hold until you leave.")

    form = Form("settings", "Settings", (
        Field("theme", "Colours", "pick", value=page.app.theme,
              choices=tuple((t.name, t.name) for t in THEMES)),
        Field("units", "Units", "pick", hint="Used where no unit is typed; a unit that is typed is kept.",
              value=host.units, choices=UNITS),
        Field("channel", "New calls", "pick", value=host.chosen.get("channel", "phone"), choices=CHANNELS),
    ), record, done="Keep")
    page.app.push_screen(FormScreen(None, form))


def demonstrations(page: Page[Any]) -> None:
    """List the demonstration calls; one is opened as it stands, nothing of it is kept."""
    if page.diag.desk is None:
        page.diag.once_read(lambda: demonstrations(page))
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
        page.tell("There are no demonstration calls here.")
        return
    page.app.push_screen(MenuScreen(None, "Demonstration calls, all invented", rows), lambda p: _open(page, p))


def _open(page: Page[Any], picked: str | None) -> None:
    if not picked:
        return
    from diag.record.transcript import read_transcript

    try:
        desk = page.diag.desk
        told = read_transcript(Path(picked))
        if desk is not None:
            page.diag.start_work(desk.replayed(told.events[0].call, told.events, told.sealed))
    except DiagError as error:
        page.tell(str(error), "bad")


def practice(page: Page[Any]) -> None:
    """Begin a practice: the trainee chooses the checks, the simulated machine answers."""
    desk = page.diag.desk
    if desk is None:
        page.diag.once_read(lambda: practice(page))
        return
    from diag.tui.screens.practice import begin

    begin(page, desk)


NAMED: Mapping[str, Callable[[Page[Any]], None]] = {
    "settings": settings, "demo": demonstrations, "practice": practice,
}
