"""Text of a log, a row at a time: what loggers and power cuts do to a file is refused with its line, or repaired and counted.

One reader for `drive --trace` and `replay`. Only a few rows are in memory at a time, however long the log.
"""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from pathlib import Path
from typing import TypeVar

from host_sim.errors import InputError

T = TypeVar("T")

GAP_S = 2.0
# A row that lies in the past is a stray one when one of the next few is back in time; else the clock was set back.
_STRAY_ROWS = 4
_MOST_REPEATS = 10_000  # rows of one stamp: a clock that stands still


class Repairs:
    """What had to be repaired: how often, and in which line first. `strict`: nothing is, the first such place is refused."""

    def __init__(self, path: Path, strict: bool) -> None:
        self.path = path
        self.strict = strict
        self.count: dict[str, int] = {}
        self.first: dict[str, int] = {}
        self.total = 0

    def note(self, what: str, line: int, found: object, wanted: str) -> None:
        """Count one repair of this kind; raises InputError when strict."""
        if self.strict:
            raise InputError(f"{self.path}, line {line}", found, wanted)
        self.count[what] = self.count.get(what, 0) + 1
        self.first.setdefault(what, line)
        self.total += 1


class LogText:
    """A file's lines and cells, streamed. `line`: number of the one read last; `cut`: it is the last one and has no line end;
    `position`: bytes read so far, about."""

    def __init__(self, path: Path, repairs: Repairs) -> None:
        self.path = path
        self.line = 0
        self.cut = False
        self.position: Callable[[], int] = int
        self._repairs = repairs

    def lines(self) -> Iterator[str]:
        """Lines of UTF-8 text with their ends, a byte order mark left out; raises InputError for what is no text.

        A line with NUL bytes, as a power cut leaves them, is a repair: left out.
        """
        try:
            with self.path.open("rb") as raw, io.TextIOWrapper(raw, encoding="utf-8-sig", newline="") as text:
                self.position = raw.tell
                for line in text:
                    self.line += 1
                    if "\0" in line:
                        self._repairs.note("lines with NUL bytes left out", self.line, "\0", "text without NUL bytes")
                        continue
                    self.cut = line[-1] not in "\r\n"
                    yield line
                self.position = int
        except UnicodeDecodeError:
            line, byte = self._no_text()
            raise InputError(f"{self.path}, line {line}", byte, "UTF-8 text") from None
        except OSError as error:
            raise InputError(str(self.path), error.strerror or str(error), "a CSV file that can be read") from None

    def _no_text(self) -> tuple[int, bytes]:
        with self.path.open("rb") as file:
            for number, line in enumerate(file, 1):
                try:
                    line.decode()
                except UnicodeDecodeError as error:
                    return number, line[error.start : error.start + 1]
        return self.line + 1, b""

    def rows(self, delimiter: str = ",", lines: Iterable[str] | None = None) -> Iterator[list[str]]:
        """Cells of each line that is not empty; `lines`: of these lines of the file. Raises InputError for broken quoting."""
        reader = csv.reader(self.lines() if lines is None else lines, delimiter=delimiter, strict=True)
        try:
            for cells in reader:
                if cells:
                    yield cells
        except csv.Error as error:
            if not self.cut:
                raise InputError(f"{self.path}, line {self.line}", str(error), "comma-separated text") from None
            self._repairs.note("truncated last line left out", self.line, str(error), "comma-separated text to the end")


def forward(
    rows: Iterable[tuple[float, int, T]], back: Callable[[int, float, float], None]
) -> Iterator[tuple[float, int, T]]:
    """Rows of (stamp in s, line, anything) with stamps that never decrease; `back(line, stamp, before)` hears of each that did.

    A stray row in the past takes the newest stamp; a clock that was set back goes on from there.
    """
    source = iter(rows)
    coming: deque[tuple[float, int, T]] = deque()
    shift = 0.0
    newest = before = float("-inf")
    while True:
        while len(coming) <= _STRAY_ROWS and (row := next(source, None)) is not None:
            coming.append(row)
        if not coming:
            return
        stamp, line, what = coming[0]
        if stamp < before:
            back(line, stamp, before)
            if len(coming) > _STRAY_ROWS and max(row[0] for row in coming) + shift < newest:
                shift = newest - stamp
        coming.popleft()
        before = stamp
        newest = max(newest, stamp + shift)
        yield newest, line, what


def spread(rows: Iterable[tuple[float, int, T]]) -> Iterator[tuple[float, bool, int, T]]:
    """Rows of (time in s, does a gap over GAP_S begin behind it?, line, what). Repeated stamps, from loggers of whole seconds,
    lie evenly within their second, or up to the next stamp where that is sooner. Raises InputError for time that stands still."""
    here = 0.0
    same: list[tuple[int, T]] = []
    for stamp, line, what in chain(rows, [(None, 0, None)]):
        if same and stamp == here:
            if len(same) == _MOST_REPEATS:
                raise InputError(
                    f"line {line}, time", stamp, f"a clock that moves, not {_MOST_REPEATS} rows of one stamp"
                )
        elif same:
            room = 1.0 if stamp is None else min(1.0, stamp - here)
            last = len(same) - 1
            gap = stamp is not None and stamp - here > GAP_S
            for part, (number, row) in enumerate(same):
                yield here + room * part / len(same), gap and part == last, number, row
            same = []
        if stamp is not None:
            here = stamp
            same.append((line, what))  # pyright: ignore[reportArgumentType]
