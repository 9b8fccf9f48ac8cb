"""A picture of 128 x 64 dots in the display's own order: eight rows of 128 bytes, a byte eight dots, the lowest on top.

That is what `framebuf` calls MONO_VLSB. What is asked for is kept as words, row by row; `paint` makes dots of the rows that have
become others. Whole rows are made by operations on bytes and long integers: dot by dot a picture would take most of a tick.
"""

from panel_font import DOTS, WIDTH, place

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

COLUMNS, ROWS = 128, 8
_TEXT, _BAR, _INVERT = range(3)
_FRAME, _END, _FULL, _MARK = b"\x42", 0x7E, b"\x7e", 0xFF
_DARK = bytes(COLUMNS)
# What becomes of 4 or 2 dots, each twice or four times as tall.
_TWICE = b"\x00\x03\x0c\x0f\x30\x33\x3c\x3f\xc0\xc3\xcc\xcf\xf0\xf3\xfc\xff"
_FOURFOLD = b"\x00\x0f\xf0\xff"


def _bold(line: bytearray) -> bytearray:
    """Each dot also a column further on; what would close a gap stays dark."""
    own = int.from_bytes(line, "little")
    further = own << 8
    further ^= further & own >> 8
    return bytearray((own | further).to_bytes(len(line), "little"))


def _tall(line: bytearray, tall: int, part: int) -> None:
    """One of the rows that columns take when each dot stands `tall` times, 2 or 4; `part`: from above."""
    dots = _TWICE if tall == 2 else _FOURFOLD
    mask = len(dots) - 1
    shift = 8 // tall * part
    for at in range(len(line)):
        line[at] = dots[line[at] >> shift & mask]


def _wide(line: bytearray, wide: int) -> bytearray:
    """Each column `wide` times."""
    wider = bytearray(wide * len(line))
    for first in range(wide):
        at = first
        for eight in line:
            wider[at] = eight
            at += wide
    return wider


class Canvas:
    """`buffer`: 1024 bytes. What lies outside is not drawn; what is drawn does not overlap."""

    def __init__(self) -> None:
        self.buffer = bytearray(COLUMNS * ROWS)
        self._wanted: "list[list[tuple[Any, ...]]]" = [[] for _ in range(ROWS)]
        self._painted: "list[list[tuple[Any, ...]]]" = [[] for _ in range(ROWS)]

    def clear(self) -> None:
        """Another picture begins, all of it dark."""
        for row in range(ROWS):
            self._wanted[row] = []

    def text(self, x: int, row: int, words: str, wide: int = 1, tall: int = 1, pitch: int = 0) -> None:
        """Letters from column `x` on, each dot `wide` x `tall` (1, 2 or 4); `pitch`, of narrow ones: columns a letter, bold
        where it leaves room for that."""
        for part in range(tall):
            if 0 <= row + part < ROWS:
                self._wanted[row + part].append((_TEXT, x, words, wide, tall, part, pitch))

    def right(self, end: int, row: int, words: str, wide: int = 1, tall: int = 1) -> None:
        """Letters that end before column `end`."""
        self.text(end - (WIDTH + 1) * wide * len(words) + wide, row, words, wide, tall)

    def bar(self, x: int, row: int, width: int, part: int, mark: int) -> None:
        """A frame of `width` columns, the first `part` of them full; a stroke at `mark` with a gap around it (-1: none)."""
        self._wanted[row].append((_BAR, x, width, part, mark))

    def invert(self, row: int) -> None:
        """Dark letters on a light row."""
        self._wanted[row].append((_INVERT,))

    def paint(self, most: int = ROWS) -> None:
        """Bring at most so many rows of `buffer` up to date."""
        for row in range(ROWS):
            if most and self._wanted[row] != self._painted[row]:
                most -= 1
                self._painted[row] = list(self._wanted[row])
                self._paint(row * COLUMNS, self._painted[row])

    def _paint(self, start: int, things: "list[tuple[Any, ...]]") -> None:
        self.buffer[start : start + COLUMNS] = _DARK
        for thing in things:
            if thing[0] == _TEXT:
                self._put(start, thing[1], self._letters(*thing[2:]))
            elif thing[0] == _BAR:
                self._put(start, thing[1], self._frame(*thing[2:]))
            else:
                for at in range(start, start + COLUMNS):
                    self.buffer[at] ^= 0xFF

    def _put(self, start: int, x: int, line: bytearray) -> None:
        first, last = max(-x, 0), min(COLUMNS - x, len(line))
        if last - first < len(line):
            line = line[first : max(first, last)]
        self.buffer[start + x + first : start + x + first + len(line)] = line

    def _letters(self, words: str, wide: int, tall: int, part: int, pitch: int) -> bytearray:
        step = pitch or WIDTH + 1
        bold = step > WIDTH + 2
        line = bytearray(step * (len(words) - 1) + WIDTH + bold) if words else bytearray()
        at = 0
        for letter in words:
            dots = place(ord(letter))
            for column in range(WIDTH):  # a slice would be as fast, and leave more to the collector
                line[at + column] = DOTS[dots + column]
            at += step
        if bold:
            line = _bold(line)
        if tall > 1:
            _tall(line, tall, part)
        return _wide(line, wide) if wide > 1 else line

    def _frame(self, width: int, part: int, mark: int) -> bytearray:
        line = bytearray(_FULL * part + _FRAME * (width - part))
        line[0] = line[width - 1] = _END
        if mark >= 0:
            line[max(mark - 1, 0) : mark + 2] = bytes(len(line[max(mark - 1, 0) : mark + 2]))
            line[mark] = _MARK
        return line
