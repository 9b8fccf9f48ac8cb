"""Filter suction against worked cake-filtration examples and the trade's rules of thumb."""

import re
from collections.abc import Callable

import pytest
from scipy.integrate import solve_ivp

from host_sim.errors import InputError
from host_sim.filter_model import Filter, oil_viscosity_pa_s, suction_correction
from host_sim.fluids import D341

Reference = Callable[..., list[dict[str, str]]]
OIL = D341.from_points(40, 35, 100, 8.1)  # rapeseed, handbook typical (memory)


def inputs(row: dict[str, str]) -> dict[str, float]:
    return {name: float(number) for name, number in re.findall(r"(\w+)=([0-9.e+-]+)", row["formula_or_inputs"])}


def seconds_to_filter(element: Filter, end_ml: float, dp_pa: float, viscosity_pa_s: float) -> float:
    """Time to press end_ml through at constant pressure, from the model's suction at 1 uL/s (it is linear in flow)."""

    def slowness(ml: float, _: list[float]) -> list[float]:
        return [1000.0 * element.suction_pa(ml / 1000.0, viscosity_pa_s, 1.0) / dp_pa]

    return float(solve_ivp(slowness, (0.0, end_ml), [0.0], rtol=1e-9, atol=1e-9).y[0, -1])


def test_filter_reproduces_a_leaf_filter_exercise(reference: Reference) -> None:
    def value(item: str) -> float:
        return float(reference("filter_hydraulics", item=f"leaf-filter exercise {item}", seen="seen")[0]["value"])

    given = inputs(reference("filter_hydraulics", item="leaf-filter exercise inputs", seen="seen")[0])
    area_m2, dp_pa, viscosity_pa_s = given["A"], given["dp"] * 1e5, given["mu"]
    element = Filter(clean_per_m3=value("Rm") / area_m2, growth_per_m6=value("alpha*c") / area_m2**2)
    # The exercise: 250 cm3 after 300 s, 150 cm3 more in the next 300 s.
    assert seconds_to_filter(element, 250.0, dp_pa, viscosity_pa_s) == pytest.approx(300.0, rel=1e-6)
    assert seconds_to_filter(element, 400.0, dp_pa, viscosity_pa_s) == pytest.approx(600.0, rel=1e-6)


def test_filter_reproduces_a_textbook_example(reference: Reference) -> None:
    # Geankoplis, Transport Processes, example 14.2-1 (memory): t/V = Kp/2 V + B, so a band of 2 %.
    given = inputs(reference("filter_hydraulics", item="Geankoplis Ex 14.2-1 inputs")[0])
    alpha = float(reference("filter_hydraulics", item="Geankoplis Ex 14.2-1 alpha")[0]["value"])
    medium = float(reference("filter_hydraulics", item="Geankoplis Ex 14.2-1 Rm")[0]["value"])
    element = Filter(clean_per_m3=medium / given["A"], growth_per_m6=alpha * given["cs"] / given["A"] ** 2)
    litres = 3.0
    expected_s = (given["Kp"] / 2.0 * litres / 1000.0 + given["B"]) * litres / 1000.0
    seconds = seconds_to_filter(element, litres * 1000.0, given["dp"] * 1000.0, given["mu"])
    assert seconds == pytest.approx(expected_s, rel=0.02)


def test_element_shows_its_readings_when_new_and_at_the_end_of_its_life() -> None:
    # The default life is common practice, no source: about 1900 L through one element.
    viscosity_pa_s = oil_viscosity_pa_s(OIL, 70.0)
    element = Filter.from_readings(6000.0, 25_000.0, 20_000.0, viscosity_pa_s, static_head_pa=1500.0)
    assert element.suction_pa(0.0, viscosity_pa_s, 0.0) == 1500.0
    assert element.suction_pa(0.0, viscosity_pa_s, 20_000.0) == pytest.approx(6000.0)
    assert element.suction_pa(950.0, viscosity_pa_s, 20_000.0) == pytest.approx(15_500.0)
    assert element.suction_pa(1900.0, viscosity_pa_s, 20_000.0) == pytest.approx(25_000.0)


def test_impossible_readings_are_refused() -> None:
    for readings, place in [
        ((6000.0, 5000.0, 1.0, 0.01), "filter readings"),
        ((1000.0, 5000.0, 1.0, 0.01, 1900.0, 1000.0), "filter readings"),
        ((1.0, 2.0, 0.0, 0.01), "filter flow"),
        ((1.0, 2.0, 1.0, float("nan")), "filter viscosity"),
        ((1.0, 2.0, 1.0, 0.01, -5.0), "filter element life"),
    ]:
        with pytest.raises(InputError, match=place):
            Filter.from_readings(*readings)


def test_cold_oil_and_dirt_both_raise_suction(reference: Reference) -> None:
    element = Filter.from_readings(4000.0, 25_000.0, 20_000.0, oil_viscosity_pa_s(OIL, 80.0))

    def suction(t_c: float, filtered_l: float) -> float:
        return element.suction_pa(filtered_l, oil_viscosity_pa_s(OIL, t_c), 20_000.0)

    # The same filter reads several times higher at 20 than at 80 degC (common practice, no source); the reference's
    # ratio is worked out from recalled viscosities, so a band of 25 %.
    (ratio,) = reference("filter_hydraulics", item="viscosity ratio check")
    for filtered_l in (0.0, 1000.0):
        assert suction(20.0, filtered_l) / suction(80.0, filtered_l) == pytest.approx(float(ratio["value"]), rel=0.25)
    assert suction(80.0, 1000.0) > 2.0 * suction(80.0, 0.0)


def test_dynamic_viscosity_is_kinematic_times_published_density(reference: Reference) -> None:
    for row in reference("vegoil_density_cp", oil="sunflower", seen="seen"):
        t_c = float(row["temperature_degC"])
        expected = OIL.nu(t_c) * 1e-6 * float(row["density_kg_per_m3"])
        assert oil_viscosity_pa_s(OIL, t_c) == pytest.approx(expected, rel=1e-4)


def test_correction_brings_every_temperature_to_70_degc() -> None:
    element = Filter.from_readings(4000.0, 25_000.0, 20_000.0, oil_viscosity_pa_s(OIL, 80.0))
    table = suction_correction(OIL)
    assert [t_c for t_c, _ in table] == list(range(20, 111, 10))
    assert dict(table)[70] == 1000
    at_70 = element.suction_pa(500.0, oil_viscosity_pa_s(OIL, 70.0), 20_000.0)
    for t_c, permille in table:
        read_pa = element.suction_pa(500.0, oil_viscosity_pa_s(OIL, t_c), 20_000.0)
        assert read_pa * permille / 1000.0 == pytest.approx(at_70, rel=0.004)
