"""The story as plain text for any form, as Markdown, and as JSON.

Text that people typed is data: control bytes go, a cell that a spreadsheet would take for a formula gets a quote
in front, and Markdown signs are escaped.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from diag.text import clean, one_line
from diag.writeup.page.audience import SERVICE, view
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Table
from diag.writeup.page.sections import banner, sections, subtitle, title_of
from diag.writeup.story.model import Story

FORMAT, VERSION = "diag-write-up", 1
LEAST_WIDTH = 40
_FORMULA = re.compile(r"[=@]|[-+](?![\d\s.]*\s*[\w%]*\Z)")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#|<>~$!&@])")


def guard(cell: str) -> str:
    """Return the text of a cell so that no spreadsheet takes it for a formula; plain numbers stay."""
    told = one_line(cell)
    return f"'{told}" if _FORMULA.match(told) else told


# --- plain text -----------------------------------------------------------------------------------------------


def render_text(story: Story, width: int = 78, audience: str = SERVICE) -> str:
    """Return the write-up as plain text, at most `width` columns (at least 40)."""
    width = max(LEAST_WIDTH, width)
    told = view(story, audience)
    lines = [title_of(told), guard(subtitle(told)), *banner(story)]
    for section in sections(story, audience):
        lines += ["", section.title.upper()]
        for number, block in enumerate(section.blocks):
            if number and isinstance(block, Table):
                lines.append("")
            lines += _text_block(block, width)
    return "\n".join(_fold(line, width) for line in lines) + "\n"


def _fold(line: str, width: int) -> str:
    return line.rstrip() if len(line) <= width else textwrap.fill(line, width)


def _text_block(block: Block, width: int) -> Iterator[str]:
    if isinstance(block, Paragraph):
        yield from _wrap(block.text, width)
    elif isinstance(block, Quote):
        yield from _wrap(f'"{clean(block.text)}"', width, "  ")
    elif isinstance(block, Points):
        for line in block.lines:
            yield from _wrap(line, width, "- ", "  ")
    elif isinstance(block, Fields):
        room = min(max(len(label) for label, _ in block.pairs), width // 3)
        for label, text in block.pairs:
            name = one_line(label)
            if len(name) > room:
                yield from _wrap(name, width)
                name = ""
            yield from _wrap(guard(text), width, f"{name:<{room}}  ", " " * (room + 2))
    else:
        if block.title:
            yield block.title + ":"
        yield from _text_table(block, width)


def _wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    rest = first if rest is None else rest
    found: list[str] = []
    for part in clean(text).split("\n"):
        lead = first if not found else rest
        found += textwrap.wrap(part, width, initial_indent=lead, subsequent_indent=rest) or [lead.rstrip()]
    return found


def _text_table(table: Table, width: int) -> Iterator[str]:
    cells = [[guard(c) for c in row] for row in table.rows]
    widths = column_widths([list(table.headings), *cells], width - 2 * (len(table.headings) - 1))
    yield from _text_row(table.headings, widths)
    yield "  ".join("-" * w for w in widths)
    for row in cells:
        yield from _text_row(row, widths)


def column_widths(rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Return column widths that fit in `room`: short columns as they need, long ones share the rest."""
    needs = [max(len(r[i]) for r in rows) for i in range(len(rows[0]))]
    widths = [0] * len(needs)
    left, open_columns = room, sorted(range(len(needs)), key=lambda i: needs[i])
    while open_columns:
        fair = left // len(open_columns)
        column = open_columns.pop(0)
        widths[column] = max(3, min(needs[column], fair))
        left -= widths[column]
    return widths


def _text_row(cells: Sequence[str], widths: Sequence[int]) -> Iterator[str]:
    folded = [textwrap.wrap(one_line(c), w) or [""] for c, w in zip(cells, widths, strict=True)]
    for i in range(max(len(f) for f in folded)):
        parts = [f[i] if i < len(f) else "" for f in folded]
        yield "  ".join(f"{p:<{w}}" for p, w in zip(parts, widths, strict=True)).rstrip()


# --- Markdown -------------------------------------------------------------------------------------------------


def render_markdown(story: Story, audience: str = SERVICE) -> str:
    """Return the write-up as Markdown."""
    told = view(story, audience)
    lines = [f"# {_md(title_of(told))}", "", _md(guard(subtitle(told))), ""]
    lines += [f"**{_md(line)}**\n" for line in banner(story)]
    for section in sections(story, audience):
        lines += [f"## {section.title}", ""]
        for block in section.blocks:
            lines += [*_md_block(block), ""]
    return "\n".join(lines).rstrip("\n") + "\n"


def _md(text: str) -> str:
    """Return text with Markdown signs escaped, on one line; what would begin a list or a heading too."""
    told = _MARKDOWN.sub(r"\\\1", one_line(text)).replace("://", r":\/\/").replace("www.", r"www\.")
    told = re.sub(r"\A([-+=:])", r"\\\1", told)
    return re.sub(r"\A(\d+)([.)])", r"\1\\\2", told)


def _md_block(block: Block) -> Iterator[str]:
    if isinstance(block, Paragraph):
        yield _md(block.text)
    elif isinstance(block, Quote):
        for part in clean(block.text).split("\n"):
            yield f"> {_md(part)}  "
    elif isinstance(block, Points):
        for line in block.lines:
            yield f"- {_md(line)}"
    elif isinstance(block, Fields):
        yield "| | |"
        yield "|---|---|"
        for label, text in block.pairs:
            yield f"| {_md(label)} | {_md(guard(text))} |"
    else:
        if block.title:
            yield f"{_md(block.title)}:"
            yield ""
        yield "| " + " | ".join(_md(h) for h in block.headings) + " |"
        yield "|" + "---|" * len(block.headings)
        for row in block.rows:
            yield "| " + " | ".join(_md(guard(c)) for c in row) + " |"


# --- JSON -----------------------------------------------------------------------------------------------------


def render_json(story: Story, audience: str = SERVICE) -> str:
    """Return the write-up as JSON by the published schema (`schema.json` beside this file)."""
    return json.dumps(as_json(story, audience), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def as_json(story: Story, audience: str = SERVICE) -> dict[str, Any]:
    """Return the JSON value of a write-up: every entry names the events it rests on."""
    return {"format": FORMAT, "version": VERSION, "audience": audience, "story": asdict(view(story, audience))}


def schema() -> dict[str, Any]:
    """Return the JSON schema of the write-up, worked out from its types."""
    from pydantic import TypeAdapter

    inner = TypeAdapter(Story).json_schema(mode="serialization", ref_template="#/$defs/{model}")
    definitions = inner.pop("$defs", {})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, "type": "object",
        "additionalProperties": False, "required": ["audience", "format", "story", "version"],
        "properties": {
            "format": {"const": FORMAT}, "version": {"const": VERSION},
            "audience": {"enum": ["customer", "claim", "service"]}, "story": {"$ref": "#/$defs/Story"},
        },
        "$defs": {**definitions, "Story": inner},
    }
