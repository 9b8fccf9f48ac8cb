"""Where the board is: on a cable, on a pseudo-terminal, or in this process. The rest of the bench knows only what stands here."""

from __future__ import annotations

from typing import Protocol

import serial

from host_sim.link_client import ByteStream
from secondtank.flash_port import find_port

_MOMENT_S = 0.05  # how long a read waits
_STUCK_S = 2.0  # how long a write may


class Stream(ByteStream, Protocol):
    """An open port. Reads and writes raise OSError once the other end is gone."""

    def close(self) -> None: ...


class Hands(Protocol):
    """What stands in for fingers, resistors and the feed where the board itself is simulated."""

    def level(self, index: int, on: bool) -> None: ...

    def unplug(self, channel: int, broken: bool) -> None: ...

    def restart(self) -> None: ...


class Port(Protocol):
    """A way to a board. `name`: in words; `hands`: None where a person has them."""

    name: str

    @property
    def hands(self) -> Hands | None: ...

    def open(self) -> Stream: ...

    def close(self) -> None: ...


class Cable:
    """A serial port by its path, a pseudo-terminal's too; without a path the only board on USB, looked for at each opening, since
    one that was unplugged may come back under another name."""

    hands: Hands | None = None

    def __init__(self, path: str | None) -> None:
        self._path = path
        self.name = path or "USB"

    def open(self) -> Stream:
        """For this program alone. Raises OSError, or InputError where no board or more than one is on USB."""
        path = find_port(self._path, None)
        self.name = path
        return _Serial(path)

    def close(self) -> None:
        """Nothing is left open between two conversations."""


class _Serial:
    """pyserial's port, in the words of the link's client."""

    def __init__(self, path: str) -> None:
        self._port = serial.Serial(path, timeout=_MOMENT_S, write_timeout=_STUCK_S, exclusive=True)

    def read(self, size: int, /) -> bytes:
        return self._port.read(min(size, max(1, self._port.in_waiting)))

    def write(self, data: bytes, /) -> object:
        return self._port.write(data)

    def close(self) -> None:
        self._port.close()
