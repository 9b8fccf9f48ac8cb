"""A board in this process: the firmware's own program, every file of it but the driver, ticking in a thread by the clock."""

from __future__ import annotations

import contextlib
import gc
import tempfile
import threading
import time
from typing import Any

import host_sim.firmware_files  # noqa: F401  the program's files, by their own names
import store
from app import App
from causes import POWER_ON
from changeover.inputs import RETURN_CONTACT, SUPPLY_CONTACT
from changeover.law import Law
from changeover.memory import Record
from changeover.ticks import MASK_MS
from host_sim.signals import NTC_CHANNELS, TOP_COUNTS
from pins import RETURN_VALVE, SUPPLY_VALVE
from secondtank.bench.stand import AT_REST, Scales

TICK_S = 0.1
USB_ROOM = 256  # bytes a tick that the board's own port sends
_KEPT = 65536  # bytes that wait for a host


class VirtualPins:
    """What the program knows as its board. `own_counts`, `own_levels`: what its sensors and contacts read; valve contacts follow."""

    last_state = last_tick = 0

    def __init__(self, own_counts: list[int], own_levels: list[bool], port: VirtualBoard) -> None:
        self.own_counts, self.own_levels = own_counts, own_levels
        self.counts = list(own_counts)
        self.levels = list(own_levels)
        self.forced = -1
        self.masked = False
        self.hold_percent = 100
        self._port = port

    def cause(self) -> int:
        return POWER_ON

    def read(self) -> None:
        self.counts[:] = self.own_counts
        self.levels[:] = self.own_levels

    def write(self, law: Law) -> None:
        self.own_levels[SUPPLY_CONTACT] = law.machine.supply_on or self.forced == SUPPLY_VALVE
        self.own_levels[RETURN_CONTACT] = law.machine.return_on or self.forced == RETURN_VALVE

    def remember(self, state: int, tick: int) -> None:
        """Nothing outlives a life here but flash."""

    def show(self, buffer: bytearray) -> None:
        self._port.shown = buffer

    def serial_room(self) -> int:
        return USB_ROOM if len(self._port.to_host) < _KEPT else 0

    def serial_read(self, into: bytearray) -> int:
        return self._port.take(into)

    def serial_write(self, data: bytes) -> int:
        return self._port.give(data)


class VirtualBoard:
    """A `Port` and its `Hands`. `shown`: the picture on its display."""

    name = "a board in this program"

    def __init__(self, values: dict[str, int], tick_s: float = TICK_S) -> None:
        """`values`: settings that its flash holds at first; the lines hold diesel. It runs from now on, until `close`; `tick_s`: what
        a tick takes of the clock."""
        self._tick_s = tick_s
        self.shown: bytearray | bytes = b""
        self.to_host = bytearray()
        self._from_host = bytearray()
        self._news = threading.Condition()
        self._openings = 0
        self._cable = 0  # which of the host's openings is the one in force; 0: none
        self._plugged = True
        self._flash = tempfile.TemporaryDirectory(prefix="flash-")
        store.save_settings(self._flash.name, values)
        record = Record()
        record.oil_in_lines = False
        for _ in range(2):  # a board that has driven before has both slots
            data = record.encode()
            store.write_slot(self._flash.name, record.slot(), data)
        self._counts = Scales(values).counts(AT_REST)
        self._broken: dict[int, int] = {}
        self._boot()
        gc.collect()
        gc.freeze()  # the program collects once a second: that must not look at all of this process each time
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="virtual board", daemon=True)
        self._thread.start()

    @property
    def hands(self) -> VirtualBoard:
        """It has its own."""
        return self

    def _boot(self) -> None:
        self.pins = VirtualPins(list(self._counts), [False] * 10, self)
        pins: Any = self.pins
        self.app = App(pins, self._flash.name)
        self._now_ms = 0

    def _run(self) -> None:
        due_s = time.monotonic()
        while not self._over.is_set():
            with self._news:
                self.app.tick(self._now_ms)
                self._now_ms = (self._now_ms + round(1000 * TICK_S)) & MASK_MS
                self._news.notify_all()
            due_s = max(due_s + self._tick_s, time.monotonic())  # what is late is not made up for by a burst
            self._over.wait(max(0.0, due_s - time.monotonic()))

    def close(self) -> None:
        """The end of board and flash."""
        self._over.set()
        self._thread.join()
        self._flash.cleanup()

    # as the program's serial port

    def take(self, into: bytearray) -> int:
        count = min(len(into), len(self._from_host))
        into[:count] = self._from_host[:count]
        del self._from_host[:count]
        return count

    def give(self, data: bytes) -> int:
        if self._cable:
            self.to_host += data[:USB_ROOM]
        return len(data[:USB_ROOM])

    # as the host's

    def open(self) -> _Opened:
        """For the newest opening alone. OSError while the cable is out."""
        with self._news:
            if not self._plugged:
                raise OSError("the cable is out")
            self._openings += 1
            self._cable = self._openings
            self.to_host.clear()
            return _Opened(self, self._cable)

    def exchange(self, cable: int, size: int, data: bytes | None) -> bytes:
        """Put `data` in, or wait a moment for what comes."""
        with self._news:
            if data is None and cable == self._cable and not self.to_host:
                self._news.wait(0.05)
            if cable != self._cable or not self._plugged:
                raise OSError("the cable is out")
            if data is not None:
                self._from_host += data
                return b""
            out = bytes(self.to_host[:size])
            del self.to_host[:size]
            return out

    def cable(self, plugged: bool) -> None:
        """Pull the cable out, or put it back; the board goes on."""
        with self._news:
            self._plugged = plugged

    # as hands

    def level(self, index: int, on: bool) -> None:
        """Close a contact, or open it."""
        with self._news:
            self.pins.own_levels[index] = on

    def unplug(self, channel: int, broken: bool) -> None:
        """A sensor's plug off, or on again."""
        with self._news:
            self.reads(channel, (TOP_COUNTS if channel in NTC_CHANNELS else 0) if broken else self._counts[channel])

    def reads(self, channel: int, counts: int) -> None:
        """Let a channel read this."""
        self.pins.own_counts[channel] = counts

    def restart(self) -> None:
        """Feed off and on: whoever has the port open loses it."""
        with self._news:
            self._cable = 0
            self._from_host.clear()
            self._boot()


class _Opened:
    def __init__(self, board: VirtualBoard, cable: int) -> None:
        self._board = board
        self._cable = cable

    def read(self, size: int, /) -> bytes:
        return self._board.exchange(self._cable, size, None)

    def write(self, data: bytes, /) -> None:
        self._board.exchange(self._cable, 0, data)

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._board.exchange(self._cable, 0, b"\n")
