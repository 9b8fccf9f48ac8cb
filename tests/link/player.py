"""Plays recorded bytes into a link and writes down all that it says. Runs under CPython and MicroPython alike.

    python player.py FIRMWARE RECORDING OUTPUT FOLDER

A line of the recording is `[NOW_MS, COUNTS, LEVELS, ROOM, HEX]`: one tick of a board whose records are written at once, and
the bytes that came in it. At the end MicroPython prints how many bytes of heap were in use after a collection: least in the first
tenth of the ticks, least in the last three tenths, most in all.
"""

import gc
import json
import sys
from binascii import unhexlify

sys.path.insert(0, sys.argv[1])
from changeover.law import Law
from changeover.memory import Record
from changeover.settings import defaults
from journal_totals import Totals
from link import Link

IN_USE = getattr(gc, "mem_alloc", None)


class Journal:
    """A short trip log."""

    dropped = 0
    wear = 0
    boots = 1
    totals = Totals(defaults())

    def set_clock(self, moment: str) -> bool:
        """Every time."""
        return True

    def read(self, from_block: int):
        """Three lines a block."""
        for block in range(from_block, 3):
            yield "B," + str(block)
            yield "S,12.3,1,4"
            yield "T,0.0,words"


class Service:
    """One output may be tried."""

    busy = False

    def ask_test(self, name: str) -> str:
        """The supply valve."""
        return "" if name == "supply_valve" else "no such output"


class Board:
    """What the pins read."""

    def __init__(self) -> None:
        self.counts = [0] * 10
        self.levels = [False] * 10


class App:
    """As much of the board's program as the link needs."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self.values = defaults()
        self.valid = True
        self.board = Board()
        self.journal = Journal()
        self.service = Service()
        record = Record()
        record.oil_in_lines = False
        self.law = Law(self.values, record)
        self.link = Link(self)  # pyright: ignore[reportArgumentType]

    def tick(self, now_ms: int, counts: list, levels: list, room: int, came: bytes) -> bytes:
        """One tick; what the link says."""
        self.board.counts, self.board.levels = counts, levels
        law = self.law
        law.step(now_ms, counts, levels)
        self.link.bench.step(now_ms)
        if law.machine.write_wanted:
            law.write_record()
            law.written(True)
        self.link.take(came)
        self.link.tick(now_ms)
        return self.link.poll(room)


def main() -> None:
    app = App(sys.argv[4])
    number = 0
    in_use = []
    with open(sys.argv[2]) as recording, open(sys.argv[3], "wb") as out:
        for line in recording:
            now_ms, counts, levels, room, came = json.loads(line)
            out.write(app.tick(now_ms, counts, levels, room, unhexlify(came)))
            number += 1
            if IN_USE and number % 50 == 0:
                gc.collect()
                in_use.append(IN_USE())
    if IN_USE:
        tenth = len(in_use) // 10
        print(min(in_use[:tenth]), min(in_use[-3 * tenth :]), max(in_use))


main()
