"""The serial port over USB, never waiting: a host that holds it open and does not read costs a tick nothing.

Writing to a full port would block for half a second, and how much room there is cannot be asked; but whether there is any
can (MicroPython, mp_usbd_cdc_poll_interfaces). So bytes go out one by one, each after that question.
"""

import select
import sys

CHUNK = 64  # bytes a tick, either way


class Port:
    """Reads what has come, writes what fits."""

    def __init__(self) -> None:
        self._heard = select.poll()
        self._heard.register(sys.stdin, select.POLLIN)
        self._room = select.poll()
        self._room.register(sys.stdout, select.POLLOUT)
        self._byte = bytearray(1)

    def _asks(self, poll: select.poll, for_what: int) -> bool:
        for _, events in poll.ipoll(0):  # pyright: ignore[reportAttributeAccessIssue]
            return events & for_what != 0
        return False

    def read(self, buffer: bytearray) -> int:
        """Bytes that came, into `buffer`, at most as many as it holds: how many they are."""
        count = 0
        while count < len(buffer) and self._asks(self._heard, select.POLLIN):
            if not sys.stdin.buffer.readinto(self._byte):  # pyright: ignore[reportAttributeAccessIssue]
                break  # the port is gone
            buffer[count] = self._byte[0]
            count += 1
        return count

    def room(self) -> int:
        """How many bytes may be offered now; fewer may fit."""
        return CHUNK if self._asks(self._room, select.POLLOUT) else 0

    def write(self, data: bytes) -> int:
        """Send the beginning of `data`, as much as fits now: how many bytes that is."""
        count = 0
        while count < len(data) and count < CHUNK and self._asks(self._room, select.POLLOUT):
            self._byte[0] = data[count]
            if not sys.stdout.buffer.write(self._byte):
                break
            count += 1
        return count
