"""Ratiometric pressure sensors: output over supply is offset + slope * kPa; the converter shares the supply."""

from __future__ import annotations

from dataclasses import dataclass

FULL_SCALE = 65535


@dataclass(frozen=True)
class PressureSensor:
    """Transfer function of one sensor row; low_kpa and high_kpa bound the range its maker states."""

    slope_per_kpa: float
    offset: float
    low_kpa: float
    high_kpa: float

    def volts(self, kpa: float, supply_v: float) -> float:
        """Output in V at this pressure, ideal part, not clipped."""
        return supply_v * (self.offset + self.slope_per_kpa * kpa)

    def kpa(self, volts: float, supply_v: float) -> float:
        """Pressure in kPa that gives this output."""
        return (volts / supply_v - self.offset) / self.slope_per_kpa

    def counts(self, kpa: float) -> float:
        """Reading on the scale 0..65535 at this pressure; the output stays between ground and supply."""
        return FULL_SCALE * min(1.0, max(0.0, self.volts(kpa, 1.0)))

    def counts_to_kpa(self, counts: float) -> float:
        """Pressure in kPa of a reading 0..65535."""
        return self.kpa(counts / FULL_SCALE, 1.0)


# Makers' transfer functions: MPX5100DP (Rev 14), MPX4115A (from memory), MPX4250D (Rev 7), MPX4250A (Rev 8).
DIFFERENTIAL_100 = PressureSensor(slope_per_kpa=0.009, offset=0.04, low_kpa=0.0, high_kpa=100.0)
ABSOLUTE_115 = PressureSensor(slope_per_kpa=0.009, offset=-0.095, low_kpa=15.0, high_kpa=115.0)
DIFFERENTIAL_250 = PressureSensor(slope_per_kpa=0.00369, offset=0.04, low_kpa=0.0, high_kpa=250.0)
ABSOLUTE_250 = PressureSensor(slope_per_kpa=0.004, offset=-0.04, low_kpa=20.0, high_kpa=250.0)
