"""Drive out or not: what can still be done by phone, and what a drive-out would take, at any moment of a call.

The figures come from what is believed now; none of them enters a write-up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from diag.call.desk import CallDesk
from diag.reason.judgement import Judgement
from diag.reason.worlds import Posterior
from diag.text import number, wrap
from diag.writeup.stock import STOCK, stock_of


@dataclass(frozen=True)
class DriveOut:
    """What can still be done by phone, and what a drive-out would take."""

    phone_chance: float
    """Chance that what is wrong can be mended by the grower."""
    phone_minutes: float
    """Expected minutes from here by phone, the drive-out where it comes to that included."""
    phone_checks: tuple[tuple[str, float], ...]
    """Best questions left by phone with their minutes."""
    phone_left: int
    """How many questions are left by phone."""
    travel_minutes: float
    site_minutes: float
    """Expected minutes on site."""
    reasons: tuple[str, ...]
    """Why somebody should drive, or stop asking, as the rules say."""

    @property
    def drive_minutes(self) -> float:
        """Return expected minutes when somebody drives now."""
        return self.travel_minutes + self.site_minutes


def drive_out_view(call: CallDesk) -> DriveOut:
    """Return what can still be done by phone and what a drive-out would take, at any moment of a call."""
    engine, thought = call.engine, call.think()
    case = thought.read.case
    phone = engine.judge(replace(case, channel="phone")) if case.channel != "phone" else thought.judgement
    site = engine.judge(replace(case, channel="site", prepared=frozenset()))
    travel = case.drive_out if case.drive_out is not None else engine.knowledge.settings.drive_out
    offers = tuple((engine.knowledge.questions[o.check].asks, round(o.minutes, 1)) for o in phone.plan.offers)
    rules = engine.knowledge.rules
    told = [s for s in phone.said if s.kind == "suggests" and s.text in ("drive_out", "hand_over")]
    reasons = [rules[s.rule].because for s in told]
    return DriveOut(
        phone_chance=round(grower_can(phone.belief, call), 4), phone_minutes=round(_expected(phone), 1),
        phone_checks=offers, phone_left=len(phone.plan.open), travel_minutes=travel,
        site_minutes=round(_expected(site), 1), reasons=tuple(dict.fromkeys(reasons)),
    )


def _expected(judgement: Judgement) -> float:
    saves = max((o.saves_minutes for o in judgement.plan.offers), default=0.0)
    return max(0.0, judgement.plan.cost_now - max(0.0, saves))


def grower_can(belief: Posterior, call: CallDesk) -> float:
    """Return the chance that everything that is wrong can be mended by the grower, guided or alone, with what is there.

    A repair that takes a part counts only when somebody said that the part is at hand.
    """
    stock, causes = stock_of(call), call.engine.knowledge.causes
    can = call.engine.tables.grower_can.copy()
    for cause, place in call.engine.tables.position.items():
        can[place] &= all(stock.get(p) == STOCK["here"] for p in causes[cause].repair.parts)
    both = can[belief.space.first] & can[belief.space.second]
    return float(belief.clear + belief.one[can].sum() + belief.two[both].sum())


def recommendation(view: DriveOut) -> str:
    """Return what is recommended, in one sentence."""
    phone, drive = number(view.phone_minutes), number(view.drive_minutes)
    if view.reasons:
        return f"Recommended: drive out now. {view.reasons[0]}"
    if not view.phone_left:
        return "Recommended: drive out now; by phone there is nothing left to ask."
    if view.phone_minutes <= view.drive_minutes:
        return f"Recommended: go on by phone first, about {phone} min against {drive} min with the drive."
    return f"Recommended: drive out now, about {drive} min against {phone} min by phone."


def drive_text(view: DriveOut, width: int = 78) -> str:
    """Return the drive-out view as text."""
    checks = "; ".join(f"{asks.rstrip('.')} ({number(minutes)} min)" for asks, minutes in view.phone_checks)
    lines = [
        f"By phone: {view.phone_chance:.0%} that the grower can mend it with what is at hand".replace("%", " %", 1)
        + f"; about {number(view.phone_minutes)} min from here, a drive-out included where it comes to that.",
        f"Questions left by phone: {view.phone_left}" + (f"; best: {checks}." if checks else "."),
        f"Drive out now: {number(view.travel_minutes)} min on the road and about "
        f"{number(view.site_minutes)} min on site.",
    ]
    lines += [f"Time to decide: {reason}" for reason in view.reasons]
    lines.append(recommendation(view))
    return "\n".join(wrap(line, width) for line in lines) + "\n"
