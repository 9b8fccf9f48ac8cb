"""The serial port: a pseudo-terminal under the firmware, and a second one for people, whose bytes are passed on."""

from __future__ import annotations

import os
import pty
import termios
import tty

_MOST = 1024  # bytes passed on at once


class Terminal:
    """The firmware's own: changes no byte, but 0x03 interrupts, as the board's port does. `master` is the host's end of it."""

    def __init__(self, interrupts: bool = True) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        if interrupts:
            modes = termios.tcgetattr(self.slave)
            modes[3] |= termios.ISIG
            for key in (termios.VQUIT, termios.VSUSP):
                modes[6][key] = b"\0"
            termios.tcsetattr(self.slave, termios.TCSANOW, modes)
        os.set_blocking(self.master, False)

    def read(self) -> bytes:
        """What has come out, at most a kilobyte."""
        try:
            return os.read(self.master, _MOST)
        except BlockingIOError:
            return b""

    def write(self, data: bytes) -> int:
        """Put in what fits: how many bytes that were."""
        try:
            return os.write(self.master, data)
        except BlockingIOError:
            return 0

    def close(self) -> None:
        """Unplug it."""
        os.close(self.master)
        os.close(self.slave)


class Bridge:
    """A port with a name that any serial program opens; `pass_on` from time to time. What nobody reads waits, on both sides."""

    def __init__(self, board: Terminal) -> None:
        self._board = board
        self._own = Terminal(interrupts=False)
        self.name = os.ttyname(self._own.slave)
        self._in = b""
        self._out = b""

    def pass_on(self) -> None:
        """Both ways, as much as fits."""
        self._in = self._in or self._own.read()
        self._in = self._in[self._board.write(self._in) :] if self._in else b""
        self._out = self._out or self._board.read()
        self._out = self._out[self._own.write(self._out) :] if self._out else b""

    def close(self) -> None:
        """Take the name away."""
        self._own.close()
