"""What the state machine remembers, how it records a move, which valve each state wants. Decisions: `machine`."""

from changeover import reasons
from changeover.settings import ADVISE, LOOPED_RETURN

PARKED, ON_DIESEL, FILLING, ON_OIL, PURGING, RUN_ON = range(6)
STATES = ("PARKED", "ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "RUN_ON")

SUPPLY_AFTER_MS, RETURN_AFTER_MS = 3000, 500  # engine run time before a valve may be energised


class States:
    """`moves` counts transitions and refusals; the last stands in `move_*`. `record_dirty`: what flash shall say."""

    def __init__(self, values: dict[str, int], lines_dirty: bool) -> None:
        self._looped = values["layout"] == LOOPED_RETURN
        self._moves_valves = values["authority"] != ADVISE
        self.state = PARKED
        self.lines_dirty = lines_dirty
        self.record_dirty = lines_dirty
        self.write_wanted = False
        self.memory_bad = False
        self.valve_in_doubt = False  # the supply valve has yet to show that it is where it was sent
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

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        """The board's answer: the record that said `said_dirty` is in flash and reads back, or it is not."""
        self.write_wanted = succeeded and said_dirty != self.record_dirty  # another answer was wanted meanwhile
        if not succeeded:
            self.memory_bad = True
            self.record_dirty = True

    def note(self, state: int, reason: int) -> None:
        """Record a move to `state`, or a refusal where that is the present one."""
        self.moves += 1
        self.move_from = self.state
        self.move_to = state
        self.move_reason = reason

    def go(self, state: int, reason: int) -> None:
        """Enter `state`. Parking asks for a write: trips, suction, and no oil where it was announced but not let in."""
        self.note(state, reason)
        self.state = state
        self.state_ms = 0
        if state == PARKED:
            if not self.memory_bad:
                self.record_dirty = self.lines_dirty
            self.write_wanted = True

    def oil_may_come(self) -> None:
        """A valve that did not go to diesel lets oil in, whatever the state."""
        self.lines_dirty = True
        if not self.record_dirty:
            self.record_dirty = True
            self.write_wanted = True

    def clean(self) -> None:
        """The whole purge volume is credited."""
        self.lines_dirty = False
        self.record_dirty = False
        self.write_wanted = True

    def drive_valves(self) -> None:
        """Commands of this state; under `advise` none is ever given."""
        state = self.state
        may = self._moves_valves
        self.supply_on = may and (state == FILLING or state == ON_OIL) and self.engine_ms >= SUPPLY_AFTER_MS
        self.return_on = (
            may
            and not self._looped
            and (state == ON_OIL or state == PURGING or state == RUN_ON)
            and self.engine_ms >= RETURN_AFTER_MS
        )
