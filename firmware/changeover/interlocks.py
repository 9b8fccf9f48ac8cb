"""The interlock table at work: raw conditions in, held and latched permissions out. Allocation-free."""

from changeover.rows import BLOCK_MS, CLEAR_MS, FORCE_MS, LATCH, LATCHED, TABLE


class Interlocks:
    """`blocked` and `forced`: masks over the rows. Walked only while a bit waits or differs from its input."""

    def __init__(self) -> None:
        rows = range(len(TABLE))
        self.blocked = 0
        self.forced = 0
        self._waiting = False
        self._block_wait = [0 for _ in rows]
        self._force_wait = [0 for _ in rows]
        self._block_ms = [TABLE[row][BLOCK_MS] for row in rows]
        self._force_ms = [TABLE[row][FORCE_MS] for row in rows]
        self._clear_ms = [TABLE[row][CLEAR_MS] for row in rows]
        self._latched = 0
        for row in rows:
            if TABLE[row][LATCH] == LATCHED:
                self._latched |= 1 << row
        self._rows = len(TABLE)

    def restart(self) -> None:
        """Key-on: latches and waits are let go; what still holds comes back after its wait, counted anew."""
        self.blocked = 0
        self.forced = 0
        self._waiting = False
        for row in range(self._rows):
            self._block_wait[row] = 0
            self._force_wait[row] = 0

    def step(self, block: int, force: int, dt_ms: int) -> None:
        """One tick: the raw masks of the conditions and the ms since the last tick (0 .. 1000)."""
        if block == self.blocked and force == self.forced and not self._waiting:
            return
        self.blocked = self._hold(self.blocked, block, self._block_wait, self._block_ms, dt_ms)
        waits = self._waiting
        self.forced = self._hold(self.forced, force, self._force_wait, self._force_ms, dt_ms)
        self._waiting = waits or self._waiting

    def lowest(self, mask: int) -> int:
        """Number of the gravest row in `mask` (not 0)."""
        row = 0
        while not mask & (1 << row):
            row += 1
        return row

    def _hold(self, held: int, raw: int, wait: list[int], rise_ms: list[int], dt_ms: int) -> int:
        self._waiting = False
        for row in range(self._rows):
            bit = 1 << row
            if (raw ^ held) & bit == 0:
                wait[row] = 0
                continue
            if held & bit:
                if self._latched & bit:
                    continue
                limit = self._clear_ms[row]
            else:
                limit = rise_ms[row]
            if wait[row] >= limit:
                held ^= bit
                wait[row] = 0
            else:
                wait[row] += dt_ms
                self._waiting = True
        return held
