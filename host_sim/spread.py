"""What random trips of a scenario's kind are drawn from: weather, habits, oil, filter, plumbing, sensor tolerances."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from host_sim.car_spec import Quantity
from host_sim.tables import Name, Range, Table, quantity, span

_Share = Annotated[Quantity, quantity("1", 0, 1)]
_Level = Annotated[Range, span("1", 0, 1)]
_Minutes = Annotated[Range, span("min", 0.1, 24 * 60)]
_Kmh = Annotated[Range, span("km/h", 10, 180)]
_SensorK = Annotated[Range, span("K", -5, 5)]


class SensorSpread(Table):
    """Tolerance of each sensor, drawn for each by itself; left out: it reads what is true."""

    coolant: _SensorK | None = None
    oil: _SensorK | None = None
    oil_tank: _SensorK | None = None
    pump_inlet: _SensorK | None = None
    ambient: _SensorK | None = None
    suction: Annotated[Range, span("kPa", -5, 5)] | None = None


class Spread(Table):
    """One trip: so many drives, each through a town and then along a road, each with a stop after it, and one more start.

    The last start judges what the last stop left. The three habits are shares of stops: `forgets_purge`,
    `purges_driving` (else the driver purges at idle), `asks_how_long` (a short press before it). `car`: dotted key of the
    car file -> range, for oil and plumbing; what the settings were measured at must lie within.
    """

    about: str = Field(min_length=3)
    ambient_c: Annotated[Range, span("degC", -40, 50)]
    swing_k: Annotated[Range, span("K", 0, 30)]
    start_hour: Annotated[Range, span("h", 0, 23.99)]
    soak_h: Annotated[Range, span("h", 0, 240)]
    cabin_heater: Annotated[Range, span("1", 0, 1)]
    oil_level: _Level
    diesel_level: _Level
    filter_litres: Annotated[Range, span("L", 0, 20000)]
    drivers: list[Name] = Field(min_length=1)
    drives: Annotated[Range, span("1", 1, 20)]
    town_minutes: _Minutes
    town_kmh: _Kmh
    road_minutes: _Minutes
    road_kmh: _Kmh
    stop_minutes: Annotated[Range, span("min", 0.1, 14 * 24 * 60)]
    forgets_purge: _Share
    purges_driving: _Share
    asks_how_long: _Share
    car: dict[str, Range] = Field(default_factory=dict)
    sensors: SensorSpread = SensorSpread()
