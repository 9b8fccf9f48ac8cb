"""Logs that carry the board's own readings: the log of a simulated board, a monitor's file, a capture of the serial link. As ticks.

What a board read and what it decided stand in one row. Rows are put in order, starts of the board found, gaps counted.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import chain, islice, pairwise
from operator import itemgetter
from pathlib import Path
from statistics import median

from changeover.settings import defaults
from changeover.states import STATES
from changeover.ticks import MASK_MS, ticks_diff
from host_sim.board_log import OUTPUTS, TITLE, read_head
from host_sim.errors import InputError
from host_sim.link_client import telemetry, unstamped
from host_sim.log_reader import GAP_S, LogText, Repairs
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES

TICK_MS = 100
GAP_MS = int(1000 * GAP_S)
# What is special about a tick: the board starts here; it ran before, and what it remembers is not in the log; rows are missing.
PLAIN, BOOT, JOIN, GAP = range(4)
Tick = tuple[int, int, int, int, list[int], list[bool], Sequence[str | int] | None]
"""(special, line, time in ms since the log began, the board's clock in ms, counts, levels, what was decided or None)"""
Row = tuple[int, int | None, int, int | None, list[int], list[bool], Sequence[str | int] | None]
"""(line, start or None, the board's clock in ms, time in ms or None, counts, levels, what was decided or None)"""

BOARD, CAPTURE, TABLE = "log of a board", "capture of the link", "table"
_DENSE_MS = 150  # rows nearer than this hold every tick
_LEVEL = {"0": False, "1": True}
_LINE = re.compile(r"\b(tick|raw) \d.*\*[0-9A-Fa-f]{4}\s*$")
_SETTING = re.compile(r"([a-z][a-z0-9_]*)=(-?\d{1,9})(?: next=-?\d+)?\s*$")
_SAID = re.compile(r"(settings|law|protocol) ([0-9a-f]{16}|\d+)\s*$")
_OUT = ("supply", "return", "heater", "run_on", "power", "buzzer", "red", "amber", "green")
PROTOCOL = 1


def kind_of(path: Path) -> str:
    """BOARD, CAPTURE or TABLE, by what stands at the beginning of the file. Raises InputError for a file that has no line."""
    text = LogText(path, Repairs(path, strict=False))
    kind = None
    for line in islice(text.lines(), 20_000):
        kind = kind or (BOARD if line.startswith(TITLE) else None)
        if kind or _LINE.search(line):
            return kind or CAPTURE
    if not text.line:
        raise InputError(str(path), "", "a log with lines in it; the file is empty")
    return TABLE


class RecordedLog:
    """A log of raw readings. After `open`: `settings` by value and hashes as far as they are in the log; `told`: which outputs are.

    While `ticks` runs: `gaps` in ms, `rows` read, `dense` (every tick is there), `interrupted` (the log says that it was cut).
    """

    kind = BOARD

    def __init__(self, path: Path, strict: bool) -> None:
        self.path = path
        self.repairs = Repairs(path, strict)
        self.text = LogText(path, self.repairs)
        self.settings: dict[str, int] | None = None
        self.settings_hash: str | None = None
        self.firmware_hash: str | None = None
        self.tables: dict[str, dict[int, str]] = {}
        self.told: tuple[str, ...] = OUTPUTS
        self.missing: tuple[str, ...] = ()
        self.notes: list[str] = []
        self.stale_ms: dict[str, int] = {}
        self.gaps: list[tuple[int, int]] = []
        self.rows = 0
        self.dense = True
        self.interrupted = False
        self.speed_kmh: float | None = None

    def open(self) -> None:
        """Read what stands before the rows."""
        self._lines = self.text.lines()
        head = read_head(self.path, self._lines)
        self.settings = head.settings or None
        self.settings_hash = head.said.get("settings_hash")
        self.firmware_hash = head.said.get("firmware_hash")
        self.tables = head.tables
        self._columns = head.columns
        self.told = tuple(name for name in OUTPUTS if name in head.columns)

    def _rows(self) -> Iterator[Row]:
        names = self._columns
        at = names.index
        raw = itemgetter(*(at(f"raw_{name}") for name in ANALOG_NAMES))
        contacts = itemgetter(*(at(f"in_{name}") for name in DIGITAL_NAMES))
        out = itemgetter(*(at(name) for name in self.told)) if self.told else None
        tick_at = at("tick_ms")
        boot_at = at("boot") if "boot" in names else None
        t_at = at("t_ms") if "t_ms" in names else None
        text, width = self.text, len(names)
        for cells in text.rows(lines=self._lines):
            if cells[0].startswith("#"):
                self._comment(",".join(cells))
                continue
            if text.cut:
                self.repairs.note("truncated last line left out", text.line, ",".join(cells), "a line with its end")
                continue
            try:
                if len(cells) != width:
                    raise ValueError
                boot = None if boot_at is None else int(cells[boot_at])
                t_ms = None if t_at is None else int(cells[t_at])
                counts = list(map(int, raw(cells)))
                levels = [_LEVEL[cell] for cell in contacts(cells)]
                tick_ms = int(cells[tick_at])
            except (ValueError, KeyError):
                self._broken(",".join(cells), f"{width} whole numbers, as in the head")
                continue
            yield text.line, boot, tick_ms & MASK_MS, t_ms, counts, levels, out(cells) if out else None

    def _comment(self, line: str) -> None:
        if line.startswith(TITLE):
            raise InputError(f"{self.path}, line {self.text.line}", line, "one log a file: a second head begins here")
        self.interrupted = self.interrupted or line == "# interrupted"

    def _broken(self, found: str, wanted: str) -> None:
        """A line that cannot be read: left out; the very first one is refused, for then it is not what it seems to be."""
        if not self.rows:
            raise InputError(f"{self.path}, line {self.text.line}", found, wanted)
        self.repairs.note("broken lines left out", self.text.line, found, wanted)

    def ticks(self, values: dict[str, int]) -> Iterator[Tick]:
        """Every tick of the log, those between sparse rows too: what was read is held, never interpolated."""
        rows = self._in_order()
        first = list(islice(rows, 40))
        if not first:
            raise InputError(f"{self.path}, line {self.text.line}", "", "at least one line of data")
        spacing = self._spacing(first)
        self.dense = spacing <= _DENSE_MS
        before: Row | None = None
        start: int | None = None
        repaired = t_ms = 0
        for row in chain(first, rows):
            line, boot, tick_ms, stamp, counts, levels, told = row
            special = PLAIN
            if before is None or boot != start:
                special = BOOT if tick_ms < TICK_MS else JOIN
                start = boot
                t_ms = stamp if stamp is not None else t_ms + TICK_MS if before else 0
            else:
                dt_ms = ticks_diff(tick_ms, before[2])
                torn = self.repairs.total != repaired or self.kind == CAPTURE
                if dt_ms > max(GAP_MS, 2 * spacing):
                    self.gaps.append((t_ms, t_ms + dt_ms))
                    special = JOIN
                elif not self.dense:
                    yield from self._held(before, t_ms, dt_ms)
                elif torn and dt_ms > _DENSE_MS:
                    special = JOIN
                t_ms = stamp if stamp is not None else t_ms + dt_ms
            repaired = self.repairs.total
            yield special, line, t_ms, tick_ms, counts, levels, told
            before = row

    def _held(self, row: Row, t_ms: int, dt_ms: int) -> Iterator[Tick]:
        line, _, tick_ms, _, counts, levels, _ = row
        for later in range(TICK_MS, dt_ms - TICK_MS // 2, TICK_MS):
            yield PLAIN, line, t_ms + later, (tick_ms + later) & MASK_MS, counts, levels, None

    def _spacing(self, rows: Sequence[Row]) -> int:
        steps = [ticks_diff(b[2], a[2]) for a, b in pairwise(rows) if a[1] == b[1]]
        spacing = int(median(steps)) if steps else TICK_MS
        if spacing > GAP_MS:
            wanted = f"rows at most {GAP_MS} ms apart (on the link: watch {GAP_MS // TICK_MS} or less)"
            raise InputError(f"{self.path}, line {rows[0][0]}", f"rows {spacing} ms apart", wanted)
        return spacing

    def _in_order(self) -> Iterator[Row]:
        """Rows with a start's number each; repeated ones left out, two that changed places put right, a stray one left out."""
        starts = 0
        boot: int | None = None
        last: Row | None = None
        rows = self._rows()
        this = next(rows, None)
        while this is not None:
            following = next(rows, None)
            self.rows += 1
            if last is None or this[1] != boot:
                back = last is not None and this[1] is not None and boot is not None and this[1] < boot
                step = 1
            else:
                step = ticks_diff(this[2], last[2])
                back = step < 0
            if following is not None and following[1] == this[1] and ticks_diff(following[2], this[2]) < 0 and not back:
                between = last is None or this[1] != boot or ticks_diff(following[2], last[2]) > 0
                if between and ticks_diff(following[2], this[2]) > -GAP_MS:
                    self.repairs.note("rows put in order", following[0], following[2], f"{this[2]} ms or later")
                    this, following = following, this
            elif step == 0:
                self.repairs.note("repeated rows left out", this[0], this[2], "each tick once")
                this = following
                continue
            elif back and following is not None and self._goes_on(last, boot, following):
                self.repairs.note(
                    "rows out of order left out", this[0], this[2], f"{last[2] if last else 0} ms or later"
                )
                this = following
                continue
            if last is None or this[1] != boot or back:
                starts += 1
                boot = this[1]
            yield (this[0], starts, *this[2:])
            last = this
            this = following

    @staticmethod
    def _goes_on(last: Row | None, boot: int | None, row: Row) -> bool:
        """Does this row follow the last good one?"""
        return (
            last is not None and (row[1] == boot or row[1] is None) and 0 < ticks_diff(row[2], last[2]) <= 30 * GAP_MS
        )


class Capture(RecordedLog):
    """What a serial terminal kept of the link: telemetry among whatever else was said. `docs/link.md`."""

    kind = CAPTURE

    def open(self) -> None:
        """Look through the whole file for what the board said of its settings and its program."""
        settings: dict[str, int] = {}
        names = defaults()
        text = LogText(self.path, Repairs(self.path, strict=False))
        for line in text.lines():
            if (found := _SETTING.match(line)) and found[1] in names:
                settings.setdefault(found[1], int(found[2]))
            elif found := _SAID.match(line):
                self._said(found[1], found[2], text.line)
        self.settings = settings if len(settings) == len(names) else None
        self._lines = self.text.lines()

    def _said(self, what: str, value: str, line: int) -> None:
        if what == "protocol" and int(value) != PROTOCOL:
            raise InputError(
                f"{self.path}, line {line}", f"protocol {value}", f"protocol {PROTOCOL}, of this version of the program"
            )
        if what == "settings" and len(value) == 16:
            self.settings_hash = value
        elif what == "law":
            self.firmware_hash = value

    def _rows(self) -> Iterator[Row]:
        tick = ""
        for line in self._lines:
            found = _LINE.search(line)
            if not found:
                if line.startswith(("tick ", "raw ")):
                    self._damaged(line)
                continue
            text = unstamped(line[found.start() :].strip())
            if text is None:
                self._damaged(line)
            elif found[1] == "tick":
                tick = text
            else:
                row = self._row(tick, text)
                if row is not None:
                    yield row

    def _row(self, tick: str, raw: str) -> Row | None:
        try:
            said = telemetry(tick, raw)
        except (ValueError, KeyError, IndexError):
            self._damaged(raw)
            return None
        told = (
            *(said.out[name] for name in _OUT), STATES.index(said.state), said.reason, said.blocked, said.forced, said.message,
            said.fill_ul, said.credit_ul,
        )  # fmt: skip
        return self.text.line, None, said.tick_ms & MASK_MS, None, list(said.counts), list(said.levels), told

    def _damaged(self, line: str) -> None:
        if self.text.cut:
            self.repairs.note("truncated last line left out", self.text.line, line, "a line with its end")
        else:
            self.repairs.note("damaged lines left out", self.text.line, line, "telemetry with its checksum")
