"""Like nothing in the book: answers that no known cause explains, and repairs that mended nothing."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from reason.helpers import said
from reason.naive import CLEAR, UNKNOWN, likelihood, prior_of, symptom_log

from diag.knowledge.base import Knowledge
from diag.reason import judge
from diag.reason.case import Case, RepairDone
from diag.reason.costs import prices
from diag.reason.judge import Engine
from diag.reason.misfit import unexplained_bits
from diag.reason.worlds import forward

BULK = {"fill": "bulk", "drive": "electric"}  # no rule of the small knowledge marks here


@pytest.fixture
def engine(small: Knowledge) -> Engine:
    """The engine on the small knowledge."""
    return Engine(small)


def test_unexplained_bits_by_hand(engine: Engine) -> None:
    """Log of the answers each under the mix of single faults, less the log of them together under all worlds."""
    k = engine.knowledge
    case = Case(axes=BULK, symptoms=("thin",), instances=(said(k, "plain", "blue"), said(k, "split", "upper")))
    start = {w: p * math.exp(symptom_log(k, case, w)) for w, p in prior_of(k, case).items() if p > 0}
    singles = {w: p for w, p in start.items() if len(w) == 1 and w not in (CLEAR, UNKNOWN)}

    def chance(world: frozenset[str]) -> list[float]:
        return [likelihood(k, i, world, case) / likelihood(k, i, CLEAR, case) for i in case.instances]

    alone = [sum(p * chance(w)[n] for w, p in singles.items()) / sum(singles.values()) for n in range(2)]
    together = sum(p * math.prod(chance(w)) for w, p in start.items()) / sum(start.values())
    j = engine.judge(case)
    assert j.start is not None
    *_, now = forward(j.start, j.epochs, case, engine.tables)
    assert unexplained_bits(j.start, j.epochs, now) == pytest.approx(math.log2(math.prod(alone) / together))


def test_a_repair_in_vain_is_neither_named_nor_advised_again(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """The trouble stays after its repair: not sure any more, not repaired once more, like nothing in the book."""
    monkeypatch.setattr(judge, "FOREIGN_BITS", math.inf)  # so that the repair alone says it
    k = engine.knowledge
    before = (said(k, "plain", "red"), said(k, "split", "upper"), said(k, "open_one", "bad"))
    case = Case(axes=BULK, symptoms=("thin",), instances=before)
    first = engine.judge(case)
    assert (first.ranking[0].cause, first.may_be_named, first.faults_known) == ("alpha", True, True)
    assert prices(case, engine.tables).doable.all()

    after = tuple(replace(i, epoch=1, events=(f"after{n}",)) for n, i in enumerate((before[0], before[2])))
    done = replace(case, instances=(*before, *after), repairs=(RepairDone({"alpha": 0.5}),))
    waits = engine.judge(replace(done, to_prove=("alpha",)))
    assert (waits.ranking[0].cause, waits.may_be_named, waits.action) == ("alpha", True, "prove")
    stays = engine.judge(done)
    assert stays.ranking == waits.ranking
    assert (stays.may_be_named, stays.faults_known) == (False, False)
    doable = prices(done, engine.tables).doable
    assert {c for c, can in zip(engine.tables.causes, doable, strict=True) if not can} == {"alpha"}
