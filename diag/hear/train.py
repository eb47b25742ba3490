"""Train the vote that learns from callers' texts, and judge it on hands it has not seen.

The texts of all hands and the wordings of the symptoms are counted into features, a logistic regression is fitted over
all symptoms and "no complaint" at once, and the weights are rounded to one byte. The constants that mix the votes and
the thresholds are fitted on texts of hands that were held out. Needs scikit-learn (`pip install diag[train]`).
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diag.hear.complaint import Listener, Votes, mixed, none_signs
from diag.hear.features import of_leads
from diag.hear.model import NO_COMPLAINT, OF_NUMBER, OF_SLOT, OF_TEXT, STRENGTH, Group, Linear, Mixing, Model, leading
from diag.hear.texts import Text
from diag.hear.told import SLOTS, lists_all, numbers_told, slots_told
from diag.knowledge.base import Knowledge

WORDINGS = "wordings"
"""Name of the hand that wrote the wordings of the symptoms: learnt from, never judged by."""
LEAST_TEXTS = 3
"""Texts in which a feature must stand to get a weight."""
FOLDS = 3
"""Groups of hands, each heard by what the others teach, for the constants."""
_INVERSE_PENALTY, _SLOT_PENALTY, _NUMBER_PENALTY = 8.3, 4.0, 0.5
_SHARES = ((1.0,), (0.6, 0.4), (0.5, 0.3, 0.2))
"""How a text counts for its symptoms, best first."""
_TICK_PRECISION = 0.92
_TURNED_AWAY = 0.04
"""Share of true complaints that may be called none while the threshold is fitted."""
_LEAST_POINTS = 0.2
"""Points of the lexicon count at least this share of the trained vote: hands write more alike than the world does."""
_LEAST_DENIED = -1.5
"""What is denied loses at least this much: few texts of the hands deny anything."""
_ONE_BYTE = 127
_COUNTED_FOR_DIGEST = 30
"""One text in so many stands for how texts are counted, so that weights of another way of counting are not fresh."""

Counted = Mapping[str, Mapping[int, float]]


def digest_of(knowledge: Knowledge, texts: Sequence[Text]) -> str:
    """Return the digest of all that the weights depend on: texts, labels, wordings, phrases, how they are counted."""
    lexicon = knowledge.lexicon
    listener = Listener(knowledge.symptoms.values(), lexicon)
    seen = {
        "texts": [(t.say, t.right, t.hand, t.told) for t in texts],
        "symptoms": [(s.id, s.label, s.wordings, dict(s.concepts)) for s in knowledge.symptoms.values()],
        "phrases": sorted(lexicon.all_phrases()),
        "words": [lexicon.sets, lexicon.spellings, lexicon.skipped, lexicon.numbers],
        "counted": [_features_of(listener, t.say) for t in texts[::_COUNTED_FOR_DIGEST]],
    }
    return "sha256:" + hashlib.sha256(json.dumps(seen, sort_keys=True, default=str).encode()).hexdigest()


def _features_of(listener: Listener, text: str) -> list[list[tuple[int, float]]]:
    """Return all features of a text, in order."""
    groups: list[Mapping[int, float]] = [*listener.counted(text).values()]
    groups += listener.numbers(text, {NO_COMPLAINT: 1.0})[1].values()
    return [sorted(group.items()) for group in groups]


def all_texts(knowledge: Knowledge, texts: Sequence[Text]) -> list[Text]:
    """Return the texts and the symptoms' own wordings as texts."""
    own = [Text(w, (s.id,), WORDINGS) for s in knowledge.symptoms.values() for w in (*s.wordings, s.label, s.measure)]
    return [*texts, *own]


class Trainer:
    """The texts with their features counted once, for training on any part of them."""

    def __init__(self, knowledge: Knowledge, texts: Sequence[Text]) -> None:
        self.knowledge = knowledge
        self.texts = all_texts(knowledge, texts)
        self.digest = digest_of(knowledge, texts)
        self.names = (*sorted(knowledge.symptoms), NO_COMPLAINT)
        self._listener = Listener(knowledge.symptoms.values(), knowledge.lexicon)
        self._counted = [self._listener.counted(t.say) for t in self.texts]
        self._untrained = [self._listener.votes(t.say) for t in self.texts]

    def hands(self) -> list[str]:
        """Return the hands that can be judged by."""
        return sorted({t.hand for t in self.texts} - {WORDINGS})

    def finished(self) -> Model:
        """Return the model of all hands, with constants fitted on held-out ones."""
        return self.train(mixing=self.constants)

    def train(self, without: frozenset[str] = frozenset(), mixing: Mixing | None = None) -> Model:
        """Return all that is learnt from all hands but those."""
        chosen = self._without(without)
        telling = {t.hand for t in self.texts if t.told}  # who never says what is told does not say that nothing is
        told = [n for n in chosen if self.texts[n].hand in telling]
        return Model(
            self._symptoms(chosen), self._slots(told), self._numbers(told), mixing or Mixing(), digest=self.digest,
        )

    def _without(self, hands: frozenset[str]) -> list[int]:
        return [n for n, t in enumerate(self.texts) if t.hand not in hands]

    def _symptoms(self, chosen: Sequence[int]) -> Linear:
        """Return the vote on symptoms; a text counts for each of its symptoms by its share."""
        labels = [
            list(zip(right or (NO_COMPLAINT,), _SHARES[max(0, len(right) - 1)], strict=True))
            for right in (self.texts[n].right for n in chosen)
        ]
        return fit([self._counted[n] for n in chosen], labels, self.names, OF_TEXT, inverse_penalty=_INVERSE_PENALTY)

    def _slots(self, chosen: Sequence[int]) -> Linear:
        """Return the vote on what a text tells as a whole, each slot for itself."""
        counted: list[Counted] = [{**self._counted[n], "about": of_leads(leading(self._by_others[n]))} for n in chosen]
        told = [slots_told(self.texts[n].told) for n in chosen]
        each = [fit(counted, [[(str(name in t), 1.0)] for t in told], ("True", "False"), OF_SLOT,
                    inverse_penalty=_SLOT_PENALTY)
                for name in SLOTS]
        groups = {g: _beside([one.groups[g] for one in each]) for g in OF_SLOT}
        bias = np.array([one.bias[0] - one.bias[1] for one in each], np.float32)
        return Linear(SLOTS, groups, bias)

    def _numbers(self, chosen: Sequence[int]) -> Linear:
        """Return the vote on what a number is told for."""
        counted, labels, thorough = [], [], lists_all(self.texts)
        for n in chosen:
            ear, near = self._listener.numbers(self.texts[n].say, leading(self._by_others[n]))
            for at, kind in numbers_told(ear, self.texts[n].told).items():
                if kind or self.texts[n].hand in thorough:
                    counted.append({"near": near[at]})
                    labels.append([(kind, 1.0)])
        return fit(counted, labels, tuple(sorted({k for one in labels for k, _ in one})), OF_NUMBER,
                   inverse_penalty=_NUMBER_PENALTY)

    @cached_property
    def _by_others(self) -> dict[int, dict[str, float]]:
        """Return the learnt vote on each text of a hand, by what other hands teach: a third of the hands at a time."""
        hands = self.hands()
        found: dict[int, dict[str, float]] = {}
        for out in (frozenset(hands[n::FOLDS]) for n in range(min(FOLDS, len(hands)))):
            learnt = self._symptoms(self._without(out))
            found |= {n: learnt.vote(self._counted[n]) for n, t in enumerate(self.texts) if t.hand in out}
        return found

    @cached_property
    def constants(self) -> Mixing:
        """Return the constants fitted on held-out hands."""
        return self.mix([(self.texts[n], replace(self._untrained[n], trained=v)) for n, v in self._by_others.items()])

    def mix(self, heard: Sequence[tuple[Text, Votes]]) -> Mixing:
        """Return the constants fitted on votes that come from models which had not seen the texts."""
        names = self.names[:-1]
        complaints = [(t, v) for t, v in heard if t.right]
        mixing = _fit_mixing(complaints, names)
        signs = np.array([none_signs(v)[1:] for _, v in heard])
        none, chance = _fit_none(signs, np.array([not t.right for t, _ in heard]))
        told = sorted(p for p, (t, _) in zip(chance, heard, strict=True) if t.right)
        none_from = float(told[int(len(told) * (1 - _TURNED_AWAY))])
        mixing = replace(mixing, none=none, none_from=none_from)
        sure = [p >= none_from for p in chance]
        return replace(mixing, tick_from=_tick_from(heard, sure, names, mixing))


def fit(
    counted: Sequence[Counted], labels: Sequence[Sequence[tuple[str, float]]], names: Sequence[str],
    groups: Sequence[str], inverse_penalty: float,
) -> Linear:
    """Return a logistic regression over all classes at once; a text may count for several, by their shares."""
    from scipy import sparse
    from sklearn.linear_model import LogisticRegression

    place = {name: n for n, name in enumerate(names)}
    told = [(row, place[name], share) for row, several in enumerate(labels) for name, share in several]
    tables = {name: _Table([one[name] for one in counted]) for name in groups}
    matrices = [t.matrix([one[name] for one in counted], STRENGTH[name]) for name, t in tables.items()]
    features = sparse.hstack(matrices, format="csr")[[row for row, _, _ in told]]
    fitted = LogisticRegression(C=inverse_penalty, max_iter=60, tol=1e-3)
    fitted.fit(features, np.array([n for _, n, _ in told]), sample_weight=np.array([s for _, _, s in told]))
    weights, bias = np.zeros((features.shape[1], len(names)), np.float32), np.zeros(len(names), np.float32)
    if len(fitted.classes_) == 2:
        weights[:, fitted.classes_[1]], bias[fitted.classes_[1]] = fitted.coef_[0], fitted.intercept_[0]
    else:
        bias[:] = fitted.intercept_.mean()
        weights[:, fitted.classes_], bias[fitted.classes_] = fitted.coef_.T, fitted.intercept_
    found, start = {}, 0
    for name, table in tables.items():
        found[name] = table.group(weights[start : start + len(table.keys)])
        start += len(table.keys)
    return Linear(tuple(names), found, bias)


def _beside(groups: Sequence[Group]) -> Group:
    """Return two-class groups over the same features as one: the first class of each against the second."""
    scale = np.array([g.scale.max() for g in groups], np.float32)
    weights = [g.weights.astype(np.float32) * g.scale for g in groups]
    apart = np.stack([w[:, 0] - w[:, 1] for w in weights], 1)
    return Group(groups[0].keys, groups[0].rarity, np.rint(apart / scale).astype(np.int8), scale)


class _Table:
    """The features of one group that are kept, and how telling each is."""

    def __init__(self, counted: Sequence[Mapping[int, float]]) -> None:
        spread = Counter(key for one in counted for key in one)
        self.keys = np.array(sorted(k for k, n in spread.items() if n >= LEAST_TEXTS), np.uint32)
        texts = np.array([spread[k] for k in self.keys.tolist()], np.float64)
        rarity = np.log((1 + len(counted)) / (1 + texts)) + 1
        self.rarity = rarity.astype(np.float16).astype(np.float32)
        self._place = {key: n for n, key in enumerate(self.keys.tolist())}

    def matrix(self, counted: Sequence[Mapping[int, float]], strength: float) -> Any:
        """Return texts x features, each row scaled to the strength, as `Group.vote` does."""
        from scipy import sparse

        places, values, ends = [], [], [0]
        for one in counted:
            known = [(self._place[k], n) for k, n in one.items() if k in self._place]
            at = np.array([p for p, _ in known], np.int64)
            value = (1 + np.log(np.array([n for _, n in known], np.float64))) * self.rarity[at]
            length = np.sqrt((value * value).sum()) or 1.0
            places.append(at)
            values.append(value * strength / length)
            ends.append(ends[-1] + len(at))
        parts = (np.concatenate(values).astype(np.float32), np.concatenate(places), ends)
        return sparse.csr_matrix(parts, shape=(len(counted), len(self.keys)))

    def group(self, weights: NDArray[np.float32]) -> Group:
        """Return the group with weights rounded to one byte."""
        scale = np.maximum(np.abs(weights).max(0), 1e-9) / _ONE_BYTE
        rounded = np.rint(weights / scale).astype(np.int8)
        return Group(self.keys, self.rarity, rounded, scale.astype(np.float32))


# ------------------------------------------------------------------------------------------- constants


def _fit_mixing(heard: Sequence[tuple[Text, Votes]], names: Sequence[str]) -> Mixing:
    """Return how much each vote counts: the constants that make the right symptoms likeliest."""
    from scipy.optimize import minimize

    votes = np.array([[_counts(v, s) for s in names] for _, v in heard])
    right = np.array([[float(s in t.right) / len(t.right) for s in names] for t, _ in heard])

    def loss(constants: NDArray[np.float64]) -> float:
        odds = votes @ constants
        odds -= odds.max(1, keepdims=True)
        return float(-(right * (odds - np.log(np.exp(odds).sum(1, keepdims=True)))).sum() / len(heard))

    def slope(constants: NDArray[np.float64]) -> NDArray[np.float64]:
        odds = votes @ constants
        shares = np.exp(odds - odds.max(1, keepdims=True))
        shares /= shares.sum(1, keepdims=True)
        return np.asarray(((shares - right)[:, :, None] * votes).sum((0, 1)) / len(heard))

    found = minimize(loss, np.array([1.0, 0.1, 1.0, 0.0, 0.0]), jac=slope)
    trained, points, like, denied, believed = (round(float(c), 4) for c in found.x)
    return Mixing(trained, max(points, _LEAST_POINTS * trained), like, min(denied, _LEAST_DENIED), believed=believed)


def _counts(votes: Votes, symptom: str) -> tuple[float, ...]:
    """Return what is mixed for a symptom, in the order of `Mixing`."""
    like = votes.like[symptom].share if symptom in votes.like else 0.0
    told = (float(symptom in votes.denied), float(symptom in votes.believed))
    return (votes.trained[symptom], votes.points[symptom], like, *told)


def _fit_none(signs: NDArray[np.float64], none: NDArray[np.bool_]) -> tuple[tuple[float, ...], list[float]]:
    """Return the constants by which a text is no complaint, and the chance of each text."""
    from sklearn.linear_model import LogisticRegression

    fitted = LogisticRegression(C=1.0).fit(signs, none)
    constants = (float(fitted.intercept_[0]), *(float(c) for c in fitted.coef_[0]))
    return tuple(round(c, 4) for c in constants), fitted.predict_proba(signs)[:, 1].tolist()


def _tick_from(
    heard: Sequence[tuple[Text, Votes]], none: Sequence[bool], names: Sequence[str], mixing: Mixing
) -> float:
    """Return the least chance from which on what is first is right often enough to be ticked."""
    firsts = []
    for (text, votes), away in zip(heard, none, strict=True):
        odds = mixed(votes, names, mixing)
        best = max(odds, key=lambda s: odds[s])
        if not away:
            firsts.append((1 / sum(np.exp(o - odds[best]) for o in odds.values()), best in text.right))
    firsts.sort(reverse=True)
    right, least = 0, 1.0
    for number, (chance, good) in enumerate(firsts, 1):
        right += good
        if right / number >= _TICK_PRECISION:
            least = chance
    return round(float(least), 4)
