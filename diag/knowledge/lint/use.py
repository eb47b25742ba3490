"""Names nobody uses, and causes that cannot be complained of, confirmed, excluded or proved mended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diag.knowledge import model
from diag.knowledge.base import Fault, Knowledge
from diag.knowledge.condition import When
from diag.knowledge.hazards import hazards_of_check
from diag.knowledge.lint.meets import can_meet
from diag.knowledge.lint.shows import OutcomeTable

CONFIRMS, EXCLUDES = 8.0, 0.25
"""Ratios to a sound machine from which on an answer can confirm or exclude a cause."""


def flaws(knowledge: Knowledge, all_tables: Mapping[str, OutcomeTable]) -> Iterator[Fault]:
    """Yield what is never used and what can never be reached."""
    yield from _unused(knowledge)
    yield from _findings(knowledge)
    for key, cause in knowledge.causes.items():
        yield from _reach(key, cause, all_tables)
        yield from _proof(knowledge, key, cause)
    yield from _circles(knowledge)


def _unused(k: Knowledge) -> Iterator[Fault]:
    used = _names_in_use(k)
    for kind, names in used.items():
        for name in getattr(k, kind):
            if name not in names:
                yield (kind, name), "Used nowhere.", "Use it, or remove it."


def _names_in_use(k: Knowledge) -> Mapping[str, set[str]]:
    checks, causes = k.checks.values(), k.causes.values()
    leaves = [leaf for rule in k.rules.values() for leaf in rule.when.leaves()]
    hazards = {h for c in checks for h in hazards_of_check(k, c)} | {h for c in causes for h in c.repair.hazards}
    flags = {leaf.flag for leaf in leaves if leaf.flag}
    by_rule = {c for rule in k.rules.values() for c in rule.then.cautions}
    return {
        "looks": {c.look for c in checks if c.look},
        "preparations": {p for c in checks for p in c.prep},
        "parts": {p for c in causes for p in c.repair.parts},
        "tools": {t for c in checks for t in c.tools} | {t for c in causes for t in c.repair.tools},
        "kinds": {c.kind for c in causes},
        "seasons": {c.season for c in causes},
        "subsystems": {c.subsystem for c in causes},
        "symptoms": {s for c in causes for s in c.symptoms},
        "verifications": {c.repair.verify for c in causes if c.repair.verify},
        "limits": _limits_in_use(k, leaves),
        "book": {limit.book for limit in k.limits.values() if limit.book} | _context_names(k),
        "hazards": hazards | {h for c in k.cautions.values() for h in c.hazards},
        "flags": flags | {f for c in k.cautions.values() for f in c.flags},
        "cautions": by_rule | {n for n, c in k.cautions.items() if c.hazards or c.flags or c.channel},
    }


def _limits_in_use(k: Knowledge, leaves: Iterable[When]) -> set[str]:
    tests = (t for c in k.checks.values() for o in c.outcomes.values() if o.when for t in o.when.leaves())
    used = {bound for test in (*tests, *leaves) for bound in test.bounds if isinstance(bound, str)}
    return used | {name for name, limit in k.limits.items() if limit.context}


def _context_names(k: Knowledge) -> set[str]:
    """Book values that analyses receive under their own name, or for the quantity a check reads."""
    from diag.analyses.catalogue import CATALOGUE, CONTEXT

    names = set(CONTEXT)
    quantities = {c.takes.quantity for c in k.checks.values()}
    takes_book = {a.name for a in CATALOGUE.values() if "book" in (*a.needs, *a.uses)}
    if takes_book & {name for c in k.checks.values() for name in c.compute}:
        names |= {b.name for b in k.book.values() if b.quantity in quantities}
    return names


def _findings(k: Knowledge) -> Iterator[Fault]:
    found = {rule.then.finds for rule in k.rules.values() if rule.then.finds}
    read = {leaf.finding for rule in k.rules.values() for leaf in rule.when.leaves() if leaf.finding}
    for name in k.findings:
        if name not in found:
            what = "No rule concludes it" + (", yet rules wait for it." if name in read else ".")
            yield ("findings", name), what, "Write the rule, or remove it."


def _reach(key: str, cause: model.Cause, all_tables: Mapping[str, OutcomeTable]) -> Iterator[Fault]:
    """What attributes tell can exclude a cause but never confirms it: many share them."""
    own = [t for name, t in all_tables.items() if name.partition(".")[0] in cause.shows and key in t.rows]
    if not any(max(t.ratios(key).values()) >= CONFIRMS for t in own):
        yield ("causes", key), "No check can confirm it.", "Let it show in a look or test that decides it."
    if not any(min(t.ratios(key).values()) <= EXCLUDES for t in all_tables.values() if key in t.rows):
        yield ("causes", key), "No check can exclude it.", "Let it show almost always in a check."


def _proof(k: Knowledge, key: str, cause: model.Cause) -> Iterator[Fault]:
    if cause.no_fault:
        return
    at = ("causes", key, "repair")
    if cause.repair.verify is None:
        yield at, "Its repair has no proof.", "Name a verification in `verify`."
        return
    verification = k.verifications.get(cause.repair.verify)
    proofs = [k.checks[c] for c in verification.passes if c in k.checks] if verification else []
    if proofs and not any(can_meet(cause.applies, proof.applies) for proof in proofs):
        what = f"No check of {cause.repair.verify} fits the machines that have this cause."
        yield at, what, "Name another verification."


def _circles(k: Knowledge) -> Iterator[Fault]:
    for key, cause in k.causes.items():
        seen, todo = set[str](), [b.cause for b in cause.leads_to]
        while todo:
            name = todo.pop()
            if name not in seen and name in k.causes:
                seen.add(name)
                todo += [b.cause for b in k.causes[name].leads_to]
        if key in seen:
            yield ("causes", key, "leads_to"), "Brings itself about through leads_to.", "Cut the circle."
