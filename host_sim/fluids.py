"""Fuels and coolant: viscosity against temperature, blending, density, specific heat.

Temperatures in degC, kinematic viscosity in mm2/s, density in kg/m3, specific heat in J/(kg K).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from host_sim.errors import InputError

KELVIN = 273.15
LOWEST_NU = 0.21  # mm2/s: the inverse of the low form of ASTM D341 is given from here up

_T_MIN_C = -60.0
_T_MAX_C = 250.0
_STEPS_PER_K = 2
_STEEPNESS = (1.5, 6.0)  # slope b of the line: about 2.8 for vegetable oils, 3.5 to 4 for petroleum products


def _z(nu_mm2_s: float) -> float:
    return nu_mm2_s + 0.7 + math.exp(-1.47 - 1.84 * nu_mm2_s - 0.51 * nu_mm2_s * nu_mm2_s)


def _nu_of_z(z: float) -> float:
    x = z - 0.7
    nu = x - math.exp(-0.7487 - 3.295 * x + 0.6119 * x * x - 0.3193 * x * x * x)
    # The standard's inverse is a fit; two Newton steps make forth and back agree to the last digits.
    for _ in range(2):
        tail = math.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)
        nu -= (nu + 0.7 + tail - z) / (1.0 - (1.84 + 1.02 * nu) * tail)
    return nu


def _log_log_z(nu_mm2_s: float) -> float:
    return math.log10(math.log10(_z(nu_mm2_s)))


@dataclass(frozen=True)
class D341:
    """Viscosity-temperature line of one liquid: log10(log10 Z) = a - b log10(T), T in kelvin (ASTM D341).

    Z = nu + 0.7 + exp(-1.47 - 1.84 nu - 0.51 nu^2), whose last term matters only below about 2 mm2/s.
    """

    a: float
    b: float

    @classmethod
    def from_points(cls, t1_c: float, nu1_mm2_s: float, t2_c: float, nu2_mm2_s: float) -> D341:
        """Line through two measured points (degC, mm2/s), the thinner one at the warmer. Raises InputError."""
        for t_c, nu in ((t1_c, nu1_mm2_s), (t2_c, nu2_mm2_s)):
            if not _T_MIN_C <= t_c <= _T_MAX_C:
                raise InputError("viscosity point", t_c, f"a temperature of {_T_MIN_C:g} to {_T_MAX_C:g} degC")
            if not LOWEST_NU <= nu <= 2e7:
                raise InputError(f"viscosity at {t_c:g} degC", nu, f"{LOWEST_NU:g} to 2e7 mm2/s")
        if (t2_c - t1_c) * (nu1_mm2_s - nu2_mm2_s) <= 0.0:
            raise InputError(
                "viscosity points",
                (t1_c, nu1_mm2_s, t2_c, nu2_mm2_s),
                "two temperatures, and the lower viscosity at the higher one",
            )
        x1, x2 = math.log10(t1_c + KELVIN), math.log10(t2_c + KELVIN)
        y1, y2 = _log_log_z(nu1_mm2_s), _log_log_z(nu2_mm2_s)
        b = (y1 - y2) / (x2 - x1)
        if not _STEEPNESS[0] <= b <= _STEEPNESS[1]:
            raise InputError(
                "viscosity points",
                (t1_c, nu1_mm2_s, t2_c, nu2_mm2_s),
                f"points of one liquid: slope b of its line {_STEEPNESS[0]:g} to {_STEEPNESS[1]:g}, not {b:.2f}",
            )
        return cls(a=y1 + b * x1, b=b)

    def nu(self, t_c: float) -> float:
        """Kinematic viscosity in mm2/s at t_c (degC, above absolute zero)."""
        return _nu_of_z(10.0 ** (10.0 ** (self.a - self.b * math.log10(t_c + KELVIN))))

    def t_at(self, nu_mm2_s: float) -> float:
        """Temperature in degC where the liquid has nu_mm2_s (0.21 mm2/s and up). Raises InputError."""
        if not nu_mm2_s >= LOWEST_NU:
            raise InputError("viscosity", nu_mm2_s, f"{LOWEST_NU:g} mm2/s or more")
        return 10.0 ** ((self.a - _log_log_z(nu_mm2_s)) / self.b) - KELVIN


def changeover_temperatures(oil: D341, limit_mm2_s: float = 20.0) -> float:
    """Temperature in degC from which this oil is no thicker than limit_mm2_s."""
    return oil.t_at(limit_mm2_s)


def refutas_index(nu_mm2_s: float) -> float:
    """Viscosity blending number of Refutas, 14.534 ln(ln(nu + 0.8)) + 10.975; nu in mm2/s, above 0.2."""
    return 14.534 * math.log(math.log(nu_mm2_s + 0.8)) + 10.975


def refutas_nu(index: float) -> float:
    """Kinematic viscosity in mm2/s of a Refutas blending number."""
    return math.exp(math.exp((index - 10.975) / 14.534)) - 0.8


def blend_nu(nu_a_mm2_s: float, nu_b_mm2_s: float, mass_fraction_b: float) -> float:
    """Viscosity in mm2/s of a blend: Refutas blending numbers weighted by mass fraction (0..1)."""
    index_a = refutas_index(nu_a_mm2_s)
    return refutas_nu(index_a + mass_fraction_b * (refutas_index(nu_b_mm2_s) - index_a))


def oil_density_kg_m3(t_c: float) -> float:
    """Density of vegetable oil: 931.0 - 0.64145 t, sunflower, 10 to 140 degC (Esteban et al. 2012, second-hand).

    At 15 degC it gives 921, the middle of the 900 to 930 that rapeseed-oil fuel standards allow.
    """
    return 931.0 - 0.64145 * t_c


def oil_cp_j_kgk(t_c: float) -> float:
    """Specific heat of fat and oil, 0 to 150 degC (Choi and Okos 1986)."""
    return 1984.2 + t_c * (1.4733 - 4.8008e-3 * t_c)


_DIESEL_DENSITY_15 = 832.5  # kg/m3, middle of the 820 to 845 of EN 590
_DIESEL_EXPANSION_15 = 594.5418 / _DIESEL_DENSITY_15**2  # 1/K, for products of 788 to 839 kg/m3


def diesel_density_kg_m3(t_c: float) -> float:
    """Density of diesel: middle of EN 590, with the volume correction of ASTM D1250, table 54B (second-hand)."""
    x = _DIESEL_EXPANSION_15 * (t_c - 15.0)
    return _DIESEL_DENSITY_15 * math.exp(-x * (1.0 + 0.8 * x))


def diesel_cp_j_kgk(t_c: float) -> float:
    """Specific heat of a petroleum liquid, (1685 + 3.39 t) / sqrt(relative density) (Cragoe 1929, second-hand)."""
    return (1685.0 + 3.39 * t_c) / math.sqrt(_DIESEL_DENSITY_15 / 999.0)


def coolant_density_kg_m3(t_c: float) -> float:
    """Density of ethylene glycol and water, 50 % each by volume, -20 to 100 degC (fit to a handbook table)."""
    return 1081.08 - t_c * (0.3378 + 2.435e-3 * t_c)


def coolant_cp_j_kgk(t_c: float) -> float:
    """Specific heat of ethylene glycol and water, 50 % each by volume, -20 to 100 degC (fit to a handbook table)."""
    return 3203.0 + 3.87 * t_c


class FuelTable:
    """Refutas blending numbers of mixtures of one oil with one diesel, looked up every 0.5 K from -60 to 250 degC.

    Meant for comparing with a limit that was turned into an index once: a lookup costs no logarithm.
    """

    def __init__(self, oil: D341, diesel: D341) -> None:
        count = int((_T_MAX_C - _T_MIN_C) * _STEPS_PER_K) + 1
        temperatures = [_T_MIN_C + i / _STEPS_PER_K for i in range(count)]
        self._oil = [refutas_index(oil.nu(t_c)) for t_c in temperatures]
        self._diesel = [refutas_index(diesel.nu(t_c)) for t_c in temperatures]
        self._density_ratio = [diesel_density_kg_m3(t_c) / oil_density_kg_m3(t_c) for t_c in temperatures]
        self._last = float(count - 1)

    def index(self, t_c: float, oil_volume_fraction: float) -> float:
        """Refutas index at t_c of a mixture, oil by volume fraction (0..1). Raises InputError outside the table."""
        x = (t_c - _T_MIN_C) * _STEPS_PER_K
        if not 0.0 <= x < self._last:
            raise InputError("fuel temperature", t_c, f"{_T_MIN_C:g} to below {_T_MAX_C:g} degC")
        i = int(x)
        part = x - i
        if oil_volume_fraction >= 1.0:
            low = self._oil[i]
            return low + part * (self._oil[i + 1] - low)
        low = self._diesel[i]
        diesel = low + part * (self._diesel[i + 1] - low)
        if oil_volume_fraction <= 0.0:
            return diesel
        low = self._oil[i]
        oil = low + part * (self._oil[i + 1] - low)
        mass_fraction = oil_volume_fraction / (
            oil_volume_fraction + (1.0 - oil_volume_fraction) * self._density_ratio[i]
        )
        return diesel + mass_fraction * (oil - diesel)

    def nu(self, t_c: float, oil_volume_fraction: float) -> float:
        """Kinematic viscosity in mm2/s of the mixture, for reports."""
        return refutas_nu(self.index(t_c, oil_volume_fraction))
