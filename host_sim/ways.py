"""Ways into each state: one undisturbed run for each layout and authority, forked where a fault is to begin.

The hands at the wheel are a list of (tick, act) that is written while the run goes on and replayed by its forks: whatever a
fault does, the same hands do the same things at the same times.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from functools import lru_cache

from changeover.settings import ADVISE, LOOPED_RETURN, PERMIT, TANK_RETURN
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, RUN_ON, STATES
from host_sim.car import Car, Layout
from host_sim.car_spec import load_car
from host_sim.loop import TICK_S, Loop
from host_sim.profile import load_profile
from host_sim.scenario import CARS, file_of
from host_sim.virtual_board import TICK_MS

LAYOUTS: dict[int, Layout] = {TANK_RETURN: "tank_return", LOOPED_RETURN: "looped_return"}
PROFILE = {TANK_RETURN: "full_guard", LOOPED_RETURN: "looped"}
AUTHORITIES = ("advise", "permit", "automatic")
PHASES = ("first tick", "middle", "last tick before exit")
AMBIENT_C = -5.0
SEED = 1
_WARM_MIN, _CRANK_RPM, _IDLE_RPM, _ROAD_RPM, _ROAD_KMH, _ROAD_LOAD = 60.0, 250.0, 850.0, 2200.0, 70.0, 0.35
_LONGEST_S = 4.0 * 3600.0


class NoWay(Exception):
    """A state that this layout and authority never enter, and the rule that says so."""


@dataclass(frozen=True)
class Rig:
    """Layout and authority, as the settings number them."""

    layout: int
    authority: int

    @property
    def name(self) -> str:
        """Both in words."""
        return f"{LAYOUTS[self.layout]}, {AUTHORITIES[self.authority]}"


RIGS = tuple(Rig(layout, authority) for layout in LAYOUTS for authority in range(len(AUTHORITIES)))


def unreachable(rig: Rig, state: int) -> str | None:
    """The rule by which a rig never enters a state, or None."""
    if rig.authority == ADVISE and state in (FILLING, ON_OIL, RUN_ON):
        return "advise moves nothing, so oil is never let in"
    if rig.layout == LOOPED_RETURN and state == FILLING:
        return "a looped return needs no filling: nothing goes to a tank"
    if rig.layout == LOOPED_RETURN and state == RUN_ON:
        return "a looped return is purged while driving: run-on is refused by the settings"
    return None


# Acts of the hands.


def _key(loop: Loop, on: float) -> None:
    loop.car.key_on = bool(on)


def _crank(loop: Loop, on: float) -> None:
    loop.car.cranking = bool(on)
    loop.car.engine_rpm = _CRANK_RPM if on else _IDLE_RPM


def _drive(loop: Loop, on: float) -> None:
    car = loop.car
    car.engine_rpm, car.engine_load, car.speed_kmh = (_ROAD_RPM, _ROAD_LOAD, _ROAD_KMH) if on else (_IDLE_RPM, 0.0, 0.0)
    car.run_on.brake_applied = car.run_on.in_neutral = not on


def _ready(loop: Loop, on: float) -> None:
    loop.cockpit.ready = bool(on)


def _button(loop: Loop, on: float) -> None:
    loop.cockpit.button = bool(on)


def _bonnet(loop: Loop, closed: float) -> None:
    loop.car.run_on.bonnet_closed = bool(closed)


Act = tuple[Callable[[Loop, float], None], float]


def _script(rig: Rig) -> Iterator[tuple[float | int, list[Act]]]:
    """(seconds to wait, or the state to wait for; then what the hands do), in order."""
    start: list[tuple[float | int, list[Act]]] = [
        (1.0, [(_key, 1)]), (2.0, [(_crank, 1)]), (1.5, [(_crank, 0)]), (5.0, [(_drive, 1)]),
    ]  # fmt: skip
    long_press: list[tuple[float | int, list[Act]]] = [(0.1, [(_button, 1)]), (2.5, [(_button, 0)])]
    park: list[Act] = [(_drive, 0), (_key, 0)]
    yield from start
    if rig.authority == ADVISE:
        yield ON_DIESEL, []
        yield 20.0, [(_drive, 0)]
        yield 2.0, [(_key, 0)]
        yield from [(20.0, []), *start]
        return
    ask: list[tuple[float | int, list[Act]]] = [(15.0, [(_ready, 1)])]
    if rig.authority == PERMIT:
        ask = [(75.0, [(_ready, 0)]), (1.0, [(_ready, 1)])]
    yield 15.0, [(_ready, 1)]
    yield ON_OIL, []
    yield from [(40.0, []), *long_press]
    yield ON_DIESEL, []
    yield from [(5.0, []), *long_press, *ask]
    yield ON_OIL, []
    yield 15.0, [(_drive, 0)]
    yield 2.0, park
    if rig.layout == TANK_RETURN:
        yield RUN_ON, []
        yield 20.0, [(_bonnet, 0)]
        yield 0.5, [(_bonnet, 1)]
    yield PARKED, []
    yield from [(20.0, []), *start]


class Hands:
    """The acts of one run, by tick; a fork goes on at the place where it was taken."""

    def __init__(self, acts: list[tuple[int, Act]], begun: int = 0) -> None:
        self.acts = acts
        self._next = begun

    def act(self, loop: Loop) -> None:
        """Everything that is due at this tick."""
        while self._next < len(self.acts) and self.acts[self._next][0] <= loop.now_ms:
            act, value = self.acts[self._next][1]
            act(loop, value)
            self._next += 1

    def fork(self) -> Hands:
        """The same hands for a fork of the loop."""
        return Hands(self.acts, self._next)


@lru_cache(maxsize=2)
def _warm_car(layout: int) -> Car:
    """Driven on diesel until the oil is hot as far as the filter, key off."""
    car = Car(load_car(file_of(CARS, "estate_1_9", "car")), LAYOUTS[layout], AMBIENT_C)
    car.key_on = True
    car.engine_rpm, car.engine_load, car.speed_kmh = _ROAD_RPM, _ROAD_LOAD, _ROAD_KMH
    for _ in range(round(60.0 * _WARM_MIN / TICK_S)):
        car.advance(TICK_S)
    car.key_on = False
    car.engine_rpm = car.engine_load = car.speed_kmh = 0.0
    return car


def settings_of(rig: Rig) -> dict[str, int]:
    """The settings of a rig: every input fitted, run-on configured where it may be."""
    changes = (
        ["run_on_s=120", "purge_factor_permille=2000"] if rig.layout == TANK_RETURN else ["purge_factor_permille=1500"]
    )
    return load_profile(PROFILE[rig.layout], [*changes, f"authority={rig.authority}"])


def _at_rest(rig: Rig) -> Loop:
    # under `advise` only a record that says oil in the lines leads into a purge
    return Loop(deepcopy(_warm_car(rig.layout)), settings_of(rig), SEED, purged=rig.authority != ADVISE)


class Way:
    """The undisturbed run of one rig. `window(state)`: its first and last tick (ms) in the state; `at(ms)`: a fork there."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.acts: list[tuple[int, Act]] = []
        self.states: list[int] = []  # after each tick
        loop = _at_rest(rig)
        for due, acts in _script(rig):
            self._until(loop, due)
            for act in acts:
                self.acts.append((loop.now_ms, act))
                act[0](loop, act[1])
        self._until(loop, 5.0)
        found = [hazard.id for hazard in loop.monitors.found]
        if found:
            raise AssertionError(f"the undisturbed run of {rig.name} meets {found}")
        self._marks: dict[int, tuple[Loop, Hands]] = {}

    def _until(self, loop: Loop, due: float | int) -> None:
        begun = loop.now_ms
        while loop.now_ms - begun < 1000.0 * _LONGEST_S:
            if isinstance(due, float):
                if loop.now_ms - begun >= 1000.0 * due:
                    return
            elif loop.board.law.machine.state == due:
                return
            loop.tick()
            self.states.append(loop.board.law.machine.state)
        raise AssertionError(f"the way of {self.rig.name} never comes to {STATES[int(due)]}")

    def window(self, state: int) -> tuple[int, int]:
        """ms of the tick that enters the state and of the last one before it is left. Raises NoWay with the rule."""
        rule = unreachable(self.rig, state)
        if rule is not None:
            raise NoWay(rule)
        first = self.states.index(state, 1 + self.states.index(ON_DIESEL) if state == PARKED else 0)
        last = first
        while last + 1 < len(self.states) and self.states[last + 1] == state:
            last += 1
        return (first + 1) * TICK_MS, (last + 1) * TICK_MS

    def moment(self, state: int, phase: int) -> int:
        """ms at which a fault of this phase (index of PHASES) begins. Raises NoWay."""
        first, last = self.window(state)
        return (first, (first + last) // 2 // TICK_MS * TICK_MS, last)[phase]

    def prepare(self) -> None:
        """Run once more and keep a fork at every moment that the grid asks for."""
        moments = sorted(
            {
                self.moment(state, phase)
                for state in range(len(STATES)) if unreachable(self.rig, state) is None
                for phase in range(len(PHASES))
            }
        )  # fmt: skip
        loop, hands = _at_rest(self.rig), Hands(self.acts)
        for moment in moments:
            while loop.now_ms < moment:
                hands.act(loop)
                loop.tick()
            self._marks[moment] = loop.fork(), hands.fork()

    def at(self, moment: int) -> tuple[Loop, Hands]:
        """A fork of run and hands at one of the moments of `prepare`."""
        loop, hands = self._marks[moment]
        return loop.fork(), hands.fork()


@lru_cache(maxsize=len(RIGS))
def way(rig: Rig) -> Way:
    """The way of a rig, run once in each process."""
    made = Way(rig)
    made.prepare()
    return made
