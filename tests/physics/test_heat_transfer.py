"""The car's exchangers and cooling nodes against a heat-transfer library and the closed form of a lumped body."""

import math

import ht
import pytest

from host_sim.car_spec import CarSpec, default_car_path, load_car
from host_sim.thermal import COIL, COOLANT, FEED, FILTER, HOSE, NODES, ThermalNetwork


def car() -> CarSpec:
    return load_car(default_car_path())


def network(spec: CarSpec, cold_c: float, **hot_c: float) -> ThermalNetwork:
    """Nodes at cold_c but for the named ones; the tanks half full."""
    net = ThermalNetwork(spec, cold_c, oil_ul=20e6, diesel_ul=25e6)
    heat = list(net.heat)
    for name, t_c in hot_c.items():
        heat[NODES.index(name)] = net.capacity[NODES.index(name)] * t_c
    net.heat = tuple(heat)
    return net


def step(net: ThermalNetwork, step_s: float, rpm: float, ambient_c: float) -> None:
    """Advance with neither heat put in nor fuel moved, the car standing and the cabin heater off."""
    net.step(
        step_s,
        rpm=rpm,
        speed_kmh=0.0,
        cabin=0.0,
        ambient_c=ambient_c,
        coolant_lost=0.0,
        stuck_open=False,
        burn_j=0.0,
        heater_j=0.0,
        oil_ul=0.0,
        diesel_ul=0.0,
        burn_ul=0.0,
        oil_return_ul=0.0,
        recirculated_ul=0.0,
    )


@pytest.mark.parametrize("rpm", [900.0, 1800.0, 4000.0])
def test_three_exchangers_in_series_take_what_their_effectiveness_says(rpm: float) -> None:
    spec = car()
    flow_l_s = spec.engine.heater_circuit_flow_l_min.value / 60.0 * rpm / spec.engine.coolant_flow_rpm.value
    flow_w_k = flow_l_s * 1e6 * spec.engine.coolant_j_ul_k.value
    net = network(spec, 20.0, coolant=90.0, feed=90.0)
    before = net.heat
    step_s = 1e-3  # so short that no node's own temperature moves
    step(net, step_s, rpm, ambient_c=20.0)
    stations = [
        (COIL, spec.tanks.coil_w_k.value),
        (HOSE, spec.oil_line.hose_exchange_w_k.value),
        (FILTER, spec.oil_line.filter_exchange_w_k.value),
    ]
    assert COOLANT < FEED < COIL < HOSE < FILTER
    coolant_c = 90.0
    for node, ua_w_k in stations:
        # The oil node stands still and has one temperature: capacity ratio 0.
        effectiveness = ht.effectiveness_from_NTU(ua_w_k / flow_w_k, 1e-12, subtype="counterflow")
        assert effectiveness is not None
        expected_w = effectiveness * flow_w_k * (coolant_c - 20.0)
        assert (net.heat[node] - before[node]) / step_s == pytest.approx(expected_w, rel=2e-3)
        coolant_c -= expected_w / flow_w_k
    assert coolant_c < 85.0  # heat did flow


@pytest.mark.parametrize("step_s", [0.1, 10.0, 600.0])
def test_a_cooling_hose_is_a_lumped_body(step_s: float) -> None:
    # exp(-t / tau), tau = heat capacity over conductance (Incropera, lumped capacitance), whatever the step.
    spec = car()
    net = network(spec, 25.0, hose=78.0)
    tau_s = net.capacity[HOSE] / spec.oil_line.hose_loss_w_k.value
    for _ in range(round(600.0 / step_s)):
        step(net, step_s, rpm=0.0, ambient_c=25.0)
    assert net.temperature_c(HOSE) == pytest.approx(25.0 + 53.0 * math.exp(-600.0 / tau_s), abs=1e-6)
