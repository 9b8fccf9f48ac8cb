"""The state machine's parts as they are made, and exactly on their times and masks."""

from __future__ import annotations

import pytest

from changeover import reasons, rows
from changeover.inputs import BONNET, BRAKE, ENGINE, NEUTRAL
from changeover.law import Law
from changeover.memory import Record
from changeover.settings import ADVISE, PERMIT
from changeover.states import FILLING, ON_OIL, PARKED, PURGING, RUN_ON
from changeover.ticks import Lateness
from changeover.wishes import Wishes
from tests.law.rig import fitted_out


def clean() -> Record:
    record = Record()
    record.oil_in_lines = False
    return record


def law_in(state: int, engine_ms: int = 60_000, **settings: int) -> Law:
    law = Law(fitted_out(**settings), clean())
    law.machine.state = state
    law.machine.engine_ms = engine_ms
    law.inputs.contact[ENGINE].on = engine_ms > 0
    return law


def test_fresh_law_commands_nothing_and_remembers_nothing() -> None:
    law = Law(fitted_out(), clean())
    machine = law.machine
    assert (machine.supply_on, machine.return_on, law.heater.on, law.run_on, law.power_hold) == (False,) * 5
    assert (machine.lines_dirty, machine.record_dirty, machine.write_wanted, machine.memory_bad) == (False,) * 4
    assert machine.valve_in_doubt is False
    assert (machine.state, machine.state_ms, machine.engine_ms, machine.dwell_ms) == (PARKED, 0, 0, 0)
    assert (machine.reverts, machine.moves, machine.move_from, machine.move_to) == (0, 0, PARKED, PARKED)
    assert machine.move_reason == reasons.KEY_OFF
    assert (machine.lines.fill_ul, machine.lines.credit_ul) == (0, 0)
    assert (law.keep_awake, law.conditions.restarted, law.conditions.lateness.excused) == (False, False, False)
    dirty = Law(fitted_out(), Record()).machine
    assert (dirty.lines_dirty, dirty.record_dirty) == (True, True)


def test_fresh_record_is_empty_but_for_the_oil_that_must_be_assumed() -> None:
    record = Record()
    assert record.oil_in_lines is True
    assert (record.sequence, record.boots, record.trips, record.suction_mean_pa, record.suction_low_pa) == (0,) * 5


def test_fresh_wishes_ask_for_nothing() -> None:
    wishes = Wishes(PERMIT)
    assert (wishes.wanted, wishes.granted, wishes.stop_held, wishes.ready) == (False,) * 4
    assert wishes.short_presses == 0
    wishes.step(False, False, 100)
    assert wishes.short_presses == 0


# valves and their engine time


@pytest.mark.parametrize("state", range(6))
def test_each_valve_waits_for_its_last_millisecond_of_engine_and_for_its_states(state: int) -> None:
    for engine_ms in (499, 500, 2999, 3000):
        machine = law_in(state, engine_ms).machine
        machine.drive_valves()
        assert machine.supply_on is (engine_ms >= 3000 and state in (FILLING, ON_OIL))
        assert machine.return_on is (engine_ms >= 500 and state in (ON_OIL, PURGING, RUN_ON))
        advised = law_in(state, engine_ms, authority=ADVISE).machine
        advised.drive_valves()
        assert not advised.supply_on
        assert not advised.return_on


# the held-on engine

ENDS_RUN_ON = {
    rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.OIL_HOT, rows.ENGINE, rows.SUPPLY_VALVE,
    rows.SETTINGS, rows.SUPPLY_LOW, rows.RETURN_VALVE, rows.NO_ROOM,  # a purge that is forbidden needs no engine
}  # fmt: skip


@pytest.mark.parametrize("row", range(len(rows.TABLE)))
def test_engine_is_held_on_against_no_row_that_ends_it(row: int) -> None:
    law = law_in(ON_OIL, run_on_s=60)
    law.machine.lines_dirty = True
    for contact in (BRAKE, NEUTRAL, BONNET):
        law.inputs.contact[contact].on = True
    assert law.machine.holds_engine()
    law.interlocks.forced = 1 << row
    assert law.machine.holds_engine() is (row not in ENDS_RUN_ON)
    law.interlocks.forced, law.interlocks.blocked = 0, 1 << row
    assert law.machine.holds_engine(), "what only blocks an entry ends nothing"


# late ticks


def test_two_late_ticks_are_forgiven_once_ticks_in_time_stood_between() -> None:
    for between in (0, 1, 2):
        lateness = Lateness()
        lateness.step(251)
        for _ in range(between):
            assert not lateness.step(250)
        assert lateness.step(251) is (between == 0)
        assert not lateness.step(100)
