"""What the driver does when, on a stand-in for the car that starts when it is cranked."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import simpy

from host_sim.actors import MONITORS, PLANT, pause
from host_sim.driver import Driver, RoadLoad, TraceDriver, load_driver
from host_sim.errors import InputError
from host_sim.run_on import RunOnChain
from host_sim.scenario import SCENARIOS, Scenario, load_scenario, names_in
from host_sim.signals import Signals
from host_sim.traces import read_trace
from host_sim.weather import weather_process


class StandIn(SimpleNamespace):
    """Runs once it has been cranked, until the key is off or `stall` is set."""

    def impose_coolant_c(self, t_c: float) -> None:
        self.imposed.append(t_c)

    def tick(self) -> None:
        if not self.run_on.feeds(self.key_on, 0.1):
            self.engine_rpm = 0.0
        if not self.key_on or self.stall or self.engine_rpm == 0.0:
            self.engine_running = False
        elif self.cranking:
            self.cranked = True
        elif self.cranked:
            self.engine_running = True
        self.cranked = self.cranked and self.key_on


def stand_in() -> Any:
    return StandIn(
        key_on=False,
        cranking=False,
        engine_rpm=0.0,
        engine_load=0.0,
        speed_kmh=0.0,
        cabin_heater=0.0,
        ambient_c=0.0,
        engine_running=False,
        cranked=False,
        stall=False,
        imposed=[],
        run_on=RunOnChain(),
    )


class Run:
    """One drive recorded tick by tick: rows of (ms, key, cranking, running, rpm, load, speed, button, ready)."""

    def __init__(
        self, make: Callable[[simpy.Environment, Any, Signals], Any], watch: Callable[[Any, int], None] | None = None
    ) -> None:
        self.env = simpy.Environment()
        self.car = stand_in()
        self.signals = Signals(1)
        self.rows: list[tuple] = []
        self.driver = make(self.env, self.car, self.signals)

        def plant():
            while True:
                self.car.tick()
                yield pause(self.env, 100, PLANT)

        def monitor():
            while True:
                car, cockpit = self.car, self.signals.cockpit
                if watch is not None:
                    watch(car, int(self.env.now))
                self.rows.append(
                    (
                        int(self.env.now),
                        car.key_on,
                        car.cranking,
                        car.engine_running,
                        car.engine_rpm,
                        car.engine_load,
                        car.speed_kmh,
                        cockpit.button,
                        cockpit.ready,
                    )
                )
                yield pause(self.env, 100, MONITORS)

        drive = self.env.process(self.driver.run())
        self.env.process(plant())
        self.env.process(monitor())
        self.env.run(drive)

    def span_s(self, column: int) -> float:
        return 0.1 * sum(bool(row[column]) for row in self.rows)

    def noted(self, text: str) -> list[float]:
        return [0.001 * ms for ms, note in self.driver.notes if note == text]


def by(scenario: Scenario, done: Callable[[], bool] = lambda: False, seed: int | None = None):
    return lambda env, car, signals: Driver(env, car, signals.cockpit, scenario, done, seed)


def story(**changes: Any) -> Scenario:
    data = load_scenario("forgotten_purge").model_dump() | changes
    return Scenario.model_validate(data)


READY = {"do": "selector", "position": "READY"}


@pytest.mark.parametrize("name", names_in(SCENARIOS))
def test_every_scenario_is_driven_to_its_end_with_the_key_off(name):
    scenario = load_scenario(name)
    run = Run(by(scenario, lambda: True))
    minutes = sum(getattr(step, "minutes", 0.0) for step in scenario.trip)
    assert run.env.now / 60_000 <= minutes + len(scenario.trip)
    assert not run.car.key_on
    assert run.car.engine_rpm == run.car.speed_kmh == 0.0
    assert len(run.noted("cranks")) == len(run.noted("key on")) == len(run.noted("key off")) > 0
    assert all(0.0 <= row[5] <= 1.0 for row in run.rows)
    assert all(row[1] for row in run.rows if row[4] > 0.0), "the engine turned without the key"


def test_cold_start_is_key_then_glow_then_crank_then_idle():
    run = Run(by(story(trip=[READY, {"do": "drive", "minutes": 2, "pattern": "idle"}])))
    key = next(row[0] for row in run.rows if row[1])
    crank = next(row[0] for row in run.rows if row[2])
    running = next(row[0] for row in run.rows if row[3])
    assert crank - key == 4000
    assert run.span_s(2) == pytest.approx(0.7)
    assert running - crank == 700
    assert {row[4] for row in run.rows if row[3]} == {850.0}
    assert run.span_s(3) == pytest.approx(120, abs=2)
    assert run.rows[-1][8]


def test_one_seed_drives_one_drive_and_another_seed_another():
    trip = [{"do": "drive", "minutes": 10, "pattern": "town", "speed_kmh": 45}]
    first, again, other = (Run(by(story(trip=trip), seed=seed)).rows for seed in (1, 1, 2))
    assert first == again != other


@pytest.mark.parametrize(("pattern", "aim", "halts"), [("town", 45, True), ("road", 85, False), ("hill", 45, False)])
def test_patterns_keep_to_their_speed_and_end_at_a_halt(pattern, aim, halts):
    trip = [{"do": "drive", "minutes": 30, "pattern": pattern, "speed_kmh": aim}]
    speeds = [row[6] for row in Run(by(story(trip=trip))).rows if row[3]][::10]
    assert 0.7 * aim < max(speeds) < 1.25 * aim
    moving = [speed for speed in speeds if speed > 1]
    assert 0.65 * aim < statistics.fmean(moving) < 1.05 * aim
    assert any(speed < 1 for speed in speeds[60:-60]) == halts
    assert speeds[-1] < 5
    # A calm driver: 0.9 m/s2 up, 1.2 m/s2 down (the driver's own file).
    steps = [b - a for a, b in pairwise(speeds)]
    assert max(steps) <= 3.6 * 0.9 + 1e-9
    assert min(steps) >= -3.6 * 1.2 - 1e-9


def test_grade_loads_the_engine_uphill_and_frees_it_downhill():
    loads = {}
    for grade in (-6, 0, 6):
        trip = [{"do": "drive", "minutes": 20, "pattern": "hill", "speed_kmh": 50, "grade_percent": grade}]
        loads[grade] = statistics.fmean(row[5] for row in Run(by(story(trip=trip))).rows if row[6] > 20)
    assert loads[-6] < 0.05 < loads[0] < loads[6] / 2


def test_road_load_is_that_of_the_driving_resistances():
    # By hand, 90 km/h = 25 m/s, level: rolling 1450*9.81*0.012 = 170.7 N, air 0.5*1.2*0.68*625 = 255 N: 10.64 kW
    # in all; fifth gear, 44 km/h at 1000/min, gives 2045.5/min = 214.2 rad/s, so 49.7 N m of 200 N m.
    rpm, load = RoadLoad(load_driver("calm"), 850.0, 200.0).at(90.0, 0.0, 0.0)
    assert rpm == pytest.approx(2045.5, abs=0.1)
    assert load == pytest.approx(49.7 / 200, rel=0.002)


def test_driver_who_purges_holds_the_button_and_turns_the_key_when_told():
    told_at_ms = 700_000
    trip = [
        {"do": "drive", "minutes": 10, "pattern": "road", "speed_kmh": 80},
        {"do": "stop", "minutes": 5, "purge": "idle"},
    ]

    def make(env, car, signals):
        return Driver(env, car, signals.cockpit, story(trip=trip), lambda: env.now >= told_at_ms)

    run = Run(make)
    (pressed,) = run.noted("long press")
    assert run.span_s(7) == pytest.approx(2.5, abs=0.15)
    assert len(run.noted("was told that the purge is complete")) == 1
    assert told_at_ms / 1000 <= run.noted("key off")[0] <= told_at_ms / 1000 + 3
    assert all(row[3] and row[6] < 5 for row in run.rows if pressed * 1000 + 3000 < row[0] < told_at_ms)


def test_driver_who_is_never_told_goes_after_his_patience():
    trip = [
        {"do": "drive", "minutes": 1, "pattern": "idle"},
        {"do": "stop", "minutes": 5, "purge": "idle", "purge_wait_min": 3},
    ]
    run = Run(by(story(trip=trip)))
    assert run.noted("key off")[0] - run.noted("long press")[0] == pytest.approx(182.5, abs=2)
    assert len(run.noted("has waited long enough for the purge")) == 1


def test_purge_while_driving_keeps_the_car_moving_and_ends_at_a_halt():
    trip = [
        {"do": "drive", "minutes": 1, "pattern": "idle"},
        {"do": "stop", "minutes": 5, "purge": "driving", "purge_wait_min": 8},
    ]
    run = Run(by(story(trip=trip)))
    start, end = (1000 * run.noted(text)[0] for text in ("long press", "key off"))
    speeds = [row[6] for row in run.rows if start < row[0] < end]
    assert max(speeds) > 25
    assert speeds[-1] < 5


def test_driver_who_forgets_presses_nothing():
    run = Run(by(load_scenario("forgotten_purge"), lambda: True))
    first_off = run.noted("key off")[0]
    assert run.noted("long press")[0] > first_off + 3.9 * 3600


def test_stalled_engine_is_started_again_and_given_up_after_three_more_attempts():
    trip = [{"do": "drive", "minutes": 10, "pattern": "road", "speed_kmh": 60}]

    def stalls(until_ms: int):
        def watch(car: Any, now_ms: int) -> None:
            car.stall = 120_000 <= now_ms < until_ms

        return watch

    run = Run(by(story(trip=trip)), stalls(125_000))
    assert len(run.noted("cranks")) == 2
    assert run.rows[-50][3]
    run = Run(by(story(trip=trip)), stalls(10**9))
    assert len(run.noted("tries to start again")) == 3
    assert len(run.noted("gives up: the engine does not run")) == 1


def test_soak_and_buttons_take_their_place_in_the_trip():
    trip = [
        READY,
        {"do": "drive", "minutes": 1, "pattern": "idle"},
        {"do": "press", "press": "short"},
        {"do": "stop", "minutes": 1},
    ]
    run = Run(by(story(trip=trip, start={"soak_h": 2.0})))
    assert run.noted("key on") == [7200.0]
    assert run.span_s(7) == pytest.approx(0.3, abs=0.11)
    assert run.noted("key off")[0] > run.noted("short press")[0]


def write_log(tmp_path: Path, *lines: str) -> Path:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["t_s,engine_rpm,speed_kmh,engine_load_pct,coolant_c,supply_v", *lines]))
    return path


def test_logged_trace_drives_the_engine_side_as_it_stands(tmp_path):
    log = write_log(
        tmp_path,
        "100,0,0,0,20,12.4",
        "103,0,0,0,20,11.0",
        "104,1500,0,30,21,14.1",
        "110,1600,50,80,25,14.0",
        "112,900,0,20,26,13.9",
        "115,900,0,20,26,13.9",
    )
    trace, done = read_trace(log), {"purge": False}

    def make(env, car, signals):
        return TraceDriver(env, car, signals, trace, load_driver("calm"), lambda: done["purge"], coolant_from_log=True)

    run = Run(make)
    seen = {row[0]: row for row in run.rows}
    assert seen[100][1]
    assert [ms for ms, row in seen.items() if row[2]] == list(range(3300, 4000, 100))
    assert seen[4000][4:7] == seen[9900][4:7] == (1500.0, pytest.approx(0.3), 0.0)
    assert seen[10000][4:7] == (1600.0, pytest.approx(0.8), 50.0)
    assert seen[12000][4:7] == (900.0, pytest.approx(0.2), 0.0)
    assert not run.car.key_on
    assert run.noted("key off") == [15.0]
    assert run.signals.logged_supply_v == 13.9
    assert run.car.imposed == [20, 20, 21, 25, 26, 26]
    assert all(row[8] for row in run.rows)


def test_after_the_log_the_driver_purges_if_he_is_one_who_does(tmp_path):
    trace = read_trace(write_log(tmp_path, "0,0,0,0,20,12", "2,900,0,20,20,14", "60,900,0,20,30,14"))

    def make(env, car, signals):
        return TraceDriver(env, car, signals, trace, load_driver("calm"), lambda: env.now > 100_000, purge_at_end_min=5)

    run = Run(make)
    assert run.noted("long press") == [60.0]
    assert run.noted("key off")[0] == pytest.approx(100, abs=2)
    assert run.car.imposed == []


def test_coolant_that_is_not_in_the_log_cannot_be_taken_from_it(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t_s,engine_rpm,speed_kmh,engine_load_pct\n0,800,0,20\n")
    with pytest.raises(InputError, match="coolant_c"):
        TraceDriver(
            simpy.Environment(),
            stand_in(),
            Signals(1),
            read_trace(path),
            load_driver("calm"),
            lambda: True,
            coolant_from_log=True,
        )


def test_weather_sets_the_cars_ambient_through_the_day():
    env, car = simpy.Environment(), stand_in()
    weather = load_scenario("summer_commute").weather
    env.process(weather_process(env, weather, car))
    seen = []
    for hour in range(1, 25):
        env.run(until=3_600_000 * hour)
        seen.append(car.ambient_c)
    half = weather.swing_k.value / 2
    assert max(seen) == pytest.approx(weather.ambient_c.value + half, abs=0.2)
    assert min(seen) == pytest.approx(weather.ambient_c.value - half, abs=0.2)
