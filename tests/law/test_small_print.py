"""Details that no story of the other files shows: one unit, one millisecond, one wrong sign of them."""

from __future__ import annotations

import struct
import zlib
from math import floor, log

import pytest

from changeover import reasons, rows, settings, settings_file
from changeover.followed import Follower
from changeover.inputs import BONNET, BRAKE, ENGINE, NEUTRAL, Inputs
from changeover.law import Law
from changeover.memory import Record, choose, decode
from changeover.restriction import Restriction
from changeover.sensing import (
    AMBIENT,
    COOLANT,
    DIESEL_LEVEL,
    FROZEN,
    GOOD,
    NO_ANSWER,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    OPEN,
    PUMP_INLET,
    STALE,
    SUCTION,
    SWAPPED,
    Contact,
    Linear,
    Thermistor,
)
from changeover.settings import LOOPED_RETURN, NORM_NAMES, PERMIT, TANK_RETURN, flow_low_ul_s, purge_permille
from changeover.states import ON_OIL, PARKED, RUN_ON
from changeover.stop_advice import standing_min
from changeover.trust import Trust
from changeover.validate import validate
from changeover.wishes import Wishes
from tests.law.rig import TICK_MS, fitted_out

OFF = [False] * 10
SILENT = [NO_ANSWER] * 10


def clean(**settings: int) -> Law:
    record = Record()
    record.oil_in_lines = False
    return Law(fitted_out(**settings), record)


def test_law_takes_its_settings_for_valid_unless_told_otherwise() -> None:
    law = clean()
    law.conditions.step(TICK_MS)
    assert not law.conditions.block >> rows.SETTINGS & 1


def test_loop_that_is_still_cold_shows_the_pump_inlet_once_the_oil_is_just_warm_enough() -> None:
    law = clean(layout=LOOPED_RETURN)
    limits = law.conditions.limits
    for index, value in ((OIL, limits.oil_entry), (OIL_TANK, 9000), (PUMP_INLET, limits.pump_entry - 1)):
        law.inputs.channel[index].reason, law.inputs.channel[index].value = GOOD, value
    law.evidence.read(reasons.ALLOWED, False)
    shown = law.evidence.measured, law.evidence.limit, law.evidence.unit
    assert shown == (limits.pump_entry - 1, limits.pump_entry, "cdegc")
    law.inputs.channel[OIL].value -= 1
    law.evidence.read(reasons.ALLOWED, False)
    assert (law.evidence.measured, law.evidence.limit) == (limits.oil_entry - 1, limits.oil_entry)


def test_window_of_the_pump_inlet_begins_at_its_first_millisecond() -> None:
    values = fitted_out(path_ul=100_000)
    channel = Inputs(values).channel
    inlet, oil = channel[PUMP_INLET], channel[OIL]
    inlet.reason = oil.reason = GOOD
    inlet.value, oil.value = 4000, 8000
    window_s = 100_000 // flow_low_ul_s(values) + 11
    for first in (True, False):
        follower = Follower(values, inlet, oil)
        if not first:  # the second window of one trip
            inlet.value = 9000
            follower.step(True, TICK_MS)
            follower.step(False, TICK_MS)
            inlet.value = 4000
        follower.step(True, 999)
        for _ in range(window_s - 1):
            follower.step(True, 1000)
        assert not follower.unfollowed, "a millisecond is left"
        follower.step(True, 1)
        assert follower.unfollowed


def test_thermistors_without_a_trim_read_what_the_table_says() -> None:
    channel = Inputs(fitted_out(coolant_trim_cdegc=0, oil_trim_cdegc=0)).channel
    for counts in (4000, 20_000, 50_000):
        bare = channel[COOLANT].convert(counts)
        assert [channel[index].convert(counts) for index in (OIL, OIL_TANK, PUMP_INLET, AMBIENT)] == [bare] * 4


def test_levels_are_whole_permille_of_the_span() -> None:
    channel = Inputs(fitted_out(oil_level_zero_counts=0, oil_level_full_counts=60_000)).channel[OIL_LEVEL]
    assert [channel.convert(counts) for counts in (0, 59, 60, 59_999, 60_000)] == [0, 0, 1, 999, 1000]
    narrowest = Inputs(fitted_out(diesel_level_zero_counts=100, diesel_level_full_counts=101)).channel[DIESEL_LEVEL]
    assert narrowest.convert(101) == 1000


def test_inputs_as_they_are_made_know_no_suction() -> None:
    inputs = Inputs(fitted_out())
    assert inputs.suction_pa == 0
    assert inputs.suction_reason == inputs.channel[SUCTION].reason


@pytest.mark.parametrize(("state_ms", "judges"), [(30_000, True), (30_001, False)])
def test_parked_board_judges_to_its_thirtieth_second(state_ms: int, judges: bool) -> None:
    law = clean()
    law.step(0, SILENT, OFF)
    law.machine.state_ms = state_ms
    law.interlocks.restart()
    law.step(0, SILENT, OFF)
    assert (law.interlocks.blocked != 0) is judges


@pytest.mark.parametrize("waiting", [False, True])
def test_feed_is_held_exactly_so_long(waiting: bool) -> None:
    law = clean()
    law.keep_awake = waiting
    end_ms = 600_000 if waiting else 30_000
    for state_ms, held in ((end_ms - 1, True), (end_ms, False)):
        law.machine.state, law.machine.state_ms = PARKED, state_ms
        law._power()
        assert law.power_hold is held


def test_record_that_was_not_taken_is_written_to_the_same_slot_again() -> None:
    for succeeded in (True, False):
        law = clean()
        law.machine.write_wanted = True
        slot = law.record.slot()
        law.write_record()
        before = law.record.sequence
        law.written(succeeded)
        assert (law.record.slot() == slot) is not succeeded, before


@pytest.mark.parametrize("distrusted", [OIL, SUCTION])
def test_filter_is_read_only_while_oil_and_suction_are_both_trusted(distrusted: int) -> None:
    law = clean()
    law.machine.supply_on = law.inputs.contact[ENGINE].on = True
    for index in (OIL, SUCTION):
        law.inputs.channel[index].reason, law.inputs.channel[index].value = GOOD, 7000
    law.inputs.suction_reason, law.inputs.suction_pa = GOOD, 9600
    for _ in range(100):
        law._second()
    assert law.restriction.mean_pa == 9600
    other = clean()
    other.machine.supply_on = other.inputs.contact[ENGINE].on = True
    other.inputs.channel[OIL].value = 7000
    other.inputs.channel[OIL].reason = NO_ANSWER if distrusted == OIL else GOOD
    other.inputs.suction_reason, other.inputs.suction_pa = (NO_ANSWER if distrusted == SUCTION else GOOD), 9600
    for _ in range(100):
        other._second()
    assert other.restriction.mean_pa == 0


def test_flowing_oil_says_nothing_about_the_heater() -> None:
    law = clean(fit_heater=1)
    law.machine.supply_on = law.inputs.contact[ENGINE].on = law.heater.on = True
    law.inputs.channel[OIL].reason, law.inputs.channel[OIL].value = GOOD, 5000
    law.inputs.channel[COOLANT].reason, law.inputs.channel[COOLANT].value = GOOD, 9000
    for _ in range(400):
        law._second()
    assert not law.heater.failed
    law.machine.supply_on = False
    for _ in range(400):
        law._second()
    assert law.heater.failed


@pytest.mark.parametrize("trusted", [True, False])
def test_stop_advice_takes_the_ambient_reading_where_it_is_trusted(trusted: bool) -> None:
    law = clean(ambient_worst_cdegc=-2000)
    oil, ambient = law.inputs.channel[OIL], law.inputs.channel[AMBIENT]
    oil.reason, oil.value = GOOD, 7500
    ambient.reason, ambient.value = GOOD if trusted else NO_ANSWER, 2500
    law._advise()
    restart, cooling = law._restart_cdegc, law._cooling_s
    assert law.panel.advice_min == standing_min(7500, 2500 if trusted else -2000, restart, cooling)
    assert standing_min(7500, 2500, restart, cooling) != standing_min(7500, -2000, restart, cooling)


def test_sleeping_board_still_ends_its_advice() -> None:
    law = clean()
    law.step(0, SILENT, OFF)
    law.machine.state_ms = 40_000
    law._advise()
    left_ms = law.panel._advice_ms
    law.step(TICK_MS, SILENT, OFF)
    assert law.machine.state_ms == 40_000 + TICK_MS, "asleep, it only counts"
    assert law.panel._advice_ms == left_ms - TICK_MS


@pytest.mark.parametrize(("run_on_s", "state"), [(0, PARKED), (60, RUN_ON)])
def test_moves_at_key_off_say_so(run_on_s: int, state: int) -> None:
    law = clean(run_on_s=run_on_s)
    machine = law.machine
    machine.state, machine.lines_dirty, machine.move_reason = ON_OIL, True, reasons.FILLED
    for contact in (ENGINE, BRAKE, NEUTRAL, BONNET):
        law.inputs.contact[contact].on = True
    machine.step(TICK_MS)
    assert (machine.state, machine.move_reason) == (state, reasons.KEY_OFF)


def slot(head: bytes, sequence: int = 7) -> bytes:
    """A slot by the description of its bytes, its checksum by zlib."""
    body = head + struct.pack("<IIIII", sequence, 3, 5, 9600, 2400) + bytes(4)
    return body + struct.pack("<I", zlib.crc32(body))


def test_slot_is_read_only_with_the_very_head_that_is_described() -> None:
    record = decode(slot(b"2T\x01\x00"))
    assert record is not None
    assert (record.oil_in_lines, record.sequence, record.boots, record.trips) == (False, 7, 3, 5)
    assert (record.suction_mean_pa, record.suction_low_pa) == (9600, 2400)
    for head in (b"2U\x01\x00", b"3T\x01\x00", b"2T\x02\x00", b"2T\x00\x00", b"2T\x01\x02"):
        assert decode(slot(head)) is None


def test_of_two_slots_half_of_all_numbers_apart_the_first_counts_and_oil_is_assumed() -> None:
    for ahead, counts in ((0x1FFFFFFF, 7 + 0x1FFFFFFF), (0x20000000, 7)):
        record = choose([slot(b"2T\x01\x00"), slot(b"2T\x01\x00", 7 + ahead)])
        assert (record.sequence, record.oil_in_lines) == (counts, True)


def read_filter(element: Restriction, seconds: int, suction_pa: int) -> Restriction:
    for _ in range(seconds):
        element.second(True, suction_pa, 7000)
    return element


def test_filter_begins_and_sums_without_a_rest() -> None:
    element = Restriction(fitted_out())
    assert (element.mean_pa, element.low_pa) == (0, 0)
    for _ in range(2):  # the second trip as the first
        read_filter(element, 20, 160)
        assert (element._sum_16pa, element._read_s) == (0, 0)
        read_filter(element, 2, 160)
        assert (element._sum_16pa, element._read_s) == (20, 2)
        element.keep_trip(False)


def test_sum_of_a_long_trip_is_halved_at_its_very_reading_and_stays_whole() -> None:
    element = read_filter(Restriction(fitted_out()), 20 + 16_383, 176)
    assert (element._sum_16pa, element._read_s) == (11 * 16_383, 16_383)
    read_filter(element, 1, 176)
    assert (element._sum_16pa, element._read_s) == (11 * 8192, 8192)
    assert type(element._sum_16pa) is type(element._read_s) is int


def test_first_least_suction_counts_by_whole_permille_of_the_flow() -> None:
    element = read_filter(Restriction(fitted_out(flow_measured_ul_s=31_999, flow_max_ul_s=32_000)), 30, 16_000)
    element.keep_trip(False)
    assert element.low_pa == 15_984
    read_filter(element, 30, 0).keep_trip(False)
    assert element.low_pa == 1, "0 says that nothing is known"


def test_air_is_less_than_the_whole_half_of_an_odd_reference() -> None:
    element = Restriction(fitted_out())
    element.low_pa = 4001
    assert not read_filter(element, 21, 2000).air
    assert read_filter(element, 1, 1999).air


def test_purge_whose_volume_has_passed_is_ended_by_every_row_that_forbids_one() -> None:
    law = clean()
    machine = law.machine
    machine.lines.credit_ul = machine.lines.purge_target_ul
    for row in (rows.SETTINGS, rows.SUPPLY_LOW, rows.RETURN_VALVE, rows.NO_ROOM, rows.SUPPLY_VALVE):
        law.interlocks.forced = 1 << row
        assert machine.forbidden() == 1 << row
    law.interlocks.forced = 1 << rows.SUPPLY_VALVE
    machine.lines.credit_ul -= 1
    assert machine.forbidden() == 0


@pytest.mark.parametrize("row", [rows.RETURN_VALVE, rows.NO_ROOM])
def test_purge_of_a_loop_asks_for_no_return_valve_and_no_room(row: int) -> None:
    for layout, forbids in ((LOOPED_RETURN, 0), (TANK_RETURN, 1 << row)):
        law = clean(layout=layout)
        law.interlocks.forced = 1 << row
        assert law.machine.forbidden() == forbids


def test_what_a_purge_adds_and_the_lowest_flow_are_whole_numbers() -> None:
    assert flow_low_ul_s(fitted_out(flow_measured_ul_s=8001)) == 6400
    values = fitted_out(path_ul=350_000, purge_factor_permille=3000, oil_tank_ml=40_000)
    assert purge_permille(values) == 27
    assert purge_permille(values | {"layout": LOOPED_RETURN}) == 0


def linear() -> Linear:
    """Two counts a unit; settled at 0."""
    channel = Linear(True, 10_000, 1, 2, -9000, 9000, 900)
    for _ in range(5):
        channel.step(10_000)
    assert (channel.reason, channel.value) == (GOOD, 0)
    return channel


def test_channel_as_it_is_made_and_after_its_restart_knows_no_value_and_no_age() -> None:
    channel = Linear(True, 10_000, 1, 2, -9000, 9000, 900)
    assert (channel.value, channel.age) == (0, 0)
    channel = linear()
    channel.step(NO_ANSWER)
    assert channel.age == 1
    channel.restart()
    assert (channel.age, channel.bad) == (0, 0)


def test_third_bad_sample_ends_trust_also_where_a_good_one_stood_between() -> None:
    for samples, reason in (("bbgb", GOOD), ("bbb", STALE), ("bbgbb", STALE), ("bbggbg", GOOD)):
        channel = linear()
        for sample in samples:
            channel.step(NO_ANSWER if sample == "b" else 10_000)
        assert channel.reason == reason, samples


@pytest.mark.parametrize("reason", [FROZEN, SWAPPED])
def test_verdict_over_several_channels_stands_whatever_is_read(reason: int) -> None:
    channel = linear()
    channel.distrust(reason)
    for _ in range(100):
        channel.step(12_000)
    assert (channel.reason, channel.value) == (reason, 0)


def test_jump_limit_of_an_absent_sensor_grows_by_five_kelvin_and_no_more() -> None:
    thermistor = Inputs(fitted_out()).channel[OIL]
    for _ in range(6):
        thermistor.step(20_000)
    for _ in range(2000):
        thermistor.step(NO_ANSWER)
    assert thermistor._reach == 500 + 500


def test_good_sample_takes_one_off_what_a_contact_has_counted() -> None:
    contact = Contact(2, 4)
    contact.step(True)
    contact.step(True)
    for level, on in ((False, True), (False, True), (False, True), (True, True), (False, True), (False, False)):
        contact.step(level)
        assert contact.on is on


def test_settings_are_read_to_their_last_checksum_and_names_are_in_small_letters() -> None:
    values = {"layout": 1, "xcrc": 5}
    assert settings_file.decode(settings_file.encode(values)) == (values, [])
    read, errors = settings_file.decode(settings_file.encode({"X": 1}))
    assert read == {}
    assert [error[0] for error in errors] == ["line 1"]


def cooled_min(oil: int, ambient: int, restart: int, cooling_s: int) -> int:
    """The advice by its description: whole ten-thousandths of the ratio and of its logarithm, the latter on straight lines
    between rows of a tenth."""
    ambient = min(ambient, restart - 100)
    beyond = (oil - ambient) * 10_000 // (restart - ambient) - 10_000
    rows_ = [floor(10_000 * log(1 + row / 10)) for row in range(31)]
    if beyond >= 30_000:
        return cooling_s * rows_[30] // 600_000
    row, part = divmod(beyond, 1000)
    return cooling_s * (rows_[row] + (rows_[row + 1] - rows_[row]) * part // 1000) // 600_000


def test_advice_is_that_of_its_description_over_the_whole_range() -> None:
    for restart in (3000, 5600, 9000):
        for above in (1, 37, 50, 149, 1777, 3421, 6000):
            for ambient in (-4000, -777, 0, 2500, restart - 101, restart - 100, restart - 50, restart + 500):
                for cooling_s in (600, 6000, 30_000):
                    found = standing_min(restart + above, ambient, restart, cooling_s)
                    assert found == cooled_min(restart + above, ambient, restart, cooling_s)
    for oil, ambient, cooling_s in (
        (7466, 2374, 30_000),
        (8051, -1664, 30_000),
        (8754, 28, 29_999),
        (7897, 1474, 29_999),
    ):
        assert standing_min(oil, ambient, 5600, cooling_s) == cooled_min(oil, ambient, 5600, cooling_s), (
            "a hair decides"
        )


def test_every_move_and_refusal_counts_one_and_a_new_state_begins_at_nought() -> None:
    machine = clean().machine
    machine.state_ms = 5000
    machine.note(machine.state, rows.OIL_COLD)
    assert (machine.moves, machine.state_ms) == (1, 5000)
    machine.go(ON_OIL, reasons.ALLOWED)
    assert (machine.moves, machine.state_ms) == (2, 0)


@pytest.mark.parametrize("distrusted", [COOLANT, OIL])
def test_rules_over_two_sensors_wait_for_both(distrusted: int) -> None:
    inputs = Inputs(fitted_out())
    for index in (COOLANT, OIL, SUCTION):
        inputs.channel[index].reason, inputs.channel[index].value = GOOD, 5000
    inputs.channel[distrusted].reason = OPEN
    rules = Trust(inputs)
    rules.second(True, False)
    assert not rules._seen
    inputs.channel[distrusted].reason = GOOD
    rules.second(True, False)
    assert rules._seen


STEPPED = {
    "coolant_entry_cdegc": 0, "coolant_exit_cdegc": 0, "oil_entry_cdegc": 0, "oil_exit_cdegc": 0, "oil_restart_cdegc": 0,
    "oil_hot_cdegc": 0, "oil_hot_cdegc less 300": -300, "heater_off_cdegc": 0, "heater_off_cdegc less 200": -200,
    "ntc_check_low_cdegc": 0, "ntc_check_high_cdegc": 0,
}  # fmt: skip


@pytest.mark.parametrize("what", STEPPED)
def test_threshold_keeps_a_kelvin_and_a_half_from_every_step_of_the_converter(what: str) -> None:
    name, shift = what.split()[0], STEPPED[what]
    values = fitted_out()
    low, high = next(row[3:] for row in settings.ROWS if row[0] == name)
    tried = 0
    for code in (512, 1536, 2560, 3584):  # of 4096: erratum RP2040-E11
        step = Thermistor(True, values, 0).convert(16 * code)
        for away, refused in ((-150, False), (-149, True), (149, True), (150, False)):
            value = step - shift + away
            if low <= value <= high:
                tried += 1
                found = [error for error in validate(values | {name: value}) if error[0] == name and "step" in error[3]]
                assert (f"150 away from {step - shift}" in [error[2] for error in found]) is refused, value
    assert tried


def test_table_may_rise_by_a_single_unit_and_a_missing_setting_is_called_so() -> None:
    values = fitted_out()
    values[NORM_NAMES[1]] = values[NORM_NAMES[0]] + 1
    assert validate(values) == []
    values[NORM_NAMES[1]] -= 1
    assert [error[0] for error in validate(values)] == [NORM_NAMES[1]]
    del values["layout"]
    assert validate(values) == [("layout", None, "0 to 1 choice", "is missing")]


def test_room_for_a_purge_is_asked_to_the_permille_and_its_time_to_the_second() -> None:
    values = fitted_out(path_ul=1_000_000, purge_factor_permille=6000, oil_tank_ml=10_000, oil_low_block_permille=100)
    # 6 L into 10 L are 600 permille: full less 600 must leave 200
    assert [validate(values | {"oil_full_permille": full}) == [] for full in (800, 799)] == [True, False]
    refused = validate(values | {"oil_full_permille": 799})
    assert (refused[0][0], refused[0][3]) == (
        "oil_tank_ml",
        "a purge of 6000 mL leaves no level at which oil may be used",
    )
    slow = fitted_out(layout=LOOPED_RETURN, flow_measured_ul_s=100)
    # 80 uL/s credit 2 880 000 uL in 36 000 s; 2 880 036 take as many whole seconds, 2 880 129 one more
    for path_ml, factor, accepted in ((480, 6000, True), (486, 5926, True), (483, 5963, False)):
        found = validate(slow | {"path_ul": 1000 * path_ml, "purge_factor_permille": factor})
        assert (found == []) is accepted, found


@pytest.mark.parametrize(("ms", "short"), [(1, True), (1999, True), (2000, False)])
def test_press_is_short_from_its_first_millisecond_to_just_before_two_seconds(ms: int, short: bool) -> None:
    wishes = Wishes(PERMIT)
    for count in (1, 2):
        wishes.step(True, False, ms)
        wishes.step(False, False, 100)
        assert wishes.short_presses == (count if short else 0)
        assert wishes.stop_held is (not short and count == 1), "a long press asks for the purge, the next one ends it"
