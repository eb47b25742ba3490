"""Forms, looking, changing, several checks at once: through every screen, with the keyboard, at both sizes."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from pathlib import Path

import pytest
from screens.driving import (
    LARGE,
    SMALL,
    drive,
    make_app,
    mend,
    press,
    put_on_desk,
    resize,
    same_screen,
    screen_text,
    still,
    type_in,
    words,
)
from textual.pilot import Pilot

from diag.ask.forms_mend import candidates
from diag.call.desk import CallDesk
from diag.reason.judge import Engine
from diag.say import present
from diag.tui.app import DiagApp
from diag.tui.screens.desk import DeskScreen
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.text import TextScreen
from diag.tui.screens.writeup import WriteUpScreen
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import PickList, Ticks
from diag.writeup.mending import MEND, doable


async def command(app: DiagApp, pilot: Pilot[int], action: str) -> None:
    """Run an act as the command palette does."""
    await app.run_action(action, default_namespace=app.screen)
    await still(pilot)


def row(app: DiagApp, name: str) -> LineField | LinesField | Ticks:
    """Return the field of a form by the name of the field."""
    from diag.tui.widgets.form import Row

    found = next(r.field for r in app.screen.query(Row) if r.key == name)
    assert isinstance(found, LineField | LinesField | Ticks)
    return found


async def put(app: DiagApp, pilot: Pilot[int], **values: str | int) -> None:
    """Fill fields of a form: text, or the number of the line to tick."""
    for name, value in values.items():
        field = row(app, name)
        field.focus()
        await pilot.pause()
        if isinstance(field, Ticks):
            await press(pilot, *str(value))
        elif isinstance(field, LinesField):
            field.text = str(value)
        else:
            field.value = str(value)
    await still(pilot)


def test_repair_proof_and_close(little: Engine, place: Path) -> None:
    """Repair with parts and settings, measured again, proved on that, closed with a follow-up due."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        app.works[call.call].taken = "split"
        await mend(app, pilot, "repair")
        await same_screen(app, pilot, "form_repair")
        await put(app, pilot, causes=1, rows="7", done_by=1, parts="1 seal, 4 brushes",
                  settings="vacuum: 18 inH2O -> 20 inH2O", minutes="25")
        await press(pilot, "ctrl+s")
        (repair,) = call.state.repairs
        assert [(p.item, p.qty) for p in repair.parts] == [("seal", 1), ("brushes", 4)]
        assert repair.settings[0].after == {"value": "20", "unit": "inH2O"}
        assert (repair.minutes, repair.rows, repair.done_by) == (25, (7,), "technician")
        assert app.works[call.call].taken is None  # the proof comes before what was in hand
        assert "Measure again: only that shows that it is mended." in words(app)
        assert "no, ask on" not in words(app)  # to measure again is to ask on
        app.works[call.call].taken = "plain"
        app.screen.show_call()  # type: ignore[attr-defined]
        await still(pilot)
        await press(pilot, "3", "enter")
        await mend(app, pilot, "proof")
        await same_screen(app, pilot, "form_proof")
        await put(app, pilot, answers=1, verdict=1)
        await press(pilot, "ctrl+s")
        assert call.state.proofs[0].verdict == "accepted"
        await mend(app, pilot, "close")
        await put(app, pilot, result=1, follow_up="tomorrow 8:00")
        await press(pilot, "ctrl+s")
        assert call.state.closed is not None
        assert call.state.due == "2026-05-05T08:00:00Z"
        assert "Closed" in screen_text(app)
        await press(pilot, "f2")
        assert "follow up tomorrow 8:00" in words(app)

    drive(make_app(little, place), body)


def test_the_cause_that_was_chosen_is_ticked(little: Engine, place: Path) -> None:
    """From "mend this" the form comes with that cause; from the menu with none."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "1", "enter")
        assert "Put this right: Alpha." in words(app)
        await press(pilot, "1", "enter")
        field = row(app, "causes")
        assert isinstance(field, Ticks)
        assert field.ticked() == ("alpha",)
        await press(pilot, "escape")
        await mend(app, pilot, "repair")
        field = row(app, "causes")
        assert isinstance(field, Ticks)
        assert field.ticked() == ()

    drive(make_app(little, place), body)


def test_no_key_moves_the_field_out_of_sight(big: Engine, place: Path) -> None:
    """In a form longer than the window the focus stays on the screen, whatever is pressed."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "f5")
        for key in ("pagedown", "pagedown", "tab", "tab", "pagedown", "pagedown", "end", "pageup", "shift+tab"):
            await press(pilot, key)
            assert app.focused is not None
            assert app.focused.region.intersection(app.screen.region).height >= 1, key

    drive(make_app(big, place), body)


def test_a_repair_begins_with_its_field(big: Engine, place: Path) -> None:
    """One sentence before the first field; what is ticked changes the texts; F7 has all cautions in full."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await mend(app, pilot, "repair")
        field = row(app, "causes")
        assert isinstance(field, Ticks)
        assert field.region.y <= 5
        knowledge = call.engine.knowledge
        for number, (cause, _) in enumerate(candidates(call), 1):
            await press(pilot, str(number))
            assert isinstance(app.screen, FormScreen)
            usual = next(f for f in app.screen.form.fields if f.name == "usual")
            assert knowledge.causes[cause].repair.do in str(usual.value)
        assert "F7 Cautions" in words(app)
        await press(pilot, "f7")
        assert "Cautions · " in words(app)
        await press(pilot, "escape")
        assert isinstance(app.screen, FormScreen)

    drive(make_app(big, place), body)


def test_nothing_is_accepted_that_was_not_measured(little: Engine, place: Path) -> None:
    """A verdict without a reading after the repair is refused beside its field."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.repair(["alpha"])
        app.works[call.call].judge()
        await still(pilot)
        await mend(app, pilot, "proof")
        await put(app, pilot, verdict=1)
        await press(pilot, "ctrl+s")
        assert "A repair is accepted on readings taken after it." in words(app)
        assert call.state.proofs == ()
        await press(pilot, "escape")
        assert isinstance(app.screen, DeskScreen)

    drive(make_app(little, place), body)


def test_a_no_at_the_follow_up_opens_the_call_again(little: Engine, place: Path) -> None:
    """Closed, asked again a day later, not even with its neighbours: open again with its answers."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.answer("plain", outcome="red")
        call.repair(["alpha"])
        call.close("mended")
        app.works[call.call].judge()
        await still(pilot)
        await mend(app, pilot, "follow_up")
        await press(pilot, "2", "ctrl+s")
        assert call.state.closed is None
        assert len(call.state.answers) == 1
        assert "not even with their neighbours" in call.text_of("note", "text")

    drive(make_app(little, place), body)


def test_the_menu_offers_what_can_be_done_and_says_why_the_rest_cannot(little: Engine, place: Path) -> None:
    """No proof before a repair, no repair of a closed call; what is offered opens, and changes nothing by itself."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        for step in (lambda: None, lambda: call.repair(["alpha"]), lambda: call.close("mended", "")):
            step()
            app.works[call.call].judge()
            await still(pilot)
            await press(pilot, "f9")
            told = words(app)
            assert list(MEND) == app.screen.query_one("#menu", PickList).keys  # each keeps its number
            await press(pilot, "escape")
            cannot = {d.name: d.why_not for d in doable(call) if d.why_not}
            offered = [name for name in MEND if name not in cannot]
            assert ("proof" in offered) == (bool(call.state.repairs) and call.state.closed is None)
            assert ("repair" in offered) == ("reopen" not in offered) == (call.state.closed is None)
            assert told.count("not now: ") == len(cannot)
            for name in cannot:
                await mend(app, pilot, name)
                assert f"Not now: {cannot[name]}." in words(app)
            for name in (n for n in offered if n != "reopen"):
                events = len(call.events)
                await mend(app, pilot, name)
                assert isinstance(app.screen, FormScreen | TextScreen), name
                await press(pilot, "escape")
                assert len(call.events) == events

    drive(make_app(little, place), body)


def test_a_closed_call_offers_what_can_still_be_done(little: Engine, place: Path) -> None:
    """Open again, follow-up, write-up: one line each."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.close("question_answered")
        app.works[call.call].judge()
        await still(pilot)
        assert "Closed: question answered" in screen_text(app)
        await press(pilot, "3", "enter")
        assert call.state.closed is None
        assert "Plain look" in screen_text(app)

    drive(make_app(little, place), body)


def test_changes_not_put_back_are_asked_for_at_the_end(little: Engine, place: Path) -> None:
    """A setting changed for a test stands on the desk until it is settled; closing asks what becomes of it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await command(app, pilot, "do('change')")
        await put(app, pilot, setting="vacuum", before="18 inH2O", after="20 inH2O")
        await press(pilot, "ctrl+s")
        assert "Not put back: vacuum (was 18 inH2O)" in words(app)
        await mend(app, pilot, "close")
        assert isinstance(app.screen, FormScreen)
        assert app.screen.form.fields[0].label.startswith("Not put back: vacuum")
        await put(app, pilot, put_back_0=2, result=1)
        await press(pilot, "ctrl+s")
        assert "What was asked, and what is the answer?" in words(app)
        await type_in(pilot, "Too thin? No, as it should be.")  # the focus stands there
        await press(pilot, "ctrl+s")
        assert call.state.not_put_back == ()
        assert call.state.closed is not None

    drive(make_app(little, place), body)


def test_done_before_the_call(little: Engine, place: Path) -> None:
    """What, rows, before and after, order, effect, old part, told by whom, when; printed as told."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        await command(app, pilot, "do('done_before')")
        assert "keep every old part as it is, unwashed" in words(app)
        await put(app, pilot, what="tightened the eliminator", rows="all", before="notch 3", after="notch 2", effect=3,
                  old_part=1, happened="yesterday 15:00")
        await press(pilot, "ctrl+s")
        done = call.state.done_before[0]
        assert (done.what, done.rows, done.before, done.effect, done.old_part, done.told_by) == (
            "tightened the eliminator", "all", "notch 3", "worse", "kept", "caller"
        )
        assert call.state.done_before[0].happened == "2026-05-03T15:00:00Z"

    drive(make_app(little, place), body)


def test_swap_note_wait_situation(little: Engine, place: Path) -> None:
    """A swap stands beside later readings; a note is kept; waiting shows in the list; rows and speed change."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await command(app, pilot, "do('swap')")
        await put(app, pilot, piece="meter", from_row="7", to_row="7")
        await press(pilot, "ctrl+s")
        assert "cannot be swapped with itself" in words(app)
        await put(app, pilot, to_row="6")
        await press(pilot, "ctrl+s", "ctrl+n")
        await put(app, pilot, text="[red] frank")
        await press(pilot, "ctrl+s")
        await command(app, pilot, "do('situation')")
        await put(app, pilot, speed="5 mph", changes=1)
        await press(pilot, "ctrl+s")
        await command(app, pilot, "do('waiting')")
        await put(app, pilot, until="10:40")
        await press(pilot, "ctrl+s")
        state = call.state
        assert (state.swaps[0].from_row, state.swaps[0].to_row) == (7, 6)
        assert call.text_of("note", "text") == "[red] frank"
        assert state.situation.speed == {"value": "5", "unit": "mph"}
        assert state.situation.changes == ("new_seed",)
        assert state.due == "2026-05-04T10:40:00Z"

    drive(make_app(little, place), body)


def test_what_was_typed_in_a_form_is_kept(little: Engine, place: Path) -> None:
    """Esc leaves a form; the next time its half-typed text is there."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "ctrl+n")
        await put(app, pilot, text="half a th")
        await press(pilot, "escape", "ctrl+n")
        assert isinstance(app.screen, FormScreen)
        field = row(app, "text")
        assert isinstance(field, LinesField)
        assert field.text == "half a th"

    drive(make_app(little, place), body)


def test_why(little: Engine, place: Path) -> None:
    """Topics, the one under the cursor told; what-if records nothing; the entry behind opens."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "3", "enter", "f4")
        events = len(call.events)
        await same_screen(app, pilot, "why")
        for _ in range(30):
            if str(app.screen.query_one("#topics", PickList).picked).startswith("if:"):
                break
            await press(pilot, "down")
        assert "what each answer would do" in words(app)
        await press(pilot, "down")
        assert "how often it is the cause on such machines" in words(app)
        await press(pilot, "enter")
        assert "mechanism" in screen_text(app) or "repair" in screen_text(app)
        assert len(call.events) == events
        await press(pilot, "escape", "escape")
        assert isinstance(app.screen, DeskScreen)

    drive(make_app(little, place), body)


def test_charts_of_readings(little: Engine, place: Path) -> None:
    """A row map and a histogram are drawn as text under their checks."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        values = {str(r): {"value": "18" if r != 5 else "12", "unit": "inH2O"} for r in range(1, 9)}
        call.answer("row_gauge", values=values)
        call.answer("tape", positions={"unit": "in", "values": [str(6 * i) for i in range(25)]})
        app.works[call.call].judge()
        await still(pilot)
        await press(pilot, "f4", "end")
        assert "row 5: 12 inH2O, low" in screen_text(app)
        assert "[5]" in screen_text(app)
        await press(pilot, *["pagedown"] * 4)
        assert "times target" in screen_text(app) or "single" in screen_text(app)

    drive(make_app(little, place), body)


def test_an_earlier_answer_is_changed(little: Engine, place: Path) -> None:
    """F6, the answer, change: the new one stands in its place, the old one is kept as withdrawn."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.answer("plain", outcome="red", rows=(7,))
        app.works[call.call].judge()
        await still(pilot)
        await press(pilot, "f6")
        await same_screen(app, pilot, "trail")
        await press(pilot, "end", "enter", "1", "enter")
        assert "it was: red" in screen_text(app)
        await press(pilot, "2", "enter")
        (answer,) = call.state.answers
        assert (answer.outcome, answer.rows) == ("blue", (7,))
        assert "(taken back)" in screen_text(app)
        await press(pilot, "ctrl+z")
        assert call.state.answers[0].outcome == "red"

    drive(make_app(little, place), body)


def test_a_step_is_taken_back(little: Engine, place: Path) -> None:
    """Any step but those that must stand can be withdrawn from the trail."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "f6", "end", "enter", "1", "enter")
        assert call.state.accepted == ()
        await press(pilot, "home", "enter")
        assert "it can't be taken back" in words(app)

    drive(make_app(little, place), body)


def test_an_answer_typed_into_the_wrong_call_is_moved(little: Engine, place: Path) -> None:
    """It stands in the right call; both calls note it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        right = await put_on_desk(app, pilot)
        await press(pilot, "f2")
        wrong = await put_on_desk(app, pilot)
        wrong.answer("plain", outcome="red")
        app.works[wrong.call].judge()
        await still(pilot)
        await press(pilot, "f6", "end", "enter", "3", "enter")
        assert wrong.state.answers == ()
        assert [a.outcome for a in right.state.answers] == ["red"]
        assert "moved to call" in wrong.text_of("note", "text")
        assert "moved here from call" in right.text_of("note", "text")

    drive(make_app(little, place), body)


def test_from_the_phone_to_the_machine(little: Engine, place: Path) -> None:
    """On arrival: what changed, the phone answers the plan rests on with their age, the read-back logged."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        call.answer("plain", outcome="red")
        app.works[call.call].judge()
        await still(pilot)
        await command(app, pilot, "do('channel')")
        assert "Plain look: red (by phone, just now)" in words(app)
        await put(app, pilot, changed="he swapped 3 and 4")
        await press(pilot, "ctrl+s")
        assert call.state.channel == "site"
        assert len(call.state.done_before) == 1
        assert "read back on arrival" in call.text_of("note", "text")
        await press(pilot, "f6")
        assert "(by phone, just now)" in words(app)

    drive(make_app(little, place), body)


def test_a_machine_profile_is_made_used_copied_and_deleted(little: Engine, place: Path) -> None:
    """Axes by what one sees, book values with unit, row layout; not known is an answer."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, rows=None)
        await command(app, pilot, "do('machine')")
        await press(pilot, "1", "enter")
        await put(app, pilot, label="the 16-row", owner="Alder Flat", rows="16", row_width="30 in", axis_drive=2,
                  axis_fill=3, sections="left wing: 1-8", book="vacuum: 20 inH2O")
        await press(pilot, "ctrl+s")
        machine = call.state.machine
        assert (machine.rows, machine.axes) == (16, {"drive": "electric", "fill": "unknown"})
        assert machine.book == {"vacuum": {"value": "20", "unit": "inH2O"}}
        assert machine.sections == {"left wing": (1, 2, 3, 4, 5, 6, 7, 8)}
        assert call.text_of("machine", "label") == "the 16-row"
        await command(app, pilot, "do('machine')")
        assert "the 16-row | Alder Flat | 16 rows" in screen_text(app)
        await press(pilot, "3", "c")
        await put(app, pilot, book="vacuum: 20")
        await press(pilot, "ctrl+s")
        assert "has no unit" in words(app)
        await put(app, pilot, book="", label="the copy")
        await press(pilot, "ctrl+s")
        await command(app, pilot, "do('machine')")
        assert "the copy" in screen_text(app)
        await press(pilot, "3")
        await command(app, pilot, "delete")
        await press(pilot, "2", "enter")
        assert app.store is not None
        assert len(app.store.profiles()) == 1

    drive(make_app(little, place), body)


def test_answers_that_no_longer_apply_are_marked(little: Engine, place: Path) -> None:
    """Another machine in mid-call: answers stay, those it cannot have say so."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.answer("motor_amps", outcome="ok")
        call.set_machine({"axes": {"drive": "chain"}})
        app.works[call.call].judge()
        await still(pilot)
        await press(pilot, "f6")
        assert "Motor amps: ok (does not apply to this machine)" in words(app)

    drive(make_app(little, place), body)


def test_homework_for_one_walk(little: Engine, place: Path) -> None:
    """Up to three checks as a message with the call-back; the answers come back in one form."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, "phone")
        await command(app, pilot, "do('homework')")
        app.screen.query_one("#until", LineField).value = "in 40 min"
        await still(pilot)
        await same_screen(app, pilot, "homework")
        assert "Call back: 7:20." in screen_text(app)
        await press(pilot, "ctrl+s")
        assert call.state.due == "2026-05-04T07:20:00Z"
        await put(app, pilot, plain=1)
        await press(pilot, "ctrl+s")
        assert [(a.check, a.outcome) for a in call.state.answers] == [("plain", "red")]

    drive(make_app(little, place), body)


def test_a_field_sheet_is_saved(little: Engine, place: Path, tmp_path: Path) -> None:
    """Checks, cautions and blanks as a text file; an existing file is not written over."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await command(app, pilot, "do('sheet')")
        await press(pilot, "ctrl+o")
        await put(app, pilot, file=str(tmp_path / "sheet.txt"))
        await press(pilot, "ctrl+s")
        text = (tmp_path / "sheet.txt").read_text()
        assert "1. Plain look" in text
        assert "[ ] red" in text
        await press(pilot, "ctrl+o")
        await put(app, pilot, file=str(tmp_path / "sheet.txt"))
        await press(pilot, "ctrl+s")
        assert "There is such a file already." in words(app)

    drive(make_app(little, place), body)


def test_catching_up_in_ones_own_order(little: Engine, place: Path) -> None:
    """Checks picked one after the other, one form, each with its own time; no question in between."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await command(app, pilot, "do('catch_up')")
        for text in ("which half", "plain"):
            await type_in(pilot, text)
            await press(pilot, "down", "enter")
        await press(pilot, "ctrl+s")
        await put(app, pilot, split=1, plain=2)
        field = row(app, "split@")
        assert isinstance(field, LineField)
        field.value = "2 h ago"
        await press(pilot, "ctrl+s")
        assert [(a.check, a.outcome, a.happened) for a in call.state.answers] == [
            ("split", "upper", "2026-05-04T04:40:00Z"), ("plain", "blue", None),
        ]
        assert isinstance(app.screen, DeskScreen)

    drive(make_app(little, place), body)


def test_the_hand_over_card(little: Engine, place: Path) -> None:
    """Who, what, believed, recorded, next; and a version for a text message."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot, "phone")
        await command(app, pilot, "do('hand_over')")
        text = words(app)
        for part in ("As a text message", "Alder Flat", "Believed now", "Recorded"):
            assert part in text

    drive(make_app(little, place), body)


def test_a_write_up_that_comes_too_late_is_dropped(little: Engine, place: Path) -> None:
    """The screen is left before its text was written: nothing fails, nothing is told."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "f10")
        page = app.screen
        assert isinstance(page, WriteUpScreen)
        await press(pilot, "escape")
        with ThreadPoolExecutor(1) as thread:
            await asyncio.wrap_future(thread.submit(copy_context().run, page.from_thread, page.tell, "too late"))
        assert "too late" not in screen_text(app)

    drive(make_app(little, place), body)


def test_write_up_preview(little: Engine, place: Path) -> None:
    """What is missing stands first; the text below; other readers; saved as a file."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "f10")
        assert "COMPLAINT" in screen_text(app)
        assert '"row 7 is thin"' in screen_text(app)
        assert "Preview for the house" in screen_text(app)
        await press(pilot, "r")
        assert "Preview for the customer" in screen_text(app)
        await press(pilot, "ctrl+s")
        await put(app, pilot, file=str(place.parent / "out.md"))
        await press(pilot, "ctrl+s")
        assert "row 7 is thin" in (place.parent / "out.md").read_text()
        await press(pilot, "l")
        assert "By phone:" in screen_text(app)

    drive(make_app(little, place), body)


def test_what_the_write_up_lacks_is_mended_there(big: Engine, place: Path) -> None:
    """Enter on a line of what is missing goes to its field; given, it is no longer missing."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "f10", "r", "r")
        assert "Preview for a claim" in screen_text(app)
        listed = app.screen.query_one("#topics", PickList)
        before = len(listed.keys)
        assert before > 5
        missing = {m.rule: m for m in app.screen._missing}  # type: ignore[attr-defined]
        rule = next(r for r, m in missing.items() if m.details and not m.checks)
        listed.highlighted = listed.keys.index(rule)
        await press(pilot, "enter")
        assert isinstance(app.screen, FormScreen)
        await put(app, pilot, reason="nobody was there to look")
        await press(pilot, "ctrl+s")
        assert "nobody was there to look" in call.text_of("note", "text")

    drive(make_app(big, place), body)


def practice_call(app: DiagApp) -> CallDesk:
    """Return the call of the practice."""
    (work,) = app.works.values()
    return work.call


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_practice(little: Engine, place: Path, size: tuple[int, int]) -> None:
    """The trainee chooses, the machine answers; checks and causes are told only when asked for, or one is named."""
    knowledge = little.knowledge

    def told(app: DiagApp) -> list[str]:
        named = (*(c.label for c in knowledge.causes.values()), *(c.asks for c in knowledge.questions.values()))
        return [text for text in named if text in words(app)]

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        app.run_named("practice")
        await still(pilot)
        assert "PRACTICE" in screen_text(app)
        assert "What do you look at first?" in screen_text(app)
        assert told(app) == []
        await press(pilot, "2", "enter")
        assert knowledge.questions[practice_call(app).offers()[0].check].asks in told(app)
        await press(pilot, "1", "enter")
        while app.screen.turn.kind != "practice":  # type: ignore[attr-defined]
            await press(pilot, *("DANGER" if app.screen.turn.kind == "danger" else "1"), "enter")  # type: ignore[attr-defined]
        assert len(practice_call(app).state.answers) == 1
        assert "What do you look at next?" in screen_text(app)
        await press(pilot, "3", "enter")
        assert " in " in words(app)
        await press(pilot, "escape")
        await type_in(pilot, "which half")
        await press(pilot, "enter")
        assert app.screen.query_one("#search", LineField).value == "which half"
        await press(pilot, "escape")
        await press(pilot, "f9")
        await type_in(pilot, "alpha")
        await press(pilot, "down", "enter")
        assert "The tool:" in screen_text(app)
        await press(pilot, "escape")
        assert "What do they say?" in screen_text(app)

    drive(make_app(little, place), body, size)


def test_a_verdict_ends_the_call_whatever_was_in_hand(
    little: Engine, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Accepted while another check was taken by hand: the end is shown, not that check, and nothing to mind."""
    monkeypatch.setattr(present, "warnings", lambda _: ["Measure again before anything else."])

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.repair(["alpha"], rows=[7], minutes=5)
        call.answer("plain", outcome="ok")
        (work,) = app.works.values()
        work.judge()
        await still(pilot)
        work.taken = "row_gauge"
        app.screen.show_call()  # type: ignore[attr-defined]
        await mend(app, pilot, "proof")
        await put(app, pilot, answers=1, verdict=1)
        await resize(pilot, LARGE)
        await press(pilot, "ctrl+s")
        assert call.state.proofs
        assert app.screen.turn.kind == "proved"  # type: ignore[attr-defined]
        assert "Measure again before" not in words(app)

    drive(make_app(little, place), body)


def test_back_from_the_load_is_back_at_the_desk(little: Engine, place: Path) -> None:
    """What an answer of the desk opened closes to the desk; opened from the write-up it closes to that."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        desk = app.screen
        desk.action_do("load")  # type: ignore[attr-defined]
        await still(pilot)
        assert "Drive out, load" in words(app)
        await press(pilot, "escape")
        assert app.screen is desk
        await press(pilot, "f10")
        app.screen.action_load()  # type: ignore[attr-defined]
        await still(pilot)
        await press(pilot, "escape")
        assert app.screen is not desk

    drive(make_app(little, place), body)


def test_what_was_tried_is_not_offered_again_at_once(little: Engine, place: Path) -> None:
    """After "tried" is recorded the same line does not stand there again: what came of it is asked."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        call.answer("plain", outcome="red")
        (work,) = app.works.values()
        work.judge()
        await still(pilot)
        due = app.screen.turn  # type: ignore[attr-defined]
        assert due.kind == "act"
        app.screen.action_do("change", due.cause)  # type: ignore[attr-defined]
        await still(pilot)
        await put(app, pilot, setting="vacuum", before="18 inH2O", after="20 inH2O")
        await press(pilot, "ctrl+s")
        assert call.state.not_put_back
        assert app.screen.turn.asks != due.asks  # type: ignore[attr-defined]

    drive(make_app(little, place), body)
