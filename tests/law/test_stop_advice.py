"""How long may the car stand: Newton's law of cooling in integers, held against the logarithm itself."""

from __future__ import annotations

import math

from hypothesis import example, given
from hypothesis import strategies as st

from changeover.stop_advice import standing_min


def exact_min(oil_cdegc: int, ambient_cdegc: int, restart_cdegc: int, cooling_s: int) -> float:
    """Time in min for the oil to fall to the restart temperature, t = tau ln((oil - ambient) / (restart - ambient))."""
    return cooling_s / 60 * math.log((oil_cdegc - ambient_cdegc) / (restart_cdegc - ambient_cdegc))


@given(st.integers(3000, 13000), st.integers(-4000, 8000), st.integers(3000, 9000), st.integers(600, 30000))
@example(13000, 2900, 3000, 30000)
@example(5601, -1500, 5600, 30000)
@example(3001, 2900, 3000, 600)
def test_advice_is_the_logarithm_and_never_longer(oil: int, ambient: int, restart: int, cooling_s: int) -> None:
    minutes = standing_min(oil, ambient, restart, cooling_s)
    if oil <= restart:
        assert minutes == 0
        return
    if ambient > restart - 100:  # never so cold: any time would do
        assert 0 <= minutes <= cooling_s * math.log(4) / 60
        return
    exact = exact_min(oil, ambient, restart, cooling_s)
    assert minutes <= exact
    if (oil - ambient) <= 4 * (restart - ambient):
        assert minutes >= math.floor(exact) - 1, "whole minutes, and at most one short of them"
    else:
        assert minutes == math.floor(cooling_s * 1.3862 / 60), "beyond a ratio of four the answer stops growing"


def test_summer_stop_of_common_practice_is_allowed() -> None:
    """Common practice, no source: hot oil in summer needs no purge for 60 to 90 min.

    Oil 78 degC, 25 degC outside, 54 degC at the restart; time constants from the 100 to 149 min that follow from them.
    """
    assert 60 <= standing_min(7800, 2500, 5400, 6000) <= 90
    assert 60 <= standing_min(7800, 2500, 5400, 6000 * 149 // 100) <= 120
    assert standing_min(7800, -1500, 5400, 6000) < 45


def test_oil_at_the_restart_temperature_may_not_stand() -> None:
    assert standing_min(5600, -1500, 5600, 6000) == 0
    assert standing_min(5599, -1500, 5600, 6000) == 0


def test_cooling_below_zero_is_no_special_case() -> None:
    for ambient in (100, 1, 0, -1, -100):
        assert 0 <= exact_min(8000, ambient, 5600, 6000) - standing_min(8000, ambient, 5600, 6000) < 1.2
