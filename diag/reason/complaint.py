"""From a caller's own words to proposed symptoms and to facts offered as ticks.

Nothing is decided here: `match` proposes, with the reason for each proposal, and a person accepts. What
is denied does not count, what the caller only believes counts little and is marked so, and a text about
something else is said to be so. The knowledge (words, weights, what a fact may be accepted as) is YAML.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from diag.knowledge.words import ANY_ROLE, PLAIN_ROLE, Concept, Lexicon, Offers, Symptom
from diag.reason.said import Hit, Said, Status, read
from diag.reason.said_figures import Figure, Rows, differences, figures, machine_rows, rows

Slot = Literal["answer", "axis", "situation", "machine", "reading", "done_before"]

LEAST = 2.0  # points from which a symptom is proposed
_COUNTS: dict[Status, float] = {"said": 1.0, "believed": 0.35, "earlier": 0.25, "denied": 0.0}
_ELSEWHERE = 0.5  # what a circumstance counts that was told in another sentence than the complaint


@dataclass(frozen=True, slots=True)
class Offer:
    """One thing a fact may be accepted as: answer (check, outcome), axis or situation (field, value) and so on."""

    slot: Slot
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact in the caller's words, offered as a tick; `doubt` says why a value may not be as told."""

    kind: str
    value: str
    said: str
    offers: tuple[Offer, ...]
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A symptom proposed, with points (not a probability) and the words it rests on; `believed`: nobody saw it."""

    symptom: str
    score: float
    reasons: tuple[str, ...]
    believed: bool


@dataclass(frozen=True, slots=True)
class Match:
    """What was made of the words. `planter` false: they are about something else."""

    proposals: tuple[Proposal, ...]
    facts: tuple[FactFound, ...]
    planter: bool
    said_not: tuple[str, ...]  # symptoms the caller denies

    @property
    def verdict(self) -> Literal["matched", "nothing_matched", "no_planter"]:
        """The outcome in a word: proposals, none on the list, or no planter complaint."""
        return "matched" if self.proposals else "nothing_matched" if self.planter else "no_planter"


@dataclass(frozen=True, slots=True)
class _Heard:
    """A concept heard once, with the caller's words for it."""

    concept: Concept
    status: Status
    sentence: int
    quote: str


def match(text: str, symptoms: Iterable[Symptom], lexicon: Lexicon) -> Match:
    """Return proposed symptoms (best first), facts contained in the words, and what was denied.

    Pure and deterministic: order is by points rounded to 2 decimals, then id.
    """
    said = read(text, lexicon)
    named = rows(said)
    values = figures(said, named)
    heard = _phrases(said) + _from_figures(said, named, values)
    heard += _contradictions(heard, lexicon)
    about_planter = bool(said.of(":planter"))
    if not about_planter and said.of(":elsewhere"):
        return Match((), (), False, ())
    evidence = _strongest(heard)
    scored = [p for s in symptoms if (p := _weigh(s, evidence))]
    proposals = tuple(sorted((p for p in scored if p.score >= LEAST), key=lambda p: (-p.score, p.symptom)))
    proposed = {p.symptom for p in proposals}
    denied = {name for name, best in evidence.items() if best[0].status == "denied"}
    said_not = tuple(sorted(s.id for s in symptoms if s.main & denied and s.id not in proposed))
    facts = tuple(_facts(said, heard, named, values))
    return Match(proposals, facts, about_planter or bool(proposals), said_not)


# ------------------------------------------------------------------------------------- what was heard


def _phrases(said: Said) -> list[_Heard]:
    concepts = said.lexicon.by_name
    hits = [h for h in said.hits if h.owner in concepts]
    covering = [h for h in hits if concepts[h.owner].kind == "seen" and not concepts[h.owner].keeps_parts]
    return [
        _Heard(concepts[h.owner], said.status(h), said.counted[h.first].sentence, said.quote(h.first, h.last))
        for h in hits
        if concepts[h.owner].kind == "context" or not any(_covered(h, c) for c in covering)
    ]


def _covered(hit: Hit, by: Hit) -> bool:
    longer = by.last - by.first > hit.last - hit.first
    return longer and by.owner != hit.owner and by.first <= hit.first and hit.last <= by.last


def _from_figures(said: Said, named: Sequence[Rows], values: Sequence[Figure]) -> list[_Heard]:
    lexicon, found = said.lexicon, []
    for row in named:
        if pattern := lexicon.patterns.get(row.pattern):
            concept = lexicon.by_name[pattern.concept]
            found.append(_Heard(concept, "said", said.words[row.first].sentence, _quote(said, row.first, row.last)))
    for name, a, b in differences(values, lexicon):
        words = f"{_quote(said, a.first, a.last)} ... {_quote(said, b.first, b.last)}"
        found.append(_Heard(lexicon.by_name[name], "said", said.words[a.first].sentence, words))
    return found


def _contradictions(heard: Sequence[_Heard], lexicon: Lexicon) -> list[_Heard]:
    """Return what it means that something is said in one place and denied in another (screen against ground)."""
    found = {}
    for yes in heard:
        for no in heard:
            other = yes.concept.contradicted
            if other and yes.concept is no.concept and yes.status == "said" and no.status == "denied":
                words = f"{yes.quote} ... not {no.quote}"
                found.setdefault(other, _Heard(lexicon.by_name[other], "said", yes.sentence, words))
    return list(found.values())


def _quote(said: Said, first: int, last: int) -> str:
    return said.quote_span(said.words[first].start, said.words[last - 1].end)


def _strongest(heard: Sequence[_Heard]) -> dict[str, list[_Heard]]:
    """Return by concept what counts most, the longest quote first; said outweighs denied elsewhere in the text."""
    found: dict[str, list[_Heard]] = {}
    for one in heard:
        found.setdefault(one.concept.name, []).append(one)
    for several in found.values():
        several.sort(key=lambda h: (-_COUNTS[h.status], -len(h.quote), h.sentence, h.quote))
        best = _COUNTS[several[0].status]
        several[:] = [h for h in several if _COUNTS[h.status] == best]
    return found


# -------------------------------------------------------------------------------------------- weighing


def _weigh(symptom: Symptom, evidence: dict[str, list[_Heard]]) -> Proposal | None:
    """Return the symptom with its points, or None when nothing that is seen speaks for it."""
    points: dict[str, float] = {}
    sentences: set[int] = set()
    for name, weight in symptom.concepts.items():
        best = evidence.get(name)
        if best is None or best[0].concept.kind != "seen":
            continue
        denied = best[0].status == "denied"
        points[name] = -abs(weight) * (weight > 0) if denied else weight * _COUNTS[best[0].status]
        if points[name] > 0:
            sentences |= {h.sentence for h in best}
    if not sentences:
        return None
    for name, weight in symptom.concepts.items():
        best = evidence.get(name)
        if best is not None and best[0].concept.kind == "context" and best[0].status != "denied":
            here = any(h.sentence in sentences for h in best)
            points[name] = weight * _COUNTS[best[0].status] * (1 if here else _ELSEWHERE)
    for_it = sorted((n for n in points if points[n] > 0), key=lambda n: (-points[n], n))
    reasons = tuple(_reason(evidence[n][0]) for n in for_it)
    seen = [n for n in for_it if evidence[n][0].concept.kind == "seen"]
    believed = all(evidence[n][0].status == "believed" for n in seen)
    return Proposal(symptom.id, round(sum(points.values()), 2), reasons, believed)


def _reason(heard: _Heard) -> str:
    rider = {"said": "", "believed": " (believed, not seen)", "earlier": " (earlier)", "denied": ""}[heard.status]
    return f'"{heard.quote}": {heard.concept.meaning}{rider}'


# --------------------------------------------------------------------------------------------- facts


def _facts(
    said: Said, heard: Sequence[_Heard], named: Sequence[Rows], values: Sequence[Figure]
) -> list[FactFound]:
    """Return what may be ticked; a fact that offers no more than another of its kind is left out."""
    found = [_rows_fact(said, r) for r in named]
    found += [
        FactFound("machine_rows", r.value, _quote(said, r.first, r.last), (Offer("machine", "rows", r.value),))
        for r in machine_rows(said)
    ]
    found += [_figure_fact(said, f) for f in values]
    spoken: dict[str, _Heard] = {}
    for one in heard:
        best = spoken.get(one.concept.name)
        if one.concept.about and one.status == "said" and (best is None or len(one.quote) > len(best.quote)):
            spoken[one.concept.name] = one
    found += [_concept_fact(one, said.lexicon) for one in spoken.values()]
    unlike = sorted(dict.fromkeys(found), key=lambda f: (f.kind, -len(f.offers), f.value, f.said))
    kept: list[FactFound] = []
    for fact in unlike:
        if not any(k.kind == fact.kind and set(fact.offers) <= set(k.offers) for k in kept):
            kept.append(fact)
    return sorted(kept, key=lambda f: (f.kind, f.value, f.said))


def _rows_fact(said: Said, row: Rows) -> FactFound:
    pattern = said.lexicon.patterns.get(row.pattern)
    offers = (Offer("situation", "rows", row.value), *(_offers(pattern) if pattern else ()))
    return FactFound("rows", row.value, _quote(said, row.first, row.last), offers)


def _figure_fact(said: Said, figure: Figure) -> FactFound:
    quantity, value = figure.quantity, f"{figure.value.value} {figure.value.unit}"
    kind = quantity.name if figure.role == PLAIN_ROLE else f"{quantity.name}_{figure.role}"
    field = quantity.situation.get(figure.role) or quantity.situation.get(ANY_ROLE)
    offers = [Offer("reading", kind, value)]
    if field:
        offers.append(Offer("situation", field, value))
    return FactFound(kind, value, _quote(said, figure.first, figure.last), tuple(offers), figure.doubt)


def _concept_fact(heard: _Heard, lexicon: Lexicon) -> FactFound:
    concept = heard.concept
    offers = list(_offers(concept, heard.quote if concept.keeps_words else ""))
    if concept.rows:
        offers.append(Offer("situation", "rows", concept.rows))
    if concept.pattern:
        offers += _offers(lexicon.patterns[concept.pattern])
    value = heard.quote if concept.keeps_words else concept.rows or concept.meaning
    return FactFound(concept.about or "", value, heard.quote, tuple(offers))


def _offers(entry: Offers, words: str = "") -> tuple[Offer, ...]:
    """Return the ticks of an entry; `words` are the caller's, for entries that keep them."""
    found = [Offer("answer", check, outcome) for check, outcome in entry.answers.items()]
    found += [Offer("axis", axis, value) for axis, value in entry.axes.items()]
    found += [Offer("situation", field, words or value) for field, value in entry.situation.items()]
    if entry.done_before:
        found.append(Offer("done_before", entry.done_before, words))
    return tuple(found)
