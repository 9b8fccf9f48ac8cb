"""NTC thermistor in a divider on the 16-bit scale of the law: resistance, counts and their inverses.

Divider: pull-up to the converter's reference, NTC to ground, so counts fall with temperature.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from host_sim.errors import InputError

PULLUP_OHM = 5600.0
FULL_SCALE = 65535
ADC_CODES = 4096
# Codes at which the RP2040's converter has wide steps (its erratum RP2040-E11).
ADC_STEP_CODES = (512, 1536, 2560, 3584)

_KELVIN = 273.15


@dataclass(frozen=True)
class Ntc:
    """Steinhart-Hart equation 1/T = a + b ln R + c (ln R)^3, T in kelvin, R in ohm; all coefficients above zero."""

    a: float
    b: float
    c: float

    def t_c(self, ohm: float) -> float:
        """Temperature in degC at this resistance (above zero). Raises InputError."""
        if not ohm > 0.0:
            raise InputError("NTC resistance", ohm, "more than 0 ohm")
        log_r = math.log(ohm)
        return 1.0 / (self.a + log_r * (self.b + self.c * log_r * log_r)) - _KELVIN

    def ohm(self, t_c: float) -> float:
        """Resistance in ohm at t_c (degC, above absolute zero): the cubic of the equation solved in closed form."""
        half = (self.a - 1.0 / (t_c + _KELVIN)) / (2.0 * self.c)
        root = math.sqrt((self.b / (3.0 * self.c)) ** 3 + half * half)
        return math.exp(math.cbrt(root - half) - math.cbrt(root + half))


# 10 kohm at 25 degC, B25/85 about 3977 K; coefficients as published by a maker (studylibfr.com/doc/3640921).
STANDARD_10K = Ntc(a=1.129148e-3, b=2.34125e-4, c=8.76741e-8)


def counts(t_c: float, ntc: Ntc = STANDARD_10K, pullup_ohm: float = PULLUP_OHM) -> float:
    """Reading at t_c on the scale 0..65535, not rounded."""
    ohm = ntc.ohm(t_c)
    return FULL_SCALE * ohm / (ohm + pullup_ohm)


def counts_to_c(value: float, ntc: Ntc = STANDARD_10K, pullup_ohm: float = PULLUP_OHM) -> float:
    """Temperature in degC of a reading strictly between 0 (short) and 65535 (open). Raises InputError."""
    if not 0.0 < value < FULL_SCALE:
        raise InputError("NTC reading", value, f"more than 0 and less than {FULL_SCALE} counts")
    return ntc.t_c(pullup_ohm * value / (FULL_SCALE - value))


def table(ntc: Ntc = STANDARD_10K, pullup_ohm: float = PULLUP_OHM) -> list[tuple[int, int]]:
    """Rows (degC, counts) every 5 K from -40 to 130 degC: the table that the law interpolates."""
    return [(t_c, round(counts(t_c, ntc, pullup_ohm))) for t_c in range(-40, 131, 5)]


def adc_step_temperatures(ntc: Ntc = STANDARD_10K, pullup_ohm: float = PULLUP_OHM) -> list[float]:
    """Temperatures in degC, ascending, on which the converter's four wide steps fall with this divider."""
    return sorted(ntc.t_c(pullup_ohm * code / (ADC_CODES - code)) for code in ADC_STEP_CODES)
