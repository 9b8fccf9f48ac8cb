"""The same controller on two state-machine packages: the interlock table walked in full every tick, the moves declared.

Both share the checks, timers and volumes below and differ in who decides; neither knows the authority `permit`.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from functools import partial
from typing import Any

from changeover import reasons, rows
from changeover.limits import Limits
from changeover.lines import Lines
from changeover.sensing import GOOD, SETTLING
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON, STATES
from tests.bench.flat import FORBIDS_PURGE, STOPS_RUN_ON, SUPPLY_VALVE

Condition = Callable[["Controller"], bool]
_KEPT_MS = 0x10000000
_TABLE = rows.TABLE


def _settings(c: Controller) -> bool:
    return c.settings_bad


def _starved(c: Controller) -> bool:
    return c.suction_why == GOOD and c.suction > c.limits.starved


def _supply_valve(c: Controller) -> bool:
    return c.supply_contact != c.supply_on


def _return_valve(c: Controller) -> bool:
    return c.return_contact != c.return_on


def _other(c: Controller) -> bool:
    return (
        c.oil_tank_why > SETTLING
        or c.inlet_why > SETTLING
        or c.oil_level_why > SETTLING
        or c.diesel_level_why > SETTLING
        or c.supply_why > SETTLING
    )


def _engine(c: Controller) -> bool:
    return not c.engine or c.engine_ms < 3000 or SETTLING in (
        c.coolant_why, c.oil_why, c.suction_why, c.oil_tank_why, c.inlet_why, c.oil_level_why, c.diesel_level_why,
        c.supply_why,
    )  # fmt: skip


def _oil_cold(c: Controller) -> bool:
    entry = c.limits.oil_entry
    return c.oil_why == GOOD and (c.oil < entry or (c.oil_tank_why == GOOD and c.oil_tank < entry))


BLOCKS: dict[int, Condition] = {
    rows.SETTINGS: _settings,
    rows.STARVED: _starved,
    rows.SUPPLY_LOW: lambda c: c.supply_why == GOOD and c.supply < c.limits.supply_block,
    rows.SUPPLY_VALVE: _supply_valve,
    rows.RETURN_VALVE: _return_valve,
    rows.NO_ROOM: lambda c: c.oil_level_why == GOOD and c.oil_level > c.limits.oil_room,
    rows.COOLANT_SENSOR: lambda c: c.coolant_why > SETTLING,
    rows.OIL_SENSOR: lambda c: c.oil_why > SETTLING,
    rows.SUCTION_SENSOR: lambda c: c.suction_why > SETTLING,
    rows.OTHER_SENSOR: _other,
    rows.AIR: lambda c: c.air,
    rows.OIL_HOT: lambda c: c.oil_why == GOOD and c.oil > c.limits.oil_hot - 300,
    rows.RESTARTED: lambda c: c.restarted,
    rows.OVERRUN: lambda c: c.late >= 20,
    rows.MEMORY: lambda c: c.memory_bad,
    rows.ENGINE: _engine,
    rows.OIL_LOW: lambda c: c.oil_level_why == GOOD and c.oil_level < c.limits.oil_low_block,
    rows.DIESEL_LOW: lambda c: c.diesel_level_why == GOOD and c.diesel_level < c.limits.diesel_low_block,
    rows.LINES: lambda c: c.lines_dirty,
    rows.RESTRICTED: lambda c: c.mean_pa > c.limits.suction_block or c.spent,
    rows.CHATTER: lambda c: c.reverts > c.limits.reverts_max,
    rows.HEATER: lambda c: c.heater_failed,
    rows.OIL_COLD: _oil_cold,
    rows.COOLANT_COLD: lambda c: c.coolant_why == GOOD and c.coolant < c.limits.coolant_entry,
    rows.DWELL: lambda c: c.dwell_ms > 0,
}
FORCES: dict[int, Condition] = {
    **{row: BLOCKS[row] for row in range(rows.NO_ROOM) if row != rows.SUPPLY_LOW},
    rows.SUPPLY_LOW: lambda c: c.engine and c.supply_why == GOOD and c.supply < c.limits.supply_force,
    rows.NO_ROOM: lambda c: c.oil_level_why == GOOD and c.oil_level > c.limits.oil_full,
    **{row: BLOCKS[row] for row in range(rows.COOLANT_SENSOR, rows.OIL_HOT)},
    rows.OIL_HOT: lambda c: c.oil_why == GOOD and c.oil > c.limits.oil_hot,
    rows.OVERRUN: BLOCKS[rows.OVERRUN],
    rows.ENGINE: lambda c: not c.engine,
    rows.OIL_LOW: lambda c: c.oil_level_why == GOOD and c.oil_level < c.limits.oil_low_force,
    rows.DIESEL_LOW: lambda c: c.diesel_level_why == GOOD and c.diesel_level < c.limits.diesel_low_force,
    rows.RESTRICTED: lambda c: c.suction_why == GOOD and c.suction > c.limits.suction_force,
    rows.OIL_COLD: lambda c: c.oil_why == GOOD and c.oil < c.limits.oil_exit,
    rows.COOLANT_COLD: lambda c: c.coolant_why == GOOD and c.coolant < c.limits.coolant_exit,
}


class Check:
    """One column of one row: its condition with hold times."""

    def __init__(self, row: int, condition: Condition, rise_ms: int) -> None:
        self.bit = 1 << row
        self.condition = condition
        self.rise_ms = rise_ms
        self.clear_ms = _TABLE[row][rows.CLEAR_MS]
        self.latched = _TABLE[row][rows.LATCH] == rows.LATCHED
        self.on = False
        self.wait_ms = 0

    def hold(self, dt_ms: int) -> None:
        """One tick in which the condition differs from what is held."""
        if self.on and self.latched:
            return
        if self.wait_ms >= (self.clear_ms if self.on else self.rise_ms):
            self.on = not self.on
            self.wait_ms = 0
        else:
            self.wait_ms += dt_ms


# source, destination (None: stays), conditions that must all hold, action before it; the first that fits is taken
MOVES: tuple[tuple[str, str | None, tuple[str, ...], str], ...] = (
    ("PARKED", "PURGING", ("key_on", "dirty"), "because_key_on"),
    ("PARKED", "ON_DIESEL", ("key_on",), "because_key_on"),
    ("RUN_ON", "PURGING", ("key_on", "dirty"), "because_key_on"),
    ("RUN_ON", "ON_DIESEL", ("key_on",), "because_key_on"),
    ("RUN_ON", "PARKED", ("credited",), "purged"),
    ("RUN_ON", "PARKED", ("run_on_over",), "because_run_on_over"),
    *(
        move
        for source in ("ON_DIESEL", "FILLING", "ON_OIL", "PURGING")
        for move in (
            (source, "RUN_ON", ("key_off", "may_start_run_on"), "start_run_on"),
            (source, "PARKED", ("key_off",), "because_key_off"),
        )
    ),
    ("ON_DIESEL", "PURGING", ("dirty", "may_purge"), "resume_purge"),
    ("ON_DIESEL", None, ("may_withdraw",), "withdraw"),
    ("ON_DIESEL", None, ("may_announce",), "announce"),
    ("ON_DIESEL", "FILLING", ("may_let_in",), "let_in"),
    ("PURGING", "ON_DIESEL", ("must_not_purge",), "stop_purge"),
    ("PURGING", "ON_DIESEL", ("running", "credited"), "purged"),
    *(
        move
        for source in ("FILLING", "ON_OIL")
        for move in (
            (source, "ON_DIESEL", ("must_leave", "must_not_purge"), "revert"),
            (source, "PURGING", ("must_leave",), "revert"),
            (source, "PURGING", ("unwanted",), "leave"),
        )
    ),
    ("FILLING", "ON_OIL", ("filled",), "because_filled"),
)


class Controller:
    """Checks, timers, volumes; `trigger` is the package's event. Readings are set from outside, by their names."""

    dt_ms: int
    coolant: int
    coolant_why: int
    oil: int
    oil_why: int
    suction: int
    suction_why: int
    oil_tank: int
    oil_tank_why: int
    inlet_why: int
    oil_level: int
    oil_level_why: int
    diesel_level: int
    diesel_level_why: int
    supply: int
    supply_why: int
    key: bool
    engine: bool
    ready: bool
    button: bool
    supply_contact: bool
    return_contact: bool
    brake: bool
    neutral: bool
    bonnet: bool
    mean_pa: int
    spent: bool
    air: bool
    heater_failed: bool

    def __init__(self, values: dict[str, int], lines_dirty: bool) -> None:
        self.limits = Limits(values)
        self.lines = Lines(values)
        self.run_on_ms = values["run_on_s"] * 1000
        self.dwell_full_ms = values["dwell_diesel_s"] * 1000
        self.settings_bad = self.restarted = False
        self.late = 0
        self.excused = False
        self.press_ms = 0
        self.lines_dirty = self.record_dirty = lines_dirty
        self.write_wanted = self.supply_on = self.return_on = False
        self.engine_ms = self.state_ms = 0
        self.now = self.move_from = self.move_to = PARKED
        self.moves = 0
        self.reason = self.move_reason = reasons.KEY_OFF
        self.trigger: Callable[[], object] = lambda: None
        self.restart()

    def restart(self) -> None:
        """Key-on."""
        self.blocked = self.forced = 0
        self.block_checks = [Check(row, condition, _TABLE[row][rows.BLOCK_MS]) for row, condition in BLOCKS.items()]
        self.force_checks = [Check(row, condition, _TABLE[row][rows.FORCE_MS]) for row, condition in FORCES.items()]
        self.reverts = self.dwell_ms = 0
        self.stop_held = self.memory_bad = False

    def written(self, succeeded: bool, said_dirty: bool) -> None:
        """The board's answer to a write."""
        self.excused = True
        self.write_wanted = succeeded and said_dirty != self.record_dirty
        if not succeeded:
            self.memory_bad = self.record_dirty = True

    def step(self) -> None:
        """One tick, whole."""
        dt_ms = self.dt_ms
        if dt_ms > 250 and not self.excused:
            self.late = min(self.late + 10, 50)
        elif self.late:
            self.late -= 1
        self.excused = False
        blocked = forced = 0
        for check in self.block_checks:
            if check.condition(self) != check.on:
                check.hold(dt_ms)
            else:
                check.wait_ms = 0
            if check.on:
                blocked |= check.bit
        for check in self.force_checks:
            if check.condition(self) != check.on:
                check.hold(dt_ms)
            else:
                check.wait_ms = 0
            if check.on:
                forced |= check.bit
        self.blocked, self.forced = blocked, forced
        self.decide()

    def decide(self) -> None:
        """The decision alone, on `blocked` and `forced`."""
        dt_ms = self.dt_ms
        self.engine_ms = min(self.engine_ms + dt_ms, _KEPT_MS) if self.engine else 0
        self.state_ms = min(self.state_ms + dt_ms, _KEPT_MS)
        self.dwell_ms = max(self.dwell_ms - dt_ms, 0)
        if self.button:
            before = self.press_ms
            self.press_ms = min(before + dt_ms, _KEPT_MS)
            if before < 2000 <= self.press_ms:
                self.stop_held = not self.stop_held
        else:
            self.press_ms = 0
        self.trigger()
        state = self.now
        self.supply_on = state in (FILLING, ON_OIL) and self.engine_ms >= 3000
        self.return_on = state in (ON_OIL, PURGING, RUN_ON) and self.engine_ms >= 500

    def entered(self, state: int) -> None:
        """The package has moved."""
        self.moves += 1
        self.move_from, self.move_to, self.move_reason = self.now, state, self.reason
        self.now = state
        self.state_ms = 0
        if state == PARKED:
            if not self.memory_bad:
                self.record_dirty = self.lines_dirty
            self.write_wanted = True

    # conditions

    def key_on(self) -> bool:
        return self.key

    def key_off(self) -> bool:
        return not self.key

    def running(self) -> bool:
        return self.engine

    def dirty(self) -> bool:
        return self.lines_dirty

    def _may_run_on(self) -> bool:
        return self.brake and self.neutral and self.bonnet and not self.forced & STOPS_RUN_ON

    def may_start_run_on(self) -> bool:
        return self.lines_dirty and self.engine and self.run_on_ms > 0 and self._may_run_on()

    def run_on_over(self) -> bool:
        return not self._may_run_on() or self.state_ms >= self.run_on_ms

    def credited(self) -> bool:
        return not self.forced & SUPPLY_VALVE and self.lines.purge(self.dt_ms)

    def filled(self) -> bool:
        return self.lines.fill(self.dt_ms)

    def must_leave(self) -> bool:
        return self.forced != 0

    def must_not_purge(self) -> bool:
        return self.forced & FORBIDS_PURGE != 0

    def may_purge(self) -> bool:
        return self.forced & FORBIDS_PURGE == 0

    def unwanted(self) -> bool:
        return self.stop_held or not self.ready

    def _open(self) -> bool:
        return not (self.blocked or self.forced or self.unwanted())

    def may_withdraw(self) -> bool:
        idle = self.record_dirty and not self.lines_dirty and not self.write_wanted and not self.memory_bad
        return idle and not self._open()

    def may_announce(self) -> bool:
        return not self.lines_dirty and not self.record_dirty and self._open()

    def may_let_in(self) -> bool:
        return not self.lines_dirty and self.record_dirty and not self.write_wanted and self._open()

    # actions

    def because_key_on(self) -> None:
        self.reason = reasons.KEY_ON

    def because_key_off(self) -> None:
        self.reason = reasons.KEY_OFF

    def because_filled(self) -> None:
        self.reason = reasons.FILLED

    def because_run_on_over(self) -> None:
        self.reason = reasons.RUN_ON_ENDED

    def start_run_on(self) -> None:
        self.reason = reasons.KEY_OFF
        if self.now != PURGING:
            self.lines.begin_purge()

    def resume_purge(self) -> None:
        self.reason = reasons.PURGE_RESUMED

    def stop_purge(self) -> None:
        self.reason = _lowest(self.forced & FORBIDS_PURGE)

    def purged(self) -> None:
        self.reason = reasons.PURGED
        self.lines_dirty = False
        if not self.memory_bad:
            self.record_dirty = False
            self.write_wanted = True

    def withdraw(self) -> None:
        self.record_dirty = False
        self.write_wanted = True

    def announce(self) -> None:
        self.record_dirty = True
        self.write_wanted = True

    def let_in(self) -> None:
        self.reason = reasons.ALLOWED
        self.lines.begin_fill()
        self.lines_dirty = True

    def _begin_purge(self, reason: int) -> None:
        self.reason = reason
        self.lines.begin_purge()
        self.dwell_ms = self.dwell_full_ms

    def revert(self) -> None:
        reason = _lowest(self.forced)
        if reason != rows.ENGINE:
            self.reverts += 1
        self._begin_purge(reason)

    def leave(self) -> None:
        self._begin_purge(reasons.STOPPING_SOON if self.stop_held else reasons.SELECTOR)


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def on_transitions(values: dict[str, int], lines_dirty: bool) -> Controller:
    """The controller with `transitions` deciding. Raises ImportError where that is not installed."""
    machine = importlib.import_module("transitions").Machine
    controller = Controller(values, lines_dirty)
    entering = [{"name": name, "on_enter": partial(controller.entered, state)} for state, name in _NUMBERED]
    table = [
        {"trigger": "decide_move", "source": source, "dest": dest, "conditions": list(conditions), "before": action}
        for source, dest, conditions, action in MOVES
    ]
    machine(controller, states=entering, transitions=table, initial="PARKED", auto_transitions=False)
    controller.trigger = controller.decide_move  # type: ignore[attr-defined]  # the package gives the model this method
    return controller


def on_statemachine(values: dict[str, int], lines_dirty: bool) -> Controller:
    """The controller with `python-statemachine` deciding. Raises ImportError where that is not installed."""
    package = importlib.import_module("statemachine")
    controller = Controller(values, lines_dirty)
    states = {
        name: package.State(name, initial=name == "PARKED", enter=partial(controller.entered, state))
        for state, name in _NUMBERED
    }
    tick = None
    for source, dest, conditions, action in MOVES:
        how: dict[str, Any] = {"cond": list(conditions), "on": action}
        if dest is None:
            move = states[source].to.itself(internal=True, **how)
        else:
            move = states[source].to(states[dest], **how)
        tick = move if tick is None else tick | move
    body = {**states, "tick": tick, "allow_event_without_transition": True}
    machine = type("Decisions", (package.StateMachine,), body)(controller)
    controller.moves = 0  # it enters its first state, too
    controller.write_wanted = False
    controller.trigger = machine.tick
    return controller


_NUMBERED = tuple((state, STATES[state]) for state in (PARKED, ON_DIESEL, FILLING, ON_OIL, PURGING, RUN_ON))
