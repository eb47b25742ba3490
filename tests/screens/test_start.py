"""The first screen: shown at once, calls as they stand, what fails is said."""

from __future__ import annotations

from pathlib import Path

from screens.driving import (
    NOW,
    Chance,
    drive,
    make_app,
    press,
    resize,
    same_screen,
    screen_text,
    type_in,
    words,
)
from textual.pilot import Pilot

from diag.call.desk import Desk
from diag.errors import KnowledgeError, StoreError
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.tui.app import DiagApp


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
    """F3, words, Enter: the list holds what fits, and Enter opens it."""
    ids = fill(little, place)

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "f3")
        await type_in(pilot, "tamble")
        assert "Birch Tamble" in screen_text(app)
        assert "Alder Flat" not in screen_text(app)
        await press(pilot, "enter", "6", "enter")
        assert ids[1] in app.works

    drive(make_app(little, place), body)


def test_a_store_that_cannot_be_opened_is_said(little: Engine, place: Path) -> None:
    """The first screen stays, names the trouble, and offers no dead end."""

    def broken() -> object:
        raise StoreError("The store is locked.", "calls.db", "Close the other program.")

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        assert "The store cannot be used: calls.db: The store is locked. Close the other program." in words(app)
        await press(pilot, "1", "enter")
        await type_in(pilot, "thin")
        await press(pilot, "ctrl+s")
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
        await press(pilot, "4", "enter")
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
        assert "New call by phone" in screen_text(app)

    drive(make_app(little, place), body)


def test_settings_are_kept(little: Engine, place: Path) -> None:
    """Colours, units and channel hold after the next start."""

    async def choose(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, "f8", "3", "tab", "2", "tab", "2", "ctrl+s")
        assert (app.theme, app.units) == ("full sun", "metric")

    async def again(app: DiagApp, pilot: Pilot[int]) -> None:
        assert (app.theme, app.units, app.chosen["channel"]) == ("full sun", "metric", "site")

    drive(make_app(little, place), choose)
    drive(make_app(little, place), again)
