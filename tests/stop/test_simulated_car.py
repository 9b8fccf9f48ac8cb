"""The lumped answer against the simulated car: thirteen nodes cooling, the coldest part that holds oil decides."""

from __future__ import annotations

import copy
from functools import lru_cache

import pytest

from host_sim.car import Car
from host_sim.fluids import refutas_nu
from host_sim.hazards import THICK_RESTART_MM2_S
from host_sim.scenario import load_scenario
from host_sim.standing import Cooling, Stop, learnt, standing

RESTART_C = 56.0


@lru_cache(maxsize=8)
def warm(ambient_c: float) -> Car:
    """After 40 min at 60 km/h, on oil for most of it."""
    car = Car(load_scenario("winter_commute").car_spec(), "tank_return", ambient_c)
    car.key_on, car.engine_rpm, car.engine_load, car.speed_kmh = True, 2000.0, 0.35, 60.0
    car.cabin_heater = 0.5 if ambient_c < 10.0 else 0.0
    for _ in range(40 * 60):
        car.advance(1.0)
        if car.filter_c > 73.0:
            car.command_supply_oil = car.command_return_oil = True
    assert car.supply_valve_pos == 1.0
    return car


def parked(ambient_c: float, wind_km_h: float) -> Car:
    """The same car, key off, standing in the wind."""
    car = copy.deepcopy(warm(ambient_c))
    car.key_on, car.engine_rpm, car.engine_load, car.cabin_heater, car.speed_kmh = False, 0.0, 0.0, 0.0, wind_km_h
    car.command_supply_oil = car.command_return_oil = False
    return car


def coldest_c(car: Car) -> float:
    """Of what holds oil between tank and injectors."""
    return min(car.hose_c, car.filter_c, car.valve_hose_c, car.pump_inlet_c, car.pump_body_c)


@lru_cache(maxsize=1)
def cooling() -> Cooling:
    """Learnt from one summer hour."""
    car = parked(25.0, 0.0)
    off_c = car.filter_c
    car.advance(3600.0)
    return learnt([Stop(60.0, off_c, car.filter_c, 25.0, 0.0)])


@pytest.mark.parametrize("wind_km_h", [0.0, 20.0, 50.0])
@pytest.mark.parametrize("ambient_c", [25.0, 10.0, -5.0, -15.0, -25.0])
def test_a_summer_stop_foretells_every_other(ambient_c: float, wind_km_h: float) -> None:
    car = parked(ambient_c, wind_km_h)
    answer = standing(car.filter_c, ambient_c, wind_km_h, RESTART_C, cooling())
    stood = 0.0
    while coldest_c(car) > RESTART_C:
        car.advance(15.0)
        stood += 0.25
    assert answer.earliest - 1.0 <= stood <= answer.latest + 1.0
    assert answer.minutes <= stood + 1.0, "never promised longer than it lasts"
    assert answer.minutes >= 0.93 * stood - 1.0, "nor much shorter"
    assert refutas_nu(car.inside_index_worst) < THICK_RESTART_MM2_S, "what is in the pump can still be started on"


def test_the_default_promises_less_than_the_simulated_car_holds() -> None:
    """Common practice's lower end in calm air; the simulated car keeps warm longer, within its upper end."""
    for ambient_c in (25.0, -5.0, -15.0):
        car = parked(ambient_c, 0.0)
        answer = standing(car.filter_c, ambient_c, 0.0, RESTART_C, Cooling(6000.0, 8955.0, 0))
        car.advance(60.0 * answer.minutes)
        assert coldest_c(car) > RESTART_C
        car.advance(60.0 * (answer.latest - answer.minutes))
        assert coldest_c(car) < RESTART_C
