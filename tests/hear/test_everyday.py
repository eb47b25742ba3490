"""Words and sentences of every day: nothing is heard in them that has to do with planters."""

from __future__ import annotations

from pathlib import Path

import pytest
from spellchecker import SpellChecker

from diag.hear.complaint import Listener, Match, listener
from diag.hear.facts import DANGER
from diag.knowledge.base import Knowledge
from diag.knowledge.phrases import stem
from diag.knowledge.yamlfile import load_yaml

SENTENCES: list[str] = load_yaml(Path(__file__).parent.parent / "data" / "everyday.yaml")[0]
WORDS = 10_000


@pytest.fixture(scope="module")
def heard(whole: Knowledge) -> Listener:
    """The knowledge as shipped, ready for hearing."""
    return listener(whole)


@pytest.fixture(scope="module")
def common() -> list[str]:
    """The commonest English words, by how often they are said in film subtitles (list of the library)."""
    often = SpellChecker(language="en").word_frequency
    words = [word for word in often.words() if word.isalpha()]
    return sorted(words, key=lambda word: (-often[word], word))[:WORDS]


@pytest.fixture(scope="module")
def of_words(heard: Listener, common: list[str]) -> dict[str, Match]:
    """What is heard in each of them alone."""
    return {word: heard.match(word) for word in common}


def test_a_common_word_tells_nothing(of_words: dict[str, Match]) -> None:
    """Alone, no word ticks a symptom or tells a fact; the words of danger are heard all the same."""
    assert WORDS == len(of_words)
    assert set() == {f.kind for found in of_words.values() for f in found.facts} - {DANGER}
    assert () == tuple(s for found in of_words.values() for s in found.ticked)
    assert {"bleeding", "flames", "unconscious"} == {w for w, found in of_words.items() if found.danger}


def test_a_common_word_is_a_complaint_only_where_it_is_one_of_the_trade(
    whole: Knowledge, of_words: dict[str, Match]
) -> None:
    """What is not called none stands as a phrase of its own in the lexicon: no ending, no spelling brings it there."""
    needed = {p: sum(not s.optional for s in p.slots) for found in whole.lexicon.index.values() for p in found}
    phrases = [p for p, words in needed.items() if words == 1 and not p.others]
    of_trade = [p.slots[0] for p in phrases if p.owner[0] != ":" or p.owner == ":planter"]
    own = {word for slot in of_trade for word in slot.words | slot.exact} | set(whole.lexicon.row_words)
    taken = [word for word, found in of_words.items() if not found.none]
    assert [] == [w for w in taken if not {w, stem(w), stem(whole.lexicon.spellings.get(w, w))} & own]
    assert len(taken) <= 0.02 * WORDS


def test_everyday_sentences_raise_next_to_nothing(heard: Listener) -> None:
    """Of two hundred sentences that taught nothing, few are taken for a complaint, and fewer tick anything."""
    found = [heard.match(text) for text in SENTENCES]
    assert len(found) >= 200
    assert sum(not m.none for m in found) <= 0.15 * len(found)
    assert sum(bool(m.ticked) for m in found) <= 0.02 * len(found)
    assert sum(any(f.ticked for f in m.facts) for m in found) <= 0.01 * len(found)
