"""MicroPython itself onto a board that has none: a UF2 image, checked, then copied to the drive that the chip shows.

Numbers: the UF2 specification (microsoft/uf2, README) and the RP2040 datasheet, "UF2 Format Details".
"""

from __future__ import annotations

import shutil
import struct
import sys
from collections.abc import Iterator
from pathlib import Path

from host_sim.errors import InputError

SOURCE = "MicroPython's own download page for the board, micropython.org/download/RPI_PICO"
RP2040 = 0xE48BFF56
_BLOCK, _HEAD, _PAYLOAD = 512, struct.Struct("<8I"), 256
_FIRST, _SECOND, _LAST = 0x0A324655, 0x9E5D5157, 0x0AB16F30
_NOT_FLASH, _FAMILY = 0x0001, 0x2000
_FLASH = 0x10000000
# Files begin 1408 KiB before the end of 2 MiB (MicroPython, boards/RPI_PICO): record, settings and trip log lie from here on.
_FILES = _FLASH + (2048 - 1408) * 1024
_INFO = "INFO_UF2.TXT"


def check_uf2(path: Path) -> None:
    """Raises InputError unless it is one whole image for the RP2040 that leaves the board's files alone."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), error.strerror, f"a UF2 file, from {SOURCE}") from None
    count = len(data) // _BLOCK
    if not count or len(data) % _BLOCK:
        raise InputError(str(path), f"{len(data)} bytes", f"a UF2 file, whole blocks of {_BLOCK} bytes, from {SOURCE}")
    for number in range(count):
        block = data[number * _BLOCK : (number + 1) * _BLOCK]
        first, second, flags, address, size, place, blocks, family = _HEAD.unpack_from(block)
        where = f"{path}: block {number}"
        if (first, second) != (_FIRST, _SECOND) or struct.unpack_from("<I", block, _BLOCK - 4)[0] != _LAST:
            raise InputError(where, block[:8].hex(), f"the magic numbers of a UF2 block; images: {SOURCE}")
        if not flags & _FAMILY or family != RP2040:
            raise InputError(where, f"family {family:#010x}", f"{RP2040:#010x}, the RP2040 of a Pico; images: {SOURCE}")
        if flags & _NOT_FLASH or size != _PAYLOAD or address % _PAYLOAD or not _FLASH <= address <= _FILES - _PAYLOAD:
            raise InputError(
                where,
                f"{size} bytes at {address:#010x}",
                f"{_PAYLOAD} bytes between {_FLASH:#010x} and {_FILES:#010x}: behind that lie the board's record and settings",
            )
        if (place, blocks) != (number, count):
            raise InputError(where, f"number {place} of {blocks}", f"number {number} of {count}: the file is not whole")


def drives() -> list[Path]:
    """Drives of chips that wait for an image, where this machine mounts such things."""
    return sorted(info.parent for info in _candidates() if _is_pico(info))


def _candidates() -> Iterator[Path]:
    if sys.platform == "win32":
        yield from (Path(f"{letter}:/{_INFO}") for letter in "DEFGHIJKLMNOPQRSTUVWXYZ")
    for top, pattern in (("/media", "*/*"), ("/media", "*"), ("/run/media", "*/*"), ("/Volumes", "*")):
        yield from Path(top).glob(f"{pattern}/{_INFO}")


def _is_pico(info: Path) -> bool:
    try:
        return "Board-ID: RPI-RP2" in info.read_text("ascii", "replace")
    except OSError:
        return False


def copy_uf2(path: Path, found: list[Path]) -> Path:
    """Check the image and copy it to the only drive. Raises InputError."""
    check_uf2(path)
    if len(found) != 1:
        raise InputError(
            "the board's drive",
            ", ".join(map(str, found)) or "none",
            "one: hold the board's BOOTSEL button while you plug it in; its drive is called RPI-RP2",
        )
    try:
        shutil.copyfile(path, found[0] / path.name)
    except OSError as error:
        raise InputError(
            str(found[0]), error.strerror, "a drive that takes the image; the chip restarts when it has it"
        ) from None
    return found[0]
