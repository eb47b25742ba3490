"""What to do next: which check, or that it is time to act.

Minutes decide. A repair costs its minutes and its proof (costs.py); leaving costs the drive or the handing over and
what is then found. A check is worth its minutes by what its answers save: each answer leads to the cheaper of acting
at once and asking on, where a bit of what is still open costs what the best check here asks for a bit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diag.reason.axes import open_axes
from diag.reason.case import Case
from diag.reason.costs import Prices, prices
from diag.reason.feasible import Feasible
from diag.reason.tables import Array, Flags, Index, Tables
from diag.reason.views import Stack, View
from diag.reason.worlds import Posterior

BIT_MARKUP = 1.6
"""What a bit costs against the best rate of a check here (measured on played calls: 1 to 2 is flat)."""
QUESTION_MINUTES = 1.0
"""What any question costs besides: saying it, hearing it back, writing it down (estimate; keeps fillers out)."""
NEAR_MINUTES, NEAR_SHARE = 0.5, 0.05
"""How near to the best a check must come for a preference to put it first."""
TEST_MINUTES, TEST_SHARE = 5.0, 0.1
"""How near the best the direct test of the leading cause must come to be made first (chosen on played calls)."""
LEADS_FROM, TEST_RATIO, TEST_SHOWS = 0.4, 8.0, 0.5
"""Belief from which a cause leads; what a direct test raises its odds by, and how often at least (estimate)."""
ADVISED_FROM = 0.6
"""Belief from which a repair is advised that cannot be undone from the seat; likely, and a little more."""
OPEN_FROM, OPEN_RATIO, BEFORE_DRIVING = 0.2, 4.0, 12.0
"""Belief from which a cause is tested before somebody drives out for it, by what raises its odds so much, and the most
minutes of that (estimate)."""
SEEN_FROM, SEEN_RATIO = 0.5, 40.0
"""Belief from which a part is mended that was seen to be bad, which so rarely happens on a sound machine (chosen on
played calls)."""
LEAVES = ("drive_out", "hand_over")
NARROWS, NARROW_MINUTES = 0.3, 4.0
"""Bits from which a question of so few minutes is asked before somebody drives out while nothing leads (estimate)."""
REVERSIBLE_RATIO = 2.0
"""How much oftener a look must find a cause than what else it can be, where its repair can be undone (estimate)."""
AT_ONCE = 40_000
"""Numbers that are weighed at a time: answers by worlds."""
LEAST_BITS = 0.02
"""Information below which a check decides nothing."""


@dataclass(frozen=True)
class Wishes:
    """What the rules want of the choice."""

    prefers: Mapping[str, float] = field(default_factory=dict)
    """Check -> how strongly it is wanted among checks that are about as good."""
    first: frozenset[str] = frozenset()
    blocked: frozenset[str] = frozenset()
    again: frozenset[str] = frozenset()
    """Checks to be made once more although they were answered: the proof of a repair."""


@dataclass(frozen=True)
class Offer:
    """A check worth doing now."""

    check: str
    minutes: float
    saves_minutes: float
    """Expected remaining minutes saved against acting at once (can be negative)."""
    first: bool
    separates: tuple[str, str] | None
    axes_to_ask: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """Offers best first, and what to do next."""

    offers: tuple[Offer, ...]
    action: str
    """check | repair | try | measure_again | drive_out | hand_over | prove | close"""
    repair: str | None
    """Cause whose repair comes first when action is repair or try; when leaving, the one that is likely there."""
    cost_now: float
    """Expected minutes when nothing more is asked."""
    open: frozenset[str] = frozenset()
    """Checks that can be made here and now, belong to the complaint and are not told already."""
    again: str | None = None
    """Check to be made once more when action is measure_again."""


class Planner:
    """Chooses the next check; arrays are built once per knowledge."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self.feasible = Feasible(tables)
        self._stacks: dict[str, Stack] = {}
        self._prices: dict[tuple[str, float | None, frozenset[str], frozenset[str]], Prices] = {}

    def plan(self, case: Case, belief: Posterior, wishes: Wishes, *, most: int = 3) -> Plan:
        """Return the best offers and what to do next."""
        keys, minutes = self.feasible.now(case, wishes.blocked, wishes.again)
        view, price = View.of(belief), self._price(case)
        now, start = view.repair_cost(view.weights[None, :], price)
        cost_now = float(now[0])
        sure = self._sure(case, belief, price)
        advised_from = ADVISED_FROM if sure is None else SEEN_FROM
        action, repair = self._act(case, belief, int(start[0]) if sure is None else sure, advised_from)
        if not keys:
            return self._done(Plan((), action or self._leave(case), repair, cost_now), belief)
        weighed = self._weigh(case, view, price, keys, minutes=minutes)
        order = self._order(keys, weighed, cost_now, wishes)
        best = order[0]
        saves = sure is None and round(cost_now - weighed.cost[best], 1) > 0
        first: int | None = best if saves or _wanted(keys[best], wishes.first) else None
        if first is None and sure is None:
            first = self._deciding(order, weighed, minutes, action)
        if first is not None:
            action, repair = "check", None
            order = [first, *(i for i in order if i != first)]
        offers = tuple(
            self._offer(keys[i], minutes[i], cost_now - weighed.cost[i], wishes, case=case, belief=belief)
            for i in order[:most]
        )
        return self._done(Plan(offers, action or self._leave(case), repair, cost_now, open=frozenset(keys)), belief)

    def _deciding(self, order: Sequence[int], weighed: Weighed, minutes: Sequence[float], action: str) -> int | None:
        """Return what is asked although it saves nothing: before a drive, and where a repair rests on too little ("").

        Before a drive what tells most a minute of the tests of what can be it, or of what narrows it down while nothing
        leads; else the direct test of what leads, or the best where it tells anything. None when there is nothing
        of it, or a repair is due.
        """
        if action == "drive_out":
            short = [i for i in order if minutes[i] <= BEFORE_DRIVING]
            tests = [i for i in short if weighed.tests_open[i]]
            if not tests and not weighed.leads:
                tests = [i for i in short if weighed.bits[i] >= NARROWS and minutes[i] <= NARROW_MINUTES]
            return max(tests, key=lambda i: float(weighed.bits[i]) / minutes[i], default=None)
        if action:
            return None
        telling = order[0] if weighed.bits[order[0]] >= LEAST_BITS else None
        return next((i for i in order if weighed.tests[i]), telling)

    def _done(self, plan: Plan, belief: Posterior) -> Plan:
        """Return the plan with the cause that one leaves to mend, where one is likely enough to be advised."""
        leader = int(belief.present.argmax())
        if plan.action not in LEAVES or belief.present[leader] < ADVISED_FROM:
            return plan
        return replace(plan, repair=self.tables.causes[leader])

    def _sure(self, case: Case, belief: Posterior, price: Prices) -> int | None:
        """Return the cause before whose repair nothing more is asked: it may be named, or a direct look found it.

        -1 where it is mended elsewhere. What else is wrong shows when the repair is proved; what was
        repaired in vain is not sure any more.
        """
        cause = int(belief.present.argmax())
        p = belief.present[cause]
        if p < LEADS_FROM or self.tables.causes[cause] in case.repaired_in_vain:
            return None
        sure = p >= self.tables.knowledge.settings.claim_repair
        if not sure and self.tables.reversible[cause]:
            sure = self._found(case, belief, cause, contrast=REVERSIBLE_RATIO)
        elif not sure:
            ratio = TEST_RATIO if p >= ADVISED_FROM else SEEN_RATIO
            sure = p >= SEEN_FROM and self._found(case, belief, cause, contrast=OPEN_RATIO, ratio=ratio)
        if not sure:
            return None
        return cause if price.doable[cause] else -1

    def _found(
        self, case: Case, belief: Posterior, cause: int, *, contrast: float, ratio: float = TEST_RATIO
    ) -> bool:
        """Return whether a deciding look or test since the last repair came out as it does with this cause.

        So much oftener than on a sound machine (`ratio`), and than with what else it can be (`contrast`).
        """
        rest = belief.one.copy()
        rest[cause] = 0.0
        rest /= max(float(rest.sum()), 1e-9)
        for i in case.instances:
            if i.epoch != case.epoch or not i.given or i.outcome is None:
                continue
            check, table = self.tables.knowledge.questions[i.check], self.tables.check(i.check)
            shares = table.shares[table.index(i.outcome)]
            shows, others = float(shares[cause]), float(rest @ shares)
            if check.deciding and shows >= max(TEST_SHOWS, contrast * others) and (
                    table.ratio(i.outcome, cause) >= ratio):
                return True
        return False

    def _act(self, case: Case, belief: Posterior, start: int, advised_from: float) -> tuple[str, str | None]:
        """Return what to do when nothing more is asked: a repair is advised when likely, tried when it can be undone.

        "": a repair would be cheapest, but it rests on too little; what would decide comes first.
        """
        if start < 0:
            return self._leave(case), None
        cause = self.tables.causes[start]
        if belief.present[start] >= advised_from:
            return "repair", cause
        return ("try", cause) if self.tables.reversible[start] else ("", None)

    def _price(self, case: Case) -> Prices:
        key = (case.channel, case.drive_out, case.not_here, case.repaired_in_vain)
        if key not in self._prices:
            self._prices[key] = prices(case, self.tables)
        return self._prices[key]

    def _leave(self, case: Case) -> str:
        return "drive_out" if case.channel == "phone" else "hand_over"

    def _weigh(
        self, case: Case, view: View, price: Prices, keys: Sequence[str], minutes: Sequence[float]
    ) -> Weighed:
        """Return expected minutes and information of every check."""
        if case.channel not in self._stacks:
            self._stacks[case.channel] = Stack.of(self.tables, case.channel)
        stack = self._stacks[case.channel]
        rows, starts = stack.rows_of(keys)
        return weigh(view, price, view.joint(stack, keys, rows, starts), starts,
                     minutes=np.array(minutes) + QUESTION_MINUTES)

    def _order(self, keys: Sequence[str], weighed: Weighed, cost_now: float, wishes: Wishes) -> list[int]:
        """Return the checks best first: what must come first, a direct test of what leads, the wanted, then by value.

        Test and wanted only where they save minutes and come near the best.
        """
        value = np.round(weighed.cost, 2)
        least, saves = float(value.min()), weighed.cost < cost_now
        counts = (saves & (value <= least + max(NEAR_MINUTES, NEAR_SHARE * abs(least)))).tolist()
        tests = (saves & weighed.tests & (value <= least + max(TEST_MINUTES, TEST_SHARE * abs(least)))).tolist()
        wish, first = wishes.prefers, wishes.first
        wanted = [_wanted(key, first) for key in keys] if first else [False] * len(keys)
        ranks = [
            (not must, not test, -wish.get(key, wish.get(key.partition(".")[0], 0.0)) if near else 0.0, cost, key)
            for key, must, test, near, cost in zip(keys, wanted, tests, counts, value.tolist(), strict=True)
        ]
        return sorted(range(len(keys)), key=ranks.__getitem__)

    def _offer(self, key: str, minutes: float, saves: float, wishes: Wishes, case: Case, belief: Posterior) -> Offer:
        check = self.tables.knowledge.questions[key]
        return Offer(
            key, minutes, round(float(saves), 1), first=_wanted(key, wishes.first),
            separates=separates(self.tables, key, belief), axes_to_ask=open_axes(check.applies, case.axes),
        )


@dataclass(frozen=True)
class Weighed:
    """By check: expected minutes from here when it is asked first, and the information it brings in bits."""

    cost: Array
    bits: Array
    tests: Flags
    """Direct tests of the leading cause."""
    tests_open: Flags
    """Direct tests of any cause that is likely enough to drive out for."""
    leads: bool
    """True when a cause leads."""


def weigh(view: View, price: Prices, joint: Array, starts: Index, minutes: Array) -> Weighed:
    """Return what every check is worth.

    `joint`: weight x P(outcome | world), outcomes of all checks over each other; `starts`: first outcome of each check.
    An answer leads to the cheaper of acting and of asking on until it is known what is wrong.
    """
    chance = np.maximum(joint.sum(axis=1), 1e-300)
    left, acting, solved = _after_answers(view, price, joint, chance)
    bits = np.maximum(float(_entropy(view.weights[None, :])[0]) - np.add.reduceat(chance * left, starts), 0.0)
    bit_minutes = BIT_MARKUP / max(float((bits / minutes).max()), 1e-9)
    asking = bit_minutes * left + solved
    known = np.where(view.first < len(price.repair), view.weights, 0.0)
    leader = int(known.argmax())
    leads = [leader] if known[leader] >= LEADS_FROM else []
    return Weighed(minutes + np.add.reduceat(chance * np.minimum(acting, asking), starts), bits,
                   _tests(known, leads, joint, starts, ratio=TEST_RATIO),
                   _tests(known, np.flatnonzero(known >= OPEN_FROM), joint, starts, ratio=OPEN_RATIO),
                   leads=bool(leads))


def _after_answers(view: View, price: Prices, joint: Array, chance: Array) -> tuple[Array, Array, Array]:
    """Return, by answer: bits still open, expected minutes when acting then, and once it is known what is wrong.

    Some answers at a time: arrays that stay small cost half of large ones.
    """
    left, acting, solved = np.empty_like(chance), np.empty_like(chance), np.empty_like(chance)
    at_once = AT_ONCE // joint.shape[1] + 1
    for i in range(0, len(joint), at_once):
        some = slice(i, i + at_once)
        beliefs = joint[some] / chance[some, None]
        left[some], solved[some] = _entropy(beliefs), view.known(beliefs, price)
        acting[some], _ = view.repair_cost(beliefs, price)
    return left, acting, solved


def _tests(known: Array, causes: Iterable[int], joint: Array, starts: Index, *, ratio: float) -> Flags:
    """Return the checks by which one of some causes, where it is at fault, is likely to be confirmed."""
    found = np.zeros(len(starts), dtype=np.bool_)
    for cause in causes:
        p, mine = float(known[cause]), joint[:, cause]
        others = np.maximum(joint.sum(axis=1) - mine, 1e-300)
        confirms = (mine >= TEST_SHOWS * p) & (mine * (1.0 - p) >= ratio * p * others)
        found |= np.logical_or.reduceat(confirms, starts)
    return found


def _wanted(key: str, first: frozenset[str]) -> bool:
    return key in first or key.partition(".")[0] in first


def _entropy(beliefs: Array) -> Array:
    """Return the entropy of each row in bits."""
    result: Array = -(beliefs * np.log2(np.maximum(beliefs, 1e-300))).sum(axis=1)
    return result


def separates(tables: Tables, key: str, belief: Posterior, most: int = 10) -> tuple[str, str] | None:
    """Return the two likely causes that a check tells apart best."""
    top = belief.likeliest[:most]
    if len(top) < 2:
        return None
    shares, present = tables.check(key).shares[:, top], belief.present[top]
    distance = np.abs(shares[:, :, None] - shares[:, None, :]).sum(axis=0) / 2.0
    value = np.triu(distance * np.sqrt(present[:, None] * present[None, :]), k=1).round(9)
    a, c = divmod(int(value.argmax()), len(top))
    return (tables.causes[top[a]], tables.causes[top[c]]) if value[a, c] > 0 else None


