"""Power cuts on littlefs, judged restart by restart (see `power_cut.py`); and the judge sees what flawed stores do."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
Play = Callable[..., dict[str, Any]]
FORGOT = "forgot oil in the lines"


@pytest.fixture(scope="module")
def play(micropython: Path) -> Play:
    def played(story: str, store: str = "Sound") -> dict[str, Any]:
        done = subprocess.run(
            [micropython, "-X", "heapsize=64m", HERE / "power_cut.py", FIRMWARE, story, store],
            capture_output=True, text=True, check=False, timeout=120,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        report = json.loads(done.stdout)
        print(story, store, report)
        return report

    return played


def sound(report: dict[str, Any]) -> bool:
    """No failure; the flash was used as flash is; without a spoilt sector the file system could always be mounted."""
    return not report["failures"] and not report["over"] and set(report["unmountable"]) <= {"spoilt", "formatting"}


@pytest.mark.parametrize("story", ["first_day", "few_trips"])
def test_cut_at_every_byte_of_every_write_leaves_a_safe_answer(story: str, play: Play) -> None:
    """From the formatting of a new chip on, and on a board in use: records and settings in turn."""
    report = play(story)
    assert sound(report)
    assert report["cuts"]["byte"] == report["programmed"] > 10_000
    assert report["cuts"]["erase"] == 8 * sum(report["erased"].values()) > 0
    assert set(report["answers"]) >= {"oil", "diesel", "old", "new"}
    assert report["used_again"] > 10
    assert report["refused"] == 0


def test_cut_while_littlefs_moves_worn_folders_leaves_a_safe_answer(play: Play) -> None:
    moved, stayed = play("worn"), play("forty_trips")
    assert sound(moved)
    assert sound(stayed)
    assert set(moved["erased"]) - set(stayed["erased"]), "no folder moved: the story proves nothing"


@pytest.mark.parametrize("story", ["full", "new_and_full", "refused"])
def test_refused_write_is_said_and_leaves_a_safe_answer(story: str, play: Play) -> None:
    """No space on a board in use, none on a new board, flash that fails: each of them says False, and no more."""
    report = play(story)
    assert sound(report)
    assert report["refused"] > 5


@pytest.mark.parametrize(
    ("flawed", "story", "seen"),
    [
        ("Unclosed", "forty_trips", "byte: " + FORGOT),
        ("OneFile", "forty_trips", "between: " + FORGOT),
        ("OneSlotWillDo", "first_day", "spoilt: " + FORGOT),
        ("InPlace", "saves", "between: a mix of settings"),
    ],
)
def test_flawed_store_is_seen(flawed: str, story: str, seen: str, play: Play) -> None:
    """Guards the tests above."""
    assert play(story, flawed)["failures"].get(seen, 0) > 0


def test_slots_in_one_folder_would_forget_oil_where_a_sector_is_spoilt(play: Play) -> None:
    """Why each slot has a folder of its own. No other cut shows it."""
    assert set(play("forty_trips", "OneFolder")["failures"]) == {"spoilt: " + FORGOT}
