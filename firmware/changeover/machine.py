"""The decisions of the state machine. De-energised is diesel: every way out of oil is shorter than the way in."""

from changeover import reasons, rows
from changeover.inputs import BUTTON, ENGINE, KEY, READY, Inputs
from changeover.interlocks import Interlocks
from changeover.purge_rules import PurgeRules
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON
from changeover.wishes import Wishes

_SATURATED_MS = 0x10000000


class Machine(PurgeRules):
    """Decides at most one transition a tick."""

    def __init__(self, values: dict[str, int], inputs: Inputs, interlocks: Interlocks, lines_dirty: bool) -> None:
        super().__init__(values, inputs, interlocks, lines_dirty)
        self.wishes = Wishes(values["authority"])
        self._dwell_full_ms = values["dwell_diesel_s"] * 1000

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
        if running and self.valve_in_doubt and self._interlocks.forced >> rows.SUPPLY_VALVE & 1:
            self.oil_may_come()
            self.lines.begin_purge()  # what was credited before is void
        if not contact[KEY].on:
            self._key_off(dt_ms)
        elif self.state == PARKED or self.state == RUN_ON:
            self.go(PURGING if self.lines_dirty else ON_DIESEL, reasons.KEY_ON)
        elif self.state == ON_DIESEL:
            self._on_diesel()
        elif self.state == PURGING:
            self._purging(running, dt_ms)
        else:
            self._oil(dt_ms)
        self.drive_valves()

    def restart(self) -> None:
        """Key-on: what belongs to one trip begins anew."""
        self.reverts = 0
        self.dwell_ms = 0
        self.wishes.restart()
        self.write_wanted = self.write_wanted or (self.memory_bad and self.lines_dirty)  # not in flash yet: try again
        self.memory_bad = False

    def _asked(self) -> None:
        if self.state == PARKED:
            return
        against = self._interlocks.blocked | self._interlocks.forced
        if against:
            refused = self._interlocks.lowest(against)
        elif self.wishes.stop_held:
            refused = reasons.STOPPING_SOON
        else:
            self.wishes.granted = True
            return
        self.note(self.state, refused)

    def _key_off(self, dt_ms: int) -> None:
        if self.state == PARKED:
            return
        if self.state == RUN_ON:
            if self._credited(dt_ms):
                self.clean()
                self.go(PARKED, reasons.PURGED)
            elif not self.may_run_on() or self.state_ms >= self.run_on_ms:
                self.go(PARKED, reasons.RUN_ON_ENDED)
        elif self.may_begin_run_on():
            if self.state != PURGING:
                self.lines.begin_purge()
            self.go(RUN_ON, reasons.KEY_OFF)
        else:
            self.go(PARKED, reasons.KEY_OFF)

    def _on_diesel(self) -> None:
        interlocks = self._interlocks
        if self.lines_dirty:
            if self.forbidden() == 0:
                self.go(PURGING, reasons.PURGE_RESUMED)
        elif interlocks.blocked or interlocks.forced or not self.wishes.wanted:
            if self.record_dirty and not self.write_wanted and not self.memory_bad:
                self.record_dirty = False  # announced, but nothing was let in
                self.write_wanted = True
        elif not self.record_dirty:
            self.record_dirty = True
            self.write_wanted = True
        elif not self.write_wanted:
            self.lines.begin_fill()
            self.lines_dirty = True
            self.go(ON_OIL if self._looped else FILLING, reasons.ALLOWED)

    def _oil(self, dt_ms: int) -> None:
        forced = self._interlocks.forced
        if forced:
            self._revert(forced)
        elif not self.wishes.wanted:
            self._leave_oil(PURGING, reasons.STOPPING_SOON if self.wishes.stop_held else reasons.SELECTOR)
        elif self.state == FILLING and self.lines.fill(dt_ms):
            self.go(ON_OIL, reasons.FILLED)

    def _revert(self, forced: int) -> None:
        self.wishes.granted = False
        reason = self._interlocks.lowest(forced)
        if reason != rows.ENGINE:  # a stalled engine is no chattering threshold
            self.reverts += 1
        self._leave_oil(ON_DIESEL if self.forbidden() else PURGING, reason)

    def _leave_oil(self, state: int, reason: int) -> None:
        self.lines.begin_purge()
        self.dwell_ms = self._dwell_full_ms
        self.go(state, reason)

    def _purging(self, running: bool, dt_ms: int) -> None:
        forbidden = self.forbidden()
        if forbidden:
            self.go(ON_DIESEL, self._interlocks.lowest(forbidden))
        elif running and self._credited(dt_ms):
            self.clean()
            self.go(ON_DIESEL, reasons.PURGED)

    def _credited(self, dt_ms: int) -> bool:
        unbelieved = self.valve_in_doubt or self._interlocks.forced >> rows.SUPPLY_VALVE & 1 == 1
        return self.lines.purge(dt_ms) and not unbelieved
