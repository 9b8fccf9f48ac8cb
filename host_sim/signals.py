"""What the board's inputs read: raw counts of ten analog channels and ten switched inputs, from the car's truth."""

from __future__ import annotations

import random
from copy import copy, deepcopy
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from host_sim import ntc, pressure

if TYPE_CHECKING:
    from host_sim.car import Car

# Analog channels, in the order in which the law reads them. The first three stand on the Pico's own converter.
COOLANT, OIL, SUCTION, OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY, AMBIENT, AMBIENT_PRESSURE = range(10)
ANALOG_NAMES = (
    "coolant", "oil", "suction", "oil_tank", "pump_inlet", "oil_level", "diesel_level", "supply", "ambient",
    "ambient_pressure",
)  # fmt: skip
PICO_CHANNELS = (COOLANT, OIL, SUCTION)
NTC_CHANNELS = (COOLANT, OIL, OIL_TANK, PUMP_INLET, AMBIENT)

KEY, ENGINE, READY, BUTTON, SUPPLY_CONTACT, RETURN_CONTACT, BRAKE, NEUTRAL, BONNET, LIGHTING = range(10)
DIGITAL_NAMES = (
    "key", "engine", "ready", "button", "supply_contact", "return_contact", "brake", "neutral", "bonnet", "lighting",
)  # fmt: skip

FULL_SCALE = 65535
TOP_COUNTS = 65520  # sixteen times the highest code of a 12-bit converter
NO_ANSWER = -1  # what an I2C channel reads when its part is silent
OVERSAMPLING = 16
# Differential nonlinearity of the RP2040 at four codes, up to 8.9 LSB (pico-adc.markomo.me; erratum RP2040-E11).
STEP_LSB = 8.9
PICO_NOISE_LSB = 0.97  # rms, input-referred (pico-adc.markomo.me, supply in power-saving mode)
# Standard deviation of a sum of sixteen codes: input noise and rounding, which noise of 1 LSB makes independent.
PICO_NOISE_COUNTS = (OVERSAMPLING * (PICO_NOISE_LSB**2 + 1.0 / 12.0)) ** 0.5
I2C_NOISE_COUNTS = 2.0  # judgement: a 16-bit converter without the Pico's steps
SUPPLY_FULL_SCALE_V = 20.0
LEVEL_SPAN = 0.9 * FULL_SCALE
LEVEL_EMPTY_COUNTS = 3277
CONTACT_AT = 0.9  # share of a valve's travel from which its contact says "on oil" (judgement)

_COLDEST_C = -100.0
_HOTTEST_C = 250.0
_PER_K = 256.0  # steps of the temperature tables a kelvin: 1/512 K, at most 1.2 counts, below the noise
_SHIFT = -_COLDEST_C * _PER_K + 0.5
_NTC_KNOT_K = 0.5
_NOISE_LENGTH = 8192
_STD_PRESSURE_KPA = 101.325
_ABSOLUTE = pressure.ABSOLUTE_115
_SUCTION_ZERO = FULL_SCALE * pressure.DIFFERENTIAL_100.offset + 0.5
_SUCTION_PER_PA = FULL_SCALE * pressure.DIFFERENTIAL_100.slope_per_kpa / 1000.0
_SUPPLY_PER_V = FULL_SCALE / SUPPLY_FULL_SCALE_V


def adc_transfer(code: float) -> float:
    """Mean code (0..4095) that the Pico's converter gives for an input of `code` LSB (0..4096).

    Four codes are STEP_LSB wider than the others, which are narrower for it, so that both ends stay true: a saw tooth
    of STEP_LSB / 2 either way, with its falls on the four codes.
    """
    period = ntc.ADC_CODES / len(ntc.ADC_STEP_CODES)
    half = STEP_LSB / 2.0
    first = ntc.ADC_STEP_CODES[0]
    turn = (code + first) % period  # 0 in the middle of a wide code
    base = code - turn
    if turn < half:
        out = base
    elif turn > period - half:
        out = base + period
    else:
        out = base + (turn - half) * period / (period - STEP_LSB)
    return min(ntc.ADC_CODES - 1.0, max(0.0, out))


@lru_cache(maxsize=1)
def _pico_table() -> list[int]:
    """Mean reading of the Pico's converter for each ideal reading 0..65535."""
    return [round(OVERSAMPLING * adc_transfer(ideal / OVERSAMPLING)) for ideal in range(FULL_SCALE + 1)]


@lru_cache(maxsize=4)
def _ideal_table(sensor: ntc.Ntc, pullup_ohm: float) -> list[int]:
    """Ideal reading of the divider every 1/_PER_K kelvin, interpolated between knots of _NTC_KNOT_K."""
    per_knot = int(_NTC_KNOT_K * _PER_K)
    knots = int((_HOTTEST_C - _COLDEST_C) / _NTC_KNOT_K)
    exact = [ntc.counts(_COLDEST_C + _NTC_KNOT_K * knot, sensor, pullup_ohm) for knot in range(knots + 1)]
    rows: list[int] = []
    for here, there in pairwise(exact):
        slope = (there - here) / per_knot
        rows.extend(int(here + slope * part + 0.5) for part in range(per_knot))
    return rows


@lru_cache(maxsize=4)
def _stepped_table(sensor: ntc.Ntc, pullup_ohm: float) -> list[int]:
    """As `_ideal_table`, read by the Pico's converter."""
    pico = _pico_table()
    return [pico[ideal] for ideal in _ideal_table(sensor, pullup_ohm)]


class Cockpit:
    """What hands do on the dashboard, the key apart: set by the driver, read by `Signals`."""

    __slots__ = ("button", "lighting", "ready")

    def __init__(self) -> None:
        self.ready = False
        self.button = False
        self.lighting = False


class Signals:
    """Raw readings of the default board, updated in place by `sample`.

    `raw`: ten ints 0..65520 (Pico) or 0..65535 (I2C), in the order of ANALOG_NAMES; `digital`: ten bools in the order
    of DIGITAL_NAMES. Set `logged_supply_v` (V) to let what a trace logged stand in for the car's own. Noise comes from
    one random stream of this object's own.
    """

    def __init__(
        self,
        seed: int,
        cockpit: Cockpit | None = None,
        sensor: ntc.Ntc = ntc.STANDARD_10K,
        pullup_ohm: float = ntc.PULLUP_OHM,
    ) -> None:
        self.raw = [0] * len(ANALOG_NAMES)
        self.digital = [False] * len(DIGITAL_NAMES)
        self.cockpit = cockpit if cockpit is not None else Cockpit()
        self.logged_supply_v: float | None = None
        self._rng = random.Random(f"signals {seed}")
        gauss = self._rng.gauss
        self._pico_noise = [round(gauss(0.0, PICO_NOISE_COUNTS)) for _ in range(_NOISE_LENGTH)]
        self._i2c_noise = [round(gauss(0.0, I2C_NOISE_COUNTS)) for _ in range(_NOISE_LENGTH)]
        self._cursor = 0
        self._shift = [_SHIFT] * len(ANALOG_NAMES)
        self._suction_zero = _SUCTION_ZERO
        self._stepped = _stepped_table(sensor, pullup_ohm)
        self._ideal = _ideal_table(sensor, pullup_ohm)
        self._pico = _pico_table()

    def __deepcopy__(self, memo: dict[int, object]) -> Signals:
        """A fork that reads on alone; the tables are shared."""
        twin = copy(self)
        memo[id(self)] = twin
        twin.raw = list(self.raw)
        twin.digital = list(self.digital)
        twin.cockpit = deepcopy(self.cockpit, memo)
        twin._rng = deepcopy(self._rng, memo)
        return twin

    def offset(self, channel: int, size: float) -> None:
        """From now on this sensor reads so much beside the truth (K; SUCTION: kPa), as one within its tolerance may.

        Raises ValueError for a channel that has neither temperature nor suction on it.
        """
        if channel == SUCTION:
            self._suction_zero = _SUCTION_ZERO + 1000.0 * size * _SUCTION_PER_PA
        elif channel in NTC_CHANNELS:
            self._shift = [*self._shift[:channel], _SHIFT + size * _PER_K, *self._shift[channel + 1 :]]
        else:
            raise ValueError(f"{ANALOG_NAMES[channel]} takes no offset")

    def sample(self, car: Car) -> None:
        """Read every input once: fills `raw` and `digital`."""
        k = self._cursor
        if k > _NOISE_LENGTH - 10:
            k = self._rng.randrange(1000)  # another start each round, so that the noise has no period
        self._cursor = k + 10
        raw = self.raw
        stepped = self._stepped
        ideal = self._ideal
        noise = self._pico_noise
        shift = self._shift
        raw[COOLANT] = stepped[int(car.coolant_feed_c * _PER_K + shift[COOLANT])] + noise[k]
        raw[OIL] = stepped[int(car.filter_c * _PER_K + shift[OIL])] + noise[k + 1]
        suction = int(car.suction_pa * _SUCTION_PER_PA + self._suction_zero)
        suction = (
            self._pico[suction if 0 < suction < FULL_SCALE else (0 if suction <= 0 else FULL_SCALE)] + noise[k + 2]
        )
        raw[SUCTION] = suction if 0 < suction < TOP_COUNTS else (0 if suction <= 0 else TOP_COUNTS)
        noise = self._i2c_noise
        raw[OIL_TANK] = ideal[int(car.tank_outlet_c * _PER_K + shift[OIL_TANK])] + noise[k + 3]
        raw[PUMP_INLET] = ideal[int(car.pump_inlet_c * _PER_K + shift[PUMP_INLET])] + noise[k + 4]
        raw[OIL_LEVEL] = int(car.oil_level * LEVEL_SPAN) + LEVEL_EMPTY_COUNTS + noise[k + 5]
        raw[DIESEL_LEVEL] = int(car.diesel_level * LEVEL_SPAN) + LEVEL_EMPTY_COUNTS + noise[k + 6]
        logged = self.logged_supply_v
        supply = int((car.supply_v if logged is None else logged) * _SUPPLY_PER_V) + noise[k + 7]
        raw[SUPPLY] = supply if 0 < supply < FULL_SCALE else (0 if supply <= 0 else FULL_SCALE)
        raw[AMBIENT] = ideal[int(car.ambient_c * _PER_K + shift[AMBIENT])] + noise[k + 8]
        raw[AMBIENT_PRESSURE] = _STD_PRESSURE_COUNTS + noise[k + 9]
        cockpit = self.cockpit
        digital = self.digital
        digital[KEY] = car.key_on
        digital[ENGINE] = car.engine_running
        digital[READY] = cockpit.ready
        digital[BUTTON] = cockpit.button
        digital[SUPPLY_CONTACT] = car.supply_valve_pos > CONTACT_AT
        digital[RETURN_CONTACT] = car.return_valve_pos > CONTACT_AT
        digital[BRAKE] = car.run_on.brake
        digital[NEUTRAL] = car.run_on.neutral
        digital[BONNET] = car.run_on.bonnet
        digital[LIGHTING] = cockpit.lighting


_STD_PRESSURE_COUNTS = round(_ABSOLUTE.counts(_STD_PRESSURE_KPA))


def counts_from_c(t_c: float, channel: int = COOLANT) -> int:
    """Reading of the default thermistor at t_c (degC, -100..250) without noise, by the channel's converter."""
    table = _stepped_table if channel in PICO_CHANNELS else _ideal_table
    return table(ntc.STANDARD_10K, ntc.PULLUP_OHM)[int(t_c * _PER_K + _SHIFT)]


def to_physical(channel: int, counts: float) -> float:
    """Ideal inverse of a channel's transfer: degC, kPa (ambient pressure: absolute), level 0..1, or V."""
    if channel in NTC_CHANNELS:
        return ntc.counts_to_c(min(TOP_COUNTS, max(1.0, counts)))
    if channel == SUCTION:
        return pressure.DIFFERENTIAL_100.counts_to_kpa(counts)
    if channel == AMBIENT_PRESSURE:
        return _ABSOLUTE.counts_to_kpa(counts)
    if channel == SUPPLY:
        return counts / _SUPPLY_PER_V
    return (counts - LEVEL_EMPTY_COUNTS) / LEVEL_SPAN


def from_physical(channel: int, value: float) -> int:
    """Ideal transfer of a channel (units as `to_physical`), rounded and clipped to 0..TOP_COUNTS."""
    if channel in NTC_CHANNELS:
        counts = ntc.counts(min(_HOTTEST_C, max(_COLDEST_C, value)))
    elif channel == SUCTION:
        counts = pressure.DIFFERENTIAL_100.counts(value)
    elif channel == AMBIENT_PRESSURE:
        counts = _ABSOLUTE.counts(value)
    elif channel == SUPPLY:
        counts = value * _SUPPLY_PER_V
    else:
        counts = value * LEVEL_SPAN + LEVEL_EMPTY_COUNTS
    return min(TOP_COUNTS, max(0, round(counts)))
