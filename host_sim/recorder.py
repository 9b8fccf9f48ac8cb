"""Looks over a drive's shoulder: a row of truth about once a second, and what stood when, for reports."""

from __future__ import annotations

from typing import TYPE_CHECKING

from changeover import messages
from changeover.sensing import COOLANT, GOOD, OIL
from changeover.states import STATES
from host_sim.fluids import refutas_nu
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES

if TYPE_CHECKING:
    from host_sim.loop import Loop

Bar = tuple[float, float, str, int, str]
STEP_S = 1.0
SERIES = (
    "t_s", "coolant_c", "coolant_read_c", "oil_filter_c", "oil_read_c", "tank_outlet_c", "pump_inlet_c", "ambient_c", "suction_kpa",
    "suction_read_kpa", "supply_cmd", "supply_true", "return_cmd", "return_true", "path_oil_worst_ml", "path_oil_plug_ml", "fill_ml",
    "credit_ml", "pump_mm2_s", "oil_level_pct", "diesel_level_pct", "speed_kmh", "supply_v",
)  # fmt: skip


class Strip:
    """What stood when: at most one thing at a time."""

    def __init__(self) -> None:
        self.bars: list[Bar] = []
        self._since = 0.0
        self._now: tuple[str, int, str] | None = None

    def put(self, t_s: float, thing: tuple[str, int, str] | None) -> None:
        """From `t_s` on this stands (name, severity 0 to 3, text), or nothing."""
        if thing == self._now:
            return
        if self._now is not None:
            self.bars.append((self._since, t_s, *self._now))
        self._now = thing
        self._since = t_s


class Recorder:
    """`tick` after each tick of a drive, or of any run of the loop; `close` at its end."""

    def __init__(self, drive: Loop) -> None:
        self.drive = drive
        self.series: dict[str, list[float | None]] = {name: [] for name in SERIES}
        self._strips = {"state": Strip(), "messages": Strip()}
        self._faults: dict[str, tuple[float, str]] = {}
        self._fault_bars: list[Bar] = []
        self._state = -1
        self._message = -1
        self._powered = False
        self._next_s = 0.0

    def tick(self, t_s: float) -> None:
        """One tick that ended at `t_s`."""
        board = self.drive.board
        law = board.law
        state = law.machine.state
        message = law.panel.message if board.powered else -1
        if state != self._state or board.powered != self._powered:
            self._state = state
            self._powered = board.powered
            name = STATES[state] if board.powered else "PARKED"
            self._strips["state"].put(t_s, (name, 0, name if board.powered else "PARKED, board without power"))
        if message != self._message:
            self._message = message
            if message < 0:
                self._strips["messages"].put(t_s, None)
            else:
                name, action = messages.ENGLISH[message]
                self._strips["messages"].put(t_s, (name, messages.severity(message), action.replace("\n", " ")))
        if t_s >= self._next_s:
            self._next_s = t_s + STEP_S
            self._sample(t_s)

    def _sample(self, t_s: float) -> None:
        car = self.drive.car
        board = self.drive.board
        law = board.law
        inputs = law.inputs
        on = board.powered
        lines = law.machine.lines
        coolant, oil = inputs.channel[COOLANT], inputs.channel[OIL]
        path_ml = board.values["path_ul"] / 1000.0
        row = (
            t_s, car.coolant_feed_c, coolant.value / 100.0 if on and coolant.reason == GOOD else None, car.filter_c,
            oil.value / 100.0 if on and oil.reason == GOOD else None, car.tank_outlet_c, car.pump_inlet_c, car.ambient_c,
            car.suction_pa / 1000.0, inputs.suction_pa / 1000.0 if on and inputs.suction_reason == GOOD else None,
            float(car.command_supply_oil), car.supply_valve_pos, float(car.command_return_oil), car.return_valve_pos,
            car.path.worst_inside_oil * path_ml, car.path.inside_oil("plug") * path_ml,
            lines.fill_ul / 1000.0 if on else None, lines.credit_ul / 1000.0 if on else None,
            refutas_nu(car.pump_index_worst) if car.engine_running else None,
            100.0 * car.oil_level, 100.0 * car.diesel_level, car.speed_kmh, car.supply_v,
        )  # fmt: skip
        for name, value in zip(SERIES, row, strict=True):
            self.series[name].append(value)
        self._note_faults(t_s)

    def _note_faults(self, t_s: float) -> None:
        standing = {}
        for active in self.drive.injector.active:
            names = DIGITAL_NAMES if active.is_digital else ANALOG_NAMES
            standing[f"{active.kind} {names[active.index]}"] = active.kind
        for name in standing:
            self._faults.setdefault(name, (t_s, name))
        for name in [name for name in self._faults if name not in standing]:
            since, text = self._faults.pop(name)
            self._fault_bars.append((since, t_s, name, 2, text))

    def close(self) -> dict[str, list[Bar]]:
        """The strips, ended at the last tick."""
        end_s = self.drive.now_ms / 1000.0
        for strip in self._strips.values():
            strip.put(end_s, None)
        for since, name in self._faults.values():
            self._fault_bars.append((since, end_s, name, 2, name))
        hazards = [
            (
                found.time_s,
                min(end_s, found.time_s + 60.0),
                found.id,
                2 if found.told else 3,
                f"{found.name}: {found.text}",
            )
            for found in self.drive.monitors.found
        ]
        return {
            "state": self._strips["state"].bars,
            "messages": self._strips["messages"].bars,
            "faults": self._fault_bars,
            "hazards": hazards,
        }
