"""The engine held on after the key: in the car's copper, with each of its parts failed in turn."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from changeover import messages
from host_sim.car import Car
from host_sim.driver import PATIENCE_S
from host_sim.faults import Fault
from host_sim.loop import Loop
from host_sim.run_on import TIMER_S
from tests.drive.rig import coast, drive_of, idle, on_oil, story

# A purge that two minutes at idle are enough for.
ON = ("run_on_s=120", "purge_factor_permille=2000")


def held(*faults: str, changes: tuple[str, ...] = ON) -> Loop:
    """On oil at a standstill, brake and neutral set, key turned off 2 s ago."""
    drive = on_oil("full_guard", *changes)
    for kind in faults:
        drive.injector.start(Fault(kind), drive.car)
    car = drive.car
    car.speed_kmh, car.engine_load, car.engine_rpm = 0.0, 0.0, 850.0
    car.run_on.brake_applied = car.run_on.in_neutral = True
    coast(drive, 1.0)
    assert car.engine_running
    car.key_on = False
    coast(drive, 2.0)
    return drive


def until_it_stops(drive: Loop, at_most_s: float = 200.0) -> float:
    """Seconds until the engine stands."""
    seconds = 0.0
    while drive.car.engine_running and seconds < at_most_s:
        coast(drive, 0.1)
        seconds += 0.1
    return seconds


def hazards(drive: Loop) -> list[str]:
    """Ids of what passed its limit."""
    return [hazard.id for hazard in drive.monitors.found]


def test_a_forgotten_purge_is_made_up_for_and_the_engine_let_go() -> None:
    drive = held()
    assert drive.car.engine_running, "no gap at the key"
    assert drive.board.law.panel.message == messages.RUNNING_ON
    assert 60.0 < until_it_stops(drive) < TIMER_S
    coast(drive, 5.0)
    assert drive.board.law.panel.message == messages.PARKED_CLEAN
    assert not drive.board.remembers_oil()
    assert hazards(drive) == []


def test_without_run_on_in_the_settings_the_key_stops_the_engine() -> None:
    drive = held(changes=())
    assert not drive.car.engine_running
    assert drive.board.law.panel.message == messages.OIL_LEFT
    assert hazards(drive) == []


def _release_brake(car: Car) -> None:
    car.run_on.brake_applied = False


def _engage_a_gear(car: Car) -> None:
    car.run_on.in_neutral = False


def _open_bonnet(car: Car) -> None:
    car.run_on.bonnet_closed = False


@pytest.mark.parametrize("act", [_release_brake, _engage_a_gear, _open_bonnet])
def test_each_switch_alone_ends_it_even_with_relay_and_timer_failed(act: Callable[[Car], None]) -> None:
    drive = held("run_on_relay_welded", "run_on_timer_stuck")
    coast(drive, 10.0)
    act(drive.car)
    assert until_it_stops(drive) <= 0.2
    coast(drive, 5.0)
    assert hazards(drive) == []
    assert drive.board.law.panel.message == messages.PURGE_CUT
    assert drive.board.remembers_oil()


def test_a_welded_relay_is_ended_by_the_timer_and_a_stuck_timer_by_the_board() -> None:
    drive = held("run_on_relay_welded")
    assert until_it_stops(drive) == pytest.approx(TIMER_S - 2.0, abs=0.3)
    assert hazards(drive) == []
    drive = held("run_on_timer_stuck")
    assert until_it_stops(drive) < TIMER_S
    assert hazards(drive) == []


@pytest.mark.parametrize(
    ("stuck", "act"),
    [
        ("brake_switch_stuck", _release_brake),
        ("neutral_switch_stuck", _engage_a_gear),
        ("bonnet_switch_stuck", _open_bonnet),
    ],
)
def test_a_stuck_switch_lets_the_engine_run_outside_its_interlocks_but_not_past_its_time(
    stuck: str, act: Callable[[Car], None]
) -> None:
    drive = held(stuck)
    coast(drive, 10.0)
    act(drive.car)
    assert until_it_stops(drive) < TIMER_S
    assert hazards(drive) == ["H6"]
    assert not drive.monitors.found[0].told


def test_relay_and_timer_failed_together_are_ended_by_the_driver_who_stays_with_the_car() -> None:
    faults = tuple({"kind": kind, "onset_s": 0.0} for kind in ("run_on_relay_welded", "run_on_timer_stuck"))
    drive = drive_of(story(idle(0.5), faults=faults), *ON)
    drive.run()
    assert not drive.car.engine_running
    assert "pulls the engine's stop" in [text for _, text in drive.driver.notes]
    assert drive.now_ms / 1000.0 > PATIENCE_S
    assert set(hazards(drive)) == {"H6"}
