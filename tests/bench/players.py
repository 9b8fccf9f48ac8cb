"""What the controllers have in common for the bench: be booted, restarted, answered, and played a stretch of ticks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from changeover.inputs import BONNET, BRAKE, BUTTON, ENGINE, KEY, NEUTRAL, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.law import Law
from changeover.memory import Record as Memory
from changeover.sensing import COOLANT, DIESEL_LEVEL, OIL, OIL_LEVEL, OIL_TANK, PUMP_INLET, SUPPLY
from tests.bench.flat import Flat
from tests.bench.packages import Controller
from tests.bench.record import Reading, decision

Raw = tuple[int, list[int], list[bool]]


def memory(oil_in_lines: bool) -> Memory:
    """A flash record that says this."""
    kept = Memory()
    kept.oil_in_lines = oil_in_lines
    return kept


class Player:
    """`step` and `decide` play ticks; `load` and `load_masks` only put their readings in place, to be taken off."""

    def boot(self, lines_dirty: bool) -> None:
        """Power on."""
        raise NotImplementedError

    def restart(self) -> None:
        """Key on."""
        raise NotImplementedError

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        """A write is answered."""
        raise NotImplementedError

    def decided(self) -> tuple[int, ...]:
        """What must be alike."""
        raise NotImplementedError

    def step(self, readings: Sequence[Reading]) -> None:
        """Interlocks and decision."""
        raise NotImplementedError


class FlatPlayer(Player):
    """The yardstick; its readings are arguments of its step."""

    def __init__(self, values: dict[str, int]) -> None:
        self.values = values
        self.flat = Flat(values, False)

    def boot(self, lines_dirty: bool) -> None:
        self.flat = Flat(self.values, lines_dirty)

    def restart(self) -> None:
        self.flat.restart()

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        self.flat.written(succeeded, said_dirty)

    def decided(self) -> tuple[int, ...]:
        return decision(self.flat, self.flat)

    def step(self, readings: Sequence[Reading]) -> None:
        """Interlocks and decision."""
        step = self.flat.step
        for reading in readings:
            step(reading)


class LawPlayer(Player):
    """The law's conditions, interlocks and machine on readings that are trusted already; `whole` with its sensing."""

    def __init__(self, values: dict[str, int]) -> None:
        self.values = values
        self.law = Law(values, memory(False))

    def boot(self, lines_dirty: bool) -> None:
        self.law = Law(self.values, memory(lines_dirty))

    def restart(self) -> None:
        law = self.law
        law.interlocks.restart()
        law.conditions.restart()
        law.machine.restart()

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        self.law.record.oil_in_lines = said_dirty
        self.law.written(succeeded)

    def decided(self) -> tuple[int, ...]:
        return decision(self.law.interlocks, self.law.machine)

    def step(self, readings: Sequence[Reading]) -> None:
        """Conditions, interlocks and decision."""
        law = self.law
        conditions, interlocks = law.conditions, law.interlocks
        condition_step, interlock_step, machine_step = conditions.step, interlocks.step, law.machine.step
        inputs, restriction, heater = law.inputs, law.restriction, law.heater
        coolant, oil, supply = inputs.channel[COOLANT], inputs.channel[OIL], inputs.channel[SUPPLY]
        oil_level, diesel_level = inputs.channel[OIL_LEVEL], inputs.channel[DIESEL_LEVEL]
        tank, inlet = inputs.channel[OIL_TANK], inputs.channel[PUMP_INLET]
        contact = inputs.contact
        key, engine, ready, button = contact[KEY], contact[ENGINE], contact[READY], contact[BUTTON]
        supply_contact, return_contact = contact[SUPPLY_CONTACT], contact[RETURN_CONTACT]
        brake, neutral, bonnet = contact[BRAKE], contact[NEUTRAL], contact[BONNET]
        for (
            dt_ms, coolant.value, coolant.reason, oil.value, oil.reason, inputs.suction_pa, inputs.suction_reason,
            tank.value, tank.reason, inlet.reason, oil_level.value, oil_level.reason,
            diesel_level.value, diesel_level.reason, supply.value, supply.reason,
            key.on, engine.on, ready.on, button.on, supply_contact.on, return_contact.on, brake.on, neutral.on,
            bonnet.on, restriction.mean_pa, restriction.spent, restriction.air, heater.failed,
        ) in readings:  # fmt: skip
            condition_step(dt_ms)
            interlock_step(conditions.block, conditions.force, dt_ms)
            machine_step(dt_ms)

    def load(self, readings: Sequence[Reading]) -> None:
        law = self.law
        inputs, restriction, heater = law.inputs, law.restriction, law.heater
        coolant, oil, supply = inputs.channel[COOLANT], inputs.channel[OIL], inputs.channel[SUPPLY]
        oil_level, diesel_level = inputs.channel[OIL_LEVEL], inputs.channel[DIESEL_LEVEL]
        tank, inlet = inputs.channel[OIL_TANK], inputs.channel[PUMP_INLET]
        contact = inputs.contact
        key, engine, ready, button = contact[KEY], contact[ENGINE], contact[READY], contact[BUTTON]
        supply_contact, return_contact = contact[SUPPLY_CONTACT], contact[RETURN_CONTACT]
        brake, neutral, bonnet = contact[BRAKE], contact[NEUTRAL], contact[BONNET]
        for (
            _dt_ms, coolant.value, coolant.reason, oil.value, oil.reason, inputs.suction_pa, inputs.suction_reason,
            tank.value, tank.reason, inlet.reason, oil_level.value, oil_level.reason,
            diesel_level.value, diesel_level.reason, supply.value, supply.reason,
            key.on, engine.on, ready.on, button.on, supply_contact.on, return_contact.on, brake.on, neutral.on,
            bonnet.on, restriction.mean_pa, restriction.spent, restriction.air, heater.failed,
        ) in readings:  # fmt: skip
            pass

    def decide(self, masks: Sequence[Reading]) -> None:
        """The decision alone."""
        law = self.law
        interlocks, contact, machine_step = law.interlocks, law.inputs.contact, law.machine.step
        key, engine, ready, button = contact[KEY], contact[ENGINE], contact[READY], contact[BUTTON]
        brake, neutral, bonnet = contact[BRAKE], contact[NEUTRAL], contact[BONNET]
        for (
            dt_ms, interlocks.blocked, interlocks.forced, key.on, engine.on, ready.on, button.on, brake.on, neutral.on,
            bonnet.on,
        ) in masks:  # fmt: skip
            machine_step(dt_ms)

    def load_masks(self, masks: Sequence[Reading]) -> None:
        law = self.law
        interlocks, contact = law.interlocks, law.inputs.contact
        key, engine, ready, button = contact[KEY], contact[ENGINE], contact[READY], contact[BUTTON]
        brake, neutral, bonnet = contact[BRAKE], contact[NEUTRAL], contact[BONNET]
        for (
            _dt_ms, interlocks.blocked, interlocks.forced, key.on, engine.on, ready.on, button.on, brake.on, neutral.on,
            bonnet.on,
        ) in masks:  # fmt: skip
            pass

    def whole(self, raw: Sequence[Raw]) -> None:
        """The whole step, from raw counts and levels."""
        step = self.law.step
        for now_ms, counts, levels in raw:
            step(now_ms, counts, levels)


class WholeLawPlayer(LawPlayer):
    """The whole law notices the key by itself."""

    def restart(self) -> None:
        pass


class PackagePlayer(Player):
    """A controller of `packages`."""

    def __init__(self, values: dict[str, int], build: Callable[[dict[str, int], bool], Controller]) -> None:
        self.values = values
        self.build = build
        self.controller: Any = build(values, False)

    def boot(self, lines_dirty: bool) -> None:
        self.controller = self.build(self.values, lines_dirty)

    def restart(self) -> None:
        self.controller.restart()

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        self.controller.written(succeeded, said_dirty)

    def decided(self) -> tuple[int, ...]:
        controller = self.controller
        return (
            controller.blocked, controller.forced, controller.now, controller.supply_on, controller.return_on,
            controller.moves, controller.move_from, controller.move_to, controller.move_reason,
        )  # fmt: skip

    def step(self, readings: Sequence[Reading]) -> None:
        """Interlocks and decision."""
        c = self.controller
        step = c.step
        for (
            c.dt_ms, c.coolant, c.coolant_why, c.oil, c.oil_why, c.suction, c.suction_why, c.oil_tank, c.oil_tank_why,
            c.inlet_why, c.oil_level, c.oil_level_why, c.diesel_level, c.diesel_level_why, c.supply, c.supply_why,
            c.key, c.engine, c.ready, c.button, c.supply_contact, c.return_contact, c.brake, c.neutral, c.bonnet,
            c.mean_pa, c.spent, c.air, c.heater_failed,
        ) in readings:  # fmt: skip
            step()

    def load(self, readings: Sequence[Reading]) -> None:
        c = self.controller
        for (
            c.dt_ms, c.coolant, c.coolant_why, c.oil, c.oil_why, c.suction, c.suction_why, c.oil_tank, c.oil_tank_why,
            c.inlet_why, c.oil_level, c.oil_level_why, c.diesel_level, c.diesel_level_why, c.supply, c.supply_why,
            c.key, c.engine, c.ready, c.button, c.supply_contact, c.return_contact, c.brake, c.neutral, c.bonnet,
            c.mean_pa, c.spent, c.air, c.heater_failed,
        ) in readings:  # fmt: skip
            pass

    def decide(self, masks: Sequence[Reading]) -> None:
        """The decision alone."""
        c = self.controller
        decide = c.decide
        for (
            c.dt_ms, c.blocked, c.forced, c.key, c.engine, c.ready, c.button, c.brake, c.neutral, c.bonnet,
        ) in masks:  # fmt: skip
            decide()

    def load_masks(self, masks: Sequence[Reading]) -> None:
        c = self.controller
        for (
            c.dt_ms, c.blocked, c.forced, c.key, c.engine, c.ready, c.button, c.brake, c.neutral, c.bonnet,
        ) in masks:  # fmt: skip
            pass
