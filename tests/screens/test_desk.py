"""The desk: cautions first, a field that fits, causes in words, nothing lost when something fails."""

from __future__ import annotations

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
from textual.pilot import Pilot

from diag.ask.answers import CALLED
from diag.call.desk import CallDesk
from diag.errors import StoreError
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.tui.app import DiagApp
from diag.tui.screens import explain
from diag.tui.widgets import answer
from diag.tui.widgets.answer import AnswerBox
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lines import LinesField


async def take(app: DiagApp, pilot: Pilot[int], check: str) -> None:
    """Take a check by hand."""
    (work,) = app.works.values()
    work.taken = check
    app.screen.show_call()  # type: ignore[attr-defined]
    await still(pilot)


def outcomes(call: CallDesk) -> list[tuple[str, str | None]]:
    """Return what was answered."""
    return [(a.check, a.outcome) for a in call.state.answers]


def test_a_question_with_its_reason(little: Engine, place: Path) -> None:
    """The check, its steps, why, the other offers; causes by word before figures."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await same_screen(app, pilot, "desk_question")
        await press(pilot, "2", "enter")
        assert len(call.state.answers) == 1
        assert "up" in screen_text(app) or "down" in screen_text(app)

    drive(make_app(little, place), body)


def test_a_warning_is_read_first(little: Engine, place: Path) -> None:
    """The caution stands first and is acknowledged and logged before the answer can be given."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await same_screen(app, pilot, "desk_warning")
        await press(pilot, "1", "enter")
        assert [(c.caution, c.acknowledged, c.shown_to) for c in call.state.cautions] == [
            ("stop_first", "key", "technician")
        ]
        assert call.state.answers == ()
        assert "WARNING: Stop it first." in screen_text(app)

    drive(make_app(little, place), body)


def test_what_makes_it_dangerous_is_asked_once(little: Engine, place: Path) -> None:
    """Before the first hands-on step: ticks, one Enter; what is ticked brings its caution; not asked again."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.withdraw(next(e.id for e in call.events if e.kind == "situation"))
        await take(app, pilot, "open_one")
        assert "Before hands go on" in words(app)
        await press(pilot, "2", "enter")
        assert call.state.situation.flags == ("dark",)
        assert "CAUTION: Bring a light." in words(app)
        await press(pilot, "1", "enter", "f", "enter")
        await take(app, pilot, "spun")
        assert "Before hands go on" not in words(app)

    drive(make_app(little, place), body)


def test_readings_come_from_a_file(little: Engine, place: Path, tmp_path: Path) -> None:
    """A CSV file fills the answer, to be looked through first; a file that is none is refused beside its field."""
    (tmp_path / "vacuum.csv").write_text("row,vacuum_inh2o\n1,18\n2,-\n3,17.5\n4,12\n")

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await app.run_action("from_file", default_namespace=app.screen)
        await still(pilot)
        await type_in(pilot, str(tmp_path / "none.csv"))
        await press(pilot, "ctrl+s")
        assert "There is no such file." in words(app)
        app.screen.query("#page LineField").first(LineField).value = str(tmp_path / "vacuum.csv")
        await press(pilot, "ctrl+s")
        assert app.screen.query_one("#lines", LinesField).text == "1: 18, 3: 17.5, 4: 12 inH2O"
        await press(pilot, "enter")
        assert sorted(call.state.answers[0].values or ()) == ["1", "3", "4"]

    drive(make_app(little, place), body)


def test_danger_is_typed(little: Engine, place: Path) -> None:
    """Anything but the word is refused with the way out; the word is logged as typed."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "spun")
        await type_in(pilot, "yes")
        await press(pilot, "enter")
        assert "Type the word DANGER" in words(app)
        assert call.state.cautions == ()
        app.screen.query_one("#line", LineField).value = "danger"
        await press(pilot, "enter")
        assert [c.acknowledged for c in call.state.cautions] == ["typed"]
        await press(pilot, "2", "enter")
        assert outcomes(call) == [("spun", "no")]

    drive(make_app(little, place), body)


def test_a_refused_caution_is_no_answer(little: Engine, place: Path) -> None:
    """ "Not that" records that it cannot be done here."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "2", "enter")
        assert {a.status for a in call.state.answers} == {"cannot_here"}

    drive(make_app(little, place), body)


def test_one_look_one_form(little: Engine, place: Path) -> None:
    """Ticks for what is wrong, F for the rest; what stays open is not recorded."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "1", "enter", "1")
        await same_screen(app, pilot, "desk_form")
        await press(pilot, "f", "enter")
        assert outcomes(call) == [("open_two", "ok"), ("open_one", "bad")]

    drive(make_app(little, place), body)


def test_what_was_not_looked_at_is_not_fine(little: Engine, place: Path) -> None:
    """Enter without F records only the ticks; nothing ticked records nothing."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "open_one")
        await press(pilot, "1", "enter", "enter")
        assert "Nothing is ticked." in words(app)
        await press(pilot, "2", "enter")
        assert outcomes(call) == [("open_two", "bad")]

    drive(make_app(little, place), body)


def test_a_reading_shows_its_verdict_as_one_types(little: Engine, place: Path) -> None:
    """What is needed to judge is asked once; then the gauge's unit, verdict and basis form beside the field."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "fan_gauge")
        assert "Needed once" in words(app)
        await type_in(pilot, "20 inH2O")
        await press(pilot, "enter")
        await type_in(pilot, "140")
        assert "No unit was typed, and 140 inH2O is unusual" in words(app)
        app.screen.query_one("#line", LineField).value = "14"
        await still(pilot)
        await same_screen(app, pilot, "desk_reading")
        assert "= below what was set" in words(app)
        await press(pilot, "enter")
        (answer,) = call.state.answers
        assert answer.value == {"value": "14", "unit": "inH2O"}

    drive(make_app(little, place), body)


def test_what_nobody_knows_is_not_asked_twice(little: Engine, place: Path) -> None:
    """F7 at a need: the reading is taken all the same, without a verdict."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "fan_gauge")
        await press(pilot, "f7")
        await type_in(pilot, "14 inH2O")
        assert "no verdict yet" in words(app)
        await press(pilot, "enter")
        assert call.state.answers[0].value == {"value": "14", "unit": "inH2O"}

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
        for caution in app.desk.engine.knowledge.cautions:  # type: ignore[union-attr]
            call.acknowledge(caution)
        app.works[call.call].judge()
        await still(pilot)
        check = next(k for k, c in big.knowledge.questions.items() if set(c.takes.labels) == CALLED)
        await take(app, pilot, check)
        await type_in(pilot, "ggggg gglgg ggggl ggggg ggglg ggggg ggggg glggg ggggg ggggg")
        assert "50 spacings: 46 good, 0 close, 4 gaps" in words(app)
        assert "say:" in screen_text(app)

    drive(make_app(big, place), body)


def test_a_reading_in_words(little: Engine, place: Path) -> None:
    """F5 at a reading: its results as a list, for somebody who has no figures."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await take(app, pilot, "row_gauge")
        await press(pilot, "f5", "1", "enter")
        assert outcomes(call) == [("row_gauge", "one_low")]

    drive(make_app(little, place), body)


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
        assert app.screen.query_one("#lines", LinesField).text == "1: 18, 2: -, 3: 17.5, 4: 18, 5: 18 inH2O"
        await press(pilot, "enter")
        assert sorted(call.state.answers[0].values or ()) == ["1", "3", "4", "5"]

    drive(make_app(little, place), body)


def test_not_sure_and_cannot_here(little: Engine, place: Path) -> None:
    """F7 and F8 are statuses; the next check comes."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "f7", "f8")
        assert [a.status for a in call.state.answers] == ["unsure", "cannot_here"]

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
        assert "What turns it?" in words(app)
        await press(pilot, "3", "enter")
        assert call.state.machine.axes["drive"] == "unknown"
        assert "Motor amps" in screen_text(app)

    drive(make_app(little, place), body)


def test_other_offers_and_any_check(little: Engine, place: Path) -> None:
    """Ctrl+T takes the second offer; F3 finds any check by words."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        title = str(app.screen.query_one("#check").border_title)
        await press(pilot, "ctrl+t")
        assert str(app.screen.query_one("#check").border_title) != title
        await press(pilot, "f3")
        await type_in(pilot, "every")
        await press(pilot, "down", "enter")
        assert "Vacuum at every row" in str(app.screen.query_one("#check").border_title)

    drive(make_app(little, place), body)


def test_a_fact_is_told_without_being_asked(little: Engine, place: Path) -> None:
    """F3, a word of the result, Enter: recorded, and not asked again."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        await press(pilot, "f3")
        await type_in(pilot, "blue")
        await press(pilot, "down", "enter")
        assert outcomes(call) == [("plain", "blue")]
        assert call.state.answers[0].observer == "caller"

    drive(make_app(little, place), body)


def test_undo_and_redo(little: Engine, place: Path) -> None:
    """Ctrl+Z takes back, Ctrl+Y does again, and both say so."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1", "enter")
        before = outcomes(call)
        await press(pilot, "ctrl+z")
        assert outcomes(call) == []
        assert "Taken back" in screen_text(app)
        await press(pilot, "ctrl+y")
        assert outcomes(call) == before

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
        assert "row 3 | caller | at 6:20" in str(app.screen.query_one("#answer").border_title)
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
        assert app.screen.query_one("#lines", LinesField).text == "from 1: 18 18"
        assert app.screen.query_one("#lines").has_focus

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
        assert app.screen.query_one("#lines", LinesField).text == "from 1: 18 18"
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
        app.screen.action_retry()  # type: ignore[attr-defined]
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
            broken.setattr(answer, "preview", lambda *_: 1 / 0)
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
        assert app.screen.query_one("#lines", LinesField).text == "from 1: 18 18 17 inH2O"
        await press(pilot, "enter")
        assert len(call.state.answers) == 1

    drive(make_app(little, place), body)


def test_killed_and_taken_up_again(little: Engine, place: Path) -> None:
    """An application that dies between two answers has every answer on disk."""
    ids: list[str] = []

    async def dies(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1", "enter", "1", "enter")
        ids.append(call.call)
        app._exit = True  # no leaving, no closing: the process is simply gone

    async def goes_on(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "6", "enter")
        call = app.works[ids[0]].call
        assert len(call.state.answers) == 2
        assert "Causes" in screen_text(app)

    drive(make_app(little, place), dies)
    stored = open_store(place)
    assert sum(e.kind == "answer" for e in stored.events(ids[0])) == 2
    stored.close()
    drive(make_app(little, place), goes_on)


def test_no_answer_is_given_to_a_check_that_is_gone(little: Engine, place: Path) -> None:
    """Enter pressed twice in a hurry answers once."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        box = app.screen.query_one("#answer", AnswerBox)
        pick = box.query_one("#pick")
        pick.action_select()  # type: ignore[attr-defined]
        pick.action_select()  # type: ignore[attr-defined]
        await still(pilot)
        assert len(call.state.answers) == 1

    drive(make_app(little, place), body)


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
        app.screen.post_message(events.Paste("[/x] \x1b[31m " + "9" * 10_000))
        await still(pilot)
        await press(pilot, "enter")
        assert call.state.answers == ()
        assert "\x1b" not in screen_text(app)
        app.screen.query_one("#lines", LinesField).text = "0 6 12 18 24 in"
        await press(pilot, "enter")
        assert len(call.state.answers) == 1

    drive(make_app(little, place), body)
