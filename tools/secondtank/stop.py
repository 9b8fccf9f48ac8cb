"""The verb `stop`: how long may the car stand with oil in the lines?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from changeover.stop_advice import standing_min as board_min
from host_sim.errors import InputError
from host_sim.standing import (
    COOLING_S,
    SHORTEST_MIN,
    WORK_C,
    Cooling,
    Standing,
    default_cooling,
    in_wind,
    learnt,
    standing,
)
from secondtank import stop_words
from secondtank.drive import folder_of
from secondtank.oil_settings_file import base_settings, write_settings
from secondtank.stop_log import read_stops

RAN = 0


@dataclass(frozen=True)
class StopOrder:
    """What the command line asks for. None: as the help says."""

    oil_c: float | None
    ambient_c: float | None
    wind_km_h: float
    parked: str | None
    stops: Path | None
    settings: str | None
    write: Path | None
    out: Path | None
    as_json: bool


@dataclass(frozen=True)
class StopAnswer:
    """All that there is to say of one stop. board_min: what the board says with the settings as they are now."""

    oil_c: float
    ambient_c: float
    wind_km_h: float
    restart_c: float
    cooling: Cooling
    parked: datetime
    stands: Standing
    board_min: int

    @property
    def purge(self) -> bool:
        """Too short to be worth the risk of a delay."""
        return self.stands.minutes < SHORTEST_MIN

    def clock(self, minutes: int) -> str:
        """Time of day so long after parking."""
        return (self.parked + timedelta(minutes=minutes)).strftime("%H:%M")

    def as_dict(self) -> dict[str, Any]:
        """For `--json`."""
        stands, cooling = self.stands, self.cooling
        return {
            "advice": "purge" if self.purge else "stand",
            "minutes": stands.minutes,
            "interval_minutes": [stands.earliest, stands.latest],
            "parked": self.clock(0),
            "back_by": self.clock(stands.minutes),
            "span": [self.clock(stands.earliest), self.clock(stands.latest)],
            "board_minutes": self.board_min,
            "oil_degc": self.oil_c,
            "ambient_degc": self.ambient_c,
            "wind_km_h": self.wind_km_h,
            "restart_degc": self.restart_c,
            "cooling_time_s": int(in_wind(cooling.worst_s, self.wind_km_h)),
            "best_cooling_time_s": int(in_wind(cooling.best_s, self.wind_km_h)),
            "stops_learnt_from": cooling.stops,
        }


def run_stop(order: StopOrder) -> int:
    """Answer, and write where asked. Raises InputError."""
    values = base_settings(order.settings, order.write)
    oil_c = WORK_C if order.oil_c is None else _within("--oil", order.oil_c, -40.0, 130.0, "degC")
    ambient_c = values["ambient_worst_cdegc"] / 100.0 if order.ambient_c is None else order.ambient_c
    _within("--ambient", ambient_c, -50.0, 50.0, "degC")
    wind_km_h = _within("--wind", order.wind_km_h, 0.0, 150.0, "km/h")
    cooling = _cooling(order.stops, values)
    restart_c = values["oil_restart_cdegc"] / 100.0
    written = []
    if order.write is not None:
        written = write_settings(order.write, {"cooling_time_s": board_cooling_s(cooling, wind_km_h)})
        values = base_settings(None, order.write)
    stands = standing(oil_c, ambient_c, wind_km_h, restart_c, cooling)
    board = board_min(round(oil_c * 100), round(ambient_c * 100), values["oil_restart_cdegc"], values["cooling_time_s"])
    answer = StopAnswer(oil_c, ambient_c, wind_km_h, restart_c, cooling, _time(order.parked), stands, board)
    if order.as_json:
        print(json.dumps(answer.as_dict(), indent=2))
    else:
        print(stop_words.as_text(answer, written))
    if order.out is not None:
        page = folder_of(order.out) / "stop.html"
        page.write_text(stop_words.as_page(answer), encoding="utf-8")
        if not order.as_json:
            print(f"  {page}")
    return RAN


def board_cooling_s(cooling: Cooling, wind_km_h: float) -> int:
    """The worst cooling in this wind as the board keeps it; rounded down. Raises InputError outside what the law allows."""
    seconds = int(in_wind(cooling.worst_s, wind_km_h))
    low, high = COOLING_S
    if seconds < low:
        raise InputError(
            "learnt cooling time", seconds, f"{low} s or more: so fast a car has to purge before every stop"
        )
    return min(seconds, high)


def _cooling(stops: Path | None, values: dict[str, int]) -> Cooling:
    if stops is not None:
        return learnt(read_stops(stops))
    worst_s = float(values["cooling_time_s"])
    return Cooling(worst_s, max(worst_s, default_cooling().best_s), 0)


def _within(place: str, value: float, low: float, high: float, unit: str) -> float:
    if not low <= value <= high:
        raise InputError(place, value, f"{low:g} to {high:g} {unit}")
    return value


def _time(word: str | None) -> datetime:
    try:
        return datetime.strptime(word, "%H:%M") if word else datetime.now()
    except ValueError:
        raise InputError("--parked", word, "a time of day, as 14:05") from None
