"""How far a reading may be off: tolerances of sensor and network, sent through the law's own conversion."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import exp, sqrt

from changeover.inputs import Inputs
from changeover.sensing import COOLANT, SUCTION
from changeover.settings import defaults
from changeover.validate import undetectable_cdegc
from drawings.markdown import table
from drawings.networks import FILTER_UF, NTC_PULLUP_OHM, RAIL_V, SERIES_OHM
from host_sim import ntc, pressure

R25_SHARE = 0.01  # a "1 %" thermistor: data sheets give 1 % at 25 degC
B_SHARE = 0.01  # and 1 % of B (dtsheet.com/doc/356761, 10 kohm, B 3980)
B25_85_K = 3977.0
PULLUP_SHARE = 0.001 + 25e-6 * 40  # 0.1 %, 25 ppm/K over 40 K
INL_LSB = 7.85  # measured, RP2040 (pico-adc.markomo.me)
END_LSB = (
    15.0  # measured on five boards, near the ends of the scale (rp2040adc_correction); here: beyond the outer steps
)
PIN_LEAKAGE_A = 1e-6  # RP2040 data sheet, IO characteristics
CLAMP_LEAKAGE_A = 1e-6  # dual Schottky diode at 60 degC and 3.3 V (judgement)
INPUT_OHM = 100e3  # RP2040 data sheet, ADC input impedance, while converting
CONVERSION_S = 2e-6  # 500 kS/s
CONVERSIONS = 48  # of one tick: sixteen medians of three (`board_pico`)
AGEING_SHARE = (
    0.02  # after 10 000 h at 70 degC (manualshelf.com, miniature 10 kohm sensor with bendable wires: below 2 %)
)
DISSIPATION_W_K = 4e-3  # in air (dtsheet.com/doc/356761); in oil it is more
GAIN_SHARE = 0.0015  # of one bus converter against the other, ADS1115 (from memory)
BUS_INPUT_OHM = 6e6  # ADS1115 at 4.096 V full scale (from memory)
GROUND_V = 0.010  # for the last column: what a shared ground may lift by
SENSOR_RATIO = 0.9 * 0.025  # 2.5 % of span 0.9, MPX5100 data sheet, 0 to 85 degC
RAILS_SHARE = 0.01 + 0.02  # reference 1 %, 5 V rail 2 % (judgement): only where the sensor lives on another rail

_FULL = ntc.FULL_SCALE
_CODES = ntc.ADC_CODES


def temperatures_c() -> list[float]:
    """Ice, room and boiling, cold and hot, and the default thresholds between them."""
    values = defaults()
    names = ("oil_restart_cdegc", "oil_limit_cdegc", "oil_exit_cdegc", "oil_entry_cdegc")
    return sorted({-20.0, 0.0, 25.0, 100.0, 110.0, *(values[name] / 100.0 for name in names)})


def _ratio(ohm: float, pullup_ohm: float = NTC_PULLUP_OHM) -> float:
    return ohm / (ohm + pullup_ohm)


@lru_cache(maxsize=1)
def _inputs() -> Inputs:
    return Inputs(defaults())


def read_c(ratio: float) -> float:
    """What the law makes of this share of the reference, degC."""
    return _inputs().channel[COOLANT].convert(round(_FULL * ratio)) / 100.0


def read_kpa(ratio: float) -> float:
    """What the law makes of this share of the reference on the suction input, kPa."""
    return _inputs().channel[SUCTION].convert(round(_FULL * ratio)) / 1000.0


def converter_lsb(ratio: float) -> float:
    """How far the Pico's converter may be off at this share of the reference."""
    code = ratio * _CODES
    return INL_LSB if ntc.ADC_STEP_CODES[0] <= code <= ntc.ADC_STEP_CODES[-1] else END_LSB


def _b_share(t_c: float) -> float:
    return B_SHARE * B25_85_K * abs(1.0 / (t_c + 273.15) - 1.0 / 298.15)


def _source_ohm(ratio: float) -> float:
    return ratio * NTC_PULLUP_OHM + SERIES_OHM


# What each cause makes of the true resistance or ratio at t_c, towards either side (sign 1 or -1).
_Cause = Callable[[float, float, int], float]


def _of_ohm(share: Callable[[float], float]) -> _Cause:
    return lambda t_c, ohm, sign: _ratio(ohm * exp(sign * share(t_c)))


def _self_heating(t_c: float, ohm: float, sign: int) -> float:
    volts = RAIL_V * _ratio(ohm)
    return _ratio(ntc.STANDARD_10K.ohm(t_c + (volts * volts / ohm / DISSIPATION_W_K if sign > 0 else 0.0)))


THERMISTOR: dict[str, _Cause] = {
    "R25 1 %": _of_ohm(lambda t_c: R25_SHARE),
    "B 1 %": _of_ohm(_b_share),
    "ageing 2 %": _of_ohm(lambda t_c: AGEING_SHARE),
    "own heat": _self_heating,
    "pull-up 0.1 %": lambda t_c, ohm, sign: _ratio(ohm, NTC_PULLUP_OHM * (1.0 + sign * PULLUP_SHARE)),
}
PICO: dict[str, _Cause] = {
    "converter": lambda t_c, ohm, sign: _ratio(ohm) + sign * converter_lsb(_ratio(ohm)) / _CODES,
    "leakage": lambda t_c, ohm, sign: (
        _ratio(ohm) + sign * (PIN_LEAKAGE_A + CLAMP_LEAKAGE_A) * _source_ohm(_ratio(ohm)) / RAIL_V
    ),
    "taken charge": lambda t_c, ohm, sign: (
        _ratio(ohm)
        * (1.0 - (CONVERSIONS * CONVERSION_S / (INPUT_OHM * FILTER_UF * 1e-6) if sign > 0 else 0.0))
    ),
}  # fmt: skip
BUS: dict[str, _Cause] = {
    "gain": lambda t_c, ohm, sign: _ratio(ohm) * (1.0 + sign * GAIN_SHARE),
    "load": lambda t_c, ohm, sign: (
        _ratio(ohm) * (1.0 - (_source_ohm(_ratio(ohm)) / BUS_INPUT_OHM if sign > 0 else 0.0))
    ),
}


def table_k(t_c: float) -> float:
    """What the law's table, straight between its rows, adds."""
    return read_c(_ratio(ntc.STANDARD_10K.ohm(t_c))) - t_c


def kelvin(cause: _Cause, t_c: float, sign: int) -> float:
    """Error in K by one cause alone."""
    ohm = ntc.STANDARD_10K.ohm(t_c)
    return read_c(cause(t_c, ohm, sign)) - read_c(_ratio(ohm))


def worst_k(cause: _Cause, t_c: float) -> float:
    """Size of the larger of both signs."""
    return max(abs(kelvin(cause, t_c, 1)), abs(kelvin(cause, t_c, -1)))


def total_k(causes: dict[str, _Cause], t_c: float) -> float:
    """All causes to the same side, and the table's own."""
    return sum(worst_k(cause, t_c) for cause in causes.values()) + abs(table_k(t_c))


def checked_k(t_c: float) -> float:
    """Worst of all that is left once ice and boiling were read and their mean error was trimmed away.

    What the parts do by themselves goes with the trim as far as it is the same there and here; the converter's error may
    have either sign at each of the three readings. Ageing begins anew with the check.
    """
    values = defaults()
    points = (values["ntc_check_low_cdegc"] / 100.0, values["ntc_check_high_cdegc"] / 100.0)
    converter = PICO["converter"]
    parts = {**THERMISTOR, **PICO}
    del parts["converter"], parts["ageing 2 %"]
    left = worst_k(converter, t_c) + sum(worst_k(converter, point) for point in points) / 2.0
    for cause in parts.values():
        left += max(
            abs(kelvin(cause, t_c, sign) - sum(kelvin(cause, point, sign) for point in points) / 2.0)
            for sign in (1, -1)
        )
    return left + abs(table_k(t_c) - sum(table_k(point) for point in points) / 2.0)


def ground_k(t_c: float) -> float:
    """What GROUND_V between sensor ground and the board's analog ground adds."""
    ratio = _ratio(ntc.STANDARD_10K.ohm(t_c))
    return abs(read_c(ratio + (1.0 - ratio) * GROUND_V / RAIL_V) - read_c(ratio))


def temperature_page() -> str:
    """Error budget of the thermistors."""
    causes = {**THERMISTOR, **PICO}
    rows = []
    for t_c in temperatures_c():
        each = [worst_k(cause, t_c) for cause in causes.values()]
        cells = [*each, total_k(causes, t_c), sqrt(sum(k * k for k in each)), checked_k(t_c)]
        cells += [total_k({**THERMISTOR, **BUS}, t_c), ground_k(t_c)]
        rows.append([f"{t_c:g}", *(f"{k:.2f}" for k in cells)])
    head = [
        "°C",
        *causes,
        "**all to one side**",
        "root of squares",
        "**after the check**",
        "on the bus",
        "ground lifted 10 mV",
    ]
    text = table(head, rows)
    values = defaults()
    before = undetectable_cdegc({**values, "ntc_check_recorded": 0}) / 100.0
    after = undetectable_cdegc({**values, "ntc_check_recorded": 1}) / 100.0
    low, high = values["oil_restart_cdegc"] / 100.0, values["oil_entry_cdegc"] / 100.0
    hot = values["oil_hot_cdegc"] / 100.0
    between = [t_c for t_c in temperatures_c() if low <= t_c <= high]
    return text + (
        f"\nThe settings allow for an unseen offset of {before:g} K before the check and {after:g} K after it. Where oil is decided about, "
        f"{low:g} to {high:g} °C, the worst of the table is {max(total_k(causes, t_c) for t_c in between):.1f} K before and "
        f"{max(checked_k(t_c) for t_c in between):.1f} K after; ageing then takes up to "
        f"{max(worst_k(THERMISTOR['ageing 2 %'], t_c) for t_c in between):.1f} K more, so repeat the check each year. "
        f"At the threshold for hot oil, {hot:g} °C, it is {total_k(causes, hot):.1f} and {checked_k(hot):.1f} K: "
        "there the cut-out at the heater guards.\n"
    )


SUCTIONS_KPA = (0.0, 5.0, 24.0, 30.0, 33.0)


def suction_kpa(true_kpa: float) -> dict[str, float]:
    """Error in kPa by each cause, on a sensor fed by the converter's reference; the last only on another rail."""
    ratio = pressure.DIFFERENTIAL_100.counts(true_kpa) / _FULL
    shares = {
        "sensor 2.5 %": SENSOR_RATIO,
        "converter": converter_lsb(ratio) / _CODES,
        "leakage": (PIN_LEAKAGE_A + CLAMP_LEAKAGE_A) * SERIES_OHM / RAIL_V,
        "another rail": ratio * RAILS_SHARE,
    }
    return {name: read_kpa(ratio + share) - read_kpa(ratio) for name, share in shares.items()}


def suction_page() -> str:
    """Error budget of the suction sensor."""
    rows = []
    for kpa in SUCTIONS_KPA:
        causes = suction_kpa(kpa)
        total = sum(causes.values())
        rows.append(
            [
                f"{kpa:g}",
                *(f"{k:.2f}" for k in causes.values()),
                f"{total - causes['another rail']:.2f}",
                f"{total:.2f}",
            ]
        )
    return table(["kPa", *suction_kpa(0.0), "**sum, own rail**", "sum, another rail"], rows)
