"""Residence-time laws against closed forms and against a laminar tube integrated ring by ring."""

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


def path(count: int = 3, oil: float = 0.0) -> FuelPath:
    return FuelPath(VOLUME_UL, PUMP_UL, count, oil)


def let_in(line: FuelPath, volumes: float, oil: float) -> None:
    """Push this many volumes of the whole path, tick by tick."""
    left = volumes * VOLUME_UL
    while left > 1e-6:
        step = min(TICK_UL, left)
        line.push(step, oil)
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
        line.push(TICK_UL, oil)
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
        came_out += line.push(700.0, oil)
    assert len(line._parcels) <= MAX_PARCELS
    assert len(line._steps) <= MAX_STEPS
    assert line.inside_ul == pytest.approx(sum(volume * oil for volume, oil in line._parcels))
    assert sum(volume for volume, _ in line._parcels) == pytest.approx(VOLUME_UL, rel=1e-9)
    assert went_in - came_out == pytest.approx(line.inside_ul, abs=1e-12 * went_in)
    for law in LAWS:
        assert 0.0 <= line.outlet_oil(law) <= 1.0
        assert 0.0 <= line.inside_oil(law) <= 1.0


def test_slow_drift_of_what_is_let_in_is_followed_without_loss() -> None:
    """An oil tank that takes up diesel changes by less than a parcel's tolerance a tick, and by 4 % in the end."""
    line = path(oil=1.0)
    went_in, came_out = VOLUME_UL, 0.0
    for i in range(40_000):
        oil = 1.0 - 1e-6 * i
        went_in += TICK_UL * oil
        came_out += line.push(TICK_UL, oil)
    assert went_in - came_out == pytest.approx(line.inside_ul, abs=1e-12 * went_in)
    for law in LAWS:
        assert line.inside_oil(law) == pytest.approx(0.96, abs=2e-3)


def test_copy_goes_its_own_way() -> None:
    line = path()
    let_in(line, 0.3, 1.0)
    other = line.copy()
    let_in(other, 2.0, 0.0)
    assert line.inside_oil("plug") == pytest.approx(0.3)
    assert line.outlet_oil("laminar") == 0.0
