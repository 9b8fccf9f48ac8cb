"""When a purge may go on, and when the engine may be held running for it after the key."""

from changeover import rows
from changeover.inputs import BONNET, BRAKE, ENGINE, NEUTRAL, Inputs
from changeover.interlocks import Interlocks
from changeover.lines import Lines
from changeover.settings import ADVISE, LOOPED_RETURN
from changeover.states import PARKED, RUN_ON, States

_STOPS_RUN_ON = (
    1 << rows.COOLANT_SENSOR | 1 << rows.OIL_SENSOR | 1 << rows.OIL_HOT | 1 << rows.ENGINE | 1 << rows.SUPPLY_VALVE
)


class PurgeRules(States):
    """States with inputs and interlocks at hand. `run_on_ms`: how long an engine may be held on; 0: not at all."""

    def __init__(self, values: dict[str, int], inputs: Inputs, interlocks: Interlocks, lines_dirty: bool) -> None:
        super().__init__(values, lines_dirty)
        self._inputs = inputs
        self._interlocks = interlocks
        self.lines = Lines(values)
        in_loop = values["layout"] == LOOPED_RETURN
        self._forbids_purge = rows.FORBIDS_PURGE & ~rows.NOT_IN_LOOP if in_loop else rows.FORBIDS_PURGE
        self.run_on_ms = 0 if values["authority"] == ADVISE else values["run_on_s"] * 1000

    def holds_engine(self) -> bool:
        """Run-on relay: closed already before the key goes off, else the engine would stop while that is debounced."""
        return self.state == RUN_ON or (self.state != PARKED and self.may_begin_run_on())

    def may_begin_run_on(self) -> bool:
        """Would the engine be held on if the key went off now?"""
        return self.run_on_ms > 0 and self.lines_dirty and self._inputs.contact[ENGINE].on and self.may_run_on()

    def may_run_on(self) -> bool:
        """Do switches and interlocks let a held-on engine run?"""
        contact = self._inputs.contact
        if not (contact[BRAKE].on and contact[NEUTRAL].on and contact[BONNET].on):
            return False
        return self._interlocks.forced & _STOPS_RUN_ON == 0 and self.forbidden() == 0

    def forbidden(self) -> int:
        """Rows that end a purge now. While the valve is in doubt, all diesel may be going into the oil tank: then low diesel too.
        One that did not follow ends it, unbelieved, once the whole volume has passed."""
        forbids = self._forbids_purge
        if self.valve_in_doubt:
            forbids |= 1 << rows.DIESEL_LOW
        elif self.lines.credit_ul >= self.lines.purge_target_ul:
            forbids |= 1 << rows.SUPPLY_VALVE
        return self._interlocks.forced & forbids
