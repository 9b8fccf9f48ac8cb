"""Ambient temperature over the day."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import simpy

from host_sim.actors import pause
from host_sim.scenario import Weather

if TYPE_CHECKING:
    from simpy.events import ProcessGenerator

    from host_sim.car import Car

WARMEST_HOUR = 15.0  # common practice, no source: mid-afternoon
STEP_MS = 300_000


def ambient_at(weather: Weather, t_s: float) -> float:
    """Ambient in degC, t_s seconds after the start of the scenario: a cosine over the day about the mean."""
    hours = weather.start_hour + t_s / 3600.0 - WARMEST_HOUR
    return weather.ambient_c.value + 0.5 * weather.swing_k.value * math.cos(2.0 * math.pi * hours / 24.0)


def weather_process(env: simpy.Environment, weather: Weather, car: Car) -> ProcessGenerator:
    """Actor: sets the car's ambient every five minutes (only once where nothing swings)."""
    car.ambient_c = ambient_at(weather, env.now / 1000.0)
    while weather.swing_k.value > 0.0:
        yield pause(env, STEP_MS)
        car.ambient_c = ambient_at(weather, env.now / 1000.0)
    yield pause(env, 0)
