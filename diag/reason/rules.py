"""The rules of the YAML, forward chained: counted for the answer, derived by experta for the trace that is shown.

Counting (counting.py) takes 0.1 ms a run, experta 10 to 20 ms and a third of a second to build its network, so the
question after an answer waits for the count. Whatever shows or keeps why a rule fired has experta derive it from the
same facts, and a difference is an error.

This is the only module that knows experta. The released 1.9.4 needs three precautions: its pinned
frozendict looks for `collections.Mapping`; importing it installs a handler on the root logger; and its
stock strategy leaves activations on the agenda whose NOT has become false. All conditions are ground,
one engine class is built per knowledge and reset per run, and the engine is thrown away after any error.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
import math
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from diag.errors import RulesError
from diag.knowledge.base import Knowledge
from diag.knowledge.layers import layers
from diag.reason.counting import Counter, FactSet
from diag.reason.facts import PASS_TWO, Clause, Literal, clauses

log = logging.getLogger(__name__)
MOST_CLAUSES = 2500
"""Above, rules are counted only: experta's network would take seconds to build."""
FORCE_COUNTER = "DIAG_RULES_COUNTER"
"""Environment variable that forces the fallback (tests use it)."""


@dataclass(frozen=True)
class Firing:
    """One rule that fired: by which clause, on which keys."""

    rule: str
    clause: int
    keys: tuple[str, ...]
    """Keys that had to be known (numbers by their reading key)."""


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
    except Exception as error:  # whatever a later Python makes of it, counting carries on
        log.warning("experta cannot be imported (%s): rules are counted only", error)
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
        self._counter = Counter(self.clauses)
        self._derives = not counter and len(self.clauses) <= MOST_CLAUSES
        self._engine: Any = None

    @cached_property
    def _experta(self) -> Any:
        return _import_experta() if self._derives else None

    @property
    def engine_name(self) -> str:
        """Name of what derives the trace: experta, or counting alone."""
        return "experta" if self._experta else "counting"

    def run(self, facts: FactSet, belief: Iterable[str] | None = None) -> tuple[Firing, ...]:
        """Return the firings over all facts, first one first.

        With `belief` (keys such as "belief:x=likely") only the rules of the second pass are returned;
        they see the findings of the first pass too.
        """
        added = frozenset() if belief is None else frozenset({PASS_TWO, *belief})
        fired = self._counter.run(FactSet(facts.keys | added, facts.numbers))
        return firings_of(c for c in fired if c.second_pass == (belief is not None))

    def trace(self, facts: FactSet, belief: Iterable[str], counted: Sequence[Firing]) -> tuple[Firing, ...]:
        """Return the firings of both passes as experta derives them; raise RulesError where `counted` differs."""
        if not self._experta:
            return tuple(counted)
        derived = firings_of(self.derived(facts, belief))
        if derived != tuple(counted):
            apart = sorted({f.rule for f in {*derived} ^ {*counted}}) or ["their order"]
            raise RulesError(
                f"The rules were run in two ways and do not agree: {', '.join(apart)}.", "rules",
                "Trust neither for now; export the call and report it with the program's version.",
            )
        return derived

    def derived(self, facts: FactSet, belief: Iterable[str] = ()) -> list[Clause]:
        """Return the clauses that experta fires, in firing order: first pass, then on with `belief`."""
        if self._engine is None:
            self._engine = _build(self._experta, self.clauses)()
        engine = self._engine
        try:
            engine.reset()
            engine.fired = []
            engine.declare(*engine.facts_from(facts))
            engine.run()
            engine.declare(*engine.facts_from(FactSet(frozenset({PASS_TWO, *belief}))))
            engine.run()
            return list(engine.fired)
        except Exception:
            self._engine = None
            raise


def firings_of(fired: Iterable[Clause]) -> tuple[Firing, ...]:
    """Return one firing per rule, by the first of its clauses that fired."""
    by_rule: dict[str, Clause] = {}
    for clause in fired:
        by_rule.setdefault(clause.rule, clause)
    return tuple(_firing(c) for c in by_rule.values())


def _firing(clause: Clause) -> Firing:
    wanted = tuple(x.key for x in clause.literals if not x.negated and x.key != PASS_TWO)
    return Firing(clause.rule, clause.number, wanted)


def _build(experta: Any, made: Sequence[Clause]) -> Any:
    """Return an engine class with one experta rule per clause."""
    network = _Network(experta, {x.key for clause in made for x in clause.literals})
    body: dict[str, Any] = {
        "__strategy__": _strategy(experta), "__matcher__": _matcher(experta), "fired": [],
        "facts_from": lambda _, facts: network.facts_from(facts),
    }
    for rank, clause in enumerate(made):
        name = f"rule_{rank:05d}"
        patterns = map(network.pattern, sorted(clause.literals, key=lambda x: (x.negated, x.key, x.side, x.limit)))
        told = network.fact if f"finding:{clause.finds}" in network.read else None
        body[name] = experta.Rule(*patterns, salience=-rank)(_action(name, clause, told))
    return type("Engine", (experta.KnowledgeEngine,), body)


class _Network:
    """Facts and patterns over the keys that clauses read."""

    def __init__(self, experta: Any, read: set[str]) -> None:
        self.read = read
        self._experta = experta
        self._place = {key: place for place, key in enumerate(sorted(read))}
        self._wide = max(1, math.isqrt(len(read)))
        kinds = range(len(read) // self._wide + 1)
        self._known = [type(f"Known{i}", (experta.Fact,), {}) for i in kinds]
        self._numbers = [type(f"Reading{i}", (experta.Fact,), {}) for i in kinds]
        self._tests: dict[tuple[str, float], Any] = {}

    def fact(self, key: str) -> Any:
        """A key that is known. Kinds of fact spare the network trying every fact on every key."""
        return self._known[self._place[key] // self._wide](key=key)

    def reading(self, key: str, number: Any) -> Any:
        """A number by its key."""
        return self._numbers[self._place[key] // self._wide](key=key, number=number)

    def facts_from(self, facts: FactSet) -> list[Any]:
        """Return the facts that some clause reads, in the order of their keys."""
        made = [self.fact(key) for key in sorted(facts.keys & self.read)]
        for key, values in sorted(facts.numbers.items()):
            made += [self.reading(key, float(v)) for v in sorted(set(values)) if key in self.read]
        return made

    def pattern(self, literal: Literal) -> Any:
        """Return what a literal asks; one test serves all that ask for the same side of the same limit."""
        if not literal.side:
            plain = self.fact(literal.key)
        else:
            test = self._tests.setdefault((literal.side, literal.limit), _beyond(literal.side, literal.limit))
            plain = self.reading(literal.key, self._experta.P(test))
        return self._experta.NOT(plain) if literal.negated else plain


def _strategy(experta: Any) -> Any:
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

    return Ordered


def _matcher(experta: Any) -> Any:
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

    return OnceOver


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
