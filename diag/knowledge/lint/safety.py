"""Safety beyond single states: wordings that ask for what may never be asked of a caller.

The patterns restate the never-ask-a-caller list: hands near anything turning, holding covers or hoses
against a running meter, feeling for leaks or air, under a raised frame, oil fittings, blowing out, mouth on a
line, beside or on a moving planter. A sentence that forbids a thing ("never by mouth") does not ask for it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from diag.knowledge import model
from diag.knowledge.base import At, Fault, Knowledge


def _pattern(*parts: str) -> re.Pattern[str]:
    return re.compile("|".join(parts), re.IGNORECASE)


_PART = r"(cover|lid|seal|hose|door|disc|brush|belt|rag|cork|chain|wheel)s?\b"
_WHICH = r"(the|your|a|each|every|that|its)"

FORBIDS = _pattern(
    r"\b(never|not|no|nobody|without|instead of|rather than|nothing|don't)\b",
    r"\bkeep (\w+ ){0,3}?(off|away|clear|out)\b",
)
BLOWING = _pattern(
    r"\bblow(s|n|ing)? (\w+ ){0,3}?(out|through|clean|clear|free|off|away|on|into)\b",
    r"\b(compressed|shop) air\b",
    r"\bair (gun|hose|nozzle)\b",
)
MOUTH = _pattern(r"\b(by|with|your|to) mouth\b", r"\bsuck (on|at)\b", r"\bsniff\b", r"\btaste\b")
HANDS = _pattern(
    r"\bpalm\b", r"\btug\b", r"\bby hand\b", r"\bfingers?\b", r"\bthumb\b", r"\breach (in|into|down)\b",
    r"\bfeel (for|the|whether|if|along|round)\b", r"\bwrap\b.*\btape\b",
    rf"\b(press|hold|push|squeeze|lift) (on )?{_WHICH} (\w+ )?{_PART}",
    rf"\bpull (off|on|at|{_WHICH}) ?(\w+ )?{_PART}",
)
RAISED = _pattern(
    rf"\b(under|beneath|below) ({_WHICH} )?(raised|lifted)\b",
    r"\blook up (the|into|through|inside|from)\b",
)
BESIDE = _pattern(
    r"\b(walk|run|jog|rid|stand|crouch)(s|e|ing|ning)?\b[^.;:]*\b(beside|alongside|next to|along with)\b",
    r"\brid(e|es|ing) on\b",
)
FITTINGS = _pattern(
    r"\b(loosen|crack|open|disconnect|uncouple|unscrew|undo)\w*\b"
    r"[^.;:]*\b((oil|hydraulic|return) (line|hose|circuit|pipe)|case drain|coupler|fitting)"
)
GUARDED = ("hydraulic_open", "couplers", "hydraulic_holds_weight")


def flaws(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield unsafe wordings and unsafe combinations."""
    for key, check in knowledge.checks.items():
        yield from _check(knowledge, key, check)
    for key, cause in knowledge.causes.items():
        yield from _repair(knowledge, key, cause)
    told = {h for caution in knowledge.cautions.values() for h in caution.hazards}
    for name in knowledge.hazards:
        if name not in told:
            yield ("hazards", name), "No caution is shown for it.", "Write one in cautions.yaml."


def asks(pattern: re.Pattern[str], text: str) -> str:
    """Return the words of a text that ask for what the pattern names, "" when none or only forbidden."""
    for sentence in re.split(r"(?<=[.;:?!])\s+", text):
        for clause in re.split(r",\s+(?=never|not|no |nobody|without)", sentence):
            found = pattern.search(clause)
            if found and not FORBIDS.search(clause):
                return found[0]
    return ""


def _check(k: Knowledge, key: str, check: model.Check) -> Iterator[Fault]:
    spoken = [(("phone",), check.phone or "")] if check.phone else []
    texts: list[tuple[At, str]] = [*spoken]
    texts += [(("steps", n), step.do) for n, step in enumerate(check.steps)]
    texts += [(("stand_ins", n), s.do) for n, s in enumerate(check.stand_ins) if s.do]
    texts += [(("outcomes", n), o.advise) for n, o in check.outcomes.items() if o.advise]
    for at, text in texts:
        yield from _everywhere(("checks", key, *at), text)
    for number, step in enumerate(check.steps):
        yield from _running(k, key, number, step)
        yield from _needs_hazard(key, check, number, step)


def _everywhere(at: At, text: str) -> Iterator[Fault]:
    said = asks(BLOWING, text)
    if said:
        yield at, f"Asks for blowing out ({said!r}).", "Vacuum cleaner with a fine filter, or wipe."
    said = asks(MOUTH, text)
    if said:
        yield at, f"Asks for the mouth or nose at a part ({said!r}).", "Use a bulb, or look."


def _running(k: Knowledge, key: str, number: int, step: model.Step) -> Iterator[Fault]:
    state = k.states.get(step.state)
    if state is None or not (state.fan or state.moving):
        return
    at = ("checks", key, "steps", number)
    said = asks(HANDS, step.do)
    if said:
        what = f"Hands at the machine ({said!r}) in the state {step.state}."
        yield at, what, "Split into stop, fit, start, read, stop."
    said = asks(BESIDE, step.do) if state.moving else ""
    if said:
        what = f"Somebody beside or on the moving planter ({said!r})."
        yield at, what, "Watch from the cab, a camera, or from far off."


def _needs_hazard(key: str, check: model.Check, number: int, step: model.Step) -> Iterator[Fault]:
    at = ("checks", key, "steps", number)
    text = f"{step.do} {check.phone}" if check.phone and number == 0 else step.do
    if asks(RAISED, text) and "under_machine" not in check.all_hazards:
        yield at, "Under a raised machine without the hazard under_machine.", "Add it; it is never asked by phone."
    if asks(FITTINGS, text) and not set(GUARDED) & set(check.all_hazards):
        what = f"Opens oil lines without one of the hazards {', '.join(GUARDED)}."
        yield at, what, "Add it; it is never asked by phone."


def _repair(k: Knowledge, key: str, cause: model.Cause) -> Iterator[Fault]:
    repair = cause.repair
    texts: list[tuple[At, str]] = [(("repair", "do"), repair.do)]
    texts.append((("prevention",), cause.prevention))
    if cause.interim:
        texts += [(("interim", name), getattr(cause.interim, name)) for name in ("do", "watch")]
    for at, text in texts:
        yield from _everywhere(("causes", key, *at), text)
    if repair.by != "technician":
        for name in repair.hazards:
            if name in k.hazards and k.hazards[name].never_phone:
                what = f"{name} is never asked of a caller, yet the repair is for the {repair.by}."
                yield ("causes", key, "repair", "by"), what, "Give it to the technician."
        if asks(FITTINGS, repair.do):
            what = "Opens oil lines, yet it is no technician's repair."
            yield ("causes", key, "repair", "do"), what, "Give it to the technician."
