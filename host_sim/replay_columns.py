"""Which column of a table is which quantity, and in which unit: from its head, from a TOML file beside the log, from flags, or asked for."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from host_sim.errors import InputError
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES
from host_sim.units import UNITS

CLOCK, DATE = "clock", "date"
_F, _HG = UNITS["degF"], UNITS["inHg"]
# Of each kind: unit -> (factor, offset) to its first, which is the one that ranges stand in. psi: exact, from the pound of
# 0.45359237 kg, the inch of 25.4 mm and 9.80665 m/s2.
KINDS: dict[str, dict[str, tuple[float, float]]] = {
    "time": {"s": (1.0, 0.0), "ms": (0.001, 0.0), "min": (60.0, 0.0), "h": (3600.0, 0.0), CLOCK: (1.0, 0.0), DATE: (1.0, 0.0)},
    "temperature": {"degC": (1.0, 0.0), "degF": (_F.factor, _F.offset), "K": (1.0, -273.15), "cdegC": (0.01, 0.0)},
    "pressure": {
        "Pa": (1.0, 0.0), "kPa": (1000.0, 0.0), "mbar": (100.0, 0.0), "bar": (1e5, 0.0), "inHg": (_HG.factor, 0.0),
        "psi": (6894.757293168, 0.0),
    },
    "level": {"permille": (1.0, 0.0), "%": (10.0, 0.0)},
    "voltage": {"mV": (1.0, 0.0), "V": (1000.0, 0.0)},
    "engine speed": {"1/min": (1.0, 0.0)},
    "speed": {"km/h": (1.0, 0.0), "mi/h": (UNITS["mi"].factor, 0.0)},
    "switch": {"": (1.0, 0.0)},
}  # fmt: skip
_SPELLINGS = {
    "sec": "s", "second": "s", "seconds": "s", "c": "degC", "°c": "degC", "deg c": "degC", "celsius": "degC", "f": "degF",
    "°f": "degF", "deg f": "degF", "fahrenheit": "degF", "hpa": "mbar", "pct": "%", "percent": "%", "volt": "V", "volts": "V",
    "rpm": "1/min", "r/min": "1/min", "min-1": "1/min", "kmh": "km/h", "kph": "km/h", "mph": "mi/h", "iso": DATE,
} | {unit.lower(): unit for units in KINDS.values() for unit in units if unit}  # fmt: skip

# Lowest and highest believable value, in the kind's first unit: wider than any sensor here, narrower than a wrong unit. Judgement.
_RANGES = {
    "time": (-1e11, 1e11), "coolant": (-50.0, 150.0), "oil": (-50.0, 200.0), "suction": (-5000.0, 102_000.0),
    "oil_tank": (-50.0, 200.0), "pump_inlet": (-50.0, 200.0), "oil_level": (-100.0, 1100.0), "diesel_level": (-100.0, 1100.0),
    "supply": (0.0, 40_000.0), "ambient": (-60.0, 80.0), "ambient_pressure": (40_000.0, 115_000.0), "rpm": (0.0, 16_384.0),
    "speed": (0.0, 300.0),
}  # fmt: skip
_KIND_OF = {
    "time": "time", "suction": "pressure", "oil_level": "level", "diesel_level": "level", "supply": "voltage",
    "ambient_pressure": "pressure", "rpm": "engine speed", "speed": "speed",
}  # fmt: skip
VALVES = ("supply_valve", "return_valve")  # what the log says was energised, whoever did it
SWITCHES = (*DIGITAL_NAMES, *VALVES)
QUANTITIES = ("time", *ANALOG_NAMES, "rpm", "speed", *SWITCHES)
_NAMES = {"t": "time", "engine_rpm": "rpm"}
_YES_NO = {"1": 1.0, "true": 1.0, "on": 1.0, "yes": 1.0, "0": 0.0, "false": 0.0, "off": 0.0, "no": 0.0}
NO_VALUE = ("", "-")


def kind_of(quantity: str) -> str:
    """The kind of a quantity, a key of KINDS."""
    return "switch" if quantity in SWITCHES else _KIND_OF.get(quantity, "temperature")


@dataclass(frozen=True)
class Column:
    """Where a quantity stands and how it is read: cell `at` of a row, `unit` of its kind."""

    quantity: str
    header: str
    at: int
    unit: str

    @property
    def wanted(self) -> str:
        """What a cell may hold, in words."""
        if self.quantity in SWITCHES:
            return "0 or 1"
        if self.unit in (CLOCK, DATE):
            return {CLOCK: "a time of day as 23:59:58.5", DATE: "date and time as 2026-11-25 23:59:58"}[self.unit]
        low, high = (self._back(limit, self.unit) for limit in _RANGES[self.quantity])
        return f"a number from {low:g} to {high:g} ({self.unit})"

    def read(self, cell: str) -> float | None:
        """The value in the first unit of its kind, None where the cell is no number. Raises ValueError for one out of range."""
        if self.quantity in SWITCHES:
            return _YES_NO.get(cell.strip().lower())
        value = _clock(cell, self.unit) if self.unit in (CLOCK, DATE) else _number(cell)
        if value is None:
            return None
        factor, offset = KINDS[kind_of(self.quantity)][self.unit]
        value = value * factor + offset
        low, high = _RANGES[self.quantity]
        if not low <= value <= high:
            raise ValueError(self._other_unit(_number(cell)))
        return value

    def _back(self, base: float, unit: str) -> float:
        factor, offset = KINDS[kind_of(self.quantity)][unit]
        return round((base - offset) / factor, 6)

    def _other_unit(self, value: float | None) -> str:
        """What the number would be in a unit in which it is believable."""
        low, high = _RANGES[self.quantity]
        units = KINDS[kind_of(self.quantity)]
        for unit, (factor, offset) in units.items():
            if value is not None and unit not in (CLOCK, DATE) and low <= value * factor + offset <= high:
                return f"{self.wanted}; as {unit} it would be {value * factor + offset:.1f} {next(iter(units))}: which unit is it?"
        return self.wanted


def _number(cell: str) -> float | None:
    try:
        # float() also takes 1_000, other scripts' digits, nan and inf
        value = float(cell) if cell.isascii() and "_" not in cell else None
    except ValueError:
        return None
    return value if value is not None and abs(value) < float("inf") else None


def _clock(cell: str, unit: str) -> float | None:
    try:
        if unit == DATE:
            moment = datetime.fromisoformat(cell.strip())
            return (moment - datetime(2000, 1, 1, tzinfo=moment.tzinfo)).total_seconds()
        hours, minutes, seconds = cell.strip().split(":")
        return 3600 * int(hours) + 60 * int(minutes) + float(seconds)
    except ValueError:
        return None


def unit_in(head: str, kind: str) -> tuple[str, str | None]:
    """(name, unit) of a head such as `coolant [degC]`, `Coolant (°F)` or `coolant_c`; None where no unit of this kind stands in it."""
    found = re.fullmatch(r"(.*?)\s*[\[(]\s*(.*?)\s*[\])]\s*", head)
    name, _, word = head.rpartition("_")
    if found:
        name, word = found[1], found[2]
    unit = _SPELLINGS.get(word.lower())
    if unit in KINDS[kind]:
        return name, unit
    return head, None


def _known(head: str) -> tuple[str, str | None] | None:
    """(quantity, unit) of a head that is one of our own names."""
    for quantity in QUANTITIES:
        name, unit = unit_in(head, kind_of(quantity))
        for spoken in (head, name):
            spoken = re.sub(r"\W+", "_", spoken.strip().lower())
            if _NAMES.get(spoken, spoken) == quantity:
                return quantity, "1/min" if quantity == "rpm" else unit
    return None


@dataclass(frozen=True)
class Asked:
    """One wish: this quantity stands in the column of this head (None: leave it out), in this unit (None: as its head says)."""

    header: str | None
    unit: str | None
    place: str


def from_flags(flags: Sequence[str]) -> dict[str, Asked]:
    """`--map coolant=COLUMN:UNIT,oil=COLUMN`. A unit is taken for one only where it is a unit of that quantity."""
    wishes: dict[str, Asked] = {}
    for part in [part for flag in flags for part in flag.split(",")]:
        quantity, equals, column = part.partition("=")
        quantity = quantity.strip()
        if not equals or quantity not in QUANTITIES:
            raise InputError("--map", part, f"QUANTITY=COLUMN or QUANTITY=COLUMN:UNIT, of {', '.join(QUANTITIES)}")
        header, colon, word = column.rpartition(":")
        unit = _SPELLINGS.get(word.strip().lower()) if colon else None
        if unit not in KINDS[kind_of(quantity)]:
            header, unit = column, None
        wishes[quantity] = Asked(header.strip() or None, unit, "--map")
    return wishes


def from_toml(log: Path) -> dict[str, Asked]:
    """Wishes of LOG.map.toml, or of map.toml in the same folder; none where there is neither."""
    for path in (log.with_name(log.stem + ".map.toml"), log.with_name("map.toml")):
        if path.exists():
            break
    else:
        return {}
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(str(path), str(error), "a TOML file that can be read") from None
    wanted = 'a table [columns] of QUANTITY = "COLUMN" or { column = "COLUMN", unit = "UNIT" }, nothing else'
    if set(data) != {"columns"} or not isinstance(data["columns"], dict):
        raise InputError(str(path), ", ".join(data), wanted)
    wishes: dict[str, Asked] = {}
    for quantity, row in data["columns"].items():
        place = f"{path}: {quantity}"
        row = {"column": row} if isinstance(row, str) else row
        if quantity not in QUANTITIES:
            raise InputError(place, quantity, "one of " + ", ".join(QUANTITIES))
        if (
            not isinstance(row, dict)
            or not set(row) <= {"column", "unit"}
            or not all(isinstance(v, str) for v in row.values())
        ):
            raise InputError(place, row, wanted)
        unit = _SPELLINGS.get(row["unit"].lower(), row["unit"]) if "unit" in row else None
        if unit is not None and unit not in KINDS[kind_of(quantity)]:
            raise InputError(place, row["unit"], f"one of {', '.join(KINDS[kind_of(quantity)])}")
        wishes[quantity] = Asked(row.get("column") or None, unit, str(path))
    return wishes


def resolve(
    log: Path, heads: Sequence[str], wishes: dict[str, Asked], ask: Callable[[str, Sequence[str]], str] | None
) -> tuple[Column, ...]:
    """The columns of a table. `wishes` go before what heads say; `ask(question, allowed)` is for a person, None where nobody is there.

    Raises InputError for a column that is not there, and for a unit that nothing tells.
    """
    found = {}
    for head in heads:
        known = _known(head)
        if known is not None and known[0] not in found and known[0] not in wishes:
            found[known[0]] = (head, known[1])
    for quantity, wish in wishes.items():
        if wish.header is None:
            continue
        if list(heads).count(wish.header) != 1:
            raise InputError(
                f"{wish.place}: {quantity}", wish.header, f"the name of one column of {log}: {', '.join(heads)}"
            )
        found[quantity] = (wish.header, wish.unit or unit_in(wish.header, kind_of(quantity))[1])
    for quantity, (head, unit) in found.items():
        if unit is None and kind_of(quantity) != "switch":
            found[quantity] = (head, _ask(log, quantity, head, ask))
    if "time" not in found:
        raise InputError(f"{log}, line 1", ", ".join(heads), "a column of time: --map time=COLUMN:s")
    if "coolant" not in found and "oil" not in found:
        raise InputError(
            f"{log}, line 1", ", ".join(heads), "a column of coolant or oil temperature: --map coolant=COLUMN:degC"
        )
    at = list(heads).index
    return tuple(Column(quantity, head, at(head), unit or "") for quantity, (head, unit) in found.items())


def _ask(log: Path, quantity: str, head: str, ask: Callable[[str, Sequence[str]], str] | None) -> str:
    units = tuple(KINDS[kind_of(quantity)])
    if ask is None:
        wanted = f"its unit, of {', '.join(units)}: --map {quantity}={head}:{units[0]}, or nothing (--map {quantity}=) to leave it out"
        raise InputError(f"{log}, line 1: {quantity}", head, wanted)
    word = ask(f"{log}: unit of column {head!r} ({quantity})", units)
    return _SPELLINGS.get(word.lower(), word)
