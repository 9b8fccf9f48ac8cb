"""The states. De-energised is diesel: every way out of oil is shorter than the way in."""

from changeover import reasons, rows
from changeover.inputs import BONNET, BRAKE, BUTTON, ENGINE, KEY, NEUTRAL, READY, Inputs
from changeover.interlocks import Interlocks
from changeover.lines import Lines
from changeover.settings import LOOPED_RETURN
from changeover.wishes import Wishes

PARKED, ON_DIESEL, FILLING, ON_OIL, PURGING, RUN_ON = range(6)
STATES = ("PARKED", "ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "RUN_ON")

_SUPPLY_AFTER_MS, _RETURN_AFTER_MS = 3000, 500  # engine run time before a valve may be energised
_SATURATED_MS = 0x10000000
_STOPS_RUN_ON = 1 << rows.COOLANT_SENSOR | 1 << rows.OIL_SENSOR | 1 << rows.OIL_HOT | 1 << rows.ENGINE


class Machine:
    """Decides one transition a tick at most. `moves` counts transitions and refusals; the last one stands in `move_*`."""

    def __init__(self, values: dict[str, int], inputs: Inputs, interlocks: Interlocks, lines_dirty: bool) -> None:
        self._inputs = inputs
        self._interlocks = interlocks
        self.lines = Lines(values)
        self.wishes = Wishes(values["authority"])
        self._looped = values["layout"] == LOOPED_RETURN
        self._forbids_purge = rows.FORBIDS_PURGE & ~rows.NOT_IN_LOOP if self._looped else rows.FORBIDS_PURGE
        self._run_on_ms = values["run_on_s"] * 1000
        self._dwell_full_ms = values["dwell_diesel_s"] * 1000
        self.state = PARKED
        self.lines_dirty = lines_dirty
        self.record_dirty = lines_dirty
        self.write_wanted = False
        self.memory_bad = False
        self.supply_on = False
        self.return_on = False
        self.engine_ms = 0
        self.state_ms = 0
        self.dwell_ms = 0
        self.reverts = 0
        self.moves = 0
        self.move_from = PARKED
        self.move_to = PARKED
        self.move_reason = reasons.KEY_OFF

    def step(self, dt_ms: int) -> None:
        """One tick, after inputs and interlocks; `dt_ms` 0 .. 1000."""
        contact = self._inputs.contact
        running = contact[ENGINE].on
        self.engine_ms = min(self.engine_ms + dt_ms, _SATURATED_MS) if running else 0
        self.state_ms = min(self.state_ms + dt_ms, _SATURATED_MS)
        self.dwell_ms = max(self.dwell_ms - dt_ms, 0)
        if self.wishes.step(contact[BUTTON].on, contact[READY].on, dt_ms):
            self._asked()
        self.wishes.decide()
        if not contact[KEY].on:
            self._key_off(running, dt_ms)
        elif self.state == PARKED or self.state == RUN_ON:
            self._go(PURGING if self.lines_dirty else ON_DIESEL, reasons.KEY_ON)
        elif self.state == ON_DIESEL:
            self._on_diesel()
        elif self.state == PURGING:
            self._purging(running, dt_ms)
        else:
            self._oil(dt_ms)
        self._drive_valves()

    def written(self, succeeded: bool) -> None:
        """The board's answer to `write_wanted`: the record is in flash and reads back, or it is not."""
        self.write_wanted = False
        if not succeeded:
            self.memory_bad = True
            self.record_dirty = True

    def restart(self) -> None:
        """Key-on: what belongs to one trip begins anew."""
        self.reverts = 0
        self.dwell_ms = 0
        self.wishes.restart()
        self.memory_bad = False

    def _asked(self) -> None:
        if self.state == PARKED:
            return
        if self._interlocks.blocked:
            refused = self._interlocks.lowest(self._interlocks.blocked)
        elif self.wishes.stop_held:
            refused = reasons.STOPPING_SOON
        elif self.state != ON_DIESEL:
            refused = reasons.ALREADY_MOVING
        else:
            self.wishes.granted = True
            return
        self._note(self.state, refused)

    def _key_off(self, running: bool, dt_ms: int) -> None:
        if self.state == PARKED:
            return
        if self.state == RUN_ON:
            if self.lines.purge(dt_ms):
                self._clean()
                self._go(PARKED, reasons.PURGED)
            elif not self._may_run_on() or self.state_ms >= self._run_on_ms:
                self._go(PARKED, reasons.RUN_ON_ENDED)
        elif self.lines_dirty and running and self._run_on_ms and self._may_run_on():
            if self.state != PURGING:
                self.lines.begin_purge()
            self._go(RUN_ON, reasons.KEY_OFF)
        else:
            self._go(PARKED, reasons.KEY_OFF)

    def _may_run_on(self) -> bool:
        contact = self._inputs.contact
        if not (contact[BRAKE].on and contact[NEUTRAL].on and contact[BONNET].on):
            return False
        return self._interlocks.forced & (_STOPS_RUN_ON | self._forbids_purge) == 0

    def _on_diesel(self) -> None:
        if self.lines_dirty:
            if self._interlocks.forced & self._forbids_purge == 0:
                self._go(PURGING, reasons.PURGE_RESUMED)
        elif self._interlocks.blocked or not self.wishes.wanted:
            if self.record_dirty and not self.write_wanted and not self.memory_bad:
                self.record_dirty = False  # announced, but nothing was let in
                self.write_wanted = True
        elif not self.record_dirty:
            self.record_dirty = True
            self.write_wanted = True
        elif not self.write_wanted:
            self.lines.begin_fill()
            self.lines_dirty = True
            self._go(ON_OIL if self._looped else FILLING, reasons.ALLOWED)

    def _oil(self, dt_ms: int) -> None:
        forced = self._interlocks.forced
        if forced:
            self._revert(forced)
        elif not self.wishes.wanted:
            self._begin_purge(reasons.STOPPING_SOON if self.wishes.stop_held else reasons.SELECTOR)
        elif self.state == FILLING and self.lines.fill(dt_ms):
            self._go(ON_OIL, reasons.FILLED)

    def _revert(self, forced: int) -> None:
        self.wishes.granted = False
        reason = self._interlocks.lowest(forced)
        if reason != rows.ENGINE:  # a stalled engine is no chattering threshold
            self.reverts += 1
        if forced & self._forbids_purge:
            self.lines.begin_purge()
            self._go(ON_DIESEL, reason)
        else:
            self._begin_purge(reason)

    def _begin_purge(self, reason: int) -> None:
        self.lines.begin_purge()
        self.dwell_ms = self._dwell_full_ms
        self._go(PURGING, reason)

    def _purging(self, running: bool, dt_ms: int) -> None:
        forbidden = self._interlocks.forced & self._forbids_purge
        if forbidden:
            self._go(ON_DIESEL, self._interlocks.lowest(forbidden))
        elif running and self.lines.purge(dt_ms):
            self._clean()
            self._go(ON_DIESEL, reasons.PURGED)

    def _clean(self) -> None:
        self.lines_dirty = False
        if not self.memory_bad:
            self.record_dirty = False
            self.write_wanted = True

    def _go(self, state: int, reason: int) -> None:
        self._note(state, reason)
        self.state = state
        self.state_ms = 0

    def _note(self, state: int, reason: int) -> None:
        self.moves += 1
        self.move_from = self.state
        self.move_to = state
        self.move_reason = reason

    def _drive_valves(self) -> None:
        state = self.state
        self.supply_on = (state == FILLING or state == ON_OIL) and self.engine_ms >= _SUPPLY_AFTER_MS
        self.return_on = (
            not self._looped
            and (state == ON_OIL or state == PURGING or state == RUN_ON)
            and self.engine_ms >= _RETURN_AFTER_MS
        )
