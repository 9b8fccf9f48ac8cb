"""The values of the networks between sensors, contacts, power stages and the board, each with its reason."""

from __future__ import annotations

from host_sim.ntc import PULLUP_OHM

NTC_PULLUP_OHM = PULLUP_OHM
SERIES_OHM = 2200.0  # a lead on 14 V drives no more than 5 mA into the clamp
FILTER_UF = 1.0  # pays for the charge that a tick's conversions take
BLEED_OHM = 330.0  # takes what a lead on 14 V pushes through series resistor and pull-up, so that the rail stays
SIGNAL_PULLDOWN_OHM = 100_000.0  # a broken wire of a sensor that gives a voltage reads 0, which is not trusted
CONTACT_PULLUP_OHM = 2200.0  # 1.5 mA keeps a contact clean (judgement)
CONTACT_SERIES_OHM = 10_000.0
ISOLATOR_OHM = 4700.0  # 1 mA is left at 6 V, while cranking
ZENER_V, ZENER_SERIES_OHM = 6.2, 2200.0  # in lines that a lamp holds at 1 to 2 V: no false "engine runs"
ISOLATOR_PULLUP_OHM = 10_000.0
GATE_OHM = 100.0
GATE_PULLDOWN_OHM = 10_000.0
SUPPLY_TOP_OHM, SUPPLY_BOTTOM_OHM = 51_000.0, 10_000.0
RAIL_V = 3.3
CHARGING_V = 14.0  # ISO 16750-2, generator running


def ohm(value: float) -> str:
    """A resistance as it stands on a parts list."""
    return f"{value / 1000:g} kΩ" if value >= 1000.0 else f"{value:g} Ω"


def divided() -> float:
    """Share of the supply that its divider leaves."""
    return SUPPLY_BOTTOM_OHM / (SUPPLY_TOP_OHM + SUPPLY_BOTTOM_OHM)


def supply_uv_per_count() -> int:
    """The setting of this name for this divider."""
    return round(1e6 * RAIL_V / 65535 / divided())
