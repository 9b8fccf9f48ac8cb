"""What lamps and buzzer do in this tick of 100 ms, from the patterns that the law asks for. Takes nothing from the heap.

Red is danger, amber caution, green normal (ISO 2575, IEC 60073; from memory). Red blinks 2.5 times a second, the others
0.7 times: the "normal" and the "slow" rate of IEC 60073, 1.4 to 2.8 and 0.4 to 0.8 Hz (from secondary sources). So rate and
place tell them apart without their colours.
"""

from changeover.panel_logic import BLINK, INSISTENT, OFF, REPEATED, SHORT, SILENT

_RED_TICKS, _SLOW_TICKS = 2, 7  # lit as long as dark
_BEEP_TICKS, _REPEAT_TICKS, _INSIST_TICKS = 2, 10, 4  # of a beep; from beep to beep
_ROUND = 140  # ticks after which all of them begin anew together


class LampPatterns:
    """`red`, `amber`, `green`, `buzzer`: on or off in this tick."""

    def __init__(self) -> None:
        self.red = False
        self.amber = False
        self.green = False
        self.buzzer = False
        self._tick = 0
        self._sound = SILENT
        self._sound_ticks = 0

    def step(self, red: int, amber: int, green: int, sound: int) -> None:
        """One tick: patterns of `panel_logic`. A new sound begins at once."""
        self._tick = (self._tick + 1) % _ROUND
        self.red = self._lit(red, _RED_TICKS)
        self.amber = self._lit(amber, _SLOW_TICKS)
        self.green = self._lit(green, _SLOW_TICKS)
        if sound != self._sound:
            self._sound = sound
            self._sound_ticks = 0
        self.buzzer = self._sounds()
        self._sound_ticks += 1
        if self._sound_ticks == _ROUND:
            self._sound_ticks = _BEEP_TICKS if sound == SHORT else 0

    def _lit(self, pattern: int, ticks: int) -> bool:
        if pattern == BLINK:
            return self._tick // ticks % 2 == 0
        return pattern != OFF

    def _sounds(self) -> bool:
        if self._sound == SHORT:
            return self._sound_ticks < _BEEP_TICKS
        if self._sound == REPEATED:
            return self._sound_ticks % _REPEAT_TICKS < _BEEP_TICKS
        return self._sound == INSISTENT and self._sound_ticks % _INSIST_TICKS < _BEEP_TICKS
