"""The table of stops as they were: a CSV that a driver keeps, one row a stop."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from host_sim.errors import InputError
from host_sim.standing import Stop

COLUMNS = ("minutes", "oil_off_degc", "oil_on_degc", "ambient_degc", "wind_km_h")
_LIMITS = {
    "minutes": (1.0, 24 * 60.0),
    "oil_off_degc": (0.0, 130.0),
    "oil_on_degc": (-40.0, 130.0),
    "ambient_degc": (-50.0, 50.0),
    "wind_km_h": (0.0, 150.0),
}


def read_stops(path: Path) -> list[Stop]:
    """All rows; further columns are the driver's own, an empty wind is unknown. Raises InputError with line and column."""
    try:
        with path.open(newline="", encoding="utf-8") as file:
            reader = csv.DictReader(file)
            missing = [name for name in COLUMNS[:-1] if name not in (reader.fieldnames or ())]
            if missing:
                raise InputError(f"{path}: head", reader.fieldnames, "the columns " + ", ".join(COLUMNS))
            return [_stop(f"{path}:{reader.line_num}", row) for row in reader]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(str(path), str(error), "a CSV table of stops that can be read") from None


def _stop(place: str, row: dict[str, str | None]) -> Stop:
    minutes, off, on, ambient = (_number(place, name, row.get(name)) for name in COLUMNS[:-1])
    wind = row.get("wind_km_h")
    if not ambient < on <= off:
        raise InputError(
            f"{place}: oil_on_degc", on, f"above the air, {ambient:g}, and not above oil_off_degc, {off:g}"
        )
    return Stop(minutes, off, on, ambient, _number(place, "wind_km_h", wind) if wind and wind.strip() else None)


def _number(place: str, name: str, word: str | None) -> float:
    low, high = _LIMITS[name]
    try:
        value = float(word or "")
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise InputError(f"{place}: {name}", word, f"a number from {low:g} to {high:g}")
    return value
