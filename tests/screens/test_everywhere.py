"""What must hold on every screen: focus in sight, keys told, hostile text only text, signs beside colours."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from screens.driving import LARGE, SMALL, drive, make_app, mend, press, put_on_desk, resize, screen_text, still, words
from textual.color import Color
from textual.command import CommandList
from textual.pilot import Pilot

from diag.call.desk import CallDesk
from diag.knowledge.load import load
from diag.reason.judge import Engine
from diag.tui.act import key_name
from diag.tui.app import DiagApp
from diag.tui.screens.help import HelpScreen
from diag.tui.screens.page import Page
from diag.tui.screens.practice import PracticeScreen
from diag.tui.theme import THEMES

NASTY = "[/x] [red] \\[b] [@click=app.quit] $x \x1b]0;t\x07 \u202e\u200f \U0001f33d =1+1"
HERE = Path(__file__).parent

Way = Callable[[DiagApp, Pilot[int]], Awaitable[None]]


async def at_start(app: DiagApp, pilot: Pilot[int]) -> None:
    """The first screen."""


def keys(*pressed: str) -> Way:
    """The screen that keys lead to from the first one."""

    async def way(app: DiagApp, pilot: Pilot[int]) -> None:
        await press(pilot, *pressed)

    return way


def act(action: str, *, at_app: bool = False) -> Way:
    """The screen that an act of the first screen leads to."""

    async def way(app: DiagApp, pilot: Pilot[int]) -> None:
        if at_app:
            app.run_named(action)
        else:
            await app.run_action(action, default_namespace=app.screen)
        await still(pilot)

    return way


def desk(*pressed: str, channel: str = "site", action: str = "", check: str = "") -> Way:
    """The screen that keys or an act lead to from the desk of a call."""

    async def way(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot, channel)
        await prepare(app, pilot, call)
        if check:
            app.works[call.call].taken = check
            app.screen.show_call()  # type: ignore[attr-defined]
            await still(pilot)
        if action:
            await app.run_action(action, default_namespace=app.screen)
            await still(pilot)
        await press(pilot, *pressed)

    return way


def mending(name: str) -> Way:
    """The screen that a line of F9 leads to."""

    async def way(app: DiagApp, pilot: Pilot[int]) -> None:
        await desk()(app, pilot)
        await mend(app, pilot, name)

    return way


async def prepare(app: DiagApp, pilot: Pilot[int], call: CallDesk) -> None:
    """Give the call something of everything."""
    call.answer("plain", outcome="blue", rows=(7,))
    call.answer("row_gauge", values={str(r): {"value": "18", "unit": "inH2O"} for r in range(1, 9)})
    call.record("note", {}, {"text": NASTY})
    call.record("change", {"setting": "vacuum [/x]", "before": "18", "after": "20", "temporary": True})
    call.repair(["beta"], words=NASTY)
    app.works[call.call].judge()
    await still(pilot)


SCREENS: dict[str, Way] = {
    "start": at_start, "hearing": keys("t", "h", "i", "n", "enter"), "card": keys("t", "f8", "f8", "f5"),
    "settings": act("settings"), "machines": act("machine"), "practice": act("practice", at_app=True),
    "help": keys("f1"), "emergency": desk("f12"), "cautions": desk("f7", check="open_one"),
    "desk": desk(), "warning": desk(check="open_one"),
    "danger": desk(check="spun"), "reading": desk(check="row_gauge"), "need": desk(check="fan_gauge"),
    "free text": desk(check="remark"), "list": desk(check="what_changed.seed"),
    "search": desk("f3"), "why": desk("f4"), "entry": desk("f4", "down", "enter"), "trail": desk("f6"),
    "step": desk("f6", "end", "enter"), "change": desk("f6", "end", *["up"] * 4, "enter", "1", "enter"),
    "mend": desk("f9"), "repair": mending("repair"), "proof": mending("proof"),
    "changed": mending("change"),
    "close": mending("close"), "follow-up": mending("follow_up"),
    "write-up": desk("f10"), "save": desk("f10", "ctrl+s"), "load": desk("f10", "l"),
    "details": desk("ctrl+r"), "aloud": desk("ctrl+l", check="row_gauge"),
    "homework": desk(action="do('homework')", channel="phone"),
    "catch up": desk(action="do('catch_up')"), "hand over": desk(action="do('hand_over')"),
    "arrival": desk(action="do('channel')", channel="phone"), "situation": desk(action="do('situation')"),
    "waiting": desk(action="do('waiting')"), "done before": desk(action="do('done_before')"),
    "machine": desk(action="do('machine')"),
}


def each(names: dict[str, Way] = SCREENS) -> pytest.MarkDecorator:
    """Run a test for every screen."""
    return pytest.mark.parametrize("way", list(names.values()), ids=list(names))


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Engine:
    """The small engine with markup in every text of its knowledge."""
    root = tmp_path_factory.mktemp("hostile")
    folders = []
    for i, source in enumerate((HERE.parent / "data" / "small", HERE / "knowledge")):
        folder = root / str(i)
        shutil.copytree(source, folder)
        for path in folder.rglob("*.yaml"):
            path.write_text("\n".join(map(spoiled, path.read_text().splitlines())) + "\n")
        folders.append(folder)
    return Engine(load(folders))


def spoiled(line: str) -> str:
    """Put markup into the texts of a line of YAML."""
    for word in ("Alpha", "Beta", "Plain look", "Which half", "Mend alpha.", "It is alpha.", "Stop it first."):
        for end in (",", "}", "\n"):
            line = line.replace(f": {word}{end}", f': "{word} [/x] [red]"{end}')
        if line.endswith(f": {word}"):
            line = line.removesuffix(word) + f'"{word} [/x] [red]"'
    line = line.replace('"Stop it first.', '"Stop it [/x] [red] first.')
    return line.replace("says: blue", 'says: "blue [/x] [red]"')


@each()
def test_a_screen(hostile: Engine, place: Path, way: Way) -> None:
    """Focus stays in sight, only plain signs, markup obeyed nowhere, every act told; at 80x24 and 120x40."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await way(app, pilot)
        screen = app.screen
        only_plain_signs(screen_text(app))
        await focus_in_sight(app, pilot)
        assert isinstance(screen, Page)
        named = screen.moment() or tuple(a.action for a in app.acts(screen) if a.shown)
        shown = [a for a in app.acts(screen) if a.action in named]
        assert 1 <= len(shown) <= 6
        assert all(f"{key_name(a.key)} {a.name}".strip() in screen_text(app).splitlines()[-1] for a in shown)
        await resize(pilot, LARGE)
        only_plain_signs(screen_text(app))
        everything_is_told(app)
        assert app.return_code is None

    drive(make_app(hostile, place), body)


def only_plain_signs(shown: str) -> None:
    """ASCII, a few signs of the trade, the lines of frames; the note of the test itself holds one more."""
    known = set("\n\u2500\u2502\u00b0\u00bd\u00b1\u00a7\u00b7\u2192\u25a0")
    odd = {c for c in shown if not (c.isascii() and c.isprintable())} - known
    assert odd <= {"\U0001f33d"}, odd


async def focus_in_sight(app: DiagApp, pilot: Pilot[int]) -> None:
    """Tab through the whole chain: each field lies inside the screen and has room to be seen."""
    chain = app.screen.focus_chain
    assert chain, "nothing can have the focus"
    for _ in chain:
        await pilot.press("tab")
        focused = app.focused
        assert focused is not None
        for _ in range(100):  # scrolling into view takes a moment
            shown = focused.region.intersection(app.screen.region)
            if shown.height >= 1:
                break
            await pilot.pause()
        assert shown.height >= 1, focused
        assert shown.width >= 10, focused


def everything_is_told(app: DiagApp) -> None:
    """Every act of the screen stands in the command palette."""
    screen = app.screen
    assert isinstance(screen, Page)
    acts = app.acts(screen)
    assert set(screen.ACTS) <= set(acts)
    named = {c.title.partition(" (")[0] for c in app.get_system_commands(screen)}
    assert {a.name for a in acts if a.action != "command_palette"} == named


def test_help_comes_from_the_same_table(little: Engine, place: Path) -> None:
    """Every act of the desk stands in its help, with its key."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        acts = app.acts(app.screen)
        await press(pilot, "f1")
        assert isinstance(app.screen, HelpScreen)
        text = " ".join(str(app.screen.query("#page Static").first().content).split())  # type: ignore[attr-defined]
        for act in acts:
            told = f"{key_name(act.key)} {act.name}: {act.tells}".strip()
            assert told in text.replace("- ", "-")  # a line may end at a hyphen
        assert text.startswith("Do this first: answer the question in the middle.")

    drive(make_app(little, place), body)


def test_markup_is_shown_as_it_stands(hostile: Engine, place: Path) -> None:
    """A label with brackets stands on the desk letter by letter."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        assert "[/x] [red]" in screen_text(app)
        await press(pilot, "ctrl+n")
        app.screen.query_one("LinesField").text = NASTY  # type: ignore[attr-defined]
        await press(pilot, "ctrl+s", "f6")
        assert "noted: [/x] [red] \\[b] [@click=app.quit] $x ]0;t" in screen_text(app)

    drive(make_app(hostile, place), body)


def test_the_palette_runs_an_act(little: Engine, place: Path) -> None:
    """Ctrl+P, a word, Enter: what has no key of its own is done."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        await put_on_desk(app, pilot)
        await press(pilot, "ctrl+p")
        await pilot.press(*"catch up")
        while not app.screen.query_one(CommandList).option_count:
            await pilot.pause()
        await press(pilot, "enter")
        while "Nothing picked yet." not in words(app):
            await pilot.pause()

    drive(make_app(little, place), body)


def contrast(a: Color, b: Color) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, relative luminance)."""

    def luminance(color: Color) -> float:
        parts = [v / 255 for v in color.rgb]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", THEMES, ids=[t.name for t in THEMES])
def test_text_can_be_read_in_every_theme(theme: object) -> None:
    """4.5 to 1 for text and words of warning, 7 to 1 in full sun and without colours (WCAG 2.2, 1.4.3 and 1.4.6)."""
    least = 7.0 if theme.name in ("full sun", "no colour") else 4.5  # type: ignore[attr-defined]
    ground = Color.parse(theme.background)  # type: ignore[attr-defined]
    for name in ("foreground", "secondary", "accent", "success", "warning", "error"):
        assert contrast(Color.parse(getattr(theme, name)), ground) >= least, name


@pytest.mark.parametrize("theme", [t.name for t in THEMES])
def test_the_line_under_the_cursor_is_turned_around(little: Engine, place: Path, theme: str) -> None:
    """In every theme the line under the cursor has text and ground exchanged, so no colour is needed to find it."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        app.theme = theme
        await press(pilot, "down")
        strips = app.screen._compositor.render_strips()
        here = next(s for s in strips if "Demonstration" in s.text)
        other = next(s for s in strips if "Practise" in s.text)
        under = next(p for p in here if "Demonstration" in p.text).style
        plain = next(p for p in other if "Practise" in p.text).style
        assert under is not None
        assert plain is not None
        assert (under.color, under.bgcolor) != (plain.color, plain.bgcolor)
        assert under.bgcolor != plain.bgcolor or under.reverse

    drive(make_app(little, place), body)


def test_belief_and_cautions_have_words_beside_colours(little: Engine, place: Path) -> None:
    """Words and signs say what colours say: how likely, more, less, DANGER."""

    async def body(app: DiagApp, pilot: Pilot[int]) -> None:
        call = await put_on_desk(app, pilot)
        await press(pilot, "1", "enter")
        text = screen_text(app)
        assert " + " in text
        assert " - " in text
        assert " in " in text
        assert call.state.answers
        app.works[call.call].taken = "spun"
        app.screen.show_call()  # type: ignore[attr-defined]
        await still(pilot)
        assert "DANGER  stands alone" in screen_text(app)

    drive(make_app(little, place), body)


def test_a_program_that_fails_ends_quietly(little: Engine, place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A fault of ours: exit code 1, one line that names the log, no traceback and no values on the terminal."""
    app = make_app(little, place, log=place.parent / "diag.log")

    async def run() -> None:
        async with app.run_test(size=SMALL) as pilot:
            await still(pilot)
            app.call_later(lambda: 1 / 0)
            await pilot.pause()

    with pytest.raises(ZeroDivisionError):  # the test harness raises it again; the program does not
        asyncio.run(run())
    assert app.return_code == 1
    told = "".join(capsys.readouterr()).replace("\n", "")
    assert "diag.log" in told
    assert "Traceback" not in told


def test_a_function_key_means_the_same_on_every_screen() -> None:
    """One name for each function key, whatever the screen; and no act without words."""
    named: dict[str, set[str]] = {}
    for page in every_page():
        for a in (*page.ACTS, *DiagApp.ACTS):
            assert a.name
            assert a.tells.endswith(".")
            if a.key.startswith("f") and a.key[1:].isdigit() and not issubclass(page, PracticeScreen):
                named.setdefault(a.key, set()).add(a.name)
    assert {key: names for key, names in named.items() if len(names) > 1} == {}


def every_page() -> list[type[Page[Any]]]:
    """Return all screens."""
    found, waiting = [], [Page]
    while waiting:
        page = waiting.pop()
        found.append(page)
        waiting += page.__subclasses__()
    return found
