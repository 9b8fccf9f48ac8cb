"""The trip log on littlefs over the flash stand-in: power cuts (`tests/store/power_cut.py`), wear, and no growth."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

from journal import BLOCKS
from journal_ring import ROWS_A_BLOCK

HERE = Path(__file__).parent
FIRMWARE, STORE_TESTS = HERE.parents[1] / "firmware", HERE.parent / "store"


def run(micropython: Path, *arguments: str | Path) -> dict[str, Any]:
    """The JSON that a script of these tests prints."""
    done = subprocess.run(
        [micropython, "-X", "heapsize=64m", *arguments], capture_output=True, text=True, check=False, timeout=200
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return json.loads(done.stdout)


def test_cut_of_any_write_leaves_a_log_that_ends_where_it_did_before_or_after(micropython: Path) -> None:
    """While blocks grow and the ring goes round. More cuts, at every byte, in the stories of `tests/store`."""
    report = run(micropython, STORE_TESTS / "power_cut.py", FIRMWARE, "logs", "Sound")
    assert not report["failures"]
    assert not report["over"]
    assert report["refused"] == 0
    assert report["answers"]["log"] == sum(report["cuts"].values()) - sum(
        count for how, count in report["unmountable"].items() if how not in report["cuts"]
    )
    assert report["cuts"]["byte"] > 300
    assert report["cuts"]["erase"] > 100


def test_log_that_removes_a_block_before_it_writes_it_anew_is_seen(micropython: Path) -> None:
    """Guards the test above."""
    report = run(micropython, STORE_TESTS / "power_cut.py", FIRMWARE, "logs", "Sound", "RemovesFirst")
    assert report["failures"]["between: totals that were not there"] > 10


def test_wear_is_counted_and_spread_and_nothing_grows(micropython: Path) -> None:
    """More than a round of the ring on a flash of the board's size. A sector bears 100 000 erases (W25Q16JV data sheet, from
    memory); a block costs one erase for itself and some for the folder."""
    flushes = 250
    report = run(micropython, HERE / "wear.py", FIRMWARE, STORE_TESTS, str(flushes), str(ROWS_A_BLOCK))
    assert report["wear"] == report["found"] >= flushes > BLOCKS
    assert BLOCKS * ROWS_A_BLOCK >= report["kept"] > (BLOCKS - 1) * ROWS_A_BLOCK
    assert report["files"] == BLOCKS
    assert report["heap"][1] - report["heap"][0] < 1000, "less than 7 bytes a block: what lies about on the stack"
    assert report["wear"] / 2 < sum(report["erased"]) < 2 * report["wear"], (
        "a block of a few rows needs no sector of its own"
    )
    assert max(report["erased"]) < 0.1 * report["wear"], "no sector bears it alone"
