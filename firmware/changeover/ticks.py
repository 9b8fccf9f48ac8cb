"""Wrapping millisecond ticks: period 2**30, as the board's own counter. Results stay small integers on 32 bits."""

_LATE_MS = 250
_UP, _TRIP, _FULL = 10, 20, 50  # a late tick counts 10 up, one in time 1 down

MASK_MS = 0x3FFFFFFF  # 2**30 - 1; the period itself would be a big integer on a 32-bit board
HALF_MS = 0x20000000


def ticks_diff(later_ms: int, earlier_ms: int) -> int:
    """Signed distance of two ticks in ms, -2**29 .. 2**29 - 1; both arguments 0 .. 2**30 - 1."""
    span = (later_ms - earlier_ms) & MASK_MS
    return span if span < HALF_MS else span - MASK_MS - 1


def ticks_add(tick_ms: int, delta_ms: int) -> int:
    """Tick `delta_ms` (0 .. 2**29 - 1) after `tick_ms`, wrapped."""
    room = MASK_MS - tick_ms  # asked first: the plain sum could leave the small integers
    return tick_ms + delta_ms if delta_ms <= room else delta_ms - room - 1


class Lateness:
    """Counts late ticks: two close together are too many. `excused`: the next pause was announced, not late."""

    def __init__(self) -> None:
        self.excused = False
        self._late = 0

    def step(self, dt_ms: int) -> bool:
        """One tick, `dt_ms` after the last; true while too many were late."""
        if dt_ms > _LATE_MS and not self.excused:
            self._late = min(self._late + _UP, _FULL)
        elif self._late:
            self._late -= 1
        self.excused = False
        return self._late >= _TRIP
