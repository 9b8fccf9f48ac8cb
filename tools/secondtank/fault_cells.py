"""Cells of the fault grid: which are asked for, and what a worker does with them. Each process builds a rig's way once."""

from __future__ import annotations

import difflib
import hashlib
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING

from changeover import VERSION
from changeover.settings import AUTOMATIC, TANK_RETURN
from changeover.states import ON_DIESEL, ON_OIL, PURGING, STATES
from host_sim.board_log import firmware_hash
from host_sim.catalogue import BY_ID, CATALOGUE, FED, RETURN_OFF, SUPPLY_OFF, Entry
from host_sim.errors import InputError
from host_sim.grid import Cell, Result, cells, inject, reachable, run_cell
from host_sim.recorder import Recorder
from host_sim.ways import AUTHORITIES, LAYOUTS, PHASES, RIGS, SEED, Rig, unreachable, way
from secondtank.fault_words import about, promises

if TYPE_CHECKING:
    from secondtank.report_data import DriveRecord

CHUNK = 32  # cells that go to a worker together: some seconds of work
LEAD_MS = 120_000  # what a cell's report shows before the fault begins
PHASE_WORDS = ("first", "middle", "last")
_MIDDLE = PHASE_WORDS.index("middle")
# Where a fault that shows only with a valve on diesel, or in a purge, tells most; any other does on oil.
_TELLING = {SUPPLY_OFF: ON_DIESEL, RETURN_OFF: ON_DIESEL, FED: PURGING}


@dataclass(frozen=True)
class Asked:
    """What the command line narrows the grid to; None is everything."""

    fault: str | None = None
    state: str | None = None
    phase: str | None = None
    layout: str | None = None
    authority: str | None = None
    smoke: bool = False

    def planned(self) -> list[Cell]:
        """The cells asked for, those of one rig together. Raises InputError for a name that is none."""
        entries = CATALOGUE if self.fault is None else (BY_ID[_known("--only", self.fault, BY_ID)],)
        state = None if self.state is None else STATES.index(_known("--state", self.state.upper(), STATES))
        phase = None if self.phase is None else PHASE_WORDS.index(_known("--phase", self.phase, PHASE_WORDS))
        layout = None if self.layout is None else _known("--layout", self.layout, LAYOUTS.values())
        authority = None if self.authority is None else _known("--authority", self.authority, AUTHORITIES)
        found = [
            cell
            for cell in cells(entries)
            if state in (None, cell.state) and phase in (None, cell.phase)
            and layout in (None, LAYOUTS[cell.rig.layout]) and authority in (None, AUTHORITIES[cell.rig.authority])
        ]  # fmt: skip
        return _sample(found, entries) if self.smoke else found


def _known(option: str, name: str, names: Iterable[str]) -> str:
    names = list(names)
    if name not in names:
        near = difflib.get_close_matches(name, names, 3) or names
        raise InputError(option, name, "one of " + ", ".join(near))
    return name


def _sample(planned: list[Cell], entries: Iterable[Entry]) -> list[Cell]:
    """Each fault once where it tells most, and round the places of the grid until fault and place have each had a turn."""
    entries = list(entries)
    places = [(state, phase, rig) for rig in RIGS for state in range(len(STATES)) for phase in range(len(PHASES))
              if unreachable(rig, state) is None]  # fmt: skip
    wanted = {
        Cell(entry.id, _TELLING.get(entry.shows, ON_OIL), _MIDDLE, Rig(TANK_RETURN, AUTOMATIC)) for entry in entries
    }
    for turn in range(max(len(entries), len(places))):
        wanted.add(Cell(entries[turn % len(entries)].id, *places[turn % len(places)]))
    return [cell for cell in planned if cell in wanted]


def chunks(planned: Iterable[Cell]) -> Iterator[list[Cell]]:
    """Handfuls of cells that can be, each of one rig."""
    for _, group in groupby(filter(reachable, planned), key=lambda cell: cell.rig):
        of_rig = list(group)
        for begin in range(0, len(of_rig), CHUNK):
            yield of_rig[begin : begin + CHUNK]


@cache
def made_of() -> dict[str, str]:
    """What decides a cell's result besides its settings."""
    digest = hashlib.sha256("\n".join(map(repr, CATALOGUE)).encode()).hexdigest()[:16]
    return {"version": VERSION, "firmware_hash": firmware_hash(), "catalogue_hash": digest}


def run_chunk(chunk: list[Cell]) -> tuple[dict[str, str], list[Result]]:
    """The results of a chunk, and what they were made of where they were made."""
    results = []
    for cell in chunk:
        try:
            results.append(run_cell(cell))
        except Exception as error:
            error.add_note(f"in the cell {cell.name}")
            raise
    return made_of(), results


def cell_of(result: Result) -> Cell:
    """The cell that a result belongs to."""
    layout = next(number for number, name in LAYOUTS.items() if name == result.layout)
    rig = Rig(layout, AUTHORITIES.index(result.authority))
    return Cell(result.fault, STATES.index(result.state), PHASES.index(result.phase), rig)


def command(cell: Cell) -> str:
    """What runs this cell alone, with its report."""
    return (
        f"secondtank faults --only {cell.fault} --state {STATES[cell.state]} --phase {PHASE_WORDS[cell.phase]} "
        f"--layout {LAYOUTS[cell.rig.layout]} --authority {AUTHORITIES[cell.rig.authority]}"
    )


def folder_name(cell: Cell) -> str:
    """The cell as the name of a folder."""
    where = (STATES[cell.state], PHASE_WORDS[cell.phase], LAYOUTS[cell.rig.layout], AUTHORITIES[cell.rig.authority])
    return ".".join((cell.fault, *where)).lower()


def drive_cell(result: Result) -> tuple[Cell, DriveRecord, str]:
    """A cell run again under the recorder: what its report is made from, and the board's log as text."""
    from secondtank.drive import LogWriter, record_of, summarise  # brings the charts along, which most cells never need

    cell = cell_of(result)
    entry = BY_ID[cell.fault]
    trip = way(cell.rig)
    onset_ms = trip.moment(cell.state, cell.phase)
    begin_ms = min(trip.moment(state, 0) for state in range(len(STATES)) if unreachable(cell.rig, state) is None)
    loop, hands = trip.at(begin_ms)
    while loop.now_ms < onset_ms - LEAD_MS:
        hands.act(loop)
        loop.tick()
    log = io.StringIO()
    recorder, writer = Recorder(loop), LogWriter(log, loop)

    def on_tick(t_s: float) -> None:
        recorder.tick(t_s)
        writer.tick(t_s)

    loop.on_tick = on_tick
    while loop.now_ms < onset_ms:
        hands.act(loop)
        loop.tick()
    inject(entry, loop, hands)
    summary = summarise(loop, cell.name, about(entry), SEED, _notes(result, entry, onset_ms))
    record = record_of(loop, recorder, summary, [])
    begun_s = onset_ms / 1000.0
    ended_s = loop.now_ms / 1000.0 if entry.duration_s is None else begun_s + entry.duration_s
    record.strips["faults"] = [(begun_s, ended_s, entry.id, 2, about(entry))]
    return cell, record, log.getvalue()


def _notes(result: Result, entry: Entry, onset_ms: int) -> list[str]:
    notes = [
        f"A cell of the fault grid: the fault begins at {onset_ms / 1000:g} s of the undisturbed run; the record starts "
        f"{LEAD_MS / 1000:g} s earlier at most, the totals with its warm-up.",
        f"Promised: {promises(entry)}.",
    ]
    notes += [f"Did not hold: {broken}." for broken in result.broken] or ["Every promise held."]
    if entry.covered_by:
        notes.append(f"Margin or barrier: {entry.covered_by}.")
    return [*notes, f"Run it again: {command(cell_of(result))}"]
