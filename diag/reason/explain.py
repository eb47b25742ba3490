"""Why this check, how this belief, why not that cause: words first, numbers on demand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from diag.reason.case import Case
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.reason.next_check import Offer
from diag.text import count


@dataclass(frozen=True)
class Weight:
    """What one look, the symptoms or a rule says about a cause against an unknown cause."""

    source: str
    """Look or check id, "symptoms", "frequency", or rule id."""
    kind: str
    """frequency | symptoms | look | rule"""
    checks: tuple[str, ...]
    outcomes: tuple[str, ...]
    events: tuple[str, ...]
    log10: float
    """log10 likelihood ratio of the cause against "none of the known causes"."""
    words: str


SCALE = ((20.0, "confirms"), (5.0, "speaks strongly for"), (1.5, "speaks for"))


def weight_words(log10: float) -> str:
    """Return a likelihood ratio in words."""
    ratio = 10.0 ** abs(log10)
    if ratio < 1.25:
        return "says little"
    against = log10 < 0
    for limit, words in SCALE:
        if ratio >= limit * 0.95:
            if not against:
                return words
            return {"confirms": "all but rules out", "speaks strongly for": "speaks strongly against"}.get(
                words, "speaks against"
            )
    return "leans against" if against else "leans towards"


def how(engine: Engine, case: Case, judgement: Judgement, cause: str) -> tuple[Weight, ...]:
    """Return what the belief in a cause rests on, in order: frequency, symptoms, answers, rules."""
    position = engine.tables.position[cause]
    weights = []
    if judgement.pi[position] > 0:
        ratio = math.log10(float(judgement.pi[position]) / engine.knowledge.settings.unknown)
        weights.append(Weight("frequency", "frequency", checks=(), outcomes=(), events=(), log10=round(ratio, 2),
                              words="how often it is the cause"))
    symptoms = judgement.symptoms
    if symptoms is not None and case.symptoms:
        log10 = (float(symptoms.one[position]) - symptoms.unknown) / math.log(10)
        weights.append(Weight("symptoms", "symptoms", case.symptoms, outcomes=(), events=(), log10=round(log10, 2),
                              words=weight_words(log10)))
    for epoch, evidence in enumerate(judgement.epochs):
        for look in sorted(evidence.looks, key=lambda n: _first_event(engine, case, n, epoch)):
            worlds = evidence.looks[look]
            members = [i for i in case.instances if i.given and i.epoch == epoch and engine.evidence.look_of(i) == look]
            log10 = (float(worlds.one[position]) - worlds.unknown) / math.log(10)
            checks, outcomes = tuple(i.check for i in members), tuple(i.outcome or "" for i in members)
            events = tuple(e for i in members for e in i.events)
            weights.append(Weight(look, "look", checks, outcomes, events=events, log10=round(log10, 2),
                                  words=weight_words(log10)))
    t = judgement.top_ups.get(position, 0.0)
    for rule in judgement.top_up_rules.get(position, ()):
        log10 = t / math.log(10)
        weights.append(Weight(rule, "rule", checks=(), outcomes=(), events=(), log10=round(log10, 2),
                              words=weight_words(log10)))
    return tuple(weights)


def _first_event(engine: Engine, case: Case, look: str, epoch: int) -> int:
    for position, instance in enumerate(case.instances):
        if instance.epoch == epoch and engine.evidence.look_of(instance) == look:
            return position
    return len(case.instances)


def why_check(engine: Engine, offer: Offer) -> str:
    """Return one sentence: why this check is offered."""
    check = engine.knowledge.questions[offer.check]
    parts = []
    if offer.separates:
        a, c = (engine.knowledge.causes[x].label for x in offer.separates)
        parts.append(f"It tells apart: {a} / {c}.")
    if offer.first:
        parts.append("A rule or an earlier answer asks for it first.")
    if offer.saves_minutes >= 1:
        parts.append(f"Saves about {count(round(offer.saves_minutes), 'minute')} against repairing on suspicion.")
    if check.why:
        parts.insert(0, check.why)
    return " ".join(parts) or "It is the cheapest open check."


def why_not(engine: Engine, case: Case, judgement: Judgement, cause: str) -> str:
    """Return in words why a cause is not at the top."""
    label = engine.knowledge.causes[cause].label
    ranked = judgement.of(cause)
    if ranked is None:
        return f"{label}: this machine cannot have it."
    against = sorted((w for w in how(engine, case, judgement, cause) if w.log10 < -0.1), key=lambda w: w.log10)
    words = ranked.belief.replace("_", " ")
    if not against:
        return f"{label} is {words}: nothing speaks against it, other causes explain more of the answers."
    named = []
    for weight in against[:3]:
        if weight.kind == "look":
            check = engine.knowledge.questions[weight.checks[0]]
            named.append(f"{check.asks} ({check.outcomes[weight.outcomes[0]].says}) {weight.words}")
        elif weight.kind == "frequency":
            named.append("it is rare")
        elif weight.kind == "symptoms":
            named.append("it is not complained of like this")
        else:
            named.append(engine.knowledge.rules[weight.source].because)
    return f"{label} is {words}: " + "; ".join(named) + "."
