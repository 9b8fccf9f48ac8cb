"""The trips: what a driver lives through when nothing fails."""

from __future__ import annotations

import pytest

from changeover import messages, reasons, rows
from changeover.inputs import BONNET, BRAKE, NEUTRAL
from changeover.panel_logic import BLINK, INSISTENT, OFF, SHORT, SILENT, STEADY
from changeover.sensing import COOLANT, OIL
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, PERMIT
from changeover.states import FILLING, ON_OIL
from tests.law.rig import HOT_ENGINE, OPEN_COUNTS, SHORT_COUNTS, Rig


def test_cold_start_goes_to_oil_once_everything_is_warm() -> None:
    rig = Rig()
    rig.ready()

    rig.start()  # -10 degC: the engine runs, nothing is thin enough
    rig.run(10)
    assert rig.state == "ON_DIESEL"
    assert rig.on_diesel
    assert rig.lets(rows.OIL_COLD, rows.COOLANT_COLD)
    assert rig.message == rows.OIL_COLD

    rig.ramp(60, coolant_c=85.0)  # the coolant first: now only the oil is waited for
    rig.run(3)
    assert rig.lets(rows.OIL_COLD)

    rig.ramp(60, oil_c=80.0)  # filter warm, but what stands at the tank outlet is colder, and the coldest decides
    rig.run(5)
    assert rig.lets(rows.OIL_COLD)
    assert rig.writes == []

    rig.ramp(60, oil_tank_c=73.9)  # just outside the entry threshold of 74 degC
    rig.run(5)
    assert rig.on_diesel
    rig.ramp(1, oil_tank_c=74.3)  # just inside
    rig.until(lambda: rig.writes == [True], 3)
    assert rig.on_diesel, "the record comes first"

    rig.tick()  # written and read back: only now may oil move
    assert rig.state == "FILLING"
    assert rig.law.machine.supply_on
    assert not rig.law.machine.return_on
    assert rig.message == messages.FILLING
    assert rig.law.panel.green == BLINK
    evidence = rig.law.evidence
    evidence.read(reasons.ALLOWED, False)
    assert (evidence.measured, evidence.limit, evidence.unit) == (pytest.approx(7430, abs=5), 7400, "cdegc")
    filling_s = rig.until(lambda: rig.state == "ON_OIL", 10)
    assert filling_s == pytest.approx(50_000 / 28_000, abs=0.11)  # half a path volume at the highest flow
    assert rig.law.machine.supply_on
    assert rig.law.machine.return_on
    assert rig.message == messages.ON_OIL
    assert rig.law.panel.green == STEADY
    evidence.read(reasons.FILLED, False)
    assert evidence.measured == evidence.limit == 50_000
    evidence.read(reasons.SELECTOR, False)
    assert (evidence.measured, evidence.unit) == (0, "uL")  # nothing is credited yet
    rig.law.machine.lines_dirty = False
    evidence.read(reasons.KEY_ON, False)
    assert evidence.unit == "flag"
    rig.law.machine.lines_dirty = True
    assert rig.law.panel.buzzer == SHORT
    assert [move[1:] for move in rig.moves] == [
        ("ON_DIESEL", reasons.KEY_ON),
        ("FILLING", reasons.ALLOWED),
        ("ON_OIL", reasons.FILLED),
    ]


def test_selector_on_diesel_purges_and_the_record_is_cleared_by_full_credit_only() -> None:
    rig = Rig()
    rig.warm_start()
    rig.ready(False)
    rig.run(0.2)
    assert rig.state == "PURGING"
    assert rig.on_diesel
    assert rig.law.machine.return_on
    assert rig.moves[-1] == ("ON_OIL", "PURGING", reasons.SELECTOR)
    assert rig.message == messages.PURGING
    assert rig.law.panel.amber == BLINK
    purging_s = rig.until(lambda: rig.state == "ON_DIESEL", 60)
    assert purging_s == pytest.approx(
        150_000 / 12_500, abs=0.11
    )  # 1.5 path volumes at four fifths of the measured flow
    assert rig.law.machine.lines.credit_ul == rig.law.machine.lines.purge_target_ul == 150_000
    assert rig.writes == [True, False]
    assert not rig.law.machine.return_on


def test_forgotten_purge_is_told_at_key_off_and_done_on_the_next_trip() -> None:
    rig = Rig()
    rig.warm_start()

    rig.key(False)
    rig.engine(False)
    rig.run(1)  # the driver walks away from oil
    assert rig.state == "PARKED"
    assert rig.on_diesel
    assert not rig.law.machine.return_on
    assert rig.message == messages.OIL_LEFT
    assert rig.law.panel.buzzer == INSISTENT
    assert rig.law.panel.red == BLINK
    assert rig.law.power_hold
    assert rig.writes[-1] is True
    rig.run(30)
    assert rig.law.panel.buzzer == SILENT
    assert rig.message == messages.OIL_LEFT
    assert not rig.law.power_hold, "said and saved: the board may let its power go"

    rig.boot()  # the next morning knows it from flash
    rig.reads(coolant_c=5.0, oil_c=5.0, oil_tank_c=5.0)
    rig.key(True)
    rig.run(2)
    assert rig.state == "PURGING"
    assert rig.message == messages.PURGE_WAITS
    assert not rig.law.machine.return_on
    assert rig.law.machine.lines.credit_ul == 0, "no credit before the engine runs"
    rig.engine(True)
    rig.run(5)
    assert rig.law.machine.return_on
    assert rig.message == messages.PURGING
    half_way = rig.law.machine.lines.credit_ul
    assert 0 < half_way < rig.law.machine.lines.purge_target_ul

    rig.engine(False)  # stalls: state and credit stay, valves go
    rig.run(20)
    assert rig.state == "PURGING"
    assert not rig.law.machine.return_on
    assert rig.message == messages.PURGE_WAITS
    assert rig.law.machine.lines.credit_ul == pytest.approx(half_way, abs=12_500)
    assert rig.writes[-1] is True

    rig.engine(True)
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    assert rig.writes[-1] is False
    assert rig.moves[-1][2] == reasons.PURGED


def test_key_off_in_the_middle_of_a_purge_keeps_the_record() -> None:
    rig = Rig()
    rig.warm_start()
    rig.ready(False)
    rig.run(3)
    rig.key(False)
    rig.run(1)
    assert rig.state == "PARKED"
    assert rig.message == messages.OIL_LEFT
    assert rig.writes[-1] is True
    rig.key(True)  # before the power went: the purge goes on
    rig.run(1)
    assert rig.state == "PURGING"


def test_clean_car_is_parked_without_a_word() -> None:
    rig = Rig()
    rig.start()
    rig.run(5)
    rig.key(False)
    rig.engine(False)
    rig.run(1)
    assert rig.message == messages.PARKED_CLEAN
    assert rig.law.panel.buzzer == SILENT
    assert rig.law.panel.red == OFF
    assert rig.law.record.trips == 1
    assert rig.writes == [False]


def test_nothing_is_energised_before_the_engine_has_run_three_seconds() -> None:
    rig = Rig()
    rig.reads(**HOT_ENGINE)
    rig.ready()
    rig.key(True)
    rig.run(10)
    assert rig.blocks(rows.ENGINE)
    assert rig.writes == []
    rig.engine(True)
    rig.run(2.9)
    assert rig.on_diesel
    assert rig.blocks(rows.ENGINE)
    waited_s = 2.9 + rig.until(lambda: not rig.on_diesel, 2)
    assert 3.0 <= waited_s <= 3.6  # debouncing and the record come on top


@pytest.mark.parametrize("state", [FILLING, ON_OIL])
def test_valves_ask_for_engine_time_whatever_the_state_claims(state: int) -> None:
    """A second barrier: no path leads there, and if one did, the valve would wait."""
    rig = Rig()
    machine = rig.law.machine
    for engine_ms, supply in ((0, False), (2999, False), (3000, True)):
        machine.state, machine.engine_ms = state, engine_ms
        machine.drive_valves()
        assert machine.supply_on is supply


def test_return_valve_of_a_purge_waits_half_a_second_of_engine() -> None:
    rig = Rig(oil_in_lines=True)
    rig.key(True)
    rig.run(2)
    rig.engine(True)
    waited_s = rig.until(lambda: rig.law.machine.return_on, 2)
    assert 0.5 <= waited_s <= 0.8
    rig.engine(False)
    rig.run(0.5)
    assert not rig.law.machine.return_on


@pytest.mark.parametrize("where", ["FILLING", "ON_OIL", "PURGING"])
def test_stopped_engine_drops_all_valves_within_a_second(where: str) -> None:
    rig = Rig(path_ul=300000)
    rig.reads(**HOT_ENGINE)
    rig.ready()
    rig.start()
    rig.until(lambda: rig.state == ("FILLING" if where == "FILLING" else "ON_OIL"), 30)
    if where == "PURGING":
        rig.ready(False)
    rig.until(lambda: rig.state == where, 5)
    rig.run(1)
    assert rig.law.machine.supply_on or rig.law.machine.return_on
    rig.engine(False)
    dropped_s = rig.until(lambda: not rig.law.machine.supply_on and not rig.law.machine.return_on, 1)
    assert dropped_s <= 1.0
    assert rig.state == "PURGING"
    assert rig.law.machine.reverts == 0, "a stall is no chattering threshold"


def test_stopping_soon_purges_then_holds_diesel_until_pressed_again() -> None:
    rig = Rig()
    rig.warm_start()
    rig.press(2.5)
    assert rig.state == "PURGING"
    assert rig.moves[-1][2] == reasons.STOPPING_SOON
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    assert rig.message == messages.MAY_STOP
    assert rig.law.panel.buzzer == SHORT
    rig.run(60)  # dwell is long over, selector on READY: still diesel
    assert rig.state == "ON_DIESEL"
    assert rig.message == messages.MAY_STOP

    rig.press(2.5)
    rig.until(lambda: rig.state == "ON_OIL", 10)


def test_stopping_soon_ends_with_the_trip() -> None:
    rig = Rig()
    rig.warm_start()
    rig.press(2.5)
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    rig.key(False)
    rig.engine(False)
    rig.run(1)
    assert rig.message == messages.PARKED_CLEAN
    rig.start()
    rig.until(lambda: rig.state == "ON_OIL", 30)


@pytest.mark.parametrize(("held_s", "long"), [(1.9, False), (2.2, True)])
def test_press_is_long_from_two_seconds(held_s: float, long: bool) -> None:
    rig = Rig()
    rig.warm_start()
    rig.press(held_s)
    assert (rig.state == "PURGING") is long
    assert rig.law.machine.wishes.short_presses == (0 if long else 1)


def test_short_press_says_how_long_the_car_may_stand() -> None:
    rig = Rig(fit_ambient=0, ambient_worst_cdegc=-1500)
    rig.warm_start()
    rig.press(0.3)
    assert rig.message == messages.STANDING
    assert rig.law.panel.advice_min == 29  # 100 min * ln((80 + 15) / (56 + 15)) = 29.1, cut
    rig.run(9)
    assert rig.message == messages.ON_OIL
    assert rig.state == "ON_OIL", "asking changes nothing"


def test_short_press_with_cool_oil_says_purge_first() -> None:
    rig = Rig(oil_in_lines=True, path_ul=3000000, oil_tank_ml=400000, flow_measured_ul_s=6000)
    rig.reads(**HOT_ENGINE)
    rig.reads(oil_c=57.0)
    rig.start()
    rig.run(5)
    rig.press(0.3)
    assert rig.message == messages.PURGE_NOW


def test_short_press_with_an_untrusted_oil_sensor_promises_nothing() -> None:
    rig = Rig(oil_in_lines=True)
    rig.counts[OIL] = OPEN_COUNTS
    rig.key(True)
    rig.run(3)
    rig.press(0.3)
    assert rig.law.panel.advice_min == 0
    assert rig.message == rows.OIL_SENSOR, "a broken sensor is graver than advice"


def test_short_press_with_clean_lines_says_so() -> None:
    rig = Rig()
    rig.start()
    rig.run(5)
    rig.press(0.3)
    assert rig.message == messages.PARKED_CLEAN


# authority


@pytest.mark.parametrize("ready", [True, False])
def test_advise_moves_nothing_but_tells(ready: bool) -> None:
    rig = Rig(authority=ADVISE, fit_heater=1, run_on_s=60)
    rig.reads(**HOT_ENGINE)
    rig.ready(ready)
    rig.start()
    rig.run(60)  # `Rig.check` holds that no output moves
    assert rig.state == "ON_DIESEL"
    assert rig.message == messages.OIL_WARM
    assert rig.writes == []


@pytest.mark.parametrize("authority", [PERMIT, AUTOMATIC])
def test_what_the_driver_is_asked_for_is_what_lets_him_onto_oil(authority: int) -> None:
    rig = Rig(authority=authority)
    rig.reads(**HOT_ENGINE)
    rig.start()
    rig.run(10)
    assert rig.message == messages.OIL_READY
    rig.ready()
    rig.until(lambda: rig.state == "FILLING", 2)


def test_permit_with_the_selector_on_ready_already_asks_for_a_new_edge() -> None:
    rig = Rig(authority=PERMIT)
    rig.reads(**HOT_ENGINE)
    rig.ready()
    rig.start()
    rig.run(10)
    assert rig.message == messages.ASK_AGAIN
    rig.ready(False)
    rig.run(1)
    rig.ready()
    rig.until(lambda: rig.state == "FILLING", 2)


def test_advise_credits_a_purge_without_moving_the_return_valve() -> None:
    rig = Rig(oil_in_lines=True, authority=ADVISE, run_on_s=60)
    rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
    rig.start()
    rig.run(5)
    assert rig.state == "PURGING"
    assert not rig.law.machine.return_on
    rig.key(False)
    rig.run(1)
    assert rig.state == "PARKED"
    assert not rig.law.run_on, "nor does it hold the engine"


def test_selector_turned_in_a_parked_car_asks_for_nothing_and_is_refused_nothing() -> None:
    rig = Rig(authority=PERMIT)
    rig.reads(**HOT_ENGINE)
    rig.run(1)
    rig.ready()
    rig.run(1)
    assert rig.law.machine.wishes.granted is False
    assert rig.law.machine.moves == 0
    assert rig.state == "PARKED"


def test_permit_asks_on_the_edge_refuses_with_a_reason_and_wants_a_new_edge() -> None:
    rig = Rig(authority=PERMIT)
    rig.reads(**HOT_ENGINE)
    rig.reads(coolant_c=69.0)
    rig.ready()  # on READY before the key: no edge was made
    rig.start()
    rig.run(10)
    assert rig.state == "ON_DIESEL"

    rig.ready(False)
    rig.run(1)
    rig.ready()
    rig.run(1)
    assert rig.moves[-1] == ("ON_DIESEL", "ON_DIESEL", rows.COOLANT_COLD)
    rig.law.evidence.read(rows.COOLANT_COLD, False)
    assert (rig.law.evidence.measured, rig.law.evidence.limit) == (pytest.approx(6900, abs=5), 7000)

    rig.ramp(5, coolant_c=75.0)  # warm now, but a refused edge is spent
    rig.run(10)
    assert rig.lets()
    assert rig.state == "ON_DIESEL"
    rig.ready(False)
    rig.run(1)
    rig.ready()
    rig.until(lambda: rig.state == "ON_OIL", 10)


def test_permit_is_withdrawn_by_a_forced_exit() -> None:
    rig = Rig(authority=PERMIT)
    rig.reads(**HOT_ENGINE)
    rig.start()
    rig.run(5)
    rig.ready()
    rig.until(lambda: rig.state == "ON_OIL", 10)
    rig.reads(coolant_c=59.0)
    rig.ready(True)
    rig.until(lambda: rig.state == "PURGING", 10)
    rig.ramp(5, coolant_c=88.0)
    rig.run(60)
    assert rig.state == "ON_DIESEL"
    assert rig.lets()


def test_permit_refuses_while_stopping_soon_and_while_purging() -> None:
    rig = Rig(authority=PERMIT)
    rig.reads(**HOT_ENGINE)
    rig.start()
    rig.run(5)
    rig.press(2.5)
    rig.ready()
    rig.run(1)
    assert rig.moves[-1] == ("ON_DIESEL", "ON_DIESEL", reasons.STOPPING_SOON)
    rig.press(2.5)
    rig.ready(False)
    rig.run(1)
    rig.ready()
    rig.until(lambda: rig.state == "ON_OIL", 10)
    rig.ready(False)  # off and on again too fast for the dwell
    rig.run(0.3)
    rig.ready()
    rig.run(0.5)
    assert rig.state == "PURGING"
    assert rig.moves[-1] == ("PURGING", "PURGING", rows.LINES)


# layouts and run-on


def test_looped_return_has_one_valve_and_skips_the_fill() -> None:
    rig = Rig(layout=LOOPED_RETURN)
    rig.warm_start()
    assert ("ON_DIESEL", "ON_OIL", reasons.ALLOWED) in rig.moves
    assert not rig.law.machine.return_on
    rig.ready(False)
    rig.until(lambda: rig.state == "PURGING", 1)
    rig.run(3)
    assert not rig.law.machine.return_on
    rig.until(lambda: rig.state == "ON_DIESEL", 60)


def run_on_rig(run_on_s: int = 8) -> Rig:
    rig = Rig(run_on_s=run_on_s)
    rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
    rig.warm_start()
    rig.key(False)
    rig.until(lambda: rig.state == "RUN_ON", 1)
    return rig


def test_run_on_purges_with_the_key_off_and_lets_the_engine_go() -> None:
    rig = run_on_rig(run_on_s=60)
    rig.run(0.2)
    assert rig.law.run_on
    assert rig.on_diesel
    assert rig.law.machine.return_on
    assert rig.message == messages.RUNNING_ON
    rig.until(lambda: rig.state == "PARKED", 30)
    assert rig.moves[-1][2] == reasons.PURGED
    assert rig.message == messages.PARKED_CLEAN
    assert not rig.law.run_on
    assert rig.writes[-1] is False


@pytest.mark.parametrize("ended_by", ["brake", "neutral", "bonnet", "engine", "oil sensor", "coolant sensor", "time"])
def test_run_on_is_ended_by_each_of(ended_by: str) -> None:
    rig = run_on_rig()
    rig.run(1)
    assert rig.state == "RUN_ON"
    if ended_by in ("brake", "neutral", "bonnet"):
        rig.levels[{"brake": BRAKE, "neutral": NEUTRAL, "bonnet": BONNET}[ended_by]] = False
    elif ended_by == "engine":
        rig.engine(False)
    elif ended_by == "oil sensor":
        rig.counts[OIL] = OPEN_COUNTS
    elif ended_by == "coolant sensor":
        rig.counts[COOLANT] = SHORT_COUNTS
    left_s = rig.until(lambda: rig.state == "PARKED", 8)
    if ended_by == "time":
        assert left_s == pytest.approx(7.0, abs=0.2)
    else:
        assert left_s <= 1.0
    assert not rig.law.run_on
    assert rig.moves[-1][2] == reasons.RUN_ON_ENDED
    assert rig.message == messages.PURGE_CUT
    assert rig.law.panel.buzzer == INSISTENT
    assert rig.writes[-1] is True, "the record stays"


def test_key_on_during_run_on_goes_on_purging_with_the_credit_it_has() -> None:
    rig = run_on_rig(run_on_s=60)
    rig.run(5)
    credit = rig.law.machine.lines.credit_ul
    rig.key(True)
    rig.run(0.4)
    assert rig.state == "PURGING"
    assert rig.law.machine.lines.credit_ul >= credit > 0


def test_run_on_relay_is_closed_before_the_key_goes_off_so_that_the_engine_has_no_gap() -> None:
    rig = Rig(run_on_s=60)
    rig.levels[NEUTRAL] = rig.levels[BONNET] = True
    rig.warm_start()
    assert not rig.law.run_on, "under way, parking brake off"
    rig.levels[BRAKE] = True
    rig.run(0.3)
    assert rig.law.run_on
    rig.key(False)
    for _ in range(20):
        rig.tick()
        assert rig.law.run_on
    assert rig.state == "RUN_ON"
    rig.levels[BRAKE] = False
    rig.run(0.3)
    assert not rig.law.run_on


def test_run_on_relay_stays_open_where_no_oil_is_in_the_lines_or_run_on_is_off() -> None:
    for run_on_s in (60, 0):
        rig = Rig(run_on_s=run_on_s)
        rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
        rig.reads(**HOT_ENGINE)
        rig.start()
        rig.run(10)
        assert not rig.law.run_on
        rig.ready(run_on_s == 0)
        rig.run(30)
        assert not rig.law.run_on
        assert rig.law.machine.lines_dirty is (run_on_s == 0)


@pytest.mark.parametrize("missing", [BRAKE, NEUTRAL, BONNET])
def test_run_on_is_not_begun_without_each_switch(missing: int) -> None:
    rig = Rig(run_on_s=60)
    rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
    rig.levels[missing] = False
    rig.warm_start()
    rig.key(False)
    rig.run(1)
    assert rig.state == "PARKED"
    assert rig.message == messages.OIL_LEFT


def test_run_on_of_a_half_done_purge_keeps_its_credit() -> None:
    rig = Rig(run_on_s=60)
    rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
    rig.warm_start()
    rig.ready(False)
    rig.run(6)
    credit = rig.law.machine.lines.credit_ul
    assert credit > 0
    rig.key(False)
    rig.until(lambda: rig.state == "RUN_ON", 1)
    assert rig.law.machine.lines.credit_ul >= credit


# power


def test_board_stays_awake_while_it_has_something_to_save_but_ten_minutes_at_most() -> None:
    rig = Rig()
    rig.start()
    rig.run(2)
    rig.law.keep_awake = True
    rig.key(False)
    rig.engine(False)
    rig.run(40)
    assert rig.law.power_hold
    rig.run(550)
    assert rig.law.power_hold
    rig.run(11)
    assert not rig.law.power_hold


def test_parked_board_that_kept_its_feed_wakes_with_the_key() -> None:
    rig = Rig()
    rig.run(40)
    assert not rig.law.power_hold
    rig.key(True)
    rig.run(0.5)
    assert rig.state == "ON_DIESEL"
    assert rig.law.power_hold


def test_looped_return_waits_until_what_goes_round_has_warmed_and_shows_that_number() -> None:
    rig = Rig(layout=LOOPED_RETURN)
    limit = rig.values["oil_limit_cdegc"] - 1800
    rig.reads(**HOT_ENGINE)
    rig.reads(pump_inlet_c=limit / 100 - 0.3)
    rig.ready()
    rig.start()
    rig.run(20)
    assert rig.state == "ON_DIESEL"
    assert rig.message == rows.OIL_COLD
    evidence = rig.law.evidence
    evidence.read(rows.OIL_COLD, False)
    assert (evidence.measured, evidence.limit) == (pytest.approx(limit - 30, abs=5), limit)
    rig.ramp(2, pump_inlet_c=limit / 100 + 0.3)
    rig.until(lambda: rig.state == "ON_OIL", 5)
