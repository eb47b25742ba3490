"""What to load before driving out.

Leaving a thing at home costs the chance that it is needed, times a second trip. Things are chosen by cause: a cause
is served only when all that finding, mending and proving it takes is on the truck, so causes are taken on one after
the other, best chance for the least to carry first, as long as the trips they save are worth the carrying. The
figures come from what is believed now; none of them enters a write-up for anybody.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from diag.call.bearing import FOR
from diag.call.desk import CallDesk
from diag.call.shown import Bench
from diag.figures.rows import expand
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Named
from diag.reason.axes import fit
from diag.reason.case import Case
from diag.reason.feasible import check_minutes
from diag.reason.worlds import Posterior
from diag.record.graph import show_call_id
from diag.writeup.stock import STOCK, stock_of

SPEAKS_FOR = 1.9
"""Written ratio from which on a check is worth making for a cause."""
LEAST_CHANCE = 0.01
CLEARS = 0.2
"""Written ratio from which down a good finding clears the part."""
Thing = tuple[str, str]
"""(part | tool, name)."""


@dataclass(frozen=True)
class LoadItem:
    """One part or tool."""

    name: str
    label: str
    kind: str
    """part | tool."""
    size: str
    """pocket | box | bulky."""
    quantity: int
    why_many: str
    """Why more than one; "" for one."""
    chance: float
    """Chance that it is needed."""
    worth: float
    """Minutes lost by leaving it at home: chance x second trip."""
    carrying: float
    """Minutes that loading it is worth."""
    causes: tuple[str, ...]
    """Labels of the causes it is for, likeliest first."""
    stock: str
    """Where it is: "here", "elsewhere", "due 2026-05-14", "none to be had"; "" when nobody said."""
    instead: str
    """What to do meanwhile when it cannot be had."""
    load: bool
    """True when it belongs on the truck."""


@dataclass(frozen=True)
class LoadList:
    """What to load for a call, dearest to leave at home first."""

    call: str
    second_trip: float
    """Minutes of a second trip."""
    entries: tuple[LoadItem, ...]
    always: tuple[str, ...]
    served: float
    """Chance that everything needed is on the truck then."""
    closed: bool = False
    """True once the call is closed: nobody drives."""

    @property
    def load(self) -> tuple[LoadItem, ...]:
        """Return what is worth loading."""
        return tuple(e for e in self.entries if e.load)

    @property
    def leave(self) -> tuple[LoadItem, ...]:
        """Return what may stay at home."""
        return tuple(e for e in self.entries if not e.load)


# --- what to load ---------------------------------------------------------------------------------------------


def load_list(call: CallDesk) -> LoadList:
    """Return what to load for a call as it stands."""
    knowledge = call.engine.knowledge
    if call.state.closed is not None:
        return LoadList(show_call_id(call.call), 0.0, (), (), served=1.0, closed=True)
    case, judgement = call.think().read.case, call.think().judgement
    trip = case.drive_out if case.drive_out is not None else knowledge.settings.drive_out
    position = call.engine.tables.position
    taking = Needs(call, case)
    by_cause = {r.cause: sorted(taking.of(r.cause)) for r in judgement.ranking if r.probability > 0}
    chances = {r.cause: r.probability for r in judgement.ranking if r.probability >= LEAST_CHANCE / 4}
    many = {("part", p): _quantity(call, knowledge.parts[p], [c])[0] for c in chances
            for p in knowledge.causes[c].repair.parts}
    chosen = choose(knowledge, {c: by_cause[c] for c in chances}, chances, trip, many=many)
    unserved = [position[c] for c, things in by_cause.items() if not set(things) <= chosen]
    served = max(0.0, 1.0 - judgement.belief.unknown - any_present(judgement.belief, unserved))
    needs: dict[Thing, list[str]] = {}
    for cause, things in by_cause.items():
        for one in things:
            needs.setdefault(one, []).append(cause)
    stock = stock_of(call)
    entries = []
    for (kind, name), causes in needs.items():
        chance = any_present(judgement.belief, [position[c] for c in causes])
        if chance < LEAST_CHANCE:
            continue
        thing = named(knowledge, (kind, name))
        entry = _entry(call, kind, thing, causes, chance=chance, trip=trip, stock=stock.get(name, ""))
        entries.append(replace(entry, load=(kind, name) in chosen))
    ranked = sorted(entries, key=lambda e: (-round(e.worth, 1), e.carrying, e.name))
    return LoadList(show_call_id(call.call), trip, tuple(ranked), knowledge.write_up.always, served=round(served, 4))


def wants_parts(call: CallDesk) -> bool:
    """Tell whether any part is on the load list; it is made only where no likely cause takes one by itself."""
    causes = call.engine.knowledge.causes
    likely = (r.cause for r in call.think().judgement.ranking if r.probability >= LEAST_CHANCE)
    return any(causes[c].repair.parts for c in likely) or any(e.kind == "part" for e in load_list(call).entries)


def choose(
    knowledge: Knowledge, needs: Mapping[str, Collection[Thing]], chances: Mapping[str, float], trip: float, *,
    many: Mapping[Thing, int] | None = None,
) -> set[Thing]:
    """Return what to load.

    Cause after cause is taken on: the one that saves most second-trip minutes per minute of carrying, as long
    as it saves more than it costs. `many`: how many of a part are carried, one where it is not named.
    """
    load: set[Thing] = set()
    while True:
        best: tuple[float, float, str] | None = None
        for cause, things in needs.items():
            added = set(things) - load
            if not added:
                continue
            carry = carrying(knowledge, added, many)
            gain = trip * sum(chances[c] for c, t in needs.items() if set(t) - load and set(t) <= load | added)
            if gain > carry and (best is None or (-gain / max(carry, 0.01), -gain, cause) < best):
                best = (-gain / max(carry, 0.01), -gain, cause)
        if best is None:
            return load
        load |= set(needs[best[2]])


def named(knowledge: Knowledge, thing: Thing) -> Named:
    """Return the entry of a part or tool."""
    kind, name = thing
    return (knowledge.parts if kind == "part" else knowledge.tools)[name]


def carrying(knowledge: Knowledge, things: Iterable[Thing], many: Mapping[Thing, int] | None = None) -> float:
    """Return the minutes that loading some things is worth, each as often as it is carried."""
    minutes = knowledge.write_up.carry_minutes
    return sum(minutes.get(named(knowledge, t).size, 0.0) * (many or {}).get(t, 1) for t in things)


class Needs:
    """What finding, mending and proving each cause takes on site, as the call stands."""

    def __init__(self, call: CallDesk, case: Case) -> None:
        import numpy as np

        self.knowledge = call.engine.knowledge
        self._cleared = cleared(call)
        self.position = call.engine.tables.position
        on_site = replace(case, channel="site", prepared=frozenset())
        asked = {i.check for i in case.instances if i.epoch == case.epoch and i.given}
        keys, speaks = [], []
        for key, check in self.knowledge.questions.items():
            minutes = check_minutes(check, on_site, call.engine.tables)
            if minutes is None or key in asked or fit(check.applies, case.axes, self.knowledge) <= 0:
                continue
            table = call.engine.tables.check(key)
            ratio = (table.shares / table.base[:, None]).max(axis=0)
            keys.append(key)
            speaks.append(np.where(ratio >= SPEAKS_FOR, ratio, 0.0) / max(minutes, 0.5))
        self._keys, self._speaks = tuple(keys), np.array(speaks)

    def of(self, cause: str) -> set[Thing]:
        """Return the parts and tools a cause takes, less what is at hand anyway."""
        repair = self.knowledge.causes[cause].repair
        found = {("part", p) for p in repair.parts if p not in self._cleared}
        found |= {("tool", t) for t in repair.tools}
        for check in (self._finding(cause), self._proving(cause)):
            if check is not None:
                found |= {("tool", t) for t in check.tools}
        return found - {("tool", t) for t in self.knowledge.write_up.at_hand}

    def _finding(self, cause: str) -> Check | None:
        """Return the check still open that speaks for a cause best per minute."""
        if not self._keys:
            return None
        by_check = self._speaks[:, self.position[cause]]
        best = int(by_check.argmax())
        return self.knowledge.questions[self._keys[best]] if by_check[best] > 0 else None

    def _proving(self, cause: str) -> Check | None:
        verification = self.knowledge.verifications.get(self.knowledge.causes[cause].repair.verify or "")
        checks = [c for c in (verification.checks if verification else ()) if c in self.knowledge.questions]
        return self.knowledge.questions[checks[0]] if checks else None


def cleared(call: CallDesk) -> frozenset[str]:
    """Return the parts that were looked at or measured and found good in this call, with nothing firm against them.

    A caller's look at the part itself is enough to leave it at home; it rules nothing out.
    """
    bench, found = Bench(call), set()
    for known in call.engine.knowledge.causes.values():
        tests = [t for t in bench.tests(known.id) if t.firm or t.deciding] if known.repair.parts else []
        good = any(t.normal and t.ratio <= CLEARS for t in tests)
        if good and not any(t.firm and t.ratio >= FOR for t in tests):
            found.add(known.repair.parts[0])
    return frozenset(found)


def any_present(belief: Posterior, causes: Sequence[int]) -> float:
    """Return the chance that at least one of some causes is present: single and two-fault worlds together."""
    import numpy as np

    flags = np.zeros(len(belief.one), dtype=np.bool_)
    flags[list(causes)] = True
    either = flags[belief.space.first] | flags[belief.space.second]
    return float(belief.one[flags].sum() + belief.two[either].sum())


def _entry(
    call: CallDesk, kind: str, thing: Named, causes: Sequence[str], chance: float, trip: float, stock: str
) -> LoadItem:
    knowledge = call.engine.knowledge
    quantity, why = _quantity(call, thing, causes) if kind == "part" else (1, "")
    interim = next((i.do for c in causes if (i := knowledge.causes[c].interim)), "")
    missing = stock and stock != STOCK["here"]
    return LoadItem(
        thing.name, thing.label, kind, thing.size, quantity=quantity, why_many=why, chance=round(chance, 4),
        worth=round(chance * trip, 1), carrying=knowledge.write_up.carry_minutes.get(thing.size, 0.0),
        causes=tuple(knowledge.causes[c].label for c in causes), stock=stock, instead=interim if missing else "",
        load=False,
    )


def _quantity(call: CallDesk, part: Named, causes: Sequence[str]) -> tuple[int, str]:
    """Return how many: one per row in trouble, or one per row of the machine where sister parts wear alike."""
    if not part.per_row:
        return 1, ""
    state, ranking = call.state, call.think().judgement
    machine = state.machine.rows
    trouble = state.situation.rows
    rows = len(expand(trouble, machine)) if trouble is not None and (trouble != "all" or machine) else 1
    leading = [c for c in causes if (r := ranking.of(c)) is not None and r.probability >= LEAST_CHANCE]
    worn = any(call.engine.knowledge.causes[c].repair.siblings for c in leading)
    if worn and machine:
        return machine, "one for every row: sister parts of that age are usually worn too"
    return rows, "one for each row in trouble" if rows > 1 else ""
