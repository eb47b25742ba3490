"""What was found, in one graded sentence: item and manner, why, and effect, each with how far it was shown."""

from __future__ import annotations

from collections.abc import Iterator

from diag.text import count, rows_words
from diag.writeup.page.blocks import Block, Paragraph
from diag.writeup.page.sentences import contrast, main_pair, refs, small
from diag.writeup.story.model import SAYS, CauseTold, Root, Story

NOTHING_MEASURED = (
    "Nothing was measured in this call; what follows rests on what was said and seen, and no cause is held confirmed."
)
SURE = {
    "confirmed": ("", " and was the cause"), "probable": ("most likely ", " and was most likely the cause"),
    "possible": ("possibly ", " and may have been the cause"),
    "inconclusive": ("it may be that ", ", but the tests do not settle that it was the cause"),
}
"""Shown word -> how the clause of a cause begins; what follows the words in which somebody found it."""
MOST_NAMED = 3


def finding(story: Story) -> Iterator[Block]:
    """Yield what was found: the causes that were mended or shown, else what is possible so far."""
    if story.closing.no_fault:
        yield from no_fault(story)
        return
    if story.closing.against:
        yield Paragraph(f'CLOSED AS "{story.closing.label}" AGAINST THE RECORD: {story.closing.against}.', strong=True)
    told = leading(story)
    if not told:
        yield Paragraph("No cause was shown.", strong=True)
        yield from _standing(story)
    for cause in told:
        yield Paragraph(graded(story, cause), strong=True)
    reasons = {c.root.text for c in told}
    for cause in (c for c in story.causes if c not in told and c.label not in reasons):
        yield Paragraph(f"Also shown: {small(cause.plain)} ({SAYS[cause.word]}).")
    if story.open_rows:
        yield Paragraph(still_open(story), strong=True)
    if not story.measured:
        yield Paragraph(NOTHING_MEASURED)


def still_open(story: Story) -> str:
    """Return which rows in trouble are left, in a sentence."""
    rows = rows_words(story.open_rows)
    return f"Still open: {rows}, in trouble too, neither mended nor measured right since."


def _standing(story: Story) -> Iterator[Block]:
    """Yield what is possible while no cause is shown, and what was found that says so."""
    standing = [o for o in story.others if o.as_well and o.speaks and not (o.sound or o.unlike)][:MOST_NAMED]
    if standing:
        yield Paragraph(f"Possible so far: {'; or '.join(small(o.plain) for o in standing)}.")
    if told := says_so(story):
        yield Paragraph(f"What says so: {told}.")


def says_so(story: Story) -> str:
    """Return the readings and looks that speak for what is possible so far; "" where none does."""
    standing = [o for o in story.others if o.as_well and o.speaks and not o.sound][:MOST_NAMED]
    grounds = dict.fromkeys(o.ground for o in standing if o.ground)
    return "; ".join(f"{small(g.asks)}: {g.says} ({refs(story, (g.event,))})" for g in grounds)


def leading(story: Story, most: int = 1) -> list[CauseTold]:
    """Return the causes of which the finding speaks, each in a sentence of its own.

    Those that were mended, else the first `most`; one that only stands as the reason of another is told with it.
    """
    told = [c for c in story.causes if c.repaired] or list(story.causes[:most])
    reasons = {c.root.text for c in told}
    return [c for c in told if c.label not in reasons] or told


def graded(story: Story, cause: CauseTold) -> str:
    """Return item, manner, why and effect in one sentence, each with how far it was shown."""
    where = story.item("position")
    rows = rows_words(cause.rows) if cause.rows else where.told.text.partition(", counted")[0] if where else ""
    place = f"on {rows}, " if rows else ""
    told = f"{place}{_item(cause)} ({SAYS[cause.word]})"
    told += _because(story, cause.root)
    if felt := effect(story, cause):
        told += f", so that {felt} (MEASURED)"
    elif cause.deciding:
        told += f", as shown by {refs(story, (cause.deciding.event,))} ({cause.deciding.says})"
    if not cause.root.text and cause.word in ("confirmed", "probable"):
        told += "; why it came to that was not found out"
    return f"{told[:1].upper()}{told[1:]}."


def _item(cause: CauseTold) -> str:
    """Return the part as somebody found it, in his words, else what such a cause is, as a clause."""
    before, after = SURE.get(cause.word, SURE["possible"])
    if not cause.seen:
        unsettled = ", but the tests do not settle it" if cause.word == "inconclusive" else ""
        return f"{before}{small(cause.plain)}{unsettled}"
    return f'{f"the {cause.part}" if cause.part else "it"} was found "{cause.seen.rstrip(".")}"{after}'


def _because(story: Story, root: Root) -> str:
    """Return the reason: another cause of the call as a clause, else the words of whoever gave it."""
    if not root.text:
        return ""
    if root.word == "not_tested":  # in a copy that holds no words of people
        return f", the reason {root.text}"
    sure = f" ({SAYS[root.word]})"
    known = next((c for c in story.causes if c.label == root.text), None)
    if known:
        return f", because {small(known.plain)}{sure}"
    return f', the reason being "{root.text.rstrip(".")}"{sure}'


def effect(story: Story, cause: CauseTold | None = None) -> str:
    """Return what the fault did, as measured: the rows in trouble beside the good ones, else a count; "" without.

    With a cause, only by readings that speak for it: a cause does not bring every reading of the call.
    """
    speaking = None if cause is None else {g.event for g in (*cause.grounds, cause.deciding) if g}
    rows, repairs = ((), None) if cause is None else (cause.rows, cause.repairs)
    if told := contrast(story, speaking, rows):
        return told
    pair = main_pair(story, rows)
    if pair is not None and (speaking is None or pair.before.event in speaking):
        return f"{pair.where or 'it'} read {pair.before.text}"
    if cause is not None and not cause.repaired:
        return ""
    proofs = [p for p in story.proofs if repairs is None or p.repair in repairs]
    counted = next((c for p in proofs for c in p.counts if c.before), None)
    return f"{counted.before.bad} of {counted.before.n} were bad" if counted and counted.before else ""


def no_fault(story: Story) -> Iterator[Block]:
    """Yield what a call says in which no fault was found."""
    made = [t for t in story.tests if t.valued]
    yield Paragraph("No fault of the planter was found. " + (
        f"{count(len(made), 'measurement')} and {count(len(story.tests) - len(made), 'other check')} are listed below."
        if story.tests else "No check was made."), strong=True)
    yield from (Paragraph(graded(story, c), strong=True) for c in story.causes)
    when = f" on {made[-1].on[:10]}" if made else ""
    yield Paragraph(
        f"It speaks of the machine as it was{when}, with the seed, settings and parts then fitted; it cannot show what "
        "was so before or will be after a change of any of them, and it blames nobody."
    )
