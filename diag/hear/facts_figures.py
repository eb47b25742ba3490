"""Figures in a caller's words as facts: measured values, counts, shares of what was looked at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from diag.hear.ear import Ear, quote
from diag.hear.fact import Candidate, FactFound
from diag.hear.numbers import MACHINE_ROWS, NOTHING, OTHER_ROW, ROW
from diag.hear.said import Said
from diag.hear.said_figures import Figure, bare_figure, unit_said
from diag.knowledge.words import ANY_ROLE, PLAIN_ROLE, SpokenQuantity

Chances = Mapping[str, float]
OFFERED, TICKED = 0.4, 0.85
"""Chances from which a figure, or a slot of the whole text, is offered and a figure ticked."""
RULE_OFFERED = 0.25
"""The same for offering rows and figures that a rule finds as well."""
UNSURE = 0.5
"""Chance of what a rule finds where nothing was learnt."""
_SEEDS = "rate"
_OF_SEEDS = ("count", "skips", "doubles")
"""Kinds of figures that all count seeds."""
_OUT_OF = (("of",), ("out", "of"), ("in",), ("in", "a"), ("per",), ("from",))
"""Words between a count and how many were looked at: "5 of 20"."""
_LEAST_LOOKED_AT = 5
_SHARE_TICKED = 0.5


def figures_in(ear: Ear, told: Mapping[int, Chances]) -> list[FactFound]:
    """Return measured values: with the unit that was said, else with the one such a number has."""
    said, ruled = ear.said, {f.first: f for f in ear.values}
    quantities = {q.name: q for q in said.lexicon.quantities}
    shares = {share.first: share for share in _shares(ear)}
    found = [f for share in shares.values() if (f := _share_fact(said, share, told))]
    for at in sorted({*ruled, *told} - {at for s in shares.values() for at in (s.first, s.last)}):
        chances = told.get(at, {})
        kind, chance = _likeliest(chances, quantities)
        figure = ruled.get(at)
        if figure is not None and (not chances or _supported(figure, chances) or unit_said(said, figure)):
            sure = chance >= TICKED and kind.startswith(figure.quantity.name)
            sure |= unit_said(said, figure) and not figure.quantity.needs_role
            found.append(_figure_fact(said, figure, ticked=sure))
        elif chance >= OFFERED and kind not in (NOTHING, ROW, OTHER_ROW, MACHINE_ROWS):
            quantity = quantities.get(kind.partition("_")[0])
            role = kind.partition("_")[2] or PLAIN_ROLE
            figure = bare_figure(said, quantity, at, ear.values) if quantity else None
            if figure is not None:
                found.append(_figure_fact(said, replace(figure, role=role), ticked=chance >= TICKED))
            elif quantity is None or not quantity.bare:  # a unit that nobody said is not made up
                found.append(_plain_fact(said, at, kind, ticked=chance >= TICKED and quantity is None))
    return _one_value_a_field(found) + _measured(ear, {f.value for f in found if f.ticked})


@dataclass(frozen=True, slots=True)
class _Share:
    """So many of so many: the places of both numbers."""

    first: int
    last: int


def _shares(ear: Ear) -> Iterator[_Share]:
    """Yield "5 of 20", "3 out of a hundred": no rows, and nothing that has a unit of its own."""
    words, lexicon = ear.said.words, ear.said.lexicon
    named = {at for r in ear.rows for at in range(r.first, r.last)}
    named |= {at for r in ear.machine_rows for at in range(r.first, r.last)}
    for at, word in enumerate(words):
        for between in _OUT_OF:
            last = at + len(between) + 1
            if last >= len(words) or tuple(w.text for w in words[at + 1 : last]) != between:
                continue
            few, many, after = word.value, words[last].value, words[last + 1].text if last + 1 < len(words) else ""
            if few is None or many is None or many < _LEAST_LOOKED_AT or not few < many or few != int(few):
                continue
            if named.isdisjoint((at, last)) and after not in (*lexicon.row_words, *lexicon.counts_else):
                yield _Share(at, last)


def _share_fact(said: Said, share: _Share, told: Mapping[int, Chances]) -> FactFound | None:
    """Return a share as one fact; its kind is what its count is likeliest told for."""
    words, chances = said.words, told.get(share.first, {})
    kinds = {kind: chances.get(kind, UNSURE if not told else 0.0) for kind in _OF_SEEDS}
    chance = sum(p for place in (share.first, share.last) for k, p in told.get(place, {}).items() if k in _OF_SEEDS) / 2
    if told and chance < RULE_OFFERED:
        return None
    value = f"{words[share.first].value:g} of {words[share.last].value:g}"
    spoken, kind = quote(said, share.first, share.last + 1), max(kinds, key=lambda k: kinds[k])
    return FactFound(kind, value, spoken, (Candidate("reading", kind, spoken),), ticked=chance >= _SHARE_TICKED)


def _one_value_a_field(found: Sequence[FactFound]) -> list[FactFound]:
    """Return the facts; where several values would stand in one field ("fine at 4 mph, not at 7"), in none of them."""
    values: dict[str, set[str]] = defaultdict(set)
    for fact in found:
        for offer in fact.offers:
            if offer.slot == "situation":
                values[offer.name].add(offer.value)
    one = {name for name, several in values.items() if len(several) == 1}
    return [replace(f, offers=tuple(o for o in f.offers if o.slot != "situation" or o.name in one)) for f in found]


def _measured(ear: Ear, sure: set[str]) -> list[FactFound]:
    """Return readings that are a check's answer: a figure in each of the roles that it asks for, and no other."""
    found = []
    for quantity in ear.said.lexicon.quantities:
        told = [f for f in ear.values if f.quantity is quantity]
        for check, places in quantity.measures.items():
            by_role = {f.role: f for f in told}
            if len(told) != len(places) or by_role.keys() != set(places.values()) or any(f.doubt for f in told):
                continue
            read = {place: by_role[role].value for place, role in places.items()}
            value = ", ".join(f"{place} {v.value} {v.unit}" for place, v in read.items())
            words = " ... ".join(quote(ear.said, f.first, f.last) for f in told)
            all_sure = {f"{v.value} {v.unit}" for v in read.values()} <= sure
            offers = (Candidate("measured", check, value),)
            found.append(FactFound(f"{quantity.name}_measured", value, words, offers, ticked=all_sure))
    return found


def _likeliest(chances: Chances, quantities: Mapping[str, SpokenQuantity]) -> tuple[str, float]:
    """Return what a number is likeliest told for, and the chance that it is of that quantity, whatever its role."""
    alike: dict[str, float] = defaultdict(float)
    for kind, chance in chances.items():
        alike[_quantity(kind, quantities)] += chance
    best = max(alike, key=lambda q: alike[q], default=NOTHING)
    kinds = [k for k in chances if _quantity(k, quantities) == best]
    return max(kinds, key=lambda k: chances[k], default=NOTHING), alike.get(best, 0.0)


def _quantity(kind: str, quantities: Mapping[str, SpokenQuantity]) -> str:
    name = kind.partition("_")[0]
    return name if name in quantities else _SEEDS if kind in _OF_SEEDS else kind


def _supported(figure: Figure, chances: Chances) -> bool:
    """Tell whether what was learnt does not speak against the rule."""
    alike = sum(p for kind, p in chances.items() if kind.startswith(figure.quantity.name))
    counts = chances.get("count", 0.0) if figure.quantity.needs_role else 0.0
    return alike + counts >= RULE_OFFERED


def _figure_fact(said: Said, figure: Figure, *, ticked: bool) -> FactFound:
    quantity, value = figure.quantity, f"{figure.value.value} {figure.value.unit}"
    kind = quantity.name if figure.role == PLAIN_ROLE else f"{quantity.name}_{figure.role}"
    field = quantity.situation.get(figure.role) or quantity.situation.get(ANY_ROLE)
    offers = [Candidate("reading", kind, value)]
    if field:
        offers.append(Candidate("situation", field, value))
    return FactFound(kind, value, quote(said, figure.first, figure.last), tuple(offers), doubt=figure.doubt,
                     ticked=ticked and not figure.doubt)


def _plain_fact(said: Said, at: int, kind: str, *, ticked: bool) -> FactFound:
    """Return a count or another figure without a unit of its own, in the caller's words."""
    word, words = said.words[at], said.words
    after = at + 1 < len(words) and words[at + 1].text in said.lexicon.counts_else and words[at + 1].pause == word.pause
    spoken = quote(said, at, at + 1 + after)
    number = f"{word.value:g}" if word.value is not None else word.text
    return FactFound(kind, number, spoken, (Candidate("reading", kind, spoken),), ticked=ticked)
