"""What hangs on the two buses: two converters and the display, down to their registers."""

from wires import CHIP_0, CHIP_1, NO_DISPLAY, wires

_BUSY_US = 1189  # 1 / 860 s and the time to wake up


class ConverterChip:
    """ADS1115: single conversions of one input; the result register keeps the last one until the next is done (SBAS444)."""

    def __init__(self, chip: int) -> None:
        self._chip = chip
        self._missing = CHIP_1 if chip else CHIP_0
        self._config = bytes((0x85, 0x83))
        self._result = 0
        self._next = 0
        self._ready_us = 0

    def answers(self) -> bool:
        """Is it there?"""
        return not wires.broken & self._missing

    def _settle(self) -> bool:
        if wires.now_us < self._ready_us:
            return False
        self._result = self._next
        return True

    def write(self, register: int, data: bytearray) -> None:
        """A write of its configuration starts a conversion."""
        if register == 1:
            self._settle()
            self._config = bytes(data)
            self._next = wires.codes[4 * self._chip + ((data[0] >> 4) - 4 & 3)]
            self._ready_us = wires.now_us + _BUSY_US

    def read(self, register: int, data: bytearray) -> None:
        """Result, or configuration with its ready bit."""
        ready = self._settle()
        if register == 0:
            data[0] = self._result >> 8 & 0xFF
            data[1] = self._result & 0xFF
        else:
            data[0] = self._config[0] & 0x7F | (0x80 if ready else 0)
            data[1] = self._config[1]


class DisplayChip:
    """SSD1306 in its horizontal mode: a window that is set by commands and filled by data."""

    def __init__(self) -> None:
        self.memory = bytearray(1024)
        self.on = False
        self.contrast = 0
        self._column = 0
        self._page = 0

    def answers(self) -> bool:
        """Is it there?"""
        return not wires.broken & NO_DISPLAY

    def take(self, data: bytes) -> None:
        """One transfer: commands after a 0x00, data after a 0x40."""
        if data[0] == 0x40:
            for byte in data[1:]:
                self.memory[128 * self._page + self._column] = byte
                self._column += 1
                if self._column == 128:
                    self._column = 0
                    self._page = (self._page + 1) % 8
            return
        at = 1
        while at < len(data):
            command = data[at]
            if command == 0x21:
                self._column = data[at + 1]
                at += 2
            elif command == 0x22:
                self._page = data[at + 1]
                at += 2
            elif command == 0x81:
                self.contrast = data[at + 1]
                at += 1
            elif command in (0xD5, 0xA8, 0xD3, 0x8D, 0x20, 0xDA, 0xD9, 0xDB):
                at += 1
            elif command in (0xAE, 0xAF):
                self.on = command == 0xAF
            at += 1
