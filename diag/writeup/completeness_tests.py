"""The tests of completeness: each looks at a story and returns what exactly is missing, or "".

The rules of the knowledge name them (`FIELDS`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date

from diag.errors import KnowledgeError
from diag.knowledge.base import Knowledge
from diag.knowledge.story_terms import CompletenessRule
from diag.text import rows_words
from diag.writeup.story.labour import totals
from diag.writeup.story.model import CauseTold, Correction, Story

WORK = ("set_up", "diagnosis", "repair", "verification")
"""Activities that take place while the record is kept."""
SPARE_MINUTES = 60.0
"""Work before the first entry and after the last that is not yet called too much."""
_WORD = re.compile(r"[a-z0-9][a-z0-9'/.-]*")
_SMALL = frozenset({
    "a", "an", "and", "are", "as", "at", "be", "been", "but", "by", "for", "from", "had", "has", "have", "in",
    "is", "it", "its", "not", "of", "off", "on", "or", "out", "so", "than", "that", "the", "their", "them",
    "then", "there", "they", "this", "to", "too", "was", "were", "with",
})
"""Words that say nothing about a cause."""

Field = Callable[[Story, CompletenessRule, Knowledge], str]


def test_of(rule: CompletenessRule) -> Field:
    """Return the test that a rule names. Raises KnowledgeError where there is none."""
    if rule.field not in FIELDS:
        what = f"{rule.id}: there is no test {rule.field!r}."
        raise KnowledgeError(what, "completeness", f"Known: {', '.join(FIELDS)}.")
    return FIELDS[rule.field]


def _no_items(story: Story, *names: str) -> list[str]:
    return [name.replace("_", " ") for name in names if story.item(name) is None]


def _machine(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return ", ".join(_no_items(story, "serial", "machine_kind", "position"))


def _details(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """Every detail the rule names."""
    return ", ".join(k.details[n].label for n in rule.details if story.item(n) is None)


def _any_detail(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """One of the details the rule names."""
    return "" if any(story.item(n) for n in rule.details) else rule.needs


def _dates(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    repaired = ("repaired",) if _repairs(story) else ()
    gone = _no_items(story, "failure", "first_contact", *repaired, "filed")
    order = [("failure", "first_contact"), ("first_contact", "repaired"), ("documented", "repaired"),
             ("repaired", "filed")]
    wrong = [f"{a} after {b}" for a, b in order
             if (x := story.item(a)) and (y := story.item(b)) and x.told.text[:10] > y.told.text[:10]]
    return ", ".join([*gone, *(w.replace("_", " ") for w in wrong)])


def _filing_window(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    window, days = _window_days(story, k), filing_lag(story)
    if window is None or days is None or days <= window:
        return ""
    return f"filed {days} days after the repair, {window} are allowed"


def _window_days(story: Story, k: Knowledge) -> int | None:
    """Return the days for filing: as entered with the call, else as the shop's own terms say."""
    given = story.item("filing_window")
    if given is not None and given.told.number is not None:
        return round(given.told.number)
    return k.write_up.filing_window_days


def _window_known(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return rule.needs if _window_days(story, k) is None else ""


def filing_lag(story: Story) -> int | None:
    """Return days from the repair to the filing, None while one of the two is not known."""
    repaired, filed = story.item("repaired"), story.item("filed")
    if repaired is None or filed is None:
        return None
    try:
        return (date.fromisoformat(filed.told.text[:10]) - date.fromisoformat(repaired.told.text[:10])).days
    except ValueError:  # from elsewhere: here only dates are taken
        return None


def _in_cover(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    documented, ends = story.item("documented"), story.item("cover_ends")
    if documented is None or ends is None:
        return ", ".join(_no_items(story, "documented", "cover_ends"))
    late = documented.told.text[:10] > ends.told.text[:10]
    return f"documented {documented.told.text[:10]}, cover ended {ends.told.text[:10]}" if late else ""


def words_of(text: str) -> list[str]:
    """Return the words of a text in small letters."""
    return [w.strip(".'-/") for w in _WORD.findall(text.casefold()) if w.strip(".'-/")]


def stock_phrases(text: str, phrases: Sequence[str]) -> list[str]:
    """Return the stock phrases that a text holds as whole words."""
    told = f" {' '.join(words_of(text))} "
    return [p for p in phrases if f" {' '.join(words_of(p))} " in told]


def _complaint(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    words = words_of(story.complaint.words)
    if len(words) < (rule.least or 1):
        return f"{len(words)} words of the customer" if words else "the customer's words"
    said = stock_phrases(story.complaint.words, rule.words)
    return f"a diagnosis, not a symptom: {', '.join(said)}" if said else ""


def _before(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.readings("before") else rule.needs


def _after(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.readings("after") else rule.needs


def _pair(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    comparable = story.readings("before") and story.readings("after")
    return rule.needs if comparable and not story.pairs else ""


_CONDITIONS = ("speed", "population", "manifold_vacuum", "seed_lot")


def _conditions(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    known = {c.name: c for c in story.conditions}
    gone = []
    for name in _CONDITIONS:
        condition = known.get(name)
        label = condition.label if condition else name.replace("_", " ")
        gone += [f"{label} before"] if condition is None or condition.before is None else []
        after = condition is not None and condition.after is not None
        gone += [f"{label} after"] if _repairs(story) and not after else []
    return ", ".join(gone)


def _same_conditions(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    differ = [c for c in story.conditions if c.name in _CONDITIONS and c.before and c.after and not c.same
              and not c.mended]
    return ", ".join(f"{c.label}: {c.before.text} before, {c.after.text} after" for c in differ if c.before and c.after)


def _deciding(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    blamed = [c for c in story.causes if c.repaired] or list(story.causes)
    return "" if any(c.deciding for c in blamed) else rule.needs


def _parts_tested(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    made = {t.event for t in story.tests}
    untested = [p.item for r in story.repairs for p in r.parts if not made & set(p.tests)]
    return ", ".join(untested)


def _failure_words(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    if not story.causes:
        return "what failed"
    cause = story.causes[0]
    named = {"what failed": cause.label, "in what manner": cause.mode, "by what process, as found": cause.seen,
             "kind of root": "" if cause.root.proposed else cause.root.category}
    return ", ".join(name for name, text in named.items() if not text)


def _cause_text(story: Story) -> str:
    """Return what people wrote about the cause."""
    return " ".join(t for c in story.causes for t in (c.seen, c.root.text) if t)


def _cause_is_no_echo(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    words = [w for w in words_of(_cause_text(story)) if w not in _SMALL]
    if not words:
        return ""
    said = set(words_of(story.complaint.words))
    share = sum(w in said for w in words) / len(words)
    return f"{share:.0%} of its words are the complaint's".replace("%", " %") if share >= (rule.share or 1) else ""


def _siblings(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    claimed = [c for c in story.causes if (e := k.categories.get(c.root.category)) and e.needs_siblings]
    return rule.needs if claimed and story.item("siblings") is None else ""


def _certainty(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    if not story.causes or story.causes[0].word in ("", "not_tested"):
        return "no word says how sure the cause is"
    cause = story.causes[0]
    accepted = cause.repaired and any(p.verdict == p.says == "accepted" for p in story.proofs)
    carried = any(t.reverses for t in story.tests) or (cause.deciding is not None and accepted)
    return "called confirmed without a reversed test" if cause.word == "confirmed" and not carried else ""


def _cause_fits(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    named = {s for s, _ in story.complaint.symptoms}
    if not story.causes or not named or named & set(story.causes[0].brings):
        return ""
    return f"{story.causes[0].label} does not bring {', '.join(label for _, label in story.complaint.symptoms)}"


def _no_stock_phrases(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    text = " ".join([_cause_text(story), *(r.words for r in story.repairs)])
    return ", ".join(stock_phrases(text, rule.words))


def _whys(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    known = {t.event for t in story.tests} | {e for i in story.items for e in i.told.events}
    groundless = [w for w in story.whys if not w.events or not set(w.events) <= known]
    if len(story.whys) < (rule.least or 0):
        return f"{len(story.whys)} of {rule.least:.0f} whys"
    return f"no evidence for: {groundless[0].why}" if groundless else ""


def _root(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """The chain of whys reaches the root."""
    if any(c.root.text for c in story.causes):
        return ""
    return f"the last answer is: {story.whys[-1].because.partition(' (')[0]}" if story.whys else rule.needs


def _part_kept(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    fitted = story.claim or any(r.parts for r in story.repairs)
    return rule.needs if fitted and story.item("part_kept") is None else ""


def _photo(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.photos else rule.needs


def _hours(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    wanted = {"diagnosis"} | ({"repair", "verification"} if _repairs(story) else set())
    wanted |= {"travel"} if story.record.channel == "site" else set()
    split = {n.activity for n in totals(story.labour) if n.basis != "estimate"}
    return ", ".join(sorted(w.replace("verification", "measuring again") for w in wanted - split))


def _safe_state(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.item("safe_state") or story.cautions else rule.needs


def _addressed(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    known = set(story.addressed) | {c.kind for c in story.causes}
    return ", ".join(k.kinds[n].label for n in rule.kinds if n not in known)


def _cause_named(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.causes else rule.needs


def _done(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.repairs or story.done_before else rule.needs


def _closing_words(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.closing.words or story.notes or story.internal else rule.needs


def _measured(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "" if story.measured else rule.needs


def _repairs(story: Story) -> tuple[Correction, ...]:
    return tuple(r for r in story.repairs if r.kind == "repair")


def _verdict(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """The last repair of each place is accepted by a person and by the readings."""
    last = {r.where: r for r in _repairs(story)}
    told = {where: _verdict_of(story, repair) for where, repair in last.items()}
    lacking = [f"{where}: {why}" if where and len(last) > 1 else why for where, why in told.items() if why]
    return "; ".join(lacking)


def _verdict_of(story: Story, repair: Correction) -> str:
    proof = next((p for p in story.proofs if p.repair == repair.event), None)
    if proof is None:
        return "the repair was not measured again"
    if proof.against:
        return f"accepted against the reading: {proof.why.rstrip('.')}"
    if proof.says != "accepted":
        return f"the readings say {proof.says.replace('_', ' ')}: {proof.why.rstrip('.')}"
    if story.record.channel == "site" and not proof.firm:
        return "only a caller has measured it again"
    if proof.verdict != "accepted":
        return f"judged {proof.verdict.replace('_', ' ')}" if proof.verdict else "nobody has judged the repair"
    return ""


def _closing_fits(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """The closing word is what the record holds."""
    return f'closed as "{story.closing.label}", but {story.closing.against}' if story.closing.against else ""


def _open_rows(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """No row in trouble is left that was neither mended nor measured right since."""
    return rows_words(story.open_rows) if story.open_rows else ""


def _control(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return rule.needs if any(p.needs_control and not p.control for p in story.proofs[-1:]) else ""


def _claim_size(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    few = [(c, p.claim_seeds) for p in story.proofs[-1:] for c in p.counts if c.after.n < p.claim_seeds]
    return "; ".join(f"{c.where or 'counted'}: {c.after.n} of {wanted} seeds" for c, wanted in few)


def _put_back(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return "; ".join(line.text for line in story.not_put_back)


def _parted(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """Causes mended together are told apart by a test."""
    reasons = {c.root.text for c in story.causes if c.repaired}
    unparted = [c for c in story.causes if c.repaired and c.word == "possible" and c.label not in reasons]
    return "; ".join(c.label for c in unparted if _mended_there(story, c) - reasons - {c.label})


def _mended_there(story: Story, cause: CauseTold) -> set[str]:
    """Return the causes mended in the rows of one, by their labels."""
    there = [r for r in _repairs(story) if not r.rows or not cause.rows or set(r.rows) & set(cause.rows)]
    return {label for r in there for label in r.causes}


def _done_in_words(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    return rule.needs if any(not r.words for r in story.repairs) else ""


def _watch(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    told = story.item("watch") is not None or any(r.watch for r in story.repairs)
    return "" if told else rule.needs


def _hours_add_up(story: Story, rule: CompletenessRule, k: Knowledge) -> str:
    """Typed hours of work are not longer than the record is: from its first entry to the last before the close."""
    typed = sum(n.minutes for n in totals(story.labour) if n.basis == "typed" and n.activity in WORK)
    span = story.record.minutes
    if span is None or typed <= span + SPARE_MINUTES:
        return ""
    return f"{typed / 60:.1f} h of work entered, {span / 60:.1f} h from the first entry to the last"


FIELDS: Mapping[str, Field] = {
    "machine": _machine, "details": _details, "any_detail": _any_detail, "dates": _dates,
    "filing_window": _filing_window, "in_cover": _in_cover, "complaint": _complaint, "before": _before,
    "after": _after, "pair": _pair, "conditions": _conditions, "same_conditions": _same_conditions,
    "deciding": _deciding, "parts_tested": _parts_tested, "failure_words": _failure_words,
    "no_echo": _cause_is_no_echo, "siblings": _siblings, "certainty": _certainty, "cause_fits": _cause_fits,
    "stock_phrases": _no_stock_phrases, "whys": _whys, "part_kept": _part_kept, "photo": _photo, "hours": _hours,
    "safe_state": _safe_state, "addressed": _addressed, "cause_named": _cause_named, "done": _done,
    "closing_words": _closing_words, "measured": _measured, "verdict": _verdict, "control": _control,
    "claim_size": _claim_size, "put_back": _put_back, "parted": _parted, "done_in_words": _done_in_words,
    "hours_add_up": _hours_add_up, "watch": _watch, "window_known": _window_known,
    "root": _root, "open_rows": _open_rows,
    "closing_fits": _closing_fits,
}
"""Tests by the name the rules use."""
