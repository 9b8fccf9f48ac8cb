"""A virtual board whose pins are driven by the firmware itself, tick for tick beside the law in this process.

The law here goes on reading what the firmware reads: it tells the judges and the driver what the board shows, and each tick its
commands, its state and its records are held against what came out of the pins, the registers and the flash.

What differs from a board of metal, in both alike: the program's start takes no time (a Pico takes about a second, while the driver
still glows), a tick's work ends at the instant it began, and a write to flash stops nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import store
from causes import ASKED, POWER_ON, WATCHDOG, unexpected
from changeover.law import Law
from changeover.memory import Record, choose, decode
from changeover.sensing import NO_ANSWER
from changeover.states import STATES
from converters import REFERENCE, counts
from host_sim.signals import PICO_CHANNELS
from host_sim.unix_port import program
from host_sim.unix_port.program import FIRMWARE, Lost, Program, Reply, Wires
from host_sim.unix_port.terminal import Terminal
from host_sim.virtual_board import VirtualBoard
from pins import FILTER_HEATER, OUT, POWER_HOLD, RETURN_VALVE, RUN_ON, SUPPLY_VALVE, gpios

if TYPE_CHECKING:
    from typing import Self

FIRST_BUS_CHANNEL = len(PICO_CHANNELS)
REFERENCE_CODE = 26400  # 3.3 V of 4.096 V
_OUTPUTS = gpios(OUT)


class Diverged(Exception):
    """The firmware did something else than the law in this process."""


def code_of(raw: int) -> int:
    """Code of the bus's converter for a reading of 0 to 65535, to the nearest."""
    return (raw * REFERENCE_CODE + 32767) // 65534


def as_read(raw: list[int]) -> list[int]:
    """Readings as they pass the bus's converters: those of the chip's own are what they were, the others lose their last bit or two."""
    return raw[:FIRST_BUS_CHANNEL] + [
        value if value == NO_ANSWER else counts(code_of(value), REFERENCE_CODE) for value in raw[FIRST_BUS_CHANNEL:]
    ]


class LawBehindConverters(Law):
    """The law, reading by way of the converters' resolution."""

    def step(self, now_ms: int, counts: list[int], levels: list[bool]) -> None:
        """One tick."""
        super().step(now_ms, as_read(counts), levels)


class ConvertedBoard(VirtualBoard):
    """The virtual board with the real one's converters: what a board that runs the firmware must equal."""

    def _fresh_law(self, restarted: bool = False) -> Law:
        return LawBehindConverters(self.values, choose(self.slots), self.valid and not self.settings_damaged, restarted)

    @classmethod
    def convert(cls, board: VirtualBoard) -> Self:
        """Take the place of a board that has not yet booted."""
        assert board.boots == 0
        board.__class__ = cls
        assert isinstance(board, cls)
        board.law = board._fresh_law()
        return board


class UnixBoard(ConvertedBoard):
    """`plug` it in once it is made. A difference raises Diverged, unless `strict` is taken away; then the firmware alone counts."""

    flash: Path
    firmware: Path
    interpreter: Path
    terminal: Terminal
    strict: bool
    first_ms: int
    life: Program | None
    wires: Wires
    reply: Reply | None
    cause: int

    def plug(
        self, interpreter: Path, flash: Path, firmware: Path = FIRMWARE, first_ms: int = 0, strict: bool = True
    ) -> None:
        """Give it an interpreter, the program's files, and flash, which gets settings and a record where it has none.
        `first_ms`: of its clock at each start."""
        self.interpreter = interpreter
        self.flash = flash
        self.firmware = firmware
        self.terminal = Terminal()
        self.strict = strict
        self.first_ms = first_ms
        self.life = None
        self.wires = Wires()
        self.reply = None
        self.cause = POWER_ON
        folder = str(flash)
        if store.load_settings(folder)[1] and not store.save_settings(folder, self.values):
            raise OSError(f"{flash} takes no settings")
        if not any(store.read_slots(folder)):
            self._record_twice(self.law.record)
        self.law = self._fresh_law()

    def _record_twice(self, record: Record) -> None:
        """A board that has driven before has both slots; one alone counts as damaged."""
        for _ in range(2):
            data = record.encode()
            store.write_slot(str(self.flash), record.slot(), data)

    def _fresh_law(self, restarted: bool = False) -> Law:
        if hasattr(self, "flash"):
            self.slots = store.read_slots(str(self.flash))
            saved, errors = store.load_settings(str(self.flash))
            self.values = self.values if errors else saved  # a host may have saved others over the link
        return super()._fresh_law(restarted)

    def power_up(self, restarted: bool = False) -> None:
        """A life of the firmware begins."""
        scratch, reason = (0, 0, 0), program.POWER_ON
        if restarted and self.reply is not None:
            scratch = self.reply.note, self.reply.state, self.reply.tick
            reason = program.TIMED_OUT if self.cause == WATCHDOG else program.FORCED
        super().power_up(restarted)
        self.life = Program(self.interpreter, self.flash, self.terminal, reason, scratch, self.firmware)

    def power_down(self) -> None:
        """It ends, wherever it was."""
        super().power_down()
        if self.life is not None:
            self.life.close()
            self.life = None
        self.cause = POWER_ON

    def watchdog_reset(self) -> None:
        """The chip's own watchdog must have bitten in the same tick."""
        if not self.reply or not self.reply.flags & program.BITTEN:
            self._differs("watchdog", "has not bitten", "has bitten")
        self._restart(WATCHDOG)

    def _restart(self, cause: int) -> None:
        self.power_down()
        self.cause = cause
        self.watchdog_resets += cause == WATCHDOG
        self.power_up(unexpected(cause))
        self.reply = None

    def tick(self, now_ms: int) -> None:
        """One tick of both."""
        self.reply = self.reply if self.powered else None
        super().tick(now_ms)
        reply = self.reply
        if self.life is None or reply is None:
            return
        if reply.flags & program.RESET:
            self._restart((reply.note & 0xFF) or ASKED)
        elif reply.flags & program.FEED_LOST and self.powered:
            self._differs("feed", "lost in a write", "there")
            self.power_down()
        elif reply.flags & program.BITTEN:
            self._differs("watchdog", "has bitten", "has not")
            self._restart(WATCHDOG)

    def _exchange(self, kind: int = program.TICK) -> Reply:
        assert self.life is not None
        raw, wires = self.signals.raw, self.wires
        wires.contacts = self.signals.digital
        wires.sums = raw[:FIRST_BUS_CHANNEL]
        bus = raw[FIRST_BUS_CHANNEL:]
        silent = program.CHIP_0 | program.CHIP_1 if NO_ANSWER in bus else 0
        wires.broken = wires.broken & ~(program.CHIP_0 | program.CHIP_1 | program.FLASH_REFUSES) | silent
        if self.flash_refuses:
            wires.broken |= program.FLASH_REFUSES
        wires.codes = [0 if value == NO_ANSWER else code_of(value) for value in bus]
        wires.codes[REFERENCE:] = [REFERENCE_CODE]
        wires.cut_at = -1 if self.cut_at_byte is None else int(self.cut_at_byte)
        tick_ms = self.tick_ms if kind == program.HANG else self.last_tick_ms
        try:
            self.reply = self.life.exchange(self.first_ms + tick_ms, wires, kind)
        except Lost as lost:
            raise Diverged(f"the firmware ended: {lost}") from None
        return self.reply

    def _hang(self) -> None:
        self._exchange(program.HANG)
        super()._hang()

    def _drive_pins(self) -> None:
        """What the firmware drives."""
        reply = self._exchange()
        self._compare(reply)
        self.supply_pin = self._drives(reply, SUPPLY_VALVE)
        self.return_pin = self._drives(reply, RETURN_VALVE)
        self._drive_coils()
        self.car.command_heater = self._drives(reply, FILTER_HEATER) and self.car.engine_running
        self.car.run_on.relay_on = self._drives(reply, RUN_ON)

    def _drives(self, reply: Reply, place: int) -> bool:
        return reply.levels >> _OUTPUTS[place] & 1 == 1

    def _compare(self, reply: Reply) -> None:
        law = self.law
        pairs = (
            ("state", reply.state, law.machine.state),
            ("supply valve", self._drives(reply, SUPPLY_VALVE), law.machine.supply_on),
            ("return valve", self._drives(reply, RETURN_VALVE), law.machine.return_on),
            ("filter heater", self._drives(reply, FILTER_HEATER), law.heater.on),
            ("power hold", self._drives(reply, POWER_HOLD), law.power_hold),
            ("run-on relay", self._drives(reply, RUN_ON), law.run_on),
            ("red lamp may light", reply.red > 0 and law.panel.red == 0, False),
            ("amber lamp may light", reply.amber > 0 and law.panel.amber == 0, False),
            ("green lamp may light", reply.green > 0 and law.panel.green == 0, False),
        )
        for name, theirs, ours in pairs:
            if theirs != ours:
                self._differs(name, theirs, ours)

    def _flash(self) -> None:
        super()._flash()
        kept = [decode(data) for data in store.read_slots(str(self.flash))]
        for slot, data in enumerate(self.slots):
            ours = decode(data)
            theirs = kept[slot]
            if (ours is None) != (theirs is None) or (ours and theirs and _but_boots(ours) != _but_boots(theirs)):
                self._differs(f"slot {slot}", theirs and _but_boots(theirs), ours and _but_boots(ours))

    def _differs(self, what: str, theirs: object, ours: object) -> None:
        if self.strict:
            raise Diverged(
                f"tick {self.tick_ms} ms of boot {self.boots}, {STATES[self.law.machine.state]}: {what} is {theirs} by the firmware, {ours} here"
            )

    def unplug(self) -> None:
        """The end."""
        if self.life is not None:
            self.life.close()
            self.life = None
        self.terminal.close()


class DeskBoard(UnixBoard):
    """Fed over USB as well, as a board on a desk is: it boots at once and stays awake while the car stands. Not strict: a host
    may feed it with inputs and try its outputs, of which the law here knows nothing."""

    def plug(
        self, interpreter: Path, flash: Path, firmware: Path = FIRMWARE, first_ms: int = 0, strict: bool = False
    ) -> None:
        """As the base class, and it boots."""
        super().plug(interpreter, flash, firmware, first_ms, strict)
        self.power_up()

    def power_down(self) -> None:
        """The held feed alone ends nothing."""
        if self._restarting:
            super().power_down()

    def _restart(self, cause: int) -> None:
        self._restarting = True
        super()._restart(cause)
        self._restarting = False

    _restarting = False


def _but_boots(record: Record) -> dict[str, int | bool]:
    """The virtual board counts no starts."""
    return {name: value for name, value in vars(record).items() if name != "boots"}
