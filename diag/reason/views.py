"""What each check would show in each world: stacked outcome tables, and the worlds that questions are chosen on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diag.reason.costs import Prices
from diag.reason.feasible import usual_error
from diag.reason.tables import Array, Flags, Index, Tables
from diag.reason.worlds import ALL_PAIRS_UP_TO, Posterior, sums_by

HEAVIEST_WORLDS = 150
HEAVIEST_ASKED_ABOUT = 60
"""Causes the look-ahead weighs when there are more than all pairs are kept for."""
LEAST_ASKED_ABOUT = 1e-7
"""Worlds below it are left out of the look-ahead: all of them together move no expected minute that is shown."""
DEEPEST = 12
"""Repairs in a row that are weighed."""
LEAST_COST = 0.5
"""Minutes that a repair is taken to cost at least when chances per minute are compared."""
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
        weights = np.concatenate((belief.one, [rest], belief.two))
        first = np.concatenate((np.arange(n + 1), belief.space.first))
        second = np.concatenate((np.arange(n + 1), belief.space.second))
        keep = _largest(weights, HEAVIEST_WORLDS)
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
        p, works, doable = self._present(beliefs, causes), prices.works[causes], prices.doable[causes]
        cost = np.minimum(p, 1.0)  # from here in place: arrays of this size cost more to get than to fill
        np.subtract(1.0, cost, out=cost)
        cost *= prices.in_vain[causes]
        cost += prices.repair[causes]
        ratio = p * works
        ratio /= np.maximum(cost, LEAST_COST)
        ratio[:, ~doable] = -1.0
        order = _best_first(ratio, DEEPEST)
        lines = np.arange(len(p))[:, None]
        costs = np.where(doable[order], cost[lines, order], 1e9)
        if self.pairs:
            total = self._pair_totals(beliefs, causes[order], costs, prices)
        else:
            chance = p[lines, order] * works[order]
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
        lines = np.arange(m)[:, None]
        named, at = np.unique(np.concatenate((self.first, self.second)), return_inverse=True)
        rank = np.full((m, len(named)), depth, dtype=np.intp)
        rank[lines, np.searchsorted(named, order)] = np.arange(depth)
        slot = np.maximum(rank[:, at[: len(self.first)]], rank[:, at[len(self.first) :]])
        slot += lines * (depth + 1)
        slots = slot.ravel()

        def done_at(weights: Array) -> Array:
            """Return what is done with each repair: the weight of worlds of which it is the later one."""
            return sums_by(slots, weights.ravel(), m * (depth + 1)).reshape(m, depth + 1)[:, :depth]

        spent, done = _from_zero(costs), done_at(beliefs)
        found = done_at(beliefs * self._per_world(prices.found, prices.found_unknown)[None, :])
        rest = self._found(beliefs, prices)[:, None] - _from_zero(found)
        result: Array = _from_zero(done * spent[:, 1:]) + (1.0 - _from_zero(done)) * (spent + prices.leave) + rest
        return result


def _largest(values: Array, most: int) -> Index:
    """Return the places of the largest values, largest first, equal ones by place."""
    if len(values) > most:
        places = np.flatnonzero(values >= np.partition(values, -most)[-most])
    else:
        places = np.arange(len(values))
    return places[np.argsort(-values[places], kind="stable")][:most]


def _from_zero(steps: Array) -> Array:
    """Return the running sums of each row, beginning with 0."""
    result: Array = np.concatenate((np.zeros((len(steps), 1)), np.cumsum(steps, axis=1)), axis=1)
    return result


def _best_first(values: Array, most: int) -> Index:
    """Return, per row, the places of the largest values, largest first; equal to 8 places: by place.

    Value and place are one number, so that plain numbers are sorted, which is quick.
    """
    k = values.shape[1]
    keys = np.rint(values * 1e8)
    keys *= k
    keys += np.arange(k - 1, -1, -1)
    if k > most:
        keys = np.partition(keys, k - most, axis=1)[:, k - most :]
    keys.sort(axis=1)
    places: Index = (k - 1 - keys[:, ::-1] % k).astype(np.intp)
    return places


def _reported(shares: Array, error: float, k: int) -> Array:
    """Return P(said o | cause) for an observer who errs with `error`."""
    if error == 0.0 or k < 2:
        return shares
    result: Array = (1.0 - error) * shares + error / (k - 1) * (1.0 - shares)
    return result
