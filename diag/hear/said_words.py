"""A text cut into words: spellings put right, numbers read, and the places where sentences and clauses end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from diag.figures.numbers import IN_PROSE, numbers_in
from diag.knowledge.phrases import stem
from diag.knowledge.words import Lexicon

_JOIN_LOOK = 5  # words after a comma in which "or" still carries a negator on
_TENS = range(20, 100, 10)
_PART_LOOK = 9  # words after a number in which its fraction stands
_FRACTIONS = {
    0.5: (["and", "a", "half"], ["and", "half"]), 0.25: (["and", "a", "quarter"],),
    0.75: (["and", "3", "quarters"], ["and", "three", "quarters"]),
}
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
    return _with_parts(list(_joined(_words(text, lexicon))))


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


def _with_parts(words: list[Word]) -> list[Word]:
    """Join what is spoken of one number: "three hundred and ten" becomes 310, "five point one" 5.1, "a hundred" 100."""
    found: list[Word] = []
    at = 0
    while at < len(words):
        word, end, value = words[at], at + 1, words[at].value
        if value is not None and value == int(value):
            value, end = _with_hundreds(words, at)
            part, end = _part_after(words, end - 1)
            value += part
        if end > at + 1:
            text = f"{value:g}"
            word = replace(word, text=text, stem=text, value=value, end=words[end - 1].end)
        found.append(word)
        at = end
    return found


def _with_hundreds(words: Sequence[Word], at: int) -> tuple[float, int]:
    """Return the whole number spoken from a number word on, and where it ends."""
    value, end = words[at].value or 0.0, at + 1
    after = [w for w in words[end : end + 3] if w.pause == words[at].pause]
    if value < 100 and after[:1] and after[0].text == "hundred":
        value, end, after = value * 100, end + 1, after[1:]
    if words[end - 1].text == "hundred":
        joined = int(bool(after) and after[0].text == "and")
        for rest in after[joined : joined + 1]:
            if rest.value and rest.value in range(1, 100) and _in_words(rest):
                return value + rest.value, end + joined + 1
    return value, end


def _in_words(number: Word) -> bool:
    """Tell whether a number was spelled out."""
    return number.end - number.start > len(number.text) or number.text.isalpha()


def _part_after(words: Sequence[Word], at: int) -> tuple[float, int]:
    """Return what is spoken after a whole number to be added to it, and where it ends; nothing: 0 and the next word."""
    near = [w for w in words[at + 1 : at + _PART_LOOK] if w.pause == words[at].pause]
    texts = [w.text for w in near]
    spoken = [t for t in texts if t != "-"]
    for part, ways in _FRACTIONS.items():
        for way in ways:
            if spoken[: len(way)] == way:
                last = [n for n, t in enumerate(texts) if t != "-"][len(way) - 1]
                return part, at + 2 + last
    if texts[:1] == ["point"]:
        digits = list(takewhile(lambda w: w.value is not None and w.value in range(10), near[1:]))
        if digits:
            return float("0." + "".join(f"{w.value:.0f}" for w in digits)), at + 2 + len(digits)
    if near and _as_thousands(words[at], near):
        return (near[0].value or 0.0) / 10, at + 2
    return 0.0, at + 1


def _as_thousands(word: Word, near: Sequence[Word]) -> bool:
    """Tell whether two spoken numbers are one in thousands: "thirty-one nine" is 31.9."""
    whole, after = word.value or 0.0, near[0].value or 0.0
    spelled = word.text.isdigit() and word.end - word.start > len(word.text) and _in_words(near[0])
    alone = len(near) == 1 or near[1].value is None
    return spelled and alone and 20 < whole < 100 and whole % 10 != 0 and after in range(1, 10)


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
