"""What a printed write-up is laid out of, whatever its format."""

from __future__ import annotations

from dataclasses import dataclass

from diag.writeup.page.drawing import Picture


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Quote:
    """Somebody's own words, unchanged."""

    text: str


@dataclass(frozen=True)
class Points:
    """A list of lines."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Fields:
    """Labels with their values; on a wide page `columns` pairs stand side by side."""

    pairs: tuple[tuple[str, str], ...]
    columns: int = 1


@dataclass(frozen=True)
class Table:
    """Rows under headings."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""


@dataclass(frozen=True)
class Shot:
    """A photo by its hash, shown where its kept copy is there."""

    sha256: str
    caption: str


Block = Paragraph | Quote | Points | Fields | Table | Picture | Shot


@dataclass(frozen=True)
class Section:
    """A heading with its blocks; `name` is stable."""

    name: str
    title: str
    blocks: tuple[Block, ...]
    front: bool = False
    """True on page one; the rest is the appendix."""


@dataclass(frozen=True)
class Document:
    """A write-up laid out for one reader."""

    title: str
    subtitle: str
    running: str
    """Head of every page."""
    banner: tuple[str, ...]
    lacks: str
    """What is missing, below the banner; "" for a customer, and where the list follows on the same page."""
    sections: tuple[Section, ...]
    small: bool = False
    """True for a call in which nothing was measured: set in small letters, on one page."""

    @property
    def front(self) -> tuple[Section, ...]:
        """Return page one."""
        return tuple(s for s in self.sections if s.front)

    @property
    def appendix(self) -> tuple[Section, ...]:
        """Return what stands behind page one."""
        return tuple(s for s in self.sections if not s.front)
