"""The verb `drive`: run a scenario, show progress in simulated time, write report, summary and log."""

from __future__ import annotations

import json
import os
import signal
import statistics
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from changeover import VERSION
from changeover.settings_file import settings_hash
from host_sim import board_log
from host_sim.drive import Drive
from host_sim.errors import InputError
from host_sim.hazards import STARVED_PA, THICK_MM2_S
from host_sim.loop import Loop, Move, reason_text
from host_sim.profile import load_profile
from host_sim.recorder import Recorder
from host_sim.scenario import Scenario, load_scenario
from host_sim.traces import Trace, ambient_for, read_trace
from secondtank.report import write_report
from secondtank.report_data import DriveRecord

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType

CHUNK_S = 60.0
VOLUME_BALANCE, ENERGY_BALANCE = 1e-9, 1e-6


@dataclass(frozen=True)
class DriveOrder:
    """What the command line asks for."""

    scenario: str
    settings: str | None
    trace: Path | None
    coolant_from_log: bool
    ambient_c: float | None
    strict: bool
    changes: tuple[str, ...]
    seed: int | None
    out: Path
    as_json: bool


@dataclass
class CoolantError:
    """Simulated against logged coolant, once a second while the log has a row there."""

    trace: Trace
    drive: Drive
    errors_k: list[float]
    _next_s: float = 0.0

    def tick(self, t_s: float) -> None:
        """Compare once a second."""
        if t_s < self._next_s:
            return
        self._next_s = t_s + 1.0
        log_s = t_s + self.trace.t_s[0]
        if log_s <= self.trace.t_s[-1] and not self.trace.in_gap(log_s):
            logged_c = self.trace.column("coolant_c")[self.trace.at(log_s)]
            self.errors_k.append(abs(self.drive.car.coolant_engine_c - logged_c))

    def summary(self) -> dict[str, float]:
        """Median and 95th percentile of the absolute error in K."""
        ordered = sorted(self.errors_k)
        return {
            "median": round(statistics.median(ordered), 2),
            "p95": round(ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))], 2),
        }


class LogWriter:
    """Writes the board's log: its head, then a row for each tick that the board has made."""

    def __init__(self, file: TextIO, drive: Loop) -> None:
        file.write(board_log.head(drive.board.values))
        self._file = file
        self._drive = drive
        self._ticks = drive.board.ticks

    def tick(self, t_s: float) -> None:
        """After each tick of the loop."""
        board = self._drive.board
        if board.ticks != self._ticks:
            self._ticks = board.ticks
            board_log.write_row(self._file, self._drive.now_ms, board, board.last_tick_ms)


class Interrupt:
    """Takes Ctrl-C: the first one is noted, for the end of the tick, since half a tick is no result; the second one acts at once."""

    def __init__(self) -> None:
        self.noted = False
        self._before = signal.getsignal(signal.SIGINT)

    def __enter__(self) -> Interrupt:
        signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_: object) -> None:
        signal.signal(signal.SIGINT, self._before)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self.noted = True
        signal.signal(signal.SIGINT, self._before)


def run_drive(order: DriveOrder) -> int:
    """Run and write; returns the exit status. Raises InputError before anything is written."""
    scenario = load_scenario(order.scenario)
    values = load_profile(order.settings or scenario.profile, order.changes)
    if values["layout"] != ("tank_return", "looped_return").index(scenario.layout):
        raise InputError("settings: layout", values["layout"], f"the scenario's plumbing, {scenario.layout}")
    trace, ambient_c, notes = _trace(order)
    if trace is not None and "supply_v" in trace.missing:
        values["fit_supply"] = 0  # the law then leaves the row alone, instead of judging a simulated battery
    drive = Drive(scenario, values, order.seed, trace, ambient_c, order.coolant_from_log)
    folder = folder_of(order.out)
    with Interrupt() as interrupt:
        return _run_and_write(order, drive, folder, notes, interrupt)


def _run_and_write(order: DriveOrder, drive: Drive, folder: Path, notes: list[str], interrupt: Interrupt) -> int:
    scenario, trace = drive.scenario, drive.trace
    recorder = Recorder(drive)
    watchers: list[Callable[[float], None]] = [recorder.tick]
    coolant = None
    if trace is not None and "coolant_c" in trace.columns and not order.coolant_from_log:
        coolant = CoolantError(trace, drive, [])
        watchers.append(coolant.tick)
    log = folder / "log.csv"
    part = log.with_suffix(".csv.part")
    interrupted = False
    with part.open("w", encoding="utf-8") as file:
        watchers.append(LogWriter(file, drive).tick)

        def on_tick(t_s: float) -> None:
            for watcher in watchers:
                watcher(t_s)
            if interrupt.noted:
                raise KeyboardInterrupt

        drive.on_tick = on_tick
        try:
            _run(drive, scenario, trace, quiet=order.as_json)
        except KeyboardInterrupt:
            interrupted = True
            file.write("# interrupted\n")
    part.replace(log)
    summary = summarise(drive, scenario.title, scenario.about, drive.seed, notes, interrupted)
    if coolant is not None and coolant.errors_k:
        summary["coolant_error_c"] = coolant.summary()
    events = [
        {"time_s": ms / 1000.0, "kind": "driver", "text": text, "reason": "", "numbers": {}}
        for ms, text in drive.driver.notes
    ]
    write_drive(folder, record_of(drive, recorder, summary, events))
    _say(order, summary, folder)
    if interrupted:
        return 130
    return {"no hazard": 0, "hazard": 3, "not valid": 4}[summary["verdict"]]


def _trace(order: DriveOrder) -> tuple[Trace | None, float | None, list[str]]:
    if order.trace is None:
        for name, given in (("--coolant-from-log", order.coolant_from_log), ("--ambient", order.ambient_c is not None)):
            if given:
                raise InputError(name, "no --trace", "a log to go with it: --trace FILE")
        return None, None, []
    need = ("coolant_c",) if order.coolant_from_log else ()
    trace = read_trace(order.trace, strict=order.strict, need=need)
    ambient_c, how = ambient_for(trace, order.ambient_c)
    notes = [
        f"Engine side from {order.trace.name}: {trace.lines} lines, {len(trace.gaps)} gaps over 2 s, {trace.repaired} stamps repaired.",
        f"Ambient {ambient_c:g} degC: {how}.",
        "The oil side is simulated: the car of the log has no second tank.",
    ]
    if trace.missing:
        rows = {"supply_v": "supply low", "coolant_c": "coolant error"}
        lacking = ", ".join(f"{name} ({rows[name]} is not judged)" if name in rows else name for name in trace.missing)
        notes.append(f"Not in log: {lacking}.")
    return trace, ambient_c, notes


def folder_of(out: Path) -> Path:
    """The folder of --out, made and writable. Raises InputError."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        probe = out / ".writable"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise InputError(
            f"--out {out}", error.strerror or "cannot be written", "a folder that can be written"
        ) from None
    return out


def _run(drive: Drive, scenario: Scenario, trace: Trace | None, quiet: bool) -> None:
    """To the end in pieces, with a bar of simulated time where somebody looks."""
    minutes = scenario.minutes if trace is None else trace.duration_s / 60.0
    console = Console(stderr=True)
    with Progress(
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed:.0f} of {task.total:.0f} min simulated"),
        TimeRemainingColumn(), console=console, disable=quiet or not console.is_terminal, transient=True,
    ) as progress:  # fmt: skip
        task = progress.add_task(scenario.title, total=minutes)
        until_s = 0.0
        while not drive.finished:
            until_s += CHUNK_S
            drive.run(until_s)
            progress.update(task, completed=min(minutes, until_s / 60.0))


def summarise(
    drive: Loop, title: str, about: str, seed: int | None, notes: list[str], interrupted: bool = False
) -> dict[str, Any]:
    """The summary as plain data: what `summary.json` holds and the report begins with."""
    car = drive.car
    totals = drive.totals
    reasons = _validity(drive)
    hazards = [
        {
            "id": found.id, "name": f"{found.name}: {found.text}", "time_s": round(found.time_s, 1), "value": round(found.value, 3),
            "limit": found.limit, "unit": found.unit, "told": found.told,
        }
        for found in sorted(drive.monitors.found, key=lambda found: found.time_s)
    ]  # fmt: skip
    ideal_s = drive.ideal.on_oil_s
    return {
        "verdict": "not valid" if reasons else "hazard" if hazards else "no hazard",
        "title": title,
        "about": about,
        "interrupted": interrupted,
        "hazards": hazards,
        "margins": {name: round(share, 4) for name, share in drive.monitors.margins.items()},
        "time_on_oil_s": round(totals.time_on_oil_s, 1),
        "time_on_oil_ideal_s": round(ideal_s, 1),
        "use_share": round(totals.time_on_oil_s / ideal_s, 4) if ideal_s else None,
        "engine_s": round(totals.engine_s, 1),
        "distance_km": round(totals.distance_km, 2),
        "trips": totals.trips,
        "false_forced_exits": totals.false_forced_exits,
        "transitions": [_transition(move) for move in totals.moves],
        "litres": {
            "diesel_burnt": round(car.diesel_burnt / 1000.0, 4),
            "oil_burnt": round(car.oil_burnt / 1000.0, 4),
            "oil_into_diesel_tank": round(car.oil_into_diesel_tank / 1000.0, 4),
            "diesel_into_oil_tank": round(car.diesel_into_oil_tank / 1000.0, 4),
        },
        "left_in_lines": {
            law: {
                "outlet_share": round(car.path.outlet_oil(law), 4),
                "inside_share": round(car.path.inside_oil(law), 4),
            }
            for law in ("plug", "stirred", "laminar")
        },
        "oil_in_lines": drive.board.remembers_oil(),
        "balance": {"volume": car.volume_balance_error, "energy": car.energy_balance_error},
        "seed": seed,
        "settings_hash": settings_hash(drive.board.values),
        "firmware_hash": board_log.firmware_hash(),
        "version": VERSION,
        "notes": reasons + notes,
    }


def _validity(drive: Loop) -> list[str]:
    """Why this run proves nothing; empty for a valid one."""
    reasons = []
    if drive.totals.engine_s == 0.0:
        reasons.append("The engine never ran.")
    if drive.car.volume_balance_error > VOLUME_BALANCE or drive.car.energy_balance_error > ENERGY_BALANCE:
        reasons.append("The car's own balance of volume or energy does not close.")
    return reasons


def _transition(move: Move) -> dict[str, Any]:
    text = reason_text(move.reason)
    return {
        "time_s": round(move.time_s, 1), "from": move.before, "to": move.after, "reason": move.reason,
        "text": f"refused: {text}" if move.refused else text, "numbers": _numbers(move), "forced": move.forced,
        "called_for": move.called_for,
    }  # fmt: skip


def _numbers(move: Move) -> dict[str, str]:
    shown = {
        "cdegc": lambda n: f"{n / 100:.1f} degC", "permille": lambda n: f"{n / 10:.1f} %", "Pa": lambda n: f"{n / 1000:.1f} kPa",
        "mV": lambda n: f"{n / 1000:.2f} V", "uL": lambda n: f"{n / 1000:.0f} mL", "ms": lambda n: f"{n / 1000:.1f} s",
        "count": str,
    }.get(move.unit)  # fmt: skip
    return {"measured": shown(move.measured), "limit": shown(move.limit)} if shown else {}


def record_of(drive: Loop, recorder: Recorder, summary: dict[str, Any], events: list[dict[str, Any]]) -> DriveRecord:
    """What the report is made from, once the run is over."""
    values, lines = drive.board.values, drive.board.law.machine.lines
    thresholds = {
        "oil_entry_c": values["oil_entry_cdegc"] / 100, "oil_exit_c": values["oil_exit_cdegc"] / 100,
        "coolant_entry_c": values["coolant_entry_cdegc"] / 100, "suction_block_kpa": values["suction_block_pa"] / 1000,
        "suction_force_kpa": values["suction_force_pa"] / 1000, "h1_mm2_s": THICK_MM2_S, "h4_kpa": STARVED_PA / 1000,
        "fill_target_ml": lines.fill_target_ul / 1000, "purge_target_ml": lines.purge_target_ul / 1000,
    }  # fmt: skip
    return DriveRecord(summary, values, recorder.series, thresholds, recorder.close(), events)


def write_drive(folder: Path, record: DriveRecord) -> None:
    """Report and summary."""
    write_report(folder / "report.html", record)
    text = json.dumps(record.summary, indent=2) + "\n"
    part = folder / "summary.json.part"
    part.write_text(text, encoding="utf-8")
    os.replace(part, folder / "summary.json")


def _say(order: DriveOrder, summary: dict[str, Any], folder: Path) -> None:
    if order.as_json:
        print(json.dumps(summary, indent=2))
        return
    partial = " (partial: interrupted)" if summary["interrupted"] else ""
    print(f"{summary['title']}: {summary['verdict']}{partial}")
    for hazard in summary["hazards"]:
        told = ", after a warning" if hazard["told"] else ""
        print(
            f"  {hazard['id']} {hazard['name']}: {hazard['value']:g} {hazard['unit']}, limit {hazard['limit']:g}{told}"
        )
    litres = summary["litres"]
    ideal = (
        f"{100 * summary['use_share']:.0f} % of the ideal"
        if summary["use_share"] is not None
        else "no oil was possible"
    )
    print(
        f"  on oil {summary['time_on_oil_s'] / 60:.0f} of {summary['engine_s'] / 60:.0f} min with the engine running ({ideal})"
    )
    print(
        f"  burnt {litres['diesel_burnt']:.2f} L of diesel and {litres['oil_burnt']:.2f} L of oil over {summary['distance_km']:.0f} km"
    )
    print(
        f"  {litres['oil_into_diesel_tank'] * 1000:.0f} mL of oil into the diesel tank, "
        f"{litres['diesel_into_oil_tank']:.2f} L of diesel into the oil tank by purging"
    )
    worst = max(share["inside_share"] for share in summary["left_in_lines"].values())
    print(f"  left in the lines at the end, worst law: {100 * worst:.1f} % oil")
    if "coolant_error_c" in summary:
        error = summary["coolant_error_c"]
        print(f"  coolant against the log: median {error['median']:.1f} K, 95th percentile {error['p95']:.1f} K")
    for note in summary["notes"]:
        print(f"  {note}")
    print(f"  {folder / 'report.html'}")
