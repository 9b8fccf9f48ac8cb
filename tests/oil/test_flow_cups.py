"""Flow cups against published conversions, a package, and readings as a kitchen gives them."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from chemicals.viscosity import viscosity_converter
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.flow_cups import CUPS, cup_named
from host_sim.oil_curve import cup_reading, line_through

Reference = Callable[..., list[dict[str, str]]]

# our name -> as the table of conversions calls it
NAMES = {
    **{f"iso{n}": f"ISO 2431 {n} mm" for n in (3, 4, 5, 6)}, **{f"ford{n}": f"Ford {n} (ASTM D1200)" for n in range(1, 6)},
    **{f"zahn{n}": f"Zahn {n} (ASTM D4212)" for n in (1, 2, 3)}, **{f"shell{n}": f"Shell {n} (ASTM D4212)" for n in (2, 3)},
    "din4": "DIN 53211 4 mm",
}  # fmt: skip


def test_every_cup_is_the_table_s(reference: Reference) -> None:
    assert set(NAMES) == set(CUPS)
    for name, called in NAMES.items():
        (row,) = reference("flow_cups", cup=called)
        formula = re.sub(r"\(standard.*", "", row["formula_or_case"].removeprefix("nu = "))
        assert re.fullmatch(r"[0-9.*/()t \-]+", formula)
        cup = CUPS[name]
        assert (cup.shortest_s, cup.longest_s) == (float(row["t_min_s"]), float(row["t_max_s"]))
        for seconds in (cup.shortest_s, 0.5 * (cup.shortest_s + cup.longest_s), cup.longest_s):
            assert cup.nu(seconds) == pytest.approx(eval(formula, {"t": seconds}), rel=1e-12)


def test_standard_oils_run_out_in_the_published_seconds(reference: Reference) -> None:
    """A cup maker's page: oils of known viscosity at 25 degC."""
    rows = reference("flow_cups", cup="check", formula_or_case="standard oil", seen="seen")
    assert len(rows) == 5
    for row in rows:
        cup = cup_named("ford" + row["cup"].split()[1])
        assert cup.nu(float(row["t_min_s"])) == pytest.approx(float(row["nu_published_mm2_per_s"]), rel=0.02)


@pytest.mark.parametrize(("name", "scale"), [("ford3", "ford cup #3"), ("ford4", "ford cup #4")])
def test_ford_cups_agree_with_a_package(name: str, scale: str) -> None:
    """`chemicals` (its own tables; they differ from the standard by up to 12 %, which a Ford cup's accuracy allows for)."""
    compared = 0
    for nu in range(70, 190, 5):
        seconds = viscosity_converter(nu * 1e-6, "kinematic viscosity", scale)
        cup = CUPS[name]
        if cup.shortest_s <= seconds <= cup.longest_s:
            assert cup.nu(seconds) == pytest.approx(nu, rel=CUPS[name].accuracy)
            compared += 1
    assert compared >= 10


@pytest.mark.parametrize("cup", CUPS.values(), ids=str)
def test_longer_is_thicker_and_the_inverse_holds(cup) -> None:
    seconds = [cup.shortest_s + (cup.longest_s - cup.shortest_s) * i / 20 for i in range(21)]
    nus = [cup.nu(s) for s in seconds]
    assert nus == sorted(nus)
    assert nus[0] > 0.0
    assert [cup.seconds_of(nu) for nu in nus] == pytest.approx(seconds, rel=1e-9)


def test_a_time_outside_the_range_names_a_cup_that_fits() -> None:
    for cup, seconds, better in (("iso4", 20, "iso3"), ("iso3", 140, "iso4"), ("iso4", 150, "iso5")):
        with pytest.raises(InputError, match=f"where its formula holds; this oil.*{better}"):
            cup_named(cup).nu(seconds)
    for seconds in (-3.0, 0.0, float("nan"), float("inf"), 29.99, 100.01):
        with pytest.raises(InputError, match="30 to 100 s"):
            cup_named("ISO 4").nu(seconds)
    with pytest.raises(InputError, match="one of iso3, iso4"):
        cup_named("iso7")


@given(st.floats(0.0, 4.0), st.floats(2.4, 2.9))
def test_runs_at_several_temperatures_are_one_reading(warmer_k: float, slope: float) -> None:
    """One oil, 74 mm2/s at 20 degC, cools between the runs; the cup's own formula says how long each takes."""
    oil, cup = line_through(20.0, 74.0, slope), cup_named("iso4")
    at_c = [20.0 + warmer_k, 20.0 + warmer_k / 2, 20.0]
    reading = cup_reading(cup, [cup.seconds_of(oil.nu(t)) for t in at_c], at_c)
    assert reading.t_c == pytest.approx(sum(at_c) / 3)
    assert reading.nu_mm2_s == pytest.approx(oil.nu(reading.t_c), rel=0.003)


def test_spread_runs_are_refused_and_few_runs_widen() -> None:
    cup = cup_named("iso4")
    three, one = cup_reading(cup, [57, 57.6, 56.8], [21.5]), cup_reading(cup, [57], [21.5])
    assert one.tolerance > three.tolerance > cup.accuracy
    assert any("1 run" in note for note in one.notes)
    assert not three.notes
    with pytest.raises(InputError, match=r"within 5 % of each other, not 14\.5 %"):
        cup_reading(cup, [57, 57, 65], [21.5])
    with pytest.raises(InputError, match="one, or 3 as there are runs"):
        cup_reading(cup, [57, 57, 57], [21.5, 22])
    with pytest.raises(InputError, match="-20 to 120 degC"):
        cup_reading(cup, [57], [215])
    # the same spread in seconds, told to be two temperatures, is no spread
    with pytest.raises(InputError, match="within 5 %"):
        cup_reading(cup, [57, 60.2], [21.5])
    assert cup_reading(cup, [57, 60.2], [21.5, 20.2]).nu_mm2_s == pytest.approx(76.7, rel=0.02)
