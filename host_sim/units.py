"""The six units that people read and we do not compute in. Used only at the edge."""

from __future__ import annotations

from dataclasses import dataclass

from host_sim.errors import InputError


@dataclass(frozen=True)
class Unit:
    """value in base = value * factor + offset."""

    base: str
    factor: float
    offset: float = 0.0


UNITS: dict[str, Unit] = {
    "degF": Unit("degC", 5.0 / 9.0, -160.0 / 9.0),
    "kPa": Unit("Pa", 1000.0),
    "inHg": Unit("Pa", 3386.38864),  # conventional: 25.4 mm of mercury of 13595.1 kg/m3 at 9.80665 m/s2
    "gal": Unit("L", 3.785411784),  # US gallon
    "mi": Unit("km", 1.609344),
    "L/h": Unit("uL/s", 1e6 / 3600.0),
}

# What one setting chooses; a unit outside UNITS is a base unit.
SYSTEMS: dict[str, dict[str, str]] = {
    "metric": {"temperature": "degC", "pressure": "kPa", "volume": "L", "distance": "km", "flow": "L/h"},
    "us": {"temperature": "degF", "pressure": "inHg", "volume": "gal", "distance": "mi", "flow": "L/h"},
}


def to_base(value: float, unit: str) -> float:
    """Value in degC, Pa, L, km or uL/s of a value in one of UNITS. Raises InputError."""
    row = _row(unit)
    return value * row.factor + row.offset


def from_base(value: float, unit: str) -> float:
    """Value in one of UNITS of a value in degC, Pa, L, km or uL/s. Raises InputError."""
    row = _row(unit)
    return (value - row.offset) / row.factor


def shown(value: float, quantity: str, system: str) -> tuple[float, str]:
    """(value, unit) as a person reads it; value in the base unit of this quantity of SYSTEMS. Raises InputError."""
    if system not in SYSTEMS:
        raise InputError("units", system, "one of " + ", ".join(SYSTEMS))
    units = SYSTEMS[system]
    if quantity not in units:
        raise InputError("quantity", quantity, "one of " + ", ".join(units))
    unit = units[quantity]
    return (from_base(value, unit) if unit in UNITS else value), unit


def _row(unit: str) -> Unit:
    try:
        return UNITS[unit]
    except KeyError:
        raise InputError("unit", unit, "one of " + ", ".join(UNITS)) from None
