"""Which check next: expected remaining minutes by one-step look-ahead, and information per minute.

Expected cost of repair (ECR): repairs in order of chance per minute, stopping where handing over is
cheaper. Expected cost with a check first (ECO) = its minutes + the chance-weighted ECR of its outcomes.
Questions are chosen on the one-fault belief until two faults carry half the mass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diag.knowledge.model import Check
from diag.reason.axes import fit, open_axes
from diag.reason.case import Case
from diag.reason.tables import Array, Flags, Index, Tables
from diag.reason.worlds import ALL_PAIRS_UP_TO, Posterior

HEAVIEST_WORLDS = 150
HEAVIEST_ASKED_ABOUT = 60
"""Causes the look-ahead weighs when there are more than all pairs are kept for."""
PREFIXES = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24)


@dataclass(frozen=True)
class Wishes:
    """What the rules want of the choice."""

    prefers: Mapping[str, float] = field(default_factory=dict)
    """Check -> minutes taken off its cost."""
    first: frozenset[str] = frozenset()
    blocked: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Offer:
    """A check worth doing now."""

    check: str
    minutes: float
    saves_minutes: float
    """Expected remaining minutes saved against repairing at once (can be negative)."""
    bits_per_minute: float
    first: bool
    separates: tuple[str, str] | None
    axes_to_ask: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Offers best first, and what to do next."""

    offers: tuple[Offer, ...]
    action: str
    """check | repair | drive_out | hand_over"""
    repair: str | None
    """Cause whose repair comes first when action is repair."""
    cost_now: float
    """Expected minutes when nothing more is asked."""
    most_bits_per_minute: float
    feasible: int


@dataclass(frozen=True)
class _Stack:
    """All checks of one channel over each other: P(outcome | cause), with the usual observer's errors."""

    keys: tuple[str, ...]
    starts: Index
    shares: Array
    base: Array
    normal: Flags
    """By row: is it its check's normal outcome."""
    marked: Flags
    """By check and cause; unknown (last) never."""


class Planner:
    """Chooses the next check; arrays are built once per knowledge."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self._stacks: dict[str, _Stack] = {}

    def plan(self, case: Case, belief: Posterior, wishes: Wishes, *, by: str = "minutes", most: int = 3) -> Plan:
        """Return the best offers by expected minutes ("minutes") or by information ("bits")."""
        keys, minutes = self._feasible(case, wishes)
        view = View.of(belief, self.tables)
        cost_now, action, repair = self._cost_now(case, belief, view)
        if not keys:
            return Plan((), action, repair, cost_now, 0.0, 0)
        stack = self._stack(case.channel)
        rows, starts = _rows_of(stack, keys)
        joint = view.joint(stack, keys, rows, starts)
        chance = joint.sum(axis=1)
        after = self._expected(case, joint, chance, view)
        eco = np.array(minutes) + np.add.reduceat(chance * after, starts)
        bits = _information(joint, chance, view.weights, starts) / np.maximum(np.array(minutes), 0.25)
        order = self._order(keys, eco, bits, wishes, by)
        best = eco[order[0]] - wishes.prefers.get(keys[order[0]], 0.0)
        if keys[order[0]] in wishes.first or round(cost_now - best, 1) > 0:
            action, repair = "check", None
        offers = tuple(
            self._offer(keys, i, minutes, cost_now - eco[i], bits[i], wishes, case, belief) for i in order[:most]
        )
        return Plan(offers, action, repair, cost_now, float(bits.max()), len(keys))

    # --- what can be done at all ----------------------------------------------------------------

    def _feasible(self, case: Case, wishes: Wishes) -> tuple[list[str], list[float]]:
        asked = {i.check for i in case.instances if i.epoch == case.epoch and not i.control}
        keys, minutes = [], []
        for key, check in self.tables.knowledge.questions.items():
            cost = check_minutes(check, case, self.tables)
            whole = key.partition(".")[0]
            if cost is None or key in asked or key in wishes.blocked or whole in wishes.blocked:
                continue
            if any(not _answered(a, asked) for a in check.after):
                continue
            if fit(check.applies, case.axes, self.tables.knowledge) > 0.0:
                keys.append(key)
                minutes.append(cost)
        return keys, minutes

    def _order(self, keys: Sequence[str], eco: Array, bits: Array, wishes: Wishes, by: str) -> list[int]:
        def rank(i: int) -> tuple[bool, float, str]:
            minutes_off = wishes.prefers.get(keys[i], wishes.prefers.get(keys[i].partition(".")[0], 0.0))
            first = keys[i] in wishes.first or keys[i].partition(".")[0] in wishes.first
            value = round(float(eco[i]) - minutes_off, 2) if by == "minutes" else -round(float(bits[i]), 5)
            return (not first, value, keys[i])

        return sorted(range(len(keys)), key=rank)

    def _offer(
        self, keys: Sequence[str], i: int, minutes: Sequence[float], saves: float, bits: float, wishes: Wishes,
        case: Case, belief: Posterior,
    ) -> Offer:
        key = keys[i]
        check = self.tables.knowledge.questions[key]
        return Offer(
            key, minutes[i], round(float(saves), 1), round(float(bits), 4), key in wishes.first,
            separates(self.tables, key, belief), open_axes(check.applies, case.axes),
        )

    # --- arrays ---------------------------------------------------------------------------------

    def _stack(self, channel: str) -> _Stack:
        if channel not in self._stacks:
            parts, base, starts, keys, normal, marked, at = [], [], [], [], [], [], 0
            for key, check in self.tables.knowledge.questions.items():
                table = self.tables.check(key)
                error = usual_error(check, channel, self.tables)
                k = len(table.outcomes)
                parts.append(_reported(table.shares, error, k))
                base.append(_reported(table.base, error, k))
                keys.append(key)
                starts.append(at)
                at += k
                normal += [i == table.normal for i in range(k)]
                marked.append(np.concatenate((table.marked, [False])))
            self._stacks[channel] = _Stack(
                tuple(keys), np.array([*starts, at], dtype=np.intp), np.concatenate(parts), np.concatenate(base),
                np.array(normal, dtype=np.bool_), np.array(marked, dtype=np.bool_),
            )
        return self._stacks[channel]

    # --- costs ----------------------------------------------------------------------------------

    def _cost_now(self, case: Case, belief: Posterior, view: View) -> tuple[float, str, str | None]:
        """Return (expected minutes, what to do, first repair) when no more checks are made."""
        weights = view.weights[None, :]
        total = weights.sum(axis=1)
        cost = float(self._expected(case, weights, total, view)[0])
        p = np.minimum(belief.present, 1.0)
        doable = self.tables.grower_can if case.channel == "phone" else np.ones(len(p), dtype=np.bool_)
        repair_cost = self.tables.repair_minutes + self.tables.if_wrong * (1.0 - p)
        cured = p * self.tables.works
        ratio = np.where(doable, np.round(cured / np.maximum(repair_cost, 0.5), 8), -1.0)
        first = int(np.argmax(ratio))
        leave = self._drive_out(case) if case.channel == "phone" else self.tables.knowledge.settings.hand_over
        worth = float(cured[first]) * leave > float(repair_cost[first])
        if doable[first] and worth and p[first] > 0.02:
            return cost, "repair", self.tables.causes[first]
        return cost, "drive_out" if case.channel == "phone" else "hand_over", None

    def _drive_out(self, case: Case) -> float:
        return case.drive_out if case.drive_out is not None else self.tables.knowledge.settings.drive_out

    def _expected(self, case: Case, joint: Array, total: Array, view: View) -> Array:
        """Return ECR of each row of joint weights (m x worlds), normalised by its total."""
        settings = self.tables.knowledge.settings
        beliefs = joint / np.maximum(total, 1e-300)[:, None]
        on_site = view.repair_cost(beliefs, self.tables, settings.hand_over, None)
        if case.channel != "phone":
            return on_site
        leave = self._drive_out(case) + on_site
        return view.repair_cost(beliefs, self.tables, leave, self.tables.grower_can)


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
    def of(cls, belief: Posterior, tables: Tables) -> View:
        n = len(belief.one)
        rest = belief.unknown + belief.clear
        if belief.mass_two < 0.5:
            index = np.arange(n + 1)
            if n > ALL_PAIRS_UP_TO:
                heaviest = np.sort(np.argsort(-belief.one, kind="stable")[:HEAVIEST_ASKED_ABOUT])
                index = np.append(heaviest, n)
            weights = np.append(belief.one, rest)[index]
            return cls(index, index, weights / max(float(weights.sum()), 1e-300), pairs=False)
        a, c = np.triu_indices(len(belief.pairs), k=1)
        weights = np.concatenate((belief.one, [rest], belief.two[a, c]))
        first = np.concatenate((np.arange(n + 1), belief.pairs[a]))
        second = np.concatenate((np.arange(n + 1), belief.pairs[c]))
        keep = np.argsort(-weights, kind="stable")[:HEAVIEST_WORLDS]
        chosen = weights[keep]
        return cls(first[keep], second[keep], chosen / max(float(chosen.sum()), 1e-300), pairs=True)

    def joint(self, stack: _Stack, keys: Sequence[str], rows: Index, starts: Index) -> Array:
        """Return weight x P(outcome | world) for the outcome rows of the chosen checks (rows x worlds)."""
        one = _columns(stack, rows, self.first)
        if not self.pairs:
            single: Array = one * self.weights[None, :]
            return single
        two = _columns(stack, rows, self.second)
        owner = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(rows))))
        position = {k: i for i, k in enumerate(stack.keys)}
        marked = stack.marked[[position[k] for k in keys]]
        a, c = marked[:, self.first][owner], marked[:, self.second][owner]
        mean = np.where(a & ~c, one, np.where(c & ~a, two, (one + two) / 2.0))
        normal = stack.normal[rows]
        p_normal = one * two / np.maximum(np.maximum(one, two), stack.base[rows][:, None])
        of_check = np.add.reduceat(np.where(normal[:, None], p_normal, 0.0), starts)[owner]
        others = np.where(normal[:, None], 0.0, one + two)
        summed = np.add.reduceat(others, starts)[owner]
        spoiled = np.where(normal[:, None], p_normal, (1.0 - of_check) * others / np.maximum(summed, 1e-300))
        has_normal = np.logical_or.reduceat(normal, starts)[owner]
        mixed = np.where(has_normal[:, None], spoiled, mean)
        both = np.where((self.first == self.second)[None, :], one, mixed)
        result: Array = both * self.weights[None, :]
        return result

    def repair_cost(self, beliefs: Array, tables: Tables, leave: float | Array, doable: Flags | None) -> Array:
        """Return, per belief, the least over prefixes of: repairs in order, then `leave` for what is unsolved."""
        n = len(tables.causes)
        causes = np.unique(np.concatenate((self.first, self.second)))
        causes = causes[causes < n]
        p = self._present(beliefs, causes)
        cost = tables.repair_minutes[causes][None, :] + tables.if_wrong[causes][None, :] * (1.0 - np.minimum(p, 1.0))
        works = tables.works[causes]
        ratio = np.round(p * works[None, :] / np.maximum(cost, 0.5), 8)
        if doable is not None:
            ratio = np.where(doable[causes][None, :], ratio, -1.0)
        depth = min(len(causes), max(PREFIXES) + 1)
        order = np.argsort(-ratio, axis=1, kind="stable")[:, :depth]
        costs = np.take_along_axis(cost, order, axis=1)
        if doable is not None:
            costs = np.where(np.take_along_axis(ratio, order, axis=1) < 0, 1e9, costs)
        leave_array = np.broadcast_to(np.asarray(leave, dtype=np.float64), (len(beliefs),))
        if self.pairs:
            return self._pair_cost(beliefs, causes[order], costs, leave_array, n)
        chance = np.take_along_axis(p, order, axis=1) * works[order]
        start = np.zeros((len(beliefs), 1))
        solved = np.concatenate((start, np.cumsum(chance, axis=1)), axis=1)
        reached = np.concatenate((start, np.cumsum(costs * (1.0 - solved[:, :-1]), axis=1)), axis=1)
        total: Array = (reached + (1.0 - solved) * leave_array[:, None]).min(axis=1)
        return total

    def _present(self, beliefs: Array, causes: Index) -> Array:
        """Return, per belief, the chance that each of some causes is present."""
        if not self.pairs:
            singles: Array = beliefs[:, np.isin(self.first, causes)]
            return singles
        place = {int(cause): i for i, cause in enumerate(causes)}
        present = np.zeros((len(beliefs), len(causes)))
        for w, (a, c) in enumerate(zip(self.first.tolist(), self.second.tolist(), strict=True)):
            for cause in {a, c}:
                if cause in place:
                    present[:, place[cause]] += beliefs[:, w]
        return present

    def _pair_cost(self, beliefs: Array, order: Index, costs: Array, leave: Array, n: int) -> Array:
        """Cost of an order under a pair = cumulated cost up to the later of the two."""
        m, depth = order.shape
        rank = np.full((m, n + 1), depth, dtype=np.int64)
        np.put_along_axis(rank, order, np.broadcast_to(np.arange(depth), (m, depth)), axis=1)
        later = np.maximum(rank[:, self.first], rank[:, self.second])
        spent = np.concatenate((np.zeros((m, 1)), np.cumsum(costs, axis=1)), axis=1)
        best = np.full(m, np.inf)
        for t in PREFIXES:
            if t > depth:
                break
            done = later < t
            upto = np.take_along_axis(spent, np.minimum(later + 1, depth), axis=1)
            total = np.where(done, upto, spent[:, [t]] + leave[:, None])
            best = np.minimum(best, (beliefs * total).sum(axis=1))
        return best


def _columns(stack: _Stack, rows: Index, causes: Index) -> Array:
    """Return shares of the rows for some causes; the cause n stands for the unknown: base shares."""
    n = stack.shares.shape[1]
    columns = stack.shares[np.ix_(rows, np.minimum(causes, n - 1))]
    result: Array = np.where((causes == n)[None, :], stack.base[rows][:, None], columns)
    return result


def _rows_of(stack: _Stack, keys: Sequence[str]) -> tuple[Index, Index]:
    """Return (rows of the stack, start of each check among them)."""
    position = {k: i for i, k in enumerate(stack.keys)}
    spans = [(int(stack.starts[position[k]]), int(stack.starts[position[k] + 1])) for k in keys]
    rows = np.concatenate([np.arange(a, b) for a, b in spans])
    starts = np.cumsum([0, *[b - a for a, b in spans[:-1]]], dtype=np.intp)
    return rows, starts


def _reported(shares: Array, error: float, k: int) -> Array:
    """Return P(said o | cause) for an observer who errs with `error`."""
    if error == 0.0 or k < 2:
        return shares
    result: Array = (1.0 - error) * shares + error / (k - 1) * (1.0 - shares)
    return result


def _information(joint: Array, chance: Array, weights: Array, starts: Index) -> Array:
    """Return, per check, the mutual information in bits between its outcome and the world."""
    with np.errstate(divide="ignore", invalid="ignore"):
        conditional = np.where(weights[None, :] > 0, joint / weights[None, :], 1.0)
        ratio = np.where(joint > 0, conditional / np.maximum(chance, 1e-300)[:, None], 1.0)
    gain = (joint * np.log2(np.maximum(ratio, 1e-300))).sum(axis=1)
    result: Array = np.maximum(np.add.reduceat(gain, starts), 0.0)
    return result


def _answered(check: str, asked: set[str]) -> bool:
    return check in asked or any(a.startswith(f"{check}.") for a in asked)


def check_minutes(check: Check, case: Case, tables: Tables) -> float | None:
    """Return the minutes a check costs in this channel, less preparations in force; None = not feasible."""
    minutes = check.minutes
    if any(tool in case.not_here for tool in check.tools):
        return None
    if case.channel == "phone":
        if check.phone is None or minutes.desk is None:
            return None
        cost = minutes.desk + tables.knowledge.settings.grower_weight * (minutes.grower or 0.0)
    elif minutes.site is None:
        return None
    else:
        cost = minutes.site
    saved = sum(m for name, m in check.prep.items() if name in case.prepared) if case.channel == "site" else 0.0
    return max(0.5, cost - saved)


def usual_observer(check: Check, channel: str) -> str:
    """Return the observer whose answer is expected: by phone the caller, who dug or felt, or only looked."""
    if channel == "site":
        return "instrument" if check.measured else "technician"
    if check.who == "guided":
        return "guided"
    touched = any(step.state in ("parked_safe", "after_planting", "bench") for step in check.steps)
    return "caller_did" if touched else "caller"


def usual_error(check: Check, channel: str, tables: Tables) -> float:
    """Return the error rate of the expected observer."""
    return tables.knowledge.observers[usual_observer(check, channel)].error


def separates(tables: Tables, key: str, belief: Posterior, most: int = 10) -> tuple[str, str] | None:
    """Return the two likely causes that a check tells apart best."""
    top = [int(i) for i in np.argsort(-np.round(belief.present, 6), kind="stable")[:most] if belief.present[i] > 0]
    shares = tables.check(key).shares
    best, pair = 0.0, None
    for n, a in enumerate(top):
        for c in top[n + 1 :]:
            distance = float(np.abs(shares[:, a] - shares[:, c]).sum()) / 2.0
            value = round(distance * float(np.sqrt(belief.present[a] * belief.present[c])), 9)
            if value > best:
                best, pair = value, (tables.causes[a], tables.causes[c])
    return pair
