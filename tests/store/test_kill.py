"""A process that writes records and settings into a folder of this machine is killed, again and again."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

import store
from changeover.memory import choose
from changeover.settings import defaults

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "firmware"
KILLS = 25  # of each interpreter


def killed(command: str | Path, folder: str, after_s: float) -> list[tuple[str, int]]:
    """What the writer said (see `writer.py`) before it was killed, so long after its first word."""
    with subprocess.Popen(
        [command, HERE / "writer.py", FIRMWARE, folder], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        said = process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        said += process.stdout.read()
        assert process.stderr.read() == ""
    return [(line[0], int(line[2:])) for line in said.split("\n")[:-1]]


@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_writer_killed_at_any_moment_forgets_nothing(
    interpreter: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    command = sys.executable if interpreter == "cpython" else request.getfixturevalue("micropython")
    chance = random.Random(1)
    last: dict[str, int] = dict.fromkeys("DcCsS", 0)
    phases: Counter[str] = Counter()
    while sum(phases.values()) < KILLS or phases["D"] <= 5:
        assert sum(phases.values()) < 4 * KILLS, "hardly ever killed with oil in the lines"
        said = killed(command, str(tmp_path), chance.uniform(0, 0.06))
        last.update(said)
        record = choose(store.read_slots(str(tmp_path)))
        phase = [letter for letter, _ in said if letter in "DcC"][-1]
        phases[phase] += 1
        if phase == "D":
            assert record.oil_in_lines, "oil was let in"
        assert last["D"] <= record.trips <= last["D"] + 1
        values, errors = store.load_settings(str(tmp_path))
        assert bool(errors) == (values == {})
        if last["S"]:
            saved = values["authority"] - defaults()["authority"]
            assert values == {name: value + saved for name, value in defaults().items()}
            assert last["S"] <= saved <= last["s"]
    assert phases["C"] > 1, "killed with clean lines"
    assert last["S"] > 10, "settings were saved meanwhile"
