"""Raw readings against maker's data, reference resistances and a converter simulated code by code."""

from __future__ import annotations

import copy
import random
import statistics
from bisect import bisect_right
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import pytest

from host_sim import ntc, signals
from host_sim.run_on import RunOnChain
from host_sim.signals import Cockpit, Signals, adc_transfer, counts_from_c, from_physical, to_physical


def car(**changes: object) -> Any:
    values: dict[str, object] = {
        "coolant_feed_c": 80.0,
        "filter_c": 70.0,
        "suction_pa": 5000.0,
        "tank_outlet_c": 60.0,
        "pump_inlet_c": 40.0,
        "oil_level": 0.5,
        "diesel_level": 0.25,
        "supply_v": 13.8,
        "ambient_c": -10.0,
        "key_on": True,
        "engine_running": True,
        "supply_valve_pos": 1.0,
        "return_valve_pos": 0.0,
        "run_on": RunOnChain(),
    }
    return SimpleNamespace(**(values | changes))


def mean_raw(truth: Any, channel: int, samples: int = 2000) -> float:
    board = Signals(1)
    total = 0
    for _ in range(samples):
        board.sample(truth)
        total += board.raw[channel]
    return total / samples


# Makers' resistances of the 10 kohm NTC: datasheet points and nominal, as quoted in a public firmware header.
@pytest.mark.parametrize(("t_c", "ohm"), [(0.0, 32650.8), (25.0, 10000.0), (60.0, 2487.1)])
@pytest.mark.parametrize(
    ("channel", "attribute"),
    [(signals.OIL_TANK, "tank_outlet_c"), (signals.PUMP_INLET, "pump_inlet_c"), (signals.AMBIENT, "ambient_c")],
)
def test_thermistor_on_the_i2c_converter_reads_the_divider_of_its_datasheet_resistance(channel, attribute, t_c, ohm):
    assert mean_raw(car(**{attribute: t_c}), channel) == pytest.approx(65535 * ohm / (ohm + 5600), abs=3)


@pytest.mark.parametrize(("channel", "attribute"), [(signals.COOLANT, "coolant_feed_c"), (signals.OIL, "filter_c")])
@pytest.mark.parametrize(("t_c", "ohm"), [(0.0, 32650.8), (25.0, 10000.0), (60.0, 2487.1)])
def test_thermistor_on_the_pico_reads_the_divider_within_the_converters_nonlinearity(channel, attribute, t_c, ohm):
    # Largest INL measured on an RP2040: 7.85 LSB (pico-adc.markomo.me), of 16 counts each.
    assert mean_raw(car(**{attribute: t_c}), channel) == pytest.approx(65535 * ohm / (ohm + 5600), abs=7.85 * 16)


# MPX5100DP (Rev 14): 0.2 V at 0 kPa and 4.7 V at 100 kPa on 5.0 V, ratiometric.
@pytest.mark.parametrize(("pa", "share"), [(0.0, 0.2 / 5.0), (100_000.0, 4.7 / 5.0)])
def test_suction_reads_the_two_datasheet_points(pa, share):
    assert mean_raw(car(suction_pa=pa), signals.SUCTION) == pytest.approx(65535 * share, abs=7.85 * 16)


def test_levels_run_from_5_to_95_percent_and_supply_to_20_v():
    assert mean_raw(car(oil_level=0.0), signals.OIL_LEVEL) == pytest.approx(0.05 * 65535, abs=2)
    assert mean_raw(car(oil_level=1.0), signals.OIL_LEVEL) == pytest.approx(0.95 * 65535, abs=2)
    assert mean_raw(car(diesel_level=0.5), signals.DIESEL_LEVEL) == pytest.approx(0.5 * 65535, abs=2)
    assert mean_raw(car(supply_v=12.0), signals.SUPPLY) == pytest.approx(12000 / 20000 * 65535, abs=2)


def test_readings_stay_on_the_scale_beyond_the_sensors_ends():
    board = Signals(1)
    for _ in range(500):
        board.sample(car(supply_v=0.0, suction_pa=-9000.0))
        assert board.raw[signals.SUPPLY] >= 0
        assert board.raw[signals.SUCTION] == pytest.approx(0, abs=20)
        assert board.raw[signals.SUCTION] >= 0
        board.sample(car(supply_v=30.0, suction_pa=150_000.0))
        assert board.raw[signals.SUPPLY] <= 65535
        assert 65400 < board.raw[signals.SUCTION] <= 65520


def test_switched_inputs_follow_car_and_cockpit():
    cockpit = Cockpit()
    board = Signals(1, cockpit)
    cockpit.ready = cockpit.lighting = True
    run_on = RunOnChain()
    run_on.brake_applied = False
    board.sample(car(supply_valve_pos=0.95, return_valve_pos=0.5, engine_running=False, run_on=run_on))
    named = dict(zip(signals.DIGITAL_NAMES, board.digital, strict=True))
    assert named == {
        "key": True,
        "engine": False,
        "ready": True,
        "button": False,
        "supply_contact": True,
        "return_contact": False,
        "brake": False,
        "neutral": True,
        "bonnet": True,
        "lighting": True,
    }


def code_edges() -> list[float]:
    """Upper edges of 4095 codes whose widths are one LSB, four of them 8.9 LSB more, the rest less for it."""
    wide = signals.STEP_LSB
    narrow = (4096 - 4 * (1 + wide)) / 4092
    edges, edge = [], -0.5
    for code in range(4096):
        edge += 1 + wide if code in (512, 1536, 2560, 3584) else narrow
        edges.append(edge)
    return edges


@pytest.mark.parametrize("level", [100.3, 700.0, 1024.5, 1525.2, 2100.7, 2545.0, 3000.0, 3999.9])
def test_sixteen_codes_drawn_one_by_one_agree_with_the_one_draw_of_the_model(level):
    edges, rng = code_edges(), random.Random(5)
    sums = [
        sum(bisect_right(edges, level + rng.gauss(0.0, signals.PICO_NOISE_LSB)) for _ in range(16)) for _ in range(3000)
    ]
    assert statistics.fmean(sums) == pytest.approx(16 * adc_transfer(level), abs=16)  # within one code
    assert statistics.stdev(sums) == pytest.approx(signals.PICO_NOISE_COUNTS, rel=0.1)


def test_converter_is_monotone_true_at_both_ends_and_flat_at_its_four_codes():
    # Codes of erratum RP2040-E11.
    curve = [adc_transfer(level / 4) for level in range(4 * 4096)]
    assert all(a <= b for a, b in pairwise(curve))
    assert curve[0] == 0
    assert curve[-1] == pytest.approx(4095, abs=1)
    for code in (512, 1536, 2560, 3584):
        assert adc_transfer(code - 4.4) == pytest.approx(code, abs=1e-6)
        assert adc_transfer(code + 4.4) == pytest.approx(code, abs=1e-6)
    worst = max(abs(adc_transfer(level) - level) for level in range(4096))
    assert worst == pytest.approx(signals.STEP_LSB / 2, abs=0.5)


def test_steps_fall_on_the_temperatures_that_the_divider_gives_them():
    # 5.6 kohm: -3.5, 26.6, 51.8 and 94.4 degC, computed from the sensor's coefficients.
    for t_c in (-3.5, 26.6, 51.8, 94.4):
        ideal = from_physical(signals.COOLANT, t_c)
        code = min((512, 1536, 2560, 3584), key=lambda code: abs(16 * code - ideal))
        assert abs(16 * code - ideal) < 60
        assert counts_from_c(t_c) == 16 * code


def test_noise_has_its_spread_and_no_short_period():
    board = Signals(7)
    values = []
    for _ in range(6000):
        board.sample(car())
        values.append(board.raw[signals.OIL])
    assert statistics.stdev(values) == pytest.approx(signals.PICO_NOISE_COUNTS, rel=0.1)
    assert values[:3000] != values[3000:]
    first = values[:200]
    assert all(values[start : start + 200] != first for start in range(1, 5800))


def test_one_seed_gives_one_stream_and_another_seed_another():
    streams = []
    for seed in (3, 3, 4):
        board = Signals(seed)
        stream = []
        for _ in range(2000):
            board.sample(car())
            stream.append(tuple(board.raw))
        streams.append(stream)
    assert streams[0] == streams[1] != streams[2]


def test_a_fork_reads_on_alone_and_alike():
    board = Signals(3)
    for _ in range(700):
        board.sample(car())
    fork = copy.deepcopy(board)
    fork.cockpit.ready = True
    streams: list[list[tuple[int, ...]]] = []
    for one in (board, fork):
        streams.append([])
        for _ in range(2000):
            one.sample(car())
            streams[-1].append(tuple(one.raw))
    assert streams[0] == streams[1]
    assert not board.digital[signals.READY]
    assert fork.digital[signals.READY]


@pytest.mark.parametrize("channel", signals.NTC_CHANNELS)
@pytest.mark.parametrize("t_c", [-40.0, -10.3, 0.0, 20.0, 54.0, 78.0, 105.0, 130.0])
def test_counts_from_c_is_the_inverse_of_the_thermistor(channel, t_c):
    back = ntc.counts_to_c(counts_from_c(t_c, channel))
    slope = abs(ntc.counts(t_c + 0.5) - ntc.counts(t_c - 0.5))
    off = signals.STEP_LSB / 2 * 16 if channel in signals.PICO_CHANNELS else 1.0
    assert back == pytest.approx(t_c, abs=(off + 2.0) / slope)


@pytest.mark.parametrize(
    ("channel", "value"),
    [
        (signals.COOLANT, -12.5),
        (signals.SUCTION, 23.0),
        (signals.AMBIENT_PRESSURE, 95.0),
        (signals.SUPPLY, 12.3),
        (signals.OIL_LEVEL, 0.4),
    ],
)
def test_physical_value_comes_back_from_its_counts(channel, value):
    assert to_physical(channel, from_physical(channel, value)) == pytest.approx(value, rel=2e-3, abs=2e-3)


def test_ambient_pressure_reads_one_atmosphere():
    # Maker's transfer function, from memory: share of the supply = 0.009 kPa - 0.095; one atmosphere = 101.325 kPa.
    share = mean_raw(car(), signals.AMBIENT_PRESSURE) / 65535
    assert (share + 0.095) / 0.009 == pytest.approx(101.325, abs=0.05)


def test_logged_supply_stands_in_for_the_cars_own():
    board = Signals(1)
    board.logged_supply_v = 10.0
    board.sample(car(supply_v=14.0))
    assert to_physical(signals.SUPPLY, board.raw[signals.SUPPLY]) == pytest.approx(10.0, abs=0.01)
