"""The verb `faults`: run the grid of claim B on all cores or on a cluster, write what held and what did not."""

from __future__ import annotations

import json
import os
import sys
from concurrent.futures import BrokenExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from host_sim.errors import InputError
from host_sim.grid import Cell, Result, reachable
from host_sim.ways import unreachable
from secondtank.drive import Interrupt, folder_of, write_drive
from secondtank.fault_cells import Asked, chunks, drive_cell, folder_name, made_of, run_chunk
from secondtank.fault_totals import Totals, lines, worth_a_drive
from secondtank.report.matrix import render
from secondtank.workers import answers, workers

RAN, INTERNAL, COUNTEREXAMPLE, NOT_VALID, INTERRUPTED = 0, 1, 3, 4, 130


@dataclass(frozen=True)
class FaultsOrder:
    """What the command line asks for. `drives`: of how many cells at most a report is written."""

    asked: Asked
    drives: int
    jobs: int | None
    cluster: str | None
    out: Path
    as_json: bool


@dataclass
class _Run:
    """What there is so far, kept through whatever ends it."""

    results: list[Result]
    drives: dict[Cell, str]
    failure: Exception | None = None


def run_faults(order: FaultsOrder) -> int:
    """Run and write; returns the exit status. Raises InputError before anything is written."""
    planned = order.asked.planned()
    if not any(map(reachable, planned)):
        rules = sorted({str(unreachable(cell.rig, cell.state)) for cell in planned})
        print(f"secondtank: none of the {len(planned)} planned cells can be: {'; '.join(rules)}", file=sys.stderr)
        return NOT_VALID
    folder = folder_of(order.out)
    run = _Run([], {})
    with Interrupt() as interrupt:
        try:
            _work(order, planned, folder, run, interrupt)
        except InputError:
            raise
        except Exception as error:
            run.failure = error
    ended = "interrupted" if interrupt.noted else "" if run.failure is None else _what(run.failure)
    totals = Totals(order.asked, run.results, ended, run.drives)
    text = json.dumps(totals.as_dict(), indent=1, sort_keys=True) + "\n"
    _write(folder / "faults.json", text)
    _write(folder / "faults.html", render(totals))
    if order.as_json:
        print(text, end="")
    else:
        print("\n".join(lines(totals)))
        print(f"\n  {folder / 'faults.html'}")
    if interrupt.noted:
        return INTERRUPTED
    if isinstance(run.failure, BrokenExecutor):
        print(f"secondtank: {ended}; what was done until then is kept in {folder / 'faults.json'}", file=sys.stderr)
        return INTERNAL
    if run.failure is not None:
        raise run.failure
    return COUNTEREXAMPLE if totals.counterexamples else RAN


def _what(failure: Exception) -> str:
    if isinstance(failure, BrokenExecutor):
        return "a worker process died (killed, or out of memory?)"
    return f"{type(failure).__name__}: {failure}"


def _work(order: FaultsOrder, planned: list[Cell], folder: Path, run: _Run, interrupt: Interrupt) -> None:
    """The cells, then the reports of those that are worth one, with a bar where somebody looks."""
    console = Console(stderr=True)
    here = made_of()
    with Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(), console=console,
        disable=order.as_json or not console.is_terminal, transient=True,
    ) as progress, workers(order.jobs, order.cluster) as (pool, at_a_time):  # fmt: skip

        def each(do: Any, tasks: Any) -> Any:
            return answers(pool, at_a_time, do, tasks, lambda: interrupt.noted)

        task = progress.add_task("cells", total=sum(map(reachable, planned)))
        for there, results in each(run_chunk, chunks(planned)):
            if there != here:
                raise InputError("a worker", f"made of {there}", f"the sources of this process: {here}")
            run.results += results
            progress.advance(task, len(results))
        worth = worth_a_drive(Totals(order.asked, run.results))[: order.drives]
        task = progress.add_task("reports", total=len(worth))
        for cell, record, log in each(drive_cell, worth):
            drive = folder / "drives" / folder_name(cell)
            drive.mkdir(parents=True, exist_ok=True)
            write_drive(drive, record)
            _write(drive / "log.csv", log)
            run.drives[cell] = drive.relative_to(folder).as_posix()
            progress.advance(task)


def _write(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)
