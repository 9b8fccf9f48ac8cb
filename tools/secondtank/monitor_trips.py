"""The trip log's rows, sorted into trips: one CSV each, with date and time of day where a host had told the board what time it is."""

from __future__ import annotations

import csv
import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import host_sim.firmware_files  # noqa: F401  the board's words
from changeover.sensing import NOT_FITTED
from changeover.states import PARKED, STATES
from host_sim.errors import InputError
from host_sim.signals import DIGITAL_NAMES
from panel_words import REASONS
from secondtank.monitor_readings import KEYS
from secondtank.monitor_view import message_text, reason_text

FORM = 1
_OUTPUTS = ("supply", "return", "heater", "run_on", "power")
_BITS = tuple([f"in_{name}" for name in DIGITAL_NAMES] + [f"out_{name}" for name in _OUTPUTS])
COLUMNS = (
    "utc", "start", "s", "kind", "state", "message", "from", "reason", "measured", "limit", "unit", "blocked", "forced", "credit_ml",
    *KEYS, "not_trusted", *_BITS, "words", "block",
)  # fmt: skip
_START = re.compile(r"start (\d+)(;.*)?")
_TIME = re.compile(r"time \d{4}-\d\d-\d\d \d\d:\d\d:\d\d")
_KINDS = {"S": "sample", "M": "move", "W": "warning", "T": "words"}
Cells = dict[str, object]


@dataclass
class _Row:
    kind: str
    start: int
    s: float
    trip: int
    state: int
    cells: Cells
    came_from: int = PARKED

    @property
    def parked(self) -> bool:
        """Does it belong to no trip? The move into PARKED is the last of its own."""
        return self.state == PARKED and (self.kind != "M" or self.came_from == PARKED)


@dataclass
class Trip:
    """Rows of one trip, by its number and the start in which it began; `settings`: hashes; `dropped`: rows lost meanwhile."""

    start: int
    number: int
    rows: list[_Row] = field(default_factory=list)
    settings: list[str] = field(default_factory=list)
    dropped: int = 0
    over: bool = False


def write_trips(folder: Path, blocks: Iterable[tuple[int, list[str]]]) -> dict[str, int]:
    """All trips of these blocks, each file whole or not at all: how many rows, trips, rows between trips, damaged blocks.

    Raises InputError for a row that is none, and where the folder does not take a file.
    """
    sorter = _Sorter()
    for number, lines in blocks:
        sorter.block(number, lines)
    sorter.end()
    times = _Times(sorter.ties)
    names: Counter[str] = Counter()
    for trip in sorter.trips:
        name = f"start_{trip.start:05d}_trip_{trip.number:05d}"
        names[name] += 1  # a new season numbers its trips anew
        head = [f"trip={trip.number}", f"start={trip.start}", *(f"settings_hash={each}" for each in trip.settings)]
        head.append(f"dropped={trip.dropped}")
        _write(folder / (name + (f"_{names[name]}" if names[name] > 1 else "") + ".csv"), head, trip.rows, times)
    _write(folder / "parked.csv", ["what stands between the trips"], sorter.parked, times)
    rows = sum(len(trip.rows) for trip in sorter.trips) + len(sorter.parked)
    return {"rows": rows, "trips": len(sorter.trips), "parked": len(sorter.parked), "damaged": sorter.damaged}


class _Sorter:
    """Takes blocks in order. `ties`: by start, (s, what a host called that moment)."""

    def __init__(self) -> None:
        self.trips: list[Trip] = []
        self.parked: list[_Row] = []
        self.ties: dict[int, list[tuple[float, datetime]]] = {}
        self.damaged = 0
        self._words: list[_Row] = []  # go with the trip that follows in the same start
        self._start = 0
        self._s = 0.0
        self._dropped: int | None = None

    def block(self, number: int, lines: list[str]) -> None:
        """One block's lines."""
        if lines[0].startswith("X,"):
            self.damaged += 1
            return
        try:
            _, _, _, boots, settings, dropped, _ = lines[0].split(",")
            before = (0 if number == 1 else int(dropped)) if self._dropped is None else self._dropped
            self._dropped = int(dropped)
            rows = [_parsed(line, number) for line in lines[1:] if not line.startswith("C,")]
            starts = [named for row in rows if (named := _named_start(row))]
            first = starts[0] - 1 if starts else int(boots)
            for row in rows:
                self._row(row, first, settings)
        except (ValueError, IndexError) as error:
            raise InputError(f"block {number}", str(error), "rows of the form that this version knows") from None
        if self.trips:
            self.trips[-1].dropped += max(self._dropped - before, 0)

    def _row(self, row: _Row, first: int, settings: str) -> None:
        if named := _named_start(row):
            self._leave()
            self._start = named
        elif row.s < self._s or self._start == 0:
            self._leave()
            self._start = first  # the row that would name it is not there
        self._s = row.s
        row.start = self._start
        if row.kind == "T":
            self._tie(row)
        open_trip = self.trips[-1] if self.trips and not self.trips[-1].over else None
        if row.kind == "T" and (open_trip is None or open_trip.rows[-1].start != row.start):
            self._words.append(row)
            return
        if row.parked and row.kind != "T":
            self.parked.append(row)
            return
        if open_trip is None or (row.kind != "T" and row.trip != open_trip.number):
            open_trip = Trip(row.start, row.trip)
            self.trips.append(open_trip)
        if settings not in open_trip.settings:
            open_trip.settings.append(settings)
        open_trip.rows += [*self._words, row]
        self._words = []
        open_trip.over = row.kind == "M" and row.state == PARKED

    def _leave(self) -> None:
        self.parked += self._words
        self._words = []

    def _tie(self, row: _Row) -> None:
        words = str(row.cells["words"])
        if _TIME.fullmatch(words):
            moment = datetime.strptime(words, "time %Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
            self.ties.setdefault(row.start, []).append((row.s, moment))

    def end(self) -> None:
        """No more blocks."""
        self._leave()


def _named_start(row: _Row) -> int:
    """The number of the start that this row begins, else 0."""
    found = _START.fullmatch(str(row.cells.get("words", "")))
    return int(found[1]) if found else 0


def _parsed(line: str, block: int) -> _Row:
    kind, s, *rest = line.split(",")
    cells: Cells = {"kind": _KINDS.get(kind, ""), "block": block}
    if kind == "T":
        cells["words"] = ",".join(rest)
        return _Row(kind, 0, float(s), 0, PARKED, cells)
    if kind not in ("S", "M", "W"):
        raise ValueError(f"a row of an unknown kind: {line}")
    state, trip, bits, message = int(rest[0]), int(rest[1]), int(rest[2], 16), int(rest[3])
    cells["state"], cells["message"] = STATES[state], message_text(message, [])
    cells.update({name: bits >> index & 1 for index, name in enumerate(_BITS)})
    if kind == "S":
        cells["reason"] = reason_text(int(rest[4]))
        readings = rest[5:]
        wrong = []
        for (key, per), word in zip(KEYS.items(), readings, strict=True):
            if word.startswith("!"):
                if int(word[1:]) != NOT_FITTED:
                    wrong.append(f"{key}={REASONS[int(word[1:])]}")
            else:
                cells[key] = int(word) / per
        cells["not_trusted"] = "; ".join(wrong)
        return _Row(kind, 0, float(s), trip, state, cells)
    came_from, reason, measured, limit, unit, blocked, forced, credit = rest[4:]
    cells.update(
        {
            "from": STATES[int(came_from)], "reason": reason_text(int(reason)), "measured": int(measured), "limit": int(limit),
            "unit": unit, "blocked": int(blocked, 16), "forced": int(forced, 16), "credit_ml": int(credit),
        }
    )  # fmt: skip
    return _Row(kind, 0, float(s), trip, state, cells, int(came_from))


class _Times:
    """A start's seconds as moments, by the nearest of its ties."""

    def __init__(self, ties: dict[int, list[tuple[float, datetime]]]) -> None:
        self._ties = ties

    def of(self, row: _Row) -> str:
        """UTC, or an empty string where nobody told that start what time it was."""
        ties = self._ties.get(row.start)
        if not ties:
            return ""
        s, moment = min(ties, key=lambda tie: abs(tie[0] - row.s))
        return (moment + timedelta(seconds=row.s - s)).strftime("%Y-%m-%d %H:%M:%S")


def _write(path: Path, head: list[str], rows: Iterable[_Row], times: _Times) -> None:
    whole = path.with_suffix(".part")
    try:
        with whole.open("w", encoding="utf-8", newline="") as file:
            file.write(f"# secondtank trip, form {FORM}\n" + "".join(f"# {line}\n" for line in head))
            writer = csv.DictWriter(file, COLUMNS, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(_cells(rows, times))
        os.replace(whole, path)
    except OSError as error:
        raise InputError(str(path), error.strerror, "a folder that can be written") from None


def _cells(rows: Iterable[_Row], times: _Times) -> Iterator[Cells]:
    for row in rows:
        yield {**row.cells, "utc": times.of(row), "start": row.start, "s": f"{row.s:.1f}"}
