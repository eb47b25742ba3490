"""The PDF: its text against the record, hostile text, same bytes, page numbers, drawings, fonts."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from pypdf import PdfReader
from writeup import alder_flat
from writeup.test_render import CONTROL, HOSTILE, hostile

from diag.call.desk import Desk
from diag.reason.judge import Engine
from diag.units import System
from diag.writeup.cli import _from_file
from diag.writeup.page.audience import AUDIENCES
from diag.writeup.page.document import document
from diag.writeup.page.drawing import case_picture
from diag.writeup.page.formats import FORMATS
from diag.writeup.page.pdf import MOST_CELL, REPLACED, render_pdf
from diag.writeup.page.seeds import seed_strip
from diag.writeup.saving import ordered
from diag.writeup.story import tell
from diag.writeup.story.model import Story


def words(pdf: bytes) -> str:
    """Return the text of all pages without white space, so that folding does not matter."""
    return "".join("".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_text_of_the_record_is_in_the_pdf(story: Story) -> None:
    """Every paragraph, point, field and cell of each reader's sections can be read out of the PDF again."""
    for audience in AUDIENCES:
        text = words(render_pdf(story, audience))
        for section in document(story, audience).sections:
            for block in section.blocks:
                tables = [*getattr(block, "rows", ()), *getattr(block, "pairs", ())]
                pieces = [*getattr(block, "lines", ()), getattr(block, "text", ""), *(c for row in tables for c in row)]
                for piece in pieces:
                    for word in piece.split():
                        assert word in text, (audience, section.name, word)


def test_the_readings_are_in_the_pdf_side_by_side(story: Story) -> None:
    """Row 7 reads 12 before and 20 after, in one line of page one."""
    text = " ".join(PdfReader(io.BytesIO(render_pdf(story, "claim"))).pages[0].extract_text().split())
    assert "Row 7: 12 inH2O before, 20 inH2O after." in text


def test_same_story_same_bytes(story: Story) -> None:
    """Printed twice in one run: not a byte of difference, for each reader."""
    for audience in AUDIENCES:
        assert render_pdf(story, audience) == render_pdf(story, audience)


def test_same_bytes_in_another_process() -> None:
    """Printed by another interpreter with another hash seed: the same bytes."""
    code = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1])\n"
        "from writeup.alder_flat import good\n"
        "from diag.knowledge.load import load\n"
        "from diag.reason.judge import Engine\n"
        "from diag.writeup.page.pdf import render_pdf\n"
        "from diag.writeup.story import tell\n"
        "print(hashlib.sha256(render_pdf(tell(good(Engine(load(), counter=True)).call), 'claim')).hexdigest())"
    )
    folder = str(Path(__file__).parent.parent)
    digests = set()
    for seed in ("1", "2"):
        env = {**os.environ, "PYTHONHASHSEED": seed}
        ran = subprocess.run([sys.executable, "-c", code, folder], capture_output=True, text=True, env=env, check=True)
        digests.add(ran.stdout.strip())
    assert len(digests) == 1


def test_pages_are_numbered(story: Story) -> None:
    """Each page says which it is and of how many, and which write-up it belongs to."""
    pages = PdfReader(io.BytesIO(render_pdf(story))).pages
    for number, page in enumerate(pages, 1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "00000-00001, INV-PLT-0012, INV-PN-77, row 7" in text


def test_fonts_are_embedded(story: Story) -> None:
    """Every font that shows text travels inside the file."""
    reader = PdfReader(io.BytesIO(render_pdf(story)))
    embedded = set()
    for page in reader.pages:
        fonts = page["/Resources"]["/Font"]
        shown = re.findall(rb"/(F\d+(?:\+\d+)?) [\d.]+ Tf(?:(?!Tf|ET).)*?Tj", page.get_contents().get_data(), re.DOTALL)
        for name in set(shown):
            font = fonts["/" + name.decode()]
            descriptor = font.get("/FontDescriptor")
            embedded.add((font["/BaseFont"], descriptor is not None and "/FontFile2" in descriptor))
    assert {base.partition("+")[2] for base, _ in embedded} >= {"BitstreamVeraSans-Roman"}
    assert all(inside for _, inside in embedded), embedded


def test_hostile_text_is_printed_as_it_is(engine: Engine) -> None:
    """Tags, entities and paths in people's words come out as letters: nothing is opened, coloured or cut off."""
    text = words(render_pdf(hostile(engine)))
    for piece in ('<imgsrc="file:///etc/passwd"/>', "</para>", "&amp;", "<fontcolor=red>", "'=1+1", "'=evil.jpg"):
        assert piece in text
    assert "".join(HOSTILE.split()) in text


def test_control_bytes_do_not_reach_the_pdf(engine: Engine) -> None:
    """Escape sequences, direction marks and lone surrogates are gone; the file is still made."""
    text = words(render_pdf(hostile(engine, CONTROL + "x" * 30)))
    assert [] == [c for c in text if c in "\x1b\x07\x00\u202e\u202c"]


def test_letters_the_font_lacks_are_said_so(engine: Engine) -> None:
    """A letter without a drawing becomes its plain letter or a question mark, and the page says that."""
    text = words(render_pdf(hostile(engine, "tested \u4e2d\u6587 and \u0151 here")))
    assert "tested??and" in text
    assert "".join(REPLACED.split()) in text
    assert "".join(REPLACED.split()) not in words(render_pdf(hostile(engine, "plain words only here")))


def test_a_cell_longer_than_a_page_is_set(engine: Engine) -> None:
    """A note of twenty thousand characters and a word without a break are printed whole."""
    told = hostile(engine, "word " * 3900 + "x" * 400, "y" * 60)
    text = words(render_pdf(told))
    places = 1 + sum("word word" in str(i.told.text) for i in told.items) + 2 + 1 + 2
    assert text.count("word") >= 3900 * places
    assert MOST_CELL < 3900 * 5


def test_an_empty_call_prints(engine: Engine) -> None:
    """A call with nothing in it gives a page."""
    pdf = render_pdf(tell(alder_flat.opened(engine, customer="").call))
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1


# --- drawings ---------------------------------------------------------------------------------------------------


def test_one_picture_shows_the_case(story: Story) -> None:
    """Row by row: as found, exchanged, mended and with the old seal back, each by its own mark and in words."""
    shown = case_picture(story)
    assert shown is not None
    assert {"ring", "triangle", "dot", "square"} <= {s.kind for s in shown.shapes}
    assert "as found: row 7 at 12 inH2O, other rows at 20 inH2O" in shown.says
    assert "exchanged: row 6 at 12 inH2O, row 7 at 20 inH2O" in shown.says
    assert "old part back: row 7 at 12 inH2O" in shown.says
    assert all(0 <= s.x <= shown.width and 0 <= s.y <= shown.height for s in shown.shapes)


def test_a_small_difference_looks_small(engine: Engine) -> None:
    """Rows that read within two in a hundred of each other stand within a tenth of the picture's height."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.vacuum("before", {row: 12.0 + 0.015 * row for row in range(1, 13)})
    shown = case_picture(tell(case.call))
    assert shown is not None
    heights = [s.y for s in shown.shapes if s.kind == "ring" and s.y > 20]
    assert 12 == len(heights)
    assert 0 < max(heights) - min(heights) < shown.height / 10


def test_rows_are_told_together(engine: Engine) -> None:
    """A low wing is told as its rows from the lowest to the highest reading, not row by row."""
    demo = next(d for d in DEMOS if d.stem == "elder_thole_low_wing")
    shown = case_picture(tell(_from_file(str(demo), Desk(engine, None, "desk0000000000aa"))))
    assert shown is not None
    assert "as found: rows 1-6 at 16.2 to 16.4 inH2O, other rows at 20.1 to 20.3 inH2O" == shown.says


def test_marks_stand_where_the_readings_are(story: Story) -> None:
    """One scale: equal readings stand at one height whatever their round, lower ones lower in proportion."""
    shown = case_picture(story)
    assert shown is not None
    marks = ("ring", "triangle", "dot", "square")
    heights = sorted({round(s.y, 6) for s in shown.shapes if s.kind in marks and s.y > 20})
    lines = sorted(s.y for s in shown.shapes if s.kind == "dash")
    assert 2 == len(heights)
    assert pytest.approx(heights[1] - heights[0]) == (lines[-1] - lines[0]) / 20 * 8


@pytest.mark.parametrize("bad", [11, 3])
def test_one_bad_hole_is_shown_by_the_fold(engine: Engine, bad: int) -> None:
    """Five turns of a disc with one plugged hole: the empty places stand below each other under that hole alone."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_machine({"holes": 30})
    wobble = (0.0, 0.3, -0.4, 0.2, -0.1, 0.5, -0.3)
    places = [6 * k + wobble[k % 7] for k in range(150) if k % 30 + 1 != bad]
    case.vacuum("map", alder_flat.LOW)
    case.call.answer("dug_50_spacings", rows=(7,), observer="technician",
                     positions={"values": [f"{p - places[0]:.2f}" for p in places], "unit": "in"})
    shown = case_picture(tell(case.call))
    assert shown is not None
    gaps = [s for s in shown.shapes if s.kind == "gap" and s.y > 20]
    assert (5, 1) == (len(gaps), len({s.x for s in gaps}))
    assert 145 == sum(s.kind == "dot" and s.y > 20 for s in shown.shapes)
    assert f"hole {bad} of 30: 0 seeds in 5 passes; all other holes: 145 seeds in 145 passes" == shown.says
    assert all(0 <= s.x <= shown.width and 0 <= s.y <= shown.height for s in shown.shapes)


@pytest.mark.parametrize("rows", [16, 24, 54])
def test_a_wide_machine_is_one_drawing(engine: Engine, rows: int) -> None:
    """Every row stands in the one drawing, on one scale."""
    case = alder_flat.opened(engine)
    case.call.set_machine({"rows": rows})
    case.vacuum("map", {row: 18 + row % 3 for row in range(1, rows + 1)})
    shown = case_picture(tell(case.call))
    assert shown is not None
    assert rows == sum(s.kind == "ring" and s.y > 20 for s in shown.shapes)


def dug(engine: Engine, after: bool, units: System | None = None) -> Story:
    """Tell a call with fifty spacings dug, four gaps and a close pair, and after the repair none."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    before = {"unit": "in", "values": ["6.1"] * 45 + ["12.3"] * 4 + ["1.2"]}
    case.call.answer("dug_50_spacings", spacings=before, observer="technician", rows=(7,))
    if after:
        case.call.repair(["seal_worn"], rows=[7], words="New seal.")
        right = {"unit": "in", "values": ["6.1"] * 120}
        case.call.answer("dug_50_spacings", spacings=right, observer="technician", rows=(7,))
    return tell(case.call, units=units)


@pytest.mark.parametrize("after", [False, True])
def test_the_seeds_lie_to_scale(engine: Engine, after: bool) -> None:
    """Each seed is a dot at its place, each gap a box, and what is not shown is said."""
    told = dug(engine, after)
    strip = seed_strip(told)
    assert strip is not None
    assert (4, 51 + 61 * after) == (sum(s.kind == "gap" for s in strip.shapes),
                                    sum(s.kind in ("dot", "triangle") for s in strip.shapes))
    assert "4 gaps and 1 close pair" in strip.says
    assert after == ("the first 60 of 120 spaces" in strip.says)
    assert "seedsastheylay" in words(render_pdf(told))


@pytest.mark.parametrize(("units", "unit"), [("metric", "m"), ("us", "ft"), (None, "ft")])
def test_the_strip_has_the_readers_ruler(engine: Engine, units: System | None, unit: str) -> None:
    """A tape in inches lies beside metres for who reads metres."""
    strip = seed_strip(dug(engine, True, units))
    assert strip is not None
    assert any(s.text == f"5 {unit}" for s in strip.shapes if s.kind == "words") or unit == "m"
    assert {unit} == {s.text.split()[1] for s in strip.shapes if s.kind == "words" and s.text[:1].isdigit()}


def test_a_scale_begins_at_zero_and_ends_above(engine: Engine) -> None:
    """Readings near each other look so, and no mark lies above the top line."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.vacuum("map", {row: 18 + row % 3 for row in range(1, 13)})
    shown = case_picture(tell(case.call))
    assert shown is not None
    lines = [s.y for s in shown.shapes if s.kind == "dash"]
    marks = [s.y for s in shown.shapes if s.kind == "ring" and s.y > 20]
    assert "0" in {s.text for s in shown.shapes if s.kind == "words"}
    assert max(marks) <= max(lines)


# --- pages ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("audience", AUDIENCES)
def test_a_page_can_be_drawn(story: Story, audience: str) -> None:
    """Every page has content, and none is empty but for its number."""
    for page in PdfReader(io.BytesIO(render_pdf(story, audience))).pages:
        assert len(page.extract_text()) > 150


DEMOS = sorted((Path(__file__).parents[2] / "transcripts_demo").glob("*.yaml"))


@pytest.mark.parametrize("demo", DEMOS, ids=[d.stem for d in DEMOS])
def test_a_demonstration_is_short(engine: Engine, demo: Path) -> None:
    """A claim takes at most four pages on either paper, one where nothing was measured; a customer exactly one."""
    call = _from_file(str(demo), Desk(engine, None, "desk0000000000aa"))
    for paper in ("letter", "a4"):
        pages = {a: len(PdfReader(io.BytesIO(FORMATS[".pdf"].make(ordered(call, a, paper=paper)))).pages)
                 for a in ("claim", "customer")}
        assert 1 == pages["customer"]
        assert pages["claim"] <= (4 if tell(call).measured else 1)


def test_metadata_and_bookmarks(story: Story) -> None:
    """The file names call, serial, part number and reader, and its headings stand in the list of contents."""
    reader = PdfReader(io.BytesIO(render_pdf(story, "claim")))
    about = reader.metadata
    assert about is not None
    assert all(t in (about.title or "") for t in ("00000-00001", "INV-PLT-0012", "INV-PN-77", "row 7"))
    assert "for the claim" == about.subject
    assert {"Finding", "Ruled out, by test", "What was asked and measured"} <= {o["/Title"] for o in reader.outline}


def test_no_heading_stands_alone(story: Story) -> None:
    """No page ends with a heading: what follows it stands on the same page."""
    for audience in AUDIENCES:
        titles = {s.title for s in document(story, audience).sections}
        for page in PdfReader(io.BytesIO(render_pdf(story, audience))).pages:
            assert page.extract_text().strip().splitlines()[-1] not in titles
