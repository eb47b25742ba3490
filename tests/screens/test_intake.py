"""Taking a call: live matches with reasons, ticks, rows, nothing needed but a complaint."""

from __future__ import annotations

from pathlib import Path

from screens.driving import SMALL, drive, make_app, press, same_screen, screen_text, still, type_in, words
from textual import events
from textual.pilot import Pilot

from diag.call.desk import CallDesk
from diag.reason.judge import Engine
from diag.tui.app import DiagApp
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import Ticks

SAID = "Two seeds in one spot on row 7 since we filled new seed, 16 row planter, 5 mph"


def only_call(app: DiagApp) -> CallDesk:
    """Return the one call in work."""
    (work,) = app.works.values()
    return work.call


def test_words_bring_matches_and_facts(big: Engine, place: Path) -> None:
    """What it sounds like, with the words it rests on; facts as ticks that fill their fields; one key each."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter")
        await type_in(pilot, SAID)
        assert 'Too many doubles: "Two seeds in one spot"' in words(app)
        await press(pilot, "enter", "1", "tab", "1", "2", "3", "4", "5")
        assert app.screen.query_one("#rows", LineField).value == "7"
        assert app.screen.query_one("#machine_rows", LineField).value == "16"
        await press(pilot, "ctrl+s")
        state = only_call(app).state
        assert [s for s, _ in state.accepted] == ["doubles_high"]
        assert (state.situation.rows, state.machine.rows) == ((7,), 16)

    drive(make_app(big, place), body)


def test_the_form_reads_well(little: Engine, place: Path) -> None:
    """Driving first, then their words, rows, what changed; the rest below."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter")
        await type_in(pilot, "row 7 is thin")
        app.screen.query_one("#machine_rows", LineField).value = "8"
        app.screen.query_one("#rows", LineField).value = "7"
        await still(pilot)
        await same_screen(app, pilot, "intake")

    drive(make_app(little, place), body)


def test_a_call_starts_with_words_alone(little: Engine, place: Path) -> None:
    """Type, Ctrl+S: the desk asks its first check; all else can follow."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter")
        await type_in(pilot, "it is thin")
        await press(pilot, "ctrl+s")
        assert only_call(app).text_of("complaint", "words") == "it is thin"
        assert "Causes" in screen_text(app)

    drive(make_app(little, place), body)


def test_an_empty_call_is_not_begun(little: Engine, place: Path) -> None:
    """Neither words nor a symptom: said beside the field, nothing recorded."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "2", "enter", "ctrl+s")
        assert "Type what they say, or tick a symptom" in words(app)
        assert not app.works

    drive(make_app(little, place), body)


def test_what_does_not_fit_is_said_beside_its_field(little: Engine, place: Path) -> None:
    """Rows the machine has not, a speed without unit: both named, the first one gets the cursor."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "2", "enter")
        await type_in(pilot, "it is thin")
        for name, text in (("machine_rows", "8"), ("rows", "3, 9"), ("speed", "5")):
            app.screen.query_one(f"#{name}", LineField).focus()
            await type_in(pilot, text)
        await press(pilot, "ctrl+s")
        assert "There is no row 9: this machine has 8 rows." in words(app)
        assert app.focused is not None
        assert app.focused.id == "rows"
        assert not app.works

    drive(make_app(little, place), body)


def test_rows_are_marked_on_the_strip(little: Engine, place: Path) -> None:
    """Arrows and Space mark rows; the field beside says the same."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "2", "enter")
        app.screen.query_one("#machine_rows", LineField).value = "8"
        await still(pilot)
        app.screen.query_one("#strip").focus()
        await press(pilot, "right", "right", "space", "right", "space", "right", "space")
        assert app.screen.query_one("#rows", LineField).value == "3-5"
        assert " 1  2 [3][4][5] 6  7  8" in screen_text(app)
        await press(pilot, "a")
        assert app.screen.query_one("#rows", LineField).value == "all"

    drive(make_app(little, place), body)


def test_a_symptom_can_be_taken_from_the_list(little: Engine, place: Path) -> None:
    """F3 shows all symptoms; the one taken is ticked and recorded as chosen."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter", "f3", "2", "enter")
        assert app.screen.query_one("#matches", Ticks).ticked() == ("thick",)
        await press(pilot, "ctrl+s")
        assert only_call(app).state.accepted == (("thick", "chosen"),)

    drive(make_app(little, place), body)


def test_unticked_matches_are_asked_for_once(big: Engine, place: Path) -> None:
    """Ctrl+S with matches but no tick asks once, and goes on the second time."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter")
        await type_in(pilot, "doubles on all rows")
        await press(pilot, "ctrl+s")
        assert "Nothing is ticked of what it sounds like" in words(app)
        assert not app.works
        await press(pilot, "ctrl+s")
        assert only_call(app).state.accepted == ()

    drive(make_app(big, place), body)


def test_a_message_is_not_yet_confirmed(big: Engine, place: Path) -> None:
    """From a voice-mail: who spoke, when to call back, told at third hand, the first questions prepared."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "3", "enter")
        await type_in(pilot, "row 7 skips since we folded it")
        for name, text in (("spoke", "the hired driver, for Alder Flat"), ("call_back", "10:40")):
            app.screen.query_one(f"#{name}", LineField).focus()
            await type_in(pilot, text)
        app.screen.query_one("#matches").focus()
        await press(pilot, "1", "tab", "1", "ctrl+s")
        call = only_call(app)
        assert call.state.waiting is not None
        assert (call.state.waiting.reason, call.state.due) == ("caller", "2026-05-04T10:40:00Z")
        assert "not yet confirmed" in call.text_of("note", "text")
        assert {a.observer for a in call.state.answers} <= {"relayed"}
        assert "?" in call.text_of("waiting", "text")

    drive(make_app(big, place), body)


def test_hostile_words_are_only_words(big: Engine, place: Path) -> None:
    """Brackets, control bytes, direction marks, emoji and ten thousand letters in every field hurt nothing."""
    nasty = "[/x] [red] \\ [@click=app.quit] \x1b]0;t\x07 \u202e \U0001f33d " + "z" * 10_000

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "1", "enter")
        for field in (*app.screen.query(LineField), app.screen.query_one("#words", LinesField)):
            field.focus()
            await pilot.pause()
            app.screen.post_message(events.Paste(nasty))
            await still(pilot)
        assert "\x1b" not in screen_text(app)
        assert "\u202e" not in screen_text(app)
        await press(pilot, "ctrl+s")
        assert not app.works  # rows and speed are no such thing, and say so
        for name in ("rows", "crop", "target", "speed", "machine_rows"):
            app.screen.query_one(f"#{name}", LineField).value = ""
        await press(pilot, "ctrl+s", "ctrl+s")
        call = only_call(app)
        assert call.text_of("opened", "customer").startswith("[/x] [red] \\ [@click=app.quit] ]0;t")
        assert "\x1b" not in screen_text(app)
        assert "[/x] [red]" in screen_text(app)

    drive(make_app(big, place), body)


def test_typing_goes_on_while_the_knowledge_is_read(little: Engine, place: Path) -> None:
    """Words typed before the engine is there are kept and matched when it comes."""
    import threading

    gate = threading.Event()

    def slow() -> Engine:
        gate.wait(10)
        return little

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await pilot.press("1", "enter")
        await pilot.pause()
        await pilot.press(*"thin")
        await pilot.pause()
        assert app.engine is None
        assert "thin" in screen_text(app)
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert "still being read" in words(app)
        gate.set()
        await still(pilot)
        await press(pilot, "ctrl+s")
        assert only_call(app).text_of("complaint", "words") == "thin"

    app = make_app(little, place)
    app._make_engine = slow

    async def run() -> None:
        async with app.run_test(size=SMALL) as pilot:
            await pilot.pause()
            await body(app, pilot)

    import asyncio

    asyncio.run(run())
