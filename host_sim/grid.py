"""The finite grid of claim B: each fault of the catalogue in each state, phase, layout and authority, one fork a cell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field

from changeover import messages
from changeover.panel_logic import OFF
from changeover.states import STATES
from host_sim.catalogue import BY_ID, CATALOGUE, SHOWS, Entry
from host_sim.loop import TICK_S, Loop
from host_sim.ways import AUTHORITIES, LAYOUTS, PHASES, RIGS, Hands, Rig, unreachable, way

SETTLED_MS = 1000  # from boot; before that no sensor has been trusted yet
WATCH_S = 75.0  # what a cell is watched for: past the longest promise, and the 61 s of a valve that has no contact


@dataclass(frozen=True)
class Cell:
    """One place of the grid."""

    fault: str
    state: int
    phase: int
    rig: Rig

    @property
    def name(self) -> str:
        """The cell in words."""
        return f"{self.fault} in {STATES[self.state]}, {PHASES[self.phase]}, {self.rig.name}"


@dataclass
class Result:
    """What a cell gave. `broken`: each promise that did not hold, in words; None times: nothing was due or seen.
    `hazard_share`: the worst value of the hazard `nearest` to its limit, over that limit, of those that may not pass it.
    """

    fault: str
    state: str
    phase: str
    layout: str
    authority: str
    broken: list[str] = field(default_factory=list)
    diesel_s: float | None = None
    told_s: float | None = None
    hazards: list[dict[str, object]] = field(default_factory=list)
    hazard_share: float = 0.0
    nearest: str = ""

    @property
    def held(self) -> bool:
        """Did every promise hold?"""
        return not self.broken

    def as_dict(self) -> dict[str, object]:
        """For files and other processes."""
        return asdict(self)


def cells(faults: Iterable[Entry] = CATALOGUE, rigs: Iterable[Rig] = RIGS) -> list[Cell]:
    """Every planned cell, reachable or not."""
    rigs = tuple(rigs)
    return [
        Cell(entry.id, state, phase, rig)
        for rig in rigs for entry in faults for state in range(len(STATES)) for phase in range(len(PHASES))
    ]  # fmt: skip


def reachable(cell: Cell) -> bool:
    """Can the rig be in this state at all?"""
    return unreachable(cell.rig, cell.state) is None


class _Watch:
    """Follows one fork from the onset and holds what happens against what the catalogue promises."""

    def __init__(self, entry: Entry, loop: Loop) -> None:
        self.entry = entry
        self.loop = loop
        self._showing_s: float | None = None  # without a break
        self.diesel_after_s: float | None = None
        self.told_after_s: float | None = None
        self.untold_s = 0.0
        self._left_s = entry.duration_s
        board = loop.board
        settled = board.powered and board.tick_ms >= SETTLED_MS and SHOWS[entry.shows](loop)
        self._due = settled or not entry.in_trip

    def tick(self) -> None:
        """After each tick of the loop."""
        entry, board = self.entry, self.loop.board
        if self._left_s is not None:
            self._left_s -= TICK_S
            if self._left_s < 0.0:
                return  # healed: what was due is done
        if entry.in_trip and not self.loop.car.key_on:
            self._due = False
        shows = self._due and SHOWS[entry.shows](self.loop)
        if shows:
            self._showing_s = 0.0 if self._showing_s is None else self._showing_s + TICK_S
            if board.supply_pin:
                self.diesel_after_s = max(self.diesel_after_s or 0.0, self._showing_s + TICK_S)
            else:
                self.diesel_after_s = self.diesel_after_s or 0.0
        if self.told_after_s is None and self._showing_s is not None:
            self.untold_s = max(self.untold_s, self._showing_s)
            if self._told():
                self.told_after_s = self._showing_s
            elif not shows:
                self._showing_s = None  # begins anew when it shows again

    def _told(self) -> bool:
        panel = self.loop.board.law.panel
        if not self.loop.board.powered:
            return False
        if panel.message in self.entry.found_by:
            return True
        # a row that acts behind PURGE COMPLETE is told by the amber lamp; one that ends a held-on engine, as a cut purge
        interlocks = self.loop.board.law.interlocks
        acts = any((interlocks.blocked | interlocks.forced) >> row & 1 for row in self.entry.found_by)
        waits = panel.message == messages.MAY_STOP and panel.amber != OFF
        return acts and (waits or panel.message == messages.PURGE_CUT)


def _promises(entry: Entry, watch: _Watch, result: Result) -> None:
    if entry.diesel_s is not None and watch.diesel_after_s is not None:
        result.diesel_s = round(watch.diesel_after_s, 1)
        if result.diesel_s > entry.diesel_s:
            result.broken.append(f"on diesel after {result.diesel_s:g} s, promised {entry.diesel_s:g} s")
    if entry.told_s is not None:
        result.told_s = None if watch.told_after_s is None else round(watch.told_after_s, 1)
        if result.told_s is not None and result.told_s > entry.told_s:
            result.broken.append(f"told after {result.told_s:g} s, promised {entry.told_s:g} s")
        elif result.told_s is None and watch.untold_s > entry.told_s:
            result.broken.append(f"not told within {watch.untold_s:.1f} s, promised {entry.told_s:g} s")


def run_cell(cell: Cell) -> Result:
    """Fork the way, break one thing, watch."""
    entry = BY_ID[cell.fault]
    trip = way(cell.rig)
    loop, hands = trip.at(trip.moment(cell.state, cell.phase))
    result = Result(
        cell.fault, STATES[cell.state], PHASES[cell.phase], LAYOUTS[cell.rig.layout], AUTHORITIES[cell.rig.authority]
    )
    watch = inject(entry, loop, hands)
    _promises(entry, watch, result)
    for hazard in loop.monitors.found:
        result.hazards.append(
            {"id": hazard.id, "value": hazard.value, "limit": hazard.limit, "told": hazard.told, "text": hazard.text}
        )
        if not hazard.told and hazard.id not in entry.may_pass:
            result.broken.append(
                f"{hazard.id} {hazard.text}: {hazard.value:.3g} {hazard.unit}, limit {hazard.limit:.3g}"
            )
    nearest = max((share, name) for name, share in loop.monitors.margins.items() if name not in entry.may_pass)
    result.hazard_share, result.nearest = nearest
    return result


def inject(entry: Entry, loop: Loop, hands: Hands) -> _Watch:
    """Break one thing now and go on for WATCH_S, the hands as they would have been."""
    for name in loop.monitors.margins:
        loop.monitors.margins[name] = 0.0
    fault = entry.fault(loop.now_ms)
    loop.injector.start(fault, loop.car, loop.board)
    watch = _Watch(entry, loop)
    heal_ms = None if fault.duration_ms is None else loop.now_ms + fault.duration_ms
    for _ in range(round(WATCH_S / TICK_S)):
        if heal_ms is not None and loop.now_ms >= heal_ms:
            loop.injector.stop(fault, loop.car, loop.board)
            heal_ms = None
        hands.act(loop)
        loop.tick()
        watch.tick()
    return watch
