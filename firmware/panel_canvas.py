"""A picture of 128 x 64 dots in the display's own order: eight rows of 128 bytes, a byte eight dots, the lowest on top.

That is what `framebuf` calls MONO_VLSB. All that is drawn keeps to the eight rows, so that bytes are set and no dots.
"""

from panel_font import WIDTH, column

COLUMNS, ROWS = 128, 8
_DARK = bytes(COLUMNS * ROWS)
_FRAME, _END, _FULL, _MARK = 0x42, 0x7E, 0x7E, 0xFF


def _stretch(eight: int, tall: int) -> int:
    """Each of eight dots `tall` times."""
    stretched = 0
    dots = (1 << tall) - 1
    for dot in range(8):
        if eight >> dot & 1:
            stretched |= dots << dot * tall
    return stretched


class Canvas:
    """`buffer`: 1024 bytes. What lies outside is not drawn."""

    def __init__(self) -> None:
        self.buffer = bytearray(COLUMNS * ROWS)

    def clear(self) -> None:
        """All dots dark."""
        self.buffer[:] = _DARK

    def _put(self, x: int, row: int, eight: int, wide: int) -> None:
        if 0 <= row < ROWS:
            for at in range(max(x, 0), min(x + wide, COLUMNS)):
                self.buffer[row * COLUMNS + at] = eight

    def text(self, x: int, row: int, words: str, wide: int = 1, tall: int = 1, pitch: int = 0) -> None:
        """Letters from column `x` on, each dot `wide` x `tall`; `pitch`: columns a letter, bold where it gives two more."""
        step = pitch or (WIDTH + 1) * wide
        bold = step > (WIDTH + 1) * wide + 1
        for letter in words:
            before, own = 0, column(ord(letter), 0)
            for number in range(WIDTH + 1):
                after = column(ord(letter), number + 1)
                eight = own | before & ~after if bold else own  # what would close a gap stays dark
                before, own = own, after
                if eight:
                    dots = eight if tall == 1 else _stretch(eight, tall)
                    for part in range(tall):
                        self._put(x + number * wide, row + part, dots >> 8 * part & 0xFF, wide)
            x += step

    def right(self, end: int, row: int, words: str, wide: int = 1, tall: int = 1) -> None:
        """Letters that end before column `end`."""
        self.text(end - (WIDTH + 1) * wide * len(words) + wide, row, words, wide, tall)

    def bar(self, x: int, row: int, width: int, part: int, mark: int) -> None:
        """A frame of `width` columns, the first `part` of them full; a stroke at `mark` with a gap around it (-1: none)."""
        for at in range(width):
            eight = _END if at == 0 or at == width - 1 else _FULL if at < part else _FRAME
            if mark >= 0 and at in (mark - 1, mark + 1):
                eight = 0
            self._put(x + at, row, _MARK if at == mark else eight, 1)

    def invert(self, row: int) -> None:
        """Dark letters on a light row."""
        for at in range(row * COLUMNS, (row + 1) * COLUMNS):
            self.buffer[at] ^= 0xFF
