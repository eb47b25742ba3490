"""The sheet of a printed write-up: its fonts, colours, margins, and the running head with page numbers."""

from __future__ import annotations

from functools import cache
from typing import Any

FONT, BOLD = "Write", "WriteBold"
MARGIN, HEAD = 36.0, 20.0
GREY, DARK, PALE = (0.80, 0.81, 0.83), (0.10, 0.11, 0.13), (0.92, 0.93, 0.94)


@cache
def register_fonts() -> None:
    """Register the fonts that come with reportlab; they are embedded, in the part that is used."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))
    pdfmetrics.registerFont(TTFont(BOLD, "VeraBd.ttf"))


def colour(rgb: tuple[float, float, float]) -> Any:
    from reportlab.lib.colors import Color

    return Color(*rgb)


def has_letter(code: int) -> bool:
    from reportlab.pdfbase import pdfmetrics

    return code == 32 or bool(pdfmetrics.getFont(FONT).face.charToGlyph.get(code))


def numbered(running: str) -> Any:
    """Return a canvas class that writes the running head and "page 2 of 5" once all pages are known."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc]
        """Keeps its pages until the last, then heads them."""

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
                top = self._pagesize[1] - MARGIN + 4
                self.drawString(MARGIN, top, running)
                self.drawRightString(self._pagesize[0] - MARGIN, top, f"page {number} of {len(self._kept)}")
                self.setLineWidth(0.3)
                self.line(MARGIN, top - 4, self._pagesize[0] - MARGIN, top - 4)
                super().showPage()
            super().save()

    return Numbered
