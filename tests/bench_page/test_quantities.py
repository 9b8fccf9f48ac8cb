"""What is measured at the desk, against other people's formulas and against the law that uses it."""

from __future__ import annotations

import math

import pytest

from changeover.inputs import Inputs
from changeover.sensing import COOLANT, OIL_LEVEL, SUCTION
from changeover.settings import defaults
from changeover.validate import validate
from host_sim import bench_quantities as quantities
from host_sim.errors import InputError
from host_sim.signals import counts_from_c, from_physical


@pytest.mark.parametrize("kpa", [55.0, 70.0, 84.6, 95.0, 101.325, 108.0])
def test_water_boils_where_iapws_says(kpa: float) -> None:
    # IAPWS-95 as CoolProp has it
    props = pytest.importorskip("CoolProp.CoolProp")
    assert quantities.boiling_c(kpa) == pytest.approx(
        props.PropsSI("T", "P", 1000 * kpa, "Q", 0, "Water") - 273.15, abs=0.1
    )


@pytest.mark.parametrize("altitude_m", [-400.0, 0.0, 500.0, 1500.0, 3000.0])
def test_air_pressure_is_the_standard_atmosphere_s(altitude_m: float) -> None:
    # US Standard Atmosphere 1976, the same as ISO 2533 below 11 km, by the package `fluids`; its heights are geometric
    fluids = pytest.importorskip("fluids")
    assert quantities.pressure_kpa(altitude_m) == pytest.approx(fluids.ATMOSPHERE_1976(altitude_m).P / 1000, rel=3e-4)


def test_boiling_point_is_known_better_by_a_barometer_than_by_the_height() -> None:
    # 1 K for each 300 m (hardware notes, from memory)
    by_height, off_height = quantities.boiling_point(altitude_m=600.0)
    by_barometer, off_barometer = quantities.boiling_point(kpa=94.3)
    assert by_height == pytest.approx(98.0, abs=0.1)
    assert by_barometer == pytest.approx(by_height, abs=0.1)
    assert off_barometer < 0.2 < 0.5 < off_height < 1.0
    with pytest.raises(InputError, match="altitude in m, or air pressure in kPa"):
        quantities.boiling_point()


def reads(t_c: float) -> list[int]:
    """Counts of a board's own converter at this temperature, trembling."""
    return [counts_from_c(t_c) + wobble for wobble in (-3, 0, 2, -1, 1, 3, -2, 0)]


def law_reads(values: dict[str, int], channel: int, counts: list[int]) -> float:
    inputs = Inputs(values)
    for count in counts:
        row = [count] * 10
        inputs.step(row, [False] * 10)
    return inputs.channel[channel].value


def test_trim_takes_the_mean_error_away_and_says_what_stays() -> None:
    values = defaults()
    found = quantities.thermistor_trim("coolant", values, reads(1.2), reads(98.8), (97.9, 0.15))
    left = [
        abs(law_reads(values | found.settings, COOLANT, reads(read)) / 100 - true)
        for read, true in ((1.2, 0.0), (98.8, 97.9))
    ]
    assert max(left) <= found.uncertainty < 0.6
    assert max(left) < 1.2
    assert found.settings["ntc_check_recorded"] == 1
    assert found.settings["ntc_check_high_cdegc"] == 9790
    assert validate(values | found.settings) == []


@pytest.mark.parametrize(
    ("ice", "boil", "words"),
    [
        (7.0, 100.0, "coolant in ice water: found .* wanted within 5 K of 0.0 degC"),
        (0.0, 80.0, "within 5 K of 100.0 degC"),
        (-3.0, 103.5, "what no trim takes away"),
    ],
)
def test_another_sensor_is_no_calibration(ice: float, boil: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        quantities.thermistor_trim("coolant", defaults(), reads(ice), reads(boil), (100.0, 0.1))


@pytest.mark.parametrize("absolute", [0, 1])
def test_suction_reads_nothing_after_its_zero_was_set(absolute: int) -> None:
    values = defaults() | {"suction_absolute": absolute}
    if absolute:
        values["suction_zero_counts"] = values["baro_zero_counts"]
        counts = [from_physical(9, 99.0) + wobble for wobble in range(5)]
    else:
        counts = [from_physical(SUCTION, 1.8) + wobble for wobble in range(5)]
    baro_pa = 100_000 if absolute else None
    found = quantities.suction_zero(values, counts, baro_pa)
    read = law_reads(values | found.settings, SUCTION, counts)
    assert read == pytest.approx(baro_pa or 0, abs=10)
    if absolute:
        with pytest.raises(InputError, match="a trusted reading"):
            quantities.suction_zero(values, counts)
    with pytest.raises(InputError, match="within 10 kPa"):
        quantities.suction_zero(values, [20000] * 5, 100_000)


def test_level_reads_empty_and_full_at_its_ends() -> None:
    values = defaults() | {"fit_oil_level": 1}
    found = quantities.level_ends("oil", [5000, 5002, 4998, 5001, 4999], [51000, 51004, 50996, 51000, 51000])
    after = values | found.settings
    assert law_reads(after, OIL_LEVEL, [5000] * 6) == 0
    assert law_reads(after, OIL_LEVEL, [51000] * 6) == 1000
    assert found.uncertainty < 0.1
    with pytest.raises(InputError, match="2000 counts more"):
        quantities.level_ends("oil", [5000] * 5, [6000] * 5)


def test_flow_by_jar_is_volume_over_time_and_refuses_what_does_not_repeat() -> None:
    found = quantities.flow_by_jar([(480.0, 60.0), (486.0, 60.0)], 10.0)
    assert found.settings == {"flow_measured_ul_s": 8050}  # 483 mL in 60 s
    # 10 mL of 480 and 0.5 s of 60, as squares, and half of what the two differ: by hand
    by_hand = 8050 * math.hypot(10 / 480, 0.5 / 60)
    assert found.uncertainty == pytest.approx(math.hypot(by_hand, 50.0))
    with pytest.raises(InputError, match="agree within 5 %"):
        quantities.flow_by_jar([(480.0, 60.0), (520.0, 60.0)], 10.0)
    with pytest.raises(InputError, match="two or more"):
        quantities.flow_by_jar([(480.0, 60.0)], 10.0)
    with pytest.raises(InputError, match="a larger jar, a longer time"):
        quantities.flow_by_jar([(50.0, 10.0), (50.0, 10.0)], 10.0)


def test_path_is_the_sum_of_cylinders_and_the_setting_its_upper_end() -> None:
    found = quantities.path_volume([(10.0, 1.0), (8.0, 2.0)])
    by_hand = math.pi / 4 * (10.0**2 * 1.0 + 8.0**2 * 2.0) * 1000  # mm2 m is mL
    assert found.value == pytest.approx(by_hand)
    largest = math.pi / 4 * (10.2**2 * 1.02 + 8.2**2 * 2.02) * 1000
    assert found.settings["path_ul"] == pytest.approx(largest, rel=0.002)
    for piece in ((1.0, 1.0), (8.0, 0.0), (8.0, 30.0)):
        with pytest.raises(InputError, match="a bore of 2 to 50 mm"):
            quantities.path_volume([piece])
    with pytest.raises(InputError, match="bore and length of at least one"):
        quantities.path_volume([])


def test_readings_from_a_part_that_does_not_answer_are_none() -> None:
    with pytest.raises(InputError, match="a part that answers"):
        quantities.mean_counts([5000, 5000, -1, 5000, 5000])
