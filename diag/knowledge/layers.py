"""The order in which rules may fire: a rule with `not` over a finding stands above all that derive it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diag.knowledge.condition import When
from diag.knowledge.model import Rule


class CyclicRulesError(Exception):
    """Rules that hang on one another through `not`; `rules` names them."""

    def __init__(self, rules: tuple[str, ...]) -> None:
        super().__init__(rules)
        self.rules = rules


def read_findings(when: When, negated: bool = False) -> Iterator[tuple[str, bool]]:
    """Yield (finding, negated) for every finding a condition reads."""
    if when.finding:
        yield when.finding, negated
    for child in (*when.all, *when.any):
        yield from read_findings(child, negated)
    if when.not_:
        yield from read_findings(when.not_, not negated)


def layers(rules: Iterable[Rule]) -> Mapping[str, int]:
    """Return rule id -> layer (0 first); raise CyclicRulesError when `not` closes a circle."""
    rules = sorted(rules, key=lambda r: r.id)
    derivers: dict[str, list[str]] = {}
    for rule in rules:
        if rule.then.finds:
            derivers.setdefault(rule.then.finds, []).append(rule.id)
    needs = {r.id: [(d, neg) for f, neg in read_findings(r.when) for d in derivers.get(f, ())] for r in rules}
    level = dict.fromkeys(needs, 0)
    for _ in range(len(rules) + 1):
        changed = []
        for rule_id, sources in needs.items():
            wanted = max((level[d] + (1 if neg else 0) for d, neg in sources), default=0)
            if wanted > level[rule_id]:
                level[rule_id] = wanted
                changed.append(rule_id)
        if not changed:
            return level
    raise CyclicRulesError(tuple(sorted(changed)))
