"""From a caller's own words to proposed symptoms and to facts offered as ticks.

Nothing is decided here: `match` proposes, with the reason for each proposal, and a person accepts. What
is denied does not count, what the caller only believes counts little and is marked so, and a text about
something else is said to be so. The knowledge (words, weights, what a fact may be accepted as) is YAML.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from diag.hear.likeness import Like, Wordings
from diag.hear.said import Hit, Said, Status, read
from diag.hear.said_figures import Figure, Rows, differences, figures, machine_rows, rows
from diag.hear.said_words import Word
from diag.knowledge.words import ANY_ROLE, PLAIN_ROLE, Concept, Lexicon, Offers, Symptom

Slot = Literal["answer", "axis", "situation", "machine", "reading", "done_before"]

LEAST = 2.0  # points from which a symptom is proposed
ALIKE = 0.4  # likeness that proposes by itself, for a text about planters in which nothing else was heard
ALIKE_ELSE = 0.55  # the same for any other text
_FEW_WORDS = 4  # words from which on likeness alone may propose
_UNLIKE = Like(0.0, "")
_LIKENESS = 5.0  # points of a text that is word for word a known wording
_COUNTS: dict[Status, float] = {"said": 1.0, "believed": 0.5, "earlier": 0.25, "denied": 0.0}
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


class Matcher:
    """The symptoms and the lexicon, prepared once for matching many texts (a text while it is typed)."""

    def __init__(self, symptoms: Iterable[Symptom], lexicon: Lexicon) -> None:
        self.symptoms = tuple(symptoms)
        self.lexicon = lexicon
        self._wordings = Wordings(self.symptoms, lexicon)

    def match(self, text: str) -> Match:
        """Return proposed symptoms (best first), facts contained in the words, and what was denied.

        Pure and deterministic: order is by points rounded to 2 decimals, then id.
        """
        said = read(text, self.lexicon)
        about_planter = bool(said.of(":planter"))
        if not about_planter and said.of(":elsewhere"):
            return Match((), (), False, ())
        named = rows(said)
        values = figures(said, named)
        heard = _phrases(said) + _from_figures(said, named, values)
        evidence = _strongest(heard + _contradictions(heard, self.lexicon))
        denied = {name for name, best in evidence.items() if best[0].status == "denied"}
        told = _told(said, values)
        like = self._wordings.like(told)
        weighed = [_weigh(s, evidence, like.get(s.id, _UNLIKE)) for s in self.symptoms]
        if len(told) >= _FEW_WORDS and not said.of(":aside"):
            enough = ALIKE if about_planter and not any(weighed) else ALIKE_ELSE
            also = (_only_alike(like.get(s.id, _UNLIKE), s, denied, enough) for s in self.symptoms)
            weighed = [p or q for p, q in zip(weighed, also, strict=True)]
        proposals = tuple(sorted((p for p in weighed if p), key=lambda p: (-p.score, p.symptom)))
        proposed = {p.symptom for p in proposals}
        said_not = tuple(sorted(s.id for s in self.symptoms if s.main & denied and s.id not in proposed))
        facts = tuple(_facts(said, heard, named, values))
        return Match(proposals, facts, about_planter or bool(proposals), said_not)


_kept: list[Matcher] = []  # the matcher used last: building one takes as long as many matches


def match(text: str, symptoms: Iterable[Symptom], lexicon: Lexicon) -> Match:
    """Match one text; the same symptoms and lexicon as the last time are not prepared again. See `Matcher`."""
    wanted = tuple(symptoms)
    last = _kept[-1] if _kept else None
    same = last and last.lexicon is lexicon and len(last.symptoms) == len(wanted)
    if not last or not same or any(a is not b for a, b in zip(last.symptoms, wanted, strict=True)):
        last = Matcher(wanted, lexicon)
        _kept[:] = [last]
    return last.match(text)


def _told(said: Said, values: Sequence[Figure]) -> list[Word]:
    """Return the words that describe: not those denied or only believed, nor when, what was tried and measured."""
    concepts = said.lexicon.by_name
    figures_at = {said.words[i].start for f in values for i in range(f.first, f.last)}
    hidden = {
        place
        for h in said.hits
        if (concept := concepts.get(h.owner)) and (concept.keeps_words or said.status(h) in ("denied", "believed"))
        for place in range(h.first, h.last)
    }
    return [w for place, w in enumerate(said.counted) if place not in hidden and w.start not in figures_at]


# ------------------------------------------------------------------------------------- what was heard


def _phrases(said: Said) -> list[_Heard]:
    """Return the concepts heard in phrases; what stands inside a longer phrase of something seen is that."""
    lexicon, found = said.lexicon, []
    hits = [h for h in said.hits if h.owner in lexicon.by_name]
    covering: dict[int, list[Hit]] = {}
    for hit in hits:
        concept = lexicon.by_name[hit.owner]
        if hit.phrase.whole and concept.kind == "seen" and not concept.keeps_parts:
            for place in range(hit.first, hit.last):
                covering.setdefault(place, []).append(hit)
    for hit in hits:
        concept = lexicon.by_name[hit.owner]
        if concept.kind == "seen" and any(_covered(hit, c) for c in covering.get(hit.first, ())):
            continue
        sentence, quote, status = said.counted[hit.first].sentence, said.quote(hit.first, hit.last), said.status(hit)
        found.append(_Heard(concept, status, sentence, quote))
        if concept.pattern and (general := lexicon.patterns[concept.pattern].concept) != concept.name:
            found.append(_Heard(lexicon.by_name[general], status, sentence, quote))
    return found


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
    found = []
    denied = {h.concept.name: h for h in reversed(heard) if h.status == "denied"}
    for name, yes in {h.concept.name: h for h in reversed(heard) if h.status == "said"}.items():
        no, other = denied.get(name), yes.concept.contradicted
        if no and other:
            words = f"{yes.quote} ... not {no.quote}"
            found.append(_Heard(lexicon.by_name[other], "said", yes.sentence, words))
    return found


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


def _weigh(symptom: Symptom, evidence: dict[str, list[_Heard]], like: Like) -> Proposal | None:
    """Return the symptom with its points, or None when too little that was heard speaks for it."""
    points = _points(symptom, evidence)
    heard, alike = sum(points.values()), like.share * _LIKENESS
    if not points or heard < LEAST:
        return None
    for_it = sorted((n for n in points if points[n] > 0), key=lambda n: (-points[n], n))
    reasons = tuple(_reason(evidence[n][0]) for n in for_it)
    seen = [n for n in for_it if evidence[n][0].concept.kind == "seen"]
    believed = all(evidence[n][0].status == "believed" for n in seen)
    return Proposal(symptom.id, round(heard + alike, 2), reasons, believed)


def _only_alike(like: Like, symptom: Symptom, denied: set[str], enough: float) -> Proposal | None:
    """Return the symptom when the text is much like one of its wordings and does not deny it."""
    if like.share < enough or symptom.main & denied:
        return None
    return Proposal(symptom.id, round(like.share * _LIKENESS, 2), (f'much like "{like.wording}"',), False)


def _points(symptom: Symptom, evidence: dict[str, list[_Heard]]) -> dict[str, float]:
    """Return the points of each concept heard; nothing when no concept that is seen speaks for the symptom."""
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
        return {}
    for name, weight in symptom.concepts.items():
        best = evidence.get(name)
        if best is not None and best[0].concept.kind == "context" and best[0].status != "denied":
            here = any(h.sentence in sentences for h in best)
            points[name] = weight * _COUNTS[best[0].status] * (1 if here else _ELSEWHERE)
    return points


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
