"""What is found on a board, whether it may be written, and what would be."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import store
from changeover.memory import Record, choose, decode
from host_sim.errors import InputError
from host_sim.profile import load_profile
from secondtank import flash_settings
from secondtank.flash_board import About, BoardFiles
from secondtank.flash_port import Said
from secondtank.flash_set import BLOCK_BYTES, FOLDERS, MANIFEST, START, ProgramSet, started_folder
from secondtank.flash_settings import Migration

# The oldest one that the tests run the program on (its WebAssembly build); mpy-cross's files load from 1.23 on (docs, "MicroPython .mpy files").
LEAST = (1, 27, 0)
MPY = 6
RESERVE_BLOCKS = 16  # for record, settings and what littlefs itself needs to write them
KEPT = ("record.0", "record.1", "settings")  # folders of what outlives the program, beside the journal
SAVED, BEFORE = "settings/saved", "settings/before"

NEVER, DIESEL, OIL, DAMAGED = (
    "no record: no program here has ever let oil in",
    "diesel in the lines",
    "oil in the lines",
    "it cannot be read whole, so there may be oil in the lines",
)


@dataclass(frozen=True)
class Found:
    """A board as it is. `kept`: small files by path; `runs`: the folder that its `main.py` starts; `record`: one of the words above."""

    about: About
    files: dict[str, int]
    kept: dict[str, bytes]
    runs: str | None
    record: str
    manifest: str

    @property
    def settings(self) -> bytes | None:
        """As saved."""
        return self.kept.get(SAVED)


@dataclass(frozen=True)
class Plan:
    """What is to be written: the set into `folder`; `settings` where they change; `record`: files, where the owner gave his word."""

    folder: str
    program: ProgramSet
    settings: Migration | None
    record: dict[str, bytes]


def look(board: BoardFiles) -> Found:
    """Read what is there."""
    files = board.files()
    kept = {name: board.read(name) for name in files if name.split("/")[0] in KEPT}
    runs = started_folder(board.read(START)) if START in files else None
    manifest = f"{runs}/{MANIFEST}"
    return Found(
        board.about(),
        files,
        kept,
        runs,
        lines_recorded(kept),
        board.read(manifest).decode(errors="replace") if manifest in files else "",
    )


def lines_recorded(kept: dict[str, bytes]) -> str:
    """What the record says, read as the firmware reads it."""
    with tempfile.TemporaryDirectory() as folder:
        for name, data in kept.items():
            path = Path(folder, name)
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)
        slots = store.read_slots(folder)
    if not any(slots):
        return NEVER
    if not choose(slots).oil_in_lines:
        return DIESEL
    whole = [record for record in map(decode, slots) if record is not None]
    return OIL if any(record.oil_in_lines for record in whole) else DAMAGED


def clean_record() -> dict[str, bytes]:
    """Both slots of a board whose lines hold diesel, by path."""
    with tempfile.TemporaryDirectory() as folder:
        record = Record()
        record.oil_in_lines = False
        for _ in range(2):  # one slot alone would be taken for half a record as soon as the other one is begun
            data = record.encode()
            if not store.write_slot(folder, record.slot(), data):
                raise OSError(f"{folder} takes no record")
        paths = sorted(path for path in Path(folder).rglob("*") if path.is_file())
        return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def check_chip(about: About) -> None:
    """Raises InputError for another chip, or a MicroPython that is too old."""
    if about.platform != "rp2" or "RP2040" not in about.machine:
        raise InputError(
            "the board", about.machine, "a Raspberry Pi Pico with RP2040: pins and registers are that chip's"
        )
    if about.version < LEAST or about.mpy != MPY:
        raise InputError(
            "MicroPython on the board",
            ".".join(map(str, about.version)),
            f"{'.'.join(map(str, LEAST))} or later, the oldest that the program is tested on: put it there with --uf2 FILE",
        )


def check_said(said: Said | None) -> None:
    """Raises InputError unless the program is parked, or does not answer."""
    if said is None:
        return
    if said.bench:
        raise InputError("the board", "bench input is on", "the bench ended first, so that the board tells of itself")
    if said.key or said.engine or said.state != "PARKED":
        found = f"key {'on' if said.key else 'off'}, engine {'running' if said.engine else 'stopped'}, {said.state}"
        raise InputError("the board", found, "key off, engine stopped, parked: writing stops the program")


def check_contacts(key: bool, engine: bool) -> None:
    """The same by the pins, once nothing runs."""
    if key or engine:
        found = f"key {'on' if key else 'off'}, engine {'running' if engine else 'stopped'}"
        raise InputError("the board's pins", found, "key off and engine stopped")


def check_lines(record: str, said: Said | None, repair: bool) -> None:
    """Raises InputError while there is, or may be, oil in the lines."""
    oil = record in (OIL, DAMAGED) or (said is not None and said.oil and record != NEVER)
    if not oil or (repair and said is None):
        return
    wanted = "the lines purged: drive on diesel until the purge is complete, then key off"
    if said is None:
        wanted += "; or, where the program does not start any more, --repair, which leaves the record as it is"
    elif repair:
        wanted += " (--repair is for a program that does not answer; this one does)"
    raise InputError("the board's record", record if record != DIESEL else "the program says: oil in the lines", wanted)


def make_plan(found: Found, program: ProgramSet, settings: str | None, owner_says_never: Callable[[], bool]) -> Plan:
    """Where it goes and what comes along. Raises InputError where there is no room, or settings do not go."""
    folder = FOLDERS[1] if found.runs == FOLDERS[0] else FOLDERS[0]
    old = sum(-(-size // BLOCK_BYTES) for name, size in found.files.items() if name.startswith(folder + "/"))
    free = found.about.free + old
    if free < program.blocks + RESERVE_BLOCKS:
        log = sum(name.startswith("journal/") for name in found.files)
        raise InputError(
            "room on the board",
            f"{free} blocks of 4096 bytes",
            f"{program.blocks + RESERVE_BLOCKS}; the trip log has {log}: read it out, then remove its oldest files",
        )
    plan = Plan(folder, program, _settings(found, settings), {})
    if found.record == NEVER and owner_says_never():
        return replace(plan, record=clean_record())
    return plan


def _settings(found: Found, wanted: str | None) -> Migration | None:
    saved = found.settings
    if wanted is not None:
        migration = flash_settings.replace(saved, load_profile(wanted))
    elif saved is None:
        return None
    else:
        migration = flash_settings.migrate(saved)
    return migration if migration.data != saved else None
