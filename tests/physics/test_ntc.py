"""Steinhart-Hart, divider and table against makers' resistance tables."""

import math
import re
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import solve

from host_sim import ntc
from host_sim.errors import InputError
from host_sim.ntc import STANDARD_10K, Ntc

Reference = Callable[..., list[dict[str, str]]]


def test_standard_sensor_follows_its_table(reference: Reference) -> None:
    for row in reference("ntc_rt_tables", sensor="10k NTC", seen="seen"):
        t_c, ohm = float(row["temperature_degC"]), float(row["resistance_ohm"])
        # Rows worked out from the coefficients are exact; the datasheet's printed points carry its own rounding.
        exact = row["source"].startswith("computed")
        assert STANDARD_10K.ohm(t_c) == pytest.approx(ohm, rel=2e-5 if exact else 5e-5)
        assert STANDARD_10K.t_c(ohm) == pytest.approx(t_c, abs=5e-4 if exact else 2e-3)


def test_equation_reads_a_worked_example_and_shows_its_misprint(reference: Reference) -> None:
    def ohm(row: dict[str, str]) -> float:
        found = re.search(r"R=(\d+) ohm", row["value_or_formula"])
        assert found
        return float(found[1])

    rows = reference("steinhart_hart", item="worked-example", seen="seen")
    coefficients = re.search(r"A=(\S+) B=(\S+) C=(\S+)", rows[0]["value_or_formula"])
    assert coefficients
    assert len(rows) == 6
    sensor = Ntc(*(float(text) for text in coefficients.groups()))
    for row in rows:
        assert sensor.t_c(ohm(row)) == pytest.approx(float(row["number"]), abs=0.003)
        assert sensor.ohm(float(row["number"])) == pytest.approx(ohm(row), rel=2e-4)
    (suspect,) = reference("steinhart_hart", item="suspect", seen="seen")
    assert sensor.t_c(ohm(suspect)) == pytest.approx(39.53, abs=0.01)


def fitted(ohm: dict[float, float], points: tuple[float, float, float]) -> Ntc:
    """Sensor through three rows of a resistance table."""
    logs = [math.log(ohm[t_c]) for t_c in points]
    a, b, c = solve([[1.0, x, x**3] for x in logs], [1.0 / (t_c + 273.15) for t_c in points])
    return Ntc(float(a), float(b), float(c))


def test_equation_fits_car_makers_sensors(reference: Reference) -> None:
    rows = reference("ntc_rt_tables", sensor="automotive coolant/oil NTC", seen="seen")
    ohm = {float(row["temperature_degC"]): float(row["resistance_ohm"]) for row in rows}
    sensor = fitted(ohm, (-20.0, 20.0, 80.0))
    for t_c, expected in ohm.items():
        assert sensor.ohm(t_c) == pytest.approx(expected, rel=0.05)

    # Another maker prints limits: a sensor through the middle of three of them lies between all others.
    def limits(which: str) -> dict[float, float]:
        found = reference("ntc_rt_tables", sensor=f"{which} limit", seen="seen")
        return {float(row["temperature_degC"]): float(row["resistance_ohm"]) for row in found}

    low, high = limits("low"), limits("high")
    assert low.keys() == high.keys()
    assert len(low) == 8
    sensor = fitted({t_c: math.sqrt(low[t_c] * high[t_c]) for t_c in low}, (-10.0, 40.0, 90.0))
    for t_c in low:
        assert 0.95 * low[t_c] <= sensor.ohm(t_c) <= 1.05 * high[t_c]
    (nominal,) = reference("ntc_rt_tables", sensor="automotive coolant NTC nominal", seen="seen")
    assert sensor.ohm(25.0) == pytest.approx(float(nominal["resistance_ohm"]), rel=0.15)


def test_divider_puts_the_converters_steps_where_no_threshold_is() -> None:
    # Codes 512, 1536, 2560 and 3584 of 4096 (RP2040-E11) are 1/8, 3/8, 5/8 and 7/8 of the reference voltage.
    assert ntc.adc_step_temperatures() == pytest.approx([-3.5, 26.6, 51.8, 94.4], abs=0.06)
    for step_c, fraction in zip(ntc.adc_step_temperatures(), (7 / 8, 5 / 8, 3 / 8, 1 / 8), strict=True):
        assert ntc.counts(step_c) == pytest.approx(65535 * fraction, abs=0.01)
    # Why not another pull-up: 10 kohm has a step near changeover, 4.7 kohm one on ice and one on boiling water.
    assert min(abs(t - 76.0) for t in ntc.adc_step_temperatures(pullup_ohm=10_000.0)) < 0.5
    on_ice, _, _, boiling = ntc.adc_step_temperatures(pullup_ohm=4700.0)
    assert abs(on_ice) < 1.0
    assert abs(boiling - 100.0) < 1.0


@given(t_c=st.floats(-40.0, 130.0), pullup_ohm=st.floats(1000.0, 20_000.0))
def test_counts_and_temperature_are_each_others_inverse(t_c: float, pullup_ohm: float) -> None:
    counts = ntc.counts(t_c, STANDARD_10K, pullup_ohm)
    assert 0.0 < counts < 65535.0
    assert ntc.counts(t_c + 0.1, STANDARD_10K, pullup_ohm) < counts
    assert ntc.counts_to_c(counts, STANDARD_10K, pullup_ohm) == pytest.approx(t_c, abs=1e-6)


def test_table_is_close_enough_for_straight_lines_between_its_rows() -> None:
    table = ntc.table()
    assert [t_c for t_c, _ in table] == list(range(-40, 131, 5))
    for (t0_c, high), (t1_c, low) in pairwise(table):
        assert high > low
        for tenth in range(1, 10):
            t_c = t0_c + 0.5 * tenth
            read_c = t0_c + (t1_c - t0_c) * (high - ntc.counts(t_c)) / (high - low)
            assert read_c == pytest.approx(t_c, abs=0.15 if -20 <= t0_c < 110 else 0.2)


def test_open_and_short_circuit_have_no_temperature() -> None:
    for value in (0, 65535, -1, math.nan):
        with pytest.raises(InputError, match="NTC reading"):
            ntc.counts_to_c(value)
    with pytest.raises(InputError, match="NTC resistance"):
        STANDARD_10K.t_c(0.0)
