"""Every form a write-up can be saved in: its ending, its name, and what makes it. A new form is one line here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from diag.writeup.completeness import Readiness
from diag.writeup.story.model import Story


@dataclass(frozen=True)
class Order:
    """What is to be written: for whom, how complete it is, and what the form may need beside the story."""

    story: Story
    audience: str
    ready: Readiness | None = None
    photos: Mapping[str, bytes] = field(default_factory=dict)
    """Kept copies of photos by their hash."""
    width: int = 78
    paper: str = "letter"


@dataclass(frozen=True)
class Format:
    """One form: its name, and what makes its bytes."""

    name: str
    make: Callable[[Order], bytes]


def _pdf(o: Order) -> bytes:
    from diag.writeup.page.pdf import render_pdf

    return render_pdf(o.story, o.audience, o.ready, photos=o.photos, paper=o.paper)


def _html(o: Order) -> bytes:
    from diag.writeup.page.html import render_html

    return render_html(o.story, o.audience, o.ready, o.photos).encode()


def _markdown(o: Order) -> bytes:
    from diag.writeup.page.render import render_markdown

    return render_markdown(o.story, o.audience, o.ready).encode()


def _text(o: Order) -> bytes:
    from diag.writeup.page.render import render_text

    return render_text(o.story, o.width, o.audience, o.ready).encode()


def _json(o: Order) -> bytes:
    from diag.writeup.page.json_form import render_json

    return render_json(o.story, o.audience, o.ready).encode()


def _short(o: Order) -> bytes:
    from diag.writeup.page.render import render_short

    return render_short(o.story, o.audience, o.ready).encode()


FORMATS: Mapping[str, Format] = {
    ".pdf": Format("PDF", _pdf), ".html": Format("web page", _html), ".md": Format("Markdown", _markdown),
    ".txt": Format("plain text", _text), ".json": Format("JSON", _json),
    ".short": Format("short text for a form's field", _short),
}
"""Ending -> form."""
