"""One drive: the scenario's actors around the closed loop. SimPy owns the events, a plain loop the ticks between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import simpy

from changeover import messages
from host_sim.car import Car
from host_sim.driver import Driver, TraceDriver, load_driver, start_warm
from host_sim.faults import start_faults
from host_sim.loop import Loop
from host_sim.scenario import Scenario
from host_sim.signals import ANALOG_NAMES
from host_sim.weather import weather_process

if TYPE_CHECKING:
    from host_sim.traces import Trace


class Drive(Loop):
    """Everything of one run: `run` to the end, or `run(until_s)` in pieces."""

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
        car = Car(spec, scenario.layout, ambient_c, start.oil_level, start.diesel_level, start.filter_litres)
        if trace is not None and "coolant_c" in trace.columns:
            start_warm(car, trace.column("coolant_c")[0])
        super().__init__(car, values, seed)
        for name, size in scenario.sensors.offsets().items():
            self.signals.offset(ANALOG_NAMES.index(name), size)
        if trace is None:
            self.driver: Driver | TraceDriver = Driver(
                self.env, self.car, self.cockpit, scenario, self.purge_told, seed
            )
            self.env.process(weather_process(self.env, scenario.weather, self.car))
        else:
            self.driver = TraceDriver(
                self.env, self.car, self.signals, trace, load_driver(scenario.driver), self.purge_told, coolant_from_log
            )
        start_faults(self.env, scenario.fault_list(), self.injector, self.car, self.board)
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
            self.run_to(due)
            if due == end_ms:
                return
            while env.peek() <= due:
                env.step()
