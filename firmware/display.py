"""The 128x64 display (SSD1306) on a bus of its own: one changed page of eight lines a tick; a dead one is left alone for a while.

Commands: data sheet of the SSD1306, chapter 9 and its application note on the start-up order.
"""

WIDTH, PAGES = 128, 8

_ADDRESS = 0x3C
_AGAIN_TICKS = 30  # until a display that did not answer is asked again
_SETUP = bytes((
    0x00,  # all of it commands
    0xAE, 0xD5, 0x80, 0xA8, 0x3F, 0xD3, 0x00, 0x40,  # off; clock; 64 lines; no offset
    0x8D, 0x14, 0x20, 0x00, 0xA1, 0xC8, 0xDA, 0x12,  # charge pump; rows first; first column left, first line on top; pins
    0xD9, 0xF1, 0xDB, 0x40, 0xA4, 0xA6, 0xAF,  # precharge; level; show memory; not inverted; on
))  # fmt: skip
_BRIGHT, _DARK = 0xCF, 0x08


class Display:
    """`show` sends what differs from what is shown."""

    def __init__(self, bus: object) -> None:
        self._bus = bus
        self._shown = bytearray(WIDTH * PAGES)
        self._shown_page = _pages(self._shown)
        self._unknown = 0  # bits of pages of which nobody knows what they show
        self._buffer: bytearray | None = None
        self._buffer_page: list[memoryview] = []
        self._page = 0
        self._wait = 0
        self._ready = False
        self._dark = False
        self._place = bytearray((0x00, 0x21, 0, WIDTH - 1, 0x22, 0, 0))  # columns 0 to 127, then the page
        self._line = bytearray(WIDTH + 1)
        self._line[0] = 0x40  # data follow

    def show(self, buffer: bytearray, dark: bool) -> None:
        """One tick: at most one page of `buffer` (1024 bytes, eight lines a page, lowest bit on top) that is not shown yet."""
        if self._wait:
            self._wait -= 1
            return
        try:
            if not self._ready:
                self._setup(dark)
            elif dark != self._dark:
                self._contrast(dark)
            else:
                self._send(buffer)
        except OSError:
            self._ready = False
            self._wait = _AGAIN_TICKS

    def _setup(self, dark: bool) -> None:
        self._bus.writeto(_ADDRESS, _SETUP)  # pyright: ignore[reportAttributeAccessIssue]
        self._contrast(dark)
        self._ready = True
        self._unknown = 0xFF

    def _contrast(self, dark: bool) -> None:
        self._bus.writeto(_ADDRESS, bytes((0x00, 0x81, _DARK if dark else _BRIGHT)))  # pyright: ignore[reportAttributeAccessIssue]
        self._dark = dark

    def _send(self, buffer: bytearray) -> None:
        if buffer is not self._buffer:
            self._buffer = buffer
            self._buffer_page = _pages(buffer)
        for _ in range(PAGES):
            page = self._page = (self._page + 1) % PAGES
            if self._unknown >> page & 1 or self._buffer_page[page] != self._shown_page[page]:
                self._place[5] = self._place[6] = page
                self._line[1:] = self._buffer_page[page]
                self._bus.writeto(_ADDRESS, self._place)  # pyright: ignore[reportAttributeAccessIssue]
                self._bus.writeto(_ADDRESS, self._line)  # pyright: ignore[reportAttributeAccessIssue]
                self._shown_page[page][:] = self._buffer_page[page]
                self._unknown &= ~(1 << page)
                return


def _pages(buffer: bytearray) -> list[memoryview]:
    """Views of the eight pages: comparing them copies nothing."""
    whole = memoryview(buffer)
    return [whole[at : at + WIDTH] for at in range(0, WIDTH * PAGES, WIDTH)]
