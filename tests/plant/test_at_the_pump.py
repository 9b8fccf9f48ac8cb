"""What reaches pump and tanks under the worst law, against mass balances and closed forms."""

from __future__ import annotations

from math import exp

import pytest

from host_sim.car import Car
from host_sim.car_spec import CarSpec
from host_sim.fuel_path import LAWS
from host_sim.thermal import INLET, PUMP, bore_ul, line_w_k
from tests.plant.conftest import start


def set_node(car: Car, node: int, t_c: float) -> None:
    heat = list(car.net.heat)
    heat[node] = car.net.capacity[node] * t_c
    car.net.heat = tuple(heat)


def test_what_stands_at_a_start_is_the_mean_of_feed_line_and_gallery_by_their_volumes(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.command_supply_oil = car.command_return_oil = True
    car.advance(1200.0)
    assert car.path.worst_inside_oil > 0.9
    set_node(car, INLET, 60.0)
    set_node(car, PUMP, 0.0)
    car.path.rest(60.0, 0.0)
    line = bore_ul(spec.injection.feed_bore_mm.value, spec.injection.feed_length_m.value)
    gallery = spec.injection.gallery_l.value * 1e6
    oil = car.path.worst_inside_oil
    warm, cold = car.fuel_table.index(60.0, oil), car.fuel_table.index(0.0, oil)
    assert cold - warm > 5.0
    assert abs(line - gallery) > 0.2 * (line + gallery)  # else the plain mean would do
    assert car.inside_index_worst == pytest.approx((line * warm + gallery * cold) / (line + gallery), abs=0.01)


def test_laminar_tail_is_counted_into_the_diesel_tank(spec: CarSpec) -> None:
    """After theta volumes at a steady flow plug has let theta - 1 of them out, laminar 1 / (4 theta) more (integral of

    1 - 1 / (4 theta^2) from 0.5 up); three stirred volumes far less more.
    """
    car = Car(spec, "tank_return", 60.0)
    start(car)
    car.advance(30.0)
    car.command_supply_oil = True
    car.advance(1.0)
    passed_ul = 0.0
    while passed_ul < 3.0 * car.path.volume_ul:
        car.advance(0.1)
        passed_ul += 0.1 * car.feed_ul_s
    theta = passed_ul / car.path.volume_ul
    more = car.oil_into_diesel_tank_worst / car.oil_into_diesel_tank - 1.0
    assert more == pytest.approx(0.25 / theta / (theta - 1.0), rel=0.1)


def test_what_goes_round_a_loop_weighs_by_what_is_not_burnt(spec: CarSpec) -> None:
    """Mass balance where the return joins the feed: what is burnt is made up by fresh fuel, the rest comes from the outlet."""
    car = Car(spec, "looped_return", 20.0)
    start(car)
    car.advance(10.0)
    car.command_supply_oil = True
    most = set()
    for _ in range(300):
        car.advance(10.0)
        fresh = car.burn_ul_s / car.feed_ul_s
        path = car.path
        by_law = {law: fresh * path.pump_oil(law) + (1.0 - fresh) * path.outlet_oil(law) for law in LAWS}
        assert car.pump_oil_worst == pytest.approx(max(by_law.values()), rel=1e-9)
        most.add(max(by_law, key=lambda law: by_law[law]))
    assert {"stirred", "laminar"} <= most
    assert fresh < 0.5


def test_fuel_reaches_the_pump_with_what_the_feed_line_left_of_its_lead(spec: CarSpec) -> None:
    """1 - exp(-NTU) of the lead stays in the wall, NTU = Nu pi k L over flow times heat capacity (textbook)."""
    car = Car(spec, "tank_return", 0.0)
    start(car)
    car.advance(5.0)
    car.path.rest(70.0, 0.0)  # hot fuel between cold walls
    car.advance(0.1)
    wall_c, came_c = car.net.temperature_c(INLET), car.path.stirred_pump_c
    assert came_c - wall_c > 40.0
    conductance = line_w_k(
        spec.fuels.line_nusselt.value, spec.fuels.conductivity_w_mk.value, spec.injection.feed_length_m.value
    )
    kept = exp(-conductance / (car.feed_ul_s * spec.tanks.fuel_j_ul_k.value))
    assert 0.5 < kept < 0.98
    assert car.pump_inlet_c == pytest.approx(wall_c + kept * (came_c - wall_c), abs=0.05)
