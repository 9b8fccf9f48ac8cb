"""The far end of the board's pins, inside MicroPython's Unix port: a second pipe brings what the car's wires carry every 100 ms
and takes back what the pins drive. Virtual time stands still but for sleeps and bus transfers, so a tick is as fast as it can be.

Formats and masks: `host_sim.unix_port.program`, which holds the other end.
"""

import builtins
import os
import struct

import utime

from pins import IN, gpios

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, BinaryIO

BOUNDARY_US = 100_000
PERIOD_MS = 1 << 30
FROM_CAR, TO_CAR = "<BBII3H8hh", "<I3HBIIII"
TICK, HANG = 0, 1
CHIP_0, CHIP_1, CONVERTERS_STUCK, NO_DISPLAY, DISPLAY_STUCK, FLASH_REFUSES = 1, 2, 4, 8, 16, 32
WATCHED, BITTEN, RESET, FEED_LOST = 1, 2, 4, 8
REASON, SCRATCH = 0x40058008, 0x4005800C
_EIO = 5


class Wires:
    """`levels`: of the pins, bit by number; `duty`: of those that pulses drive; `sums`, `codes`: what the converters will find; `broken`: bits
    of what is broken."""

    def __init__(self) -> None:
        self._pipe = open(int(os.getenv("SECONDTANK_WIRES", "")), "r+b")  # noqa: SIM115 - for life
        self._message = bytearray(struct.calcsize(FROM_CAR))
        self._answer = bytearray(struct.calcsize(TO_CAR))
        self._outputs = ~sum(1 << number for number in gpios(IN))
        self.levels = 0
        self.pulsed = 0  # pins that pulses drive
        self.duty = {}
        self.sums = [0, 0, 0]
        self.taken = [0, 0, 0]
        self.codes = [0] * 8
        self.broken = 0
        self.cut_at = -1
        self.registers = {REASON: int(os.getenv("SECONDTANK_REASON", ""))}
        for index, value in enumerate(os.getenv("SECONDTANK_SCRATCH", "").split(",")):
            self.registers[SCRATCH + 4 * index] = int(value)
        self.dog_us = 0  # 0: not begun
        self.fed_us = 0
        self.now_us = 0
        self.boundary_us = 0
        self._listen()

    def _listen(self) -> None:
        """Wait for the car; while it says that the program hangs, time goes on without it."""
        while True:
            if self._pipe.readinto(self._message) != len(self._message):
                stand_still()
            (
                kind, self.broken, inputs, now_ms, self.sums[0], self.sums[1], self.sums[2],
                self.codes[0], self.codes[1], self.codes[2], self.codes[3], self.codes[4], self.codes[5], self.codes[6],
                self.codes[7], self.cut_at,
            ) = struct.unpack(FROM_CAR, self._message)  # fmt: skip
            self.boundary_us = self.now_us = now_ms * 1000
            self.levels = self.levels & self._outputs | inputs
            self.taken[0] = self.taken[1] = self.taken[2] = 0
            if self.dog_us and self.boundary_us - self.fed_us >= self.dog_us:
                self.tell(BITTEN)
                stand_still()
            if kind == TICK:
                return
            self.tell(0)

    def tell(self, flags: int) -> None:
        """Send what the pins drive and what the registers hold."""
        duty, registers = self.duty, self.registers
        struct.pack_into(
            TO_CAR, self._answer, 0, self.levels & self._outputs, duty.get(20, 0), duty.get(21, 0), duty.get(22, 0),
            flags | (WATCHED if self.dog_us else 0), registers[SCRATCH], registers[SCRATCH + 4], registers[SCRATCH + 8],
            self.now_us - self.boundary_us,
        )  # fmt: skip
        self._pipe.write(self._answer)

    def advance(self, us: int) -> None:
        """Let virtual time go on; at each boundary the car goes on, too."""
        then_us = self.now_us + us
        while then_us >= self.boundary_us + BOUNDARY_US:
            self.tell(0)
            self._listen()
        self.now_us = max(then_us, self.now_us)

    def end(self, flag: int) -> None:
        """The chip's reset, or the end of its feed: nothing more is done; the car takes the process away."""
        self.tell(flag)
        stand_still()


def stand_still() -> None:
    """For good."""
    while True:
        utime.sleep(60)


class Torn:
    """A file whose feed ends after so many bytes."""

    def __init__(self, file: "BinaryIO", most: int) -> None:
        self._file = file
        self._most = most

    def __enter__(self) -> "Torn":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def write(self, data: bytes) -> None:
        self._file.write(data[: self._most])
        self._file.close()
        wires.end(FEED_LOST)


def _open(path: "Any", mode: str = "r", *more: "Any") -> "Any":
    if "w" in mode and wires.broken & FLASH_REFUSES:
        raise OSError(_EIO)
    if "w" in mode and wires.cut_at >= 0 and "record." in path:
        return Torn(_real_open(path, mode), wires.cut_at)
    return _real_open(path, mode, *more)


wires = Wires()
_real_open = builtins.open
builtins.open = _open
