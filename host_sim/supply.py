"""The 12 V supply: battery, alternator, and what cranking does to it."""

from __future__ import annotations

from math import exp

from host_sim.car_spec import Supply


class PowerSupply:
    """Voltage at the board's feed, at the end of a step and at its lowest within it; charge of the battery 0..1."""

    def __init__(self, spec: Supply) -> None:
        self._empty_v = spec.rest_empty_v.value
        self._span_v = spec.rest_full_v.value - spec.rest_empty_v.value
        self._inner_ohm = spec.inner_ohm.value
        self._alternator_v = spec.alternator_v.value
        self._alternator_ohm = spec.alternator_ohm.value
        self._charge_a = spec.charge_a.value
        self._base_a = spec.base_load_a.value
        self._crank_a = spec.crank_a.value
        self._dip_v = spec.crank_dip_v.value
        self._dip_s = spec.crank_dip_s.value
        self._first_v = spec.crank_first_v.value
        self._last_v = spec.crank_last_v.value
        self._recovery_s = spec.crank_recovery_s.value
        self._per_as = 1.0 / (3600.0 * spec.battery_ah.value)
        self._crank_s = 0.0
        self.sag_v: float | None = None  # fault: no more than this reaches the board
        self.charge = 0.95
        self.voltage_v = self.lowest_v = self._rest_v()

    def _rest_v(self) -> float:
        return self._empty_v + self._span_v * self.charge

    def advance(self, dt_s: float, key_on: bool, cranking: bool, running: bool, load_w: float) -> None:
        """One step, the engine cranked, running or at rest; load_w of heater and valves adds to the base load."""
        if cranking:
            since_s = self._crank_s
            self._crank_s = until_s = since_s + dt_s
            weak_v = self._span_v * (1.0 - self.charge)
            at = self._cranked_v
            self.voltage_v = at(until_s) - weak_v
            # After the dip the voltage only rises: the lowest is at the step's beginning, or in the dip.
            self.lowest_v = (self._dip_v if since_s < self._dip_s else at(since_s)) - weak_v
            self.charge -= self._crank_a * dt_s * self._per_as
        else:
            self._crank_s = 0.0
            load_a = load_w / self.voltage_v if load_w else 0.0
            if key_on or running:
                load_a += self._base_a
            if running:
                self.voltage_v = self._alternator_v - self._alternator_ohm * load_a
                if self.charge < 1.0:
                    # Absorption falls off over the last tenth of the charge.
                    taken_a = self._charge_a * min(1.0, 10.0 * (1.0 - self.charge))
                    self.charge += taken_a * dt_s * self._per_as
            else:
                self.voltage_v = self._rest_v() - self._inner_ohm * load_a
                self.charge -= load_a * dt_s * self._per_as
            self.lowest_v = self.voltage_v
        if self.sag_v is not None:
            self.voltage_v = min(self.voltage_v, self.sag_v)
            self.lowest_v = min(self.lowest_v, self.sag_v)
        if self.charge < 0.0:
            self.charge = 0.0

    def _cranked_v(self, since_s: float) -> float:
        if since_s < self._dip_s:
            return self._dip_v
        return self._last_v - (self._last_v - self._first_v) * exp((self._dip_s - since_s) / self._recovery_s)
