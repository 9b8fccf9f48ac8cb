"""A board at the end of a cable that somebody may pull: rows of telemetry, the board's words, and what happened to the line.

Only reading commands go out, and `clock` where it was asked for.
"""

from __future__ import annotations

import contextlib
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Protocol

import serial

from changeover.settings import defaults
from changeover.ticks import ticks_diff
from host_sim.errors import InputError
from host_sim.link_client import ByteStream, LinkClient, LinkError, LinkRefused, LinkSilent, Telemetry
from secondtank.flash_port import find_port

EVERY_TICKS = 2  # 5 rows a second: what the link carries beside answers
_EVERY_MS = 100 * EVERY_TICKS
_MOMENT_S = 0.05
_ANSWER_S = 1.0
_SILENT_S = 3.0
_WORDS_S = 1.0  # from one look at the board's own words to the next
_CREDITED_EVERY = 5
_AGAIN_S = 0.5


class Stream(ByteStream, Protocol):
    """An open port."""

    def close(self) -> None: ...


class Port:
    """A serial port or a pseudo-terminal of this machine; nobody else may have it open. Raises OSError."""

    def __init__(self, name: str) -> None:
        self._serial: Any = serial.Serial(name, timeout=_MOMENT_S, write_timeout=_ANSWER_S, exclusive=True)

    def read(self, size: int, /) -> bytes:
        """What came, at most `size` bytes; nothing after a moment."""
        return self._serial.read(min(size, max(self._serial.in_waiting, 1)))

    def write(self, data: bytes, /) -> object:
        """Send it all."""
        return self._serial.write(data)

    def close(self) -> None:
        """Give it back."""
        self._serial.close()


@dataclass(frozen=True)
class Board:
    """What a board says of itself. `start`: how often it has started; `law`: hash of its law's sources, where it knows one."""

    port: str
    version: str
    settings_hash: str
    start: int
    law: str
    values: dict[str, int]


@dataclass(frozen=True)
class Row:
    """A tick. `t_ms`: since the first row, by the board's clock; across a reset or a lost cable by this machine's."""

    t_ms: int
    told: Telemetry


@dataclass(frozen=True)
class Words:
    """Answers to `status`, `faults` and `credited`."""

    status: list[str]
    faults: list[str]
    credited: dict[str, int]


@dataclass(frozen=True)
class Event:
    """Something happened. `kind`: cable, silence, reset, clock, or note: the board's own word."""

    kind: str
    text: str


Item = Board | Row | Words | Event | None


def greet(client: LinkClient, port: str) -> Board:
    """Find the place on the link and ask who is there. Raises LinkError, OSError; InputError for a program of another kind."""
    client.sync()
    client.ask("watch 0")
    said = {name: value for name, _, value in (line.partition(" ") for line in client.ask("version"))}
    pairs = (line.split()[0].partition("=") for line in client.ask("get"))
    values = {name: int(value) for name, _, value in pairs}
    if "changeover" not in said or values.keys() != defaults().keys():
        other = sorted(values.keys() ^ defaults().keys())
        raise InputError(
            port,
            said.get("changeover"),
            f"a board whose settings this version knows; they differ in: {', '.join(other)}",
        )
    return Board(
        port, said["changeover"], said["settings"], int(said.get("start", 0)), said.get("law", "unknown"), values
    )


class Monitored:
    """`follow` yields what comes, for ever. `counts`: how often what happened: rows, missed, damaged, cable, silence, reset."""

    def __init__(self, wanted: str | None, set_clock: bool, open_port: Callable[[str], Stream] = Port) -> None:
        """`wanted`: the port, or None for the only board on USB."""
        self._wanted = wanted
        self._set_clock = set_clock
        self._open_port = open_port
        self._port: Stream | None = None
        self._client: LinkClient | None = None
        self._last: Row | None = None
        self._last_s = 0.0
        self._fresh = True  # the next row is the first since the line was found
        self._told_reset = False  # of that row
        self._answers = False
        self.board: Board | None = None
        self.counts: Counter[str] = Counter()

    def follow(self) -> Iterator[Item]:
        """Rows, words and events; None now and then while there is nothing. Raises InputError where no board answers at first."""
        self._open()
        while True:
            try:
                yield from self._attached()
            except OSError as error:
                self._must_have_answered(str(error))
                self.counts["cable"] += 1
                yield Event("cable", f"the port is gone ({error}): waiting for it")
                yield from self._wait_for_port()
            except LinkError as error:
                self._must_have_answered(str(error))
                if self._answers:
                    self._answers = False
                    self.counts["silence"] += 1
                    yield Event("silence", f"{error}: asking again")
                yield None

    def close(self) -> None:
        """End telemetry, give the port back."""
        if self._client is not None:
            with contextlib.suppress(OSError, LinkError):
                self._client.ask("watch 0")
        self._close_port()

    def _must_have_answered(self, why: str) -> None:
        if self.board is None:
            raise InputError(
                self._wanted or "USB", why, "a board with this program at the other end, and nobody else at this one"
            ) from None

    def _open(self) -> None:
        name = find_port(self._wanted, None)
        try:
            self._port = self._open_port(name)
        except OSError as error:
            raise InputError(name, str(error), "a serial port of this machine that nobody else has open") from None
        self._name = name

    def _close_port(self) -> None:
        if self._port is not None:
            with contextlib.suppress(OSError):
                self._port.close()
        self._port = self._client = None

    def _wait_for_port(self) -> Iterator[Item]:
        self._close_port()
        while self._port is None:
            yield None
            time.sleep(_AGAIN_S)
            with contextlib.suppress(InputError):
                self._open()

    def _attached(self) -> Iterator[Item]:
        assert self._port is not None
        client = self._client = LinkClient(self._port, _ANSWER_S)
        board = greet(client, self._name)
        before, self.board = self.board, board
        self._fresh = self._answers = True
        if before is not None and board.start != before.start:
            yield self._reset(f"the board has started again: start {board.start} after {before.start}")
        yield board
        if self._set_clock:
            yield tell_time(client)
        client.ask(f"watch {EVERY_TICKS}")
        damaged, words_in, looks = 0, 0.0, 0
        credited: dict[str, int] = {}
        heard_s = time.monotonic()
        while True:
            if time.monotonic() >= words_in:
                words_in = time.monotonic() + _WORDS_S
                if looks % _CREDITED_EVERY == 0:
                    credited = client.credited()
                looks += 1
                yield Words(client.ask("status"), client.ask("faults"), credited)
            client.listen()
            self.counts["damaged"] += client.damaged - damaged
            damaged = client.damaged
            while client.rows:
                heard_s = time.monotonic()
                yield from self._row(client.rows.popleft())
            while client.notes:
                yield Event("note", client.notes.popleft())
            if time.monotonic() - heard_s > _SILENT_S:
                raise LinkSilent("telemetry", f"none for {_SILENT_S:g} s")
            yield None

    def _row(self, told: Telemetry) -> Iterator[Item]:
        now_s, last = time.monotonic(), self._last
        if last is None:
            t_ms = 0
        else:
            step_ms = ticks_diff(told.tick_ms, last.told.tick_ms)
            if self._fresh:
                if step_ms <= 0 and not self._told_reset:
                    yield self._reset("the board's clock has begun anew")
                step_ms = max(round(1000 * (now_s - self._last_s)), 1)
            elif step_ms != _EVERY_MS:
                self.counts["missed"] += max(step_ms // _EVERY_MS - 1, 0)
            t_ms = last.t_ms + step_ms
        self._fresh = self._told_reset = False
        self._last, self._last_s = Row(t_ms, told), now_s
        self.counts["rows"] += 1
        yield self._last

    def _reset(self, text: str) -> Event:
        self.counts["reset"] += 1
        self._told_reset = True
        return Event("reset", text)


def tell_time(client: LinkClient) -> Event:
    """Tell the board this machine's time; what came of it."""
    now = datetime.now(UTC)
    try:
        client.set_clock(now)
    except LinkRefused as refused:
        return Event("clock", refused.why)
    return Event("clock", f"the trip log says that it is {now:%Y-%m-%d %H:%M:%S} UTC")
