"""Suction behind the last oil filter: Darcy flow through the element and the cake that grows on it.

    suction = static head + resistance(filtered volume) * dynamic viscosity * flow

Resistance is in 1/m3 (Pa over Pa s and m3/s); a cake of constant specific resistance makes it grow in proportion to the
volume filtered (cake-filtration equation: clean = Rm / A, growth = alpha c / A^2).
"""

from __future__ import annotations

from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.fluids import D341, oil_density_kg_m3

ELEMENT_LIFE_L = 1900.0  # common practice, no source: oil through one element, well cleaned before
REFERENCE_C = 70.0

_M3_PER_L = 1e-3
_M3_PER_UL = 1e-9


def oil_viscosity_pa_s(oil: D341, t_c: float) -> float:
    """Dynamic viscosity in Pa s of the oil at t_c (degC)."""
    return oil.nu(t_c) * 1e-6 * oil_density_kg_m3(t_c)


@dataclass(frozen=True)
class Filter:
    """One filter element and the height over which the oil is lifted to it."""

    clean_per_m3: float
    growth_per_m6: float  # added resistance for each m3 filtered
    static_head_pa: float = 0.0

    @classmethod
    def from_readings(
        cls,
        clean_pa: float,
        loaded_pa: float,
        flow_ul_s: float,
        viscosity_pa_s: float,
        life_l: float = ELEMENT_LIFE_L,
        static_head_pa: float = 0.0,
    ) -> Filter:
        """Element that shows clean_pa when new and loaded_pa after life_l litres. Raises InputError.

        Both readings are suctions in Pa at this flow and viscosity and hold the static head (negative where the tank
        stands above the filter).
        """
        for place, value in (("flow", flow_ul_s), ("viscosity", viscosity_pa_s), ("element life", life_l)):
            if not value > 0.0:
                raise InputError(f"filter {place}", value, "more than 0")
        if not static_head_pa < clean_pa <= loaded_pa:
            raise InputError(
                "filter readings",
                (static_head_pa, clean_pa, loaded_pa),
                "static head below the clean suction, loaded suction not below it",
            )
        pa_per_unit = viscosity_pa_s * flow_ul_s * _M3_PER_UL
        return cls(
            clean_per_m3=(clean_pa - static_head_pa) / pa_per_unit,
            growth_per_m6=(loaded_pa - clean_pa) / pa_per_unit / (life_l * _M3_PER_L),
            static_head_pa=static_head_pa,
        )

    def resistance_per_m3(self, filtered_l: float) -> float:
        """Flow resistance of element and cake after filtered_l litres."""
        return self.clean_per_m3 + self.growth_per_m6 * filtered_l * _M3_PER_L

    def suction_pa(self, filtered_l: float, viscosity_pa_s: float, flow_ul_s: float) -> float:
        """Suction in Pa below ambient at the filter outlet; at rest only the static head is left."""
        return self.static_head_pa + self.resistance_per_m3(filtered_l) * viscosity_pa_s * flow_ul_s * _M3_PER_UL


def suction_correction(oil: D341) -> list[tuple[int, int]]:
    """Rows (degC, per mille) from 20 to 110 degC: suction read there, times this, is the suction at 70 degC.

    Ratio of dynamic viscosities, so it holds for the part of the suction that flow makes, not for the static head.
    """
    reference = oil_viscosity_pa_s(oil, REFERENCE_C)
    return [(t_c, round(1000.0 * reference / oil_viscosity_pa_s(oil, float(t_c)))) for t_c in range(20, 111, 10)]
