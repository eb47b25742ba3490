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

from diag.errors import UsageError
from diag.hear import features
from diag.hear.ear import COUNTS, Ear, Heard
from diag.hear.fact import FactFound
from diag.hear.facts import DANGER, facts_in
from diag.hear.likeness import Like, Wordings, kinds_of
from diag.hear.model import FILE, MOST_POINTS, NO_COMPLAINT, Mixing, Model, load_model
from diag.knowledge.base import Knowledge
from diag.knowledge.words import Lexicon, Symptom

MOST_REASONED = 9
MOST_HEARD = 20_000
"""Characters of one complaint: as many as a record takes."""
"""Proposals, best first, that come with the words they rest on."""
_UNLIKE = Like(0.0, "")
_MUCH_LIKE = 0.5
"""Likeness at which a text is taken for a wording."""
_FEW_WORDS = 2
"""Words in which nothing is heard where none belongs to a planter."""
_ELSEWHERE = 0.5  # what a circumstance counts that was told in another sentence than the complaint


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
    def danger(self) -> tuple[FactFound, ...]:
        """Danger in the words, which comes before everything else."""
        return tuple(f for f in self.facts if f.kind == DANGER)

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

        Pure and deterministic: order is by chance rounded to 4 decimals, then id. Raises UsageError for more
        characters than a call can hold.
        """
        if len(text) > MOST_HEARD:
            raise UsageError(f"That is longer than {MOST_HEARD} characters.", "words",
                             "Give what they complain of; the rest can be a note.")
        ear = Ear(text, self.lexicon)
        counted = self._counted(ear)
        votes = self._votes(ear, counted)
        none = self._seems(ear, votes)
        odds = mixed(votes, [s.id for s in self.symptoms], self._mixing)
        chances = _chances(odds)
        ranked = sorted(self.symptoms, key=lambda s: (-chances[s.id], s.id))
        unsure = votes.believed | votes.denied
        sure = {s.id for s in ranked if not none and chances[s.id] >= self._mixing.tick_from} - unsure
        if len(ear.said.words) == 1:  # a single word complains of nothing for sure
            sure = set()
        proposals = tuple(
            Proposal(
                s.id, chances[s.id],
                _reasons(s, ear.evidence, votes.like.get(s.id, _UNLIKE)) if place < MOST_REASONED else (),
                s.id in votes.believed, ticked=s.id in sure,
            )
            for place, s in enumerate(ranked)
        )
        other = bool(none) and chances[ranked[0].id] < self._mixing.tick_from
        facts = facts_in(ear, counted, self.model, odds, none=other)
        return Match(proposals, facts, tuple(sorted(votes.denied)), none)

    def votes(self, text: str) -> Votes:
        """Return what each way of hearing says of a text."""
        ear = Ear(text, self.lexicon)
        return self._votes(ear, self._counted(ear))

    def counted(self, text: str) -> dict[str, dict[int, int]]:
        """Return the features of a text by group, for training."""
        return self._counted(Ear(text, self.lexicon))

    def _counted(self, ear: Ear) -> dict[str, dict[int, int]]:
        words, instead = ear.said.words, ear.instead()
        return {
            "words": features.of_words(words, instead, self._kinds),
            "pieces": features.of_pieces(words, instead),
        }

    def numbers(self, text: str, leads: Mapping[str, float]) -> tuple[Ear, dict[int, dict[int, float]]]:
        """Return a text as heard and the features of each number in it, for training.

        `leads`: the symptoms that it is likely about, with their chances.
        """
        ear = Ear(text, self.lexicon)
        return ear, ear.numbers(leads)

    def _votes(self, ear: Ear, counted: Mapping[str, Mapping[int, int]]) -> Votes:
        return Votes(
            trained=self.model.symptoms.vote(counted) if self.model else {},
            points={s.id: min(MOST_POINTS, sum(_points(s, ear.evidence).values())) for s in self.symptoms},
            like=self._wordings.like(ear.described()),
            denied=frozenset(s.id for s in self.symptoms if s.main & ear.denied),
            believed=frozenset(s.id for s in self.symptoms if _only_believed(s, ear.evidence)),
            elsewhere=bool(ear.said.of(":elsewhere")),
            aside=bool(ear.said.of(":aside")),
            planter=ear.names_planter,
        )

    def _seems(self, ear: Ear, votes: Votes) -> str:
        """Return what the text seems to be where it is no complaint of the list, else nothing."""
        if not ear.said.counted or (len(ear.said.counted) <= _FEW_WORDS and not ear.of_a_planter):
            return "nothing said yet"
        odds = sum(k * x for k, x in zip(self._mixing.none, none_signs(votes), strict=True))
        if 1 / (1 + exp(-max(-50.0, min(50.0, odds)))) < self._mixing.none_from:
            return ""
        if votes.elsewhere and not votes.planter:
            return "another machine or another matter"
        return "a planter matter that is not on the list" if votes.planter else "no complaint about a planter"


def _chances(odds: Mapping[str, float]) -> dict[str, float]:
    most = max(odds.values(), default=0.0)
    weights = {s: exp(o - most) for s, o in odds.items()}
    total = sum(weights.values())
    return {s: round(w / total, 4) for s, w in weights.items()}


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
    both = float(votes.planter and most > 0)
    return (1.0, _log_odds(votes.trained), most, float(votes.elsewhere), float(votes.aside), float(votes.planter), both)


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


# -------------------------------------------------------------------------------------------- weighing


def _reasons(symptom: Symptom, evidence: Mapping[str, Sequence[Heard]], like: Like) -> tuple[str, ...]:
    """Return the words a symptom rests on: what was heard for it, else the wording most like the text."""
    points = _points(symptom, evidence)
    for_it = sorted((n for n in points if points[n] > 0), key=lambda n: (-points[n], n))
    return tuple(_reason(evidence[n][0]) for n in for_it) or ((f'like "{like.wording}"',) if like.wording else ())


def _only_believed(symptom: Symptom, evidence: Mapping[str, Sequence[Heard]]) -> bool:
    """Tell whether all that speaks for a symptom is thought, not seen."""
    statuses = [
        evidence[name][0].status for name, weight in symptom.concepts.items()
        if weight > 0 and name in evidence and evidence[name][0].concept.kind == "seen"
    ]
    return "believed" in statuses and not {"said", "earlier"} & set(statuses)


def _points(symptom: Symptom, evidence: Mapping[str, Sequence[Heard]]) -> dict[str, float]:
    """Return the points of each concept heard; circumstances count only beside something seen that speaks for it."""
    points: dict[str, float] = {}
    sentences: set[int] = set()
    heard = [(name, weight, evidence[name]) for name, weight in symptom.concepts.items() if name in evidence]
    for name, weight, best in heard:
        if best[0].concept.kind != "seen":
            continue
        denied = best[0].status == "denied"
        points[name] = -abs(weight) * (weight > 0) if denied else weight * COUNTS[best[0].status]
        if points[name] > 0:
            sentences |= {h.sentence for h in best}
    for name, weight, best in heard:
        if sentences and best[0].concept.kind == "context" and best[0].status != "denied":
            here = any(h.sentence in sentences for h in best)
            points[name] = weight * COUNTS[best[0].status] * (1 if here else _ELSEWHERE)
    return points


def _reason(heard: Heard) -> str:
    rider = {"said": "", "believed": " (believed, not seen)", "earlier": " (earlier)", "denied": ""}[heard.status]
    return f'"{heard.quote}": {heard.concept.meaning}{rider}'
