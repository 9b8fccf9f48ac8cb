"""The closed loop without its actors: car, board and judges, stepped together; copyable, so that a run can be forked at any tick."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, field

from changeover import reasons, rows
from changeover.states import FILLING, ON_OIL, STATES
from host_sim.car import Car
from host_sim.faults import Injector
from host_sim.fluids import changeover_temperatures
from host_sim.hazards import THICK_MM2_S, Monitors
from host_sim.ideal import Ideal
from host_sim.signals import Cockpit, Signals
from host_sim.truth import Truth
from host_sim.virtual_board import TICK_MS, VirtualBoard

TICK_S = TICK_MS / 1000.0
PARKED_STEP_MS = 60_000
_OWN = ("car", "cockpit", "signals", "injector", "board", "truth", "monitors", "ideal", "totals")


@dataclass
class Move:
    """One transition or refusal of the law, with the numbers that decided."""

    time_s: float
    before: str
    after: str
    reason: int
    measured: int
    limit: int
    unit: str
    forced: bool
    called_for: bool

    @property
    def refused(self) -> bool:
        """A request that met a closed door: nothing moved."""
        return self.before == self.after


@dataclass
class Totals:
    """What a drive adds up to."""

    time_on_oil_s: float = 0.0
    engine_s: float = 0.0
    trips: int = 0
    distance_km: float = 0.0
    moves: list[Move] = field(default_factory=list)

    @property
    def false_forced_exits(self) -> int:
        """Forced exits whose row's truth predicate did not hold."""
        return sum(move.forced and not move.called_for for move in self.moves)


class Loop:
    """One car with its board and judges. `run_to` moves all of them; hands, weather and faults are somebody else's.

    `on_tick` sees each powered tick, for logs and reports; a fork does not take it along.
    """

    def __init__(self, car: Car, values: dict[str, int], seed: int, purged: bool = True) -> None:
        """`purged`: the board's flash remembers at first that the lines hold diesel."""
        self.car = car
        self.cockpit = Cockpit()
        self.signals = Signals(seed, self.cockpit)
        self.injector = Injector(seed)
        self.board = VirtualBoard(values, car, self.signals, self.injector, purged)
        self.truth = Truth(self.board)
        self.monitors = Monitors(self.board, self.truth)
        self.ideal = Ideal(self.board, changeover_temperatures(car.oil_d341, THICK_MM2_S))
        self.totals = Totals()
        self.on_tick: Callable[[float], None] | None = None
        self.now_ms = 0
        self._boots = 0
        self._moves_seen = 0
        self._was_key = False
        self._slow_in = 0

    def fork(self) -> Loop:
        """The same as it is now, going on alone; tables and settings are shared."""
        twin = Loop.__new__(Loop)
        parts = copy.deepcopy([getattr(self, name) for name in _OWN], {id(self.board.values): self.board.values})
        for name, part in zip(_OWN, parts, strict=True):
            setattr(twin, name, part)
        twin.on_tick = None
        twin.now_ms = self.now_ms
        twin._boots = self._boots
        twin._moves_seen = self._moves_seen
        twin._was_key = self._was_key
        twin._slow_in = self._slow_in
        return twin

    def run_to(self, until_ms: int) -> None:
        """Car, board and judges up to this time; nobody else acts."""
        while self.now_ms < until_ms:
            awake = self.board.powered or self.car.key_on or self.car.engine_running
            left = until_ms - self.now_ms
            if awake:
                self.tick(min(TICK_MS - self.now_ms % TICK_MS, left))
            else:
                self._rest(min(PARKED_STEP_MS - self.now_ms % PARKED_STEP_MS, left))

    def tick(self, dt_ms: int = TICK_MS) -> None:
        """One step of at most a tick; the board steps where it ends on its own 100 ms."""
        dt_s = dt_ms / 1000.0
        car = self.car
        self.now_ms += dt_ms
        t_s = self.now_ms / 1000.0
        car.advance(dt_s)
        self.truth.observe(dt_s)
        board = self.board
        if self.now_ms % TICK_MS == 0:
            board.tick(self.now_ms)
            if board.boots != self._boots:
                self._boots = board.boots
                self._moves_seen = 0
            machine = board.law.machine
            if machine.moves != self._moves_seen:
                self._moved(t_s)
            if machine.supply_on and (machine.state == FILLING or machine.state == ON_OIL):
                self.totals.time_on_oil_s += TICK_S
        self.ideal.step(dt_s)
        self.monitors.step(t_s, dt_s)
        if car.engine_running:
            self.totals.engine_s += dt_s
            self.totals.distance_km += car.speed_kmh * dt_s / 3600.0
        if car.key_on and not self._was_key:
            self.totals.trips += 1
        self._was_key = car.key_on
        self._slow_in -= 1
        if self._slow_in <= 0:
            self._slow_in = 10
            self.monitors.slow(t_s)
        if self.on_tick is not None:
            self.on_tick(t_s)

    def _rest(self, dt_ms: int) -> None:
        """Parked, the board without power: the car cools in long steps."""
        self.now_ms += dt_ms
        self.car.advance(dt_ms / 1000.0)
        self.truth.observe(dt_ms / 1000.0)
        t_s = self.now_ms / 1000.0
        self.monitors.step(t_s, dt_ms / 1000.0)
        self.monitors.slow(t_s)
        if self.on_tick is not None:
            self.on_tick(t_s)

    def _moved(self, t_s: float) -> None:
        law = self.board.law
        machine = law.machine
        self._moves_seen = machine.moves
        reason = machine.move_reason
        forced = (
            reason < reasons.KEY_OFF and machine.move_from in (FILLING, ON_OIL) and machine.move_to != machine.move_from
        )
        law.evidence.read(reason, forced)
        self.totals.moves.append(
            Move(
                t_s, STATES[machine.move_from], STATES[machine.move_to], reason, law.evidence.measured, law.evidence.limit,
                law.evidence.unit, forced, not forced or self.truth.row_true(reason),
            )
        )  # fmt: skip


def reason_text(reason: int) -> str:
    """A reason in words: the interlock's name, or what the driver or the volumes did."""
    if reason < reasons.KEY_OFF:
        return str(rows.TABLE[reason][rows.NAME])
    return reasons.TEXTS[reason - reasons.KEY_OFF]
