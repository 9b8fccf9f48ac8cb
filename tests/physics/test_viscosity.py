"""ASTM D341, blending, and the lookup table, against published lines, examples and rules."""

import math
from collections.abc import Callable

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.fluids import (
    D341,
    FuelTable,
    blend_nu,
    changeover_temperatures,
    diesel_density_kg_m3,
    oil_density_kg_m3,
    refutas_index,
    refutas_nu,
)

Reference = Callable[..., list[dict[str, str]]]
TABLE_OILS = ("canola (low-erucic rapeseed)", "corn", "soybean", "sunflower", "walnut")
COMMON_OILS = TABLE_OILS[:-1]  # walnut is the thinnest of the study and not what is fried in


def oil_points(reference: Reference, oil: str) -> list[tuple[float, float]]:
    """(degC, mm2/s) of the Fasina and Colley table, from its dynamic viscosities and our density."""
    return [
        (t_c, float(row["dynamic_viscosity_mPas"]) / oil_density_kg_m3(t_c) * 1000.0)
        for row in reference("vegoil_viscosity", oil=oil, seen="memory", source="Fasina")
        for t_c in [float(row["temperature_degC"])]
    ]


def line(reference: Reference, oil: str) -> D341:
    """Line through the table's 50 and 95 degC points."""
    points = dict(oil_points(reference, oil))
    return D341.from_points(50.0, points[50.0], 95.0, points[95.0])


def test_line_through_two_points_gives_the_published_third(reference: Reference) -> None:
    (a,) = reference("astm_d341", item="example A", seen="seen")
    (c,) = reference("astm_d341", item="example C", seen="seen")
    for row, points in [(a, (40.0, 32.0, 100.0, 5.4)), (c, (40.0, 68.0, 80.0, 14.85))]:
        liquid = D341.from_points(*points)
        nu = liquid.nu(float(row["target_temperature_degC"]))
        assert nu == pytest.approx(float(row["published_nu_mm2_per_s"]), rel=0.005)
        assert nu == pytest.approx(float(row["recomputed_nu_mm2_per_s"]), rel=2e-5)
        # Example A takes T as t + 273, so its printed line is ours moved by 0.15 K.
        shift_k = 0.15 if row is a else 0.0
        printed = D341.from_points(points[0] - shift_k, points[1], points[2] - shift_k, points[3])
        assert printed.a == pytest.approx(float(row["A"]), abs=2e-4)
        assert printed.b == pytest.approx(float(row["B"]), abs=1e-4)


def test_low_viscosity_form_agrees_with_the_printed_inverse() -> None:
    # ASTM D341 as reproduced (ttwiki.azurewebsites.net/?p=13661): its inverse is a fit, so the agreement is not exact.
    liquid = D341.from_points(20, 4.1, 100, 1.15)
    thinnest = math.inf
    for t_c in range(40, 251, 10):
        x = 10.0 ** (10.0 ** (liquid.a - liquid.b * math.log10(t_c + 273.15))) - 0.7
        printed = x - math.exp(-0.7487 - 3.295 * x + 0.6119 * x**2 - 0.3193 * x**3)
        assert liquid.nu(t_c) == pytest.approx(printed, rel=0.003)
        thinnest = min(thinnest, printed)
    assert thinnest < 0.5  # the range where the last term of Z decides was reached
    simple_form = 10.0 ** (10.0 ** (liquid.a - liquid.b * math.log10(523.15))) - 0.7
    assert abs(liquid.nu(250) / simple_form - 1.0) > 0.2


@given(
    t1_c=st.floats(-20.0, 60.0),
    span_k=st.floats(10.0, 100.0),
    nu1=st.floats(1.0, 500.0),
    slope=st.floats(1.6, 5.9),
    t_c=st.floats(-60.0, 250.0),
)
def test_viscosity_and_temperature_are_each_others_inverse(
    t1_c: float, span_k: float, nu1: float, slope: float, t_c: float
) -> None:
    log_log_z = math.log10(math.log10(nu1 + 0.7 + math.exp(-1.47 - 1.84 * nu1 - 0.51 * nu1**2)))
    drawn = D341(a=log_log_z + slope * math.log10(t1_c + 273.15), b=slope)
    nu2 = drawn.nu(t1_c + span_k)
    assert drawn.nu(t1_c) == pytest.approx(nu1, rel=1e-9)
    assume(nu2 >= 0.21)
    liquid = D341.from_points(t1_c, nu1, t1_c + span_k, nu2)
    assert (liquid.a, liquid.b) == pytest.approx((drawn.a, drawn.b), rel=1e-6)
    nu = liquid.nu(t_c)
    assert nu > liquid.nu(t_c + 1.0)
    if nu >= 0.21:
        assert liquid.t_at(nu) == pytest.approx(t_c, abs=1e-5)


def test_points_that_make_no_line_are_refused() -> None:
    for points, place in [
        ((40, 35, 40, 8), "viscosity points"),
        ((40, 8, 100, 35), "viscosity points"),
        ((40, 0.2, 100, 0.1), "viscosity at 40"),
        ((40, 35, 1000, 8), "viscosity point"),
        ((40, math.nan, 100, 8), "viscosity at 40"),
        ((37, 2, 47, 0.4), "slope b"),
        ((40, 35, 100, 34), "slope b"),
    ]:
        with pytest.raises(InputError, match=place):
            D341.from_points(*points)
    with pytest.raises(InputError, match=r"0\.21 mm2/s or more"):
        D341.from_points(40, 35, 100, 8).t_at(0.2)


@pytest.mark.parametrize("oil", TABLE_OILS)
def test_one_line_follows_an_oil_from_35_to_120_degc(reference: Reference, oil: str) -> None:
    # Fasina and Colley 2008, recalled: band 15 % to 100 degC, 25 % beyond (judgement).
    liquid = line(reference, oil)
    points = oil_points(reference, oil)
    assert len(points) == 7
    for t_c, nu in points:
        assert liquid.nu(t_c) == pytest.approx(nu, rel=0.15 if t_c <= 100.0 else 0.25)


def test_oil_lines_agree_with_other_measurements(reference: Reference) -> None:
    # Lines through recalled points, held against figures that were seen elsewhere.
    (walnut,) = reference("vegoil_viscosity", oil="walnut", seen="seen")
    ours = line(reference, "walnut").nu(38) * oil_density_kg_m3(38) / 1000.0
    assert ours == pytest.approx(float(walnut["dynamic_viscosity_mPas"]), rel=0.05)

    (canola,) = reference("vegoil_viscosity", oil="waste-cooking-oil", seen="seen")
    assert line(reference, "canola").nu(21) == pytest.approx(float(canola["kinematic_viscosity_mm2_per_s"]), rel=0.15)

    (low,) = reference("vegoil_viscosity", oil="range low", seen="seen")
    (high,) = reference("vegoil_viscosity", oil="range high", seen="seen")
    for oil in TABLE_OILS:
        nu = line(reference, oil).nu(38)
        assert float(low["kinematic_viscosity_mm2_per_s"]) < nu < float(high["kinematic_viscosity_mm2_per_s"])

    for row in reference("vegoil_viscosity", oil="rapeseed (00 quality)", seen="memory"):
        nu = line(reference, "canola").nu(float(row["temperature_degC"]))
        assert nu == pytest.approx(float(row["kinematic_viscosity_mm2_per_s"]), rel=0.2)


def test_diesel_line_follows_its_curve_and_the_standard(reference: Reference) -> None:
    rows = {
        float(r["temperature_degC"]): float(r["kinematic_viscosity_mm2_per_s"]) for r in reference("diesel_viscosity")
    }
    diesel = D341.from_points(20, rows[20.0], 80, rows[80.0])
    for t_c, nu in rows.items():
        assert diesel.nu(t_c) == pytest.approx(nu, rel=0.15)  # memory
    (limit,) = reference("fuel_limits", specification="EN 590", property="viscosity", seen="seen")
    assert float(limit["minimum"]) <= diesel.nu(40) <= float(limit["maximum"])


@pytest.mark.parametrize("oil", COMMON_OILS)
def test_changeover_temperatures_are_those_people_choose(reference: Reference, oil: str) -> None:
    # Common practice, no source, and how its figures hang together on these curves: at 54 degC, fit for a warm restart,
    # an oil is at 23 to 26 mm2/s; 20 mm2/s is reached at 59 to 64 degC, 15 at 70 to 76 degC. Bands: 1.5 K, 5 % wider.
    liquid = line(reference, oil)
    assert 23 * 0.95 <= liquid.nu(54) <= 26 * 1.05
    assert 59 - 1.5 <= changeover_temperatures(liquid) <= 64 + 1.5
    assert 70 - 1.5 <= changeover_temperatures(liquid, 15.0) <= 76 + 1.5
    assert liquid.nu(changeover_temperatures(liquid)) == pytest.approx(20.0, rel=1e-9)


def test_blending_number_and_blend_match_published_numbers(reference: Reference) -> None:
    (index,) = reference("viscosity_blending", method="Refutas index", seen="seen")
    assert refutas_index(2.234) == pytest.approx(float(index["published_value"]), abs=0.002)
    assert refutas_index(2.234) == pytest.approx(float(index["computed_value_mm2_per_s_or_VBN"]), abs=5e-5)

    def value(method: str) -> float:
        return float(reference("viscosity_blending", method=method)[0]["computed_value_mm2_per_s_or_VBN"])

    ours = blend_nu(3.0, 35.0, 0.5)
    assert ours == pytest.approx(value("Refutas blend"), abs=5e-5)
    # The rule of ASTM D7152 is a neighbour; the ideal and the cube-root rules (memory) are known to lie above it.
    assert ours == pytest.approx(value("Chirinos"), rel=0.02)
    assert ours < value("Arrhenius") < value("Kendall-Monroe")
    assert blend_nu(3.0, 35.0, 0.0) == pytest.approx(3.0)
    assert blend_nu(3.0, 35.0, 1.0) == pytest.approx(35.0)


@given(nu=st.floats(0.25, 1e5))
def test_blending_number_has_an_inverse(nu: float) -> None:
    assert refutas_nu(refutas_index(nu)) == pytest.approx(nu, rel=1e-9)


OIL = D341.from_points(40, 35, 100, 8.1)
DIESEL = D341.from_points(20, 4.1, 80, 1.45)
TABLE = FuelTable(OIL, DIESEL)


@given(t_c=st.floats(-60.0, 249.9), fraction=st.floats(0.0, 1.0))
def test_lookup_table_equals_the_blending_rule(t_c: float, fraction: float) -> None:
    oil_kg, diesel_kg = fraction * oil_density_kg_m3(t_c), (1.0 - fraction) * diesel_density_kg_m3(t_c)
    exact = blend_nu(DIESEL.nu(t_c), OIL.nu(t_c), oil_kg / (oil_kg + diesel_kg))
    assert TABLE.nu(t_c, fraction) == pytest.approx(exact, rel=0.002)
    assert TABLE.index(t_c, fraction) == pytest.approx(refutas_index(exact), abs=0.003)


def test_lookup_table_refuses_what_it_does_not_cover() -> None:
    for t_c in (-60.1, 250.0, math.nan):
        with pytest.raises(InputError, match="fuel temperature"):
            TABLE.index(t_c, 1.0)
