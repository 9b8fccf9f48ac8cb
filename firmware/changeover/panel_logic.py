"""Which message stands, and what lamps and buzzer make of it. Place and blinking carry meaning, not colour alone."""

from changeover import messages
from changeover.interlocks import Interlocks
from changeover.machine import Machine
from changeover.reasons import RUN_ON_ENDED
from changeover.settings import ADVISE
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING

OFF, STEADY, BLINK = range(3)
SILENT, SHORT, REPEATED, INSISTENT = range(4)
_SOUND_MS = 5000
_OIL_LEFT_MS = 30000
_ADVICE_MS = 8000
_SHORTEST_MIN = 10  # a shorter stop is not worth the risk of a delay: purge


class PanelLogic:
    """`message` is the one that is shown; `red`, `amber`, `green` and `buzzer` follow from it and the state."""

    def __init__(self, interlocks: Interlocks, machine: Machine) -> None:
        self._interlocks = interlocks
        self._machine = machine
        self.message = messages.PARKED_CLEAN
        self.red = OFF
        self.amber = OFF
        self.green = OFF
        self.buzzer = SILENT
        self.advice_min = 0
        self._advice_ms = 0
        self._stood_ms = 0
        self._withheld = False  # a warning stands behind PURGE COMPLETE: the amber lamp says so

    def advise(self, standing_min: int) -> None:
        """A short press asked: show for how many minutes the car may stand, unless something grave is being said."""
        self.advice_min = standing_min
        self._advice_ms = _ADVICE_MS

    def step(self, dt_ms: int) -> None:
        """One tick, after the machine's."""
        message = self._choose()
        if self._advice_ms > 0:
            self._advice_ms -= dt_ms
            if messages.severity(message) < messages.WARNING:
                message = self._advice()
        if message != self.message:
            self.message = message
            self._stood_ms = 0
        elif self._stood_ms < _OIL_LEFT_MS:
            self._stood_ms += dt_ms
        state = self._machine.state
        loud = messages.severity(message)
        self.red = OFF if loud < messages.GRAVE else BLINK
        noticed = loud == messages.WARNING or loud == messages.NOTICE or self._withheld
        self.amber = BLINK if state == PURGING else STEADY if noticed else OFF
        self.green = STEADY if state == ON_OIL else BLINK if state == FILLING else OFF
        self.buzzer = self._sound(message, loud)

    def _advice(self) -> int:
        if not self._machine.lines_dirty:
            return messages.PARKED_CLEAN
        return messages.STANDING if self.advice_min >= _SHORTEST_MIN else messages.PURGE_NOW

    def _sound(self, message: int, loud: int) -> int:
        if message == messages.OIL_LEFT or message == messages.PURGE_CUT:
            return INSISTENT if self._stood_ms < _OIL_LEFT_MS else SILENT
        if self._stood_ms >= _SOUND_MS:
            return SILENT
        if loud == messages.GRAVE:
            return INSISTENT
        if loud == messages.WARNING:
            return REPEATED
        return SHORT if message == messages.MAY_STOP or message == messages.ON_OIL else SILENT

    def _choose(self) -> int:
        machine = self._machine
        state = machine.state
        self._withheld = False
        if state == PARKED:
            if not machine.lines_dirty:
                return messages.PARKED_CLEAN
            return messages.PURGE_CUT if machine.move_reason == RUN_ON_ENDED else messages.OIL_LEFT
        blocked = self._interlocks.blocked | self._interlocks.forced
        told = messages.uncommon(blocked)
        # the driver waits for the word that he may stop; only a grave one goes first
        done = state == ON_DIESEL and machine.wishes.stop_held and not machine.lines_dirty
        self._withheld = done and told != 0 and messages.severity(self._interlocks.lowest(told)) < messages.GRAVE
        if told and not self._withheld:
            return self._interlocks.lowest(told)
        if state == ON_DIESEL:
            return self._waiting(blocked)
        if state == PURGING:
            return messages.PURGING if machine.engine_ms else messages.PURGE_WAITS
        if state == FILLING:
            return messages.FILLING
        return messages.ON_OIL if state == ON_OIL else messages.RUNNING_ON

    def _waiting(self, blocked: int) -> int:
        wishes = self._machine.wishes
        if wishes.stop_held and not self._machine.lines_dirty:
            return messages.MAY_STOP
        if blocked:
            return self._interlocks.lowest(blocked)
        if wishes.wanted:
            return messages.FILLING
        if wishes.authority == ADVISE:
            return messages.OIL_WARM
        return messages.ASK_AGAIN if wishes.ready else messages.OIL_READY
