"""Measured values in the caller's words, and what figures say beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from diag.errors import UnitError
from diag.hear.said import Said
from diag.hear.said_rows import Rows
from diag.knowledge.words import PLAIN_ROLE, Lexicon, SpokenQuantity
from diag.units import QUANTITIES, Measured, check_possible, suspicion, unit_at

_ROLE_BEFORE, _ROLE_AFTER = 6, 3  # words between a role word and its figure
_JOINS = frozenset(("and", "but", "while"))  # what stands behind one of them is told of the next figure
_ALIKE = 2.0  # a bare number this many times more or less than a full figure is in thousands too
_LARGE = 10_000  # a number that large counts no feet or acres


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured value in the words."""

    quantity: SpokenQuantity
    role: str
    value: Measured
    doubt: str
    first: int
    last: int


def figures(said: Said, named_rows: Iterable[Rows] = ()) -> list[Figure]:
    """Return the measured values in the words; numbers that name rows are left out."""
    taken = {i for r in named_rows for i in range(r.first, r.last)}
    numbers = [i for i, w in enumerate(said.words) if w.value is not None and i not in taken]
    found: list[Figure] = []
    for quantity in said.lexicon.quantities:
        known: dict[int, Figure] = {}
        for read in (_with_unit, _beside_its_name, _by_role):
            sure = list(known.values())
            known |= {i: f for i in numbers if i not in known and (f := read(said, quantity, i, sure))}
        found += [known[i] for i in sorted(known)]
    return _each_once(found)


def bare_figure(said: Said, quantity: SpokenQuantity, at: int, known: Sequence[Figure]) -> Figure | None:
    """Return the number at a place as that quantity: with the unit said, else as others of it, else by its size."""
    sure = [f for f in known if f.quantity is quantity]
    return _with_unit(said, quantity, at, sure) or _bare(said, quantity, at, sure) or _like_others(
        said, quantity, at, sure)


def unit_said(said: Said, figure: Figure) -> bool:
    """Tell whether a unit follows that is said of nothing else: 5 mph is a speed."""
    if figure.last == figure.first + 1:
        return False
    units = figure.quantity.spoken.get(said.words[figure.first + 1].text, ())
    return any(unit.only_this for unit in units)


def _each_once(found: list[Figure]) -> list[Figure]:
    """Keep one reading of each number: the one with a unit first, then as the quantities are listed."""
    kept: dict[int, Figure] = {}
    for figure in sorted(found, key=lambda f: f.first - f.last):
        kept.setdefault(figure.first, figure)
    return [f for f in found if kept[f.first] is f]


def _with_unit(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    """Return the number with the unit that follows it."""
    words, word = said.words, said.words[at]
    after, times = at + 1, 1
    if after < len(words) and words[after].text in said.lexicon.thousands:
        after, times = after + 1, 1000
    if after == len(words) or words[after].sentence != word.sentence:
        return None
    for spoken in quantity.spoken.get(words[after].text, ()):
        if tuple(w.text for w in words[after : after + len(spoken.words)]) == spoken.words:
            sure_unit = spoken.only_this or _near(said, quantity, at, same_clause=False)
            if sure_unit and (spoken.only_this or _allowed(said, quantity, at)):
                return _figure(said, quantity, at, after + len(spoken.words), unit=spoken.unit, times=times)
            return None
    return None


def _beside_its_name(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    """Return a number without unit in one clause (or sentence, where its role is told) with a word for the quantity."""
    role = _role(said, quantity, at)
    if role == PLAIN_ROLE and quantity.needs_role:
        return None
    near = _near(said, quantity, at, same_clause=not quantity.needs_role)
    large = (said.words[at].value or 0.0) >= _LARGE or _next(said, at) in said.lexicon.thousands
    thousand = quantity.needs_role and large
    return _bare(said, quantity, at, sure) if near or thousand else None


def _by_role(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    """Return a number without unit whose role is told ("the book says 12") when another value is known."""
    if not sure or _role(said, quantity, at) == PLAIN_ROLE:
        return None
    return _bare(said, quantity, at, sure) or _like_others(said, quantity, at, sure)


def _bare(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    number, after = said.words[at].value or 0.0, _next(said, at)
    thousand = after in said.lexicon.thousands
    if (after in said.lexicon.counts_else and not thousand and number < _LARGE) or not _allowed(said, quantity, at):
        return None
    unit_said = unit_at(after, 0)
    if unit_said and unit_said[1] == len(after) and unit_said[0].quantity == QUANTITIES[quantity.name].dimension:
        return None  # a unit of its kind that callers do not use: nothing is assumed
    for bare in quantity.bare:
        if thousand and bare.low <= number * 1000 / bare.times <= bare.high:
            return _figure(said, quantity, at, at + 2, unit=bare.unit, times=1000)
        if not thousand and bare.low <= number <= bare.high:
            unit = sure[-1].value.unit if sure else bare.unit
            return _figure(said, quantity, at, at + 1, unit=unit, times=bare.times)
    return None


def _like_others(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    """Return "160" as 160,000 beside "148 thousand"."""
    number = said.words[at].value or 0.0
    for other in sure:
        known = other.value.number
        if quantity.needs_role and number and known and 1 / _ALIKE <= number * 1000 / known <= _ALIKE:
            return _figure(said, quantity, at, at + 1, unit=other.value.unit, times=1000)
    return None


def _figure(said: Said, quantity: SpokenQuantity, first: int, last: int, unit: str, times: float) -> Figure | None:
    word = said.words[first]
    typed = Decimal(word.text) if word.text[0].isdigit() else Decimal(str(word.value))
    try:
        value = Measured(f"{typed if times == 1 else (typed * Decimal(str(times))).normalize():f}", unit)
        doubt = suspicion(value, quantity.name)
        check_possible(value, quantity.name)
    except UnitError as error:
        try:
            value = Measured(f"{typed:f}", unit)
        except UnitError:
            return None
        doubt = str(error)
    return Figure(quantity, _role(said, quantity, first), value, doubt, first=first, last=last)


def _next(said: Said, at: int) -> str:
    """Return the word after this one, or nothing when a comma or a full stop is between."""
    words = said.words
    return words[at + 1].text if at + 1 < len(words) and words[at + 1].pause == words[at].pause else ""


def _near(said: Said, quantity: SpokenQuantity, at: int, *, same_clause: bool) -> bool:
    word = said.words[at]
    here = said.in_clause[word.clause] if same_clause else said.in_sentence[word.sentence]
    return not here.isdisjoint(quantity.near)


def _allowed(said: Said, quantity: SpokenQuantity, at: int) -> bool:
    if at and said.words[at - 1].text in quantity.changes:
        return False
    return said.in_clause[said.words[at].clause].isdisjoint(quantity.not_near)


def _role(said: Said, quantity: SpokenQuantity, at: int) -> str:
    """Return the role whose word stands nearest: before the figure, else close after it and before any "and"."""
    words = said.words
    before = range(at - 1, max(-1, at - 1 - _ROLE_BEFORE), -1)
    after = range(at + 1, min(len(words), at + 1 + _ROLE_AFTER))
    for places in (before, after):
        for place in places:
            other = words[place]
            later = place > at and (other.clause != words[at].clause or other.text in _JOINS)
            if other.sentence != words[at].sentence or other.value is not None or later:
                break
            for role, spoken in quantity.roles.items():
                if other.text in spoken:
                    return role
    return PLAIN_ROLE


def differences(found: Sequence[Figure], lexicon: Lexicon) -> Iterator[tuple[str, Figure, Figure]]:
    """Yield (concept, figure, other figure) for figures that differ as the lexicon's comparisons say."""
    for quantity in lexicon.quantities:
        by_role: dict[str, Figure] = {}
        for figure in found:
            if figure.quantity is quantity:
                by_role.setdefault(figure.role, figure)
        for compare in quantity.compare:
            a, b = by_role.get(compare.first), by_role.get(compare.second)
            if a and b and _differ(a.value.si(), b.value.si(), compare.by, compare.share):
                yield compare.concept, a, b


def _differ(a: float, b: float, by: str, share: float) -> bool:
    over = (a - b) / b if b else 0.0
    return over < -share if by == "below" else over > share if by == "above" else abs(over) > share


