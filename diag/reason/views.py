"""What each check would show in each world: stacked outcome tables, and the worlds that questions are chosen on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diag.reason.costs import Prices
from diag.reason.feasible import usual_error
from diag.reason.tables import Array, Flags, Index, Tables
from diag.reason.worlds import ALL_PAIRS_UP_TO, Posterior

HEAVIEST_WORLDS = 150
HEAVIEST_ASKED_ABOUT = 60
"""Causes the look-ahead weighs when there are more than all pairs are kept for."""
LEAST_ASKED_ABOUT = 1e-7
"""Worlds below it are left out of the look-ahead: all of them together move no expected minute that is shown."""
DEEPEST = 12
"""Repairs in a row that are weighed."""
SORTED_WHOLE = 50
"""Columns up to which sorting all of them is quicker than choosing the largest first."""
LEAST_WEIGHT = 1e-5
"""Worlds below it are not repaired for: no single answer makes them likely."""


@dataclass(frozen=True)
class Stack:
    """All checks of one channel over each other: P(outcome | cause), with the usual observer's errors."""

    keys: tuple[str, ...]
    starts: Index
    shares: Array
    """Rows (outcomes of all checks) x causes; the last column is the unknown."""
    normal: Flags
    """By row: is it its check's normal outcome."""
    marked: Flags
    """By check and cause; unknown (last) never."""

    @cached_property
    def position(self) -> dict[str, int]:
        """Place of each check."""
        return {k: i for i, k in enumerate(self.keys)}

    @classmethod
    def of(cls, tables: Tables, channel: str) -> Stack:
        """Build the stack of a channel."""
        parts, starts, keys, normal, marked, at = [], [], [], [], [], 0
        for key, check in tables.knowledge.questions.items():
            table = tables.check(key)
            k = len(table.outcomes)
            whole = np.concatenate((table.shares, table.base[:, None]), axis=1)
            parts.append(_reported(whole, usual_error(check, channel, tables), k))
            keys.append(key)
            starts.append(at)
            at += k
            normal += [i == table.normal for i in range(k)]
            marked.append(np.concatenate((table.marked, [False])))
        return cls(
            tuple(keys), np.array([*starts, at], dtype=np.intp), np.concatenate(parts),
            np.array(normal, dtype=np.bool_), np.array(marked, dtype=np.bool_),
        )

    def rows_of(self, keys: Sequence[str]) -> tuple[Index, Index]:
        """Return (rows of the stack, start of each check among them)."""
        places = np.array([self.position[k] for k in keys], dtype=np.intp)
        begin = self.starts[places]
        many = self.starts[places + 1] - begin
        starts = np.cumsum(many) - many
        return np.arange(int(many.sum())) + np.repeat(begin - starts, many), starts


@dataclass(frozen=True)
class View:
    """The worlds that questions are chosen on: all single faults and "unknown or clear", or the heaviest worlds."""

    first: Index
    """Index of a cause per world; n for the unknown."""
    second: Index
    """Index of the second cause; equal to first in one-fault worlds."""
    weights: Array
    pairs: bool

    @classmethod
    def of(cls, belief: Posterior) -> View:
        """Return the view on a belief."""
        n = len(belief.one)
        rest = belief.unknown + belief.clear
        if belief.mass_two < 0.5:
            asked_about = np.flatnonzero(belief.one >= min(LEAST_ASKED_ABOUT, float(belief.one.max())))
            if n > ALL_PAIRS_UP_TO:
                asked_about = np.sort(np.argsort(-belief.one, kind="stable")[:HEAVIEST_ASKED_ABOUT])
            index = np.append(asked_about, n)
            weights = np.append(belief.one, rest)[index]
            return cls(index, index, weights / max(float(weights.sum()), 1e-300), pairs=False)
        a, c = np.triu_indices(len(belief.pairs), k=1)
        weights = np.concatenate((belief.one, [rest], belief.two[a, c]))
        first = np.concatenate((np.arange(n + 1), belief.pairs[a]))
        second = np.concatenate((np.arange(n + 1), belief.pairs[c]))
        keep = np.argsort(-weights, kind="stable")[:HEAVIEST_WORLDS]
        chosen = weights[keep]
        return cls(first[keep], second[keep], chosen / max(float(chosen.sum()), 1e-300), pairs=True)

    def joint(self, stack: Stack, keys: Sequence[str], rows: Index, starts: Index) -> Array:
        """Return weight x P(outcome | world) for the outcome rows of the chosen checks (rows x worlds)."""
        one = stack.shares[np.ix_(rows, self.first)]
        if not self.pairs:
            single: Array = one * self.weights[None, :]
            return single
        two = stack.shares[np.ix_(rows, self.second)]
        owner = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(rows))))
        marked = stack.marked[[stack.position[k] for k in keys]]
        a, c = marked[:, self.first][owner], marked[:, self.second][owner]
        mean = np.where(a & ~c, one, np.where(c & ~a, two, (one + two) / 2.0))
        normal = stack.normal[rows]
        p_normal = one * two / np.maximum(np.maximum(one, two), stack.shares[rows, -1][:, None])
        of_check = np.add.reduceat(np.where(normal[:, None], p_normal, 0.0), starts)[owner]
        others = np.where(normal[:, None], 0.0, one + two)
        summed = np.add.reduceat(others, starts)[owner]
        spoiled = np.where(normal[:, None], p_normal, (1.0 - of_check) * others / np.maximum(summed, 1e-300))
        has_normal = np.logical_or.reduceat(normal, starts)[owner]
        mixed = np.where(has_normal[:, None], spoiled, mean)
        both = np.where((self.first == self.second)[None, :], one, mixed)
        result: Array = both * self.weights[None, :]
        return result

    # --- costs ------------------------------------------------------------------------------------

    def known(self, beliefs: Array, prices: Prices) -> Array:
        """Return, per belief, the expected minutes once it is known what is wrong."""
        result: Array = beliefs @ self._per_world(prices.known, prices.known_unknown)
        return result

    def _per_world(self, of_cause: Array, of_unknown: float) -> Array:
        """Return the cost of each world: of its cause, or of both."""
        cost = np.append(of_cause, of_unknown)
        result: Array = np.where(self.first == self.second, cost[self.first], cost[self.first] + cost[self.second])
        return result

    def repair_cost(self, beliefs: Array, prices: Prices) -> tuple[Array, Index]:
        """Return, per belief, the least expected minutes without another question, and the repair to begin with.

        Repairs in order of chance per minute, then leaving what is unsolved; -1: leaving at once is cheapest.
        """
        n = len(prices.repair)
        of_a_cause = self.first < n
        least = min(LEAST_WEIGHT, float(self.weights[of_a_cause].max()))
        heavy = (self.weights >= least) & of_a_cause
        causes = np.unique(np.concatenate((self.first[heavy], self.second[heavy])))
        p = self._present(beliefs, causes)
        cost = prices.repair[causes][None, :] + prices.in_vain[causes][None, :] * (1.0 - np.minimum(p, 1.0))
        works = prices.works[causes]
        ratio: Array = np.where(prices.doable[causes][None, :], p * works[None, :] / np.maximum(cost, 0.5), -1.0)
        order = _best_first(ratio.round(8), DEEPEST)
        costs = np.take_along_axis(cost, order, axis=1)
        costs = np.where(np.take_along_axis(ratio, order, axis=1) < 0, 1e9, costs)
        if self.pairs:
            total = self._pair_totals(beliefs, causes[order], costs, prices)
        else:
            chance = np.take_along_axis(p, order, axis=1) * works[order]
            solved = _from_zero(chance)
            reached = _from_zero(costs * (1.0 - solved[:, :-1]))
            found = _from_zero(chance * prices.found[causes][order])
            later = self._found(beliefs, prices)[:, None] - found
            total = reached + (1.0 - solved) * prices.leave + later
        best = total.argmin(axis=1)
        first = np.where(best > 0, causes[order[:, 0]], -1)
        return total[np.arange(len(total)), best], first

    def _found(self, beliefs: Array, prices: Prices) -> Array:
        """Return, per belief, the expected minutes of what is found and mended after leaving."""
        result: Array = beliefs @ self._per_world(prices.found, prices.found_unknown)
        return result

    def _present(self, beliefs: Array, causes: Index) -> Array:
        """Return, per belief, the chance that each of some causes is present."""
        if not self.pairs:
            singles: Array = beliefs[:, np.isin(self.first, causes)]
            return singles
        has = (self.first[:, None] == causes[None, :]) | (self.second[:, None] == causes[None, :])
        present: Array = beliefs @ has.astype(np.float64)
        return present

    def _pair_totals(self, beliefs: Array, order: Index, costs: Array, prices: Prices) -> Array:
        """Return the cost of every prefix of an order (m x depth + 1): under a pair, up to the later of the two."""
        m, depth = order.shape
        named, at = np.unique(np.concatenate((self.first, self.second)), return_inverse=True)
        rank = np.full((m, len(named)), depth, dtype=np.intp)
        np.put_along_axis(rank, np.searchsorted(named, order), np.broadcast_to(np.arange(depth), (m, depth)), axis=1)
        later = np.maximum(rank[:, at[: len(self.first)]], rank[:, at[len(self.first) :]])
        spent = _from_zero(costs)
        upto = np.take_along_axis(spent, np.minimum(later + 1, depth), axis=1)
        # mass and cost of the worlds that are done by the prefix that ends with their later repair
        slot = (np.arange(m)[:, None] * (depth + 2) + later + 1).ravel()

        def by_prefix(weights: Array) -> Array:
            sums = np.bincount(slot, weights.ravel(), m * (depth + 2)).astype(np.float64).reshape(m, depth + 2)
            return np.asarray(np.cumsum(sums, axis=1)[:, : depth + 1], dtype=np.float64)

        done, paid = by_prefix(beliefs), by_prefix(beliefs * upto)
        found = by_prefix(beliefs * self._per_world(prices.found, prices.found_unknown)[None, :])
        rest = self._found(beliefs, prices)[:, None] - found
        result: Array = paid + (1.0 - done) * (spent + prices.leave) + rest
        return result


def _from_zero(steps: Array) -> Array:
    """Return the running sums of each row, beginning with 0."""
    result: Array = np.concatenate((np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)), axis=1)
    return result


def _best_first(values: Array, most: int) -> Index:
    """Return, per row, the places of the largest values, largest first, equal ones by place."""
    k = values.shape[1]
    if k <= SORTED_WHOLE:
        return np.argsort(-values, axis=1, kind="stable")[:, :most]
    chosen = np.sort(np.argpartition(-values, most - 1, axis=1)[:, :most], axis=1)
    inner = np.argsort(-np.take_along_axis(values, chosen, axis=1), axis=1, kind="stable")
    return np.take_along_axis(chosen, inner, axis=1)


def _reported(shares: Array, error: float, k: int) -> Array:
    """Return P(said o | cause) for an observer who errs with `error`."""
    if error == 0.0 or k < 2:
        return shares
    result: Array = (1.0 - error) * shares + error / (k - 1) * (1.0 - shares)
    return result
