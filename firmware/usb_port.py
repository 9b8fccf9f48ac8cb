"""The serial port over USB, never waiting: a host that holds it open and does not read costs a tick nothing.

Writing to a port without room would block for half a second, and how much room there is cannot be asked; but whether there is
any can (MicroPython, shared/tinyusb/mp_usbd_cdc.c: mp_usbd_cdc_poll_interfaces, mp_usbd_cdc_tx_strn). So bytes go one by one, each
after that question: about 15 passes of an empty loop each, 30 us, USB's own work apart. Takes nothing from the heap.
"""

import select
import sys

# In a tick. So many wait in the chip for a host to take them (shared/tinyusb/tusb_config.h, full speed), and one that reads takes
# them within a tick; more in one would not fit for certain.
OUT_BYTES = 256
_READABLE, _WRITABLE = select.POLLIN, select.POLLOUT


class Port:
    """Reads what has come, writes what fits."""

    def __init__(self) -> None:
        self._heard = select.poll()
        self._heard.register(sys.stdin, _READABLE)
        self._free = select.poll()
        self._free.register(sys.stdout, _WRITABLE)
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._byte = bytearray(1)

    def read(self, buffer: bytearray) -> int:
        """Bytes that came, into `buffer`, at most as many as it holds: how many they are."""
        byte, port, heard = self._byte, self._in, self._heard
        count = 0
        while count < len(buffer):
            for _, events in heard.ipoll(0):  # pyright: ignore[reportAttributeAccessIssue]
                if events & _READABLE:
                    break
            else:
                break
            if not port.readinto(byte):  # pyright: ignore[reportAttributeAccessIssue]
                break  # the port is gone
            buffer[count] = byte[0]
            count += 1
        return count

    def room(self) -> int:
        """How many bytes may be offered now; fewer may fit."""
        for _, events in self._free.ipoll(0):  # pyright: ignore[reportAttributeAccessIssue]
            if events & _WRITABLE:
                return OUT_BYTES
        return 0

    def write(self, data: bytes) -> int:
        """Send the beginning of `data`, as much as fits now: how many bytes that is."""
        byte, port, free = self._byte, self._out, self._free
        most = min(len(data), OUT_BYTES)
        count = 0
        while count < most:
            for _, events in free.ipoll(0):  # pyright: ignore[reportAttributeAccessIssue]
                if events & _WRITABLE:
                    break
            else:
                break
            byte[0] = data[count]
            if not port.write(byte):
                break
            count += 1
        return count
