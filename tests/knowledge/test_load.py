"""Loading: what is wrong is named with file and line, what is right becomes one frozen knowledge."""

from __future__ import annotations

from pathlib import Path

import pytest
from knowledge.tiny import Tiny

from diag.errors import KnowledgeError
from diag.knowledge.base import Knowledge
from diag.knowledge.load import expand, load, read


@pytest.fixture
def tiny(tmp_path: Path) -> Tiny:
    """A clean knowledge of two causes."""
    return Tiny(tmp_path)


def problems(folder: Path) -> list[str]:
    """What loading finds, as "file:line: id: what"."""
    return [f"{p.file}:{p.line}: {p.id}: {p.what}" for p in read([folder])[1]]


def test_clean_knowledge_loads(tiny: Tiny) -> None:
    """The tiny knowledge has no problem and knows its entries in the order written."""
    knowledge = load([tiny.write()])
    assert ["alpha", "beta"] == list(knowledge.causes)
    assert ["alpha_look", "beta_look"] == list(knowledge.questions)
    assert "knowledge/causes/all.yaml:1" == knowledge.place("causes", "alpha")


def test_broken_yaml_names_file_and_line(tiny: Tiny) -> None:
    """A bracket left open is told with its place; the rest is still read."""
    folder = tiny.write()
    (folder / "rules").mkdir(exist_ok=True)
    (folder / "rules" / "bad.yaml").write_text("- id: r\n  when: {answer: [\n", encoding="utf-8")
    found = problems(folder)
    assert ["knowledge/rules/bad.yaml"] == [p.split(":")[0] for p in found]
    with pytest.raises(KnowledgeError, match="bad") as caught:
        load([folder])
    assert caught.value.where.startswith("knowledge/rules/bad.yaml:")


def test_duplicate_key_in_one_entry(tiny: Tiny) -> None:
    """The same field twice is refused, not silently replaced."""
    folder = tiny.write()
    path = folder / "causes" / "all.yaml"
    text = path.read_text(encoding="utf-8").replace("label: bent", "label: bent\n  label: bowed")
    path.write_text(text, encoding="utf-8")
    assert any("label" in p and p.startswith("knowledge/causes/all.yaml:") for p in problems(folder))


def test_duplicate_id_names_both_places(tiny: Tiny) -> None:
    """Two entries of one id in one folder are refused with the place of the first."""
    tiny.causes.append({**tiny.alpha})
    assert any("Already stands in knowledge/causes/all.yaml:1." in p for p in problems(tiny.write()))


@pytest.mark.parametrize(("field", "kind"), [("belongs_to", "symptom"), ("told_by", "check or symptom")])
def test_the_occasion_of_a_check_names_what_is_there(tiny: Tiny, field: str, kind: str) -> None:
    """The complaints a check belongs to and what tells it already must be in the knowledge."""
    tiny.check[field] = ["nowhere"]
    _, found = read([tiny.write()])
    assert f"'nowhere' is no known {kind}." in [p.what for p in found]


def test_unknown_id_is_told_with_a_near_one(tiny: Tiny) -> None:
    """A slip in the id of a check that a cause shows in is found on its line, with what was probably meant."""
    tiny.alpha["shows"] = {"beta_look": {"bad": "never"}, "alpa_look": {"bad": "usually"}}
    _, found = read([tiny.write()])
    slip = next(p for p in found if "alpa" in p.what)
    assert ("alpha", "'alpa_look' is no known check.") == (slip.id, slip.what)
    assert "alpha_look" in slip.remedy
    lines = (tiny.folder / "causes" / "all.yaml").read_text(encoding="utf-8").splitlines()
    assert "shows" in "".join(lines[slip.line - 1 : slip.line + 1])


def test_unknown_field_is_refused(tiny: Tiny) -> None:
    """A field nobody reads is a slip of the pen."""
    tiny.alpha["per_mile"] = 3
    assert any("per_mile" in p and "alpha" in p for p in problems(tiny.write()))


def test_unit_clash(tiny: Tiny) -> None:
    """A limit of one quantity with a unit of another is refused."""
    source = ["common_practice"]
    tiny.sections["limits"] = [
        {"id": "low", "label": "low", "quantity": "vacuum", "value": "3 mph", "source": source},
        {"id": "fine", "label": "fine", "quantity": "vacuum", "value": "3 inH2O", "source": source},
    ]
    found = [p for p in problems(tiny.write()) if ": low:" in p or ": fine:" in p]
    assert 1 == len(found)
    assert ": low:" in found[0]


def test_state_clash(tiny: Tiny) -> None:
    """Hands in the meter while the fan may turn is refused; the same hazard in a dead state is not."""
    tiny.check["steps"][0]["state"] = "fan_on_meters_still"
    found = problems(tiny.write())
    assert any("hands_in_meter in the state fan_on_meters_still" in p for p in found)
    tiny.check["steps"][0]["state"] = "bench"
    assert [] == problems(tiny.write())


def test_never_asked_by_phone(tiny: Tiny) -> None:
    """A check with a hazard that no caller is asked to meet may have no phone wording."""
    tiny.check["hazards"] = ["couplers"]
    assert any("couplers is never asked of a caller" in p for p in problems(tiny.write()))


def test_overlay_replaces_by_id(tiny: Tiny, tmp_path: Path) -> None:
    """A later folder replaces an entry of the same id, adds new ones, and keeps the rest."""
    first = tiny.write()
    over = tmp_path / "house"
    (over / "causes").mkdir(parents=True)
    text = (first / "causes" / "all.yaml").read_text(encoding="utf-8")
    entry = text.split("- id: beta")[0].replace("label: worn thin", "label: worn to nothing")
    (over / "causes" / "ours.yaml").write_text(entry, encoding="utf-8")
    knowledge = load([first, over])
    assert ["worn to nothing", "bent"] == [c.label for c in knowledge.causes.values()]
    assert "house/causes/ours.yaml:1" == knowledge.place("causes", "alpha")


def test_digest_does_not_hang_on_line_ends(tiny: Tiny) -> None:
    """CRLF and LF give the same digest; another word gives another."""
    folder = tiny.write()
    before = load([folder]).digest
    for path in folder.rglob("*.yaml"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert before == load([folder]).digest
    tiny.alpha["label"] = "worn thinner"
    assert before != load([tiny.write()]).digest


def test_empty_folder_is_told(tmp_path: Path) -> None:
    """A folder without knowledge says so instead of giving an empty knowledge."""
    with pytest.raises(KnowledgeError, match="No knowledge files here"):
        load([tmp_path])


def test_items_of_several_become_questions_whose_normal_answer_is_no(tiny: Tiny) -> None:
    """Each item is asked as yes or no; no is the normal answer, as usual as the item's share leaves."""
    tiny.check.pop("outcomes")
    tiny.check["takes"] = "several"
    tiny.check["items"] = {
        "dirt": {"says": "dirt", "share": 0.1},
        "nothing": {"says": "nothing", "normal": True},
    }
    tiny.alpha["shows"] = {"alpha_look": {"dirt": "usually"}}
    tiny.sections["verifications"][0].update(checks=["beta_look"], passes={"beta_look": ["good"]})
    knowledge, _ = read([tiny.write()])
    assert knowledge is not None
    asked = dict(expand(knowledge.checks["alpha_look"]))
    assert ["alpha_look.dirt", "alpha_look.nothing"] == list(asked)
    no = asked["alpha_look.dirt"].outcomes["no"]
    assert (True, 0.9) == (no.normal, no.usual)
    assert not asked["alpha_look.nothing"].outcomes["no"].normal


def test_shipped_knowledge_loads(whole: Knowledge) -> None:
    """What is shipped loads without a problem and has what is promised of it."""
    assert len(whole.symptoms) >= 35
    assert len(whole.causes) >= 149
    assert len(whole.checks) >= 180
    assert len(whole.rules) >= 120
    assert len(whole.cautions) >= 60


def test_machine_groups_stand_for_axes(tiny: Tiny) -> None:
    """A group, axes, or a list of both that must all fit; what no group is called is refused with its place."""
    tiny.alpha["applies"] = ["vacuum_meter", {"meter": ["flat", "finger"]}, {"fan": ["pto_fan"]}]
    knowledge = load([tiny.write()])
    assert {"meter": ("flat",), "fan": ("pto_fan",)} == knowledge.causes["alpha"].applies.axes
    tiny.alpha["applies"] = "vacum_meter"
    assert any("'vacum_meter' is no known machine group" in p and p.startswith("knowledge/causes/all.yaml:")
               for p in problems(tiny.write()))


def test_a_group_may_be_changed_by_a_later_folder(tiny: Tiny, tmp_path: Path) -> None:
    """Entries of the first folder follow the group as the later folder has it."""
    tiny.alpha["applies"] = "belt_delivery"
    shop = tmp_path / "shop"
    shop.mkdir()
    (shop / "ours.yaml").write_text(
        "machines:\n- {name: belt_delivery, label: belt, applies: {delivery: [brush_belt]}}\n", encoding="utf-8")
    knowledge, _ = read([tiny.write(), shop])
    assert knowledge is not None
    assert {"delivery": ("brush_belt",)} == knowledge.causes["alpha"].applies.axes


def test_an_overlaid_limit_keeps_its_book_value(tiny: Tiny, tmp_path: Path) -> None:
    """A shop that changes a limit keeps the book value that outranks it, unless it says otherwise."""
    limit = {"id": "hot", "label": "hot oil", "quantity": "temperature", "value": "90 degC", "book": "oil_limit",
             "context": "fall_limit", "of": ["torque"], "source": ["common_practice"]}
    tiny.sections["limits"] = [limit]
    tiny.sections["book"] = [{"name": "oil_limit", "label": "oil", "quantity": "temperature"}]
    shop = tmp_path / "shop"
    shop.mkdir()
    ours = shop / "ours.yaml"
    text = "limits:\n- {id: hot, label: hot oil, quantity: temperature, value: 80 degC, source: [common_practice]"
    for more, book in (("", "oil_limit"), (", book: null", None)):
        ours.write_text(f"{text}{more}}}\n", encoding="utf-8")
        knowledge, _ = read([tiny.write(), shop])
        assert knowledge is not None
        hot = knowledge.limits["hot"]
        assert ("80 degC", book, "fall_limit", ("torque",)) == (hot.value, hot.book, hot.context, hot.of)
