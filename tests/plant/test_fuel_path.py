"""Residence-time laws against closed forms and against a laminar tube integrated ring by ring, for oil and for heat."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import gammainc

from host_sim.fuel_path import LAWS, MAX_PARCELS, MAX_STEPS, FuelPath

VOLUME_UL = 350_000.0
PUMP_UL = 50_000.0
TICK_UL = 1000.0  # 10 mL/s for 0.1 s
HALF_PERCENT = 0.005


COLD_C, HOT_C = -10.0, 70.0


def path(count: int = 3, oil: float = 0.0) -> FuelPath:
    return FuelPath(VOLUME_UL, PUMP_UL, count, oil, COLD_C)


def let_in(line: FuelPath, volumes: float, oil: float, t_c: float = COLD_C) -> None:
    """Push this many volumes of the whole path, tick by tick."""
    left = volumes * VOLUME_UL
    while left > 1e-6:
        step = min(TICK_UL, left)
        line.push(step, oil, t_c)
        left -= step


@pytest.mark.parametrize("theta", [0.2, 0.4, 0.6, 0.9, 1.0, 1.5, 2.24, 3.0, 5.0, 10.0, 40.0])
def test_purge_follows_closed_forms(theta: float) -> None:
    """Oil left after theta volumes of diesel: laminar 1 / (4 theta^2) and 1 / (4 theta) (textbook, Hagen-Poiseuille

    without diffusion; 25 % and 25 % after one volume, 5 % and 11 % after 2.24), tanks in series by the regularised
    incomplete gamma function of scipy, plug all or nothing. To 0.5 % of the path's content.
    """
    line = path(oil=1.0)
    let_in(line, theta, 0.0)
    laminar_out = 1.0 / (4.0 * theta**2) if theta > 0.5 else 1.0
    laminar_in = 1.0 / (4.0 * theta) if theta > 0.5 else 1.0 - theta
    assert line.outlet_oil("laminar") == pytest.approx(laminar_out, abs=HALF_PERCENT)
    assert line.inside_oil("laminar") == pytest.approx(laminar_in, abs=HALF_PERCENT)
    assert line.outlet_oil("stirred") == pytest.approx(1.0 - gammainc(3, 3.0 * theta), abs=HALF_PERCENT)
    stirred_in = sum(1.0 - gammainc(j, 3.0 * theta) for j in (1, 2, 3)) / 3.0
    assert line.inside_oil("stirred") == pytest.approx(stirred_in, abs=HALF_PERCENT)
    assert line.outlet_oil("plug") == (1.0 if theta < 1.0 else 0.0)
    assert line.inside_oil("plug") == pytest.approx(max(0.0, 1.0 - theta), abs=1e-9)
    assert line.worst_inside_oil == max(line.inside_oil(law) for law in LAWS)
    assert line.worst_outlet_oil == max(line.outlet_oil(law) for law in LAWS)


@pytest.mark.parametrize("count", [1, 2, 5, 20])
def test_stirred_volumes_in_a_row_follow_the_gamma_distribution(count: int) -> None:
    for theta in (0.5, 1.0, 2.0):
        line = path(count)
        let_in(line, theta, 1.0)
        assert line.outlet_oil("stirred") == pytest.approx(gammainc(count, count * theta), abs=HALF_PERCENT)


@pytest.mark.parametrize("theta", [0.5, 0.8, 1.3, 3.0])
def test_laminar_law_is_that_of_a_parabolic_profile(theta: float) -> None:
    """A tube of unit radius and length, v = 2 (1 - r^2): what leaves it, ring by ring, is new where v theta > 1."""
    fresh = quad(lambda r: 2.0 * r * 2.0 * (1.0 - r * r) * (2.0 * (1.0 - r * r) * theta > 1.0), 0.0, 1.0, limit=400)[0]
    filled = quad(lambda r: 2.0 * r * min(1.0, 2.0 * (1.0 - r * r) * theta), 0.0, 1.0, limit=400)[0]
    line = path()
    let_in(line, theta, 1.0)
    assert line.outlet_oil("laminar") == pytest.approx(fresh, abs=HALF_PERCENT)
    assert line.inside_oil("laminar") == pytest.approx(filled, abs=HALF_PERCENT)


def test_pump_inlet_sees_the_change_before_the_outlet() -> None:
    """Laminar front at half of the line's own volume: 25 mL at the pump, 175 mL at the return valve."""
    line = path()
    let_in(line, 24_000 / VOLUME_UL, 1.0)
    assert line.worst_pump_oil > 0.0  # stirred lets some through at once
    assert line.pump_oil("laminar") == 0.0
    assert line.pump_oil("plug") == 0.0
    let_in(line, 27_000 / VOLUME_UL, 1.0)
    assert line.pump_oil("plug") == 1.0
    assert line.pump_oil("laminar") == pytest.approx(1.0 - 0.25 * (50.0 / 51.0) ** 2, abs=0.01)
    assert line.outlet_oil("laminar") == 0.0


def test_changes_on_top_of_each_other_add_up_as_the_convolution_says() -> None:
    """Filling, purge and a valve in travel, against the input convolved with the law's density, both laws."""
    inputs: list[float] = []
    for volumes, oil in ((0.6, 1.0), (0.3, 0.4), (0.9, 0.0)):
        inputs += [oil] * round(volumes * VOLUME_UL / TICK_UL)
    inputs[210:210] = [0.9, 0.8, 0.7, 0.6, 0.5, 0.45, 0.42, 0.41]
    line = path()
    for oil in inputs:
        line.push(TICK_UL, oil, COLD_C)
    ages = (np.arange(len(inputs), 0, -1) - 0.5) * TICK_UL / VOLUME_UL
    steps = np.diff([0.0, *inputs])
    starts = ages + 0.5 * TICK_UL / VOLUME_UL
    laminar = np.where(starts > 0.5, 1.0 - 0.25 / np.maximum(starts, 0.5) ** 2, 0.0)
    assert line.outlet_oil("laminar") == pytest.approx(float(steps @ laminar), abs=HALF_PERCENT)
    assert line.outlet_oil("stirred") == pytest.approx(float(steps @ gammainc(3, 3.0 * starts)), abs=HALF_PERCENT)


def test_what_goes_in_comes_out_and_queue_stays_short() -> None:
    """2 000 changes of composition, none lost: parcels stay bounded and the account holds to 1e-12 of what passed."""
    line = path()
    went_in = came_out = 0.0
    for i in range(20_000):
        oil = 0.5 + 0.5 * math.sin(i // 10 * 1.7)
        went_in += 700.0 * oil
        came_out += line.push(700.0, oil, 30.0 + 30.0 * math.cos(i // 7 * 1.3))
    assert len(line._parcels) <= MAX_PARCELS
    assert len(line._steps) <= MAX_STEPS
    assert len(line._warm_steps) <= MAX_STEPS
    assert line.inside_ul == pytest.approx(sum(volume * oil for volume, oil, _ in line._parcels))
    assert sum(volume for volume, _, _ in line._parcels) == pytest.approx(VOLUME_UL, rel=1e-9)
    assert went_in - came_out == pytest.approx(line.inside_ul, abs=1e-12 * went_in)
    for law in LAWS:
        assert 0.0 <= line.outlet_oil(law) <= 1.0
        assert 0.0 <= line.inside_oil(law) <= 1.0
        assert 0.0 <= line.pump_c(law) <= 60.0


def test_slow_drift_of_what_is_let_in_is_followed_without_loss() -> None:
    """An oil tank that takes up diesel changes by less than a parcel's tolerance a tick, and by 4 % in the end."""
    line = path(oil=1.0)
    went_in, came_out = VOLUME_UL, 0.0
    for i in range(40_000):
        oil = 1.0 - 1e-6 * i
        went_in += TICK_UL * oil
        came_out += line.push(TICK_UL, oil, COLD_C)
    assert went_in - came_out == pytest.approx(line.inside_ul, abs=1e-12 * went_in)
    for law in LAWS:
        assert line.inside_oil(law) == pytest.approx(0.96, abs=2e-3)


def test_copy_goes_its_own_way() -> None:
    line = path()
    let_in(line, 0.3, 1.0)
    other = line.copy()
    let_in(other, 2.0, 0.0, HOT_C)
    assert line.inside_oil("plug") == pytest.approx(0.3)
    assert line.outlet_oil("laminar") == 0.0
    for law in LAWS:
        assert line.pump_c(law) == pytest.approx(COLD_C)
        assert other.pump_c(law) == pytest.approx(HOT_C, abs=0.5)


def share_at_pump(law: str, volume_ul: float) -> float:
    """Closed form: what has come through the feed line of a step after volume_ul; stirred, the first of three."""
    if law == "plug":
        return 1.0 if volume_ul > PUMP_UL else 0.0
    if law == "stirred":
        return 1.0 - math.exp(-3.0 * volume_ul / VOLUME_UL)
    theta = volume_ul / PUMP_UL
    return 1.0 - 0.25 / theta**2 if theta > 0.5 else 0.0


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("volume_ul", [10_000.0, 24_000.0, 40_000.0, 49_000.0, 52_000.0, 90_000.0, 400_000.0, 3e6])
def test_temperature_reaches_the_pump_by_the_law_of_the_composition(law: str, volume_ul: float) -> None:
    """Hot oil behind cold diesel: both by the closed form of the law, to 0.5 % of the step."""
    line = path()
    let_in(line, volume_ul / VOLUME_UL, 1.0, HOT_C)
    share = share_at_pump(law, volume_ul)
    assert line.pump_oil(law) == pytest.approx(share, abs=HALF_PERCENT)
    assert line.pump_c(law) == pytest.approx(COLD_C + share * (HOT_C - COLD_C), abs=HALF_PERCENT * (HOT_C - COLD_C))


@pytest.mark.parametrize("law", LAWS)
def test_cold_slug_before_hot_oil_adds_up_at_the_pump(law: str) -> None:
    """30 mL at -30 degC, then 70 degC: two steps, each by the closed form; plug brings exactly 30 mL of it."""
    line = path()
    slug_ul, cold_ul = 30_000.0, 0.0
    for tick in range(400):
        before_ul = tick * TICK_UL
        line.push(TICK_UL, 1.0, -30.0 if before_ul < slug_ul else HOT_C)
        passed_ul = before_ul + TICK_UL
        expected = COLD_C - 20.0 * share_at_pump(law, passed_ul)
        if passed_ul > slug_ul:
            expected += 100.0 * share_at_pump(law, passed_ul - slug_ul)
        if law != "plug" or abs(passed_ul - PUMP_UL) > TICK_UL:
            assert line.pump_c(law) == pytest.approx(expected, abs=HALF_PERCENT * 100.0)
        cold_ul += TICK_UL if line.pump_c(law) < -20.0 else 0.0
    if law == "plug":
        assert cold_ul == pytest.approx(slug_ul, abs=TICK_UL)


@pytest.mark.parametrize("law", LAWS)
def test_slow_warming_reaches_the_pump_without_a_step_back(law: str) -> None:
    """0.2 K a litre for 60 L: the pump follows within a kelvin and never cools by more than a tenth of one."""
    line = path(oil=1.0)
    highest = COLD_C
    for tick in range(60_000):
        t_c = COLD_C + 0.2e-6 * TICK_UL * tick
        line.push(TICK_UL, 1.0, t_c)
        assert line.pump_c(law) == pytest.approx(t_c, abs=1.0)
        assert line.pump_c(law) > highest - 0.1
        highest = max(highest, line.pump_c(law))
    assert highest > COLD_C + 11.0


@pytest.mark.parametrize("law", LAWS)
def test_jump_after_an_unfinished_drift_still_has_its_way_to_go(law: str) -> None:
    line = path()
    for tick in range(700):
        line.push(TICK_UL, 0.0, COLD_C + 0.001 * tick)
    line.push(TICK_UL, 1.0, HOT_C)
    assert line.pump_c(law) < COLD_C + 4.0


def test_fuel_at_rest_takes_the_temperature_of_its_wall_and_goes_on_from_there() -> None:
    """All inside decays alike, exp(-t / tau) at any cutting of the time; the hot step is then half as high."""
    lines = []
    for cuts in (1, 50):
        line = path()
        let_in(line, 45_000.0 / VOLUME_UL, 1.0, HOT_C)
        before = {law: line.pump_c(law) for law in LAWS}
        for _ in range(cuts):
            line.rest(20.0, 0.5 ** (1.0 / cuts))
        for law in LAWS:
            assert line.pump_c(law) == pytest.approx(20.0 + 0.5 * (before[law] - 20.0), abs=1e-9)
        let_in(line, 10_000.0 / VOLUME_UL, 1.0, 45.0)  # as warm as what now stands behind the valve
        lines.append(line)
    assert lines[0].pump_c("plug") == pytest.approx(45.0, abs=0.5)
    half = 20.0 + 0.5 * (COLD_C + share_at_pump("laminar", 55_000.0) * (HOT_C - COLD_C) - 20.0)
    assert lines[0].pump_c("laminar") == pytest.approx(half, abs=0.5)
    for law in LAWS:
        assert lines[1].pump_c(law) == pytest.approx(lines[0].pump_c(law), abs=1e-9)


def test_feed_line_holds_what_came_last() -> None:
    line = path()
    let_in(line, 30_000.0 / VOLUME_UL, 1.0, HOT_C)
    (near, oil, t_c), (far, diesel, cold_c) = line.feed_line()
    assert (near, far) == (pytest.approx(30_000.0), pytest.approx(20_000.0))
    assert (oil, diesel) == (1.0, 0.0)
    assert (t_c, cold_c) == (pytest.approx(HOT_C), pytest.approx(COLD_C))
    let_in(line, 40_000.0 / VOLUME_UL, 1.0, HOT_C)
    assert line.feed_line() == [(PUMP_UL, 1.0, pytest.approx(HOT_C))]
