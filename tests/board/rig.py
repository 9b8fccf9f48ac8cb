"""The firmware under the Unix port: in the simulated car beside the law in this process, or alone on wires that a test holds."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import store
from changeover.inputs import BONNET, BRAKE, ENGINE, KEY, NEUTRAL, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.memory import Record, choose
from changeover.states import STATES
from host_sim.drive import Drive
from host_sim.loop import Move
from host_sim.profile import load_profile
from host_sim.signals import from_physical
from host_sim.unix_port import program
from host_sim.unix_port.board import FIRST_BUS_CHANNEL, REFERENCE_CODE, ConvertedBoard, UnixBoard, code_of
from host_sim.unix_port.program import FIRMWARE, Program, Reply, Wires
from host_sim.unix_port.terminal import Terminal
from pins import OUTPUTS, gpio

SMALL = ("path_ul=60000", "purge_factor_permille=1500", "dwell_diesel_s=10")  # fill 1.1 s, purge 12 s
WARM = (88.0, 80.0, 5.0, 80.0, 60.0, 0.6, 0.6, 14.2, 20.0, 100.0)  # degC, kPa, level, V: in the law's order
PERIOD_MS = 1 << 30


def in_process(drive: Drive) -> list[Move]:
    """The moves of a drive whose board is this process's own, behind the real board's converters."""
    ConvertedBoard.convert(drive.board)
    drive.run()
    return drive.totals.moves


def by_firmware(drive: Drive, interpreter: Path, flash: Path, before_wrap_ms: int = 0) -> list[Move]:
    """The same with the firmware behind the pins, whose clock wraps so long after each start (0: not at all)."""
    board = UnixBoard.convert(drive.board)
    board.plug(interpreter, flash, first_ms=PERIOD_MS - before_wrap_ms if before_wrap_ms else 0)
    try:
        drive.run()
    finally:
        board.unplug()
    return drive.totals.moves


def copy_of_firmware(folder: Path, edits: Mapping[str, tuple[str, str]]) -> Path:
    """The firmware's files, with one piece of text in a file replaced by another."""
    shutil.copytree(FIRMWARE, folder, ignore=shutil.ignore_patterns("__pycache__"))
    for name, (old, new) in edits.items():
        text = (folder / name).read_text()
        assert text.count(old) == 1, name
        (folder / name).write_text(text.replace(old, new))
    return folder


class Pico:
    """A board in a warm car whose wires a test holds. `contacts`: the law's ten; valve contacts follow the pins by themselves."""

    def __init__(
        self, interpreter: Path, flash: Path, firmware: Path = FIRMWARE, changes: tuple[str, ...] = SMALL
    ) -> None:
        self.interpreter = interpreter
        self.flash = flash
        self.firmware = firmware
        self.terminal = Terminal()
        self.wires = Wires(contacts=[False] * 10)
        self.contacts = [False] * 10
        self.contacts[BRAKE] = self.contacts[NEUTRAL] = self.contacts[BONNET] = True
        self.reads(WARM)
        self.now_ms = 0
        self.reply: Reply | None = None
        self.program: Program | None = None
        self._heard = b""
        if store.load_settings(str(flash))[1]:
            assert store.save_settings(str(flash), load_profile("full_guard", changes))
            record = Record()
            record.oil_in_lines = False
            for _ in range(2):
                data = record.encode()
                assert store.write_slot(str(flash), record.slot(), data)

    def reads(self, values: tuple[float, ...]) -> None:
        """What the sensors show, in physical units, the law's order."""
        raw = [from_physical(channel, value) for channel, value in enumerate(values)]
        self.wires.sums = raw[:FIRST_BUS_CHANNEL]
        self.wires.codes = [*map(code_of, raw[FIRST_BUS_CHANNEL:]), REFERENCE_CODE]

    def boot(self, reason: int = program.POWER_ON) -> None:
        """A new life; after a reset the registers hold what the last one left."""
        last = self.reply
        scratch = (last.note, last.state, last.tick) if reason and last else (0, 0, 0)
        self.kill()
        self.program = Program(self.interpreter, self.flash, self.terminal, reason, scratch, self.firmware)
        self.reply = None

    def kill(self) -> None:
        """No feed."""
        if self.program is not None:
            self.program.close()
        self.program = None

    def close(self) -> None:
        """The end."""
        self.kill()
        self.terminal.close()

    def set_wires(self) -> Wires:
        """The wires as they stand for the next tick."""
        self.contacts[SUPPLY_CONTACT] = self.on("supply_valve")
        self.contacts[RETURN_CONTACT] = self.on("return_valve")
        self.wires.contacts = self.contacts
        return self.wires

    def tick(self, kind: int = program.TICK) -> Reply:
        """One tick."""
        assert self.program is not None
        assert self.reply is None or not self.reply.flags & program.DOWN, "a board that went down is booted first"
        self.reply = self.program.exchange(self.now_ms, self.set_wires(), kind)
        self.now_ms += 100
        return self.reply

    def run(self, seconds: float) -> Reply:
        """Ticks."""
        for _ in range(round(10 * seconds)):
            self.tick()
        assert self.reply is not None
        return self.reply

    def until(self, what: Callable[[Reply], object], seconds: float) -> Reply:
        """Ticks until this holds."""
        for _ in range(round(10 * seconds)):
            if what(self.tick()):
                assert self.reply is not None
                return self.reply
        raise AssertionError(f"not in {seconds} s; {self.state}, {self.reply}")

    def start(self) -> Reply:
        """Boot, key, engine, selector on READY, until oil is on."""
        self.boot()
        self.contacts[KEY] = True
        self.run(1)
        self.contacts[ENGINE] = self.contacts[READY] = True
        return self.until(lambda _: self.state == "ON_OIL", 40)

    def on(self, name: str) -> bool:
        """Is this output energised?"""
        if self.reply is None:
            return False
        lamps = {"red": self.reply.red, "amber": self.reply.amber, "green": self.reply.green}
        return lamps[name] > 0 if name in lamps else self.reply.levels >> gpio(name) & 1 == 1

    @property
    def energised(self) -> list[str]:
        """All outputs that are on."""
        return [name for name in OUTPUTS if self.on(name)]

    @property
    def state(self) -> str:
        """The law's state, from the register that survives a reset."""
        assert self.reply is not None
        return STATES[self.reply.state]

    def record(self) -> Record:
        """What a restart would read."""
        return choose(store.read_slots(str(self.flash)))

    def ask(self, line: str, last: str = "ok ") -> list[str]:
        """Type a line and let ticks go by until its answer ends."""
        self.terminal.write(line.encode() + b"\n")
        lines: list[str] = []
        for _ in range(200):
            self.tick()
            *whole, self._heard = (self._heard + self.terminal.read()).split(b"\n")
            lines += [text.decode() for text in whole]
            if lines and lines[-1].startswith((last, "error ")):
                return lines
        raise AssertionError(f"no end of the answer to {line!r}: {lines}")


def real_ms(act: Callable[[], object]) -> float:
    """How long it takes by the wall's clock."""
    began = time.monotonic()
    act()
    return 1000.0 * (time.monotonic() - began)
