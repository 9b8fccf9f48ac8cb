"""What a board's counts mean under its own settings, and what they are held against there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import host_sim.firmware_files  # noqa: F401  the board's words
from changeover.inputs import Inputs
from changeover.sensing import BARO, NO_ANSWER, NOT_FITTED, SUCTION
from link_report import SENSORS

# In the law's order: how many of the law's units are one of the key's.
KEYS = {
    "coolant_c": 100, "oil_c": 100, "suction_kpa": 1000, "oil_tank_c": 100, "pump_inlet_c": 100, "oil_level_pct": 10,
    "diesel_level_pct": 10, "supply_v": 1000, "ambient_c": 100, "ambient_kpa": 1000,
}  # fmt: skip
# Settings that a reading is held against.
_LIMITS = {
    "coolant_c": ("coolant_entry_cdegc", "coolant_exit_cdegc"),
    "oil_c": ("oil_entry_cdegc", "oil_exit_cdegc", "oil_hot_cdegc"),
    "oil_tank_c": ("oil_entry_cdegc",),
    "suction_kpa": ("suction_block_pa", "suction_force_pa", "suction_starved_pa"),
    "oil_level_pct": ("oil_low_block_permille", "oil_low_force_permille", "oil_full_permille"),
    "diesel_level_pct": ("diesel_low_block_permille", "diesel_low_force_permille"),
    "supply_v": ("supply_block_mv", "supply_force_mv"),
}
_ROWS = tuple(KEYS.items())
UNITS = {"c": "°C", "kpa": "kPa", "pct": "%", "v": "V"}


@dataclass(frozen=True)
class Reading:
    """`value` in the key's unit; None where the board does not trust it, and then `why` says what is the matter."""

    key: str
    name: str
    value: float | None
    why: str
    limits: dict[str, float]

    @property
    def kind(self) -> str:
        """The end of the key: c, kpa, pct or v."""
        return self.key.rpartition("_")[2]

    @property
    def unit(self) -> str:
        """As people write it."""
        return UNITS[self.kind]


class Readings:
    """`read` after `heard`, which takes the board's own verdicts. Readings that are not fitted are left out."""

    def __init__(self, values: dict[str, int]) -> None:
        self._inputs = Inputs(values)
        self._why: dict[str, str] = {}
        self._limits = {
            key: {name.split("_")[-2]: values[name] / per for name in _LIMITS.get(key, ())} for key, per in KEYS.items()
        }

    def heard(self, status: Sequence[str]) -> None:
        """The lines of the answer to `status`."""
        self._why = {}
        for line in status:
            name, colon, said = line.partition(": ")
            if colon and said.startswith("not "):
                self._why[name] = said.removeprefix("not trusted, ")

    def read(self, counts: Sequence[int]) -> list[Reading]:
        """Ten counts, as telemetry brings them."""
        return [self._reading(index, counts) for index in range(10) if self._shown(index)]

    def _shown(self, index: int) -> bool:
        return self._inputs.channel[index].reason != NOT_FITTED

    def _reading(self, index: int, counts: Sequence[int]) -> Reading:
        key, per = _ROWS[index]
        name = SENSORS[index][0]
        why = self._why.get(name, "")
        missing = counts[index] == NO_ANSWER or (
            index == SUCTION and self._inputs.absolute and counts[BARO] == NO_ANSWER
        )
        if missing:
            why = why or "no answer"
        value = None if why else self._value(index, counts) / per
        return Reading(key, name, value, why, self._limits[key])

    def _value(self, index: int, counts: Sequence[int]) -> int:
        channel = self._inputs.channel
        value = channel[index].convert(counts[index])
        if index == SUCTION and self._inputs.absolute:
            return channel[BARO].convert(counts[BARO]) - value
        return value
