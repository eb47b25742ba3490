"""Facts in a caller's words: rows, figures, what ground and screen show, and what else the lexicon offers as a tick.

A number is what the model and the rules take it for; what is surest is ticked, which an untouched intake takes over;
what is unsure is offered only. Every fact quotes the caller.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import exp

from diag.hear.ear import Ear, Heard, quote
from diag.hear.fact import Candidate, FactFound, offers_of
from diag.hear.facts_figures import OFFERED, RULE_OFFERED, TICKED, UNSURE, Chances, figures_in
from diag.hear.features import of_leads
from diag.hear.model import Model, leading
from diag.hear.numbers import MACHINE_ROWS, ROW, Leads
from diag.hear.said import Said
from diag.hear.said_rows import MOST_ROWS, Rows, Span
from diag.knowledge.words import Lexicon

Counted = Mapping[str, Mapping[int, float]]

DANGER = "danger"
"""Kind of what is heard first and stops everything: always ticked."""
PART, BELIEVED = "part", "believed"
"""Kinds of what is wrong with a part: seen, it is offered as the answer of its check; only thought, as words."""
_SLOT_TICKED = 0.9
"""Chance from which a slot of the whole text is ticked: nine in ten right on strangers."""
_ROW_TICKED = 0.7
"""The same for rows that a rule finds as well."""
_SIZE_TICKED = 0.6
"""The same for the rows of the planter that a rule finds as well."""
_BARE_ROW = 0.4
"""The same for a number that may be a row and is not called one."""
_ALL_OFFERED = 0.35
"""The same for all rows, where a phrase says so as well."""
_ONSET = {"since", "changes"}
"""Fields of the situation that tell what came before the trouble."""

def facts_in(
    ear: Ear, counted: Counted, model: Model | None, odds: Mapping[str, float], *, none: bool
) -> tuple[FactFound, ...]:
    """Return what is told, each fact once; one that offers no more than another of its kind is left out.

    `odds`: log odds of the symptoms; `none`: the text is surely no complaint of ours.
    """
    if (none and not ear.names_planter) or len(ear.said.words) == 1:
        return tuple(f for f in _concepts(ear, {}, numbered=False) if f.kind == DANGER)
    leads = leading(odds)
    told = _told_for(ear, model, leads)
    about = {**counted, "about": of_leads(leads)}
    slots = {name: _chance(vote) for name, vote in model.slots.vote(about).items()} if model else {}
    found = [*_rows(ear, told), *_machine_rows(ear, told), *figures_in(ear, told)]
    numbered = any(f.kind == "rows" and f.ticked for f in found)
    found += _concepts(ear, slots, numbered=numbered)
    found += _slots(ear, slots)
    unlike = sorted(dict.fromkeys(found), key=lambda f: (f.kind, not f.ticked, -len(f.offers), f.value, f.said))
    kept: list[FactFound] = []
    for fact in unlike:
        same = [k for k in kept if k.kind == fact.kind]
        if not any(set(fact.offers) <= set(k.offers) and (fact.offers or fact.value == k.value) for k in same):
            kept.append(fact)
    return tuple(sorted(kept, key=lambda f: (f.kind, f.value, f.said)))


def _told_for(ear: Ear, model: Model | None, leads: Leads) -> dict[int, Chances]:
    """Return by place the chances of what each number is told for; empty where nothing was learnt."""
    if model is None:
        return {}
    found: dict[int, Chances] = {}
    for at, near in ear.numbers(leads).items():
        odds = model.numbers.vote({"near": near})
        most = max(odds.values())
        weights = {kind: exp(o - most) for kind, o in odds.items()}
        total = sum(weights.values())
        found[at] = {kind: w / total for kind, w in weights.items()}
    return found


def _chance(odds: float) -> float:
    return 1 / (1 + exp(-max(-50.0, min(50.0, odds))))


# ------------------------------------------------------------------------------------------------ rows


def _rows(ear: Ear, told: Mapping[int, Chances]) -> list[FactFound]:
    """Return rows named by number: all that are sure as one fact, the rest each for itself."""
    said = ear.said
    found: list[tuple[Rows, bool]] = []
    for row in ear.rows:
        if not row.right:
            found += _judged(said, row, told, (RULE_OFFERED, _ROW_TICKED))
    by_contrast = any(row.right for row in ear.rows)  # "rows 1 to 4 are fine, 5 doubles"
    for row in ear.bare_rows:
        if told and not row.right:
            found += _judged(said, row, told, (RULE_OFFERED, _ROW_TICKED) if by_contrast else (_BARE_ROW, TICKED))
    return _joined(said, found)


def _judged(said: Said, row: Rows, told: Mapping[int, Chances], least: tuple[float, float]) -> list[tuple[Rows, bool]]:
    """Return the rows of a list that are likely meant: each speaks for itself and, by half, for the whole list."""
    each = [_row_chance(said, span, told) for span in row.spans]
    mean = sum(each) / len(each)
    alike = [(span, (chance + mean) / 2) for span, chance in zip(row.spans, each, strict=True)]
    if row.but:
        return [(row, mean >= least[1])] if mean >= least[0] else []
    sure = tuple(span for span, chance in alike if chance >= least[1])
    parts = [(sure, True)] + [((span,), False) for span, chance in alike if least[0] <= chance < least[1]]
    whole = sure == row.spans
    return [(row if whole else Rows(spans, spans[0].first, spans[-1].last), ticked) for spans, ticked in parts if spans]


def _row_chance(said: Said, span: Span, told: Mapping[int, Chances]) -> float:
    chances = [told[at][ROW] for at in range(span.first, span.last) if at in told]
    return sum(chances) / len(chances) if chances else UNSURE


def _joined(said: Said, found: Sequence[tuple[Rows, bool]]) -> list[FactFound]:
    single = [row for row, ticked in found if ticked and not row.but]
    facts = [_rows_fact(said, row, ticked) for row, ticked in found if not ticked or row not in single]
    if single:
        words = " ... ".join(dict.fromkeys(quote(said, r.first, r.last) for r in single))
        whole = Rows(tuple(s for r in single for s in r.spans), single[0].first, single[0].last)
        facts.append(replace(_rows_fact(said, whole, True), said=words))
    return facts


def _rows_fact(said: Said, row: Rows, ticked: bool) -> FactFound:
    pattern = said.lexicon.patterns.get(row.pattern)
    offers = (Candidate("situation", "rows", row.value), *(offers_of(pattern) if pattern else ()))
    return FactFound("rows", row.value, quote(said, row.first, row.last), offers, ticked=ticked)


def _machine_rows(ear: Ear, told: Mapping[int, Chances]) -> list[FactFound]:
    """Return how many rows the planter has."""
    said, found = ear.said, []
    for row in ear.machine_rows:
        chance = max((told[at][MACHINE_ROWS] for at in range(row.first, row.last) if at in told), default=UNSURE)
        if chance >= RULE_OFFERED:
            found.append((str(row.value), quote(said, row.first, row.last), chance >= _SIZE_TICKED))
    ruled = {at for row in ear.machine_rows for at in range(row.first, row.last)}
    for at, chances in told.items():
        number = said.words[at].value or 0.0
        if at not in ruled and chances[MACHINE_ROWS] >= OFFERED and number == int(number) and 1 < number <= MOST_ROWS:
            found.append((f"{number:.0f}", quote(said, at, at + 1), chances[MACHINE_ROWS] >= TICKED))
    return [
        FactFound("machine_rows", value, words, (Candidate("machine", "rows", value),), ticked=ticked)
        for value, words, ticked in found
    ]


# --------------------------------------------------------------------------------------- slots, concepts


def _slots(ear: Ear, slots: Chances) -> list[FactFound]:
    """Return what ground and screen show and whether plants are up, each once, with the sentence that tells it."""
    found: dict[str, FactFound] = {}
    for slot in sorted(ear.said.lexicon.slots, key=lambda s: -slots.get(s.name, 0.0)):
        chance = slots.get(slot.name, 0.0)
        name, _, value = slot.name.partition(" ")
        spoken = _sentence_with(ear.said, slot.words) if chance >= OFFERED and name not in found else ""
        if spoken:
            offers = offers_of(slot) or (Candidate("told", name, slot.meaning),)
            found[name] = FactFound(name, value, spoken, offers, ticked=chance >= _SLOT_TICKED)
    return list(found.values())


def _sentence_with(said: Said, words: Iterable[str]) -> str:
    """Return the first sentence that has one of the words, shortened; "" where none has."""
    wanted = set(words)
    number = next((w.sentence for w in said.words if w.text in wanted), None)
    if number is None:
        return ""
    inside = [at for at, w in enumerate(said.words) if w.sentence == number]
    return quote(said, inside[0], inside[-1] + 1)


def _concepts(ear: Ear, slots: Chances, *, numbered: bool) -> list[FactFound]:
    """Return the facts of things heard; rows in words only where no numbers tell them."""
    spoken: dict[str, Heard] = {}
    for one in ear.heard:
        best = spoken.get(one.concept.name)
        heeded = one.status == "said" or (one.status == "believed" and one.concept.about == PART)
        if one.concept.about and heeded and (best is None or len(one.quote) > len(best.quote)):
            spoken[one.concept.name] = one
    found = []
    values = _values_by_axis(ear.heard)
    for one in spoken.values():
        names_rows = bool(one.concept.rows or one.concept.pattern)
        chance = slots.get(f"rows {one.concept.rows}", UNSURE) if names_rows else 1.0
        before_it_began = one.onset and bool(one.concept.situation.keys() & _ONSET)
        tried = one.concept.done_before and one.onset  # what came before the trouble was no remedy
        if tried or (names_rows and (numbered or chance < _ALL_OFFERED)):
            continue
        fact = _concept_fact(one, ear.said.lexicon)
        ticked = fact.kind == DANGER or before_it_began or (bool(one.concept.rows) and chance >= TICKED)
        ticked = ticked or (one.concept.outright and all(len(values[axis]) == 1 for axis in one.concept.axes))
        found.append(replace(fact, ticked=ticked))
    return found


def _values_by_axis(heard: Iterable[Heard]) -> dict[str, set[str]]:
    """Return what is named of each way in which machines differ, denied and believed values too: corn and beans."""
    found: dict[str, set[str]] = defaultdict(set)
    for one in heard:
        for axis, value in one.concept.axes.items():
            found[axis].add(value)
    return found


def _concept_fact(heard: Heard, lexicon: Lexicon) -> FactFound:
    concept = heard.concept
    if heard.status == "believed":
        thought = f"thought, not seen: {concept.meaning}"
        return FactFound(BELIEVED, concept.meaning, heard.quote, (Candidate("told", BELIEVED, thought),))
    offers = list(offers_of(concept, heard.quote if concept.keeps_words else ""))
    if concept.rows:
        offers.append(Candidate("situation", "rows", concept.rows))
    if concept.pattern:
        offers += offers_of(lexicon.patterns[concept.pattern])
    value = heard.quote if concept.keeps_words else concept.rows or concept.meaning
    return FactFound(concept.about or "", value, heard.quote, tuple(offers))
