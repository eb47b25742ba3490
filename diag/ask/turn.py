"""What the desk asks now: the check (or what must be known before it), its cautions first, what else is offered."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from diag.ask.needs import Need, missing
from diag.call.desk import CallDesk
from diag.call.looks import FormLine, form_lines, members, readings, whole_of
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Caution
from diag.reason.next_check import Offer
from diag.say import present

HOLDS = timedelta(hours=4)
"""How long an acknowledged caution holds before it is read in full again."""
GATES = ("DANGER", "WARNING")
"""Words of cautions that must be acknowledged."""


@dataclass(frozen=True)
class Turn:
    """What is to be shown and asked now.

    `kind`: axis | flags | caution | need | form | check | nothing | stop | closed.
    """

    kind: str
    title: str
    check: Check | None = None
    offer: Offer | None = None
    axis: str | None = None
    advice: str = ""
    cautions: tuple[tuple[Caution, str], ...] = ()
    """Cautions to be read now, in full."""
    held: str = ""
    """Those that were read and still hold, in short."""
    gates: tuple[Caution, ...] = ()
    """Cautions to be acknowledged before anything else."""
    lines: tuple[tuple[str, str], ...] = ()
    form: tuple[FormLine, ...] = ()
    mates: int = 0
    """How many more checks the same look answers."""
    others: tuple[str, ...] = ()
    """The other checks offered."""
    key: str | None = None
    """The question asked: the check, or one item of it."""
    need: Need | None = None
    """What the reading cannot be judged without."""


def acknowledged_now(call: CallDesk) -> frozenset[str]:
    """Return the cautions that still hold: acknowledged in this channel, not long ago.

    Another person, another day or a longer pause brings them back in full.
    """
    role = present.shown_to(call)
    return frozenset(
        c.caution for c in call.state.cautions
        if c.acknowledged != "none" and c.shown_to == role
        and call.desk.clock() - datetime.fromisoformat(c.at) < HOLDS
    )


def asked_for_flags(call: CallDesk) -> bool:
    """Tell whether what makes the situation dangerous was asked for (or there is nothing to ask)."""
    told = any(s.live and s.kind == "situation" and "flags" in s.body for s in call.state.trail)
    return told or not call.engine.knowledge.flags or call.state.opened.practice


def axis_to_ask(call: CallDesk, offer: Offer | None) -> str | None:
    """Return the way machines differ that must be known before a check; None when known, or asked and not known."""
    known = call.state.machine.axes
    return next((a for a in (offer.axes_to_ask if offer else ()) if a not in known), None)


def advice(call: CallDesk) -> str:
    """Return what is worth doing now when that is no check, in words."""
    judgement = call.think().judgement
    if judgement.action == "check":
        return ""
    text = present.ACTIONS[judgement.action]
    if judgement.plan.repair:
        cause = call.engine.knowledge.causes[judgement.plan.repair]
        text += f": {cause.label} (about {cause.repair.minutes:g} min)"
        if judgement.action == "try":
            text += ". Write it down as temporary, and read what it does"
    return text + "."


def turn(
    call: CallDesk, taken: str | None = None, *, form: bool | None = None, not_known: Container[str] = ()
) -> Turn:
    """Return what is asked now.

    `taken`: a check chosen by hand; `form`: the whole look as one form, or not (None: as a form on site, one by
    one on the phone); `not_known`: names of needs that were asked for in vain.
    """
    if call.state.closed:
        return Turn("closed", "Closed: " + call.state.closed.result.replace("_", " "))
    stops = present.stopping_now(call)
    if stops:
        told = ("then", "When that is over, take it out of the situation: the questions go on.")
        full = tuple((c, present.caution_line(c, frozenset())) for c in stops)
        return Turn("stop", "Stop: nothing more is asked now", cautions=full, lines=(told,))
    offers = call.offers()
    key = taken or (offers[0].check if offers else None)
    todo = advice(call)
    if key is None:
        proved = call.think().judgement.action == "close"
        left = "Mended and proved. Write it up, close the call, call back." if proved else (
            "There is no check left that can be done here. Record a repair, go on on site, or close the call."
        )
        told = ("left", left)
        return Turn("nothing", "Nothing left to ask", advice=todo, lines=(told,))
    offer = next((o for o in offers if o.check == key), None)
    return _asked(call, key, offer, offers, todo, form, not_known)


def _asked(
    call: CallDesk, key: str, offer: Offer | None, offers: Sequence[Offer], todo: str, form: bool | None,
    not_known: Container[str],
) -> Turn:
    knowledge = call.engine.knowledge
    check = knowledge.questions[key] if form is False else whole_of(call, key) or knowledge.questions[key]
    axis = axis_to_ask(call, offer)
    if axis:
        entry = knowledge.axes[axis]
        told: tuple[tuple[str, str], ...] = (("ask", entry.asks), ("for", check.asks + "."))
        return Turn("axis", "Needed first: " + entry.label, check, offer, axis, todo, lines=told)
    known = acknowledged_now(call)
    found = present.cautions_now(call, check)
    cautions = tuple((c, present.caution_line(c, known)) for c in found if c.id not in known)
    held = present.held_to(c for c in found if c.id in known)
    gates = tuple(c for c in found if c.id not in known and c.word in GATES)
    keys = members(call, key)
    as_form = (check.takes.kind == "several" and form is not False) or (
        len(keys) > 1 and (form if form is not None else _on_site(call))
    )
    as_form = as_form and not check.measured
    others = tuple(o.check for o in offers if o.check not in keys)[:2]
    lines = list(_lines(call, check, offer, others, keys, as_form))
    if gates and not asked_for_flags(call):
        asks = (("ask", "What makes it dangerous there? Tick what is so; nothing ticked is an answer too."),)
        return Turn("flags", "Before hands go on", check, offer, None, todo, lines=asks, key=key)
    need = next((n for n in missing(call, check) if n.name not in not_known), None) if check.measured else None
    if need is not None and not gates:
        lines = [("need", f"{need.asks}, to judge the reading."), *lines]
    kind = "caution" if gates else "need" if need else "form" if as_form else "check"
    shown = form_lines(call, keys) if as_form else ()
    title = check.asks
    if as_form and check.look:
        title = knowledge.looks[check.look].label if check.look in knowledge.looks else check.asks
        title = title[:1].upper() + title[1:]
    return Turn(kind, title, check, offer, None, todo, cautions, held, gates, tuple(lines), shown, len(keys) - 1,
                others, key, need)


def _on_site(call: CallDesk) -> bool:
    return call.state.channel == "site"


def _lines(
    call: CallDesk, check: Check, offer: Offer | None, others: Sequence[str], keys: Sequence[str], as_form: bool
) -> tuple[tuple[str, str], ...]:
    knowledge = call.engine.knowledge
    lines = [x for x in present.check_lines(call, check, offer) if x[0] != "asks"]
    if as_form and check.look in knowledge.looks:
        lines.insert(0, ("look", knowledge.looks[check.look or ""].asks))
        measured = readings(call, keys[0])
        if measured:
            lines.append(("readings", "; ".join(knowledge.questions[k].asks for k in measured)))
    elif len(keys) > 1 and not check.measured:
        lines.append(("same look", f"{len(keys) - 1} more checks with the same thing open or the same walk."))
    lines += [("or", knowledge.questions[k].asks) for k in others]
    return tuple(lines)
