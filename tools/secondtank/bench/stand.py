"""What stands in for the car while the bench feeds a board: sliders, switches, valves that follow, and the catalogue's faults.

Every feed gives ten counts and ten levels in the law's order. Temperatures creep towards their sliders, for a jump of 5 K is a
fault to the law, and no oil warms so fast.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    Inputs,
)
from changeover.sensing import BARO, JUMP_CDEGC, SUCTION, SUPPLY, Thermistor
from host_sim.catalogue import BY_ID, Entry
from host_sim.faults import Injector
from host_sim.link_client import Telemetry
from host_sim.signals import TOP_COUNTS

# In the law's units: 0.01 degC, Pa, permille, mV.
AT_REST = [2000, 2000, 0, 2000, 2000, 600, 600, 12500, 2000, 101000]
WARM = {0: 8800, 1: 8200, 2: 6000, 3: 8100, 4: 7000, 7: 14200}
STARTED = {7: 14200, 2: 500}
COLD = {0: -500, 1: -500, 2: 0, 3: -500, 4: -500, 7: 12500, 8: -500}
_CREEP_CDEGC = JUMP_CDEGC * 4 // 5  # a feed
_CREEPS = (0, 1, 3, 4, 8)
_VALVE_S = 0.5  # travel; common practice: a few tenths of a second, no source

_INSIDE = "it happens inside the board, where no input of the bench reaches"
_METAL = "it happens in metal that the board has no input for"
_MODEL = "it takes a car that warms and cools: only the simulated one does"
NOT_HERE = {
    **dict.fromkeys(("brown_out", "resets", "hang", "stalls", "flash_refuses", "write_cut", "settings_damaged"), _INSIDE),
    **dict.fromkeys(("supply_leak", "return_leak", "heater_welded", "engine_relay_welded"), _METAL),
    **dict.fromkeys(("run_on_relay_welded", "run_on_timer_stuck"), _METAL),
    **dict.fromkeys(("heater_dead", "thermostat_open", "coolant_lost"), _MODEL),
}  # fmt: skip


class Scales:
    """From a quantity to the counts that a board with these settings takes for it."""

    def __init__(self, values: dict[str, int]) -> None:
        inputs = Inputs(values)
        self._channels = inputs.channel
        self._absolute = inputs.absolute

    def counts(self, quantities: list[int]) -> list[int]:
        """Ten counts, 0..65520, the nearest ones. Suction is below ambient, as everywhere."""
        wanted = list(quantities)
        if self._absolute:
            wanted[SUCTION] = wanted[BARO] - wanted[SUCTION]
        return [self._inverse(index, value) for index, value in enumerate(wanted)]

    def _inverse(self, index: int, wanted: int) -> int:
        channel = self._channels[index]
        falls = isinstance(channel, Thermistor)
        low, high = 0, TOP_COUNTS
        while low < high:
            middle = (low + high) // 2
            found = channel.convert(middle)
            if (found <= wanted) if falls else (found >= wanted):
                high = middle
            else:
                low = middle + 1
        return low


class _Supply:
    sag_v: float | None = None


class _RunOn:
    brake_stuck = neutral_stuck = bonnet_stuck = False


class _Valve:
    """A contact that follows its coil: after its travel, unless it is stuck or its stage is."""

    def __init__(self) -> None:
        self.contact = False
        self._for_s = 0.0

    def step(self, coil: bool, dt_s: float, slow: float, stuck: float | None) -> bool:
        self._for_s = self._for_s + dt_s if coil != self.contact else 0.0
        if self._for_s >= _VALVE_S * slow:
            self.contact = coil
            self._for_s = 0.0
        return self.contact if stuck is None else stuck >= 1.0


@dataclass
class Broken:
    """A fault at work: since when (s of the session's clock), was the supply valve on oil then, and when the board found out and was
    on diesel."""

    entry: Entry
    since_s: float
    on_oil: bool
    told_s: float | None = None
    diesel_s: float | None = None


class Stand:
    """`wanted`: ten quantities as the sliders stand; `levels`: ten contacts as hands set them. The catalogue's hooks are its
    attributes, those of the simulated car that an input can show."""

    supply_stuck: float | None = None
    return_stuck: float | None = None
    supply_stage: float | None = None
    return_stage: float | None = None
    supply_slow = return_slow = 1.0
    filter_extra_resistance = water_slug = wax_plug = 1.0
    air_leak = 0.0

    def __init__(self, values: dict[str, int]) -> None:
        self.supply = _Supply()
        self.run_on = _RunOn()
        self.wanted = list(AT_REST)
        self.levels = [False] * 10
        self.levels[BRAKE] = self.levels[NEUTRAL] = self.levels[BONNET] = True
        self.broken: dict[str, Broken] = {}
        self._truth = list(AT_REST)
        self._valves = _Valve(), _Valve()
        self._injector = Injector(0)
        self.rescale(values)

    def rescale(self, values: dict[str, int]) -> None:
        """Another board, or other settings in force."""
        self._scales = Scales(values)

    def park(self) -> None:
        """Key off, engine stopped, hands off, everything healed: how each grant begins."""
        for index in (KEY, ENGINE, READY, BUTTON):
            self.levels[index] = False
        for ident in list(self.broken):
            self.heal(ident)
        self._truth = list(self.wanted)

    def break_(self, ident: str, now_s: float, on_oil: bool) -> None:
        """Let a fault of the catalogue begin. KeyError for a name that is none; ValueError for one that cannot be shown here."""
        entry = BY_ID[ident]
        if entry.kind in NOT_HERE:
            raise ValueError(f"{ident}: {NOT_HERE[entry.kind]}; secondtank faults --only {ident} plays it")
        if ident not in self.broken:
            self._injector.start(entry.fault(0), self, self)  # pyright: ignore[reportArgumentType]
            self.broken[ident] = Broken(entry, now_s, on_oil)

    def heal(self, ident: str) -> None:
        """Let it end; nothing where it is not at work."""
        broken = self.broken.pop(ident, None)
        if broken is not None:
            self._injector.stop(broken.entry.fault(0), self, self)  # pyright: ignore[reportArgumentType]

    def feed(self, now_s: float, dt_s: float, row: Telemetry | None) -> tuple[list[int], list[bool]]:
        """What the inputs read now; `row`: the board's last word on its valves."""
        for ident, broken in list(self.broken.items()):
            if broken.entry.duration_s is not None and now_s - broken.since_s >= broken.entry.duration_s:
                self.heal(ident)
        truth = self._truth
        for index, wanted in enumerate(self.wanted):
            step = _CREEP_CDEGC if index in _CREEPS else abs(wanted - truth[index])
            truth[index] += max(-step, min(step, wanted - truth[index]))
        counts = self._read()
        levels = list(self.levels)
        self._follow(levels, dt_s, row)
        self._injector.apply(round(1000 * now_s), counts, levels)
        return counts, levels

    def _read(self) -> list[int]:
        seen = list(self._truth)
        flow = self.filter_extra_resistance * self.water_slug * self.wax_plug * (1.0 - self.air_leak)
        seen[SUCTION] = min(90000, round(seen[SUCTION] * flow))
        if self.supply.sag_v is not None:
            seen[SUPPLY] = min(seen[SUPPLY], round(1000 * self.supply.sag_v))
        return self._scales.counts(seen)

    def _follow(self, levels: list[bool], dt_s: float, row: Telemetry | None) -> None:
        for index, stuck in (
            (BRAKE, self.run_on.brake_stuck), (NEUTRAL, self.run_on.neutral_stuck), (BONNET, self.run_on.bonnet_stuck),
        ):  # fmt: skip
            levels[index] = levels[index] or stuck
        supply, back = (bool(row.out["supply"]), bool(row.out["return"])) if row else (False, False)
        if self.supply_stage is not None:
            supply = self.supply_stage > 0.0
        if self.return_stage is not None:
            back = self.return_stage > 0.0
        supply = supply and levels[KEY] and levels[READY]  # its feed goes through both
        levels[SUPPLY_CONTACT] = self._valves[0].step(supply, dt_s, self.supply_slow, self.supply_stuck)
        levels[RETURN_CONTACT] = self._valves[1].step(back, dt_s, self.return_slow, self.return_stuck)
