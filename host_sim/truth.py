"""What each message claims, judged by the car: one truth predicate a message, with its tolerance and its telling time."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from changeover import messages, rows
from changeover.settings import ADVISE, PERMIT, TANK_RETURN, flow_low_ul_s, pump_entry_cdegc, purge_ul
from changeover.validate import validate
from host_sim import signals
from host_sim.fluids import refutas_index

if TYPE_CHECKING:
    from collections.abc import Callable

    from host_sim.virtual_board import VirtualBoard

# Tolerances: judgement. Temperature: the offset that the validator assumes nobody can notice; level: slosh and sensor error.
OFFSET_K = 5.0
LEVEL = 0.03
VOLTS = 0.5
SUCTION_SHARE = 0.3
KEY_S = 0.35  # a shorter turn of the key is none to a debounced board
LATE_S = 0.25  # a board that makes no tick for so long is late
# Trip-long memory: a lock-out goes on saying what was true when it latched.
_CHANNELS_OF = {
    rows.COOLANT_SENSOR: (signals.COOLANT,),
    rows.OIL_SENSOR: (signals.OIL,),
    rows.SUCTION_SENSOR: (signals.SUCTION, signals.AMBIENT_PRESSURE),
    rows.OTHER_SENSOR: (
        signals.OIL_TANK, signals.PUMP_INLET, signals.OIL_LEVEL, signals.DIESEL_LEVEL, signals.SUPPLY,
    ),
}  # fmt: skip


class Truth:
    """`observe` once a tick or less; `holds(message)` compares a claim with the car as it is, or was in this trip."""

    def __init__(self, board: VirtualBoard) -> None:
        self.board = board
        self.car = board.car
        values = board.values
        self._values = values
        self._thin = refutas_index(30.0)
        self._trip_suction_pa = 0.0
        self._known_suction_pa = 0.0
        self._low_for_s = 0.0
        self._closed_s = 1e9
        self._was_open = False
        self._reverts = 0
        self._mismatch = {rows.SUPPLY_VALVE: 0.0, rows.RETURN_VALVE: 0.0}
        self._mismatched: set[int] = set()
        self._disturbed: set[int] = set()
        self._engine_s = 0.0
        self._was_key = False
        self._air = False
        self._level_room = values["oil_full_permille"] / 1000.0
        if values["layout"] == TANK_RETURN:
            self._level_room -= purge_ul(values) / values["oil_tank_ml"] / 1000.0
        self._never_clean = board.remembers_oil()
        self._settings_bad = bool(validate(values))
        self._resets = board.watchdog_resets
        self._restarted = False
        self._reset_while_parked = False
        self._refused = False
        self._ticks = board.ticks
        self._boots = board.boots
        self._settings_lost = board.settings_damaged
        self._key_off_s = 1e9
        self._ran_since_command_s = 1e9
        self._purge_s = purge_ul(values) / flow_low_ul_s(values)
        self._silent_s = 0.0
        self._since_late_s = 1e9

    def telling_s(self, message: int) -> float:
        """How long a message may be untrue: valves travel and readings are debounced; what is held by a clearing time outlives it."""
        return 60.0 if message in _CHANNELS_OF or message in (rows.AIR, rows.HEATER) else 10.0

    def holds(self, message: int) -> bool:
        """Is what stands on the display true, within its tolerance? Raises KeyError for an id that nobody claims anything of."""
        return _claims()[message](self)

    def row_true(self, row: int) -> bool:
        """The same for a row of the interlock table: was a forced exit called for?"""
        if row == rows.OIL_COLD:
            return self.car.filter_c < self._values["oil_exit_cdegc"] / 100.0 + OFFSET_K
        if row == rows.COOLANT_COLD:
            return self.car.coolant_feed_c < self._values["coolant_exit_cdegc"] / 100.0 + OFFSET_K
        return _claims()[row](self)

    def observe(self, dt_s: float) -> None:
        """Take in what happened in the last `dt_s`."""
        car = self.car
        if car.key_on and not self._was_key and self._key_off_s >= KEY_S:
            self._new_trip()
        self._key_off_s = 0.0 if car.key_on else self._key_off_s + dt_s
        self._was_key = car.key_on
        if self._never_clean:
            self._never_clean = self.board.remembers_oil()
        self._board(dt_s)
        self._engine_s = self._engine_s + dt_s if car.engine_running else 0.0
        if car.supply_min_v < self._values["supply_block_mv"] / 1000.0 + VOLTS:
            self._low_for_s = 0.0
        else:
            self._low_for_s += dt_s
        open_now = car.supply_valve_pos > 0.5
        if open_now:
            self._closed_s = 0.0
            self._trip_suction_pa = max(self._trip_suction_pa, car.suction_pa)
            self._known_suction_pa = max(self._known_suction_pa, car.suction_pa)
            if car.air_leak > 0.0 or car.oil_level < 0.05:
                self._air = True
        else:
            self._closed_s += dt_s
            if self._was_open:
                self._reverts += 1
        self._was_open = open_now
        self._valve(rows.SUPPLY_VALVE, open_now != self.board.supply_pin, dt_s)
        self._valve(rows.RETURN_VALVE, (car.return_valve_pos > 0.5) != self.board.return_pin, dt_s)
        for active in self.board.injector.active:
            if active.is_digital:
                continue
            self._disturbed.update(
                signals.PICO_CHANNELS if active.kind == "ground_lifted"
                else range(signals.OIL_TANK, len(signals.ANALOG_NAMES)) if active.kind == "silent"
                else (active.index, active.other) if active.kind == "swapped"
                else (active.index,)
            )  # fmt: skip

    def _new_trip(self) -> None:
        self._trip_suction_pa = 0.0
        self._reverts = 0
        self._mismatched.clear()
        self._disturbed.clear()
        self._air = False
        self._refused = False
        self._restarted = self._reset_while_parked  # nobody has been told of that one yet
        self._reset_while_parked = False

    def _board(self, dt_s: float) -> None:
        """What happens to the board itself: restarts, refused writes, ticks that do not come."""
        board = self.board
        self._refused = self._refused or board.flash_refuses
        if board.boots != self._boots:
            self._boots = board.boots
            self._settings_lost = board.settings_damaged
        if board.supply_pin:
            self._ran_since_command_s = 0.0
        elif self.car.engine_running:
            self._ran_since_command_s += dt_s
        if board.watchdog_resets != self._resets:
            self._resets = board.watchdog_resets
            self._restarted = True
            self._reset_while_parked = not self.car.key_on
        self._since_late_s += dt_s
        if not board.powered or board.ticks != self._ticks:
            self._ticks = board.ticks
            self._silent_s = 0.0
            return
        self._silent_s += dt_s
        if self._silent_s > LATE_S:
            self._since_late_s = 0.0

    def _valve(self, row: int, away: bool, dt_s: float) -> None:
        self._mismatch[row] = self._mismatch[row] + dt_s if away else 0.0
        if self._mismatch[row] > 1.0:
            self._mismatched.add(row)

    def _sensor(self, row: int) -> bool:
        return any(channel in self._disturbed for channel in _CHANNELS_OF[row])

    def _restricted(self) -> bool:
        limit = self._values["suction_block_pa"] * (1.0 - SUCTION_SHARE)
        return max(self._known_suction_pa, self._trip_suction_pa) > limit

    def _coldest_c(self) -> float:
        car = self.car
        return min(car.filter_c, car.tank_outlet_c) if self._values["fit_oil_tank_ntc"] else car.filter_c

    def _warm(self) -> bool:
        return self._coldest_c() > self._values["oil_entry_cdegc"] / 100.0 - OFFSET_K

    def _loop_cold(self) -> bool:
        return self.car.pump_inlet_c < pump_entry_cdegc(self._values) / 100.0 + OFFSET_K

    def _ready(self) -> bool:
        return self.board.signals.cockpit.ready

    def _clean(self) -> bool:
        """Thin enough to start on at the worst cold that the settings expect, or at today's, whichever is colder."""
        car = self.car
        cold = min(car.ambient_c, self._values["ambient_worst_cdegc"] / 100.0)
        return car.fuel_table.index(cold, car.path.worst_inside_oil) < self._thin

    def _oil_left(self) -> bool:
        """Also on a board whose flash has never said that the lines are clean, and where oil was let in, whether or not it came:
        until the purge that has to follow could have passed."""
        return (
            self.car.path.worst_inside_oil > 0.0 or self._never_clean or self._ran_since_command_s < self._purge_s + 5.0
        )


@lru_cache(maxsize=1)
def _claims() -> dict[int, Callable[[Truth], bool]]:
    """What each message claims of the truth."""
    return {
        rows.SETTINGS: lambda it: it._settings_bad or it._settings_lost,
        rows.STARVED: lambda it: it._trip_suction_pa > it._values["suction_starved_pa"] * (1.0 - SUCTION_SHARE),
        rows.SUPPLY_LOW: lambda it: it._low_for_s < 8.0,
        rows.SUPPLY_VALVE: lambda it: rows.SUPPLY_VALVE in it._mismatched,
        rows.RETURN_VALVE: lambda it: rows.RETURN_VALVE in it._mismatched,
        rows.NO_ROOM: lambda it: it.car.oil_level > it._level_room - LEVEL,
        rows.COOLANT_SENSOR: lambda it: it._sensor(rows.COOLANT_SENSOR),
        rows.OIL_SENSOR: lambda it: it._sensor(rows.OIL_SENSOR),
        rows.SUCTION_SENSOR: lambda it: it._sensor(rows.SUCTION_SENSOR),
        rows.OTHER_SENSOR: lambda it: it._sensor(rows.OTHER_SENSOR),
        rows.AIR: lambda it: it._air,
        rows.OIL_HOT: lambda it: it.car.filter_c > it._values["oil_hot_cdegc"] / 100.0 - 3.0 - OFFSET_K,
        rows.RESTARTED: lambda it: it._restarted,
        rows.OVERRUN: lambda it: it._since_late_s < 10.0,
        rows.MEMORY: lambda it: it._refused,
        rows.ENGINE: lambda it: it._engine_s < 5.0,
        rows.OIL_LOW: lambda it: it.car.oil_level < it._values["oil_low_block_permille"] / 1000.0 + LEVEL,
        rows.DIESEL_LOW: lambda it: it.car.diesel_level < it._values["diesel_low_block_permille"] / 1000.0 + LEVEL,
        rows.LINES: lambda it: it._oil_left(),
        rows.RESTRICTED: lambda it: it._restricted(),
        rows.CHATTER: lambda it: it._reverts > it._values["reverts_max"],
        rows.HEATER: lambda it: it.car.heater_dead,
        rows.OIL_COLD: lambda it: it._coldest_c() < it._values["oil_entry_cdegc"] / 100.0 + OFFSET_K or it._loop_cold(),
        rows.COOLANT_COLD: lambda it: it.car.coolant_feed_c < it._values["coolant_entry_cdegc"] / 100.0 + OFFSET_K,
        rows.DWELL: lambda it: it._closed_s < it._values["dwell_diesel_s"] + 5.0,
        messages.FILLING: lambda it: it.car.supply_valve_pos > 0.5,
        messages.ON_OIL: lambda it: it.car.supply_valve_pos > 0.5,
        messages.PURGING: lambda it: it.car.supply_valve_pos < 0.5 and it.car.engine_running,
        messages.PURGE_WAITS: lambda it: not it.car.engine_running or it._engine_s < 2.0,
        messages.MAY_STOP: lambda it: it._clean(),
        messages.OIL_READY: lambda it: it._warm() and it._values["authority"] != ADVISE and not it._ready(),
        messages.ASK_AGAIN: lambda it: it._warm() and it._values["authority"] == PERMIT and it._ready(),
        messages.OIL_WARM: lambda it: it._warm() and it._values["authority"] == ADVISE,
        messages.PARKED_CLEAN: lambda it: it._clean(),
        messages.OIL_LEFT: lambda it: it._oil_left(),
        messages.RUNNING_ON: lambda it: it.car.engine_running and not it.car.key_on,
        messages.PURGE_CUT: lambda it: it.car.path.worst_inside_oil > 0.0,
        # a forecast: judged when the time is up, by the planner of stops, not while it stands
        messages.STANDING: lambda it: it.car.filter_c > it._values["oil_restart_cdegc"] / 100.0 - OFFSET_K,
        messages.PURGE_NOW: lambda it: it._oil_left(),
    }
