"""How often each row of the interlock table would have acted, and how near its reading came to its limit: read off the table itself."""

from __future__ import annotations

import re
from typing import Any

from changeover import rows
from changeover.inputs import ENGINE
from changeover.law import Law
from changeover.sensing import COOLANT, DIESEL_LEVEL, GOOD, OIL, OIL_LEVEL, PUMP_INLET, SUPPLY
from changeover.states import ON_DIESEL

_TERM = re.compile(r"(\w+) ([<>]) (\w+)(?: - (\d+))?")
_CHANNELS = {
    "coolant": COOLANT, "oil": OIL, "pump_inlet": PUMP_INLET, "supply": SUPPLY, "oil_level": OIL_LEVEL, "diesel_level": DIESEL_LEVEL,
}  # fmt: skip
# Unit of each reading, and how wide a bar of its distribution is.
UNITS = {
    "coolant": ("cdegc", 100), "oil": ("cdegc", 100), "oil_coldest": ("cdegc", 100), "pump_inlet": ("cdegc", 100),
    "suction": ("Pa", 500), "suction_mean": ("Pa", 500), "supply": ("mV", 100), "oil_level": ("permille", 10),
    "diesel_level": ("permille", 10),
}  # fmt: skip
_ABSOLUTE_ZERO_CDEGC = -27315  # a limit below it is none: this layout does not ask
BLOCKS, FORCES = "blocks", "ends oil"


def reading(law: Law, name: str) -> int | None:
    """The value that a name in the table's conditions stands for; None while it is not fitted, not trusted or not known."""
    inputs = law.inputs
    if name == "suction":
        return inputs.suction_pa if inputs.suction_reason == GOOD else None
    if name == "suction_mean":
        return law.restriction.mean_pa or None
    if name == "oil_coldest":
        return inputs.oil_coldest() if inputs.channel[OIL].reason == GOOD else None
    channel = inputs.channel[_CHANNELS[name]]
    return channel.value if channel.reason == GOOD else None


class Margin:
    """One comparison of one row. `bins`: seconds by reading, each bar `width` wide; the margin is positive on the harmless side."""

    def __init__(self, row: int, kind: str, name: str, above: bool, limit: str, less: int) -> None:
        self.row = row
        self.kind = kind
        self.name = name
        self.above = above
        self.limit_name = limit
        self.less = less
        self.unit, self.width = UNITS[name]
        self.limit = 0
        self.bins: dict[int, int] = {}
        self.nearest: int | None = None

    def take(self, law: Law) -> None:
        """One second."""
        value = reading(law, self.name)
        if value is None:
            return
        self.limit = getattr(law.conditions.limits, self.limit_name) - self.less
        if self.unit == "cdegc" and self.limit < _ABSOLUTE_ZERO_CDEGC:
            return
        margin = self.limit - value if self.above else value - self.limit
        if self.nearest is None or margin < self.nearest:
            self.nearest = margin
        at = value // self.width
        self.bins[at] = self.bins.get(at, 0) + 1


def margins_of_table() -> list[Margin]:
    """Every comparison of a reading with a threshold in the interlock table."""
    found = []
    for number, row in enumerate(rows.TABLE):
        for kind, text in ((BLOCKS, row[rows.BLOCKS]), (FORCES, row[rows.FORCES])):
            for name, sign, limit, less in _TERM.findall(text):
                if name in UNITS:
                    found.append(Margin(number, kind, name, sign == ">", limit, int(less or 0)))
    return found


class Margins:
    """Collects over a log. A row that blocks is looked at on diesel with the engine running, one that ends oil while on oil.

    `shadow`: the distributions, too, not only how often and how long.
    """

    def __init__(self, shadow: bool) -> None:
        self.margins = margins_of_table() if shadow else []
        self.trips = [0] * len(rows.TABLE)
        self.blocked_s = [0] * len(rows.TABLE)
        self.alone_s = [0] * len(rows.TABLE)
        self.on_oil_s = 0
        self.on_diesel_s = 0
        self._forced = 0
        self._was_on_oil = False

    def changed(self, blocked: int, forced: int, on_oil: bool) -> None:
        """After each tick on which an output changed: a row that newly forces while on oil would have ended it."""
        rising = forced & ~self._forced
        if rising and (on_oil or self._was_on_oil):
            for row in range(len(self.trips)):
                self.trips[row] += rising >> row & 1
        self._forced = forced
        self._was_on_oil = on_oil

    def second(self, law: Law, on_oil: bool) -> None:
        """Once a second."""
        if not law.inputs.contact[ENGINE].on:
            return
        on_diesel = not on_oil and law.machine.state == ON_DIESEL
        self.on_oil_s += on_oil
        self.on_diesel_s += on_diesel
        if on_diesel:
            blocked = law.interlocks.blocked
            for row in range(len(self.blocked_s)):
                if blocked >> row & 1:
                    self.blocked_s[row] += 1
                    self.alone_s[row] += blocked == 1 << row
        for margin in self.margins:
            if on_oil if margin.kind == FORCES else on_diesel:
                margin.take(law)

    def result(self, not_in_log: set[int]) -> dict[str, Any]:
        """Plain data: of each row how often and how long, of each comparison the distribution."""
        table = []
        for number, row in enumerate(rows.TABLE):
            if number in not_in_log:
                continue
            table.append({
                "row": str(row[rows.NAME]), "ended_oil": self.trips[number], "blocked_s": self.blocked_s[number],
                "alone_s": self.alone_s[number],
            })  # fmt: skip
        margins = [
            {
                "row": str(rows.TABLE[margin.row][rows.NAME]), "kind": margin.kind, "reading": margin.name, "above": margin.above,
                "limit": margin.limit, "unit": margin.unit, "width": margin.width, "nearest": margin.nearest,
                "bins": sorted(margin.bins.items()),
            }
            for margin in self.margins if margin.row not in not_in_log
        ]  # fmt: skip
        return {
            "on_oil_s": self.on_oil_s, "on_diesel_s": self.on_diesel_s, "rows": table, "margins": margins,
            "not_in_log": [str(rows.TABLE[number][rows.NAME]) for number in sorted(not_in_log)],
        }  # fmt: skip
