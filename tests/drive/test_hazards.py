"""The ten monitors at their limits, on a stand-in whose truth a test sets; then by real faults in the real car."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from changeover import messages, rows
from changeover.memory import Record
from changeover.settings import defaults
from host_sim.faults import Fault
from host_sim.fluids import refutas_index
from host_sim.hazards import NAMES, Monitors
from host_sim.loop import Loop
from host_sim.run_on import RunOnChain
from tests.drive.rig import coast, on_oil

TICK_S = 0.1


class Stage:
    """A car and a board that do what they are told, and the monitors that watch them."""

    def __init__(self, **settings: int) -> None:
        self.car: Any = SimpleNamespace(
            engine_running=False, key_on=False, path=SimpleNamespace(worst_inside_oil=0.0),
            pump_index_worst=refutas_index(3.0), inside_index_worst=refutas_index(3.0), feed_ul_s=10_000.0,
            pump_suction_pa=5000.0, air_at_pump=False, supply_valve_pos=0.0, return_valve_pos=0.0,
            command_supply_oil=False, heater_on=False, heater_metal_c=20.0, run_on=RunOnChain(),
            battery_charge=0.95, oil_into_diesel_tank_worst=0.0, diesel_ul=40e6, oil_level=0.7, diesel_level=0.7,
        )  # fmt: skip
        self.panel = SimpleNamespace(message=messages.PARKED_CLEAN)
        self.machine = SimpleNamespace(write_wanted=False)
        self.truth: Any = SimpleNamespace(
            holds=lambda message: message not in self.untrue, telling_s=lambda message: 10.0
        )
        self.untrue: set[int] = set()
        self.remembers = True
        self.board: Any = SimpleNamespace(
            car=self.car, powered=True, supply_pin=False, return_pin=False, law=SimpleNamespace(panel=self.panel, machine=self.machine),
            values={**defaults(), **settings},
            remembers_oil=lambda: self.remembers,
        )  # fmt: skip
        self.monitors = Monitors(self.board, self.truth)
        self.t_s = 0.0

    def run(self, seconds: float, **truth: Any) -> None:
        """Let this be true for so long."""
        for name, value in truth.items():
            if name == "inside_oil":
                self.car.path.worst_inside_oil = value
            elif name == "pump_mm2_s":
                self.car.pump_index_worst = refutas_index(value)
            elif name == "inside_mm2_s":
                self.car.inside_index_worst = refutas_index(value)
            elif name == "message":
                self.panel.message = value
            elif name in ("supply_pin", "return_pin"):
                setattr(self.board, name, value)
            else:
                assert hasattr(self.car, name), name
                setattr(self.car, name, value)
        for _ in range(round(seconds / TICK_S)):
            self.t_s += TICK_S
            self.monitors.step(self.t_s, TICK_S)
        self.monitors.slow(self.t_s)

    def drive(self, seconds: float = 1.0, **truth: Any) -> None:
        """The same with key on and engine running."""
        self.run(seconds, key_on=True, engine_running=True, **truth)

    def park(self, seconds: float = 1.0, **truth: Any) -> None:
        """The same with both off."""
        self.run(seconds, key_on=False, engine_running=False, **truth)

    @property
    def found(self) -> list[tuple[str, bool]]:
        """Hazards in the order in which they passed their limit, and whether each counts as told."""
        return [(hazard.id, hazard.told) for hazard in self.monitors.found]


def test_h1_counts_only_what_is_thicker_than_20_mm2_s_and_more_than_50_ml() -> None:
    stage = Stage()
    stage.drive()
    stage.drive(60.0, pump_mm2_s=19.9, inside_oil=1.0)
    stage.drive(4.9, pump_mm2_s=20.1)  # 49 mL
    stage.drive(1.0, pump_mm2_s=19.9)  # ends the event
    stage.drive(4.9, pump_mm2_s=20.1)
    assert stage.found == []
    stage.drive(0.2)
    assert stage.found == [("H1", False)]
    assert stage.monitors.margins["H1"] == pytest.approx(1.02)


def test_h1_from_a_warm_restart_allows_30_mm2_s_until_the_purge_is_complete() -> None:
    stage = Stage()
    stage.park(inside_oil=0.8)
    stage.drive(60.0, pump_mm2_s=29.0)
    assert stage.found == []
    again = Stage()
    again.park(inside_oil=0.8)
    again.drive(6.0, pump_mm2_s=31.0)
    assert again.found == [("H1", False)]
    stage.drive(6.0, inside_oil=0.1)  # purged: the lower limit counts again
    assert stage.found == [("H1", False)]


def test_h1_after_a_warning_at_key_off_is_told_only_until_the_purge_is_complete() -> None:
    stage = Stage()
    stage.drive(inside_oil=0.8)
    stage.park(message=messages.OIL_LEFT)
    stage.drive(6.0, pump_mm2_s=31.0, message=messages.PURGING)
    stage.drive(1.0, pump_mm2_s=3.0, inside_oil=0.1)
    stage.drive(6.0, pump_mm2_s=31.0, inside_oil=0.5)
    assert stage.found == [("H1", True), ("H1", False)]


@pytest.mark.parametrize("warning", [messages.OIL_LEFT, messages.PURGE_CUT, rows.LINES])
def test_h2_is_told_by_a_warning_at_the_key_off_before_it(warning: int) -> None:
    stage = Stage()
    stage.drive()
    stage.park()
    stage.drive(inside_mm2_s=29.9)
    assert stage.found == []
    stage.park()
    stage.drive(inside_mm2_s=30.1)
    assert stage.found == [("H2", False)]
    stage.park(message=warning)
    stage.drive(message=messages.PURGING)
    stage.park()  # the warning of the stop before does not count for this one
    stage.drive()
    assert stage.found == [("H2", False), ("H2", True), ("H2", False)]


def test_h3_two_percent_of_the_tank() -> None:
    stage = Stage()
    stage.drive(oil_into_diesel_tank_worst=799.0)
    assert stage.found == []
    stage.drive(oil_into_diesel_tank_worst=801.0)
    assert stage.found == [("H3", False)]


def test_h3_one_line_volume_in_each_loss_of_power() -> None:
    stage = Stage(path_ul=300_000)
    stage.drive(oil_into_diesel_tank_worst=100.0)
    stage.board.powered = False
    stage.drive(oil_into_diesel_tank_worst=399.0)
    stage.board.powered = True
    stage.drive()
    stage.board.powered = False
    stage.drive(oil_into_diesel_tank_worst=698.0)
    assert stage.found == []
    stage.drive(oil_into_diesel_tank_worst=700.0)
    assert stage.found == [("H3", False)]


def test_h4_suction_above_40_kpa_for_three_seconds() -> None:
    stage = Stage()
    stage.drive(60.0, pump_suction_pa=39_900.0)
    stage.drive(2.9, pump_suction_pa=40_100.0)
    stage.drive(0.1, pump_suction_pa=5000.0)  # with or without oil in the lines a pause begins the count anew
    stage.drive(2.9, pump_suction_pa=40_100.0)
    stage.park()
    stage.drive(2.9)
    assert stage.found == []
    stage.drive(0.2)
    assert stage.found == [("H4", False)]


@pytest.mark.parametrize(("level", "told"), [(0.04, True), (0.06, False)])
def test_h4_air_is_told_where_a_warning_of_a_low_tank_stood_and_the_tank_is_empty(level: float, told: bool) -> None:
    stage = Stage()
    stage.drive(60.0, message=rows.DIESEL_LOW, diesel_level=level)
    stage.drive(3.0, air_at_pump=True)
    assert stage.found == [("H4", told)]


def test_h4_air_at_the_pump_for_two_seconds() -> None:
    stage = Stage()
    stage.drive(1.9, air_at_pump=True)
    stage.drive(0.1, air_at_pump=False)
    stage.drive(1.9, air_at_pump=True)
    assert stage.found == []
    stage.drive(0.2)
    assert stage.found == [("H4", False)]


@pytest.mark.parametrize("key_on", [True, False])
def test_h5_heater_on_alone_for_two_seconds(key_on: bool) -> None:
    stage = Stage()
    stage.drive(30.0, heater_on=True)
    stage.run(1.9, key_on=key_on, engine_running=False)
    assert stage.found == []
    stage.run(0.2)
    assert stage.found == [("H5", False)]


def test_h5_metal_and_battery() -> None:
    stage = Stage()
    stage.drive(heater_metal_c=109.9, heater_on=True)
    stage.drive(battery_charge=0.51)
    stage.drive(heater_on=False, battery_charge=0.3)  # empty, but not by the heater
    assert stage.found == []
    stage.drive(heater_on=True, battery_charge=0.49)
    stage.drive(battery_charge=0.9, heater_metal_c=110.1)
    assert [hazard.text for hazard in stage.monitors.found] == ["battery below its restart reserve", "heater metal"]


@pytest.mark.parametrize(
    ("run_on_s", "opened", "limit_s"),
    [
        (60, None, 121.0),
        (60, "brake_applied", 1.0),
        (60, "in_neutral", 1.0),
        (60, "bonnet_closed", 1.0),
        (0, None, 1.0),
    ],
)
def test_h6_engine_held_past_its_time_or_outside_its_interlocks(
    run_on_s: int, opened: str | None, limit_s: float
) -> None:
    stage = Stage(run_on_s=run_on_s)
    if opened is not None:
        setattr(stage.car.run_on, opened, False)
    stage.drive(5.0)
    stage.run(limit_s - 0.1, key_on=False, engine_running=True)
    assert stage.found == []
    stage.run(0.3)
    assert stage.found == [("H6", False)]


@pytest.mark.parametrize("cause", ["engine off", "board dead", "no command"])
def test_h7_supply_valve_on_oil_that_nobody_holds_there(cause: str) -> None:
    stage = Stage()
    stage.drive(30.0, supply_valve_pos=1.0, supply_pin=True, message=rows.SUPPLY_VALVE)
    if cause == "engine off":
        stage.car.engine_running = False
    elif cause == "board dead":
        stage.board.powered = stage.board.supply_pin = False
    else:
        stage.board.supply_pin = False
    stage.run(2.9)
    assert stage.found == []
    stage.run(0.3)
    assert stage.found[0] == ("H7", False)


def test_h7_oil_in_the_lines_that_the_record_has_forgotten() -> None:
    stage = Stage()
    stage.park(inside_oil=0.9)
    stage.remembers = False
    stage.park(inside_oil=0.16)
    stage.machine.write_wanted = True  # a write under way is not yet an answer
    stage.park(inside_oil=0.17)
    assert stage.found == []
    stage.machine.write_wanted = False
    stage.park()
    assert stage.found == [("H7", False)]


def test_h8_a_message_that_stays_untrue_past_its_telling_time() -> None:
    stage = Stage()
    stage.untrue = {rows.OIL_LOW, rows.DIESEL_LOW}
    stage.drive(9.9, message=rows.OIL_LOW)
    stage.drive(9.9, message=rows.DIESEL_LOW)  # another message, another claim
    stage.drive(0.1, message=rows.OIL_COLD)
    stage.drive(9.9, message=rows.DIESEL_LOW)
    stage.board.powered = False  # a dark display claims nothing
    stage.drive(60.0)
    assert stage.found == []
    stage.board.powered = True
    stage.drive(0.3)
    assert stage.found == [("H8", False)]


@pytest.mark.parametrize(
    ("valve", "fitted", "limit_s"),
    [("supply", 1, 3.0), ("return", 1, 3.0), ("supply", 0, 61.0), ("return", 0, 61.0)],
)
def test_h9_valve_away_from_its_command_and_nobody_told(valve: str, fitted: int, limit_s: float) -> None:
    told = rows.SUPPLY_VALVE if valve == "supply" else rows.RETURN_VALVE
    stage = Stage(fit_supply_contact=fitted, fit_return_contact=fitted)
    away = {f"{valve}_pin": True}
    stage.drive(limit_s - 0.1, **away)
    stage.drive(0.1, **{f"{valve}_valve_pos": 1.0})
    stage.drive(limit_s - 0.1, **{f"{valve}_valve_pos": 0.0})
    stage.drive(0.1, message=told)
    stage.drive(120.0, message=rows.STARVED)  # told once; something graver took the place on the display
    assert stage.found == []
    stage.drive(0.1, **{f"{valve}_valve_pos": 1.0})
    stage.drive(limit_s - 0.1, **{f"{valve}_valve_pos": 0.0})
    assert stage.found == []
    stage.drive(0.3)  # another time away, and this time nobody said so
    assert stage.found == [("H9", False)]


@pytest.mark.parametrize("tank", ["oil_level", "diesel_level"])
def test_h10_a_tank_above_97_percent(tank: str) -> None:
    stage = Stage()
    stage.park(**{tank: 0.969})
    assert stage.found == []
    stage.park(**{tank: 0.971})
    stage.park(**{tank: 0.98})
    assert stage.found == [("H10", False)]  # one event, its worst value kept
    assert stage.monitors.found[0].value == 0.98


def test_every_hazard_has_a_name_and_a_margin() -> None:
    assert list(NAMES) == [f"H{number}" for number in range(1, 11)]
    assert set(Stage().monitors.margins) == set(NAMES)


def _fault(kind: str, size: float | None = None, channel: str | None = None) -> Callable[[Loop], None]:
    return lambda drive: drive.injector.start(Fault(kind, channel, size), drive.car)


def _engine_held_by_a_welded_relay(drive: Loop) -> None:
    drive.injector.start(Fault("run_on_relay_welded"), drive.car)
    drive.car.run_on.brake_applied = drive.car.run_on.in_neutral = True
    drive.car.key_on = False


def _forget(drive: Loop) -> None:
    drive.board.flash_refuses = True
    clean = Record()
    clean.oil_in_lines = False
    drive.board.slots = [b"", clean.encode()]
    drive.car.key_on = False
    drive.car.engine_rpm = 0.0


def _relay_and_contact_welded(drive: Loop) -> None:
    drive.injector.start(Fault("heater_welded"), drive.car)
    drive.injector.start(Fault("engine_relay_welded"), drive.car)
    drive.car.key_on = False
    drive.car.engine_rpm = 0.0


def _fill_to_the_brim(drive: Loop) -> None:
    drive.car.oil_ul *= 0.98 / drive.car.oil_level


def _cut_the_board_off(drive: Loop) -> None:
    drive.injector.start(Fault("supply_stuck", size=1.0), drive.car)
    drive.car.key_on = False
    drive.car.engine_rpm = 0.0


@pytest.mark.parametrize(
    ("hazard", "profile", "cause", "seconds"),
    [
        ("H3", "three_sensors", _fault("return_stuck", 0.0), 90.0),
        ("H4", "full_guard", _fault("air_leak", 1.0), 60.0),
        ("H5", "full_guard", _relay_and_contact_welded, 10.0),
        ("H6", "full_guard", _engine_held_by_a_welded_relay, 5.0),
        ("H7", "full_guard", _cut_the_board_off, 10.0),
        ("H7", "full_guard", _forget, 20.0),
        ("H8", "full_guard", _fault("stuck", 0.01, "oil_level"), 30.0),
        ("H9", "three_sensors", _fault("return_stuck", 0.0), 90.0),
        ("H10", "full_guard", _fill_to_the_brim, 2.0),
    ],
)
def test_real_faults_in_the_real_car_are_judged(
    hazard: str, profile: str, cause: Callable[[Loop], None], seconds: float
) -> None:
    undisturbed = on_oil(profile)
    coast(undisturbed, seconds)
    assert undisturbed.monitors.found == []
    drive = on_oil(profile)
    cause(drive)
    coast(drive, seconds)
    assert hazard in {found.id for found in drive.monitors.found}
