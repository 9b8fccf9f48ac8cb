"""What lamps, buzzer and display make of each state: loudness of every message, how long each stands or sounds."""

from __future__ import annotations

import pytest

from changeover import messages, rows
from changeover.law import Law
from changeover.memory import Record
from changeover.messages import GRAVE, NORMAL, NOTICE, WARNING
from changeover.panel_logic import BLINK, INSISTENT, OFF, REPEATED, SHORT, SILENT, STEADY
from changeover.reasons import KEY_OFF, RUN_ON_ENDED
from changeover.settings import ADVISE, AUTOMATIC, PERMIT
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON
from tests.law.rig import fitted_out

# grave: oil may do harm now, or the driver must act; a notice: only waiting; every other row warns
LOUDNESS = {
    **dict.fromkeys(range(len(rows.TABLE)), WARNING),
    **dict.fromkeys(range(32, max(messages.ENGLISH) + 1), NORMAL),
    **dict.fromkeys((rows.SETTINGS, rows.STARVED, rows.SUPPLY_LOW, rows.SUPPLY_VALVE, rows.RETURN_VALVE), GRAVE),
    **dict.fromkeys((rows.AIR, rows.MEMORY, rows.CHATTER, messages.OIL_LEFT, messages.PURGE_CUT), GRAVE),
    **dict.fromkeys((rows.ENGINE, rows.OIL_COLD, rows.COOLANT_COLD, rows.DWELL, rows.LINES), NOTICE),
    **dict.fromkeys((messages.PURGE_WAITS, messages.OIL_READY, messages.ASK_AGAIN, messages.OIL_WARM), NOTICE),
}
LAMPS = {GRAVE: (BLINK, OFF), WARNING: (OFF, STEADY), NOTICE: (OFF, STEADY), NORMAL: (OFF, OFF)}


class Shown:
    """A panel over a machine in a state that the test sets. `tick` gives what is shown after one more."""

    def __init__(self, state: int, dirty: bool = False, authority: int = AUTOMATIC) -> None:
        law = Law(fitted_out(authority=authority), Record())
        self.machine, self.interlocks, self.panel = law.machine, law.interlocks, law.panel
        self.machine.state, self.machine.lines_dirty = state, dirty
        self.machine.engine_ms = 5000

    def blocked(self, *which: int) -> Shown:
        self.interlocks.blocked = sum(1 << row for row in which)
        return self

    def tick(self, dt_ms: int = 100) -> int:
        self.panel.step(dt_ms)
        return self.panel.message

    def sounds(self, *ticks_ms: int) -> list[int]:
        return [(self.tick(dt_ms), self.panel.buzzer)[1] for dt_ms in ticks_ms]

    @property
    def lamps(self) -> tuple[int, int, int]:
        return self.panel.red, self.panel.amber, self.panel.green


def test_panel_is_dark_and_silent_before_the_first_tick() -> None:
    panel = Shown(ON_DIESEL).panel
    assert (panel.red, panel.amber, panel.green, panel.buzzer) == (OFF, OFF, OFF, SILENT)
    assert (panel.message, panel.advice_min) == (messages.PARKED_CLEAN, 0)


def test_loudness_of_every_message() -> None:
    assert {message: messages.severity(message) for message in messages.ENGLISH} == LOUDNESS
    assert NORMAL < NOTICE < WARNING < GRAVE


@pytest.mark.parametrize("row", range(len(rows.TABLE)))
def test_row_that_blocks_lights_the_lamp_of_its_loudness(row: int) -> None:
    shown = Shown(ON_DIESEL).blocked(row)
    assert shown.tick() == row
    assert shown.lamps == (*LAMPS[LOUDNESS[row]], OFF)
    assert shown.panel.buzzer == {GRAVE: INSISTENT, WARNING: REPEATED}.get(LOUDNESS[row], SILENT)


@pytest.mark.parametrize(
    ("state", "dirty", "message", "amber", "green"),
    [
        (PARKED, False, messages.PARKED_CLEAN, OFF, OFF),
        (FILLING, True, messages.FILLING, OFF, BLINK),
        (ON_OIL, True, messages.ON_OIL, OFF, STEADY),
        (PURGING, True, messages.PURGING, BLINK, OFF),
        (RUN_ON, True, messages.RUNNING_ON, OFF, OFF),
        (ON_DIESEL, False, messages.OIL_READY, STEADY, OFF),
    ],
)
def test_state_lights_its_own_lamp(state: int, dirty: bool, message: int, amber: int, green: int) -> None:
    shown = Shown(state, dirty)
    assert shown.tick() == message
    assert shown.lamps == (OFF, amber, green)


def test_parked_car_with_oil_in_its_lines_says_so_and_whether_a_purge_was_cut_short() -> None:
    for reason, message in ((KEY_OFF, messages.OIL_LEFT), (RUN_ON_ENDED, messages.PURGE_CUT)):
        shown = Shown(PARKED, dirty=True)
        shown.machine.move_reason = reason
        assert shown.tick() == message
        assert shown.lamps == (BLINK, OFF, OFF)


def test_purge_waits_while_the_engine_stands() -> None:
    shown = Shown(PURGING, dirty=True)
    shown.machine.engine_ms = 0
    assert shown.tick() == messages.PURGE_WAITS
    shown.machine.engine_ms = 1
    assert shown.tick() == messages.PURGING


def test_common_rows_are_told_only_while_waiting_on_diesel() -> None:
    for row in (rows.ENGINE, rows.OIL_COLD, rows.COOLANT_COLD, rows.DWELL, rows.LINES):
        assert Shown(PURGING, dirty=True).blocked(row).tick() == messages.PURGING
        assert Shown(ON_DIESEL).blocked(row).tick() == row
    assert Shown(PURGING, dirty=True).blocked(rows.OIL_LOW, rows.OIL_COLD).tick() == rows.OIL_LOW
    assert Shown(ON_DIESEL).blocked(rows.OIL_LOW, rows.ENGINE).tick() == rows.OIL_LOW
    told = Shown(PURGING, dirty=True)
    told.interlocks.forced = 1 << rows.SUPPLY_LOW
    assert told.tick() == rows.SUPPLY_LOW


def test_word_that_the_car_may_stop_goes_before_all_but_the_grave_and_amber_tells_of_the_rest() -> None:
    shown = Shown(ON_DIESEL)
    shown.machine.wishes.stop_held = True
    assert shown.tick() == messages.MAY_STOP
    assert shown.lamps == (OFF, OFF, OFF)
    assert shown.blocked(rows.OIL_LOW).tick() == messages.MAY_STOP
    assert shown.lamps == (OFF, STEADY, OFF)
    assert shown.blocked(rows.OIL_COLD).tick() == messages.MAY_STOP
    assert shown.lamps == (OFF, OFF, OFF)
    assert shown.blocked(rows.AIR).tick() == rows.AIR
    shown.blocked(rows.OIL_LOW)
    shown.machine.lines_dirty = True
    assert shown.tick() == rows.OIL_LOW
    shown.blocked()
    assert shown.tick() != messages.MAY_STOP


def test_ready_oil_waits_for_what_the_authority_needs() -> None:
    assert Shown(ON_DIESEL, authority=ADVISE).tick() == messages.OIL_WARM
    permit = Shown(ON_DIESEL, authority=PERMIT)
    assert permit.tick() == messages.OIL_READY
    permit.machine.wishes.ready = True
    assert permit.tick() == messages.ASK_AGAIN
    permit.machine.wishes.wanted = True
    assert permit.tick() == messages.FILLING


# how long


def test_buzzer_sounds_for_five_seconds_of_a_message_and_thirty_where_oil_was_left() -> None:
    for shown, sound, total_ms in (
        (Shown(ON_DIESEL).blocked(rows.AIR), INSISTENT, 5000),
        (Shown(ON_DIESEL).blocked(rows.OIL_LOW), REPEATED, 5000),
        (Shown(ON_OIL, dirty=True), SHORT, 5000),
        (Shown(PARKED, dirty=True), INSISTENT, 30_000),
    ):
        # the tick that brings the message starts the count
        assert shown.sounds(700, total_ms - 1, 1, 50_000) == [sound, sound, SILENT, SILENT]
    stopped = Shown(ON_DIESEL)
    stopped.machine.wishes.stop_held = True
    assert stopped.sounds(100, 4999, 1) == [SHORT, SHORT, SILENT]
    cut = Shown(PARKED, dirty=True)
    cut.machine.move_reason = RUN_ON_ENDED
    assert cut.sounds(100, 29_999, 1) == [INSISTENT, INSISTENT, SILENT]
    for silent in (Shown(PURGING, dirty=True), Shown(FILLING, dirty=True), Shown(ON_DIESEL)):
        assert silent.sounds(100, 100) == [SILENT, SILENT]


def test_each_new_message_sounds_anew() -> None:
    shown = Shown(ON_DIESEL).blocked(rows.OIL_LOW)
    assert shown.sounds(100, 6000) == [REPEATED, SILENT]
    assert shown.blocked(rows.DIESEL_LOW).sounds(100, 4999, 1) == [REPEATED, REPEATED, SILENT]


def test_time_that_a_message_stood_is_counted_no_further_than_needed() -> None:
    shown = Shown(PARKED, dirty=True)
    shown.sounds(*[1000] * 5000)
    assert 30_000 <= shown.panel._stood_ms < 31_000, "a small integer for ever"


def test_advice_stands_for_eight_seconds_unless_something_grave_is_said() -> None:
    shown = Shown(ON_OIL, dirty=True)
    shown.tick()
    for minutes, message in ((9, messages.PURGE_NOW), (10, messages.STANDING)):
        shown.panel.advise(minutes)
        assert [shown.tick(dt_ms) for dt_ms in (4000, 3999, 1, 1)] == [message, message, message, messages.ON_OIL]
        assert shown.panel.advice_min == minutes
    clean = Shown(ON_DIESEL)
    clean.panel.advise(60)
    assert clean.tick() == messages.PARKED_CLEAN
    for row, told in ((rows.OIL_LOW, True), (rows.AIR, True), (rows.OIL_COLD, False)):
        busy = Shown(ON_DIESEL).blocked(row)
        busy.panel.advise(60)
        assert (busy.tick() == row) is told
