"""Nothing is lost: volumes and heat over any sequence of inputs and faults, forks, and steps of other lengths."""

import copy
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from host_sim.car import Car
from host_sim.car_spec import CarSpec
from host_sim.fluids import refutas_nu
from host_sim.fuel_path import LAWS
from host_sim.thermal import HOSE, INLET, NODES, VALVE_HOSE
from tests.plant.conftest import commute, drive, start, stop

COMMANDS = st.fixed_dictionaries(
    {
        "key_on": st.booleans(),
        "cranking": st.just(False) | st.booleans(),
        "engine_rpm": st.sampled_from([0.0, 200.0, 850.0, 1500.0, 2345.0, 4500.0]),
        "engine_load": st.floats(0.0, 1.0),
        "speed_kmh": st.floats(0.0, 130.0),
        "cabin_heater": st.floats(0.0, 1.0),
        "ambient_c": st.floats(-30.0, 40.0),
        "command_supply_oil": st.booleans(),
        "command_return_oil": st.booleans(),
        "command_heater": st.booleans(),
    }
)
FAULTS = st.fixed_dictionaries(
    {},
    optional={
        "supply_stuck": st.sampled_from([None, 0.0, 1.0, 0.4]),
        "return_stuck": st.sampled_from([None, 0.0, 1.0]),
        "supply_leak": st.floats(0.0, 1.0),
        "return_leak": st.floats(0.0, 1.0),
        "filter_extra_resistance": st.floats(1.0, 100.0),
        "air_leak": st.floats(0.0, 1.0),
        "wax_plug": st.floats(1.0, 1000.0),
        "heater_welded": st.booleans(),
        "engine_relay_welded": st.booleans(),
        "thermostat_stuck_open": st.booleans(),
        "coolant_lost": st.floats(0.0, 1.0),
    },
)
AT_IDLE = {
    "key_on": True,
    "cranking": False,
    "engine_rpm": 850.0,
    "engine_load": 0.0,
    "speed_kmh": 0.0,
    "cabin_heater": 0.0,
    "ambient_c": 0.0,
    "command_supply_oil": False,
    "command_return_oil": False,
    "command_heater": False,
}
FAST_TO_OIL_TANK = AT_IDLE | {"engine_rpm": 4500.0, "command_return_oil": True}
LEGS = st.lists(
    st.tuples(COMMANDS, FAULTS, st.sampled_from([0.05, 0.1, 1.0, 7.3, 60.0, 3600.0]), st.integers(1, 30)),
    min_size=1,
    max_size=8,
)


@pytest.mark.parametrize("layout", ["tank_return", "looped_return"])
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    legs=LEGS,
    oil_level=st.sampled_from([0.0, 0.03, 0.5, 1.0]),
    diesel_level=st.sampled_from([0.0, 0.021, 0.7]),
    ambient_c=st.sampled_from([-25.0, 0.0, 30.0]),
)
@example(legs=[(AT_IDLE, {"supply_leak": 5e-324}, 0.05, 1)], oil_level=0.03, diesel_level=0.0, ambient_c=-25.0)
@example(legs=[(FAST_TO_OIL_TANK, {}, 60.0, 3)], oil_level=0.0, diesel_level=0.021, ambient_c=-25.0)
@example(
    legs=[(AT_IDLE | {"command_supply_oil": True}, {"return_leak": 0.3}, 60.0, 3), (FAST_TO_OIL_TANK, {}, 60.0, 3)],
    oil_level=0.03,
    diesel_level=0.0,
    ambient_c=30.0,
)
def test_volumes_and_heat_balance_whatever_happens(
    spec: CarSpec, layout: str, legs: list, oil_level: float, diesel_level: float, ambient_c: float
) -> None:
    car = Car(spec, layout, ambient_c, oil_level, diesel_level)  # type: ignore[arg-type]
    for inputs, faults, step_s, count in legs:
        for name, value in (inputs | faults).items():
            setattr(car, name, value)
        awake = car.key_on or car.engine_rpm > 0.0
        for _ in range(min(count, 3) if step_s > 100.0 or (step_s > 1.0 and awake) else count):
            car.advance(min(step_s, 60.0) if awake else step_s)
        assert car.volume_balance_error < 1e-9
        assert car.energy_balance_error < 1e-6
        assert car.oil_ul >= -1e-6
        assert car.diesel_ul >= -1e-6
        assert 0.0 <= car.supply_valve_pos <= 1.0
        for law in LAWS:
            assert -1e-9 <= car.path.inside_oil(law) <= 1.0 + 1e-9
            assert -1e-9 <= car.path.outlet_oil(law) <= 1.0 + 1e-9
            assert -30.1 < car.path.pump_c(law) < 250.0
        assert car.burn_ul_s >= 0.0
        assert car.return_ul_s >= -1e-9
        temperatures = [car.net.temperature_c(node) for node in range(len(NODES))]
        temperatures += [car.hose_c, car.valve_hose_c, car.pump_inlet_c]
        assert min(temperatures) > -30.1
        assert max(temperatures) < 250.0


def test_heat_ledger_agrees_with_loss_reckoned_from_temperatures(spec: CarSpec) -> None:
    """Parked, all heat goes to the outside: the sum of W/K times (node less ambient) over time, by Simpson's rule."""
    car = Car(spec, "tank_return", -5.0)
    start(car)
    drive(car, 1200)
    stop(car)
    car.advance(60.0)
    e, t, o, i = spec.engine, spec.tanks, spec.oil_line, spec.injection

    def loss_w() -> float:
        return sum(
            w_k.value * (node_c - car.ambient_c)
            for w_k, node_c in (
                (e.block_loss_w_k, car.engine_c),
                (e.radiator_loss_w_k, car.radiator_c),
                (e.heater_circuit_loss_w_k, car.coolant_feed_c),
                (t.oil_loss_w_k, car.oil_tank_c),
                (t.diesel_loss_w_k, car.diesel_tank_c),
                (o.hose_loss_w_k, car.net.temperature_c(HOSE)),
                (o.filter_loss_w_k, car.filter_c),
                (o.valve_hose_loss_w_k, car.net.temperature_c(VALVE_HOSE)),
                (i.feed_loss_w_k, car.net.temperature_c(INLET)),
                (i.pump_loss_w_k, car.pump_body_c),
            )
        )

    before = sum(car.net.heat)
    losses = [loss_w()]
    for _ in range(240):
        car.advance(15.0)
        losses.append(loss_w())
    lost = 15.0 / 3.0 * (losses[0] + 4.0 * sum(losses[1:-1:2]) + 2.0 * sum(losses[2:-1:2]) + losses[-1])
    assert lost > 1e6
    assert before - sum(car.net.heat) == pytest.approx(lost, rel=1e-4)


def trip(car: Car, step_s: float, seconds: int, look: Callable[[Car], None]) -> None:
    for second in range(seconds):
        commute(car, second)
        if second == 840:
            car.command_supply_oil = True
        if second == 860:
            car.command_return_oil = True
        if second == 1100:
            car.command_supply_oil = False
        for _ in range(10):
            for _ in range(round(0.1 / step_s)):
                car.advance(step_s)
            look(car)


def test_halving_the_tick_changes_nothing_that_matters(spec: CarSpec) -> None:
    """20 min from -10 degC with filling and purge, 0.1 s against 0.05 s: no event moves by more than one tick.

    Nodes agree to 0.05 K; fuel at the pump, which rises by kelvins in a tick, to what it changes in one besides.
    """
    rows: list[list[tuple[float, ...]]] = []
    crossed_s: list[list[float]] = []
    for step_s in (0.1, 0.05):
        car = Car(spec, "tank_return", -10.0)
        start(car)
        seen: list[tuple[float, ...]] = []
        crossings: dict[str, float] = {}

        def look(car: Car, seen: list[tuple[float, ...]] = seen, crossings: dict[str, float] = crossings) -> None:
            seen.append((*(car.net.temperature_c(node) for node in range(len(NODES))), car.pump_inlet_c))
            if refutas_nu(car.pump_index_worst) > 20.0:
                crossings.setdefault("thick at the pump", car.time_s)
            elif "thick at the pump" in crossings:
                crossings.setdefault("thin at the pump", car.time_s)
            if car.pump_inlet_c > 40.0:
                crossings.setdefault("warm fuel at the pump", car.time_s)
            if car.filter_c > 70.0:
                crossings.setdefault("filter at 70 degC", car.time_s)
            if car.thermostat_opening > 0.0:
                crossings.setdefault("thermostat", car.time_s)
            if car.path.worst_outlet_oil > 0.5:
                crossings.setdefault("oil at the return valve", car.time_s)
            if crossings.get("oil at the return valve") and car.path.worst_inside_oil < 0.1:
                crossings.setdefault("purged to a tenth", car.time_s)

        trip(car, step_s, 1200, look)
        rows.append(seen)
        crossed_s.append(list(crossings.values()))
        assert len(crossings) == 7
    one, other = (np.array(seen) for seen in rows)
    off = np.abs(one - other)
    assert off[:, : len(NODES)].max() < 0.05
    in_a_tick = np.abs(np.diff(one[:, -1], prepend=one[0, -1]))
    in_a_tick = np.maximum(in_a_tick, np.roll(in_a_tick, -1))
    assert in_a_tick.max() > 0.5
    assert (off[:, -1] < 0.05 + in_a_tick).all()
    for a, b in zip(*crossed_s, strict=True):
        assert abs(a - b) < 0.101


def test_one_long_advance_is_many_short_ones(spec: CarSpec) -> None:
    one, other = Car(spec, "tank_return", 5.0), Car(spec, "tank_return", 5.0)
    for car in (one, other):
        start(car)
        car.engine_rpm, car.engine_load = 2000.0, 0.4
    one.advance(300.0)
    for _ in range(3000):
        other.advance(0.1)
    assert one.net.heat == pytest.approx(other.net.heat, rel=1e-9)
    assert one.time_s == pytest.approx(other.time_s)


@pytest.mark.parametrize("layout", ["tank_return", "looped_return"])
def test_fork_goes_on_exactly_as_its_origin_and_leaves_it_alone(spec: CarSpec, layout: str) -> None:
    car = Car(spec, layout, -10.0)  # type: ignore[arg-type]
    start(car)
    car.command_supply_oil = True
    drive(car, 200)
    fork = copy.deepcopy(car)
    untouched = copy.deepcopy(car)
    for other in (car, fork):
        other.command_return_oil = True
        other.command_heater = True
        drive(other, 200)
    assert fork.net.heat == car.net.heat
    for name in (
        "suction_pa",
        "supply_v",
        "oil_level",
        "diesel_burnt",
        "pump_index_worst",
        "inside_index_worst",
        "time_s",
    ):
        assert getattr(fork, name) == getattr(car, name)
    assert untouched.time_s < car.time_s
    assert untouched.net.heat != car.net.heat
    assert untouched.path.inside_oil("laminar") != car.path.inside_oil("laminar") or layout == "looped_return"
    untouched.command_return_oil = True
    untouched.command_heater = True
    drive(untouched, 200)
    assert untouched.net.heat == car.net.heat
