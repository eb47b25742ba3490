"""The story laid out once for all printed forms: sections of paragraphs, lists, fields and tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from diag.text import count, number
from diag.writeup.page.audience import CLAIM, CUSTOMER, SERVICE, view
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Section, Table
from diag.writeup.story.labour import by_test, totals, worked
from diag.writeup.story.model import SAYS, Cause, Count, Item, Line, MadeTest, Other, Proof, Repair, Story

DEMONSTRATION = "Demonstration, not a stored call."
PRACTICE = "Practice call on an invented fault."
DEFERS = (
    "A leaning is what such findings usually mean; it promises nothing. The maker's warranty terms, the operator's "
    "manual and the people who apply them decide."
)
NOTHING_MEASURED = (
    "Nothing was measured in this call; what follows rests on what was said and seen, and no cause is held confirmed."
)
VERDICTS = {"accepted": "accepted", "not_accepted": "NOT accepted", "not_yet": "not yet decided"}
MOST_OTHERS = 8
NOT_WRITTEN = "what was done was not written down"
STEPS = {"roll": "good enough to roll", "file": "good enough for the file", "claim": "good enough for a claim"}


def title_of(story: Story) -> str:
    """Return the heading of the whole write-up."""
    position = story.item("position")
    where = f", {position.told.text.partition(',')[0]}" if position else ""
    return f"Write-up {story.record.call}{where}"


def subtitle(story: Story) -> str:
    """Return one line that tells which customer, machine and day it is about."""
    named = [story.item(n) for n in ("customer", "machine_label", "serial")]
    return ", ".join([*(i.told.text for i in named if i), f"opened {story.record.opened[:10]}"])


def banner(story: Story) -> tuple[str, ...]:
    """Return what must stand above everything."""
    lines = [] if story.record.stored else [DEMONSTRATION]
    lines += [PRACTICE] if story.record.practice else []
    return tuple(lines)


def sections(story: Story, audience: str = SERVICE) -> tuple[Section, ...]:
    """Return the sections in reading order; empty ones are left out."""
    told = view(story, audience)
    parts = [
        ("complaint", "Complaint", _complaint(told)),
        ("cause", "Cause", _cause(told, audience)),
        ("tested", "Ruled out, open, not tested", _tested(told, audience)),
        ("correction", "Correction", _correction(told)),
        ("confirmation", "Confirmation", _confirmation(told)),
        ("watch", "What to watch", _watch(told)),
        ("tests", "What was asked and measured", _tests(told, audience)),
        ("series", "Readings in full", _series(told, audience)),
        ("identity", "Machine and people", _fields(told.group("identity", "usage"))),
        ("dates", "Dates", _fields(sorted(told.group("dates"), key=lambda i: i.told.text))),
        ("claim", "For the payer", _claim(told, audience)),
        ("cautions", "Cautions read and acknowledged", _lines(told.cautions)),
        ("hours", "Hours", _hours(told)),
        ("photos", "Photos", _photos(told)),
        ("before", "Done before the call", _lines(told.done_before)),
        ("standing", "Not put back", _lines(told.not_put_back)),
        ("left_out", "Left out, with the reason", _skipped(told)),
        ("changed", "Changed and taken back", _lines(told.changed)),
        ("notes", "Notes", _notes(told)),
        ("record", "Record", _record(told, audience)),
    ]
    made = [Section(name, title, tuple(blocks)) for name, title, blocks in parts]
    return tuple(s for s in made if s.blocks)


# --- complaint, cause ---------------------------------------------------------------------------------------


def _complaint(story: Story) -> Iterator[Block]:
    complaint = story.complaint
    yield Quote(complaint.words) if complaint.words else Paragraph("The customer's words are not in this write-up.")
    lines = []
    if complaint.symptoms:
        lines.append("Taken as: " + "; ".join(label for _, label in complaint.symptoms) + ".")
    if complaint.denied:
        lines.append("Not seen: " + "; ".join(complaint.denied) + ".")
    lines += [f.text + "." for f in complaint.facts]
    if lines:
        yield Points(tuple(lines))


def _cause(story: Story, audience: str) -> Iterator[Block]:
    if not story.measured:
        yield Paragraph(NOTHING_MEASURED)
    if story.closing.kind == "no_fault_found":
        yield from _no_fault(story)
        return
    if not story.causes:
        yield Paragraph("No cause was shown." if audience != CUSTOMER else "The cause was not found in this call.")
        return
    for cause in story.causes:
        yield from _one_cause(story, cause, audience)
    if story.causes and audience != CUSTOMER:
        yield Paragraph(DEFERS)


def _no_fault(story: Story) -> Iterator[Block]:
    made = [t for t in story.tests if t.valued]
    yield Paragraph("No fault of the planter was found. " + (
        f"{count(len(made), 'measurement')} and {count(len(story.tests) - len(made), 'other check')} are listed below."
        if story.tests else "No check was made."))
    when = f" on {made[-1].on[:10]}" if made else ""
    yield Paragraph(
        f"It speaks of the machine as it was{when}, with the seed, settings and parts then fitted; it cannot show what "
        "was so before or will be after a change of any of them, and it blames nobody."
    )


def _refs(story: Story, events: Iterable[str]) -> str:
    """Return the numbers of tests in the record: "no. 8, 9"."""
    by_event = {t.event: t.number for t in story.tests}
    numbers = sorted({by_event[e] for e in events if e in by_event})
    return f"no. {', '.join(map(str, numbers))}" if numbers else ""


def _one_cause(story: Story, cause: Cause, audience: str) -> Iterator[Block]:
    yield Paragraph(f"{_sentence(cause.label)} {SAYS[cause.word]}.")
    lines = []
    if cause.seen:
        lines.append(f"As found: {_sentence(cause.seen)}")
    if cause.mode:
        lines.append(f"Manner: {cause.mode}.")
    lines.append(f"What it does: {_sentence(cause.mechanism)}" if audience == CUSTOMER
                 else f"Mechanism: {_sentence(cause.mechanism)}")
    if cause.deciding:
        lines.append(f"Deciding test: {cause.deciding.asks}: {_sentence(cause.deciding.says)}")
    if cause.reversal and audience != CUSTOMER:
        lines.append(f"Made to go and come, or to move: {_refs(story, cause.reversal)}.")
    rest = [g.event for g in cause.grounds if not cause.deciding or g.event != cause.deciding.event]
    if rest and audience != CUSTOMER:
        lines.append(f"{'Also speaking' if cause.deciding else 'Speaking'} for it: {_refs(story, rest)}.")
    if audience != CUSTOMER:
        lines += _root_lines(cause)
    yield Points(tuple(lines))


def _root_lines(cause: Cause) -> list[str]:
    root = cause.root
    told = f"Why it failed (root): {_sentence(root.text)} {SAYS[root.word]}." if root.text else \
        "Why it failed (root): not reached."
    lines = [told]
    if root.category_label:
        proposed = " (proposed by the program, nobody has judged it)" if root.proposed else ""
        lines.append(f"Kind of root: {root.category_label}{proposed}.")
    if cause.leaning:
        lines.append(f"Leaning, as such findings usually mean: {cause.leaning}.")
    return lines


def _tested(story: Story, audience: str) -> Iterator[Block]:
    ruled = [o for o in story.others if o.word == "ruled_out"]
    for (asks, says), members in _by_ground(ruled):
        names = "; ".join(o.label for o in members)
        yield Paragraph(f"Ruled out by test ({asks}: {says}): {names}.")
    if audience == CUSTOMER:
        return
    confirmed = any(c.word == "confirmed" for c in story.causes)
    for word, lead in (("possible", "Possible, another cause fits as well"), ("inconclusive", "Tested, inconclusive")):
        members = [o for o in story.others if o.word == word and o.speaks and (o.demanded or not confirmed)]
        if members:
            yield Paragraph(f"{lead}: {_first(members)}.")
    untested = [o.label for o in story.others if o.word == "not_tested"]
    yield Paragraph(f"Not tested: {'; '.join(untested)}." if untested
                    else "Not tested: none of the causes still standing.")
    if unexplained := story.item("unexplained"):
        yield Paragraph(f"What does not fit: {_sentence(unexplained.told.text)}")
    if story.whys:
        yield Points(tuple(f"{w.why}, because ({_refs(story, w.events)}): {_sentence(w.because)}" for w in story.whys))


def _first(others: list[Other]) -> str:
    """Return the causes that the tests speak for most, and how many more there are."""
    told = "; ".join(o.label for o in others[:MOST_OTHERS])
    more = len(others) - MOST_OTHERS
    fits = count(more, "other known cause that fits", "other known causes that fit")
    return f"{told}; and {fits} less well" if more > 0 else told


def _by_ground(others: Iterable[Other]) -> Iterator[tuple[tuple[str, str], list[Other]]]:
    def key(other: Other) -> tuple[str, str]:
        return (other.ground.asks, other.ground.says) if other.ground else ("", "")

    for ground, members in groupby(sorted(others, key=key), key):
        yield ground, list(members)


# --- correction, confirmation -------------------------------------------------------------------------------


def _correction(story: Story) -> Iterator[Block]:
    for repair in story.repairs:
        lead = "For now, not a repair: " if repair.kind == "interim" else ""
        where = f" ({repair.where})" if repair.where else ""
        words = _sentence(repair.words or NOT_WRITTEN)
        yield Paragraph(f"{repair.on[:10]}{where}: {lead}{words}")
        lines = list(_repair_lines(repair))
        if lines:
            yield Points(tuple(lines))
    if not story.repairs:
        yield Paragraph("Nothing was repaired.")


def _repair_lines(repair: Repair) -> Iterator[str]:
    if repair.parts:
        yield "Parts: " + "; ".join(f"{p.qty} x {p.item}" for p in repair.parts) + "."
    if repair.settings:
        yield "Settings changed: " + "; ".join(repair.settings) + "."
    if repair.minutes is not None:
        yield f"{number(repair.minutes)} min, by the {repair.by}."


def _confirmation(story: Story) -> Iterator[Block]:
    for proof in story.proofs:
        yield Paragraph(_proof_text(proof))
    if story.repairs and not story.proofs:
        yield Paragraph("The repair has not been measured and judged.")
    for what, pairs in groupby(story.pairs, key=lambda p: p.what):
        rows = tuple(
            (p.where + (" (control)" if p.after.control else ""), p.before.text, p.after.text) for p in pairs
        )
        yield Table(("where", "before", "after"), rows, f"{what}, before and after")
    known = [c for c in story.conditions if c.before or c.after]
    if known and story.repairs:
        blank = "not recorded"
        told = [(c.label, c.before.text if c.before else blank, c.after.text if c.after else blank) for c in known]
        yield Table(("condition", "before", "after"), tuple(told), "Conditions")
    for item in story.group("after"):
        if item.name == "follow_up":
            yield Paragraph(f"Follow-up on {item.told.on[:10]}: {_sentence(item.told.text)}")


def _proof_text(proof: Proof) -> str:
    parts = [f"{proof.on[:10]}: {verdict_text(proof)}" if proof.on else verdict_text(proof)]
    if proof.test:
        parts.append(_sentence(proof.test))
    parts += [count_text(c) for c in proof.counts]
    parts += [f"Control, {count_text(c)}" for c in proof.controls]
    if proof.step:
        parts.append(f"{STEPS[proof.step][0].upper()}{STEPS[proof.step][1:]}.")
    return " ".join(parts)


def verdict_text(proof: Proof) -> str:
    """Return the verdict on a repair in words: the readings' and, where it differs, the person's."""
    if proof.against:
        return f"ACCEPTED BY THE TECHNICIAN AGAINST THE READING ({VERDICTS[proof.says]}: {proof.why.rstrip('.')})."
    if not proof.verdict:
        return f"Nobody has judged it; the readings say {VERDICTS[proof.says]}. {proof.why}"
    if proof.verdict != proof.says:
        return f"{VERDICTS[proof.verdict]} by the technician; the readings say {VERDICTS[proof.says]}. {proof.why}"
    return f"{VERDICTS[proof.verdict]}. {proof.why}"


def count_text(counted: Count) -> str:
    """Return a count in one line: "4 of 60 before, 0 of 120 after, p = 0.012; 0 to 3.0 % bad, limit 2 %"."""
    after, where = counted.after, f"{counted.where}: " if counted.where else ""
    interval = f"at most {percent(after.high)}" if not after.bad else f"{percent(after.low)} to {percent(after.high)}"
    told = f"{where}{after.bad} of {after.n} bad after the repair"
    if counted.before and counted.chance is not None:
        chance = "p < 0.001" if counted.chance < 0.001 else f"p = {counted.chance:.2g}"
        told = (f"{where}{counted.before.bad} of {counted.before.n} bad before, {after.bad} of {after.n} after "
                f"(Fisher, {chance})")
    return f"{told}; {interval} bad with 95 % confidence, limit {percent(counted.limit)}."


def percent(share: float) -> str:
    """Return a share in percent, two figures."""
    return f"{share * 100:.2g} %"


def _watch(story: Story) -> Iterator[Block]:
    lines = [item.told.text for item in story.group("after") if item.name == "watch"]
    lines += [c.prevention for c in story.causes if c.word != "ruled_out"]
    if lines:
        yield Points(tuple(dict.fromkeys(lines)))


# --- tables -------------------------------------------------------------------------------------------------


def _tests(story: Story, audience: str) -> Iterator[Block]:
    if not story.tests:
        return
    when = {"before": "before", "after": "after repair", "back": "old part or setting back",
            "step": "while changed for a test"}
    decided = {c.deciding.event for c in story.causes if c.deciding}
    rows: list[tuple[str, ...]] = []
    for test in story.tests:
        if audience == CUSTOMER:
            place = "; ".join(p for p in (test.where, test.pieces) if p)
            rows.append((test.asks, place, _result(test)))
        else:
            marks = " DECIDING" if test.event in decided else ""
            asked = "; ".join(p for p in (test.asks, test.where, test.pieces) if p)
            rows.append((str(test.number), asked, _result(test), f"{test.who}; {when[test.when]}{marks}"))
    headings = ("asked", "where", "result") if audience == CUSTOMER else ("no.", "asked", "result", "who, when")
    yield Table(headings, tuple(rows))


def _series(story: Story, audience: str) -> Iterator[Block]:
    lines = tuple(f"no. {t.number}, {t.asks}: {t.series}" for t in story.tests if t.series)
    if lines and audience != CUSTOMER:
        yield Points(lines)


def _result(test: MadeTest) -> str:
    if test.says:
        return f"{test.reading} = {test.says}"
    return f"{test.reading} (no verdict: {test.why_not})" if test.why_not else test.reading


def _fields(items: Iterable[Item]) -> Iterator[Block]:
    pairs = tuple((item.label, _item_text(item)) for item in items)
    if pairs:
        yield Fields(pairs)


def _item_text(item: Item) -> str:
    return item.told.text + (f" (changed on {item.told.on[:10]}, was {item.was.text})" if item.was else "")


def _claim(story: Story, audience: str) -> Iterator[Block]:
    if audience == CUSTOMER:
        return
    elsewhere = ("root", "mechanism", "unexplained", "category")
    yield from _fields(i for i in story.group("claim", "findings") if i.name not in elsewhere)


def _hours(story: Story) -> Iterator[Block]:
    lines = totals(story.labour)
    if not lines:
        return
    basis = {"typed": "as entered", "clock": "from the times of the record", "estimate": "estimate"}
    more = [(("proposed", n.proposed), ("allowed", n.allowed)) for n in lines]
    said = ["".join(f"; {word} {hours(m)}" for word, m in pairs if m) for pairs in more]
    rows = [(n.label, hours(n.minutes), basis[n.basis] + s) for n, s in zip(lines, said, strict=True)]
    total = sum(line.minutes for line in worked(story.labour))
    distance = [(i.label, i.told.text, "as entered") for i in story.group("labour") if i.name == "travel_distance"]
    yield Table(("activity", "hours", "basis"), (*rows, ("worked", hours(total), "waiting apart"), *distance))
    split = by_test(story.labour)
    if split:
        yield Table(("test", "hours", "basis"), tuple((t.label, hours(t.minutes), basis[t.basis]) for t in split),
                    "By test")


def hours(minutes: float) -> str:
    """Return minutes as decimal hours, 0.1 h = 6 min."""
    return f"{minutes / 60:.1f} h" if minutes >= 3 else f"{number(minutes, 2)} min"


def _photos(story: Story) -> Iterator[Block]:
    if story.photos:
        rows = tuple((p.file_name or "(name left out)", p.text, p.on[:10], p.sha256[:16]) for p in story.photos)
        yield Table(("file", "shows", "on", "SHA-256 begins"), rows)


def _lines(lines: Iterable[Line]) -> Iterator[Block]:
    texts = tuple(line.text for line in lines)
    if texts:
        yield Points(texts)


def _skipped(story: Story) -> Iterator[Block]:
    if story.skipped:
        yield Points(tuple(f"{s.text}: {s.reason or '(reason left out)'}" for s in story.skipped))


def _notes(story: Story) -> Iterator[Block]:
    texts = [line.text for line in story.notes] + [f"Internal: {line.text}" for line in story.internal]
    if texts:
        yield Points(tuple(texts))


def _record(story: Story, audience: str) -> Iterator[Block]:
    record = story.record
    ended = "not closed yet" if story.closing.open else f"{story.closing.label} on {story.closing.on[:10]}"
    pairs = [("call", record.call), ("opened", record.opened[:10]), ("closed", ended)]
    if story.closing.words:
        pairs.append(("said at closing", story.closing.words))
    if audience in (CLAIM, SERVICE):
        pairs += [("written by the", record.prepared_by), ("entries", str(record.events))]
        pairs.append(("knowledge", record.knowledge))
        head = ", ".join(record.heads) if record.stored else DEMONSTRATION
        pairs.append(("head of the record", head))
    yield Fields(tuple((label, text) for label, text in pairs if text))


def _sentence(text: str) -> str:
    told = text.strip()
    return told if told.endswith((".", "!", "?")) else f"{told}."
