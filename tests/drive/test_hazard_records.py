"""What a hazard that passed its limit says of itself: when, how much, of which limit, in which unit and words.

Ticks of an eighth of a second: sums of them are exact, so that a limit can be met and not passed.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from changeover import messages, rows
from host_sim.fluids import refutas_index
from host_sim.hazards import NAMES, Hazard
from tests.drive import test_hazards
from tests.drive.test_hazards import Stage

TICK_S = 0.125

# name: (what happens from the first tick on; id, s until it is found, value then, limit, unit, text)
Case = tuple[Callable[[Stage], None], tuple[str, float, float, float, str, str]]
CASES: dict[str, Case] = {
    "thick fuel": (
        lambda stage: after_a_tick(stage).drive(5.125, pump_mm2_s=20.01, inside_oil=1.0),
        ("H1", 5.25, 51.25, 50.0, "mL", "thick fuel through the pump"),
    ),
    "cold start": (
        lambda stage: stage.drive(TICK_S, inside_mm2_s=45.0),
        ("H2", TICK_S, 45.0, 30.0, "mm2/s", "left between supply valve and injectors"),
    ),
    "oil in the diesel": (
        lambda stage: stage.drive(TICK_S, oil_into_diesel_tank_worst=801.0),
        ("H3", TICK_S, 801.0 / 40_000.0, 0.02, "share of the tank", "oil in the diesel tank"),
    ),
    "oil in the diesel of an empty tank": (
        lambda stage: stage.drive(TICK_S, oil_into_diesel_tank_worst=0.5, diesel_ul=0.0),
        ("H3", TICK_S, 0.5, 0.02, "share of the tank", "oil in the diesel tank"),
    ),
    "starved": (
        lambda stage: stage.drive(3.125, pump_suction_pa=40_000.5),
        ("H4", 3.125, 3.125, 3.0, "s", "suction above 40 kPa"),
    ),
    "air": (
        lambda stage: stage.drive(2.125, air_at_pump=True),
        ("H4", 2.125, 2.125, 2.0, "s", "air at the pump"),
    ),
    "metal": (
        lambda stage: stage.drive(TICK_S, heater_metal_c=110.5),
        ("H5", TICK_S, 110.5, 110.0, "degC", "heater metal"),
    ),
    "heater alone": (
        lambda stage: stage.park(2.125, heater_on=True),
        ("H5", 2.125, 2.125, 2.0, "s", "heater on with the engine off"),
    ),
    "battery": (
        lambda stage: stage.drive(TICK_S, heater_on=True, battery_charge=0.45),
        ("H5", TICK_S, 0.55, 0.5, "share", "battery below its restart reserve"),
    ),
    "held too long": (
        lambda stage: stage.run(121.125, key_on=False, engine_running=True),
        ("H6", 121.125, 121.125, 121.0, "s", "engine held running too long"),
    ),
    "oil nobody holds": (
        lambda stage: stage.run(3.125, supply_valve_pos=0.51),
        ("H7", 3.125, 3.125, 3.0, "s", "supply valve on oil without command"),
    ),
    "untrue": (
        lambda stage: stage.run(10.125, message=rows.OIL_LOW),
        ("H8", 10.125, 10.125, 10.0, "s", messages.ENGLISH[rows.OIL_LOW][0]),
    ),
    "supply valve": (
        lambda stage: stage.drive(3.125, supply_pin=True),
        ("H9", 3.125, 3.125, 3.0, "s", "supply valve"),
    ),
    "return valve": (
        lambda stage: stage.drive(3.125, return_pin=True),
        ("H9", 3.125, 3.125, 3.0, "s", "return valve"),
    ),
    "oil tank": (
        lambda stage: stage.park(TICK_S, oil_level=0.975),
        ("H10", TICK_S, 0.975, 0.97, "share", "oil tank"),
    ),
    "diesel tank": (
        lambda stage: stage.park(TICK_S, diesel_level=0.975),
        ("H10", TICK_S, 0.975, 0.97, "share", "diesel tank"),
    ),
}


@pytest.fixture(autouse=True)
def exact_ticks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(test_hazards, "TICK_S", TICK_S)


def after_a_tick(stage: Stage) -> Stage:
    """The engine runs on clean lines already."""
    stage.drive(TICK_S)
    return stage


def staged() -> Stage:
    stage = Stage(fit_supply_contact=1, fit_return_contact=1, run_on_s=60, path_ul=300_000)
    stage.untrue = {rows.OIL_LOW}
    return stage


def check(hazard: Hazard, expected: tuple[str, float, float, float, str, str]) -> None:
    name, time_s, value, limit, unit, text = expected
    assert (hazard.id, hazard.unit, hazard.text, hazard.name) == (name, unit, text, NAMES[name])
    assert (hazard.time_s, hazard.value, hazard.limit) == pytest.approx((time_s, value, limit))
    assert not hazard.told


@pytest.mark.parametrize("case", CASES)
def test_hazard_says_when_how_much_and_in_which_words(case: str) -> None:
    stage = staged()
    happens, expected = CASES[case]
    happens(stage)
    [hazard] = stage.monitors.found
    check(hazard, expected)
    assert stage.monitors.margins[expected[0]] == pytest.approx(expected[2] / expected[3])
    assert {name for name, margin in stage.monitors.margins.items() if margin > 1.0} == {expected[0]}


def test_hazards_that_need_a_past_say_the_same() -> None:
    lost = staged()
    lost.drive(TICK_S, oil_into_diesel_tank_worst=100.0)
    lost.board.powered = False
    lost.drive(TICK_S, oil_into_diesel_tank_worst=401.0)
    check(
        lost.monitors.found[0],
        ("H3", 0.25, 301.0, 300.0, "mL", "oil into the diesel tank while the board had no power"),
    )
    outside = staged()
    outside.car.run_on.brake_applied = False
    outside.run(1.125, key_on=False, engine_running=True)
    check(outside.monitors.found[0], ("H6", 1.125, 1.125, 1.0, "s", "engine held running outside its interlocks"))
    forgotten = staged()
    forgotten.remembers = False
    forgotten.park(TICK_S, inside_oil=0.9)
    check(
        forgotten.monitors.found[0],
        ("H7", TICK_S, 0.9, 1.0 / 6.0, "share", "oil in the lines, and the record says none"),
    )


def test_limits_are_no_hazard_themselves() -> None:
    """Exactly on the limit nothing is found, and the margin is 1."""
    for happens, name in (
        (lambda stage: after_a_tick(stage).drive(5.0, pump_mm2_s=25.0, inside_oil=1.0), "H1"),
        (lambda stage: stage.drive(TICK_S, heater_metal_c=110.0), "H5"),
        (lambda stage: stage.park(TICK_S, oil_level=0.97), "H10"),
        (lambda stage: stage.drive(TICK_S, oil_into_diesel_tank_worst=800.0), "H3"),
        (lambda stage: stage.drive(3.0, pump_suction_pa=40_000.5), "H4"),
        (lambda stage: stage.drive(2.0, air_at_pump=True), "H4"),
        (lambda stage: stage.park(2.0, heater_on=True), "H5"),
        (lambda stage: stage.drive(TICK_S, heater_on=True, battery_charge=0.5), "H5"),
        (lambda stage: stage.run(121.0, key_on=False, engine_running=True), "H6"),
        (lambda stage: stage.run(3.0, supply_valve_pos=0.51), "H7"),
        (lambda stage: stage.run(10.0, message=rows.OIL_LOW), "H8"),
        (lambda stage: stage.drive(3.0, supply_pin=True), "H9"),
    ):
        stage = staged()
        happens(stage)
        assert stage.found == []
        assert stage.monitors.margins[name] == pytest.approx(1.0)


def test_nothing_is_found_and_no_margin_used_before_the_first_tick() -> None:
    monitors = staged().monitors
    assert monitors.found == []
    assert monitors.margins == dict.fromkeys(NAMES, 0.0)
    assert list(NAMES) == [f"H{number}" for number in range(1, 11)]


def test_margin_of_a_start_is_that_of_what_stands_in_the_lines() -> None:
    stage = staged()
    stage.drive(TICK_S, inside_mm2_s=12.0)
    assert stage.monitors.margins["H2"] == pytest.approx(0.4)
    stage.drive(TICK_S, inside_mm2_s=24.0)
    assert stage.monitors.margins["H2"] == pytest.approx(0.4), "judged at the start alone"
    stage.park(TICK_S)
    stage.drive(TICK_S, inside_mm2_s=6.0)
    assert stage.monitors.margins["H2"] == pytest.approx(0.4), "the worst stays"


def test_thick_fuel_is_counted_by_the_flow_of_the_pump() -> None:
    stage = after_a_tick(staged())
    stage.drive(1.0, pump_mm2_s=25.0, inside_oil=1.0, feed_ul_s=20_000.0)
    assert stage.monitors.margins["H1"] == pytest.approx(20.0 / 50.0)
    stage.car.pump_index_worst = refutas_index(10.0)
    stage.drive(TICK_S)
    stage.car.pump_index_worst = refutas_index(25.0)
    stage.drive(0.5)
    assert stage.monitors.margins["H1"] == pytest.approx(20.0 / 50.0), "thin fuel ends an event"


def test_second_event_of_a_kind_is_a_second_entry() -> None:
    stage = staged()
    for level in (0.975, 0.9, 0.98, 0.972):
        stage.park(TICK_S, oil_level=level)
    assert [(hazard.time_s, hazard.value) for hazard in stage.monitors.found] == [
        (TICK_S, 0.975),
        (3 * TICK_S, 0.98),
    ]
    starts = staged()
    for _ in range(2):
        starts.park(TICK_S, inside_mm2_s=45.0)
        starts.drive(TICK_S)
    assert [name for name, _ in starts.found] == ["H2", "H2"]


# counts that begin anew, and limits that are met


def test_values_on_their_limit_count_for_nothing_however_long() -> None:
    for truth in (
        {"pump_suction_pa": 40_000.0},
        {"pump_suction_pa": 40_000.0, "inside_oil": 0.1},
        {"pump_mm2_s": 20.0, "inside_oil": 0.1},
        {"supply_valve_pos": 0.5},
        {"supply_valve_pos": 0.5, "command_supply_oil": True},
        {"return_valve_pos": 0.5},
    ):
        stage = staged()
        stage.drive(120.0, **truth)
        assert stage.found == [], truth


def test_thick_fuel_counts_from_the_first_tick_of_all() -> None:
    stage = staged()
    stage.drive(5.0, pump_mm2_s=25.0, inside_oil=0.1)
    assert stage.found == []
    stage.drive(TICK_S)
    assert stage.found == [("H1", False)]


@pytest.mark.parametrize(("inside", "restart"), [(1.0 / 6.0, False), (0.17, True)])
def test_restart_is_one_on_more_than_a_sixth_of_oil(inside: float, restart: bool) -> None:
    stage = staged()
    stage.drive(6.0, pump_mm2_s=25.0, inside_oil=inside)  # key on and engine running at once
    assert stage.found == ([] if restart else [("H1", False)])


def test_restart_lasts_while_a_sixth_of_oil_is_inside() -> None:
    stage = staged()
    stage.drive(TICK_S, pump_mm2_s=25.0, inside_oil=0.8)
    stage.drive(6.0, inside_oil=1.0 / 6.0)
    assert stage.found == []
    stage.drive(6.0, inside_oil=0.16)
    assert stage.found == [("H1", False)]


@pytest.mark.parametrize("valve", ["supply", "return"])
def test_parked_car_ends_the_count_of_a_valve_that_is_away_but_key_on_does_not(valve: str) -> None:
    stage = staged()
    stage.drive(2.875, **{f"{valve}_pin": True})
    stage.park(TICK_S)
    stage.drive(3.0)
    assert stage.found == []
    stage.park(TICK_S)
    stage.run(3.0, key_on=True, engine_running=False)
    assert stage.found == []
    stage.run(TICK_S)
    assert stage.found == [("H9", False)]


def test_valve_back_in_its_place_and_engine_off_begin_their_counts_anew() -> None:
    alone = staged()
    alone.run(2.875, supply_valve_pos=0.51)
    alone.run(TICK_S, supply_valve_pos=0.0)
    alone.run(3.0, supply_valve_pos=0.51)
    assert alone.found == []
    for name, truth in (("H4", {"air_at_pump": True}), ("H4", {"pump_suction_pa": 50_000.0})):
        stage = staged()
        stage.drive(1.875, **truth)
        stage.park(TICK_S)
        stage.drive(2.0)
        assert stage.found == []
        stage.drive(1.125)
        assert stage.found == [(name, False)]


def test_held_on_engine_has_its_second_from_the_switch_that_opens() -> None:
    stage = staged()
    stage.run(5.0, key_on=False, engine_running=True)
    stage.car.run_on.brake_applied = False
    stage.run(1.0)
    assert stage.found == []
    stage.drive(TICK_S)
    stage.run(1.0, key_on=False)
    assert stage.found == []
    stage.run(TICK_S)
    assert stage.found == [("H6", False)]
    shortest = Stage(run_on_s=1)
    shortest.run(5.0, key_on=False, engine_running=True)
    assert shortest.found == []


def test_oil_that_came_while_the_board_had_no_power_counts_from_the_last_that_it_saw() -> None:
    stage = staged()
    stage.board.powered = False
    stage.drive(TICK_S, oil_into_diesel_tank_worst=300.5)
    assert stage.found == [("H3", False)]


def test_air_after_the_driver_was_told_that_a_tank_is_low_is_told_in_that_trip() -> None:
    for between, told in (("nothing", True), ("key off and on", False)):
        stage = Stage()
        stage.drive(TICK_S, message=rows.OIL_LOW, oil_level=0.04)
        if between == "key off and on":
            stage.park(TICK_S, message=messages.PARKED_CLEAN)
        stage.drive(TICK_S, message=messages.ON_OIL)
        stage.drive(2.125, air_at_pump=True)
        assert stage.found == [("H4", told)]


@pytest.mark.parametrize(("level", "told"), [(0.0499, True), (0.05, False)])
def test_air_is_told_only_where_a_tank_is_nearly_empty(level: float, told: bool) -> None:
    stage = Stage()
    stage.drive(TICK_S, message=rows.OIL_LOW, oil_level=level)
    stage.drive(2.125, air_at_pump=True)
    assert stage.found == [("H4", told)]


@pytest.mark.parametrize(("inside", "told"), [(0.52, True), (0.521, False)])
def test_left_over_oil_is_told_until_more_than_a_trace_has_joined_it(inside: float, told: bool) -> None:
    stage = Stage()
    stage.drive(TICK_S, inside_oil=0.5)
    stage.park(TICK_S, message=messages.OIL_LEFT)
    stage.drive(TICK_S, message=messages.PURGING)
    stage.drive(6.0, pump_mm2_s=31.0, inside_oil=inside)
    assert stage.found == [("H1", told)]


def full_tank(stage: Stage) -> Stage:
    """A purge is owed, and its tank has no room: true, and said."""
    stage.drive(TICK_S, message=rows.NO_ROOM)
    return stage


@pytest.mark.parametrize(
    ("before", "since_ml", "told"),
    [
        (full_tank, 801.0, True),
        (lambda stage: stage.drive(TICK_S, oil_into_diesel_tank_worst=800.0) or full_tank(stage), 0.5, True),
        (lambda stage: stage.drive(TICK_S, message=messages.ON_OIL) or stage, 801.0, False),
        (lambda stage: full_tank(stage).park(TICK_S, message=messages.PARKED_CLEAN) or stage, 801.0, False),
        (lambda stage: stage.untrue.add(rows.NO_ROOM) or full_tank(stage), 801.0, False),
    ],
    ids=["told", "told before the last drop of it", "another message", "told in the last trip", "told, but untrue"],
)  # fmt: skip
def test_oil_in_the_diesel_is_told_where_the_driver_went_on_with_a_full_tank(
    before: Callable[[Stage], Stage], since_ml: float, told: bool
) -> None:
    stage = before(Stage())
    stage.drive(
        TICK_S, message=messages.ON_OIL, oil_into_diesel_tank_worst=stage.car.oil_into_diesel_tank_worst + since_ml
    )
    assert [hazard for hazard in stage.found if hazard[0] == "H3"] == [("H3", told)]


def test_oil_that_came_before_the_driver_was_told_counts_against_the_limit() -> None:
    for early_ml, told in ((800.0, True), (800.5, False)):
        stage = Stage()
        stage.drive(TICK_S, diesel_ul=80e6, oil_into_diesel_tank_worst=early_ml)
        full_tank(stage)
        stage.drive(TICK_S, message=messages.ON_OIL, oil_into_diesel_tank_worst=900.0)
        stage.drive(TICK_S, diesel_ul=40e6)
        assert stage.found == [("H3", told)]


def test_oil_that_comes_without_power_is_told_by_nobody() -> None:
    stage = full_tank(Stage())
    stage.board.powered = False
    stage.drive(TICK_S, oil_into_diesel_tank_worst=801.0)
    assert ("H3", False) in stage.found
    assert all(not told for _, told in stage.found)


def test_diesel_that_frost_has_thickened_is_not_counted() -> None:
    stage = after_a_tick(Stage())
    stage.drive(30.0, pump_mm2_s=25.0, inside_oil=0.02)
    assert stage.found == []
    stage.drive(5.125, inside_oil=0.021)
    assert stage.found == [("H1", False)]


def test_valve_that_is_told_at_once_uses_nothing_of_its_margin() -> None:
    stage = Stage(fit_supply_contact=1)
    stage.drive(30.0, supply_pin=True, message=rows.SUPPLY_VALVE)
    assert stage.monitors.margins["H9"] == 0.0


def test_each_message_has_a_telling_time_of_its_own() -> None:
    stage = staged()
    stage.untrue = {rows.OIL_LOW, rows.AIR}
    stage.truth.telling_s = lambda message: {rows.OIL_LOW: 3.0, rows.AIR: 1.0}[message]
    stage.run(3.0, message=rows.OIL_LOW)
    assert stage.found == []
    stage.run(1.0, message=rows.AIR)
    assert stage.found == []
    stage.run(TICK_S)
    assert [(hazard.id, hazard.limit) for hazard in stage.monitors.found] == [("H8", 1.0)]
