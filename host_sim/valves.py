"""A motor or solenoid valve between two fuels: de-energised is diesel."""

from __future__ import annotations

from host_sim.car_spec import Valves


class ChangeoverValve:
    """Position 0 (diesel) to 1 (oil) with travel time, pull-in and hold voltage; a spring brings it back to diesel."""

    def __init__(self, spec: Valves) -> None:
        self._per_s = 1.0 / spec.travel_s.value
        self._pull_in_v = spec.pull_in_v.value
        self._hold_v = spec.hold_v.value
        self._leak = spec.leak.value
        self.pulled = False
        self.position = 0.0
        self.middle = 0.0  # position half-way through the last step
        self.at_rest = True

    def advance(
        self, dt_s: float, energised: bool, supply_v: float, lowest_v: float, stuck: float | None, slow: float
    ) -> None:
        """Move for dt_s. `lowest_v` is the least voltage within the step; `slow` multiplies the travel time."""
        if self.at_rest and energised == self.pulled and stuck is None and lowest_v >= self._hold_v:
            return
        if not energised or lowest_v < self._hold_v:
            self.pulled = False
        elif supply_v >= self._pull_in_v:
            self.pulled = True
        position = self.position
        self.at_rest = stuck is None and self.pulled == energised and position == (1.0 if energised else 0.0)
        target = (1.0 if self.pulled else 0.0) if stuck is None else stuck
        if position != target:
            move = dt_s * self._per_s / slow
            self.position = min(position + move, target) if position < target else max(position - move, target)
        self.middle = 0.5 * (position + self.position)

    def oil_share(self, leak: float) -> float:
        """Share of the flow on the oil side, the seat leaking by the car's own leak and `leak` more."""
        leak = min(self._leak + leak, 1.0)
        return self.middle * (1.0 - leak) + (1.0 - self.middle) * leak
