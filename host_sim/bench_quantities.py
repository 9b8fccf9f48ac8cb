"""What the owner measures at the desk and beside the car, one function a quantity: the value, how far it may be off, the settings.

Each refuses what cannot be a measurement of it. Uncertainties are standard ones where they come from scatter, else the half-width
that is said; parts that have nothing to do with each other add as squares.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from changeover.sensing import Thermistor
from host_sim.errors import InputError

STANDARD_KPA = 101.325
WEATHER_KPA = 2.5  # half of what high and low weather make at one place, with some room (judgement)
MOST_TRIM_CDEGC = 500
MOST_LEFT_CDEGC = 200  # what the settings allow for once the check is recorded
_REPEATS = 0.05  # two fillings of the jar agree so well (rule R15 of the hardware notes)
_HOSE_MM = 0.2  # how far a hose's bore is off its name (judgement)


@dataclass(frozen=True)
class Measured:
    """`settings`: what to write, by name; `value`, `uncertainty` in `unit`; `words`: how it came about."""

    settings: dict[str, int]
    value: float
    uncertainty: float
    unit: str
    words: str


def pressure_kpa(altitude_m: float) -> float:
    """Air pressure at a height above the sea in the standard atmosphere (ISO 2533: 101.325 kPa, 288.15 K, 6.5 K/km)."""
    if not -500.0 <= altitude_m <= 5000.0:
        raise InputError("altitude", altitude_m, "-500 to 5000 m")
    return STANDARD_KPA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588


def boiling_c(kpa: float) -> float:
    """Boiling point of water in degC at an air pressure, 50 to 110 kPa (Antoine's equation, constants as printed in tables for
    1 to 100 degC, from memory; held against IAPWS-95 in the tests, to 0.1 K)."""
    if not 50.0 <= kpa <= 110.0:
        raise InputError("air pressure", kpa, "50 to 110 kPa")
    return 1730.63 / (8.07131 - math.log10(kpa / 0.133322368)) - 233.426


def boiling_point(altitude_m: float | None = None, kpa: float | None = None) -> tuple[float, float]:
    """(degC, uncertainty in K) where water boils: by a barometer's reading at this place, else by the height alone."""
    if kpa is None:
        if altitude_m is None:
            raise InputError("boiling water", None, "altitude in m, or air pressure in kPa at this place")
        kpa, off = pressure_kpa(altitude_m), WEATHER_KPA
    else:
        off = 0.5  # a household barometer (judgement)
    low, high = max(50.0, kpa - off), min(110.0, kpa + off)
    return boiling_c(kpa), (boiling_c(high) - boiling_c(low)) / 2.0


def mean_counts(counts: Sequence[int]) -> tuple[float, float]:
    """(mean, standard error of it) of readings of one input at rest."""
    if len(counts) < 5 or min(counts) < 0:
        raise InputError("readings", len(counts), "five or more, from a part that answers")
    return statistics.fmean(counts), statistics.stdev(counts) / math.sqrt(len(counts))


def thermistor_trim(
    name: str, values: dict[str, int], ice: Sequence[int], boiling: Sequence[int], boiling_at: tuple[float, float]
) -> Measured:
    """Trim of the `coolant` or `oil` thermistor from readings (counts) in stirred ice and in boiling water.

    The mean of both errors is taken away; half their difference stays and counts as uncertainty, as do scatter and the boiling
    point's. Raises InputError where more stays than the settings allow for.
    """
    plain = Thermistor(True, values, 0)

    def read(counts: Sequence[int]) -> tuple[float, float]:
        mean, error = mean_counts(counts)
        here = plain.convert(round(mean))
        return float(here), abs(plain.convert(round(mean + max(error, 1.0))) - here)

    (cold, cold_error), (hot, hot_error) = read(ice), read(boiling)
    true_hot, hot_known = 100.0 * boiling_at[0], 100.0 * boiling_at[1]
    for place, found, true in ((f"{name} in ice water", cold, 0.0), (f"{name} in boiling water", hot, true_hot)):
        if abs(found - true) > MOST_TRIM_CDEGC:
            raise InputError(
                place, f"{found / 100:.2f} degC", f"within 5 K of {true / 100:.1f} degC: another sensor, or a bad wire"
            )
    low_off, high_off = cold, hot - true_hot
    left = math.sqrt(((high_off - low_off) / 2.0) ** 2 + cold_error**2 + hot_error**2 + hot_known**2)
    if left > MOST_LEFT_CDEGC:
        raise InputError(
            f"{name}, what no trim takes away",
            f"{left / 100:.2f} K",
            "2 K or less: stir the ice, boil hard, check the sensor's table",
        )
    trim = -round((low_off + high_off) / 2.0)
    settings = {
        f"{name}_trim_cdegc": trim, "ntc_check_low_cdegc": 0, "ntc_check_high_cdegc": round(true_hot), "ntc_check_recorded": 1,
    }  # fmt: skip
    words = (
        f"read {low_off / 100:+.2f} K in ice, {high_off / 100:+.2f} K in water that boils at {true_hot / 100:.1f} degC"
    )
    return Measured(settings, trim / 100.0, left / 100.0, "K", words)


def suction_zero(values: dict[str, int], counts: Sequence[int], baro_pa: int | None = None) -> Measured:
    """Zero of the suction sensor with its hose off; an absolute one needs the ambient pressure (Pa) beside it."""
    mean, error = mean_counts(counts)
    gain = values["suction_pa_per_kcount"]
    if values["suction_absolute"]:
        if baro_pa is None:
            raise InputError("ambient pressure", None, "a trusted reading: the suction sensor is an absolute one")
        mean -= 1000.0 * baro_pa / gain
    zero = round(mean)
    off_pa = (values["suction_zero_counts"] - zero) * gain / 1000.0
    if abs(off_pa) > 10_000.0:
        raise InputError(
            "suction with the hose off",
            f"{off_pa / 1000:.1f} kPa from its zero",
            "within 10 kPa: another sensor, or a bad wire",
        )
    return Measured(
        {"suction_zero_counts": zero}, zero, error, "counts", f"read {-off_pa / 1000:+.2f} kPa with the hose off"
    )


def level_ends(tank: str, empty: Sequence[int], full: Sequence[int]) -> Measured:
    """Both ends of the `oil` or `diesel` level sender: readings (counts) empty and brim-full."""
    (low, low_error), (high, high_error) = mean_counts(empty), mean_counts(full)
    if high - low < 2000.0:
        raise InputError(
            f"{tank} level",
            f"{low:.0f} empty, {high:.0f} full",
            "a full tank that reads 2000 counts more than an empty one",
        )
    settings = {f"{tank}_level_zero_counts": round(low), f"{tank}_level_full_counts": round(high)}
    off = 1000.0 * math.hypot(low_error, high_error) / (high - low)
    return Measured(
        settings, high - low, off, "permille", f"{low:.0f} counts empty, {high:.0f} full; off by scatter alone"
    )


def flow_by_jar(fillings: Sequence[tuple[float, float]], mark_ml: float, clock_s: float = 0.5) -> Measured:
    """Return flow from jars: (mL, s) each, two or more that agree within 5 %; `mark_ml`: how fine the jar can be read."""
    if len(fillings) < 2:
        raise InputError("fillings of the jar", len(fillings), "two or more")
    flows = []
    for ml, seconds in fillings:
        if not (ml > 0.0 and seconds >= 10.0):
            raise InputError("a filling of the jar", (ml, seconds), "some mL in 10 s or more")
        flows.append(1000.0 * ml / seconds)
    mean = statistics.fmean(flows)
    if max(flows) - min(flows) > _REPEATS * mean:
        raise InputError(
            "fillings of the jar", f"{min(flows):.0f} to {max(flows):.0f} uL/s", "fillings that agree within 5 %"
        )
    ml, seconds = min(fillings)
    read = mean * math.hypot(mark_ml / ml, clock_s / seconds)
    off = math.hypot(read, (max(flows) - min(flows)) / 2.0)
    if off > 0.1 * mean:
        raise InputError("flow", f"{mean:.0f} uL/s, off by {off:.0f}", "known to 10 %: a larger jar, a longer time")
    words = "the law credits four fifths of it, which covers what it may be off"
    return Measured({"flow_measured_ul_s": math.floor(mean)}, mean, off, "uL/s", words)


def path_volume(pieces: Sequence[tuple[float, float]], length_off_m: float = 0.02) -> Measured:
    """Volume between the valves by (bore mm, length m) of each piece; the setting takes the upper end of what it may be.

    All bores may be off the same way, so their parts are added, not squared.
    """
    if not pieces:
        raise InputError("pieces of line", 0, "bore and length of at least one")
    volume = off = 0.0
    for bore_mm, length_m in pieces:
        if not (2.0 <= bore_mm <= 50.0 and 0.0 < length_m <= 20.0):
            raise InputError("a piece of line", (bore_mm, length_m), "a bore of 2 to 50 mm and a length of up to 20 m")
        piece_ul = math.pi / 4.0 * bore_mm**2 * length_m * 1000.0  # mm2 m is mL
        volume += piece_ul
        off += piece_ul * (2.0 * _HOSE_MM / bore_mm + length_off_m / length_m)
    words = "pump, its filter and valve bodies come on top: add them as pieces of the same volume"
    return Measured({"path_ul": math.ceil(volume + off)}, volume, off, "uL", words)
