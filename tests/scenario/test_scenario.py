"""Scenario files: the project's own load; a wrong one is refused with file, key, value and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from host_sim.driver import DriverSpec, load_driver
from host_sim.errors import InputError
from host_sim.faults import KINDS
from host_sim.scenario import DRIVERS, SCENARIOS, Drive, Stop, load_scenario, load_table, names_in
from host_sim.weather import ambient_at

OURS = names_in(SCENARIOS)


def test_the_four_stories_are_there():
    assert set(OURS) >= {"winter_commute", "summer_commute", "mountain_cold_line", "forgotten_purge"}


@pytest.mark.parametrize("name", OURS)
def test_every_scenario_of_the_project_loads_with_its_car_and_driver(name):
    scenario = load_scenario(name)
    assert load_scenario(SCENARIOS / f"{name}.toml") == scenario
    assert load_driver(scenario.driver).title
    for key, value in scenario.car_overrides.items():
        section, coefficient = key.split(".")
        assert getattr(getattr(scenario.car_spec(), section), coefficient) == value


def test_what_each_story_is_about_happens_in_it():
    winter, cold_line = load_scenario("winter_commute"), load_scenario("mountain_cold_line")
    assert winter.weather.ambient_c.value == -10
    stops = [step for step in winter.trip if isinstance(step, Stop)]
    assert any(stop.minutes == 60 for stop in stops[:-1])
    assert all(stop.purge == "idle" for stop in stops)
    assert load_scenario("summer_commute").weather.ambient_c.value > 15
    assert "oil_line.hose_exchange_w_k" in cold_line.car_overrides
    hills = [step.grade_percent for step in cold_line.trip if isinstance(step, Drive) and step.pattern == "hill"]
    assert min(hills) < 0 < max(hills)
    forgotten = [step for step in load_scenario("forgotten_purge").trip if isinstance(step, Stop)]
    assert (forgotten[0].purge, forgotten[0].minutes) == ("none", 240)


GOOD = """
title = "A test"
about = "One drive."
car = "estate_1_9"
driver = "calm"
layout = "tank_return"
profile = "default"
seed = 1
[weather]
ambient_c = { value = 5, unit = "degC", source = "invented" }
swing_k = { value = 10, unit = "K", source = "invented" }
start_hour = 9
[[trip]]
do = "selector"
position = "READY"
[[trip]]
do = "drive"
minutes = 10
pattern = "road"
speed_kmh = 80
"""


@pytest.fixture
def refused(tmp_path: Path):
    def refused(text: str) -> InputError:
        path = tmp_path / "story.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            load_scenario(path)
        assert caught.value.place.startswith(str(path))
        assert "Traceback" not in str(caught.value)
        return caught.value

    return refused


def test_the_good_one_is_good(tmp_path):
    path = tmp_path / "story.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert load_scenario(path).title == "A test"
    assert load_scenario(str(path)).fault_list() == []


FAULT = '\n[[faults]]\nkind = "{}"\nonset_s = 60\n{}\n'


@pytest.mark.parametrize(
    ("change", "place", "value", "wanted"),
    [
        (("seed = 1", "seed = 1.5"), "seed", 1.5, "integer"),
        (("seed = 1\n", ""), "seed", "nothing", "the key 'seed'"),
        (("seed = 1", "sede = 1"), "sede", "sede", "misspelling"),
        (("seed = 1", "seed = -1"), "seed", -1, "greater than or equal to 0"),
        (('layout = "tank_return"', 'layout = "loop"'), "layout", "loop", "looped_return"),
        (("value = 5", "value = 99"), "weather.ambient_c.value", 99, "-40 to 50 degC"),
        (("value = 5", 'value = "5"'), "weather.ambient_c.value", "5", "number"),
        (('unit = "degC"', 'unit = "degF"'), "weather.ambient_c.unit", "degF", "unit 'degC'"),
        (
            ('unit = "degC", source = "invented"', 'unit = "degC"'),
            "weather.ambient_c.source",
            "nothing",
            "the key 'source'",
        ),
        (("start_hour = 9", "start_hour = 24"), "weather.start_hour", 24, "less than 24"),
        (('do = "drive"', 'do = "fly"'), "trip[2].do", "fly", "one of drive, stop, press, selector"),
        (('do = "drive"\n', ""), "trip[2].do", "nothing", "one of drive, stop, press, selector"),
        (("minutes = 10", "minutes = 0"), "trip[2].minutes", 0, "greater than 0"),
        (("minutes = 10\n", ""), "trip[2].minutes", "nothing", "the key 'minutes'"),
        (("minutes = 10", "minuets = 10"), "trip[2].minuets", "minuets", "misspelling"),
        (('pattern = "road"', 'pattern = "rally"'), "trip[2].pattern", "rally", "town"),
        (("speed_kmh = 80", "speed_kmh = 5"), "trip[2].speed_kmh", 5, "10 to 180"),
        (('"road"', '"idle"'), "trip[2].speed_kmh", 80, "0, or left out"),
        (('position = "READY"', 'position = "OIL"'), "trip[1].position", "OIL", "READY"),
        (('car = "estate_1_9"', 'car = "hearse"'), "car", "hearse", "estate_1_9"),
        (('car = "estate_1_9"', 'car = "../x"'), "car", "../x", "pattern"),
        (('driver = "calm"', 'driver = "wild"'), "driver", "wild", "calm"),
        (("[weather]", "[start]\noil_level = 1.2\n[weather]"), "start.oil_level", 1.2, "less than or equal to 1"),
        (
            ("[weather]", '[car_overrides]\n"engine.horses" = {value = 1, unit = "1", source = "test"}\n[weather]'),
            "car coefficient",
            "engine.horses",
            "dotted key",
        ),
        (
            ("[weather]", '[car_overrides]\n"valves.travel_s" = {value = 1, unit = "ms", source = "test"}\n[weather]'),
            "car_overrides.valves.travel_s.unit",
            "ms",
            "unit 's'",
        ),
        (
            ("[weather]", '[car_overrides]\n"valves.travel_s" = {value = 100, unit = "s", source = "test"}\n[weather]'),
            "car coefficients: valves.travel_s.value",
            100,
            "0.05 to 10 s",
        ),
        (("speed_kmh = 80", "speed_kmh = 80" + FAULT.format("loose", "")), "faults[1].kind", "loose", "one of open"),
        (
            ("speed_kmh = 80", "speed_kmh = 80" + FAULT.format("open", 'channel = "oyl"')),
            "faults[1].channel",
            "oyl",
            "coolant",
        ),
        (
            ("speed_kmh = 80", "speed_kmh = 80" + FAULT.format("offset", 'channel = "oil"')),
            "faults[1].size",
            None,
            "-100 to 100",
        ),
        (("speed_kmh = 80", "speed_kmh = 80\nminutes = 5"), "", None, "TOML"),
    ],
)
def test_wrong_scenario_is_refused_with_key_value_and_what_would_be_right(refused, change, place, value, wanted):
    text = GOOD.replace(*change)
    assert text != GOOD
    error = refused(text)
    assert error.place.partition("story.toml")[2].removeprefix(": ") == place
    assert value is None or error.value == value
    assert wanted in error.wanted


def test_a_trip_longer_than_a_month_is_refused(refused):
    stop = '\n[[trip]]\ndo = "stop"\nminutes = 20000\n'
    assert "at most 720 h" in refused(GOOD + 3 * stop).wanted


@pytest.mark.parametrize("blob", [b"\xff\xfe", b"", b"title = "])
def test_a_file_that_is_no_scenario_is_refused(tmp_path, blob):
    path = tmp_path / "story.toml"
    path.write_bytes(blob)
    with pytest.raises(InputError, match=r"story\.toml"):
        load_scenario(path)


def test_unknown_name_lists_what_there_is_and_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match="winter_commute"):
        load_scenario("no_such_story")
    with pytest.raises(InputError, match=r"nothing\.toml"):
        load_scenario(tmp_path / "nothing.toml")
    with pytest.raises(InputError, match="readable TOML"):
        load_scenario(f"{tmp_path}/")


def test_driver_file_with_a_wrong_unit_is_refused(tmp_path):
    path = tmp_path / "driver.toml"
    path.write_text((DRIVERS / "calm.toml").read_text().replace('unit = "kg"', 'unit = "t"'))
    with pytest.raises(InputError, match=r"mass_kg\.unit.*'t'.*unit 'kg'"):
        load_table(path, DriverSpec, "a driver")


@pytest.mark.parametrize("kind", ["open", "swapped", "ground_lifted", "supply_stuck", "heater_dead"])
def test_fault_row_becomes_the_injectors_fault(tmp_path, kind):
    more = {
        "open": 'channel = "oil"',
        "swapped": 'channel = "oil"\nother = "coolant"',
        "supply_stuck": "size = 1",
        "ground_lifted": "size = 5",
    }.get(kind, "")
    path = tmp_path / "story.toml"
    path.write_text(GOOD + FAULT.format(kind, more + "\nduration_s = 1.5"))
    (fault,) = load_scenario(path).fault_list()
    assert fault.kind == kind
    assert kind in KINDS
    assert (fault.onset_ms, fault.duration_ms) == (60_000, 1500)


def test_day_is_warmest_in_the_afternoon_and_swings_about_its_mean(tmp_path):
    path = tmp_path / "story.toml"
    path.write_text(GOOD)
    weather = load_scenario(path).weather
    day = [ambient_at(weather, 60.0 * minute) for minute in range(24 * 60)]
    assert sum(day) / len(day) == pytest.approx(5.0, abs=1e-6)
    assert max(day) - min(day) == pytest.approx(10.0, abs=1e-3)
    assert day.index(max(day)) == pytest.approx((15 - 9) * 60, abs=1)
