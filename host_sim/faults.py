"""Faults on purpose: what is done to the raw readings between sampling and the law, and to the plant's own fault hooks.

While no fault is active the injector costs one test of an empty list. After recovery the readings are the unfaulted
ones again.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING

import simpy

from host_sim import ntc
from host_sim.actors import pause
from host_sim.errors import InputError
from host_sim.signals import (
    ANALOG_NAMES,
    DIGITAL_NAMES,
    FULL_SCALE,
    NO_ANSWER,
    NTC_CHANNELS,
    PICO_CHANNELS,
    TOP_COUNTS,
    from_physical,
    to_physical,
)

if TYPE_CHECKING:
    from simpy.events import ProcessGenerator

    from host_sim.car import Car
    from host_sim.virtual_board import VirtualBoard

I2C_CHANNELS = tuple(channel for channel in range(len(ANALOG_NAMES)) if channel not in PICO_CHANNELS)
# Supply current of a ratiometric pressure sensor over the reference voltage: 7 mA typical, 3.3 V (judgement).
SENSOR_SUPPLY_S = 0.007 / 3.3

ANALOG, DIGITAL, BOARD, PLANT = "analog", "digital", "board", "plant"


@dataclass(frozen=True)
class Kind:
    """One word of the fault vocabulary.

    `on`: what it can act on; `size_unit`, `size_range` and `default_size`: its size, unit None where it takes none;
    `hook`: attribute of the car (a kind on the board: of the board) or of a part of it (`part.name`) that it sets, with the
    value that is harmless; `then`: method of the same that is called once it is set.
    """

    does: str
    on: tuple[str, ...]
    size_unit: str | None = None
    size_range: tuple[float, float] = (0.0, 0.0)
    default_size: float | None = None
    hook: str | None = None
    harmless: float | bool | None = None
    then: str | None = None


def _flag(does: str, hook: str) -> Kind:
    """A plant fault that is there or not."""
    return Kind(does, (PLANT,), hook=hook, harmless=False)


def _share(does: str, hook: str, usual: float) -> Kind:
    """A plant fault sized by a share, harmless at 0."""
    return Kind(does, (PLANT,), "fraction", (0.0, 1.0), usual, hook, 0.0)


def _times(does: str, hook: str, usual: float) -> Kind:
    """A plant fault sized by a factor, harmless at 1."""
    return Kind(does, (PLANT,), "factor", (1.0, 1000.0), usual, hook, 1.0)


def _stuck_valve(does: str, hook: str) -> Kind:
    return Kind(does, (PLANT,), "position", (0.0, 1.0), None, hook, None)


def _stage(does: str, hook: str) -> Kind:
    return Kind(does, (BOARD,), "state", (0.0, 1.0), None, hook, None)


_WIRES = (ANALOG, DIGITAL)
_OWN = "unit of the channel"

KINDS: dict[str, Kind] = {
    "open": Kind("the wire is broken: a thermistor reads the top of the scale, any other input 0 or off", _WIRES),
    "short": Kind("the signal wire lies on ground: analog reads 0; a switched input reads on", _WIRES),
    "stuck": Kind("reads one given value whatever is true", _WIRES, _OWN, (-100.0, 250.0)),
    "frozen": Kind("goes on reading what it read at the onset", _WIRES),
    "offset": Kind("reads a fixed amount beside the truth", (ANALOG,), _OWN, (-100.0, 100.0)),
    "scale": Kind("reads the truth times a factor", (ANALOG,), "factor", (0.0, 10.0)),
    "slow": Kind("follows the truth with a lag of the first order", (ANALOG,), "s", (0.1, 3600.0)),
    "delayed": Kind("reads what was true some time ago", _WIRES, "s", (0.1, 3600.0)),
    "intermittent": Kind("breaks off and comes back, each for a random time up to the size", _WIRES, "s", (0.1, 600.0)),
    "noise": Kind("reads with random error of this standard deviation", (ANALOG,), _OWN, (0.0, 100.0)),
    "swapped": Kind("this input and `other` have changed places", _WIRES),
    "ground_lifted": Kind(
        "resistance in the common ground of the sensors on the Pico's converter: all of them read high together",
        (BOARD,),
        "ohm",
        (0.0, 1e6),
        20.0,
    ),
    "silent": Kind("the I2C part gives no answer: all its channels read nothing", (BOARD,)),
    "supply_stage": _stage("power stage of the supply valve is open (0) or shorted (1)", "supply_stage"),
    "return_stage": _stage("power stage of the return valve is open (0) or shorted (1)", "return_stage"),
    "brown_out": Kind("the board gets no feed", (BOARD,), hook="feed_cut", harmless=False),
    "resets": Kind(
        "the board's feed breaks for a moment, again and again after so long a time",
        (BOARD,),
        "s",
        (0.1, 3600.0),
        5.0,
        "reset_every_s",
        0.0,
    ),
    "hang": Kind(
        "the program stands still until the watchdog bites or the time is over",
        (BOARD,),
        "s",
        (0.1, 60.0),
        10.0,
        "hang_s",
        0.0,
    ),
    "stalls": Kind("every second the program stands still for so long", (BOARD,), "s", (0.1, 0.9), 0.4, "stall_s", 0.0),
    "flash_refuses": Kind(
        "flash takes no write: worn, full or failing", (BOARD,), hook="flash_refuses", harmless=False
    ),
    "write_cut": Kind(
        "power goes in the middle of the next write of the record; so many bytes of it are whole (0: while erasing)",
        (BOARD,),
        "bytes",
        (0.0, 31.0),
        17.0,
        "cut_at_byte",
        None,
    ),
    "settings_damaged": Kind(
        "the settings in flash are damaged, and the board boots anew",
        (BOARD,),
        hook="settings_damaged",
        harmless=False,
        then="brown_out",
    ),
    "supply_sag": Kind(
        "no more than this voltage reaches board, valves and heater",
        (PLANT,),
        "V",
        (0.0, 16.0),
        None,
        "supply.sag_v",
        None,
    ),
    "supply_stuck": _stuck_valve("supply valve stands still (0 on diesel, 1 on oil)", "supply_stuck"),
    "return_stuck": _stuck_valve("return valve stands still (0 on diesel, 1 on oil)", "return_stuck"),
    "supply_leak": _share("supply valve lets this share of the closed side through", "supply_leak", 0.05),
    "return_leak": _share("return valve lets this share go to the wrong tank", "return_leak", 0.05),
    "supply_slow": _times("supply valve takes so many times its travel time", "supply_slow", 10.0),
    "return_slow": _times("return valve takes so many times its travel time", "return_slow", 10.0),
    "filter_clogged": _times("resistance of the oil filter is multiplied", "filter_extra_resistance", 5.0),
    "element_burst": Kind(
        "the filter element has burst: its resistance falls to this share",
        (PLANT,),
        "fraction",
        (0.01, 0.99),
        0.1,
        "filter_extra_resistance",
        1.0,
    ),
    "water_slug": _times("water in the oil feed multiplies its resistance", "water_slug", 5.0),
    "wax_plug": _times("set fat in the oil feed multiplies its resistance", "wax_plug", 20.0),
    "air_leak": _share("air enters on the suction side (1: the pump gets air only)", "air_leak", 0.5),
    "heater_dead": _flag("filter heater draws no current", "heater_dead"),
    "heater_welded": _flag("contact of the filter heater never opens", "heater_welded"),
    "engine_relay_welded": _flag(
        "relay that feeds the heater only while the engine runs never opens", "engine_relay_welded"
    ),
    "run_on_relay_welded": _flag("relay that holds the engine running never opens", "run_on.relay_welded"),
    "run_on_timer_stuck": _flag("timer relay that ends a held-on engine never opens", "run_on.timer_stuck"),
    "brake_switch_stuck": _flag("switch at the parking brake stands closed", "run_on.brake_stuck"),
    "neutral_switch_stuck": _flag("switch at the gear lever stands closed", "run_on.neutral_stuck"),
    "bonnet_switch_stuck": _flag("switch at the bonnet stands closed", "run_on.bonnet_stuck"),
    "thermostat_open": _flag("thermostat of the engine stands open", "thermostat_stuck_open"),
    "coolant_lost": _share("this share of the coolant is gone", "coolant_lost", 0.8),
}


@dataclass(frozen=True)
class Fault:
    """One fault: kind (a key of KINDS), channel, size, onset and duration in ms of simulated time (None: for good).

    `channel` and `other`: names of ANALOG_NAMES or DIGITAL_NAMES; plant and board kinds take none. Raises InputError.
    """

    kind: str
    channel: str | None = None
    size: float | None = None
    onset_ms: int = 0
    duration_ms: int | None = None
    other: str | None = None

    def __post_init__(self) -> None:
        kind = KINDS.get(self.kind)
        if kind is None:
            raise InputError("fault kind", self.kind, "one of " + ", ".join(KINDS))
        place = f"fault {self.kind}"
        self._check_channel(kind, place)
        self._check_size(kind, place)
        if self.onset_ms < 0:
            raise InputError(f"{place}: onset", self.onset_ms, "0 ms or later")
        if self.duration_ms is not None and self.duration_ms <= 0:
            raise InputError(
                f"{place}: duration", self.duration_ms, "more than 0 ms, or left out for a fault that stays"
            )

    def _check_channel(self, kind: Kind, place: str) -> None:
        names = (ANALOG_NAMES if ANALOG in kind.on else ()) + (DIGITAL_NAMES if DIGITAL in kind.on else ())
        if not names:
            if self.channel is not None:
                raise InputError(f"{place}: channel", self.channel, "no channel: this kind acts on the whole")
        elif self.channel not in names:
            raise InputError(f"{place}: channel", self.channel, "one of " + ", ".join(names))
        if self.kind != "swapped":
            if self.other is not None:
                raise InputError(f"{place}: other", self.other, "nothing: only `swapped` takes a second channel")
            return
        side = ANALOG_NAMES if self.channel in ANALOG_NAMES else DIGITAL_NAMES
        if self.other not in side or self.other == self.channel:
            raise InputError(f"{place}: other", self.other, "another of " + ", ".join(side))

    def _check_size(self, kind: Kind, place: str) -> None:
        if kind.size_unit is None:
            if self.size is not None:
                raise InputError(f"{place}: size", self.size, "no size: this kind takes none")
            return
        low, high = kind.size_range
        size = kind.default_size if self.size is None else self.size
        if size is None or not low <= size <= high:
            raise InputError(f"{place}: size", self.size, f"{low:g} to {high:g} ({kind.size_unit})")
        if self.channel in DIGITAL_NAMES and self.kind == "stuck" and size not in (0.0, 1.0):
            raise InputError(f"{place}: size", self.size, "0 (off) or 1 (on) for a switched input")

    @property
    def effective_size(self) -> float:
        """The size, or its kind's default; 0 where the kind takes none."""
        size = KINDS[self.kind].default_size if self.size is None else self.size
        return 0.0 if size is None else size


class _Active:
    """A fault at work: its target and what it remembers."""

    __slots__ = (
        "broken",
        "fault",
        "history",
        "index",
        "is_digital",
        "kind",
        "last_ms",
        "other",
        "rng",
        "size",
        "state",
        "toggle_ms",
    )

    def __init__(self, fault: Fault, rng: random.Random) -> None:
        self.fault = fault
        self.kind = fault.kind
        self.size = fault.effective_size
        self.is_digital = fault.channel in DIGITAL_NAMES
        names: tuple[str, ...] = DIGITAL_NAMES if self.is_digital else ANALOG_NAMES
        self.index = names.index(fault.channel) if fault.channel is not None else 0
        self.other = names.index(fault.other) if fault.other is not None else 0
        self.rng = rng
        self.state: float | None = None  # value at the onset, or where the lag has got to
        self.last_ms = 0
        self.history: deque[tuple[int, int]] = deque()
        self.broken = False
        self.toggle_ms: int | None = None


class Injector:
    """Applies the active faults to one tick's readings.

    `apply` is to be called once a tick, after sampling and before the law reads; `start` and `stop` by `fault_process`
    or a test. Each fault draws from a random stream of its own, seeded from the injector's.
    """

    def __init__(self, seed: int) -> None:
        self.active: list[_Active] = []
        self._rng = random.Random(f"faults {seed}")

    def start(self, fault: Fault, car: Car | None = None, board: VirtualBoard | None = None) -> None:
        """Let a fault begin; a kind with a hook sets it on `car` or `board`. Raises InputError where that is not there."""
        kind = KINDS[fault.kind]
        if kind.hook is None:
            self.active.append(_Active(fault, random.Random(self._rng.getrandbits(64))))
            return
        target = car if PLANT in kind.on else board
        if target is None:
            part = "car: this kind acts on the plant" if PLANT in kind.on else "board: this kind acts on it"
            raise InputError(f"fault {fault.kind}", None, f"a simulated {part}")
        _set(target, kind.hook, True if kind.size_unit is None else fault.effective_size)
        if kind.then is not None:
            getattr(target, kind.then)()

    def stop(self, fault: Fault, car: Car | None = None, board: VirtualBoard | None = None) -> None:
        """Let a fault heal; its hook goes back to its harmless value."""
        kind = KINDS[fault.kind]
        if kind.hook is not None:
            _set(car if PLANT in kind.on else board, kind.hook, kind.harmless)
            return
        for position, active in enumerate(self.active):
            if active.fault == fault:
                del self.active[position]
                return

    def apply(self, now_ms: int, raw: list[int], digital: list[bool]) -> None:
        """Change this tick's readings in place. `now_ms` is simulated time that never wraps."""
        for active in self.active:
            if active.kind == "ground_lifted":
                _lift_ground(active.size, raw)
            elif active.kind == "silent":
                for channel in I2C_CHANNELS:
                    raw[channel] = NO_ANSWER
            elif active.is_digital:
                _disturb_digital(active, now_ms, digital)
            elif raw[active.index] != NO_ANSWER or active.kind == "swapped":
                _disturb_analog(active, now_ms, raw)


def _set(target: object, hook: str, value: float | bool | None) -> None:
    part, _, name = hook.rpartition(".")
    setattr(attrgetter(part)(target) if part else target, name, value)


def _disturb_analog(active: _Active, now_ms: int, raw: list[int]) -> None:
    kind, index, size = active.kind, active.index, active.size
    value = raw[index]
    if kind == "open":
        raw[index] = _open(index)
    elif kind == "short":
        raw[index] = 0
    elif kind == "stuck":
        raw[index] = from_physical(index, size)
    elif kind == "frozen":
        raw[index] = int(_held(active, value))
    elif kind == "offset":
        raw[index] = from_physical(index, to_physical(index, value) + size)
    elif kind == "scale":
        raw[index] = from_physical(index, to_physical(index, value) * size)
    elif kind == "slow":
        raw[index] = _lag(active, now_ms, value)
    elif kind == "delayed":
        raw[index] = _late(active, now_ms, value)
    elif kind == "intermittent":
        if _is_broken(active, now_ms):
            raw[index] = _open(index)
    elif kind == "noise":
        raw[index] = from_physical(index, to_physical(index, value) + active.rng.gauss(0.0, size))
    elif kind == "swapped":
        raw[index], raw[active.other] = raw[active.other], raw[index]


def _disturb_digital(active: _Active, now_ms: int, digital: list[bool]) -> None:
    kind, index = active.kind, active.index
    value = digital[index]
    if kind == "open":
        digital[index] = False
    elif kind == "short":
        digital[index] = True
    elif kind == "stuck":
        digital[index] = active.size != 0.0
    elif kind == "frozen":
        digital[index] = bool(_held(active, value))
    elif kind == "delayed":
        digital[index] = bool(_late(active, now_ms, value))
    elif kind == "intermittent":
        if _is_broken(active, now_ms):
            digital[index] = False
    elif kind == "swapped":
        digital[index], digital[active.other] = digital[active.other], digital[index]


def _open(index: int) -> int:
    """A thermistor's pull-up takes the input to the reference; the other inputs have a pull-down."""
    return TOP_COUNTS if index in NTC_CHANNELS else 0


def _held(active: _Active, value: float) -> float:
    if active.state is None:
        active.state = value
    return active.state


def _lag(active: _Active, now_ms: int, value: int) -> int:
    """Lag of the first order, exact for a reading that is constant over the tick, whatever the tick's length."""
    state = active.state
    if state is None:
        state = float(value)
    else:
        state = value + (state - value) * math.exp((active.last_ms - now_ms) / (1000.0 * active.size))
    active.state = state
    active.last_ms = now_ms
    return round(state)


def _late(active: _Active, now_ms: int, value: int) -> int:
    """The newest reading that is at least `size` seconds old; until there is one, the reading at the onset."""
    history = active.history
    history.append((now_ms, value))
    due = now_ms - round(1000.0 * active.size)
    while len(history) > 1 and history[1][0] <= due:
        history.popleft()
    return history[0][1]


def _is_broken(active: _Active, now_ms: int) -> bool:
    if active.toggle_ms is None or now_ms >= active.toggle_ms:
        active.broken = not active.broken
        active.toggle_ms = now_ms + active.rng.randint(1, round(1000.0 * active.size))
    return active.broken


def _lift_ground(ohm: float, raw: list[int]) -> None:
    """Readings of the Pico's channels with `ohm` in the sensors' common ground (node equation, reference = 1).

    Every divider's current and the pressure sensor's supply current flow through it, so each sensor stands on the
    lifted node and divides what is left: v' = g + (1 - g) v.
    """
    dividers = [channel for channel in PICO_CHANNELS if channel in NTC_CHANNELS]
    conductance = SENSOR_SUPPLY_S + sum([(1.0 - raw[channel] / FULL_SCALE) / ntc.PULLUP_OHM for channel in dividers])
    lift = ohm * conductance / (1.0 + ohm * conductance)
    for channel in PICO_CHANNELS:
        raw[channel] = min(TOP_COUNTS, round(FULL_SCALE * lift + (1.0 - lift) * raw[channel]))


def fault_process(
    env: simpy.Environment, fault: Fault, injector: Injector, car: Car, board: VirtualBoard
) -> ProcessGenerator:
    """Actor: one fault from onset to recovery. Time of `env` in ms; acts before plant and board of the same instant."""
    yield pause(env, max(0, fault.onset_ms - int(env.now)))
    injector.start(fault, car, board)
    if fault.duration_ms is not None:
        yield pause(env, fault.duration_ms)
        injector.stop(fault, car, board)


def start_faults(
    env: simpy.Environment, faults: Iterable[Fault], injector: Injector, car: Car, board: VirtualBoard
) -> None:
    """One actor for each fault."""
    for fault in faults:
        env.process(fault_process(env, fault, injector, car, board))
