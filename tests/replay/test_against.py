"""A against B over the same log: only what changed, by numbers worked out by hand; another version of the law in its own process."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

import changeover
from host_sim.replay_against import compare
from secondtank.replay_firmware import fetch
from tests.replay.conftest import HEAD, Command, Write, replayed, warming

FIRMWARE = Path(changeover.__file__).parent


def dip(depth_c: float) -> list[tuple[object, ...]]:
    """Warm, on oil, then for 20 s a colder coolant, by 1 K a second down and up."""
    falls = [85.0] * 200 + [85.0 - k for k in range(int(85 - depth_c))] + [depth_c] * 20
    rises = [depth_c + k for k in range(int(85 - depth_c))] + [85.0] * 200
    return [(t, 900, c) for t, c in enumerate(falls + rises)]


def test_a_higher_limit_is_reached_later_by_so_much(table: Write) -> None:
    path = table(HEAD, warming())  # 0.1 K a second: 5 K are 50 s
    found = compare(replayed(path), replayed(path, coolant_entry_cdegc=7500))
    assert [(change["from"], change["to"], change["shift_ms"]) for change in found["changes"]] == [
        ("ON_DIESEL", "FILLING", pytest.approx(50_000, abs=1000)), ("FILLING", "ON_OIL", pytest.approx(50_000, abs=1000)),
    ]  # fmt: skip
    shift = found["changes"][0]["shift_ms"]
    assert found["on_oil_more_s"] == pytest.approx(-shift / 1000)
    assert found["messages"]["COOLANT COLD"] == pytest.approx(shift / 1000)
    assert (found["exits_vanish"], found["exits_appear"], found["valid"]) == (0, 0, True)
    back = compare(replayed(path, coolant_entry_cdegc=7500), replayed(path))
    assert [change["shift_ms"] for change in back["changes"]] == [-shift, -shift]


def test_an_exit_vanishes_under_a_lower_floor_and_appears_the_other_way(table: Write) -> None:
    path = table(HEAD, dip(60.0))
    a, b = replayed(path), replayed(path, coolant_exit_cdegc=5900, oil_limit_cdegc=5900)
    assert [move["to"] for move in a["moves"]][:4] == ["ON_DIESEL", "FILLING", "ON_OIL", "PURGING"]
    found = compare(a, b)
    assert (found["exits_vanish"], found["exits_appear"]) == (1, 0)
    gone = next(change for change in found["changes"] if change["exit"])
    assert (gone["what"], gone["from"], gone["to"], gone["reason_a"]) == (
        "vanishes",
        "ON_OIL",
        "PURGING",
        "coolant cold",
    )
    assert found["on_oil_more_s"] > 60
    assert compare(b, a)["exits_appear"] == 1


def test_the_same_is_no_change_and_no_oil_is_not_valid(table: Write) -> None:
    path = table(HEAD, warming())
    same = compare(replayed(path), replayed(path))
    assert (same["changes"], same["messages"], same["on_oil_more_s"], same["valid"]) == ([], {}, 0.0, True)
    cold = table(HEAD, warming(200), "cold.csv")
    assert not compare(replayed(cold), replayed(cold, coolant_entry_cdegc=7500))["valid"]


def test_another_version_of_the_law_runs_in_a_process_of_its_own(
    table: Write, tmp_path: Path, secondtank: Command
) -> None:
    other = tmp_path / "other" / "changeover"
    shutil.copytree(FIRMWARE, other, ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    rows = other / "rows.py"
    held = '("coolant cold", ALWAYS, "coolant < coolant_entry", "coolant < coolant_exit", 0, 2000,'
    text = rows.read_text(encoding="utf-8")
    assert held in text
    rows.write_text(text.replace(held, held.replace("0, 2000,", "0, 7000,")), encoding="utf-8")
    answer = secondtank(
        "replay", table(HEAD, dip(55.0)), "--firmware", other.parent, "--out", tmp_path / "out", "--json"
    )
    assert answer.status == 0, answer.err
    summary = json.loads(answer.out)
    a, b = summary["logs"]
    assert a["firmware_hash"] != b["firmware_hash"]
    (found,) = summary["against"]
    exits = [change for change in found["changes"] if change["exit"]]
    assert [(change["what"], change["shift_ms"]) for change in exits] == [("moves", 5000)]
    # 5 s later out, its purge and the next entry 5 s later too
    assert {change["shift_ms"] for change in found["changes"]} == {5000}
    assert {change["to"] for change in found["changes"]} == {"PURGING", "ON_DIESEL", "FILLING", "ON_OIL"}
    assert found["on_oil_more_s"] == 0.0
    assert Path(changeover.__file__).parent == FIRMWARE


def test_a_version_that_made_a_log_reproduces_it(trip: Path, tmp_path: Path, secondtank: Command) -> None:
    """The log says by which law it was made; today's is another one; the right one, given by its folder, reproduces it."""
    made_by = tmp_path / "made_by"
    shutil.copytree(FIRMWARE, made_by / "changeover", ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    answer = secondtank("replay", trip, "--firmware", made_by, "--out", tmp_path / "out")
    assert answer.status == 0, answer.err
    assert "nothing changed" in answer.out
    assert "B alone: reproduced bit for bit" in answer.out


def test_a_folder_or_revision_that_is_no_law_is_refused(table: Write, tmp_path: Path, secondtank: Command) -> None:
    path = table(HEAD, warming(5))
    (tmp_path / "empty").mkdir()
    for word in (tmp_path / "empty", "no-such-revision"):
        answer = secondtank("replay", path, "--firmware", word, "--out", tmp_path / "out")
        assert answer.status == 2
        assert answer.err.startswith("secondtank: --firmware: found ")
        assert answer.err.count("\n") == 1
    broken = tmp_path / "broken" / "changeover"
    shutil.copytree(FIRMWARE, broken, ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    (broken / "law.py").write_text("class Law:\n    pass\n", encoding="utf-8")
    answer = secondtank("replay", path, "--firmware", broken.parent, "--out", tmp_path / "out")
    assert answer.status == 2
    assert "wanted a version of the law that can be replayed" in answer.err
    assert "Traceback" not in answer.err


def test_a_revision_comes_out_of_git(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tree = tmp_path / "tree"
    shutil.copytree(FIRMWARE, tree / "firmware" / "changeover", ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    who = ["-c", "user.name=nobody", "-c", "user.email=nobody@example.org"]
    for words in (["init", "-q"], ["add", "."], [*who, "commit", "-q", "-m", "one"], ["tag", "first"]):
        subprocess.run(["git", "-C", tree, *words], check=True, capture_output=True)
    (tree / "firmware" / "changeover" / "law.py").write_text("", encoding="utf-8")
    monkeypatch.chdir(tree)
    folder = fetch("first", tmp_path)
    for path in FIRMWARE.glob("*.py"):
        assert (folder / "changeover" / path.name).read_bytes() == path.read_bytes()
