"""Clauses run by CLIPS (Riley, NASA; clipspy): the outside oracle of the rules."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import clips

from diag.reason.counting import FactSet
from diag.reason.facts import PASS_TWO, Clause


class Clips:
    """The clauses of a rule base, built once."""

    def __init__(self, made: Sequence[Clause]) -> None:
        self.made, self.fired = made, list[Clause]()
        self.env = clips.Environment()
        self.env.define_function(lambda rank: self.fired.append(made[int(rank)]), name="note")
        self.env.build("(deftemplate known (slot key))")
        self.env.build("(deftemplate reading (slot key) (slot number))")
        for rank, clause in enumerate(made):
            self.env.build(self.rule(rank, clause))

    def rule(self, rank: int, clause: Clause) -> str:
        """One clause in the language of CLIPS."""
        patterns = []
        for n, x in enumerate(sorted(clause.literals, key=lambda x: x.negated)):
            pattern = f'(known (key "{x.key}"))'
            if x.side:
                op = "<" if x.side == "below" else ">"
                pattern = f'(reading (key "{x.key}") (number ?n{n}&:({op} ?n{n} {x.limit!r})))'
            patterns.append(f"(not {pattern})" if x.negated else pattern)
        act = f'(assert (known (key "finding:{clause.finds}")))' if clause.finds else ""
        head = f"(defrule r{rank} (declare (salience {-rank}))"
        return f'{head} {" ".join(patterns)} => (note {rank}) {act})'

    def run(self, facts: FactSet, belief: Iterable[str] = ()) -> list[Clause]:
        """Return the clauses that fire in both passes, each once."""
        self.env.reset()
        self.fired.clear()
        for key in sorted(facts.keys):
            self.env.assert_string(f'(known (key "{key}"))')
        for key, values in facts.numbers.items():
            for value in sorted(set(values)):
                self.env.assert_string(f'(reading (key "{key}") (number {value!r}))')
        self.env.run()
        for key in (PASS_TWO, *belief):
            self.env.assert_string(f'(known (key "{key}"))')
        self.env.run()
        return list(dict.fromkeys(self.fired))
