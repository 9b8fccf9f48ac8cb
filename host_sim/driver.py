"""Who sits at the wheel: an actor that turns the key, presses the button and works the engine, by trip or trace."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import simpy

from host_sim.actors import pause
from host_sim.car_spec import Quantity
from host_sim.scenario import DRIVERS, Drive, Press, Scenario, Selector, Stop, Table, file_of, load_table, quantity
from host_sim.signals import Cockpit, Signals
from host_sim.thermal import COIL, COOLANT, ENGINE, FEED, FILTER, HEATER, HOSE, PUMP
from host_sim.traces import Trace

if TYPE_CHECKING:
    from simpy.events import Event, ProcessGenerator

    from host_sim.car import Car

STEP_MS = 1000
RESTARTS = 3  # attempts after a stall before the driver gives up and waits for the tow truck
RETRY_MS = 10_000
PATIENCE_S = 150  # longer than any engine may be held running with the key off
AIR_KG_M3 = 1.2
GRAVITY = 9.81
GEARS = 5
ROUND_THE_BLOCK_KMH = 40.0
FULL_PULL_KMH = 50.0  # above this a driver asks for constant power, not constant acceleration (judgement)


class DriverSpec(Table):
    """How one driver drives, with the road load of the car he sits in."""

    title: str
    glow_s: Annotated[Quantity, quantity("s", 0, 30)]
    crank_s: Annotated[Quantity, quantity("s", 0.2, 10)]
    crank_rpm: Annotated[Quantity, quantity("1/min", 80, 400)]
    long_press_s: Annotated[Quantity, quantity("s", 0.5, 10)]
    short_press_s: Annotated[Quantity, quantity("s", 0.1, 1)]
    mass_kg: Annotated[Quantity, quantity("kg", 500, 5000)]
    rolling: Annotated[Quantity, quantity("1", 0.005, 0.05)]
    drag_area_m2: Annotated[Quantity, quantity("m2", 0.3, 3)]
    accelerate_m_s2: Annotated[Quantity, quantity("m/s2", 0.2, 4)]
    brake_m_s2: Annotated[Quantity, quantity("m/s2", 0.2, 6)]
    first_gear_kmh: Annotated[Quantity, quantity("km/h", 4, 15)]
    top_gear_kmh: Annotated[Quantity, quantity("km/h", 20, 70)]
    shift_up_rpm: Annotated[Quantity, quantity("1/min", 1500, 5000)]


def load_driver(name: str) -> DriverSpec:
    """One of the project's drivers by name. Raises InputError."""
    return load_table(file_of(DRIVERS, name, "driver"), DriverSpec, "a driver")


class RoadLoad:
    """Engine speed and load of the car at a road speed, from its driving resistances (force balance)."""

    def __init__(self, spec: DriverSpec, idle_rpm: float, torque_max_nm: float) -> None:
        self.idle_rpm = idle_rpm
        self._torque_max_nm = torque_max_nm
        self._mass = spec.mass_kg.value
        self._rolling = spec.rolling.value
        self._drag = 0.5 * AIR_KG_M3 * spec.drag_area_m2.value
        self._shift_rpm = spec.shift_up_rpm.value
        first, top = spec.first_gear_kmh.value, spec.top_gear_kmh.value
        # Equal ratios from gear to gear, as gearboxes nearly have.
        self._gears = [first * (top / first) ** (gear / (GEARS - 1)) for gear in range(GEARS)]

    def at(self, speed_kmh: float, accelerate_m_s2: float, grade_percent: float) -> tuple[float, float]:
        """(1/min, load 0..1 as share of the largest torque); load 0 at idle and where the engine brakes."""
        if speed_kmh < 1.0:
            return self.idle_rpm, 0.0
        gear_kmh = next((kmh for kmh in self._gears if 1000.0 * speed_kmh / kmh < self._shift_rpm), self._gears[-1])
        rpm = max(self.idle_rpm, 1000.0 * speed_kmh / gear_kmh)
        v = speed_kmh / 3.6
        force = self._mass * (accelerate_m_s2 + GRAVITY * (self._rolling + 0.01 * grade_percent)) + self._drag * v * v
        torque = force * v / (rpm * math.pi / 30.0)
        return rpm, min(1.0, max(0.0, torque / self._torque_max_nm))


class SpeedPattern:
    """Road speed of one drive, second by second: legs whose aim varies from leg to leg, in town with halts between."""

    def __init__(self, step: Drive, spec: DriverSpec, rng: random.Random) -> None:
        self._pattern = step.pattern
        self._speed_kmh = step.speed_kmh
        self._up_kmh_s = 3.6 * spec.accelerate_m_s2.value
        self._down_kmh_s = 3.6 * spec.brake_m_s2.value
        self._rng = rng
        self._aim_kmh = 0.0
        self._left_s = 0.0
        self._halted = True
        self.speed_kmh = 0.0

    def next(self, left_s: float) -> tuple[float, float]:
        """(km/h, m/s2) of the next second; `left_s` seconds remain, at whose end the car stands."""
        if self._pattern == "idle":
            return 0.0, 0.0
        self._left_s -= 1.0
        if self._left_s <= 0.0:
            self._new_leg()
        aim = min(self._aim_kmh, self._down_kmh_s * max(0.0, left_s - 1.0))
        before = self.speed_kmh
        if aim > before:
            up = self._up_kmh_s * min(1.0, FULL_PULL_KMH / max(before, 1.0))
            self.speed_kmh = min(before + up, aim)
        else:
            self.speed_kmh = max(before - self._down_kmh_s, aim)
        return self.speed_kmh, (self.speed_kmh - before) / 3.6

    def _new_leg(self) -> None:
        uniform = self._rng.uniform
        if self._pattern == "town":
            self._halted = not self._halted
            self._aim_kmh = 0.0 if self._halted else self._speed_kmh * uniform(0.75, 1.2)
            self._left_s = uniform(15.0, 45.0) if self._halted else uniform(25.0, 70.0)
        elif self._pattern == "road":
            self._aim_kmh = self._speed_kmh * uniform(0.9, 1.1)
            self._left_s = uniform(40.0, 120.0)
        else:
            self._aim_kmh = self._speed_kmh * uniform(0.7, 1.15)
            self._left_s = uniform(10.0, 40.0)


class _AtTheWheel:
    """What both drivers share: the car, the cockpit, the notes of what was done when."""

    def __init__(
        self, env: simpy.Environment, car: Car, cockpit: Cockpit, spec: DriverSpec, purge_done: Callable[[], bool]
    ) -> None:
        self.env = env
        self.car = car
        self.cockpit = cockpit
        self.spec = spec
        self.purge_done = purge_done
        self.notes: list[tuple[int, str]] = []  # (ms, what the driver did), for the report

    def _note(self, text: str) -> None:
        self.notes.append((int(self.env.now), text))

    def _work(self, rpm: float, load: float, speed_kmh: float) -> None:
        car = self.car
        car.engine_rpm = rpm
        car.engine_load = load
        car.speed_kmh = speed_kmh

    def _wait(self, seconds: float) -> Event:
        return pause(self.env, max(1, round(1000.0 * seconds)))

    def _key_on(self) -> None:
        self._note("key on")
        self.car.key_on = True

    def _key_off(self) -> None:
        self._note("key off")
        self._work(self.car.engine_rpm, 0.0, 0.0)  # whether it stops is the car's to say
        self.car.cranking = False
        self.car.key_on = False
        self.car.run_on.brake_applied = self.car.run_on.in_neutral = True

    def _stay_until_it_stops(self) -> ProcessGenerator:
        """Seconds that a held-on engine was given: nobody leaves it alone, and one that outlives its time is stopped by hand."""
        stayed_s = 0
        while self.car.engine_running:
            if stayed_s >= PATIENCE_S:
                self._note("pulls the engine's stop")
                self._work(0.0, 0.0, 0.0)
            yield self._wait(1.0)
            stayed_s += 1
        return stayed_s

    def _press(self, long: bool) -> ProcessGenerator:
        self._note("long press" if long else "short press")
        self.cockpit.button = True
        yield self._wait((self.spec.long_press_s if long else self.spec.short_press_s).value)
        self.cockpit.button = False


class Driver(_AtTheWheel):
    """Drives a scenario's trip; `run` is the SimPy process, which ends with the trip, key off.

    `purge_done` tells whether the driver has been told that the purge is complete.
    """

    def __init__(
        self,
        env: simpy.Environment,
        car: Car,
        cockpit: Cockpit,
        scenario: Scenario,
        purge_done: Callable[[], bool],
        seed: int | None = None,
    ) -> None:
        super().__init__(env, car, cockpit, load_driver(scenario.driver), purge_done)
        self.scenario = scenario
        self._rng = random.Random(f"driver {scenario.seed if seed is None else seed}")
        engine = scenario.car_spec().engine
        self._road = RoadLoad(self.spec, engine.idle_rpm.value, engine.torque_max_nm.value)

    def run(self) -> ProcessGenerator:
        """The process: soak, then the trip's steps in order, then key off."""
        self.cockpit.lighting = self.scenario.lights
        if self.scenario.start.soak_h > 0.0:
            yield self._wait(3600.0 * self.scenario.start.soak_h)
        for step in self.scenario.trip:
            if isinstance(step, Drive):
                yield from self._drive(step, lambda: False)
            elif isinstance(step, Stop):
                yield from self._stop(step)
            elif isinstance(step, Press):
                yield from self._press(step.press == "long")
            elif isinstance(step, Selector):
                self._note(f"selector to {step.position}")
                self.cockpit.ready = step.position == "READY"
        if self.car.key_on:
            self._key_off()
            yield from self._stay_until_it_stops()
        yield self._wait(1.0)

    def _start_engine(self) -> ProcessGenerator:
        car, spec = self.car, self.spec
        if not car.key_on:
            self._key_on()
        car.cabin_heater = self.scenario.cabin_heater
        self._work(0.0, 0.0, 0.0)
        yield self._wait(spec.glow_s.value)
        self._note("cranks")
        car.cranking = True
        self._work(spec.crank_rpm.value, 0.0, 0.0)
        yield self._wait(spec.crank_s.value)
        car.cranking = False
        self._work(*self._road.at(0.0, 0.0, 0.0), 0.0)
        yield self._wait(1.0)

    def _drive(self, step: Drive, arrived: Callable[[], bool]) -> ProcessGenerator:
        """Drive until the step's time is over or `arrived` says so (then the car still brakes to a halt)."""
        car = self.car
        pattern = SpeedPattern(step, self.spec, self._rng)
        left_s = 60.0 * step.minutes
        attempts = 0
        while left_s > 0.0:
            if not car.engine_running:
                if attempts > RESTARTS:
                    self._note("gives up: the engine does not run")
                    self._work(0.0, 0.0, 0.0)
                    yield self._wait(left_s)
                    return
                if attempts:
                    self._note("tries to start again")
                    self._work(0.0, 0.0, 0.0)
                    yield pause(self.env, RETRY_MS)
                    left_s -= RETRY_MS / 1000.0
                pattern.speed_kmh = 0.0
                attempts += 1
                yield from self._start_engine()
                continue
            if arrived():
                left_s = min(left_s, 1.0 + pattern.speed_kmh / (3.6 * self.spec.brake_m_s2.value))
                arrived = _never
            speed_kmh, acceleration = pattern.next(left_s)
            standing = speed_kmh < 1.0
            car.run_on.brake_applied = standing and step.pattern == "idle"
            car.run_on.in_neutral = standing
            self._work(*self._road.at(speed_kmh, acceleration, step.grade_percent), speed_kmh)
            left_s -= STEP_MS / 1000.0
            yield pause(self.env, STEP_MS)

    def _stop(self, step: Stop) -> ProcessGenerator:
        if step.purge != "none" and self.car.key_on:
            yield from self._press(long=True)
            way = Drive(
                do="drive",
                minutes=step.purge_wait_min,
                pattern="town" if step.purge == "driving" else "idle",
                speed_kmh=ROUND_THE_BLOCK_KMH if step.purge == "driving" else 0.0,
                grade_percent=0.0,
            )
            yield from self._drive(way, self.purge_done)
            told = self.purge_done()
            self._note("was told that the purge is complete" if told else "has waited long enough for the purge")
        self._key_off()
        stayed_s = yield from self._stay_until_it_stops()
        yield self._wait(60.0 * step.minutes - stayed_s)


def _never() -> bool:
    return False


def start_warm(car: Car, coolant_c: float) -> None:
    """Give a car that has not moved yet the coolant temperature with which a log begins.

    With the coolant go the engine's metal, the injection pump on it, and what the coolant heats up to the oil filter:
    an engine that is still warm has warmed them on its last trip. Radiator, plain lines and the tanks' bulk stay.
    """
    net = car.net
    heat = list(net.heat)
    for node in (ENGINE, COOLANT, FEED, COIL, HOSE, FILTER, HEATER, PUMP):
        brought = net.capacity[node] * coolant_c - heat[node]
        heat[node] += brought
        net.booked_j += brought
        net.supplied_j += abs(brought)
    net.heat = tuple(heat)
    net.hose_oil.standing_c = net.hose_oil.following_c = coolant_c
    net.wax_c = coolant_c


class TraceDriver(_AtTheWheel):
    """Engine side from a logged trace: same interface as `Driver`. Rows without engine speed: engine at rest, key on.

    What the log holds is taken as it stands and held until the next row; the selector is on READY throughout. Logged
    supply goes to `signals.logged_supply_v` where the log has it; logged coolant is imposed on the car if
    `coolant_from_log`. `purge_at_end_min`: after the last row the driver asks for a purge and waits for its end, the
    engine as in the last row, at most so long; 0: he turns the key. Raises InputError where the log lacks a column.
    """

    def __init__(
        self,
        env: simpy.Environment,
        car: Car,
        signals: Signals,
        trace: Trace,
        spec: DriverSpec,
        purge_done: Callable[[], bool],
        coolant_from_log: bool = False,
        purge_at_end_min: float = 0.0,
    ) -> None:
        super().__init__(env, car, signals.cockpit, spec, purge_done)
        self.signals = signals
        self.trace = trace
        self.purge_at_end_min = purge_at_end_min
        self._supply = trace.columns.get("supply_v")
        self._coolant = trace.column("coolant_c") if coolant_from_log else None
        self._engine = tuple(zip(trace.column("rpm"), trace.column("load"), trace.column("speed_kmh"), strict=True))
        self._begin_ms = 0

    def run(self) -> ProcessGenerator:
        """The process: one wake-up a row."""
        self._begin_ms = int(self.env.now)
        self._key_on()
        self.cockpit.ready = True
        turned = False
        for index, t_s in enumerate(self.trace.t_s):
            turns = self._engine[index][0] > 0.0
            if turns and not turned:
                yield from self._crank_until(t_s)
            else:
                yield from self._until(t_s)
            turned = turns
            self._take(index)
        yield from self._until(self.trace.t_s[-1])
        if self.purge_at_end_min > 0.0 and self.car.engine_running:
            yield from self._press(long=True)
            for _ in range(round(60.0 * self.purge_at_end_min)):
                if self.purge_done():
                    break
                yield pause(self.env, STEP_MS)
        self._key_off()
        yield from self._stay_until_it_stops()
        yield self._wait(1.0)

    def _until(self, t_s: float) -> ProcessGenerator:
        """Wait for a time of the log, if it is not past."""
        left_ms = self._begin_ms + round(1000.0 * (t_s - self.trace.t_s[0])) - int(self.env.now)
        if left_ms > 0:
            yield pause(self.env, left_ms)

    def _crank_until(self, t_s: float) -> ProcessGenerator:
        """Crank so that the engine runs at t_s; where the log begins with a running engine, a moment later."""
        crank_s = self.spec.crank_s.value
        yield from self._until(t_s - crank_s)
        self._note("cranks")
        self.car.cranking = True
        self._work(self.spec.crank_rpm.value, 0.0, 0.0)
        yield self._wait(crank_s)
        self.car.cranking = False

    def _take(self, index: int) -> None:
        rpm, load, speed_kmh = self._engine[index]
        self._work(rpm, load, speed_kmh)
        self.car.run_on.brake_applied = self.car.run_on.in_neutral = speed_kmh < 1.0
        if self._supply is not None:
            self.signals.logged_supply_v = self._supply[index]
        if self._coolant is not None:
            self.car.impose_coolant_c(self._coolant[index])
