"""What the driver asks for, by selector and button, within the authority that the settings give the board."""

from changeover.settings import ADVISE, PERMIT

_LONG_PRESS_MS = 2000
_SATURATED_MS = 0x10000000


class Wishes:
    """`wanted`: oil, now. `ready`: the selector, as last seen. `stop_held`: "stopping soon", from one long press to the
    next. `short_presses` ask advice.
    """

    def __init__(self, authority: int) -> None:
        self.authority = authority
        self.wanted = False
        self.granted = False
        self.stop_held = False
        self.short_presses = 0
        self.ready = False
        self._press_ms = 0

    def restart(self) -> None:
        """Key-on: nothing is granted, nobody is stopping."""
        self.granted = False
        self.stop_held = False

    def step(self, pressed: bool, ready: bool, dt_ms: int) -> bool:
        """One tick; true on the edge DIESEL to READY under `permit`, which asks and must be answered by `granted`."""
        if pressed:
            before = self._press_ms
            self._press_ms = min(before + dt_ms, _SATURATED_MS)
            if before < _LONG_PRESS_MS <= self._press_ms:
                self.stop_held = not self.stop_held
        else:
            if 0 < self._press_ms < _LONG_PRESS_MS:
                self.short_presses += 1
            self._press_ms = 0
        edge = ready and not self.ready
        self.ready = ready
        if not ready or self.stop_held:
            self.granted = False
        return edge and self.authority == PERMIT

    def decide(self) -> None:
        """After the edge was answered: does the driver want oil, and may the board act on it?"""
        if self.authority == ADVISE or self.stop_held:
            self.wanted = False
        else:
            self.wanted = self.granted if self.authority == PERMIT else self.ready
