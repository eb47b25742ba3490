"""Behind page one: method and limits, the chain of whys, every test, readings in full, and the record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from diag.text import count
from diag.writeup.completeness import MUST, Readiness, missing_rows
from diag.writeup.page.audience import CLAIM, SERVICE
from diag.writeup.page.blocks import Block, Fields, Paragraph, Points, Quote, Section, Table
from diag.writeup.page.front import MOST_RULED, MOST_WORDS, RULED_HEAD, in_header, ruled_rows
from diag.writeup.page.sentences import (
    capital,
    item_text,
    minutes_text,
    refs,
    result_text,
    sentence,
    sum_text,
    whole_minutes,
)
from diag.writeup.story.labour import by_test, totals, worked
from diag.writeup.story.model import SAYS, CauseTold, Item, Line, Other, Story

DEMONSTRATION = "Demonstration, not a stored call."
DEFERS = ("The maker's warranty terms, the operator's manual and the people who apply them decide what is paid.")
MOST_OTHERS = 8
MOST_SHORT = 40
"""Letters of a named line that stands beside others."""
MOST_DIGEST = 25
"""Letters of the knowledge's version and digest; the whole of it stands in the JSON form."""
ELSEWHERE = ("position", "root", "mechanism", "unexplained", "category", "instrument", "limit_source")


def appendix(story: Story, audience: str, ready: Readiness | None) -> Iterator[Section]:
    """Yield the sections behind page one, empty ones left out."""
    service = audience == SERVICE
    parts = [
        ("missing", "Missing, and the question that mends it", _missing(ready)),
        ("complaint_full", "Complaint in full", _complaint(story)),
        ("causes", "What was shown", _causes(story)),
        ("whys", "Why, and why that", _whys(story)),
        ("tested", "Open and not tested", _tested(story)),
        ("method", "How it was measured and judged", _method(story)),
        ("tests", "What was asked and measured", _tests(story)),
        ("series", "Readings in full", _series(story)),
        ("identity", "Machine and people", _fields(_others(story))),
        ("claim", "Findings and terms", _fields(_terms(story))),
        ("cautions", "Cautions read and acknowledged", _lines(story.cautions)),
        ("hours_split", "Hours: where they come from", _hours(story, service)),
        ("photos_list", "Photos", _photos(story)),
        ("before", "Done before the call", _lines(story.done_before)),
        ("waiting", "What happens next", _lines([story.waiting] if story.waiting else [])),
        ("watch", "What to watch", _watch(story)),
        ("left_out", "Left out, with the reason", _skipped(story)),
        ("changed", "Changed and taken back", _lines(story.changed)),
        ("notes", "Notes", _notes(story)),
        ("record", "Record", _record(story, audience)),
    ]
    for name, title, blocks in parts:
        made = tuple(blocks)
        if made:
            yield Section(name, title, made)


def _missing(ready: Readiness | None) -> Iterator[Block]:
    if ready is None or not ready.missing:
        return
    must, should = (tuple(m for m in ready.missing if (m.severity == MUST) == first) for first in (True, False))
    if must:
        yield Fields(missing_rows(must), columns=2)
    if should:
        told = " ".join(m.asks + (f" (left out: {m.reason})" if m.reason else "") for m in should)
        yield Paragraph(f"Should be there{' too' if must else ''}: {told}")


def _complaint(story: Story) -> Iterator[Block]:
    complaint = story.complaint
    if len(complaint.words) > MOST_WORDS:
        yield Quote(complaint.words)
    lines = []
    if complaint.symptoms:
        lines.append("Is: " + "; ".join(label for _, label in complaint.symptoms) + ".")
    if complaint.denied:
        lines.append("Is not: " + "; ".join(complaint.denied) + ".")
    lines += [f.text + "." for f in complaint.facts]
    if lines:
        yield Paragraph(" ".join(lines))


# --- cause --------------------------------------------------------------------------------------------------------


def _causes(story: Story) -> Iterator[Block]:
    for cause in story.causes:
        yield Paragraph(f"{sentence(cause.label)} {SAYS[cause.word]}.", strong=True)
        yield Points(tuple(_cause_lines(story, cause)))
    if any(c.root.category_label or c.leaning for c in story.causes):
        yield Paragraph(DEFERS)


def _cause_lines(story: Story, cause: CauseTold) -> Iterator[str]:
    if cause.seen:
        yield f"As found: {sentence(cause.seen)}"
    if cause.mode:
        yield f"Manner: {cause.mode}."
    yield f"How such a fault works: {sentence(cause.mechanism)}"
    if cause.deciding:
        number = refs(story, (cause.deciding.event,))
        yield f"Deciding test ({number}): {cause.deciding.asks}: {sentence(cause.deciding.says)}"
    if cause.reversal:
        yield f"Made to go and come, or to move: {refs(story, cause.reversal)}."
    rest = [g.event for g in cause.grounds if not cause.deciding or g.event != cause.deciding.event]
    if rest:
        yield f"{'Also speaking' if cause.deciding else 'Speaking'} for it: {refs(story, rest)}."
    root = cause.root
    sure = "" if root.word == "not_tested" else f" {SAYS[root.word]}."
    reached = f"{sentence(root.text)}{sure}" if root.text else "not reached."
    yield f"Why it came to that: {reached}"
    if root.category_label and not (root.proposed and cause.leaning):
        proposed = " (what such faults usually are; nobody has judged it)" if root.proposed else ""
        yield f"Kind of root: {root.category_label}{proposed}."
    if cause.leaning:
        yield f"Leaning, as such findings usually mean: {cause.leaning}."


def _whys(story: Story) -> Iterator[Block]:
    if story.whys:
        rows = tuple((w.why, w.because, refs(story, w.events)) for w in story.whys)
        yield Table(("why", "because", "shown by"), rows)


def _tested(story: Story) -> Iterator[Block]:
    rows = ruled_rows(story)[MOST_RULED:]
    if rows:
        yield Table(RULED_HEAD, tuple(rows))
    confirmed = any(c.word == "confirmed" for c in story.causes)
    open_ones = [o for o in story.others if o.word in ("possible", "inconclusive") and not (o.sound or o.unlike)
                 and o.speaks and (o.demanded or not confirmed)]
    as_well = [o for o in open_ones if o.as_well]
    mixed = [o for o in open_ones if o.word == "inconclusive"]
    if as_well:
        yield Paragraph(f"Possible, fits as well: {_first(story, as_well)}.")
    if mixed:
        yield Paragraph(f"Tested, inconclusive: {_first(story, mixed)}.")
    if story.measured and (less := len(open_ones) - len(as_well) - len(mixed)):
        yield Paragraph(f"{capital(count(less, 'other cause'))} of such a complaint {'fits' if less == 1 else 'fit'} "
                        "what was answered far worse.")
    untested = [o.label for o in story.others if o.word == "not_tested"]
    if untested:
        yield Paragraph(f"Not tested: {'; '.join(untested)}.")
    if unexplained := story.item("unexplained"):
        yield Paragraph(f"What does not fit: {sentence(unexplained.told.text)}")
    yield from (Paragraph(f"What does not fit, or did not help: {sentence(line.text)}")
                for line in story.done_before if line.in_vain)


def _first(story: Story, others: list[Other]) -> str:
    """Return the causes that the tests speak for most, each with the reading that demands it, and how many more."""
    told = "; ".join(o.label + (f" ({refs(story, o.demanded)})" if o.demanded else "") for o in others[:MOST_OTHERS])
    more = len(others) - MOST_OTHERS
    return f"{told}; and {count(more, 'more', 'more')}" if more > 0 else told


# --- method, tests --------------------------------------------------------------------------------------------------


def _method(story: Story) -> Iterator[Block]:
    lines = []
    for name in ("instrument", "limit_source"):
        item = story.item(name)
        lines += [f"{capital(item.label)}: {sentence(item.told.text)}"] if item else []
    for proof in story.proofs:
        lines += [f"Accepted when: {proof.rule}"] if proof.rule else []
        lines += [f"Made for the proof: {sentence(proof.test)}"] if proof.test else []
        told = [t for t in (refs(story, proof.answers), refs(story, proof.control)) if t]
        lines += [f"Rests on {told[0]}" + (f"; rows beside in {told[1]}." if len(told) > 1 else ".")] if told else []
    if any(p.counts for p in story.proofs):
        lines.append("Intervals are exact (binomial, 95 %), p is Fisher's exact test, two-sided; counts of different "
                     "rows or checks are not added.")
    if lines:
        yield Points(tuple(dict.fromkeys(lines)))
    known = [c for c in story.conditions if c.before or c.after]
    if known:
        blank = "not recorded"
        after = any(r.kind == "repair" for r in story.repairs)
        rows = [(c.label, c.before.text if c.before else blank, c.after.text if c.after else blank) for c in known]
        before = Fields(tuple(r[:2] for r in rows), columns=3)
        yield Table(("condition", "before", "after"), tuple(rows)) if after else before


def _whens(story: Story) -> dict[str, str]:
    """Return test -> who made it and when."""
    when = {"before": "before", "after": "after repair", "back": "old part or setting back",
            "step": "while changed for a test"}
    decided = {c.deciding.event for c in story.causes if c.deciding}
    return {t.event: f"{t.who}; {when[t.when]}" + (", DECIDED" if t.event in decided else "") for t in story.tests}


def _tests(story: Story) -> Iterator[Block]:
    when = _whens(story)
    rows: list[tuple[str, ...]] = []
    for test in story.tests:
        asked = "; ".join(p for p in (test.asks, test.where, test.pieces) if p)
        rows.append((str(test.number), asked, result_text(test), when[test.event]))
    if rows:
        yield Table(("no.", "asked", "result", "who, when"), tuple(rows))


def _series(story: Story) -> Iterator[Block]:
    lines = tuple(f"no. {t.number}, {t.asks}: {t.series}" for t in story.tests if t.series)
    if lines:
        yield Points(lines)


# --- the rest -----------------------------------------------------------------------------------------------------


def _others(story: Story) -> Iterator[Item]:
    yield from (i for i in story.group("identity", "usage", "dates") if not in_header(i) and i.name not in ELSEWHERE)


def _terms(story: Story) -> Iterator[Item]:
    yield from (i for i in story.group("claim", "findings") if i.name not in ELSEWHERE)


def _fields(items: Iterable[Item]) -> Iterator[Block]:
    pairs = [(item.label, item_text(item)) for item in items]
    for short, columns in ((True, 3), (False, 1)):
        alike = tuple(p for p in pairs if (len(": ".join(p)) <= MOST_SHORT) == short)
        if alike:
            yield Fields(alike, columns=columns)


def _hours(story: Story, service: bool) -> Iterator[Block]:
    basis = {"typed": "as entered", "clock": "from the times of the record", "estimate": "not recorded, usual time"}
    rows = []
    for n in totals(story.labour):
        more = [("times of the record", n.proposed), ("allowed", n.allowed)]
        said = "".join(f"; {word} {minutes_text(m)}" for word, m in more if m)
        rows.append((n.label, minutes_text(n.minutes), basis[n.basis] + said))
    if len(sums := worked(story.labour)) > 1:
        rows.append(("worked, in all", sum_text(n.minutes for n in sums), "the lines above, without waiting"))
    if any(n.basis != "clock" or n.allowed for n in totals(story.labour)):
        yield Table(("activity", "time", "basis"), tuple(rows))
    if service and (split := tuple(_split(story))):
        yield Table(("no.", "test", "time"), split, "By test")


def _split(story: Story) -> Iterator[tuple[str, str, str]]:
    """Yield the minutes of each test, then what of the activity went by between the tests, so that they add up."""
    when = {t.event: t.when for t in story.tests}
    for line in (n for n in totals(story.labour) if n.basis == "clock" and n.activity in ("diagnosis", "verification")):
        own = [t for t in by_test(story.labour) if (when[t.events[0]] == "before") == (line.activity == "diagnosis")]
        yield from ((refs(story, t.events).removeprefix("no. "), t.label, minutes_text(t.minutes)) for t in own)
        rest = whole_minutes(line.minutes) - sum(whole_minutes(t.minutes) for t in own)
        if own and rest > 0:
            yield "", f"{line.label}: changing parts and settings, between tests", minutes_text(rest)


def _photos(story: Story) -> Iterator[Block]:
    if story.photos:
        rows = tuple((p.file_name or "(name left out)", p.text, p.on[:10], p.sha256[:16]) for p in story.photos)
        yield Table(("file", "shows", "on", "SHA-256 begins"), rows)


def _lines(lines: Iterable[Line]) -> Iterator[Block]:
    texts = tuple(line.text for line in lines)
    if texts:
        yield Points(texts)


def _watch(story: Story) -> Iterator[Block]:
    lines = [item.told.text for item in story.group("after") if item.name == "watch"]
    for repair in story.repairs:
        lines += [f"Meanwhile watch: {w}" for w in repair.watch] + [f"It ends: {e}" for e in repair.ends]
        lines += [f"It costs: {w}" for w in repair.loses]
    lines += [c.prevention for c in story.causes if c.word in ("confirmed", "probable") or c.repaired]
    if lines:
        yield Points(tuple(dict.fromkeys(lines)))


def _skipped(story: Story) -> Iterator[Block]:
    if story.skipped:
        yield Points(tuple(f"{s.text}: {s.reason or '(reason left out)'}" for s in story.skipped))


def _notes(story: Story) -> Iterator[Block]:
    texts = [line.text for line in story.notes] + [f"Internal: {line.text}" for line in story.internal]
    if texts:
        yield Points(tuple(texts))


def _record(story: Story, audience: str) -> Iterator[Block]:
    yield Fields(tuple(_record_pairs(story, audience)), columns=3)


def _record_pairs(story: Story, audience: str) -> Iterator[tuple[str, str]]:
    record = story.record
    ended = "not closed yet" if story.closing.open else f"{story.closing.label} on {story.closing.on[:10]}"
    pairs = [("opened", record.opened[:10]), ("closed", ended), ("said at closing", story.closing.words)]
    if audience in (CLAIM, SERVICE):
        pairs += [("written by the", record.prepared_by), ("entries", str(record.events))]
        pairs += [("knowledge", record.knowledge[:MOST_DIGEST])]
        pairs.append(("head of the record", ", ".join(record.heads) if record.stored else ""))
    yield from ((label, text) for label, text in pairs if text)
