"""The verb `replay`: the very law over logs, one process a log, with progress; reports, summaries, what changed, what came near."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from changeover import VERSION
from host_sim.errors import InputError
from host_sim.profile import load_profile
from host_sim.replay_against import compare
from host_sim.replay_columns import from_flags, from_toml, resolve
from host_sim.replay_logs import TABLE, kind_of
from host_sim.replay_tables import heads
from secondtank.drive import Interrupt, folder_of, write_drive
from secondtank.replay_firmware import fetch
from secondtank.replay_job import STOP, Job, do, run
from secondtank.replay_page import render
from secondtank.replay_words import against_lines, lines, shadow_lines, transition, verdict
from secondtank.report_data import DriveRecord
from secondtank.workers import answers, cores, workers

RAN, BAD_INPUT, NOT_VALID, INTERRUPTED = 0, 2, 4, 130
TABLE_SETTINGS = "full_guard"  # for a log that has none; what is not in the log is then not fitted
_KEPT_OUT = ("series", "strips", "settings", "targets", "events", "number")


@dataclass(frozen=True)
class ReplayOrder:
    """What the command line asks for."""

    logs: tuple[Path, ...]
    columns: tuple[str, ...]
    settings: str | None
    against: str | None
    firmware: str | None
    shadow: bool
    strict: bool
    jobs: int | None
    out: Path
    as_json: bool


def run_replay(order: ReplayOrder) -> int:
    """Replay and write; returns the exit status. Raises InputError before anything is written."""
    with tempfile.TemporaryDirectory(prefix="secondtank-") as signs, Interrupt() as interrupt:
        jobs, refused = _jobs(order, Path(signs))
        folder = folder_of(order.out)
        results: dict[int, dict[str, Any]] = {}
        _work(order, jobs, results, interrupt)
        return _finish(order, jobs, results, refused, folder, interrupt.noted)


# -- what there is to do


def _jobs(order: ReplayOrder, signs: Path) -> tuple[list[Job], list[InputError]]:
    """A job a log and side: A, and B where something is compared. Logs that cannot be begun are refused one by one."""
    ours = load_profile(order.settings) if order.settings else None
    theirs = load_profile(order.against) if order.against else None
    other = None
    if order.firmware:
        (signs / "firmware").mkdir()
        other = fetch(order.firmware, signs / "firmware")
    wishes = from_flags(order.columns)
    ask = _ask if sys.stdin.isatty() and not order.as_json else None
    jobs: list[Job] = []
    refused: list[InputError] = []
    for path in order.logs:
        try:
            kind = kind_of(path)
            columns = resolve(path, heads(path), from_toml(path) | wishes, ask) if kind == TABLE else None
        except InputError as error:
            refused.append(error)
            continue
        settings = ours if ours is not None or kind != TABLE else load_profile(TABLE_SETTINGS)
        shadow = order.shadow
        jobs.append(Job(len(jobs), path, kind, columns, order.strict, settings, shadow, None, signs))
        if theirs is not None or other is not None:
            settings = theirs if theirs is not None else settings
            jobs.append(Job(len(jobs), path, kind, columns, order.strict, settings, False, other, signs))
    if refused and not jobs:
        raise refused[0]
    return jobs, refused


def _ask(question: str, allowed: Sequence[str]) -> str:
    while (answer := str(typer.prompt(f"{question}, one of {', '.join(allowed)}", err=True)).strip()) not in allowed:
        typer.echo(f"{answer!r} is none of them", err=True)
    return answer


# -- the work


def _work(order: ReplayOrder, jobs: list[Job], results: dict[int, dict[str, Any]], interrupt: Interrupt) -> None:
    """All jobs, on as many processes as there are cores; a single one here. A bar for each log where somebody looks."""
    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeRemainingColumn(),
        console=console, disable=order.as_json or not console.is_terminal, transient=True,
    ) as progress:  # fmt: skip
        bars = {job.number: progress.add_task(job.path.name, total=job.path.stat().st_size) for job in jobs}

        def look() -> bool:
            for job in jobs:
                if job.number not in results and (told := _told(job)):
                    progress.update(bars[job.number], completed=told)
            if interrupt.noted:
                jobs[0].signs.joinpath(STOP).touch()
            return interrupt.noted

        if len(jobs) == 1 and jobs[0].firmware is None:
            results[0] = run(jobs[0], _here(progress, bars[0], interrupt))
            return
        with workers(min(order.jobs or cores(), len(jobs)), None) as (pool, at_a_time):
            for result in answers(pool, at_a_time, do, jobs, look):
                results[result["number"]] = result
                progress.update(bars[result["number"]], completed=jobs[result["number"]].path.stat().st_size)


def _here(progress: Progress, bar: Any, interrupt: Interrupt) -> Callable[[int], bool]:
    def poll(position: int) -> bool:
        progress.update(bar, completed=position)
        return interrupt.noted

    return poll


def _told(job: Job) -> int:
    try:
        return int((job.signs / str(job.number)).read_text() or 0)
    except (OSError, ValueError):  # not begun, or being written
        return 0


# -- what comes of it


def _finish(
    order: ReplayOrder,
    jobs: list[Job],
    results: dict[int, dict[str, Any]],
    refused: list[InputError],
    folder: Path,
    interrupted: bool,
) -> int:
    text: list[str] = []
    compared: list[dict[str, Any]] = []
    shown: list[dict[str, Any]] = []
    status = RAN
    both = bool(order.against or order.firmware)
    names = _names(order.logs)
    for job in jobs:
        result = results.get(job.number)
        side_b = both and job.number % 2 == 1
        if result is None:
            text.append(f"{job.path.name}: not run, interrupted before")
            continue
        if "error" in result:
            error = InputError(*result["error"])
            if not any(str(error) == str(one) for one in refused):
                refused.append(error)
            continue
        found, said = verdict(result)
        if side_b:
            first = results.get(job.number - 1)
            if first is not None and "error" not in first:
                compared.append(compare(first, result))
                found = RAN if compared[-1]["valid"] or interrupted else NOT_VALID
                text += against_lines(compared[-1])
                text.append(f"  B alone: {said}")
                text += [
                    f"  B: {note}" for note in result["notes"] if first is None or note not in first.get("notes", ())
                ]
        elif both:
            found = RAN
            text += [f"{job.path.name}, A: {said}"]
        else:
            text += lines(result, said)
        status = max(status, found) if 3 not in (status, found) else 3
        place = folder / names[job.path]
        _write_log(place, result, said, "_b" if side_b else "")
        shown.append(
            {"side": "B" if side_b else "A", "said": said, "status": found}
            | {k: v for k, v in result.items() if k not in _KEPT_OUT}
        )
        if not both:
            text.append(f"  {place / 'report.html'}")
    summary: dict[str, Any] = {"version": VERSION, "interrupted": interrupted, "logs": shown, "against": compared}
    if order.shadow:
        a_side = [
            result for number, result in sorted(results.items()) if "error" not in result and not (both and number % 2)
        ]
        summary["shadow"] = shadow = _merged(a_side)
        text += shadow_lines(shadow)
        _put(folder / "shadow.html", render(shadow, [entry["log"] for entry in shown if entry["side"] == "A"]))
        text.append(f"  {folder / 'shadow.html'}")
    summary["refused"] = [str(error) for error in refused]
    _put(folder / "replay.json", json.dumps(summary, indent=1) + "\n")
    if order.as_json or text:
        print(json.dumps(summary, indent=1) if order.as_json else "\n".join(text))
    for error in refused:
        print(f"secondtank: {error}", file=sys.stderr)
    if interrupted:
        return INTERRUPTED
    return BAD_INPUT if refused else status


def _names(logs: Sequence[Path]) -> dict[Path, str]:
    """A folder's name for each log, none twice."""
    found: dict[Path, str] = {}
    for path in logs:
        name, number = path.stem, 1
        while name in found.values():
            number += 1
            name = f"{path.stem}_{number}"
        found.setdefault(path, name)
    return found


def _put(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)


def _write_log(place: Path, result: dict[str, Any], said: str, side: str) -> None:
    """The report of a drive, for a replay, and its summary."""
    place.mkdir(exist_ok=True)
    values = result["settings"]
    oil_in = "oil" not in result["missing"]
    thresholds = {
        "coolant_entry_c": values["coolant_entry_cdegc"] / 100, "suction_block_kpa": values["suction_block_pa"] / 1000,
        "suction_force_kpa": values["suction_force_pa"] / 1000, "fill_target_ml": result["targets"][0] / 1000,
        "purge_target_ml": result["targets"][1] / 1000,
    } | ({"oil_entry_c": values["oil_entry_cdegc"] / 100, "oil_exit_c": values["oil_exit_cdegc"] / 100} if oil_in else {})  # fmt: skip
    counters = result["counters"]
    summary = {
        "verdict": "replayed", "said": said, "title": f"Replay of {Path(result['log']).name}", "interrupted": result["interrupted"],
        "time_on_oil_s": counters["on_oil_ms"] / 1000 if oil_in else None, "transitions": [transition(move) for move in result["moves"]],
        "settings_hash": result["settings_hash"], "firmware_hash": result["firmware_hash"], "version": VERSION,
        "notes": _notes(result), "log": result["log"], "logged_settings_hash": result["logged_settings_hash"],
        "logged_firmware_hash": result["logged_firmware_hash"], "counters": counters, "repairs": result["repairs"],
        "compared": result["compared"], "diverged": result["diverged"], "sensor_faults": result["sensor_faults"],
    }  # fmt: skip
    gaps = [(begin / 1000, end / 1000, "GAP", 1, "nothing in log") for begin, end in result["gaps"]]
    strips = {"state": sorted(result["strips"]["state"] + gaps), "messages": result["strips"]["messages"]}
    record = DriveRecord(summary, values, result["series"], thresholds, strips, result["events"])
    part = place / f"b{os.getpid()}" if side else place
    part.mkdir(exist_ok=True)
    write_drive(part, record)
    if side:
        for name in ("report.html", "summary.json"):
            stem, dot, ending = name.partition(".")
            os.replace(part / name, place / f"{stem}{side}{dot}{ending}")
        part.rmdir()


def _notes(result: dict[str, Any]) -> list[str]:
    notes = [f"{what}: {n}, first in line {line}." for what, (n, line) in result["repairs"].items()]
    notes += [f"{note}." for note in result["notes"]]
    if result["rows_not_in_log"]:
        notes.append(f"Not in log: {', '.join(result['rows_not_in_log'])}.")
    if result["diverged"]:
        notes.append(
            f"From {result['diverged']['time_s']:.1f} s on {result['diverged']['why']}: rows of the fuel side are not comparable."
        )
    return notes


def _merged(results: list[dict[str, Any]]) -> dict[str, Any]:
    """The shadows of several logs as one; comparisons with unlike limits stay apart."""
    total: dict[str, Any] = {"on_oil_s": 0, "on_diesel_s": 0, "rows": [], "margins": [], "not_in_log": []}
    rows: dict[str, dict[str, Any]] = {}
    margins: dict[tuple[Any, ...], dict[str, Any]] = {}
    for result in results:
        shadow = result["shadow"]
        total["on_oil_s"] += shadow["on_oil_s"]
        total["on_diesel_s"] += shadow["on_diesel_s"]
        for row in shadow["rows"]:
            kept = rows.setdefault(row["row"], row | {"ended_oil": 0, "blocked_s": 0, "alone_s": 0})
            for name in ("ended_oil", "blocked_s", "alone_s"):
                kept[name] += row[name]
        for margin in shadow["margins"]:
            if margin["nearest"] is None:
                continue
            key = tuple(margin[name] for name in ("row", "kind", "reading", "limit"))
            kept = margins.setdefault(key, margin | {"bins": []})
            kept["nearest"] = min(kept["nearest"], margin["nearest"])
            bins = dict(kept["bins"])
            for at, seconds in margin["bins"]:
                bins[at] = bins.get(at, 0) + seconds
            kept["bins"] = sorted(bins.items())
    total["rows"], total["margins"] = list(rows.values()), list(margins.values())
    total["not_in_log"] = (
        sorted(set.intersection(*(set(result["shadow"]["not_in_log"]) for result in results))) if results else []
    )
    return total
