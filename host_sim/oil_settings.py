"""From an oil's curve to the settings of the law: when it is thin enough to change over, to stay on, to start on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from changeover.sensing import Thermistor
from changeover.settings import NORM_NAMES, ROWS
from changeover.validate import undetectable_cdegc
from host_sim.errors import InputError
from host_sim.filter_model import suction_correction
from host_sim.fluids import D341
from host_sim.hazards import THICK_MM2_S, THICK_RESTART_MM2_S
from host_sim.ntc import ADC_STEP_CODES
from host_sim.oil_curve import Curve, temperature_at

LIMITS_MM2_S = (8.0, 25.0)  # what may be asked of a pump: people name 10 to 20 (common practice, no source)
REACHED_C = 80.0  # common practice, no source: oil at work 77 to 79 degC
_COUNTS_PER_CODE = 16
_STEP_MARGIN_CDEGC = 150
_HYSTERESIS_CDEGC = 200
_ROUND_CDEGC = 10
_RANGE = {name: (low, high) for name, _, _, low, high in ROWS}


class TooThick(InputError):
    """An oil that no setting of the law makes fit for the pump."""


@dataclass(frozen=True)
class OilSettings:
    """Temperatures in degC for the thickest plausible curve, and the settings that follow, by name.

    limit_c: the oil has the pump's limit; exit_c and entry_c: that and what the sensors and the lines may be off by;
    restart_c: a warm engine may still be started on it.
    """

    limit_mm2_s: float
    limit_c: float
    entry_c: float
    exit_c: float
    restart_c: float
    settings: dict[str, int]


def oil_settings(curve: Curve, values: dict[str, int], limit_mm2_s: float = THICK_MM2_S) -> OilSettings:
    """Settings for this oil; `values`: all settings as they are, whose line drop, check of sensors and trims count.

    Raises InputError for a limit no pump has, TooThick where the oil would have to be hotter than the law allows.
    """
    low, high = LIMITS_MM2_S
    if not low <= limit_mm2_s <= high:
        raise InputError("limit at the pump", limit_mm2_s, f"{low:g} to {high:g} mm2/s")
    limit = _up(temperature_at(curve.thick, limit_mm2_s))
    limit = max(limit, _RANGE["oil_limit_cdegc"][0])
    offset = undetectable_cdegc(values)
    changed = {"oil_limit_cdegc": limit}
    exit_ = changed["oil_exit_cdegc"] = _clear(
        max(limit + offset, _RANGE["oil_exit_cdegc"][0]), values, "oil_trim_cdegc"
    )
    entry = max(limit + offset + values["line_drop_cdegc"], exit_ + _HYSTERESIS_CDEGC, _RANGE["oil_entry_cdegc"][0])
    entry = changed["oil_entry_cdegc"] = _clear(entry, values, "oil_trim_cdegc")
    restart = _up(temperature_at(curve.thick, THICK_RESTART_MM2_S)) + offset
    restart = max(restart, _RANGE["oil_restart_cdegc"][0])
    restart = changed["oil_restart_cdegc"] = _clear(restart, values, "oil_trim_cdegc")
    changed |= _coolant(limit, values)
    for name, value in changed.items():
        if value > _RANGE[name][1]:
            raise TooThick(
                "this oil", f"{name} = {value}",
                f"at most {_RANGE[name][1]}: it would have to be hotter than the law allows. Measure it (the thickest plausible "
                "curve decides), blend it with diesel, or leave it",
            )  # fmt: skip
    # the likely curve: suction is corrected to what was meant, not to the safe side
    line = D341.from_points(40.0, curve.nu(40.0), 100.0, curve.nu(100.0))
    changed |= dict(zip(NORM_NAMES, (permille for _, permille in suction_correction(line)), strict=True))
    return OilSettings(limit_mm2_s, limit / 100.0, entry / 100.0, exit_ / 100.0, restart / 100.0, changed)


def _coolant(limit: int, values: dict[str, int]) -> dict[str, int]:
    """The coolant's floor guards the oil where the two sensors are swapped, so it may not lie below the oil's limit."""
    if values["coolant_exit_cdegc"] >= limit:
        return {}
    gap = values["coolant_entry_cdegc"] - values["coolant_exit_cdegc"]
    exit_ = _clear(limit, values, "coolant_trim_cdegc")
    entry = _clear(max(values["coolant_entry_cdegc"], exit_ + min(gap, 600)), values, "coolant_trim_cdegc")
    return {"coolant_exit_cdegc": exit_, "coolant_entry_cdegc": entry}


def _up(t_c: float) -> int:
    """0.01 degC, rounded up to a tenth of a degree."""
    return math.ceil(t_c * 100.0 / _ROUND_CDEGC - 1e-6) * _ROUND_CDEGC


def _clear(cdegc: int, values: dict[str, int], trim: str) -> int:
    """The next value upwards that keeps off the steps of the board's converter."""
    thermistor = Thermistor(True, values, values[trim])
    steps = sorted(thermistor.convert(code * _COUNTS_PER_CODE) for code in ADC_STEP_CODES)
    for step in steps:
        if abs(cdegc - step) < _STEP_MARGIN_CDEGC:
            cdegc = math.ceil((step + _STEP_MARGIN_CDEGC) / _ROUND_CDEGC) * _ROUND_CDEGC
    return cdegc
