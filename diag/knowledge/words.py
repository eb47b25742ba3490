"""Models of the words people use: symptoms and the trade lexicon that leads to them.

How a phrase of the lexicon is written stands in `diag.knowledge.phrases`. Nothing here knows a single
symptom: it is all in the YAML.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

from diag.errors import UnitError
from diag.knowledge.phrases import Phrase, read_phrase
from diag.units import quantity_named, unit_named

ANY_ROLE, PLAIN_ROLE = "any", "read"  # of a figure whatever its role; of a figure without a word of a role
_UNIT_WORD = re.compile(r"[a-z]+|\d+|''|[^\sa-z]")

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
    rows: Literal["one", "section", "all"] | None = None  # the pattern of rows that the complaint itself tells
    seen_in: Literal["furrow", "stand", "either"] = "furrow"  # where the complaint is seen: a stand shows other things
    concepts: dict[Id, Weight] = Field(min_length=1)  # points for (or against) each concept heard
    source: Words = Field(min_length=1)

    @cached_property
    def main(self) -> frozenset[str]:
        """The concepts that alone make the complaint: those with the highest weight."""
        top = max(self.concepts.values())
        return frozenset(c for c, w in self.concepts.items() if w == top)


class OtherWords(_Entry):
    """How people answer a check: other words for its outcomes, each list as one line with commas between."""

    id: Id  # the check
    said: dict[Id, Text] = Field(min_length=1)

    @cached_property
    def ways(self) -> dict[str, tuple[str, ...]]:
        """The ways to say each outcome, in small letters."""
        return {outcome: tuple(w.strip().lower() for w in text.split(",")) for outcome, text in self.said.items()}


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
    outright: bool = False  # a fact of the machine that is so where it is said, unless another is said beside it
    keeps_parts: bool = False  # shorter things heard inside its phrases count as well


class RowPattern(Offers):
    """What a set of rows amounts to: its concept and the answers it gives."""

    name: Id
    concept: Id


class SlotTold(Offers):
    """What a text as a whole tells, as learnt from the hands: "ground good", and what it may be accepted as."""

    name: Text
    meaning: str = ""  # for one that answers no check: it is kept in the caller's words
    words: Words = Field(min_length=1)  # one of them must stand in the text: its sentence is quoted


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


class SpokenQuantity(_Entry):
    """A measured value in the words: a number with its unit, or beside a word that names the quantity."""

    name: Id  # as in diag.units
    label: Text
    units: dict[Text, Words]  # unit name: how people say it
    shared: Words = ()  # ways of saying a unit that other things use too: need a word of `near`
    near: Words = ()  # words in whose clause a number of `bare` is this quantity
    not_near: Words = ()  # words that forbid it in the same clause
    changes: Words = ()  # words right before a number that make it a difference, not a reading
    bare: tuple[Bare, ...] = ()
    usual: Bare | None = None  # values that nobody complains of when they are told alone
    roles: dict[Id, Words] = {}  # words that say which value it is: set, dug, on the screen
    needs_role: bool = False  # a number without unit counts only beside a word of a role
    compare: tuple[Comparison, ...] = ()
    situation: dict[Id, Id] = {}  # role (or `any`): field of the situation it may fill
    measures: dict[Id, dict[Id, Id]] = {}  # check: role by place, where figures in all these roles are its answer

    @cached_property
    def spoken(self) -> Mapping[str, Sequence[SpokenUnit]]:
        """Ways of saying the units by their first word, the longest first."""
        found: dict[str, list[SpokenUnit]] = {}
        for unit, ways in self.units.items():
            for way in ways:
                words = tuple(_UNIT_WORD.findall(way))
                found.setdefault(words[0], []).append(SpokenUnit(words, unit, way not in self.shared))
        return {first: sorted(ways, key=lambda s: -len(s.words)) for first, ways in found.items()}


class FunctionWords(_Entry):
    """The small words that turn, soften or end a statement."""

    negators: Words = ()
    no_negation: Words = ()  # phrases with a negator that deny nothing ("no matter", "not only")
    undo_negation: Words = ()  # between negator and thing: "can't get rid of"
    denied_after: Words = ()  # after the thing: "is not the problem"
    breaks: Words = ()  # words that end what a negator or a belief covers
    right: Words = ()  # after rows: nothing is wrong with them
    parts: Words = ()  # words that end a part of a sentence for `&`: and, but
    joins: Words = ()  # words that carry a negator on over a comma: or, nor
    beliefs: Words = ()  # what follows is thought, not seen
    earlier: Words = ()  # another time: counts less
    onset: Words = ()  # what follows came just before the trouble: since
    plain: Words = ()  # words around a value that say nothing of it: reads, running, at


class Lexicon(_Entry):
    """Everything needed to go from words to concepts and facts."""

    skipped: Words = ()
    numbers: dict[Text, Number] = {}
    ordinals: dict[Text, int] = {}
    spellings: dict[Text, str] = {}  # wrong or short form: what is meant
    sets: dict[SetName, Words] = {}
    searched: dict[Text, Words] = {}  # word typed in a search: words of entries for the same thing
    row_words: Words = ()  # words before a row number
    loose_row_words: dict[Text, Words] = {}  # words before a row number, unless after one of these
    thousands: Words = ()  # words after a number that make it thousands
    counted: Words = ()  # units after a number that make it no row
    things: Words = ()  # things after a number that make it a count of them: 7 seeds, but "row 7 seeds nothing"
    ignored: Words = ()  # phrases in which nothing else is looked for
    planter: Words = ()  # these words belong to planters
    elsewhere: Words = ()  # these to other machines and other business
    aside: Words = ()  # planter matters that are no complaint of this list: likeness alone proposes nothing then
    talk: FunctionWords = FunctionWords()
    row_patterns: tuple[RowPattern, ...] = ()
    quantities: tuple[SpokenQuantity, ...] = ()
    slots: tuple[SlotTold, ...] = ()
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
        for name in ("ignored", "planter", "elsewhere", "aside"):
            yield from ((f":{name}", p) for p in getattr(self, name))
        for name in ("no_negation", "undo_negation", "denied_after", "beliefs", "earlier", "right"):
            yield from ((f":{name}", p) for p in getattr(self.talk, name))

    def read_phrase(self, owner: str, phrase: str) -> Phrase:
        """Return the phrase ready for matching; raise ValueError telling what is wrong with it."""
        return read_phrase(owner, phrase, self.sets, self.skipped_words)

    @cached_property
    def counts_else(self) -> frozenset[str]:
        """Words after a number that make it no row: units and things counted."""
        return frozenset((*self.counted, *self.things))

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
        for slot in self.slots:
            yield from ((slot.name, check, outcome) for check, outcome in slot.answers.items())
        for pattern in self.row_patterns:
            yield from ((pattern.name, check, outcome) for check, outcome in pattern.answers.items())


def _refuse(what: str, names: Iterable[str]) -> None:
    if found := sorted(set(names)):
        raise ValueError(f"{what}: {', '.join(found)}")


def _check_units(quantity: SpokenQuantity) -> None:
    try:
        wanted = quantity_named(quantity.name).dimension
        for name in (*quantity.units, *(b.unit for b in quantity.bare)):
            if unit_named(name).quantity != wanted:
                raise ValueError(f"{name} is no unit of {quantity.name}")
    except UnitError as error:
        raise ValueError(str(error)) from None
    roles = {r for c in quantity.compare for r in (c.first, c.second)} | set(quantity.situation) - {ANY_ROLE}
    roles |= {role for places in quantity.measures.values() for role in places.values()}
    _refuse(f"no such role of {quantity.name}", roles - set(quantity.roles) - {PLAIN_ROLE})


@dataclass(frozen=True, slots=True)
class SpokenUnit:
    """One way of saying a unit, as words and signs; `only_this`: nothing else is said so."""

    words: tuple[str, ...]
    unit: str
    only_this: bool


def unknown_concepts(symptoms: Iterable[Symptom], lexicon: Lexicon) -> list[tuple[str, str]]:
    """Return (symptom id, concept) for every concept that a symptom weighs and the lexicon lacks."""
    return [(s.id, c) for s in symptoms for c in s.concepts if c not in lexicon.by_name]
