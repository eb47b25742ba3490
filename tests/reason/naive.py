"""The belief model written out naively: dictionaries, loops, no arrays; an oracle for the engine."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations

from diag.knowledge.base import Knowledge
from diag.knowledge.shares import base_shares, outcome_shares, told
from diag.reason.axes import fit
from diag.reason.case import Case, Instance

World = frozenset[str]
CLEAR, UNKNOWN = frozenset({"<clear>"}), frozenset({"<unknown>"})


def pi_of(k: Knowledge, case: Case) -> dict[str, float]:
    """Frequency times axis share, normalised."""
    raw = {c: e.per_mille * fit(e.applies, case.axes, k) for c, e in k.causes.items()}
    return {c: w / sum(raw.values()) for c, w in raw.items() if w > 0}


def prior_of(k: Knowledge, case: Case) -> dict[World, float]:
    """Clear 0, unknown, singles, pairs."""
    pi, s = pi_of(k, case), k.settings
    pairs = {}
    for a, c in combinations(sorted(pi), 2):
        alone = k.causes[a].no_fault or k.causes[c].no_fault
        never = c in k.causes[a].never_with or a in k.causes[c].never_with
        pairs[frozenset({a, c})] = 0.0 if alone or never else pi[a] * pi[c]
    scale = s.pair_share / (1 - s.pair_share) / sum(pairs.values()) if sum(pairs.values()) else 0.0
    weights: dict[World, float] = {CLEAR: 0.0, UNKNOWN: s.unknown}
    weights |= {frozenset({c}): w for c, w in pi.items()}
    weights |= {pair: scale * w for pair, w in pairs.items()}
    for c in pi:
        for brings in k.causes[c].leads_to:
            if brings.cause in pi:
                weights[frozenset({c, brings.cause})] += brings.chance * pi[c]
                weights[frozenset({c})] -= brings.chance * pi[c]
    return weights


def unknown_chance(k: Knowledge, check_id: str) -> dict[str, float]:
    """P(outcome | a cause that is not known): a sound machine, spoiled in part as those who speak here spoil it."""
    check, spoils = k.questions[check_id], k.settings.unknown_spoils
    base = base_shares(check, k.settings)
    speaking = [c for c in k.causes.values() if told(check, c) is not None]
    total = sum(c.per_mille for c in speaking)
    if not speaking:
        return base
    rows = [(c.per_mille / total, outcome_shares(check, c, k.likelihoods, k.settings)) for c in speaking]
    return {o: (1 - spoils) * base[o] + spoils * sum(w * row[o] for w, row in rows) for o in base}


def outcome_chance(k: Knowledge, check_id: str, world: World, shared: bool = False) -> dict[str, float]:
    """P(outcome | world) of a check."""
    check = k.questions[check_id]
    base = base_shares(check, k.settings)
    if world == CLEAR:
        return base
    if world == UNKNOWN:
        return unknown_chance(k, check_id)
    q = {c: outcome_shares(check, k.causes[c], k.likelihoods, k.settings) for c in world}
    if len(world) == 1:
        return q[next(iter(world))]
    if shared:
        return {o: sum(q[c][o] for c in world) / 2 for o in base}
    normal = next((o for o, e in check.outcomes.items() if e.normal), None)
    if normal is None:
        members = [c for c in world if told(check, k.causes[c]) is not None]
        return {o: sum(q[c][o] for c in members) / len(members) for o in base} if members else base
    a, c = (q[x] for x in sorted(world))
    p = a[normal] * c[normal] / max(a[normal], c[normal], base[normal])
    rest = sum(a[o] + c[o] for o in base if o != normal)
    return {o: p if o == normal else (1 - p) * (a[o] + c[o]) / rest for o in base}


def likelihood(k: Knowledge, instance: Instance, world: World, case: Case) -> float:
    """Sum over outcomes of P(outcome | world) l(outcome)."""
    part = instance.row_numbers is not None and case.trouble_rows is not None
    shared = part and set(instance.row_numbers or ()) < set(case.trouble_rows or ())
    chance = outcome_chance(k, instance.check, world, bool(shared))
    return sum(p * x for p, x in zip(chance.values(), instance.likelihood, strict=True))


def symptom_log(k: Knowledge, case: Case, world: World) -> float:
    """Log likelihood of named and denied symptoms."""
    pi, s, total = pi_of(k, case), k.settings, 0.0
    for name, named in [(x, True) for x in case.symptoms] + [(x, False) for x in case.denied]:
        link = {c: k.likelihoods[w].chance for c in pi if (w := k.causes[c].symptoms.get(name))}
        absent = 1 - s.symptom_leak
        if world == UNKNOWN:
            absent *= 1 - sum(pi[c] * x for c, x in link.items())
        elif world != CLEAR:
            for c in world:
                absent *= 1 - link.get(c, 0.0)
        e = s.denied_error
        total += math.log(1 - absent if named else (1 - e) * absent + e * (1 - absent))
    return total


def look_logs(
    k: Knowledge, members: Sequence[Instance], worlds: Sequence[World], case: Case
) -> dict[World, float]:
    """Logs of one look against a sound machine: the strongest answer for a world plus the strongest against it."""
    result = {}
    for world in worlds:
        logs = [math.log(likelihood(k, i, world, case) / likelihood(k, i, CLEAR, case)) for i in members]
        result[world] = logs[0] if len(logs) == 1 else max(0.0, *logs) + min(0.0, *logs)
    return result


def belief(k: Knowledge, case: Case, top_ups: Sequence[Mapping[str, float]] = ()) -> dict[World, float]:
    """Posterior over worlds now, epoch by epoch."""
    weights = prior_of(k, case)
    weights = {w: x * math.exp(symptom_log(k, case, w)) for w, x in weights.items()}
    for epoch in range(case.epoch + 1):
        worlds = list(weights)
        looks: dict[str, list[Instance]] = {}
        for i in case.instances:
            if i.given and i.epoch == epoch:
                looks.setdefault(k.questions[i.check].look or i.check, []).append(i)
        for members in looks.values():
            logs = look_logs(k, members, worlds, case)
            weights = {w: x * math.exp(logs[w]) for w, x in weights.items()}
        t = top_ups[epoch] if epoch < len(top_ups) else {}
        weights = {w: x * math.exp(max((t.get(c, 0.0) for c in w), default=0.0)) for w, x in weights.items()}
        if epoch < len(case.repairs):
            weights = repaired(weights, case.repairs[epoch].causes)
    total = sum(weights.values())
    return {w: x / total for w, x in weights.items()}


def repaired(weights: Mapping[World, float], works: Mapping[str, float]) -> dict[World, float]:
    """Every named fault goes with its chance, independently."""
    after: dict[World, float] = dict.fromkeys(weights, 0.0)
    for world, weight in weights.items():
        states = [(world, weight)]
        for cause, chance in works.items():
            if cause in world:
                states = [
                    x for w, p in states for x in ((w - {cause} or CLEAR, p * chance), (w, p * (1 - chance)))
                ]
        for w, p in states:
            after[w] += p
    return after
