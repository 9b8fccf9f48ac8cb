"""The viscosity of one's own oil against temperature, as a line and as a band, from what little was measured.

A line is ASTM D341's. The band is made of every line that the readings and the slope of vegetable oils allow, widened by
what one line misses on real oils. Whoever needs to be safe asks for the thickest.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

from host_sim.errors import InputError
from host_sim.flow_cups import Cup, spread
from host_sim.fluids import D341, KELVIN, diesel_density_kg_m3, oil_density_kg_m3, refutas_index, refutas_nu

# Slope b of the line of a vegetable oil: 2.41 to 2.46 by least squares over 35 to 120 degC for five oils (Fasina and Colley
# 2008, from memory), 2.84 through three points of rapeseed handbooks (from memory). Two sources differ more than two oils.
SLOPES = (2.40, 2.90)
SLOPE = 2.65
MODEL = 0.07  # what one line misses on those five oils, 35 to 120 degC: at most 6.8 %
LAB = 0.02  # a laboratory's figure: judgement; ASTM D445 itself is better than 1 %, from memory
THERMOMETER_K = 1.0  # judgement: kitchen thermometer in a cup
LEVER_K = 30.0  # readings at least so far apart make a slope of their own,
_OWN_SLOPES = (2.3, 3.0)  # within this: two hot points of a measured oil would make too flat a line for the cold
THINNEST, THICKEST = 2.5, 3000.0  # mm2/s that a reading of oil may have
COLDEST_C, HOTTEST_C = -20.0, 120.0  # temperatures at which somebody may have measured
_FROM_C, _TO_C = -60.0, 250.0

# Temperate grade, from memory: EN 590 allows 2.0 to 4.5 mm2/s at 40 degC.
DIESEL = D341.from_points(0.0, 6.8, 40.0, 2.7)


class InconsistentReadings(InputError):
    """Readings that no one vegetable oil can have given."""


@dataclass(frozen=True)
class Reading:
    """One viscosity in mm2/s at t_c degC; the truth lies within `tolerance` (share) of it. `text`: where it comes from."""

    t_c: float
    nu_mm2_s: float
    tolerance: float
    text: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Family:
    """Fresh oil of one kind: mm2/s at 40 degC, and below which temperature (degC) it may cloud or set."""

    name: str
    thin: float
    typical: float
    thick: float
    cloud_c: float
    source: str


FAMILIES = {
    family.name: family
    for family in (
        Family(
            "rapeseed", 34, 36, 39, -4, "handbooks and Fasina and Colley 2008, from memory; standards allow 36 to 38"
        ),
        Family("sunflower", 34, 37, 39, -7, "Fasina and Colley 2008, from memory; cloud point from memory"),
        Family(
            "soybean", 31, 34, 37, -9, "Fasina and Colley 2008, from memory; cloud point from a table of fats (read)"
        ),
        Family("corn", 31, 34, 37, -11, "Fasina and Colley 2008, from memory; cloud point from a table of fats (read)"),
        Family("palm", 38, 40, 44, 35, "handbooks, from memory: half solid below 25 to 35 degC"),
        Family("frying", 35, 40, 55, 20, "used frying oil, from memory: 35 to 55, old oil more; fats set: judgement"),
    )
}
_USED = FAMILIES["frying"]


class Curve(ABC):
    """Viscosity in mm2/s against temperature in degC, likely, thin and thick; each falls as it warms."""

    @abstractmethod
    def nu(self, t_c: float) -> float:
        """Likely viscosity."""

    @abstractmethod
    def thin(self, t_c: float) -> float:
        """The thinnest that is plausible."""

    @abstractmethod
    def thick(self, t_c: float) -> float:
        """The thickest that is plausible: this one decides."""


def temperature_at(nu_of: Callable[[float], float], nu_mm2_s: float) -> float:
    """degC from which `nu_of`, falling with temperature, is at most nu_mm2_s. Raises InputError outside -60 to 250."""
    low, high = _FROM_C, _TO_C
    if not nu_of(high) <= nu_mm2_s <= nu_of(low):
        raise InputError("viscosity", nu_mm2_s, f"one that this oil has between {low:g} and {high:g} degC")
    for _ in range(50):
        middle = 0.5 * (low + high)
        if nu_of(middle) > nu_mm2_s:
            low = middle
        else:
            high = middle
    return high


@dataclass(frozen=True)
class OilCurve(Curve):
    """A likely line, and the lines at the edges of what is plausible."""

    likely: D341
    plausible: tuple[D341, ...]

    def nu(self, t_c: float) -> float:
        return self.likely.nu(t_c)

    def thin(self, t_c: float) -> float:
        return min(line.nu(t_c) for line in self.plausible)

    def thick(self, t_c: float) -> float:
        return max(line.nu(t_c) for line in self.plausible)


@dataclass(frozen=True)
class Mixture(Curve):
    """Curves mixed by mass fraction (they add up to 1).

    Likely and thick by the rule of Arrhenius, ln nu = sum of w ln nu: it was found to hold for six vegetable oils in diesel,
    20 to 80 degC (Franco and Nguyen 2011, Fuel 90:838, abstract read). Thin by Refutas' blending numbers, which give less.
    """

    parts: tuple[tuple[float, Curve], ...]

    def nu(self, t_c: float) -> float:
        return math.exp(sum(share * math.log(curve.nu(t_c)) for share, curve in self.parts))

    def thin(self, t_c: float) -> float:
        return refutas_nu(sum(share * refutas_index(curve.thin(t_c)) for share, curve in self.parts))

    def thick(self, t_c: float) -> float:
        return math.exp(sum(share * math.log(curve.thick(t_c)) for share, curve in self.parts))


DIESEL_CURVE = OilCurve(DIESEL, (DIESEL,))


def with_diesel(oil: Curve, volume_fraction: float) -> Curve:
    """The oil with diesel in it, `volume_fraction` (0 to below 1) of the blend at 15 degC."""
    if volume_fraction <= 0.0:
        return oil
    diesel_kg = volume_fraction * diesel_density_kg_m3(15.0)
    share = diesel_kg / (diesel_kg + (1.0 - volume_fraction) * oil_density_kg_m3(15.0))
    return Mixture(((1.0 - share, oil), (share, DIESEL_CURVE)))


def line_through(t_c: float, nu_mm2_s: float, slope: float = SLOPE) -> D341:
    """Line of this slope through one point."""
    return D341(a=_y(nu_mm2_s) + slope * _x(t_c), b=slope)


def lab_point(t_c: float, nu_mm2_s: float) -> Reading:
    """A viscosity measured in a laboratory. Raises InputError."""
    _in_range(t_c, nu_mm2_s, f"point {t_c:g} degC")
    return Reading(t_c, nu_mm2_s, LAB, f"point at {t_c:g} degC")


def cup_reading(cup: Cup, seconds: Sequence[float], at_c: Sequence[float]) -> Reading:
    """Runs of one cup, each brought to their mean temperature along the slope of vegetable oils. Raises InputError.

    `at_c`: one temperature for all runs, or one for each.
    """
    if len(at_c) not in (1, len(seconds)):
        raise InputError(f"temperatures of cup {cup.name}", list(at_c), f"one, or {len(seconds)} as there are runs")
    each_c = list(at_c) * len(seconds) if len(at_c) == 1 else list(at_c)
    mean_c = sum(each_c) / len(each_c)
    raw = [cup.nu(run) for run in seconds]
    for t_c, nu in zip(each_c, raw, strict=True):
        _in_range(t_c, nu, f"cup {cup.name} at {t_c:g} degC")
    runs = [line_through(t_c, nu).nu(mean_c) for t_c, nu in zip(each_c, raw, strict=True)]
    apart = spread(runs)
    if apart > cup.repeat:
        raise InputError(
            f"runs of cup {cup.name}",
            list(seconds),
            f"runs within {100 * cup.repeat:g} % of each other, not {100 * apart:.1f} %: cup level and clean, no bubbles, all at one temperature",
        )
    nu = sum(runs) / len(runs)
    line = line_through(mean_c, nu)
    by_temperature = math.log(line.nu(mean_c - THERMOMETER_K) / nu)
    few = len(runs) < 3
    parts = (cup.accuracy, by_temperature, 0.5 * apart, cup.repeat if few else 0.0)
    notes = (f"cup {cup.name}: {len(runs)} run(s), three are better; the band is wider for it",) if few else ()
    text = f"cup {cup.name}, {', '.join(f'{run:g}' for run in seconds)} s at {mean_c:.1f} degC"
    return Reading(mean_c, nu, math.hypot(*parts), text, notes)


def from_readings(readings: Sequence[Reading]) -> OilCurve:
    """The curve of what was measured, one reading or more. Raises InconsistentReadings."""
    lines = _allowed(readings)
    if not lines:
        raise InconsistentReadings("readings", _worst_pair(readings), _INCONSISTENT)
    temperatures = [reading.t_c for reading in readings]
    slope = SLOPE
    if max(temperatures) - min(temperatures) >= LEVER_K:
        slope = min(max(_slope(readings), _OWN_SLOPES[0]), _OWN_SLOPES[1])
    weights = [1.0 / reading.tolerance**2 for reading in readings]
    heights = [_y(reading.nu_mm2_s) + slope * _x(reading.t_c) for reading in readings]
    likely = D341(a=_mean(heights, weights), b=slope)
    return OilCurve(likely, (*lines, likely))


def from_family(name: str, used: bool) -> OilCurve:
    """The curve of an oil of which only the kind is known. Raises InputError."""
    family = family_named(name)
    typical, thick = family.typical, family.thick
    if used:
        typical, thick = max(typical, _USED.typical), max(thick, _USED.thick)
    edges = tuple(line_through(40.0, nu, slope) for nu in (family.thin, thick) for slope in SLOPES)
    return OilCurve(line_through(40.0, typical), edges)


def family_named(name: str) -> Family:
    """The family of this name. Raises InputError."""
    if name not in FAMILIES:
        raise InputError("oil family", name, "one of " + ", ".join(FAMILIES))
    return FAMILIES[name]


_INCONSISTENT = (
    "readings that one vegetable oil can give: one of them is wrong, or the oil was not the same, half set or mixed with "
    "something thinner. Warm the oil, stir it, measure both again"
)


def _x(t_c: float) -> float:
    return math.log10(t_c + KELVIN)


def _y(nu_mm2_s: float) -> float:
    return math.log10(math.log10(nu_mm2_s + 0.7))  # the short form: above 2 mm2/s


def _in_range(t_c: float, nu_mm2_s: float, place: str) -> None:
    if not COLDEST_C <= t_c <= HOTTEST_C:
        raise InputError(f"temperature of {place}", t_c, f"{COLDEST_C:g} to {HOTTEST_C:g} degC")
    if not THINNEST <= nu_mm2_s <= THICKEST:
        raise InputError(f"viscosity of {place}", nu_mm2_s, f"{THINNEST:g} to {THICKEST:g} mm2/s, as an oil has it")


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def _slope(readings: Sequence[Reading]) -> float:
    weights = [1.0 / reading.tolerance**2 for reading in readings]
    xs, ys = [_x(reading.t_c) for reading in readings], [_y(reading.nu_mm2_s) for reading in readings]
    x, y = _mean(xs, weights), _mean(ys, weights)
    over = _mean([(xi - x) * (yi - y) for xi, yi in zip(xs, ys, strict=True)], weights)
    return -over / _mean([(xi - x) ** 2 for xi in xs], weights)


def _allowed(readings: Sequence[Reading]) -> tuple[D341, ...]:
    """Corners of the set of all lines (a, b) that pass every reading within its tolerance: they hold its edges."""
    gates = [
        (
            _x(reading.t_c),
            _y(reading.nu_mm2_s * (1.0 - reading.tolerance - MODEL)),
            _y(reading.nu_mm2_s * (1.0 + reading.tolerance + MODEL)),
        )
        for reading in readings
    ]
    slopes = set(SLOPES)
    for (x1, low1, high1), (x2, low2, high2) in combinations(gates, 2):
        if x1 != x2:
            slopes |= {(one - two) / (x2 - x1) for one in (low1, high1) for two in (low2, high2)}
    lines = []
    for b in slopes:
        if SLOPES[0] <= b <= SLOPES[1]:
            lowest = max(low + b * x for x, low, _ in gates)
            highest = min(high + b * x for x, _, high in gates)
            if lowest <= highest + 1e-12:
                lines += [D341(a=lowest, b=b), D341(a=highest, b=b)]
    return tuple(lines)


def _worst_pair(readings: Sequence[Reading]) -> str:
    """The first two readings that exclude each other, in words; all of them where only together they do."""
    for pair in combinations(readings, 2):
        if not _allowed(pair):
            return " against ".join(f"{reading.nu_mm2_s:.1f} at {reading.t_c:g}" for reading in pair)
    return ", ".join(f"{reading.nu_mm2_s:.1f} at {reading.t_c:g}" for reading in readings)
