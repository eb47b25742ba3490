"""Every rule of the knowledge: it fires on its least facts, is silent on a near miss, says more than its answers.

The first part is generated from the compiled clauses; the second are calls as they come to a desk.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache

import pytest
from reason.helpers import said

from diag.knowledge.base import Knowledge
from diag.knowledge.load import knowledge_folder, load
from diag.reason.case import Case, RepairDone
from diag.reason.counting import FactSet
from diag.reason.facts import PASS_TWO, Clause, Literal
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.reason.rules import RuleBase

FRESH = dict.fromkeys(
    ("desk_minutes", "site_minutes", "answers", "unsure", "narrowed_nothing", "changes_since", "repairs"), 0.0
)
ADDS = math.log(1.3)
"""Least weight a mark must add beyond what the answers gave, somewhere."""


@cache
def knowledge() -> Knowledge:
    """The knowledge as shipped, loaded once for collecting and running."""
    return load([knowledge_folder()])


@cache
def counter() -> RuleBase:
    """The rules as they are counted."""
    return RuleBase(knowledge(), counter=True)


@cache
def chained() -> RuleBase:
    """The rules as experta derives them."""
    return RuleBase(knowledge())


@cache
def engine() -> Engine:
    """The whole reasoning; belief is the same whatever runs the rules."""
    return Engine(knowledge(), counter=True)


@cache
def by_rule() -> Mapping[str, tuple[Clause, ...]]:
    """Clauses by rule."""
    made: dict[str, list[Clause]] = {rule: [] for rule in knowledge().rules}
    for clause in counter().clauses:
        made[clause.rule].append(clause)
    return {rule: tuple(clauses) for rule, clauses in made.items()}


RULES = sorted(knowledge().rules)


# --- generated from the clauses -------------------------------------------------------------------


def wanted(clause: Clause) -> list[Literal]:
    """Literals that have to be known."""
    return [x for x in clause.literals if not x.negated and x.key != PASS_TWO]


def facts(literals: Iterable[Literal]) -> FactSet:
    """The least facts on which these literals hold."""
    keys = {x.key for x in literals if not x.side}
    numbers: dict[str, tuple[float, ...]] = {}
    for x in literals:
        if x.side:
            beyond = x.limit - 1.0 if x.side == "below" else x.limit + 1.0
            numbers[x.key] = (*numbers.get(x.key, ()), beyond)
    return FactSet(frozenset(keys), numbers)


def fired(base: RuleBase, given: FactSet, second: bool) -> set[str]:
    """Rules of one pass that fire on these facts; beliefs stand among the keys."""
    return {f.rule for f in base.run(given, () if second else None)}


def closure(given: FactSet) -> set[str]:
    """Keys with the findings they lead to."""
    found = {f.rule for f in counter().run(given)}
    return set(given.keys) | {f"finding:{knowledge().rules[r].then.finds}" for r in found}


def holds_otherwise(rule: str, given: FactSet) -> bool:
    """Return whether some clause of the rule holds on these facts and what follows from them."""
    keys = closure(given) | {PASS_TWO}
    return any(all(x.holds(keys, given.numbers) for x in c.literals) for c in by_rule()[rule])


def near_misses(clause: Clause) -> Iterator[FactSet]:
    """Yield facts that lack one thing the clause wants, or hold one thing it must not see."""
    literals = wanted(clause)
    for left_out in literals:
        yield facts([x for x in literals if x != left_out])
    for x in clause.literals:
        if x.negated:
            yield facts([*literals, replace(x, negated=False)])


@pytest.mark.parametrize("rule", RULES)
def test_rule_fires_on_its_least_facts(rule: str) -> None:
    """Each clause fires on the facts it names and nothing else, so no clause contradicts itself."""
    clauses = by_rule()[rule]
    assert clauses
    for clause in clauses:
        assert rule in fired(counter(), facts(wanted(clause)), clause.second_pass), clause
    first = clauses[0]
    given = facts(wanted(first))
    derived = {c.rule for c in chained().derived(given) if c.second_pass == first.second_pass}
    assert derived == fired(counter(), given, first.second_pass)


@pytest.mark.parametrize("rule", RULES)
def test_rule_is_silent_on_a_near_miss(rule: str) -> None:
    """One condition less, or one thing seen that must not be, and the clause no longer fires."""
    silent = 0
    for clause in by_rule()[rule]:
        for given in near_misses(clause):
            fires = rule in fired(counter(), given, clause.second_pass)
            assert fires == holds_otherwise(rule, given), (clause, given)
            silent += not fires
    assert silent > 0


@pytest.mark.parametrize("rule", RULES)
def test_rule_can_come_true_on_one_machine(rule: str) -> None:
    """At least one clause asks for one value only of each axis, channel, row pattern and answer."""

    def alone(clause: Clause) -> bool:
        names = [x.key.partition("=")[0] if "=" in x.key else x.key.partition(":")[0] for x in wanted(clause)]
        single = [n for n in names if n.startswith(("axis:", "answer:")) or n in ("channel", "rows")]
        return len(single) == len(set(single))

    assert any(alone(clause) for clause in by_rule()[rule])


@pytest.mark.parametrize("channel", ["phone", "site"])
def test_no_rule_fires_on_a_call_that_has_begun(channel: str) -> None:
    """Nothing known but the channel: no rule has anything to say."""
    judgement = engine().judge(Case(channel=channel, figures=FRESH))
    assert judgement.firings == ()


def supports(clause: Clause, depth: int = 0) -> Iterator[Mapping[str, str]]:
    """Yield ways to come by a clause: check -> outcome, through findings too."""
    ways: list[dict[str, str]] = [{}]
    for x in wanted(clause):
        kind, _, rest = x.key.partition(":")
        if kind == "answer":
            check, _, outcome = rest.partition("=")
            ways = [w | {check: outcome} for w in ways]
        elif kind == "reading" and "=" in rest:
            check, _, test = rest.partition(":")
            ways = [w | shown(check, *test.split("=")) | w for w in ways]
        elif kind == "finding" and depth < 3:
            derived = [c for c in counter().clauses if c.finds == rest]
            ways = [w | s for w in ways for c in derived for s in supports(c, depth + 1)][:24]
    yield from ways


def shown(check: str, result: str, word: str) -> dict[str, str]:
    """Return the outcome that a word of an analysis gives."""
    for name, outcome in knowledge().questions[check].outcomes.items():
        for leaf in outcome.when.leaves() if outcome.when else ():
            words = (leaf.is_,) if isinstance(leaf.is_, str) else leaf.is_ or ()
            if leaf.result == result and word in words:
                return {check: name}
    return {}


@pytest.mark.parametrize("rule", [r for r in RULES if knowledge().rules[r].then.marks])
def test_rule_says_more_than_its_answers(rule: str) -> None:
    """Every mark moves its causes beyond what the answers moved them; none confirms or rules out by itself."""
    then, tables = knowledge().rules[rule].then, engine().tables
    assert not {"confirms", "rules_out"} & set(then.marks)
    for word, targets in then.marks.items():
        ratio = math.log(knowledge().marks[word].ratio)
        for target in targets:
            most = 0.0
            for cause in [c.id for c in knowledge().causes.values() if target in (c.id, f"@{c.subsystem}")]:
                place = tables.position[cause]
                for clause in by_rule()[rule]:
                    for way in supports(clause):
                        given = sum(math.log(tables.check(c).ratio(o, place)) for c, o in way.items())
                        missing = ratio - given
                        adds = max(0.0, missing) if ratio > 0 else max(0.0, -missing)
                        most = max(most, adds)
            assert most > ADDS, (word, target)


@pytest.mark.parametrize("rule", RULES)
def test_rule_gives_its_reason_in_one_sentence(rule: str) -> None:
    """The reason is one plain sentence, and everything said ends as a sentence does."""
    entry = knowledge().rules[rule]
    assert entry.because.endswith(".")
    assert 1 == entry.because.count(". ") + 1
    for text in (entry.then.warns, entry.then.advises):
        assert text is None or text.endswith(".")


# --- calls as they come ---------------------------------------------------------------------------

CORN = {"crop": "corn", "meter": "flat", "delivery": "tube", "fan": "hydraulic_fan", "fill": "box", "sensor": "optical"}
CHAIN = CORN | {"drive": "chain"}
ELECTRIC = CORN | {"drive": "electric"}


@dataclass(frozen=True)
class Call:
    """One call and what the rules must make of it."""

    rules: tuple[str, ...]
    """Rules that fire."""
    symptoms: tuple[str, ...] = ()
    answers: tuple[tuple[str, str], ...] = ()
    results: Mapping[str, Mapping[str, float | str]] = field(default_factory=dict)
    axes: Mapping[str, str] = field(default_factory=lambda: CHAIN)
    channel: str = "site"
    rows: str = "unknown"
    changes: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    repaired: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    """Rules that do not fire."""
    findings: tuple[str, ...] = ()
    says: tuple[tuple[str, str], ...] = ()
    """(kind, start of the text)."""
    first: str | None = None
    """The check that is offered first."""
    offers: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    """Checks that are not offered."""
    before: tuple[tuple[str, str], ...] = ()
    """Pairs of causes: the first is likelier than the second."""

    def judged(self) -> Judgement:
        """Return the judgement of this call."""
        epoch = 1 if self.repaired else 0
        answers = tuple(
            replace(said(knowledge(), check, outcome, epoch=epoch), results=self.results.get(check, {}))
            for check, outcome in self.answers
        )
        repairs = (RepairDone(dict.fromkeys(self.repaired, 0.95)),) if self.repaired else ()
        case = Case(
            channel=self.channel, axes=self.axes, symptoms=self.symptoms, instances=answers, repairs=repairs,
            row_pattern=self.rows, changes=self.changes, flags=self.flags,
            figures={**FRESH, "answers": float(len(answers)), "repairs": float(len(repairs)), **self.figures},
        )
        return engine().judge(case, most=400)


CALLS = {
    "screen says dead, nobody dug": Call(
        symptoms=("row_dead_screen_only",), channel="phone", rows="one",
        rules=("dig_when_only_the_screen_spoke",), first="dig_behind_row", never=("sensor_swap", "meter_swap"),
        says=(("warns", "Only the screen has spoken"),),
    ),
    "screen says dead, dug and right": Call(
        symptoms=("row_dead_screen_only",), channel="phone", rows="one", answers=(("dig_behind_row", "seed_normal"),),
        rules=("ground_right_leave_the_meter", "quiet_alarm_for_a_good_row"), findings=("ground_is_good",),
        silent=("dig_when_only_the_screen_spoke",), offers=("sensor_swap",), never=("meter_swap",),
        before=(("sensor_dirty", "holes_plugged"),),
    ),
    "doubles on all rows since the new lot": Call(
        symptoms=("doubles_high",), channel="phone", rows="all", changes=("new_seed",), axes=CHAIN,
        answers=(("q_row_pattern", "all"),),
        rules=("new_lot_doubles_less_vacuum", "vacuum_before_the_singulator"),
        findings=("since_new_seed", "trouble_all_rows", "lot_and_setting_do_not_match"),
        offers=("vac_lower_step",), never=("sing_notch_step", "meter_swap"),
    ),
    "doubles on one row since the new lot": Call(
        symptoms=("doubles_high",), channel="phone", rows="one", changes=("new_seed",), findings=("trouble_one_row",),
        rules=("rows_one",), silent=("new_lot_doubles_less_vacuum", "vacuum_before_the_singulator"),
    ),
    "wing low since unfolding": Call(
        symptoms=("vac_low_section",), channel="phone", rows="section", changes=("folded",),
        rules=("hinge_and_vacuum", "two_gauges_exchange_the_lines"), findings=("since_folded", "trouble_section"),
        offers=("gauge_line_exchange", "vac_fold_again", "vac_hose_walk"),
    ),
    "one row low, the others rose": Call(
        symptoms=("skips_high",), rows="one", answers=(("vac_manometer_row", "one_low"),),
        results={"vac_manometer_row": {"pattern": "one_low", "others": "higher"}},
        rules=("low_row_and_the_others_rose",), findings=("restriction_at_the_low_rows",),
        silent=("low_row_and_the_others_fell_too",), never=("vac_tape_manifold",),
        before=(("meter_port_blocked", "cover_distorted"), ("meter_port_blocked", "seal_displaced")),
    ),
    "one row low, the others fell": Call(
        symptoms=("skips_high",), rows="one", answers=(("vac_manometer_row", "one_low"),),
        results={"vac_manometer_row": {"pattern": "one_low", "others": "lower"}},
        rules=("low_row_and_the_others_fell_too",), findings=("leak_at_the_low_rows",),
        before=(("seal_worn", "hose_collapsed"),),
    ),
    "thin by dig on a chain planter": Call(
        symptoms=("pop_low_all",), answers=(("dug_thousandth", "all_low"),), axes=CHAIN,
        rules=("chains_do_not_read_the_screen",), findings=("rate_wrong_by_the_drive", "ground_is_bad"),
        never=("cab_target",), before=(("sprocket_wrong", "mon_target_wrong"), ("tire_pressure_off", "mon_speed_cal")),
    ),
    "thin by dig on an electric planter": Call(
        symptoms=("pop_low_all",), answers=(("dug_thousandth", "all_low"),), axes=ELECTRIC,
        rules=("ground_wrong_by_dig_or_catch",), silent=("chains_do_not_read_the_screen",), offers=("cab_target",),
    ),
    "false speed on an electric planter": Call(
        symptoms=("pop_high_all",), answers=(("cab_speed_compare", "off"),), axes=ELECTRIC,
        rules=("commanded_drive_off_and_speed_wrong",), findings=("ground_scaled_by_the_speed_number",),
        silent=("chains_and_a_wrong_speed_number",), offers=("dug_thousandth",),
        says=(("warns", "The ground is off by the same percent"),),
    ),
    "vacuum crept up and more of it helps": Call(
        symptoms=("skips_high",),
        answers=(("q_settings.vacuum_setting_crept_up", "yes"), ("vac_raise_step", "skips_fall")),
        rules=("leak_covered_by_a_higher_setting",), findings=("leak_covered_up",), offers=("vac_manometer_row",),
        before=(("main_hose_leak", "vac_set_low"), ("seal_worn", "vac_set_low")),
    ),
    "rows drop out, supply short": Call(
        symptoms=("row_cuts_in_out",), axes=ELECTRIC, channel="phone",
        answers=(("target_down_third", "recovers"), ("half_rows_off", "recovers")),
        rules=("supply_runs_short",), findings=("supply_short_under_load",), never=("motor_swap",),
        offers=("volt_source",), before=(("supply_voltage_low", "motor_overload"),),
    ),
    "rows drop out, row drags": Call(
        symptoms=("row_cuts_in_out",), axes=ELECTRIC, channel="phone",
        answers=(("target_down_third", "recovers"), ("half_rows_off", "same")),
        rules=("load_and_not_the_supply",), findings=("row_drags",), silent=("supply_runs_short",),
        before=(("motor_overload", "supply_voltage_low"),),
    ),
    "swap and caught seed disagree": Call(
        symptoms=("skips_high",), answers=(("meter_swap", "stays"), ("catch_test_turns", "low")),
        rules=("counts_in_the_hand_disagree_with_the_swap",), findings=("swap_and_count_disagree",),
        says=(("asks_again", "meter_swap"),),
    ),
    "gaps after emergence": Call(
        symptoms=("gaps_after_emergence",), channel="phone", rows="one",
        rules=("plants_are_not_seeds", "row_is_true_only_both_ways"), first="gap_dig_20",
        never=("meter_swap", "catch_test_turns"), says=(("warns", "Gaps in the stand say nothing"),),
    ),
    "seed in the gaps, always one planter row": Call(
        symptoms=("gaps_after_emergence",), answers=(("gap_dig_20", "seed_there"), ("planter_row_of_gap", "same_row")),
        rules=("seed_there_always_in_that_row", "seed_in_the_gaps"), findings=("one_row_places_it_badly",),
        silent=("plants_are_not_seeds",), offers=("depth_dig",), before=(("depth_wheel_slack", "crust_or_flood"),),
    ),
    "thunder": Call(
        symptoms=("skips_high",), channel="phone", flags=("lightning",), rules=("thunder_ends_work_in_the_open",),
        says=(("suggests", "stop"),), never=("dig_behind_row", "dug_50_spacings", "vac_hose_walk"),
    ),
    "half an hour on the line": Call(
        symptoms=("skips_high",), channel="phone", figures={"desk_minutes": 26.0}, rules=("desk_time_is_up",),
        says=(("warns", "Time to decide"), ("suggests", "drive_out")), silent=("narrowed_nothing_on_site",),
    ),
    "three answers that moved nothing": Call(
        symptoms=("skips_high",), channel="phone",
        figures={"desk_minutes": 9.0, "answers": 6.0, "narrowed_nothing": 3.0},
        rules=("answers_no_longer_narrow",), says=(("warns", "Time to decide"),), silent=("desk_time_is_up",),
    ),
    "the good row is bad too": Call(
        symptoms=("skips_high",), answers=(("dug_three_rows", "only_bad"),),
        results={"dug_three_rows": {"first": 0.20, "second": 0.09, "difference": 0.11, "chance": 0.001}},
        rules=("best_row_is_bad_too",), findings=("two_faults_likely",), silent=("rows_differ_within_chance",),
    ),
    "rows differ by chance": Call(
        symptoms=("skips_high",), answers=(("dug_three_rows", "only_bad"),),
        results={"dug_three_rows": {"first": 0.06, "second": 0.02, "difference": 0.04, "chance": 0.3}},
        rules=("rows_differ_within_chance",), says=(("asks_again", "dug_three_rows"),), silent=("best_row_is_bad_too",),
    ),
    "vacuum read on cold oil": Call(
        symptoms=("vac_low_all",), answers=(("oil_temp", "cold"), ("vac_manometer_row", "all_low")),
        rules=("read_on_cold_oil", "low_in_the_cold_wait"), findings=("vacuum_read_too_early",),
        says=(("asks_again", "vac_manometer_row"),), offers=("vac_warm_wait",), never=("case_drain_flow",),
    ),
    "a whole section beats": Call(
        symptoms=("spacing_periodic",), rows="section", answers=(("q_time_pattern", "periodic"),),
        rules=("section_with_a_beat",), findings=("beat_in_the_drive",), silent=("one_row_with_a_beat",),
        before=(("chain_stiff", "holes_plugged"), ("shaft_bearing_stiff", "disc_warped")),
    ),
    "close pairs beside long gaps": Call(
        symptoms=("doubles_high",), rows="one", answers=(("dug_50_spacings", "short_long_pairs"),),
        results={"dug_50_spacings": {"multiples": 0.08, "true_doubles": 0.01, "displaced_share": 0.2, "lag1": -0.45}},
        rules=("close_pairs_are_no_doubles", "placement_by_correlation"), findings=("close_pairs_are_displaced_seed",),
        never=("sing_notch_step",), before=(("tube_end_worn", "sing_too_open"),),
    ),
    "brush the eye? not yet": Call(
        symptoms=("count_disagrees", "pop_low_row"), rows="one", channel="phone",
        answers=(("q_when_began.lubricant_changed", "yes"), ("q_weather", "dry_static")),
        rules=("dig_before_the_eye_is_brushed",), first="dig_behind_row", offers=("sensor_clean",),
    ),
    "worn seal on site, cover still shut": Call(
        symptoms=("vac_low_row", "skips_high"), rows="one",
        answers=(("vac_listen", "at_cover"), ("q_age.old_seals", "yes"), ("q_time_pattern", "slowly_worse")),
        rules=("vacuum_before_the_cover",), first="vac_manometer_row", offers=("seal_feel",),
        says=(("warns", "Read the vacuum of this row"),),
    ),
    "blown fuse": Call(
        symptoms=("screen_rows_lost",), axes=ELECTRIC, answers=(("fuse_look", "open"),),
        rules=("a_blown_fuse_has_a_reason",), says=(("caution", "same_fuse_rating"),), offers=("harness_fold_look",),
    ),
    "leak closed, now the setting": Call(
        symptoms=("skips_high",), repaired=("seal_worn",), rules=("seals_renewed_now_the_vacuum", "repaired_one_row"),
        findings=("leak_closed", "row_part_repaired"), offers=("vac_manometer_row",),
    ),
    "row repaired, all rows still off": Call(
        symptoms=("skips_high",), repaired=("chain_stiff",), answers=(("dug_three_rows", "all_alike"),),
        rules=("no_row_judged_under_an_open_fault",), says=(("warns", "Do not judge the repaired row yet"),),
    ),
    "setting or seal": Call(
        symptoms=("skips_high",), rows="some",
        answers=(("q_last_repair", "more_vacuum_helped"), ("dug_50_spacings", "skips")),
        rules=("alike_vac_set_low_seal_worn", "one_dig_has_no_measure"), offers=("vac_manometer_row",),
    ),
    "setting or seal, rows read": Call(
        symptoms=("skips_high",), rows="some",
        answers=(("q_last_repair", "more_vacuum_helped"), ("dug_50_spacings", "skips"), ("vac_manometer_row", "even")),
        rules=("vacuum_at_the_meters_is_fine",), silent=("alike_vac_set_low_seal_worn",), never=("vac_dead_head",),
    ),
    "all but one row": Call(
        symptoms=("stand_uneven",), rows="all_but_one", rules=("odd_row_out_is_the_good_one",), offers=("depth_dig",),
        says=(("warns", "One row differs from all others"),),
    ),
    "nothing counts this seed": Call(
        symptoms=("pop_low_all",), axes=CHAIN | {"crop": "canola", "sensor": "no_sensor"}, channel="phone",
        rules=("nothing_counts_the_seed",), offers=("seed_used_acres",), says=(("warns", "No eye counts this seed"),),
    ),
    "three things changed already": Call(
        symptoms=("skips_and_doubles",), channel="phone", figures={"changes_since": 3.0},
        rules=("two_things_changed_at_once",), findings=("several_things_changed",), offers=("restore_baseline",),
        never=("sing_notch_step",), says=(("warns", "Several things were changed"),),
    ),
}


@pytest.mark.parametrize("name", CALLS)
def test_call(name: str) -> None:
    """The rules make of this call what a technician would."""
    call = CALLS[name]
    judgement = call.judged()
    fired_rules = {f.rule for f in judgement.firings}
    assert set() == set(call.rules) - fired_rules
    assert set() == set(call.silent) & fired_rules
    assert set() == set(call.findings) - {f.finding for f in judgement.findings}
    for kind, start in call.says:
        assert any(s.kind == kind and s.text.startswith(start) for s in judgement.said), (kind, start)
    offered = [o.check for o in judgement.plan.offers]
    assert call.first in (None, offered[0])
    assert set() == set(call.offers) - set(offered)
    assert set() == set(call.never) & set(offered)
    for likelier, other in call.before:
        assert chance(judgement, likelier) > chance(judgement, other), (likelier, other)


def chance(judgement: Judgement, cause: str) -> float:
    """Return the chance of a cause on the desk."""
    ranked = judgement.of(cause)
    assert ranked is not None, cause
    return ranked.probability
