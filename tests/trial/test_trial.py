"""Simulated calls: the same seed gives the same calls, and the figures mean what they say."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

import pytest
from conftest import SMALL

from diag.call.desk import Desk
from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.load import data_folder, knowledge_folder, load
from diag.reason.judge import Engine
from diag.trial.effect import effect, told
from diag.trial.effect import main as effect_main
from diag.trial.practice import Practice, run_practice
from diag.trial.score import Run, play_many, summary, trial
from diag.trial.simulate import WORLDS, SimulatedMachine, Simulation, draw_fault, outcome_shares_of


def test_same_seed_same_calls_whatever_the_split() -> None:
    """One process or two: the same played calls in the same order."""
    one = trial([SMALL], calls=12, seed=3, workers=1, yardsticks=False)
    two = trial([SMALL], calls=12, seed=3, workers=2, yardsticks=False)
    assert one == two


def test_faults_are_drawn_as_often_as_the_knowledge_says(small: Knowledge) -> None:
    """alpha 40 of 105.5 expected calls (delta only on electric machines): within four standard errors of 400."""
    tables = Engine(small, counter=True).tables
    rng = random.Random(1)
    drawn = [draw_fault(tables, rng).causes[0] for _ in range(400)]
    # a call needs a symptom: alpha is complained of 9 times in 10, beta and none_wrong 4 in 10, ...
    weight = {"alpha": 40 * 0.9, "beta": 30 * 0.4, "gamma": 20 * 0.9, "delta": 4 * 0.4, "none_wrong": 10 * 0.4}
    share = weight["alpha"] / sum(weight.values())
    assert drawn.count("alpha") / 400 == pytest.approx(share, abs=4 * (share * (1 - share) / 400) ** 0.5)


def test_two_fault_calls_are_drawn_on_request(small: Knowledge) -> None:
    """With a share of 1 every call that can have a second fault has one; no_fault causes stay alone."""
    tables = Engine(small, counter=True).tables
    faults = [draw_fault(tables, random.Random(n), two_share=1.0) for n in range(60)]
    assert all(len(f.causes) == 2 or f.causes == ("none_wrong",) for f in faults)
    assert not any({"beta", "gamma"} == set(f.causes) for f in faults)


def test_asking_beats_not_asking() -> None:
    """On the small knowledge checks raise the share of calls named right, and shorten the way to the mended machine."""
    asked = summary(play_many([str(SMALL)], range(60), Run(5, "site")))
    unasked = summary(play_many([str(SMALL)], range(60), Run(5, "site", policy="no_questions")))
    assert asked["top1"] > unasked["top1"]
    assert unasked["checks"] == 0


@pytest.mark.parametrize("channel", ["site", "phone"])
def test_calls_as_known_end_mended(channel: str) -> None:
    """Self-consistency on 24 simulated calls: most are mended, belief is near the share right, advice is right."""
    played = play_many([str(knowledge_folder())], range(24), Run(11, channel))
    figures = summary(played)
    assert sum(p.stopped == "mended" for p in played) >= 18
    assert (figures["top1"] >= 0.70, figures["top3"] >= 0.85) == (True, True), figures
    assert figures["wrong_first_advice"] <= 0.25
    assert figures["calibration"] <= 0.30
    assert all(p.to_mended >= p.minutes for p in played)


def test_a_world_unlike_the_knowledge_is_played_too() -> None:
    """Each world draws other calls or answers; a foreign fault is in no ranking."""
    report = trial([SMALL], calls=10, seed=2, workers=1)
    assert set(WORLDS) == {"as_known", *report["worlds"]}
    assert 0.0 == report["worlds"]["foreign"]["top3"]
    assert {"fixed_chart", "no_questions"} == set(report["yardsticks"])


def test_worlds_change_what_is_seen(small: Knowledge) -> None:
    """Faint: half way to a sound machine. Chances off: by at most twice, the same for the same fault and check."""
    tables = Engine(small, counter=True).tables
    fault = draw_fault(tables, random.Random(3))
    known = SimulatedMachine(tables, fault, random.Random(0)).shares("plain")
    base = [float(b) for b in tables.check("plain").base]
    faint = next(m for n in range(20) if (m := SimulatedMachine(tables, fault, random.Random(n), "faint"))._faint)
    off = SimulatedMachine(tables, fault, random.Random(0), "marks").shares("plain")

    assert [(a + b) / 2 for a, b in zip(known, base, strict=True)] == pytest.approx(faint.shares("plain"))
    assert all(0.5 <= o / k <= 2.0 for o, k in zip(off, known, strict=True))
    assert off != known
    assert off == SimulatedMachine(tables, fault, random.Random(9), "marks").shares("plain")


def test_a_cause_left_out_comes_back(small: Knowledge) -> None:
    """While a cause is left out the engine ranks without it; afterwards all is as before."""
    simulation = Simulation(Engine(small, counter=True))
    fault = draw_fault(simulation.engine.tables, random.Random(1))
    with simulation.without(fault.causes[0]):
        without = {r.cause for r in simulation.call(fault, "site").think().judgement.ranking}
    assert fault.causes[0] not in without
    assert fault.causes[0] in {r.cause for r in simulation.call(fault, "site").think().judgement.ranking}


def test_practice_answers_and_judges(small: Knowledge) -> None:
    """The simulated machine answers each check once; naming the cause ends it and tells the truth."""
    desk = Desk(Engine(small, counter=True))
    practice = Practice(desk, seed=4)
    assert practice.call.state.opened.practice is True
    assert practice.take("plain") in ("red", "blue", "ok")
    with pytest.raises(UsageError, match="was done"):
        practice.take("plain")
    verdict = practice.name(None)
    assert not verdict.right
    assert practice.name(verdict.truth[0]).right


def test_practice_line_by_line(small: Knowledge) -> None:
    """The dialogue lists offers when asked, takes words, and tells the fault in the end."""
    lines = iter(["offers", "1", "zebra", "causes", "is zebra", "give up"])
    written: list[str] = []
    run_practice(Desk(Engine(small, counter=True)), seed=4, read=lambda _: next(lines), write=written.append)
    text = "\n".join(written)
    assert "  1 " not in "\n".join(written[:4])
    assert "  1 " in text
    assert "No check fits" in text
    assert "No cause fits" in text
    assert "It was: " in text


def test_effect_of_a_change(tmp_path: Path) -> None:
    """A changed chance shows as a changed cause and as a call that comes out differently."""
    new = tmp_path / "new"
    shutil.copytree(SMALL, new)
    path = new / "causes" / "all.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("plain: {red: 0.95, ok: 0.02}", "plain: {blue: 0.95, ok: 0.02}"), encoding="utf-8")
    call = tmp_path / "call.yaml"
    call.write_text(
        "title: t\ninvented: true\nevents:\n  - {kind: opened, channel: site}\n"
        "  - {kind: complaint, accepted: [thin]}\n  - {kind: answer, check: plain, outcome: blue}\n", encoding="utf-8",
    )
    report = effect(load([SMALL]), load([new]), [str(call)])
    assert report["entries"] == {"causes": {"added": [], "removed": [], "changed": ["alpha"]}}
    assert [report["calls"][0][when][0] for when in ("before", "after")] == [["beta", "likely"], ["alpha", "likely"]]
    assert report["calls"][0]["differs"]
    assert "DIFFERENT" in told(report)


def test_effect_of_an_overlay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that holds changes only is laid over the knowledge that came with the program."""
    (tmp_path / "causes").mkdir()
    source = knowledge_folder() / "causes" / "bulk.yaml"
    entries = source.read_text(encoding="utf-8").split("\n- id: ")
    own = "- id: " + entries[1].replace("\n  label: ", "\n  label: Our ", 1)
    (tmp_path / "causes" / "own.yaml").write_text(own, encoding="utf-8")
    call = data_folder("transcripts_demo") / "elder_thole_low_wing.yaml"

    assert effect_main([str(knowledge_folder()), str(tmp_path), "--calls", str(call)], json_out=True) == 0
    assert json.loads(capsys.readouterr().out)["entries"]["causes"]["changed"] == [entries[1].split("\n")[0]]


def test_simulation_uses_the_belief_models_pair_rule(small: Knowledge) -> None:
    """What a two-fault machine shows is drawn from the same table the belief uses."""
    from reason.naive import outcome_chance

    tables = Engine(small, counter=True).tables
    for check in small.questions:
        expected = outcome_chance(small, check, frozenset({"alpha", "gamma"}))
        assert outcome_shares_of(tables, check, ("alpha", "gamma")) == pytest.approx(list(expected.values()))
