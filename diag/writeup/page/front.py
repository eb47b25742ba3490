"""Page one of a claim and of the service file: what a reviewer needs to accept it in ten seconds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from diag.text import count
from diag.writeup.page.blocks import Block, Fields, Paragraph, Quote, Section, Shot, Table
from diag.writeup.page.drawing import case_picture, seed_strip
from diag.writeup.page.sentences import (
    NOT_WRITTEN,
    STEPS,
    capital,
    contrast,
    count_text,
    main_pair,
    minutes_text,
    refs,
    sentence,
    small,
    verdict_text,
)
from diag.writeup.story.labour import totals, worked
from diag.writeup.story.model import SAYS, CauseTold, Correction, Item, Other, Story

NOTHING_MEASURED = (
    "Nothing was measured in this call; what follows rests on what was said and seen, and no cause is held confirmed."
)
HEADER = (
    ("serial", "serial"), ("machine_label", "machine"), ("component_serial", "part, serial"),
    ("part_number", "part, number"), ("position", "place"), ("area", "planted"), ("fan_hours", "fan hours"),
    ("in_service", "in service"),
    ("failure", "failed"), ("first_contact", "first contact"), ("documented", "documented"), ("repaired", "repaired"),
    ("filed", "filed"),
)
"""Named lines of the header strip and what they are called there."""
RULED_HEAD = ("test", "ruled out by it")
MOST_RULED, MOST_PARTS, MOST_NAMED, MOST_WORDS, MOST_SHOTS, MOST_SOUND = 6, 5, 3, 420, 2, 4
MOST_IN_HEADER = 90


def front(story: Story) -> Iterator[Section]:
    """Yield the sections of page one."""
    for name, title, blocks in (
        ("header", "", _header(story)), ("finding", "Finding", _finding(story)),
        ("complaint", "Complaint", _complaint(story)),
        ("case", "", _pictures(story)), ("ruled_out", _ruled_title(story), _ruled_out(story)),
        ("correction", "Correction", _correction(story)), ("confirmation", "Confirmation", _confirmation(story)),
        ("photos", "", _shots(story)), ("hours", "Hours", _hours(story)),
    ):
        made = tuple(blocks)
        if made:
            yield Section(name, title, made, front=True)


def _header(story: Story) -> Iterator[Block]:
    named = [(label, story.item(name)) for name, label in HEADER]
    pairs = [("call", story.record.call)]
    pairs += [(label, i.told.text.partition(", counted")[0]) for label, i in named if i and in_header(i)]
    yield Fields(tuple(pairs), columns=3)


def in_header(item: Item) -> bool:
    """Tell whether a named line stands in the header strip; a long one stands in the appendix."""
    return item.name in dict(HEADER) and len(item.told.text) <= MOST_IN_HEADER and item.was is None


# --- one graded sentence ----------------------------------------------------------------------------------------


def _finding(story: Story) -> Iterator[Block]:
    if story.closing.kind == "no_fault_found":
        yield from no_fault(story)
        return
    told = [c for c in story.causes if c.repaired] or list(story.causes[:1])
    if not told:
        yield Paragraph("No cause was shown.", strong=True)
        if standing := [o.label for o in story.others if o.as_well and o.speaks and not o.sound][:MOST_NAMED]:
            yield Paragraph(f"Possible so far: {'; '.join(standing)}.")
    for cause in told:
        yield Paragraph(graded(story, cause), strong=True)
    shown = [c for c in story.causes if c not in told]
    if shown:
        yield Paragraph("Also shown: " + "; ".join(f"{c.label}, {SAYS[c.word]}" for c in shown) + ".")
    if not story.measured:
        yield Paragraph(NOTHING_MEASURED)


def graded(story: Story, cause: CauseTold) -> str:
    """Return item, manner, why and effect in one sentence, each with how far it was shown."""
    where = story.item("position")
    place = where.told.text.partition(",")[0] if where else ""
    head = f"{capital(place)}: {small(cause.label)}" if place else cause.label
    parts = [f"{head} ({SAYS[cause.word]})"]
    if cause.seen:
        parts.append(f"as found: {cause.seen.rstrip('.')}")
    if cause.root.text:
        sure = "" if cause.root.word == "not_tested" else f" ({SAYS[cause.root.word]})"
        parts.append(f"because of: {cause.root.text.rstrip('.')}{sure}")
    elif cause.word in ("confirmed", "probable"):
        parts.append("why it came to that: not reached")
    if told := effect(story, cause):
        parts.append(f"so that {told} (MEASURED)")
    elif cause.deciding:
        parts.append(f"shown by: {small(cause.deciding.asks)}: {cause.deciding.says}")
    return "; ".join(parts) + "."


def effect(story: Story, cause: CauseTold | None = None) -> str:
    """Return what the fault did, as measured: the rows in trouble beside the good ones, else a count; "" without.

    With a cause, only by readings that speak for it: a cause does not bring every reading of the call.
    """
    speaking = None if cause is None else {g.event for g in (*cause.grounds, cause.deciding) if g}
    if told := contrast(story, speaking):
        return told
    pair = main_pair(story)
    if pair is not None and (speaking is None or pair.before.event in speaking):
        return f"{pair.where or 'it'} read {pair.before.text}"
    if cause is not None and not cause.repaired:
        return ""
    counted = next((c for p in story.proofs for c in p.counts if c.before), None)
    return f"{counted.before.bad} of {counted.before.n} were bad" if counted and counted.before else ""


def no_fault(story: Story) -> Iterator[Block]:
    """Yield what a call says in which no fault was found."""
    made = [t for t in story.tests if t.valued]
    yield Paragraph("No fault of the planter was found. " + (
        f"{count(len(made), 'measurement')} and {count(len(story.tests) - len(made), 'other check')} are listed below."
        if story.tests else "No check was made."), strong=True)
    when = f" on {made[-1].on[:10]}" if made else ""
    yield Paragraph(
        f"It speaks of the machine as it was{when}, with the seed, settings and parts then fitted; it cannot show what "
        "was so before or will be after a change of any of them, and it blames nobody."
    )


def _complaint(story: Story) -> Iterator[Block]:
    words = story.complaint.words
    if not words:
        yield Paragraph("The customer's words are not in this write-up.")
    elif len(words) <= MOST_WORDS:
        yield Quote(words)
    else:
        yield Quote(words[:MOST_WORDS].rsplit(" ", 1)[0] + " ... (in full in the appendix)")


def _pictures(story: Story) -> Iterator[Block]:
    case, strip = case_picture(story), seed_strip(story)
    if case:
        yield case
    if strip:
        yield strip
        counts = [c for p in story.proofs for c in p.counts if c.before]
        yield from (Paragraph(capital(count_text(c))) for c in counts[:1])


# --- ruled out, by subsystem ------------------------------------------------------------------------------------


def _ruled_title(story: Story) -> str:
    return "Ruled out, by test" if any(o.word == "ruled_out" for o in story.others) else "Looked for"


def _ruled_out(story: Story) -> Iterator[Block]:
    rows = ruled_rows(story)
    if rows:
        yield Table(RULED_HEAD, tuple(rows[:MOST_RULED]))
        if len(rows) > MOST_RULED:
            yield Paragraph(f"{count(len(rows) - MOST_RULED, 'more line')} in the appendix.")
    if story.measured and (told := sound_text(story)):
        yield Paragraph(told)


def sound_text(story: Story) -> str:
    """Return what was looked for and not found, each with its look; a look has no value, so it rules nothing out."""
    sound = [o for o in story.others if o.sound and o.word in ("possible", "inconclusive")]
    told = "; ".join(f"{small(o.label)} ({refs(story, o.sound)})" for o in sound[:MOST_SOUND])
    more = f"; and {len(sound) - MOST_SOUND} more" if len(sound) > MOST_SOUND else ""
    return f"Looked for and not found, without a value: {told}{more}." if sound else ""


def ruled_rows(story: Story) -> list[tuple[str, str]]:
    """Return (test, what it ruled out by part of the planter), the widest first; each test stands once."""
    def by(other: Other) -> str:
        ground = other.ground
        return f"{ground.asks}: {ground.says} ({refs(story, (ground.event,))})" if ground else ""

    ruled = sorted((o for o in story.others if o.word == "ruled_out"), key=lambda o: (by(o), o.subsystem))
    found = []
    for test, cleared in groupby(ruled, by):
        parts = {part: [o.label for o in members] for part, members in groupby(cleared, lambda o: o.subsystem)}
        found.append((sum(map(len, parts.values())), (test, _cleared(parts))))
    return [row for _, row in sorted(found, key=lambda f: (-f[0], f[1]))]


def _cleared(parts: Mapping[str, Sequence[str]]) -> str:
    """Return what a test cleared: causes by name where all are of one part of the planter, else how many of each."""
    widest = sorted(parts.items(), key=lambda p: (-len(p[1]), p[0]))
    if len(widest) > 1:
        shown = [f"{part} ({count(len(names), 'cause')})" for part, names in widest[:MOST_PARTS]]
        rest = [len(names) for _, names in widest[MOST_PARTS:]]
        shown += [f"{count(len(rest), 'other part')} of the planter ({count(sum(rest), 'cause')})"] if rest else []
        return capital("; ".join(shown))
    part, names = widest[0]
    more = f"; and {count(len(names) - MOST_NAMED, 'other')}" if len(names) > MOST_NAMED else ""
    return f"{capital(part)}: {'; '.join(small(n) for n in names[:MOST_NAMED])}{more}"


# --- correction, confirmation, hours ----------------------------------------------------------------------------


def _correction(story: Story) -> Iterator[Block]:
    for repair in story.repairs:
        yield Paragraph(repair_text(repair))
    if not story.repairs:
        yield Paragraph("Nothing was repaired.")


def repair_text(repair: Correction) -> str:
    """Return what was done: only what somebody recorded."""
    lead = "For now, not a repair: " if repair.kind == "interim" else ""
    where = f", {repair.where}" if repair.where else ""
    parts = [f"{repair.on[:10]}{where}: {lead}{sentence(repair.words or NOT_WRITTEN)}"]
    if repair.parts:
        parts.append("Parts: " + "; ".join(f"{p.qty} x {p.item}" for p in repair.parts) + ".")
    if repair.settings:
        parts.append("Settings changed: " + "; ".join(repair.settings) + ".")
    if repair.minutes is not None:
        parts.append(f"{minutes_text(repair.minutes)}, by the {repair.by}.")
    return " ".join(parts)


def _confirmation(story: Story) -> Iterator[Block]:
    for proof in story.proofs:
        parts = [verdict_text(proof)]
        parts += [capital(count_text(c)) for c in proof.counts if not c.before]
        parts += [f"Row beside it, not mended: {count_text(c)}" for c in proof.controls]
        parts += [f"{capital(STEPS[proof.step])}."] if proof.step else []
        yield Paragraph(" ".join(parts))
    pair = main_pair(story)
    if pair is not None:
        yield Paragraph(f"{capital(pair.where) or 'It'}: {pair.before.text} before, {pair.after.text} after the repair "
                        f"({small(pair.what)}).")
    if any(r.kind == "repair" for r in story.repairs) and not story.proofs:
        yield Paragraph("The repair was not measured again.")
    for item in story.group("after"):
        if item.name == "follow_up":
            yield Paragraph(f"Follow-up on {item.told.on[:10]}: {sentence(item.told.text)}")


def _shots(story: Story) -> Iterator[Block]:
    for photo in story.photos[:MOST_SHOTS]:
        yield Shot(photo.sha256, f"{photo.text or photo.file_name}, {photo.on[:16].replace('T', ' ')} UTC")


def _hours(story: Story) -> Iterator[Block]:
    told = hours_text(story)
    if told:
        yield Paragraph(" ".join(told))


def hours_text(story: Story) -> tuple[str, ...]:
    """Return the hours in lines: what was worked, adding up; what nobody recorded; waiting; the way."""
    sums, lines = worked(story.labour), []
    if sums:
        each = " + ".join(f"{n.label} {round(n.minutes)}" for n in sums)
        lines.append(f"{each} = {minutes_text(sum(round(n.minutes) for n in sums))}.")
    guessed = [n for n in totals(story.labour) if n.basis == "estimate"]
    if guessed:
        usual = ", ".join(f"{n.label} {round(n.minutes)} min" for n in guessed)
        lines.append(f"Not recorded, usually: {usual}; not in the sum.")
    lines += [f"Waiting, no work: {minutes_text(n.minutes)}." for n in totals(story.labour)
              if n.activity == "waiting" and n.basis != "estimate"]
    lines += [f"{capital(i.label)}: {i.told.text}." for i in story.group("labour")
              if i.name == "travel_distance"]
    return tuple(lines)
