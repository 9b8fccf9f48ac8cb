"""What outlives the key, as files below one folder: the record's two slots and the settings. On the board and on a desktop.

A power cut leaves each file old or new: littlefs commits a file when it is closed and renames in one step (its DESIGN.md).
Some flash chips spoil the sector around a page whose programming was cut (Microchip on the SST26VF016B); littlefs then
falls back to an older state of that folder. So each slot has a folder, hence sectors, of its own: the other one stays.
What the file system refuses is an answer here, never an exception. A write may take 0.4 s: `Law` says when there is time.
"""

import os

from changeover import settings_file
from changeover.memory import SLOT_BYTES

_SLOTS = ("record.0/slot", "record.1/slot")
_SETTINGS, _UNPROVED = "settings/saved", "settings/unproved"
_SETTINGS_BYTES = 8000  # three times what there is; a longer file is none of ours
_NO_RECORD = b"?"
_REFUSALS = (OSError, MemoryError)  # opening a file takes its buffers from the heap


def read_slots(folder: str) -> list[bytes]:
    """Both slots for `memory.choose`: both empty where neither can be read, as on a new board. One that cannot be read
    beside the other, or is not there, gives a byte that is no record: it counts as damaged, hence as oil in the lines."""
    slots = [_read(folder + "/" + name, SLOT_BYTES) for name in _SLOTS]
    return [data or _NO_RECORD for data in slots] if any(slots) else slots


def write_slot(folder: str, index: int, data: bytes) -> bool:
    """Write slot `index` (0 or 1): True once it is in flash and reads back the same. The other slot is left alone."""
    return _write(folder + "/" + _SLOTS[index], data)


def save_settings(folder: str, values: dict[str, int]) -> bool:
    """Put `values` in place of the saved settings once they read back: True when that is done, else the old ones stay."""
    unproved = folder + "/" + _UNPROVED
    if not _write(unproved, settings_file.encode(values)):
        return False
    try:
        os.rename(unproved, folder + "/" + _SETTINGS)
    except _REFUSALS:
        return False
    return True


def load_settings(folder: str) -> tuple[dict[str, int], list[tuple[str, object, str, str]]]:
    """The saved settings whole and no error, or none and every error as (place, found, wanted, why).

    After an error, also that nothing was saved yet, the law is to run on its defaults with `valid=False`: it says so and
    moves no valve. Ranges are `validate`'s matter.
    """
    data = _read(folder + "/" + _SETTINGS, _SETTINGS_BYTES)
    if not data:
        return {}, [(_SETTINGS, None, "saved settings", "none were saved on this board, or they cannot be read")]
    values, errors = settings_file.decode(data)
    return ({}, errors) if errors else (values, errors)


def _read(path: str, most: int) -> bytes:
    """What is in the file, at most a byte more than `most`; empty where it cannot be read."""
    try:
        with open(path, "rb") as file:
            return file.read(most + 1)
    except _REFUSALS:
        return b""


def _write(path: str, data: bytes) -> bool:
    try:
        os.mkdir(path[: path.rfind("/")])
    except _REFUSALS:
        pass  # it is there already; if not, the next line fails
    try:
        with open(path, "wb") as file:
            file.write(data)
    except _REFUSALS:
        return False
    return _read(path, len(data)) == data
