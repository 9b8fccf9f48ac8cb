"""Drives written down tick by tick: what the law was given, what its trust made of that, what it decided."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any
from unittest.mock import patch

from changeover import rows
from changeover.inputs import BONNET, BRAKE, BUTTON, ENGINE, KEY, NEUTRAL, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.interlocks import Interlocks
from changeover.law import Law
from changeover.sensing import COOLANT, DIESEL_LEVEL, OIL, OIL_LEVEL, OIL_TANK, PUMP_INLET, SUPPLY
from host_sim.drive import Drive
from host_sim.profile import load_profile
from host_sim.scenario import Drive as Leg
from host_sim.scenario import Scenario, Selector, Stop, load_scenario

Reading = tuple[Any, ...]  # ints and bools, in the order of FIELDS
FIELDS = (
    "dt_ms", "coolant", "coolant_why", "oil", "oil_why", "suction", "suction_why", "oil_tank", "oil_tank_why",
    "inlet_why", "oil_level", "oil_level_why", "diesel_level", "diesel_level_why", "supply", "supply_why", "key",
    "engine", "ready", "button", "supply_contact", "return_contact", "brake", "neutral", "bonnet", "mean_pa",
    "spent", "air",
    "heater_failed",
)  # fmt: skip
Answer = tuple[bool, bool]  # did the write succeed, did the record say that oil is in the lines


@dataclass
class Record:
    """One or more trips. Index = tick; `boots`, `restarts` happen before a tick's step, `answers` after it."""

    values: dict[str, int]
    readings: list[Reading] = field(default_factory=list)
    raw: list[tuple[int, list[int], list[bool]]] = field(default_factory=list)
    decided: list[tuple[int, ...]] = field(default_factory=list)
    masks: list[Reading] = field(default_factory=list)  # what the decision alone is given
    boots: dict[int, tuple[bool, bytes]] = field(default_factory=dict)  # oil in the lines; the record's bytes
    restarts: set[int] = field(default_factory=set)
    answers: dict[int, Answer] = field(default_factory=dict)

    def stretches(self) -> list[tuple[int, int]]:
        """(first, end) of the runs of ticks within which nothing but ticks happens."""
        cuts = {0, len(self.readings)} | set(self.boots) | self.restarts | {tick + 1 for tick in self.answers}
        marks = sorted(cuts)
        return list(pairwise(marks))


def decision(controller: Any, machine: Any) -> tuple[int, ...]:
    """What must be alike: `blocked` and `forced` of the one, state, commands and the last move of the other."""
    return (
        controller.blocked, controller.forced, machine.state, machine.supply_on, machine.return_on,
        machine.moves, machine.move_from, machine.move_to, machine.move_reason,
    )  # fmt: skip


def record(scenario: Scenario) -> Record:
    """Drive the scenario on its profile and write down every tick of the board."""
    drive = Drive(scenario, load_profile(scenario.profile))
    board = drive.board
    kept = Record(board.values)
    seen: list[Law | int] = [board.law, 0]  # the law of the last tick, its boards's ticks
    restarted: list[Interlocks] = []
    answers: list[Answer] = []
    restart, written = Interlocks.restart, Law.written

    def noted_restart(self: Interlocks) -> None:
        restarted.append(self)
        restart(self)

    def noted_answer(self: Law, succeeded: bool) -> None:
        answers.append((succeeded, self.record.oil_in_lines))
        written(self, succeeded)

    def each(_t_s: float) -> None:
        if board.ticks == seen[1]:
            return
        law = board.law
        tick = len(kept.readings)
        first = law is not seen[0] or tick == 0
        if first:
            remembered = copy.copy(law.record)
            remembered.refused()  # so that it encodes to what was read, not to its successor
            kept.boots[tick] = (remembered.oil_in_lines, remembered.encode())
        seen[:] = [law, board.ticks]
        if restarted:
            kept.restarts.add(tick)
        if answers:
            kept.answers[tick] = answers[-1]
        restarted.clear()
        answers.clear()
        kept.raw.append((board.last_tick_ms, list(board.signals.raw), list(board.signals.digital)))
        kept.readings.append(_reading(law, 0 if first else 100))
        kept.masks.append(_masks(law, 0 if first else 100))
        kept.decided.append(decision(law.interlocks, law.machine))

    drive.on_tick = each
    with patch.object(Interlocks, "restart", noted_restart), patch.object(Law, "written", noted_answer):
        drive.run()
    return kept


def _reading(law: Law, dt_ms: int) -> Reading:
    channel, contact = law.inputs.channel, law.inputs.contact
    coolant, oil, supply = channel[COOLANT], channel[OIL], channel[SUPPLY]
    oil_level, diesel_level, oil_tank = channel[OIL_LEVEL], channel[DIESEL_LEVEL], channel[OIL_TANK]
    pins = (KEY, ENGINE, READY, BUTTON, SUPPLY_CONTACT, RETURN_CONTACT, BRAKE, NEUTRAL, BONNET)
    return (
        dt_ms, coolant.value, coolant.reason, oil.value, oil.reason, law.inputs.suction_pa, law.inputs.suction_reason,
        oil_tank.value, oil_tank.reason, channel[PUMP_INLET].reason, oil_level.value, oil_level.reason,
        diesel_level.value, diesel_level.reason, supply.value, supply.reason, *(contact[pin].on for pin in pins),
        law.restriction.mean_pa, law.restriction.spent, law.restriction.air, law.heater.failed,
    )  # fmt: skip


def _masks(law: Law, dt_ms: int) -> Reading:
    contact = law.inputs.contact
    pins = (KEY, ENGINE, READY, BUTTON, BRAKE, NEUTRAL, BONNET)
    return (dt_ms, law.interlocks.blocked, law.interlocks.forced, *(contact[pin].on for pin in pins))


def typical() -> Scenario:
    """From the demo's winter morning: 17 minutes of road from cold, a purge, the key; every state but RUN_ON."""
    road = Leg(do="drive", minutes=17, pattern="road", speed_kmh=85, grade_percent=0.0)
    trip = [
        Selector(do="selector", position="READY"),
        road,
        Stop(do="stop", minutes=1, purge="idle", purge_wait_min=10),
    ]
    return load_scenario("winter_commute").model_copy(update={"trip": trip})


def rows_met(kept: Record) -> tuple[int, int, int]:
    """How many rows blocked at least once, how many forced, and how many rows there are."""
    blocked = forced = 0
    for decided in kept.decided:
        blocked |= decided[0]
        forced |= decided[1]
    return blocked.bit_count(), forced.bit_count(), len(rows.TABLE)
