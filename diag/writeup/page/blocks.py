"""What a printed write-up is laid out of, whatever its format."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    text: str


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
    """Labels with their values."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Rows under headings."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""


Block = Paragraph | Quote | Points | Fields | Table


@dataclass(frozen=True)
class Section:
    """A heading with its blocks; `name` is stable."""

    name: str
    title: str
    blocks: tuple[Block, ...]
