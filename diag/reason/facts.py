"""The ground facts that rules match: one text key per thing known, one number per reading.

A condition of the YAML becomes a set of literals in disjunctive form; a literal is a key that must (or
must not) be known, or a number that must lie on one side of a limit. Everything is ground: no variables.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from diag.knowledge.base import Knowledge
from diag.knowledge.condition import When
from diag.knowledge.limits import bound_si
from diag.knowledge.machines import Applies
from diag.knowledge.model import Rule

PASS_TWO = "pass:2"
LIKELY, OPEN = "likely", "open"


@dataclass(frozen=True, order=True)
class Literal:
    """One test: a key known (or not, when `negated`), or a number of `key` beyond `limit`."""

    key: str
    negated: bool = False
    side: str = ""
    """"", "below" or "above"."""
    limit: float = 0.0

    def holds(self, keys: Mapping[str, object] | set[str], numbers: Mapping[str, tuple[float, ...]]) -> bool:
        """Return whether the test holds over known keys and numbers."""
        if not self.side:
            found = self.key in keys
        elif self.side == "below":
            found = any(n < self.limit for n in numbers.get(self.key, ()))
        else:
            found = any(n > self.limit for n in numbers.get(self.key, ()))
        return found != self.negated


@dataclass(frozen=True)
class Clause:
    """One way in which a rule can fire: all its literals must hold."""

    rule: str
    number: int
    layer: int
    second_pass: bool
    literals: tuple[Literal, ...]
    finds: str | None


def clauses(knowledge: Knowledge, layers: Mapping[str, int]) -> tuple[Clause, ...]:
    """Return every clause of every rule, in firing order (pass, layer, rule id, number)."""
    made = []
    for rule in knowledge.rules.values():
        second = any(leaf.belief for leaf in rule.when.leaves())
        gate = (Literal(PASS_TWO),) if second else ()
        for number, literals in enumerate(_ways(rule, knowledge)):
            unique = tuple(sorted({*literals, *gate}))
            if not _contradicts(unique):
                made.append(Clause(rule.id, number, layers[rule.id], second, literals=unique, finds=rule.then.finds))
    return tuple(sorted(made, key=lambda c: (c.second_pass, c.layer, c.rule, c.number)))


def _contradicts(literals: tuple[Literal, ...]) -> bool:
    plain = {lit.key for lit in literals if not lit.side and not lit.negated}
    return any(not lit.side and lit.negated and lit.key in plain for lit in literals)


def _ways(rule: Rule, knowledge: Knowledge) -> Iterator[frozenset[Literal]]:
    yield from _both(_tree(rule.when, knowledge, negated=False), _axes(rule.applies))


Ways = list[frozenset[Literal]]


def _both(one: Ways, other: Ways) -> Ways:
    merged = [a | b for a, b in product(one, other)]
    return list(dict.fromkeys(merged))


def _tree(when: When, knowledge: Knowledge, negated: bool) -> Ways:
    """Return the disjunctive form; `not` is pushed to the leaves."""
    if when.not_:
        return _tree(when.not_, knowledge, not negated)
    if when.between:
        low, high = when.between
        inside = (when.model_copy(update={"between": None, "above": low}),
                  when.model_copy(update={"between": None, "below": high}))
        return _tree(When(all=inside), knowledge, negated)
    children = when.all or when.any
    if children:
        parts = [_tree(child, knowledge, negated) for child in children]
        if bool(when.all) != negated:
            result: Ways = [frozenset()]
            for part in parts:
                result = _both(result, part)
            return result
        return list(dict.fromkeys(way for part in parts for way in part))
    literals = _leaf(when, knowledge)
    if negated:
        return [frozenset(Literal(x.key, not x.negated, x.side, x.limit) for x in literals)]
    return [frozenset({x}) for x in literals]


def _leaf(when: When, knowledge: Knowledge) -> list[Literal]:
    """Return the literals of which any one satisfies the leaf."""
    if when.answer:
        return [Literal(k) for value in when.is_ for k in _answer_keys(when.answer, value, knowledge)]
    if when.axis:
        return [Literal(f"axis:{when.axis}={value}") for value in when.is_]
    if when.rows:
        return [Literal(f"rows:{value}") for value in when.rows]
    if when.reading:
        return _reading(when, knowledge)
    if when.call:
        return [_beyond(f"call:{when.call}", when, knowledge)]
    if when.belief:
        return _belief(when, knowledge)
    for name in ("answered", "finding", "symptom", "change", "flag", "channel", "repaired"):
        value = getattr(when, name)
        if value:
            return [Literal(f"{name}:{target}") for target in _spread(value, name, knowledge)]
    raise AssertionError("the model admits no other leaf")


def _answer_keys(check: str, value: str, knowledge: Knowledge) -> list[str]:
    if check in knowledge.checks and knowledge.checks[check].takes.kind == "several":
        return [f"answer:{check}.{value}=yes"]
    return [f"answer:{check}={value}"]


def _spread(value: str, name: str, knowledge: Knowledge) -> list[str]:
    if name == "answered" and value in knowledge.checks and knowledge.checks[value].takes.kind == "several":
        return [f"{value}.{item}" for item in knowledge.checks[value].items]
    if value.startswith("@"):
        return [c.id for c in knowledge.causes.values() if c.subsystem == value[1:]]
    return [value]


def _belief(when: When, knowledge: Knowledge) -> list[Literal]:
    word = LIKELY if when.at_least == LIKELY else OPEN  # what is likely is known as open too
    targets = _spread(when.belief or "", "belief", knowledge)
    return [Literal(f"belief:{target}={word}") for target in targets]


def _reading(when: When, knowledge: Knowledge) -> list[Literal]:
    key = f"reading:{when.reading}:{when.result}"
    if when.is_:
        return [Literal(f"{key}={word}") for word in when.is_]
    return [_beyond(key, when, knowledge)]


def _beyond(key: str, when: When, knowledge: Knowledge) -> Literal:
    side, bound = ("below", when.below) if when.below is not None else ("above", when.above)
    limit = bound_si(knowledge, bound) if bound is not None else None
    if limit is None:
        raise AssertionError(f"the loader lets no unknown limit through: {bound}")
    return Literal(key, side=side, limit=limit)


def _axes(applies: Applies) -> Ways:
    found: Ways = []
    for way in applies.ways:
        ways: Ways = [frozenset()]
        for axis, values in way.items():
            ways = _both(ways, [frozenset({Literal(f"axis:{axis}={v}")}) for v in sorted(values)])
        found += ways
    return list(dict.fromkeys(found))
