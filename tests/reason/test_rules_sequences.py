"""Over random calls and the whole knowledge, counting, experta and CLIPS fire the same clauses in the same order.

`DIAG_SEQUENCES=5000 python -m pytest tests/reason/test_rules_sequences.py` runs as many calls as are asked for;
DIAG_SEQUENCES_FROM=5000 goes on where an earlier run ended.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator

import pytest
from reason.clips_rules import Clips

from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.counting import FactSet
from diag.reason.judge import Engine
from diag.reason.rules import firings_of

SEQUENCES = int(os.environ.get("DIAG_SEQUENCES", "12"))
FIRST = int(os.environ.get("DIAG_SEQUENCES_FROM", "0"))
STEPS = 6


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """The engine as it runs in the program."""
    return Engine(whole)


@pytest.fixture(scope="module")
def other(engine: Engine) -> Clips:
    """The same clauses in CLIPS."""
    return Clips(engine.rules.clauses)


def step(call: CallDesk, rng: random.Random, checks: list[str]) -> None:
    """Answer, change an answer, undo, redo, repair, or drive out, at random."""
    knowledge, answers = call.engine.knowledge, call.state.answers
    doing = rng.choices(("answer", "change", "undo", "redo", "repair", "channel"), (8, 2, 2, 1, 1, 0.3))[0]
    if doing == "change" and answers:
        old = rng.choice(answers)
        call.change_answer(old.event, outcome=rng.choice(list(knowledge.questions[old.check].outcomes)))
    elif doing == "undo":
        call.undo()
    elif doing == "redo":
        call.redo()
    elif doing == "repair":
        call.repair(rng.sample(sorted(knowledge.causes), 2))
    elif doing == "channel":
        call.switch_channel("site")
    else:
        for _ in range(rng.randrange(1, 6)):
            check = rng.choice(checks)
            call.answer(check, outcome=rng.choice(list(knowledge.questions[check].outcomes)))


def moments(engine: Engine, rng: random.Random) -> Iterator[tuple[FactSet, list[str]]]:
    """Yield facts and beliefs after each step of one random call."""
    knowledge = engine.knowledge
    call = Desk(engine, random=rng.randbytes).new_call(rng.choice(["phone", "site"]))
    axes = {a: rng.choice(axis.values).name for a, axis in knowledge.axes.items() if a != "crop" and rng.random() < 0.8}
    call.set_machine({"axes": axes, "rows": 12})
    call.set_situation({"rows": rng.choice(["all", [3], [5, 6, 7]])})
    call.set_complaint("", [(s, "chosen") for s in rng.sample(sorted(knowledge.symptoms), 2)])
    literals = {x for clause in engine.rules.clauses for x in clause.literals}
    limits = sorted({(x.key, x.limit) for x in literals if x.side})
    said = ("belief:", "flag:", "change:", "reading:")
    told = sorted({x.key for x in literals if x.key.startswith(said) and not x.side})
    asked = [leaf.answer for rule in knowledge.rules.values() for leaf in rule.when.leaves() if leaf.answer]
    checks = sorted({check for check in asked if check in knowledge.questions})
    for _ in range(STEPS):
        step(call, rng, checks)
        facts = engine.facts(call.think_case())
        numbers: dict[str, tuple[float, ...]] = dict(facts.numbers)
        for key, limit in rng.sample(limits, 8):
            numbers[key] = (*numbers.get(key, ()), limit + rng.choice((-1.0, 0.0, 1.0)))
        some = rng.sample(told, 20)
        keys = facts.keys | {k for k in some if not k.startswith("belief:")}
        yield FactSet(keys, numbers), [k for k in some if k.startswith("belief:")]


@pytest.mark.parametrize("seed", range(FIRST, FIRST + SEQUENCES))
def test_three_ways_of_running_the_rules_agree(engine: Engine, other: Clips, seed: int) -> None:
    """Answers, changes, undos and repairs: the same clauses fire in the same order in all three."""
    for facts, belief in moments(engine, random.Random(f"sequence {seed}")):
        fired = engine.rules.derived(facts, belief)
        assert other.run(facts, belief) == list(dict.fromkeys(fired))
        assert (*engine.rules.run(facts), *engine.rules.run(facts, belief)) == firings_of(fired)
