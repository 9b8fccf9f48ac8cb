"""The compiled build against plain Python: the same files, the same bytes, at least five times as fast."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

import fast_build
from tests.law import vectors
from tests.needs import require

ROOT = Path(__file__).resolve().parents[2]
RUNS = Path(__file__).with_name("runs.py")
REPLAY = ROOT / "tests" / "law" / "replay.py"
PLAIN = (ROOT, ROOT / "firmware", ROOT / "tools")
TIMES = 5.0


def start(path: tuple[Path, ...], folder: Path, *words: str | Path) -> str:
    """What Python prints with these packages; it begins in `folder`, since the present one would come first."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("COV")}
    environment["PYTHONPATH"] = os.pathsep.join(map(str, path))
    command = [sys.executable, *map(str, words)]
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="module")
def fast() -> tuple[Path, ...]:
    """The path that finds the compiled packages."""
    found = fast_build.OUT if fast_build.up_to_date() else None
    reason = fast_build.lacking() or "`make fast` makes it"
    return require(found, f"a compiled build of the present sources ({reason})"), ROOT / "tools"


def test_the_packages_beside_the_compiled_modules_are_the_very_same_files(fast: tuple[Path, ...]) -> None:
    for package in fast_build.PACKAGES:
        sources = sorted(path.relative_to(package.parent) for path in package.rglob("*.*") if path.suffix != ".pyc")
        assert len(sources) > 25, "the law and the car have more files than that"
        for name in sources:
            assert (fast[0] / name).read_bytes() == (package.parent / name).read_bytes(), name


@pytest.mark.parametrize("job", ["drives", "forks"])
def test_every_float_of_every_tick_is_the_same(job: str, fast: tuple[Path, ...], tmp_path: Path) -> None:
    plain, compiled = (start(path, tmp_path, RUNS, job).splitlines() for path in (PLAIN, fast))
    assert (plain[0], compiled[0]) == (".py .py", ".so .so" if os.name == "posix" else ".pyd .pyd")
    assert len(plain) == len(compiled)
    for ours, theirs in zip(plain[1:], compiled[1:], strict=True):
        assert theirs == ours


def test_a_drive_writes_the_same_log_and_summary(fast: tuple[Path, ...], tmp_path: Path) -> None:
    written = []
    for name, path in (("plain", PLAIN), ("fast", fast)):
        words = ("drive", "summer_commute", "--out", str(tmp_path / name))
        start(
            path,
            tmp_path,
            "-c",
            f"import sys; from secondtank.cli import main; sys.argv[1:] = {words}; main()",
        )
        written.append([(tmp_path / name / file).read_bytes() for file in ("log.csv", "summary.json")])
    assert len(written[0][0]) > 1_000_000, "half an hour at ten rows a second is more than that"
    assert written[1] == written[0]


def test_the_law_answers_recorded_vectors_with_the_same_outputs(fast: tuple[Path, ...], tmp_path: Path) -> None:
    rows = vectors.slots() + vectors.recorded(vectors.units)
    asked = tmp_path / "vectors.txt"
    asked.write_text("".join(json.dumps(row) + "\n" for row in rows), "utf-8")
    outputs = []
    for name, firmware in (("plain", ROOT / "firmware"), ("fast", fast[0])):
        start((), tmp_path, REPLAY, firmware, asked, tmp_path / name)
        outputs.append((tmp_path / name).read_bytes())
    assert outputs[0].count(b"\n") > 5000, "the vectors have more ticks than that"
    assert outputs[1] == outputs[0]


def test_a_tick_costs_at_most_a_fifth(fast: tuple[Path, ...], tmp_path: Path) -> None:
    """Processor time, each pair one after the other; measured: a tenth."""
    pairs = [[float(start(path, tmp_path, RUNS, "speed").splitlines()[1]) for path in (PLAIN, fast)] for _ in range(3)]
    assert statistics.median(plain / compiled for plain, compiled in pairs) >= TIMES, pairs
