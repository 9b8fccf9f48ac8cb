"""Rules of trust that need more than one channel: frozen, swapped, ground lifted, irrational. Runs once a second."""

from changeover.inputs import Inputs
from changeover.sensing import (
    COOLANT,
    FROZEN,
    GOOD,
    GROUND_LIFTED,
    IRRATIONAL,
    JUMPED,
    OIL,
    OPEN,
    SUCTION,
    SWAPPED,
    Channel,
)

_SOAK_CDEGC = 500  # oil = coolant within 5 K at key-on: cold soak
_STILL_CDEGC = 50  # a reading that moved less than this did not move
_EXPECTED = 500 * 600  # 5 K, in units of 0.01 K * s over the slowest believable warm-up of 600 s for 5 K
_COLD_ENGINE_CDEGC = 5000
_ABOVE_CDEGC = 1500  # oil is heated by coolant alone: this much above everything seen in the trip cannot be
_LAG_CDEGC = 2500  # oil may stand this far below coolant for ever (losses); only what is beyond counts


def _lost(channel: Channel) -> int:
    return 1 if channel.reason == OPEN or channel.reason == JUMPED else 0


class Trust:
    """Holds what has been seen since key-on; `second` gives verdicts to the channels."""

    def __init__(self, inputs: Inputs) -> None:
        self._coolant = inputs.channel[COOLANT]
        self._oil = inputs.channel[OIL]
        self._suction = inputs.channel[SUCTION]
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

    def tick(self) -> None:
        """Every tick: two of the three sensors on the common ground lost upward at once is the ground."""
        if _lost(self._coolant) + _lost(self._oil) + _lost(self._suction) >= 2:
            self._coolant.distrust(GROUND_LIFTED)
            self._oil.distrust(GROUND_LIFTED)
            self._suction.distrust(GROUND_LIFTED)

    def second(self, engine_running: bool, heater_used: bool) -> None:
        """Once a second; `heater_used`: the electric filter heater was on in this trip, so oil may lead coolant."""
        if self._coolant.reason != GOOD or self._oil.reason != GOOD:
            return
        if not self._seen:
            self._begin()
            return
        self._top = max(self._top, self._coolant.value)
        lead = self._oil.value - self._coolant.value
        if not heater_used and self._soaked and lead > _ABOVE_CDEGC:
            self._coolant.distrust(SWAPPED)
            self._oil.distrust(SWAPPED)
        elif not heater_used and self._oil.value > self._top + _ABOVE_CDEGC:
            self._oil.distrust(IRRATIONAL)
        else:
            self._coolant_frozen(engine_running)
            self._oil_frozen(engine_running, abs(lead) - _LAG_CDEGC)

    def _begin(self) -> None:
        coolant = self._coolant.value
        oil = self._oil.value
        self._seen = True
        self._soaked = -_SOAK_CDEGC <= oil - coolant <= _SOAK_CDEGC
        self._top = max(coolant, oil)
        self._coolant_ref = coolant
        self._oil_ref = oil
        self._coolant_due = 0
        self._oil_due = 0

    def _coolant_frozen(self, engine_running: bool) -> None:
        value = self._coolant.value
        if abs(value - self._coolant_ref) > _STILL_CDEGC:
            self._coolant_ref = value
            self._coolant_due = 0
        elif engine_running and value < _COLD_ENGINE_CDEGC:
            self._coolant_due += 500  # a running engine that is cold warms by at least 5 K in 600 s
            if self._coolant_due >= _EXPECTED:
                self._coolant.distrust(FROZEN)

    def _oil_frozen(self, engine_running: bool, gap_cdegc: int) -> None:
        value = self._oil.value
        if abs(value - self._oil_ref) > _STILL_CDEGC:
            self._oil_ref = value
            self._oil_due = 0
        elif engine_running and gap_cdegc > 0:
            self._oil_due += gap_cdegc // 5  # time constant 3000 s, slower than any tank that is worth heating
            if self._oil_due >= _EXPECTED:
                self._oil.distrust(FROZEN)
