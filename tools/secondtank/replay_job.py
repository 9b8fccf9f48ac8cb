"""One log under one set of settings: a piece of work for this process, for another, or for one with another version of the law."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from changeover.settings import defaults
from changeover.validate import validate
from host_sim.errors import InputError
from host_sim.replay import Log, Replay
from host_sim.replay_columns import Column
from host_sim.replay_logs import BOARD, Capture, RecordedLog
from host_sim.replay_tables import TableLog

STOP = "stop"


@dataclass(frozen=True)
class Job:
    """`columns`: of a table, None for the board's own logs. `settings` None: the log's own. `firmware`: a folder with the package
    `changeover` to replay with, None for the one of this program. `signs`: folder in which progress is told and a stop is asked for."""

    number: int
    path: Path
    kind: str
    columns: tuple[Column, ...] | None
    strict: bool
    settings: dict[str, int] | None
    shadow: bool
    firmware: Path | None
    signs: Path


def tell(job: Job) -> Callable[[int], bool]:
    """For `Replay.run`: leaves the bytes read where the parent looks, and sees whether it asks to stop."""
    progress, stop = job.signs / str(job.number), job.signs / STOP

    def poll(position: int) -> bool:
        progress.write_text(str(position))
        return stop.exists()

    return poll


def do(job: Job) -> dict[str, Any]:
    """The result of a job, or {"log", "error": (place, value, wanted)}: bad input of one log is no reason to lose the others."""
    if job.firmware is not None:
        return _elsewhere(job, job.firmware)
    return run(job, tell(job))


def run(job: Job, poll: Callable[[int], bool]) -> dict[str, Any]:
    """As `do`, in this process and by its own law; `poll` as in `Replay.run`."""
    try:
        log = _log(job)
        log.open()
        values, own, notes = _values(job, log)
        replay = Replay(log, values, own, job.shadow)
        replay.run(poll)
    except InputError as error:
        return {"number": job.number, "log": str(job.path), "error": [error.place, error.value, error.wanted]}
    result = replay.result()
    result["notes"] += notes
    result["number"] = job.number
    return result


def _log(job: Job) -> Log:
    if job.columns is not None:
        return TableLog(job.path, job.strict, job.columns)
    return (RecordedLog if job.kind == BOARD else Capture)(job.path, job.strict)


def _values(job: Job, log: Log) -> tuple[dict[str, int], bool, list[str]]:
    """Settings, whether they are those that the log says were in force, and what had to be done to them."""
    values = job.settings if job.settings is not None else log.settings
    if values is None:
        wanted = "the settings that were in force: --settings FILE, or `get` on the link before `watch`"
        raise InputError(str(job.path), "no settings", wanted)
    known = defaults()
    notes = []
    if strange := sorted(set(values) - set(known)):
        notes.append(f"settings that this law does not know, left out: {', '.join(strange)}")
    if lacking := sorted(set(known) - set(values)):
        notes.append(f"settings that this law wants and did not get, at their defaults: {', '.join(lacking)}")
    values = {name: values.get(name, value) for name, value in known.items()}
    if errors := validate(values):
        notes.append(f"settings that this law finds not valid: {', '.join(error[0] for error in errors)}")
    own = log.settings is not None and all(log.settings.get(name) == value for name, value in values.items())
    return values, own, notes


def _elsewhere(job: Job, firmware: Path) -> dict[str, Any]:
    """The same in a process of its own, in which `changeover` is another version."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(firmware), *filter(None, sys.path)])}
    command = [sys.executable, "-c", "from secondtank.replay_job import serve; serve()"]
    # a session of its own: an interrupt at the terminal is the parent's to hand on
    done = subprocess.run(
        command, input=pickle.dumps(replace(job, firmware=None)), capture_output=True, env=environment, check=False,
        start_new_session=True,
    )  # fmt: skip
    if done.returncode:
        last = done.stderr.decode(errors="replace").strip().rpartition("\n")[2]
        return {
            "number": job.number,
            "log": str(job.path),
            "error": ["--firmware", last, "a version of the law that can be replayed"],
        }
    return pickle.loads(done.stdout)


def serve() -> None:
    """A job on standard input, its result on standard output."""
    job = pickle.load(sys.stdin.buffer)
    try:
        result = run(job, tell(job))
    except Exception as error:
        traceback.print_exc()
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        sys.exit(1)
    sys.stdout.buffer.write(pickle.dumps(result))
