"""`secondtank drive`: what it writes and prints, how it ends; bad input in one message, nothing half-written."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import secondtank.drive as verb
from changeover import VERSION
from host_sim.drive import Drive
from tests.cli.conftest import SCENARIO, Command

WRITTEN = {"log.csv", "report.html", "summary.json"}
KEYS = {
    "verdict", "hazards", "time_on_oil_s", "time_on_oil_ideal_s", "transitions", "litres", "balance", "seed",
    "settings_hash", "version",
}  # fmt: skip


def test_writes_report_summary_and_log_and_says_what_happened(
    secondtank: Command, scenario: Path, tmp_path: Path
) -> None:
    out = tmp_path / "deep" / "er"
    answer = secondtank("drive", scenario, "--out", out)
    assert answer.status == 0, answer.err
    assert {path.name for path in out.iterdir()} == WRITTEN
    assert answer.out.startswith("Short and dull: no hazard\n")
    assert answer.out.rstrip().endswith(str(out / "report.html"))
    assert answer.err == ""
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert set(summary) >= KEYS
    assert set(summary["litres"]) == {"diesel_burnt", "oil_burnt", "oil_into_diesel_tank", "diesel_into_oil_tank"}
    assert set(summary["balance"]) == {"volume", "energy"}
    assert (summary["verdict"], summary["seed"], summary["version"]) == ("no hazard", 5, VERSION)
    assert summary["litres"]["diesel_burnt"] > 0.0
    assert not summary["interrupted"]
    first = summary["transitions"][0]
    assert set(first) >= {"time_s", "from", "to", "reason", "numbers"}
    assert (first["from"], first["to"], first["text"]) == ("PARKED", "ON_DIESEL", "key on")
    assert "coolant_error_c" not in summary
    assert "Short and dull" in (out / "report.html").read_text(encoding="utf-8")


def test_json_prints_the_summary_and_nothing_else(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    answer = secondtank("drive", scenario, "--json", "--seed", 9, "--out", tmp_path / "out")
    assert answer.status == 0
    assert json.loads(answer.out) == json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    assert json.loads(answer.out)["seed"] == 9
    assert answer.err == ""


def test_settings_and_set_decide_and_show_in_the_hash(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    hashes = []
    for more in ((), ("--set", "dwell_diesel_s=61"), ("--settings", "three_sensors"), ("--set", "dwell_diesel_s=60")):
        answer = secondtank("drive", scenario, "--json", "--out", tmp_path / "out", *more)
        assert answer.status == 0, answer.err
        hashes.append(json.loads(answer.out)["settings_hash"])
    assert len(set(hashes)) == 3
    assert hashes[3] == hashes[0], "60 s is the default"


def test_a_hazard_ends_with_3_and_stands_in_the_summary(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    scenario.write_text(SCENARIO.replace("oil_level = 0.7", "oil_level = 0.99"), encoding="utf-8")
    answer = secondtank("drive", scenario, "--out", tmp_path / "out")
    assert answer.status == 3
    summary = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    assert summary["verdict"] == "hazard"
    (hazard,) = summary["hazards"]
    assert (hazard["id"], hazard["limit"], hazard["told"]) == ("H10", 0.97, False)
    assert hazard["value"] == pytest.approx(0.99, abs=0.001)
    assert hazard["time_s"] < 2.0
    assert "H10" in answer.out
    assert "H10" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_a_run_that_proves_nothing_ends_with_4_and_says_why(
    secondtank: Command, scenario: Path, tmp_path: Path
) -> None:
    scenario.write_text(
        SCENARIO.replace('do = "drive"', 'do = "stop"').replace('pattern = "idle"\n', ""), encoding="utf-8"
    )
    answer = secondtank("drive", scenario, "--out", tmp_path / "out")
    assert answer.status == 4
    assert "Short and dull: not valid" in answer.out
    assert "The engine never ran." in answer.out


def test_a_fault_of_the_program_is_called_one_and_ends_with_1(
    secondtank: Command, scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(self: Drive, until_s: float | None = None) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(Drive, "run", broken)
    answer = secondtank("drive", scenario, "--out", tmp_path / "out")
    assert answer.status == 1
    assert "planted" in answer.err
    assert "not of your input" in answer.err


BAD: dict[str, tuple[Callable[[Path], tuple[object, ...]], tuple[str, ...]]] = {
    "no such scenario": (lambda here: ("winter_comute",), ("winter_comute", "winter_commute")),
    "no such file": (lambda here: (here / "none.toml",), ("none.toml", "No such file")),
    "a folder as scenario": (lambda here: (here,), ("directory",)),
    "an empty scenario": (lambda here: (_write(here, ""),), ("bad.toml", "title")),
    "not TOML": (lambda here: (_write(here, "title = \n"),), ("bad.toml", "line 1", "TOML")),
    "unknown key": (
        lambda here: (_edit(here, "seed = 5", "seed = 5\nsed = 6"),),
        ("bad.toml: sed", "'sed'", "misspelling"),
    ),
    "wrong type": (lambda here: (_edit(here, "seed = 5", 'seed = "five"'),), ("bad.toml: seed", "'five'", "integer")),
    "out of range": (
        lambda here: (_edit(here, "minutes = 1", "minutes = -3"),),
        ("bad.toml: trip[2].minutes", "-3", "greater than 0"),
    ),
    "wrong unit": (
        lambda here: (_edit(here, '"degC"', '"degF"'),),
        ("bad.toml: weather.ambient_c.unit", "degF", "degC"),
    ),
    "no such car": (lambda here: (_edit(here, "estate_1_9", "lorry"),), ("bad.toml: car", "lorry", "estate_1_9")),
    "set without value": (
        lambda here: (_good(here), "--set", "dwell_diesel_s"),
        ("--set", "dwell_diesel_s", "NAME=VALUE"),
    ),
    "set of nothing known": (lambda here: (_good(here), "--set", "dwell=3"), ("--set", "dwell", "name of a setting")),
    "set out of range": (
        lambda here: (_good(here), "--set", "dwell_diesel_s=3"),
        ("--set", "dwell_diesel_s", "3", "10 to 600 s"),
    ),
    "no such profile": (lambda here: (_good(here), "--settings", "fullguard"), ("fullguard", "full_guard")),
    "profile of another plumbing": (lambda here: (_good(here), "--settings", "looped"), ("layout", "tank_return")),
    "settings that contradict": (
        lambda here: (_good(here), "--settings", _write(here, "[settings]\ncoolant_exit_cdegc = 9000\n", "mine.toml")),
        ("mine.toml: coolant_exit_cdegc", "9000", "at most 6800, 200 below coolant_entry_cdegc"),
    ),
    "no such trace": (lambda here: (_good(here), "--trace", here / "none.csv"), ("none.csv", "No such file")),
    "empty trace": (lambda here: (_good(here), "--trace", _write(here, "", "log.csv")), ("log.csv, line 1", "empty")),
    "trace without rows": (
        lambda here: (_good(here), "--trace", _trace(here, "")),
        ("log.csv", "at least one line of data"),
    ),
    "trace without a column": (
        lambda here: (_good(here), "--trace", _trace(here, "0,900,0,20\n", without="engine_load_pct")),
        ("log.csv, line 1", "engine_load_pct"),
    ),
    "trace without the coolant that was asked for": (
        lambda here: (_good(here), "--trace", _trace(here, "0,900,0,20\n", without="coolant_c"), "--coolant-from-log"),
        ("log.csv, line 1", "coolant_c"),
    ),
    "text in a number": (
        lambda here: (_good(here), "--trace", _trace(here, "0,900,0,20,18\n1,fast,0,20,18\n")),
        ("log.csv, line 3, column engine_rpm", "'fast'", "0 to 16384"),
    ),
    "number out of range": (
        lambda here: (_good(here), "--trace", _trace(here, "0,900,0,120,18\n")),
        ("log.csv, line 2, column engine_load_pct", "'120'", "0 to 100"),
    ),
    "time backwards": (
        lambda here: (_good(here), "--strict", "--trace", _trace(here, "5,900,0,20,18\n4,900,0,20,18\n")),
        ("log.csv, line 3, column t_s", "4", "5 s or later"),
    ),
    "ambient beyond any weather": (
        lambda here: (_good(here), "--ambient", "99", "--trace", _trace(here, "0,900,0,20,18\n")),
        ("ambient", "99", "-50 to 60"),
    ),
    "ambient without a trace": (lambda here: (_good(here), "--ambient", "5"), ("--ambient", "--trace")),
    "coolant from no log": (lambda here: (_good(here), "--coolant-from-log"), ("--coolant-from-log", "--trace")),
}


def _write(folder: Path, text: str, name: str = "bad.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def _good(folder: Path) -> Path:
    return _write(folder, SCENARIO, "good.toml")


def _edit(folder: Path, old: str, new: str) -> Path:
    assert old in SCENARIO
    return _write(folder, SCENARIO.replace(old, new))


def _trace(folder: Path, body: str, without: str = "") -> Path:
    names = ["t_s", "engine_rpm", "speed_kmh", "engine_load_pct", "coolant_c"]
    return _write(folder, ",".join(name for name in names if name != without) + "\n" + body, "log.csv")


@pytest.mark.parametrize("case", BAD)
def test_bad_input_gets_one_message_status_2_and_writes_nothing(case: str, secondtank: Command, tmp_path: Path) -> None:
    arguments, told = BAD[case]
    out = tmp_path / "out"
    answer = secondtank("drive", *arguments(tmp_path), "--out", out)
    assert answer.status == 2
    assert answer.out == ""
    assert answer.err.startswith("secondtank: ")
    assert answer.err.count("; wanted ") == 1
    assert "Traceback" not in answer.err
    for part in told:
        assert part in answer.err, answer.err
    assert not out.exists()


@pytest.mark.parametrize("below", ["", "deeper"])
def test_a_folder_that_cannot_be_written_is_refused_before_the_run(
    below: str, secondtank: Command, scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Drive, "run", lambda self, until_s=None: pytest.fail("ran, and had nowhere to write"))
    in_its_place = tmp_path / "taken"
    in_its_place.write_text("mine", encoding="utf-8")
    answer = secondtank("drive", scenario, "--out", in_its_place / below)
    assert answer.status == 2
    assert answer.err.startswith(f"secondtank: --out {in_its_place / below}: ")
    assert "a folder that can be written" in answer.err
    assert in_its_place.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    "arguments", [("drive", "--sed", "3"), ("drive", "--seed", "-1"), ("drive", "--seed", "x"), ("drvie",)]
)
def test_a_wrong_command_line_ends_with_2_and_no_traceback(arguments: tuple[str, ...], secondtank: Command) -> None:
    answer = secondtank(*arguments)
    assert answer.status == 2
    assert answer.out == ""
    assert arguments[-1] in answer.err or arguments[-2] in answer.err
    assert "Traceback" not in answer.err


def test_version_and_help(secondtank: Command) -> None:
    assert secondtank("--version").out.strip() == VERSION
    told = secondtank("drive", "--help")
    assert told.status == 0
    for option in ("--settings", "--trace", "--set", "--seed", "--out", "--json", "--strict", "--ambient"):
        assert option in told.out


def test_an_earlier_result_is_replaced_whole(secondtank: Command, scenario: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    secondtank("drive", scenario, "--out", out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    scenario.write_text(SCENARIO.replace("dull", "dull again"), encoding="utf-8")
    assert secondtank("drive", scenario, "--out", out, "--set", "oops=1").status == 2
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert secondtank("drive", scenario, "--out", out).status == 0
    assert {path.name for path in out.iterdir()} == WRITTEN
    assert json.loads((out / "summary.json").read_text(encoding="utf-8"))["title"] == "Short and dull again"
    assert "dull again" in (out / "report.html").read_text(encoding="utf-8")


def test_interrupted_before_the_first_tick_it_still_writes_what_it_has(
    secondtank: Command, scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def at_once(self: Drive, until_s: float | None = None) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Drive, "run", at_once)
    answer = secondtank("drive", scenario, "--out", tmp_path / "out")
    assert answer.status == 130
    assert {path.name for path in (tmp_path / "out").iterdir()} == WRITTEN


def test_the_first_interrupt_waits_for_the_tick_the_second_does_not() -> None:
    inherited = signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job ignores it
    try:
        with verb.Interrupt() as interrupt:
            os.kill(os.getpid(), signal.SIGINT)
            assert interrupt.noted
            with pytest.raises(KeyboardInterrupt):
                os.kill(os.getpid(), signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, inherited)


def test_interrupted_it_keeps_what_it_has_and_says_so(tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = [
        sys.executable,
        "-c",
        "from secondtank.cli import main; main()",
        "drive",
        "winter_commute",
        "--out",
        str(out),
    ]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        part = out / "log.csv.part"
        give_up = time.monotonic() + 60.0
        while not (part.exists() and part.stat().st_size > 200_000):
            assert running.poll() is None, "ended before it could be interrupted"
            assert time.monotonic() < give_up
            time.sleep(0.02)
        running.send_signal(signal.SIGINT)
        told, complaint = running.communicate(timeout=60.0)
    finally:
        running.kill()
    assert running.returncode == 130, complaint
    assert "(partial: interrupted)" in told
    assert "Traceback" not in complaint
    assert {path.name for path in out.iterdir()} == WRITTEN
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert summary["interrupted"] is True
    assert summary["verdict"] in ("no hazard", "hazard"), "half a tick breaks the balances"
    rows = (out / "log.csv").read_text(encoding="utf-8").splitlines()
    assert rows[-1] == "# interrupted"
    names = next(row for row in rows if not row.startswith("#"))
    assert rows[-2].count(",") == names.count(",")
    assert 0.0 < summary["engine_s"] < float(rows[-2].split(",")[0]) / 1000.0
    assert "interrupted" in (out / "report.html").read_text(encoding="utf-8")
