"""The board at the end of a cable: which port, what its program says, how it is stopped and started."""

from __future__ import annotations

import contextlib
import io
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from mpremote.transport import TransportError
from mpremote.transport_serial import SerialTransport
from serial.tools import list_ports

from host_sim.errors import InputError
from host_sim.link_client import LinkClient, LinkSilent
from secondtank.flash_uf2 import SOURCE

USB_VENDOR = 0x2E8A  # Raspberry Pi's, which MicroPython uses (ports/rp2/mpconfigport.h)
_BACK_S = 15.0  # for a port to come back after the chip's reset
_ANSWER_S = 1.0
_STOPS = 3  # attempts


@dataclass(frozen=True)
class Said:
    """What the running program says of itself."""

    state: str
    key: bool
    engine: bool
    oil: bool
    bench: bool


def find_port(wanted: str | None, choose: Callable[[list[str]], int] | None) -> str:
    """The port that was named, else the one of the only board. `choose` asks a person: the place in the list. Raises InputError."""
    if wanted is not None:
        return wanted
    ports = sorted(port.device for port in list_ports.comports() if port.vid == USB_VENDOR)
    if not ports:
        raise InputError(
            "USB",
            "no board with MicroPython",
            f"one on a cable that carries data, or --port; a board without MicroPython needs --uf2 FILE first, from {SOURCE}",
        )
    if len(ports) == 1:
        return ports[0]
    if choose is None:
        raise InputError("USB", f"{len(ports)} boards: {', '.join(ports)}", "--port with one of them")
    return ports[choose(ports)]


def ask_program(client: LinkClient) -> Said | None:
    """Its state; None where no program answers. Raises InputError for an answer that cannot be read."""
    try:
        client.sync()
        lines = client.ask("status")
    except LinkSilent:
        return None
    except OSError as error:
        raise InputError(
            "the board, while its program is asked", str(error), "a board that answers to the end"
        ) from None
    by_word = {line.split()[0]: line for line in lines if line}
    diesel, oil = "the lines hold diesel" in lines, any(line.startswith("oil may be in the lines") for line in lines)
    if "state" not in by_word or "key" not in by_word or diesel == oil:
        raise InputError("the board's answer to status", " / ".join(lines), "state, key and what the lines hold")
    key = by_word["key"]
    return Said(
        by_word["state"].split()[1], not key.startswith("key off"), "engine stopped" not in key, oil, "bench" in by_word
    )


class _Stream:
    """The transport's port as the link's client reads it."""

    def __init__(self, transport: SerialTransport) -> None:
        self._serial: Any = transport.serial

    def read(self, size: int, /) -> bytes:
        waiting = self._serial.inWaiting()
        if not waiting:
            time.sleep(0.02)
            return b""
        return self._serial.read(min(size, waiting))

    def write(self, data: bytes, /) -> object:
        return self._serial.write(data)


class Session:
    """One board's port, open. After `stop` its `transport` does what it is told; `start` lets the program run again."""

    def __init__(self, port: str) -> None:
        """Raises InputError where the port cannot be opened."""
        self.port = port
        self.stopped = False
        try:
            self.transport = self._open()
        except (TransportError, OSError) as error:
            raise InputError(
                port, str(error), "a serial port of this machine that you may use and nobody else has open"
            ) from None

    def _open(self) -> SerialTransport:
        return SerialTransport(self.port, timeout=10)

    def client(self) -> LinkClient:
        """The program's link."""
        return LinkClient(_Stream(self.transport), _ANSWER_S)

    def stop(self) -> None:
        """To MicroPython's raw prompt. A program under its watchdog answers the first interrupt by the chip's reset; within 8 s
        of that start, key off, the second one leaves it stopped. Raises InputError."""
        why = ""
        for _ in range(_STOPS):
            self.stopped = True
            try:
                with contextlib.redirect_stdout(io.StringIO()):  # mpremote prints what it did not expect
                    self.transport.enter_raw_repl(soft_reset=True)
                return
            except (TransportError, OSError) as error:
                why = str(error)
                self._reopen()
        raise InputError(
            self.port, why, "MicroPython's prompt: unplug the board, plug it in, try again with the key off"
        )

    def _reopen(self) -> None:
        with contextlib.suppress(OSError, TransportError):
            self.transport.close()
        end_s = time.monotonic() + _BACK_S
        while True:
            time.sleep(0.3)
            try:
                self.transport = self._open()
                return
            except (TransportError, OSError) as error:
                if time.monotonic() > end_s:
                    raise InputError(self.port, str(error), f"the port back within {_BACK_S:g} s") from None

    def start(self) -> None:
        """The chip's reset, asked for: the program that is there starts. Where the board hears no more, its guard does it."""
        if self.stopped:
            self.stopped = False
            with contextlib.suppress(OSError, TransportError), contextlib.redirect_stdout(io.StringIO()):
                self.transport.enter_raw_repl(soft_reset=False)  # ends what was broken off
                self.transport.exec_raw_no_follow("import machine\nmachine.reset()")

    def greet(self) -> list[str]:
        """After `start`: what the program says of its version and state. Raises InputError where it stays silent."""
        end_s = time.monotonic() + _BACK_S
        while True:
            try:
                self._reopen()
                client = self.client()
                client.sync()
                return [*client.ask("version"), *client.ask("status")[:2]]
            except (LinkSilent, OSError) as error:
                if time.monotonic() > end_s:
                    raise InputError(
                        self.port,
                        str(error),
                        "the new program's answer; until it runs, the car is on diesel: look at the red lamp",
                    ) from None

    def close(self) -> None:
        """Give the port back."""
        with contextlib.suppress(OSError, TransportError):
            self.transport.close()
