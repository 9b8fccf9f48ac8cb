"""Every message has a claim that the car can bear out or give the lie to."""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import lru_cache
from types import SimpleNamespace
from typing import Any

import pytest

from changeover import messages, rows
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, PERMIT, TANK_RETURN, pump_entry_cdegc
from host_sim.car import Car
from host_sim.faults import Fault, Injector
from host_sim.profile import load_profile
from host_sim.signals import Cockpit
from host_sim.truth import Truth
from tests.drive.rig import coast, drive_of, idle, story

VALUES = load_profile("full_guard")
PER_CDEGC, PER_PERMILLE, PER_MV = 0.01, 0.001, 0.001


@lru_cache(maxsize=1)
def _fuel_table() -> Any:
    return Car(story(idle(1.0)).car_spec(), "tank_return", 20.0).fuel_table


class Stage:
    """What claims are compared with, of car and board; harmless to begin with: on diesel, all cold and clean."""

    def __init__(self, **settings: int) -> None:
        self.car: Any = SimpleNamespace(
            key_on=True, engine_running=True, supply_min_v=14.0, supply_valve_pos=0.0, return_valve_pos=0.0,
            suction_pa=0.0, air_leak=0.0, oil_level=0.6,
            diesel_level=0.6, filter_c=20.0, tank_outlet_c=20.0, coolant_feed_c=20.0, ambient_c=20.0, heater_dead=False,
            pump_inlet_c=20.0, path=SimpleNamespace(worst_inside_oil=0.0), fuel_table=_fuel_table(),
        )  # fmt: skip
        self.cockpit = Cockpit()
        self.board: Any = SimpleNamespace(
            car=self.car, values={**VALUES, **settings}, signals=SimpleNamespace(cockpit=self.cockpit),
            injector=Injector(1), flash_refuses=False, remembers_oil=lambda: False, watchdog_resets=0, boots=1, powered=True,
            ticks=0, settings_damaged=False, supply_pin=False, return_pin=False,
        )  # fmt: skip
        self.hangs = False
        self.truth = Truth(self.board)
        self.board.ticks = 1
        self.truth.observe(0.1)

    def live(self, seconds: float, **truth: Any) -> None:
        """Let this be true for so long."""
        for name, value in truth.items():
            if name == "inside_oil":
                self.car.path.worst_inside_oil = value
            elif name in ("supply_pin", "return_pin"):
                setattr(self.board, name, value)
            else:
                assert hasattr(self.car, name), name
                setattr(self.car, name, value)
        for _ in range(round(seconds / 0.1)):
            self.board.ticks += not self.hangs
            self.truth.observe(0.1)

    def fault(self, kind: str, channel: str | None = None, other: str | None = None) -> None:
        """A fault stands for a moment, and heals."""
        fault = Fault(kind, channel, other=other)
        self.board.injector.start(fault)
        self.live(0.1)
        self.board.injector.stop(fault)
        self.live(0.1)


def _car(seconds: float = 0.1, **truth: Any) -> Callable[[Stage], None]:
    return lambda stage: stage.live(seconds, **truth)


def _then(*steps: Callable[[Stage], None]) -> Callable[[Stage], None]:
    def play(stage: Stage) -> None:
        for step in steps:
            step(stage)

    return play


def _sensor(name: str) -> Callable[[Stage], None]:
    return lambda stage: stage.fault("open", name)


def _flag(where: str, name: str, value: Any) -> Callable[[Stage], None]:
    return lambda stage: setattr(getattr(stage, where) if where else stage, name, value)


def _oil(name: str, beside_k: float) -> float:
    return VALUES[name] * PER_CDEGC + beside_k


_open_and_shut = _then(_car(supply_valve_pos=1.0, supply_pin=True), _car(supply_valve_pos=0.0, supply_pin=False))
_NEXT_TRIP = _then(
    _car(
        key_on=False, engine_running=False, supply_valve_pos=0.0, supply_pin=False, return_pin=False,
        suction_pa=0.0, air_leak=0.0,
    ),
    _car(0.5),
    _car(key_on=True),
)  # fmt: skip
_ROOM = (
    VALUES["oil_full_permille"] * PER_PERMILLE
    - VALUES["path_ul"] / 1000 * VALUES["purge_factor_permille"] / VALUES["oil_tank_ml"] / 1000
)
_STARVED_PA = VALUES["suction_starved_pa"]
_BLOCK_V = VALUES["supply_block_mv"] * PER_MV

_just_warm = _car(filter_c=_oil("oil_entry_cdegc", -4.9), tank_outlet_c=_oil("oil_entry_cdegc", -4.9))
_just_cold = _car(filter_c=90.0, tank_outlet_c=_oil("oil_entry_cdegc", -5.1))

# id -> (what makes it true, what makes it untrue): just within and just beyond the claim's tolerance or time
CLAIMS: dict[int, tuple[Callable[[Stage], None], Callable[[Stage], None]]] = {
    rows.STARVED: (
        _car(supply_valve_pos=1.0, suction_pa=_STARVED_PA * 0.71),
        _then(
            _car(supply_valve_pos=1.0, suction_pa=_STARVED_PA),
            _NEXT_TRIP,
            _car(supply_valve_pos=1.0, suction_pa=_STARVED_PA * 0.69),
        ),
    ),
    rows.SUPPLY_LOW: (
        _car(supply_min_v=_BLOCK_V + 0.4),
        _then(_car(supply_min_v=_BLOCK_V), _car(8.5, supply_min_v=_BLOCK_V + 0.6)),
    ),
    rows.SUPPLY_VALVE: (_car(1.5, supply_valve_pos=1.0), _car(0.9, supply_valve_pos=1.0)),
    rows.RETURN_VALVE: (_car(1.5, return_pin=True), _then(_car(1.5, return_pin=True), _NEXT_TRIP)),
    rows.NO_ROOM: (_car(oil_level=_ROOM - 0.02), _car(oil_level=_ROOM - 0.04)),
    rows.COOLANT_SENSOR: (_sensor("coolant"), _sensor("oil")),
    rows.OIL_SENSOR: (_sensor("oil"), _then(_sensor("oil"), _NEXT_TRIP)),
    rows.SUCTION_SENSOR: (_sensor("ambient_pressure"), _sensor("ambient")),
    rows.OTHER_SENSOR: (_sensor("diesel_level"), _sensor("ambient")),
    rows.AIR: (
        _car(supply_valve_pos=1.0, air_leak=0.1),
        _then(_car(supply_valve_pos=1.0, air_leak=0.1), _NEXT_TRIP, _car(supply_valve_pos=1.0)),
    ),
    rows.OIL_HOT: (_car(filter_c=_oil("oil_hot_cdegc", -7.9)), _car(filter_c=_oil("oil_hot_cdegc", -8.1))),
    rows.RESTARTED: (
        _then(_flag("board", "watchdog_resets", 1), _car()),
        _then(_flag("board", "watchdog_resets", 1), _car(), _NEXT_TRIP),
    ),
    rows.OVERRUN: (
        _then(_flag("", "hangs", True), _car(0.4), _flag("", "hangs", False), _car(5.0)),
        _then(_flag("", "hangs", True), _car(0.2), _flag("", "hangs", False), _car()),
    ),
    rows.MEMORY: (
        _then(_flag("board", "flash_refuses", True), _car(), _flag("board", "flash_refuses", False), _car()),
        _then(_flag("board", "flash_refuses", True), _car(), _flag("board", "flash_refuses", False), _NEXT_TRIP),
    ),
    rows.ENGINE: (_then(_car(engine_running=False), _car(4.0, engine_running=True)), _car(6.0)),
    rows.OIL_LOW: (_car(oil_level=0.10), _car(oil_level=0.12)),
    rows.DIESEL_LOW: (_car(diesel_level=0.10), _car(diesel_level=0.12)),
    rows.LINES: (_car(inside_oil=0.05), _car()),
    rows.RESTRICTED: (
        _car(supply_valve_pos=1.0, suction_pa=VALUES["suction_block_pa"] * 0.71),
        _car(supply_valve_pos=1.0, suction_pa=VALUES["suction_block_pa"] * 0.69),
    ),
    rows.CHATTER: (
        _then(*[_open_and_shut] * (VALUES["reverts_max"] + 1)),
        _then(*[_open_and_shut] * VALUES["reverts_max"]),
    ),
    rows.HEATER: (_car(heater_dead=True), _car()),
    rows.OIL_COLD: (
        _car(filter_c=90.0, tank_outlet_c=_oil("oil_entry_cdegc", 4.9)),
        _car(filter_c=_oil("oil_entry_cdegc", 5.1), tank_outlet_c=_oil("oil_entry_cdegc", 5.1)),
    ),
    rows.COOLANT_COLD: (
        _car(coolant_feed_c=_oil("coolant_entry_cdegc", 4.9)),
        _car(coolant_feed_c=_oil("coolant_entry_cdegc", 5.1)),
    ),
    rows.DWELL: (
        _then(_open_and_shut, _car(VALUES["dwell_diesel_s"])),
        _then(_open_and_shut, _car(VALUES["dwell_diesel_s"] + 5.5)),
    ),
    messages.FILLING: (_car(supply_valve_pos=0.6), _car(supply_valve_pos=0.4)),
    messages.ON_OIL: (_car(supply_valve_pos=0.6), _car(supply_valve_pos=0.4)),
    messages.PURGING: (_car(), _car(engine_running=False)),
    messages.PURGE_WAITS: (_car(engine_running=False), _car(2.5)),
    messages.MAY_STOP: (_car(inside_oil=0.1), _car(inside_oil=0.9)),
    messages.OIL_READY: (_just_warm, _just_cold),
    messages.PARKED_CLEAN: (_car(inside_oil=0.0), _car(inside_oil=1.0)),
    messages.OIL_LEFT: (_car(inside_oil=0.05), _car()),
    messages.RUNNING_ON: (_car(key_on=False), _car()),
    messages.PURGE_CUT: (_car(inside_oil=0.05), _car()),
    messages.STANDING: (_car(filter_c=_oil("oil_restart_cdegc", -4.9)), _car(filter_c=_oil("oil_restart_cdegc", -5.1))),
    messages.PURGE_NOW: (_car(inside_oil=0.05), _car()),
}


def test_every_message_of_the_language_table_has_a_claim_and_a_telling_time() -> None:
    truth = Stage().truth
    for message in messages.ENGLISH:
        assert isinstance(truth.holds(message), bool), messages.ENGLISH[message]
        assert 0.0 < truth.telling_s(message) <= 60.0
    with pytest.raises(KeyError):
        truth.holds(max(messages.ENGLISH) + 1)


def test_no_claim_is_empty() -> None:
    of_their_own = {rows.SETTINGS, messages.ASK_AGAIN, messages.OIL_WARM}  # the tests below: they depend on settings
    assert set(CLAIMS) | of_their_own == set(messages.ENGLISH)
    assert not set(CLAIMS) & of_their_own


def test_settings_are_called_bad_when_the_validator_refuses_them_or_flash_has_lost_them() -> None:
    stage = Stage()
    assert not stage.truth.holds(rows.SETTINGS)
    stage.board.settings_damaged = True
    stage.live(1.0)
    assert not stage.truth.holds(rows.SETTINGS), "found out at the next boot"
    stage.board.boots += 1
    stage.live(0.1)
    assert stage.truth.holds(rows.SETTINGS)
    assert Stage(purge_factor_permille=1499).truth.holds(rows.SETTINGS)


def test_oil_is_cold_in_a_loop_whose_round_has_not_warmed() -> None:
    entry_c = pump_entry_cdegc({**VALUES, "layout": LOOPED_RETURN}) * PER_CDEGC
    warm = {"filter_c": 90.0, "tank_outlet_c": 90.0}
    for layout, inlet_c, true in ((LOOPED_RETURN, 4.9, True), (LOOPED_RETURN, 5.1, False), (TANK_RETURN, -30.0, False)):
        stage = Stage(layout=layout)
        stage.live(0.1, **warm, pump_inlet_c=entry_c + inlet_c)
        assert stage.truth.holds(rows.OIL_COLD) is true


def test_what_warm_oil_asks_of_the_driver_is_true_under_one_authority_and_selector() -> None:
    asked = (messages.OIL_READY, messages.ASK_AGAIN, messages.OIL_WARM)
    for authority, ready, true in (
        (ADVISE, False, messages.OIL_WARM), (ADVISE, True, messages.OIL_WARM), (PERMIT, False, messages.OIL_READY),
        (PERMIT, True, messages.ASK_AGAIN), (AUTOMATIC, False, messages.OIL_READY), (AUTOMATIC, True, None),
    ):  # fmt: skip
        stage = Stage(authority=authority)
        stage.cockpit.ready = ready
        _just_warm(stage)
        assert [message for message in asked if stage.truth.holds(message)] == ([true] if true else [])
        _just_cold(stage)
        assert not any(stage.truth.holds(message) for message in asked)


@pytest.mark.parametrize("message", CLAIMS, ids=lambda message: messages.ENGLISH[message][0])
def test_a_claim_is_borne_out_and_given_the_lie_to(message: int) -> None:
    true, untrue = CLAIMS[message]
    stage = Stage()
    true(stage)
    assert stage.truth.holds(message)
    stage = Stage()
    untrue(stage)
    assert not stage.truth.holds(message)


@pytest.mark.parametrize(
    ("kind", "channel", "other", "disturbed"),
    [
        ("ground_lifted", None, None, {rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR}),
        ("silent", None, None, {rows.SUCTION_SENSOR, rows.OTHER_SENSOR}),
        ("swapped", "coolant", "oil", {rows.COOLANT_SENSOR, rows.OIL_SENSOR}),
        ("open", "engine", None, set()),
    ],
)
def test_a_fault_bears_out_the_message_of_each_sensor_that_it_touches_and_no_other(
    kind: str, channel: str | None, other: str | None, disturbed: set[int]
) -> None:
    stage = Stage()
    stage.fault(kind, channel, other)
    sensors = (rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR, rows.OTHER_SENSOR)
    assert {row for row in sensors if stage.truth.holds(row)} == disturbed


def test_a_forced_exit_is_judged_at_the_exit_floor_not_at_the_entry() -> None:
    stage = Stage()
    between = VALUES["oil_exit_cdegc"] * PER_CDEGC + 5.1
    stage.live(
        0.1, filter_c=between, tank_outlet_c=between, coolant_feed_c=VALUES["coolant_exit_cdegc"] * PER_CDEGC + 5.1
    )
    assert stage.truth.holds(rows.OIL_COLD)
    assert stage.truth.holds(rows.COOLANT_COLD)
    assert not stage.truth.row_true(rows.OIL_COLD)
    assert not stage.truth.row_true(rows.COOLANT_COLD)
    assert stage.truth.row_true(rows.OIL_LOW) is stage.truth.holds(rows.OIL_LOW)


def test_a_new_board_says_oil_in_lines_until_its_first_purge_and_is_not_called_a_liar() -> None:
    stage = Stage()
    remembers = [True]
    stage.board.remembers_oil = lambda: remembers[0]
    truth = Truth(stage.board)
    truth.observe(0.1)
    assert truth.holds(messages.OIL_LEFT)
    remembers[0] = False
    truth.observe(0.1)
    remembers[0] = True
    truth.observe(0.1)
    assert not truth.holds(messages.OIL_LEFT)


def test_a_fork_judges_its_own_car() -> None:
    drive = drive_of(story(idle(1.0)))
    drive.run(10.0)
    twin = drive.fork()
    twin.car.heater_dead = True
    twin.injector.start(Fault("open", "oil"))
    coast(twin, 0.2)
    assert twin.truth.holds(rows.HEATER)
    assert twin.truth.holds(rows.OIL_SENSOR)
    assert not drive.truth.holds(rows.HEATER)
    assert not drive.truth.holds(rows.OIL_SENSOR)
    assert copy.deepcopy(twin.truth).holds(rows.HEATER)
