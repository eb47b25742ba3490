"""From a caller's own words to ranked symptoms and to facts.

Every symptom gets a score. Phrases of the lexicon, a model trained on callers' texts and likeness to the known
wordings are votes; none of them is a gate. What is denied does not count, what the caller only believes counts
little and is marked so, and a text that is no complaint of the list is said to be so. The knowledge (words, weights,
what a fact may be accepted as) is data.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log
from typing import Literal

from diag.hear import features
from diag.hear.likeness import Like, Wordings, kinds_of
from diag.hear.model import FILE, MOST_POINTS, NO_COMPLAINT, Mixing, Model, load_model
from diag.hear.said import Hit, Said, Status, read
from diag.hear.said_figures import Figure, Rows, differences, figures, machine_rows, rows
from diag.hear.said_words import Word
from diag.knowledge.base import Knowledge
from diag.knowledge.words import ANY_ROLE, PLAIN_ROLE, Concept, Lexicon, Offers, Symptom

Slot = Literal["answer", "axis", "situation", "machine", "reading", "done_before"]

MOST_REASONED = 9
"""Proposals, best first, that come with the words they rest on."""
_UNLIKE = Like(0.0, "")
_MUCH_LIKE = 0.5
"""Likeness at which a text is taken for a wording."""
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
    ticked: bool = False


@dataclass(frozen=True, slots=True)
class Proposal:
    """A symptom with its chance (0 to 1) of being what the caller complains of, and the words it rests on."""

    symptom: str
    score: float
    reasons: tuple[str, ...] = ()
    believed: bool = False
    """Nobody saw it: somebody thinks so."""
    ticked: bool = False
    """So sure that an untouched intake takes it over."""

    @property
    def reason(self) -> str:
        """The strongest reason, one line; "" far down the list."""
        return self.reasons[0] if self.reasons else ""


@dataclass(frozen=True, slots=True)
class Match:
    """What was made of the words."""

    proposals: tuple[Proposal, ...]
    """Every symptom, best first."""
    facts: tuple[FactFound, ...]
    said_not: tuple[str, ...]
    """Symptoms the caller denies."""
    none: str = ""
    """What it seems to be where it is no complaint of the list."""

    @property
    def ticked(self) -> tuple[str, ...]:
        """Symptoms that an untouched intake takes over."""
        return tuple(p.symptom for p in self.proposals if p.ticked)


@dataclass(frozen=True, slots=True)
class Votes:
    """What each way of hearing says of a text, by symptom, before they are mixed."""

    trained: Mapping[str, float]
    """Log odds by class, `NO_COMPLAINT` among them; empty without trained weights."""
    points: Mapping[str, float]
    like: Mapping[str, Like]
    denied: frozenset[str]
    believed: frozenset[str]
    """Symptoms that nobody saw: somebody thinks so."""
    elsewhere: bool
    aside: bool
    planter: bool


@dataclass(frozen=True, slots=True)
class _Heard:
    """A concept heard once, with the caller's words for it."""

    concept: Concept
    status: Status
    sentence: int
    quote: str


class Listener:
    """The symptoms, the lexicon and the trained model, prepared once for many texts (a text while it is typed)."""

    def __init__(self, symptoms: Iterable[Symptom], lexicon: Lexicon, model: Model | None = None) -> None:
        self.symptoms = tuple(symptoms)
        self.lexicon = lexicon
        self.model = model
        self._mixing = model.mixing if model else Mixing()
        self._wordings = Wordings(self.symptoms, lexicon)
        self._kinds = kinds_of(lexicon)

    def match(self, text: str) -> Match:
        """Return all symptoms (best first), facts contained in the words, and what was denied.

        Pure and deterministic: order is by chance rounded to 4 decimals, then id.
        """
        ear = _Ear(text, self.lexicon)
        votes = self._votes(ear)
        none = self._seems(ear, votes)
        chances = self._chances(votes)
        ranked = sorted(self.symptoms, key=lambda s: (-chances[s.id], s.id))
        unsure = votes.believed | votes.denied
        sure = {s.id for s in ranked if not none and chances[s.id] >= self._mixing.tick_from} - unsure
        proposals = tuple(
            Proposal(
                s.id, chances[s.id],
                _reasons(s, ear.evidence, votes.like.get(s.id, _UNLIKE)) if place < MOST_REASONED else (),
                s.id in votes.believed, s.id in sure,
            )
            for place, s in enumerate(ranked)
        )
        return Match(proposals, tuple(_facts(ear)), tuple(sorted(votes.denied)), none)

    def votes(self, text: str) -> Votes:
        """Return what each way of hearing says of a text."""
        return self._votes(_Ear(text, self.lexicon))

    def counted(self, text: str) -> dict[str, dict[int, int]]:
        """Return the features of a text by group, for training."""
        return self._counted(_Ear(text, self.lexicon))

    def _counted(self, ear: _Ear) -> dict[str, dict[int, int]]:
        rows_at = frozenset(at for r in ear.rows for at in range(r.first, r.last))
        words = ear.said.words
        return {
            "words": features.of_words(words, rows_at, self._kinds),
            "pieces": features.of_pieces(words),
        }

    def _votes(self, ear: _Ear) -> Votes:
        return Votes(
            trained=self.model.vote(self._counted(ear)) if self.model else {},
            points={s.id: min(MOST_POINTS, sum(_points(s, ear.evidence).values())) for s in self.symptoms},
            like=self._wordings.like(_told(ear.said, ear.values)),
            denied=frozenset(s.id for s in self.symptoms if s.main & ear.denied),
            believed=frozenset(s.id for s in self.symptoms if _only_believed(s, ear.evidence)),
            elsewhere=bool(ear.said.of(":elsewhere")),
            aside=bool(ear.said.of(":aside")),
            planter=bool(ear.said.of(":planter")),
        )

    def _chances(self, votes: Votes) -> dict[str, float]:
        odds = mixed(votes, [s.id for s in self.symptoms], self._mixing)
        most = max(odds.values(), default=0.0)
        weights = {s: exp(o - most) for s, o in odds.items()}
        total = sum(weights.values())
        return {s: round(w / total, 4) for s, w in weights.items()}

    def _seems(self, ear: _Ear, votes: Votes) -> str:
        """Return what the text seems to be where it is no complaint of the list, else nothing."""
        if not ear.said.counted:
            return "nothing said yet"
        odds = sum(k * x for k, x in zip(self._mixing.none, none_signs(votes), strict=True))
        if 1 / (1 + exp(-max(-50.0, min(50.0, odds)))) < self._mixing.none_from:
            return ""
        if votes.elsewhere and not votes.planter:
            return "another machine or another matter"
        return "a planter matter that is not on the list" if votes.planter else "no complaint about a planter"


def mixed(votes: Votes, symptoms: Iterable[str], mixing: Mixing) -> dict[str, float]:
    """Return log odds (up to a constant) by symptom: the votes, each counted as the mixing says."""
    known = [value for name, value in votes.trained.items() if name != NO_COMPLAINT] or [0.0]
    usual = sum(known) / len(known)
    spread = max(known) - usual
    like = {s: votes.like.get(s, _UNLIKE).share for s in symptoms}
    # a symptom younger than the weights rises with its likeness, up to what the best known one has
    trained = {s: votes.trained.get(s, usual + spread * min(1.0, like[s] / _MUCH_LIKE)) for s in like}
    return {
        s: mixing.trained * trained[s]
        + mixing.points * votes.points.get(s, 0.0)
        + mixing.like * like[s]
        + mixing.denied * (s in votes.denied)
        + mixing.believed * (s in votes.believed)
        for s in like
    }


def none_signs(votes: Votes) -> tuple[float, ...]:
    """Return the signs that a text is no complaint of the list, in the order of `Mixing.none`."""
    most = max(votes.points.values(), default=0.0)
    return (1.0, _log_odds(votes.trained), most, float(votes.elsewhere), float(votes.aside), float(votes.planter))


def _log_odds(trained: Mapping[str, float]) -> float:
    """Return the log odds of no complaint against all symptoms together."""
    if NO_COMPLAINT not in trained:
        return 0.0
    none = trained[NO_COMPLAINT]
    most = max(trained.values())
    others = sum(exp(v - most) for name, v in trained.items() if name != NO_COMPLAINT)
    return none - most - log(others)


_kept: list[tuple[Knowledge, Listener]] = []  # the one used last: preparing takes as long as many matches


def listener(knowledge: Knowledge) -> Listener:
    """Return the listener of a knowledge; the same knowledge as the last time is not prepared again."""
    if not _kept or _kept[0][0] is not knowledge:
        weights = [folder / FILE for folder in knowledge.callers if (folder / FILE).exists()]
        model = load_model(weights[-1]) if weights else None
        _kept[:] = [(knowledge, Listener(knowledge.symptoms.values(), knowledge.lexicon, model))]
    return _kept[0][1]


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


class _Ear:
    """A text read once: words, rows, figures, and what was heard, the strongest first."""

    def __init__(self, text: str, lexicon: Lexicon) -> None:
        self.said = read(text, lexicon)
        self.rows = rows(self.said)
        self.values = figures(self.said, self.rows)
        heard = _phrases(self.said) + _from_figures(self.said, self.rows, self.values)
        self.heard = heard + _contradictions(heard, lexicon)
        self.evidence = _strongest(self.heard)
        self.denied = {name for name, best in self.evidence.items() if best[0].status == "denied"}


# -------------------------------------------------------------------------------------------- weighing


def _reasons(symptom: Symptom, evidence: Mapping[str, Sequence[_Heard]], like: Like) -> tuple[str, ...]:
    """Return the words a symptom rests on: what was heard for it, else the wording most like the text."""
    points = _points(symptom, evidence)
    for_it = sorted((n for n in points if points[n] > 0), key=lambda n: (-points[n], n))
    return tuple(_reason(evidence[n][0]) for n in for_it) or ((f'like "{like.wording}"',) if like.wording else ())


def _only_believed(symptom: Symptom, evidence: Mapping[str, Sequence[_Heard]]) -> bool:
    """Tell whether all that speaks for a symptom is thought, not seen."""
    statuses = [
        evidence[name][0].status for name, weight in symptom.concepts.items()
        if weight > 0 and name in evidence and evidence[name][0].concept.kind == "seen"
    ]
    return "believed" in statuses and not {"said", "earlier"} & set(statuses)


def _points(symptom: Symptom, evidence: Mapping[str, Sequence[_Heard]]) -> dict[str, float]:
    """Return the points of each concept heard; circumstances count only beside something seen that speaks for it."""
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
    for name, weight in symptom.concepts.items():
        best = evidence.get(name)
        if sentences and best is not None and best[0].concept.kind == "context" and best[0].status != "denied":
            here = any(h.sentence in sentences for h in best)
            points[name] = weight * _COUNTS[best[0].status] * (1 if here else _ELSEWHERE)
    return points


def _reason(heard: _Heard) -> str:
    rider = {"said": "", "believed": " (believed, not seen)", "earlier": " (earlier)", "denied": ""}[heard.status]
    return f'"{heard.quote}": {heard.concept.meaning}{rider}'


# --------------------------------------------------------------------------------------------- facts


def _facts(ear: _Ear) -> list[FactFound]:
    """Return what may be ticked; a fact that offers no more than another of its kind is left out."""
    said = ear.said
    found = [_rows_fact(said, r) for r in ear.rows]
    found += [
        FactFound("machine_rows", r.value, _quote(said, r.first, r.last), (Offer("machine", "rows", r.value),))
        for r in machine_rows(said)
    ]
    found += [_figure_fact(said, f) for f in ear.values]
    spoken: dict[str, _Heard] = {}
    for one in ear.heard:
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
