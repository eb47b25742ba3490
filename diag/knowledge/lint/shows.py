"""What causes show: does it part them, does it reach machines that can have the cause, can every cause be found?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from diag.knowledge import model
from diag.knowledge.base import At, Fault, Knowledge
from diag.knowledge.lint.meets import can_meet
from diag.knowledge.shares import YES, Row, Told, base_shares, outcome_shares, told
from diag.text import count

ALIKE = 0.9
"""Likeness of two causes' complaints (cosine of their symptom chances) from which on they are look-alikes."""
APART = math.log(4)
"""Least log ratio between two causes that separates them."""
SPEAKS = 1.5
"""Least ratio to a sound machine, or its inverse, by which a table says something."""
COMMON = 0.06
"""An outcome that so many sound machines bring need not point to a cause: that it fails to come says enough."""
FEW, NEIGHBOURS, FAMILY = 6, 0.5, 4
"""A cause that fewer checks speak of hears of those that this share of its subsystem, if as large, shows in."""


@dataclass(frozen=True)
class OutcomeTable:
    """One check as asked: where it stands, base shares, and the rows of the causes it tells something of."""

    check: model.Check
    owner: str
    path: At
    base: Row
    rows: Mapping[str, Row]

    def shares(self, cause: str) -> Row:
        """Return the table row of a cause."""
        return self.rows.get(cause, self.base)

    def ratios(self, cause: str) -> dict[str, float]:
        """Return outcome -> chance under the cause against a sound machine."""
        columns = zip(self.check.outcomes, self.shares(cause), self.base, strict=True)
        return {outcome: share / base for outcome, share, base in columns}


def tables(k: Knowledge) -> dict[str, OutcomeTable]:
    """Return question id -> table of every check as asked that has outcomes, of causes that can meet it."""
    found = {}
    for key, check in k.questions.items():
        if not check.outcomes:
            continue
        owner, _, item = key.partition(".")
        rows = {
            c: tuple(outcome_shares(check, cause, k.likelihoods, k.settings).values())
            for c, cause in k.causes.items()
            if _can_be_read(k, told(check, cause)) and can_meet(cause.applies, check.applies)
        }
        path: At = ("items", item) if item else ("outcomes",)
        found[key] = OutcomeTable(check, owner, path, tuple(base_shares(check, k.settings).values()), rows=rows)
    return found


def _can_be_read(k: Knowledge, of: Told | None) -> bool:
    """Return whether something is told, in words that are known (the cross-check names the others)."""
    return bool(of) and all(word in k.likelihoods for word in (of or {}).values() if isinstance(word, str))


def table_lines(k: Knowledge) -> Iterator[str]:
    """Yield "question outcome cause: chance, sound machine, ratio" of all that is told."""
    for key, table in tables(k).items():
        for cause, row in table.rows.items():
            for outcome, share, base in zip(table.check.outcomes, row, table.base, strict=True):
                yield f"{key} {outcome} {cause}: {share:.3g}, sound {base:.3g}, ratio {share / base:.3g}"


def flaws(knowledge: Knowledge, all_tables: Mapping[str, OutcomeTable]) -> Iterator[Fault]:
    """Yield what is wrong with what causes show and checks tell."""
    read_by_rules = _answers_read(knowledge)
    for key, table in all_tables.items():
        yield from _says_nothing(knowledge, key, table, read_by_rules)
    for check in knowledge.checks.values():
        yield from _other_machines(knowledge, check)
    yield from _told_for_nothing(knowledge)
    yield from _told_by_few(knowledge, all_tables)
    yield from _look_alikes(knowledge, list(all_tables.values()))


# --- checks -------------------------------------------------------------------------------------


def _answers_read(k: Knowledge) -> set[tuple[str, str]]:
    """Answers that rules or proofs wait for; "*" stands for any outcome."""
    read: set[tuple[str, str]] = set()
    for rule in k.rules.values():
        for leaf in rule.when.leaves():
            if leaf.answer:
                read |= {(leaf.answer, outcome) for outcome in leaf.is_}
                read |= {(f"{leaf.answer}.{outcome}", YES) for outcome in leaf.is_}
            for check in (leaf.answered, leaf.reading):
                if check:
                    read.add((check, "*"))
    for proof in k.verifications.values():
        read |= {(check, outcome) for check, outcomes in proof.passes.items() for outcome in outcomes}
    return read


def _says_nothing(k: Knowledge, key: str, table: OutcomeTable, read: set[tuple[str, str]]) -> Iterator[Fault]:
    check = table.check
    asks_on = any(o.then_check for o in check.outcomes.values())
    by_rule = any(name in (key, table.owner) for name, _ in read)
    rows = {*table.rows.values()}
    if len(table.rows) < len(k.causes):
        rows.add(table.base)
    if len(rows) < 2 and not asks_on and not by_rule and check.takes.kind != "text":
        yield ("checks", table.owner, *table.path), "Separates nothing.", "Let causes show in it."
        return
    said = {o for c in table.rows for o, ratio in table.ratios(c).items() if ratio >= SPEAKS}
    said |= {o for o, base in zip(check.outcomes, table.base, strict=True) if base >= COMMON}
    for name, outcome in check.outcomes.items():
        if name in said or outcome.normal or outcome.then_check or outcome.advise or {(key, name), (key, "*")} & read:
            continue
        if not ("." in key and name == "no"):
            what = f"No cause shows itself by {name}, and it asks for nothing."
            at = ("checks", table.owner, *table.path, *(() if "." in key else (name,)))
            yield at, what, "Let a cause show it, or give it `then_check`."


def _other_machines(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    for name, outcome in (*check.outcomes.items(), *check.items.items()):
        at = ("checks", check.id, "items" if check.items else "outcomes", name)
        for other in outcome.then_check:
            if other in k.checks and not can_meet(check.applies, k.checks[other].applies):
                yield at, f"Asks for {other}, which is for other machines.", "Ask for a check that fits."
    for stand_in in check.stand_ins:
        other_check = k.checks.get(stand_in.check or "")
        if other_check and not can_meet(check.applies, other_check.applies):
            what = f"Its stand-in {other_check.id} is for other machines."
            yield ("checks", check.id, "stand_ins"), what, "Name one that fits."


# --- causes -------------------------------------------------------------------------------------


def _told_for_nothing(k: Knowledge) -> Iterator[Fault]:
    for key, cause in k.causes.items():
        for name, own in cause.shows.items():
            check = k.checks.get(name)
            if check is None:
                continue
            at = ("causes", key, "shows", name)
            if not can_meet(cause.applies, check.applies):
                what = f"Shows in {name}, which is for other machines."
                yield at, what, "Drop it, or correct `applies` of one of the two."
            line = next((t for t in check.tells if t.fits(cause)), None)
            if line is not None and line.shows == own:
                yield at, f"Tells of {name} what its attributes tell already.", "Drop it."


def _told_by_few(k: Knowledge, all_tables: Mapping[str, OutcomeTable]) -> Iterator[Fault]:
    """A new cause that few checks speak of is told which ones speak of its neighbours."""
    speaks = {c: {key for key, t in all_tables.items() if c in t.rows and not _mute(t, c)} for c in k.causes}
    for key, cause in k.causes.items():
        if len(speaks[key]) >= FEW:
            continue
        beside = [c for c, other in k.causes.items() if c != key and other.subsystem == cause.subsystem]
        if len(beside) < FAMILY:
            continue
        names = Counter(name for c in beside for name in speaks[c])
        wanted = [
            name for name, n in names.most_common()
            if n >= NEIGHBOURS * len(beside) and name not in speaks[key]
            and can_meet(cause.applies, all_tables[name].check.applies)
        ]
        if wanted:
            what = f"Spoken of by {count(len(speaks[key]), 'check')}; of its neighbours speak {', '.join(wanted[:12])}."
            yield ("causes", key, "shows"), what, "Say in `shows` what they bring, and give its attributes."


def _mute(table: OutcomeTable, cause: str) -> bool:
    return all(1 / SPEAKS < ratio < SPEAKS for ratio in table.ratios(cause).values())


# --- look-alikes --------------------------------------------------------------------------------


def look_alikes(k: Knowledge) -> Iterator[tuple[str, str, float]]:
    """Yield pairs of causes that one machine can have and that are complained of alike, and how alike."""
    known = k.likelihoods
    chances = {
        key: {s: known[w].chance for s, w in c.symptoms.items() if w in known} for key, c in k.causes.items()
    }
    length = {key: math.sqrt(sum(v * v for v in row.values())) for key, row in chances.items()}
    for one, other in combinations([key for key in k.causes if length[key]], 2):
        row, others = chances[one], chances[other]
        shared = sum(v * others[s] for s, v in row.items() if s in others)
        likeness = shared / (length[one] * length[other])
        if likeness >= ALIKE and can_meet(k.causes[one].applies, k.causes[other].applies):
            yield one, other, likeness


def _look_alikes(k: Knowledge, all_tables: list[OutcomeTable]) -> Iterator[Fault]:
    for one, other, _ in look_alikes(k):
        if not any(_separates(k, table, one, other) for table in all_tables):
            what = f"No check separates it from its look-alike {other}."
            yield ("causes", one, "shows"), what, "Let them show differently in one check."


def _separates(k: Knowledge, table: OutcomeTable, one: str, other: str) -> bool:
    if table.shares(one) == table.shares(other):
        return False
    if not can_meet(k.causes[one].applies, k.causes[other].applies, table.check.applies):
        return False
    pairs = zip(table.shares(one), table.shares(other), strict=True)
    return any(max(a, b) >= 0.1 and abs(math.log(a / b)) >= APART for a, b in pairs)
