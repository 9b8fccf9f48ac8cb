"""The six unit factors against pint and published figures."""

from collections.abc import Callable

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.units import SYSTEMS, UNITS, from_base, shown, to_base

Reference = Callable[..., list[dict[str, str]]]
PINT_NAMES = {
    "degF": ("degF", "degC"),
    "kPa": ("kPa", "Pa"),
    "inHg": ("inch_Hg", "Pa"),
    "gal": ("US_liquid_gallon", "L"),
    "mi": ("mile", "km"),
    "L/h": ("L/hour", "microliter/second"),
}


def test_every_factor_is_pints() -> None:
    assert PINT_NAMES.keys() == UNITS.keys()
    quantity = pint.UnitRegistry().Quantity
    for unit, (pint_name, pint_base) in PINT_NAMES.items():
        for value in (-40.0, 0.0, 1.0, 212.0):
            assert to_base(value, unit) == pytest.approx(quantity(value, pint_name).to(pint_base).magnitude, rel=1e-8)


def test_inch_of_mercury_is_the_published_one(reference: Reference) -> None:
    for row in reference("pressure_units", unit="conventional"):
        tight = row["seen"] == "seen"
        assert to_base(1.0, "inHg") == pytest.approx(float(row["pascal"]), rel=1e-8 if tight else 1e-6)
    (atmosphere,) = reference("pressure_units", unit="standard atmosphere", seen="seen")
    assert to_base(1.0, "inHg") == pytest.approx(float(atmosphere["pascal"]), rel=1e-6)
    assert from_base(101325.0, "inHg") == pytest.approx(29.9213, abs=5e-5)


@given(value=st.floats(-1e6, 1e6), unit=st.sampled_from(sorted(UNITS)))
def test_conversion_has_an_inverse(value: float, unit: str) -> None:
    assert from_base(to_base(value, unit), unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_one_setting_chooses_what_people_read() -> None:
    assert shown(77.0, "temperature", "metric") == (77.0, "degC")
    assert shown(77.0, "temperature", "us") == (pytest.approx(170.6), "degF")
    assert shown(33863.8864, "pressure", "us") == (pytest.approx(10.0), "inHg")
    assert shown(40.0, "volume", "us") == (pytest.approx(10.567, abs=1e-3), "gal")
    assert SYSTEMS["us"].keys() == SYSTEMS["metric"].keys()
    used = {unit for system in SYSTEMS.values() for unit in system.values()}
    assert set(UNITS) <= used


def test_unknown_units_are_refused_by_name() -> None:
    with pytest.raises(InputError, match=r"psi.*degF"):
        to_base(1.0, "psi")
    with pytest.raises(InputError, match=r"imperial.*metric"):
        shown(1.0, "volume", "imperial")
    with pytest.raises(InputError, match="torque"):
        shown(1.0, "torque", "us")
