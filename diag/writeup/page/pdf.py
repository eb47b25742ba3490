"""The story as a PDF: page one, then the appendix; embedded fonts, bookmarks; the same story gives the same bytes."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from diag.text import clean, one_line
from diag.writeup.completeness import Readiness
from diag.writeup.page.audience import SERVICE
from diag.writeup.page.blocks import Block, Document, Fields, Paragraph, Points, Quote, Section, Shot, Table
from diag.writeup.page.document import document
from diag.writeup.page.drawing import Picture
from diag.writeup.page.pdf_picture import draw
from diag.writeup.page.pdf_sheet import (
    BOLD,
    DARK,
    FONT,
    GREY,
    HEAD,
    MARGIN,
    PALE,
    colour,
    has_letter,
    numbered,
    register_fonts,
)
from diag.writeup.page.render import column_widths, guard
from diag.writeup.story.model import Story

MOST_CAPTION = 300
"""Letters under a photo on page one; its words stand whole in the list of photos."""
PHOTO_HIGH = 80
"""Points of a photo at most: two beside each other leave page one whole."""
LEAST_UNDER_HEADING = 45.0
"""Points left on a page, or a section begins on the next one."""
MOST_CELL = 1500
"""Characters of one cell; a longer text goes on in further rows, so that it can break over pages."""
LEAST_COLUMN = 36.0
REPLACED = "Some characters that the font does not have are shown as ?."


def render_pdf(story: Story, audience: str = SERVICE, ready: Readiness | None = None, *,
               photos: Mapping[str, bytes] | None = None, paper: str = "letter") -> bytes:
    """Return the write-up as PDF bytes, on letter or a4. `photos`: kept copies by their hash, JPEG."""
    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    register_fonts()
    made = document(story, audience, ready)
    out = BytesIO()
    page = A4 if paper == "a4" else LETTER
    frame = Frame(MARGIN, MARGIN, page[0] - 2 * MARGIN, page[1] - 2 * MARGIN - HEAD, 0, 0, 0, 0)
    template = BaseDocTemplate(
        out, pagesize=page, title=one_line(f"{made.title}, {made.running}"), author=story.record.prepared_by,
        subject=f"for the {audience}" if audience != SERVICE else "service file", creator="diag",
        keywords=[story.record.call], invariant=1, pageTemplates=[PageTemplate("all", [frame])],
    )
    writer = _Writer(page[0] - 2 * MARGIN, page[1] - 2 * MARGIN - HEAD, photos or {})
    template.build(writer.story(made), canvasmaker=numbered(one_line(writer.shown(made.running))))
    return out.getvalue()


class _Writer:
    """Turns a document into flowables."""

    def __init__(self, width: float, height: float, photos: Mapping[str, bytes]) -> None:
        from reportlab.lib.styles import ParagraphStyle

        self.width, self.height, self.photos = width, height, photos
        self.replaced, self.padding, self.least = False, 1.0, LEAST_UNDER_HEADING
        base = {"fontName": FONT, "fontSize": 8, "leading": 10.2, "splitLongWords": 1}
        self.body = ParagraphStyle("body", **base, spaceAfter=2)
        self.strong = ParagraphStyle("strong", **{**base, "fontName": BOLD}, spaceAfter=2)
        self.cell = ParagraphStyle("cell", **{**base, "fontSize": 7, "leading": 8.6})
        self.head = ParagraphStyle("head", **{**base, "fontName": BOLD, "fontSize": 7, "leading": 8.6})
        self.quote = ParagraphStyle("quote", **base, leftIndent=10, rightIndent=10, spaceAfter=2)
        self.point = ParagraphStyle("point", **base, leftIndent=9, bulletIndent=1, bulletFontName=FONT, spaceAfter=1)
        self.title = ParagraphStyle("title", **{**base, "fontName": BOLD, "fontSize": 13, "leading": 16}, spaceAfter=1)
        self.section = ParagraphStyle("section", **{**base, "fontName": BOLD, "fontSize": 9, "leading": 11.5},
                                      spaceBefore=5, spaceAfter=1.5)
        self.caption = ParagraphStyle("caption", **{**base, "fontSize": 7, "leading": 8.6}, spaceAfter=1)

    def _small(self) -> None:
        """Set all in small letters, so that it goes on one page."""
        for name, size in (("body", 6.3), ("point", 6.3), ("quote", 6.3), ("strong", 6.8), ("cell", 6.0),
                           ("head", 6.0), ("section", 7.2)):
            setattr(self, name, getattr(self, name).clone(f"small {name}", fontSize=size, leading=size * 1.16,
                                                          spaceAfter=0.4, spaceBefore=0, bulletFontSize=size))
        self.section.spaceBefore, self.padding, self.least = 1.8, 0.3, 0.0

    def story(self, made: Document) -> list[Any]:
        """Return the flowables: page one, then the appendix on the same page only where all of it fits.

        Photos for which page one has no room begin the appendix.
        """
        from reportlab.platypus import PageBreak

        if made.small:
            self._small()
        first = [self.text(made.title, self.title), self.text(made.subtitle, self.body)]
        first += [self.boxed(made)] if made.banner else []
        shots = [f for s in made.front if s.name == "photos" for f in self.section_of(s)]
        plain = [[*self.section_of(s)] for s in made.front if s.name != "photos"]
        fits = self._tall([*first, *(f for part in plain for f in part), *shots]) <= self.height
        at = next((i for i, s in enumerate(made.front) if s.name == "photos"), len(plain))
        first += [f for part in (*plain[:at], *([shots] if fits else []), *plain[at:]) for f in part]
        rest = [*([] if fits else shots), *(f for s in made.appendix for f in self.section_of(s))]
        rest += [self.text(REPLACED, self.caption)] if self.replaced else []
        room = self.height - self._tall(first)
        break_ = [PageBreak()] if rest and self._tall(rest) > room else []
        return [*first, *break_, *rest]

    def _tall(self, flowables: Sequence[Any]) -> float:
        from reportlab.pdfgen.canvas import Canvas

        canvas = Canvas(BytesIO(), initialFontName=FONT)
        tall = above = 0.0
        for one in flowables:  # between two of them stands the larger of their spaces, as when they are set
            after = one.getSpaceAfter()
            tall += one.wrapOn(canvas, self.width, 1e5)[1] + max(0.0, one.getSpaceBefore() - above) + after
            above = after
        return tall

    def section_of(self, section: Section) -> Iterator[Any]:
        """Yield a heading, marked for the reader's list of contents, and its blocks."""
        from reportlab.platypus import CondPageBreak

        if section.title:
            # Not kept with the next block: that would push a whole table to the next page.
            yield CondPageBreak(self.least)
            yield self._heading(section.title)
        shots = [b for b in section.blocks if isinstance(b, Shot)]
        for block in section.blocks:
            if not isinstance(block, Shot):
                yield from self.block(block)
        if shots:
            yield self.shots(shots)

    def _heading(self, title: str) -> Any:
        """Return a heading that stands in the bookmarks."""
        from reportlab.platypus import Paragraph as Flowing

        class Heading(Flowing):  # type: ignore[misc]
            """Adds itself to the outline when it is drawn."""

            def draw(self) -> None:
                self.canv.bookmarkHorizontal(title, 0, self.height)
                self.canv.addOutlineEntry(title, title, 0, 0)
                super().draw()

        return Heading(escape(title), self.section)

    def block(self, block: Block) -> Iterator[Any]:
        """Yield the flowables of one block."""
        if isinstance(block, Paragraph):
            yield self.text(block.text, self.strong if block.strong else self.body)
        elif isinstance(block, Quote):
            yield self.text(f'"{block.text}"', self.quote)
        elif isinstance(block, Points):
            for line in block.lines:
                yield self.text(line, self.point, bullet="-")
        elif isinstance(block, Fields):
            yield from self.fields(block)
        elif isinstance(block, Picture):
            yield from self.picture(block)
        elif isinstance(block, Table):
            yield from self.table(block)

    def boxed(self, made: Document) -> Any:
        """Return the banner in a frame, and what is missing below it."""
        from reportlab.platypus import Table as Grid

        lines = [self.text(line, self.strong) for line in made.banner]
        lines += [self.text(made.lacks, self.body)] if made.lacks else []
        box = Grid([[lines]], colWidths=[self.width],
                   style=[("BOX", (0, 0), (-1, -1), 0.8, colour(DARK)), ("LEFTPADDING", (0, 0), (-1, -1), 5),
                          ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)])
        box.spaceAfter = 3
        return box

    def fields(self, block: Fields) -> Iterator[Any]:
        """Yield labels with their values, several beside each other in a strip."""
        from reportlab.platypus import Spacer
        from reportlab.platypus import Table as Grid

        if block.columns == 1:
            yield from self.table(Table(("", ""), block.pairs), headed=False)
            return
        cells = [self.text(f"{label}: {guard(text)}", self.cell) for label, text in block.pairs]
        cells += [self.text("", self.cell)] * (-len(cells) % block.columns)
        rows = [cells[i : i + block.columns] for i in range(0, len(cells), block.columns)]
        yield Grid(rows, colWidths=[self.width / block.columns] * block.columns, hAlign="LEFT",
                   style=[("BACKGROUND", (0, 0), (-1, -1), colour(PALE)), ("VALIGN", (0, 0), (-1, -1), "TOP"),
                          ("TOPPADDING", (0, 0), (-1, -1), self.padding),
                          ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5 * self.padding),
                          ("LEFTPADDING", (0, 0), (-1, -1), 3), ("RIGHTPADDING", (0, 0), (-1, -1), 3)])
        yield Spacer(1, 2 * self.padding)

    def picture(self, picture: Picture) -> Iterator[Any]:
        """Yield a picture with its caption and the same in words, kept together."""
        from reportlab.platypus import KeepTogether

        yield KeepTogether([self.text(f"{picture.title}.", self.caption), draw(picture, self.width),
                            self.text(f"{picture.says[:1].upper()}{picture.says[1:]}.", self.caption)])

    def shots(self, shots: Sequence[Shot]) -> Any:
        """Return photos side by side, each with its caption."""
        from reportlab.platypus import Table as Grid

        side = self.width / len(shots)
        return Grid([[self.shot(s, side - 8) for s in shots]], colWidths=[side] * len(shots), hAlign="LEFT",
                    style=[("VALIGN", (0, 0), (-1, -1), "BOTTOM"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
                           ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 0)])

    def shot(self, shot: Shot, room: float) -> list[Any]:
        """Return a photo where its kept copy is there, with its caption."""
        from reportlab.lib.utils import ImageReader
        from reportlab.platypus import Image

        parts: list[Any] = []
        kept = self.photos.get(shot.sha256)
        if kept is not None:
            across, down = ImageReader(BytesIO(kept)).getSize()
            scale = min(room / across, PHOTO_HIGH / down)
            parts.append(Image(BytesIO(kept), across * scale, down * scale, hAlign="LEFT"))
        told = f"Photo: {shot.caption}"
        return [*parts, self.text(told if len(told) <= MOST_CAPTION else f"{told[:MOST_CAPTION]} ...", self.caption)]

    def text(self, text: str, style: Any, bullet: str | None = None) -> Any:
        """Return a paragraph of plain text: no tag in it is ever read as one."""
        from reportlab.platypus import Paragraph as Flowing

        told = escape(self.shown(clean(text))).replace("\n", "<br/>")
        return Flowing(told, style, bulletText=bullet)

    def shown(self, text: str) -> str:
        """Return text in characters the font has; what it lacks becomes its plain letter or a question mark."""
        return "".join(c if c in "\n\t" or has_letter(ord(c)) else self._plain(c) for c in text)

    def _plain(self, character: str) -> str:
        base = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
        if base and all(has_letter(ord(c)) for c in base):
            return base
        self.replaced = True
        return "?"

    def table(self, table: Table, headed: bool = True) -> Iterator[Any]:
        """Yield a table that breaks over pages and repeats its headings."""
        from reportlab.platypus import LongTable, Spacer

        if table.title:
            yield self.text(table.title, self.caption)
        cut = [part for row in table.rows for part in _short_rows(tuple(guard(c) for c in row))]
        texts = [list(table.headings), *map(list, cut)] if headed else [list(r) for r in cut]
        units = column_widths(texts, 124 - 2 * (len(table.headings) - 1))
        total = sum(units)
        widths = [self.width * u / total for u in units] if total * 4.7 > self.width else [u * 4.7 + 8 for u in units]
        widths = [max(w, min(u * 4.7 + 8, LEAST_COLUMN)) for w, u in zip(widths, units, strict=True)]
        styles = [self.head if headed and not i else self.cell for i in range(len(texts))]
        cells = [[self.text(c, style) for c in row] for row, style in zip(texts, styles, strict=True)]
        yield LongTable(cells, colWidths=_fit(widths, self.width), repeatRows=1 if headed else 0,
                        style=_style(headed, self.padding), hAlign="LEFT")
        yield Spacer(1, 3 * self.padding)


def _fit(widths: list[float], room: float) -> list[float]:
    """Return widths that fit: what is too much is taken off the columns in proportion to what they have to spare."""
    over = sum(widths) - room
    spare = [max(0.0, w - LEAST_COLUMN) for w in widths]
    if over <= 0:
        return widths
    return [w - over * s / sum(spare) for w, s in zip(widths, spare, strict=True)]


def _short_rows(row: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Yield a row in parts whose cells can be set on one page."""
    longest = max((len(c) for c in row), default=0)
    for start in range(0, max(1, longest), MOST_CELL):
        yield tuple(c[start : start + MOST_CELL] for c in row)


def _style(headed: bool, padding: float) -> Any:
    from reportlab.platypus import TableStyle

    lines: list[Any] = [
        ("FONT", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, colour(GREY)),
        ("TOPPADDING", (0, 0), (-1, -1), padding),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5 * padding),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 7),
    ]
    if headed:
        lines.append(("BACKGROUND", (0, 0), (-1, 0), colour(PALE)))
    return TableStyle(lines)
