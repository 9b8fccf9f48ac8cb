"""Rules of trust that need more than one channel: frozen, swapped, ground lifted, irrational. Runs once a second."""

from changeover.inputs import Inputs
from changeover.sensing import COOLANT, FROZEN, GOOD, GROUND_LIFTED, IRRATIONAL, JUMPED, OIL, OPEN, SUCTION, SWAPPED

_SOAK_CDEGC = 500  # oil = coolant within 5 K at key-on: cold soak
_STILL_CDEGC = 50  # a reading that moved less than this did not move
_EXPECTED = 500 * 600  # 5 K, in units of 0.01 K * s over the slowest believable warm-up of 600 s for 5 K
_ABOVE_CDEGC = 1500  # oil is heated by coolant alone: this much above everything seen in the trip cannot be
_LAG_CDEGC = 2500  # oil may stand this far below coolant for ever (losses); only what is beyond counts


class Trust:
    """Holds what has been seen since key-on; `second` gives verdicts to the channels."""

    def __init__(self) -> None:
        self._coolant_ref = 0
        self._oil_ref = 0
        self._coolant_due = 0
        self._oil_due = 0
        self._top = 0
        self._soaked = False
        self._seen = False

    def restart(self) -> None:
        """A new trip begins."""
        self._seen = False

    def tick(self, inputs: Inputs) -> None:
        """Every tick: two of the three sensors on the common ground lost upward at once is the ground."""
        channel = inputs.channel
        lost = 0
        for index in (COOLANT, OIL, SUCTION):
            if channel[index].reason == OPEN or channel[index].reason == JUMPED:
                lost += 1
        if lost >= 2:
            for index in (COOLANT, OIL, SUCTION):
                channel[index].distrust(GROUND_LIFTED)

    def second(self, inputs: Inputs, engine_running: bool, heater_used: bool) -> None:
        """Once a second; `heater_used`: the electric filter heater was on in this trip, so oil may lead coolant."""
        coolant = inputs.channel[COOLANT]
        oil = inputs.channel[OIL]
        if coolant.reason != GOOD or oil.reason != GOOD:
            return
        lead = oil.value - coolant.value
        if not self._seen:
            self._seen = True
            self._soaked = -_SOAK_CDEGC <= lead <= _SOAK_CDEGC
            self._top = max(coolant.value, oil.value)
            self._coolant_ref = coolant.value
            self._oil_ref = oil.value
            self._coolant_due = 0
            self._oil_due = 0
            return
        if coolant.value > self._top:
            self._top = coolant.value
        if not heater_used:
            if self._soaked and lead > _ABOVE_CDEGC:
                coolant.distrust(SWAPPED)
                oil.distrust(SWAPPED)
                return
            if oil.value > self._top + _ABOVE_CDEGC:
                oil.distrust(IRRATIONAL)
                return
        if abs(coolant.value - self._coolant_ref) > _STILL_CDEGC:
            self._coolant_ref = coolant.value
            self._coolant_due = 0
        elif engine_running and coolant.value < 5000:
            self._coolant_due += 500  # a running engine below 50 degC warms by at least 5 K in 600 s
            if self._coolant_due >= _EXPECTED:
                coolant.distrust(FROZEN)
        if abs(oil.value - self._oil_ref) > _STILL_CDEGC:
            self._oil_ref = oil.value
            self._oil_due = 0
        elif engine_running:
            gap = abs(lead) - _LAG_CDEGC
            if gap > 0:  # time constant 3000 s, slower than any tank that is worth heating
                self._oil_due += gap // 5
                if self._oil_due >= _EXPECTED:
                    oil.distrust(FROZEN)
