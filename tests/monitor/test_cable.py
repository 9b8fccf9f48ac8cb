"""The command beside the firmware under MicroPython: what a kill leaves of a log, what a lost cable, a reset and a silent board look like."""

from __future__ import annotations

import csv
import json
import os
import pty
import random
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from changeover.states import STATES
from secondtank import cli
from tests.monitor.rig import board, command, end

Told = dict[str, object]


@pytest.fixture(scope="module")
def driving(micropython: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The port of a board in a car that drives, five times as fast as life."""
    folder = tmp_path_factory.mktemp("driving")
    with board(folder, "winter_commute", "--speed", "5"):
        yield folder / "port"


def objects(process: subprocess.Popen[str], until: Callable[[Told], bool], seconds: float = 30.0) -> list[Told]:
    """What it tells, up to the first for which this holds; after so long it is killed."""
    assert process.stdout is not None
    told: list[Told] = []
    patience = threading.Timer(seconds, process.kill)
    patience.start()
    try:
        while not told or not until(told[-1]):
            line = process.stdout.readline()
            assert line, (told[-3:], process.stderr and process.stderr.read())
            told.append(json.loads(line))
    finally:
        patience.cancel()
    return told


def rows_of(log: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(line for line in log.read_text().splitlines() if not line.startswith("#")))


def test_no_line_that_was_told_is_missing_from_the_log_after_a_kill(driving: Path, tmp_path: Path) -> None:
    """SIGKILL at three random moments, then Ctrl-C: a row is on the disk before anybody hears of it."""
    chance = random.Random(3)
    for number in range(4):
        log = tmp_path / f"{number}.csv"
        process = command("monitor", "--port", driving, "--json", "--log", log)
        told = objects(process, lambda item: item["kind"] == "row")
        wanted = chance.randrange(1, 50)
        for _ in range(wanted):
            told += objects(process, lambda item: item["kind"] == "row")
        if number < 3:
            process.kill()
            out, _ = process.communicate(timeout=20)
        else:
            out, error = end(process)
            assert process.returncode == cli.INTERRUPTED
            assert f"rows written, last to {log}" in error
        told += [json.loads(line) for line in out.splitlines() if line.endswith("}")]
        ticks = [item["tick_ms"] for item in told if item["kind"] == "row"]
        assert log.read_text().endswith("\n")
        kept = [int(row["tick_ms"]) for row in rows_of(log)]
        assert kept[: len(ticks)] == ticks
        assert len(kept) - len(ticks) <= 1, "the one that was on the disk and not yet told"


def test_what_is_told_is_what_the_board_does(driving: Path) -> None:
    process = command("monitor", "--port", driving, "--json")
    told = objects(process, lambda item: item["kind"] == "row" and int(str(item["t_ms"])) > 8_000)
    _, error = end(process)
    rows = [item for item in told if item["kind"] == "row"]
    words = [item for item in told if item["kind"] == "words"]
    steps = [int(str(after["t_ms"])) - int(str(before["t_ms"])) for before, after in pairwise(rows)]
    assert all(step > 0 and step % 200 == 0 for step in steps)
    lost = sum(step // 200 - 1 for step in steps)  # on a busy machine some find no room
    assert lost < len(rows) // 10
    assert lost <= int(error.split(" missed")[0].split()[-1]) <= lost + 20
    for item in words[1:]:
        (state,) = [line.split()[1] for line in item["status"] if line.startswith("state ")]  # pyright: ignore[reportGeneralTypeIssues]
        assert state in STATES
    coolant = float(next(line for line in words[-1]["status"] if line.startswith("coolant")).split()[1])  # pyright: ignore[reportGeneralTypeIssues]
    assert coolant == pytest.approx(float(str(rows[-1]["coolant_c"])), abs=2.0)
    assert words[0]["credited"].keys() == {"oil_s", "diesel_s", "oil_ml", "purge_ml", "purges", "trips"}  # pyright: ignore[reportAttributeAccessIssue]


def test_a_pipe_gets_plain_lines_and_a_terminal_the_table(driving: Path) -> None:
    process = command("monitor", "--port", driving)
    assert process.stdout is not None
    lines = [process.stdout.readline() for _ in range(4)]
    end(process)
    assert lines[0].startswith("-- ")
    assert all("\x1b" not in line and "coolant" in line for line in lines[1:])

    master, slave = pty.openpty()
    live = subprocess.Popen(
        [sys.executable, "-c", "from secondtank.cli import main; main()", "monitor", "--port", driving],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONIOENCODING": "utf-8", "COLUMNS": "120", "TERM": "xterm"},
        stdin=slave, stdout=slave, stderr=slave,
    )  # fmt: skip
    shown = b""
    end_s = time.monotonic() + 20
    while time.monotonic() < end_s and b"a bar each" not in shown:
        if select.select([master], [], [], 0.1)[0]:
            shown += os.read(master, 65536)
    live.send_signal(signal.SIGINT)
    assert live.wait(timeout=20) == cli.INTERRUPTED
    os.close(master)
    os.close(slave)
    assert "entry 73, exit 65" in shown.decode()


def test_a_reader_that_goes_away_ends_it(driving: Path) -> None:
    process = command("monitor", "--port", driving, "--json")
    objects(process, lambda item: item["kind"] == "row")
    assert process.stdout is not None
    process.stdout.close()
    assert process.wait(timeout=20) == cli.RAN
    assert process.stderr is not None
    assert "Traceback" not in process.stderr.read()
    process.stderr.close()


def test_lost_cable_reset_and_silence_are_told_counted_and_survived(micropython: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    with board(tmp_path, "--speed", "10"):
        process = command("monitor", "--port", tmp_path / "port", "--json", "--log", log)
        # not in the first 8 s: there a host may stop the program for good
        first = objects(process, lambda item: item["kind"] == "row" and int(str(item["tick_ms"])) > 10_000)[0]
        handle = os.open(tmp_path / "port", os.O_RDWR | os.O_NOCTTY)
        os.write(handle, b"\x03")  # MicroPython's own: ends the program, which starts again
        os.close(handle)
        told = objects(process, lambda item: item["kind"] == "reset")
        assert [item["kind"] for item in told if item["kind"] in ("cable", "reset")] == ["reset"]
        assert "silence" in [item["kind"] for item in told]
        again = objects(process, lambda item: item["kind"] == "row")
    told = objects(process, lambda item: item["kind"] == "cable")
    with board(tmp_path, "--speed", "10") as second:
        told += objects(process, lambda item: item["kind"] == "row")
        second.send_signal(signal.SIGSTOP)
        objects(process, lambda item: item["kind"] == "silence")
        second.send_signal(signal.SIGCONT)
        objects(process, lambda item: item["kind"] == "row")
        _, error = end(process)
    assert "cable lost 1 times, silent 2, restarted 2" in error
    assert "Traceback" not in error
    starts = [item["start"] for item in (first, *again, *told) if item["kind"] == "board"]
    rows = rows_of(log)
    times = [int(row["t_ms"]) for row in rows]
    assert times == sorted(set(times)), "one time axis over everything"
    assert [int(boot) for boot in dict.fromkeys(row["boot"] for row in rows)] == starts == [1, 2, 3]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--port", "/nowhere/port"], "/nowhere/port"),
        (["--port", "/nowhere/port", "--journal", "j", "--log", "l.csv"], "one of them"),
        (["--port", "/nowhere/port", "--log", "/nowhere/l.csv"], "/nowhere/l.csv"),
        (["--port", "/dev/null", "--journal", "/dev/null/j"], "/dev/null/j"),
    ],
)
def test_bad_input_is_one_clear_message(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["secondtank", "monitor", *arguments])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == cli.BAD_INPUT
    error = capsys.readouterr().err
    assert says in error
    assert "Traceback" not in error
    assert error.count("\n") == 1
