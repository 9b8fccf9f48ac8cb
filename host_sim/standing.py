"""How long a hot car may stand before the oil is too cold to start on: Newton's cooling of the coldest part that holds oil.

The same law as on the board (`changeover.stop_advice`), which rounds down. Beyond LONGEST time constants neither answers:
by then the weather, not the oil, decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from host_sim.errors import InputError

# Common practice, no source: oil at 78 degC may stand 60 to 90 min in summer and starts at 54 degC. At 25 degC outside
# (judgement) that is a time constant of 100 to 149 min.
WORK_C, STARTS_C, SUMMER_C, SUMMER_MIN = 78.0, 54.0, 25.0, (60.0, 90.0)
WIND_PER_KM_H = (
    0.012  # judgement, as in the simulated car: insulated parts under a bonnet lose so much more for each km/h
)
LONGEST = 1.3862  # ln 4: where the board's table ends
NEAREST_K = 1.0  # warmer outside than this below the restart temperature is taken as this
AMBIENT_UNSURE_K = 2.0  # judgement: a forecast for the next hours
READING_UNSURE_K = (
    0.5  # judgement: noise of one reading; a lasting offset of the sensor is allowed for in the restart temperature
)
LEAST_DROP_K = 5.0  # a smaller one tells nothing
COOLING_S = (600, 30000)  # what the law's settings allow
SHORTEST_MIN = 10  # less is not worth the risk of a delay: purge (as the panel says)


def standing_min(oil_c: float, ambient_c: float, restart_c: float, cooling_s: float) -> float:
    """Minutes until oil at oil_c is at restart_c; 0 when it is there already. cooling_s: time constant."""
    if oil_c <= restart_c:
        return 0.0
    ambient_c = min(ambient_c, restart_c - NEAREST_K)
    lasts = math.log((oil_c - ambient_c) / (restart_c - ambient_c))
    return cooling_s / 60.0 * min(lasts, LONGEST)


def cooling_from(minutes: float, from_c: float, to_c: float, ambient_c: float) -> float:
    """Time constant in s of a stop in which the oil fell from from_c to to_c."""
    return minutes * 60.0 / math.log((from_c - ambient_c) / (to_c - ambient_c))


def in_wind(cooling_s: float, wind_km_h: float) -> float:
    """Time constant in this wind of what has cooling_s in still air."""
    return cooling_s / (1.0 + WIND_PER_KM_H * wind_km_h)


@dataclass(frozen=True)
class Stop:
    """One stop as it was: minutes, oil at its start and its end, outside air (degC), wind (km/h; None: nobody looked)."""

    minutes: float
    oil_off_c: float
    oil_on_c: float
    ambient_c: float
    wind_km_h: float | None = None

    def tells(self) -> bool:
        """Did the oil cool enough, and from far enough above the air, to learn from?"""
        return self.oil_off_c - self.oil_on_c >= LEAST_DROP_K and self.oil_on_c - self.ambient_c >= LEAST_DROP_K

    def cooling_s(self) -> tuple[float, float]:
        """Shortest and longest time constant in still air that the readings allow. Unknown wind counts as none: the worst."""
        still = 1.0 + WIND_PER_KM_H * (self.wind_km_h or 0.0)
        shortest, longest = (
            still * cooling_from(self.minutes, self.oil_off_c + k, self.oil_on_c - k, self.ambient_c)
            for k in (READING_UNSURE_K, -READING_UNSURE_K)
        )
        return shortest, longest


@dataclass(frozen=True)
class Cooling:
    """Time constants in still air, s: the worst that was seen, which decides, and the best. `stops`: learnt from so many."""

    worst_s: float
    best_s: float
    stops: int


def default_cooling() -> Cooling:
    """What common practice implies, before anything was logged."""
    worst, best = (60.0 * minutes / math.log((WORK_C - SUMMER_C) / (STARTS_C - SUMMER_C)) for minutes in SUMMER_MIN)
    return Cooling(worst, best, 0)


def learnt(stops: Sequence[Stop]) -> Cooling:
    """The worst and the best of the stops that tell something. Raises InputError where none does."""
    told = [stop.cooling_s() for stop in stops if stop.tells()]
    if not told:
        raise InputError(
            "logged stops", f"{len(stops)}", f"one in which the oil cooled by {LEAST_DROP_K:g} K and stayed {LEAST_DROP_K:g} K above the air"
        )  # fmt: skip
    return Cooling(min(shortest for shortest, _ in told), max(longest for _, longest in told), len(told))


@dataclass(frozen=True)
class Standing:
    """Minutes that the car may stand: what is advised, and the earliest and latest at which the oil may be too cold."""

    minutes: int
    earliest: int
    latest: int


def standing(oil_c: float, ambient_c: float, wind_km_h: float, restart_c: float, cooling: Cooling) -> Standing:
    """The answer in whole minutes, rounded down; the span is for a forecast that is 2 K off and the best cooling seen."""
    worst_s, best_s = in_wind(cooling.worst_s, wind_km_h), in_wind(cooling.best_s, wind_km_h)
    minutes, earliest, latest = (
        int(standing_min(oil_c, ambient_c + off_k, restart_c, cooling_s))
        for off_k, cooling_s in ((0.0, worst_s), (-AMBIENT_UNSURE_K, worst_s), (AMBIENT_UNSURE_K, best_s))
    )
    return Standing(minutes, earliest, latest)
