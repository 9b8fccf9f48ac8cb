"""The interlock table at work: raw conditions in, held and latched permissions out. Allocation-free."""

from changeover.rows import BLOCK_MS, CLEAR_MS, FORCE_MS, LATCH, LATCHED, TABLE


class Held:
    """`mask`: a raw mask of which each row rises after its own time and falls after its own. Only changes cost time."""

    def __init__(self, rise_ms: list[int], clear_ms: list[int], latched: int) -> None:
        self.mask = 0
        self._rise_ms = rise_ms
        self._clear_ms = clear_ms
        self._latched = latched
        self._waiting = 0
        self._wait_ms = [0 for _ in rise_ms]

    def restart(self) -> None:
        """Latches and waits are let go; what still holds comes back after its wait, counted anew."""
        self.mask = 0
        self._waiting = 0
        for row in range(len(self._wait_ms)):
            self._wait_ms[row] = 0

    def step(self, raw: int, dt_ms: int) -> int:
        """One tick: the raw mask and the ms since the last tick (0 .. 1000)."""
        raw |= self.mask & self._latched
        work = (raw ^ self.mask) | self._waiting
        row = 0
        while work:
            if work & 1:
                self._row(row, raw >> row & 1, dt_ms)
            work >>= 1
            row += 1
        return self.mask

    def _row(self, row: int, up: int, dt_ms: int) -> None:
        bit = 1 << row
        if self.mask >> row & 1 != up:
            if self._waiting & bit:
                self._wait_ms[row] += dt_ms
            self._waiting |= bit  # the tick that first shows it starts the wait
            if self._wait_ms[row] < (self._rise_ms[row] if up else self._clear_ms[row]):
                return
            self.mask ^= bit
        self._wait_ms[row] = 0
        self._waiting &= ~bit


class Interlocks:
    """`blocked` and `forced`: the table's rows, as bits, that forbid entering oil and that end it."""

    def __init__(self) -> None:
        self.blocked = 0
        self.forced = 0
        latched = 0
        for row in range(len(TABLE)):
            if TABLE[row][LATCH] == LATCHED:
                latched |= 1 << row
        clear_ms = [row[CLEAR_MS] for row in TABLE]
        self._block = Held([row[BLOCK_MS] for row in TABLE], clear_ms, latched)
        self._force = Held([row[FORCE_MS] for row in TABLE], clear_ms, latched)

    def restart(self) -> None:
        """Key-on."""
        self._block.restart()
        self._force.restart()
        self.blocked = 0
        self.forced = 0

    def step(self, block: int, force: int, dt_ms: int) -> None:
        """One tick: the raw masks of the conditions and the ms since the last tick (0 .. 1000)."""
        self.blocked = self._block.step(block, dt_ms)
        self.forced = self._force.step(force, dt_ms)

    def lowest(self, mask: int) -> int:
        """Number of the gravest row in `mask` (not 0)."""
        row = 0
        while not mask & (1 << row):
            row += 1
        return row
