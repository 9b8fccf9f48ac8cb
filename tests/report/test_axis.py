"""Driven time to scale, long parked stretches narrow, and every place on the axis still means one moment."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from secondtank.report.axis import LONG_PARKED_S, SHOWN_PARKED_S, TimeAxis

EIGHT_HOURS = (3000.0, 3000.0 + 29_400.0)


def test_driven_time_is_to_scale_and_the_parked_night_is_narrow() -> None:
    axis = TimeAxis.over(0.0, 36_000.0, [EIGHT_HOURS])
    driven = 36_000.0 - 29_400.0
    assert axis.to_axis(1000.0) == 1000.0
    assert axis.to_axis(35_000.0) - axis.to_axis(34_000.0) == pytest.approx(1000.0)
    assert driven < axis.to_axis(36_000.0) < 1.1 * driven
    assert axis.breaks == ((3000.0 + SHOWN_PARKED_S, 32_400.0 - SHOWN_PARKED_S, 29_400.0),)


@pytest.mark.parametrize(("parked_s", "broken"), [(LONG_PARKED_S - 1, 0), (LONG_PARKED_S, 0), (LONG_PARKED_S + 1, 1)])
def test_only_a_stretch_longer_than_ten_minutes_is_broken_out(parked_s: float, broken: int) -> None:
    axis = TimeAxis.over(0.0, 10_000.0, [(1000.0, 1000.0 + parked_s)])
    assert len(axis.breaks) == broken


def test_two_parked_rows_that_touch_are_one_break() -> None:
    axis = TimeAxis.over(0.0, 10_000.0, [(1000.0, 1400.0), (1400.0, 1900.0)])
    assert [parked for _, _, parked in axis.breaks] == [900.0]


def test_what_follows_the_last_key_off_keeps_its_first_minute_to_scale() -> None:
    axis = TimeAxis.over(0.0, 40_000.0, [(2000.0, 40_000.0)])
    assert axis.to_axis(2000.0 + SHOWN_PARKED_S) == 2000.0 + SHOWN_PARKED_S
    assert axis.to_axis(40_000.0) < 2300.0


def test_however_many_breaks_most_of_the_axis_is_driving() -> None:
    axis = TimeAxis.over(0.0, 200_000.0, [(10_000.0 * i + 2000.0, 10_000.0 * i + 9000.0) for i in range(20)])
    assert len(axis.breaks) == 20
    widths = sum(axis.to_axis(t1) - axis.to_axis(t0) for t0, t1, _ in axis.breaks)
    assert widths < 0.25 * axis.to_axis(200_000.0)


@given(
    st.lists(st.tuples(st.floats(0, 90_000), st.floats(0, 40_000)), max_size=6),
    st.floats(-100, 100_100),
    st.floats(-100, 100_100),
)
def test_clock_to_axis_and_back_is_the_same_moment_and_order_holds(
    parked: list[tuple[float, float]], t: float, later: float
) -> None:
    axis = TimeAxis.over(0.0, 100_000.0, [(t0, t0 + length) for t0, length in parked])
    assert axis.to_clock(axis.to_axis(t)) == pytest.approx(t, abs=1e-3)
    if later > t + 1e-3:
        assert axis.to_axis(later) > axis.to_axis(t)


def test_an_empty_record_still_has_an_axis() -> None:
    axis = TimeAxis.over(0.0, 0.0)
    assert axis.to_axis(1.0) == 1.0
