"""What the desk asks now, for every front end: one question, what is said before it, the answers it has."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from diag.ask.needs import Need, missing
from diag.call.desk import CallDesk
from diag.call.looks import FormLine, form_lines, members, readings, whole_of
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Caution
from diag.reason.cautions import (
    STATE,
    THEN,
    cautions_for,
    in_order,
    machine_to_ask,
    spoken,
    spoken_of_check,
    spoken_of_repair,
)
from diag.reason.next_check import Offer
from diag.say import present
from diag.say.follows import MENDS, Choice, at_first
from diag.text import number

HOLDS = timedelta(hours=4)
"""How long an acknowledged sentence holds before it is said again."""
STAGES = ("hear", "find", "mend", "prove", "done")
NOT_KNOWN = "unknown"
LISTED = "Numbers of what applies; - : of the rest nothing."
LOOKED_AT = "Numbers of what is wrong; - : the rest is fine."
"""What the line takes at a list, and at a look of several checks."""


@dataclass(frozen=True)
class Turn:
    """What is asked now.

    `kind`: check | form (a look), axis | need (wanted first), place | say | danger (before hands go on),
    act (worth doing now), practice (the trainee chooses), proved | closed | nothing (ends), stop (an emergency).
    Answers of the last six name acts of the front end, the others are recorded.
    """

    kind: str
    asks: str
    """The question, in the words to be said."""
    choices: tuple[Choice, ...] = ()
    hint: str = ""
    """What else the line takes."""
    check: Check | None = None
    offer: Offer | None = None
    axis: str | None = None
    need: Need | None = None
    form: tuple[FormLine, ...] = ()
    sentences: tuple[str, ...] = ()
    """Ids of what is acknowledged when this turn is answered."""
    cautions: tuple[Caution, ...] = ()
    """All cautions in full, worst first."""
    beside: tuple[tuple[str, str], ...] = ()
    """(what, words) in small beside the question: what to hear back, what it costs, what it ends."""
    steps: tuple[str, ...] = ()
    mates: int = 0
    """How many more checks the same look answers."""
    others: tuple[str, ...] = ()
    """The other checks offered."""
    key: str | None = None
    """The question asked: the check, or one item of it."""
    cause: str | None = None
    """The cause whose mending is worth doing now."""
    stage: str = "find"

    @property
    def records(self) -> bool:
        """True where an answer is recorded, False where it names an act."""
        return self.kind not in ("act", "practice", "proved", "closed", "nothing", "stop")


def acknowledged_now(call: CallDesk, check: Check | None = None) -> frozenset[str]:
    """Return the sentences and cautions that still hold: said to this person, not long ago.

    A machine state ends the one before it: of the states of another check than this one only the last still holds.
    """
    role, knowledge = present.shown_to(call), call.engine.knowledge
    fresh = [
        c for c in call.state.cautions
        if c.acknowledged != "none" and c.shown_to == role
        and call.desk.clock() - datetime.fromisoformat(c.at) < HOLDS
    ]
    wanted, held, said_for = check.id if check else None, set[str](), None
    for c in (c for c in fresh if c.caution.startswith(STATE)):
        if c.check != said_for:
            held, said_for = _last_state(knowledge, said_for, held), c.check
        held.add(c.caution)
    if said_for != wanted:
        held = _last_state(knowledge, said_for, held)
    return frozenset(held | {c.caution for c in fresh if not c.caution.startswith(STATE)})


def _last_state(knowledge: Knowledge, check: str | None, held: set[str]) -> set[str]:
    """Return the sentence of the state that a check leaves the machine in, if it was said."""
    done = knowledge.questions.get(check or "") or knowledge.checks.get(check or "")
    if done is None:
        return held
    states = (knowledge.states[step.state] for step in reversed(done.steps))
    last = next((state.spoken for state in states if state.spoken), "")
    return {name for name in held if spoken(knowledge).get(name) == last}


def said_already(call: CallDesk, check: Check) -> str:
    """Return the sentences of a check that were said and hold, as they were said; "" for none."""
    knowledge, known = call.engine.knowledge, acknowledged_now(call, check)
    return in_order(knowledge, (s for s in spoken_of_check(knowledge, check) if s in known))


def asked_for_flags(call: CallDesk) -> bool:
    """Tell whether what is special about the place was asked for (or there is nothing to ask)."""
    told = any(s.live and s.kind == "situation" and "flags" in s.body for s in call.state.trail)
    return told or not call.engine.knowledge.flags or call.state.opened.practice


def axis_to_ask(call: CallDesk, offer: Offer | None) -> str | None:
    """Return the way machines differ that must be known before a check; None when known, or asked and not known."""
    known = call.state.machine.axes
    return next((a for a in (offer.axes_to_ask if offer else ()) if a not in known), None)


def turn(
    call: CallDesk, taken: str | None = None, *, form: bool | None = None, not_known: Container[str] = (),
    passed: str = "",
) -> Turn:
    """Return what is asked now.

    `taken`: a check chosen by hand; `form`: the whole look as one form, or not (None: as a form on site, one by
    one on the phone); `not_known`: names of needs that were asked for in vain; `passed`: what was worth doing
    and was passed over (see `worth_doing`).
    """
    stopped = _stopped(call)
    if stopped is not None:
        return stopped
    if call.state.closed:
        return _closed(call)
    if taken is None and call.state.opened.practice:
        return _practised(call)
    offers = call.offers()
    if taken and taken in call.engine.knowledge.questions and not present.applies(call, taken):
        taken = None  # what was asked first ruled it out
    key = taken or call.think().judgement.plan.again or (offers[0].check if offers else None)
    doing = worth_doing(call)
    if taken is None and doing and doing != passed:
        return _act(call, offers)
    if key is None:
        return Turn("nothing", "No check is left that can be done here.", at_first("nothing"),
                    stage=stage_of(call))
    return _asked(call, key, offers, form, not_known=not_known)


def worth_doing(call: CallDesk) -> str:
    """Return what is worth doing now that is no check, as one word with its cause; "" when a check is, or one again."""
    judgement = call.think().judgement
    if judgement.action in ("check", "measure_again"):
        return ""
    if judgement.action == "prove":  # with every reading since the repair the verdict may be due
        case = call.think_case()
        return f"prove:{sum(i.epoch == case.epoch for i in case.instances)}"
    return f"{judgement.action}:{judgement.plan.repair or ''}"


def stage_of(call: CallDesk) -> str:
    """Return how far a call has come."""
    state = call.state
    if state.closed:
        return "done"
    repairs = [r for r in state.repairs if r.kind == "repair"]
    if not repairs:
        return "find"
    proofs = [p for p in state.proofs if p.target == repairs[-1].event]
    return {"accepted": "done", "not_accepted": "find"}.get(proofs[-1].verdict, "prove") if proofs else "prove"


def _stopped(call: CallDesk) -> Turn | None:
    """Return what is to be done in an emergency; None when there is none."""
    now = present.stopping_now(call)
    if not now or call.state.closed:
        return None
    return Turn("stop", "\n".join(c.text for c in now), (Choice("over", "That is over, nobody is in danger"),),
                cautions=now, stage=stage_of(call))


def _closed(call: CallDesk) -> Turn:
    told = present.ended_lines(call)
    return Turn("closed", "\n".join(told), at_first("closed"), stage="done")


def _practised(call: CallDesk) -> Turn:
    """Return the question of a practice: what is looked at. Nothing is told of what the desk would do."""
    labels = [call.engine.knowledge.symptoms[s].label for s, _ in call.state.accepted]
    return Turn("practice", "What do you look at next?" if call.state.answers else "What do you look at first?",
                at_first("practice"), hint="or a word of a check",
                beside=(("complaint", ", ".join(labels)), ("machine", present.machine_words(call))))


def _act(call: CallDesk, offers: Sequence[Offer]) -> Turn:
    """Return what is worth doing now, with what can be done instead."""
    judgement, knowledge = call.think().judgement, call.engine.knowledge
    if judgement.action == "close":
        return Turn("proved", "\n".join(present.proved_lines(call)), at_first("close"), stage="done")
    asks = present.worth_doing_words(call)
    choices = list(at_first(judgement.action))
    beside: list[tuple[str, str]] = []
    cautions: tuple[Caution, ...] = ()
    sentences: tuple[str, ...] = ()
    mends = judgement.action in MENDS
    if judgement.plan.repair and mends:
        repair = knowledge.causes[judgement.plan.repair].repair
        beside.append(("how", repair.do))
        flags, machine = call.state.situation.flags, call.state.machine.axes
        cautions = cautions_for(knowledge, repair.hazards, call.state.channel, flags, machine=machine)
        sentences = spoken_of_repair(knowledge, repair.hazards)
    if judgement.plan.repair and not mends:
        choices.append(Choice("repair", "mended already: record it"))
    if offers and judgement.action != "prove":  # to measure again is to ask on
        choices.append(Choice("ask_on", f"no, ask on: {knowledge.questions[offers[0].check].asks}"))
    stage = {"repair": "mend", "try": "mend", "prove": "prove"}.get(judgement.action, stage_of(call))
    turn = Turn("act", asks, tuple(choices), beside=tuple(beside), cautions=cautions, cause=judgement.plan.repair,
                stage=stage)
    return _said_first(call, turn, sentences, asks) or turn


def _asked(
    call: CallDesk, key: str, offers: Sequence[Offer], form: bool | None, not_known: Container[str]
) -> Turn:
    knowledge = call.engine.knowledge
    offer = next((o for o in offers if o.check == key), None)
    check = knowledge.questions[key] if form is False else whole_of(call, key) or knowledge.questions[key]
    keys = members(call, key)
    as_form = not check.measured and (
        (check.takes.kind == "several" and form is not False)
        or (len(keys) > 1 and (form if form is not None else call.state.channel == "site"))
    )
    base = Turn("check", question(call, check), check=check, offer=offer, key=key, mates=len(keys) - 1,
                others=tuple(o.check for o in offers if o.check not in keys)[:2],
                cautions=present.cautions_now(call, check), beside=_beside(call, check, keys, as_form),
                steps=present.step_lines(call, check),
                stage=stage_of(call))
    return _before(call, base, not_known) or (_form(call, base, keys) if as_form else _check(base))


def question(call: CallDesk, check: Check) -> str:
    """Return a check's question in the words to be said."""
    return check.phone if call.state.channel == "phone" and check.phone else check.asks + "."


def _before(call: CallDesk, base: Turn, not_known: Container[str]) -> Turn | None:
    """Return what must be known, said or typed before a check; None when nothing must."""
    knowledge, check = call.engine.knowledge, base.check
    assert check is not None
    axis = axis_to_ask(call, base.offer)
    if axis:
        return _axis(call, base, axis, check.asks)
    first = _said_first(call, base, spoken_of_check(knowledge, check), check.asks)
    if first is not None:
        return first
    judged = check.measured and not call.state.opened.practice  # a simulated machine gives the result itself
    need = next((n for n in missing(call, check) if n.name not in not_known), None) if judged else None
    if need is not None:
        return replace(base, kind="need", asks=need.spoken, need=need,
                       beside=(("to judge", check.asks),))
    return None


def _axis(call: CallDesk, base: Turn, axis: str, then: str) -> Turn:
    """Return the question for one way machines differ."""
    entry = call.engine.knowledge.axes[axis]
    told = tuple(Choice(v.name, v.label + (f" ({v.tell_by})" if v.tell_by else "")) for v in entry.values)
    return replace(base, kind="axis", asks=entry.asks, axis=axis, choices=told, beside=(("then", then),))


def _said_first(call: CallDesk, base: Turn, sentences: Sequence[str], then: str) -> Turn | None:
    """Return what is asked or said before hands go on, and before what is `then` due; None when nothing is left."""
    knowledge, known = call.engine.knowledge, acknowledged_now(call, base.check)
    unsaid = _unsaid(sentences, known)
    begun = bool(unsaid) and next(s for s in sentences if s.startswith(STATE) or s in unsaid) not in unsaid
    dangers = tuple(c for c in base.cautions if c.word == "DANGER" and c.id not in known)[:1]  # each stands alone
    axis = machine_to_ask(knowledge, dangers[0], call.state.machine.axes) if dangers else None
    if axis:  # a question is less than a danger typed in vain
        return _axis(call, base, axis, then)
    if (unsaid or dangers) and not asked_for_flags(call):
        asked = tuple(Choice(f.name, f.short) for f in knowledge.flags.values() if f.short)
        words = ", ".join(c.words for c in asked)
        return replace(base, kind="place", asks=f"Anything special about the place: {words}?", choices=asked,
                       beside=(), hint="Enter: nothing special; else numbers or words.")
    if unsaid:
        return replace(base, kind="say", asks=THEN * begun + in_order(knowledge, unsaid), sentences=unsaid,
                       choices=_agreed(call), beside=(("then", then),))
    if dangers:
        hint = "read to the caller and he said yes." if _phone(call) else "read and understood."
        return replace(base, kind="danger", asks=dangers[0].text, choices=(),
                       sentences=tuple(c.id for c in dangers), beside=(("then", then),),
                       hint=f"Type DANGER when it was {hint}")
    return None


def _unsaid(sentences: Sequence[str], known: Container[str]) -> tuple[str, ...]:
    """Return the sentences still to be said; the states that come after one of them end it, and are said again."""
    states = [s for s in sentences if s.startswith(STATE)]
    new = next((i for i, s in enumerate(states) if s not in known), len(states))
    return tuple(s for s in sentences if s not in known or s in states[new:])


def _agreed(call: CallDesk) -> tuple[Choice, ...]:
    yes = "said, and he says yes" if _phone(call) else "it is so"
    return Choice("yes", yes), Choice("no", "not so: this can't be done here")


def _phone(call: CallDesk) -> bool:
    return call.state.channel == "phone"


def _check(base: Turn) -> Turn:
    check = base.check
    assert check is not None
    choices = tuple(Choice(name, o.says) for name, o in check.outcomes.items())
    return replace(base, kind="check", choices=choices)


def _form(call: CallDesk, base: Turn, keys: list[str]) -> Turn:
    check, looks = base.check, call.engine.knowledge.looks
    assert check is not None
    lines = form_lines(call, keys)
    asks = base.asks
    if check.look in looks and not (_phone(call) and check.phone):
        asks = looks[check.look or ""].asks
    hint = LISTED if check.takes.kind == "several" else LOOKED_AT
    return replace(base, kind="form", asks=asks, form=lines, hint=hint,
                   choices=tuple(Choice(f"{n.check}/{n.outcome}", n.label) for n in lines))


def _beside(call: CallDesk, check: Check, keys: Sequence[str], as_form: bool) -> tuple[tuple[str, str], ...]:
    """Return what stands in small beside a question."""
    knowledge = call.engine.knowledge
    told: list[tuple[str, str]] = []
    if _phone(call) and check.read_back:
        told.append(("hear back", check.read_back))
    before = [a for a in call.state.answers if a.check == check.id and a.epoch < call.state.epoch]
    told += [("before the repair", present.reading_text(before[-1], check))] if before else []
    cost = present.cost_words(call, check)
    if cost:
        told.append(("takes", cost))
    told += [("changes evidence", f"{text}. Read or photograph it first.") for text in check.destroys]
    if as_form and check.look in knowledge.looks:
        measured = readings(call, keys[0])
        told += [("with it", "; ".join(knowledge.questions[k].asks for k in measured))] if measured else []
    elif len(keys) > 1 and not check.measured and check.takes.kind != "several":
        told.append(("same look", f"{number(len(keys) - 1)} more with the same thing open"))
    return tuple(told)
