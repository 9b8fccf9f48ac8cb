"""The record that survives the key: two slots, pure bytes in and out. Runs outside the allocation-free step.

A slot is 32 bytes, little-endian: b"2T", version, oil in lines (0 or 1), sequence, boots, trips, mean and least
normalised suction in Pa, 4 bytes of zero, CRC-32 of all before it. What cannot be read is taken for oil in the lines.
"""

import struct
from binascii import crc32

SLOT_BYTES = 32
_FORM = "<2sBBIIIII"
_MAGIC, _VERSION = b"2T", 1
_SEQUENCE_MASK = 0x3FFFFFFF


class Record:
    """What is remembered. `oil_in_lines` is on the safe side: True unless a whole slot says otherwise."""

    def __init__(self) -> None:
        self.oil_in_lines = True
        self.sequence = 0
        self.boots = 0
        self.trips = 0
        self.suction_mean_pa = 0
        self.suction_low_pa = 0

    def encode(self) -> bytes:
        """The slot's bytes for the next sequence number, which the record then carries."""
        self.sequence = (self.sequence + 1) & _SEQUENCE_MASK
        body = struct.pack(
            _FORM, _MAGIC, _VERSION, 1 if self.oil_in_lines else 0, self.sequence, self.boots, self.trips,
            self.suction_mean_pa, self.suction_low_pa,
        )  # fmt: skip
        body = body + bytes(SLOT_BYTES - 4 - len(body))
        return body + struct.pack("<I", crc32(body) & 0xFFFFFFFF)

    def refused(self) -> None:
        """The last `encode` did not reach flash: the next takes its number and slot, so the good slot stays."""
        self.sequence = (self.sequence - 1) & _SEQUENCE_MASK

    def slot(self) -> int:
        """Which slot (0 or 1) holds this sequence: never the one that holds the last good one."""
        return self.sequence & 1


def decode(data: bytes) -> Record | None:
    """The record in one slot, or None for bytes that are not a whole one."""
    if len(data) != SLOT_BYTES or data[:2] != _MAGIC or data[2] != _VERSION or data[3] > 1:
        return None
    if struct.unpack("<I", data[SLOT_BYTES - 4 :])[0] != crc32(data[: SLOT_BYTES - 4]) & 0xFFFFFFFF:
        return None
    record = Record()
    fields = struct.unpack(_FORM, data[: SLOT_BYTES - 8])
    record.oil_in_lines = fields[2] == 1
    record.sequence, record.boots, record.trips, record.suction_mean_pa, record.suction_low_pa = fields[3:]
    return record


def choose(slots: list[bytes]) -> Record:
    """The record that counts, of the two slots' bytes (empty: no such file).

    The later whole one wins. A slot that is damaged, missing or not the other's neighbour in number may have been the
    later one, so then oil in the lines is assumed; so is it on a board that remembers nothing. That costs one purge of
    diesel at the next start.
    """
    whole = [record for record in [decode(data) for data in slots] if record is not None]
    if not whole:
        return Record()
    best = whole[0]
    for record in whole[1:]:
        if (record.sequence - best.sequence) & _SEQUENCE_MASK < 0x20000000:
            best = record
    first = best.sequence == 1 and len([data for data in slots if data]) == 1  # no second slot was ever written
    apart = (whole[0].sequence - whole[-1].sequence) & _SEQUENCE_MASK
    damaged = apart not in (1, _SEQUENCE_MASK) and not first
    best.oil_in_lines = best.oil_in_lines or damaged
    return best
