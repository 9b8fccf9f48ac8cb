"""The law on a test bench: readings in physical units in, commands out, a flash of two slots. No plant: stories rule.

Every tick of every story also checks what must hold always (`Rig.check`).
"""

from __future__ import annotations

from collections.abc import Callable

from changeover.inputs import (
    BONNET,
    BRAKE,
    BUTTON,
    ENGINE,
    KEY,
    NEUTRAL,
    READY,
    RETURN_CONTACT,
    SUPPLY_CONTACT,
)
from changeover.law import Law
from changeover.memory import Record, choose
from changeover.sensing import (
    AMBIENT,
    BARO,
    COOLANT,
    DIESEL_LEVEL,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SUCTION,
    SUPPLY,
)
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, defaults
from changeover.states import FILLING, ON_OIL, PARKED, STATES
from changeover.ticks import ticks_add
from changeover.validate import validate
from host_sim.signals import from_physical, to_physical

TICK_MS = 100
OPEN_COUNTS, SHORT_COUNTS = 65520, 20

CHANNELS = {
    "coolant_c": COOLANT, "oil_c": OIL, "suction_kpa": SUCTION, "oil_tank_c": OIL_TANK, "pump_inlet_c": PUMP_INLET,
    "oil_level": OIL_LEVEL, "diesel_level": DIESEL_LEVEL, "supply_v": SUPPLY, "ambient_c": AMBIENT, "ambient_kpa": BARO,
}  # fmt: skip
COLD_MORNING = {
    "coolant_c": -10.0, "oil_c": -10.0, "suction_kpa": 0.0, "oil_tank_c": -10.0, "pump_inlet_c": -10.0,
    "oil_level": 0.6, "diesel_level": 0.6, "supply_v": 12.5, "ambient_c": -10.0, "ambient_kpa": 100.0,
}  # fmt: skip
HOT_ENGINE = {
    "coolant_c": 88.0,
    "oil_c": 80.0,
    "oil_tank_c": 80.0,
    "supply_v": 14.2,
    "suction_kpa": 5.0,
    "pump_inlet_c": 40.0,
}


def fitted_out(**changes: int) -> dict[str, int]:
    """Settings of a car with all but the heater fitted, on `automatic`, its volumes small: fill 1.8 s, purge 12 s."""
    values = defaults()
    for name in ("oil_tank_ntc", "pump_inlet_ntc", "oil_level", "diesel_level", "supply", "ambient", "supply_contact"):
        values["fit_" + name] = 1
    values["fit_return_contact"] = 1
    values["authority"] = AUTOMATIC
    values["path_ul"] = 100000
    values["flow_measured_ul_s"] = 15625
    values["purge_factor_permille"] = 1500
    values["dwell_diesel_s"] = 20
    for name, value in changes.items():
        assert name in values, name
        values[name] = value
    return values


class Rig:
    """`run` lets time pass in ticks; `reads` and `counts` say what the sensors show, `levels` what the contacts do."""

    def __init__(
        self,
        *,
        oil_in_lines: int = False,
        valid: int = True,
        restarted: int = False,
        now_ms: int = 0,
        **settings: int,
    ) -> None:
        """The first three are flags; `oil_in_lines` is what flash remembers. Settings: see `fitted_out`."""
        self.values = fitted_out(**settings)
        if valid:
            assert validate(self.values) == []
        self.valid = bool(valid)
        self.now_ms = now_ms
        self.slots = [b"", b""]
        self.refuses_writes = False
        self.contacts_follow = True
        self.writes: list[bool] = []  # what each record that reached flash said of oil in the lines
        self.moves: list[tuple[str, str, int]] = []
        self.counts = [0] * 10
        self.levels = [False] * 10
        self.watch: Callable[[bool | None], None] | None = None  # sees every tick and what was answered to a write
        self._gone = [0] * 6  # for how many ticks: three sensors open or short, engine off, key off, selector on DIESEL
        first = Record()
        first.oil_in_lines = bool(oil_in_lines)
        self.slots[1] = first.encode()
        self.reads(**COLD_MORNING)
        self.boot(bool(restarted))

    def boot(self, restarted: bool = False) -> None:
        """The board starts and reads its flash."""
        self.law = Law(self.values, choose(self.slots), self.valid, restarted)
        self._moves_seen = 0

    def reads(self, **values: float) -> None:
        """What the sensors show from now on, in the units of the names."""
        for name, value in values.items():
            self.counts[CHANNELS[name]] = from_physical(CHANNELS[name], value)

    def tick(self, dt_ms: int = TICK_MS) -> None:
        """One tick, `dt_ms` after the last."""
        law = self.law
        self.now_ms = ticks_add(self.now_ms, dt_ms)
        if self.contacts_follow:
            self.levels[SUPPLY_CONTACT] = law.machine.supply_on
            self.levels[RETURN_CONTACT] = law.machine.return_on
        law.step(self.now_ms, self.counts, self.levels)
        self._count_what_is_gone()
        self.check()
        machine = law.machine
        if machine.moves != self._moves_seen:
            self._moves_seen = machine.moves
            self.moves.append((STATES[machine.move_from], STATES[machine.move_to], machine.move_reason))
        answer: bool | None = None
        if machine.write_wanted:
            answer = self.write()
        if self.watch is not None:
            self.watch(answer)

    def _count_what_is_gone(self) -> None:
        gone = [not 700 < self.counts[channel] < 65000 for channel in (COOLANT, OIL, SUCTION)]
        gone += [not self.levels[ENGINE], not self.levels[KEY], not self.levels[READY]]
        self._gone = [ticks + 1 if now else 0 for ticks, now in zip(self._gone, gone, strict=True)]

    def write(self) -> bool:
        """The board writes the record and tells the law whether it reads back."""
        data = self.law.write_record()
        if not self.refuses_writes:
            self.slots[self.law.record.slot()] = data
            self.writes.append(self.law.record.oil_in_lines)
        self.law.written(not self.refuses_writes)
        return not self.refuses_writes

    def run(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds * 1000 / TICK_MS)):
            self.tick()

    def ramp(self, seconds: float, **values: float) -> None:
        """Let these readings run to new values in a straight line."""
        steps = round(seconds * 1000 / TICK_MS)
        start = {name: to_physical(CHANNELS[name], self.counts[CHANNELS[name]]) for name in values}
        for step in range(1, steps + 1):
            self.reads(**{name: start[name] + (values[name] - start[name]) * step / steps for name in values})
            self.tick()

    def until(self, condition: Callable[[], bool], within_s: float) -> float:
        """Let time pass until `condition`; how long that took in s. Fails if it never comes within `within_s`."""
        for ticks in range(round(within_s * 1000 / TICK_MS) + 1):
            if condition():
                return ticks * TICK_MS / 1000
            self.tick()
        raise AssertionError(f"not within {within_s} s; {self.state}, message {self.message}, {self.moves[-3:]}")

    def check(self) -> None:
        """What must hold on every tick, whatever the story."""
        machine = self.law.machine
        if max(self._gone) > 5:  # half a second, before which an input may bounce
            assert not machine.supply_on
        if self._gone[3] > 10:
            assert not machine.return_on
            assert not self.law.heater.on
        if machine.supply_on:
            assert machine.state in (FILLING, ON_OIL)
            assert machine.lines_dirty, "oil let in and not known"
            assert choose(self.slots).oil_in_lines, "oil let in and not remembered"
            assert self.law.interlocks.forced == 0
            assert self.law.inputs.contact[KEY].on
        if machine.lines_dirty:  # a valve that moved by itself is written down as soon as it is found out
            announced = machine.record_dirty and (machine.write_wanted or machine.memory_bad) and not machine.supply_on
            assert announced or choose(self.slots).oil_in_lines, "oil in the lines and not remembered"
        if machine.supply_on or machine.return_on or self.law.heater.on or self.law.run_on:
            assert self.law.inputs.contact[ENGINE].on
            assert self.values["authority"] != ADVISE
            assert machine.state != PARKED
            assert self.law.power_hold
        if self.law.run_on:
            assert machine.lines_dirty, "an engine is held on only to purge"
            assert all(self.law.inputs.contact[switch].on for switch in (BRAKE, NEUTRAL, BONNET))
            assert self.values["run_on_s"] > 0

    @property
    def state(self) -> str:
        return STATES[self.law.machine.state]

    @property
    def message(self) -> int:
        return self.law.panel.message

    @property
    def on_diesel(self) -> bool:
        """No command for oil at the supply valve."""
        return not self.law.machine.supply_on

    def lets(self, *rows: int) -> bool:
        """Exactly these rows block entry now."""
        return self.law.interlocks.blocked == sum(1 << row for row in rows)

    def holds(self, row: int) -> bool:
        """This row forces diesel now."""
        return self.law.interlocks.forced >> row & 1 == 1

    def blocks(self, row: int) -> bool:
        """This row blocks entry now."""
        return self.law.interlocks.blocked >> row & 1 == 1

    # what the driver does

    def key(self, on: bool) -> None:
        self.levels[KEY] = on

    def engine(self, on: bool) -> None:
        self.levels[ENGINE] = on

    def ready(self, on: bool = True) -> None:
        self.levels[READY] = on

    def press(self, seconds: float) -> None:
        """Hold the "stopping soon" button for so long, then let go."""
        self.levels[BUTTON] = True
        self.run(seconds)
        self.levels[BUTTON] = False
        self.run(0.3)

    def start(self) -> None:
        """Key on, a second of cranking, engine running."""
        self.key(True)
        self.run(0.5)
        self.reads(supply_v=10.5)
        self.run(1.0)
        self.engine(True)
        self.reads(supply_v=14.2)

    def warm_start(self, **readings: float) -> None:
        """A warm car with READY chosen, until it is on oil and has been for a while."""
        loop = (
            {"pump_inlet_c": 70.0} if self.values["layout"] == LOOPED_RETURN else {}
        )  # it goes round until it is warm
        self.reads(**{**HOT_ENGINE, **loop, **readings})
        self.ready()
        self.start()
        self.until(lambda: self.state == "ON_OIL", 60)
        self.run(3)
