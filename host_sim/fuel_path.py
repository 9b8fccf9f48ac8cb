"""What stands between supply valve and return valve, as volumes of oil and diesel.

A queue of parcels, exact for plug flow, keeps the account of volumes. Beside it the changes of what was let in are kept
as steps over the volume passed since; the answer of the path to one step is its residence-time law, and steps add up.

Laws, theta = volume passed / volume of the path, F = share of the new fuel at the outlet:
- plug: F = 0 below theta 1, then 1
- stirred: n equal stirred volumes in a row, F = 1 - exp(-n theta) sum (n theta)^k / k!, k < n (gamma distribution)
- laminar: Hagen-Poiseuille without diffusion, F = 1 - 1 / (4 theta^2) from theta 0.5 up; inside 1 / (4 theta) is old
"""

from __future__ import annotations

from itertools import pairwise
from math import exp, inf

LAWS = ("plug", "stirred", "laminar")

MAX_PARCELS = 64
MAX_STEPS = 24
_SAME = 1e-5  # oil fractions this near join the last parcel, volume for volume
_STEP_LEAST = 2e-4  # smaller changes of the oil fraction wait until they add up to a step
_STEP_JOIN = 0.01  # steps of one sign within this share of the path are one step at their centre
_FORGOTTEN = 250.0  # volumes after which a step is complete (laminar: 4e-6 at the outlet, 0.1 % inside)
_LOOK_AGAIN = 0.002  # volumes after which the laws are looked up again; three volumes behind the last step it grows
_LOOK_GROWTH = 0.01


def stirred_outlet(theta: float, count: int) -> float:
    """Share of new fuel at the outlet of `count` stirred volumes after theta volumes of all of them."""
    if theta <= 0.0:
        return 0.0
    x = count * theta
    term = left = exp(-x)
    for k in range(1, count):
        term *= x / k
        left += term
    return 1.0 - left


def stirred_inside(theta: float, count: int) -> float:
    """Share of new fuel in the volume of `count` stirred volumes after theta volumes of all of them."""
    if theta <= 0.0:
        return 0.0
    x = count * theta
    term = exp(-x)
    left = term
    for k in range(1, count):
        term *= x / k
        left += term * (count - k) / count
    return 1.0 - left


def laminar_outlet(theta: float) -> float:
    """Share of new fuel at the outlet of a laminar tube after theta volumes."""
    return 1.0 - 0.25 / (theta * theta) if theta > 0.5 else 0.0


def laminar_inside(theta: float) -> float:
    """Share of new fuel in the volume of a laminar tube after theta volumes."""
    if theta >= 0.5:
        return 1.0 - 0.25 / theta
    return theta if theta > 0.0 else 0.0


class FuelPath:
    """Fuel between the valves. Volumes in uL, composition as volume fraction of oil, 0..1."""

    def __init__(self, volume_ul: float, pump_ul: float, stirred_volumes: int, oil: float = 0.0) -> None:
        """Path of volume_ul, the injection pump's inlet pump_ul behind the supply valve, filled with `oil` fraction."""
        self.volume_ul = volume_ul
        self.pump_ul = pump_ul
        self.count = stirred_volumes
        # The pump stands behind the first of the stirred volumes that ends nearest to it.
        self._pump_count = max(1, round(stirred_volumes * pump_ul / volume_ul))
        self._parcels: list[tuple[float, float]] = [(volume_ul, oil)]  # (volume, oil), the one at the outlet first
        self._inside_ul = volume_ul * oil
        self._passed_ul = 0.0
        self._look_ul = 0.0
        self._steps: list[tuple[float, float]] = []  # (volume passed when let in, change of the oil fraction)
        self._first = oil  # what was inside before the oldest step
        self._last = oil
        self.stirred_out = self.stirred_in = self.stirred_pump = oil
        self.laminar_out = self.laminar_in = self.laminar_pump = oil

    def copy(self) -> FuelPath:
        """An independent copy in the same state."""
        new = FuelPath.__new__(FuelPath)
        new.__dict__.update(self.__dict__)
        new._parcels = self._parcels.copy()
        new._steps = self._steps.copy()
        return new

    def push(self, volume_ul: float, oil: float) -> float:
        """Let in volume_ul (less than the path holds) of this oil fraction; returns the oil in uL that leaves."""
        parcels = self._parcels
        self._passed_ul += volume_ul
        if len(parcels) == 1:
            inside = parcels[0][1]
            change = oil - inside
            if -_SAME < change < _SAME:
                if change:
                    parcels[0] = (self.volume_ul, inside + change * volume_ul / self.volume_ul)
                    self._inside_ul += change * volume_ul
                    if not -_STEP_LEAST < oil - self._last < _STEP_LEAST:
                        self._add_step(volume_ul, oil)
                if self._passed_ul >= self._look_ul:
                    self._look_up()
                return volume_ul * inside
        return self._push_mixed(volume_ul, oil)

    def _push_mixed(self, volume_ul: float, oil: float) -> float:
        parcels = self._parcels
        tail, fraction = parcels[-1]
        if abs(fraction - oil) < _SAME:
            both = tail + volume_ul
            parcels[-1] = (both, (tail * fraction + volume_ul * oil) / both)
        else:
            parcels.append((volume_ul, oil))
            if len(parcels) > MAX_PARCELS:
                self._coalesce()
        out_ul = 0.0
        wanted = volume_ul
        head, fraction = parcels[0]
        while head <= wanted:
            out_ul += head * fraction
            wanted -= head
            del parcels[0]
            head, fraction = parcels[0]
        parcels[0] = (head - wanted, fraction)
        out_ul += wanted * fraction
        self._inside_ul = sum(volume * part for volume, part in parcels)
        if abs(oil - self._last) > _STEP_LEAST:
            self._add_step(volume_ul, oil)
        if self._passed_ul >= self._look_ul:
            self._look_up()
        return out_ul

    def _coalesce(self) -> None:
        """Join the two neighbours whose joining moves the least oil over the least distance."""
        parcels = self._parcels
        costs = [abs(a[1] - b[1]) * a[0] * b[0] for a, b in pairwise(parcels)]
        i = costs.index(min(costs))
        (v1, c1), (v2, c2) = parcels[i], parcels[i + 1]
        parcels[i : i + 2] = [(v1 + v2, (v1 * c1 + v2 * c2) / (v1 + v2))]

    def _add_step(self, volume_ul: float, oil: float) -> None:
        steps = self._steps
        at = self._passed_ul - volume_ul
        change = oil - self._last
        self._last = oil
        self._look_ul = self._passed_ul
        if steps and at - steps[-1][0] < _STEP_JOIN * self.volume_ul and change * steps[-1][1] > 0.0:
            before, size = steps[-1]
            both = size + change
            steps[-1] = ((before * size + at * change) / both, both)
            return
        steps.append((at, change))
        if len(steps) > MAX_STEPS:
            self._join_oldest()

    def _join_oldest(self) -> None:
        steps = self._steps
        (at1, change1), (at2, change2) = steps[0], steps[1]
        weight = abs(change1) + abs(change2)
        at = (at1 * abs(change1) + at2 * abs(change2)) / weight
        steps[0:2] = [(at, change1 + change2)]

    def _look_up(self) -> None:
        steps = self._steps
        now = self._passed_ul
        per_ul = 1.0 / self.volume_ul
        while steps and (now - steps[0][0]) * per_ul > _FORGOTTEN:
            self._first += steps[0][1]
            del steps[0]
        if not steps:
            self._first = self._last
            self._look_ul = inf
        s_out = s_in = s_pump = l_out = l_in = l_pump = self._first
        to_pump = self.volume_ul / self.pump_ul
        count, pump_count = self.count, self._pump_count
        pump_share = pump_count / count
        for at, change in steps:
            theta = (now - at) * per_ul
            s_out += change * stirred_outlet(theta, count)
            s_in += change * stirred_inside(theta, count)
            s_pump += change * stirred_outlet(theta / pump_share, pump_count)
            l_out += change * laminar_outlet(theta)
            l_in += change * laminar_inside(theta)
            l_pump += change * laminar_outlet(theta * to_pump)
        self.stirred_out, self.stirred_in, self.stirred_pump = s_out, s_in, s_pump
        self.laminar_out, self.laminar_in, self.laminar_pump = l_out, l_in, l_pump
        if steps:
            late_ul = now - steps[-1][0] - 3.0 * self.volume_ul
            self._look_ul = now + max(_LOOK_AGAIN * self.volume_ul, _LOOK_GROWTH * late_ul)

    def outlet_oil(self, law: str) -> float:
        """Oil fraction at the return valve under a law of LAWS."""
        return {"plug": self._parcels[0][1], "stirred": self.stirred_out, "laminar": self.laminar_out}[law]

    def inside_oil(self, law: str) -> float:
        """Oil fraction of all that stands in the path under a law of LAWS."""
        return {"plug": self.plug_inside_oil, "stirred": self.stirred_in, "laminar": self.laminar_in}[law]

    def pump_oil(self, law: str) -> float:
        """Oil fraction at the injection pump's inlet under a law of LAWS."""
        return {"plug": self.plug_pump_oil, "stirred": self.stirred_pump, "laminar": self.laminar_pump}[law]

    @property
    def inside_ul(self) -> float:
        """Oil in the path in uL, by the account of volumes (plug)."""
        return self._inside_ul

    @property
    def plug_inside_oil(self) -> float:
        """Oil fraction inside, plug."""
        return self._inside_ul / self.volume_ul

    @property
    def plug_pump_oil(self) -> float:
        """Oil fraction at the injection pump's inlet, plug."""
        parcels = self._parcels
        if len(parcels) == 1:
            return parcels[0][1]
        left = self.pump_ul
        for volume, fraction in reversed(parcels):
            left -= volume
            if left < 0.0:
                return fraction
        return parcels[0][1]

    @property
    def worst_outlet_oil(self) -> float:
        """Most oil at the return valve under any law."""
        return max(self._parcels[0][1], self.stirred_out, self.laminar_out)

    @property
    def worst_inside_oil(self) -> float:
        """Most oil in the path under any law."""
        return max(self._inside_ul / self.volume_ul, self.stirred_in, self.laminar_in)

    @property
    def worst_pump_oil(self) -> float:
        """Most oil at the injection pump's inlet under any law."""
        return max(self.plug_pump_oil, self.stirred_pump, self.laminar_pump)
