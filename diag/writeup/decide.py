"""Keep planting or stop: what the measured fault may cost per acre, as a range with the studies' disagreement.

Corn only, because the studies are corn; elsewhere only the acres per hour are told. Money, yield and the price
of delay are the user's own figures; without them nothing is put in their place.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from diag.call.case_of import Seen
from diag.call.desk import CallDesk
from diag.figures.rows import expand
from diag.measure.economics import BU_PER_AC, SPACING_RULES, Range, skip_cost, spacing_cost
from diag.text import number, wrap
from diag.units import ACRE, INCH, UNITS, Measured

MPH = UNITS["mph"].factor
STUDIED_CROP = "corn"
SLOWER = 5.0 / 7.0
"""A slower speed to hold beside the present one, where none is named: 5 for 7 mph."""
SKIPS = ("true_skips", "misses_by_position", "skips_after", "misses")
DOUBLES = ("true_doubles", "multiples_by_position", "doubles_after", "multiples")
SKIPS_AS_IT_WAS, DOUBLES_AS_IT_WAS = ("skips_before",), ("doubles_before",)
"""Results of a step test whose change was put back: what it was before the step is what it is again."""
FULL_NUMBER = 0.02
"""Share of missing plants up to which the number counts as full, so that the studies of spacing apply. Estimate."""
CLEAR_LOSS = 0.10
"""Share of the whole planter's crop from which on stopping is advised whatever the delay costs. Estimate."""


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
    speed: float | None
    """m/s, None where nothing is planted meanwhile or no speed is known."""
    acres_per_hour: float | None
    hours: float | None
    """Hours for the acres left."""
    acres_by_then: float | None
    """Acres done in the hours that are left."""
    lacks: str = ""
    """What would have to be known to say how fast the acres go."""


@dataclass(frozen=True)
class Decision:
    """What the figures allow to say about going on, going slower and stopping."""

    crop: str
    losses: tuple[Loss, ...]
    ways: tuple[Way, ...]
    price: float | None
    says: tuple[str, ...]
    """What the range allows to conclude, and what not."""
    advice: str
    """The recommendation in one sentence; "" where nothing measured allows one."""


def decide(call: CallDesk, given: Given | None = None) -> Decision:
    """Return what going on would cost and what stopping would, as far as it can be told."""
    given = given or Given()
    crop = call.state.situation.crop or ""
    share = _share_of_rows(call)
    measured = _Measured(call)
    told = _gone(measured, given, share)
    losses = tuple(_losses(call, measured, given, share)) if crop == STUDIED_CROP else ()
    delay = None
    if given.delay_per_hour is not None and given.hours_to_mend is not None:
        delay = given.delay_per_hour * given.hours_to_mend
    ways = tuple(_ways(call, given))
    says = tuple(_says(crop, losses, given, delay, share=share))
    advice = _advice(losses, ways[0], given, delay, gone=told if crop == STUDIED_CROP else None)
    return Decision(crop, losses, ways, price=given.price, says=says, advice=advice)


# --- what was measured ------------------------------------------------------------------------------------------


def _share_of_rows(call: CallDesk) -> float | None:
    machine, trouble = call.state.machine.rows, call.state.situation.rows
    if trouble is None or not machine:
        return 1.0 if trouble == "all" else None
    return len(expand(trouble, machine)) / machine


class _Measured:
    """What was measured since the last repair, at the settings that stand now."""

    def __init__(self, call: CallDesk) -> None:
        self._seen = [s for s in call.think().read.seen.values() if s.answer.epoch == call.state.epoch]
        standing = {c.name for c in call.state.not_put_back}
        changed = call.state.standing
        self._put_back = {event for event, changes in changed.items() if {c.name for c in changes} != standing}
        late = [s for s in call.state.trail if s.live and s.kind == "change" and not s.body.get("temporary")]
        place = {event: i for i, event in enumerate(call.state.timeline)}
        self._from = max((place[s.event] for s in late if "settles" not in s.body), default=-1)
        self._place = place

    def figure(self, names: tuple[str, ...], as_it_was: tuple[str, ...] = ()) -> tuple[float, str] | None:
        """Return (value, event) of the newest answer that gives any of the results at the present setting."""
        for one in reversed(self._seen):
            if self._place[one.answer.event] < self._from:
                continue
            for name in as_it_was if one.answer.event in self._put_back else names:
                value = _result(one, name)
                if value is not None:
                    return value, one.answer.event
        return None


def _result(seen: Seen, name: str) -> float | None:
    value = seen.evaluated.results.get(name)
    return value if isinstance(value, float) else None


def _counts(measured: _Measured, given: Given) -> tuple[tuple[float, str] | None, tuple[float, str]]:
    """Return (skips, event) and (doubles, event): the user's own, else as measured."""
    skips = (given.skips, "") if given.skips is not None else measured.figure(SKIPS, SKIPS_AS_IT_WAS)
    doubles = (given.doubles, "") if given.doubles is not None else measured.figure(DOUBLES, DOUBLES_AS_IT_WAS)
    return skips, doubles or (0.0, "")


def _gone(measured: _Measured, given: Given, share: float | None) -> float | None:
    """Return the share of the whole planter's places without a plant, None while nobody counted."""
    skips, _ = _counts(measured, given)
    return None if skips is None else skips[0] * (1.0 if share is None else share)


def _losses(call: CallDesk, measured: _Measured, given: Given, share: float | None) -> Iterator[Loss]:
    rows = 1.0 if share is None else share
    stand = _stand(call)
    skips, doubles = _counts(measured, given)
    if skips and stand and given.crop_yield is not None:
        cost = skip_cost(skips[0], doubles[0], stand, given.crop_yield * BU_PER_AC)
        events = tuple(dict.fromkeys(e for e in (skips[1], doubles[1]) if e))
        what = f"{number(skips[0] * 100)} % skips and {number(doubles[0] * 100)} % doubles"
        yield _loss(what, cost, rows, ("Nafziger 1996, J. Prod. Agric. 9(2): single skips and doubles",), events=events)
    spread = measured.figure(("spacing_sd",))
    if spread and (skips is None or skips[0] <= FULL_NUMBER):
        what = f"spacings that spread by {number(spread[0] / INCH)} in, the number of plants full"
        studies = tuple(f"{r.source}: {number(r.per_inch)} bu/ac per inch" for r in SPACING_RULES)
        yield _loss(what, spacing_cost(spread[0]), rows, studies, events=(spread[1],))


def _loss(what: str, cost: Range, rows: float, studies: tuple[str, ...], events: tuple[str, ...]) -> Loss:
    return Loss(what, cost.low * rows / BU_PER_AC, cost.high * rows / BU_PER_AC, cost.why, studies=studies,
                events=events)


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
    rate = now = None
    if speed:
        now = Measured.from_json(speed).si()
    if machine.rows and machine.row_width and now:
        rate = machine.rows * Measured.from_json(machine.row_width).si() * now / ACRE * 3600
    known = {"rows of the planter": machine.rows, "row width": machine.row_width, "speed": speed}
    lacks = ", ".join(name for name, value in known.items() if not value)
    yield replace(_way("keep going", now, rate, given), lacks=lacks)
    slower = None if now is None else given.slower if given.slower is not None else now * SLOWER
    slow_rate = rate * slower / now if rate and slower and now else None
    yield replace(_way("go slower", slower, slow_rate, given), lacks=lacks)
    left = None if given.hours_left is None else given.hours_left - (given.hours_to_mend or 0.0)
    after = None if left is None or rate is None else max(0.0, left) * rate
    hours = None
    if given.acres_left is not None and rate and given.hours_to_mend is not None:
        hours = given.hours_to_mend + given.acres_left / rate
    yield Way("stop and mend, then go on", None, None, hours, acres_by_then=after,
              lacks=lacks or "hours left, or acres left and hours to mend")


def _way(name: str, speed: float | None, rate: float | None, given: Given) -> Way:
    hours = given.acres_left / rate if rate and given.acres_left is not None else None
    done = rate * given.hours_left if rate and given.hours_left is not None else None
    if done is not None and given.acres_left is not None:
        done = min(done, given.acres_left)
    return Way(name, speed, rate, hours, acres_by_then=done)


# --- what it allows to say --------------------------------------------------------------------------------------


def _says(crop: str, losses: tuple[Loss, ...], given: Given, delay: float | None, share: float | None) -> Iterator[str]:
    if crop != STUDIED_CROP:
        yield (f"The studies read are of corn; for {crop.replace('_', ' ') or 'a crop that is not named'} they say "
               "nothing, so no cost is given.")
        return
    if not losses:
        yield ("Nothing measured at the present setting tells a cost: skips and doubles with your own yield, or dug "
               "spacings, would.")
        return
    if share is None:
        yield "How many of the rows are in trouble is not known: the figures are for a planter with all rows so."
    if len(losses) > 1:
        yield "The lines above look at the same fault in two ways; they are not added."
    yield ("It decides nothing about late plants: seed is not yet plants, emergence adds a spread of its own, and late "
           "plants cost more than gaps.")
    if delay is None or given.acres_left is None:
        yield "Which is dearer needs the acres left, the hours to mend and your own price of an hour's delay."


def _advice(losses: tuple[Loss, ...], keep: Way, given: Given, delay: float | None, gone: float | None) -> str:
    """Return the recommendation in one sentence: the low end speaks for stopping, the high end for going on."""
    if not losses:
        if gone is not None and gone >= CLEAR_LOSS:
            return f"Stop: {number(gone * 100)} % of the places on the planter hold no seed."
        return ""
    low, high = min(x.low for x in losses), max(x.high for x in losses)
    if delay is not None and given.acres_left is not None:
        return _against_delay(low * given.acres_left, high * given.acres_left, delay)
    if gone is not None and gone >= CLEAR_LOSS:
        return f"Stop: even the low end is {_each(low, keep)}."
    if high <= 0:
        return "Go on: no study read sees a loss in it."
    if low <= 0:
        return f"Go on and mend it at the next stop: it costs from nothing to {_each(high, keep)}."
    mend = given.hours_to_mend
    if given.acres_left is not None and mend:
        each = low * given.acres_left / mend
        return (f"Stop, unless an hour of standing costs you more than {number(each)} bu: even the low end is "
                f"{number(low * given.acres_left)} bu on the acres left.")
    return f"Stop as soon as mending costs less than that: even the low end is {_each(low, keep)}."


def _against_delay(low: float, high: float, delay: float) -> str:
    told = f"Going on costs {number(max(0.0, low))} to {number(high)} bu on the acres left, stopping {number(delay)}."
    if low > delay:
        return f"Stop: even the low end costs more than stopping does. {told}"
    if high < delay:
        return f"Go on: even the dearest study costs less than you say stopping does. {told}"
    return f"The range does not decide it: the studies lie on both sides. {told}"


def _each(loss: float, keep: Way) -> str:
    """Return a loss per acre as bushels an hour where the acres an hour are known."""
    if keep.acres_per_hour:
        return f"{number(loss * keep.acres_per_hour)} bu an hour"
    return f"{number(loss)} bu an acre"


def decision_text(decision: Decision, width: int = 78) -> str:
    """Return the decision as text: three lines of acres per hour, the range per acre, what it allows to say."""
    lines = []
    for way in decision.ways:
        rate = "" if way.acres_per_hour is None else f"{way.acres_per_hour:.1f} ac/h before turning"
        at = "" if way.speed is None else f" ({number(way.speed / MPH)} mph)"
        hours = "" if way.hours is None else f"{number(way.hours)} h for the acres left"
        done = "" if way.acres_by_then is None else f"{number(way.acres_by_then)} ac in the time left"
        told = ", ".join(t for t in (rate, hours, done) if t) or f"not known: {way.lacks}"
        lines.append(f"{way.name}{at}: {told}")
    for loss in decision.losses:
        money = ""
        if decision.price is not None:
            low, high = (number(max(0.0, x) * decision.price) for x in (loss.low, loss.high))
            money = f" ({low} to {high} in your money)"
        gain = " (the low end is a gain)" if loss.low < 0 else ""
        lines.append(f"{loss.what}: {number(loss.low)} to {number(loss.high)} bu/ac{money}{gain}. {loss.why}")
        lines += [f"  {study}" for study in loss.studies]
    lines += list(decision.says)
    lines += [decision.advice] if decision.advice else []
    return "\n".join(wrap(line.strip(), width, "  " if line.startswith("  ") else "") for line in lines) + "\n"
