"""Models of the words people use: symptoms and the trade lexicon that leads to them.

A phrase is a short pattern over words, read left to right:

    gap              the word in any ending (gaps, gapping); articles and other `skipped` words never count
    miss/skip/blank  any of these
    SEED             any word of the lexicon's set SEED
    NUM              a number, in figures or in words
    =planting        this spelling only
    (still)          may be missing
    ..  ....         up to 3, up to 7 other words; at the end: what follows, to the end of the clause

The words of one phrase stand in one sentence; only a gap may pass over a comma. Nothing here knows a single symptom: it is all in the YAML.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

from diag.errors import UnitError
from diag.units import quantity_named, unit_named

_UNIT_WORD = re.compile(r"[a-z]+|\d+|''|[^\sa-z]")
NUMBER = "NUM"
ANY_ROLE, PLAIN_ROLE = "any", "read"  # of a figure whatever its role; of a figure without a word of a role
NEAR, FAR = 3, 7  # words that `..` and `....` may pass over
_SHORTEST_SPELT, _LONGEST_SPELT = 5, 20  # letters of words that are put right
_LONG_WORD = 8  # letters from which on two slips are forgiven
_SPELLER_KEEPS = 20_000  # words remembered while someone types
_VOWELS = "aeiouy"
_SHORTEST_STEM = 3
_ENDINGS = (("ies", "y"), ("ied", "y"), ("ing", ""), ("ed", ""), ("es", ""), ("s", ""), ("e", ""))

Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
SetName = Annotated[str, Field(pattern=r"^[A-Z]+$")]
Text = Annotated[str, Field(min_length=1)]
Words = tuple[Text, ...]
Number = Annotated[float, Strict()]
Weight = Annotated[float, Strict(), Field(ge=-10, le=10)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Symptom(_Entry):
    """What a grower sees or the screen shows, with the words it is told in."""

    id: Id
    label: Text
    wordings: Words = Field(min_length=3)  # as callers say it, for reading and searching
    measure: Text  # what to count or read, and from which value on it is a complaint
    patterns: Words = ()  # which rows or which rhythm point where
    first_checks: tuple[Id, ...] = Field(min_length=1)
    concepts: dict[Id, Weight] = Field(min_length=1)  # points for (or against) each concept heard
    source: Words = Field(min_length=1)

    @cached_property
    def main(self) -> frozenset[str]:
        """The concepts that alone make the complaint: those with the highest weight."""
        top = max(self.concepts.values())
        return frozenset(c for c, w in self.concepts.items() if w == top)


class Offers(_Entry):
    """What a thing heard may be accepted as, one tick each."""

    answers: dict[Id, Id] = {}  # check id: outcome id
    axes: dict[Id, Id] = {}  # machine axis: value
    situation: dict[Id, Text] = {}  # field of the call's situation: value
    done_before: Id | None = None  # what was already tried before the call


class Concept(Offers):
    """One thing said, whatever the words: what is seen (`seen`), or where, when and how (`context`)."""

    name: Id
    kind: Literal["seen", "context"] = "seen"
    about: Id | None = None  # kind of fact; a concept with it is offered as a tick
    meaning: Text  # reads after the caller's words: '"in pairs": two seeds where one belongs'
    phrases: Words = ()
    contradicted: Id | None = None  # concept heard when this one is said in one place and denied in another
    pattern: Id | None = None  # name of a row pattern
    rows: Text | None = None  # rows as one types them: `all`, `left wing`, `every 2nd`
    keeps_words: bool = False  # the fact is what was said, not the meaning
    keeps_parts: bool = False  # shorter things heard inside its phrases count as well


class RowPattern(Offers):
    """What a set of rows amounts to: its concept and the answers it gives."""

    name: Id
    concept: Id


class Bare(_Entry):
    """Numbers without a unit that may be meant: their range as said, and the unit they get."""

    low: Number
    high: Number
    times: Number = 1
    unit: Text


class Comparison(_Entry):
    """A concept that figures bring about: the first role's value is below, above or unlike the second's."""

    first: Id
    second: Id
    by: Literal["below", "above", "unlike"]
    share: Annotated[float, Strict(), Field(gt=0, lt=1)]  # least difference, as a share of the second
    concept: Id


class Quantity(_Entry):
    """A measured value in the words: a number with its unit, or beside a word that names the quantity."""

    name: Id  # as in diag.units
    label: Text
    units: dict[Text, Words]  # unit name: how people say it
    shared: Words = ()  # ways of saying a unit that other things use too: need a word of `near`
    near: Words = ()  # words in whose clause a number of `bare` is this quantity
    not_near: Words = ()  # words that forbid it in the same clause
    changes: Words = ()  # words right before a number that make it a difference, not a reading
    bare: tuple[Bare, ...] = ()
    roles: dict[Id, Words] = {}  # words that say which value it is: set, dug, on the screen
    needs_role: bool = False  # a number without unit counts only beside a word of a role
    compare: tuple[Comparison, ...] = ()
    situation: dict[Id, Id] = {}  # role (or `any`): field of the situation it may fill

    @cached_property
    def spoken(self) -> Mapping[str, Sequence[SpokenUnit]]:
        """Ways of saying the units by their first word, the longest first."""
        found: dict[str, list[SpokenUnit]] = {}
        for unit, ways in self.units.items():
            for way in ways:
                words = tuple(_UNIT_WORD.findall(way))
                found.setdefault(words[0], []).append(SpokenUnit(words, unit, way not in self.shared))
        return {first: sorted(ways, key=lambda s: -len(s.words)) for first, ways in found.items()}


class Talk(_Entry):
    """The small words that turn, soften or end a statement."""

    negators: Words = ()
    no_negation: Words = ()  # phrases with a negator that deny nothing ("no matter", "not only")
    undo_negation: Words = ()  # between negator and thing: "can't get rid of"
    denied_after: Words = ()  # after the thing: "is not the problem"
    breaks: Words = ()  # words that end what a negator or a belief covers
    joins: Words = ()  # words that carry a negator on over a comma: or, nor
    beliefs: Words = ()  # what follows is thought, not seen
    earlier: Words = ()  # another time: counts less


class Lexicon(_Entry):
    """Everything needed to go from words to concepts and facts."""

    skipped: Words = ()
    numbers: dict[Text, Number] = {}
    ordinals: dict[Text, int] = {}
    spellings: dict[Text, str] = {}  # wrong or short form: what is meant
    plain: Words = ()  # ordinary words that must not be taken for a misspelt trade word
    sets: dict[SetName, Words] = {}
    row_words: Words = ()  # words before a row number
    loose_row_words: dict[Text, Words] = {}  # words before a row number, unless after one of these
    thousands: Words = ()  # words after a number that make it thousands
    counted: Words = ()  # words after a number that make it a count of something else
    ignored: Words = ()  # phrases in which nothing else is looked for
    planter: Words = ()  # these words belong to planters
    elsewhere: Words = ()  # these to other machines and other business
    talk: Talk = Talk()
    row_patterns: tuple[RowPattern, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    concepts: tuple[Concept, ...] = ()

    @model_validator(mode="after")
    def _hangs_together(self) -> Lexicon:
        names = [c.name for c in self.concepts]
        _refuse("used twice as a name", (n for n in names if names.count(n) > 1))
        compared = (c.concept for q in self.quantities for c in q.compare)
        _refuse("no such concept", {*(p.concept for p in self.row_patterns), *compared} - set(names))
        _refuse("no such concept", {c.contradicted for c in self.concepts if c.contradicted} - set(names))
        patterns = {p.name for p in self.row_patterns}
        _refuse("no such row pattern", {c.pattern for c in self.concepts if c.pattern} - patterns)
        for quantity in self.quantities:
            _check_units(quantity)
        wrong = []
        for owner, phrase in self.all_phrases():
            try:
                self.read_phrase(owner, phrase)
            except ValueError as error:
                wrong.append(f'{owner}: phrase "{phrase}": {error}')
        if wrong:
            raise ValueError("; ".join(wrong))
        return self

    def all_phrases(self) -> Iterator[tuple[str, str]]:
        """Yield (owner, phrase) for every phrase; owners that are no concept begin with a colon."""
        for concept in self.concepts:
            yield from ((concept.name, p) for p in concept.phrases)
        for name in ("ignored", "planter", "elsewhere"):
            yield from ((f":{name}", p) for p in getattr(self, name))
        for name in ("no_negation", "undo_negation", "denied_after", "beliefs", "earlier"):
            yield from ((f":{name}", p) for p in getattr(self.talk, name))

    def read_phrase(self, owner: str, phrase: str) -> Phrase:
        """Return the phrase as slots; raise ValueError telling what is wrong with it."""
        slots = [s for word in phrase.split() if (s := self._slot(word)) is not None]
        if not any(s.words or s.exact or s.number for s in slots if not s.optional):
            raise ValueError("has no word to look for (only skipped or optional ones)")
        if slots[0].gap or slots[0].optional:
            raise ValueError("must begin with a word")
        dropped = [w for w in phrase.split() if w in self.skipped_words]
        if dropped and sum(not s.optional for s in slots) == 1:
            raise ValueError(f'only one word is left of it, as "{dropped[0]}" never counts')
        return Phrase(owner, phrase, tuple(slots))

    def _slot(self, word: str) -> Slot | None:
        if set(word) == {"."}:
            return Slot(gap=NEAR if word == ".." else FAR)
        optional = word.startswith("(") and word.endswith(")")
        exact: set[str] = set()
        stems: set[str] = set()
        number = False
        for part in word.strip("()").split("/"):
            if part == NUMBER:
                number = True
            elif part.startswith("="):
                exact.add(part[1:])
            elif part.isupper():
                if part not in self.sets:
                    raise ValueError(f"no such set of words: {part}")
                stems |= {stem(w) for w in self.sets[part]}
            elif not part:
                raise ValueError("an empty alternative")
            elif part not in self.skipped_words:
                stems.add(stem(part))
        if not (exact or stems or number):
            return None
        return Slot(frozenset(stems), frozenset(exact), number, optional)

    @cached_property
    def skipped_words(self) -> frozenset[str]:
        """Words that never count."""
        return frozenset(self.skipped)

    @cached_property
    def index(self) -> Mapping[str, Sequence[Phrase]]:
        """All phrases by the stem (or `=word`, or NUM) they may begin with."""
        found: dict[str, list[Phrase]] = {}
        for owner, text in self.all_phrases():
            phrase = self.read_phrase(owner, text)
            for key in phrase.slots[0].starts():
                found.setdefault(key, []).append(phrase)
        return {key: tuple(phrases) for key, phrases in found.items()}

    @cached_property
    def vocabulary(self) -> Mapping[str, str]:
        """Stem: a spelling of it, for every word the lexicon knows."""
        words: set[str] = {w for group in self.sets.values() for w in group}
        for _, text in self.all_phrases():
            words |= {p.lstrip("=") for part in text.split() for p in part.strip("()").split("/")}
        for quantity in self.quantities:
            said = (*quantity.near, *quantity.not_near, *_flat(quantity.roles), *_flat(quantity.units))
            words |= {w for text in said for w in text.split()}
        words |= {*self.row_words, *self.thousands, *self.counted, *self.numbers, *self.ordinals}
        words |= {*self.talk.negators, *self.talk.breaks, *self.talk.joins}
        return {stem(w): w for w in sorted(words) if w.isalpha() and w.islower()}

    @cached_property
    def known(self) -> frozenset[str]:
        """Stems that are spelt right, trade words and ordinary ones."""
        return frozenset(self.vocabulary) | {stem(w) for w in (*self.plain, *self.skipped)}

    @cached_property
    def speller(self) -> Speller:
        """What finds the trade word meant by a misspelt one."""
        return Speller(self.vocabulary.values())

    @cached_property
    def by_name(self) -> Mapping[str, Concept]:
        """Concepts by name."""
        return {c.name: c for c in self.concepts}

    @cached_property
    def patterns(self) -> Mapping[str, RowPattern]:
        """Row patterns by name."""
        return {p.name: p for p in self.row_patterns}

    def answers(self) -> Iterator[tuple[str, str, str]]:
        """Yield (owner, check id, outcome id) for every answer the lexicon can propose."""
        for concept in self.concepts:
            yield from ((concept.name, check, outcome) for check, outcome in concept.answers.items())
        for pattern in self.row_patterns:
            yield from ((pattern.name, check, outcome) for check, outcome in pattern.answers.items())


def _refuse(what: str, names: Iterable[str]) -> None:
    if found := sorted(set(names)):
        raise ValueError(f"{what}: {', '.join(found)}")


def _check_units(quantity: Quantity) -> None:
    try:
        wanted = quantity_named(quantity.name).dimension
        for name in (*quantity.units, *(b.unit for b in quantity.bare)):
            if unit_named(name).quantity != wanted:
                raise ValueError(f"{name} is no unit of {quantity.name}")
    except UnitError as error:
        raise ValueError(str(error)) from None
    roles = {r for c in quantity.compare for r in (c.first, c.second)} | set(quantity.situation) - {ANY_ROLE}
    _refuse(f"no such role of {quantity.name}", roles - set(quantity.roles) - {PLAIN_ROLE})


def _flat(groups: Mapping[str, Sequence[str]]) -> list[str]:
    return [word for group in groups.values() for word in group]


class Speller:
    """Finds the trade word meant by a misspelt one: same first letter, one slip, two in long words."""

    def __init__(self, words: Iterable[str]) -> None:
        self._by_letter: dict[str, list[str]] = {}
        for word in words:
            if len(word) >= _SHORTEST_SPELT:
                self._by_letter.setdefault(word[0], []).append(word)
        self._found: dict[str, str] = {}

    def __call__(self, word: str) -> str:
        """Return the trade word meant, or the word itself."""
        if word not in self._found:
            if len(self._found) >= _SPELLER_KEEPS:
                self._found.clear()
            self._found[word] = self._nearest(word)
        return self._found[word]

    def _nearest(self, word: str) -> str:
        if not _SHORTEST_SPELT <= len(word) <= _LONGEST_SPELT:
            return word
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        slips = 1 if len(word) < _LONG_WORD else 2
        choices = self._by_letter.get(word[0], [])
        near = process.extractOne(word, choices, scorer=OSA.distance, score_cutoff=slips)
        return word if near is None else str(near[0])


@dataclass(frozen=True, slots=True)
class SpokenUnit:
    """One way of saying a unit, as words and signs; `only_this`: nothing else is said so."""

    words: tuple[str, ...]
    unit: str
    only_this: bool


@dataclass(frozen=True, slots=True)
class Slot:
    """One place of a phrase: a choice of words, a number, or a gap of up to so many words."""

    words: frozenset[str] = frozenset()
    exact: frozenset[str] = frozenset()
    number: bool = False
    optional: bool = False
    gap: int = 0

    def starts(self) -> Iterable[str]:
        """The index keys under which a phrase beginning with this slot is kept."""
        return [*self.words, *(f"={w}" for w in self.exact), *([NUMBER] if self.number else [])]


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase ready for matching, with the name of the concept or fact it stands for."""

    owner: str
    text: str
    slots: tuple[Slot, ...]


@lru_cache(maxsize=20_000)
def stem(word: str) -> str:
    """Return the word without its common English endings, so that skips, skipped and skipping are one."""
    word = word.lower()
    for ending, instead in _ENDINGS:
        rest = word.removesuffix(ending) + instead
        if word.endswith(ending) and _may_stand(rest, ending):
            return _undouble(rest) if ending in ("ing", "ed") else _without_e(rest) if ending == "s" else rest
    return word


def _may_stand(rest: str, ending: str) -> bool:
    if len(rest) < _SHORTEST_STEM or not any(c in _VOWELS for c in rest):
        return False
    return not (ending == "ed" and rest.endswith("e")) and not (ending == "s" and rest.endswith("s"))


def _undouble(rest: str) -> str:
    doubled = len(rest) > _SHORTEST_STEM and rest[-1] == rest[-2] and rest[-1] not in "lsz"
    return rest[:-1] if doubled else rest


def _without_e(rest: str) -> str:
    return rest[:-1] if rest.endswith("e") and len(rest) > _SHORTEST_STEM else rest


def unknown_concepts(symptoms: Iterable[Symptom], lexicon: Lexicon) -> list[tuple[str, str]]:
    """Return (symptom id, concept) for every concept that a symptom weighs and the lexicon lacks."""
    return [(s.id, c) for s in symptoms for c in s.concepts if c not in lexicon.by_name]
