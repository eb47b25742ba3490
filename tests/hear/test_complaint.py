"""From a caller's words to proposed symptoms and to facts offered as ticks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from diag.hear.complaint import Listener, listener
from diag.hear.fact import Candidate
from diag.hear.model import FILE, load_model
from diag.hear.said_words import cut
from diag.knowledge.base import Knowledge
from diag.knowledge.phrases import stem
from diag.knowledge.words import Lexicon, Symptom, unknown_concepts
from diag.knowledge.yamlfile import load_yaml
from diag.text import one_line

COMPLAINTS: list[dict[str, Any]] = load_yaml(Path(__file__).parent.parent / "complaints.yaml")[0]
TOP = 3


@pytest.fixture(scope="module")
def matcher(whole: Knowledge) -> Listener:
    """The knowledge as shipped, ready for matching."""
    return listener(whole)


def proposed(matcher: Listener, text: str, most: int = 40) -> list[str]:
    """Return the ids proposed, best first."""
    return [p.symptom for p in matcher.match(text).proposals[:most]]


def offers(matcher: Listener, text: str) -> set[tuple[str, str, str]]:
    """Return everything that the facts in the words may be accepted as."""
    return {(o.slot, o.name, o.value) for f in matcher.match(text).facts for o in f.offers}


# ---------------------------------------------------------------------------------------- how often right


def rate(matcher: Listener, group: str) -> tuple[float, float]:
    """Return the share of complaints with a right symptom among the first three, and of all right symptoms there."""
    cases = [c for c in COMPLAINTS if c["set"] == group and c["right"]]
    found = [(set(proposed(matcher, c["said"], TOP)), c["right"]) for c in cases]
    hits = sum(bool(top & set(right)) for top, right in found)
    named = sum(len(top & set(right)) for top, right in found)
    return hits / len(found), named / sum(len(right) for _, right in found)


@pytest.mark.parametrize(("group", "least", "least_of_all"), [
    ("seen", 0.95, 0.95), ("held_out", 0.90, 0.88), ("later", 0.95, 0.95),
])
def test_the_right_symptom_is_among_the_first_three(
    matcher: Listener, group: str, least: float, least_of_all: float
) -> None:
    """Complaints in callers' registers find their symptom; where several are told, most of them."""
    hit, named = rate(matcher, group)
    assert hit >= least
    assert named >= least_of_all


def test_what_is_no_complaint_is_said_to_be_none(matcher: Listener) -> None:
    """Other machines, and planter matters not on the list, are mostly said to be none, with what they seem to be."""
    others = [matcher.match(c["said"]) for c in COMPLAINTS if not c["right"]]
    assert sum(not m.none for m in others) <= 0.25 * len(others)
    assert all(m.ticked == () for m in others if m.none)


def test_complaints_are_enough_and_cover_every_symptom(whole: Knowledge) -> None:
    """Every symptom is complained of in both halves, and both halves are alike in size."""
    halves = {g: [c for c in COMPLAINTS if c["set"] == g] for g in ("seen", "held_out")}
    assert abs(len(halves["seen"]) - len(halves["held_out"])) <= 1
    assert len(COMPLAINTS) >= 90
    for cases in halves.values():
        assert set(whole.symptoms) == {r for c in cases for r in c["right"]}


def test_nearly_every_wording_finds_its_own_symptom(whole: Knowledge, matcher: Listener) -> None:
    """A wording of the knowledge leads to the symptom it stands under."""
    lost = [
        (s.id, w)
        for s in whole.symptoms.values()
        for w in s.wordings
        if s.id not in proposed(matcher, w, TOP)
    ]
    assert len(lost) <= 0.03 * sum(len(s.wordings) for s in whole.symptoms.values()), lost


@pytest.mark.parametrize(("text", "right"), [
    ("Row 7 is skipping", "skips_high"), ("one row skips", "skips_high"), ("rows 3 and 4 have skips", "skips_high"),
    ("row 12 has doubles", "doubles_high"), ("Row 7 is doubling", "doubles_high"),
    ("Row 3 is skipping since it rained", "skips_high"), ("row 3 skips, row 4 doubles", "rows_differ"),
    ("some rows skip and others double", "rows_differ"), ("skips and doubles on row 5", "skips_and_doubles"),
])
def test_one_row_in_trouble_is_not_rows_that_differ(matcher: Listener, text: str, right: str) -> None:
    """Rows differ where one does this and another that, not where one row is named."""
    assert right == matcher.match(text).proposals[0].symptom


@pytest.mark.parametrize(("text", "right", "value"), [
    ("Row 7 is skipping since I changed the seals, vacuum gauge reads 18", "skips_high", "18 inH2O"),
    ("Row 7 skips, running 18 inches of vacuum", "skips_high", "18 inH2O"),
    ("skips on 7. The gauge shows 4.5 kPa", "skips_high", "4.5 kPa"),
    ("vacuum at 18 inches, it doubles", "doubles_high", "18 inH2O"),
])
def test_a_usual_reading_told_beside_a_complaint_is_a_fact(
    matcher: Listener, text: str, right: str, value: str
) -> None:
    """Who tells what the gauge reads does not complain of the gauge."""
    found = matcher.match(text)
    assert right == found.proposals[0].symptom
    assert [value] == [f.value for f in found.facts if f.kind == "vacuum"]


@pytest.mark.parametrize(("text", "right"), [
    ("gauge reads 18 but it skips as if it were low", "gauge_not_believed"),
    ("Dial says 18. Yesterday it was 12.", "gauge_not_believed"),
    ("all rows skip, vacuum reads 4 inches", "vac_low_all"),
    ("skips on 7, gauge reads 18 and swings", "vac_unsteady"),
])
def test_a_reading_that_is_the_complaint_counts(matcher: Listener, text: str, right: str) -> None:
    """Set against something, unusual, compared or unsteady, a reading is part of the complaint."""
    assert right in [p.symptom for p in matcher.match(text).proposals[:TOP]]


# ------------------------------------------------------------------------------------- denied, believed

NEGATION = [
    # text, proposed, denied
    ("no skips, just doubles", "doubles_high", "skips_high"),
    ("no skips just doubles", "doubles_high", "skips_high"),
    ("isn't skipping, it doubles on row 4", "doubles_high", "skips_high"),
    ("isnt doubling but it skips", "skips_high", "doubles_high"),
    ("No doubles. Lots of skips.", "skips_high", "doubles_high"),
    ("no doubles or leaks, row 3 is dead", "row_dead_real", "doubles_high"),
    ("there are hardly any doubles, mostly blanks", "skips_high", "doubles_high"),
    ("doubles are not the problem, it squeals", "drive_hard_noisy", "doubles_high"),
    ("never had skips, the needle is bouncing", "vac_unsteady", "skips_high"),
]


@pytest.mark.parametrize(("text", "right", "denied"), NEGATION)
def test_what_is_denied_does_not_count(matcher: Listener, text: str, right: str, denied: str) -> None:
    """A denial reaches to the end of its clause and is reported; what is denied pulls nothing up."""
    found = matcher.match(text)
    assert set(found.ticked) <= {right}
    assert right == found.proposals[0].symptom
    assert denied not in [p.symptom for p in found.proposals[:TOP]]
    assert denied in found.said_not


@pytest.mark.parametrize(("text", "right"), [
    ("can't get rid of the doubles", "doubles_high"),
    ("it won't stop skipping", "skips_high"),
    ("not only doubles but also a squeal", "doubles_high"),
    ("no matter what, it doubles", "doubles_high"),
    ("not sure why but row 7 is dead", "row_dead_real"),
    ("it is not picking up seed", "skips_high"),
    ("no seed in the trench on row 5", "row_dead_real"),
])
def test_a_negator_that_denies_nothing(matcher: Listener, text: str, right: str) -> None:
    """Idioms, double negation and complaints that are themselves a "not" stay complaints."""
    found = matcher.match(text)
    assert right in [p.symptom for p in found.proposals[:TOP]]
    assert right not in found.said_not


@pytest.mark.parametrize(("text", "seen", "believed"), [
    ("All rows skip, neighbour says the vacuum is low", ["skips_high"], "vac_low_all"),
    ("I think the vacuum is low", [], "vac_low_all"),
    ("it must be low vacuum. I see doubles.", ["doubles_high"], "vac_low_all"),
    ("low vacuum, I reckon", [], "vac_low_all"),
    ("the dealer thinks the chain jumps, I get gaps every 20 feet", ["spacing_periodic"], "drive_hard_noisy"),
])
def test_belief_is_kept_apart_from_what_was_seen(
    matcher: Listener, text: str, seen: list[str], believed: str
) -> None:
    """What the caller or his neighbour believes is marked as believed, and never ticked."""
    found = {p.symptom: p for p in matcher.match(text).proposals}
    assert found[believed].believed
    assert any("(believed, not seen)" in r for r in found[believed].reasons)
    assert not found[believed].ticked
    assert not any(found[symptom].believed for symptom in seen)


@pytest.mark.parametrize("text", ["I think it's the meter", "neighbour says the vacuum", "I bet it's the seals"])
def test_a_believed_part_is_no_symptom(matcher: Listener, text: str) -> None:
    """Blaming a part tells nothing that was seen, so nothing is ticked."""
    assert () == matcher.match(text).ticked


def test_a_report_by_the_driver_was_seen_and_is_told_by_another(matcher: Listener) -> None:
    """Second-hand is no belief, but the observer is offered as relayed."""
    text = "my driver says row 4 is dead"
    found = matcher.match(text)
    assert not next(p for p in found.proposals if p.symptom == "row_dead_real").believed
    assert ("situation", "told_by", "relayed") in offers(matcher, text)


def test_said_in_one_place_and_denied_in_another_is_screen_against_ground(matcher: Listener) -> None:
    """Doubles on the screen and none in the ground are a false quality figure."""
    assert "screen_false_quality" in proposed(matcher, "shows 6 percent doubles. I dug, there are no doubles.", TOP)


def test_several_symptoms_at_once(matcher: Listener) -> None:
    """Each of three complaints is proposed."""
    found = proposed(matcher, "row 3 leaks seed on the road, the needle hunts, and the drive squeals", 4)
    assert {"seed_leaks", "vac_unsteady", "drive_hard_noisy"} <= set(found)


def test_reasons_quote_the_caller_and_say_what_was_understood(matcher: Listener) -> None:
    """A reason holds the caller's own words, misspellings included, and their meaning."""
    best = matcher.match("Row 4 is droping doubels").proposals[0]
    assert "doubles_high" == best.symptom
    assert '"doubels": two or more seeds where one belongs' in best.reasons


# ----------------------------------------------------------------------------------------------- facts

FACTS = [
    ("row 7 is dead", ("situation", "rows", "7")),
    ("row 7 is dead", ("answer", "q_row_pattern", "one")),
    ("rw seven is dead", ("situation", "rows", "7")),
    ("row no. 7 is dead", ("situation", "rows", "7")),
    ("the 7th row is dead", ("situation", "rows", "7")),
    ("the third row skips", ("situation", "rows", "3")),
    ("rows 3 to 5 dead", ("situation", "rows", "3-5")),
    ("rows 3-5 dead", ("answer", "q_row_pattern", "adjacent")),
    ("rows 1, 4 and 9 skip", ("situation", "rows", "1, 4, 9")),
    ("row twenty-two skips", ("situation", "rows", "22")),
    ("skips on 9", ("situation", "rows", "9")),
    ("every row skips", ("situation", "rows", "all")),
    ("all rows skip", ("answer", "q_row_pattern", "all")),
    ("all but row 4 skip", ("situation", "rows", "all but 4")),
    ("all but row 4 skip", ("answer", "q_row_pattern", "all_but_one")),
    ("left wing is light", ("situation", "rows", "left wing")),
    ("left wing is light", ("answer", "q_row_pattern", "wing")),
    ("every other row is thin", ("situation", "rows", "every 2nd")),
    ("16-row planter, skips", ("machine", "rows", "16")),
    ("all twelve rows skip", ("machine", "rows", "12")),
    ("skips at 5 mph", ("situation", "speed", "5 mph")),
    ("skips at 8 km/h", ("situation", "speed", "8 km/h")),
    ("Row 7 skips since Saturday, 12 row planter, corn, 5 mph", ("situation", "speed", "5 mph")),
    ("skips at 8,5 km/h", ("reading", "speed", "8.5 km/h")),
    ("vacuum 18 inches, skips", ("reading", "vacuum", "18 inH2O")),
    ("gauge reads 4.5 kPa, skips", ("reading", "vacuum", "4.5 kPa")),
    ("vac at 20, doubles", ("reading", "vacuum", "20 inH2O")),
    ("screen says 34, I dig 30", ("reading", "rate_screen", "34000 seeds/ac")),
    ("screen says 34, I dig 30", ("reading", "rate_dug", "30000 seeds/ac")),
    ("set 85,000 per hectare, counted 76,000", ("situation", "target", "85000 seeds/ha")),
    ("set 85,000 per hectare, counted 76,000", ("reading", "rate_dug", "76000 seeds/ha")),
    ("target 32k, stand is 28 thousand", ("reading", "rate_set", "32000 seeds/ac")),
    ("skips since yesterday", ("situation", "since", "since yesterday")),
    ("doubles since the new seed", ("answer", "q_when_began", "new_seed")),
    ("doubles since the new seed", ("answer", "q_seed_lot", "changed")),
    ("doubles since the new seed", ("situation", "changes", "new_seed")),
    ("dead since we folded it", ("answer", "q_when_began", "folded")),
    ("rows gone since I hooked up", ("answer", "q_when_began", "just_hooked_up")),
    ("low vacuum, new tractor", ("answer", "q_when_began", "new_tractor")),
    ("it rained and row 3 quit", ("answer", "q_when_began", "washed_or_rain")),
    ("switched from corn to beans, doubles", ("answer", "q_when_began", "crop_change")),
    ("skips, nothing changed", ("answer", "q_when_began", "nothing")),
    ("dug row 8, the seed is there", ("answer", "q_dug_or_screen", "dug_good")),
    ("dug row 8, no seed there", ("answer", "q_dug_or_screen", "dug_bad")),
    ("screen says row 8 dead, haven't dug yet", ("answer", "q_dug_or_screen", "screen_only")),
    ("row 8 comes and goes", ("answer", "q_time_pattern", "intermittent")),
    ("a gap every 20 feet", ("answer", "q_time_pattern", "periodic")),
    ("the faster I go the worse it gets", ("answer", "q_time_pattern", "speed")),
    ("low vacuum on cold mornings", ("answer", "q_time_pattern", "cold")),
    ("skips get worse every day", ("answer", "q_time_pattern", "slowly_worse")),
    ("all of a sudden row 8 is dead", ("answer", "q_time_pattern", "sudden")),
    ("goes thin in curves", ("answer", "q_turns_only", "curve")),
    ("swapped the meter with row 8 and it followed", ("answer", "q_last_repair", "part_moved_fault_moved")),
    ("swapped sensors, no change, row 8 dead", ("answer", "q_last_repair", "part_moved_fault_stayed")),
    ("raised the vacuum, still skips", ("done_before", "raised_vacuum", "raised the vacuum")),
    ("I'm driving right now and row 3 skips", ("situation", "flags", "driving")),
    ("doubles in corn", ("axis", "crop", "corn")),
    ("bulk tank, hoppers empty", ("axis", "fill", "bulk")),
    ("it squeals", ("answer", "q_noise", "squeal")),
]


@pytest.mark.parametrize(("text", "offer"), FACTS)
def test_facts_in_the_words_are_offered(matcher: Listener, text: str, offer: tuple[str, str, str]) -> None:
    """Rows, speed, vacuum, counts, since when, after what and what was tried become ticks."""
    assert offer in offers(matcher, text)


@pytest.mark.parametrize(("text", "slot", "name"), [
    ("30 inch rows, skips", "situation", "rows"),
    ("average is dead on 32, spacing is ragged", "situation", "rows"),
    ("skips, row spacing 30 inches", "reading", "vacuum"),
    ("doubles, but not the new seed", "situation", "changes"),
    ("skips, I am not driving", "situation", "flags"),
    ("neighbour says it's the new seed", "situation", "changes"),
    ("vacuum is down 3 inches", "reading", "vacuum"),
    ("pulled over at 5 pm, skips", "situation", "speed"),
])
def test_facts_not_in_the_words_are_not_offered(matcher: Listener, text: str, slot: str, name: str) -> None:
    """Numbers of other things, denials and beliefs become no tick."""
    assert [] == [o for o in offers(matcher, text) if o[:2] == (slot, name)]


@pytest.mark.parametrize(("text", "changes"), [
    ("row 7 skips since I changed the seals", "meter_work"),
    ("thin since we put new tubes on", "parts_replaced"),
    ("skips ever since it rained", "washed_or_rain"),
    ("doubles since we raised the vacuum", "vacuum_changed"),
    ("row 3 dead since we swapped tractors", "new_tractor"),
])
def test_what_came_before_the_trouble_is_ticked(matcher: Listener, text: str, changes: str) -> None:
    """An event told with "since" is no remedy that was tried, and is taken over with its words."""
    facts = matcher.match(text).facts
    ticked = {(o.slot, o.name, o.value) for f in facts if f.ticked for o in f.offers}
    assert ("situation", "changes", changes) in ticked
    assert ("answer", "q_when_began", changes) in ticked
    assert "since" in {f.kind for f in facts if f.ticked}
    assert "tried" not in {f.kind for f in facts}


@pytest.mark.parametrize("text", ["changed the seals, still skips", "it skips, we put new seals in"])
def test_an_event_without_since_is_not_ticked(matcher: Listener, text: str) -> None:
    """It may be a remedy that was tried."""
    assert not [f for f in matcher.match(text).facts if f.ticked and f.kind in ("began", "since")]


@pytest.mark.parametrize("text", [
    "Doubles on all rows since the new seed lot, corn", "all rows skip, we plant beans", "skips since the new seed",
])
def test_nobody_looked_into_the_ground_who_does_not_say_so(matcher: Listener, text: str) -> None:
    """Seed and planting are named without anybody having dug."""
    assert not [f for f in matcher.match(text).facts if f.kind == "ground"]


@pytest.mark.parametrize(("text", "numbers"), [
    ("nineteen point eight in the seat, twelve at the meter", [19.8, 12]),
    ("five point one, four, three nine", [5.1, 4, 3, 9]),
    ("two point seven five", [2.75]),
    ("four and a half. Six and seven", [4.5, 6, 7]),
    ("six-and-a-half mph", [6.5]),
    ("ten and three-quarters", [10.75]),
    ("three hundred plus", [300]),
    ("a hundred and forty-one", [141]),
    ("two hundred thirty bags", [230]),
    ("nine hundred, and two rows", [900, 2]),
    ("a hundred and 7 more", [100, 7]),
    ("row 7, point made", [7]),
    ("thirty-one nine dug, thirty-three five set", [31.9, 33.5]),
    ("twenty-one, nine and forty five", [21, 9, 45]),
])
def test_numbers_are_read_as_they_are_spoken(whole: Knowledge, text: str, numbers: list[float]) -> None:
    """Decimals, fractions and hundreds in words are one number; a comma parts numbers."""
    assert numbers == [w.value for w in cut(text, whole.lexicon) if w.value is not None]


@pytest.mark.parametrize(("text", "rows"), [
    ("all of them but for row 3 are dead", "all but 3"),
    ("every row except row 7 is dead", "all but 7"),
    ("the screen is all green but row 7 has no seed", "7"),
    ("all I know is but one thing, row 7 is dead", "7"),
])
def test_all_but_a_row_is_said_of_rows(matcher: Listener, text: str, rows: str) -> None:
    """"All but" stands before the row; "all green, but row 7" is row 7."""
    assert ("situation", "rows", rows) in offers(matcher, text)


def test_what_the_screen_shows_is_one_thing_and_kept_in_words(matcher: Listener) -> None:
    """Good and bad are not both told, and what no field holds is offered with its meaning."""
    facts = matcher.match("screen is all green but row 7 has no seed in the ground").facts
    found = [f for f in facts if f.kind in ("screen", "ground")]
    assert {("screen", "good"), ("ground", "bad")} == {(f.kind, f.value) for f in found}
    assert [("told", "screen", "the screen shows nothing wrong")] == [
        (o.slot, o.name, o.value) for f in found if f.kind == "screen" for o in f.offers
    ]


@pytest.mark.parametrize("text", ["we run 20 psi of vacuum, doubles", "vacuum reads 180 on the gauge, doubles"])
def test_a_doubtful_unit_is_offered_with_the_doubt(matcher: Listener, text: str) -> None:
    """A vacuum nobody runs keeps the caller's figure and says what is likely meant."""
    fact = next(f for f in matcher.match(text).facts if f.kind == "vacuum")
    assert "likely meant" in fact.doubt


def test_a_fact_quotes_the_caller(matcher: Listener) -> None:
    """`said` is the caller's own spelling."""
    fact = next(f for f in matcher.match("Doubles sinse the NEW seed").facts if f.kind == "began")
    assert "NEW seed" == fact.said
    assert Candidate("situation", "changes", "new_seed") in fact.offers


# ------------------------------------------------------------------------------------- text is only data

HOSTILE = [
    "", " ", "\n\n\n", "[bold]row 7[/bold] [[[", "{row} %s %d ${x}", "\x00\x1b[31mrow 7 dead\x07", "\u202erow 7\u202c",
    "\U0001f33d\U0001f33d doubles \U0001f69c", "'; DROP TABLE call; --", "no " * 3000, "row 7, " * 1500, "1.1." * 2500,
    "two none " * 1200, "x" * 10_000, "[" * 10_000, "I think " * 1200, "\ud800 row 7 dead",
    "12345678901234567890123 mph", "vacuum 0 inches", "row 999", "row 0", "rows 9 to 3", "row 7 to",
    "#", "%", "' '' \" \"\"",
]


@pytest.mark.parametrize("text", HOSTILE, ids=lambda t: repr(t[:16]))
def test_hostile_text_is_read_as_words(matcher: Listener, text: str) -> None:
    """Brackets, control bytes, emoji and ten thousand characters neither fail nor come back as control bytes."""
    found = matcher.match(text)
    shown = [r for p in found.proposals for r in p.reasons] + [f.said + f.value + f.doubt for f in found.facts]
    assert all(part == one_line(part) for part in shown)


@pytest.mark.parametrize("text", ["", "   ", "hello"])
def test_nothing_said_ticks_nothing(matcher: Listener, text: str) -> None:
    """Without a word that counts nothing is ticked, denied or told."""
    found = matcher.match(text)
    assert ((), (), (), "nothing said yet") == (found.ticked, found.said_not, found.facts, found.none)


_WORDS = st.sampled_from(sorted({w for c in COMPLAINTS for w in c["said"].split()}))


@given(st.one_of(st.text(max_size=300), st.lists(_WORDS, max_size=40).map(" ".join)))
def test_any_text_gives_ordered_proposals(whole: Knowledge, text: str) -> None:
    """Whatever is typed: every symptom once, chances fall, ties go by id, nothing is both ticked and denied."""
    found = listener(whole).match(text)
    keys = [(-p.score, p.symptom) for p in found.proposals]
    assert keys == sorted(keys)
    assert set(whole.symptoms) == {p.symptom for p in found.proposals}
    assert not set(found.ticked) & set(found.said_not)
    assert 1 == pytest.approx(sum(p.score for p in found.proposals), abs=0.01)
    assert all(r == one_line(r) for p in found.proposals for r in p.reasons)
    assert all(f.said == one_line(f.said) and f.offers for f in found.facts)


def test_the_same_words_give_the_same_match_whatever_the_order_of_the_knowledge(whole: Knowledge) -> None:
    """Results do not depend on the order in which symptoms stand, nor on what was matched before."""
    model = load_model(whole.callers[-1] / FILE)
    forward, backward = (Listener(order, whole.lexicon, model) for order in (
        list(whole.symptoms.values()), list(reversed(whole.symptoms.values())),
    ))
    for case in COMPLAINTS[::7]:
        assert forward.match(case["said"]) == backward.match(case["said"])
        assert forward.match(case["said"]) == listener(whole).match(case["said"])


# ------------------------------------------------------------------------------------------ words and models


def test_the_words_of_the_knowledge_hang_together(whole: Knowledge) -> None:
    """Every concept a symptom weighs is in the lexicon, and every answer a fact offers is an answer of a check."""
    assert [] == unknown_concepts(whole.symptoms.values(), whole.lexicon)
    for owner, check, outcome in whole.lexicon.answers():
        known = whole.questions.get(check)
        as_item = f"{check}.{outcome}" in whole.questions
        assert as_item or (known is not None and outcome in known.outcomes), (owner, check, outcome)
    for concept in whole.lexicon.concepts:
        for axis, value in concept.axes.items():
            assert value in [v.name for v in whole.axes[axis].values], concept.name
        assert concept.situation.get("changes", "new_seed") in whole.changes, concept.name
        assert concept.situation.get("flags", "dark") in whole.flags, concept.name


def test_every_concept_is_weighed_or_offered(whole: Knowledge) -> None:
    """No concept is written that neither speaks for a symptom nor becomes a tick."""
    lexicon = whole.lexicon
    weighed = {c for s in whole.symptoms.values() for c in s.concepts} | {p.concept for p in lexicon.row_patterns}
    idle = [c.name for c in lexicon.concepts if c.name not in weighed and c.about is None]
    assert [] == idle


@pytest.mark.parametrize(("words", "same"), [
    ("skip skips skipped skipping", True), ("double doubles doubled", True), ("drop dropped droping", True),
    ("empty empties emptied", True), ("miss misses missed", True), ("speed speeds", True), ("hole holes", True),
    ("plant planter", False), ("seed see", False), ("low lower", False),
])
def test_stems(words: str, same: bool) -> None:
    """Endings fall away, different words stay different."""
    assert same == (len({stem(w) for w in words.split()}) == 1)


def test_ordinary_words_are_never_put_right() -> None:
    """No word is guessed: "rates" are no rats, an evening is not even, comes is not codes."""
    assert 4 == len({stem(w) for w in ("rates", "rats", "evening", "even")})
    assert ["comes", "burnt", "chips"] == [w.text for w in cut("comes burnt chips", lexicon())]


def lexicon(**fields: Any) -> Lexicon:
    """Return a lexicon with the concept `hole` and other fields."""
    hole = {"name": "hole", "meaning": "a hole", "phrases": ["hole"]}
    return Lexicon.model_validate({"concepts": [hole], "skipped": ["the"], "sets": {"SEED": ["bean"]}} | fields)


@pytest.mark.parametrize(("phrase", "problem"), [
    ("CORN missing", "no such set of words: CORN"), (".. hole", "has no word to look for|must begin with a word"),
    ("(big) hole", "must begin with a word"), ("the hole", "only one word is left"), ("the", "has no word to look for"),
    ("hole/ gap", "an empty alternative"), ("hole & big .. gap", "take no gap"),
])
def test_a_faulty_phrase_is_refused_with_its_name(phrase: str, problem: str) -> None:
    """A phrase that cannot be heard says so when the knowledge is loaded."""
    concept = {"name": "gap", "meaning": "a gap", "phrases": [phrase]}
    with pytest.raises(ValidationError, match=problem):
        lexicon(concepts=[concept])


@pytest.mark.parametrize(("fields", "problem"), [
    ({"concepts": [{"name": "a", "meaning": "a"}, {"name": "a", "meaning": "b"}]}, "used twice as a name: a"),
    ({"row_patterns": [{"name": "one", "concept": "row"}]}, "no such concept: row"),
    ({"concepts": [{"name": "a", "meaning": "a", "pattern": "one"}]}, "no such row pattern: one"),
    ({"concepts": [{"name": "a", "meaning": "a", "contradicted": "b"}]}, "no such concept: b"),
    ({"quantities": [{"name": "vacuum", "label": "v", "units": {"mph": ["mph"]}}]}, "mph is no unit of vacuum"),
    ({"quantities": [{"name": "vacuum", "label": "v", "units": {"furlong": ["f"]}}]}, "furlong"),
    ({"quantities": [{"name": "speed", "label": "s", "units": {"mph": ["mph"]}, "situation": {"set": "speed"}}]},
     "no such role of speed: set"),
    ({"colour": ["red"]}, "Extra inputs"),
])
def test_a_lexicon_that_does_not_hang_together_is_refused(fields: dict[str, Any], problem: str) -> None:
    """Names, patterns and units are checked when the knowledge is loaded."""
    with pytest.raises(ValidationError, match=problem):
        lexicon(**fields)


@pytest.mark.parametrize(("field", "value"), [
    ("id", "Gaps"), ("wordings", ["one"]), ("concepts", {"hole": 99}), ("concepts", {"hole": "4"}), ("concepts", {}),
    ("concepts", {"hole": float("nan")}), ("first_checks", []), ("colour", "red"),
])
def test_a_faulty_symptom_is_refused(field: str, value: Any) -> None:
    """Ids, weights and the fields that must not be empty."""
    entry = {
        "id": "gaps", "label": "gaps", "wordings": ["one", "two", "three"], "measure": "count", "first_checks": ["dig"],
        "concepts": {"hole": 4}, "source": ["estimate"],
    }
    assert "gaps" == Symptom.model_validate(entry).id
    with pytest.raises(ValidationError):
        Symptom.model_validate(entry | {field: value})




def test_points_are_the_weights_of_what_was_heard() -> None:
    """Hand-computed: 4 for the concept, 1.5 for the circumstance told with it, half of it told elsewhere."""
    words = lexicon(
        concepts=[
            {"name": "hole", "meaning": "a hole", "phrases": ["hole"]},
            {"name": "hill", "kind": "context", "meaning": "on a hill", "phrases": ["hill"]},
        ],
        planter=["bean"], talk={"negators": ["no", "not"], "beliefs": ["think"], "breaks": ["but"]},
    )
    symptom = Symptom.model_validate({
        "id": "gaps", "label": "zz", "wordings": ["qq", "ww", "rr"], "measure": "count", "first_checks": ["dig"],
        "concepts": {"hole": 4, "hill": 1.5}, "source": ["estimate"],
    })

    def points(text: str) -> float:
        return Listener([symptom], words).votes(text).points["gaps"]

    assert 4.0 == points("bean hole")
    assert 5.5 == points("bean hole on the hill")
    assert 4.75 == points("bean hole. On the hill.")
    assert 0 == points("bean on the hill")
    assert -4.0 == points("no bean hole")
    assert 4.0 == points("no hill but bean hole")
    assert 2.0 == points("I think bean hole")
