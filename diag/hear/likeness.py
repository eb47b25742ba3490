"""How much a text is like the wordings a symptom is known by: words and kinds of words shared, rare ones counting more.

One vote among others. A word counts as itself and as member of each lexicon set it is in, so that
"monitor" is like "display".
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diag.hear.said_words import Word, cut, that_count
from diag.knowledge.phrases import NUMBER, stem
from diag.knowledge.words import Lexicon, Symptom

_OVERALL = 0.3  # share that all wordings of a symptom together have beside the one most alike
_NEGATED = "NOT"
_TELLING = 1.0  # weight from which on a feature is compared: words that most symptoms share tell nothing


@dataclass(frozen=True, slots=True)
class Like:
    """Likeness from 0 to 1, and the known wording most alike."""

    share: float
    wording: str


class Wordings:
    """The known wordings of all symptoms, ready to be compared with a text."""

    def __init__(self, symptoms: Sequence[Symptom], lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._kinds = kinds_of(lexicon)
        known = [(s.id, w, self._of_text(w)) for s in symptoms for w in (*s.wordings, s.label)]
        together: dict[str, set[str]] = defaultdict(set)
        for symptom, _, features in known:
            together[symptom] |= features
        spread: dict[str, int] = defaultdict(int)
        for all_features in together.values():
            for feature in all_features:
                spread[feature] += 1
        # rare among symptoms = telling
        self._weight = {f: math.log((len(together) + 1) / (n + 0.5)) ** 2 for f, n in spread.items()}
        self._unknown = math.log(len(together) + 1)  # weight of a word no wording has
        self._wordings = [(symptom, wording, self._size(f)) for symptom, wording, f in known]
        self._where: dict[str, list[int]] = defaultdict(list)
        for number, (_, _, features) in enumerate(known):
            for feature in features:
                if self._weight[feature] >= _TELLING:
                    self._where[feature].append(number)
        self._together = together

    def like(self, words: Iterable[Word]) -> dict[str, Like]:
        """Return by symptom id how much the words are like its wordings."""
        features = sorted(self._features(words))
        size = sum(self._weight.get(f, self._unknown) for f in features)
        shared: dict[int, float] = defaultdict(float)
        overall: dict[str, float] = defaultdict(float)
        for feature in features:
            for number in self._where.get(feature, ()):
                shared[number] += self._weight[feature]
        best: dict[str, tuple[float, str]] = {}
        for number in sorted(shared):
            symptom, wording, own_size = self._wordings[number]
            alike = shared[number] / (own_size * math.sqrt(size))
            if alike > best.get(symptom, (0.0, ""))[0]:
                best[symptom] = (alike, wording)
        for symptom in best:
            overall[symptom] = sum(self._weight[f] for f in features if f in self._together[symptom]) / size
        return {
            symptom: Like((1 - _OVERALL) * alike + _OVERALL * overall[symptom], wording)
            for symptom, (alike, wording) in best.items()
        }

    def _of_text(self, text: str) -> frozenset[str]:
        return self._features(that_count(cut(text, self._lexicon), self._lexicon))

    def _features(self, words: Iterable[Word]) -> frozenset[str]:
        talk = self._lexicon.talk
        found: set[str] = set()
        for word in words:
            if word.text in talk.breaks:
                continue
            found.add(NUMBER if word.text[0].isdigit() else word.stem)
            found.update(self._kinds.get(word.stem, ()))
            if word.text in talk.negators:
                found.add(_NEGATED)
        return frozenset(found)

    def _size(self, features: frozenset[str]) -> float:
        return math.sqrt(sum(self._weight[f] for f in sorted(features))) or 1.0


def kinds_of(lexicon: Lexicon) -> dict[str, list[str]]:
    """Return by stem the names of the sets it belongs to."""
    kinds: dict[str, list[str]] = defaultdict(list)
    for name, words in lexicon.sets.items():
        for one in sorted({stem(w) for w in words}):
            kinds[one].append(name)
    return kinds
