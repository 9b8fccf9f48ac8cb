"""Has the supply valve followed, where no contact tells? Judged by the temperature at the pump inlet."""

from changeover.sensing import GOOD, Channel
from changeover.settings import TANK_RETURN, flow_low_ul_s

_DIFFERENCE_CDEGC = 1500  # less than this between the two fuels and nothing can be told
_MOVED_CDEGC = 500
_HOT_CDEGC = 5500  # diesel from a tank is colder than this


class Follower:
    """`step` is true while a change of command has not shown in the temperature within its window."""

    def __init__(self, values: dict[str, int]) -> None:
        # path volume at the lowest flow, 10 s more; whole seconds keep the worst case (3 000 000 uL at 40 uL/s) a small integer
        self._window_s = values["path_ul"] // flow_low_ul_s(values) + 11
        self._from_tank = values["layout"] == TANK_RETURN
        self._commanded = False
        self._start = 0
        self._sign = 0  # +1: a rise is due, -1: a fall, 0: nothing can be told
        self._elapsed_ms = 0
        self._elapsed_s = 0
        self._unfollowed = False

    def step(self, commanded: bool, inlet: Channel, oil: Channel, dt_ms: int) -> bool:
        """One tick with the engine running. `commanded`: supply valve energised."""
        if commanded != self._commanded:
            self._commanded = commanded
            self._unfollowed = False
            self._elapsed_ms = 0
            self._elapsed_s = 0
            self._start = inlet.value
            self._sign = 0
            if inlet.reason == GOOD and oil.reason == GOOD:
                if commanded and oil.value - inlet.value >= _DIFFERENCE_CDEGC:
                    self._sign = 1
                elif not commanded and self._from_tank and inlet.value >= _HOT_CDEGC:
                    self._sign = -1
        if self._sign == 0 or inlet.reason != GOOD:
            return self._unfollowed
        if (inlet.value - self._start) * self._sign >= _MOVED_CDEGC:
            self._sign = 0
            return False
        self._elapsed_ms += dt_ms
        if self._elapsed_ms >= 1000:
            self._elapsed_ms -= 1000
            self._elapsed_s += 1
            if self._elapsed_s >= self._window_s:
                self._sign = 0
                self._unfollowed = True
        return self._unfollowed
