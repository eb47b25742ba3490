"""Rows and measured values in the caller's words, and what figures say beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from diag.errors import UnitError
from diag.hear.said import Said
from diag.hear.said_words import Word
from diag.knowledge.words import PLAIN_ROLE, Lexicon, SpokenQuantity
from diag.units import QUANTITIES, Measured, check_possible, suspicion, unit_at

MOST_ROWS = 96
LOOSE_ROWS = 48  # highest row number taken from "on 9"
_SMALLEST_MACHINE = 4
_ALL_OF_THEM = 6  # from this many on "all eight" are the rows of the planter
_ROLE_BEFORE, _ROLE_AFTER = 6, 3  # words between a role word and its figure
_ALIKE = 2.0  # a bare number this many times more or less than a full figure is in thousands too
_LARGE = 10_000  # a number that large counts no feet or acres
_RANGE = ("-", "to", "through")
_LIST = ("and", "&", "+", "or", "nor")
_ORDINAL = ("st", "nd", "rd", "th")


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows named by number, as one types them, with the pattern they make and their place in the text."""

    value: str
    pattern: str
    first: int
    last: int
    numbers: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured value in the words."""

    quantity: SpokenQuantity
    role: str
    value: Measured
    doubt: str
    first: int
    last: int


# ------------------------------------------------------------------------------------------------ rows


def rows(said: Said) -> list[Rows]:
    """Return the rows named by number: "row 7", "rows 3 to 5", "skips on 2", "third row", "all but 4"."""
    found: list[Rows] = []
    at = 0
    while at < len(said.words):
        numbers, last = _row_list(said, at)
        if not numbers:
            at += 1
            continue
        found.append(_as_rows(said.words, numbers, at, last))
        at = last
    return found


def machine_rows(said: Said) -> list[Rows]:
    """Return the size of the planter where it is named: "16-row", "all twelve rows"."""
    found = []
    for at, word in enumerate(said.words):
        number = _whole(word)
        if number is None or not _SMALLEST_MACHINE <= number <= MOST_ROWS or at + 1 >= len(said.words):
            continue
        dash = said.words[at + 1].text == "-"
        after = said.words[at + 1 + dash].text if at + 1 + dash < len(said.words) else ""
        before = said.words[at - 1].text if at and said.words[at - 1].pause == word.pause else ""
        named = before in said.lexicon.row_words or before in _RANGE or before in _LIST
        all_of_them = before == "all" and number >= _ALL_OF_THEM and after not in said.lexicon.counted
        if (after == "row" and not named) or (before == "all" and after == "rows") or all_of_them:
            found.append(Rows(str(number), "", at, at + 1 + (dash + 1 if after in ("row", "rows") else 0)))
    return found


def _row_list(said: Said, at: int) -> tuple[list[int], int]:
    words, lexicon = said.words, said.lexicon
    word = words[at]
    ordinal = _ordinal(said, at)
    if ordinal:
        return [ordinal[0]], ordinal[1]
    if word.text in lexicon.row_words:
        start = at + 1
        while start < len(words) and words[start].text in ("#", "number"):
            start += 1
        return _numbers(said, start, MOST_ROWS, first_sure=True)
    before = words[at - 1].text if at else ""
    if word.text in lexicon.loose_row_words and before not in lexicon.loose_row_words[word.text]:
        return _numbers(said, at + 1, LOOSE_ROWS, first_sure=False)
    return [], at


def _ordinal(said: Said, at: int) -> tuple[int, int] | None:
    """Return (row, end) of "third row" or "7th unit"."""
    words, word = said.words, said.words[at]
    number, after = said.lexicon.ordinals.get(word.text), at + 1
    if number is None and after < len(words) and words[after].text in _ORDINAL:
        number, after = _whole(word), after + 1
    if number is None or after >= len(words) or (at and words[at - 1].text in ("every", "each")):
        return None
    return (number, after + 1) if words[after].text in ("row", "unit", "box", "hopper") else None


def _numbers(said: Said, at: int, most: int, *, first_sure: bool) -> tuple[list[int], int]:
    """Return the row numbers listed from word `at` on, ranges written out, and where the list ends."""
    words = said.words
    found: list[int] = []
    end = at
    while at < len(words) and words[at].sentence == words[end - 1].sentence:
        number = _whole(words[at])
        if number is None or not 1 <= number <= most or _counts_else(said, at, sure=first_sure and not found):
            break
        found.append(number)
        end = at = at + 1
        if at + 1 < len(words) and words[at].text in _RANGE:
            upper = _whole(words[at + 1])
            if upper is None or not number < upper <= most or _counts_else(said, at + 1, sure=False):
                break
            found.extend(range(number + 1, upper + 1))
            end = at = at + 2
        while at < len(words) and words[at].text in (*_LIST, "row", "rows", "#", "number"):
            at += 1
    return found, end


def _counts_else(said: Said, at: int, *, sure: bool) -> bool:
    """Tell whether the number at this word counts something else ("5 mph"), not a row."""
    if at + 1 >= len(said.words) or said.words[at + 1].sentence != said.words[at].sentence:
        return False
    after = said.words[at + 1].text
    return after in said.lexicon.counted and not (sure and len(after) <= 2 and after.isalpha())


def _as_rows(words: Sequence[Word], numbers: list[int], first: int, last: int) -> Rows:
    listed = sorted(set(numbers))
    value = as_ranges(listed)
    if _all_but(words, first):
        return Rows(f"all but {value}", "all_but_one" if len(listed) == 1 else "some", first, last,
                    numbers=tuple(listed))
    side = len(listed) > 1 and listed[-1] - listed[0] == len(listed) - 1
    return Rows(value, "one" if len(listed) == 1 else "adjacent" if side else "some", first, last,
                numbers=tuple(listed))


def _all_but(words: Sequence[Word], first: int) -> bool:
    """Tell whether "all but" or "every row except" stands before; "all green but row 7" is no such thing."""
    before = [w.text for w in words[max(0, first - 6) : first] if w.text not in ("for", "the", "of", "them")]
    whole = before[:-2] if before[-2:-1] in (["row"], ["rows"], ["one"]) else before[:-1]
    return before[-1:] in (["but"], ["except"]) and whole[-1:] in (["all"], ["every"])


def as_ranges(numbers: Sequence[int]) -> str:
    """Return sorted row numbers as one types them: 3, 7-9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)


def _whole(word: Word) -> int | None:
    value = word.value
    return int(value) if value is not None and value == int(value) and value < 1e6 else None


# --------------------------------------------------------------------------------------------- figures


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
    thousand = quantity.needs_role and _next(said, at) in said.lexicon.thousands
    return _bare(said, quantity, at, sure) if near or thousand else None


def _by_role(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    """Return a number without unit whose role is told ("the book says 12") when another value is known."""
    if not sure or _role(said, quantity, at) == PLAIN_ROLE:
        return None
    return _bare(said, quantity, at, sure) or _like_others(said, quantity, at, sure)


def _bare(said: Said, quantity: SpokenQuantity, at: int, sure: Sequence[Figure]) -> Figure | None:
    number, after = said.words[at].value or 0.0, _next(said, at)
    thousand = after in said.lexicon.thousands
    if (after in said.lexicon.counted and not thousand and number < _LARGE) or not _allowed(said, quantity, at):
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
    """Return the role whose word stands nearest: before the figure, else close after it."""
    words = said.words
    before = range(at - 1, max(-1, at - 1 - _ROLE_BEFORE), -1)
    after = range(at + 1, min(len(words), at + 1 + _ROLE_AFTER))
    for places in (before, after):
        for place in places:
            other = words[place]
            later = place > at and other.clause != words[at].clause
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


