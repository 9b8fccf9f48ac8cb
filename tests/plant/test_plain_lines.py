"""Fuel in plain lines: what it gives to a wall in passing, what stood there, and the suction it needs."""

import math
from itertools import pairwise

import ht
import pytest

from host_sim.car import Car
from host_sim.car_spec import CarSpec
from host_sim.filter_model import oil_viscosity_pa_s
from host_sim.fluids import D341, blend_nu, diesel_density_kg_m3, oil_density_kg_m3
from host_sim.fuel_path import LAWS
from host_sim.thermal import (
    BULK,
    COIL,
    COOLANT,
    ENGINE,
    FEED,
    FILTER,
    HOSE,
    INLET,
    PUMP,
    VALVE_HOSE,
    StandingOil,
    ThermalNetwork,
)
from tests.plant.conftest import start

STEP_S = 1e-3  # so short that no wall moves


@pytest.fixture(scope="module")
def spec(spec: CarSpec) -> CarSpec:
    """The project's car with a valve hose as narrow as its feed line, and long: 30 mL stand in it."""
    return spec.with_values({"oil_line.valve_hose_bore_mm": 8.0, "oil_line.valve_hose_length_m": 0.6}, "test")


def network(spec: CarSpec, hot_c: float) -> ThermalNetwork:
    """All at 0 degC but coil zone and filter, which hold hot oil."""
    net = ThermalNetwork(spec, 0.0, 28e6, 40e6)
    heat = list(net.heat)
    for node in (COIL, FILTER):
        heat[node] = net.capacity[node] * hot_c
    net.heat = tuple(heat)
    return net


def unbalanced_j(net: ThermalNetwork, since: ThermalNetwork) -> float:
    return abs(sum(net.heat) - sum(since.heat) - (net.booked_j - since.booked_j))


def draw(net: ThermalNetwork, oil_ul: float, recirculated_ul: float = 0.0, step_s: float = STEP_S) -> None:
    net.step(step_s, 0.0, 0.0, 0.0, 0.0, 0.0, False, 0.0, 0.0, oil_ul, 0.0, oil_ul, 0.0, recirculated_ul)


def flushed(net: ThermalNetwork) -> ThermalNetwork:
    """Nothing stands in the hoses any more."""
    for hose in (net.hose_oil, net.valve_hose_oil):
        hose.left_ul = 0.0
    return net


@pytest.mark.parametrize("flow_ul_s", [500.0, 10_000.0, 28_000.0])
def test_fuel_passing_a_cold_line_loses_what_its_effectiveness_says(spec: CarSpec, flow_ul_s: float) -> None:
    """1 - exp(-NTU) of the lead over the wall, NTU = h A / (m cp), h by Nusselt number 48/11 (laminar, developed,

    uniform flux: Incropera ch. 8 and ht) from bore and conductivity; effectiveness by ht, the wall's capacity endless.
    """
    oil_ul = flow_ul_s * STEP_S
    net = flushed(network(spec, 80.0))
    start = net.copy()
    before = net.heat
    draw(net, oil_ul)
    fuel_w_k = flow_ul_s * spec.tanks.fuel_j_ul_k.value
    line, injection = spec.oil_line, spec.injection
    entering_c = {HOSE: 80.0, VALVE_HOSE: 80.0}
    for node, bore_mm, length_m in (
        (HOSE, line.hose_bore_mm.value, line.hose_length_m.value),
        (VALVE_HOSE, line.valve_hose_bore_mm.value, line.valve_hose_length_m.value),
        (INLET, injection.feed_bore_mm.value, injection.feed_length_m.value),
    ):
        h = ht.conv_internal.laminar_Q_const() * spec.fuels.conductivity_w_mk.value / (bore_mm * 1e-3)
        area_m2 = math.pi * bore_mm * 1e-3 * length_m
        by_ht = ht.effectiveness_from_NTU(h * area_m2 / fuel_w_k, 1e-12, subtype="counterflow")
        assert by_ht is not None
        given_j = net.heat[node] - before[node]
        assert given_j == pytest.approx(by_ht * oil_ul * spec.tanks.fuel_j_ul_k.value * entering_c[node], rel=2e-3)
        if node == VALVE_HOSE:
            assert net.at_valve_c == pytest.approx(80.0 * (1.0 - by_ht), rel=2e-3)
            entering_c[INLET] = net.at_valve_c
        if node == INLET:
            carried_on_j = oil_ul * spec.tanks.fuel_j_ul_k.value * entering_c[INLET] * (1.0 - by_ht)
            at_pump_j = net.heat[PUMP] - before[PUMP] + oil_ul * spec.tanks.fuel_j_ul_k.value * net.temperature_c(PUMP)
            assert at_pump_j == pytest.approx(carried_on_j, rel=5e-3)
    if flow_ul_s == 10_000.0:
        assert 0.03 < 1.0 - net.at_valve_c / 80.0 < 0.1  # some per cent, not all of it
    assert unbalanced_j(net, start) < 1e-12 * sum(start.heat)


def test_what_stood_in_the_valve_hose_leaves_first_and_is_its_volume(spec: CarSpec) -> None:
    """Bore 8 mm and 0.6 m: 30.2 mL at the hose's own temperature, then hot oil less its few per cent."""
    net = network(spec, 80.0)
    net.hose_oil.left_ul = 0.0
    start = net.copy()
    volume_ul = math.pi / 4.0 * 8.0**2 * 600.0
    assert volume_ul == pytest.approx(30_159.0, abs=1.0)
    cold_ul = 0.0
    for _ in range(600):
        draw(net, 100.0)
        cold_ul += 100.0 * (net.at_valve_c < 5.0)
    # A step that holds the end of the slug and the first of what follows counts as either.
    assert cold_ul == pytest.approx(volume_ul, abs=100.0)
    assert 70.0 < net.at_valve_c < 80.0
    assert net.valve_hose_oil.mean_c == pytest.approx(net.at_valve_c, abs=1.5)
    assert unbalanced_j(net, start) < 1e-12 * sum(start.heat)


def test_standing_oil_cools_to_its_wall_and_a_part_that_is_drawn_is_made_up_by_what_follows() -> None:
    """exp(-t / tau) whatever the step (lumped body); half drawn and come to rest, the mean of both halves."""
    for cuts in (1, 40):
        oil = StandingOil(1000.0, 60.0)
        for _ in range(cuts):
            oil.rest(20.0, math.exp(-0.7 / cuts))
        assert oil.mean_c == pytest.approx(20.0 + 40.0 * math.exp(-0.7), abs=1e-9)
    oil = StandingOil(1000.0, 0.0)
    left_c = [oil.draw(100.0, 50.0, 0.0, 1.0) for _ in range(5)]
    assert left_c == [0.0] * 5
    assert oil.mean_c == pytest.approx(25.0)
    oil.rest(25.0, 0.5)
    assert (oil.left_ul, oil.standing_c) == (1000.0, pytest.approx(25.0))
    assert [oil.draw(400.0, 50.0, 25.0, 1.0) for _ in range(4)] == pytest.approx([25.0, 25.0, 37.5, 50.0])
    assert oil.mean_c == pytest.approx(50.0)


def test_recirculated_fuel_comes_to_the_pump_with_the_fresh(spec: CarSpec) -> None:
    """Twenty times as much goes round as is burnt: the pump's heat comes back to it but for the feed line's share."""
    net = network(spec, 0.0)
    heat = list(net.heat)
    heat[PUMP] = net.capacity[PUMP] * 50.0
    net.heat = tuple(heat)
    start = net.copy()
    draw(net, 0.5, 10.0)
    flow_w_k = 10.5 / STEP_S * spec.tanks.fuel_j_ul_k.value
    ua_w_k = 48.0 / 11.0 * math.pi * spec.fuels.conductivity_w_mk.value * spec.injection.feed_length_m.value
    given_w = (1.0 - math.exp(-ua_w_k / flow_w_k)) * flow_w_k * 50.0 * 10.0 / 10.5
    assert net.heat[INLET] / STEP_S == pytest.approx(given_w, rel=2e-3)
    assert unbalanced_j(net, start) < 1e-12 * sum(start.heat)


def on_oil(spec: CarSpec, ambient_c: float, hot_c: float) -> Car:
    """Engine at 1683/min (15 mL/s) and ready to change over: cold are diesel, pump, its lines, oil in the hoses."""
    car = Car(spec, "tank_return", ambient_c)
    start(car)
    car.engine_rpm = 1683.0
    car.advance(10.0)
    heat = list(car.net.heat)
    for node in (ENGINE, COOLANT, FEED, COIL, HOSE, FILTER):
        heat[node] = car.net.capacity[node] * hot_c
    heat[BULK] = car.net.bulk_j_k * hot_c
    car.net.heat = tuple(heat)
    return car


def test_pump_sees_the_cold_slug_and_then_nearly_the_filters_temperature(spec: CarSpec) -> None:
    """Through 8 mm lines of 1.6 m together oil loses 10 to 20 % of its lead at 15 mL/s, not all of it."""
    car = on_oil(spec, 0.0, 80.0)
    car.net.hose_oil.left_ul = 0.0
    car.command_supply_oil = True
    cold_ml, seconds = 0.0, 0.0
    while seconds < 20.0:
        car.advance(0.1)
        seconds += 0.1
        if car.path.pump_oil("plug") > 0.5 and car.path.pump_c("plug") < 30.0:
            cold_ml += car.feed_ul_s * 1e-4
    assert cold_ml == pytest.approx(30.2, abs=3.0)
    assert 80.0 * 0.8 < car._at_pump_c(car.path.pump_c("laminar")) < 80.0 * 0.95
    assert 80.0 * 0.6 < car.pump_inlet_c < 80.0 * 0.95
    assert car.net.temperature_c(INLET) < 30.0  # the wall is still cold


def test_worst_index_is_that_of_one_law_at_its_own_temperature(spec: CarSpec) -> None:
    car = on_oil(spec, 0.0, 80.0)
    car.command_supply_oil = True
    thickest = set()
    for _ in range(150):
        car.advance(0.1)
        by_law = {
            law: car.fuel_table.index(car._at_pump_c(car.path.pump_c(law)), car.path.pump_oil(law)) for law in LAWS
        }
        assert car.pump_index_worst == max(by_law.values())
        thickest.add(max(by_law, key=lambda law: by_law[law]))
    assert len(thickest) > 1


def test_stopped_car_has_its_lines_fuel_at_the_walls_temperature_within_minutes(spec: CarSpec) -> None:
    """Time constant of fuel in an 8 mm line, rho cp d^2 / (4 Nu k): 39 s."""
    car = on_oil(spec, 0.0, 80.0)
    car.command_supply_oil = True
    car.advance(60.0)
    car.key_on, car.engine_rpm, car.command_supply_oil = False, 0.0, False
    bore_m = spec.injection.feed_bore_mm.value * 1e-3
    tau_s = spec.tanks.fuel_j_ul_k.value * 1e9 * bore_m**2 / (4.0 * 48.0 / 11.0 * spec.fuels.conductivity_w_mk.value)
    assert tau_s == pytest.approx(39.0, abs=1.0)
    lead = car.pump_inlet_c - car.net.temperature_c(INLET)
    assert lead > 20.0
    car.advance(15.0)
    # The wall itself moves by little in that time.
    assert (car.pump_inlet_c - car.net.temperature_c(INLET)) / lead == pytest.approx(math.exp(-15.0 / tau_s), abs=0.03)
    car.advance(600.0)
    before_c = car.net.temperature_c(INLET)
    car.advance(60.0)
    # Behind a wall that warms or cools steadily, fuel lags by its time constant.
    lag_k = tau_s * abs(car.net.temperature_c(INLET) - before_c) / 60.0
    assert car.pump_inlet_c == pytest.approx(car.net.temperature_c(INLET), abs=0.1 + 1.3 * lag_k)
    assert car.valve_hose_c == pytest.approx(car.net.temperature_c(VALVE_HOSE), abs=1.0)


def hagen_poiseuille_pa(pa_s: float, bore_mm: float, length_m: float, flow_ul_s: float) -> float:
    """Pressure drop in a laminar tube, 128 mu L Q / (pi d^4)."""
    return 128.0 * pa_s * length_m * flow_ul_s * 1e-9 / (math.pi * (bore_mm * 1e-3) ** 4)


def test_suction_of_cold_slugs_is_that_of_poiseuille_where_they_are(spec: CarSpec) -> None:
    """Hose and valve hose full of oil at 10 degC, filter hot, diesel in the feed line: each by its own viscosity."""
    car = on_oil(spec, 10.0, 80.0)
    line, injection = spec.oil_line, spec.injection
    car.supply_valve.pulled = True
    car.supply_valve.position = car.supply_valve.middle = 1.0
    car.command_supply_oil = True
    cold, hot = (oil_viscosity_pa_s(car.oil_d341, t_c) for t_c in (10.0, 80.0))
    hose_c = car.hose_c
    assert hose_c == pytest.approx(10.0, abs=0.5)
    car.advance(0.1)
    flow = car.feed_ul_s
    pa_s = oil_viscosity_pa_s(car.oil_d341, hose_c)
    in_hose = hagen_poiseuille_pa(pa_s, line.hose_bore_mm.value, line.hose_length_m.value, flow)
    rated = oil_viscosity_pa_s(car.oil_d341, line.filter_rated_c.value) * line.filter_rated_flow_ul_s.value
    element = (line.filter_clean_pa.value - line.static_head_pa.value) * hot * flow / rated
    assert car.suction_pa == pytest.approx(line.static_head_pa.value + in_hose + element, rel=0.01)
    in_valve_hose = hagen_poiseuille_pa(cold, line.valve_hose_bore_mm.value, line.valve_hose_length_m.value, flow)
    diesel = car._diesel_pa_s[70]
    assert diesel == pytest.approx(0.0045, rel=0.2)  # about 5.3 mm2/s at 10 degC
    in_feed_line = hagen_poiseuille_pa(diesel, injection.feed_bore_mm.value, injection.feed_length_m.value, flow)
    expected = in_hose + element + in_valve_hose + in_feed_line
    assert car.pump_suction_pa == pytest.approx(expected, rel=0.02)


def test_suction_at_the_pump_rises_and_falls_with_the_slug_on_its_way(spec: CarSpec) -> None:
    """The slug needs the same suction in valve hose and feed line (one bore), and none when it has passed the pump."""
    car = on_oil(spec, 0.0, 80.0)
    car.net.hose_oil.left_ul = 0.0
    car.command_supply_oil = True
    seen, passed_ml = [], 0.0
    while passed_ml < 150.0:
        car.advance(0.1)
        passed_ml += car.feed_ul_s * 1e-4
        seen.append((passed_ml, car.pump_suction_pa - car.suction_pa))
    travelling = [pa for ml, pa in seen if 15.0 < ml < 45.0]
    gone = [pa for ml, pa in seen if ml > 100.0]
    assert max(travelling) < 1.4 * min(travelling)
    assert min(travelling) > 4.0 * max(gone)
    assert all(abs(b - a) < 4_000.0 for (_, a), (_, b) in pairwise(seen[10:]))


@pytest.mark.parametrize("oil", [0.0, 0.01, 0.3, 0.985, 1.0])
@pytest.mark.parametrize("t_c", [-9.5, 40.0])
def test_viscosity_of_a_mixture_in_the_feed_line(spec: CarSpec, oil: float, t_c: float) -> None:
    """Refutas by mass times the mixture's density; the pure fuels by their own lines. The table is good to 1 %."""
    car = Car(spec, "tank_return", 20.0)
    f = spec.fuels
    diesel = D341.from_points(
        f.diesel_cool_c.value, f.diesel_cool_nu.value, f.diesel_warm_c.value, f.diesel_warm_nu.value
    )
    nu_diesel, nu_oil = diesel.nu(t_c), car.oil_d341.nu(t_c)
    density = oil * oil_density_kg_m3(t_c) + (1.0 - oil) * diesel_density_kg_m3(t_c)
    mass_fraction = oil * oil_density_kg_m3(t_c) / density
    expected = blend_nu(nu_diesel, nu_oil, mass_fraction) * 1e-6 * density
    assert car._mixed_pa_s(t_c, oil) == pytest.approx(expected, rel=0.01)
