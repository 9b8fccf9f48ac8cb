"""The trip log: rows collected in RAM and written to flash when that harms nobody, and totals of the season.

Erasing flash stops the board for tens of ms, at worst 0.4 s: `due` says when it may be. On the board and on a desktop; outside
the law's step.
"""

import journal_rows
from changeover import VERSION
from changeover.law import Law
from changeover.messages import WARNING, severity
from changeover.settings_file import settings_hash
from changeover.states import ON_DIESEL, PARKED
from changeover.ticks import ticks_diff
from journal_ring import Ring
from journal_rows import MESSAGE, MOVE, ROW_BYTES, SAMPLE, TEXT_BYTES
from journal_totals import Totals

BLOCKS = 176  # of 4096 bytes: half of the 352 blocks that the board has for files; two sets of the program need 132
WAITING_MOST = 254  # rows in RAM, 8 KB
SAMPLE_MS = 10_000  # from sample to sample; longer where RAM would not do until the next chance to write
_MOVES_ONLY = 32  # the last places in RAM are for moves and words
_LONGEST_MS = 320_000
_AGAIN_MS = 60_000  # after a refused write
_CLOCK_DS = 600  # a host that repeats the time of day crowds nothing out
_TRIES = 2  # writes refused in a row for which the board is not kept awake any longer
_MOST_DS = 0x3FFFFFF0


class Journal(Ring):
    """`waiting` rows are in RAM; `dropped` rows were lost for want of room there; `refused`: writes that failed since the start."""

    def __init__(self, folder: str, values: dict[str, int], blocks: int = BLOCKS) -> None:
        """`folder`: where flash is; `values`: the settings in force."""
        super().__init__(folder, blocks, settings_hash(values))
        self._rows = bytearray(WAITING_MOST * ROW_BYTES)
        self.totals = Totals(values)
        self.totals.take(self.kept_totals)
        self.boots += 1
        self.waiting = 0
        self.refused = 0
        self._tries = 0
        self._last_ms = -1
        self._pause_ms = 0
        self._time_ds = 0
        self._rest_ms = 0
        self._sample_ms = 0
        self._interval_ms = SAMPLE_MS
        self._moves = 0
        self._message = -1
        self._clock_ds = -_CLOCK_DS  # when a host last said what time it is
        self.note("start %d; %s" % (self.boots, VERSION))

    def tick(self, law: Law, now_ms: int) -> None:
        """Once a tick, after the law's step: collect what is to be kept."""
        dt_ms = 0 if self._last_ms < 0 else min(max(ticks_diff(now_ms, self._last_ms), 0), 1000)
        self._last_ms = now_ms
        self._pause_ms = max(self._pause_ms - dt_ms, 0)
        self._rest_ms += dt_ms
        self._time_ds = min(self._time_ds + self._rest_ms // 100, _MOST_DS)
        self._rest_ms %= 100
        self.totals.step(law, dt_ms)
        machine = law.machine
        if machine.moves != self._moves:
            self.dropped += machine.moves - self._moves - 1
            self._moves = machine.moves
            trip = self.totals.trips  # a key-off is the last row of its own trip
            self.totals.moved(machine.move_from, machine.move_to, machine.move_reason)
            if self._room(WAITING_MOST):
                journal_rows.put_event(self._rows, self._take(), law, MOVE, self._time_ds, trip)
        elif self._warns(law) and self._room(WAITING_MOST - _MOVES_ONLY):
            journal_rows.put_event(self._rows, self._take(), law, MESSAGE, self._time_ds, self.totals.trips)
        self._message = law.panel.message
        if machine.state != PARKED:
            self._sample_ms += dt_ms
        if self._sample_ms >= self._interval_ms:
            self._sample_ms = 0
            if self._room(WAITING_MOST - _MOVES_ONLY):
                journal_rows.put_sample(self._rows, self._take(), law, self._time_ds, self.totals.trips)

    def _warns(self, law: Law) -> bool:
        message = law.panel.message
        return message != self._message and severity(message) >= WARNING

    def note(self, text: str) -> None:
        """Keep some words: why the board started, what service did. In rows of 24 letters, 96 at most."""
        for at in range(0, min(len(text), 4 * TEXT_BYTES), TEXT_BYTES):
            if self._room(WAITING_MOST):
                journal_rows.put_text(self._rows, self._take(), text[at:], self._time_ds)

    def set_clock(self, moment: str) -> bool:
        """Keep that a host calls this moment so, `YYYY-MM-DD HH:MM:SS`; false within a minute of the last time."""
        if self._time_ds - self._clock_ds < _CLOCK_DS:
            return False
        self._clock_ds = self._time_ds
        self.note("time " + moment)
        return True

    def new_season(self) -> None:
        """Totals begin at nothing; what they were stays in the blocks so far."""
        self.totals.take((0, 0, 0, 0, 0, 0))
        self.note("new season")

    def _take(self) -> int:
        """Where the next row goes."""
        self.waiting += 1
        return (self.waiting - 1) * ROW_BYTES

    def _room(self, most: int) -> bool:
        """Is there room for one more row? Samples give way before anything is refused."""
        if self.waiting >= most:
            self._thin()
        if self.waiting < most:
            return True
        self.dropped += 1
        return False

    def _thin(self) -> None:
        """Drop every second sample and take half as many from now on."""
        kept = samples = 0
        for at in range(0, self.waiting * ROW_BYTES, ROW_BYTES):
            if self._rows[at] == SAMPLE:
                samples += 1
                if samples & 1 == 0:
                    continue
            self._rows[kept : kept + ROW_BYTES] = self._rows[at : at + ROW_BYTES]
            kept += ROW_BYTES
        self.dropped += self.waiting - kept // ROW_BYTES
        self.waiting = kept // ROW_BYTES
        self._interval_ms = min(2 * self._interval_ms, _LONGEST_MS)

    def due(self, law: Law) -> bool:
        """Is there something to write, and may the board stand still for 0.4 s? Parked, for every row; on diesel with no oil
        announced, once half of RAM is full. Never with a valve energised, the engine held on, or a record to write first."""
        machine = law.machine
        if self.waiting == 0 or self._pause_ms > 0:
            return False
        if machine.supply_on or machine.return_on or law.run_on or machine.write_wanted:
            return False
        if machine.state == PARKED:
            return True
        return machine.state == ON_DIESEL and not machine.record_dirty and self.waiting >= WAITING_MOST // 2

    def keeps_awake(self) -> bool:
        """Is there something to write that flash may yet take? What it refuses time and again goes with the power."""
        return self.waiting > 0 and self._tries < _TRIES

    def flush(self) -> int:
        """Write one block: how many rows left RAM, 0 where the write was refused (then `due` waits a minute). The pause is to
        be announced to the law: `law.conditions.lateness.excused`."""
        count = self._append(memoryview(self._rows)[: self.waiting * ROW_BYTES], self.totals.values())
        if count == 0:
            self.refused += 1
            self._tries += 1
            self._pause_ms = _AGAIN_MS
            return 0
        self._tries = 0
        left = self.waiting - count
        self._rows[: left * ROW_BYTES] = self._rows[count * ROW_BYTES : self.waiting * ROW_BYTES]
        self.waiting = left
        if left == 0:
            self._interval_ms = SAMPLE_MS
        return count
