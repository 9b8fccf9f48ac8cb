"""`secondtank replay` as a user types it: what it prints and writes, how it ends, several logs at once, an interrupt."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
from collections import deque
from itertools import islice
from pathlib import Path

import pytest

from host_sim import replay_record
from host_sim.replay import POLL_TICKS, Replay
from tests.replay.conftest import HEAD, Command, Write, opened, replayed, warming

WRITTEN = {"report.html", "summary.json"}


def test_says_writes_and_ends_with_0_for_a_log_that_is_reproduced(
    secondtank: Command, trip: Path, tmp_path: Path
) -> None:
    out = tmp_path / "deep" / "er"
    answer = secondtank("replay", trip, "--out", out, "--shadow")
    assert (answer.status, answer.err) == (0, "")
    first, second, third, *rest = answer.out.splitlines()
    assert first.startswith("trip.csv: reproduced bit for bit: 10300 ticks of 3 starts; on oil ")
    assert second == "  log of a board, 10300 rows, 10300 ticks, 3 trips; no gap over 2 s"
    assert third.startswith("  allowed but not on oil ")
    assert any("ON_OIL -> PURGING: another fitted sensor not trusted (measured no answer)" in line for line in rest)
    assert any(
        "FILLING -> ON_OIL: oil may be at the return valve (measured 175 mL, limit 175 mL)" in line for line in rest
    )
    assert {path.name for path in out.iterdir()} == {"trip", "replay.json", "shadow.html"}
    assert {path.name for path in (out / "trip").iterdir()} == WRITTEN
    page = (out / "trip" / "report.html").read_text(encoding="utf-8")
    assert "reproduced bit for bit" in page
    assert "Not judged: only the simulated car knows the truth" in page
    assert "No hazard" not in page
    shadow = (out / "shadow.html").read_text(encoding="utf-8")
    assert shadow.count("<svg ") >= 15
    assert "http" not in shadow.replace("http-equiv", "")
    summary = json.loads((out / "trip" / "summary.json").read_text(encoding="utf-8"))
    assert (summary["verdict"], "litres" in summary) == ("replayed", False)
    assert summary["transitions"][0]["from"] == "PARKED"


def test_a_log_of_this_program_that_is_not_reproduced_ends_with_3(
    secondtank: Command, trip: Path, tmp_path: Path
) -> None:
    lines = trip.read_text(encoding="utf-8").splitlines()
    cells = lines[1000].split(",")
    cells[-3] = "37" if cells[-3] != "37" else "36"
    path = tmp_path / "changed.csv"
    path.write_text("\n".join([*lines[:1000], ",".join(cells), *lines[1001:2000]]) + "\n", encoding="utf-8")
    answer = secondtank("replay", path, "--out", tmp_path / "out")
    assert answer.status == 3
    assert answer.out.startswith("changed.csv: NOT reproduced: first differs at line 1001, start 1, tick ")
    assert "ms: message logged OIL IS READY, replayed " in answer.out.splitlines()[0]
    # the same log said to be made by another version is no proof of anything
    path.write_text(path.read_text().replace("# firmware_hash=", "# firmware_hash=0"), encoding="utf-8")
    answer = secondtank("replay", path, "--out", tmp_path / "out")
    assert answer.status == 4
    assert "not valid for a reproduction, made by another version of the law (--firmware gives it)" in answer.out


def test_a_log_in_which_it_never_happens_is_not_valid_for_that(
    secondtank: Command, table: Write, tmp_path: Path
) -> None:
    cold = table(HEAD, warming(200), "cold.csv")
    answer = secondtank("replay", cold, "--out", tmp_path / "out")
    assert answer.status == 4
    said = "cold.csv: not valid for a changeover: nothing ever allowed oil in 3 min 19 s: coolant cold (3 min 19 s)"
    assert answer.out.splitlines()[0] == said
    still = table(HEAD, [(t, 0, 80) for t in range(100)], "still.csv")
    assert secondtank("replay", still, "--out", tmp_path / "out").out.startswith(
        "still.csv: not valid for a changeover: the engine"
    )
    answer = secondtank("replay", cold, "--against", "three_sensors", "--out", tmp_path / "out")
    assert answer.status == 4
    assert "cold.csv: not valid for that: neither A nor B ever went to oil" in answer.out


def test_several_logs_at_once_and_one_that_is_bad_loses_none(
    secondtank: Command, table: Write, trip: Path, tmp_path: Path
) -> None:
    (tmp_path / "other").mkdir()
    warm, bad = table(HEAD, warming()), table(HEAD, ["0,900,20", "1,900,999"], "bad.csv")
    twin = Path(shutil.copy(warm, tmp_path / "other" / "log.csv"))
    answer = secondtank("replay", trip, warm, bad, twin, "--jobs", 2, "--json", "--out", tmp_path / "out")
    assert answer.status == 2
    assert answer.err == (
        f"secondtank: {bad}, line 3, column coolant_c: found '999'; wanted a number from -50 to 150 (degC); as cdegC it would be "
        "10.0 degC: which unit is it?\n"
    )
    summary = json.loads(answer.out)
    assert sorted(Path(log["log"]).name for log in summary["logs"]) == ["log.csv", "log.csv", "trip.csv"]
    assert summary["refused"] == [answer.err.removeprefix("secondtank: ").rstrip("\n")]
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"trip", "log", "log_2", "replay.json"}
    alone = replayed(warm)
    both = [log for log in summary["logs"] if log["kind"] == "table"]
    assert [log["moves"] for log in both] == [alone["moves"]] * 2


def test_two_settings_show_only_what_changed(secondtank: Command, table: Write, tmp_path: Path) -> None:
    warmer = tmp_path / "warmer.toml"
    own = (Path(replay_record.__file__).parent / "profiles" / "full_guard.toml").read_text(encoding="utf-8")
    warmer.write_text(own + "coolant_entry_cdegc = 7500\n", encoding="utf-8")
    answer = secondtank("replay", table(HEAD, warming()), "--against", warmer, "--out", tmp_path / "out")
    assert (answer.status, answer.err) == (0, "")
    lines = answer.out.splitlines()
    assert lines[0].startswith("log.csv, A: oil allowed for ")
    assert "50.0 s less on oil in B (" in lines[1]
    assert lines[1].endswith("0 exits vanish, 0 appear")
    assert "ON_DIESEL -> FILLING 50000 ms later (not in log)" in lines[2]
    assert "  COOLANT COLD stands 50.0 s longer" in lines
    assert {path.name for path in (tmp_path / "out" / "log").iterdir()} == WRITTEN | {"report_b.html", "summary_b.json"}


def test_a_poll_that_says_stop_leaves_a_partial_result(trip: Path) -> None:
    log = opened(trip)
    replay = Replay(log, dict(log.settings or {}), True)
    asked: list[int] = []
    replay.run(lambda position: asked.append(position) or True)
    result = replay.result()
    assert result["interrupted"]
    assert result["counters"]["ticks"] == POLL_TICKS
    assert 0 < asked[0] <= trip.stat().st_size
    assert result["compared"]["exact_same"] == POLL_TICKS


def test_an_interrupt_ends_with_130_and_a_partial_result_that_says_so(trip: Path, tmp_path: Path) -> None:
    text = trip.read_text(encoding="utf-8").splitlines(keepends=True)
    begin = next(number for number, line in enumerate(text) if not line.startswith("#")) + 1
    rows = [line.split(",", 2) for line in text[begin:]]
    last = int(rows[-1][0]) + 1000
    for name in ("one.csv", "two.csv"):
        with (tmp_path / name).open("w", encoding="utf-8") as file:
            file.writelines(text[:begin])
            for turn in range(40):
                file.writelines(f"{int(t) + turn * last},{int(boot) + 3 * turn},{rest}" for t, boot, rest in rows)
    signs = tmp_path / "tmp"
    signs.mkdir()
    command = [sys.executable, "-c", "import sys; from secondtank.cli import main; main()", "replay"]
    command += [str(tmp_path / "one.csv"), str(tmp_path / "two.csv"), "--jobs", "2", "--out", str(tmp_path / "out")]
    environment = os.environ | {"TMPDIR": str(signs), "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    deadline = time.monotonic() + 60
    while len(list(signs.glob("secondtank-*/[01]"))) < 2:
        assert time.monotonic() < deadline
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    printed, errors = process.communicate(timeout=60)
    assert (process.returncode, errors) == (130, "")
    assert printed.count(": partial (interrupted): reproduced bit for bit") == 2
    summary = json.loads((tmp_path / "out" / "replay.json").read_text(encoding="utf-8"))
    assert summary["interrupted"]
    for log in summary["logs"]:
        assert 0 < log["counters"]["ticks"] < 40 * len(rows)
    assert not list(signs.glob("secondtank-*"))


def test_memory_stays_flat_however_long_the_log(trip: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def peak(path: Path, rows: int) -> int:
        log = opened(path)
        tracemalloc.start()
        deque(islice(log.ticks(dict(log.settings or {})), rows), maxlen=0)
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    assert peak(trip, 10_000) < 1.1 * peak(trip, 1_000) + 50_000
    monkeypatch.setattr(replay_record, "MOST_SAMPLES", 300)
    result = replayed(trip)
    times = result["series"]["t_s"]
    assert {len(values) for values in result["series"].values()} == {len(times)}
    assert 150 < len(times) <= 300
    assert times == sorted(times)
    assert times[-1] > 0.95 * result["moves"][-1]["t_ms"] / 1000
