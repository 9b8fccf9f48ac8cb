"""A board that hangs, restarts and says so, in the simulated car."""

from __future__ import annotations

import pytest

from changeover import rows
from host_sim.loop import Loop
from host_sim.virtual_board import WATCHDOG_MS
from tests.drive.rig import coast, on_oil, states


def shown(drive: Loop) -> int:
    """The message on the display."""
    return drive.board.law.panel.message


def test_a_hang_on_oil_ends_on_diesel_with_the_watchdog_and_what_is_said_is_true() -> None:
    drive = on_oil()
    drive.board.hang_s = 10.0
    coast(drive, WATCHDOG_MS / 1000.0 - 0.1)
    assert drive.car.command_supply_oil, "pins stay as they were until the watchdog bites"
    coast(drive, 0.1)
    assert not drive.car.command_supply_oil
    coast(drive, 30.0)
    assert drive.board.watchdog_resets == 1
    assert ("PARKED", "PURGING") in states(drive), "the record said oil in the lines"
    assert shown(drive) == rows.RESTARTED
    assert drive.truth.holds(rows.RESTARTED)
    coast(drive, 300.0)
    assert not drive.car.command_supply_oil, "no oil until the key was off"
    assert drive.monitors.found == []


def test_the_selector_takes_a_hung_board_off_oil_in_copper() -> None:
    drive = on_oil()
    drive.board.hang_s = 10.0
    drive.cockpit.ready = False
    coast(drive, 0.2)
    assert not drive.car.command_supply_oil


@pytest.mark.parametrize(("times", "late"), [(1, False), (3, True)])
def test_repeated_short_hangs_are_told_as_late_ticks_and_one_is_not(times: int, late: bool) -> None:
    drive = on_oil()
    told = False
    for _ in range(times):
        drive.board.hang_s = 0.3
        coast(drive, 0.5)
        told = told or shown(drive) == rows.OVERRUN
        assert not told or drive.truth.holds(rows.OVERRUN)
    assert told is late
    assert drive.car.command_supply_oil is not late
    assert drive.monitors.found == []
