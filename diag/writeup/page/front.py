"""Page one of a claim and of the service file: what a reviewer needs to accept it in ten seconds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from diag.text import count
from diag.writeup.page.blocks import Block, Fields, Paragraph, Quote, Section, Shot, Table
from diag.writeup.page.drawing import case_picture
from diag.writeup.page.finding import finding, still_open
from diag.writeup.page.seeds import seed_strip
from diag.writeup.page.sentences import (
    NOT_WRITTEN,
    capital,
    count_text,
    main_pair,
    minutes_text,
    refs,
    sentence,
    small,
    sum_text,
    verdict_text,
    whole_minutes,
)
from diag.writeup.story.labour import totals, worked
from diag.writeup.story.model import Correction, Count, Item, Other, Story

HEADER = (
    ("serial", "serial"), ("machine_label", "machine"), ("component_serial", "part, serial"),
    ("part_number", "part, number"), ("area", "planted"), ("fan_hours", "fan hours"),
    ("in_service", "in service"), ("cover_ends", "cover ends"),
    ("failure", "failed"), ("first_contact", "first contact"), ("documented", "documented"), ("repaired", "repaired"),
    ("filed", "filed"),
)
"""Named lines of the header strip and what they are called there; the title has the call and the place."""
RULED_HEAD = ("test", "ruled out by it")
MOST_RULED, MOST_PARTS, MOST_NAMED, MOST_WORDS, MOST_SHOTS, MOST_SOUND = 6, 5, 3, 420, 2, 2
MOST_IN_HEADER = 90


def front(story: Story) -> Iterator[Section]:
    """Yield the sections of page one."""
    for name, title, blocks in (
        ("header", "", _header(story)), ("finding", "Finding", finding(story)),
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
    if pairs := tuple((label, i.told.text) for label, i in named if i and in_header(i)):
        yield Fields(pairs, columns=3)


def in_header(item: Item) -> bool:
    """Tell whether a named line stands in the header strip; a long one stands in the appendix."""
    return item.name in dict(HEADER) and len(item.told.text) <= MOST_IN_HEADER and item.was is None


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
        told = under_strip(story)
        yield from (Paragraph(capital(count_text(c))) for c in (told,) if c)


def under_strip(story: Story) -> Count | None:
    """Return the count before and after a repair that stands under the seeds as they lay; None without such."""
    counts = [c for p in story.proofs for c in p.counts if c.before]
    return counts[0] if counts and seed_strip(story) else None


# --- ruled out, by subsystem ------------------------------------------------------------------------------------


def _ruled_title(story: Story) -> str:
    return "Ruled out, by test" if any(o.word == "ruled_out" for o in story.others) else "Looked for"


def _ruled_out(story: Story) -> Iterator[Block]:
    rows = ruled_rows(story)
    if rows:
        yield Table(RULED_HEAD, tuple(rows[:MOST_RULED]))
        if len(rows) > MOST_RULED:
            yield Paragraph(f"{count(len(rows) - MOST_RULED, 'more line')} in the appendix.")
    if told := sound_text(story):
        yield Paragraph(told)


def sound_text(story: Story) -> str:
    """Return which looks speak against which causes; a look has no value, so it rules nothing out."""
    open_ones = [o for o in story.others if o.word in ("possible", "inconclusive")]
    sound = _looked([(refs(story, o.sound), o) for o in open_ones if o.sound])
    reads = {t.event: f"{refs(story, (t.event,))} ({t.reading})" for t in story.tests}
    unlike = _looked([(" and ".join(reads[e] for e in o.unlike if e in reads), o)
                      for o in open_ones if o.unlike and not o.sound])
    told = [f"Found sound, without a value: {sound}."] if sound else []
    told += [f"Not looked at, spoken against: {unlike}."] if unlike else []
    return " ".join(told)


def _looked(looks: Sequence[tuple[str, Other]]) -> str:
    """Return looks, each with what it speaks against, the narrowest first."""
    by_look: dict[str, list[str]] = {}
    for look, other in looks:
        by_look.setdefault(look, []).append(small(other.label))
    told = []
    for look, names in sorted(by_look.items(), key=lambda x: (len(x[1]), x[0])):
        more = f" and {count(len(names) - MOST_SOUND, 'more', 'more')}" if len(names) > MOST_SOUND else ""
        told.append(f"{look} against {', '.join(names[:MOST_SOUND])}{more}")
    return "; ".join(told)


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
    if story.put_back:
        yield Paragraph(f"Set and put back: {'; '.join(line.text for line in story.put_back)}.")
    if story.not_put_back:
        yield Paragraph(f"NOT put back: {'; '.join(line.text for line in story.not_put_back)}.")


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
    done, told = {r.event: r for r in story.repairs}, under_strip(story)
    for proof in story.proofs:
        rows, where = (done[proof.repair].rows, done[proof.repair].where) if proof.repair in done else ((), "")
        lead = f"{capital(where)}: " if where and len(story.proofs) > 1 else ""
        parts = [lead + verdict_text(proof)]
        pair = main_pair(story, rows) if rows or proof is story.proofs[-1] else None
        parts += [f"{capital(pair.where) or 'It'}: {pair.before.text} before, {pair.after.text} after."] if pair else []
        parts += [capital(count_text(c)) for c in proof.counts if c is not told]
        parts += [f"Row beside it, not mended: {count_text(c)}" for c in proof.controls]
        yield Paragraph(" ".join(parts))
    judged = {p.repair for p in story.proofs}
    for repair in (r for r in story.repairs if r.kind == "repair" and r.event not in judged):
        yield Paragraph(f"The repair{f' at {repair.where}' if judged and repair.where else ''} was not measured again.")
    if story.open_rows:
        yield Paragraph(still_open(story))
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
        each = " + ".join(f"{n.label} {whole_minutes(n.minutes)}" for n in sums)
        lines.append(f"{capital(each)} = {sum_text(n.minutes for n in sums)}.")
    guessed = [n for n in totals(story.labour) if n.basis == "estimate"]
    if guessed:
        usual = ", ".join(f"{n.label} {minutes_text(n.minutes)}" for n in guessed)
        lines.append(f"Not recorded, usually: {usual}; not in the sum.")
    lines += [f"Waiting, no work: {minutes_text(n.minutes)}." for n in totals(story.labour)
              if n.activity == "waiting" and n.basis != "estimate"]
    lines += [f"{capital(i.label)}: {i.told.text}." for i in story.group("labour")
              if i.name == "travel_distance"]
    return tuple(lines)
