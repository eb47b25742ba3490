"""The vote learnt from callers' texts: fresh, exact when applied, and good on hands that it has not seen."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from diag.cli import main
from diag.errors import KnowledgeError
from diag.hear.complaint import Listener, Match
from diag.hear.fact import Candidate, FactFound
from diag.hear.judged import Share, judge, judge_facts, together
from diag.hear.model import FILE, NO_COMPLAINT, Group, load_model
from diag.hear.texts import Text, read_texts
from diag.hear.train import Trainer, digest_of
from diag.knowledge.base import Knowledge
from diag.knowledge.words import Symptom

DEVELOPMENT = "hand_7"
"""Hand that the others are judged by while one works on the hearing."""


@pytest.fixture(scope="module")
def texts(whole: Knowledge) -> list[Text]:
    """The texts of all hands as shipped."""
    return read_texts(whole.callers, list(whole.symptoms))


def test_the_weights_are_fresh(whole: Knowledge, texts: list[Text]) -> None:
    """They were trained on the texts, wordings and phrases that stand there now: else `diag knowledge train`."""
    assert digest_of(whole, texts) == load_model(whole.callers[-1] / FILE).digest


def test_the_repository_stays_small(whole: Knowledge) -> None:
    """Weights take at most 3 MB."""
    assert (whole.callers[-1] / FILE).stat().st_size <= 3_000_000


def test_a_hand_that_taught_nothing_is_understood(whole: Knowledge, texts: list[Text]) -> None:
    """Trained without the development hand, a right symptom is first in 8 of 10, in the first three in 9 of 10."""
    model = Trainer(whole, texts).train(frozenset([DEVELOPMENT]), load_model(whole.callers[-1] / FILE).mixing)
    heard = Listener(whole.symptoms.values(), whole.lexicon, model)
    found = judge([t for t in texts if t.hand == DEVELOPMENT], heard.match)
    share = {name: s.k / s.n for name, s in found.items()}
    assert share["first_1"] >= 0.80
    assert share["first_3"] >= 0.93
    assert share["first_9"] >= 0.98
    assert share["ticked"] >= 0.90
    assert share["turned_away"] <= 0.05
    assert share["false_alarms"] <= 0.25


def test_a_group_votes_as_worked_by_hand() -> None:
    """Two known features, one told twice, one unknown: (1 + ln n) x rarity, scaled to the strength, times weights."""
    group = Group(
        np.array([3, 9], np.uint32), np.array([1.0, 2.0], np.float32),
        np.array([[10, 0], [0, -20]], np.int8), np.array([0.1, 0.5], np.float32),
    )
    first, second = 1.0, (1 + np.log(2)) * 2.0
    length = np.hypot(first, second)
    expected = [10 * 0.1 * first / length * 0.8, -20 * 0.5 * second / length * 0.8]
    assert group.vote({3: 1, 9: 2, 5: 7}, 0.8).tolist() == pytest.approx(expected)
    assert [0.0, 0.0] == group.vote({5: 7}, 0.8).tolist()
    assert [0.0, 0.0] == group.vote({}, 0.8).tolist()


def test_a_symptom_younger_than_the_weights_is_scored_by_its_wordings(whole: Knowledge) -> None:
    """A symptom that nobody has written texts for yet comes first when its wording is said."""
    young = Symptom.model_validate({
        "id": "purple_smoke", "label": "Purple smoke from the toolbar", "wordings": [
            "purple smoke comes out of the toolbar", "it smokes purple", "violet fumes over the bar",
        ], "measure": "see it", "first_checks": ["dug_50_spacings"], "concepts": {"pair": -1}, "source": ["estimate"],
    })
    model = load_model(whole.callers[-1] / FILE)
    heard = Listener([*whole.symptoms.values(), young], whole.lexicon, model)
    assert "purple_smoke" in [p.symptom for p in heard.match("purple smoke comes out of the toolbar").proposals[:3]]


def test_a_shop_teaches_its_own_texts(whole: Knowledge, texts: list[Text], tmp_path: Path) -> None:
    """Texts in an overlay are learnt besides: an expression that no hand used leads to its symptom afterwards."""
    (tmp_path / "callers").mkdir()
    said = ["she's gone frumpy on three", "frumpy again", "all frumpy on seven since noon", "real frumpy behind four"]
    (tmp_path / "callers" / "shop.yaml").write_text(json.dumps([{"say": s, "right": ["vac_unsteady"]} for s in said]))
    both = replace(whole, callers=(*whole.callers, tmp_path / "callers"))
    taught = read_texts(both.callers, list(whole.symptoms))
    assert {"shop"} == {t.hand for t in taught} - {t.hand for t in texts}
    few = [t for t in taught if t.hand in ("shop", "hand_1")]
    model = Trainer(both, few).train()
    heard = Listener(whole.symptoms.values(), whole.lexicon, model)
    assert "vac_unsteady" in [p.symptom for p in heard.match("row five is frumpy").proposals[:3]]


@pytest.mark.parametrize(("entry", "what"), [
    ('{"right": []}', "Not a text"), ('{"say": "x"}', "`right` lists symptoms"),
    ('{"say": "x", "right": ["no_such"]}', "no_such"),
    ('{"say": "x", "right": [], "colour": 1}', "Not a text"), ('"x"', "Not a text"),
])
def test_a_faulty_text_is_refused_with_its_line(tmp_path: Path, entry: str, what: str) -> None:
    """A text without words or labels, or with a symptom that is not known, names file and line."""
    path = tmp_path / "hand.yaml"
    path.write_text('- {"say": "fine", "right": []}\n- ' + entry + "\n")
    with pytest.raises(KnowledgeError, match=what) as error:
        read_texts([tmp_path], ["skips_high"])
    assert f"{path}:2" == error.value.where


def test_weights_that_cannot_be_read_say_how_to_make_them(tmp_path: Path) -> None:
    """A broken file names itself and the command."""
    path = tmp_path / FILE
    path.write_bytes(b"no weights")
    with pytest.raises(KnowledgeError, match="diag knowledge train") as error:
        load_model(path)
    assert str(path) == error.value.where


def test_saved_weights_are_read_back(whole: Knowledge, tmp_path: Path) -> None:
    """What is written is what was trained."""
    kept = load_model(whole.callers[-1] / FILE)
    kept.save(tmp_path / FILE)
    again = load_model(tmp_path / FILE)
    assert (kept.symptoms.names, kept.mixing, kept.digest) == (again.symptoms.names, again.mixing, again.digest)
    assert NO_COMPLAINT in again.symptoms.names
    for part in ("symptoms", "slots", "numbers"):
        for name, group in getattr(kept, part).groups.items():
            assert (group.weights == getattr(again, part).groups[name].weights).all()


def test_shares_are_added_and_told_with_their_interval() -> None:
    """45 of 50: Wilson's interval is 0.786 to 0.957 (worked from the formula)."""
    both = together([{"first_1": Share(20, 25)}, {"first_1": Share(25, 25)}])
    assert "90.0 % (79-96)" == str(both["first_1"])
    assert [0.7864, 0.9565] == both["first_1"].as_json()["interval"]


def test_facts_are_judged_item_by_item(whole: Knowledge) -> None:
    """Of two readings told one is offered; a difference and what is not said are no items; a unit said is right."""
    told = {"rows": "7", "of": 12, "crop": "corn", "ground": "bad", "figures": [
        {"what": "vacuum", "value": "11", "role": "read"}, {"what": "vacuum", "value": "18", "role": "read"},
        {"what": "vacuum", "value": "7 less", "role": "read"}, {"what": "count", "value": "99", "role": "counted"},
    ]}
    text = Text("row 7 reads 11 and 8 reads 18, 7 less, at 5 mph, corn, 12 rows", ("vac_low_row",), "h", told)
    reading = (Candidate("reading", "x", "x"),)
    facts = (
        FactFound("vacuum", "11 inH2O", "11", reading, ticked=True), FactFound("vacuum", "12 inH2O", "12", reading),
        FactFound("speed", "5 mph", "5 mph", reading, ticked=True), FactFound("rows", "7-8", "7 and 8", ()),
        FactFound("machine_rows", "12", "12 rows", (), ticked=True),
        FactFound("crop", "corn", "corn", (Candidate("axis", "crop", "corn"),), ticked=True),
    )
    expected = {
        "vacuum heard": (1, 2), "vacuum offered and right": (1, 2), "vacuum ticked and right": (1, 1),
        "speed offered and right": (1, 1), "speed ticked and right": (1, 1),
        "rows heard": (1, 1), "rows offered and right": (0, 1), "ground heard": (0, 1),
        "rows of the planter heard": (1, 1), "rows of the planter offered and right": (1, 1),
        "rows of the planter ticked and right": (1, 1),
        "crop heard": (1, 1), "crop offered and right": (1, 1), "crop ticked and right": (1, 1),
    }
    found = judge_facts([text], lambda _: Match((), facts, ()), whole.lexicon, thorough=True)
    assert expected == {name: (s.k, s.n) for name, s in found.items() if s.n}
    some = judge_facts([text], lambda _: Match((), facts, ()), whole.lexicon, thorough=False)
    assert {"vacuum heard", "rows heard"} == {name for name in some if name.startswith(("vacuum", "rows h"))}


def test_hear_tells_what_an_untouched_intake_takes_over(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """`diag hear` on a file: one object an entry, every symptom best first, nothing ticked that is none."""
    path = tmp_path / "said.yaml"
    path.write_text("- say: row 7 squeals and squeals\n- say: what does a new tyre cost\n")
    assert 0 == main(["hear", str(path), "--json"])
    squeal, tyre = json.loads(capsys.readouterr().out)
    assert ["drive_hard_noisy"] == squeal["ticked"]["symptoms"]
    assert 35 <= len(squeal["proposals"])
    assert "drive_hard_noisy" == squeal["proposals"][0]["symptom"]
    assert [("7", "row 7")] == [(f["value"], f["said"]) for f in squeal["facts"] if f["kind"] == "rows"]
    assert (True, []) == (tyre["none"], tyre["ticked"]["symptoms"])


@pytest.mark.parametrize("text", ["- 5\n", "say: x\n"])
def test_hear_refuses_a_file_that_holds_no_texts(capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str) -> None:
    """A file that is no list of entries with `say` is bad input, with its place."""
    path = tmp_path / "said.yaml"
    path.write_text(text)
    assert 2 == main(["hear", str(path), "--json"])
    assert f"{path}:1" == json.loads(capsys.readouterr().out)["error"]["where"]
