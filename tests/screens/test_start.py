"""The first screen: shown at once, calls as they stand, what fails is said."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import pytest
from screens.driving import (
    NOW,
    SMALL,
    Chance,
    drive,
    make_app,
    press,
    put_on_desk,
    resize,
    same_screen,
    screen_text,
    still,
    type_in,
    words,
)
from textual import events
from textual.pilot import Pilot

from diag.call.desk import Desk
from diag.errors import KnowledgeError, StoreError
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.store.sqlstore import Store
from diag.tui.app import DiagApp
from diag.tui.screens.desk import DeskScreen
from diag.tui.widgets.form import Row
from diag.tui.widgets.heard import HeardPanel
from diag.tui.widgets.lines import WordsField
from diag.tui.widgets.lists import CallsList


def fill(engine: Engine, place: Path) -> list[str]:
    """Store four calls: one due, one in work, one waiting, one closed; return their ids."""
    chance = Chance()
    store = open_store(place, random=chance)
    desk = Desk(engine, store, store.desk_id(), lambda: NOW, chance)
    ids = []
    early, late = "2026-05-04T06:30:00Z", "2026-05-04T10:40:00Z"
    for name, until in (("Alder Flat", early), ("Birch Tamble", None), ("Clover Wend", late)):
        call = desk.new_call("phone", customer=name)
        call.set_situation({"rows": [7]})
        call.set_complaint(f"{name} says it is thin", [("thin", "chosen")])
        if until:
            call.record("waiting", {"for": "caller", "until": until})
        ids.append(call.call)
    closed = desk.new_call("site", customer="Dogwood Knarl")
    closed.set_complaint("it was thick", [("thick", "chosen")])
    closed.close("question_answered")
    store.close()
    return [*ids, closed.call]


def test_calls_are_listed_due_first(little: Engine, place: Path) -> None:
    """Due, in work, waiting, closed, each with who, what for and until when."""
    fill(little, place)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await same_screen(app, pilot, "start")
        text = screen_text(app)
        heads = ["Due now", "In work", "Waiting", "Closed"]
        assert heads == sorted(heads, key=text.index)
        assert "waiting for the caller until 10:40" in text

    drive(make_app(little, place), body)


def test_a_call_is_found_by_words(little: Engine, place: Path) -> None:
    """F3 and words: the list holds what fits; Enter or Down goes to the first of it, Enter there opens it."""
    ids = fill(little, place)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "f3")
        await type_in(pilot, "tamble")
        assert "Birch Tamble" in screen_text(app)
        assert "Alder Flat" not in screen_text(app)
        for way in ("enter", "down"):
            await press(pilot, way)
            assert app.works == {}
            assert app.screen.query_one(CallsList).picked == ids[1]
            await press(pilot, "f3")
        await press(pilot, "enter", "enter")
        assert ids[1] in app.works
        await press(pilot, "f2", "f3", *"wend", "down", "t")  # a letter in the list begins a call
        assert not app.screen.query_one("#search").display
        assert app.screen.query_one(WordsField).text == "t"

    drive(make_app(little, place), body)


def test_a_store_that_cannot_be_opened_is_said(little: Engine, place: Path) -> None:
    """The first screen stays, names the trouble, and offers no dead end."""

    def broken() -> object:
        raise StoreError("The store is locked.", "calls.db", "Close the other program.")

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        assert "The store cannot be used: calls.db: The store is locked. Close the other program." in words(app)
        await type_in(pilot, "thin")
        await press(pilot, "ctrl+s", "ctrl+s")
        assert "The store cannot be used" in words(app)

    app = make_app(little, place)
    app._open_store = broken  # type: ignore[assignment]
    drive(app, body)


def test_knowledge_that_cannot_be_read_is_said(little: Engine, place: Path) -> None:
    """File, line and remedy stand on the screen; no traceback."""

    def broken() -> Engine:
        raise KnowledgeError("No such field.", "causes/meter.yaml:12", "Correct its name.")

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        text = words(app)
        assert "causes/meter.yaml:12: No such field. Correct its name." in text
        app.run_named("demo")
        await press(pilot, "down", "down", "enter")
        assert app.return_code is None

    app = make_app(little, place)
    app._make_engine = broken
    drive(app, body)


def test_below_sixty_by_eighteen_it_says_so(little: Engine, place: Path) -> None:
    """A window too small says what it needs, and comes back when it grows."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await resize(pilot, (50, 16))
        assert "at least 60 columns and 18 lines" in words(app)
        await resize(pilot, (80, 24))
        assert "What do they say?" in screen_text(app)

    drive(make_app(little, place), body)


def test_settings_are_kept(little: Engine, place: Path) -> None:
    """Colours, units and channel hold after the next start."""

    async def choose(app: DiagApp, pilot: Pilot[int]) -> None:
        app.run_named("settings")
        await press(pilot, "3", "tab", "2", "tab", "2", "ctrl+s")
        assert (app.theme, app.units) == ("full sun", "metric")

    async def again(app: DiagApp, pilot: Pilot[int]) -> None:
        assert (app.theme, app.units, app.chosen["channel"]) == ("full sun", "metric", "site")

    drive(make_app(little, place), choose)
    drive(make_app(little, place), again)


def test_a_call_begins_with_the_first_letter(big: Engine, place: Path) -> None:
    """Words, Enter, Enter: what was heard for sure is taken along, the call stands on the desk."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "Row 7 skips since Saturday, 12 row planter, corn, 5 mph")
        await same_screen(app, pilot, "hearing")
        assert "HEAR" in screen_text(app)
        await press(pilot, "enter", "enter", "enter")  # once more where nothing is sure: it is said, then goes on
        (work,) = app.works.values()
        state = work.call.state
        assert work.call.text_of("complaint", "words").startswith("Row 7 skips")
        assert state.situation.rows == (7,)
        assert work.can_undo
        await press(pilot, "ctrl+z")
        assert work.call.state.accepted == ()
        assert work.call.state.situation.rows is None

    drive(make_app(big, place), body)


def test_a_fact_is_dropped_and_a_candidate_taken(big: Engine, place: Path) -> None:
    """A letter drops a fact, a digit takes a candidate or drops it; typing on does not change that."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "Row 7 skips, corn")
        await press(pilot, "enter")
        panel = app.screen.query_one(HeardPanel)
        fact = panel.facts[0]
        first = panel.candidates[0]
        await press(pilot, "a", "1")
        assert panel.facts[0].taken != fact.taken
        assert first.taken  # ticked by hearing alone: a digit takes it for good, once more drops it
        assert panel.candidates[0].taken
        await press(pilot, "1")
        assert not panel.candidates[0].taken
        await press(pilot, "up")
        await type_in(pilot, " since Monday")
        assert next(c for c in panel.facts if c.key == fact.key).taken != fact.taken
        assert next(c for c in panel.candidates if c.key == first.key).taken != first.taken

    drive(make_app(big, place), body)


def test_half_taken_calls_are_kept(little: Engine, place: Path) -> None:
    """Esc goes to the calls with the words kept; a program that dies has them at its next start."""

    async def dies(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "it is thin")
        await press(pilot, "escape")
        assert "Half taken: it is thin" in screen_text(app)
        app.keep_drafts()
        await still(pilot)
        app._exit = True

    async def again(app: DiagApp, pilot: Pilot[int]) -> None:
        assert app.screen.query_one(WordsField).text == "it is thin"
        assert app.store is not None
        assert app.store.call_ids() == []

    drive(make_app(little, place), dies)
    drive(make_app(little, place), again)


def test_the_card_is_filled_before_the_first_question(little: Engine, place: Path) -> None:
    """F5: customer, machine, rows; what does not fit is told; all of it goes into the call."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "it is thin")
        await press(pilot, "f5")
        fields = {r.key: r.field for r in app.screen.query(Row)}
        fields["customer"].value = "Alder Flat"  # type: ignore[attr-defined]
        fields["machine_rows"].value = "12"  # type: ignore[attr-defined]
        fields["rows"].value = "7"  # type: ignore[attr-defined]
        await press(pilot, "ctrl+s")
        assert "Alder Flat" in screen_text(app)
        await press(pilot, "ctrl+s", "ctrl+s")
        (work,) = app.works.values()
        assert work.call.text_of("opened", "customer") == "Alder Flat"
        assert (work.call.state.machine.rows, work.call.state.situation.rows) == (12, (7,))

    drive(make_app(little, place), body)


def test_a_message_is_not_confirmed(little: Engine, place: Path) -> None:
    """F8 twice: from a message; who spoke and when to call back are asked on the card; nothing counts as seen."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "it is thin")
        await press(pilot, "f8", "f8", "f5")
        fields = {r.key: r.field for r in app.screen.query(Row)}
        fields["spoke"].value = "the driver"  # type: ignore[attr-defined]
        fields["call_back"].value = "10:40"  # type: ignore[attr-defined]
        await press(pilot, "ctrl+s", "ctrl+s", "ctrl+s")
        (work,) = app.works.values()
        assert "Spoke: the driver" in work.call.text_of("note", "text")
        assert work.call.state.due == "2026-05-04T10:40:00Z"

    drive(make_app(little, place), body)


def test_what_is_not_shown_keeps_no_focus(little: Engine, place: Path) -> None:
    """Words that come back while the list has the focus take it; the list takes it where the words are left."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await still(pilot)
        await press(pilot, "escape")
        await pilot.pause()
        app.screen.query_one("#calls").focus()
        app.screen.query_one(WordsField).text = "it is thin"
        await still(pilot)
        assert app.focused is app.screen.query_one(WordsField)
        await press(pilot, "enter", "escape")
        assert app.focused is not None
        assert app.focused.display

    drive(make_app(little, place), body)


def test_what_waits_to_be_sent_stands_on_every_screen(
    little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As long as the store keeps something for a server, the top line says so: on the list, the desk, the catch-up."""
    waits, watching = ["kept here, 3 to send"], []
    monkeypatch.setattr(Store, "waits", property(lambda _: waits[0]))
    monkeypatch.setattr(Store, "watch", lambda _, tell: watching.append(tell))

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await still(pilot)
        assert "kept here, 3 to send" in screen_text(app).splitlines()[0]
        await put_on_desk(app, pilot)
        assert "kept here, 3 to send" in screen_text(app).splitlines()[0]
        await app.run_action("do('catch_up')", default_namespace=app.screen)
        await still(pilot)
        assert "kept here, 3 to send" in screen_text(app).splitlines()[0]
        waits[0] = ""
        for tell in watching:
            tell()
        await still(pilot)
        assert "to send" not in screen_text(app)

    drive(make_app(little, place), body)


def test_every_key_before_ctrl_s_is_taken(little: Engine, place: Path) -> None:
    """Ctrl+S and Enter come after the keys that were pressed before them, however fast."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        for letter in "it is thin":
            app.post_message(events.Key("space" if letter == " " else letter, letter))
        app.post_message(events.Key("ctrl+s", None))
        await still(pilot)
        await press(pilot, "enter")
        (work,) = app.works.values()
        assert work.call.text_of("complaint", "words") == "it is thin"

    drive(make_app(little, place), body)


def test_letters_typed_in_the_list_begin_a_call(little: Engine, place: Path) -> None:
    """Nothing typed on the first screen is lost; Up on the first line leads to the words; what is hidden has no focus.
    """
    fill(little, place)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "down", "down", "up", "up")
        assert app.screen.query_one(WordsField).has_focus
        await press(pilot, "down", *"jk 7")
        assert app.screen.query_one(WordsField).text == "jk 7"
        await press(pilot, "enter", "down")
        assert app.screen.query_one(HeardPanel).has_focus
        await press(pilot, "up")
        await press(pilot, *["backspace"] * 4)
        await put_on_desk(app, pilot)
        await press(pilot, "f2")
        assert app.screen.query_one(WordsField).has_focus

    drive(make_app(little, place), body)


def test_a_notice_goes_when_it_is_heeded(little: Engine, place: Path) -> None:
    """What a digit did is told; the notice that nothing is taken does not outlive it, nor the call."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await type_in(pilot, "it is thin")
        await press(pilot, "enter", "1")
        panel = app.screen.query_one(HeardPanel)
        taken = panel.candidates[0].taken
        assert f"{'Taken' if taken else 'Dropped'}: {panel.candidates[0].words}" in words(app)
        await press(pilot, *(["1"] if taken else []), "enter")
        assert "Nothing is taken of what it sounds like" in words(app)
        await press(pilot, "9", "1")
        assert "Nothing is taken" not in words(app)
        await press(pilot, "enter", "f2")
        assert "aken: " not in words(app)

    drive(make_app(little, place), body)


@pytest.mark.parametrize("typed", [False, True])
def test_what_is_picked_before_the_knowledge_is_read_opens_after_it(
    little: Engine, place: Path, typed: bool
) -> None:
    """A call picked early opens once the knowledge is there, unless another call was begun meanwhile."""
    fill(little, place)
    read = threading.Event()

    def slow() -> Engine:
        read.wait(60)
        return little

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        while app.store is None or not app.screen.query_one(CallsList).keys:
            await pilot.pause()
        await pilot.pause()
        await pilot.press("down", "enter")
        await pilot.pause()
        assert "still being read; then this is done" in words(app)
        if typed:
            app.screen.query_one(WordsField).text = "thin"
            await pilot.pause()
        read.set()
        await still(pilot)
        assert isinstance(app.screen, DeskScreen) is not typed

    app = make_app(little, place)
    app._make_engine = slow

    async def run() -> None:
        async with app.run_test(size=SMALL) as pilot:
            await body(app, pilot)

    asyncio.run(run())


def test_a_call_of_nobody_named_is_told_by_its_words(little: Engine, place: Path) -> None:
    """Two calls without a name can be told apart: each begins with what was said."""
    store = open_store(place, random=Chance())
    desk = Desk(little, store, store.desk_id(), lambda: NOW, Chance())
    for said in ("row 7 is thin", "", "all of it is thick since noon " * 4):
        call = desk.new_call("phone")
        if said:
            call.set_complaint(said, [])
    store.close()

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        text = words(app)
        assert '"row 7 is thin"' in text
        assert '"all of it is thick since noon' in text
        assert text.count("nobody named") == 1

    drive(make_app(little, place), body)
