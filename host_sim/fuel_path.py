"""What stands between supply valve and return valve, as volumes of oil and diesel, and how warm it reaches the pump.

A queue of parcels (volume, oil fraction, temperature), exact for plug flow, keeps the account of volumes. Beside it the
changes of what was let in are kept as steps over the volume passed since; the answer of the path to one step is its
residence-time law, and steps add up. Composition and temperature travel alike, each with steps of its own; temperature
is followed as far as the pump, which mixes all that passes through it. What the fuel gives to the wall on its way is
not in here.

Laws, theta = volume passed / volume of the path, F = share of the new fuel at the outlet:
- plug: F = 0 below theta 1, then 1
- stirred: n equal stirred volumes in a row, F = 1 - exp(-n theta) sum (n theta)^k / k!, k < n (gamma distribution)
- laminar: Hagen-Poiseuille without diffusion, F = 1 - 1 / (4 theta^2) from theta 0.5 up; inside 1 / (4 theta) is old
"""

from __future__ import annotations

import copy
from itertools import pairwise
from math import exp, inf

LAWS = ("plug", "stirred", "laminar")

MAX_PARCELS = 64
MAX_STEPS = 24
_SAME = 1e-4  # oil fractions this near join the last parcel, volume for volume
_SAME_K = 0.5  # and so do temperatures
_STEP_LEAST = 2e-4  # smaller changes of the oil fraction wait until they add up to a step
_JUMP_K = 0.1  # a change of temperature from one push to the next that is a step of its own
_DRIFT_K = 1.0  # less reaches the pump at once, until it adds up to this: a step where half of it was in
_ARRIVED_K = 0.01  # a step of temperature is complete when less than this is missing at the pump
_MANY = 8  # parcels from which the account is carried forward instead of summed
_PER_K = 0.01  # oil fraction that weighs as much as a kelvin when parcels must be joined
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


def _append(steps: list[tuple[float, float]], at: float, change: float, near_ul: float) -> None:
    """Add a step; one of the same sign less than near_ul after the last joins it at their centre."""
    if steps and at - steps[-1][0] < near_ul and change * steps[-1][1] > 0.0:
        before, size = steps[-1]
        both = size + change
        steps[-1] = ((before * size + at * change) / both, both)
        return
    steps.append((at, change))
    if len(steps) > MAX_STEPS:
        _join(steps)


def _join(steps: list[tuple[float, float]]) -> None:
    """Join the two neighbours of which the smaller has the least way to the other."""
    costs = [min(abs(a[1]), abs(b[1])) * abs(b[0] - a[0]) for a, b in pairwise(steps)]
    i = costs.index(min(costs))
    (at1, change1), (at2, change2) = steps[i], steps[i + 1]
    both = change1 + change2
    if abs(both) > 0.5 * max(abs(change1), abs(change2)):
        at = (at1 * change1 + at2 * change2) / both  # moves nothing on the whole, beyond both where signs differ
    else:
        at = at1 if abs(change1) > abs(change2) else at2
    steps[i : i + 2] = [(at, both)]


class FuelPath:
    """Fuel between the valves. Volumes in uL, composition as volume fraction of oil, 0..1, temperatures in degC."""

    def __init__(self, volume_ul: float, pump_ul: float, stirred_volumes: int, oil: float, t_c: float) -> None:
        """Path of volume_ul, the injection pump's inlet pump_ul behind the supply valve, filled with `oil` fraction."""
        self.volume_ul = volume_ul
        self.pump_ul = pump_ul
        self.count = stirred_volumes
        # The pump stands behind the first of the stirred volumes that ends nearest to it.
        self._pump_count = max(1, round(stirred_volumes * pump_ul / volume_ul))
        # (volume, oil, temperature), the one at the outlet first
        self._parcels: list[tuple[float, float, float]] = [(volume_ul, oil, t_c)]
        self._inside_ul = volume_ul * oil
        self._passed_ul = 0.0
        self._look_ul = 0.0
        self._steps: list[tuple[float, float]] = []  # (volume passed when let in, change of the oil fraction)
        self._first = oil  # what was inside before the oldest step
        self._last = oil
        self.stirred_out = self.stirred_in = self.stirred_pump = oil
        self.laminar_out = self.laminar_in = self.laminar_pump = oil
        # The same for temperature, at the pump alone.
        self._warm_steps: list[tuple[float, float]] = []
        self._warm_first = self._warm_last = t_c
        self._stirred_c = self._laminar_c = t_c  # sums of the steps
        self._in_c = t_c
        self._half_ul = 0.0  # volume passed when the drift was last below half of a step

    def copy(self) -> FuelPath:
        """An independent copy in the same state."""
        new = copy.copy(self)
        new._parcels = self._parcels.copy()
        new._steps = self._steps.copy()
        new._warm_steps = self._warm_steps.copy()
        return new

    def push(self, volume_ul: float, oil: float, t_c: float) -> float:
        """Let in volume_ul (less than the path holds) of this oil fraction and temperature (degC).

        Returns the oil in uL that leaves at the return valve.
        """
        parcels = self._parcels
        before_ul = self._passed_ul
        change = t_c - self._in_c
        self._in_c = t_c
        if not -_JUMP_K < change < _JUMP_K:
            self._warm_last += change
            _append(self._warm_steps, before_ul, change, _STEP_JOIN * self.volume_ul)
        change = t_c - self._warm_last
        if -0.5 * _DRIFT_K < change < 0.5 * _DRIFT_K:
            self._half_ul = before_ul
        elif not -_DRIFT_K < change < _DRIFT_K:
            self._warm_last = t_c
            _append(self._warm_steps, self._half_ul, change, _STEP_JOIN * self.volume_ul)
            self._half_ul = before_ul
        self._passed_ul = before_ul + volume_ul
        if self._warm_steps:
            self._warm()
        if len(parcels) == 1:
            _, inside, warm = parcels[0]
            change = oil - inside
            rise = t_c - warm
            if -_SAME < change < _SAME and -_SAME_K < rise < _SAME_K:
                share = volume_ul / self.volume_ul
                parcels[0] = (self.volume_ul, inside + change * share, warm + rise * share)
                if change:
                    self._inside_ul += change * volume_ul
                    if not -_STEP_LEAST < oil - self._last < _STEP_LEAST:
                        self._add_step(volume_ul, oil)
                if self._passed_ul >= self._look_ul:
                    self._look_up()
                return volume_ul * inside
        return self._push_mixed(volume_ul, oil, t_c)

    def _push_mixed(self, volume_ul: float, oil: float, t_c: float) -> float:
        parcels = self._parcels
        tail, fraction, warm = parcels[-1]
        if abs(fraction - oil) < _SAME and abs(warm - t_c) < _SAME_K:
            share = volume_ul / (tail + volume_ul)
            parcels[-1] = (tail + volume_ul, fraction + share * (oil - fraction), warm + share * (t_c - warm))
        else:
            parcels.append((volume_ul, oil, t_c))
            if len(parcels) > MAX_PARCELS:
                parcels = self._coalesce()
        out_ul = 0.0
        wanted = volume_ul
        head, fraction, warm = parcels[0]
        while head <= wanted:
            out_ul += head * fraction
            wanted -= head
            del parcels[0]
            head, fraction, warm = parcels[0]
        parcels[0] = (head - wanted, fraction, warm)
        out_ul += wanted * fraction
        if len(parcels) > _MANY:
            self._inside_ul += volume_ul * oil - out_ul
        else:
            inside_ul = 0.0  # summed anew, so that no rounding is left when all is out
            for volume, part, _ in parcels:
                inside_ul += volume * part
            self._inside_ul = inside_ul
        if abs(oil - self._last) > _STEP_LEAST:
            self._add_step(volume_ul, oil)
        if self._passed_ul >= self._look_ul:
            self._look_up()
        return out_ul

    def _coalesce(self) -> list[tuple[float, float, float]]:
        """Of the pairs of neighbours join the half whose joining moves the least oil and heat the least way."""
        pairs = list(zip(self._parcels[::2], self._parcels[1::2], strict=False))
        costs = [(abs(a[1] - b[1]) + _PER_K * abs(a[2] - b[2])) * a[0] * b[0] for a, b in pairs]
        limit = sorted(costs)[len(costs) // 2]
        joined: list[tuple[float, float, float]] = []
        for pair, cost in zip(pairs, costs, strict=True):
            if cost > limit:
                joined += pair
                continue
            (v1, c1, t1), (v2, c2, t2) = pair
            both = v1 + v2
            joined.append((both, (v1 * c1 + v2 * c2) / both, (v1 * t1 + v2 * t2) / both))
        self._parcels = joined + self._parcels[2 * len(pairs) :]
        return self._parcels

    def _add_step(self, volume_ul: float, oil: float) -> None:
        change = oil - self._last
        self._last = oil
        self._look_ul = self._passed_ul
        _append(self._steps, self._passed_ul - volume_ul, change, _STEP_JOIN * self.volume_ul)

    def _warm(self) -> None:
        """What has come at the pump of the steps of temperature."""
        steps = self._warm_steps
        now = self._passed_ul
        count = self._pump_count
        per_stirred = self.count / (self.volume_ul * count)
        per_pump = 1.0 / self.pump_ul
        stirred = laminar = self._warm_first
        arrived = 0
        for i, (at, change) in enumerate(steps):
            by_stirred = stirred_outlet((now - at) * per_stirred, count)
            by_laminar = laminar_outlet((now - at) * per_pump)
            stirred += change * by_stirred
            laminar += change * by_laminar
            if i == arrived and abs(change) * (2.0 - by_stirred - by_laminar) < _ARRIVED_K:
                arrived += 1
        if arrived:
            complete = 0.0  # not `sum`: from Python 3.12 on it rounds in another way
            for _, change in steps[:arrived]:
                complete += change
            self._warm_first += complete
            del steps[:arrived]
        self._stirred_c, self._laminar_c = stirred, laminar

    def rest(self, wall_c: float, keep: float) -> None:
        """Fuel at rest beside a wall of wall_c keeps the share `keep` of its lead over it.

        Every temperature inside moves by the same share, so steps stay steps and go on when fuel moves again.
        """
        self._parcels = [(volume, oil, wall_c + (t_c - wall_c) * keep) for volume, oil, t_c in self._parcels]
        self._warm_steps = [(at, change * keep) for at, change in self._warm_steps]
        self._warm_first = wall_c + (self._warm_first - wall_c) * keep
        self._warm_last = wall_c + (self._warm_last - wall_c) * keep
        self._stirred_c = wall_c + (self._stirred_c - wall_c) * keep
        self._laminar_c = wall_c + (self._laminar_c - wall_c) * keep
        self._in_c = wall_c + (self._in_c - wall_c) * keep

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

    def pump_c(self, law: str) -> float:
        """Temperature in degC at the injection pump's inlet under a law of LAWS, nothing given to the wall."""
        return {"plug": self.plug_pump_c, "stirred": self.stirred_pump_c, "laminar": self.laminar_pump_c}[law]

    def feed_line(self) -> list[tuple[float, float, float]]:
        """Parcels (uL, oil fraction, degC) between supply valve and pump, plug, the one at the valve first."""
        parcels = self._parcels
        left = self.pump_ul
        volume, oil, t_c = parcels[-1]
        if volume >= left:
            return [(left, oil, t_c)]
        line = []
        for volume, oil, t_c in reversed(parcels):
            if volume >= left:
                line.append((left, oil, t_c))
                break
            line.append((volume, oil, t_c))
            left -= volume
        return line

    def _at_pump(self) -> tuple[float, float, float]:
        parcels = self._parcels
        if len(parcels) > 1:
            left = self.pump_ul
            for parcel in reversed(parcels):
                left -= parcel[0]
                if left < 0.0:
                    return parcel
        return parcels[0]

    @property
    def plug_pump_c(self) -> float:
        """Temperature in degC at the injection pump's inlet, plug."""
        return self._at_pump()[2]

    @property
    def stirred_pump_c(self) -> float:
        """Temperature in degC at the injection pump's inlet, stirred."""
        return self._stirred_c + self._in_c - self._warm_last

    @property
    def laminar_pump_c(self) -> float:
        """Temperature in degC at the injection pump's inlet, laminar."""
        return self._laminar_c + self._in_c - self._warm_last

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
        return self._at_pump()[1]

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
