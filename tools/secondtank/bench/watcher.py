"""What becomes of the rows that a board sends: the mirror takes them, faults learn what became of them, the strip chart grows."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from changeover.states import STATES
from host_sim.link_client import Telemetry
from secondtank.bench.mirror import Mirror
from secondtank.bench.stand import Stand

Point = tuple[float, float | None, float | None, float | None, int, int, int]

_KEPT_S = 600.0
_POINTS = 3100  # five a second for so long


class Watcher:
    """`points`: (s, coolant and oil degC, suction kPa, state, supply, return), bounded, the newest last; `listener` hears every row."""

    def __init__(self, stand: Stand) -> None:
        self.points: deque[Point] = deque(maxlen=_POINTS)
        self.listener: Callable[[Telemetry, Mirror], None] | None = None
        self.mirror: Mirror | None = None
        self._stand = stand

    def take(self, row: Telemetry, now_s: float) -> dict[str, object]:
        """The next row, after `mirror` was set; what a `View` shows of it."""
        mirror = self.mirror
        assert mirror is not None
        mirror.take(row)
        self._notice(row, now_s)
        if self.listener is not None:
            self.listener(row, mirror)
        readings = tuple(mirror.readings())
        reasons, unguarded = mirror.reasons(row)
        coolant, oil, suction = (reading.value for reading in readings[:3])
        self.points.append(
            (
                now_s,
                None if coolant is None else coolant / 100,
                None if oil is None else oil / 100,
                None if suction is None else suction / 1000,
                STATES.index(row.state),
                row.out["supply"],
                row.out["return"],
            )
        )
        while self.points[0][0] < now_s - _KEPT_S:
            self.points.popleft()
        return {
            "row": row,
            "in_step": mirror.in_step,
            "readings": readings,
            "reasons": tuple(reasons),
            "unguarded": tuple(unguarded),
            "picture": mirror.picture(),
        }

    def _notice(self, row: Telemetry, now_s: float) -> None:
        masks = row.blocked | row.forced
        for broken in self._stand.broken.values():
            if broken.told_s is None and any(masks >> found & 1 for found in broken.entry.found_by):
                broken.told_s = now_s
            if broken.on_oil and broken.diesel_s is None and not row.out["supply"]:
                broken.diesel_s = now_s
