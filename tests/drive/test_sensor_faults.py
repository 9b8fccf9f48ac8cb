"""Sensors that break while a warm car runs on oil: off oil within the reaction time, told, and no hazard from it."""

from __future__ import annotations

import pytest

from changeover import messages, rows
from changeover.states import ON_OIL, PURGING
from host_sim.faults import Fault
from tests.drive.rig import READY, coast, drive_of, idle, on_oil, road, story

WATCHED_S = 60.0
# Open or short circuit to diesel command; `another fitted sensor` holds 2 s more; a loose wire takes its time.
AT_ONCE_S, HELD_S, LOOSE_S = 0.5, 2.5, 5.0
SENSORS = (rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR, rows.OTHER_SENSOR)


@pytest.mark.parametrize(
    ("fault", "within_s"),
    [
        (Fault("open", "coolant"), AT_ONCE_S),
        (Fault("open", "oil"), AT_ONCE_S),
        (Fault("short", "oil"), AT_ONCE_S),
        (Fault("short", "suction"), AT_ONCE_S),
        (Fault("offset", "oil", 15.0), AT_ONCE_S),
        (Fault("offset", "oil", -15.0), AT_ONCE_S),
        (Fault("swapped", "oil", other="suction"), AT_ONCE_S),
        (Fault("ground_lifted", size=300.0), AT_ONCE_S),
        (Fault("open", "pump_inlet"), HELD_S),
        (Fault("silent"), HELD_S),
        (Fault("intermittent", "oil", 1.0), LOOSE_S),
    ],
    ids=lambda value: f"{value.kind} {value.channel}" if isinstance(value, Fault) else None,
)
def test_off_oil_and_told_within_the_reaction_time(fault: Fault, within_s: float) -> None:
    drive = on_oil()
    coast(drive, 1.0)
    assert drive.car.command_supply_oil
    drive.injector.start(fault)
    off_s = told_s = None
    for tick in range(1, round(WATCHED_S * 10) + 1):
        coast(drive, 0.1)
        if off_s is None and not drive.car.command_supply_oil:
            off_s = tick / 10.0
        message = drive.board.law.panel.message
        if told_s is None and message in SENSORS:
            told_s = tick / 10.0
            assert drive.truth.holds(message), messages.ENGLISH[message]
        assert off_s is None or not drive.car.command_supply_oil, "back on oil with the fault still there"
    assert off_s is not None
    assert off_s <= within_s
    assert told_s is not None
    assert told_s <= within_s
    assert drive.car.supply_valve_pos == 0.0
    assert drive.board.law.machine.state == PURGING
    forced = [move for move in drive.totals.moves if move.forced]
    assert len(forced) == 1
    assert forced[0].called_for
    assert {found.id for found in drive.monitors.found} == set()


def test_the_same_car_without_a_fault_stays_on_oil() -> None:
    drive = on_oil()
    coast(drive, WATCHED_S)
    assert drive.board.law.machine.state == ON_OIL
    assert drive.monitors.found == []


def test_an_oil_wire_that_mends_itself_gives_oil_back_after_purge_and_dwell() -> None:
    drive = on_oil()
    wire = Fault("open", "oil")
    drive.injector.start(wire)
    coast(drive, 5.0)
    drive.injector.stop(wire)
    coast(drive, 300.0)
    assert drive.board.law.machine.state == ON_OIL
    assert [move.after for move in drive.totals.moves[-4:]] == ["PURGING", "ON_DIESEL", "FILLING", "ON_OIL"]


def test_swapped_coolant_and_oil_let_no_cold_oil_in() -> None:
    """A filter that follows the coolant closely cannot be told from it; then the two thresholds together guard."""
    swap = {"kind": "swapped", "channel": "coolant", "other": "oil", "onset_s": 0.0}
    drive = drive_of(story(READY, idle(0.2), road(18.0), ambient_c=0.0, faults=(swap,)))
    let_in_c: list[float] = []
    drive.on_tick = lambda t_s: let_in_c.append(drive.car.filter_c) if drive.car.command_supply_oil else None
    drive.run()
    assert drive.car.coolant_feed_c > 75.0, "too short a drive to tempt the board"
    assert drive.truth.holds(rows.OIL_SENSOR)
    assert all(t_c > drive.board.values["oil_limit_cdegc"] / 100.0 for t_c in let_in_c)
