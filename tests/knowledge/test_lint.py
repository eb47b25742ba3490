"""Each finding of the linter, provoked by spoiling one thing, beside a near miss that is left in peace."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from knowledge.tiny import Tiny

from diag.errors import UsageError
from diag.knowledge.cli import main, watch
from diag.knowledge.lint.run import lint
from diag.knowledge.lint.safety import BESIDE, BLOWING, FITTINGS, HANDS, MOUTH, RAISED, asks
from diag.knowledge.load import knowledge_folder, load


@pytest.fixture
def tiny(tmp_path: Path) -> Tiny:
    """A clean knowledge of two causes."""
    return Tiny(tmp_path)


def rule(key: str, when: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A rule that warns."""
    return {"id": key, "when": when, "then": {"warns": f"{key} fired"}, "because": f"{key} says so.",
            "source": ["common_practice"], **more}


def test_clean_knowledge_has_no_problem(tiny: Tiny) -> None:
    """Nothing is found where nothing is wrong, and the entries are counted."""
    report = lint([tiny.write()])
    assert [] == list(report.problems)
    assert {"symptoms": 2, "causes": 2, "checks": 2, "rules": 0, "cautions": 1, "sources": 2,
            "by_mark": {"common_practice": 8}} == report.counts


@pytest.mark.parametrize(
    ("section", "entry"),
    [
        ("looks", {"name": "spare", "label": "s", "asks": "s?"}),
        ("preparations", {"name": "spare", "label": "s"}),
        ("parts", {"name": "spare", "label": "s"}),
        ("tools", {"name": "spare", "label": "s"}),
        ("kinds", {"name": "spare", "label": "s"}),
        ("seasons", {"name": "spare", "label": "s"}),
        ("flags", {"name": "spare", "label": "s"}),
        ("subsystems", {"name": "spare", "label": "s", "means": "m"}),
        ("hazards", {"name": "spare", "label": "s"}),
        ("book", {"name": "spare", "label": "s", "quantity": "count"}),
        ("limits", {"id": "spare", "label": "s", "quantity": "count", "value": "3", "source": ["P1"]}),
        ("cautions", {"id": "spare", "word": "NOTICE", "text": "t", "source": ["P1"]}),
    ],
)
def test_unused_name(tiny: Tiny, section: str, entry: dict[str, Any]) -> None:
    """A name that nothing uses is dead weight."""
    tiny.sections.setdefault(section, []).append(entry)
    assert "spare: Used nowhere." in tiny.lint()


def test_symptom_nobody_brings(tiny: Tiny) -> None:
    """A symptom that no cause brings leads nowhere."""
    tiny.alpha["symptoms"] = {"heaps": "often"}
    assert "gaps: Used nowhere." in tiny.lint()


def test_cause_that_nothing_confirms(tiny: Tiny) -> None:
    """What shows now and then does not confirm, nor does what its attributes tell."""
    tiny.alpha["shows"] = {"alpha_look": {"bad": "often"}}
    assert "alpha: No check can confirm it." in tiny.lint()
    tiny.alpha["shows"] = {"alpha_look": {"bad": "almost_always"}}
    tiny.alpha["rows"] = "one"
    tiny.check["tells"] = [{"rows": "one", "shows": {"bad": "almost_always"}}]
    del tiny.alpha["shows"]
    assert "alpha: No check can confirm it." in tiny.lint()


def test_cause_that_nothing_excludes(tiny: Tiny) -> None:
    """A cause whose looks come out fine half of the time is never set aside; what its attributes tell does it."""
    tiny.check["outcomes"]["bad"]["share"] = 0.01
    tiny.alpha["shows"] = {"alpha_look": {"bad": 0.5}}
    assert ["alpha: No check can exclude it."] == tiny.lint()
    tiny.alpha["rows"] = "one"
    tiny.checks[1]["tells"] = [{"rows": "one", "shows": {"bad": "almost_always"}}]
    assert "alpha: No check can exclude it." not in tiny.lint()


def test_check_that_separates_nothing(tiny: Tiny) -> None:
    """What falls on all causes alike tells nothing apart; a check that asks for another one may be mute."""
    mute = copy.deepcopy(tiny.check)
    mute.update(id="mute", asks="Mute", phone="How mute is it?")
    tiny.checks.append(mute)
    assert ["mute: Separates nothing."] == tiny.lint()
    mute["tells"] = [{"rows": ["any", "one"], "shows": {"bad": "often"}}]
    assert ["mute: Separates nothing."] == tiny.lint()
    del mute["tells"]
    mute["outcomes"]["bad"] = {"says": "bad", "then_check": ["alpha_look"]}
    assert [] == tiny.lint()


def test_outcome_that_says_nothing(tiny: Tiny) -> None:
    """An outcome that no cause shows is a dead end, unless a rule waits for it or sound machines bring it often."""
    tiny.check["outcomes"]["odd"] = {"says": "odd", "share": 0.02}
    assert ["alpha_look: No cause shows itself by odd, and it asks for nothing."] == tiny.lint()
    tiny.check["outcomes"]["odd"]["share"] = 0.2
    tiny.check["outcomes"]["good"]["usual"] = 0.7
    assert [] == tiny.lint()
    tiny.check["outcomes"]["odd"]["share"] = 0.02
    del tiny.check["outcomes"]["good"]["usual"]
    tiny.rules.append(rule("waits", {"answer": "alpha_look", "is": "odd"}))
    assert [] == tiny.lint()


@pytest.mark.parametrize(
    ("shows", "what"),
    [
        ({"alpa_look": {"bad": "usually"}}, "alpha: 'alpa_look' is no known check."),
        ({"alpha_look": {"bed": "usually"}}, "alpha: 'bed' is no known outcome of alpha_look."),
        ({"alpha_look": {"bad": "mostly"}}, "alpha: 'mostly' is no known likelihood word."),
        ({"alpha_look": {"bad": "usually", "good": "often"}}, "alpha: Chances add up to 1.3."),
        ({"alpha_look": {}}, "alpha: Nothing is told."),
    ],
)
def test_slips_in_what_a_cause_shows(tiny: Tiny, shows: dict[str, Any], what: str) -> None:
    """Checks, outcomes and words must be known, and chances of one answer add up to about 1."""
    tiny.alpha["shows"] = shows
    assert what in tiny.lint()


def test_slips_in_what_a_check_tells(tiny: Tiny) -> None:
    """A line needs an attribute and known outcomes; of a list of items each has a chance of its own."""
    tiny.check["tells"] = [{"shows": {"bad": "usually"}}]
    assert "alpha_look: Tells of every cause alike." in tiny.lint()
    tiny.check["tells"] = [{"rows": "one", "shows": {"bed": "usually"}}]
    assert "alpha_look: 'bed' is no known outcome of alpha_look." in tiny.lint()
    tiny.check["tells"] = [{"rows": "several", "shows": {"bad": "usually"}}]
    assert any("tells.0.rows" in p for p in tiny.lint())


def test_a_cause_need_not_repeat_its_attributes(tiny: Tiny) -> None:
    """What the check tells of its attributes already is noise in the cause; another chance is not."""
    tiny.alpha["rows"] = "one"
    tiny.checks[1]["tells"] = [{"rows": "one", "shows": {"bad": "sometimes"}}]
    tiny.alpha["shows"]["beta_look"] = {"bad": "sometimes"}
    assert ["alpha: Tells of beta_look what its attributes tell already."] == tiny.lint()
    tiny.alpha["shows"]["beta_look"] = {"bad": "never"}
    assert [] == tiny.lint()


def test_a_new_cause_hears_which_checks_speak_of_its_neighbours(tiny: Tiny) -> None:
    """Where few checks speak of a cause, those that half of its subsystem show in are named."""
    for n in range(3):
        more = copy.deepcopy(tiny.causes[1])
        more.update(id=f"more{n}", label=f"More {n}", symptoms={"heaps": "often"})
        more["shows"] = {"beta_look": {"bad": 0.3 + 0.2 * n}, "alpha_look": {"bad": "never"}}
        tiny.causes.append(more)
    told = [p for p in tiny.lint() if p.startswith("alpha:")]
    assert ["alpha: Spoken of by 1 check; of its neighbours speak beta_look."] == told


def test_every_cause_can_be_found(tiny: Tiny) -> None:
    """From its commonest complaint one answer or two, of different looks, must make a cause likely."""
    tiny.causes[1]["symptoms"] = dict(tiny.alpha["symptoms"])
    tiny.sections["symptoms"].pop()
    tiny.causes[1]["per_mille"] = 200
    tiny.alpha["shows"] = {"alpha_look": {"bad": "usually"}}
    missed = [p for p in tiny.lint() if "Not found" in p]
    assert ["alpha: Not found: belief 0.36 after alpha_look bad."] == missed  # 10 x .8/.07 against 200
    tiny.alpha["shows"]["beta_look"] = {"bad": "usually"}
    tiny.causes[1]["shows"] = {"beta_look": {"bad": "sometimes", "good": "usually"}, "alpha_look": {"good": 0.93}}
    assert any(p.startswith("alpha: Not found") for p in tiny.lint())  # one look: its answers do not add up
    tiny.checks[1].pop("look")
    assert not any(p.startswith("alpha: Not found") for p in tiny.lint())


def test_mark_words_stand_in_the_order_of_their_effect(tiny: Tiny) -> None:
    """Rules: a word one step weaker acts weaker, and the strongest acts at least 8."""
    folder = tiny.write()
    text = (folder / "knowledge.yaml").read_text(encoding="utf-8")

    def linted(old: str, new: str) -> list[str]:
        assert old in text
        (folder / "knowledge.yaml").write_text(text.replace(old, new), encoding="utf-8")
        return [f"{p.id}: {p.what}" for p in lint([folder]).problems]

    assert ["supports: Acts 2, supports_strongly before it acts 1.5."] == linted(
        "supports_strongly, ratio: 5", "supports_strongly, ratio: 1.5"
    )
    assert ["confirms: The strongest word acts 7."] == linted("confirms, ratio: 20", "confirms, ratio: 7")


def test_axis_clash(tiny: Tiny) -> None:
    """A cause cannot show in a check for another kind of meter; overlapping kinds may."""
    tiny.alpha["applies"] = {"meter": ["finger"]}
    tiny.check["applies"] = {"meter": ["flat", "celled"]}
    found = tiny.lint()
    assert "alpha: Shows in alpha_look, which is for other machines." in found
    assert "alpha: No check can confirm it." in found
    assert "alpha: No check of proof fits the machines that have this cause." in found
    tiny.alpha["applies"] = {"meter": ["finger", "flat"], "any": [{"drive": ["chain"]}, {"fill": ["bulk"]}]}
    assert [] == tiny.lint()


def test_next_check_and_stand_in_for_other_machines(tiny: Tiny) -> None:
    """What is asked next, or instead, must exist on the same machine."""
    tiny.checks[1]["applies"] = {"drive": ["chain"]}
    tiny.check["applies"] = {"drive": ["electric"]}
    tiny.check["outcomes"]["bad"]["then_check"] = ["beta_look"]
    tiny.check["stand_ins"] = [{"check": "beta_look", "weaker_in": "It sees less."}]
    found = tiny.lint()
    assert "alpha_look: Asks for beta_look, which is for other machines." in found
    assert "alpha_look: Its stand-in beta_look is for other machines." in found


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("Is it " + "very " * 19 + "bad?", "Phone wording of 22 words."),
        ("Is it bad? Or is it good?", "Phone wording with 2 question marks."),
        ("Tell me how it looks.", "Phone wording with 0 question marks."),
        ("Can you just look at it?", "Phone wording says 'just'."),
        ("Is the left wing bad?", "Left or right without the seat."),
    ],
)
def test_phone_wording(tiny: Tiny, text: str, what: str) -> None:
    """One question, one breath, no empty words, no side without the seat."""
    tiny.check.update(phone=text, yes="bad", no="good")
    assert [f"alpha_look: {what}"] == tiny.lint()


@pytest.mark.parametrize(
    "text",
    [
        "Is it " + "very " * 17 + "bad?",
        "Seen from the seat, is the left wing bad?",
        "Is there seed left in the right place?",
        "Does it adjust by itself?",
    ],
)
def test_phone_wording_near_misses(tiny: Tiny, text: str) -> None:
    """Twenty words, a side with its seat, and words that only look like the banned ones."""
    tiny.check.update(phone=text, yes="bad", no="good")
    assert [] == tiny.lint()


def test_missing_phone_wording(tiny: Tiny) -> None:
    """What a grower can do needs words to ask him, what only a technician can do needs none."""
    tiny.check.pop("phone")
    tiny.check["minutes"] = {"site": 2}
    assert ["alpha_look: The grower can do it, but there is no phone wording."] == tiny.lint()
    tiny.check["who"] = "technician"
    assert [] == tiny.lint()
    tiny.check.update(phone="How bad is it?", minutes={"desk": 1, "grower": 1})
    assert ["alpha_look: Technician only, yet with a phone wording."] == tiny.lint()


def test_missing_grower_minutes_why_and_read_back(tiny: Tiny) -> None:
    """A caller at the machine needs time, a reason, and an answer that can be read back."""
    tiny.check["minutes"] = {"desk": 1}
    tiny.check.pop("why")
    tiny.check.pop("read_back")
    assert {
        "alpha_look: The caller must go to the machine, but there are no grower minutes.",
        "alpha_look: Phone wording without `why`.",
        "alpha_look: Phone wording without `read_back`.",
    } == set(tiny.lint())


def test_missing_source(tiny: Tiny) -> None:
    """Every statement carries its mark."""
    tiny.alpha["source"] = []
    assert ["alpha: No source given."] == tiny.lint()


def test_other_words_belong_to_one_outcome_that_there_is(tiny: Tiny) -> None:
    """How people answer a check: an unknown check or outcome, and a way that stands twice, are named with a remedy."""
    tiny.sections["answers"] = [
        {"id": "alpha_look", "said": {"good": "tight, all on", "bad": "Tight, off", "best": "x"}},
        {"id": "gone_look", "said": {"good": "fine"}},
    ]
    assert {
        "alpha_look: alpha_look has no outcome best.", 'alpha_look: "tight" stands for good too.',
        "gone_look: There is no check gone_look.",
    } == set(tiny.lint())


def test_duplicate_wording(tiny: Tiny) -> None:
    """Two entries in the same words cannot be told apart; case and end marks do not count."""
    tiny.checks[1]["phone"] = tiny.check["phone"].upper()
    tiny.causes[1]["label"] = tiny.alpha["label"] + "."
    tiny.check["outcomes"]["good"]["says"] = "bad"
    assert {
        "beta_look: Same wording as alpha_look.",
        "beta: Same wording as alpha.",
        "alpha_look: Outcome good says the same as bad.",
    } == set(tiny.lint())


def test_look_alikes_need_a_separating_check(tiny: Tiny) -> None:
    """Two causes complained of alike must be told apart by an answer, not only by their names."""
    tiny.causes[1]["symptoms"] = dict(tiny.alpha["symptoms"])
    tiny.sections["symptoms"].pop()
    assert [] == tiny.lint()
    for cause in tiny.causes:
        cause["shows"] = {check: {"bad": "almost_always"} for check in ("alpha_look", "beta_look")}
    found = tiny.lint()
    assert "alpha: No check separates it from its look-alike beta." in found
    tiny.causes[1]["applies"] = {"meter": ["finger"]}
    tiny.alpha["applies"] = {"meter": ["flat"]}
    assert "alpha: No check separates it from its look-alike beta." not in tiny.lint()


def measured(tiny: Tiny, *tests: dict[str, Any]) -> list[str]:
    """Turn the check of alpha into a reading with these outcomes in order, and lint."""
    outcomes: dict[str, Any] = {}
    for number, when in enumerate(tests):
        outcomes[f"bad{number}"] = {"says": f"bad {number}", "when": when}
    outcomes["good"] = {**tiny.checks[0]["outcomes"]["good"], "otherwise": True}
    takes = {"kind": "number", "quantity": "vacuum"}
    tiny.check.update(takes=takes, compute="vacuum_reading", outcomes=outcomes)
    tiny.alpha["shows"] = {"alpha_look": {f"bad{number}": 0.95 / len(tests) for number in range(len(tests))}}
    return tiny.lint()


def low(**bound: str) -> dict[str, Any]:
    """A test of how far a reading lies below what was set."""
    return {"result": "below_reference"} | {
        side: {"value": value, "source": ["common_practice"]} for side, value in bound.items()
    }


def test_thresholds_that_cascade_are_fine(tiny: Tiny) -> None:
    """Tried in written order, a wider range after a narrower one takes what is left."""
    assert [] == measured(tiny, low(above="4 inH2O"), low(above="2 inH2O"))
    assert [] == measured(tiny, low(above="2 inH2O"), low(below="-2 inH2O"))


def test_thresholds_that_shadow_or_overlap(tiny: Tiny) -> None:
    """A narrower range after a wider one is never reached; ranges that cross leave it to the order."""
    shadowed = measured(tiny, low(above="2 inH2O"), low(above="4 inH2O"))
    assert ["alpha_look: Never reached: bad0 takes its whole range."] == shadowed
    crossing = measured(tiny, low(above="2 inH2O"), low(below="3 inH2O"))
    assert ["alpha_look: Its range of below_reference overlaps that of bad0."] == crossing


def test_rule_that_can_never_fire(tiny: Tiny) -> None:
    """Conditions that exclude one another: two answers of one look, a finding nobody concludes, another axis."""
    bad, good = ({"answer": "alpha_look", "is": o} for o in ("bad", "good"))
    tiny.sections["findings"] = [{"id": "seen", "label": "seen"}]
    tiny.rules = [
        rule("both", {"all": [bad, good]}),
        rule("either", {"any": [bad, good]}),
        rule("waiting", {"all": [bad, {"finding": "seen"}]}),
        rule("phone_and_site", {"all": [bad, {"channel": "phone"}, {"channel": "site"}]}),
        rule("wrong_axis", {"all": [bad, {"axis": "meter", "is": "finger"}]}, applies={"meter": ["flat"]}),
        rule("right_axis", {"all": [bad, {"axis": "meter", "is": "flat"}]}, applies={"meter": ["flat"]}),
    ]
    assert {
        "both: Can never fire.", "waiting: Can never fire.", "phone_and_site: Can never fire.",
        "wrong_axis: Can never fire.", "seen: No rule concludes it, yet rules wait for it.",
    } == set(tiny.lint())


def test_rule_that_always_fires(tiny: Tiny) -> None:
    """A rule that holds before anything is known says nothing; one that rests on an answer may use `not`."""
    bad = {"answer": "alpha_look", "is": "bad"}
    tiny.rules = [
        rule("empty", {"not": {"answered": "alpha_look"}}),
        rule("rests", {"all": [bad, {"not": {"answered": "beta_look"}}]}),
    ]
    assert ["empty: Fires with nothing known."] == tiny.lint()


def test_rule_for_other_machines(tiny: Tiny) -> None:
    """A rule may not wait for, prefer or mark what its machines do not have."""
    tiny.checks[1]["applies"] = {"drive": ["chain"]}
    tiny.causes[1]["applies"] = {"drive": ["chain"]}
    fits, seen = {"drive": ["electric"]}, {"answer": "alpha_look", "is": "bad"}
    tiny.rules = [
        rule("waits", {"answer": "beta_look", "is": "bad"}, applies=fits),
        rule("prefers", {"symptom": "gaps"}, applies=fits, then={"prefers": [{"check": "beta_look"}]}),
        rule("marks", seen, applies=fits, then={"marks": {"supports": ["beta"]}}),
        rule("fits", {"answer": "beta_look", "is": "bad"}, applies={"drive": ["electric", "chain"]}),
    ]
    assert {
        "waits: Waits for beta_look, which is for other machines.",
        "prefers: Speaks of beta_look, which is for other machines.",
        "marks: Marks beta, which no machine has that it is for.",
    } == set(tiny.lint())


def test_rules_in_a_circle(tiny: Tiny) -> None:
    """Rules that hang on one another through `not` have no order."""
    tiny.sections["findings"] = [{"id": "f", "label": "f"}, {"id": "g", "label": "g"}]
    seen = {"answer": "alpha_look", "is": "bad"}
    tiny.rules = [
        rule("one", {"all": [seen, {"not": {"finding": "g"}}]}, then={"finds": "f"}),
        rule("two", {"all": [seen, {"finding": "f"}]}, then={"finds": "g"}),
    ]
    assert any("hang on one another" in p for p in tiny.lint())


def test_repair_without_proof(tiny: Tiny) -> None:
    """A repair must be proved; where nothing is wrong there is nothing to prove."""
    tiny.alpha["repair"].pop("verify")
    assert ["alpha: Its repair has no proof."] == tiny.lint()
    tiny.alpha["no_fault"] = True
    assert [] == tiny.lint()


def test_cause_that_brings_itself_about(tiny: Tiny) -> None:
    """A chain of causes must have a beginning."""
    tiny.alpha["leads_to"] = [{"cause": "beta", "chance": 0.1}]
    assert [] == tiny.lint()
    tiny.causes[1]["leads_to"] = [{"cause": "alpha", "chance": 0.1}]
    assert {f"{c}: Brings itself about through leads_to." for c in ("alpha", "beta")} == set(tiny.lint())


def test_hazard_without_caution(tiny: Tiny) -> None:
    """Whatever can hurt has words before the step."""
    tiny.sections["cautions"][0]["hazards"] = ["hands_in_meter", "phone_guided", "couplers", "under_machine"]
    assert ["seed_handled: No caution is shown for it."] == tiny.lint()


def test_repair_by_a_caller_with_a_forbidden_hazard(tiny: Tiny) -> None:
    """A grower is not given a repair that no caller may be asked to do."""
    tiny.alpha["repair"]["hazards"] = ["hands_in_meter", "couplers"]
    assert [] == tiny.lint()
    tiny.alpha["repair"]["by"] = "guided"
    assert ["alpha: couplers is never asked of a caller, yet the repair is for the guided."] == tiny.lint()


@pytest.mark.parametrize(
    ("field", "text", "what"),
    [
        ("repair", "Blow it out from the far end.", "Asks for blowing out ('Blow it out')."),
        ("repair", "Clean it with compressed air.", "Asks for blowing out ('compressed air')."),
        ("step", "Clear the line by mouth.", "Asks for the mouth or nose at a part ('by mouth')."),
        ("step", "Look up the tube.", "Under a raised machine without the hazard under_machine."),
        ("step", "Loosen the oil line at the motor.", "Opens oil lines without one of the hazards"),
    ],
)
def test_unsafe_wording(tiny: Tiny, field: str, text: str, what: str) -> None:
    """Blowing out, the mouth, raised machines and oil lines are found in the words, not only in the hazards."""
    if field == "repair":
        tiny.alpha["repair"]["do"] = text
    else:
        tiny.check["steps"][0]["do"] = text
    assert any(what in p for p in tiny.lint())


@pytest.mark.parametrize("text", ["Put your palm over the hose.", "Tug each hose.", "Hold the cover down."])
def test_hands_while_it_runs(tiny: Tiny, text: str) -> None:
    """The same words are work in a dead machine and a wound in a running one."""
    tiny.check["steps"].append({"state": "parked_safe", "do": text})
    assert [] == tiny.lint()
    tiny.check["steps"] = [{"state": "fan_on_meters_still", "do": text}]
    assert any("Hands at the machine" in p for p in tiny.lint())


def test_beside_a_moving_planter(tiny: Tiny) -> None:
    """Nobody walks beside a crawling planter to watch a disc."""
    tiny.check["steps"] = [{"state": "moving_slowly", "do": "Walk beside the row and watch the disc."}]
    assert any("beside or on the moving planter" in p for p in tiny.lint())
    tiny.check["steps"] = [{"state": "moving_slowly", "do": "Watch the disc on a camera from the cab."}]
    assert [] == tiny.lint()


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (BLOWING, "Do not blow it out."), (BLOWING, "Is a fuse blown?"), (BLOWING, "The blower is off."),
        (MOUTH, "Use a bulb, never by mouth."), (MOUTH, "Look at the mouth of the tube."),
        (HANDS, "Hold 5 mph on the screen."), (HANDS, "Keep your fingers away, nobody reaches in."),
        (HANDS, "Pull ahead ten feet."), (RAISED, "Do not stand under the raised frame."),
        (RAISED, "Look up overhead for wires."), (BESIDE, "Nobody walks beside it."),
        (BESIDE, "Lay the tape beside the row."), (FITTINGS, "Open the oil page of the screen."),
        (FITTINGS, "Never loosen an oil line."),
    ],
)
def test_harmless_words(pattern: Any, text: str) -> None:
    """What forbids a thing, or only sounds like it, is left in peace."""
    assert "" == asks(pattern, text)


# --- commands -----------------------------------------------------------------------------------


def run(capsys: pytest.CaptureFixture[str], folder: Path, *argv: str, json_out: bool = False) -> tuple[int, str]:
    """Run a knowledge command; return exit code and what it printed."""
    code = main(argv, knowledge=[folder], json_out=json_out)
    return code, capsys.readouterr().out


def test_lint_command(tiny: Tiny, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0 without problems, 1 with, 2 when nothing could be read; JSON in the agreed form."""
    folder = tiny.write()
    code, out = run(capsys, folder, "lint", json_out=True)
    assert (0, []) == (code, json.loads(out)["problems"])
    tiny.alpha["source"] = []
    code, out = run(capsys, tiny.write(), "lint", json_out=True)
    report = json.loads(out)
    assert (1, {"counts", "problems"}) == (code, set(report))
    assert [{"file", "line", "id", "what", "remedy"}] == [set(p) for p in report["problems"]]
    code, out = run(capsys, folder, "lint")
    assert 1 == code
    assert "knowledge/causes/all.yaml:" in out
    (folder / "knowledge.yaml").write_text("version: 1\n", encoding="utf-8")
    assert 2 == run(capsys, folder, "lint")[0]


def test_lint_prints_the_tables(tiny: Tiny, capsys: pytest.CaptureFixture[str]) -> None:
    """Almost always (.95) against .07 of sound machines is a ratio of 13.6."""
    _, out = run(capsys, tiny.write(), "lint", "--tables")
    assert "alpha_look bad alpha: 0.95, sound 0.07, ratio 13.6" in out
    assert "alpha_look good alpha: 0.05, sound 0.93, ratio 0.0538" in out


def test_show_command(tiny: Tiny, capsys: pytest.CaptureFixture[str]) -> None:
    """An entry is printed with its sources resolved: what a cause shows, and what a check says of all causes."""
    tiny.alpha["source"] = ["P1"]
    tiny.alpha["rows"] = "one"
    tiny.checks[1]["tells"] = [{"rows": "one", "shows": {"bad": "sometimes"}}]
    folder = tiny.write()
    code, out = run(capsys, folder, "show", "alpha")
    assert 0 == code
    assert "source: P1 A paper" in out
    assert "alpha_look: bad 0.95 (x14), good 0.05 (x0.054)" in out
    assert "beta_look: bad 0.2 (x2.9), by its attributes" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    _, out = run(capsys, folder, "show", "alpha_look")
    assert "shown by: alpha 0.95" in out
    assert "WARNING: Take care." in out
    _, out = run(capsys, folder, "show", "beta_look")
    assert "rows one: bad sometimes" in out
    _, out = run(capsys, folder, "show", "alpha", json_out=True)
    assert ["causes"] == [entry["kind"] for entry in json.loads(out)]
    with pytest.raises(UsageError, match="Nothing is called 'alpa'") as caught:
        run(capsys, folder, "show", "alpa")
    assert "alpha" in caught.value.remedy


def test_new_command(tiny: Tiny, capsys: pytest.CaptureFixture[str]) -> None:
    """Each template is YAML of its kind that only lacks true ids; a taken or impossible id is refused."""
    folder = tiny.write()
    for kind, section in (("cause", "cause"), ("check", "check"), ("measured_check", "check"), ("rule", "rule")):
        code, out = run(capsys, folder, "new", kind, "fresh")
        assert 0 == code
        kind = section
        (folder / f"{kind}s" / "new.yaml").parent.mkdir(exist_ok=True)
        (folder / f"{kind}s" / "new.yaml").write_text(out, encoding="utf-8")
        found = [p.what for p in lint([folder]).problems if p.id == "fresh"]
        assert not any("Add the field" in what or "Extra" in what for what in found)
        (folder / f"{kind}s" / "new.yaml").unlink()
    for argv in (("new", "cause", "alpha"), ("new", "cause", "No Id"), ("new", "poem", "fresh"), ("lint", "x"), ()):
        with pytest.raises(UsageError):
            run(capsys, folder, *argv)


@pytest.mark.parametrize(
    ("kind", "line"),
    [
        ("cause", "# rows: one | some | section | all | any"),
        ("cause", "almost_always 0.95 | usually 0.8 | often 0.5"),
        ("cause", "# kind: wear"),
        ("check", "share: 0.01"),
        ("check", "# state: "),
        ("measured_check", "when: {result: pattern, is: one_low}"),
        ("measured_check", "# takes: yes_no | choice"),
        ("rule", "# when: all | any | not | answer"),
    ],
)
def test_a_template_names_the_words_its_fields_may_hold(
    tiny: Tiny, capsys: pytest.CaptureFixture[str], kind: str, line: str
) -> None:
    """Attributes, chances, states, kinds of answers and of conditions stand above the entry."""
    _, out = run(capsys, tiny.write(), "new", kind, "fresh")
    assert line in out


def test_schema_accepts_the_shipped_knowledge() -> None:
    """Every shipped file fits the schema that editors are given."""
    import jsonschema

    from diag.knowledge.schema import entry_schema, vocabulary_schema
    from diag.knowledge.yamlfile import load_yaml

    folder = knowledge_folder()
    for section in ("causes", "checks", "rules"):
        validator = jsonschema.Draft202012Validator(entry_schema(section))
        for path in sorted((folder / section).glob("*.yaml")):
            assert [] == [e.message for e in validator.iter_errors(load_yaml(path)[0])]
    validator = jsonschema.Draft202012Validator(vocabulary_schema())
    for path in sorted(folder.glob("*.yaml")):
        if path.stem != "lexicon":
            assert [] == [e.message for e in validator.iter_errors(load_yaml(path)[0])]


def test_watch_lints_again_only_after_a_change(tiny: Tiny) -> None:
    """The report comes at the start and after each change, and not in between."""
    folder = tiny.write()
    said: list[str] = []
    looks = iter(range(4))

    def pause() -> None:
        turn = next(looks, None)
        if turn is None:
            raise KeyboardInterrupt
        if turn == 1:
            tiny.alpha["source"] = []
            tiny.write()

    with pytest.raises(KeyboardInterrupt):
        watch([folder], pause, said.append)
    assert [True, False] == ["no problems" in text for text in said]


def test_shipped_knowledge_lints_clean() -> None:
    """What is shipped has no problem, and every kind of source is counted."""
    report = lint([knowledge_folder()])
    assert [] == [str(p) for p in report.problems]
    assert {"published", "common_practice", "estimate"} <= set(report.counts["by_mark"])
    assert load([knowledge_folder()]).digest.startswith("sha256:")


def test_a_question_of_yes_or_no_says_what_they_mean(tiny: Tiny) -> None:
    """A phone question of yes or no names the outcomes of both; one that asks how much need not."""
    tiny.check["phone"] = "Is it lower than it was before?"
    assert "alpha_look: Asks for yes or no, and neither is an answer." in measured(tiny, low(above="2 inH2O"))
    tiny.check["phone"] = "How much lower is it than before?"
    assert [] == measured(tiny, low(above="2 inH2O"))
    tiny.check["phone"] = "Is it lower than it was before?"
    tiny.check["yes"], tiny.check["no"] = "bad0", "good"
    assert [] == measured(tiny, low(above="2 inH2O"))


def test_every_outcome_is_a_kind_of_yes_or_of_no(tiny: Tiny) -> None:
    """An outcome that neither word leads to could not be told in words; one may stand under both."""
    tiny.check.update(phone="Is it bad?", yes="bad", no="good")
    tiny.check["outcomes"]["worse"] = {"says": "still worse"}
    tiny.check["tells"] = [*tiny.check.get("tells", []), {"rows": ["one"], "shows": {"worse": "rarely"}}]
    assert "alpha_look: Neither yes nor no leads to worse." in tiny.lint()
    tiny.check["yes"] = ["bad", "worse"]
    assert "alpha_look: Neither yes nor no leads to worse." not in tiny.lint()
