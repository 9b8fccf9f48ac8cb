"""The serial link: one text line a message, in and out. Never waits, bounded both ways; `docs/link.md` is its page.

A line in gets one last line out, `ok NAME ...` or `error NAME: ...`, after the lines of its answer. Unasked come `tick`
and `raw` (telemetry) and `note`.
"""

from link_bench import Bench
from link_commands import Commands
from link_input import STOP, LinkInput
from link_lines import MOST, Refused, folded, plain, short, stamped, unstamped
from link_report import raw_line, tick_line
from link_table import CHANGES, row

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from app import App

_A_POLL, _LINES_A_POLL = 256, 2  # bytes, however much room there is, and lines begun: an eighth of a tick each
_NOTES, _A_ROW = 4, 2  # lines


class Link:
    """`take` what came, `poll` for what goes, `tick` once a tick; `bench.step` gives the law that drives the pins.

    Of the app it uses `law`, `values`, `valid`, `folder`, `board.levels`, `board.counts`, `journal`, `service`.
    """

    def __init__(self, app: "App") -> None:
        self._app = app
        self._input = LinkInput()
        self.bench = Bench(app)
        self.commands = Commands(app, self.bench, self._input)
        self._answer: "Iterator[str] | None" = None
        self._name = ""  # of the command whose last line is still to come
        self._out: "list[str]" = []
        self._watched: "list[str]" = []
        self._wait_ticks = 0
        self._talk_first = False
        self._room = 0
        self._sending = bytearray()  # the rest of a line that was cut

    def take(self, data: "bytes | bytearray | memoryview") -> None:
        """Bytes that came; lines that are too many are dropped and counted."""
        self._input.take(data)

    def tick(self, now_ms: int) -> None:
        """After the pins are written: a note when the bench ended, and telemetry, a row unless the last two still wait."""
        if self.bench.ended:
            if len(self._out) < _NOTES:
                self._out.append("note bench ended: " + self.bench.ended)
            else:
                self.commands.lost_out += 1
            self.bench.ended = ""
        every = self.commands.every_ticks
        if every == 0:
            self._watched = []
            return
        self._wait_ticks += 1
        if self._wait_ticks < every:
            return
        self._wait_ticks = 0
        if len(self._watched) > _A_ROW:
            self.commands.lost_out += 1  # a row under way stays whole
            return
        bench = self.bench.law
        source = self._app.board if bench is None else self.bench
        self._watched.append(tick_line(now_ms, bench or self._app.law))
        self._watched.append(raw_line(now_ms, source.counts, source.levels, self.commands.lost_out))

    def poll(self, room: int) -> bytes:
        """At most `room` bytes to send; a line that is cut there goes on in the next poll. Talk and telemetry take turns
        at going first.

        What finds no room waits, and so do the lines that came: nothing is done whose answer could not be kept.
        """
        self._room = min(room, _A_POLL)
        self._talk_first = not self._talk_first
        if self._talk_first:
            self._talk()
        self._send(self._watched)
        if not self._talk_first:
            self._talk()
        out = bytes(self._sending[: self._room])
        self._sending = self._sending[self._room :]
        return out

    def _send(self, lines: "list[str]") -> bool:
        """Lines, as far as there is room, the last perhaps beyond it; true while there is more room."""
        while lines and len(self._sending) < self._room:
            self._sending.extend(lines.pop(0).encode() + b"\n")
        return len(self._sending) < self._room

    def _talk(self) -> None:
        done = 0
        waiting = self._input.lines
        while self._send(self._out):
            if self._name and STOP in waiting:
                self._answer = None
                self._out.append(self._last("error %s: stopped" % self._name))
            elif self._answer is not None:
                self._read_on(self._answer)
            elif waiting and done < _LINES_A_POLL:
                done += 1
                line = waiting.pop(0)
                self._answer = None if line == STOP else self._answered(line)
            else:
                return

    def _read_on(self, answer: "Iterator[str]") -> None:
        try:
            self._out.append(next(answer))
        except StopIteration:
            self._answer = None

    def _last(self, text: str) -> str:
        """The last line of an answer, which is one line whatever it says."""
        self._name = ""
        return plain(text)[:MOST]

    def _answered(self, line: "str | Refused") -> "Iterator[str]":
        """Do one line: every line of its answer."""
        self._name = "?"
        try:
            last = yield from self._done(line)
            yield self._last(("ok %s %s" % (self._name, last)).rstrip())
        except Refused as refused:
            for text in refused.more:
                yield from folded(text, False)
            yield self._last("error %s: %s" % (self._name, refused.why))
        except (OSError, MemoryError):
            yield self._last("error %s: flash cannot be read, or memory is short" % self._name)

    def _done(self, line: "str | Refused") -> "Iterator[str]":
        if not isinstance(line, str):
            raise line
        text, stamp = unstamped(line)
        words = text.split() or ["?"]
        self._name = short(words[0])
        if row(words[0])[CHANGES] and not stamp and text != "bench off":
            raise Refused("it changes something: send it with its checksum, as above", [stamped(text)])
        answer = self.commands.run(words[0], words[1:])
        if isinstance(answer, str):
            return answer
        stamp = words[0] == "journal"
        for text in answer:
            yield from folded(text, stamp)
        return ""
