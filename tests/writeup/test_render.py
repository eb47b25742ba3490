"""The printed forms: plain text, Markdown, JSON; and text that tries to be markup, a formula or a terminal command."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from pydantic import TypeAdapter
from writeup import alder_flat

from diag.reason.judge import Engine
from diag.text import one_line
from diag.writeup.completeness import readiness
from diag.writeup.page import json_form
from diag.writeup.page.audience import AUDIENCES
from diag.writeup.page.document import document
from diag.writeup.page.json_form import as_json, render_json, schema
from diag.writeup.page.render import (
    SHORT,
    _md,
    column_widths,
    guard,
    render_markdown,
    render_short,
    render_text,
)
from diag.writeup.story import tell
from diag.writeup.story.model import Story

HOSTILE = (
    '<b>bold</b> <img src="file:///etc/passwd"/> </para><font color=red> &amp; [x](http://evil.example) '
    "![y](z) `code` # head * star | pipe www.evil.example a@evil.example ~~gone~~ $x^2$ \\ end"
)
CONTROL = "\x1b]0;owned\x07\x1b[31mred\x1b[0m \u202ereversed\u202c \u0000nul \ud800"


def hostile(engine: Engine, words: str = HOSTILE, label: str = "=HYPERLINK(1)") -> Story:
    """A call in which every free text is hostile."""
    case = alder_flat.opened(engine, customer=words, contact=words, place=label, technician=words)
    call = case.call
    call.set_machine({"rows": 12}, serial=label, label=words)
    call.set_situation({"rows": [7], "seed_lot_code": "=1+1", "since": "@SUM(A1)"})
    call.set_complaint(words, [("skips_high", "chosen")])
    call.answer("meter_swap", outcome="moves", observer="technician", rows=(7,), said=words)
    repair = call.repair(["seal_worn"], words=words, rows=[7], parts=[{"item": "+cmd|' /C calc'!A0", "qty": 1}],
                         settings=[{"name": "=A1", "before": "-2+3", "after": "@x"}])
    call.record("note", {"file": True}, {"text": words})
    call.record("note", {}, {"text": words})
    call.record("done_before", {"what": "=2+2"}, {"said": words})
    alder_flat.photo(call, "=evil.jpg", words, repair.id)
    case.give("part_kept", words)
    case.give("unexplained", words)
    return tell(call)


# --- plain text -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 60, 78, 132])
def test_no_line_is_wider_than_asked(story: Story, width: int) -> None:
    """The text fits the form it is pasted into, for every reader."""
    for audience in AUDIENCES:
        longest = max(render_text(story, width, audience).splitlines(), key=len)
        assert len(longest) <= width, longest


def test_text_is_the_same_whatever_its_width(story: Story) -> None:
    """Folding drops and adds no word: paragraphs and lists of two widths are equal but for the folds."""
    narrow, wide = (_running(render_text(story, w)) for w in (60, 200))
    assert wide == narrow


def _running(text: str) -> list[str]:
    """Words of all sections that hold no table."""
    kept = re.split(r"\n(?=[A-Z][A-Z, ]+\n)", text)
    fields = ("MACHINE", "FOR THE", "RECORD", "Service")
    return " ".join(p for p in kept if "---" not in p and not p.startswith(fields)).split()


def test_every_block_is_in_the_text(story: Story) -> None:
    """Each paragraph, point and cell of the sections stands in the printed text."""
    text = render_text(story, 1000)
    for section in document(story).sections:
        assert section.title.upper() in text
        for block in section.blocks:
            lines = [*getattr(block, "lines", ()), getattr(block, "text", "")]
            tables = [*getattr(block, "rows", ()), *getattr(block, "pairs", ())]
            for piece in [*lines, *(c for row in tables for c in row)]:
                assert " ".join(piece.split()) in text


def test_control_bytes_and_direction_marks_are_gone(engine: Engine) -> None:
    """What could drive a terminal or turn text round is dropped at the door and stands in no format."""
    told = hostile(engine, CONTROL + "x" * 30)
    for text in (render_text(told), render_markdown(told), render_json(told)):
        assert [] == [c for c in text if c in "\x1b\x07\x00\u202e\u202c" or 0xD800 <= ord(c) < 0xE000]


# --- formulas ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "shown"),
    [("=1+1", "'=1+1"), ("@SUM(A1)", "'@SUM(A1)"), ("+cmd|x", "'+cmd|x"), ("-2+3", "'-2+3"), ("-2 inH2O", "-2 inH2O"),
     ("+0.5", "+0.5"), ("- 3 %", "- 3 %"), ("row 7", "row 7"), ("\t=1", "'=1"), ("", "")],
)
def test_formula_signs_at_the_start_of_a_cell(cell: str, shown: str) -> None:
    """A cell that a spreadsheet would work out gets a quote in front; a plain number does not."""
    assert shown == guard(cell)


def test_no_cell_begins_as_a_formula(engine: Engine) -> None:
    """In text and Markdown alike no cell of a hostile call begins with =, @ or + before letters."""
    told = hostile(engine)
    cells = [c.strip() for line in render_markdown(told).splitlines() if line.startswith("|") for c in line.split("|")]
    assert [] == [c for c in cells if re.match(r"\\?[=@]|\\?[-+][a-zA-Z]", c)]
    lines = render_text(told, 200).splitlines()
    assert [] == [ln for ln in lines if re.match(r"[=@+]", ln)]


# --- Markdown ---------------------------------------------------------------------------------------------------


def test_markdown_of_a_hostile_call_has_no_markup_of_its_own(engine: Engine) -> None:
    """Read by a Markdown library: no HTML, link, image, emphasis or code that the text would bring."""
    parser = MarkdownIt("commonmark", {"linkify": False, "html": True}).enable(["table", "strikethrough"])
    tokens = parser.parse(render_markdown(hostile(engine)))
    inner = [t for token in tokens for t in (token.children or [])]
    kinds = {t.type for t in [*tokens, *inner]}
    assert set() == kinds & {"html_inline", "html_block", "link_open", "image", "em_open", "s_open", "code_inline",
                             "fence", "code_block"}
    text = "".join(t.content for t in inner if t.type == "text")
    assert '<img src="file:///etc/passwd"/>' in text
    assert "[x](http://evil.example)" in text


@given(st.text(max_size=60))
def test_any_text_comes_back_out_of_markdown(text: str) -> None:
    """Escaped for Markdown and read again, text is what it was (white space folded, control bytes gone)."""


    told = one_line(text)
    parser = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
    inner = [t for token in parser.parse("x " + _md(text)) for t in (token.children or [])]
    assert {"text"} >= {t.type for t in inner} - {"text_special"}
    assert f"x {told}".strip() == "".join(t.content for t in inner).strip()


@given(st.text(max_size=40))
def test_any_text_alone_on_a_line_begins_no_block(text: str) -> None:
    """Escaped text at the start of a line is a paragraph: no list, heading, rule, quote, table or fence."""
    tokens = MarkdownIt("commonmark", {"html": True}).enable("table").parse(_md(text))
    assert {t.type for t in tokens} <= {"paragraph_open", "inline", "paragraph_close"}


# --- JSON -------------------------------------------------------------------------------------------------------


def test_the_published_schema_is_fresh() -> None:
    """The schema beside the program is the one the types give."""
    published = Path(json_form.__file__).with_name("schema.json").read_text(encoding="utf-8")
    assert schema() == json.loads(published)


@pytest.mark.parametrize("audience", AUDIENCES)
def test_json_is_what_the_types_say(story: Story, audience: str) -> None:
    """The JSON of a write-up can be read back into the types it was made from, and names its format and reader."""
    data = json.loads(render_json(story, audience))
    assert ("diag-write-up", 2, audience) == (data["format"], data["version"], data["audience"])
    assert data == json.loads(json.dumps(as_json(story, audience)))
    again = TypeAdapter(Story).validate_json(json.dumps(data["story"]))
    assert data["story"]["causes"] == json.loads(TypeAdapter(Story).dump_json(again))["causes"]


def test_every_property_of_the_schema_is_in_the_json(story: Story) -> None:
    """No field of the story is missing from the file, and none is there that the schema does not name."""
    assert set(schema()["$defs"]["Story"]["properties"]) == set(as_json(story)["story"])


# --- short form, readiness ---------------------------------------------------------------------------------------


PARTS = {"customer": ["What it was", "What we did", "Is it right now", "What to look at next", "Call us"],
         "claim": ["Cause", "Correction", "Confirmation", "Hours"]}


@pytest.mark.parametrize("audience", PARTS)
def test_the_short_form_fits_a_field(story: Story, audience: str) -> None:
    """The parts in at most 900 characters, the verdict among them; the customer reads no marks."""
    text = render_short(story, audience)
    assert len(text) <= SHORT
    first, *lines = text.splitlines()
    assert first.startswith("00000-00001, row 7, INV-PLT-0012")
    assert "Demonstration" in first
    complaint = ["Complaint"] if audience == "claim" else []
    assert [*complaint, *PARTS[audience]] == [next((p for p in PARTS[audience] if line.startswith(p)),
                                                    line.partition(":")[0]) for line in lines]
    assert "Call us: Call us" not in text
    assert (audience == "claim") == ("CONFIRMED" in text)


@given(st.text(max_size=3000))
def test_the_short_form_fits_whatever_was_said(engine: Engine, words: str) -> None:
    """However long the customer's words are, the rest stands and a cut is marked."""
    case = alder_flat.opened(engine)
    case.call.set_complaint(words, [("skips_high", "chosen")])
    text = render_short(tell(case.call))
    assert len(text) <= SHORT
    assert "Cause: not shown." in text
    assert ("Complaint: " in text) == bool(one_line(words))


def test_the_file_says_how_ready_it_is(engine: Engine) -> None:
    """A draft says so first, with how many things are missing and which; the JSON holds each with its question."""
    whole = alder_flat.good(engine, changes={"authorised": None})
    story = tell(whole.call)
    ready = readiness(story, engine.knowledge, claim=True)
    text = " ".join(render_text(story, 400, "claim", ready).split())
    met = f"{ready.of - 1} of {ready.of} met"
    assert f"DRAFT, 1 missing (1 must, 0 should), {met}. Missing: who authorised it, and when." in text
    assert "Who said go, in which role, when and how?" in text
    assert "DRAFT, 1 missing" in render_short(story, "claim", ready).splitlines()[0]
    told = as_json(story, "claim", ready)["readiness"]
    assert (True, ["r25_authorised"]) == (told["draft"], [m["rule"] for m in told["missing"]])
    assert None is as_json(story, "customer", ready)["readiness"]
    done = readiness(tell(alder_flat.good(engine).call), engine.knowledge, claim=True)
    assert f"Complete, {done.of} of {done.of} met." in render_text(story, 100, "claim", done)


def test_a_customers_file_argues_for_nothing(story: Story) -> None:
    """No cause stands for or against a test in the customer's JSON, and nothing was meant for the payer."""
    told = as_json(story, "customer")["story"]
    assert {((), ())} == {(tuple(t["supports"]), tuple(t["against"])) for t in told["tests"]}
    assert () == tuple(told["others"])


# --- column widths ----------------------------------------------------------------------------------------------


@given(st.lists(st.lists(st.text(max_size=40), min_size=3, max_size=3), min_size=1, max_size=6), st.integers(30, 120))
def test_columns_share_the_room(rows: list[list[str]], room: int) -> None:
    """Columns never take more than there is, and short columns never more than they need."""
    widths = column_widths(rows, room)
    assert sum(widths) <= room
    for i, width in enumerate(widths):
        assert width <= max(3, *(len(r[i]) for r in rows))
