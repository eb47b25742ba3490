"""Practice on an invented fault: the trainee chooses the checks, the simulated machine answers."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from diag.ask.search import search_causes, search_checks
from diag.call.desk import CallDesk, Desk
from diag.errors import UsageError
from diag.figures import number_in
from diag.say import present
from diag.text import clean, wrap
from diag.trial.follow import follow
from diag.trial.simulate import Fault, SimulatedMachine, Simulation, draw_fault

WIDTH = 78
MOST_CHECKS = 30
HELP = """  a word        search a check, then its number takes it
  offers        what the desk would ask now; a number takes one of it
  causes        what can be believed so far
  is WORD       name the cause: ends the practice
  give up       tells the fault
  quit          leave"""


@dataclass(frozen=True)
class Verdict:
    """How a practice ended."""

    right: bool
    truth: tuple[str, ...]
    checks: int
    minutes: float
    tool_checks: int
    tool_minutes: float


class Practice:
    """One invented fault; nothing of it is shown until the trainee names a cause or gives up."""

    def __init__(self, desk: Desk, seed: int, channel: str = "site") -> None:
        self._rng = random.Random(f"practice:{seed}")
        self._simulation = Simulation(desk.engine)
        self._seed, self._channel = seed, channel
        self._fault: Fault = draw_fault(desk.engine.tables, self._rng)
        self._machine = SimulatedMachine(desk.engine.tables, self._fault, self._rng)
        self.call: CallDesk = desk.new_call(channel, practice=True)
        machine = {a: v for a, v in self._fault.axes.items() if a != "crop"}
        self.call.set_machine({"axes": machine, "rows": 12})
        self.call.set_situation({"crop": self._fault.axes.get("crop")})
        self.call.set_complaint("", [(s, "chosen") for s in self._fault.symptoms])

    def take(self, check: str) -> str:
        """Do a check on the simulated machine; return what is seen, in words. Raises UsageError."""
        entry = self.call.engine.knowledge.questions.get(check)
        if entry is None or not self._simulation.feasible(self.call, check):
            asked = entry.asks if entry else check
            raise UsageError(f"{asked}: cannot be done on this machine, or was done.", "practice", "Take another.")
        outcome = self._machine.said(check, self._channel)
        self.call.answer(check, outcome=outcome)
        return entry.outcomes[outcome].says

    def name(self, cause: str | None) -> Verdict:
        """End the practice with a cause named (None = given up) and tell how the tool itself would have done."""
        spent = self.call.minutes()
        tool = self._simulation.call(self._fault, self._channel)
        again = SimulatedMachine(self.call.engine.tables, self._fault, random.Random(f"tool:{self._seed}"))
        done = follow(tool, again, MOST_CHECKS)
        own = tool.minutes()
        return Verdict(
            cause in self._fault.causes, self._fault.causes, len(self.call.state.answers),
            spent["checks"] + spent["desk"] + spent["grower"], tool_checks=len(done.steps),
            tool_minutes=own["checks"] + own["desk"] + own["grower"],
        )


def run_practice(
    desk: Desk, *, seed: int | None = None, read: Callable[[str], str] = input, write: Callable[[str], None] = print
) -> int:
    """Run a practice line by line."""
    number = seed if seed is not None else int.from_bytes(desk.random(3), "big")
    practice = Practice(desk, number)
    knowledge = desk.engine.knowledge
    write(f"Practice {number}. Everything in it is invented.")
    write(wrap("Machine: " + present.machine_words(practice.call), WIDTH))
    write(wrap("Complaint: " + ", ".join(knowledge.symptoms[s].label for s, _ in practice.call.state.accepted), WIDTH))
    write(HELP)
    try:
        while not _step(practice, read, write):
            pass
    except EOFError:
        write("Left.")
    return 0


def _step(practice: Practice, read: Callable[[str], str], write: Callable[[str], None]) -> bool:
    """One exchange; True when the practice is over."""
    call = practice.call
    knowledge = call.engine.knowledge
    offers = [o.check for o in call.offers()]
    said = clean(read("check, or is ... > ")).strip()
    if said == "quit":
        return True
    if said == "offers":
        for i, key in enumerate(offers, 1):
            write(f"  {i} {knowledge.questions[key].asks}")
        return False
    if said == "causes":
        for c in present.cause_lines(call):
            write(f"{present.bar(c.share)} {c.chance:<12} {c.label}")
        return False
    if said == "give up" or said.startswith("is "):
        return _end(practice, said.removeprefix("is ").strip() if said != "give up" else None, write)
    number = number_in(said, len(offers))
    keys = search_checks(knowledge, said) if number is None else [offers[number - 1]]
    if len(keys) != 1 and said not in keys:
        for key in keys:
            write(f"  {key}: {knowledge.questions[key].asks}")
        if not keys:
            write("No check fits. Try one word of it.")
        return False
    key = said if said in keys else keys[0]
    try:
        write(wrap(f"{knowledge.questions[key].asks}: {practice.take(key)}", WIDTH))
    except UsageError as error:
        write(str(error))
    return False


def _end(practice: Practice, word: str | None, write: Callable[[str], None]) -> bool:
    knowledge = practice.call.engine.knowledge
    cause = None
    if word is not None:
        found = [word] if word in knowledge.causes else search_causes(knowledge, word)
        if len(found) != 1:
            for key in found:
                write(f"  {key}: {knowledge.causes[key].label}")
            write("Name one of them." if found else "No cause fits. Try one word of it.")
            return False
        cause = found[0]
    verdict = practice.name(cause)
    truth = " and ".join(knowledge.causes[c].label for c in verdict.truth)
    write(wrap(("Right: " if verdict.right else "It was: ") + truth + ".", WIDTH))
    write(f"You: {verdict.checks} checks, {verdict.minutes:.0f} min. The tool: {verdict.tool_checks} checks, "
          f"{verdict.tool_minutes:.0f} min.")
    return True
