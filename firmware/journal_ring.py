"""The journal's ring of blocks in flash: files of at most a sector, written whole, numbered, the oldest removed for the newest.

A block: 64 bytes of head with totals and a CRC-32 (littlefs guards its folders, not the bytes of a file), then rows. It is
written beside the old one, read back, and renamed, so a power cut leaves it old or new.
"""

import os
import struct
from binascii import crc32

import journal_rows
from journal_rows import HEADINGS, ROW_BYTES

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

HEAD_BYTES = 64
ROWS_A_BLOCK = (4096 - HEAD_BYTES) // ROW_BYTES
_REMOVED_MOST = 3  # blocks in one go, where the ring has become smaller
_FORM = "<2sBBII16sII6I"
_MAGIC, _VERSION = b"2J", 1
_ROWS, _BOOTS, _HASH, _DROPPED, _WEAR, _TOTALS = 2, 4, 5, 6, 7, 8  # places in the head
_REFUSALS = (OSError, MemoryError)


class Ring:
    """`boots` starts, `dropped` rows and `wear` blocks written, all since the board was new; `kept_totals` of the newest block."""

    def __init__(self, folder: str, most: int, settings: str) -> None:
        """`folder` need not be there yet; `most` blocks; `settings`: hash of those in force. Some tens of ms."""
        self._folder = folder + "/journal"
        self._most = most
        self._hash = settings.encode()
        self.boots = 0
        self.dropped = 0
        self.wear = 0
        self.kept_totals: tuple[int, ...] = (0, 0, 0, 0, 0, 0)
        self._oldest = 1
        self._newest = 0
        self._grows = 0  # rows of the newest block, while more may be added to it
        self._find()

    def _find(self) -> None:
        """Take up what was kept: the newest whole block's counts, and whether rows may be added to it."""
        try:
            found = sorted(int(name) for name in os.listdir(self._folder) if name.isdigit())
        except _REFUSALS:
            return
        if found:
            self._oldest, self._newest = found[0], found[-1]
        for number in reversed(found):
            data = self._whole(number)
            if data:
                head = struct.unpack(_FORM, data[: HEAD_BYTES - 4])
                self.boots, self.dropped, self.wear = head[_BOOTS], head[_DROPPED], head[_WEAR]
                self.kept_totals = head[_TOTALS:]
                if number == self._newest and head[_HASH] == self._hash:
                    self._grows = head[_ROWS]
                return

    def _append(self, rows: memoryview, totals: tuple[int, ...]) -> int:
        """Write as many of these rows as one block takes: how many, 0 where flash refused."""
        grown = self._whole(self._newest)[HEAD_BYTES:] if 0 < self._grows < ROWS_A_BLOCK else b""
        already = len(grown) // ROW_BYTES
        count = min(len(rows) // ROW_BYTES, ROWS_A_BLOCK - already)
        number = self._newest if grown else self._newest + 1
        head = struct.pack(
            _FORM,
            _MAGIC,
            _VERSION,
            already + count,
            number,
            self.boots,
            self._hash,
            self.dropped,
            self.wear + 1,
            *totals,
        )
        body = grown + bytes(rows[: count * ROW_BYTES])
        if not self._write(number, head + struct.pack("<I", _crc(head, body)) + body):
            return 0
        self.wear += 1
        self._newest = number
        self._grows = already + count
        return count

    def _write(self, number: int, data: bytes) -> bool:
        """The oldest blocks make room first, so that there are never more than are allowed."""
        unproved = self._folder + "/unproved"
        try:
            os.mkdir(self._folder)
        except _REFUSALS:
            pass  # it is there already; if not, the next lines fail
        try:
            for _ in range(_REMOVED_MOST):
                if self._oldest <= number - self._most:
                    self._remove(self._oldest)
                    self._oldest += 1
            with open(unproved, "wb") as file:
                file.write(data)
            if not self._reads(unproved, data):
                return False
            os.rename(unproved, self._path(number))
        except _REFUSALS:
            return False
        return True

    def _remove(self, number: int) -> None:
        try:
            os.remove(self._path(number))
        except OSError:
            pass  # a block that is not there takes no room

    def _path(self, number: int) -> str:
        return "%s/%06d" % (self._folder, number)

    def _reads(self, path: str, data: bytes) -> bool:
        """Does the file hold just these bytes? A page at a time, to spare the heap."""
        with open(path, "rb") as file:
            for at in range(0, len(data), 256):
                if file.read(256) != data[at : at + 256]:
                    return False
            return not file.read(1)

    def _whole(self, number: int) -> bytes:
        """The block's bytes, or none where it is not whole."""
        try:
            with open(self._path(number), "rb") as file:
                data = file.read(HEAD_BYTES + ROWS_A_BLOCK * ROW_BYTES + 1)
        except _REFUSALS:
            return b""
        if len(data) < HEAD_BYTES or len(data) != HEAD_BYTES + data[3] * ROW_BYTES:
            return b""
        if data[:2] != _MAGIC or data[2] != _VERSION:
            return b""
        head, body = data[: HEAD_BYTES - 4], data[HEAD_BYTES:]
        stated = struct.unpack_from("<II", data, 4)[0], struct.unpack_from("<I", data, HEAD_BYTES - 4)[0]
        return data if stated == (number, _crc(head, body)) else b""

    def read(self, from_block: int = 0) -> "Iterator[str]":
        """Lines of text, at most 113 characters: HEADINGS, what there is, then every block from this number on and its rows."""
        for heading in HEADINGS:
            yield heading
        yield "R,%d,%d,%d" % (self._oldest, self._newest, self.dropped)
        number = max(from_block, self._oldest)
        while number <= self._newest:
            data = self._whole(number)
            if not data:
                yield "X,%d,damaged" % number
            else:
                head = struct.unpack(_FORM, data[: HEAD_BYTES - 4])
                yield "B,%d,%d,%d,%s,%d,%d" % (
                    number, head[_ROWS], head[_BOOTS], head[_HASH].decode(), head[_DROPPED], head[_WEAR],
                )  # fmt: skip
                yield "C,%d,%d,%d,%d,%d,%d" % head[_TOTALS:]
                for at in range(HEAD_BYTES, len(data), ROW_BYTES):
                    yield journal_rows.line(data, at)
            number = max(number + 1, self._oldest)


def _crc(head: bytes, body: bytes) -> int:
    return crc32(body, crc32(head)) & 0xFFFFFFFF
