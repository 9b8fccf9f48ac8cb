"""Raw counts to value or reason: conversions against the sensors' own equations, trust sample by sample."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from changeover.inputs import Inputs
from changeover.restriction import Restriction
from changeover.sensing import (
    BARO,
    DIESEL_LEVEL,
    GOOD,
    JUMPED,
    NO_ANSWER,
    NOT_FITTED,
    OIL_LEVEL,
    OPEN,
    OUT_OF_RANGE,
    SETTLING,
    SHORT,
    STALE,
    SUCTION,
    SUPPLY,
    Channel,
    Contact,
    Linear,
    Thermistor,
)
from changeover.settings import NORM_NAMES, defaults
from host_sim import ntc
from host_sim.filter_model import oil_viscosity_pa_s
from host_sim.fluids import D341
from host_sim.pressure import ABSOLUTE_115, DIFFERENTIAL_100
from tests.law.rig import fitted_out

ZERO_C = defaults()["ntc_p000_counts"]


def thermistor(trim_cdegc: int = 0) -> Thermistor:
    return Thermistor(True, defaults(), trim_cdegc)


def settled(channel: Channel, counts: int) -> Channel:
    """The channel after enough good samples."""
    for _ in range(5):
        channel.step(counts)
    assert channel.reason == GOOD
    return channel


# conversions


def test_thermistor_follows_the_steinhart_hart_equation() -> None:
    """Straight lines of 5 K leave less than 0.1 K where thresholds stand, 0.2 K from -40 to 130 degC and through 0."""
    sensor = thermistor()
    for counts in range(3329, 64462, 7):
        t_c = ntc.counts_to_c(counts)
        assert sensor.convert(counts) / 100 == pytest.approx(t_c, abs=0.1 if 20 < t_c < 105 else 0.2)
    for t_c in (0.01, 0.0, -0.01, -0.5, -5.0, -20.0, -39.9):
        assert sensor.convert(round(ntc.counts(t_c))) == pytest.approx(100 * t_c, abs=20)


def test_thermistor_runs_one_way_and_takes_any_order_of_readings() -> None:
    rising = thermistor()
    values = [rising.convert(counts) for counts in range(701, 65000)]
    assert values == sorted(values, reverse=True)
    hopping = thermistor()
    for counts in (700, 65000, ZERO_C, 3328, 64461, ZERO_C + 1, 3329, 65000, 701):
        assert hopping.convert(counts) == thermistor().convert(counts)
    assert min(values) < -4000, "beyond the table's ends the value leaves the believable range"
    assert max(values) > 13000


def test_trim_is_added() -> None:
    assert thermistor(-150).convert(ZERO_C) == -150


def test_levels_supply_and_suction_are_straight_lines() -> None:
    """Transfers as sensors of this kind have them: 4 % of full scale at 0 kPa, 0.9 % a kPa; 5 to 95 % for a level."""
    inputs = Inputs(fitted_out())
    for kpa in (0.0, 1.0, 20.0, 35.0, 100.0):
        value = inputs.channel[SUCTION].convert(round(DIFFERENTIAL_100.counts(kpa)))
        assert value == pytest.approx(1000 * kpa, rel=1e-3, abs=2)
    for level in (0.0, 0.1, 0.5, 1.0):
        for index in (OIL_LEVEL, DIESEL_LEVEL):
            assert inputs.channel[index].convert(round(3277 + level * 0.9 * 65535)) == pytest.approx(
                1000 * level, abs=1
            )
    for volts in (0.0, 9.5, 11.5, 14.4):
        assert inputs.channel[SUPPLY].convert(round(volts / 20 * 65535)) == pytest.approx(1000 * volts, rel=1e-3)
    absolute = Inputs(fitted_out(suction_absolute=1))
    assert absolute.channel[BARO].convert(round(ABSOLUTE_115.counts(95.0))) == pytest.approx(95_000, rel=1e-3)


def test_level_settings_that_make_no_sense_divide_nothing_by_zero() -> None:
    values = fitted_out(oil_level_zero_counts=500, oil_level_full_counts=500)
    inputs = Inputs(values)  # as on a board with invalid settings, which stays on diesel but must run
    inputs.channel[OIL_LEVEL].step(30000)


def test_suction_correction_follows_the_viscosity_of_the_oil() -> None:
    """Darcy: suction goes as dynamic viscosity. Between two rows the straight line stays within 3 % of it."""
    oil = D341.from_points(40.0, 40.0, 100.0, 8.6)
    restriction = Restriction(defaults())
    for t_cdegc in range(2000, 11001, 250):
        exact = oil_viscosity_pa_s(oil, 70.0) / oil_viscosity_pa_s(oil, t_cdegc / 100)
        assert restriction.factor_permille(t_cdegc) == pytest.approx(1000 * exact, rel=0.03)
    assert restriction.factor_permille(-4000) == restriction.factor_permille(2000) == defaults()[NORM_NAMES[0]]
    assert restriction.factor_permille(13000) == restriction.factor_permille(11000) == defaults()[NORM_NAMES[-1]]


# trust


def test_channel_says_nothing_before_it_has_settled() -> None:
    sensor = thermistor()
    assert sensor.reason == SETTLING
    for _ in range(4):
        sensor.step(ZERO_C)
        assert sensor.reason == SETTLING
    sensor.step(ZERO_C)
    assert (sensor.reason, sensor.value) == (GOOD, 0)


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        (65000, OPEN),
        (65535, OPEN),
        (700, SHORT),
        (0, SHORT),
        (NO_ANSWER, STALE),
        (64999, OUT_OF_RANGE),
        (701, OUT_OF_RANGE),
    ],
)
def test_third_bad_sample_ends_trust_and_the_value_is_never_a_plausible_one(counts: int, reason: int) -> None:
    sensor = settled(thermistor(), ZERO_C)
    for number in (1, 2):
        sensor.step(counts)
        assert sensor.reason == GOOD
        assert sensor.value == 0
        assert sensor.age == number
    sensor.step(counts)
    assert sensor.reason == reason
    assert sensor.age == 3
    for _ in range(11):
        sensor.step(ZERO_C)
        assert sensor.reason == reason
        assert sensor.age == 0
    sensor.step(ZERO_C)
    assert sensor.reason == GOOD


def test_counters_saturate() -> None:
    sensor = settled(thermistor(), ZERO_C)
    for _ in range(2000):
        sensor.step(65535)
    assert sensor.age == 500
    assert sensor.bad == 40
    for _ in range(39):
        sensor.step(ZERO_C)
        assert sensor.reason == OPEN
    sensor.step(ZERO_C)
    assert sensor.reason == GOOD
    assert sensor.bad == 0


def test_channel_that_is_bad_from_the_start_never_settles() -> None:
    sensor = thermistor()
    for _ in range(20):
        sensor.step(65535)
    assert sensor.reason == OPEN
    for _ in range(44):
        sensor.step(ZERO_C)
        assert sensor.reason == OPEN
    sensor.step(ZERO_C)
    assert sensor.reason == GOOD


def test_channel_that_is_not_fitted_stays_so() -> None:
    sensor = Thermistor(False, defaults(), 0)
    sensor.step(ZERO_C)
    sensor.distrust(OPEN)
    sensor.restart()
    assert sensor.reason == NOT_FITTED


def test_plain_channel_passes_counts_on() -> None:
    assert Channel(True, 0, 65535, 0, 65535, 0).convert(1234) == 1234


def test_line_through_its_limits_is_checked_on_both_sides() -> None:
    for counts, reason in ((5049, OUT_OF_RANGE), (5050, GOOD), (5150, GOOD), (5151, OUT_OF_RANGE)):
        line = settled(Linear(True, 5000, 1000, 1000, 50, 150, 10), 5100)
        for _ in range(3):
            line.step(counts)
        assert line.reason == reason


@given(st.lists(st.integers(-1, 65535), max_size=60))
def test_whatever_comes_a_good_channel_holds_a_believable_value(samples: list[int]) -> None:
    sensor = thermistor()
    for counts in samples:
        sensor.step(counts)
        if sensor.reason == GOOD:
            assert -4000 <= sensor.value <= 13000
        assert 0 <= sensor.bad <= 40
        assert 0 <= sensor.age <= 500


@pytest.mark.parametrize(("rise", "fall"), [(2, 3), (2, 4), (3, 2)])
def test_contact_is_debounced_each_way(rise: int, fall: int) -> None:
    contact = Contact(rise, fall)
    for wanted, samples in ((True, rise), (False, fall), (True, rise)):
        for _ in range(samples - 1):
            contact.step(wanted)
            assert contact.on is not wanted
        contact.step(wanted)
        assert contact.on is wanted


def test_bouncing_contact_needs_more_of_one_than_of_the_other() -> None:
    contact = Contact(3, 3)
    for _ in range(20):
        contact.step(True)
        contact.step(False)
        assert not contact.on
    for level in (True, True, False, True, True):
        contact.step(level)
    assert contact.on


def test_every_channel_is_sampled_on_every_tick() -> None:
    inputs = Inputs(fitted_out())
    seen = dict.fromkeys(range(10), 0)
    for index in seen:
        step = inputs.channel[index].step

        def count(counts: int, index: int = index, step=step) -> None:
            seen[index] += 1
            step(counts)

        inputs.channel[index].step = count  # type: ignore[method-assign]
    for _ in range(20):
        inputs.step([20000] * 10, [False] * 10)
    assert set(seen.values()) == {20}


def test_a_jump_limit_that_grew_in_the_last_trip_does_not_outlive_it() -> None:
    channel = settled(thermistor(), round(ntc.counts(60.0)))
    for _ in range(500):
        channel.step(65535)
    channel.restart()
    for _ in range(5):
        channel.step(round(ntc.counts(0.0)))
    assert channel.reason == GOOD
    for _ in range(3):
        channel.step(round(ntc.counts(9.9)))
    assert channel.reason == JUMPED
