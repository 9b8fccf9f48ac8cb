"""Knock-outs: with one interlock row taken out its hazard happens in a scene in which nothing happens with the row in place.

A row that others cover is tried with those taken out in both runs. What no scene can show stands in SPARED with the reason; a
row there whose hazard can be made to happen fails and belongs in SCENES. Then the judges themselves: each monitor made deaf,
and made jumpy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import pytest

from changeover import rows, states
from changeover.conditions import Conditions
from changeover.interlocks import Interlocks
from host_sim import hazards as judges
from host_sim.car_spec import Quantity
from host_sim.faults import Fault
from host_sim.hazards import NAMES, THICK_RESTART_MM2_S, Monitors
from host_sim.loop import Loop
from host_sim.profile import load_profile
from tests.drive import test_hazards
from tests.drive.rig import coast, drive_of, idle, on_oil, story

ROAD, FAST, IDLE, STOPPED = (2200.0, 0.35, 70.0), (3000.0, 0.5, 100.0), (850.0, 0.0, 0.0), (0.0, 0.0, 0.0)
SHORT_PURGE = ("purge_factor_permille=1500", "dwell_diesel_s=10", "reverts_max=1")


def take_out(monkeypatch: pytest.MonkeyPatch, *out: int) -> None:
    """These rows neither block nor force any more; the law itself stays as it is."""
    step = Conditions.step
    keep = ~sum(1 << row for row in out)

    def without(self: Conditions, dt_ms: int) -> None:
        step(self, dt_ms)
        self.block &= keep
        self.force &= keep

    monkeypatch.setattr(Conditions, "step", without)


# Hands.


def work(loop: Loop, rpm: float, load: float, kmh: float) -> None:
    loop.car.engine_rpm, loop.car.engine_load, loop.car.speed_kmh = rpm, load, kmh


def inject(loop: Loop, kind: str, size: float | None = None, channel: str | None = None) -> None:
    loop.injector.start(Fault(kind, channel, size), loop.car, loop.board)


def set_off(loop: Loop, ready: bool = True, road: tuple[float, float, float] = ROAD) -> Loop:
    """Key, starter, road; the selector last, so that it also asks under `permit`."""
    loop.cockpit.ready = False
    loop.car.key_on = True
    coast(loop, 0.5)
    loop.car.cranking = True
    work(loop, 250.0, 0.0, 0.0)
    coast(loop, 1.0)
    loop.car.cranking = False
    work(loop, *road)
    coast(loop, 4.0)
    loop.cockpit.ready = ready
    return loop


def park(loop: Loop, seconds: float = 3.0) -> None:
    work(loop, *STOPPED)
    loop.car.key_on = False
    coast(loop, seconds)


def fill(loop: Loop, tank: str, level: float) -> None:
    car = loop.car
    setattr(car, tank + "_ul", getattr(car, tank + "_ul") * level / getattr(car, tank + "_level"))


def remember_suction(loop: Loop, low_pa: int) -> None:
    """Both slots of the flash hold the least suction of an earlier trip."""
    loop.board.law.record.suction_low_pa = low_pa
    for _ in range(2):
        data = loop.board.law.record.encode()
        loop.board.slots[loop.board.law.record.slot()] = data


# Cars.


def hot() -> Loop:
    """Warm all through, parked, lines on diesel."""
    return drive_of(story(idle(1.0)), warm=True).fork()


def half_warm(minutes: float) -> Loop:
    """Driven on diesel from cold for so long, then parked: coolant is ahead of the oil."""
    return _half_warm(minutes).fork()


@lru_cache(maxsize=4)
def _half_warm(minutes: float) -> Loop:
    loop = drive_of(story(idle(1.0), ambient_c=-15.0))
    loop.car.key_on = True
    work(loop, *ROAD)
    for _ in range(round(600.0 * minutes)):
        loop.car.advance(0.1)
    loop.car.key_on = False
    work(loop, *STOPPED)
    return loop


def electric_filter() -> Loop:
    """Coolant warm, oil cold, and a filter that hardly anything but its heater warms."""
    scenario = story(idle(1.0), ambient_c=-15.0)
    exchange = Quantity(value=0.1, unit="W/K", source="invented: no coolant in its housing")
    loop = drive_of(scenario.model_copy(update={"car_overrides": {"oil_line.filter_exchange_w_k": exchange}}))
    loop.car.key_on = True
    work(loop, *ROAD)
    for _ in range(4200):
        loop.car.advance(0.1)
    loop.car.key_on = False
    work(loop, *STOPPED)
    return loop


# Scenes: each a drive of a minute or so.


def bad_settings() -> Loop:
    values = load_profile("full_guard")
    values.update(purge_factor_permille=500, flow_measured_ul_s=27_000)
    loop = set_off(Loop(hot().car, values, 1))
    coast(loop, 25.0)
    loop.cockpit.ready = False
    coast(loop, 10.0)
    park(loop)
    return loop


def broken_on_oil(kind: str, size: float | None = None, *profile: str, seconds: float = 15.0) -> Loop:
    loop = on_oil(*profile)
    inject(loop, kind, size)
    coast(loop, seconds)
    return loop


def brimful_with_a_purge_to_do() -> Loop:
    loop = on_oil()
    park(loop)
    fill(loop, "oil", 0.96)
    set_off(loop, ready=False)
    coast(loop, 60.0)
    return loop


def half_warm_start(minutes: float, sensor: str | None = None) -> Loop:
    loop = half_warm(minutes)
    if sensor is not None:
        inject(loop, "open", channel=sensor)
    set_off(loop)
    coast(loop, 20.0)
    return loop


def suction_lost_then_filter_plugged() -> Loop:
    loop = on_oil()
    inject(loop, "short", channel="suction")
    coast(loop, 2.0)
    inject(loop, "filter_clogged", 40.0)
    coast(loop, 15.0)
    return loop


def nearly_empty(tank: str, level: float, sensor: str | None = None) -> Loop:
    loop = hot()
    fill(loop, tank, level)
    if sensor is not None:
        inject(loop, "open", channel=sensor)
    set_off(loop, road=FAST)
    coast(loop, 25.0)
    loop.cockpit.ready = tank == "oil"
    coast(loop, 60.0)
    return loop


def air_leak_at_idle() -> Loop:
    loop = hot()
    loop.car.filter_litres = 900.0
    remember_suction(loop, 9000)
    set_off(loop, road=IDLE)
    coast(loop, 60.0)
    inject(loop, "air_leak", 0.7)
    coast(loop, 8.0)
    return loop


def flash_refuses() -> Loop:
    loop = hot()
    inject(loop, "flash_refuses")
    set_off(loop)
    coast(loop, 20.0)
    park(loop)
    return loop


def stalled_on_oil() -> Loop:
    loop = on_oil()
    work(loop, *STOPPED)
    coast(loop, 10.0)
    return loop


def clogged_in_the_last_trip() -> Loop:
    loop = on_oil("full_guard", *SHORT_PURGE)
    loop.board.law.restriction.changed()
    loop.car.filter_litres = 1700.0
    coast(loop, 90.0)
    park(loop)
    set_off(loop, ready=False)
    coast(loop, 75.0)
    inject(loop, "filter_clogged", 3.0)
    loop.cockpit.ready = True
    coast(loop, 30.0)
    return loop


@dataclass(frozen=True)
class Scene:
    """`fires`: the hazard that happens without the row. `covered`: rows that are out in both runs. `run_times`: so is the
    machine's rule that no valve is energised before the engine has run."""

    row: int
    fires: str
    run: Callable[[], Loop]
    covered: tuple[int, ...] = ()
    run_times: bool = False
    instead: str = ""  # why another hazard than the table's


SCENES = (
    Scene(rows.SETTINGS, "H7", bad_settings),
    Scene(rows.STARVED, "H4", lambda: broken_on_oil("filter_clogged", 40.0)),
    Scene(
        rows.SUPPLY_LOW, "H9", lambda: broken_on_oil("supply_sag", 4.5, "three_sensors", "fit_supply=1", seconds=65.0),
        instead="a valve that a low supply drops falls to diesel: nobody told, never oil without command",
    ),
    Scene(rows.SUPPLY_VALVE, "H9", lambda: broken_on_oil("supply_stuck", 0.0)),
    Scene(rows.RETURN_VALVE, "H9", lambda: broken_on_oil("return_stuck", 0.0)),
    Scene(rows.NO_ROOM, "H10", brimful_with_a_purge_to_do),
    Scene(rows.COOLANT_SENSOR, "H1", lambda: half_warm_start(5.0, "coolant"), covered=(rows.OIL_COLD,)),
    Scene(rows.OIL_SENSOR, "H1", lambda: half_warm_start(6.0, "oil")),
    Scene(rows.SUCTION_SENSOR, "H4", suction_lost_then_filter_plugged),
    Scene(
        rows.OTHER_SENSOR, "H4", lambda: nearly_empty("oil", 0.0205, "oil_level"),
        instead="one row for five sensors; without the tank's thermistor the filter's own threshold holds H1 off",
    ),
    Scene(rows.AIR, "H4", air_leak_at_idle),
    Scene(rows.MEMORY, "H7", flash_refuses),
    Scene(
        rows.ENGINE, "H7", stalled_on_oil, run_times=True,
        instead="fuel that runs out of a torn line after a crash is not in the simulated car",
    ),
    Scene(rows.OIL_LOW, "H4", lambda: nearly_empty("oil", 0.0205)),
    Scene(
        rows.DIESEL_LOW, "H4", lambda: nearly_empty("diesel", 0.03),
        instead="the engine starves in its purge; that oil is then left is told, so H2 does not count",
    ),
    Scene(rows.RESTRICTED, "H4", clogged_in_the_last_trip, covered=(rows.STARVED,)),
    Scene(rows.OIL_COLD, "H1", lambda: half_warm_start(6.0)),
    Scene(rows.COOLANT_COLD, "H1", lambda: half_warm_start(4.5), covered=(rows.OIL_COLD,)),
)  # fmt: skip


def hazards(loop: Loop) -> set[str]:
    return {hazard.id for hazard in loop.monitors.found}


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: rows.TABLE[scene.row][rows.NAME])
def test_without_its_row_the_hazard_happens(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    on_oil()  # made with the whole law
    if scene.run_times:
        monkeypatch.setattr(states, "SUPPLY_AFTER_MS", 0)
        monkeypatch.setattr(states, "RETURN_AFTER_MS", 0)
    with monkeypatch.context() as patch:
        take_out(patch, *scene.covered)
        assert hazards(scene.run()) == set()
    take_out(monkeypatch, scene.row, *scene.covered)
    found = hazards(scene.run())
    covered = [rows.TABLE[row][rows.NAME] for row in scene.covered] + ["run times"] * scene.run_times
    name, named = rows.TABLE[scene.row][rows.NAME], rows.TABLE[scene.row][rows.HAZARD]
    fired = " ".join(sorted(found))
    print(f"{name:34} against {named:4} fires {fired:6} covered by: {', '.join(covered) or '-':14} {scene.instead}")
    assert scene.fires in found
    assert (scene.fires == named) != bool(scene.instead)


# Rows whose hazard nothing brings about, each in a scene in which the row acts.


def hot_oil() -> Loop:
    loop = on_oil()
    loop.car.ambient_c = 45.0
    work(loop, 3000.0, 0.6, 110.0)
    coast(loop, 240.0)
    return loop


def hangs_again_and_again() -> Loop:
    loop = on_oil("full_guard", *SHORT_PURGE)
    for _ in range(2):
        inject(loop, "hang", 10.0)
        coast(loop, 100.0)
    return loop


def stalls_again_and_again() -> Loop:
    loop = on_oil("full_guard", *SHORT_PURGE)
    inject(loop, "stalls", 0.4)
    coast(loop, 60.0)
    return loop


def parked_with_oil_and_started_again() -> Loop:
    loop = on_oil("full_guard", *SHORT_PURGE)
    park(loop, 40.0)
    set_off(loop)
    coast(loop, 100.0)
    return loop


def to_and_fro() -> Loop:
    loop = on_oil("full_guard", *SHORT_PURGE)
    for _ in range(3):
        inject(loop, "supply_sag", 9.0)
        coast(loop, 0.5)
        loop.injector.stop(Fault("supply_sag", size=9.0), loop.car)
        coast(loop, 100.0)
    return loop


def heater_dead() -> Loop:
    loop = electric_filter()
    inject(loop, "heater_dead")
    set_off(loop, ready=False)
    coast(loop, 315.0)
    return loop


def back_to_oil_at_once() -> Loop:
    loop = on_oil("full_guard", "purge_factor_permille=1500")
    loop.cockpit.ready = False
    coast(loop, 3.0)
    loop.cockpit.ready = True
    coast(loop, 90.0)
    return loop


SPARED: dict[int, tuple[Callable[[], Loop], str]] = {
    rows.OIL_HOT: (hot_oil, "guards oil and hoses, which age; the heater has been off for 20 K by then"),
    rows.RESTARTED: (hangs_again_and_again, "each hang leaves the pins for the watchdog's 2 s only, below the limit of 3 s"),
    rows.OVERRUN: (stalls_again_and_again, "a late tick is counted at its length; guards what a sick board may do next"),
    rows.LINES: (parked_with_oil_and_started_again, "the machine purges first by its own rule; the row says why it waits"),
    rows.CHATTER: (to_and_fro, "guards valves and diesel against wear"),
    rows.HEATER: (heater_dead, "a heater that does not heat harms nothing; the row tells"),
    rows.DWELL: (back_to_oil_at_once, "guards valves and diesel against wear"),
}  # fmt: skip


@pytest.mark.parametrize("row", SPARED, ids=lambda row: rows.TABLE[row][rows.NAME])
def test_a_row_that_is_spared_acts_and_nothing_happens_without_it(row: int, monkeypatch: pytest.MonkeyPatch) -> None:
    on_oil()
    scene, reason = SPARED[row]
    acted = 0
    step = Interlocks.step

    def watched(self: Interlocks, block: int, force: int, dt_ms: int) -> None:
        nonlocal acted
        step(self, block, force, dt_ms)
        acted |= self.blocked | self.forced

    monkeypatch.setattr(Interlocks, "step", watched)
    assert hazards(scene()) == set()
    assert acted >> row & 1, "the scene is not about this row"
    acted = 0
    take_out(monkeypatch, row)
    loop = scene()
    assert not acted >> row & 1
    assert hazards(loop) == set(), "the row can be shown to matter: give it a scene in SCENES"
    print(f"{rows.TABLE[row][rows.NAME]:34} against {rows.TABLE[row][rows.HAZARD]:4} nothing fires: {reason}")


def test_every_row_has_a_scene_or_a_reason() -> None:
    assert sorted([scene.row for scene in SCENES] + list(SPARED)) == list(range(len(rows.TABLE)))


# The judges.


def sabotage(monkeypatch: pytest.MonkeyPatch, hazard: str, share: float) -> None:
    """One monitor's limits are worth `share` of what they are; infinite: it is deaf."""
    judge = Monitors._judge

    def judged(self: Monitors, of: str, t_s: float, value: float, limit: float, *rest: Any) -> None:
        judge(self, of, t_s, value, limit * share if of == hazard else limit, *rest)

    monkeypatch.setattr(Monitors, "_judge", judged)
    if share < 1.0:  # this limit is asked before it is judged
        monkeypatch.setattr(judges, "THICK_RESTART_MM2_S", THICK_RESTART_MM2_S * share)


def thick_oil(monkeypatch: pytest.MonkeyPatch) -> Loop:
    take_out(monkeypatch, rows.OIL_COLD)
    return half_warm_start(6.0)


def forgotten_until_cold(monkeypatch: pytest.MonkeyPatch) -> Loop:
    """The record lies: nobody is warned at key-off, and the car stands a night."""
    loop = on_oil()
    test_hazards._forget(loop)
    monkeypatch.setattr(type(loop.board.law.machine), "clean", lambda machine: None)
    loop.board.law.machine.lines_dirty = False
    coast(loop, 3.0)
    loop.car.ambient_c = -15.0
    loop.run_to(loop.now_ms + 12 * 3_600_000)
    set_off(loop)
    return loop


REAL = {"H1": thick_oil, "H2": forgotten_until_cold}
FAULTS = next(mark for mark in test_hazards.test_real_faults_in_the_real_car_are_judged.pytestmark).args[1]


@pytest.mark.parametrize("hazard", REAL)
def test_a_deaf_monitor_is_missed(hazard: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert hazard in hazards(REAL[hazard](monkeypatch))
    sabotage(monkeypatch, hazard, float("inf"))
    assert hazard not in hazards(REAL[hazard](monkeypatch))


@pytest.mark.parametrize("case", FAULTS, ids=lambda case: f"{case[0]} {case[1]}")
def test_a_deaf_monitor_fails_the_test_of_real_faults(case: tuple[Any, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    sabotage(monkeypatch, case[0], float("inf"))
    with pytest.raises(AssertionError):
        test_hazards.test_real_faults_in_the_real_car_are_judged(*case)


# The near misses of the monitors stand where each is tried at its limit.
AT_THE_LIMIT: tuple[tuple[str, Callable[..., None], tuple[Any, ...]], ...] = (
    ("H1", test_hazards.test_h1_counts_only_what_is_thicker_than_20_mm2_s_and_more_than_50_ml, ()),
    ("H2", test_hazards.test_h2_is_told_by_a_warning_at_the_key_off_before_it, (rows.LINES,)),
    ("H3", test_hazards.test_h3_two_percent_of_the_tank, ()),
    ("H3", test_hazards.test_h3_one_line_volume_in_each_loss_of_power, ()),
    ("H4", test_hazards.test_h4_suction_above_40_kpa_for_three_seconds, ()),
    ("H4", test_hazards.test_h4_air_at_the_pump_for_two_seconds, ()),
    ("H5", test_hazards.test_h5_heater_on_alone_for_two_seconds, (True,)),
    ("H5", test_hazards.test_h5_metal_and_battery, ()),
    ("H6", test_hazards.test_h6_engine_held_past_its_time_or_outside_its_interlocks, (60, None, 121.0)),
    ("H7", test_hazards.test_h7_supply_valve_on_oil_that_nobody_holds_there, ("no command",)),
    ("H7", test_hazards.test_h7_oil_in_the_lines_that_the_record_has_forgotten, ()),
    ("H8", test_hazards.test_h8_a_message_that_stays_untrue_past_its_telling_time, ()),
    ("H9", test_hazards.test_h9_valve_away_from_its_command_and_nobody_told, ("supply", 1, 3.0)),
    ("H10", test_hazards.test_h10_a_tank_above_97_percent, ("oil_level",)),
)  # fmt: skip


@pytest.mark.parametrize("share", [float("inf"), 0.8], ids=["deaf", "jumpy"])
@pytest.mark.parametrize(
    ("hazard", "test", "arguments"), AT_THE_LIMIT, ids=lambda part: getattr(part, "__name__", None)
)
def test_a_monitor_that_is_not_true_to_its_limit_fails_its_test(
    hazard: str, test: Callable[..., None], arguments: tuple[Any, ...], share: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    test(*arguments)
    sabotage(monkeypatch, hazard, share)
    with pytest.raises((AssertionError, IndexError)):  # IndexError: the first of what was found, where nothing was
        test(*arguments)


def test_every_monitor_is_tried_deaf_and_jumpy() -> None:
    assert {hazard for hazard, _, _ in AT_THE_LIMIT} == set(NAMES)
    assert {case[0] for case in FAULTS} | set(REAL) == set(NAMES)
