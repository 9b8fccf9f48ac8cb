"""How long it may stand: the desktop's answer, the board's, and what the trade does in summer and in winter."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from ht import Nu_cylinder_Churchill_Bernstein, Nu_horizontal_cylinder_Churchill_Chu
from hypothesis import example, given
from hypothesis import strategies as st

from changeover.panel_logic import _SHORTEST_MIN
from changeover.settings import ROWS
from changeover.stop_advice import standing_min as board_min
from host_sim.errors import InputError
from host_sim.standing import (
    COOLING_S,
    LONGEST,
    SHORTEST_MIN,
    SUMMER_C,
    Cooling,
    Stop,
    cooling_from,
    default_cooling,
    in_wind,
    learnt,
    standing,
    standing_min,
)
from secondtank.stop import board_cooling_s

LOW, HIGH = next((row[3], row[4]) for row in ROWS if row[0] == "cooling_time_s")
RESTART = next((row[3], row[4]) for row in ROWS if row[0] == "oil_restart_cdegc")


@given(
    st.integers(2000, 13000),
    st.integers(-5000, 6000),
    st.integers(*RESTART),
    st.integers(LOW, HIGH),
    st.floats(0.0, 100.0),
)
@example(13000, 2900, 3000, 30000, 0.0)
@example(9000, -4000, 5600, 6000, 0.0)
@example(5601, -1500, 5600, 30000, 0.0)
def test_board_and_desktop_agree_within_a_minute(
    oil: int, ambient: int, restart: int, cooling_s: int, wind_km_h: float
) -> None:
    """Whole range of the settings, with the cooling written for this wind: what the panel shows and what is printed."""
    cooling = Cooling(float(cooling_s), float(cooling_s), 1)
    if in_wind(cooling_s, wind_km_h) < LOW:
        with pytest.raises(InputError, match="purge before every stop"):
            board_cooling_s(cooling, wind_km_h)
        return
    ours = standing(oil / 100, ambient / 100, wind_km_h, restart / 100, cooling)
    theirs = board_min(oil, ambient, restart, board_cooling_s(cooling, wind_km_h))
    assert 0 <= ours.minutes - theirs <= 1
    assert ours.earliest <= ours.minutes <= ours.latest


def test_limits_are_the_law_s() -> None:
    assert (COOLING_S, SHORTEST_MIN) == ((LOW, HIGH), _SHORTEST_MIN)
    assert math.log(4.0) == pytest.approx(LONGEST, abs=1e-4)


@given(st.floats(40.0, 100.0), st.floats(-30.0, 35.0), st.floats(600.0, 30000.0), st.floats(1.0, 100.0))
def test_cooling_is_newton_s(oil_c: float, ambient_c: float, cooling_s: float, minutes: float) -> None:
    """The oil after so many minutes, by the exponential itself: standing until then, and learning from it, are its inverses."""
    then_c = ambient_c + (oil_c - ambient_c) * math.exp(-minutes * 60.0 / cooling_s)
    if then_c - ambient_c < 1.0 or minutes * 60.0 > LONGEST * cooling_s:
        return
    assert standing_min(oil_c, ambient_c, then_c, cooling_s) == pytest.approx(minutes, rel=1e-6)
    assert cooling_from(minutes, oil_c, then_c, ambient_c) == pytest.approx(cooling_s, rel=1e-6)


def test_the_summer_rule_of_the_trade_implies_its_winter_one() -> None:
    """Common practice, no source: hot oil may stand 60 to 90 min in summer; worked out from it at 78 and 54 degC: a time constant of
    100 to 149 min, 34 to 51 min at -5 degC, 30 to 45 at -15, and 28 to 42 min at 25 degC where 65 degC is asked for."""
    cooling = default_cooling()
    assert (cooling.worst_s / 60, cooling.best_s / 60) == pytest.approx((100, 149), abs=1)
    for ambient_c, restart_c, low, high in ((25, 54, 60, 90), (-5, 54, 34, 51), (-15, 54, 30, 45), (25, 65, 28, 42)):
        worst, best = (standing_min(78, ambient_c, restart_c, s) for s in (cooling.worst_s, cooling.best_s))
        assert (worst, best) == pytest.approx((low, high), abs=1.0)
    assert SUMMER_C == 25.0


def test_the_worst_stop_is_kept_and_says_nothing_too_long() -> None:
    def stop(cooling_s: float, wind: float | None = None, minutes: float = 45.0) -> Stop:
        on_c = 5.0 + (78.0 - 5.0) * math.exp(-minutes * 60.0 / in_wind(cooling_s, wind or 0.0))
        return Stop(minutes, 78.0, on_c, 5.0, wind)

    found = learnt([stop(7000), stop(5200), stop(9000, wind=30.0)])
    assert found.stops == 3
    assert 0.93 * 5200 < found.worst_s <= 5200
    assert 9000 <= found.best_s < 1.07 * 9000
    windy = stop(9000, wind=30.0)
    assert learnt([replace(windy, wind_km_h=None)]).worst_s < learnt([windy]).worst_s, "unknown wind counts as none"
    with pytest.raises(InputError, match="cooled by 5 K"):
        learnt([stop(7000, minutes=3.0), Stop(600.0, 70.0, 9.0, 5.0)])


def test_wind_takes_between_what_foam_and_what_bare_metal_lets_through() -> None:
    """`ht`: a filter of 0.1 m at 65 degC in air of 5 degC, natural convection and 5 W/(m2 K) of radiation against wind (20 km/h; under a
    bonnet there is less). Behind 20 mm of foam (0.035 W/(m K)) it must matter less than here, on bare metal more."""
    film_c, diameter_m, lead_k = 35.0, 0.1, 60.0
    air = ATMOSPHERE_1976(0.0)
    kelvin = film_c + 273.15
    nu_m2_s, k, prandtl = 1.65e-5, 0.0265, 0.71  # air at 35 degC, handbook values from memory
    assert air.thermal_conductivity(kelvin) == pytest.approx(k, rel=0.05)
    grashof = 9.81 / kelvin * lead_k * diameter_m**3 / nu_m2_s**2
    still = Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof) * k / diameter_m + 5.0
    windy = Nu_cylinder_Churchill_Bernstein(20 / 3.6 * diameter_m / nu_m2_s, prandtl) * k / diameter_m + 5.0
    foam = 0.02 / 0.035
    insulated, bare = (1 / still + foam) / (1 / windy + foam), windy / still
    assert insulated < 6000.0 / in_wind(6000.0, 20.0) < bare
