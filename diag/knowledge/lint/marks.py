"""Marks: do they say something, do they reach machines that can have the cause, do they survive the table?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from diag.knowledge import model, vocabulary
from diag.knowledge.base import Knowledge
from diag.knowledge.lint.flaws import Flaw
from diag.knowledge.lint.meets import can_meet
from diag.knowledge.shares import Row, base_shares, filled, ratio_row

ALIKE = 0.9
"""Likeness of two causes' complaints (cosine of their symptom chances) from which on they are look-alikes."""
APART = math.log(4)
"""Least log ratio between two causes that separates them."""
KEPT = 0.95
"""A mark above 1 must keep at least this effective ratio, or it speaks the other way."""


@dataclass(frozen=True)
class Table:
    """One check as asked: where it stands, its base shares and the written ratios of the causes it marks."""

    check: model.Check
    owner: str
    path: tuple[str | int, ...]
    base: Row
    ratios: Mapping[str, Row]

    def shares(self, cause: str, settings: vocabulary.Settings) -> Row:
        """Return the table row of a cause."""
        ratios = self.ratios.get(cause)
        if ratios is None:
            return self.base
        return filled(self.base, ratios, settings.floor, settings.positive_room)


def members(k: Knowledge) -> dict[str, list[str]]:
    """Return target -> causes it stands for: each cause itself, and all of a subsystem as @name."""
    found = {key: [key] for key in k.causes}
    for key, cause in k.causes.items():
        found.setdefault(f"@{cause.subsystem}", []).append(key)
    return found


def tables(k: Knowledge) -> dict[str, Table]:
    """Return question id -> table of every check as asked that has outcomes and known mark words."""
    found, causes_of = {}, members(k)
    for key, check in k.questions.items():
        words = {word for o in check.outcomes.values() for word in o.marks}
        if not check.outcomes or words - set(k.marks):
            continue
        owner, _, item = key.partition(".")
        named = {t for o in check.outcomes.values() for ts in o.marks.values() for t in ts}
        marked = dict.fromkeys(m for t in sorted(named) for m in causes_of.get(t, ()))
        rows = {c: ratio_row(check, c, k.causes[c].subsystem, k.marks) for c in marked}
        path: tuple[str | int, ...] = ("items", item) if item else ("outcomes",)
        found[key] = Table(check, owner, path, tuple(base_shares(check, k.settings).values()), rows)
    return found


def effective(k: Knowledge, table: Table) -> Iterator[tuple[str, str, float, float]]:
    """Yield (outcome, cause, written ratio, effective ratio) of every mark, groups told by member."""
    for cause, written in table.ratios.items():
        shares = table.shares(cause, k.settings)
        columns = zip(table.check.outcomes, table.base, written, shares, strict=True)
        for outcome, base, ratio, share in columns:
            if ratio != 1:
                yield outcome, cause, ratio, share / base


def ratio_lines(k: Knowledge) -> Iterator[str]:
    """Yield "question outcome cause: written, effective" of every mark."""
    for key, table in tables(k).items():
        for outcome, cause, written, kept in effective(k, table):
            yield f"{key} {outcome} {cause}: written {written:g}, in the table {kept:.3g}"


def flaws(knowledge: Knowledge) -> Iterator[Flaw]:
    """Yield what is wrong with the marks of checks."""
    all_tables = tables(knowledge)
    read_by_rules, causes_of = _answers_read(knowledge), members(knowledge)
    for key, table in all_tables.items():
        yield from _says_nothing(knowledge, key, table, read_by_rules)
        yield from _contradicts(knowledge, table)
        yield from _not_kept(knowledge, table)
        yield from _cannot_exist(knowledge, table, causes_of)
    yield from _look_alikes(knowledge, list(all_tables.values()))


def _answers_read(k: Knowledge) -> set[tuple[str, str]]:
    """Answers that rules or proofs wait for; "*" stands for any outcome."""
    read: set[tuple[str, str]] = set()
    for rule in k.rules.values():
        for leaf in rule.when.leaves():
            if leaf.answer:
                read |= {(leaf.answer, outcome) for outcome in leaf.is_}
                read |= {(f"{leaf.answer}.{outcome}", "yes") for outcome in leaf.is_}
            for check in (leaf.answered, leaf.reading):
                if check:
                    read.add((check, "*"))
    for proof in k.verifications.values():
        read |= {(check, outcome) for check, outcomes in proof.passes.items() for outcome in outcomes}
    return read


def _says_nothing(k: Knowledge, key: str, table: Table, read: set[tuple[str, str]]) -> Iterator[Flaw]:
    check = table.check
    asks_on = any(o.then_check for o in check.outcomes.values())
    by_rule = any(name in (key, table.owner) for name, _ in read)
    rows = {table.shares(c, k.settings) for c in table.ratios}
    if len(table.ratios) < len(k.causes):
        rows.add(table.base)
    if len(rows) < 2 and not asks_on and not by_rule and check.takes.kind != "text":
        yield Flaw("checks", table.owner, "Separates nothing.", "Let its outcomes mark causes.", table.path)
        return
    for name, outcome in check.outcomes.items():
        if outcome.marks or outcome.then_check or outcome.advise or {(key, name), (key, "*")} & read:
            continue
        path = table.path if "." in key else (*table.path, name)
        if outcome.normal and table.ratios and "." not in key:
            what = f"The normal outcome {name} speaks against nothing."
            yield Flaw("checks", table.owner, what, "Let it weaken what it clears.", path)
        elif not outcome.normal and not ("." in key and name == "no"):
            what = f"Outcome {name} marks nothing and asks for nothing."
            yield Flaw("checks", table.owner, what, "Give it marks or `then_check`.", path)


def _contradicts(k: Knowledge, table: Table) -> Iterator[Flaw]:
    for cause, written in table.ratios.items():
        if min(written) > 1:
            what = f"Every outcome speaks for {cause}."
            yield Flaw("checks", table.owner, what, "Leave one unmarked or against it.", table.path)
    for name, outcome in table.check.outcomes.items():
        word_of = {target: word for word, targets in outcome.marks.items() for target in targets}
        for target, word in word_of.items():
            group = word_of.get(f"@{k.causes[target].subsystem}") if target in k.causes else None
            if group == word:
                what = f"{target} is in its group, marked {word} as well."
                path = table.path if "." in table.check.id else (*table.path, name)
                yield Flaw("checks", table.owner, what, "Name the group or the cause.", path)


def _not_kept(k: Knowledge, table: Table) -> Iterator[Flaw]:
    floor = k.settings.floor
    base = dict(zip(table.check.outcomes, table.base, strict=True))
    told: set[tuple[str, float, float]] = set()
    for outcome, cause, written, kept in effective(k, table):
        lost = written < 1 and abs(kept * base[outcome] - max(written * base[outcome], floor)) > 1e-9
        if not lost and not (written > 1 and kept < KEPT):
            continue
        row = (outcome, written, round(kept, 6))
        if row not in told:
            told.add(row)
            what = f"Outcome {outcome} marks {cause} {written:g}, the table keeps {kept:.2g}."
            path = table.path if "." in table.check.id else (*table.path, outcome)
            yield Flaw("checks", table.owner, what, "A confirming outcome leaves others no room.", path)


def _cannot_exist(k: Knowledge, table: Table, causes_of: Mapping[str, list[str]]) -> Iterator[Flaw]:
    check = table.check
    for name, outcome in check.outcomes.items():
        path = table.path if "." in check.id else (*table.path, name)
        for targets in outcome.marks.values():
            for target in targets:
                causes = causes_of.get(target, ())
                if causes and not any(can_meet(k.causes[c].applies, check.applies) for c in causes):
                    what = f"Marks {target}, which no machine has that this check is for."
                    yield Flaw("checks", table.owner, what, "Correct `applies` of one of the two.", path)
        for other in outcome.then_check:
            if other in k.checks and not can_meet(check.applies, k.checks[other].applies):
                what = f"Asks for {other}, which is for other machines."
                yield Flaw("checks", table.owner, what, "Ask for a check that fits.", path)
    for stand_in in check.stand_ins:
        other_check = k.checks.get(stand_in.check or "")
        if other_check and not can_meet(check.applies, other_check.applies):
            what = f"Its stand-in {other_check.id} is for other machines."
            yield Flaw("checks", table.owner, what, "Name one that fits.", ("stand_ins",))


# --- look-alikes --------------------------------------------------------------------------------


def look_alikes(k: Knowledge) -> Iterator[tuple[str, str, float]]:
    """Yield pairs of causes that one machine can have and that are complained of alike, and how alike."""
    known = k.likelihoods
    chances = {
        key: {s: known[w].chance for s, w in c.symptoms.items() if w in known} for key, c in k.causes.items()
    }
    length = {key: math.sqrt(sum(v * v for v in row.values())) for key, row in chances.items()}
    keys = [key for key in k.causes if length[key]]
    for i, one in enumerate(keys):
        for other in keys[i + 1 :]:
            row, others = chances[one], chances[other]
            shared = sum(v * others[s] for s, v in row.items() if s in others)
            likeness = shared / (length[one] * length[other])
            if likeness < ALIKE:
                continue
            if can_meet(k.causes[one].applies, k.causes[other].applies):
                yield one, other, likeness


def _look_alikes(k: Knowledge, all_tables: list[Table]) -> Iterator[Flaw]:
    for one, other, _ in look_alikes(k):
        if not any(_separates(k, table, one, other) for table in all_tables):
            what = f"No check separates it from its look-alike {other}."
            yield Flaw("causes", one, what, "Let one answer speak for the one and against the other.")


def _separates(k: Knowledge, table: Table, one: str, other: str) -> bool:
    if table.ratios.get(one) == table.ratios.get(other):
        return False
    if not can_meet(k.causes[one].applies, k.causes[other].applies, table.check.applies):
        return False
    pairs = zip(table.shares(one, k.settings), table.shares(other, k.settings), strict=True)
    return any(abs(math.log(a / b)) >= APART for a, b in pairs)
