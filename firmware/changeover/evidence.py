"""The numbers that decided: for each row of the interlock table what was measured and what it was held against."""

from changeover import reasons, rows
from changeover.conditions import OTHERS, Conditions
from changeover.inputs import Inputs
from changeover.machine import Machine
from changeover.restriction import Restriction
from changeover.sensing import COOLANT, DIESEL_LEVEL, OIL, OIL_LEVEL, PUMP_INLET, SUPPLY

REASON, FLAG = "reason", "flag"


class Evidence:
    """`read` fills `measured`, `limit` and `unit`; called when something moves or is asked, not every tick."""

    def __init__(self, inputs: Inputs, conditions: Conditions, machine: Machine, restriction: Restriction) -> None:
        self._inputs = inputs
        self._conditions = conditions
        self._machine = machine
        self._restriction = restriction
        self.measured = 0
        self.limit = 0
        self.unit = FLAG

    def read(self, reason: int, forcing: bool) -> None:
        """Numbers of a reason: a row's reading and limit (`forcing`: of the exit, else of the entry); else volumes."""
        if reason > rows.DWELL:
            self._other_reason(reason)
        elif reason >= rows.OIL_COLD or reason == rows.OIL_HOT:
            self._temperature(reason, forcing)
        elif reason in (rows.OIL_LOW, rows.DIESEL_LOW, rows.NO_ROOM):
            self._level(reason, forcing)
        else:
            self._other(reason, forcing)

    def _set(self, measured: int, limit: int, unit: str) -> None:
        self.measured = measured
        self.limit = limit
        self.unit = unit

    def _other_reason(self, reason: int) -> None:
        lines = self._machine.lines
        if reason == reasons.ALLOWED:
            self._temperature(rows.OIL_COLD, False)  # the last to come is nearly always the oil
        elif reason == reasons.FILLED:
            self._set(lines.fill_ul, lines.fill_target_ul, "uL")
        elif self._machine.lines_dirty or reason == reasons.PURGED:
            self._set(lines.credit_ul, lines.purge_target_ul, "uL")
        else:
            self._set(1, 0, FLAG)

    def _temperature(self, reason: int, forcing: bool) -> None:
        conditions = self._conditions
        inlet = self._inputs.channel[PUMP_INLET]
        if reason == rows.DWELL:
            self._set(self._machine.dwell_ms, 0, "ms")
        elif reason == rows.COOLANT_COLD:
            limit = conditions.limits.coolant_exit if forcing else conditions.limits.coolant_entry
            self._set(self._inputs.channel[COOLANT].value, limit, "cdegc")
        elif reason == rows.OIL_HOT:
            limit = conditions.limits.oil_hot if forcing else conditions.limits.oil_hot - 300
            self._set(self._inputs.channel[OIL].value, limit, "cdegc")
        elif forcing:
            self._set(self._inputs.channel[OIL].value, conditions.limits.oil_exit, "cdegc")
        elif conditions.limits.loop_cold(inlet) and self._inputs.oil_coldest() >= conditions.limits.oil_entry:
            self._set(inlet.value, conditions.limits.pump_entry, "cdegc")
        else:
            self._set(self._inputs.oil_coldest(), conditions.limits.oil_entry, "cdegc")

    def _level(self, reason: int, forcing: bool) -> None:
        conditions = self._conditions
        if reason == rows.DIESEL_LOW:
            limit = conditions.limits.diesel_low_force if forcing else conditions.limits.diesel_low_block
            self._set(self._inputs.channel[DIESEL_LEVEL].value, limit, "permille")
            return
        if reason == rows.OIL_LOW:
            limit = conditions.limits.oil_low_force if forcing else conditions.limits.oil_low_block
        else:
            limit = conditions.limits.oil_full if forcing else conditions.limits.oil_room
        self._set(self._inputs.channel[OIL_LEVEL].value, limit, "permille")

    def _other(self, reason: int, forcing: bool) -> None:
        conditions = self._conditions
        inputs = self._inputs
        if reason == rows.SUPPLY_LOW:
            limit = conditions.limits.supply_force if forcing else conditions.limits.supply_block
            self._set(inputs.channel[SUPPLY].value, limit, "mV")
        elif reason == rows.STARVED:
            self._set(inputs.suction_pa, conditions.limits.starved, "Pa")
        elif reason == rows.RESTRICTED and forcing:
            self._set(inputs.suction_pa, conditions.limits.suction_force, "Pa")
        elif reason == rows.RESTRICTED:
            self._set(self._restriction.mean_pa, conditions.limits.suction_block, "Pa")
        elif reason == rows.AIR:
            self._set(inputs.suction_pa, self._restriction.low_pa, "Pa")
        elif reason == rows.COOLANT_SENSOR:
            self._set(inputs.channel[COOLANT].reason, 0, REASON)
        elif reason == rows.OIL_SENSOR:
            self._set(inputs.channel[OIL].reason, 0, REASON)
        elif reason == rows.SUCTION_SENSOR:
            self._set(inputs.suction_reason, 0, REASON)
        elif reason == rows.OTHER_SENSOR:
            self._set(self._worst_other(), 0, REASON)
        elif reason == rows.ENGINE:
            self._set(self._machine.engine_ms, 3000, "ms")
        elif reason == rows.CHATTER:
            self._set(self._machine.reverts, conditions.limits.reverts_max, "count")
        else:
            self._set(1, 0, FLAG)

    def _worst_other(self) -> int:
        worst = 0
        for index in OTHERS:
            worst = max(worst, self._inputs.channel[index].reason)
        return worst
