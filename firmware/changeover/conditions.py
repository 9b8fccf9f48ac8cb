"""The raw conditions of the interlock table, flat and in integers: one bit a row, before any hold time."""

from changeover import rows
from changeover.followed import Followed
from changeover.heater import Heater
from changeover.inputs import ENGINE, Inputs
from changeover.limits import Limits
from changeover.machine import Machine
from changeover.restriction import Restriction
from changeover.sensing import COOLANT, DIESEL_LEVEL, GOOD, OIL, OIL_LEVEL, OIL_TANK, PUMP_INLET, SETTLING, SUPPLY
from changeover.ticks import Lateness

OTHERS = (OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY)


class Conditions:
    """`step` fills `block` and `force`. Without a fitted and trusted input a condition stays down."""

    def __init__(
        self, values: dict[str, int], valid: bool, restarted: bool, inputs: Inputs, machine: Machine,
        restriction: Restriction, heater: Heater,
    ) -> None:  # fmt: skip
        self._inputs = inputs
        self._machine = machine
        self._restriction = restriction
        self._heater = heater
        self._followed = Followed(values, inputs, machine)
        self.block = 0
        self.force = 0
        self._settings_bad = not valid
        self.restarted = restarted
        self.lateness = Lateness()
        self.limits = Limits(values)

    def restart(self) -> None:
        """Key-on: a valve may have been mended."""
        self._followed.restart()

    def step(self, dt_ms: int) -> None:
        """One tick."""
        self.block = 0
        self.force = 0
        self._board(dt_ms)
        self._sensors()
        self._temperatures()
        self._suction()
        self._levels()
        self._parts(dt_ms)

    def _both(self, row: int) -> None:
        self.block |= 1 << row
        self.force |= 1 << row

    def _board(self, dt_ms: int) -> None:
        machine = self._machine
        if self._settings_bad:
            self._both(rows.SETTINGS)
        if not self._inputs.contact[ENGINE].on:
            self._both(rows.ENGINE)
        elif machine.engine_ms < 3000:
            self.block |= 1 << rows.ENGINE
        if self.restarted:
            self.block |= 1 << rows.RESTARTED
        if self.lateness.step(dt_ms):
            self._both(rows.OVERRUN)
        if machine.memory_bad:
            self.block |= 1 << rows.MEMORY
        if machine.lines_dirty:
            self.block |= 1 << rows.LINES
        if machine.reverts > self.limits.reverts_max:
            self.block |= 1 << rows.CHATTER
        if machine.dwell_ms > 0:
            self.block |= 1 << rows.DWELL

    def _sensors(self) -> None:
        channel = self._inputs.channel
        self._sensor(channel[COOLANT].reason, rows.COOLANT_SENSOR)
        self._sensor(channel[OIL].reason, rows.OIL_SENSOR)
        self._sensor(self._inputs.suction_reason, rows.SUCTION_SENSOR)
        for index in OTHERS:
            self._sensor(channel[index].reason, rows.OTHER_SENSOR)

    def _sensor(self, reason: int, row: int) -> None:
        if reason > SETTLING:
            self._both(row)
        elif reason == SETTLING:
            self.block |= 1 << rows.ENGINE

    def _temperatures(self) -> None:
        coolant = self._inputs.channel[COOLANT]
        oil = self._inputs.channel[OIL]
        if self.limits.loop_cold(self._inputs.channel[PUMP_INLET]):
            self.block |= 1 << rows.OIL_COLD
        if oil.reason == GOOD:
            if self._inputs.oil_coldest() < self.limits.oil_entry:
                self.block |= 1 << rows.OIL_COLD
            if oil.value < self.limits.oil_exit:
                self.force |= 1 << rows.OIL_COLD
            if oil.value > self.limits.oil_hot - 300:
                self.block |= 1 << rows.OIL_HOT
                if oil.value > self.limits.oil_hot:
                    self.force |= 1 << rows.OIL_HOT
        if coolant.reason == GOOD and coolant.value < self.limits.coolant_entry:
            self.block |= 1 << rows.COOLANT_COLD
            if coolant.value < self.limits.coolant_exit:
                self.force |= 1 << rows.COOLANT_COLD

    def _suction(self) -> None:
        restriction = self._restriction
        if self._inputs.suction_reason == GOOD:
            suction = self._inputs.suction_pa
            if suction > self.limits.starved:
                self._both(rows.STARVED)
            if suction > self.limits.suction_force:
                self.force |= 1 << rows.RESTRICTED
        if restriction.mean_pa > self.limits.suction_block or restriction.spent:
            self.block |= 1 << rows.RESTRICTED
        if restriction.air:
            self._both(rows.AIR)

    def _levels(self) -> None:
        oil = self._inputs.channel[OIL_LEVEL]
        diesel = self._inputs.channel[DIESEL_LEVEL]
        supply = self._inputs.channel[SUPPLY]
        if oil.reason == GOOD:
            if oil.value < self.limits.oil_low_block:
                self.block |= 1 << rows.OIL_LOW
            if oil.value < self.limits.oil_low_force:
                self.force |= 1 << rows.OIL_LOW
            if oil.value > self.limits.oil_room:
                self.block |= 1 << rows.NO_ROOM
            if oil.value > self.limits.oil_full:
                self.force |= 1 << rows.NO_ROOM
        if diesel.reason == GOOD:
            if diesel.value < self.limits.diesel_low_block:
                self.block |= 1 << rows.DIESEL_LOW
            if diesel.value < self.limits.diesel_low_force:
                self.force |= 1 << rows.DIESEL_LOW
        if supply.reason == GOOD and supply.value < self.limits.supply_block:
            self.block |= 1 << rows.SUPPLY_LOW
            # the starter's dip ends nothing: no valve is energised before the engine runs
            if supply.value < self.limits.supply_force and self._inputs.contact[ENGINE].on:
                self.force |= 1 << rows.SUPPLY_LOW

    def _parts(self, dt_ms: int) -> None:
        unfollowed = self._followed.step(dt_ms)
        self.block |= unfollowed
        self.force |= unfollowed
        if self._heater.failed:
            self.block |= 1 << rows.HEATER
