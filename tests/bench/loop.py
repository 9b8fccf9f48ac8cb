"""Bars b and f, one process: the closed loop's speed, a tick in bare events, whether cost grows as time does."""

from __future__ import annotations

import gc
import random
from collections.abc import Callable, Generator
from time import perf_counter_ns, process_time
from typing import Any

import simpy

from host_sim.drive import Drive
from host_sim.loop import TICK_S
from host_sim.profile import load_profile
from host_sim.scenario import Drive as Leg
from host_sim.scenario import Scenario, Selector, Stop, load_scenario
from tests.bench.table import Bar, shares, spread

ROUNDS = 5
_LONG_ROUNDS = 3
_TRIP_ROUNDS = 5
_PART_ROUNDS = 4
_AWAKE_S = 2100.0  # of the demo's first trip: from cold to shortly before its purge
_PIECES = 7
_EVENTS = 10_000
_REAL_TIME = 5000.0
_EVENTS_A_TICK = 25.0
_LINEAR = 0.05
_WARM_UP_S = 1800.0


def winter(*trip: Leg | Stop | Selector, seed: int = 1) -> Scenario:
    """The demo's winter morning with another trip."""
    steps = [Selector(do="selector", position="READY"), *trip]
    return load_scenario("winter_commute").model_copy(update={"trip": steps, "seed": seed})


def road(minutes: float) -> Leg:
    """Out of town at 60 km/h, slow enough that eight hours do not empty a tank."""
    return Leg(do="drive", minutes=minutes, pattern="road", speed_kmh=60, grade_percent=0.0)


def started(scenario: Scenario) -> Drive:
    """The drive, ready to run."""
    return Drive(scenario, load_profile(scenario.profile))


def seconds(work: Callable[[], object]) -> float:
    """Processor time, which other programs disturb least; collects first, so that none pays for another's rubbish."""
    gc.collect()
    begun = process_time()
    work()
    return process_time() - begun


class BareEvents:
    """One process that sleeps a tick at a time, and nothing else."""

    def __init__(self) -> None:
        self.env = simpy.Environment()
        self.env.process(self._clock())

    def _clock(self) -> Generator[simpy.Event, None, None]:
        while True:
            yield self.env.timeout(100)

    def run(self, events: int) -> None:
        """So many more events."""
        self.env.run(until=self.env.now + 100 * events)


def closed_loop() -> list[Bar]:
    """Times real time while the board is awake, and a tick's cost in bare events, which take turns with the ticks."""
    scenario = load_scenario("winter_commute")
    ticks, events = [], []
    for _ in range(ROUNDS):
        drive, bare = started(scenario), BareEvents()
        tick_s = event_s = 0.0
        for piece in range(1, _PIECES + 1):
            tick_s += seconds(lambda drive=drive, piece=piece: drive.run(_AWAKE_S * piece / _PIECES))
            event_s += seconds(lambda bare=bare: bare.run(_EVENTS))
        ticks.append(tick_s / drive.board.ticks)
        events.append(event_s / (_PIECES * _EVENTS))
    times = spread([TICK_S / tick for tick in ticks])
    in_events = spread([tick / event for tick, event in zip(ticks, events, strict=True)])
    numbers: dict[str, object] = {
        "times_real_time": vars(times),
        "tick_us": vars(spread([1e6 * tick for tick in ticks])),
        "event_us": vars(spread([1e6 * event for event in events])),
    }
    drive = started(scenario)
    whole_s = seconds(drive.run)
    return [
        Bar(
            "b",
            f"closed loop, CPython, board awake: at least {_REAL_TIME:,.0f} times real time",
            f"{times}; {1e6 * spread(ticks).median:.1f} us a tick",
            times.median >= _REAL_TIME,
            numbers,
        ),
        Bar(
            "b",
            f"a tick costs at most {_EVENTS_A_TICK:.0f} bare SimPy events",
            f"{in_events}; {1e6 * spread(events).median:.2f} us an event",
            in_events.median <= _EVENTS_A_TICK,
            {"events": vars(in_events)},
        ),
        Bar(
            "b",
            "the demo's winter day, parked hours too",
            f"{drive.now_ms / 3.6e6:.1f} h in {whole_s:.2f} s: {drive.now_ms / 1000.0 / whole_s:,.0f} times real time",
            None,
            {"simulated_s": drive.now_ms / 1000.0, "wall_s": whole_s},
            no_bar=True,
        ),
    ]


def growth() -> list[Bar]:
    """Eight hours of driving beside one, twice the trips beside once, each pair in one round."""
    hours, trips = [], []
    for _ in range(_LONG_ROUNDS):
        drive = started(winter(road(9 * 60)))
        drive.run(_WARM_UP_S)  # other work than the hours that follow
        each = [seconds(lambda drive=drive, hour=hour: drive.run(_WARM_UP_S + 3600.0 * hour)) for hour in range(1, 9)]
        hours.append(sum(each) / each[0])
    rng = random.Random(1)
    for _ in range(_TRIP_ROUNDS):
        spent = {}
        for count in rng.sample((2, 4), 2):
            # half a day between, so that each trip begins as cold as the first
            night = Stop(do="stop", minutes=720, purge="idle", purge_wait_min=10)
            scenario = winter(*(step for _ in range(count) for step in (road(15), night)))
            spent[count] = seconds(started(scenario).run)
        trips.append(spent[4] / spent[2])
    bars = []
    for found, times, asks in (
        (spread(hours), 8, "eight simulated hours, warm, cost 8 times one"),
        (spread(trips), 2, "twice the trips cost twice"),
    ):
        met = abs(found.median / times - 1.0) <= _LINEAR
        bars.append(Bar("f", f"{asks}, within 5 %", str(found), met, {"ratio": vars(found)}))
    return bars


class _Timer:
    """Time of each part without the parts inside it, less what the clocks themselves take."""

    def __init__(self) -> None:
        self.ns: dict[str, int] = {}
        self._inner = [0]

    def wrap(self, holder: Any, name: str, part: str) -> None:
        """Time every call of the holder's method as that part."""
        inside = getattr(holder, name)
        self.ns.setdefault(part, 0)
        inner, ns = self._inner, self.ns

        def timed(*arguments: Any) -> Any:
            begun = perf_counter_ns()
            inner.append(0)
            result = inside(*arguments)
            spent = perf_counter_ns() - begun
            ns[part] += spent - inner.pop() - within_ns
            inner[-1] += spent + around_ns
            return result

        within_ns, around_ns = self._clocks
        setattr(holder, name, timed)

    _clocks = (0, 0)

    def calibrate(self) -> None:
        """What a clock adds to its own part, and to the part around it, measured on a method that does nothing."""

        class Idle:
            def call(self) -> None:
                """Nothing."""

        calls = 50_000
        idle = Idle()
        plain = seconds(lambda: [idle.call() for _ in range(calls)])
        self.wrap(idle, "call", "idle")
        wrapped = seconds(lambda: [idle.call() for _ in range(calls)])
        within_ns = self.ns.pop("idle") // calls
        self._inner[:] = [0]
        self._clocks = (within_ns, max(0, int(1e9 * (wrapped - plain) / calls) - within_ns))


def where_time_goes() -> tuple[str, dict[str, float]]:
    """Shares of a tick over the awake stretch of bar b; of some drives the one that the machine disturbed least."""
    parts = min((_parts_of_a_tick() for _ in range(_PART_ROUNDS)), key=lambda parts: sum(parts.values()))
    title = "Where a tick's time goes, us of wall time (board awake, the clocks' own time taken off)"
    return shares(title, sorted(parts.items(), key=lambda row: -row[1]), "us"), parts


def _parts_of_a_tick() -> dict[str, float]:
    drive = started(load_scenario("winter_commute"))
    timer = _Timer()
    timer.calibrate()
    drive.run(1.0)  # the board boots at key-on; its law is there from now on
    for holder, name, part in (
        (drive.env, "step", "events: driver, weather, faults"),
        (drive, "tick", "drive: the loop around all of it"),
        (drive.car, "advance", "car: engine, pump, tanks, valves, supply"),
        (drive.car.net, "step", "plant: thermal network"),
        (drive.car.path, "push", "fuel path"),
        (drive.signals, "sample", "sensors"),
        (drive.board, "tick", "board around the law"),
        (drive.board.law, "step", "law"),
        (drive.truth, "observe", "monitors: hazards, truth of messages"),
        (drive.monitors, "step", "monitors: hazards, truth of messages"),
        (drive.monitors, "slow", "monitors: hazards, truth of messages"),
        (drive.ideal, "step", "ideal controller"),
    ):
        timer.wrap(holder, name, part)
    before = drive.board.ticks
    drive.run(_AWAKE_S)
    ticks = drive.board.ticks - before
    return {part: ns / ticks / 1000.0 for part, ns in timer.ns.items()}
