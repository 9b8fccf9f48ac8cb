"""Random trips: drawn from their number alone, within the spread, and written so that they can be driven again."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from host_sim import signals
from host_sim.campaign import Trip, check_spread, draw, scenario_toml
from host_sim.campaign_totals import wilson
from host_sim.catalogue import BY_ID
from host_sim.drive import Drive
from host_sim.errors import InputError
from host_sim.fluids import D341, changeover_temperatures
from host_sim.hazards import THICK_MM2_S
from host_sim.profile import load_profile
from host_sim.scenario import SCENARIOS, Scenario, Stop, load_scenario
from host_sim.scenario import Drive as Leg
from host_sim.spread import Spread
from host_sim.tables import Range

OURS = ["winter_commute", "summer_commute"]
MANY = 300


@cache
def based_on(name: str) -> tuple[Scenario, Spread]:
    """A scenario and its checked spread."""
    base = load_scenario(name)
    return base, check_spread(base, name)


def trips(name: str, seed: int = 1, faults: int = 0, count: int = MANY) -> list[Trip]:
    base, spread = based_on(name)
    return [draw(base, spread, seed, number, faults) for number in range(count)]


def test_a_trip_is_its_seed_and_number_whatever_came_before() -> None:
    first, again = trips("winter_commute", count=20), trips("winter_commute", count=20)
    assert first == again
    assert draw(*based_on("winter_commute"), 1, 17) == first[17]
    assert len({trip.scenario.seed for trip in (*first, *trips("winter_commute", seed=2, count=20))}) == 40


def test_a_fault_changes_nothing_else_of_the_trip() -> None:
    for sound, broken in zip(
        trips("winter_commute", count=40), trips("winter_commute", faults=1, count=40), strict=True
    ):
        same = {"title": sound.scenario.title, "faults": sound.scenario.faults}
        assert broken.scenario.model_copy(update=same) == sound.scenario
        assert len(broken.scenario.faults) == 1


@pytest.mark.parametrize("name", OURS)
def test_drawn_numbers_fill_their_ranges_and_stay_within(name: str) -> None:
    _, spread = based_on(name)
    drawn = [trip.scenario for trip in trips(name)]
    seen: list[tuple[Range, list[float]]] = [
        (spread.ambient_c, [found.weather.ambient_c.value for found in drawn]),
        (spread.swing_k, [found.weather.swing_k.value for found in drawn]),
        (spread.start_hour, [found.weather.start_hour for found in drawn]),
        (spread.soak_h, [found.start.soak_h for found in drawn]),
        (spread.cabin_heater, [found.cabin_heater for found in drawn]),
        (spread.oil_level, [found.start.oil_level for found in drawn]),
        (spread.diesel_level, [found.start.diesel_level for found in drawn]),
        (spread.filter_litres, [found.start.filter_litres for found in drawn]),
        *((found, [other.car_overrides[key].value for other in drawn]) for key, found in spread.car.items()),
        *(
            (found, [getattr(other.sensors, key).value for other in drawn])
            for key, found in spread.sensors
            if found is not None
        ),
    ]
    stops = [step for found in drawn for step in found.trip if isinstance(step, Stop)]
    legs = [step for found in drawn for step in found.trip if isinstance(step, Leg)]
    for pattern, minutes, kmh in (
        ("town", spread.town_minutes, spread.town_kmh),
        ("road", spread.road_minutes, spread.road_kmh),
    ):
        of_it = [leg for leg in legs if leg.pattern == pattern]
        seen += [(minutes, [leg.minutes for leg in of_it]), (kmh, [leg.speed_kmh for leg in of_it])]
    seen.append((spread.stop_minutes, [stop.minutes for stop in stops]))
    for found, numbers in seen:
        assert found.low <= min(numbers) <= found.at(0.02)
        assert found.at(0.98) <= max(numbers) <= found.high
    assert {found.driver for found in drawn} == set(spread.drivers)
    assert {sum(isinstance(step, Stop) for step in found.trip) for found in drawn} == set(
        range(int(spread.drives.low), int(spread.drives.high) + 1)
    )
    forgot = sum(stop.purge == "none" for stop in stops)
    low, high = wilson(forgot, len(stops))
    assert low <= spread.forgets_purge.value <= high
    low, high = wilson(sum(stop.purge == "driving" for stop in stops), len(stops) - forgot)
    assert low <= spread.purges_driving.value <= high


@pytest.mark.parametrize("name", OURS)
def test_the_thickest_oil_and_the_worst_oil_sensor_stay_within_what_the_settings_allow_for(name: str) -> None:
    """Else a hazard would tell of settings that do not fit the car, and of nothing else."""
    base, spread = based_on(name)
    cool, warm = spread.car["fuels.oil_cool_nu"], spread.car["fuels.oil_warm_nu"]
    assert cool.together == warm.together is not None
    thickest = changeover_temperatures(D341.from_points(40.0, cool.high, 100.0, warm.high), THICK_MM2_S)
    assert spread.sensors.oil is not None
    assert thickest + spread.sensors.oil.high <= load_profile(base.profile)["oil_exit_cdegc"] / 100.0
    for trip in trips(name, count=30):
        values = trip.scenario.car_overrides
        place = (values["fuels.oil_cool_nu"].value - cool.low) / (cool.high - cool.low)
        assert values["fuels.oil_warm_nu"].value == pytest.approx(warm.at(place), abs=1e-4)


def test_faults_are_of_the_catalogue_and_begin_while_the_car_drives() -> None:
    drawn = trips("winter_commute", faults=2)
    assert len({name for trip in drawn for name in trip.fault_ids}) > 0.9 * len(BY_ID)
    for trip in drawn:
        assert len(set(trip.fault_ids)) == 2
        assert trip.may_pass == {hazard for name in trip.fault_ids for hazard in BY_ID[name].may_pass}
        for name, row in zip(trip.fault_ids, trip.scenario.faults, strict=True):
            assert name in trip.scenario.title
            assert row.as_fault() == BY_ID[name].fault(round(1000 * row.onset_s))
            assert _drives_at(trip.scenario, row.onset_s)


def _drives_at(scenario: Scenario, t_s: float) -> bool:
    """Within a drive, by the trip's steps alone; the onset is a whole second."""
    begin_s = 3600.0 * scenario.start.soak_h
    for step in scenario.trip:
        end_s = begin_s + 60.0 * getattr(step, "minutes", 0.0)
        if isinstance(step, Leg) and begin_s - 0.5 <= t_s <= end_s + 0.5:
            return True
        begin_s = end_s
    return False


@pytest.mark.parametrize("faults", [0, 2])
def test_a_drawn_trip_comes_back_from_its_file_as_it_was(tmp_path: Path, faults: int) -> None:
    path = tmp_path / "trip.toml"
    for trip in trips("summer_commute", faults=faults, count=20):
        path.write_text(scenario_toml(trip.scenario), encoding="utf-8")
        assert load_scenario(path) == trip.scenario


def test_a_range_is_even_or_even_in_its_logarithm() -> None:
    even = Range(low=2.0, high=32.0, unit="1", source="a test")
    log = even.model_copy(update={"shape": "log"})
    assert [even.at(place) for place in (0.0, 0.5, 1.0)] == [2.0, 17.0, 32.0]
    assert [log.at(place) for place in (0.0, 0.25, 0.5, 1.0)] == pytest.approx([2.0, 4.0, 8.0, 32.0])


def test_a_sensor_within_its_tolerance_reads_that_much_beside_the_truth() -> None:
    data = load_scenario("winter_commute").model_dump()
    data["sensors"] = {
        name: {"value": size, "unit": "kPa" if name == "suction" else "K", "source": "a test"}
        for name, size in OFFSETS.items()
    }
    sound = Drive(load_scenario("winter_commute"), load_profile("full_guard"))
    off = Drive(Scenario.model_validate(data), load_profile("full_guard"))
    for drive in (sound, off):
        drive.run(30.0)
    for index, name in enumerate(signals.ANALOG_NAMES):
        beside = signals.to_physical(index, off.signals.raw[index]) - signals.to_physical(
            index, sound.signals.raw[index]
        )
        assert beside == pytest.approx(OFFSETS.get(name, 0.0), abs=0.06 if name in OFFSETS else 1e-9), name
    with pytest.raises(ValueError, match="supply"):
        off.signals.offset(signals.SUPPLY, 1.0)


OFFSETS = {"coolant": 1.5, "oil": -0.8, "oil_tank": 0.6, "pump_inlet": -2.0, "ambient": 1.0, "suction": 0.5}


@pytest.mark.parametrize(
    ("edit", "place", "value", "wanted"),
    [
        (("low = -11, high = 3", "low = 5, high = 3"), "spread.ambient_c.high", 3, "at least low, 5"),
        (("low = -11, high = 3", "low = -60, high = 3"), "spread.ambient_c.low", -60, "-40 to 50 degC"),
        (("low = 2, high = 720", "low = 0, high = 720"), "spread.stop_minutes.low", 0, "more than 0 for shape log"),
        (('unit = "min", shape', 'unit = "h", shape'), "spread.stop_minutes.unit", "h", "unit 'min'"),
        (("value = 0.15", "value = 1.5"), "spread.forgets_purge.value", 1.5, "0 to 1 1"),
        (('drivers = ["calm", "brisk"]', "drivers = []"), "spread.drivers", [], "at least 1 item"),
        (('"brisk"]', '"wild"]'), "spread.drivers", "wild", "brisk, calm"),
        (('"tanks.coil_w_k"', '"tanks.coil"'), "spread.car: car coefficient", "tanks.coil", "dotted key"),
        (('high = 160, unit = "W/K"', 'high = 160, unit = "kW/K"'), "spread.car: car_overrides.tanks.coil_w_k.unit", "kW/K", "'W/K'"),
        (
            ("[spread.car]", '[spread.car]\n"oil_line.filter_clean_pa" = { low = 2000, high = 25000, unit = "Pa", source = "test" }'),
            "spread.car: car coefficients: oil_line.filter_loaded_pa.value", 24000, "more than filter_clean_pa",
        ),
    ],
)  # fmt: skip
def test_a_wrong_spread_is_refused_with_key_value_and_what_would_be_right(
    tmp_path: Path, edit: tuple[str, str], place: str, value: Any, wanted: str
) -> None:
    text = (SCENARIOS / "winter_commute.toml").read_text(encoding="utf-8")
    assert edit[0] in text
    path = tmp_path / "story.toml"
    path.write_text(text.replace(*edit, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        check_spread(load_scenario(path), str(path))
    assert caught.value.place == f"{path}: {place}"
    assert caught.value.value == value
    assert wanted in caught.value.wanted


def test_a_scenario_without_a_spread_has_nothing_to_draw_from() -> None:
    with pytest.raises(InputError, match=r"forgotten_purge: spread: found 'nothing'; wanted a table \[spread\]"):
        check_spread(load_scenario("forgotten_purge"), "forgotten_purge")
