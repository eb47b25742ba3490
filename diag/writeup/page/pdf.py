"""The story as a PDF: embedded font, tables, drawings, page numbers; the same story gives the same bytes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from diag.text import clean, one_line
from diag.writeup.page.audience import SERVICE, view
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Section
from diag.writeup.page.pictures import FONT, draw, pictures
from diag.writeup.page.render import column_widths, guard
from diag.writeup.page.sections import banner, sections, subtitle, title_of
from diag.writeup.story.model import Story

BOLD = "WriteBold"
MARGIN = 50.0
GREY = (0.88, 0.89, 0.91)
MOST_CELL = 1500
"""Characters of one cell; a longer text goes on in further rows, so that it can break over pages."""
LEAST_COLUMN = 34.0
REPLACED = "Some characters that the font does not have are shown as ?."


def render_pdf(story: Story, audience: str = SERVICE) -> bytes:
    """Return the write-up as PDF bytes."""
    from reportlab.lib.pagesizes import letter
    from reportlab.platypus import SimpleDocTemplate

    _fonts()
    told = view(story, audience)
    out = BytesIO()
    title = one_line(title_of(told))
    document = SimpleDocTemplate(
        out, pagesize=letter, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN, bottomMargin=MARGIN,
        title=title, author="", subject=f"for {audience}", creator="diag", invariant=1,
    )
    writer = _Writer(document.width)
    document.build(list(writer.story(story, told, audience)), canvasmaker=_numbered(title))
    return out.getvalue()


@cache
def _fonts() -> None:
    """Register the fonts that come with reportlab; they are embedded, in the part that is used."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))
    pdfmetrics.registerFont(TTFont(BOLD, "VeraBd.ttf"))


class _Writer:
    """Turns sections into flowables."""

    def __init__(self, width: float) -> None:
        from reportlab.lib.styles import ParagraphStyle

        self.width = width
        self.replaced = False
        base = {"fontName": FONT, "fontSize": 9, "leading": 12, "splitLongWords": 1}
        self.body = ParagraphStyle("body", **base, spaceAfter=4)
        self.cell = ParagraphStyle("cell", **{**base, "fontSize": 7.5, "leading": 9.5})
        self.head = ParagraphStyle("head", **{**base, "fontName": BOLD, "fontSize": 7.5, "leading": 9.5})
        self.quote = ParagraphStyle("quote", **base, leftIndent=14, rightIndent=14, spaceAfter=4)
        self.point = ParagraphStyle("point", **base, leftIndent=12, bulletIndent=2, bulletFontName=FONT, spaceAfter=2)
        self.title = ParagraphStyle("title", **{**base, "fontName": BOLD, "fontSize": 14, "leading": 18}, spaceAfter=4)
        self.section = ParagraphStyle("section", **{**base, "fontName": BOLD, "fontSize": 10.5, "leading": 14},
                                      spaceBefore=8, spaceAfter=3, keepWithNext=1)
        self.strong = ParagraphStyle("strong", **{**base, "fontName": BOLD}, spaceAfter=4)
        self.caption = ParagraphStyle("caption", **{**base, "fontSize": 8}, spaceBefore=4, spaceAfter=2, keepWithNext=1)

    def story(self, story: Story, told: Story, audience: str) -> Iterator[Any]:
        """Yield the flowables of the whole write-up."""
        yield self.text(title_of(told), self.title)
        yield self.text(subtitle(told), self.body)
        for line in banner(told):
            yield self.text(line, self.strong)
        for section in sections(story, audience):
            yield from self.section_of(section)
            if section.name == "confirmation" or (section.name == "correction" and not told.pairs):
                yield from self.drawings(told)
        if self.replaced:
            yield self.text(REPLACED, self.caption)

    def section_of(self, section: Section) -> Iterator[Any]:
        """Yield a heading and its blocks."""
        yield self.text(section.title, self.section)
        for block in section.blocks:
            yield from self.block(block)

    def block(self, block: Block) -> Iterator[Any]:
        """Yield the flowables of one block."""
        if isinstance(block, Paragraph):
            yield self.text(block.text, self.body)
        elif isinstance(block, Quote):
            yield self.text(f'"{block.text}"', self.quote)
        elif isinstance(block, Points):
            for line in block.lines:
                yield self.text(line, self.point, bullet="-")
        elif isinstance(block, Fields):
            yield from self.table(("", ""), block.pairs, headed=False)
        else:
            if block.title:
                yield self.text(block.title, self.caption)
            yield from self.table(block.headings, block.rows)

    def drawings(self, told: Story) -> Iterator[Any]:
        """Yield the drawings with their captions, each kept together."""
        from reportlab.platypus import KeepTogether

        for bars in pictures(told):
            yield KeepTogether([self.text(bars.title, self.caption), draw(bars, self.width)])

    def text(self, text: str, style: Any, bullet: str | None = None) -> Any:
        """Return a paragraph of plain text: no tag in it is ever read as one."""
        from reportlab.platypus import Paragraph as Flowing

        told = escape(self.shown(clean(text))).replace("\n", "<br/>")
        return Flowing(told, style, bulletText=bullet)

    def shown(self, text: str) -> str:
        """Return text in characters the font has; what it lacks becomes its plain letter or a question mark."""
        return "".join(c if c in "\n\t" or _has(ord(c)) else self._plain(c) for c in text)

    def _plain(self, character: str) -> str:
        base = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
        if base and all(_has(ord(c)) for c in base):
            return base
        self.replaced = True
        return "?"

    def table(self, headings: tuple[str, ...], rows: Sequence[tuple[str, ...]], headed: bool = True) -> Iterator[Any]:
        """Yield a table that breaks over pages and repeats its headings."""
        from reportlab.platypus import LongTable, Spacer

        cut = [part for row in rows for part in _short_rows(tuple(guard(c) for c in row))]
        texts = [list(headings), *map(list, cut)] if headed else [list(r) for r in cut]
        units = column_widths(texts, 110 - 2 * (len(headings) - 1))
        total = sum(units)
        widths = [self.width * u / total for u in units] if total * 5.2 > self.width else [u * 5.2 + 10 for u in units]
        widths = [max(w, min(u * 5.2 + 10, LEAST_COLUMN)) for w, u in zip(widths, units, strict=True)]
        styles = [self.head if headed and not i else self.cell for i in range(len(texts))]
        cells = [[self.text(c, style) for c in row] for row, style in zip(texts, styles, strict=True)]
        yield LongTable(cells, colWidths=_fit(widths, self.width), repeatRows=1 if headed else 0,
                        style=_style(headed), hAlign="LEFT")
        yield Spacer(1, 5)


def _fit(widths: list[float], room: float) -> list[float]:
    """Return widths that fit: what is too much is taken off the columns in proportion to what they have to spare."""
    over = sum(widths) - room
    spare = [max(0.0, w - LEAST_COLUMN) for w in widths]
    if over <= 0:
        return widths
    return [w - over * s / sum(spare) for w, s in zip(widths, spare, strict=True)]


def _short_rows(row: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Yield a row in pieces: a cell taller than a page could not be set."""
    longest = max((len(c) for c in row), default=0)
    for start in range(0, max(1, longest), MOST_CELL):
        yield tuple(c[start : start + MOST_CELL] for c in row)


def _style(headed: bool) -> Any:
    from reportlab.lib.colors import Color
    from reportlab.platypus import TableStyle

    lines: list[Any] = [
        ("FONT", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, Color(*GREY)),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]
    if headed:
        lines.append(("BACKGROUND", (0, 0), (-1, 0), Color(*GREY)))
    return TableStyle(lines)


def _has(code: int) -> bool:
    from reportlab.pdfbase import pdfmetrics

    return code == 32 or bool(pdfmetrics.getFont(FONT).face.charToGlyph.get(code))


def _numbered(title: str) -> Any:
    """Return a canvas class that writes "page 2 of 5" once all pages are known."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc]
        """Keeps its pages until the last, then numbers them."""

        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **{**options, "initialFontName": FONT})
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 (a name of the library)
            self._kept.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, kept in enumerate(self._kept, 1):
                self.__dict__.update(kept)
                self.setFont(FONT, 7)
                self.drawString(MARGIN, 30, title)
                self.drawRightString(self._pagesize[0] - MARGIN, 30, f"page {number} of {len(self._kept)}")
                super().showPage()
            super().save()

    return Numbered
