"""Small sentences of a write-up that several pages share."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence

from diag.text import count, rows_words
from diag.writeup.story.model import Count, Item, MadeTest, Pair, Proof, Story, Value

VERDICTS = {"accepted": "accepted", "not_accepted": "NOT accepted", "not_yet": "not yet decided"}
NOT_WRITTEN = "what was done was not written down"


def sentence(text: str) -> str:
    """Return text with a full stop."""
    told = text.strip()
    return told if told.endswith((".", "!", "?")) else f"{told}."


def capital(text: str) -> str:
    """Return text that begins with a capital letter."""
    return text[:1].upper() + text[1:]


def small(text: str) -> str:
    """Return text that begins with a small letter."""
    return text[:1].lower() + text[1:]


def refs(story: Story, events: Iterable[str]) -> str:
    """Return the numbers of tests in the record: "no. 8, 9"."""
    by_event = {t.event: t.number for t in story.tests}
    numbers = sorted({by_event[e] for e in events if e in by_event})
    return f"no. {', '.join(map(str, numbers))}" if numbers else ""


def verdict_text(proof: Proof) -> str:
    """Return the verdict on a repair in words: the readings' and, where it differs, the person's."""
    if proof.against:
        return f"ACCEPTED BY THE TECHNICIAN AGAINST THE READING ({VERDICTS[proof.says]}: {proof.why.rstrip('.')})."
    if not proof.verdict:
        return f"Nobody has judged it; the readings say {VERDICTS[proof.says]}. {proof.why}"
    if proof.verdict != proof.says:
        said = f"{capital(VERDICTS[proof.verdict])} by the technician"
        return f"{said}; the readings say {VERDICTS[proof.says]}. {proof.why}"
    return f"{capital(VERDICTS[proof.verdict])}. {proof.why}"


def count_text(counted: Count) -> str:
    """Return a count in one line: "4 of 60 before, 0 of 120 after, p = 0.012; at most 3.0 % bad, limit 2 %"."""
    after, where = counted.after, f"{counted.where}: " if counted.where else ""
    interval = f"at most {percent(after.high)}" if not after.bad else f"{percent(after.low)} to {percent(after.high)}"
    told = f"{where}{after.bad} of {after.n} bad after the repair"
    if counted.before and counted.chance is not None:
        told = (f"{where}{counted.before.bad} of {counted.before.n} bad before, {after.bad} of {after.n} after "
                f"(Fisher, {chance_text(counted.chance)})")
    few = "" if after.bad / after.n > counted.limit or after.high <= counted.limit else (
        "; so few seeds do not show that the limit is kept")
    return f"{told}; {interval} bad (95 %), limit {percent(counted.limit)}{few}."


def chance_text(chance: float) -> str:
    """Return the chance of Fisher's exact test: "p < 0.001", "p = 0.012"."""
    return "p < 0.001" if chance < 0.001 else f"p = {chance:.2g}"


def percent(share: float) -> str:
    """Return a share in percent, two figures: 3.0 %, 12 %."""
    return f"{share * 100:.1f} %" if 0 < share < 0.0995 else f"{share * 100:.0f} %"


def main_pair(story: Story, rows: Collection[int] = ()) -> Pair | None:
    """Return the pair of a row in trouble (of some rows, where they are named) that changed most, measured first."""
    counted = {c.check for p in story.proofs for c in p.counts if c.before}
    own = [p for p in story.pairs if not p.after.control and p.before.number and p.after.number is not None
           and at_rows(p.where, rows) and p.check not in counted]
    computed = {t.check for t in story.tests if t.series}
    read = [p for p in own if p.check not in computed]

    def moved(pair: Pair) -> float:
        was = pair.before.number or 1.0
        return abs((pair.after.number or 0.0) - was) / abs(was)

    return max(read or own, key=moved, default=None)


def span_text(values: Sequence[Value]) -> str:
    """Return readings from the lowest to the highest: "17.9 to 18.2 inH2O"."""
    low, high = (find(values, key=lambda v: v.number or 0.0) for find in (min, max))
    if low.text == high.text:
        return low.text
    pairs = zip(low.text.rstrip(")").split(" ("), high.text.rstrip(")").split(" ("), strict=False)
    own, *others = [f"{a.partition(' ')[0]} to {b}" for a, b in pairs]
    return own + "".join(f" ({other})" for other in others)


def unit_of(text: str) -> str:
    """Return the unit in which a reading was taken: "18.2 inH2O (4.53 kPa)" is "inH2O"."""
    return text.partition(" (")[0].partition(" ")[2]



def places_words(places: Sequence[str]) -> str:
    """Return places in words: rows as rows ("rows 1-6"), others by their number ("6 places")."""
    rows = [int(p.removeprefix("row ")) for p in places if p.removeprefix("row ").isdigit()]
    return rows_words(tuple(sorted(rows))) if len(rows) == len(places) else count(len(places), "place")


def at_rows(where: str, rows: Collection[int]) -> bool:
    """Tell whether a place is one of some rows; one that is no single row is, and any where none is named."""
    row = where.removeprefix("row ")
    return not rows or not row.isdigit() or int(row) in rows


def contrast(story: Story, events: Collection[str] | None = None, rows: Collection[int] = ()) -> str:
    """Return what the rows in trouble read beside the good ones, in one round before the repair; "" without such.

    `events`: only rounds among these; `rows`: only these of the rows in trouble.
    """
    best: tuple[float, str] | None = None
    for test in story.tests:
        own = [v for v in test.values if not v.control and v.number is not None and v.where.startswith("row ")
               and at_rows(v.where, rows)]
        good = [v for v in test.values if v.control and v.number is not None]
        if events is not None and test.event not in events:
            continue
        if test.when != "before" or test.pieces or not test.by_row or not own or not good:
            continue
        means = [sum(v.number or 0.0 for v in group) / len(group) for group in (own, good)]
        apart = abs(means[0] - means[1]) / max(abs(means[1]), 1e-9)
        if best is None or apart > best[0] * 1.5:
            named = places_words([v.where for v in own])
            best = (apart, f"{named} read {span_text(own)} where the other rows read {span_text(good)}")
    return best[1] if best else ""


def result_text(test: MadeTest) -> str:
    """Return what a test gave and was taken to mean."""
    if test.says:
        return f"{test.reading} = {test.says}"
    return f"{test.reading} (no verdict: {test.why_not})" if test.why_not else test.reading


def item_text(item: Item) -> str:
    """Return a named line, with what it was before it was corrected."""
    return item.told.text + (f" (changed on {item.told.on[:10]}, was {item.was.text})" if item.was else "")


def whole_minutes(minutes: float) -> int:
    """Return whole minutes, half a minute up; all hours of a write-up are sums of these."""
    return math.floor(minutes + 0.5)


def minutes_text(minutes: float) -> str:
    """Return minutes: "78 min"."""
    return f"{whole_minutes(minutes)} min"


def sum_text(parts: Iterable[float]) -> str:
    """Return the sum of whole minutes, with decimal hours of six minutes each, three minutes up: "285 min (4.8 h)"."""
    total = sum(whole_minutes(m) for m in parts)
    tenths = (total + 3) // 6
    return f"{total} min ({tenths // 10}.{tenths % 10} h)"
