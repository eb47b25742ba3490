"""The desk: cautions first, a field that fits, causes in words, nothing lost when something fails."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from screens.driving import (
    LARGE,
    SMALL,
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
from textual.containers import VerticalScroll
from textual.pilot import Pilot
from textual.widgets import Static

from diag.ask.answers import CALLED
from diag.call.desk import CallDesk
from diag.errors import StoreError
from diag.reason.cautions import spoken
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.tui.app import DiagApp
from diag.tui.screens import asking, explain
from diag.tui.screens.asking import AskingScreen
from diag.tui.screens.desk import DeskScreen
from diag.tui.screens.text import MenuScreen
from diag.tui.widgets.fields import LineField


async def take(app: DiagApp, pilot: Pilot[int], check: str) -> None:
    """Take a check by hand."""
    (work,) = app.works.values()
    work.taken = check
    app.screen.show_call()  # type: ignore[attr-defined]
    await still(pilot)


def line(app: DiagApp) -> LineField:
    """Return the line answers are typed in."""
    return app.screen.query_one("#line", LineField)


async def say(app: DiagApp, pilot: Pilot[int], text: str) -> None:
    """Type a line in place of what stands there, and Enter."""
    line(app).value = text
    await press(pilot, "enter")


def outcomes(call: CallDesk) -> list[tuple[str, str | None]]:
    """Return what was answered."""
    return [(a.check, a.outcome) for a in call.state.answers]


def test_readings_come_from_a_file(little: Engine, place: Path, tmp_path: Path) -> None:
    """A CSV file fills the answer, to be looked through first; a file that is none is refused beside its field."""
    (tmp_path / "vacuum.csv").write_text("row,vacuum_inh2o\n1,18\n2,-\n3,17.5\n4,12\n")

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        app.screen.action_do("from_file")  # type: ignore[attr-defined]
        await still(pilot)
        await type_in(pilot, str(tmp_path / "none.csv"))
        await press(pilot, "ctrl+s")
        assert "There is no such file." in words(app)
        app.screen.query("#page LineField").first(LineField).value = str(tmp_path / "vacuum.csv")
        await press(pilot, "ctrl+s")
        assert line(app).value == "1: 18, 3: 17.5, 4: 12 inH2O"
        await press(pilot, "enter")
        assert sorted(call.state.answers[0].values or ()) == ["1", "3", "4"]

    drive(make_app(little, place), body)


@pytest.mark.parametrize(
    ("check", "typed", "field", "stored", "told"),
    [
        ("row_gauge", "from 1: 18 18 18 18 18 18 12 18 inH2O", "values", 8, "one row lies below the others"),
        ("tape", " ".join(str(6 * i) for i in range(24) if i % 5) + "\n144 150 156 162 in", "positions", 23, "= gaps"),
        ("how_many", "9 of 30", "value", {"count": 9, "of": 30}, "= many"),
        ("called", "gggg ggcg gggl", "values", 3, "12 spacings"),
    ],
)
def test_every_kind_of_figures(
    little: Engine, place: Path, check: str, typed: str, field: str, stored: Any, told: str
) -> None:
    """Per row, along a tape, k of n, called out by keys: typed or pasted, judged while typing, recorded raw."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, check)
        await type_in(pilot, typed)
        assert told in words(app)
        await press(pilot, "enter")
        value = getattr(call.state.answers[0], field)
        shown = len(value["values"]) if field == "positions" else len(value) if isinstance(stored, int) else value
        assert shown == stored

    drive(make_app(little, place), body)


def test_the_verdict_is_in_sight_below_a_long_check(big: Engine, place: Path) -> None:
    """However long the check's page, the running count and the verdict stand below what is typed, at 80x24."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        for caution in (*big.knowledge.cautions, *spoken(big.knowledge)):
            call.acknowledge(caution)
        app.works[call.call].judge()
        await still(pilot)
        check = next(k for k, c in big.knowledge.questions.items() if set(c.takes.labels) == CALLED)
        await take(app, pilot, check)
        await type_in(pilot, "ggggg gglgg ggggl ggggg ggglg ggggg ggggg glggg ggggg ggggg")
        assert "50 spacings: 46 good, 0 close, 4 gaps" in words(app)
        assert "hear back" in screen_text(app)

    drive(make_app(big, place), body)


def test_figures_read_aloud(little: Engine, place: Path) -> None:
    """One figure a line, read back; a dash is not read; what cannot be is refused at once; then used."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await press(pilot, "ctrl+l")
        for figure, told in (
            ("18 inH2O", "row one: one eight inches of water"), ("-", "row two: not read"),
            ("1800", "cannot be a vacuum"), ("17.5", "row three: one seven point five inches of water"),
            ("18", "row four"), ("18", "row five"),
        ):
            app.screen.query_one("#figure", LineField).value = figure
            await press(pilot, "enter")
            assert told in words(app)
        await press(pilot, "ctrl+s")
        assert line(app).value == "1: 18, 2: -, 3: 17.5, 4: 18, 5: 18 inH2O"
        await press(pilot, "enter")
        assert sorted(call.state.answers[0].values or ()) == ["1", "3", "4", "5"]

    drive(make_app(little, place), body)


def test_an_axis_is_asked_when_a_check_needs_it(little: Engine, place: Path) -> None:
    """What one can see decides; "not known" is an answer and is not asked again."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        for check in ("plain", "split", "what_changed.seed", "what_changed.bolt", "open_one", "open_two", "fan_gauge",
                      "row_gauge", "tape", "called", "how_many", "remark", "spun"):
            call.answer(check, status="unsure")
        app.works[call.call].judge()
        await still(pilot)
        await say(app, pilot, "ask on")
        assert "What turns it?" in words(app)
        await say(app, pilot, "?")
        assert call.state.machine.axes["drive"] == "unknown"
        assert "Motor amps" in screen_text(app)

    drive(make_app(little, place), body)


def test_undo_and_redo(little: Engine, place: Path) -> None:
    """Ctrl+Z takes back, Ctrl+Y does again, and both say so."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1", "enter")
        before = outcomes(call)
        await press(pilot, "ctrl+z")
        assert outcomes(call) == []
        assert "Taken back: Plain look: red" in words(app)
        await press(pilot, "ctrl+y")
        assert outcomes(call) == before
        assert "Done again: Plain look: red" in words(app)

    drive(make_app(little, place), body)


def test_rows_who_and_when_beside_an_answer(little: Engine, place: Path) -> None:
    """Ctrl+R: the next answer is for other rows, by another observer, at another time; only the next."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "ctrl+r")
        await type_in(pilot, "3")
        await press(pilot, "tab", "5", "enter")
        await type_in(pilot, "20 min ago")
        await press(pilot, "ctrl+s")
        assert "for this answer: row 3, caller, at 6:20" in words(app)
        await press(pilot, "1", "enter", "1", "enter")
        first, second = call.state.answers
        assert (first.rows, first.observer, first.happened) == ((3,), "caller", "2026-05-04T06:20:00Z")
        assert (second.rows, second.happened) == (None, None)

    drive(make_app(little, place), body)


def test_resizing_keeps_what_was_typed(little: Engine, place: Path) -> None:
    """Half-typed text outlives the window's size, in both directions."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await type_in(pilot, "from 1: 18 18")
        for size in (LARGE, (62, 19), (40, 12), SMALL):
            await resize(pilot, size)
        assert line(app).value == "from 1: 18 18"
        assert line(app).has_focus

    drive(make_app(little, place), body)


def test_parking_keeps_half_typed_text(little: Engine, place: Path) -> None:
    """F2 parks a call with one key; the other call is taken, and back again the text is there."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        first = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await type_in(pilot, "from 1: 18 18")
        await press(pilot, "f2")
        second = await put_on_desk(app, pilot)
        assert "from 1" not in screen_text(app)
        await press(pilot, "f2")
        assert app.open_call(first.call) == ""
        await still(pilot)
        assert line(app).value == "from 1: 18 18"
        assert second.call in app.works

    drive(make_app(little, place), body)


def test_judging_that_fails_loses_nothing(little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The failure is said; what was recorded stands; judging again works; the program goes on."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        with monkeypatch.context() as broken:
            broken.setattr(Engine, "judge", lambda *a, **k: 1 / 0)
            await press(pilot, "1", "enter")
        assert "Judging failed: ZeroDivisionError" in words(app)
        assert len(call.state.answers) == 1
        app.screen.action_do("retry")  # type: ignore[attr-defined]
        await still(pilot)
        assert "Judging failed" not in screen_text(app)
        assert app.return_code is None

    drive(make_app(little, place), body)


def test_work_in_a_thread_that_fails_is_told(little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading that cannot be worked out by a fault of ours: said on the screen, recorded all the same."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "how_many")
        with monkeypatch.context() as broken:
            broken.setattr(asking, "reply", lambda *_, **__: 1 / 0)
            await type_in(pilot, "9 of 30")
        assert "Working out the reading failed: ZeroDivisionError" in words(app)
        await press(pilot, "enter")
        assert len(call.state.answers) == 1
        with monkeypatch.context() as broken:
            broken.setattr(explain, "told", lambda *_: 1 / 0)
            await press(pilot, "f4")
        assert "Telling it failed: ZeroDivisionError" in words(app)
        await press(pilot, "escape")
        assert app.return_code is None

    drive(make_app(little, place), body)


def test_a_store_that_fails_keeps_the_answer_in_the_field(
    little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is recorded, the text stays, the remedy is shown; then it is recorded."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await type_in(pilot, "from 1: 18 18 17 inH2O")

        def full(*_: object) -> None:
            raise StoreError("The disk is full.", "calls.db", "Make room, then Enter once more.")

        with monkeypatch.context() as broken:
            broken.setattr(app.store, "append", full)
            await press(pilot, "enter")
        assert "The disk is full. Make room, then Enter once more." in words(app)
        assert call.state.answers == ()
        assert line(app).value == "from 1: 18 18 17 inH2O"
        await press(pilot, "enter")
        assert len(call.state.answers) == 1

    drive(make_app(little, place), body)


@pytest.mark.parametrize("typed", [False, True])
def test_an_answer_the_store_did_not_take_is_tried_again(
    little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch, typed: bool
) -> None:
    """A store held by another program: the same answer again by itself, once; whoever types lets go of it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        assert app.store is not None
        append, later, due = app.store.append, AskingScreen.later, []

        def held(*_: object) -> None:
            raise StoreError("The store is held by another program.", "calls.db", "")

        def wait(page: AskingScreen, seconds: float, do: Callable[[], object]) -> None:
            due.append(do) if seconds == asking.RETRY_AFTER else later(page, seconds, do)

        monkeypatch.setattr(AskingScreen, "later", wait)
        monkeypatch.setattr(app.store, "append", held)
        await press(pilot, "1", "enter")
        assert "It is tried again by itself" in words(app)
        if typed:
            await press(pilot, "2")
        due.pop()()
        await still(pilot)
        assert len(due) == (0 if typed else 1)  # held still: once more
        monkeypatch.setattr(app.store, "append", append)
        for do in due:
            do()
        await still(pilot)
        assert len(call.state.answers) == (0 if typed else 1)
        assert ("tried again" in words(app)) == typed

    drive(make_app(little, place), body)


def test_killed_and_taken_up_again(little: Engine, place: Path) -> None:
    """An application that dies between two answers has every answer on disk."""
    ids: list[str] = []

    async def dies(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1", "enter")
        await take(app, pilot, "how_many")
        await say(app, pilot, "9 of 30")
        ids.append(call.call)
        app._exit = True  # no leaving, no closing: the process is simply gone

    async def goes_on(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "down", "enter")
        call = app.works[ids[0]].call
        assert len(call.state.answers) == 2
        assert "1 in " in screen_text(app)

    drive(make_app(little, place), dies)
    stored = open_store(place)
    assert sum(e.kind == "answer" for e in stored.events(ids[0])) == 2
    stored.close()
    drive(make_app(little, place), goes_on)


def test_a_stale_judgement_is_dropped(little: Engine, place: Path) -> None:
    """Two steps quickly one after the other: only the judgement of the last is shown."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        (work,) = app.works.values()
        work.do(lambda c: c.answer("plain", outcome="blue"))
        work.do(lambda c: c.answer("split", outcome="upper"))
        await still(pilot)
        shown = call.think()
        assert shown.state is call.state
        assert len(shown.read.seen) == 2

    drive(make_app(little, place), body)


def test_a_drop_of_files_and_long_pastes(little: Engine, place: Path) -> None:
    """A paste of ten thousand letters is refused in words, and the field stays usable."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "tape")
        await type_in(pilot, "[/x] \x1b[31m " + "9" * 10_000)
        await press(pilot, "enter")
        assert call.state.answers == ()
        assert "\x1b" not in screen_text(app)
        await say(app, pilot, "0 6 12 18 24 in")
        assert len(call.state.answers) == 1

    drive(make_app(little, place), body)


def test_a_question_and_nothing_selected(little: Engine, place: Path) -> None:
    """The question stands; Enter alone records nothing; a number and Enter do, and it is said with its undo."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await same_screen(app, pilot, "desk_question")
        events = len(call.events)
        await press(pilot, "enter", "enter")
        assert len(call.events) == events
        assert "Choose an answer" in words(app)
        await press(pilot, "2")
        assert len(call.events) == events
        assert "= blue" in screen_text(app)
        await press(pilot, "enter")
        assert outcomes(call) == [("plain", "blue")]
        assert "last: Plain look: blue" in words(app)
        assert "Ctrl+Z takes it back" in words(app)

    drive(make_app(little, place), body)


def test_how_it_is_done_stands_once(little: Engine, place: Path) -> None:
    """Under the question in a small window, beside it in a wide one; never in both."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        for size in ((80, 24), (120, 40)):
            await resize(pilot, size)
            assert words(app).count("Look.") == 1
        assert "How it is done" in words(app)

    drive(make_app(little, place), body)


def test_causes_make_way_for_a_long_question(big: Engine, place: Path) -> None:
    """At 80x24 every phone question stands whole with its answers, or no cause but the first is left below it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        for caution in (*big.knowledge.cautions, *spoken(big.knowledge)):
            call.acknowledge(caution)
        app.works[call.call].judge()
        await still(pilot)
        longest = sorted((k for k, c in big.knowledge.questions.items() if c.phone),
                         key=lambda k: -len(big.knowledge.questions[k].outcomes))[:3]
        for key in longest:
            await take(app, pilot, key)
            box = app.screen.query_one("#ask", VerticalScroll)
            causes = str(app.screen.query_one("#causes", Static).content)
            assert box.max_scroll_y == 0 or causes.count("■ ") <= 1, key

    drive(make_app(big, place), body)


def test_an_arrow_chooses(little: Engine, place: Path) -> None:
    """Down marks the first answer, Up the last; Enter records the one that is marked."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "down", "down", "enter")
        assert outcomes(call) == [("plain", "blue")]
        await take(app, pilot, "split")
        await press(pilot, "up", "enter")
        assert outcomes(call)[1] == ("split", list(little.knowledge.questions["split"].outcomes)[-1])

    drive(make_app(little, place), body)


def test_a_key_before_the_question_acts_on_nothing(little: Engine, place: Path) -> None:
    """Keys that come while the call is judged, or before the new question was drawn, are dropped and said so."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1")
        app.post_message(events.Key("enter", None))  # answers the question that stands
        app.post_message(events.Key("1", "1"))
        app.post_message(events.Key("enter", None))  # both meant for a question nobody has seen
        await still(pilot)
        assert len(call.state.answers) == 1
        assert line(app).value == ""
        assert "Pressed before the question stood here" in words(app)

    drive(make_app(little, place), body)


def test_words_answer(little: Engine, place: Path) -> None:
    """The beginning of an answer's words finds it; nonsense is said back."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await say(app, pilot, "zebra")
        assert "Not understood: zebra" in words(app)
        await say(app, pilot, "blu")
        assert outcomes(call) == [("plain", "blue")]

    drive(make_app(little, place), body)


def test_a_sentence_is_said_first_and_once(little: Engine, place: Path) -> None:
    """The sentence stands alone, is agreed to and logged; then it stands in one line above the question."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await same_screen(app, pilot, "desk_say")
        await press(pilot, "enter")
        assert call.state.cautions == ()
        await press(pilot, "1", "enter")
        assert [(c.caution, c.acknowledged, c.shown_to) for c in call.state.cautions] == [
            ("hazard.hands_in_meter", "key", "technician")
        ]
        assert call.state.answers == ()
        assert "said: Stop it first, and wait until it stands." in screen_text(app)
        await take(app, pilot, "open_two")
        assert "SAY FIRST" not in screen_text(app)

    drive(make_app(little, place), body)


def test_cautions_in_full_are_read_only_to_their_end(little: Engine, place: Path) -> None:
    """F7 shows every word; they are noted as read once the end was on the screen."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "f7")
        assert "WARNING: Stop it first. Then wait until it stands. (operator's manual)" in words(app)
        app.screen.query_one("#page").styles.max_height = 2
        await still(pilot)
        await press(pilot, "ctrl+s")
        assert call.state.cautions == ()
        assert "not on the screen yet" in words(app)
        await press(pilot, "end", "ctrl+s")
        assert [c.caution for c in call.state.cautions] == ["stop_first"]
        assert isinstance(app.screen, DeskScreen)

    drive(make_app(little, place), body)


def test_an_emergency_stops_the_diagnosis(little: Engine, place: Path) -> None:
    """F12 shows what to do; what happened is noted, and nothing is asked until the danger is over."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "f12")
        assert "Call the emergency number first" in words(app)
        await press(pilot, "enter")
        assert call.state.situation.flags == ()
        await press(pilot, "1", "enter")
        assert call.state.situation.flags == ("driving",)
        assert "Stop the vehicle or the call." in words(app)
        assert "Plain look." not in screen_text(app)
        await press(pilot, "1", "enter")
        assert call.state.situation.flags == ()
        assert "Plain look." in screen_text(app)

    drive(make_app(little, place), body)


def test_what_is_special_about_the_place_is_asked_once(little: Engine, place: Path) -> None:
    """One line before the first sentence; Enter for nothing, a word or number else; not asked again."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.withdraw(next(e.id for e in call.events if e.kind == "situation"))
        app.works[call.call].judge()
        await still(pilot)
        await take(app, pilot, "open_one")
        assert "Anything special about the place: dark?" in words(app)
        await say(app, pilot, "it is dark")
        assert call.state.situation.flags == ("dark",)
        await press(pilot, "ctrl+z")
        await take(app, pilot, "open_one")
        await press(pilot, "enter")
        assert call.state.situation.flags == ()
        await press(pilot, "1", "enter")
        await take(app, pilot, "spun")
        assert "Anything special" not in words(app)

    drive(make_app(little, place), body)


def test_danger_is_typed(little: Engine, place: Path) -> None:
    """It stands alone; anything but the word is refused with the way out; the word is logged as typed."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "spun")
        await same_screen(app, pilot, "desk_danger")
        for typed in ("yes", "1", "danger"):
            await say(app, pilot, typed)
            assert "Type the word DANGER" in words(app)
        assert call.state.cautions == ()
        await say(app, pilot, "DANGER")
        assert [c.acknowledged for c in call.state.cautions] == ["typed"]
        await say(app, pilot, "n")
        assert outcomes(call) == [("spun", "no")]

    drive(make_app(little, place), body)


def test_a_sentence_that_is_not_so_is_no_answer(little: Engine, place: Path) -> None:
    """2: it is not so, the check can't be done here."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "2", "enter")
        assert {a.status for a in call.state.answers} == {"cannot_here"}

    drive(make_app(little, place), body)


def test_one_look_one_question(little: Engine, place: Path) -> None:
    """Numbers of what is wrong, a dash for the rest; undo takes the whole look back."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "1", "enter")
        line(app).value = "1 -"
        await still(pilot)
        await same_screen(app, pilot, "desk_form")
        await press(pilot, "enter")
        assert outcomes(call) == [("open_two", "ok"), ("open_one", "bad")]
        await press(pilot, "ctrl+z")
        assert outcomes(call) == []
        assert "Taken back: " in words(app)
        await press(pilot, "ctrl+y")
        assert len(outcomes(call)) == 2

    drive(make_app(little, place), body)


def test_what_was_not_looked_at_is_not_fine(little: Engine, place: Path) -> None:
    """Without the dash only what is named is recorded, and that is read back."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "1", "enter", "enter")
        assert call.state.answers == ()
        await press(pilot, "2")
        assert "the rest not looked at" in words(app)
        await press(pilot, "enter")
        assert outcomes(call) == [("open_two", "bad")]

    drive(make_app(little, place), body)


def test_a_reading_shows_its_verdict_as_one_types(little: Engine, place: Path) -> None:
    """What is needed to judge is asked once; the unit is that of the settings; verdict and basis form below."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "fan_gauge")
        assert "to judge: Vacuum at the fan" in words(app)
        await say(app, pilot, "20")
        await type_in(pilot, "14")
        await same_screen(app, pilot, "desk_reading")
        assert "14 inH2O" in words(app)
        assert "= below what was set" in words(app)
        await press(pilot, "enter")
        (answer,) = call.state.answers
        assert answer.value == {"value": "14", "unit": "inH2O"}

    drive(make_app(little, place), body)


def test_what_nobody_knows_is_not_asked_twice(little: Engine, place: Path) -> None:
    """A question mark at a need: the reading is taken all the same, without a verdict."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "fan_gauge")
        await say(app, pilot, "?")
        await type_in(pilot, "14 inH2O")
        assert "no verdict yet" in words(app)
        await press(pilot, "enter")
        assert call.state.answers[0].value == {"value": "14", "unit": "inH2O"}

    drive(make_app(little, place), body)


def test_a_reading_in_words(little: Engine, place: Path) -> None:
    """Its results stand as a list, for somebody who has no figures; figures refine."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await say(app, pilot, "alike")
        assert outcomes(call) == [("row_gauge", "even")]
        await press(pilot, "ctrl+z")
        await take(app, pilot, "row_gauge")
        await say(app, pilot, "row 6 18.2, row 7 11, row 8 18")
        assert sorted(call.state.answers[0].values or ()) == ["6", "7", "8"]

    drive(make_app(little, place), body)


def test_not_sure_and_cannot_here(little: Engine, place: Path) -> None:
    """ "?" and "x" are statuses; the next check comes."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await say(app, pilot, "?")
        await say(app, pilot, "x")
        assert {a.status for a in call.state.answers} == {"unsure", "cannot_here"}

    drive(make_app(little, place), body)


def test_other_offers_and_any_check(little: Engine, place: Path) -> None:
    """Ctrl+T takes the second offer; F3 finds any check by words: Enter goes to its line, Enter there asks it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        first = app.screen.turn.key  # type: ignore[attr-defined]
        await press(pilot, "ctrl+t")
        assert app.screen.turn.key != first  # type: ignore[attr-defined]
        await press(pilot, "f3")
        await type_in(pilot, "every")
        await press(pilot, "enter")
        assert not isinstance(app.screen, DeskScreen)
        await press(pilot, "enter")
        assert app.screen.turn.key == "row_gauge"  # type: ignore[attr-defined]
        assert not call.state.answers

    drive(make_app(little, place), body)


def test_a_fact_is_told_without_being_asked(little: Engine, place: Path) -> None:
    """F3 and a word of a result: it is read back first, recorded by its number and Enter, not asked again."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        await press(pilot, "f3")
        await type_in(pilot, "blue")
        await press(pilot, "down", "down", "enter")
        assert "Plain look: blue. Is that what was said?" in words(app)
        await press(pilot, "enter")
        assert outcomes(call) == []
        await press(pilot, "1", "enter")
        assert outcomes(call) == [("plain", "blue")]
        assert call.state.answers[0].observer == "caller"
        assert isinstance(app.screen, DeskScreen)

    drive(make_app(little, place), body)


def test_half_typed_text_outlives_the_program(little: Engine, place: Path) -> None:
    """What was typed and not recorded, and the check that was taken, are there after a program that simply died."""
    ids: list[str] = []

    async def dies(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await type_in(pilot, "from 1: 18 18")
        app.keep_drafts()
        await still(pilot)
        ids.append(call.call)
        app._exit = True

    async def goes_on(app: DiagApp, pilot: Pilot[int]) -> None:
        assert app.open_call(ids[0]) == ""
        await still(pilot)
        assert line(app).value == "from 1: 18 18"

    drive(make_app(little, place), dies)
    drive(make_app(little, place), goes_on)


def test_figures_at_a_look_go_to_the_reading_they_fit(big: Engine, place: Path) -> None:
    """No dead end: where several fit, a menu names them; Esc keeps what was typed; the question stays."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        while app.screen.turn.kind == "say":  # type: ignore[attr-defined]
            await press(pilot, "1", "enter")
        assert not app.screen.turn.check.measured  # type: ignore[attr-defined]
        await type_in(pilot, "6 18.2, 7 11, 8 18 inH2O")
        assert "Enter asks for which: Vacuum at the meters" in words(app)
        await press(pilot, "enter", "escape")
        assert line(app).value == "6 18.2, 7 11, 8 18 inH2O"
        assert not call.state.answers
        await press(pilot, "enter", "1", "enter")
        (answer,) = call.state.answers
        assert answer.check == "vac_manometer_row"
        assert list(answer.values) == ["6", "7", "8"]
        assert line(app).value == ""
        await press(pilot, *"3 mph", "enter", "1", "enter")
        assert call.state.situation.speed["value"] == "3"

    drive(make_app(big, place), body)


def test_what_is_asked_for_while_judging_is_done_after_it(
    little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """F9 before the judgement is there waits for it; after a failure it says so and does not come up later."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        desk = app.screen
        assert isinstance(desk, DeskScreen)
        desk.work.judge()
        desk.action_do("mend")
        assert app.screen is desk
        await still(pilot)
        assert isinstance(app.screen, MenuScreen)
        await press(pilot, "escape")
        assert app.screen is desk
        with monkeypatch.context() as broken:
            broken.setattr(Engine, "judge", lambda *a, **k: 1 / 0)
            await press(pilot, "1", "enter", "f9")
            assert "Judging failed. Ctrl+P, Judge again." in words(app)
        desk.action_do("retry")
        await still(pilot)
        assert app.screen is desk

    drive(make_app(little, place), body)


def test_a_word_half_typed_is_no_mistake(little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is not understood is told after a pause, what fits at once; typing on lets go of it; Enter tells at once."""
    later, due = AskingScreen.later, []

    def wait(page: AskingScreen, seconds: float, do: Callable[[], object]) -> None:
        due.append(do) if seconds == 7 else later(page, seconds, do)

    monkeypatch.setattr(asking, "MISTAKE_AFTER", 7)
    monkeypatch.setattr(AskingScreen, "later", wait)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, *"xyz")
        assert "Not understood" not in words(app)
        due[0]()
        assert "Not understood" not in words(app)
        due[-1]()
        await still(pilot)
        assert "Not understood" in words(app)
        await press(pilot, *["backspace"] * 3, "1")
        assert "= red" in words(app)
        await press(pilot, "backspace", "q", "enter")
        assert "Not understood" in words(app)

    drive(make_app(little, place), body)
