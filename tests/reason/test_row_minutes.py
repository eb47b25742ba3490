"""What a check costs on site grows with the rows that are read for it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diag.call.desk import Desk
from diag.knowledge.base import Knowledge
from diag.reason.case import Case
from diag.reason.feasible import check_minutes
from diag.reason.judge import Engine
from diag.units import QUANTITIES


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """An engine on the whole knowledge."""
    return Engine(whole)


def test_a_row_map_costs_by_the_row(engine: Engine) -> None:
    """Sixteen rows take an hour and a half with two tees at a time, eight rows fifty minutes (estimates)."""
    check = engine.knowledge.checks["vac_manometer_row"]
    cost = [check_minutes(check, Case(machine_rows=rows), engine.tables) for rows in (16, 8)]
    assert [90.0, 50.0] == cost
    usual = round(engine.knowledge.settings.usual_rows)
    assert check_minutes(check, Case(), engine.tables) == check_minutes(check, Case(machine_rows=usual), engine.tables)


def test_a_row_in_trouble_is_read_with_a_good_one_on_each_side(engine: Engine) -> None:
    """One row of twelve in trouble: three rows are read, not twelve; never more than there are."""
    check = engine.knowledge.checks["vac_manometer_row"]
    cost = [check_minutes(check, Case(machine_rows=12, trouble_rows=rows), engine.tables)
            for rows in ((7,), (5, 6, 7, 8), tuple(range(1, 13)))]
    assert [25.0, 40.0, 70.0] == cost


def test_a_swap_costs_the_digs_it_needs(engine: Engine) -> None:
    """Two digs of a hundred seeds belong to a swap that is read in the ground: an hour, less what is prepared."""
    case = Case()
    for key in ("meter_swap", "disc_swap", "tube_swap"):
        assert check_minutes(engine.knowledge.checks[key], case, engine.tables) == 60.0
    prepared = replace(case, prepared=frozenset({"tube_out"}))
    assert check_minutes(engine.knowledge.checks["tube_swap"], prepared, engine.tables) == 55.0


def test_minutes_spent_count_the_rows_that_were_read(engine: Engine) -> None:
    """Five rows read of twelve: ten minutes and five times five."""
    call = Desk(engine).new_call("site")
    call.set_machine({"rows": 12})
    unit = QUANTITIES["vacuum"].us
    call.answer("vac_manometer_row", values={str(r): {"value": "18", "unit": unit} for r in range(3, 8)})
    assert call.minutes()["checks"] == 35.0
