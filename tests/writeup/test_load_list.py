"""The load list and the drive-out view: chances, quantities, choice, stock."""

from __future__ import annotations

import json

import pytest
from writeup import alder_flat
from writeup.alder_flat import LOW, Case

from diag.call.desk import Desk
from diag.errors import UsageError
from diag.reason.judge import Engine
from diag.writeup.drive_out import drive_out_view, drive_text, grower_can
from diag.writeup.load_list import (
    Needs,
    any_present,
    carrying,
    choose,
    cleared,
    load_list,
    wants_parts,
)
from diag.writeup.load_page import as_json, load_text
from diag.writeup.mending import stock_form
from diag.writeup.stock import mark_stock, stock_of


@pytest.fixture(scope="module")
def phone(engine: Engine) -> Case:
    """A call by phone with one row low, before anybody drives out; never record into it."""
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_complaint("row 7 skips, its vacuum is low", [("skips_high", "chosen"), ("vac_low_row", "chosen")])
    return case


def test_dearest_to_leave_at_home_comes_first(phone: Case) -> None:
    """Entries are ordered by chance times second trip, and each worth is that product."""
    loaded = load_list(phone.call)
    worths = [e.worth for e in loaded.entries]
    assert sorted(worths, reverse=True) == worths
    assert [pytest.approx(e.chance * loaded.second_trip, abs=0.06) for e in loaded.entries] == worths
    assert loaded.load


def test_chance_of_a_part_counts_each_world_once(phone: Case, engine: Engine) -> None:
    """The chance that one of two causes is present is less than their sum, and never less than either."""
    belief = phone.call.think().judgement.belief
    position = engine.tables.position
    a, b = position["seal_worn"], position["disc_grooved"]
    either = any_present(belief, [a, b])
    assert max(belief.present[a], belief.present[b]) <= either < belief.present[a] + belief.present[b]
    assert round(float(belief.present[a]), 9) == round(any_present(belief, [a]), 9)
    everything = any_present(belief, list(range(len(belief.one))))
    assert round(1 - belief.unknown - belief.clear, 9) == round(everything, 9)


def test_worn_parts_are_loaded_for_all_sisters(phone: Case) -> None:
    """One seal per row of a 12-row machine, because sisters of that age are worn too; a hose for the row in trouble."""
    entries = {e.name: e for e in load_list(phone.call).entries}
    assert (12, True) == (entries["seal"].quantity, "sister" in entries["seal"].why_many)
    assert 1 == entries["row_hose"].quantity


def test_quantity_follows_the_rows_in_trouble(engine: Engine) -> None:
    """Three rows in trouble, three hoses."""
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_situation({"rows": [3, 7, 9]})
    case.call.set_complaint("", [("vac_low_row", "chosen")])
    entries = {e.name: e for e in load_list(case.call).entries}
    assert 3 == entries["row_hose"].quantity


def test_causes_are_served_whole_or_not_at_all(phone: Case, engine: Engine) -> None:
    """What is loaded serves whole causes: for every cause counted as served all its things are on the list."""
    loaded = load_list(phone.call)
    things = {(e.kind, e.name) for e in loaded.load}
    needs = Needs(phone.call, phone.call.think().read.case)
    belief = phone.call.think().judgement.belief
    served = [c for c in engine.tables.causes if needs.of(c) <= things]
    unserved = [engine.tables.position[c] for c in engine.tables.causes if c not in served]
    assert loaded.served == pytest.approx(1 - belief.unknown - any_present(belief, unserved), abs=1e-3)
    assert 0.5 < loaded.served < 1


def test_the_choice_saves_more_than_it_carries(phone: Case, engine: Engine) -> None:
    """Hand-made: a likely cause with a light part is taken on, an unlikely one with a bulky part is not."""
    k = engine.knowledge
    light, bulky = ("part", "seal"), ("part", "meter")
    assert 0 < carrying(k, [light]) < carrying(k, [bulky])
    assert {light} == choose(k, {"a": [light], "b": [bulky]}, {"a": 0.5, "b": 0.01}, 90)
    assert {light, bulky} == choose(k, {"a": [light], "b": [bulky]}, {"a": 0.5, "b": 0.2}, 90)
    assert set() == choose(k, {"a": [light]}, {"a": 0.001}, 90)
    assert {light, bulky} == choose(k, {"a": [light, bulky], "b": [light]}, {"a": 0.3, "b": 0.001}, 90)


def test_a_check_already_made_needs_no_tools(engine: Engine) -> None:
    """The gauge is not wanted to find what it has found already; the seal still is."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    before = Needs(case.call, case.call.think().read.case)
    assert ("part", "seal") in before.of("seal_worn")
    case.vacuum("map", LOW)
    after = Needs(case.call, case.call.think().read.case)
    assert ("part", "seal") in after.of("seal_worn")
    assert "vac_manometer_row" not in after._keys
    assert "vac_manometer_row" in before._keys


def test_what_is_at_hand_is_never_listed(phone: Case, engine: Engine) -> None:
    """Tape, lamp, a helper and the like are not loaded; what is always on the truck is named apart."""
    names = {e.name for e in load_list(phone.call).entries}
    assert set() == names & set(engine.knowledge.write_up.at_hand)
    assert "lamp" in load_text(load_list(phone.call)).split("Always:")[1]


def test_a_part_that_cannot_be_had_shows_what_to_do_meanwhile(engine: Engine) -> None:
    """Marked as due on Thursday, the seal stands with its date and the interim measure of its cause."""
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_complaint("", [("vac_low_row", "chosen")])
    mark_stock(case.call, "seal", "due 2026-05-14")
    seal = {e.name: e for e in load_list(case.call).entries}["seal"]
    assert "due 2026-05-14" == seal.stock
    assert seal.instead
    assert "due 2026-05-14; meanwhile: " in " ".join(load_text(load_list(case.call)).split())
    mark_stock(case.call, "seal", "here")
    assert ("here", "") == (lambda e: (e.stock, e.instead))({e.name: e for e in load_list(case.call).entries}["seal"])


NOWHERE = [("seal", "somewhere"), ("seal", "due soon"), ("seal", "due"), ("horse", "here")]


@pytest.mark.parametrize(("part", "where"), NOWHERE)
def test_stock_that_says_nothing_is_refused(engine: Engine, part: str, where: str) -> None:
    """A place that is none, a date that is none, a part that does not exist."""
    case = alder_flat.opened(engine, "phone")
    with pytest.raises(UsageError):
        mark_stock(case.call, part, where)


@pytest.mark.parametrize("width", [40, 78])
def test_text_to_print_or_send(phone: Case, width: int) -> None:
    """The text fits its width, names every loaded thing, and no cause by its id."""
    loaded = load_list(phone.call)
    text = load_text(loaded, width)
    assert max(map(len, text.splitlines())) <= width
    running = " ".join(text.split())
    for entry in loaded.entries:
        assert " ".join(entry.label.split()) in running.replace("- ", "-") or entry.label in running
    assert "_" not in text


def test_json_of_the_list(phone: Case) -> None:
    """Every entry with its figures, loaded or not, as one JSON value."""
    data = json.loads(json.dumps(as_json(load_list(phone.call))))
    assert {"call", "second_trip_minutes", "served", "entries", "always"} == set(data)
    assert len(load_list(phone.call).entries) == len(data["entries"])


# --- drive out or not -------------------------------------------------------------------------------------------


def test_by_phone_and_driving_out_side_by_side(phone: Case, engine: Engine) -> None:
    """Chance and minutes by phone, questions left, road and site minutes; the same figures from either channel."""
    view = drive_out_view(phone.call)
    assert 0 < view.phone_chance <= 1
    assert view.phone_left > len(view.phone_checks) == 3
    assert engine.knowledge.settings.drive_out == view.travel_minutes
    assert view.drive_minutes == view.travel_minutes + view.site_minutes
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_complaint("", [("skips_high", "chosen"), ("vac_low_row", "chosen")])
    case.call.switch_channel("site")
    other = drive_out_view(case.call)
    assert (view.phone_chance, view.travel_minutes) == (other.phone_chance, other.travel_minutes)


def test_the_grower_can_mend_only_what_needs_no_technician(phone: Case, engine: Engine) -> None:
    """The chance by phone is the weight of the worlds in which a grower may mend every fault, with no part to fetch."""
    belief, can = phone.call.think().judgement.belief, engine.tables.grower_can
    needs = {place: engine.knowledge.causes[c].repair.parts for c, place in engine.tables.position.items()}
    single = sum(float(p) for i, (p, c) in enumerate(zip(belief.one, can, strict=True)) if c and not needs[i])
    assert single <= grower_can(belief, phone.call) <= single + belief.mass_two + belief.clear + 1e-12
    assert not can.all()


def test_a_part_at_hand_lets_the_grower_mend(engine: Engine) -> None:
    """Where the part of a repair that a grower may do is said to be here, the chance by phone rises."""
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_complaint("skips", [("skips_high", "chosen")])
    before = grower_can(case.call.think().judgement.belief, case.call)
    causes, can, place = engine.knowledge.causes, engine.tables.grower_can, engine.tables.position
    for part in {p for c in causes.values() if can[place[c.id]] for p in c.repair.parts}:
        mark_stock(case.call, part, "here")
    assert grower_can(case.call.think().judgement.belief, case.call) > before


def test_what_was_found_good_is_not_loaded(engine: Engine) -> None:
    """A part that a technician looked at and found whole is not loaded because another repair lists it too."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_complaint("skips", [("skips_high", "chosen")])
    listed = {p for c in engine.knowledge.causes.values() for p in c.repair.parts[1:]}
    own = ((c, key) for c in engine.knowledge.causes.values() if c.repair.parts and c.repair.parts[0] in listed
           for key in c.shows)
    found = False
    for cause, key in own:
        check = engine.knowledge.questions.get(key)
        name = next((n for n, o in check.outcomes.items() if o.normal), "") if check and not check.measured else ""
        if not name or cause.repair.parts[0] in cleared(case.call):
            continue
        case.call.answer(key, outcome=name, observer="technician", rows=(7,))
        found = found or cause.repair.parts[0] in cleared(case.call)
        case.call.undo()
        if found:
            break
    assert found


def test_both_lists_end_in_what_is_recommended(phone: Case) -> None:
    """The last line of the drive-out and of the load list says what to do."""
    assert "Recommended: " in " ".join(drive_text(drive_out_view(phone.call), 400).splitlines()[-1:])
    assert "Recommended: " in load_text(load_list(phone.call), 400).splitlines()[-1]


def test_drive_out_as_text(phone: Case) -> None:
    """Three lines at least, within the width."""
    text = drive_text(drive_out_view(phone.call))
    assert "By phone:" in text
    assert "Drive out now: 90 min on the road" in text
    assert max(map(len, text.splitlines())) <= 78


def test_where_parts_are_is_asked_as_a_form(engine: Engine) -> None:
    """Every part of the load list has a field; what is filled in shows in the list, a slip is refused."""
    case = alder_flat.opened(engine)
    case.call.set_complaint("skips", [("skips_high", "chosen")])
    form = stock_form(case.call)
    assert form is not None
    part = form.fields[0].name
    with pytest.raises(UsageError, match="does not say where"):
        form.record(case.call, {part: "in the moon"})
    form.record(case.call, {part: "due 2026-05-14"})
    assert stock_of(case.call) == {part: "due 2026-05-14"}
    again = stock_form(case.call)
    assert again is not None
    assert again.fields[0].value == "due 2026-05-14"


def test_whether_a_part_is_wanted_is_told_without_the_list(phone: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same as the list made in full, for calls with and without a part on it."""
    fresh = Desk(phone.call.engine).new_call("phone")
    for call in (phone.call, fresh):
        assert any(e.kind == "part" for e in load_list(call).entries) == wants_parts(call)
        assert (stock_form(call) is not None) == wants_parts(call)
    monkeypatch.setattr("diag.writeup.load_list.LEAST_CHANCE", 2.0)  # nothing is likely enough
    assert not wants_parts(phone.call)


def test_nothing_is_loaded_for_a_closed_call(engine: Engine) -> None:
    """Once it is closed nobody drives."""
    case = alder_flat.opened(engine, "phone")
    case.call.set_complaint("skips", [("skips_high", "chosen")])
    assert load_list(case.call).load
    case.call.record("closed", {"result": "question_answered"})
    assert load_text(load_list(case.call)).endswith("is closed: nothing to load.\n")


def test_many_of_a_part_weigh_what_they_are(engine: Engine) -> None:
    """Sixteen of a part for one call in a hundred are left at home, one is taken along."""
    k = engine.knowledge
    thing = ("part", next(n for n, p in k.parts.items() if p.size == "box"))
    for many, taken in ((1, {thing}), (16, set())):
        assert taken == choose(k, {"x": {thing}}, {"x": 0.05}, 90, many={thing: many})
