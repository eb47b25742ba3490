"""The five changes that DEVELOPERS.md shows: applied to a copy they do what they say, in as many files as it says."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FILES = {"kind of event": "five", "kind of answer": "four", "analysis": "two", "screen": "two", "output format": "two"}
MANY = {"two": 2, "four": 4, "five": 5}


def shown() -> dict[str, str]:
    """Return the diff of each change, as the guide shows it."""
    chapter = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Five changes, shown")[2]
    parts = re.split(r"^\*\*An? ([a-z ]+): ([a-z]+) files", chapter.partition("\n## ")[0], flags=re.MULTILINE)[1:]
    assert list(zip(parts[::3], parts[1::3], strict=True)) == list(FILES.items())
    return {name: "\n".join(re.findall(r"^    (.*)$", text, re.MULTILINE))
            for name, text in zip(parts[::3], parts[2::3], strict=True)}


def pieces(diff: str) -> Iterator[tuple[str, list[str], list[str]]]:
    """Yield (file, lines that stand there, lines that stand there afterwards) of each piece."""
    for piece in re.split(r"^# (?=diag/)", diff, flags=re.MULTILINE)[1:]:
        file, *lines = piece.splitlines()
        yield file, [x[1:] for x in lines if x[:1] in (" ", "-")], [x[1:] for x in lines if x[:1] in (" ", "+")]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the project to which all five are applied."""
    place = tmp_path_factory.mktemp("copy")
    for name in ("diag", "knowledge", "tests"):
        shutil.copytree(ROOT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
    for diff in shown().values():
        for file, before, after in pieces(diff):
            path = place / file
            text = path.read_text(encoding="utf-8") if path.exists() else ""
            old, new = ("\n".join(lines) + "\n" for lines in (before, after))
            assert not before or text.count("\n" + old) == 1, (file, old)
            path.write_text(text.replace("\n" + old, "\n" + new) if before else text + new, encoding="utf-8")
    return place


def run(copy: Path, code: str) -> None:
    """Run code in the copy; it fails by an assertion."""
    begin = "import sys; sys.path[:0] = ['.', 'tests']\n"
    done = subprocess.run([sys.executable, "-c", begin + code], cwd=copy, capture_output=True, text=True, check=False)
    assert (0, "") == (done.returncode, done.stderr[-2000:])


CALL = """
from pathlib import Path
from diag.call.desk import Desk
from diag.knowledge.load import load
from diag.reason.judge import Engine
engine = Engine(load([Path("tests/data/small"), Path("tests/screens/knowledge")]))
call = Desk(engine).new_call("site")
"""


@pytest.mark.parametrize("name", FILES)
def test_a_change_touches_as_many_files_as_the_guide_says(name: str) -> None:
    """The number of files is the number that is written."""
    assert MANY[FILES[name]] == len({file for file, _, _ in pieces(shown()[name])})


def test_the_new_kind_of_event_is_recorded_told_and_sealed(copy: Path) -> None:
    """Its form records it, the state and the trail have it, the free label is sealed, screen and dialogue offer it."""
    run(copy, CALL + """
from diag.ask.forms_call import rain_form
from diag.plain.doing import Doing
from diag.record.kinds import Rain
from diag.say.steps import trail_lines
from diag.tui.screens.doings import ACTS, FORMS
form = rain_form(call)
form.record(call, {"depth": "12 mm", "where": "by the gate"})
(rain,) = call.state.of(Rain)
assert ("12", "mm", "by the gate") == (rain.depth["value"], rain.depth["unit"], rain.where), rain
assert "where" in call.events[-1].sealed
assert any("rain: 12 mm" in str(line) for line in trail_lines(call)), trail_lines(call)
assert "rain" in FORMS and any("'rain'" in act.action for act in ACTS)
assert Doing.rain.__doc__
""")


def test_the_new_kind_of_answer_is_typed_stored_and_judged(copy: Path) -> None:
    """A time as a stop watch shows it is stored in seconds and analysed."""
    run(copy, CALL + """
from diag.analyses.catalogue import analyse
from diag.ask.answers import parse_answer
from diag.call.readings import reading_of
from diag.record.kinds import Answer
from diag.knowledge.model import Takes
asked = next(c for c in engine.knowledge.questions.values() if c.takes.kind == "number")
check = asked.model_copy(update={"takes": Takes(kind="stopwatch", quantity="time")})
body = parse_answer(check, "1:20")
assert {"value": {"value": "80", "unit": "s"}} == body, body
assert check.measured
answer = Answer.model_construct(check=check.id, status="given", **body)
assert 80.0 == analyse("single", reading_of(check, answer), {}).results["value"].value
""")


def test_the_new_analysis_is_in_the_catalogue(copy: Path) -> None:
    """It is found by its name and gives its result."""
    run(copy, """
from diag.analyses.catalogue import Reading, analyse
found = analyse("shaft_slip", Reading("numbers", (200.0, 190.0)), {})
assert abs(found.results["lost"].value - 0.05) < 1e-12, found
assert "95 %" in found.words, found.words
""")


def test_the_new_screen_opens_from_the_desk(copy: Path) -> None:
    """Its act stands in the palette and opens it."""
    run(copy, """
from pathlib import Path
from screens.driving import drive, make_app, put_on_desk, still, words
from diag.knowledge.load import load
from diag.reason.judge import Engine
engine = Engine(load([Path("tests/data/small"), Path("tests/screens/knowledge")]))

async def body(app, pilot):
    await put_on_desk(app, pilot)
    await app.run_action("do('spent')", default_namespace=app.screen)
    await still(pilot)
    assert "Minutes" in words(app), words(app)
    assert type(app.screen).__name__ == "SpentScreen", app.screen

drive(make_app(engine, Path("calls.db").resolve()), body)
""")


def test_the_new_output_format_is_written_by_its_ending(copy: Path) -> None:
    """The table of formats makes it; a formula that somebody typed stays text."""
    run(copy, """
from diag.writeup.page.csv_form import _plain
from diag.writeup.page.formats import FORMATS
assert FORMATS[".csv"].name == "table of readings"
assert "'=1+1" == _plain("=1+1")
""")
