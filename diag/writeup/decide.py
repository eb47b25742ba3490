"""Keep planting or stop: what the measured fault may cost per acre, as a range with the studies' disagreement.

Corn only, because the studies are corn; elsewhere only the acres per hour are told. Money, yield and the price
of delay are the user's own figures; without them nothing is put in their place.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from diag.call.case_of import Seen
from diag.call.desk import CallDesk
from diag.measure.economics import BU_PER_AC, SPACING_RULES, Range, skip_cost, spacing_cost
from diag.record.rows import expand
from diag.text import number, wrap
from diag.units import ACRE, INCH, Measured

STUDIED_CROP = "corn"
SLOWER = 5.0 / 7.0
"""A slower speed to hold beside the present one, where none is named: 5 for 7 mph."""
SKIPS = ("true_skips", "misses_by_position", "skips_after", "misses")
DOUBLES = ("true_doubles", "multiples_by_position", "doubles_after", "multiples")


@dataclass(frozen=True)
class Given:
    """What the user knows and the call does not. Shares 0 to 1; yield in bu/ac; speeds in m/s; money plain."""

    skips: float | None = None
    doubles: float | None = None
    crop_yield: float | None = None
    price: float | None = None
    """Price of a bushel."""
    acres_left: float | None = None
    hours_left: float | None = None
    """Hours until it must roll or stop."""
    hours_to_mend: float | None = None
    delay_per_hour: float | None = None
    """What an hour's delay costs, in bushels."""
    slower: float | None = None


@dataclass(frozen=True)
class Loss:
    """A cost per acre of the whole planter, bu/ac: from `low` to `high`, and why the two lie apart."""

    what: str
    low: float
    high: float
    why: str
    studies: tuple[str, ...]
    events: tuple[str, ...]


@dataclass(frozen=True)
class Way:
    """One way to go on: acres per hour, and what the acres left then take."""

    name: str
    acres_per_hour: float | None
    hours: float | None
    """Hours for the acres left."""
    acres_by_then: float | None
    """Acres done in the hours that are left."""


@dataclass(frozen=True)
class Decision:
    """What the figures allow to say about going on, going slower and stopping."""

    crop: str
    share_of_rows: float | None
    losses: tuple[Loss, ...]
    ways: tuple[Way, ...]
    delay: float | None
    """Bushels that stopping costs by the user's own figure."""
    acres_left: float | None
    price: float | None
    says: tuple[str, ...]
    """What the range allows to conclude, and what not."""


def decide(call: CallDesk, given: Given | None = None) -> Decision:
    """Return what going on would cost and what stopping would, as far as it can be told."""
    given = given or Given()
    state = call.state
    crop = state.situation.crop or ""
    share = _share_of_rows(call)
    losses = tuple(_losses(call, given, share)) if crop == STUDIED_CROP else ()
    delay = None
    if given.delay_per_hour is not None and given.hours_to_mend is not None:
        delay = given.delay_per_hour * given.hours_to_mend
    ways = tuple(_ways(call, given))
    says = tuple(_says(crop, losses, given, delay, share))
    return Decision(crop, share, losses, ways, delay, given.acres_left, given.price, says)


# --- what was measured ------------------------------------------------------------------------------------------


def _share_of_rows(call: CallDesk) -> float | None:
    machine, trouble = call.state.machine.rows, call.state.situation.rows
    if trouble is None or not machine:
        return 1.0 if trouble == "all" else None
    return len(expand(trouble, machine)) / machine


def _figure(call: CallDesk, names: tuple[str, ...]) -> tuple[float, str] | None:
    """Return (value, event) of the newest answer of this epoch that gives any of the results, best name first."""
    seen = [s for s in call.think().read.seen.values() if s.answer.epoch == call.state.epoch]
    for one in reversed(seen):
        for name in names:
            value = _result(one, name)
            if value is not None:
                return value, one.answer.event
    return None


def _result(seen: Seen, name: str) -> float | None:
    value = seen.evaluated.results.get(name)
    return value if isinstance(value, float) else None


def _losses(call: CallDesk, given: Given, share: float | None) -> Iterator[Loss]:
    rows = 1.0 if share is None else share
    stand = _stand(call)
    skips = (given.skips, "") if given.skips is not None else _figure(call, SKIPS)
    doubles = (given.doubles, "") if given.doubles is not None else _figure(call, DOUBLES)
    if skips and skips[0] is not None and stand and given.crop_yield is not None:
        told = doubles[0] if doubles and doubles[0] is not None else 0.0
        cost = skip_cost(skips[0], told, stand, given.crop_yield * BU_PER_AC)
        events = tuple(dict.fromkeys(e for e in (skips[1], doubles[1] if doubles else "") if e))
        what = f"{number(skips[0] * 100)} % skips and {number(told * 100)} % doubles"
        yield _loss(what, cost, rows, ("Nafziger 1996, J. Prod. Agric. 9(2): single skips and doubles",), events)
    spread = _figure(call, ("spacing_sd",))
    if spread:
        what = f"spacings that spread by {number(spread[0] / INCH)} in"
        studies = tuple(f"{r.source}: {number(r.per_inch)} bu/ac per inch" for r in SPACING_RULES)
        yield _loss(what, spacing_cost(spread[0]), rows, studies, (spread[1],))


def _loss(what: str, cost: Range, rows: float, studies: tuple[str, ...], events: tuple[str, ...]) -> Loss:
    return Loss(what, cost.low * rows / BU_PER_AC, cost.high * rows / BU_PER_AC, cost.why, studies, events)


def _stand(call: CallDesk) -> float | None:
    """Return the target in plants per m2."""
    target, width = call.state.situation.target, call.state.machine.row_width
    if target is None:
        return None
    measured = Measured.from_json(target)
    if measured.quantity != "length":
        return measured.si()
    return 1.0 / (measured.si() * Measured.from_json(width).si()) if width else None


# --- ways to go on ----------------------------------------------------------------------------------------------


def _ways(call: CallDesk, given: Given) -> Iterator[Way]:
    machine, speed = call.state.machine, call.state.situation.speed
    rate = None
    if machine.rows and machine.row_width and speed:
        width = machine.rows * Measured.from_json(machine.row_width).si()
        rate = width * Measured.from_json(speed).si() / ACRE * 3600
    yield _way("keep going", rate, given)
    slower = None
    if rate is not None and speed:
        now = Measured.from_json(speed).si()
        slower = rate * (given.slower / now if given.slower is not None else SLOWER)
    yield _way("go slower", slower, given)
    left = None if given.hours_left is None else given.hours_left - (given.hours_to_mend or 0.0)
    after = None if left is None or rate is None else max(0.0, left) * rate
    hours = None
    if given.acres_left is not None and rate and given.hours_to_mend is not None:
        hours = given.hours_to_mend + given.acres_left / rate
    yield Way("stop and mend, then go on", None, hours, after)


def _way(name: str, rate: float | None, given: Given) -> Way:
    hours = given.acres_left / rate if rate and given.acres_left is not None else None
    done = rate * given.hours_left if rate and given.hours_left is not None else None
    if done is not None and given.acres_left is not None:
        done = min(done, given.acres_left)
    return Way(name, rate, hours, done)


# --- what it allows to say --------------------------------------------------------------------------------------


def _says(crop: str, losses: tuple[Loss, ...], given: Given, delay: float | None, share: float | None) -> Iterator[str]:
    if crop != STUDIED_CROP:
        yield (f"The studies read are of corn; for {crop.replace('_', ' ') or 'a crop that is not named'} they say "
               "nothing, so no cost is given.")
        return
    if not losses:
        yield ("Nothing measured yet tells a cost: skips and doubles with your own yield, or dug spacings, would.")
        return
    if share is None:
        yield "How many of the rows are in trouble is not known: the figures are for a planter with all rows so."
    if len(losses) > 1:
        yield "The lines above look at the same fault in two ways; they are not added."
    yield "Seed is not yet plants: emergence adds a spread of its own, and late plants cost more than gaps."
    if delay is None or given.acres_left is None:
        yield "Which is dearer needs the acres left, the hours to mend and your own price of an hour's delay."
        return
    low = min(x.low for x in losses) * given.acres_left
    high = max(x.high for x in losses) * given.acres_left
    range_ = f"{number(max(0.0, low))} to {number(high)} bu"
    told = f"Going on costs {range_} on the acres left, stopping {number(delay)} bu."
    if high < delay:
        yield f"{told} Even by the dearest study going on costs less than you say stopping does."
    else:
        yield (f"{told} The studies lie on both sides of that, at the low end with no loss at all: the range does not "
               "decide it.")


def decision_text(decision: Decision, width: int = 78) -> str:
    """Return the decision as text: three lines of acres per hour, the range per acre, what it allows to say."""
    lines = []
    for way in decision.ways:
        rate = "" if way.acres_per_hour is None else f"{way.acres_per_hour:.1f} ac/h before turning"
        hours = "" if way.hours is None else f"{number(way.hours)} h for the acres left"
        done = "" if way.acres_by_then is None else f"{number(way.acres_by_then)} ac in the time left"
        told = ", ".join(t for t in (rate, hours, done) if t) or "acres and hours left, rows, width or speed not known"
        lines.append(f"{way.name}: {told}")
    for loss in decision.losses:
        money = ""
        if decision.price is not None:
            low, high = (number(max(0.0, x) * decision.price) for x in (loss.low, loss.high))
            money = f" ({low} to {high} in your money)"
        gain = " (the low end is a gain)" if loss.low < 0 else ""
        lines.append(f"{loss.what}: {number(loss.low)} to {number(loss.high)} bu/ac{money}{gain}. {loss.why}")
        lines += [f"  {study}" for study in loss.studies]
    lines += list(decision.says)
    return "\n".join(wrap(line.strip(), width, "  " if line.startswith("  ") else "") for line in lines) + "\n"
