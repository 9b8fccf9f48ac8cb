"""MicroPython's `machine` for the Unix port, as much of it as the firmware uses. State is kept, and can be broken, in `wires`."""

from parts import ConverterChip, DisplayChip
from wires import CONVERTERS_STUCK, DISPLAY_STUCK, RESET, wires

_EIO, _ETIMEDOUT = 5, 110
_BITS_A_BYTE = 9
_HOLDS = 65535 * 40 // 100  # duty below which a valve's coil lets go: the lowest that the settings allow


class Pin:
    """A pin by its number."""

    IN, OUT = 0, 1
    PULL_UP, PULL_DOWN = 1, 2

    def __init__(self, number: int, mode: int = -1, pull: int = -1, value: "int | None" = None) -> None:
        self.number = number
        self._mask = 1 << number
        if mode != -1:
            self.init(mode, pull, value)

    def init(self, mode: int, pull: int = -1, value: "int | None" = None) -> None:
        """A plain input or output; pulses no longer reach the pin."""
        wires.pulsed &= ~self._mask
        if mode == Pin.OUT:
            self.value(value)

    def value(self, level: object = None) -> int:
        """Read it, or drive it."""
        if level is None:
            return 1 if wires.levels & self._mask else 0
        if wires.pulsed & self._mask:
            return 0  # on the chip, too, the value then counts for nothing
        if level:
            wires.levels |= self._mask
        else:
            wires.levels &= ~self._mask
        return 0


class PWM:
    """A pin driven by pulses: a dimmed lamp, or a coil, which stays pulled in while there are enough of them and never pulls in by them."""

    def __init__(self, pin: Pin, freq: int, duty_u16: int) -> None:
        self._number = pin.number
        wires.pulsed |= 1 << pin.number
        self.duty_u16(duty_u16)

    def duty_u16(self, duty: int) -> None:
        """On for so many 65535ths of the time."""
        wires.duty[self._number] = duty
        if duty < _HOLDS:
            wires.levels &= ~(1 << self._number)


class ADC:
    """The chip's converter. Three conversions in a row give one code too low, true and too high; sixteen such threes add up to
    what the car's signals say."""

    def __init__(self, number: int) -> None:
        self._channel = number - 26
        self._left = 0
        self._code = 0

    def read_u16(self) -> int:
        """One conversion: a 12-bit code as 16 bits, the way the port does it."""
        left = self._left
        if left == 0:
            taken = wires.taken[self._channel]
            wires.taken[self._channel] = taken + 1
            total = wires.sums[self._channel]
            self._code = (total >> 4) + (1 if taken < total & 15 else 0)
            self._left = 2
            code = self._code - 2 if self._code > 1 else 0
        else:
            self._left = left - 1
            code = self._code if left == 2 else self._code + 3 if self._code < 4093 else 4095
        return code << 4 | code >> 8


class I2C:
    """A bus; its transfers take their time. One that is stuck takes its time-out, an absent part the address alone."""

    def __init__(self, number: int, sda: Pin, scl: Pin, freq: int, timeout: int) -> None:
        self._parts = {0x48: ConverterChip(0), 0x49: ConverterChip(1)} if number == 0 else {0x3C: DisplayChip()}
        self._stuck = DISPLAY_STUCK if number else CONVERTERS_STUCK
        self._us_a_byte = 1_000_000 * _BITS_A_BYTE // freq
        self._timeout = timeout

    def _part(self, address: int, count: int) -> "ConverterChip | DisplayChip":
        if wires.broken & self._stuck:
            wires.advance(self._timeout)
            raise OSError(_ETIMEDOUT)
        part = self._parts.get(address)
        if part is None or not part.answers():
            wires.advance(self._us_a_byte)
            raise OSError(_EIO)
        wires.advance(count * self._us_a_byte)
        return part

    def writeto(self, address: int, data: bytes) -> None:
        """Address and data."""
        self._part(address, 1 + len(data)).take(data)

    def writeto_mem(self, address: int, register: int, data: bytearray) -> None:
        """Address, register, data."""
        self._part(address, 2 + len(data)).write(register, data)

    def readfrom_mem_into(self, address: int, register: int, data: bytearray) -> None:
        """Address, register, address again, data."""
        self._part(address, 3 + len(data)).read(register, data)


class WDT:
    """Begins when it is made, and never ends."""

    def __init__(self, timeout: int) -> None:
        wires.dog_us = 1000 * timeout
        self.feed()

    def feed(self) -> None:
        """Another so long."""
        wires.fed_us = wires.boundary_us  # the instant its tick began, as in the virtual board


class _Memory:
    """Registers by address."""

    def __getitem__(self, address: int) -> int:
        return wires.registers[address]

    def __setitem__(self, address: int, value: int) -> None:
        wires.registers[address] = value


mem32 = _Memory()


def reset() -> None:
    """The chip's reset: the registers keep, the pins fall, nothing of the program goes on."""
    wires.levels = wires.pulsed = 0
    for number in wires.duty:
        wires.duty[number] = 0
    wires.end(RESET)
