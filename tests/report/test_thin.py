"""Thinned lines keep their spikes and gaps; numbers keep what a screen can show."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from secondtank.report.thin import short, thinned


def test_a_spike_of_one_sample_and_a_dip_of_one_sample_survive() -> None:
    x = [float(i) for i in range(30_000)]
    y: list[float | None] = [math.sin(i / 500) for i in range(30_000)]
    y[12_345], y[23_456] = 99.0, -99.0
    thin_x, thin_y = thinned(x, y, buckets=300)
    assert (12_345.0, 99.0) in zip(thin_x, thin_y, strict=True)
    assert (23_456.0, -99.0) in zip(thin_x, thin_y, strict=True)
    assert len(thin_x) <= 2 * 300 + 2


def test_a_gap_stays_a_gap_and_is_told_by_one_none() -> None:
    x = [float(i) for i in range(10_000)]
    y: list[float | None] = [1.0] * 10_000
    y[4_000:4_010] = [None] * 10
    y[7_000] = math.nan
    thin_x, thin_y = thinned(x, y, buckets=100)
    assert [t for t, v in zip(thin_x, thin_y, strict=True) if v is None] == [4_000.0, 7_000.0]


def test_a_short_line_comes_back_whole() -> None:
    assert thinned([0.0, 1.0, 2.0], [3.0, None, math.inf]) == ([0.0, 1.0, 2.0], [3.0, None, None])


@given(st.lists(st.one_of(st.none(), st.floats(-200, 200)), min_size=50, max_size=400), st.integers(1, 12))
def test_extremes_ends_and_order_hold_for_any_line(y: list[float | None], buckets: int) -> None:
    x = [0.5 * i for i in range(len(y))]
    thin_x, thin_y = thinned(x, y, buckets)
    there = dict(zip(x, y, strict=True))
    assert all(there[t] == v for t, v in zip(thin_x, thin_y, strict=True))
    assert all(a < b for a, b in pairwise(thin_x))
    assert (thin_x[0], thin_x[-1]) == (x[0], x[-1])
    values, kept = [v for v in y if v is not None], [v for v in thin_y if v is not None]
    if values:
        assert (min(kept), max(kept)) == (min(values), max(values))


@pytest.mark.parametrize(
    ("value", "shown"), [(71.234567, 71.235), (-0.000123456, -0.00012346), (0.0, 0.0), (None, None)]
)
def test_five_significant_digits_are_kept(value: float | None, shown: float | None) -> None:
    assert short(value) == shown
