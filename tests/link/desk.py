"""The link on a desk: a small stand-in for the board's program around the law's test bench. Time passes by its ticks."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from changeover.law import Law
from changeover.settings import defaults
from journal_totals import Totals
from link import Link
from tests.law.rig import Rig

OUTPUTS = ("supply_valve", "return_valve", "red")
JOURNAL = ("M,12.3,1,4,0003,23,0,33,0,0,flag,c08000,8000,0", "T,0.0,start 4; 0.1.0")


class Service:
    """Service mode as far as the link knows it."""

    def __init__(self) -> None:
        self.busy = False
        self.asked: list[str] = []

    def ask_test(self, name: str) -> str:
        if name not in OUTPUTS:
            return "no output of that name: " + " ".join(OUTPUTS)
        self.asked.append(name)
        return ""


class Journal:
    """A trip log of two rows a block."""

    dropped, wear, boots = 0, 17, 4

    def __init__(self, blocks: int = 2) -> None:
        self._blocks = blocks
        self.broken = False
        self.totals = Totals(defaults())
        self.totals.take((5400, 1800, 34560, 1050, 3, 3))
        self.clocks: list[str] = []

    def set_clock(self, moment: str) -> bool:
        self.clocks.append(moment)
        return len(self.clocks) == 1

    def read(self, from_block: int = 0) -> Iterator[str]:
        for block in range(from_block, self._blocks):
            if self.broken:
                raise OSError(5, "EIO")
            yield f"B,{block}"
            yield from JOURNAL


class Desk:
    """What the link sees of the program, in the order of its tick; `pins`: supply, return, heater, run-on as driven."""

    def __init__(self, rig: Rig | None = None, folder: str | None = None, journal: Journal | None = None) -> None:
        self.rig = rig or Rig()
        self.folder = folder or tempfile.mkdtemp()
        self.valid = self.rig.valid
        self.values = self.rig.values
        self.journal = journal or Journal()
        self.service = Service()
        self.board = self.rig  # it has counts and levels
        self.link = Link(self)  # pyright: ignore[reportArgumentType]
        self.pins = (False, False, False, False)
        self.driving: Law = self.rig.law
        self.room = 256  # bytes that the port takes in a tick
        self.heard = b""

    @property
    def law(self) -> Law:
        return self.rig.law

    def tick(self) -> None:
        """One tick of the program."""
        self.rig.tick()
        driving = self.driving = self.link.bench.step(self.rig.now_ms)
        self.pins = (driving.machine.supply_on, driving.machine.return_on, driving.heater.on, driving.run_on)
        self.link.tick(self.rig.now_ms)
        self.heard += self.link.poll(self.room)

    def run(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds * 10)):
            self.tick()

    def say(self, data: bytes | str) -> list[str]:
        """Send this, wait until the link has no more to say; what it said."""
        self.link.take(data.encode() if isinstance(data, str) else data)
        self.tick()
        while more := self.link.poll(self.room):
            self.heard += more
        return self.lines()

    def lines(self) -> list[str]:
        """The whole lines heard since the last time."""
        *lines, self.heard = self.heard.split(b"\n")
        return [line.decode("ascii") for line in lines]

    # as a stream of bytes for `LinkClient`

    def read(self, size: int, /) -> bytes:
        """A tick passes; what was heard."""
        self.tick()
        data, self.heard = self.heard[:size], self.heard[size:]
        return data

    def write(self, data: bytes, /) -> None:
        self.link.take(data)

    def clock(self) -> float:
        """s of the rig's time, which must not wrap."""
        return self.rig.now_ms / 1000


def parked(folder: Path | str | None = None) -> Desk:
    """A cold car, key off, diesel in the lines."""
    desk = Desk(folder=str(folder) if folder else None)
    desk.run(1)
    return desk


def on_oil(folder: Path | str | None = None) -> Desk:
    """A warm car, driven on oil."""
    rig = Rig()
    rig.warm_start()
    desk = Desk(rig, str(folder) if folder else None)
    desk.run(0.1)
    return desk


def oil_left(folder: Path | str | None = None) -> Desk:
    """Key off, oil in the lines."""
    desk = on_oil(folder)
    desk.rig.key(False)
    desk.rig.engine(False)
    desk.run(2)
    return desk


SCENES = {"parked": parked, "on_oil": on_oil, "oil_left": oil_left}
