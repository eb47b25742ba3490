"""A text cut into words: spellings put right, numbers read, and the places where sentences and clauses end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from diag.figures.numbers import IN_PROSE, numbers_in
from diag.knowledge.phrases import stem
from diag.knowledge.words import Lexicon

_JOIN_LOOK = 5  # words after a comma in which "or" still carries a negator on
_TENS = range(20, 100, 10)
# curly quotes, primes and dashes to plain ones
_FOLD = str.maketrans("\u2019\u2018`\u2032\u201c\u201d\u2033\u2013\u2014\u2026", "''''\"\"\"--.")
_TOKEN = re.compile(
    rf"""(?P<number>{IN_PROSE})
      | (?P<word>[^\W\d_]+(?:'[^\W\d_]+)*)
      | (?P<end>\.(?!\d)[.!?]*|[!?;][.!?;]*|\n\s*\n)
      | (?P<pause>,|:|\(|\)|\s-+\s|--+)
      | (?P<sign>["%#/+&-])""",
    re.VERBOSE,
)
_ROW_NUMBER = re.compile(r"\b(?:no|nr)\.?\s*(?=\d)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Word:
    """One word or sign of the text: as meant, its stem, its value if a number, and where it stands."""

    text: str
    stem: str
    value: float | None
    start: int
    end: int
    sentence: int  # ends at a full stop
    clause: int  # ends at a comma or a word such as "but"
    pause: int  # ends at a comma
    part: int  # ends at a comma or a word such as "and"


def cut(text: str, lexicon: Lexicon) -> list[Word]:
    """Return all words and signs of a (cleaned) text."""
    return list(_joined(_words(text, lexicon)))


def that_count(words: Iterable[Word], lexicon: Lexicon) -> list[Word]:
    """Return the words that phrases are made of: no signs (but %) and none of those that never count."""
    skipped = lexicon.skipped_words
    return [w for w in words if w.text not in skipped and (w.text[0].isalnum() or w.text == "%")]


def _words(text: str, lexicon: Lexicon) -> Iterator[Word]:
    folded = "".join(c.lower() if len(c.lower()) == 1 else c for c in text).translate(_FOLD)
    folded = _ROW_NUMBER.sub(lambda m: "#" + " " * (len(m[0]) - 1), folded)
    talk = lexicon.talk
    breaks, joins, parts = frozenset(talk.breaks), frozenset(talk.joins), frozenset(talk.parts)
    matches, rows = list(_TOKEN.finditer(folded)), lexicon.row_words
    sentence = clause = pause = part = 0
    for at, found in enumerate(matches):
        if found["end"]:
            sentence, clause, pause, part = sentence + 1, clause + 1, pause + 1, part + 1
        elif found["pause"]:
            ahead = (m["word"] for m in matches[at + 1 : at + 1 + _JOIN_LOOK])
            clause += not any(word in joins for word in ahead)
            pause, part = pause + 1, part + 1
        elif found["number"]:
            before = matches[at - 1] if at else None
            in_name = before is not None and before.end() == found.start() and before["word"] not in (None, *rows)
            for read, start, end in numbers_in(found[0]):
                span, value = (found.start() + start, found.start() + end), None if in_name else float(read[:15])
                yield Word(read, read, value, *span, sentence, clause, pause, part)  # the 2 of inH2O counts nothing
        elif found["sign"]:
            yield Word(found[0], found[0], None, *found.span(), sentence, clause, pause, part)
        else:
            for word in _meant(found[0], lexicon):
                clause += word in breaks
                part += word in parts
                value = lexicon.numbers.get(word)
                yield Word(word, stem(word), value, *found.span(), sentence, clause, pause, part)


def _joined(words: Iterable[Word]) -> Iterator[Word]:
    """Join number words: "twenty" "nine", also over a dash, become 29."""
    waiting: list[Word] = []
    for word in words:
        tens = waiting[0] if waiting else None
        if tens and word.text == "-" and len(waiting) == 1:
            waiting.append(word)
            continue
        if tens and not word.text[0].isdigit() and word.value is not None and 0 < word.value < 10:
            total = (tens.value or 0) + word.value
            text = f"{total:.0f}"
            yield Word(text, text, total, tens.start, end=word.end, sentence=word.sentence, clause=word.clause,
                       pause=word.pause, part=word.part)
            waiting = []
            continue
        yield from waiting
        waiting = []
        if not word.text[0].isdigit() and word.value is not None and word.value in _TENS:
            waiting = [word]
        else:
            yield word
    yield from waiting


def _meant(word: str, lexicon: Lexicon) -> list[str]:
    """Return the word or words meant: short forms written out, common misspellings put right."""
    for form in (word, word.replace("'", "")):
        if form in lexicon.spellings:
            return lexicon.spellings[form].split()
    if word.endswith("n't"):
        return [word[:-3], "not"]
    word = word.split("'")[0] or word
    if word in lexicon.spellings:
        return lexicon.spellings[word].split()
    return [word]
