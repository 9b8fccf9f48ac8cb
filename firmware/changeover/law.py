"""The law, whole: one `step` a tick from raw counts and levels to commands. Time and readings are arguments."""

from changeover import rows
from changeover.conditions import Conditions
from changeover.evidence import Evidence
from changeover.heater import Heater
from changeover.inputs import ENGINE, KEY, Inputs
from changeover.interlocks import Interlocks
from changeover.machine import Machine
from changeover.memory import Record
from changeover.panel_logic import PanelLogic
from changeover.restriction import Restriction
from changeover.sensing import AMBIENT, GOOD, OIL
from changeover.states import PARKED
from changeover.stop_advice import standing_min
from changeover.ticks import ticks_diff
from changeover.trust import Trust

_LONGEST_MS = 1000  # a longer pause counts as this much: no credit, no hold time out of thin air
_TELL_MS = 30000
_POWER_MS = 600000


class Law:
    """`values`: every setting by name; `valid`: what the validator said of them; `record`: what was remembered;
    `restarted`: the watchdog brought the board here. Commands: `machine.supply_on`, `machine.return_on`, `heater.on`,
    `run_on`, `power_hold`, `panel`. When `machine.write_wanted` is up the board writes `write_record`, then calls
    `written`.
    """

    def __init__(self, values: dict[str, int], record: Record, valid: bool = True, restarted: bool = False) -> None:
        self.record = record
        self.inputs = Inputs(values)
        self.interlocks = Interlocks()
        self.machine = Machine(values, self.inputs, self.interlocks, record.oil_in_lines)
        self.restriction = Restriction(values)
        self.restriction.mean_pa = record.suction_mean_pa
        self.restriction.low_pa = record.suction_low_pa
        self.heater = Heater(values, self.inputs, self.machine)
        self.conditions = Conditions(values, valid, restarted, self.inputs, self.machine, self.restriction, self.heater)
        self.evidence = Evidence(self.inputs, self.conditions, self.machine, self.restriction)
        self.trust = Trust(self.inputs)
        self.panel = PanelLogic(self.interlocks, self.machine)
        self.run_on = False
        self.power_hold = False
        self.keep_awake = False  # set by the board while it has something to save
        self._first = True
        self._last_ms = 0
        self._second_ms = 0
        self._driven = False
        self._presses = 0
        self._cooling_s = values["cooling_time_s"]
        self._restart_cdegc = values["oil_restart_cdegc"]
        self._ambient_worst_cdegc = values["ambient_worst_cdegc"]

    def step(self, now_ms: int, counts: list[int], levels: list[bool]) -> None:
        """One tick at `now_ms`: counts of the analog channels, levels of the digital ones, in the order of `inputs`."""
        dt_ms = self._elapsed(now_ms)
        self.inputs.step(counts, levels)
        machine = self.machine
        before = machine.state
        if before == PARKED:
            if self.inputs.contact[KEY].on:
                self._key_on()
            elif not machine.write_wanted and machine.state_ms > _TELL_MS:
                self._asleep(dt_ms)
                return
        self._judge(dt_ms)
        machine.step(dt_ms)
        if machine.state == PARKED and before != PARKED:
            self._parked()
        if machine.wishes.short_presses != self._presses:
            self._presses = machine.wishes.short_presses
            self._advise()
        self.heater.step()
        self.panel.step(dt_ms)
        self._power()

    def _elapsed(self, now_ms: int) -> int:
        dt_ms = 0 if self._first else ticks_diff(now_ms, self._last_ms)
        self._first = False
        self._last_ms = now_ms
        return min(max(dt_ms, 0), _LONGEST_MS)

    def _judge(self, dt_ms: int) -> None:
        self._second_ms += dt_ms
        if self._second_ms >= 1000:
            self._second_ms -= 1000
            self._second()
        self.trust.tick()
        self.conditions.step(dt_ms)
        self.interlocks.step(self.conditions.block, self.conditions.force, dt_ms)
        if self.interlocks.forced >> rows.RESTRICTED & 1:
            self.restriction.spent = True

    def written(self, succeeded: bool) -> None:
        """The board's answer: the record of `write_record` is in flash and reads back, or it is not."""
        self.machine.written(succeeded, self.record.oil_in_lines)
        self.conditions.lateness.excused = True  # a write may take 0.4 s, and says so beforehand
        if not succeeded:
            self.record.refused()

    def write_record(self) -> bytes:
        """The bytes to write when `machine.write_wanted` is up, into slot `record.slot()`. Allocates, not in a step."""
        self.record.oil_in_lines = self.machine.record_dirty
        self.record.suction_mean_pa = self.restriction.mean_pa
        self.record.suction_low_pa = self.restriction.low_pa
        return self.record.encode()

    def _key_on(self) -> None:
        if self._driven:
            self.conditions.restarted = False
        self._driven = True
        self.inputs.restart()
        self.trust.restart()
        self.interlocks.restart()
        self.conditions.restart()
        self.restriction.spent = False
        self.heater.restart()
        self.machine.restart()

    def _parked(self) -> None:
        self.restriction.keep_trip(self.interlocks.forced >> rows.AIR & 1 == 1)
        self.record.trips = (self.record.trips + 1) & 0x3FFFFFFF

    def _second(self) -> None:
        channel = self.inputs.channel
        running = self.inputs.contact[ENGINE].on
        self.trust.second(running, self.heater.used)
        flowing = self.machine.supply_on and running
        trusted = channel[OIL].reason == GOOD and self.inputs.suction_reason == GOOD
        self.restriction.second(flowing and trusted, self.inputs.suction_pa, channel[OIL].value)
        self.heater.second(flowing, channel[OIL].value)

    def _advise(self) -> None:
        oil = self.inputs.channel[OIL]
        ambient = self.inputs.channel[AMBIENT]
        minutes = 0
        if oil.reason == GOOD:
            ambient_cdegc = ambient.value if ambient.reason == GOOD else self._ambient_worst_cdegc
            minutes = standing_min(oil.value, ambient_cdegc, self._restart_cdegc, self._cooling_s)
        self.panel.advise(minutes)

    def _power(self) -> None:
        machine = self.machine
        self.run_on = machine.holds_engine()
        waiting = machine.write_wanted or self.keep_awake
        self.power_hold = (
            machine.state != PARKED or machine.state_ms < _TELL_MS or (waiting and machine.state_ms < _POWER_MS)
        )

    def _asleep(self, dt_ms: int) -> None:
        self.machine.state_ms = min(self.machine.state_ms + dt_ms, _POWER_MS)
        self.panel.step(dt_ms)
        self._power()
