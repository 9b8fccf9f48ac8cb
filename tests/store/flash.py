"""A stand-in for the board's flash, and every state in which a power cut may leave it.

A program clears bits of a page of 256 bytes, an erase sets a sector of 4096 (MicroPython, ports/rp2/rp2_flash.c; SDK,
hardware_flash). The protocol is that of MicroPython's block devices. Runs under CPython and MicroPython alike.
"""

PAGE_BYTES, SECTOR_BYTES = 256, 4096
ERASED = b"\xff" * SECTOR_BYTES
_COUNT, _SIZE, _ERASE = 4, 5, 6  # requests of MicroPython's block devices
_EIO = -5


class Flash:
    """`log`: each operation as (first byte, bytes programmed or b"" for an erase, what `watch` said just before it).
    `over`: programs of what was not erased."""

    def __init__(self, image: bytes) -> None:
        self.image = bytearray(image)
        self.log = []
        self.watch = None
        self.over = 0
        self._seen = self._first = self._last = 0

    def refuse(self, after: int, times: int) -> None:
        """After so many more operations, the next `times` fail and change nothing."""
        self._seen, self._first, self._last = 0, after, after + times

    def _refuses(self) -> bool:
        self._seen += 1
        return self._first < self._seen <= self._last

    def readblocks(self, sector: int, buffer: bytearray, offset: int = 0) -> None:
        at = sector * SECTOR_BYTES + offset
        buffer[:] = memoryview(self.image)[at : at + len(buffer)]

    def writeblocks(self, sector: int, buffer: bytes, offset: int) -> int:
        at = sector * SECTOR_BYTES + offset
        if at % PAGE_BYTES or len(buffer) % PAGE_BYTES:
            raise ValueError("flash is programmed by pages")
        if self._refuses():
            return _EIO
        self.log.append((at, bytes(buffer), self.watch and self.watch()))
        old = bytes(self.image[at : at + len(buffer)])
        self.over += old != ERASED[: len(old)]
        self.image[at : at + len(buffer)] = programmed(old, buffer)
        return 0

    def ioctl(self, request: int, argument: int) -> int:
        if request == _COUNT:
            return len(self.image) // SECTOR_BYTES
        if request == _SIZE:
            return SECTOR_BYTES
        if request == _ERASE:
            if self._refuses():
                return _EIO
            at = argument * SECTOR_BYTES
            self.log.append((at, b"", self.watch and self.watch()))
            self.image[at : at + SECTOR_BYTES] = ERASED
        return 0


class Dice:
    """Bytes by chance, the same each time (a linear congruential generator, its numbers from memory)."""

    def __init__(self, seed: int) -> None:
        self._state = seed

    def byte(self) -> int:
        self._state = (self._state * 1103515245 + 12345) & 0x7FFFFFFF
        return self._state >> 16 & 0xFF


def programmed(old: bytes, new: bytes) -> bytes:
    """Programming clears bits and sets none."""
    if old == ERASED[: len(old)]:
        return bytes(new)
    return bytes([old[at] & new[at] for at in range(len(old))])


def stopped_program(old: bytes, new: bytes, done: int, dice: Dice) -> bytes:
    """`done` bytes are programmed, of the next one any bits, the rest is as before."""
    last = old[done] & (new[done] | dice.byte())
    return programmed(old[:done], new[:done]) + bytes([last]) + old[done + 1 :]


def scattered_program(old: bytes, new: bytes, page: int, dice: Dice) -> bytes:
    """Pages before number `page` are programmed, of that page any bits: a chip may program the cells of a page together."""
    start = page * PAGE_BYTES
    end = start + PAGE_BYTES
    some = bytes([old[at] & (new[at] | dice.byte()) for at in range(start, end)])
    return programmed(old[:start], new[:start]) + some + old[end:]


def spoilt_sectors(old: bytes, pages: int, dice: Dice) -> list[bytes]:
    """The sector around a page whose programming was cut, disturbed: from each of its first `pages` pages on every 16th
    byte lost some bits, or one byte did. That a chip may do so: Microchip's answer on the SST26VF016B,
    microchip.wikidot.com/faq:3411."""
    states = []
    for first in range(pages):
        torn = bytearray(old)
        for at in range(first * PAGE_BYTES + (dice.byte() & 15), SECTOR_BYTES, 16):
            torn[at] &= dice.byte()
        states.append(bytes(torn))
    torn = bytearray(old)
    torn[dice.byte() * pages] &= dice.byte()
    states.append(bytes(torn))
    return states


def stopped_erases(old: bytes, dice: Dice) -> list[bytes]:
    """Eight states of an erase: four parts of it done, bits set by chance, all but a few set, zeroed first as chips do
    (from memory), and anything."""
    half = SECTOR_BYTES // 2
    some = bytes([dice.byte() for _ in range(PAGE_BYTES)]) * (SECTOR_BYTES // PAGE_BYTES)
    return [
        ERASED[:PAGE_BYTES] + old[PAGE_BYTES:],
        ERASED[:half] + old[half:],
        old[:half] + ERASED[half:],
        ERASED[PAGE_BYTES:] + old[-PAGE_BYTES:],
        bytes([old[at] | some[at] for at in range(SECTOR_BYTES)]),
        bytes([byte | 0xEF for byte in some]),
        bytes(SECTOR_BYTES),
        some,
    ]


def cuts(image: bytearray, at: int, data: bytes, every_byte: bool, dice: Dice):
    """The states in which this operation on `image` may stop, as (how, first byte, bytes). `every_byte`: a program is cut
    at each of its bytes, else at four."""
    if not data:
        for state in stopped_erases(bytes(image[at : at + SECTOR_BYTES]), dice):
            yield "erase", at, state
        return
    old = bytes(image[at : at + len(data)])
    for done in range(len(data)) if every_byte else (0, 5, len(data) // 2, len(data) - 1):
        yield "byte", at, stopped_program(old, data, done, dice)
    sector = at - at % SECTOR_BYTES
    for page in range(len(data) // PAGE_BYTES):
        state = scattered_program(old, data, page, dice)
        yield "scattered", at, state
        whole = bytes(image[sector:at]) + state + bytes(image[at + len(data) : sector + SECTOR_BYTES])
        for disturbed in spoilt_sectors(whole, (at - sector) // PAGE_BYTES + page + 1, dice):
            yield "spoilt", sector, disturbed
