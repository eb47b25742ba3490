"""What each reader gets to see: customer, claim, service file.

Leaning, category, notes, hours and everything meant for the payer or the house never reach a customer; internal
notes reach only the service file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diag.errors import UsageError
from diag.writeup.story.labour import WAITING
from diag.writeup.story.model import CauseTold, Root, Story

CUSTOMER, CLAIM, SERVICE = "customer", "claim", "service"
AUDIENCES = (CUSTOMER, CLAIM, SERVICE)
_CUSTOMER_GROUPS = ("identity", "dates", "after")
_HOUSE = ("escape", "sister_action")
"""Findings that serve the house alone."""
_CUSTOMER_DATES = ("first_contact", "repaired")


def view(story: Story, audience: str) -> Story:
    """Return the story as this reader may see it; the same for every format."""
    if audience not in AUDIENCES:
        raise UsageError(f"{audience!r} is no reader.", "write-up", f"One of: {', '.join(AUDIENCES)}.")
    if audience == SERVICE:
        return story
    if audience == CLAIM:
        kept = tuple(i for i in story.items if i.name not in _HOUSE)
        worked_only = tuple(n for n in story.labour if n.basis != "estimate" and n.activity != WAITING)
        return replace(story, claim=True, items=kept, internal=(), labour=worked_only,
                       causes=tuple(_unjudged(c) for c in story.causes))
    groups = [i for i in story.items if i.group in _CUSTOMER_GROUPS and not i.claim]
    items = [i for i in groups if i.group != "dates"]
    items += [i for i in story.items if i.name in _CUSTOMER_DATES]
    return replace(
        story, claim=False, items=tuple(items), causes=tuple(_plain(c, story.causes) for c in story.causes),
        tests=tuple(replace(t, supports=(), against=()) for t in story.tests),
        others=(), whys=(), labour=(), photos=(), cautions=(),
        done_before=(), changed=(), notes=(), internal=(), skipped=(), addressed=(),
    )


def _unjudged(cause: CauseTold) -> CauseTold:
    """Return a cause without what only the program proposes: a payer judges for himself."""
    root = replace(cause.root, category="", category_label="", proposed=False) if cause.root.proposed else cause.root
    return replace(cause, leaning="", root=root)


def _plain(cause: CauseTold, causes: Sequence[CauseTold]) -> CauseTold:
    """Return a cause in the customer's words: what it is and what it does, never who or what is to blame for it.

    Where another cause of the call brought it, that one is its reason.
    """
    known = next((c for c in causes if c.label == cause.root.text), None)
    root = Root(known.plain if known else "", known.word if known else "not_tested", "", category_label="",
                proposed=False, events=())
    return replace(cause, label=cause.plain, kind="", mode="", seen="", leaning="", root=root)
