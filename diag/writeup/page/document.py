"""A story laid out once for one reader; every printed form is made from it."""

from __future__ import annotations

from diag.text import count
from diag.writeup.completeness import MUST, Readiness
from diag.writeup.page.appendix import DEMONSTRATION, appendix
from diag.writeup.page.audience import CUSTOMER, SERVICE, view
from diag.writeup.page.blocks import Document
from diag.writeup.page.customer import customer_page, over
from diag.writeup.page.front import front
from diag.writeup.page.sentences import capital
from diag.writeup.story.model import Story

PRACTICE = "Practice call on an invented fault."
TITLES = {"claim": "Claim", "service": "Service file"}


def document(story: Story, audience: str = SERVICE, ready: Readiness | None = None) -> Document:
    """Return the write-up for a reader. `ready`: how complete it is; a customer is not told."""
    told = view(story, audience)
    customer = audience == CUSTOMER
    sections = tuple(customer_page(told)) if customer else (*front(told), *appendix(told, audience, ready))
    ready = None if customer else ready
    return Document(title_of(told, audience), subtitle(told, audience), _running(told), banner=banner(told, ready),
                    lacks=lacks_text(ready) if ready and told.measured else "", sections=sections,
                    small=not (told.measured or told.photos))


def title_of(story: Story, audience: str) -> str:
    """Return the heading of the whole write-up."""
    where = place(story)
    if audience == CUSTOMER:
        found = "what it was and what we did" if over(story) else "what we know so far"
        return f"{capital(where) or 'Your planter'}: {found}"
    return f"{TITLES[audience]} {story.record.call}" + (f", {where}" if where else "")


def subtitle(story: Story, audience: str) -> str:
    """Return one line that tells which customer and day it is about, for the customer which of his machines too."""
    names = ("customer", "machine_label", "serial") if audience == CUSTOMER else ("customer",)
    named = [story.item(n) for n in names]
    return ", ".join([*(i.told.text for i in named if i), f"opened {story.record.opened[:10]}"])


def place(story: Story) -> str:
    """Return the rows in trouble; where nobody named them, those that were mended."""
    position = story.item("position")
    mended = next((r.where for r in story.repairs if r.where), "")
    return position.told.text.partition(", counted")[0] if position else mended


def _running(story: Story) -> str:
    named = [story.item(n) for n in ("serial", "part_number")]
    return ", ".join(t for t in (story.record.call, *(i.told.text for i in named if i), place(story)) if t)


def banner(story: Story, ready: Readiness | None) -> tuple[str, ...]:
    """Return what must stand above everything: whose call it is, and whether it can be filed."""
    lines = [] if story.record.stored else [DEMONSTRATION]
    lines += [PRACTICE] if story.record.practice else []
    if ready is not None:
        if story.closing.open:
            next_step = story.waiting.text if story.waiting else "what happens next was not written down"
            lines.append(f"OPEN, not closed yet: {next_step.rstrip('.')}.")
        lines.append(ready_text(ready))
    return tuple(lines)


def ready_text(ready: Readiness) -> str:
    """Return "Complete, 28 of 28 met." or "DRAFT, 10 missing (7 must, 3 should), 18 of 28 met."."""
    if not ready.missing:
        aside = f", {ready.aside} left out with the reason" if ready.aside else ""
        return f"Complete, {ready.met - ready.aside} of {ready.of} met{aside}."
    must = sum(m.severity == MUST for m in ready.missing)
    lacks = f"DRAFT, {len(ready.missing)} missing ({must} must, {len(ready.missing) - must} should), "
    lacks = lacks if ready.draft else ""
    return f"{lacks}{ready.met} of {ready.of} met."


def lacks_text(ready: Readiness) -> str:
    """Return what is missing in one line: all that must be there by name, the rest by number; "" when complete."""
    listed = "; ".join(m.needs for m in ready.missing if m.severity == MUST or not ready.draft)
    if not ready.draft:
        return f"Could still be had: {listed}." if listed else ""
    should = sum(m.severity != MUST for m in ready.missing)
    more = f"; and {count(should, 'more that should be there', 'more that should be there')}" if should else ""
    return f"Missing: {listed}{more}."
