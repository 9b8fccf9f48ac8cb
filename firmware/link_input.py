"""Bytes of the link into lines: bounded, and in step again at the next line end, whatever came before it."""

from link_lines import MOST, Refused

WAITING = 4  # lines taken and not yet done
STOP = ""
_CR, _LF, _BACKSPACE, _DELETE = 13, 10, 8, 127


class LinkInput:
    """`lines`: what came and waits: text, STOP for an empty line, a Refused for what is none. `lost`: how many lines there
    was no place for."""

    def __init__(self) -> None:
        self.lines: "list[str | Refused]" = []
        self.lost = 0
        self._line = bytearray(MOST)
        self._length = 0
        self._wrong = ""
        self._after_cr = False

    def take(self, data: "bytes | bytearray | memoryview") -> None:
        """Bytes that came. A line ends with CR, LF or both."""
        for byte in data:
            after_cr = self._after_cr
            self._after_cr = byte == _CR
            if byte == _CR or byte == _LF:
                if not (byte == _LF and after_cr):
                    self._end()
            elif byte == _BACKSPACE or byte == _DELETE:
                self._length = max(self._length - 1, 0)
            elif byte < 32 or byte > 126:
                self._wrong = "this line has bytes that are no ASCII text"
            elif self._length == MOST:
                self._wrong = "a line has at most %d characters" % MOST
            else:
                self._line[self._length] = byte
                self._length += 1

    def _end(self) -> None:
        text = bytes(self._line[: self._length]).decode().strip()
        wrong = self._wrong
        self._length = 0
        self._wrong = ""
        if not text and not wrong:
            if len(self.lines) <= WAITING and STOP not in self.lines[-1:]:
                self.lines.append(STOP)  # ends a long answer, also one that has yet to begin
        elif len(self.lines) < WAITING:
            self.lines.append(Refused(wrong) if wrong else text)
        else:
            self.lost += 1
