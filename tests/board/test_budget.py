"""The table of `make budget`: the whole program fits the board, and its control step takes nothing from the heap (32-bit build)."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.board.rig import copy_of_firmware
from tests.needs import command, require

ROOT = Path(__file__).parents[2]
WEBASSEMBLY = Path(sys.prefix) / "npm/node_modules/@micropython/micropython-webassembly-pyscript/micropython.mjs"
HEAP_OF_THE_BOARD = 241_000  # free after MicroPython's own start, measured on an emulated chip
# By the table's measure, of a tick of 100 ms: what is left is for waits on flash, which it does not know. The goals are 15 and 60;
# a busy machine makes somewhat more of the same program.
DRAWN_MS, TICK_MS = 15.0, 70.0
Budget = Callable[[Path], subprocess.CompletedProcess[str]]


@pytest.fixture
def budget(micropython: Path) -> Budget:
    """The table, of the firmware in this tree."""
    require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    require(command("node"), "Node.js")
    require(WEBASSEMBLY if WEBASSEMBLY.exists() else None, "MicroPython's WebAssembly build (npm package)")

    def run(firmware: Path) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, ROOT / "tools/budget", "--firmware", firmware], capture_output=True, text=True, timeout=120, check=False
        )  # fmt: skip

    return run


def test_the_program_fits_and_the_control_step_allocates_nothing(budget: Budget) -> None:
    done = budget(ROOT / "firmware")
    assert done.returncode == 0, done.stderr
    numbers = {text: int(number) for text, number in re.findall(r"^  (.+?) +(\d+)$", done.stdout, re.MULTILINE)}
    assert numbers["ticks of read, law and write with the heap locked"] == 200
    assert "driven to ON_OIL" in done.stdout
    worst = numbers["log full, all pages drawn, link asked for all"] + numbers["garbage of ten ticks, on top"]
    assert worst < 0.8 * HEAP_OF_THE_BOARD
    assert numbers["all"] < 120_000
    times = {text: float(ms) for text, ms in re.findall(r"^  (.+?) +(?:\d+ +)?(\d+\.\d)$", done.stdout, re.MULTILINE)}
    assert times["panel, another page"] < DRAWN_MS
    assert times["tick that draws, all at their dearest"] < TICK_MS
    assert times["tick that collects, all at their dearest"] < TICK_MS


def test_one_tuple_in_the_driver_is_found(budget: Budget, tmp_path: Path) -> None:
    """Guards the lock."""
    head = "        known = not self._silent[1]"
    planted = copy_of_firmware(
        tmp_path / "firmware", {"converters.py": (head, "        seen = (reference, first)  # noqa\n" + head)}
    )
    done = budget(planted)
    assert done.returncode != 0
    assert "MemoryError" in done.stderr
