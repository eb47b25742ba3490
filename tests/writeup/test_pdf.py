"""The PDF: its text against the record, hostile text, same bytes, page numbers, drawings, fonts."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest
from pypdf import PdfReader
from writeup import alder_flat
from writeup.test_render import CONTROL, HOSTILE, hostile

from diag import text
from diag.reason.judge import Engine
from diag.writeup.page.audience import AUDIENCES
from diag.writeup.page.pdf import MOST_CELL, REPLACED, render_pdf
from diag.writeup.page.pictures import EDGES, Bars, histogram, pictures
from diag.writeup.page.sections import sections
from diag.writeup.story import tell
from diag.writeup.story.model import Story


def words(pdf: bytes) -> str:
    """Return the text of all pages without white space, so that folding does not matter."""
    return "".join("".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_text_of_the_record_is_in_the_pdf(story: Story) -> None:
    """Every paragraph, point, field and cell of each reader's sections can be read out of the PDF again."""
    for audience in AUDIENCES:
        text = words(render_pdf(story, audience))
        for section in sections(story, audience):
            for block in section.blocks:
                tables = [*getattr(block, "rows", ()), *getattr(block, "pairs", ())]
                pieces = [*getattr(block, "lines", ()), getattr(block, "text", ""), *(c for row in tables for c in row)]
                for piece in pieces:
                    for word in piece.split():
                        assert word in text, (audience, section.name, word)


def test_the_readings_are_in_the_pdf_side_by_side(story: Story) -> None:
    """Row 7 reads 12 before and 20 after, in one line of the table."""
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(render_pdf(story, "claim"))).pages)
    assert re.search(r"row 7\s+12 inH2O\s+20 inH2O", text)


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
        assert "Write-up 00000-00001, row 7" in text


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


def as_rows(bars: Bars) -> Mapping[str, tuple[str, ...]]:
    """Return what a drawing shows, by series, for a check against the record."""
    return {name: tuple(t or text.number(v or 0.0) for v, t in zip(values, texts, strict=True))
            for name, values, texts in bars.series}


def test_the_drawing_shows_the_readings(story: Story) -> None:
    """Bars before and after carry the figures of the record."""
    drawn = {b.title: as_rows(b) for b in pictures(story)}
    vacuum = drawn["Vacuum at every meter, not at the fan: before and after"]
    assert ("20 inH2O", "20 inH2O", "20 inH2O", "12 inH2O", "20 inH2O", "20 inH2O") == vacuum["before"]
    assert ("20 inH2O",) * 6 == vacuum["after"]


def test_spacings_fall_in_their_classes() -> None:
    """0.5 target and less is close, 1.5 and less is single: a spacing on a limit falls below it; all are counted."""
    target = 0.16
    spacings = [0.01, 0.08, 0.0801, 0.16, 0.24, 0.2401, 0.32, 5.0]
    ((_, counts, _),) = histogram("dug", spacings, target).series
    by_edge = dict(zip(EDGES, counts, strict=True))
    assert len(spacings) == sum(c or 0 for c in counts)
    assert (1, 1, 1, 1, 1, 1) == tuple(by_edge[e] for e in (0.0, 0.25, 0.5, 0.75, 1.25, 1.5))
    assert (1, 1) == (by_edge[1.75], by_edge[EDGES[-1]])


def test_a_wide_machine_gets_several_drawings(engine: Engine) -> None:
    """54 rows are drawn in three drawings, none left out."""
    case = alder_flat.opened(engine)
    case.call.set_machine({"rows": 54})
    case.vacuum("map", {row: 18 + row % 3 for row in range(1, 55)})
    drawn = [b.groups for b in pictures(tell(case.call))]
    assert [24, 24, 6] == [len(g) for g in drawn]
    assert tuple(str(r) for r in range(1, 55)) == sum(drawn, ())


def test_dug_spacings_bring_their_histogram(engine: Engine) -> None:
    """Fifty dug spacings with a known target are drawn, and the drawing says how many there are."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    spacings = {"unit": "in", "values": ["6.1"] * 45 + ["12.3"] * 4 + ["1.2"]}
    case.call.answer("dug_50_spacings", spacings=spacings, observer="instrument", rows=(7,))
    told = tell(case.call)
    titles = [b.title for b in pictures(told)]
    assert 1 == len(titles)
    assert "50 spacings by multiples of the target" in titles[0]
    assert "50spacingsbymultiples" in words(render_pdf(told))


@pytest.mark.parametrize("audience", AUDIENCES)
def test_a_page_can_be_drawn(story: Story, audience: str) -> None:
    """Every page has content, and none is empty but for its number."""
    for page in PdfReader(io.BytesIO(render_pdf(story, audience))).pages:
        assert len(page.extract_text()) > 150
