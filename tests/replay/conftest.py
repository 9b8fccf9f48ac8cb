"""A trip's log, tables of a logger that a test writes by hand, and the replay of either in this process."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from host_sim.profile import load_profile
from host_sim.replay import Replay
from host_sim.replay_columns import from_flags, from_toml, resolve
from host_sim.replay_logs import BOARD, TABLE, Capture, RecordedLog, kind_of
from host_sim.replay_tables import TableLog, heads
from secondtank.drive import LogWriter
from tests.cli.conftest import Command
from tests.cli.conftest import secondtank as secondtank  # the fixture
from tests.drive.rig import READY, drive_of, road, stop, story

# A silent part, flash that refuses the write before oil, a key-off on oil, a hang that the watchdog ends.
SILENT = {"kind": "silent", "onset_s": 640.0, "duration_s": 4.0}
HANG = {"kind": "hang", "onset_s": 1010.0}


def log_of(path: Path, *trip: dict[str, Any], faults: tuple[dict[str, Any], ...] = ()) -> Path:
    """The board's log of a drive on a hot day."""
    drive = drive_of(story(*trip, ambient_c=35.0, faults=faults))
    with path.open("w", encoding="utf-8") as file:
        drive.on_tick = LogWriter(file, drive).tick
        drive.run()
    return path


@pytest.fixture(scope="session")
def trip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """To oil, key off on oil, a start that purges, a hang with a restart: several starts in one log."""
    path = tmp_path_factory.mktemp("trip") / "trip.csv"
    return log_of(path, READY, road(12.0), stop(2.0), road(4.0), stop(1.0), faults=(SILENT, HANG))


def opened(path: Path, *flags: str, strict: bool = False) -> RecordedLog | TableLog:
    """The log, ready to replay."""
    kind = kind_of(path)
    if kind == TABLE:
        columns = resolve(path, heads(path), from_toml(path) | from_flags(flags), None)
        log: RecordedLog | TableLog = TableLog(path, strict, columns)
    else:
        log = (RecordedLog if kind == BOARD else Capture)(path, strict)
    log.open()
    return log


def replayed(path: Path, *flags: str, strict: bool = False, shadow: bool = False, **changes: int) -> dict[str, Any]:
    """The result of a replay: a board's log under its own settings, a table under those with every input fitted; then `changes`."""
    log = opened(path, *flags, strict=strict)
    values = dict(log.settings or load_profile("full_guard")) | changes
    replay = Replay(log, values, values == log.settings, shadow)
    replay.run(lambda position: False)
    result = replay.result()
    json.dumps(result)  # plain data
    return result


Write = Callable[..., Path]


@pytest.fixture
def table(tmp_path: Path) -> Write:
    """Writes a table: its head, then rows of anything."""

    def write(
        head: str, rows: Iterable[Iterable[object] | str], name: str = "log.csv", mark: str = ",", end: str = "\n"
    ) -> Path:
        lines = [head, *(row if isinstance(row, str) else mark.join(map(str, row)) for row in rows)]
        path = tmp_path / name
        path.write_bytes((end.join(lines) + end).encode())
        return path

    return write


def warming(until_s: int = 900) -> list[tuple[int, int, float]]:
    """Rows of time, engine speed and coolant: from 20 degC on 0.1 K a second, the engine running from the first row on."""
    return [(t, 900, round(20 + 0.1 * t, 3)) for t in range(until_s)]


HEAD = "t_s,engine_rpm,coolant_c"

__all__ = ["HEAD", "Command", "Write", "log_of", "opened", "replayed", "warming"]
