"""The story as JSON by the published schema: units, intervals, verdicts, what is missing and how ready it is."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from typing import Any

from diag.writeup.completeness import Missing, Readiness
from diag.writeup.page.audience import CUSTOMER, SERVICE, view
from diag.writeup.story.model import Story

FORMAT, VERSION = "diag-write-up", 2
OPEN = "open"
"""How a call is closed that is not: what it would be closed as is nobody's word yet."""
MEANS = {
    "number": "in the SI unit of the entry, a share of 1 for counts", "low": "share of 1, exact 95 % interval",
    "high": "share of 1, exact 95 % interval", "chance": "Fisher's exact test, two-sided",
    "limit": "share of 1 that is accepted", "minutes": "min", "spacings": "m", "target": "m",
}
"""What the plain numbers of the story mean."""


@dataclass(frozen=True)
class Ready:
    """How complete the write-up is for its reader."""

    of: int
    met: int
    draft: bool
    missing: tuple[Missing, ...]


@dataclass(frozen=True)
class File:
    """The whole file."""

    format: str
    version: int
    audience: str
    means: dict[str, str]
    readiness: Ready | None
    """None for the customer, and where nobody asked."""
    story: Story


def render_json(story: Story, audience: str = SERVICE, ready: Readiness | None = None) -> str:
    """Return the write-up as JSON by the published schema (`schema.json` beside this file)."""
    return json.dumps(as_json(story, audience, ready), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def as_json(story: Story, audience: str = SERVICE, ready: Readiness | None = None) -> dict[str, Any]:
    """Return the JSON value of a write-up: every entry names the events it rests on."""
    told = None
    if ready is not None and audience != CUSTOMER:
        told = Ready(ready.of, ready.met, ready.draft, ready.missing)
    seen = view(story, audience)
    if seen.closing.open:
        seen = replace(seen, closing=replace(seen.closing, kind=OPEN))
    return asdict(File(FORMAT, VERSION, audience, MEANS, readiness=told, story=seen))


def schema() -> dict[str, Any]:
    """Return the JSON schema of the write-up, worked out from its types."""
    from pydantic import TypeAdapter

    found = TypeAdapter(File).json_schema(mode="serialization", ref_template="#/$defs/{model}")
    found["properties"] |= {
        "format": {"const": FORMAT}, "version": {"const": VERSION},
        "audience": {"enum": ["customer", "claim", "service"]},
    }
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found, "title": FORMAT,
            "additionalProperties": False}
