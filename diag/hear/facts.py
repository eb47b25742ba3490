"""Facts in a caller's words: rows, figures, what ground and screen show, and what else the lexicon offers as a tick.

A number is what the model and the rules take it for; what is surest is ticked, which an untouched intake takes over;
what is unsure is offered only. Every fact quotes the caller.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp
from typing import Literal

from diag.hear.ear import Ear, Heard, quote
from diag.hear.model import Model, leading
from diag.hear.numbers import MACHINE_ROWS, NOTHING, OTHER_ROW, ROW
from diag.hear.said import Said
from diag.hear.said_figures import Figure, bare_figure, unit_said
from diag.hear.said_rows import MOST_ROWS, Rows, Span
from diag.knowledge.words import ANY_ROLE, PLAIN_ROLE, Lexicon, Offers, SpokenQuantity

Slot = Literal["answer", "measured", "axis", "situation", "machine", "reading", "told", "done_before"]
Counted = Mapping[str, Mapping[int, int]]
Chances = Mapping[str, float]

DANGER = "danger"
"""Kind of what is heard first and stops everything: always ticked."""
PART, BELIEVED = "part", "believed"
"""Kinds of what is wrong with a part: seen, it is offered as the answer of its check; only thought, as words."""
OFFERED, TICKED = 0.5, 0.85
"""Chances from which a figure, or a slot of the whole text, is offered and a figure ticked: 95 % right on strangers."""
_SLOT_TICKED = 0.9
"""The same for ticking a slot of the whole text."""
_RULE_OFFERED, _ROW_TICKED = 0.25, 0.7
"""The same for rows and figures that a rule finds as well."""
_BARE_ROW = 0.4
"""The same for a number that may be a row and is not called one."""
_ALL_OFFERED = 0.35
"""The same for all rows, where a phrase says so as well."""
_ONSET = {"since", "changes"}
"""Fields of the situation that tell what came before the trouble."""
_SEEDS = "rate"
_OF_SEEDS = ("count", "skips", "doubles")
"""Kinds of figures that all count seeds."""
_UNSURE = 0.5
"""Chance of what a rule finds where nothing was learnt."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing a fact may be accepted as: answer (check, outcome), axis or situation (field, value) and so on.

    `reading` and `told` (what it means) have no field of the call: they are kept in the caller's words.
    `measured` is the reading that a check asks for: "left 9 inH2O, right 16 inH2O".
    """

    slot: Slot
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact in the caller's words; `doubt` says why a value may not be as told."""

    kind: str
    value: str
    said: str
    offers: tuple[Candidate, ...]
    doubt: str = ""
    ticked: bool = False
    """So sure that an untouched intake takes it over."""


def facts_in(
    ear: Ear, counted: Counted, model: Model | None, trained: Mapping[str, float], *, none: bool
) -> tuple[FactFound, ...]:
    """Return what is told, each fact once; one that offers no more than another of its kind is left out.

    `trained`: the learnt vote on the symptoms; `none`: the text is surely no complaint of ours.
    """
    if (none and not ear.names_planter) or len(ear.said.words) == 1:
        return tuple(f for f in _concepts(ear, {}, numbered=False) if f.kind == DANGER)
    told = _told_for(ear, model, leading(trained))
    slots = {name: _chance(odds) for name, odds in model.slots.vote(counted).items()} if model else {}
    found = [*_rows(ear, told), *_machine_rows(ear, told), *_figures(ear, told)]
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


def _told_for(ear: Ear, model: Model | None, leads: Sequence[str]) -> dict[int, Chances]:
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
            found += _judged(said, row, told, (_RULE_OFFERED, _ROW_TICKED))
    by_contrast = any(row.right for row in ear.rows)  # "rows 1 to 4 are fine, 5 doubles"
    for row in ear.bare_rows:
        if told and not row.right:
            found += _judged(said, row, told, (_RULE_OFFERED, _ROW_TICKED) if by_contrast else (_BARE_ROW, TICKED))
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
    return sum(chances) / len(chances) if chances else _UNSURE


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
        chance = max((told[at][MACHINE_ROWS] for at in range(row.first, row.last) if at in told), default=_UNSURE)
        if chance >= _RULE_OFFERED:
            found.append((str(row.value), quote(said, row.first, row.last), chance >= _ROW_TICKED))
    ruled = {at for row in ear.machine_rows for at in range(row.first, row.last)}
    for at, chances in told.items():
        number = said.words[at].value or 0.0
        if at not in ruled and chances[MACHINE_ROWS] >= OFFERED and number == int(number) and 1 < number <= MOST_ROWS:
            found.append((f"{number:.0f}", quote(said, at, at + 1), chances[MACHINE_ROWS] >= TICKED))
    return [
        FactFound("machine_rows", value, words, (Candidate("machine", "rows", value),), ticked=ticked)
        for value, words, ticked in found
    ]


# --------------------------------------------------------------------------------------------- figures


def _figures(ear: Ear, told: Mapping[int, Chances]) -> list[FactFound]:
    """Return measured values: with the unit that was said, else with the one such a number has."""
    said, ruled = ear.said, {f.first: f for f in ear.values}
    quantities = {q.name: q for q in said.lexicon.quantities}
    found = []
    for at in sorted({*ruled, *told}):
        chances = told.get(at, {})
        kind, chance = _likeliest(chances, quantities)
        figure = ruled.get(at)
        if figure is not None and (not chances or _supported(figure, chances) or unit_said(said, figure)):
            found.append(_figure_fact(said, figure, ticked=chance >= TICKED and kind.startswith(figure.quantity.name)))
        elif chance >= OFFERED and kind not in (NOTHING, ROW, OTHER_ROW, MACHINE_ROWS):
            quantity = quantities.get(kind.partition("_")[0])
            role = kind.partition("_")[2] or PLAIN_ROLE
            figure = bare_figure(said, quantity, at, ear.values) if quantity else None
            if figure is not None:
                found.append(_figure_fact(said, replace(figure, role=role), ticked=chance >= TICKED))
            elif quantity is None:
                found.append(_plain_fact(said, at, kind, ticked=chance >= TICKED))
    return found + _measured(ear, {f.value for f in found if f.ticked})


def _measured(ear: Ear, sure: set[str]) -> list[FactFound]:
    """Return readings that are a check's answer: a figure in each of the roles that it asks for, and no other."""
    found = []
    for quantity in ear.said.lexicon.quantities:
        told = [f for f in ear.values if f.quantity is quantity]
        for check, places in quantity.measures.items():
            by_role = {f.role: f for f in told}
            if len(told) != len(places) or by_role.keys() != set(places.values()) or any(f.doubt for f in told):
                continue
            read = {place: by_role[role].value for place, role in places.items()}
            value = ", ".join(f"{place} {v.value} {v.unit}" for place, v in read.items())
            words = " ... ".join(quote(ear.said, f.first, f.last) for f in told)
            all_sure = {f"{v.value} {v.unit}" for v in read.values()} <= sure
            offers = (Candidate("measured", check, value),)
            found.append(FactFound(f"{quantity.name}_measured", value, words, offers, ticked=all_sure))
    return found


def _likeliest(chances: Chances, quantities: Mapping[str, SpokenQuantity]) -> tuple[str, float]:
    """Return what a number is likeliest told for, and the chance that it is of that quantity, whatever its role."""
    alike: dict[str, float] = defaultdict(float)
    for kind, chance in chances.items():
        alike[_quantity(kind, quantities)] += chance
    best = max(alike, key=lambda q: alike[q], default=NOTHING)
    kinds = [k for k in chances if _quantity(k, quantities) == best]
    return max(kinds, key=lambda k: chances[k], default=NOTHING), alike.get(best, 0.0)


def _quantity(kind: str, quantities: Mapping[str, SpokenQuantity]) -> str:
    name = kind.partition("_")[0]
    return name if name in quantities else _SEEDS if kind in _OF_SEEDS else kind


def _supported(figure: Figure, chances: Chances) -> bool:
    """Tell whether what was learnt does not speak against the rule."""
    alike = sum(p for kind, p in chances.items() if kind.startswith(figure.quantity.name))
    counts = chances.get("count", 0.0) if figure.quantity.needs_role else 0.0
    return alike + counts >= _RULE_OFFERED


def _figure_fact(said: Said, figure: Figure, *, ticked: bool) -> FactFound:
    quantity, value = figure.quantity, f"{figure.value.value} {figure.value.unit}"
    kind = quantity.name if figure.role == PLAIN_ROLE else f"{quantity.name}_{figure.role}"
    field = quantity.situation.get(figure.role) or quantity.situation.get(ANY_ROLE)
    offers = [Candidate("reading", kind, value)]
    if field:
        offers.append(Candidate("situation", field, value))
    return FactFound(kind, value, quote(said, figure.first, figure.last), tuple(offers), doubt=figure.doubt,
                     ticked=ticked and not figure.doubt)


def _plain_fact(said: Said, at: int, kind: str, *, ticked: bool) -> FactFound:
    """Return a count or another figure without a unit of its own, in the caller's words."""
    word, words = said.words[at], said.words
    after = at + 1 < len(words) and words[at + 1].text in said.lexicon.counts_else and words[at + 1].pause == word.pause
    spoken = quote(said, at, at + 1 + after)
    number = f"{word.value:g}" if word.value is not None else word.text
    return FactFound(kind, number, spoken, (Candidate("reading", kind, spoken),), ticked=ticked)


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
    for one in spoken.values():
        names_rows = bool(one.concept.rows or one.concept.pattern)
        chance = slots.get(f"rows {one.concept.rows}", _UNSURE) if names_rows else 1.0
        before_it_began = one.onset and bool(one.concept.situation.keys() & _ONSET)
        tried = one.concept.done_before and one.onset  # what came before the trouble was no remedy
        if tried or (names_rows and (numbered or chance < _ALL_OFFERED)):
            continue
        fact = _concept_fact(one, ear.said.lexicon)
        ticked = fact.kind == DANGER or before_it_began or (bool(one.concept.rows) and chance >= TICKED)
        found.append(replace(fact, ticked=ticked))
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


def offers_of(entry: Offers, words: str = "") -> tuple[Candidate, ...]:
    """Return the ticks of an entry; `words` are the caller's, for entries that keep them."""
    found = [Candidate("answer", check, outcome) for check, outcome in entry.answers.items()]
    found += [Candidate("axis", axis, value) for axis, value in entry.axes.items()]
    found += [Candidate("situation", field, words or value) for field, value in entry.situation.items()]
    if entry.done_before:
        found.append(Candidate("done_before", entry.done_before, words))
    return tuple(found)
