"""Fuses, cables and drop-out against physics and standards."""

from itertools import pairwise

import pytest
from scipy.integrate import solve_ivp

from drawings import cables
from drawings.cables import AMPACITY_A, RESISTANCE_MOHM_M
from host_sim.car_spec import default_car_path, load_car

RESISTIVITY_OHM_M = 1.7241e-8  # annealed copper at 20 degC (IEC 60028)


def test_tabulated_resistance_is_that_of_copper() -> None:
    # strands are twisted, drawn and rounded: a few per cent above the bare cross-section
    for area_mm2, mohm_m in RESISTANCE_MOHM_M.items():
        assert 1.0 < mohm_m / (RESISTIVITY_OHM_M / (area_mm2 * 1e-6) * 1000.0) < 1.16


def test_derating_by_the_root_of_what_warming_is_left_is_the_standards() -> None:
    # factors for 70 degC at the conductor (VDE 0298-4 table 17, as printed by instarr.in)
    for ambient_c, factor in {40.0: 0.87, 50.0: 0.71, 60.0: 0.50}.items():
        hotter_c = ambient_c + cables.CONDUCTOR_C - 70.0  # as much warming is left
        assert cables.carries_a(1.5, hotter_c) / (AMPACITY_A[1.5] * cables.BUNDLE) == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize("circuit", cables.circuits(), ids=lambda circuit: circuit.fuse)
def test_fuse_carries_the_load_and_protects_the_cable(circuit: cables.Circuit) -> None:
    fuse, area = cables.fuse_a(circuit.amps), cables.area_mm2(circuit)
    assert circuit.amps <= 0.75 * fuse < cables.FUSES_A[-1]
    assert cables.carries_a(area, circuit.ambient_c) >= fuse
    assert cables.drop_v(circuit, area) <= circuit.drop_v
    smaller = [each for each in AMPACITY_A if each < area]
    if smaller:
        assert (
            cables.carries_a(smaller[-1], circuit.ambient_c) < fuse
            or cables.drop_v(circuit, smaller[-1]) > circuit.drop_v
        )


def test_fuse_of_the_held_feed_outlives_the_one_behind_it() -> None:
    fuse = {circuit.fuse: cables.fuse_a(circuit.amps) for circuit in cables.circuits()}
    assert fuse["F1"] > fuse["F3"]


def test_valves_pull_in_at_the_lowest_supply_that_the_law_accepts() -> None:
    lost = {circuit.fuse: cables.drop_v(circuit, cables.area_mm2(circuit)) for circuit in cables.circuits()}
    pull_in_v = load_car(default_car_path()).valves.pull_in_v.value
    assert 9.5 - lost["F2"] >= pull_in_v
    assert 9.5 - lost["F1"] - lost["F3"] >= pull_in_v


def test_too_much_for_a_blade_fuse_or_a_cable_is_refused() -> None:
    with pytest.raises(ValueError, match=r"at most 22\.5 A"):
        cables.fuse_a(23.0)
    with pytest.raises(ValueError, match="need more than 6 mm2"):
        cables.area_mm2(cables.Circuit("F9", "winch", 20.0, 60.0, 60.0, 0.5, ""))


@pytest.mark.parametrize("against_v", [cables.DIODE_V, cables.CLAMP_V])
@pytest.mark.parametrize("inductance_mh", cables.INDUCTANCES_MH)
def test_drop_out_is_that_of_the_circuit(inductance_mh: float, against_v: float) -> None:
    valves = load_car(default_car_path()).valves
    ohm, henry = 14.0**2 / valves.coil_w.value, inductance_mh / 1000.0
    held_a = valves.hold_v.value / ohm

    def falls(_: float, amps: list[float]) -> list[float]:
        return [-(ohm * amps[0] + against_v) / henry]

    def dropped(_: float, amps: list[float]) -> float:
        return amps[0] - held_a

    dropped.terminal = True  # pyright: ignore[reportFunctionMemberAccess] - how solve_ivp is told
    run = solve_ivp(falls, (0.0, 1.0), [14.0 / ohm], events=dropped, rtol=1e-9, atol=1e-12)
    assert cables.drop_out_ms(inductance_mh, against_v) == pytest.approx(1000.0 * run.t_events[0][0], rel=1e-4)


def test_a_clamp_is_faster_and_a_larger_coil_slower_and_both_are_far_within_the_reaction_time() -> None:
    diode = [cables.drop_out_ms(mh, cables.DIODE_V) for mh in cables.INDUCTANCES_MH]
    assert all(less < more < 100.0 for less, more in pairwise(diode))
    assert all(
        cables.drop_out_ms(mh, cables.CLAMP_V) < slow for mh, slow in zip(cables.INDUCTANCES_MH, diode, strict=True)
    )
