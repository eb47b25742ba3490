"""Keys: how many a call takes beside the caller's words, and that no sequence of them records what nobody chose.

The three calls were once worked with 263, 300 and 96 keys; half of that is the most here. A longer run of the
monkey: DIAG_MONKEY=20000 DIAG_MONKEY_SEED=7 python -m pytest tests/screens/test_keys.py -k monkey
"""

from __future__ import annotations

import os
import random
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from screens.driving import drive, make_app, menu_keys, press, put_on_desk, still, type_in
from textual.pilot import Pilot

from diag.call.desk import CallDesk
from diag.reason.judge import Engine
from diag.say.follows import Lead
from diag.tui.app import DiagApp
from diag.tui.screens import asking
from diag.tui.screens.desk import DeskScreen
from diag.tui.screens.start import StartScreen
from diag.tui.widgets.form import Row

MOST_TURNS = 60


@pytest.fixture(autouse=True)
def no_looking_ahead(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What follows from each answer is tested elsewhere; nothing is saved outside the test's folder."""
    monkeypatch.setattr(asking, "follows", lambda *_: Lead("", ""))
    monkeypatch.setenv("HOME", str(tmp_path))


class Hands:
    """Presses keys and counts them."""

    def __init__(self, app: DiagApp, pilot: Pilot[int], answers: Mapping[str, str]) -> None:
        self.app, self.pilot, self.answers, self.count = app, pilot, answers, 0

    async def mend(self, name: str) -> None:
        """Take a line of F9."""
        await self.keys("f9")
        await self.keys(*menu_keys(self.app, name))

    async def keys(self, *keys: str) -> None:
        """Press keys."""
        self.count += len(keys)
        await press(self.pilot, *keys)

    async def text(self, text: str) -> None:
        """Type text, each letter a key."""
        self.count += len(text)
        await type_in(self.pilot, text)

    async def ring(self, words: str, kind: str) -> CallDesk:
        """Type the caller's words (not counted) and go to the first question."""
        if kind == "site":
            await self.keys("f8")
        await type_in(self.pilot, words)
        await self.keys("enter")
        if not any(c.taken for c in self.app.screen.query_one("HeardPanel").candidates):  # type: ignore[attr-defined]
            await self.keys("1")
        await self.keys("enter")
        (work,) = self.app.works.values()
        return work.call

    async def turn(self) -> str:
        """Answer what is asked; return what kind of question it was."""
        desk = self.app.screen
        assert isinstance(desk, DeskScreen)
        asked = desk.turn
        assert asked is not None
        keys = [c.key for c in asked.choices]
        if asked.kind == "check":
            check = asked.check
            assert check is not None
            normal = next((n for n, o in check.outcomes.items() if o.normal), keys[-1])
            await self.keys(*str(keys.index(self.answers.get(check.id, normal)) + 1), "enter")
        elif asked.kind == "form":
            wrong = [str(i) for i, n in enumerate(asked.form, 1) if self.answers.get(n.check) == n.outcome]
            await self.keys(*(k for w in wrong for k in (*w, "space")), "minus", "enter")
        elif asked.kind == "danger":
            await self.keys(*"DANGER", "enter")
        elif asked.kind in ("axis", "need"):
            await self.keys("question_mark", "enter")
        elif asked.kind == "place":
            await self.keys("enter")
        elif asked.kind == "say":
            await self.keys("1", "enter")
        return asked.kind

    async def pick(self, act: str) -> None:
        """Take an act of those offered."""
        desk = self.app.screen
        assert isinstance(desk, DeskScreen)
        assert desk.turn is not None
        await self.keys(str([c.key for c in desk.turn.choices].index(act) + 1), "enter")

    async def tick(self, name: str, number: str) -> None:
        """Go to a field of a form with Tab and tick a line."""
        for _ in range(30):
            row = next(r for r in self.app.screen.query(Row) if r.key == name)
            if row.field.has_focus:
                await self.keys(number)
                return
            await self.keys("tab")
        raise AssertionError(f"{name} cannot be reached")


async def work_through(hands: Hands, call: CallDesk) -> None:
    """From the first question to the closed call: found, mended, measured again, proved, closed."""
    for _ in range(MOST_TURNS):
        desk = hands.app.screen
        assert isinstance(desk, DeskScreen)
        assert desk.turn is not None
        if desk.turn.kind not in ("act", "nothing", "proved"):
            await hands.turn()
        else:
            break
    await hands.mend("repair")
    await hands.tick("causes", "1")
    await hands.keys("ctrl+s")
    for _ in range(8):  # measured again, by whatever is asked first
        if hands.app.screen.turn.kind == "act":  # type: ignore[attr-defined]
            if any(a.epoch == call.state.epoch for a in call.state.answers):
                break
            await hands.pick("measure")
        await hands.turn()
    await hands.mend("proof")
    await hands.tick("answers", "1")
    await hands.tick("verdict", "1")
    await hands.keys("ctrl+s")
    assert call.state.proofs
    await hands.mend("close")
    await hands.tick("result", "1")
    await hands.keys("ctrl+s")
    assert call.state.closed is not None


CALLS: dict[str, tuple[str, str, Mapping[str, str], int]] = {
    "phone desk": ("phone", "rows 5 to 8 of 16 dead since we folded this morning, soybeans, electric drive, 5 mph",
                   {"harness_fold": "damaged"}, 131),
    "technician": ("site", "row 7 skips since the seal was changed, 12 rows, corn", {}, 150),
}


@pytest.mark.parametrize("name", CALLS)
def test_a_call_takes_half_the_keys(big: Engine, place: Path, name: str) -> None:
    """From the first word to the closed call, beside the caller's words."""
    kind, words, answers, most = CALLS[name]
    counted: list[int] = []

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        hands = Hands(app, pilot, answers)
        call = await hands.ring(words, kind)
        await work_through(hands, call)
        counted.append(hands.count)

    drive(make_app(big, place), body)
    print(f"{name}: {counted[0]} keys, at most {most}")
    assert counted[0] <= most


def test_a_newcomers_first_call(big: Engine, place: Path) -> None:
    """A question answered: words, the first questions, a wrong answer taken back, closed: 48 keys at most."""
    counted: list[int] = []

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        hands = Hands(app, pilot, {})
        call = await hands.ring("ragged at 7 mph, all rows", "phone")
        for _ in range(6):
            if app.screen.turn.kind not in ("act", "nothing"):  # type: ignore[attr-defined]
                await hands.turn()
        await hands.keys("ctrl+z")
        await hands.turn()
        await hands.mend("close")
        await hands.tick("result", "1")
        await hands.keys("tab")
        await type_in(pilot, "Why ragged? Slower, as the plates are worn.")
        await hands.keys("ctrl+s")
        assert call.state.closed is not None
        counted.append(hands.count)

    drive(make_app(big, place), body)
    assert counted[0] <= 48


KEYS = (
    *"1234567890", *"abfgnxy", "question_mark", "minus", "space", "enter", "enter", "enter", "down", "up", "tab",
    "shift+tab", "escape", "backspace", "home", "end", "pageup", "pagedown", *(f"f{n}" for n in range(1, 11)), "f12",
    "ctrl+s", "ctrl+z", "ctrl+y", "ctrl+t", "ctrl+g", "ctrl+o", "ctrl+r", "ctrl+n", "ctrl+l",
)


class Watch:
    """Sees to it that nothing is recorded without Enter (or Ctrl+S, or undo) on what was chosen and drawn."""

    def __init__(self) -> None:
        self.key = ""
        self.chosen = True
        self.wrong: list[str] = []

    def before(self, app: DiagApp, key: str) -> None:
        """Note what is pressed, and on what."""
        self.key, self.chosen = key, True
        desk = app.screen
        if isinstance(desk, DeskScreen) and key == "enter":
            turn, line = desk.turn, desk.line
            chosen = bool(line.value.strip()) or desk.picked is not None or (turn is not None and turn.kind == "place")
            self.chosen = chosen and not line.waiting

    def recorded(self, kind: str) -> None:
        """Something was recorded."""
        if self.key not in ("enter", "ctrl+s", "ctrl+z", "ctrl+y") or not self.chosen:
            self.wrong.append(f"{kind} by {self.key or 'nothing'}")


@pytest.mark.parametrize("seed", range(2))
def test_a_monkey_records_nothing_that_was_not_chosen(
    big: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Random keys with the whole knowledge: no crash, focus in sight, no record without a choice and Enter."""
    runs = int(os.environ.get("DIAG_MONKEY", "12")) // 2 or 1
    chance, watch = random.Random(seed + 2 * int(os.environ.get("DIAG_MONKEY_SEED", "0"))), Watch()
    real = CallDesk.record

    def record(call: CallDesk, kind: str, *a: Any, **k: Any) -> Any:
        if call.desk.store is not None:
            watch.recorded(kind)
        return real(call, kind, *a, **k)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        pressed: deque[str] = deque(maxlen=40)
        for _ in range(runs):
            if isinstance(app.screen, StartScreen) or chance.random() < 0.1:
                app.works.clear()
                watch.key = "enter"
                watch.chosen = True
                await put_on_desk(app, pilot, chance.choice(("phone", "site")))
            for key in chance.choices(KEYS, k=12):
                watch.before(app, key)
                await pilot.press(key)
                await still(pilot)
                pressed.append(f"{type(app.screen).__name__} {key}")
                told = " | ".join(pressed)
                assert watch.wrong == [], told
                assert app._exception is None, told
                focused = app.focused
                assert focused is None or focused.region.intersection(app.screen.region).height >= 1, told
                assert focused is not None or not app.screen.focus_chain, told

    monkeypatch.setattr(CallDesk, "record", record)
    drive(make_app(big, tmp_path / "calls.db"), body)
