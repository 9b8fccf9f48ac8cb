"""One drive: the scenario's actors, the car, the board and the judges, stepped together. SimPy owns the events, a plain loop the ticks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import simpy

from changeover import messages, reasons, rows
from changeover.states import FILLING, ON_OIL, STATES
from host_sim.car import Car
from host_sim.driver import Driver, TraceDriver, load_driver, start_warm
from host_sim.faults import Injector, start_faults
from host_sim.fluids import changeover_temperatures
from host_sim.hazards import THICK_MM2_S, Monitors
from host_sim.ideal import Ideal
from host_sim.scenario import Scenario
from host_sim.signals import Cockpit, Signals
from host_sim.truth import Truth
from host_sim.virtual_board import TICK_MS, VirtualBoard
from host_sim.weather import weather_process

if TYPE_CHECKING:
    from host_sim.traces import Trace

TICK_S = TICK_MS / 1000.0
PARKED_STEP_MS = 60_000


@dataclass
class Move:
    """One transition or refusal of the law, with the numbers that decided."""

    time_s: float
    before: str
    after: str
    reason: int
    measured: int
    limit: int
    unit: str
    forced: bool
    called_for: bool

    @property
    def refused(self) -> bool:
        """A request that met a closed door: nothing moved."""
        return self.before == self.after


@dataclass
class Totals:
    """What a drive adds up to."""

    time_on_oil_s: float = 0.0
    engine_s: float = 0.0
    trips: int = 0
    distance_km: float = 0.0
    moves: list[Move] = field(default_factory=list)

    @property
    def false_forced_exits(self) -> int:
        """Forced exits whose row's truth predicate did not hold."""
        return sum(move.forced and not move.called_for for move in self.moves)


class Drive:
    """Everything of one run. `run` to the end, or `run(until_s)` in pieces; `on_tick` sees each powered tick, for logs and reports."""

    def __init__(
        self, scenario: Scenario, values: dict[str, int], seed: int | None = None, trace: Trace | None = None,
        trace_ambient_c: float | None = None, coolant_from_log: bool = False,
    ) -> None:  # fmt: skip
        seed = scenario.seed if seed is None else seed
        spec = scenario.car_spec()
        ambient_c = scenario.weather.ambient_c.value if trace_ambient_c is None else trace_ambient_c
        self.scenario = scenario
        self.seed = seed
        self.trace = trace
        self.env = simpy.Environment()
        start = scenario.start
        self.car = Car(spec, scenario.layout, ambient_c, start.oil_level, start.diesel_level, start.filter_litres)
        if trace is not None and "coolant_c" in trace.columns:
            start_warm(self.car, trace.column("coolant_c")[0])
        self.cockpit = Cockpit()
        self.signals = Signals(seed, self.cockpit)
        self.injector = Injector(seed)
        self.board = VirtualBoard(values, self.car, self.signals, self.injector)
        self.truth = Truth(self.board)
        self.monitors = Monitors(self.board, self.truth)
        self.ideal = Ideal(self.board, changeover_temperatures(self.car.oil_d341, THICK_MM2_S))
        self.totals = Totals()
        self.on_tick: Callable[[float], None] | None = None
        self.now_ms = 0
        self._boots = 0
        self._moves_seen = 0
        self._was_key = False
        self._slow_in = 0
        if trace is None:
            self.driver = Driver(self.env, self.car, self.cockpit, scenario, self.purge_told, seed)
            self.env.process(weather_process(self.env, scenario.weather, self.car))
        else:
            self.driver = TraceDriver(
                self.env, self.car, self.signals, trace, load_driver(scenario.driver), self.purge_told, coolant_from_log
            )
        start_faults(self.env, scenario.fault_list(), self.injector, self.car)
        self._end = self.env.process(self.driver.run())  # pyright: ignore[reportArgumentType]

    def purge_told(self) -> bool:
        """Has the driver been told that the purge is complete?"""
        return self.board.powered and self.board.law.panel.message == messages.MAY_STOP

    @property
    def finished(self) -> bool:
        """Has the driver done his last act?"""
        return not self._end.is_alive

    def run(self, until_s: float | None = None) -> None:
        """Run to the driver's last act, or to `until_s` of simulated time; pieces of whole minutes change nothing in the result."""
        env = self.env
        end_ms = None if until_s is None else round(until_s * 1000.0)
        while self._end.is_alive:
            due = int(env.peek())
            if end_ms is not None and due > end_ms:
                due = end_ms
            self._ticks(due)
            if due == end_ms:
                return
            while env.peek() <= due:
                env.step()

    def _ticks(self, until_ms: int) -> None:
        """Car, board and judges up to the next event of any other actor."""
        while self.now_ms < until_ms:
            awake = self.board.powered or self.car.key_on or self.car.engine_running
            left = until_ms - self.now_ms
            if awake:
                self._tick(min(TICK_MS - self.now_ms % TICK_MS, left))
            else:
                self._rest(min(PARKED_STEP_MS - self.now_ms % PARKED_STEP_MS, left))

    def _tick(self, dt_ms: int) -> None:
        dt_s = dt_ms / 1000.0
        car = self.car
        self.now_ms += dt_ms
        t_s = self.now_ms / 1000.0
        car.advance(dt_s)
        self.truth.observe(dt_s)
        board = self.board
        if self.now_ms % TICK_MS == 0:
            board.tick(self.now_ms)
            if board.boots != self._boots:
                self._boots = board.boots
                self._moves_seen = 0
            machine = board.law.machine
            if machine.moves != self._moves_seen:
                self._moved(t_s)
            if machine.supply_on and (machine.state == FILLING or machine.state == ON_OIL):
                self.totals.time_on_oil_s += TICK_S
        self.ideal.step(dt_s)
        self.monitors.step(t_s, dt_s)
        if car.engine_running:
            self.totals.engine_s += dt_s
            self.totals.distance_km += car.speed_kmh * dt_s / 3600.0
        if car.key_on and not self._was_key:
            self.totals.trips += 1
        self._was_key = car.key_on
        self._slow_in -= 1
        if self._slow_in <= 0:
            self._slow_in = 10
            self.monitors.slow(t_s)
        if self.on_tick is not None:
            self.on_tick(t_s)

    def _rest(self, dt_ms: int) -> None:
        """Parked, the board without power: the car cools in long steps."""
        self.now_ms += dt_ms
        self.car.advance(dt_ms / 1000.0)
        self.truth.observe(dt_ms / 1000.0)
        t_s = self.now_ms / 1000.0
        self.monitors.step(t_s, dt_ms / 1000.0)
        self.monitors.slow(t_s)
        if self.on_tick is not None:
            self.on_tick(t_s)

    def _moved(self, t_s: float) -> None:
        law = self.board.law
        machine = law.machine
        self._moves_seen = machine.moves
        reason = machine.move_reason
        forced = (
            reason < reasons.KEY_OFF and machine.move_from in (FILLING, ON_OIL) and machine.move_to != machine.move_from
        )
        law.evidence.read(reason, forced)
        self.totals.moves.append(
            Move(
                t_s, STATES[machine.move_from], STATES[machine.move_to], reason, law.evidence.measured, law.evidence.limit,
                law.evidence.unit, forced, not forced or self.truth.row_true(reason),
            )
        )  # fmt: skip


def reason_text(reason: int) -> str:
    """A reason in words: the interlock's name, or what the driver or the volumes did."""
    if reason < reasons.KEY_OFF:
        return str(rows.TABLE[reason][rows.NAME])
    return reasons.TEXTS[reason - reasons.KEY_OFF]
