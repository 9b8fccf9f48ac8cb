"""The board, simulated: the law behind simulated readings, its flash, its power. Wishes in, commands out, as on the desk."""

from __future__ import annotations

from changeover.law import Law
from changeover.memory import choose
from changeover.ticks import MASK_MS
from changeover.validate import validate
from host_sim.car import Car
from host_sim.faults import Injector
from host_sim.signals import Signals

TICK_MS = 100
WATCHDOG_MS = 2000
STALL_EVERY_MS = 1000
_FLASH_PAUSE_TICKS = 1  # a verified write answers one tick later (board facts: 50 ms, 400 ms at worst, at rest only)


class VirtualBoard:
    """One board in one car. `tick` runs every TICK_MS while `powered`; a board that lost its feed boots anew from its flash.

    `supply_pin` and `return_pin` are what the law commands; what the coils get depends on power stages and feeds.
    """

    def __init__(
        self, values: dict[str, int], car: Car, signals: Signals, injector: Injector, purged: bool = True
    ) -> None:
        """`purged`: what the flash remembers at first is that the lines hold diesel (else: nothing, a new board)."""
        self.values = values
        self.valid = not validate(values)
        self.car = car
        self.signals = signals
        self.injector = injector
        self.slots = [b"", b""]
        self.supply_pin = False
        self.return_pin = False
        # faults of the board, harmless unless set
        self.feed_cut = False
        self.supply_stage: float | None = None  # stuck: 1 on whenever it is fed, 0 never
        self.return_stage: float | None = None
        self.hang_s = 0.0  # so long it does nothing, its pins as they were, until the watchdog bites
        self.stall_s = 0.0  # every STALL_EVERY_MS it does nothing for so long
        self.reset_every_s = 0.0  # its feed breaks for a moment so long after each boot
        self.flash_refuses = False
        self.cut_at_byte: float | None = None  # the next write ends after so many bytes, and the feed with it
        self.settings_damaged = False  # found out at the next boot
        self.boots = 0
        self.watchdog_resets = 0
        self.ticks = 0
        self.powered = False
        self.tick_ms = 0  # of the next tick, on the board's own clock
        self.last_tick_ms = 0
        self._silent_ms = 0
        self._answer_in = 0
        self.law = self._fresh_law()
        if purged:
            self.law.record.oil_in_lines = False
            data = self.law.record.encode()
            self.slots[self.law.record.slot()] = data
            self.law = self._fresh_law()

    def _fresh_law(self, restarted: bool = False) -> Law:
        return Law(self.values, choose(self.slots), self.valid and not self.settings_damaged, restarted)

    def power_up(self, restarted: bool = False) -> None:
        """The feed closes, or the watchdog `restarted` the board: it boots, its tick counter starts at 0."""
        self.powered = True
        self.boots += 1
        self.tick_ms = 0
        self.hang_s = 0.0
        self._silent_ms = 0
        self._answer_in = 0
        self.law = self._fresh_law(restarted)

    def watchdog_reset(self) -> None:
        """All pins fall, and the board boots anew and knows why."""
        self.power_down()
        self.watchdog_resets += 1
        self.power_up(restarted=True)

    def brown_out(self) -> None:
        """The feed breaks for a moment: the board boots anew at the next tick, if there is a reason to be awake."""
        self.power_down()

    def tick(self, now_ms: int) -> None:
        """One tick at simulated time `now_ms`: read, step, write. Without power every output is down."""
        car = self.car
        if self.feed_cut:
            self.power_down()
        elif car.key_on and not self.powered:
            self.power_up()
        signals = self.signals
        signals.sample(car)
        if self.injector.active:
            self.injector.apply(now_ms, signals.raw, signals.digital)
        if not self.powered:
            self._drive_coils()
            return
        if self.hang_s > 0.0 or self.stall_s > 0.0 or self.reset_every_s > 0.0:
            self._disturbed()
            if self.hang_s > 0.0:
                self._hang()
                return
        self._silent_ms = 0
        law = self.law
        self.last_tick_ms = self.tick_ms
        law.step(self.tick_ms, signals.raw, signals.digital)
        self.tick_ms = (self.tick_ms + TICK_MS) & MASK_MS
        self.ticks += 1
        self._drive_pins()
        machine = law.machine
        if machine.write_wanted:
            self._flash()
        if not law.power_hold and not car.key_on:
            self.power_down()

    def _drive_pins(self) -> None:
        """What the law says."""
        car, law = self.car, self.law
        self.supply_pin = law.machine.supply_on
        self.return_pin = law.machine.return_on
        self._drive_coils()
        car.command_heater = law.heater.on and car.engine_running  # its own engine-running relay
        car.run_on.relay_on = law.run_on

    def _drive_coils(self) -> None:
        """What power stages and feeds let through: the supply valve's feed runs through key and selector contact."""
        car = self.car
        supply = self.supply_pin if self.supply_stage is None else self.supply_stage > 0.0
        back = self.return_pin if self.return_stage is None else self.return_stage > 0.0
        car.command_supply_oil = supply and car.key_on and self.signals.cockpit.ready
        car.command_return_oil = back and self.powered

    def _disturbed(self) -> None:
        if self.stall_s > 0.0 and self.hang_s <= 0.0 and self.tick_ms % STALL_EVERY_MS == 0:
            self.hang_s = self.stall_s
        if 0.0 < 1000.0 * self.reset_every_s <= self.tick_ms:
            self.power_down()
            self.power_up()

    def _hang(self) -> None:
        self.hang_s -= TICK_MS / 1000.0
        self._silent_ms += TICK_MS
        self.tick_ms = (self.tick_ms + TICK_MS) & MASK_MS
        self._drive_coils()
        if self._silent_ms >= WATCHDOG_MS:
            self.watchdog_reset()

    def power_down(self) -> None:
        """The feed opens: de-energised is diesel."""
        self.powered = False
        self.supply_pin = False
        self.return_pin = False
        self._drive_coils()
        self.car.command_heater = False
        self.car.run_on.relay_on = False

    def _flash(self) -> None:
        if self._answer_in == 0:
            data = self.law.write_record()
            if self.cut_at_byte is not None:
                self.slots[self.law.record.slot()] = data[: int(self.cut_at_byte)]
                self.cut_at_byte = None
                self.brown_out()
                return
            if not self.flash_refuses:
                self.slots[self.law.record.slot()] = data
            self._answer_in = 1 + _FLASH_PAUSE_TICKS
        self._answer_in -= 1
        if self._answer_in == 0:
            self.law.written(not self.flash_refuses)

    def remembers_oil(self) -> bool:
        """What a restart at this instant would read from flash."""
        return choose(self.slots).oil_in_lines
