"""The error budget against slopes of a maker's resistance table, and against what the settings assume."""

import csv
from math import log
from pathlib import Path

import pytest

from changeover.settings import defaults
from changeover.validate import undetectable_cdegc
from drawings import error_budget, networks
from drawings.error_budget import BUS, PICO, THERMISTOR, checked_k, total_k, worst_k

TABLE = Path(__file__).parents[1] / "physics" / "reference" / "ntc_rt_tables.csv"
PULLUP_OHM = 5600.0


def maker() -> dict[float, float]:
    """Resistance by temperature of the 10 kohm part."""
    with open(TABLE, newline="", encoding="utf-8") as file:
        return {
            float(row["temperature_degC"]): float(row["resistance_ohm"])
            for row in csv.DictReader(file)
            if row["sensor"].startswith("10k NTC") and row["source"].startswith("computed")
        }


def around(t_c: float) -> tuple[float, float]:
    """Resistance at t_c and its relative slope per K, from the rows 10 K below and above, in the logarithm over 1/T."""
    ohm = maker()
    low, high = ohm[t_c - 10.0], ohm[t_c + 10.0]
    b = log(low / high) / (1.0 / (t_c + 263.15) - 1.0 / (t_c + 283.15))
    return ohm[t_c], b / (t_c + 273.15) ** 2


@pytest.mark.parametrize("t_c", [10.0, 50.0, 90.0])
def test_causes_follow_from_the_slope_of_a_makers_table(t_c: float) -> None:
    ohm, alpha = around(t_c)
    ratio = ohm / (ohm + PULLUP_OHM)
    per_k = ratio * (1.0 - ratio) * alpha  # of the reference
    lsb = 7.85 if 512 <= 4096 * ratio <= 3584 else 15.0
    source = ohm * PULLUP_OHM / (ohm + PULLUP_OHM) + 2200.0
    by_hand = {
        "R25 1 %": log(1.01) / alpha,
        "B 1 %": 39.77 * abs(1.0 / (t_c + 273.15) - 1.0 / 298.15) / alpha,
        "ageing 2 %": log(1.02) / alpha,
        "pull-up 0.1 %": 0.002 / alpha,
        "converter": lsb / 4096 / per_k,
        "leakage": 2e-6 * source / 3.3 / per_k,
        "own heat": (3.3 * ratio) ** 2 / ohm / 4e-3,
        "taken charge": 48 * 2e-6 / (1e5 * 1e-6) * ratio / per_k,
    }
    causes = {**THERMISTOR, **PICO}
    assert set(by_hand) == set(causes)
    # 0.03 K: the law's whole counts and its table's straight segments; 8 %: errors are not infinitely small
    for name, expected in by_hand.items():
        assert worst_k(causes[name], t_c) == pytest.approx(expected, rel=0.08, abs=0.03), name
    assert worst_k(BUS["gain"], t_c) == pytest.approx(0.0015 * ratio / per_k, rel=0.08, abs=0.03)
    assert worst_k(BUS["load"], t_c) == pytest.approx(source / 6e6 * ratio / per_k, rel=0.08, abs=0.03)
    assert error_budget.ground_k(t_c) == pytest.approx(0.010 / 3.3 * (1.0 - ratio) / per_k, rel=0.08, abs=0.03)


def test_where_oil_is_decided_about_the_settings_allow_for_more() -> None:
    values = defaults()
    before = undetectable_cdegc({**values, "ntc_check_recorded": 0}) / 100.0
    after = undetectable_cdegc({**values, "ntc_check_recorded": 1}) / 100.0
    low, high = values["oil_restart_cdegc"] / 100.0, values["oil_entry_cdegc"] / 100.0
    between = [t_c for t_c in error_budget.temperatures_c() if low <= t_c <= high]
    assert len(between) == 4
    for t_c in between:
        assert total_k({**THERMISTOR, **PICO}, t_c) < before
        assert checked_k(t_c) < after


def test_the_check_takes_away_what_all_readings_share() -> None:
    # a part that is off by the same at ice, boiling and between leaves nothing behind, so the rest must be less than the parts' sum
    t_c = 74.0
    parts = {name: cause for name, cause in THERMISTOR.items() if name != "ageing 2 %"}
    converter = worst_k(PICO["converter"], t_c) + sum(worst_k(PICO["converter"], end) for end in (0.0, 100.0)) / 2.0
    assert checked_k(t_c) - converter < total_k(parts, t_c) + worst_k(PICO["leakage"], t_c)


def test_suction_sums_and_its_floor_under_the_pumps_limit() -> None:
    # MPX5100 data sheet: 45 mV/kPa of 5 V, error 2.5 % of a span of 4.5 V
    causes = error_budget.suction_kpa(33.0)
    assert causes["sensor 2.5 %"] == pytest.approx(0.025 * 4.5 / 0.045, rel=0.01)
    assert causes["converter"] == pytest.approx(7.85 / 4096 * 5.0 / 0.045, rel=0.02)
    assert causes["another rail"] == pytest.approx(0.03 * (33.0 + 0.2 / 0.045), rel=0.02)
    # even a sensor on another rail leaves the last threshold below the 40 kPa at which a pump starves
    assert defaults()["suction_starved_pa"] / 1000.0 + sum(causes.values()) < 40.0


def test_networks_keep_the_pins_within_their_limits() -> None:
    schottky_v = 0.3
    into_clamp = (14.0 - 3.3 - schottky_v) / networks.SERIES_OHM
    assert into_clamp < 0.005
    # the rail's bleed takes what clamp and pull-up push into it
    assert into_clamp + (14.0 - 3.3) / networks.NTC_PULLUP_OHM < 3.3 / networks.BLEED_OHM
    # the filter has settled when the next tick reads: five time constants of the highest source
    assert 5.0 * (networks.SERIES_OHM + networks.NTC_PULLUP_OHM) * networks.FILTER_UF * 1e-6 < 0.1
    # leakage alone opens no gate: 2.5 V would
    assert 1e-6 * networks.GATE_PULLDOWN_OHM < 0.025
    # a supply of 20 V stays on the scale, and the setting reads it back
    assert 20.0 * networks.divided() < 3.3
    assert 20.0 * networks.divided() / 3.3 * 65535 * networks.supply_uv_per_count() == pytest.approx(20e6, rel=0.002)


def test_a_warning_lamp_makes_no_running_engine_but_a_crank_keeps_the_key() -> None:
    led_v, pull_a = 1.2, 3.3 / networks.ISOLATOR_PULLUP_OHM + 3.3 / 50_000.0  # the pin's own pull-up, RP2040 data sheet
    engine_a = max(0.0, (2.0 - networks.ZENER_V - led_v) / networks.ZENER_SERIES_OHM)
    assert engine_a == 0.0
    for volts, series, drop in (
        (9.5, networks.ZENER_SERIES_OHM, networks.ZENER_V),
        (6.0, networks.ISOLATOR_OHM, 0.0),
    ):
        assert 0.5 * (volts - drop - led_v) / series > pull_a  # the isolator's least transfer, 50 %
