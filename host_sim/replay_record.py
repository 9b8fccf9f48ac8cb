"""What a report draws of a replay: a row of readings about once a second, and which state and message stood when."""

from __future__ import annotations

from changeover import messages
from changeover.inputs import RETURN_CONTACT, SUPPLY_CONTACT
from changeover.law import Law
from changeover.sensing import (
    AMBIENT,
    COOLANT,
    DIESEL_LEVEL,
    GOOD,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SUPPLY,
)
from changeover.states import STATES
from host_sim.signals import ANALOG_NAMES

MOST_SAMPLES = 16_384  # then every other one goes: memory stays flat
_READ = (
    ("coolant_read_c", COOLANT, 100.0), ("oil_read_c", OIL, 100.0), ("tank_outlet_c", OIL_TANK, 100.0),
    ("pump_inlet_c", PUMP_INLET, 100.0), ("ambient_c", AMBIENT, 100.0), ("oil_level_pct", OIL_LEVEL, 10.0),
    ("diesel_level_pct", DIESEL_LEVEL, 10.0), ("supply_v", SUPPLY, 1000.0),
)  # fmt: skip
_OTHERS = (
    "t_s",
    "suction_read_kpa",
    "supply_cmd",
    "return_cmd",
    "supply_true",
    "return_true",
    "fill_ml",
    "credit_ml",
    "speed_kmh",
)
Bar = tuple[float, float, str, int, str]


class ReplayRecord:
    """`series` and `bars` in the form of the drive's report. `missing`: quantities that are not in the log."""

    def __init__(self, given: dict[str, int], missing: tuple[str, ...]) -> None:
        self.series: dict[str, list[float | None]] = {name: [] for name in (*_OTHERS, *(row[0] for row in _READ))}
        self.bars: dict[str, list[Bar]] = {"state": [], "messages": []}
        self._given = given
        self._missing = missing
        self._standing: dict[str, tuple[float, str, int, str]] = {}
        self._step_ms = 1000
        self._next_ms = 0

    def state(self, t_s: float, state: int) -> None:
        """From now on this state stands."""
        self._stands("state", t_s, (STATES[state], 0, STATES[state]))

    def message(self, t_s: float, message: int) -> None:
        """From now on this message stands."""
        name, action = messages.ENGLISH[message]
        self._stands("messages", t_s, (name, messages.severity(message), action.replace("\n", " ")))

    def close(self, t_s: float) -> None:
        """The log ends."""
        for strip in self.bars:
            self._stands(strip, t_s, None)

    def _stands(self, strip: str, t_s: float, thing: tuple[str, int, str] | None) -> None:
        standing = self._standing.pop(strip, None)
        if standing is not None:
            self.bars[strip].append((standing[0], t_s, *standing[1:]))
        if thing is not None:
            self._standing[strip] = (t_s, *thing)

    def pause(self) -> None:
        """Nothing is known of the time from the last sample to the next: no line is drawn across it."""
        if self.series["t_s"]:
            for name, values in self.series.items():
                values.append(values[-1] if name == "t_s" else None)

    def second(self, t_ms: int, law: Law, contacts: bool, speed_kmh: float | None) -> None:
        """A second has passed. `contacts`: what the valves' contacts say is the log's own."""
        if t_ms < self._next_ms:
            return
        self._next_ms = t_ms + self._step_ms
        inputs, machine, series = law.inputs, law.machine, self.series
        series["t_s"].append(t_ms / 1000.0)
        for name, index, per in _READ:
            channel = inputs.channel[index]
            read = channel.reason == GOOD and ANALOG_NAMES[index] not in self._missing
            series[name].append(channel.value / per if read else None)
        suction = inputs.suction_reason == GOOD and "suction" not in self._missing
        series["suction_read_kpa"].append(inputs.suction_pa / 1000.0 if suction else None)
        for valve, on, index in (
            ("supply", machine.supply_on, SUPPLY_CONTACT), ("return", machine.return_on, RETURN_CONTACT),
        ):  # fmt: skip
            series[f"{valve}_cmd"].append(float(on))
            told = contacts and self._given[f"fit_{valve}_contact"]
            series[f"{valve}_true"].append(float(inputs.contact[index].on) if told else None)
        series["fill_ml"].append(machine.lines.fill_ul / 1000.0)
        series["credit_ml"].append(machine.lines.credit_ul / 1000.0)
        series["speed_kmh"].append(speed_kmh)
        if len(series["t_s"]) > MOST_SAMPLES:
            self._step_ms *= 2
            for values in series.values():
                del values[1::2]
