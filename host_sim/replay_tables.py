"""Logs of anybody's logger: a table with a time column. Its quantities as the law's raw counts; what it lacks is not in log."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from changeover import rows
from changeover.sensing import Thermistor
from changeover.settings import NTC_FIRST_C, NTC_NAMES, NTC_STEP_C
from changeover.ticks import MASK_MS
from host_sim.errors import InputError
from host_sim.log_reader import GAP_S, LogText, Repairs, forward, spread
from host_sim.replay_columns import NO_VALUE, SWITCHES, VALVES, Column
from host_sim.replay_logs import BOOT, GAP, PLAIN, TABLE, TICK_MS, Tick
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES, FULL_SCALE

RUNNING_RPM = 400.0  # half of an idle speed: a starter turns slower (judgement)
_STANDARD_PA = 101_325
_FOLLOWS_K = 4.0  # a row; the law takes 5 K between two samples for a jump
_FAR_CDEGC = 30_000
# Which setting says that an input is fitted. Coolant, oil and suction always are.
_FITTED = {
    "oil_tank": "fit_oil_tank_ntc", "pump_inlet": "fit_pump_inlet_ntc", "oil_level": "fit_oil_level",
    "diesel_level": "fit_diesel_level", "supply": "fit_supply", "ambient": "fit_ambient",
    "supply_contact": "fit_supply_contact", "return_contact": "fit_return_contact",
}  # fmt: skip
# What the names in the interlock table's conditions are read from.
READ_FROM = {
    "coolant": ("coolant",), "coolant_bad": ("coolant",), "oil": ("oil",), "oil_coldest": ("oil",), "oil_bad": ("oil",),
    "pump_inlet": ("pump_inlet",), "suction": ("suction",), "suction_mean": ("suction", "oil"), "spent": ("suction",),
    "suction_bad": ("suction",), "air": ("suction", "oil"), "supply": ("supply",), "oil_level": ("oil_level",),
    "diesel_level": ("diesel_level",), "supply_unfollowed": ("supply_contact",), "return_unfollowed": ("return_contact",),
    "heater_failed": ("coolant", "oil"), "restarted": ("board",), "late": ("board",), "memory_bad": ("board",),
}  # fmt: skip


def delimiter_of(line: str) -> str:
    """What stands between the cells, by the first line."""
    return next((mark for mark in ";\t" if mark in line), ",")


def heads(path: Path) -> list[str]:
    """The names of a table's columns. Raises InputError for a file without any, and for a name that stands there twice."""
    text = LogText(path, Repairs(path, strict=False))
    line = next(text.lines(), "")
    names = [cell.strip() for cell in next(text.rows(delimiter_of(line), [line]), [])]
    if not any(names):
        raise InputError(f"{path}, line 1", line.strip(), "the names of the columns")
    repeated = sorted({name for name in names if name and names.count(name) > 1})
    if repeated:
        raise InputError(f"{path}, line 1", ", ".join(repeated), "each column once")
    return names


def rows_not_in_log(missing: tuple[str, ...]) -> set[int]:
    """Rows of the interlock table of which nothing can be judged where these quantities are not in the log."""
    lacking = {*missing, *(("board",) if missing else ())}
    found = set()
    for number, row in enumerate(rows.TABLE):
        names = [name for name in re.findall(r"[a-z_]+", f"{row[rows.BLOCKS]} {row[rows.FORCES]}") if name in READ_FROM]
        if names and all(lacking.intersection(READ_FROM[name]) for name in names):
            found.add(number)
    return found


class Encoder:
    """Values in the first unit of their kind to raw counts, so that a law with these settings reads them again."""

    def __init__(self, values: dict[str, int]) -> None:
        self._values = values
        self._table = [values[name] for name in NTC_NAMES]
        self._known: dict[tuple[str, float], int] = {}

    def counts(self, name: str, value: float) -> int:
        """Counts of the channel of this name, 0 .. 65535."""
        found = self._known.get((name, value))
        if found is None:
            if len(self._known) > 50_000:
                self._known.clear()
            found = self._known[name, value] = min(FULL_SCALE, max(0, self._encode(name, value)))
        return found

    def _encode(self, name: str, value: float) -> int:
        values = self._values
        if name == "suction" or name == "ambient_pressure":
            kind = "suction" if name == "suction" else "baro"
            return values[f"{kind}_zero_counts"] + round(value * 1000 / values[f"{kind}_pa_per_kcount"])
        if name.endswith("_level"):
            zero = values[f"{name}_zero_counts"]
            return zero + round(value * (values[f"{name}_full_counts"] - zero) / 1000)
        if name == "supply":
            return round(value * 1000 / values["supply_uv_per_count"])
        trim = values[f"{name}_trim_cdegc"] if name in ("coolant", "oil") else 0
        return self._thermistor(round(100 * value), trim)

    def _thermistor(self, cdegc: int, trim: int) -> int:
        table = self._table
        at = min(max((cdegc - trim - 100 * NTC_FIRST_C) // (100 * NTC_STEP_C), 0), len(table) - 2)
        above = cdegc - trim - 100 * (NTC_FIRST_C + NTC_STEP_C * at)
        about = table[at] - round(above * (table[at] - table[at + 1]) / (100 * NTC_STEP_C))
        law = Thermistor(True, self._values, trim)
        # the nearest count; of two the warmer, so that a value on its threshold is read as on it
        return min((about - 1, about, about + 1), key=lambda counts: (abs(law.convert(counts) - cdegc), counts))


class TableLog:
    """A table with a time column. The same face as `RecordedLog`; `told`: the valves, where the table holds them."""

    kind = TABLE
    dense = False
    interrupted = False

    def __init__(self, path: Path, strict: bool, columns: tuple[Column, ...]) -> None:
        self.path = path
        self.repairs = Repairs(path, strict)
        self.text = LogText(path, self.repairs)
        self.settings = self.settings_hash = self.firmware_hash = None
        self.tables: dict[str, dict[int, str]] = {}
        self.columns = columns
        self._here = {column.quantity for column in columns}
        self.told = tuple(f"out_{name.removesuffix('_valve')}" for name in VALVES if name in self._here)
        self.missing = tuple(
            name for name in (*ANALOG_NAMES, *DIGITAL_NAMES[:6])
            if name not in self._here and not (name == "engine" and "rpm" in self._here)
        )  # fmt: skip
        self.notes: list[str] = []
        self.stale_ms: dict[str, int] = {}
        self.gaps: list[tuple[int, int]] = []
        self.rows = 0
        self.speed_kmh: float | None = None
        self._stand_in: float | None = None

    def open(self) -> None:
        """Say what stands in for what the table lacks."""
        said = {
            "engine": "taken as running", "key": "taken as on", "ready": "taken as READY", "button": "taken as not pressed",
            "coolant": "the law reads the oil in its place and has no limit for it",
            "oil": "the law reads the coolant in its place and has no limit for it",
        }  # fmt: skip
        self.notes += [f"{name} not in log: {said[name]}" for name in self.missing if name in said]

    def law_values(self, values: dict[str, int]) -> dict[str, int]:
        """The settings that the law is given: what is not in the log is not fitted; limits of coolant or oil out of reach."""
        given = dict(values)
        for name, fitted in _FITTED.items():
            if name not in self._here:
                given[fitted] = 0
        if "coolant" not in self._here:
            given["coolant_entry_cdegc"] = given["coolant_exit_cdegc"] = -_FAR_CDEGC
        if "oil" not in self._here:
            given["oil_entry_cdegc"] = given["oil_exit_cdegc"] = -_FAR_CDEGC
            given["oil_hot_cdegc"] = _FAR_CDEGC
        if not {"coolant", "oil"} <= self._here:
            given["fit_heater"] = 0
        return given

    def ticks(self, values: dict[str, int]) -> Iterator[Tick]:
        """A tick each 100 ms. Values are held until the next row; in a gap there is no tick, and the board's clock stands."""
        encoder = Encoder(values)
        absolute = values["suction_absolute"] == 1
        tick_ms = 0
        now_ms: int | None = None
        begin_s = 0.0
        special = BOOT
        held: tuple[int, list[int], list[bool], tuple[str | int, ...] | None] | None = None
        gap_from: int | None = None
        for t_s, gap, line, now in self._timed():
            if now_ms is None:
                begin_s, now_ms = t_s, 0
            here_ms = round(1000 * (t_s - begin_s))
            if gap_from is not None:
                self.gaps.append((gap_from, here_ms))
                now_ms, special, held, self._stand_in = here_ms, GAP, None, None
            while held is not None and now_ms < here_ms:
                yield special, held[0], now_ms, tick_ms, list(held[1]), list(held[2]), held[3]
                special = PLAIN
                now_ms += TICK_MS
                tick_ms = (tick_ms + TICK_MS) & MASK_MS
            held = (line, self._counts(encoder, now, absolute), self._levels(now), self._valves(now))
            self.speed_kmh = now.get("speed")
            gap_from = here_ms if gap else None
            if gap:  # nothing is known of the time behind it, so this row is worth one tick
                yield special, line, here_ms, tick_ms, list(held[1]), list(held[2]), held[3]
                tick_ms = (tick_ms + TICK_MS) & MASK_MS
        if held is not None and gap_from is None and now_ms is not None:
            yield special, held[0], now_ms, tick_ms, held[1], held[2], held[3]

    def _counts(self, encoder: Encoder, now: dict[str, float], absolute: bool) -> list[int]:
        ambient = now.get("ambient_pressure", _STANDARD_PA)
        suction = now.get("suction", 0.0)
        readings = dict(now)
        for name, other in (("coolant", "oil"), ("oil", "coolant")):
            if name not in readings:
                readings[name] = self._stand_in = self._follow(now[other])
        readings["suction"] = ambient - suction if absolute else suction
        readings["ambient_pressure"] = ambient
        return [encoder.counts(name, readings[name]) if name in readings else 0 for name in ANALOG_NAMES]

    def _follow(self, value: float) -> float:
        """What stands in goes along without a jump of its own: two sensors that jump at once would be a lifted ground."""
        before = self._stand_in
        return value if before is None else before + max(-_FOLLOWS_K, min(_FOLLOWS_K, value - before))

    def _levels(self, now: dict[str, float]) -> list[bool]:
        levels = [now.get(name, 0.0) > 0.0 for name in DIGITAL_NAMES]
        levels[0] = now.get("key", 1.0) > 0.0
        if "engine" not in self._here:
            levels[1] = levels[0] and now.get("rpm", RUNNING_RPM) >= RUNNING_RPM
        levels[2] = now.get("ready", 1.0) > 0.0
        return levels

    def _valves(self, now: dict[str, float]) -> tuple[str | int, ...] | None:
        return tuple(int(now[name]) for name in VALVES if name in self._here) if self.told else None

    def _timed(self) -> Iterator[tuple[float, bool, int, dict[str, float]]]:
        """Rows in time, each with the last value of every column, from the first row on by which each had one."""
        now: dict[str, float] = {}
        seen: dict[str, float] = {}
        before_s: float | None = None
        line = 0
        for t_s, gap, line, found in spread(forward(self._repeats(self._read()), self._back)):
            now.update(found)
            if len(now) < len(self.columns) - 1:
                continue
            if before_s is None:  # whatever was read before is as old as this row
                seen = dict.fromkeys(now, t_s)
            seen.update(dict.fromkeys(found, t_s))
            for quantity, last_s in seen.items():
                if before_s is not None and t_s - last_s > GAP_S:
                    self.stale_ms[quantity] = self.stale_ms.get(quantity, 0) + round(1000 * (t_s - before_s))
            before_s = None if gap else t_s
            yield t_s, gap, line, dict(now)
        if len(now) < len(self.columns) - 1:
            lacking = ", ".join(column.header for column in self.columns if column.quantity not in (*now, "time"))
            raise InputError(
                f"{self.path}, line {line or 1}",
                lacking,
                "rows with a value in these columns; there was none to the end",
            )

    def _repeats(
        self, rows: Iterator[tuple[float, int, dict[str, float]]]
    ) -> Iterator[tuple[float, int, dict[str, float]]]:
        before = None
        for stamp, line, row in rows:
            if stamp == before:
                self.repairs.note("repeated stamps spread", line, stamp, "each stamp once")
            before = stamp
            yield stamp, line, row

    def _back(self, line: int, stamp: float, before: float) -> None:
        self.repairs.note(
            "stamps that ran backwards put right", line, stamp, f"{before:g} s or later: time must not run backwards"
        )

    def _read(self) -> Iterator[tuple[float, int, dict[str, float]]]:
        """Each row as its stamp in s, its line, and the values that stand in it, in the first unit of their kind."""
        lines = self.text.lines()
        first = next(lines, "")
        delimiter = delimiter_of(first)
        width = len(next(self.text.rows(delimiter, [first])))
        for cells in self.text.rows(delimiter, lines):
            line = self.text.line
            if self.text.cut:  # a number may have lost its last digits
                self.repairs.note("truncated last line left out", line, delimiter.join(cells), "a line with its end")
                continue
            if len(cells) != width:
                self._broken(line, delimiter.join(cells), f"{width} cells, as in the head")
                continue
            found: dict[str, float] = {}
            for column in self.columns:
                value = self._value(column, cells[column.at], line, delimiter)
                if value is not None:
                    found[column.quantity] = value
            stamp = found.pop("time", None)
            if stamp is None:
                self._broken(line, delimiter.join(cells), "a time in each row")
                continue
            self.rows += 1
            yield stamp, line, found

    def _broken(self, line: int, found: str, wanted: str) -> None:
        if not self.rows:
            raise InputError(f"{self.path}, line {line}", found, wanted)
        self.repairs.note("broken lines left out", line, found, wanted)

    def _value(self, column: Column, cell: str, line: int, delimiter: str) -> float | None:
        if cell.strip() in NO_VALUE:
            return None
        try:
            value = column.read(cell)
            if value is None and delimiter != "," and "," in cell:
                value = column.read(cell.replace(",", ".", 1))
                if value is not None:
                    self.repairs.note("decimal commas read as points", line, cell, column.wanted)
        except ValueError as error:
            raise InputError(f"{self.path}, line {line}, column {column.header}", cell, str(error)) from None
        if value is None and column.quantity in SWITCHES and not self.rows:
            raise InputError(f"{self.path}, line {line}, column {column.header}", cell, column.wanted)
        if value is None:
            self.repairs.note("cells that are no number left out", line, cell, column.wanted)
        return value
