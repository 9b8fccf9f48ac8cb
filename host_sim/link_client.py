"""The serial link from a host's side: questions and answers, telemetry, bench input, over any stream of bytes.

The protocol is that of `docs/link.md`. The checksum is the standard library's, so it checks the board's own.
"""

from __future__ import annotations

import binascii
import os
import select
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from changeover.states import STATES
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES

_KEPT = 4096  # rows of telemetry and notes; the oldest go first
_LONGEST = 4096  # bytes without a line end before they are given up
_SYNCS = 5
_ANSWER_KEPT = 200  # lines of a long answer that are told with its refusal
_OUT = ("supply", "return", "heater", "run_on", "power", "red", "amber", "green", "buzzer")


class LinkError(Exception):
    """The link did not do what was asked: `asked`, and in the text what came instead."""

    def __init__(self, asked: str, found: str) -> None:
        super().__init__(f"{asked}: {found}")
        self.asked = asked


class LinkRefused(LinkError):
    """The board answered with an error; `lines` are those before it."""

    def __init__(self, asked: str, why: str, lines: list[str]) -> None:
        super().__init__(asked, "; ".join([why, *lines]))
        self.why = why
        self.lines = lines


class LinkSilent(LinkError):
    """No last line within the time."""


class ByteStream(Protocol):
    """A port: `read` gives what came, after a moment b"" if nothing did; `write` takes all of it."""

    def read(self, size: int, /) -> bytes: ...

    def write(self, data: bytes, /) -> object: ...


class Terminal:
    """A serial port or a pseudo-terminal of this machine, by its path, as a stream of bytes."""

    def __init__(self, path: str | Path, moment_s: float = 0.05) -> None:
        """Opens it raw; OSError where it cannot be. `moment_s`: how long `read` waits."""
        import tty  # no module of Windows, where pyserial has the ports

        self._moment_s = moment_s
        self._handle = os.open(path, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self._handle)

    def read(self, size: int, /) -> bytes:
        """What came, at most `size` bytes."""
        ready, _, _ = select.select([self._handle], [], [], self._moment_s)
        return os.read(self._handle, size) if ready else b""

    def write(self, data: bytes, /) -> None:
        """Send it all; may block while the other side takes nothing."""
        while data:
            data = data[os.write(self._handle, data) :]

    def close(self) -> None:
        """Give the port back."""
        os.close(self._handle)


def stamped(text: str) -> str:
    """A line with its checksum: CRC-16/XMODEM."""
    return f"{text} *{binascii.crc_hqx(text.strip().encode(), 0):04X}"


def unstamped(line: str) -> str | None:
    """The line without its checksum; None where that is missing or wrong."""
    text, star, digits = line.rpartition("*")
    right = bool(star) and digits == f"{binascii.crc_hqx(text.strip().encode(), 0):04X}"
    return text.rstrip() if right else None


@dataclass(frozen=True)
class Telemetry:
    """One tick of the board: what its law was given and what it decided. `out` holds 0 or 1, lamps and buzzer a pattern."""

    tick_ms: int
    state: str
    out: dict[str, int]
    message: int
    reason: int
    blocked: int
    forced: int
    fill_ul: int
    credit_ul: int
    counts: tuple[int, ...]
    levels: tuple[bool, ...]
    lost: int


def telemetry(tick: str, raw: str) -> Telemetry:
    """A `tick` line and its `raw` line, without their checksums. Raises ValueError where they are not a pair."""
    word, tick_ms, state, *pairs = tick.split()
    kind, raw_ms, *words = raw.split()
    named = dict(pair.split("=") for pair in [*pairs, *words[len(ANALOG_NAMES) :]])
    if (
        (word, kind) != ("tick", "raw")
        or raw_ms != tick_ms
        or state not in STATES
        or len(named["in"]) != len(DIGITAL_NAMES)
    ):
        raise ValueError(f"no pair of telemetry: {tick!r}, {raw!r}")
    return Telemetry(
        int(tick_ms), state, dict(zip(_OUT, map(int, named["out"]), strict=True)), int(named["msg"]), int(named["why"]),
        int(named["blocked"], 16), int(named["forced"], 16), int(named["fill"]), int(named["credit"]),
        tuple(map(int, words[: len(ANALOG_NAMES)])), tuple(bit == "1" for bit in named["in"]), int(named["lost"]),
    )  # fmt: skip


class LinkClient:
    """One conversation. `rows` and `notes` collect what comes unasked, `damaged` counts lines whose checksum is wrong."""

    def __init__(self, stream: ByteStream, timeout_s: float = 3.0, clock: Callable[[], float] = time.monotonic) -> None:
        """`clock` gives s: another one than the machine's where the board's time is simulated."""
        self._stream = stream
        self._timeout_s = timeout_s
        self._clock = clock
        self._coming = b""
        self._lines: deque[str] = deque()
        self._tick = ""
        self._token = 0
        self.rows: deque[Telemetry] = deque(maxlen=_KEPT)
        self.notes: deque[str] = deque(maxlen=_KEPT)
        self.damaged = 0

    def sync(self) -> None:
        """Find the place again, whatever was said before: LinkSilent where nobody answers."""
        for _ in range(_SYNCS):
            self._token += 1
            word = f"sync{self._token}"
            self._stream.write(f"\necho {word}\n".encode())
            deadline_s = self._clock() + self._timeout_s
            while (line := self._line(deadline_s)) is not None:
                if line == f"ok echo {word}":
                    return
        raise LinkSilent("echo", f"no answer in {_SYNCS} times {self._timeout_s} s")

    def ask(self, text: str) -> list[str]:
        """The lines of the answer; what the last one says beyond `ok NAME` is the last of them.

        Raises LinkRefused for an error, LinkSilent after the time-out: `sync` then finds the place again.
        """
        return list(self.lines(text))

    def lines(self, text: str) -> Iterator[str]:
        """As `ask`, line by line as they come. Who stops early calls `sync`: that stops the board, too."""
        name = text.split()[0]
        self._stream.write(text.encode() + b"\n")
        deadline_s = self._clock() + self._timeout_s
        before: deque[str] = deque(maxlen=_ANSWER_KEPT)
        while (line := self._line(deadline_s)) is not None:
            if line == f"ok {name}":
                return
            if line.startswith(f"ok {name} "):
                yield line.removeprefix(f"ok {name} ")
                return
            if line.startswith(("ok ", "error ")):
                raise LinkRefused(text, line, list(before))
            before.append(line)
            yield line
            deadline_s = self._clock() + self._timeout_s  # a long answer is not a slow one
        raise LinkSilent(text, f"no last line for {self._timeout_s} s")

    def change(self, text: str) -> list[str]:
        """As `ask`, for a line that changes something."""
        return self.ask(stamped(text))

    def set_clock(self, now: datetime) -> None:
        """Tell the board, for its trip log, what time it is. LinkRefused within a minute of the last time; ValueError without a
        time zone."""
        if now.tzinfo is None:
            raise ValueError("a moment without a time zone is no moment")
        self.change(f"clock {now.astimezone(UTC):%Y-%m-%d %H:%M:%S}")

    def credited(self) -> dict[str, int]:
        """The season's totals: oil_s, diesel_s, oil_ml, purge_ml, purges, trips."""
        return {name: int(value) for name, _, value in (line.partition("=") for line in self.ask("credited"))}

    def listen(self) -> None:
        """Take what came, waiting for a moment where nothing did: `rows` and `notes` have it."""
        self._read()

    def feed(self, counts: Sequence[int], levels: Sequence[bool]) -> None:
        """Bench input: what the sensors read from now on, for a second at most."""
        self.change(f"bench {' '.join(map(str, counts))} {''.join('01'[level] for level in levels)}")

    def log(self, block: int = 0) -> list[str]:
        """The journal's lines from a block on. Raises LinkError where a line came damaged."""
        lines = self.ask(f"journal {block}")
        plain = [text for line in lines if (text := unstamped(line)) is not None]
        if len(plain) < len(lines):
            raise LinkError("journal", f"{len(lines) - len(plain)} damaged lines of {len(lines)}")
        return plain

    def watch(self, every_ticks: int) -> Iterator[Telemetry]:
        """Telemetry, every so many ticks, until the iterator is closed. LinkSilent when none comes for the time-out."""
        self.ask(f"watch {every_ticks}")
        try:
            deadline_s = self._clock() + self._timeout_s
            while self._clock() < deadline_s:
                while self.rows:
                    yield self.rows.popleft()
                    deadline_s = self._clock() + self._timeout_s
                self._read()
            raise LinkSilent("watch", f"no telemetry for {self._timeout_s} s")
        finally:
            self.ask("watch 0")

    def _line(self, deadline_s: float) -> str | None:
        """The next line of an answer, None after the deadline."""
        while not self._lines:
            if self._clock() >= deadline_s:
                return None
            self._read()
        return self._lines.popleft()

    def _read(self) -> None:
        """Whatever came, sorted."""
        *lines, self._coming = (self._coming + self._stream.read(4096)).split(b"\n")
        self._coming = self._coming[-_LONGEST:]
        for line in lines:
            self._sort(line.decode("ascii", "replace").strip())

    def _sort(self, line: str) -> None:
        kind = line.partition(" ")[0]
        if kind == "note":
            self.notes.append(line.removeprefix("note "))
        elif kind not in ("tick", "raw"):
            self._lines.append(line)
        elif (text := unstamped(line)) is None:
            self.damaged += 1
        elif kind == "tick":
            self._tick = text
        else:
            self._pair(text)

    def _pair(self, raw: str) -> None:
        try:
            self.rows.append(telemetry(self._tick, raw))
        except (ValueError, KeyError):
            self.damaged += 1  # its tick line had no room, or was damaged
