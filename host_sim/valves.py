"""A motor or solenoid valve between two fuels: de-energised is diesel."""

from __future__ import annotations

from host_sim.car_spec import Valves


class ChangeoverValve:
    """Position 0 (diesel) to 1 (oil) with travel time, pull-in and hold voltage; the spring brings it back to diesel."""

    def __init__(self, spec: Valves) -> None:
        self._per_s = 1.0 / spec.travel_s.value
        self._pull_in_v = spec.pull_in_v.value
        self._hold_v = spec.hold_v.value
        self._leak = spec.leak.value
        self.pulled = False
        self.position = 0.0

    def advance(
        self, dt_s: float, energised: bool, supply_v: float, lowest_v: float, stuck: float | None, slow: float
    ) -> None:
        """Move for dt_s. `lowest_v` is the least voltage within the step; `slow` multiplies the travel time."""
        if not energised or lowest_v < self._hold_v:
            self.pulled = False
        elif supply_v >= self._pull_in_v:
            self.pulled = True
        position = self.position
        target = (1.0 if self.pulled else 0.0) if stuck is None else stuck
        if position != target:
            move = dt_s * self._per_s / slow
            if position < target:
                self.position = position + move if position + move < target else target
            else:
                self.position = position - move if position - move > target else target

    def oil_share(self, leak: float) -> float:
        """Share of the flow on the oil side, the seat leaking by the car's own leak and `leak` more."""
        leak = min(self._leak + leak, 1.0)
        return self.position * (1.0 - leak) + (1.0 - self.position) * leak
