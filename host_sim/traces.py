"""Logged traces of real cars: read, checked, their time repaired, for a drive.

Loggers stamp whole seconds, so most stamps repeat; some logs lose seconds, in a few the clock runs backwards.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from host_sim.errors import InputError
from host_sim.log_reader import GAP_S as GAP_S
from host_sim.log_reader import LogText, Repairs, forward, spread

AMBIENT_NEAR_K = 5.0
ASSUMED_AMBIENT_C = 20.0  # judgement; said wherever it is used


@dataclass(frozen=True)
class Column:
    """How one quantity stands in a file: header, unit, factor from that unit to ours, range in that unit."""

    header: str
    unit: str
    factor: float
    low: float
    high: float
    required: bool = False


# Ranges are what the diagnostic interface can express (SAE J1979 parameter identifiers, from memory).
OBD_COLUMNS: Mapping[str, Column] = {
    "t_s": Column("t_s", "s", 1.0, 0.0, 1e7, required=True),
    "rpm": Column("engine_rpm", "1/min", 1.0, 0.0, 16384.0, required=True),
    "speed_kmh": Column("speed_kmh", "km/h", 1.0, 0.0, 255.0, required=True),
    "load": Column("engine_load_pct", "%", 0.01, 0.0, 100.0, required=True),
    "coolant_c": Column("coolant_c", "degC", 1.0, -40.0, 215.0),
    "intake_air_c": Column("intake_air_c", "degC", 1.0, -40.0, 215.0),
    "supply_v": Column("supply_v", "V", 1.0, 0.0, 65.6),
}


@dataclass(frozen=True)
class Trace:
    """A trace in our units. `columns`: one sequence a quantity, of one length; those in `missing` are not in it.

    t_s: s, repeats spread evenly within their second, never decreasing; rpm: 1/min; speed_kmh: km/h; load: 0..1;
    coolant_c, intake_air_c: degC; supply_v: V. `gaps`: (from, to) in s where stamps lie more than GAP_S apart;
    `repaired`: how often time ran backwards; `lines`: lines of data read.
    """

    path: Path
    columns: Mapping[str, Sequence[float]]
    gaps: tuple[tuple[float, float], ...]
    repaired: int
    missing: tuple[str, ...]
    lines: int

    @property
    def t_s(self) -> Sequence[float]:
        return self.columns["t_s"]

    @property
    def duration_s(self) -> float:
        """From the first to the last sample."""
        return self.t_s[-1] - self.t_s[0]

    def at(self, t_s: float) -> int:
        """Index of the last sample not later than t_s (0 before the first): values are held, not interpolated."""
        return max(0, bisect_right(self.t_s, t_s) - 1)

    def in_gap(self, t_s: float) -> bool:
        """True strictly inside a gap: what stands there then is old."""
        place = bisect_right(self.gaps, t_s, key=lambda gap: gap[0]) - 1
        return place >= 0 and self.gaps[place][0] < t_s < self.gaps[place][1]

    def column(self, name: str) -> Sequence[float]:
        """One quantity; raises InputError for one that is not in the log."""
        if name not in self.columns:
            header = OBD_COLUMNS[name].header if name in OBD_COLUMNS else name
            raise InputError(f"{self.path}, line 1", ", ".join(sorted(self.columns)), f"a column {header}")
        return self.columns[name]


def read_trace(
    path: str | Path, strict: bool = False, columns: Mapping[str, Column] = OBD_COLUMNS, need: Sequence[str] = ()
) -> Trace:
    """Read a CSV trace with a header line (comma, UTF-8, with or without byte order mark, any line ends).

    Required columns, and those named in `need`, must be there; others that are not are listed in `missing`; further
    columns of the file are ignored. Time that runs backwards is repaired and counted, or refused when `strict`. Raises
    InputError with the line.
    """
    path = Path(path)
    text = LogText(path, Repairs(path, strict=True))
    rows = text.rows()
    names = [cell.strip() for cell in next(rows, [])]
    if not any(names):
        raise InputError(f"{path}, line 1", "", "a header line and lines of data; the file is empty")
    repeated = sorted({name for name in names if names.count(name) > 1})
    if repeated:
        raise InputError(f"{path}, line {text.line}", ", ".join(repeated), "each column once")
    found = {name: names.index(column.header) for name, column in columns.items() if column.header in names}
    for name, column in columns.items():
        if name not in found and (column.required or name in need):
            raise InputError(f"{path}, line {text.line}", ", ".join(names), f"a column {column.header} ({column.unit})")

    repaired = 0

    def back(line: int, stamp: float, before: float) -> None:
        nonlocal repaired
        repaired += 1
        if strict:
            wanted = f"{before:g} s or later: time must not run backwards"
            raise InputError(f"{path}, line {line}, column t_s", stamp, wanted)

    def values() -> Iterator[tuple[float, int, list[float]]]:
        for cells in rows:
            if len(cells) != len(names):
                raise InputError(f"{path}, line {text.line}", ",".join(cells), f"{len(names)} cells, as in the header")
            row = [
                _number(path, text.line, cells[at], columns[name]) * columns[name].factor for name, at in found.items()
            ]
            yield row[first], text.line, row

    first = list(found).index("t_s")
    times: list[float] = []
    gaps: list[tuple[float, float]] = []
    data: list[list[float]] = []
    gap_from: float | None = None
    for t_s, gap, _, row in spread(forward(values(), back)):
        if gap_from is not None:
            gaps.append((gap_from, t_s))
        gap_from = t_s if gap else None
        times.append(t_s)
        data.append(row)
    if not data:
        raise InputError(f"{path}, line {text.line}", "", "at least one line of data after the header")
    series = dict(zip(found, zip(*data, strict=True), strict=True))
    return Trace(
        path=path,
        columns=series | {"t_s": tuple(times)},
        gaps=tuple(gaps),
        repaired=repaired,
        missing=tuple(name for name in columns if name not in found),
        lines=len(data),
    )


def ambient_for(trace: Trace, override: float | None) -> tuple[float, str]:
    """(ambient in degC, how it is known): `override`, else the first intake air of a cold start, else assumed.

    An engine that starts within AMBIENT_NEAR_K of its intake air has stood long enough for both to be at ambient.
    """
    if override is not None:
        return override, "given"
    absent = [name for name in ("intake_air_c", "coolant_c") if name in trace.missing]
    if absent:
        headers = " and ".join(OBD_COLUMNS[name].header for name in absent)
        return ASSUMED_AMBIENT_C, f"assumed {ASSUMED_AMBIENT_C:g} degC: {headers} not in log"
    intake, coolant = trace.columns["intake_air_c"][0], trace.columns["coolant_c"][0]
    if abs(intake - coolant) <= AMBIENT_NEAR_K:
        return intake, f"first intake air, {abs(intake - coolant):g} K from the first coolant"
    first = f"first intake air {intake:g} degC, first coolant {coolant:g} degC"
    return ASSUMED_AMBIENT_C, f"assumed {ASSUMED_AMBIENT_C:g} degC: {first}, so the engine had not stood long enough"


def _number(path: Path, line: int, cell: str, column: Column) -> float:
    try:
        # float() also takes 1_000 and other scripts' digits.
        value = float(cell) if cell.isascii() and "_" not in cell else math.nan
    except ValueError:
        value = math.nan
    if not column.low <= value <= column.high:
        wanted = f"a number from {column.low:g} to {column.high:g} ({column.unit})"
        raise InputError(f"{path}, line {line}, column {column.header}", cell, wanted)
    return value
