"""A capture of the link: the board's own telemetry among whatever else a terminal kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from host_sim.errors import InputError
from host_sim.replay_logs import CAPTURE, kind_of
from tests.law.rig import HOT_ENGINE, Rig
from tests.link.desk import Desk
from tests.replay.conftest import replayed


def captured(*said: str, every: int = 1) -> list[str]:
    """What a terminal sees of a trip: key on, warm, to oil, the driver's stop, a purge, key off. The link is the firmware's own."""
    desk = Desk(Rig())
    rig = desk.rig
    desk.run(1)
    lines: list[str] = []
    for line in (*said, f"watch {every}"):
        lines += desk.say(line + "\n")
    rig.reads(**HOT_ENGINE)
    rig.key(True)
    desk.run(2)
    rig.engine(True)
    desk.run(10)
    rig.ready(True)
    desk.run(30)
    rig.ready(False)
    desk.run(30)
    rig.engine(False)
    rig.key(False)
    desk.run(5)
    return lines + desk.lines()


@pytest.fixture(scope="module")
def lines() -> list[str]:
    return captured("version", "get")


def put(path: Path, lines: list[str], end: str = "\n") -> Path:
    path.write_text(end.join(lines) + end, encoding="ascii", newline="")
    return path


def test_a_capture_is_replayed_with_the_settings_that_it_tells(lines: list[str], tmp_path: Path) -> None:
    path = put(tmp_path / "serial.txt", ["$ some terminal", "> watch 1", *lines, "note and so on"], end="\r\n")
    assert kind_of(path) == CAPTURE
    result = replayed(path)
    assert result["own"]
    assert result["settings"]["path_ul"] == Rig().values["path_ul"] == 100_000
    assert (result["repairs"], result["counters"]["gaps"], result["dense"]) == ({}, 0, True)
    assert [move["to"] for move in result["moves"]] == [
        "ON_DIESEL",
        "FILLING",
        "ON_OIL",
        "PURGING",
        "ON_DIESEL",
        "PARKED",
    ]
    compared = result["compared"]
    # the board ran before its first row, so nothing is claimed bit for bit; the test's bench answers a write within its tick, a
    # board in the next, so its filling begins that much earlier
    assert compared["exact"] == 0
    assert compared["joined"] - compared["joined_same"] <= 25 < 700 < compared["joined"]


def test_sparse_rows_are_held_in_between(tmp_path: Path) -> None:
    result = replayed(put(tmp_path / "serial.txt", captured("get", every=10)))
    assert not result["dense"]
    assert result["counters"]["ticks"] == pytest.approx(765, abs=10)
    assert result["rows"] == pytest.approx(77, abs=1)
    assert [move["to"] for move in result["moves"]][:4] == ["FILLING", "ON_OIL", "PURGING", "ON_DIESEL"]
    # a valve that is sent a tick earlier or later is no other decision; volumes are a tick apart for the 2 s of filling, the 12 s of
    # the purge, and as long as the credit of that purge stands
    assert result["diverged"] is None
    assert result["compared"]["joined"] - result["compared"]["joined_same"] <= 22
    with pytest.raises(
        InputError, match=r"found 'rows 5000 ms apart'; wanted rows at most 2000 ms apart \(on the link: watch 20"
    ):
        replayed(put(tmp_path / "slow.txt", captured("get", every=50)))


def test_damaged_lines_are_left_out_and_counted(lines: list[str], tmp_path: Path) -> None:
    at = next(number for number, line in enumerate(lines) if line.startswith("raw "))
    damaged = [*lines]
    damaged[at + 100] = damaged[at + 100].replace("0", "1", 1)
    damaged[at + 200] = damaged[at + 200][:30]
    cut = put(tmp_path / "serial.txt", damaged)
    cut.write_bytes(cut.read_bytes()[:-9])
    result = replayed(cut)
    assert result["repairs"]["damaged lines left out"][0] >= 2
    assert at + 101 <= result["repairs"]["damaged lines left out"][1] <= at + 102
    assert result["repairs"]["truncated last line left out"] == [1, len(lines)]
    assert result["counters"]["ticks"] > 700
    with pytest.raises(InputError, match=rf"line {at + 101}"):
        replayed(cut, strict=True)


def test_settings_that_the_capture_does_not_tell_are_asked_for(tmp_path: Path) -> None:
    from secondtank.replay_job import Job, run

    path = put(tmp_path / "serial.txt", captured("version"))
    job = Job(0, path, CAPTURE, None, False, None, False, None, tmp_path)
    place, found, wanted = run(job, lambda position: False)["error"]
    assert (place, found) == (str(path), "no settings")
    assert "--settings FILE" in wanted


def test_a_board_that_starts_anew_in_the_middle_is_a_start_and_no_gap(tmp_path: Path) -> None:
    path = put(tmp_path / "serial.txt", captured("get") + captured())
    counters = replayed(path)["counters"]
    assert (counters["joins"], counters["trips"], counters["gaps"]) == (2, 2, 0)


def test_a_protocol_of_another_version_is_refused(lines: list[str], tmp_path: Path) -> None:
    at = lines.index("protocol 1")
    path = put(tmp_path / "serial.txt", [*lines[:at], "protocol 2", *lines[at + 1 :]])
    with pytest.raises(InputError, match=rf"line {at + 1}: found 'protocol 2'; wanted protocol 1"):
        replayed(path)
