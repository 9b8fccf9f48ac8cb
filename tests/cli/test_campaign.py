"""`secondtank campaign`: what it writes and prints, how it ends, goes on after an interrupt, and plays its worst trips again."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from host_sim.campaign import scenario_toml
from host_sim.profile import load_profile
from host_sim.scenario import Scenario, load_scenario
from tests.cli.conftest import Command


def _fixed(value: float, unit: str) -> dict[str, Any]:
    return {"low": value, "high": value, "unit": unit, "source": "a test"}


def story(folder: Path, **changes: Any) -> Path:
    """A scenario file whose random trips last seconds: too short for any oil."""
    data = load_scenario("summer_commute").model_dump(exclude_none=True)
    data["title"] = "Round the block"
    minutes = {"low": 0.1, "high": 0.3, "unit": "min", "source": "a test"}
    data["spread"] |= {"drives": _fixed(1.0, "1"), "town_minutes": minutes, "road_minutes": minutes} | changes
    data["spread"] |= {"stop_minutes": _fixed(2.0, "min")}
    path = folder / "block.toml"
    path.write_text(scenario_toml(Scenario.model_validate(data)), encoding="utf-8")
    return path


def warm_story(folder: Path) -> Path:
    """The same with a quarter of an hour at 34 degC, enough for some oil."""
    return story(
        folder, ambient_c=_fixed(34.0, "degC"), road_minutes=_fixed(13.0, "min"), road_kmh=_fixed(110.0, "km/h")
    )


def test_a_campaign_writes_its_trips_and_sums_and_says_what_it_means(secondtank: Command, tmp_path: Path) -> None:
    out = tmp_path / "out"
    answer = secondtank("campaign", story(tmp_path), "--trips", 5, "--jobs", 1, "--out", out)
    assert answer.status == 0, answer.out + answer.err
    assert answer.err == ""
    assert answer.out.startswith("Round the block: 5 of 5 random trips, seed 1, no fault\n")
    assert "untold, none of H1 to H10: each at most 3/5 = 60 % at 95 %, for this distribution\n" in answer.out
    assert "time on oil: none was possible" in answer.out
    assert "false forced exits: 0 in 100 trips" in answer.out
    records = [json.loads(line) for line in (out / "trips.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [record["trip"] for record in records] == [0, 1, 2, 3, 4]
    assert len({record["runs"][0]["engine_s"] for record in records}) == 5
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert not summary["interrupted"]
    assert summary["totals"]["a"]["trips"] == 5
    burnt = sum(record["runs"][0]["litres"]["diesel_burnt"] for record in records)
    assert summary["totals"]["a"]["sums"]["diesel_burnt"] == pytest.approx(burnt, abs=1e-3)
    assert summary["totals"]["a"]["hazards"]["H4"] == {"untold": 0, "told": 0, "may_pass": 0, "at_most_95": 0.6}

    again = secondtank("campaign", story(tmp_path), "--trips", 5, "--jobs", 2, "--out", tmp_path / "two", "--json")
    assert json.loads(again.out) == summary
    assert (tmp_path / "two" / "trips.jsonl").read_bytes() == (out / "trips.jsonl").read_bytes()


def test_an_untold_hazard_ends_with_3_unless_two_faults_were_asked_for(secondtank: Command, tmp_path: Path) -> None:
    full = story(tmp_path, oil_level=_fixed(0.99, "1"))
    answer = secondtank("campaign", full, "--trips", 2, "--jobs", 1, "--out", tmp_path / "none")
    assert answer.status == 3
    assert "H10 fuel about to spill: untold in 2 of 2 trips (34 to 100 % at 95 %, for this distribution)" in answer.out
    assert "untold, none of H1, H2, H3, H4, H5, H6, H7, H8, H9: each at most 100 % at 95 %" in answer.out
    answer = secondtank("campaign", full, "--trips", 2, "--jobs", 1, "--faults", 2, "--out", tmp_path / "two")
    assert answer.status == 0
    assert "two faults a trip: searched and reported, not claimed" in answer.out
    assert "H10 fuel about to spill: untold in 2 of 2" in answer.out


def test_the_worst_trip_drives_again_to_the_same_bytes(secondtank: Command, tmp_path: Path) -> None:
    """On oil and with a fault: from the files that the campaign kept, by the command that it printed."""
    out = tmp_path / "out"
    secondtank("campaign", warm_story(tmp_path), "--trips", 1, "--faults", 1, "--jobs", 1, "--out", out)
    (record,) = [json.loads(line) for line in (out / "trips.jsonl").read_text(encoding="utf-8").splitlines()]
    (run,) = record["runs"]
    assert record["faults"]
    assert run["time_on_oil_ideal_s"] > 60.0, "a drive that is worth replaying"
    kept = json.loads((out / "summary.json").read_text(encoding="utf-8"))["totals"]["a"]["use"]["worst"]
    assert [row["trip"] for row in kept] == [0]
    worst = out / "worst"
    secondtank(
        "drive", worst / "trip_000000.toml", "--settings", worst / "settings_a.toml", "--out", tmp_path / "replay"
    )
    replayed = (tmp_path / "replay" / "summary.json").read_bytes()
    assert hashlib.sha256(replayed).hexdigest() == run["summary_sha256"]
    assert json.loads(replayed)["time_on_oil_s"] == run["time_on_oil_s"]


def test_two_settings_drive_the_same_trips_and_are_compared(secondtank: Command, tmp_path: Path) -> None:
    out, other = tmp_path / "out", tmp_path / "other.toml"
    values = load_profile("full_guard") | {"oil_entry_cdegc": 8000}
    other.write_text(
        "[settings]\n" + "".join(f"{name} = {value}\n" for name, value in values.items()), encoding="utf-8"
    )
    answer = secondtank("campaign", warm_story(tmp_path), "--trips", 2, "--against", other, "--jobs", 2, "--out", out)
    assert answer.status in (0, 3)
    assert "B against A, the same 2 trips:" in answer.out
    records = [json.loads(line) for line in (out / "trips.jsonl").read_text(encoding="utf-8").splitlines()]
    later_s = [record["runs"][1]["time_on_oil_s"] - record["runs"][0]["time_on_oil_s"] for record in records]
    assert max(later_s) < 0.0, "8 K warmer is later on oil"
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert summary["against"]["time_on_oil_s_more_in_b"]["mean"] == pytest.approx(sum(later_s) / 2, abs=1e-3)
    assert summary["settings"] == ["full_guard", "other"]
    assert len(set(summary["settings_hashes"])) == 2
    assert {path.name for path in (out / "worst").glob("settings_*")} == {"settings_a.toml", "settings_b.toml"}


def test_resume_goes_on_behind_a_half_written_line_and_gives_the_same_bytes(
    secondtank: Command, tmp_path: Path
) -> None:
    scenario, whole, cut = story(tmp_path), tmp_path / "whole", tmp_path / "cut"
    order = ("campaign", scenario, "--jobs", 1, "--out")
    assert secondtank(*order, whole, "--trips", 4).status == 0
    assert secondtank(*order, cut, "--trips", 3).status == 0
    text = (cut / "trips.jsonl").read_bytes()
    (cut / "trips.jsonl").write_bytes(text[:-20])
    answer = secondtank(*order, cut, "--trips", 4, "--resume")
    assert answer.status == 0, answer.err
    for name in ("trips.jsonl", "summary.json", "campaign.json"):
        assert (cut / name).read_bytes() == (whole / name).read_bytes()


def _begin(scenario: Path, out: Path, *more: object) -> subprocess.Popen[str]:
    """The command in a process of its own."""
    code = "from secondtank.cli import main\nif __name__ == '__main__':\n    main()\n"
    script = out.parent / "command.py"
    script.write_text(code, encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, script, "campaign", scenario, "--jobs", "2", "--out", out, *map(str, more)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def _wait_for_trips(out: Path, count: int) -> None:
    deadline = time.monotonic() + 60.0
    while not (out / "trips.jsonl").exists() or (out / "trips.jsonl").read_bytes().count(b"\n") < count:
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_an_interrupt_ends_with_130_and_what_is_done_is_kept_for_resume(secondtank: Command, tmp_path: Path) -> None:
    scenario, out = story(tmp_path), tmp_path / "out"
    process = _begin(scenario, out, "--trips", 500)
    _wait_for_trips(out, 2)
    process.send_signal(signal.SIGINT)
    printed, errors = process.communicate(timeout=60)
    assert process.returncode == 130, errors
    assert "interrupted: partial" in printed
    assert errors == ""
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    text = (out / "trips.jsonl").read_bytes()
    done = text.count(b"\n")
    assert summary["interrupted"]
    assert 2 <= summary["trips"] == done < 500
    answer = secondtank("campaign", scenario, "--jobs", 1, "--out", out, "--trips", done + 1, "--resume")
    assert answer.status == 0, answer.err
    assert (out / "trips.jsonl").read_bytes().startswith(text)
    assert (out / "trips.jsonl").read_bytes().count(b"\n") == done + 1
    assert not json.loads((out / "summary.json").read_text(encoding="utf-8"))["interrupted"]


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="finds the worker's process id in /proc")
def test_a_killed_worker_costs_nothing_but_time(secondtank: Command, tmp_path: Path) -> None:
    scenario, out, whole = story(tmp_path), tmp_path / "out", tmp_path / "whole"
    process = _begin(scenario, out, "--trips", 14)
    _wait_for_trips(out, 1)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text(encoding="utf-8").split()
    workers = [pid for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]
    os.kill(int(workers[-1]), signal.SIGKILL)
    assert (out / "trips.jsonl").read_bytes().count(b"\n") < 14, "killed while it had work"
    _, errors = process.communicate(timeout=120)
    assert process.returncode == 0, errors
    assert json.loads((out / "summary.json").read_text(encoding="utf-8"))["died"] == []
    assert secondtank("campaign", scenario, "--jobs", 2, "--out", whole, "--trips", 14).status == 0
    assert (out / "trips.jsonl").read_bytes() == (whole / "trips.jsonl").read_bytes()


def _begun(secondtank: Command, folder: Path) -> Path:
    out = folder / "begun"
    assert secondtank("campaign", story(folder), "--jobs", 1, "--trips", 1, "--out", out).status == 0
    return out


def test_bad_input_gets_one_message_status_2_and_nothing_is_lost(secondtank: Command, tmp_path: Path) -> None:
    out = _begun(secondtank, tmp_path)
    scenario, before = tmp_path / "block.toml", {path.name: path.read_bytes() for path in out.glob("*.json*")}
    (tmp_path / "empty").mkdir()
    for arguments, told in (
        (("forgotten_purge",), ("forgotten_purge: spread", "winter_commute")),
        ((scenario, "--settings", "looped"), ("looped: layout", "tank_return")),
        ((scenario, "--against", "ful_guard"), ("ful_guard", "full_guard")),
        ((scenario,), ("holds a campaign", "--resume")),
        ((scenario, "--resume", "--seed", 2), ("campaign.json: seed", "found 2", "1, as the campaign began")),
        ((scenario, "--resume", "--faults", 1), ("campaign.json: faults",)),
        ((scenario, "--resume", "--against", "full_guard"), ("campaign.json: settings",)),
        ((scenario, "--resume", "--out", tmp_path / "empty"), ("campaign.json", "No such file", "that was begun")),
        ((scenario, "--out", scenario), ("block.toml", "a folder that can be written")),
    ):
        answer = secondtank("campaign", "--trips", 2, "--jobs", 1, "--out", out, *arguments)
        assert answer.status == 2, arguments
        assert answer.err.count("; wanted ") == 1
        assert "Traceback" not in answer.err
        for part in told:
            assert part in answer.err, answer.err
    assert {path.name: path.read_bytes() for path in out.glob("*.json*")} == before


def test_a_record_that_is_none_is_refused_with_its_line(secondtank: Command, tmp_path: Path) -> None:
    out = _begun(secondtank, tmp_path)
    with (out / "trips.jsonl").open("a", encoding="utf-8") as file:
        file.write('{"trip": 7}\n')
    answer = secondtank("campaign", tmp_path / "block.toml", "--resume", "--jobs", 1, "--trips", 3, "--out", out)
    assert answer.status == 2
    assert "trips.jsonl, line 2" in answer.err
    assert "the record of trip 1" in answer.err
