"""The customer's page: what it was, what we did, is it right now, what to look at, when to call. No marks, no codes."""

from __future__ import annotations

from collections.abc import Iterator

from diag.text import rows_words
from diag.writeup.page.blocks import Block, Paragraph, Points, Quote, Section
from diag.writeup.page.drawing import case_picture
from diag.writeup.page.finding import leading
from diag.writeup.page.seeds import seed_strip
from diag.writeup.page.sentences import capital, main_pair, sentence, small
from diag.writeup.story.model import CauseTold, Correction, Proof, Story

SURE = {"confirmed": "", "probable": "Most likely ", "possible": "Possibly ",
        "inconclusive": "The tests did not settle it; possibly "}
"""Shown word -> how a sentence about the cause begins."""
LOOK = ("Park, lower the planter, engine off and key out; then dig a few feet of {row} and of the row beside it. They "
        "should look alike.")
CALL = "Call us if it comes back, if another row does it too, or if anything new shows."
CALL_ON = "Call us if it gets worse, or if anything new shows."
"""While it is not mended it cannot come back."""
CALL_NONE = "Call us if anything new shows."
"""Where there was nothing to mend."""
MOST_FOUND = 3
MOST_POSSIBLE = 3
NOTHING_TO_MEND = ("no_fault_found", "question_answered")
"""Ways a call ends in which there was nothing to mend."""


def customer_page(story: Story) -> Iterator[Section]:
    """Yield the sections of the customer's one page."""
    was = "What it was" if over(story) else "What it is"
    for name, title, blocks in (
        ("complaint", "What you saw", _saw(story)), ("cause", was, _was(story)),
        ("correction", "What we did", _did(story)), ("case", "", _picture(story)),
        ("confirmation", "Is it right now?", _right(story)), ("watch", "What to look at next", _look(story)),
        ("next", "What happens next", _next(story)),
        ("call", "Call us", (Paragraph(_call(story)),)),
    ):
        made = tuple(blocks)
        if made:
            yield Section(name, title, made, front=True)


def _call(story: Story) -> str:
    if not any(r.kind == "repair" for r in story.repairs) and story.closing.kind in NOTHING_TO_MEND:
        return CALL_NONE
    return CALL if over(story) else CALL_ON


def _next(story: Story) -> Iterator[Block]:
    if story.waiting:
        yield Paragraph(sentence(capital(story.waiting.text.replace("the customer's word", "your word"))))
    elif story.closing.open and not over(story):
        yield Paragraph("It was not written down: ask us.")


def over(story: Story) -> bool:
    """Tell whether the trouble is behind the customer: mended, or nothing to mend."""
    return any(r.kind == "repair" for r in story.repairs) or _nothing_to_mend(story)


def _nothing_to_mend(story: Story) -> bool:
    return story.closing.kind in NOTHING_TO_MEND and not story.closing.against


def _saw(story: Story) -> Iterator[Block]:
    if story.complaint.words:
        yield Quote(story.complaint.words)


def _was(story: Story) -> Iterator[Block]:
    if story.closing.no_fault:
        yield Paragraph("We found no fault of the planter. That speaks of the machine as it was then, with the seed, "
                        "settings and parts it had; it blames nobody.")
    told = leading(story, MOST_POSSIBLE)
    for cause in told:
        why = f", because {small(cause.root.text)}" if cause.root.text else ""
        said = f"{SURE.get(cause.word, SURE['possible'])}{small(cause.plain)}{why}"
        yield Paragraph(f"{capital(sentence(said))} {sentence(cause.mechanism)}")
    if not any(c.repaired for c in told) and (found := _found(story)):
        yield Paragraph(f"What we found: {'; '.join(found)}.")
    if not story.measured:
        yield Paragraph("Nothing was measured in this call; this rests on what was said and seen.")
    if not told and not story.closing.no_fault:
        yield Paragraph("We have not found the cause yet." + (" What fits so far:" if story.fits else ""))
        if story.fits:
            yield Points(tuple(sentence(f) for f in story.fits))


def _found(story: Story) -> tuple[str, ...]:
    """Return the tests that tell most: measured or deciding, and where there is a fault, out of the usual."""
    well = story.closing.kind in NOTHING_TO_MEND
    telling = [t for t in story.tests if (t.valued or t.deciding) and t.when == "before" and (well or not t.usual)]
    told = dict.fromkeys(f"{small(t.asks)}: {t.says or t.reading}" for t in telling)
    return tuple(told)[-MOST_FOUND:]


def _did(story: Story) -> Iterator[Block]:
    for repair in story.repairs:
        lead = "For now: " if repair.kind == "interim" else ""
        fitted = [f"{p.qty} x {p.item}" for p in repair.parts if p.item.casefold() not in repair.words.casefold()]
        parts = f" Fitted: {', '.join(fitted)}." if fitted else ""
        settings = "".join(f" {capital(s.replace(' -> ', ', now '))}." for s in repair.settings)
        yield Paragraph(f"{lead}{sentence(repair.words or 'It was not written down')}{parts}{settings}")
    if not story.repairs:
        yield Paragraph("Nothing was repaired.")
    if story.not_put_back:
        yield Paragraph("Still as it was set for a test: " + "; ".join(line.text for line in story.not_put_back) + ".")


def _picture(story: Story) -> Iterator[Block]:
    shown = seed_strip(story) or case_picture(story)
    if shown:
        yield shown


def _right(story: Story) -> Iterator[Block]:
    mended = [r for r in story.repairs if r.kind == "repair"]
    if not mended:
        if story.repairs:
            yield Paragraph("No, not mended: this is only to go on with for now.")
        elif not _nothing_to_mend(story):
            yield Paragraph("No: nothing has been mended yet." if story.causes else "No: it is still being looked for.")
        return
    others = [c for c in story.causes if not c.repaired and c.word in ("confirmed", "probable")]
    last = {r.where: r for r in mended}
    for repair in last.values():
        proof = next((p for p in story.proofs if p.repair == repair.event), None)
        lead = f"{capital(repair.where)}: " if len(last) > 1 and repair.where else ""
        partly = bool(others or story.open_rows) and len(last) == 1
        yield Paragraph(f"{lead}{_answer(proof, partly=partly)}")
        yield from _readings(story, repair, proof)
    yield from (Paragraph(f"Still to be mended: {sentence(small(c.plain))}") for c in others)
    if story.open_rows:
        yield Paragraph(f"Not looked at again since: {rows_words(story.open_rows)}.")
    follow = story.item("follow_up")
    if follow:
        yield Paragraph(f"Asked again on {follow.told.on[:10]}: {sentence(follow.told.text)}")


def _readings(story: Story, repair: Correction, proof: Proof | None) -> Iterator[Block]:
    """Yield what was counted and read at the rows of one repair."""
    for counted in (proof.counts if proof else ()):
        before = f" Before: {counted.before.bad} of {counted.before.n}." if counted.before else ""
        where = capital(counted.where) or "Counted"
        yield Paragraph(f"{where}: {counted.after.bad} of {counted.after.n} spaces wrong.{before}")
    pair = main_pair(story, repair.rows)
    if pair is not None:
        yield Paragraph(f"{capital(pair.where) or 'It'} reads {pair.after.text}; it was {pair.before.text}.")


def _answer(proof: Proof | None, *, partly: bool) -> str:
    if proof is None:
        return "It has not been measured since."
    if proof.says == proof.verdict == "accepted":
        return "What was mended is right, but that is not all." if partly else (
            "Yes. It was measured again after the repair.")
    if proof.against:
        return ("Not shown: it was taken as right, but the reading after the repair does not bear that out. We should "
                "measure it again.")
    if proof.says == "not_accepted":
        return "No, not yet: the reading after the repair is not right."
    if proof.says == "accepted":
        return ("Not yet: the readings after the repair are good, but we are not satisfied." if proof.verdict else
                "The readings after the repair are good; nobody has signed it off yet.")
    return "Not certain yet: too little was measured after the repair."


def _look(story: Story) -> Iterator[Block]:
    lines = [item.told.text for item in story.group("after") if item.name == "watch"]
    for repair in story.repairs:
        lines += [*repair.watch, *(f"Until: {small(e)}" for e in repair.ends)]
        lines += [f"You lose meanwhile: {small(w)}" for w in repair.loses]
    mended = {row for r in story.repairs if r.kind == "repair" for row in r.rows}
    if len(mended) == 1:
        lines.append(f"At the next fill: {LOOK.format(row=rows_words(tuple(mended)))}")
    lines += [f"So that it does not come back: {small(c.prevention)}" for c in _mended(story) if c.prevention]
    if story.closing.kind in NOTHING_TO_MEND:
        lines += [f"Another time: {small(c.prevention)}" for c in story.causes if c.prevention and not c.repaired]
    if lines:
        yield Points(tuple(dict.fromkeys(lines)))


def _mended(story: Story) -> list[CauseTold]:
    return [c for c in story.causes if c.repaired and c.word in ("confirmed", "probable")][:1]
