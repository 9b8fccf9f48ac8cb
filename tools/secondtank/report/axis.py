"""The time axis of a drive: driven time to scale, long parked stretches broken out."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LONG_PARKED_S = 600.0
SHOWN_PARKED_S = 60.0  # what is said at key-off and seen at key-on stays to scale on both sides of a break
BREAK_SHARE = 0.04  # of the time that stays to scale: wide enough for an upright label on a phone
ALL_BREAKS_SHARE = 0.25  # however many there are


def _interpolate(value: float, knots: Sequence[float], images: Sequence[float]) -> float:
    """Piecewise linear through the knots (strictly rising), at slope 1 beyond them."""
    if value <= knots[0]:
        return images[0] + value - knots[0]
    if value >= knots[-1]:
        return images[-1] + value - knots[-1]
    i = bisect_right(knots, value) - 1
    return images[i] + (value - knots[i]) * (images[i + 1] - images[i]) / (knots[i + 1] - knots[i])


@dataclass(frozen=True)
class TimeAxis:
    """Clock time (s since start) against place on the axis (s, shorter by what was broken out).

    Piecewise linear, rising, invertible. `clock_s` and `axis_s` are the knots, `breaks` the stretches of clock time
    that are drawn narrower than they lasted: from, to, and how long the car was parked around them.
    """

    clock_s: tuple[float, ...]
    axis_s: tuple[float, ...]
    breaks: tuple[tuple[float, float, float], ...]

    @classmethod
    def over(cls, start_s: float, end_s: float, parked: Iterable[tuple[float, float]] = ()) -> "TimeAxis":
        """The axis from start to end (s); a stretch of `parked` (clock s) longer than LONG_PARKED_S becomes a break."""
        end_s = max(end_s, start_s + 1.0)
        breaks = []
        for t0, t1 in _merged(parked):
            t0, t1 = max(t0, start_s), min(t1, end_s)
            if t1 - t0 > LONG_PARKED_S:
                shown0, shown1 = (
                    t0 if t0 == start_s else t0 + SHOWN_PARKED_S,
                    t1 if t1 == end_s else t1 - SHOWN_PARKED_S,
                )
                breaks.append((shown0, shown1, t1 - t0))
        to_scale_s = end_s - start_s - sum(t1 - t0 for t0, t1, _ in breaks)
        share = min(BREAK_SHARE, ALL_BREAKS_SHARE / max(len(breaks), 1))
        clock, axis = [start_s], [0.0]
        for t0, t1, _ in breaks:
            width_s = min(t1 - t0, max(share * to_scale_s, 1.0))
            for t, step in ((t0, t0 - clock[-1]), (t1, width_s)):
                if t > clock[-1]:
                    axis.append(axis[-1] + step)
                    clock.append(t)
        if end_s > clock[-1]:
            axis.append(axis[-1] + end_s - clock[-1])
            clock.append(end_s)
        return cls(tuple(clock), tuple(axis), tuple(breaks))

    def to_axis(self, t_s: float) -> float:
        return _interpolate(t_s, self.clock_s, self.axis_s)

    def to_clock(self, x_s: float) -> float:
        return _interpolate(x_s, self.axis_s, self.clock_s)


def _merged(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches in order, those that touch joined."""
    merged: list[tuple[float, float]] = []
    for t0, t1 in sorted(stretches):
        if merged and t0 <= merged[-1][1] + 1.0:
            merged[-1] = (merged[-1][0], max(merged[-1][1], t1))
        else:
            merged.append((t0, t1))
    return merged
