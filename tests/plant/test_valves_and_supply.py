"""Valves, supply voltage, heater: what the electric side does, between ticks too."""

import pytest

from host_sim.car import Car
from host_sim.car_spec import CarSpec
from host_sim.supply import PowerSupply
from host_sim.valves import ChangeoverValve
from tests.plant.conftest import drive, start

TRAVEL_S = 0.8  # the default car's
PULL_IN_V, HOLD_V = 9.0, 5.0


def test_valve_travels_pulls_in_holds_and_springs_back(spec: CarSpec) -> None:
    valve = ChangeoverValve(spec.valves)

    def move(seconds: float, energised: bool, volts: float, lowest: float | None = None) -> float:
        for _ in range(round(seconds / 0.1)):
            valve.advance(0.1, energised, volts, volts if lowest is None else lowest, None, 1.0)
        return valve.position

    assert move(2.0, False, 13.0) == 0.0
    assert move(2.0, True, PULL_IN_V - 0.01) == 0.0  # too weak to pull in
    assert move(TRAVEL_S / 2, True, 13.0) == pytest.approx(0.5)  # half-way it mixes
    assert 0.4 < valve.oil_share(0.0) < 0.5  # flow of a step goes by the position half-way through it
    assert move(TRAVEL_S, True, 13.0) == 1.0
    assert move(5.0, True, HOLD_V) == 1.0  # weak, yet held
    assert move(0.1, True, 13.0, HOLD_V - 0.01) < 1.0  # a dip within the step lets go
    assert move(TRAVEL_S, True, 13.0) == 1.0
    assert move(TRAVEL_S / 4, False, 13.0) == pytest.approx(0.75)
    assert move(TRAVEL_S, False, 13.0) == 0.0


def test_valve_faults_stick_leak_and_slow(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.command_supply_oil = car.command_return_oil = True
    car.supply_slow = 5.0
    car.advance(2.0)
    assert car.supply_valve_pos == pytest.approx(2.0 / (5.0 * TRAVEL_S))
    assert car.return_valve_pos == 1.0
    car.supply_slow = 1.0
    car.supply_stuck = 0.4
    car.advance(3.0)
    assert car.supply_valve_pos == pytest.approx(0.4)
    car.supply_stuck = None
    car.command_supply_oil = car.command_return_oil = False
    car.advance(3.0)
    assert car.supply_valve_pos == car.return_valve_pos == 0.0
    before = car.oil_ul
    car.supply_leak = 0.05
    car.advance(60.0)
    assert before - car.oil_ul == pytest.approx(0.05 * car.feed_ul_s * 60.0, rel=1e-6)


def test_supply_valve_needs_the_key_and_return_valve_does_not(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.command_supply_oil = car.command_return_oil = True
    car.advance(2.0)
    assert (car.supply_valve_pos, car.return_valve_pos) == (1.0, 1.0)
    car.key_on = False
    car.advance(2.0)
    assert (car.supply_valve_pos, car.return_valve_pos) == (0.0, 1.0)


def test_cranking_dips_below_three_volts_between_ticks_and_recovers(spec: CarSpec) -> None:
    """Below 3 V for 15 to 50 ms, then about 6 V (component maker's primer, 2021); 14 V with the generator running

    (ISO 16750-2 as quoted in bench-supply manuals); plateau of profile I 9.5 V (from memory: a wide band).
    """
    car = Car(spec, "tank_return", -10.0)
    car.key_on = True
    car.advance(1.0)
    assert 11.5 < car.supply_v < 13.0
    car.cranking, car.engine_rpm = True, 200.0
    car.advance(0.1)
    assert car.supply_min_v < 3.0
    assert 5.5 < car.supply_v < 7.5
    seen = [car.supply_v]
    for _ in range(20):
        car.advance(0.1)
        assert car.supply_min_v > 5.0
        seen.append(car.supply_v)
    assert seen == sorted(seen)
    assert 8.0 < seen[-1] < 10.5
    car.cranking, car.engine_rpm = False, 850.0
    car.advance(1.0)
    assert car.supply_v == pytest.approx(14.0, abs=0.3)

    supply = PowerSupply(spec.supply)
    below_s = 0.0
    for _ in range(200):
        supply.advance(0.001, True, True, False, 0.0)
        below_s += 0.001 if supply.voltage_v < 3.0 else 0.0
    assert 0.015 <= below_s <= 0.050


def test_heater_loads_the_battery_only_with_the_engine_off_and_its_relay_welded(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 0.0)
    start(car)
    car.command_heater = True
    car.advance(60.0)
    assert car.heater_on
    running_v = car.supply_v
    car.engine_rpm = 0.0
    car.advance(1.0)
    assert not car.heater_on  # the engine-running relay is open
    charge = car.battery_charge
    car.advance(600.0)
    idle_loss = charge - car.battery_charge
    car.engine_relay_welded = True
    charge = car.battery_charge
    car.advance(600.0)
    assert car.heater_on
    assert car.supply_v < running_v - 1.0
    assert charge - car.battery_charge > 1.3 * idle_loss


def test_heater_cut_out_holds_metal_below_its_limit(spec: CarSpec) -> None:
    """A welded contact on still hot oil: the bimetal cuts at 105 degC and the metal stays below 110."""
    car = Car(spec.with_values({"oil_line.heater_w": 900.0}, "test: far too strong"), "tank_return", 20.0)
    start(car)
    car.heater_welded = True
    hottest, switched = 0.0, 0
    was_on = True
    for _ in range(12_000):
        car.advance(0.1)
        hottest = max(hottest, car.heater_metal_c)
        switched += car.heater_on != was_on
        was_on = car.heater_on
    assert switched >= 4
    assert 105.0 < hottest < 110.0
    car.heater_dead = True
    car.advance(1.0)
    assert not car.heater_on


def test_looped_layout_has_no_return_to_any_tank(spec: CarSpec) -> None:
    """Only what is burnt is drawn: a purge at idle takes many minutes (common practice, no source)."""
    car = Car(spec, "looped_return", 20.0)
    start(car)
    car.command_supply_oil = car.command_return_oil = True
    drive(car, 1800)
    assert car.return_valve_pos == 0.0
    assert car.path.worst_inside_oil > 0.95
    drawn_ml = (0.7 - car.oil_level) * 40_000.0
    assert drawn_ml == pytest.approx(car.oil_burnt + car.path.inside_ul / 1000.0, rel=1e-6)
    car.command_supply_oil = False
    car.engine_rpm, car.engine_load, car.speed_kmh = 850.0, 0.0, 0.0
    minutes = 0
    while car.path.worst_inside_oil > 0.25 and minutes < 600:
        car.advance(60.0)
        minutes += 1
    assert 5 <= minutes <= 90
    assert car.oil_into_diesel_tank == 0.0
