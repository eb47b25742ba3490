"""Forward chaining: the rules of the YAML run on experta; the indexed counter is its oracle and fallback.

This is the only module that knows experta. The released 1.9.4 needs three precautions: its pinned
frozendict looks for `collections.Mapping`; importing it installs a handler on the root logger; and its
stock strategy leaves activations on the agenda whose NOT has become false. All conditions are ground,
one engine class is built per knowledge and reset per run, and the engine is thrown away after any error.
"""

from __future__ import annotations

import collections
import collections.abc
import heapq
import logging
import math
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from diag.knowledge.base import Knowledge
from diag.knowledge.layers import layers
from diag.reason.facts import PASS_TWO, Clause, clauses

log = logging.getLogger(__name__)
MOST_CLAUSES = 2500
"""Above, the indexed counter runs the rules: equal firings, without experta's time for a reset."""
FORCE_COUNTER = "DIAG_RULES_COUNTER"
"""Environment variable that forces the fallback (tests use it)."""


@dataclass(frozen=True)
class Firing:
    """One rule that fired: by which clause, on which keys."""

    rule: str
    clause: int
    keys: tuple[str, ...]
    """Keys that had to be known (numbers by their reading key)."""
    absent: tuple[str, ...] = ()


@dataclass(frozen=True)
class FactSet:
    """Facts of one run: keys known and numbers by reading key."""

    keys: frozenset[str] = frozenset()
    numbers: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


def _import_experta() -> Any:
    """Import experta behind the shim; return the module, or None when it cannot be imported here."""
    if os.environ.get(FORCE_COUNTER):
        return None
    root = logging.getLogger()
    before = list(root.handlers)
    patched = not hasattr(collections, "Mapping")
    if patched:
        collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
    try:
        import experta

        return experta if hasattr(experta, "KnowledgeEngine") else None
    except Exception as error:  # whatever a later Python makes of it, the counter carries on
        log.warning("experta cannot be imported (%s): rules run on the indexed counter", error)
        return None
    finally:
        if patched:
            del collections.Mapping  # type: ignore[attr-defined]
        for handler in [h for h in root.handlers if h not in before]:
            root.removeHandler(handler)
        logging.getLogger("experta").setLevel(logging.WARNING)


class RuleBase:
    """The rules of one knowledge base, ready to run again and again."""

    def __init__(self, knowledge: Knowledge, *, counter: bool = False) -> None:
        self.clauses: tuple[Clause, ...] = clauses(knowledge, layers(knowledge.rules.values()))
        large = len(self.clauses) > MOST_CLAUSES
        self._experta = None if counter or large else _import_experta()
        self._engine_class: Any = None
        self._engine: Any = None
        self._ran: FactSet | None = None
        """Facts of the first pass that the engine still holds."""
        self._counter = Counter(self.clauses)

    @property
    def engine_name(self) -> str:
        """Name of what runs the rules: experta, or the indexed counter."""
        return "experta" if self._experta else "indexed counter"

    def run(self, facts: FactSet, belief: Iterable[str] | None = None) -> tuple[Firing, ...]:
        """Return the firings over all facts, first one first.

        With `belief` (keys such as "belief:x=likely") only the rules of the second pass are returned;
        they see the findings of the first pass too.
        """
        added = None if belief is None else frozenset({PASS_TWO, *belief})
        if self._experta is None:
            fired = self._counter.run(FactSet(facts.keys | (added or frozenset()), facts.numbers))
        else:
            fired = self._run_engine(facts, added)
        by_rule: dict[str, Clause] = {}
        for clause in fired:
            if clause.second_pass == (added is not None):
                by_rule.setdefault(clause.rule, clause)
        return tuple(_firing(c) for c in by_rule.values())

    def _run_engine(self, facts: FactSet, added: frozenset[str] | None) -> list[Clause]:
        """Run a fresh first pass; a second pass over the same facts goes on where the first one stopped."""
        if self._engine is None:
            if self._engine_class is None:
                self._engine_class = _build(self._experta, self.clauses)
            self._engine, self._ran = self._engine_class(), None
        engine = self._engine
        try:
            if added is None or self._ran != facts:
                engine.reset()
                engine.fired = []
                engine.declare(*engine.facts_from(facts))
                engine.run()
                self._ran = facts if added is None else None
            if added is not None:
                engine.declare(*engine.facts_from(FactSet(added)))
                engine.run()
                self._ran = None
            return list(engine.fired)
        except Exception:
            self._engine = None
            raise


def _firing(clause: Clause) -> Firing:
    wanted = tuple(x.key for x in clause.literals if not x.negated and x.key != PASS_TWO)
    return Firing(clause.rule, clause.number, wanted, tuple(x.key for x in clause.literals if x.negated))


class Counter:
    """Rules indexed by what they wait for; each clause counts the literals that still fail."""

    def __init__(self, made: Sequence[Clause]) -> None:
        self._clauses = made
        self._waiting: dict[str, list[int]] = {}
        for index, clause in enumerate(made):
            for literal in clause.literals:
                if not literal.negated:
                    self._waiting.setdefault(literal.key, []).append(index)

    def run(self, facts: FactSet) -> list[Clause]:
        """Return the clauses that fire, in firing order."""
        keys = set(facts.keys)
        ready = [i for i, c in enumerate(self._clauses) if self._holds(c, keys, facts)]
        heapq.heapify(ready)
        queued, fired = set(ready), []
        while ready:
            index = heapq.heappop(ready)
            clause = self._clauses[index]
            if not self._holds(clause, keys, facts):
                queued.discard(index)
                continue
            fired.append(clause)
            if clause.finds and f"finding:{clause.finds}" not in keys:
                key = f"finding:{clause.finds}"
                keys.add(key)
                for other in self._waiting.get(key, ()):
                    if other not in queued and self._holds(self._clauses[other], keys, facts):
                        queued.add(other)
                        heapq.heappush(ready, other)
        return fired

    @staticmethod
    def _holds(clause: Clause, keys: set[str], facts: FactSet) -> bool:
        return all(literal.holds(keys, facts.numbers) for literal in clause.literals)


def _build(experta: Any, made: Sequence[Clause]) -> Any:
    """Return an engine class with one experta rule per clause."""

    read = {x.key for clause in made for x in clause.literals}
    kinds = {key: place for place, key in enumerate(sorted(read))}
    wide = max(1, math.isqrt(len(kinds)))
    known = [type(f"Known{i}", (experta.Fact,), {}) for i in range(len(kinds) // wide + 1)]
    numbers = [type(f"Reading{i}", (experta.Fact,), {}) for i in range(len(kinds) // wide + 1)]

    def fact(key: str) -> Any:
        """A key that is known. Kinds of fact spare the network trying every fact on every key."""
        return known[kinds[key] // wide](key=key)

    def reading(key: str, number: Any) -> Any:
        """A number by its key."""
        return numbers[kinds[key] // wide](key=key, number=number)

    class Ordered(experta.strategies.Strategy):
        """Total order by salience (one per clause); removal by equality over the whole agenda."""

        def get_key(self, activation: Any) -> Any:
            return activation.rule.salience

        def _update_agenda(self, agenda: Any, added: Any, removed: Any) -> None:
            gone = {id(a) for r in removed for a in agenda.activations if _same(a, r)}
            agenda.activations = [a for a in agenda.activations if id(a) not in gone]
            for activation in added:
                activation.key = self.get_key(activation)
                agenda.activations.append(activation)
            agenda.activations.sort(key=lambda a: a.key)

    def facts_from(self: Any, facts: FactSet) -> list[Any]:
        made_facts = [fact(key) for key in sorted(facts.keys & read)]
        for key, values in sorted(facts.numbers.items()):
            made_facts += [reading(key, float(v)) for v in sorted(set(values)) if key in read]
        return made_facts

    class OnceOver(experta.matchers.ReteMatcher):
        """The stock matcher; a reset visits each node once, not once for every way that leads to it."""

        def reset(self) -> None:
            if not hasattr(self, "_every_node"):
                found, waiting = {}, [self.root_node]
                while waiting:
                    node = waiting.pop()
                    if id(node) not in found:
                        found[id(node)] = node
                        waiting += [child.node for child in node.children]
                self._every_node = tuple(found.values())
            for node in self._every_node:
                node._reset()

    body: dict[str, Any] = {"__strategy__": Ordered, "__matcher__": OnceOver, "facts_from": facts_from, "fired": []}
    tests: dict[tuple[str, float], Any] = {}

    def pattern(literal: Any) -> Any:
        if not literal.side:
            plain = fact(literal.key)
        else:
            test = tests.setdefault((literal.side, literal.limit), _beyond(literal.side, literal.limit))
            plain = reading(literal.key, experta.P(test))
        return experta.NOT(plain) if literal.negated else plain

    for rank, clause in enumerate(made):
        name = f"rule_{rank:05d}"
        patterns = [pattern(x) for x in sorted(clause.literals, key=lambda x: (x.negated, x.key, x.side, x.limit))]
        told = fact if f"finding:{clause.finds}" in read else None
        body[name] = experta.Rule(*patterns, salience=-rank)(_action(name, clause, told))
    return type("Engine", (experta.KnowledgeEngine,), body)


def _same(one: Any, other: Any) -> bool:
    return bool(one.rule == other.rule and one.facts == other.facts and one.context == other.context)


def _beyond(side: str, limit: float) -> Any:
    """Return a total predicate: wrong types are simply not beyond the limit."""
    if side == "below":
        return lambda x: isinstance(x, float) and x < limit
    return lambda x: isinstance(x, float) and x > limit


def _action(name: str, clause: Clause, told: Callable[[str], Any] | None) -> Any:
    """Return what a rule does when it fires; `told` makes the fact of its finding, None when no rule reads it."""

    def fire(self: Any) -> None:
        self.fired.append(clause)
        if clause.finds and told:
            self.declare(told(f"finding:{clause.finds}"))

    fire.__name__ = name
    return fire
