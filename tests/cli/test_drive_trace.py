"""`secondtank drive --trace`: the engine side from a log, here one that the test wrote, every number known."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from changeover import messages, rows
from host_sim.drive import Drive
from host_sim.profile import load_profile
from host_sim.scenario import load_scenario
from host_sim.traces import read_trace
from tests.cli.conftest import Command

SECONDS = 300
START_C = 20.0
GAP = range(120, 125)  # seconds that the logger lost
SENSORS = {rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR, rows.OTHER_SENSOR}


def written(
    path: Path,
    coolant_c: Callable[[int], float] | None = lambda t_s: START_C + 0.1 * t_s,
    supply_v: Callable[[int], float] | None = None,
    backwards_at: int | None = None,
) -> Path:
    """Two rows a second with whole-second stamps: half a minute at idle, then a steady 60 km/h."""
    names = ["t_s", "engine_rpm", "speed_kmh", "engine_load_pct", "intake_air_c"]
    names += ["coolant_c"] if coolant_c else []
    names += ["supply_v"] if supply_v else []
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(names)
        for t_s in range(SECONDS):
            if t_s in GAP:
                continue
            moving = t_s > 30
            row: list[float] = [t_s, 1900 if moving else 900, 60 if moving else 0, 35 if moving else 10, 20]
            row += [coolant_c(t_s)] if coolant_c else []
            row += [supply_v(t_s)] if supply_v else []
            table.writerow(row)
            table.writerow([t_s - 1, *row[1:]] if t_s == backwards_at else row)
    return path


def driven(
    secondtank: Command, scenario: Path, trace: Path, *more: object
) -> tuple[dict[str, Any], list[dict[str, int]]]:
    """The summary, and the rows of the log that was written."""
    out = trace.with_suffix(".out")
    answer = secondtank("drive", scenario, "--trace", trace, "--out", out, "--json", *more)
    assert answer.status in (0, 3), answer.err
    with (out / "log.csv").open(encoding="utf-8", newline="") as file:
        body = [line for line in file if not line.startswith("#")]
    return json.loads(answer.out), [{k: int(v) for k, v in row.items()} for row in csv.DictReader(body)]


def simulated_coolant(scenario: Path, trace: Path) -> list[float]:
    """Coolant of the simulated car at each whole second of the log."""
    story = load_scenario(scenario)
    drive = Drive(story, load_profile(story.profile), trace=read_trace(trace), trace_ambient_c=20.0)
    seen: list[float] = []
    drive.on_tick = lambda t_s: seen.append(drive.car.coolant_engine_c) if t_s >= len(seen) else None
    drive.run()
    return seen


def test_simulated_coolant_is_compared_with_the_log(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    seen = simulated_coolant(scenario, written(tmp_path / "any.csv"))
    assert len(seen) >= SECONDS
    assert seen[SECONDS - 1] > seen[0] + 5.0
    # The car starts with the coolant that the log begins with, so a log that is off must go off later.
    for early_k, late_k in ((0.0, 0.0), (-4.0, -4.0), (1.0, 10.0)):

        def logged_c(t_s: int, early_k: float = early_k, late_k: float = late_k) -> float:
            off_k = 0.0 if t_s < 5 else early_k if t_s < 0.85 * SECONDS else late_k
            return round(seen[t_s] + off_k, 3) if t_s else START_C

        summary, _ = driven(secondtank, scenario, written(tmp_path / f"off{late_k:g}.csv", logged_c), "--ambient", 20)
        assert summary["coolant_error_c"]["median"] == pytest.approx(abs(early_k), abs=0.3)
        assert summary["coolant_error_c"]["p95"] == pytest.approx(abs(late_k), abs=0.6)


def test_coolant_can_be_taken_from_the_log(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    trace = written(tmp_path / "log.csv", lambda t_s: START_C)
    summary, ticks = driven(secondtank, scenario, trace, "--coolant-from-log", "--ambient", 20)
    assert "coolant_error_c" not in summary
    simulated, warm = driven(secondtank, scenario, trace, "--ambient", 20)
    assert simulated["coolant_error_c"]["median"] > 10.0
    assert warm[2900]["raw_coolant"] < ticks[2900]["raw_coolant"] - 5000, "a warmer thermistor reads less"


def test_gaps_and_stamps_are_counted_and_no_sensor_is_blamed(
    secondtank: Command, scenario: Path, tmp_path: Path
) -> None:
    trace = written(tmp_path / "log.csv", backwards_at=200)
    summary, ticks = driven(secondtank, scenario, trace)
    lines = 2 * (SECONDS - len(GAP))
    assert summary["notes"][0] == f"Engine side from log.csv: {lines} lines, 1 gaps over 2 s, 1 stamps repaired."
    assert summary["notes"][1].startswith("Ambient 20 degC: first intake air")
    assert len(ticks) >= 10 * SECONDS
    assert not {tick["message"] for tick in ticks} & SENSORS
    assert summary["engine_s"] == pytest.approx(SECONDS, abs=3.0)


def test_what_the_log_lacks_is_said(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    summary, _ = driven(secondtank, scenario, written(tmp_path / "log.csv", coolant_c=None))
    assert "coolant_error_c" not in summary
    assert (
        "Not in log: coolant_c (coolant error is not judged), supply_v (supply low is not judged)." in summary["notes"]
    )
    assert any(note.startswith("Ambient 20 degC: assumed 20 degC: coolant_c not in log") for note in summary["notes"])
    head = (tmp_path / "log.out" / "log.csv").read_text(encoding="utf-8")
    assert "# setting fit_supply=0\n" in head  # so the row is not evaluated
    page = tmp_path / "log.out" / "report.html"
    assert "Not in log: coolant_c" in page.read_text(encoding="utf-8")
    summary, _ = driven(secondtank, scenario, written(tmp_path / "full.csv", supply_v=lambda t_s: 14.1))
    assert not any(note.startswith("Not in log") for note in summary["notes"])
    assert "# setting fit_supply=1\n" in (tmp_path / "full.out" / "log.csv").read_text(encoding="utf-8")


def test_the_logged_supply_is_what_the_board_reads(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    def sagging_v(t_s: int) -> float:
        return 10.9 if 200 <= t_s < 215 else 14.1

    _, ticks = driven(secondtank, scenario, written(tmp_path / "log.csv", supply_v=sagging_v))
    low = [tick["t_ms"] / 1000.0 for tick in ticks if tick["message"] == rows.SUPPLY_LOW]
    assert low, messages.ENGLISH[rows.SUPPLY_LOW]
    assert 203.0 <= min(low) <= 205.0  # blocks after 3 s
    assert 217.0 <= max(low) <= 222.0  # clears 3 s after the last of it


def test_a_clock_that_runs_backwards_is_refused_when_strict(
    secondtank: Command, scenario: Path, tmp_path: Path
) -> None:
    trace = written(tmp_path / "log.csv", backwards_at=200)
    answer = secondtank("drive", scenario, "--strict", "--trace", trace, "--out", tmp_path / "out")
    assert answer.status == 2
    assert "log.csv, line 393, column t_s" in answer.err
    assert not (tmp_path / "out").exists()
