"""The story as plain text, as Markdown, and in a short form for the field of somebody else's form.

Text that people typed is data: control bytes go, a cell that a spreadsheet would take for a formula gets a quote
in front, and Markdown signs are escaped.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence

from diag.text import clean, one_line
from diag.writeup.completeness import Readiness
from diag.writeup.page.audience import CUSTOMER, SERVICE, view
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Shot, Table
from diag.writeup.page.document import banner, document, place
from diag.writeup.page.drawing import Picture
from diag.writeup.page.finding import effect, graded, leading, says_so
from diag.writeup.page.front import hours_text, repair_text
from diag.writeup.page.sentences import capital, count_text, main_pair, verdict_text
from diag.writeup.story.model import Story

LEAST_WIDTH = 40
SHORT = 900
"""Characters of the short form at most."""
_FORMULA = re.compile(r"[=@]|[-+](?![\d\s.]*\s*[\w%]*\Z)")
_MARKDOWN = re.compile(r"([\\`*_{}\[\]#|>~$!&@]|<(?! ))")


def guard(cell: str) -> str:
    """Return the text of a cell so that no spreadsheet takes it for a formula; plain numbers stay."""
    told = one_line(cell)
    return f"'{told}" if _FORMULA.match(told) else told


# --- plain text -----------------------------------------------------------------------------------------------


def render_text(story: Story, width: int = 78, audience: str = SERVICE, ready: Readiness | None = None) -> str:
    """Return the write-up as plain text, at most `width` columns (at least 40)."""
    width = max(LEAST_WIDTH, width)
    made = document(story, audience, ready)
    lines = [made.title, guard(made.subtitle), *made.banner, *([made.lacks] if made.lacks else [])]
    for section in made.sections:
        lines += ["", *([section.title.upper()] if section.title else [])]
        for number, block in enumerate(section.blocks):
            if number and isinstance(block, Table):
                lines.append("")
            lines += _text_block(block, width)
    return "\n".join(_fold(line, width) for line in lines) + "\n"


def _fold(line: str, width: int) -> str:
    return line.rstrip() if len(line) <= width else textwrap.fill(line, width, break_on_hyphens=False)


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
    elif isinstance(block, Picture):
        yield from _wrap(f"{block.title}. {capital(block.says)}.", width)
    elif isinstance(block, Shot):
        yield from _wrap(f"Photo: {block.caption}", width)
    else:
        if block.title:
            yield block.title + ":"
        yield from _text_table(block, width)


def _wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    rest = first if rest is None else rest
    found: list[str] = []
    for part in clean(text).split("\n"):
        lead = first if not found else rest
        folded = textwrap.wrap(part, width, initial_indent=lead, subsequent_indent=rest, break_on_hyphens=False)
        found += folded or [lead.rstrip()]
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


def render_markdown(story: Story, audience: str = SERVICE, ready: Readiness | None = None) -> str:
    """Return the write-up as Markdown."""
    made = document(story, audience, ready)
    lines = [f"# {_md(made.title)}", "", _md(guard(made.subtitle)), ""]
    lines += [f"**{_md(line)}**\n" for line in made.banner] + ([f"{_md(made.lacks)}\n"] if made.lacks else [])
    for section in made.sections:
        lines += [f"## {section.title}", ""] if section.title else []
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
    elif isinstance(block, Picture):
        yield f"{_md(block.title)}. {_md(capital(block.says))}."
    elif isinstance(block, Shot):
        yield f"Photo: {_md(block.caption)}"
    else:
        if block.title:
            yield f"{_md(block.title)}:"
            yield ""
        yield "| " + " | ".join(_md(h) for h in block.headings) + " |"
        yield "|" + "---|" * len(block.headings)
        for row in block.rows:
            yield "| " + " | ".join(_md(guard(c)) for c in row) + " |"


# --- short form -----------------------------------------------------------------------------------------------


def render_short(story: Story, audience: str = SERVICE, ready: Readiness | None = None) -> str:
    """Return the parts of a form's field in at most 900 characters: what it is of, complaint, cause, correction, proof.

    What is longest gives way first; a cut is marked. A draft, a practice call and a demonstration say so.
    """
    told = view(story, audience)
    parts = [*_customer_parts(story)] if audience == CUSTOMER else [
        ("Cause", _short_cause(told)), ("Correction", _short_correction(told)),
        ("Confirmation", _short_proof(told)), ("Hours", " ".join(hours_text(told)[:1]))]
    words = one_line(told.complaint.words)
    if audience != CUSTOMER and words:
        parts.insert(0, ("Complaint", f'"{words}"'))
    named = [told.item(n) for n in ("serial", "part_number")]
    marks = banner(told, ready if audience != CUSTOMER else None)
    head = ", ".join([told.record.call, place(told), *(i.told.text for i in named if i)])
    first = one_line(" ".join([f"{head.replace(', ,', ',').strip(', ')}.", *marks]))
    lines = [(name, one_line(text)) for name, text in parts if text]
    room = SHORT - 1 - len(first) - sum(len(name) + 3 for name, _ in lines)
    return "\n".join([first, *(f"{name}: {text}" for name, text in _fitted(lines, room))])[: SHORT - 1] + "\n"


def _fitted(lines: Sequence[tuple[str, str]], room: int) -> list[tuple[str, str]]:
    """Return lines that fit together: those longer than a fair share are cut."""
    left, count, widths = room, len(lines), dict.fromkeys((name for name, _ in lines), 0)
    for name, text in sorted(lines, key=lambda line: len(line[1])):
        widths[name] = min(len(text), left // count)
        left, count = left - widths[name], count - 1
    return [(name, shortened(text, widths[name])) for name, text in lines]


def _customer_parts(story: Story) -> Iterator[tuple[str, str]]:
    """Yield what the customer's page says, without marks and pictures."""
    for section in document(story, CUSTOMER).sections:
        texts = [b.text for b in section.blocks if isinstance(b, Paragraph)]
        texts += [" ".join(b.lines) for b in section.blocks if isinstance(b, Points)]
        if section.title and texts:
            name = section.title.rstrip("?")
            told = " ".join(texts)
            yield name, told.removeprefix(f"{name} ")


def shortened(text: str, room: int) -> str:
    """Return text that fits, cut at a word; the cut is marked."""
    return text if len(text) <= room else text[: max(0, room - 4)].rsplit(" ", 1)[0] + " ..."


def _short_cause(story: Story) -> str:
    told = leading(story)
    if story.closing.no_fault:
        return " ".join(["No fault of the planter was found.", *(graded(story, c) for c in told)])
    if told:
        return " ".join(graded(story, c) for c in told)
    found = says_so(story)
    return "not shown." + (f" Found: {found}." if found else f" {capital(effect(story))}." if effect(story) else "")


def _short_correction(story: Story) -> str:
    return " ".join(repair_text(r) for r in story.repairs) or "nothing was repaired."


def _short_proof(story: Story) -> str:
    parts = [verdict_text(p) for p in story.proofs[-1:]]
    parts += [capital(count_text(c)) for p in story.proofs[-1:] for c in p.counts[:1]]
    pair = main_pair(story)
    parts += [f"{capital(pair.where)}: {pair.before.text} before, {pair.after.text} after."] if pair else []
    return " ".join(parts)
