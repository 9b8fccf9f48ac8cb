"""The yardstick: what somebody in a hurry writes by hand, one flat chain of `if` over integers, for one car.

Every row of the interlock table with its hold times, and every decision of the state machine; tank return, both valve
contacts fitted. It must give the law's own masks, states and commands tick for tick, which the bench checks.
"""

from __future__ import annotations

from changeover import reasons, rows
from changeover.limits import Limits
from changeover.lines import Lines
from changeover.sensing import GOOD, SETTLING
from changeover.settings import ADVISE, PERMIT
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON
from tests.bench.record import Reading

SETTINGS = 1 << rows.SETTINGS
STARVED = 1 << rows.STARVED
SUPPLY_LOW = 1 << rows.SUPPLY_LOW
SUPPLY_VALVE = 1 << rows.SUPPLY_VALVE
RETURN_VALVE = 1 << rows.RETURN_VALVE
NO_ROOM = 1 << rows.NO_ROOM
COOLANT_SENSOR = 1 << rows.COOLANT_SENSOR
OIL_SENSOR = 1 << rows.OIL_SENSOR
SUCTION_SENSOR = 1 << rows.SUCTION_SENSOR
OTHER_SENSOR = 1 << rows.OTHER_SENSOR
AIR = 1 << rows.AIR
OIL_HOT = 1 << rows.OIL_HOT
RESTARTED = 1 << rows.RESTARTED
OVERRUN = 1 << rows.OVERRUN
MEMORY = 1 << rows.MEMORY
ENGINE = 1 << rows.ENGINE
OIL_LOW = 1 << rows.OIL_LOW
DIESEL_LOW = 1 << rows.DIESEL_LOW
LINES = 1 << rows.LINES
RESTRICTED = 1 << rows.RESTRICTED
CHATTER = 1 << rows.CHATTER
HEATER = 1 << rows.HEATER
OIL_COLD = 1 << rows.OIL_COLD
COOLANT_COLD = 1 << rows.COOLANT_COLD
DWELL = 1 << rows.DWELL
FORBIDS_PURGE = SETTINGS | SUPPLY_LOW | RETURN_VALVE | NO_ROOM
STOPS_RUN_ON = COOLANT_SENSOR | OIL_SENSOR | OIL_HOT | ENGINE | SUPPLY_VALVE | FORBIDS_PURGE
SATURATED_MS = 0x10000000


class Flat:
    """`step` takes one tick's trusted readings as a tuple, in the order of `record.FIELDS`."""

    def __init__(self, values: dict[str, int], lines_dirty: bool) -> None:
        limits, lines = Limits(values), Lines(values)
        self.starved_pa, self.suction_block_pa, self.suction_force_pa = (
            limits.starved, limits.suction_block, limits.suction_force,
        )  # fmt: skip
        self.supply_block_mv, self.supply_force_mv = limits.supply_block, limits.supply_force
        self.oil_entry, self.oil_exit, self.oil_hot = limits.oil_entry, limits.oil_exit, limits.oil_hot
        self.oil_hot_block = limits.oil_hot - 300
        self.coolant_entry, self.coolant_exit = limits.coolant_entry, limits.coolant_exit
        self.oil_low_block, self.oil_low_force = limits.oil_low_block, limits.oil_low_force
        self.oil_room, self.oil_full = limits.oil_room, limits.oil_full
        self.diesel_low_block, self.diesel_low_force = limits.diesel_low_block, limits.diesel_low_force
        self.reverts_max = limits.reverts_max
        self.dwell_full_ms = values["dwell_diesel_s"] * 1000
        self.authority = values["authority"]
        self.run_on_ms = 0 if self.authority == ADVISE else values["run_on_s"] * 1000
        self.fill_target_ul, self.purge_target_ul = lines.fill_target_ul, lines.purge_target_ul
        self.flow_low_ul_s = values["flow_measured_ul_s"] * 4 // 5
        self.flow_max_ul_s = values["flow_max_ul_s"]
        self.settings_bad = False
        self.restarted = False
        self.late = 0
        self.excused = False
        self.ready_before = False
        self.press_ms = 0
        self.short_presses = 0
        self.state = PARKED
        self.lines_dirty = self.record_dirty = lines_dirty
        self.write_wanted = False
        self.supply_on = self.return_on = False
        self.engine_ms = self.state_ms = 0
        self.fill_ul = self.credit_ul = 0
        self.moves = 0
        self.move_from = self.move_to = PARKED
        self.move_reason = reasons.KEY_OFF
        self.restart()

    def restart(self) -> None:
        """Key-on."""
        self.blocked = self.forced = 0
        self.starved_ms = self.supply_block_ms = self.supply_force_ms = 0
        self.supply_valve_ms = self.return_valve_ms = 0
        self.room_block_ms = self.room_force_ms = 0
        self.coolant_sensor_ms = self.oil_sensor_ms = self.suction_sensor_ms = self.other_sensor_ms = 0
        self.air_ms = self.hot_block_ms = self.hot_force_ms = self.late_ms = 0
        self.oil_low_block_ms = self.oil_low_force_ms = 0
        self.diesel_low_block_ms = self.diesel_low_force_ms = 0
        self.restricted_ms = 0
        self.oil_cold_block_ms = self.oil_cold_force_ms = 0
        self.coolant_cold_block_ms = self.coolant_cold_force_ms = 0
        self.reverts = self.dwell_ms = 0
        self.granted = self.stop_held = False
        self.memory_bad = False

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        """The board's answer to a write."""
        self.excused = True
        self.write_wanted = succeeded and said_dirty != self.record_dirty
        if not succeeded:
            self.memory_bad = True
            self.record_dirty = True

    def step(self, reading: Reading) -> None:
        """One tick."""
        (
            dt, coolant, coolant_why, oil, oil_why, suction, suction_why, oil_tank, oil_tank_why, inlet_why,
            oil_level, oil_level_why, diesel_level, diesel_level_why, supply, supply_why,
            key, engine, ready, button, supply_contact, return_contact, brake, neutral, bonnet,
            mean_pa, spent, air, heater_failed,
        ) = reading  # fmt: skip
        blocked = self.blocked
        forced = self.forced
        block = force = 0

        if self.settings_bad or blocked & SETTINGS:
            block |= SETTINGS
            force |= SETTINGS

        if suction > self.starved_pa and suction_why == GOOD:
            if blocked & STARVED:
                block |= STARVED
                force |= STARVED
            elif self.starved_ms >= 1500:
                self.starved_ms = 0
                block |= STARVED
                force |= STARVED
            else:
                self.starved_ms += dt
        elif blocked & STARVED:
            block |= STARVED
            force |= STARVED
        else:
            self.starved_ms = 0

        low = supply < self.supply_block_mv and supply_why == GOOD
        if low:
            if blocked & SUPPLY_LOW:
                block |= SUPPLY_LOW
                self.supply_block_ms = 0
            elif self.supply_block_ms >= 3000:
                self.supply_block_ms = 0
                block |= SUPPLY_LOW
            else:
                self.supply_block_ms += dt
        elif blocked & SUPPLY_LOW and self.supply_block_ms < 3000:
            self.supply_block_ms += dt
            block |= SUPPLY_LOW
        else:
            self.supply_block_ms = 0
        if low and engine and supply < self.supply_force_mv:
            if forced & SUPPLY_LOW:
                force |= SUPPLY_LOW
                self.supply_force_ms = 0
            elif self.supply_force_ms >= 200:
                self.supply_force_ms = 0
                force |= SUPPLY_LOW
            else:
                self.supply_force_ms += dt
        elif forced & SUPPLY_LOW and self.supply_force_ms < 3000:
            self.supply_force_ms += dt
            force |= SUPPLY_LOW
        else:
            self.supply_force_ms = 0

        if supply_contact != self.supply_on:
            if blocked & SUPPLY_VALVE:
                block |= SUPPLY_VALVE
                force |= SUPPLY_VALVE
            elif self.supply_valve_ms >= 2000:
                self.supply_valve_ms = 0
                block |= SUPPLY_VALVE
                force |= SUPPLY_VALVE
            else:
                self.supply_valve_ms += dt
        elif blocked & SUPPLY_VALVE:
            block |= SUPPLY_VALVE
            force |= SUPPLY_VALVE
        else:
            self.supply_valve_ms = 0

        if return_contact != self.return_on:
            if blocked & RETURN_VALVE:
                block |= RETURN_VALVE
                force |= RETURN_VALVE
            elif self.return_valve_ms >= 2000:
                self.return_valve_ms = 0
                block |= RETURN_VALVE
                force |= RETURN_VALVE
            else:
                self.return_valve_ms += dt
        elif blocked & RETURN_VALVE:
            block |= RETURN_VALVE
            force |= RETURN_VALVE
        else:
            self.return_valve_ms = 0

        if oil_level > self.oil_room and oil_level_why == GOOD:
            if blocked & NO_ROOM:
                block |= NO_ROOM
                self.room_block_ms = 0
            elif self.room_block_ms >= 5000:
                self.room_block_ms = 0
                block |= NO_ROOM
            else:
                self.room_block_ms += dt
        elif blocked & NO_ROOM and self.room_block_ms < 5000:
            self.room_block_ms += dt
            block |= NO_ROOM
        else:
            self.room_block_ms = 0
        if oil_level > self.oil_full and oil_level_why == GOOD:
            if forced & NO_ROOM:
                force |= NO_ROOM
                self.room_force_ms = 0
            elif self.room_force_ms >= 5000:
                self.room_force_ms = 0
                force |= NO_ROOM
            else:
                self.room_force_ms += dt
        elif forced & NO_ROOM and self.room_force_ms < 5000:
            self.room_force_ms += dt
            force |= NO_ROOM
        else:
            self.room_force_ms = 0

        if coolant_why > SETTLING:
            block |= COOLANT_SENSOR
            force |= COOLANT_SENSOR
            self.coolant_sensor_ms = 0
        elif blocked & COOLANT_SENSOR:
            if self.coolant_sensor_ms >= 2000:
                self.coolant_sensor_ms = 0
            else:
                self.coolant_sensor_ms += dt
                block |= COOLANT_SENSOR
                force |= COOLANT_SENSOR
        if oil_why > SETTLING:
            block |= OIL_SENSOR
            force |= OIL_SENSOR
            self.oil_sensor_ms = 0
        elif blocked & OIL_SENSOR:
            if self.oil_sensor_ms >= 2000:
                self.oil_sensor_ms = 0
            else:
                self.oil_sensor_ms += dt
                block |= OIL_SENSOR
                force |= OIL_SENSOR
        if suction_why > SETTLING:
            block |= SUCTION_SENSOR
            force |= SUCTION_SENSOR
            self.suction_sensor_ms = 0
        elif blocked & SUCTION_SENSOR:
            if self.suction_sensor_ms >= 2000:
                self.suction_sensor_ms = 0
            else:
                self.suction_sensor_ms += dt
                block |= SUCTION_SENSOR
                force |= SUCTION_SENSOR
        if (
            oil_tank_why > SETTLING
            or inlet_why > SETTLING
            or oil_level_why > SETTLING
            or diesel_level_why > SETTLING
            or supply_why > SETTLING
        ):
            block |= OTHER_SENSOR
            force |= OTHER_SENSOR
            self.other_sensor_ms = 0
        elif blocked & OTHER_SENSOR:
            if self.other_sensor_ms >= 2000:
                self.other_sensor_ms = 0
            else:
                self.other_sensor_ms += dt
                block |= OTHER_SENSOR
                force |= OTHER_SENSOR

        if air:
            if blocked & AIR:
                block |= AIR
                force |= AIR
            elif self.air_ms >= 2000:
                self.air_ms = 0
                block |= AIR
                force |= AIR
            else:
                self.air_ms += dt
        elif blocked & AIR:
            block |= AIR
            force |= AIR
        else:
            self.air_ms = 0

        if oil > self.oil_hot_block and oil_why == GOOD:
            block |= OIL_HOT
            self.hot_block_ms = 0
        elif blocked & OIL_HOT:
            if self.hot_block_ms >= 2000:
                self.hot_block_ms = 0
            else:
                self.hot_block_ms += dt
                block |= OIL_HOT
        if oil > self.oil_hot and oil_why == GOOD:
            if forced & OIL_HOT:
                force |= OIL_HOT
                self.hot_force_ms = 0
            elif self.hot_force_ms >= 2000:
                self.hot_force_ms = 0
                force |= OIL_HOT
            else:
                self.hot_force_ms += dt
        elif forced & OIL_HOT and self.hot_force_ms < 2000:
            self.hot_force_ms += dt
            force |= OIL_HOT
        else:
            self.hot_force_ms = 0

        if self.restarted or blocked & RESTARTED:
            block |= RESTARTED

        if dt > 250 and not self.excused:
            self.late = min(self.late + 10, 50)
        elif self.late:
            self.late -= 1
        self.excused = False
        if self.late >= 20:
            block |= OVERRUN
            force |= OVERRUN
            self.late_ms = 0
        elif blocked & OVERRUN:
            if self.late_ms >= 5000:
                self.late_ms = 0
            else:
                self.late_ms += dt
                block |= OVERRUN
                force |= OVERRUN

        if self.memory_bad or blocked & MEMORY:
            block |= MEMORY

        if not engine:
            block |= ENGINE
            force |= ENGINE
        elif (
            self.engine_ms < 3000
            or coolant_why == SETTLING
            or oil_why == SETTLING
            or suction_why == SETTLING
            or oil_tank_why == SETTLING
            or inlet_why == SETTLING
            or oil_level_why == SETTLING
            or diesel_level_why == SETTLING
            or supply_why == SETTLING
        ):
            block |= ENGINE

        if oil_level < self.oil_low_block and oil_level_why == GOOD:
            if blocked & OIL_LOW:
                block |= OIL_LOW
                self.oil_low_block_ms = 0
            elif self.oil_low_block_ms >= 5000:
                self.oil_low_block_ms = 0
                block |= OIL_LOW
            else:
                self.oil_low_block_ms += dt
        elif blocked & OIL_LOW and self.oil_low_block_ms < 5000:
            self.oil_low_block_ms += dt
            block |= OIL_LOW
        else:
            self.oil_low_block_ms = 0
        if oil_level < self.oil_low_force and oil_level_why == GOOD:
            if forced & OIL_LOW:
                force |= OIL_LOW
                self.oil_low_force_ms = 0
            elif self.oil_low_force_ms >= 5000:
                self.oil_low_force_ms = 0
                force |= OIL_LOW
            else:
                self.oil_low_force_ms += dt
        elif forced & OIL_LOW and self.oil_low_force_ms < 5000:
            self.oil_low_force_ms += dt
            force |= OIL_LOW
        else:
            self.oil_low_force_ms = 0

        if diesel_level < self.diesel_low_block and diesel_level_why == GOOD:
            if blocked & DIESEL_LOW:
                block |= DIESEL_LOW
                self.diesel_low_block_ms = 0
            elif self.diesel_low_block_ms >= 5000:
                self.diesel_low_block_ms = 0
                block |= DIESEL_LOW
            else:
                self.diesel_low_block_ms += dt
        elif blocked & DIESEL_LOW and self.diesel_low_block_ms < 5000:
            self.diesel_low_block_ms += dt
            block |= DIESEL_LOW
        else:
            self.diesel_low_block_ms = 0
        if diesel_level < self.diesel_low_force and diesel_level_why == GOOD:
            if forced & DIESEL_LOW:
                force |= DIESEL_LOW
                self.diesel_low_force_ms = 0
            elif self.diesel_low_force_ms >= 5000:
                self.diesel_low_force_ms = 0
                force |= DIESEL_LOW
            else:
                self.diesel_low_force_ms += dt
        elif forced & DIESEL_LOW and self.diesel_low_force_ms < 5000:
            self.diesel_low_force_ms += dt
            force |= DIESEL_LOW
        else:
            self.diesel_low_force_ms = 0

        if self.lines_dirty:
            block |= LINES

        if mean_pa > self.suction_block_pa or spent:
            block |= RESTRICTED
        if suction > self.suction_force_pa and suction_why == GOOD:
            if forced & RESTRICTED:
                force |= RESTRICTED
                self.restricted_ms = 0
            elif self.restricted_ms >= 10000:
                self.restricted_ms = 0
                force |= RESTRICTED
            else:
                self.restricted_ms += dt
        else:
            self.restricted_ms = 0

        if self.reverts > self.reverts_max or blocked & CHATTER:
            block |= CHATTER

        if heater_failed:
            block |= HEATER

        if oil_why == GOOD and (
            oil < self.oil_entry or (oil_tank < self.oil_entry and oil_tank_why == GOOD and oil_tank < oil)
        ):
            block |= OIL_COLD
            self.oil_cold_block_ms = 0
        elif blocked & OIL_COLD:
            if self.oil_cold_block_ms >= 2000:
                self.oil_cold_block_ms = 0
            else:
                self.oil_cold_block_ms += dt
                block |= OIL_COLD
        if oil < self.oil_exit and oil_why == GOOD:
            if forced & OIL_COLD:
                force |= OIL_COLD
                self.oil_cold_force_ms = 0
            elif self.oil_cold_force_ms >= 2000:
                self.oil_cold_force_ms = 0
                force |= OIL_COLD
            else:
                self.oil_cold_force_ms += dt
        elif forced & OIL_COLD and self.oil_cold_force_ms < 2000:
            self.oil_cold_force_ms += dt
            force |= OIL_COLD
        else:
            self.oil_cold_force_ms = 0

        if coolant < self.coolant_entry and coolant_why == GOOD:
            block |= COOLANT_COLD
            self.coolant_cold_block_ms = 0
        elif blocked & COOLANT_COLD:
            if self.coolant_cold_block_ms >= 2000:
                self.coolant_cold_block_ms = 0
            else:
                self.coolant_cold_block_ms += dt
                block |= COOLANT_COLD
        if coolant < self.coolant_exit and coolant_why == GOOD:
            if forced & COOLANT_COLD:
                force |= COOLANT_COLD
                self.coolant_cold_force_ms = 0
            elif self.coolant_cold_force_ms >= 2000:
                self.coolant_cold_force_ms = 0
                force |= COOLANT_COLD
            else:
                self.coolant_cold_force_ms += dt
        elif forced & COOLANT_COLD and self.coolant_cold_force_ms < 2000:
            self.coolant_cold_force_ms += dt
            force |= COOLANT_COLD
        else:
            self.coolant_cold_force_ms = 0

        if self.dwell_ms > 0:
            block |= DWELL
        self.blocked = block
        self.forced = force

        # the driver
        if engine:
            self.engine_ms += dt
            if self.engine_ms > SATURATED_MS:
                self.engine_ms = SATURATED_MS
        else:
            self.engine_ms = 0
        self.state_ms += dt
        if self.state_ms > SATURATED_MS:
            self.state_ms = SATURATED_MS
        if self.dwell_ms > 0:
            self.dwell_ms -= dt
            if self.dwell_ms < 0:
                self.dwell_ms = 0
        if button:
            before = self.press_ms
            self.press_ms = min(before + dt, SATURATED_MS)
            if before < 2000 <= self.press_ms:
                self.stop_held = not self.stop_held
        else:
            if 0 < self.press_ms < 2000:
                self.short_presses += 1
            self.press_ms = 0
        edge = ready and not self.ready_before
        self.ready_before = ready
        if not ready or self.stop_held:
            self.granted = False
        state = self.state
        if edge and self.authority == PERMIT and state != PARKED:
            if block | force:
                self._note(state, _lowest(block | force))
            elif self.stop_held:
                self._note(state, reasons.STOPPING_SOON)
            else:
                self.granted = True
        if self.authority == ADVISE or self.stop_held:
            wanted = False
        elif self.authority == PERMIT:
            wanted = self.granted
        else:
            wanted = ready

        # the decision
        if not key:
            if state != PARKED:
                may_run_on = brake and neutral and bonnet and not force & STOPS_RUN_ON
                if state == RUN_ON:
                    if self._credited(force, dt):
                        self._clean()
                        self._go(PARKED, reasons.PURGED)
                    elif not may_run_on or self.state_ms >= self.run_on_ms:
                        self._go(PARKED, reasons.RUN_ON_ENDED)
                elif self.lines_dirty and engine and self.run_on_ms and may_run_on:
                    if state != PURGING:
                        self.credit_ul = 0
                    self._go(RUN_ON, reasons.KEY_OFF)
                else:
                    self._go(PARKED, reasons.KEY_OFF)
        elif state in (ON_OIL, FILLING):
            if force:
                self.granted = False
                reason = _lowest(force)
                if reason != rows.ENGINE:
                    self.reverts += 1
                self.credit_ul = 0
                self.dwell_ms = self.dwell_full_ms
                self._go(ON_DIESEL if force & FORBIDS_PURGE else PURGING, reason)
            elif not wanted:
                self.credit_ul = 0
                self.dwell_ms = self.dwell_full_ms
                self._go(PURGING, reasons.STOPPING_SOON if self.stop_held else reasons.SELECTOR)
            elif state == FILLING:
                if self.fill_ul < self.fill_target_ul:
                    longest = 2000 if dt >= 1000 else dt
                    self.fill_ul = min(self.fill_target_ul, self.fill_ul + (self.flow_max_ul_s * longest + 999) // 1000)
                if self.fill_ul >= self.fill_target_ul:
                    self._go(ON_OIL, reasons.FILLED)
        elif state == ON_DIESEL:
            if self.lines_dirty:
                if not force & FORBIDS_PURGE:
                    self._go(PURGING, reasons.PURGE_RESUMED)
            elif block or force or not wanted:
                if self.record_dirty and not self.write_wanted and not self.memory_bad:
                    self.record_dirty = False
                    self.write_wanted = True
            elif not self.record_dirty:
                self.record_dirty = True
                self.write_wanted = True
            elif not self.write_wanted:
                self.fill_ul = self.credit_ul = 0
                self.lines_dirty = True
                self._go(FILLING, reasons.ALLOWED)
        elif state == PURGING:
            if force & FORBIDS_PURGE:
                self._go(ON_DIESEL, _lowest(force & FORBIDS_PURGE))
            elif engine and self._credited(force, dt):
                self._clean()
                self._go(ON_DIESEL, reasons.PURGED)
        else:
            self._go(PURGING if self.lines_dirty else ON_DIESEL, reasons.KEY_ON)

        state = self.state
        moves_valves = self.authority != ADVISE
        self.supply_on = moves_valves and state in (ON_OIL, FILLING) and self.engine_ms >= 3000
        self.return_on = moves_valves and state in (ON_OIL, PURGING, RUN_ON) and self.engine_ms >= 500

    def _credited(self, force: int, dt: int) -> bool:
        if force & SUPPLY_VALVE:
            return False
        if self.credit_ul < self.purge_target_ul:
            self.credit_ul = min(self.purge_target_ul, self.credit_ul + self.flow_low_ul_s * dt // 1000)
        return self.credit_ul >= self.purge_target_ul

    def _clean(self) -> None:
        self.lines_dirty = False
        if not self.memory_bad:
            self.record_dirty = False
            self.write_wanted = True

    def _note(self, state: int, reason: int) -> None:
        self.moves += 1
        self.move_from = self.state
        self.move_to = state
        self.move_reason = reason

    def _go(self, state: int, reason: int) -> None:
        self._note(state, reason)
        self.state = state
        self.state_ms = 0
        if state == PARKED:
            if not self.memory_bad:
                self.record_dirty = self.lines_dirty
            self.write_wanted = True


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1
