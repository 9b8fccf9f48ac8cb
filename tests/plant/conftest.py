"""The project's own car, and a drive that every plant test may use."""

import math
from collections.abc import Callable

import pytest

from host_sim.car import Car
from host_sim.car_spec import CarSpec, default_car_path, load_car


@pytest.fixture(scope="session")
def spec() -> CarSpec:
    return load_car(default_car_path())


def start(car: Car) -> None:
    car.key_on = True
    car.cranking = True
    car.engine_rpm = 200.0
    car.advance(1.0)
    car.cranking = False
    car.engine_rpm = 850.0


def commute(car: Car, second: int) -> None:
    """Set one second of mixed driving: 50 s up to 60 km/h and along, 10 s of braking and halt (invented)."""
    phase = second % 60
    speed = min(60.0, 6.0 * phase) if phase < 48 else max(0.0, 60.0 - 8.0 * (phase - 48))
    acceleration = 1.6 if phase < 10 else 0.0 if phase < 48 else -2.0
    car.speed_kmh = speed
    if speed < 1.0:
        car.engine_rpm, car.engine_load = 850.0, 0.0
        return
    rpm = max(850.0, speed / 60.0 * 2000.0)
    force = 1450.0 * (acceleration + 9.81 * 0.012) + 0.41 * (speed / 3.6) ** 2
    car.engine_rpm = rpm
    car.engine_load = min(1.0, max(0.0, force * speed / 3.6 / (rpm * math.pi / 30.0) / 200.0))


def drive(car: Car, seconds: int, each_second: Callable[[Car, int], None] | None = None) -> None:
    """Commute; `each_second` sees the car and the second before it is driven."""
    for second in range(seconds):
        commute(car, second)
        if each_second is not None:
            each_second(car, second)
        car.advance(1.0)


def stop(car: Car) -> None:
    car.key_on = False
    car.engine_rpm = car.engine_load = car.speed_kmh = 0.0
    car.command_supply_oil = car.command_return_oil = car.command_heater = False
